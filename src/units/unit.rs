//! Units of readings, and conversions between them.
//!
//! Factors are those of NIST SP 811 (2008), appendix B, where it lists the unit. Those marked exact follow from the
//! exact definitions of the inch (0.0254 m), the avoirdupois pound (0.45359237 kg), the US gallon (231 cubic inches)
//! and standard gravity (9.80665 m/s2). The conventional columns of mercury and water are fixed by convention.

use super::measure::UnitError;
use super::quantity::{Quantity, System};
use std::fmt;

/// A unit of measurement.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Unit {
    /// Kilopascal.
    Kpa,
    /// Megapascal.
    Mpa,
    /// Bar.
    Bar,
    /// Pound-force per square inch.
    Psi,
    /// Kilogram-force per square centimeter.
    KgfPerCm2,
    /// Standard atmosphere.
    Atm,
    /// Inch of mercury, conventional.
    InHg,
    /// Millimeter of mercury, conventional.
    MmHg,
    /// Inch of water, conventional.
    InH2o,
    /// Kilopascal per minute.
    KpaPerMin,
    /// Pound-force per square inch per minute.
    PsiPerMin,
    /// Volt.
    Volt,
    /// Millivolt.
    Millivolt,
    /// Kilovolt.
    Kilovolt,
    /// Ampere.
    Ampere,
    /// Milliampere.
    Milliampere,
    /// Ohm.
    Ohm,
    /// Kilohm.
    Kilohm,
    /// Megohm.
    Megohm,
    /// Degree Celsius.
    Celsius,
    /// Degree Fahrenheit.
    Fahrenheit,
    /// Millimeter.
    Millimeter,
    /// Meter.
    Meter,
    /// Inch.
    Inch,
    /// Foot.
    Foot,
    /// Degree of angle.
    Degree,
    /// Turn of a screw.
    Turn,
    /// Second.
    Second,
    /// Minute.
    Minute,
    /// Hour.
    Hour,
    /// Milliliter.
    Milliliter,
    /// Liter.
    Liter,
    /// US fluid ounce.
    FlOz,
    /// US gallon.
    UsGallon,
    /// Milliliter in ten seconds: what a pump delivers over one burst of cranking.
    MlPer10S,
    /// Milliliter per minute.
    MlPerMin,
    /// Liter per hour.
    LiterPerHour,
    /// US gallon per hour.
    GallonPerHour,
    /// Percent.
    Percent,
    /// Revolution per minute.
    Rpm,
    /// Newton meter.
    NewtonMeter,
    /// Pound-force inch.
    LbfInch,
    /// Pound-force foot.
    LbfFoot,
    /// Newton.
    Newton,
    /// Gram-force: what a spring of "95 g" holds.
    GramForce,
    /// Ounce-force.
    OunceForce,
    /// US teaspoon.
    Teaspoon,
}

/// Inch in meters, exact (NIST SP 811, B.6).
const INCH: f64 = 0.0254;
/// Avoirdupois pound-force in newtons: pound times standard gravity, both exact.
const LBF: f64 = 0.453_592_37 * 9.806_65;
/// Pound-force per square inch in pascals, exact but for rounding: 6894.757293168...
const PSI: f64 = LBF / (INCH * INCH);
/// US gallon in milliliters, exact: 231 cubic inches.
const GALLON: f64 = 3_785.411_784;

impl Unit {
    /// Every unit, those of the international system first in each quantity.
    pub const ALL: [Self; 47] = [
        Self::Kpa,
        Self::Mpa,
        Self::Bar,
        Self::Psi,
        Self::KgfPerCm2,
        Self::Atm,
        Self::InHg,
        Self::MmHg,
        Self::InH2o,
        Self::KpaPerMin,
        Self::PsiPerMin,
        Self::Volt,
        Self::Millivolt,
        Self::Kilovolt,
        Self::Ampere,
        Self::Milliampere,
        Self::Ohm,
        Self::Kilohm,
        Self::Megohm,
        Self::Celsius,
        Self::Fahrenheit,
        Self::Millimeter,
        Self::Meter,
        Self::Inch,
        Self::Foot,
        Self::Degree,
        Self::Turn,
        Self::Second,
        Self::Minute,
        Self::Hour,
        Self::Milliliter,
        Self::Liter,
        Self::FlOz,
        Self::UsGallon,
        Self::MlPer10S,
        Self::MlPerMin,
        Self::LiterPerHour,
        Self::GallonPerHour,
        Self::Percent,
        Self::Rpm,
        Self::NewtonMeter,
        Self::LbfInch,
        Self::LbfFoot,
        Self::Newton,
        Self::GramForce,
        Self::OunceForce,
        Self::Teaspoon,
    ];

