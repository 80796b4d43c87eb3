//! What is asked before the first check.

use super::check::check_parts;
use super::heading;
use crate::decision::Action;
use crate::interview::call::QUESTIONS;
use crate::interview::hand_over::EMERGENCY;
use crate::interview::screen::{Part, Screen};
use crate::interview::state::{Focus, Key, Stage, State};
use crate::interview::step::{Bench, before, by_phone, facts, focus, stopped_by, symptoms_of};
use crate::knowledge::Knowledge;
use crate::knowledge::layout::Instance;
use crate::report::{Block, Rich, words};
use jiff::Timestamp;

/// What is said of a fact that nobody can tell.
const NOT_KNOWN: &str = "not known";

/// What comes first on the phone.
pub(super) fn call(bench: &Bench<'_>, state: &State, at: usize) -> Screen {
    let of = QUESTIONS.len();
    let mut screen = Screen::new(heading(bench, state), format!("on the phone · {} of {of}", at + 1));
    let Some(question) = QUESTIONS.get(at) else { return screen };
    screen.say(Part::always(Block::Paragraph(Rich::plain("Before anything else, at every call. Say:"))));
    screen.ask(&format!("\u{201c}{}\u{201d}", question.ask));
    screen.choices = vec![question.well.to_owned(), question.not_well.to_owned()];
    screen.after.push(Part::until(3, Block::Paragraph(Rich::plain(&format!("Listen for: {}.", question.listen)))));
    let stop = format!("In danger: stop, everybody away, and call {EMERGENCY}.");
    screen.after.push(Part::always(Block::Paragraph(Rich::plain(&stop))));
    screen.keys.push((Key::NotSure, "not sure".to_owned()));
    screen.keys.push((Key::Back, "back".to_owned()));
    screen
}

/// What was left to them in the last call: whether it was done.
pub(super) fn left(bench: &Bench<'_>, state: &State) -> Screen {
    let mut screen = Screen::new(heading(bench, state), "on the phone · the last call");
    let Some((repair, places)) = state.case.left() else { return screen };
    let what = words::lower_first(&words::repair_words(&bench.laid(&state.case), repair, places));
    let lead = format!("In the last call this was left to them: {what}.");
    screen.say(Part::always(Block::Paragraph(Rich::strong(&lead))));
    screen.ask("\u{201c}Did you do it?\u{201d}");
    screen.choices = vec!["Yes, it was done".to_owned(), "No, not yet".to_owned()];
    let after = "Done: what it changed is asked next, once nothing is smelled. Not done: it stays left to them.";
    screen.after.push(Part::until(3, Block::Paragraph(Rich::plain(after))));
    screen.keys.push((Key::NotSure, "not sure".to_owned()));
    screen.keys.push((Key::Back, "back".to_owned()));
    screen
}

/// A job that was stopped: whether the craft has been declared safe.
pub(super) fn stopped(bench: &Bench<'_>, state: &State) -> Screen {
    let mut screen = Screen::new(heading(bench, state), "stopped");
    let Some(lock) = stopped_by(state) else { return screen };
    let what = words::emergency(bench.knowledge, lock);
    let paragraph = |text: &str| Part::always(Block::Paragraph(Rich::plain(text)));
    screen.say(Part::always(Block::Paragraph(Rich::strong(&format!("This job was stopped: {what}.")))));
    screen.say(paragraph(words::UNTIL_SAFE));
    if by_phone(bench.knowledge, &state.case) {
        screen.say(paragraph("Say:"));
        screen.ask(
            "\u{201c}Has the fire service, or whoever else may say so, told you that the machine is safe to go near?\u{201d}",
        );
    } else {
        screen.ask("Has the fire service, or whoever else may say so where you are, declared the craft safe?");
    }
    screen.choices = vec![
        "Yes, it has been declared safe".to_owned(),
        "No, or not known".to_owned(),
        "There was nothing: the stop was a mistake, take it back".to_owned(),
    ];
    let still = format!("Still there, or there again: everybody away, and call {EMERGENCY}.");
    screen.after.push(paragraph(&still));
    screen.keys.push((Key::NotSure, "not sure".to_owned()));
    screen
}

pub(super) fn sniff(bench: &Bench<'_>, state: &State, now: Option<Timestamp>) -> Screen {
    let Some(Focus::Check { check, places, .. }) = focus(bench, state) else {
        return Screen::new(heading(bench, state), "");
    };
    let mut screen = Screen::new(heading(bench, state), "safety first");
    let lead = if state.stage == Stage::Sniff { "Before anything else." } else { "Before going on." };
    screen.say(Part::always(Block::Paragraph(Rich::plain(lead))));
    let action = Action::Check(Instance::new(check, places[0].unwrap_or(0)));
    let needs = before(bench, state, &action, now).unwrap_or_default();
    check_parts(bench, state, check, &places, &needs, now, &mut screen);
    if !by_phone(bench.knowledge, &state.case) {
        screen.side = None;
    }
    screen.keys.push((Key::CouldNot, "could not".to_owned()));
    screen.keys.push((Key::How, screen.more.map_or("how", |(_, says)| says).to_owned()));
    // What was answered just before it can be taken back.
    if !state.before.is_empty() {
        screen.keys.push((Key::Back, "back".to_owned()));
    }
    screen
}

