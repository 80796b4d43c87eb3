//! The comparison itself: every check and repair that is offered, with what it costs from here to the end.

use super::candidates::{self, Candidate, Candidates};
use super::lock::{Awaited, Lock, Unlocking, share};
use super::market::Market;
use super::offers::{Gatherer, Offer, Offers};
use super::search::Between;
use super::simulate::{self, Bits, Changed, Simulator};
use super::value::{self, Bench, GivingUp, Outlook, Prospect, Split, Way};
use super::{Action, Bounds, Proof, Settings, cost, worked_on};
use crate::access::{AccessGraph, OpenSet};
use crate::belief::Belief;
use crate::case::Case;
use crate::inference::Worlds;
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Cause, Interlock, Ix, Repair};
use crate::model::aired::next_by_row;
use crate::model::compile::CheckModel;
use crate::model::network::{Literal, VarIx};
use crate::safety::Safety;
use crate::units::Money;
use std::cell::{OnceCell, RefCell};
use std::collections::BTreeMap;
use std::rc::Rc;

/// One option as it was priced.
#[derive(Clone, Debug)]
pub(super) struct Priced {
    /// Which.
    pub option: Choice,
    /// What it comes to from here to the end.
    pub total: f64,
    /// Whether it is worth its cost.
    pub worth: Worth,
    /// Between what it comes to at best, where that was searched for, and in how many states.
    pub between: Option<(Between, usize)>,
}

/// Whether an option is worth its cost.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Worth {
    /// It is, or nothing is to be said against it.
    Its,
    /// A check that costs more than it saves.
    Less,
    /// A check that saves next to nothing: whatever it shows, the same is done.
    Nothing,
}

impl Worth {
    /// Of a check of this price, with which it comes to so much more than without.
    fn of(price: f64, loss: f64) -> Self {
        if price - loss > SAVES_SOMETHING * price { Self::Less } else { Self::Nothing }
    }

    /// Whether it costs more than it saves.
    pub fn is_losing(self) -> bool {
        self != Self::Its
    }
}

/// The share of its price that a check must save to be another way to go on. Estimate: below it what is saved is mostly the
/// sample's.
const SAVES_SOMETHING: f64 = 0.05;

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Choice {
    HandOver,
    Check(usize),
    Repair(usize),
}

/// In how many worlds of those in which nothing may be tried a repair must change that to be worth naming.
const FREES_AT_LEAST: f64 = 0.01;

/// Everything that the comparison looks at.
pub(super) struct Desk<'a, 'k> {
    pub laid: &'a Laid<'k>,
    pub graph: &'a AccessGraph,
    pub case: &'a Case,
    pub belief: &'a Belief,
    pub worlds: &'a Worlds,
    pub simulator: Simulator<'a>,
    pub bench: Bench,
    pub repairs: Vec<(Offer, Vec<(Instance<Cause>, f64)>)>,
    pub checks: Vec<(Offer, CheckModel)>,
    pub splits: Vec<Split>,
    /// For each check, for each outcome the weight of each row.
    pub mixtures: Vec<Vec<Vec<f64>>>,
    pub rate: cost::Rate,
    pub removed: Vec<Vec<(Instance<Cause>, Bits)>>,
    /// For each repair how things stand after it.
    pub changed: Vec<Changed>,
    /// For each repair the worlds in which it removes anything.
    pub touched: Vec<Bits>,
    pub shut_prices: Vec<f64>,
    /// For each check the bits it tells about which repair it takes.
    pub gains: Vec<f64>,
    /// What looking further offers.
    pub market: Market,
    /// What forbids to try the symptom, where something does.
    pub lock: Option<Lock>,
    /// For each world what its cheapest cure would cost at least, with everything in the way already open; empty where
    /// that is not asked for.
    pub cheapest: Vec<f64>,
    /// What repairs cost by what is open; worked out when asked for.
    prices: RefCell<BTreeMap<Vec<usize>, Rc<[f64]>>>,
    /// For each check what comes after each outcome, at any going rate; worked out when asked for.
    ahead: Vec<OnceCell<Vec<AfterOutcome>>>,
}

