//! What must be put back before a step: only what the step waits for, and in words that tell somebody to do it.

use crate::watercraft;
use assert_cmd::Command;
use doldrum::access::AccessGraph;
use doldrum::case::text;
use doldrum::decision::{Action, judge};
use doldrum::knowledge::layout::{Instance, Laid};
use doldrum::safety::Verdict;
use std::fs;

/// A job with a repair done behind the fuel lines and the airbox, not tried yet.
const CASE: &str = "\
format: 1
knowledge: {id: watercraft-two-stroke}
craft: {layout: twin-each}
symptoms: [sy-cranks-no-start]
log:
  - {check: ck-smell-hull, outcome: none, aired: 10 min}
  - {access: ac-airbox-off, now: open}
  - {repair: rm-filter-replace}
";

/// The lines of the screens that say what comes first.
fn first(lines: &str) -> Vec<String> {
    let place = tempfile::tempdir().expect("a folder");
    fs::write(place.path().join("c.yaml"), CASE).expect("written");
    let mut command = Command::cargo_bin("doldrum").expect("the program is built");
    command.env("NO_COLOR", "1").env("COLUMNS", "200").current_dir(place.path());
    let output = command.args(["triage", "--plain", "c.yaml"]).write_stdin(lines).output().expect("ran");
    let shown = String::from_utf8(output.stdout).expect("text");
    assert!(output.status.success(), "{shown}{}", String::from_utf8_lossy(&output.stderr));
    let first = shown.lines().filter(|line| line.starts_with("First: "));
    first.map(str::to_owned).collect()
}

/// A sniff with a fuel line open tells nothing. The airbox off and the hatch open keep no vapor in; the hatch is lifted for
/// the sniff, so it is shut after it, before the engine is tried.
#[test]
fn before_a_sniff_only_what_feeds_vapor_is_put_back() {
    // The sniff with which a job is gone on with, and the trial.
    let said = first("t\n1\nq\n");
    let [sniff, .., trial] = said.as_slice() else { panic!("{said:?}") };
    assert_eq!(sniff, "First: join the fuel lines.");
    assert_eq!(trial, "First: fit the airbox and flame arrestor; shut the hatches and latch the seat.");
}

/// Whatever the sniff is asked for, and by whom: with a fuel line open it would smell of fuel, or smell of nothing and
/// still close nothing. What the sniff itself needs stays open.
#[test]
fn a_sniff_is_made_with_the_fuel_lines_joined() {
    let knowledge = watercraft::knowledge();
    let graph = AccessGraph::new(&knowledge);
    let put_back = |check: &str, opened: &str| -> Vec<String> {
        let log = format!("{CASE}  - {{access: {opened}, now: open}}\n");
        let (case, _) = text::read("c.yaml", &log, &knowledge);
        let case = case.expect("a case");
        let laid = Laid::new(&knowledge, case.craft.clone());
        let check = Action::Check(Instance::new(knowledge.checks.find(check).expect("a check"), 0));
        let Verdict::May(before) = judge(&laid, &graph, &case, &check) else { panic!("it may be made") };
        before.put_back.iter().map(|access| knowledge.access.id(*access).to_owned()).collect()
    };
    // The repair left the lines parted; behind them the carburetors may be off too, and go back first.
    assert_eq!(put_back("ck-smell-hull", "ac-hatch-open"), ["ac-fuel-lines-open"]);
    assert_eq!(put_back("ck-smell-hull", "ac-carb-off"), ["ac-carb-off", "ac-fuel-lines-open"]);
    assert!(put_back("ck-jets-light", "ac-carb-off").is_empty(), "no sniff");
}
