//! Good knowledge bases vet clean; each bad file has the faults it says it has, and its message is a snapshot.

use doldrum::finding::{Finding, Severity};
use doldrum::knowledge::{Knowledge, Reads, State, codes, read};
use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

fn tests() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests")
}

/// Every file below a folder, named from that folder on.
pub fn folder(of: &Path) -> Vec<(String, Vec<u8>)> {
    let mut files = Vec::new();
    let mut folders = vec![of.to_owned()];
    while let Some(next) = folders.pop() {
        for entry in fs::read_dir(&next).expect("a folder") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let name = path.strip_prefix(of).expect("below it").to_string_lossy().replace('\\', "/");
                files.push((name, fs::read(&path).expect("a file")));
            }
        }
    }
    files.sort();
    files
}

/// The small good knowledge base.
pub fn small() -> Vec<(String, Vec<u8>)> {
    folder(&tests().join("knowledge_good/small"))
}

/// The small good knowledge base with one file put in place of its own, or added.
pub fn small_with(name: &str, bytes: &[u8]) -> Vec<(String, Vec<u8>)> {
    let mut files = small();
    files.retain(|(other, _)| other != name);
    files.push((name.to_owned(), bytes.to_owned()));
    files
}

fn shown(findings: &[Finding]) -> String {
    findings.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n\n")
}

#[test]
fn good_ones_vet_clean() {
    for entry in fs::read_dir(tests().join("knowledge_good")).expect("a folder") {
        let path = entry.expect("an entry").path();
        let (knowledge, findings) = read(&folder(&path));
        let findings = findings.sorted();
        assert!(findings.is_empty(), "{}:\n{}", path.display(), shown(&findings));
        assert!(knowledge.is_some(), "{}", path.display());
    }
}

/// What a bad file says of itself: where it goes in the small good base (`# as: causes/more.yaml`), and the codes it
/// expects, each with its line (`# error: [K014]`).
struct Bad {
    target: String,
    expected: BTreeSet<(u32, String)>,
    bytes: Vec<u8>,
}

fn bad(path: &Path) -> Bad {
    let bytes = fs::read(path).expect("a file");
    let text = String::from_utf8_lossy(&bytes).into_owned();
    let first = text.lines().next().expect("a first line");
    let target = first.split_once("# as: ").expect("`# as:` in the first line").1;
    let target = target.split_whitespace().next().expect("a name").to_owned();
    let mut expected = BTreeSet::new();
    for (at, line) in text.lines().enumerate() {
        let Some((_, marks)) = line.split_once("# error: ").or_else(|| line.split_once("# advice: ")) else { continue };
        for code in marks.split_whitespace() {
            expected.insert((u32::try_from(at).unwrap() + 1, code.trim_matches(['[', ']']).to_owned()));
        }
    }
    assert!(!expected.is_empty(), "{} expects nothing", path.display());
    Bad { target, expected, bytes }
}

#[test]
fn bad_ones_say_what_is_wrong_and_where() {
    let wrong = std::cell::RefCell::new(String::new());
    insta::glob!("..", "knowledge_bad/*.yaml", |path| {
        let bad = bad(path);
        let (knowledge, findings) = read(&small_with(&bad.target, &bad.bytes));
        let findings = findings.sorted();
        let whole_file = |f: &Finding| f.place.line == 0 && f.place.file == bad.target;
        let found: BTreeSet<(u32, String)> = findings
            .iter()
            .map(|f| {
                // What is said of a file as a whole stands at whatever line its mark does.
                let marked = bad.expected.iter().find(|(_, code)| *code == f.code && whole_file(f));
                (marked.map_or(f.place.line, |(line, _)| *line), f.code.to_owned())
            })
            .collect();
        let elsewhere = findings.iter().any(|f| f.place.file != bad.target);
        // Knowledge is given where there is advice only.
        let errors = findings.iter().any(|f| f.severity == Severity::Error);
        if found != bad.expected || elsewhere || knowledge.is_none() != errors {
            let (file, expected) = (path.display(), &bad.expected);
            let said = format!("{file}: expected {expected:?}, found\n{}\n\n", shown(&findings));
            wrong.borrow_mut().push_str(&said);
        }
        insta::with_settings!({ omit_expression => true, prepend_module_to_snapshot => false }, {
            insta::assert_snapshot!("message", shown(&findings));
        });
    });
    assert!(wrong.borrow().is_empty(), "{}", wrong.borrow());
}

