//! What is believed about a case: causes, effects, explanations, answers that do not fit, and what each answer weighed.

mod explain;
mod misfit;
mod unlisted;

use crate::case::Case;
use crate::inference::{Accuracy, Engine, Error, Limits, Posterior, Worlds};
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Cause, Effect};
use crate::model::compile::{CaseModel, Said, compile};
use crate::model::network::{Network, Observation, VarIx};
use std::borrow::Cow;
use std::cell::OnceCell;

pub use unlisted::{Unlisted, is_worth_asking};

/// From this budget on the self-check halves it instead of doubling it, in table cells.
const MOST_DOUBLED: usize = 1 << 24;

/// What is believed.
pub struct Belief {
    /// The case as a network.
    pub model: CaseModel,
    /// The network, ready for queries.
    pub engine: Engine,
    /// What has been observed, without answers that are impossible together with the others.
    pub evidence: Vec<Observation>,
    /// Every cause instance now, the likeliest first.
    pub causes: Vec<CauseBelief>,
    /// Natural logarithm of the chance of all that was observed; `None`: impossible as it stands.
    pub log_evidence: Option<f64>,
    /// Bits of conflict between the answers: log2 of the product of their chances over the chance of all of them.
    pub conflict_bits: Option<f64>,
    /// Answers that do not fit, the worst first, where the conflict is high, the answers are impossible together, or
    /// much speaks for something that is not listed.
    pub misfits: Vec<Misfit>,
    /// What speaks for something that is not listed; `None` where it was not asked, for no repair has failed.
    pub unlisted: Option<Unlisted>,
    /// How near the numbers are to exact.
    pub accuracy: Accuracy,
    /// What inference found, and within which limits: worlds take its cuts over.
    posterior: Posterior,
    limits: Limits,
    /// Worlds drawn once and used by all that asks for as many with the same seed.
    drawn: OnceCell<(u64, Worlds)>,
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
    /// Bits that leaving it out takes off the conflict: how much likelier it is by itself than beside all others. Below
    /// zero where the others lead one to expect it.
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
    /// The chance of all sets that are not in the list, together.
    pub missed: f64,
    /// No set that is not in the list has more: to rounding where it was searched for, all but surely where it was drawn.
    pub unlisted_at_most: f64,
    /// How the list came about.
    pub listed: Listed,
}

impl Explanations {
    /// Whether the list is known to hold the likeliest there are: no set that it lacks is likelier than any it has.
    #[must_use]
    pub fn is_settled(&self) -> bool {
        self.sets.last().is_none_or(|set| set.chance >= self.unlisted_at_most)
    }
}

/// How a list of explanations came about.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Listed {
    /// By a search that bounds what it has not seen; every chance is exact.
    #[default]
    Searched,
    /// The sets seen most often among worlds drawn from the posterior, because links are cut: a search would take too
    /// long. Their chances are worked out in the network as it was cut and are about as near as those of the causes.
    Drawn,
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

/// What was worked out at earlier steps of the same job and is the same at this one: what is believed before any answer
/// and the chances of single answers.
///
/// What is believed is the same with a memory and without, to the last bit; only the time is not. It forgets by itself
/// when another job comes, or a repair.
#[derive(Clone, Debug, Default)]
pub struct Memory {
    network: Option<Network>,
    limits: Limits,
    /// What is believed before any answer.
    before: Option<Posterior>,
    /// What was said in one breath, and the natural logarithm of its chance by itself.
    alone: Vec<(Vec<Observation>, f64)>,
}

impl Memory {
    /// Forgets what is about another network or was worked out within other limits.
    fn attend(&mut self, network: &Network, limits: &Limits) {
        if self.network.as_ref() != Some(network) || self.limits != *limits {
            *self = Self { network: Some(network.clone()), limits: *limits, before: None, alone: vec![] };
        }
    }

    /// What is believed before any answer.
    fn before(&mut self, engine: &Engine, limits: &Limits) -> Result<Posterior, Error> {
        if let Some(before) = &self.before {
            return Ok(before.clone());
        }
        let before = engine.posterior(&[], limits)?;
        Ok(self.before.insert(before).clone())
    }

    /// The natural logarithm of the chance of observations by themselves.
    fn alone(&mut self, engine: &Engine, observations: Vec<Observation>, limits: &Limits) -> Result<f64, Error> {
        if let Some((_, log_evidence)) = self.alone.iter().find(|(known, _)| *known == observations) {
            return Ok(*log_evidence);
        }
        let log_evidence = engine.log_evidence(&observations, limits)?;
        self.alone.push((observations, log_evidence));
        Ok(log_evidence)
    }
}

/// What is believed about a case. Answers that are impossible together do not stop it: the fewest that must be left
/// out are, and `log_evidence` is `None`.
///
/// Cost: two passes of inference and one up pass for each answer.
///
/// # Errors
/// Where the network is too wide for the limits.
pub fn believe(laid: &Laid<'_>, case: &Case, limits: &Limits) -> Result<Belief, Error> {
    believe_again(laid, case, limits, &mut Memory::default())
}