pub(super) fn layout(bench: &Bench<'_>, state: &State) -> Screen {
    let mut screen = Screen::new(heading(bench, state), "the craft");
    if by_phone(bench.knowledge, &state.case) && !same_cylinders(bench.knowledge) {
        layout_by_phone(bench, state, &mut screen);
        return screen;
    }
    screen.ask("How is it laid out?");
    screen.choices = bench
        .knowledge
        .layouts
        .iter()
        .map(|(ix, layout)| {
            let usual = if ix == state.case.craft.layout { " (usual)" } else { "" };
            format!("{}{usual}", layout.title)
        })
        .collect();
    screen.keys.push((Key::Enter, "take the usual".to_owned()));
    screen.keys.push((Key::Back, "back".to_owned()));
    screen
}

/// Whether a count of cylinders tells nothing.
fn same_cylinders(knowledge: &Knowledge) -> bool {
    let counts: Vec<usize> = knowledge.layouts.iter().map(|(_, layout)| layout.cylinders.len()).collect();
    counts.iter().all(|n| *n == counts[0])
}

/// What an owner can count without opening anything: the leads, one for each cylinder. Of several layouts with as many the
/// usual one is taken, else the first.
fn layout_by_phone(bench: &Bench<'_>, state: &State, screen: &mut Screen) {
    let layouts = &bench.knowledge.layouts;
    let mut counts: Vec<usize> = layouts.iter().map(|(_, layout)| layout.cylinders.len()).collect();
    counts.sort_unstable();
    counts.dedup();
    let spoken: Vec<String> = counts.iter().map(|n| count(*n)).collect();
    let (last, others) = spoken.split_last().expect("there are two counts at least");
    screen.say(Part::always(Block::Paragraph(Rich::plain("They look and touch nothing. Say:"))));
    let which = format!("{} or {last}", others.join(", "));
    screen.ask(&format!("\u{201c}How many spark plug leads do you see, {which}?\u{201d}"));
    let with = |n: usize| layouts.iter().filter(move |(_, layout)| layout.cylinders.len() == n);
    let taken = |n: usize| {
        let usual = with(n).find(|(ix, _)| *ix == state.case.craft.layout);
        usual.or_else(|| with(n).next()).map(|(ix, _)| ix)
    };
    screen.choices = layouts
        .iter()
        .map(|(ix, layout)| {
            let n = layout.cylinders.len();
            let mark = if taken(n) == Some(ix) { format!(" (take this for {})", count(n)) } else { String::new() };
            format!("{}{mark}", layout.title)
        })
        .collect();
    let marked = "Of several with as many take the one marked, unless they can tell more.";
    screen.after.push(Part::until(5, Block::Paragraph(Rich::plain(marked))));
    screen.keys.push((Key::NotSure, NOT_KNOWN.to_owned()));
    screen.keys.push((Key::Back, "back".to_owned()));
}

/// "two": a small number as it is said.
fn count(n: usize) -> String {
    let words = ["none", "one", "two", "three", "four", "five", "six"];
    words.get(n).map_or_else(|| n.to_string(), |word| (*word).to_owned())
}

pub(super) fn options(bench: &Bench<'_>, state: &State) -> Screen {
    let mut screen = Screen::new(heading(bench, state), "the craft");
    screen.ask("What is fitted? A number changes it.");
    screen.choices = bench
        .knowledge
        .options
        .iter()
        .map(|(ix, option)| {
            let fitted = if state.case.craft.has(ix) { "fitted" } else { "not fitted" };
            format!("{}: {fitted}", option.title)
        })
        .collect();
    screen.keys.push((Key::Enter, "that is right".to_owned()));
    screen.keys.push((Key::Back, "back".to_owned()));
    screen
}

pub(super) fn symptoms(bench: &Bench<'_>, state: &State) -> Screen {
    let mut screen = Screen::new(heading(bench, state), "the complaint");
    screen.ask("What does the customer say? Take first what stops them first, then Enter.");
    screen.choices = symptoms_of(bench, &state.case)
        .into_iter()
        .map(|ix| {
            let symptom = &bench.knowledge.symptoms[ix];
            let says = symptom.says.first().map(|s| format!(": \"{s}\"")).unwrap_or_default();
            let taken = state.case.symptoms.iter().position(|s| *s == ix);
            let mark = taken.map(|at| format!("[{}] ", at + 1)).unwrap_or_default();
            format!("{mark}{}{says}", symptom.title)
        })
        .collect();
    screen.keys.push((Key::Enter, "that is all".to_owned()));
    screen.keys.push((Key::Back, "back".to_owned()));
    screen
}

pub(super) fn history(bench: &Bench<'_>, state: &State, at: usize) -> Screen {
    let facts = facts(bench.knowledge, &state.case);
    let right = format!("history {} of {}", at + 1, facts.len());
    let mut screen = Screen::new(heading(bench, state), right);
    let Some(fact) = facts.get(at) else { return screen };
    let item = &bench.knowledge.history[*fact];
    if by_phone(bench.knowledge, &state.case) {
        screen.say(Part::always(Block::Paragraph(Rich::plain("Say:"))));
        screen.ask(&format!("\u{201c}{}\u{201d}", item.ask));
    } else {
        screen.ask(&item.ask);
    }
    let said = state.case.history.get(fact);
    screen.choices = item
        .values
        .iter()
        .enumerate()
        .map(|(at, value)| if said == Some(&at) { format!("{} (so far)", value.says) } else { value.says.clone() })
        .collect();
    // Not twice, where it is an answer.
    if !item.values.iter().any(|value| value.says.eq_ignore_ascii_case(NOT_KNOWN)) {
        screen.keys.push((Key::NotSure, NOT_KNOWN.to_owned()));
    }
    screen.keys.push((Key::Skip, "skip the rest".to_owned()));
    screen.keys.push((Key::Back, "back".to_owned()));
    screen
}
