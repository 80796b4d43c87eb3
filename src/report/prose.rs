//! Quantities in sentences: the knowledge base writes each in one unit, readers have two systems.

use super::figures::{symbol, to_figures};
use super::{Block, Document, Rich, Span};
use crate::units::{System, Unit};

/// The units that sentences are written in, the longer names first.
const UNITS: [(&str, Unit); 9] = [
    ("N·m", Unit::NewtonMeter),
    ("inHg", Unit::InHg),
    ("psi", Unit::Psi),
    ("kPa", Unit::Kpa),
    ("°C", Unit::Celsius),
    ("°F", Unit::Fahrenheit),
    ("mm", Unit::Millimeter),
    ("ft", Unit::Foot),
    ("m", Unit::Meter),
];

/// What may stand between the two ends of a range.
const BETWEEN: [&str; 4] = ["-", "\u{2013}", " to ", " or "];

/// Below this a torque is given in pound-force inches: that is what the wrench for it is marked in.
const SMALL_TORQUE_LBF_FT: f64 = 12.0;

/// A sentence in which each pressure, length, temperature and torque that is not in the reader's units stands in those as
/// well: "20-28 N·m" becomes "20-28 N·m (15-21 lbf ft)". What says both already, and a size that names a thread, stays.
#[must_use]
pub fn with_units(text: &str, system: System) -> String {
    let mut told = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(at) = rest.find(|c: char| c.is_ascii_digit()) {
        let (before, from) = rest.split_at(at);
        told.push_str(before);
        // "M8" and "1.4.2" are names.
        let is_name = told.ends_with(|c: char| c.is_alphanumeric() || matches!(c, '.' | '/' | '-' | ','));
        let found = quantity(from).filter(|_| !is_name);
        let digits = from.find(|c: char| !c.is_ascii_digit()).unwrap_or(from.len());
        let length = found.as_ref().map_or(digits, |(length, ..)| *length);
        told.push_str(&from[..length]);
        rest = &from[length..];
        if let Some((_, values, unit)) = found
            && !is_told(rest)
        {
            told.extend(in_system(&values, unit, system));
        }
    }
    told.push_str(rest);
    told
}

/// The number or the two numbers that a text begins with, their unit, and how long all that is.
fn quantity(text: &str) -> Option<(usize, Vec<(f64, &str)>, Unit)> {
    let (first, mut rest) = number(text)?;
    let mut values = vec![first];
    for between in BETWEEN {
        if let Some((second, after)) = rest.strip_prefix(between).and_then(number) {
            values.push((second.0, between));
            rest = after;
            break;
        }
    }
    let rest = rest.strip_prefix(' ').unwrap_or(rest);
    let (name, unit) = UNITS.into_iter().find(|(name, _)| rest.starts_with(name))?;
    let after = &rest[name.len()..];
    // "3 min" is no length, "psi/min" no pressure.
    let ends = !after.starts_with(|c: char| c.is_alphanumeric() || matches!(c, '/' | '·' | '²'));
    ends.then(|| (text.len() - after.len(), values, unit))
}

/// The number that a text begins with, and what follows.
fn number(text: &str) -> Option<((f64, &str), &str)> {
    let digits = |text: &str| text.find(|c: char| !c.is_ascii_digit()).unwrap_or(text.len());
    let whole = digits(text);
    let length = match text[whole..].strip_prefix('.').map(digits) {
        Some(decimals) if decimals > 0 => whole + 1 + decimals,
        _ => whole,
    };
    let (number, rest) = text.split_at(length);
    Some(((number.parse().ok()?, ""), rest))
}

/// Whether what follows a quantity tells it in the other system already, or makes a name of it.
fn is_told(after: &str) -> bool {
    let after = after.trim_start_matches(' ');
    after.strip_prefix('(').is_some_and(|inside| inside.starts_with(|c: char| c.is_ascii_digit()))
        || after.starts_with("thread")
}

/// " (15-21 lbf ft)"; nothing where the unit is one of the reader's.
fn in_system(values: &[(f64, &str)], unit: Unit, system: System) -> Option<String> {
    let mut other = unit.in_system(system);
    if other == unit {
        return None;
    }
    let get = |value: f64, other: Unit| unit.convert(value, other);
    let largest = values.iter().map(|(value, _)| *value).fold(0.0, f64::max);
    if other == Unit::LbfFoot && get(largest, other)? < SMALL_TORQUE_LBF_FT {
        other = Unit::LbfInch;
    }
    let mut told = String::new();
    for &(value, between) in values {
        let number = rounded(get(value, other)?, other);
        if !between.is_empty() {
            // Two ends that come out the same are one.
            if told == number {
                break;
            }
            told.push_str(between);
        }
        told.push_str(&number);
    }
    Some(format!(" ({told} {})", symbol(other)))
}

