//! What an interlock forbids and a trainee does all the same.

use crate::access::AccessGraph;
use crate::case::{Case, Event, Position};
use crate::decision::Action;
use crate::knowledge::layout::Laid;
use crate::knowledge::{Condition, Hazard, Interlock, Ix, Tick};
use crate::safety::{Before, Safety, Verdict};
use crate::units::Minutes;
use std::collections::BTreeSet;

/// What is done before a step by whoever takes it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Ready {
    /// Whether all that the step does not need is put back first.
    pub put_back: bool,
    /// What is confirmed.
    pub ticks: BTreeSet<Ix<Tick>>,
    /// How long the craft is aired before a check.
    pub air: Minutes,
}

/// A step that an interlock forbids.
#[derive(Clone, Debug, PartialEq)]
pub struct Breach {
    /// The interlock, where one could be told.
    pub interlock: Option<Ix<Interlock>>,
    /// What could have hurt.
    pub hazards: Vec<Ix<Hazard>>,
    /// Why it is forbidden, in plain words.
    pub why: String,
}

/// Whether a step can be done at all, and whether it may.
#[derive(Clone, Debug, PartialEq)]
pub enum Standing {
    /// It may: what is put back and confirmed for it.
    May(Before),
    /// It may not; whoever does it all the same ends the drill.
    Forbidden(Breach),
    /// It cannot be done: the craft, the tools or the user are not up to it.
    CanNot(String),
}

/// How a step stands with what was made ready for it.
#[must_use]
pub fn judge(laid: &Laid<'_>, graph: &AccessGraph, case: &Case, action: &Action, ready: &Ready) -> Standing {
    let open = graph.open_now(laid, case);
    let Some(traits) = action.traits(laid, graph) else { return Standing::May(Before::default()) };
    let mut put_back = graph.to_put_back(laid, &open, &traits.access);
    if ready.put_back {
        let needed = graph.needed(&traits.access);
        put_back = graph.order().iter().rev().copied().filter(|a| open.has(*a) && !needed.has(*a)).collect();
    }
    let ticks: Vec<Ix<Tick>> = ready.ticks.iter().copied().collect();
    let mut then = case.clone();
    then.log.extend(put_back.iter().map(|&access| Event::Access { access, now: Position::Shut }.into()));
    then.log.extend(ticks.iter().map(|&tick| Event::Ticked(tick).into()));
    let open = graph.open_now(laid, &then);
    let safety = Safety::of(laid, graph, &then);
    let physical = graph.to_put_back(laid, &open, &traits.access);
    match safety.judge(laid, graph, &then, &open, action) {
        Verdict::Barred { by: None, why } => Standing::CanNot(why),
        Verdict::Barred { by: Some(ix), .. } => Standing::Forbidden(by_interlock(laid, ix)),
        Verdict::May(before) => {
            let asked: Vec<Ix<Tick>> = before.ticks.iter().copied().filter(|t| !ready.ticks.contains(t)).collect();
            if let Some((check, ..)) = before.close {
                let open: Vec<Ix<Hazard>> = safety.hazards.iter().map(|h| h.hazard).collect();
                let closes =
                    |ix: &Ix<Hazard>| laid.knowledge.hazards[*ix].closed_by.iter().any(|by| by.answer.0 == check);
                return Standing::Forbidden(by_hazard(laid, open.into_iter().find(closes)));
            }
            if let Some(shut) = before.put_back.iter().find(|access| !physical.contains(access)) {
                let on_it = |when: &Condition| names(when, &|c| matches!(c, Condition::Open(a) if a == shut));
                let lock = laid.knowledge.interlocks.iter().find(|(_, i)| i.when.as_ref().is_some_and(&on_it));
                let opened = laid.knowledge.hazards.iter().find(|(_, h)| h.opened_by.access.contains(shut));
                return Standing::Forbidden(match (lock, opened) {
                    (_, Some((hazard, _))) => by_hazard(laid, Some(hazard)),
                    (Some((ix, _)), None) => by_interlock(laid, ix),
                    (None, None) => by_hazard(laid, safety.hazards.first().map(|h| h.hazard)),
                });
            }
            if let Some(tick) = asked.first() {
                return Standing::Forbidden(by_tick(laid, *tick));
            }
            Standing::May(Before { put_back, close: None, ticks })
        }
    }
}

/// What must be made ready for a step; `None` where a hazard must be closed by a check first, or it may not be done.
#[must_use]
pub fn make_ready(laid: &Laid<'_>, graph: &AccessGraph, case: &Case, action: &Action, air: Minutes) -> Option<Ready> {
    let open = graph.open_now(laid, case);
    let safety = Safety::of(laid, graph, case);
    let Verdict::May(before) = safety.judge(laid, graph, case, &open, action) else { return None };
    let mut ready = Ready { put_back: false, ticks: before.ticks.iter().copied().collect(), air };
    if matches!(judge(laid, graph, case, action, &ready), Standing::May(_)) {
        return Some(ready);
    }
    ready.put_back = true;
    // What is put back takes ticks with it: those of before are asked for again.
    let mut shut = case.clone();
    shut.log.extend(before.put_back.iter().map(|&access| Event::Access { access, now: Position::Shut }.into()));
    let open = graph.open_now(laid, &shut);
    if let Verdict::May(again) = Safety::of(laid, graph, &shut).judge(laid, graph, &shut, &open, action) {
        ready.ticks.extend(again.ticks);
    }
    matches!(judge(laid, graph, case, action, &ready), Standing::May(_)).then_some(ready)
}

