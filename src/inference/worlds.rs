//! Whole worlds drawn from the posterior: every variable, and for every gate which links would get through.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

use crate::model::network::{Mechanism, Observation, SliceSet, States, VarIx};

use super::base::Base;
use super::compile::{self, Form};
use super::fold::{Fold, Rule};
use super::graph::Graph;
use super::scatter::{self, Column};
use super::solve::{self, Trail};
use super::{Accuracy, Error, Limits, bits, sample, unfold};

/// Equally likely worlds, drawn from the posterior.
#[derive(Clone, Debug)]
pub struct Worlds {
    n: usize,
    accuracy: Accuracy,
    states: Vec<Vec<u8>>,
    on: Vec<Vec<Vec<u64>>>,
    links: Vec<Vec<Vec<u64>>>,
    leaks: Vec<Vec<u64>>,
}

impl Worlds {
    /// How many worlds there are.
    #[must_use]
    pub fn n(&self) -> usize {
        self.n
    }

    /// Whether the worlds are drawn from the exact posterior or links were cut.
    #[must_use]
    pub fn accuracy(&self) -> &Accuracy {
        &self.accuracy
    }

    /// The state of `var` in each world.
    #[must_use]
    pub fn states(&self, var: VarIx) -> &[u8] {
        &self.states[var.at()]
    }

    /// The worlds in which `var` is on in `slice`, one bit each, bit `w % 64` of word `w / 64`; none for a variable of
    /// unnamed states.
    ///
    /// # Panics
    /// Where the network has no such slice: our bug.
    #[must_use]
    pub fn on(&self, var: VarIx, slice: usize) -> &[u64] {
        &self.on[var.at()][slice]
    }

    /// The worlds in which input `index` of `gate` gets through while it is on. What a link would do is drawn in every
    /// world, whether its input is on or not. A count's links always get through.
    ///
    /// # Panics
    /// Where `gate` is a table or has no such input: our bug.
    #[must_use]
    pub fn link(&self, gate: VarIx, index: usize) -> &[u64] {
        &self.links[gate.at()][index]
    }

    /// The worlds in which the leak of `gate` is active; none for a count or a table.
    #[must_use]
    pub fn leak(&self, gate: VarIx) -> &[u64] {
        &self.leaks[gate.at()]
    }
}

/// Draws `n` worlds; `trail` is how the posterior of the same observations was settled.
pub(super) fn draw(
    base: &Base,
    observations: &[Observation],
    n: usize,
    seed: u64,
    limits: &Limits,
    trail: Option<&Trail>,
) -> Result<Worlds, Error> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    if let Some(standing) = trail.and_then(|trail| trail.standing.as_deref())
        && let Some(columns) = unfold::nodes(standing, n, &mut rng)
    {
        return Ok(fill(base, &standing.graph, standing.accuracy.clone(), &columns, n, &mut rng));
    }
    let star = compile::graph(base, observations, Form::Star)?;
    let guide = solve::settle_star(base, &star, limits, trail)?;
    if guide.is_trusted() && unfold::can(&star, n) {
        let standing = guide.into_parts().with(star);
        let columns = unfold::nodes(&standing, n, &mut rng).expect("it can be drawn");
        return Ok(fill(base, &standing.graph, standing.accuracy.clone(), &columns, n, &mut rng));
    }
    // The star form gives the messages over cuts, where there are any, and the shape of the chain.
    let chain = compile::graph(base, observations, Form::Chain(&guide.joins()))?;
    let settled = match super::cut::whole(&chain, limits) {
        Some(choice) => solve::settle_with(base, &chain, limits, &[], choice),
        None if guide.error().is_finite() => solve::settle(base, &chain, limits, &guide.carried())?,
        None => solve::settle(base, &chain, limits, &[])?,
    };
    if settled.error().is_infinite() {
        return Err(Error::Contradiction);
    }
    if n > scatter::WORLDS_MAX {
        let found = format!("expected at most `{}` worlds, found `{n}`", scatter::WORLDS_MAX);
        return Err(Error::Observation(found));
    }
    let columns: Vec<Column> = sample::nodes(&settled, n, &mut rng).iter().map(|all| Column::of_all(all)).collect();
    Ok(fill(base, &chain, settled.accuracy(), &columns, n, &mut rng))
}

/// Worlds from the states of a graph's nodes: what the graph leaves out is simulated forward.
fn fill(base: &Base, graph: &Graph, accuracy: Accuracy, columns: &[Column], n: usize, rng: &mut ChaCha8Rng) -> Worlds {
    let count = base.parents.len();
    let mut worlds = Worlds {
        n,
        accuracy,
        states: Vec::with_capacity(count),
        on: Vec::with_capacity(count),
        links: Vec::with_capacity(count),
        leaks: Vec::with_capacity(count),
    };
    for at in 0..count {
        let ix = VarIx(at as u32);
        let drawn = graph.node_of[at].map(|node| columns[node].renamed(&graph.nodes[node].kept));
        worlds.add(base, ix, drawn, rng);
    }
    worlds
}

