//! Minimal cut sets: the smallest sets of causes that can bring an event about.
//!
//! Gates here are noisy, so "can" needs a definition. An input counts as getting through where its strength is above
//! zero, and leaks, which stand for what is not listed, are left out. "Some, not all" and "exactly k" count as "at least
//! one" and "at least k": more faults do not mend the craft, though they may bring about another complaint. Where every
//! strength is 1 and every leak 0 this is the textbook's meaning. How surely a set really brings the event about is a
//! number of its own ([`CutSet::brings`]).
//!
//! Sets are worked out from the causes up, each event's from those of its inputs, in a [`Diagram`], where sets that hold
//! another are dropped. Those of more causes than asked for are dropped on the way too: a set of no more than that order
//! has only parts of no more, so none is missed.

use super::diagram::{Diagram, Family, Full};
use super::{Chart, Stands};
use crate::case::Case;
use crate::inference::{Engine, Error, Limits};
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Cause, Ix};
use crate::model::compile::CaseModel;
use crate::model::network::{Link, Mechanism, Network, VarIx};
use crate::model::prior::{Prior, prior};
use std::collections::BTreeMap;

/// Room for nodes of the diagram and for what was asked of it: about a hundred megabytes together.
const ROOM: usize = 1_000_000;

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

/// The sets of an event take more room than there is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TooMany {
    /// The event at which it ran out.
    pub at: Stands,
    /// How many nodes there was room for.
    pub room: usize,
}

/// The minimal cut sets of an event, none of them listed yet.
#[derive(Clone, Debug)]
pub struct CutSets {
    diagram: Diagram,
    /// Those of one cause, of two, and so on.
    by_order: Vec<Family>,
    /// What each element of the diagram is.
    causes: Vec<(Instance<Cause>, VarIx)>,
}

impl CutSets {
    /// The minimal cut sets of the top of a chart with no more than `order` causes.
    ///
    /// Cost: products of decision diagrams; a complaint of the built-in base to order 3 takes well under a second.
    ///
    /// # Errors
    /// Where they take too much room.
    pub fn below(chart: &Chart, network: &Network, order: usize) -> Result<Self, TooMany> {
        Self::within(chart, network, order, ROOM)
    }

    fn within(chart: &Chart, network: &Network, order: usize, room: usize) -> Result<Self, TooMany> {
        let causes = as_met(chart);
        let element: BTreeMap<VarIx, u32> = causes.iter().map(|(_, var)| *var).zip(0..).collect();
        let mut diagram = Diagram::new(room);
        let mut events: Vec<(VarIx, Stands)> = chart.graph.node_weights().copied().collect();
        // Parents stand before children.
        events.sort_by_key(|(var, _)| *var);
        let mut families: BTreeMap<VarIx, Family> = BTreeMap::new();
        for (var, stands) in events {
            let family = match element.get(&var) {
                Some(&cause) => diagram.single(cause),
                None => of_gate(&mut diagram, network, var, order, &families),
            };
            families.insert(var, family.map_err(|full| TooMany { at: stands, room: full.room })?);
        }
        let (top, stands) = chart.graph[chart.top];
        let by_order = (1..=order).map(|order| diagram.sized(families[&top], order, order)).collect::<Result<_, _>>();
        Ok(Self { by_order: by_order.map_err(|full| TooMany { at: stands, room: full.room })?, diagram, causes })
    }

    /// How many there are of one cause, of two, and so on to the order asked for.
    #[must_use]
    pub fn counts(&self) -> Vec<u64> {
        let of = |(family, order): (&Family, usize)| self.diagram.counts(*family).get(order).copied().unwrap_or(0);
        self.by_order.iter().zip(1..).map(of).collect()
    }

