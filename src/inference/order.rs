//! Elimination orders: min-fill with random ties on the part of the graph that is not trivial, then a little annealing.
//!
//! The cost of an order is the sum over its steps of the cells of the table that the step multiplies out. Everything
//! here is deterministic: the random numbers come from a fixed seed.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::bits::below;

/// An order and what it costs.
#[derive(Clone, Debug)]
pub(super) struct Order {
    /// Every variable once, first to go first.
    pub(super) sequence: Vec<usize>,
    /// Sum of the cells of the tables of all steps.
    pub(super) cells: f64,
}

/// What placing one variable costs when an order is searched greedily, in cells of a pass; measured.
const GREEDY_CELLS: f64 = 400.0;
/// What placing one variable costs when a given order is only evaluated, in cells of a pass; measured.
const EVALUATED_CELLS: f64 = 60.0;
/// A variable of at most two neighbors goes at once if its table stays this small.
const SERIES_CELLS: f64 = 64.0;
/// Annealing steps, at most, for each order tried.
const ANNEALING_STEPS: usize = 12;

/// Variables and which of them share a table, one row of bits each.
#[derive(Clone)]
struct Neighbors {
    words: usize,
    bits: Vec<u64>,
}

impl Neighbors {
    fn new(n: usize) -> Self {
        let words = n.div_ceil(64).max(1);
        Self { words, bits: vec![0; n * words] }
    }

    /// Those of `n` variables that share a scope.
    fn of<'a>(n: usize, scopes: impl IntoIterator<Item = &'a [usize]>) -> Self {
        let mut graph = Self::new(n);
        for scope in scopes {
            for (i, &u) in scope.iter().enumerate() {
                scope[..i].iter().for_each(|&v| graph.connect(u, v));
            }
        }
        graph
    }

    fn row(&self, v: usize) -> &[u64] {
        &self.bits[v * self.words..(v + 1) * self.words]
    }

    fn connect(&mut self, u: usize, v: usize) {
        if u != v {
            self.bits[u * self.words + v / 64] |= 1 << (v % 64);
            self.bits[v * self.words + u / 64] |= 1 << (u % 64);
        }
    }

    fn list(&self, v: usize, out: &mut Vec<usize>) {
        out.clear();
        for (word, &bits) in self.row(v).iter().enumerate() {
            let mut bits = bits;
            while bits != 0 {
                out.push(word * 64 + bits.trailing_zeros() as usize);
                bits &= bits - 1;
            }
        }
    }

    /// How many pairs among the neighbors of `v` are not yet neighbors.
    fn fill(&self, v: usize, list: &[usize]) -> u32 {
        let row = self.row(v);
        let missing: u32 = list
            .iter()
            .map(|&u| {
                let others = self.row(u);
                row.iter().zip(others).map(|(a, b)| (a & !b).count_ones()).sum::<u32>() - 1
            })
            .sum();
        missing / 2
    }

    /// The same for one of a clique, all of whom know each other: no more than its other neighbors is looked at.
    fn fill_beside(&self, v: usize, clique: &[u64]) -> u32 {
        let row = self.row(v);
        let (mut missing, mut others) = (0, 0);
        for (word, (&bits, &inside)) in row.iter().zip(clique).enumerate() {
            let mut bits = bits & !inside;
            others += bits.count_ones();
            while bits != 0 {
                let u = word * 64 + bits.trailing_zeros() as usize;
                bits &= bits - 1;
                // A pair of others is met from both sides, one across from one.
                missing += row
                    .iter()
                    .zip(self.row(u))
                    .zip(clique)
                    .map(|((a, b), c)| (a & !b).count_ones() + (a & !b & c).count_ones())
                    .sum::<u32>();
            }
        }
        (missing - others) / 2
    }

    /// Takes off the fill of all others what taking `v` out with its neighbors (`list`, the `clique`) makes needless;
    /// those of its neighbors that get to know others by it are left for [`Neighbors::fill_beside`] and returned in `met`.
    fn fill_in(&self, v: usize, list: &[usize], clique: &[u64], weights: &mut [Weight], met: &mut Vec<usize>) {
        met.clear();
        for &a in list {
            let row = self.row(a);
            let mut is_met = false;
            for (word, &inside) in clique.iter().enumerate() {
                let mut strangers = inside & !row[word];
                strangers &= !if word == a / 64 { 1 << (a % 64) } else { 0 };
                is_met |= strangers != 0;
                while strangers != 0 {
                    let b = word * 64 + strangers.trailing_zeros() as usize;
                    strangers &= strangers - 1;
                    if a < b {
                        acquaint(v, row, self.row(b), weights);
                    }
                }
            }
            if is_met {
                met.push(a);
            } else {
                // Nobody else needs to know `v` any more.
                let others: u32 = row.iter().zip(clique).map(|(r, c)| (r & !c).count_ones()).sum();
                weights[a].fill -= others - 1;
            }
        }
    }

    /// Takes `v` out and makes its neighbors (`list`) a clique.
    fn eliminate(&mut self, v: usize, list: &[usize]) {
        let words = self.words;
        let row: Vec<u64> = self.row(v).to_vec();
        for &u in list {
            for (word, &bits) in row.iter().enumerate() {
                self.bits[u * words + word] |= bits;
            }
            self.bits[u * words + u / 64] &= !(1 << (u % 64));
            self.bits[u * words + v / 64] &= !(1 << (v % 64));
        }
        self.bits[v * words..(v + 1) * words].fill(0);
    }
}

