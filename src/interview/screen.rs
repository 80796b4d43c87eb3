//! One screen: what is said and asked, before it is known how wide and high it may be.

use super::state::Key;
use crate::report::{Block, Choice, Document, Paint, Rich, render_text, with_units};
use crate::units::System;
use dialoguer::console::measure_text_width;

/// The levels of detail: 0 says everything, each further one leaves out or shortens more.
const LEVELS: u8 = 6;
/// From this level on, only the keys used most are named, with the one that shows all.
const FEW_KEYS: u8 = 2;
/// From this level on, nothing stands beneath the question that could stand beside it.
const BARE: u8 = 5;
/// From this level on, the steps of what is done stand behind a key, and a line says so.
pub const STEPS_GO: u8 = 3;
/// From these levels on, of what an answer may sound like there is only the first, and nothing.
const ONE_SOUND: u8 = 2;
const NO_SOUND: u8 = 6;
/// The keys used most.
const MOST_USED: [Key; 11] = [
    Key::Tick,
    Key::NotSure,
    Key::CouldNot,
    Key::Enter,
    Key::Why,
    Key::Other,
    Key::Back,
    Key::Keys,
    Key::Leave,
    Key::Stop,
    Key::Pause,
];
/// What stands between two columns.
const GUTTER: &str = " | ";

/// A part of a screen, and what becomes of it where there is little room.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// The whole of it.
    pub block: Block,
    /// From this level on, the short form stands for it.
    pub from: u8,
    /// The short form; nothing: it is left out.
    pub short: Option<Block>,
    /// Whether what the short form lacks is said beside it where there are two columns.
    pub said_beside: bool,
}

impl Part {
    fn tell_units(&mut self, system: System) {
        self.block.tell_units(system);
        if let Some(short) = &mut self.short {
            short.tell_units(system);
        }
    }

    /// A part that always stays.
    #[must_use]
    pub fn always(block: Block) -> Self {
        Self { block, from: LEVELS + 1, short: None, said_beside: false }
    }

    /// A part that is left out from a level on.
    #[must_use]
    pub fn until(from: u8, block: Block) -> Self {
        Self { block, from, short: None, said_beside: false }
    }

    /// A part that is shortened from a level on.
    #[must_use]
    pub fn shortened(from: u8, block: Block, short: Block) -> Self {
        Self { block, from, short: Some(short), said_beside: false }
    }
}

/// A row that is answered: a place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Row {
    /// Its name.
    pub name: String,
    /// The answer so far.
    pub answer: Option<String>,
}

/// What stands beside the question.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Side {
    /// What stands beneath the question where the window is too narrow for two columns.
    pub always: Vec<Part>,
    /// What is left out there.
    pub wide: Vec<Part>,
}

/// How many columns a screen has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Columns {
    One,
    Two,
}

/// What is written rather than picked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Writing {
    /// Nothing.
    Nothing,
    /// A number with a unit: a letter at the beginning is a key.
    Number,
    /// Anything: a single letter alone is a key.
    Words,
    /// Part of the name of a choice.
    Name,
}

/// One screen.
#[derive(Clone, Debug, PartialEq)]
pub struct Screen {
    /// Where we are: left and right end of the first line.
    pub place: (String, String),
    /// What happened with the last input.
    pub notices: Vec<String>,
    /// What is said and asked.
    pub parts: Vec<Part>,
    /// The places that are answered for one after the other; none where there is one.
    pub rows: Vec<Row>,
    /// The answers to choose from.
    pub choices: Vec<String>,
    /// For each answer what an owner is likely to say for it; none where nobody is on the phone.
    pub sounds: Vec<Vec<String>>,
    /// What is written.
    pub writing: Writing,
    /// What is said beneath.
    pub after: Vec<Part>,
    /// What stands beside the question where there is room.
    pub side: Option<Side>,
    /// One strip of belief.
    pub strip: Option<String>,
    /// The keys that do something here, and what.
    pub keys: Vec<(Key, String)>,
    /// The key behind which stands what is left out here where there is little room, and its name: it is named there all
    /// the same.
    pub more: Option<(Key, &'static str)>,
    /// What is said once before an answer is taken where the steps stand behind a key; none: it is taken at once.
    pub unread: Option<String>,
}

/// A screen as lines, and how much was left out for them to fit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fitted {
    /// The lines.
    pub lines: Vec<String>,
    /// The level of detail.
    pub level: u8,
}

