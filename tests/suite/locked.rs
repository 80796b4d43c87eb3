//! Where nothing may be tried: what releases that comes first, and nobody is asked to crank before.
//!
//! That leaking fuel is found and cured before anything cranks is common practice, no source.

use doldrum::access::AccessGraph;
use doldrum::belief::believe;
use doldrum::case::{Case, Event, text};
use doldrum::decision::{Action, Advice, Follow, Settings, advise, complained_of, judge, place_to_look, worked_on};
use doldrum::knowledge::Knowledge;
use doldrum::knowledge::layout::{Instance, Laid};
use doldrum::report::{Assessment, Figures, render_markdown};
use doldrum::safety::{Safety, Verdict};
use doldrum::units::System;

const LEAKING: &str = "
format: 1
knowledge: {id: watercraft-two-stroke}
craft: {layout: single}
symptoms: [sy-cranks-no-start]
log:
  - {check: ck-smell-hull, outcome: strong}
  - {check: ck-external-weep, outcome: fitting-or-hose}
";

fn knowledge() -> Knowledge {
    doldrum::knowledge::read(&doldrum::store::built_in()).0.expect("the built-in knowledge base is sound")
}

fn case(knowledge: &Knowledge, more: &str) -> Case {
    read(knowledge, &format!("{LEAKING}{more}"))
}

fn read(knowledge: &Knowledge, text: &str) -> Case {
    let (case, findings) = text::read("case.yaml", text, knowledge);
    case.unwrap_or_else(|| panic!("the case is sound: {findings:#?}"))
}

fn next(knowledge: &Knowledge, case: &Case) -> Action {
    let laid = Laid::new(knowledge, case.craft.clone());
    let graph = AccessGraph::new(knowledge);
    let settings = Settings::default();
    let belief = believe(&laid, case, &settings.limits).expect("narrow enough");
    advise(&laid, &graph, case, &belief, &settings).expect("narrow enough").next.action
}

fn may_be_tried(knowledge: &Knowledge, case: &Case) -> bool {
    let laid = Laid::new(knowledge, case.craft.clone());
    let action = Action::Try(complained_of(case));
    matches!(judge(&laid, &AccessGraph::new(knowledge), case, &action), Verdict::May(_))
}

#[test]
fn a_leak_is_cured_though_the_engine_may_not_be_tried_after_it() {
    let knowledge = knowledge();
    let case = case(&knowledge, "");
    assert!(!may_be_tried(&knowledge, &case), "fuel leaks");
    let Action::Repair(repair, _) = next(&knowledge, &case) else { panic!("a repair of the leak") };
    let leak = knowledge.causes.find("suction-air-leak").expect("it leaks there");
    let removes = &knowledge.repairs[repair].removes;
    assert!(removes.iter().any(|(cause, _)| *cause == leak), "{}", knowledge.repairs.id(repair));
}

#[test]
fn after_that_the_joints_and_the_hull_are_asked_for_before_the_starter() {
    let knowledge = knowledge();
    let mut log = "  - {repair: rm-suction-reseal}\n".to_owned();
    for (asked, says) in [("ck-external-weep", "dry"), ("ck-smell-hull", "none")] {
        let case = case(&knowledge, &log);
        assert!(!may_be_tried(&knowledge, &case), "nothing has shown that it is tight: {log}");
        let Action::Check(check) = next(&knowledge, &case) else { panic!("a check after {log}") };
        assert_eq!(knowledge.checks.id(check.item), asked);
        let entry = format!("  - {{check: {asked}, outcome: {says}}}\n");
        log += &entry;
    }
    let case = case(&knowledge, &log);
    assert!(may_be_tried(&knowledge, &case), "dry joints, no smell");
    assert!(case.log.iter().any(|entry| matches!(entry.event, Event::Repaired { .. })));
}

