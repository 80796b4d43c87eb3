//! What must be found shut, and what shows on the water only. Common practice, no source: descaler in an open jacket runs
//! into the crankcase, an opened case cannot be pressed, a piston holds the flywheel only in its cylinder, and a flush hose
//! takes no load.

use super::plan_ignition::{for_causes, knowledge};
use doldrum::knowledge::Knowledge;
use doldrum::plan::{Plan, Source, Step};
use std::collections::BTreeSet;

/// The steps of a plan in order, each with what stands open while it is done.
pub fn walked<'p>(plan: &'p Plan) -> Vec<(&'p Step, BTreeSet<&'p str>)> {
    let mut open: BTreeSet<&'p str> = BTreeSet::new();
    let steps = plan.stages.iter().flat_map(|stage| &stage.sections).flat_map(|section| &section.steps);
    let walk = |step: &'p Step| {
        let before = open.clone();
        match &step.source {
            Source::Opens(id) => drop(open.insert(id.as_str())),
            Source::Closes(id) => drop(open.remove(id.as_str())),
            _ => {}
        }
        (step, before)
    };
    steps.map(walk).collect()
}

/// What a step of a repair or of access must find shut, by the words of the knowledge base.
fn must_be_shut(knowledge: &Knowledge, step: &Step) -> Vec<String> {
    let steps: Vec<_> = match &step.source {
        Source::Repair(id) => knowledge.repairs[knowledge.repairs.find(id).expect("a repair")].steps.iter().collect(),
        Source::Opens(id) | Source::Closes(id) => {
            let access = &knowledge.access[knowledge.access.find(id).expect("access")];
            access.steps.iter().chain(&access.back).collect()
        }
        _ => Vec::new(),
    };
    let same = steps.into_iter().filter(|known| known.what == step.what);
    same.flat_map(|known| &known.shut).map(|ix| knowledge.access.id(*ix).to_owned()).collect()
}

#[test]
fn what_must_be_found_shut_is() {
    for (base, symptom, causes) in [
        ("watercraft", "sy-no-top-end", ["rings-worn", "crank-seal-mag"]),
        ("watercraft", "sy-no-top-end", ["rings-worn", "crank-seal-pto"]),
        ("watercraft", "sy-no-top-end", ["head-gasket-leak", "cooling-line-blocked"]),
        ("watercraft", "sy-overheat-alarm", ["piston-scored", "cooling-line-blocked"]),
        ("watercraft", "sy-bogs", ["hose-debris", "crank-seal-pto"]),
        ("handheld", "sy-no-power", ["flywheel-key-sheared", "piston-scored"]),
    ] {
        let knowledge = knowledge(base);
        let plan = for_causes(&knowledge, symptom, &causes);
        let mut seen = 0;
        for (step, open) in walked(&plan) {
            let shut = must_be_shut(&knowledge, step);
            seen += usize::from(!shut.is_empty());
            assert!(!shut.iter().any(|id| open.contains(id.as_str())), "{causes:?}: `{}` with {open:?}", step.what);
        }
        assert!(seen > 0, "{causes:?}: nothing in it must be found shut");
    }
}

#[test]
fn what_shows_under_load_is_tried_on_the_water() {
    let knowledge = knowledge("watercraft");
    let symptom = "sy-no-top-end";
    for cause in ["cooling-line-blocked", "intake-weed", "high-jet-clogged", "airbox-blocked"] {
        let plan = for_causes(&knowledge, symptom, &[cause]);
        let tried = |(step, _): &&(&Step, BTreeSet<&str>)| step.source == Source::Complaint(symptom.to_owned());
        let walked = walked(&plan);
        let (step, open) = walked.iter().find(tried).expect("the complaint is tried");
        assert!(open.contains("ac-run-on-water"), "{cause}: `{}` with {open:?}", step.what);
        assert!(step.what.contains("under load"), "{cause}: {}", step.what);
    }
}