/// The same, one step of a job after another: `memory` keeps what need not be worked out again.
///
/// # Errors
/// As [`believe`].
pub fn believe_again(laid: &Laid<'_>, case: &Case, limits: &Limits, memory: &mut Memory) -> Result<Belief, Error> {
    let mut belief = believe_unjudged(laid, case, limits, memory)?;
    if let Some(log_evidence) = belief.log_evidence {
        let conflict = misfit::conflict(&belief.engine, &belief.model, log_evidence, limits, memory)?;
        if let Some(bits) = conflict {
            belief.misfits = misfit::misfits(&belief.engine, &belief.model, log_evidence, bits, limits)?;
        }
        belief.conflict_bits = conflict;
        if is_worth_asking(case) {
            belief.look_beyond(case, memory)?;
        }
    }
    Ok(belief)
}

/// The same without asking how well the answers fit together: `conflict_bits` is `None`, and only answers that are
/// impossible together are among the `misfits`.
///
/// Cost: a pass of inference.
///
/// # Errors
/// As [`believe`].
pub fn believe_unjudged(laid: &Laid<'_>, case: &Case, limits: &Limits, memory: &mut Memory) -> Result<Belief, Error> {
    let model = compile(laid, case);
    let engine = Engine::compile(&model.network)?;
    memory.attend(&model.network, limits);
    let before = memory.before(&engine, limits)?;
    let (posterior, left_out) = misfit::possible_posterior(&engine, &model, limits)?;
    let evidence = misfit::kept(&model, &left_out);
    Ok(Belief {
        causes: causes(&model, &before, &posterior),
        log_evidence: left_out.is_empty().then(|| posterior.log_evidence()),
        conflict_bits: None,
        misfits: left_out.iter().map(|&said| Misfit { said, bits: f64::INFINITY }).collect(),
        unlisted: None,
        accuracy: posterior.accuracy().clone(),
        limits: *limits,
        posterior,
        drawn: OnceCell::new(),
        evidence,
        engine,
        model,
    })
}

/// Every cause instance with its chance before and now, the likeliest first.
fn causes(model: &CaseModel, before: &Posterior, now: &Posterior) -> Vec<CauseBelief> {
    let one = |&(cause, var): &(Instance<Cause>, VarIx)| CauseBelief {
        cause,
        prior: before.chance_on(var, 0),
        chance: now.chance_on(var, model.now),
    };
    likeliest_first(model.causes.iter().map(one).collect())
}

fn likeliest_first(mut causes: Vec<CauseBelief>) -> Vec<CauseBelief> {
    causes.sort_by(|a, b| b.chance.total_cmp(&a.chance).then(a.cause.cmp(&b.cause)));
    causes
}

impl Belief {
    /// The largest change of the chance of any cause when the same is asked with twice the budget: how near the figures
    /// are, as far as can be told from within. `None` where they are exact.
    ///
    /// Cost: a search and a few passes of twice the size, where links were cut.
    ///
    /// # Errors
    /// As [`believe`].
    pub fn self_check(&self) -> Result<Option<f64>, Error> {
        if self.accuracy == Accuracy::Exact {
            return Ok(None);
        }
        // Where twice as much would not fit into memory, half as much tells the same: what doubling it has changed.
        let cells = if self.limits.cells < MOST_DOUBLED { self.limits.cells * 2 } else { self.limits.cells / 2 };
        let again = match self.engine.posterior(&self.evidence, &Limits { cells, ..self.limits }) {
            // What only a closer look shows to be impossible may be anything.
            Err(Error::Contradiction) => return Ok(Some(1.0)),
            other => other?,
        };
        let now = self.model.now;
        let moved = |var| (self.posterior.chance_on(var, now) - again.chance_on(var, now)).abs();
        Ok(Some(self.model.causes.iter().map(|&(_, var)| moved(var)).fold(0.0, f64::max)))
    }

    /// Every effect instance and its chance now, in the order of the knowledge base. Costs a pass for each effect that
    /// no observation touches.
    ///
    /// # Errors
    /// As [`believe`].
    pub fn effects(&self, limits: &Limits) -> Result<Vec<(Instance<Effect>, f64)>, Error> {
        let vars: Vec<_> = self.model.effects.iter().map(|(_, var)| *var).collect();
        let posterior = self.engine.posterior_with(&self.evidence, &vars, limits)?;
        Ok(self.model.effects.iter().map(|&(effect, var)| (effect, posterior.chance_on(var, self.model.now))).collect())
    }

    /// Asks whether something that is not listed is behind the complaint. Where much speaks for it and no answers are
    /// known not to fit, those that all others lead one to expect least are among the misfits: they are worth repeating
    /// before one looks beyond the list.
    ///
    /// Cost: an up pass; where it is said, inference over a network with one more root for each effect, and worlds.
    ///
    /// # Errors
    /// As [`believe`].
    pub fn look_beyond(&mut self, case: &Case, memory: &mut Memory) -> Result<&Unlisted, Error> {
        let unlisted = unlisted::weigh(self, case, &self.limits)?;
        if unlisted.is_said() && self.misfits.is_empty() {
            memory.attend(&self.model.network, &self.limits);
            self.misfits = misfit::least_expected(self, memory)?;
        }
        Ok(&*self.unlisted.insert(unlisted))
    }