impl Worlds {
    /// Adds a variable: its states as `drawn` with links to match, or simulated forward.
    fn add(&mut self, base: &Base, ix: VarIx, drawn: Option<Column>, rng: &mut ChaCha8Rng) {
        let variable = base.network.variable(ix);
        let slices = base.network.slices;
        let sets: &[SliceSet] = match &variable.states {
            States::OnIn(sets) => sets,
            States::Plain(_) => &[],
        };
        match &base.folds[ix.at()] {
            None => {
                let drawn = drawn.unwrap_or_else(|| Column::of_all(&self.simulate_table(base, ix, rng)));
                self.on.push(on_sets(sets, &drawn, slices, self.n));
                self.states.push(drawn.states(self.n));
                self.links.push(vec![]);
                self.leaks.push(vec![0; bits::words(self.n)]);
            }
            Some(fold) => {
                let on = drawn.as_ref().map(|drawn| on_sets(sets, drawn, slices, self.n));
                let mut links = Links::free(fold, self.n, rng);
                let on = if let Some(on) = on {
                    links.condition(self, fold, &on, slices, rng);
                    on
                } else {
                    links.evaluate(self, fold, slices)
                };
                self.states.push(drawn.map_or_else(|| states_of(sets, &on, self.n), |drawn| drawn.states(self.n)));
                self.on.push(on);
                let inputs = base.network.parents(ix).len();
                let (by_input, leak) = links.by_input(fold, &variable.mechanism, inputs, self.n);
                self.links.push(by_input);
                self.leaks.push(leak);
            }
        }
    }

    /// A table's states given its parents'.
    fn simulate_table(&self, base: &Base, ix: VarIx, rng: &mut ChaCha8Rng) -> Vec<u8> {
        let Mechanism::Table { parents, rows } = &base.network.variable(ix).mechanism else {
            unreachable!("only tables have no fold")
        };
        let states = base.network.variable(ix).states.count();
        (0..self.n)
            .map(|world| {
                let at = parents.iter().fold(0, |at, parent| {
                    let states = base.network.variable(*parent).states.count();
                    at * states + usize::from(self.states[parent.at()][world])
                });
                let mut u = bits::unit(rng);
                let row = &rows[at * states..(at + 1) * states];
                let last = row.iter().rposition(|&p| p > 0.0).unwrap_or(0);
                let state = row[..last].iter().position(|&p| {
                    u -= p;
                    u < 0.0
                });
                state.unwrap_or(last) as u8
            })
            .collect()
    }
}

/// For each slice the worlds in which the state's set has it.
fn on_sets(sets: &[SliceSet], states: &Column, slices: usize, n: usize) -> Vec<Vec<u64>> {
    let one = |slice: usize| -> Vec<u64> {
        if sets.is_empty() {
            return vec![0; bits::words(n)];
        }
        let is_on: Vec<bool> = sets.iter().map(|set| set.has(slice)).collect();
        states.set(&is_on, n)
    };
    (0..slices).map(one).collect()
}

/// The state of each world from the slices it is on in.
fn states_of(sets: &[SliceSet], on: &[Vec<u64>], n: usize) -> Vec<u8> {
    let mut state_of = [0u8; 1 << crate::model::network::SLICES_MAX];
    sets.iter().enumerate().for_each(|(state, set)| state_of[usize::from(set.0)] = state as u8);
    (0..n).map(|world| state_of[usize::from(set_at(on, world).0)]).collect()
}

/// The slices that `world` is on in.
fn set_at(on: &[Vec<u64>], world: usize) -> SliceSet {
    let bit = |slice: usize| ((on[slice][world / 64] >> (world % 64) & 1) as u8) << slice;
    SliceSet((0..on.len()).fold(0, |set, slice| set | bit(slice)))
}

/// The links and the leak of one gate, one set of worlds each.
struct Links {
    through: Vec<Vec<u64>>,
    leak: Vec<u64>,
}

impl Links {
    /// Drawn without regard to anything.
    fn free(fold: &Fold, n: usize, rng: &mut ChaCha8Rng) -> Self {
        Self {
            through: fold.inputs.iter().map(|input| bits::draw(rng, n, input.strength)).collect(),
            leak: bits::draw(rng, n, fold.leak),
        }
    }

