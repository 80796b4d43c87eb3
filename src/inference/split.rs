//! What one step of an elimination, walked backward, can draw: the state of the variable it summed out, and how the codes
//! of hidden nodes split over its two tables.

use super::scatter::Choices;

/// A configuration of more choices than this is drawn one table after the other: three splits of each of three codes are
/// still one short list. Estimate, not tuned.
const MANY: usize = 27;

/// A hidden node that both tables of a step know.
pub(super) struct Shared {
    /// How far apart two codes lie in the first table and in the second.
    pub(super) steps: [usize; 2],
    /// For each code of the result how it splits.
    splits: Vec<Splits>,
    /// How far apart two codes lie in the result; `None` where the node is summed out and nothing else is gathered.
    known: Option<usize>,
}

/// How a code splits over the two tables.
struct Splits {
    /// The codes of the two tables.
    pairs: Vec<[u8; 2]>,
    /// The codes of each table, each once.
    codes: [Vec<u8>; 2],
    /// For each pair the places of its codes among those.
    places: Vec<[usize; 2]>,
}

/// A node of the result that both tables take over as it is, or that is split: then its steps in them are zero.
pub(super) struct Kept {
    pub(super) step: usize,
    pub(super) states: usize,
    pub(super) steps: [usize; 2],
}

/// What a step draws from.
pub(super) struct Source {
    /// Both tables in their positive form; what differences leave below zero is rounding.
    pub(super) tables: [Vec<f64>; 2],
    /// The states of the variable summed out and how far apart they lie in both tables.
    pub(super) summed: (usize, [usize; 2]),
    pub(super) shared: Vec<Shared>,
    pub(super) kept: Vec<Kept>,
}

/// Whether what was drawn is all there is to draw.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Listed {
    /// Each choice leads to one cell in both tables.
    Whole,
    /// Each choice leads to one cell in the first table; where in the second is drawn next.
    First,
}

impl Shared {
    /// `splits` are, for each code of the result, the codes of the two tables.
    pub(super) fn new(steps: [usize; 2], splits: Vec<Vec<[u8; 2]>>, known: Option<usize>) -> Self {
        Self { steps, splits: splits.into_iter().map(Splits::new).collect(), known }
    }

    /// How many codes it has.
    pub(super) fn len(&self) -> usize {
        self.splits.len()
    }

    /// The splits of the code that it has in configuration `at` of the result.
    fn splits(&self, at: usize) -> &Splits {
        &self.splits[self.known.map_or(0, |step| at / step % self.splits.len())]
    }

    /// How far these codes of the two tables lie from the first ones.
    fn offset(&self, split: [u8; 2]) -> [u32; 2] {
        [0, 1].map(|side| u32::from(split[side]) * self.steps[side] as u32)
    }
}

impl Splits {
    fn new(pairs: Vec<[u8; 2]>) -> Self {
        let codes = [0, 1].map(|side| {
            let mut codes: Vec<u8> = pairs.iter().map(|pair| pair[side]).collect();
            codes.sort_unstable();
            codes.dedup();
            codes
        });
        let place =
            |pair: [u8; 2], side: usize| codes[side].binary_search(&pair[side]).expect("a code of one of the splits");
        let places = pairs.iter().map(|&pair| [0, 1].map(|side| place(pair, side))).collect();
        Self { pairs, codes, places }
    }
}

impl Source {
    /// Lists what can be drawn in configuration `at` of the result.
    pub(super) fn list(&self, choices: &mut Choices, at: usize) -> Listed {
        let many =
            self.shared.iter().map(|shared| shared.splits(at).pairs.len()).fold(self.summed.0, usize::saturating_mul);
        if many > MANY {
            self.list_first(choices, at);
            return Listed::First;
        }
        let cells = choices.cells();
        self.begin(cells, at);
        for shared in &self.shared {
            spread(cells, &shared.splits(at).pairs, |&split| shared.offset(split));
        }
        choices.weigh(|_, [a, b]| self.first(a) * self.second(b));
        Listed::Whole
    }

    /// Lists the cells of the first table, each weighed by all it can stand with in the second.
    ///
    /// Three splits of each of k codes are 3^k choices, their codes in the first table only 2^k: what stands with each is
    /// summed one node at a time.
    fn list_first(&self, choices: &mut Choices, at: usize) {
        let cells = choices.cells();
        self.begin(cells, at);
        for shared in &self.shared {
            spread(cells, &shared.splits(at).codes[1], |&b| shared.offset([0, b]));
        }
        let mut sums: Vec<f64> = cells.iter().map(|&[_, b]| self.second(b)).collect();
        let mut step = self.summed.0;
        for shared in &self.shared {
            let splits = shared.splits(at);
            let [into, from] = [0, 1].map(|side| splits.codes[side].len());
            let mut new = vec![0.0; sums.len() / from * into];
            for (old, new) in sums.chunks_exact(step * from).zip(new.chunks_exact_mut(step * into)) {
                for &[a, b] in &splits.places {
                    let (old, new) = (&old[step * b..][..step], &mut new[step * a..][..step]);
                    new.iter_mut().zip(old).for_each(|(new, old)| *new += old);
                }
            }
            step *= into;
            sums = new;
        }
        self.begin(cells, at);
        for shared in &self.shared {
            spread(cells, &shared.splits(at).codes[0], |&a| shared.offset([a, 0]));
        }
        choices.weigh(|place, [a, _]| self.first(a) * sums[place]);
    }