    /// The chance of a cause instance now; 0 where the craft cannot have it.
    #[must_use]
    pub fn chance(&self, cause: Instance<Cause>) -> f64 {
        self.causes.iter().find(|c| c.cause == cause).map_or(0.0, |c| c.chance)
    }

    /// Every cause instance with its chance of having been there at the start, before any repair, the likeliest first:
    /// what repairs and trials showed since counts.
    #[must_use]
    pub fn causes_at_start(&self) -> Vec<CauseBelief> {
        let prior = |cause| self.causes.iter().find(|c| c.cause == cause).map_or(0.0, |c| c.prior);
        let one = |&(cause, var): &(Instance<Cause>, VarIx)| CauseBelief {
            cause,
            prior: prior(cause),
            chance: self.posterior.chance_on(var, 0),
        };
        likeliest_first(self.model.causes.iter().map(one).collect())
    }

    /// What inference found, within these limits.
    fn posterior_within(&self, limits: &Limits) -> Result<Cow<'_, Posterior>, Error> {
        if *limits == self.limits {
            return Ok(Cow::Borrowed(&self.posterior));
        }
        Ok(Cow::Owned(self.engine.posterior(&self.evidence, limits)?))
    }

    /// Worlds drawn from what is believed.
    ///
    /// # Errors
    /// As [`believe`].
    ///
    /// # Panics
    /// Where what was just kept is gone: our bug.
    pub fn worlds(&self, n: usize, seed: u64, limits: &Limits) -> Result<Cow<'_, Worlds>, Error> {
        if let Some((drawn, worlds)) = self.drawn.get()
            && (*drawn, worlds.n()) == (seed, n)
        {
            return Ok(Cow::Borrowed(worlds));
        }
        let worlds = if *limits == self.limits {
            self.engine.worlds_from(&self.posterior, &self.evidence, n, seed, limits)?
        } else {
            self.engine.worlds(&self.evidence, n, seed, limits)?
        };
        match self.drawn.set((seed, worlds)) {
            Ok(()) => Ok(Cow::Borrowed(&self.drawn.get().expect("just drawn").1)),
            Err((_, worlds)) => Ok(Cow::Owned(worlds)),
        }
    }

    /// The likeliest `n` explanations: sets of causes that matter, with the chance that all of a set and no other are
    /// there. Where inference is exact they are searched for, with a bound on what is not listed; where links are cut
    /// the candidates are drawn ([`Listed`]). `missed` is the chance of all that is not listed.
    ///
    /// Cost: where inference is exact three passes for each eight parts of the space of sets looked into, about forty
    /// for ten sets; else one sample of worlds and three passes.
    ///
    /// # Errors
    /// As [`believe`].
    pub fn explanations(
        &self,
        _laid: &Laid<'_>,
        case: &Case,
        n: usize,
        limits: &Limits,
    ) -> Result<Explanations, Error> {
        explain::explanations(self, case, n, limits)
    }
}

/// For each answer in the order of the log, what it added to the odds of each cause it moved by half a deciban or
/// more. For one cause they add up to the whole way from its prior.
///
/// Source: Good's weight of evidence; half a deciban is about the least a person notices (Good, from memory).
///
/// # Errors
/// As [`believe`].
pub fn weights(laid: &Laid<'_>, case: &Case, limits: &Limits) -> Result<Vec<Weight>, Error> {
    let model = compile(laid, case);
    let engine = Engine::compile(&model.network)?;
    let mut before = engine.posterior(&[], limits)?;
    let mut said_so_far: Vec<Observation> = Vec::new();
    let mut weights = Vec::new();
    for group in misfit::groups(&model) {
        let added: Vec<Observation> = misfit::of_group(&model, &group).collect();
        said_so_far.extend(added);
        let after = match engine.posterior(&said_so_far, limits) {
            Ok(after) => after,
            // An impossible answer weighs nothing that can be said; it is named among the misfits.
            Err(Error::Contradiction) => {
                said_so_far.truncate(said_so_far.len() - misfit::of_group(&model, &group).count());
                continue;
            }
            Err(other) => return Err(other),
        };
        let slice = match group[0] {
            Said::Customer(_) => 0,
            Said::Entry(at) => model.slice_of[at],
        };
        for &(cause, var) in &model.causes {
            let decibans = 10.0 * (log_odds(after.chance_on(var, slice)) - log_odds(before.chance_on(var, slice)));
            if decibans.abs() >= 0.5 && decibans.is_finite() {
                weights.push(Weight { said: group[0], cause, decibans });
            }
        }
        before = after;
    }
    Ok(weights)
}

/// The common logarithm of the odds.
fn log_odds(p: f64) -> f64 {
    libm::log10(p) - libm::log10(1.0 - p)
}
