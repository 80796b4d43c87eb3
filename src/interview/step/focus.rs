//! What is asked about now.

use super::Bench;
use crate::case::{Case, Event, Presence};
use crate::decision::{Action, complained_of, untried};
use crate::interview::state::{Attempt, Focus, PutOff, Stage, State, first_check};
use crate::knowledge::layout::Instance;
use crate::knowledge::{Check, Ix, Repair};
use crate::safety::Verdict;
use jiff::Timestamp;

/// What is asked about now: the safety question, what a person chose, or what is proposed.
#[must_use]
pub fn focus(bench: &Bench<'_>, state: &State) -> Option<Focus> {
    if state.stage == Stage::Sniff || state.sniff_first {
        let (check, ..) = first_check(bench.knowledge)?;
        return Some(Focus::Check { check, places: vec![Some(0)], replaces: Vec::new() });
    }
    if state.focus.is_some() {
        return state.focus.clone();
    }
    if let Some(repair) = cured_by(&state.case).filter(|_| state.put_off != Some(PutOff::Proof)) {
        return Some(Focus::Proof(repair));
    }
    if let Some(attempt) = state.attempt.as_ref().filter(|_| state.put_off != Some(PutOff::Attempt)) {
        return Some(match attempt.close {
            Some(check) => Focus::Check { check, places: vec![Some(0)], replaces: Vec::new() },
            None => Focus::Tried(attempt.repair, attempt.symptom),
        });
    }
    let view = state.view.as_ref()?;
    Some(match &view.advice.next.action {
        Action::Check(check) => {
            Focus::Check { check: check.item, places: rows(bench, &state.case, *check), replaces: Vec::new() }
        }
        Action::Repair(repair, places) => Focus::Repair(*repair, places.clone()),
        Action::Try(symptoms) => Focus::Tried(untried(bench.knowledge, &state.case)?, *symptoms.first()?),
        Action::HandOver => Focus::HandOver,
    })
}

/// The attempt that is due, unless something must be settled before it is allowed: then that comes first, as advised.
pub(super) fn attempt_due(bench: &Bench<'_>, case: &Case, now: Option<Timestamp>) -> Option<Attempt> {
    let repair = untried(bench.knowledge, case)?;
    let complaint = complained_of(case);
    let symptom = *complaint.first()?;
    match bench.advisor.judge(case, &Action::Try(complaint), now) {
        Verdict::May(before) => {
            let close = before.close.map(|(check, ..)| check);
            let put_back = match close {
                Some(check) => match bench.advisor.judge(case, &Action::Check(Instance::new(check, 0)), now) {
                    Verdict::May(before) => before.put_back,
                    Verdict::Barred { .. } => Vec::new(),
                },
                None => before.put_back,
            };
            Some(Attempt { repair, symptom, put_back, close })
        }
        Verdict::Barred { .. } => None,
    }
}

/// The last repair, where the symptom was gone when it was tried last.
#[must_use]
pub fn cured_by(case: &Case) -> Option<Ix<Repair>> {
    let mut repaired = None;
    let mut gone = false;
    for entry in &case.log {
        match entry.event {
            Event::Repaired { repair, .. } => repaired = Some(repair),
            Event::Tried { now, .. } => gone = now == Presence::Absent,
            _ => {}
        }
    }
    repaired.filter(|_| gone)
}

/// The places that are asked about on one screen: all behind the same opening that have no answer since the last
/// repair, the proposed one first where the others cost another opening.
pub(super) fn rows(bench: &Bench<'_>, case: &Case, check: Instance<Check>) -> Vec<Option<usize>> {
    let laid = bench.laid(case);
    let item = &bench.knowledge.checks[check.item];
    let open = bench.advisor.open(case);
    let needed = bench.graph.missing(&open, &item.access);
    let one_by_one = needed.iter().any(|a| bench.knowledge.access[*a].each_further.is_some());
    if one_by_one || laid.places(item.scope) == 1 {
        return vec![Some(check.at)];
    }
    let since = case.log.iter().rposition(|e| matches!(e.event, Event::Repaired { .. })).map_or(0, |at| at + 1);
    let answered = |at: usize| {
        case.log[since..].iter().any(|entry| {
            matches!(&entry.event, Event::Answer { check: c, place, .. }
                if *c == check.item && place.is_none_or(|p| p == at))
        })
    };
    (0..laid.places(item.scope)).filter(|at| *at == check.at || !answered(*at)).map(Some).collect()
}
