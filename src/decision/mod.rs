//! The next step: checks, repairs and handing over compared by expected total cost.
//!
//! The comparison runs on worlds sampled from the posterior ([`simulate`]): in each, what every check would show and
//! what every repair would cure is worked out, and one step of look-ahead over every outcome of every check prices what
//! comes after ([`value`]). Access is shared: what a check opens, a repair behind it need not open again.

mod appraise;
mod candidates;
pub mod cost;
mod deeper;
mod desk;
mod first;
mod follow;
mod last_look;
mod lock;
mod market;
mod minutes;
mod offers;
mod propose;
pub mod search;
pub mod simulate;
pub mod steady;
mod value;

pub use appraise::{Appraised, appraise};
pub use follow::Follow;

use crate::access::AccessGraph;
use crate::belief::Belief;
use crate::case::{Case, Event, Presence};
use crate::inference::{Error, Limits};
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Cause, Check, Ix, Knowledge, Repair, Symptom};
pub use crate::safety::Action;
use crate::safety::{Before, OpenHazard, Safety, Verdict, outcome_of};
use crate::units::{Minutes, Money};
use cost::{Price, Rate};
use desk::{Choice, Desk, Priced, Worth};
use follow::Supposing;
use minutes::GoesOn;
use offers::Gatherer;

/// What one outcome of an action would lead to.
#[derive(Clone, Debug, PartialEq)]
pub struct Branch {
    /// For a check the outcome's position; for a repair 0: the symptom is gone, 1: it is still there.
    pub outcome: usize,
    /// Its chance.
    pub chance: f64,
    /// What would be done next ([`Follow`] says how that is known); `None`: nothing, it is cured.
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
    /// What part of it is getting there, where what comes next may need that too.
    pub opening: Option<Opening>,
    /// Between what the job comes to from here to the end, taking it, where that was searched for.
    pub bounds: Option<Bounds>,
}

/// Getting to where a check is made.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Opening {
    /// Minutes to open what is still shut, and to put it back.
    pub minutes: Minutes,
    /// The chance that what comes next needs some of it open too.
    pub shared: f64,
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
    /// Minutes from here to the end along the course whose cost is expected: of work, and of what must be waited for at
    /// the bench. Handing over ends the clock.
    pub expected_minutes: Minutes,
    /// Between what it costs from here to the end, where that was asked for.
    pub bounds: Option<Bounds>,
    /// Hazards that are open.
    pub hazards: Vec<OpenHazard>,
    /// Money spent so far.
    pub spent: Money,
    /// Minutes spent so far.
    pub spent_minutes: Minutes,
}

/// Between what a job costs from here to the end, over the sampled worlds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bounds {
    /// No way of working comes to less on average.
    pub at_least: Money,
    /// A way of working that begins with the step proposed and can be followed to the letter comes to this.
    pub at_most: Money,
    /// How they were come by.
    pub by: Proof,
}

/// How bounds were come by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Proof {
    /// At least what the cheapest cure costs where one knew at once which it is; at most the step proposed and after it
    /// repairs in a row, without another check.
    Knowing,
    /// By a search through so many states of what may be known.
    Searched(usize),
}

impl Bounds {
    /// What a search found.
    fn searched(between: search::Between, states: usize) -> Self {
        let (at_least, at_most) = (Money::of(between.lower), Money::of(between.upper));
        Self { at_least, at_most, by: Proof::Searched(states) }
    }

    /// By what share the way that is known may be dearer than the best there is, at most.
    #[must_use]
    pub fn within(&self) -> f64 {
        (self.at_most.get() / self.at_least.get().max(1e-9) - 1.0).max(0.0)
    }
}

/// How far it is looked ahead before what comes after is priced by rule of thumb.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LookAhead {
    /// One step, over every outcome.
    One,
    /// Two steps, over every outcome of the most promising.
    Two,
    /// As far as a search comes that opens so many states of what may be known, or until it is as good as sure that
    /// nothing is better.
    Search(usize),
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
    /// How far it is looked ahead.
    pub look_ahead: LookAhead,
    /// Whether bounds on the cost are worked out.
    pub bounds: bool,
    /// How the step after the next is known.
    pub follow: Follow,
    /// Limits of inference.
    pub limits: Limits,
    /// The time now, where it is known: a sniff grows old.
    pub now: Option<jiff::Timestamp>,
}

