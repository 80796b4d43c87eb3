//! Leak-down: what a fall of pressure means for a volume.

use super::air::SEA_LEVEL_PA;

/// Air lost, in milliliters of free air a minute, by a trapped volume whose pressure falls at this rate.
///
/// Source: the ideal gas at one temperature: `V * dP/dt / P_air`. The same fall is a larger leak on a larger volume.
#[must_use]
pub fn free_air_ml_per_min(volume_ml: f64, loss_pa_per_min: f64) -> f64 {
    volume_ml * loss_pa_per_min / SEA_LEVEL_PA
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_psi_a_minute_is_more_on_a_larger_case() {
        for (volume_ml, psi, ml) in
            [(300.0, 1.0, 20.4), (500.0, 1.0, 34.0), (800.0, 1.0, 54.4), (900.0, 1.0, 61.2), (900.0, 3.0, 183.7)]
        {
            let got = free_air_ml_per_min(volume_ml, psi * 6_894.757);
            assert!((got - ml).abs() < 0.1, "{volume_ml} mL at {psi} psi/min: {got}");
        }
    }
}