impl Screen {
    /// A screen with nothing on it.
    #[must_use]
    pub fn new(left: impl Into<String>, right: impl Into<String>) -> Self {
        Self {
            place: (left.into(), right.into()),
            notices: Vec::new(),
            parts: Vec::new(),
            rows: Vec::new(),
            choices: Vec::new(),
            sounds: Vec::new(),
            writing: Writing::Nothing,
            after: Vec::new(),
            side: None,
            strip: None,
            keys: Vec::new(),
            more: None,
            unread: None,
        }
    }

    /// Adds a part.
    pub fn say(&mut self, part: Part) {
        self.parts.push(part);
    }

    /// Adds the question.
    pub fn ask(&mut self, question: &str) {
        self.say(Part::always(Block::Paragraph(Rich::strong(question))));
    }

    /// The same for a reader of this system: see [`with_units`].
    #[must_use]
    pub fn in_units(mut self, system: System) -> Self {
        let beside = self.side.iter_mut().flat_map(|side| side.always.iter_mut().chain(&mut side.wide));
        self.parts.iter_mut().chain(&mut self.after).chain(beside).for_each(|part| part.tell_units(system));
        self.choices.iter_mut().for_each(|choice| *choice = with_units(choice, system));
        self
    }

    /// The key of a character, where it does something here.
    #[must_use]
    pub fn key(&self, letter: char) -> Option<Key> {
        Key::of(letter).filter(|key| self.keys.iter().any(|(k, _)| k == key))
    }

    /// The screen as a document with some of its choices, each with its number among all of them; one column.
    #[must_use]
    pub fn document(&self, level: u8, choices: std::ops::Range<usize>) -> Document {
        let mut document = self.head();
        document.blocks.extend(self.question(level, choices, Columns::One));
        if let Some(side) = self.side.as_ref().filter(|_| level < BARE) {
            document.blocks.extend(side.always.iter().filter_map(|part| at_level(part, level)));
        }
        if let Some(strip) = &self.strip {
            document.push(Block::Aside(strip.into()));
        }
        document.blocks.extend(self.foot(level));
        document
    }

    /// Where we are and what happened.
    fn head(&self) -> Document {
        let mut document = Document::new();
        if !self.place.0.is_empty() || !self.place.1.is_empty() {
            document.push(Block::Line(self.place.0.as_str().into(), self.place.1.as_str().into()));
        }
        for notice in &self.notices {
            document.push(Block::Paragraph(Rich::plain(&format!("> {notice}"))));
        }
        document
    }

    /// What is said and asked, and the answers.
    fn question(&self, level: u8, choices: std::ops::Range<usize>, columns: Columns) -> Vec<Block> {
        let mut blocks: Vec<Block> = self.parts.iter().filter_map(|part| at_level(part, level)).collect();
        if !self.rows.is_empty() {
            blocks.push(Block::Paragraph(self.row_line()));
        }
        let shown: Vec<Choice> =
            choices.map(|at| Choice { key: (at + 1).to_string(), says: self.choice(at, level).into() }).collect();
        if !shown.is_empty() {
            blocks.push(Block::Choices(shown));
        }
        let short = |part: &&Part| part.said_beside && columns == Columns::Two;
        let after = self.after.iter();
        blocks.extend(after.filter_map(|part| if short(&part) { part.short.clone() } else { at_level(part, level) }));
        blocks
    }

    /// An answer, with what it may sound like.
    fn choice(&self, at: usize, level: u8) -> String {
        let says = &self.choices[at];
        let most = match level {
            NO_SOUND.. => 0,
            ONE_SOUND.. => 1,
            _ => usize::MAX,
        };
        match self.sounds.get(at).map(|sounds| quoted(sounds.iter().take(most))) {
            Some(sounds) if !sounds.is_empty() => format!("{says}: {sounds}"),
            _ => says.clone(),
        }
    }

    fn beside(&self, level: u8) -> Vec<Block> {
        let parts = self.side.iter().flat_map(|side| side.always.iter().chain(&side.wide));
        parts.filter_map(|part| at_level(part, level)).collect()
    }

    /// The keys.
    fn foot(&self, level: u8) -> Option<Block> {
        (!self.keys.is_empty()).then(|| Block::Paragraph(self.key_line(level)))
    }

    /// "front: dry   > rear: ?"
    fn row_line(&self) -> Rich {
        let now = self.rows.iter().position(|row| row.answer.is_none());
        let mut line = Rich::default();
        for (at, row) in self.rows.iter().enumerate() {
            if at > 0 {
                line = line.and("  |  ");
            }
            line = match &row.answer {
                Some(answer) => line.and(&format!("{}: {answer}", row.name)),
                None if now == Some(at) => line.and_strong(&format!("{}: ?", row.name)),
                None => line.and(&format!("{}: -", row.name)),
            };
        }
        line
    }

