//! What repairs would do, on sampled worlds: the gates above the symptom worked again with the same link and leak
//! draws, 64 worlds a machine word.

use crate::inference::{Accuracy, Target, Worlds, draw_set};
use crate::knowledge::Cause;
use crate::knowledge::layout::Instance;
use crate::model::compile::CaseModel;
use crate::model::network::{Link, Mechanism, VarIx};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::collections::{BTreeMap, BTreeSet};

/// A set of worlds, one bit each.
pub type Bits = Vec<u64>;

/// The part of the network that leads to the symptoms complained of, over sampled worlds.
///
/// Only that part has rows here, so that working it again for one repair touches a few hundred rows and no more.
pub struct Simulator<'w> {
    worlds: &'w Worlds,
    /// Words in a row.
    words: usize,
    /// Which variable each row is about, ascending.
    above: Vec<VarIx>,
    /// Faults above the symptoms and their rows, by cause instance.
    faults: BTreeMap<Instance<Cause>, usize>,
    /// Gates above the symptoms, parents first.
    gates: Vec<Node>,
    /// For each row the gates that read it, over cut links too.
    readers: Vec<Vec<usize>>,
    /// What is on now: one row of words a variable.
    now: Vec<u64>,
    /// The rows of the symptoms.
    symptoms: Vec<usize>,
}

struct Node {
    /// Its row.
    row: usize,
    var: VarIx,
    kind: Kind,
    /// The rows of its inputs.
    from: Vec<usize>,
    /// Worlds in which a cut link brought it about.
    borrowed: Vec<Borrowed>,
    /// Its leak draws, without what cut links brought about.
    leak: Bits,
}

/// A gate that is on in a world by a link that inference cut there: the world itself cannot say whether that link's
/// source would be gone after a repair, so it does as another world does in which the source is on.
struct Borrowed {
    world: usize,
    /// The row of the source.
    source: usize,
    /// The world that is followed.
    like: usize,
}

enum Kind {
    Any,
    All,
    AtLeast(usize),
    Count(usize, usize),
}

impl<'w> Simulator<'w> {
    /// Takes the part of `model` above `symptoms`.
    #[must_use]
    pub fn new(model: &CaseModel, worlds: &'w Worlds, symptoms: &[VarIx], seed: u64) -> Self {
        Self::with(model, worlds, symptoms, &[], seed)
    }

    /// Takes the part of `model` above `symptoms` and above what `also` is to be known after a repair.
    ///
    /// # Panics
    /// Where a parent of what is above a symptom is not above it: our bug.
    #[must_use]
    pub fn with(model: &CaseModel, worlds: &'w Worlds, symptoms: &[VarIx], also: &[VarIx], seed: u64) -> Self {
        let wanted: Vec<VarIx> = symptoms.iter().chain(also).copied().collect();
        let above: Vec<VarIx> = above(model, &wanted).into_iter().collect();
        let row_of = |var: &VarIx| above.binary_search(var).expect("a parent of what is above is above");
        let mut now = Vec::with_capacity(above.len() * words(worlds.n()));
        let mut gates = Vec::new();
        for (row, &var) in above.iter().enumerate() {
            now.extend_from_slice(worlds.on(var, model.now));
            let kind = match &model.network.variable(var).mechanism {
                Mechanism::Table { .. } => continue,
                Mechanism::Any { .. } => Kind::Any,
                Mechanism::All { .. } => Kind::All,
                Mechanism::AtLeast { k, .. } => Kind::AtLeast(*k),
                Mechanism::Count { least, most, .. } => Kind::Count(*least, *most),
            };
            let leak = match kind {
                Kind::Count(..) => Bits::new(),
                _ => worlds.leak(var).to_vec(),
            };
            let from = model.network.parents(var).iter().map(row_of).collect();
            gates.push(Node { row, var, kind, from, borrowed: Vec::new(), leak });
        }
        borrow(model, worlds, &above, &mut gates, seed);
        let mut readers = vec![vec![]; above.len()];
        for (at, gate) in gates.iter().enumerate() {
            let followed = gate.borrowed.iter().map(|borrowed| borrowed.source);
            let read: BTreeSet<usize> = gate.from.iter().copied().chain(followed).collect();
            for row in read {
                readers[row].push(at);
            }
        }
        let faults = model
            .causes
            .iter()
            .filter_map(|(cause, var)| above.binary_search(var).ok().map(|row| (*cause, row)))
            .collect();
        let symptoms = symptoms.iter().map(row_of).collect();
        Self { worlds, words: words(worlds.n()), above, faults, gates, readers, now, symptoms }
    }