/// Aired and smelled once more it may smell of nothing, and the joint is as wet as before: the sniff is not asked for again
/// and again; the joint is looked at once more, or the leak is cured.
#[test]
fn a_sniff_of_none_does_not_end_a_leak_that_was_seen() {
    let knowledge = knowledge();
    let case = case(&knowledge, "  - {check: ck-smell-hull, outcome: none}\n");
    assert!(!may_be_tried(&knowledge, &case), "the joint is wet");
    let next = match next(&knowledge, &case) {
        Action::Check(check) => knowledge.checks.id(check.item).to_owned(),
        other => format!("{other:?}"),
    };
    assert_ne!(next, "ck-smell-hull");
    assert_ne!(next, "HandOver");
}

/// Compression below 60 psi bars a start; a new plug does not change that, and so is not tried.
#[test]
fn what_may_not_run_is_not_tried_after_a_repair() {
    let knowledge = knowledge();
    let text = LEAKING.split("log:").next().expect("a head").to_owned()
        + "log:\n  - {check: ck-smell-hull, outcome: none}\n  - {check: ck-compression, reading: 45 psi}\n  - {repair: rm-plugs-renew}\n";
    let case = read(&knowledge, &text);
    assert!(!may_be_tried(&knowledge, &case));
}

/// A clean sniff with the carburetor open leaves the vapor barred from sparks, and is not asked for again at once.
#[test]
fn a_clean_sniff_is_not_asked_for_twice_while_fuel_is_open() {
    let knowledge = knowledge();
    let text = LEAKING
        .replace("strong", "none")
        .replace("ck-external-weep, outcome: fitting-or-hose", "ck-throat-drip, outcome: steady-drip");
    let open = "  - {access: ac-reg-cover-off, now: open}\n  - {check: ck-smell-hull, outcome: none, aired: 10 min}\n";
    let (case, findings) = text::read("case.yaml", &format!("{text}{open}"), &knowledge);
    let case = case.unwrap_or_else(|| panic!("the case is sound: {findings:#?}"));
    let sniff = knowledge.checks.find("ck-smell-hull").expect("the sniff");
    assert!(!matches!(next(&knowledge, &case), Action::Check(check) if check.item == sniff), "it was clean");
}

fn advice(knowledge: &Knowledge, symptoms: &str, log: &str) -> Advice {
    advice_with(knowledge, symptoms, log, Follow::Priced)
}

fn advice_with(knowledge: &Knowledge, symptoms: &str, log: &str, follow: Follow) -> Advice {
    let head = LEAKING.split("symptoms:").next().expect("a head");
    let (case, findings) = text::read("case.yaml", &format!("{head}symptoms: {symptoms}\nlog:\n{log}"), knowledge);
    let case = case.unwrap_or_else(|| panic!("the case is sound: {findings:#?}"));
    advice_on(knowledge, &case, follow)
}

fn advice_on(knowledge: &Knowledge, case: &Case, follow: Follow) -> Advice {
    let laid = Laid::new(knowledge, case.craft.clone());
    let settings = Settings { worlds: 1024, alternatives: usize::MAX, follow, ..Settings::default() };
    let belief = believe(&laid, case, &settings.limits).expect("narrow enough");
    advise(&laid, &AccessGraph::new(knowledge), case, &belief, &settings).expect("narrow enough")
}

/// A check that comes first because a hazard waits for it may show anything, and is not offered a second time.
#[test]
fn what_settles_a_hazard_may_show_something_else() {
    let knowledge = knowledge();
    let advice = advice(&knowledge, "[sy-fuel-leak-smell]", "  - {check: ck-smell-hull, outcome: strong}\n");
    let Action::Check(check) = advice.next.action else { panic!("a look for the leak") };
    assert_eq!(knowledge.checks.id(check.item), "ck-external-weep");
    let chances: Vec<f64> = advice.next.branches.iter().map(|branch| branch.chance).collect();
    assert_eq!(chances.len(), knowledge.checks[check.item].outcomes.len());
    assert!((chances.iter().sum::<f64>() - 1.0).abs() < 1e-9, "{chances:?}");
    let dry = advice.next.branches[0].chance;
    assert!((0.05..0.7).contains(&dry), "it smells because something leaks, found dry with {dry}");
    assert!(advice.alternatives.iter().all(|other| other.action != advice.next.action));
}

