//! Files that several knowledge bases share: the folders that a manifest names under `shares`.
//!
//! A shared folder is laid out as a knowledge base without a manifest. Its items are read as if they stood in the base
//! itself: ids are unique over all files, and what a shared item names the base must have.

use super::yaml::{Source, decode};
use super::{load, node::Value};
use crate::finding::Findings;

/// The folders that the manifest among these files shares, each with its final `/`, in the manifest's order; named as
/// the files are. Whoever brings files to [`super::read`] brings those of these folders too.
///
/// Errors: none; a manifest that cannot be read shares nothing, and reading it says why.
#[must_use]
pub fn shares(files: &[(String, Vec<u8>)]) -> Vec<String> {
    let root = load::root(files);
    let Some((name, bytes)) = files.iter().find(|(name, _)| name.strip_prefix(root) == Some("craft.yaml")) else {
        return Vec::new();
    };
    named(name, bytes).iter().filter_map(|share| joined(root, share)).collect()
}

/// What a manifest says under `shares`, whatever else may be wrong with it.
fn named(name: &str, bytes: &[u8]) -> Vec<String> {
    let mut unsaid = Findings::new();
    let Some(text) = decode(name, bytes, &mut unsaid) else { return Vec::new() };
    let tree = Source { file: name, text }.tree(&mut unsaid).map(|tree| tree.value);
    let Some(Value::Map(entries)) = tree else { return Vec::new() };
    let list = entries.into_iter().find(|(key, _)| matches!(&key.value, Value::Text(text) if text == "shares"));
    let Some((_, Value::List(items))) = list.map(|(key, list)| (key, list.value)) else { return Vec::new() };
    let text = |value| if let Value::Text(text) = value { Some(text) } else { None };
    items.into_iter().filter_map(|item| text(item.value)).collect()
}

/// A folder named from another one, with its final `/`; `..` goes up by name, whatever links there are. `None` where
/// it is no relative path to another folder.
pub(super) fn joined(root: &str, share: &str) -> Option<String> {
    let windows = share.contains('\\') || share.contains(':');
    if share.is_empty() || share.starts_with('/') || windows {
        return None;
    }
    let mut parts: Vec<&str> = root.split('/').filter(|part| !part.is_empty() && *part != ".").collect();
    let from = parts.join("/");
    for part in share.split('/') {
        match part {
            "" | "." => {}
            ".." if parts.last().is_some_and(|last| *last != "..") => drop(parts.pop()),
            part => parts.push(part),
        }
    }
    let to = parts.join("/");
    // The base itself, or all that lies about it, is no part of a base.
    let above = format!("{from}/").starts_with(&format!("{to}/")) || to.is_empty() || to.ends_with("..");
    let start = if root.starts_with('/') { "/" } else { "" };
    (!above).then(|| format!("{start}{to}/"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_share_is_named_from_the_folder_of_the_manifest() {
        for (root, share, folder) in [
            ("knowledge/saw/", "../common/fuel", Some("knowledge/common/fuel/")),
            ("./", "../common/", Some("../common/")),
            ("", "parts", Some("parts/")),
            ("/home/me/saw/", "../common/./fuel", Some("/home/me/common/fuel/")),
            ("../../saw/", "../common", Some("../../common/")),
            ("saw/", "../../common", Some("../common/")),
            ("knowledge/saw/", "/etc", None),
            ("knowledge/saw/", "c:\\fuel", None),
            ("knowledge/saw/", ".", None),
            ("knowledge/saw/", "..", None),
            ("saw/", "../..", None),
            ("knowledge/saw/", "", None),
        ] {
            assert_eq!(joined(root, share).as_deref(), folder, "`{share}` from `{root}`");
        }
    }

    #[test]
    fn a_manifest_with_other_faults_still_shares() {
        let files = [("saw/craft.yaml".to_owned(), b"format: 9\nshares: [../fuel, 3, ../plug]\n".to_vec())];
        assert_eq!(shares(&files), ["fuel/", "plug/"]);
        let broken = [("saw/craft.yaml".to_owned(), b"format: [9\nshares: [../fuel]\n".to_vec())];
        assert!(shares(&broken).is_empty());
    }
}
