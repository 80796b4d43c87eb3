//! The battery: what rest volts say, and what cranking volts must be.

use super::between;

/// Rested flooded lead-acid battery at 27 °C (80 °F): volts and percent of charge.
///
/// Source: Battery Council International (read). A magazine's 12.30 V for half charge is not this table.
pub const REST: [(f64, f64); 5] = [(11.89, 0.0), (12.06, 25.0), (12.24, 50.0), (12.45, 75.0), (12.65, 100.0)];

/// Temperature in degrees Celsius and the least volts after 15 s under half the cold-cranking amperes.
///
/// Source: three vehicle manuals that agree (read), in whole degrees; one other gives 8.0 V at -18 °C.
pub const LOADED: [(f64, f64); 8] =
    [(-18.0, 8.5), (-12.0, 8.7), (-7.0, 8.9), (-1.0, 9.1), (4.0, 9.3), (10.0, 9.4), (16.0, 9.5), (21.0, 9.6)];

/// Charge in percent of a battery that has rested for hours. Beyond the table it is empty, or full.
#[must_use]
pub fn charge_percent(rest_v: f64) -> f64 {
    let (least, most) = (REST[0], REST[REST.len() - 1]);
    between(&REST, rest_v).unwrap_or(if rest_v < least.0 { least.1 } else { most.1 })
}

/// The least volts under load at a temperature; warmer than the table as at its warm end. `None` colder than it.
#[must_use]
pub fn least_loaded_v(battery_c: f64) -> Option<f64> {
    let warm = LOADED[LOADED.len() - 1];
    if battery_c >= warm.0 { Some(warm.1) } else { between(&LOADED, battery_c) }
}

/// Volts lost over a resistance.
///
/// Source: Ohm's law.
#[must_use]
pub fn drop_v(current_a: f64, resistance_ohm: f64) -> f64 {
    current_a * resistance_ohm
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_battery_table_is_met_and_straight_between() {
        for (volts, percent) in REST {
            assert!((charge_percent(volts) - percent).abs() < 1e-9);
        }
        assert!((charge_percent(12.345) - 62.5).abs() < 1e-9);
        assert!(charge_percent(11.0).abs() < 1e-9 && (charge_percent(12.9) - 100.0).abs() < 1e-9);
        assert!((charge_percent(12.30) - 50.0).abs() > 5.0, "12.30 V is no half charge by this table");
    }

    #[test]
    fn cold_allows_less_under_load() {
        for (celsius, volts) in [(25.0, 9.6), (21.0, 9.6), (10.0, 9.4), (-1.0, 9.1), (-18.0, 8.5), (7.0, 9.35)] {
            assert!((least_loaded_v(celsius).unwrap() - volts).abs() < 1e-9, "{celsius}");
        }
        assert_eq!(least_loaded_v(-25.0), None);
        assert!((drop_v(120.0, 0.002) - 0.24).abs() < 1e-9 && (drop_v(120.0, 0.006) - 0.72).abs() < 1e-9);
    }
}
