//! Numbers as people read them: the only place where a number becomes words.

use crate::knowledge::Knowledge;
use crate::units::{Measure, Minutes, Money, System, Unit};

/// How numbers are shown to this reader.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Figures {
    /// The units of pressures, lengths, temperatures and torques.
    pub system: System,
    /// How chances are shown.
    pub chances: Chances,
    /// ISO 4217.
    pub currency: String,
}

/// How chances are shown.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Chances {
    /// "about 2 in 3".
    #[default]
    Words,
    /// "about 2 in 3 (66.7%)".
    Exact,
}

/// The chances people say, in hundredths of a percent and in words. Our own choice: the counts of ten, the thirds and
/// quarters, and round "1 in n" toward the ends.
const SPOKEN: [(f64, &str); 25] = [
    (0.01, "1 in 100"),
    (0.02, "1 in 50"),
    (1.0 / 30.0, "1 in 30"),
    (0.05, "1 in 20"),
    (1.0 / 15.0, "1 in 15"),
    (0.10, "1 in 10"),
    (0.125, "1 in 8"),
    (1.0 / 6.0, "1 in 6"),
    (0.20, "1 in 5"),
    (0.25, "1 in 4"),
    (0.30, "3 in 10"),
    (1.0 / 3.0, "1 in 3"),
    (0.40, "4 in 10"),
    (0.50, "1 in 2"),
    (0.60, "6 in 10"),
    (2.0 / 3.0, "2 in 3"),
    (0.70, "7 in 10"),
    (0.75, "3 in 4"),
    (0.80, "8 in 10"),
    (0.85, "17 in 20"),
    (0.90, "9 in 10"),
    (0.95, "19 in 20"),
    (29.0 / 30.0, "29 in 30"),
    (0.98, "49 in 50"),
    (0.99, "99 in 100"),
];

/// A spoken chance this near is said without "about".
const NEAR: f64 = 0.005;

impl Figures {
    /// Words for chances, the money of a knowledge base.
    #[must_use]
    pub fn new(knowledge: &Knowledge, system: System) -> Self {
        Self { system, chances: Chances::Words, currency: knowledge.currency.clone() }
    }

    /// "$33": whole units of money.
    #[must_use]
    pub fn money(&self, money: Money) -> String {
        self.with_sign(money.get().round(), 0)
    }

    /// "$12.50", "$45": a price, to the cent where it has any.
    #[must_use]
    pub fn price(&self, money: Money) -> String {
        let cents = (money.get() * 100.0).round();
        self.with_sign(cents / 100.0, if cents % 100.0 == 0.0 { 0 } else { 2 })
    }

    fn with_sign(&self, amount: f64, digits: usize) -> String {
        let minus = if amount < 0.0 { "-" } else { "" };
        let amount = amount.abs();
        match self.currency.as_str() {
            "USD" => format!("{minus}${amount:.digits$}"),
            "EUR" => format!("{minus}€{amount:.digits$}"),
            "GBP" => format!("{minus}£{amount:.digits$}"),
            other => format!("{minus}{other} {amount:.digits$}"),
        }
    }

    /// "$33 and 21 min": money and time belong together.
    #[must_use]
    pub fn cost(&self, money: Money, minutes: Minutes) -> String {
        format!("{} and {}", self.money(money), self.minutes(minutes))
    }

    /// "21 min", "4 h 10 min", "2 h", "less than 1 min".
    #[must_use]
    pub fn minutes(&self, minutes: Minutes) -> String {
        let exact = minutes.get();
        let minus = if exact.round() < 0.0 { "-" } else { "" };
        let whole = exact.round().abs();
        let (hours, rest) = ((whole / 60.0).floor(), whole % 60.0);
        if exact > 0.0 && whole == 0.0 {
            "less than 1 min".to_owned()
        } else if hours == 0.0 {
            format!("{minus}{rest} min")
        } else if rest == 0.0 {
            format!("{minus}{hours} h")
        } else {
            format!("{minus}{hours} h {rest} min")
        }
    }

    /// "about 2 in 3", "9 in 10", "less than 1 in 100"; with [`Chances::Exact`] the percentage after it.
    #[must_use]
    pub fn chance(&self, chance: f64) -> String {
        let spoken = spoken(chance);
        match self.chances {
            Chances::Words => spoken,
            Chances::Exact => format!("{spoken} ({})", self.percent(chance)),
        }
    }

