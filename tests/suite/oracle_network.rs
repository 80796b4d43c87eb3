//! Loads the reference networks and their answers.
//!
//! Sources: T, S and M are generated, diagnosis-shaped networks; Asia is Lauritzen and Spiegelhalter (1988), ALARM is
//! Beinlich et al. (1989), values as distributed with pgmpy 1.1.2, ALARM's rows renormalized. The answers for T are by
//! brute force in long double, all others by pyagrum 3.3.1 and checked with a second engine.

use doldrum::model::network::{Link, Mechanism, Network, Observation, States, VarIx, Variable};
use serde_json::Value;
use std::path::Path;

/// How a node that is a noisy OR comes in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoisyOr {
    Gate,
    Table,
}

pub struct Oracle {
    pub network: Network,
    pub nodes: Vec<(String, Vec<String>)>,
}

fn text(value: &Value) -> String {
    value.as_str().expect("a string").to_owned()
}

fn list(value: &Value) -> &[Value] {
    value.as_array().expect("a list")
}

fn number(value: &Value) -> f64 {
    value.as_f64().expect("a number")
}

/// A file of `tests/oracle`, or one elsewhere by its full path.
pub fn read(file: &str) -> Value {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/oracle").join(file);
    serde_json::from_str(&std::fs::read_to_string(path).expect("the file is there")).expect("it is JSON")
}

pub fn load(file: &str, noisy_or: NoisyOr) -> Oracle {
    let mut oracle = Oracle { network: Network { slices: 1, variables: vec![] }, nodes: vec![] };
    for node in list(&read(file)["nodes"]) {
        let states: Vec<String> = list(&node["states"]).iter().map(text).collect();
        let parents: Vec<VarIx> = list(&node["parents"]).iter().map(|parent| oracle.ix(&text(parent))).collect();
        let gate = node.get("noisy_or").filter(|_| noisy_or == NoisyOr::Gate);
        let mechanism = match gate {
            Some(gate) => Mechanism::Any {
                links: parents
                    .iter()
                    .zip(list(&gate["links"]))
                    .map(|(&from, strength)| Link { from, strength: number(strength) })
                    .collect(),
                leak: number(&gate["leak"]),
            },
            None => Mechanism::Table {
                parents,
                rows: list(&node["cpt"]).iter().flat_map(|row| list(row).iter().map(number)).collect(),
            },
        };
        let on_off = states == ["no", "yes"];
        oracle.network.variables.push(Variable {
            name: text(&node["name"]),
            states: if on_off { States::steady(1) } else { States::Plain(states.len()) },
            mechanism,
        });
        oracle.nodes.push((text(&node["name"]), states));
    }
    oracle
}

impl Oracle {
    pub fn ix(&self, name: &str) -> VarIx {
        let at = self.nodes.iter().position(|(known, _)| known == name).expect("the node is there");
        VarIx(at as u32)
    }

    pub fn observed(&self, evidence: &Value) -> Vec<Observation> {
        evidence
            .as_object()
            .expect("a map")
            .iter()
            .map(|(name, state)| {
                let var = self.ix(name);
                let likelihood =
                    self.nodes[var.at()].1.iter().map(|s| f64::from(u8::from(*s == text(state)))).collect();
                Observation::State { var, likelihood }
            })
            .collect()
    }
}

/// One set of evidence and its answers.
pub struct Case {
    pub evidence: Value,
    pub ln_evidence: f64,
    /// Node, state, probability.
    pub posteriors: Vec<(VarIx, usize, f64)>,
}

pub fn cases(net: &str, oracle: &Oracle) -> Vec<Case> {
    let values = read("oracle_values.json");
    let case = |case: &Value| Case {
        evidence: case["evidence"].clone(),
        ln_evidence: number(&case["ln_p_evidence"]),
        posteriors: case["posteriors"]
            .as_object()
            .expect("a map")
            .iter()
            .flat_map(|(name, answer)| entries(oracle, name, answer))
            .collect(),
    };
    list(&values["nets"][net]["cases"]).iter().map(case).collect()
}

/// A set of evidence and the most probable sets of causes given it.
pub struct BestSets {
    pub observations: Vec<Observation>,
    /// What is there, and the posterior; the most probable first.
    pub sets: Vec<(Vec<String>, f64)>,
}

pub fn best_cause_sets(net: &str, oracle: &Oracle) -> Vec<BestSets> {
    let values = read("oracle_values.json");
    let set = |set: &Value| (list(&set["present"]).iter().map(text).collect(), number(&set["posterior"]));
    let case = |case: &Value| BestSets {
        observations: oracle.observed(&case["evidence"]),
        sets: list(&case["best_cause_sets"]).iter().map(set).collect(),
    };
    list(&values["nets"][net]["cases"]).iter().map(case).collect()
}

/// An answer is P(yes), a list in the order of the states, or a map by state.
fn entries(oracle: &Oracle, name: &str, answer: &Value) -> Vec<(VarIx, usize, f64)> {
    let var = oracle.ix(name);
    match answer {
        Value::Array(all) => all.iter().enumerate().map(|(state, p)| (var, state, number(p))).collect(),
        Value::Object(by_state) => {
            let at = |label: &str| oracle.nodes[var.at()].1.iter().position(|s| s == label).expect("a state");
            by_state.iter().map(|(label, p)| (var, at(label), number(p))).collect()
        }
        p => vec![(var, 1, number(p))],
    }
}
