//! What it would still cost to get the symptom gone, on a part of the sampled worlds.
//!
//! Three ways on are priced and the cheapest counts: repairs in the order of chance over cost until it is cured or not
//! worth going on; looking further, at the going rate for what must still be told apart; handing over.
//!
//! Everything is counted once for each row of a check: the worlds in which a row is the first that holds, crossed with
//! those that a repair would cure. An outcome is then a mixture of rows.

mod failed;

use super::market::{Looked, Market};
use super::simulate::{Bits, both, words};
use failed::{Failed, Further, With};
use std::cell::{OnceCell, RefCell};
use std::rc::Rc;

/// The most repairs in a row before handing over is all that is left. With four the advice was 10.7 % above the optimum of
/// the reference network T when this was chosen, with twelve 4.4 %.
const REPAIRS_IN_A_ROW: usize = 12;

/// So much more than reckoned a bound is, that no rounding brings it below what is counted.
const ROUNDING: f64 = 1.0 + 1e-9;

/// What it costs to give up, and what a repair that does not cure costs beyond its price.
#[derive(Clone, Debug)]
pub struct GivingUp {
    /// Handing over.
    pub hand_over: f64,
    /// More in worlds that whoever hands over could have cured: a trip for nothing.
    pub wasted: f64,
    /// Those worlds.
    pub own: Bits,
    /// Another call after a repair that did not cure.
    pub again: f64,
}

impl GivingUp {
    /// The same in all of `n` worlds.
    #[must_use]
    pub fn flat(hand_over: f64, n: usize) -> Self {
        Self { hand_over, wasted: 0.0, own: vec![0; words(n)], again: 0.0 }
    }

    /// Where a share of the worlds could have been cured by whoever hands over.
    #[must_use]
    pub fn with_own(&self, share: f64) -> f64 {
        self.hand_over + self.wasted * share
    }
}

/// What each repair would cure, and who is cheapest where.
pub struct Bench {
    /// How many worlds.
    pub n: usize,
    /// For each repair the worlds in which it alone makes the symptom go.
    pub cures: Vec<Bits>,
    /// For each repair the worlds whose cheapest cure it is; last, those that no single repair cures.
    pub cheapest: Vec<Bits>,
    /// What giving up costs.
    pub giving_up: GivingUp,
    /// Worlds that it takes two repairs together to cure, row by row; worked out when asked for.
    pairs: Vec<OnceCell<Option<Bits>>>,
    /// What is known once some repairs have failed; worked out when asked for.
    failed: RefCell<Failed>,
}

/// Works out the worlds that two repairs cure together and neither alone; `None` where there are none.
pub type Together<'t> = dyn FnMut(usize, usize) -> Option<Bits> + 't;

/// A way on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// This repair first.
    Repair(usize),
    /// Look further.
    Look,
    /// Hand over.
    HandOver,
}

/// What it would still cost, and how.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Outlook {
    /// Money.
    pub cost: f64,
    /// The way on.
    pub way: Way,
}

impl Outlook {
    /// Nothing is left to do.
    pub const NOTHING: Self = Self { cost: 0.0, way: Way::HandOver };
}

/// The ways on from a mixture of worlds, but for the going rate of looking further.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Prospect {
    /// Repairs in the order of chance over cost, to the end.
    repairing: f64,
    /// The first of them, where one is worth it.
    first: Option<usize>,
    /// What the cure costs once it is known which repair it takes.
    known: f64,
    /// The bits that stand before that.
    pub bits: f64,
    /// What handing over costs here.
    hand_over: f64,
}

/// For each row of a split, counts of worlds: those that each repair cures and last those that handing over would be a
/// wasted trip in.
type Counts = Rc<[Vec<f64>]>;

/// Worlds split by the rows of a check (or not at all), counted against repairs.
pub struct Split {
    /// The worlds of each row.
    rows: Vec<Bits>,
    totals: Vec<f64>,
    cured: Counts,
    cheapest: Counts,
    /// The number of the set of repairs already done and failed on these worlds.
    failed: usize,
}

