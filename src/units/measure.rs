//! Numbers with a unit, as people write them.

use super::quantity::{Quantity, System};
use super::unit::{Unit, shortened};
use std::fmt;

/// Why a text is not a number with a unit.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum UnitError {
    /// It does not begin with a number.
    #[error("expected a number with a unit, such as `9.8 bar`, found `{text}`")]
    NoNumber {
        /// What was written.
        text: String,
    },
    /// It has a comma in the number.
    #[error("expected a decimal point and no commas in a number, found `{text}`")]
    Comma {
        /// What was written.
        text: String,
    },
    /// It has no unit.
    #[error("expected a unit after `{text}`{}", units_of(*.expected))]
    NoUnit {
        /// What was written.
        text: String,
        /// The quantity, where it is known.
        expected: Option<Quantity>,
    },
    /// The number is not finite.
    #[error("expected a finite number, found `{text}`")]
    NotFinite {
        /// What was written.
        text: String,
    },
    /// The number is beyond what anything measures.
    #[error("expected a number of less than 1e15, found `{text}`")]
    TooLarge {
        /// What was written.
        text: String,
    },
    /// Nobody knows this unit.
    #[error("unit `{unit}` is not known{}", .near.map(|n| format!(", nearest is `{n}`")).unwrap_or_default())]
    Unknown {
        /// What was written.
        unit: String,
        /// The nearest symbol.
        near: Option<&'static str>,
    },
    /// It measures something else.
    #[error("expected a unit of {expected} ({}), found `{found}`, a unit of {}", .expected.unit_list(), .found.quantity())]
    WrongQuantity {
        /// What was to be measured.
        expected: Quantity,
        /// What was written.
        found: Unit,
    },
}

fn units_of(quantity: Option<Quantity>) -> String {
    quantity.map(|q| format!(", one of {}", q.unit_list())).unwrap_or_default()
}

/// Beyond what anything measures, in any unit: what is written so is a slip of the pen, and what comes to it by another unit
/// could not be read back.
const MOST: f64 = 1e15;

/// A number with a unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measure {
    /// The number, finite.
    pub value: f64,
    /// Its unit.
    pub unit: Unit,
}

impl Measure {
    /// Reads "9.8 bar", "142psi", "-3 kPa", "1 3/8 turns".
    ///
    /// # Errors
    /// Where there is no number or no known unit; see [`UnitError`].
    pub fn parse(text: &str) -> Result<Self, UnitError> {
        let (number, unit) = split_number(text)?;
        if number.abs() >= MOST {
            return Err(UnitError::TooLarge { text: shortened(text.trim()) });
        }
        if unit.is_empty() {
            return Err(UnitError::NoUnit { text: shortened(text.trim()), expected: None });
        }
        Ok(Self { value: number, unit: Unit::parse(unit)? })
    }

    /// Reads a number with a unit of this quantity.
    ///
    /// # Errors
    /// As [`Measure::parse`], and where the unit is of another quantity.
    pub fn parse_as(text: &str, quantity: Quantity) -> Result<Self, UnitError> {
        let measure = Self::parse(text).map_err(|e| match e {
            UnitError::NoUnit { text, .. } => UnitError::NoUnit { text, expected: Some(quantity) },
            other => other,
        })?;
        if measure.unit.quantity() == quantity {
            Ok(measure)
        } else {
            Err(UnitError::WrongQuantity { expected: quantity, found: measure.unit })
        }
    }

    /// The number in another unit; `None` where that measures something else, or the number is beyond all measure in it.
    #[must_use]
    pub fn get(self, unit: Unit) -> Option<f64> {
        self.unit.convert(self.value, unit).filter(|value| value.abs() < MOST)
    }

    /// The same in the units of a system.
    #[must_use]
    pub fn in_system(self, system: System) -> Self {
        let unit = self.unit.in_system(system);
        Self { value: self.unit.convert(self.value, unit).unwrap_or(self.value), unit }
    }
}

impl fmt::Display for Measure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.unit {
            Unit::Percent => write!(f, "{}%", self.value),
            unit => write!(f, "{} {unit}", self.value),
        }
    }
}

/// The number a text begins with, and what follows it, trimmed. A fraction may follow a whole number or stand alone.
fn split_number(text: &str) -> Result<(f64, &str), UnitError> {
    let trimmed = text.trim();
    let (sign, rest) = match trimmed.strip_prefix('-') {
        Some(rest) => (-1.0, rest.trim_start()),
        None => (1.0, trimmed.strip_prefix('+').unwrap_or(trimmed)),
    };
    let (first, after) = rest.split_at(rest.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(rest.len()));
    if after.starts_with(',') && !first.is_empty() {
        return Err(UnitError::Comma { text: shortened(trimmed) });
    }
    let no_number = || UnitError::NoNumber { text: shortened(trimmed) };
    let whole: f64 = first.parse().map_err(|_| no_number())?;
    let (value, unit) = match fraction(whole, after) {
        Some(read) => read,
        None => exponent(first, after).unwrap_or((whole, after)),
    };
    if value.is_finite() {
        Ok((sign * value, unit.trim()))
    } else {
        Err(UnitError::NotFinite { text: shortened(trimmed) })
    }
}

