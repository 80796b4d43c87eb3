//! Posteriors of variables that no observation hangs on, by one more up pass for each of their states.

use crate::model::network::{Observation, VarIx};

use super::base::Base;
use super::posterior::Posterior;
use super::{Error, Limits, solve};

/// Fills in `variables`: P(state | observations) is the ratio of two evidences.
///
/// All states but the likeliest so far come from a pass each; the distribution is scaled to sum to one.
pub(super) fn fill(
    base: &Base,
    observations: &[Observation],
    limits: &Limits,
    variables: &[VarIx],
    posterior: &mut Posterior,
) -> Result<(), Error> {
    let mut asked = observations.to_vec();
    for &var in variables {
        let states = base.network.variable(var).states.count();
        let mut chances = vec![0.0; states];
        for (state, chance) in chances.iter_mut().enumerate().skip(1) {
            let likelihood = (0..states).map(|s| f64::from(u8::from(s == state))).collect();
            asked.push(Observation::State { var, likelihood });
            let with = solve::ratio(base, &asked, limits, posterior);
            asked.pop();
            *chance = with?.clamp(0.0, 1.0);
        }
        chances[0] = (1.0 - chances.iter().sum::<f64>()).max(0.0);
        let sum: f64 = chances.iter().sum();
        posterior.set(var, chances.into_iter().map(|p| p / sum).collect());
    }
    Ok(())
}
