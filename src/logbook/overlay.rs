//! Learned numbers as a file of their own, laid over a knowledge base: each with what it was, what it is, and on how many
//! jobs. The knowledge base itself is never written.

use super::codes;
use crate::finding::{Finding, Findings, Severity, nearest};
use crate::knowledge::raw::{Location, RawId, RawNumber, Sp};
use crate::knowledge::yaml::{Source, decode};
use crate::knowledge::{Cause, Check, Gives, Ix, Knowledge};
use crate::units::Chance;
use indexmap::IndexMap;
use serde::Deserialize;
use std::collections::BTreeSet;
use std::fmt::Write as _;

/// The version of the format that [`write()`] writes and [`read`] reads.
const FORMAT: u32 = 1;
/// Numbers nearer than this are the same.
const SAME: f64 = 1e-9;

/// Learned numbers.
#[derive(Clone, Debug, PartialEq)]
pub struct Overlay {
    /// The id and version of the knowledge base.
    pub knowledge: (String, String),
    /// How many jobs were learned from.
    pub jobs: usize,
    /// What they weigh together.
    pub weight: f64,
    /// Causes whose chance moved.
    pub causes: Vec<LearnedCause>,
    /// Rows of checks whose chances moved.
    pub rows: Vec<LearnedRow>,
}

/// The chance of one cause.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LearnedCause {
    /// Which.
    pub cause: Ix<Cause>,
    /// Its chance before history as the knowledge base has it.
    pub before: Chance,
    /// As learned.
    pub after: Chance,
    /// In how many jobs it was confirmed, by weight.
    pub found: f64,
    /// How many jobs told something about it.
    pub cases: f64,
    /// The share of these jobs in which the knowledge base expected it.
    pub expected: f64,
    /// The share now: the mean of a Beta distribution ...
    pub now: f64,
    /// ... and its standard deviation.
    pub sd: f64,
}

/// The chances of one row of a check.
#[derive(Clone, Debug, PartialEq)]
pub struct LearnedRow {
    /// Which check.
    pub check: Ix<Check>,
    /// The position of the row.
    pub row: usize,
    /// The chances of the outcomes, in their order, as the knowledge base has them.
    pub before: Vec<f64>,
    /// As learned; they sum to one.
    pub after: Vec<f64>,
    /// How often each was seen, by weight.
    pub counts: Vec<f64>,
    /// How many answers, by weight.
    pub cases: f64,
}

impl Overlay {
    /// Learned numbers for a knowledge base.
    #[must_use]
    pub fn new(
        knowledge: &Knowledge,
        jobs: usize,
        weight: f64,
        causes: Vec<LearnedCause>,
        rows: Vec<LearnedRow>,
    ) -> Self {
        let knowledge = (knowledge.id.clone(), knowledge.version.clone());
        Self { knowledge, jobs, weight, causes, rows }
    }

    /// Lays the numbers over a knowledge base.
    ///
    /// # Panics
    /// Where it was made for another one: our bug.
    pub fn apply(&self, knowledge: &mut Knowledge) {
        assert_eq!(self.knowledge.0, knowledge.id, "learned numbers are laid over their own knowledge base");
        for learned in &self.causes {
            knowledge.causes.get_mut(learned.cause).chance = learned.after;
        }
        for learned in &self.rows {
            knowledge.checks.get_mut(learned.check).rows[learned.row].gives = Gives::Chances(learned.after.clone());
        }
    }
}

