//! What stands before a trial of the symptom: interlocks that forbid it until something is settled, and what settling
//! that will cost.
//!
//! An interlock waits for answers: no smell, dry joints, an engine that turns by hand. In some of the sampled worlds it
//! would let go as soon as it is asked; in the others a repair must come first. That is a second task beside the cure of
//! the symptom and is priced as that is, by repairs and checks over the same worlds.

use super::complained_of;
use super::cost::Price;
use super::market::Market;
use super::offers::said_so;
use super::simulate::{Bits, Changed, Simulator, draws, or_into, words};
use super::value::{self, Bench, GivingUp, Outlook, Split, Together, Way};
use crate::access::AccessGraph;
use crate::case::{Case, Event};
use crate::inference::Worlds;
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Check, CheckRow, Condition, Interlock, Ix, Repair};
use crate::model::aired::is_aired;
use crate::model::compile::{CaseModel, conditions};
use crate::model::network::VarIx;
use crate::model::reading::outcome_chances;
use crate::safety::{Action, Safety};

/// What all interlocks that forbid to try the symptom still wait for.
pub struct Awaited {
    all_of: Vec<Condition>,
    /// The checks that answer for it, at each place, with the rows of each and the chance that a row lets go.
    checks: Vec<Releasing>,
}

/// A check that an interlock waits for.
struct Releasing {
    check: Instance<Check>,
    /// The outcomes that are waited for.
    wanted: Vec<usize>,
    /// Whether it can be made before any repair.
    at_hand: bool,
    /// Whether it was made at its place neither since it is waited for nor since the last repair.
    unasked: bool,
    /// For each row what makes it hold, the worlds in which it then shows what is waited for in two tries, and the chance
    /// that the first does not.
    rows: Vec<(Vec<(VarIx, bool)>, Bits, f64)>,
    /// How often it is made, on average.
    tries: f64,
}

/// Streams of draws of answers to come; those of repairs are far below.
const STREAMS: u64 = 1 << 48;

impl Awaited {
    /// What is waited for, over `n` worlds with draws from `seed`; `None` where nothing forbids to try the symptom.
    #[must_use]
    pub fn of(
        laid: &Laid<'_>,
        graph: &AccessGraph,
        case: &Case,
        safety: &Safety,
        model: &CaseModel,
        at_hand: impl Fn(Instance<Check>) -> bool,
        (n, seed): (usize, u64),
    ) -> Option<Self> {
        let locks = safety.locks(laid, graph, &complained_of(case));
        if locks.is_empty() {
            return None;
        }
        let mut checks: Vec<Releasing> = Vec::new();
        let waits = |lock: &Ix<Interlock>| {
            let since = safety.held_since(*lock).unwrap_or(0);
            safety.releasing(laid, graph, case, *lock).into_iter().map(move |(check, wanted)| (check, wanted, since))
        };
        for (ix, wanted, since) in locks.iter().flat_map(waits) {
            let check = &laid.knowledge.checks[ix];
            let given = conditions(laid, case, check);
            let shows = |row: &CheckRow, aired: bool| -> f64 {
                let by_outcome = outcome_chances(check, row.gives(aired), &given);
                wanted.iter().map(|outcome| by_outcome[*outcome]).sum()
            };
            let still = |made| !said_so(laid, case, made, (&wanted, since));
            for model in model.checks.iter().filter(|m| m.check.item == ix && still(m.check)) {
                if checks.iter().any(|known| known.check == model.check) {
                    continue;
                }
                let rows = model.rows.iter().map(|row| row.iter().map(|literal| (literal.var, literal.on)).collect());
                let stream = |row: usize| STREAMS + ((checks.len() as u64) << 8 | row as u64);
                // What is waited for is looked for twice in a row: after a faint smell the hull is aired and smelled once more.
                let aired = is_aired(laid, ix, Some(model.check.at), &case.log);
                let fails: Vec<(f64, f64)> =
                    check.rows.iter().map(|row| (1.0 - shows(row, aired), 1.0 - shows(row, true))).collect();
                let shown =
                    fails.iter().enumerate().map(|(at, (first, next))| draws(n, 1.0 - first * next, seed, stream(at)));
                let rows = rows.zip(shown).zip(&fails).map(|((row, shown), (first, _))| (row, shown, *first));
                let (rows, at_hand) = (rows.collect(), at_hand(model.check));
                // The sniff that set it is made once more: after airing it tells something new.
                let unasked = !was_asked(case, model.check, since + usize::from(aired));
                checks.push(Releasing {
                    check: model.check,
                    wanted: wanted.clone(),
                    at_hand,
                    unasked,
                    rows,
                    tries: 1.0,
                });
            }
        }
        let all_of = locks.iter().map(|lock| safety.awaited(laid, graph, case, *lock)).collect();
        Some(Self { all_of, checks })
    }

