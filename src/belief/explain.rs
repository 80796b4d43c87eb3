//! Explanations: sets of causes that together account for the answers.

use super::{Belief, Explanation, Explanations, Listed};
use crate::case::Case;
use crate::inference::{Accuracy, Error, Event, Limits, Posterior, SetsQuery};
use crate::knowledge::Cause;
use crate::knowledge::layout::Instance;
use crate::model::compile::CaseModel;
use crate::model::network::{Observation, VarIx};
use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};

/// How many parts of the space of sets are looked into where inference is exact. Ten sets of a worked case are certain
/// after about forty, of the widest complaint after seventy.
const LOOKS: usize = 96;
/// Worlds drawn for candidates. A set of one chance in a hundred is missed by all of them once in 10^17.
const WORLDS: usize = 4096;
/// The seed: the same case gives the same candidates. That of the decision, so that one sample serves both.
const SEED: u64 = 1;
/// Candidates whose chance is worked out: many more than are asked for, because near the end of the list the order of a
/// sample is not that of the chances. With the empty set they are three passes of eight.
const CANDIDATES: usize = 23;
/// A cause less likely than this, and less than twice its prior, does not matter.
const CHANCE_THAT_MATTERS: f64 = 0.005;

/// The likeliest `n` sets of causes that matter.
pub fn explanations(belief: &Belief, case: &Case, n: usize, limits: &Limits) -> Result<Explanations, Error> {
    let (causes, vars): (Vec<Instance<Cause>>, Vec<VarIx>) = mattering(belief, case).into_iter().unzip();
    let posterior = belief.posterior_within(limits)?;
    let asked = Asked { belief, vars: &vars, n, limits, posterior };
    let Answer { sets, unexplained, unlisted_at_most, listed } = match asked.posterior.accuracy() {
        Accuracy::Exact => asked.search()?,
        Accuracy::Cut { .. } => asked.draw()?,
    };
    let sets: Vec<Explanation> = sets
        .into_iter()
        .map(|(set, chance)| Explanation { causes: set.into_iter().map(|at| causes[at]).collect(), chance })
        .collect();
    let told: f64 = sets.iter().map(|set| set.chance).sum::<f64>() + unexplained;
    Ok(Explanations { sets, unexplained, missed: (1.0 - told).max(0.0), unlisted_at_most, listed })
}

/// What is asked about a belief.
struct Asked<'a> {
    belief: &'a Belief,
    vars: &'a [VarIx],
    n: usize,
    limits: &'a Limits,
    posterior: Cow<'a, Posterior>,
}

/// Sets as positions among the causes that matter, the most probable first, and what is known of the others.
struct Answer {
    sets: Vec<(Vec<usize>, f64)>,
    unexplained: f64,
    unlisted_at_most: f64,
    listed: Listed,
}

