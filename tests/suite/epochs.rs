//! Answers given before a repair that cannot have changed what they show weigh as if given after it.

use doldrum::belief::believe;
use doldrum::case::{Case, text};
use doldrum::inference::Limits;
use doldrum::knowledge::layout::{Instance, Laid};
use doldrum::knowledge::{Cause, Knowledge};
use doldrum::model::compile::compile;

fn knowledge() -> Knowledge {
    doldrum::knowledge::read(&doldrum::store::built_in()).0.expect("the built-in knowledge base is sound")
}

fn case(knowledge: &Knowledge, log: &[&str]) -> Case {
    let log = log.iter().map(|entry| format!("  - {{{entry}}}")).collect::<Vec<_>>().join("\n");
    let text = format!(
        "format: 1\nknowledge: {{id: watercraft-two-stroke}}\ncraft: {{layout: single}}\n\
         symptoms: [sy-cranks-no-start]\nlog:\n{log}\n"
    );
    let (case, findings) = text::read("case.yaml", &text, knowledge);
    case.unwrap_or_else(|| panic!("the case is sound: {findings:#?}"))
}

/// The chance of every cause after a log of which nothing may be left out.
fn chances(knowledge: &Knowledge, log: &[&str]) -> Vec<(Instance<Cause>, f64)> {
    let case = case(knowledge, log);
    let laid = Laid::new(knowledge, case.craft.clone());
    assert_eq!(compile(&laid, &case).forgotten, 0, "nothing is left out");
    let belief = believe(&laid, &case, &Limits::default()).expect("narrow enough");
    let mut chances: Vec<_> = belief.causes.iter().map(|cause| (cause.cause, cause.chance)).collect();
    chances.sort_by_key(|(cause, _)| *cause);
    chances
}

/// New plugs, a new start relay, a resealed hull, an aired vent and a free choke change nothing about the filter.
const FAILED: [&str; 5] = [
    "repair: rm-plugs-renew",
    "repair: rm-relay-renew",
    "repair: rm-hull-seal",
    "repair: rm-vent-restore",
    "repair: rm-choke-free",
];
const STILL: &str = "symptom: sy-cranks-no-start, present: true";

#[test]
fn an_answer_is_carried_past_repairs_that_do_not_touch_it() {
    let knowledge = knowledge();
    let filter = "check: ck-filter-look, outcome: water";
    let mut early = vec![filter];
    let mut late = Vec::new();
    for repair in FAILED {
        early.extend([repair, STILL]);
        late.extend([repair, STILL]);
    }
    late.push(filter);
    let (early, late) = (chances(&knowledge, &early), chances(&knowledge, &late));
    let far = early.iter().zip(&late).map(|(a, b)| (a.1 - b.1).abs()).fold(0.0, f64::max);
    assert!(far < 1e-9, "{far}");
    let water = knowledge.causes.find("water-in-fuel").expect("it is listed");
    let chance = early.iter().find(|(cause, _)| cause.item == water).expect("it can have it").1;
    assert!(chance > 0.2, "the answer counts: {chance}");
}

#[test]
fn an_answer_that_a_repair_may_have_changed_is_not_carried_past_it() {
    let knowledge = knowledge();
    let log = ["check: ck-filter-look, outcome: water", "repair: rm-filter-replace", STILL];
    let case = case(&knowledge, &log);
    let laid = Laid::new(&knowledge, case.craft.clone());
    let model = compile(&laid, &case);
    assert_eq!(model.slice_of[0], 0);
    assert_eq!(model.now, 1);
}

/// What was found out between two repairs is not lost where neither the first of them nor any before it can have changed
/// it, once there are more repairs than a network has slices.
#[test]
fn an_answer_between_repairs_that_do_not_touch_it_outlives_them() {
    let knowledge = knowledge();
    // Each answer is about what is renewed next, so that none of them can be taken along to a later slice.
    let log = [
        "check: ck-connector-look, outcome: green",
        "repair: rm-ground-and-connector",
        STILL,
        "check: ck-vent-blow, outcome: in-blocked",
        "repair: rm-vent-restore",
        STILL,
        "check: ck-filter-look, outcome: water",
        "repair: rm-filter-replace",
        STILL,
    ];
    // A hull resealed beforehand: one repair, and one slice, too many.
    let resealed = [&["repair: rm-hull-seal", STILL], &log[..]].concat();
    let (with, without) = (chances(&knowledge, &resealed), chances(&knowledge, &log));
    let far = with.iter().zip(&without).map(|(a, b)| (a.1 - b.1).abs()).fold(0.0, f64::max);
    assert!(far < 0.01, "a resealed hull moved a chance by {far}");
}
