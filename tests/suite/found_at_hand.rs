//! What was found and costs little to put right is put right, not looked past.

use crate::watercraft;
use doldrum::access::AccessGraph;
use doldrum::belief::{Belief, believe};
use doldrum::case::text;
use doldrum::decision::{Action, Advice, Appraised, Settings, appraise};
use doldrum::inference::Limits;
use doldrum::knowledge::Knowledge;
use doldrum::knowledge::layout::Laid;

/// What is believed and what is weighed on a craft that does not start and smells of nothing, after these answers.
fn weighed(knowledge: &Knowledge, layout: &str, log: &str) -> (Belief, Advice, Vec<Appraised>) {
    let text = format!(
        "format: 1\nknowledge: {{id: watercraft-two-stroke}}\ncraft: {{layout: {layout}}}\nsymptoms: [sy-cranks-no-start]\n\
         log:\n  - {{check: ck-smell-hull, outcome: none, aired: 10 min}}\n{log}"
    );
    let (case, findings) = text::read("c.yaml", &text, knowledge);
    let case = case.unwrap_or_else(|| panic!("{findings:?}"));
    let laid = Laid::new(knowledge, case.craft.clone());
    let belief = believe(&laid, &case, &Limits::default()).expect("within the limits");
    let graph = AccessGraph::new(knowledge);
    let (advice, all) = appraise(&laid, &graph, &case, &belief, &Settings::default()).expect("within the limits");
    (belief, advice, all)
}

/// Whoever finds the fuel tap off turns it on and tries, before a plug comes out (common practice, no source). Where it cures,
/// the look is saved; where it does not, the look comes after it: by that alone it comes to less than the best look first.
#[test]
fn a_tap_that_is_off_is_turned_on_before_a_plug_comes_out() {
    let knowledge = watercraft::knowledge();
    for layout in ["single", "twin-each"] {
        let off = "  - {check: ck-selector-position, outcome: off-or-between}\n";
        let (_, advice, all) = weighed(&knowledge, layout, off);
        let Action::Repair(repair, _) = &advice.next.action else { panic!("{layout}: {:?}", advice.next.action) };
        assert_eq!(knowledge.repairs.id(*repair), "rm-tap-on", "{layout}");
        // By hand from the prices alone: where the tap cures, the best look and the tap after it are saved.
        let of = |wanted: &dyn Fn(&Action) -> bool| all.iter().find(|a| wanted(&a.action)).expect("it is weighed");
        let tap = of(&|action| *action == advice.next.action);
        let look = of(
            &|action| matches!(action, Action::Check(check) if knowledge.checks.id(check.item) == "ck-spark-tester"),
        );
        let saved = tap.cures * (look.cost.get() + tap.cost.get());
        assert!(saved > tap.cost.get(), "{layout}: {saved} is saved, it costs {:?}", tap.cost);
    }
}

/// What was found and put right is not put right again before it was looked at again, nor once it was seen to be right: nobody
/// turns on a tap that they turned on an hour ago.
#[test]
fn what_was_put_right_is_looked_at_before_it_is_put_right_again() {
    let knowledge = watercraft::knowledge();
    let tap = knowledge.repairs.find("rm-tap-on").expect("the tap");
    let offered = |log: &str| {
        let (_, _, all) = weighed(&knowledge, "twin-each", log);
        let of_tap = all.iter().filter(|a| matches!(a.action, Action::Repair(repair, _) if repair == tap));
        let oil = knowledge.checks.find("ck-compression-oil").expect("the oil test");
        let oils = all.iter().any(|a| matches!(a.action, Action::Check(check) if check.item == oil));
        (of_tap.map(|a| a.held).next(), oils)
    };
    let off = "  - {check: ck-selector-position, outcome: off-or-between}\n";
    let on = "  - {check: ck-selector-position, outcome: selector-on}\n";
    let done = "  - {repair: rm-tap-on}\n  - {symptom: sy-cranks-no-start, present: true}\n";
    assert_eq!(offered(off).0, Some(false), "found off");
    assert_eq!(offered(&format!("{off}{done}")).0, Some(true), "done: it waits for another look");
    assert_eq!(offered(&format!("{off}{done}{on}")).0, None, "seen to be on");
    assert_eq!(offered(&format!("{off}{done}{off}")).0, Some(false), "found off again");
    assert_eq!(offered(&format!("{off}{on}")).0, None, "the last look counts");
    // A check that comes after another's answer goes by the last one, of each cylinder.
    let (front, rear) =
        ("  - {check: ck-compression@front, outcome: bad}\n", "  - {check: ck-compression@rear, outcome: good}\n");
    let good = "  - {check: ck-compression@front, outcome: good}\n";
    assert!(offered(&format!("{front}{rear}")).1);
    assert!(!offered(&format!("{front}{rear}{good}")).1);
}

