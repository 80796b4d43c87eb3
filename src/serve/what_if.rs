//! What if: which answers to the question at hand can be supposed, and what one of them would change. Nothing is kept.

use super::turns::{Did, input};
use crate::interview::screen::Screen;
use crate::interview::screens;
use crate::interview::state::{Focus, Input, Key, Over, Stage, State};
use crate::interview::step::{self, Bench};
use crate::report::Document;
use jiff::Timestamp;

/// The state in which answers to the question at hand are supposed; none where no check is asked.
#[must_use]
pub fn supposing(bench: &Bench<'_>, state: &State, now: Option<Timestamp>) -> Option<State> {
    let at_the_bench = state.stage == Stage::Bench && !state.sniff_first && state.over.is_none() && state.end.is_none();
    if !at_the_bench || !matches!(step::focus(bench, state), Some(Focus::Check { .. })) {
        return None;
    }
    let supposing = step::step(bench, state.clone(), &Input::Key(Key::WhatIf), now);
    matches!(supposing.over, Some(Over::Suppose(..))).then_some(supposing)
}

/// What can be supposed.
#[must_use]
pub fn screen(bench: &Bench<'_>, state: &State, now: Option<Timestamp>) -> Option<Screen> {
    supposing(bench, state, now).map(|state| screens::screen(bench, &state, now))
}

/// What an answer would change.
///
/// Cost: that of a next step.
///
/// # Errors
/// Where it cannot be supposed; a sentence for people.
pub fn document(bench: &Bench<'_>, state: &State, did: &Did, now: Option<Timestamp>) -> Result<Document, String> {
    let moved_on = || "The question has moved on; that answer is not on it.".to_owned();
    let supposing = supposing(bench, state, now).ok_or_else(moved_on)?;
    let answer = input(&screens::screen(bench, &supposing, now), did).ok_or_else(moved_on)?;
    let supposed = step::step(bench, supposing, &answer, now);
    match supposed.over {
        Some(Over::Suppose(_, Some(document))) => Ok(document),
        // What was typed is no reading: it is said why.
        _ => Err(supposed.notices.join(" ")),
    }
}
