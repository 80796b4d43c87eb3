//! Prepared queries against the full joint and against the same question asked from the start.

use doldrum::inference::brute::Joint;
use doldrum::inference::{Accuracy, Engine, Error, Event, Limits, OpenCheck};
use doldrum::model::network::{Literal, Mechanism, Network, Observation, States, VarIx};
use proptest::prelude::*;

use crate::oracle_network::{self, NoisyOr};
use crate::random_network::{self, Draw};

fn roomy() -> Limits {
    Limits { cells: 1 << 26, ..Limits::default() }
}

fn all(network: &Network) -> Vec<VarIx> {
    (0..network.variables.len() as u32).map(VarIx).collect()
}

/// A likelihood with a zero now and then.
fn finding(draw: &mut Draw, network: &Network) -> Observation {
    let var = VarIx(draw.below(network.variables.len()) as u32);
    let likelihood = (0..network.variable(var).states.count()).map(|_| [0.0, 1.0, 0.3, 2.5][draw.below(4)]).collect();
    Observation::State { var, likelihood }
}

fn event(draw: &mut Draw, network: &Network) -> (Event, Vec<(VarIx, Vec<bool>)>) {
    let (mut event, mut parts) = (Event::anything(), vec![]);
    for _ in 0..draw.below(4) {
        let var = VarIx(draw.below(network.variables.len()) as u32);
        let states: Vec<bool> = (0..network.variable(var).states.count()).map(|_| draw.below(3) > 0).collect();
        event = event.and(var, states.clone());
        parts.push((var, states));
    }
    (event, parts)
}

/// A check of up to three rows and three outcomes over on/off variables.
fn check(draw: &mut Draw, network: &Network) -> Option<OpenCheck> {
    let on_off: Vec<VarIx> =
        all(network).into_iter().filter(|&v| matches!(network.variable(v).states, States::OnIn(_))).collect();
    if on_off.is_empty() {
        return None;
    }
    let slice = draw.below(network.slices);
    let literal = |draw: &mut Draw| Literal { var: on_off[draw.below(on_off.len())], on: draw.below(4) > 0 };
    let rows: Vec<Vec<Literal>> =
        (0..draw.below(4)).map(|_| (0..=draw.below(2)).map(|_| literal(draw)).collect()).collect();
    let outcomes = 2 + draw.below(2);
    let mut chances = vec![vec![]; outcomes];
    for _ in 0..=rows.len() {
        let weights: Vec<f64> = (0..outcomes).map(|_| [0.0, 0.05, 0.3, 1.0][draw.below(4)] + 1e-3).collect();
        let sum: f64 = weights.iter().sum();
        chances.iter_mut().zip(weights).for_each(|(of, w)| of.push(w / sum));
    }
    Some(OpenCheck::Rows { slice, rows, chances })
}

