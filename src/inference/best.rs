//! The most probable sets of causes, effects and other causes summed out: best-first branch and bound.
//!
//! This is a marginal maximum a posteriori query: sums inside, a maximum outside. The signed tables of the star form can
//! only be summed, so every number here is an evidence or a marginal, never a maximum through the elimination.

use std::collections::BinaryHeap;

use crate::model::network::{Network, VarIx};

use super::given::Given;
use super::kernel::LANES;
use super::{Accuracy, Error, Event, Prepared};

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
    /// The budget: how many parts of the space of sets may be looked into. Eight together cost an up and a down pass and
    /// at most one more up pass. Never time, so that the answer is the same everywhere.
    pub nodes: usize,
    /// Sets to begin with, as ascending positions in `vars`, say those seen often in a sample: they make the list better
    /// where the budget is short. Eight together cost an up pass.
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
    /// That of the posterior. Over cut links everything here is of the network as it was cut, its messages held: chances
    /// and bound agree with each other, and are as near as the posterior.
    pub accuracy: Accuracy,
}

impl BestSets {
    /// How many sets at the head of the list are surely the best, in their order.
    #[must_use]
    pub fn settled(&self) -> usize {
        self.sets.iter().take_while(|set| set.chance >= self.unlisted_at_most).count()
    }
}

/// What the search asks: chances over the states of the list's variables, many at a time.
trait Oracle {
    /// For each part the chance of it with each variable off, and on.
    fn look(&self, parts: &[&[Option<bool>]]) -> Result<Vec<Look>, Error>;
    /// The chance of each whole set.
    fn chances(&self, sets: &[Vec<bool>]) -> Result<Vec<f64>, Error>;
}

/// One look into a part of the space of sets.
struct Look {
    /// For each variable the chance of the part with it off, and with it on.
    off_on: Vec<[f64; 2]>,
}

impl Look {
    /// The likelier state of each variable; off where both are as likely.
    fn likelier(&self, decided: &[Option<bool>]) -> Vec<bool> {
        self.off_on.iter().zip(decided).map(|([off, on], state)| state.unwrap_or(on > off)).collect()
    }

    /// The chance of the part with the variable in its other state.
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

/// Looks for the `query.k` most probable sets; its variables are open in `prepared`.
pub(super) fn sets(prepared: &Prepared<'_>, given: &Given<'_>, query: &SetsQuery<'_>) -> Result<BestSets, Error> {
    let oracle = Lanes { prepared, given, query };
    let mut search = Search { oracle: &oracle, open: BinaryHeap::new(), found: vec![], made: 0, nodes: 0 };
    let set = |members: &Vec<usize>| (0..query.vars.len()).map(|at| members.contains(&at)).collect();
    search.find(&query.candidates.iter().map(set).collect::<Vec<_>>())?;
    search.run(query)?;
    Ok(search.into_sets(query.k, prepared.accuracy().clone()))
}

impl<O: Oracle> Search<'_, O> {
    fn run(&mut self, query: &SetsQuery<'_>) -> Result<(), Error> {
        let everything = (0..self.found.len()).collect();
        self.open(vec![None; query.vars.len()], 1.0, everything);
        loop {
            let regions = self.most_promising(query);
            if regions.is_empty() {
                return Ok(());
            }
            self.nodes += regions.len();
            self.expand(regions)?;
        }
    }

