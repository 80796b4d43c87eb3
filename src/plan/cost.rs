//! What a set of repairs costs: work, parts, and access opened once for all of it.

use super::By;
use super::bill::Bill;
use super::choose::Jobs;
use super::goals::{Aim, chance_of};
use crate::access::{AccessGraph, OpenSet, Reach};
use crate::belief::CauseBelief;
use crate::case::Case;
use crate::decision::cost::Rate;
use crate::knowledge::layout::Laid;
use crate::knowledge::{Access, Cause, Ix, Repair, Scope};
use crate::model::compile::repair_reaches;
use crate::safety::holds;
use crate::units::{Minutes, Money};

/// All that a choice is made from.
pub struct Context<'a> {
    pub laid: &'a Laid<'a>,
    pub graph: &'a AccessGraph,
    pub case: &'a Case,
    pub causes: &'a [CauseBelief],
    /// The rate of the case's user.
    pub user: Rate,
    /// The rate of a workshop.
    pub shop: Rate,
    /// What is open now.
    pub open: OpenSet,
    /// For each plan rule, whether its condition holds.
    pub rules: Vec<bool>,
}

impl<'a> Context<'a> {
    pub fn new(laid: &'a Laid<'a>, graph: &'a AccessGraph, case: &'a Case, causes: &'a [CauseBelief]) -> Self {
        let rules = laid.knowledge.plan_rules.iter().map(|(_, rule)| holds(laid, graph, case, &rule.when)).collect();
        Self {
            laid,
            graph,
            case,
            causes,
            user: Rate::of(laid, case),
            shop: shop_rate(laid, case),
            open: graph.open_now(laid, case),
            rules,
        }
    }

    /// Who does a repair: what is beyond the user's skill or reach is for the shop.
    pub fn by(&self, repair: Ix<Repair>) -> By {
        let user = &self.laid.knowledge.users[self.case.user];
        let item = &self.laid.knowledge.repairs[repair];
        let skilled = user.skill.is_none_or(|most| item.skill <= most);
        let reaches = user
            .access
            .as_ref()
            .is_none_or(|allowed| self.graph.needed(&item.access).iter().all(|access| allowed.contains(&access)));
        if skilled && reaches { By::User } else { By::Shop }
    }

    pub fn rate(&self, by: By) -> &Rate {
        match by {
            By::User => &self.user,
            By::Shop => &self.shop,
        }
    }

    /// The chance of a cause, on the likeliest of its instances.
    pub fn chance_anywhere(&self, cause: Ix<Cause>) -> f64 {
        let scope = self.laid.knowledge.causes[cause].scope;
        self.laid.instances(cause, scope).map(|at| chance_of(self.causes, at)).fold(0.0, f64::max)
    }

    /// Everything that must be open for a set of repairs, in the order of opening, with its minutes.
    pub fn access(&self, jobs: &Jobs) -> Vec<(Ix<Access>, Reach)> {
        let wanted: Vec<Ix<Access>> =
            jobs.iter().flat_map(|(repair, _)| self.laid.knowledge.repairs[repair].access.clone()).collect();
        self.access_for(&wanted, jobs)
    }

    /// As [`Self::access`], for these states.
    pub fn access_for(&self, wanted: &[Ix<Access>], jobs: &Jobs) -> Vec<(Ix<Access>, Reach)> {
        let needed = self.graph.needed(wanted);
        self.graph.order().iter().copied().filter(|a| needed.has(*a)).map(|a| (a, self.reach(a, jobs))).collect()
    }

    /// The minutes of one state for the places that the repairs behind it are done at. What is open already is only
    /// owed the putting back.
    fn reach(&self, access: Ix<Access>, jobs: &Jobs) -> Reach {
        let n =
            self.laid.knowledge.access[access].each_further.map_or(1, |(scope, ..)| self.behind(access, scope, jobs));
        let mut others = self.graph.shut();
        if let Some(parents) = Some(&self.laid.knowledge.access[access].needs).filter(|needs| !needs.is_empty()) {
            others = self.graph.needed(parents);
        }
        let mut reach = self.graph.reach(self.laid, &others, &[access], n);
        if self.open.has(access) {
            reach.open = Minutes::ZERO;
        }
        reach
    }

