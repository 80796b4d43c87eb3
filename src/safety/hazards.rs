//! Which hazards are open: read from the log, entry by entry.

use super::OpenHazard;
use super::moment::{is_over, outcome_of};
use crate::access::{AccessGraph, OpenSet};
use crate::case::{Case, Entry, Event, Position};
use crate::knowledge::layout::Laid;
use crate::knowledge::{Access, Check, ClosedBy, Condition, Hazard, Ix};
use crate::model::epochs::{removes_any, shown_by};
use crate::units::Minutes;
use jiff::Timestamp;

/// One hazard as the log is read.
#[derive(Clone)]
struct Watch<'a> {
    hazard: &'a Hazard,
    open: bool,
    why: String,
    /// What the closing check said last when it did not close.
    level: Option<usize>,
    /// Whether it was closed before: the airing of the start is behind us.
    started: bool,
    closed_at: Option<Timestamp>,
    /// Smelled, seen or not yet looked for, rather than opened by work.
    stops: bool,
    /// Closing answers in vain since it was opened so.
    in_vain: usize,
}

/// What is open and which hazards are, as the log is read entry by entry.
#[derive(Clone)]
pub struct Course<'a> {
    laid: &'a Laid<'a>,
    graph: &'a AccessGraph,
    /// What is open.
    pub open: OpenSet,
    watches: Vec<Watch<'a>>,
}

impl<'a> Course<'a> {
    /// Before the log.
    #[must_use]
    pub fn new(laid: &'a Laid<'a>, graph: &'a AccessGraph, case: &Case) -> Self {
        let watches = laid.knowledge.hazards.iter().map(|(_, hazard)| Watch::new(laid, case, hazard)).collect();
        Self { laid, graph, open: graph.shut(), watches }
    }

    /// Reads the entry at this position; those before it were read.
    pub fn read(&mut self, case: &Case, at: usize) {
        let before = self.open.clone();
        self.open = self.graph.open_after(self.laid, before.clone(), &case.log[at].event);
        for watch in &mut self.watches {
            watch.read(self.laid, self.graph, case, at, &before, &self.open);
        }
    }

    /// The hazards open now.
    #[must_use]
    pub fn hazards(&self, now: Option<Timestamp>) -> Vec<OpenHazard> {
        let watches = self.watches.iter().enumerate();
        let open = watches.filter_map(|(at, watch)| {
            let stale = now.and_then(|now| watch.stale(self.laid, now));
            let why = stale.or_else(|| watch.open.then(|| watch.why.clone()))?;
            Some(OpenHazard {
                hazard: Ix::new(at),
                air: watch.air(),
                level: watch.level,
                stops: watch.stops,
                // Twice in vain is a leak to be found, not a sniff to be repeated.
                in_vain: watch.in_vain >= 2,
                why,
            })
        });
        open.collect()
    }

    /// The answers that closed a hazard which time opens again, and when they were given.
    #[must_use]
    pub fn closed_at(&self) -> Vec<(Ix<Check>, Timestamp)> {
        let closed = self.watches.iter().filter(|watch| !watch.open);
        let at = closed.filter_map(|watch| Some((watch.hazard.opened_by.minutes_since.first()?.0, watch.closed_at?)));
        at.collect()
    }
}

impl<'a> Watch<'a> {
    fn new(laid: &Laid<'_>, case: &Case, hazard: &'a Hazard) -> Self {
        let named = hazard.opened_by.symptoms.iter().find(|s| case.symptoms.contains(s));
        let why = named.map_or_else(|| "not yet checked".to_owned(), |s| laid.knowledge.symptoms[*s].title.clone());
        // A hazard that nothing closes is a caution at its step, never a state.
        let open = !hazard.closed_by.is_empty() && (hazard.open_at_start || named.is_some());
        Self { hazard, open, why, level: None, started: false, closed_at: None, stops: open, in_vain: 0 }
    }

