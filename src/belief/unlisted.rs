//! Whether something that the knowledge does not list is behind a complaint: one fault more in the network, and how much
//! likelier what was observed is with it than without.

use crate::inference::{Accuracy, Engine, Error, Limits, Target, Worlds};
use crate::knowledge::Effect;
use crate::knowledge::layout::Instance;
use crate::model::compile::CaseModel;
use crate::model::network::{Link, Literal, Mechanism, Network, Observation, Row, States, VarIx, Variable};
use std::collections::BTreeSet;

/// A network in which every effect above the complaint has one input more: a root that brings it about whenever it is
/// there.
pub struct Widened {
    /// The network.
    pub network: Network,
    /// The effects above the complaint, each with its root.
    pub roots: Vec<(Instance<Effect>, VarIx)>,
    /// Where each variable of the narrower network is.
    place: Vec<VarIx>,
}

impl Widened {
    /// Gives every effect of `model` above `complaint` a root of this chance.
    #[must_use]
    pub fn new(model: &CaseModel, complaint: &[VarIx], chance: f64) -> Self {
        let above = above(&model.network, complaint);
        let slices = model.network.slices;
        let mut widened = Self { network: Network { slices, variables: Vec::new() }, roots: vec![], place: vec![] };
        for (at, variable) in model.network.variables.iter().enumerate() {
            let var = ix(at);
            let effect = model.effects.iter().find(|(_, v)| *v == var && above.contains(v));
            let variable = Variable { mechanism: widened.moved(&variable.mechanism), ..variable.clone() };
            match effect {
                None => widened.add(variable),
                Some((effect, _)) => widened.add_with_root(*effect, variable, chance),
            }
        }
        widened
    }

    fn add(&mut self, variable: Variable) {
        let at = self.push(variable);
        self.place.push(at);
    }

    fn push(&mut self, variable: Variable) -> VarIx {
        self.network.variables.push(variable);
        ix(self.network.variables.len() - 1)
    }

    fn add_with_root(&mut self, effect: Instance<Effect>, variable: Variable, chance: f64) {
        let root = self.push(Variable {
            name: format!("something not listed: {}", variable.name),
            states: States::steady(self.network.slices),
            mechanism: Mechanism::Table { parents: vec![], rows: vec![1.0 - chance, chance] },
        });
        self.roots.push((effect, root));
        let surely = |from| Link { from, strength: 1.0 };
        match variable.mechanism {
            Mechanism::Any { mut links, leak } => {
                links.push(surely(root));
                self.add(Variable { mechanism: Mechanism::Any { links, leak }, ..variable });
            }
            _ => {
                let states = variable.states.clone();
                let gate = self.push(variable);
                let name = format!("{} or something not listed", self.network.variable(gate).name);
                let mechanism = Mechanism::Any { links: vec![surely(gate), surely(root)], leak: 0.0 };
                self.add(Variable { name, states, mechanism });
            }
        }
    }

    fn moved(&self, mechanism: &Mechanism) -> Mechanism {
        let to = |var: &VarIx| self.place[var.at()];
        let all = |links: &[Link]| links.iter().map(|link| Link { from: to(&link.from), ..*link }).collect();
        match mechanism {
            Mechanism::Table { parents, rows } => {
                Mechanism::Table { parents: parents.iter().map(to).collect(), rows: rows.clone() }
            }
            Mechanism::Any { links, leak } => Mechanism::Any { links: all(links), leak: *leak },
            Mechanism::All { links, leak } => Mechanism::All { links: all(links), leak: *leak },
            Mechanism::AtLeast { k, links, leak } => Mechanism::AtLeast { k: *k, links: all(links), leak: *leak },
            Mechanism::Count { of, least, most } => {
                Mechanism::Count { of: of.iter().map(to).collect(), least: *least, most: *most }
            }
        }
    }

