//! The problem that the sampled worlds of a job pose, and what a search through it makes of the options.
//!
//! A first step costs what it is offered for; what must be aired or closed for it is added whenever it is done. A check is
//! made once and shows what it would show as things stand; a repair is done once. What an interlock holds up for now is no
//! first step.

use super::{
    ACCESS_AT_MOST, Between, Check, Cures, Found, NEAR_ENOUGH, Open, Problem, REPAIRS_AT_MOST, Repair, Set, Step, Work,
    World, search,
};
use crate::access::OpenSet;
use crate::decision::cost;
use crate::decision::desk::{Choice, Desk, Priced, Worth};
use crate::decision::offers::{Gatherer, Offer};
use crate::decision::simulate::Bits;
use crate::knowledge::{Access, Ix};
use crate::safety::Action;
use std::collections::BTreeSet;

/// What a search made of the options.
pub struct Searched {
    /// All options, the best first.
    pub ranked: Vec<Priced>,
    /// Between what the job comes to at best.
    pub between: Between,
    /// How many states of knowledge were opened.
    pub opened: usize,
}

impl Desk<'_, '_> {
    /// Ranks all options anew by a search that opens so many states; `None` where the problem is too large for one.
    ///
    /// An option's total is then what is known to be enough for it. What the search found no use for keeps its distance to
    /// the best.
    pub fn searched(&self, gatherer: &Gatherer<'_, '_>, ranked: &[Priced], states: usize) -> Option<Searched> {
        let Found { between, steps, opened } = search(&self.problem(gatherer)?, states, NEAR_ENOUGH);
        let first = ranked.first()?.total;
        let found = |option: Choice| {
            let step = match option {
                Choice::HandOver => Step::HandOver,
                Choice::Check(at) => Step::Check(at),
                Choice::Repair(at) => Step::Repair(at),
            };
            steps.iter().find(|(known, _)| *known == step).map(|(_, between)| *between)
        };
        let but_checks = ranked.iter().filter(|priced| !matches!(priced.option, Choice::Check(_)));
        let without =
            but_checks.filter_map(|priced| found(priced.option)).map(|b| b.upper).fold(f64::INFINITY, f64::min);
        let mut again: Vec<Priced> = ranked
            .iter()
            .map(|priced| {
                let between = found(priced.option);
                let total = between.map_or(priced.total - first + between_upper(&steps), |between| between.upper);
                let is_losing = matches!(priced.option, Choice::Check(_)) && total >= without;
                let worth = if is_losing { priced.worth.max(Worth::Less) } else { Worth::Its };
                Priced { total, worth, between: between.map(|between| (between, opened)), ..priced.clone() }
            })
            .collect();
        // Of equals, what one step ahead prefers.
        again.sort_by(|a, b| a.total.total_cmp(&b.total));
        Some(Searched { ranked: again, between, opened })
    }

    /// What the worlds pose; `None` where there is more of anything than a search has room for.
    fn problem(&self, gatherer: &Gatherer<'_, '_>) -> Option<Problem> {
        let access: BTreeSet<Ix<Access>> = self.graph.order().iter().copied().collect();
        let rows = self.splits.iter().map(|split| split.rows().len()).max().unwrap_or(0);
        if self.repairs.len() > REPAIRS_AT_MOST || access.len() > ACCESS_AT_MOST || rows > usize::from(u8::MAX) {
            return None;
        }
        let giving_up = &self.bench.giving_up;
        let problem = Problem {
            worlds: self.searched_worlds(),
            repairs: self.repairs.iter().map(|(offer, _)| self.searched_repair(offer, gatherer.open)).collect(),
            checks: (0..self.checks.len()).map(|at| self.searched_check(at, gatherer.open)).collect(),
            open: open_bits(gatherer.open),
            hand_over: giving_up.hand_over,
            wasted: giving_up.wasted,
            again: giving_up.again,
        };
        Some(problem.merged())
    }