    fn read(
        &mut self,
        laid: &Laid<'_>,
        graph: &AccessGraph,
        case: &Case,
        at: usize,
        before: &OpenSet,
        after: &OpenSet,
    ) {
        let entry = &case.log[at];
        if self.hazard.closed_by.is_empty() {
            return;
        }
        if let Some(why) = entry.at.and_then(|now| self.stale(laid, now)) {
            self.open = true;
            self.why = why;
        }
        self.open_by_work(laid, graph, entry, before, after);
        if matches!(entry.event, Event::Repaired { .. }) {
            self.in_vain = 0;
        }
        if let Event::Answer { check, answer, aired_min, .. } = &entry.event
            && let Some(outcome) = outcome_of(laid, case, *check, *answer)
        {
            self.open_by_answer(laid, *check, outcome);
            // What had to be said first is said: a sniff from before it settles nothing, one more may.
            if self.hazard.closed_by.iter().any(|c| self.also_open(c) == Some((*check, outcome))) {
                self.in_vain = 0;
            }
            self.close_by_answer(laid, (case, at), (*check, outcome), *aired_min, after);
        }
    }

    /// Opens where fuel is opened, poured or worked on.
    fn open_by_work(&mut self, laid: &Laid<'_>, graph: &AccessGraph, entry: &Entry, before: &OpenSet, after: &OpenSet) {
        let by = &self.hazard.opened_by;
        let needed = match &entry.event {
            Event::Answer { check, answer, .. } if answer.informs() => {
                graph.needed(&laid.knowledge.checks[*check].access)
            }
            Event::Repaired { repair, .. } => graph.needed(&laid.knowledge.repairs[*repair].access),
            Event::Access { access, now: Position::Open } => graph.needed(&[*access]),
            _ => graph.shut(),
        };
        let newly = by.access.iter().find(|a| (after.has(**a) || needed.has(**a)) && !before.has(**a));
        let work = match &entry.event {
            Event::Answer { check, answer, .. } if answer.informs() && by.checks.contains(check) => {
                Some(laid.knowledge.checks[*check].title.clone())
            }
            Event::Repaired { repair, .. } if by.repairs.contains(repair) => {
                Some(laid.knowledge.repairs[*repair].title.clone())
            }
            _ => None,
        };
        if let Some(why) = newly.map(|a| laid.knowledge.access[*a].title.clone()).or(work) {
            self.stops &= self.open;
            self.open = true;
            self.why = why;
        }
    }

    fn open_by_answer(&mut self, laid: &Laid<'_>, check: Ix<Check>, outcome: usize) {
        let opens =
            self.hazard.opened_by.answers.iter().any(|(c, outcomes)| *c == check && outcomes.contains(&outcome));
        if !opens {
            return;
        }
        let check_data = &laid.knowledge.checks[check];
        self.stops = true;
        self.open = true;
        self.why = format!("{}: {}", check_data.title, check_data.outcomes[outcome].says);
        if self.hazard.closed_by.iter().any(|c| c.answer.0 == check) {
            self.level = Some(outcome);
            self.in_vain += 1;
        } else {
            // Something was seen that may be the source.
            self.in_vain = 0;
        }
    }

    fn close_by_answer(
        &mut self,
        laid: &Laid<'_>,
        (case, at): (&Case, usize),
        said: (Ix<Check>, usize),
        aired_min: Option<f64>,
        after: &OpenSet,
    ) {
        let hazard = self.hazard;
        for closed_by in hazard.closed_by.iter().filter(|c| c.answer == said) {
            let shut = !hazard.opened_by.access.iter().any(|a| after.has(*a));
            // A sniff follows its own instructions, which begin with airing, unless the log says how long it was.
            let aired = aired_min.is_none_or(|minutes| minutes >= self.air_for(closed_by).get());
            let also = self
                .also_open(closed_by)
                .is_none_or(|(check, outcome)| said_last(laid, case, &case.log[..=at], check) == Some(outcome));
            // With fuel still opened a clean sniff closes nothing, but there is nothing to be settled first either: without
            // this it would be asked for again and again.
            self.stops &= !(aired && also);
            if aired && also {
                self.in_vain = 0;
            }
            if shut && aired && also {
                self.open = false;
                self.started = true;
                self.level = None;
                self.closed_at = case.log[at].at;
            }
        }
    }

    /// The other check that must speak before this closes, at the present level.
    fn also_open(&self, closed_by: &ClosedBy) -> Option<(Ix<Check>, usize)> {
        let level = self.level?;
        closed_by
            .also_after
            .iter()
            .find(|(outcome, _, _)| *outcome == level)
            .map(|(_, check, wanted)| (*check, *wanted))
    }

