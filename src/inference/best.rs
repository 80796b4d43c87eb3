//! The most probable sets of causes, effects and other causes summed out: best-first branch and bound.
//!
//! This is a marginal maximum a posteriori query: sums inside, a maximum outside. The signed tables of the star form can
//! only be summed, so every number here is an evidence or a marginal, never a maximum through the elimination.

use std::collections::BinaryHeap;

use crate::model::network::{Observation, VarIx};

use super::given::Given;
use super::{Accuracy, Error};

/// A region with no unknown set above this is closed: its sums are rounding by then.
const NOTHING: f64 = 1e-15;

/// Which sets are asked for.
#[derive(Clone, Copy, Debug)]
pub struct SetsQuery<'a> {
    /// The on/off variables that a set is made of: on in it, off beside it. Each once.
    pub vars: &'a [VarIx],
    /// The slice in which they are on or off.
    pub slice: usize,
    /// How many sets.
    pub k: usize,
    /// The budget: how many parts of the space of sets may be looked into; each costs an up and a down pass and at most
    /// one more up pass. Never time, so that the answer is the same everywhere.
    pub nodes: usize,
    /// Sets to begin with, as ascending positions in `vars`, say those seen often in a sample: each costs an up pass,
    /// and makes the list better where the budget is short.
    pub candidates: &'a [Vec<usize>],
}

/// A set and its chance.
#[derive(Clone, Debug, PartialEq)]
pub struct CauseSet {
    /// Positions in [`SetsQuery::vars`] of what is on, ascending.
    pub members: Vec<usize>,
    /// P(all of these on, all others of the list off | observations).
    pub chance: f64,
}

/// The most probable sets, and what is known of all others.
#[derive(Clone, Debug, PartialEq)]
pub struct BestSets {
    /// The most probable first; none of chance zero.
    pub sets: Vec<CauseSet>,
    /// No set that is not listed has more, to rounding. Where every listed set has at least this, the list is the best
    /// there is; see [`BestSets::settled`].
    pub unlisted_at_most: f64,
    /// The chance of all sets that are not listed, together.
    pub rest: f64,
    /// How many parts of the space of sets were looked into.
    pub nodes: usize,
    /// That of the posterior. Over cut links each chance is as near as those of the posterior, and so is the bound.
    pub accuracy: Accuracy,
}

impl BestSets {
    /// How many sets at the head of the list are surely the best, in their order.
    #[must_use]
    pub fn settled(&self) -> usize {
        self.sets.iter().take_while(|set| set.chance >= self.unlisted_at_most).count()
    }
}

/// What the search asks: chances over the states of the list's variables.
trait Oracle {
    /// The chance that the variables decided are as they are, and for each variable its chances off and on given that;
    /// `None` where it cannot be.
    fn look(&self, decided: &[Option<bool>]) -> Result<Option<Look>, Error>;
    /// The chance of one whole set.
    fn chance(&self, set: &[bool]) -> Result<f64, Error>;
}

/// One look into a part of the space of sets.
struct Look {
    chance: f64,
    /// For each variable its chances off and on.
    off_on: Vec<[f64; 2]>,
}

impl Look {
    /// The likelier state of each variable; off where both are as likely.
    fn likelier(&self, decided: &[Option<bool>]) -> Vec<bool> {
        self.off_on.iter().zip(decided).map(|([off, on], state)| state.unwrap_or(on > off)).collect()
    }

    /// The chance of the other state.
    fn other(&self, var: usize) -> f64 {
        let [off, on] = self.off_on[var];
        off.min(on)
    }
}

/// A part of the space of sets: those that agree with what is decided.
struct Region {
    decided: Vec<Option<bool>>,
    /// No set in here that has not been found yet has more.
    bound: f64,
    /// The sets found so far that lie in here.
    found: Vec<usize>,
    /// How many regions were made before it: of equal bounds the older goes first.
    age: usize,
}