/// The ticks that any interlock asks for: what a trainee can see to before a step.
#[must_use]
pub fn controls(laid: &Laid<'_>) -> Vec<Ix<Tick>> {
    let mut ticks = BTreeSet::new();
    for (_, interlock) in laid.knowledge.interlocks.iter() {
        ticks.extend(interlock.except.iter().flat_map(|except| except.ticks.iter().copied()));
        if let Some(when) = &interlock.when {
            each(when, &mut |part| {
                if let Condition::Missing(tick) = part {
                    ticks.insert(*tick);
                }
            });
        }
    }
    ticks.into_iter().collect()
}

fn by_interlock(laid: &Laid<'_>, ix: Ix<Interlock>) -> Breach {
    let interlock = &laid.knowledge.interlocks[ix];
    let mut hazards = BTreeSet::new();
    if let Some(when) = &interlock.when {
        each(when, &mut |part| match part {
            Condition::Hazard(hazard) => {
                hazards.insert(*hazard);
            }
            Condition::Open(access) => hazards.extend(
                laid.knowledge.hazards.iter().filter(|(_, h)| h.opened_by.access.contains(access)).map(|(ix, _)| ix),
            ),
            Condition::Answered(check, outcomes) => {
                let by = |h: &Hazard| {
                    h.opened_by.answers.iter().any(|(c, o)| c == check && o.iter().any(|o| outcomes.contains(o)))
                };
                hazards.extend(laid.knowledge.hazards.iter().filter(|(_, h)| by(h)).map(|(ix, _)| ix));
            }
            Condition::Missing(tick) => hazards.extend(of_tick(laid, *tick)),
            _ => {}
        });
    }
    Breach { interlock: Some(ix), hazards: hazards.into_iter().collect(), why: interlock.why.clone() }
}

fn by_hazard(laid: &Laid<'_>, hazard: Option<Ix<Hazard>>) -> Breach {
    let on_it = |when: &Condition| names(when, &|c| matches!(c, Condition::Hazard(h) if Some(*h) == hazard));
    let lock = laid.knowledge.interlocks.iter().find(|(_, i)| i.when.as_ref().is_some_and(&on_it));
    Breach {
        interlock: lock.map(|(ix, _)| ix),
        hazards: hazard.into_iter().collect(),
        why: lock.map(|(_, interlock)| interlock.why.clone()).unwrap_or_default(),
    }
}

fn by_tick(laid: &Laid<'_>, tick: Ix<Tick>) -> Breach {
    let locks = || laid.knowledge.interlocks.iter();
    let missing = |interlock: &Interlock| {
        let on_it = |when: &Condition| names(when, &|c| matches!(c, Condition::Missing(t) if *t == tick));
        interlock.when.as_ref().is_some_and(on_it)
    };
    let excepts = |interlock: &Interlock| interlock.except.iter().any(|e| e.ticks.contains(&tick));
    // What a missing tick alone holds on is nearer than what lets a few steps through with it.
    let lock = locks().find(|(_, lock)| missing(lock)).or_else(|| locks().find(|(_, lock)| excepts(lock)));
    let says = &laid.knowledge.ticks[tick].says;
    let why = lock.map_or_else(String::new, |(_, interlock)| format!("{} ", interlock.why));
    Breach {
        interlock: lock.map(|(ix, _)| ix),
        hazards: of_tick(laid, tick).collect(),
        why: format!("{why}What was missing: {}.", says.trim_end_matches('.')),
    }
}

/// The hazards whose control a tick confirms.
fn of_tick(laid: &Laid<'_>, tick: Ix<Tick>) -> impl Iterator<Item = Ix<Hazard>> {
    laid.knowledge.hazards.iter().filter(move |(_, hazard)| hazard.tick == Some(tick)).map(|(ix, _)| ix)
}

/// Whether a part of a condition is of a kind.
fn names(condition: &Condition, wanted: &dyn Fn(&Condition) -> bool) -> bool {
    let mut found = false;
    each(condition, &mut |part| found |= wanted(part));
    found
}

/// Every part of a condition that has no parts.
fn each(condition: &Condition, visit: &mut dyn FnMut(&Condition)) {
    match condition {
        Condition::Any(parts) | Condition::All(parts) => parts.iter().for_each(|part| each(part, visit)),
        Condition::Not(part) => each(part, visit),
        part => visit(part),
    }
}
