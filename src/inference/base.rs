//! A network checked and made ready for queries.

use std::sync::Arc;

use crate::model::network::{Mechanism, Network, Observation, SLICES_MAX, SliceSet, States, VarIx};

use super::Error;
use super::fold::Fold;

/// How far a row of a table may be from summing to one.
const ROW_TOLERANCE: f64 = 1e-6;
/// More inputs than this and a counting gate's codes overflow. It also bounds how deep the trees are by which inputs come
/// together, for gates and for the rows of answers alike.
const INPUTS_MAX: usize = 254;

/// A checked network and what every query needs of it.
#[derive(Clone, Debug)]
pub(super) struct Base {
    pub(super) network: Network,
    /// The walk over the inputs of each gate; `None` for tables.
    pub(super) folds: Vec<Option<Fold>>,
    /// For each variable the parents that can make a difference.
    pub(super) parents: Vec<Vec<VarIx>>,
    /// Rough priors: each variable's distribution as if its parents were independent. Exact for roots.
    pub(super) priors: Vec<Vec<f64>>,
    /// For each variable the slices that it is on in, by state; empty for a variable of unnamed states.
    pub(super) on_in: Arc<[Vec<SliceSet>]>,
}

impl Base {
    /// Checks `network` and prepares it. Rows of tables are brought to sum to one exactly.
    pub(super) fn new(network: &Network) -> Result<Self, Error> {
        if !(1..=SLICES_MAX).contains(&network.slices) {
            return Err(Error::Network(format!("expected 1 to {SLICES_MAX} slices, found `{}`", network.slices)));
        }
        for at in 0..network.variables.len() {
            check_variable(network, at)?;
        }
        let mut network = network.clone();
        normalize_rows(&mut network);
        let n = network.variables.len();
        let folds: Vec<Option<Fold>> = (0..n).map(|at| Fold::of(&network, VarIx(at as u32))).collect();
        for (fold, at) in folds.iter().zip(0..) {
            check_reachable(&network, VarIx(at), fold.as_ref())?;
        }
        let parents = (0..n)
            .map(|at| match &folds[at] {
                None => network.parents(VarIx(at as u32)),
                Some(fold) => fold.inputs.iter().map(|input| input.var).collect(),
            })
            .collect();
        let on_in = network.variables.iter().map(|variable| match &variable.states {
            States::Plain(_) => vec![],
            States::OnIn(sets) => sets.clone(),
        });
        let on_in = on_in.collect();
        let mut base = Self { network, folds, parents, priors: Vec::with_capacity(n), on_in };
        for at in 0..n {
            let prior = base.given_independent(VarIx(at as u32), |parent| &base.priors[parent.at()]);
            base.priors.push(prior);
        }
        Ok(base)
    }

    /// The distribution of `ix` where its parents are independent with the marginals given.
    pub(super) fn given_independent<'a>(&self, ix: VarIx, marginal: impl Fn(VarIx) -> &'a [f64]) -> Vec<f64> {
        let variable = self.network.variable(ix);
        match (&variable.mechanism, &self.folds[ix.at()], &variable.states) {
            (Mechanism::Table { parents, rows }, ..) => {
                let n = variable.states.count();
                let mut weights = vec![1.0];
                for &parent in parents {
                    weights = weights.iter().flat_map(|w| marginal(parent).iter().map(move |p| w * p)).collect();
                }
                let mut mixed = vec![0.0; n];
                for (row, weight) in rows.chunks_exact(n).zip(weights) {
                    mixed.iter_mut().zip(row).for_each(|(m, p)| *m += weight * p);
                }
                mixed
            }
            (_, Some(fold), States::OnIn(sets)) => {
                let mixed = fold.mix(marginal);
                sets.iter().map(|set| mixed.get(set).copied().unwrap_or(0.0)).collect()
            }
            _ => unreachable!("the network was checked: gates are on/off variables"),
        }
    }

    /// Checks that `observations` speak of this network.
    pub(super) fn check_observations(&self, observations: &[Observation]) -> Result<(), Error> {
        for (at, observation) in observations.iter().enumerate() {
            self.check_observation(observation)
                .map_err(|what| Error::Observation(format!("observation `{at}`: {what}")))?;
        }
        Ok(())
    }

    fn check_observation(&self, observation: &Observation) -> Result<(), String> {
        let likely = |l: f64| {
            if l.is_finite() && l >= 0.0 { Ok(()) } else { Err(format!("expected a likelihood, found `{l}`")) }
        };
        match observation {
            Observation::State { var, likelihood } => {
                let variable = self.network.variables.get(var.at()).ok_or("expected a variable of this network")?;
                let (expected, found) = (variable.states.count(), likelihood.len());
                if expected != found {
                    return Err(format!("expected `{expected}` likelihoods for `{}`, found `{found}`", variable.name));
                }
                likelihood.iter().try_for_each(|&l| likely(l))
            }
            Observation::Rows { slice, rows, otherwise } => {
                if *slice >= self.network.slices {
                    return Err(format!("expected a slice below `{}`, found `{slice}`", self.network.slices));
                }
                likely(*otherwise)?;
                let mut read: Vec<VarIx> = rows.iter().flat_map(|row| &row.any_of).map(|literal| literal.var).collect();
                read.sort_unstable();
                read.dedup();
                if read.len() > INPUTS_MAX {
                    let found = read.len();
                    return Err(format!("expected rows that read at most `{INPUTS_MAX}` variables, found `{found}`"));
                }
                for row in rows {
                    likely(row.likelihood)?;
                    for literal in &row.any_of {
                        match self.network.variables.get(literal.var.at()).map(|v| (&v.states, &v.name)) {
                            Some((States::OnIn(_), _)) => {}
                            Some((_, name)) => return Err(format!("expected an on/off variable, found `{name}`")),
                            None => return Err("expected a variable of this network".to_owned()),
                        }
                    }
                }
                Ok(())
            }
        }
    }
}

