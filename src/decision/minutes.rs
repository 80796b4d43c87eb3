//! How long it takes from here to the end: minutes along the very course whose cost the next step was chosen by.
//!
//! A cost is parts, trips and the price of giving up besides time, so minutes cannot be read off it. They are counted along
//! the same ways on, for one option and not for all that are compared.

use super::cost;
use super::desk::{Choice, Desk, Priced};
use super::lock::{Lock, Unlocking, share};
use super::market::{Looked, Market};
use super::value::{Bench, Outlook, Split, Together, Way};
use super::{Action, LookAhead, Settings};
use crate::access::OpenSet;
use crate::units::Minutes;

/// How what comes after a step was priced.
pub(super) enum GoesOn {
    /// At the going rate of looking further.
    At(Market),
    /// With a second check over all its outcomes, and repairs after it.
    Deeper,
}

impl GoesOn {
    /// As options were ranked; after a search as one step of look-ahead would go on, since what a search follows is a tree.
    pub fn of(desk: &Desk<'_, '_>, ranked: &[Priced], settings: &Settings) -> Self {
        if settings.look_ahead == LookAhead::Two && desk.lock.is_none() {
            return Self::Deeper;
        }
        let looks = ranked.iter().any(|option| !option.worth.is_losing() && matches!(option.option, Choice::Check(_)));
        if looks { Self::looking(desk) } else { Self::At(Market::blind()) }
    }

    /// As if every check were worth its cost.
    pub fn looking(desk: &Desk<'_, '_>) -> Self {
        Self::At(desk.market.clone())
    }
}

/// A mixture of the rows of a split, and what repairs on it cost and take: the first, and those after it.
pub(super) struct Ahead<'t> {
    pub bench: &'t Bench,
    pub split: &'t Split,
    pub weights: &'t [f64],
    pub prices: (&'t [f64], &'t [f64]),
    pub minutes: (&'t dyn Fn(usize) -> f64, &'t dyn Fn(usize) -> f64),
    pub market: &'t Market,
}

impl Ahead<'_> {
    /// Minutes along the cheapest way on.
    pub fn minutes(&self, together: &mut Together<'_>) -> f64 {
        let (prices, later) = self.prices;
        let Some(prospect) = self.bench.prospect(self.split, self.weights, prices, later, together) else { return 0.0 };
        match Bench::choose(&prospect, self.market).way {
            Way::HandOver => 0.0,
            Way::Repair(_) => self.repairing(together),
            Way::Look => {
                let Looked { told, minutes, .. } = prospect.look(self.market).expect("it is the way on");
                let blindly = if told < 1.0 && prospect.repairs() { self.repairing(together) } else { 0.0 };
                minutes + told * self.known() + (1.0 - told) * blindly
            }
        }
    }

    /// Repairs in a row, each in the worlds in which it comes to it.
    fn repairing(&self, together: &mut Together<'_>) -> f64 {
        let course = self.bench.course(self.split, self.weights, self.prices, together);
        let (first, later) = self.minutes;
        let takes =
            |(n, (repair, share)): (usize, (usize, f64))| share * if n == 0 { first(repair) } else { later(repair) };
        course.into_iter().enumerate().map(takes).sum()
    }

    /// The cure once it is known which repair it takes; none where giving up costs less.
    fn known(&self) -> f64 {
        let (first, (prices, _)) = (self.minutes.0, self.prices);
        let shares = self.split.cheapest_shares(self.weights);
        let takes = |(repair, share): (usize, f64)| {
            let done = share > 0.0 && prices[repair] <= self.bench.giving_up.with_own(1.0);
            if done { share * first(repair) } else { 0.0 }
        };
        shares.into_iter().take(prices.len()).enumerate().map(takes).sum()
    }
}

impl Desk<'_, '_> {
    /// Minutes from here to the end, taking an option that was priced so.
    pub fn minutes_to_go(&self, next: &Priced, goes_on: &GoesOn) -> Minutes {
        Minutes::of(match (next.option, goes_on) {
            (Choice::HandOver, _) => 0.0,
            (Choice::Check(at), GoesOn::At(market)) => self.check_minutes(at, market),
            (Choice::Repair(at), GoesOn::At(market)) => self.repair_minutes(at, market),
            (Choice::Check(at), GoesOn::Deeper) => self.check_minutes_deep(at),
            (Choice::Repair(at), GoesOn::Deeper) => self.repair_minutes_deep(at),
        })
    }

    /// Minutes of a repair with this open.
    pub fn minutes_of(&self, repair: usize, open: &OpenSet) -> f64 {
        self.minutes_of_action(&self.repairs[repair].0.action, open)
    }

    /// Minutes of an action with this open.
    pub fn minutes_of_action(&self, action: &Action, open: &OpenSet) -> f64 {
        cost::price(self.laid, self.graph, &self.rate, open, action).minutes.get()
    }

