//! Very wide gates and very long logs, on a small stack: how deep anything calls itself is bounded by the inputs of one
//! gate, never by the number of answers.

use doldrum::inference::{Accuracy, Engine, Error, Limits};
use doldrum::model::network::{Literal, Observation, Row, VarIx};

use crate::small_network::{Net, assert_relative};

/// As many inputs as a gate may have, but four.
const INPUTS: u32 = 250;
/// Answers, each about one cause.
const ANSWERS: usize = 600;
/// A quarter of what a thread of the tests has, and a sixteenth of what the program has.
const STACK: usize = 512 * 1024;

/// Runs `work` on a small stack.
fn on_a_small_stack(work: impl FnOnce() + Send + 'static) {
    let thread = std::thread::Builder::new().stack_size(STACK).spawn(work).expect("a thread");
    thread.join().expect("it neither panics nor overflows");
}

/// The chance that fewer than `k` of independent causes are there, by adding them one at a time.
fn fewer_than(k: usize, causes: &[f64]) -> f64 {
    let mut counts = vec![0.0; k];
    counts[0] = 1.0;
    for p in causes {
        for at in (0..k).rev() {
            counts[at] = counts[at] * (1.0 - p) + if at > 0 { counts[at - 1] * p } else { 0.0 };
        }
    }
    counts.iter().sum()
}

/// Six hundred answers on 250 causes under four gates that read them all.
#[test]
fn gates_of_250_inputs_and_600_answers() {
    on_a_small_stack(|| {
        let mut net = Net::new();
        let prior = 0.01;
        let causes: Vec<VarIx> = (0..INPUTS).map(|i| net.cause(&format!("c{i}"), prior)).collect();
        let links: Vec<(VarIx, f64)> = causes.iter().map(|&cause| (cause, 0.5)).collect();
        let any = net.noisy_or("any", &links, 0.001);
        let three = net.at_least("three", 3, &causes);
        let few = net.count("few", &causes, 0, 2);
        let engine = Engine::compile(net.network()).expect("the network is valid");
        // Each answer makes its cause likelier or less likely; together they settle its odds.
        let mut odds = vec![prior / (1.0 - prior); causes.len()];
        let mut observations = Vec::new();
        for at in 0..ANSWERS {
            let (cause, ratio) = (at * 7 % causes.len(), if at % 3 == 0 { 2.0 } else { 0.5 });
            odds[cause] *= ratio;
            if at % 2 == 0 {
                observations.push(Observation::State { var: causes[cause], likelihood: vec![0.3, 0.3 * ratio] });
            } else {
                let rows =
                    vec![Row { any_of: vec![Literal { var: causes[cause], on: true }], likelihood: 0.2 * ratio }];
                observations.push(Observation::Rows { slice: 0, rows, otherwise: 0.2 });
            }
        }
        let chances: Vec<f64> = odds.iter().map(|o| o / (1.0 + o)).collect();
        let limits = Limits::default();
        let posterior = engine.posterior_with(&observations, &[any, three, few], &limits).expect("there is an answer");
        assert_eq!(posterior.accuracy(), &Accuracy::Exact);
        for (cause, chance) in causes.iter().zip(&chances) {
            assert_relative(posterior.of(*cause)[1], *chance, 1e-9);
        }
        let quiet: f64 = chances.iter().map(|p| 1.0 - 0.5 * p).product();
        assert_relative(posterior.of(any)[1], 1.0 - 0.999 * quiet, 1e-9);
        assert_relative(posterior.of(few)[1], fewer_than(3, &chances), 1e-9);
        assert_relative(posterior.of(three)[1], 1.0 - fewer_than(3, &chances), 1e-9);
        // With the gates observed as well, and worlds drawn.
        observations.extend([net.on(any), net.on(three)]);
        engine.posterior(&observations, &limits).expect("there is an answer");
        assert_eq!(engine.worlds(&observations, 64, 1, &limits).expect("there is an answer").n(), 64);
    });
}

/// Signed numbers cancel here, so the form without signs is built, whose tables follow a tree over all inputs.
#[test]
fn a_gate_of_250_causes_that_are_hardly_ever_there() {
    on_a_small_stack(|| {
        let mut net = Net::new();
        let causes: Vec<VarIx> = (0..INPUTS).map(|i| net.cause(&format!("c{i}"), 1e-9)).collect();
        let any = net.or("any", &causes);
        let posterior = net.posterior(&[net.on(any)]);
        for cause in causes {
            assert_relative(posterior.of(cause)[1], 1.0 / f64::from(INPUTS), 1e-6);
        }
    });
}

#[test]
fn rows_that_read_250_variables_and_more() {
    on_a_small_stack(|| {
        let mut net = Net::new();
        let causes: Vec<VarIx> = (0..400).map(|i| net.cause(&format!("c{i}"), 0.001)).collect();
        let answer = |n: usize| {
            let literals: Vec<Literal> = causes[..n].iter().map(|&var| Literal { var, on: true }).collect();
            let row = |(at, any_of): (usize, &[Literal])| Row {
                any_of: any_of.to_vec(),
                likelihood: [0.9, 0.1, 0.6][at % 3],
            };
            let rows = literals.chunks(25).enumerate().map(row).collect();
            Observation::Rows { slice: 0, rows, otherwise: 0.02 }
        };
        let engine = Engine::compile(net.network()).expect("the network is valid");
        let found = engine.log_evidence(&[answer(250)], &Limits::default()).expect("there is an answer");
        // The first row that holds: none of the 25 of each row before, and one of its own.
        let none = libm::pow(0.999, 25.0);
        let (mut before, mut sum) = (1.0, 0.0);
        for row in 0..10 {
            sum += before * (1.0 - none) * [0.9, 0.1, 0.6][row % 3];
            before *= none;
        }
        assert_relative(libm::exp(found), sum + before * 0.02, 1e-9);
        let Err(Error::Observation(what)) = engine.log_evidence(&[answer(400)], &Limits::default()) else {
            panic!("more than a gate may read")
        };
        assert!(what.contains("254") && what.contains("400"), "{what}");
    });
}
