//! The interview behind the page: one job, one state, one answer at a time, whoever asks.
//!
//! It runs on one thread and takes requests in order. Every page names the turn it shows; an answer counts only where its
//! turn is the one the job stands at, so two windows on one job cannot answer over each other.

use super::page::{self, Stale};
use crate::case::{Case, text};
use crate::interview::screen::{Screen, Writing};
use crate::interview::state::{End, Input, Key, State};
use crate::interview::step::{self, Bench};
use crate::interview::{is_untouched, pages, screens};
use crate::report::{Document, render_html};
use crate::store;
use jiff::Timestamp;
use std::collections::VecDeque;
use std::path::PathBuf;

/// How many turns back it is known what was asked: more than a person leaves open in other windows.
const REMEMBERED: usize = 200;

/// What somebody wants.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Wish {
    /// The question as it stands.
    Show,
    /// To answer: the turn of the page, and the fields of the form.
    Step {
        /// The turn that the page showed.
        turn: String,
        /// What was done there.
        did: Did,
    },
    /// What we know.
    Known,
    /// The work order.
    Plan,
}

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

/// What comes back.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Reply {
    /// A page.
    Page(String),
    /// A page: the answer did not count, for the page it stood on was old.
    Stale(String),
    /// A page: the answer was none that the page offers.
    Refused(String),
    /// A page: the case could not be read or kept; nothing changed.
    Failed(String),
    /// It was taken: look at the question again.
    Taken,
}

/// What a turn showed, for whoever answers it too late.
struct Shown {
    turn: String,
    asked: Option<String>,
    choices: Vec<String>,
    keys: Vec<(Key, String)>,
}

/// The interview and its case file.
pub struct Desk<'a> {
    bench: &'a Bench<'a>,
    state: State,
    path: PathBuf,
    /// What we know to stand in the file; nothing before it is there.
    kept: Option<String>,
    /// Tells the turns of one run from those of another.
    run: String,
    turn: u64,
    shown: VecDeque<Shown>,
    clock: fn() -> Option<Timestamp>,
}

impl<'a> Desk<'a> {
    /// A job at its beginning, or where it was left. `run` differs from run to run.
    #[must_use]
    pub fn new(bench: &'a Bench<'a>, case: Case, path: PathBuf, run: String, clock: fn() -> Option<Timestamp>) -> Self {
        let kept = store::read(&path).ok().and_then(|bytes| String::from_utf8(bytes).ok());
        let state = step::begin(bench, case, clock());
        Self { bench, state, path, kept, run, turn: 0, shown: VecDeque::new(), clock }
    }

    /// Does what somebody wants.
    pub fn answer(&mut self, wish: &Wish) -> Reply {
        if let Err(why) = self.catch_up() {
            return Reply::Failed(page::said("The case cannot be read", &why));
        }
        match wish {
            Wish::Show => Reply::Page(self.page(None)),
            Wish::Known => Reply::Page(self.known()),
            Wish::Plan => Reply::Page(self.plan()),
            Wish::Step { turn, did } => self.take(turn, did),
        }
    }

    /// The name of the turn that counts now.
    fn now(&self) -> String {
        format!("{}-{}", self.run, self.turn)
    }

    /// Where the file was changed by another program, a terminal on the same job, what it says now counts.
    fn catch_up(&mut self) -> Result<(), String> {
        if !self.path.exists() {
            // Whoever took it away did not take the job away: the next answer writes it again.
            self.kept = None;
            return Ok(());
        }
        let on_disk = store::read(&self.path).map_err(|error| error.to_string())?;
        if self.kept.as_ref().is_some_and(|kept| on_disk == kept.as_bytes()) {
            return Ok(());
        }
        let (case, findings) = text::read_bytes(&self.path.to_string_lossy(), &on_disk, self.bench.knowledge);
        let Some(case) = case else {
            let first = findings.sorted().first().map(ToString::to_string).unwrap_or_default();
            return Err(format!("It was changed by another program, and now: {first}"));
        };
        self.kept = String::from_utf8(on_disk).ok();
        self.state = step::begin(self.bench, case, (self.clock)());
        self.state.notices.push("The case was changed elsewhere; this is how it stands now.".to_owned());
        self.turn += 1;
        Ok(())
    }

