//! What must be put back before a step: only what the step waits for, and in words that tell somebody to do it.

use assert_cmd::Command;
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
    // The sniff with which a job is gone on with, and the one before the trial.
    let said = first("t\n1\n1\nq\n");
    let [sniff, .., trial] = said.as_slice() else { panic!("{said:?}") };
    assert_eq!(sniff, "First: join the fuel lines.");
    assert_eq!(trial, "First: fit the airbox and flame arrestor; shut the hatches and latch the seat.");
}