impl PartialEq for Region {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other).is_eq()
    }
}

impl Eq for Region {}

impl PartialOrd for Region {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Region {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        self.bound.total_cmp(&other.bound).then(other.age.cmp(&self.age))
    }
}

/// The search under way.
struct Search<'a, O> {
    oracle: &'a O,
    open: BinaryHeap<Region>,
    /// Every set found, with its chance.
    found: Vec<(Vec<bool>, f64)>,
    made: usize,
    nodes: usize,
}

/// Looks for the `query.k` most probable sets given what `given` holds.
pub(super) fn sets(given: &Given<'_>, query: &SetsQuery<'_>) -> Result<BestSets, Error> {
    let oracle = Posteriors { given, query };
    let mut search = Search { oracle: &oracle, open: BinaryHeap::new(), found: vec![], made: 0, nodes: 0 };
    for candidate in query.candidates {
        search.find((0..query.vars.len()).map(|at| candidate.contains(&at)).collect())?;
    }
    search.run(query)?;
    Ok(search.into_sets(query.k, given.posterior.accuracy().clone()))
}

impl<O: Oracle> Search<'_, O> {
    fn run(&mut self, query: &SetsQuery<'_>) -> Result<(), Error> {
        let everything = (0..self.found.len()).collect();
        self.open(vec![None; query.vars.len()], 1.0, everything);
        while let Some(region) = self.open.pop() {
            if self.nodes == query.nodes || region.bound <= self.chance_of(query.k).max(NOTHING) {
                self.open.push(region);
                break;
            }
            self.nodes += 1;
            self.expand(region)?;
        }
        Ok(())
    }

    /// The `k`th largest chance found; 0 where fewer were found.
    fn chance_of(&self, k: usize) -> f64 {
        let mut chances: Vec<f64> = self.found.iter().map(|&(_, chance)| chance).collect();
        chances.sort_by(|a, b| b.total_cmp(a));
        k.checked_sub(1).map_or(f64::INFINITY, |at| chances.get(at).copied().unwrap_or(0.0))
    }

    fn open(&mut self, decided: Vec<Option<bool>>, bound: f64, found: Vec<usize>) {
        if bound > 0.0 {
            self.open.push(Region { decided, bound, found, age: self.made });
            self.made += 1;
        }
    }

    /// The place of a set among those found, found now if it was not before.
    fn find(&mut self, set: Vec<bool>) -> Result<usize, Error> {
        if let Some(at) = self.found.iter().position(|(known, _)| *known == set) {
            return Ok(at);
        }
        let chance = self.oracle.chance(&set)?;
        self.found.push((set, chance));
        Ok(self.found.len() - 1)
    }

    /// Looks into a region: finds the set of the likelier states, and splits what else there may be by the variable
    /// whose state is the most uncertain.
    ///
    /// Let M be the region's chance, g the set of the likelier states and m(i) the chance in the region of the other
    /// state of variable i, at most one half. A set x other than g differs from it in some variable i. All sets of the
    /// region that differ from g in i have M m(i) together, and those of them already found have their share of that;
    /// so x, if it is not found yet, has at most M m(i) less that share. The largest of these over all i bounds every
    /// set of the region not found yet, and so does M less the chance of all that was found in it. (For g itself
    /// M min over i of (1 - m(i)) is a bound; no bound is needed, its chance is asked for.) The two halves of the region
    /// lie within it, so what was said of a variable's chance goes on to hold in them: before it is looked into, a half
    /// is bounded by the same terms with its own sets found, its own chance, and the variables that it leaves open.
    /// A variable whose other state has chance zero never differs: it needs no splitting.
    fn expand(&mut self, region: Region) -> Result<(), Error> {
        let Region { decided, bound, mut found, .. } = region;
        let Some(look) = self.oracle.look(&decided)? else { return Ok(()) };
        let likelier = look.likelier(&decided);
        let uncertain: Vec<usize> =
            (0..decided.len()).filter(|&var| decided[var].is_none() && look.other(var) > 0.0).collect();
        let by_doubt = |a: &usize, b: &usize| look.other(*a).total_cmp(&look.other(*b)).then(b.cmp(a));
        let Some(&split) = uncertain.iter().max_by(|a, b| by_doubt(a, b)) else {
            if !self.found.iter().any(|(set, _)| *set == likelier) {
                self.found.push((likelier, look.chance));
            }
            return Ok(());
        };
        let at = self.find(likelier.clone())?;
        if !found.contains(&at) {
            found.push(at);
        }
        for state in [false, true] {
            let inside: Vec<usize> = found.iter().copied().filter(|&at| self.found[at].0[split] == state).collect();
            let chance = |at: usize| self.found[at].1;
            let left =
                look.chance * look.off_on[split][usize::from(state)] - inside.iter().map(|&at| chance(at)).sum::<f64>();
            let mut bound = bound.min(left);
            if state == likelier[split] {
                let differing = |var: usize| {
                    let known = inside.iter().filter(|&&at| self.found[at].0[var] != likelier[var]);
                    look.chance * look.other(var) - known.map(|&at| chance(at)).sum::<f64>()
                };
                let others = uncertain.iter().filter(|&&var| var != split).map(|&var| differing(var));
                bound = bound.min(others.fold(0.0, f64::max));
            }
            let mut half = decided.clone();
            half[split] = Some(state);
            self.open(half, bound, inside);
        }
        Ok(())
    }

    fn into_sets(self, k: usize, accuracy: Accuracy) -> BestSets {
        let set_of = |(states, chance): (Vec<bool>, f64)| {
            let members = states.iter().enumerate().filter(|&(_, &on)| on).map(|(at, _)| at).collect();
            CauseSet { members, chance }
        };
        let mut sets: Vec<CauseSet> = self.found.into_iter().map(set_of).filter(|set| set.chance > 0.0).collect();
        sets.sort_by(|a, b| b.chance.total_cmp(&a.chance).then_with(|| a.members.cmp(&b.members)));
        let beyond = sets.get(k).map_or(0.0, |set| set.chance);
        sets.truncate(k);
        let rest = (1.0 - sets.iter().map(|set| set.chance).sum::<f64>()).max(0.0);
        let open = self.open.peek().map_or(0.0, |region| region.bound);
        BestSets { sets, unlisted_at_most: open.max(beyond), rest, nodes: self.nodes, accuracy }
    }
}

