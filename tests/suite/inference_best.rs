//! The most probable sets of causes and joint tables: against the full joint on random networks, against reference
//! answers, and with a budget that is much too small.

use std::collections::BTreeMap;

use doldrum::inference::brute::Joint;
use doldrum::inference::{Accuracy, BestSets, Engine, Error, JOINT_CELLS_MAX, Limits, SetsQuery};
use doldrum::model::network::{Network, Observation, States, VarIx};
use proptest::prelude::*;

use crate::oracle_network::{self, NoisyOr};
use crate::random_network::{self, Draw};
use crate::small_network::{Net, assert_relative};

/// Looks enough for every part of a small space of sets.
const PLENTY: usize = 1 << 16;

/// Counting gates over three slices can need more than the usual budget.
fn roomy() -> Limits {
    Limits { cells: 1 << 26, ..Limits::default() }
}

fn best(engine: &Engine, observations: &[Observation], query: &SetsQuery<'_>) -> Result<BestSets, Error> {
    let posterior = engine.posterior(observations, &roomy())?;
    engine.best_sets(&posterior, observations, query, &roomy())
}

fn query(vars: &[VarIx], k: usize) -> SetsQuery<'_> {
    SetsQuery { vars, slice: 0, k, nodes: PLENTY, candidates: &[] }
}

/// The chance of every set of `vars` on in `slice`, by adding up the full joint.
fn all_sets(network: &Network, joint: &Joint, vars: &[VarIx], slice: usize) -> BTreeMap<Vec<usize>, f64> {
    let mut sets = BTreeMap::new();
    for (states, p) in joint.together(vars) {
        let on = |&at: &usize| network.on_in(vars[at], usize::from(states[at])).has(slice);
        *sets.entry((0..vars.len()).filter(on).collect()).or_insert(0.0) += p;
    }
    sets
}

fn on_off(network: &Network) -> Vec<VarIx> {
    let is_on_off = |ix: &VarIx| matches!(network.variable(*ix).states, States::OnIn(_));
    (0..network.variables.len() as u32).map(VarIx).filter(is_on_off).collect()
}

/// What must hold of any list, finished or not.
fn check_list(found: &BestSets, truth: &BTreeMap<Vec<usize>, f64>) -> Result<(), TestCaseError> {
    let mut unlisted = truth.clone();
    for set in &found.sets {
        let p = unlisted.remove(&set.members).unwrap_or(0.0);
        prop_assert!((set.chance - p).abs() < 1e-10, "{:?}: {} and {p}", set.members, set.chance);
    }
    prop_assert!(found.sets.windows(2).all(|pair| pair[0].chance >= pair[1].chance), "{found:?}");
    let largest = unlisted.values().copied().fold(0.0, f64::max);
    prop_assert!(largest <= found.unlisted_at_most + 1e-10, "{largest} is beyond {found:?}");
    let rest: f64 = unlisted.values().sum();
    prop_assert!((rest - found.rest).abs() < 1e-9, "{rest} is not {found:?}");
    let mut chances: Vec<f64> = truth.values().copied().collect();
    chances.sort_by(|a, b| b.total_cmp(a));
    for (set, p) in found.sets.iter().zip(&chances).take(found.settled()) {
        prop_assert!((set.chance - p).abs() < 1e-10, "{} and {p}", set.chance);
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1200, ..ProptestConfig::default() })]

    /// Sources: none; the full joint is written out.
    #[test]
    fn the_best_sets_are_those_of_the_full_joint(
        seed: u64, slices in 1usize..=3, n in 1usize..=16, seen in 0usize..=5, k in 1usize..=12, few in 0usize..6
    ) {
        let mut draw = Draw::new(seed);
        let n = n.min([16, 9, 7][slices - 1]);
        let network = random_network::network(&mut draw, n, slices);
        let observations = random_network::observations(&mut draw, &network, seen);
        let mut vars = on_off(&network);
        vars.retain(|_| draw.below(4) > 0);
        let slice = draw.below(slices);
        let engine = Engine::compile(&network).expect("random networks are valid");
        let Ok(joint) = Joint::of(&network, &observations) else { return Ok(()) };
        let truth = all_sets(&network, &joint, &vars, slice);
        let query = SetsQuery { vars: &vars, slice, k, nodes: PLENTY, candidates: &[] };
        let found = best(&engine, &observations, &query).expect("the full joint has an answer");
        prop_assert_eq!(&found.accuracy, &Accuracy::Exact);
        check_list(&found, &truth)?;
        prop_assert!(found.nodes < PLENTY);
        let mut chances: Vec<f64> = truth.values().copied().collect();
        chances.sort_by(|a, b| b.total_cmp(a));
        for (at, p) in chances.iter().take(k).enumerate() {
            let chance = found.sets.get(at).map_or(0.0, |set| set.chance);
            prop_assert!((chance - p).abs() < 1e-10, "set {at}: {chance} and {p} of {found:?}");
        }
        // Cut short, with candidates to begin with.
        let candidates: Vec<Vec<usize>> = truth.keys().take(2).cloned().collect();
        let short = SetsQuery { nodes: few, candidates: &candidates, ..query };
        let found = best(&engine, &observations, &short).expect("as before");
        prop_assert!(found.nodes <= few);
        check_list(&found, &truth)?;
    }

    /// Sources: none; the full joint is written out.
    #[test]
    fn joint_tables_are_those_of_the_full_joint(
        seed: u64, slices in 1usize..=3, n in 1usize..=14, seen in 0usize..=5, asked in 0usize..=3
    ) {
        let mut draw = Draw::new(seed);
        let n = n.min([14, 9, 7][slices - 1]);
        let network = random_network::network(&mut draw, n, slices);
        let observations = random_network::observations(&mut draw, &network, seen);
        let mut vars: Vec<VarIx> = (0..asked).map(|_| VarIx(draw.below(n) as u32)).collect();
        vars.dedup();
        if vars.len() == 3 && vars[0] == vars[2] {
            vars.pop();
        }
        let Ok(joint) = Joint::of(&network, &observations) else { return Ok(()) };
        let engine = Engine::compile(&network).expect("random networks are valid");
        let table = engine.joint(&observations, &vars, &roomy()).expect("the full joint has an answer");
        prop_assert_eq!(&table.accuracy, &Accuracy::Exact);
        prop_assert!((table.chances.iter().sum::<f64>() - 1.0).abs() < 1e-12);
        let truth = joint.together(&vars);
        let mut cells = 0;
        let mut states = vec![0u8; vars.len()];
        loop {
            let p = truth.get(&states).copied().unwrap_or(0.0);
            let found = table.chance(&states.iter().map(|&s| usize::from(s)).collect::<Vec<_>>());
            prop_assert!((found - p).abs() < 1e-10, "{states:?}: {found} and {p}");
            cells += 1;
            let Some(at) = (0..vars.len()).rev().find(|&at| usize::from(states[at]) + 1 < table.states[at]) else { break };
            states[at] += 1;
            states[at + 1..].fill(0);
        }
        prop_assert_eq!(cells, table.chances.len());
    }
}

