//! The documents agree with the program and with each other.

use clap::CommandFactory;
use doldrum::cli::args::Arguments;
use doldrum::logbook::overlay;
use std::fs;
use std::path::{Path, PathBuf};

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// Every document: its path and its text.
fn documents() -> Vec<(PathBuf, String)> {
    let mut paths: Vec<PathBuf> = ["README.md", "DEVELOPERS.md", "CHANGELOG.md"].map(|name| root().join(name)).into();
    for entry in fs::read_dir(root().join("docs")).expect("the folder of documents") {
        let path = entry.expect("an entry").path();
        if path.extension().is_some_and(|e| e == "md") {
            paths.push(path);
        }
    }
    paths.sort();
    paths.into_iter().map(|path| (path.clone(), fs::read_to_string(&path).expect("a document in UTF-8"))).collect()
}

/// The lines inside fenced blocks (`inside`) or outside of them, with the words after the opening fence.
fn blocks(text: &str) -> Vec<(String, Vec<String>)> {
    let mut blocks = Vec::new();
    let mut open: Option<(String, Vec<String>)> = None;
    for line in text.lines() {
        match (line.trim_start().strip_prefix("```"), open.take()) {
            (Some(_), Some(block)) => blocks.push(block),
            (Some(kind), None) => open = Some((kind.trim().to_owned(), Vec::new())),
            (None, Some((kind, mut lines))) => {
                lines.push(line.to_owned());
                open = Some((kind, lines));
            }
            (None, None) => {}
        }
    }
    assert!(open.is_none(), "a block is left open: {open:?}");
    blocks
}

/// The text without fenced blocks and code spans.
fn prose(text: &str) -> String {
    let mut fenced = false;
    let mut prose = String::new();
    for line in text.lines() {
        if line.trim_start().starts_with("```") {
            fenced = !fenced;
        } else if !fenced {
            let outside: Vec<&str> = line.split('`').step_by(2).collect();
            prose.push_str(&outside.join(" "));
            prose.push('\n');
        }
    }
    prose
}

/// What stands after `doldrum` in a line of a shell block; `cargo run -- ...` is the same program.
fn arguments_of(line: &str) -> Option<Vec<String>> {
    let line = line.trim_start().trim_start_matches("$ ");
    let line =
        line.split('|').map(str::trim).find(|part| part.starts_with("doldrum") || part.starts_with("cargo run"))?;
    let line = line.split(" #").next().unwrap_or_default().split(['<', '>']).next().unwrap_or_default();
    // What stands in quotes is one word.
    let line: String = line
        .split('"')
        .enumerate()
        .map(|(at, part)| if at % 2 == 1 { part.replace(' ', "_") } else { part.to_owned() })
        .collect();
    let words: Vec<String> = line.split_whitespace().map(str::to_owned).collect();
    match words.first().map(String::as_str) {
        Some("doldrum") => Some(words[1..].to_vec()),
        Some("cargo") => words.iter().position(|w| w == "--").map(|at| words[at + 1..].to_vec()),
        _ => None,
    }
}

#[test]
fn commands_in_documents_are_commands_of_the_program() {
    let mut seen = 0;
    for (path, text) in documents() {
        let shell = blocks(&text).into_iter().filter(|(kind, _)| ["sh", "console"].contains(&kind.as_str()));
        for line in shell.flat_map(|(_, lines)| lines) {
            let Some(words) = arguments_of(&line) else { continue };
            let parsed = Arguments::command().try_get_matches_from(std::iter::once("doldrum".to_owned()).chain(words));
            if let Err(error) = parsed {
                let asks = [clap::error::ErrorKind::DisplayHelp, clap::error::ErrorKind::DisplayVersion];
                assert!(asks.contains(&error.kind()), "{}: `{line}`\n{error}", path.display());
            }
            seen += 1;
        }
    }
    assert!(seen >= 6, "only {seen} commands found: are the blocks marked `sh` or `console`?");
}

#[test]
fn every_command_is_in_the_readme() {
    let readme = fs::read_to_string(root().join("README.md")).expect("a README");
    for command in Arguments::command().get_subcommands() {
        assert!(
            readme.contains(&format!("doldrum {}", command.get_name())),
            "README.md lacks `{}`",
            command.get_name()
        );
    }
}

/// The headings of a document as GitHub names them in links.
fn anchors(text: &str) -> Vec<String> {
    let slug = |heading: &str| -> String {
        let kept = heading.trim().to_lowercase().replace('`', "");
        kept.chars()
            .filter(|c| c.is_alphanumeric() || " -_".contains(*c))
            .map(|c| if c == ' ' { '-' } else { c })
            .collect()
    };
    text.lines().filter_map(|line| line.strip_prefix('#')).map(|line| slug(line.trim_start_matches('#'))).collect()
}

