//! The chance of an answer given the row of a check that holds: outcomes with the slip, readings as densities.

use crate::case::Answer;
use crate::knowledge::raw::RawCompare;
use crate::knowledge::{Check, Gives, Reading};
use std::f64::consts::{PI, SQRT_2};

/// What the check of one case has to do with: the slip, air pressure over that at sea level, and the sheet's figure in
/// the check's unit.
#[derive(Clone, Copy, Debug)]
pub struct Conditions {
    /// The chance that any answer is misread.
    pub slip: f64,
    /// Air pressure over that at sea level.
    pub pressure_ratio: f64,
    /// The figure of the build sheet that the reading counts against, in the check's unit.
    pub sheet: Option<f64>,
}

/// The chance (for a reading inside the scale: the density, per unit) of an answer under a row. 1 for an answer that
/// says nothing.
#[must_use]
pub fn likelihood(check: &Check, gives: &Gives, answer: Answer, conditions: &Conditions) -> f64 {
    match (answer, &check.reading) {
        (Answer::Outcome(at), _) => outcome_chances(check, gives, conditions).get(at).copied().unwrap_or(0.0),
        (Answer::Reading(value), Some(reading)) => density(reading, gives, value, conditions),
        _ => 1.0,
    }
}

/// The chance of each outcome (or band) under a row; they sum to one.
#[must_use]
pub fn outcome_chances(check: &Check, gives: &Gives, conditions: &Conditions) -> Vec<f64> {
    let slip = conditions.slip;
    #[expect(clippy::cast_precision_loss, reason = "a handful of outcomes")]
    let each = slip / check.outcomes.len() as f64;
    match (gives, &check.reading) {
        (Gives::Normals { .. }, Some(reading)) => {
            band_chances(check, reading, gives, conditions).into_iter().map(|p| (1.0 - slip) * p + each).collect()
        }
        (Gives::Chances(chances), _) => chances.iter().map(|p| (1.0 - slip) * p + each).collect(),
        (Gives::Normals { .. }, None) => vec![each * 0.0; check.outcomes.len()],
    }
}

/// The value a reading counts as: corrected for altitude, or compared with the sheet.
#[must_use]
pub fn corrected(reading: &Reading, value: f64, conditions: &Conditions) -> f64 {
    match (&reading.relative, conditions.sheet) {
        (Some((_, RawCompare::Difference)), Some(sheet)) => value - sheet,
        (Some((_, RawCompare::Percent)), Some(sheet)) if sheet != 0.0 => value / sheet * 100.0,
        _ if reading.corrected_for_altitude => value / conditions.pressure_ratio,
        _ => value,
    }
}

/// The position of the band (or of the `over` outcome) that a measured value falls into.
#[must_use]
pub fn band(check: &Check, value: f64, conditions: &Conditions) -> Option<usize> {
    let reading = check.reading.as_ref()?;
    let x = corrected(reading, value, conditions);
    if reading.over.is_some() && x > reading.most {
        return reading.over;
    }
    let inside = |b: (f64, f64)| x >= b.0 && (x < b.1 || (x <= b.1 && b.1 >= reading.most));
    check.outcomes.iter().position(|o| o.band.is_some_and(inside)).or_else(|| {
        let low = x < reading.least;
        check
            .outcomes
            .iter()
            .position(|o| o.band.is_some_and(|b| if low { b.0 <= reading.least } else { b.1 >= reading.most }))
    })
}

/// One normal of a mixture as it is measured: share, mean, sd with the instrument's error.
fn parts<'a>(
    reading: &'a Reading,
    normals: &'a [(f64, f64, f64)],
    conditions: &Conditions,
) -> impl Iterator<Item = (f64, f64, f64)> + 'a {
    let f = scale(reading, conditions);
    normals.iter().map(move |&(share, mean, sd)| (share, f * mean, libm::hypot(f * sd, reading.standard_error)))
}

/// What means and sds are multiplied with.
fn scale(reading: &Reading, conditions: &Conditions) -> f64 {
    if reading.corrected_for_altitude { conditions.pressure_ratio } else { 1.0 }
}

fn band_chances(check: &Check, reading: &Reading, gives: &Gives, conditions: &Conditions) -> Vec<f64> {
    let Gives::Normals { parts: normals, over } = gives else { return Vec::new() };
    let f = scale(reading, conditions);
    let below = |limit: f64| {
        parts(reading, normals, conditions)
            .map(|(share, mean, sd)| share * standard_below((f * limit - mean) / sd))
            .sum::<f64>()
    };
    check
        .outcomes
        .iter()
        .map(|outcome| match outcome.band {
            None => *over,
            Some((low, high)) => {
                // The tails sit on the ends.
                let from = if low <= reading.least { 0.0 } else { below(low) };
                let to = if high >= reading.most { 1.0 - over } else { below(high) };
                (to - from).max(0.0)
            }
        })
        .collect()
}

/// The density of a measured value, per unit; at an end of the scale the mass of the tail. The slip is shared between
/// the ends, the inside and, where there is one, the answer beyond the scale, so that all of it sums to one.
fn density(reading: &Reading, gives: &Gives, value: f64, conditions: &Conditions) -> f64 {
    let Gives::Normals { parts: normals, over } = gives else { return 1.0 };
    let slip = conditions.slip;
    let share = slip / if reading.over.is_some() { 3.0 } else { 2.0 };
    let f = scale(reading, conditions);
    let x = if reading.relative.is_some() { corrected(reading, value, conditions) } else { value };
    let (least, most) = (f * reading.least, f * reading.most);
    let tail = |z_of: &dyn Fn(f64, f64) -> f64| {
        parts(reading, normals, conditions).map(|(s, mean, sd)| s * standard_below(z_of(mean, sd))).sum::<f64>()
    };
    if x > most && reading.over.is_some() {
        return (1.0 - slip) * over + share;
    }
    if x <= least {
        return (1.0 - slip) * tail(&|mean, sd| (least - mean) / sd) + share / 2.0;
    }
    if x >= most {
        return (1.0 - slip) * tail(&|mean, sd| (mean - most) / sd) + share / 2.0;
    }
    let inside: f64 = parts(reading, normals, conditions)
        .map(|(s, mean, sd)| {
            let z = (x - mean) / sd;
            s * libm::exp(-0.5 * z * z) / (sd * libm::sqrt(2.0 * PI))
        })
        .sum();
    (1.0 - slip) * inside + share / (most - least)
}

/// The chance that a standard normal lies below `z`.
fn standard_below(z: f64) -> f64 {
    0.5 * libm::erfc(-z / SQRT_2)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Standard normal table: P(Z < 1.96) = .9750, P(Z < -1) = .1587 (any handbook; from memory).
    #[test]
    fn the_normal_table_is_met() {
        assert!((standard_below(1.96) - 0.975).abs() < 5e-5);
        assert!((standard_below(-1.0) - 0.158_655).abs() < 5e-7);
    }
}
