//! A job as the text of its case file.

use super::FORMAT;
use crate::case::{Answer, Case, Entry, Event, Position, Presence};
use crate::knowledge::layout::Laid;
use crate::knowledge::{Check, Ix, Knowledge, Repair};
use crate::units::{Measure, is_printable};
use std::fmt::Write as _;

/// Writes a case as text that [`read`](super::read) reads back to the same case.
#[must_use]
pub fn write(case: &Case, knowledge: &Knowledge) -> String {
    let laid = Laid::new(knowledge, case.craft.clone());
    let mut text = format!("format: {FORMAT}\n");
    let _ = writeln!(text, "knowledge: {{id: {}, version: {}}}", scalar(&knowledge.id), scalar(&knowledge.version));
    if let Some(title) = &case.title {
        let _ = writeln!(text, "title: {}", scalar(title));
    }
    let options =
        knowledge.options.ids().zip(&case.craft.options).map(|(id, fitted)| format!("{}: {fitted}", scalar(id)));
    let options = options.collect::<Vec<_>>().join(", ");
    let layout = scalar(knowledge.layouts.id(case.craft.layout));
    let _ = writeln!(text, "craft: {{layout: {layout}, options: {{{options}}}}}");
    if case.altitude_m != 0.0 {
        let _ = writeln!(text, "altitude: {} m", case.altitude_m);
    }
    let _ = writeln!(text, "user: {}", scalar(knowledge.users.id(case.user)));
    if let Some(tools) = &case.tools {
        let tools: Vec<String> = tools.iter().map(|t| scalar(t)).collect();
        let _ = writeln!(text, "tools: [{}]", tools.join(", "));
    }
    write_map(&mut text, "sheet", case.sheet.iter().map(|(key, measure)| (key.as_str(), scalar(&measure.to_string()))));
    write_map(
        &mut text,
        "history",
        case.history
            .iter()
            .map(|(fact, value)| (knowledge.history.id(*fact), scalar(&knowledge.history[*fact].values[*value].id))),
    );
    if let Some(next) = case.history_next {
        let _ = writeln!(text, "history_next: {}", scalar(knowledge.history.id(next)));
    }
    let symptoms: Vec<String> = case.symptoms.iter().map(|s| scalar(knowledge.symptoms.id(*s))).collect();
    let _ = writeln!(text, "symptoms: [{}]", symptoms.join(", "));
    if !case.log.is_empty() {
        text.push_str("log:\n");
    }
    for entry in &case.log {
        let _ = writeln!(text, "  - {{{}}}", entry_text(&laid, entry));
    }
    text
}

pub(super) fn write_map<'a>(text: &mut String, key: &str, pairs: impl ExactSizeIterator<Item = (&'a str, String)>) {
    if pairs.len() == 0 {
        return;
    }
    let _ = writeln!(text, "{key}:");
    for (key, value) in pairs {
        let _ = writeln!(text, "  {}: {value}", scalar(key));
    }
}

pub(super) fn entry_text(laid: &Laid<'_>, entry: &Entry) -> String {
    let at = entry.at.map(|at| format!("at: {at}, ")).unwrap_or_default();
    at + &event_text(laid, &entry.event)
}

/// What happened, as the inside of one line of a log.
pub(super) fn event_text(laid: &Laid<'_>, event: &Event) -> String {
    let knowledge = laid.knowledge;
    match event {
        Event::Answer { check, place, answer, aired_min } => {
            let id = knowledge.checks.id(*check);
            let item = &knowledge.checks[*check];
            let label = place.map_or_else(|| id.to_owned(), |at| laid.label(id, item.scope, at));
            let aired = aired_min.map(|m| format!(", aired: {m} min")).unwrap_or_default();
            format!("check: {label}, {}{aired}", answer_text(item, *answer))
        }
        Event::Access { access, now } => {
            let now = match now {
                Position::Open => "open",
                Position::Shut => "shut",
            };
            format!("access: {}, now: {now}", knowledge.access.id(*access))
        }
        Event::Repaired { repair, places } => format!("repair: {}", repair_label(laid, *repair, places)),
        Event::Left { repair, places } => format!("left: {}", repair_label(laid, *repair, places)),
        Event::Tried { symptom, now } => {
            format!("symptom: {}, present: {}", knowledge.symptoms.id(*symptom), *now == Presence::Present)
        }
        Event::Found { cause, now } => {
            let label = laid.label(knowledge.causes.id(cause.item), knowledge.causes[cause.item].scope, cause.at);
            format!("found: {label}, present: {}", *now == Presence::Present)
        }
        Event::Ticked(tick) => format!("tick: {}", knowledge.ticks.id(*tick)),
        Event::Set { setting, value } => {
            let scope = knowledge.settings[setting.item].scope;
            let label = laid.label(knowledge.settings.id(setting.item), scope, setting.at);
            format!("set: {label}, value: {}", scalar(value))
        }
        Event::Emergency { lock, now } => {
            format!("emergency: {}, present: {}", knowledge.interlocks.id(*lock), *now == Presence::Present)
        }
    }
}

