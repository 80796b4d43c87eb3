//! Some check tells causes apart that different repairs remove.

use super::shown::Shown;
use super::{Whole, codes, listed};
use crate::knowledge::layout::{Craft, Laid};
use crate::knowledge::{Cause, Ix, Knowledge, Layout};
use std::collections::{BTreeMap, BTreeSet};

/// Told apart by less than this, a guess by the best check is right at most 55 times in 100.
const LEAST: f64 = 0.1;
/// A repair removes a cause where it does so more often than not.
const SURELY: f64 = 0.5;

type Pair = (Ix<Cause>, Ix<Cause>);

/// Gives advice on causes that no check tells apart, in any symptom that both lead to, on some layout.
pub(super) fn check(whole: &mut Whole, seen: &[(Ix<Layout>, Vec<Shown>)]) {
    let knowledge = whole.knowledge;
    let mut alike: BTreeMap<Pair, BTreeSet<Ix<Layout>>> = BTreeMap::new();
    for (layout, shown) in seen {
        let laid = Laid::new(knowledge, Craft { layout: *layout, ..Craft::usual(knowledge) });
        for (pair, apart) in apart(&laid, shown) {
            if apart < LEAST && !share_a_repair(knowledge, pair) {
                alike.entry(pair).or_default().insert(*layout);
            }
        }
    }
    for (first, (others, layouts)) in grouped(&alike) {
        let id = knowledge.causes.id(first);
        let mut message =
            format!("no check separates cause `{id}` from {}", listed(others.iter().map(|c| knowledge.causes.id(*c))));
        if layouts.len() < seen.len() {
            message = format!("{message}, on layout {}", listed(layouts.iter().map(|l| knowledge.layouts.id(*l))));
        }
        whole.advise(codes::NOT_SEPARATED, id, message, Vec::new());
    }
}

/// For each pair of causes that lead to one symptom, how well the best check for any symptom tells them apart where they
/// are told apart worst: at places that bear on each other.
fn apart(laid: &Laid<'_>, shown: &[Shown]) -> BTreeMap<Pair, f64> {
    let scope = |cause: Ix<Cause>| laid.knowledge.causes[cause].scope;
    let mut best: BTreeMap<Pair, f64> = BTreeMap::new();
    for shown in shown {
        let mut worst: BTreeMap<Pair, f64> = BTreeMap::new();
        for (at, (a, _)) in shown.faults.iter().enumerate() {
            for (other, (b, _)) in shown.faults.iter().enumerate().skip(at + 1) {
                if a.item == b.item || !laid.bearing(scope(a.item), scope(b.item), b.at).contains(&a.at) {
                    continue;
                }
                let apart = shown.apart(at, other);
                let known = worst.entry((a.item, b.item)).or_insert(1.0);
                *known = known.min(apart);
            }
        }
        for (pair, apart) in worst {
            let known = best.entry(pair).or_insert(0.0);
            *known = known.max(apart);
        }
    }
    best
}

fn share_a_repair(knowledge: &Knowledge, (a, b): Pair) -> bool {
    let removes = |list: &[(Ix<Cause>, crate::units::Chance)], cause| {
        list.iter().any(|(removed, surely)| *removed == cause && surely.get() >= SURELY)
    };
    knowledge.repairs.iter().any(|(_, repair)| removes(&repair.removes, a) && removes(&repair.removes, b))
}

type Group = (BTreeSet<Ix<Cause>>, BTreeSet<Ix<Layout>>);

/// Each knot of causes once, under the first of them.
fn grouped(alike: &BTreeMap<Pair, BTreeSet<Ix<Layout>>>) -> BTreeMap<Ix<Cause>, Group> {
    let mut first_of: BTreeMap<Ix<Cause>, Ix<Cause>> = BTreeMap::new();
    for &(a, b) in alike.keys() {
        let (x, y) = (*first_of.get(&a).unwrap_or(&a), *first_of.get(&b).unwrap_or(&b));
        let (low, high) = (x.min(y), x.max(y));
        first_of.insert(a, low);
        first_of.insert(b, low);
        first_of.values_mut().filter(|first| **first == high).for_each(|first| *first = low);
    }
    let mut groups: BTreeMap<Ix<Cause>, Group> = BTreeMap::new();
    for ((a, b), layouts) in alike {
        let first = first_of[a];
        let group = groups.entry(first).or_default();
        group.0.extend([*a, *b].into_iter().filter(|cause| *cause != first));
        group.1.extend(layouts);
    }
    groups
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn knots_are_joined() {
        let ix = Ix::new;
        let pairs = [(0, 3), (1, 2), (2, 3), (5, 6)];
        let alike = pairs.into_iter().map(|(a, b)| ((ix(a), ix(b)), BTreeSet::from([Ix::new(0)]))).collect();
        let groups = grouped(&alike);
        let members: Vec<Vec<usize>> = groups.values().map(|(all, _)| all.iter().map(|c| c.at()).collect()).collect();
        assert_eq!(groups.keys().map(|c| c.at()).collect::<Vec<_>>(), [0, 5]);
        assert_eq!(members, [vec![1, 2, 3], vec![6]]);
    }
}