/// Two complaints with a cause each: no one repair cures both, and that is no reason to give up before anything is tried.
#[test]
fn of_two_complaints_one_is_cured_after_the_other() {
    let knowledge = knowledge();
    for second in ["sy-fuel-leak-smell", "sy-water-in-hull"] {
        let log = "  - {check: ck-smell-hull, outcome: strong}\n";
        let advice = advice(&knowledge, &format!("[{second}, sy-cranks-no-start]"), log);
        assert_ne!(advice.next.action, Action::HandOver, "{second}");
        let left = advice.wanted.as_ref().unwrap_or(&advice.next).expected_cost.get();
        assert!(left < 2400.0, "handing over is 2500, found {left} with {second}");
    }
    let (case, _) = text::read("case.yaml", &LEAKING.replace("[sy-cranks", "[sy-water-in-hull, sy-cranks"), &knowledge);
    let first = worked_on(&case.expect("the case is sound")).expect("a complaint");
    assert_eq!(knowledge.symptoms.id(first), "sy-cranks-no-start");
}

/// With two complaints and a strong smell the wet joint is looked for; what a screen says of the next one is what is then
/// proposed, which is about the leak and not about the cure.
#[test]
fn what_follows_an_answer_is_what_is_then_proposed() {
    let knowledge = knowledge();
    let (symptoms, log) = ("[sy-fuel-leak-smell, sy-cranks-no-start]", "  - {check: ck-smell-hull, outcome: strong}\n");
    let now = advice_with(&knowledge, symptoms, log, Follow::Asked);
    let Action::Check(check) = now.next.action else { panic!("a look for the leak") };
    for branch in now.next.branches.iter().filter(|branch| branch.chance > 0.05) {
        let outcome = &knowledge.checks[check.item].outcomes[branch.outcome].id;
        let answered = format!("{log}  - {{check: {}, outcome: {outcome}}}\n", knowledge.checks.id(check.item));
        let then = advice(&knowledge, symptoms, &answered).next.action;
        assert_eq!(branch.then, Some(then), "after {outcome}");
    }
}

/// What the vapor holds up was not asked in vain: with water perhaps in a cylinder, two faint smells are no reason to give up.
#[test]
fn what_an_interlock_holds_up_is_not_worn_out() {
    let knowledge = knowledge();
    let head = LEAKING.split("log:").next().expect("a head");
    let text = format!(
        "{head}history: {{cx-event: rolled-or-submerged}}\nlog:\n  - {{check: ck-smell-hull, outcome: faint}}\n  - \
         {{check: ck-smell-hull, outcome: faint}}\n"
    );
    let case = read(&knowledge, &text);
    assert_ne!(next(&knowledge, &case), Action::HandOver);
}

/// Water may be in the other cylinder, and the vapor forbids to look: the sniff comes first, then the plug hole, then the
/// stop button that was seen to stick is mended and tried. Three links of a chain, and no reason to hand over at the first.
#[test]
fn what_releases_may_itself_be_held_up() {
    let knowledge = knowledge();
    let seen = "  - {check: ck-smell-hull, outcome: none, aired: 10 min}
  - {access: ac-hatch-open, now: open}
  - {access: ac-plugs-out, now: open}
  - {check: ck-water-at-plug-hole@rear, outcome: dry}
  - {check: ck-turn-by-hand, outcome: free-even}
  - {check: ck-hand-pump-supply, outcome: flows-clear}
  - {check: ck-smell-hull, outcome: faint}
  - {check: ck-smell-hull, outcome: faint, aired: 15 min}
  - {check: ck-lanyard-fit, outcome: button-sticks}
";
    let mended = "  - {repair: rm-lanyard-seat}\n  - {check: ck-smell-hull, outcome: faint, aired: 15 min}\n";
    let history = "cx-event: hose-flush-with-engine-stopped-or-towed-fast, cx-onset: sudden-while-running";
    for log in [seen.to_owned(), format!("{seen}{mended}")] {
        let text = format!(
            "format: 1\nknowledge: {{id: watercraft-two-stroke}}\ncraft: {{layout: twin-each}}\nhistory: {{{history}}}\n\
             symptoms: [sy-cranks-no-start]\nlog:\n{log}"
        );
        let advice = advice_on(&knowledge, &read(&knowledge, &text), Follow::Priced);
        let id = |action: &Action| match action {
            Action::Check(check) => knowledge.checks.id(check.item).to_owned(),
            other => format!("{other:?}"),
        };
        assert_eq!(id(&advice.next.action), "ck-smell-hull");
        let wanted = advice.wanted.expect("what it clears the way for");
        assert_eq!(
            wanted.action,
            Action::Check(Instance::new(knowledge.checks.find("ck-water-at-plug-hole").unwrap(), 0))
        );
    }
}

