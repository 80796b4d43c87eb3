//! The worked cases, from the file to the plan: the true causes lead, and the plan holds what a right bench would do.

use crate::watercraft;
use doldrum::belief::CauseBelief;
use doldrum::knowledge::layout::Laid;
use doldrum::knowledge::{Cause, Ix, Knowledge};
use doldrum::plan::{Job, Options, plan};
use serde_json::Value;
use std::collections::BTreeMap;

/// Parts and labor that a repair may come to which removes none of the true causes, in the currency of the base.
const DEAR: f64 = 60.0;

fn expected() -> Vec<Value> {
    let text = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/cases/expected.yaml"));
    serde_yaml::from_str(&text.expect("the file is there")).expect("the file is YAML")
}

fn ids(value: &Value) -> Vec<String> {
    value.as_array().into_iter().flatten().map(|id| id.as_str().expect("an id").to_owned()).collect()
}

/// The true causes, each once whatever its places.
fn truth(knowledge: &Knowledge, expected: &Value) -> Vec<Ix<Cause>> {
    let mut truth: Vec<Ix<Cause>> = ids(&expected["truth"])
        .iter()
        .map(|id| knowledge.causes.find(id.split('@').next().expect("an id")).expect("a cause"))
        .collect();
    truth.dedup();
    truth
}

/// Causes, the likeliest first, each with the chance of its likeliest instance.
fn by_cause(causes: &[CauseBelief]) -> Vec<(Ix<Cause>, f64)> {
    let mut best: BTreeMap<Ix<Cause>, f64> = BTreeMap::new();
    for belief in causes {
        let chance = best.entry(belief.cause.item).or_default();
        *chance = chance.max(belief.chance);
    }
    let mut ranked: Vec<(Ix<Cause>, f64)> = best.into_iter().collect();
    ranked.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    ranked
}

