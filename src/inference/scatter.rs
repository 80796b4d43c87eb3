//! Drawing the same thing in thousands of worlds that hardly differ.
//!
//! What is known of most worlds is the same: faults are rare and most of what they would bring about is off. So a column
//! of states is the usual state and the worlds that have another, and a step looks only at those, and at the few of the
//! usual ones that it makes unusual: how many worlds lie between two of them is drawn at once.

use rand::Rng;
use rand_chacha::ChaCha8Rng;

use super::bits::Shares;
use super::split::{Listed, Source};
use super::{bits, sample};
use std::collections::BTreeSet;

/// A state for each world.
#[derive(Clone, Debug, Default)]
pub(super) struct Column {
    /// The state of every world that is not among the others.
    usual: u8,
    /// Worlds and their states, each world once, packed: there are millions of them to go through.
    others: Vec<u32>,
}

/// More worlds than this do not go into a [`Column`].
pub(super) const WORLDS_MAX: usize = 1 << 24;

fn packed(world: u32, state: u8) -> u32 {
    world << 8 | u32::from(state)
}

fn unpacked(other: u32) -> (u32, u8) {
    (other >> 8, other as u8)
}

impl Column {
    /// The same state in every world.
    pub(super) fn of(usual: u8) -> Self {
        Self { usual, others: vec![] }
    }

    /// Of a state for each world.
    pub(super) fn of_all(states: &[u8]) -> Self {
        let usual = states.first().copied().unwrap_or(0);
        let others = (0..).zip(states).filter(|&(_, &state)| state != usual);
        Self { usual, others: others.map(|(world, &state)| packed(world, state)).collect() }
    }

    /// The same with every state by another name.
    pub(super) fn renamed(&self, names: &[usize]) -> Self {
        let name = |state: u8| names[usize::from(state)] as u8;
        let other = |other: &u32| {
            let (world, state) = unpacked(*other);
            packed(world, name(state))
        };
        Self { usual: name(self.usual), others: self.others.iter().map(other).collect() }
    }

    /// Those of `n` worlds, one bit each, whose state is `inside`.
    pub(super) fn set(&self, inside: &[bool], n: usize) -> Vec<u64> {
        let usual = inside[usize::from(self.usual)];
        let mut set = vec![if usual { u64::MAX } else { 0 }; bits::words(n)];
        bits::trim(&mut set, n);
        for (world, state) in self.others.iter().copied().map(unpacked) {
            set[world as usize / 64] ^= u64::from(inside[usize::from(state)] != usual) << (world % 64);
        }
        set
    }

    /// The state of each of `n` worlds.
    pub(super) fn states(&self, n: usize) -> Vec<u8> {
        let mut states = vec![self.usual; n];
        for (world, state) in self.others.iter().copied().map(unpacked) {
            states[world as usize] = state;
        }
        states
    }
}

/// The worlds that are not in the usual configuration, by configuration, in the order in which these are first met.
#[derive(Default)]
pub(super) struct Groups {
    /// How many worlds there are.
    n: usize,
    /// The configuration of all worlds that are not listed.
    usual: usize,
    configurations: Vec<u32>,
    /// Where the worlds of each configuration begin, and where the last end.
    starts: Vec<usize>,
    worlds: Vec<u32>,
    /// Which use of this memory it is.
    now: u32,
    /// For each world the use it was last listed in, and below that how far its configuration then lay from the usual
    /// one, modulo 2^32.
    apart: Vec<u64>,
    /// The listed worlds in the order in which they were met, and room for one more.
    met: Vec<u32>,
    /// How many those are.
    listed: usize,
    /// The place of each configuration among those met; `u32::MAX` between two uses.
    place: Vec<u32>,
}

impl Groups {
    /// For `n` worlds.
    pub(super) fn new(n: usize) -> Self {
        Self { n, apart: vec![0; n], met: vec![0; n + 1], ..Self::default() }
    }

