//! The next step: checks, repairs and handing over compared by expected total cost.
//!
//! The comparison runs on worlds sampled from the posterior ([`simulate`]): in each, what every check would show and
//! what every repair would cure is worked out, and one step of look-ahead over every outcome of every check prices what
//! comes after ([`value`]). Access is shared: what a check opens, a repair behind it need not open again.

mod appraise;
pub mod cost;
mod deeper;
mod offers;
pub mod simulate;
mod value;

pub use appraise::{Appraised, appraise};

use crate::access::{AccessGraph, OpenSet};
use crate::belief::Belief;
use crate::case::{Case, Event, Presence};
use crate::inference::{Error, Limits, Worlds};
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Cause, Check, Ix, Symptom};
use crate::model::compile::{CheckModel, conditions};
use crate::model::network::{Literal, VarIx};
use crate::model::reading::outcome_chances;
pub use crate::safety::Action;
use crate::safety::{Before, OpenHazard, Safety, Verdict};
use crate::units::{Minutes, Money};
use cost::{Price, Rate};
use offers::{Gatherer, Offer, Offers};
use simulate::{Bits, Simulator, both, draws};
use std::collections::BTreeMap;
use value::{Bench, Market, Outlook, Split, Way};

/// What one outcome of an action would lead to.
#[derive(Clone, Debug, PartialEq)]
pub struct Branch {
    /// For a check the outcome's position; for a repair 0: the symptom is gone, 1: it is still there.
    pub outcome: usize,
    /// Its chance.
    pub chance: f64,
    /// What would be done next; `None`: nothing, it is cured.
    pub then: Option<Action>,
    /// The likeliest cause then, and its chance.
    pub leader: Option<(Instance<Cause>, f64)>,
}

/// One thing that could be done next.
#[derive(Clone, Debug, PartialEq)]
pub struct Proposal {
    /// What.
    pub action: Action,
    /// Minutes of work of the step alone, with what it opens and must put back.
    pub minutes: Minutes,
    /// What the step alone costs.
    pub cost: Money,
    /// From here to the end, taking it.
    pub expected_cost: Money,
    /// The best total without it minus the total with it, its own cost included; negative for a runner-up.
    pub saves: Money,
    /// What each outcome would lead to.
    pub branches: Vec<Branch>,
    /// The causes whose chances it moves most, the most moved first.
    pub separates: Vec<Instance<Cause>>,
    /// What must be done first.
    pub before: Before,
}

/// What to do next.
#[derive(Clone, Debug)]
pub struct Advice {
    /// The best thing to do. Where a hazard must be closed first, the check that closes it.
    pub next: Proposal,
    /// What `next` clears the way for, where it is only the step before.
    pub wanted: Option<Proposal>,
    /// The runners-up.
    pub alternatives: Vec<Proposal>,
    /// What may not be done, and why.
    pub barred: Vec<(Action, String)>,
    /// Hazards that are open.
    pub hazards: Vec<OpenHazard>,
    /// Money spent so far.
    pub spent: Money,
    /// Minutes spent so far.
    pub spent_minutes: Minutes,
}

/// How the choice is made.
#[derive(Clone, Debug)]
pub struct Settings {
    /// Sampled worlds.
    pub worlds: usize,
    /// The seed of the sample.
    pub seed: u64,
    /// How many runners-up.
    pub alternatives: usize,
    /// How many steps are looked ahead over every outcome, 1 or 2, before what comes after is priced by rule of thumb.
    pub look_ahead: u8,
    /// Limits of inference.
    pub limits: Limits,
    /// The time now, where it is known: a sniff grows old.
    pub now: Option<jiff::Timestamp>,
}

impl Default for Settings {
    /// 4096 worlds put a chance right to within .008 (one standard error at one half).
    fn default() -> Self {
        Self { worlds: 4096, seed: 1, alternatives: 3, look_ahead: 1, limits: Limits::default(), now: None }
    }
}

/// What to do next.
///
/// # Errors
/// Where the network is too wide for the limits.
pub fn advise(
    laid: &Laid<'_>,
    graph: &AccessGraph,
    case: &Case,
    belief: &Belief,
    settings: &Settings,
) -> Result<Advice, Error> {
    weigh(laid, graph, case, belief, settings, |_, _| ()).map(|(advice, ())| advice)
}