/// After a strong smell a clean sniff settles nothing before the joints were found dry. Found dry after it, they leave one
/// more sniff to make, which is no reason to hand over though two smelled of fuel before.
#[test]
fn joints_found_dry_after_a_clean_sniff_ask_for_one_more() {
    let knowledge = knowledge();
    let head = LEAKING.split("log:").next().expect("a head").replace("single", "twin-each");
    let smells = "  - {check: ck-smell-hull, outcome: faint, aired: 10 min}
  - {check: ck-smell-hull, outcome: strong, aired: 15 min}
";
    let (none, dry) =
        ("  - {check: ck-smell-hull, outcome: none, aired: 30 min}\n", "  - {check: ck-external-weep, outcome: dry}\n");
    let proposed = |log: &str| {
        let case = read(&knowledge, &format!("{head}log:\n{log}"));
        match next(&knowledge, &case) {
            Action::Check(check) => knowledge.checks.id(check.item).to_owned(),
            other => format!("{other:?}"),
        }
    };
    assert_eq!(proposed(&format!("{smells}{none}")), "ck-external-weep");
    assert_eq!(proposed(&format!("{smells}{none}{dry}")), "ck-smell-hull");
    // Either order closes it in the end.
    for log in [format!("{smells}{none}{dry}{none}"), format!("{smells}{dry}{none}")] {
        let case = read(&knowledge, &format!("{head}log:\n{log}"));
        assert!(may_be_tried(&knowledge, &case), "{log}");
    }
}

/// A joint that was seen wet twice is mended, not looked at until somebody finds it dry; a faint smell is aired and smelled again.
#[test]
fn what_found_something_is_not_asked_until_it_shows_nothing() {
    let knowledge = knowledge();
    let proposed = |log: &str, id: &str| {
        let advice = advice(&knowledge, "[sy-cranks-no-start]", log);
        let wanted = knowledge.checks.find(id).expect("a check");
        let is_it = |action: &Action| matches!(action, Action::Check(check) if check.item == wanted);
        std::iter::once(&advice.next).chain(&advice.alternatives).any(|proposal| is_it(&proposal.action))
    };
    let (smell, wet) =
        ("  - {check: ck-smell-hull, outcome: strong}\n", "  - {check: ck-external-weep, outcome: fitting-or-hose}\n");
    assert!(!proposed(&format!("{smell}{wet}{wet}"), "ck-external-weep"));
    let faint = "  - {check: ck-smell-hull, outcome: faint, aired: 15 min}\n";
    assert!(proposed(&faint.repeat(3), "ck-smell-hull"));
}