    /// Groups the worlds by what is known of them: columns, and how far two states of each lie apart in one of `len`
    /// configurations.
    pub(super) fn gather<'c>(&mut self, known: impl Iterator<Item = (usize, &'c Column)>, len: usize) {
        self.now += 1;
        let now = u64::from(self.now) << 32;
        let (mut usual, mut listed) = (0, 0);
        let (all, met) = (self.apart.as_mut_slice(), self.met.as_mut_slice());
        for (step, column) in known {
            usual += step * usize::from(column.usual);
            for (world, state) in column.others.iter().copied().map(unpacked) {
                // Written whether it is new or not: whether it is cannot be foretold, and guessing wrong costs more.
                let apart = &mut all[world as usize];
                let is_new = *apart >> 32 != now >> 32;
                met[listed] = world;
                listed += usize::from(is_new);
                let difference = u32::from(state).wrapping_sub(u32::from(column.usual)).wrapping_mul(step as u32);
                let before = if is_new { 0 } else { *apart as u32 };
                *apart = now | u64::from(before.wrapping_add(difference));
            }
        }
        (self.usual, self.listed) = (usual, listed);
        self.group(len);
    }

    /// Puts those met in order.
    fn group(&mut self, len: usize) {
        if self.place.len() < len {
            self.place.resize(len, u32::MAX);
        }
        self.configurations.clear();
        self.starts.clear();
        let met = &self.met[..self.listed];
        for &world in met {
            let at = (self.usual as u32).wrapping_add(self.apart[world as usize] as u32);
            let place = &mut self.place[at as usize];
            if *place == u32::MAX {
                *place = self.starts.len() as u32;
                self.configurations.push(at);
                self.starts.push(0);
            }
            self.starts[*place as usize] += 1;
        }
        let mut end = 0;
        for start in &mut self.starts {
            end += std::mem::replace(start, end);
        }
        self.starts.push(end);
        self.worlds.resize(met.len(), 0);
        // Each start moves to the end of its group and is then the next one's.
        for &world in met {
            let at = (self.usual as u32).wrapping_add(self.apart[world as usize] as u32);
            let start = &mut self.starts[self.place[at as usize] as usize];
            self.worlds[*start] = world;
            *start += 1;
        }
        self.starts.rotate_right(1);
        self.starts[0] = 0;
        self.configurations.iter().for_each(|&at| self.place[at as usize] = u32::MAX);
    }

    fn iter(&self) -> impl Iterator<Item = (usize, &[u32])> {
        let worlds = self.starts.windows(2).map(|bounds| &self.worlds[bounds[0]..bounds[1]]);
        self.configurations.iter().map(|&at| at as usize).zip(worlds)
    }

    fn is_usual(&self, world: usize) -> bool {
        self.apart[world] >> 32 != u64::from(self.now)
    }
}

/// What a step can draw in one configuration of what is known.
#[derive(Default)]
pub(super) struct Choices {
    /// The chance of each choice or an earlier one.
    limits: Vec<f64>,
    /// Where each choice leads in both tables.
    cells: Vec<[u32; 2]>,
}

impl Choices {
    /// Where the choices lead, none yet: to be filled and then [weighed](Self::weigh).
    pub(super) fn cells(&mut self) -> &mut Vec<[u32; 2]> {
        self.cells.clear();
        &mut self.cells
    }

    /// Gives every choice its chance, in proportion to its weight by place and cells.
    pub(super) fn weigh(&mut self, weight: impl Fn(usize, [u32; 2]) -> f64) {
        let mut total = 0.0;
        self.limits.clear();
        self.limits.extend(self.cells.iter().enumerate().map(|(place, &cells)| {
            total += weight(place, cells);
            total
        }));
        // Where rounding let a world in that cannot be, any choice is as good.
        for limit in &mut self.limits {
            *limit /= total.max(f64::MIN_POSITIVE);
        }
    }

    /// The first choice whose limit lies above `u`.
    fn pick(&self, u: f64) -> usize {
        self.limits.partition_point(|&limit| limit <= u).min(self.limits.len() - 1)
    }

    /// Draws for each of these worlds, of all choices or of all `but` one: every choice for as many of them as its chance
    /// says, rounded up or down, and which of them is drawn.
    fn share_out(&self, worlds: &[u32], but: Option<usize>, rng: &mut ChaCha8Rng, draws: &mut Vec<(u32, usize)>) {
        draws.clear();
        if worlds.is_empty() {
            return;
        }
        let [from, to] = but.map_or([1.0, 1.0], |but| self.span(but));
        let (start, step) = (uniform(rng), (1.0 - (to - from)) / worlds.len() as f64);
        let mut choice = 0;
        draws.extend(worlds.iter().enumerate().map(|(at, &world)| {
            let u = (at as f64 + start) * step;
            let u = if u < from { u } else { u + (to - from) };
            while choice + 1 < self.limits.len() && self.limits[choice] <= u {
                choice += 1;
            }
            (world, choice)
        }));
        if draws[0].1 == choice {
            return;
        }
        for at in (1..draws.len()).rev() {
            let other = bits::below(rng, at + 1);
            let chosen = draws[at].1;
            draws[at].1 = std::mem::replace(&mut draws[other].1, chosen);
        }
    }

