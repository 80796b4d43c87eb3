//! One step at a time on the bench: the frame around whatever is asked.

use super::check::check_screen;
use super::heading;
use super::intake::sniff;
use super::phone::beside;
use super::repair::{again, fix_or_look, hand_over, proof, record, tried, working};
use crate::case::Event;
use crate::decision::Action;
use crate::interview::screen::{Part, Screen};
use crate::interview::state::{Focus, Key, PutOff, State};
use crate::interview::step::{Bench, before, focus};
use crate::knowledge::layout::{Instance, Laid};
use crate::report::{Block, Rich, words};
use crate::safety::Before;
use jiff::Timestamp;

pub(super) fn bench_screen(bench: &Bench<'_>, state: &State, now: Option<Timestamp>) -> Screen {
    if state.sniff_first {
        return sniff(bench, state, now);
    }
    let laid = bench.laid(&state.case);
    let focus = focus(bench, state);
    let mut screen = Screen::new(heading(bench, state), where_we_are(bench, state, focus.as_ref()));
    match focus {
        Some(Focus::Check { check, places, replaces }) => {
            let action = Action::Check(Instance::new(check, places[0].unwrap_or(0)));
            let needs = if replaces.is_empty() { before(bench, state, &action, now) } else { Ok(Before::default()) };
            check_screen(bench, state, check, &places, needs, now, &mut screen);
        }
        Some(Focus::Repair(repair, places)) => fix_or_look(bench, state, &laid, repair, &places, &mut screen),
        Some(Focus::Record(repair, places, settings)) => {
            record(bench, state, (repair, &places), &settings, &mut screen);
        }
        Some(Focus::Working(repair, places)) => working(bench, state, repair, &places, now, &mut screen),
        Some(Focus::Tried(repair, symptom)) => tried(bench, state, repair, symptom, now, &mut screen),
        Some(Focus::Again(symptom)) => again(bench, state, symptom, now, &mut screen),
        Some(Focus::Proof(repair)) => proof(bench, state, repair, &mut screen),
        Some(Focus::HandOver) => hand_over(bench, state, &laid, now, &mut screen),
        None => {
            let why = state.stuck.clone().unwrap_or_else(|| "there is nothing to propose".to_owned());
            screen.ask("There is no proposal.");
            screen.say(Part::always(Block::Paragraph(Rich::plain(&why))));
        }
    }
    if screen.side.is_none() {
        screen.side = beside(bench, state, None, now);
    }
    if let Some(view) = &state.view {
        misfits(bench, state, &laid, &mut screen);
        screen.strip = Some(words::strip(&laid, &view.causes));
    }
    general_keys(&mut screen);
    screen
}

pub(super) fn general_keys(screen: &mut Screen) {
    for (key, says) in [
        (Key::Why, "why"),
        (Key::Ranking, "what we know"),
        (Key::How, "how"),
        (Key::Other, "other check"),
        (Key::DidRepair, "I did a repair"),
        (Key::Change, "change an answer"),
        (Key::Barred, "what is barred"),
        (Key::Back, "back"),
        (Key::Plan, "plan"),
        (Key::HandOver, "hand it over"),
        (Key::WhatIf, "what if"),
        (Key::Several, "several at once"),
        (Key::Keys, "all keys"),
    ] {
        let says = screen.more.filter(|(more, _)| *more == key).map_or(says, |(_, says)| says);
        screen.keys.push((key, says.to_owned()));
    }
}

pub(super) fn progress(bench: &Bench<'_>, state: &State) -> String {
    let checks = state.case.log.iter().filter(|e| matches!(e.event, Event::Answer { .. })).count();
    // Whoever is on the phone stands only so many questions.
    let most = bench.knowledge.users[state.case.user].asks;
    let count = match most.map(|most| usize::try_from(most).unwrap_or(usize::MAX)) {
        Some(asks) if checks < asks => format!("question {}, at most about {asks}", checks + 1),
        Some(_) => format!("question {}", checks + 1),
        None => format!("check {}", checks + 1),
    };
    match &state.view {
        Some(view) => format!(
            "{count} · {} · {} so far",
            bench.figures.minutes(view.advice.spent_minutes),
            bench.figures.money(view.advice.spent)
        ),
        None => count,
    }
}

/// How far it is, and what is still expected; not where that hangs on whether the symptom is gone.
fn where_we_are(bench: &Bench<'_>, state: &State, focus: Option<&Focus>) -> String {
    let so_far = progress(bench, state);
    let rest = state.view.as_ref().map(|view| words::rest(bench.figures, &view.advice));
    let untold = matches!(focus, Some(Focus::Tried(..) | Focus::Proof(_)))
        || state.attempt.is_some() && state.put_off != Some(PutOff::Attempt);
    match rest.filter(|_| !untold) {
        Some(rest) => format!("{so_far} · about {rest} to go"),
        None => so_far,
    }
}

pub(super) fn misfits(bench: &Bench<'_>, state: &State, laid: &Laid<'_>, screen: &mut Screen) {
    let Some(view) = &state.view else { return };
    let Some(worst) = view.misfits.first() else { return };
    let answer = words::said(laid, &state.case, worst.said, bench.figures);
    let how = if view.impossible { "cannot all be right" } else { "do not fit together well" };
    let text = format!("The answers {how}. Worth repeating: {answer} (e changes it).");
    screen.after.push(Part::until(5, Block::Paragraph(Rich::plain(&text))));
}
