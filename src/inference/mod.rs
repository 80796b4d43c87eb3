//! Posteriors over a [`Network`] given observations: exact where it fits the budget, links cut with messages passed
//! over the cuts where it does not, and the answer says which.
//!
//! A network is compiled once into an [`Engine`]; a query never changes it. A query keeps what bears on the
//! observations, turns it into a graph of small tables, and eliminates: an up pass gives the evidence, running
//! it in reverse gives every marginal. Noisy gates become hidden signed variables (Heckerman 1989; Díez and Galán
//! 2003), first-true answers become telescoped selectors. Where signed numbers cancel too much, the same query is
//! asked in a form without signs.
//!
//! ```
//! use doldrum::inference::{Engine, Limits, SetsQuery};
//! use doldrum::model::network::{Link, Mechanism, Network, States, VarIx, Variable};
//! use doldrum::model::repaired::TurnedOff;
//!
//! // No fuel and no spark each keep an engine from starting; one time in a thousand something else does.
//! let cause = |name: &str, p: f64| Variable {
//!     name: name.to_owned(),
//!     states: States::steady(1),
//!     mechanism: Mechanism::Table { parents: vec![], rows: vec![1.0 - p, p] },
//! };
//! let (fuel, spark, dead) = (VarIx(0), VarIx(1), VarIx(2));
//! let links = vec![Link { from: fuel, strength: 0.9 }, Link { from: spark, strength: 0.8 }];
//! let gate = Mechanism::Any { links, leak: 0.001 };
//! let dead_engine = Variable { name: "will not start".to_owned(), states: States::steady(1), mechanism: gate };
//! let variables = vec![cause("no fuel", 0.05), cause("no spark", 0.04), dead_engine];
//! let network = Network { slices: 1, variables };
//!
//! let (engine, limits) = (Engine::compile(&network)?, Limits::default());
//! let seen = [network.found(dead, 0, true)];
//! let posterior = engine.posterior(&seen, &limits)?;
//! assert!((posterior.chance_on(fuel, 0) - 0.591).abs() < 1e-3);
//!
//! // The likeliest whole story is no fuel alone; nothing that is not listed is likelier than the last that is.
//! let query = SetsQuery { vars: &[fuel, spark], slice: 0, k: 2, nodes: 100, candidates: &[] };
//! let best = engine.best_sets(&posterior, &seen, &query, &limits)?;
//! assert_eq!((best.sets[0].members.as_slice(), best.settled()), ([0].as_slice(), 2));
//!
//! // Both at once, and what is left of the complaint once the fuel is seen to.
//! let both = engine.joint(&seen, &[fuel, spark], &limits)?.chance(&[1, 1]);
//! assert!((both - 0.026).abs() < 1e-3);
//! let after = engine.after_repair(&seen, &[TurnedOff { var: fuel, sureness: 1.0 }], &[dead], &limits)?;
//! assert!((after.on[0] - 0.431).abs() < 1e-3);
//! # Ok::<(), doldrum::inference::Error>(())
//! ```

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
mod best;
mod bits;
mod compile;
mod cut;
mod eliminate;
mod filled;
mod fold;
mod given;
mod graph;
mod joins;
mod joint;
mod kernel;
mod lanes;
mod order;
mod outcomes;
mod posterior;
mod prepared;
mod repair;
mod sample;
mod scatter;
mod solve;
mod split;
mod unfold;
mod work;
mod worlds;

use crate::model::network::{Network, Observation, VarIx};
use crate::model::repaired::TurnedOff;

use base::Base;
use given::{Given, Kind};
use solve::Wanted;

