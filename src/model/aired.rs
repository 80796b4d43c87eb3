//! Answers after airing: what only hung in the air is gone by then, what is fed comes again.

use super::compile::conditions;
use super::reading::outcome_chances;
use crate::case::{Answer, Case, Entry, Event};
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Check, Ix};

/// Whether the next answer to a check comes after airing: the last one at this place was not well, and nobody asks it again
/// without airing first. `place` as in the log: `None` for all places together.
#[must_use]
pub fn is_aired(laid: &Laid<'_>, check: Ix<Check>, place: Option<usize>, log: &[Entry]) -> bool {
    let item = &laid.knowledge.checks[check];
    if item.rows.iter().all(|row| row.aired.is_none()) {
        return false;
    }
    let said = log.iter().rev().find_map(|entry| match entry.event {
        Event::Answer { check: of, place: at, answer: Answer::Outcome(outcome), .. }
            if of == check && (at == place || at.is_none() || place.is_none()) =>
        {
            Some(outcome)
        }
        _ => None,
    });
    said.is_some_and(|outcome| !item.outcomes[outcome].pass)
}

/// Whether the answer at this position of the log was given after airing. Where no minutes are written down it is read as if
/// they had been kept.
#[must_use]
pub fn was_aired(laid: &Laid<'_>, log: &[Entry], at: usize) -> bool {
    match log[at].event {
        Event::Answer { check, place, aired_min, .. } => {
            aired_min.is_none_or(|minutes| minutes > 0.0) && is_aired(laid, check, place, &log[..at])
        }
        _ => false,
    }
}

/// For each row of a check the chance of each outcome of its next answer at this place.
#[must_use]
pub fn next_by_row(laid: &Laid<'_>, case: &Case, made: Instance<Check>) -> Vec<Vec<f64>> {
    let check = &laid.knowledge.checks[made.item];
    let given = conditions(laid, case, check);
    let aired = is_aired(laid, made.item, Some(made.at), &case.log);
    check.rows.iter().map(|row| outcome_chances(check, row.gives(aired), &given)).collect()
}
