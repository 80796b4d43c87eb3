//! What `vet` found, for other programs.

use super::testability::label;
use crate::finding::{Finding, Severity};
use crate::knowledge::Knowledge;
use crate::knowledge::layout::{Craft, Laid};
use crate::vet::testability::Testability;
use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::Serialize;
use serde_json::json;

/// The findings and the figures: what is printed with --testability.
#[derive(Serialize, JsonSchema)]
struct Both<'a> {
    /// What was found, in the order of files and lines.
    findings: Vec<Found<'a>>,
    /// How well the checks find the causes of each symptom, layout by layout.
    testability: Vec<Figures<'a>>,
}

/// A complaint about a place in a file.
#[derive(Serialize, JsonSchema)]
struct Found<'a> {
    /// What it is about; docs/findings.md says what each means.
    code: &'a str,
    /// Whether the knowledge base can be used all the same.
    severity: Weight,
    /// The file.
    file: &'a str,
    /// The line, the first being 1; 0 where it is the whole file.
    line: u32,
    /// The column, the first being 1; 0 where it is the whole file.
    column: u32,
    /// The way to the value through keys and positions.
    path: &'a str,
    /// What was expected and what was found.
    message: &'a str,
    /// What may help.
    hints: &'a [String],
}

#[derive(Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
enum Weight {
    /// It cannot be used so.
    Error,
    /// It can, and is better without.
    Advice,
}

/// How well the checks find the causes of a symptom. Shares and means are weighed by the chance of each cause.
#[derive(Serialize, JsonSchema)]
struct Figures<'a> {
    /// The layout.
    layout: &'a str,
    /// The symptom.
    symptom: &'a str,
    /// How many causes lead to it.
    causes: usize,
    /// The share that some check tells from a craft with no fault.
    #[schemars(range(min = 0, max = 1))]
    detected: f64,
    /// Of these, the share whose group one repair removes.
    #[schemars(range(min = 0, max = 1))]
    isolated: f64,
    /// The mean size of a cause's group: itself and all that no check tells from it.
    mean_group: f64,
    /// The largest group.
    largest_group: usize,
    /// The groups that no one repair removes.
    groups: Vec<Group>,
}

/// Causes that no check tells apart.
#[derive(Serialize, JsonSchema)]
struct Group {
    /// The causes, with their places where there are several.
    causes: Vec<String>,
    /// Their share of the symptom's causes.
    share: f64,
}

/// The shape of what [`vetted_json`] makes: the list of findings; with figures asked for, both under their names.
///
/// # Panics
/// Never: an object is a schema.
#[must_use]
pub fn vetted_shape(shapes: &mut SchemaGenerator) -> Schema {
    let list = shapes.subschema_for::<Vec<Found<'static>>>();
    let both = shapes.subschema_for::<Both<'static>>();
    Schema::try_from(json!({ "anyOf": [list, both] })).expect("an object is a schema")
}

/// The findings as JSON; with figures asked for, both.
///
/// # Panics
/// Never: plain data becomes JSON.
#[must_use]
pub fn vetted_json(findings: &[Finding], figures: Option<(&Knowledge, &[Testability])>) -> String {
    let findings: Vec<Found<'_>> = findings.iter().map(found).collect();
    let text = match figures {
        None => serde_json::to_string_pretty(&findings),
        Some((knowledge, all)) => {
            let testability = all.iter().map(|t| row(knowledge, t)).collect();
            serde_json::to_string_pretty(&Both { findings, testability })
        }
    };
    let mut text = text.expect("plain data becomes JSON");
    text.push('\n');
    text
}

fn found(finding: &Finding) -> Found<'_> {
    Found {
        code: finding.code,
        severity: match finding.severity {
            Severity::Error => Weight::Error,
            Severity::Advice => Weight::Advice,
        },
        file: &finding.place.file,
        line: finding.place.line,
        column: finding.place.column,
        path: &finding.path,
        message: &finding.message,
        hints: &finding.hints,
    }
}

fn row<'k>(knowledge: &'k Knowledge, t: &Testability) -> Figures<'k> {
    let laid = Laid::new(knowledge, Craft { layout: t.layout, ..Craft::usual(knowledge) });
    let group = |(causes, share): &(Vec<_>, f64)| Group {
        causes: causes.iter().map(|cause| label(&laid, *cause)).collect(),
        share: *share,
    };
    Figures {
        layout: knowledge.layouts.id(t.layout),
        symptom: knowledge.symptoms.id(t.symptom),
        causes: t.faults,
        detected: t.detected,
        isolated: t.isolated,
        mean_group: t.mean_group,
        largest_group: t.largest_group,
        groups: t.groups.iter().map(group).collect(),
    }
}
