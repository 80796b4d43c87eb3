//! Before a craft is handed over that nobody may try, what holds it up is looked at.
//!
//! Prices alone may say otherwise: a smell of fuel beside two complaints, and handing over looks no dearer than all that may
//! come. But whoever takes it on asks first where the fuel comes from, and to know costs next to nothing.

use super::desk::{Choice, Desk, Priced};

/// The share of the price of handing over that such a look may cost. Estimate: some minutes beside a day's work.
const SHARE: f64 = 0.02;

/// Totals no further apart are about the same to whoever reads them: half a unit of money.
const ABOUT: f64 = 0.5;

impl Desk<'_, '_> {
    /// Where handing over comes first and an interlock forbids to try the symptom: the position of the best cheap check that
    /// is waited for and was not made since it began to be; of those about as good the one that tells most, for where every
    /// cylinder is waited for, one begins with that which showed the metal.
    pub fn last_look(&self, ranked: &[Priced]) -> Option<usize> {
        let lock = self.lock.as_ref().filter(|_| ranked.first().is_some_and(|o| o.option == Choice::HandOver))?;
        let is_due = |option: Choice| match option {
            Choice::Check(at) => {
                let (offer, model) = &self.checks[at];
                offer.held.is_none()
                    && lock.is_unasked(model.check)
                    && offer.price.money.get() <= SHARE * self.bench.hand_over()
            }
            _ => false,
        };
        let tells = |option: Choice| if let Choice::Check(at) = option { self.gains[at] } else { 0.0 };
        let due = || ranked.iter().enumerate().filter(|(_, priced)| is_due(priced.option));
        let least = due().map(|(_, priced)| priced.total).min_by(f64::total_cmp)?;
        let about = due().filter(|(_, priced)| priced.total <= least + ABOUT);
        // The first of those that tell as much.
        about.rev().max_by(|a, b| tells(a.1.option).total_cmp(&tells(b.1.option))).map(|(at, _)| at)
    }
}