    /// Its symbol as shown: "psi", "kgf/cm2".
    #[must_use]
    pub fn symbol(self) -> &'static str {
        self.names()[0]
    }

    /// Its symbol, then other ways to write it.
    fn names(self) -> &'static [&'static str] {
        match self {
            Self::Kpa => &["kPa"],
            Self::Mpa => &["MPa"],
            Self::Bar => &["bar"],
            Self::Psi => &["psi", "lbf/in2"],
            Self::KgfPerCm2 => &["kgf/cm2", "kgf/cm²", "kg/cm2", "kg/cm²"],
            Self::Atm => &["atm"],
            Self::InHg => &["inHg", "in Hg"],
            Self::MmHg => &["mmHg", "mm Hg"],
            Self::InH2o => &["inH2O", "in H2O", "inH₂O"],
            Self::KpaPerMin => &["kPa/min"],
            Self::PsiPerMin => &["psi/min", "psi per min", "psi per minute"],
            Self::Volt => &["V", "volt", "volts"],
            Self::Millivolt => &["mV"],
            Self::Kilovolt => &["kV"],
            Self::Ampere => &["A", "amp", "amps"],
            Self::Milliampere => &["mA"],
            Self::Ohm => &["ohm", "ohms", "Ω", "Ω"],
            Self::Kilohm => &["kohm", "kohms", "kΩ", "kΩ"],
            Self::Megohm => &["Mohm", "Mohms", "megohm", "megohms", "MΩ", "MΩ"],
            Self::Celsius => &["C", "°C", "deg C", "degC"],
            Self::Fahrenheit => &["F", "°F", "deg F", "degF"],
            Self::Millimeter => &["mm"],
            Self::Meter => &["m"],
            Self::Inch => &["in", "inch", "inches"],
            Self::Foot => &["ft", "foot", "feet"],
            Self::Degree => &["deg", "°", "degree", "degrees"],
            Self::Turn => &["turns", "turn"],
            Self::Second => &["s", "sec", "second", "seconds"],
            Self::Minute => &["min", "minute", "minutes"],
            Self::Hour => &["h", "hr", "hour", "hours"],
            Self::Milliliter => &["mL", "cc", "cm3"],
            Self::Liter => &["L", "liter", "liters"],
            Self::FlOz => &["fl oz", "US fl oz", "floz"],
            Self::UsGallon => &["US gal", "gal"],
            Self::MlPer10S => &["mL/10 s", "mL/10s", "mL per 10 s"],
            Self::MlPerMin => &["mL/min", "mL per min"],
            Self::LiterPerHour => &["L/h"],
            Self::GallonPerHour => &["US gal/h", "gal/h"],
            Self::Percent => &["%", "percent"],
            Self::Rpm => &["rpm", "r/min", "1/min"],
            Self::NewtonMeter => &["N m", "Nm", "N*m", "N·m"],
            Self::LbfInch => &["lbf in", "lbf*in", "lbf·in", "in lbf", "in lb"],
            Self::LbfFoot => &["lbf ft", "lbf*ft", "lbf·ft", "ft lbf", "ft lb"],
            Self::Newton => &["N"],
            Self::GramForce => &["gf", "g", "gram", "grams"],
            Self::OunceForce => &["ozf"],
            Self::Teaspoon => &["tsp", "teaspoon", "teaspoons"],
        }
    }

    /// What it measures.
    #[must_use]
    pub fn quantity(self) -> Quantity {
        match self {
            Self::Kpa
            | Self::Mpa
            | Self::Bar
            | Self::Psi
            | Self::KgfPerCm2
            | Self::Atm
            | Self::InHg
            | Self::MmHg
            | Self::InH2o => Quantity::Pressure,
            Self::KpaPerMin | Self::PsiPerMin => Quantity::PressureRate,
            Self::Volt | Self::Millivolt | Self::Kilovolt => Quantity::Voltage,
            Self::Ampere | Self::Milliampere => Quantity::Current,
            Self::Ohm | Self::Kilohm | Self::Megohm => Quantity::Resistance,
            Self::Celsius | Self::Fahrenheit => Quantity::Temperature,
            Self::Millimeter | Self::Meter | Self::Inch | Self::Foot => Quantity::Length,
            Self::Degree => Quantity::Angle,
            Self::Turn => Quantity::Turns,
            Self::Second | Self::Minute | Self::Hour => Quantity::Time,
            Self::Milliliter | Self::Liter | Self::FlOz | Self::UsGallon | Self::Teaspoon => Quantity::Volume,
            Self::MlPer10S | Self::MlPerMin | Self::LiterPerHour | Self::GallonPerHour => Quantity::Flow,
            Self::Percent => Quantity::Ratio,
            Self::Rpm => Quantity::Speed,
            Self::NewtonMeter | Self::LbfInch | Self::LbfFoot => Quantity::Torque,
            Self::Newton | Self::GramForce | Self::OunceForce => Quantity::Force,
        }
    }

    /// How many of the quantity's base unit one of this is. The base units: Pa, Pa/min, V, A, ohm, degree Celsius, m,
    /// degree, turn, s, mL, mL/min, percent, rpm, N m, N.
    ///
    /// Source: NIST SP 811, appendix B; the conventional values of mercury and water columns to the digits it gives.
    fn factor(self) -> f64 {
        match self {
            Self::Kpa | Self::KpaPerMin | Self::Kilovolt | Self::Kilohm | Self::Liter => 1e3,
            Self::Mpa | Self::Megohm => 1e6,
            Self::Bar => 1e5,
            Self::Psi | Self::PsiPerMin => PSI,
            Self::KgfPerCm2 => 98_066.5,
            Self::Atm => 101_325.0,
            Self::InHg => 3_386.389,
            Self::MmHg => 133.322_387_415,
            Self::InH2o => 249.088_91,
            Self::Volt
            | Self::Ampere
            | Self::Ohm
            | Self::Celsius
            | Self::Meter
            | Self::Degree
            | Self::Turn
            | Self::Second
            | Self::Milliliter
            | Self::MlPerMin
            | Self::Percent
            | Self::Rpm
            | Self::NewtonMeter
            | Self::Newton => 1.0,
            Self::GramForce => 9.806_65e-3,
            Self::OunceForce => LBF / 16.0,
            Self::Teaspoon => GALLON / 768.0,
            Self::Millivolt | Self::Milliampere | Self::Millimeter => 1e-3,
            Self::Fahrenheit => 1.0 / 1.8,
            Self::Inch => INCH,
            Self::Foot => 12.0 * INCH,
            Self::Minute => 60.0,
            Self::Hour => 3_600.0,
            Self::FlOz => GALLON / 128.0,
            Self::UsGallon => GALLON,
            Self::MlPer10S => 6.0,
            Self::LiterPerHour => 1e3 / 60.0,
            Self::GallonPerHour => GALLON / 60.0,
            Self::LbfInch => LBF * INCH,
            Self::LbfFoot => LBF * 12.0 * INCH,
        }
    }

    /// Where the zero of the base unit lies on this scale: 32 for degrees Fahrenheit, else 0.
    fn zero(self) -> f64 {
        if self == Self::Fahrenheit { 32.0 } else { 0.0 }
    }

    /// A value in this unit, in another. `None` where they measure different things.
    #[must_use]
    pub fn convert(self, value: f64, to: Self) -> Option<f64> {
        if self == to {
            return Some(value);
        }
        let base = (value - self.zero()) * self.factor();
        (self.quantity() == to.quantity()).then(|| base / to.factor() + to.zero())
    }

    /// A difference in this unit, in another: 9 F of warming are 5 C. `None` where they measure different things.
    #[must_use]
    pub fn convert_span(self, span: f64, to: Self) -> Option<f64> {
        if self == to {
            return Some(span);
        }
        (self.quantity() == to.quantity()).then(|| span * self.factor() / to.factor())
    }

    /// The unit a screen in this system shows instead.
    #[must_use]
    pub fn in_system(self, system: System) -> Self {
        match system {
            System::Metric => self.metric(),
            System::Us => self.us(),
        }
    }

    fn metric(self) -> Self {
        match self {
            Self::Psi | Self::KgfPerCm2 | Self::Atm | Self::InHg | Self::MmHg | Self::InH2o => Self::Kpa,
            Self::PsiPerMin => Self::KpaPerMin,
            Self::Fahrenheit => Self::Celsius,
            Self::Inch => Self::Millimeter,
            Self::Foot => Self::Meter,
            Self::FlOz | Self::Teaspoon => Self::Milliliter,
            Self::UsGallon => Self::Liter,
            Self::GallonPerHour => Self::LiterPerHour,
            Self::LbfInch | Self::LbfFoot => Self::NewtonMeter,
            Self::OunceForce => Self::GramForce,
            same => same,
        }
    }

    /// Small volumes stay in milliliters: bench bottles in US shops are marked so.
    fn us(self) -> Self {
        match self {
            Self::Kpa | Self::Mpa | Self::Bar | Self::KgfPerCm2 | Self::Atm | Self::MmHg => Self::Psi,
            Self::KpaPerMin => Self::PsiPerMin,
            Self::Celsius => Self::Fahrenheit,
            Self::Millimeter => Self::Inch,
            Self::Meter => Self::Foot,
            Self::Liter => Self::UsGallon,
            Self::LiterPerHour => Self::GallonPerHour,
            Self::NewtonMeter => Self::LbfFoot,
            Self::Newton | Self::GramForce => Self::OunceForce,
            same => same,
        }
    }

    /// Whether its symbol begins with a prefix that stands for a thousandth in one case and a million in the other.
    fn is_milli_or_mega(self) -> bool {
        self.symbol().starts_with(['m', 'M']) && !matches!(self, Self::Meter | Self::Minute)
    }

    /// The unit of a symbol, as people write it. Case matters only where it tells a thousandth from a million: no "MV" is a
    /// millivolt, no "mohm" a megohm.
    ///
    /// # Errors
    /// [`UnitError::Unknown`], with the nearest symbol.
    pub fn parse(text: &str) -> Result<Self, UnitError> {
        let word = text.split_whitespace().collect::<Vec<_>>().join(" ");
        let exact = |u: &Self| u.names().contains(&word.as_str());
        let same_prefix = |u: &Self, name: &str| !u.is_milli_or_mega() || name.chars().next() == word.chars().next();
        let any_case =
            |u: &Self| u.names().iter().any(|name| name.to_lowercase() == word.to_lowercase() && same_prefix(u, name));
        let found = Self::ALL.into_iter().find(exact).or_else(|| Self::ALL.into_iter().find(any_case));
        found.ok_or_else(|| {
            let names = Self::ALL.into_iter().map(Self::symbol);
            let near = crate::finding::nearest(&word, names).filter(|_| word.len() > 1);
            UnitError::Unknown { unit: shortened(&word), near }
        })
    }
}

