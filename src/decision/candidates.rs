//! Repairs that bear on the complaint: what each would cure, and which are worth comparing.

use super::lock::Awaited;
use super::offers::{Gatherer, Offer};
use super::simulate::{Bits, Changed, Simulator, draws, words};
use super::value;
use super::{Action, complained_of, cost, untried};
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Cause, Ix, Repair};
use crate::safety::{Before, Verdict};

/// A repair with what it would cure.
pub struct Candidate {
    /// What is offered.
    pub offer: Offer,
    /// The causes it removes, and how surely.
    pub removes: Vec<(Instance<Cause>, f64)>,
    /// In which worlds it removes each.
    pub clears: Vec<(Instance<Cause>, Bits)>,
    /// The worlds in which it removes anything.
    pub touched: Bits,
    /// How things stand after it.
    pub after: Changed,
    /// The worlds it cures alone.
    pub gone: Bits,
    /// The worlds in which what forbids a trial lets go after it, and does not without.
    pub frees: Option<Bits>,
}

/// What every repair that bears on the complaint would do.
pub struct Candidates<'a, 'g, 'k> {
    /// Who knows what each costs.
    pub gatherer: &'a Gatherer<'g, 'k>,
    /// What it would do in each world.
    pub simulator: &'a Simulator<'a>,
    /// What forbids to try the symptom, where something does.
    pub awaited: Option<&'a Awaited>,
    /// The worlds in which that lets go by itself.
    pub free: &'a [u64],
    /// How many worlds.
    pub n: usize,
    /// The seed of the draws.
    pub seed: u64,
}

impl Candidates<'_, '_, '_> {
    /// All of those offered that may change anything that is complained of, or that what forbids a trial waits for.
    pub fn all(&self, offers: Vec<(Offer, Vec<(Instance<Cause>, f64)>)>) -> Vec<Candidate> {
        let bears = |(offer, removes): &(Offer, Vec<(Instance<Cause>, f64)>)| {
            let asked_for = |ix: &Ix<Repair>| self.awaited.is_some_and(|awaited| awaited.asks_for(*ix));
            let named = matches!(&offer.action, Action::Repair(ix, _) if asked_for(ix));
            named || removes.iter().any(|(cause, _)| self.simulator.matters(cause))
        };
        let mut all: Vec<Candidate> =
            offers.into_iter().filter(bears).map(|(offer, removes)| self.candidate(offer, removes)).collect();
        if untried(self.gatherer.laid.knowledge, self.gatherer.case).is_some() {
            all.push(self.candidate(self.trial(), Vec::new()));
        }
        all
    }

    /// To try the symptom: after repairs that could not be tried it may be gone already, and who tries it needs no other. As
    /// long as an interlock forbids it, it is held up by that.
    fn trial(&self) -> Offer {
        let Gatherer { laid, graph, case, open, safety, rate } = self.gatherer;
        let action = Action::Try(complained_of(case));
        let price = cost::price(laid, graph, rate, open, &action);
        let (before, held) = match safety.judge(laid, graph, case, open, &action) {
            Verdict::May(before) => (before, None),
            Verdict::Barred { by, why } => (Before::default(), Some((by, why))),
        };
        Offer { action, price, before, after: (*open).clone(), held }
    }

    fn candidate(&self, offer: Offer, removes: Vec<(Instance<Cause>, f64)>) -> Candidate {
        let clears = clears(self.gatherer.laid, &offer.action, &removes, self.n, self.seed);
        let after = self.simulator.after(&clears);
        let gone = self.simulator.gone_in(&after);
        let touched = self.simulator.touched(&clears);
        let frees = self.awaited.map(|awaited| {
            let done = match &offer.action {
                Action::Repair(ix, _) => vec![*ix],
                _ => Vec::new(),
            };
            let lets_go = awaited.lets_go(self.simulator, &after, (&done, &touched), None, self.n);
            lets_go.iter().zip(self.free).map(|(lets_go, free)| lets_go & !free).collect()
        });
        Candidate { offer, removes, clears, touched, after, gone, frees }
    }
}