impl<'a, 'k> Desk<'a, 'k> {
    #[expect(clippy::too_many_arguments, reason = "the desk is where all of it comes together, once")]
    pub fn new(
        laid: &'a Laid<'k>,
        graph: &'a AccessGraph,
        case: &'a Case,
        belief: &'a Belief,
        worlds: &'a Worlds,
        offers: &mut Offers,
        gatherer: &Gatherer<'_, '_>,
        settings: &Settings,
    ) -> Self {
        let symptoms: Vec<VarIx> = worked_on(case).iter().filter_map(|s| belief.model.symptom(*s)).collect();
        // What an interlock holds up is not worn out: it shows what it would have shown.
        let at_hand = |check| offers.checks.iter().any(|(offer, _)| offer.action == Action::Check(check));
        let n = worlds.n();
        let mut awaited = Awaited::of(laid, graph, case, gatherer.safety, &belief.model, at_hand, (n, settings.seed));
        let also = awaited.as_ref().map(Awaited::vars).unwrap_or_default();
        let simulator = Simulator::with(&belief.model, worlds, &symptoms, &also, settings.seed);
        let nothing: Bits = vec![0; simulate::words(n)];
        let now = simulator.after(&[]);
        let free = awaited.as_mut().map(|awaited| {
            awaited.count_tries(&simulator, &now, n);
            awaited.lets_go(&simulator, &now, (&[], &nothing), None, n)
        });
        let candidates = Candidates {
            gatherer,
            simulator: &simulator,
            awaited: awaited.as_ref(),
            free: free.as_deref().unwrap_or_default(),
            n,
            seed: settings.seed,
        };
        let mut candidates = candidates.all(std::mem::take(&mut offers.repairs));
        let cheapest =
            if settings.bounds { candidates::cheapest(&simulator, &candidates, gatherer, n) } else { Vec::new() };
        let giving_up = giving_up(&gatherer.rate, &candidates, n);
        candidates::promising(&mut candidates, n);
        let mut repairs = Vec::new();
        let mut removed = Vec::new();
        let mut cures = Vec::new();
        let mut frees = Vec::new();
        let (mut touched, mut changed) = (Vec::new(), Vec::new());
        for candidate in candidates {
            touched.push(candidate.touched);
            changed.push(candidate.after);
            repairs.push((candidate.offer, candidate.removes));
            removed.push(candidate.clears);
            cures.push(candidate.gone);
            frees.extend(candidate.frees);
        }
        let shut = graph.shut();
        let prices_at = |open: &OpenSet| -> Vec<f64> {
            let price = |o: &Offer| cost::price(laid, graph, &gatherer.rate, open, &o.action).money.get();
            repairs.iter().map(|(o, _)| if waits(o) { f64::INFINITY } else { price(o) }).collect()
        };
        let shut_prices = prices_at(&shut);
        let bench = Bench::new(n, cures, &shut_prices, giving_up);
        let checks = std::mem::take(&mut offers.checks);
        let splits: Vec<Split> =
            checks.iter().map(|(_, model)| bench.split(row_worlds(worlds, model, belief.model.now, n))).collect();
        let mixtures = checks.iter().map(|(_, model)| mixtures(laid, case, model)).collect();
        let ahead = vec![OnceCell::new(); splits.len()];
        let mut desk = Self {
            laid,
            graph,
            case,
            belief,
            worlds,
            simulator,
            bench,
            repairs,
            checks,
            splits,
            mixtures,
            rate: gatherer.rate,
            touched,
            changed,
            removed,
            shut_prices,
            gains: Vec::new(),
            market: Market::blind(),
            lock: None,
            cheapest,
            prices: RefCell::default(),
            ahead,
        };
        desk.gains = desk.all_gains();
        let told = desk.checks.iter().zip(&desk.gains).enumerate();
        desk.market = Market::of(told.map(|(at, ((offer, _), bits))| (at, offer.price, *bits)));
        desk.lock = awaited.map(|awaited| desk.locked(awaited, frees, free.as_deref().unwrap_or_default()));
        desk
    }

