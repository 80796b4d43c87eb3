//! A gate and the rows of a check read so many states together as inference can weigh together, on the largest layout.

use super::super::{Gate, State, codes};
use super::Whole;
use super::instances::instances;
use std::collections::BTreeSet;

/// The most inputs of a gate, and the most instances that the rows of a check read together.
pub(super) const MOST_READ: usize = 254;

/// Reports gates and checks that read more.
pub(super) fn check(whole: &mut Whole) {
    let knowledge = whole.knowledge;
    let mut gates: Vec<(&str, &Gate)> = Vec::new();
    gates.extend(knowledge.effects.iter().map(|(ix, effect)| (knowledge.effects.id(ix), &effect.gate)));
    gates.extend(knowledge.symptoms.iter().map(|(ix, symptom)| (knowledge.symptoms.id(ix), &symptom.gate)));
    for (id, gate) in gates {
        let found = gate.inputs.len();
        if found > MOST_READ {
            let message = format!("expected a gate of at most {MOST_READ} inputs, found {found}");
            whole.error(codes::READS_TOO_MANY, id, message, Vec::new());
        }
    }
    for (ix, check) in knowledge.checks.iter() {
        let clauses = check.rows.iter().flat_map(|row| &row.when);
        let states: BTreeSet<State> = clauses.flat_map(|clause| &clause.0).map(|(state, _)| *state).collect();
        // Answered for the whole craft, it reads each of them at every place.
        let found: usize = states.iter().map(|state| most_places(whole, *state)).sum();
        if found > MOST_READ {
            let message = format!(
                "expected rows that read at most {MOST_READ} causes and effects, place by place on the largest layout, \
                 found {found}"
            );
            whole.error(codes::READS_TOO_MANY, knowledge.checks.id(ix), message, Vec::new());
        }
    }
}

/// The places of a state on the layout that has most of them.
fn most_places(whole: &Whole, state: State) -> usize {
    let knowledge = whole.knowledge;
    let scope = match state {
        State::Cause(ix) => knowledge.causes[ix].scope,
        State::Effect(ix) => knowledge.effects[ix].scope,
    };
    knowledge.layouts.iter().map(|(_, layout)| instances(layout, scope)).max().unwrap_or(1)
}
