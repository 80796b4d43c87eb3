//! Advice for authors: each rule has a file that breaks it alone; what an author starts from breaks none.

use crate::knowledge_files::folder;
use crate::small_engine;
use assert_cmd::Command;
use doldrum::finding::{Finding, Severity};
use doldrum::knowledge::layout::{Craft, Laid};
use doldrum::knowledge::{self, Knowledge};
use doldrum::vet::{self, Depth, codes, shown};
use doldrum::{skeleton, store};
use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

type Files = Vec<(String, Vec<u8>)>;

fn tests() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests")
}

fn start() -> Files {
    let files = skeleton::base("My engine").into_iter();
    files.map(|(name, text)| (name.to_owned(), text.into_bytes())).collect()
}

fn all_layouts(knowledge: &Knowledge) -> Depth {
    Depth::Shown(knowledge.layouts.iter().map(|(ix, _)| ix).collect())
}

/// Errors and advice.
fn found(files: &Files) -> Vec<Finding> {
    let (knowledge, mut findings) = knowledge::read(files);
    if let Some(knowledge) = &knowledge {
        findings.extend(vet::vet(knowledge, &all_layouts(knowledge)).expect("it can be asked").findings);
    }
    findings.sorted()
}

fn listed(findings: &[Finding]) -> String {
    findings.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n\n")
}

/// The files a fixture adds: each part begins with `# as: NAME`, which is its line 0.
fn parts(text: &str) -> Files {
    let mut parts: Vec<(String, String)> = Vec::new();
    for line in text.lines() {
        if let Some(name) = line.strip_prefix("# as: ") {
            parts.push((name.trim().to_owned(), String::new()));
        } else if let Some((_, part)) = parts.last_mut() {
            part.push_str(line);
            part.push('\n');
        }
    }
    parts.into_iter().map(|(name, text)| (name, text.into_bytes())).collect()
}

/// Where a fixture expects which codes.
fn expected(files: &Files) -> BTreeSet<(String, u32, String)> {
    let mut expected = BTreeSet::new();
    for (name, bytes) in files {
        let text = String::from_utf8_lossy(bytes).into_owned();
        for (line, marks) in (1..).zip(text.lines()).filter_map(|(n, l)| Some((n, l.split_once("# advice: ")?.1))) {
            let codes = marks.split_whitespace().map(|code| code.trim_matches(['[', ']']).to_owned());
            expected.extend(codes.map(|code| (name.clone(), line, code)));
        }
    }
    expected
}

#[test]
fn each_rule_finds_what_its_file_breaks_and_nothing_else() {
    let wrong = std::cell::RefCell::new(String::new());
    insta::glob!("..", "advice/*.yaml", |path| {
        let added = parts(&fs::read_to_string(path).expect("a file"));
        let expected = expected(&added);
        let mut files = start();
        files.extend(added);
        let findings = found(&files);
        let placed = findings.iter().map(|f| (f.place.file.clone(), f.place.line, f.code.to_owned()));
        if placed.collect::<BTreeSet<_>>() != expected {
            let said = format!("{}: expected {expected:?}, found\n{}\n\n", path.display(), listed(&findings));
            wrong.borrow_mut().push_str(&said);
        }
        assert!(findings.iter().all(|f| f.severity == Severity::Advice), "{}", listed(&findings));
        insta::with_settings!({ omit_expression => true, prepend_module_to_snapshot => false }, {
            insta::assert_snapshot!("advice", listed(&findings));
        });
    });
    assert!(wrong.borrow().is_empty(), "{}", wrong.borrow());
}

#[test]
fn every_code_of_advice_has_a_file() {
    let mut shown: BTreeSet<String> = BTreeSet::new();
    for (_, bytes) in folder(&tests().join("advice")) {
        let parts = parts(&String::from_utf8_lossy(&bytes));
        shown.extend(expected(&parts).into_iter().map(|(.., code)| code));
    }
    // What was never chosen takes jobs played; it has a test of its own.
    let missing: Vec<&str> =
        codes::ALL.iter().map(|c| c.code).filter(|c| *c != codes::NEVER_CHOSEN && !shown.contains(*c)).collect();
    assert!(missing.is_empty(), "no file in tests/advice for {missing:?}");
}

