//! Causes, and the gates through which they bring about effects and symptoms.

use super::{Access, Basis, Check, Fitted, HistoryFact, Ix, Layout, Scope};
use crate::units::Chance;

/// A root fault.
#[derive(Clone, Debug)]
pub struct Cause {
    /// A short name.
    pub title: String,
    /// A plain sentence where the title will not do.
    pub plain: Option<String>,
    /// What it has one instance for each of.
    pub scope: Scope,
    /// The chance, before history, that the craft has it on at least one instance.
    pub chance: Chance,
    /// Given that it is there, the chance that it is there on every instance.
    pub common: Chance,
    /// History's multipliers of the odds.
    pub likelier: Vec<Likelier>,
    /// Multipliers by layout.
    pub likelier_layout: Vec<(Ix<Layout>, f64)>,
    /// The craft it belongs to.
    pub fitted: Fitted,
    /// Where its numbers come from.
    pub basis: Basis,
}

/// One multiplier.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Likelier {
    /// The fact.
    pub fact: Ix<HistoryFact>,
    /// The position of the value.
    pub value: usize,
    /// The multiplier of the odds, >= 0.
    pub odds: f64,
}

/// A cause or an effect: what gates and check rows read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum State {
    /// A cause.
    Cause(Ix<Cause>),
    /// An effect.
    Effect(Ix<Effect>),
}

/// A gate.
#[derive(Clone, Debug)]
pub struct Gate {
    /// How inputs combine.
    pub kind: GateKind,
    /// The inputs.
    pub inputs: Vec<Input>,
    /// The chance that something not listed brings it about.
    pub leak: Chance,
}

/// How inputs combine.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GateKind {
    /// Noisy OR.
    Any,
    /// Noisy AND.
    All,
    /// Noisy k-of-n.
    AtLeast(usize),
}

/// One input of a gate.
#[derive(Clone, Debug)]
pub struct Input {
    /// What it reads.
    pub reads: Reads,
    /// The chance that it gets through.
    pub strength: Chance,
    /// Only at this end of the row of the gate's places.
    pub at: Option<End>,
    /// The craft it belongs to.
    pub fitted: Fitted,
}

/// An end of a row of places. A row of one place has both.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// The first place, as the layout names them.
    First,
    /// The last.
    Last,
}

impl End {
    /// Whether a place is at this end of so many.
    #[must_use]
    pub fn is(self, at: usize, places: usize) -> bool {
        match self {
            Self::First => at == 0,
            Self::Last => at + 1 == places,
        }
    }
}

/// What an input reads.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Reads {
    /// One state; of another scope, any of the instances that bear on this one.
    One(State),
    /// On every instance.
    Every(State),
    /// On at least one instance, not on all.
    SomeNotAll(State),
    /// On exactly so many instances.
    Exactly(usize, State),
    /// All of these at once.
    Together(Vec<State>),
}

/// An intermediate event.
#[derive(Clone, Debug)]
pub struct Effect {
    /// What is the case.
    pub title: String,
    /// A plain sentence.
    pub plain: Option<String>,
    /// How it shows.
    pub shows: Option<String>,
    /// What it has one instance for each of.
    pub scope: Scope,
    /// How it comes about.
    pub gate: Gate,
    /// The craft it belongs to.
    pub fitted: Fitted,
    /// Where its numbers come from.
    pub basis: Basis,
}

/// What the customer complains of: an effect of the whole craft and the way it is reported.
#[derive(Clone, Debug)]
pub struct Symptom {
    /// In plain words.
    pub title: String,
    /// What customers say.
    pub says: Vec<String>,
    /// Share of jobs, percent.
    pub share: f64,
    /// How it comes about.
    pub gate: Gate,
    /// The chance that it is named where it is present.
    pub named_present: Chance,
    /// The chance that it is named where it is absent.
    pub named_absent: Chance,
    /// Abilities a craft with it lacks.
    pub denies: Vec<Ability>,
    /// Named, it says nothing about these.
    pub hides: Vec<Ix<Symptom>>,
    /// Named, these are absent.
    pub rules_out: Vec<Ix<Symptom>>,
    /// The state of running that it shows in, where no other will do.
    pub shows_in: Option<Ix<Access>>,
    /// An expert's first moves.
    pub first_moves: Vec<Ix<Check>>,
    /// The craft it belongs to.
    pub fitted: Fitted,
    /// Where its numbers come from.
    pub basis: Basis,
}

/// What a craft can do; each needs those before it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Ability {
    /// The starter turns the engine.
    Cranks,
    /// It fires and starts.
    Starts,
    /// It keeps running.
    Runs,
    /// It can be loaded.
    ReachesLoad,
}

impl Ability {
    /// All, each after those it needs.
    pub const ALL: [Self; 4] = [Self::Cranks, Self::Starts, Self::Runs, Self::ReachesLoad];
}

/// Once the first is found, the others are likelier.
#[derive(Clone, Debug)]
pub struct Companion {
    /// The cause found.
    pub found: Ix<Cause>,
    /// Multipliers of the odds.
    pub likelier: Vec<(Ix<Cause>, f64)>,
    /// With history, no more than this.
    pub cap: f64,
    /// Where its numbers come from.
    pub basis: Basis,
}
