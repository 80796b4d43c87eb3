//! Ways to choose the next step, to be compared.

use super::job::Job;
use super::options::{Checks, Offer, Outlook, at_hand, bearing, release};
use crate::belief::{Belief, Memory, believe_unjudged};
use crate::decision::{Action, LookAhead, Settings, advise};
use crate::inference::Error;
use crate::knowledge::layout::Instance;
use crate::knowledge::{Check, Ix, Scope, Task};
use crate::model::draw::Draw;
use crate::safety::{Before, outcome_of};
use std::collections::{BTreeMap, BTreeSet, VecDeque};

/// A way to choose the next step.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Policy {
    /// The advice of this program.
    Ours,
    /// The same, looking two steps ahead.
    OursTwoSteps,
    /// The same, by a search with bounds.
    OursSearch,
    /// No checks: the repair with the best chance for its cost, again and again.
    RepairsOnly,
    /// The cheapest check that tells anything, until a repair is likely enough.
    CheapestCheck,
    /// The check that tells most, until a repair is likely enough.
    MostInformation,
    /// The check that tells most for its cost, until a repair is likely enough.
    InformationPerCost,
    /// The fixed order of the knowledge base.
    Checklist,
    /// Anything that may be done and bears on the complaint.
    Chance,
}

impl Policy {
    /// All, the first the one that others are compared with.
    pub const ALL: [Self; 9] = [
        Self::Ours,
        Self::OursTwoSteps,
        Self::OursSearch,
        Self::Checklist,
        Self::InformationPerCost,
        Self::MostInformation,
        Self::CheapestCheck,
        Self::RepairsOnly,
        Self::Chance,
    ];

    /// Its name on the command line and in rows.
    #[must_use]
    pub fn id(self) -> &'static str {
        match self {
            Self::Ours => "ours",
            Self::OursTwoSteps => "ours-two-steps",
            Self::OursSearch => "ours-search",
            Self::RepairsOnly => "repairs-only",
            Self::CheapestCheck => "cheapest-check",
            Self::MostInformation => "most-information",
            Self::InformationPerCost => "information-per-cost",
            Self::Checklist => "checklist",
            Self::Chance => "chance",
        }
    }
}

/// A policy at work on one job.
pub struct Player {
    policy: Policy,
    list: List,
    draw: Draw,
    /// What the advice need not work out again from step to step.
    memory: Memory,
}

/// What a policy chose, and what was believed where it was the advice that chose.
pub struct Choice {
    /// The step.
    pub action: Action,
    /// What the policy itself says must be done first.
    pub before: Before,
    /// The belief it comes from.
    pub belief: Option<Belief>,
}

/// From this chance of a cure on the policies that look first repair: a shop's habit (carburetors come off at two in
/// three), no published source.
const SURE_ENOUGH: f64 = 0.65;
/// A check that tells less, in bits summed over all causes, tells nothing.
const TELLS_NOTHING: f64 = 0.01;
/// How many states a search opens that is not told.
const STATES: usize = 100;
/// How many runners-up are looked at where the advice was refused.
const RUNNERS_UP: usize = 20;

impl Player {
    /// A policy at the start of a job.
    #[must_use]
    pub fn new(policy: Policy, job: &Job<'_, '_>) -> Self {
        Self { policy, list: List::of(job), draw: Draw::new(job.truth.seed(), 5 << 32), memory: Memory::default() }
    }

