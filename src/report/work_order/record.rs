//! The record sheet: settings as found, photographs to take, and what is printed back when it goes together again.

use crate::knowledge::Phase;
use crate::plan::{Plan, SettingLine, StageKind, Step as PlanStep};
use crate::report::figures::as_given;
use crate::report::{Blank, Block, Document, Figures, Mark, Rich, Step};
use crate::units::{Measure, Unit};

/// What a setting is counted in when it is a photograph.
const PHOTO: &str = "photo";
/// What is written down of a setting that could not be told.
pub const NOT_KNOWN: &str = "not known";

/// The settings written down before they are disturbed.
pub struct Record<'a> {
    /// One setting at all its places, with the step that asks for it and the step that sets it again.
    lines: Vec<Line<'a>>,
}

struct Line<'a> {
    settings: Vec<&'a SettingLine>,
    asked_at: usize,
    set_at: Option<usize>,
}

impl<'a> Record<'a> {
    /// What is asked for up to the judging of parts, for then nothing is as it was found any more.
    pub fn of(plan: &'a Plan) -> Self {
        let mut lines: Vec<Line<'a>> = Vec::new();
        let mut number = 0;
        for stage in &plan.stages {
            for section in &stage.sections {
                for step in &section.steps {
                    number += 1;
                    if !matches!(stage.kind, StageKind::Run | StageKind::HandOver) && section.phase <= Phase::Judge {
                        note(&mut lines, step, number);
                    }
                    for line in &mut lines {
                        let sets =
                            step.set.iter().any(|set| line.settings.iter().any(|s| s.setting.id == set.setting.id));
                        line.set_at = line.set_at.or(sets.then_some(number));
                    }
                }
            }
        }
        Self { lines }
    }

    /// The sheet; nothing where nothing is disturbed.
    pub fn sheet(&self, figures: &Figures, doc: &mut Document) {
        if self.lines.is_empty() {
            return;
        }
        doc.section("Record as found");
        doc.paragraph(
            "Write it down before it is disturbed. What is not known is written as not known, never left blank. In \
             brackets: the step that asks for it, and the step that sets it back.",
        );
        let (photos, rest): (Vec<&Line<'_>>, Vec<_>) = self.lines.iter().partition(|line| line.is_photo());
        let blank = |line: &&Line<'_>| Blank { note: Some(line.steps().into()), ..filled(&line.settings, figures) };
        if !rest.is_empty() {
            doc.push(Block::Blanks(rest.iter().map(blank).collect()));
        }
        if !photos.is_empty() {
            doc.part("Photographs to take");
        }
        for photo in photos {
            doc.step(Step { mark: Mark::Box, what: photo.shot(), ..Step::default() });
        }
    }

    /// What a step writes down and sets: notes, and blanks for what is not on the sheet.
    pub fn of_step(&self, step: &PlanStep, figures: &Figures) -> (Vec<Rich>, Vec<Blank>) {
        let (mut notes, mut blanks): (Vec<Rich>, Vec<Blank>) = (Vec::new(), Vec::new());
        let (on_sheet, own): (Vec<_>, Vec<_>) = grouped(&step.record).into_iter().partition(|lines| self.has(lines[0]));
        if !on_sheet.is_empty() {
            let names: Vec<String> = on_sheet.iter().map(|lines| short(&lines[0].setting.words)).collect();
            notes.push(Rich::strong("Record: ").and(&names.join("; ")).and("."));
        }
        blanks.extend(own.iter().map(|lines| filled(lines, figures)));
        blanks.extend(grouped(&step.anew).iter().map(|lines| made_anew(lines, figures)));
        // What is on no line of the log yet stands on the sheet by then: those of one step together.
        let mut on_paper: Vec<(usize, Vec<String>)> = Vec::new();
        for lines in grouped(&step.set) {
            let Some(line) = self.lines.iter().find(|line| line.holds(lines[0])) else {
                blanks.push(to_set(&lines, figures));
                continue;
            };
            if lines.iter().any(|line| told(line)) {
                notes.push(set_again(&lines, figures));
                continue;
            }
            if lines.iter().any(|line| line.value.is_some()) {
                notes.push(format!("Not known as found: {}.", or_usual(&lines)).into());
                continue;
            }
            match on_paper.iter_mut().find(|(at, _)| *at == line.asked_at) {
                Some((_, names)) => names.push(or_usual(&lines)),
                None => on_paper.push((line.asked_at, vec![or_usual(&lines)])),
            }
        }
        notes.extend(
            on_paper.into_iter().map(|(at, names)| format!("As recorded at {at}: {}.", names.join("; ")).into()),
        );
        (notes, blanks)
    }

    fn has(&self, setting: &SettingLine) -> bool {
        self.lines.iter().any(|line| line.holds(setting))
    }
}

impl Line<'_> {
    fn holds(&self, setting: &SettingLine) -> bool {
        self.settings.iter().any(|known| known.setting.id == setting.setting.id)
    }