#[test]
fn a_check_that_was_made_in_no_job_is_named() {
    let knowledge = knowledge::read(&start()).0.expect("sound");
    assert!(vet::never_chosen(&knowledge, 3, ["ck-tank-look@rear", "rm-fresh-fuel"].into_iter()).is_empty());
    let told = vet::never_chosen(&knowledge, 3, ["rm-fresh-fuel", "hand over"].into_iter()).sorted();
    assert_eq!((told.len(), told[0].code, told[0].place.file.as_str()), (1, codes::NEVER_CHOSEN, "checks.yaml"));
}

#[test]
fn the_page_of_findings_is_current() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/findings.md");
    if std::env::var_os("UPDATE_DOCS").is_some() {
        fs::write(&path, vet::page()).expect("docs/findings.md can be written");
    }
    let page = fs::read_to_string(&path).unwrap_or_default();
    assert!(page == vet::page(), "docs/findings.md is not current; run this test with UPDATE_DOCS=1");
}

/// Codes of all tables are told apart.
#[test]
fn no_code_stands_in_two_tables() {
    let tables = [codes::ALL, knowledge::codes::ALL, doldrum::case::codes::ALL, doldrum::logbook::codes::ALL];
    let all: Vec<&str> = tables.into_iter().flatten().map(|code| code.code).collect();
    assert_eq!(all.iter().collect::<BTreeSet<_>>().len(), all.len());
}

/// Rain and sprinkler, worked out by hand: given wet grass, clouds are seen with 0.95 where it rained and with
/// 0.95 r + 0.1 (1 - r) where the sprinkler ran, r = 0.2 * 0.98 / (0.2 * 0.98 + 0.8 * 0.8) the chance of rain too.
#[test]
fn how_well_a_check_tells_two_causes_apart() {
    let knowledge = knowledge::read(&folder(&tests().join("knowledge_good/textbook"))).0.expect("sound");
    let laid = Laid::new(&knowledge, Craft::usual(&knowledge));
    let shown = shown::all(&laid).expect("it can be asked");
    let rain_too = 0.196 / (0.196 + 0.64);
    let clouds = 0.95 * rain_too + 0.1 * (1.0 - rain_too);
    assert!((shown[0].apart(0, 1) - (0.95 - clouds)).abs() < 1e-9, "{}", shown[0].apart(0, 1));
    // With neither, clouds are seen with 0.4: the sprinkler is not told from that.
    assert!((shown[0].detects(0) - 0.55).abs() < 1e-9 && (shown[0].detects(1) - (0.4 - clouds)).abs() < 1e-9);
    let layout = Craft::usual(&knowledge).layout;
    let figures = &vet::vet(&knowledge, &Depth::Shown(vec![layout])).expect("it can be asked").testability[0];
    assert_eq!((figures.faults, figures.largest_group, figures.groups.len()), (2, 1, 0));
    // P(rain, wet) = 0.2 (1 - 0.1 (1 - 0.08)), P(sprinkler, wet) = 0.1 (1 - 0.2 (1 - 0.18)).
    assert!((figures.detected - 0.1816 / (0.1816 + 0.0836)).abs() < 1e-9, "{}", figures.detected);
    assert!((figures.isolated - 1.0).abs() < 1e-12);
    assert!((figures.mean_group - 1.0).abs() < 1e-12);
}