/// The chance of an outcome in one assignment, as the definition of a first-true check says.
fn outcome_chance(network: &Network, check: &OpenCheck, outcome: usize, states: &[u8]) -> f64 {
    let OpenCheck::Rows { slice, rows, chances } = check else { unreachable!("only rows are drawn") };
    let holds = |l: &Literal| network.on_in(l.var, usize::from(states[l.var.at()])).has(*slice) == l.on;
    let row = rows.iter().position(|row| row.iter().any(holds)).unwrap_or(rows.len());
    chances[outcome][row]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 800, ..ProptestConfig::default() })]

    #[test]
    fn every_question_equals_the_full_joint(seed: u64, slices in 1usize..=3, n in 1usize..=14, seen in 0usize..=3) {
        let mut draw = Draw::new(seed);
        let n = n.min([14, 9, 7][slices - 1]);
        let network = random_network::network(&mut draw, n, slices);
        let observations = random_network::observations(&mut draw, &network, seen);
        let Ok(joint) = Joint::of(&network, &observations) else { return Ok(()) };
        let engine = Engine::compile(&network).expect("random networks are valid");
        let vars = all(&network);
        let prepared = engine.prepare(&observations, &vars, &roomy()).expect("the full joint has an answer");
        prop_assert_eq!(prepared.accuracy(), &Accuracy::Exact);

        // Other findings.
        let findings: Vec<Observation> = (0..draw.below(4)).map(|_| finding(&mut draw, &network)).collect();
        let together: Vec<Observation> = observations.iter().chain(&findings).cloned().collect();
        match (prepared.posterior(&findings), Joint::of(&network, &together)) {
            (Ok(found), Ok(joint)) => {
                let tolerance = 1e-10 * joint.log_evidence().abs().max(1.0);
                prop_assert!((found.log_evidence() - joint.log_evidence()).abs() < tolerance);
                for &var in &vars {
                    for (a, b) in found.of(var).iter().zip(joint.posterior(var)) {
                        prop_assert!((a - b).abs() < 1e-10, "{:?} {:?}", found.of(var), joint.posterior(var));
                    }
                }
            }
            (Err(Error::Contradiction), Err(_)) => {}
            (found, joint) => prop_assert!(false, "{:?} {:?}", found.is_ok(), joint.is_ok()),
        }

        // Of some variables only: the same bits.
        let some: Vec<VarIx> = vars.iter().copied().filter(|var| (seed >> var.at()) & 1 == 1).collect();
        match (prepared.posterior(&findings), prepared.posterior_of(&findings, &some)) {
            (Ok(all), Ok(found)) => {
                prop_assert_eq!(all.log_evidence().to_bits(), found.log_evidence().to_bits());
                some.iter().try_for_each(|&var| { prop_assert_eq!(all.of(var), found.of(var)); Ok(()) })?;
            }
            (all, found) => prop_assert_eq!(all.err(), found.err()),
        }

        // The chances of events, more than one pass holds.
        let events: Vec<(Event, Vec<(VarIx, Vec<bool>)>)> = (0..11).map(|_| event(&mut draw, &network)).collect();
        let asked: Vec<Event> = events.iter().map(|(event, _)| event.clone()).collect();
        for (found, (_, parts)) in prepared.chances_of(&asked).expect("all is open").iter().zip(&events) {
            let holds = |states: &[u8]| parts.iter().all(|(var, allowed)| allowed[usize::from(states[var.at()])]);
            prop_assert!((found - joint.probability(holds)).abs() < 1e-10);
        }

        // Every outcome of open checks.
        let checks: Vec<OpenCheck> = (0..4).filter_map(|_| check(&mut draw, &network)).collect();
        let now = slices - 1;
        let targets: Vec<Event> = vars.iter().map(|&var| Event::on(&network, var, now)).collect();
        let found = prepared.by_outcome(&checks, &targets).expect("all is open");
        for (k, check) in checks.iter().enumerate() {
            let mut total = 0.0;
            for outcome in 0..found.outcomes(k) {
                // Weighted sums over the full joint.
                let states_of = |weight: &dyn Fn(&[u8]) -> f64| joint.expectation(weight);
                let chance = states_of(&|states| outcome_chance(&network, check, outcome, states));
                prop_assert!((found.chance(k, outcome) - chance).abs() < 1e-10);
                total += found.chance(k, outcome);
                for (at, &var) in vars.iter().enumerate() {
                    let with = states_of(&|states| {
                        let on = network.on_in(var, usize::from(states[var.at()])).has(now);
                        if on { outcome_chance(&network, check, outcome, states) } else { 0.0 }
                    });
                    prop_assert!((found.targets(k, outcome)[at] - with / chance).abs() < 1e-10);
                }
            }
            prop_assert!((total - 1.0).abs() < 1e-10);
        }
    }
}

