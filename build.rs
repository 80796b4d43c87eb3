//! Lists the files of the knowledge base that is built into the binary: whatever lies in `knowledge/watercraft`.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::{env, fs, io};

const FOLDER: &str = "knowledge/watercraft";

fn main() -> io::Result<()> {
    println!("cargo::rerun-if-changed={FOLDER}");
    println!("cargo::rerun-if-changed=build.rs");
    let root = PathBuf::from(env::var_os("CARGO_MANIFEST_DIR").expect("cargo sets it"));
    let mut names = Vec::new();
    gather(&root, Path::new(FOLDER), &mut names)?;
    names.sort();
    let mut list = String::from("[\n");
    for name in names {
        // Debug of a string is a Rust literal, backslashes and all.
        let path = root.join(&name).to_string_lossy().into_owned();
        writeln!(list, "    ({name:?}, include_bytes!({path:?})),").expect("a string takes all");
    }
    list.push_str("]\n");
    let out = PathBuf::from(env::var_os("OUT_DIR").expect("cargo sets it"));
    fs::write(out.join("builtin.rs"), list)
}

/// Every file below a folder, named from the root with `/` between folders.
fn gather(root: &Path, folder: &Path, names: &mut Vec<String>) -> io::Result<()> {
    for entry in fs::read_dir(root.join(folder))? {
        let entry = entry?;
        let below = folder.join(entry.file_name());
        if entry.file_type()?.is_dir() {
            gather(root, &below, names)?;
        } else {
            names.push(below.to_string_lossy().replace('\\', "/"));
        }
    }
    Ok(())
}
