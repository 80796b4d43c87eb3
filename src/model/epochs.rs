//! The log cut into slices of time by repairs, and which answers count in which.

use super::network::SLICES_MAX;
use crate::case::{Answer, Case, Event, Presence};
use crate::knowledge::layout::Laid;
use crate::knowledge::{Again, Cause, Check, Input, Ix, Knowledge, Reads, Repair, State};
use std::collections::{BTreeMap, BTreeSet};

/// The log cut into slices by repairs; repairs with nothing observed between them count as one.
pub struct Epochs {
    /// How many slices.
    pub count: usize,
    /// For each entry of the log, the slice it speaks of; `usize::MAX` where it is left out.
    pub slice_of: Vec<usize>,
    /// For each slice but the first, the repairs that opened it.
    pub opened_by: Vec<Vec<(Ix<Repair>, Vec<usize>)>>,
    /// The log positions of the answers that count: of several to one check instance between two repairs the last that
    /// says anything, the worst, or each.
    pub counts: BTreeSet<usize>,
    /// Entries left out because a network spans only so many slices.
    pub forgotten: usize,
}

impl Epochs {
    /// Cuts a log.
    #[must_use]
    pub fn of(laid: &Laid<'_>, case: &Case) -> Self {
        let mut epochs =
            Self { count: 1, slice_of: vec![], opened_by: vec![vec![]], counts: BTreeSet::new(), forgotten: 0 };
        // The complaint itself is an observation.
        let mut observed = true;
        for entry in &case.log {
            match &entry.event {
                Event::Repaired { repair, places } if !laid.knowledge.repairs[*repair].removes.is_empty() => {
                    if observed {
                        epochs.count += 1;
                        epochs.opened_by.push(Vec::new());
                        observed = false;
                    }
                    epochs.opened_by[epochs.count - 1].push((*repair, places.clone()));
                }
                Event::Answer { answer, .. } => observed |= answer.informs(),
                Event::Found { .. } | Event::Tried { .. } => observed = true,
                _ => {}
            }
            epochs.slice_of.push(epochs.count - 1);
        }
        epochs.counts = counting_answers(laid, case, &epochs.slice_of);
        if epochs.count > SLICES_MAX {
            epochs.carry_forward(laid.knowledge, case);
            epochs.merge_failed(case);
            epochs.forget_oldest(laid.knowledge, case);
            // Answers to one check that were apart may stand together now.
            epochs.counts = counting_answers(laid, case, &epochs.slice_of);
        }
        epochs
    }

    /// Takes answers along to the last slice before a repair that may change what the check shows: what it shows is the
    /// same until then.
    fn carry_forward(&mut self, knowledge: &Knowledge, case: &Case) {
        for at in self.counts.iter().copied() {
            let Event::Answer { check, .. } = &case.log[at].event else { continue };
            let shown = shown_by(knowledge, *check);
            let touches = |slice: &Vec<(Ix<Repair>, Vec<usize>)>| {
                slice.iter().any(|(repair, _)| removes_any(knowledge, *repair, &shown))
            };
            let from = self.slice_of[at];
            let until = (from + 1..self.count).find(|slice| touches(&self.opened_by[*slice]));
            self.slice_of[at] = until.unwrap_or(self.count) - 1;
        }
    }

    /// Takes slices together that differ only by repairs which were tried and failed: that a symptom was still there is
    /// said again by the trial after the next repair. (Not to the last bit: a repair can also bring a symptom on.)
    fn merge_failed(&mut self, case: &Case) {
        let mut slice = 1;
        while self.count > SLICES_MAX && slice + 1 < self.count {
            let tells = (0..case.log.len()).any(|at| {
                self.slice_of[at] == slice
                    && match &case.log[at].event {
                        Event::Answer { .. } => self.counts.contains(&at),
                        Event::Found { .. } => true,
                        Event::Tried { symptom, now } => {
                            *now == Presence::Absent || !self.is_there_later(case, slice, at, *symptom)
                        }
                        _ => false,
                    }
            });
            if tells {
                slice += 1;
            } else {
                self.merge_into_next(slice);
            }
        }
    }

    fn is_there_later(&self, case: &Case, slice: usize, at: usize, symptom: Ix<crate::knowledge::Symptom>) -> bool {
        case.log[at + 1..].iter().zip(&self.slice_of[at + 1..]).any(|(entry, later)| {
            *later != usize::MAX
                && *later > slice
                && matches!(entry.event, Event::Tried { symptom: s, now: Presence::Present } if s == symptom)
        })
    }

