//! Bench arithmetic, one formula a function, its source beside it.

/// Air pressure at a height over that at sea level, in the standard atmosphere below 11 km.
///
/// Source: ISO 2533:1975 (the same as the US Standard Atmosphere 1976 below 11 km): `(1 - 0.0065 h / 288.15)^5.25588`,
/// h the geopotential height in meters.
#[must_use]
pub fn pressure_ratio(altitude_m: f64) -> f64 {
    libm::pow(1.0 - 0.0065 * altitude_m / 288.15, 5.255_88)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ISO 2533 table: 1000 m 89 874.6 Pa, 2000 m 79 495.2 Pa, 3000 m 70 108.5 Pa; sea level 101 325 Pa.
    #[test]
    fn the_standard_atmosphere_is_met() {
        for (altitude_m, pascal) in [(0.0, 101_325.0), (1000.0, 89_874.6), (2000.0, 79_495.2), (3000.0, 70_108.5)] {
            let got = pressure_ratio(altitude_m) * 101_325.0;
            assert!((got - pascal).abs() < 1.0, "at {altitude_m} m: {got} Pa, the table says {pascal} Pa");
        }
    }
}