/// What to do next, and what else is wanted of the comparison.
fn weigh<T>(
    laid: &Laid<'_>,
    graph: &AccessGraph,
    case: &Case,
    belief: &Belief,
    settings: &Settings,
    also: impl FnOnce(&Desk<'_, '_>, &[Priced]) -> T,
) -> Result<(Advice, T), Error> {
    let safety = Safety::at(laid, graph, case, settings.now);
    let open = graph.open_now(laid, case);
    let spent = cost::spent(laid, graph, case);
    let gatherer = Gatherer { laid, graph, case, open: &open, safety: &safety, rate: Rate::of(laid, case) };
    let mut offers = gatherer.gather(belief);
    let worlds = belief.worlds(settings.worlds, settings.seed, &settings.limits)?;
    let desk = Desk::new(laid, graph, case, belief, &worlds, &mut offers, &gatherer, settings);
    let mut ranked = desk.rank();
    if settings.look_ahead > 1 {
        ranked = desk.deeper(ranked);
    }
    let also = also(&desk, &ranked);
    let best = ranked.remove(0);
    let mut alternatives: Vec<Proposal> =
        ranked.iter().take(settings.alternatives).map(|option| desk.propose(option, best.total)).collect();
    // A check that loses, and then the same again, is no other way.
    let runner_up = ranked.iter().find(|o| !o.losing).map_or(best.total, |o| o.total);
    let best = desk.propose(&best, runner_up);
    let (lead, wanted) = match desk.release(&safety, case, &best) {
        Some((check, wanted)) => (check, Some(wanted)),
        None => (best, None),
    };
    // What would settle a hazard may itself be barred by another, or wait for another to be settled.
    let at_hand = |check: Ix<Check>| gatherer.offer(Action::Check(Instance::new(check, 0))).ok();
    let urgent =
        safety.urgent(laid, case).find_map(|close| at_hand(close.0).map(|offer| offer.before.close.unwrap_or(close)));
    let (next, wanted) = match urgent.or(lead.before.close).filter(|close| at_hand(close.0).is_some()) {
        Some((check, outcome, air)) => {
            (closing(&gatherer, Action::Check(Instance::new(check, 0)), outcome, air, &lead), Some(lead))
        }
        None => (lead, wanted),
    };
    if wanted.is_some() {
        alternatives.retain(|a| a.before.close.is_none());
    }
    let advice = Advice {
        next,
        wanted,
        alternatives,
        barred: offers.barred,
        hazards: safety.hazards,
        spent: spent.money,
        spent_minutes: spent.minutes,
    };
    Ok((advice, also))
}

/// The check that closes a hazard, as a step before what is wanted.
fn closing(gatherer: &Gatherer<'_, '_>, action: Action, outcome: usize, air: Minutes, wanted: &Proposal) -> Proposal {
    let price = cost::price(gatherer.laid, gatherer.graph, &gatherer.rate, gatherer.open, &action)
        .plus(cost::time(&gatherer.rate, air));
    let put_back = wanted.before.put_back.clone();
    Proposal {
        minutes: price.minutes,
        cost: price.money,
        expected_cost: wanted.expected_cost,
        saves: Money::ZERO,
        branches: vec![Branch { outcome, chance: 1.0, then: Some(wanted.action.clone()), leader: None }],
        separates: Vec::new(),
        before: Before { put_back, close: None, ticks: Vec::new() },
        action,
    }
}

/// Whether an action may be done now (for a person who asks for another than the proposed).
#[must_use]
pub fn judge(laid: &Laid<'_>, graph: &AccessGraph, case: &Case, action: &Action) -> Verdict {
    let open = graph.open_now(laid, case);
    Safety::of(laid, graph, case).judge(laid, graph, case, &open, action)
}

/// What a step costs from how things stand: minutes with access, and money.
#[must_use]
pub fn step_cost(laid: &Laid<'_>, graph: &AccessGraph, case: &Case, action: &Action) -> (Minutes, Money) {
    let Price { minutes, money } = cost::price(laid, graph, &Rate::of(laid, case), &graph.open_now(laid, case), action);
    (minutes, money)
}

