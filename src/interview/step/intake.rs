//! What is asked before the first check: the craft, the complaint, its history.

use super::check::prelude;
use super::{Bench, not_here, opening_stage, refresh, remember, stop};
use crate::case::{Case, Entry, Event};
use crate::interview::call::{self, Wrong};
use crate::interview::state::{Input, Key, Moment, Over, Page, Stage, State};
use crate::knowledge::{HistoryFact, Ix, Knowledge, Layout, Symptom};
use crate::safety::Before;
use jiff::Timestamp;

pub(super) fn first_stage(bench: &Bench<'_>) -> Stage {
    if bench.layout_known || bench.knowledge.layouts.len() < 2 { after_layout(bench) } else { Stage::Layout }
}

pub(super) fn after_layout(bench: &Bench<'_>) -> Stage {
    if bench.knowledge.options.is_empty() { Stage::Symptoms } else { Stage::Options }
}

/// The facts worth asking for these symptoms, in the order of asking.
#[must_use]
pub fn facts(knowledge: &Knowledge, case: &Case) -> Vec<Ix<HistoryFact>> {
    let wanted = |fact: &HistoryFact| fact.is_worth_asking(&case.symptoms, &case.history);
    knowledge.history.iter().filter(|(_, fact)| wanted(fact)).map(|(ix, _)| ix).collect()
}

/// What was said before, and is moot after what was said now, goes.
fn drop_moot(knowledge: &Knowledge, case: &mut Case) {
    let moot = |fact: &Ix<HistoryFact>| knowledge.history[*fact].is_moot(&case.history);
    let gone: Vec<Ix<HistoryFact>> = case.history.keys().filter(|fact| moot(fact)).copied().collect();
    for fact in gone {
        case.history.shift_remove(&fact);
    }
}

/// What comes first on the phone. Only the answer that all is well goes on; nothing skips it.
pub(super) fn call_step(bench: &Bench<'_>, state: &mut State, at: usize, input: &Input, now: Option<Timestamp>) {
    let Some(question) = call::QUESTIONS.get(at) else { return not_here(state) };
    match input {
        Input::Pick(0) if at + 1 < call::QUESTIONS.len() => state.stage = Stage::Call(at + 1),
        Input::Pick(0) if state.case.left().is_some() => state.stage = Stage::Left,
        Input::Pick(0) => {
            state.stage = opening_stage(bench, &state.case);
            refresh(bench, state, now);
        }
        Input::Pick(1) | Input::Key(Key::NotSure) => {
            if question.wrong != Wrong::Fire || !stop(bench, state, now) {
                state.over = Some(Over::Page(Page::Reading, call::emergency(question.wrong)));
            }
        }
        Input::Key(Key::Back) if at > 0 => state.stage = Stage::Call(at - 1),
        Input::Key(Key::Back) => state.notices.push("This is the first question.".to_owned()),
        _ => state.notices.push("This comes first, at every call.".to_owned()),
    }
}

/// Whether what was left to them was done. That it was not leaves it as it is: it is asked again in the next call.
pub(super) fn left_step(bench: &Bench<'_>, state: &mut State, input: &Input, now: Option<Timestamp>) {
    let left = state.case.left().map(|(repair, places)| (repair, places.to_vec()));
    match (input, left) {
        (Input::Pick(0), Some((repair, places))) => {
            remember(state);
            prelude(bench, state, &bench.knowledge.repairs[repair].access, &Before::default(), now);
            state.case.log.push(Entry { at: now, event: Event::Repaired { repair, places } });
        }
        (Input::Pick(1) | Input::Key(Key::NotSure), _) | (_, None) => {}
        (Input::Key(Key::Back), _) => {
            state.stage = Stage::Call(call::QUESTIONS.len() - 1);
            return;
        }
        _ => return not_here(state),
    }
    state.stage = opening_stage(bench, &state.case);
    refresh(bench, state, now);
}

pub(super) fn layout_step(bench: &Bench<'_>, state: &mut State, input: &Input) {
    let chosen = match input {
        Input::Pick(at) if *at < bench.knowledge.layouts.len() => Ix::<Layout>::new(*at),
        // Not known: what is usual.
        Input::Key(Key::Enter | Key::NotSure) => state.case.craft.layout,
        Input::Key(Key::Back) => return intake_back(state),
        _ => return not_here(state),
    };
    remember(state);
    state.case.craft.layout = chosen;
    state.stage = after_layout(bench);
}

