//! One moment of a case, against which conditions are read.

use crate::access::OpenSet;
use crate::case::{Answer, Case, Entry, Event, Position, Presence};
use crate::knowledge::layout::Laid;
use crate::knowledge::{Again, Cause, Check, Condition, Ix, Repair, Tick};
use crate::model::compile::conditions;
use crate::model::reading::{band, corrected};
use crate::units::Minutes;
use jiff::Timestamp;
use std::collections::BTreeMap;

/// A stretch of the log, with what is open, which hazards are, and which controls were confirmed.
#[derive(Clone, Copy)]
pub struct Moment<'a> {
    /// The craft.
    pub laid: &'a Laid<'a>,
    /// The case.
    pub case: &'a Case,
    /// The stretch of its log that counts.
    pub log: &'a [Entry],
    /// What is open.
    pub open: &'a OpenSet,
    /// For each hazard, whether it is open.
    pub hazards: &'a [bool],
    /// For each tick, whether it was given and still holds.
    pub ticks: &'a [bool],
}

impl Moment<'_> {
    /// Whether a condition holds.
    #[must_use]
    pub fn holds(&self, condition: &Condition) -> bool {
        match condition {
            Condition::Hazard(ix) => self.hazards[ix.at()],
            Condition::Answered(check, outcomes) => self.outcomes(*check).values().any(|o| outcomes.contains(o)),
            Condition::AnsweredEvery(check, outcomes) => self.every(*check, outcomes),
            Condition::History(fact, values) => self.case.history.get(fact).is_some_and(|v| values.contains(v)),
            Condition::Symptom(ix) => self.case.symptoms.contains(ix),
            Condition::Open(ix) => self.open.has(*ix),
            Condition::Shut(ix) => !self.open.has(*ix),
            Condition::Given(ix) => self.ticks[ix.at()],
            Condition::Missing(ix) => !self.ticks[ix.at()],
            Condition::User(ix) => self.case.user == *ix,
            Condition::Below(check, limit) => self.below(*check, *limit),
            Condition::RepairSince(ix) => {
                self.log.iter().any(|e| matches!(&e.event, Event::Repaired { repair, .. } if repair == ix))
            }
            Condition::Any(parts) => parts.iter().any(|part| self.holds(part)),
            Condition::All(parts) => parts.iter().all(|part| self.holds(part)),
            Condition::Not(part) => !self.holds(part),
        }
    }

    /// The counting outcome (or band) of a check at each place it was answered at; `None` stands for all together.
    fn outcomes(&self, ix: Ix<Check>) -> BTreeMap<Option<usize>, usize> {
        let mut outcomes: BTreeMap<Option<usize>, usize> = BTreeMap::new();
        for entry in self.log {
            let Event::Answer { check, place, answer, .. } = &entry.event else { continue };
            let Some(outcome) = (*check == ix).then(|| outcome_of(self.laid, self.case, ix, *answer)).flatten() else {
                continue;
            };
            let worst = self.laid.knowledge.checks[ix].again == Again::Worst;
            let known = outcomes.entry(*place).or_insert(outcome);
            *known = if worst { outcome.max(*known) } else { outcome };
        }
        outcomes
    }

    /// Whether every place has one of these outcomes.
    fn every(&self, ix: Ix<Check>, wanted: &[usize]) -> bool {
        let outcomes = self.outcomes(ix);
        let places = self.laid.places(self.laid.knowledge.checks[ix].scope);
        let together = outcomes.get(&None).is_some_and(|o| wanted.contains(o));
        let apart = (0..places).all(|at| outcomes.get(&Some(at)).is_some_and(|o| wanted.contains(o)));
        (apart || together) && outcomes.values().all(|o| wanted.contains(o))
    }

    /// Whether the last reading at any place is below a limit.
    fn below(&self, ix: Ix<Check>, limit: f64) -> bool {
        let check = &self.laid.knowledge.checks[ix];
        let Some(reading) = &check.reading else { return false };
        let given = conditions(self.laid, self.case, check);
        let mut last: BTreeMap<Option<usize>, f64> = BTreeMap::new();
        for entry in self.log {
            match &entry.event {
                Event::Answer { check, place, answer: Answer::Reading(value), .. } if *check == ix => {
                    last.insert(*place, corrected(reading, *value, &given));
                }
                Event::Answer { check: c, place, answer: Answer::Outcome(at), .. } if *c == ix => {
                    // A band alone is below the limit where all of it is.
                    last.insert(
                        *place,
                        check.outcomes.get(*at).and_then(|o| o.band).map_or(f64::INFINITY, |b| b.1 - 1e-9),
                    );
                }
                _ => {}
            }
        }
        last.values().any(|value| *value < limit)
    }
}

/// The outcome (or band) that an answer amounts to.
#[must_use]
pub fn outcome_of(laid: &Laid<'_>, case: &Case, check: Ix<Check>, answer: Answer) -> Option<usize> {
    match answer {
        Answer::Outcome(at) => Some(at),
        Answer::Reading(value) => {
            let check = &laid.knowledge.checks[check];
            band(check, value, &conditions(laid, case, check))
        }
        Answer::Unknown | Answer::CouldNot => None,
    }
}

