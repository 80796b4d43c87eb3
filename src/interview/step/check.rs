//! A check: what stands before it, what is a fit answer, and what an answer does.

use super::intake::first_stage;
use super::several::go_on;
use super::{Bench, back, by_phone, focus, not_here, remember};
use crate::case::text::{OffScale, on_scale};
use crate::case::{Answer, Case, Entry, Event, Position};
use crate::decision::Action;
use crate::interview::call;
use crate::interview::state::{Focus, Input, Key, Over, Page, Stage, State, first_check};
use crate::knowledge::layout::Instance;
use crate::knowledge::{Access, Check, Hazard, Ix, Tick};
use crate::safety::{Before, OpenHazard, Verdict};
use crate::units::{Measure, Minutes, UnitError};
use jiff::Timestamp;

/// What must be done before a step on the screen, as the interlocks see it. The step that clears the way for another
/// (the sniff before the starter) puts back what the other wants shut, or it would clear nothing.
///
/// # Errors
/// Why it may not be done at all.
pub fn before(bench: &Bench<'_>, state: &State, action: &Action, now: Option<Timestamp>) -> Result<Before, String> {
    match bench.advisor.judge(&state.case, action, now) {
        Verdict::May(mut before) => {
            let next = state.view.as_ref().map(|view| &view.advice.next);
            let next = next.filter(|next| next.action == *action && !state.sniff_first);
            for shut in next.iter().flat_map(|next| &next.before.put_back) {
                if !before.put_back.contains(shut) {
                    before.put_back.push(*shut);
                }
            }
            Ok(before)
        }
        Verdict::Barred { why, .. } => Err(why),
    }
}

/// The ticks that are still missing on this screen.
#[must_use]
pub fn missing_ticks(state: &State, before: &Before) -> Vec<Ix<Tick>> {
    before.ticks.iter().copied().filter(|tick| !state.ticked.contains(tick)).collect()
}

/// Where a check closes an open hazard: the outcome that does, the minutes of airing before it, the hazard.
#[must_use]
pub fn closing(
    bench: &Bench<'_>,
    state: &State,
    check: Ix<Check>,
    now: Option<Timestamp>,
) -> Option<(usize, Minutes, Ix<Hazard>)> {
    if let (true, Some((first, outcome, minutes))) = (state.sniff_first, first_check(bench.knowledge)) {
        let hazard = bench.knowledge.hazards.iter().find(|(_, h)| h.open_at_start && !h.closed_by.is_empty());
        return hazard.filter(|_| first == check).map(|(ix, _)| (outcome, minutes, ix));
    }
    bench.advisor.hazards(&state.case, now).into_iter().find_map(|open| {
        let hazard = &bench.knowledge.hazards[open.hazard];
        let by = hazard.closed_by.iter().find(|by| by.answer.0 == check)?;
        Some((by.answer.1, open.air, open.hazard))
    })
}

pub(super) fn check_step(bench: &Bench<'_>, state: &mut State, input: &Input, now: Option<Timestamp>) {
    let Some(Focus::Check { check, places, replaces }) = focus(bench, state) else { return not_here(state) };
    let item = &bench.knowledge.checks[check];
    let action = Action::Check(Instance::new(check, places[0].unwrap_or(0)));
    let needs = if replaces.is_empty() { before(bench, state, &action, now) } else { Ok(Before::default()) };
    let needs = match needs {
        Ok(needs) => needs,
        Err(why) => {
            state.focus = None;
            state.notices.push(why);
            return;
        }
    };
    let answer = match input {
        Input::Key(Key::Back) => return back(bench, state, now),
        Input::Key(Key::Tick) => return tick(bench, state, &needs, check, now),
        Input::Key(Key::Enter) if !state.draft.is_empty() => {
            return commit(bench, state, check, &places, &replaces, &needs, now);
        }
        Input::Key(Key::CouldNot) => Answer::CouldNot,
        Input::Key(Key::NotSure) => Answer::Unknown,
        Input::Pick(at) => match outcome_at(item, *at) {
            Some(outcome) => Answer::Outcome(outcome),
            None => return not_here(state),
        },
        Input::Text(text) => match typed(item, &state.case, text) {
            Ok(answer) => answer,
            Err(why) => {
                state.notices.push(why);
                return;
            }
        },
        Input::Key(_) => return not_here(state),
    };
    if answer.informs()
        && let Err(why) = may_answer(bench, state, check, answer, &needs, now)
    {
        state.notices.push(why);
        return;
    }
    state.draft.push(answer);
    if state.draft.len() >= places.len() {
        commit(bench, state, check, &places, &replaces, &needs, now);
    }
}

/// The outcome behind a choice: every outcome of a check without a reading; of one with a reading only the one that
/// stands for "beyond the scale".
pub(super) fn outcome_at(check: &Check, at: usize) -> Option<usize> {
    match &check.reading {
        None => (at < check.outcomes.len()).then_some(at),
        Some(reading) => reading.over.filter(|_| at == 0),
    }
}