    /// Whether a path leads from this cause to a symptom complained of or to what else is to be known.
    #[must_use]
    pub fn matters(&self, cause: &Instance<Cause>) -> bool {
        self.faults.contains_key(cause)
    }

    /// The worlds in which no symptom is left once each of these causes is removed where its bits say so.
    #[must_use]
    pub fn gone_without(&self, removed: &[(Instance<Cause>, Bits)]) -> Bits {
        self.gone_in(&self.after(removed))
    }

    /// How things stand once each of these causes is removed where its bits say so.
    ///
    /// Only gates below what was removed are worked again, and none below a gate that came out as it was.
    #[must_use]
    pub fn after(&self, removed: &[(Instance<Cause>, Bits)]) -> Changed {
        let n = self.words;
        let mut after = Changed {
            words: n,
            rows: vec![None; self.above.len()],
            cells: vec![],
            removed: vec![],
            met: vec![0; words(self.gates.len())],
        };
        for (cause, cleared) in removed {
            let Some(&row) = self.faults.get(cause) else { continue };
            let at = after.cells.len();
            after.cells.extend(self.now_in(row).iter().zip(cleared).map(|(on, gone)| on & !gone));
            if after.end(row, at, self.now_in(row)) {
                after.removed.push(row);
                self.mark_readers(row, &mut after.met);
            }
        }
        let mut from = 0;
        while let Some(gate) = first_from(&after.met, from) {
            let node = &self.gates[gate];
            let at = after.cells.len();
            after.cells.resize(at + n, 0);
            let (done, on) = after.cells.split_at_mut(at);
            // Parents stand before: their rows are done.
            let input = |row: usize| after.rows[row].map_or_else(|| self.now_in(row), |at| &done[at..][..n]);
            self.evaluate(node, input, on);
            if after.end(node.row, at, self.now_in(node.row)) {
                self.mark_readers(node.row, &mut after.met);
            }
            from = gate + 1;
        }
        after
    }

    /// The worlds in which no symptom is left after two repairs, from how things stand after each of them.
    ///
    /// A gate that only one of them changes stands as after that one, so that only gates that both reach are worked again.
    ///
    /// # Panics
    /// Where a repair says that it removed a cause and does not know how that stands: our bug.
    #[must_use]
    pub fn gone_after_both(&self, a: &Changed, b: &Changed) -> Bits {
        let n = self.words;
        let mut both = Changed {
            words: n,
            rows: vec![None; self.above.len()],
            cells: vec![],
            removed: vec![],
            met: a.met.iter().zip(&b.met).map(|(a, b)| a & b).collect(),
        };
        let alone = |row: usize| a.row(row).or_else(|| b.row(row)).unwrap_or_else(|| self.now_in(row));
        for &row in a.removed.iter().filter(|row| b.removed.contains(row)) {
            both.rows[row] = Some(both.cells.len());
            both.cells.extend(alone(row).iter().zip(b.row(row).expect("removed by both")).map(|(a, b)| a & b));
            self.mark_readers(row, &mut both.met);
        }
        let mut from = 0;
        while let Some(gate) = first_from(&both.met, from) {
            let node = &self.gates[gate];
            let at = both.cells.len();
            both.cells.resize(at + n, 0);
            let (done, on) = both.cells.split_at_mut(at);
            let input = |row: usize| both.rows[row].map_or_else(|| alone(row), |at| &done[at..][..n]);
            self.evaluate(node, input, on);
            if *on != *alone(node.row) {
                self.mark_readers(node.row, &mut both.met);
            }
            both.rows[node.row] = Some(at);
            from = gate + 1;
        }
        self.gone(|row| both.row(row).unwrap_or_else(|| alone(row)))
    }

