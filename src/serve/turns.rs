//! Whose answer counts: every page names the turn it shows, and an answer counts only where its turn is the one that a room
//! stands at. So two windows on one job cannot answer over each other.

use super::page::Stale;
use crate::interview::screen::{Screen, Writing};
use crate::interview::state::{Input, Key};
use crate::report::{Block, Span};
use std::collections::VecDeque;

/// How many turns back it is known what was asked: more than a person leaves open in other windows.
const REMEMBERED: usize = 200;

/// What was done on a page, as its form says it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Did {
    /// An answer, by position.
    Pick(usize),
    /// A key, by its letter or `enter`.
    Key(String),
    /// Words.
    Text(String),
}

/// What a turn showed, for whoever answers it too late.
struct Shown {
    turn: String,
    asked: Option<String>,
    choices: Vec<String>,
    keys: Vec<(Key, String)>,
}

/// The turns of a room.
pub struct Turns {
    /// Tells the turns of one run from those of another.
    run: String,
    turn: u64,
    shown: VecDeque<Shown>,
}

impl Turns {
    /// The first turn of a run.
    #[must_use]
    pub fn new(run: String) -> Self {
        Self { run, turn: 0, shown: VecDeque::new() }
    }

    /// The name of the turn that counts now.
    #[must_use]
    pub fn now(&self) -> String {
        format!("{}-{}", self.run, self.turn)
    }

    /// Another turn: whatever was asked before is answered or gone.
    pub fn next(&mut self) {
        self.turn += 1;
    }

    /// Remembers what this turn shows.
    pub fn remember(&mut self, screen: Screen) {
        let turn = self.now();
        if self.shown.back().is_some_and(|last| last.turn == turn) {
            return;
        }
        if self.shown.len() == REMEMBERED {
            self.shown.pop_front();
        }
        let asked = asked(&screen);
        self.shown.push_back(Shown { turn, asked, choices: screen.choices, keys: screen.keys });
    }

    /// What was asked and answered on a page that is no longer the newest.
    #[must_use]
    pub fn stale(&self, turn: &str, did: &Did) -> Stale {
        let shown = self.shown.iter().find(|shown| shown.turn == turn);
        let known = match did {
            Did::Text(text) => Some(text.clone()),
            Did::Pick(at) => shown.and_then(|shown| shown.choices.get(*at).cloned()),
            Did::Key(letter) => key(letter).and_then(|key| {
                shown.and_then(|shown| shown.keys.iter().find(|(k, _)| *k == key).map(|(_, says)| says.clone()))
            }),
        };
        Stale {
            asked: shown.and_then(|shown| shown.asked.clone()),
            answered: known.unwrap_or_else(|| "something that an earlier run of this page asked".to_owned()),
        }
    }
}

/// The key of a form's word for it.
fn key(word: &str) -> Option<Key> {
    let mut letters = word.chars();
    match (word, letters.next(), letters.next()) {
        ("enter", ..) => Some(Key::Enter),
        (_, Some(letter), None) => Key::of(letter),
        _ => None,
    }
}

/// What was done, where the screen offers it.
#[must_use]
pub fn input(screen: &Screen, did: &Did) -> Option<Input> {
    match did {
        Did::Pick(at) => (*at < screen.choices.len()).then_some(Input::Pick(*at)),
        Did::Key(word) => key(word).filter(|key| screen.keys.iter().any(|(k, _)| k == key)).map(Input::Key),
        Did::Text(text) => {
            (screen.writing != Writing::Nothing && !text.trim().is_empty()).then(|| Input::Text(text.trim().to_owned()))
        }
    }
}

/// The question: the last strong line of a screen.
#[must_use]
pub fn asked(screen: &Screen) -> Option<String> {
    screen.parts.iter().rev().find_map(|part| match &part.block {
        Block::Paragraph(text) if matches!(text.spans(), [Span::Strong(_)]) => Some(text.text()),
        Block::Title(text) => Some(text.text()),
        _ => None,
    })
}

/// What a page with this screen is called.
#[must_use]
pub fn title(screen: &Screen) -> String {
    match (asked(screen), screen.place.0.as_str()) {
        (Some(asked), _) => asked,
        (None, "") => "doldrum".to_owned(),
        (None, place) => place.to_owned(),
    }
}