    /// The next step; `refused` are steps wished for and barred since the last one done.
    ///
    /// # Errors
    /// Where the network is too wide for the limits.
    pub fn choose(
        &mut self,
        job: &Job<'_, '_>,
        refused: &BTreeSet<Action>,
        settings: &Settings,
    ) -> Result<Choice, Error> {
        let free = |action: Action| Choice { action, before: Before::default(), belief: None };
        if !matches!(self.policy, Policy::Ours | Policy::OursTwoSteps | Policy::OursSearch)
            && let Some(action) = release(job).filter(|action| !refused.contains(action))
        {
            self.list.made_by_itself(&action, job);
            return Ok(free(action));
        }
        Ok(match self.policy {
            Policy::Ours => return ours(job, refused, settings, &mut self.memory),
            Policy::OursTwoSteps => {
                return ours(
                    job,
                    refused,
                    &Settings { look_ahead: LookAhead::Two, ..settings.clone() },
                    &mut self.memory,
                );
            }
            Policy::OursSearch => {
                let look_ahead = match settings.look_ahead {
                    LookAhead::Search(states) => LookAhead::Search(states),
                    LookAhead::One | LookAhead::Two => LookAhead::Search(STATES),
                };
                return ours(job, refused, &Settings { look_ahead, ..settings.clone() }, &mut self.memory);
            }
            Policy::Checklist => free(self.list.next(job)),
            Policy::Chance => free(self.anything(job, refused)),
            Policy::RepairsOnly => {
                let mut outlook = Outlook::of(job, &settings.limits, Checks::LeftOut, &mut self.memory)?;
                outlook.repairs.retain(|(offer, _)| !refused.contains(&offer.action));
                free(best_repair(job, &outlook.repairs))
            }
            Policy::CheapestCheck | Policy::MostInformation | Policy::InformationPerCost => {
                let mut outlook = Outlook::of(job, &settings.limits, Checks::Weighed, &mut self.memory)?;
                outlook.repairs.retain(|(offer, _)| !refused.contains(&offer.action));
                outlook.checks.retain(|(offer, bits)| *bits >= TELLS_NOTHING && !refused.contains(&offer.action));
                free(self.look_or_repair(job, &outlook))
            }
        })
    }

    /// The repair that is likely enough to cure, the cheapest of about equals; else a check; else the best repair.
    fn look_or_repair(&self, job: &Job<'_, '_>, outlook: &Outlook) -> Action {
        let surest = outlook.repairs.iter().map(|(_, cures)| *cures).fold(0.0, f64::max);
        if surest >= SURE_ENOUGH {
            let near = outlook.repairs.iter().filter(|(_, cures)| *cures >= 0.9 * surest);
            let cheapest = near.min_by(|a, b| a.0.price.total_cmp(&b.0.price));
            return cheapest.map_or(Action::HandOver, |(offer, _)| offer.action.clone());
        }
        let merit = |offer: &Offer, bits: f64| match self.policy {
            Policy::CheapestCheck => -offer.price,
            Policy::InformationPerCost => bits / offer.price,
            _ => bits,
        };
        let best = outlook.checks.iter().min_by(|a, b| merit(&b.0, b.1).total_cmp(&merit(&a.0, a.1)));
        best.map_or_else(|| best_repair(job, &outlook.repairs), |(offer, _)| offer.action.clone())
    }

    /// A check or a repair at random, until it has cost as much as handing over would.
    fn anything(&mut self, job: &Job<'_, '_>, refused: &BTreeSet<Action>) -> Action {
        if job.money >= job.rate().hand_over {
            return Action::HandOver;
        }
        let offers = at_hand(job);
        let checks = offers.iter().filter(|offer| matches!(offer.action, Action::Check(_)));
        let among: Vec<&Offer> =
            if self.draw.happens(0.5) { checks.collect() } else { bearing(job, &offers).collect() };
        let among: Vec<&Offer> = among.into_iter().filter(|offer| !refused.contains(&offer.action)).collect();
        if among.is_empty() { Action::HandOver } else { among[self.draw.below(among.len())].action.clone() }
    }
}

/// The repair with the best chance for its cost; handing over where none is worth its price.
fn best_repair(job: &Job<'_, '_>, repairs: &[(Offer, f64)]) -> Action {
    let hand_over = job.rate().hand_over.get();
    let worth = repairs.iter().filter(|(offer, cures)| cures * hand_over > offer.price);
    let best = worth.min_by(|a, b| (b.1 / b.0.price).total_cmp(&(a.1 / a.0.price)));
    best.map_or(Action::HandOver, |(offer, _)| offer.action.clone())
}

/// The advice. Where what it proposes was refused, the best of its runners-up that was not.
fn ours(
    job: &Job<'_, '_>,
    refused: &BTreeSet<Action>,
    settings: &Settings,
    memory: &mut Memory,
) -> Result<Choice, Error> {
    let belief = believe_unjudged(job.laid, &job.case, &settings.limits, memory)?;
    let alternatives = if refused.is_empty() { 0 } else { RUNNERS_UP };
    let settings = Settings { alternatives, ..settings.clone() };
    let advice = advise(job.laid, job.graph, &job.case, &belief, &settings)?;
    let mut all = std::iter::once(&advice.next).chain(&advice.wanted).chain(&advice.alternatives);
    let free = all.find(|proposal| !refused.contains(&proposal.action));
    let (action, before) = free.map_or((Action::HandOver, Before::default()), |p| (p.action.clone(), p.before.clone()));
    Ok(Choice { action, before, belief: Some(belief) })
}

