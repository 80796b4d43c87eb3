//! Interlocks: which are on, and what each asks of an action.

use super::action::{Action, Traits};
use super::moment::Moment;
use crate::access::OpenSet;
use crate::case::{Case, Event};
use crate::knowledge::layout::Laid;
use crate::knowledge::{Bars, Check, Condition, Except, Hazard, Interlock, Ix, Tick};

/// For each interlock that a release ends (`until`), the entry of the log since which it is held on: what was said there
/// (or, at 0, what was known before) set it, and what has happened since does not release it.
#[must_use]
pub fn held(laid: &Laid<'_>, open: &OpenSet, case: &Case) -> Vec<Option<usize>> {
    let hazards = vec![false; laid.knowledge.hazards.len()];
    laid.knowledge
        .interlocks
        .iter()
        .map(|(_, interlock)| {
            let (Some(when), Some(until)) = (&interlock.when, &interlock.until) else { return None };
            let moment = |from: usize, to: usize| Moment {
                laid,
                case,
                log: &case.log[from..to],
                open,
                hazards: &hazards,
                ticks: &[],
            };
            // History and symptoms set it from the start; after that each entry is looked at by itself, so that an old
            // answer does not set it again and a new one does.
            let mut set_at = moment(0, 0).holds(&without_ticks(when)).then_some(0);
            for (at, entry) in case.log.iter().enumerate() {
                let sets = by_entry(&moment(at, at + 1), when);
                if sets {
                    set_at = Some(at);
                }
                // What it does not speak of does not release it: a long log is not read through at each entry.
                if let Some(from) = set_at
                    && (at == 0 || sets || speaks_of(until, &entry.event))
                    && moment(from, at + 1).holds(&without_ticks(until))
                {
                    set_at = None;
                }
            }
            set_at
        })
        .collect()
}

/// Whether an entry by itself sets a condition: the parts of it that speak of answers.
fn by_entry(moment: &Moment<'_>, condition: &Condition) -> bool {
    match condition {
        Condition::Any(parts) => parts.iter().any(|part| by_entry(moment, part)),
        Condition::Answered(..) | Condition::AnsweredEvery(..) | Condition::Below(..) => moment.holds(condition),
        // A conjunction is set by an entry that is part of it while the rest holds on the whole log.
        Condition::All(parts) => {
            let whole = Moment { log: &moment.case.log, ..*moment };
            parts.iter().any(|part| by_entry(moment, part))
                && parts.iter().all(|part| whole.holds(&without_ticks(part)))
        }
        _ => false,
    }
}

/// Whether a condition may be other once this has happened.
fn speaks_of(condition: &Condition, event: &Event) -> bool {
    match condition {
        Condition::Answered(ix, _) | Condition::AnsweredEvery(ix, _) | Condition::Below(ix, _) => {
            matches!(event, Event::Answer { check, .. } if check == ix)
        }
        Condition::RepairSince(ix) => matches!(event, Event::Repaired { repair, .. } if repair == ix),
        Condition::Any(parts) | Condition::All(parts) => parts.iter().any(|part| speaks_of(part, event)),
        Condition::Not(part) => speaks_of(part, event),
        _ => false,
    }
}

/// A condition without its ticks: with none missing and all given.
fn without_ticks(condition: &Condition) -> Condition {
    match condition {
        Condition::Missing(_) => Condition::Any(Vec::new()),
        Condition::Given(_) => Condition::All(Vec::new()),
        Condition::Any(parts) => Condition::Any(parts.iter().map(without_ticks).collect()),
        Condition::All(parts) => Condition::All(parts.iter().map(without_ticks).collect()),
        Condition::Not(part) => Condition::Not(Box::new(without_ticks(part))),
        other => other.clone(),
    }
}

/// The ticks that all interlocks together ask for before an action, or the first that bars it.
pub fn ask(
    now: &Moment<'_>,
    held: &[Option<usize>],
    action: &Action,
    traits: &Traits,
) -> Result<Vec<Ix<Tick>>, Ix<Interlock>> {
    let mut asked = Vec::new();
    for (ix, interlock) in now.laid.knowledge.interlocks.iter() {
        let on = if interlock.until.is_some() {
            held[ix.at()].is_some()
        } else {
            interlock.when.as_ref().is_some_and(|when| now.holds(when))
        };
        if !on || !bars(&interlock.bars, now, action, traits) || is_theirs(interlock, action) {
            continue;
        }
        let ticks = let_through(now, interlock, action).ok_or(ix)?;
        asked.extend(ticks.into_iter().filter(|tick| !now.ticks[tick.at()]));
    }
    asked.sort_unstable();
    asked.dedup();
    Ok(asked)
}

/// Whether it is about who may do what, and this is trying what was complained of: that is the use that its owner makes of
/// it anyway. Nobody is guided to it; whether it is gone is told afterwards.
pub fn is_theirs(interlock: &Interlock, action: &Action) -> bool {
    matches!(action, Action::Try(_)) && is_about_who(interlock)
}

