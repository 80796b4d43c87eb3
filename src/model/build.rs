//! Adds variables to a network one at a time and works out the states each needs over the slices.

use super::network::{Link, Literal, Mechanism, Network, SliceSet, States, VarIx, Variable};
use crate::knowledge::GateKind;
use std::collections::{BTreeMap, BTreeSet};

/// How an on/off variable can change between slices.
#[derive(Clone, Debug, Default)]
struct Course {
    /// The slices in which it may differ from the slice before.
    turns: BTreeSet<usize>,
    /// Whether it can also come on again; else it only ever goes off.
    returns: bool,
}

/// A network under construction.
pub struct Builder {
    network: Network,
    courses: Vec<Course>,
    counts: BTreeMap<(Vec<VarIx>, usize, usize), VarIx>,
    never: Option<VarIx>,
}

impl Builder {
    /// An empty network of so many slices.
    #[must_use]
    pub fn new(slices: usize) -> Self {
        let network = Network { slices, variables: Vec::new() };
        Self { network, courses: Vec::new(), counts: BTreeMap::new(), never: None }
    }

    /// The finished network.
    #[must_use]
    pub fn finish(&mut self) -> Network {
        std::mem::replace(&mut self.network, Network { slices: 1, variables: Vec::new() })
    }

    /// The states of a variable.
    #[must_use]
    pub fn states(&self, var: VarIx) -> &States {
        &self.network.variables[var.at()].states
    }

    fn add(&mut self, name: String, course: Course, mechanism: Mechanism) -> VarIx {
        let ix = VarIx(u32::try_from(self.network.variables.len()).expect("fewer than 2^32 variables"));
        let states = States::OnIn(slice_sets(self.network.slices, &course));
        self.network.variables.push(Variable { name, states, mechanism });
        self.courses.push(course);
        ix
    }

    /// A root that never changes.
    pub fn add_root(&mut self, name: String, chance: f64) -> VarIx {
        self.add(name, Course::default(), Mechanism::Table { parents: Vec::new(), rows: vec![1.0 - chance, chance] })
    }

    /// A fault: there where its common root is, or by a root of its own; repairs that open the slices after the first
    /// remove it with the chances in `cures`.
    pub fn add_fault(&mut self, name: String, common: Option<VarIx>, own: f64, cures: &[f64]) -> VarIx {
        let turns: BTreeSet<usize> = (1..).zip(cures).filter(|(_, c)| **c > 0.0).map(|(slice, _)| slice).collect();
        let mut there = Vec::new();
        let mut stays = 1.0;
        for slice in &turns {
            let cure = cures[slice - 1];
            there.push(stays * cure);
            stays *= 1.0 - cure;
        }
        there.push(stays);
        let row = |p: f64| std::iter::once(1.0 - p).chain(there.iter().map(move |t| p * t)).collect::<Vec<f64>>();
        let mut rows = row(own);
        if common.is_some() {
            rows.extend(row(1.0));
        }
        let course = Course { turns, returns: false };
        self.add(name, course, Mechanism::Table { parents: common.into_iter().collect(), rows })
    }

    /// A gate over links; links of no strength are left out.
    pub fn add_gate(&mut self, name: String, kind: GateKind, links: Vec<(VarIx, f64)>, leak: f64) -> VarIx {
        let links: Vec<Link> = links
            .into_iter()
            .filter(|(_, strength)| *strength > 0.0 || kind != GateKind::Any)
            .map(|(from, strength)| Link { from, strength })
            .collect();
        let course = self.joint_course(links.iter().map(|l| l.from));
        let mechanism = match kind {
            GateKind::Any => Mechanism::Any { links, leak },
            GateKind::All => Mechanism::All { links, leak },
            GateKind::AtLeast(k) => Mechanism::AtLeast { k, links, leak },
        };
        self.add(name, course, mechanism)
    }

