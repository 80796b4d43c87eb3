//! The formats as JSON Schema, for editors and for programs that read what we print.
//!
//! Draft 07, because that is what the YAML language servers of editors understand in full. Knowledge files have a schema
//! for each kind: an editor that knows the kind can complete keys and say what is wrong, one that does not must guess.

use crate::case::text;
use crate::knowledge::load;
use crate::plan::Plan;
use crate::report;
use schemars::generate::SchemaSettings;
use schemars::{Schema, SchemaGenerator};
use serde_json::{Map, Value, json};

/// A case file.
#[must_use]
pub fn case() -> String {
    let mut shapes = read();
    let shape = text::shape(&mut shapes);
    finish("A doldrum case", "case", shape, shapes)
}

/// What `assess --format json` prints.
#[must_use]
pub fn assess() -> String {
    let mut shapes = written();
    let shape = report::assessment_shape(&mut shapes);
    finish("What doldrum believes about a case", "assess", shape, shapes)
}

/// What `plan --format json` prints.
#[must_use]
pub fn plan() -> String {
    let mut shapes = written();
    let shape = shapes.subschema_for::<Plan>();
    finish("A doldrum work order", "plan", shape, shapes)
}

/// What `calc --format json` prints.
#[must_use]
pub fn calc() -> String {
    let mut shapes = written();
    let shape = shapes.subschema_for::<report::Sheet>();
    finish("A sheet of bench arithmetic", "calc", shape, shapes)
}

/// What `vet --format json` prints.
#[must_use]
pub fn vet() -> String {
    let mut shapes = written();
    let shape = report::vetted_shape(&mut shapes);
    finish("What doldrum found in a knowledge base", "vet", shape, shapes)
}

/// What `chart --format json` prints.
#[must_use]
pub fn chart() -> String {
    let mut shapes = written();
    let shape = report::chart_shape(&mut shapes);
    finish("A doldrum fault tree", "chart", shape, shapes)
}

/// A file of a knowledge base, by its kind (`causes`, `checks`, ...); `None` where there is no such kind.
#[must_use]
pub fn knowledge_file(kind: &str) -> Option<String> {
    let mut shapes = read();
    let shape = load::shape(kind, &mut shapes)?;
    Some(finish(&format!("Knowledge: {kind}"), &format!("knowledge/{kind}"), shape, shapes))
}

/// A file of a knowledge base of any kind, for whoever does not know which.
///
/// # Panics
/// Never: an object is a schema.
#[must_use]
pub fn knowledge() -> String {
    let mut shapes = read();
    let kinds: Vec<Value> =
        load::kinds().filter_map(|kind| load::shape(kind, &mut shapes)).map(Schema::to_value).collect();
    let shape = Schema::try_from(json!({ "anyOf": kinds })).expect("an object is a schema");
    finish("Knowledge of any kind", "knowledge", shape, shapes)
}

/// Every schema with the path of its file, as they stand in `docs/schema/`.
#[must_use]
pub fn files() -> Vec<(String, String)> {
    let mut files = vec![
        ("case.json".to_owned(), case()),
        ("assess.json".to_owned(), assess()),
        ("plan.json".to_owned(), plan()),
        ("calc.json".to_owned(), calc()),
        ("vet.json".to_owned(), vet()),
        ("chart.json".to_owned(), chart()),
        ("knowledge.json".to_owned(), knowledge()),
    ];
    files.extend(
        load::kinds().filter_map(|kind| knowledge_file(kind).map(|text| (format!("knowledge/{kind}.json"), text))),
    );
    files
}

/// Shapes of what we read.
fn read() -> SchemaGenerator {
    SchemaSettings::draft07().into_generator()
}

/// Shapes of what we write.
fn written() -> SchemaGenerator {
    SchemaSettings::draft07().for_serialize().into_generator()
}

/// The schema as text, with its name and the shapes it refers to. Ends with a line break.
fn finish(title: &str, id: &str, shape: Schema, mut shapes: SchemaGenerator) -> String {
    let mut root = Map::new();
    root.insert("$schema".to_owned(), "http://json-schema.org/draft-07/schema#".into());
    root.insert("$id".to_owned(), format!("urn:doldrum:{id}").into());
    root.insert("title".to_owned(), title.into());
    if let Value::Object(shape) = shape.to_value() {
        // A reference beside other keys hides them in draft 07: it stands in a list of one.
        if shape.contains_key("$ref") {
            root.insert("allOf".to_owned(), json!([shape]));
        } else {
            root.extend(shape);
        }
    }
    let definitions = shapes.take_definitions(true);
    if !definitions.is_empty() {
        root.insert("definitions".to_owned(), Value::Object(definitions));
    }
    let plain = plain(Value::Object(root));
    let mut text = serde_json::to_string_pretty(&plain).expect("plain data becomes JSON");
    text.push('\n');
    text
}

/// Without what only our own source says: names that begin with `Raw`, backticked links, formats of numbers.
fn plain(value: Value) -> Value {
    match value {
        Value::Object(entries) => entries
            .into_iter()
            .filter(|(key, value)| !(key == "format" && value.is_string()))
            .map(|(key, value)| (key.strip_prefix("Raw").map(str::to_owned).unwrap_or(key), plain(value)))
            .collect::<Map<String, Value>>()
            .into(),
        Value::Array(items) => items.into_iter().map(plain).collect(),
        Value::String(text) => text.replace("#/definitions/Raw", "#/definitions/").into(),
        other => other,
    }
}
