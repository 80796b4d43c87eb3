//! Families of sets of which none holds another, held as a zero-suppressed decision diagram.
//!
//! Such a family is at once the minimal cut sets of an event and the event itself, as a function that more faults never
//! turn off: "one or the other" is [`Diagram::union`], "both" is [`Diagram::product`], and what holds another set is
//! dropped on the way ([`Diagram::without`]). A node stands for one element: what the sets that lack it look like, and
//! the rest of those that have it. Equal parts are held once, so that a family is known by its node, millions of sets may
//! take a few hundred nodes, and counting them or finding the likeliest takes no listing of all.
//!
//! (Minato 1993 for the diagram, Rauzy 1993 for minimal cut sets by one; from memory.)

use indexmap::{IndexMap, IndexSet};
use std::cmp::Ordering;
use std::collections::{BTreeMap, BinaryHeap};

/// A family in its [`Diagram`]. Two are equal where they have the same sets.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Family(u32);

impl Family {
    /// The family of no set: what cannot come about.
    pub const NEVER: Self = Self(0);
    /// The family of the empty set: what comes about without any element.
    pub const ALWAYS: Self = Self(1);
}

/// The sets of a family by one element, the first that any of them has.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
struct Node {
    element: u32,
    /// The sets without the element.
    without: Family,
    /// The sets with the element, less the element.
    with: Family,
}

/// What was asked once is not worked out again.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Question {
    Union(Family, Family),
    Product(Family, Family),
    Without(Family, Family),
    Sized(Family, usize, usize),
}

/// The diagram is larger than it was given room for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("expected at most {room} nodes of a decision diagram, found more")]
pub struct Full {
    /// How many nodes there was room for.
    pub room: usize,
}

/// Families that share their parts.
#[derive(Clone, Debug)]
pub struct Diagram {
    /// Each node once, every part before what it is a part of; the two constant families stand before the first.
    nodes: IndexSet<Node>,
    known: IndexMap<Question, Family>,
    room: usize,
}

impl Diagram {
    /// An empty diagram with room for so many nodes, and for so many questions that were asked.
    #[must_use]
    pub fn new(room: usize) -> Self {
        Self { nodes: IndexSet::new(), known: IndexMap::new(), room }
    }

    /// The family of the set of one element. Elements that come early stand at the top.
    ///
    /// # Errors
    /// [`Full`] where there is no room.
    pub fn single(&mut self, element: u32) -> Result<Family, Full> {
        self.family(element, Family::NEVER, Family::ALWAYS)
    }

    fn family(&mut self, element: u32, without: Family, with: Family) -> Result<Family, Full> {
        if with == Family::NEVER {
            return Ok(without);
        }
        let (at, _) = self.nodes.insert_full(Node { element, without, with });
        if at >= self.room {
            return Err(Full { room: self.room });
        }
        Ok(Family(u32::try_from(at + 2).expect("room is less than four thousand million")))
    }

    /// The node of a family; `None` for the two that have no element.
    fn node(&self, family: Family) -> Option<Node> {
        let at = (family.0 as usize).checked_sub(2)?;
        self.nodes.get_index(at).copied()
    }

    /// The first element of two families that are not both constant, and each family by it: its sets without the element,
    /// and with it.
    fn parted(&self, a: Family, b: Family) -> (u32, [Family; 2], [Family; 2]) {
        let (x, y) = (self.node(a), self.node(b));
        let element = [x, y].into_iter().flatten().map(|node| node.element).min().expect("one of them has an element");
        let part = |family, node: Option<Node>| match node.filter(|node| node.element == element) {
            Some(node) => [node.without, node.with],
            None => [family, Family::NEVER],
        };
        (element, part(a, x), part(b, y))
    }

    fn answer(
        &mut self,
        question: Question,
        work: impl FnOnce(&mut Self) -> Result<Family, Full>,
    ) -> Result<Family, Full> {
        if let Some(known) = self.known.get(&question) {
            return Ok(*known);
        }
        let family = work(self)?;
        if self.known.len() >= self.room {
            return Err(Full { room: self.room });
        }
        self.known.insert(question, family);
        Ok(family)
    }

    /// The smallest sets that are in one or the other: either event.
    ///
    /// # Errors
    /// [`Full`] where there is no room.
    pub fn union(&mut self, a: Family, b: Family) -> Result<Family, Full> {
        let (a, b) = (a.min(b), a.max(b));
        if a == Family::NEVER || a == b {
            return Ok(b);
        }
        if a == Family::ALWAYS {
            return Ok(Family::ALWAYS);
        }
        self.answer(Question::Union(a, b), |own| {
            let (element, [a0, a1], [b0, b1]) = own.parted(a, b);
            let without = own.union(a0, b0)?;
            let with = own.union(a1, b1)?;
            let with = own.without(with, without)?;
            own.family(element, without, with)
        })
    }

