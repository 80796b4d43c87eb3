//! The command line: help, exit codes, what is said on which stream.

use crate::small_engine::folder;
use assert_cmd::Command;
use std::fs;

fn doldrum() -> Command {
    let mut command = Command::cargo_bin("doldrum").expect("the program is built");
    command.env("NO_COLOR", "1").env("COLUMNS", "100");
    command
}

const CASE: &str = "format: 1\nknowledge: {id: small-engine}\nsymptoms: [sy-no-start]\nlog:\n  - {check: ck-smell, outcome: none, aired: 10 min}\n  - {check: ck-plug-look@front, outcome: dry}\n";

/// Runs with the small knowledge base and a case file of this text; exit code, standard output, standard error.
fn with_case(arguments: &[&str], text: &str) -> (i32, String, String) {
    let place = tempfile::tempdir().expect("a folder");
    fs::write(place.path().join("case.yaml"), text).expect("written");
    let output =
        doldrum().current_dir(place.path()).arg("--knowledge").arg(folder()).args(arguments).output().expect("ran");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("text");
    (output.status.code().expect("an exit code"), text(output.stdout), text(output.stderr))
}

#[test]
fn help_of_every_verb() {
    for verb in [
        "",
        "triage",
        "assess",
        "plan",
        "trial",
        "calc",
        "vet",
        "new",
        "chart",
        "completions",
        "man",
        "schema",
        "serve",
        "logbook",
        "logbook add",
        "logbook learn",
    ] {
        let mut command = doldrum();
        command.args(verb.split_whitespace());
        let output = command.arg("--help").output().expect("ran");
        assert!(output.status.success());
        let name = if verb.is_empty() { "help".to_owned() } else { format!("help_{}", verb.replace(' ', "_")) };
        insta::assert_snapshot!(name, String::from_utf8(output.stdout).expect("text"));
    }
}

#[test]
fn exit_codes_are_those_documented() {
    for (arguments, code) in [
        (&["assess", "case.yaml"][..], 0),
        (&["plan", "case.yaml", "--cause", "screen-clogged"], 0),
        (&["vet"], 0),
        (&["assess"], 2),
        (&["frobnicate"], 2),
        (&["schema", "case"], 0),
        (&["serve", "--at", "localhost"], 2),
        (&["serve", "--for", "nobody"], 2),
        (&["schema", "knowledge", "--kind", "cause"], 2),
        (&["schema", "case", "--kind", "causes"], 2),
        (&["plan", "case.yaml", "--cause", "screen-cloged"], 2),
        (&["triage", "--for", "nobody"], 2),
        (&["assess", "no-such.yaml"], 74),
        (&["vet", "no-such-folder"], 65),
        (&["vet", "./no-such-folder"], 74),
        (&["vet", "."], 65),
    ] {
        let (found, _, trouble) = with_case(arguments, CASE);
        assert_eq!(found, code, "{arguments:?}: {trouble}");
        assert_eq!(trouble.is_empty(), code == 0, "{arguments:?}: {trouble}");
    }
}

#[test]
fn what_is_no_moment_no_address_and_no_number_of_threads_is_told_by_example() {
    for (arguments, said) in [
        (&["assess", "case.yaml", "--now", "yesterday"][..], "expected a moment such as `2026-11-25T10:02:00Z`"),
        (&["serve", "--at", "localhost:4173"], "such as `127.0.0.1:4173`"),
        (&["trial", "--cases", "1", "--threads", "0"], "expected 1 to 256 threads"),
        (&["trial", "--cases", "1", "--threads", "100000"], "expected 1 to 256 threads"),
    ] {
        let (code, _, trouble) = with_case(arguments, CASE);
        assert!(code == 2 && trouble.contains(said), "{arguments:?}: {trouble}");
    }
}

#[test]
fn a_bad_case_is_told_with_its_place_on_standard_error() {
    let bad = CASE.replace("outcome: dry", "outcome: drry");
    let (code, out, trouble) = with_case(&["assess", "case.yaml"], &bad);
    assert_eq!((code, out.as_str()), (65, ""));
    insta::assert_snapshot!(trouble);
}

#[test]
fn assess_prints_text_markdown_and_json() {
    let (_, text, _) = with_case(&["assess", "case.yaml"], CASE);
    insta::assert_snapshot!("assess_text", text);
    let (_, markdown, _) = with_case(&["assess", "case.yaml", "--format", "markdown"], CASE);
    insta::assert_snapshot!("assess_markdown", markdown);
    for verb in ["assess", "plan"] {
        let (code, html, _) = with_case(&[verb, "case.yaml", "--format", "html"], CASE);
        let (_, again, _) = with_case(&[verb, "case.yaml", "--format", "html"], CASE);
        assert!(code == 0 && html.starts_with("<!DOCTYPE html>") && html == again, "{verb}: {html}");
        assert!(html.contains("The part of the fault tree that matters"), "{verb}");
    }
    let (_, json, _) = with_case(&["assess", "case.yaml", "--format", "json"], CASE);
    let (_, again, _) = with_case(&["assess", "case.yaml", "--format", "json"], CASE);
    assert_eq!(json, again, "the same input gives the same bytes");
    let value: serde_json::Value = serde_json::from_str(&json).expect("JSON");
    for key in [
        "causes",
        "effects",
        "explanations",
        "unexplained",
        "log_evidence",
        "conflict",
        "next",
        "alternatives",
        "hazards",
        "barred",
        "weights",
        "accuracy",
        "knowledge",
    ] {
        assert!(value.get(key).is_some(), "{key} is missing");
    }
    let causes = value["causes"].as_array().expect("a list");
    let chances: Vec<f64> = causes.iter().map(|c| c["probability"].as_f64().expect("a number")).collect();
    assert!(chances.windows(2).all(|w| w[0] >= w[1]), "largest first: {chances:?}");
    assert_eq!(causes.len(), 6, "every cause instance");
    for key in ["action", "id", "expected_cost", "saves", "reason", "outcomes"] {
        assert!(value["next"].get(key).is_some(), "next.{key} is missing");
    }
}

