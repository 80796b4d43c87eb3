//! Every cause leads to a symptom, shows in a check and goes with a repair. Advice only: a knowledge base may grow.

use super::super::{State, codes};
use super::Whole;
use super::effect_cycle::states;
use crate::finding::Severity;
use std::collections::BTreeSet;

/// Gives advice on causes and effects that lead nowhere, show nowhere or stay.
pub(super) fn check(whole: &mut Whole) {
    // What is misspelt elsewhere looks unused here.
    if whole.any_hurt() {
        return;
    }
    let knowledge = whole.knowledge;
    let to_symptoms = below(whole, knowledge.symptoms.iter().flat_map(|(_, s)| states(&s.gate)));
    let rows = knowledge.checks.iter().flat_map(|(_, check)| &check.rows);
    let to_checks = below(whole, rows.flat_map(|row| &row.when).flat_map(|clause| &clause.0).map(|(state, _)| *state));
    let removed: BTreeSet<_> =
        knowledge.repairs.iter().flat_map(|(_, repair)| &repair.removes).map(|(cause, _)| *cause).collect();
    for (ix, _) in knowledge.effects.iter() {
        // An effect that only checks read is a sign: it tells of its causes.
        if !to_symptoms.contains(&State::Effect(ix)) && !to_checks.contains(&State::Effect(ix)) {
            let id = knowledge.effects.id(ix);
            advise(whole, codes::DEAD_END, id, format!("effect `{id}` leads to no symptom and shows in no check"));
        }
    }
    for (ix, _) in knowledge.causes.iter() {
        let id = knowledge.causes.id(ix);
        if !to_symptoms.contains(&State::Cause(ix)) {
            advise(whole, codes::DEAD_END, id, format!("cause `{id}` leads to no symptom"));
        }
        if !to_checks.contains(&State::Cause(ix)) {
            advise(whole, codes::NO_CHECK, id, format!("no check can tell anything about cause `{id}`"));
        }
        if !removed.contains(&ix) {
            advise(whole, codes::NO_REPAIR, id, format!("no repair removes cause `{id}`"));
        }
    }
}

fn advise(whole: &mut Whole, code: &'static str, id: &str, message: String) {
    whole.find(code, Severity::Advice, id, message, Vec::new());
}

/// These states and all that bring them about.
fn below(whole: &Whole, of: impl Iterator<Item = State>) -> BTreeSet<State> {
    let mut all = BTreeSet::new();
    let mut next: Vec<State> = of.collect();
    while let Some(state) = next.pop() {
        if all.insert(state)
            && let State::Effect(effect) = state
        {
            next.extend(states(&whole.knowledge.effects[effect].gate));
        }
    }
    all
}
