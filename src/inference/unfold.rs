//! Draws the nodes of a settled star graph without building its chain form.
//!
//! A hidden node h of the star form is no random variable: a table over its states r gives the chance that what has
//! been gathered so far is among r's codes. Differences of these chances are the chances of the codes themselves, so
//! each table has a positive form over codes, and where two tables meet their codes join. Walking the elimination
//! backward, each step draws the variable summed out and how the known code splits over the two tables.

use rand_chacha::ChaCha8Rng;

use super::eliminate::{Op, stride};
use super::graph::{Graph, Node};
use super::scatter::{Column, Groups, Picked, WORLDS_MAX};
use super::solve::Standing;
use super::split::{Kept, Shared, Source};

/// The codes of one hidden node, as bit sets of the states that admit them; two codes join by intersection.
struct Codes {
    masks: Vec<u64>,
    /// The code of nothing gathered: every state admits it.
    nothing: u8,
    /// The inverse of "chance of being admitted, by state, from chances of codes"; row by code.
    inverse: Vec<Vec<f64>>,
    /// For each code which states admit it, as ones and zeros.
    admitting: Vec<Vec<f64>>,
}

/// The codes of a hidden node whose states left are `kept`; `None` where the states do not tell the codes apart.
fn codes(admits: &[Vec<bool>], kept: &[usize]) -> Option<Codes> {
    let mask =
        |code: usize| kept.iter().enumerate().fold(0u64, |mask, (at, &r)| mask | u64::from(admits[r][code]) << at);
    let mut masks: Vec<u64> = (0..admits.len()).map(mask).filter(|&mask| mask != 0).collect();
    masks.sort_unstable();
    masks.dedup();
    let n = kept.len();
    let nothing = masks.iter().position(|&mask| mask.count_ones() as usize == n)?;
    if masks.len() != n {
        return None;
    }
    let admits = |mask: u64, r: usize| f64::from((mask >> r & 1) as u8);
    let matrix = (0..n).map(|r| masks.iter().map(|&mask| admits(mask, r)).collect()).collect();
    let admitting = masks.iter().map(|&mask| (0..n).map(|r| admits(mask, r)).collect()).collect();
    Some(Codes { inverse: inverse(matrix)?, admitting, nothing: nothing as u8, masks })
}

/// The inverse of a small matrix of zeros and ones, by elimination.
fn inverse(mut matrix: Vec<Vec<f64>>) -> Option<Vec<Vec<f64>>> {
    let n = matrix.len();
    for (i, row) in matrix.iter_mut().enumerate() {
        row.extend((0..n).map(|j| f64::from(u8::from(i == j))));
    }
    for column in 0..n {
        let pivot = (column..n).find(|&row| matrix[row][column].abs() > 0.5)?;
        matrix.swap(column, pivot);
        let scale = matrix[column][column];
        matrix[column].iter_mut().for_each(|cell| *cell /= scale);
        let by = matrix[column].clone();
        for (_, row) in matrix.iter_mut().enumerate().filter(|&(row, _)| row != column) {
            let factor = row[column];
            row.iter_mut().zip(&by).for_each(|(cell, b)| *cell -= factor * b);
        }
    }
    Some(matrix.into_iter().map(|row| row[n..].to_vec()).collect())
}

/// How a table stands to a hidden node.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Stand {
    /// It gathers: its code is what it has gathered.
    Gathers,
    /// It weighs: its code is what all others have gathered.
    Weighs,
}

/// The draw under way.
struct Unfolding<'s> {
    standing: &'s Standing,
    cards: Vec<usize>,
    codes: Vec<Option<Codes>>,
    stands: Stands,
    /// The states of every node that is a variable.
    columns: Vec<Column>,
    /// For each table the codes of the hidden nodes it knows, as places in `drawn`.
    known: Vec<Vec<(usize, usize)>>,
    drawn: Vec<Column>,
    groups: Groups,
    /// For decoding.
    memory: Vec<u32>,
    /// The hidden nodes that both tables of the step know.
    shared: Marks,
    /// The hidden nodes that the result knows, with their places in `drawn`.
    above: Marks,
}

/// For each table how it stands to each hidden node it knows.
struct Stands {
    /// Where the nodes of each table begin and end.
    of: Vec<(usize, usize)>,
    all: Vec<(usize, Stand)>,
}

