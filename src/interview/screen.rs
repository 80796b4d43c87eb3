//! One screen: what is said and asked, before it is known how wide and high it may be.

use super::state::Key;
use crate::report::{Block, Choice, Document, Paint, Rich, render_text};

/// The levels of detail: 0 says everything, each further one leaves out or shortens more.
const LEVELS: u8 = 6;

/// A part of a screen, and what becomes of it where there is little room.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// The whole of it.
    pub block: Block,
    /// From this level on, the short form stands for it.
    pub from: u8,
    /// The short form; nothing: it is left out.
    pub short: Option<Block>,
}

impl Part {
    /// A part that always stays.
    #[must_use]
    pub fn always(block: Block) -> Self {
        Self { block, from: LEVELS + 1, short: None }
    }

    /// A part that is left out from a level on.
    #[must_use]
    pub fn until(from: u8, block: Block) -> Self {
        Self { block, from, short: None }
    }

    /// A part that is shortened from a level on.
    #[must_use]
    pub fn shortened(from: u8, block: Block, short: Block) -> Self {
        Self { block, from, short: Some(short) }
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
    /// What is written.
    pub writing: Writing,
    /// What is said beneath.
    pub after: Vec<Part>,
    /// One strip of belief.
    pub strip: Option<String>,
    /// The keys that do something here, and what.
    pub keys: Vec<(Key, String)>,
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
            writing: Writing::Nothing,
            after: Vec::new(),
            strip: None,
            keys: Vec::new(),
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

    /// The key of a character, where it does something here.
    #[must_use]
    pub fn key(&self, letter: char) -> Option<Key> {
        Key::of(letter).filter(|key| self.keys.iter().any(|(k, _)| k == key))
    }

    /// The screen as a document with some of its choices, counted from one on.
    #[must_use]
    pub fn document(&self, level: u8, choices: std::ops::Range<usize>) -> Document {
        let mut document = Document::new();
        if !self.place.0.is_empty() || !self.place.1.is_empty() {
            document.push(Block::Line(self.place.0.as_str().into(), self.place.1.as_str().into()));
        }
        for notice in &self.notices {
            document.push(Block::Paragraph(Rich::plain(&format!("> {notice}"))));
        }
        document.blocks.extend(self.parts.iter().filter_map(|part| at_level(part, level)));
        if !self.rows.is_empty() {
            document.push(Block::Paragraph(self.row_line()));
        }
        let shown: Vec<Choice> = self.choices[choices.clone()]
            .iter()
            .zip(1..)
            .map(|(says, n)| Choice { key: n.to_string(), says: says.into() })
            .collect();
        if !shown.is_empty() {
            document.push(Block::Choices(shown));
        }
        document.blocks.extend(self.after.iter().filter_map(|part| at_level(part, level)));
        if let Some(strip) = &self.strip {
            document.push(Block::Aside(strip.into()));
        }
        if !self.keys.is_empty() {
            document.push(Block::Paragraph(self.key_line()));
        }
        document
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

    fn key_line(&self) -> Rich {
        let mut line = Rich::default();
        for (at, (key, says)) in self.keys.iter().enumerate() {
            if at > 0 {
                line = line.and(" · ");
            }
            // A key and its word stay on one line, held together by a character that no text has.
            line = line.and_strong(&key.shown()).and("\u{e000}").and(&says.replace(' ', "\u{e000}"));
        }
        line
    }

    /// The screen as lines that fit `width` and, where that can be done, `height`.
    #[must_use]
    pub fn lines(&self, width: usize, height: usize, choices: std::ops::Range<usize>, paint: Paint) -> Vec<String> {
        let mut lines = Vec::new();
        for level in 0..=LEVELS {
            lines = lines_of(&self.document(level, choices.clone()), width, paint);
            if lines.len() <= height {
                return lines;
            }
            // Before more is left out, blank lines are: the first stays, under the line of where we are.
            let squeezed = squeezed(&lines, height);
            if squeezed.len() <= height && level > 0 {
                return squeezed;
            }
        }
        squeezed(&lines, height)
    }
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
