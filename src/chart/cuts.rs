//! Minimal cut sets: the smallest sets of causes that can bring an event about.
//!
//! Gates here are noisy, so "can" needs a definition. An input counts as getting through where its strength is above
//! zero, and leaks, which stand for what is not listed, are left out. "Some, not all" and "exactly k" count as "at least
//! one" and "at least k": more faults do not mend the craft, though they may bring about another complaint. Where every
//! strength is 1 and every leak 0 this is the textbook's meaning. How surely a set really brings the event about is a
//! number of its own ([`CutSet::brings`]).
//!
//! Sets are worked out from the causes up (bottom-up, as MICSUP does; MOCUS goes down: Fussell and Vesely 1972, from
//! memory), and dropped where they hold another or grow beyond the order asked for. A set of no more than that order has
//! only parts of no more, so none is missed.

use super::Chart;
use super::Stands;
use crate::case::Case;
use crate::inference::{Engine, Error, Limits};
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Cause, Ix};
use crate::model::compile::CaseModel;
use crate::model::network::{Mechanism, Network, VarIx};
use crate::model::prior::prior;
use std::collections::{BTreeMap, BTreeSet};

/// The highest order that can be asked for: the subsets of a set are looked up one by one.
pub const MOST_ORDER: usize = 10;
/// The most sets that any event may have on the way.
const MOST_SETS: usize = 200_000;

/// A minimal cut set.
#[derive(Clone, Debug, PartialEq)]
pub struct CutSet {
    /// The causes, in the order of the network.
    pub causes: Vec<Instance<Cause>>,
    /// The chance, before any answer, that all of them are there.
    pub chance: f64,
    /// The chance that they bring the event about where no other cause below it is there, leaks as they are; `None`
    /// where that was not asked for.
    pub brings: Option<f64>,
}

/// More sets than can be held.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("expected at most {MOST_SETS} sets of causes, found more; ask for a lower order")]
pub struct TooMany;

type Set = Vec<VarIx>;

/// The minimal cut sets of the top of a chart with no more than `order` causes, as sets of variables: the smallest first.
///
/// Cost: products of families of sets; a complaint of the built-in base to order 3 takes well under a second.
///
/// # Errors
/// Where there are too many.
pub fn minimal(chart: &Chart, network: &Network, order: usize) -> Result<Vec<Set>, TooMany> {
    let order = order.min(MOST_ORDER);
    let mut vars: Vec<(VarIx, Stands)> = chart.graph.node_weights().copied().collect();
    // Parents stand before children.
    vars.sort_by_key(|(var, _)| *var);
    let mut families: BTreeMap<VarIx, Vec<Set>> = BTreeMap::new();
    for (var, what) in vars {
        let family =
            if matches!(what, Stands::Cause(_)) { vec![vec![var]] } else { of_gate(network, var, order, &families)? };
        families.insert(var, family);
    }
    Ok(families.remove(&chart.graph[chart.top].0).unwrap_or_default())
}

fn of_gate(
    network: &Network,
    var: VarIx,
    order: usize,
    families: &BTreeMap<VarIx, Vec<Set>>,
) -> Result<Vec<Set>, TooMany> {
    let none: Vec<Set> = Vec::new();
    let family = |from: &VarIx| families.get(from).unwrap_or(&none);
    let (least, inputs): (usize, Vec<&Vec<Set>>) = match &network.variable(var).mechanism {
        Mechanism::Any { links, .. } => {
            (1, links.iter().filter(|l| l.strength > 0.0).map(|l| family(&l.from)).collect())
        }
        Mechanism::All { links, .. } => {
            let lets_through = |strength: f64, from| if strength > 0.0 { family(from) } else { &none };
            (links.len(), links.iter().map(|l| lets_through(l.strength, &l.from)).collect())
        }
        Mechanism::AtLeast { k, links, .. } => {
            (*k, links.iter().filter(|l| l.strength > 0.0).map(|l| family(&l.from)).collect())
        }
        Mechanism::Count { of, least, most } if least <= most => (*least, of.iter().map(family).collect()),
        Mechanism::Count { .. } | Mechanism::Table { .. } => return Ok(none),
    };
    at_least(least, &inputs, order)
}

