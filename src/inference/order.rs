//! Elimination orders: min-fill with random ties on the part of the graph that is not trivial, then a little annealing.
//!
//! The cost of an order is the sum over its steps of the cells of the table that the step multiplies out. Everything
//! here is deterministic: the random numbers come from a fixed seed.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// An order and what it costs.
#[derive(Clone, Debug)]
pub(super) struct Order {
    /// Every variable once, first to go first.
    pub(super) sequence: Vec<usize>,
    /// Sum of the cells of the tables of all steps.
    pub(super) cells: f64,
    /// The variables of the largest table.
    pub(super) widest: Vec<usize>,
}

/// What placing one variable costs when an order is searched greedily, in cells of a pass; measured.
const GREEDY_CELLS: f64 = 400.0;
/// What placing one variable costs when a given order is only evaluated, in cells of a pass; measured.
const EVALUATED_CELLS: f64 = 60.0;
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

/// Searches for a cheap order of `0..cards.len()`, trying `tries` randomized orders beside the plain one.
pub(super) fn search<'a>(cards: &[usize], scopes: impl IntoIterator<Item = &'a [usize]>, tries: usize) -> Order {
    let problem = Problem::of(cards, scopes);
    let best = problem.core.search(tries, problem.prefix_cells);
    let mut sequence = problem.prefix;
    sequence.extend(best.iter().map(|&v| problem.core.names[v]));
    let (cells, widest) = cost(&problem.whole, &problem.logs, &sequence, f64::INFINITY);
    Order { sequence, cells, widest }
}

/// Whether the plain order stays within `bound` cells. Gives up early, so that a no costs less than a search.
pub(super) fn is_within<'a>(cards: &[usize], scopes: impl IntoIterator<Item = &'a [usize]>, bound: f64) -> bool {
    let problem = Problem::of(cards, scopes);
    problem.core.greedy(None, bound - problem.prefix_cells).is_some()
}

/// A graph with its trivial variables taken out.
struct Problem {
    whole: Neighbors,
    logs: Vec<f64>,
    prefix: Vec<usize>,
    prefix_cells: f64,
    core: Core,
}

impl Problem {
    fn of<'a>(cards: &[usize], scopes: impl IntoIterator<Item = &'a [usize]>) -> Self {
        let logs: Vec<f64> = cards.iter().map(|&n| libm::log2(n as f64)).collect();
        let mut graph = Neighbors::new(cards.len());
        for scope in scopes {
            for (i, &u) in scope.iter().enumerate() {
                scope[..i].iter().for_each(|&v| graph.connect(u, v));
            }
        }
        let whole = graph.clone();
        let prefix = simplicial_prefix(&mut graph, cards.len());
        let core = Core::of(&graph, &prefix, &logs);
        let prefix_cells = cost(&whole, &logs, &prefix, f64::INFINITY).0;
        Self { whole, logs, prefix, prefix_cells, core }
    }
}

/// Takes out, again and again, variables whose neighbors already are a clique: no order does better by waiting.
fn simplicial_prefix(graph: &mut Neighbors, n: usize) -> Vec<usize> {
    let mut sequence = Vec::with_capacity(n);
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
        if graph.fill(v, &list) > 0 {
            continue;
        }
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
    sequence
}

/// The total cells of `sequence` and its widest step; stops early once over `bound`.
fn cost(graph: &Neighbors, logs: &[f64], sequence: &[usize], bound: f64) -> (f64, Vec<usize>) {
    let mut graph = graph.clone();
    let (mut total, mut largest, mut widest) = (0.0, 0.0, Vec::new());
    let mut list = Vec::new();
    for &v in sequence {
        graph.list(v, &mut list);
        let cells = libm::exp2(logs[v] + list.iter().map(|&u| logs[u]).sum::<f64>());
        total += cells;
        if cells > largest {
            largest = cells;
            widest.clone_from(&list);
            widest.push(v);
        }
        if total > bound {
            return (f64::INFINITY, widest);
        }
        graph.eliminate(v, &list);
    }
    (total, widest)
}

/// What is left when the trivial variables are gone, renumbered.
struct Core {
    names: Vec<usize>,
    logs: Vec<f64>,
    graph: Neighbors,
}

impl Core {
    fn of(graph: &Neighbors, gone: &[usize], logs: &[f64]) -> Self {
        let n = logs.len();
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
        Self { logs: names.iter().map(|&v| logs[v]).collect(), names, graph: core }
    }