    /// The smallest sets that hold one of each: both events.
    ///
    /// # Errors
    /// [`Full`] where there is no room.
    pub fn product(&mut self, a: Family, b: Family) -> Result<Family, Full> {
        let (a, b) = (a.min(b), a.max(b));
        if a == Family::NEVER || a == b {
            return Ok(a);
        }
        if a == Family::ALWAYS {
            return Ok(b);
        }
        self.answer(Question::Product(a, b), |own| {
            let (element, [a0, a1], [b0, b1]) = own.parted(a, b);
            let without = own.product(a0, b0)?;
            // The element is there: from one of the two or from both.
            let any = own.union(b0, b1)?;
            let (one, other) = (own.product(a1, any)?, own.product(a0, b1)?);
            let with = own.union(one, other)?;
            let with = own.without(with, without)?;
            own.family(element, without, with)
        })
    }

    /// The sets of the first that hold no set of the second.
    ///
    /// # Errors
    /// [`Full`] where there is no room.
    pub fn without(&mut self, a: Family, b: Family) -> Result<Family, Full> {
        if a == Family::NEVER || b == Family::NEVER {
            return Ok(a);
        }
        if b == Family::ALWAYS || a == b {
            return Ok(Family::NEVER);
        }
        if a == Family::ALWAYS {
            return Ok(a);
        }
        self.answer(Question::Without(a, b), |own| {
            let (element, [a0, a1], [b0, b1]) = own.parted(a, b);
            let without = own.without(a0, b0)?;
            let with = own.without(a1, b0)?;
            let with = own.without(with, b1)?;
            own.family(element, without, with)
        })
    }

    /// The sets of at least so many elements and at most so many.
    ///
    /// # Errors
    /// [`Full`] where there is no room.
    pub fn sized(&mut self, family: Family, least: usize, most: usize) -> Result<Family, Full> {
        let Some(node) = self.node(family) else {
            return Ok(if least == 0 { family } else { Family::NEVER });
        };
        self.answer(Question::Sized(family, least, most), |own| {
            let without = own.sized(node.without, least, most)?;
            let with = match most.checked_sub(1) {
                Some(most) => own.sized(node.with, least.saturating_sub(1), most)?,
                None => Family::NEVER,
            };
            own.family(node.element, without, with)
        })
    }

    /// How many sets there are of no element, of one, of two, and so on to the largest; what is more than can be counted
    /// is the most that can.
    ///
    /// Cost: nodes times the size of the largest set; none is listed.
    #[must_use]
    pub fn counts(&self, family: Family) -> Vec<u64> {
        let add = |without: &Vec<u64>, with: &Vec<u64>| {
            let mut both = vec![0; without.len().max(with.len() + 1)];
            both[..without.len()].copy_from_slice(without);
            for (sum, more) in both[1..].iter_mut().zip(with) {
                *sum = u64::saturating_add(*sum, *more);
            }
            both
        };
        let mut counts = self.gather(family, vec![], vec![1], |_, without, with| add(without, with));
        counts.remove(&family).unwrap_or_default()
    }

    /// The likeliest sets, the likeliest first, no more than `most`.
    ///
    /// `chance` is that all of some elements are there, `share` no less than what one more can leave of it: with
    /// independent elements the chance of each.
    ///
    /// Cost: best first from the top of the diagram; about `most` times the elements on a way, whatever the family has.
    pub fn likeliest(
        &self,
        family: Family,
        most: usize,
        share: impl Fn(u32) -> f64,
        chance: impl Fn(&[u32]) -> f64,
    ) -> Vec<Vec<u32>> {
        let at_best = self.gather(family, 0.0, 1.0, |element, without, with| f64::max(*without, share(element) * with));
        let bound = |part: Family, chosen: &[u32]| chance(chosen) * at_best[&part];
        let mut found = Vec::new();
        let mut open = BinaryHeap::new();
        if family != Family::NEVER {
            open.push(Way { bound: at_best[&family], chosen: Vec::new(), family });
        }
        while found.len() < most
            && let Some(Way { chosen, family, .. }) = open.pop()
        {
            let Some(node) = self.node(family) else {
                found.push(chosen);
                continue;
            };
            let mut with = chosen.clone();
            with.push(node.element);
            open.push(Way { bound: bound(node.with, &with), chosen: with, family: node.with });
            if node.without != Family::NEVER {
                open.push(Way { bound: bound(node.without, &chosen), chosen, family: node.without });
            }
        }
        found
    }

