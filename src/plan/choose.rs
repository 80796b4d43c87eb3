//! Which repairs remove the causes a plan goes for, at the least expected cost.

use super::cost::Context;
use super::goals::Aim;
use super::{PlanError, Why, words};
use crate::knowledge::layout::Instance;
use crate::knowledge::{Cause, Ix, Repair};
use crate::model::compile::repair_reaches;
use crate::safety::answered_so;
use crate::units::{Minutes, Money};
use std::collections::BTreeMap;

/// How many sets of repairs are priced before the search takes the best so far: the search over eight causes with three
/// repairs each has 6561 ends.
const SETS: usize = 50_000;

/// A cause this likely is worth removing where what is open already reaches it.
const WHILE_OPEN: f64 = 0.25;

/// The share of a return visit that removing it may cost.
const OF_A_RETURN: f64 = 0.25;

/// Repairs and the places each is done at.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Jobs(BTreeMap<Ix<Repair>, Vec<usize>>);

impl Jobs {
    /// All, in the order of the knowledge base.
    pub fn iter(&self) -> impl Iterator<Item = (Ix<Repair>, &[usize])> {
        self.0.iter().map(|(repair, places)| (*repair, places.as_slice()))
    }

    /// Whether a repair is among them, anywhere.
    #[must_use]
    pub fn has(&self, repair: Ix<Repair>) -> bool {
        self.0.contains_key(&repair)
    }

    /// Adds a repair at these places. Returns whether that adds anything.
    pub fn add(&mut self, repair: Ix<Repair>, places: &[usize]) -> bool {
        let at = self.0.entry(repair).or_default();
        let before = at.len();
        at.extend(places);
        at.sort_unstable();
        at.dedup();
        at.len() > before || before == 0
    }
}

/// What was chosen.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Choice {
    /// The repairs.
    pub jobs: Jobs,
    /// Why a repair is in that removes nothing the plan goes for, or that a rule asks for.
    pub because: BTreeMap<Ix<Repair>, Vec<String>>,
    /// Causes removed because what is open reaches them.
    pub companions: Vec<Aim>,
    /// Causes that no repair removes.
    pub not_cured: Vec<Aim>,
    /// Repairs worth offering, with what each adds.
    pub offers: Vec<(Ix<Repair>, Minutes, Money)>,
    /// For repairs chosen, the best way without.
    pub other_ways: Vec<Without>,
}

/// The best way to remove what a plan goes for without one of its repairs.
#[derive(Clone, Debug, PartialEq)]
pub struct Without {
    /// The repair it does without.
    pub repair: Ix<Repair>,
    /// What it does that the plan does not.
    pub instead: Vec<Ix<Repair>>,
    /// Minutes it takes more; below zero: less.
    pub minutes: Minutes,
    /// What it costs more, comebacks with it.
    pub cost: Money,
}

/// Chooses the repairs.
pub fn choose(context: &Context<'_>, aims: &[Aim]) -> Result<Choice, PlanError> {
    let (curable, not_cured): (Vec<Aim>, Vec<Aim>) = aims.iter().partition(|aim| !candidates(context, aim).is_empty());
    if curable.is_empty() {
        let causes = not_cured.iter().map(|aim| format!("`{}`", words::cause(context.laid, aim.cause).id)).collect();
        return Err(PlanError::NoRepair { causes });
    }
    let best = best(context, &curable, None).expect("every aim has a repair, so some set removes them all");
    let other_ways = other_ways(context, &curable, &best);
    let (_, mut jobs) = best;
    let companions = companions(context, &curable, &mut jobs);
    let because = close(context, &mut jobs);
    let offers = offers(context, &jobs);
    Ok(Choice { jobs, because, companions, not_cured, offers, other_ways })
}

/// The cheapest set that removes every aim, without one repair where that is asked. An aim that no other repair removes is
/// left out then.
fn best(context: &Context<'_>, aims: &[Aim], without: Option<Ix<Repair>>) -> Option<(Money, Jobs)> {
    let mut search = Search { context, aims, without, best: None, sets: 0 };
    search.from(&Jobs::default());
    search.best
}

