//! Answers that do not fit together: how much they disagree, and which to repeat.

use super::{Belief, Memory, Misfit};
use crate::inference::{Engine, Error, Limits, Posterior, Worlds};
use crate::model::compile::{CaseModel, Said};
use crate::model::network::{Literal, Observation};
use std::f64::consts::LN_2;

/// Bits of conflict from which answers are looked at one by one. A rare fault explains a few bits of conflict by
/// itself (Jensen, Chamberlain, Nordahl and Jensen 1990), so a little is no news.
const CONFLICT_BITS: f64 = 4.0;

/// What was said, one group an answer; what the customer said (and did not say) at intake is one.
pub fn groups(model: &CaseModel) -> Vec<Vec<Said>> {
    let mut groups: Vec<Vec<Said>> = Vec::new();
    for (said, _) in &model.observations {
        match (groups.last_mut(), said) {
            (Some(last), Said::Customer(_)) if matches!(last[0], Said::Customer(_)) => last.push(*said),
            _ => groups.push(vec![*said]),
        }
    }
    groups
}

/// The observations of a group.
pub fn of_group<'a>(model: &'a CaseModel, group: &'a [Said]) -> impl Iterator<Item = Observation> + 'a {
    model.observations.iter().filter(|(said, _)| group.contains(said)).map(|(_, o)| o.clone())
}

/// The observations without those of some groups.
pub fn kept(model: &CaseModel, left_out: &[Said]) -> Vec<Observation> {
    model.observations.iter().filter(|(said, _)| !left_out.contains(said)).map(|(_, o)| o.clone()).collect()
}

/// The posterior, and the answers left out because they are impossible beside the earlier ones.
pub fn possible_posterior(
    engine: &Engine,
    model: &CaseModel,
    limits: &Limits,
) -> Result<(Posterior, Vec<Said>), Error> {
    match engine.posterior(&model.evidence(), limits) {
        Err(Error::Contradiction) => {}
        other => return other.map(|posterior| (posterior, Vec::new())),
    }
    let mut left_out = Vec::new();
    let mut so_far = Vec::new();
    for group in groups(model) {
        let added: Vec<Observation> = of_group(model, &group).collect();
        so_far.extend(added.iter().cloned());
        match engine.log_evidence(&so_far, limits) {
            Err(Error::Contradiction) => {
                so_far.truncate(so_far.len() - added.len());
                left_out.extend(group);
            }
            Err(other) => return Err(other),
            Ok(_) => {}
        }
    }
    Ok((engine.posterior(&so_far, limits)?, left_out))
}

/// Bits of conflict: log2 of the product of the answers' chances over the chance of all of them. `None` with fewer
/// than two answers.
///
/// Source: Jensen, Chamberlain, Nordahl and Jensen, UAI 1990, pp. 519-528.
pub fn conflict(
    engine: &Engine,
    model: &CaseModel,
    log_evidence: f64,
    limits: &Limits,
    memory: &mut Memory,
) -> Result<Option<f64>, Error> {
    let groups = groups(model);
    if groups.len() < 2 {
        return Ok(None);
    }
    let mut sum = 0.0;
    for group in &groups {
        let alone: Vec<Observation> = of_group(model, group).collect();
        sum += memory.alone(engine, alone, limits)?;
    }
    Ok(Some((sum - log_evidence) / LN_2))
}

/// The answers whose leaving out takes most off a high conflict, the most first.
pub fn misfits(
    engine: &Engine,
    model: &CaseModel,
    log_evidence: f64,
    conflict_bits: f64,
    limits: &Limits,
) -> Result<Vec<Misfit>, Error> {
    let mut misfits = Vec::new();
    if conflict_bits < CONFLICT_BITS {
        return Ok(misfits);
    }
    for group in groups(model) {
        if matches!(group[0], Said::Customer(_)) {
            continue;
        }
        let alone: Vec<Observation> = of_group(model, &group).collect();
        let without = engine.log_evidence(&kept(model, &group), limits)?;
        // conflict(all) - conflict(without it) = log2 P(it) + log2 P(rest) - log2 P(all).
        let bits = (engine.log_evidence(&alone, limits)? + without - log_evidence) / LN_2;
        if bits >= 1.0 {
            misfits.push(Misfit { said: group[0], bits });
        }
    }
    misfits.sort_by(|a, b| b.bits.total_cmp(&a.bits).then(a.said.cmp(&b.said)));
    Ok(misfits)
}

/// Worlds looked at for what is least expected, and their seed: those of the decision, so that one sample serves both.
const WORLDS: usize = 4096;
const SEED: u64 = 1;
/// So many answers are named.
const NAMED: usize = 3;

/// The answers that all the others lead one to expect least, the least expected first. No conflict need be high: where
/// something that is not listed is behind it, many answers disagree a little.
///
/// How likely an answer is beside all others is the harmonic mean of its chance over worlds drawn from all answers.
pub fn least_expected(belief: &Belief, memory: &mut Memory) -> Result<Vec<Misfit>, Error> {
    let worlds = belief.worlds(WORLDS, SEED, &belief.limits)?;
    let mut misfits = Vec::new();
    for group in groups(&belief.model) {
        let of_group: Vec<Observation> = of_group(&belief.model, &group).collect();
        let [answer @ Observation::Rows { .. }] = of_group.as_slice() else { continue };
        let alone = memory.alone(&belief.engine, of_group.clone(), &belief.limits)?;
        let bits = (alone - log_chance_beside(answer, &worlds)) / LN_2;
        misfits.push(Misfit { said: group[0], bits });
    }
    misfits.sort_by(|a, b| b.bits.total_cmp(&a.bits).then(a.said.cmp(&b.said)));
    misfits.truncate(NAMED);
    Ok(misfits)
}

/// The natural logarithm of the chance of an answer beside all others, from worlds drawn with it among them.
fn log_chance_beside(answer: &Observation, worlds: &Worlds) -> f64 {
    let Observation::Rows { slice, rows, otherwise } = answer else { return 0.0 };
    let n = worlds.n();
    let mut left: Vec<u64> = (0..n.div_ceil(64)).map(|word| u64::MAX >> (64 - (n - word * 64).min(64))).collect();
    let mut inverse = 0.0;
    for row in rows {
        let mut count = 0;
        for (at, left) in left.iter_mut().enumerate() {
            let holds = row.any_of.iter().fold(0, |holds, literal: &Literal| {
                let on = worlds.on(literal.var, *slice)[at];
                holds | if literal.on { on } else { !on }
            });
            count += (holds & *left).count_ones();
            *left &= !holds;
        }
        inverse += ratio(count, row.likelihood);
    }
    inverse += ratio(left.iter().map(|word| word.count_ones()).sum(), *otherwise);
    #[expect(clippy::cast_precision_loss, reason = "a few thousand worlds")]
    let n = n as f64;
    libm::log(n / inverse.max(f64::MIN_POSITIVE))
}

/// So many worlds over the chance of the answer in them; none are drawn where it cannot be.
fn ratio(worlds: u32, chance: f64) -> f64 {
    if worlds == 0 { 0.0 } else { f64::from(worlds) / chance.max(f64::MIN_POSITIVE) }
}
