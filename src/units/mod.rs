//! Checked quantities. No bare `f64` stands for a quantity in a public signature.

pub mod measure;
pub mod quantity;
pub mod text;
pub mod unit;

pub use measure::{Measure, UnitError};
pub use quantity::{Quantity, System};
pub use text::is_printable;
pub use unit::Unit;

use std::fmt;
use std::iter::Sum;
use std::ops::{Add, AddAssign, Mul, Sub};

/// A probability, 0..=1.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Chance(f64);

impl Chance {
    /// Never.
    pub const NEVER: Self = Self(0.0);
    /// Always.
    pub const ALWAYS: Self = Self(1.0);

    /// A probability, where `value` is one.
    #[must_use]
    pub fn new(value: f64) -> Option<Self> {
        (0.0..=1.0).contains(&value).then_some(Self(value))
    }

    /// The number, 0..=1.
    #[must_use]
    pub fn get(self) -> f64 {
        self.0
    }

    /// The chance of the opposite.
    #[expect(clippy::should_implement_trait, reason = "a chance has no `!`")]
    #[must_use]
    pub fn not(self) -> Self {
        Self(1.0 - self.0)
    }
}

macro_rules! amount {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
        pub struct $name(f64);

        impl $name {
            /// None.
            pub const ZERO: Self = Self(0.0);

            /// An amount; `None` for one that is negative or not finite.
            #[must_use]
            pub fn new(value: f64) -> Option<Self> {
                (value.is_finite() && value >= 0.0).then_some(Self(value))
            }

            /// The result of arithmetic, which may be negative (a saving that is a loss).
            #[must_use]
            pub fn of(value: f64) -> Self {
                debug_assert!(value.is_finite(), "an amount is finite");
                Self(value)
            }

            /// The number.
            #[must_use]
            pub fn get(self) -> f64 {
                self.0
            }
        }

        impl Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }

        impl Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }

        impl AddAssign for $name {
            fn add_assign(&mut self, other: Self) {
                self.0 += other.0;
            }
        }

        impl Mul<f64> for $name {
            type Output = Self;
            fn mul(self, factor: f64) -> Self {
                Self(self.0 * factor)
            }
        }

        impl Sum for $name {
            fn sum<I: Iterator<Item = Self>>(amounts: I) -> Self {
                amounts.fold(Self::ZERO, Add::add)
            }
        }
    };
}

amount! {
    /// Minutes of work.
    Minutes
}
amount! {
    /// Money in the knowledge base's currency.
    Money
}

impl Minutes {
    /// What these minutes cost at `hourly`.
    #[must_use]
    pub fn at_rate(self, hourly: Money) -> Money {
        Money::of(self.0 / 60.0 * hourly.0)
    }
}

impl fmt::Display for Chance {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.0)
    }
}