/// One option as it was priced.
#[derive(Clone, Debug)]
struct Priced {
    option: Choice,
    total: f64,
    /// A check that costs more than it saves.
    losing: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Choice {
    HandOver,
    Check(usize),
    Repair(usize),
}

/// Everything that the comparison looks at.
struct Desk<'a, 'k> {
    laid: &'a Laid<'k>,
    graph: &'a AccessGraph,
    belief: &'a Belief,
    worlds: &'a Worlds,
    simulator: Simulator<'a>,
    bench: Bench,
    repairs: Vec<(Offer, Vec<(Instance<Cause>, f64)>)>,
    checks: Vec<(Offer, CheckModel)>,
    splits: Vec<Split>,
    /// For each check, for each outcome the weight of each row.
    mixtures: Vec<Vec<Vec<f64>>>,
    rate: Rate,
    removed: Vec<Vec<(Instance<Cause>, Bits)>>,
    /// For each repair the worlds in which it removes anything.
    touched: Vec<Bits>,
    shut_prices: Vec<f64>,
    /// For each check the bits it tells about which repair it takes.
    gains: Vec<f64>,
}

/// How many of the most telling checks are compared for the step after the next.
const LOOKS_COMPARED: usize = 24;

/// For some checks (by position): worlds counted by their row, by the cheapest cure, and by the row of the step before.
struct Looks(Vec<(usize, Vec<Vec<Vec<f64>>>)>);

impl<'a, 'k> Desk<'a, 'k> {
    #[expect(clippy::too_many_arguments, reason = "the desk is where all of it comes together, once")]
    fn new(
        laid: &'a Laid<'k>,
        graph: &'a AccessGraph,
        case: &Case,
        belief: &'a Belief,
        worlds: &'a Worlds,
        offers: &mut Offers,
        gatherer: &Gatherer<'_, '_>,
        settings: &Settings,
    ) -> Self {
        let symptoms: Vec<VarIx> = complained_of(case).iter().filter_map(|s| belief.model.symptom(*s)).collect();
        let simulator = Simulator::new(&belief.model, worlds, &symptoms, settings.seed);
        let n = worlds.n();
        let mut candidates: Vec<Candidate> = Vec::new();
        for (offer, removes) in std::mem::take(&mut offers.repairs) {
            if removes.iter().any(|(cause, _)| simulator.matters(cause)) {
                let clears = clears(laid, &offer.action, &removes, n, settings.seed);
                let gone = simulator.gone(&clears);
                candidates.push(Candidate { offer, removes, clears, gone });
            }
        }
        promising(&mut candidates, n);
        let mut repairs = Vec::new();
        let mut removed = Vec::new();
        let mut cures = Vec::new();
        for candidate in candidates {
            repairs.push((candidate.offer, candidate.removes));
            removed.push(candidate.clears);
            cures.push(candidate.gone);
        }
        let hand_over = gatherer.rate.hand_over.get();
        let shut = graph.shut();
        let prices_at = |open: &OpenSet| -> Vec<f64> {
            repairs.iter().map(|(o, _)| cost::price(laid, graph, &gatherer.rate, open, &o.action).money.get()).collect()
        };
        let shut_prices = prices_at(&shut);
        let bench = Bench::new(n, cures, &shut_prices, hand_over);
        let checks = std::mem::take(&mut offers.checks);
        let splits: Vec<Split> =
            checks.iter().map(|(_, model)| bench.split(row_worlds(worlds, model, belief.model.now, n))).collect();
        let mixtures = checks
            .iter()
            .map(|(_, model)| {
                let check = &laid.knowledge.checks[model.check.item];
                let given = conditions(laid, case, check);
                let by_row: Vec<Vec<f64>> =
                    check.rows.iter().map(|row| outcome_chances(check, &row.gives, &given)).collect();
                (0..check.outcomes.len()).map(|o| by_row.iter().map(|row| row[o]).collect()).collect()
            })
            .collect();
        let touched = removed.iter().map(|clears| simulator.touched(clears)).collect();
        let mut desk = Self {
            laid,
            graph,
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
            removed,
            shut_prices,
            gains: Vec::new(),
        };
        desk.gains = desk.all_gains();
        desk
    }

    /// What repairs cost with this open.
    fn prices(&self, open: &OpenSet) -> Vec<f64> {
        self.repairs
            .iter()
            .map(|(offer, _)| cost::price(self.laid, self.graph, &self.rate, open, &offer.action).money.get())
            .collect()
    }