    /// How many places of a scope the repairs behind an access state touch.
    fn behind(&self, access: Ix<Access>, scope: Scope, jobs: &Jobs) -> usize {
        let mut places: Vec<usize> = jobs
            .iter()
            .filter(|(repair, _)| self.graph.needed(&self.laid.knowledge.repairs[*repair].access).has(access))
            .flat_map(|(repair, at)| {
                let of = self.laid.knowledge.repairs[repair].scope;
                at.iter().flat_map(move |&at| self.laid.bearing(scope, of, at))
            })
            .collect();
        places.sort_unstable();
        places.dedup();
        places.len().max(1)
    }

    /// Hands-on minutes of one repair at these places.
    pub fn work(&self, repair: Ix<Repair>, places: &[usize]) -> Minutes {
        self.laid.knowledge.repairs[repair].minutes * count(places.len())
    }

    /// Minutes of a set of repairs, access with it, each at the pace of who does it.
    pub fn minutes(&self, jobs: &Jobs) -> Minutes {
        let work: Minutes =
            jobs.iter().map(|(repair, places)| self.work(repair, places) * self.rate(self.by(repair)).pace).sum();
        let reach =
            |(access, reach): &(Ix<Access>, Reach)| reach.total() * self.rate(self.opened_by(*access, jobs)).pace;
        work + self.access(jobs).iter().map(reach).sum()
    }

    /// Labor and parts of a set of repairs, access with it. Access is the shop's work where a repair behind it is.
    pub fn price(&self, jobs: &Jobs) -> Money {
        self.labor(jobs) + Bill::of(self.laid, jobs).total()
    }

    /// What a set of repairs costs at the least, whatever is added to it: a kit may yet stand for its single parts.
    pub fn floor(&self, jobs: &Jobs) -> Money {
        self.labor(jobs) + Bill::of(self.laid, jobs).unshared()
    }

    fn labor(&self, jobs: &Jobs) -> Money {
        let work: Money =
            jobs.iter().map(|(repair, places)| labor(self.rate(self.by(repair)), self.work(repair, places))).sum();
        let access: Money =
            self.access(jobs).iter().map(|(a, reach)| labor(self.rate(self.opened_by(*a, jobs)), reach.total())).sum();
        work + access
    }

    /// Who opens an access state.
    pub fn opened_by(&self, access: Ix<Access>, jobs: &Jobs) -> By {
        let user = &self.laid.knowledge.users[self.case.user];
        if user.access.as_ref().is_some_and(|allowed| !allowed.contains(&access)) {
            return By::Shop;
        }
        let behind = |(repair, _): &(Ix<Repair>, &[usize])| {
            self.graph.needed(&self.laid.knowledge.repairs[*repair].access).has(access)
        };
        let by_user = jobs.iter().filter(behind).any(|(repair, _)| self.by(repair) == By::User);
        if by_user || jobs.iter().all(|job| !behind(&job)) { By::User } else { By::Shop }
    }

    /// The chance that an aim outlives a set of repairs, given that it is there.
    pub fn outlives(&self, aim: &Aim, jobs: &Jobs) -> f64 {
        let scope = self.laid.knowledge.causes[aim.cause.item].scope;
        jobs.iter()
            .filter(|(repair, places)| repair_reaches(self.laid, *repair, places, scope, aim.cause.at))
            .filter_map(|(repair, _)| {
                let removes = &self.laid.knowledge.repairs[repair].removes;
                removes.iter().find(|(cause, _)| *cause == aim.cause.item).map(|(_, sure)| 1.0 - sure.get())
            })
            .product()
    }

    /// What comebacks are expected to cost.
    pub fn comebacks(&self, aims: &[Aim], jobs: &Jobs) -> Money {
        let outlive: f64 = aims.iter().map(|aim| self.outlives(aim, jobs)).sum();
        self.laid.knowledge.costs.comeback * outlive
    }
}

/// Minutes of the bench at a rate.
pub fn labor(rate: &Rate, bench: Minutes) -> Money {
    (bench * rate.pace).at_rate(rate.hourly)
}

/// The rate of whoever may do everything and takes the fewest minutes; the user's own where nobody may.
fn shop_rate(laid: &Laid<'_>, case: &Case) -> Rate {
    let free = laid.knowledge.users.iter().filter(|(_, user)| user.skill.is_none() && user.access.is_none());
    let free = free.filter(|(_, user)| user.sign_off.is_empty());
    match free.min_by(|(_, a), (_, b)| a.pace.total_cmp(&b.pace)) {
        Some((ix, _)) => Rate::of_user(laid, ix),
        None => Rate::of(laid, case),
    }
}

/// A handful of things as a factor.
#[expect(clippy::cast_precision_loss, reason = "a handful of places")]
pub fn count(n: usize) -> f64 {
    n as f64
}
