//! Closing a job: from its case and what the bench says of it to a record, and what is missing for it to teach anything.

use super::record::{Believed, Channel, End, FORMAT, Of, Part, Planned, Record};
use crate::access::AccessGraph;
use crate::belief::{Belief, believe};
use crate::case::{Case, Event, Presence, text};
use crate::decision::complained_of;
use crate::decision::cost::Rate;
use crate::inference::Limits;
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Cause, Ix, Repair};
use crate::plan::{Options, plan};
use crate::units::{Minutes, Money};
use jiff::Timestamp;

/// What the bench says when a job is closed, beyond what the log of its case has.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Details {
    /// The causes of the complaint that were seen; none: the one that the log says was found.
    pub causes: Vec<Instance<Cause>>,
    /// The repair that fixed it and its places; `None`: the last in the log before the symptom was gone.
    pub fixed_by: Option<(Ix<Repair>, Vec<usize>)>,
    /// How it ended; `None`: as the log has it.
    pub end: Option<End>,
    /// Minutes spent.
    pub minutes: Option<Minutes>,
    /// Parts used.
    pub parts: Vec<Part>,
    /// Where it was worked.
    pub channel: Channel,
    /// A note.
    pub note: Option<String>,
}

/// Something that a record lacks or that does not fit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Missing {
    /// No cause was confirmed.
    Cause,
    /// Several causes were found and it is not said which of them the complaint came from: their labels.
    WhichCause(Vec<String>),
    /// No repair is in the log, and none was named.
    Repair,
    /// The repair that fixed it does not remove any of the causes: its id.
    OtherRepair(String),
    /// The symptom was not tried after the last repair.
    Tried,
    /// The symptom is there still.
    StillThere,
    /// The minutes.
    Minutes,
    /// The parts: a repair that was done fits some, and none was named.
    Parts,
    /// The prices of these parts.
    Prices(Vec<String>),
    /// The note or the title holds what looks like a phone number or a registration number.
    Private,
}

/// A job closed.
#[derive(Clone, Debug, PartialEq)]
pub struct Closed {
    /// The record.
    pub record: Record,
    /// What it lacks, the most important first.
    pub missing: Vec<Missing>,
}

/// How many causes are remembered as they were believed.
const MOST_BELIEVED: usize = 200;
/// What is less likely than this is not remembered.
const LEAST_BELIEVED: f64 = 0.001;
/// How many explanations a work order is made from.
const EXPLANATIONS: usize = 5;

/// Closes a job. `file` is the text of its case file, kept as it is; `closed` is when.
///
/// Cost: what is believed and planned before the first repair is worked out once, as `assess` and `plan` do.
#[must_use]
pub fn close(
    laid: &Laid<'_>,
    graph: &AccessGraph,
    case: &Case,
    file: &str,
    closed: Timestamp,
    details: &Details,
    limits: &Limits,
) -> Closed {
    let knowledge = laid.knowledge;
    let log = Log::of(case);
    let mut missing = Vec::new();
    let (causes, beside) = causes(laid, &log, details, &mut missing);
    let fixed_by = details.fixed_by.clone().or_else(|| log.fixed_by());
    let end = end(&log, details, &mut missing);
    match &fixed_by {
        None if log.repairs.is_empty() => missing.push(Missing::Repair),
        Some((repair, _)) if !causes.is_empty() && !removes_any(laid, *repair, &causes) => {
            missing.push(Missing::OtherRepair(knowledge.repairs.id(*repair).to_owned()));
        }
        _ => {}
    }
    if details.minutes.is_none() {
        missing.push(Missing::Minutes);
    }
    let unpriced = unpriced(&details.parts);
    let no_parts = details.parts.is_empty()
        && log.repairs.iter().map(|(_, done)| done).chain(&fixed_by).any(|done| fits_parts(laid, done));
    if no_parts {
        missing.push(Missing::Parts);
    } else if !unpriced.is_empty() {
        missing.push(Missing::Prices(unpriced.clone()));
    }
    if [&case.title, &details.note].into_iter().flatten().any(|text| looks_private(text)) {
        missing.push(Missing::Private);
    }
    let before = before_first_repair(case);
    let belief = believe(laid, &before, limits).ok();
    let cause_label = |cause: &Instance<Cause>| label(laid, *cause);
    let repair_label = |(repair, places): &(Ix<Repair>, Vec<usize>)| repair_label(laid, *repair, places);
    let mut repairs: Vec<String> = log.repairs.iter().map(|(_, done)| repair_label(done)).collect();
    let fixed_by = fixed_by.as_ref().map(repair_label);
    // A repair that is named and is not in the log was done all the same.
    repairs.extend(fixed_by.iter().filter(|fixed| !repairs.contains(fixed)).cloned().collect::<Vec<_>>());
    let mut record = Record {
        format: FORMAT,
        id: content_id(&text::write(case, knowledge)),
        knowledge: Of { id: knowledge.id.clone(), version: knowledge.version.clone() },
        closed,
        title: case.title.clone(),
        channel: details.channel,
        layout: knowledge.layouts.id(case.craft.layout).to_owned(),
        symptoms: case.symptoms.iter().map(|s| knowledge.symptoms.id(*s).to_owned()).collect(),
        causes: causes.iter().map(cause_label).collect(),
        also_found: beside.iter().map(cause_label).collect(),
        first_time: first_time(&log, end, repairs.len()),
        repairs,
        fixed_by,
        end,
        minutes: details.minutes,
        parts: details.parts.clone(),
        spent: None,
        plan: belief.as_ref().and_then(|belief| foreseen(laid, graph, &before, belief, limits)),
        believed: belief.map(|belief| believed(laid, &belief)).unwrap_or_default(),
        note: details.note.clone(),
        case: file.to_owned(),
    };
    // Labor alone is not what it came to, and says nothing beside a plan that has the parts in it.
    let minutes = record.minutes.filter(|_| !no_parts && unpriced.is_empty());
    record.spent = minutes.map(|m| m.at_rate(Rate::of(laid, case).hourly) + record.parts_money());
    Closed { record, missing }
}

