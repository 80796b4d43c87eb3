//! What a second reader of the trade found wrong, held so that it stays right. Common practice, no source, unless said.

use crate::watercraft;
use doldrum::access::AccessGraph;
use doldrum::belief::{Belief, Explanations, believe};
use doldrum::case::{Case, text};
use doldrum::decision::{Action, Settings, advise, appraise, judge};
use doldrum::inference::Limits;
use doldrum::knowledge::layout::{Instance, Laid};
use doldrum::knowledge::{Cause, Knowledge, Turns, read};
use doldrum::plan::{Options, Plan, Source, StageKind, Step, plan};
use doldrum::safety::{Safety, Verdict};
use doldrum::store::{built_in_named, built_in_names};

/// A case of the built-in base, aired and without a smell.
fn case(knowledge: &Knowledge, layout: &str, symptom: &str, log: &str) -> Case {
    let text = format!(
        "format: 1\nknowledge: {{id: watercraft-two-stroke}}\ncraft: {{layout: {layout}}}\nsymptoms: [{symptom}]\n\
         log:\n  - {{check: ck-smell-hull, outcome: none, aired: 10 min}}\n{log}"
    );
    let (case, findings) = text::read("c.yaml", &text, knowledge);
    case.unwrap_or_else(|| panic!("{findings:?}"))
}

fn belief(knowledge: &Knowledge, case: &Case) -> Belief {
    believe(&Laid::new(knowledge, case.craft.clone()), case, &Limits::default()).expect("within the limits")
}

/// The chance of a cause, at its likeliest place.
fn chance(knowledge: &Knowledge, belief: &Belief, cause: &str) -> f64 {
    let ix = knowledge.causes.find(cause).expect("a cause");
    belief.causes.iter().filter(|c| c.cause.item == ix).map(|c| c.chance).fold(0.0, f64::max)
}

fn advised(knowledge: &Knowledge, case: &Case) -> Action {
    let (laid, graph) = (Laid::new(knowledge, case.craft.clone()), AccessGraph::new(knowledge));
    advise(&laid, &graph, case, &belief(knowledge, case), &Settings::default()).expect("within the limits").next.action
}

/// An engine that stopped dead may hold water or fuel: nothing turns it by the starter before the hand has.
#[test]
fn what_stopped_dead_is_not_started() {
    let knowledge = watercraft::knowledge();
    let stopped = case(&knowledge, "twin-each", "sy-seizes", "");
    let graph = AccessGraph::new(&knowledge);
    let may = |case: &Case, check: &str| {
        let check = Action::Check(Instance::new(knowledge.checks.find(check).expect("a check"), 0));
        matches!(judge(&Laid::new(&knowledge, case.craft.clone()), &graph, case, &check), Verdict::May(_))
    };
    assert!(!may(&stopped, "ck-crank-sound") && may(&stopped, "ck-turn-by-hand"));
    if let Action::Check(check) = advised(&knowledge, &stopped) {
        assert_ne!(knowledge.checks[check.item].turns, Turns::Starter);
    }
    // Free by hand and nothing at the plug holes: it may be cranked, and a film that tore keeps it from that again.
    let free = "  - {check: ck-water-at-plug-hole, outcome: dry}\n  - {check: ck-turn-by-hand, outcome: free-even}\n";
    let torn = "  - {check: ck-pump-film-look@front, outcome: torn}\n  - {access: ac-carb-off, now: shut}\n";
    let cranks = |log: &str| {
        let text = format!("{log}  - {{check: ck-smell-hull, outcome: none, aired: 15 min}}\n");
        may(&case(&knowledge, "twin-each", "sy-cranks-no-start", &text), "ck-crank-sound")
    };
    assert!(cranks(free) && !cranks(&format!("{free}{torn}")));
}

