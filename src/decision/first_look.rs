//! Before a dear repair that may well not cure, a look that could speak against it, where both come to about the same.
//!
//! Prices alone leave it open: to strip the cooling costs $1 less on average than to look at its telltale first. Whoever pays
//! for it asks why nobody looked, and a look can be taken back.

use super::desk::{Choice, Desk, Priced};

/// What cures with less than this is a bet. Estimate.
const SURE: f64 = 2.0 / 3.0;
/// Totals that differ by less than this share are about the same: what a few thousand worlds leave open. Estimate.
const ABOUT: f64 = 0.01;
/// A look costs at most this share of the repair. Estimate.
const SHARE: f64 = 0.5;
/// An outcome rarer than this is not what one looks for.
const RARE: f64 = 0.1;
/// An outcome speaks against a repair where it leaves less than this share of its chance to cure. Estimate.
const AGAINST: f64 = 0.5;

impl Desk<'_, '_> {
    /// Where such a repair comes first: the position of the cheapest such look.
    pub fn first_look(&self, ranked: &[Priced]) -> Option<usize> {
        let first = ranked.first().filter(|_| self.lock.is_none())?;
        let Choice::Repair(repair) = first.option else { return None };
        let chance = self.cure_chance(repair);
        let most = SHARE * self.repairs[repair].0.price.money.get();
        let is_look = |priced: &Priced| match priced.option {
            Choice::Check(at) => {
                let (offer, _) = &self.checks[at];
                offer.held.is_none()
                    && offer.price.money.get() <= most
                    && priced.total <= first.total * (1.0 + ABOUT)
                    && self.may_speak_against(at, repair, chance)
            }
            _ => false,
        };
        // In the order of their totals.
        if chance < SURE { ranked.iter().position(is_look) } else { None }
    }

    /// Whether some outcome of a check leaves little of a repair's chance to cure.
    fn may_speak_against(&self, check: usize, repair: usize, chance: f64) -> bool {
        let split = &self.splits[check];
        self.mixtures[check].iter().any(|weights| {
            let worlds = split.worlds(weights);
            split.chance(weights) >= RARE && split.cured(weights, repair) < AGAINST * chance * worlds
        })
    }
}