/// `id@place` of a cause.
#[must_use]
pub fn label(laid: &Laid<'_>, cause: Instance<Cause>) -> String {
    let causes = &laid.knowledge.causes;
    laid.label(causes.id(cause.item), causes[cause.item].scope, cause.at)
}

fn repair_label(laid: &Laid<'_>, repair: Ix<Repair>, places: &[usize]) -> String {
    let repairs = &laid.knowledge.repairs;
    let scope = repairs[repair].scope;
    match places {
        [at] if laid.places(scope) > 1 => laid.label(repairs.id(repair), scope, *at),
        _ => repairs.id(repair).to_owned(),
    }
}

/// What bears on closing in a log.
struct Log {
    /// The repairs, with their positions in the log.
    repairs: Vec<(usize, (Ix<Repair>, Vec<usize>))>,
    /// Causes found and never found absent later.
    found: Vec<Instance<Cause>>,
    /// The symptom was tried after a repair, and was there.
    failed_once: bool,
    /// What the last trial of each complaint after the last repair says: gone, there, or nobody tried.
    outcome: Option<Presence>,
    /// Where the symptom was first gone for good.
    gone_at: Option<usize>,
}

impl Log {
    fn of(case: &Case) -> Self {
        let mut log = Self { repairs: Vec::new(), found: Vec::new(), failed_once: false, outcome: None, gone_at: None };
        for (at, entry) in case.log.iter().enumerate() {
            match &entry.event {
                Event::Repaired { repair, places } => {
                    log.repairs.push((at, (*repair, places.clone())));
                    log.outcome = None;
                }
                Event::Found { cause, now: Presence::Present } if !log.found.contains(cause) => log.found.push(*cause),
                Event::Found { cause, now: Presence::Absent } if log.repairs.is_empty() => {
                    log.found.retain(|known| known != cause);
                }
                Event::Tried { now: Presence::Present, .. } if !log.repairs.is_empty() => {
                    log.failed_once = true;
                    log.outcome = Some(Presence::Present);
                    log.gone_at = None;
                }
                Event::Tried { now: Presence::Absent, .. } if !log.repairs.is_empty() => {
                    log.gone_at.get_or_insert(at);
                    log.outcome.get_or_insert(Presence::Absent);
                }
                _ => {}
            }
        }
        if log.outcome == Some(Presence::Absent) && !complained_of(case).is_empty() {
            log.outcome = None;
        }
        log
    }

