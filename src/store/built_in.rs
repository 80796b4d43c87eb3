//! The knowledge base that is built into the program.

include!(concat!(env!("OUT_DIR"), "/built_in.rs"));

/// The files of the built-in knowledge base, by name, each with its bytes.
#[must_use]
pub fn built_in() -> Vec<(String, Vec<u8>)> {
    FILES.iter().map(|(name, bytes)| ((*name).to_owned(), bytes.to_vec())).collect()
}

#[cfg(test)]
mod tests {
    #[test]
    fn the_manifest_is_among_the_files() {
        assert!(super::built_in().iter().any(|(name, _)| name.ends_with("craft.yaml")));
    }
}
