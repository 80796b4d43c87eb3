//! What a query answers.

use std::sync::Arc;

use crate::model::network::{SliceSet, VarIx};

use super::Accuracy;
use super::base::Base;
use super::solve::{Carried, Solved, Trail};

/// The distributions of variables given the observations.
#[derive(Clone, Debug)]
pub struct Posterior {
    log_evidence: f64,
    accuracy: Accuracy,
    cells: f64,
    marginals: Vec<Option<Vec<f64>>>,
    on_in: Arc<[Vec<SliceSet>]>,
    pub(super) carried: Vec<Carried>,
    pub(super) trail: Option<Trail>,
}

impl Posterior {
    /// Takes over what was solved and adds what follows from it without a pass.
    pub(super) fn new(base: &Base, mut solved: Solved) -> Self {
        extend(base, &mut solved.marginals, &solved.component);
        Self::plain(base, solved)
    }

    /// Takes over what was solved and adds those of `variables` that are roots on which nothing hangs.
    pub(super) fn with_roots(base: &Base, mut solved: Solved, variables: impl IntoIterator<Item = usize>) -> Self {
        for at in variables {
            if solved.marginals[at].is_none() && base.parents[at].is_empty() {
                solved.marginals[at] = Some(base.priors[at].clone());
            }
        }
        Self::plain(base, solved)
    }

    fn plain(base: &Base, solved: Solved) -> Self {
        let Solved { log_evidence, marginals, accuracy, cells, carried, trail, .. } = solved;
        for marginal in marginals.iter().flatten() {
            let sum: f64 = marginal.iter().sum();
            assert!((sum - 1.0).abs() < 1e-9, "a posterior must sum to one, this sums to {sum}");
        }
        Self { log_evidence, accuracy, cells, marginals, on_in: Arc::clone(&base.on_in), carried, trail }
    }

    /// The natural log of the chance (or density) of the observations.
    #[must_use]
    pub fn log_evidence(&self) -> f64 {
        self.log_evidence
    }

    /// Exact, or which links were cut.
    #[must_use]
    pub fn accuracy(&self) -> &Accuracy {
        &self.accuracy
    }

    /// The table cells of the elimination that gave this, summed over its steps.
    #[must_use]
    pub fn cells(&self) -> f64 {
        self.cells
    }

    /// The distribution of `var`, one entry a state; `None` where the query did not ask for it.
    #[must_use]
    pub fn get(&self, var: VarIx) -> Option<&[f64]> {
        self.marginals[var.at()].as_deref()
    }

    /// The distribution of `var`, one entry a state, summing to one.
    ///
    /// # Panics
    /// Where the query did not ask for `var` (see [`super::Engine::posterior`]): our bug.
    #[must_use]
    pub fn of(&self, var: VarIx) -> &[f64] {
        self.get(var).expect("the query asked for this variable")
    }

    /// The chance that `var` is on in `slice`; 0 for a variable of unnamed states.
    ///
    /// # Panics
    /// As [`Posterior::of`].
    #[must_use]
    pub fn chance_on(&self, var: VarIx, slice: usize) -> f64 {
        let sets = &self.on_in[var.at()];
        sets.iter().zip(self.of(var)).filter(|(set, _)| set.has(slice)).map(|(_, p)| p).sum::<f64>().min(1.0)
    }

    /// The variables without a distribution.
    pub(super) fn missing(&self) -> impl Iterator<Item = VarIx> + '_ {
        (0..).zip(&self.marginals).filter(|(_, marginal)| marginal.is_none()).map(|(at, _)| VarIx(at))
    }

    pub(super) fn set(&mut self, var: VarIx, marginal: Vec<f64>) {
        self.marginals[var.at()] = Some(marginal);
    }
}

/// Adds variables below the evidence whose parents are independent given it: those in different parts of the graph,
/// settled ones, and ones that the evidence does not touch.
fn extend(base: &Base, marginals: &mut [Option<Vec<f64>>], component: &[Option<usize>]) {
    // What each variable's randomness hangs on: parts of the graph, then untouched variables by their own number.
    let offset = component.iter().flatten().max().map_or(0, |most| most + 1);
    let mut bases: Vec<Vec<usize>> = component.iter().map(|part| part.iter().copied().collect()).collect();
    for at in 0..marginals.len() {
        if marginals[at].is_some() {
            continue;
        }
        let parents = &base.parents[at];
        let mut union: Vec<usize> = parents.iter().flat_map(|parent| bases[parent.at()].iter().copied()).collect();
        let total = union.len();
        union.sort_unstable();
        union.dedup();
        let independent = union.len() == total && parents.iter().all(|parent| marginals[parent.at()].is_some());
        // Its own draw is new randomness, so two children of one parent are not independent but a root is.
        bases[at] = union;
        bases[at].push(offset + at);
        if independent {
            let of = |parent: VarIx| marginals[parent.at()].as_deref().unwrap_or(&[]);
            let marginal = base.given_independent(VarIx(at as u32), of);
            let sum: f64 = marginal.iter().sum();
            marginals[at] = Some(marginal.into_iter().map(|p| p / sum).collect());
        }
    }
}
