//! The interview behind the page: one job, one state, one answer at a time, whoever asks.
//!
//! It runs on one thread and takes requests in order.

use super::page::{self, Ahead, Place, Stale};
use super::room::{Reply, Room, Wish};
use super::turns::{self, Did, Turns};
use super::what_if;
use crate::case::{Case, text};
use crate::interview::state::{End, State};
use crate::interview::step::{self, Bench};
use crate::interview::{is_untouched, pages, screens};
use crate::report::{Document, render_html};
use crate::store;
use jiff::Timestamp;
use std::path::PathBuf;

/// The interview and its case file.
pub struct Desk<'a> {
    bench: &'a Bench<'a>,
    state: State,
    path: PathBuf,
    /// What we know to stand in the file; nothing before it is there.
    kept: Option<String>,
    turns: Turns,
    place: Place,
    clock: fn() -> Option<Timestamp>,
}

impl<'a> Desk<'a> {
    /// A job at its beginning, or where it was left. `run` differs from run to run, and `place` is where its page is.
    #[must_use]
    pub fn new(
        bench: &'a Bench<'a>,
        case: Case,
        path: PathBuf,
        run: String,
        place: Place,
        clock: fn() -> Option<Timestamp>,
    ) -> Self {
        let kept = store::read(&path).ok().and_then(|bytes| String::from_utf8(bytes).ok());
        let state = step::begin(bench, case, clock());
        Self { bench, state, path, kept, turns: Turns::new(run), place, clock }
    }

    /// Does what somebody wants.
    pub fn answer(&mut self, wish: &Wish) -> Reply {
        if let Err(why) = self.catch_up() {
            return Reply::Failed(page::said_in(&self.place, "The case cannot be read", &why));
        }
        match wish {
            Wish::Show => Reply::Page(self.page(None)),
            Wish::Known => Reply::Page(self.known()),
            Wish::Plan => Reply::Page(self.plan()),
            Wish::Step { turn, did } => self.take(turn, did),
            Wish::WhatIf(did) => self.what_if(did),
            Wish::NewJob { .. } | Wish::Drills | Wish::NewDrill(_) => Reply::Go(Room::Front),
        }
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
        self.turns.next();
        Ok(())
    }

    fn take(&mut self, turn: &str, did: &Did) -> Reply {
        if turn != self.turns.now() {
            let stale = self.turns.stale(turn, did);
            return Reply::Stale(self.page(Some(&stale)));
        }
        if self.state.end.is_some() {
            self.state = step::begin(self.bench, self.state.case.clone(), (self.clock)());
            self.turns.next();
            return Reply::Taken;
        }
        let screen = screens::screen(self.bench, &self.state, (self.clock)());
        let Some(input) = turns::input(&screen, did) else {
            let why = "The page does not offer that. Nothing was changed.";
            return Reply::Refused(page::said_in(&self.place, "That is no answer here", why));
        };
        let before = self.state.clone();
        self.state = step::step(self.bench, before.clone(), &input, (self.clock)());
        match self.keep() {
            Ok(()) => {
                self.turns.next();
                Reply::Taken
            }
            Err(error) => {
                self.state = before;
                Reply::Failed(page::said_in(
                    &self.place,
                    "The answer could not be saved",
                    &format!("{error}. It was not taken."),
                ))
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
        let turn = self.turns.now();
        if let Some(end) = self.state.end {
            let parting = page::parting(&self.place, &self.parting(end), &self.saved(), &turn);
            return page::shell(&self.place, "doldrum", &parting);
        }
        let screen = screens::screen(self.bench, &self.state, (self.clock)());
        let ahead = if what_if::is_asked(self.bench, &self.state) { Ahead::Open } else { Ahead::Shut };
        let inside = page::screen(&self.place, &screen, &turn, stale, ahead);
        let html = page::shell(&self.place, &turns::title(&screen), &inside);
        self.turns.remember(screen);
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

    /// What an answer would lead to. Nothing of it is kept.
    fn what_if(&self, did: &Did) -> Reply {
        let now = (self.clock)();
        let screen = screens::screen(self.bench, &self.state, now);
        let input = turns::input(&screen, did).filter(|_| self.state.end.is_none());
        let Some(input) = input.filter(|_| what_if::is_asked(self.bench, &self.state)) else {
            let why = "The question has moved on; that answer is not on it.";
            return Reply::Refused(page::said_in(&self.place, "There is nothing to look ahead to", why));
        };
        let document = what_if::document(self.bench, &self.state, &screen, &input, now);
        Reply::Page(page::reading(&self.place, &document))
    }

    fn known(&self) -> String {
        match pages::ranking(self.bench, &self.state) {
            Some(document) if !self.state.case.symptoms.is_empty() => page::reading(&self.place, &document),
            _ => page::said_in(&self.place, "What we know", "Nothing yet: the complaint comes first."),
        }
    }

    fn plan(&self) -> String {
        if self.state.case.symptoms.is_empty() {
            return page::said_in(&self.place, "Work order", "Nothing yet: the complaint comes first.");
        }
        match self.bench.advisor.plan(&self.state.case, (self.clock)()) {
            Ok(plan) => page::reading(&self.place, &plan),
            Err(why) => page::said_in(&self.place, "Work order", &format!("There is no work order: {why}.")),
        }
    }
}
