//! The small knowledge base of `tests/small-engine`, read once for each test.

use doldrum::access::AccessGraph;
use doldrum::case::Case;
use doldrum::decision::Settings;
use doldrum::interview::advisor::Library;
use doldrum::interview::step::Bench;
use doldrum::knowledge::{Knowledge, layout::Craft};
use doldrum::report::Figures;
use doldrum::units::System;
use jiff::Timestamp;
use std::path::Path;

/// The folder.
pub fn folder() -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/small-engine")
}

/// The knowledge base.
pub fn knowledge() -> Knowledge {
    let files = doldrum::store::knowledge_files(&folder()).expect("the folder is there");
    let (knowledge, findings) = doldrum::knowledge::read(&files);
    knowledge.unwrap_or_else(|| panic!("{:?}", findings.sorted()))
}

/// A new case.
pub fn new_case(knowledge: &Knowledge) -> Case {
    Case {
        title: None,
        craft: Craft::usual(knowledge),
        altitude_m: 0.0,
        user: doldrum::case::usual_user(knowledge),
        tools: None,
        sheet: indexmap::IndexMap::new(),
        history: indexmap::IndexMap::new(),
        history_next: None,
        symptoms: Vec::new(),
        log: Vec::new(),
        taken_up: 0,
    }
}

/// The moment at which all tests happen.
pub fn noon() -> Option<Timestamp> {
    "2026-11-25T12:00:00Z".parse().ok()
}

/// Runs something at a bench over a knowledge base.
pub fn at_bench<T>(knowledge: &Knowledge, work: impl FnOnce(&Bench<'_>) -> T) -> T {
    let figures = Figures::new(knowledge, System::Us);
    let graph = AccessGraph::new(knowledge);
    let settings = Settings { worlds: 512, ..Settings::default() };
    let library = Library::new(knowledge, settings, figures.clone());
    work(&Bench { knowledge, graph: &graph, advisor: &library, figures: &figures, layout_known: false })
}
