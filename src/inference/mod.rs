//! Posteriors over a [`Network`] given observations: exact where it fits the budget, links cut with messages passed
//! over the cuts where it does not, and the answer says which.
//!
//! A network is compiled once into an [`Engine`]; a query never changes it. A query keeps what bears on the
//! observations, turns it into a graph of small tables, and eliminates: an up pass gives the evidence, running
//! it in reverse gives every marginal. Noisy gates become hidden signed variables (Heckerman 1989; Díez and Galán
//! 2003), first-true answers become telescoped selectors. Where signed numbers cancel too much, the same query is
//! asked in a form without signs.

#![expect(clippy::float_cmp, reason = "equal means the very same number here: equal rows, a scale of exactly 1")]
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_precision_loss,
    clippy::cast_sign_loss,
    reason = "states, slices and cells are counted in far fewer than 2^32, and chances times 2^64 fit a word"
)]

pub mod brute;

mod barren;
mod base;
mod bits;
mod compile;
mod cut;
mod eliminate;
mod fold;
mod graph;
mod joins;
mod kernel;
mod order;
mod posterior;
mod sample;
mod solve;
mod unfold;
mod work;
mod worlds;

use crate::model::network::{Network, Observation, VarIx};

use base::Base;
use solve::Wanted;

pub use graph::Target;
pub use posterior::Posterior;
pub use worlds::Worlds;

/// A network ready for queries.
#[derive(Clone, Debug)]
pub struct Engine {
    base: Base,
}

/// How much a query may cost.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// The budget: table cells summed over all steps of the elimination. A pass takes a few nanoseconds a cell.
    pub cells: usize,
    /// Rounds of messages over cut links.
    pub rounds: usize,
    /// How many randomized elimination orders are tried where the first is not cheap.
    pub orders: usize,
}

impl Default for Limits {
    /// 2^18 cells are about two milliseconds a pass; five rounds are where the messages have settled in practice.
    fn default() -> Self {
        Self { cells: 1 << 18, rounds: 5, orders: 24 }
    }
}

impl Limits {
    /// Exact where two gigabytes of tables do.
    #[must_use]
    pub fn exact() -> Self {
        Self { cells: 1 << 27, orders: 200, ..Self::default() }
    }
}

/// How an answer was come by.
#[derive(Clone, Debug, PartialEq)]
pub enum Accuracy {
    /// Exact up to rounding.
    Exact,
    /// Links were cut and messages passed over the cuts.
    Cut {
        /// The links cut.
        links: Vec<CutLink>,
        /// The largest change of any message's probability in the last round.
        last_change: f64,
        /// How well the two ends of a cut link agree, 0..=1, where they agree least: near 0 the answers contradict each
        /// other over that link, or nearly.
        agreement: f64,
    },
}

/// A link that was cut.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct CutLink {
    /// The variable read.
    pub from: VarIx,
    /// Who reads it.
    pub into: Target,
}

/// Why there is no answer.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Error {
    /// The observations have probability zero.
    #[error("the observations contradict the network")]
    Contradiction,
    /// Beyond the budget with every link cut.
    #[error("expected an elimination within `{allowed}` table cells, found none below `{needed:.0}`")]
    TooWide {
        /// The cells of the best order found.
        needed: f64,
        /// The budget.
        allowed: usize,
        /// The variables of the largest table.
        variables: Vec<VarIx>,
    },
    /// The network breaks a rule.
    #[error("{0}")]
    Network(String),
    /// An observation does not fit the network.
    #[error("{0}")]
    Observation(String),
}

impl Engine {
    /// Checks `network` and makes it ready.
    ///
    /// Cost: linear in its tables.
    ///
    /// # Errors
    /// [`Error::Network`] where parents do not stand first, a chance is not in 0..=1, a row does not sum to one within
    /// 1e-6, a shape is wrong, or a gate can reach a set of slices it has no state for.
    pub fn compile(network: &Network) -> Result<Self, Error> {
        Ok(Self { base: Base::new(network)? })
    }

    /// The network, its rows summing to one.
    #[must_use]
    pub fn network(&self) -> &Network {
        &self.base.network
    }

    /// The distribution of every variable that needs no further pass: all that bear on the observations, every root,
    /// and whatever depends on them through independent parents. [`Engine::posterior_all`] has the rest.
    ///
    /// Cost: exponential in the width of the elimination order (bench `inference`).
    ///
    /// # Errors
    /// [`Error::Contradiction`] where the observations have probability zero, [`Error::TooWide`] where the budget does
    /// not even do with every link cut, [`Error::Observation`] where one does not fit the network.
    pub fn posterior(&self, observations: &[Observation], limits: &Limits) -> Result<Posterior, Error> {
        self.base.check_observations(observations)?;
        let solved = solve::solve(&self.base, observations, limits, Wanted::Marginals, &[])?;
        Ok(Posterior::new(&self.base, solved))
    }

