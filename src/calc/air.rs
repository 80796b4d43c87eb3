//! The air at a height: pressure, temperature, density.

/// Temperature at sea level in the standard atmosphere, in kelvin.
const SEA_LEVEL_K: f64 = 288.15;
/// Its fall with height, kelvin a meter.
const LAPSE: f64 = 0.0065;
/// Zero Celsius in kelvin.
pub(super) const ZERO_C: f64 = 273.15;
/// Pressure at sea level in the standard atmosphere, in pascals.
pub const SEA_LEVEL_PA: f64 = 101_325.0;

/// Air pressure at a height over that at sea level, in the standard atmosphere below 11 km.
///
/// Source: ISO 2533:1975 (the same as the US Standard Atmosphere 1976 below 11 km): `(1 - 0.0065 h / 288.15)^5.25588`,
/// h the geopotential height in meters.
#[must_use]
pub fn pressure_ratio(altitude_m: f64) -> f64 {
    libm::pow(1.0 - LAPSE * altitude_m / SEA_LEVEL_K, 5.255_88)
}

/// Temperature of the standard atmosphere at a height, degrees Celsius.
///
/// Source: ISO 2533:1975: 15 °C less 6.5 °C a kilometer.
#[must_use]
pub fn standard_c(altitude_m: f64) -> f64 {
    SEA_LEVEL_K - LAPSE * altitude_m - ZERO_C
}

/// Density of dry air at a height and a temperature over that of the standard atmosphere at sea level (1.225 kg/m3).
///
/// Source: the ideal gas, pressure from [`pressure_ratio`].
#[must_use]
pub fn density_ratio(altitude_m: f64, air_c: f64) -> f64 {
    pressure_ratio(altitude_m) * SEA_LEVEL_K / (air_c + ZERO_C)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ISO 2533 by its formula: meters, pascals, degrees Celsius, density ratio. The heights are geopotential: at 3000 m
    /// the geometric table says 70 121.2 Pa, which is not this one.
    #[test]
    fn the_standard_atmosphere_is_met() {
        for (altitude_m, pascal, celsius, density) in [
            (0.0, 101_325.0, 15.0, 1.0),
            (500.0, 95_460.8, 11.75, 0.9529),
            (1000.0, 89_874.6, 8.5, 0.9075),
            (1500.0, 84_556.0, 5.25, 0.8637),
            (2000.0, 79_495.2, 2.0, 0.8216),
            (2500.0, 74_682.5, -1.25, 0.7811),
            (3000.0, 70_108.5, -4.5, 0.7421),
        ] {
            let got = pressure_ratio(altitude_m) * SEA_LEVEL_PA;
            assert!((got - pascal).abs() < 1.0, "at {altitude_m} m: {got} Pa, the table says {pascal} Pa");
            assert!((standard_c(altitude_m) - celsius).abs() < 1e-9);
            assert!((density_ratio(altitude_m, celsius) - density).abs() < 1e-4, "at {altitude_m} m");
        }
        assert!((pressure_ratio(3000.0) * SEA_LEVEL_PA - 70_121.2).abs() > 10.0);
    }

    /// Feet: 4000 ft are 12.692 psi; a widely copied table has 12.682.
    #[test]
    fn feet_are_met_and_the_copied_slip_is_not() {
        for (feet, psi) in [
            (1000.0, 14.173),
            (2500.0, 13.416),
            (4000.0, 12.692),
            (5000.0, 12.228),
            (7500.0, 11.126),
            (10_000.0, 10.107),
        ] {
            let got = pressure_ratio(feet * 0.3048) * SEA_LEVEL_PA / 6_894.757_293;
            assert!((got - psi).abs() < 6e-4, "{feet} ft: {got}");
            assert!((got - 12.682).abs() > 5e-3);
        }
    }
}