/// Liquid stops a piston one way only as often as both: free again by hand, it is still not cranked before the plug holes
/// are looked at.
#[test]
fn locked_one_way_is_locked() {
    let knowledge = watercraft::knowledge();
    let graph = AccessGraph::new(&knowledge);
    let cranks = |felt: &str| {
        let log = format!(
            "  - {{check: ck-turn-by-hand, outcome: {felt}}}\n  - {{check: ck-turn-by-hand, outcome: free-even}}\n  \
             - {{access: ac-plugs-out, now: shut}}\n"
        );
        let case = case(&knowledge, "twin-each", "sy-cranks-no-start", &log);
        let check = Action::Check(Instance::new(knowledge.checks.find("ck-crank-sound").expect("a check"), 0));
        matches!(judge(&Laid::new(&knowledge, case.craft.clone()), &graph, &case, &check), Verdict::May(_))
    };
    assert!(cranks("tight-spot") && !cranks("locked") && !cranks("locked-one-way"));
}

/// A new carburetor is bought once the old body was looked at, and a jet intake cleared once something was seen in it.
#[test]
fn what_is_bought_or_cleared_was_seen() {
    let knowledge = watercraft::knowledge();
    let graph = AccessGraph::new(&knowledge);
    let offered = |symptom: &str, log: &str, repair: &str| {
        let case = case(&knowledge, "single", symptom, log);
        let laid = Laid::new(&knowledge, case.craft.clone());
        let (_, all) = appraise(&laid, &graph, &case, &belief(&knowledge, &case), &Settings::default())
            .expect("within the limits");
        let ix = knowledge.repairs.find(repair).expect("a repair");
        all.iter().any(|a| !a.held && matches!(&a.action, Action::Repair(found, _) if *found == ix))
    };
    let body = |outcome: &str| format!("  - {{check: ck-body-look, outcome: {outcome}}}\n");
    assert!(!offered("sy-no-idle", "", "rm-carb-replace"));
    assert!(offered("sy-no-idle", &body("sound"), "rm-carb-replace"));
    assert!(offered("sy-no-idle", &body("pitted"), "rm-carb-replace"));
    let intake = |outcome: &str| format!("  - {{check: ck-intake-look, outcome: {outcome}}}\n");
    assert!(!offered("sy-no-crank", &intake("clear"), "rm-pump-unjam"));
    assert!(offered("sy-no-crank", &intake("rope-or-stone"), "rm-pump-unjam"));
    let again = format!("{}  - {{repair: rm-pump-unjam}}\n", intake("rope-or-stone"));
    assert!(!offered("sy-no-crank", &again, "rm-pump-unjam"));
}

/// A starter that stayed silent yesterday and turns the engine today: what needs cranking may be asked again, what needs it
/// to start may not.
#[test]
fn what_was_seen_to_crank_can_be_cranked() {
    let knowledge = watercraft::knowledge();
    let graph = AccessGraph::new(&knowledge);
    let may = |log: &str, check: &str| {
        let case = case(&knowledge, "single", "sy-no-crank", log);
        let check = Action::Check(Instance::new(knowledge.checks.find(check).expect("a check"), 0));
        matches!(judge(&Laid::new(&knowledge, case.craft.clone()), &graph, &case, &check), Verdict::May(_))
    };
    let turns = "  - {check: ck-crank-sound, outcome: even-crank}\n";
    let by_hand = "  - {check: ck-turn-by-hand, outcome: free-even}\n";
    let gone_again = format!("{turns}  - {{symptom: sy-no-crank, present: true}}\n");
    assert!(!may("", "ck-compression") && may(turns, "ck-compression") && !may(turns, "ck-telltale-flow"));
    assert!(!may(by_hand, "ck-compression") && !may(&gone_again, "ck-compression"));
}

/// A squirt of fuel is tried with the plugs and their leads on, so nothing asks for leads on posts first; what was confirmed
/// for the open engine before is asked again after it.
#[test]
fn a_squirt_of_fuel_is_tried_with_the_leads_on() {
    let knowledge = watercraft::knowledge();
    let graph = AccessGraph::new(&knowledge);
    let ticks = |log: &str, check: &str| {
        let case = case(&knowledge, "twin-each", "sy-cranks-no-start", log);
        let laid = Laid::new(&knowledge, case.craft.clone());
        let check = Action::Check(Instance::new(knowledge.checks.find(check).expect("a check"), 0));
        let Verdict::May(before) = judge(&laid, &graph, &case, &check) else { panic!("it may be made") };
        before.ticks.iter().map(|tick| knowledge.ticks.id(*tick).to_owned()).collect::<Vec<_>>()
    };
    let open = "  - {access: ac-plugs-out, now: open}\n";
    let posts = format!("{open}  - {{tick: leads-on-posts}}\n");
    let squirted = format!(
        "{posts}  - {{check: ck-prime-test, outcome: nothing}}\n  - {{check: ck-smell-hull, outcome: none, aired: 15 min}}\n"
    );
    assert!(ticks(open, "ck-prime-test").is_empty());
    assert!(ticks(open, "ck-plug-wet-dry").is_empty());
    assert_eq!(ticks(open, "ck-spark-tester"), ["leads-on-posts"]);
    assert!(ticks(&posts, "ck-spark-tester").is_empty());
    assert_eq!(ticks(&squirted, "ck-spark-tester"), ["leads-on-posts"]);
}