    /// "67%", "0.3%", "99.7%", "less than 0.1%".
    #[must_use]
    pub fn percent(&self, chance: f64) -> String {
        let percent = chance * 100.0;
        if percent > 0.0 && percent < 0.1 {
            "less than 0.1%".to_owned()
        } else if percent > 99.9 && percent < 100.0 {
            "more than 99.9%".to_owned()
        } else {
            format!("{}%", trimmed(percent, 1))
        }
    }

    /// "67%", "under 0.1%", "over 99.9%": a percentage where there is little room.
    #[must_use]
    pub fn percent_short(&self, chance: f64) -> String {
        self.percent(chance).replace("less than", "under").replace("more than", "over")
    }

    /// "172 kPa": a reading in the reader's units.
    #[must_use]
    pub fn measure(&self, measure: Measure) -> String {
        let shown = measure.in_system(self.system);
        let number = if shown.unit == measure.unit { trimmed(shown.value, 3) } else { three_figures(shown.value) };
        format!("{number} {}", symbol(shown.unit))
    }

    /// "13.8 kPa": a difference between two readings in the reader's units. Ten degrees Celsius of warming are eighteen
    /// degrees Fahrenheit, not fifty.
    #[must_use]
    pub fn span(&self, measure: Measure) -> String {
        let unit = measure.unit.in_system(self.system);
        let value = measure.unit.convert_span(measure.value, unit).unwrap_or(measure.value);
        let number = if unit == measure.unit { trimmed(value, 3) } else { three_figures(value) };
        format!("{number} {}", symbol(unit))
    }

    /// "kPa": the unit in which a reading in this unit is shown.
    #[must_use]
    pub fn unit(&self, unit: Unit) -> String {
        symbol(unit.in_system(self.system)).to_owned()
    }

    /// "0.3", "8": a count of things.
    #[must_use]
    pub fn count(&self, count: f64) -> String {
        trimmed(count, 2)
    }
}

/// "25.8 psi (178 kPa)": a measure in the units of both systems, this one's first, to so many figures. A small volume is
/// shown in milliliters and fluid ounces.
#[must_use]
pub fn in_both(measure: Measure, first: System, figures: usize) -> String {
    let in_system = |system| match (measure.unit, system) {
        (Unit::Milliliter | Unit::FlOz | Unit::Teaspoon, System::Us) => Unit::FlOz,
        (unit, system) => unit.in_system(system),
    };
    let second = if first == System::Us { System::Metric } else { System::Us };
    let shown = |unit: Unit| {
        let value = measure.unit.convert(measure.value, unit).unwrap_or(measure.value);
        format!("{} {}", to_figures(value, figures), symbol(unit))
    };
    let (one, other) = (in_system(first), in_system(second));
    if one == other { shown(one) } else { format!("{} ({})", shown(one), shown(other)) }
}

/// "25.8 psi": a measure in its own unit, to so many figures.
#[must_use]
pub fn as_given(measure: Measure, figures: usize) -> String {
    format!("{} {}", to_figures(measure.value, figures), symbol(measure.unit))
}

/// A number to so many figures, no zeros at the end of a fraction.
#[must_use]
pub fn to_figures(value: f64, figures: usize) -> String {
    if value == 0.0 {
        return "0".to_owned();
    }
    #[expect(clippy::cast_possible_truncation, reason = "a number of digits before the point")]
    let before = libm::floor(libm::log10(value.abs())) as i64 + 1;
    let decimals = i64::try_from(figures).unwrap_or(0) - before;
    trimmed(value, usize::try_from(decimals.clamp(0, 12)).unwrap_or(0))
}

/// "+12", "-3", "+0.5": a weight of evidence in decibans. Below three half a deciban is worth saying.
#[must_use]
pub fn decibans(weight: f64) -> String {
    let size = trimmed(weight.abs(), usize::from(weight.abs() < 3.0));
    if weight < 0.0 { format!("-{size}") } else { format!("+{size}") }
}

