//! What repairs would do, on sampled worlds: the gates above the symptom worked again with the same link and leak
//! draws, 64 worlds a machine word.

use crate::inference::Worlds;
use crate::knowledge::Cause;
use crate::knowledge::layout::Instance;
use crate::model::compile::CaseModel;
use crate::model::network::{Mechanism, VarIx};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::collections::{BTreeMap, BTreeSet};

/// A set of worlds, one bit each.
pub type Bits = Vec<u64>;

/// The part of the network that leads to the symptoms complained of, over sampled worlds.
pub struct Simulator<'w> {
    worlds: &'w Worlds,
    /// Faults above the symptoms, by cause instance.
    faults: BTreeMap<Instance<Cause>, VarIx>,
    /// Gates above the symptoms, parents first.
    gates: Vec<Node>,
    /// Each variable's bits now, by position; empty for those not above the symptoms.
    now: Vec<Bits>,
    /// The symptoms.
    symptoms: Vec<VarIx>,
}

struct Node {
    var: VarIx,
    kind: Kind,
}

enum Kind {
    /// Inputs with the position of their link draw.
    Any(Vec<VarIx>),
    All(Vec<VarIx>),
    AtLeast(usize, Vec<VarIx>),
    Count(usize, usize, Vec<VarIx>),
}

impl<'w> Simulator<'w> {
    /// Takes the part of `model` above `symptoms`.
    #[must_use]
    pub fn new(model: &CaseModel, worlds: &'w Worlds, symptoms: Vec<VarIx>) -> Self {
        let above = above(model, &symptoms);
        let mut now = vec![Bits::new(); model.network.variables.len()];
        let mut gates = Vec::new();
        for &var in &above {
            now[var.at()] = worlds.on(var, model.now).to_vec();
            let from = |links: &[crate::model::network::Link]| links.iter().map(|l| l.from).collect::<Vec<_>>();
            let kind = match &model.network.variable(var).mechanism {
                Mechanism::Table { .. } => continue,
                Mechanism::Any { links, .. } => Kind::Any(from(links)),
                Mechanism::All { links, .. } => Kind::All(from(links)),
                Mechanism::AtLeast { k, links, .. } => Kind::AtLeast(*k, from(links)),
                Mechanism::Count { of, least, most } => Kind::Count(*least, *most, of.clone()),
            };
            gates.push(Node { var, kind });
        }
        let faults = model.causes.iter().filter(|(_, var)| above.contains(var)).copied().collect();
        Self { worlds, faults, gates, now, symptoms }
    }

    /// Whether a path leads from this cause to a symptom complained of.
    #[must_use]
    pub fn matters(&self, cause: &Instance<Cause>) -> bool {
        self.faults.contains_key(cause)
    }

    /// The worlds in which the symptoms are there now.
    #[must_use]
    pub fn present(&self) -> Bits {
        self.symptom_bits(&self.now)
    }

    /// The worlds in which no symptom is left once each of these causes is removed where its bits say so.
    #[must_use]
    pub fn gone(&self, removed: &[(Instance<Cause>, Bits)]) -> Bits {
        let mut bits = self.now.clone();
        for (cause, cleared) in removed {
            if let Some(var) = self.faults.get(cause) {
                for (word, gone) in bits[var.at()].iter_mut().zip(cleared) {
                    *word &= !gone;
                }
            }
        }
        for node in &self.gates {
            bits[node.var.at()] = self.evaluate(node, &bits);
        }
        let mut left = self.symptom_bits(&bits);
        for word in &mut left {
            *word = !*word;
        }
        mask_tail(&mut left, self.worlds.n());
        left
    }

    fn symptom_bits(&self, bits: &[Bits]) -> Bits {
        let mut all = vec![0; words(self.worlds.n())];
        for symptom in &self.symptoms {
            for (word, on) in all.iter_mut().zip(&bits[symptom.at()]) {
                *word |= on;
            }
        }
        all
    }

