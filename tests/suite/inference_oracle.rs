//! Posteriors and evidence of the reference networks, to 1e-9 (sources in `oracle_network`).

use doldrum::inference::{Accuracy, Engine, Event, Limits, OpenCheck};
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

/// Every cause for outcomes of unanswered checks, asked all at once; the values are pyagrum's, one propagation for each
/// outcome (`tests/oracle/by_outcome.json` says how they were made).
fn outcomes(net: &str, file: &str) {
    let values = &oracle_network::read("by_outcome.json")["nets"][net];
    let oracle = oracle_network::load(file, NoisyOr::Gate);
    let engine = Engine::compile(&oracle.network).expect("the network is valid");
    let causes = values["causes"].as_array().expect("a list").iter().map(|name| name.as_str().expect("a name"));
    let there: Vec<Event> = causes.map(|name| Event::is(&oracle.network, oracle.ix(name), 1)).collect();
    let by_check = values["by_outcome"].as_object().expect("a map");
    let checks: Vec<VarIx> = by_check.keys().map(|name| oracle.ix(name)).collect();
    let read: Vec<VarIx> = checks.iter().flat_map(|&check| oracle.network.parents(check)).collect();
    let observations = oracle.observed(&values["evidence"]);
    let prepared = engine.prepare(&observations, &read, &Limits::default()).expect("within the limits");
    let open: Vec<OpenCheck> = checks.iter().map(|&check| OpenCheck::Variable(check)).collect();
    let found = prepared.by_outcome(&open, &there).expect("what is read is open");
    for (k, (name, by_state)) in by_check.iter().enumerate() {
        for (outcome, state) in oracle.nodes[checks[k].at()].1.iter().enumerate() {
            let expected = by_state[state].as_array().expect("a list");
            assert_eq!(expected.len(), there.len());
            for (p, expected) in found.targets(k, outcome).iter().zip(expected) {
                let expected = expected.as_f64().expect("a number");
                assert!((p - expected).abs() < 1e-12, "{net}: `{name}` is `{state}`: {p} and {expected}");
            }
        }
    }
}

#[test]
fn outcomes_of_tiny() {
    outcomes("T", "net_T.json");
}

#[test]
fn outcomes_of_small() {
    outcomes("S", "net_S.json");
}

#[test]
fn outcomes_of_medium() {
    outcomes("M", "net_M.json");
}