    fn take(&mut self, turn: &str, did: &Did) -> Reply {
        if turn != self.now() {
            let stale = self.stale(turn, did);
            return Reply::Stale(self.page(Some(&stale)));
        }
        if self.state.end.is_some() {
            self.state = step::begin(self.bench, self.state.case.clone(), (self.clock)());
            self.turn += 1;
            return Reply::Taken;
        }
        let screen = screens::screen(self.bench, &self.state, (self.clock)());
        let Some(input) = input(&screen, did) else {
            let why = "The page does not offer that. Nothing was changed.";
            return Reply::Refused(page::said("That is no answer here", why));
        };
        let before = self.state.clone();
        self.state = step::step(self.bench, before.clone(), &input, (self.clock)());
        match self.keep() {
            Ok(()) => {
                self.turn += 1;
                Reply::Taken
            }
            Err(error) => {
                self.state = before;
                Reply::Failed(page::said("The answer could not be saved", &format!("{error}. It was not taken.")))
            }
        }
    }

    /// Saves the case after every answer, whole or not at all, and the work order where one was asked for.
    fn keep(&mut self) -> Result<(), store::Error> {
        let text = text::write(&self.state.case, self.bench.knowledge);
        let nothing_yet = is_untouched(&self.state.case) && self.kept.is_none();
        if !nothing_yet && self.kept.as_ref() != Some(&text) {
            store::write(&self.path, &text)?;
            self.kept = Some(text);
        }
        if let Some(plan) = self.state.write_plan.take() {
            let path = self.path.with_extension("plan.html");
            store::write(&path, &render_html(&plan))?;
            self.state.notices.push(format!("The work order is in {}.", path.display()));
        }
        Ok(())
    }

    fn page(&mut self, stale: Option<&Stale>) -> String {
        let turn = self.now();
        if let Some(end) = self.state.end {
            return page::shell("doldrum", &page::parting(&self.parting(end), &self.saved(), &turn));
        }
        let screen = screens::screen(self.bench, &self.state, (self.clock)());
        let html = page::shell(&title(&screen), &page::screen(&screen, &turn, stale));
        self.remember(turn, screen);
        html
    }

    fn saved(&self) -> String {
        match &self.kept {
            Some(_) => format!("Saved in {}.", self.path.display()),
            None => "Nothing was answered yet, so nothing was saved.".to_owned(),
        }
    }

    /// What is said when a job is left or done.
    fn parting(&self, end: End) -> Document {
        let mut document = Document::new();
        match end {
            End::Stopped(lock) => return pages::stop(self.bench.knowledge, lock),
            End::Cured => return pages::record(self.bench.knowledge, &self.state.case, self.bench.figures),
            End::HandedOver => match self.bench.advisor.plan(&self.state.case, (self.clock)()) {
                Ok(plan) => return plan,
                Err(why) => {
                    document.title("Handed over");
                    document.paragraph(format!("There is no work order: {why}."));
                }
            },
            End::Left => document.title("Stopped for now"),
        }
        document
    }

    fn known(&self) -> String {
        match pages::ranking(self.bench, &self.state) {
            Some(document) if !self.state.case.symptoms.is_empty() => page::reading(&document),
            _ => page::said("What we know", "Nothing yet: the complaint comes first."),
        }
    }

    fn plan(&self) -> String {
        if self.state.case.symptoms.is_empty() {
            return page::said("Work order", "Nothing yet: the complaint comes first.");
        }
        match self.bench.advisor.plan(&self.state.case, (self.clock)()) {
            Ok(plan) => page::reading(&plan),
            Err(why) => page::said("Work order", &format!("There is no work order: {why}.")),
        }
    }

    fn remember(&mut self, turn: String, screen: Screen) {
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
    fn stale(&self, turn: &str, did: &Did) -> Stale {
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
fn input(screen: &Screen, did: &Did) -> Option<Input> {
    match did {
        Did::Pick(at) => (*at < screen.choices.len()).then_some(Input::Pick(*at)),
        Did::Key(word) => key(word).filter(|key| screen.keys.iter().any(|(k, _)| k == key)).map(Input::Key),
        Did::Text(text) => {
            (screen.writing != Writing::Nothing && !text.trim().is_empty()).then(|| Input::Text(text.trim().to_owned()))
        }
    }
}

/// The question: the last strong line of a screen.
fn asked(screen: &Screen) -> Option<String> {
    use crate::report::{Block, Span};
    screen.parts.iter().rev().find_map(|part| match &part.block {
        Block::Paragraph(text) if matches!(text.spans(), [Span::Strong(_)]) => Some(text.text()),
        Block::Title(text) => Some(text.text()),
        _ => None,
    })
}

fn title(screen: &Screen) -> String {
    match (asked(screen), screen.place.0.as_str()) {
        (Some(asked), _) => asked,
        (None, "") => "doldrum".to_owned(),
        (None, place) => place.to_owned(),
    }
}