pub use best::{BestSets, CauseSet, SetsQuery};
pub use bits::{draw as draw_set, members};
pub use graph::Target;
pub use joint::{JOINT_CELLS_MAX, JointTable};
pub use outcomes::{ByOutcome, OpenCheck};
pub use posterior::Posterior;
pub use prepared::{Event, Prepared};
pub use repair::AfterRepair;
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
    /// 2^18 cells are about two milliseconds a pass; five rounds are where the messages have settled in practice. Three
    /// give the same posteriors in every case of the bench `accuracy`, but the evidence of a badly cut network was once
    /// off by a factor of 1.16.
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
    /// Exact up to rounding: the evidence to a relative 1e-9. Where signed numbers cancel and no form without signs is
    /// within two million cells, at least to 1e-7.
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

    /// The chance of `findings`, each about the state of one variable, given the observations: 0 where they cannot be.
    /// `posterior` is what [`Engine::posterior`] gave for the same observations; its cuts and its order serve again.
    ///
    /// Cost: an up pass; over cut links that and a few passes for the messages.
    ///
    /// # Errors
    /// As [`Engine::posterior`].
    pub fn chance_of(
        &self,
        posterior: &Posterior,
        observations: &[Observation],
        findings: &[Observation],
        limits: &Limits,
    ) -> Result<f64, Error> {
        self.base.check_observations(observations)?;
        self.base.check_observations(findings)?;
        Given { engine: self, observations, limits, posterior }.chance(findings)
    }

    /// The most probable sets of on/off variables given the observations, everything else summed out, with a bound on
    /// whatever is not listed. `posterior` is what [`Engine::posterior`] gave for the same observations and limits.
    ///
    /// Cost: as [`SetsQuery::nodes`] says.
    ///
    /// # Errors
    /// As [`Engine::posterior`]; [`Error::Observation`] where a variable of the query is not an on/off variable of this
    /// network, is named twice, or the slice is none of its own.
    pub fn best_sets(
        &self,
        posterior: &Posterior,
        observations: &[Observation],
        query: &SetsQuery<'_>,
        limits: &Limits,
    ) -> Result<BestSets, Error> {
        self.base.check_observations(observations)?;
        given::check_variables(&self.base, query.vars, Kind::OnOff)?;
        let slices = self.base.network.slices;
        if query.slice >= slices {
            return Err(Error::Observation(format!("expected a slice below `{slices}`, found `{}`", query.slice)));
        }
        let prepared = self.prepare_from(posterior, observations, query.vars, limits)?;
        let given = Given { engine: self, observations, limits, posterior };
        best::sets(&prepared, &given, query)
    }

    /// The joint distribution of `vars` given the observations: a table over their states.
    ///
    /// Cost: a posterior, and an up pass for each eight cells whose states are all possible.
    ///
    /// # Errors
    /// As [`Engine::posterior`]; [`Error::Observation`] where a variable is not of this network or named twice, or the
    /// table has more than [`JOINT_CELLS_MAX`] cells.
    pub fn joint(&self, observations: &[Observation], vars: &[VarIx], limits: &Limits) -> Result<JointTable, Error> {
        given::check_variables(&self.base, vars, Kind::Any)?;
        let states: Vec<usize> = vars.iter().map(|&var| self.base.network.variable(var).states.count()).collect();
        joint::cells(&states)?;
        let posterior = self.posterior_with(observations, vars, limits)?;
        let prepared = self.prepare_from(&posterior, observations, vars, limits)?;
        joint::table(&Given { engine: self, observations, limits, posterior: &posterior }, &prepared, vars)
    }

    /// The chance that each of `watched` is on after a repair, given the observations before it: `repair` names the
    /// faults it turns off and how surely, links and leaks persist ([`Network::with_repair`]).
    ///
    /// Cost: a posterior of a network of one more slice.
    ///
    /// # Errors
    /// As [`Engine::posterior`]; [`Error::Network`] where the network has no room for one more slice or what is to be
    /// repaired cannot be, [`Error::Observation`] where a variable watched is not an on/off variable of this network.
    pub fn after_repair(
        &self,
        observations: &[Observation],
        repair: &[TurnedOff],
        watched: &[VarIx],
        limits: &Limits,
    ) -> Result<AfterRepair, Error> {
        self.base.check_observations(observations)?;
        given::check_variables(&self.base, watched, Kind::OnOff)?;
        repair::after(self, observations, repair, watched, limits)
    }

    /// Works out, once, everything about `observations` that does not hang on what is found out about the `open`
    /// variables; see [`Prepared`]. With every variable open, any evidence about single variables is a question of one
    /// pass.
    ///
    /// Cost: as [`Engine::posterior`] where all that is open had been observed.
    ///
    /// # Errors
    /// As [`Engine::posterior`].
    pub fn prepare(
        &self,
        observations: &[Observation],
        open: &[VarIx],
        limits: &Limits,
    ) -> Result<Prepared<'_>, Error> {
        self.base.check_observations(observations)?;
        if let Some(var) = open.iter().find(|var| var.at() >= self.base.parents.len()) {
            return Err(Error::Observation(format!("expected open variables of this network, found `{}`", var.0)));
        }
        Prepared::new(self, observations, open, limits)
    }

    /// Like [`Engine::prepare`], where `posterior` is what [`Engine::posterior`] gave for the same observations and
    /// limits: its cuts, its messages and its order serve again, which leaves one pass.
    ///
    /// # Errors
    /// As [`Engine::prepare`].
    pub fn prepare_from(
        &self,
        posterior: &Posterior,
        observations: &[Observation],
        open: &[VarIx],
        limits: &Limits,
    ) -> Result<Prepared<'_>, Error> {
        self.base.check_observations(observations)?;
        given::check_variables(&self.base, open, Kind::Any)?;
        Prepared::along(self, posterior, observations, open, limits)
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