    fn evaluate(&self, node: &Node, bits: &[Bits]) -> Bits {
        let n = words(self.worlds.n());
        match &node.kind {
            Kind::Any(from) => {
                let mut on = self.worlds.leak(node.var).to_vec();
                for (input, var) in from.iter().enumerate() {
                    let link = self.worlds.link(node.var, input);
                    for ((word, x), l) in on.iter_mut().zip(&bits[var.at()]).zip(link) {
                        *word |= x & l;
                    }
                }
                on
            }
            Kind::All(from) => {
                let mut on = vec![u64::MAX; n];
                for (input, var) in from.iter().enumerate() {
                    let link = self.worlds.link(node.var, input);
                    for ((word, x), l) in on.iter_mut().zip(&bits[var.at()]).zip(link) {
                        *word &= x & l;
                    }
                }
                for (word, leak) in on.iter_mut().zip(self.worlds.leak(node.var)) {
                    *word |= leak;
                }
                on
            }
            Kind::AtLeast(k, from) => {
                let through: Vec<Bits> = from
                    .iter()
                    .enumerate()
                    .map(|(input, var)| {
                        let link = self.worlds.link(node.var, input);
                        bits[var.at()].iter().zip(link).map(|(x, l)| x & l).collect()
                    })
                    .collect();
                let mut on = within(&through, *k, through.len(), n);
                for (word, leak) in on.iter_mut().zip(self.worlds.leak(node.var)) {
                    *word |= leak;
                }
                on
            }
            Kind::Count(least, most, of) => {
                let counted: Vec<Bits> = of.iter().map(|var| bits[var.at()].clone()).collect();
                within(&counted, *least, *most, n)
            }
        }
    }
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
fn within(of: &[Bits], least: usize, most: usize, n: usize) -> Bits {
    let planes = usize::BITS as usize - of.len().leading_zeros() as usize;
    let mut result = vec![0; n];
    for (at, word) in result.iter_mut().enumerate() {
        let mut count = vec![0u64; planes];
        for bits in of {
            let mut carry = bits[at];
            for plane in &mut count {
                let overflow = *plane & carry;
                *plane ^= carry;
                carry = overflow;
            }
        }
        for wanted in least..=most.min(of.len()) {
            let equal = count
                .iter()
                .enumerate()
                .fold(u64::MAX, |eq, (p, plane)| eq & if wanted >> p & 1 == 1 { *plane } else { !plane });
            *word |= equal;
        }
    }
    result
}

/// The words that hold so many worlds.
#[must_use]
pub fn words(n: usize) -> usize {
    n.div_ceil(64)
}

/// Clears the bits beyond the last world.
pub fn mask_tail(bits: &mut Bits, n: usize) {
    if n % 64 != 0
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
    let mut bits = vec![0u64; words(n)];
    // 2^32 steps are finer than any sureness is known.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a chance scaled to 32 bits")]
    let limit = (chance * f64::from(u32::MAX)) as u32;
    for world in 0..n {
        if rng.next_u32() <= limit {
            bits[world / 64] |= 1 << (world % 64);
        }
    }
    bits
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
            let got = within(&of, least, most, 1)[0] & 0xff;
            let expected =
                (0..8u64).filter(|w| (least..=most).contains(&(w.count_ones() as usize))).fold(0, |b, w| b | 1 << w);
            assert_eq!(got, expected, "{least}..={most}");
        }
    }

    #[test]
    fn draws_come_out_as_often_as_they_should() {
        let n = 64 * 512;
        let got = draws(n, 0.85, 7, 3).iter().map(|w| w.count_ones()).sum::<u32>();
        let expected = 0.85 * n as f64;
        assert!((f64::from(got) - expected).abs() < 5.0 * libm::sqrt(n as f64 * 0.85 * 0.15), "{got} of {n}");
    }
}