/// Whether something comes after answers as they now stand, of which the last at a place counts: what comes after it makes
/// sense. Nothing asked for always is. What was said before a repair was last done (`since`) is no reason to do it again; a
/// cause that it removes and that was found since is.
#[must_use]
pub fn answered_so(laid: &Laid<'_>, case: &Case, after: &[(Ix<Check>, Vec<usize>)], since: Option<Ix<Repair>>) -> bool {
    if after.is_empty() {
        return true;
    }
    let mut stands: BTreeMap<(Ix<Check>, Option<usize>), bool> = BTreeMap::new();
    let removes = |cause: Ix<Cause>| {
        since.is_some_and(|repair| laid.knowledge.repairs[repair].removes.iter().any(|(removed, _)| *removed == cause))
    };
    for entry in since_done(case, since) {
        if let Event::Found { cause, now: Presence::Present } = &entry.event
            && removes(cause.item)
        {
            return true;
        }
        if let Event::Answer { check, place, answer, .. } = &entry.event
            && let Some((_, wanted)) = after.iter().find(|(wanted, _)| wanted == check)
            && let Some(outcome) = outcome_of(laid, case, *check, *answer)
        {
            // Said of the whole craft it is said of every place.
            stands.retain(|(said, at), _| said != check || place.is_some() || at.is_none());
            stands.insert((*check, *place), wanted.contains(&outcome));
        }
    }
    stands.into_values().any(|stands| stands)
}

/// The log since a repair was last done.
#[must_use]
pub fn since_done(case: &Case, repair: Option<Ix<Repair>>) -> &[Entry] {
    let is_it = |entry: &Entry| matches!(entry.event, Event::Repaired { repair: done, .. } if Some(done) == repair);
    &case.log[case.log.iter().rposition(is_it).map_or(0, |at| at + 1)..]
}

/// The ticks that hold: given since the job was taken up, no longer ago than the shortest time after which a hazard is looked
/// for again, and nothing put back, repaired or tried since, for then the bench is another. A check that raises a hazard
/// uses up the ticks that let work through that hazard's interlocks: it opens fuel again.
///
/// Without `now` the last moment that the log tells of counts as now.
#[must_use]
pub fn ticks_held(laid: &Laid<'_>, case: &Case, now: Option<Timestamp>) -> Vec<bool> {
    let mut given: Vec<Option<&Entry>> = vec![None; laid.knowledge.ticks.len()];
    for (at, entry) in case.log.iter().enumerate() {
        match &entry.event {
            // Whoever left the bench cannot vouch for what others did at it.
            Event::Ticked(ix) => given[Ix::<Tick>::at(*ix)] = (at >= case.taken_up).then_some(entry),
            Event::Access { now: Position::Shut, .. } | Event::Repaired { .. } | Event::Tried { .. } => {
                given.fill(None);
            }
            Event::Answer { check, answer, .. } if answer.informs() => {
                if !laid.knowledge.checks[*check].ends_shut.is_empty() {
                    given.fill(None);
                }
                for used in used_up(laid, *check) {
                    given[used.at()] = None;
                }
            }
            _ => {}
        }
    }
    let now = now.or_else(|| case.log.iter().rev().find_map(|entry| entry.at));
    let limits = laid.knowledge.hazards.iter().flat_map(|(_, hazard)| &hazard.opened_by.minutes_since);
    let limit = limits.map(|(_, limit)| *limit).min_by(|a, b| a.get().total_cmp(&b.get()));
    let is_old = |entry: &Entry| match (entry.at, now, limit) {
        (Some(at), Some(now), Some(limit)) => is_over(at, now, limit),
        _ => false,
    };
    given.into_iter().map(|given| given.is_some_and(|entry| !is_old(entry))).collect()
}

/// Whether something of one moment counts no more at another: too long ago, or not yet, as where a clock was wrong.
#[must_use]
pub fn is_over(then: Timestamp, now: Timestamp, limit: Minutes) -> bool {
    #[expect(clippy::cast_precision_loss, reason = "minutes of a working day")]
    let minutes = now.duration_since(then).as_secs() as f64 / 60.0;
    !(0.0..=limit.get()).contains(&minutes)
}

/// The ticks that let anything through the interlocks on the hazards a check raises.
fn used_up<'k>(laid: &Laid<'k>, check: Ix<Check>) -> impl Iterator<Item = Ix<Tick>> + use<'k> {
    let raised = &laid.knowledge.checks[check].raises;
    let on_raised = |when: &Option<Condition>| matches!(when, Some(Condition::Hazard(ix)) if raised.contains(ix));
    let interlocks = laid.knowledge.interlocks.iter().filter(move |(_, interlock)| on_raised(&interlock.when));
    interlocks.flat_map(|(_, interlock)| &interlock.except).flat_map(|except| except.ticks.iter().copied())
}
