//! Posteriors and worlds on the reference networks (sources in `tests/suite/oracle_network.rs`).

use divan::Bencher;
use doldrum::inference::{Engine, Limits, SetsQuery};
use doldrum::model::network::{Observation, VarIx};

#[path = "../tests/suite/oracle_network.rs"]
#[expect(dead_code, reason = "the answers are for the tests")]
#[expect(clippy::cast_possible_truncation, reason = "a network has far fewer than 2^32 variables")]
mod oracle_network;

use oracle_network::NoisyOr;

fn main() {
    divan::main();
}

const NETS: [(&str, &str); 5] = [
    ("T", "net_T.json"),
    ("S", "net_S.json"),
    ("M", "net_M.json"),
    ("alarm", "pub_alarm.json"),
    ("asia", "pub_asia.json"),
];

/// A network and the richest of its sets of evidence.
fn setting(net: &str) -> (Engine, Vec<Observation>) {
    let file = NETS.iter().find(|(name, _)| *name == net).expect("a known network").1;
    let oracle = oracle_network::load(file, NoisyOr::Gate);
    let cases = oracle_network::cases(net, &oracle);
    let case = cases.iter().max_by_key(|case| case.evidence.as_object().map_or(0, serde_json::Map::len));
    let observations = oracle.observed(&case.expect("there are cases").evidence);
    (Engine::compile(&oracle.network).expect("the network is valid"), observations)
}

#[divan::bench(args = ["S", "M", "alarm", "asia"])]
fn posterior(bencher: Bencher, net: &str) {
    let (engine, observations) = setting(net);
    bencher.bench(|| engine.posterior(&observations, &Limits::default()).expect("there is an answer"));
}

#[divan::bench(args = ["S", "M", "alarm", "asia"])]
fn evidence(bencher: Bencher, net: &str) {
    let (engine, observations) = setting(net);
    bencher.bench(|| engine.log_evidence(&observations, &Limits::default()).expect("there is an answer"));
}

#[divan::bench(args = ["S", "M", "alarm"])]
fn worlds(bencher: Bencher, net: &str) {
    let (engine, observations) = setting(net);
    bencher.bench(|| engine.worlds(&observations, 4096, 1, &Limits::default()).expect("there is an answer"));
}

/// The ten most probable sets of causes; T's are also known by brute force.
#[divan::bench(args = ["T", "S", "M"])]
fn best_sets(bencher: Bencher, net: &str) {
    let (engine, observations) = setting(net);
    let is_root = |var: &VarIx| engine.network().parents(*var).is_empty();
    let vars: Vec<VarIx> = (0..).map(VarIx).take(engine.network().variables.len()).filter(is_root).collect();
    let posterior = engine.posterior(&observations, &Limits::default()).expect("there is an answer");
    let query = SetsQuery { vars: &vars, slice: 0, k: 10, nodes: 1000, candidates: &[] };
    let ask = || engine.best_sets(&posterior, &observations, &query, &Limits::default());
    bencher.bench(|| ask().expect("there is an answer"));
}
