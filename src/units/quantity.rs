//! What units measure, and the two systems of them.

use super::unit::Unit;
use std::fmt;

/// What a unit measures.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Quantity {
    /// Pressure, and a swing of pressure.
    Pressure,
    /// Pressure gained or lost in a time.
    PressureRate,
    /// Voltage.
    Voltage,
    /// Electric current.
    Current,
    /// Electric resistance.
    Resistance,
    /// Temperature: the one quantity whose scales have different zeros.
    Temperature,
    /// Length, a gap, a height above the sea.
    Length,
    /// Angle.
    Angle,
    /// Turns of a screw.
    Turns,
    /// Time.
    Time,
    /// Volume.
    Volume,
    /// Volume delivered in a time.
    Flow,
    /// A share of a whole.
    Ratio,
    /// Speed of rotation.
    Speed,
    /// Torque.
    Torque,
    /// Force, of a spring.
    Force,
}

impl Quantity {
    /// Every quantity.
    pub const ALL: [Self; 16] = [
        Self::Pressure,
        Self::PressureRate,
        Self::Voltage,
        Self::Current,
        Self::Resistance,
        Self::Temperature,
        Self::Length,
        Self::Angle,
        Self::Turns,
        Self::Time,
        Self::Volume,
        Self::Flow,
        Self::Ratio,
        Self::Speed,
        Self::Torque,
        Self::Force,
    ];

    /// Its word in the knowledge base: `pressure-rate`.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Pressure => "pressure",
            Self::PressureRate => "pressure-rate",
            Self::Voltage => "voltage",
            Self::Current => "current",
            Self::Resistance => "resistance",
            Self::Temperature => "temperature",
            Self::Length => "length",
            Self::Angle => "angle",
            Self::Turns => "turns",
            Self::Time => "time",
            Self::Volume => "volume",
            Self::Flow => "flow",
            Self::Ratio => "ratio",
            Self::Speed => "speed",
            Self::Torque => "torque",
            Self::Force => "force",
        }
    }

    /// The quantity of a word.
    #[must_use]
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|q| q.word() == word)
    }

    /// The units that measure it, the one of the international system first.
    pub fn units(self) -> impl Iterator<Item = Unit> {
        Unit::ALL.into_iter().filter(move |u| u.quantity() == self)
    }

    /// Its units in a row, for messages: `kPa, MPa, bar, psi`.
    #[must_use]
    pub fn unit_list(self) -> String {
        self.units().map(Unit::symbol).collect::<Vec<_>>().join(", ")
    }
}

impl fmt::Display for Quantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// Metric or US customary.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum System {
    /// Metric: kPa, degrees Celsius, mm, N m.
    Metric,
    /// US customary: psi, degrees Fahrenheit, inches, lbf ft.
    Us,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_quantity_is_listed_once_and_has_a_unit() {
        for (at, quantity) in Quantity::ALL.into_iter().enumerate() {
            assert_eq!(quantity as usize, at);
            assert_eq!(Quantity::parse(quantity.word()), Some(quantity));
            assert!(quantity.units().next().is_some());
        }
    }
}
