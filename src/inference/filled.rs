//! An elimination order to which edges are added.

/// An order worked out once (which variables each step's table holds), to which edges are added as long as it stays
/// affordable. Trying one costs a walk up the elimination tree, not a new elimination.
pub(super) struct Filled {
    place: Vec<usize>,
    cards: Vec<f64>,
    words: usize,
    /// For the variable at each place the later ones that its table holds, one bit each by place.
    later: Vec<u64>,
    steps: Vec<f64>,
    /// Sum of the cells of the tables of all steps.
    pub(super) cells: f64,
    undo: Vec<(usize, f64)>,
    undo_rows: Vec<u64>,
}

impl Filled {
    /// Works out `sequence`, which names every variable.
    pub(super) fn of<'a>(cards: &[usize], scopes: impl IntoIterator<Item = &'a [usize]>, sequence: &[usize]) -> Self {
        let n = sequence.len();
        let words = n.div_ceil(64).max(1);
        let mut place = vec![0; n];
        sequence.iter().enumerate().for_each(|(at, &v)| place[v] = at);
        let mut filled = Self {
            place,
            cards: sequence.iter().map(|&v| cards[v] as f64).collect(),
            words,
            later: vec![0; n * words],
            steps: vec![0.0; n],
            cells: 0.0,
            undo: vec![],
            undo_rows: vec![],
        };
        for scope in scopes {
            for (i, &u) in scope.iter().enumerate() {
                scope[..i].iter().for_each(|&v| filled.mark(u, v));
            }
        }
        for at in 0..n {
            if let Some(parent) = filled.parent(at) {
                let (below, above) = filled.later.split_at_mut(parent * words);
                let row = &below[at * words..(at + 1) * words];
                above[..words].iter_mut().zip(row).for_each(|(p, r)| *p |= r);
                above[parent / 64] &= !(1 << (parent % 64));
            }
            filled.steps[at] = filled.step(at);
            filled.cells += filled.steps[at];
        }
        filled
    }

    fn mark(&mut self, u: usize, v: usize) {
        let (low, high) = (self.place[u].min(self.place[v]), self.place[u].max(self.place[v]));
        self.later[low * self.words + high / 64] |= u64::from(low != high) << (high % 64);
    }

    /// The first of the later variables: the step that the table goes to.
    fn parent(&self, at: usize) -> Option<usize> {
        let row = &self.later[at * self.words..(at + 1) * self.words];
        row.iter().position(|&word| word != 0).map(|word| word * 64 + row[word].trailing_zeros() as usize)
    }

    fn step(&self, at: usize) -> f64 {
        let mut cells = self.cards[at];
        for (word, &bits) in self.later[at * self.words..(at + 1) * self.words].iter().enumerate() {
            let mut bits = bits;
            while bits != 0 {
                cells *= self.cards[word * 64 + bits.trailing_zeros() as usize];
                bits &= bits - 1;
            }
        }
        cells
    }

    /// Connects `node` to `others` if the order then stays within `bound` cells; otherwise nothing changes.
    pub(super) fn connect_within(&mut self, node: usize, others: impl IntoIterator<Item = usize>, bound: f64) -> bool {
        let before = self.cells;
        self.undo.clear();
        self.undo_rows.clear();
        for other in others {
            if other != node {
                self.connect(node, other, bound);
            }
            if self.cells > bound {
                self.take_back(before);
                return false;
            }
        }
        true
    }

    fn connect(&mut self, u: usize, v: usize, bound: f64) {
        let words = self.words;
        let (mut at, high) = (self.place[u].min(self.place[v]), self.place[u].max(self.place[v]));
        let mut news = vec![0u64; words];
        news[high / 64] |= 1 << (high % 64);
        loop {
            let row = &mut self.later[at * words..(at + 1) * words];
            news.iter_mut().zip(&*row).for_each(|(new, old)| *new &= !old);
            if news.iter().all(|&word| word == 0) {
                return;
            }
            self.undo.push((at, self.steps[at]));
            self.undo_rows.extend_from_slice(row);
            row.iter_mut().zip(&news).for_each(|(old, new)| *old |= new);
            let step = self.step(at);
            self.cells += step - self.steps[at];
            self.steps[at] = step;
            if self.cells > bound {
                return;
            }
            // A new first goes elsewhere with all it holds; otherwise only what is new is handed on.
            let Some(parent) = self.parent(at) else { return };
            if news[parent / 64] >> (parent % 64) & 1 == 1 {
                news.copy_from_slice(&self.later[at * words..(at + 1) * words]);
            }
            news[parent / 64] &= !(1 << (parent % 64));
            at = parent;
        }
    }

    fn take_back(&mut self, cells: f64) {
        let words = self.words;
        for (i, &(at, step)) in self.undo.iter().enumerate().rev() {
            self.steps[at] = step;
            self.later[at * words..(at + 1) * words].copy_from_slice(&self.undo_rows[i * words..(i + 1) * words]);
        }
        self.cells = cells;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn edges_added_one_by_one_cost_what_they_cost_together() {
        let ring: Vec<Vec<usize>> = (0..8).map(|i| vec![i, (i + 1) % 8]).collect();
        let chords = [[0, 3], [1, 6], [2, 5], [4, 7]];
        let sequence = [3, 0, 6, 1, 5, 2, 7, 4];
        let mut filled = Filled::of(&[2; 8], ring.iter().map(Vec::as_slice), &sequence);
        let mut refused = 0;
        for (n, [u, v]) in chords.into_iter().enumerate() {
            let all = ring.iter().map(Vec::as_slice).chain(chords[..=n].iter().map(<[usize; 2]>::as_slice));
            let together = Filled::of(&[2; 8], all, &sequence);
            let (before, rows) = (filled.cells, filled.later.clone());
            if !filled.connect_within(u, [v], before) {
                refused += 1;
                assert!(together.cells > before, "an edge that costs nothing is taken");
                assert!((filled.cells - before).abs() < 1e-9, "a refusal changes nothing");
                assert_eq!(filled.later, rows);
                assert!(filled.connect_within(u, [v], f64::INFINITY));
            }
            assert!((filled.cells - together.cells).abs() < 1e-9, "{} {}", filled.cells, together.cells);
            assert_eq!(filled.later, together.later);
        }
        assert!(refused > 0, "some edge costs something");
    }
}
