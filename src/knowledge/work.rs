//! Disassembly, repairs, and what goes into a plan.

use super::{Ability, Basis, Cause, Check, Condition, Fitted, Hazard, Ix, Scope, Symptom, Turns, User};
use crate::units::{Chance, Minutes, Money};

/// A state of disassembly.
#[derive(Clone, Debug)]
pub struct Access {
    /// In plain words.
    pub title: String,
    /// What somebody is told who puts it back: "Fit the carburetor".
    pub put_back: Option<String>,
    /// What must be open first.
    pub needs: Vec<Ix<Access>>,
    /// Everything else that is open must be put back first.
    pub shuts_others: bool,
    /// Minutes to reach from what it needs.
    pub open: Minutes,
    /// Minutes to put back, owed once.
    pub close: Minutes,
    /// More for each further instance.
    pub each_further: Option<(Scope, Minutes, Minutes)>,
    /// What comes into reach.
    pub exposes: Vec<String>,
    /// How it is opened.
    pub steps: Vec<Step>,
    /// How it is put back.
    pub back: Vec<Step>,
    /// The cautions it asks for.
    pub raises: Vec<Ix<Hazard>>,
    /// It runs the engine.
    pub ignites: bool,
    /// How long one may stay, and rest.
    pub limit: Option<(Minutes, Minutes)>,
    /// What the craft must be able to do.
    pub able: Vec<Ability>,
    /// Where its numbers come from.
    pub basis: Basis,
}

impl Access {
    /// The states that a step of it must find shut: it is opened before them and put back after them.
    pub fn found_shut(&self) -> impl Iterator<Item = Ix<Access>> {
        self.steps.iter().chain(&self.back).flat_map(|step| step.shut.iter().copied())
    }

    /// What somebody is told who puts it back. The title says how things stand while it is open, so it is no such word:
    /// only where a base has none it is taken, and said of what.
    #[must_use]
    pub fn put_back_words(&self) -> String {
        self.put_back.clone().unwrap_or_else(|| format!("Put back: {}", self.title))
    }
}

/// One step of work.
#[derive(Clone, Debug)]
pub struct Step {
    /// What to do.
    pub what: String,
    /// The part of the work order it belongs to.
    pub phase: Phase,
    /// A caution that stands before it.
    pub caution: Option<Ix<Hazard>>,
    /// Whether it ignites, where the step says so itself.
    pub ignites: Option<bool>,
    /// What it does, where a plan is to say it once in a stretch of work.
    pub once: Option<String>,
    /// What it takes off, or finds taken off, that must be on again in the end.
    pub takes_off: Option<String>,
    /// What it puts on again.
    pub puts_on: Option<String>,
    /// States of access that must not be open for it.
    pub shut: Vec<Ix<Access>>,
    /// Settings to write down.
    pub record: Vec<Ix<Setting>>,
    /// Settings to set back as they were found.
    pub set: Vec<Ix<Setting>>,
    /// Settings to make anew, by the sheet, whatever was found.
    pub anew: Vec<Ix<Setting>>,
    /// A bench test that must pass before going on.
    pub gate: Option<GateTest>,
}

pub use super::raw::RawPhase as Phase;

/// A bench test inside a repair.
#[derive(Clone, Debug)]
pub struct GateTest {
    /// The check.
    pub check: Ix<Check>,
    /// Positions of outcomes that pass.
    pub pass: Vec<usize>,
    /// Within so much of the target, as written ("2 psi"), in the check's unit.
    pub within: Option<f64>,
    /// How often.
    pub repeats: u32,
    /// The spread allowed between repeats, in the check's unit.
    pub spread: Option<f64>,
}

