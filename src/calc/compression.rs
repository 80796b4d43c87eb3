//! Cranking compression: the reading at another height, and the spread between cylinders.

/// A reading at a height as it would be at sea level, by the pressure of the air: a gauge reads
/// `air pressure * (ratio^n - 1)`, so it falls as the air pressure does. In the unit of the reading.
///
/// Source: the polytropic formula; held against the altitude table of US Army TM 5-3895-359-14&P, table 1, within 6 % to
/// 10,000 ft.
#[must_use]
pub fn at_sea_level(reading: f64, pressure_ratio: f64) -> f64 {
    reading / pressure_ratio
}

/// The same by the density of the air, which counts its temperature too.
///
/// Source: the altitude table of US Army TM 5-3895-359-14&P, table 1 (a two-stroke diesel), which follows its own column
/// of densities within 1 %.
#[must_use]
pub fn at_sea_level_by_density(reading: f64, density_ratio: f64) -> f64 {
    reading / density_ratio
}

/// How far the lowest cylinder is below the highest, a share of the highest. 0 for fewer than two.
///
/// Source: common practice; published limits are 10 % (outboard and motorcycle texts) to 25 % (US Army
/// TM 5-4210-230-14&P-1).
#[must_use]
pub fn spread(readings: &[f64]) -> f64 {
    let high = readings.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let low = readings.iter().copied().fold(f64::INFINITY, f64::min);
    if high > 0.0 { (high - low) / high } else { 0.0 }
}

/// What a gauge reads for a compression ratio counted from the closing of the ports, in the unit of the air pressure.
///
/// Source: the polytropic formula; the exponent is 1.2 to 1.3 while cranking (an estimate), 1.4 without loss.
#[must_use]
pub fn gauge(air_pressure: f64, ratio: f64, exponent: f64) -> f64 {
    air_pressure * (libm::pow(ratio, exponent) - 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calc::air::pressure_ratio;

    /// TM 5-3895-359-14&P, table 1: feet, air density in lb/ft3, least psi.
    const TABLE: [(f64, f64, f64); 5] = [
        (500.0, 0.0715, 515.0),
        (2500.0, 0.0663, 480.0),
        (5000.0, 0.0613, 440.0),
        (7500.0, 0.0567, 410.0),
        (10_000.0, 0.0525, 380.0),
    ];

    #[test]
    fn the_published_altitude_table_is_met_within_what_it_states() {
        let first = TABLE[0];
        for (feet, density, psi) in TABLE {
            let by_density = at_sea_level_by_density(psi, density / first.1);
            assert!((by_density / first.2 - 1.0).abs() < 0.01, "{feet} ft by density: {by_density}");
            let ratio = pressure_ratio(feet * 0.3048) / pressure_ratio(first.0 * 0.3048);
            let by_pressure = at_sea_level(psi, ratio);
            assert!((by_pressure / first.2 - 1.0).abs() < 0.06, "{feet} ft by pressure: {by_pressure}");
        }
    }

    #[test]
    fn figures_of_the_bench_come_out() {
        assert!((at_sea_level(112.0, pressure_ratio(1500.0)) - 134.0).abs() < 0.5);
        assert!((spread(&[132.0, 116.0]) - 0.121).abs() < 1e-3);
        assert!(spread(&[130.0]).abs() < 1e-12 && spread(&[]).abs() < 1e-12);
        // Sea level, ratio 6.5: 124, 138 and 153 psi at exponents 1.20, 1.25 and 1.30.
        for (exponent, psi) in [(1.2, 124.0), (1.25, 138.0), (1.3, 153.0)] {
            assert!((gauge(14.696, 6.5, exponent) - psi).abs() < 1.0);
        }
    }
}