    /// The worlds that two repairs cure together.
    ///
    /// Together they cure what neither does only where both remove something.
    fn pair(&self, a: usize, b: usize) -> Bits {
        let mut either = self.bench.cures[a].clone();
        simulate::or_into(&mut either, &self.bench.cures[b]);
        let both = self.touched[a].iter().zip(&self.touched[b]).zip(&either);
        if both.map(|((a, b), cured)| a & b & !cured).all(|word| word == 0) {
            return either;
        }
        let mut clears = self.removed[a].clone();
        for (cause, bits) in &self.removed[b] {
            match clears.iter_mut().find(|(c, _)| c == cause) {
                Some((_, known)) => known.iter_mut().zip(bits).for_each(|(k, b)| *k |= b),
                None => clears.push((*cause, bits.clone())),
            }
        }
        self.simulator.gone(&clears)
    }

    /// What looking further offers, but for one check: what it tells, it tells once.
    fn market(&self, but: Option<usize>) -> Market {
        let mut market = Market { per_bit: f64::INFINITY, supply: 0.0 };
        for at in (0..self.checks.len()).filter(|at| Some(*at) != but && self.gains[*at] > 1e-6) {
            market.per_bit = market.per_bit.min(self.checks[at].0.price.money.get() / self.gains[at]);
            market.supply += self.gains[at];
        }
        market
    }

    /// For each check the bits it tells about which repair it takes.
    fn all_gains(&self) -> Vec<f64> {
        let everything = self.bench.split(vec![value::all(self.bench.n)]);
        let now = self.bench.entropy(&everything, &[1.0]);
        (0..self.checks.len()).map(|at| now - self.entropy_after(at)).collect()
    }

    fn entropy_after(&self, check: usize) -> f64 {
        let split = &self.splits[check];
        self.mixtures[check]
            .iter()
            .map(|weights| {
                let chance = split.chance(weights);
                if chance > 0.0 { chance * self.bench.entropy(split, weights) } else { 0.0 }
            })
            .sum()
    }

    /// Every option, the best first, the others by their totals.
    ///
    /// What comes after is priced as if looking further were at hand at the going rate. A check must therefore save
    /// more than it costs even where looking further means all other checks but this one, or it would be chosen for
    /// what others can do; one that does not costs what the best option does, and what it loses. Where no check is worth
    /// it there is no looking further either, and repairs are priced without.
    fn rank(&self) -> Vec<Priced> {
        let (full, alone) = (self.market(None), Market { per_bit: f64::INFINITY, supply: 0.0 });
        let everything = self.bench.split(vec![value::all(self.bench.n)]);
        let now: Vec<f64> = self.repairs.iter().map(|(offer, _)| offer.price.money.get()).collect();
        let mut ranked = vec![Priced { option: Choice::HandOver, total: self.bench.hand_over, losing: false }];
        let mut losing = Vec::new();
        let mut prices: BTreeMap<Vec<usize>, Vec<f64>> = BTreeMap::new();
        for at in 0..self.checks.len() {
            let offer = &self.checks[at].0;
            let key: Vec<usize> = offer.after.iter().map(Ix::at).collect();
            let after = prices.entry(key).or_insert_with(|| self.prices(&offer.after));
            let others = self.market(Some(at));
            let as_it_stands = self.outlook(&everything, &[1.0], &now, &others).map_or(0.0, |o| o.cost);
            let loss = self.check_total(at, after, &others) - as_it_stands;
            let option = Choice::Check(at);
            if loss < 0.0 && self.decides(at, after, &others) {
                ranked.push(Priced { option, total: self.check_total(at, after, &full), losing: false });
            } else {
                losing.push(Priced { option, total: loss.max(0.0), losing: true });
            }
        }
        let market = if ranked.len() > 1 { full } else { alone };
        ranked.extend((0..self.repairs.len()).filter(|at| self.repairs[*at].0.held.is_none()).map(|at| Priced {
            option: Choice::Repair(at),
            total: self.repair_total(at, &market),
            losing: false,
        }));
        let least = ranked.iter().map(|o| o.total).fold(f64::INFINITY, f64::min);
        ranked.extend(losing.into_iter().map(|o| Priced { total: least + o.total, ..o }));
        // Of equals, what is worth it, and what is done rather than looked at.
        ranked.sort_by(|a, b| a.total.total_cmp(&b.total).then(a.losing.cmp(&b.losing)).then(b.option.cmp(&a.option)));
        ranked
    }

    /// The expected total with a check, where `after` are the prices of repairs with what it opens.
    fn check_total(&self, at: usize, after: &[f64], market: &Market) -> f64 {
        let split = &self.splits[at];
        let ahead: f64 = self.mixtures[at]
            .iter()
            .map(|weights| split.chance(weights) * self.outlook(split, weights, after, market).map_or(0.0, |o| o.cost))
            .sum();
        self.checks[at].0.price.money.get() + ahead
    }