    /// The last repair before the symptom was gone.
    fn fixed_by(&self) -> Option<(Ix<Repair>, Vec<usize>)> {
        let gone = self.gone_at.filter(|_| self.outcome == Some(Presence::Absent))?;
        self.repairs.iter().rev().find(|(at, _)| *at < gone).map(|(_, done)| done.clone())
    }
}

/// The causes of the complaint, and those found beside them.
fn causes(
    laid: &Laid<'_>,
    log: &Log,
    details: &Details,
    missing: &mut Vec<Missing>,
) -> (Vec<Instance<Cause>>, Vec<Instance<Cause>>) {
    if !details.causes.is_empty() {
        let beside = log.found.iter().filter(|cause| !details.causes.contains(cause)).copied().collect();
        return (details.causes.clone(), beside);
    }
    match log.found.as_slice() {
        [] => missing.push(Missing::Cause),
        // The same fault on several cylinders is one cause.
        [first, others @ ..] if others.iter().all(|other| other.item == first.item) => {
            return (log.found.clone(), Vec::new());
        }
        several => missing.push(Missing::WhichCause(several.iter().map(|cause| label(laid, *cause)).collect())),
    }
    (Vec::new(), log.found.clone())
}

fn end(log: &Log, details: &Details, missing: &mut Vec<Missing>) -> End {
    if let Some(end) = details.end {
        return end;
    }
    match log.outcome {
        Some(Presence::Absent) => End::Cured,
        Some(Presence::Present) => {
            missing.push(Missing::StillThere);
            End::NotKnown
        }
        None => {
            missing.push(Missing::Tried);
            End::NotKnown
        }
    }
}

/// The first repair cured it: no trial after a repair failed. Where nothing was tried, one repair that cured was the
/// first.
fn first_time(log: &Log, end: End, repairs: usize) -> Option<bool> {
    match (end, log.outcome) {
        (End::Cured, _) if log.failed_once => Some(false),
        (End::Cured, Some(Presence::Absent)) => Some(true),
        (End::Cured, _) => (repairs == 1).then_some(true),
        (End::HandedOver, _) => Some(false),
        (End::NotKnown, _) => None,
    }
}

fn removes_any(laid: &Laid<'_>, repair: Ix<Repair>, causes: &[Instance<Cause>]) -> bool {
    laid.knowledge.repairs[repair].removes.iter().any(|(removed, _)| causes.iter().any(|cause| cause.item == *removed))
}

/// Whether a repair fits parts that cost something.
fn fits_parts(laid: &Laid<'_>, (repair, _): &(Ix<Repair>, Vec<usize>)) -> bool {
    laid.knowledge.repairs[*repair].parts.iter().any(|part| part.each > Money::ZERO)
}

/// The parts that are named without a price.
fn unpriced(parts: &[Part]) -> Vec<String> {
    parts.iter().filter(|part| part.each.is_none()).map(|part| part.item.clone()).collect()
}

/// The case as it stood before the first repair.
#[must_use]
pub fn before_first_repair(case: &Case) -> Case {
    let first = case.log.iter().position(|entry| matches!(entry.event, Event::Repaired { .. }));
    // What was found when it was opened up is the answer, not a belief about it.
    let log = case.log[..first.unwrap_or(case.log.len())].iter();
    let log = log.filter(|entry| !matches!(entry.event, Event::Found { .. })).cloned().collect();
    Case { log, ..case.clone() }
}

fn believed(laid: &Laid<'_>, belief: &Belief) -> Vec<Believed> {
    // Six figures are more than a chance deserves, and keep the file short.
    let rounded = |chance: f64| (chance * 1e6).round() / 1e6;
    let likely = belief.causes.iter().filter(|cause| cause.chance >= LEAST_BELIEVED).take(MOST_BELIEVED);
    likely.map(|cause| Believed { cause: label(laid, cause.cause), chance: rounded(cause.chance) }).collect()
}

fn foreseen(laid: &Laid<'_>, graph: &AccessGraph, case: &Case, belief: &Belief, limits: &Limits) -> Option<Planned> {
    let explanations = belief.explanations(laid, case, EXPLANATIONS, limits).ok()?;
    let order = plan(laid, graph, case, &belief.causes, &explanations, &Options::default()).ok()?;
    let cents = |money: Money| Money::of((money.get() * 100.0).round() / 100.0);
    Some(Planned { minutes: order.cost.minutes, money: cents(order.cost.total) })
}