    /// The keys and what they do; where there is little room and one of them shows all, only those used most.
    fn key_line(&self, level: u8) -> Rich {
        let few = level >= FEW_KEYS && self.keys.iter().any(|(key, _)| *key == Key::Keys);
        let named = |key: Key| MOST_USED.contains(&key) || self.more.is_some_and(|(more, _)| more == key);
        let shown = self.keys.iter().filter(|(key, _)| !few || named(*key));
        let mut line = Rich::default();
        for (at, (key, says)) in shown.enumerate() {
            if at > 0 {
                line = line.and(" · ");
            }
            // A key and its word stay on one line, held together by a character that no text has.
            line = line.and_strong(&key.shown()).and("\u{e000}").and(&says.replace(' ', "\u{e000}"));
        }
        line
    }

    /// The screen as lines that fit `width` and, where that can be done, `height`; one column.
    #[must_use]
    pub fn lines(&self, width: usize, height: usize, choices: std::ops::Range<usize>, paint: Paint) -> Fitted {
        fitted(height, |level| lines_of(&self.document(level, choices.clone()), width, paint))
    }

    /// The same with what stands beside the question in a column of its own, where there is anything.
    #[must_use]
    pub fn columns(&self, width: usize, height: usize, choices: std::ops::Range<usize>, paint: Paint) -> Fitted {
        if self.side.is_none() {
            return self.lines(width, height, choices, paint);
        }
        let left = (width - GUTTER.len()) * 4 / 7;
        let right = width - GUTTER.len() - left;
        fitted(height, |level| {
            let part = |blocks: Vec<Block>, width: usize| lines_of(&Document { blocks }, width, paint);
            let mut lines = part(self.head().blocks, width);
            lines.push(String::new());
            let question = part(self.question(level, choices.clone(), Columns::Two), left);
            // What stands beside it never makes the screen higher than the question does where there is no room.
            let mut beside = part(self.beside(0), right);
            if level > 0 {
                let room = height.saturating_sub(lines.len() + 3).max(question.len());
                let fuller = (0..=LEVELS).map(|level| squeezed(&part(self.beside(level), right), room));
                beside = fuller.into_iter().find(|lines| lines.len() <= room).unwrap_or_default();
            }
            lines.extend(side_by_side(&question, &beside, left));
            if let Some(keys) = self.foot(level) {
                lines.push(String::new());
                lines.extend(part(vec![keys], width));
            }
            lines
        })
    }
}

/// "“It just clicks”, “one click and that's it”".
#[must_use]
pub fn quoted<'a>(phrases: impl IntoIterator<Item = &'a String>) -> String {
    let quoted: Vec<String> = phrases.into_iter().map(|phrase| format!("\u{201c}{phrase}\u{201d}")).collect();
    quoted.join(", ")
}

/// The fullest of the levels that fits a height; the barest where none does.
fn fitted(height: usize, at_level: impl Fn(u8) -> Vec<String>) -> Fitted {
    let mut lines = Vec::new();
    for level in 0..=LEVELS {
        lines = at_level(level);
        if lines.len() <= height {
            return Fitted { lines, level };
        }
        // Before more is left out, blank lines are: the first stays, under the line of where we are.
        let squeezed = squeezed(&lines, height);
        if squeezed.len() <= height && level > 0 {
            return Fitted { lines: squeezed, level };
        }
    }
    Fitted { lines: squeezed(&lines, height), level: LEVELS }
}

fn side_by_side(left: &[String], right: &[String], width: usize) -> Vec<String> {
    let rows = left.len().max(right.len());
    let line = |all: &[String], at: usize| all.get(at).cloned().unwrap_or_default();
    (0..rows)
        .map(|at| {
            let left = line(left, at);
            let pad = " ".repeat(width.saturating_sub(measure_text_width(&left)));
            format!("{left}{pad}{GUTTER}{}", line(right, at)).trim_end().to_owned()
        })
        .collect()
}

fn at_level(part: &Part, level: u8) -> Option<Block> {
    if level >= part.from { part.short.clone() } else { Some(part.block.clone()) }
}

fn lines_of(document: &Document, width: usize, paint: Paint) -> Vec<String> {
    render_text(document, width, paint).lines().map(|line| line.replace('\u{e000}', " ")).collect()
}

/// Without so many blank lines as are too much, the last first.
fn squeezed(lines: &[String], height: usize) -> Vec<String> {
    let mut kept = lines.to_vec();
    let mut at = kept.len();
    while at > 0 && kept.len() > height {
        at -= 1;
        if kept[at].is_empty() {
            kept.remove(at);
        }
    }
    kept
}