    /// Whether its outcomes lead to different steps. Where the same repair comes next whatever a check shows, that repair
    /// comes first: the check is then needed only where it fails.
    fn decides(&self, at: usize, after: &[f64], market: &Market) -> bool {
        let outlook = |weights: &Vec<f64>| self.outlook(&self.splits[at], weights, after, market);
        let mut ways = self.mixtures[at].iter().filter_map(outlook).map(|outlook| outlook.way);
        match ways.next() {
            Some(first @ Way::Repair(_)) => ways.any(|way| way != first),
            _ => true,
        }
    }

    /// Where a repair that an interlock holds up would be the best thing to do by far: the check at hand that releases
    /// it, and the repair.
    fn release(&self, safety: &Safety, case: &Case, best: &Proposal) -> Option<(Proposal, Proposal)> {
        let held = |at: &usize| self.repairs[*at].0.held.as_ref().and_then(|(by, _)| *by);
        let market = self.market(None);
        let at = (0..self.repairs.len())
            .filter(|at| held(at).is_some())
            .min_by(|a, b| self.repair_total(*a, &market).total_cmp(&self.repair_total(*b, &market)))?;
        let total = self.repair_total(at, &market);
        if total >= best.expected_cost.get() {
            return None;
        }
        let wanted = safety.releasing(self.laid, self.graph, case, held(&at)?);
        let releases = |action: &Action| match action {
            Action::Check(instance) => wanted.iter().any(|(check, _)| *check == instance.item),
            _ => false,
        };
        let check = self.checks.iter().position(|(offer, _)| releases(&offer.action))?;
        let propose = |option| self.propose(&Priced { option, total, losing: false }, best.expected_cost.get());
        Some((propose(Choice::Check(check)), propose(Choice::Repair(at))))
    }

    fn repair_total(&self, at: usize, market: &Market) -> f64 {
        let price = self.repairs[at].0.price.money.get();
        let left = 1.0 - self.cure_chance(at);
        if left <= 0.0 {
            return price;
        }
        let split = self.bench.after_failed(at, &mut |a, b| self.pair(a, b));
        price + left * self.outlook(&split, &[1.0], &self.shut_prices, market).map_or(0.0, |o| o.cost)
    }

