//! Every repair of both built-in bases, on every layout: nothing that cranks, runs, burns or joins the battery stands in
//! its plan while fuel vapor is open. Walked here by the knowledge base alone, apart from the check that plans carry.

use crate::plan_order;
use doldrum::access::AccessGraph;
use doldrum::belief::Explanations;
use doldrum::case::Case;
use doldrum::knowledge::layout::{Craft, Instance, Laid};
use doldrum::knowledge::{Hazard, Ix, Knowledge, Repair, Turns, read};
use doldrum::plan::{Options, Plan, Source, StageKind, Step, Vapor, plan};
use doldrum::store::built_in_named;
use indexmap::IndexMap;

pub fn knowledge(base: &str) -> Knowledge {
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
        history_next: None,
        symptoms: knowledge.symptoms.iter().map(|(ix, _)| ix).take(1).collect(),
        log: Vec::new(),
        taken_up: 0,
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

/// The plan of a technician for these causes on the usual craft, each wherever it can be, and a complaint.
pub fn for_causes(knowledge: &Knowledge, symptom: &str, causes: &[&str]) -> Plan {
    planned(knowledge, symptom, causes).expect("a plan")
}

/// The same; nothing where that craft has no such cause.
pub fn planned(knowledge: &Knowledge, symptom: &str, causes: &[&str]) -> Option<Plan> {
    let graph = AccessGraph::new(knowledge);
    let craft = Craft::usual(knowledge);
    let symptoms = vec![knowledge.symptoms.find(symptom).expect("a symptom")];
    let user = knowledge.users.find("technician").expect("a user").at();
    let case = Case { symptoms, ..case(knowledge, craft.clone(), user) };
    let laid = Laid::new(knowledge, craft);
    let instance = |id: &&str| Instance::new(knowledge.causes.find(id).expect("a cause"), 0);
    let options = Options { causes: causes.iter().map(instance).collect() };
    let made = plan(&laid, &graph, &case, &[], &Explanations::default(), &options).ok()?;
    assert_eq!(made.check_order(), Ok(()), "{causes:?}");
    Some(made)
}

/// Common practice, no source: a starter that does not turn is put right before it is to clear the cylinders, and what
/// turns it as proof waits for cleared ones.
#[test]
fn what_needs_the_starter_comes_after_what_lets_it_turn() {
    let knowledge = knowledge("watercraft");
    for (cause, repair) in [
        ("battery-flat", "rm-battery-renew"),
        ("battery-terminal-corroded", "rm-terminals-clean"),
        ("start-relay-faulty", "rm-relay-renew"),
        ("starter-motor-faulty", "rm-starter-renew"),
        ("jet-pump-jammed", "rm-pump-unjam"),
    ] {
        let plan = for_causes(&knowledge, "sy-floods", &[cause, "plug-fouled"]);
        let before_hand_over = plan.stages.iter().filter(|stage| stage.kind != StageKind::HandOver);
        let steps: Vec<&Step> = before_hand_over.flat_map(|s| &s.sections).flat_map(|s| &s.steps).collect();
        let of = |id: &str| Source::Repair(id.to_owned());
        let mended = steps.iter().rposition(|step| step.source == of(repair)).expect("it is mended");
        let hand = steps.iter().position(|step| step.what.contains("turn the engine by hand first")).expect("by hand");
        let cranked = steps.iter().position(|step| step.what.contains("Crank three bursts")).expect("it is cleared");
        let turned = steps.iter().position(|step| {
            let Source::Check(id) = &step.source else { return false };
            let check = &knowledge.checks[knowledge.checks.find(id).expect("a check")];
            check.turns == Turns::Starter
        });
        assert!(mended < hand && hand < cranked, "{cause}: {mended} {hand} {cranked}");
        // A battery that was lifted out is joined as its own repair says, plus lead too.
        let joined = steps[..hand].iter().any(|step| step.source == of(repair) && step.puts_on.is_some());
        assert!(joined || repair != "rm-battery-renew", "the battery is joined");
        assert!(turned.is_none_or(|turned| cranked < turned), "{cause}: {cranked} {turned:?}");
    }
    // A needle floods an engine and so once in a while locks it: that is cleared first, as ever.
    let plan = for_causes(&knowledge, "sy-floods", &["needle-held-open", "plug-fouled"]);
    let at = |kind| plan.stages.iter().position(|stage| stage.kind == kind);
    assert!(at(StageKind::Clear) < at(StageKind::Work));
}

#[test]
fn nothing_runs_at_the_hand_over() {
    let knowledge = knowledge("watercraft");
    for cause in ["kill-wire-grounded", "plug-fouled", "exhaust-water-ingestion"] {
        let plan = for_causes(&knowledge, "sy-floods", &[cause]);
        let last = plan.stages.iter().find(|stage| stage.kind == StageKind::HandOver).expect("a hand-over");
        let lit = last.sections.iter().flat_map(|section| &section.steps).find(|step| step.ignites);
        assert!(lit.is_none(), "{cause}: {lit:?}");
        let first = plan.steps().find(|step| step.what.contains("first start") && step.ignites);
        assert!(first.is_some() || cause == "exhaust-water-ingestion", "{cause}: it is said where it is started");
    }
}

/// What proves a crank seal is a leak-down: before, so that no good one is pulled, and after (common practice, no source).
#[test]
fn a_crank_seal_is_proved_by_a_leak_down_before_and_after() {
    let knowledge = knowledge("watercraft");
    for cause in ["crank-seal-mag", "crank-seal-pto"] {
        let plan = for_causes(&knowledge, "sy-races", &[cause]);
        let steps: Vec<&Step> = plan.steps().collect();
        let found =
            steps.iter().position(|s| s.record.iter().any(|line| line.setting.id.starts_with("leak-down-found")));
        let pressed = steps.iter().position(|s| s.what.contains("press the new seal")).expect("it is fitted");
        let held = steps.iter().position(|s| s.tests.iter().any(|t| t.check.id.starts_with("ck-crankcase-leakdown")));
        let (found, held) = (found.expect("before"), held.expect("after"));
        assert!(found < pressed && pressed < held, "{cause}: {found} {pressed} {held}");
    }
}