/// Whether this answer to a check sets an interlock that stays on: something was found, and asking once more does not put it
/// right.
#[must_use]
pub fn is_set_by(interlock: &Interlock, check: Ix<Check>, outcome: usize) -> bool {
    fn names(condition: &Condition, check: Ix<Check>, outcome: usize) -> bool {
        match condition {
            Condition::Answered(ix, outcomes) => *ix == check && outcomes.contains(&outcome),
            Condition::Any(parts) | Condition::All(parts) => parts.iter().any(|part| names(part, check, outcome)),
            _ => false,
        }
    }
    interlock.until.is_some() && interlock.when.as_ref().is_some_and(|when| names(when, check, outcome))
}

/// Whether a hazard that is open is enough to hold an interlock on.
#[must_use]
pub fn is_held_by(interlock: &Interlock, hazard: Ix<Hazard>) -> bool {
    fn names(condition: &Condition, hazard: Ix<Hazard>) -> bool {
        match condition {
            Condition::Hazard(ix) => *ix == hazard,
            Condition::Any(parts) => parts.iter().any(|part| names(part, hazard)),
            _ => false,
        }
    }
    interlock.until.is_none() && interlock.when.as_ref().is_some_and(|when| names(when, hazard))
}

/// Whether an interlock says who may do what, and nothing else.
#[must_use]
pub fn is_about_who(interlock: &Interlock) -> bool {
    fn names_users(condition: &Condition) -> bool {
        match condition {
            Condition::User(_) => true,
            Condition::Any(parts) => !parts.is_empty() && parts.iter().all(names_users),
            _ => false,
        }
    }
    interlock.when.as_ref().is_some_and(names_users)
}

/// Whether what an interlock bars is this action.
fn bars(bars: &Bars, now: &Moment<'_>, action: &Action, traits: &Traits) -> bool {
    let named = match action {
        Action::Check(instance) => bars.checks.contains(&instance.item),
        Action::Repair(repair, _) => bars.repairs.contains(repair),
        Action::Try(_) | Action::HandOver => false,
    };
    named
        || (bars.ignites && traits.ignites)
        || bars.turns == Some(traits.turns)
        || traits.able.iter().any(|ability| bars.able.contains(ability))
        || traits.raises.iter().any(|hazard| bars.raises.contains(hazard))
        || bars.access.iter().any(|access| traits.access.contains(access) && now.open.has(*access))
}

/// The ticks with which an interlock lets an action through; `None`: not at all.
fn let_through(now: &Moment<'_>, interlock: &Interlock, action: &Action) -> Option<Vec<Ix<Tick>>> {
    let names_it = |except: &&Except| match action {
        Action::Check(instance) => except.checks.contains(&instance.item),
        Action::Repair(repair, _) => except.repairs.contains(repair),
        Action::Try(_) => false,
        Action::HandOver => true,
    };
    // What was seen counts for more than what is ticked.
    let stands = |except: &&Except| !except.unless.as_ref().is_some_and(|unless| now.holds(unless));
    if let Some(except) = interlock.except.iter().filter(names_it).find(stands) {
        return Some(except.ticks.clone());
    }
    // Where only a missing tick holds it on, that tick lets through.
    let when = interlock.when.as_ref().filter(|_| interlock.until.is_none())?;
    let all = vec![true; now.ticks.len()];
    let confirmed = Moment { ticks: &all, ..*now };
    (!confirmed.holds(when)).then(|| missing_ticks(when))
}

/// The ticks a condition finds missing.
fn missing_ticks(condition: &Condition) -> Vec<Ix<Tick>> {
    match condition {
        Condition::Missing(tick) => vec![*tick],
        Condition::Any(parts) | Condition::All(parts) => parts.iter().flat_map(missing_ticks).collect(),
        _ => Vec::new(),
    }
}

/// What is left of a condition: the parts of it that do not hold yet.
#[must_use]
pub fn left_of(now: &Moment<'_>, condition: &Condition) -> Condition {
    if now.holds(condition) {
        return Condition::All(Vec::new());
    }
    match condition {
        Condition::Any(parts) => Condition::Any(parts.iter().map(|part| left_of(now, part)).collect()),
        Condition::All(parts) => {
            Condition::All(parts.iter().filter(|part| !now.holds(part)).map(|part| left_of(now, part)).collect())
        }
        other => other.clone(),
    }
}

/// Whether answers alone can bring a condition about: nothing in it waits for a repair.
#[must_use]
pub fn is_answerable(condition: &Condition) -> bool {
    match condition {
        Condition::RepairSince(_) => false,
        Condition::Any(parts) => parts.iter().any(is_answerable),
        Condition::All(parts) => parts.iter().all(is_answerable),
        _ => true,
    }
}

/// The checks that a condition names, with the outcomes it wants of each.
#[must_use]
pub fn named(condition: &Condition) -> Vec<(Ix<Check>, Vec<usize>)> {
    match condition {
        Condition::Answered(check, outcomes) | Condition::AnsweredEvery(check, outcomes) => {
            vec![(*check, outcomes.clone())]
        }
        Condition::Any(parts) | Condition::All(parts) => parts.iter().flat_map(named).collect(),
        _ => Vec::new(),
    }
}
