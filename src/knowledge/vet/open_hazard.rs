//! A hazard says what it does and what to do about it; one that opens can be closed; an interlock waits for one that opens.

use super::super::{Condition, Hazard, codes};
use super::Whole;

/// Reports hazards without a caution or control, such as never close, and interlocks on such as never open.
pub(super) fn check(whole: &mut Whole) {
    let hazards = &whole.knowledge.hazards;
    for (ix, hazard) in hazards.iter() {
        let id = hazards.id(ix);
        if hazard.harm.trim().is_empty() {
            let message = format!("hazard `{id}` does not say what it does to a person");
            whole.error(codes::NO_CONTROL, id, message, vec!["fill `harm`".to_owned()]);
        }
        if hazard.controls.iter().all(|c| c.trim().is_empty()) {
            let message = format!("hazard `{id}` has no control: nothing says what to do about it");
            whole.error(codes::NO_CONTROL, id, message, vec!["fill `do`".to_owned()]);
        }
        if opens(hazard) && hazard.closed_by.is_empty() && !whole.hurt(id) {
            let message = format!("hazard `{id}` opens but nothing closes it");
            let hints = vec!["add `closed_by`, or take out what opens it: it is then a caution only".to_owned()];
            whole.error(codes::NEVER_CLOSES, id, message, hints);
        }
    }
    let interlocks = &whole.knowledge.interlocks;
    for (ix, interlock) in interlocks.iter() {
        let mut waits_for = Vec::new();
        for condition in [&interlock.when, &interlock.until].into_iter().flatten() {
            hazards_of(condition, &mut waits_for);
        }
        for hazard in waits_for {
            let hazard_id = hazards.id(hazard);
            if !opens(&hazards[hazard]) && !whole.hurt(hazard_id) {
                let message =
                    format!("interlock `{}` waits for hazard `{hazard_id}`, which nothing opens", interlocks.id(ix));
                let hints = vec!["give the hazard `opened_by` or `open_at_start: true`".to_owned()];
                whole.error(codes::NEVER_OPENS, interlocks.id(ix), message, hints);
            }
        }
    }
}

fn opens(hazard: &Hazard) -> bool {
    let by = &hazard.opened_by;
    hazard.open_at_start
        || !by.answers.is_empty()
        || !by.symptoms.is_empty()
        || !by.access.is_empty()
        || !by.checks.is_empty()
        || !by.repairs.is_empty()
        || !by.minutes_since.is_empty()
}

fn hazards_of(condition: &Condition, into: &mut Vec<super::super::Ix<Hazard>>) {
    match condition {
        Condition::Hazard(hazard) => into.push(*hazard),
        Condition::Any(list) | Condition::All(list) => list.iter().for_each(|c| hazards_of(c, into)),
        Condition::Not(not) => hazards_of(not, into),
        _ => {}
    }
}