/// The checklist at work: what is still to be done, the next first.
struct List {
    todo: VecDeque<Todo>,
    /// What the check now being made place by place has led to so far.
    led_to: Vec<Todo>,
    made: BTreeSet<Instance<Check>>,
    /// How often each repair was done at its places.
    repaired: BTreeMap<(usize, Vec<usize>), usize>,
    /// The check made last, whose finding is still to be read.
    last: Option<Instance<Check>>,
}

/// One thing to do.
#[derive(Clone, Debug)]
enum Todo {
    /// A check or repair, wherever it is or where something was seen.
    Task(Task, Option<(Scope, usize)>),
    /// A check at one place.
    Look(Instance<Check>),
}

impl List {
    fn of(job: &Job<'_, '_>) -> Self {
        let checklist = &job.laid.knowledge.checklist;
        let orders = job.case.symptoms.iter().flat_map(|symptom| checklist.order(*symptom));
        Self {
            todo: orders.map(|task| Todo::Task(*task, None)).collect(),
            led_to: Vec::new(),
            made: BTreeSet::new(),
            repaired: BTreeMap::new(),
            last: None,
        }
    }

    /// A check that was made out of turn; what it finds counts.
    fn made_by_itself(&mut self, action: &Action, job: &Job<'_, '_>) {
        self.read_finding(job);
        if let Action::Check(check) = action {
            self.made.insert(*check);
            self.last = Some(*check);
        }
    }

    /// The next step of the list that was not done; handing over at its end.
    fn next(&mut self, job: &Job<'_, '_>) -> Action {
        self.read_finding(job);
        loop {
            let Some(next) = self.todo.pop_front() else { return Action::HandOver };
            match next {
                Todo::Look(check) => {
                    if self.made.insert(check) {
                        self.last = Some(check);
                        return Action::Check(check);
                    }
                }
                Todo::Task(Task::Check(ix), _) => {
                    if job.laid.fits(&job.laid.knowledge.checks[ix].fitted) {
                        let scope = job.laid.knowledge.checks[ix].scope;
                        let places: Vec<_> = job.laid.instances(ix, scope).collect();
                        places.into_iter().rev().for_each(|check| self.todo.push_front(Todo::Look(check)));
                    }
                }
                Todo::Task(Task::Repair(ix), seen) => {
                    let repair = &job.laid.knowledge.repairs[ix];
                    let everywhere: Vec<usize> = (0..job.laid.places(repair.scope)).collect();
                    let places = match seen {
                        Some((scope, at)) if !repair.together => job.laid.bearing(repair.scope, scope, at),
                        _ => everywhere,
                    };
                    // What is found again is repaired once more. What cannot be tried is repaired on a finding only.
                    let most = if seen.is_some() { 2 } else { 1 };
                    let blind = seen.is_none() && job.is_locked();
                    let done = self.repaired.entry((ix.at(), places.clone())).or_default();
                    if job.laid.fits(&repair.fitted) && *done < most && !blind {
                        *done += 1;
                        return Action::Repair(ix, places);
                    }
                }
            }
        }
    }

    /// What the last check found leads on, once it is made at all its places.
    fn read_finding(&mut self, job: &Job<'_, '_>) {
        if let Some(check) = self.last.take() {
            let tasks = finding(job, check.item, check.at);
            let scope = job.laid.knowledge.checks[check.item].scope;
            self.led_to.extend(tasks.iter().map(|task| Todo::Task(*task, Some((scope, check.at)))));
            let more = matches!(self.todo.front(), Some(Todo::Look(next)) if next.item == check.item);
            if more {
                return;
            }
        }
        while let Some(task) = self.led_to.pop() {
            self.todo.push_front(task);
        }
    }
}

/// What the last answer to a check at a place leads to.
fn finding<'k>(job: &Job<'_, 'k>, check: Ix<Check>, at: usize) -> &'k [Task] {
    let said = job.case.log.iter().rev().find_map(|entry| match entry.event {
        crate::case::Event::Answer { check: c, place, answer, .. } if c == check && place == Some(at) => Some(answer),
        _ => None,
    });
    let outcome = said.and_then(|answer| outcome_of(job.laid, &job.case, check, answer));
    outcome.map_or(&[], |outcome| job.laid.knowledge.checklist.found(check, outcome))
}
