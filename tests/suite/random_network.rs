//! Random small networks with every kind of mechanism, and random observations of them.

use doldrum::model::network::{Link, Literal, Mechanism, Network, Observation, Row, SliceSet, States, VarIx, Variable};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// A source of choices.
pub struct Draw(ChaCha8Rng);

impl Draw {
    pub fn new(seed: u64) -> Self {
        Self(ChaCha8Rng::seed_from_u64(seed))
    }

    pub fn below(&mut self, n: usize) -> usize {
        (self.0.next_u64() % n as u64) as usize
    }

    fn unit(&mut self) -> f64 {
        (self.0.next_u64() >> 11) as f64 / (1u64 << 53) as f64
    }

    fn one_of(&mut self, values: &[f64]) -> f64 {
        let at = self.below(values.len() + 2);
        values.get(at).copied().unwrap_or_else(|| self.unit())
    }
}

/// A network of `n` variables over `slices` slices.
pub fn network(draw: &mut Draw, n: usize, slices: usize) -> Network {
    let mut network = Network { slices, variables: vec![] };
    for at in 0..n {
        let variable = variable(draw, &network, at);
        network.variables.push(variable);
    }
    network
}

fn variable(draw: &mut Draw, network: &Network, at: usize) -> Variable {
    let on_off: Vec<VarIx> =
        (0..at as u32).map(VarIx).filter(|&ix| matches!(network.variable(ix).states, States::OnIn(_))).collect();
    let name = format!("v{at}");
    let kind = if at < 2 || on_off.is_empty() { 0 } else { draw.below(9) };
    let any_set = States::OnIn((0..=SliceSet::all(network.slices).0).map(SliceSet).collect());
    let leak = draw.one_of(&[0.0, 0.0, 1e-3]);
    let (states, mechanism) = match kind {
        0 | 1 => root(draw, network.slices),
        2 => table(draw, network, at),
        3..=5 => (any_set, Mechanism::Any { links: links(draw, &on_off), leak }),
        6 => (any_set, Mechanism::All { links: links(draw, &on_off), leak }),
        7 => {
            let links = links(draw, &on_off);
            (any_set, Mechanism::AtLeast { k: draw.below(links.len() + 2), links, leak })
        }
        _ => {
            let of: Vec<VarIx> = links(draw, &on_off).iter().map(|link| link.from).collect();
            let least = draw.below(of.len() + 1);
            (any_set, Mechanism::Count { least, most: least + draw.below(of.len() + 1), of })
        }
    };
    Variable { name, states, mechanism }
}

/// A cause: there from the start, and perhaps cleared by the repair that opens a later slice.
fn root(draw: &mut Draw, slices: usize) -> (States, Mechanism) {
    let mut sets = vec![SliceSet::NONE];
    sets.extend((1..slices).filter(|_| draw.below(2) == 0).map(SliceSet::first));
    sets.push(SliceSet::all(slices));
    let p = draw.one_of(&[1e-8, 1e-4, 0.02, 0.3]);
    let mut rows = vec![1.0 - p];
    let share = p / (sets.len() - 1) as f64;
    rows.extend(std::iter::repeat_n(share, sets.len() - 1));
    (States::OnIn(sets), Mechanism::Table { parents: vec![], rows })
}

fn table(draw: &mut Draw, network: &Network, at: usize) -> (States, Mechanism) {
    let n = 2 + draw.below(3);
    let states = if n == 2 && draw.below(2) == 0 { States::steady(network.slices) } else { States::Plain(n) };
    let mut parents: Vec<VarIx> = (0..draw.below(3)).map(|_| VarIx(draw.below(at) as u32)).collect();
    parents.sort_unstable();
    parents.dedup();
    let configurations: usize = parents.iter().map(|&p| network.variable(p).states.count()).product();
    let mut rows = Vec::new();
    for _ in 0..configurations {
        let row: Vec<f64> = (0..n).map(|_| draw.one_of(&[0.0, 1e-6]) + 1e-12).collect();
        let sum: f64 = row.iter().sum();
        rows.extend(row.iter().map(|p| p / sum));
    }
    (states, Mechanism::Table { parents, rows })
}

fn links(draw: &mut Draw, from: &[VarIx]) -> Vec<Link> {
    (0..=draw.below(5))
        .map(|_| Link { from: from[draw.below(from.len())], strength: draw.one_of(&[0.0, 1.0, 1e-3, 0.4, 0.95]) })
        .collect()
}

/// Up to `n` observations: hard and soft findings and first-true answers.
pub fn observations(draw: &mut Draw, network: &Network, n: usize) -> Vec<Observation> {
    (0..n).map(|_| observation(draw, network)).collect()
}

fn observation(draw: &mut Draw, network: &Network) -> Observation {
    let var = VarIx(draw.below(network.variables.len()) as u32);
    let states = network.variable(var).states.count();
    let on_off: Vec<VarIx> = (0..network.variables.len() as u32)
        .map(VarIx)
        .filter(|&ix| matches!(network.variable(ix).states, States::OnIn(_)))
        .collect();
    match draw.below(3) {
        0 => {
            let seen = draw.below(states);
            Observation::State { var, likelihood: (0..states).map(|s| f64::from(u8::from(s == seen))).collect() }
        }
        1 => Observation::State { var, likelihood: (0..states).map(|_| draw.one_of(&[0.0, 1e-3, 7.0])).collect() },
        _ => {
            let rows = (0..=draw.below(4))
                .map(|_| Row {
                    any_of: (0..=draw.below(3))
                        .map(|_| Literal { var: on_off[draw.below(on_off.len())], on: draw.below(3) > 0 })
                        .collect(),
                    likelihood: draw.one_of(&[0.0, 0.02, 0.02, 0.9, 3.0]),
                })
                .collect();
            Observation::Rows { slice: draw.below(network.slices), rows, otherwise: draw.one_of(&[0.0, 0.02, 0.5]) }
        }
    }
}