/// The id of the content of a case, from the case as this program writes it: layout, comments and the version of the
/// knowledge base do not count.
#[must_use]
pub fn content_id(written: &str) -> String {
    // FNV-1a with 128 bits (Fowler, Noll and Vo; draft-eastlake-fnv): two jobs of one shop never meet by chance.
    let mut hash: u128 = 0x6c62_272e_07bb_0142_62b8_2175_6295_c58d;
    for byte in content(written).bytes() {
        hash = (hash ^ u128::from(byte)).wrapping_mul(0x0000_0000_0100_0000_0000_0000_0000_013b);
    }
    format!("{hash:032x}")
}

/// A case as written, without the lines that name the format and the knowledge base.
fn content(written: &str) -> String {
    let kept = written.lines().filter(|line| !line.starts_with("format:") && !line.starts_with("knowledge:"));
    kept.collect::<Vec<_>>().join("\n")
}

/// Whether a case goes on where another one stopped, so that both are one job. Without times in the log nobody can
/// tell.
#[must_use]
pub fn goes_on(new: &str, old: &str) -> bool {
    let (new, old) = (content(new), content(old));
    old.contains("{at: ") && new.len() > old.len() && new.starts_with(&old)
}

/// So many digits in a row, spaces and dashes between them allowed, are a phone number.
const PHONE_DIGITS: usize = 7;
/// A registration number of a small craft has twelve letters and digits.
const REGISTRATION_LENGTH: usize = 12;

/// Whether a text holds what looks like a phone number or a registration number.
#[must_use]
pub fn looks_private(text: &str) -> bool {
    let is_phone = |run: &str| {
        let digits = run.chars().filter(char::is_ascii_digit).count();
        digits >= PHONE_DIGITS && digits - 8 * days(run) >= PHONE_DIGITS
    };
    let is_registration = |word: &str| {
        let count = |is: fn(&char) -> bool| word.chars().filter(is).count();
        word.len() == REGISTRATION_LENGTH && count(char::is_ascii_digit) >= 4 && count(char::is_ascii_uppercase) >= 3
    };
    text.split(|c: char| !c.is_ascii_digit() && !" -/.()+".contains(c)).any(is_phone)
        || text.split(|c: char| !c.is_ascii_alphanumeric()).any(is_registration)
}

/// How many days, written like `2026-11-25`, stand in a run of digits and dashes.
fn days(run: &str) -> usize {
    let is_day = |word: &&str| {
        let parts: Vec<usize> = word.split('-').map(str::len).collect();
        parts == [4, 2, 2]
    };
    run.split_whitespace().filter(is_day).count()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The offset basis is the hash of nothing (draft-eastlake-fnv, from memory).
    #[test]
    fn the_id_is_that_of_the_content_alone() {
        let case = "format: 1\nknowledge: {id: a, version: 0.1.0}\nsymptoms: [x]\n";
        let other = "format: 1\nknowledge: {id: a, version: 0.2.0}\nsymptoms: [x]\n";
        assert_eq!(content_id(case), content_id(other));
        assert_ne!(content_id(case), content_id("symptoms: [y]\n"));
        assert_eq!(content_id(""), "6c62272e07bb014262b821756295c58d");
    }

    #[test]
    fn a_case_that_grew_goes_on() {
        let old = "symptoms: [x]\nlog:\n  - {at: 2026-11-25T10:02:00Z, check: a, outcome: b}\n";
        let new = format!("{old}  - {{repair: c}}\n");
        assert!(goes_on(&new, old) && !goes_on(old, old) && !goes_on(old, &new));
        assert!(!goes_on(
            "symptoms: [x]\nlog:\n  - {check: a}\n  - {check: b}\n",
            "symptoms: [x]\nlog:\n  - {check: a}\n"
        ));
    }

    #[test]
    fn numbers_that_lead_to_a_person_are_seen() {
        for text in ["call 555 0123 99", "call (555) 013-4567", "ABC12345D404", "+1 555 013 4567"] {
            assert!(looks_private(text), "{text}");
        }
        for text in ["closed 2026-11-25", "131 psi and 134 psi", "needle seat 1.5, 25 psi", "Barn-find twin"] {
            assert!(!looks_private(text), "{text}");
        }
    }
}