    /// The task of releasing what forbids a trial; for each repair the worlds in which it lets go after it and not without,
    /// and those in which it would let go by itself.
    fn locked(&self, awaited: Awaited, frees: Vec<Bits>, free: &[u64]) -> Lock {
        let everything = self.bench.split(vec![value::all(self.bench.n)]);
        let ahead = self.outlook(&everything, &[1.0], &self.shut_prices, &Market::blind()).map_or(0.0, |o| o.cost);
        // Giving up on the lock is giving up on what would come after it too.
        let left = (self.bench.hand_over() - ahead).max(self.bench.hand_over() / 5.0);
        let shut = self.graph.shut();
        let price = |action: &Action| cost::price(self.laid, self.graph, &self.rate, &shut, action);
        let mut lock = Lock::new(awaited, frees, free, &self.shut_prices, price, left, self.bench.n);
        let rows: Vec<&[Bits]> = self.splits.iter().map(Split::rows).collect();
        let prices: Vec<cost::Price> = self.checks.iter().map(|(offer, _)| offer.price).collect();
        let (now, untouched) = (self.simulator.after(&[]), vec![0; simulate::words(self.bench.n)]);
        let settled: Vec<Option<Bits>> = self
            .checks
            .iter()
            .map(|(_, model)| {
                let settled = lock.waits_for(model.check).then_some(model.check);
                settled.map(|_| lock.awaited.lets_go(&self.simulator, &now, (&[], &untouched), settled, self.bench.n))
            })
            .collect();
        lock.take_checks(&rows, &self.mixtures, &prices, |at| settled[at].clone());
        lock
    }

    /// What repairs cost with this open.
    pub fn prices(&self, open: &OpenSet) -> Rc<[f64]> {
        let price = |o: &Offer| if waits(o) { f64::INFINITY } else { self.price(o, open) };
        let mut known = self.prices.borrow_mut();
        let prices = || self.repairs.iter().map(|(offer, _)| price(offer)).collect();
        Rc::clone(known.entry(open.iter().map(Ix::at).collect()).or_insert_with(prices))
    }

    fn price(&self, offer: &Offer, open: &OpenSet) -> f64 {
        cost::price(self.laid, self.graph, &self.rate, open, &offer.action).money.get()
    }

    /// What repairs cost after an outcome of a check, first and later: what makes sense only after that is a way on now.
    pub fn prices_after(&self, at: usize, outcome: usize, prices: &[f64]) -> (Vec<f64>, Vec<f64>) {
        let (mut first, mut later) = (prices.to_vec(), self.shut_prices.clone());
        let check = self.checks[at].1.check.item;
        for (n, (offer, _)) in self.repairs.iter().enumerate().filter(|(_, (offer, _))| waits(offer)) {
            let Action::Repair(ix, _) = offer.action else { continue };
            let after = &self.laid.knowledge.repairs[ix].after;
            if after.iter().any(|(wanted, outcomes)| *wanted == check && outcomes.contains(&outcome)) {
                first[n] = self.price(offer, &self.checks[at].0.after);
                later[n] = self.price(offer, &self.graph.shut());
            }
        }
        (first, later)
    }

    /// The worlds that two repairs cure together and neither alone; `None` where there are none.
    pub fn pair(&self, a: usize, b: usize) -> Option<Bits> {
        // Only where both remove something.
        let both = self.touched[a].iter().zip(&self.touched[b]).map(|(a, b)| a & b);
        let alone = self.bench.cures[a].iter().zip(&self.bench.cures[b]).map(|(a, b)| a | b);
        let those: Bits = both.zip(alone).map(|(both, alone)| both & !alone).collect();
        if those.iter().all(|&word| word == 0) {
            return None;
        }
        let gone = self.simulator.gone_after_both(&self.changed[a], &self.changed[b]);
        let those: Bits = those.iter().zip(&gone).map(|(those, gone)| those & gone).collect();
        those.iter().any(|&word| word != 0).then_some(those)
    }

    /// The worlds in which the lock lets go after two repairs and after neither alone; `None` where there are none.
    pub fn pair_frees(&self, lock: &Lock, a: usize, b: usize) -> Option<Bits> {
        let done: Vec<Ix<Repair>> = [a, b]
            .into_iter()
            .filter_map(|at| match &self.repairs[at].0.action {
                Action::Repair(ix, _) => Some(*ix),
                _ => None,
            })
            .collect();
        let after = self.simulator.after(&self.removed_by_both(a, b));
        let touched: Bits = self.touched[a].iter().zip(&self.touched[b]).map(|(a, b)| a | b).collect();
        let lets_go = lock.awaited.lets_go(&self.simulator, &after, (&done, &touched), None, self.bench.n);
        neither_alone(lets_go, &lock.bench, a, b)
    }

