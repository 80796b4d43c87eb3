//! What looking further offers: bits about which repair it takes, for sale at the checks' rates.

use super::cost::Price;
use std::rc::Rc;

/// How much more looking further costs than the checks at hand would make one think: each tells again some of what the
/// others told. Estimate.
const LOOKING_IS_HARDER: f64 = 1.6;

/// What looking further offers: the bits that each check tells as things stand and what a bit costs there, the cheapest
/// rate first.
#[derive(Clone, Debug)]
pub struct Market {
    goods: Rc<[Good]>,
    /// What is told once is not told again.
    but: Option<usize>,
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
#[derive(Clone, Copy, Debug, Default, PartialEq)]
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
        Self { goods: Rc::new([]), but: None }
    }

    /// What checks tell, each by its number, with its price and its bits.
    #[must_use]
    pub fn of(checks: impl Iterator<Item = (usize, Price, f64)>) -> Self {
        let good = |(check, price, bits): (usize, Price, f64)| {
            let (rate, minutes) = (price.money.get() / bits, price.minutes.get() / bits);
            Good { check, bits, rate, minutes }
        };
        let mut goods: Vec<Good> = checks.filter(|(.., bits)| *bits > 1e-6).map(good).collect();
        goods.sort_by(|a, b| a.rate.total_cmp(&b.rate).then(a.check.cmp(&b.check)));
        Self { goods: goods.into(), but: None }
    }

    /// What all but one check tell.
    #[must_use]
    pub fn without(&self, check: usize) -> Self {
        Self { goods: Rc::clone(&self.goods), but: Some(check) }
    }

    /// Looks further where so many `bits` stand before knowing, and knowing saves so much: at every rate at which what
    /// is told of it is worth its cost, the cheapest first. `None` where no check is.
    #[must_use]
    pub fn look(&self, bits: f64, knowing_saves: f64) -> Option<Looked> {
        // No bits left to tell apart is no looking at all.
        if bits < 1e-9 {
            return None;
        }
        let (mut looked, mut left) = (Looked::default(), bits);
        let worth_it = |good: &&Good| good.rate * LOOKING_IS_HARDER * bits < knowing_saves;
        for good in self.goods.iter().take_while(worth_it).filter(|good| Some(good.check) != self.but) {
            let bits = good.bits.min(left);
            looked.cost += LOOKING_IS_HARDER * good.rate * bits;
            looked.minutes += LOOKING_IS_HARDER * good.minutes * bits;
            left -= bits;
            if left <= 0.0 {
                break;
            }
        }
        looked.told = 1.0 - left / bits;
        (looked.told > 0.0).then_some(looked)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Minutes, Money};

    fn market() -> Market {
        let price = |money| Price { minutes: Minutes::of(money / 2.0), money: Money::of(money) };
        // At 20, 40 and 100 a bit.
        Market::of([(0, price(40.0), 1.0), (1, price(10.0), 0.5), (2, price(50.0), 0.5)].into_iter())
    }

    fn near(looked: Option<Looked>, [told, cost, minutes]: [f64; 3]) {
        let looked = looked.expect("it is worth it");
        for (found, by_hand) in [(looked.told, told), (looked.cost, cost), (looked.minutes, minutes)] {
            assert!((found - by_hand).abs() < 1e-12, "{looked:?}");
        }
    }

    /// Two bits stand before knowing. By hand: a bit that saves more than 1.6 times its rate is bought. Where knowing saves
    /// 400 a bit is worth 200: all three are, 1.6 x (10 + 40 + 50) = 160 for all that is to be told. Where it saves 200 a bit is
    /// worth 100, and 1.6 x 100 is more: three quarters are told for 1.6 x 50 = 80. Where it saves 60 a bit is worth 30, and
    /// 1.6 x 20 is more: nothing is.
    #[test]
    fn bits_are_bought_as_long_as_they_are_worth_their_rate() {
        near(market().look(2.0, 400.0), [1.0, 160.0, 80.0]);
        near(market().look(2.0, 200.0), [0.75, 80.0, 40.0]);
        assert_eq!(market().look(2.0, 60.0), None);
    }

    /// No more is bought than stands before knowing: of one bit the half at 20 and a half at 40.
    #[test]
    fn no_more_is_bought_than_there_is_to_know() {
        near(market().look(1.0, 400.0), [1.0, 1.6 * 30.0, 0.8 * 30.0]);
        assert_eq!(market().look(0.0, 400.0), None);
    }

    /// Without the cheapest, the others; without any, none.
    #[test]
    fn what_is_told_once_is_not_told_again() {
        near(market().without(1).look(2.0, 400.0), [0.75, 1.6 * 90.0, 0.8 * 90.0]);
        assert_eq!(Market::blind().look(2.0, 400.0), None);
    }
}