fn spoken(chance: f64) -> String {
    let (first, last) = (SPOKEN[0].0, SPOKEN[SPOKEN.len() - 1].0);
    if chance < first - NEAR / 10.0 {
        return "less than 1 in 100".to_owned();
    }
    if chance > last + NEAR / 10.0 {
        return "more than 99 in 100".to_owned();
    }
    let near = |&(value, _): &(f64, &str)| (value - chance).abs();
    let (value, words) =
        SPOKEN.into_iter().min_by(|a, b| near(a).total_cmp(&near(b))).expect("the list of spoken chances is not empty");
    // Toward the ends half a percent is much: there "about" is dropped only within a tenth of the value.
    let room = NEAR.min(value.min(1.0 - value) / 10.0);
    if (value - chance).abs() <= room { words.to_owned() } else { format!("about {words}") }
}

/// The symbol of a unit as printed.
pub(super) fn symbol(unit: Unit) -> &'static str {
    match unit {
        Unit::Celsius => "°C",
        Unit::Fahrenheit => "°F",
        other => other.symbol(),
    }
}

/// With so many decimals at most, and no zeros at the end.
fn trimmed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

/// To three figures, which is more than any gauge on the bench gives.
fn three_figures(value: f64) -> String {
    let size = value.abs();
    match size {
        s if s >= 100.0 => trimmed(value, 0),
        s if s >= 10.0 => trimmed(value, 1),
        s if s >= 1.0 => trimmed(value, 2),
        s if s >= 0.1 => trimmed(value, 3),
        _ => trimmed(value, 4),
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    pub(in crate::report) fn figures() -> Figures {
        Figures { system: System::Us, chances: Chances::Words, currency: "USD".to_owned() }
    }

    #[test]
    fn chances_in_words() {
        let cases = [
            (0.0, "less than 1 in 100"),
            (0.004, "less than 1 in 100"),
            (0.01, "1 in 100"),
            (0.012, "about 1 in 100"),
            (0.1, "1 in 10"),
            (0.35, "about 1 in 3"),
            (0.5, "1 in 2"),
            (0.65, "about 2 in 3"),
            (2.0 / 3.0, "2 in 3"),
            (0.9, "9 in 10"),
            (0.93, "about 19 in 20"),
            (0.995, "more than 99 in 100"),
            (1.0, "more than 99 in 100"),
        ];
        for (chance, words) in cases {
            assert_eq!(figures().chance(chance), words, "{chance}");
        }
    }

    #[test]
    fn exact_chances_on_request() {
        let exact = Figures { chances: Chances::Exact, ..figures() };
        assert_eq!(exact.chance(0.65), "about 2 in 3 (65%)");
        assert_eq!(exact.chance(0.0004), "less than 1 in 100 (less than 0.1%)");
        assert_eq!(exact.chance(0.0), "less than 1 in 100 (0%)");
    }

    #[test]
    fn money_and_time_stand_together() {
        let cost = |money, minutes| figures().cost(Money::of(money), Minutes::of(minutes));
        assert_eq!(cost(33.2, 21.0), "$33 and 21 min");
        assert_eq!(cost(310.0, 250.0), "$310 and 4 h 10 min");
        assert_eq!(cost(0.0, 120.0), "$0 and 2 h");
        assert_eq!(cost(-40.0, 0.2), "-$40 and less than 1 min");
        assert_eq!(cost(-0.2, 59.7), "$0 and 1 h");
    }

    #[test]
    fn prices_keep_their_cents() {
        assert_eq!(figures().price(Money::of(12.5)), "$12.50");
        assert_eq!(figures().price(Money::of(45.0)), "$45");
        let francs = Figures { currency: "CHF".to_owned(), ..figures() };
        assert_eq!(francs.price(Money::of(1.999)), "CHF 2");
    }

    #[test]
    fn measures_follow_the_reader() {
        let metric = Figures { system: System::Metric, ..figures() };
        let psi = Measure { value: 25.0, unit: Unit::Psi };
        assert_eq!(figures().measure(psi), "25 psi");
        assert_eq!(metric.measure(psi), "172 kPa");
        assert_eq!(metric.span(Measure { value: 2.0, unit: Unit::Psi }), "13.8 kPa");
        assert_eq!(metric.span(Measure { value: 18.0, unit: Unit::Fahrenheit }), "10 °C");
        assert_eq!(metric.measure(Measure { value: 1.125, unit: Unit::Turn }), "1.125 turns");
    }
}