    fn removed_by_both(&self, a: usize, b: usize) -> Vec<(Instance<Cause>, Bits)> {
        let mut clears = self.removed[a].clone();
        for (cause, bits) in &self.removed[b] {
            match clears.iter_mut().find(|(c, _)| c == cause) {
                Some((_, known)) => known.iter_mut().zip(bits).for_each(|(k, b)| *k |= b),
                None => clears.push((*cause, bits.clone())),
            }
        }
        clears
    }

    /// What it costs until the lock lets go, on a mixture of the rows of a check, and the way on; nothing without one.
    fn unlocking(&self, at: usize, outcome: usize, prices: &[f64]) -> Unlocking {
        let Some(lock) = &self.lock else { return Unlocking::NOTHING };
        let check = self.checks[at].1.check;
        if lock.ends_with(check, outcome) {
            return Unlocking::NOTHING;
        }
        let weights = &self.mixtures[at][outcome];
        let (split, here) = (lock.split_after(at, check, outcome), self.splits[at].worlds(weights));
        let stuck = if here > 0.0 { split.worlds(weights) / here } else { 0.0 };
        let outlook = lock.outlook(split, weights, prices, &mut |a, b| self.pair_frees(lock, a, b));
        Unlocking::of(lock.price_after(check, outcome).money.get(), stuck, outlook, prices)
    }

    /// The same as things stand.
    fn unlocking_now(&self, prices: &[f64]) -> Unlocking {
        let Some(lock) = &self.lock else { return Unlocking::NOTHING };
        let split = lock.bench.split(vec![lock.held.clone()]);
        let outlook = lock.outlook(&split, &[1.0], prices, &mut |a, b| self.pair_frees(lock, a, b));
        Unlocking::of(lock.price().money.get(), share(&lock.held, self.worlds), outlook, prices)
    }

    /// The same after a repair.
    pub fn unlocking_after(&self, repair: usize) -> Unlocking {
        let Some(lock) = &self.lock else { return Unlocking::NOTHING };
        let mut pair = |a: usize, b: usize| self.pair_frees(lock, a, b);
        let split = lock.bench.after_failed(repair, &mut pair);
        let left = share(&split.rows()[0], self.worlds);
        let outlook = lock.outlook(&split, &[1.0], &self.shut_prices, &mut pair);
        Unlocking::of(lock.price().money.get(), left, outlook, &self.shut_prices)
    }

    /// Whether a repair may be what comes next: nothing holds it up, and where nothing may be tried, it helps to change
    /// that. A repair that cannot be tried shows nothing.
    fn may_be_next(&self, repair: usize) -> bool {
        self.repairs[repair].0.held.is_none()
            && self.lock.as_ref().is_none_or(|lock| {
                let frees = lock.bench.cures[repair].iter().zip(&lock.held).map(|(c, h)| c & h).collect::<Bits>();
                share(&frees, self.worlds) >= FREES_AT_LEAST
            })
    }

    /// Between what the job costs from here to the end, with this step next.
    pub fn bounds(&self, next: &Priced) -> Bounds {
        #[expect(clippy::cast_precision_loss, reason = "a few thousand worlds")]
        let at_least = self.cheapest.iter().sum::<f64>() / self.bench.n as f64;
        let at_most = match next.option {
            Choice::Check(at) => self.check_total(at, &Market::blind()),
            Choice::Repair(at) => self.repair_total(at, &Market::blind()),
            Choice::HandOver => self.bench.hand_over(),
        };
        Bounds { at_least: Money::of(at_least.min(at_most)), at_most: Money::of(at_most), by: Proof::Knowing }
    }

    /// For each check the bits it tells about which repair it takes.
    fn all_gains(&self) -> Vec<f64> {
        let everything = self.bench.split(vec![value::all(self.bench.n)]);
        let now = everything.entropy(&[1.0]);
        (0..self.checks.len()).map(|at| now - self.entropy_after(at)).collect()
    }

    fn entropy_after(&self, check: usize) -> f64 {
        let split = &self.splits[check];
        self.mixtures[check]
            .iter()
            .map(|weights| {
                let chance = split.chance(weights);
                if chance > 0.0 { chance * split.entropy(weights) } else { 0.0 }
            })
            .sum()
    }