/// A check that settles a hazard is proposed where it has not been made, then where it did not show what is wanted.
#[test]
fn what_settles_a_hazard_is_looked_for_at_the_place_looked_at_least() {
    let knowledge = knowledge();
    let check = knowledge.checks.find("ck-water-at-plug-hole").expect("the plug holes");
    let dry = knowledge.checks[check].outcomes.iter().position(|o| o.id == "dry").expect("dry");
    let place_after = |log: &str| {
        let head = LEAKING.split("log:").next().expect("a head").replace("single", "twin-each");
        let (case, findings) = text::read("case.yaml", &format!("{head}log:\n{log}"), &knowledge);
        let case = case.unwrap_or_else(|| panic!("the case is sound: {findings:#?}"));
        place_to_look(&Laid::new(&knowledge, case.craft.clone()), &case, check, dry).at
    };
    let said = |place: &str, says: &str| format!("  - {{check: ck-water-at-plug-hole@{place}, outcome: {says}}}\n");
    let smelled = "  - {check: ck-smell-hull, outcome: none}\n".to_owned();
    let front_wet = smelled.clone() + &said("front", "drops-water");
    assert_eq!(place_after(&smelled), 0);
    assert_eq!(place_after(&front_wet), 1, "nobody looked there");
    assert_eq!(place_after(&(front_wet.clone() + &said("rear", "dry"))), 0, "the rear one is dry");
    assert_eq!(place_after(&(front_wet.clone() + &said("rear", "drops-water") + &said("front", "drops-water"))), 1);
}

/// A craft that has been rolled waits for every plug hole and a turn by hand. Who has turned it and looked into the front
/// hole looks into the rear one next: not into the front one again, and not into a carburetor for two hundred dollars.
/// That the holes come before the starter is common practice, no source.
#[test]
fn a_cylinder_that_was_looked_into_is_not_waited_for() {
    let knowledge = knowledge();
    let text = "
format: 1
knowledge: {id: watercraft-two-stroke}
craft: {layout: twin-each}
history: {cx-event: rolled-or-submerged}
symptoms: [sy-bogs]
log:
  - {check: ck-smell-hull, outcome: none, aired: 10 min}
  - {check: ck-turn-by-hand, outcome: free-even}
  - {check: ck-water-at-plug-hole@front, outcome: dry}
";
    let case = read(&knowledge, text);
    assert!(!may_be_tried(&knowledge, &case), "the rear one may hold water");
    let laid = Laid::new(&knowledge, case.craft.clone());
    let settings = Settings { worlds: 1024, alternatives: usize::MAX, ..Settings::default() };
    let belief = believe(&laid, &case, &settings.limits).expect("narrow enough");
    let advice = advise(&laid, &AccessGraph::new(&knowledge), &case, &belief, &settings).expect("narrow enough");
    let hole = knowledge.checks.find("ck-water-at-plug-hole").expect("the plug hole");
    let places: Vec<usize> = std::iter::once(&advice.next)
        .chain(&advice.alternatives)
        .filter_map(|proposal| match proposal.action {
            Action::Check(check) if check.item == hole => Some(check.at),
            _ => None,
        })
        .collect();
    assert_eq!(places, [1], "the front one has been looked into");
    let both = text.to_owned() + "  - {check: ck-water-at-plug-hole@rear, outcome: dry}\n";
    let case = read(&knowledge, &both);
    assert!(may_be_tried(&knowledge, &case), "both are dry and it turns");
}

/// The carburetors were cleaned and could not be tried, since the tank is seen to leak. What is gone already no repair makes
/// go, and what remains is the leak: it is cured next, and nobody hands over a craft for a filler hose.
#[test]
fn what_was_mended_and_not_tried_leaves_the_leak_to_be_mended() {
    let knowledge = knowledge();
    let log = "
format: 1
knowledge: {id: watercraft-two-stroke}
craft: {layout: twin-each}
symptoms: [sy-starts-then-dies, sy-fuel-leak-smell]
log:
  - {check: ck-smell-hull, outcome: strong}
  - {check: ck-external-weep, outcome: tank-or-filler}
  - {check: ck-suction-hold, outcome: tight}
  - {check: ck-hand-pump-supply, outcome: flows-clear}
  - {check: ck-jets-light@front, outcome: low-part-or-shut}
  - {check: ck-jets-light@rear, outcome: low-part-or-shut}
  - {repair: rm-low-circuit-clean}
";
    let case = read(&knowledge, log);
    assert!(!may_be_tried(&knowledge, &case), "fuel leaks");
    assert_eq!(next(&knowledge, &case), repair(&knowledge, "rm-tank-reseal"));
}

