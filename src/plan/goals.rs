//! Which causes a plan goes for.

use super::{Options, PlanError, Why};
use crate::belief::{CauseBelief, Explanations};
use crate::knowledge::Cause;
use crate::knowledge::layout::{Instance, Laid};

/// A cause this likely by itself is gone for, though the likeliest explanation does without: it is likelier there than
/// not, and leaving it in is the likelier comeback.
pub const LIKELY: f64 = 0.5;

/// A cause of the likeliest explanation that is less likely than this by itself is left alone: the explanation is one of
/// many, and three times in four the work would be for nothing.
pub const WORTH: f64 = 0.25;

/// A cause to go for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Aim {
    /// The cause.
    pub cause: Instance<Cause>,
    /// Its chance.
    pub chance: f64,
    /// Why.
    pub why: Why,
}

/// The causes to go for, the likeliest first.
pub fn goals(
    laid: &Laid<'_>,
    causes: &[CauseBelief],
    explanations: &Explanations,
    options: &Options,
) -> Result<Vec<Aim>, PlanError> {
    let mut aims = if options.causes.is_empty() { likeliest(causes, explanations) } else { named(causes, options) };
    aims.retain(|aim| laid.fits(&laid.knowledge.causes[aim.cause.item].fitted));
    aims.sort_by(|a, b| b.chance.total_cmp(&a.chance).then(a.cause.cmp(&b.cause)));
    aims.dedup_by_key(|aim| aim.cause);
    if aims.is_empty() { Err(PlanError::NoCause) } else { Ok(aims) }
}

fn named(causes: &[CauseBelief], options: &Options) -> Vec<Aim> {
    options.causes.iter().map(|&cause| Aim { cause, chance: chance_of(causes, cause), why: Why::Named }).collect()
}

/// The causes of the likeliest explanation, without those it names only for want of better where others of its causes
/// carry it, and every cause that is likelier than not.
fn likeliest(causes: &[CauseBelief], explanations: &Explanations) -> Vec<Aim> {
    let best = explanations.sets.iter().find(|set| !set.causes.is_empty());
    let explains = best.map_or(&[][..], |set| &set.causes);
    let mut aims: Vec<Aim> = explains
        .iter()
        .map(|&cause| Aim { cause, chance: chance_of(causes, cause), why: Why::Explains })
        .filter(|aim| aim.chance >= WORTH)
        .collect();
    for belief in causes.iter().filter(|belief| belief.chance >= LIKELY) {
        if aims.iter().all(|aim| aim.cause != belief.cause) {
            aims.push(Aim { cause: belief.cause, chance: belief.chance, why: Why::Likely });
        }
    }
    if aims.is_empty() {
        // Many causes share the blame: the likeliest explanation is all there is to go by.
        aims =
            explains.iter().map(|&cause| Aim { cause, chance: chance_of(causes, cause), why: Why::Explains }).collect();
    }
    aims
}

/// The chance of a cause; a cause nobody has looked at is as unlikely as can be.
pub fn chance_of(causes: &[CauseBelief], cause: Instance<Cause>) -> f64 {
    causes.iter().find(|belief| belief.cause == cause).map_or(0.0, |belief| belief.chance)
}
