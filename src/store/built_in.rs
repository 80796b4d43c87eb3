//! The knowledge bases that are built into the program.

use crate::knowledge::shares;

include!(concat!(env!("OUT_DIR"), "/built_in.rs"));

/// The folder they stand in.
const FOLDER: &str = "knowledge/";

/// The files of the built-in knowledge base that is taken where none is named, with what it shares, by name, each with
/// its bytes.
#[must_use]
pub fn built_in() -> Vec<(String, Vec<u8>)> {
    files_of(USUAL)
}

/// The files of one of the [built-in knowledge bases](built_in_names), with what it shares; `None` where there is none
/// of this name.
#[must_use]
pub fn built_in_named(name: &str) -> Option<Vec<(String, Vec<u8>)>> {
    built_in_names().contains(&name).then(|| files_of(name))
}

/// The names of the built-in knowledge bases, the usual one first.
#[must_use]
pub fn built_in_names() -> Vec<&'static str> {
    let mut names: Vec<&str> = FILES.iter().filter_map(|(name, _)| base_of(name)).collect();
    names.sort_by_key(|name| (*name != USUAL, *name));
    names
}

/// The name of the base whose manifest this is.
fn base_of(file: &'static str) -> Option<&'static str> {
    file.strip_prefix(FOLDER)?.strip_suffix("/craft.yaml").filter(|name| !name.contains('/'))
}

fn files_of(base: &str) -> Vec<(String, Vec<u8>)> {
    let mut files = below(&format!("{FOLDER}{base}/"));
    for folder in shares(&files) {
        files.extend(below(&folder));
    }
    files.sort();
    files.dedup();
    files
}

fn below(folder: &str) -> Vec<(String, Vec<u8>)> {
    let inside = FILES.iter().filter(|(name, _)| name.starts_with(folder));
    inside.map(|(name, bytes)| ((*name).to_owned(), bytes.to_vec())).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_usual_one_is_first_and_none_is_without_its_manifest() {
        let names = built_in_names();
        assert_eq!(names.first(), Some(&USUAL));
        for name in names {
            let files = built_in_named(name).unwrap();
            let manifest = format!("{FOLDER}{name}/craft.yaml");
            assert_eq!(files.iter().filter(|(file, _)| *file == manifest).count(), 1, "{name}");
        }
        assert!(built_in_named("no-such-base").is_none());
    }
}