/// Two that look the same make a group of two, isolated to no repair.
#[test]
fn what_looks_the_same_is_one_group() {
    let fixture = fs::read_to_string(tests().join("advice/k088-two-that-look-the-same.yaml")).expect("a file");
    let mut files = start();
    files.extend(parts(&fixture));
    let knowledge = knowledge::read(&files).0.expect("sound");
    let vetted = vet::vet(&knowledge, &all_layouts(&knowledge)).expect("it can be asked");
    let symptom = knowledge.symptoms.find("sy-cuts-out").expect("a symptom");
    let figures = vetted.testability.iter().find(|t| t.symptom == symptom).expect("it was looked at");
    assert_eq!((figures.faults, figures.largest_group, figures.groups.len()), (2, 2, 1));
    assert!((figures.mean_group - 2.0).abs() < 1e-12 && figures.isolated < 1e-12 && figures.detected > 0.99);
}

/// Those that are built in have no errors; what advice they get is known and comes of their files alone.
#[test]
fn the_built_in_ones_have_little_to_be_advised_of() {
    for name in store::built_in_names() {
        let (knowledge, findings) = knowledge::read(&store::built_in_named(name).expect("built in"));
        assert!(findings.is_empty(), "{name}");
        let advice = vet::vet(&knowledge.expect("sound"), &Depth::Quick).expect("nothing is asked").findings.sorted();
        let known = [codes::SOURCE_UNUSED, codes::FROM_MEMORY, codes::OWNER_WORDS];
        assert!(advice.iter().all(|f| known.contains(&f.code)), "{name}: {}", listed(&advice));
    }
}

fn vet_of(arguments: &[&str]) -> (Option<i32>, String) {
    let mut command = Command::cargo_bin("doldrum").expect("the program");
    let output = command.env("NO_COLOR", "1").arg("vet").args(arguments).output().expect("it runs");
    (output.status.code(), String::from_utf8(output.stdout).expect("text"))
}

#[test]
fn advice_ends_with_0_and_with_1_where_it_is_denied() {
    let small = small_engine::folder();
    let small = small.to_str().expect("a name in UTF-8");
    let (code, told) = vet_of(&[small, "--quick"]);
    assert!(code == Some(0) && told.contains("advice[K091]"), "{told}");
    assert_eq!(vet_of(&[small, "--quick", "--deny", "advice"]).0, Some(1));
    let (_, lines) = vet_of(&[small, "--quick", "--format", "lines"]);
    let first = lines.lines().next().expect("a finding");
    let (place, rest) = first.split_once(": warning: ").expect("a level");
    assert!(place.ends_with("repairs.yaml:1:7") && rest.ends_with(" [K091]"), "{first}");
    let (_, commands) = vet_of(&[small, "--quick", "--format", "workflow"]);
    assert!(
        commands.starts_with("::warning file=") && commands.contains(",line=1,col=7,title=K091::repair"),
        "{commands}"
    );
    let (_, json) = vet_of(&[small, "--testability", "--format", "json"]);
    let value: serde_json::Value = serde_json::from_str(&json).expect("JSON");
    assert_eq!(value["findings"][0]["severity"], "advice");
    assert!(value["testability"][0]["detected"].as_f64().is_some_and(|share| (0.0..=1.0).contains(&share)), "{json}");
    let (code, table) = vet_of(&[small, "--testability", "--layout", "twin"]);
    assert!(code == Some(0) && table.contains("sy-no-start") && table.contains("isolated"), "{table}");
}

/// A file name or a message cannot end the command early.
#[test]
fn what_a_build_server_reads_is_escaped() {
    let place = doldrum::finding::Place { file: "a,b:c.yaml".to_owned(), line: 0, column: 0 };
    let message = "100%\nof it".to_owned();
    let finding =
        Finding { place, severity: Severity::Error, code: "K001", path: String::new(), message, hints: Vec::new() };
    assert_eq!(finding.workflow_command(), "::error file=a%2Cb%3Ac.yaml,line=1,col=1,title=K001::100%25%0Aof it");
    assert_eq!(finding.line(), "a,b:c.yaml:1:1: error: 100% of it [K001]");
}
