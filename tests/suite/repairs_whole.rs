//! What every repair must be whole in, so that nobody stands before an open engine and lacks something: the gaskets of
//! what it opens are on its list, the tools its steps name are too, what it disturbs is written down first and set back
//! after, and every step says what it is about, for a plan puts the steps of many repairs one after the other.

use doldrum::access::AccessGraph;
use doldrum::knowledge::{Access, Ix, Knowledge, Phase, Repair, Setting, Step, read};
use doldrum::store::{built_in_named, built_in_names};
use std::collections::BTreeSet;

/// What is opened, and what its putting back uses up.
const USED_UP: &[(&str, &str)] = &[
    ("ac-carb-off", "flange-gasket"),
    ("ac-reeds-out", "manifold-gasket"),
    ("ac-head-off", "head-gasket"),
    ("ac-cylinder-off", "base-gasket"),
    ("ac-flywheel-off", "cover-gasket"),
    ("ac-muffler-off", "muffler-gasket"),
    ("ac-engine-out", "exhaust-gasket"),
];

/// Words of a step, and the tool that does it.
const NAMED: &[(&str, &[&str])] = &[
    ("by the bulb", &["priming bulb"]),
    ("opening pressure", &["pop-off pump with gauge 0-60 psi"]),
    ("straightedge", &["straightedge"]),
    ("feeler", &["feeler gauge", "feeler"]),
    ("dip the carburetor", &["water tray"]),
    ("under water", &["water tray"]),
    ("copper strand", &["copper strand"]),
    ("over glass", &["glass plate"]),
    ("N·m", &["torque screwdriver", "torque wrench"]),
    ("leak-down", &["leak-down kit"]),
    ("air below 15 psi", &["air regulator"]),
    ("air below 30 psi", &["air regulator"]),
];

/// Readings and looks: they tell the next who asks, and nothing is set back by them.
const READINGS: &[&str] = &[
    "opening-pressure-found",
    "hold-loss-found",
    "spring-found",
    "seat-size",
    "linkage-photo",
    "plug-color",
    "wear-ring-clearance",
    "leak-down-found",
];

/// What is found wrong is put right, not back.
const PUT_RIGHT: &[(&str, &str)] =
    &[("rm-vent-restore", "check-valve-arrow"), ("rm-throttle-cable-set", "cable-threads")];

fn bases() -> Vec<Knowledge> {
    built_in_names()
        .into_iter()
        .map(|base| read(&built_in_named(base).expect("it is built in")).0.expect("it is sound"))
        .collect()
}

/// Every repair that is not a service step, with all that it opens.
fn repairs(knowledge: &Knowledge) -> Vec<(String, &Repair, Vec<Ix<Access>>)> {
    let graph = AccessGraph::new(knowledge);
    let of = |(ix, repair)| {
        let name = format!("{} {}", knowledge.id, knowledge.repairs.id(ix));
        let repair: &Repair = repair;
        (name, repair, graph.needed(&repair.access).iter().collect())
    };
    knowledge.repairs.iter().filter(|(_, repair)| !repair.service).map(of).collect()
}

#[test]
fn what_is_opened_is_closed_with_parts_of_the_list() {
    let mut missing = Vec::new();
    for knowledge in bases() {
        for (name, repair, opened) in repairs(&knowledge) {
            let fills: BTreeSet<&str> = repair.parts.iter().flat_map(|p| &p.fills).map(String::as_str).collect();
            for (access, part) in USED_UP {
                let new = |ix: Ix<Access>| knowledge.access[ix].back.iter().any(|step| step.what.contains("new"));
                let opens = knowledge.access.find(access).is_some_and(|ix| opened.contains(&ix) && new(ix));
                if opens && !fills.contains(part) {
                    missing.push(format!("{name} opens {access} and lists no {part}"));
                }
            }
        }
    }
    assert!(missing.is_empty(), "{}", missing.join("\n"));
}

