//! Explanations of whole cases: against the full joint of a small base, and on the worked cases of the watercraft base
//! against evidence asked for set by set.

use std::collections::BTreeSet;

use doldrum::belief::{Belief, Explanations, Listed, believe};
use doldrum::case::Case;
use doldrum::inference::brute::Joint;
use doldrum::inference::{Accuracy, Limits};
use doldrum::knowledge::Cause;
use doldrum::knowledge::layout::{Instance, Laid};
use doldrum::model::network::VarIx;

use crate::{small_base, watercraft};

/// Four causes of one symptom, each likely enough to matter, and a check.
const CAUSES: &str = "
- {id: fuel, title: No fuel, chance: 0.20, basis: estimate}
- {id: spark, title: No spark, chance: 0.12, basis: estimate}
- {id: air, title: No air, chance: 0.08, basis: estimate}
- {id: squeeze, title: No compression, chance: 0.05, basis: estimate}
";
const SYMPTOMS: &str = "
- id: sy-no-start
  title: Will not start
  says: [It will not start]
  share: 1
  any:
    - {from: fuel, strength: 0.9}
    - {from: spark, strength: 0.95}
    - {from: air, strength: 0.5}
    - {from: squeeze, strength: 0.7}
  leak: 0.02
  named: {present: 0.9, absent: 0.05}
  basis: estimate
";
const CHECKS: &str = "
- id: ck-plug
  title: Spark plug
  ask: How does the plug look?
  how: [Look]
  outcomes: [dry, wet]
  given:
    - {when: {fuel: true}, chances: {dry: 0.9, wet: 0.1}}
    - {chances: {dry: 0.3, wet: 0.7}}
  cost: {minutes: 5}
  skill: 1
  basis: estimate
";

#[test]
fn a_small_case_lists_what_the_full_joint_does() {
    let knowledge = small_base::read(0.01, 1000.0, &[("causes", CAUSES), ("symptoms", SYMPTOMS), ("checks", CHECKS)]);
    for keys in [
        "symptoms: [sy-no-start]",
        "symptoms: [sy-no-start]\nlog: [{check: ck-plug, outcome: dry}]",
        "symptoms: [sy-no-start]\nlog: [{check: ck-plug, outcome: wet}, {found: air, present: true}]",
    ] {
        let case = small_base::case(&knowledge, keys);
        let laid = Laid::new(&knowledge, case.craft.clone());
        let belief = believe(&laid, &case, &Limits::default()).expect("within the limits");
        let vars: Vec<VarIx> = belief.model.causes.iter().map(|(_, var)| *var).collect();
        let joint = Joint::of(&belief.model.network, &belief.evidence).expect("a small network");
        let mut truth: Vec<(Vec<Instance<Cause>>, f64)> = joint
            .together(&vars)
            .into_iter()
            .map(|(states, p)| {
                let on = states.iter().zip(&belief.model.causes).filter(|(state, _)| **state == 1);
                (on.map(|(_, (cause, _))| *cause).collect(), p)
            })
            .collect();
        truth.sort_by(|a, b| b.1.total_cmp(&a.1));
        let unexplained = truth.iter().position(|(set, _)| set.is_empty()).map_or(0.0, |at| truth.remove(at).1);
        for n in [1, 3, 20] {
            let found = belief.explanations(&laid, &case, n, &Limits::default()).expect("within the limits");
            assert_eq!(found.listed, Listed::Searched);
            assert!(found.is_settled() && found.sets.len() == n.min(truth.len()), "{found:?}");
            assert!((found.unexplained - unexplained).abs() < 1e-10, "{found:?}");
            for (set, (causes, p)) in found.sets.iter().zip(&truth) {
                assert_eq!(&set.causes, causes);
                assert!((set.chance - p).abs() < 1e-10, "{set:?} and {p}");
            }
            let rest: f64 = truth.iter().skip(n).map(|(_, p)| p).sum();
            assert!((found.missed - rest).abs() < 1e-9, "{rest} and {found:?}");
            let next = truth.get(n).map_or(0.0, |(_, p)| *p);
            assert!(found.unlisted_at_most >= next - 1e-12, "{next} and {found:?}");
        }
    }
}