    fn search(&self, tries: usize, prefix_cells: f64) -> Vec<usize> {
        let mut rng = ChaCha8Rng::seed_from_u64(0x6f72_6465_7221);
        let mut best = self.greedy(None, f64::INFINITY).unwrap_or_default();
        let mut cells = cost(&self.graph, &self.logs, &best, f64::INFINITY).0;
        // The search ends where it has cost as much as a pass: then it costs more than it saves.
        let n = self.names.len() as f64;
        for attempt in 0..tries {
            if (attempt + 1) as f64 * n * GREEDY_CELLS > cells + prefix_cells {
                break;
            }
            let Some(sequence) = self.greedy(Some(&mut rng), cells) else { continue };
            let found = cost(&self.graph, &self.logs, &sequence, cells).0;
            if found < cells {
                (best, cells) = (sequence, found);
            }
        }
        let affordable = (cells + prefix_cells) / (n * EVALUATED_CELLS).max(1.0);
        self.anneal(best, cells, (tries * ANNEALING_STEPS).min(affordable as usize), &mut rng)
    }

    /// Least fill first, ties to the smaller table; with `rng` both are blurred. `None` once over `bound` cells.
    fn greedy(&self, mut rng: Option<&mut ChaCha8Rng>, bound: f64) -> Option<Vec<usize>> {
        let n = self.names.len();
        let mut graph = self.graph.clone();
        let mut list = Vec::new();
        let by_cells = rng.as_mut().is_some_and(|rng| rng.next_u32() & 1 == 1);
        let mut score = |graph: &Neighbors, v: usize, list: &mut Vec<usize>| {
            graph.list(v, list);
            let width = self.logs[v] + list.iter().map(|&u| self.logs[u]).sum::<f64>();
            let fill = f64::from(graph.fill(v, list));
            let plain = if by_cells { width + 0.05 * fill } else { fill + 0.01 * width };
            rng.as_mut().map_or(plain, |rng| plain * (1.0 + 0.4 * unit(rng)))
        };
        let mut scores: Vec<f64> = (0..n).map(|v| score(&graph, v, &mut list)).collect();
        let mut alive: Vec<usize> = (0..n).collect();
        let mut sequence = Vec::with_capacity(n);
        let mut total = 0.0;
        while let Some(at) = (0..alive.len()).min_by(|&i, &j| scores[alive[i]].total_cmp(&scores[alive[j]])) {
            let v = alive.swap_remove(at);
            graph.list(v, &mut list);
            total += libm::exp2(self.logs[v] + list.iter().map(|&u| self.logs[u]).sum::<f64>());
            if total > bound {
                return None;
            }
            let touched = list.clone();
            graph.eliminate(v, &list);
            sequence.push(v);
            // A new edge changes the fill of whoever knows both its ends; those are neighbors of the clique.
            let mut stale = vec![0u64; graph.words];
            for &u in &touched {
                stale.iter_mut().zip(graph.row(u)).for_each(|(s, r)| *s |= r);
                stale[u / 64] |= 1 << (u % 64);
            }
            for &u in &alive {
                if stale[u / 64] >> (u % 64) & 1 == 1 {
                    scores[u] = score(&graph, u, &mut list);
                }
            }
        }
        Some(sequence)
    }

    /// Moves single variables about, downhill and now and then a little uphill.
    fn anneal(&self, start: Vec<usize>, cells: f64, steps: usize, rng: &mut ChaCha8Rng) -> Vec<usize> {
        let n = start.len();
        if n < 3 {
            return start;
        }
        let (mut best, mut best_cells) = (start.clone(), cells);
        let (mut current, mut current_cells) = (start, cells);
        for step in 0..steps {
            let heat = 0.3 * (1.0 - step as f64 / steps as f64);
            let bound = current_cells * libm::exp2(-heat * libm::log2(unit(rng).max(1e-9)));
            let (from, to) = (below(rng, n), below(rng, n));
            let moved = current.remove(from);
            current.insert(to, moved);
            let found = cost(&self.graph, &self.logs, &current, bound).0;
            if found <= bound {
                current_cells = found;
                if found < best_cells {
                    best_cells = found;
                    best.clone_from(&current);
                }
            } else {
                let moved = current.remove(to);
                current.insert(from, moved);
            }
        }
        best
    }
}

fn unit(rng: &mut ChaCha8Rng) -> f64 {
    f64::from(rng.next_u32()) / 4_294_967_296.0
}

fn below(rng: &mut ChaCha8Rng, n: usize) -> usize {
    ((u64::from(rng.next_u32()) * n as u64) >> 32) as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_chain_costs_four_cells_a_step() {
        let scopes: Vec<Vec<usize>> = (0..9).map(|i| vec![i, i + 1]).collect();
        let order = search(&[2; 10], scopes.iter().map(Vec::as_slice), 4);
        assert_eq!(order.sequence.len(), 10);
        assert!((order.cells - (9.0 * 4.0 + 2.0)).abs() < 1e-9, "got {}", order.cells);
    }

    #[test]
    fn a_ring_costs_eight_cells_a_step_until_it_closes() {
        let scopes: Vec<Vec<usize>> = (0..6).map(|i| vec![i, (i + 1) % 6]).collect();
        let order = search(&[2; 6], scopes.iter().map(Vec::as_slice), 4);
        assert!((order.cells - (4.0 * 8.0 + 4.0 + 2.0)).abs() < 1e-9, "got {}", order.cells);
    }
}
