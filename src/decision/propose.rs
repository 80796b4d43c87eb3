//! An option as it is proposed: what each outcome would lead to, and what it tells apart.

use super::desk::{Choice, Desk, Priced, mixtures, row_worlds};
use super::offers::Offer;
use super::simulate::{Bits, both};
use super::value::Way;
use super::{Action, Bounds, Branch, Opening, Proposal, cost};
use crate::access::OpenSet;
use crate::inference::members;
use crate::knowledge::Cause;
use crate::knowledge::layout::Instance;
use crate::safety::Before;
use crate::units::{Minutes, Money};

/// How many of the most telling checks are compared for the step after the next.
const LOOKS_COMPARED: usize = 24;

/// For some checks (by position): worlds counted by their row, by the cheapest cure, and by the row of the step before.
struct Looks(Vec<(usize, Vec<Vec<Vec<f64>>>)>);
/// What a cause would seem to be moved by were it drawn apart from the answer is below so many of these, a hundred causes over.
const STANDARD_ERRORS: f64 = 4.0;

impl Desk<'_, '_> {
    /// An option as a proposal; `other` is the best total without it.
    pub fn propose(&self, priced: &Priced, other: f64) -> Proposal {
        let bounds = priced.between.map(|between| Bounds::searched(between.0, between.1));
        Proposal { bounds, ..self.priced(priced, other) }
    }

    fn priced(&self, priced: &Priced, other: f64) -> Proposal {
        let total = Money::of(priced.total);
        let saves = Money::of(other - priced.total);
        match priced.option {
            Choice::Check(at) => {
                let (offer, _) = &self.checks[at];
                let looks = self.looks(self.splits[at].rows(), Some(at));
                let branches: Vec<Branch> =
                    (0..self.mixtures[at].len()).map(|o| self.check_branch(at, o, &looks)).collect();
                let opening = self.opening(offer, &branches);
                Proposal { opening, ..Self::proposal(offer, total, saves, branches, self.separates(at)) }
            }
            Choice::Repair(at) => {
                let (offer, removes) = &self.repairs[at];
                let cured = self.cure_chance(at);
                let split = self.bench.after_failed(at, &mut |a, b| self.pair(a, b));
                let way =
                    self.outlook(&split, &[1.0], &self.shut_prices, &self.market).map_or(Way::HandOver, |o| o.way);
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
                cost: Money::of(self.bench.giving_up.hand_over),
                expected_cost: total,
                saves,
                branches: Vec::new(),
                separates: Vec::new(),
                before: Before::default(),
                opening: None,
                bounds: None,
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
            opening: None,
            bounds: None,
        }
    }

    /// What of a check is getting there, and how likely what comes next needs that too.
    fn opening(&self, offer: &Offer, branches: &[Branch]) -> Option<Opening> {
        let minutes = |open: &OpenSet, action: &Action| {
            cost::price(self.laid, self.graph, &self.rate, open, action).minutes.get()
        };
        let shut = self.graph.shut();
        let open = minutes(&offer.after, &offer.action);
        // What it is offered for may have airing in it, which opens nothing.
        let there = (offer.price.minutes.get() - open).min(minutes(&shut, &offer.action) - open);
        let shares = |then: &Action| minutes(&offer.after, then) + 0.5 < minutes(&shut, then);
        let shared = branches.iter().filter(|b| b.then.as_ref().is_some_and(shares)).map(|b| b.chance).sum();
        (there > 0.5).then_some(Opening { minutes: Minutes::of(there), shared })
    }

    /// What a check that settles a hazard may show: with `settled`, what is wanted comes next. Where the check is not
    /// weighed itself, as it has been asked for in vain too often, anything else means the same again.
    pub fn closing_branches(&self, action: &Action, settled: usize, wanted: &Action) -> Vec<Branch> {
        let mut branches = match self.checks.iter().position(|(offer, _)| offer.action == *action) {
            Some(at) => {
                let looks = self.looks(self.splits[at].rows(), Some(at));
                (0..self.mixtures[at].len()).map(|o| self.check_branch(at, o, &looks)).collect()
            }
            None => self.until_settled(action),
        };
        if let Some(branch) = branches.iter_mut().find(|branch| branch.outcome == settled) {
            branch.then = Some(wanted.clone());
        }
        branches
    }

    /// The chance of each outcome of a check that is made until it shows what is wanted.
    fn until_settled(&self, action: &Action) -> Vec<Branch> {
        let Action::Check(instance) = action else { return Vec::new() };
        let Some(model) = self.belief.model.checks.iter().find(|model| model.check == *instance) else {
            return Vec::new();
        };
        let split = self.bench.split(row_worlds(self.worlds, model, self.belief.model.now, self.bench.n));
        let mixtures = mixtures(self.laid, self.case, model);
        let branch = |(outcome, weights): (usize, &Vec<f64>)| Branch {
            outcome,
            chance: split.chance(weights),
            then: Some(action.clone()),
            leader: None,
        };
        mixtures.iter().enumerate().map(branch).collect()
    }

    fn check_branch(&self, check: usize, outcome: usize, looks: &Looks) -> Branch {
        let split = &self.splits[check];
        let weights = &self.mixtures[check][outcome];
        let outlook = self.outlook_after(check, outcome, &self.market.without(check));
        let way = outlook.map_or(Way::HandOver, |o| o.way);
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
        // The rows of a split share no world, nor do the classes: each world has one of either, or no row.
        let of_world = |sets: &[Bits]| {
            let mut of = vec![None; self.bench.n];
            sets.iter().enumerate().for_each(|(at, set)| members(set).for_each(|world| of[world] = Some(at)));
            of
        };
        let (row_of, class_of) = (of_world(rows), of_world(&self.bench.cheapest));
        let table = |at: usize| {
            let by_row = |mine: &Bits| {
                let mut counts = vec![vec![0.0; rows.len()]; self.bench.cheapest.len()];
                for world in members(mine) {
                    if let (Some(class), Some(row)) = (class_of[world], row_of[world]) {
                        counts[class][row] += 1.0;
                    }
                }
                counts
            };
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

    /// Whether a check moves any cause, and what is no check is done for one.
    pub fn tells_of_a_cause(&self, priced: &Priced) -> bool {
        match priced.option {
            Choice::Check(at) => !self.separates(at).is_empty(),
            _ => true,
        }
    }

    /// The causes whose chances a check moves most, and by more than the worlds drawn would by themselves.
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
                let (mut moves, mut by_chance) = (0.0, 0.0);
                for weights in &self.mixtures[check] {
                    let joint: f64 = by_row.iter().zip(weights).map(|(b, w)| b * w).sum();
                    let outcome = split.chance(weights);
                    moves += (joint - before * outcome).abs();
                    by_chance += (before * (1.0 - before) * outcome * (1.0 - outcome) / n).max(0.0).sqrt();
                }
                (cause, moves, STANDARD_ERRORS * by_chance)
            })
            .filter(|(_, moves, by_chance)| moves > by_chance)
            .map(|(cause, moves, _)| (cause, moves))
            .collect();
        moved.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
        // A cause that moves less than a fifth of the leader is not what the check is about.
        let least = moved.first().map_or(0.0, |(_, most)| most / 5.0);
        moved.into_iter().take(4).filter(|(_, m)| *m > least && *m > 0.0).map(|(cause, _)| cause).collect()
    }
}
/// Shannon's entropy, in bits, of weights that need not sum to one.
fn entropy(weights: &[f64]) -> f64 {
    let total: f64 = weights.iter().sum();
    weights.iter().filter(|w| **w > 0.0).map(|w| w / total).map(|p| -p * libm::log2(p)).sum()
}