#[test]
fn an_engine_that_is_run_in_is_put_under_no_load() {
    for (base, symptom, cause, load) in [
        ("watercraft", "sy-no-top-end", "rings-worn", "rm-water-test"),
        ("watercraft", "sy-no-top-end", "crank-bearing-failed", "rm-water-test"),
        ("handheld", "sy-no-power", "piston-scored", "rm-load-test"),
    ] {
        let knowledge = knowledge(base);
        let plan = for_causes(&knowledge, symptom, &[cause]);
        assert!(plan.repairs.iter().any(|job| job.repair.id == "rm-run-in"), "{cause}: run in");
        assert!(plan.repairs.iter().all(|job| job.repair.id != load), "{cause}: and not loaded");
        let walked = walked(&plan);
        let full = walked.iter().find(|(step, _)| step.source == Source::Check("ck-max-rpm".to_owned()));
        assert!(full.is_none(), "{cause}: top speed is read");
        let complaint = Source::Complaint(symptom.to_owned());
        let (step, _) = walked.iter().find(|(step, _)| step.source == complaint).expect("the complaint is tried");
        assert!(step.what.contains("short of full load"), "{cause}: {}", step.what);
    }
}

#[test]
fn the_battery_is_joined_with_arrestor_and_cables_on() {
    let knowledge = knowledge("watercraft");
    let mut joined = 0;
    for cause in ["crank-seal-pto", "crank-seal-mag", "crank-bearing-failed", "rings-worn", "low-jet-clogged"] {
        let plan = for_causes(&knowledge, "sy-no-idle", &[cause]);
        for (step, open) in walked(&plan).iter().filter(|(step, _)| step.puts_on.as_deref() == Some("battery")) {
            let in_the_way = ["ac-airbox-off", "ac-linkage-off", "ac-carb-off", "ac-engine-out", "ac-flywheel-off"];
            let stands = in_the_way.iter().find(|id| open.contains(*id));
            assert_eq!(stands, None, "{cause}: `{}`", step.what);
            joined += 1;
        }
    }
    assert!(joined >= 4, "joined {joined} times");
}

/// Water at a plug hole is looked for with the battery off: that comes before the bursts, not between the last joining and the
/// start. A flush hose takes no run of half an hour.
#[test]
fn an_engine_that_held_water_is_proved_dry_before_it_is_cranked_and_run_on_the_water() {
    let knowledge = knowledge("watercraft");
    let plan = for_causes(&knowledge, "sy-no-crank", &["water-ingested-rollover"]);
    let walked = walked(&plan);
    let at = |wanted: &dyn Fn(&Step) -> bool| walked.iter().position(|(step, _)| wanted(step));
    let looks = |step: &Step| step.tests.iter().any(|test| test.check.id.starts_with("ck-water-at-plug-hole"));
    let (dry, bursts) = (at(&looks), at(&|step| step.what.contains("Crank bursts")));
    assert!(dry.expect("it is looked for") < bursts.expect("it is cranked"), "{dry:?} {bursts:?}");
    assert_eq!(walked.iter().filter(|(step, _)| looks(step)).count(), 1, "and not again with the battery joined");
    let long = walked.iter().find(|(step, _)| step.what.contains("20 to 30 minutes")).expect("it is run");
    assert!(long.1.contains("ac-run-on-water"), "`{}` with {:?}", long.0.what, long.1);
}

/// An engine is lifted out once a leak-down has shown that its drive-end seal leaks, and its coupling half comes off after
/// that: in the hull nobody reaches it.
#[test]
fn a_drive_end_seal_is_pressed_before_and_drawn_after_the_engine_is_out() {
    let knowledge = knowledge("watercraft");
    for causes in [&["crank-seal-pto"][..], &["crank-seal-pto", "crank-seal-mag"], &["crank-seal-pto", "rings-worn"]] {
        let plan = for_causes(&knowledge, "sy-no-idle", causes);
        let walked = walked(&plan);
        let at = |words: &str| walked.iter().position(|(step, _)| step.what.contains(words)).expect("it is done");
        let pressed = at("Do a leak-down with the old seal in");
        let (lifted, half, drawn) =
            (at("Lift the engine out"), at("Take the coupling half off"), at("old seal of the drive end"));
        assert!(pressed < lifted && lifted < half && half < drawn, "{causes:?}: {pressed} {lifted} {half} {drawn}");
        let pulled = walked.iter().position(|(step, _)| step.what.contains("Pull the seal"));
        assert!(pulled.is_none_or(|pulled| pressed < pulled), "{causes:?}: pressed with a seal out");
    }
}
