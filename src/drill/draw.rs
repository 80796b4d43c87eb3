//! Which job a drill is about: simulated jobs are drawn until one is met that is of the level asked for.

use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Cause, Ix, Knowledge, Layout, Symptom};
use crate::trial::truth::{Draws, Truth};
use std::collections::BTreeSet;

/// How hard a drill is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Level {
    /// One fault, and nothing else is wrong.
    Single,
    /// Two faults, each of which alone brings the complaint about: it stays until both are gone.
    Double,
    /// One fault, and three answers in ten are out of the tails of what the check would show.
    Misleading,
    /// One fault out of the rarest third.
    Rare,
}

impl Level {
    /// All, the easiest first: the order of the curriculum.
    pub const ALL: [Self; 4] = [Self::Single, Self::Double, Self::Misleading, Self::Rare];

    /// Its name on the command line and in files.
    #[must_use]
    pub fn id(self) -> &'static str {
        match self {
            Self::Single => "single",
            Self::Double => "double",
            Self::Misleading => "misleading",
            Self::Rare => "rare",
        }
    }

    /// The level of this name.
    #[must_use]
    pub fn named(id: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|level| level.id() == id)
    }
}

/// The share of answers out of the tails on the level that misleads. A choice: with half of them nothing could be found
/// out, with a tenth most drills would meet none.
pub const MISLEADING_SHARE: f64 = 0.3;
/// The part of the causes, by their chance before history, that counts as rare.
const RARE_SHARE: f64 = 1.0 / 3.0;
/// So many jobs are looked at for one of the level.
const JOBS: u64 = 3_000;

/// What drills are drawn from.
#[derive(Clone, Debug, Default)]
pub struct Draw {
    /// The seed: the same one gives the same drill.
    pub seed: u64,
    /// The layouts drawn from; none: all.
    pub layouts: Vec<Ix<Layout>>,
    /// The symptoms of which one must be named; none: any.
    pub symptoms: Vec<Ix<Symptom>>,
}

/// The job of a drill; `None` where none of the level was met among three thousand.
///
/// Cost: some ten to some hundred draws of a job, up to a second on the built-in knowledge base.
#[must_use]
pub fn draw(knowledge: &Knowledge, level: Level, from: &Draw) -> Option<Truth> {
    let draws = Draws {
        seed: from.seed,
        layouts: from.layouts.clone(),
        symptoms: from.symptoms.clone(),
        sigma: 0.0,
        unlisted: 0.0,
        user: None,
    };
    let rare = rarest(knowledge);
    let truth = (0..JOBS).map_while(|number| Truth::draw(knowledge, &draws, number)).find(|truth| {
        let laid = Laid::new(knowledge, truth.case.craft.clone());
        is_one_story(knowledge, truth) && is_of(&laid, truth, level, &rare)
    })?;
    Some(if level == Level::Misleading { truth.misleading(MISLEADING_SHARE) } else { truth })
}

/// Whether no two of its facts contradict each other: each is drawn by itself, and who is told the story takes it at its word.
fn is_one_story(knowledge: &Knowledge, truth: &Truth) -> bool {
    let history = &truth.case.history;
    history.iter().all(|(fact, value)| knowledge.history[*fact].goes_with(*value, history))
}

/// The rarest third of the causes.
fn rarest(knowledge: &Knowledge) -> BTreeSet<Ix<Cause>> {
    let mut causes: Vec<(f64, Ix<Cause>)> =
        knowledge.causes.iter().map(|(ix, cause)| (cause.chance.get(), ix)).collect();
    causes.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "a count of causes"
    )]
    let n = (causes.len() as f64 * RARE_SHARE).ceil() as usize;
    causes.into_iter().take(n).map(|(_, ix)| ix).collect()
}

fn is_of(laid: &Laid<'_>, truth: &Truth, level: Level, rare: &BTreeSet<Ix<Cause>>) -> bool {
    let there: Vec<Instance<Cause>> = laid
        .knowledge
        .causes
        .iter()
        .flat_map(|(ix, cause)| laid.instances(ix, cause.scope))
        .filter(|cause| truth.has(*cause))
        .collect();
    let guilty: BTreeSet<Ix<Cause>> = truth.guilty().iter().map(|cause| cause.item).collect();
    let complains = |gone: &dyn Fn(Ix<Cause>) -> bool| {
        let removed = there.iter().copied().filter(|cause| gone(cause.item)).collect();
        let left = truth.symptoms(&removed);
        truth.case.symptoms.iter().any(|symptom| left.contains(symptom))
    };
    // What no repair could put right is no drill.
    if complains(&|cause| guilty.contains(&cause)) {
        return false;
    }
    match level {
        Level::Single | Level::Misleading => guilty.len() == 1 && there.iter().all(|c| guilty.contains(&c.item)),
        Level::Double => guilty.len() == 2 && guilty.iter().all(|one| complains(&|cause| cause == *one)),
        Level::Rare => guilty.len() == 1 && guilty.iter().all(|cause| rare.contains(cause)),
    }
}