    /// Works something out for a family and each of its parts, from what it is for the two parts of each.
    fn gather<T>(&self, family: Family, never: T, always: T, join: impl Fn(u32, &T, &T) -> T) -> BTreeMap<Family, T> {
        let mut parts: BTreeMap<Family, Node> = BTreeMap::new();
        let mut open = vec![family];
        while let Some(next) = open.pop() {
            if let Some(node) = self.node(next)
                && parts.insert(next, node).is_none()
            {
                open.extend([node.without, node.with]);
            }
        }
        let mut known = BTreeMap::from([(Family::NEVER, never), (Family::ALWAYS, always)]);
        // A part stands before what it is a part of.
        for (part, node) in parts {
            let value = join(node.element, &known[&node.without], &known[&node.with]);
            known.insert(part, value);
        }
        known
    }
}

/// Some elements that were chosen, and a family of which one set is to be added.
struct Way {
    /// No set on this way is likelier.
    bound: f64,
    chosen: Vec<u32>,
    family: Family,
}

impl Ord for Way {
    fn cmp(&self, other: &Self) -> Ordering {
        self.bound
            .total_cmp(&other.bound)
            .then_with(|| other.chosen.cmp(&self.chosen))
            .then_with(|| other.family.cmp(&self.family))
    }
}

impl PartialOrd for Way {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl PartialEq for Way {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for Way {}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::collections::BTreeSet;

    const ROOM: usize = 10_000;

    fn family(diagram: &mut Diagram, sets: &[Vec<u32>]) -> Family {
        sets.iter().fold(Family::NEVER, |all, set| {
            let one = set.iter().fold(Family::ALWAYS, |all, element| {
                let single = diagram.single(*element).expect("room");
                diagram.product(all, single).expect("room")
            });
            diagram.union(all, one).expect("room")
        })
    }

    /// Every set, smallest first.
    fn listed(diagram: &Diagram, family: Family) -> Vec<Vec<u32>> {
        let mut sets = diagram.likeliest(family, usize::MAX, |_| 1.0, |_| 1.0);
        sets.sort_by_key(|set| (set.len(), set.clone()));
        sets
    }

    /// The chance of a family as an event, its elements independent, by cases of its first element.
    fn event(diagram: &mut Diagram, family: Family, chance: &[f64]) -> f64 {
        let Some(Node { element, without, with }) = diagram.node(family) else {
            return if family == Family::ALWAYS { 1.0 } else { 0.0 };
        };
        let there = diagram.union(without, with).expect("room");
        let p = chance[element as usize];
        p * event(diagram, there, chance) + (1.0 - p) * event(diagram, without, chance)
    }

    #[test]
    fn what_holds_another_is_dropped() {
        let mut diagram = Diagram::new(ROOM);
        let made = family(&mut diagram, &[vec![1, 2, 3], vec![2], vec![1, 3], vec![2, 4]]);
        assert_eq!(listed(&diagram, made), [vec![2], vec![1, 3]]);
        let always = family(&mut diagram, &[vec![1], vec![]]);
        assert_eq!(always, Family::ALWAYS, "what always holds holds without any");
        assert_eq!(diagram.counts(always), [1]);
        assert_eq!(diagram.counts(Family::NEVER), [0; 0]);
    }

    #[test]
    fn equal_families_are_one_node() {
        let mut diagram = Diagram::new(ROOM);
        let one = family(&mut diagram, &[vec![1, 2], vec![3]]);
        let other = family(&mut diagram, &[vec![3], vec![2, 1], vec![3, 1]]);
        assert_eq!(one, other);
    }

    /// Two trains in parallel (Dutuit and Rauzy 2001): chances .42, .3, .28, .2, and .646 that both are down.
    #[test]
    fn two_trains() {
        let mut diagram = Diagram::new(ROOM);
        let (one, other) = (family(&mut diagram, &[vec![0], vec![2]]), family(&mut diagram, &[vec![1], vec![3]]));
        let both = diagram.product(one, other).expect("room");
        let chance = [0.6, 0.7, 0.4, 0.5];
        let of = |set: &[u32]| set.iter().map(|element| chance[*element as usize]).product::<f64>();
        let share = |element: u32| chance[element as usize];
        assert_eq!(diagram.likeliest(both, 3, share, of), [[0, 1], [0, 3], [1, 2]]);
        assert!((event(&mut diagram, both, &chance) - 0.646).abs() < 1e-12);
    }

