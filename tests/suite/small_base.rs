//! Small knowledge bases written down in a test.

use doldrum::case::{Case, text};
use doldrum::knowledge::{self, Knowledge};

/// Who pays a unit of money for a minute, and hands over at a price nobody would pay unless a test says so.
const MANIFEST: &str = "
format: 1
id: small
version: 0.1.0
title: A small problem
chance_per_rate: 0.00045
slip: SLIP
currency: USD
options: {}
layouts:
  - {id: single, title: One cylinder, cylinders: [only], carburetors: {only: [only]}, pumps: {only: [only]}, usual: true}
  - {id: twin, title: Two cylinders, cylinders: [front, rear], carburetors: {front: [front], rear: [rear]}, pumps: {both: [front, rear]}}
  - {id: twin-pumps, title: Two of each, cylinders: [front, rear], carburetors: {front: [front], rear: [rear]}, pumps: {front: [front], rear: [rear]}}
history_rules: {odds_cap: 12, chance_cap: 0.85, story_power: 0.4}
users:
  bench: {labor: 60, pace: 1}
costs: {hand_over: HAND_OVER, wasted_trip: 0, comeback: COMEBACK, basis: estimate}
basis: estimate
";

/// Reads a small knowledge base: the slip, the price of handing over, and for each kind of file its text.
pub fn read(slip: f64, hand_over: f64, files: &[(&str, &str)]) -> Knowledge {
    read_with(slip, hand_over, 0.0, files)
}

/// The same with the price of a craft that comes back.
pub fn read_with(slip: f64, hand_over: f64, comeback: f64, files: &[(&str, &str)]) -> Knowledge {
    let manifest = MANIFEST
        .replace("SLIP", &slip.to_string())
        .replace("HAND_OVER", &hand_over.to_string())
        .replace("COMEBACK", &comeback.to_string());
    let mut all = vec![("craft.yaml".to_owned(), manifest.into_bytes())];
    all.extend(files.iter().map(|(kind, text)| (format!("{kind}.yaml"), text.as_bytes().to_vec())));
    let (knowledge, findings) = knowledge::read(&all);
    knowledge.unwrap_or_else(|| panic!("the knowledge base is sound: {findings:#?}"))
}

/// Reads a case of a small knowledge base from its keys below the head.
pub fn case(knowledge: &Knowledge, keys: &str) -> Case {
    let whole = format!("format: 1\nknowledge: {{id: small}}\nuser: bench\n{keys}");
    let (case, findings) = text::read("case.yaml", &whole, knowledge);
    case.unwrap_or_else(|| panic!("the case is sound: {findings:#?}"))
}