    /// Minutes of airing that closing takes at the present level.
    fn air_for(&self, closed_by: &ClosedBy) -> Minutes {
        let by_level = self.level.and_then(|l| closed_by.aired_after.iter().find(|(o, _)| *o == l).map(|(_, m)| *m));
        by_level.unwrap_or(if self.started { Minutes::ZERO } else { closed_by.aired_at_start })
    }

    fn air(&self) -> Minutes {
        self.hazard.closed_by.first().map_or(Minutes::ZERO, |c| self.air_for(c))
    }

    /// Why it is open again though an answer closed it: that answer is too old.
    fn stale(&self, laid: &Laid<'_>, now: Timestamp) -> Option<String> {
        let closed_at = self.closed_at.filter(|_| !self.open)?;
        let mut limits = self.hazard.opened_by.minutes_since.iter();
        let (check, limit) = limits.find(|(_, limit)| is_over(closed_at, now, *limit))?;
        let title = &laid.knowledge.checks[*check].title;
        Some(if now < closed_at {
            format!("{title}: dated after this moment")
        } else {
            format!("{title}: more than {} minutes ago", limit.get())
        })
    }
}

/// The last outcome of a check, anywhere.
fn said_last(laid: &Laid<'_>, case: &Case, log: &[Entry], wanted: Ix<Check>) -> Option<usize> {
    log.iter().rev().find_map(|entry| match &entry.event {
        Event::Answer { check, answer, .. } if *check == wanted => outcome_of(laid, case, wanted, *answer),
        _ => None,
    })
}

/// The check that would close a hazard as things stand, its outcome and the airing before it: where another check must
/// speak first, that one. `None` where that other one has spoken against it and no repair since can have changed that: what
/// it found must be put right first.
#[must_use]
pub fn closing_check(laid: &Laid<'_>, case: &Case, open: &OpenHazard) -> Option<(Ix<Check>, usize, Minutes)> {
    let hazard = &laid.knowledge.hazards[open.hazard];
    let closed_by = hazard.closed_by.first()?;
    let also = closed_by.also_after.iter().find(|(outcome, _, _)| Some(*outcome) == open.level);
    if let Some((_, check, wanted)) = also
        && said_last(laid, case, &case.log, *check) != Some(*wanted)
    {
        let shown = shown_by(laid.knowledge, *check);
        let mends = |entry: &Entry| match entry.event {
            Event::Repaired { repair, .. } => removes_any(laid.knowledge, repair, &shown),
            _ => false,
        };
        let since = case.log.iter().rposition(mends).map_or(0, |at| at + 1);
        let against = case.log[since..].iter().any(|entry| match &entry.event {
            Event::Answer { check: c, answer, .. } => c == check && answer.informs(),
            _ => false,
        });
        return (!against).then_some((*check, *wanted, Minutes::ZERO));
    }
    Some((closed_by.answer.0, closed_by.answer.1, open.air))
}

/// What an open hazard waits for: the answer that closes it and, at its present level, what must be said before that.
#[must_use]
pub fn waits_for(laid: &Laid<'_>, case: &Case, open: &OpenHazard) -> Condition {
    let Some(closed_by) = laid.knowledge.hazards[open.hazard].closed_by.first() else {
        return Condition::All(Vec::new());
    };
    let also = closed_by.also_after.iter().find(|(outcome, _, _)| Some(*outcome) == open.level);
    let unsaid = also.filter(|(_, check, wanted)| said_last(laid, case, &case.log, *check) != Some(*wanted));
    let answers = unsaid.map(|(_, check, wanted)| (*check, *wanted)).into_iter().chain([closed_by.answer]);
    Condition::All(answers.map(|(check, outcome)| Condition::Answered(check, vec![outcome])).collect())
}

/// Whether reaching this access opens a hazard, or finds what opened it still open.
#[must_use]
pub fn opens(hazard: &Hazard, after: &OpenSet) -> Option<Ix<Access>> {
    if hazard.closed_by.is_empty() {
        return None;
    }
    hazard.opened_by.access.iter().copied().find(|a| after.has(*a))
}
