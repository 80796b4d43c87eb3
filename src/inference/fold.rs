//! Gates, counts and first-true rows seen as one thing: a walk over the inputs with a small code for what has been met
//! so far, the same for every kind.

use std::collections::BTreeMap;

use crate::model::network::{Mechanism, Network, Row, SliceSet, VarIx};

/// A distribution over codes.
type Codes = BTreeMap<u32, f64>;

/// One input of a fold.
#[derive(Clone, Debug)]
pub(super) struct FoldInput {
    /// The variable.
    pub(super) var: VarIx,
    /// Its place among the inputs of the mechanism (or the literals of the answer).
    pub(super) index: usize,
    /// The chance that it gets through.
    pub(super) strength: f64,
    /// What each state of the variable contributes: the slices it is on in, or the first row it makes true.
    pub(super) marks: Vec<u32>,
}

/// How contributions combine.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Rule {
    /// Union of slices.
    Any,
    /// Intersection of slices.
    All,
    /// Counts, slice by slice, up to the cap.
    Count {
        /// On from this count on.
        least: u32,
        /// On up to this count.
        most: u32,
    },
    /// The first row.
    First {
        /// The code for "no row".
        none: u32,
    },
}

/// A walk over inputs.
#[derive(Clone, Debug)]
pub(super) struct Fold {
    /// The inputs that matter, in order.
    pub(super) inputs: Vec<FoldInput>,
    /// How they combine.
    pub(super) rule: Rule,
    /// The chance that the leak is active.
    pub(super) leak: f64,
    slices: usize,
}

const COUNT_BITS: usize = 8;

impl Fold {
    /// The fold of a gate or count; `None` for a table. Links of strength 0 are left out.
    pub(super) fn of(network: &Network, var: VarIx) -> Option<Self> {
        let (links, leak, rule): (Vec<(VarIx, f64)>, f64, Rule) = match &network.variable(var).mechanism {
            Mechanism::Table { .. } => return None,
            Mechanism::Any { links, leak } => (pairs(links), *leak, Rule::Any),
            Mechanism::All { links, leak } => (pairs(links), *leak, Rule::All),
            Mechanism::AtLeast { k, links, leak } => {
                (pairs(links), *leak, Rule::Count { least: small(*k), most: u32::MAX })
            }
            Mechanism::Count { of, least, most } => (
                of.iter().map(|&from| (from, 1.0)).collect(),
                0.0,
                Rule::Count { least: small(*least), most: small(*most) },
            ),
        };
        let inputs = links
            .iter()
            .enumerate()
            .map(|(index, &(from, strength))| FoldInput {
                var: from,
                index,
                strength,
                marks: (0..network.variable(from).states.count())
                    .map(|s| u32::from(network.on_in(from, s).0))
                    .collect(),
            })
            .collect();
        Some(Self { inputs, rule, leak, slices: network.slices }.simplified())
    }

    /// The fold of a first-true answer and the chance for each row (the last entry where none holds). Neighboring rows
    /// of equal chance are one row.
    pub(super) fn of_rows(network: &Network, slice: usize, rows: &[Row], otherwise: f64) -> (Self, Vec<f64>) {
        let mut groups: Vec<(Vec<&Row>, f64)> = Vec::new();
        for row in rows {
            match groups.last_mut() {
                Some((members, likelihood)) if *likelihood == row.likelihood => members.push(row),
                _ => groups.push((vec![row], row.likelihood)),
            }
        }
        while groups.last().is_some_and(|(_, likelihood)| *likelihood == otherwise) {
            groups.pop();
        }
        let none = groups.len() as u32;
        let mut inputs: Vec<FoldInput> = Vec::new();
        let literals = groups.iter().enumerate().flat_map(|(at, (members, _))| {
            members.iter().flat_map(|row| &row.any_of).map(move |literal| (at as u32, literal))
        });
        for (at, literal) in literals {
            let holds = |state: usize| network.on_in(literal.var, state).has(slice) == literal.on;
            let states = network.variable(literal.var).states.count();
            let place = inputs.iter().position(|input| input.var == literal.var).unwrap_or_else(|| {
                let index = inputs.len();
                inputs.push(FoldInput { var: literal.var, index, strength: 1.0, marks: vec![none; states] });
                index
            });
            for (state, mark) in inputs[place].marks.iter_mut().enumerate() {
                if holds(state) {
                    *mark = (*mark).min(at);
                }
            }
        }
        let mut chances: Vec<f64> = groups.iter().map(|(_, likelihood)| *likelihood).collect();
        chances.push(otherwise);
        (Self { inputs, rule: Rule::First { none }, leak: 0.0, slices: network.slices }, chances)
    }

    /// Drops what never gets through and writes extreme counts as the plain gates they are.
    fn simplified(mut self) -> Self {
        let n = small(self.inputs.len());
        if let Rule::Count { least, most } = self.rule {
            self.rule = match (least, most) {
                (1, most) if most >= n => Rule::Any,
                (least, most) if least == n && most >= n && n > 0 => Rule::All,
                (least, most) => Rule::Count { least, most },
            };
        }
        // A link that never gets through blocks an `all` gate for good: that one must stay.
        if self.rule != Rule::All {
            self.inputs.retain(|input| input.strength > 0.0);
        }
        self
    }

