//! Hazards and interlocks: what is open, what is barred, and what must be done first.
//!
//! What is dangerous is data of the knowledge base; that it is obeyed is here. Nothing that this module bars is ever
//! proposed, printed as a step or taken from a person without saying why.

mod action;
mod hazards;
mod interlocks;
mod limits;
mod moment;

pub use action::{Action, Traits};
pub use hazards::Course;
pub use interlocks::{is_about_who, is_set_by};
pub use moment::{answered_so, outcome_of, since_done};

use crate::access::{AccessGraph, OpenSet};
use crate::case::Case;
use crate::knowledge::layout::Laid;
use crate::knowledge::{Ability, Access, Check, Condition, Hazard, Interlock, Ix, Knowledge, Symptom, Tick};
use crate::units::Minutes;
use jiff::Timestamp;

/// An open hazard and why it is open.
#[derive(Clone, Debug, PartialEq)]
pub struct OpenHazard {
    /// Which.
    pub hazard: Ix<Hazard>,
    /// Why, in plain words.
    pub why: String,
    /// Minutes to air before the check that closes it, as things stand.
    pub air: Minutes,
    /// The position of what its closing check said when it opened it so: what must be done to close it goes by that, until
    /// it is closed.
    pub level: Option<usize>,
    /// Whether it stops everything else: it was smelled, seen or not yet looked for, rather than opened by work.
    pub stops: bool,
    /// Whether what closes it was tried twice in vain: then its source must be found before it is tried again.
    pub in_vain: bool,
}

/// What an action asks for before it may be done.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Before {
    /// What must be put back, deepest first.
    pub put_back: Vec<Ix<Access>>,
    /// The check (and the position of its outcome) that must close a hazard, after airing so long.
    pub close: Option<(Ix<Check>, usize, Minutes)>,
    /// What the person must confirm.
    pub ticks: Vec<Ix<Tick>>,
}

impl Before {
    /// Whether nothing but ticks stands before it.
    #[must_use]
    pub fn only_ticks(&self) -> bool {
        self.put_back.is_empty() && self.close.is_none()
    }
}

/// Whether an action may be done.
#[derive(Clone, Debug, PartialEq)]
pub enum Verdict {
    /// It may, once this is done (often nothing).
    May(Before),
    /// It may not, and no step at hand changes that.
    Barred {
        /// The interlock that bars it; `None`: something else does.
        by: Option<Ix<Interlock>>,
        /// Why, in plain words.
        why: String,
    },
}

/// How safe things are at one moment of a case.
#[derive(Clone, Debug)]
pub struct Safety {
    /// Hazards that are open.
    pub hazards: Vec<OpenHazard>,
    /// The answers that closed a hazard which time opens again, and when they were given.
    pub closed_at: Vec<(Ix<Check>, Timestamp)>,
    /// For each interlock held on by something that happened and not yet released, the entry since which it is.
    held: Vec<Option<usize>>,
    /// Ticks that hold, one flag each.
    ticks: Vec<bool>,
    /// What the craft can still do.
    abilities: Vec<Ability>,
}

/// Whether a condition holds at the end of the log.
#[must_use]
pub fn holds(laid: &Laid<'_>, graph: &AccessGraph, case: &Case, condition: &Condition) -> bool {
    let safety = Safety::of(laid, graph, case);
    let open = graph.open_now(laid, case);
    let mut hazards = vec![false; laid.knowledge.hazards.len()];
    for hazard in &safety.hazards {
        hazards[hazard.hazard.at()] = true;
    }
    moment::Moment { laid, case, log: &case.log, open: &open, hazards: &hazards, ticks: &safety.ticks }.holds(condition)
}

/// What is open, deepest first, that would hold open a hazard that this check is to close: a fuel line, or what is behind
/// one. A hatch is shut after the sniff.
fn held_open(knowledge: &Knowledge, graph: &AccessGraph, open: &OpenSet, check: Ix<Check>) -> Vec<Ix<Access>> {
    let closes = |hazard: &&Hazard| hazard.closed_by.iter().any(|closed| closed.answer.0 == check);
    let closed: Vec<&Hazard> = knowledge.hazards.iter().map(|(_, hazard)| hazard).filter(closes).collect();
    let holds = |access: &Ix<Access>| {
        let needed = graph.needed(&[*access]);
        closed.iter().any(|hazard| hazard.opened_by.access.iter().any(|fuel| needed.has(*fuel)))
    };
    graph.order().iter().rev().copied().filter(|access| open.has(*access)).filter(holds).collect()
}

