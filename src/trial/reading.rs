//! What was believed at the moments that count, held against what is true.

use super::job::Job;
use crate::belief::{Belief, CauseBelief};
use crate::knowledge::Cause;
use crate::knowledge::layout::{Instance, Laid};
use crate::model::compile::repair_reaches;

/// What was believed when the advice stopped looking: before the first repair or before handing over.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Forecast {
    /// For every cause that the craft can have, its chance and whether it is there.
    pub chances: Vec<(f64, bool)>,
    /// Where the causes of the complaint stood.
    pub rank: Rank,
}

/// Where the causes of the complaint stand among all causes, the likeliest first, counted from 0.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Rank {
    /// The first of them; `None` where no listed cause is behind the complaint.
    pub cause: Option<usize>,
    /// The first that is one of them, or that some repair removes together with one of them; `None` likewise.
    pub repair: Option<usize>,
}

impl Forecast {
    pub(super) fn of(job: &Job<'_, '_>, belief: &Belief) -> Self {
        Self {
            chances: belief.causes.iter().map(|c| (c.chance, job.has(c.cause))).collect(),
            rank: Rank::of(job, &belief.causes),
        }
    }
}

impl Rank {
    pub(super) fn of(job: &Job<'_, '_>, causes: &[CauseBelief]) -> Self {
        let guilty = job.truth.guilty();
        let place = |is: &dyn Fn(Instance<Cause>) -> bool| causes.iter().position(|c| is(c.cause));
        let goes_with_one = |cause| guilty.iter().any(|g| goes_with(job.laid, cause, *g));
        Self { cause: place(&|cause| guilty.contains(&cause)), repair: place(&goes_with_one) }
    }
}

/// A repair that removes a cause less surely than this is not what one does about it.
const REMOVES: f64 = 0.5;

/// Whether two causes are one, or some repair done once, at one place or (where that is how it is done) at all of them,
/// removes both.
#[must_use]
pub fn goes_with(laid: &Laid<'_>, a: Instance<Cause>, b: Instance<Cause>) -> bool {
    let removed_by = |ix, places: &[usize], cause: Instance<Cause>| {
        let removes: &[_] = &laid.knowledge.repairs[ix].removes;
        removes.iter().any(|(c, sureness)| *c == cause.item && sureness.get() >= REMOVES)
            && repair_reaches(laid, ix, places, laid.knowledge.causes[cause.item].scope, cause.at)
    };
    let by = |ix, places: &[usize]| removed_by(ix, places, a) && removed_by(ix, places, b);
    a == b
        || laid.knowledge.repairs.iter().any(|(ix, repair)| {
            let all: Vec<usize> = (0..laid.places(repair.scope)).collect();
            laid.fits(&repair.fitted)
                && if repair.together { by(ix, &all) } else { all.iter().any(|at| by(ix, std::slice::from_ref(at))) }
        })
}