/// On the reference networks every outcome of every unanswered check, against the same asked one by one.
fn outcomes_one_by_one(net: &str, file: &str, every: usize) {
    let oracle = oracle_network::load(file, NoisyOr::Gate);
    let engine = Engine::compile(&oracle.network).expect("the network is valid");
    let is_leaf = |v: VarIx| !all(&oracle.network).iter().any(|&other| oracle.network.parents(other).contains(&v));
    let is_table = |v: VarIx| matches!(oracle.network.variable(v).mechanism, Mechanism::Table { .. });
    let roots: Vec<VarIx> =
        all(&oracle.network).into_iter().filter(|&v| oracle.network.parents(v).is_empty()).collect();
    for case in oracle_network::cases(net, &oracle) {
        let observations = oracle.observed(&case.evidence);
        let seen = |v: VarIx| observations.iter().any(|o| matches!(o, Observation::State { var, .. } if *var == v));
        let leaves: Vec<VarIx> =
            all(&oracle.network).into_iter().filter(|&v| is_leaf(v) && is_table(v) && !seen(v)).collect();
        let open: Vec<VarIx> = leaves.iter().flat_map(|&v| oracle.network.parents(v)).collect();
        let checks: Vec<OpenCheck> = leaves.iter().map(|&v| OpenCheck::Variable(v)).collect();
        let prepared = engine.prepare(&observations, &open, &Limits::default()).expect("within the limits");
        assert_eq!(prepared.accuracy(), &Accuracy::Exact);
        let targets: Vec<Event> = roots.iter().map(|&root| Event::is(&oracle.network, root, 1)).collect();
        let found = prepared.by_outcome(&checks, &targets).expect("what is read is open");
        for (k, &leaf) in leaves.iter().enumerate().step_by(every) {
            for outcome in 0..found.outcomes(k) {
                let states = oracle.network.variable(leaf).states.count();
                let likelihood = (0..states).map(|s| f64::from(u8::from(s == outcome))).collect();
                let mut observations = observations.clone();
                observations.push(Observation::State { var: leaf, likelihood });
                let one = engine.posterior(&observations, &Limits::default()).expect("it can be");
                let chance = libm::exp(one.log_evidence() - case.ln_evidence);
                assert!((chance - found.chance(k, outcome)).abs() < 1e-9, "{chance} {}", found.chance(k, outcome));
                for (&root, p) in roots.iter().zip(found.targets(k, outcome)) {
                    assert!((one.of(root)[1] - p).abs() < 1e-9, "{} {p}", one.of(root)[1]);
                }
            }
        }
    }
}

#[test]
fn outcomes_of_asia() {
    outcomes_one_by_one("asia", "pub_asia.json", 1);
}

#[test]
fn outcomes_of_alarm() {
    outcomes_one_by_one("alarm", "pub_alarm.json", 1);
}

#[test]
fn outcomes_of_small() {
    outcomes_one_by_one("S", "net_S.json", 3);
}

/// Asked with everything open, the answers are those of the oracle (sources in `oracle_network`).
#[test]
fn any_evidence_on_a_network_prepared_once() {
    for (net, file) in
        [("asia", "pub_asia.json"), ("alarm", "pub_alarm.json"), ("S", "net_S.json"), ("M", "net_M.json")]
    {
        let oracle = oracle_network::load(file, NoisyOr::Gate);
        let engine = Engine::compile(&oracle.network).expect("the network is valid");
        let prepared = engine.prepare(&[], &all(&oracle.network), &Limits::default()).expect("within the limits");
        for case in oracle_network::cases(net, &oracle) {
            let found = prepared.posterior(&oracle.observed(&case.evidence)).expect("there is an answer");
            assert!((found.log_evidence() - case.ln_evidence).abs() < 1e-9);
            for (var, state, p) in case.posteriors {
                assert!((found.of(var)[state] - p).abs() < 1e-9, "{net}: {} and {p}", found.of(var)[state]);
            }
        }
    }
}

#[test]
fn what_is_not_open_is_refused() {
    let oracle = oracle_network::load("pub_asia.json", NoisyOr::Gate);
    let engine = Engine::compile(&oracle.network).expect("the network is valid");
    let (smoke, dysp) = (oracle.ix("smoke"), oracle.ix("dysp"));
    let prepared = engine.prepare(&[], &[smoke], &Limits::default()).expect("within the limits");
    let event = Event::anything().and(dysp, vec![false, true]);
    assert!(matches!(prepared.chances_of(&[event]), Err(Error::Observation(_))));
    assert!(matches!(prepared.by_outcome(&[OpenCheck::Variable(dysp)], &[]), Err(Error::Observation(_))));
    assert!(matches!(engine.prepare(&[], &[VarIx(99)], &Limits::default()), Err(Error::Observation(_))));
}