    fn is_photo(&self) -> bool {
        self.settings[0].unit == PHOTO
    }

    fn steps(&self) -> String {
        let back = self.set_at.map(|at| format!(", back at {at}")).unwrap_or_default();
        format!("{}{back}", self.asked_at)
    }

    /// A photograph, with its places and what is known of it.
    fn shot(&self) -> Rich {
        let places: Vec<&str> = self.settings.iter().filter_map(|line| line.place.as_deref()).collect();
        let places = if places.is_empty() { String::new() } else { format!(": {}", places.join(", ")) };
        let shot = Rich::plain(&self.settings[0].setting.words).and(&places);
        let known: Vec<&str> = self.settings.iter().filter_map(|line| line.value.as_deref()).collect();
        let shot = if known.is_empty() { shot } else { shot.and(". ").and_strong(&known.join(", ")) };
        shot.and(&format!(" ({})", self.steps()))
    }
}

/// Adds what a step writes down.
fn note<'a>(lines: &mut Vec<Line<'a>>, step: &'a PlanStep, number: usize) {
    for settings in grouped(&step.record) {
        lines.push(Line { settings, asked_at: number, set_at: None });
    }
}

/// The lines of one setting at all its places together.
fn grouped(lines: &[SettingLine]) -> Vec<Vec<&SettingLine>> {
    let mut together: Vec<Vec<&SettingLine>> = Vec::new();
    for line in lines {
        match together.iter_mut().find(|lines| lines[0].setting.words == line.setting.words) {
            Some(lines) => lines.push(line),
            None => together.push(vec![line]),
        }
    }
    together
}

/// Whether what was found is on record, and not that it could not be told.
fn told(line: &SettingLine) -> bool {
    line.value.as_deref().is_some_and(|value| value.trim() != NOT_KNOWN)
}

/// "Low-speed screw" of "Low-speed screw, turns out from a light seat".
fn short(words: &str) -> String {
    words.split(',').next().unwrap_or(words).to_owned()
}

/// What is set to the record, and to what where nothing could be written down.
fn or_usual(lines: &[&SettingLine]) -> String {
    let name = short(&lines[0].setting.words);
    lines[0].generic.as_ref().map_or_else(|| name.clone(), |usual| format!("{name} (without a record: {usual})"))
}

/// What is set back to what was found.
fn set_again(lines: &[&SettingLine], figures: &Figures) -> Rich {
    let name = short(&lines[0].setting.words);
    let known = lines.iter().all(|line| told(line));
    let counted = !matches!(lines[0].unit.as_str(), "text" | PHOTO);
    if known && counted {
        let mut first = name.chars();
        let name: String =
            first.next().map(|c| c.to_lowercase().collect::<String>()).unwrap_or_default() + first.as_str();
        let at = |line: &&SettingLine| {
            let place = line.place.as_ref().map(|place| format!(" ({place})")).unwrap_or_default();
            format!("{}{place}", value(line, figures).unwrap_or_default())
        };
        let values: Vec<String> = lines.iter().map(at).collect();
        return Rich::plain(&format!("Set the {name} back to ")).and_strong(&values.join(", ")).and(", as found.");
    }
    let blank = filled(lines, figures);
    let said = blank.values.iter().map(Rich::text).collect::<Vec<_>>().join(", ");
    Rich::plain(&format!("As found: {name}: ")).and_strong(&said).and(".")
}

/// A setting that is made by the sheet because what was found is the fault, or of a part that is gone. What was found stands
/// beside it, never as what to set.
fn made_anew(lines: &[&SettingLine], figures: &Figures) -> Blank {
    let usual = lines[0].generic.as_ref().map(|usual| format!("; usual: {usual}")).unwrap_or_default();
    let found: Vec<String> = lines.iter().filter(|line| told(line)).filter_map(|line| value(line, figures)).collect();
    let found = if found.is_empty() { String::new() } else { format!("; found: {}", found.join(", ")) };
    let empty: Vec<SettingLine> = lines.iter().map(|line| SettingLine { value: None, ..(*line).clone() }).collect();
    let empty: Vec<&SettingLine> = empty.iter().collect();
    Blank { note: Some(format!("by the sheet{usual}{found}").into()), ..filled(&empty, figures) }
}

