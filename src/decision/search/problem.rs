//! A decision problem as plain data: finitely many worlds, what each check shows in each, what each repair cures in each,
//! what work and access cost.

use std::collections::BTreeMap;

/// A set of repairs, one bit each.
pub type Set = u128;
/// The most repairs a problem can have.
pub const REPAIRS_AT_MOST: usize = 128;
/// What is open, one bit for each access state.
pub type Open = u128;
/// The most access states a problem can have.
pub const ACCESS_AT_MOST: usize = 128;

/// What a job may turn out to be, and what may be done.
///
/// A check shows the same whenever it is made and is made once, where it may tell anything or something waits for it; a
/// repair cures in a world or does not, once and for all, and is done once, where it may have a part in curing what is left. After a repair the symptom is tried on a whole craft:
/// all is shut again.
#[derive(Clone, Debug)]
pub struct Problem {
    /// The worlds.
    pub worlds: Vec<World>,
    /// The repairs.
    pub repairs: Vec<Repair>,
    /// The checks.
    pub checks: Vec<Check>,
    /// What is open at the start.
    pub open: Open,
    /// What handing over costs.
    pub hand_over: f64,
    /// What it costs more in a world that is the owner's own: a trip for nothing.
    pub wasted: f64,
    /// What a repair that does not cure costs beyond its price.
    pub again: f64,
}

/// One way the craft may be.
#[derive(Clone, Debug)]
pub struct World {
    /// Its weight; they need not sum to one.
    pub weight: f64,
    /// What cures it.
    pub cures: Cures,
    /// The row of each check.
    pub rows: Vec<u8>,
}

/// What cures a world; handing over always ends it.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Cures {
    /// The repairs that cure it alone.
    pub alone: Set,
    /// Pairs of repairs that cure it together and not alone.
    pub together: Vec<(u8, u8)>,
    /// Whether whoever hands it over makes a trip for nothing.
    pub own: bool,
}

/// What a piece of work costs.
#[derive(Clone, Debug, Default)]
pub struct Work {
    /// With everything open that it needs.
    pub work: f64,
    /// Each access state that it needs, and what opening and shutting that comes to.
    pub reach: Vec<(u8, f64)>,
}

/// A repair.
#[derive(Clone, Debug, Default)]
pub struct Repair {
    /// What it costs.
    pub price: Work,
    /// The least that getting to it could cost where a check has opened the way: each access state it needs.
    pub reach_at_least: Vec<(u8, f64)>,
    /// Whether something holds it up for now.
    pub held: bool,
    /// Answers without which it makes no sense: a check and one of some outcomes. Any of them will do; none are needed
    /// where there are none.
    pub waits_for: Vec<(usize, Vec<u8>)>,
}

/// A check.
#[derive(Clone, Debug, Default)]
pub struct Check {
    /// What it costs.
    pub price: Work,
    /// Whether all else is shut for it.
    pub shuts_others: bool,
    /// For each outcome the chance that each row shows it.
    pub chances: Vec<Vec<f64>>,
    /// Checks that are worthless once this has been made.
    pub spoils: Vec<usize>,
}

/// Something to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Step {
    /// Hand over.
    HandOver,
    /// Make a check.
    Check(usize),
    /// Do a repair.
    Repair(usize),
}

impl Work {
    /// What it costs with this open.
    #[must_use]
    pub fn from(&self, open: Open) -> f64 {
        self.work + missing(&self.reach, open)
    }

    /// All that it needs open.
    fn needs(&self) -> Open {
        self.reach.iter().fold(0, |open, (access, _)| open | 1 << access)
    }
}

fn missing(reach: &[(u8, f64)], open: Open) -> f64 {
    reach.iter().filter(|(access, _)| open >> access & 1 == 0).map(|(_, price)| price).sum()
}

impl Cures {
    /// Whether these repairs together cure it.
    #[must_use]
    pub fn by(&self, done: Set) -> bool {
        self.alone & done != 0 || self.together.iter().any(|(a, b)| done >> a & 1 == 1 && done >> b & 1 == 1)
    }

    /// The repairs of which each alone cures it once those of `done` have failed.
    #[must_use]
    pub fn after(&self, done: Set) -> Set {
        let half = |(a, b): &(u8, u8)| match (done >> a & 1, done >> b & 1) {
            (1, 0) => 1 << b,
            (0, 1) => 1 << a,
            _ => 0,
        };
        self.together.iter().map(half).fold(self.alone, |all, one| all | one)
    }

    /// All repairs that may have a part in curing it.
    #[must_use]
    pub fn any(&self) -> Set {
        self.together.iter().fold(self.alone, |all, (a, b)| all | 1 << a | 1 << b)
    }
}

impl Repair {
    /// What it costs at least where anything that is not open with `open` may have been opened by what came before.
    #[must_use]
    pub fn at_least(&self, open: Open) -> f64 {
        self.price.work + missing(&self.reach_at_least, open)
    }

    /// Whether it makes sense after these answers.
    #[must_use]
    pub fn makes_sense(&self, answers: &[(u16, u8)]) -> bool {
        let answered = |(check, outcomes): &(usize, Vec<u8>)| {
            answers.iter().any(|(made, showed)| usize::from(*made) == *check && outcomes.contains(showed))
        };
        self.waits_for.is_empty() || self.waits_for.iter().any(answered)
    }
}

impl Check {
    /// What is open once it is made.
    #[must_use]
    pub fn leaves_open(&self, open: Open) -> Open {
        self.price.needs() | if self.shuts_others { 0 } else { open }
    }
}

impl Problem {
    /// What handing over costs in a world that is cured so.
    #[must_use]
    pub fn giving_up(&self, cures: &Cures) -> f64 {
        self.hand_over + if cures.own { self.wasted } else { 0.0 }
    }

    /// The same problem with worlds that nothing can tell apart taken together, in the order in which they first come.
    #[must_use]
    pub fn merged(mut self) -> Self {
        let mut places: BTreeMap<(Cures, Vec<u8>), usize> = BTreeMap::new();
        let mut worlds: Vec<World> = Vec::new();
        for world in self.worlds.drain(..).filter(|world| world.weight > 0.0) {
            let World { weight, cures, rows } = world;
            let new = worlds.len();
            let at = *places.entry((cures.clone(), rows.clone())).or_insert(new);
            if at == new {
                worlds.push(World { weight, cures, rows });
            } else {
                worlds[at].weight += weight;
            }
        }
        self.worlds = worlds;
        self
    }
}