    /// Whether a repair is itself waited for.
    #[must_use]
    pub fn asks_for(&self, repair: Ix<Repair>) -> bool {
        self.all_of.iter().any(|condition| names_repair(condition, repair))
    }

    /// What must be known after a repair to tell whether it lets go.
    pub fn vars(&self) -> Vec<VarIx> {
        self.checks.iter().flat_map(|c| &c.rows).flat_map(|(row, ..)| row.iter().map(|(var, _)| *var)).collect()
    }

    /// Counts how often each check is made until it shows what is waited for, as things stand.
    pub fn count_tries(&mut self, simulator: &Simulator<'_>, now: &Changed, n: usize) {
        for releasing in &mut self.checks {
            let rows = releasing.rows_holding(simulator, now, value::all(n));
            let again: f64 = rows.iter().zip(&releasing.rows).map(|(holds, (.., fails))| count(holds) * fails).sum();
            #[expect(clippy::cast_precision_loss, reason = "a few thousand worlds")]
            let n = n as f64;
            releasing.tries = 1.0 + again / n;
        }
    }

    /// The worlds in which all that is waited for would come about, as things stand after `repairs`, which change something
    /// in those `touched`; a check that is `settled` has shown it.
    pub fn lets_go(
        &self,
        simulator: &Simulator<'_>,
        after: &Changed,
        (repairs, touched): (&[Ix<Repair>], &[u64]),
        settled: Option<Instance<Check>>,
        n: usize,
    ) -> Bits {
        let shows = |releasing: &Releasing| {
            if settled == Some(releasing.check) {
                return value::all(n);
            }
            // What was asked in vain until it was no longer at hand shows something else only where something changed: a
            // repair that finds nothing to remove does not make the next answer a better one.
            let may = if releasing.at_hand { value::all(n) } else { touched.to_vec() };
            let mut shows = vec![0; words(n)];
            for (holds, (_, drawn, _)) in releasing.rows_holding(simulator, after, may).iter().zip(&releasing.rows) {
                shows.iter_mut().zip(holds).zip(drawn).for_each(|((shown, holds), drawn)| *shown |= holds & drawn);
            }
            shows
        };
        let shown: Vec<Bits> = self.checks.iter().map(shows).collect();
        let mut all = value::all(n);
        for condition in &self.all_of {
            let bits = self.holds(condition, &shown, repairs, n);
            all.iter_mut().zip(bits).for_each(|(a, b)| *a &= b);
        }
        all
    }

    fn holds(&self, condition: &Condition, shown: &[Bits], repairs: &[Ix<Repair>], n: usize) -> Bits {
        let places = |ix: &Ix<Check>| {
            let here = self.checks.iter().zip(shown).filter(move |(c, _)| c.check.item == *ix);
            here.map(|(_, bits)| bits.clone()).collect::<Vec<_>>()
        };
        let none = || vec![0; words(n)];
        let any = |parts: Vec<Bits>| {
            parts.into_iter().fold(none(), |mut all, part| {
                or_into(&mut all, &part);
                all
            })
        };
        let every = |parts: Vec<Bits>| {
            parts.into_iter().fold(value::all(n), |mut all, part| {
                all.iter_mut().zip(part).for_each(|(a, b)| *a &= b);
                all
            })
        };
        let each = |parts: &[Condition]| parts.iter().map(|part| self.holds(part, shown, repairs, n)).collect();
        match condition {
            Condition::Answered(check, _) => any(places(check)),
            Condition::AnsweredEvery(check, _) => every(places(check)),
            Condition::Any(parts) => any(each(parts)),
            Condition::All(parts) => every(each(parts)),
            Condition::RepairSince(repair) if repairs.contains(repair) => value::all(n),
            // Nothing that is done here brings it about.
            _ => none(),
        }
    }
}

impl Releasing {
    /// Of these worlds those in which each row is the first that holds.
    fn rows_holding(&self, simulator: &Simulator<'_>, after: &Changed, mut left: Bits) -> Vec<Bits> {
        let of_row = |(row, ..): &(Vec<(VarIx, bool)>, Bits, f64)| {
            let mut holds = if row.is_empty() { left.clone() } else { vec![0; left.len()] };
            for &(var, on) in row {
                for (word, state) in holds.iter_mut().zip(simulator.on(after, var)) {
                    *word |= if on { *state } else { !state };
                }
            }
            for (word, rest) in holds.iter_mut().zip(&mut left) {
                *word &= *rest;
                *rest &= !*word;
            }
            holds
        };
        self.rows.iter().map(of_row).collect()
    }
}