    /// Every choice with its chance.
    #[cfg(test)]
    pub(super) fn chances(&self) -> impl Iterator<Item = ([u32; 2], f64)> {
        let chance = |place: usize| self.limits[place] - self.span(place)[0];
        self.cells.iter().enumerate().map(move |(place, &cells)| (cells, chance(place)))
    }

    /// Where the chance of a choice begins and ends.
    fn span(&self, choice: usize) -> [f64; 2] {
        [if choice == 0 { 0.0 } else { self.limits[choice - 1] }, self.limits[choice]]
    }

    /// The likeliest choice.
    fn likeliest(&self) -> usize {
        let chance = |choice: usize| -> f64 {
            let [from, to] = self.span(choice);
            to - from
        };
        (1..self.limits.len()).fold(0, |best, choice| if chance(choice) > chance(best) { choice } else { best })
    }
}

/// What the worlds have drawn.
pub(super) struct Picked {
    /// Cells in both tables, those of the usual draw first.
    cells: Vec<[u32; 2]>,
    /// Worlds that have drawn something else, or may have, and the place of its cells.
    others: Vec<(u32, u32)>,
}

impl Picked {
    /// Picks in every world, of what there is for its configuration; one list stands at a time.
    pub(super) fn of(groups: &Groups, rng: &mut ChaCha8Rng, source: &Source) -> Self {
        let mut choices = Choices::default();
        let mut picked = Self { cells: vec![[0, 0]], others: Vec::with_capacity(groups.worlds.len()) };
        let mut draws = Vec::new();
        for (at, worlds) in groups.iter() {
            let listed = source.list(&mut choices, at);
            choices.share_out(worlds, None, rng, &mut draws);
            picked.take(&mut draws, &choices, listed, at, source, rng);
        }
        let listed = source.list(&mut choices, groups.usual);
        let likeliest = choices.likeliest();
        let [from, to] = choices.span(likeliest);
        let mut unusual = Vec::new();
        scatter(groups.n, 1.0 - (to - from), rng, |world| {
            // The listed worlds have drawn.
            if groups.is_usual(world) {
                unusual.push(world as u32);
            }
        });
        choices.share_out(&unusual, Some(likeliest), rng, &mut draws);
        picked.cells[0] = choices.cells[likeliest];
        if listed == Listed::First {
            // Then every world has a second draw of its own, the usual ones too.
            let drawn: BTreeSet<u32> = draws.iter().map(|&(world, _)| world).collect();
            let rest = (0..groups.n).filter(|&world| groups.is_usual(world)).map(|world| world as u32);
            draws.extend(rest.filter(|world| !drawn.contains(world)).map(|world| (world, likeliest)));
        }
        picked.take(&mut draws, &choices, listed, groups.usual, source, rng);
        picked
    }

    /// Takes over the choices that worlds of configuration `at` have drawn, and draws the rest where that is not all.
    fn take(
        &mut self,
        draws: &mut [(u32, usize)],
        choices: &Choices,
        listed: Listed,
        at: usize,
        source: &Source,
        rng: &mut ChaCha8Rng,
    ) {
        let start = self.cells.len();
        match listed {
            // Whichever is less: the cells of every choice or of every world.
            Listed::Whole if choices.cells.len() <= draws.len() => {
                self.cells.extend(&choices.cells);
                self.others.extend(draws.iter().map(|&(world, choice)| (world, (start + choice) as u32)));
            }
            Listed::Whole => {
                self.cells.extend(draws.iter().map(|&(_, choice)| choices.cells[choice]));
                self.others.extend((start as u32..).zip(&*draws).map(|(place, &(world, _))| (world, place)));
            }
            Listed::First => {
                draws.sort_unstable_by_key(|&(world, choice)| (choice, world));
                let mut second = Choices::default();
                for same in draws.chunk_by(|a, b| a.1 == b.1) {
                    source.list_second(&mut second, at, choices.cells[same[0].1]);
                    for &(world, _) in same {
                        self.others.push((world, self.cells.len() as u32));
                        self.cells.push(second.cells[second.pick(uniform(rng))]);
                    }
                }
            }
        }
    }

    /// The states of a node from the cells drawn in a table. `memory` is to use again.
    pub(super) fn decode(&self, side: usize, step: usize, states: usize, memory: &mut Vec<u32>) -> Column {
        let state_at = states_at(&self.cells, side, step as u32, states as u32);
        let usual = state_at[0];
        // Written whether it is the usual one or not, as when they are gathered.
        memory.resize(memory.len().max(self.others.len() + 1), 0);
        let mut count = 0;
        for &(world, place) in &self.others {
            let state = state_at[place as usize];
            memory[count] = packed(world, state);
            count += usize::from(state != usual);
        }
        Column { usual, others: memory[..count].to_vec() }
    }
}

