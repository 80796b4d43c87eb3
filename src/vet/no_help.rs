//! Every check moves some cause, for some symptom on some layout.

use super::shown::Shown;
use super::{Whole, codes};
use crate::knowledge::{Check, Condition, Ix, Knowledge, Layout, Proof};
use std::collections::{BTreeMap, BTreeSet};

/// What a check shows with a cause and without it differs by no more than this: it says nothing.
const NOTHING: f64 = 0.02;

/// Gives advice on checks whose answers say nothing about any cause.
pub(super) fn check(whole: &mut Whole, seen: &[(Ix<Layout>, Vec<Shown>)]) {
    let knowledge = whole.knowledge;
    let mut most: BTreeMap<Ix<Check>, f64> = BTreeMap::new();
    for shown in seen.iter().flat_map(|(_, shown)| shown) {
        for check in &shown.checks {
            let moves = (0..shown.faults.len()).map(|fault| check.moves(fault)).fold(0.0, f64::max);
            let known = most.entry(check.check.item).or_insert(0.0);
            *known = known.max(moves);
        }
    }
    let used = used_otherwise(knowledge);
    for (ix, moves) in most {
        if moves <= NOTHING && !used.contains(&ix) {
            let id = knowledge.checks.id(ix);
            let message = format!("no answer to check `{id}` moves any cause, whatever the symptom");
            whole.advise(codes::NO_HELP, id, message, Vec::new());
        }
    }
}

/// Checks that serve for something else than finding causes.
fn used_otherwise(knowledge: &Knowledge) -> BTreeSet<Ix<Check>> {
    let mut used = BTreeSet::new();
    for (_, hazard) in knowledge.hazards.iter() {
        used.extend(hazard.opened_by.answers.iter().map(|(check, _)| *check));
        used.extend(hazard.closed_by.iter().map(|way| way.answer.0));
        used.extend(hazard.closed_by.iter().flat_map(|way| &way.also_after).map(|(_, check, _)| *check));
    }
    for (_, interlock) in knowledge.interlocks.iter() {
        interlock.when.iter().chain(&interlock.until).for_each(|condition| asked(condition, &mut used));
    }
    for (_, rule) in knowledge.plan_rules.iter() {
        asked(&rule.when, &mut used);
    }
    for (ix, check) in knowledge.checks.iter() {
        used.extend(check.after.iter().map(|(check, _)| *check));
        if check.outcomes.iter().any(|outcome| !outcome.denies.is_empty()) {
            used.insert(ix);
        }
    }
    for (_, repair) in knowledge.repairs.iter() {
        used.extend(repair.steps.iter().filter_map(|step| step.gate.as_ref()).map(|gate| gate.check));
        for proof in &repair.proves {
            if let Proof::Check(check, _) = proof {
                used.insert(*check);
            }
        }
    }
    used
}

fn asked(condition: &Condition, into: &mut BTreeSet<Ix<Check>>) {
    match condition {
        Condition::Answered(check, _) | Condition::AnsweredEvery(check, _) | Condition::Below(check, _) => {
            into.insert(*check);
        }
        Condition::Any(list) | Condition::All(list) => list.iter().for_each(|c| asked(c, into)),
        Condition::Not(not) => asked(not, into),
        _ => {}
    }
}