impl Safety {
    /// Reads the log; a sniff holds until something opens fuel.
    #[must_use]
    pub fn of(laid: &Laid<'_>, graph: &AccessGraph, case: &Case) -> Self {
        Self::at(laid, graph, case, None)
    }

    /// Reads the log as at `now`: a sniff and a tick also grow old.
    #[must_use]
    pub fn at(laid: &Laid<'_>, graph: &AccessGraph, case: &Case, now: Option<Timestamp>) -> Self {
        let mut course = Course::new(laid, graph, case);
        for at in 0..case.log.len() {
            course.read(case, at);
        }
        Self::after(laid, &course, case, now)
    }

    /// The same where the log was read already.
    #[must_use]
    pub fn after(laid: &Laid<'_>, course: &Course<'_>, case: &Case, now: Option<Timestamp>) -> Self {
        Self {
            hazards: course.hazards(now),
            closed_at: course.closed_at(),
            held: interlocks::held(laid, &course.open, case),
            ticks: moment::ticks_held(laid, case, now),
            abilities: limits::abilities(laid, case),
        }
    }

    /// What the craft can still do, as far as symptoms and answers tell.
    #[must_use]
    pub fn abilities(&self) -> &[Ability] {
        &self.abilities
    }

    /// Whether a control was confirmed and holds still.
    #[must_use]
    pub fn is_given(&self, tick: Ix<Tick>) -> bool {
        self.ticks[tick.at()]
    }

