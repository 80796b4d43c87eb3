//! The next step: checks, repairs and handing over compared by expected total cost.

pub mod cost;

use crate::access::AccessGraph;
use crate::belief::Belief;
use crate::case::Case;
use crate::inference::{Error, Limits};
use crate::knowledge::Cause;
use crate::knowledge::layout::{Instance, Laid};
pub use crate::safety::Action;
use crate::safety::{Before, OpenHazard, Verdict};
use crate::units::{Minutes, Money};

/// What one outcome of an action would lead to.
#[derive(Clone, Debug, PartialEq)]
pub struct Branch {
    /// For a check the outcome's position; for a repair 0: the symptom is gone, 1: it is still there.
    pub outcome: usize,
    /// Its chance.
    pub chance: f64,
    /// What would be done next; `None`: nothing, it is cured.
    pub then: Option<Action>,
    /// The likeliest cause then, and its chance.
    pub leader: Option<(Instance<Cause>, f64)>,
}

/// One thing that could be done next.
#[derive(Clone, Debug, PartialEq)]
pub struct Proposal {
    /// What.
    pub action: Action,
    /// Minutes of work of the step alone, with what it opens and must put back.
    pub minutes: Minutes,
    /// What the step alone costs.
    pub cost: Money,
    /// From here to the end, taking it.
    pub expected_cost: Money,
    /// The best total without it minus the total with it, its own cost included; never more than rounding below zero
    /// for the proposal itself, negative for a runner-up.
    pub saves: Money,
    /// What each outcome would lead to.
    pub branches: Vec<Branch>,
    /// The causes whose chances it moves most, the most moved first.
    pub separates: Vec<Instance<Cause>>,
    /// What must be done first.
    pub before: Before,
}

/// What to do next.
#[derive(Clone, Debug)]
pub struct Advice {
    /// The best thing to do. Where a hazard must be closed first, the check that closes it.
    pub next: Proposal,
    /// What `next` clears the way for, where it is only the step before.
    pub wanted: Option<Proposal>,
    /// The runners-up.
    pub alternatives: Vec<Proposal>,
    /// What may not be done, and why.
    pub barred: Vec<(Action, String)>,
    /// Hazards that are open.
    pub hazards: Vec<OpenHazard>,
    /// Money spent so far.
    pub spent: Money,
    /// Minutes spent so far.
    pub spent_minutes: Minutes,
}

/// How the choice is made.
#[derive(Clone, Debug)]
pub struct Settings {
    /// Sampled worlds.
    pub worlds: usize,
    /// The seed of the sample.
    pub seed: u64,
    /// How many runners-up.
    pub alternatives: usize,
    /// Limits of inference.
    pub limits: Limits,
    /// The time now, where it is known: a sniff grows old.
    pub now: Option<jiff::Timestamp>,
}

/// What to do next.
///
/// # Errors
/// Where the network is too wide for the limits.
pub fn advise(
    _laid: &Laid<'_>,
    _graph: &AccessGraph,
    _case: &Case,
    _belief: &Belief,
    _settings: &Settings,
) -> Result<Advice, Error> {
    todo!()
}

/// Whether an action may be done now (for a person who asks for another than the proposed).
#[must_use]
pub fn judge(_laid: &Laid<'_>, _graph: &AccessGraph, _case: &Case, _action: &Action) -> Verdict {
    todo!()
}

/// What a step costs from how things stand: minutes with access, and money.
#[must_use]
pub fn step_cost(_laid: &Laid<'_>, _graph: &AccessGraph, _case: &Case, _action: &Action) -> (Minutes, Money) {
    todo!()
}
