//! What more is asked of one posterior: chances and marginals with a few variables found on, off or in a state beside
//! what was observed.

use std::borrow::Cow;

use crate::model::network::{Observation, States, VarIx};

use super::base::Base;
use super::posterior::Posterior;
use super::solve::{self, Wanted};
use super::{Error, Limits, barren};

/// A posterior to ask more of.
pub(super) struct Given<'a> {
    pub(super) base: &'a Base,
    /// What `posterior` was asked with.
    pub(super) observations: &'a [Observation],
    pub(super) limits: &'a Limits,
    pub(super) posterior: &'a Posterior,
}

impl Given<'_> {
    fn with(&self, findings: impl IntoIterator<Item = Observation>) -> Vec<Observation> {
        self.observations.iter().cloned().chain(findings).collect()
    }

    /// The chance of `findings` given what was observed; 0 where they cannot be. Costs an up pass.
    pub(super) fn chance(&self, findings: impl IntoIterator<Item = Observation>) -> Result<f64, Error> {
        let observations = self.with(findings);
        match solve::solve_from(self.base, &observations, self.limits, Wanted::Evidence, self.posterior) {
            Ok(solved) => Ok(libm::exp(solved.log_evidence - self.posterior.log_evidence()).min(1.0)),
            Err(Error::Contradiction) => Ok(0.0),
            Err(error) => Err(error),
        }
    }

    /// The chance of `findings` and, given them too, the distributions of `variables`; `None` where they cannot be.
    /// Costs an up and a down pass, and one more up pass for each state of a variable that nothing observed hangs on;
    /// nothing where there are no findings.
    pub(super) fn marginals(
        &self,
        findings: &[Observation],
        variables: &[VarIx],
    ) -> Result<Option<(f64, Cow<'_, Posterior>)>, Error> {
        if findings.is_empty() && variables.iter().all(|&var| self.posterior.get(var).is_some()) {
            return Ok(Some((1.0, Cow::Borrowed(self.posterior))));
        }
        let observations = self.with(findings.iter().cloned());
        let solved = solve::solve_from(self.base, &observations, self.limits, Wanted::Marginals, self.posterior);
        let mut found = match solved {
            Ok(solved) => Posterior::new(self.base, solved),
            Err(Error::Contradiction) => return Ok(None),
            Err(error) => return Err(error),
        };
        let missing: Vec<VarIx> = variables.iter().copied().filter(|&v| found.get(v).is_none()).collect();
        barren::fill(self.base, &observations, self.limits, &missing, &mut found)?;
        let chance = libm::exp(found.log_evidence() - self.posterior.log_evidence()).min(1.0);
        Ok(Some((chance, Cow::Owned(found))))
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
