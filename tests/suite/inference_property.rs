//! The engine against the full joint, on random networks with every mechanism.

use doldrum::inference::brute::{self, Joint};
use doldrum::inference::{Accuracy, Engine, Error, Limits, Worlds};
use doldrum::model::network::{Link, Mechanism, Network, Observation, SliceSet, States, VarIx, Variable};
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

/// Counting gates over three slices can need more than the usual budget.
fn roomy() -> Limits {
    Limits { cells: 1 << 26, ..Limits::default() }
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
        let found = engine.posterior_all(&observations, &roomy());
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

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, ..ProptestConfig::default() })]

    /// Frequencies within five standard errors, and every gate is what its links, its leak and its inputs make it.
    #[test]
    fn worlds_follow_the_posterior(seed: u64, slices in 1usize..=3, n in 1usize..=14, seen in 0usize..=4) {
        let (network, observations) = case(seed, slices, n, seen);
        let Ok(joint) = Joint::of(&network, &observations) else { return Ok(()) };
        let engine = Engine::compile(&network).expect("random networks are valid");
        let draws = 3000;
        let worlds = engine.worlds(&observations, draws, seed, &roomy()).expect("there is an answer");
        prop_assert_eq!(worlds.accuracy(), &Accuracy::Exact);
        for at in 0..network.variables.len() {
            let var = VarIx(at as u32);
            for (state, p) in joint.posterior(var).into_iter().enumerate() {
                let found = worlds.states(var).iter().filter(|&&s| usize::from(s) == state).count() as f64;
                let slack = 5.0 * (p * (1.0 - p).max(0.0) * draws as f64).sqrt() + 6.0;
                prop_assert!((found - p * draws as f64).abs() <= slack, "v{at} state {state}: {found} for {p}");
            }
            check_gate(&network, &worlds, var)?;
        }
    }
}

fn check_gate(network: &Network, worlds: &Worlds, var: VarIx) -> Result<(), TestCaseError> {
    let bit = |set: &[u64], world: usize| set[world / 64] >> (world % 64) & 1 == 1;
    let parents = network.parents(var);
    for slice in 0..network.slices {
        for world in 0..worlds.n() {
            let through = |j: usize| bit(worlds.link(var, j), world) && bit(worlds.on(parents[j], slice), world);
            let count = |()| (0..parents.len()).filter(|&j| through(j)).count();
            let on = match &network.variable(var).mechanism {
                Mechanism::Table { .. } => return Ok(()),
                Mechanism::Any { .. } => count(()) > 0,
                Mechanism::All { .. } => count(()) == parents.len(),
                Mechanism::AtLeast { k, .. } => count(()) >= *k,
                Mechanism::Count { least, most, .. } => (*least..=*most).contains(&count(())),
            };
            let on = on || bit(worlds.leak(var), world);
            prop_assert_eq!(on, bit(worlds.on(var, slice), world), "{:?} in world {}", network.variable(var), world);
        }
    }
    Ok(())
}

/// The same network with every link a cause of its own: `from and link` feeds the gate with strength 1. Gives for each
/// gate and input the variable that is its link, and for each gate the one that is its leak.
struct Explicit {
    network: Network,
    var_of: Vec<VarIx>,
    links: Vec<Vec<VarIx>>,
    leaks: Vec<Option<VarIx>>,
}