fn check_variable(network: &Network, at: usize) -> Result<(), Error> {
    let variable = &network.variables[at];
    let complain = |what: String| Err(Error::Network(format!("variable `{}`: {what}", variable.name)));
    if let Err(what) = check_states(network, &variable.states) {
        return complain(what);
    }
    let parents = network.parents(VarIx(at as u32));
    if let Some(parent) = parents.iter().find(|parent| parent.at() >= at) {
        return complain(format!("expected parents before their children, found `{}`", parent.0));
    }
    let chance = |p: f64| (0.0..=1.0).contains(&p);
    match &variable.mechanism {
        Mechanism::Table { parents, rows } => {
            if parents.iter().enumerate().any(|(i, parent)| parents[..i].contains(parent)) {
                return complain("expected each parent once".to_owned());
            }
            check_rows(network, variable.states.count(), parents, rows).or_else(complain)
        }
        Mechanism::Any { links, leak } | Mechanism::All { links, leak } | Mechanism::AtLeast { links, leak, .. } => {
            match links.iter().map(|link| link.strength).chain([*leak]).find(|&p| !chance(p)) {
                Some(p) => complain(format!("expected a chance in 0 to 1, found `{p}`")),
                None => check_inputs(network, at, &parents).or_else(complain),
            }
        }
        Mechanism::Count { least, most, .. } if least > most => {
            complain(format!("expected least <= most, found `{least}` and `{most}`"))
        }
        Mechanism::Count { .. } => check_inputs(network, at, &parents).or_else(complain),
    }
}

fn check_states(network: &Network, states: &States) -> Result<(), String> {
    match states {
        States::Plain(0) => Err("expected at least one state".to_owned()),
        States::Plain(_) => Ok(()),
        States::OnIn(sets) => {
            let all = SliceSet::all(network.slices);
            if sets.first() != Some(&SliceSet::NONE) {
                return Err("expected state 0 to be on in no slice".to_owned());
            }
            if !sets.windows(2).all(|pair| pair[0] < pair[1]) {
                return Err("expected sets of slices in ascending order".to_owned());
            }
            match sets.iter().find(|set| set.0 & !all.0 != 0) {
                Some(set) => Err(format!("expected slices below `{}`, found set `{}`", network.slices, set.0)),
                None => Ok(()),
            }
        }
    }
}

fn check_rows(network: &Network, states: usize, parents: &[VarIx], rows: &[f64]) -> Result<(), String> {
    let configurations = parents
        .iter()
        .try_fold(1usize, |n, &parent| n.checked_mul(network.variable(parent).states.count()))
        .and_then(|n| n.checked_mul(states));
    if configurations != Some(rows.len()) {
        return Err(format!("expected a row of `{states}` for each configuration, found `{}` entries", rows.len()));
    }
    if let Some(p) = rows.iter().find(|p| !(0.0..=1.0 + ROW_TOLERANCE).contains(*p)) {
        return Err(format!("expected a chance in 0 to 1, found `{p}`"));
    }
    let off = |row: &&[f64]| (row.iter().sum::<f64>() - 1.0).abs() > ROW_TOLERANCE;
    match rows.chunks_exact(states).find(off) {
        Some(row) => Err(format!("expected a row that sums to 1, found `{}`", row.iter().sum::<f64>())),
        None => Ok(()),
    }
}

fn check_inputs(network: &Network, at: usize, inputs: &[VarIx]) -> Result<(), String> {
    if inputs.len() > INPUTS_MAX {
        return Err(format!("expected at most {INPUTS_MAX} inputs, found `{}`", inputs.len()));
    }
    let gate = VarIx(at as u32);
    match std::iter::once(&gate).chain(inputs).find(|&&ix| !matches!(network.variable(ix).states, States::OnIn(_))) {
        Some(&ix) => Err(format!("expected an on/off variable, found `{}`", network.variable(ix).name)),
        None => Ok(()),
    }
}

fn check_reachable(network: &Network, ix: VarIx, fold: Option<&Fold>) -> Result<(), Error> {
    let (Some(fold), States::OnIn(sets)) = (fold, &network.variable(ix).states) else { return Ok(()) };
    match fold.reachable().into_iter().find(|set| !sets.contains(set)) {
        None => Ok(()),
        Some(set) => {
            let name = &network.variable(ix).name;
            Err(Error::Network(format!(
                "variable `{name}`: expected a state for the slices `{:#b}`, found none",
                set.0
            )))
        }
    }
}

fn normalize_rows(network: &mut Network) {
    for variable in &mut network.variables {
        let states = variable.states.count();
        if let Mechanism::Table { rows, .. } = &mut variable.mechanism {
            for row in rows.chunks_exact_mut(states) {
                let sum: f64 = row.iter().sum();
                for p in row.iter_mut() {
                    *p /= sum;
                }
            }
        }
    }
}