pub(super) fn options_step(bench: &Bench<'_>, state: &mut State, input: &Input) {
    match input {
        Input::Pick(at) if *at < bench.knowledge.options.len() => {
            state.case.craft.options[*at] = !state.case.craft.options[*at];
        }
        Input::Key(Key::Enter) => {
            remember(state);
            state.stage = Stage::Symptoms;
        }
        Input::Key(Key::Back) => intake_back(state),
        _ => not_here(state),
    }
}

/// The symptoms a craft can have, in the order of the knowledge base.
#[must_use]
pub fn symptoms_of(bench: &Bench<'_>, case: &Case) -> Vec<Ix<Symptom>> {
    let laid = bench.laid(case);
    bench.knowledge.symptoms.iter().filter(|(_, s)| laid.fits(&s.fitted)).map(|(ix, _)| ix).collect()
}

pub(super) fn symptoms_step(bench: &Bench<'_>, state: &mut State, input: &Input, now: Option<Timestamp>) {
    match input {
        Input::Pick(at) => match symptoms_of(bench, &state.case).get(*at) {
            Some(symptom) if state.case.symptoms.contains(symptom) => state.case.symptoms.retain(|s| s != symptom),
            Some(symptom) => {
                state.case.symptoms.push(*symptom);
                // Whoever leaves here has not been asked for the history either.
                if state.case.history.is_empty() {
                    state.case.history_next = facts(bench.knowledge, &state.case).first().copied();
                }
            }
            None => not_here(state),
        },
        Input::Key(Key::Enter) if state.case.symptoms.is_empty() => {
            state.notices.push("Pick what stops the customer first; one is enough.".to_owned());
        }
        Input::Key(Key::Enter) => {
            remember(state);
            if let Some((one, other)) = bench.knowledge.at_odds(&state.case.symptoms) {
                let [one, other] = [one, other].map(|ix| bench.knowledge.symptoms[ix].title.as_str());
                state.notices.push(format!(
                    "“{one}” and “{other}” go together only where it is now this and now that. Go back with b and drop one where \
                     it is not so."
                ));
            }
            to_history(bench, state, 0, now);
        }
        Input::Key(Key::Back) => intake_back(state),
        _ => not_here(state),
    }
}

pub(super) fn to_history(bench: &Bench<'_>, state: &mut State, from: usize, now: Option<Timestamp>) {
    state.case.history_next = facts(bench.knowledge, &state.case).get(from).copied();
    if state.case.history_next.is_some() {
        state.stage = Stage::History(from);
    } else {
        state.stage = Stage::Bench;
        refresh(bench, state, now);
    }
}

pub(super) fn history_step(bench: &Bench<'_>, state: &mut State, at: usize, input: &Input, now: Option<Timestamp>) {
    let Some(fact) = facts(bench.knowledge, &state.case).get(at).copied() else {
        return to_history(bench, state, usize::MAX, now);
    };
    let item = &bench.knowledge.history[fact];
    let next = match input {
        Input::Pick(value) if *value < item.values.len() => {
            remember(state);
            state.case.history.insert(fact, *value);
            drop_moot(bench.knowledge, &mut state.case);
            for (option, fitted) in &item.values[*value].implies {
                state.case.craft.options[option.at()] = *fitted;
            }
            at + 1
        }
        Input::Key(Key::NotSure | Key::Enter) => {
            remember(state);
            if matches!(input, Input::Key(Key::NotSure)) {
                state.case.history.shift_remove(&fact);
            }
            at + 1
        }
        Input::Key(Key::Skip) => {
            remember(state);
            usize::MAX
        }
        Input::Key(Key::Back) => return intake_back(state),
        _ => return not_here(state),
    };
    to_history(bench, state, next, now);
}

pub(super) fn intake_back(state: &mut State) {
    match state.before.pop() {
        Some(Moment { case, stage, sniff_first }) => {
            (state.case, state.stage, state.sniff_first) = (case, stage, sniff_first);
        }
        None => state.notices.push("This is the first question.".to_owned()),
    }
}
