//! The history of cases at the command line: what stands in a folder, and two of them side by side.

use assert_cmd::Command;
use std::fs;
use std::path::Path;
use std::time::{Duration, SystemTime};

/// Standard output, standard error and the exit code of `triage` in a folder.
fn triage(place: &Path, arguments: &[&str]) -> (String, String, Option<i32>) {
    let mut command = Command::cargo_bin("doldrum").expect("the program is built");
    command.env("NO_COLOR", "1").env("COLUMNS", "100").current_dir(place).arg("triage").args(arguments);
    let output = command.output().expect("ran");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("text");
    (text(output.stdout), text(output.stderr), output.status.code())
}

fn folder() -> tempfile::TempDir {
    tempfile::tempdir().expect("a folder")
}

/// Writes a case so many minutes old.
fn write(place: &Path, name: &str, text: impl AsRef<[u8]>, minutes: u64) {
    let path = place.join(name);
    fs::write(&path, text).expect("written");
    let file = fs::File::options().write(true).open(path).expect("opened");
    file.set_modified(SystemTime::now() - Duration::from_secs(60 * minutes)).expect("dated");
}

const HEAD: &str = "format: 1\nknowledge: {id: watercraft-two-stroke}\n";
const STARTS: &str = "title: Blue one\ncraft: {layout: single}\nsymptoms: [sy-cranks-no-start]\n\
    log:\n  - {check: ck-smell-hull, outcome: none, aired: 10 min}\n  - {check: ck-selector-position, outcome: selector-on}\n";
const CURED: &str = "craft: {layout: single}\nuser: owner\nsymptoms: [sy-cranks-no-start]\nlog:\n  \
    - {check: ck-smell-hull, outcome: none, aired: 10 min}\n  - {check: ck-tank-level, outcome: empty}\n  \
    - {repair: rm-refill-and-set-tap}\n  - {symptom: sy-cranks-no-start, present: false}\n";

#[test]
fn an_empty_folder_has_no_cases() {
    let place = folder();
    assert_eq!(triage(place.path(), &["--list"]), ("no cases here\n".to_owned(), String::new(), Some(0)));
    // What is no case is none, whatever it is called.
    write(place.path(), "notes.md", "knowledge: none\n", 1);
    write(place.path(), "other.yaml", "hello: there\n", 1);
    write(place.path(), "bytes.yaml", [0xff, 0xfe, 0x00], 1);
    fs::create_dir(place.path().join("case-folder.yaml")).expect("a folder");
    assert_eq!(triage(place.path(), &["--list"]).0, "no cases here\n");
}

#[test]
fn a_list_says_how_each_case_stands_the_youngest_first() {
    let place = folder();
    write(place.path(), "old.yaml", format!("{HEAD}{STARTS}"), 30);
    write(place.path(), "done.yaml", format!("{HEAD}{CURED}"), 20);
    write(place.path(), "broken.yaml", format!("{HEAD}symptoms: [sy-cranks-no-start\n"), 10);
    write(place.path(), "case-bytes.yaml", [0xff, 0xfe, 0x00], 5);
    write(place.path(), "wrong.yaml", format!("{HEAD}symptoms: [sy-of-another-base]\n"), 1);
    let (listed, complained, code) = triage(place.path(), &["--list"]);
    assert_eq!((complained.as_str(), code), ("", Some(0)));
    insta::assert_snapshot!("cases_listed", listed);
    // The list is what it says: what can be gone on with, and what cannot.
    assert!(
        triage(place.path(), &["broken.yaml"]).1.contains("broken.yaml:3:"),
        "a broken case is told with its place"
    );
}

#[test]
fn two_jobs_compared_say_what_differs_and_what_that_changes() {
    let place = folder();
    let second = STARTS.replace("Blue one", "Red one").replace("selector-on", "off-or-between");
    write(place.path(), "blue.yaml", format!("{HEAD}{STARTS}"), 1);
    write(place.path(), "red.yaml", format!("{HEAD}{second}"), 1);
    let (compared, complained, code) = triage(place.path(), &["--compare", "blue.yaml", "red.yaml"]);
    assert_eq!((complained.as_str(), code), ("", Some(0)));
    insta::assert_snapshot!("cases_compared", compared);
    let (same, ..) = triage(place.path(), &["--compare", "blue.yaml", "blue.yaml"]);
    assert_eq!(same.matches("The same.").count(), 2, "{same}");
}

#[test]
fn a_case_that_cannot_be_read_is_not_compared() {
    let place = folder();
    write(place.path(), "blue.yaml", format!("{HEAD}{STARTS}"), 1);
    write(place.path(), "broken.yaml", format!("{HEAD}symptoms: [sy-cranks-no-start\n"), 1);
    let (told, why, code) = triage(place.path(), &["--compare", "blue.yaml", "broken.yaml"]);
    assert!(told.is_empty() && why.contains("broken.yaml:3:"), "{told}{why}");
    assert_eq!(code, Some(65));
    let (_, why, code) = triage(place.path(), &["--compare", "blue.yaml", "gone.yaml"]);
    assert!(why.contains("`gone.yaml`"), "{why}");
    assert_eq!(code, Some(74));
    // Two, and nothing beside them.
    assert_eq!(triage(place.path(), &["--compare", "blue.yaml"]).2, Some(2));
    assert_eq!(triage(place.path(), &["--list", "--compare", "blue.yaml", "blue.yaml"]).2, Some(2));
}