/// For each world what its cheapest cure would cost at least: the cheapest repair that cures it alone where every draw
/// goes well, two that both find something to remove, or handing over. What must be opened is taken as open.
pub fn cheapest(
    simulator: &Simulator<'_>,
    candidates: &[Candidate],
    gatherer: &Gatherer<'_, '_>,
    n: usize,
) -> Vec<f64> {
    let price = |candidate: &Candidate| {
        let Gatherer { laid, graph, rate, .. } = gatherer;
        cost::price(laid, graph, rate, &candidate.offer.after, &candidate.offer.action).money.get()
    };
    let mut by_price: Vec<(f64, &Candidate)> =
        candidates.iter().map(|candidate| (price(candidate), candidate)).collect();
    by_price.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut cheapest = vec![gatherer.rate.hand_over.get(); n];
    let mut first_to_touch = vec![None; n];
    for (price, candidate) in by_price {
        let sure: Vec<(Instance<Cause>, Bits)> =
            candidate.clears.iter().map(|(cause, _)| (*cause, value::all(n))).collect();
        let (gone, touched) = (simulator.gone_without(&sure), simulator.touched(&sure));
        for (world, least) in cheapest.iter_mut().enumerate() {
            let is_in = |bits: &Bits| bits[world / 64] >> (world % 64) & 1 == 1;
            if is_in(&gone) {
                *least = least.min(price);
            } else if is_in(&touched) {
                match first_to_touch[world] {
                    Some(first) => *least = least.min(first + price),
                    None => first_to_touch[world] = Some(price),
                }
            }
        }
    }
    cheapest
}

/// The most repairs compared: those that cure most for their cost. What cures one world in 500 for its price is not
/// what a plan begins with; it comes back into view once an answer makes it likelier.
const REPAIRS_COMPARED: usize = 48;

/// The worlds in which it cures, where none of the others has been `cured` yet, or helps to be allowed to try.
fn helped(candidate: &Candidate, cured: &[u64]) -> u32 {
    let frees = candidate.frees.iter().flatten().copied().chain(std::iter::repeat(0));
    let cures = candidate.gone.iter().zip(cured).map(|(gone, cured)| gone & !cured);
    cures.zip(frees).map(|(cures, frees)| (cures | frees).count_ones()).sum()
}

/// Keeps the promising repairs, in the order they came.
pub fn promising(candidates: &mut Vec<Candidate>, n: usize) {
    let tries = |c: &Candidate| matches!(c.offer.action, Action::Try(_));
    // What is gone already no repair makes go.
    let cured = candidates.iter().find(|c| tries(c)).map_or_else(|| vec![0; words(n)], |c| c.gone.clone());
    let helped = |c: &Candidate| if tries(c) { helped(c, &vec![0; words(n)]) } else { helped(c, &cured) };
    let merit = |c: &Candidate| f64::from(helped(c)) / c.offer.price.money.get().max(1.0);
    let worth = |c: &Candidate| tries(c) || helped(c) as usize * 500 >= n;
    let mut merits: Vec<f64> = candidates.iter().filter(|c| worth(c)).map(&merit).collect();
    merits.sort_by(|a, b| b.total_cmp(a));
    let least = merits.get(REPAIRS_COMPARED - 1).copied().unwrap_or(0.0);
    candidates.retain(|c| tries(c) || worth(c) && merit(c) >= least);
}

/// In which worlds a repair removes each cause; each cause instance of each repair has its own stream of draws.
fn clears(
    laid: &Laid<'_>,
    action: &Action,
    removes: &[(Instance<Cause>, f64)],
    n: usize,
    seed: u64,
) -> Vec<(Instance<Cause>, Bits)> {
    let Action::Repair(repair, _) = action else { return Vec::new() };
    let causes = laid.knowledge.causes.len() as u64;
    removes
        .iter()
        .map(|(cause, sureness)| {
            let stream = ((repair.at() as u64) * causes + cause.item.at() as u64) * 16 + cause.at as u64;
            (*cause, draws(n, *sureness, seed, stream))
        })
        .collect()
}
