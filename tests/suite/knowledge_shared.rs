//! Folders that knowledge bases share: read as their own, and what is wrong in them told with their own names.

use doldrum::finding::Finding;
use doldrum::knowledge::{read, shares};
use doldrum::store;
use std::fs;
use std::path::Path;

type Files = Vec<(String, Vec<u8>)>;

/// The small good base as `bench/saw`, sharing two folders, its causes in one of them.
fn shared() -> Files {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/knowledge_good/small");
    let mut files = Vec::new();
    for entry in fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        let name = path.file_name().expect("a name").to_string_lossy().into_owned();
        let mut bytes = fs::read(&path).expect("a file");
        let below = if name == "causes.yaml" { "bench/parts/fuel" } else { "bench/saw" };
        if name == "craft.yaml" {
            bytes.extend_from_slice(b"shares: [../parts/fuel, ../parts/empty]\n");
        }
        files.push((format!("{below}/{name}"), bytes));
    }
    files.push(("bench/parts/empty/causes.yaml".to_owned(), b"# nothing so far\n".to_vec()));
    files
}

fn codes(files: &Files) -> Vec<(String, String, u32)> {
    let told = |f: Finding| (f.code.to_owned(), f.place.file, f.place.line);
    read(files).1.sorted().into_iter().map(told).collect()
}

/// Some line of a file.
fn line_of(files: &Files, name: &str, words: &str) -> u32 {
    let bytes = &files.iter().find(|(other, _)| other == name).expect("the file").1;
    let at = String::from_utf8_lossy(bytes).lines().position(|line| line.contains(words)).expect("the line");
    u32::try_from(at).expect("a short file") + 1
}

#[test]
fn a_shared_file_is_read_as_the_bases_own() {
    let files = shared();
    assert_eq!(shares(&files), ["bench/parts/fuel/", "bench/parts/empty/"]);
    assert_eq!(codes(&files), []);
    let knowledge = read(&files).0.expect("it is sound");
    assert!(knowledge.causes.len() > 1);
}

#[test]
fn what_is_wrong_is_told_where_it_stands() {
    let mut files = shared();
    // The same id in two folders; a reference out of a shared file that its base cannot answer.
    let twice =
        "- {id: own, title: Own, rate: 1, basis: estimate}\n- {id: own, title: Own, rate: 1, basis: estimate}\n";
    files.push(("bench/parts/empty/causes/more.yaml".to_owned(), twice.as_bytes().to_vec()));
    let unknown = "- {id: lost, title: L, any: [{from: no-such-cause, strength: 0.5}], leak: 0, basis: estimate}\n";
    files.push(("bench/parts/fuel/effects/more.yaml".to_owned(), unknown.as_bytes().to_vec()));
    let told = codes(&files);
    assert!(told.contains(&("K012".to_owned(), "bench/parts/empty/causes/more.yaml".to_owned(), 2)), "{told:?}");
    assert!(told.contains(&("K014".to_owned(), "bench/parts/fuel/effects/more.yaml".to_owned(), 1)), "{told:?}");
    assert!(told.iter().all(|(_, file, _)| file.starts_with("bench/parts/")), "{told:?}");
}

#[test]
fn a_folder_that_is_not_there_twice_or_nowhere_is_told_at_the_manifest() {
    for (list, code) in [
        ("[../parts/fuel, ../parts/none]", "K008"),
        ("[../parts/fuel, ../parts/../parts/fuel/]", "K016"),
        ("[../parts/fuel, /etc]", "K005"),
        ("[../parts/fuel, ..]", "K005"),
    ] {
        let mut files = shared();
        for (name, bytes) in &mut files {
            if name.ends_with("craft.yaml") {
                let text = String::from_utf8_lossy(bytes).replace("[../parts/fuel, ../parts/empty]", list);
                *bytes = text.into_bytes();
            }
        }
        files.retain(|(name, _)| !name.contains("/empty/"));
        let line = line_of(&files, "bench/saw/craft.yaml", "shares:");
        assert_eq!(codes(&files), [(code.to_owned(), "bench/saw/craft.yaml".to_owned(), line)], "{list}");
    }
}

#[test]
fn folders_on_disk_bring_what_they_share() {
    let place = tempfile::tempdir().expect("a folder");
    for (name, bytes) in shared() {
        let path = place.path().join(name);
        fs::create_dir_all(path.parent().expect("a parent")).expect("made");
        fs::write(path, bytes).expect("written");
    }
    let files = store::knowledge_files(&place.path().join("bench/saw")).expect("it is there");
    assert_eq!(files.len(), shared().len());
    assert!(read(&files).0.is_some());
    fs::write(place.path().join("bench/parts/fuel/craft.yaml"), "format: 1\n").expect("written");
    let error = store::knowledge_files(&place.path().join("bench/saw")).expect_err("a base is not shared");
    assert!(error.to_string().starts_with("expected a shared folder without a manifest"), "{error}");
}

#[test]
fn what_the_built_in_bases_share_is_the_same_file() {
    let shared = |name: &str| {
        let files = store::built_in_named(name).expect("it is built in");
        files.into_iter().filter(|(file, _)| file.starts_with("knowledge/common/")).collect::<Files>()
    };
    let (one, other) = (shared("watercraft"), shared("handheld"));
    assert!(one.len() > 10, "{} shared files", one.len());
    assert!(one == other);
    assert!(
        store::knowledge_named(Path::new("no-such-base"))
            .expect_err("there is none")
            .to_string()
            .contains("`handheld`")
    );
}
