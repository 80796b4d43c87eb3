//! Whether the score of a drill tells skill: simulated trainees of known skill, ranked by it.
//!
//! Twenty trainees err in 0 to 60 percent of their choices, evenly. Where one errs, any step of the bench that may be done
//! is taken, each as likely; else the best one. All take the same ten drills; each errs by a stream of its own.
//!
//! The bench is one of sixteen faults, each with a check that is right nine times in ten and a repair: as many choices a
//! drill as on the built-in knowledge base, and many times as fast. The engine of `tests/small-engine` has drills of four
//! choices, in which ten drills cannot tell neighbors apart (0.80 to 0.90, by money lost).

use crate::{small_base, watercraft};
use doldrum::access::AccessGraph;
use doldrum::decision::{Action, Settings};
use doldrum::drill::Drill;
use doldrum::drill::draw::{self, Level};
use doldrum::drill::score::score;
use doldrum::knowledge::layout::Laid;
use doldrum::knowledge::{Ix, Knowledge, Layout};
use doldrum::trial::chance::Draw;
use doldrum::trial::truth::Truth;
use std::fmt::Write;

const TRAINEES: usize = 20;
const CASES: u64 = 10;
const MOST_ERROR: f64 = 0.6;
const FAULTS: usize = 16;
/// Worlds that the book looks at.
const WORLDS: usize = 256;

/// Sixteen faults of about the same chance; half of them are quickly looked at, the others not, all are dear to repair.
fn bench() -> Knowledge {
    let (mut causes, mut checks, mut repairs, mut inputs) = (String::new(), String::new(), String::new(), Vec::new());
    for n in 0..FAULTS {
        let chance = 0.01 + 0.002 * (n * 7 % FAULTS) as f64;
        let looks = if n % 2 == 0 { 5 } else { 25 } + n * 5 % 7;
        let takes = 60 + 3 * (n * 3 % FAULTS);
        let _ = writeln!(causes, "- {{id: fault-{n}, title: Fault {n}, chance: {chance}, basis: estimate}}");
        let _ = writeln!(
            checks,
            "- {{id: ck-{n}, title: Look {n}, ask: Faulty?, how: [Look], outcomes: [sound, faulty], given: [{{when: {{fault-{n}: true}}, \
             chances: {{sound: 0.1, faulty: 0.9}}}}, {{chances: {{sound: 0.92, faulty: 0.08}}}}], cost: {{minutes: {looks}}}, skill: 1, basis: estimate}}"
        );
        let _ = writeln!(
            repairs,
            "- {{id: rm-{n}, title: Repair {n}, removes: {{fault-{n}: 0.97}}, minutes: {takes}, skill: 1, steps: [{{do: Fit}}], basis: estimate}}"
        );
        inputs.push(format!("{{from: fault-{n}, strength: 1}}"));
    }
    let symptoms = format!(
        "- {{id: sy-fails, title: Fails, says: [Fails], share: 100, any: [{}], leak: 0.001, named: {{present: 1, absent: 0}}, basis: estimate}}",
        inputs.join(", ")
    );
    small_base::read(
        0.0,
        900.0,
        &[("causes", &causes), ("symptoms", &symptoms), ("repairs", &repairs), ("checks", &checks)],
    )
}

/// A trainee who errs so often.
struct Trainee {
    error: f64,
    draw: Draw,
}

impl Trainee {
    /// The scores of one drill, and its choices.
    fn take(&mut self, laid: &Laid<'_>, graph: &AccessGraph, truth: &Truth) -> (f64, usize) {
        let settings = Settings { worlds: WORLDS, ..Settings::default() };
        let mut drill = Drill::begin(laid, graph, truth, Level::Single, &settings).expect("within the limits");
        while drill.end.is_none() {
            let action = self.choose(&drill);
            let ready = drill.make_ready(&action).expect("what is chosen may be done");
            drill.act(action, ready, None, 0).expect("within the limits");
        }
        let score = score(&drill);
        (score.score, score.steps)
    }

    fn choose(&mut self, drill: &Drill<'_, '_>) -> Action {
        if !self.draw.happens(self.error) {
            return drill.here().advice.next.action.clone();
        }
        // Drawn again until it is a step that may be done: each of those as likely.
        let bench: Vec<Action> = drill.actions().collect();
        loop {
            let action = &bench[self.draw.below(bench.len())];
            if drill.make_ready(action).is_some() {
                return action.clone();
            }
        }
    }
}

/// The places of values in their order, ties shared.
fn ranks(values: &[f64]) -> Vec<f64> {
    let place = |value: &f64| {
        let below = values.iter().filter(|other| *other < value).count();
        let equal = values.iter().filter(|other| other.total_cmp(value).is_eq()).count();
        below as f64 + (equal as f64 - 1.0) / 2.0
    };
    values.iter().map(place).collect()
}

