//! Answers after airing: what only hung in the air is gone by then, what is fed comes again.

use crate::case::{Answer, Entry, Event};
use crate::knowledge::layout::Laid;
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
