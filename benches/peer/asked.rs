//! What is asked of a reference network: sets of evidence, the posteriors wanted, the checks not yet answered.

use doldrum::model::network::{Observation, VarIx};
use serde_json::Value;

use crate::oracle_network::{self, NoisyOr, Oracle};

pub struct Asked {
    pub oracle: Oracle,
    /// Sets of evidence; the first is the one that is changed and added to.
    pub sets: Vec<Vec<Observation>>,
    /// Variables whose posteriors are wanted.
    pub read: Vec<VarIx>,
    /// Stands in the first set; its state changes.
    pub changed: VarIx,
    /// Does not stand in the first set, and is added.
    pub added: VarIx,
    /// Checks that are unanswered in the first set.
    pub checks: Vec<VarIx>,
}

impl Asked {
    /// From a file that `networks.py` wrote.
    pub fn from_file(file: &str) -> Self {
        let about = oracle_network::read(file);
        let oracle = oracle_network::load(text(&about["net"]), NoisyOr::Gate);
        let names = |key: &str| list(&about[key]).iter().map(|name| oracle.ix(text(name))).collect();
        Self {
            sets: list(&about["sets"]).iter().map(|set| oracle.observed(set)).collect(),
            read: names("read"),
            changed: oracle.ix(text(&about["changed"])),
            added: oracle.ix(text(&about["added"])),
            checks: names("checks"),
            oracle,
        }
    }

    /// How many states `var` has.
    pub fn states(&self, var: VarIx) -> usize {
        self.oracle.nodes[var.at()].1.len()
    }

    /// `var` is in `state`, for certain.
    pub fn is(&self, var: VarIx, state: usize) -> Observation {
        let likelihood = (0..self.states(var)).map(|s| f64::from(u8::from(s == state))).collect();
        Observation::State { var, likelihood }
    }

    /// The first set with `changed` in another state.
    pub fn with_changed(&self, state: usize) -> Vec<Observation> {
        let is_changed = |o: &Observation| matches!(o, Observation::State { var, .. } if *var == self.changed);
        self.sets[0].iter().map(|o| if is_changed(o) { self.is(self.changed, state) } else { o.clone() }).collect()
    }

    /// The first set and one finding more.
    pub fn with(&self, var: VarIx, state: usize) -> Vec<Observation> {
        let mut observations = self.sets[0].clone();
        observations.push(self.is(var, state));
        observations
    }
}

fn text(value: &Value) -> &str {
    value.as_str().expect("a string")
}

fn list(value: &Value) -> &[Value] {
    value.as_array().expect("a list")
}