/// What a check showed stands until a repair can have changed it: the joint is not looked at again because a plug was
/// changed meanwhile.
#[test]
fn a_joint_seen_wet_is_looked_at_again_only_after_what_may_have_dried_it() {
    let knowledge = knowledge();
    let laid = |case: &Case| {
        let laid = Laid::new(&knowledge, case.craft.clone());
        let safety = Safety::of(&laid, &AccessGraph::new(&knowledge), case);
        safety.urgent(&laid, case).map(|(check, ..)| knowledge.checks.id(check).to_owned()).collect::<Vec<_>>()
    };
    assert!(laid(&case(&knowledge, "  - {repair: rm-plugs-renew}\n")).is_empty());
    assert_eq!(laid(&case(&knowledge, "  - {repair: rm-suction-reseal}\n")), ["ck-external-weep"]);
}

fn repair(knowledge: &Knowledge, id: &str) -> Action {
    Action::Repair(knowledge.repairs.find(id).unwrap_or_else(|| panic!("no {id}")), vec![0])
}

/// Where one cylinder has no compression, or fuel is smelled beside two complaints, handing over may look no dearer than all
/// that may come. Nobody does it before they have measured the other cylinder, or seen what comes out of the plug hole, or
/// looked where the fuel comes from, which takes minutes (common practice, no source).
#[test]
fn what_holds_a_craft_up_is_looked_at_before_it_is_handed_over() {
    let knowledge = knowledge();
    let next = |symptoms: &str, log: &[&str]| {
        let text = format!(
            "format: 1\nknowledge: {{id: watercraft-two-stroke}}\ncraft: {{layout: twin-each}}\nsymptoms: [{symptoms}]\n\
             log: [{}]\n",
            log.join(", ")
        );
        let advice = advice_on(&knowledge, &read(&knowledge, &text), Follow::Priced);
        let Action::Check(check) = advice.next.action else { panic!("{symptoms}: {:?}", advice.next.action) };
        (knowledge.checks.id(check.item).to_owned(), check.at, advice.next.saves.get())
    };
    let smells = "{check: ck-smell-hull, outcome: strong, aired: 10 min}";
    for two in ["sy-bogs, sy-races", "sy-no-idle, sy-no-top-end", "sy-starts-then-dies, sy-floods"] {
        assert_eq!(next(two, &[smells]).0, "ck-external-weep", "{two}");
    }
    let clean = "{check: ck-smell-hull, outcome: none, aired: 10 min}";
    let weak = "{check: ck-compression@front, reading: 53 psi}";
    let (check, _, _) = next("sy-hard-hot-start", &[clean, weak]);
    assert!(["ck-compression", "ck-water-at-plug-hole"].contains(&check.as_str()), "{check}");
    let dry = "{check: ck-water-at-plug-hole@front, outcome: dry}";
    let (check, at, saves) = next("sy-hard-hot-start", &[clean, weak, dry]);
    assert_eq!((check.as_str(), at), ("ck-compression", 1));
    assert!(saves < 0.0, "by its price alone it would have been handed over: {saves}");
}

/// Four checks may crank beside an open fuel line, with their ticks and a sniff of none at that moment. A smell that was
/// told of counts for more than the tick (common practice, no source).
#[test]
fn what_was_smelled_counts_for_more_than_a_tick() {
    let knowledge = knowledge();
    let delivery = knowledge.checks.find("ck-pump-delivery").expect("the pump's delivery");
    let may = |sniff: &str| {
        let text = LEAKING.split("log:").next().expect("a head").to_owned()
            + &format!("log:\n  - {{check: ck-smell-hull, outcome: {sniff}, aired: 15 min}}\n")
            + "  - {access: ac-fuel-lines-open, now: open}\n";
        let case = read(&knowledge, &text);
        let laid = Laid::new(&knowledge, case.craft.clone());
        judge(&laid, &AccessGraph::new(&knowledge), &case, &Action::Check(Instance::new(delivery, 0)))
    };
    let Verdict::May(before) = may("none") else { panic!("let through") };
    assert!(!before.ticks.is_empty(), "with its ticks");
    for smell in ["faint", "strong"] {
        assert!(matches!(may(smell), Verdict::Barred { .. }), "{smell}");
    }
}