    /// The variable that is on where so many of `of` are on; one for each question. `None` where that cannot be.
    pub fn counted(&mut self, of: &[VarIx], least: usize, most: usize) -> Option<VarIx> {
        if least > most || least > of.len() || of.is_empty() {
            return None;
        }
        if of.len() == 1 && (least, most) == (1, 1) {
            return Some(of[0]);
        }
        let key = (of.to_vec(), least, most);
        if let Some(known) = self.counts.get(&key) {
            return Some(*known);
        }
        let mut course = self.joint_course(of.iter().copied());
        course.returns |= (most < of.len() || least == 0) && !course.turns.is_empty();
        let names: Vec<&str> = of.iter().map(|v| self.network.variables[v.at()].name.as_str()).collect();
        let name = format!("{least}..{most} of {}", names.join(", "));
        let var = self.add(name, course, Mechanism::Count { of: of.to_vec(), least, most });
        self.counts.insert(key, var);
        Some(var)
    }

    /// The variable that is on where any of `of` is; the variable itself where there is one.
    pub fn any_on(&mut self, of: &[VarIx]) -> Option<VarIx> {
        self.counted(of, 1, of.len())
    }

    /// The variable that is on where any literal holds.
    ///
    /// # Panics
    /// Where there is no literal: our bug.
    pub fn any_literal(&mut self, literals: &[Literal]) -> VarIx {
        let vars: Vec<VarIx> = literals
            .iter()
            .map(|l| if l.on { l.var } else { self.counted(&[l.var], 0, 0).expect("a known variable") })
            .collect();
        self.any_on(&vars).expect("at least one literal")
    }

    /// A variable that is never on.
    pub fn never(&mut self) -> VarIx {
        if let Some(never) = self.never {
            return never;
        }
        let never = self.add_root("never".to_owned(), 0.0);
        self.never = Some(never);
        never
    }

    fn joint_course(&self, inputs: impl Iterator<Item = VarIx>) -> Course {
        let mut course = Course::default();
        for input in inputs {
            let of = &self.courses[input.at()];
            course.turns.extend(&of.turns);
            course.returns |= of.returns;
        }
        course
    }
}

/// The sets of slices in which a variable of this course can be on, ascending, the empty set first.
fn slice_sets(slices: usize, course: &Course) -> Vec<SliceSet> {
    let mut sets: BTreeSet<SliceSet> = [SliceSet::NONE, SliceSet::all(slices)].into();
    if !course.returns {
        sets.extend(course.turns.iter().map(|&turn| SliceSet::first(turn)));
        return sets.into_iter().collect();
    }
    let mut bounds = vec![0];
    bounds.extend(&course.turns);
    bounds.push(slices);
    let stretches: Vec<u8> = bounds.windows(2).map(|w| SliceSet::first(w[1]).0 & !SliceSet::first(w[0]).0).collect();
    for chosen in 0..1usize << stretches.len() {
        let set = stretches.iter().enumerate().filter(|(i, _)| chosen >> i & 1 == 1).fold(0, |set, (_, s)| set | s);
        sets.insert(SliceSet(set));
    }
    sets.into_iter().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fault_goes_and_never_comes_back() {
        let mut builder = Builder::new(3);
        let fault = builder.add_fault("f".into(), None, 0.2, &[0.9, 0.5]);
        let States::OnIn(sets) = builder.states(fault) else { panic!("on or off") };
        assert_eq!(sets.iter().map(|s| s.0).collect::<Vec<_>>(), [0b000, 0b001, 0b011, 0b111]);
        let Mechanism::Table { rows, .. } = &builder.finish().variables[0].mechanism else { panic!("a table") };
        for (got, expected) in rows.iter().zip([0.8, 0.18, 0.01, 0.01]) {
            assert!((got - expected).abs() < 1e-12, "{rows:?}");
        }
    }

    #[test]
    fn one_of_two_can_come_on_when_one_is_cured() {
        let mut builder = Builder::new(2);
        let a = builder.add_fault("a".into(), None, 0.5, &[1.0]);
        let b = builder.add_fault("b".into(), None, 0.5, &[0.0]);
        let one = builder.counted(&[a, b], 1, 1).unwrap();
        let States::OnIn(sets) = builder.states(one) else { panic!("on or off") };
        assert_eq!(sets.iter().map(|s| s.0).collect::<Vec<_>>(), [0b00, 0b01, 0b10, 0b11]);
    }
}
