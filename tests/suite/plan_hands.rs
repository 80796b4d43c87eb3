//! Where hands are while a plan is worked: what turns a jet pump, what holds a piston, what a tool does at idle, and what an
//! owner can put right before anything is brought in. Common practice, no source.

use super::plan_ignition::{for_causes, knowledge, planned};
use super::plan_shut::walked;
use doldrum::access::AccessGraph;
use doldrum::belief::believe;
use doldrum::case::text;
use doldrum::decision::{Action, Settings, advise};
use doldrum::inference::Limits;
use doldrum::knowledge::Knowledge;
use doldrum::knowledge::layout::Laid;
use doldrum::plan::Plan;

/// The plans for each cause alone that the usual craft can have.
fn one_by_one<'k>(knowledge: &'k Knowledge, symptom: &'k str) -> impl Iterator<Item = (&'k str, Plan)> {
    let of = move |id: &'k str| planned(knowledge, symptom, &[id]).map(|plan| (id, plan));
    knowledge.causes.iter().map(|(ix, _)| knowledge.causes.id(ix)).filter_map(of)
}

/// Whether a step turns engine or shaft by hand. A flywheel that is turned while it is fitted is held in both hands.
fn turns_by_hand(what: &str) -> bool {
    let what = what.to_lowercase();
    what.contains("by hand") && what.contains("turn") && ["shaft", "engine"].iter().any(|part| what.contains(part))
}

/// An engine with its plugs in may fire or swing back, and the impeller with it.
#[test]
fn a_shaft_is_turned_by_hand_with_the_plugs_out() {
    let knowledge = knowledge("watercraft");
    let mut turned = 0;
    for (cause, plan) in one_by_one(&knowledge, "sy-no-top-end") {
        for (step, open) in walked(&plan).iter().filter(|(step, _)| turns_by_hand(&step.what)) {
            assert!(open.contains("ac-plugs-out"), "{cause}: `{}` with {open:?}", step.what);
            turned += 1;
        }
    }
    assert!(turned >= 20, "turned {turned} times");
}

/// A brake holds still what a dragging clutch or a fast idle would drive.
#[test]
fn a_tool_is_seen_to_stand_still_with_the_brake_off() {
    let knowledge = knowledge("handheld");
    let mut seen = 0;
    for (cause, plan) in one_by_one(&knowledge, "sy-races") {
        for step in plan.steps().filter(|step| step.what.contains("stands still")) {
            assert!(step.what.contains("brake off"), "{cause}: `{}`", step.what);
            seen += 1;
        }
    }
    assert!(seen >= 20, "seen {seen} times");
}

/// What comes off to get at the clutch goes on again after it; a rope holds a piston only in its cylinder, and only once it
/// was fed in.
#[test]
fn a_clutch_that_comes_off_goes_on_again_and_the_tool_after_it() {
    let knowledge = knowledge("handheld");
    for causes in [
        &["clutch-dragging"][..],
        &["crank-seal-leak"],
        &["crank-seal-leak", "clutch-dragging"],
        &["crank-seal-leak", "piston-scored"],
        &["clutch-dragging", "piston-scored"],
    ] {
        let plan = for_causes(&knowledge, "sy-races", causes);
        let walked = walked(&plan);
        let at = |words: &str| {
            let mut found = walked.iter().enumerate().filter(|(_, (step, _))| step.what.contains(words));
            let (at, (step, open)) = found.next().unwrap_or_else(|| panic!("{causes:?}: nothing says `{words}`"));
            assert!(found.next().is_none(), "{causes:?}: `{words}` stands twice");
            assert!(!open.contains("ac-cylinder-off"), "{causes:?}: `{}` with the cylinder off", step.what);
            (at, step.cautions.iter().any(|id| id == "hz-tool"))
        };
        let (roped, _) = at("feed a knotted rope in");
        let (off, off_caution) = at("take clutch cover and tool off");
        let (on, _) = at("Where the clutch is off");
        let (tool, tool_caution) = at("Where the tool came off");
        assert!(roped < off && off < on && on < tool, "{causes:?}: {roped} {off} {on} {tool}");
        assert!(off_caution && tool_caution, "{causes:?}: what the tool can do stands before it");
    }
}

/// What is advised to an owner on the phone who smells nothing, after what is in the log.
fn advised(base: &str, symptom: &str, log: &str) -> String {
    let knowledge = knowledge(base);
    let sniff = if base == "watercraft" { "ck-smell-hull" } else { "ck-smell" };
    let written = format!(
        "format: 1\nknowledge: {{id: {}}}\nuser: owner\nsymptoms: [{symptom}]\nlog:\n  \
         - {{check: {sniff}, outcome: none, aired: 10 min}}\n{log}",
        knowledge.id
    );
    let (case, findings) = text::read("c.yaml", &written, &knowledge);
    let case = case.unwrap_or_else(|| panic!("{findings:?}"));
    let (laid, graph) = (Laid::new(&knowledge, case.craft.clone()), AccessGraph::new(&knowledge));
    let belief = believe(&laid, &case, &Limits::default()).expect("within the limits");
    match advise(&laid, &graph, &case, &belief, &Settings::default()).expect("within the limits").next.action {
        Action::Check(check) => knowledge.checks.id(check.item).to_owned(),
        Action::Repair(repair, _) => knowledge.repairs.id(repair).to_owned(),
        Action::Try(_) => "try".to_owned(),
        Action::HandOver => "hand over".to_owned(),
    }
}

/// "Oh, it was off" is no job for a shop, and neither is weed on the grate.
#[test]
fn what_an_owner_can_put_right_is_not_brought_in() {
    for (base, symptom, check, outcome, repair) in [
        ("handheld", "sy-no-start", "ck-stop-switch-look", "loose-or-stuck", "rm-stop-switch-on"),
        ("handheld", "sy-rope-stuck", "ck-drive-look", "jammed", "rm-brake-off"),
        ("watercraft", "sy-no-thrust", "ck-intake-look", "weed", "rm-grate-clear"),
        ("watercraft", "sy-water-in-hull", "ck-drain-plugs", "loose-or-missing", "rm-drain-plugs-in"),
    ] {
        let answer = format!("  - {{check: {check}, outcome: {outcome}}}\n");
        assert_eq!(advised(base, symptom, &answer), repair, "{symptom}");
    }
    for (base, symptom, check) in [
        ("handheld", "sy-rope-stuck", "ck-drive-look"),
        ("watercraft", "sy-no-thrust", "ck-intake-look"),
        ("watercraft", "sy-water-in-hull", "ck-drain-plugs"),
    ] {
        assert_eq!(advised(base, symptom, ""), check, "{symptom}: it is asked first");
    }
}