/// Searches for a cheap order of `0..cards.len()`, trying `tries` randomized orders beside the plain one. `None` where the
/// plain one is beyond `bound` cells, which is known early: a no costs less than a search.
pub(super) fn search<'a>(
    cards: &[usize],
    scopes: impl IntoIterator<Item = &'a [usize]>,
    tries: usize,
    bound: f64,
) -> Option<Order> {
    let Problem { prefix, prefix_cells, core } = Problem::of(cards, scopes);
    if prefix_cells > bound {
        return None;
    }
    let plain = core.greedy(None, bound - prefix_cells)?;
    let best = core.search(plain, tries, prefix_cells);
    let mut sequence = prefix;
    sequence.extend(best.sequence.iter().map(|&v| core.names[v]));
    Some(Order { sequence, cells: prefix_cells + best.cells })
}

/// The variables of the largest table of an order.
pub(super) fn widest<'a>(
    cards: &[usize],
    scopes: impl IntoIterator<Item = &'a [usize]>,
    sequence: &[usize],
) -> Vec<usize> {
    let cards: Vec<f64> = cards.iter().map(|&n| n as f64).collect();
    let mut graph = Neighbors::of(cards.len(), scopes);
    let (mut largest, mut widest, mut list) = (0.0, Vec::new(), Vec::new());
    for &v in sequence {
        graph.list(v, &mut list);
        let cells = step_cells(&cards, v, &list);
        if cells > largest {
            largest = cells;
            widest.clone_from(&list);
            widest.push(v);
        }
        graph.eliminate(v, &list);
    }
    widest
}

/// A graph with its trivial variables taken out.
struct Problem {
    prefix: Vec<usize>,
    prefix_cells: f64,
    core: Core,
}

impl Problem {
    fn of<'a>(cards: &[usize], scopes: impl IntoIterator<Item = &'a [usize]>) -> Self {
        let cards: Vec<f64> = cards.iter().map(|&n| n as f64).collect();
        let mut graph = Neighbors::of(cards.len(), scopes);
        let (prefix, prefix_cells) = trivial_prefix(&mut graph, &cards);
        let core = Core::of(&graph, &prefix, &cards);
        Self { prefix, prefix_cells, core }
    }
}

/// Takes out, again and again, variables whose neighbors already are a clique (no order does better by waiting) and
/// those with two neighbors and a small table (no order becomes wider by it). Also gives the cells of their tables.
fn trivial_prefix(graph: &mut Neighbors, cards: &[f64]) -> (Vec<usize>, f64) {
    let n = cards.len();
    let (mut sequence, mut cells) = (Vec::with_capacity(n), 0.0);
    let mut gone = vec![false; n];
    let mut queue: Vec<usize> = (0..n).rev().collect();
    let mut queued = vec![true; n];
    let mut list = Vec::new();
    while let Some(v) = queue.pop() {
        queued[v] = false;
        if gone[v] {
            continue;
        }
        graph.list(v, &mut list);
        let is_series = || list.len() <= 2 && step_cells(cards, v, &list) <= SERIES_CELLS;
        if graph.fill(v, &list) > 0 && !is_series() {
            continue;
        }
        cells += step_cells(cards, v, &list);
        graph.eliminate(v, &list);
        gone[v] = true;
        sequence.push(v);
        for &u in list.iter().rev() {
            if !queued[u] {
                queued[u] = true;
                queue.push(u);
            }
        }
    }
    (sequence, cells)
}

