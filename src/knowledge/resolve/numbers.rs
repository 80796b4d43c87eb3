//! Numbers: each is checked for its range where it stands, and replaced by a harmless one where it fails.

use super::super::codes;
use super::super::raw::{RawAbility, RawBasis, RawFit, RawFitted, RawNumber, RawScope, RawTurns, Sp};
use super::super::{Ability, Basis, Fitted, Scope, Turns};
use super::context::Item;
use super::names::Names;
use crate::knowledge::raw::Location;
use crate::units::{Chance, Measure, Minutes, Money, Quantity, Unit};

/// How far a sum may be from the whole.
pub(super) const SUM_ERROR: f64 = 1e-9;

/// The most minutes of one piece of work or wait, about seventy days, and the most money of one price. What is dearer is a slip
/// of the pen, or a way to say "never", which an interlock says better; sums of them stay exact enough to compare.
const MOST_MINUTES: f64 = 1e5;
const MOST_MONEY: f64 = 1e7;
/// The most minutes of airing: no case file tells of more before one sniff.
const MOST_AIRING: f64 = 1440.0;

/// A number as a message carries it: one with hundreds of digits is written by its power of ten.
pub(super) fn shown(value: f64) -> String {
    if value.abs() < 1e15 { value.to_string() } else { format!("{value:e}") }
}

impl Item<'_> {
    /// A finite number.
    pub(super) fn finite(&self, number: &RawNumber, key: &str) -> Option<f64> {
        if number.value.is_finite() {
            return Some(number.value);
        }
        self.error(codes::NOT_FINITE, number.at, key, format!("expected a finite number, found `{}`", number.value));
        None
    }

    /// A probability.
    pub(super) fn chance(&self, number: &RawNumber, key: &str) -> Chance {
        let Some(value) = self.finite(number, key) else { return Chance::NEVER };
        Chance::new(value).unwrap_or_else(|| {
            let draft = self.error(
                codes::NOT_A_CHANCE,
                number.at,
                key,
                format!("expected a probability in 0..=1, found `{}`", shown(value)),
            );
            if (1.0..=100.0).contains(&value) {
                drop(draft.hint(format!("{value} percent is `{}`", value / 100.0)));
            }
            Chance::NEVER
        })
    }

    /// A number, zero or more.
    pub(super) fn amount(&self, number: &RawNumber, key: &str, what: &str) -> f64 {
        let Some(value) = self.finite(number, key) else { return 0.0 };
        if value < 0.0 {
            let message = format!("expected {what}, zero or more, found `{}`", shown(value));
            self.error(codes::NEGATIVE, number.at, key, message);
            return 0.0;
        }
        value
    }

    /// An amount of which there is not more than `most`.
    fn at_most(&self, number: &RawNumber, key: &str, what: &str, most: f64) -> f64 {
        let value = self.amount(number, key, what);
        if value <= most {
            return value;
        }
        self.error(
            codes::OUT_OF_RANGE,
            number.at,
            key,
            format!("expected {what}, {most} at most, found `{}`", shown(value)),
        );
        0.0
    }

    /// Minutes.
    pub(super) fn minutes(&self, number: &RawNumber, key: &str) -> Minutes {
        Minutes::of(self.at_most(number, key, "minutes", MOST_MINUTES))
    }

    /// Minutes of airing before a sniff.
    pub(super) fn airing(&self, number: &RawNumber, key: &str) -> Minutes {
        Minutes::of(self.at_most(number, key, "minutes of airing", MOST_AIRING))
    }

    /// Money.
    pub(super) fn money(&self, number: &RawNumber, key: &str) -> Money {
        Money::of(self.at_most(number, key, "an amount of money", MOST_MONEY))
    }

    /// A number in a range, ends included.
    pub(super) fn within(&self, number: &RawNumber, key: &str, least: f64, most: f64) -> f64 {
        let Some(value) = self.finite(number, key) else { return least };
        if (least..=most).contains(&value) {
            return value;
        }
        let range = if most >= f64::MAX { format!("at least {least}") } else { format!("{least} to {most}") };
        self.error(codes::OUT_OF_RANGE, number.at, key, format!("expected {range}, found `{}`", shown(value)));
        least
    }

    /// A multiplier of odds.
    pub(super) fn multiplier(&self, number: &RawNumber, key: &str) -> f64 {
        self.amount(number, key, "a multiplier of the odds")
    }

    /// A skill, 1 to 4.
    pub(super) fn skill(&self, skill: &Sp<u32>, key: &str) -> u8 {
        let known = u8::try_from(skill.value).ok().filter(|skill| (1..=4).contains(skill));
        known.unwrap_or_else(|| {
            let message = format!(
                "expected a skill of 1 (owner), 2 (trainee), 3 (bench) or 4 (specialist), found `{}`",
                skill.value
            );
            self.error(codes::OUT_OF_RANGE, skill.at, key, message);
            1
        })
    }

    /// Says that parts do not sum to the whole.
    pub(super) fn sum(&self, at: Location, key: &str, what: &str, sum: f64, whole: f64) {
        if (sum - whole).abs() > SUM_ERROR * whole && sum.is_finite() {
            // Rounded, so that 0.1 + 0.2 does not print as 0.30000000000000004.
            let shown = (sum * 1e9).round() / 1e9;
            self.error(codes::SUM, at, key, format!("expected {what} that sum to {whole}, found a sum of `{shown}`"));
        }
    }

    /// A basis.
    pub(super) fn basis(&self, names: &Names, basis: &Sp<RawBasis>) -> Basis {
        self.basis_at(names, basis, "basis")
    }

    /// A basis under another key.
    pub(super) fn basis_at(&self, names: &Names, basis: &Sp<RawBasis>, key: &str) -> Basis {
        match &basis.value {
            RawBasis::CommonPractice => Basis::CommonPractice,
            RawBasis::Estimate => Basis::Estimate,
            RawBasis::Published(id) => {
                let source = self.find(&names.sources, id, &format!("{key}.published"));
                source.map_or(Basis::Estimate, |source| {
                    self.cite(source);
                    Basis::Published(source)
                })
            }
        }
    }

    /// What `fitted` asks.
    pub(super) fn fitted(&self, names: &Names, fitted: &RawFitted, key: &str) -> Fitted {
        let mut asks = Fitted::default();
        for (id, fit) in fitted {
            let key = format!("{key}.{}", id.value);
            match (id.value.as_str(), &fit.value) {
                ("cylinders", RawFit::Count(n)) => asks.cylinders = usize::try_from(*n).ok(),
                ("layout", RawFit::Layouts(layouts)) => {
                    for layout in layouts {
                        let layout = Sp { value: layout.clone(), at: fit.at };
                        asks.layouts.extend(self.find(&names.layouts, &layout, &key));
                    }
                }
                ("cylinders", _) => {
                    self.error(codes::FITTED, fit.at, &key, "expected a number of cylinders");
                }
                ("layout", _) => {
                    self.error(codes::FITTED, fit.at, &key, "expected a list of layouts");
                }
                (_, RawFit::Option(fitted)) => {
                    asks.options.extend(self.find(&names.options, id, &key).map(|o| (o, *fitted)));
                }
                _ => {
                    self.error(
                        codes::FITTED,
                        fit.at,
                        &key,
                        format!("expected `true` or `false` for option `{}`", id.value),
                    );
                }
            }
        }
        asks
    }

    /// A unit of a quantity, both by their words.
    pub(super) fn unit(&self, quantity: &Sp<String>, unit: &Sp<String>, key: &str) -> Unit {
        let known = Quantity::parse(&quantity.value);
        if known.is_none() {
            let words = Quantity::ALL.map(Quantity::word).join(", ");
            drop(
                self.error(
                    codes::UNKNOWN_UNIT,
                    quantity.at,
                    &format!("{key}.quantity"),
                    format!("quantity `{}` is not known", quantity.value),
                )
                .hint(format!("known quantities: {words}")),
            );
        }
        let key = format!("{key}.unit");
        match (Unit::parse(&unit.value), known) {
            (Ok(found), Some(expected)) if found.quantity() != expected => {
                let error = crate::units::UnitError::WrongQuantity { expected, found };
                self.error(codes::WRONG_QUANTITY, unit.at, &key, error.to_string());
                found
            }
            (Ok(found), _) => found,
            (Err(error), known) => {
                let draft = self.error(codes::UNKNOWN_UNIT, unit.at, &key, error.to_string());
                if let Some(known) = known {
                    drop(draft.hint(format!("units of {known}: {}", known.unit_list())));
                }
                Unit::Percent
            }
        }
    }

    /// A written measure, in a check's unit. `span`: a difference, which has no zero.
    pub(super) fn measure(&self, text: &Sp<String>, unit: Unit, key: &str, kind: MeasureKind) -> Option<f64> {
        match Measure::parse_as(&text.value, unit.quantity()) {
            Ok(measure) => match kind {
                MeasureKind::Level => measure.get(unit),
                MeasureKind::Span => measure.unit.convert_span(measure.value, unit),
            },
            Err(error) => {
                let code = match error {
                    crate::units::UnitError::WrongQuantity { .. } => codes::WRONG_QUANTITY,
                    _ => codes::UNKNOWN_UNIT,
                };
                self.error(code, text.at, key, error.to_string());
                None
            }
        }
    }
}