/// The state of a node in each of some cells; nearly always all that there is to divide by are powers of two.
fn states_at(cells: &[[u32; 2]], side: usize, step: u32, states: u32) -> Vec<u8> {
    if step.is_power_of_two() && states.is_power_of_two() {
        let (shift, mask) = (step.trailing_zeros(), states - 1);
        return cells.iter().map(|cells| (cells[side] >> shift & mask) as u8).collect();
    }
    cells.iter().map(|cells| (cells[side] / step % states) as u8).collect()
}

/// Goes to each of `n` worlds with chance `p`, in order; to as many in all as that says, rounded up or down.
fn scatter(n: usize, p: f64, rng: &mut ChaCha8Rng, mut visit: impl FnMut(usize)) {
    if p <= 0.0 {
        return;
    }
    let mut shares = Shares::new(rng, n, p);
    for first in (0..n).step_by(64) {
        bits::members(&[shares.word(rng)]).for_each(|world| visit(first + world));
    }
}

/// Strictly between 0 and 1.
fn uniform(rng: &mut ChaCha8Rng) -> f64 {
    sample::uniform(&rng.next_u32().to_le_bytes())
}

#[cfg(test)]
mod tests {
    use super::super::split::Kept;
    use super::*;
    use rand::SeedableRng;

    #[test]
    fn every_world_is_visited_as_often_as_it_should() {
        let mut rng = ChaCha8Rng::seed_from_u64(3);
        let (n, rounds) = (130, 20_000);
        for p in [0.0, 1e-4, 0.03, 0.5, 0.97, 1.0] {
            let mut visits = vec![0u32; n];
            for _ in 0..rounds {
                scatter(n, p, &mut rng, |world| visits[world] += 1);
            }
            let (mean, sd) = (p * f64::from(rounds), (p * (1.0 - p) * f64::from(rounds)).sqrt());
            for (world, &visits) in visits.iter().enumerate() {
                assert!((f64::from(visits) - mean).abs() <= 5.0 * sd + 1.0, "{p}: world {world} {visits} times");
            }
        }
    }

    #[test]
    fn worlds_are_grouped_by_what_is_known() {
        let mut groups = Groups::new(70);
        let a = Column { usual: 1, others: vec![packed(69, 0), packed(3, 2)] };
        let b = Column { usual: 0, others: vec![packed(5, 1), packed(69, 1)] };
        // Twice: nothing may be left over from the first time.
        for _ in 0..2 {
            groups.gather([(2, &a), (1, &b)].into_iter(), 6);
            let found: Vec<(usize, Vec<u32>)> = groups.iter().map(|(at, worlds)| (at, worlds.to_vec())).collect();
            assert_eq!(groups.usual, 2);
            assert_eq!(found, [(1, vec![69]), (4, vec![3]), (3, vec![5])]);
        }
    }

    /// Two configurations; in the usual one three choices of .7, .2, .1, in the other .0, .5, .5.
    #[test]
    fn picks_come_as_often_as_they_should() {
        let mut rng = ChaCha8Rng::seed_from_u64(11);
        let (n, rounds) = (100, 4_000);
        let known = Column { usual: 0, others: (0..40).map(|world| packed(world, 1)).collect() };
        let weights = [[0.7, 0.2, 0.1], [0.0, 0.5, 0.5]];
        let source = Source {
            tables: [weights.concat(), vec![1.0]],
            summed: (3, [1, 0]),
            shared: vec![],
            kept: vec![Kept { step: 1, states: 2, steps: [3, 0] }],
        };
        let mut groups = Groups::new(n);
        let mut counts = [[0u32; 3]; 2];
        for _ in 0..rounds {
            groups.gather([(1, &known)].into_iter(), 2);
            let picked = Picked::of(&groups, &mut rng, &source);
            let states = picked.decode(0, 1, 3, &mut vec![]).states(n);
            for (world, &state) in states.iter().enumerate() {
                counts[usize::from(world < 40)][usize::from(state)] += 1;
            }
        }
        for ((counts, weights), worlds) in counts.iter().zip(weights).zip([60, 40]) {
            for (&count, p) in counts.iter().zip(weights) {
                let all = f64::from(rounds * worlds);
                assert!((f64::from(count) - p * all).abs() <= 5.0 * (p * (1.0 - p) * all).sqrt(), "{p}: {count}");
            }
        }
    }
}