impl Explicit {
    fn of(network: &Network) -> Self {
        let empty = Network { slices: network.slices, variables: vec![] };
        let mut explicit = Self { network: empty, var_of: vec![], links: vec![], leaks: vec![] };
        for variable in &network.variables {
            let mut variable = variable.clone();
            let (mut links, mut leak_var) = (vec![], None);
            match &mut variable.mechanism {
                Mechanism::Table { parents, .. } => explicit.rename(parents),
                Mechanism::Count { of, .. } => explicit.rename(of),
                Mechanism::Any { links: inputs, leak }
                | Mechanism::All { links: inputs, leak }
                | Mechanism::AtLeast { links: inputs, leak, .. } => {
                    for input in inputs.iter_mut() {
                        let link = explicit.root(input.strength);
                        links.push(link);
                        let from = explicit.var_of[input.from.at()];
                        let both = [from, link].map(|from| Link { from, strength: 1.0 }).to_vec();
                        input.from = explicit.any_set(Mechanism::All { links: both, leak: 0.0 });
                        input.strength = 1.0;
                    }
                    let leak = std::mem::replace(leak, 0.0);
                    let gate = explicit.any_set(variable.mechanism.clone());
                    let cause = explicit.root(leak);
                    leak_var = Some(cause);
                    let either = [gate, cause].map(|from| Link { from, strength: 1.0 }).to_vec();
                    variable.mechanism = Mechanism::Any { links: either, leak: 0.0 };
                }
            }
            let var = explicit.push(variable);
            explicit.var_of.push(var);
            explicit.links.push(links);
            explicit.leaks.push(leak_var);
        }
        explicit
    }

    fn rename(&self, vars: &mut [VarIx]) {
        for var in vars {
            *var = self.var_of[var.at()];
        }
    }

    fn push(&mut self, variable: Variable) -> VarIx {
        self.network.variables.push(variable);
        VarIx(self.network.variables.len() as u32 - 1)
    }

    fn root(&mut self, p: f64) -> VarIx {
        let states = States::steady(self.network.slices);
        let mechanism = Mechanism::Table { parents: vec![], rows: vec![1.0 - p, p] };
        self.push(Variable { name: "link".into(), states, mechanism })
    }

    fn any_set(&mut self, mechanism: Mechanism) -> VarIx {
        let states = States::OnIn((0..=SliceSet::all(self.network.slices).0).map(SliceSet).collect());
        self.push(Variable { name: "through".into(), states, mechanism })
    }

    fn observations(&self, observations: &[Observation]) -> Vec<Observation> {
        let mut renamed = observations.to_vec();
        for observation in &mut renamed {
            match observation {
                Observation::State { var, .. } => *var = self.var_of[var.at()],
                Observation::Rows { rows, .. } => rows
                    .iter_mut()
                    .flat_map(|row| &mut row.any_of)
                    .for_each(|literal| literal.var = self.var_of[literal.var.at()]),
            }
        }
        renamed
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, ..ProptestConfig::default() })]

    /// Links and leaks come as often as a network says in which each is a cause of its own.
    #[test]
    fn links_follow_their_posterior(seed: u64, slices in 1usize..=2, n in 1usize..=9, seen in 0usize..=3) {
        let (network, observations) = case(seed, slices, n, seen);
        let explicit = Explicit::of(&network);
        let engine = Engine::compile(&explicit.network).expect("as valid as the other");
        let seen_there = explicit.observations(&observations);
        let Ok(posterior) = engine.posterior_all(&seen_there, &roomy()) else { return Ok(()) };
        let draws = 3000;
        let worlds = Engine::compile(&network).expect("random networks are valid");
        let worlds = worlds.worlds(&observations, draws, seed, &roomy()).expect("there is an answer");
        let count = |set: &[u64]| f64::from(set.iter().map(|word| word.count_ones()).sum::<u32>());
        let check = |p: f64, found: f64| {
            let slack = 5.0 * (p * (1.0 - p).max(0.0) * draws as f64).sqrt() + 6.0;
            prop_assert!((found - p * draws as f64).abs() <= slack, "{} for {}", found, p);
            Ok(())
        };
        for at in 0..network.variables.len() {
            let var = VarIx(at as u32);
            for (j, &link) in explicit.links[at].iter().enumerate() {
                check(posterior.of(link)[1], count(worlds.link(var, j)))?;
            }
            if let Some(leak) = explicit.leaks[at] {
                check(posterior.of(leak)[1], count(worlds.leak(var)))?;
            }
        }
    }
}