#[test]
fn what_a_step_does_it_with_is_among_the_tools() {
    let mut missing = Vec::new();
    for knowledge in bases() {
        for (name, repair, _) in repairs(&knowledge) {
            for step in &repair.steps {
                // A hose clamp is tightened until the hose just bulges; nobody has a driver for its figure.
                let text = step.what.to_lowercase().replace("n·m", "N·m");
                let clamps = text.contains("clamp");
                for (words, tools) in NAMED {
                    let has = tools.iter().any(|tool| repair.tools.iter().any(|t| t == tool));
                    if text.contains(words) && !has && !(clamps && *words == "N·m") {
                        missing.push(format!("{name}: `{}` without {}", step.what, tools[0]));
                    }
                }
            }
        }
    }
    assert!(missing.is_empty(), "{}", missing.join("\n"));
}

/// What a repair or the way to it writes down is set back by it, or on the way out; and what is set back was written
/// down, unless it is said what to set without a record.
#[test]
fn what_is_disturbed_is_written_down_and_set_back() {
    let mut wrong = Vec::new();
    for knowledge in bases() {
        for (name, repair, opened) in repairs(&knowledge) {
            let ways = || opened.iter().map(|ix| &knowledge.access[*ix]);
            let steps = || repair.steps.iter().chain(ways().flat_map(|access| access.steps.iter().chain(&access.back)));
            let of = |pick: fn(&Step) -> &Vec<Ix<Setting>>| -> BTreeSet<Ix<Setting>> {
                steps().flat_map(pick).copied().collect()
            };
            let recorded = of(|step| &step.record);
            let set = &of(|step| &step.set) | &of(|step| &step.anew);
            let found: BTreeSet<Ix<Setting>> = steps()
                .filter(|step| step.phase != Phase::HandOver)
                .flat_map(|step| &step.record)
                .copied()
                .filter(|ix| !READINGS.contains(&knowledge.settings.id(*ix)))
                .collect();
            let right = |id: &str| PUT_RIGHT.iter().any(|(repair, of)| name.ends_with(repair) && *of == id);
            let left = found.difference(&set).map(|ix| knowledge.settings.id(*ix)).filter(|id| !right(id));
            wrong.extend(left.map(|id| format!("{name}: {id} is not set back")));
            let blind = set.difference(&recorded).filter(|ix| knowledge.settings[**ix].generic.is_none());
            wrong.extend(
                blind
                    .filter(|ix| !knowledge.settings.id(**ix).ends_with("-fitted"))
                    .map(|ix| format!("{name}: {} is set and was not written down", knowledge.settings.id(*ix))),
            );
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// `Tap it out` says nothing once another repair's step stands before it.
#[test]
fn every_step_says_what_it_is_about() {
    let mut wrong = Vec::new();
    for knowledge in bases() {
        for (name, repair, _) in repairs(&knowledge) {
            for step in &repair.steps {
                let first: Vec<&str> = step.what.split([' ', ',', '.', ':']).take(2).collect();
                let vague = first.get(1).is_some_and(|word| ["it", "them", "they", "its"].contains(word));
                if vague {
                    wrong.push(format!("{name}: `{}`", step.what));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// A repair that ignites and whose own way in opens fuel would be barred for ever, with a craft that waits for it.
#[test]
fn no_repair_bars_itself() {
    let mut barred = Vec::new();
    for knowledge in bases() {
        let vapor = &knowledge.hazards[knowledge.hazards.find("hz-vapor").expect("vapor is a hazard")];
        for (name, repair, opened) in repairs(&knowledge) {
            let opens = opened.iter().find(|access| vapor.opened_by.access.contains(access));
            if let (true, Some(access)) = (repair.ignites, opens) {
                barred.push(format!("{name} ignites, and {} opens fuel", knowledge.access.id(*access)));
            }
        }
    }
    assert!(barred.is_empty(), "{}", barred.join("\n"));
}

/// Common practice, no source: a new part cures whatever cleaning and rebuilding the old one cures, as surely at least.
#[test]
fn a_new_carburetor_cures_what_a_rebuilt_one_cures() {
    for knowledge in bases() {
        let removes = |id: &str| {
            let repair = knowledge.repairs.find(id).expect("both bases know it");
            knowledge.repairs[repair].removes.clone()
        };
        let new = removes("rm-carb-replace");
        for (cause, sureness) in removes("rm-carb-rebuild") {
            let of_new = new.iter().find(|(known, _)| *known == cause).map_or(0.0, |(_, sureness)| sureness.get());
            assert!(of_new >= sureness.get(), "{}: {of_new}", knowledge.causes.id(cause));
        }
    }
}
