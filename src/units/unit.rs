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
impl Unit {
    /// convert
    #[must_use]
    pub fn convert(self, value: f64, _to: Unit) -> Option<f64> {
        Some(value)
    }
}