    /// The table cells, summed over all steps, of the best elimination found among `orders` where nothing is cut.
    ///
    /// Cost: a search, no pass.
    ///
    /// # Errors
    /// [`Error::Contradiction`] where an observation is impossible by itself, [`Error::Observation`] where one does not
    /// fit the network.
    pub fn cells_uncut(&self, observations: &[Observation], orders: usize) -> Result<f64, Error> {
        self.base.check_observations(observations)?;
        solve::cells_uncut(&self.base, observations, orders)
    }

    /// Like [`Engine::posterior`], with every variable: one more pass for each state of each variable left out there.
    ///
    /// # Errors
    /// As [`Engine::posterior`].
    pub fn posterior_all(&self, observations: &[Observation], limits: &Limits) -> Result<Posterior, Error> {
        let mut posterior = self.posterior(observations, limits)?;
        let missing: Vec<VarIx> = posterior.missing().collect();
        barren::fill(&self.base, observations, limits, &missing, &mut posterior)?;
        Ok(posterior)
    }

    /// Like [`Engine::posterior`], with `variables` beside what that gives.
    ///
    /// # Errors
    /// As [`Engine::posterior`].
    pub fn posterior_with(
        &self,
        observations: &[Observation],
        variables: &[VarIx],
        limits: &Limits,
    ) -> Result<Posterior, Error> {
        let mut posterior = self.posterior(observations, limits)?;
        let missing: Vec<VarIx> = variables.iter().copied().filter(|&v| posterior.get(v).is_none()).collect();
        barren::fill(&self.base, observations, limits, &missing, &mut posterior)?;
        Ok(posterior)
    }

    /// The natural log of the chance (or density) of `observations`; an up pass only.
    ///
    /// # Errors
    /// As [`Engine::posterior`]; never negative infinity.
    pub fn log_evidence(&self, observations: &[Observation], limits: &Limits) -> Result<f64, Error> {
        self.base.check_observations(observations)?;
        Ok(solve::solve(&self.base, observations, limits, Wanted::Evidence, &[])?.log_evidence)
    }

    /// Like [`Engine::log_evidence`], for the observations of `posterior` followed by findings on single variables: its
    /// cuts and its order serve again, so that only the messages settle anew. Many sets of findings can so be weighed
    /// against each other, and against the posterior's own evidence, with the same cuts.
    ///
    /// Cost: a few passes, smaller ones for each variable that is found on or off; no search.
    ///
    /// # Errors
    /// As [`Engine::posterior`]; never negative infinity.
    pub fn log_evidence_from(
        &self,
        posterior: &Posterior,
        observations: &[Observation],
        limits: &Limits,
    ) -> Result<f64, Error> {
        self.base.check_observations(observations)?;
        let along =
            posterior.trail.as_ref().map(|trail| solve::log_evidence_along(&self.base, observations, limits, trail));
        match along.transpose()?.flatten() {
            Some(log_evidence) => Ok(log_evidence),
            None => self.log_evidence(observations, limits),
        }
    }

    /// Draws `n` worlds from the posterior; the same seed gives the same worlds.
    ///
    /// Over cut links the gate's end of a link knows its input by the messages only.
    ///
    /// # Errors
    /// As [`Engine::posterior`].
    pub fn worlds(&self, observations: &[Observation], n: usize, seed: u64, limits: &Limits) -> Result<Worlds, Error> {
        self.base.check_observations(observations)?;
        worlds::draw(&self.base, observations, n, seed, limits, None)
    }

    /// Like [`Engine::worlds`], where `posterior` is what [`Engine::posterior`] gave for the same observations and
    /// limits: its cuts and messages are taken over, which leaves one pass and the drawing.
    ///
    /// The worlds are those of [`Engine::worlds`] but for rounding in the last digits of the chances drawn from.
    ///
    /// # Errors
    /// As [`Engine::posterior`].
    pub fn worlds_from(
        &self,
        posterior: &Posterior,
        observations: &[Observation],
        n: usize,
        seed: u64,
        limits: &Limits,
    ) -> Result<Worlds, Error> {
        self.base.check_observations(observations)?;
        worlds::draw(&self.base, observations, n, seed, limits, posterior.trail.as_ref())
    }
}