/// The total cells of `sequence`; stops early once over `bound`, which is then infinity.
fn cost(graph: &Neighbors, cards: &[f64], sequence: &[usize], bound: f64) -> f64 {
    let mut graph = graph.clone();
    let mut total = 0.0;
    let mut list = Vec::new();
    for &v in sequence {
        graph.list(v, &mut list);
        total += step_cells(cards, v, &list);
        if total > bound {
            return f64::INFINITY;
        }
        graph.eliminate(v, &list);
    }
    total
}

/// The cells of the table that taking out `v` multiplies out.
fn step_cells(cards: &[f64], v: usize, neighbors: &[usize]) -> f64 {
    neighbors.iter().fold(cards[v], |cells, &u| cells * cards[u])
}

/// What is left when the trivial variables are gone, renumbered.
struct Core {
    names: Vec<usize>,
    cards: Vec<f64>,
    logs: Vec<f64>,
    graph: Neighbors,
    /// For each variable how much taking it out first would fill in, and how wide it would be.
    weights: Vec<Weight>,
}

/// What the choice of the next variable goes by.
#[derive(Clone, Copy, Debug, Default)]
struct Weight {
    /// How many pairs of neighbors are not yet neighbors of each other.
    fill: u32,
    /// The base-2 log of the cells of its table.
    width: f64,
}

impl Core {
    fn of(graph: &Neighbors, gone: &[usize], cards: &[f64]) -> Self {
        let n = cards.len();
        let mut number = vec![usize::MAX; n];
        let mut is_gone = vec![false; n];
        for &v in gone {
            is_gone[v] = true;
        }
        let names: Vec<usize> = (0..n).filter(|&v| !is_gone[v]).collect();
        names.iter().enumerate().for_each(|(i, &v)| number[v] = i);
        let mut core = Neighbors::new(names.len());
        let mut list = Vec::new();
        for (i, &v) in names.iter().enumerate() {
            graph.list(v, &mut list);
            for &u in &list {
                core.connect(i, number[u]);
            }
        }
        let cards: Vec<f64> = names.iter().map(|&v| cards[v]).collect();
        let logs: Vec<f64> = cards.iter().map(|&n| libm::log2(n)).collect();
        let weight = |v: usize| {
            core.list(v, &mut list);
            Weight { fill: core.fill(v, &list), width: width(&logs, v, &list) }
        };
        let weights = (0..names.len()).map(weight).collect();
        Self { logs, cards, names, graph: core, weights }
    }

    /// The best of `plain` and what comes of `tries` randomized orders.
    fn search(&self, plain: Order, tries: usize, prefix_cells: f64) -> Order {
        let mut rng = ChaCha8Rng::seed_from_u64(0x6f72_6465_7221);
        let mut best = plain;
        // The search ends where it has cost as much as a pass: then it costs more than it saves.
        let n = self.names.len() as f64;
        for attempt in 0..tries {
            if (attempt + 1) as f64 * n * GREEDY_CELLS > best.cells + prefix_cells {
                break;
            }
            let Some(found) = self.greedy(Some(&mut rng), best.cells) else { continue };
            if found.cells < best.cells {
                best = found;
            }
        }
        let affordable = (best.cells + prefix_cells) / (n * EVALUATED_CELLS).max(1.0);
        self.anneal(best, (tries * ANNEALING_STEPS).min(affordable as usize), &mut rng)
    }