/// Who confirmed something half an hour ago or another day has not confirmed it of the bench as it is now; nor has who did so
/// tomorrow, by a clock that was wrong.
#[test]
fn a_tick_does_not_outlive_a_sniff() {
    let knowledge = watercraft::knowledge();
    let graph = AccessGraph::new(&knowledge);
    let posts = knowledge.ticks.find("leads-on-posts").expect("a tick");
    let holds = |ticked: &str, now: Option<&str>| {
        let log = format!(
            "  - {{access: ac-plugs-out, now: open}}\n  - {{{ticked}tick: leads-on-posts}}\n  \
             - {{at: \"2026-11-25T09:20:00Z\", check: ck-plug-wet-dry, unknown: true}}\n"
        );
        let case = case(&knowledge, "twin-each", "sy-cranks-no-start", &log);
        let now = now.map(|now| now.parse().expect("a moment"));
        Safety::at(&Laid::new(&knowledge, case.craft.clone()), &graph, &case, now).is_given(posts)
    };
    let (just_before, last_week) = ("at: \"2026-11-25T09:10:00Z\", ", "at: \"2026-11-18T09:10:00Z\", ");
    assert!(holds("", None) && holds(just_before, None) && !holds(last_week, None));
    assert!(holds(just_before, Some("2026-11-25T09:25:00Z")) && !holds(just_before, Some("2026-11-25T11:00:00Z")));
    assert!(!holds(just_before, Some("2026-11-25T09:00:00Z")));
}

/// A compression of 40 psi bars every start until the engine is mended: to read it again changes nothing.
#[test]
fn what_only_a_repair_changes_is_not_read_again() {
    let knowledge = watercraft::knowledge();
    let low = case(&knowledge, "single", "sy-cranks-no-start", "  - {check: ck-compression, reading: 40 psi}\n");
    let compression = knowledge.checks.find("ck-compression").expect("a check");
    assert!(!matches!(advised(&knowledge, &low), Action::Check(check) if check.item == compression));
    let mended = "  - {check: ck-compression, reading: 40 psi}\n  - {repair: rm-top-end}\n";
    let mended = case(&knowledge, "single", "sy-cranks-no-start", mended);
    let graph = AccessGraph::new(&knowledge);
    let laid = Laid::new(&knowledge, mended.craft.clone());
    let (_, all) = appraise(&laid, &graph, &mended, &belief(&knowledge, &mended), &Settings::default())
        .expect("within the limits");
    assert!(all.iter().any(|a| matches!(&a.action, Action::Check(check) if check.item == compression)));
}

/// A sealed tester takes the plug's place: a dark one does not blame the plug, a bright one does not clear it.
#[test]
fn a_tester_says_nothing_of_the_plug() {
    let knowledge = watercraft::knowledge();
    let plug = |log: &str| {
        let case = case(&knowledge, "single", "sy-cranks-no-start", log);
        chance(&knowledge, &belief(&knowledge, &case), "plug-fouled")
    };
    let before = plug("");
    // Another reason was found, so that the plug is rather less likely to be one.
    assert!(plug("  - {check: ck-spark-tester, outcome: none}\n") < before);
    assert!(plug("  - {check: ck-spark-tester, outcome: strong-blue}\n") > before);
}