/// Sets that bring about at least so many of these: after each input, for each count the sets that have reached it.
fn at_least(least: usize, inputs: &[&Vec<Set>], order: usize) -> Result<Vec<Set>, TooMany> {
    let mut reached: Vec<Vec<Set>> = vec![Vec::new(); least + 1];
    reached[0] = vec![Vec::new()];
    for input in inputs {
        for count in (1..=least).rev() {
            let more = product(&reached[count - 1], input, order)?;
            let mut all = std::mem::take(&mut reached[count]);
            all.extend(more);
            reached[count] = minimized(all)?;
        }
    }
    Ok(reached.swap_remove(least))
}

fn product(a: &[Set], b: &[Set], order: usize) -> Result<Vec<Set>, TooMany> {
    let mut sets: BTreeSet<Set> = BTreeSet::new();
    for x in a {
        for y in b {
            let mut both: Set = x.iter().chain(y).copied().collect();
            both.sort_unstable();
            both.dedup();
            if both.len() <= order {
                sets.insert(both);
            }
            if sets.len() > MOST_SETS {
                return Err(TooMany);
            }
        }
    }
    Ok(sets.into_iter().collect())
}

/// Without those that hold another, the smallest first.
fn minimized(mut sets: Vec<Set>) -> Result<Vec<Set>, TooMany> {
    if sets.len() > 2 * MOST_SETS {
        return Err(TooMany);
    }
    sets.sort_unstable_by(|a, b| a.len().cmp(&b.len()).then_with(|| a.cmp(b)));
    sets.dedup();
    let mut known: BTreeSet<Set> = BTreeSet::new();
    sets.retain(|set| {
        let minimal = !holds_one(set, &known);
        if minimal {
            known.insert(set.clone());
        }
        minimal
    });
    Ok(sets)
}

/// Whether a set has one of these as a part, itself left out. A set has at most two to the [`MOST_ORDER`] parts.
fn holds_one(set: &Set, known: &BTreeSet<Set>) -> bool {
    (0..(1_u32 << set.len()) - 1).any(|picked| {
        let part: Set = set.iter().enumerate().filter(|(at, _)| picked >> at & 1 == 1).map(|(_, var)| *var).collect();
        known.contains(&part)
    })
}

/// The sets with their causes and the chance of each, the likeliest first within an order.
#[must_use]
pub fn with_chances(laid: &Laid<'_>, case: &Case, model: &CaseModel, sets: &[Set]) -> Vec<CutSet> {
    let cause_of: BTreeMap<VarIx, Instance<Cause>> = model.causes.iter().map(|&(cause, var)| (var, cause)).collect();
    let mut cuts: Vec<CutSet> = sets
        .iter()
        .map(|set| {
            let causes: Vec<Instance<Cause>> = set.iter().filter_map(|var| cause_of.get(var)).copied().collect();
            CutSet { chance: chance(laid, case, &causes), causes, brings: None }
        })
        .collect();
    cuts.sort_by(|a, b| {
        a.causes.len().cmp(&b.causes.len()).then(b.chance.total_cmp(&a.chance)).then_with(|| a.causes.cmp(&b.causes))
    });
    cuts
}

/// The chance, before any answer, that all of these are there: of one cause at several places by its common root or by
/// the root of each, of different causes as independent.
fn chance(laid: &Laid<'_>, case: &Case, causes: &[Instance<Cause>]) -> f64 {
    let mut places: BTreeMap<Ix<Cause>, Vec<usize>> = BTreeMap::new();
    for cause in causes {
        places.entry(cause.item).or_default().push(cause.at);
    }
    let of_one = |(cause, places): (Ix<Cause>, Vec<usize>)| {
        let prior = prior(laid, case, cause);
        let own: f64 = places.iter().map(|&at| prior.own[at]).product();
        prior.common + (1.0 - prior.common) * own
    };
    places.into_iter().map(of_one).product()
}