    /// The first `most` of them with the chance of each: those of fewest causes, of these the likeliest.
    #[must_use]
    pub fn likeliest(&self, laid: &Laid<'_>, case: &Case, most: usize) -> Vec<CutSet> {
        let priors = Priors::of(laid, case, &self.causes);
        let cause = |element: u32| self.causes[element as usize];
        let chance = |set: &[u32]| priors.chance(set.iter().map(|element| cause(*element).0));
        let mut cuts: Vec<CutSet> = Vec::new();
        for family in &self.by_order {
            let share = |element: u32| priors.share(cause(element).0);
            let mut sets = self.diagram.likeliest(*family, most - cuts.len(), share, chance);
            for set in &mut sets {
                set.sort_by_key(|element| cause(*element).1);
            }
            let told = |set: Vec<u32>| CutSet {
                chance: chance(&set),
                causes: set.into_iter().map(|element| cause(element).0).collect(),
                brings: None,
            };
            let mut told: Vec<CutSet> = sets.into_iter().map(told).collect();
            told.sort_by(|a, b| b.chance.total_cmp(&a.chance).then_with(|| a.causes.cmp(&b.causes)));
            cuts.extend(told);
        }
        cuts
    }
}

/// The causes in the order in which they are met on the way down from the top: what comes together stands together, which
/// keeps a decision diagram small.
fn as_met(chart: &Chart) -> Vec<(Instance<Cause>, VarIx)> {
    let mut seen = vec![false; chart.graph.node_count()];
    let mut open = vec![chart.top];
    let mut causes = Vec::new();
    while let Some(node) = open.pop() {
        if std::mem::replace(&mut seen[node.index()], true) {
            continue;
        }
        match chart.graph[node] {
            (var, Stands::Cause(cause)) => causes.push((cause, var)),
            _ => open.extend(chart.inputs(node).into_iter().rev().map(|(from, _)| from)),
        }
    }
    causes
}

fn of_gate(
    diagram: &mut Diagram,
    network: &Network,
    var: VarIx,
    order: usize,
    families: &BTreeMap<VarIx, Family>,
) -> Result<Family, Full> {
    let family = |from: &VarIx| families.get(from).copied().unwrap_or(Family::NEVER);
    let through = |link: &Link| if link.strength > 0.0 { family(&link.from) } else { Family::NEVER };
    let (least, inputs): (usize, Vec<Family>) = match &network.variable(var).mechanism {
        Mechanism::Any { links, .. } => (1, links.iter().map(through).collect()),
        Mechanism::All { links, .. } => (links.len(), links.iter().map(through).collect()),
        Mechanism::AtLeast { k, links, .. } => (*k, links.iter().map(through).collect()),
        Mechanism::Count { of, least, most } if least <= most => (*least, of.iter().map(family).collect()),
        Mechanism::Count { .. } | Mechanism::Table { .. } => return Ok(Family::NEVER),
    };
    at_least(diagram, least, &inputs, order)
}

/// Sets of no more than `order` that bring about at least so many of these: after each input, for each count the sets that
/// have reached it.
fn at_least(diagram: &mut Diagram, least: usize, inputs: &[Family], order: usize) -> Result<Family, Full> {
    let mut reached = vec![Family::NEVER; least + 1];
    reached[0] = Family::ALWAYS;
    for (at, input) in inputs.iter().enumerate() {
        // No more than one for each input so far, no fewer than the rest of the inputs can make up for.
        let still = inputs.len() - at;
        for count in ((least + 1).saturating_sub(still).max(1)..=least.min(at + 1)).rev() {
            let one_more = diagram.product(reached[count - 1], *input)?;
            let small = diagram.sized(one_more, 0, order)?;
            reached[count] = diagram.union(reached[count], small)?;
        }
    }
    Ok(reached[least])
}

/// The chances of the causes below an event before any answer.
struct Priors(BTreeMap<Ix<Cause>, Prior>);

impl Priors {
    fn of(laid: &Laid<'_>, case: &Case, causes: &[(Instance<Cause>, VarIx)]) -> Self {
        Self(causes.iter().map(|(cause, _)| (cause.item, prior(laid, case, cause.item))).collect())
    }

    /// The chance that all of these are there: of one cause at several places by its common root or by the root of each,
    /// of different causes as independent.
    fn chance(&self, causes: impl Iterator<Item = Instance<Cause>>) -> f64 {
        let mut places: BTreeMap<Ix<Cause>, Vec<usize>> = BTreeMap::new();
        for cause in causes {
            places.entry(cause.item).or_default().push(cause.at);
        }
        let of_one = |(cause, places): (Ix<Cause>, Vec<usize>)| {
            let prior = &self.0[&cause];
            let own: f64 = places.iter().map(|&at| prior.own[at]).product();
            prior.common + (1.0 - prior.common) * own
        };
        places.into_iter().map(of_one).product()
    }