/// For each repair chosen the best way without, where it costs no more than a return visit on top: parts may be out of
/// stock, and an owner may rather pay for hours than for parts.
fn other_ways(context: &Context<'_>, aims: &[Aim], (price, chosen): &(Money, Jobs)) -> Vec<Without> {
    let closed = |jobs: &Jobs| {
        let mut all = jobs.clone();
        close(context, &mut all);
        all
    };
    let way = |repair: Ix<Repair>| {
        let (other_price, other) = best(context, aims, Some(repair))?;
        let (plan, other) = (closed(chosen), closed(&other));
        // What a rule asks for is no choice, and what leaves a cause there is no other way.
        let leaves = |aim: &Aim| {
            !removes(context, &other, aim.cause) && context.outlives(aim, &other) > context.outlives(aim, &plan)
        };
        if other.has(repair) || aims.iter().any(leaves) {
            return None;
        }
        let instead: Vec<Ix<Repair>> = other.iter().map(|(r, _)| r).filter(|r| !plan.has(*r)).collect();
        let cost = other_price - *price;
        (!instead.is_empty() && cost < context.laid.knowledge.costs.comeback).then(|| Without {
            repair,
            instead,
            minutes: context.minutes(&other) - context.minutes(&plan),
            cost,
        })
    };
    chosen.iter().filter_map(|(repair, _)| way(repair)).collect()
}

/// The repairs that remove a cause instance, each with the places it must be done at. Who asks for the cause by its name has
/// seen what a repair waits for.
fn candidates(context: &Context<'_>, aim: &Aim) -> Vec<(Ix<Repair>, Vec<usize>)> {
    let (laid, cause) = (context.laid, aim.cause);
    let scope = laid.knowledge.causes[cause.item].scope;
    laid.knowledge
        .repairs
        .iter()
        .filter(|(_, repair)| !repair.service && laid.fits(&repair.fitted))
        .filter(|(_, repair)| repair.is_for(&laid.knowledge.users[context.case.user]))
        .filter(|(ix, repair)| aim.why == Why::Named || answered_so(laid, context.case, &repair.after, Some(*ix)))
        .filter(|(_, repair)| repair.removes.iter().any(|(removes, sure)| *removes == cause.item && sure.get() > 0.0))
        .map(|(ix, repair)| {
            let places = if repair.together {
                (0..laid.places(repair.scope)).collect()
            } else {
                laid.bearing(repair.scope, scope, cause.at)
            };
            (ix, places)
        })
        .collect()
}

/// Whether a set of repairs removes a cause instance, more surely than a shot in the dark.
fn removes(context: &Context<'_>, jobs: &Jobs, cause: Instance<Cause>) -> bool {
    context.outlives(&Aim { cause, chance: 1.0, why: Why::Named }, jobs) < 0.5
}

/// Depth-first with a bound: what the repairs chosen so far cost at the least never falls as more are added.
struct Search<'a> {
    context: &'a Context<'a>,
    aims: &'a [Aim],
    without: Option<Ix<Repair>>,
    best: Option<(Money, Jobs)>,
    sets: usize,
}