/// Reads "3/8" after a whole number, or "/8" where that number was the top of the fraction.
fn fraction(whole: f64, after: &str) -> Option<(f64, &str)> {
    let digits = |s: &str| s.find(|c: char| !c.is_ascii_digit()).unwrap_or(s.len());
    if let Some(below) = after.strip_prefix('/') {
        let (bottom, unit) = below.split_at(digits(below));
        return Some((whole / bottom.parse::<f64>().ok()?, unit));
    }
    let part = after.strip_prefix(' ')?.trim_start();
    let (top, below) = part.split_at(digits(part));
    let below = below.strip_prefix('/')?;
    let (bottom, unit) = below.split_at(digits(below));
    Some((whole + top.parse::<f64>().ok()? / bottom.parse::<f64>().ok()?, unit))
}

/// Reads "e-3" after a number.
fn exponent<'a>(first: &str, after: &'a str) -> Option<(f64, &'a str)> {
    let power = after.strip_prefix(['e', 'E'])?;
    let signed = power.strip_prefix(['-', '+']).unwrap_or(power);
    let digits = signed.find(|c: char| !c.is_ascii_digit()).unwrap_or(signed.len());
    let length = after.len() - signed.len() + digits;
    let value = format!("{first}{}", &after[..length]).parse().ok()?;
    (digits > 0).then(|| (value, &after[length..]))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn people_write_it_in_many_ways() {
        for (text, value, unit) in [
            ("9.8 bar", 9.8, Unit::Bar),
            ("142 psi", 142.0, Unit::Psi),
            ("142psi", 142.0, Unit::Psi),
            (" 142  PSI ", 142.0, Unit::Psi),
            ("1 3/8 turns", 1.375, Unit::Turn),
            ("3/4 turn", 0.75, Unit::Turn),
            ("-4 psi", -4.0, Unit::Psi),
            ("+.5 psi", 0.5, Unit::Psi),
            ("5%", 5.0, Unit::Percent),
            ("5 kΩ", 5.0, Unit::Kilohm),
            ("1e3 ohm", 1000.0, Unit::Ohm),
            ("18 lbf ft", 18.0, Unit::LbfFoot),
            ("25 Nm", 25.0, Unit::NewtonMeter),
            ("3 mL/10 s", 3.0, Unit::MlPer10S),
            ("10 min", 10.0, Unit::Minute),
            ("350 m", 350.0, Unit::Meter),
        ] {
            assert_eq!(Measure::parse(text), Ok(Measure { value, unit }), "{text}");
        }
        assert!(Measure::parse("2 mohm").is_err(), "a thousandth of an ohm is not a million of them");
        for milli_or_mega in ["1 MV", "1 MA", "1 mpa", "1 MM"] {
            assert!(Measure::parse(milli_or_mega).is_err(), "{milli_or_mega}: a thousandth is not a million");
        }
        let read = |text: &str| Measure::parse(text).map(|measure| measure.unit);
        assert_eq!(
            ["1 MOHM", "1 mv", "1 M", "1 MIN"].map(|text| read(text).ok()),
            [Some(Unit::Megohm), Some(Unit::Millivolt), Some(Unit::Meter), Some(Unit::Minute)]
        );
    }

    #[test]
    fn errors_say_what_was_expected() {
        let said = |text: &str| Measure::parse_as(text, Quantity::Pressure).unwrap_err().to_string();
        assert_eq!(said("9,8 bar"), "expected a decimal point and no commas in a number, found `9,8 bar`");
        assert_eq!(
            said("142"),
            "expected a unit after `142`, one of kPa, MPa, bar, psi, kgf/cm2, atm, inHg, mmHg, inH2O"
        );
        assert_eq!(said("142 psii"), "unit `psii` is not known, nearest is `psi`");
        assert_eq!(
            said("12 V"),
            "expected a unit of pressure (kPa, MPa, bar, psi, kgf/cm2, atm, inHg, mmHg, inH2O), found `V`, \
             a unit of voltage"
        );
        assert_eq!(said("low"), "expected a number with a unit, such as `9.8 bar`, found `low`");
        assert_eq!(said("1/0 psi"), "expected a finite number, found `1/0 psi`");
        assert_eq!(said("1e308 bar"), "expected a number of less than 1e15, found `1e308 bar`");
    }

    proptest! {
        #[test]
        fn what_is_shown_is_read_back(value in -1e6..1e6f64, unit in 0..Unit::ALL.len()) {
            let measure = Measure { value, unit: Unit::ALL[unit] };
            prop_assert_eq!(Measure::parse(&measure.to_string()).unwrap(), measure);
        }

        #[test]
        fn what_comes_of_another_unit_is_read_back(power in -20..20i32, from in 0..Unit::ALL.len(), to in 0..Unit::ALL.len()) {
            let (from, to) = (Unit::ALL[from], Unit::ALL[to]);
            let written = Measure { value: 10f64.powi(power), unit: from };
            if let Some(value) = written.get(to) {
                let measure = Measure { value, unit: to };
                prop_assert_eq!(Measure::parse(&measure.to_string()), Ok(measure));
            }
        }

        #[test]
        fn no_text_makes_it_panic(text in "\\PC*") {
            let _ = Measure::parse(&text);
        }
    }
}
