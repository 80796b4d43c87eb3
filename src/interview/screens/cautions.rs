//! What can hurt, said above the step that it is about.

use crate::decision::Action;
use crate::interview::screen::{Part, Screen};
use crate::interview::state::State;
use crate::interview::step::Bench;
use crate::knowledge::{Access, Hazard, Ix, Knowledge, Repair, Turns};
use crate::report::{Block, Caution, Rich};

/// How many cautions stand on one screen.
pub(super) const CAUTIONS: usize = 3;

/// The cautions a step asks for, with those of what must be opened for it and of what stands open: the gravest first.
#[must_use]
pub fn hazards_of(bench: &Bench<'_>, state: &State, action: &Action) -> Vec<Ix<Hazard>> {
    let (raises, access): (&[Ix<Hazard>], &[Ix<Access>]) = match action {
        Action::Check(check) => {
            let item = &bench.knowledge.checks[check.item];
            (&item.raises, &item.access)
        }
        Action::Repair(repair, _) => {
            let item = &bench.knowledge.repairs[*repair];
            (&item.raises, &item.access)
        }
        Action::Try(_) => (first_start(bench).map_or(&[], |repair| &repair.raises), &[]),
        Action::HandOver => (&[], &[]),
    };
    let mut hazards = raises.to_vec();
    for access in bench.graph.missing(&bench.advisor.open(&state.case), access) {
        hazards.extend(&bench.knowledge.access[access].raises);
    }
    hazards.sort_by_key(|h| (bench.knowledge.hazards[*h].signal, *h));
    hazards.dedup();
    hazards
}

/// The service that starts the engine after work on it: what it warns of holds whenever a repair is tried.
pub(super) fn first_start<'k>(bench: &Bench<'k>) -> Option<&'k Repair> {
    bench.knowledge.repairs.iter().map(|(_, repair)| repair).find(|r| r.service && r.turns == Turns::Starter)
}

/// The cautions directly above the step they guard; never a wall of them.
pub(super) fn cautions(bench: &Bench<'_>, hazards: &[Ix<Hazard>], screen: &mut Screen) {
    for hazard in hazards.iter().take(CAUTIONS) {
        screen.say(Part::shortened(
            1,
            caution(bench.knowledge, *hazard, Detail::Some),
            caution(bench.knowledge, *hazard, Detail::Line),
        ));
    }
}

/// How much of a caution is said.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Detail {
    /// What it does to a person and the first thing to do.
    Some,
    /// One line: what it is about and the first thing to do.
    Line,
    /// All.
    Full,
}

/// A caution as a block.
#[must_use]
pub fn caution(knowledge: &Knowledge, hazard: Ix<Hazard>, detail: Detail) -> Block {
    let item = &knowledge.hazards[hazard];
    let first = item.controls.first();
    let mut caution = Caution {
        signal: item.signal,
        title: (&item.title).into(),
        harm: None,
        controls: Vec::new(),
        never: Vec::new(),
        tick: None,
    };
    match detail {
        Detail::Line => {
            let does = first.map(|c| format!(". {c}")).unwrap_or_default();
            caution.title = Rich::plain(&format!("{}{does}", item.title));
        }
        Detail::Some => {
            caution.harm = Some((&item.harm).into());
            caution.controls = item.controls.iter().take(2).map(Rich::from).collect();
        }
        Detail::Full => {
            caution.harm = Some((&item.harm).into());
            caution.controls = item.controls.iter().map(Rich::from).collect();
            caution.never = item.never.iter().map(Rich::from).collect();
        }
    }
    Block::Caution(caution)
}
