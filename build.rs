//! Lists the files of the built-in knowledge bases, and of what they share, for `src/store/built_in.rs`, so that a new
//! file needs no second mention.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::{env, fs, io};

const FOLDER: &str = "knowledge";
/// Says in one word which base is taken where none is named.
const USUAL: &str = "knowledge/usual";

fn main() -> io::Result<()> {
    println!("cargo::rerun-if-changed={FOLDER}");
    let root = PathBuf::from(env::var("CARGO_MANIFEST_DIR").map_err(io::Error::other)?);
    let mut paths = Vec::new();
    walk(&root.join(FOLDER), &mut paths)?;
    paths.sort();
    let mut list = String::from("/// Name and bytes, in order of the name.\nstatic FILES: &[(&str, &[u8])] = &[\n");
    for path in paths {
        let name = path.strip_prefix(&root).map_err(io::Error::other)?.to_string_lossy().replace('\\', "/");
        let _ = writeln!(list, "    ({name:?}, include_bytes!({:?})),", path.to_string_lossy());
    }
    list.push_str("];\n");
    let usual = fs::read_to_string(root.join(USUAL))?;
    let _ = writeln!(list, "/// The base that is taken where none is named.\nstatic USUAL: &str = {:?};", usual.trim());
    let out = PathBuf::from(env::var("OUT_DIR").map_err(io::Error::other)?);
    fs::write(out.join("built_in.rs"), list)
}

fn walk(folder: &Path, paths: &mut Vec<PathBuf>) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() {
            walk(&path, paths)?;
        } else if path.extension().is_some_and(|e| e == "yaml") {
            paths.push(path);
        }
    }
    Ok(())
}