/// Repairs tried one after the other on a mixture of a split's rows.
struct Course<'b> {
    bench: &'b Bench,
    split: &'b Split,
    weights: &'b [f64],
    /// Those tried.
    done: Vec<usize>,
    /// The number of the set of all that have failed, and how many of those tried are in it.
    failed: (usize, usize),
    /// In how many worlds all of them have failed.
    left: f64,
    /// In how many of these each repair would be the cure, at most.
    most: Vec<f64>,
    /// For each repair the worlds that it cures only with others, as many as were known when that was reckoned.
    with: Vec<f64>,
    /// The largest weight.
    heaviest: f64,
    /// For each repair what it cures for what it comes to, at most, and whether that is counted; memory of a step.
    merits: Vec<(f64, bool)>,
}

impl Bench {
    /// A bench over `n` worlds.
    ///
    /// `prices` are those with nothing open; each world's cheapest cure is by them.
    #[must_use]
    pub fn new(n: usize, cures: Vec<Bits>, prices: &[f64], giving_up: GivingUp) -> Self {
        let mut order: Vec<usize> = (0..cures.len()).collect();
        order.sort_by(|a, b| prices[*a].total_cmp(&prices[*b]).then(a.cmp(b)));
        let mut left = all(n);
        let mut cheapest = vec![vec![0; words(n)]; cures.len() + 1];
        for repair in order {
            for (at, word) in left.iter_mut().enumerate() {
                cheapest[repair][at] = *word & cures[repair][at];
                *word &= !cures[repair][at];
            }
        }
        *cheapest.last_mut().expect("one more than the repairs") = left;
        let pairs = vec![OnceCell::new(); cures.len() * cures.len()];
        let failed = RefCell::new(Failed::none(cures.len(), n));
        Self { n, cures, cheapest, giving_up, pairs, failed }
    }