/// A sniff clears the air of its moment. One of last month does not, and one that is dated after the moment it counts at was
/// not made yet; without a moment it is taken as good, and the page says so.
#[test]
fn a_sniff_counts_for_minutes_and_only_from_its_own_moment_on() {
    let knowledge = knowledge();
    let text = "format: 1\nknowledge: {id: watercraft-two-stroke}\ncraft: {layout: single}\nsymptoms: [sy-cranks-no-start]\n\
        log:\n  - {at: \"2026-11-25T09:00:00Z\", check: ck-smell-hull, outcome: none, aired: 15 min}\n";
    let case = read(&knowledge, text);
    let (laid, graph) = (Laid::new(&knowledge, case.craft.clone()), AccessGraph::new(&knowledge));
    let at = |now: &str| Safety::at(&laid, &graph, &case, now.parse().ok()).hazards;
    assert!(at("2026-11-25T09:05:00Z").is_empty());
    for (now, why) in [("2026-12-25T09:05:00Z", "minutes ago"), ("2026-11-24T09:05:00Z", "after this moment")] {
        let open = at(now);
        assert!(open.len() == 1 && open[0].why.contains(why), "{now}: {open:?}");
    }
    let page = |now: Option<&str>| {
        let now = now.map(|now| now.parse().expect("a moment"));
        let settings = Settings { now, worlds: 64, ..Settings::default() };
        let assessment = Assessment::new(&laid, &graph, &case, &settings, 0).expect("narrow enough");
        render_markdown(&assessment.document(&Figures::new(&knowledge, System::Us)))
    };
    let said = "last said 2026-11-25T09:00:00Z";
    assert!(page(None).contains(said) && !page(Some("2026-11-25T09:05:00Z")).contains(said));
}

/// Metal on a plug comes from a piston, a ring or a bearing: a new head gasket is no reason to run it again (common practice,
/// no source), and the cylinders are measured before anything is taken apart for it.
#[test]
fn metal_on_a_plug_is_not_answered_with_a_gasket() {
    let knowledge = knowledge();
    let head = LEAKING.split("symptoms:").next().expect("a head").to_owned()
        + "symptoms: [sy-no-top-end]\nlog:\n  - {check: ck-smell-hull, outcome: none, aired: 10 min}\n\
           \x20 - {check: ck-plug-color, outcome: metal-specks}\n";
    let Action::Check(check) = next(&knowledge, &read(&knowledge, &head)) else { panic!("nothing is taken apart yet") };
    assert_ne!(knowledge.checks.id(check.item), "ck-plug-color", "it was seen");
    let good = "  - {check: ck-compression, outcome: good}\n  - {check: ck-smell-hull, outcome: none}\n";
    let after = |repair: &str| {
        let case = read(&knowledge, &format!("{head}  - {{repair: {repair}}}\n{good}"));
        may_be_tried(&knowledge, &case)
    };
    assert!(!after("rm-head-gasket"));
    assert!(after("rm-top-end"));
}

/// Of the looks that are waited for before it may run again, that at the cylinder with the metal on its plug comes first, on
/// either side (common practice, no source).
#[test]
fn the_cylinder_with_metal_on_its_plug_is_looked_into_first() {
    let knowledge = knowledge();
    for (at, place) in ["front", "rear"].into_iter().enumerate() {
        let text = format!(
            "format: 1\nknowledge: {{id: watercraft-two-stroke}}\ncraft: {{layout: twin-each}}\nsymptoms: [sy-no-top-end]\n\
             log:\n  - {{check: ck-smell-hull, outcome: none, aired: 10 min}}\n  \
             - {{check: ck-plug-color@{place}, outcome: metal-specks}}\n"
        );
        let Action::Check(check) = next(&knowledge, &read(&knowledge, &text)) else { panic!("a look comes first") };
        assert_eq!((knowledge.checks.id(check.item), check.at), ("ck-compression", at), "{place}");
    }
}
