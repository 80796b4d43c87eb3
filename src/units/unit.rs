//! Units of readings.

/// A unit of measurement.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Unit {
    /// Pounds per square inch.
    Psi,
}
/// A measure
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measure {
    /// The number.
    pub value: f64,
    /// Its unit.
    pub unit: Unit,
}