/// The posterior as the search asks it.
struct Posteriors<'a> {
    given: &'a Given<'a>,
    query: &'a SetsQuery<'a>,
}

impl Posteriors<'_> {
    fn finding(&self, var: usize, on: bool) -> Observation {
        self.given.base.network.found(self.query.vars[var], self.query.slice, on)
    }
}

impl Oracle for Posteriors<'_> {
    fn look(&self, decided: &[Option<bool>]) -> Result<Option<Look>, Error> {
        let (vars, network) = (self.query.vars, &self.given.base.network);
        let findings: Vec<Observation> =
            (0..vars.len()).filter_map(|var| Some(self.finding(var, decided[var]?))).collect();
        let Some((chance, posterior)) = self.given.marginals(&findings, vars)? else { return Ok(None) };
        let off_on = |&var: &VarIx| {
            let mut off_on = [0.0; 2];
            for (state, p) in posterior.of(var).iter().enumerate() {
                // A signed sum that should be zero can come out a hair below.
                off_on[usize::from(network.on_in(var, state).has(self.query.slice))] += p.max(0.0);
            }
            off_on
        };
        Ok(Some(Look { chance, off_on: vars.iter().map(off_on).collect() }))
    }

    fn chance(&self, set: &[bool]) -> Result<f64, Error> {
        self.given.chance(set.iter().enumerate().map(|(var, &on)| self.finding(var, on)))
    }
}
