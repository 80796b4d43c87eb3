//! The full joint, written out: the oracle that everything else is tested against.
//!
//! It shares no algebra with the engine. Every gate's distribution comes from going through the states of its links
//! and its leak one by one; observations are read off the assignments as the definitions say.

use std::collections::BTreeMap;

use crate::model::network::{Link, Literal, Mechanism, Network, Observation, SliceSet, States, VarIx};

/// Assignments beyond this many are refused.
const ASSIGNMENTS_MAX: usize = 1 << 21;

/// Why there is no joint.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Error {
    /// Too many assignments.
    #[error("expected at most `{ASSIGNMENTS_MAX}` assignments of nonzero chance, found more")]
    TooLarge,
    /// The observations have probability zero.
    #[error("the observations contradict the network")]
    Contradiction,
}

/// Every assignment that the observations leave possible, with its weight.
#[derive(Clone, Debug)]
pub struct Joint {
    states: Vec<usize>,
    assignments: Vec<Vec<u8>>,
    weights: Vec<f64>,
    total: f64,
}

impl Joint {
    /// Enumerates `network` (taken to be valid) given `observations`.
    ///
    /// Cost: every assignment of nonzero chance, times two to the number of links of each gate.
    ///
    /// # Errors
    /// [`Error::TooLarge`], [`Error::Contradiction`].
    ///
    /// # Panics
    /// Where the network is not valid: our bug.
    pub fn of(network: &Network, observations: &[Observation]) -> Result<Self, Error> {
        let mut assignments: Vec<(Vec<u8>, f64)> = vec![(Vec::new(), 1.0)];
        for (at, variable) in network.variables.iter().enumerate() {
            let mut longer = Vec::with_capacity(assignments.len() * 2);
            for (assignment, weight) in assignments {
                let row = row(network, VarIx(at as u32), &assignment);
                assert_eq!(row.len(), variable.states.count(), "a row has one entry a state");
                for (state, p) in row.into_iter().enumerate().filter(|&(_, p)| p > 0.0) {
                    let mut next = assignment.clone();
                    next.push(state as u8);
                    longer.push((next, weight * p));
                }
            }
            if longer.len() > ASSIGNMENTS_MAX {
                return Err(Error::TooLarge);
            }
            assignments = longer;
        }
        let mut joint = Self {
            states: network.variables.iter().map(|variable| variable.states.count()).collect(),
            assignments: vec![],
            weights: vec![],
            total: 0.0,
        };
        for (assignment, weight) in assignments {
            let weight = observations.iter().fold(weight, |w, seen| w * likelihood(network, seen, &assignment));
            if weight > 0.0 {
                joint.total += weight;
                joint.weights.push(weight);
                joint.assignments.push(assignment);
            }
        }
        if joint.total > 0.0 { Ok(joint) } else { Err(Error::Contradiction) }
    }

    /// The natural log of the chance (or density) of the observations.
    #[must_use]
    pub fn log_evidence(&self) -> f64 {
        libm::log(self.total)
    }

    /// The distribution of `var` given the observations.
    #[must_use]
    pub fn posterior(&self, var: VarIx) -> Vec<f64> {
        let mut sums = vec![0.0; self.states[var.at()]];
        for (assignment, weight) in self.assignments.iter().zip(&self.weights) {
            sums[usize::from(assignment[var.at()])] += weight / self.total;
        }
        sums
    }

    /// The chance that `holds` of the states (one a variable) given the observations.
    #[must_use]
    pub fn probability(&self, holds: impl Fn(&[u8]) -> bool) -> f64 {
        let held = self.assignments.iter().zip(&self.weights).filter(|(assignment, _)| holds(assignment));
        held.map(|(_, weight)| weight / self.total).sum()
    }

    /// The expectation of `weight` of the states (one a variable) given the observations.
    #[must_use]
    pub fn expectation(&self, weight: impl Fn(&[u8]) -> f64) -> f64 {
        self.assignments.iter().zip(&self.weights).map(|(states, w)| w / self.total * weight(states)).sum()
    }