impl Default for Settings {
    /// Steps chosen on 1024 worlds, priced on 65536, came to .06 % more than the cheapest, and at worst to 1.3 % more; those
    /// chosen on 4096, which take more than twice as long, to .02 % (`cargo bench --bench worlds`, four draws a size).
    fn default() -> Self {
        Self {
            worlds: 1024,
            seed: 1,
            alternatives: 3,
            look_ahead: LookAhead::One,
            bounds: false,
            follow: Follow::Priced,
            limits: Limits::default(),
            now: None,
        }
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
    // What releases an interlock is priced one step ahead only.
    let mut proof = None;
    match settings.look_ahead {
        LookAhead::Two if desk.lock.is_none() => ranked = desk.deeper(ranked),
        LookAhead::Search(states) if desk.lock.is_none() => {
            if let Some(searched) = desk.searched(&gatherer, &ranked, states) {
                proof = Some(Bounds::searched(searched.between, searched.opened));
                ranked = searched.ranked;
            }
        }
        _ => {}
    }
    if let Some(look) = desk.last_look(&ranked) {
        let look = ranked.remove(look);
        ranked.insert(0, look);
    } else if let Some(first) = desk.first_of_about_the_same(&ranked) {
        let first = ranked.remove(first);
        // By as much as they differ the worlds leave open: neither is dearer.
        ranked.insert(0, Priced { total: ranked[0].total, worth: Worth::Its, ..first });
    }
    let also = also(&desk, &ranked);
    let goes_on = GoesOn::of(&desk, &ranked, settings);
    let priced = ranked.remove(0);
    let bounds = settings.bounds.then(|| proof.unwrap_or_else(|| desk.bounds(&priced)));
    let others = other_ways(&desk, &priced, &ranked, settings.alternatives);
    let mut alternatives: Vec<Proposal> = others.into_iter().map(|option| desk.propose(option, priced.total)).collect();
    // A check that loses, and then the same again, is no other way.
    let runner_up = ranked.iter().find(|o| !o.worth.is_losing()).map_or(priced.total, |o| o.total);
    let (lead, wanted, expected_minutes) = match desk.release(&safety, case, &priced) {
        Some((check, wanted)) => {
            let propose = |released| desk.propose(released, priced.total);
            (propose(&check), Some(propose(&wanted)), desk.minutes_to_go(&wanted, &GoesOn::looking(&desk)))
        }
        None => (desk.propose(&priced, runner_up), None, desk.minutes_to_go(&priced, &goes_on)),
    };
    // What would settle a hazard may itself be barred by another, or wait for another to be settled.
    let look =
        |(check, outcome, _): (Ix<Check>, usize, Minutes)| Action::Check(place_to_look(laid, case, check, outcome));
    let at_hand = |close: (Ix<Check>, usize, Minutes)| gatherer.offer(look(close)).ok();
    let urgent =
        safety.urgent(laid, case).find_map(|close| at_hand(close).map(|offer| offer.before.close.unwrap_or(close)));
    // Nothing need be aired for somebody else to go on.
    let urgent = urgent.filter(|_| lead.action != Action::HandOver);
    let (mut next, wanted) = match urgent.or(lead.before.close).filter(|close| at_hand(*close).is_some()) {
        // Where that is what is wanted anyway, it does not stand before itself.
        Some(close) if look(close) == lead.action => (lead, None),
        Some(close @ (_, outcome, air)) => {
            let action = look(close);
            let branches = desk.closing_branches(&action, outcome, &lead.action);
            (closing(&gatherer, action, branches, air, &lead), Some(lead))
        }
        None => (lead, wanted),
    };
    if wanted.is_some() {
        alternatives.retain(|a| a.before.close.is_none() && a.action != next.action);
    }
    if settings.follow == Follow::Asked {
        Supposing { laid, graph, case, settings }.follow(&mut next)?;
    }
    let advice = Advice {
        next,
        wanted,
        alternatives,
        barred: offers.barred,
        expected_minutes,
        bounds,
        hazards: safety.hazards,
        spent: spent.money,
        spent_minutes: spent.minutes,
    };
    Ok((advice, also))
}

/// The runners-up that are other ways to go on, at most so many. To look at something that changes nothing is none, nor is
/// what costs more than it saves and tells of no cause, unless all are asked for; beside handing over what is not worth it
/// comes last; beside a repair the best check is among them.
fn other_ways<'p>(desk: &Desk<'_, '_>, best: &Priced, ranked: &'p [Priced], most: usize) -> Vec<&'p Priced> {
    let ways = ranked.iter().filter(|option| option.worth != Worth::Nothing);
    let (last, first): (Vec<&Priced>, Vec<&Priced>) =
        ways.partition(|option| best.option == Choice::HandOver && option.worth.is_losing());
    let is_check = |option: &&Priced| matches!(option.option, Choice::Check(_));
    let mut ways: Vec<&Priced> = first.into_iter().chain(last).collect();
    let beside_repair = matches!(best.option, Choice::Repair(_));
    if let Some(at) = ways.iter().position(is_check).filter(|at| beside_repair && *at >= most && most > 0) {
        ways.swap(most - 1, at);
    }
    let tells = |option: &&Priced| most == usize::MAX || !option.worth.is_losing() || desk.tells_of_a_cause(option);
    ways.into_iter().filter(tells).take(most).collect()
}