    /// The most that one more cause can leave of the chance of others: where it has a common root, its chance where it is
    /// at every other place.
    fn share(&self, cause: Instance<Cause>) -> f64 {
        let prior = &self.0[&cause.item];
        let elsewhere: f64 =
            prior.own.iter().enumerate().filter(|(at, _)| *at != cause.at).map(|(_, own)| own).product();
        let (common, apart) = (prior.common, (1.0 - prior.common) * elsewhere);
        if common + apart > 0.0 { (common + apart * prior.own[cause.at]) / (common + apart) } else { 0.0 }
    }
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
    use std::collections::BTreeSet;

    /// Rain and sprinkler take a node each, "wet" one more: whoever lacks room is told where it ran out.
    #[test]
    fn the_event_without_room_is_named() {
        let files = [
            ("craft.yaml", include_str!("../../tests/knowledge_good/textbook/craft.yaml")),
            ("causes.yaml", include_str!("../../tests/knowledge_good/textbook/causes.yaml")),
            ("symptoms.yaml", include_str!("../../tests/knowledge_good/textbook/symptoms.yaml")),
        ];
        let files: Vec<_> = files.map(|(name, text)| (name.to_owned(), text.as_bytes().to_vec())).into();
        let knowledge = crate::knowledge::read(&files).0.expect("sound");
        let laid = Laid::new(&knowledge, crate::knowledge::layout::Craft::usual(&knowledge));
        let model = crate::model::compile::compile(&laid, &crate::chart::unasked(&laid));
        let (symptom, var) = model.symptoms[0];
        let chart = Chart::below(&model, var);
        let at = |room: usize| CutSets::within(&chart, &model.network, 2, room).map(|sets| sets.counts());
        assert!(matches!(at(1), Err(TooMany { at: Stands::Cause(_), room: 1 })));
        assert_eq!(at(2), Err(TooMany { at: Stands::Symptom(symptom), room: 2 }));
        assert_eq!(at(100), Ok(vec![2, 0]));
    }

    #[test]
    fn two_of_three() {
        let mut diagram = Diagram::new(100);
        let inputs: Vec<Family> = (0..3).map(|element| diagram.single(element).expect("room")).collect();
        let two = at_least(&mut diagram, 2, &inputs, 3).expect("room");
        assert_eq!(diagram.counts(two), [0, 0, 3]);
        assert_eq!(at_least(&mut diagram, 2, &inputs, 1), Ok(Family::NEVER));
        assert_eq!(at_least(&mut diagram, 4, &inputs, 4), Ok(Family::NEVER));
        assert_eq!(at_least(&mut diagram, 0, &inputs, 4), Ok(Family::ALWAYS));
    }

    proptest! {
        /// A set of faults brings "at least k" about exactly where it holds one of the sets found, and none of these holds
        /// another.
        #[test]
        fn sets_are_those_that_suffice(
            families in prop::collection::vec(prop::collection::vec(prop::collection::btree_set(0_u32..5, 1..3), 1..3), 1..5),
            least in 1_usize..4,
        ) {
            let mut diagram = Diagram::new(1_000);
            let mut inputs = Vec::new();
            for sets in &families {
                let mut family = Family::NEVER;
                for set in sets {
                    let mut all = Family::ALWAYS;
                    for element in set {
                        let one = diagram.single(*element).expect("room");
                        all = diagram.product(all, one).expect("room");
                    }
                    family = diagram.union(family, all).expect("room");
                }
                inputs.push(family);
            }
            let made = at_least(&mut diagram, least, &inputs, 5).expect("room");
            let found = diagram.likeliest(made, usize::MAX, |_| 1.0, |_| 1.0);
            let within = |set: &BTreeSet<u32>, world: u32| set.iter().all(|element| world >> element & 1 == 1);
            let found: Vec<BTreeSet<u32>> = found.into_iter().map(|set| set.into_iter().collect()).collect();
            for world in 0_u32..32 {
                let on = families.iter().filter(|family| family.iter().any(|set| within(set, world))).count();
                prop_assert_eq!(on >= least, found.iter().any(|set| within(set, world)));
            }
            for set in &found {
                prop_assert!(!found.iter().any(|other| other != set && other.is_subset(set)));
            }
        }
    }
}
