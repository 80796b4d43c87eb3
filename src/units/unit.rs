//! Units of readings.

/// A unit of measurement.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Unit {
    /// Pounds per square inch.
    Psi,
}