#[test]
fn the_true_causes_lead_and_the_plan_removes_them() {
    let knowledge = watercraft::knowledge();
    let graph = watercraft::graph(&knowledge);
    let mut wrong = Vec::new();
    let all = expected();
    assert_eq!(all.len(), 8);
    for expected in all {
        let name = expected["id"].as_str().expect("an id");
        let case = watercraft::case(&knowledge, name);
        let laid = Laid::new(&knowledge, case.craft.clone());
        let (belief, explanations) = watercraft::belief(&laid, &case);
        let truth = truth(&knowledge, &expected);
        let ranked = by_cause(&belief.causes);
        let leaders: Vec<&str> = ranked.iter().take(truth.len() + 2).map(|(ix, _)| knowledge.causes.id(*ix)).collect();
        for cause in &truth {
            let id = knowledge.causes.id(*cause);
            if !leaders.contains(&id) {
                wrong.push(format!("{name}: `{id}` is not among {leaders:?}"));
            }
        }
        assert!(!explanations.sets.is_empty(), "{name}");
        let numbers =
            explanations.sets.iter().map(|set| set.chance).chain([explanations.unexplained, explanations.missed]);
        assert!(numbers.into_iter().all(|p| (0.0..=1.0).contains(&p)), "{name}: {explanations:?}");
        assert!(belief.log_evidence.is_some_and(f64::is_finite), "{name}");
        assert!(belief.conflict_bits.is_some_and(f64::is_finite), "{name}");

        let made = plan(&laid, &graph, &case, &belief.causes, &explanations, &Options::default());
        let made = made.unwrap_or_else(|e| panic!("{name}: {e}"));
        assert_eq!(made.check_order(), Ok(()), "{name}");
        let offered = made.offers.iter().map(|offer| offer.repair.id.as_str());
        let held: Vec<&str> = made.repairs.iter().map(|job| job.repair.id.as_str()).chain(offered).collect();
        let lacks: Vec<String> =
            ids(&expected["plan"]).into_iter().filter(|id| !stands_in(&knowledge, &held, id, &truth)).collect();
        let one_of = ids(&expected["one_of"]);
        if !lacks.is_empty() || !(one_of.is_empty() || one_of.iter().any(|id| held.contains(&id.as_str()))) {
            wrong.push(format!("{name}: lacks {lacks:?} {one_of:?}, holds {held:?}"));
        }
        for job in &made.repairs {
            if is_waste(&knowledge, job, &expected, &truth) {
                wrong.push(format!("{name}: {} removes none of the true causes", job.repair.id));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

fn removes_any(knowledge: &Knowledge, repair: &str, causes: &[Ix<Cause>]) -> bool {
    let repair = knowledge.repairs.find(repair).expect("a repair");
    knowledge.repairs[repair].removes.iter().any(|(cause, sure)| causes.contains(cause) && sure.get() >= 0.5)
}

/// Whether a plan holds a repair, or one that removes all the true causes which that one removes.
fn stands_in(knowledge: &Knowledge, held: &[&str], wanted: &str, truth: &[Ix<Cause>]) -> bool {
    let aims: Vec<Ix<Cause>> = truth.iter().copied().filter(|c| removes_any(knowledge, wanted, &[*c])).collect();
    let removed = |cause: &Ix<Cause>| held.iter().any(|id| removes_any(knowledge, id, &[*cause]));
    held.contains(&wanted) || (!aims.is_empty() && aims.iter().all(removed))
}

/// Whether a repair is dear and not called for.
fn is_waste(knowledge: &Knowledge, job: &Job, expected: &Value, truth: &[Ix<Cause>]) -> bool {
    let named: Vec<String> = ids(&expected["plan"]).into_iter().chain(ids(&expected["one_of"])).collect();
    let labor = knowledge.users[knowledge.users.find("technician").expect("a user")].labor;
    let cost = job.minutes.at_rate(labor).get() + job.parts.get();
    !job.service && !named.contains(&job.repair.id) && !removes_any(knowledge, &job.repair.id, truth) && cost > DEAR
}

/// The chances of the true causes as the author of the cases found them by likelihood weighting over the same tables,
/// on any place (companions not counted, 960 000 samples). Cases and tables have one author: this is agreement, not
/// proof. Two figures stand apart. In w01 `low-jet-clogged` was .88 before its strength was raised to the share of jobs
/// that it is judged to have. In w07 few samples carry the scored piston, and .58 for `hose-debris` is what they were
/// good for; six million samples of this network with that piston put there give .700 (an effective 6700 of them).
const QUOTED: [(&str, &[(&str, f64)]); 8] = [
    ("w01", &[("low-jet-clogged", 0.98), ("hose-debris", 0.87), ("stale-fuel", 0.79)]),
    ("w02", &[("tank-vent-blocked", 0.90)]),
    ("w03", &[("exhaust-water-ingestion", 0.95)]),
    ("w04", &[("lever-too-high", 1.0)]),
    ("w05", &[("start-relay-faulty", 1.0)]),
    ("w06", &[("kill-wire-grounded", 0.76), ("lanyard-or-stop-switch", 0.23)]),
    ("w07", &[("piston-scored", 1.0), ("inlet-screen-clogged", 0.64), ("hose-debris", 0.70)]),
    ("w08", &[("pump-check-valves-leaking", 0.57), ("pump-diaphragm-stiff", 0.35)]),
];

#[test]
fn the_chances_agree_with_those_quoted() {
    let knowledge = watercraft::knowledge();
    let mut wrong = Vec::new();
    for (name, quoted) in QUOTED {
        let case = watercraft::case(&knowledge, name);
        let laid = Laid::new(&knowledge, case.craft.clone());
        let (belief, _) = watercraft::belief(&laid, &case);
        for &(id, chance) in quoted {
            let cause = knowledge.causes.find(id).expect("a cause");
            let found = anywhere(&belief, cause);
            println!("{name} {id}: {found:.3}, quoted {chance}");
            if (found - chance).abs() > 0.1 {
                wrong.push(format!("{name}: `{id}` {found:.3}, quoted {chance}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// The chance that a cause is there on any of its places: from the evidence with it absent on all of them.
fn anywhere(belief: &doldrum::belief::Belief, cause: Ix<Cause>) -> f64 {
    let limits = doldrum::inference::Limits::default();
    let instances: Vec<_> = belief.model.causes.iter().filter(|(i, _)| i.item == cause).collect();
    let mut observations = belief.evidence.clone();
    observations.extend(instances.iter().map(|(_, var)| belief.model.network.found(*var, belief.model.now, false)));
    let all = belief.engine.log_evidence(&belief.evidence, &limits).expect("possible");
    match belief.engine.log_evidence(&observations, &limits) {
        Ok(none) => 1.0 - (none - all).exp(),
        Err(_) => 1.0,
    }
}
