//! An advisor with a watch, behind the gate: how much of a reply is advice, how much waiting for it, and how much the
//! page's own.

use super::gate::Gate;
use super::room::Took;
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

/// A watch at the gate: how long somebody has waited there and thought so far.
pub struct Watch<'g> {
    gate: &'g Gate,
    waited: Cell<Duration>,
    thought: Cell<Duration>,
}

impl<'g> Watch<'g> {
    /// A watch that begins at nothing.
    #[must_use]
    pub fn new(gate: &'g Gate) -> Self {
        Self { gate, waited: Cell::default(), thought: Cell::default() }
    }

    /// What it has shown so far.
    #[must_use]
    pub fn so_far(&self) -> Took {
        Took { waiting: self.waited.get(), advice: self.thought.get(), page: Duration::ZERO }
    }

    /// Waits for a place and thinks.
    pub fn think<T>(&self, work: impl FnOnce() -> T) -> T {
        let came = Instant::now();
        self.gate.pass(|| {
            let begun = Instant::now();
            let thought = work();
            self.waited.set(self.waited.get() + (begun - came));
            self.thought.set(self.thought.get() + begun.elapsed());
            thought
        })
    }
}

/// An advisor with a watch. What only looks a thing up counts to the page.
pub struct Timed<'g, A> {
    advisor: A,
    watch: &'g Watch<'g>,
}

impl<'g, A: Advisor> Timed<'g, A> {
    /// Puts a watch beside an advisor.
    pub fn new(advisor: A, watch: &'g Watch<'g>) -> Self {
        Self { advisor, watch }
    }
}

impl<A: Advisor> Advisor for Timed<'_, A> {
    fn look(&self, case: &Case, now: Option<Timestamp>) -> Result<View, String> {
        self.watch.think(|| self.advisor.look(case, now))
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
        self.watch.think(|| self.advisor.known(case))
    }

    fn plan(&self, case: &Case, now: Option<Timestamp>) -> Result<Document, String> {
        self.watch.think(|| self.advisor.plan(case, now))
    }
}