    /// Minutes along the cheapest way on from a mixture, with this open for what comes first.
    pub fn minutes_ahead(
        &self,
        (split, weights): (&Split, &[f64]),
        prices: (&[f64], &[f64]),
        open: &OpenSet,
        market: &Market,
    ) -> f64 {
        let shut = self.graph.shut();
        let minutes: (&dyn Fn(usize) -> f64, &dyn Fn(usize) -> f64) =
            (&|repair| self.minutes_of(repair, open), &|repair| self.minutes_of(repair, &shut));
        Ahead { bench: &self.bench, split, weights, prices, minutes, market }.minutes(&mut |a, b| self.pair(a, b))
    }

    fn check_minutes(&self, at: usize, market: &Market) -> f64 {
        let offer = &self.checks[at].0;
        let (split, prices) = (&self.splits[at], self.prices(&offer.after));
        let after = |(outcome, weights): (usize, &Vec<f64>)| {
            let (first, later) = self.prices_after(at, outcome, &prices);
            let minutes = self.minutes_ahead((split, weights), (&first, &later), &offer.after, market);
            let cure = self.outlook_after(at, outcome, market).unwrap_or(Outlook::NOTHING);
            let share = self.unlocking_after_check(at, outcome).carried_on(cure, self.bench.hand_over());
            split.chance(weights) * (share * minutes + self.unlocking_minutes(at, outcome, &prices, cure))
        };
        offer.price.minutes.get() + self.mixtures[at].iter().enumerate().map(after).sum::<f64>()
    }

    fn repair_minutes(&self, at: usize, market: &Market) -> f64 {
        let minutes = self.repairs[at].0.price.minutes.get();
        let left = 1.0 - self.cure_chance(at);
        let cure = self.cure_after(at, market);
        let unlocking = self.unlocking_minutes_after(at, cure);
        if left <= 0.0 {
            return minutes + unlocking;
        }
        let share = self.unlocking_after(at).carried_on(cure, self.bench.hand_over());
        let split = self.bench.after_failed(at, &mut |a, b| self.pair(a, b));
        let prices = (self.shut_prices.as_slice(), self.shut_prices.as_slice());
        let ahead = self.minutes_ahead((&split, &[1.0]), prices, &self.graph.shut(), market);
        minutes + unlocking + share * left * ahead
    }

    /// Minutes until the lock lets go, after an outcome of a check; `cure` is what comes after that costs.
    fn unlocking_minutes(&self, at: usize, outcome: usize, prices: &[f64], cure: Outlook) -> f64 {
        let Some(lock) = &self.lock else { return 0.0 };
        let check = self.checks[at].1.check;
        if lock.ends_with(check, outcome) {
            return 0.0;
        }
        let weights = &self.mixtures[at][outcome];
        let (split, here) = (lock.split_after(at, check, outcome), self.splits[at].worlds(weights));
        let stuck = if here > 0.0 { split.worlds(weights) / here } else { 0.0 };
        let made = lock.price_after(check, outcome).minutes.get();
        let unlocking = self.unlocking_after_check(at, outcome);
        if unlocking.is_given_up(cure, self.bench.hand_over()) {
            return made;
        }
        let open = &self.checks[at].0.after;
        made + stuck * (self.lock_minutes(lock, (split, weights), prices, open) - self.shared(unlocking, cure, open))
    }

    /// The same after a repair.
    fn unlocking_minutes_after(&self, repair: usize, cure: Outlook) -> f64 {
        let Some(lock) = &self.lock else { return 0.0 };
        let split = lock.bench.after_failed(repair, &mut |a, b| self.pair_frees(lock, a, b));
        let left = share(&split.rows()[0], self.worlds);
        let made = lock.price().minutes.get();
        let unlocking = self.unlocking_after(repair);
        if unlocking.is_given_up(cure, self.bench.hand_over()) {
            return made;
        }
        let shut = self.graph.shut();
        let minutes = self.lock_minutes(lock, (&split, &[1.0]), &self.shut_prices, &shut);
        made + left * (minutes - self.shared(unlocking, cure, &shut))
    }

    /// Minutes of the repair that both a lock and a cure begin with, with this open.
    fn shared(&self, unlocking: Unlocking, cure: Outlook, open: &OpenSet) -> f64 {
        unlocking.shared(cure).map_or(0.0, |repair| self.minutes_of(repair, open))
    }

    fn lock_minutes(&self, lock: &Lock, (split, weights): (&Split, &[f64]), prices: &[f64], open: &OpenSet) -> f64 {
        let (prices, each) = (lock.with_checks(prices), lock.price().minutes.get());
        let minutes = |repair: usize| self.minutes_of(repair, open) + each;
        let ahead = Ahead {
            bench: &lock.bench,
            split,
            weights,
            prices: (&prices, &prices),
            minutes: (&minutes, &minutes),
            market: &lock.market,
        };
        ahead.minutes(&mut |a, b| self.pair_frees(lock, a, b))
    }
}