#[test]
fn every_code_has_a_bad_file() {
    let mut shown = BTreeSet::new();
    for entry in fs::read_dir(tests().join("knowledge_bad")).expect("a folder") {
        let path = entry.expect("an entry").path();
        shown.extend(bad(&path).expected.into_iter().map(|(_, code)| code));
    }
    let missing: Vec<_> = codes::ALL.iter().map(|c| c.code).filter(|code| !shown.contains(*code)).collect();
    assert!(missing.is_empty(), "no file in tests/knowledge_bad for {missing:?}");
}

#[test]
fn all_faults_of_a_folder_are_told_in_one_run() {
    let mut files = small();
    let mut expected = BTreeSet::new();
    // One fault each, in files of different kinds; one of them cannot even be parsed.
    for (name, text, code) in [
        ("causes/a.yaml", "- {id: a-a, title: A, rate: -1, basis: estimate}\n", "K021"),
        ("causes/b.yaml", "- {id: b-b, title: B, rate: 1, basis: estimate\n", "K002"),
        (
            "effects/c.yaml",
            "- {id: c-c, title: C, any: [{from: a-a, strength: 2}], leak: 0, basis: estimate}\n",
            "K020",
        ),
        ("settings/d.yaml", "- {id: d-d, title: D, unit: furlong, basis: estimate}\n", "K027"),
        ("companions/e.yaml", "- {found: a-a, likelier: {b-b: 2, z-z: 2}, cap: 2, basis: estimate}\n", "K014"),
    ] {
        files.push((name.to_owned(), text.as_bytes().to_owned()));
        expected.insert((name.to_owned(), code.to_owned()));
    }
    let found: BTreeSet<_> =
        read(&files).1.sorted().into_iter().map(|f| (f.place.file.clone(), f.code.to_owned())).collect();
    // `b-b` stands in a file that cannot be parsed: who names it is not to blame.
    assert_eq!(found, expected);
}

#[test]
fn names_of_files_may_have_any_root() {
    for root in ["", "/home/me/checks/", "knowledge/causes/"] {
        let files: Vec<_> = small().into_iter().map(|(name, bytes)| (format!("{root}{name}"), bytes)).collect();
        let (knowledge, findings) = read(&files);
        assert!(knowledge.is_some(), "{root}:\n{}", shown(&findings.sorted()));
    }
}

#[test]
fn the_built_in_ones_are_their_folders_and_vet_clean() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let names = doldrum::store::built_in_names();
    assert_eq!(names, ["watercraft", "handheld"]);
    for name in names {
        let folder = root.join("knowledge").join(name);
        let on_disk: Vec<_> = doldrum::store::knowledge_files(&folder)
            .expect("the folder is there")
            .into_iter()
            .map(|(path, bytes)| (path.trim_start_matches(&format!("{}/", root.display())).to_owned(), bytes))
            .collect();
        let built_in = doldrum::store::built_in_named(name).expect("it is built in");
        let names = |files: &[(String, Vec<u8>)]| files.iter().map(|(name, _)| name.clone()).collect::<Vec<_>>();
        assert_eq!(names(&built_in), names(&on_disk));
        assert!(built_in == on_disk, "the bytes differ");
        let (knowledge, findings) = read(&built_in);
        let findings = findings.sorted();
        assert!(findings.is_empty(), "{}", shown(&findings));
        effects_stand_in_order(&knowledge.expect("no findings"));
    }
    assert_eq!(read(&doldrum::store::built_in()).0.expect("sound").id, "watercraft-two-stroke");
}

fn effects_stand_in_order(knowledge: &Knowledge) {
    // Every effect stands after the effects it reads.
    let place = |ix| knowledge.effect_order.iter().position(|e| *e == ix).expect("every effect has its place");
    for (ix, effect) in knowledge.effects.iter() {
        for input in &effect.gate.inputs {
            if let Reads::One(State::Effect(read)) | Reads::Every(State::Effect(read)) = input.reads {
                assert!(place(read) < place(ix), "{} stands too early", knowledge.effects.id(ix));
            }
        }
    }
}

#[test]
fn the_order_in_which_files_are_given_does_not_matter() {
    let files = doldrum::store::built_in();
    let turned: Vec<_> = files.iter().rev().cloned().collect();
    let debug = |files: &[(String, Vec<u8>)]| format!("{:?}", read(files).0);
    assert!(debug(&files) == debug(&turned));
}