    fn cure_chance(&self, repair: usize) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "a few thousand worlds")]
        let n = self.bench.n as f64;
        f64::from(self.bench.cures[repair].iter().map(|w| w.count_ones()).sum::<u32>()) / n
    }

    fn outlook(&self, split: &Split, weights: &[f64], prices: &[f64], market: &Market) -> Option<Outlook> {
        self.bench.outlook(split, weights, prices, &self.shut_prices, market, &mut |a, b| self.pair(a, b))
    }

    /// An option as a proposal; `other` is the best total without it.
    fn propose(&self, priced: &Priced, other: f64) -> Proposal {
        let total = Money::of(priced.total);
        let saves = Money::of(other - priced.total);
        match priced.option {
            Choice::Check(at) => {
                let (offer, _) = &self.checks[at];
                let after = self.prices(&offer.after);
                let looks = self.looks(self.splits[at].rows(), Some(at));
                let branches = (0..self.mixtures[at].len()).map(|o| self.check_branch(at, o, &after, &looks)).collect();
                Self::proposal(offer, total, saves, branches, self.separates(at))
            }
            Choice::Repair(at) => {
                let (offer, removes) = &self.repairs[at];
                let cured = self.cure_chance(at);
                let split = self.bench.after_failed(at, &mut |a, b| self.pair(a, b));
                let way = self
                    .outlook(&split, &[1.0], &self.shut_prices, &self.market(None))
                    .map_or(Way::HandOver, |o| o.way);
                let failed = Branch {
                    outcome: 1,
                    chance: 1.0 - cured,
                    then: Some(self.action_of(way, &self.looks(split.rows(), None), &[1.0])),
                    leader: self.leader(split.rows(), &[1.0], removes),
                };
                let gone = Branch { outcome: 0, chance: cured, then: None, leader: None };
                Self::proposal(offer, total, saves, vec![gone, failed], removes.iter().map(|(c, _)| *c).collect())
            }
            Choice::HandOver => Proposal {
                action: Action::HandOver,
                minutes: Minutes::ZERO,
                cost: Money::of(self.bench.hand_over),
                expected_cost: total,
                saves,
                branches: Vec::new(),
                separates: Vec::new(),
                before: Before::default(),
            },
        }
    }

    fn proposal(
        offer: &Offer,
        expected_cost: Money,
        saves: Money,
        branches: Vec<Branch>,
        separates: Vec<Instance<Cause>>,
    ) -> Proposal {
        Proposal {
            action: offer.action.clone(),
            minutes: offer.price.minutes,
            cost: offer.price.money,
            expected_cost,
            saves,
            branches,
            separates,
            before: offer.before.clone(),
        }
    }

    fn check_branch(&self, check: usize, outcome: usize, prices: &[f64], looks: &Looks) -> Branch {
        let split = &self.splits[check];
        let weights = &self.mixtures[check][outcome];
        let way = self.outlook(split, weights, prices, &self.market(Some(check))).map_or(Way::HandOver, |o| o.way);
        Branch {
            outcome,
            chance: split.chance(weights),
            then: Some(self.action_of(way, looks, weights)),
            leader: self.leader(split.rows(), weights, &[]),
        }
    }

    /// The action that a way on begins with; looking further begins with the check that tells most for its cost there.
    fn action_of(&self, way: Way, looks: &Looks, weights: &[f64]) -> Action {
        match way {
            Way::Repair(repair) => self.repairs[repair].0.action.clone(),
            Way::HandOver => Action::HandOver,
            Way::Look => self.best_look(looks, weights).map_or(Action::HandOver, |at| self.checks[at].0.action.clone()),
        }
    }

    /// What the most telling checks would tell after a split by rows; `but` is the check just done.
    fn looks(&self, rows: &[Bits], but: Option<usize>) -> Looks {
        let mut rates: Vec<(usize, f64)> = (0..self.checks.len())
            .filter(|at| Some(*at) != but)
            .map(|at| (at, self.gains[at] / self.checks[at].0.price.money.get().max(0.01)))
            .collect();
        rates.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
        let count = |mine: &Bits, row: &Bits, class: &Bits| {
            let words = mine.iter().zip(row).zip(class);
            f64::from(words.map(|((a, b), c)| (a & b & c).count_ones()).sum::<u32>())
        };
        let table = |at: usize| {
            let by_class = |mine: &Bits, class: &Bits| rows.iter().map(|row| count(mine, row, class)).collect();
            let by_row = |mine: &Bits| self.bench.cheapest.iter().map(|class| by_class(mine, class)).collect();
            self.splits[at].rows().iter().map(by_row).collect()
        };
        Looks(rates.into_iter().take(LOOKS_COMPARED).map(|(at, _)| (at, table(at))).collect())
    }

    /// The check that tells most for its cost on a mixture of rows.
    fn best_look(&self, looks: &Looks, weights: &[f64]) -> Option<usize> {
        let gain = |at: usize, table: &[Vec<Vec<f64>>]| {
            let mixed: Vec<Vec<f64>> = table
                .iter()
                .map(|row| row.iter().map(|by| by.iter().zip(weights).map(|(n, w)| n * w).sum()).collect())
                .collect();
            let classes = self.bench.cheapest.len();
            let sum = |weigh: &dyn Fn(usize) -> f64| -> Vec<f64> {
                (0..classes).map(|c| (0..mixed.len()).map(|row| weigh(row) * mixed[row][c]).sum()).collect()
            };
            let prior = sum(&|_| 1.0);
            let total: f64 = prior.iter().sum();
            let after: f64 = self.mixtures[at]
                .iter()
                .map(|outcome| {
                    let mixed = sum(&|row| outcome[row]);
                    mixed.iter().sum::<f64>() / total * entropy(&mixed)
                })
                .sum();
            entropy(&prior) - after
        };
        looks
            .0
            .iter()
            .map(|(at, table)| (*at, gain(*at, table) / self.checks[*at].0.price.money.get().max(0.01)))
            .filter(|(_, rate)| *rate > 0.0)
            .max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)))
            .map(|(at, _)| at)
    }

    /// The likeliest cause on a mixture of rows, with those that a failed repair removed less likely.
    fn leader(
        &self,
        rows: &[Bits],
        weights: &[f64],
        removed: &[(Instance<Cause>, f64)],
    ) -> Option<(Instance<Cause>, f64)> {
        let total: f64 =
            rows.iter().zip(weights).map(|(r, w)| w * f64::from(r.iter().map(|b| b.count_ones()).sum::<u32>())).sum();
        self.belief
            .model
            .causes
            .iter()
            .filter(|(cause, _)| self.simulator.matters(cause))
            .map(|&(cause, var)| {
                let on = self.worlds.on(var, self.belief.model.now);
                let left = removed.iter().find(|(c, _)| *c == cause).map_or(1.0, |(_, sureness)| 1.0 - sureness);
                (cause, left * rows.iter().zip(weights).map(|(r, w)| w * f64::from(both(r, on))).sum::<f64>() / total)
            })
            .filter(|(_, chance)| chance.is_finite() && *chance > 0.0)
            .max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)))
    }

    /// The causes whose chances a check moves most.
    fn separates(&self, check: usize) -> Vec<Instance<Cause>> {
        let split = &self.splits[check];
        #[expect(clippy::cast_precision_loss, reason = "a few thousand worlds")]
        let n = self.bench.n as f64;
        let mut moved: Vec<(Instance<Cause>, f64)> = self
            .belief
            .model
            .causes
            .iter()
            .filter(|(cause, _)| self.simulator.matters(cause))
            .map(|&(cause, var)| {
                let on = self.worlds.on(var, self.belief.model.now);
                let by_row: Vec<f64> = split.rows().iter().map(|r| f64::from(both(r, on)) / n).collect();
                let before: f64 = by_row.iter().sum();
                let moves = self.mixtures[check]
                    .iter()
                    .map(|weights| {
                        let joint: f64 = by_row.iter().zip(weights).map(|(b, w)| b * w).sum();
                        (joint - before * split.chance(weights)).abs()
                    })
                    .sum();
                (cause, moves)
            })
            .collect();
        moved.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
        // A cause that moves less than a fifth of the leader is not what the check is about.
        let least = moved.first().map_or(0.0, |(_, most)| most / 5.0);
        moved.into_iter().take(4).filter(|(_, m)| *m > least && *m > 0.0).map(|(cause, _)| cause).collect()
    }
}