/// Spearman's rank correlation: Pearson's on ranks.
fn spearman(a: &[f64], b: &[f64]) -> f64 {
    let (a, b) = (ranks(a), ranks(b));
    let middle = (a.len() as f64 - 1.0) / 2.0;
    let product = |x: &[f64], y: &[f64]| -> f64 { x.iter().zip(y).map(|(x, y)| (x - middle) * (y - middle)).sum() };
    product(&a, &b) / (product(&a, &a) * product(&b, &b)).sqrt()
}

#[test]
fn ranks_are_correlated_as_spearman_says() {
    let near = |a: f64, b: f64| (a - b).abs() < 1e-12;
    assert!(near(spearman(&[1.0, 2.0, 3.0], &[10.0, 20.0, 40.0]), 1.0));
    assert!(near(spearman(&[1.0, 2.0, 3.0], &[3.0, 2.0, 1.0]), -1.0));
    // 1 - 6 sum d^2 / (n (n^2 - 1)) with d = 1, 1, 0, 0.
    assert!(near(spearman(&[1.0, 2.0, 3.0, 4.0], &[2.0, 1.0, 3.0, 4.0]), 0.8));
    assert!(near(spearman(&[1.0, 1.0, 2.0], &[1.0, 1.0, 2.0]), 1.0));
}

/// The rank correlation of skill and score with one seed, on drills of this layout.
fn tells_skill(knowledge: &Knowledge, layout: Ix<Layout>, seed: u64) -> f64 {
    let graph = AccessGraph::new(knowledge);
    let drawn = |n: u64| {
        let from = draw::Draw { seed: seed * 1000 + n, layouts: vec![layout], symptoms: vec![] };
        draw::draw(knowledge, Level::Single, &from).expect("a drill")
    };
    let truths: Vec<Truth> = (0..CASES).map(drawn).collect();
    let errors: Vec<f64> = (0..TRAINEES).map(|at| MOST_ERROR * at as f64 / (TRAINEES - 1) as f64).collect();
    let mut steps = 0;
    let mut scores = Vec::new();
    for (at, error) in errors.iter().enumerate() {
        let mut trainee = Trainee { error: *error, draw: Draw::new(seed, 1000 + at as u64) };
        let taken: Vec<(f64, usize)> = truths
            .iter()
            .map(|truth| trainee.take(&Laid::new(knowledge, truth.case.craft.clone()), &graph, truth))
            .collect();
        steps += taken.iter().map(|t| t.1).sum::<usize>();
        // Each choice counts alike, whichever drill it was made in.
        let made = taken.iter().map(|t| t.1).sum::<usize>() as f64;
        scores.push(taken.iter().map(|t| t.0 * t.1 as f64).sum::<f64>() / made);
    }
    let skills: Vec<f64> = errors.iter().map(|error| 1.0 - error).collect();
    let told = spearman(&skills, &scores);
    println!("seed {seed}: {told:.3} in {steps} choices; {scores:.2?}");
    told
}

/// With every seed, each on a thread of its own.
fn told(knowledge: &Knowledge, layout: Ix<Layout>, seeds: &[u64]) -> Vec<f64> {
    std::thread::scope(|scope| {
        let at_work: Vec<_> =
            seeds.iter().map(|&seed| scope.spawn(move || tells_skill(knowledge, layout, seed))).collect();
        at_work.into_iter().map(|thread| thread.join().expect("it ends")).collect()
    })
}

/// The grades were chosen on seeds 101 to 120 (see `drill::score`) and not on these. On 2026-11-26: 0.976 on
/// average, 0.955 at least; 0.980 and 0.955 over seeds 1 to 12; 0.978 and 0.943 over seeds 101 to 120.
#[test]
fn the_score_ranks_trainees_by_their_skill() {
    let seeds: Vec<u64> = (1..=5).collect();
    let told = told(&bench(), Ix::new(0), &seeds);
    let mean = told.iter().sum::<f64>() / told.len() as f64;
    assert!(mean >= 0.95 && told.iter().all(|told| *told >= 0.93), "{told:?}");
}

/// The same with more seeds, by hand.
#[test]
#[ignore = "by hand: cargo test --test suite skill -- --ignored --nocapture"]
fn the_score_ranks_trainees_by_their_skill_with_more_seeds() {
    for seeds in [1..=12, 101..=120] {
        let told = told(&bench(), Ix::new(0), &seeds.collect::<Vec<u64>>());
        println!(
            "mean {:.4}, least {:.3}",
            told.iter().sum::<f64>() / told.len() as f64,
            told.iter().copied().fold(1.0, f64::min)
        );
        assert!(told.iter().all(|told| *told >= 0.9), "{told:?}");
    }
}

/// The same on the built-in knowledge base; takes some minutes. On 2026-11-25: 0.964 and 0.962.
#[test]
#[ignore = "by hand: cargo test --release --test suite skill -- --ignored --nocapture"]
fn the_score_ranks_trainees_on_a_craft_of_one_cylinder() {
    let knowledge = watercraft::knowledge();
    let layout = knowledge.layouts.find("single").expect("a layout");
    let told = told(&knowledge, layout, &[1, 2]);
    assert!(told.iter().all(|told| *told >= 0.95), "{told:?}");
}
