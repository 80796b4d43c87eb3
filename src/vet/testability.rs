//! How well the checks of a base find its causes, in the terms of IEEE 1522 and MIL-STD-2165.
//!
//! Those speak of tests that pass or fail for certain; here answers are a matter of chance, so a threshold is needed. Two
//! things are *told apart* where some one check does it well enough that a guess by its answer, both being as likely, is
//! right at least three times in four. A cause is *detected* where it is told from a craft with no fault; its *ambiguity group* is
//! itself and all causes it is not told from; it is *isolated* where one repair removes the whole group. Causes are
//! weighed by their chance given the symptom, as faults are by their failure rate there. (The measures are those of the
//! standards, from memory: fraction of faults detected, fraction of detected faults isolated, ambiguity group size.)

use super::shown::Shown;
use crate::knowledge::layout::{Craft, Instance, Laid};
use crate::knowledge::{Cause, Ix, Knowledge, Layout, Repair, Symptom};
use crate::model::compile::repair_reaches;

/// Told apart by this much, a guess is right three times in four.
pub const TOLD_APART: f64 = 0.5;
/// A repair removes a cause where it does so more often than not.
const SURELY: f64 = 0.5;

/// The figures of one symptom on one layout.
#[derive(Clone, Debug, PartialEq)]
pub struct Testability {
    /// The layout.
    pub layout: Ix<Layout>,
    /// The symptom.
    pub symptom: Ix<Symptom>,
    /// How many cause instances lead to it.
    pub faults: usize,
    /// The share of them that is detected, by weight, 0..=1.
    pub detected: f64,
    /// The share of the detected that is isolated to one repair, by weight, 0..=1.
    pub isolated: f64,
    /// The mean size of the ambiguity group of a fault, by weight.
    pub mean_group: f64,
    /// The size of the largest group.
    pub largest_group: usize,
    /// The groups that no one repair removes, each with the share of faults whose group it is; the heaviest first.
    pub groups: Vec<(Vec<Instance<Cause>>, f64)>,
}

/// The figures of every symptom on a layout.
#[must_use]
pub fn of(knowledge: &Knowledge, layout: Ix<Layout>, shown: &[Shown]) -> Vec<Testability> {
    let laid = Laid::new(knowledge, Craft { layout, ..Craft::usual(knowledge) });
    shown.iter().map(|shown| one(&laid, shown)).collect()
}

fn one(laid: &Laid<'_>, shown: &Shown) -> Testability {
    let n = shown.faults.len();
    let total: f64 = shown.faults.iter().map(|(_, chance)| chance).sum();
    let weight = |fault: usize| if total > 0.0 { shown.faults[fault].1 / total } else { 0.0 };
    let groups: Vec<Vec<usize>> = (0..n).map(|fault| group(shown, fault)).collect();
    let detected: Vec<bool> = (0..n).map(|fault| shown.detects(fault) >= TOLD_APART).collect();
    let isolated: Vec<bool> = groups.iter().map(|group| one_repair(laid, &members(shown, group)).is_some()).collect();
    let share = |of: &dyn Fn(usize) -> bool| (0..n).filter(|&fault| of(fault)).map(weight).sum::<f64>();
    let found = share(&|fault| detected[fault]);
    #[expect(clippy::cast_precision_loss, reason = "a group has fewer members than a base has causes")]
    let mean_group = (0..n).map(|fault| weight(fault) * groups[fault].len() as f64).sum();
    let mut open: Vec<(Vec<Instance<Cause>>, f64)> = Vec::new();
    for fault in (0..n).filter(|&fault| !isolated[fault]) {
        let members = members(shown, &groups[fault]);
        match open.iter_mut().find(|(known, _)| *known == members) {
            Some((_, share)) => *share += weight(fault),
            None => open.push((members, weight(fault))),
        }
    }
    open.sort_by(|a, b| b.1.total_cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
    Testability {
        layout: laid.craft.layout,
        symptom: shown.symptom,
        faults: n,
        detected: found.min(1.0),
        isolated: if found > 0.0 { (share(&|f| detected[f] && isolated[f]) / found).min(1.0) } else { 0.0 },
        mean_group,
        largest_group: groups.iter().map(Vec::len).max().unwrap_or(0),
        groups: open,
    }
}

/// A fault and all it is not told from.
fn group(shown: &Shown, fault: usize) -> Vec<usize> {
    (0..shown.faults.len()).filter(|&other| other == fault || shown.apart(fault, other) < TOLD_APART).collect()
}

fn members(shown: &Shown, group: &[usize]) -> Vec<Instance<Cause>> {
    group.iter().map(|&fault| shown.faults[fault].0).collect()
}

/// The repair that, done once, removes every one of these.
fn one_repair(laid: &Laid<'_>, group: &[Instance<Cause>]) -> Option<Ix<Repair>> {
    let knowledge = laid.knowledge;
    let removes = |repair: &Repair, cause: Ix<Cause>| {
        repair.removes.iter().any(|(removed, surely)| *removed == cause && surely.get() >= SURELY)
    };
    knowledge.repairs.iter().find_map(|(ix, repair)| {
        let places = laid.places(repair.scope);
        let ways: Vec<Vec<usize>> =
            if repair.together { vec![(0..places).collect()] } else { (0..places).map(|at| vec![at]).collect() };
        let reaches = |way: &Vec<usize>| {
            group.iter().all(|cause| {
                let scope = knowledge.causes[cause.item].scope;
                removes(repair, cause.item) && repair_reaches(laid, ix, way, scope, cause.at)
            })
        };
        (laid.fits(&repair.fitted) && ways.iter().any(reaches)).then_some(ix)
    })
}