    fn searched_worlds(&self) -> Vec<World> {
        let mut worlds =
            vec![World { weight: 1.0, cures: Cures::default(), rows: vec![0; self.checks.len()] }; self.bench.n];
        for (repair, cures) in self.bench.cures.iter().enumerate() {
            each_world(cures, |world| worlds[world].cures.alone |= (1 as Set) << repair);
        }
        for a in 0..self.repairs.len() {
            for b in a + 1..self.repairs.len() {
                let pair = (small(a), small(b));
                if let Some(both) = self.pair(a, b) {
                    each_world(&both, |world| worlds[world].cures.together.push(pair));
                }
            }
        }
        each_world(&self.bench.giving_up.own, |world| worlds[world].cures.own = true);
        for (check, split) in self.splits.iter().enumerate() {
            for (row, bits) in split.rows().iter().enumerate() {
                each_world(bits, |world| worlds[world].rows[check] = small(row));
            }
        }
        worlds
    }

    fn searched_repair(&self, offer: &Offer, open: &OpenSet) -> Repair {
        let (after, places) = match &offer.action {
            Action::Repair(ix, places) => (self.laid.knowledge.repairs[*ix].after.as_slice(), places.len()),
            _ => (&[][..], 1),
        };
        let price = self.work(offer, open, places);
        let reach_at_least = self.reach(&offer.action, 1);
        let waits = matches!(offer.held, Some((None, _)));
        let after = after.iter().filter(|_| waits);
        let at_hand = |check| (0..self.checks.len()).filter(move |at| self.checks[*at].1.check.item == check);
        let mut waits_for: Vec<(usize, Vec<u8>)> = after
            .flat_map(|(check, outcomes)| at_hand(*check).map(|at| (at, outcomes.iter().map(|o| small(*o)).collect())))
            .collect();
        if waits && waits_for.is_empty() {
            waits_for.push((usize::MAX, vec![]));
        }
        Repair { price, reach_at_least, held: offer.held.is_some(), waits_for }
    }

    fn searched_check(&self, at: usize, open: &OpenSet) -> Check {
        let (offer, model) = &self.checks[at];
        let needed = self.graph.needed(&cost::wanted(self.laid, &offer.action));
        let knowledge = self.laid.knowledge;
        let spoils = &knowledge.checks[model.check.item].spoils;
        Check {
            price: self.work(offer, open, 1),
            shuts_others: needed.iter().any(|access| knowledge.access[access].shuts_others),
            chances: self.mixtures[at].clone(),
            spoils: (0..self.checks.len()).filter(|other| spoils.contains(&self.checks[*other].1.check.item)).collect(),
        }
    }

    /// What an offer's work costs, with what it is offered for beyond that.
    fn work(&self, offer: &Offer, open: &OpenSet, places: usize) -> Work {
        let price = |open: &OpenSet| cost::price(self.laid, self.graph, &self.rate, open, &offer.action).money.get();
        let needed = self.graph.needed(&cost::wanted(self.laid, &offer.action));
        let beyond = (offer.price.money.get() - price(open)).max(0.0);
        Work { work: price(&needed) + beyond, reach: self.reach(&offer.action, places) }
    }

    /// Each access state that an action needs, with what getting there and back comes to.
    fn reach(&self, action: &Action, places: usize) -> Vec<(u8, f64)> {
        let needed = self.graph.needed(&cost::wanted(self.laid, action));
        let price = |access: Ix<Access>| {
            let minutes = self.graph.minutes(self.laid, access, places).total();
            (small(access.at()), cost::time(&self.rate, minutes).money.get())
        };
        needed.iter().map(price).collect()
    }
}

/// The least that is known to be enough.
fn between_upper(steps: &[(Step, Between)]) -> f64 {
    steps.iter().map(|(_, between)| between.upper).fold(f64::INFINITY, f64::min)
}

fn open_bits(open: &OpenSet) -> Open {
    open.iter().fold(0, |bits, access| bits | 1 << access.at())
}

fn each_world(bits: &Bits, mut then: impl FnMut(usize)) {
    for (at, word) in bits.iter().enumerate() {
        let mut left = *word;
        while left != 0 {
            then(at * 64 + left.trailing_zeros() as usize);
            left &= left - 1;
        }
    }
}

fn small(at: usize) -> u8 {
    u8::try_from(at).expect("its room was looked at before")
}
