//! Explanations: sets of causes that together account for the answers.

use super::{Belief, Explanation, Explanations};
use crate::case::Case;
use crate::inference::{Accuracy, Error, Limits};
use crate::knowledge::Cause;
use crate::knowledge::layout::Instance;
use crate::model::network::{Observation, VarIx};
use std::collections::{BTreeMap, BTreeSet};

/// Worlds drawn for candidates. A set of one chance in a hundred is missed by all of them once in 10^17.
const WORLDS: usize = 4096;
/// The seed: the same case gives the same candidates. That of the decision, so that one sample serves both.
const SEED: u64 = 1;
/// A cause less likely than this, and less than twice its prior, does not matter.
const CHANCE_THAT_MATTERS: f64 = 0.005;

/// The likeliest `n` sets of causes that matter.
pub fn explanations(belief: &Belief, case: &Case, n: usize, limits: &Limits) -> Result<Explanations, Error> {
    let mattering = mattering(belief, case);
    let vars: Vec<VarIx> = mattering.iter().map(|(_, var)| *var).collect();
    let mut seen = seen(belief, &vars, n, limits)?;
    if belief.accuracy == Accuracy::Exact {
        let log_evidence = belief.engine.log_evidence(&belief.evidence, limits)?;
        for (set, chance) in &mut seen {
            *chance = chance_of(belief, &vars, set, log_evidence, limits)?;
        }
    }
    let mut explanations = Explanations::default();
    for (set, chance) in seen {
        if set.is_empty() {
            explanations.unexplained = chance;
        } else {
            let causes = set.iter().map(|&i| mattering[i].0).collect();
            explanations.sets.push(Explanation { causes, chance });
        }
    }
    explanations.sets.sort_by(|a, b| b.chance.total_cmp(&a.chance).then_with(|| a.causes.cmp(&b.causes)));
    explanations.sets.truncate(n);
    let listed: f64 = explanations.sets.iter().map(|s| s.chance).sum::<f64>() + explanations.unexplained;
    explanations.missed = (1.0 - listed).max(0.0);
    Ok(explanations)
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

/// The sets seen oftenest among sampled worlds, as positions in `vars`, each with its share; the empty set always.
fn seen(belief: &Belief, vars: &[VarIx], n: usize, limits: &Limits) -> Result<Vec<(Vec<usize>, f64)>, Error> {
    let worlds = belief.worlds(WORLDS, SEED, limits)?;
    let mut seen: BTreeMap<Vec<usize>, usize> = BTreeMap::from([(Vec::new(), 0)]);
    let on: Vec<&[u64]> = vars.iter().map(|var| worlds.on(*var, belief.model.now)).collect();
    for world in 0..worlds.n() {
        let set: Vec<usize> = (0..vars.len()).filter(|&i| on[i][world / 64] >> (world % 64) & 1 == 1).collect();
        *seen.entry(set).or_default() += 1;
    }
    let none = seen.remove(&Vec::new()).unwrap_or_default();
    let mut sets: Vec<(Vec<usize>, usize)> = seen.into_iter().collect();
    sets.sort_by(|a, b| b.1.cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
    // Twice as many as asked for: near the end of the list the order of a sample is not that of the chances.
    sets.truncate(2 * n);
    sets.push((Vec::new(), none));
    #[expect(clippy::cast_precision_loss, reason = "a few thousand worlds")]
    let share = |count: usize| count as f64 / worlds.n() as f64;
    Ok(sets.into_iter().map(|(set, count)| (set, share(count))).collect())
}

/// P(all of these and no other cause that matters | answers).
fn chance_of(
    belief: &Belief,
    vars: &[VarIx],
    chosen: &[usize],
    log_evidence: f64,
    limits: &Limits,
) -> Result<f64, Error> {
    let mut observations: Vec<Observation> = belief.evidence.clone();
    let now = belief.model.now;
    observations
        .extend(vars.iter().enumerate().map(|(i, var)| belief.model.network.found(*var, now, chosen.contains(&i))));
    match belief.engine.log_evidence(&observations, limits) {
        Ok(with) => Ok(libm::exp(with - log_evidence).min(1.0)),
        Err(Error::Contradiction) => Ok(0.0),
        Err(other) => Err(other),
    }
}
