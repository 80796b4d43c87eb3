//! The plans of the worked cases: they hold the repairs a right plan holds, and nothing dear that removes nothing needed.

use crate::watercraft;
use doldrum::knowledge::layout::Laid;
use doldrum::plan::{Options, Plan, plan};
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