    /// Least fill first, ties to the smaller table; with `rng` both are blurred. `None` once over `bound` cells.
    fn greedy(&self, mut rng: Option<&mut ChaCha8Rng>, bound: f64) -> Option<Order> {
        let n = self.names.len();
        let mut graph = self.graph.clone();
        let mut weights = self.weights.clone();
        let by_cells = rng.as_mut().is_some_and(|rng| rng.next_u32() & 1 == 1);
        let mut score = |Weight { fill, width }: Weight| {
            let fill = f64::from(fill);
            let plain = if by_cells { width + 0.05 * fill } else { fill + 0.01 * width };
            rng.as_mut().map_or(plain, |rng| plain * (1.0 + 0.4 * unit(rng)))
        };
        let mut scores: Vec<f64> = weights.iter().map(|&weight| score(weight)).collect();
        let mut alive: Vec<usize> = (0..n).collect();
        let mut sequence = Vec::with_capacity(n);
        let mut total = 0.0;
        let (mut list, mut touched, mut met) = (Vec::new(), Vec::new(), Vec::new());
        let (mut stale, mut clique) = (vec![0u64; graph.words], vec![0u64; graph.words]);
        while let Some(at) = least(&scores) {
            let v = alive.swap_remove(at);
            scores.swap_remove(at);
            graph.list(v, &mut touched);
            total += step_cells(&self.cards, v, &touched);
            if total > bound {
                return None;
            }
            clique.copy_from_slice(graph.row(v));
            graph.fill_in(v, &touched, &clique, &mut weights, &mut met);
            graph.eliminate(v, &touched);
            sequence.push(v);
            // A new edge changes the fill of whoever knows both its ends; those are neighbors of the clique.
            stale.fill(0);
            for &u in &met {
                weights[u].fill = graph.fill_beside(u, &clique);
            }
            for &u in &touched {
                graph.list(u, &mut list);
                weights[u].width = width(&self.logs, u, &list);
                stale.iter_mut().zip(graph.row(u)).for_each(|(s, r)| *s |= r);
                stale[u / 64] |= 1 << (u % 64);
            }
            for (&u, own) in alive.iter().zip(&mut scores) {
                if stale[u / 64] >> (u % 64) & 1 == 1 {
                    *own = score(weights[u]);
                }
            }
        }
        Some(Order { sequence, cells: total })
    }

    /// Moves single variables about, downhill and now and then a little uphill.
    fn anneal(&self, start: Order, steps: usize, rng: &mut ChaCha8Rng) -> Order {
        let n = start.sequence.len();
        if n < 3 {
            return start;
        }
        let (mut current, mut current_cells) = (start.sequence.clone(), start.cells);
        let mut best = start;
        for step in 0..steps {
            let heat = 0.3 * (1.0 - step as f64 / steps as f64);
            let bound = current_cells * libm::exp2(-heat * libm::log2(unit(rng).max(1e-9)));
            let (from, to) = (below(rng, n), below(rng, n));
            let moved = current.remove(from);
            current.insert(to, moved);
            let found = cost(&self.graph, &self.cards, &current, bound);
            if found <= bound {
                current_cells = found;
                if found < best.cells {
                    best.cells = found;
                    best.sequence.clone_from(&current);
                }
            } else {
                let moved = current.remove(to);
                current.insert(from, moved);
            }
        }
        best
    }
}

/// One pair less is missing for whoever knows both, but for `v`, which goes.
fn acquaint(v: usize, a: &[u64], b: &[u64], weights: &mut [Weight]) {
    for (word, (a, b)) in a.iter().zip(b).enumerate() {
        let mut both = a & b & !if word == v / 64 { 1 << (v % 64) } else { 0 };
        while both != 0 {
            weights[word * 64 + both.trailing_zeros() as usize].fill -= 1;
            both &= both - 1;
        }
    }
}

/// The place of the least score, the first of them.
fn least(scores: &[f64]) -> Option<usize> {
    let (mut at, mut least) = (None, f64::INFINITY);
    for (i, &score) in scores.iter().enumerate() {
        if score < least {
            (at, least) = (Some(i), score);
        }
    }
    at
}

/// The base-2 log of the cells of the table that taking out `v` multiplies out.
fn width(logs: &[f64], v: usize, neighbors: &[usize]) -> f64 {
    logs[v] + neighbors.iter().map(|&u| logs[u]).sum::<f64>()
}

fn unit(rng: &mut ChaCha8Rng) -> f64 {
    f64::from(rng.next_u32()) / 4_294_967_296.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_chain_costs_four_cells_a_step() {
        let scopes: Vec<Vec<usize>> = (0..9).map(|i| vec![i, i + 1]).collect();
        let order = search(&[2; 10], scopes.iter().map(Vec::as_slice), 4, f64::INFINITY).expect("no bound");
        assert_eq!(order.sequence.len(), 10);
        assert!((order.cells - (9.0 * 4.0 + 2.0)).abs() < 1e-9, "got {}", order.cells);
    }

    #[test]
    fn a_ring_costs_eight_cells_a_step_until_it_closes() {
        let scopes: Vec<Vec<usize>> = (0..6).map(|i| vec![i, (i + 1) % 6]).collect();
        let order = search(&[2; 6], scopes.iter().map(Vec::as_slice), 4, f64::INFINITY).expect("no bound");
        assert!((order.cells - (4.0 * 8.0 + 4.0 + 2.0)).abs() < 1e-9, "got {}", order.cells);
    }
}
