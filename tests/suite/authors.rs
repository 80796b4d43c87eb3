//! What authors start from: what `new` writes works, and the walk-through of the documents does word for word.

use assert_cmd::Command;
use clap::CommandFactory;
use doldrum::cli::args::Arguments;
use doldrum::knowledge;
use doldrum::store;
use std::fs;
use std::path::Path;

fn doldrum(place: &Path, arguments: &[&str]) -> (Option<i32>, String) {
    let mut command = Command::cargo_bin("doldrum").expect("the program");
    let output = command.env("NO_COLOR", "1").current_dir(place).args(arguments).output().expect("it runs");
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (output.status.code(), text(&output.stdout) + &text(&output.stderr))
}

#[test]
fn what_new_writes_vets_clean_and_works_a_job() {
    let place = tempfile::tempdir().expect("a folder");
    // Whatever a name holds, the files stay YAML.
    let (code, told) = doldrum(place.path(), &["new", "pump", "--name", "Garden \"pump\": #4, 50% 'new'"]);
    assert_eq!(code, Some(0), "{told}");
    let (code, told) = doldrum(place.path(), &["vet", "pump", "--deny", "advice"]);
    assert!(code == Some(0) && told.contains("nothing found"), "{told}");
    let base = knowledge::read(&store::knowledge_files(&place.path().join("pump")).expect("files")).0.expect("sound");
    assert_eq!((base.id.as_str(), base.title.as_str()), ("garden-pump-4-50-new", "Garden \"pump\": #4, 50% 'new'"));
    let counts = [base.symptoms.len(), base.causes.len(), base.checks.len(), base.repairs.len()];
    assert_eq!(counts, [1, 2, 1, 1]);
    // The complaint, the repair, its end; what else is asked is passed over.
    let mut command = Command::cargo_bin("doldrum").expect("the program");
    let output = command
        .current_dir(place.path())
        .args(["triage", "--plain", "--knowledge", "pump", "--case", "job.yaml", "--title", "The pump"])
        .write_stdin("1\n\n\n\n1\n\n\n\n\n1\n1\n1\n")
        .output()
        .expect("it runs");
    let shown = String::from_utf8_lossy(&output.stdout).into_owned();
    for part in ["DANGER: Gasoline vapor", "Fill with fresh fuel", "Record: The pump", "Will not start: gone"] {
        assert!(shown.contains(part), "`{part}` is missing: {shown}");
    }
    let case = "format: 1\nknowledge: {id: garden-pump-4-50-new}\nsymptoms: [sy-no-start]\nlog:\n  - {check: ck-tank-look, outcome: empty}\n";
    fs::write(place.path().join("empty.yaml"), case).expect("written");
    let (code, told) = doldrum(place.path(), &["plan", "empty.yaml", "--knowledge", "pump"]);
    assert!(code == Some(0) && told.contains("Fill with fresh fuel") && told.contains("DANGER"), "{told}");
}

/// A name that may mean two is not guessed at, and what `new` tells names the folder.
#[test]
fn a_folder_of_the_name_of_a_built_in_base_is_told_apart() {
    let place = tempfile::tempdir().expect("a folder");
    let name = store::built_in_names()[0];
    let (code, told) = doldrum(place.path(), &["new", name]);
    assert!(code == Some(0) && told.contains(&format!("doldrum vet ./{name} ")), "{told}");
    for command in [&["vet", name][..], &["triage", "--plain", "--knowledge", name]] {
        let (code, told) = doldrum(place.path(), command);
        assert!(code == Some(2) && told.contains(&format!("`./{name}`")), "{command:?}: {told}");
    }
    let (code, told) = doldrum(place.path(), &["vet", &format!("./{name}"), "--quick"]);
    assert!(code == Some(0) && told.contains(&format!("./{name}: ")), "{told}");
    let elsewhere = tempfile::tempdir().expect("a folder");
    assert_eq!(doldrum(elsewhere.path(), &["vet", name, "--quick"]).0, Some(0));
}

#[test]
fn nothing_is_written_over() {
    let place = tempfile::tempdir().expect("a folder");
    fs::create_dir(place.path().join("mine")).expect("made");
    fs::write(place.path().join("mine/notes.txt"), "mine").expect("written");
    fs::write(place.path().join("job.yaml"), "mine").expect("written");
    for arguments in [&["new", "mine"][..], &["new", "job.yaml"], &["new", "--case", "job.yaml"]] {
        let (code, told) = doldrum(place.path(), arguments);
        assert!(code == Some(2) && told.contains("expected"), "{arguments:?}: {told}");
    }
    assert_eq!(fs::read_dir(place.path().join("mine")).expect("a folder").count(), 1);
    assert_eq!(fs::read_to_string(place.path().join("job.yaml")).expect("text"), "mine");
    fs::create_dir(place.path().join("empty")).expect("made");
    assert_eq!(doldrum(place.path(), &["new", "empty"]).0, Some(0), "an empty folder is as good as none");
}

#[test]
fn a_new_case_can_be_read() {
    let place = tempfile::tempdir().expect("a folder");
    for name in store::built_in_names() {
        let file = format!("{name}.yaml");
        assert_eq!(doldrum(place.path(), &["new", "--case", &file, "--knowledge", name]).0, Some(0));
        let text = fs::read_to_string(place.path().join(&file)).expect("text");
        let base = knowledge::read(&store::built_in_named(name).expect("built in")).0.expect("sound");
        let (case, findings) = doldrum::case::text::read(&file, &text, &base);
        assert!(case.is_some() && findings.is_empty(), "{name}: {:?}", findings.sorted());
        let every_id = base.symptoms.ids().chain(base.history.ids()).chain(base.layouts.ids());
        for id in every_id {
            assert!(text.contains(id), "{name}: {id} is not offered");
        }
    }
}