    /// Every option, the best first, the others by their totals.
    ///
    /// What comes after is priced as if looking further were at hand at the going rate. A check must therefore save
    /// more than it costs even where looking further means all other checks but this one, or it would be chosen for
    /// what others can do; one that does not costs what the best option does, and what it loses. Where no check is worth
    /// it there is no looking further either, and repairs are priced without.
    pub fn rank(&self) -> Vec<Priced> {
        let everything = self.bench.split(vec![value::all(self.bench.n)]);
        let at_once = |offer: &Offer| if waits(offer) { f64::INFINITY } else { offer.price.money.get() };
        let now: Vec<f64> = self.repairs.iter().map(|(offer, _)| at_once(offer)).collect();
        let as_it_stands = self.prospect(&everything, &[1.0], &now, &self.shut_prices);
        let locked = self.unlocking_now(&now);
        let mut ranked =
            vec![Priced { option: Choice::HandOver, total: self.bench.hand_over(), worth: Worth::Its, between: None }];
        let mut losing = Vec::new();
        for at in 0..self.checks.len() {
            let offer = &self.checks[at].0;
            if offer.held.is_some() {
                continue;
            }
            let others = self.market.without(at);
            let cure = as_it_stands.map_or(Outlook::NOTHING, |p| Bench::choose(&p, &others));
            let without = cure.cost + locked.on_top_of(cure, self.bench.hand_over());
            let loss = self.check_total(at, &others) - without;
            let option = Choice::Check(at);
            let awaited = self.lock.as_ref().is_some_and(|lock| lock.waits_for(self.checks[at].1.check));
            if awaited || loss < 0.0 && self.decides(at, &others) {
                let total = self.check_total(at, &self.market);
                ranked.push(Priced { option, total, worth: Worth::Its, between: None });
            } else {
                // What would pay and decides nothing is not needed before what comes next anyway.
                let worth = if loss < 0.0 { Worth::Nothing } else { Worth::of(offer.price.money.get(), loss) };
                losing.push(Priced { option, total: loss.max(0.0), worth, between: None });
            }
        }
        let market = if ranked.len() > 1 { self.market.clone() } else { Market::blind() };
        let best_look = ranked.iter().filter_map(|o| match o.option {
            Choice::Check(check) => Some((check, o.total)),
            _ => None,
        });
        let best_look = best_look.min_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0)));
        let repairs = (0..self.repairs.len()).filter(|at| self.may_be_next(*at));
        let repairs = repairs.map(|at| {
            let total = self.repair_total(at, &market);
            let swapped = best_look.map_or(f64::INFINITY, |look| self.before_looking(at, look, &now));
            Priced { option: Choice::Repair(at), total: total.min(swapped), worth: Worth::Its, between: None }
        });
        let repairs: Vec<Priced> = repairs.collect();
        ranked.extend(repairs);
        let least = ranked.iter().map(|o| o.total).fold(f64::INFINITY, f64::min);
        ranked.extend(losing.into_iter().map(|o| Priced { total: least + o.total, ..o }));
        // Of equals, what is worth it, and what is done rather than looked at.
        ranked.sort_by(|a, b| a.total.total_cmp(&b.total).then(a.worth.cmp(&b.worth)).then(b.option.cmp(&a.option)));
        ranked
    }

    /// What a repair comes to at most where a look that comes to so much would be next: the repair first, and where it does
    /// not cure, the look and all that follows it. Where it cures, the look and a cure after it are saved. The look needs
    /// opened again what a trial shuts.
    fn before_looking(&self, repair: usize, (look, total): (usize, f64), prices: &[f64]) -> f64 {
        if self.lock.is_some() {
            return f64::INFINITY;
        }
        let (cures, offer) = (&self.bench.cures[repair], &self.checks[look].0);
        let from_shut = cost::price(self.laid, self.graph, &self.rate, &self.graph.shut(), &offer.action).money.get();
        let looking = offer.price.money.get();
        // What waits for an answer has no price yet, and is nowhere the cheapest cure.
        let saved = |(class, price): (&Bits, f64)| match simulate::both(class, cures) {
            0 => 0.0,
            worlds => f64::from(worlds) * (looking + price),
        };
        #[expect(clippy::cast_precision_loss, reason = "a few thousand worlds")]
        let n = self.bench.n as f64;
        let saved = self.bench.cheapest.iter().zip(prices.iter().copied()).map(saved).sum::<f64>() / n;
        let left = 1.0 - self.cure_chance(repair);
        let again = left * (self.bench.giving_up.again + (from_shut - looking).max(0.0));
        total + self.repairs[repair].0.price.money.get() - saved + again
    }

    /// What comes after each outcome of a check, at any going rate.
    fn after_check(&self, at: usize) -> &[AfterOutcome] {
        self.ahead[at].get_or_init(|| {
            let (split, prices) = (&self.splits[at], self.prices(&self.checks[at].0.after));
            let after = |(outcome, weights): (usize, &Vec<f64>)| {
                let (first, later) = self.prices_after(at, outcome, &prices);
                AfterOutcome {
                    chance: split.chance(weights),
                    prospect: self.prospect(split, weights, &first, &later),
                    unlocking: self.unlocking(at, outcome, &first),
                }
            };
            self.mixtures[at].iter().enumerate().map(after).collect()
        })
    }

    /// The expected total with a check.
    fn check_total(&self, at: usize, market: &Market) -> f64 {
        let after = |outcome: &AfterOutcome| {
            let cure = outcome.prospect.map_or(Outlook::NOTHING, |prospect| Bench::choose(&prospect, market));
            outcome.chance * (cure.cost + outcome.unlocking.on_top_of(cure, self.bench.hand_over()))
        };
        self.checks[at].0.price.money.get() + self.after_check(at).iter().map(after).sum::<f64>()
    }

    /// Whether the outcomes of a check lead to different steps. Where the same repair comes next whatever a check shows,
    /// that repair comes first: the check is then needed only where it fails.
    fn decides(&self, at: usize, market: &Market) -> bool {
        let ahead = self.after_check(at);
        if self.lock.is_some() && ahead.iter().any(|after| after.unlocking.way() != ahead[0].unlocking.way()) {
            return true;
        }
        let mut ways = ahead.iter().filter_map(|after| after.prospect).map(|p| Bench::choose(&p, market).way);
        match ways.next() {
            Some(first @ Way::Repair(_)) => ways.any(|way| way != first),
            _ => true,
        }
    }

    /// Where what an interlock holds up would be the best thing to do by far, a repair or a check that another interlock
    /// waits for: the check at hand that releases it, and what it releases.
    pub fn release(&self, safety: &Safety, case: &Case, best: &Priced) -> Option<(Priced, Priced)> {
        let held = |offer: &Offer| offer.held.as_ref().and_then(|(by, _)| *by);
        let repairs = self.repairs.iter().enumerate().filter_map(|(at, (offer, _))| {
            held(offer).map(|by| (by, Choice::Repair(at), self.repair_total(at, &self.market)))
        });
        let checks = self.checks.iter().enumerate().filter_map(|(at, (offer, _))| {
            held(offer).map(|by| (by, Choice::Check(at), self.check_total(at, &self.market)))
        });
        let mut all: Vec<(Ix<Interlock>, Choice, f64)> = repairs.chain(checks).collect();
        all.retain(|(.., total)| *total < best.total);
        all.sort_by(|a, b| a.2.total_cmp(&b.2).then(a.1.cmp(&b.1)));
        let at_hand = |by: Ix<Interlock>| {
            let wanted = safety.releasing(self.laid, self.graph, case, by);
            self.checks.iter().position(|(offer, model)| {
                offer.held.is_none() && wanted.iter().any(|(check, _)| *check == model.check.item)
            })
        };
        // What releases it may be held up in turn, and is then itself among them.
        all.into_iter().find_map(|(by, option, total)| {
            let priced = |option| Priced { option, total, worth: Worth::Its, between: None };
            at_hand(by).map(|check| (priced(Choice::Check(check)), priced(option)))
        })
    }

    pub fn repair_total(&self, at: usize, market: &Market) -> f64 {
        let price = self.repairs[at].0.price.money.get();
        let cure = self.cure_after(at, market);
        price + cure.cost + self.unlocking_after(at).on_top_of(cure, self.bench.hand_over())
    }

    /// What is still to pay after a repair, over the worlds that it does not cure, and how it goes on there.
    pub fn cure_after(&self, at: usize, market: &Market) -> Outlook {
        let left = 1.0 - self.cure_chance(at);
        if left <= 0.0 {
            return Outlook::NOTHING;
        }
        let split = self.bench.after_failed(at, &mut |a, b| self.pair(a, b));
        let ahead = self.outlook(&split, &[1.0], &self.shut_prices, market).unwrap_or(Outlook::NOTHING);
        Outlook { cost: left * (self.bench.giving_up.again + ahead.cost), ..ahead }
    }

    pub fn cure_chance(&self, repair: usize) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "a few thousand worlds")]
        let n = self.bench.n as f64;
        f64::from(self.bench.cures[repair].iter().map(|w| w.count_ones()).sum::<u32>()) / n
    }

    pub fn outlook(&self, split: &Split, weights: &[f64], prices: &[f64], market: &Market) -> Option<Outlook> {
        let prospect = self.prospect(split, weights, prices, &self.shut_prices);
        prospect.map(|prospect| Bench::choose(&prospect, market))
    }

    /// The same after an outcome of a check.
    pub fn outlook_after(&self, at: usize, outcome: usize, market: &Market) -> Option<Outlook> {
        self.after_check(at)[outcome].prospect.map(|prospect| Bench::choose(&prospect, market))
    }

    /// What unlocking costs after an outcome of a check.
    pub fn unlocking_after_check(&self, at: usize, outcome: usize) -> Unlocking {
        self.after_check(at)[outcome].unlocking
    }

    fn prospect(&self, split: &Split, weights: &[f64], first: &[f64], later: &[f64]) -> Option<Prospect> {
        self.bench.prospect(split, weights, first, later, &mut |a, b| self.pair(a, b))
    }
}