    /// A network spans only so many slices: what was observed between the oldest repairs and hangs on them is left out.
    fn forget_oldest(&mut self, knowledge: &Knowledge, case: &Case) {
        while self.count > SLICES_MAX {
            self.carry_back(knowledge, case);
            self.forgotten +=
                self.slice_of.iter().enumerate().filter(|(at, s)| **s == 1 && self.counts.contains(at)).count();
            self.merge_into_next(1);
        }
    }

    /// Takes what was observed after the first repairs, and is as it was before them, to the beginning: what a fault shows
    /// that none of them removes.
    fn carry_back(&mut self, knowledge: &Knowledge, case: &Case) {
        let first = &self.opened_by[1];
        let touched = |causes: &BTreeSet<Ix<Cause>>| first.iter().any(|(ix, _)| removes_any(knowledge, *ix, causes));
        for (at, slice) in self.slice_of.iter_mut().enumerate().filter(|(_, slice)| **slice == 1) {
            let stood = match &case.log[at].event {
                Event::Answer { check, .. } => !touched(&shown_by(knowledge, *check)),
                Event::Found { cause, .. } => !touched(&BTreeSet::from([cause.item])),
                _ => false,
            };
            if stood {
                *slice = 0;
            }
        }
    }

    /// Leaves out what was observed in a slice and takes the repairs that opened it and the next as one.
    fn merge_into_next(&mut self, slice: usize) {
        let next = self.opened_by.remove(slice + 1);
        self.opened_by[slice].extend(next);
        for of in &mut self.slice_of {
            *of = match *of {
                usize::MAX => usize::MAX,
                s if s == slice => usize::MAX,
                s if s > slice => s - 1,
                s => s,
            };
        }
        self.count -= 1;
    }
}

/// The causes from which a path leads to what a check shows.
#[must_use]
pub fn shown_by(knowledge: &Knowledge, check: Ix<Check>) -> BTreeSet<Ix<Cause>> {
    let mut causes = BTreeSet::new();
    let mut seen = BTreeSet::new();
    let rows = &knowledge.checks[check].rows;
    let mut open: Vec<State> =
        rows.iter().flat_map(|row| &row.when).flat_map(|clause| clause.0.iter().map(|(state, _)| *state)).collect();
    while let Some(state) = open.pop() {
        match state {
            State::Cause(ix) => {
                causes.insert(ix);
            }
            State::Effect(ix) if seen.insert(ix) => {
                open.extend(knowledge.effects[ix].gate.inputs.iter().flat_map(read));
            }
            State::Effect(_) => {}
        }
    }
    causes
}

fn read(input: &Input) -> Vec<State> {
    match &input.reads {
        Reads::One(state) | Reads::Every(state) | Reads::SomeNotAll(state) | Reads::Exactly(_, state) => vec![*state],
        Reads::Together(states) => states.clone(),
    }
}

/// Whether a repair removes any of these causes.
#[must_use]
pub fn removes_any(knowledge: &Knowledge, repair: Ix<Repair>, causes: &BTreeSet<Ix<Cause>>) -> bool {
    knowledge.repairs[repair].removes.iter().any(|(cause, _)| causes.contains(cause))
}

fn counting_answers(laid: &Laid<'_>, case: &Case, slice_of: &[usize]) -> BTreeSet<usize> {
    let mut counting: BTreeMap<(usize, Ix<Check>, Option<usize>), Vec<usize>> = BTreeMap::new();
    for (at, entry) in case.log.iter().enumerate() {
        let Event::Answer { check, place, answer, .. } = &entry.event else { continue };
        if !answer.informs() || slice_of[at] == usize::MAX {
            continue;
        }
        let before = counting.entry((slice_of[at], *check, *place)).or_default();
        match laid.knowledge.checks[*check].again {
            Again::Each => before.push(at),
            Again::Last => *before = vec![at],
            Again::Worst => {
                let rank = |at: usize| match &case.log[at].event {
                    Event::Answer { answer: Answer::Outcome(k), .. } => *k,
                    _ => usize::MAX,
                };
                if before.first().is_none_or(|&b| rank(at) >= rank(b)) {
                    *before = vec![at];
                }
            }
        }
    }
    counting.into_values().flatten().collect()
}
