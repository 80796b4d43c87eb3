//! What any step would come to: every option that the comparison looks at, with its expected total.
//!
//! The advice says what is best; who judges the choices of others needs the price of all.

use super::desk::{Choice, Desk, Priced};
use super::{Action, Advice, Before, Settings, weigh};
use crate::access::AccessGraph;
use crate::belief::Belief;
use crate::case::Case;
use crate::inference::Error;
use crate::knowledge::layout::Laid;
use crate::units::{Minutes, Money};

/// One option and what it would come to.
#[derive(Clone, Debug, PartialEq)]
pub struct Appraised {
    /// What.
    pub action: Action,
    /// Minutes of work of the step alone, with what it opens and must put back.
    pub minutes: Minutes,
    /// What the step alone costs.
    pub cost: Money,
    /// From here to the end, taking it.
    pub total: Money,
    /// What must be done first.
    pub before: Before,
    /// Bits that a check tells about which repair it takes; 0 for what is no check.
    pub tells_bits: f64,
    /// The chance that a repair removes anything; 0 for what is no repair.
    pub finds: f64,
    /// The chance that a repair makes the complaint go; 0 for what is no repair.
    pub cures: f64,
    /// Whether an interlock holds it up, or the trial that would tell what it did: it is priced as if none did.
    pub held: bool,
}

/// The advice, and every option that it was compared with, the cheapest first and those that are held up last: checks that
/// would tell anything new, repairs that may cure, handing over. What is not among them is not worth its cost: checks that
/// were made, repairs that cure less than one world in 500 or are not among the 48 best for their price.
///
/// The advice is that of [`advise`](super::advise), and totals are those that it compares. They carry the error of the
/// sampled worlds.
///
/// Cost: that of [`advise`](super::advise), and a little for repairs that are held up.
///
/// # Errors
/// Where the network is too wide for the limits.
pub fn appraise(
    laid: &Laid<'_>,
    graph: &AccessGraph,
    case: &Case,
    belief: &Belief,
    settings: &Settings,
) -> Result<(Advice, Vec<Appraised>), Error> {
    weigh(laid, graph, case, belief, settings, all)
}

/// What was compared, and after it what is held up.
fn all(desk: &Desk<'_, '_>, ranked: &[Priced]) -> Vec<Appraised> {
    let mut all: Vec<Appraised> = ranked.iter().map(|priced| desk.appraised(priced.option, priced.total)).collect();
    let held = (0..desk.repairs.len()).filter(|at| desk.repairs[*at].0.held.is_some());
    all.extend(held.map(|at| desk.appraised(Choice::Repair(at), desk.repair_total(at, &desk.market))));
    all
}

impl Desk<'_, '_> {
    fn appraised(&self, option: Choice, total: f64) -> Appraised {
        let (offer, tells_bits, finds, cures) = match option {
            Choice::Check(at) => (&self.checks[at].0, self.gains[at].max(0.0), 0.0, 0.0),
            Choice::Repair(at) => (&self.repairs[at].0, 0.0, self.found(at), self.cure_chance(at)),
            Choice::HandOver => {
                return Appraised {
                    action: Action::HandOver,
                    minutes: Minutes::ZERO,
                    cost: Money::of(self.bench.giving_up.hand_over),
                    total: Money::of(total),
                    before: Before::default(),
                    tells_bits: 0.0,
                    finds: 0.0,
                    cures: 0.0,
                    held: false,
                };
            }
        };
        Appraised {
            action: offer.action.clone(),
            minutes: offer.price.minutes,
            cost: offer.price.money,
            total: Money::of(total),
            before: offer.before.clone(),
            tells_bits,
            finds,
            cures,
            held: offer.held.is_some(),
        }
    }
}