#[test]
fn a_sniff_grows_old_by_now() {
    let timed = CASE.replace("{check: ck-smell,", "{at: 2026-11-25T10:00:00Z, check: ck-smell,");
    let hazards = |now: &str| {
        let (code, json, trouble) = with_case(&["assess", "case.yaml", "--format", "json", "--now", now], &timed);
        assert_eq!(code, 0, "{trouble}");
        let value: serde_json::Value = serde_json::from_str(&json).expect("JSON");
        value["hazards"].as_array().expect("a list").len()
    };
    assert_eq!(hazards("2026-11-25T10:05:00Z"), 0);
    assert_eq!(hazards("2026-11-25T11:00:00Z"), 1);
}

#[test]
fn standard_input_is_a_case_too_and_triage_reads_lines() {
    let output =
        doldrum().arg("--knowledge").arg(folder()).args(["assess", "-"]).write_stdin(CASE).output().expect("ran");
    assert!(output.status.success());
    let place = tempfile::tempdir().expect("a folder");
    let output = doldrum()
        .current_dir(place.path())
        .arg("--knowledge")
        .arg(folder())
        .args(["triage", "--case", "c.yaml"])
        .write_stdin("t\n1\n\n\n1\n\ns\nq\n")
        .output()
        .expect("ran");
    assert!(output.status.success());
    let kept = fs::read_to_string(place.path().join("c.yaml")).expect("kept");
    assert!(kept.contains("symptoms: [sy-no-start]"), "{kept}");
    assert!(String::from_utf8_lossy(&output.stdout).contains("Saved in c.yaml"));
}

#[test]
fn what_is_not_saved_is_not_said_to_be() {
    let place = tempfile::tempdir().expect("a folder");
    for (lines, kept) in [("q\n", false), ("t\n1\nq\n", true)] {
        let output = doldrum()
            .current_dir(place.path())
            .arg("--knowledge")
            .arg(folder())
            .args(["triage", "--plain", "--case", "c.yaml", "--title", "Job A"])
            .write_stdin(lines)
            .output()
            .expect("ran");
        let told = String::from_utf8_lossy(&output.stdout).into_owned();
        assert_eq!(place.path().join("c.yaml").exists(), kept, "{told}");
        assert_eq!(told.contains("Saved in c.yaml"), kept, "{told}");
        assert_eq!(told.contains("Nothing to save yet."), !kept, "{told}");
    }
}

#[test]
fn no_escape_code_goes_to_a_file() {
    let (_, out, _) = with_case(&["assess", "case.yaml"], CASE);
    assert!(!out.contains('\u{1b}'));
}

#[test]
fn vet_finds_and_counts() {
    let place = tempfile::tempdir().expect("a folder");
    for entry in fs::read_dir(folder()).expect("listed") {
        let path = entry.expect("an entry").path();
        let text = fs::read_to_string(&path).expect("read").replace("screen-clogged: 0.95", "screen-cloged: 0.95");
        fs::write(place.path().join(path.file_name().expect("a name")), text).expect("written");
    }
    let output = doldrum().current_dir(place.path()).args(["vet", "."]).output().expect("ran");
    assert_eq!(output.status.code(), Some(1));
    let out = String::from_utf8(output.stdout).expect("text");
    assert!(out.contains("K014") && out.contains("did you mean `screen-clogged`"), "{out}");
    let output = doldrum().current_dir(place.path()).args(["vet", ".", "--format", "json"]).output().expect("ran");
    let value: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    assert_eq!(value[0]["code"], "K014");
}

/// What is beyond any budget is told in people's words, with what helps.
#[test]
fn too_wide_names_what_is_tied_together() {
    let (code, out, trouble) = with_case(&["assess", "case.yaml", "--cells", "3"], CASE);
    assert_eq!((code, out.as_str()), (65, ""), "{trouble}");
    for part in ["expected `3` table cells", "tied together: ", "--exact"] {
        assert!(trouble.contains(part), "`{part}` is missing: {trouble}");
    }
    assert!(!trouble.contains('@'), "titles, not ids: {trouble}");
}

/// Where links were cut, assess says how many and how near that is; exact is exact.
#[test]
fn assess_says_how_near_it_is() {
    let (code, json, trouble) = with_case(&["assess", "case.yaml", "--format", "json", "--exact"], CASE);
    assert_eq!(code, 0, "{trouble}");
    let value: serde_json::Value = serde_json::from_str(&json).expect("JSON");
    assert_eq!(value["accuracy"]["exact"], true);
    assert_eq!(value["accuracy"]["within"], 0.0);
    let (code, text, trouble) = with_case(&["assess", "case.yaml", "--cells", "80"], CASE);
    assert_eq!(code, 0, "{trouble}");
    assert!(text.contains("cut; within about"), "{text}");
    let (code, json, _) = with_case(&["assess", "case.yaml", "--cells", "80", "--format", "json"], CASE);
    let value: serde_json::Value = serde_json::from_str(&json).expect("JSON");
    assert_eq!((code, &value["accuracy"]["exact"]), (0, &serde_json::Value::Bool(false)));
    let within = value["accuracy"]["within"].as_f64().expect("a number");
    assert!(within > 0.0 && within < 0.1, "{}", value["accuracy"]);
}