/// What a person typed, cut to a length a message can carry.
pub(super) fn shortened(text: &str) -> String {
    const MOST: usize = 40;
    if text.chars().count() <= MOST { text.to_owned() } else { text.chars().take(MOST).chain(['…']).collect() }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.symbol())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Measure;
    use proptest::prelude::*;

    fn close(found: f64, expected: f64, digits: i32) {
        let error = ((found - expected) / expected).abs();
        assert!(error < 10f64.powi(-digits), "{found} is not {expected} to {digits} digits");
    }

    fn get(text: &str, unit: Unit) -> f64 {
        Measure::parse(text).unwrap().get(unit).unwrap()
    }

    #[test]
    fn factors_are_those_of_the_standard() {
        // NIST SP 811, appendix B.8 and B.9, from memory of the page; the pound, inch and gallon are exact.
        close(get("1 psi", Unit::Kpa), 6.894_757_293_168, 12);
        close(get("1 bar", Unit::Kpa), 100.0, 15);
        close(get("1 atm", Unit::Kpa), 101.325, 15);
        close(get("1 atm", Unit::Psi), 14.695_9, 5);
        close(get("1 inHg", Unit::Kpa), 3.386_389, 15);
        close(get("1 mmHg", Unit::Kpa), 0.133_322_387_415, 14);
        close(get("1 kgf/cm2", Unit::Psi), 14.223_3, 5);
        close(get("1 inH2O", Unit::Kpa), 0.249_088_91, 14);
        close(get("1 lbf in", Unit::NewtonMeter), 0.112_984_8, 6);
        close(get("1 lbf ft", Unit::NewtonMeter), 1.355_817_9, 7);
        close(get("1 US fl oz", Unit::Milliliter), 29.573_529_562_5, 14);
        close(get("1 US gal", Unit::Liter), 3.785_411_784, 14);
        close(get("1 ft", Unit::Meter), 0.304_8, 14);
        close(get("1 in", Unit::Millimeter), 25.4, 14);
        close(get("1 mL per 10 s", Unit::MlPerMin), 6.0, 14);
    }

    #[test]
    fn pairs_printed_in_manuals_agree_to_their_digits() {
        assert!((get("590 kPa", Unit::KgfPerCm2) - 6.0).abs() < 0.1);
        assert!((get("590 kPa", Unit::Psi) - 85.6).abs() < 0.05);
        assert!((get("34 kPa", Unit::Psi) - 5.0).abs() < 0.1);
        assert!((get("50 kPa", Unit::Psi) - 7.3).abs() < 0.05);
        assert!((get("0.4 bar", Unit::Psi) - 5.8).abs() < 0.05);
        assert!((get("515 psi", Unit::Kpa) - 3551.0).abs() < 0.5);
        assert!((get("25 N m", Unit::LbfFoot) - 18.4).abs() < 0.05);
        assert!((get("172 kPa", Unit::Psi) - 25.0).abs() < 0.1);
    }

    #[test]
    fn temperatures_have_different_zeros_and_spans_have_none() {
        close(get("212 F", Unit::Celsius), 100.0, 14);
        close(get("-40 °C", Unit::Fahrenheit), -40.0, 13);
        close(get("80 F", Unit::Celsius), 26.666_666_666_7, 11);
        close(Unit::Fahrenheit.convert_span(9.0, Unit::Celsius).unwrap(), 5.0, 14);
    }

    #[test]
    fn every_unit_is_listed_once_and_its_names_are_its_own() {
        for (at, unit) in Unit::ALL.into_iter().enumerate() {
            assert_eq!(unit as usize, at, "{unit:?} is out of place in Unit::ALL");
            for name in unit.names() {
                assert_eq!(Unit::parse(name), Ok(unit), "{name}");
            }
        }
    }

    #[test]
    fn systems_pair_units_of_one_quantity() {
        let shown = |text: &str, system| Measure::parse(text).unwrap().in_system(system).to_string();
        assert_eq!(shown("100 kPa", System::Metric), "100 kPa");
        assert_eq!(shown("32 F", System::Metric), "0 C");
        assert_eq!(shown("1 in", System::Us), "1 in");
        for unit in Unit::ALL {
            for system in [System::Metric, System::Us] {
                assert_eq!(unit.in_system(system).quantity(), unit.quantity());
                assert_eq!(unit.in_system(system).in_system(system), unit.in_system(system));
            }
        }
    }

    proptest! {
        #[test]
        fn there_and_back_is_the_same(value in -1e6..1e6f64, from in 0..Unit::ALL.len(), to in 0..Unit::ALL.len()) {
            let (from, to) = (Unit::ALL[from], Unit::ALL[to]);
            if let Some(there) = from.convert(value, to) {
                let back = to.convert(there, from).unwrap();
                prop_assert!((back - value).abs() <= 1e-9 * value.abs().max(1.0));
            } else {
                prop_assert_ne!(from.quantity(), to.quantity());
            }
        }
    }
}
