//! The knowledge base that is built into the binary, so that the program works from one file.

/// What `build.rs` found in `knowledge/watercraft`: names and contents.
const FILES: &[(&str, &[u8])] = &include!(concat!(env!("OUT_DIR"), "/builtin.rs"));

/// The files of the built-in knowledge base, each a name (`knowledge/watercraft/causes/fuel.yaml`) and its bytes, in the
/// order of names: what [`super::read`] takes.
#[must_use]
pub fn builtin() -> Vec<(String, Vec<u8>)> {
    FILES.iter().map(|(name, bytes)| ((*name).to_owned(), bytes.to_vec())).collect()
}