/// What was done and did not cure is not done again at once: first something must be seen that speaks for it (common practice,
/// no source: nobody fits new plugs twice in a row).
#[test]
fn what_did_not_cure_is_not_done_again_before_something_speaks_for_it() {
    let knowledge = watercraft::knowledge();
    let plugs = knowledge.repairs.find("rm-plugs-renew").expect("new plugs");
    let held = |log: &str| {
        let (_, _, all) = weighed(&knowledge, "twin-each", log);
        all.iter().find(|a| matches!(a.action, Action::Repair(repair, _) if repair == plugs)).map(|a| a.held)
    };
    let bridged = "  - {check: ck-plug-look@rear, outcome: bridged}\n";
    let sound = "  - {check: ck-plug-look@rear, outcome: ok}\n";
    let tank = "  - {check: ck-tank-level, outcome: reserve-only}\n";
    let done = "  - {repair: rm-plugs-renew}\n  - {symptom: sy-cranks-no-start, present: true}\n";
    assert_eq!(held(bridged), Some(false), "not done yet");
    assert_eq!(held(&format!("{bridged}{done}")), Some(true), "done");
    assert_eq!(held(&format!("{bridged}{done}{sound}")), Some(true), "all is well there");
    assert_eq!(held(&format!("{bridged}{done}{tank}")), Some(true), "says nothing of plugs");
    assert_eq!(held(&format!("{bridged}{done}{bridged}")), Some(false), "bridged again");
}

/// What nobody mistakes is believed, and put right where that is cheap; what only hints at a fault lifts it. Common practice,
/// no source: a mechanic who sees the hose hang off does not look at the fuel tap next.
#[test]
fn what_is_plainly_seen_is_believed() {
    let knowledge = watercraft::knowledge();
    let chance = |belief: &Belief, cause: &str| {
        let cause = knowledge.causes.find(cause).expect("a cause");
        belief.causes.iter().filter(|c| c.cause.item == cause).map(|c| c.chance).fold(0.0, f64::max)
    };
    for (check, outcome, cause, repair) in [
        ("ck-pulse-line-look@front", "hose-off", "pulse-line-off-or-cracked", Some("rm-pulse-line-renew")),
        ("ck-lanyard-fit", "button-sticks", "lanyard-or-stop-switch", Some("rm-lanyard-seat")),
        ("ck-choke-plate", "missing", "choke-not-closing", None),
        ("ck-line-trace", "crossed", "lines-crossed", None),
        ("ck-pump-film-look@front", "torn", "pump-diaphragm-torn", None),
    ] {
        let seen = format!("  - {{check: {check}, outcome: {outcome}}}\n");
        let (belief, advice, _) = weighed(&knowledge, "twin-each", &seen);
        assert!(chance(&belief, cause) > 0.5, "{check}: {outcome}");
        if let Some(repair) = repair {
            let Action::Repair(next, _) = advice.next.action else { panic!("{check}: {:?}", advice.next.action) };
            assert_eq!(knowledge.repairs.id(next), repair, "{check}");
        }
    }
    let (before, ..) = weighed(&knowledge, "twin-each", "");
    for (check, outcome, cause) in
        [("ck-timing-crank", "well-off", "flywheel-key-sheared"), ("ck-return-blow", "blocked", "return-circuit-fault")]
    {
        let seen = format!("  - {{check: {check}, outcome: {outcome}}}\n");
        let (after, ..) = weighed(&knowledge, "twin-each", &seen);
        assert!(chance(&after, cause) > 5.0 * chance(&before, cause), "{check}: {outcome}");
    }
}