/// What comes after one outcome of a check.
#[derive(Clone)]
struct AfterOutcome {
    chance: f64,
    /// The ways to a cure; none where the outcome cannot be.
    prospect: Option<Prospect>,
    /// What it costs until the symptom may be tried, and how.
    unlocking: Unlocking,
}

/// Of the worlds that two repairs cure together those that neither cures alone.
fn neither_alone(mut together: Bits, bench: &Bench, a: usize, b: usize) -> Option<Bits> {
    let alone = bench.cures[a].iter().zip(&bench.cures[b]).map(|(a, b)| a | b);
    together.iter_mut().zip(alone).for_each(|(both, alone)| *both &= !alone);
    together.iter().any(|&word| word != 0).then_some(together)
}

/// Whether a repair waits for an answer without which it makes no sense.
fn waits(offer: &Offer) -> bool {
    matches!(offer.held, Some((None, _)))
}

/// What it costs to give up: more where whoever does could have cured it by any one of the repairs that are theirs.
fn giving_up(rate: &cost::Rate, candidates: &[Candidate], n: usize) -> GivingUp {
    let mut giving_up = GivingUp::flat(rate.hand_over.get(), n);
    if rate.wasted_trip.get() > 0.0 {
        giving_up.wasted = rate.wasted_trip.get();
        for candidate in candidates {
            simulate::or_into(&mut giving_up.own, &candidate.gone);
        }
    }
    giving_up.again = rate.call_again.get();
    giving_up
}

/// For each outcome of a check its chance by the row that holds.
pub fn mixtures(laid: &Laid<'_>, case: &Case, model: &CheckModel) -> Vec<Vec<f64>> {
    let by_row = next_by_row(laid, case, model.check);
    (0..laid.knowledge.checks[model.check.item].outcomes.len())
        .map(|o| by_row.iter().map(|row| row[o]).collect())
        .collect()
}

/// For each row of a check the worlds in which it is the first that holds.
pub fn row_worlds(worlds: &Worlds, model: &CheckModel, now: usize, n: usize) -> Vec<Bits> {
    let mut left = value::all(n);
    model
        .rows
        .iter()
        .map(|literals| {
            if literals.is_empty() {
                return std::mem::replace(&mut left, vec![0; simulate::words(n)]);
            }
            let mut holds: Bits = vec![0; simulate::words(n)];
            for &Literal { var, on } in literals {
                for (word, state) in holds.iter_mut().zip(worlds.on(var, now)) {
                    *word |= if on { *state } else { !state };
                }
            }
            for (word, rest) in holds.iter_mut().zip(&mut left) {
                *word &= *rest;
                *rest &= !*word;
            }
            holds
        })
        .collect()
}