    /// The worlds in which no symptom is left.
    #[must_use]
    pub fn gone_in(&self, after: &Changed) -> Bits {
        self.gone(|row| after.row(row).unwrap_or_else(|| self.now_in(row)))
    }

    fn gone<'r>(&self, on: impl Fn(usize) -> &'r [u64]) -> Bits {
        let mut left = vec![0; self.words];
        for &symptom in &self.symptoms {
            or_into(&mut left, on(symptom));
        }
        for word in &mut left {
            *word = !*word;
        }
        mask_tail(&mut left, self.worlds.n());
        left
    }

    /// The worlds in which a variable is on after that; it must be above a symptom or what else is to be known.
    ///
    /// # Panics
    /// Where it is not: our bug.
    #[must_use]
    pub fn on<'c>(&'c self, after: &'c Changed, var: VarIx) -> &'c [u64] {
        let row = self.above.binary_search(&var).expect("asked for when the simulator was made");
        after.row(row).unwrap_or_else(|| self.now_in(row))
    }

    fn now_in(&self, row: usize) -> &[u64] {
        &self.now[row * self.words..][..self.words]
    }

    fn mark_readers(&self, row: usize, gates: &mut [u64]) {
        for &gate in &self.readers[row] {
            gates[gate / 64] |= 1 << (gate % 64);
        }
    }

    /// The worlds in which anything at all is removed, or that follow such a world over a cut link. Elsewhere nothing
    /// comes out otherwise.
    #[must_use]
    pub fn touched(&self, removed: &[(Instance<Cause>, Bits)]) -> Bits {
        let mut touched = vec![0; self.words];
        for (cause, cleared) in removed {
            if let Some(&row) = self.faults.get(cause) {
                let on = self.now_in(row);
                touched.iter_mut().zip(on).zip(cleared).for_each(|((t, on), gone)| *t |= on & gone);
            }
        }
        // Who follows may be followed.
        loop {
            let mut more = false;
            for borrowed in self.gates.iter().flat_map(|gate| &gate.borrowed) {
                let (world, like) = (borrowed.world, borrowed.like);
                let new = (touched[like / 64] >> (like % 64) & 1) << (world % 64) & !touched[world / 64];
                touched[world / 64] |= new;
                more |= new != 0;
            }
            if !more {
                return touched;
            }
        }
    }

    fn evaluate<'d>(&self, node: &Node, input: impl Fn(usize) -> &'d [u64], on: &mut [u64]) {
        match node.kind {
            Kind::Any => {
                on.copy_from_slice(&node.leak);
                for borrowed in &node.borrowed {
                    let (source, like) = (input(borrowed.source), borrowed.like);
                    on[borrowed.world / 64] |= (source[like / 64] >> (like % 64) & 1) << (borrowed.world % 64);
                }
                for (at, row) in node.from.iter().enumerate() {
                    let link = self.worlds.link(node.var, at);
                    for ((word, x), l) in on.iter_mut().zip(input(*row)).zip(link) {
                        *word |= x & l;
                    }
                }
            }
            Kind::All => {
                on.fill(u64::MAX);
                for (at, row) in node.from.iter().enumerate() {
                    let link = self.worlds.link(node.var, at);
                    for ((word, x), l) in on.iter_mut().zip(input(*row)).zip(link) {
                        *word &= x & l;
                    }
                }
                or_into(on, &node.leak);
            }
            Kind::AtLeast(k) => {
                let through: Vec<Bits> = node
                    .from
                    .iter()
                    .enumerate()
                    .map(|(at, row)| {
                        input(*row).iter().zip(self.worlds.link(node.var, at)).map(|(x, l)| x & l).collect()
                    })
                    .collect();
                let counted: Vec<&[u64]> = through.iter().map(Vec::as_slice).collect();
                within(&counted, k, counted.len(), on);
                or_into(on, &node.leak);
            }
            Kind::Count(least, most) => {
                let counted: Vec<&[u64]> = node.from.iter().map(|row| input(*row)).collect();
                within(&counted, least, most, on);
            }
        }
    }
}

