//! An advisor with a watch: how much of a reply is advice, and how much the page's own.

use crate::access::OpenSet;
use crate::case::Case;
use crate::decision::Action;
use crate::interview::advisor::{Advisor, Known, View};
use crate::report::Document;
use crate::safety::{OpenHazard, Verdict};
use crate::units::{Minutes, Money};
use jiff::Timestamp;
use std::cell::Cell;
use std::time::{Duration, Instant};

/// An advisor, and how long it has thought so far. What only looks a thing up counts to the page.
pub struct Timed<A> {
    advisor: A,
    spent: Cell<Duration>,
}

impl<A: Advisor> Timed<A> {
    /// Puts a watch beside an advisor.
    pub fn new(advisor: A) -> Self {
        Self { advisor, spent: Cell::default() }
    }

    /// How long it has thought so far.
    pub fn spent(&self) -> Duration {
        self.spent.get()
    }

    fn think<T>(&self, work: impl FnOnce(&A) -> T) -> T {
        let begun = Instant::now();
        let thought = work(&self.advisor);
        self.spent.set(self.spent.get() + begun.elapsed());
        thought
    }
}

impl<A: Advisor> Advisor for Timed<A> {
    fn look(&self, case: &Case, now: Option<Timestamp>) -> Result<View, String> {
        self.think(|advisor| advisor.look(case, now))
    }

    fn hazards(&self, case: &Case, now: Option<Timestamp>) -> Vec<OpenHazard> {
        self.advisor.hazards(case, now)
    }

    fn open(&self, case: &Case) -> OpenSet {
        self.advisor.open(case)
    }

    fn judge(&self, case: &Case, action: &Action, now: Option<Timestamp>) -> Verdict {
        self.advisor.judge(case, action, now)
    }

    fn step_cost(&self, case: &Case, action: &Action) -> (Minutes, Money) {
        self.advisor.step_cost(case, action)
    }

    fn known(&self, case: &Case) -> Result<Known, String> {
        self.think(|advisor| advisor.known(case))
    }

    fn plan(&self, case: &Case, now: Option<Timestamp>) -> Result<Document, String> {
        self.think(|advisor| advisor.plan(case, now))
    }
}
