//! What each screen says and asks.

mod bench;
mod cautions;
mod check;
mod intake;
mod over;
mod phone;
mod repair;

pub use cautions::{Detail, caution, hazards_of};

use super::screen::Screen;
use super::state::{Key, Over, Stage, State};
use super::step::{Bench, by_phone, stopped_by};
use crate::knowledge::Knowledge;
use crate::report::words;
use bench::bench_screen;
use intake::{call, history, layout, left, options, sniff, stopped, symptoms};
use jiff::Timestamp;
use over::{find_screen, page_screen, several, suppose};

/// The screen of a state.
#[must_use]
pub fn screen(bench: &Bench<'_>, state: &State, now: Option<Timestamp>) -> Screen {
    let mut screen = match (&state.over, state.stage) {
        (Some(Over::Page(page, document)), _) => page_screen(*page, document),
        (Some(Over::Find(find, targets)), _) => find_screen(*find, targets.iter().map(|(line, _)| line.clone())),
        (Some(Over::Suppose(check, shown)), _) => suppose(bench, state, *check, shown.as_ref()),
        (Some(Over::Several), _) => several(bench, state),
        (None, Stage::Call(at)) => call(bench, state, at),
        (None, _) if stopped_by(state).is_some() => stopped(bench, state),
        (None, Stage::Left) => left(bench, state),
        (None, Stage::Sniff) => sniff(bench, state, now),
        (None, Stage::History(_)) if state.sniff_first => sniff(bench, state, now),
        (None, Stage::Layout) => layout(bench, state),
        (None, Stage::Options) => options(bench, state),
        (None, Stage::Symptoms) => symptoms(bench, state),
        (None, Stage::History(at)) => history(bench, state, at),
        (None, Stage::Bench) => bench_screen(bench, state, now),
    };
    screen.notices.clone_from(&state.notices);
    if !matches!(state.over, Some(Over::Page(..))) {
        alarm(bench.knowledge, state, &mut screen);
    }
    screen.in_units(bench.figures.system)
}

/// The key for fire is on every screen; what it is for stands where there is room.
fn alarm(knowledge: &Knowledge, state: &State, screen: &mut Screen) {
    let words = |ends: bool| {
        let lock = knowledge.interlocks.iter().map(|(_, i)| i).find(|i| i.ends == ends && i.key.is_some());
        lock.and_then(|i| i.key.clone())
    };
    if by_phone(knowledge, &state.case) {
        screen.keys.push((Key::Pause, "someone hurt, sick or in the water".to_owned()));
    } else if state.stage == Stage::Bench
        && let Some(words) = words(false)
    {
        screen.keys.push((Key::Pause, words));
    }
    screen.keys.push((Key::Leave, "save and stop here".to_owned()));
    if let Some(words) = words(true) {
        screen.keys.push((Key::Stop, words));
    }
}

fn heading(bench: &Bench<'_>, state: &State) -> String {
    let title = state.case.title.clone();
    let complaint = state.case.symptoms.first().map(|s| words::lower_first(&bench.knowledge.symptoms[*s].title));
    match (title, complaint) {
        (Some(title), Some(complaint)) => format!("{title} · {complaint}"),
        (Some(title), None) => title,
        (None, Some(_)) => {
            state.case.symptoms.first().map(|s| bench.knowledge.symptoms[*s].title.clone()).unwrap_or_default()
        }
        (None, None) => "New job".to_owned(),
    }
}