/// A repair as written: without a place where it is done on all.
fn repair_label(laid: &Laid<'_>, repair: Ix<Repair>, places: &[usize]) -> String {
    let id = laid.knowledge.repairs.id(repair);
    let scope = laid.knowledge.repairs[repair].scope;
    if places.len() == laid.places(scope) {
        return id.to_owned();
    }
    let names: Vec<&str> = places.iter().filter_map(|at| laid.place_name(scope, *at)).collect();
    format!("{id}@{}", names.join("+"))
}

pub(super) fn answer_text(check: &Check, answer: Answer) -> String {
    match (answer, &check.reading) {
        (Answer::Outcome(at), _) => format!("outcome: {}", scalar(&check.outcomes[at].id)),
        (Answer::Reading(value), Some(reading)) => {
            format!("reading: {}", scalar(&Measure { value, unit: reading.unit }.to_string()))
        }
        (Answer::Reading(_), None) | (Answer::Unknown, _) => "unknown: true".to_owned(),
        (Answer::CouldNot, _) => "could_not: true".to_owned(),
    }
}

/// Words that YAML, in one version or another, takes for something else than text.
pub(super) const WORDS: [&str; 9] = ["true", "false", "null", "yes", "no", "on", "off", "y", "n"];

/// Whether YAML takes a text for a number that is written in another way: `1.0`, `1e3`, `017`, `0x1F`.
pub(super) fn reads_as_other_number(text: &str) -> bool {
    let digits = text.strip_prefix('-').unwrap_or(text);
    if !digits.starts_with(|c: char| c.is_ascii_digit()) {
        return false;
    }
    if let Ok(number) = text.parse::<f64>() {
        // A negative zero loses its sign.
        return number.to_string() != text || text == "-0";
    }
    let based = digits.starts_with('0') && digits[1..].starts_with(|c: char| c.is_ascii_alphabetic());
    based || digits.contains('_')
}

/// A text as YAML: plain where it reads back as itself, else in double quotes.
pub(super) fn scalar(text: &str) -> String {
    let mut chars = text.chars();
    let first = chars.next();
    let starts_plain = first.is_some_and(|c| c.is_ascii_alphanumeric())
        || (first == Some('-') && chars.next().is_some_and(|c| c.is_ascii_digit()));
    let stays_plain = text.chars().all(|c| c.is_ascii_alphanumeric() || " _./%+@-".contains(c));
    let is_word = !WORDS.contains(&text.to_lowercase().as_str());
    if starts_plain && stays_plain && !text.ends_with(' ') && is_word && !reads_as_other_number(text) {
        return text.to_owned();
    }
    let mut quoted = String::from("\"");
    for c in text.chars() {
        match c {
            '"' | '\\' => quoted.extend(['\\', c]),
            '\n' => quoted.push_str("\\n"),
            '\t' => quoted.push_str("\\t"),
            // YAML counts more than controls as unprintable, and folds lines at these.
            c if !is_printable(c) || matches!(c, '\u{2028}' | '\u{2029}' | '\u{feff}' | '\u{fffe}' | '\u{ffff}') => {
                let _ = write!(quoted, "\\u{:04X}", u32::from(c));
            }
            c => quoted.push(c),
        }
    }
    quoted.push('"');
    quoted
}