    /// What was observed, of this network.
    #[must_use]
    pub fn observed(&self, observation: &Observation) -> Observation {
        let to = |var: &VarIx| self.place[var.at()];
        match observation {
            Observation::State { var, likelihood } => {
                Observation::State { var: to(var), likelihood: likelihood.clone() }
            }
            Observation::Rows { slice, rows, otherwise } => {
                let moved = |row: &Row| Row {
                    any_of: row.any_of.iter().map(|l| Literal { var: to(&l.var), ..*l }).collect(),
                    likelihood: row.likelihood,
                };
                Observation::Rows { slice: *slice, rows: rows.iter().map(moved).collect(), otherwise: *otherwise }
            }
        }
    }

    /// For each root how much likelier what was observed is with it than without, as a factor.
    ///
    /// # Errors
    /// As [`Engine::posterior`].
    pub fn factors(&self, evidence: &[Observation], limits: &Limits) -> Result<Vec<f64>, Error> {
        let engine = Engine::compile(&self.network)?;
        let evidence: Vec<Observation> = evidence.iter().map(|o| self.observed(o)).collect();
        let posterior = engine.posterior(&evidence, limits)?;
        let factor = |&(_, root): &(Instance<Effect>, VarIx)| {
            let prior = match &self.network.variable(root).mechanism {
                Mechanism::Table { rows, .. } => rows[1],
                _ => unreachable!("a root is a table"),
            };
            let odds = |p: f64| p / (1.0 - p).max(f64::MIN_POSITIVE);
            odds(posterior.chance_on(root, 0)) / odds(prior)
        };
        Ok(self.roots.iter().map(factor).collect())
    }
}

/// The variables from which a path leads to one of these, and these.
fn above(network: &Network, of: &[VarIx]) -> BTreeSet<VarIx> {
    let mut above = BTreeSet::new();
    let mut open = of.to_vec();
    while let Some(var) = open.pop() {
        if above.insert(var) {
            open.extend(network.parents(var));
        }
    }
    above
}

fn ix(at: usize) -> VarIx {
    VarIx(u32::try_from(at).expect("fewer than 2^32 variables"))
}

/// From worlds: how much likelier what was observed is with a leak above the complaint than without, on average over the
/// leaks, as a logarithm.
#[must_use]
pub fn leak_factor(model: &CaseModel, worlds: &Worlds, complaint: &[VarIx]) -> f64 {
    let above = above(&model.network, complaint);
    let (mut sum, mut n) = (0.0, 0.0);
    for (_, var) in model.effects.iter().filter(|(_, var)| above.contains(var)) {
        let (links, leak) = match &model.network.variable(*var).mechanism {
            Mechanism::Any { links, leak }
            | Mechanism::All { links, leak }
            | Mechanism::AtLeast { links, leak, .. } => (links, *leak),
            _ => continue,
        };
        if leak <= 0.0 {
            continue;
        }
        let active = worlds.leak(*var);
        let count = |bits: &[u64]| f64::from(bits.iter().map(|w| w.count_ones()).sum::<u32>());
        let all = worlds.n() as f64;
        let mut chance = count(active) / all;
        if let Accuracy::Cut { links: cut, .. } = worlds.accuracy() {
            let through: f64 = links
                .iter()
                .filter(|link| cut.iter().any(|c| c.from == link.from && c.into == Target::Variable(*var)))
                .map(|link| link.strength * count(worlds.on(link.from, model.now)) / all)
                .sum();
            if through > 0.0 {
                let mut alone: Vec<u64> = worlds.on(*var, model.now).iter().zip(active).map(|(a, b)| a & b).collect();
                for (at, link) in links.iter().enumerate() {
                    for ((w, x), l) in alone.iter_mut().zip(worlds.on(link.from, model.now)).zip(worlds.link(*var, at))
                    {
                        *w &= !(x & l);
                    }
                }
                chance -= count(&alone) / all * (1.0 - leak / (leak + through));
            }
        }
        let odds = |p: f64| p / (1.0 - p).max(1e-9);
        sum += odds(chance) / odds(leak);
        n += 1.0;
    }
    libm::log((sum / n).max(1e-9))
}
