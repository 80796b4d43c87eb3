//! What is known once some repairs have failed, whichever they are and in whatever order, and what that leaves of worlds.

use super::super::simulate::{Bits, both, or_into, words};
use super::{Bench, Together};
use std::cell::OnceCell;
use std::collections::BTreeMap;
use std::rc::Rc;

/// What is known for each set of repairs that have failed, by number; the first is that of none.
pub(super) struct Failed {
    sets: Vec<Rc<Further>>,
    /// The number of each set, ascending.
    numbers: BTreeMap<Vec<usize>, usize>,
    /// The number of each set with one more, as far as it was asked for.
    with: BTreeMap<(usize, usize), usize>,
}

/// What is known once some repairs have failed.
pub(super) struct Further {
    /// Those, ascending.
    pub(super) done: Vec<usize>,
    /// The worlds that those repairs cure after all, or two of them together: none of these is left.
    before: Bits,
    /// Repairs, ascending, that cure worlds with one of those and not alone.
    pub(super) with: Vec<With>,
    /// For each repair the worlds left that it cures, alone or with one of those; when asked for.
    cures: Vec<OnceCell<Bits>>,
}

/// Worlds that a repair cures after others.
#[derive(Clone)]
pub(super) struct With {
    pub(super) repair: usize,
    worlds: Rc<[u64]>,
    /// How many.
    pub(super) n: f64,
}

impl Bench {
    /// What is known once a set of repairs has failed.
    pub(super) fn set(&self, failed: usize) -> Rc<Further> {
        Rc::clone(&self.failed.borrow().sets[failed])
    }

    /// The number of a set of failed repairs with one more.
    pub(super) fn with(&self, failed: usize, repair: usize, together: &mut Together<'_>) -> usize {
        if let Some(known) = self.failed.borrow().with.get(&(failed, repair)) {
            return *known;
        }
        let before = self.set(failed);
        let mut done = before.done.clone();
        done.insert(done.partition_point(|earlier| *earlier < repair), repair);
        // In whatever order they failed.
        let known = self.failed.borrow().numbers.get(&done).copied();
        let number = known.unwrap_or_else(|| {
            let further = Rc::new(self.further(&before, done.clone(), repair, together));
            let mut failed = self.failed.borrow_mut();
            failed.sets.push(further);
            let number = failed.sets.len() - 1;
            failed.numbers.insert(done, number);
            number
        });
        self.failed.borrow_mut().with.insert((failed, repair), number);
        number
    }

    /// What is known once those in `done` have failed: what was known before the `last` of them did, and what that one adds.
    fn further(&self, before: &Further, done: Vec<usize>, last: usize, together: &mut Together<'_>) -> Further {
        let (with, left) = (before.with.clone(), before.before.clone());
        let mut further = Further { done, before: left, with, cures: vec![OnceCell::new(); self.cures.len()] };
        // Worlds that only three repairs together cure are left to the next step.
        or_into(&mut further.before, &self.cures[last]);
        for repair in 0..self.cures.len() {
            let Some(both) = self.pair(last, repair, together) else { continue };
            if before.done.binary_search(&repair).is_ok() {
                or_into(&mut further.before, both);
            }
            let any = |worlds: Rc<[u64]>| {
                let n = f64::from(worlds.iter().map(|word| word.count_ones()).sum::<u32>());
                With { repair, worlds, n }
            };
            match further.with.binary_search_by_key(&repair, |with| with.repair) {
                Ok(at) => {
                    further.with[at] = any(further.with[at].worlds.iter().zip(both).map(|(w, b)| w | b).collect());
                }
                Err(at) => further.with.insert(at, any(both.as_slice().into())),
            }
        }
        further
    }
}

impl Failed {
    /// None of so many repairs has failed in `n` worlds.
    pub(super) fn none(repairs: usize, n: usize) -> Self {
        let cures = vec![OnceCell::new(); repairs];
        let nothing = Further { done: vec![], before: vec![0; words(n)], with: vec![], cures };
        Self { sets: vec![Rc::new(nothing)], numbers: BTreeMap::from([(vec![], 0)]), with: BTreeMap::new() }
    }
}

impl Further {
    /// In how many worlds of `row` a repair is the cure now.
    pub(super) fn cured(&self, bench: &Bench, repair: usize, row: &[u64]) -> f64 {
        f64::from(both(row, self.cures[repair].get_or_init(|| self.cures_now(bench, repair))))
    }

    fn cures_now(&self, bench: &Bench, repair: usize) -> Bits {
        let mut cures = bench.cures[repair].clone();
        if let Ok(at) = self.with.binary_search_by_key(&repair, |with| with.repair) {
            or_into(&mut cures, &self.with[at].worlds);
        }
        cures.iter_mut().zip(&self.before).for_each(|(cures, before)| *cures &= !before);
        cures
    }

    /// How many worlds of `row` whoever hands over could have cured.
    pub(super) fn own(&self, bench: &Bench, row: &[u64]) -> f64 {
        let own = bench.giving_up.own.iter().zip(&self.before).zip(row);
        f64::from(own.map(|((own, before), row)| (own & !before & row).count_ones()).sum::<u32>())
    }
}
