//! What cutting links costs, on the built-in knowledge base: small budgets against exact answers.

use crate::watercraft;
use doldrum::inference::{Accuracy, Engine, Limits, Posterior};
use doldrum::knowledge::layout::Laid;
use doldrum::model::compile::{CaseModel, compile};

#[path = "../../benches/accuracy/cases.rs"]
#[expect(dead_code, reason = "the benchmark has more of them")]
mod cases;

use cases::Situation;

fn posterior(engine: &Engine, model: &CaseModel, bits: u32) -> Posterior {
    let limits = Limits { cells: 1 << bits, orders: 200, ..Limits::default() };
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
        ("sy-slow-crank", Situation::Answers(10), 15),
        ("sy-cranks-no-start", Situation::Answers(6), 16),
        ("sy-seizes", Situation::Answers(15), 14),
        ("sy-seizes", Situation::FailedRepair(8, 7), 15),
    ] {
        let symptom = knowledge.symptoms.find(id).expect("a symptom");
        // The truth must be exact, and not every set of answers leaves it within reach.
        let within_reach = |seed: u64| {
            let model = compile(&laid, &cases::case(&laid, symptom, situation, seed));
            let engine = Engine::compile(&model.network).expect("the model compiles");
            let exact = posterior(&engine, &model, 24);
            (*exact.accuracy() == Accuracy::Exact).then_some((model, engine, exact))
        };
        let (model, engine, exact) = (1..=8).find_map(within_reach).expect("some answers leave the truth within reach");
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

/// Fifteen answers on one cylinder, of the symptoms that hide most of the others: never cut at the usual limits.
#[test]
fn one_cylinder_is_exact_where_little_else_could_have_been_named() {
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