    /// What handing over costs as things stand.
    #[must_use]
    pub fn hand_over(&self) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "a few thousand worlds")]
        let n = self.n as f64;
        self.giving_up.with_own(f64::from(both(&all(self.n), &self.giving_up.own)) / n)
    }

    /// Splits all worlds by rows.
    #[must_use]
    pub fn split(&self, rows: Vec<Bits>) -> Split {
        let of: Vec<&Bits> = self.cures.iter().chain([&self.giving_up.own]).collect();
        let cured = count(&rows, &of);
        self.split_with(rows, cured, 0)
    }

    /// Splits a split further: `rows` are parts of its own, with the same repairs failed.
    #[must_use]
    pub fn split_further(&self, split: &Split, rows: Vec<Bits>, together: &mut Together<'_>) -> Split {
        match self.set(split.failed).done.as_slice() {
            [] => self.split(rows),
            [repair] => self.split_failed(rows, *repair, together),
            _ => unreachable!("a split is after one failed repair at most"),
        }
    }

    /// The worlds in which a repair has failed, as one row.
    #[must_use]
    pub fn after_failed(&self, repair: usize, together: &mut Together<'_>) -> Split {
        let left: Bits = all(self.n).iter().zip(&self.cures[repair]).map(|(a, c)| a & !c).collect();
        self.split_failed(vec![left], repair, together)
    }

    fn split_failed(&self, rows: Vec<Bits>, failed: usize, together: &mut Together<'_>) -> Split {
        let failed = self.with(0, failed, together);
        let after = self.set(failed);
        let of_row = |row: &Bits| {
            let cured = (0..self.cures.len()).map(|repair| after.cured(self, repair, row));
            cured.chain([after.own(self, row)]).collect()
        };
        let cured = rows.iter().map(of_row).collect();
        self.split_with(rows, cured, failed)
    }

    fn split_with(&self, rows: Vec<Bits>, cured: Counts, failed: usize) -> Split {
        let totals = rows.iter().map(|r| f64::from(r.iter().map(|w| w.count_ones()).sum::<u32>())).collect();
        let cheapest = count(&rows, &self.cheapest);
        Split { rows, totals, cured, cheapest, failed }
    }

    /// The worlds that it takes two repairs together to cure.
    fn pair(&self, a: usize, b: usize, together: &mut Together<'_>) -> Option<&Bits> {
        if a == b {
            return None;
        }
        let (first, second) = (a.min(b), a.max(b));
        self.pairs[first * self.cures.len() + second].get_or_init(|| together(first, second)).as_ref()
    }

    /// What it would still cost on a mixture of a split's rows, at `prices` for the first repair and `later` for those
    /// after it; `None` where the mixture holds no world.
    #[must_use]
    pub fn outlook(
        &self,
        split: &Split,
        weights: &[f64],
        prices: &[f64],
        later: &[f64],
        market: &Market,
        together: &mut Together<'_>,
    ) -> Option<Outlook> {
        self.prospect(split, weights, prices, later, together).map(|prospect| Self::choose(&prospect, market))
    }

    /// The ways on, of which [`choose`](Self::choose) takes the cheapest at any going rate; as [`outlook`](Self::outlook).
    #[must_use]
    pub fn prospect(
        &self,
        split: &Split,
        weights: &[f64],
        prices: &[f64],
        later: &[f64],
        together: &mut Together<'_>,
    ) -> Option<Prospect> {
        let total = mix(&split.totals, weights);
        if total <= 0.0 {
            return None;
        }
        let (repairing, first) = self.repairing(split, weights, total, prices, later, together);
        let (mut known, mut bits) = (0.0, 0.0);
        for (class, worlds) in mix_columns(&split.cheapest, weights).into_iter().enumerate() {
            let p = worlds / total;
            if p > 0.0 {
                // What a single repair cures, its owner could have cured; the last class none does.
                let price = match prices.get(class) {
                    Some(price) => price.min(self.giving_up.with_own(1.0)),
                    None => self.giving_up.hand_over,
                };
                known += p * price;
                bits -= p * libm::log2(p);
            }
        }
        let own = mix_column(&split.cured, weights, self.cures.len()) / total;
        Some(Prospect { repairing, first, known, bits, hand_over: self.giving_up.with_own(own) })
    }

    /// The cheapest way on at a going rate.
    #[must_use]
    pub fn choose(prospect: &Prospect, market: &Market) -> Outlook {
        let looking = prospect.looking(market);
        let mut best = Outlook { cost: prospect.hand_over, way: Way::HandOver };
        if let Some(first) = prospect.first.filter(|_| prospect.repairing < best.cost) {
            best = Outlook { cost: prospect.repairing, way: Way::Repair(first) };
        }
        if looking < best.cost {
            best = Outlook { cost: looking, way: Way::Look };
        }
        best
    }

    /// Repairs in the order of chance over cost, each after those before it failed.
    fn repairing(
        &self,
        split: &Split,
        weights: &[f64],
        total: f64,
        prices: &[f64],
        later: &[f64],
        together: &mut Together<'_>,
    ) -> (f64, Option<usize>) {
        let mut course = Course::new(self, split, weights, total);
        let mut cost = 0.0;
        course.run((prices, later), together, |_, _, paid| cost += paid / total);
        let given_up = course.left * self.giving_up.hand_over + course.wasted(together);
        (cost + given_up / total, course.done.first().copied())
    }

    /// The repairs of that course in their order, each with the share of the worlds in which it comes to it.
    #[must_use]
    pub fn course(
        &self,
        split: &Split,
        weights: &[f64],
        prices: (&[f64], &[f64]),
        together: &mut Together<'_>,
    ) -> Vec<(usize, f64)> {
        let total = split.worlds(weights);
        let mut done = Vec::new();
        Course::new(self, split, weights, total)
            .run(prices, together, |repair, left, _| done.push((repair, left / total)));
        done
    }
}