/// A grounded stop wire or a dead trigger leaves the box without output as well: the box alone is not condemned by that.
#[test]
fn a_box_is_not_condemned_by_its_output_alone() {
    let knowledge = watercraft::knowledge();
    let log = "  - {check: ck-spark-tester, outcome: none}\n  - {check: ck-charge-coil-peak, reading: 180 V}\n  \
               - {check: ck-cdi-output-peak, reading: 40 V}\n";
    let before = case(&knowledge, "single", "sy-cranks-no-start", "");
    let after = case(&knowledge, "single", "sy-cranks-no-start", log);
    let (before, after) = (belief(&knowledge, &before), belief(&knowledge, &after));
    for cause in ["trigger-coil-faulty", "cdi-box-faulty", "lanyard-or-stop-switch"] {
        let [before, after] = [&before, &after].map(|belief| chance(&knowledge, belief, cause));
        assert!(after > 2.0 * before, "{cause}: {before} {after}");
    }
    assert!(chance(&knowledge, &after, "cdi-box-faulty") < 0.9);
}

/// Across a relay that does not close stands the whole battery (Ohm's law: no current, no other drop).
#[test]
fn the_whole_battery_across_the_plus_side_is_an_open_circuit() {
    let knowledge = watercraft::knowledge();
    let open = |volts: &str| {
        let log = format!(
            "  - {{check: ck-crank-sound, outcome: silent}}\n  - {{check: ck-battery-rest-volts, reading: 12.6 V}}\n  \
             - {{check: ck-voltage-drop-pos, reading: {volts} V}}\n"
        );
        let belief = belief(&knowledge, &case(&knowledge, "single", "sy-no-crank", &log));
        ["start-switch-or-interlock", "main-fuse-blown", "start-relay-faulty"].map(|c| chance(&knowledge, &belief, c))
    };
    let (whole, little) = (open("12.4"), open("0.2"));
    assert!(whole.iter().zip(little).all(|(whole, little)| *whole > little), "{whole:?} {little:?}");
    assert!(whole.iter().sum::<f64>() > 0.9, "{whole:?}");
}

/// The plan that goes for one cause.
fn plan_for(knowledge: &Knowledge, case: &Case, cause: Instance<Cause>) -> Option<Plan> {
    let (laid, graph) = (Laid::new(knowledge, case.craft.clone()), AccessGraph::new(knowledge));
    plan(&laid, &graph, case, &[], &Explanations::default(), &Options { causes: vec![cause] }).ok()
}

/// Every step of a plan with its stage.
fn steps(plan: &Plan) -> impl Iterator<Item = (StageKind, &Step)> {
    plan.stages
        .iter()
        .flat_map(|stage| stage.sections.iter().flat_map(|section| &section.steps).map(|step| (stage.kind, step)))
}

/// In every plan for a single cause, of both bases: the complaint is tried in a state of running that the plan has opened and
/// not shut, so before the tap is shut and the lanyard hung up; and whatever turns the engine by the starter as a proof says
/// how it is kept from starting.
#[test]
fn the_complaint_is_tried_while_it_can_run() {
    let mut tried = 0;
    for name in built_in_names() {
        let (knowledge, _) = read(&built_in_named(name).expect("a built-in base"));
        let knowledge = knowledge.expect("it is sound");
        let symptom = knowledge.symptoms.iter().map(|(ix, _)| knowledge.symptoms.id(ix)).next().expect("a symptom");
        let layout = knowledge.layouts.iter().map(|(ix, _)| knowledge.layouts.id(ix)).next().expect("a layout");
        let text = format!(
            "format: 1\nknowledge: {{id: {}}}\ncraft: {{layout: {layout}}}\nuser: technician\nsymptoms: [{symptom}]\nlog: []\n",
            knowledge.id
        );
        let case = text::read("c.yaml", &text, &knowledge).0.expect("a case");
        for believed in &belief(&knowledge, &case).causes {
            let Some(plan) = plan_for(&knowledge, &case, believed.cause) else { continue };
            let id = knowledge.causes.id(believed.cause.item);
            let mut running = false;
            for (stage, step) in steps(&plan) {
                match &step.source {
                    Source::Opens(access) => {
                        running |= knowledge.access.find(access).is_some_and(|ix| knowledge.access[ix].shuts_others);
                    }
                    Source::Closes(access) => {
                        running &= !knowledge.access.find(access).is_some_and(|ix| knowledge.access[ix].shuts_others);
                    }
                    Source::Complaint(_) if step.ignites => {
                        assert!(running, "{name} {id}: {}", step.what);
                        tried += 1;
                    }
                    Source::Check(check) if stage != StageKind::Run => {
                        let item = &knowledge.checks[knowledge.checks.find(check).expect("a check")];
                        if item.turns == Turns::Starter {
                            assert_eq!(step.how, item.how, "{name} {id}: {}", step.what);
                        }
                    }
                    _ => {}
                }
            }
        }
    }
    assert!(tried > 100, "{tried}");
}