    /// Thirty pairs of which one of each must be there: a thousand million sets in sixty nodes.
    #[test]
    fn a_thousand_million_sets_are_counted() {
        let mut diagram = Diagram::new(ROOM);
        let mut all = Family::ALWAYS;
        for pair in 0..30 {
            let one = family(&mut diagram, &[vec![2 * pair], vec![2 * pair + 1]]);
            all = diagram.product(all, one).expect("room");
        }
        let counts = diagram.counts(all);
        assert_eq!(counts.iter().sum::<u64>(), 1 << 30);
        assert_eq!(counts[30], 1 << 30);
        let share = |element: u32| if element.is_multiple_of(2) { 0.5 } else { 0.25 };
        let of = |set: &[u32]| set.iter().map(|element| share(*element)).product();
        let best = diagram.likeliest(all, 31, share, of);
        assert!(best[0].iter().all(|element| element.is_multiple_of(2)));
        assert!(best[1..].iter().all(|set| set.iter().filter(|element| !element.is_multiple_of(2)).count() == 1));
    }

    #[test]
    fn a_full_diagram_says_so() {
        let mut diagram = Diagram::new(8);
        let full = (0..20).try_fold(Family::NEVER, |all, element| {
            let one = diagram.single(element)?;
            diagram.union(all, one)
        });
        assert_eq!(full, Err(Full { room: 8 }));
    }

    /// The sets of which none holds another.
    fn smallest(sets: impl IntoIterator<Item = BTreeSet<u32>>) -> BTreeSet<BTreeSet<u32>> {
        let all: BTreeSet<BTreeSet<u32>> = sets.into_iter().collect();
        let holds_none = |set: &&BTreeSet<u32>| !all.iter().any(|other| other != *set && other.is_subset(set));
        all.iter().filter(holds_none).cloned().collect()
    }

    fn few_sets() -> impl Strategy<Value = BTreeSet<BTreeSet<u32>>> {
        prop::collection::vec(prop::collection::btree_set(0_u32..8, 0..5), 0..8).prop_map(smallest)
    }

    proptest! {
        /// Union, product, what holds none of the other, and sizes are what they are for lists of sets.
        #[test]
        fn as_lists_of_sets(a in few_sets(), b in few_sets(), least in 0_usize..4, most in 0_usize..5) {
            let mut diagram = Diagram::new(ROOM);
            let plain = |sets: &BTreeSet<BTreeSet<u32>>| -> Vec<Vec<u32>> {
                sets.iter().map(|set| set.iter().copied().collect()).collect()
            };
            let (x, y) = (family(&mut diagram, &plain(&a)), family(&mut diagram, &plain(&b)));
            let sorted = |sets: &BTreeSet<BTreeSet<u32>>| {
                let mut sets = plain(sets);
                sets.sort_by_key(|set| (set.len(), set.clone()));
                sets
            };
            let union = diagram.union(x, y).expect("room");
            prop_assert_eq!(listed(&diagram, union), sorted(&smallest(a.iter().chain(&b).cloned())));
            let product = diagram.product(x, y).expect("room");
            let pairs = a.iter().flat_map(|one| b.iter().map(move |other| one | other));
            prop_assert_eq!(listed(&diagram, product), sorted(&smallest(pairs)));
            let without = diagram.without(x, y).expect("room");
            let kept = a.iter().filter(|set| !b.iter().any(|other| other.is_subset(set))).cloned().collect();
            prop_assert_eq!(listed(&diagram, without), sorted(&kept));
            let sized = diagram.sized(x, least, most).expect("room");
            let kept = a.iter().filter(|set| (least..=most).contains(&set.len())).cloned().collect();
            prop_assert_eq!(listed(&diagram, sized), sorted(&kept));
            for (size, count) in diagram.counts(x).into_iter().enumerate() {
                prop_assert_eq!(count, a.iter().filter(|set| set.len() == size).count() as u64);
            }
        }

        /// The likeliest of a family are the first of all its sets by chance.
        #[test]
        fn the_likeliest_come_first(
            sets in few_sets(), chance in prop::collection::vec(0.01..0.99_f64, 8), most in 0_usize..10,
        ) {
            let mut diagram = Diagram::new(ROOM);
            let plain: Vec<Vec<u32>> = sets.iter().map(|set| set.iter().copied().collect()).collect();
            let made = family(&mut diagram, &plain);
            let of = |set: &[u32]| set.iter().map(|element| chance[*element as usize]).product::<f64>();
            let found = diagram.likeliest(made, most, |element| chance[element as usize], of);
            let mut all: Vec<f64> = plain.iter().map(|set| of(set)).collect();
            all.sort_by(|a, b| b.total_cmp(a));
            prop_assert_eq!(found.len(), most.min(all.len()));
            for (set, expected) in found.iter().zip(all) {
                prop_assert!((of(set) - expected).abs() < 1e-12);
            }
        }
    }
}