    /// The checks one of which must come before anything else: what was smelled or seen (or not yet looked for) stops
    /// all work until it is settled. None where nothing does, or where the check was made and did not settle it: then
    /// the search for the leak goes on, with what the hazard bars still barred.
    pub fn urgent<'a>(
        &'a self,
        laid: &'a Laid<'_>,
        case: &'a Case,
    ) -> impl Iterator<Item = (Ix<Check>, usize, Minutes)> + 'a {
        let stops = self.hazards.iter().filter(|h| h.stops && !h.in_vain);
        stops.filter_map(|h| hazards::closing_check(laid, case, h))
    }

    /// The interlocks that forbid to try these symptoms until something is settled: those that something holds on, and those
    /// of a hazard that was to be closed in vain. Until then no repair can show what it did.
    #[must_use]
    pub fn locks(&self, laid: &Laid<'_>, graph: &AccessGraph, symptoms: &[Ix<Symptom>]) -> Vec<Ix<Interlock>> {
        let action = Action::Try(symptoms.to_vec());
        let Some(traits) = action.traits(laid, graph) else { return Vec::new() };
        let bars = |interlock: &Interlock| {
            interlock.bars.turns == Some(traits.turns)
                || (interlock.bars.ignites && traits.ignites)
                || traits.able.iter().any(|ability| interlock.bars.able.contains(ability))
        };
        let is_held =
            |ix: Ix<Interlock>, interlock| self.held[ix.at()].is_some() || self.not_closed(interlock).next().is_some();
        let held = laid.knowledge.interlocks.iter().filter(|(ix, interlock)| is_held(*ix, interlock));
        held.filter(|(_, interlock)| bars(interlock) && !interlocks::is_theirs(interlock, &action))
            .map(|(ix, _)| ix)
            .collect()
    }

    /// The open hazards that hold an interlock on though they were to be closed: a leak, not a step to be done first.
    fn not_closed(&self, interlock: &Interlock) -> impl Iterator<Item = &OpenHazard> {
        self.hazards.iter().filter(|open| open.in_vain && interlocks::is_held_by(interlock, open.hazard))
    }

    /// The entry of the log since which an interlock is held on: what was said before does not release it.
    #[must_use]
    pub fn held_since(&self, ix: Ix<Interlock>) -> Option<usize> {
        self.held[ix.at()]
    }

    /// What must still come about before an interlock that is held on lets go; nothing (an empty conjunction) where it
    /// is not held.
    #[must_use]
    pub fn awaited(&self, laid: &Laid<'_>, graph: &AccessGraph, case: &Case, ix: Ix<Interlock>) -> Condition {
        let interlock = &laid.knowledge.interlocks[ix];
        let (Some(until), Some(from)) = (&interlock.until, self.held[ix.at()]) else {
            let waits = self.not_closed(interlock).map(|open| hazards::waits_for(laid, case, open));
            return Condition::All(waits.collect());
        };
        let open = graph.open_now(laid, case);
        let hazards = vec![false; laid.knowledge.hazards.len()];
        let log = &case.log[from.min(case.log.len())..];
        interlocks::left_of(
            &moment::Moment { laid, case, log, open: &open, hazards: &hazards, ticks: &self.ticks },
            until,
        )
    }

    /// The checks that an interlock waits for and that have not been answered so: what to do where it bars the way.
    #[must_use]
    pub fn releasing(
        &self,
        laid: &Laid<'_>,
        graph: &AccessGraph,
        case: &Case,
        ix: Ix<Interlock>,
    ) -> Vec<(Ix<Check>, Vec<usize>)> {
        interlocks::named(&self.awaited(laid, graph, case, ix))
    }

    /// Whether answers alone could release an interlock that is held on; else a repair must come first.
    #[must_use]
    pub fn waits_for_answers(&self, laid: &Laid<'_>, graph: &AccessGraph, case: &Case, ix: Ix<Interlock>) -> bool {
        interlocks::is_answerable(&self.awaited(laid, graph, case, ix))
    }

    /// Whether an action may be done now, and what must be done first.
    #[must_use]
    pub fn judge(&self, laid: &Laid<'_>, graph: &AccessGraph, case: &Case, open: &OpenSet, action: &Action) -> Verdict {
        let Some(traits) = action.traits(laid, graph) else { return Verdict::May(Before::default()) };
        if let Some(why) = limits::beyond(laid, graph, case, action, &traits, &self.abilities) {
            return Verdict::Barred { by: None, why };
        }
        let tries = matches!(action, Action::Try(_));
        let bare = graph.needed(&traits.access);
        let mut put_back = graph.to_put_back(laid, open, &traits.access);
        if let Action::Check(check) = action {
            put_back.extend(held_open(laid.knowledge, graph, open, check.item));
            let is_in_the_way = |access: &Ix<Access>| put_back.contains(access) && !bare.has(*access);
            put_back = graph.order().iter().rev().copied().filter(is_in_the_way).collect();
        }
        // Only a whole craft is tried.
        let mut after = if tries { graph.shut() } else { graph.after(laid, open, &traits.access) };
        let mut bare = bare;
        if let Action::Check(check) = action {
            let shut = &laid.knowledge.checks[check.item].turns_shut;
            (after, bare) = (graph.without(after, shut), graph.without(bare, shut));
        }
        let as_it_stands = self.interlocked(laid, case, &after, action, &traits, None);
        if let (Ok(ticks), false) = (&as_it_stands, tries) {
            return Verdict::May(Before { put_back, close: None, ticks: ticks.clone() });
        }
        // Everything put back that it does not need, then, if that is not enough, what closes the hazard in the way.
        let put_back: Vec<Ix<Access>> =
            graph.order().iter().rev().copied().filter(|a| open.has(*a) && !bare.has(*a)).collect();
        if let Ok(ticks) = self.interlocked(laid, case, &bare, action, &traits, None) {
            return Verdict::May(Before { put_back, close: None, ticks });
        }
        for hazard in self.hazards.iter().filter(|h| !h.in_vain) {
            if let Ok(ticks) = self.interlocked(laid, case, &bare, action, &traits, Some(hazard.hazard))
                && let Some(close) = hazards::closing_check(laid, case, hazard)
            {
                return Verdict::May(Before { put_back, close: Some(close), ticks });
            }
        }
        let by = as_it_stands.err();
        let why = by.map_or_else(String::new, |ix| laid.knowledge.interlocks[ix].why.clone());
        Verdict::Barred { by, why }
    }

    /// The ticks that interlocks ask for before an action, or the interlock that bars it; `closed` is taken as closed.
    fn interlocked(
        &self,
        laid: &Laid<'_>,
        case: &Case,
        after: &OpenSet,
        action: &Action,
        traits: &Traits,
        closed: Option<Ix<Hazard>>,
    ) -> Result<Vec<Ix<Tick>>, Ix<Interlock>> {
        let mut hazard_flags = vec![false; laid.knowledge.hazards.len()];
        for (ix, hazard) in laid.knowledge.hazards.iter() {
            let open = self.hazards.iter().any(|h| h.hazard == ix) && closed != Some(ix);
            hazard_flags[ix.at()] = open || hazards::opens(hazard, after).is_some();
        }
        let now =
            moment::Moment { laid, case, log: &case.log, open: after, hazards: &hazard_flags, ticks: &self.ticks };
        interlocks::ask(&now, &self.held, action, traits)
    }
}