impl Search<'_> {
    fn from(&mut self, chosen: &Jobs) {
        if self.sets >= SETS && self.best.is_some() {
            return;
        }
        self.sets += 1;
        let mut all = chosen.clone();
        close(self.context, &mut all);
        if self.best.as_ref().is_some_and(|(best, _)| self.context.floor(&at_least(self.context, &all)) >= *best) {
            return;
        }
        let open = self.aims.iter().find(|aim| !self.handled(&all, aim));
        let Some(open) = open else {
            let total = self.context.price(&all) + self.context.comebacks(self.aims, &all);
            if self.best.as_ref().is_none_or(|(best, _)| total < *best) {
                self.best = Some((total, chosen.clone()));
            }
            return;
        };
        let mut next: Vec<(Money, Jobs)> = self
            .candidates(open)
            .into_iter()
            .filter_map(|(repair, places)| {
                let mut with = chosen.clone();
                // One long shot taken, the next is another.
                if !with.add(repair, &places) {
                    return None;
                }
                let mut all = with.clone();
                close(self.context, &mut all);
                Some((self.context.price(&all) + self.context.comebacks(&[*open], &all), with))
            })
            .collect();
        next.sort_by(|a, b| a.0.get().total_cmp(&b.0.get()));
        for (_, with) in next {
            self.from(&with);
        }
    }

    fn candidates(&self, aim: &Aim) -> Vec<(Ix<Repair>, Vec<usize>)> {
        let mut all = candidates(self.context, aim);
        all.retain(|(repair, _)| Some(*repair) != self.without);
        all
    }

    /// Whether a cause is removed; where only long shots remove it, whether one of them is taken.
    fn handled(&self, jobs: &Jobs, aim: &Aim) -> bool {
        let cause = aim.cause;
        if removes(self.context, jobs, cause) {
            return true;
        }
        let scope = self.context.laid.knowledge.causes[cause.item].scope;
        self.candidates(aim).iter().all(|(repair, places)| {
            jobs.iter().any(|(r, at)| {
                r == *repair
                    && repair_reaches(self.context.laid, r, at, scope, cause.at)
                    && places.iter().all(|p| at.contains(p))
            })
        })
    }
}

/// Adds what must go with a set of repairs: another repair where a cause would undo the first, and what rules ask for.
/// Returns why, by repair.
fn close(context: &Context<'_>, jobs: &mut Jobs) -> BTreeMap<Ix<Repair>, Vec<String>> {
    let mut because: BTreeMap<Ix<Repair>, Vec<String>> = BTreeMap::new();
    loop {
        let before = jobs.clone();
        for (needed, why) in wanted_with(context, &before) {
            add_by_rule(context, jobs, needed);
            let reasons = because.entry(needed).or_default();
            if !reasons.contains(&why) {
                reasons.push(why);
            }
        }
        if *jobs == before {
            break;
        }
    }
    let replaced = replaced(context, jobs);
    jobs.0.retain(|repair, _| !replaced.contains(repair));
    because.retain(|repair, _| !replaced.contains(repair));
    because
}

/// The service steps that another job of a set stands in for.
fn replaced(context: &Context<'_>, jobs: &Jobs) -> Vec<Ix<Repair>> {
    let repairs = &context.laid.knowledge.repairs;
    let in_place = jobs.iter().flat_map(|(ix, _)| &repairs[ix].in_place_of).copied();
    in_place.filter(|ix| repairs[*ix].service).collect()
}

/// A set without the service steps that any repair could stand in for: what it holds at the least, whatever is added.
fn at_least(context: &Context<'_>, jobs: &Jobs) -> Jobs {
    let repairs = &context.laid.knowledge.repairs;
    let may_go = |ix: &Ix<Repair>| repairs[*ix].service && repairs.iter().any(|(_, r)| r.in_place_of.contains(ix));
    Jobs(jobs.0.iter().filter(|(ix, _)| !may_go(ix)).map(|(ix, places)| (*ix, places.clone())).collect())
}

/// The repairs that a set asks for, and why.
fn wanted_with(context: &Context<'_>, jobs: &Jobs) -> Vec<(Ix<Repair>, String)> {
    let knowledge = context.laid.knowledge;
    let mut wanted = Vec::new();
    for (repair, _) in jobs.iter() {
        for (cause, over, unless) in &knowledge.repairs[repair].not_with {
            if context.chance_anywhere(*cause) > over.get() {
                let why = format!("{}: it would undo the repair.", knowledge.causes[*cause].title);
                wanted.push((*unless, why));
            }
        }
    }
    for (ix, rule) in knowledge.plan_rules.iter() {
        if context.rules[ix.at()] && rule.with.is_none_or(|with| jobs.has(with)) {
            wanted.extend(rule.add.iter().map(|add| (*add, rule.why.clone())));
        }
    }
    wanted.retain(|(repair, _)| context.laid.fits(&knowledge.repairs[*repair].fitted));
    wanted
}