#[test]
fn every_link_leads_somewhere() {
    let mut seen = 0;
    for (path, text) in documents() {
        let prose = prose(&text);
        for (at, _) in prose.match_indices("](") {
            let target = prose[at + 2..].split(')').next().unwrap_or_default();
            if target.starts_with("http") {
                continue;
            }
            let (file, anchor) = target.split_once('#').unwrap_or((target, ""));
            let file = if file.is_empty() { path.clone() } else { path.parent().unwrap_or(Path::new(".")).join(file) };
            assert!(file.exists(), "{}: nothing at `{target}`", path.display());
            if !anchor.is_empty() {
                let found = anchors(&fs::read_to_string(&file).expect("a document"));
                assert!(found.iter().any(|a| a == anchor), "{}: no heading `{anchor}` in `{target}`", path.display());
            }
            seen += 1;
        }
    }
    assert!(seen >= 5, "only {seen} links found");
}

/// Beginnings of words as they are spelled elsewhere. The dots keep this file from finding itself.
const NOT_US: [&str; 15] = [
    "carburett.",
    "vapour.",
    "colour.",
    "behaviour.",
    "labour.",
    "petrol.",
    "spanner.",
    "licence.",
    "labelled.",
    "travelling.",
    "stabilis.",
    "organis.",
    "recognis.",
    "programme.",
    "judgement.",
];

/// Words that begin like one of those and are right.
const RIGHT: [&str; 4] = ["programmed", "programmer", "petroleum", "organism"];

fn first_of_another_spelling(text: &str) -> Option<String> {
    text.split(|c: char| !c.is_alphabetic()).map(str::to_lowercase).find(|word| {
        NOT_US.iter().any(|other| word.starts_with(other.trim_end_matches('.')))
            && !RIGHT.iter().any(|right| word.starts_with(right))
    })
}

#[test]
fn spelling_is_that_of_the_united_states() {
    for (path, text) in documents() {
        let found = first_of_another_spelling(&text);
        assert!(found.is_none(), "{}: `{}`", path.display(), found.unwrap_or_default());
    }
    for folder in ["src", "knowledge"] {
        let mut files = Vec::new();
        gather(&root().join(folder), &mut files);
        assert!(files.len() > 20, "only {} files in {folder}", files.len());
        for path in files {
            let found = first_of_another_spelling(&fs::read_to_string(&path).expect("text"));
            assert!(found.is_none(), "{}: `{}`", path.display(), found.unwrap_or_default());
        }
    }
    assert_eq!(first_of_another_spelling("The Carburettor"), Some("carburettor".to_owned()));
    assert_eq!(first_of_another_spelling("a programmer's color"), None);
}

fn gather(folder: &Path, files: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            gather(&path, files);
        } else if path.extension().is_some_and(|e| e == "rs" || e == "yaml") {
            files.push(path);
        }
    }
}

/// The examples of the case file and of knowledge items in `docs/format.md`, and of learned numbers, are read by the
/// program.
#[test]
fn the_case_files_in_documents_can_be_read() {
    let (knowledge, _) = doldrum::knowledge::read(&doldrum::store::built_in());
    let knowledge = knowledge.expect("the built-in knowledge base is sound");
    let mut seen = 0;
    for (path, text) in documents() {
        for (kind, lines) in blocks(&text) {
            if kind == "yaml" && lines.iter().any(|line| line.starts_with("knowledge:")) {
                let text = lines.join("\n");
                let (is_read, findings) = if lines.iter().any(|line| line.starts_with("jobs:")) {
                    let (learned, findings) = overlay::read("learned.yaml", text.as_bytes(), &knowledge);
                    (learned.is_some(), findings)
                } else {
                    let (case, findings) = doldrum::case::text::read("case.yaml", &text, &knowledge);
                    (case.is_some(), findings)
                };
                let list: Vec<String> = findings.sorted().iter().map(ToString::to_string).collect();
                assert!(is_read && list.is_empty(), "{}: {}", path.display(), list.join("\n"));
                seen += 1;
            }
        }
    }
    assert!(seen > 0, "no document shows a case file");
}

/// The answers of `docs/first-job.md` lead to a work order.
#[test]
fn the_first_job_comes_to_its_end() {
    let folder = tempfile::tempdir().expect("a folder");
    let answers = fs::read_to_string(root().join("docs/first-job.txt")).expect("the answers");
    let output = assert_cmd::Command::cargo_bin("doldrum")
        .expect("the program")
        .current_dir(folder.path())
        .args(["triage", "--plain", "--case", "job.yaml", "--title", "Barn-find twin"])
        .write_stdin(answers)
        .output()
        .expect("it runs");
    let shown = String::from_utf8(output.stdout).expect("text");
    assert!(output.status.success(), "{shown}");
    assert!(shown.contains("Work order: Barn-find twin"), "{shown}");
}