/// A setting that is the fault, or of a part that is gone, is made by the sheet: what was found stands beside it and is not
/// what to set.
#[test]
fn what_was_set_wrong_is_not_set_back() {
    let knowledge = watercraft::knowledge();
    let case = case(&knowledge, "single", "sy-no-thrust", "  - {set: wear-ring-clearance, value: \"1.2\"}\n");
    let worn = knowledge.causes.find("wear-ring-or-impeller").expect("a cause");
    let plan = plan_for(&knowledge, &case, Instance::new(worn, 0)).expect("a plan");
    let made: Vec<&Step> = plan.steps().filter(|step| !step.anew.is_empty()).collect();
    let [step] = made.as_slice() else { panic!("{made:?}") };
    assert_eq!(step.anew[0].value.as_deref(), Some("1.2"));
    assert!(step.set.iter().all(|line| line.setting.id != step.anew[0].setting.id));
}

/// What was found and costs little is put right before anything that comes to about the same is looked at, with whatever seed;
/// and nobody strips the cooling or a carburetor before a look that could speak against it.
#[test]
fn of_about_the_same_what_was_found_first_and_no_bet_unseen() {
    let knowledge = watercraft::knowledge();
    let next = |user: &str, layout: &str, symptom: &str, log: &str, seed: u64| {
        let case = Case { user: knowledge.users.find(user).expect("a user"), ..case(&knowledge, layout, symptom, log) };
        let (laid, graph) = (Laid::new(&knowledge, case.craft.clone()), AccessGraph::new(&knowledge));
        let settings = Settings { seed, ..Settings::default() };
        advise(&laid, &graph, &case, &belief(&knowledge, &case), &settings).expect("within the limits").next.action
    };
    let off = "  - {check: ck-selector-position, outcome: off-or-between}\n";
    for seed in 1..4 {
        let Action::Repair(repair, _) = next("owner", "single", "sy-cranks-no-start", off, seed) else {
            panic!("with seed {seed} the tap is left off");
        };
        assert_eq!(knowledge.repairs.id(repair), "rm-tap-on");
    }
    let on = "  - {check: ck-selector-position, outcome: selector-on}\n";
    assert!(matches!(next("technician", "twin-each", "sy-overheat-alarm", "", 1), Action::Check(_)));
    assert!(matches!(next("technician", "twin-each", "sy-no-idle", on, 1), Action::Check(_)));
}

/// A throttle that hangs, fuel without oil and an engine without cooling water ruin it or run away within a minute: it is not
/// run before they are cured and looked at again. A dry telltale over a head that stays cool is a clogged outlet.
#[test]
fn what_would_be_ruined_within_a_minute_is_not_run() {
    let knowledge = watercraft::knowledge();
    let graph = AccessGraph::new(&knowledge);
    let may_run = |log: &str| {
        let text = format!("{log}  - {{check: ck-smell-hull, outcome: none, aired: 15 min}}\n");
        let case = case(&knowledge, "twin-each", "sy-no-idle", &text);
        let check = Action::Check(Instance::new(knowledge.checks.find("ck-mist-test").expect("a check"), 0));
        matches!(judge(&Laid::new(&knowledge, case.craft.clone()), &graph, &case, &check), Verdict::May(_))
    };
    let said = |check: &str, outcome: &str| format!("  - {{check: {check}, outcome: {outcome}}}\n");
    let done = |repair: &str| format!("  - {{repair: {repair}}}\n");
    let (held, shuts) = (said("ck-throttle-travel", "slow-or-held-open"), said("ck-throttle-travel", "full-and-snaps"));
    let box_on = "  - {access: ac-airbox-off, now: shut}\n";
    assert!(may_run(""));
    assert!(may_run(&format!("{shuts}{box_on}")));
    assert!(!may_run(&format!("{held}{box_on}")));
    let set = done("rm-throttle-cable-set");
    assert!(!may_run(&format!("{held}{set}{box_on}")), "nobody has seen it snap shut");
    assert!(may_run(&format!("{held}{set}{shuts}{box_on}")));

    let short = said("ck-oil-ratio", "short");
    let plugs_in = "  - {access: ac-plugs-out, now: shut}\n";
    let measured = format!("{}{}{plugs_in}", said("ck-compression@front", "good"), said("ck-compression@rear", "good"));
    let mixed = done("rm-premix-correct");
    assert!(!may_run(&short) && !may_run(&format!("{short}{mixed}")) && !may_run(&format!("{short}{measured}")));
    assert!(may_run(&format!("{short}{mixed}{measured}")));
    let low = format!("{}{}{plugs_in}", said("ck-compression@front", "good"), said("ck-compression@rear", "low"));
    assert!(!may_run(&format!("{short}{mixed}{low}")), "new fuel mends no piston");

    let (dry, hot) = (said("ck-telltale-flow", "none"), said("ck-head-temp", "hot"));
    assert!(!may_run(&dry) && !may_run(&hot));
    assert!(may_run(&format!("{dry}{}", done("rm-cooling-flush"))));
    assert!(may_run(&format!("{dry}{}", said("ck-head-temp", "cool"))));
}

