//! Posteriors and evidence of the reference networks, to 1e-9 (sources in `oracle_network`).

use doldrum::inference::{Accuracy, Engine, Limits};
use doldrum::model::network::VarIx;

use crate::oracle_network::{self, NoisyOr};

fn check(net: &str, file: &str, noisy_or: NoisyOr) {
    let oracle = oracle_network::load(file, noisy_or);
    let engine = Engine::compile(&oracle.network).expect("the network is valid");
    let cases = oracle_network::cases(net, &oracle);
    assert!(!cases.is_empty());
    for case in cases {
        let observations = oracle.observed(&case.evidence);
        let asked: Vec<VarIx> = case.posteriors.iter().map(|&(var, ..)| var).collect();
        let posterior = engine.posterior_with(&observations, &asked, &Limits::default()).expect("there is an answer");
        assert_eq!(posterior.accuracy(), &Accuracy::Exact);
        let ln = posterior.log_evidence();
        assert!((ln - case.ln_evidence).abs() < 1e-9, "{net} {}: {ln} and {}", case.evidence, case.ln_evidence);
        let ln = engine.log_evidence(&observations, &Limits::default()).expect("there is an answer");
        assert!((ln - case.ln_evidence).abs() < 1e-9, "{net} {}: {ln} and {}", case.evidence, case.ln_evidence);
        assert!(!case.posteriors.is_empty());
        for (var, state, p) in case.posteriors {
            let found = posterior.of(var)[state];
            let name = &oracle.nodes[var.at()].0;
            assert!((found - p).abs() < 1e-9, "{net} {}: `{name}` state {state}: {found} and {p}", case.evidence);
        }
    }
}

#[test]
fn asia() {
    check("asia", "pub_asia.json", NoisyOr::Table);
}

#[test]
fn alarm() {
    check("alarm", "pub_alarm.json", NoisyOr::Table);
}

#[test]
fn tiny_as_gates() {
    check("T", "net_T.json", NoisyOr::Gate);
}

#[test]
fn tiny_as_tables() {
    check("T", "net_T.json", NoisyOr::Table);
}

#[test]
fn small_as_gates() {
    check("S", "net_S.json", NoisyOr::Gate);
}

#[test]
fn small_as_tables() {
    check("S", "net_S.json", NoisyOr::Table);
}

#[test]
fn medium_as_gates() {
    check("M", "net_M.json", NoisyOr::Gate);
}

#[test]
fn medium_as_tables() {
    check("M", "net_M.json", NoisyOr::Table);
}
