//! A second step of look-ahead: after each outcome of the most promising first steps, each of the most telling checks
//! is tried with all its outcomes. What comes after that is priced as a plain course of repairs, which could be followed
//! to the letter: the totals are those of a way of working that there is, not a guess at one.

use super::cost;
use super::desk::{Choice, Desk, Priced, Worth};
use super::market::Market;
use super::simulate::Bits;
use super::value::Split;
use crate::access::OpenSet;
use std::rc::Rc;

/// How many first checks are looked at again.
const CHECKS_FIRST: usize = 6;
/// How many first repairs are.
const REPAIRS_FIRST: usize = 3;
/// How many second checks are tried after each outcome.
const CHECKS_SECOND: usize = 10;

/// A second check after a first step: what both together split, and what repairs cost then.
struct Second {
    check: usize,
    price: f64,
    minutes: f64,
    split: Split,
    repairs: Rc<[f64]>,
    /// What is open after it.
    after: OpenSet,
}

impl Desk<'_, '_> {
    /// Prices the most promising options again, two steps deep, and ranks all anew.
    ///
    /// What was not looked at again keeps its distance to the best: it was further behind on equal terms.
    pub(super) fn deeper(&self, ranked: Vec<Priced>) -> Vec<Priced> {
        let best_before = ranked[0].total;
        let (mut again, mut rest) = (Vec::new(), Vec::new());
        let (mut checks, mut repairs) = (0, 0);
        for priced in ranked {
            let count = match priced.option {
                Choice::Check(_) if checks < CHECKS_FIRST => &mut checks,
                Choice::Repair(_) if repairs < REPAIRS_FIRST => &mut repairs,
                Choice::HandOver => {
                    again.push(priced);
                    continue;
                }
                _ => {
                    rest.push(priced);
                    continue;
                }
            };
            *count += 1;
            let total = match priced.option {
                Choice::Check(at) => self.check_total_deep(at),
                Choice::Repair(at) => self.repair_total_deep(at),
                Choice::HandOver => priced.total,
            };
            again.push(Priced { total, worth: Worth::Its, ..priced });
        }
        let rank = |a: &Priced, b: &Priced| a.total.total_cmp(&b.total).then(b.option.cmp(&a.option));
        again.sort_by(rank);
        let best = again[0].total;
        // A check that does not beat what could be done without it costs more than it saves.
        let without = again.iter().filter(|o| !matches!(o.option, Choice::Check(_))).map(|o| o.total).next();
        for priced in &mut again {
            let is_check = matches!(priced.option, Choice::Check(_));
            if is_check && without.is_some_and(|without| priced.total >= without) {
                priced.worth = Worth::Less;
            }
        }
        again.extend(rest.into_iter().map(|o| Priced { total: (o.total - best_before + best).max(best), ..o }));
        again.sort_by(rank);
        again
    }

    /// The expected total with a check, two steps deep.
    fn check_total_deep(&self, at: usize) -> f64 {
        let offer = &self.checks[at].0;
        let first = &self.splits[at];
        let seconds = self.seconds(first, &offer.after, Some(at));
        let repairs = self.prices(&offer.after);
        let ahead: f64 = self.mixtures[at]
            .iter()
            .map(|weights| {
                let chance = first.chance(weights);
                if chance > 0.0 { chance * self.node(first, weights, &repairs, &seconds) } else { 0.0 }
            })
            .sum();
        offer.price.money.get() + ahead
    }

    /// The expected total with a repair, and a check tried after it where it fails.
    fn repair_total_deep(&self, at: usize) -> f64 {
        let price = self.repairs[at].0.price.money.get();
        let left = 1.0 - self.cure_chance(at);
        if left <= 0.0 {
            return price;
        }
        let split = self.bench.after_failed(at, &mut |a, b| self.pair(a, b));
        let seconds = self.seconds(&split, &self.graph.shut(), None);
        price + left * (self.bench.giving_up.again + self.node(&split, &[1.0], &self.shut_prices, &seconds))
    }

    /// What it still costs after one outcome of the first step: repairs or handing over at once, or the best second
    /// check and what follows it.
    fn node(&self, first: &Split, weights: &[f64], repairs: &[f64], seconds: &[Second]) -> f64 {
        let at_once = self.outlook(first, weights, repairs, &Market::blind()).map_or(0.0, |o| o.cost);
        let looking = seconds.iter().map(|second| self.with_second(second, weights));
        looking.fold(at_once, f64::min)
    }

