//! Jobs on the built-in knowledge base: craft that crank well and do not start.

use doldrum::case::{Case, text};
use doldrum::knowledge::{self, Knowledge};
use doldrum::store::built_in;
use std::sync::OnceLock;

/// Fifteen answers of a craft that cranks well and does not start.
const ANSWERS: [&str; 15] = [
    "{check: ck-smell-hull, outcome: none, aired: 10 min}",
    "{check: ck-lanyard-fit, outcome: seated-springs}",
    "{check: ck-selector-position, outcome: selector-on}",
    "{check: ck-tank-level, outcome: above-main}",
    "{check: ck-crank-sound, outcome: even-crank}",
    "{check: ck-plug-wet-dry, outcome: dry}",
    "{check: ck-compression, reading: 133 psi}",
    "{check: ck-spark-tester, outcome: strong-blue}",
    "{check: ck-prime-test, outcome: fires-2-5s-then-dies}",
    "{check: ck-fuel-jar, outcome: clear-one-layer}",
    "{check: ck-hose-look, outcome: sound}",
    "{check: ck-can-test, outcome: same}",
    "{check: ck-hose-bubbles, outcome: solid-fuel}",
    "{check: ck-pulse-line-look, outcome: sound}",
    "{check: ck-filter-look, outcome: clean}",
];

pub fn base() -> &'static Knowledge {
    static BASE: OnceLock<Knowledge> = OnceLock::new();
    BASE.get_or_init(|| knowledge::read(&built_in()).0.expect("the built-in knowledge base is sound"))
}

/// A layout with so many answers.
pub fn case((layout, answers): (&str, usize)) -> Case {
    let lines: Vec<String> = ANSWERS[..answers].iter().map(|answer| format!("  - {answer}\n")).collect();
    let log = if lines.is_empty() { "log: []\n".to_owned() } else { format!("log:\n{}", lines.concat()) };
    let text = format!(
        "format: 1\nknowledge: {{id: {}}}\ncraft: {{layout: {layout}}}\nsymptoms: [sy-cranks-no-start]\n{log}",
        base().id
    );
    let (case, findings) = text::read("bench.yaml", &text, base());
    case.unwrap_or_else(|| panic!("{findings:?}"))
}