/// Works out for the first `most` sets how surely each brings the top about by itself, and puts those first, within an
/// order, that are likeliest to be there and to bring it about.
///
/// Cost: one small query of inference for each.
///
/// # Errors
/// Where the network is too wide for the limits.
pub fn weigh(
    cuts: &mut [CutSet],
    most: usize,
    chart: &Chart,
    model: &CaseModel,
    engine: &Engine,
    limits: &Limits,
) -> Result<(), Error> {
    let (top, causes) = (chart.graph[chart.top].0, chart.causes());
    for cut in cuts.iter_mut().take(most) {
        let found: Vec<_> =
            causes.iter().map(|(cause, var)| model.network.found(*var, 0, cut.causes.contains(cause))).collect();
        cut.brings = match engine.posterior_with(&found, &[top], limits) {
            Ok(posterior) => Some(posterior.chance_on(top, 0)),
            // Causes that cannot be apart, such as one of share 1 on every place.
            Err(Error::Contradiction) => None,
            Err(other) => return Err(other),
        };
    }
    let told = |cut: &CutSet| cut.brings.map_or(-1.0, |brings| cut.chance * brings);
    cuts.sort_by(|a, b| a.causes.len().cmp(&b.causes.len()).then(told(b).total_cmp(&told(a))));
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn sets(of: &[&[u32]]) -> Vec<Set> {
        of.iter().map(|set| set.iter().map(|v| VarIx(*v)).collect()).collect()
    }

    #[test]
    fn what_holds_another_is_dropped() {
        assert_eq!(minimized(sets(&[&[1, 2, 3], &[2], &[1, 3], &[2, 4]])), Ok(sets(&[&[2], &[1, 3]])));
        assert_eq!(minimized(sets(&[&[1], &[]])), Ok(sets(&[&[]])), "what always holds holds without any");
    }

    #[test]
    fn two_of_three() {
        let single = [sets(&[&[1]]), sets(&[&[2]]), sets(&[&[3]])];
        let inputs: Vec<&Vec<Set>> = single.iter().collect();
        assert_eq!(at_least(2, &inputs, 3), Ok(sets(&[&[1, 2], &[1, 3], &[2, 3]])));
        assert_eq!(at_least(2, &inputs, 1), Ok(sets(&[])));
        assert_eq!(at_least(4, &inputs, 4), Ok(sets(&[])));
    }

    proptest! {
        /// A set of faults brings "at least k" about exactly where it holds one of the sets found.
        #[test]
        fn sets_are_those_that_suffice(
            families in prop::collection::vec(prop::collection::vec(prop::collection::btree_set(0_u32..5, 1..3), 1..3), 1..5),
            least in 1_usize..4,
        ) {
            let families: Vec<Vec<Set>> =
                families.into_iter().map(|f| f.into_iter().map(|s| s.into_iter().map(VarIx).collect()).collect()).collect();
            let inputs: Vec<&Vec<Set>> = families.iter().collect();
            let found = at_least(least, &inputs, 5).expect("few");
            let within = |set: &Set, world: u32| set.iter().all(|v| world >> v.0 & 1 == 1);
            for world in 0_u32..32 {
                let on = families.iter().filter(|family| family.iter().any(|set| within(set, world))).count();
                prop_assert_eq!(on >= least, found.iter().any(|set| within(set, world)));
            }
            for (at, set) in found.iter().enumerate() {
                let other_within = |(other, part): (usize, &Set)| other != at && part.iter().all(|v| set.contains(v));
                prop_assert!(!found.iter().enumerate().any(other_within));
            }
        }
    }
}
