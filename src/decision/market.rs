//! What looking further offers: the going rate at which worlds can be told apart, and how far it reaches.

use super::cost::Price;
use std::rc::Rc;

/// How much more looking further costs than its first, cheapest step would make one think: later steps tell less.
/// Estimate.
const LOOKING_IS_HARDER: f64 = 1.6;

/// What looking further offers: the bits that the checks at hand tell as things stand, and what a bit costs by the check that
/// tells most for its cost.
///
/// Bits bought from every check at its own rate were tried instead. What it costs to look further is then dearer and does not
/// jump where the best check is used up, but it no longer says which of several checks that will all be made comes first: a
/// dear one was, before the position of the fuel tap.
#[derive(Clone, Debug)]
pub struct Market {
    goods: Rc<[Good]>,
    /// The cheapest rate; none where no check tells anything.
    best: Option<Good>,
    /// The bits that all checks at hand could tell at most, were none to repeat what another said.
    supply: f64,
}

/// What one check tells.
#[derive(Clone, Copy, Debug)]
struct Good {
    check: usize,
    bits: f64,
    /// Money a bit.
    rate: f64,
    /// Minutes a bit.
    minutes: f64,
}

/// What looking further comes to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Looked {
    /// The share that is told of what stands between now and knowing.
    pub told: f64,
    /// Money for it.
    pub cost: f64,
    /// Minutes for it.
    pub minutes: f64,
}

impl Market {
    /// No check tells anything: repairs in a row, or handing over.
    #[must_use]
    pub fn blind() -> Self {
        Self { goods: Rc::new([]), best: None, supply: 0.0 }
    }

    /// What checks tell, each by its number, with its price and its bits.
    #[must_use]
    pub fn of(checks: impl Iterator<Item = (usize, Price, f64)>) -> Self {
        let good = |(check, price, bits): (usize, Price, f64)| {
            let (rate, minutes) = (price.money.get() / bits, price.minutes.get() / bits);
            Good { check, bits, rate, minutes }
        };
        let goods: Rc<[Good]> = checks.filter(|(.., bits)| *bits > 1e-6).map(good).collect();
        Self { goods, ..Self::blind() }.but(None)
    }

    /// What all but one check tell: what it tells, it tells once.
    #[must_use]
    pub fn without(&self, check: usize) -> Self {
        self.but(Some(check))
    }

    fn but(&self, check: Option<usize>) -> Self {
        let others = || self.goods.iter().filter(|good| Some(good.check) != check);
        let best = others().min_by(|a, b| a.rate.total_cmp(&b.rate).then(a.check.cmp(&b.check))).copied();
        Self { goods: Rc::clone(&self.goods), best, supply: others().map(|good| good.bits).sum() }
    }

    /// Looks further where so many `bits` stand before knowing, as far as the checks at hand could tell them. `None` where
    /// nothing is left to tell apart, or nobody to tell it.
    #[must_use]
    pub fn look(&self, bits: f64) -> Option<Looked> {
        if bits < 1e-9 || self.supply < 1e-9 {
            return None;
        }
        let told = (self.supply / bits).min(1.0);
        let bits = told * LOOKING_IS_HARDER * bits;
        self.best.map(|best| Looked { told, cost: bits * best.rate, minutes: bits * best.minutes })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Minutes, Money};

    /// Checks at 40, 20 and 100 a bit, two bits in all.
    fn market() -> Market {
        let price = |money| Price { minutes: Minutes::of(money / 2.0), money: Money::of(money) };
        Market::of([(0, price(40.0), 1.0), (1, price(10.0), 0.5), (2, price(50.0), 0.5)].into_iter())
    }

    fn near(looked: Option<Looked>, [told, cost, minutes]: [f64; 3]) {
        let looked = looked.expect("there is something to be told");
        for (found, by_hand) in [(looked.told, told), (looked.cost, cost), (looked.minutes, minutes)] {
            assert!((found - by_hand).abs() < 1e-12, "{looked:?}");
        }
    }

    /// By hand: one bit costs 1.6 x 20 and half as many minutes; of four bits half is told, 1.6 x 2 x 20.
    #[test]
    fn bits_are_told_at_the_best_rate_as_far_as_they_reach() {
        near(market().look(1.0), [1.0, 32.0, 16.0]);
        near(market().look(4.0), [0.5, 64.0, 32.0]);
        assert_eq!(market().look(0.0), None);
        assert_eq!(Market::blind().look(1.0), None);
    }

    /// Without the cheapest the next is the rate, and one and a half bits are left: of three half.
    #[test]
    fn what_is_told_once_is_not_told_again() {
        near(market().without(1).look(3.0), [0.5, 1.6 * 1.5 * 40.0, 0.8 * 1.5 * 40.0]);
    }
}
