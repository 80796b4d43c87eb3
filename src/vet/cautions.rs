//! Hazards are raised by what brings them, and their cautions stand before the step that meets them.

use super::{Whole, codes, listed};
use crate::knowledge::{Access, Hazard, Ix, Knowledge, Step, Turns};
use std::collections::BTreeSet;

/// Gives advice on hazards that no step warns of, cautions that no item raises, and engine work that raises nothing.
pub(super) fn check(whole: &mut Whole) {
    let knowledge = whole.knowledge;
    for (ix, repair) in knowledge.repairs.iter() {
        let id = knowledge.repairs.id(ix);
        let opened = knowledge.opened(&repair.access);
        late(whole, id, &repair.raises, &repair.steps, &opened);
        unraised(whole, id, &repair.raises, &repair.steps, &opened);
        if (repair.ignites || repair.turns == Turns::Starter) && repair.raises.is_empty() && !raised(knowledge, &opened)
        {
            no_hazard(whole, "repair", id);
        }
    }
    for (ix, access) in knowledge.access.iter() {
        let id = knowledge.access.id(ix);
        let steps: Vec<Step> = access.steps.iter().chain(&access.back).cloned().collect();
        unraised(whole, id, &access.raises, &steps, &knowledge.opened(&[ix]));
    }
    for (ix, check) in knowledge.checks.iter() {
        let engine = check.ignites || check.turns == Turns::Starter;
        if engine && check.raises.is_empty() && !raised(knowledge, &knowledge.opened(&check.access)) {
            no_hazard(whole, "check", knowledge.checks.id(ix));
        }
    }
}

fn raised(knowledge: &Knowledge, opened: &BTreeSet<Ix<Access>>) -> bool {
    opened.iter().any(|access| !knowledge.access[*access].raises.is_empty())
}

fn late(whole: &mut Whole, id: &str, raises: &[Ix<Hazard>], steps: &[Step], opened: &BTreeSet<Ix<Access>>) {
    let knowledge = whole.knowledge;
    let on_the_way = opened.iter().flat_map(|access| &knowledge.access[*access].steps);
    let warned: BTreeSet<Ix<Hazard>> = steps.iter().chain(on_the_way).filter_map(|step| step.caution).collect();
    let silent: Vec<&str> = raises.iter().filter(|h| !warned.contains(h)).map(|h| knowledge.hazards.id(*h)).collect();
    if !silent.is_empty() {
        let message = format!("repair `{id}` raises {}, but no step of it carries the caution", listed(silent));
        whole.advise(codes::CAUTION_LATE, id, message, Vec::new());
    }
}

fn unraised(whole: &mut Whole, id: &str, raises: &[Ix<Hazard>], steps: &[Step], opened: &BTreeSet<Ix<Access>>) {
    let knowledge = whole.knowledge;
    let by_access = |hazard: &Ix<Hazard>| opened.iter().any(|access| knowledge.access[*access].raises.contains(hazard));
    let silent: BTreeSet<Ix<Hazard>> =
        steps.iter().filter_map(|step| step.caution).filter(|h| !raises.contains(h) && !by_access(h)).collect();
    if !silent.is_empty() {
        let hazards = listed(silent.iter().map(|h| knowledge.hazards.id(*h)));
        let message = format!("a step of `{id}` carries the caution of {hazards}, which `{id}` does not raise");
        whole.advise(codes::CAUTION_UNRAISED, id, message, Vec::new());
    }
}

fn no_hazard(whole: &mut Whole, noun: &str, id: &str) {
    let message = format!("{noun} `{id}` cranks or ignites, and raises no hazard");
    whole.advise(codes::NO_HAZARD, id, message, Vec::new());
}