    /// The slices the gate is on in, from its links and inputs.
    fn evaluate(&self, worlds: &Worlds, fold: &Fold, slices: usize) -> Vec<Vec<u64>> {
        let one = |slice: usize| {
            let active = |j: usize, word: usize| self.through[j][word] & worlds.on(fold.inputs[j].var, slice)[word];
            (0..self.leak.len())
                .map(|word| {
                    let inputs = 0..fold.inputs.len();
                    let on = match fold.rule {
                        Rule::Any => inputs.fold(0, |on, j| on | active(j, word)),
                        Rule::All => inputs.fold(u64::MAX, |on, j| on & active(j, word)),
                        Rule::Count { least, most } => count_word(inputs.map(|j| active(j, word)), least, most),
                        Rule::First { .. } => unreachable!("a gate is not an answer"),
                    };
                    on | self.leak[word]
                })
                .collect::<Vec<u64>>()
        };
        let mut on: Vec<Vec<u64>> = (0..slices).map(one).collect();
        for set in &mut on {
            bits::trim(set, worlds.n);
        }
        on
    }

    /// Redraws what does not agree with the gate being on in just the slices `on`.
    ///
    /// What a set draw rules out for an `any` gate is taken out at once; worlds that still disagree are drawn one by
    /// one from their conditional distribution. Keeping the worlds that agree is rejection sampling, so both are exact.
    fn condition(&mut self, worlds: &Worlds, fold: &Fold, on: &[Vec<u64>], slices: usize, rng: &mut ChaCha8Rng) {
        if fold.rule == Rule::Any {
            for (input, through) in fold.inputs.iter().zip(&mut self.through) {
                for (slice, on) in on.iter().enumerate() {
                    let source = worlds.on(input.var, slice);
                    through.iter_mut().zip(source).zip(on).for_each(|((t, s), o)| *t &= !(s & !o));
                }
            }
            for on in on {
                self.leak.iter_mut().zip(on).for_each(|(l, o)| *l &= o);
            }
        }
        let found = self.evaluate(worlds, fold, slices);
        let mut wrong = vec![0u64; self.leak.len()];
        for (a, b) in found.iter().zip(on) {
            wrong.iter_mut().zip(a).zip(b).for_each(|((w, a), b)| *w |= a ^ b);
        }
        if wrong.iter().all(|&word| word == 0) {
            return;
        }
        if fold.rule == Rule::Any && slices == 1 {
            self.cover(worlds, fold, &wrong, rng);
            return;
        }
        let walk = Walk::of(fold);
        let all = SliceSet::all(slices);
        let mut states = vec![0; fold.inputs.len()];
        for world in bits::members(&wrong) {
            let inputs = states.iter_mut().zip(&fold.inputs);
            inputs.for_each(|(state, input)| *state = usize::from(worlds.states[input.var.at()][world]));
            let goal = set_at(on, world);
            match walk.draw(fold, &states, goal, all, rng) {
                Some((through, leak)) => {
                    self.through.iter_mut().zip(&through).for_each(|(set, &t)| bits::put(set, world, t));
                    bits::put(&mut self.leak, world, leak);
                }
                // Only over a cut link: the gate was on for an input that then came out off. Something not among the
                // inputs keeps it on.
                None => bits::put(&mut self.leak, world, goal == all),
            }
        }
    }

    /// Draws, in worlds where an `any` gate of one slice is on and nothing has got through yet, the leak and the links
    /// of the inputs that are on, given that at least one is active: each in turn, given that it or a later one is.
    fn cover(&mut self, worlds: &Worlds, fold: &Fold, wrong: &[u64], rng: &mut ChaCha8Rng) {
        let mut candidates: Vec<(usize, f64, f64)> = Vec::with_capacity(fold.inputs.len());
        for world in bits::members(wrong) {
            candidates.clear();
            let mut none = 1.0;
            for (j, input) in fold.inputs.iter().enumerate() {
                if worlds.on(input.var, 0)[world / 64] >> (world % 64) & 1 == 1 {
                    none *= 1.0 - input.strength;
                    candidates.push((j, input.strength, none));
                }
            }
            // From here backward: `none` is the chance that neither this one nor any drawn after it is active.
            let some = 1.0 - (1.0 - fold.leak) * none;
            // Without any candidate the gate was on over a cut link: something not among the inputs keeps it on.
            let mut met = some <= 0.0 || bits::unit(rng) * some < fold.leak;
            bits::put(&mut self.leak, world, met);
            for &(j, strength, none) in candidates.iter().rev() {
                let chance = if met { strength } else { strength / (1.0 - none) };
                let active = bits::unit(rng) < chance;
                met |= active;
                bits::put(&mut self.through[j], world, active);
            }
        }
    }