/// The most probable cause sets of the reference network T, by brute force in long double (source in `oracle_network`).
#[test]
fn the_best_sets_of_the_reference_network() {
    for noisy_or in [NoisyOr::Gate, NoisyOr::Table] {
        let oracle = oracle_network::load("net_T.json", noisy_or);
        let engine = Engine::compile(&oracle.network).expect("the network is valid");
        let names: Vec<&str> = oracle.nodes.iter().map(|(name, _)| name.as_str()).collect();
        let causes: Vec<&str> = names.into_iter().filter(|name| name.starts_with('C')).collect();
        assert_eq!(causes.len(), 12);
        let vars: Vec<VarIx> = causes.iter().map(|name| oracle.ix(name)).collect();
        let cases = oracle_network::best_cause_sets("T", &oracle);
        assert_eq!(cases.len(), 6);
        for oracle_network::BestSets { observations, sets } in cases {
            let found = best(&engine, &observations, &query(&vars, sets.len())).expect("there is an answer");
            assert_eq!(found.settled(), sets.len(), "{found:?}");
            for (found, (present, posterior)) in found.sets.iter().zip(&sets) {
                let members: Vec<&str> = found.members.iter().map(|&at| causes[at]).collect();
                assert_eq!(members, *present);
                assert!((found.chance - posterior).abs() < 1e-12, "{present:?}: {} and {posterior}", found.chance);
            }
            println!("{} nodes for {} sets", found.nodes, sets.len());
        }
    }
}

