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

/// Under a budget that only a part of the network fits, links are cut and said to be, and the answers stay near.
#[test]
fn medium_within_a_small_budget() {
    let oracle = oracle_network::load("net_M.json", NoisyOr::Gate);
    let engine = Engine::compile(&oracle.network).expect("the network is valid");
    let limits = Limits { cells: 1500, ..Limits::default() };
    for case in oracle_network::cases("M", &oracle) {
        let observations = oracle.observed(&case.evidence);
        let posterior = engine.posterior(&observations, &limits).expect("there is an answer");
        let Accuracy::Cut { links, last_change, .. } = posterior.accuracy() else { panic!("expected cuts") };
        assert!(!links.is_empty() && *last_change < 0.01, "{} cut, last change {last_change}", links.len());
        let ln = posterior.log_evidence();
        assert!((ln - case.ln_evidence).abs() < 0.1, "{}: {ln} and {}", case.evidence, case.ln_evidence);
        for (var, state, p) in case.posteriors {
            let found = posterior.of(var)[state];
            assert!((found - p).abs() < 0.01, "`{}`: {found} and {p}", oracle.nodes[var.at()].0);
        }
    }
}