/// The task of releasing what forbids a trial.
pub struct Lock {
    /// What is waited for.
    pub awaited: Awaited,
    /// Over the same repairs as the cure: the worlds in which each lets go.
    pub bench: Bench,
    /// The worlds in which it does not let go by itself.
    pub held: Bits,
    /// For each check the worlds of each row in which it does not.
    pub splits: Vec<Split>,
    /// For those of the checks that are waited for the same, once they have shown what is waited for.
    settled: Vec<Option<Split>>,
    /// What looking for the repair it takes would cost.
    pub market: Market,
    /// What each of the releasing checks costs.
    prices: Vec<Price>,
}

impl Lock {
    /// The task, where `frees` are the worlds in which each repair lets go; `hand_over` is what it costs to give up on
    /// it.
    #[must_use]
    pub fn new(
        awaited: Awaited,
        frees: Vec<Bits>,
        free: &[u64],
        shut: &[f64],
        price: impl Fn(&Action) -> Price,
        hand_over: f64,
        n: usize,
    ) -> Self {
        let prices: Vec<Price> = awaited.checks.iter().map(|c| price(&Action::Check(c.check)).times(c.tries)).collect();
        let each: f64 = prices.iter().map(|price| price.money.get()).sum();
        let frees = frees
            .into_iter()
            .map(|mut bits| {
                or_into(&mut bits, free);
                bits
            })
            .collect();
        let with_checks: Vec<f64> = shut.iter().map(|price| price + each).collect();
        let bench = Bench::new(n, frees, &with_checks, GivingUp::flat(hand_over, n));
        let held = value::all(n).iter().zip(free).map(|(all, free)| all & !free).collect();
        Self { awaited, bench, held, splits: Vec::new(), settled: Vec::new(), market: Market::blind(), prices }
    }

    /// Takes in checks by the worlds of their rows, with what each costs and the chances of its outcomes by row; `free` are
    /// the worlds in which it lets go by itself once a check has shown what is waited for, `None` where it is not.
    pub fn take_checks(
        &mut self,
        rows: &[&[Bits]],
        mixtures: &[Vec<Vec<f64>>],
        prices: &[Price],
        free: impl Fn(usize) -> Option<Bits>,
    ) {
        let split = |rows: &[Bits], held: &Bits| {
            let held = |row: &Bits| row.iter().zip(held).map(|(r, h)| r & h).collect::<Bits>();
            self.bench.split(rows.iter().map(held).collect())
        };
        self.splits = rows.iter().map(|rows| split(rows, &self.held)).collect();
        let still_held = |free: Bits| self.held.iter().zip(free).map(|(held, free)| held & !free).collect::<Bits>();
        let settled = |(at, rows): (usize, &&[Bits])| free(at).map(|free| split(rows, &still_held(free)));
        self.settled = rows.iter().enumerate().map(settled).collect();
        let everything = self.bench.split(vec![self.held.clone()]);
        if everything.worlds(&[1.0]) < 1.0 {
            return;
        }
        let now = everything.entropy(&[1.0]);
        let after = |split: &Split, weights: &Vec<f64>| match split.chance(weights) {
            chance if chance > 0.0 => chance * split.entropy(weights),
            _ => 0.0,
        };
        let gain = |at: usize| now - mixtures[at].iter().map(|weights| after(&self.splits[at], weights)).sum::<f64>();
        self.market = Market::of(prices.iter().enumerate().map(|(at, price)| (at, *price, gain(at))));
    }

    /// What the releasing checks cost together.
    #[must_use]
    pub fn price(&self) -> Price {
        self.prices.iter().fold(Price::default(), |sum, price| sum.plus(*price))
    }

    /// The worlds of each row of a check (by position) in which it does not let go once that has shown this.
    #[must_use]
    pub fn split_after(&self, at: usize, check: Instance<Check>, outcome: usize) -> &Split {
        let wants = |c: &Releasing| c.check == check && c.wanted.contains(&outcome);
        let settled = self.settled[at].as_ref().filter(|_| self.awaited.checks.iter().any(wants));
        settled.unwrap_or(&self.splits[at])
    }

    /// Whether a check is one of those waited for.
    #[must_use]
    pub fn waits_for(&self, check: Instance<Check>) -> bool {
        self.awaited.checks.iter().any(|releasing| releasing.check == check)
    }

