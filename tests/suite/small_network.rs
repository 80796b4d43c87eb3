//! Small networks by hand: causes, gates and tables by name.

use doldrum::inference::{BestSets, Engine, Limits, Posterior, SetsQuery};
use doldrum::model::network::{Link, Mechanism, Network, Observation, States, VarIx, Variable};

/// A network of one slice under construction.
pub struct Net(Network);

impl Net {
    pub fn new() -> Self {
        Self(Network { slices: 1, variables: vec![] })
    }

    fn add(&mut self, name: &str, states: States, mechanism: Mechanism) -> VarIx {
        self.0.variables.push(Variable { name: name.to_owned(), states, mechanism });
        VarIx(self.0.variables.len() as u32 - 1)
    }

    pub fn cause(&mut self, name: &str, p: f64) -> VarIx {
        self.add(name, States::steady(1), Mechanism::Table { parents: vec![], rows: vec![1.0 - p, p] })
    }

    /// Noisy OR, inputs with strengths.
    pub fn noisy_or(&mut self, name: &str, links: &[(VarIx, f64)], leak: f64) -> VarIx {
        let links = links.iter().map(|&(from, strength)| Link { from, strength }).collect();
        self.add(name, States::steady(1), Mechanism::Any { links, leak })
    }

    pub fn or(&mut self, name: &str, inputs: &[VarIx]) -> VarIx {
        let links: Vec<(VarIx, f64)> = inputs.iter().map(|&from| (from, 1.0)).collect();
        self.noisy_or(name, &links, 0.0)
    }

    pub fn and(&mut self, name: &str, inputs: &[VarIx]) -> VarIx {
        let links = inputs.iter().map(|&from| Link { from, strength: 1.0 }).collect();
        self.add(name, States::steady(1), Mechanism::All { links, leak: 0.0 })
    }

    /// On where at least `k` inputs are.
    pub fn at_least(&mut self, name: &str, k: usize, inputs: &[VarIx]) -> VarIx {
        let links = inputs.iter().map(|&from| Link { from, strength: 1.0 }).collect();
        self.add(name, States::steady(1), Mechanism::AtLeast { k, links, leak: 0.0 })
    }

    /// On where so many of the inputs are.
    pub fn count(&mut self, name: &str, inputs: &[VarIx], least: usize, most: usize) -> VarIx {
        self.add(name, States::steady(1), Mechanism::Count { of: inputs.to_vec(), least, most })
    }

    /// A variable of unnamed states given its parents; rows in C order.
    pub fn table(&mut self, name: &str, states: usize, parents: &[VarIx], rows: &[f64]) -> VarIx {
        let mechanism = Mechanism::Table { parents: parents.to_vec(), rows: rows.to_vec() };
        self.add(name, States::Plain(states), mechanism)
    }

    pub fn named(&self, name: &str) -> VarIx {
        let at = self.0.variables.iter().position(|variable| variable.name == name).expect("the name is there");
        VarIx(at as u32)
    }

    pub fn network(&self) -> &Network {
        &self.0
    }

    pub fn on(&self, var: VarIx) -> Observation {
        self.0.found(var, 0, true)
    }

    pub fn seen(&self, var: VarIx, state: usize) -> Observation {
        let states = self.0.variable(var).states.count();
        Observation::State { var, likelihood: (0..states).map(|s| f64::from(u8::from(s == state))).collect() }
    }

    pub fn posterior(&self, observations: &[Observation]) -> Posterior {
        let engine = Engine::compile(&self.0).expect("the network is valid");
        engine.posterior_all(observations, &Limits::default()).expect("there is an answer")
    }

    /// The `k` most probable sets of `vars`, looked for as long as it takes.
    pub fn best_sets(&self, observations: &[Observation], vars: &[VarIx], k: usize) -> BestSets {
        let engine = Engine::compile(&self.0).expect("the network is valid");
        let posterior = engine.posterior(observations, &Limits::default()).expect("there is an answer");
        let query = SetsQuery { vars, slice: 0, k, nodes: 100_000, candidates: &[] };
        engine.best_sets(&posterior, observations, &query, &Limits::default()).expect("there is an answer")
    }

    pub fn evidence(&self, observations: &[Observation]) -> f64 {
        let engine = Engine::compile(&self.0).expect("the network is valid");
        libm::exp(engine.log_evidence(observations, &Limits::default()).expect("there is an answer"))
    }
}

/// `found` is `expected` within `relative` of it.
#[track_caller]
pub fn assert_relative(found: f64, expected: f64, relative: f64) {
    assert!((found - expected).abs() <= relative * expected.abs(), "found {found}, expected {expected}");
}
