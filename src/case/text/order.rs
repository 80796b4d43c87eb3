//! What the entries of a log say together: their order, what was shut, what was forbidden.

use super::reader::Reader;
use crate::access::AccessGraph;
use crate::case::{Case, Event, Position, Presence, codes};
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::raw::Location;
use crate::knowledge::{Access, Condition, Ix};
use crate::model::prior::is_left_out;
use crate::safety::{Action, Before, Course, Safety, Verdict};
use crate::units::Minutes;
use jiff::Timestamp;

impl Reader<'_> {
    pub(super) fn order(&mut self, case: &Case, places: &[Location]) {
        let mut latest: Option<Timestamp> = None;
        for (entry, at) in case.log.iter().zip(places) {
            let Some(now) = entry.at else { continue };
            if let Some(before) = latest.filter(|before| now < *before) {
                let message = format!("`{now}` is before `{before}`, the moment of an earlier entry");
                self.advice(codes::BACKWARD, *at, message, None);
            }
            latest = latest.max(Some(now));
        }
    }

    /// Where the log is silent, access is taken as opened for the work it tells of.
    pub(super) fn shut_repairs(&mut self, laid: &Laid<'_>, case: &Case, places: &[Location]) {
        let graph = AccessGraph::new(laid.knowledge);
        // Standing beside it opens nothing, so that no log tells of it.
        let opens = |access: &Ix<Access>| laid.knowledge.access[*access].open > Minutes::ZERO;
        let mut shut: Vec<Ix<Access>> = Vec::new();
        for (entry, at) in case.log.iter().zip(places) {
            let needed = match &entry.event {
                Event::Access { access, now: Position::Shut } => {
                    let over = laid.knowledge.access.iter().map(|(ix, _)| ix);
                    shut.extend(over.filter(|ix| graph.needed(&[*ix]).has(*access)));
                    continue;
                }
                Event::Access { access, now: Position::Open } => vec![*access],
                Event::Answer { check, answer, .. } if answer.informs() => laid.knowledge.checks[*check].access.clone(),
                Event::Repaired { repair, .. } => laid.knowledge.repairs[*repair].access.clone(),
                _ => continue,
            };
            let needed = graph.needed(&needed);
            if let Event::Repaired { repair, .. } = &entry.event
                && let Some(barrier) = graph.order().iter().find(|a| needed.has(**a) && shut.contains(a) && opens(a))
            {
                let access = laid.knowledge.access.id(*barrier);
                let message = format!(
                    "repair `{}` needs `{access}` open, and the log says that it is shut",
                    laid.knowledge.repairs.id(*repair)
                );
                let hint = format!("add `- {{access: {access}, now: open}}` before it");
                self.error(codes::SHUT, *at, message, Some(hint));
            }
            shut.retain(|a| !needed.has(*a));
        }
    }

    /// What was done while an interlock forbade it, or before what closes a hazard. Ticks are left to whoever is asked:
    /// a case written by hand seldom tells of them.
    pub(super) fn against_interlocks(&mut self, laid: &Laid<'_>, case: &Case, places: &[Location]) {
        let graph = AccessGraph::new(laid.knowledge);
        let mut so_far = Case { log: Vec::new(), ..case.clone() };
        let mut course = Course::new(laid, &graph, case);
        for (entry, at) in case.log.iter().zip(places) {
            let action = match &entry.event {
                Event::Answer { check, place, answer, .. } if answer.informs() => {
                    Some(Action::Check(Instance::new(*check, place.unwrap_or(0))))
                }
                Event::Repaired { repair, places } => Some(Action::Repair(*repair, places.clone())),
                _ => None,
            };
            if let Some(action) = action {
                let safety = Safety::after(laid, &course, &so_far, entry.at);
                match safety.judge(laid, &graph, &so_far, &course.open, &action) {
                    Verdict::Barred { by: Some(lock), why } => {
                        let id = laid.knowledge.interlocks.id(lock);
                        self.advice(
                            codes::AGAINST_INTERLOCK,
                            *at,
                            format!("this was done against `{id}`: {why}"),
                            None,
                        );
                    }
                    Verdict::May(Before { close: Some((check, outcome, _)), .. }) => {
                        let check_id = laid.knowledge.checks.id(check);
                        let outcome = &laid.knowledge.checks[check].outcomes[outcome].id;
                        let by =
                            open_hazard_lock(laid, &safety).map_or_else(String::new, |id| format!(" against `{id}`,"));
                        let message = format!("this was done{by} before `{check_id}` said `{outcome}`");
                        self.advice(codes::AGAINST_INTERLOCK, *at, message, None);
                    }
                    _ => {}
                }
            }
            so_far.log.push(entry.clone());
            course.read(&so_far, so_far.log.len() - 1);
        }
    }

    /// A cause that was found though what was told, or the layout, leaves it out: what was found counts.
    pub(super) fn found_though_left_out(&mut self, laid: &Laid<'_>, case: &Case, places: &[Location]) {
        for (entry, at) in case.log.iter().zip(places) {
            let Event::Found { cause, now: Presence::Present } = &entry.event else { continue };
            if is_left_out(laid, case, cause.item) {
                let id = laid.knowledge.causes.id(cause.item);
                let message = format!("cause `{id}` was found, and `history` or the layout leaves it out");
                self.advice(codes::CONTRADICTS_HISTORY, *at, message, None);
            }
        }
    }

    pub(super) fn gone_unrepaired(&mut self, case: &Case, places: &[Location]) {
        let mut repaired = false;
        for (entry, at) in case.log.iter().zip(places) {
            match &entry.event {
                Event::Repaired { .. } => repaired = true,
                Event::Tried { symptom, now: Presence::Absent } if !repaired => {
                    let id = self.knowledge.symptoms.id(*symptom);
                    let message = format!("symptom `{id}` is gone and nothing was repaired");
                    self.advice(codes::GONE_UNREPAIRED, *at, message, None);
                }
                _ => {}
            }
        }
    }
}

/// The first interlock that waits for a hazard that is open.
pub(super) fn open_hazard_lock<'k>(laid: &Laid<'k>, safety: &Safety) -> Option<&'k str> {
    let locks = &laid.knowledge.interlocks;
    let waits = |when: Option<&Condition>| matches!(when, Some(Condition::Hazard(h)) if safety.hazards.iter().any(|open| open.hazard == *h));
    locks.iter().find(|(_, lock)| waits(lock.when.as_ref())).map(|(ix, _)| locks.id(ix))
}
