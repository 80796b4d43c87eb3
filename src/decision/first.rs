//! What comes first of what comes to about the same: what was found is put right, and before a dear repair that may well not
//! cure stands a look that could speak against it.
//!
//! Prices alone leave it open: to strip the cooling costs $1 less on average than to look at its telltale first, and the clip
//! of the lanyard $1 less than to turn on a tap that was seen off. Whoever pays for it asks why nobody looked, and why nobody
//! turned it on.

use super::desk::{Choice, Desk, Priced};

/// Totals that differ by less than this share are about the same: what a few thousand worlds leave open. Estimate.
const ABOUT: f64 = 0.01;
/// What cures with less than this is a bet. Estimate.
const SURE: f64 = 2.0 / 3.0;
/// A look costs at most this share of the repair. Estimate.
const SHARE: f64 = 0.5;
/// An outcome rarer than this is not what one looks for. Estimate.
const RARE: f64 = 0.1;
/// An outcome speaks against a repair where it leaves less than this share of its chance to cure. Estimate.
const AGAINST: f64 = 0.5;
/// What is there with at least this chance was found, and is put right first where that costs at most this share of what is
/// to come (a tap, a hose, a clamp) and comes to this share more at most. Estimates.
const FOUND: f64 = 0.6;
const CHEAP: f64 = 0.1;
const ABOUT_FOUND: f64 = 0.02;

impl Desk<'_, '_> {
    /// The position of what comes first, where that is not the cheapest on average.
    pub fn first_of_about_the_same(&self, ranked: &[Priced]) -> Option<usize> {
        let first = ranked.first().filter(|_| self.lock.is_none())?;
        match first.option {
            Choice::Repair(repair) => self.look_before(ranked, repair),
            Choice::Check(_) => ranked.iter().position(|priced| match priced.option {
                Choice::Repair(repair) => {
                    priced.total <= first.total * (1.0 + ABOUT_FOUND)
                        && self.found(repair) >= FOUND
                        && self.repairs[repair].0.price.money.get() <= CHEAP * first.total
                        && self.look_before(ranked, repair).is_none()
                }
                _ => false,
            }),
            Choice::HandOver => None,
        }
    }

    /// The cheapest look, in the order of their totals, that could speak against a repair that is a bet.
    fn look_before(&self, ranked: &[Priced], repair: usize) -> Option<usize> {
        let chance = self.cure_chance(repair);
        let most = SHARE * self.repairs[repair].0.price.money.get();
        let is_look = |priced: &Priced| match priced.option {
            Choice::Check(at) => {
                let (offer, _) = &self.checks[at];
                offer.held.is_none()
                    && offer.price.money.get() <= most
                    && priced.total <= ranked[0].total * (1.0 + ABOUT)
                    && self.may_speak_against(at, repair, chance)
            }
            _ => false,
        };
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

    /// The chance that a repair removes anything.
    pub fn found(&self, repair: usize) -> f64 {
        let found: u32 = self.touched[repair].iter().map(|word| word.count_ones()).sum();
        #[expect(clippy::cast_precision_loss, reason = "a few thousand worlds")]
        let n = self.bench.n as f64;
        f64::from(found) / n
    }
}
