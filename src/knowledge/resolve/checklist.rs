//! An expert's fixed order: for each symptom its steps, for each check what its findings lead to.

use super::super::raw::{RawChecklist, RawId, RawKnowledge};
use super::super::{Knowledge, Task, codes};
use super::context::{Context, Item};
use super::names::Names;

/// Fills in the checklist.
pub(super) fn checklist(raw: &RawKnowledge, names: &Names, context: &Context, knowledge: &mut Knowledge) {
    for line in &raw.checklist {
        let raw = &line.item;
        let item = context.at(line, "");
        item.basis(names, &raw.basis);
        match (&raw.symptom, &raw.check) {
            (Some(symptom), None) => order(raw, symptom, names, &item, knowledge),
            (None, Some(check)) => finds(raw, check, names, &item, knowledge),
            (given, _) => {
                let found = if given.is_some() { "both" } else { "neither" };
                let message = format!("expected `symptom` or `check`, found {found}");
                item.error(codes::ONE_OF, raw.basis.at, "", message);
            }
        }
    }
}

fn order(raw: &RawChecklist, symptom: &RawId, names: &Names, item: &Item<'_>, knowledge: &mut Knowledge) {
    item.filled(symptom.at, "steps", raw.steps.is_empty());
    stray(item, raw, symptom, "finds", !raw.finds.is_empty());
    let steps = tasks(&raw.steps, names, item, "steps");
    let Some(ix) = item.find(&names.symptoms, symptom, "symptom") else { return };
    if knowledge.checklist.orders.iter().any(|(known, _)| *known == ix) {
        let message = format!("`{}` has its order already", symptom.value);
        item.error(codes::TWICE, symptom.at, "symptom", message);
    }
    knowledge.checklist.orders.push((ix, steps));
}

fn finds(raw: &RawChecklist, check: &RawId, names: &Names, item: &Item<'_>, knowledge: &mut Knowledge) {
    item.filled(check.at, "finds", raw.finds.is_empty());
    stray(item, raw, check, "steps", !raw.steps.is_empty());
    let Some(ix) = item.find(&names.checks, check, "check") else { return };
    for (outcome, steps) in &raw.finds {
        let key = format!("finds.{}", outcome.value);
        item.filled(outcome.at, &key, steps.is_empty());
        let steps = tasks(steps, names, item, &key);
        let Some(position) = item.position(&names.outcomes_of(ix), outcome, &key) else { continue };
        if knowledge.checklist.finds.iter().any(|(c, o, _)| (*c, *o) == (ix, position)) {
            let message = format!("what `{}` of `{}` leads to is said already", outcome.value, check.value);
            item.error(codes::TWICE, outcome.at, &key, message);
        }
        knowledge.checklist.finds.push((ix, position, steps));
    }
}

/// Says that a key belongs to the other kind of line.
fn stray(item: &Item<'_>, raw: &RawChecklist, at: &RawId, key: &str, there: bool) {
    if there {
        let line = if raw.symptom.is_some() { "symptom" } else { "check" };
        item.error(codes::ONE_OF, at.at, key, format!("`{key}` says nothing in a line for a {line}"));
    }
}

/// Checks and repairs by their ids, in order.
fn tasks(ids: &[RawId], names: &Names, item: &Item<'_>, key: &str) -> Vec<Task> {
    item.once(ids, key);
    let task = |(at, id): (usize, &RawId)| {
        let known = names.checks.find(&id.value).map(Task::Check);
        let known = known.or_else(|| names.repairs.find(&id.value).map(Task::Repair));
        if known.is_none() {
            let listings = || vec![names.checks.listing(), names.repairs.listing()];
            item.unknown("check or repair", listings, id, &format!("{key}[{at}]"));
        }
        known
    };
    ids.iter().enumerate().filter_map(task).collect()
}