impl<'b> Course<'b> {
    fn new(bench: &'b Bench, split: &'b Split, weights: &'b [f64], left: f64) -> Self {
        let mut most = mix_columns(&split.cured, weights);
        most.truncate(bench.cures.len());
        let heaviest = weights.iter().copied().fold(0.0, f64::max);
        let (with, merits) = (vec![0.0; most.len()], Vec::with_capacity(most.len()));
        let mut course = Self {
            bench,
            split,
            weights,
            done: Vec::new(),
            failed: (split.failed, 0),
            left,
            most,
            with,
            heaviest,
            merits,
        };
        course.bench.set(split.failed).with.iter().for_each(|with| course.with[with.repair] = with.n);
        course
    }

    /// Goes on to the end, at `prices` for the first repair and others for those after it: `each` is told which, in how
    /// many worlds it comes to it, and what that comes to over these.
    fn run(
        &mut self,
        (prices, later): (&[f64], &[f64]),
        together: &mut Together<'_>,
        mut each: impl FnMut(usize, f64, f64),
    ) {
        let (total, mut price) = (self.left, prices);
        while self.done.len() < REPAIRS_IN_A_ROW {
            let before = self.left;
            let Some(paid) = self.next(price, together) else { break };
            each(*self.done.last().expect("one was just done"), before, paid);
            price = later;
            if self.left / total < 1e-4 {
                break;
            }
        }
    }

    /// Goes on with the repair that cures most for its price, if any is worth it, and says what that comes to over the
    /// worlds left.
    ///
    /// Of fewer worlds a repair cures no more than it did, so that only those are counted again that would come first by
    /// what they did.
    fn next(&mut self, prices: &[f64], together: &mut Together<'_>) -> Option<f64> {
        let after = self.after(together);
        if let Some(after) = &after {
            // With what was done it may cure more than alone: at most so many more than when it was counted.
            for With { repair, n, .. } in &after.with {
                let known = &mut self.with[*repair];
                if *n > *known {
                    self.most[*repair] += (n - *known) * self.heaviest * ROUNDING;
                    *known = *n;
                }
            }
        }
        let GivingUp { again, .. } = self.bench.giving_up;
        let left = self.left;
        // What it comes to, with what it costs where it does not cure.
        let comes_to = |price: f64, cured: f64| price * left + (left - cured).max(0.0) * again;
        let merit = |(most, price): (&f64, &f64)| (most / comes_to(*price, *most), after.is_none());
        self.merits.clear();
        self.merits.extend(self.most.iter().zip(prices).map(merit));
        self.bench.set(self.failed.0).done.iter().for_each(|&tried| self.merits[tried].0 = 0.0);
        loop {
            let best = first_most(&self.merits)?;
            let (merit, counted) = self.merits[best];
            // What it cures, nobody brings in for nothing any more.
            if merit * self.bench.giving_up.with_own(1.0) <= 1.0 {
                return None;
            }
            match &after {
                Some(after) if !counted => {
                    let rows = self.split.rows.iter().zip(self.weights);
                    let cured = rows.map(|(row, weight)| after.cured(self.bench, best, row) * weight).sum();
                    self.most[best] = cured;
                    self.merits[best] = (cured / comes_to(prices[best], cured), true);
                }
                _ => {
                    self.left *= 1.0 - (self.most[best] / left).min(1.0);
                    self.done.push(best);
                    return Some(comes_to(prices[best], self.most[best]));
                }
            }
        }
    }

    /// What is known once those tried have failed; `None` before any was tried.
    fn after(&mut self, together: &mut Together<'_>) -> Option<Rc<Further>> {
        let (mut failed, known) = self.failed;
        for repair in &self.done[known..] {
            failed = self.bench.with(failed, *repair, together);
        }
        self.failed = (failed, self.done.len());
        (!self.done.is_empty()).then(|| self.bench.set(failed))
    }

    /// What trips for nothing come to over the worlds left.
    fn wasted(&mut self, together: &mut Together<'_>) -> f64 {
        let GivingUp { wasted, .. } = self.bench.giving_up;
        if wasted <= 0.0 {
            return 0.0;
        }
        let own = match self.after(together) {
            None => mix_column(&self.split.cured, self.weights, self.bench.cures.len()),
            Some(after) => {
                self.split.rows.iter().zip(self.weights).map(|(row, weight)| after.own(self.bench, row) * weight).sum()
            }
        };
        wasted * own
    }
}

