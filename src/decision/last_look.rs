//! Before a craft is handed over that nobody may try, what holds it up is looked at.
//!
//! Prices alone may say otherwise: a smell of fuel beside two complaints, and handing over looks no dearer than all that may
//! come. But whoever takes it on asks first where the fuel comes from, and to know costs next to nothing.

use super::desk::{Choice, Desk, Priced};

/// The share of the price of handing over that such a look may cost. Estimate: some minutes beside a day's work.
const SHARE: f64 = 0.02;

impl Desk<'_, '_> {
    /// Where handing over comes first and an interlock forbids to try the symptom: the position of the best cheap check that
    /// is waited for and was not made since it began to be.
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
        let due = ranked.iter().enumerate().filter(|(_, priced)| is_due(priced.option));
        due.min_by(|a, b| a.1.total.total_cmp(&b.1.total)).map(|(at, _)| at)
    }
}