/// Nodes of one step, each with a number: a step later none is marked.
struct Marks {
    step: usize,
    /// For each node the step it was last marked in, and its number.
    at: Vec<(usize, usize)>,
}

impl Marks {
    fn new(nodes: usize) -> Self {
        Self { step: 0, at: vec![(0, 0); nodes] }
    }

    fn begin(&mut self) {
        self.step += 1;
    }

    fn mark(&mut self, node: usize, number: usize) {
        self.at[node] = (self.step, number);
    }

    fn get(&self, node: usize) -> Option<usize> {
        let (step, number) = self.at[node];
        (step == self.step).then_some(number)
    }
}

/// Whether [`nodes`] can draw so many.
pub(super) fn can(graph: &Graph, n: usize) -> bool {
    all_codes(graph, n).is_some()
}

/// The codes of every hidden node; `None` where one does not tell them apart, or for more than [`WORLDS_MAX`].
fn all_codes(graph: &Graph, n: usize) -> Option<Vec<Option<Codes>>> {
    if n > WORLDS_MAX {
        return None;
    }
    let of_node = |node: &Node| {
        let is_star = node.gathers.is_some() && node.kept.len() > 1;
        if is_star { codes(&node.admits, &node.kept).map(Some) } else { Some(None) }
    };
    graph.nodes.iter().map(of_node).collect()
}

/// Draws `n` states of every node that is a variable, one column a node; `None` where the hidden nodes do not tell
/// their codes apart, or for more than [`WORLDS_MAX`].
pub(super) fn nodes(standing: &Standing, n: usize, rng: &mut ChaCha8Rng) -> Option<Vec<Column>> {
    let all = all_codes(&standing.graph, n)?;
    let mut unfolding = Unfolding {
        standing,
        cards: standing.graph.cards(),
        stands: Stands::new(standing, &all),
        columns: vec![Column::default(); all.len()],
        known: vec![vec![]; standing.program.slots().len()],
        shared: Marks::new(all.len()),
        above: Marks::new(all.len()),
        codes: all,
        drawn: vec![],
        groups: Groups::new(n),
        memory: vec![],
    };
    for op in standing.program.ops().iter().rev() {
        unfolding.step(op, rng);
    }
    Some(unfolding.columns)
}

impl Stands {
    fn new(standing: &Standing, codes: &[Option<Codes>]) -> Self {
        let program = &standing.program;
        let mut stands = Self { of: vec![(0, 0); program.slots().len()], all: vec![] };
        for (at, weighs) in standing.weighing.iter().copied().enumerate() {
            let stand = if weighs { Stand::Weighs } else { Stand::Gathers };
            let hidden = program.slots()[at + 1].scope.iter().filter(|&&node| codes[node].is_some());
            let from = stands.all.len();
            stands.all.extend(hidden.map(|&node| (node, stand)));
            stands.of[at + 1] = (from, stands.all.len());
        }
        let mut marks = Marks::new(codes.len());
        for op in program.ops() {
            marks.begin();
            let from = stands.all.len();
            for table in [op.a, op.b] {
                let (first, last) = stands.of[table];
                for at in first..last {
                    let (node, stand) = stands.all[at];
                    match marks.get(node) {
                        Some(known) if stand == Stand::Weighs => stands.all[known].1 = stand,
                        Some(_) => {}
                        None if Some(node) == op.over => {}
                        None => {
                            marks.mark(node, stands.all.len());
                            stands.all.push((node, stand));
                        }
                    }
                }
            }
            stands.of[op.out] = (from, stands.all.len());
        }
        stands
    }

    fn of(&self, table: usize) -> &[(usize, Stand)] {
        let (first, last) = self.of[table];
        &self.all[first..last]
    }
}