/// The place of the largest number, the first of equals.
fn first_most(of: &[(f64, bool)]) -> Option<usize> {
    (0..of.len()).reduce(|best, at| if of[at].0 > of[best].0 { at } else { best })
}

impl Prospect {
    /// Whether repairs in a row are cheaper than handing over.
    #[must_use]
    pub fn repairs(&self) -> bool {
        self.first.is_some() && self.repairing < self.hand_over
    }

    /// What looking further comes to.
    #[must_use]
    pub fn look(&self, market: &Market) -> Option<Looked> {
        market.look(self.bits)
    }

    /// Knowing which repair it takes, and what finding that out will cost at the going rate; as far as the checks at
    /// hand could tell it, and blindly for the rest.
    fn looking(&self, market: &Market) -> f64 {
        let blindly = self.repairing.min(self.hand_over);
        let cost = |looked: Looked| looked.cost + looked.told * self.known + (1.0 - looked.told) * blindly;
        self.look(market).map_or(f64::INFINITY, cost)
    }
}

impl Split {
    /// The share of all worlds (of so many) in a mixture of rows.
    #[must_use]
    pub fn chance(&self, weights: &[f64]) -> f64 {
        let all: f64 = self.totals.iter().sum();
        if all > 0.0 { mix(&self.totals, weights) / all } else { 0.0 }
    }

    /// How many worlds of a mixture of rows a repair cures.
    #[must_use]
    pub fn cured(&self, weights: &[f64], repair: usize) -> f64 {
        mix_column(&self.cured, weights, repair)
    }

    /// How many worlds a mixture of rows amounts to.
    #[must_use]
    pub fn worlds(&self, weights: &[f64]) -> f64 {
        mix(&self.totals, weights)
    }

    /// The share of the worlds of a mixture whose cheapest cure each repair is; last, of those that none cures alone.
    #[must_use]
    pub fn cheapest_shares(&self, weights: &[f64]) -> Vec<f64> {
        let total = self.worlds(weights);
        mix_columns(&self.cheapest, weights).into_iter().map(|worlds| worlds / total).collect()
    }

    /// The bits that stand between the worlds of a mixture and knowing which repair it takes.
    #[must_use]
    pub fn entropy(&self, weights: &[f64]) -> f64 {
        self.cheapest_shares(weights).into_iter().filter(|p| *p > 0.0).map(|p| -p * libm::log2(p)).sum()
    }

    /// The worlds of each row.
    #[must_use]
    pub fn rows(&self) -> &[Bits] {
        &self.rows
    }
}

/// Every world.
#[must_use]
pub fn all(n: usize) -> Bits {
    let mut bits = vec![u64::MAX; words(n)];
    super::simulate::mask_tail(&mut bits, n);
    bits
}

fn count<B: AsRef<[u64]>>(rows: &[Bits], of: &[B]) -> Counts {
    rows.iter().map(|row| of.iter().map(|bits| f64::from(both(row, bits.as_ref()))).collect()).collect()
}

fn mix(values: &[f64], weights: &[f64]) -> f64 {
    values.iter().zip(weights).map(|(v, w)| v * w).sum()
}

/// All columns.
fn mix_columns(counts: &[Vec<f64>], weights: &[f64]) -> Vec<f64> {
    let mut mixed = vec![0.0; counts.first().map_or(0, Vec::len)];
    for (row, weight) in counts.iter().zip(weights) {
        mixed.iter_mut().zip(row).for_each(|(mixed, count)| *mixed += count * weight);
    }
    mixed
}

fn mix_column(counts: &[Vec<f64>], weights: &[f64], column: usize) -> f64 {
    counts.iter().zip(weights).map(|(row, w)| row[column] * w).sum()
}

#[cfg(test)]
mod tests;
