//! Oil in gasoline, and gasoline in the air of a closed space.

use super::air::{SEA_LEVEL_PA, ZERO_C};

/// Oil for an amount of gasoline at a ratio of volumes, in the unit of the gasoline.
///
/// Source: the definition; 40:1 is 25 mL a liter and 3.2 fl oz a US gallon, whatever a parts page prints.
#[must_use]
pub fn oil_for(gasoline: f64, ratio: f64) -> f64 {
    gasoline / ratio
}

/// What brings gasoline that holds oil at one ratio to another: oil to add where more is wanted, else gasoline to add.
///
/// Source: the definition of the ratio; `gasoline` is without its oil.
#[must_use]
pub fn to_another_ratio(gasoline: f64, now: f64, wanted: f64) -> Correction {
    if wanted < now {
        Correction::AddOil(gasoline / wanted - gasoline / now)
    } else {
        Correction::AddGasoline(gasoline / now * wanted - gasoline)
    }
}

/// What to add, in the unit of the gasoline.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Correction {
    /// So much oil.
    AddOil(f64),
    /// So much gasoline without oil.
    AddGasoline(f64),
}

/// Lower explosive limit of gasoline vapor, a share of the volume.
///
/// Source: NIOSH pocket guide, 1.4 % (second-hand). Older figures run from 1.3 %.
pub const LOWER_LIMIT: f64 = 0.014;
/// Molar mass of gasoline vapor, g/mol. Source: EPA AP-42, about RVP 10 (from memory).
const VAPOR_G_PER_MOL: f64 = 66.0;
/// Density of what evaporates first, g/mL. An estimate.
const LIGHT_END_G_PER_ML: f64 = 0.67;
/// The gas constant, J/(mol K).
const GAS: f64 = 8.314_462_618;

/// Liquid gasoline, in milliliters, that makes the air of a closed space explosive, evenly mixed at sea level.
///
/// Source: the ideal gas. Vapor lies low and is not evenly mixed: a corner explodes from less.
#[must_use]
pub fn explosive_ml(space_l: f64, air_c: f64) -> f64 {
    let moles = SEA_LEVEL_PA * space_l / 1e3 / (GAS * (air_c + ZERO_C));
    moles * LOWER_LIMIT * VAPOR_G_PER_MOL / LIGHT_END_G_PER_ML
}

#[cfg(test)]
mod tests {
    use super::*;

    /// mL a liter and fl oz a US gallon. A parts page prints 3.5 fl oz for 40:1.
    #[test]
    fn the_oil_table_is_met() {
        for (ratio, ml, fl_oz) in [
            (16.0, 62.5, 8.0),
            (20.0, 50.0, 6.4),
            (24.0, 41.7, 5.33),
            (25.0, 40.0, 5.12),
            (32.0, 31.25, 4.0),
            (40.0, 25.0, 3.2),
            (50.0, 20.0, 2.56),
            (100.0, 10.0, 1.28),
        ] {
            assert!((oil_for(1000.0, ratio) - ml).abs() < 0.05);
            assert!((oil_for(128.0, ratio) - fl_oz).abs() < 5e-3);
            assert!((oil_for(128.0, ratio) - 3.5).abs() > 0.05);
        }
    }

    #[test]
    fn a_wrong_mix_is_brought_right() {
        assert_eq!(to_another_ratio(8000.0, 50.0, 40.0), Correction::AddOil(40.0));
        assert_eq!(to_another_ratio(10.0, 20.0, 50.0), Correction::AddGasoline(15.0));
        assert_eq!(to_another_ratio(10.0, 50.0, 50.0), Correction::AddGasoline(0.0));
    }

    #[test]
    fn two_teaspoons_make_a_space_explosive() {
        for (liters, ml) in [(50.0, 2.9), (100.0, 5.7), (200.0, 11.5)] {
            assert!((explosive_ml(liters, 20.0) - ml).abs() < 0.05, "{liters} L: {}", explosive_ml(liters, 20.0));
        }
    }
}
