//! What more is asked of one posterior: the chances of findings and events beside what was observed.

use crate::model::network::{Observation, States, VarIx};

use super::base::Base;
use super::posterior::Posterior;
use super::{Accuracy, Engine, Error, Event, Limits, Prepared};

/// An event less likely than this is asked for by itself: relative to all that was observed it has too few digits.
const RARE: f64 = 1e-6;

/// A posterior to ask more of.
pub(super) struct Given<'a> {
    pub(super) engine: &'a Engine,
    /// What `posterior` was asked with.
    pub(super) observations: &'a [Observation],
    pub(super) limits: &'a Limits,
    pub(super) posterior: &'a Posterior,
}

impl Given<'_> {
    /// The chance of `findings` given what was observed; 0 where they cannot be. Costs an up pass.
    pub(super) fn chance(&self, findings: &[Observation]) -> Result<f64, Error> {
        let observations: Vec<Observation> = self.observations.iter().chain(findings).cloned().collect();
        match self.engine.log_evidence_from(self.posterior, &observations, self.limits) {
            Ok(with) => Ok(libm::exp(with - self.posterior.log_evidence()).min(1.0)),
            Err(Error::Contradiction) => Ok(0.0),
            Err(error) => Err(error),
        }
    }

    /// The chance of each event, right to its own digits where `prepared` is exact. Costs an up pass for each eight
    /// events and one for each that is rare; none of the latter over cut links, where what `prepared` says adds up.
    pub(super) fn chances_of(&self, prepared: &Prepared<'_>, events: &[Event]) -> Result<Vec<f64>, Error> {
        let mut chances = prepared.chances_of(events)?;
        if *prepared.accuracy() == Accuracy::Exact {
            for (event, chance) in events.iter().zip(&mut chances).filter(|(_, chance)| **chance < RARE) {
                *chance = self.chance(&event.findings())?;
            }
        }
        Ok(chances)
    }
}

/// Checks that `variables` are of this network, each once, and on/off variables where `on_off` says so.
pub(super) fn check_variables(base: &Base, variables: &[VarIx], kind: Kind) -> Result<(), Error> {
    let complain = |what: String| Err(Error::Observation(what));
    for (at, var) in variables.iter().enumerate() {
        let Some(variable) = base.network.variables.get(var.at()) else {
            return complain(format!("expected a variable of this network, found `{}`", var.0));
        };
        if kind == Kind::OnOff && !matches!(variable.states, States::OnIn(_)) {
            return complain(format!("expected an on/off variable, found `{}`", variable.name));
        }
        if variables[..at].contains(var) {
            return complain(format!("expected each variable once, found `{}` twice", variable.name));
        }
    }
    Ok(())
}

/// What kind of variable is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// Any.
    Any,
    /// On or off.
    OnOff,
}
