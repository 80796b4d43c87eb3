//! What is believed about a case: causes, effects, explanations, answers that do not fit, and what each answer weighed.

use crate::case::Case;
use crate::inference::{Accuracy, Engine, Error, Limits};
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Cause, Effect};
use crate::model::compile::{CaseModel, Said};

/// What is believed.
pub struct Belief {
    /// The case as a network.
    pub model: CaseModel,
    /// The network compiled; none where it is beyond any budget.
    pub engine: Engine,
    /// Every cause instance now, the likeliest first.
    pub causes: Vec<CauseBelief>,
    /// Natural logarithm of the chance of all that was observed; `None`: impossible as it stands.
    pub log_evidence: Option<f64>,
    /// Bits of conflict between the answers: log2 of the product of their chances over the chance of all of them.
    pub conflict_bits: Option<f64>,
    /// Answers that do not fit, the worst first, where the conflict is high or the answers are impossible together.
    pub misfits: Vec<Misfit>,
    /// How near the numbers are to exact.
    pub accuracy: Accuracy,
}

/// One cause instance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CauseBelief {
    /// Which, where.
    pub cause: Instance<Cause>,
    /// Its chance before any answer (after history).
    pub prior: f64,
    /// Its chance now.
    pub chance: f64,
}

/// An answer that does not fit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Misfit {
    /// Which.
    pub said: Said,
    /// Bits that leaving it out takes off the conflict.
    pub bits: f64,
}

/// A set of causes that together account for the answers.
#[derive(Clone, Debug, PartialEq)]
pub struct Explanation {
    /// The causes, in the order of the knowledge base.
    pub causes: Vec<Instance<Cause>>,
    /// The chance of all of these and no other cause that matters.
    pub chance: f64,
}

/// The likeliest explanations.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Explanations {
    /// The likeliest first.
    pub sets: Vec<Explanation>,
    /// The chance that nothing listed accounts for the symptom.
    pub unexplained: f64,
    /// The chance of all sets that are not in the list.
    pub missed: f64,
}

/// What one answer weighed for one cause.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Weight {
    /// The answer.
    pub said: Said,
    /// The cause.
    pub cause: Instance<Cause>,
    /// Posterior over prior odds, in decibans (10 log10).
    pub decibans: f64,
}

/// What is believed about a case.
///
/// # Errors
/// Where the network is too wide for the limits.
pub fn believe(_laid: &Laid<'_>, _case: &Case, _limits: &Limits) -> Result<Belief, Error> {
    todo!()
}

impl Belief {
    /// Every effect instance and its chance now. Costs a pass for each effect that no observation touches.
    ///
    /// # Errors
    /// As [`believe`].
    pub fn effects(&self, _limits: &Limits) -> Result<Vec<(Instance<Effect>, f64)>, Error> {
        todo!()
    }

    /// The likeliest `n` explanations.
    ///
    /// # Errors
    /// As [`believe`].
    pub fn explanations(
        &self,
        _laid: &Laid<'_>,
        _case: &Case,
        _n: usize,
        _limits: &Limits,
    ) -> Result<Explanations, Error> {
        todo!()
    }
}

/// For each answer in the order of the log, what it added to each cause whose odds it moved by half a deciban or more.
///
/// # Errors
/// As [`believe`].
pub fn weights(_laid: &Laid<'_>, _case: &Case, _limits: &Limits) -> Result<Vec<Weight>, Error> {
    todo!()
}
