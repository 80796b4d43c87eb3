//! The inlet needle of a diaphragm carburetor: opening pressure, spring and seat.
//!
//! Moments about the lever's pivot, the diaphragm at rest: `P * A * needle arm = F * spring arm`. The ratio of arms is the
//! spring's over the needle's, often 0.55 to 0.70 (common practice; measure yours). Friction and a wet ring scatter what
//! is read by up to 2 psi.

use std::f64::consts::PI;

/// Area of a seat, in square meters.
fn area_m2(seat_mm: f64) -> f64 {
    PI * (seat_mm / 1e3) * (seat_mm / 1e3) / 4.0
}

/// Opening pressure in pascals, from spring force, ratio of arms and seat.
///
/// Source: the balance of moments above.
#[must_use]
pub fn opening_pa(spring_n: f64, arms: f64, seat_mm: f64) -> f64 {
    spring_n * arms / area_m2(seat_mm)
}

/// Spring force in newtons for an opening pressure.
///
/// Source: the same balance.
#[must_use]
pub fn spring_n(opening_pa: f64, arms: f64, seat_mm: f64) -> f64 {
    opening_pa * area_m2(seat_mm) / arms
}

/// Ratio of arms of a carburetor whose opening pressure was measured with a known spring and seat.
///
/// Source: the same balance.
#[must_use]
pub fn arms_ratio(opening_pa: f64, spring_n: f64, seat_mm: f64) -> f64 {
    opening_pa * area_m2(seat_mm) / spring_n
}

/// Opening pressure with another seat over that with this one, spring and lever the same.
///
/// Source: the same balance: as the square of the diameters.
#[must_use]
pub fn other_seat(seat_mm: f64, other_mm: f64) -> f64 {
    (seat_mm / other_mm) * (seat_mm / other_mm)
}

#[cfg(test)]
mod tests {
    use super::*;

    const PSI: f64 = 6_894.757_293;
    const GRAM: f64 = 9.806_65e-3;

    #[test]
    fn opening_pressure_spring_and_arms_come_out_of_each_other() {
        let pa = opening_pa(95.0 * GRAM, 0.60, 2.0);
        assert!((pa / PSI - 25.8).abs() < 0.05 && (pa / 1e3 - 177.9).abs() < 0.1);
        assert!((spring_n(pa, 0.60, 2.0) / GRAM - 95.0).abs() < 1e-9);
        // 2.0 mm, 80 g, measured 24.0 psi: the arms are 0.663, and 28 psi want 93.3 g.
        let arms = arms_ratio(24.0 * PSI, 80.0 * GRAM, 2.0);
        assert!((arms - 0.663).abs() < 5e-4);
        assert!((spring_n(28.0 * PSI, arms, 2.0) / GRAM - 93.3).abs() < 0.05);
    }

    #[test]
    fn the_table_of_springs_and_seats_is_met() {
        for (seat_mm, row) in [
            (1.2, [49.0, 60.4, 71.7, 86.8]),
            (1.5, [31.4, 38.6, 45.9, 55.5]),
            (1.8, [21.8, 26.8, 31.9, 38.6]),
            (2.0, [17.7, 21.7, 25.8, 31.2]),
            (2.3, [13.4, 16.4, 19.5, 23.6]),
            (2.5, [11.3, 13.9, 16.5, 20.0]),
            (2.8, [9.0, 11.1, 13.2, 15.9]),
        ] {
            for (gram, psi) in [65.0, 80.0, 95.0, 115.0].into_iter().zip(row) {
                let got = opening_pa(gram * GRAM, 0.60, seat_mm) / PSI;
                assert!((got - psi).abs() < 0.06, "{seat_mm} mm, {gram} g: {got}, the table says {psi}");
            }
        }
    }

    /// Relative to a seat of 1.5 mm, and the force on the needle at 30 psi.
    #[test]
    fn another_seat_changes_it_by_the_square() {
        for (other, ratio, grams) in [(1.2, 1.56, 23.9), (2.0, 0.563, 66.3), (2.3, 0.425, 87.6), (3.0, 0.25, 149.0)] {
            assert!((other_seat(1.5, other) - ratio).abs() < 3e-3);
            assert!((spring_n(30.0 * PSI, 1.0, other) / GRAM - grams).abs() < 0.5);
        }
    }
}