/// The reference networks of forty and a hundred causes: the ten best sets are certain, each chance is the ratio of two
/// evidences, and no set that differs from a listed one in one cause is beyond the bound.
#[test]
fn the_best_sets_of_wider_reference_networks() {
    for (net, file) in [("S", "net_S.json"), ("M", "net_M.json")] {
        let oracle = oracle_network::load(file, NoisyOr::Gate);
        let engine = Engine::compile(&oracle.network).expect("the network is valid");
        let is_cause = |var: &VarIx| oracle.nodes[var.at()].0.starts_with('C');
        let vars: Vec<VarIx> = (0..oracle.nodes.len() as u32).map(VarIx).filter(is_cause).collect();
        for case in oracle_network::cases(net, &oracle) {
            let observations = oracle.observed(&case.evidence);
            let found = best(&engine, &observations, &query(&vars, 10)).expect("there is an answer");
            println!("{net}, {} causes: {} nodes, bound {}", vars.len(), found.nodes, found.unlisted_at_most);
            assert_eq!(found.settled(), 10, "{net} {}: {found:?}", case.evidence);
            let chance = |members: &[usize]| {
                let finding = |at: usize| oracle.network.found(vars[at], 0, members.contains(&at));
                let seen: Vec<Observation> = observations.iter().cloned().chain((0..vars.len()).map(finding)).collect();
                engine.log_evidence(&seen, &roomy()).map_or(0.0, |ln| (ln - case.ln_evidence).exp())
            };
            for set in &found.sets {
                assert_relative(set.chance, chance(&set.members), 1e-9);
            }
            for at in 0..vars.len() {
                let mut near = found.sets[0].members.clone();
                match near.iter().position(|&member| member == at) {
                    Some(place) => drop(near.remove(place)),
                    None => near.push(at),
                }
                near.sort_unstable();
                let listed = found.sets.iter().any(|set| set.members == near);
                assert!(listed || chance(&near) <= found.unlisted_at_most + 1e-12, "{net}: {near:?}");
            }
        }
    }
}

/// Sixty causes, each about as likely there as not: no budget proves a best set, and the answer says so.
#[test]
fn a_flat_posterior_is_answered_within_a_small_budget() {
    let mut net = Net::new();
    let causes: Vec<VarIx> = (0..60u32).map(|i| net.cause(&format!("c{i}"), 0.45 + 0.001 * f64::from(i))).collect();
    let links: Vec<(VarIx, f64)> = causes.iter().map(|&cause| (cause, 0.05)).collect();
    let symptom = net.noisy_or("symptom", &links, 0.01);
    let engine = Engine::compile(net.network()).expect("the network is valid");
    for observations in [vec![], vec![net.on(symptom)]] {
        let query = SetsQuery { nodes: 40, ..query(&causes, 5) };
        let found = best(&engine, &observations, &query).expect("there is an answer");
        assert!(found.nodes <= 40 && found.sets.len() == 5, "{found:?}");
        assert!(found.rest > 0.999_999 && found.unlisted_at_most <= 1.0, "{found:?}");
        assert_eq!(found.settled(), 0, "nothing can be settled by forty looks: {found:?}");
        // Each chance listed is right, and a set that is better than those listed is within the bound.
        let all = net.evidence(&observations);
        for set in &found.sets {
            let mut seen = observations.clone();
            seen.extend((0..60).map(|at| net.seen(causes[at], usize::from(set.members.contains(&at)))));
            assert_relative(set.chance, net.evidence(&seen) / all, 1e-9);
            assert!(set.chance < found.unlisted_at_most);
        }
    }
    // Without observations the best set is known: each cause as it is likelier.
    let product: f64 = (0..60).map(|i| 0.45 + 0.001 * f64::from(i)).map(|p| f64::max(p, 1.0 - p)).product();
    let found = best(&engine, &[], &SetsQuery { nodes: 1, ..query(&causes, 1) }).expect("there is an answer");
    assert_relative(found.sets[0].chance, product, 1e-9);
}

#[test]
fn what_cannot_be_asked_is_an_error() {
    let mut net = Net::new();
    let a = net.cause("a", 0.2);
    let plain = net.table("plain", 3, &[a], &[0.2, 0.3, 0.5, 0.1, 0.1, 0.8]);
    let many: Vec<VarIx> = (0..12).map(|i| net.table(&format!("t{i}"), 3, &[], &[0.2, 0.3, 0.5])).collect();
    let engine = Engine::compile(net.network()).expect("the network is valid");
    for vars in [vec![plain], vec![a, a], vec![VarIx(99)]] {
        assert!(matches!(best(&engine, &[], &query(&vars, 1)), Err(Error::Observation(_))), "{vars:?}");
    }
    let alone = [a];
    let elsewhere = SetsQuery { slice: 1, ..query(&alone, 1) };
    assert!(matches!(best(&engine, &[], &elsewhere), Err(Error::Observation(_))));
    let Err(Error::Observation(what)) = engine.joint(&[], &many, &Limits::default()) else { panic!("too many cells") };
    assert!(what.contains(&JOINT_CELLS_MAX.to_string()), "{what}");
    for vars in [vec![a, a], vec![VarIx(99)]] {
        assert!(matches!(engine.joint(&[], &vars, &Limits::default()), Err(Error::Observation(_))), "{vars:?}");
    }
    // Of nothing there is one set, and one cell.
    let found = best(&engine, &[], &query(&[], 3)).expect("there is an answer");
    assert_eq!((found.sets.len(), found.sets[0].chance, found.rest), (1, 1.0, 0.0));
    assert_eq!(engine.joint(&[], &[], &Limits::default()).expect("there is an answer").chances, [1.0]);
}