/// What a written measure says.
#[derive(Clone, Copy)]
pub(super) enum MeasureKind {
    /// A level.
    Level,
    /// A difference of two levels.
    Span,
}

/// A scope.
pub(super) fn scope(per: Option<RawScope>) -> Scope {
    match per {
        None => Scope::Craft,
        Some(RawScope::Cylinder) => Scope::Cylinder,
        Some(RawScope::Carburetor) => Scope::Carburetor,
        Some(RawScope::Pump) => Scope::Pump,
    }
}

/// Abilities.
pub(super) fn abilities(raw: &[Sp<RawAbility>]) -> Vec<Ability> {
    raw.iter()
        .map(|ability| match ability.value {
            RawAbility::Cranks => Ability::Cranks,
            RawAbility::Starts => Ability::Starts,
            RawAbility::Runs => Ability::Runs,
            RawAbility::ReachesLoad => Ability::ReachesLoad,
        })
        .collect()
}

/// How an action turns the engine.
pub(super) fn turns(raw: RawTurns) -> Turns {
    match raw {
        RawTurns::Starter => Turns::Starter,
        RawTurns::Hand => Turns::Hand,
        RawTurns::None => Turns::Not,
    }
}

/// Words for the screen where none are given: the id with spaces.
pub(super) fn words(id: &str) -> String {
    id.replace('-', " ")
}