/// A setting that was not found but is made, with what is usual.
fn to_set(lines: &[&SettingLine], figures: &Figures) -> Blank {
    let known = lines.iter().all(|line| line.value.is_some());
    let note = lines[0].generic.as_ref().filter(|_| !known).map(|usual| format!("usual: {usual}").into());
    Blank { note, ..filled(lines, figures) }
}

fn filled(lines: &[&SettingLine], figures: &Figures) -> Blank {
    let values: Vec<String> = lines.iter().map(|line| value(line, figures).unwrap_or_default()).collect();
    let places: Vec<_> = lines
        .iter()
        .zip(&values)
        .map(|(line, v)| (line.place.as_deref(), Some(v.as_str()).filter(|v| !v.is_empty())))
        .collect();
    let unit = unit_words(lines[0], figures);
    Blank {
        label: (&lines[0].setting.words).into(),
        values: at_each_place(&places, 1, unit.as_deref()),
        ..Blank::default()
    }
}

/// What was written down, with its unit; turns in eighths, as they are counted.
fn value(line: &SettingLine, figures: &Figures) -> Option<String> {
    let written = line.value.as_deref()?.trim();
    let Ok(number) = written.parse::<f64>() else { return Some(written.to_owned()) };
    let turns = || format!("{} {}", eighths(number), figures.unit(Unit::Turn));
    Some(match Unit::parse(&line.unit) {
        Ok(Unit::Turn) => turns(),
        Ok(unit) => as_given(Measure { value: number, unit }, 5),
        Err(_) if matches!(line.unit.as_str(), "text" | PHOTO) => written.to_owned(),
        Err(_) => format!("{written} {}", line.unit),
    })
}

/// "1 1/8" of 1.125; as a decimal where it is no whole eighth.
fn eighths(number: f64) -> String {
    let eighths = number * 8.0;
    if !(0.0..=800.0).contains(&eighths) || (eighths - libm::round(eighths)).abs() > 1e-9 {
        return number.to_string();
    }
    let (whole, rest) = (libm::floor(number), libm::round(eighths - 8.0 * libm::floor(number)));
    let part = match rest {
        0.0 => return whole.to_string(),
        4.0 => "1/2".to_owned(),
        2.0 | 6.0 => format!("{}/4", rest / 2.0),
        _ => format!("{rest}/8"),
    };
    if whole > 0.0 { format!("{whole} {part}") } else { part }
}

/// "front ______ turns", "rear 1 1/8 turns": a value or blanks for each place. A value brings its unit.
pub fn at_each_place(values: &[(Option<&str>, Option<&str>)], blanks: usize, unit: Option<&str>) -> Vec<Rich> {
    let at = |&(place, value): &(Option<&str>, Option<&str>)| {
        let start = place.map_or_else(Rich::default, |place| Rich::plain(place).and(" "));
        if let Some(value) = value {
            return start.and(value);
        }
        let line = (1..blanks).fold(start.and_blank(), |line, _| line.and(" ").and_blank());
        unit.into_iter().fold(line, |line, unit| line.and(" ").and(unit))
    };
    values.iter().map(at).collect()
}

fn unit_words(line: &SettingLine, figures: &Figures) -> Option<String> {
    let unit = line.unit.as_str();
    // Beside "usual: 0.6 to 0.8 mm" nobody wants to fill in inches.
    let said =
        line.generic.as_ref().is_some_and(|usual| usual.split_whitespace().any(|word| word.trim_matches(',') == unit));
    match Unit::parse(unit) {
        Ok(_) if said => Some(unit.to_owned()),
        Ok(unit) => Some(figures.unit(unit)),
        Err(_) => (!matches!(unit, "text" | PHOTO)).then(|| unit.to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::eighths;

    #[test]
    fn turns_are_counted_in_eighths() {
        let said: Vec<String> = [0.0, 0.125, 0.5, 0.75, 1.0, 1.125, 1.25, 2.875, 1.1].map(eighths).to_vec();
        assert_eq!(said, ["0", "1/8", "1/2", "3/4", "1", "1 1/8", "1 1/4", "2 7/8", "1.1"]);
    }
}
