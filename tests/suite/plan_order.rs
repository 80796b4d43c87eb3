//! Fuel and battery in a plan, walked by the words of the steps and by the knowledge base, apart from the check that plans
//! carry: fuel goes in when every joint is closed, the battery is joined when it is in, looked at and smelled.

use doldrum::knowledge::{Hazard, Ix, Knowledge, Phase, read};
use doldrum::plan::{Plan, Source, StageKind, Step, Vapor};
use doldrum::store::{built_in_named, built_in_names};
use std::collections::BTreeSet;

/// Words by which the files take a battery off.
const OFF: [&str; 5] =
    ["battery minus off", "minus lead off", "battery out of the hull", "lift the minus lead", "lead off first"];
/// Words by which they join it again.
const JOINED: [&str; 5] =
    ["oin the battery minus", "Join plus", "Join the minus", "Join the battery before", "join the battery minus"];
/// Words by which they fill in fuel.
const FILLED: [&str; 5] = ["Pour in ", "Fill in ", "Fill to ", "Fill with ", "Add oil, or add plain"];

/// What a plan does with fuel and battery.
#[derive(Clone, Copy, Debug, Default)]
pub struct Seen {
    /// Steps that fill in fuel.
    pub fills: usize,
    /// Times the battery is joined.
    pub joins: usize,
}

/// All that is out of order with fuel and battery.
pub fn walk(plan: &Plan, knowledge: &Knowledge) -> (Seen, Vec<String>) {
    let vapor = &knowledge.hazards[knowledge.hazards.find("hz-vapor").expect("vapor is a hazard")];
    let mut seen = Seen::default();
    let mut wrong = Vec::new();
    let mut open = opens_fuel_at_start(plan, knowledge, vapor);
    let (mut vapor_open, mut off, mut filled) = (true, false, false);
    for stage in &plan.stages {
        for section in &stage.sections {
            for step in &section.steps {
                let says = |words: &[&str]| words.iter().any(|words| step.what.contains(words));
                moved(step, knowledge, vapor, &mut open);
                vapor_open = (vapor_open || step.vapor == Vapor::Opens) && step.vapor != Vapor::Closes;
                if says(&FILLED) {
                    (seen.fills, filled) = (seen.fills + 1, true);
                    wrong.extend(open.iter().map(|id| format!("`{}` with {id} open", step.what)));
                } else if filled && stage.kind == StageKind::Work && works_on(step, section.phase) {
                    wrong.push(format!("`{}` after fuel was filled in", step.what));
                }
                if says(&JOINED) {
                    (seen.joins, off) = (seen.joins + 1, false);
                    wrong.extend(open.iter().map(|id| format!("`{}` with {id} open", step.what)));
                    if vapor_open {
                        wrong.push(format!("`{}` before the sniff", step.what));
                    }
                } else if says(&OFF) {
                    off = true;
                }
            }
        }
        // A service step may join it itself, before it cranks.
        if stage.kind == StageKind::HandOver && off {
            wrong.push("the battery is off at the hand-over".to_owned());
        }
    }
    if off {
        wrong.push("the battery is left off".to_owned());
    }
    (seen, wrong)
}

fn opens_fuel_at_start(plan: &Plan, knowledge: &Knowledge, vapor: &Hazard) -> BTreeSet<String> {
    let fuel = |id: &String| is_fuel(id, knowledge, vapor);
    plan.open_at_start.iter().filter(|id| fuel(id)).cloned().collect()
}

fn is_fuel(id: &str, knowledge: &Knowledge, vapor: &Hazard) -> bool {
    knowledge.access.find(id).is_some_and(|access: Ix<_>| vapor.opened_by.access.contains(&access))
}

fn moved(step: &Step, knowledge: &Knowledge, vapor: &Hazard, open: &mut BTreeSet<String>) {
    match &step.source {
        Source::Opens(id) if is_fuel(id, knowledge, vapor) => {
            open.insert(id.clone());
        }
        Source::Closes(id) => {
            open.remove(id);
        }
        _ => {}
    }
}

/// Work of a repair on what is apart.
fn works_on(step: &Step, phase: Phase) -> bool {
    matches!(step.source, Source::Repair(_)) && (Phase::Strip..=Phase::Settings).contains(&phase)
}

/// A plan writes repairs phase by phase, so the steps of each stand in the files in the order in which they will be done.
#[test]
fn steps_are_listed_in_the_order_in_which_they_are_done() {
    for base in built_in_names() {
        let knowledge = read(&built_in_named(base).expect("it is built in")).0.expect("it is sound");
        for (ix, repair) in knowledge.repairs.iter() {
            // What is set on the bench is set before it is refitted, what is set in place after it.
            let rank = |phase: Phase| if phase == Phase::Settings { Phase::Refit } else { phase };
            let out = repair.steps.windows(2).find(|pair| rank(pair[0].phase) > rank(pair[1].phase));
            let words = out.map(|pair| (pair[0].what.as_str(), pair[1].what.as_str()));
            assert!(repair.service || words.is_none(), "{base} {}: {words:?}", knowledge.repairs.id(ix));
        }
    }
}