    /// One set for each input as the mechanism lists them, and the leak.
    fn by_input(self, fold: &Fold, mechanism: &Mechanism, inputs: usize, n: usize) -> (Vec<Vec<u64>>, Vec<u64>) {
        let mut sets = vec![vec![0; bits::words(n)]; inputs];
        if matches!(mechanism, Mechanism::Count { .. }) {
            for set in &mut sets {
                set.fill(u64::MAX);
                bits::trim(set, n);
            }
        } else {
            fold.inputs.iter().zip(self.through).for_each(|(input, set)| sets[input.index] = set);
        }
        (sets, self.leak)
    }
}

/// The worlds of a word in which the number of sets that hold them lies in `least..=most`.
fn count_word(sets: impl Iterator<Item = u64>, least: u32, most: u32) -> u64 {
    // Counters across 64 worlds at once, one word a binary digit.
    let mut digits = [0u64; 8];
    for mut carry in sets {
        for digit in &mut digits {
            (*digit, carry) = (*digit ^ carry, *digit & carry);
        }
    }
    let count = |bit: usize| digits.iter().enumerate().fold(0, |n, (place, d)| n | ((d >> bit & 1) as u32) << place);
    (0..64).fold(0, |word, bit| word | u64::from((least..=most).contains(&count(bit))) << bit)
}

/// The codes after each input, for drawing one world's links given where the walk ends.
struct Walk {
    codes: Vec<Vec<u32>>,
}

impl Walk {
    fn of(fold: &Fold) -> Self {
        Self { codes: (0..=fold.inputs.len()).map(|n| fold.codes(n)).collect() }
    }

    /// Draws the links and the leak given the inputs' states and the gate's set; `None` where that cannot be.
    fn draw(
        &self,
        fold: &Fold,
        states: &[usize],
        goal: SliceSet,
        all: SliceSet,
        rng: &mut ChaCha8Rng,
    ) -> Option<(Vec<bool>, bool)> {
        let n = fold.inputs.len();
        let place = |after: usize, code: u32| self.codes[after].binary_search(&code).ok();
        let chance_of_end =
            |code: u32| fold.end(code).iter().filter(|&&(set, _)| set == goal).map(|&(_, p)| p).sum::<f64>();
        // From the end: the chance to reach the goal from each code.
        let mut reach: Vec<Vec<f64>> = vec![self.codes[n].iter().map(|&code| chance_of_end(code)).collect()];
        for at in (0..n).rev() {
            let later = &reach[reach.len() - 1];
            let from = |&code: &u32| {
                let steps = fold.step(code, &fold.inputs[at], states[at]);
                steps.iter().map(|&(to, p)| place(at + 1, to).map_or(0.0, |to| p * later[to])).sum::<f64>()
            };
            let row = self.codes[at].iter().map(from).collect();
            reach.push(row);
        }
        reach.reverse();
        let starts: Vec<(u32, f64)> =
            fold.start().iter().map(|&(code, p)| (code, place(0, code).map_or(0.0, |at| p * reach[0][at]))).collect();
        let total: f64 = starts.iter().map(|&(_, p)| p).sum();
        if total <= 0.0 {
            return None;
        }
        let first = pick(&starts.iter().map(|&(_, p)| p).collect::<Vec<_>>(), rng);
        let mut code = starts[first].0;
        let mut leak =
            fold.rule == Rule::Any && fold.leak > 0.0 && SliceSet(code as u8) == all && first == starts.len() - 1;
        let mut through = Vec::with_capacity(n);
        for at in 0..n {
            let steps = fold.step(code, &fold.inputs[at], states[at]);
            let weights = steps.map(|(to, p)| place(at + 1, to).map_or(0.0, |to| p * reach[at + 1][to]));
            let which = pick(&weights, rng);
            code = steps[which].0;
            through.push(which == 0);
        }
        if fold.rule != Rule::Any {
            let ends = fold.end(code);
            let weight = |&(set, p): &(SliceSet, f64)| if set == goal { p } else { 0.0 };
            let which = pick(&ends.iter().map(weight).collect::<Vec<_>>(), rng);
            // The leak's end stands last, and alone only where the leak is certain.
            leak = fold.leak > 0.0 && which + 1 == ends.len() && (ends.len() == 2 || fold.leak >= 1.0);
        }
        Some((through, leak))
    }
}

/// Draws a place in proportion to its weight; never one of weight zero where any is above.
fn pick(weights: &[f64], rng: &mut ChaCha8Rng) -> usize {
    let total: f64 = weights.iter().sum();
    let mut u = bits::unit(rng) * total;
    let last = weights.iter().rposition(|&w| w > 0.0).unwrap_or(0);
    for (at, &weight) in weights.iter().enumerate().take(last) {
        u -= weight;
        if u < 0.0 {
            return at;
        }
    }
    last
}
