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

    /// One of the networks that the tests have, with the richest evidence there: no file is needed from elsewhere.
    ///
    /// Generated networks name causes `C..` and checks `K..`; elsewhere everything is wanted.
    pub fn of_tests(net: &str, file: &str) -> Self {
        let oracle = oracle_network::load(file, NoisyOr::Gate);
        let cases = oracle_network::cases(net, &oracle);
        let evidence = &cases.iter().max_by_key(|case| names(&case.evidence).len()).expect("there are cases").evidence;
        let unseen = |first: &str| -> Vec<VarIx> {
            let of = oracle.nodes.iter().filter(|(name, _)| name.starts_with(first) && evidence.get(name).is_none());
            of.map(|(name, _)| oracle.ix(name)).collect()
        };
        let checks = if net == "alarm" { vec![] } else { unseen("K") };
        Self {
            sets: vec![oracle.observed(evidence)],
            read: unseen(if net == "alarm" { "" } else { "C" }),
            changed: oracle.ix(names(evidence)[0]),
            added: checks.first().copied().unwrap_or_else(|| oracle.ix("HRBP")),
            checks,
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

    /// The first set but for `changed`.
    pub fn without_changed(&self) -> Vec<Observation> {
        let is_changed = |o: &&Observation| matches!(o, Observation::State { var, .. } if *var == self.changed);
        self.sets[0].iter().filter(|o| !is_changed(o)).cloned().collect()
    }

    /// The first set with `changed` in another state.
    pub fn with_changed(&self, state: usize) -> Vec<Observation> {
        let mut observations = self.without_changed();
        observations.push(self.is(self.changed, state));
        observations
    }

    /// The first set and one finding more.
    pub fn with(&self, var: VarIx, state: usize) -> Vec<Observation> {
        let mut observations = self.sets[0].clone();
        observations.push(self.is(var, state));
        observations
    }
}

/// The variables of a set of evidence, in the order of their names.
fn names(evidence: &Value) -> Vec<&str> {
    evidence.as_object().expect("a map").keys().map(String::as_str).collect()
}

fn text(value: &Value) -> &str {
    value.as_str().expect("a string")
}

fn list(value: &Value) -> &[Value] {
    value.as_array().expect("a list")
}