    /// Whether a check is waited for and was not made since, at its place.
    #[must_use]
    pub fn is_unasked(&self, check: Instance<Check>) -> bool {
        self.awaited.checks.iter().any(|releasing| releasing.check == check && releasing.unasked)
    }

    /// What the releasing checks still cost once one has shown this.
    #[must_use]
    pub fn price_after(&self, check: Instance<Check>, outcome: usize) -> Price {
        let left = self.awaited.checks.iter().zip(&self.prices);
        let left = left.filter(|(c, _)| c.check != check || !c.wanted.contains(&outcome));
        left.fold(Price::default(), |sum, (_, price)| sum.plus(*price))
    }

    /// Whether this outcome is all that is waited for.
    #[must_use]
    pub fn ends_with(&self, check: Instance<Check>, outcome: usize) -> bool {
        let wants = |c: &Releasing| c.check == check && c.wanted.contains(&outcome);
        !self.awaited.checks.is_empty() && self.awaited.checks.iter().all(wants)
    }

    /// The way on until it lets go, on a mixture of rows in which it does not by itself.
    pub fn outlook(
        &self,
        split: &Split,
        weights: &[f64],
        prices: &[f64],
        together: &mut Together<'_>,
    ) -> Option<Outlook> {
        let with_checks = self.with_checks(prices);
        self.bench.outlook(split, weights, &with_checks, &with_checks, &self.market, together)
    }

    /// Prices of repairs, each with the releasing checks after it.
    #[must_use]
    pub fn with_checks(&self, prices: &[f64]) -> Vec<f64> {
        let each = self.price().money.get();
        prices.iter().map(|price| price + each).collect()
    }
}

/// What it costs until the symptom may be tried.
#[derive(Clone, Copy)]
pub struct Unlocking {
    /// The checks that show that it may.
    price: f64,
    /// The share of the worlds in which they do not show it by themselves,
    stuck: f64,
    /// how it goes on in these,
    outlook: Option<Outlook>,
    /// and what the repair costs that this begins with, if it begins with one.
    first: f64,
}

impl Unlocking {
    /// Nothing forbids it.
    pub const NOTHING: Self = Self { price: 0.0, stuck: 0.0, outlook: None, first: 0.0 };

    /// With `prices` of repairs.
    #[must_use]
    pub fn of(price: f64, stuck: f64, outlook: Option<Outlook>, prices: &[f64]) -> Self {
        let first = match outlook.map(|outlook| outlook.way) {
            Some(Way::Repair(first)) => prices[first],
            _ => 0.0,
        };
        Self { price, stuck, outlook, first }
    }

    /// What it adds to a cure. Where it is given up on, the cure is given up on too, whatever is known by then: both
    /// together come to handing over, so that no check is worth its cost for a cure that nobody will be able to prove. More
    /// than that it never is: whoever hands over makes no more releasing checks.
    #[must_use]
    pub fn on_top_of(&self, cure: Outlook, hand_over: f64) -> f64 {
        let most = (hand_over - cure.cost).max(0.0);
        let ahead = match self.ahead(cure) {
            Some(_) if self.is_given_up(cure, hand_over) => most,
            Some(ahead) => ahead,
            None => 0.0,
        };
        (self.price + self.stuck * ahead).min(most)
    }

    /// What it takes beyond a cure where it does not let go by itself. A repair that both begin with is done once.
    fn ahead(&self, cure: Outlook) -> Option<f64> {
        let shared = if self.shared(cure).is_some() { self.first } else { 0.0 };
        self.outlook.map(|outlook| (outlook.cost - shared).max(0.0))
    }

    /// The repair that both begin with.
    #[must_use]
    pub fn shared(&self, cure: Outlook) -> Option<usize> {
        match self.outlook?.way {
            Way::Repair(first) if cure.way == Way::Repair(first) => Some(first),
            _ => None,
        }
    }

    /// Whether it is given up on where it does not let go by itself: nothing releases it, or that together with the cure
    /// would cost more than handing over.
    #[must_use]
    pub fn is_given_up(&self, cure: Outlook, hand_over: f64) -> bool {
        let too_dear = |ahead: f64| ahead >= (hand_over - cure.cost).max(0.0);
        self.outlook.is_some_and(|outlook| outlook.way == Way::HandOver) || self.ahead(cure).is_some_and(too_dear)
    }

    /// The share of the worlds in which the cure goes on.
    #[must_use]
    pub fn carried_on(&self, cure: Outlook, hand_over: f64) -> f64 {
        if self.is_given_up(cure, hand_over) { 1.0 - self.stuck } else { 1.0 }
    }

    /// The way on where it is likelier than not that something must be done.
    #[must_use]
    pub fn way(&self) -> Option<Way> {
        self.outlook.filter(|_| self.stuck > 0.5).map(|outlook| outlook.way)
    }
}

