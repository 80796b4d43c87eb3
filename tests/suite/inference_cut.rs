//! What cutting links costs, on the built-in knowledge base: small budgets against exact answers.

use crate::watercraft;
use doldrum::inference::{Accuracy, Engine, Limits, Posterior};
use doldrum::knowledge::layout::Laid;
use doldrum::model::compile::{CaseModel, compile};
use doldrum::model::network::{Literal, Mechanism, Network, Observation, Row, States, VarIx, Variable};

#[path = "../../benches/accuracy/cases.rs"]
#[expect(dead_code, reason = "the benchmark has more of them")]
mod cases;

use cases::Situation;

fn posterior(engine: &Engine, model: &CaseModel, bits: u32) -> Posterior {
    let limits = Limits { cells: 1 << bits, ..Limits::default() };
    engine.posterior(&model.evidence(), &limits).expect("within the limits")
}

fn chances(model: &CaseModel, posterior: &Posterior) -> Vec<f64> {
    model.causes.iter().map(|&(_, var)| posterior.chance_on(var, model.now)).collect()
}

/// Two cylinders, a quarter or less of what exact takes: the largest error of any cause stays within the bound that the
/// whole measurement has for two cylinders.
#[test]
fn cuts_cost_little_on_two_cylinders() {
    let knowledge = watercraft::knowledge();
    let laid = Laid::new(&knowledge, cases::craft(&knowledge, "twin-each"));
    for (id, situation, bits) in [
        ("sy-slow-crank", Situation::Answers(15), 18),
        ("sy-cranks-no-start", Situation::Answers(6), 14),
        ("sy-starts-then-dies", Situation::Answers(5), 16),
        ("sy-no-crank", Situation::FailedRepair(8, 7), 11),
    ] {
        let symptom = knowledge.symptoms.find(id).expect("a symptom");
        let model = compile(&laid, &cases::case(&laid, symptom, situation, 1));
        let engine = Engine::compile(&model.network).expect("the model compiles");
        let exact = posterior(&engine, &model, 23);
        assert_eq!(*exact.accuracy(), Accuracy::Exact, "{id}: the truth must be exact");
        let near = posterior(&engine, &model, bits);
        let Accuracy::Cut { links, .. } = near.accuracy() else { panic!("{id}: expected cuts within 2^{bits} cells") };
        let pairs = chances(&model, &near).into_iter().zip(chances(&model, &exact));
        let error = pairs.map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        println!("{id}: {} links cut, 2^{:.1} cells for exact, error {error:.1e}", links.len(), exact.cells().log2());
        assert!(error < 0.015, "{id}: error {error}");
        let again = posterior(&engine, &model, bits);
        let bits_of = |p: &Posterior| chances(&model, p).into_iter().map(f64::to_bits).collect::<Vec<_>>();
        assert_eq!(bits_of(&near), bits_of(&again), "{id}: the same question has the same answer");
    }
}

/// A cause that is nowhere near any cycle has its chance to the last digit, whatever is cut.
#[test]
fn one_cylinder_with_a_dead_starter_is_exact() {
    let knowledge = watercraft::knowledge();
    let laid = Laid::new(&knowledge, cases::craft(&knowledge, "single"));
    for id in ["sy-no-crank", "sy-cranks-no-start", "sy-seizes"] {
        let symptom = knowledge.symptoms.find(id).expect("a symptom");
        let model = compile(&laid, &cases::case(&laid, symptom, Situation::Answers(15), 1));
        let engine = Engine::compile(&model.network).expect("the model compiles");
        let found = engine.posterior(&model.evidence(), &Limits::default()).expect("within the limits");
        assert_eq!(*found.accuracy(), Accuracy::Exact, "{id} is cut at the usual limits");
    }
}

/// Roots x and y1..yn, read by two answers: the first says that none of x and the first half is on, the second that
/// x is off or one of the other half is on ... as surely as `doubt` is small.
fn at_odds(doubt: f64) -> (Network, Vec<Observation>) {
    const ROOTS: u32 = 9;
    let root = |at: u32| Variable {
        name: format!("r{at}"),
        states: States::steady(1),
        mechanism: Mechanism::Table { parents: vec![], rows: vec![0.9, 0.1 + f64::from(at) * 0.0] },
    };
    let network = Network { slices: 1, variables: (0..ROOTS).map(root).collect() };
    let on = |var: u32| Literal { var: VarIx(var), on: true };
    let read = |vars: &[u32], first: Vec<Literal>, likelihood: f64, otherwise: f64| Observation::Rows {
        slice: 0,
        rows: vec![Row { any_of: first.into_iter().chain(vars.iter().map(|&v| on(v))).collect(), likelihood }],
        otherwise,
    };
    let observations = vec![
        read(&[1, 2, 3], vec![on(0)], doubt, 1.0),
        read(&[1, 2, 4], vec![on(0)], 1.0, doubt),
        read(&[5, 6, 7, 8], vec![on(1)], 1.0, 0.5),
        read(&[3, 6, 7, 8], vec![on(2)], 1.0, 0.5),
    ];
    (network, observations)
}

/// Where two answers all but contradict each other over what was cut, the budget is raised; where they do not, it is
/// kept to.
#[test]
fn what_contradicts_itself_over_a_cut_is_asked_again() {
    let limits = Limits { cells: 64, ..Limits::default() };
    for (doubt, exact) in [(0.3, false), (1e-9, true)] {
        let (network, observations) = at_odds(doubt);
        let engine = Engine::compile(&network).expect("a network");
        let found = engine.posterior(&observations, &limits).expect("possible");
        assert_eq!(*found.accuracy() == Accuracy::Exact, exact, "doubt {doubt}: {:?}", found.accuracy());
    }
}