/// Charge coils and boxes mostly fail hot (share of the base's own effect, an estimate): right while cold, they stay in view.
#[test]
fn a_cold_reading_does_not_clear_what_fails_hot() {
    let knowledge = watercraft::knowledge();
    let at = |log: &str| belief(&knowledge, &case(&knowledge, "twin-each", "sy-dies-after-minutes", log));
    let drops = "  - {check: ck-spark-hot, outcome: all-drop}\n";
    let cold = "  - {check: ck-charge-coil-peak, reading: 160 V}\n  - {check: ck-cdi-output-peak, reading: 185 V}\n";
    let (before, after) = (at(drops), at(&format!("{drops}{cold}")));
    for cause in ["stator-charge-coil-faulty", "cdi-box-faulty"] {
        let [before, after] = [&before, &after].map(|belief| chance(&knowledge, belief, cause));
        assert!(after > before / 2.0, "{cause}: {before} {after}");
    }
    // Low is low: the same reading far down speaks against the coil as before.
    let low = at(&format!("{drops}  - {{check: ck-charge-coil-peak, reading: 45 V}}\n"));
    assert!(
        chance(&knowledge, &low, "stator-charge-coil-faulty")
            > chance(&knowledge, &before, "stator-charge-coil-faulty")
    );
}

/// A joint that is loose or green drops out under the starter: it clicks, rattles or is silent.
#[test]
fn a_click_does_not_clear_a_bad_joint() {
    let knowledge = watercraft::knowledge();
    let at = |log: &str| belief(&knowledge, &case(&knowledge, "twin-each", "sy-no-crank", log));
    let before = at("");
    for heard in ["single-click", "rapid-clicks"] {
        let after = at(&format!("  - {{check: ck-crank-sound, outcome: {heard}}}\n"));
        for cause in ["battery-terminal-corroded", "engine-ground-cable-bad"] {
            let [before, after] = [&before, &after].map(|belief| chance(&knowledge, belief, cause));
            assert!(after > before, "{cause}, {heard}: {before} {after}");
        }
    }
}

/// The flush hose feeds the engine past the jet intake: what is read on it neither clears weed nor convicts it by itself.
#[test]
fn the_hose_tells_nothing_of_the_intake() {
    let knowledge = watercraft::knowledge();
    let cool = "  - {check: ck-telltale-flow, outcome: strong}\n  - {check: ck-head-temp, reading: 50 C}\n";
    let weed = |symptom: &str, log: &str| {
        chance(&knowledge, &belief(&knowledge, &case(&knowledge, "twin-each", symptom, log)), "intake-weed")
    };
    assert!(weed("sy-overheat-alarm", cool) > weed("sy-overheat-alarm", ""), "what the hose would show is out of it");
    let (before, after) = (weed("sy-no-thrust", ""), weed("sy-no-thrust", cool));
    assert!((after / before - 1.0).abs() < 0.1, "{before} {after}");
}