/// Work that removes causes.
#[derive(Clone, Debug)]
#[expect(clippy::struct_excessive_bools, reason = "independent traits, each a key of its own in the file")]
pub struct Repair {
    /// Its name.
    pub title: String,
    /// A step of plans that removes nothing.
    pub service: bool,
    /// What it has one instance for each of.
    pub scope: Scope,
    /// Done on every instance together.
    pub together: bool,
    /// Causes, and how surely each is removed.
    pub removes: Vec<(Ix<Cause>, Chance)>,
    /// Hands-on minutes, each instance.
    pub minutes: Minutes,
    /// Parts, each instance.
    pub parts: Vec<Part>,
    /// What it needs.
    pub tools: Vec<String>,
    /// What must be open.
    pub access: Vec<Ix<Access>>,
    /// Skill.
    pub skill: u8,
    /// The cautions it asks for.
    pub raises: Vec<Ix<Hazard>>,
    /// It cranks, runs, arcs or switches a live circuit.
    pub ignites: bool,
    /// How it turns the engine.
    pub turns: Turns,
    /// What the craft must be able to do.
    pub able: Vec<Ability>,
    /// While a cause is likelier than this, only together with another repair.
    pub not_with: Vec<(Ix<Cause>, Chance, Ix<Repair>)>,
    /// Sensible only while one of these answers stands, given since it was last done: a check and the positions of its
    /// outcomes.
    pub after: Vec<(Ix<Check>, Vec<usize>)>,
    /// Whoever is on the phone does it by themselves between two calls, and nobody else does.
    pub between_calls: bool,
    /// Service steps that a plan which holds this does not do.
    pub in_place_of: Vec<Ix<Repair>>,
    /// Why nothing is tried under full load in a plan that holds this.
    pub no_load: Option<String>,
    /// The work in order.
    pub steps: Vec<Step>,
    /// For each part met: reuse, clean or replace.
    pub verdicts: Vec<Verdict>,
    /// What proves it.
    pub proves: Vec<Proof>,
    /// Other repairs worth doing while there.
    pub while_there: Vec<Ix<Repair>>,
    /// Parts and looks worth having while there.
    pub while_there_parts: Vec<String>,
    /// What trips people up.
    pub care: Vec<String>,
    /// What to tell the owner.
    pub tell_owner: Vec<String>,
    /// The craft it belongs to.
    pub fitted: Fitted,
    /// Where its numbers come from.
    pub basis: Basis,
}

impl Repair {
    /// Whether it is anything for such a user.
    #[must_use]
    pub fn is_for(&self, user: &User) -> bool {
        !self.between_calls || user.is_on_the_phone()
    }
}

/// A part.
#[derive(Clone, Debug)]
pub struct Part {
    /// What it is.
    pub item: String,
    /// How many for each instance.
    pub count: f64,
    /// Price of one.
    pub each: Money,
    /// Something else that will do.
    pub or: Option<String>,
    /// Used up rather than fitted.
    pub consumable: bool,
    /// What it fills at its place: in a plan it is not bought where other parts fill all of it.
    pub fills: Vec<String>,
    /// One lot does for all places of the repair.
    pub one_for_all: bool,
    /// Where the price comes from.
    pub basis: Basis,
}

/// Reuse, clean or replace.
#[derive(Clone, Debug)]
pub struct Verdict {
    /// The part.
    pub part: String,
    /// What to look for.
    pub look: Option<String>,
    /// Reuse where.
    pub reuse: String,
    /// Clean where.
    pub clean: String,
    /// Replace where.
    pub replace: String,
}

/// What proves a repair.
#[derive(Clone, Debug)]
pub enum Proof {
    /// A check with one of these outcomes (positions).
    Check(Ix<Check>, Vec<usize>),
    /// Something seen, and the state of running it is seen in where it is not any.
    Event(String, Option<Ix<Access>>),
}

/// Something to write down before and set after.
#[derive(Clone, Debug)]
pub struct Setting {
    /// In plain words.
    pub title: String,
    /// What it has one instance for each of.
    pub scope: Scope,
    /// Its unit, or `text`.
    pub unit: String,
    /// What to set where the record is missing.
    pub generic: Option<String>,
    /// Where that comes from.
    pub basis: Basis,
}

/// What adds repairs to a plan.
#[derive(Clone, Debug)]
pub struct PlanRule {
    /// Why.
    pub why: String,
    /// When it holds.
    pub when: Condition,
    /// The repair the plan must hold for it to apply.
    pub with: Option<Ix<Repair>>,
    /// The repairs it adds.
    pub add: Vec<Ix<Repair>>,
    /// Where it comes from.
    pub basis: Basis,
}

/// An expert's fixed order of checks and repairs, and what each finding leads to.
#[derive(Clone, Debug, Default)]
pub struct Checklist {
    /// For each symptom what is done, in order.
    pub orders: Vec<(Ix<Symptom>, Vec<Task>)>,
    /// A check, the position of an outcome, and what is done next where it is found.
    pub finds: Vec<(Ix<Check>, usize, Vec<Task>)>,
}

impl Checklist {
    /// What is done for a symptom, in order; nothing where the checklist does not know it.
    #[must_use]
    pub fn order(&self, symptom: Ix<Symptom>) -> &[Task] {
        self.orders.iter().find(|(known, _)| *known == symptom).map_or(&[], |(_, steps)| steps)
    }

    /// What is done next where a check finds an outcome.
    #[must_use]
    pub fn found(&self, check: Ix<Check>, outcome: usize) -> &[Task] {
        self.finds.iter().find(|(c, o, _)| (*c, *o) == (check, outcome)).map_or(&[], |(_, _, steps)| steps)
    }
}

/// A step of a checklist.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Task {
    /// Look.
    Check(Ix<Check>),
    /// Repair.
    Repair(Ix<Repair>),
}
