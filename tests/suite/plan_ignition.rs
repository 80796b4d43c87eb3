//! Every repair of both built-in bases, on every layout: nothing that cranks, runs, burns or joins the battery stands in
//! its plan while fuel vapor is open. Walked here by the knowledge base alone, apart from the check that plans carry.

use crate::plan_order;
use doldrum::access::AccessGraph;
use doldrum::belief::Explanations;
use doldrum::case::Case;
use doldrum::knowledge::layout::{Craft, Instance, Laid};
use doldrum::knowledge::{Hazard, Ix, Knowledge, Repair, read};
use doldrum::plan::{Options, Plan, Source, Step, Vapor, plan};
use doldrum::store::built_in_named;
use indexmap::IndexMap;

fn knowledge(base: &str) -> Knowledge {
    read(&built_in_named(base).expect("it is built in")).0.expect("it is sound")
}

fn case(knowledge: &Knowledge, craft: Craft, user: usize) -> Case {
    Case {
        title: None,
        craft,
        altitude_m: 0.0,
        user: Ix::new(user),
        tools: None,
        sheet: IndexMap::new(),
        history: IndexMap::new(),
        symptoms: knowledge.symptoms.iter().map(|(ix, _)| ix).take(1).collect(),
        log: Vec::new(),
    }
}

/// The base with this repair as the only one that removes what it removes, so that a plan for it must hold it.
fn alone(base: &str, repair: Ix<Repair>) -> Knowledge {
    let mut knowledge = knowledge(base);
    let removed: Vec<_> = knowledge.repairs[repair].removes.iter().map(|(cause, _)| *cause).collect();
    for (ix, other) in knowledge.repairs.iter_mut() {
        if ix != repair {
            other.removes.retain(|(cause, _)| !removed.contains(cause));
        }
    }
    knowledge
}

/// Words that begin or join a spark or a flame, as the files write them: a cranked or running engine, a battery lead, a
/// torch, a heat gun.
const LIT: [&str; 18] = [
    "Crank ",
    "Start it",
    "Start the engine",
    "Restart ",
    "Run 10",
    "Run it",
    "Idle 2",
    "Roll on",
    "Launch",
    "Warm it up",
    "Warm the screws",
    "Join plus",
    "Join the battery minus",
    "Join the minus",
    "Stop it by the button",
    "torch",
    "Five minutes of its own work",
    "at most six pulls",
];

fn is_lit(step: &Step) -> bool {
    LIT.iter().any(|words| step.what.contains(words))
}

/// Whether vapor is open, step by step: from the start to the first sniff, and from whatever opens fuel to the next.
fn walk(plan: &Plan, knowledge: &Knowledge, vapor: &Hazard) -> (usize, Vec<String>) {
    let sniff = knowledge.checks.id(vapor.closed_by[0].answer.0);
    let (mut open, mut lit, mut wrong) = (true, 0, Vec::new());
    for step in plan.steps() {
        let opens = match &step.source {
            Source::Opens(id) => {
                knowledge.access.find(id).is_some_and(|access| vapor.opened_by.access.contains(&access))
            }
            Source::Check(id) => knowledge.checks.find(id).is_some_and(|check| vapor.opened_by.checks.contains(&check)),
            _ => false,
        };
        if step.vapor == Vapor::Closes && step.source == Source::Check(sniff.to_owned()) {
            open = false;
        }
        lit += usize::from(step.ignites);
        if step.ignites && open {
            wrong.push(format!("vapor is open at `{}`", step.what));
        }
        if is_lit(step) && !step.ignites {
            wrong.push(format!("`{}` is not marked as what ignites", step.what));
        }
        open |= opens;
    }
    (lit, wrong)
}

#[test]
fn no_repair_ignites_while_vapor_is_open() {
    let (mut plans, mut lit, mut wrong) = (0, 0, Vec::new());
    let (mut fills, mut joins) = (0, 0);
    for base in ["watercraft", "handheld"] {
        let known = knowledge(base);
        for (repair, item) in known.repairs.iter().filter(|(_, repair)| !repair.service) {
            let knowledge = alone(base, repair);
            let graph = AccessGraph::new(&knowledge);
            let vapor = &knowledge.hazards[knowledge.hazards.find("hz-vapor").expect("vapor is a hazard")];
            for layout in 0..knowledge.layouts.len() {
                let craft = Craft { layout: Ix::new(layout), ..Craft::usual(&knowledge) };
                let case = case(&knowledge, craft.clone(), 0);
                let laid = Laid::new(&knowledge, craft);
                let causes = item.removes.iter().map(|(cause, _)| Instance::new(*cause, 0)).collect();
                let options = Options { causes };
                let Ok(plan) = plan(&laid, &graph, &case, &[], &Explanations::default(), &options) else { continue };
                let id = knowledge.repairs.id(repair);
                if !plan.repairs.iter().any(|job| job.repair.id == id) {
                    continue;
                }
                plans += 1;
                let (of_plan, flaws) = walk(&plan, &knowledge, vapor);
                lit += of_plan;
                assert_eq!(plan.check_order(), Ok(()), "{base} {id}");
                let (seen, order) = plan_order::walk(&plan, &knowledge);
                (fills, joins) = (fills + seen.fills, joins + seen.joins);
                let flaws = flaws.into_iter().chain(order);
                wrong.extend(flaws.map(|flaw| format!("{base} {id}, layout {layout}: {flaw}")));
            }
        }
    }
    wrong.sort();
    wrong.dedup();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(plans > 400 && lit > 2 * plans, "{plans} plans, {lit} steps that ignite");
    assert!(fills > 20 && joins > 200, "{fills} steps that fill in fuel, {joins} that join the battery");
}