/// A repair with what it would cure.
struct Candidate {
    offer: Offer,
    removes: Vec<(Instance<Cause>, f64)>,
    clears: Vec<(Instance<Cause>, Bits)>,
    gone: Bits,
}

/// The most repairs compared: those that cure most for their cost. What cures one world in 500 for its price is not
/// what a plan begins with; it comes back into view once an answer makes it likelier.
const REPAIRS_COMPARED: usize = 48;

/// Keeps the promising repairs, in the order they came.
fn promising(candidates: &mut Vec<Candidate>, n: usize) {
    let merit = |c: &Candidate| {
        let cured = c.gone.iter().map(|w| w.count_ones()).sum::<u32>();
        f64::from(cured) / c.offer.price.money.get().max(1.0)
    };
    let worth = |c: &Candidate| c.gone.iter().map(|w| w.count_ones()).sum::<u32>() as usize * 500 >= n;
    let mut merits: Vec<f64> = candidates.iter().filter(|c| worth(c)).map(&merit).collect();
    merits.sort_by(|a, b| b.total_cmp(a));
    let least = merits.get(REPAIRS_COMPARED - 1).copied().unwrap_or(0.0);
    candidates.retain(|c| worth(c) && merit(c) >= least);
}

/// Shannon's entropy, in bits, of weights that need not sum to one.
fn entropy(weights: &[f64]) -> f64 {
    let total: f64 = weights.iter().sum();
    weights.iter().filter(|w| **w > 0.0).map(|w| w / total).map(|p| -p * libm::log2(p)).sum()
}

/// The symptoms that must go: those named and not gone since, and those that came on.
#[must_use]
pub fn complained_of(case: &Case) -> Vec<Ix<Symptom>> {
    let mut symptoms = case.symptoms.clone();
    for entry in &case.log {
        match entry.event {
            Event::Tried { symptom, now: Presence::Absent } => symptoms.retain(|s| *s != symptom),
            Event::Tried { symptom, now: Presence::Present } if !symptoms.contains(&symptom) => symptoms.push(symptom),
            _ => {}
        }
    }
    symptoms
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

/// For each row of a check the worlds in which it is the first that holds.
fn row_worlds(worlds: &Worlds, model: &CheckModel, now: usize, n: usize) -> Vec<Bits> {
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