    /// Lists where a choice of the first table, of which the rest is still to be drawn, can lead in the second.
    pub(super) fn list_second(&self, choices: &mut Choices, at: usize, first: [u32; 2]) {
        let cells = choices.cells();
        cells.clear();
        cells.push(first);
        let mut fits: Vec<u8> = Vec::new();
        for shared in &self.shared {
            let a = first[0] as usize / shared.steps[0] % shared.splits.len();
            let splits = shared.splits(at).pairs.iter();
            fits.clear();
            fits.extend(splits.filter(|split| usize::from(split[0]) == a).map(|split| split[1]));
            spread(cells, &fits, |&b| shared.offset([0, b]));
        }
        choices.weigh(|_, [_, b]| self.second(b));
    }

    /// The cells of each state of the variable, without the codes of what is shared.
    fn begin(&self, cells: &mut Vec<[u32; 2]>, at: usize) {
        let mut base = [0u32; 2];
        for kept in &self.kept {
            let state = at / kept.step % kept.states;
            base = [0, 1].map(|side| base[side] + (state * kept.steps[side]) as u32);
        }
        let (states, steps) = self.summed;
        cells.clear();
        cells.extend((0..states).map(|s| [0, 1].map(|side| base[side] + (s * steps[side]) as u32)));
    }

    fn first(&self, cell: u32) -> f64 {
        self.tables[0][cell as usize].max(0.0)
    }

    fn second(&self, cell: u32) -> f64 {
        self.tables[1][cell as usize].max(0.0)
    }
}

/// Every cell once for each of `ways`, moved by its offset; the first way's come first.
fn spread<T>(cells: &mut Vec<[u32; 2]>, ways: &[T], offset: impl Fn(&T) -> [u32; 2]) {
    let Some((first, more)) = ways.split_first() else { return };
    let before = cells.len();
    let moved = |cells: &mut [[u32; 2]], by: [u32; 2]| {
        for cell in cells {
            *cell = [cell[0] + by[0], cell[1] + by[1]];
        }
    };
    // The further ways come behind, the first takes the place of what was there.
    for way in more {
        cells.extend_from_within(..before);
        let from = cells.len() - before;
        moved(&mut cells[from..], offset(way));
    }
    moved(&mut cells[..before], offset(first));
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeMap;

    /// Drawn in two goes, every pair of cells comes up with the chance that it has in one list.
    #[test]
    fn one_table_after_the_other_is_the_same_draw() {
        let union = |code: u8| -> Vec<[u8; 2]> {
            (0..4u8).map(|both| [both & 1, both >> 1]).filter(|split| split[0] | split[1] == code).collect()
        };
        let shared = |at: usize| Shared::new([2 << at, 3 << at], vec![union(0), union(1)], Some(1 << at));
        let cells = |n: usize, salt: usize| (0..n).map(|at| ((at * 37 + salt) % 23) as f64).collect::<Vec<f64>>();
        let source = Source {
            tables: [cells(16, 5), cells(24, 11)],
            summed: (2, [1, 1]),
            shared: (0..3).map(shared).collect(),
            kept: vec![],
        };
        for at in 0..8 {
            let mut choices = Choices::default();
            assert_eq!(source.list(&mut choices, at) == Listed::First, at == 7, "2 x 3^3 choices are many");
            let direct = {
                let cells = choices.cells();
                source.begin(cells, at);
                for shared in &source.shared {
                    spread(cells, &shared.splits(at).pairs, |&split| shared.offset(split));
                }
                choices.weigh(|_, [a, b]| source.first(a) * source.second(b));
                choices.chances().collect::<BTreeMap<_, _>>()
            };
            source.list_first(&mut choices, at);
            let firsts: Vec<([u32; 2], f64)> = choices.chances().collect();
            let mut found: BTreeMap<[u32; 2], f64> = BTreeMap::new();
            for (first, chance) in firsts.into_iter().filter(|&(_, chance)| chance > 0.0) {
                source.list_second(&mut choices, at, first);
                for (cells, then) in choices.chances() {
                    *found.entry(cells).or_default() += chance * then;
                }
            }
            for (cells, chance) in direct {
                let found = found.get(&cells).copied().unwrap_or(0.0);
                assert!((found - chance).abs() < 1e-12, "{at}: {cells:?} {found} {chance}");
            }
        }
    }
}