/// The blocks of the walk-through: text before each, its kind, its lines.
fn walk_through() -> Vec<(String, String, String)> {
    let page = include_str!("../../docs/format.md");
    let from = page.find("## Add a cause in ten minutes").expect("the walk-through");
    let part = page[from..].split("\n## Rules").next().expect("its end");
    let mut blocks = Vec::new();
    let mut pieces = part.split("```");
    let mut before = pieces.next().unwrap_or_default();
    while let (Some(block), Some(after)) = (pieces.next(), pieces.next()) {
        let (kind, text) = block.split_once('\n').expect("a block");
        blocks.push((before.to_owned(), kind.to_owned(), text.to_owned()));
        before = after;
    }
    blocks
}

/// Word for word: what is to be added is added, what is to be run is run.
#[test]
fn a_cause_is_added_as_the_documents_say() {
    let place = tempfile::tempdir().expect("a folder");
    let base = place.path().join("my-engine");
    let mut added = 0;
    for (before, kind, text) in walk_through() {
        if kind == "yaml" {
            let file = before.rsplit("dd to the end of `").next().and_then(|rest| rest.split('`').next());
            let path = base.join(file.expect("the name of a file"));
            let old = fs::read_to_string(&path).expect("a file that new wrote");
            fs::write(&path, old + &text).expect("written");
            added += 1;
            let (code, told) = doldrum(place.path(), &["vet", "my-engine"]);
            // What the text says one is told on the way.
            assert_eq!(code, Some(0), "{told}");
            if path.ends_with("effects.yaml") {
                assert!(told.contains("K081") && told.contains("K082") && !told.contains("K080"), "{told}");
            }
            continue;
        }
        for line in text.lines().filter(|line| !line.contains("triage")) {
            let words: Vec<&str> = line.split_whitespace().collect();
            let line = line.replace("\"My engine\"", "My-engine");
            let words: Vec<&str> = if words.contains(&"--name") { line.split_whitespace().collect() } else { words };
            let (code, told) = doldrum(place.path(), &words[1..]);
            assert_eq!(code, Some(0), "{line}: {told}");
            if line.contains("vet") && !line.contains("--testability") {
                assert!(told.contains("nothing found"), "{line}: {told}");
            }
            if line.contains("chart") {
                assert!(told.contains("Clogged fuel filter"), "{told}");
            }
        }
    }
    assert_eq!(added, 4);
    let case = "format: 1\nknowledge: {id: my-engine}\nsymptoms: [sy-no-start]\nlog:\n  - {check: ck-filter-look, outcome: dark-and-slimy}\n";
    fs::write(place.path().join("job.yaml"), case).expect("written");
    let (_, told) = doldrum(place.path(), &["assess", "job.yaml", "--knowledge", "my-engine", "--format", "json"]);
    let value: serde_json::Value = serde_json::from_str(&told).expect("JSON");
    assert_eq!(value["causes"][0]["id"], "filter-clogged", "{told}");
}

/// `--help` of every command, at every depth, has examples, and each is a command of the program.
#[test]
fn every_help_has_examples_that_can_be_run() {
    let command = Arguments::command();
    for verb in command.get_subcommands() {
        let help = verb.get_after_help().map(ToString::to_string).unwrap_or_default();
        assert!(help.contains("Examples:"), "`{}` has no examples", verb.get_name());
        for line in help.lines().filter_map(|line| line.strip_prefix("  ")) {
            let line =
                line.split("   ").next().unwrap_or_default().split(['|', '<', '>']).find(|p| p.contains("doldrum "));
            let Some(line) = line else { continue };
            let line = line.trim();
            let words = line.replace(['"', '\''], "");
            let parsed = Arguments::command().try_get_matches_from(words.split_whitespace());
            let free = line.contains('"') || line.contains('\'');
            assert!(free || parsed.is_ok(), "`{line}` of `{}`: {:?}", verb.get_name(), parsed.err());
        }
    }
}

#[test]
fn shells_and_manuals_know_every_command() {
    let place = tempfile::tempdir().expect("a folder");
    let verbs: Vec<String> = Arguments::command().get_subcommands().map(|verb| verb.get_name().to_owned()).collect();
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let (code, script) = doldrum(place.path(), &["completions", shell]);
        assert_eq!(code, Some(0), "{script}");
        for verb in &verbs {
            assert!(script.contains(verb.as_str()), "{shell}: {verb}");
        }
        assert!(script.contains("testability") && script.contains("knowledge"), "{shell}: options");
    }
    let (_, page) = doldrum(place.path(), &["man"]);
    assert!(page.contains(".TH doldrum 1") && verbs.iter().all(|verb| page.contains(verb.as_str())), "{page}");
    assert_eq!(doldrum(place.path(), &["man", "--folder", "man1"]).0, Some(0));
    for verb in &verbs {
        let page = fs::read_to_string(place.path().join(format!("man1/doldrum-{verb}.1"))).expect("a page");
        assert!(page.contains("Examples:") && page.contains("knowledge"), "{verb}: {page}");
    }
}