/// As exact as such a figure is meant: whole degrees and feet, otherwise two figures, more where the number is large.
fn rounded(value: f64, unit: Unit) -> String {
    let whole = matches!(unit, Unit::Celsius | Unit::Fahrenheit) || unit == Unit::Foot && value >= 3.0;
    if whole || value.abs() >= 100.0 { format!("{value:.0}") } else { to_figures(value, 2) }
}

impl Rich {
    fn map_words(&mut self, each: &impl Fn(&str) -> String) {
        let said = self.spans().iter().cloned().map(|span| match span {
            Span::Plain(text) => Span::Plain(each(&text)),
            Span::Strong(text) => Span::Strong(each(&text)),
            other => other,
        });
        *self = said.collect();
    }
}

impl Document {
    /// The same for a reader of this system: see [`with_units`].
    #[must_use]
    pub fn in_units(mut self, system: System) -> Self {
        self.blocks.iter_mut().for_each(|block| block.tell_units(system));
        self
    }
}

impl Block {
    /// The same for one block. Tables, bars and what is drawn hold figures, which are in the reader's units already.
    pub fn tell_units(&mut self, system: System) {
        let each = |text: &str| with_units(text, system);
        match self {
            Self::Paragraph(words) | Self::Aside(words) => words.map_words(&each),
            Self::Bullets(items) => items.iter_mut().for_each(|item| item.map_words(&each)),
            Self::Steps(steps) => {
                for step in steps {
                    step.what.map_words(&each);
                    step.notes.iter_mut().for_each(|note| note.map_words(&each));
                    let notes = step.blanks.iter_mut().filter_map(|blank| blank.note.as_mut());
                    notes.for_each(|note| note.map_words(&each));
                }
            }
            Self::Caution(caution) => {
                let lists = [&mut caution.controls, &mut caution.never];
                lists.into_iter().flatten().for_each(|item| item.map_words(&each));
                let single = [&mut caution.harm, &mut caution.tick];
                single.into_iter().flatten().for_each(|item| item.map_words(&each));
            }
            Self::Choices(choices) => choices.iter_mut().for_each(|choice| choice.says.map_words(&each)),
            Self::Title(_)
            | Self::Heading(..)
            | Self::Pairs(_)
            | Self::Table(_)
            | Self::Blanks(_)
            | Self::Bars(_)
            | Self::Moves(_)
            | Self::Tree(_)
            | Self::Line(..)
            | Self::Rule
            | Self::Verbatim(_) => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The factors are those of NIST SP 811, appendix B: 1 lbf ft is 1.355 818 N m, 1 psi 6.894 757 kPa.
    #[test]
    fn a_reader_of_the_other_system_is_told_in_his_own() {
        let us = |text: &str| with_units(text, System::Us);
        let metric = |text: &str| with_units(text, System::Metric);
        assert_eq!(us("Tighten to 20-28 N·m, in stages."), "Tighten to 20-28 N·m (15-21 lbf ft), in stages.");
        assert_eq!(us("Screws 1.5-2 N·m."), "Screws 1.5-2 N·m (13-18 lbf in).");
        assert_eq!(us("below 50 °C"), "below 50 °C (122 °F)");
        assert_eq!(us("about 0.2 to 0.4 mm new"), "about 0.2 to 0.4 mm (0.0079 to 0.016 in) new");
        assert_eq!(us("carry it 3 m away"), "carry it 3 m (10 ft) away");
        assert_eq!(metric("never above 7 psi"), "never above 7 psi (48 kPa)");
        assert_eq!(metric("120 to 150 psi new"), "120 to 150 psi (827 to 1034 kPa) new");
        assert_eq!(metric("5 inHg of suction"), "5 inHg (17 kPa) of suction");
    }

    #[test]
    fn what_is_plain_to_the_reader_stays_as_it_is() {
        for (text, system) in [
            ("never above 7 psi", System::Us),
            ("below 50 °C", System::Metric),
            ("carry it 3 m (10 ft) away", System::Us),
            ("built to hold 20 kPa (2.9 psi)", System::Us),
            ("18 on a 14 mm thread", System::Us),
            ("tighten the M8 bolts, wait 5 min", System::Us),
            ("twice in a row, 2 men, 40 CFR 261.21", System::Us),
            ("falls 2 psi/min", System::Metric),
        ] {
            assert_eq!(with_units(text, system), text);
        }
    }

    #[test]
    fn told_twice_is_told_once() {
        for system in [System::Us, System::Metric] {
            let text = "20-28 N·m, 5 psi, 50 °C, under 0.3 mm, within 3 m";
            let once = with_units(text, system);
            assert_eq!(with_units(&once, system), once);
        }
    }
}