    /// The open regions to look into next, as many as one pass takes.
    fn most_promising(&mut self, query: &SetsQuery<'_>) -> Vec<Region> {
        let enough = self.chance_of(query.k).max(NOTHING);
        let mut regions = Vec::new();
        while regions.len() < LANES.min(query.nodes - self.nodes)
            && self.open.peek().is_some_and(|region| region.bound > enough)
        {
            regions.extend(self.open.pop());
        }
        regions
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

    /// The places of sets among those found, found now where they were not before.
    fn find(&mut self, sets: &[Vec<bool>]) -> Result<Vec<usize>, Error> {
        let mut new: Vec<Vec<bool>> = sets.iter().filter(|&set| self.place(set).is_none()).cloned().collect();
        new.sort_unstable();
        new.dedup();
        let chances = self.oracle.chances(&new)?;
        self.found.extend(new.into_iter().zip(chances));
        Ok(sets.iter().map(|set| self.place(set).expect("found by now")).collect())
    }

    fn place(&self, set: &[bool]) -> Option<usize> {
        self.found.iter().position(|(known, _)| known == set)
    }

    /// Looks into regions: finds in each the set of the likelier states, and splits what else there may be.
    fn expand(&mut self, mut regions: Vec<Region>) -> Result<(), Error> {
        let parts: Vec<&[Option<bool>]> = regions.iter().map(|region| region.decided.as_slice()).collect();
        let looks = self.oracle.look(&parts)?;
        let likelier = |(region, look): (&Region, &Look)| look.likelier(&region.decided);
        let places = self.find(&regions.iter().zip(&looks).map(likelier).collect::<Vec<_>>())?;
        for ((region, look), at) in regions.iter_mut().zip(&looks).zip(places) {
            if !region.found.contains(&at) {
                region.found.push(at);
            }
            self.split(region, look, at);
        }
        Ok(())
    }

    /// Splits a region by the variable whose state is the most uncertain.
    ///
    /// Let g be the set of the likelier states, the one at `best`, and m(i) the chance of the region with variable i in
    /// its other state, at most half of the region's. A set x other than g differs from it in some variable i. All sets
    /// of the region that differ from g in i have m(i) together, and those of them already found have their share of
    /// that; so x, if it is not found yet, has at most m(i) less that share. The largest of these over all i bounds every
    /// set of the region not found yet, and so does the region's chance less that of all that was found in it. (For g
    /// itself the region's chance less the largest m(i) is a bound; none is needed, its chance was asked for.) The two
    /// halves of the region lie within it, so what was said of it goes on to hold in them: before it is looked into, a
    /// half is bounded by the same terms, with its own chance, the sets found in it, and the variables that it leaves
    /// open. A variable whose other state has chance zero never differs: it needs no splitting.
    fn split(&mut self, region: &Region, look: &Look, best: usize) {
        let uncertain: Vec<usize> =
            (0..region.decided.len()).filter(|&var| region.decided[var].is_none() && look.other(var) > 0.0).collect();
        let by_doubt = |a: &&usize, b: &&usize| look.other(**a).total_cmp(&look.other(**b)).then(b.cmp(a));
        let Some(&split) = uncertain.iter().max_by(by_doubt) else { return };
        let likelier = &self.found[best].0;
        let share = |sets: &mut dyn Iterator<Item = usize>| sets.map(|at| self.found[at].1).sum::<f64>();
        let mut halves = Vec::new();
        for state in [false, true] {
            let inside: Vec<usize> =
                region.found.iter().copied().filter(|&at| self.found[at].0[split] == state).collect();
            let mut bound = look.off_on[split][usize::from(state)] - share(&mut inside.iter().copied());
            if state == likelier[split] {
                let differing = |var: usize| {
                    let mut known = inside.iter().copied().filter(|&at| self.found[at].0[var] != likelier[var]);
                    look.other(var) - share(&mut known)
                };
                let others = uncertain.iter().filter(|&&var| var != split).map(|&var| differing(var));
                bound = bound.min(others.fold(0.0, f64::max));
            }
            halves.push((state, bound.min(region.bound), inside));
        }
        for (state, bound, inside) in halves {
            let mut decided = region.decided.clone();
            decided[split] = Some(state);
            self.open(decided, bound, inside);
        }
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

/// The posterior as the search asks it: eight questions a pass.
struct Lanes<'a> {
    prepared: &'a Prepared<'a>,
    given: &'a Given<'a>,
    query: &'a SetsQuery<'a>,
}

impl Lanes<'_> {
    fn network(&self) -> &Network {
        self.given.engine.network()
    }

    /// The states of a variable in which it is on, or off, in the slice asked about.
    fn states(&self, var: VarIx, on: bool) -> Vec<bool> {
        let states = self.network().variable(var).states.count();
        (0..states).map(|state| self.network().on_in(var, state).has(self.query.slice) == on).collect()
    }

    /// Each variable that is decided is so.
    fn event(&self, decided: impl Iterator<Item = Option<bool>>) -> Event {
        let decided = self.query.vars.iter().zip(decided).filter_map(|(&var, state)| Some((var, state?)));
        decided.fold(Event::anything(), |event, (var, on)| event.and(var, self.states(var, on)))
    }
}

impl Oracle for Lanes<'_> {
    fn look(&self, parts: &[&[Option<bool>]]) -> Result<Vec<Look>, Error> {
        let events: Vec<Event> = parts.iter().map(|decided| self.event(decided.iter().copied())).collect();
        let target = |&var: &VarIx| [false, true].map(|on| Event::anything().and(var, self.states(var, on)));
        let targets: Vec<Event> = self.query.vars.iter().flat_map(target).collect();
        let joint = self.prepared.joint(&events, &targets)?;
        let look = |row: &[f64]| {
            // A signed sum that should be zero can come out a hair below.
            let off_on = row.chunks_exact(2).map(|pair| [pair[0].max(0.0), pair[1].max(0.0)]).collect();
            Look { off_on }
        };
        Ok(joint.chunks_exact(targets.len() + 1).map(look).collect())
    }

    fn chances(&self, sets: &[Vec<bool>]) -> Result<Vec<f64>, Error> {
        let events: Vec<Event> = sets.iter().map(|set| self.event(set.iter().map(|&on| Some(on)))).collect();
        self.given.chances_of(self.prepared, &events)
    }
}
