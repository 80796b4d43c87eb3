//! Jets, mixture and screws.

use std::ops::RangeInclusive;

/// Flow of a jet over that of another at the same head: as the areas.
///
/// Source: Torricelli; only where the number on a jet is a diameter. Some numbers are flows: then they compare directly.
#[must_use]
pub fn flow_ratio(from_mm: f64, to_mm: f64) -> f64 {
    (to_mm / from_mm) * (to_mm / from_mm)
}

/// How much richer a simple carburetor runs in air of this density, jets the same: 1 is as at sea level.
///
/// Source: fuel flows as the root of the air's density, air as the density itself (trade article 2020): at three
/// quarters of the density it is 15.5 % richer, where that page's text rounds to 12.
#[must_use]
pub fn richness(density_ratio: f64) -> f64 {
    1.0 / libm::sqrt(density_ratio)
}

/// The area of a jet for the same mixture in air of this density, over its area at sea level.
///
/// Source: the inverse of [`richness`].
#[must_use]
pub fn jet_area(density_ratio: f64) -> f64 {
    libm::sqrt(density_ratio)
}

/// The diameter for the same.
#[must_use]
pub fn jet_diameter(density_ratio: f64) -> f64 {
    libm::sqrt(jet_area(density_ratio))
}

/// Change of the mixture by an eighth of a turn of a low-speed screw, a share. Common practice, no published source.
pub const PER_EIGHTH: f64 = 0.04;

/// The turns out between which a low-speed screw sets the mixture. Common practice, no published source: beyond them something
/// else is wrong.
pub const WITHIN_A_SCREW: RangeInclusive<f64> = 0.25..=2.0;

/// A turn count to the nearest eighth, as screws are set.
#[must_use]
pub fn nearest_eighth(turns: f64) -> f64 {
    libm::round(turns * 8.0) / 8.0
}

/// Turns that make the mixture richer by a share; negative is leaner, further in.
///
/// Source: common practice, [`PER_EIGHTH`].
#[must_use]
pub fn turns_for(richer: f64) -> f64 {
    richer / PER_EIGHTH / 8.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calc::air::{density_ratio, standard_c};

    #[test]
    fn jets_flow_as_their_areas() {
        for (from, to, percent) in [(1.0, 1.05, 10.25), (1.2, 1.15, -8.16), (1.325, 1.375, 7.69), (1.1, 1.15, 9.3)] {
            assert!(((flow_ratio(from, to) - 1.0) * 100.0 - percent).abs() < 0.01 + 0.005 * f64::abs(percent));
        }
        assert!((flow_ratio(0.65, 0.55) - 0.716).abs() < 5e-4);
    }

    /// Meters, richness, factor of the jet's diameter.
    #[test]
    fn height_makes_it_rich() {
        for (m, rich, diameter) in [
            (0.0, 1.0, 1.0),
            (500.0, 1.024, 0.988),
            (1000.0, 1.050, 0.976),
            (1500.0, 1.076, 0.964),
            (2000.0, 1.103, 0.952),
            (2500.0, 1.132, 0.940),
            (3000.0, 1.161, 0.928),
        ] {
            let density = density_ratio(m, standard_c(m));
            assert!(
                (richness(density) - rich).abs() < 6e-4 && (jet_diameter(density) - diameter).abs() < 6e-4,
                "{m} m"
            );
        }
        // At 75 % of the density 15.5 %, not 12.
        assert!((richness(0.75) - 1.155).abs() < 5e-4 && (richness(0.75) - 1.12).abs() > 0.03);
        // Near sea level 0.73 % of diameter and 1.5 % of area a thousand feet, not 2 to 4.
        let density = density_ratio(304.8, standard_c(304.8));
        assert!((1.0 - jet_diameter(density) - 0.0073).abs() < 2e-4 && (1.0 - jet_area(density) - 0.0146).abs() < 5e-4);
    }

    #[test]
    fn screws_go_by_eighths() {
        assert!((nearest_eighth(1.4) - 1.375).abs() < 1e-12);
        assert!((turns_for(0.08) - 0.25).abs() < 1e-12 && (turns_for(-0.04) + 0.125).abs() < 1e-12);
    }
}