/// The check that closes a hazard, as a step before what is wanted.
fn closing(
    gatherer: &Gatherer<'_, '_>,
    action: Action,
    branches: Vec<Branch>,
    air: Minutes,
    wanted: &Proposal,
) -> Proposal {
    let price = cost::price(gatherer.laid, gatherer.graph, &gatherer.rate, gatherer.open, &action)
        .plus(cost::time(&gatherer.rate, air));
    let put_back = match gatherer.safety.judge(gatherer.laid, gatherer.graph, gatherer.case, gatherer.open, &action) {
        Verdict::May(before) => before.put_back,
        Verdict::Barred { .. } => wanted.before.put_back.clone(),
    };
    Proposal {
        minutes: price.minutes,
        cost: price.money,
        expected_cost: wanted.expected_cost,
        saves: Money::ZERO,
        branches,
        separates: Vec::new(),
        before: Before { put_back, close: None, ticks: Vec::new() },
        opening: None,
        bounds: wanted.bounds,
        action,
    }
}

/// Whether an action may be done now (for a person who asks for another than the proposed).
#[must_use]
pub fn judge(laid: &Laid<'_>, graph: &AccessGraph, case: &Case, action: &Action) -> Verdict {
    let open = graph.open_now(laid, case);
    Safety::of(laid, graph, case).judge(laid, graph, case, &open, action)
}

/// Where a check is made next that closes a hazard by this outcome: of its places one that has not shown it since the last
/// repair, and of those the one that was looked at least often, so that no cylinder is looked into three times while the
/// other is never looked at.
#[must_use]
pub fn place_to_look(laid: &Laid<'_>, case: &Case, check: Ix<Check>, outcome: usize) -> Instance<Check> {
    let since = case.log.iter().rposition(|e| matches!(e.event, Event::Repaired { .. })).map_or(0, |at| at + 1);
    let said_at = |at: usize| {
        case.log[since..].iter().filter_map(move |entry| match &entry.event {
            Event::Answer { check: made, place, answer, .. } if *made == check && place.is_none_or(|p| p == at) => {
                Some(outcome_of(laid, case, check, *answer))
            }
            _ => None,
        })
    };
    let key = |at: usize| (said_at(at).next_back() == Some(Some(outcome)), said_at(at).count(), at);
    let places = laid.instances(check, laid.knowledge.checks[check].scope);
    places.min_by_key(|instance| key(instance.at)).unwrap_or_else(|| Instance::new(check, 0))
}

/// What a step costs from how things stand: minutes with access, and money.
#[must_use]
pub fn step_cost(laid: &Laid<'_>, graph: &AccessGraph, case: &Case, action: &Action) -> (Minutes, Money) {
    let Price { minutes, money } = cost::price(laid, graph, &Rate::of(laid, case), &graph.open_now(laid, case), action);
    (minutes, money)
}

/// The repair to be tried: the last one done that removes anything, where nothing was tried since.
#[must_use]
pub fn untried(knowledge: &Knowledge, case: &Case) -> Option<Ix<Repair>> {
    let mut untried = None;
    for entry in &case.log {
        match entry.event {
            Event::Repaired { repair, .. } if !knowledge.repairs[repair].service => untried = Some(repair),
            Event::Tried { .. } => untried = None,
            _ => {}
        }
    }
    untried
}

/// The symptom that is worked on: of several complaints the first in the order of the knowledge base, which has what
/// keeps a craft from starting before what it does when it runs.
///
/// One is cured after the other, as a shop does it. Only what cures all at once would otherwise count as progress, and
/// two complaints with a cause each would look as if nobody could do anything about either.
#[must_use]
pub fn worked_on(case: &Case) -> Option<Ix<Symptom>> {
    complained_of(case).into_iter().min()
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