/// How things stand after a repair: rows of words of which some are no longer as they are now.
pub struct Changed {
    words: usize,
    /// For each row where it begins among the changed cells.
    rows: Vec<Option<usize>>,
    cells: Vec<u64>,
    /// The rows of what was removed anywhere.
    removed: Vec<usize>,
    /// The gates that were worked again, one bit each.
    met: Vec<u64>,
}

impl Changed {
    fn row(&self, row: usize) -> Option<&[u64]> {
        self.rows[row].map(|at| &self.cells[at..][..self.words])
    }

    /// Takes a row's new cells, written from `at`, unless they are what they were; says whether they are not.
    fn end(&mut self, row: usize, at: usize, now: &[u64]) -> bool {
        let is_new = self.cells[at..] != *now;
        if is_new {
            self.rows[row] = Some(at);
        } else {
            self.cells.truncate(at);
        }
        is_new
    }
}

/// The first in a set from there on.
fn first_from(set: &[u64], from: usize) -> Option<usize> {
    let mut word = from / 64;
    let mut left = set.get(word)? & u64::MAX << (from % 64);
    while left == 0 {
        word += 1;
        left = *set.get(word)?;
    }
    Some(word * 64 + left.trailing_zeros() as usize)
}

/// Finds for each gate the worlds in which a cut link brought it about: on, with no leak of its own and no input that
/// got through. Which of its cut links it was, and which world to follow, is drawn.
fn borrow(model: &CaseModel, worlds: &Worlds, above: &[VarIx], gates: &mut [Node], seed: u64) {
    let Accuracy::Cut { links: cut, .. } = worlds.accuracy() else { return };
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream(u64::MAX);
    #[expect(clippy::cast_precision_loss, reason = "a few thousand worlds")]
    let n = worlds.n() as f64;
    for node in gates {
        let Mechanism::Any { links, leak } = &model.network.variable(node.var).mechanism else { continue };
        // Each cut source above the symptoms: its row, the worlds in which it is on, and how often it gets through.
        let sources: Vec<(usize, Vec<usize>, f64)> = links
            .iter()
            .filter(|link| cut.iter().any(|c| c.from == link.from && c.into == Target::Variable(node.var)))
            .filter_map(|link| Some((above.binary_search(&link.from).ok()?, link)))
            .map(|(row, link)| (row, set_bits(worlds.on(link.from, model.now)), link.strength))
            .filter(|(_, on, _)| !on.is_empty())
            .map(|(row, on, strength)| {
                #[expect(clippy::cast_precision_loss, reason = "a few thousand worlds")]
                let through = strength * on.len() as f64 / n;
                (row, on, through)
            })
            .collect();
        let all: f64 = sources.iter().map(|(_, _, through)| through).sum();
        if all <= 0.0 {
            continue;
        }
        for world in set_bits(&unsupported(model, worlds, node, links)) {
            // A leak of its own, or one of the sources, in proportion.
            let mut left = unit(&mut rng) * (leak + all);
            let Some((row, on, _)) = sources.iter().find(|(_, _, through)| {
                left -= through;
                left < 0.0
            }) else {
                continue;
            };
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                clippy::cast_precision_loss,
                reason = "an index"
            )]
            let like = on[((unit(&mut rng) * on.len() as f64) as usize).min(on.len() - 1)];
            node.leak[world / 64] &= !(1 << (world % 64));
            node.borrowed.push(Borrowed { world, source: *row, like });
        }
    }
}

/// The worlds in which a gate is on by what is drawn as its leak and by nothing else.
fn unsupported(model: &CaseModel, worlds: &Worlds, node: &Node, links: &[Link]) -> Bits {
    let mut alone: Bits =
        worlds.on(node.var, model.now).iter().zip(worlds.leak(node.var)).map(|(on, leak)| on & leak).collect();
    for (at, link) in links.iter().enumerate() {
        let through = worlds.on(link.from, model.now).iter().zip(worlds.link(node.var, at)).map(|(x, l)| x & l);
        for (word, by) in alone.iter_mut().zip(through) {
            *word &= !by;
        }
    }
    alone
}

