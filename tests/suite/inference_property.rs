//! The engine against the full joint, on random networks with every mechanism.

use doldrum::inference::brute::{self, Joint};
use doldrum::inference::{Accuracy, Engine, Error, Limits};
use doldrum::model::network::{Network, Observation, VarIx};
use proptest::prelude::*;

use crate::random_network::{self, Draw};

/// A network that the full joint can be written out for, and observations of it.
fn case(seed: u64, slices: usize, n: usize, seen: usize) -> (Network, Vec<Observation>) {
    let mut draw = Draw::new(seed);
    let n = n.min([14, 9, 7][slices - 1]);
    let network = random_network::network(&mut draw, n, slices);
    let observations = random_network::observations(&mut draw, &network, seen);
    (network, observations)
}

fn close(a: f64, b: f64, tolerance: f64) -> bool {
    (a - b).abs() <= tolerance
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 3000, ..ProptestConfig::default() })]

    #[test]
    fn engine_equals_the_full_joint(seed: u64, slices in 1usize..=3, n in 1usize..=14, seen in 0usize..=5) {
        let (network, observations) = case(seed, slices, n, seen);
        let engine = Engine::compile(&network).expect("random networks are valid");
        let found = engine.posterior_all(&observations, &Limits::default());
        match Joint::of(&network, &observations) {
            Err(brute::Error::TooLarge) => {}
            Err(brute::Error::Contradiction) => prop_assert_eq!(found.unwrap_err(), Error::Contradiction),
            Ok(joint) => {
                let posterior = found.expect("the full joint has an answer");
                prop_assert_eq!(posterior.accuracy(), &Accuracy::Exact);
                let tolerance = 1e-10 * joint.log_evidence().abs().max(1.0);
                prop_assert!(
                    close(posterior.log_evidence(), joint.log_evidence(), tolerance),
                    "evidence {} and {}", posterior.log_evidence(), joint.log_evidence()
                );
                for at in 0..network.variables.len() {
                    let var = VarIx(at as u32);
                    for (a, b) in posterior.of(var).iter().zip(joint.posterior(var)) {
                        prop_assert!(close(*a, b, 1e-10), "v{at}: {:?} and {:?}", posterior.of(var), joint.posterior(var));
                    }
                }
            }
        }
    }
}