/// A reading as a person typed it, in the check's unit; or an outcome by its id or words.
pub(super) fn typed(check: &Check, case: &Case, text: &str) -> Result<Answer, String> {
    let word = text.trim().to_lowercase();
    let by_name = check.outcomes.iter().position(|o| o.id == word || o.says.to_lowercase() == word);
    if let Some(outcome) = by_name.filter(|at| check.reading.as_ref().is_none_or(|r| r.over == Some(*at))) {
        return Ok(Answer::Outcome(outcome));
    }
    let Some(reading) = &check.reading else {
        return Err(format!("`{text}` is none of the answers; give its number"));
    };
    let quantity = reading.unit.quantity();
    let measure = match Measure::parse_as(text, quantity) {
        // A bare number is in the unit of the question.
        Err(UnitError::NoUnit { .. }) => Measure::parse_as(&format!("{text} {}", reading.unit), quantity),
        other => other,
    };
    let beyond = || format!("expected {} to {} {}, found `{}`", reading.least, reading.most, reading.unit, text.trim());
    let value = measure.map_err(|e| e.to_string())?.get(reading.unit).ok_or_else(beyond)?;
    match on_scale(reading, value, case) {
        Ok(()) | Err(OffScale::NoFigure(_)) => Ok(Answer::Reading(value)),
        Err(OffScale::Beyond(why)) => Err(format!("{why}, found `{}`", text.trim())),
    }
}

/// Whether an answer may be taken: what an interlock asks for is confirmed, and a hazard is closed only once the craft
/// has been aired.
pub(super) fn may_answer(
    bench: &Bench<'_>,
    state: &State,
    check: Ix<Check>,
    answer: Answer,
    needs: &Before,
    now: Option<Timestamp>,
) -> Result<(), String> {
    if let Some(tick) = missing_ticks(state, needs).first() {
        return Err(format!("First confirm with t: {}", bench.knowledge.ticks[*tick].says));
    }
    if let Some((closer, outcome, minutes)) = needs.close {
        let title = &bench.knowledge.checks[closer].title;
        let says = &bench.knowledge.checks[closer].outcomes[outcome].says;
        let air = bench.figures.minutes(minutes);
        return Err(format!("First air it {air}, then: {title}, until the answer is \"{says}\". Press o to find it."));
    }
    match closing(bench, state, check, now) {
        Some((outcome, minutes, _))
            if answer == Answer::Outcome(outcome) && minutes > Minutes::ZERO && !state.aired =>
        {
            let minutes = bench.figures.minutes(minutes);
            Err(format!("First air it for {minutes}, then confirm with t. Without that the answer cannot count."))
        }
        _ => Ok(()),
    }
}

pub(super) fn tick(bench: &Bench<'_>, state: &mut State, needs: &Before, check: Ix<Check>, now: Option<Timestamp>) {
    if let Some(tick) = missing_ticks(state, needs).first() {
        state.ticked.push(*tick);
    } else if closing(bench, state, check, now).is_some_and(|(_, minutes, _)| minutes > Minutes::ZERO) {
        state.aired = true;
    } else {
        state.notices.push("There is nothing to confirm here.".to_owned());
    }
}

pub(super) fn commit(
    bench: &Bench<'_>,
    state: &mut State,
    check: Ix<Check>,
    places: &[Option<usize>],
    replaces: &[usize],
    needs: &Before,
    now: Option<Timestamp>,
) {
    remember(state);
    let hazards = bench.advisor.hazards(&state.case, now);
    let aired = closing(bench, state, check, now).filter(|_| state.aired).map(|(_, minutes, _)| minutes.get());
    let draft = std::mem::take(&mut state.draft);
    if replaces.is_empty() {
        if draft.iter().any(|a| a.informs()) {
            prelude(bench, state, &bench.knowledge.checks[check].access, needs, now);
        }
        let answers = places.iter().zip(draft);
        state.case.log.extend(answers.map(|(place, answer)| Entry {
            at: now,
            event: Event::Answer { check, place: *place, answer, aired_min: aired },
        }));
    } else {
        for (at, new) in replaces.iter().zip(draft) {
            if let Some(Event::Answer { answer, .. }) = state.case.log.get_mut(*at).map(|entry| &mut entry.event) {
                *answer = new;
            }
        }
    }
    state.focus = None;
    let first = std::mem::take(&mut state.sniff_first);
    if state.stage == Stage::Sniff && !first {
        state.stage = first_stage(bench);
    }
    go_on(bench, state, now);
    warn_caller(bench, state, &hazards, now);
}

/// On the phone, what an answer opened is said before anything else is asked.
fn warn_caller(bench: &Bench<'_>, state: &mut State, before: &[OpenHazard], now: Option<Timestamp>) {
    if !by_phone(bench.knowledge, &state.case) {
        return;
    }
    let after = bench.advisor.hazards(&state.case, now);
    if let Some(hazard) = call::newly_open(before, &after) {
        state.over = Some(Over::Page(Page::Reading, call::opened(bench.knowledge, hazard)));
    }
}

/// What comes before a step in the log: what was put back, what was opened, what was confirmed.
pub(super) fn prelude(
    bench: &Bench<'_>,
    state: &mut State,
    access: &[Ix<Access>],
    needs: &Before,
    now: Option<Timestamp>,
) {
    let mut add = |event: Event| state.case.log.push(Entry { at: now, event });
    for shut in &needs.put_back {
        add(Event::Access { access: *shut, now: Position::Shut });
    }
    for tick in &state.ticked {
        add(Event::Ticked(*tick));
    }
    let open = bench.advisor.open(&state.case);
    for missing in bench.graph.missing(&open, access) {
        // Standing beside it opens nothing.
        if bench.knowledge.access[missing].open == Minutes::ZERO {
            continue;
        }
        state.case.log.push(Entry { at: now, event: Event::Access { access: missing, now: Position::Open } });
    }
}
