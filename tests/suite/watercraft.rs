//! The built-in knowledge base and its worked cases, as other tests want them.

use doldrum::access::AccessGraph;
use doldrum::belief::{Belief, Explanations, believe};
use doldrum::case::{Answer, Case, Event};
use doldrum::inference::Limits;
use doldrum::knowledge::layout::{Craft, Laid};
use doldrum::knowledge::{Knowledge, load, resolve};
use indexmap::IndexMap;
use serde_json::Value;
use std::fs;
use std::path::Path;

/// The built-in knowledge base.
pub fn knowledge() -> Knowledge {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("knowledge/watercraft");
    let mut files = Vec::new();
    gather(&root, &root, &mut files);
    files.sort();
    let (raw, _) = load::load(&files);
    let (knowledge, findings) = resolve::resolve(raw);
    knowledge.unwrap_or_else(|| panic!("the built-in knowledge base is sound: {findings:?}"))
}

fn gather(root: &Path, folder: &Path, files: &mut Vec<(String, Vec<u8>)>) {
    for entry in fs::read_dir(folder).expect("the folder is there") {
        let path = entry.expect("the folder can be read").path();
        if path.is_dir() {
            gather(root, &path, files);
        } else {
            let name = path.strip_prefix(root).expect("it lies below").to_string_lossy().into_owned();
            files.push((name, fs::read(&path).expect("the file can be read")));
        }
    }
}

/// A worked case: craft, history, symptoms and answers. Nothing else stands in those files.
pub fn case(knowledge: &Knowledge, name: &str) -> Case {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/cases").join(format!("{name}.yaml"));
    let text = fs::read_to_string(path).expect("the case is there");
    let raw: Value = serde_yaml::from_str(&text).expect("the case is YAML");
    let mut craft = Craft::usual(knowledge);
    if let Some(layout) = raw["craft"]["layout"].as_str() {
        craft.layout = knowledge.layouts.find(layout).expect("a layout");
    }
    for (option, fitted) in raw["craft"]["options"].as_object().into_iter().flatten() {
        craft.options[knowledge.options.find(option).expect("an option").at()] = fitted.as_bool().expect("a boolean");
    }
    let laid = Laid::new(knowledge, craft.clone());
    let mut history = IndexMap::new();
    for (fact, value) in raw["history"].as_object().into_iter().flatten() {
        let fact = knowledge.history.find(fact).expect("a fact");
        let value = knowledge.history[fact].values.iter().position(|v| Some(v.id.as_str()) == value.as_str());
        history.insert(fact, value.expect("a value"));
    }
    let symptoms = raw["symptoms"].as_array().into_iter().flatten();
    Case {
        title: None,
        craft,
        altitude_m: 0.0,
        user: knowledge.users.find(raw["user"].as_str().unwrap_or("technician")).expect("a user"),
        tools: None,
        sheet: IndexMap::new(),
        history,
        symptoms: symptoms.map(|s| knowledge.symptoms.find(s.as_str().expect("an id")).expect("a symptom")).collect(),
        log: raw["log"].as_array().into_iter().flatten().map(|entry| answer(&laid, entry).into()).collect(),
    }
}

fn answer(laid: &Laid<'_>, entry: &Value) -> Event {
    let label = entry["check"].as_str().expect("a check");
    let (check, places) = laid.parse(&laid.knowledge.checks, |c| c.scope, label).expect("a check of this craft");
    let item = &laid.knowledge.checks[check];
    let answer = match (entry["outcome"].as_str(), entry["reading"].as_str()) {
        (Some(outcome), _) => Answer::Outcome(item.outcomes.iter().position(|o| o.id == outcome).expect("an outcome")),
        (_, Some(reading)) => {
            let measure = doldrum::units::Measure::parse(reading).expect("a reading");
            let unit = item.reading.as_ref().expect("a check with a reading").unit;
            Answer::Reading(measure.get(unit).expect("a unit of that quantity"))
        }
        _ => Answer::CouldNot,
    };
    let place = (label.contains('@') || laid.places(item.scope) == 1).then(|| places[0]);
    Event::Answer { check, place, answer, aired_min: entry["aired_min"].as_f64() }
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
