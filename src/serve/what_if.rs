//! What an answer would lead to, before it is given: the same step as if it were, and nothing kept.

use super::turns::asked;
use crate::interview::screen::Screen;
use crate::interview::screens;
use crate::interview::state::{Focus, Input, Key, Stage, State};
use crate::interview::step::{self, Bench};
use crate::report::{Bar, Block, Document, Rich, words};
use jiff::Timestamp;

/// How many causes are told.
const CAUSES: usize = 6;
/// The most boxes that stand before a question.
const TICKS: usize = 12;

/// Whether a check is asked about, so that there are answers to look behind.
#[must_use]
pub fn is_asked(bench: &Bench<'_>, state: &State) -> bool {
    let at_the_bench = state.stage == Stage::Bench && !state.sniff_first && state.over.is_none() && state.end.is_none();
    at_the_bench && matches!(step::focus(bench, state), Some(Focus::Check { .. }))
}

/// What the answer would lead to. `screen` is what the state shows.
///
/// Cost: what the answer itself would cost.
#[must_use]
pub fn document(bench: &Bench<'_>, state: &State, screen: &Screen, input: &Input, now: Option<Timestamp>) -> Document {
    let then = answered(bench, state, input, now);
    let mut document = Document::new();
    document.title(format!("If {} were: {}", row(screen), said(screen, input)));
    document.aside("A look ahead. Nothing of it is written down, and the question stands as it was.");
    if then.case.log.len() <= state.case.log.len() {
        document.paragraph("That would not be taken as an answer.");
        document.bullets(&then.notices);
        return document;
    }
    believed(bench, state, &then, &mut document);
    next(bench, state, &then, now, &mut document);
    document
}

/// The state after the answer: boxes before it ticked, further places left open.
fn answered(bench: &Bench<'_>, state: &State, input: &Input, now: Option<Timestamp>) -> State {
    let mut then = state.clone();
    for _ in 0..TICKS {
        if !screens::screen(bench, &then, now).keys.iter().any(|(key, _)| *key == Key::Tick) {
            break;
        }
        then = step::step(bench, then, &Input::Key(Key::Tick), now);
    }
    then = step::step(bench, then, input, now);
    if !then.draft.is_empty() && then.case.log.len() == state.case.log.len() {
        then = step::step(bench, then, &Input::Key(Key::Enter), now);
    }
    then
}

/// The place that is answered for: "the front one"; "it" where there is one.
fn row(screen: &Screen) -> String {
    let open = screen.rows.iter().find(|row| row.answer.is_none()).filter(|_| screen.rows.len() > 1);
    open.map_or_else(|| "it".to_owned(), |row| format!("the answer for {}", row.name))
}

fn said(screen: &Screen, input: &Input) -> String {
    match input {
        Input::Pick(at) => screen.choices.get(*at).map(|says| words::lower_first(says)).unwrap_or_default(),
        Input::Text(text) => text.clone(),
        Input::Key(key) => {
            screen.keys.iter().find(|(shown, _)| shown == key).map(|(_, says)| says.clone()).unwrap_or_default()
        }
    }
}

/// The likeliest causes then, each with what it is now.
fn believed(bench: &Bench<'_>, state: &State, then: &State, document: &mut Document) {
    let Some(view) = &then.view else { return };
    let laid = bench.laid(&then.case);
    let before = |cause| {
        let causes = state.view.iter().flat_map(|view| &view.causes);
        causes.filter(|belief| belief.cause == cause).map(|belief| belief.chance).next()
    };
    document.section("What would be believed");
    if view.impossible {
        document.paragraph(Rich::strong("It cannot be true together with what was answered before."));
    } else if !view.misfits.is_empty() && state.view.as_ref().is_none_or(|view| view.misfits.is_empty()) {
        document.paragraph("It would not fit well with what was answered before.");
    }
    let bars = view.causes.iter().take(CAUSES).map(|belief| {
        let item = &bench.knowledge.causes[belief.cause.item];
        let share = bench.figures.percent_short(belief.chance);
        let figure = match before(belief.cause) {
            Some(now) => format!("{share}, now {}", bench.figures.percent_short(now)),
            None => share,
        };
        Bar { label: laid.words(&item.title, item.scope, belief.cause.at).into(), share: belief.chance, figure }
    });
    document.push(Block::Bars(bars.collect()));
}

/// What would be asked or done next, and what the job would come to.
fn next(bench: &Bench<'_>, state: &State, then: &State, now: Option<Timestamp>, document: &mut Document) {
    document.section("What would come next");
    let laid = bench.laid(&then.case);
    let Some(view) = &then.view else {
        let why = then.stuck.clone().or_else(|| asked(&screens::screen(bench, then, now)));
        document.paragraph(why.unwrap_or_else(|| "Nothing is proposed then.".to_owned()));
        return;
    };
    let next = &view.advice.next;
    document.paragraph(Rich::strong(&words::action(&laid, &next.action)));
    document.paragraph(words::reason(&laid, next, bench.figures));
    let from_there = bench.figures.money(next.expected_cost);
    let from_now = state.view.as_ref().map(|view| bench.figures.money(view.advice.next.expected_cost));
    document.paragraph(match from_now {
        Some(now) => format!("From there to the end of the job: about {from_there}. As things stand now: about {now}."),
        None => format!("From there to the end of the job: about {from_there}."),
    });
}
