//! A case to and from text: the case file, as a person writes it and as the interview keeps it.
//!
//! [`read`] tells all that is wrong at once, each with its place; [`write()`] is its inverse.

mod entries;
mod order;
mod reader;
mod shape;
mod write;

pub use shape::shape;
pub use write::write;

use super::Case;
use crate::calc;
use crate::finding::Findings;
use crate::knowledge::codes::TOO_MUCH;
use crate::knowledge::node::{Node, Value};
use crate::knowledge::raw::Sp;
use crate::knowledge::yaml::Source;
use crate::knowledge::{Knowledge, Reading};
use crate::model::compile::figure;
use crate::model::reading::{Conditions, corrected};
use crate::units::Unit;
use reader::Reader;
use shape::{RawCase, RawEntry};

/// The version of the format that [`write`] writes and [`read`] reads.
const FORMAT: u32 = 1;

/// The most entries of a log: a long job has a hundred. Every entry is judged in the light of those before it.
const MOST_ENTRIES: usize = 1000;

/// Reads the text of a case file.
///
/// Returns the case where nothing is wrong with it, and everything that was found, advice too.
/// Cost: linear in the text, but for a judgment of safety at each entry of the log, which looks back over those before.
#[must_use]
pub fn read(file_name: &str, text: &str, knowledge: &Knowledge) -> (Option<Case>, Findings) {
    let source = Source { file: file_name, text };
    let mut findings = Findings::new();
    let Some(mut tree) = source.tree(&mut findings) else { return (None, findings) };
    let log = take_log(&mut tree);
    if let Some(Value::List(entries)) = log.as_ref().map(|log| &log.value)
        && entries.len() > MOST_ENTRIES
    {
        let message = format!("expected at most {MOST_ENTRIES} entries in `log`, found {}", entries.len());
        findings.add(source.finding(TOO_MUCH, entries[MOST_ENTRIES].at, message));
        return (None, findings);
    }
    // Entry by entry: what one of them says wrong hides nothing of the others.
    let log = log.map(|log| source.list::<Sp<RawEntry>>(&log, "log", &mut findings));
    let Some(mut raw) = source.one::<RawCase>(&tree, &mut findings) else { return (None, findings) };
    raw.log = log.map(|log| log.items.into_iter().map(|(_, entry)| entry).collect()).unwrap_or_default();
    let mut reader = Reader { source: &source, knowledge, findings };
    let case = reader.case(&raw);
    (case.filter(|_| !reader.findings.any_error()), reader.findings)
}

/// Takes the log out of a case.
fn take_log(tree: &mut Node) -> Option<Node> {
    let Value::Map(entries) = &mut tree.value else { return None };
    let at = entries.iter().position(|(key, _)| key.key_text() == "log")?;
    Some(entries.remove(at).1)
}

/// Reads the bytes of a case file: UTF-8 without a byte order mark.
#[must_use]
pub fn read_bytes(file_name: &str, bytes: &[u8], knowledge: &Knowledge) -> (Option<Case>, Findings) {
    let mut findings = Findings::new();
    match crate::knowledge::yaml::decode(file_name, bytes, &mut findings) {
        Some(text) => read(file_name, text, knowledge),
        None => (None, findings),
    }
}

/// Why a reading does not fit its scale.
#[derive(Clone, Debug, PartialEq)]
pub enum OffScale {
    /// It counts against a figure of the build sheet that the case lacks: its key.
    NoFigure(String),
    /// It is less than the least or more than the most: what was expected.
    Beyond(String),
}

/// Whether a reading as measured, in the check's unit, lies on its scale once corrected for altitude or compared with
/// the sheet.
///
/// # Errors
/// Where it does not.
pub fn on_scale(reading: &Reading, value: f64, case: &Case) -> Result<(), OffScale> {
    let sheet = figure(reading, case);
    if let (Some((key, _)), None) = (&reading.relative, sheet) {
        return Err(OffScale::NoFigure(key.clone()));
    }
    let conditions = Conditions { slip: 0.0, pressure_ratio: calc::pressure_ratio(case.altitude_m), sheet };
    let counts_as = corrected(reading, value, &conditions);
    // Beyond the scale is an answer of its own where the check has one.
    let below_most = counts_as <= reading.most || reading.over.is_some();
    if counts_as >= reading.least && below_most {
        return Ok(());
    }
    let unit = reading.unit;
    let of = match &reading.relative {
        Some((key, _)) => format!(" against `{key}`"),
        None if reading.corrected_for_altitude && case.altitude_m != 0.0 => " at sea level".to_owned(),
        None => String::new(),
    };
    Err(OffScale::Beyond(format!("expected {} to {} {unit}{of}", reading.least, reading.most)))
}

/// Every tool that a check or a repair needs, in order of the alphabet.
#[must_use]
pub fn known_tools(knowledge: &Knowledge) -> Vec<&str> {
    let checks = knowledge.checks.iter().flat_map(|(_, c)| &c.tools);
    let repairs = knowledge.repairs.iter().flat_map(|(_, r)| &r.tools);
    let mut tools: Vec<&str> = checks.chain(repairs).map(String::as_str).collect();
    tools.sort_unstable();
    tools.dedup();
    tools
}

/// Every figure of the build sheet that a reading counts against, with the unit of that reading.
#[must_use]
pub fn sheet_figures(knowledge: &Knowledge) -> Vec<(&str, Unit)> {
    let mut figures: Vec<(&str, Unit)> = Vec::new();
    for (_, check) in knowledge.checks.iter() {
        if let Some(reading) = &check.reading
            && let Some((key, _)) = &reading.relative
            && !figures.iter().any(|(k, _)| k == key)
        {
            figures.push((key, reading.unit));
        }
    }
    figures
}