/// The worlds in a set, ascending.
fn set_bits(bits: &[u64]) -> Vec<usize> {
    let mut worlds = Vec::new();
    for (at, word) in bits.iter().enumerate() {
        let mut left = *word;
        while left != 0 {
            worlds.push(at * 64 + left.trailing_zeros() as usize);
            left &= left - 1;
        }
    }
    worlds
}

/// A number in 0..1, the same on every machine.
fn unit(rng: &mut ChaCha8Rng) -> f64 {
    f64::from(rng.next_u32()) / (f64::from(u32::MAX) + 1.0)
}

/// The variables from which a path leads to `symptoms`, parents first.
fn above(model: &CaseModel, symptoms: &[VarIx]) -> BTreeSet<VarIx> {
    let mut above = BTreeSet::new();
    let mut open = symptoms.to_vec();
    while let Some(var) = open.pop() {
        if above.insert(var) {
            open.extend(model.network.parents(var));
        }
    }
    above
}

/// The worlds in which between `least` and `most` of these are on: counted in binary, one bit plane a power of two.
fn within(of: &[&[u64]], least: usize, most: usize, on: &mut [u64]) {
    let planes = usize::BITS as usize - of.len().leading_zeros() as usize;
    let mut count = vec![0u64; planes];
    for (at, word) in on.iter_mut().enumerate() {
        count.fill(0);
        for bits in of {
            let mut carry = bits[at];
            for plane in &mut count {
                let overflow = *plane & carry;
                *plane ^= carry;
                carry = overflow;
            }
        }
        *word = (least..=most.min(of.len())).fold(0, |any, wanted| {
            let equal = count
                .iter()
                .enumerate()
                .fold(u64::MAX, |eq, (p, plane)| eq & if wanted >> p & 1 == 1 { *plane } else { !plane });
            any | equal
        });
    }
}

/// Adds the worlds of one set to another.
pub fn or_into(into: &mut [u64], other: &[u64]) {
    for (word, more) in into.iter_mut().zip(other) {
        *word |= more;
    }
}

/// The words that hold so many worlds.
#[must_use]
pub fn words(n: usize) -> usize {
    n.div_ceil(64)
}

/// Clears the bits beyond the last world.
pub fn mask_tail(bits: &mut Bits, n: usize) {
    if !n.is_multiple_of(64)
        && let Some(last) = bits.last_mut()
    {
        *last &= (1 << (n % 64)) - 1;
    }
}

/// How many worlds are in both sets.
#[must_use]
pub fn both(a: &[u64], b: &[u64]) -> u32 {
    a.iter().zip(b).map(|(x, y)| (x & y).count_ones()).sum()
}

/// Whether each world's draw of a repair on a cause succeeds: `chance` of the worlds, by a stream of its own, so that
/// the draw of one repair does not depend on which others are looked at.
#[must_use]
pub fn draws(n: usize, chance: f64, seed: u64, stream: u64) -> Bits {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream(stream);
    draw_set(&mut rng, n, chance)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counting_by_planes_is_counting() {
        // Worlds 0..8 spell all ways three inputs can be on.
        let of: Vec<Bits> =
            (0..3).map(|i| vec![(0..8u64).filter(|w| w >> i & 1 == 1).fold(0, |b, w| b | 1 << w)]).collect();
        for (least, most) in [(0, 0), (1, 2), (2, 2), (3, 3), (1, 3)] {
            let mut got = [0];
            let counted: Vec<&[u64]> = of.iter().map(Vec::as_slice).collect();
            within(&counted, least, most, &mut got);
            let got = got[0] & 0xff;
            let expected =
                (0..8u64).filter(|w| (least..=most).contains(&(w.count_ones() as usize))).fold(0, |b, w| b | 1 << w);
            assert_eq!(got, expected, "{least}..={most}");
        }
    }

    #[test]
    #[expect(clippy::cast_precision_loss, reason = "a few thousand draws")]
    fn draws_come_out_as_often_as_they_should() {
        let n = 64 * 512;
        let got = draws(n, 0.85, 7, 3).iter().map(|w| w.count_ones()).sum::<u32>();
        let expected = 0.85 * n as f64;
        assert!((f64::from(got) - expected).abs() < 5.0 * libm::sqrt(n as f64 * 0.85 * 0.15), "{got} of {n}");
    }
}