impl Asked<'_> {
    /// Looks for the most probable sets.
    fn search(&self) -> Result<Answer, Error> {
        // One more than asked for: the empty set may be among them, and is told apart.
        let query =
            SetsQuery { vars: self.vars, slice: self.belief.model.now, k: self.n + 1, nodes: LOOKS, candidates: &[] };
        let found = self.belief.engine.best_sets(&self.posterior, &self.belief.evidence, &query, self.limits)?;
        let mut sets: Vec<(Vec<usize>, f64)> = found.sets.into_iter().map(|set| (set.members, set.chance)).collect();
        let unexplained = match sets.iter().position(|(set, _)| set.is_empty()) {
            Some(at) => sets.remove(at).1,
            None => self.chance_of_none()?,
        };
        let beyond = sets.get(self.n).map_or(0.0, |(_, chance)| *chance);
        sets.truncate(self.n);
        let unlisted_at_most = found.unlisted_at_most.max(beyond);
        Ok(Answer { sets, unexplained, unlisted_at_most, listed: Listed::Searched })
    }

    /// Takes the sets seen most often among sampled worlds and works out the chance of each.
    fn draw(&self) -> Result<Answer, Error> {
        let mut seen = self.seen()?;
        let next = seen.get(CANDIDATES).map_or(0, |(_, count)| *count);
        seen.truncate(CANDIDATES);
        let (engine, evidence) = (&self.belief.engine, &self.belief.evidence);
        let prepared = engine.prepare_from(&self.posterior, evidence, self.vars, self.limits)?;
        let nothing = std::iter::once(self.event(&[]));
        let events: Vec<Event> = nothing.chain(seen.iter().map(|(set, _)| self.event(set))).collect();
        let chances = prepared.chances_of(&events)?;
        let mut sets: Vec<(Vec<usize>, f64)> =
            seen.into_iter().zip(&chances[1..]).map(|((set, _), &chance)| (set, chance)).collect();
        sets.sort_by(|a, b| b.1.total_cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
        let beyond = sets.get(self.n).map_or(0.0, |(_, chance)| *chance);
        sets.truncate(self.n);
        let unlisted_at_most = beyond.max(at_most(next));
        Ok(Answer { sets, unexplained: chances[0], unlisted_at_most, listed: Listed::Drawn })
    }

    /// All of these and no other cause that matters.
    fn event(&self, set: &[usize]) -> Event {
        let CaseModel { network, now, .. } = &self.belief.model;
        self.vars.iter().enumerate().fold(Event::anything(), |event, (at, &var)| {
            let states = network.variable(var).states.count();
            event.and(var, (0..states).map(|s| network.on_in(var, s).has(*now) == set.contains(&at)).collect())
        })
    }

    /// The sets seen among sampled worlds, as positions in `vars`, each with how often, the most often first; without
    /// the empty set.
    fn seen(&self) -> Result<Vec<(Vec<usize>, usize)>, Error> {
        let worlds = self.belief.worlds(WORLDS, SEED, self.limits)?;
        let mut seen: BTreeMap<Vec<usize>, usize> = BTreeMap::new();
        let on: Vec<&[u64]> = self.vars.iter().map(|var| worlds.on(*var, self.belief.model.now)).collect();
        for world in 0..worlds.n() {
            let set: Vec<usize> = (0..on.len()).filter(|&i| on[i][world / 64] >> (world % 64) & 1 == 1).collect();
            *seen.entry(set).or_default() += 1;
        }
        seen.remove(&Vec::new());
        let mut sets: Vec<(Vec<usize>, usize)> = seen.into_iter().collect();
        sets.sort_by(|a, b| b.1.cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
        Ok(sets)
    }

    /// P(no cause that matters | answers).
    fn chance_of_none(&self) -> Result<f64, Error> {
        let CaseModel { network, now, .. } = &self.belief.model;
        let findings: Vec<Observation> = self.vars.iter().map(|&var| network.found(var, *now, false)).collect();
        self.belief.engine.chance_of(&self.posterior, &self.belief.evidence, &findings, self.limits)
    }
}

/// What a set may have that was seen so often among the worlds: four standard errors more, and where it was hardly seen
/// what is missed by all worlds once in three thousand times.
#[expect(clippy::cast_precision_loss, reason = "a few thousand worlds")]
fn at_most(count: usize) -> f64 {
    let count = count as f64;
    ((count + 4.0 * libm::sqrt(count) + 8.0) / WORLDS as f64).min(1.0)
}

/// The causes that matter: a path leads from them to a named symptom, and they are likely, or likelier than before.
fn mattering(belief: &Belief, case: &Case) -> Vec<(Instance<Cause>, VarIx)> {
    let upstream = upstream(belief, case);
    let matters = |cause: &Instance<Cause>| {
        belief
            .causes
            .iter()
            .find(|c| c.cause == *cause)
            .is_some_and(|c| c.chance >= CHANCE_THAT_MATTERS || (c.chance >= 2.0 * c.prior && c.chance > 0.0))
    };
    let mut causes: Vec<_> =
        belief.model.causes.iter().copied().filter(|(cause, var)| upstream.contains(var) && matters(cause)).collect();
    causes.sort();
    causes
}

/// The variables from which a path leads to a named symptom.
fn upstream(belief: &Belief, case: &Case) -> BTreeSet<VarIx> {
    let mut reached = BTreeSet::new();
    let mut open: Vec<VarIx> = case.symptoms.iter().filter_map(|s| belief.model.symptom(*s)).collect();
    while let Some(var) = open.pop() {
        if reached.insert(var) {
            open.extend(belief.model.network.parents(var));
        }
    }
    reached
}
