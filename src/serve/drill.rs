//! A drill behind the page: the same drill as in the terminal, one choice at a time, to its debrief.

use super::page::{self, Place, Stale};
use super::room::{Chosen, Reply, Wish};
use super::timed::Watch;
use super::turns::{self, Did, Turns};
use crate::drill::End;
use crate::interview::drill::{Desk, Session, screen, step};
use crate::interview::pages;
use crate::report::{Block, Document, DrillSetup, debrief, html as blocks};
use maud::html;

/// A drill that is being worked.
pub struct Bout<'d, 't, 'k> {
    desk: Desk<'d>,
    session: Session<'t, 'k>,
    chosen: Chosen,
    turns: Turns,
    place: Place,
    watch: &'d Watch<'d>,
}

impl<'d, 't, 'k> Bout<'d, 't, 'k> {
    /// A drill at its beginning. `watch` counts how long the book looks.
    #[must_use]
    pub fn new(
        desk: Desk<'d>,
        session: Session<'t, 'k>,
        chosen: Chosen,
        run: String,
        place: Place,
        watch: &'d Watch<'d>,
    ) -> Self {
        Self { desk, session, chosen, turns: Turns::new(run), place, watch }
    }

    /// Does what somebody wants.
    pub fn answer(&mut self, wish: &Wish) -> Reply {
        match wish {
            Wish::Show => Reply::Page(self.page(None)),
            Wish::Step { turn, did } => self.take(turn, did),
            _ => Reply::Nowhere(page::said_in(&self.place, "Not here", "A drill has one page.")),
        }
    }

    fn take(&mut self, turn: &str, did: &Did) -> Reply {
        if turn != self.turns.now() {
            let stale = self.turns.stale(turn, did);
            return Reply::Stale(self.page(Some(&stale)));
        }
        let shown = screen(&self.desk, &self.session);
        let Some(input) = turns::input(&shown, did) else {
            let why = "The page does not offer that. Nothing was changed.";
            return Reply::Refused(page::said_in(&self.place, "That is no answer here", why));
        };
        self.watch.think(|| step(&self.desk, &mut self.session, &input));
        self.turns.next();
        Reply::Taken
    }

    fn page(&mut self, stale: Option<&Stale>) -> String {
        if self.session.is_over() {
            return self.parting();
        }
        let shown = screen(&self.desk, &self.session);
        let inside = page::screen(&self.place, &shown, &self.turns.now(), stale, None);
        let html = page::shell(&self.place, &turns::title(&shown), &inside);
        self.turns.remember(shown);
        html
    }

    /// What was to be learned.
    fn parting(&self) -> String {
        let knowledge = self.session.drill.job.laid.knowledge;
        if let Some(lock) = self.session.stopped {
            return page::reading(&self.place, &pages::stop(knowledge, lock));
        }
        let setup = DrillSetup {
            seed: self.chosen.seed,
            replay: format!("doldrum drill --level {} --seed {}", self.chosen.level.id(), self.chosen.seed),
        };
        let mut document = debrief(&self.session.drill, &setup, None, self.desk.figures);
        if let Some(why) = &self.session.trouble {
            told_first(&mut document, why);
        } else if self.session.drill.end == Some(End::WornOut) {
            told_first(&mut document, "That was enough for one drill.");
        }
        let again = html! { (blocks::body(&document.blocks)) p class="back" { a href="/drill" { "Another drill" } } };
        page::shell(&self.place, &blocks::title(&document), &again)
    }
}

/// Says something right below the title.
fn told_first(document: &mut Document, says: &str) {
    document.blocks.insert(1.min(document.blocks.len()), Block::Paragraph(says.into()));
}