/// Whether a check was made at its place from an entry of the log on, or since the last repair where that was later.
fn was_asked(case: &Case, made: Instance<Check>, from: usize) -> bool {
    let repaired = case.log.iter().rposition(|entry| matches!(entry.event, Event::Repaired { .. }));
    case.log.iter().skip(repaired.map_or(from, |at| from.max(at))).any(|entry| match &entry.event {
        Event::Answer { check, place, answer, .. } => {
            *check == made.item && place.is_none_or(|at| at == made.at) && answer.informs()
        }
        _ => false,
    })
}

fn names_repair(condition: &Condition, repair: Ix<Repair>) -> bool {
    match condition {
        Condition::RepairSince(ix) => *ix == repair,
        Condition::Any(parts) | Condition::All(parts) => parts.iter().any(|part| names_repair(part, repair)),
        _ => false,
    }
}

/// The share of all worlds in a set.
#[must_use]
pub fn share(bits: &[u64], worlds: &Worlds) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "a few thousand worlds")]
    let n = worlds.n() as f64;
    count(bits) / n
}

/// How many worlds a set holds.
fn count(bits: &[u64]) -> f64 {
    f64::from(bits.iter().map(|word| word.count_ones()).sum::<u32>())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 2500 to hand over, 10 for the checks that release. Nothing will, so that knowing more of the cure (800 or 300 still
    /// to pay) is worth nothing: by hand 800 + 1700 = 300 + 2200, and nobody makes the checks. Where a repair of 400 releases
    /// it, knowing saves what it saves: 800 + 10 + 400 against 300 + 10 + 400; and it is never more than handing over costs.
    #[test]
    fn what_is_learned_of_a_cure_that_nobody_can_prove_is_worth_nothing() {
        let ahead = |cost, way| Unlocking::of(10.0, 1.0, Some(Outlook { cost, way }), &[400.0]);
        let total = |unlocking: Unlocking, cost: f64| cost + unlocking.on_top_of(looking(cost), 2500.0);
        let given_up = ahead(1700.0, Way::HandOver);
        assert!((total(given_up, 800.0) - 2500.0).abs() < 1e-9);
        assert!((total(given_up, 300.0) - 2500.0).abs() < 1e-9);
        let released = ahead(400.0, Way::Repair(0));
        assert!((total(released, 800.0) - 1210.0).abs() < 1e-9);
        assert!((total(released, 300.0) - 710.0).abs() < 1e-9);
        assert!((total(released, 2400.0) - 2500.0).abs() < 1e-9);
    }

    /// A repair of 400 releases it and begins the cure too: of 800 for the cure it is 400, and it is not paid again where it
    /// did not let go by itself.
    #[test]
    fn a_repair_that_releases_and_cures_is_done_once() {
        let released = Unlocking::of(10.0, 1.0, Some(Outlook { cost: 430.0, way: Way::Repair(0) }), &[400.0]);
        let added = |way| released.on_top_of(Outlook { cost: 800.0, way }, 2500.0);
        assert!((added(Way::Repair(0)) - 40.0).abs() < 1e-9);
        assert!((added(Way::Repair(1)) - 440.0).abs() < 1e-9);
        assert!((added(Way::Look) - 440.0).abs() < 1e-9);
    }

    /// What is paid and what is worked go the same way: where a quarter of the worlds is given up on, three quarters of the
    /// cure are paid and worked, and a quarter of handing over is paid.
    #[test]
    fn a_cure_that_is_given_up_on_is_neither_paid_nor_worked() {
        let stuck = |cost, way| Unlocking::of(10.0, 0.25, Some(Outlook { cost, way }), &[400.0]);
        for given_up in [stuck(1700.0, Way::HandOver), stuck(2100.0, Way::Repair(0))] {
            let (cure, share) = (800.0, given_up.carried_on(looking(800.0), 2500.0));
            assert!((share - 0.75).abs() < 1e-12);
            let paid = cure + given_up.on_top_of(looking(cure), 2500.0);
            assert!((paid - (10.0 + share * cure + 0.25 * 2500.0)).abs() < 1e-9, "{paid}");
        }
        assert!((stuck(400.0, Way::Repair(0)).carried_on(looking(800.0), 2500.0) - 1.0).abs() < 1e-12);
        assert!((Unlocking::NOTHING.carried_on(looking(800.0), 2500.0) - 1.0).abs() < 1e-12);
    }

    fn looking(cost: f64) -> Outlook {
        Outlook { cost, way: Way::Look }
    }
}
