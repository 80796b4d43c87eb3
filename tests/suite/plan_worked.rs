//! The plans of the worked cases: they hold the repairs a right plan holds, and nothing dear that removes nothing needed.

use crate::{small_base, watercraft};
use doldrum::access::AccessGraph;
use doldrum::belief::{Explanations, believe};
use doldrum::inference::Limits;
use doldrum::knowledge::layout::Laid;
use doldrum::plan::{Options, OtherWay, Plan, plan};
use serde_json::Value;

/// Labor and parts a repair may come to that removes nothing needed.
const DEAR: f64 = 60.0;

fn expected() -> Vec<Value> {
    let text = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/cases/expected.yaml"));
    serde_yaml::from_str(&text.expect("the file is there")).expect("the file is YAML")
}

fn ids(value: &Value) -> Vec<String> {
    value.as_array().into_iter().flatten().map(|id| id.as_str().expect("an id").to_owned()).collect()
}

#[test]
fn the_worked_cases_get_the_right_plan() {
    let knowledge = watercraft::knowledge();
    let graph = watercraft::graph(&knowledge);
    let mut wrong = Vec::new();
    for expected in expected() {
        let name = expected["id"].as_str().expect("an id");
        let case = watercraft::case(&knowledge, name);
        let laid = Laid::new(&knowledge, case.craft.clone());
        let (belief, explanations) = watercraft::belief(&laid, &case);
        let made = plan(&laid, &graph, &case, &belief.causes, &explanations, &Options::default());
        let made = made.unwrap_or_else(|e| panic!("{name}: {e}"));
        assert_eq!(made.check_order(), Ok(()), "{name}");
        // Cheaper than the cheapest can only be what leaves something there.
        assert!(made.other_ways.iter().all(|way| way.cost.get() >= 0.0), "{name}: {:?}", made.other_ways);
        let held: Vec<&str> = made.repairs.iter().map(|job| job.repair.id.as_str()).collect();
        let missing: Vec<String> =
            ids(&expected["plan"]).into_iter().filter(|id| !held.contains(&id.as_str())).collect();
        let one_of = ids(&expected["one_of"]);
        if !missing.is_empty() || !(one_of.is_empty() || one_of.iter().any(|id| held.contains(&id.as_str()))) {
            wrong.push(format!("{name}: lacks {missing:?} {one_of:?}, holds {held:?}"));
        }
        for dear in dear(&made, &expected, &laid) {
            wrong.push(format!("{name}: {dear} removes nothing needed"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// Repairs beyond the expected ones that cost more than they may and remove none of the true causes.
fn dear(made: &Plan, expected: &Value, laid: &Laid<'_>) -> Vec<String> {
    let truth = ids(&expected["truth"]);
    let named: Vec<String> = ids(&expected["plan"]).into_iter().chain(ids(&expected["one_of"])).collect();
    let removes = |id: &str| {
        let ix = laid.knowledge.repairs.find(id).expect("a repair");
        let removed = &laid.knowledge.repairs[ix].removes;
        removed
            .iter()
            .any(|(cause, _)| truth.iter().any(|t| t.split('@').next() == Some(laid.knowledge.causes.id(*cause))))
    };
    made.repairs
        .iter()
        .filter(|job| !job.service && !named.contains(&job.repair.id) && !removes(&job.repair.id))
        .filter(|job| {
            job.minutes.at_rate(laid.knowledge.users[doldrum::knowledge::Ix::new(0)].labor).get() + job.parts.get()
                > DEAR
        })
        .map(|job| job.repair.id.clone())
        .collect()
}

/// The other way round a repair, with one to clean (half an hour, nothing to buy) beside one to renew (ten minutes and parts).
/// At a unit of money a minute: cleaning costs 30 and cures nine times in ten, so a tenth of a return visit of 100 comes on top,
/// 40; renewing costs 10 and its parts.
fn ways_beside_cleaning(parts: f64) -> Vec<OtherWay> {
    let causes = "- {id: gum, title: Gum, chance: 0.1, basis: estimate}";
    let symptoms = "- {id: sy-fails, title: Fails, says: [Fails], share: 100, any: [{from: gum, strength: 1}], leak: 0, named: {present: 1, absent: 0}, basis: estimate}";
    let repairs = format!(
        "
- {{id: rm-clean, title: Clean, removes: {{gum: 0.9}}, minutes: 30, skill: 1, steps: [{{do: Clean}}], basis: estimate}}
- {{id: rm-renew, title: Renew, removes: {{gum: 1}}, minutes: 10, skill: 1, parts: [{{item: thing, count: 1, each: {parts}, basis: estimate}}], steps: [{{do: Renew}}], basis: estimate}}
"
    );
    let checks = "
- {id: ck-look, title: Look, ask: Gum?, how: [Look], outcomes: [good, bad], given: [{when: {gum: true}, chances: {good: 0.1, bad: 0.9}}, {chances: {good: 0.9, bad: 0.1}}], cost: {minutes: 1}, skill: 1, basis: estimate}
";
    let files = [("causes", causes), ("symptoms", symptoms), ("repairs", repairs.as_str()), ("checks", checks)];
    let knowledge = small_base::read_with(0.0, 500.0, 100.0, &files);
    let case = small_base::case(&knowledge, "symptoms: [sy-fails]\nlog: []");
    let laid = Laid::new(&knowledge, case.craft.clone());
    let belief = believe(&laid, &case, &Limits::default()).expect("within the limits");
    let graph = AccessGraph::new(&knowledge);
    let made = plan(&laid, &graph, &case, &belief.causes, &Explanations::default(), &Options::default());
    made.expect("a plan").other_ways
}

#[test]
fn the_way_without_a_repair_is_told_with_what_it_costs_more() {
    let told = |parts: f64| {
        let ways = ways_beside_cleaning(parts);
        assert!(ways.len() < 2, "{ways:?}");
        ways.first().map(|way| {
            let instead: Vec<&str> = way.instead.iter().map(|repair| repair.id.as_str()).collect();
            let hundredths = (way.cost.get() * 100.0).round() / 100.0;
            (way.without.id.clone(), instead.join(" "), hundredths, way.minutes.get().round())
        })
    };
    let way = |without: &str, instead: &str, cost: f64, minutes: f64| {
        Some((without.to_owned(), instead.to_owned(), cost, minutes))
    };
    assert_eq!(told(20.0), way("rm-renew", "rm-clean", 10.0, 20.0));
    assert_eq!(told(50.0), way("rm-clean", "rm-renew", 20.0, -20.0));
    // No more than a return visit is worth a word: 130 - 40 is, 150 - 40 is not.
    assert_eq!(told(120.0), way("rm-clean", "rm-renew", 90.0, -20.0));
    assert_eq!(told(140.0), None);
}