/// Adds a repair that a rule asks for: where the causes it removes are likelier than not, else everywhere.
fn add_by_rule(context: &Context<'_>, jobs: &mut Jobs, repair: Ix<Repair>) {
    if jobs.has(repair) {
        return;
    }
    let laid = context.laid;
    let item = &laid.knowledge.repairs[repair];
    let all: Vec<usize> = (0..laid.places(item.scope)).collect();
    let mut places: Vec<usize> = Vec::new();
    if !item.together {
        for belief in context.causes.iter().filter(|belief| belief.chance >= super::goals::LIKELY) {
            if item.removes.iter().any(|(cause, _)| *cause == belief.cause.item) {
                let scope = laid.knowledge.causes[belief.cause.item].scope;
                places.extend(laid.bearing(item.scope, scope, belief.cause.at));
            }
        }
    }
    jobs.add(repair, if places.is_empty() { &all } else { &places });
}

/// Adds repairs for causes that are likely enough and that what is open already reaches, where that costs less than a
/// quarter of coming back for them.
fn companions(context: &Context<'_>, aims: &[Aim], jobs: &mut Jobs) -> Vec<Aim> {
    let mut added = Vec::new();
    let likely = context.causes.iter().filter(|belief| belief.chance >= WHILE_OPEN);
    for belief in likely.filter(|belief| aims.iter().all(|aim| aim.cause != belief.cause)) {
        let aim = Aim { cause: belief.cause, chance: belief.chance, why: Why::WhileOpen };
        let mut all = jobs.clone();
        close(context, &mut all);
        if removes(context, &all, aim.cause) {
            continue;
        }
        if let Some(with) = cheapest_reached(context, jobs, &all, &aim) {
            *jobs = with;
            added.push(aim);
        }
    }
    added
}

fn cheapest_reached(context: &Context<'_>, jobs: &Jobs, all: &Jobs, aim: &Aim) -> Option<Jobs> {
    let open: Vec<_> = context.access(all).into_iter().map(|(access, _)| access).collect();
    let price = context.price(all);
    let mut best: Option<(Money, Jobs)> = None;
    for (repair, places) in candidates(context, aim) {
        let needed = context.graph.needed(&context.laid.knowledge.repairs[repair].access);
        if needed.iter().any(|access| !open.contains(&access)) {
            continue;
        }
        let mut with = jobs.clone();
        with.add(repair, &places);
        let mut with_all = with.clone();
        close(context, &mut with_all);
        let adds = context.price(&with_all) - price;
        let mut alone = Jobs::default();
        alone.add(repair, &places);
        let return_visit = context.laid.knowledge.costs.comeback + context.price(&alone);
        if adds < return_visit * OF_A_RETURN && best.as_ref().is_none_or(|(least, _)| adds < *least) {
            best = Some((adds, with));
        }
    }
    best.map(|(_, with)| with)
}

/// The repairs worth offering while there, and what each would add.
fn offers(context: &Context<'_>, jobs: &Jobs) -> Vec<(Ix<Repair>, Minutes, Money)> {
    let knowledge = context.laid.knowledge;
    let mut offers: Vec<(Ix<Repair>, Minutes, Money)> = Vec::new();
    for (repair, _) in jobs.iter() {
        for &offered in &knowledge.repairs[repair].while_there {
            let item = &knowledge.repairs[offered];
            if jobs.has(offered) || offers.iter().any(|(ix, ..)| *ix == offered) || !context.laid.fits(&item.fitted) {
                continue;
            }
            let mut with = jobs.clone();
            with.add(offered, &(0..context.laid.places(item.scope)).collect::<Vec<_>>());
            offers.push((
                offered,
                context.minutes(&with) - context.minutes(jobs),
                context.price(&with) - context.price(jobs),
            ));
        }
    }
    offers
}