    /// The distribution of `variables` together given the observations: the states that have a chance, with theirs.
    #[must_use]
    pub fn together(&self, variables: &[VarIx]) -> BTreeMap<Vec<u8>, f64> {
        let mut sums = BTreeMap::<Vec<u8>, f64>::new();
        for (assignment, weight) in self.assignments.iter().zip(&self.weights) {
            let states = variables.iter().map(|var| assignment[var.at()]).collect();
            *sums.entry(states).or_insert(0.0) += weight / self.total;
        }
        sums
    }

    /// The most probable states of `variables` given the observations, all others summed out, and their probability.
    #[must_use]
    pub fn most_probable(&self, variables: &[VarIx]) -> (Vec<u8>, f64) {
        self.together(variables).into_iter().max_by(|a, b| a.1.total_cmp(&b.1)).unwrap_or_default()
    }
}

/// P(variable | what stands before it).
fn row(network: &Network, ix: VarIx, before: &[u8]) -> Vec<f64> {
    let variable = network.variable(ix);
    let on_in = |var: VarIx| network.on_in(var, usize::from(before[var.at()]));
    match &variable.mechanism {
        Mechanism::Table { parents, rows } => {
            let n = variable.states.count();
            let at = parents
                .iter()
                .fold(0, |at, parent| at * network.variable(*parent).states.count() + usize::from(before[parent.at()]));
            rows[at * n..(at + 1) * n].to_vec()
        }
        Mechanism::Any { links, leak } => {
            gate_row(network, &variable.states, links, *leak, on_in, |through| through >= 1)
        }
        Mechanism::All { links, leak } => {
            gate_row(network, &variable.states, links, *leak, on_in, |through| through == links.len())
        }
        Mechanism::AtLeast { k, links, leak } => {
            gate_row(network, &variable.states, links, *leak, on_in, |through| through >= *k)
        }
        Mechanism::Count { of, least, most } => {
            let links: Vec<Link> = of.iter().map(|&from| Link { from, strength: 1.0 }).collect();
            gate_row(network, &variable.states, &links, 0.0, on_in, |through| (*least..=*most).contains(&through))
        }
    }
}

/// Goes through the states of the leak and of all links.
fn gate_row(
    network: &Network,
    states: &States,
    links: &[Link],
    leak: f64,
    on_in: impl Fn(VarIx) -> SliceSet,
    is_on: impl Fn(usize) -> bool,
) -> Vec<f64> {
    let States::OnIn(sets) = states else { unreachable!("gates are on/off variables") };
    let mut row = vec![0.0; sets.len()];
    for pattern in 0..1u32 << links.len() {
        let chance = links.iter().enumerate().fold(1.0, |chance, (j, link)| {
            chance * if pattern >> j & 1 == 1 { link.strength } else { 1.0 - link.strength }
        });
        if chance == 0.0 {
            continue;
        }
        let mut set = SliceSet::NONE;
        for slice in 0..network.slices {
            let through =
                (0..links.len()).filter(|&j| pattern >> j & 1 == 1 && on_in(links[j].from).has(slice)).count();
            if is_on(through) {
                set.0 |= 1 << slice;
            }
        }
        for (set, p) in [(set, 1.0 - leak), (SliceSet::all(network.slices), leak)] {
            if p > 0.0 {
                let at = sets.iter().position(|&s| s == set).expect("the network was checked");
                row[at] += chance * p;
            }
        }
    }
    row
}

/// The chance of what was observed in one assignment.
fn likelihood(network: &Network, observation: &Observation, states: &[u8]) -> f64 {
    match observation {
        Observation::State { var, likelihood } => likelihood[usize::from(states[var.at()])],
        Observation::Rows { slice, rows, otherwise } => {
            let holds = |literal: &Literal| {
                network.on_in(literal.var, usize::from(states[literal.var.at()])).has(*slice) == literal.on
            };
            rows.iter().find(|row| row.any_of.iter().any(holds)).map_or(*otherwise, |row| row.likelihood)
        }
    }
}