    /// The codes before any input, with their chances.
    pub(super) fn start(&self) -> Vec<(u32, f64)> {
        let all = u32::from(SliceSet::all(self.slices).0);
        match self.rule {
            Rule::Any => vec![(0, 1.0 - self.leak), (all, self.leak)],
            Rule::All => vec![(all, 1.0)],
            Rule::Count { .. } => vec![(0, 1.0)],
            Rule::First { none } => vec![(none, 1.0)],
        }
        .into_iter()
        .filter(|&(_, p)| p > 0.0)
        .collect()
    }

    /// What `input` in `state` makes of `code`: up to two outcomes and their chances.
    pub(super) fn step(&self, code: u32, input: &FoldInput, state: usize) -> [(u32, f64); 2] {
        let mark = input.marks[state];
        [(self.through(code, mark), input.strength), (self.blocked(code), 1.0 - input.strength)]
    }

    /// The code where the input gets through.
    pub(super) fn through(&self, code: u32, mark: u32) -> u32 {
        match self.rule {
            Rule::Any => code | mark,
            Rule::All => code & mark,
            Rule::First { .. } => code.min(mark),
            Rule::Count { .. } => (0..self.slices).fold(code, |code, slice| {
                let count = code >> (COUNT_BITS * slice) & 0xff;
                let more = u32::from(mark >> slice & 1 == 1 && count < self.cap());
                code + (more << (COUNT_BITS * slice))
            }),
        }
    }

    /// The code of no inputs at all.
    pub(super) fn nothing(&self) -> u32 {
        match self.rule {
            Rule::Any | Rule::Count { .. } => 0,
            Rule::All => u32::from(SliceSet::all(self.slices).0),
            Rule::First { none } => none,
        }
    }

    /// The code of two groups of inputs together.
    pub(super) fn join(&self, a: u32, b: u32) -> u32 {
        match self.rule {
            Rule::Any => a | b,
            Rule::All => a & b,
            Rule::First { .. } => a.min(b),
            Rule::Count { .. } => (0..self.slices).fold(0, |code, slice| {
                let at = COUNT_BITS * slice;
                let sum = (a >> at & 0xff) + (b >> at & 0xff);
                code | sum.min(self.cap()) << at
            }),
        }
    }

    /// Counts stop here: more makes no difference.
    fn cap(&self) -> u32 {
        match self.rule {
            Rule::Count { least, most } if most >= u32::from(u8::MAX) => least.min(u32::from(u8::MAX)),
            Rule::Count { most, .. } => most + 1,
            _ => 0,
        }
    }

    /// The code where the input does not get through.
    pub(super) fn blocked(&self, code: u32) -> u32 {
        if self.rule == Rule::All { 0 } else { code }
    }

    /// The slices the gate is on in after all inputs, with their chances.
    pub(super) fn end(&self, code: u32) -> Vec<(SliceSet, f64)> {
        let on = match self.rule {
            Rule::Any => return vec![(SliceSet(code as u8), 1.0)],
            Rule::All | Rule::First { .. } => SliceSet(code as u8),
            Rule::Count { least, most } => SliceSet((0..self.slices).fold(0, |on, slice| {
                let count = code >> (COUNT_BITS * slice) & 0xff;
                on | u8::from(least <= count && count <= most) << slice
            })),
        };
        let ends = [(on, 1.0 - self.leak), (SliceSet::all(self.slices), self.leak)];
        ends.into_iter().filter(|&(_, p)| p > 0.0).collect()
    }

    /// The codes that can stand after the first `n` inputs, ascending.
    pub(super) fn codes(&self, n: usize) -> Vec<u32> {
        let mut codes: Vec<u32> = self.start().iter().map(|&(code, _)| code).collect();
        for input in &self.inputs[..n] {
            codes = codes
                .iter()
                .flat_map(|&code| (0..input.marks.len()).flat_map(move |s| self.step(code, input, s)))
                .filter(|&(_, p)| p > 0.0)
                .map(|(code, _)| code)
                .collect();
            codes.sort_unstable();
            codes.dedup();
        }
        codes.sort_unstable();
        codes
    }

    /// The slices that the gate can be on in.
    pub(super) fn reachable(&self) -> Vec<SliceSet> {
        let mut sets: Vec<SliceSet> =
            self.codes(self.inputs.len()).iter().flat_map(|&code| self.end(code)).map(|(set, _)| set).collect();
        sets.sort_unstable();
        sets.dedup();
        sets
    }

    /// The gate's distribution where its inputs are independent and `marginal` gives theirs.
    pub(super) fn mix<'a>(&self, marginal: impl Fn(VarIx) -> &'a [f64]) -> BTreeMap<SliceSet, f64> {
        let mut codes: Codes = self.start().into_iter().collect();
        for input in &self.inputs {
            let mut next = Codes::new();
            for (&code, &p) in &codes {
                for (state, &q) in marginal(input.var).iter().enumerate().filter(|&(_, &q)| q > 0.0) {
                    for (to, r) in self.step(code, input, state).into_iter().filter(|&(_, r)| r > 0.0) {
                        *next.entry(to).or_insert(0.0) += p * q * r;
                    }
                }
            }
            codes = next;
        }
        let mut sets = BTreeMap::new();
        for (code, p) in codes {
            for (set, q) in self.end(code) {
                *sets.entry(set).or_insert(0.0) += p * q;
            }
        }
        sets
    }
}

fn pairs(links: &[crate::model::network::Link]) -> Vec<(VarIx, f64)> {
    links.iter().map(|link| (link.from, link.strength)).collect()
}

fn small(n: usize) -> u32 {
    u32::try_from(n).unwrap_or(u32::MAX)
}
