//! The interview behind the page: one job, one state, one answer at a time, whoever asks.
//!
//! It runs on one thread and takes requests in order.

use super::page::{self, Place, Stale};
use super::room::{Reply, Room, Wish};
use super::turns::{self, Did, Turns};
use super::what_if;
use crate::case::{Case, text};
use crate::interview::hand_over::{Ending, HandOver, ending, hand_over};
use crate::interview::state::{End, State};
use crate::interview::step::{self, Bench};
use crate::interview::{is_untouched, pages, screens};
use crate::report::html::title;
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
    /// What was said in parting, once it was.
    parted: Option<Document>,
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
        Self { bench, state, path, kept, turns: Turns::new(run), place, parted: None, clock }
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
            Wish::Sheet => Reply::Page(self.sheet()),
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
        self.parted = None;
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
            self.parted = None;
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
            if self.parted.is_none() {
                self.parted = Some(self.parting(end));
            }
            let document = self.parted.clone().unwrap_or_default();
            let parting = page::parting(&self.place, &document, &self.saved(), &turn);
            return page::shell(&self.place, &title(&document), &parting);
        }
        let screen = screens::screen(self.bench, &self.state, (self.clock)());
        let ahead = what_if::screen(self.bench, &self.state, (self.clock)());
        let inside = page::screen(&self.place, &screen, &turn, stale, ahead.as_ref());
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

    /// What is said when a job is left or done; for whoever goes on with it the sheet, which is kept beside the case.
    fn parting(&mut self, end: End) -> Document {
        let mut document = Document::new();
        if let End::Stopped(lock) = end {
            return pages::stop(self.bench.knowledge, lock);
        }
        match ending(self.bench, &self.state.case, end, self.state.view.as_deref(), (self.clock)()) {
            Ok(Some(Ending::Fixed(document) | Ending::CallBack(document))) => return document,
            Ok(Some(Ending::BringIn(over))) => return self.bring_in(&over),
            Ok(None) => document.title("Stopped for now"),
            Err(why) => {
                document.title(if end == End::HandedOver { "Handed over" } else { "Stopped for now" });
                document.paragraph(format!("There is no sheet: {why}."));
            }
        }
        document
    }

    /// The sheet, and the case that whoever goes on opens: the same one, or theirs beside it.
    fn bring_in(&self, over: &HandOver) -> Document {
        let path = self.path.with_extension("sheet.html");
        let theirs = match over.write(&self.state.case, &self.path, self.bench.knowledge) {
            Ok(theirs) => theirs,
            Err(error) => return self.unwritten(over, &error),
        };
        let name = theirs.file_name().map(|name| name.to_string_lossy().into_owned());
        let mut sheet = over.sheet.document(self.bench.figures, name.as_deref());
        if let Err(error) = store::write(&path, &render_html(&sheet)) {
            return self.unwritten(over, &error);
        }
        sheet.paragraph(format!("This sheet is in {}. Whoever goes on opens {}.", path.display(), theirs.display()));
        sheet
    }

    /// The sheet where it, or the case that goes with it, could not be written.
    fn unwritten(&self, over: &HandOver, error: &store::Error) -> Document {
        let mut sheet = over.sheet.document(self.bench.figures, None);
        sheet.paragraph(format!("This sheet could not be written beside the case: {error}."));
        sheet
    }

    /// What an answer would lead to. Nothing of it is kept.
    fn what_if(&self, did: &Did) -> Reply {
        match what_if::document(self.bench, &self.state, did, (self.clock)()) {
            Ok(document) => Reply::Page(page::reading(&self.place, &document)),
            Err(why) => Reply::Refused(page::said_in(&self.place, "There is nothing to look ahead to", &why)),
        }
    }

    /// What goes with the job to whoever goes on with it.
    fn sheet(&self) -> String {
        if self.state.case.symptoms.is_empty() {
            return page::said_in(&self.place, "Hand-over sheet", "Nothing yet: the complaint comes first.");
        }
        match hand_over(self.bench, &self.state.case, (self.clock)()) {
            Ok(over) => page::reading(&self.place, &over.sheet.document(self.bench.figures, None)),
            Err(why) => page::said_in(&self.place, "Hand-over sheet", &format!("There is no sheet: {why}.")),
        }
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