// --- shapes -------------------------------------------------------------------------------------------------------

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawOverlay {
    format: Sp<u32>,
    knowledge: RawOf,
    jobs: usize,
    weight: RawNumber,
    #[serde(default)]
    causes: Vec<RawCause>,
    #[serde(default)]
    checks: Vec<RawRow>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawOf {
    id: RawId,
    version: RawId,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawCause {
    id: RawId,
    before: RawNumber,
    after: RawNumber,
    found: RawNumber,
    cases: RawNumber,
    expected: RawNumber,
    now: RawNumber,
    sd: RawNumber,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawRow {
    id: RawId,
    row: Sp<usize>,
    before: IndexMap<RawId, RawNumber>,
    after: IndexMap<RawId, RawNumber>,
    counts: IndexMap<RawId, RawNumber>,
    cases: RawNumber,
}

// --- reading ------------------------------------------------------------------------------------------------------

/// Reads the bytes of a file of learned numbers against the knowledge base it was made for.
///
/// Returns the numbers where nothing is wrong with them, and everything that was found, advice too.
#[must_use]
pub fn read(file: &str, bytes: &[u8], knowledge: &Knowledge) -> (Option<Overlay>, Findings) {
    let mut findings = Findings::new();
    let Some(text) = decode(file, bytes, &mut findings) else { return (None, findings) };
    let source = Source { file, text };
    let tree = source.tree(&mut findings);
    let raw = tree.and_then(|tree| source.one::<RawOverlay>(&tree, &mut findings));
    let Some(raw) = raw else { return (None, findings) };
    let mut reader = Reader { source: &source, knowledge, findings };
    let overlay = reader.overlay(&raw);
    (overlay.filter(|_| !reader.findings.any_error()), reader.findings)
}

struct Reader<'a> {
    source: &'a Source<'a>,
    knowledge: &'a Knowledge,
    findings: Findings,
}

impl Reader<'_> {
    fn add(&mut self, severity: Severity, code: &'static str, at: Location, message: String, hint: Option<String>) {
        let finding = self.source.finding(code, at, message);
        self.findings.add(Finding { severity, hints: hint.into_iter().collect(), ..finding });
    }

    fn error(&mut self, code: &'static str, at: Location, message: String, hint: Option<String>) {
        self.add(Severity::Error, code, at, message, hint);
    }

    fn overlay(&mut self, raw: &RawOverlay) -> Option<Overlay> {
        if raw.format.value != FORMAT {
            let message = format!("expected format `{FORMAT}`, found `{}`", raw.format.value);
            self.error(codes::FORMAT, raw.format.at, message, None);
            return None;
        }
        let (id, version) = (&self.knowledge.id, &self.knowledge.version);
        if raw.knowledge.id.value != *id {
            let message = format!("expected numbers for knowledge base `{id}`, found `{}`", raw.knowledge.id.value);
            self.error(codes::OTHER_KNOWLEDGE, raw.knowledge.id.at, message, None);
            return None;
        }
        if raw.knowledge.version.value != *version {
            let message = format!("expected numbers for version `{version}`, found `{}`", raw.knowledge.version.value);
            let hint = Some("learn again with `doldrum logbook learn`".to_owned());
            self.add(Severity::Advice, codes::OTHER_VERSION, raw.knowledge.version.at, message, hint);
        }
        let weight = self.count(&raw.weight, "weight");
        let causes = self.causes(&raw.causes);
        let rows = self.rows(&raw.checks);
        let knowledge = (id.clone(), raw.knowledge.version.value.clone());
        Some(Overlay { knowledge, jobs: raw.jobs, weight: weight?, causes, rows })
    }

    fn causes(&mut self, raw: &[RawCause]) -> Vec<LearnedCause> {
        let mut seen = BTreeSet::new();
        raw.iter()
            .filter_map(|raw| {
                let cause = self.cause(&raw.id)?;
                if !seen.insert(cause) {
                    let message = format!("cause `{}` is learned twice", raw.id.value);
                    self.error(codes::TWICE, raw.id.at, message, None);
                }
                let before = self.chance(&raw.before, "before");
                let after = self.chance(&raw.after, "after");
                let [expected, now, sd] = [
                    self.chance(&raw.expected, "expected")?,
                    self.chance(&raw.now, "now")?,
                    self.chance(&raw.sd, "sd")?,
                ]
                .map(Chance::get);
                let found = self.count(&raw.found, "found")?;
                let cases = self.count(&raw.cases, "cases")?;
                let before = before?;
                let own = self.knowledge.causes[cause].chance;
                if (own.get() - before.get()).abs() > SAME {
                    let id = &raw.id.value;
                    self.moved(
                        raw.before.at,
                        &format!("`{id}` was learned from a chance of `{before}`, the knowledge base has `{own}`"),
                    );
                }
                Some(LearnedCause { cause, before, after: after?, found, cases, expected, now, sd })
            })
            .collect()
    }

    fn moved(&mut self, at: Location, message: &str) {
        let hint = "learn again with `doldrum logbook learn`; else the new number would be lost".to_owned();
        self.error(codes::MOVED, at, message.to_owned(), Some(hint));
    }

    fn cause(&mut self, id: &RawId) -> Option<Ix<Cause>> {
        let causes = &self.knowledge.causes;
        let found = causes.find(&id.value);
        if found.is_none() {
            let hint = nearest(&id.value, causes.ids()).map(|near| format!("did you mean `{near}`?"));
            self.error(codes::UNKNOWN_ID, id.at, format!("cause `{}` is not defined", id.value), hint);
        }
        found
    }

    fn rows(&mut self, raw: &[RawRow]) -> Vec<LearnedRow> {
        let mut seen = BTreeSet::new();
        raw.iter()
            .filter_map(|raw| {
                let (check, own) = self.row(raw)?;
                if !seen.insert((check, raw.row.value)) {
                    let message = format!("row `{}` of check `{}` is learned twice", raw.row.value, raw.id.value);
                    self.error(codes::TWICE, raw.row.at, message, None);
                }
                let before = self.outcomes(check, &raw.before, raw.row.at, "before");
                let after = self.outcomes(check, &raw.after, raw.row.at, "after");
                let counts = self.outcomes(check, &raw.counts, raw.row.at, "counts");
                let cases = self.count(&raw.cases, "cases");
                let (before, after, counts) = (before?, after?, counts?);
                let sum: f64 = after.iter().sum();
                if (sum - 1.0).abs() > SAME {
                    let message = format!("expected chances that sum to 1, found {sum}");
                    self.error(codes::SUM, raw.row.at, message, None);
                }
                if before.iter().zip(&own).any(|(before, own)| (before - own).abs() > SAME) {
                    let message = format!(
                        "row `{}` of `{}` was learned from other chances than the knowledge base has",
                        raw.row.value, raw.id.value
                    );
                    self.moved(raw.row.at, &message);
                }
                Some(LearnedRow { check, row: raw.row.value, before, after, counts, cases: cases? })
            })
            .collect()
    }

    /// The check of a row, and the chances that the knowledge base gives.
    fn row(&mut self, raw: &RawRow) -> Option<(Ix<Check>, Vec<f64>)> {
        let checks = &self.knowledge.checks;
        let Some(check) = checks.find(&raw.id.value) else {
            let hint = nearest(&raw.id.value, checks.ids()).map(|near| format!("did you mean `{near}`?"));
            self.error(codes::UNKNOWN_ID, raw.id.at, format!("check `{}` is not defined", raw.id.value), hint);
            return None;
        };
        if let Some(Gives::Chances(chances)) = checks[check].rows.get(raw.row.value).map(|row| &row.gives) {
            return Some((check, chances.clone()));
        }
        let message = format!("check `{}` has no row `{}` with chances", raw.id.value, raw.row.value);
        self.error(codes::UNKNOWN_ID, raw.row.at, message, None);
        None
    }

    /// One number for each outcome of a check, in their order: chances, or counts.
    fn outcomes(
        &mut self,
        check: Ix<Check>,
        raw: &IndexMap<RawId, RawNumber>,
        at: Location,
        key: &str,
    ) -> Option<Vec<f64>> {
        let known: Vec<&str> = self.knowledge.checks[check].outcomes.iter().map(|o| o.id.as_str()).collect();
        let id = self.knowledge.checks.id(check).to_owned();
        for outcome in raw.keys().filter(|outcome| !known.contains(&outcome.value.as_str())) {
            let message = format!("check `{id}` has no outcome `{}`", outcome.value);
            let hint = nearest(&outcome.value, known.iter().copied()).map(|near| format!("did you mean `{near}`?"));
            self.error(codes::UNKNOWN_ID, outcome.at, message, hint);
        }
        let mut numbers = Vec::new();
        for outcome in known {
            let Some((_, number)) = raw.iter().find(|(known, _)| known.value == *outcome) else {
                self.error(codes::SUM, at, format!("`{key}` leaves out the outcome `{outcome}` of `{id}`"), None);
                return None;
            };
            numbers.push(match key {
                "counts" => self.count(number, outcome)?,
                _ => self.chance(number, outcome)?.get(),
            });
        }
        Some(numbers)
    }

    fn chance(&mut self, raw: &RawNumber, key: &str) -> Option<Chance> {
        let chance = Chance::new(raw.value);
        if chance.is_none() {
            let message = format!("expected a chance from 0 to 1 for `{key}`, found `{}`", raw.value);
            self.error(codes::NOT_A_CHANCE, raw.at, message, None);
        }
        chance
    }

    fn count(&mut self, raw: &RawNumber, key: &str) -> Option<f64> {
        let counts = raw.value.is_finite() && raw.value >= 0.0;
        if !counts {
            let message = format!("expected a number of zero or more for `{key}`, found `{}`", raw.value);
            self.error(codes::NEGATIVE, raw.at, message, None);
        }
        counts.then_some(raw.value)
    }
}

// --- writing ------------------------------------------------------------------------------------------------------

/// Writes learned numbers as text that [`read`] reads back.
#[must_use]
pub fn write(overlay: &Overlay, knowledge: &Knowledge) -> String {
    let (id, version) = &overlay.knowledge;
    let mut text =
        String::from("# Learned from closed jobs. It is used with --learned; the knowledge base is as it was.\n");
    let _ = writeln!(text, "format: {FORMAT}\nknowledge: {{id: {id}, version: \"{version}\"}}");
    let _ = writeln!(text, "jobs: {}\nweight: {}", overlay.jobs, figure(overlay.weight));
    let _ = writeln!(text, "causes:{}", if overlay.causes.is_empty() { " []" } else { "" });
    for learned in &overlay.causes {
        let _ = writeln!(
            text,
            "  - {{id: {}, before: {}, after: {}, found: {}, cases: {}, expected: {}, now: {}, sd: {}}}",
            knowledge.causes.id(learned.cause),
            learned.before,
            figure(learned.after.get()),
            figure(learned.found),
            figure(learned.cases),
            figure(learned.expected),
            figure(learned.now),
            figure(learned.sd)
        );
    }
    let _ = writeln!(text, "checks:{}", if overlay.rows.is_empty() { " []" } else { "" });
    for learned in &overlay.rows {
        let outcomes = &knowledge.checks[learned.check].outcomes;
        let map = |numbers: &[f64]| {
            let pairs =
                outcomes.iter().zip(numbers).map(|(outcome, number)| format!("{}: {number}", quoted(&outcome.id)));
            pairs.collect::<Vec<_>>().join(", ")
        };
        let counts: Vec<f64> = learned.counts.iter().map(|count| figure(*count)).collect();
        let _ = writeln!(
            text,
            "  - id: {}\n    row: {}\n    before: {{{}}}\n    after: {{{}}}\n    counts: {{{}}}\n    cases: {}",
            knowledge.checks.id(learned.check),
            learned.row,
            map(&learned.before),
            map(&rounded(&learned.after)),
            map(&counts),
            figure(learned.cases)
        );
    }
    text
}

/// Six decimals: more than any count of jobs can tell.
fn figure(number: f64) -> f64 {
    (number * 1e6).round() / 1e6
}

/// Chances to six decimals that sum to one still.
fn rounded(chances: &[f64]) -> Vec<f64> {
    let mut rounded: Vec<f64> = chances.iter().map(|p| figure(*p)).collect();
    let rest = 1.0 - rounded.iter().sum::<f64>();
    if let Some(most) = rounded.iter_mut().max_by(|a, b| a.total_cmp(b)) {
        *most = figure(*most + rest);
    }
    rounded
}

/// An id that YAML could take for a truth value stands in quotes.
fn quoted(id: &str) -> String {
    if ["yes", "no", "on", "off", "true", "false", "null", "none", "y", "n"].contains(&id)
        || id.starts_with(|c: char| c.is_ascii_digit())
    {
        format!("\"{id}\"")
    } else {
        id.to_owned()
    }
}
