//! What a repair that has not been done yet would come to.

use crate::model::network::{Observation, VarIx};
use crate::model::repaired::TurnedOff;

use super::{Accuracy, Engine, Error, Limits};

/// How things stand after a repair.
#[derive(Clone, Debug, PartialEq)]
pub struct AfterRepair {
    /// For each variable watched the chance that it is on after the repair.
    pub on: Vec<f64>,
    /// Exact, or which links were cut.
    pub accuracy: Accuracy,
}

/// The chance that each of `watched` is on after a repair of what `repair` names, given `observations`.
pub(super) fn after(
    engine: &Engine,
    observations: &[Observation],
    repair: &[TurnedOff],
    watched: &[VarIx],
    limits: &Limits,
) -> Result<AfterRepair, Error> {
    let before = engine.network();
    let repaired = before.with_repair(repair).map_err(|error| Error::Network(error.to_string()))?;
    let after = Engine::compile(&repaired.network)?;
    let posterior = after.posterior_with(&repaired.observations(observations), watched, limits)?;
    let on = watched.iter().map(|&var| posterior.chance_on(var, before.slices)).collect();
    Ok(AfterRepair { on, accuracy: posterior.accuracy().clone() })
}
