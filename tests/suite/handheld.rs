//! The second built-in knowledge base: small, real, and usable from the first question to the work order; what it shares
//! with the first one; nothing of either craft in the code.

use crate::calls;
use assert_cmd::Command;
use doldrum::access::AccessGraph;
use doldrum::belief::believe;
use doldrum::case::{Case, text};
use doldrum::decision::{self, Action};
use doldrum::inference::Limits;
use doldrum::knowledge::layout::{Instance, Laid};
use doldrum::knowledge::{Knowledge, read};
use doldrum::safety::Verdict;
use doldrum::store::built_in_named;
use std::fs;
use std::path::{Path, PathBuf};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn knowledge() -> Knowledge {
    let files = built_in_named("handheld").expect("it is built in");
    read(&files).0.expect("it is sound")
}

fn case(knowledge: &Knowledge, name: &str) -> Case {
    let path = root().join("tests/cases-handheld").join(name);
    let (case, findings) = text::read(name, &fs::read_to_string(path).expect("the case is there"), knowledge);
    case.unwrap_or_else(|| panic!("{:?}", findings.sorted()))
}

/// Runs the program with the handheld base in an empty folder: what it prints.
fn run(arguments: &[&str], input: &str) -> String {
    let folder = tempfile::tempdir().expect("a folder");
    let mut command = Command::cargo_bin("doldrum").expect("the program is built");
    command.current_dir(folder.path()).env("NO_COLOR", "1").env("COLUMNS", "80");
    let output = command.args(["--knowledge", "handheld"]).args(arguments).write_stdin(input).output().expect("ran");
    let trouble = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.success(), "{arguments:?}: {trouble}");
    String::from_utf8(output.stdout).expect("text")
}

fn path(name: &str) -> String {
    root().join("tests/cases-handheld").join(name).to_string_lossy().into_owned()
}

#[test]
fn it_is_small_and_whole() {
    let knowledge = knowledge();
    assert!(knowledge.causes.len() >= 25, "{} causes", knowledge.causes.len());
    assert!(knowledge.symptoms.len() >= 8 && knowledge.checks.iter().filter(|(_, c)| c.owner.is_some()).count() >= 10);
    // A cause that nothing repairs or tells would be advice of `vet`; it has none.
    assert!(read(&built_in_named("handheld").expect("built in")).1.sorted().is_empty());
    for (ix, repair) in knowledge.repairs.iter() {
        assert!(!repair.proves.is_empty(), "nothing proves {}", knowledge.repairs.id(ix));
    }
}

#[test]
fn a_dry_plug_with_a_full_bulb_is_the_carburetor_and_bad_compression_the_piston() {
    let knowledge = knowledge();
    for (name, causes, least) in [
        (
            "h01.yaml",
            // The pump is a part of the carburetor, and the bulb draws past the needle.
            &[
                "needle-stuck-closed",
                "low-jet-clogged",
                "inlet-screen-clogged",
                "reg-diaphragm-stiff",
                "pump-diaphragm-stiff",
            ][..],
            0.55,
        ),
        ("h02.yaml", &["piston-scored"], 0.9),
    ] {
        let case = case(&knowledge, name);
        let laid = Laid::new(&knowledge, case.craft.clone());
        let belief = believe(&laid, &case, &Limits::default()).expect("within the limits");
        let of =
            |id: &str| belief.causes.iter().find(|c| knowledge.causes.id(c.cause.item) == id).expect("a cause").chance;
        let none: f64 = causes.iter().map(|id| 1.0 - of(id)).product();
        assert!(1.0 - none > least, "{name}: {}", 1.0 - none);
        let leader = belief.causes.iter().max_by(|a, b| a.chance.total_cmp(&b.chance)).expect("causes");
        assert!(causes.contains(&knowledge.causes.id(leader.cause.item)), "{name}");
    }
}

#[test]
fn below_60_psi_nothing_is_proposed_that_starts_it() {
    let shown = run(&["assess", &path("h02.yaml"), "--format", "json"], "");
    let value: serde_json::Value = serde_json::from_str(&shown).expect("JSON");
    let barred = value["barred"].as_array().expect("a list");
    for id in ["ck-tank-vent", "ck-choke-response", "rm-first-start"] {
        let listed = |b: &serde_json::Value| b["id"].as_str().is_some_and(|found| found == id);
        assert!(id.starts_with("rm-") || barred.iter().any(listed), "{id} is not barred: {barred:?}");
        assert!(!listed(&value["next"]));
    }
}

