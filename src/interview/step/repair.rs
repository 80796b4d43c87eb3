//! A repair: from what is found before it to the proof that it helped; and handing over.

use super::check::{before, missing_ticks, prelude};
use super::focus::rows;
use super::record::asked_for;
use super::{Bench, back, by_phone, leave_to_them, not_here, refresh, remember};
use crate::case::{Case, Entry, Event, Presence};
use crate::decision::{Action, complained_of};
use crate::interview::pages;
use crate::interview::state::{End, Focus, Input, Key, Over, Page, PutOff, State};
use crate::knowledge::layout::Instance;
use crate::knowledge::{Check, Fitted, Ix, Proof, Repair, Setting, Symptom};
use crate::safety::Verdict;
use jiff::Timestamp;

pub(super) fn repair_step(
    bench: &Bench<'_>,
    state: &mut State,
    repair: Ix<Repair>,
    places: &[usize],
    input: &Input,
    now: Option<Timestamp>,
) {
    let by_phone = by_phone(bench.knowledge, &state.case);
    let (done, later) = if by_phone && bench.knowledge.repairs[repair].between_calls { (2, 0) } else { (0, 2) };
    match input {
        Input::Pick(choice) if *choice == done => start_repair(bench, state, repair, places),
        Input::Pick(1) => {
            let next = other_check(state);
            match next {
                Some(check) => {
                    let places = rows(bench, &state.case, check);
                    state.focus = Some(Focus::Check { check: check.item, places, replaces: Vec::new() });
                }
                None => state.notices.push(NO_CHECK_HELPS.to_owned()),
            }
        }
        Input::Pick(choice) if by_phone && *choice == later => {
            leave_to_them(state, repair, places, now);
            state.end = Some(End::Left);
        }
        Input::Key(Key::Back) => back(bench, state, None),
        _ => not_here(state),
    }
}

/// Where somebody would look further and nothing that was weighed helps.
pub const NO_CHECK_HELPS: &str = "No check at hand would change what to do; o lists them all.";

/// The best check that is not the proposal.
#[must_use]
pub fn other_check(state: &State) -> Option<Instance<Check>> {
    state.view.as_ref()?.advice.alternatives.iter().find_map(|proposal| match &proposal.action {
        Action::Check(check) => Some(*check),
        _ => None,
    })
}

/// Settings as found are written down first; what is on record already is not asked again.
pub(super) fn start_repair(bench: &Bench<'_>, state: &mut State, repair: Ix<Repair>, places: &[usize]) {
    let settings: Vec<(Ix<Setting>, usize)> = asked_for(bench, &state.case, repair, places)
        .into_iter()
        .filter(|record| record.value.is_none())
        .map(|record| (record.setting.item, record.setting.at))
        .collect();
    state.focus = Some(if settings.is_empty() {
        Focus::Working(repair, places.to_vec())
    } else {
        Focus::Record(repair, places.to_vec(), settings)
    });
}

pub(super) fn working_step(
    bench: &Bench<'_>,
    state: &mut State,
    repair: Ix<Repair>,
    places: Vec<usize>,
    input: &Input,
    now: Option<Timestamp>,
) {
    let needs = match before(bench, state, &Action::Repair(repair, places.clone()), now) {
        Ok(needs) => needs,
        Err(why) => {
            state.focus = None;
            state.notices.push(why);
            return;
        }
    };
    match input {
        Input::Pick(0) => {
            if let Some(tick) = missing_ticks(state, &needs).first() {
                let says = &bench.knowledge.ticks[*tick].says;
                state.notices.push(format!("First confirm with t: {says}"));
                return;
            }
            if let Some((closer, ..)) = needs.close {
                let title = &bench.knowledge.checks[closer].title;
                state.notices.push(format!("First: {title}. Press o to find it."));
                return;
            }
            remember(state);
            prelude(bench, state, &bench.knowledge.repairs[repair].access, &needs, now);
            state.case.log.push(Entry { at: now, event: Event::Repaired { repair, places } });
            state.focus = None;
            state.put_off = None;
            refresh(bench, state, now);
            if state.attempt.as_ref().is_some_and(|attempt| attempt.close.is_some()) {
                state.notices.push("This comes before you try it.".to_owned());
            } else if state.attempt.is_none()
                && let Verdict::Barred { why, .. } =
                    bench.advisor.judge(&state.case, &Action::Try(complained_of(&state.case)), now)
            {
                state.notices.push(format!("Do not try it yet. {why}"));
            }
        }
        Input::Pick(1) | Input::Key(Key::Back) => state.focus = None,
        Input::Pick(2) => start_repair(bench, state, repair, &places),
        Input::Key(Key::Tick) => match missing_ticks(state, &needs).first() {
            Some(tick) => state.ticked.push(*tick),
            None => state.notices.push("There is nothing to confirm here.".to_owned()),
        },
        _ => not_here(state),
    }
}

