//! The built-in knowledge base and its worked cases, as other tests want them.

use doldrum::access::AccessGraph;
use doldrum::belief::{Belief, Explanations, believe};
use doldrum::case::{Case, text};
use doldrum::inference::Limits;
use doldrum::knowledge::layout::Laid;
use doldrum::knowledge::{self, Knowledge};
use std::fs;
use std::path::Path;

/// The built-in knowledge base, as it stands in its folder and those it shares.
pub fn knowledge() -> Knowledge {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("knowledge/watercraft");
    let files = doldrum::store::knowledge_files(&folder).expect("the folder is there");
    let (knowledge, findings) = knowledge::read(&files);
    knowledge.unwrap_or_else(|| panic!("the built-in knowledge base is sound: {findings:?}"))
}

/// A worked case.
pub fn case(knowledge: &Knowledge, name: &str) -> Case {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/cases").join(format!("{name}.yaml"));
    let text = fs::read_to_string(path).expect("the case is there");
    let (case, findings) = text::read(name, &text, knowledge);
    case.unwrap_or_else(|| panic!("{name} is sound: {findings:?}"))
}

/// What is believed about a case.
pub fn belief(laid: &Laid<'_>, case: &Case) -> (Belief, Explanations) {
    let limits = Limits::default();
    let belief = believe(laid, case, &limits).expect("within the limits");
    let explanations = belief.explanations(laid, case, 10, &limits).expect("within the limits");
    (belief, explanations)
}

/// The graph of disassembly.
pub fn graph(knowledge: &Knowledge) -> AccessGraph {
    AccessGraph::new(knowledge)
}