#[test]
fn it_assesses_and_plans() {
    let shown = run(&["assess", &path("h01.yaml")], "");
    assert!(shown.contains("Hedge trimmer after the winter") && shown.contains("NEXT"), "{shown}");
    let plan = run(&["plan", &path("h01.yaml"), "--cause", "low-jet-clogged", "--cause", "needle-stuck-closed"], "");
    // A new one costs less than the hours of a rebuild on so small an engine; who would rather rebuild is told what that costs.
    for part in ["Work order", "carburetor  ", "Rebuild the carburetor", "DANGER", "First start after the work"] {
        assert!(plan.contains(part), "no `{part}` in\n{plan}");
    }
    let caution = plan.find("Fuel poured or spilled").expect("the caution");
    assert!(caution < plan.find("lift the carburetor out").expect("the step"), "{plan}");
}

#[test]
fn it_asks_from_the_first_smell_on() {
    let shown = run(&["triage", "--plain", "--case", "job.yaml"], "t\n1\n\n3\n\n1\n");
    assert!(shown.contains("Does it smell of gasoline?"), "{shown}");
    assert!(shown.contains("The rope cannot be pulled"), "{shown}");
    assert!(shown.contains("Did anything happen just before the trouble?"), "{shown}");
    assert!(shown.contains("doldrum --knowledge handheld triage job.yaml"), "{shown}");
}

#[test]
fn fifty_jobs_are_worked_and_the_advice_is_cheaper_than_the_checklist() {
    let folder = tempfile::tempdir().expect("a folder");
    let json = folder.path().join("trial.json").to_string_lossy().into_owned();
    let shown = run(&["trial", "--cases", "50", "--policy", "ours,checklist", "--json", &json], "");
    assert!(shown.contains("Trial: 50 jobs") && shown.contains("handheld-two-stroke"), "{shown}");
    let value: serde_json::Value =
        serde_json::from_str(&fs::read_to_string(&json).expect("it was written")).expect("JSON");
    let policies = value["policies"].as_array().expect("a list");
    let cost = |id: &str| {
        let policy = policies.iter().find(|p| p["policy"] == id).expect("the policy");
        policy["cost"]["mean"].as_f64().expect("a number")
    };
    assert!(cost("ours") < cost("checklist"), "{} against {}", cost("ours"), cost("checklist"));
}

/// All that an owner may ever be told to repair on the phone. Nothing of it pours fuel, opens a line or the carburetor,
/// or needs solvent or air.
#[test]
fn what_an_owner_may_repair() {
    let knowledge = knowledge();
    let text = "format: 1\nknowledge: {id: handheld-two-stroke}\nuser: owner\nsymptoms: [sy-no-idle]\nlog:\n  \
        - {check: ck-smell, outcome: none, aired: 10 min}\n";
    let between_calls = "rm-have-it-filled";
    let may = ["rm-air-filter-renew", "rm-brake-off", "rm-idle-set", "rm-stop-switch-on", between_calls];
    assert_eq!(calls::may_repair(&knowledge, text), may.into());
}

/// Whatever part of the ignition was tested with the stop wire off, nothing that may start the engine is let through
/// before somebody has said that the wire is joined again; before that work the stop wire asks nothing.
#[test]
fn a_stop_wire_that_was_off_for_a_test_is_joined_before_a_start() {
    let knowledge = knowledge();
    let graph = AccessGraph::new(&knowledge);
    let prime = knowledge.checks.find("ck-prime-test").expect("a check");
    let joined = knowledge.ticks.find("stop-rejoined").expect("a tick");
    let head = "format: 1\nknowledge: {id: handheld-two-stroke}\nsymptoms: [sy-no-start]\nlog:\n  \
        - {check: ck-smell, outcome: none, aired: 10 min}\n";
    let asked = |log: &str| {
        let case = text::read("c.yaml", &format!("{head}{log}"), &knowledge).0.expect("sound");
        let laid = Laid::new(&knowledge, case.craft.clone());
        match decision::judge(&laid, &graph, &case, &Action::Check(Instance::new(prime, 0))) {
            Verdict::May(before) => before.ticks.contains(&joined),
            Verdict::Barred { why, .. } => panic!("{why}"),
        }
    };
    assert!(!asked(""), "nothing was parted");
    for (check, outcome) in [("ck-stop-meter", "switches-right"), ("ck-module-swap", "still-none")] {
        let log = format!("  - {{check: {check}, outcome: {outcome}}}\n");
        assert!(asked(&log), "{check} leaves the wire off");
        assert!(!asked(&format!("{log}  - {{tick: stop-rejoined}}\n")), "it was joined");
    }
}