/// With hardly any budget the answer stays a distribution, and says which links it cut.
fn check_a_tiny_budget(seed: u64, slices: usize, n: usize, seen: usize, cells: usize) -> Result<(), TestCaseError> {
    let (network, observations) = case(seed, slices, n, seen);
    let engine = Engine::compile(&network).expect("random networks are valid");
    let limits = Limits { cells, ..Limits::default() };
    match engine.posterior_all(&observations, &limits) {
        Ok(posterior) => {
            for at in 0..network.variables.len() {
                let distribution = posterior.of(VarIx(at as u32));
                prop_assert!(distribution.iter().all(|p| (0.0..=1.0 + 1e-12).contains(p)), "{distribution:?}");
                prop_assert!(close(distribution.iter().sum(), 1.0, 1e-9), "{distribution:?}");
            }
            prop_assert!(posterior.log_evidence().is_finite());
            match posterior.accuracy() {
                Accuracy::Exact => {
                    if let Ok(joint) = Joint::of(&network, &observations) {
                        let (found, expected) = (posterior.log_evidence(), joint.log_evidence());
                        prop_assert!(close(found, expected, 1e-9), "evidence {found} and {expected}");
                    }
                }
                Accuracy::Cut { links, last_change, .. } => {
                    prop_assert!(!links.is_empty() && (0.0..=1.0).contains(last_change));
                }
            }
        }
        Err(Error::TooWide { needed, allowed, variables }) => {
            prop_assert!(needed > allowed as f64 && !variables.is_empty());
        }
        Err(Error::Contradiction) => {
            prop_assert!(Joint::of(&network, &observations).is_err(), "possible, but found impossible");
        }
        Err(error) => prop_assert!(false, "{error}"),
    }
    match engine.worlds(&observations, 64, seed, &limits) {
        Ok(worlds) => prop_assert_eq!(worlds.n(), 64),
        Err(Error::TooWide { .. }) => {}
        Err(Error::Contradiction) => {
            prop_assert!(Joint::of(&network, &observations).is_err(), "possible, but found impossible");
        }
        Err(error) => prop_assert!(false, "{error}"),
    }
    Ok(())
}

/// The signed form of these is within the budget and loses eight digits; the form without signs is beyond it.
#[test]
fn what_is_exact_within_a_tiny_budget_has_lost_no_digits() {
    for (seed, slices, n, seen) in [
        (7_518_368_864_832_662_081, 3, 7, 2),
        (5_279_948_972_548_931_832, 1, 13, 2),
        (5_987_786_860_114_904_183, 2, 8, 2),
    ] {
        let outcome = check_a_tiny_budget(seed, slices, n, seen, 40);
        assert!(outcome.is_ok(), "seed {seed}: {outcome:?}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1000, ..ProptestConfig::default() })]

    #[test]
    fn a_tiny_budget_still_gives_distributions(
        seed: u64, slices in 1usize..=3, n in 4usize..=14, seen in 1usize..=5, cells in 40usize..400
    ) {
        check_a_tiny_budget(seed, slices, n, seen, cells)?;
    }

    #[test]
    fn the_order_of_observations_is_irrelevant(seed: u64, slices in 1usize..=3, n in 1usize..=14, seen in 2usize..=5) {
        let (network, mut observations) = case(seed, slices, n, seen);
        let engine = Engine::compile(&network).expect("random networks are valid");
        let one = engine.posterior(&observations, &roomy());
        observations.reverse();
        match (one, engine.posterior(&observations, &roomy())) {
            (Ok(one), Ok(other)) => {
                let scale = one.log_evidence().abs().max(1.0);
                prop_assert!(close(one.log_evidence(), other.log_evidence(), 1e-10 * scale));
                for at in 0..network.variables.len() {
                    let var = VarIx(at as u32);
                    let pairs = one.get(var).unwrap_or(&[]).iter().zip(other.get(var).unwrap_or(&[]));
                    pairs.for_each(|(a, b)| assert!(close(*a, *b, 1e-10), "v{at}: {a} and {b}"));
                }
            }
            (one, other) => prop_assert_eq!(one.err(), other.err()),
        }
    }
}