impl Unfolding<'_> {
    /// Draws what one step summed out and splits its codes.
    fn step(&mut self, op: &Op, rng: &mut ChaCha8Rng) {
        let variable = op.over.filter(|&v| self.codes[v].is_none());
        let shared = self.mark(op);
        let mut split: Vec<[Option<usize>; 2]> = vec![];
        if variable.is_some_and(|v| self.cards[v] == 1) && shared.is_empty() {
            self.columns[variable.unwrap_or_default()] = Column::default();
        } else if variable.is_some() || !shared.is_empty() {
            split = self.draw(op, variable, &shared, rng);
        }
        // Codes that only one of the tables knows are handed down as they are.
        for (side, table) in [op.a, op.b].into_iter().enumerate() {
            if !self.is_drawn_from(table) {
                continue;
            }
            let mut known = Vec::with_capacity(self.stands.of(table).len());
            for &(hidden, _) in self.stands.of(table) {
                let place = match (self.shared.get(hidden), self.above.get(hidden)) {
                    (Some(at), _) => split[at][side].expect("a table that is drawn from needs its codes"),
                    (None, Some(place)) => place,
                    (None, None) => {
                        let nothing = self.codes[hidden].as_ref().map_or(0, |codes| codes.nothing);
                        self.drawn.push(Column::of(nothing));
                        self.drawn.len() - 1
                    }
                };
                known.push((hidden, place));
            }
            self.known[table] = known;
        }
        // What was split is of no use any more.
        for (hidden, place) in std::mem::take(&mut self.known[op.out]) {
            if self.shared.get(hidden).is_some() {
                self.drawn[place] = Column::default();
            }
        }
    }

    /// Whether a later step draws what this table knows: it is the result of one, not one of the first tables.
    fn is_drawn_from(&self, table: usize) -> bool {
        let program = &self.standing.program;
        let slots = program.slots();
        table >= slots.len() - program.ops().len() && !slots[table].scope.is_empty()
    }

    /// Marks what the result knows and what both tables know, and lists the latter.
    fn mark(&mut self, op: &Op) -> Vec<usize> {
        self.above.begin();
        for &(hidden, place) in &self.known[op.out] {
            self.above.mark(hidden, place);
        }
        let (Self { shared, stands, .. }, mut both) = (self, vec![]);
        shared.begin();
        for &(hidden, _) in stands.of(op.b) {
            shared.mark(hidden, 0);
        }
        both.extend(stands.of(op.a).iter().map(|&(h, _)| h).filter(|&h| shared.get(h).is_some()));
        shared.begin();
        for (at, &hidden) in both.iter().enumerate() {
            shared.mark(hidden, at);
        }
        both
    }

    fn stand(&self, table: usize, hidden: usize) -> Option<Stand> {
        self.stands.of(table).iter().find(|&&(h, _)| h == hidden).map(|&(_, stand)| stand)
    }

    /// Draws the variable and the splits; returns for each shared node the places of its two new columns, where they are
    /// of use.
    fn draw(
        &mut self,
        op: &Op,
        variable: Option<usize>,
        shared: &[usize],
        rng: &mut ChaCha8Rng,
    ) -> Vec<[Option<usize>; 2]> {
        let scope = |table: usize| self.standing.program.slots()[table].scope.as_slice();
        let step = |table: usize, node: usize| stride(&self.cards, scope(table), node);
        let source = Source {
            tables: [self.positive(op.a), self.positive(op.b)],
            summed: variable.map_or((1, [0, 0]), |v| (self.cards[v], [step(op.a, v), step(op.b, v)])),
            shared: shared.iter().map(|&h| self.shared(op, h)).collect(),
            kept: scope(op.out).iter().map(|&node| self.kept(op, node)).collect(),
        };
        let mut groups = std::mem::take(&mut self.groups);
        let known = scope(op.out).iter().map(|&node| (step(op.out, node), self.column(node)));
        groups.gather(known, self.standing.program.slots()[op.out].len);
        let picked = Picked::of(&groups, rng, &source);
        self.groups = groups;
        if let Some(v) = variable {
            let (states, steps) = source.summed;
            let side = usize::from(steps[0] == 0);
            self.columns[v] = picked.decode(side, steps[side], states, &mut self.memory);
        }
        let drawn_from = [op.a, op.b].map(|table| self.is_drawn_from(table));
        let mut places = Vec::with_capacity(shared.len());
        for shared in &source.shared {
            let mut new = [None; 2];
            for (side, place) in new.iter_mut().enumerate().filter(|&(side, _)| drawn_from[side]) {
                *place = Some(self.drawn.len());
                self.drawn.push(picked.decode(side, shared.steps[side], shared.len(), &mut self.memory));
            }
            places.push(new);
        }
        places
    }

    /// The states of a node in each world as the result sees it.
    fn column(&self, node: usize) -> &Column {
        match self.above.get(node) {
            Some(place) => &self.drawn[place],
            None => &self.columns[node],
        }
    }

    /// How a node of the result lies in both tables.
    fn kept(&self, op: &Op, node: usize) -> Kept {
        let step = |table: usize| stride(&self.cards, &self.standing.program.slots()[table].scope, node);
        let is_split = self.shared.get(node).is_some();
        let steps = if is_split { [0, 0] } else { [step(op.a), step(op.b)] };
        Kept { step: step(op.out), states: self.cards[node], steps }
    }

    fn shared(&self, op: &Op, hidden: usize) -> Shared {
        let codes = self.codes[hidden].as_ref().expect("shared nodes are hidden");
        let scope = |table: usize| self.standing.program.slots()[table].scope.as_slice();
        let step = |table: usize| stride(&self.cards, scope(table), hidden);
        let n = codes.masks.len() as u8;
        let place = |mask: u64| codes.masks.iter().position(|&m| m == mask).map(|at| at as u8);
        let join = |a: u8, b: u8| place(codes.masks[usize::from(a)] & codes.masks[usize::from(b)]);
        let both = (0..n).flat_map(|a| (0..n).map(move |b| [a, b]));
        let splits = (0..n).map(|code| match (self.stand(op.a, hidden), self.stand(op.b, hidden)) {
            (Some(Stand::Weighs), _) => (0..n).filter_map(|b| Some([join(b, code)?, b])).collect(),
            (_, Some(Stand::Weighs)) => (0..n).filter_map(|a| Some([a, join(a, code)?])).collect(),
            _ => both.clone().filter(|&[a, b]| join(a, b) == Some(code)).collect(),
        });
        let mut splits: Vec<Vec<[u8; 2]>> = splits.collect();
        let known = (op.over != Some(hidden)).then(|| step(op.out));
        if known.is_none() {
            splits.swap(0, usize::from(codes.nothing));
        }
        Shared::new([step(op.a), step(op.b)], splits, known)
    }

    /// A table in its positive form, over codes in place of the hidden nodes' states.
    fn positive(&self, table: usize) -> Vec<f64> {
        let slot = &self.standing.program.slots()[table];
        let mut cells = slot.of(&self.standing.upward.values).to_vec();
        for &(hidden, stand) in self.stands.of(table) {
            let codes = self.codes[hidden].as_ref().expect("only hidden nodes are stood to");
            let (n, step) = (codes.masks.len(), stride(&self.cards, &slot.scope, hidden));
            let of = match stand {
                Stand::Gathers => &codes.inverse,
                Stand::Weighs => &codes.admitting,
            };
            for block in cells.chunks_exact_mut(n * step) {
                if n == 2 {
                    let (first, second) = block.split_at_mut(step);
                    for (a, b) in first.iter_mut().zip(second) {
                        (*a, *b) = (of[0][0] * *a + of[0][1] * *b, of[1][0] * *a + of[1][1] * *b);
                    }
                } else {
                    let old = block.to_vec();
                    for (new, row) in block.chunks_exact_mut(step).zip(of) {
                        for (at, cell) in new.iter_mut().enumerate() {
                            *cell = row.iter().enumerate().map(|(r, factor)| factor * old[r * step + at]).sum();
                        }
                    }
                }
            }
        }
        cells
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sets of two slices, "the union lies within r": 0, {0}, {1}, both.
    #[test]
    fn codes_of_sets_are_told_apart() {
        let admits: Vec<Vec<bool>> = (0..4).map(|r| (0..4).map(|o| o & !r == 0).collect()).collect();
        let codes = codes(&admits, &[0, 1, 2, 3]).expect("all four states are left");
        // Chances .1, .2, .3, .4 of the codes 0, {0}, {1}, both make .1, .3, .4, 1 of the states.
        let chance: Vec<f64> =
            codes.inverse.iter().map(|row| row.iter().zip([0.1, 0.3, 0.4, 1.0]).map(|(i, z)| i * z).sum()).collect();
        let of = |mask: u64| chance[codes.masks.iter().position(|&m| m == mask).expect("a code")];
        for (mask, expected) in [(0b1111, 0.1), (0b1010, 0.2), (0b1100, 0.3), (0b1000, 0.4)] {
            assert!((of(mask) - expected).abs() < 1e-15);
        }
        assert_eq!(codes.masks[usize::from(codes.nothing)], 0b1111);
    }

    #[test]
    fn states_that_do_not_tell_codes_apart_are_refused() {
        let admits: Vec<Vec<bool>> = (0..4).map(|r| (0..4).map(|o| o & !r == 0).collect()).collect();
        assert!(codes(&admits, &[1, 2]).is_none());
    }
}