#[test]
fn a_case_of_the_other_base_says_how_to_read_it() {
    let mut command = Command::cargo_bin("doldrum").expect("the program is built");
    let output = command.args(["assess", &path("h01.yaml")]).output().expect("ran");
    assert_eq!(output.status.code(), Some(65));
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(said.contains("`--knowledge handheld` reads it"), "{said}");
}

#[test]
fn nothing_of_one_craft_stands_in_the_other_in_what_they_share_or_in_the_code() {
    let words = ["hull", "bilge", "lanyard", "impeller", "jet pump", "starter button", "rope", "chain", "trimmer"];
    let mut found = Vec::new();
    for (folder, words) in [("knowledge/handheld", &words[..6]), ("knowledge/common", &words[..]), ("src", &words[..5])]
    {
        for (path, text) in texts(&root().join(folder)) {
            // Comments, and examples in tests below the code, may be of any craft.
            let own = text.split("#[cfg(test)]").next().unwrap_or_default().to_lowercase();
            let code = own.lines().filter(|line| !line.trim_start().starts_with("//"));
            let own = code.collect::<Vec<_>>().join("\n");
            for word in words {
                if own.split(|c: char| !c.is_alphabetic() && c != ' ').any(|part| has(part, word)) {
                    found.push(format!("`{word}` in {}", path.display()));
                }
            }
        }
    }
    assert!(found.is_empty(), "{found:#?}");
    assert!(has("the hull of it", "hull") && !has("a hullabaloo", "hull"));
}

fn has(text: &str, word: &str) -> bool {
    let words: Vec<&str> = text.split_whitespace().collect();
    let wanted: Vec<&str> = word.split_whitespace().collect();
    words.windows(wanted.len()).any(|window| window == wanted)
}

fn texts(folder: &Path) -> Vec<(PathBuf, String)> {
    let mut all = Vec::new();
    for entry in fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            // The bench of the plan is a knowledge base of its tests.
            if !path.ends_with("plan/bench") {
                all.extend(texts(&path));
            }
        } else {
            all.extend(text_of(&path));
        }
    }
    all
}

fn text_of(path: &Path) -> Option<(PathBuf, String)> {
    let kind = path.extension()?.to_string_lossy().into_owned();
    let tests = path.file_name()?.to_string_lossy().starts_with("tests");
    (["rs", "yaml"].contains(&kind.as_str()) && !tests)
        .then(|| (path.to_owned(), fs::read_to_string(path).unwrap_or_default()))
}

/// What nobody mistakes is believed: common practice, no source.
#[test]
fn what_is_plainly_seen_is_believed() {
    let knowledge = knowledge();
    for (check, outcome, cause) in [
        ("ck-tank-level", "empty", "tank-empty"),
        ("ck-flywheel-key", "sheared", "flywheel-key-sheared"),
        ("ck-stop-switch-look", "loose-or-stuck", "stop-switch-faulty"),
        ("ck-choke-lever", "stays-shut", "choke-stuck-on"),
        ("ck-fuel-line-look", "off-or-kinked", "line-off-or-kinked"),
        ("ck-pulse-look", "off-or-cracked", "pulse-line-off-or-cracked"),
    ] {
        let text = format!(
            "format: 1\nknowledge: {{id: handheld-two-stroke}}\ncraft: {{layout: single}}\nsymptoms: [sy-no-start]\n\
             log: [{{check: ck-smell, outcome: none, aired: 5 min}}, {{check: {check}, outcome: {outcome}}}]\n"
        );
        let (case, findings) = text::read("c.yaml", &text, &knowledge);
        let case = case.unwrap_or_else(|| panic!("{check}: {:?}", findings.sorted()));
        let laid = Laid::new(&knowledge, case.craft.clone());
        let belief = believe(&laid, &case, &Limits::default()).expect("within the limits");
        let cause = Instance::new(knowledge.causes.find(cause).expect("a cause"), 0);
        assert!(belief.chance(cause) > 0.5, "{check}: {outcome} {}", belief.chance(cause));
    }
}