pub(super) fn tried_step(
    bench: &Bench<'_>,
    state: &mut State,
    repair: Ix<Repair>,
    symptom: Ix<Symptom>,
    input: &Input,
    now: Option<Timestamp>,
) {
    let needs = match before(bench, state, &Action::Try(complained_of(&state.case)), now) {
        Ok(needs) => needs,
        Err(why) => return state.notices.push(why),
    };
    let presence = match input {
        Input::Pick(0) => Presence::Absent,
        Input::Pick(1) => Presence::Present,
        Input::Pick(2) | Input::Key(Key::NotSure | Key::CouldNot | Key::Enter) => {
            state.focus = None;
            state.put_off = Some(PutOff::Attempt);
            return;
        }
        Input::Key(Key::Tick) => {
            return match missing_ticks(state, &needs).first() {
                Some(tick) => state.ticked.push(*tick),
                None => state.notices.push("There is nothing to confirm here.".to_owned()),
            };
        }
        Input::Key(Key::Back) => {
            state.focus = None;
            return back(bench, state, now);
        }
        _ => return not_here(state),
    };
    if let Some(tick) = missing_ticks(state, &needs).first() {
        let says = &bench.knowledge.ticks[*tick].says;
        return state.notices.push(format!("First confirm with t: {says}"));
    }
    remember(state);
    prelude(bench, state, &[], &needs, now);
    state.case.log.push(Entry { at: now, event: Event::Tried { symptom, now: presence } });
    state.put_off = None;
    state.focus = (presence == Presence::Absent).then_some(Focus::Proof(repair));
    let focus = state.focus.clone();
    refresh(bench, state, now);
    state.focus = focus;
}

/// Whether it is still there with nothing done: that it is, is written down. That it is gone is not, for what brought it
/// about still is there.
pub(super) fn again_step(
    bench: &Bench<'_>,
    state: &mut State,
    symptom: Ix<Symptom>,
    input: &Input,
    now: Option<Timestamp>,
) {
    let needs = match before(bench, state, &Action::Try(complained_of(&state.case)), now) {
        Ok(needs) => needs,
        Err(why) => {
            state.focus = None;
            return state.notices.push(why);
        }
    };
    match input {
        Input::Pick(0 | 1) => {
            if let Some(tick) = missing_ticks(state, &needs).first() {
                let says = &bench.knowledge.ticks[*tick].says;
                return state.notices.push(format!("First confirm with t: {says}"));
            }
            remember(state);
            prelude(bench, state, &[], &needs, now);
            if *input == Input::Pick(0) {
                state.case.log.push(Entry { at: now, event: Event::Tried { symptom, now: Presence::Present } });
            } else {
                state.over = Some(Over::Page(Page::Reading, pages::gone_unrepaired(bench.knowledge, symptom)));
            }
            state.focus = None;
            refresh(bench, state, now);
        }
        Input::Pick(2) | Input::Key(Key::NotSure | Key::CouldNot | Key::Enter | Key::Back) => state.focus = None,
        Input::Key(Key::Tick) => match missing_ticks(state, &needs).first() {
            Some(tick) => state.ticked.push(*tick),
            None => state.notices.push("There is nothing to confirm here.".to_owned()),
        },
        _ => not_here(state),
    }
}

/// The checks that prove a repair and that the craft has.
#[must_use]
pub fn proofs(bench: &Bench<'_>, case: &Case, repair: Ix<Repair>) -> Vec<Ix<Check>> {
    let laid = bench.laid(case);
    let fits = |fitted: &Fitted| laid.fits(fitted);
    let proves = &bench.knowledge.repairs[repair].proves;
    proves
        .iter()
        .filter_map(|proof| match proof {
            Proof::Check(check, _) if fits(&bench.knowledge.checks[*check].fitted) => Some(*check),
            _ => None,
        })
        .collect()
}

pub(super) fn proof_step(
    bench: &Bench<'_>,
    state: &mut State,
    repair: Ix<Repair>,
    input: &Input,
    now: Option<Timestamp>,
) {
    let checks = proofs(bench, &state.case, repair);
    match input {
        Input::Pick(0) => state.end = Some(End::Cured),
        Input::Pick(at) if *at <= checks.len() => {
            let check = Instance::new(checks[at - 1], 0);
            let places = rows(bench, &state.case, check);
            state.focus = Some(Focus::Check { check: check.item, places, replaces: Vec::new() });
        }
        Input::Pick(at) if *at == checks.len() + 1 => {
            state.focus = None;
            state.put_off = Some(PutOff::Proof);
        }
        Input::Key(Key::Back) => {
            state.focus = None;
            back(bench, state, now);
        }
        _ => not_here(state),
    }
}

pub(super) fn hand_over_step(bench: &Bench<'_>, state: &mut State, input: &Input, now: Option<Timestamp>) {
    match input {
        Input::Pick(0) => state.end = Some(End::HandedOver),
        Input::Pick(1) => match other_check(state) {
            Some(check) => {
                let places = rows(bench, &state.case, check);
                state.focus = Some(Focus::Check { check: check.item, places, replaces: Vec::new() });
            }
            None => state.notices.push(NO_CHECK_HELPS.to_owned()),
        },
        Input::Key(Key::Back) => back(bench, state, now),
        _ => not_here(state),
    }
}