/// The causes that matter, by the definition: a path leads to a named symptom, and they are likely or likelier than
/// before.
fn matters(belief: &Belief, case: &Case) -> Vec<(Instance<Cause>, VarIx)> {
    let mut reached = BTreeSet::new();
    let mut open: Vec<VarIx> = case.symptoms.iter().filter_map(|s| belief.model.symptom(*s)).collect();
    while let Some(var) = open.pop() {
        if reached.insert(var) {
            open.extend(belief.model.network.parents(var));
        }
    }
    let likely = |cause: &Instance<Cause>| {
        let now = belief.causes.iter().find(|c| c.cause == *cause).expect("every cause has its belief");
        now.chance >= 0.005 || (now.chance >= 2.0 * now.prior && now.chance > 0.0)
    };
    let causes = belief.model.causes.iter().copied();
    causes.filter(|(cause, var)| reached.contains(var) && likely(cause)).collect()
}

/// The chance of a set among the causes that matter, as the ratio of two evidences.
fn chance_of(belief: &Belief, mattering: &[(Instance<Cause>, VarIx)], set: &[Instance<Cause>], limits: &Limits) -> f64 {
    let mut seen = belief.evidence.clone();
    let now = belief.model.now;
    seen.extend(mattering.iter().map(|(cause, var)| belief.model.network.found(*var, now, set.contains(cause))));
    let all = belief.engine.log_evidence(&belief.evidence, limits).expect("possible");
    belief.engine.log_evidence(&seen, limits).map_or(0.0, |with| (with - all).exp())
}

fn explained(name: &str, n: usize, check: impl FnOnce(&Belief, &Case, &Explanations)) {
    let knowledge = watercraft::knowledge();
    let case = watercraft::case(&knowledge, name);
    let laid = Laid::new(&knowledge, case.craft.clone());
    let belief = believe(&laid, &case, &Limits::default()).expect("within the limits");
    let found = belief.explanations(&laid, &case, n, &Limits::default()).expect("within the limits");
    let told: f64 = found.sets.iter().map(|set| set.chance).sum::<f64>() + found.unexplained + found.missed;
    assert!((told - 1.0).abs() < 1e-9, "{told}");
    check(&belief, &case, &found);
}

/// Two worked cases whose posterior is exact: each chance is that of two evidences, and no set beside the list that is
/// one cause more or less than a listed one is beyond the bound.
#[test]
fn exact_worked_cases_are_settled() {
    for name in ["w03", "w05"] {
        explained(name, 10, |belief, case, found| {
            assert_eq!((&belief.accuracy, found.listed, found.sets.len()), (&Accuracy::Exact, Listed::Searched, 10));
            assert!(found.is_settled(), "{name}: {found:?}");
            let mattering = matters(belief, case);
            for set in &found.sets {
                let p = chance_of(belief, &mattering, &set.causes, &Limits::default());
                assert!((set.chance - p).abs() < 1e-9, "{name}: {set:?} and {p}");
            }
            for set in found.sets.iter().take(3) {
                for (cause, _) in &mattering {
                    let mut near = set.causes.clone();
                    match near.iter().position(|c| c == cause) {
                        Some(at) => drop(near.remove(at)),
                        None => near.push(*cause),
                    }
                    near.sort();
                    if near.is_empty() || found.sets.iter().any(|listed| listed.causes == near) {
                        continue;
                    }
                    let p = chance_of(belief, &mattering, &near, &Limits::default());
                    assert!(p <= found.unlisted_at_most + 1e-12, "{name}: {near:?} has {p}: {found:?}");
                }
            }
        });
    }
}

/// Worked cases whose links are cut: candidates are drawn and said to be, and their chances are those of a posterior with
/// sixteen times the budget, within a fiftieth of their size.
#[test]
fn cut_worked_cases_are_drawn_and_near() {
    for name in ["w01", "w06"] {
        explained(name, 4, |belief, case, found| {
            assert!(matches!(belief.accuracy, Accuracy::Cut { .. }), "{name} is exact now: choose another");
            assert_eq!((found.listed, found.sets.len()), (Listed::Drawn, 4));
            let mattering = matters(belief, case);
            let roomy = Limits { cells: 1 << 22, ..Limits::default() };
            for set in &found.sets {
                let p = chance_of(belief, &mattering, &set.causes, &roomy);
                assert!((set.chance - p).abs() < 0.02 * p, "{name}: {set:?} and {p}");
            }
        });
    }
}
