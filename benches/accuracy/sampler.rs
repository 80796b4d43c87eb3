//! A second way to what is true, which shares the cuts with nothing: some causes are drawn, the rest is solved with them
//! as found, and each draw counts by its evidence over the chance it was drawn with (importance sampling; averaging
//! over what is solved takes most of the noise out, Rao and Blackwell).

use doldrum::inference::{Accuracy, Engine, Error, Limits, Posterior};
use doldrum::model::compile::CaseModel;
use doldrum::model::network::{Mechanism, Observation, VarIx};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::collections::BTreeMap;

/// The drawn causes' own chances are mixed with this much of an even chance, so that no state is never drawn.
const EVEN: f64 = 0.02;
/// At most so many causes are drawn together.
const CAUSES: usize = 14;
/// How many candidates stay in the race after the first look at all of them.
const CANDIDATES: usize = 12;
/// Orders tried for each candidate.
const ORDERS: usize = 4;

/// What came of it.
pub struct Sampled {
    /// The chances of all causes now.
    pub chances: Vec<f64>,
    /// One standard error of each.
    pub errors: Vec<f64>,
    /// How many different draws were solved.
    pub solved: usize,
    /// How many of those with links cut.
    pub cut: usize,
    /// How many causes were drawn.
    pub causes: usize,
}

/// Samples with `draws` draws; `near` is where the chances to draw with come from, `limits` is for the rest.
pub fn sample(engine: &Engine, model: &CaseModel, near: &Posterior, limits: &Limits, draws: usize) -> Sampled {
    let observations = model.evidence();
    let cutset = cutset(engine, &observations, limits);
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    let proposals: Vec<Vec<f64>> = cutset.iter().map(|&var| proposal(near.of(var))).collect();
    let mut solved: BTreeMap<Vec<usize>, Option<(f64, Vec<f64>, bool)>> = BTreeMap::new();
    let mut drawn: Vec<(f64, Vec<usize>)> = Vec::new();
    for _ in 0..draws {
        let states: Vec<usize> = proposals.iter().map(|p| pick(p, &mut rng)).collect();
        let found = solved.entry(states.clone()).or_insert_with(|| {
            let all = with(engine, &observations, &cutset, &states);
            match engine.posterior(&all, limits) {
                Ok(found) => {
                    let is_cut = *found.accuracy() != Accuracy::Exact;
                    Some((found.log_evidence(), super::truth::chances(model, &found), is_cut))
                }
                Err(Error::Contradiction) => None,
                Err(error) => panic!("{error}"),
            }
        });
        if let Some((log_evidence, ..)) = found {
            let chance: f64 = proposals.iter().zip(&states).map(|(p, &state)| libm::log(p[state])).sum();
            drawn.push((*log_evidence - chance, states));
        }
    }
    let most = drawn.iter().map(|(ln, _)| *ln).fold(f64::NEG_INFINITY, f64::max);
    let (mut total, mut chances) = (0.0, vec![0.0; model.causes.len()]);
    let of = |states: &Vec<usize>| &solved[states].as_ref().expect("only what was solved is kept").1;
    for (ln, states) in &drawn {
        let weight = libm::exp(ln - most);
        total += weight;
        chances.iter_mut().zip(of(states)).for_each(|(sum, chance)| *sum += weight * chance);
    }
    for sum in &mut chances {
        *sum /= total;
    }
    let mut errors = vec![0.0; chances.len()];
    for (ln, states) in &drawn {
        let weight = libm::exp(ln - most) / total;
        let apart = of(states).iter().zip(&chances).map(|(a, b)| weight * (a - b));
        errors.iter_mut().zip(apart).for_each(|(sum, apart)| *sum += apart * apart);
    }
    let cut = solved.values().flatten().filter(|(_, _, is_cut)| *is_cut).count();
    let errors = errors.into_iter().map(f64::sqrt).collect();
    Sampled { chances, errors, solved: solved.len(), cut, causes: cutset.len() }
}

/// Roots that, once known, make the rest narrow: the one that takes most off the width, again and again.
fn cutset(engine: &Engine, observations: &[Observation], limits: &Limits) -> Vec<VarIx> {
    let network = engine.network();
    let root = |var: &VarIx| matches!(&network.variable(*var).mechanism, Mechanism::Table { parents, .. } if parents.is_empty());
    let count = u32::try_from(network.variables.len()).expect("a network has far fewer than 2^32 variables");
    let mut candidates: Vec<VarIx> = (0..count).map(VarIx).filter(root).collect();
    let mut known: Vec<Observation> = observations.to_vec();
    let mut chosen = Vec::new();
    let cells = |known: &[Observation]| engine.cells_uncut(known, ORDERS).unwrap_or(f64::INFINITY);
    while chosen.len() < CAUSES && cells(&known) > limits.cells as f64 {
        let mut ranked: Vec<(f64, VarIx)> = candidates
            .iter()
            .map(|&var| {
                known.push(state(engine, var, 0));
                let left = cells(&known);
                known.pop();
                (left, var)
            })
            .collect();
        ranked.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let Some(&(_, best)) = ranked.first() else { break };
        known.push(state(engine, best, 0));
        chosen.push(best);
        candidates = ranked.into_iter().skip(1).take(CANDIDATES).map(|(_, var)| var).collect();
    }
    chosen
}

fn state(engine: &Engine, var: VarIx, state: usize) -> Observation {
    let states = engine.network().variable(var).states.count();
    Observation::State { var, likelihood: (0..states).map(|s| f64::from(u8::from(s == state))).collect() }
}

fn with(engine: &Engine, observations: &[Observation], cutset: &[VarIx], states: &[usize]) -> Vec<Observation> {
    let found = cutset.iter().zip(states).map(|(&var, &at)| state(engine, var, at));
    observations.iter().cloned().chain(found).collect()
}

fn proposal(posterior: &[f64]) -> Vec<f64> {
    posterior.iter().map(|p| (1.0 - EVEN) * p + EVEN / posterior.len() as f64).collect()
}

fn pick(chances: &[f64], rng: &mut ChaCha8Rng) -> usize {
    let mut left = (f64::from(rng.next_u32()) + 0.5) / 4_294_967_296.0;
    for (at, chance) in chances.iter().enumerate() {
        left -= chance;
        if left < 0.0 {
            return at;
        }
    }
    chances.len() - 1
}