    fn with_second(&self, second: &Second, weights: &[f64]) -> f64 {
        let outlook = |weights: &[f64]| self.outlook(&second.split, weights, &second.repairs, &Market::blind());
        second.price + self.over_outcomes(second, weights, |weights| outlook(weights).map_or(0.0, |o| o.cost))
    }

    /// The mean over the outcomes of a second check of what follows each.
    fn over_outcomes(&self, second: &Second, weights: &[f64], follows: impl Fn(&[f64]) -> f64) -> f64 {
        let rows = self.splits[second.check].rows().len();
        let of_all =
            |own: &[f64]| -> Vec<f64> { weights.iter().flat_map(|w| own.iter().map(move |o| w * o)).collect() };
        let here = second.split.chance(&of_all(&vec![1.0; rows]));
        self.mixtures[second.check]
            .iter()
            .map(|own| {
                let weights = of_all(own);
                second.split.chance(&weights) / here * follows(&weights)
            })
            .sum()
    }

    /// Minutes of the course that a check was priced by two steps deep.
    pub(super) fn check_minutes_deep(&self, at: usize) -> f64 {
        let offer = &self.checks[at].0;
        let first = &self.splits[at];
        let seconds = self.seconds(first, &offer.after, Some(at));
        let repairs = self.prices(&offer.after);
        let ahead = self.mixtures[at].iter().map(|weights| match first.chance(weights) {
            chance if chance > 0.0 => chance * self.node_minutes((first, weights), (&repairs, &offer.after), &seconds),
            _ => 0.0,
        });
        offer.price.minutes.get() + ahead.sum::<f64>()
    }

    /// The same of a repair.
    pub(super) fn repair_minutes_deep(&self, at: usize) -> f64 {
        let minutes = self.repairs[at].0.price.minutes.get();
        let left = 1.0 - self.cure_chance(at);
        if left <= 0.0 {
            return minutes;
        }
        let split = self.bench.after_failed(at, &mut |a, b| self.pair(a, b));
        let shut = self.graph.shut();
        let seconds = self.seconds(&split, &shut, None);
        minutes + left * self.node_minutes((&split, &[1.0]), (&self.shut_prices, &shut), &seconds)
    }

    /// Minutes of what [`node`](Self::node) takes.
    fn node_minutes(
        &self,
        (first, weights): (&Split, &[f64]),
        (repairs, open): (&[f64], &OpenSet),
        seconds: &[Second],
    ) -> f64 {
        let least = |a: &(f64, &Second), b: &(f64, &Second)| a.0.total_cmp(&b.0);
        let best = seconds.iter().map(|second| (self.with_second(second, weights), second)).min_by(least);
        let at_once = self.outlook(first, weights, repairs, &Market::blind()).map_or(0.0, |o| o.cost);
        let later = self.shut_prices.as_slice();
        match best.filter(|(cost, _)| *cost < at_once) {
            None => self.minutes_ahead((first, weights), (repairs, later), open, &Market::blind()),
            Some((_, second)) => {
                let ahead = |weights: &[f64]| {
                    let prices = (&*second.repairs, later);
                    self.minutes_ahead((&second.split, weights), prices, &second.after, &Market::blind())
                };
                second.minutes + self.over_outcomes(second, weights, ahead)
            }
        }
    }

    /// The most telling checks after a first step with `open` open.
    fn seconds(&self, first: &Split, open: &OpenSet, but: Option<usize>) -> Vec<Second> {
        let price = |at: usize| cost::price(self.laid, self.graph, &self.rate, open, &self.checks[at].0.action);
        let mut rates: Vec<(usize, f64)> = (0..self.checks.len())
            .filter(|at| Some(*at) != but && self.gains[*at] > 1e-6)
            .map(|at| (at, self.gains[at] / price(at).money.get().max(0.01)))
            .collect();
        rates.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
        let second = |(check, _): (usize, f64)| {
            let both = |first: &Bits| {
                self.splits[check]
                    .rows()
                    .iter()
                    .map(|own| first.iter().zip(own).map(|(a, b)| a & b).collect::<Bits>())
                    .collect::<Vec<Bits>>()
            };
            let after = cost::after(self.laid, self.graph, open, &self.checks[check].0.action);
            let cost::Price { minutes, money } = price(check);
            Second {
                check,
                price: money.get(),
                minutes: minutes.get(),
                split: {
                    let rows = first.rows().iter().flat_map(both).collect();
                    self.bench.split_further(first, rows, &mut |a, b| self.pair(a, b))
                },
                repairs: self.prices(&after),
                after,
            }
        };
        rates.into_iter().take(CHECKS_SECOND).map(second).collect()
    }
}
