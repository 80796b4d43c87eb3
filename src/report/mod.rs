//! One document, many renderers: what is said and in which order is decided once, how it looks is decided last.
//!
//! Everything a person reads is built as a [`Document`] of blocks that say what a thing *is* (a caution, a step, a table),
//! never how it looks. [`render_text`], [`render_markdown`] and [`render_html`] turn it into bytes. Numbers become words
//! only in [`figures`].

mod assessment;
mod background;
mod chart;
mod drill;
pub mod figures;
pub mod html;
pub mod logbook;
mod markdown;
mod moves;
mod prose;
mod rich;
mod sheet;
mod testability;
mod text;
pub mod tree;
mod trial;
mod vetted;
pub mod words;
mod work_order;

pub use assessment::{Assessment, assessment_shape};
pub use chart::{Charted, chart_shape};
pub use drill::{Setup as DrillSetup, debrief, debrief_json};
pub use figures::{Chances, Figures};
pub use html::{render_html, render_svg};
pub use markdown::render_markdown;
pub use moves::{Moves, MovesRow};
pub use prose::with_units;
pub use rich::{Rich, Span};
pub use sheet::{Figure, Range, Sheet};
pub use testability::testability;
pub use text::{Paint, render_text};
pub use tree::Tree;
pub use trial::{trial, trial_csv, trial_json};
pub use vetted::{vetted_json, vetted_shape};
pub use work_order::{Behind, NOT_KNOWN, work_order, work_order_page};

pub use crate::knowledge::Signal;

/// What is to be said, in order.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Document {
    /// The blocks, in order.
    pub blocks: Vec<Block>,
}

/// One piece of a document.
#[derive(Clone, Debug, PartialEq)]
pub enum Block {
    /// What the whole document is about.
    Title(Rich),
    /// The start of a section.
    Heading(Level, Rich),
    /// Running text.
    Paragraph(Rich),
    /// Running text of less weight: a source, a reservation.
    Aside(Rich),
    /// Things in no order.
    Bullets(Vec<Rich>),
    /// Work in order.
    Steps(Vec<Step>),
    /// Names and what they stand for.
    Pairs(Vec<(Rich, Rich)>),
    /// Rows and columns.
    Table(Table),
    /// A safety notice.
    Caution(Caution),
    /// Lines to be filled in by hand, or filled in already.
    Blanks(Vec<Blank>),
    /// Shares of a whole, side by side.
    Bars(Vec<Bar>),
    /// How answers moved the belief in causes.
    Moves(Moves),
    /// A part of the fault tree.
    Tree(Tree),
    /// Answers to choose from.
    Choices(Vec<Choice>),
    /// One line with a left and a right end: where we are.
    Line(Rich, Rich),
    /// A rule between parts.
    Rule,
    /// Lines whose spaces matter.
    Verbatim(String),
}

/// How deep a heading is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Level {
    /// A section of the document.
    Section,
    /// A part of a section.
    Part,
}

/// One step of work.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Step {
    /// How it is marked.
    pub mark: Mark,
    /// What to do.
    pub what: Rich,
    /// What belongs to it, a line each.
    pub notes: Vec<Rich>,
    /// What is to be written down.
    pub blanks: Vec<Blank>,
}

/// How a step is marked.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Mark {
    /// A box to tick.
    #[default]
    Box,
    /// A number.
    Number(usize),
    /// A box to tick, and a number to speak of it by.
    NumberedBox(usize),
}

/// A table. Every row has as many cells as there are columns.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Table {
    /// The columns.
    pub columns: Vec<Column>,
    /// The rows.
    pub rows: Vec<Vec<Rich>>,
    /// A last row that sums up.
    pub total: Option<Vec<Rich>>,
}

/// A column of a table.
#[derive(Clone, Debug, PartialEq)]
pub struct Column {
    /// What stands above it.
    pub title: Rich,
    /// Where its cells stand.
    pub align: Align,
}

impl Column {
    /// A column of words.
    #[must_use]
    pub fn words(title: &str) -> Self {
        Self { title: title.into(), align: Align::Left }
    }

    /// A column of figures.
    #[must_use]
    pub fn figures(title: &str) -> Self {
        Self { title: title.into(), align: Align::Right }
    }
}

/// Where the cells of a column stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Align {
    /// Words.
    Left,
    /// Figures.
    Right,
}

/// A safety notice. With no `harm`, `controls` and `never` it is the reminder of one that stands in full further up.
#[derive(Clone, Debug, PartialEq)]
pub struct Caution {
    /// The signal word, in the sense of ANSI Z535.
    pub signal: Signal,
    /// What it is about.
    pub title: Rich,
    /// What it does to a person.
    pub harm: Option<Rich>,
    /// What to do, in order.
    pub controls: Vec<Rich>,
    /// What never to do.
    pub never: Vec<Rich>,
    /// What is confirmed by a tick.
    pub tick: Option<Rich>,
}

impl Blank {
    /// What is known already in one line; `None` where nothing is.
    #[must_use]
    pub fn value(&self) -> Option<String> {
        let values: Vec<String> = self.values.iter().map(Rich::text).collect();
        (!values.is_empty()).then(|| values.join(" "))
    }
}

impl Caution {
    /// Whether it only reminds of the caution that stands in full further up.
    #[must_use]
    pub fn is_reminder(&self) -> bool {
        self.harm.is_none() && self.controls.is_empty() && self.never.is_empty()
    }
}

/// A line to be filled in.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Blank {
    /// What is asked for.
    pub label: Rich,
    /// What is known already, with blanks where something is not, a piece for each place; empty: one blank.
    pub values: Vec<Rich>,
    /// The unit, where it is a number.
    pub unit: Option<String>,
    /// What it should be, or what to write where nothing is known.
    pub note: Option<Rich>,
}

/// One share of a whole.
#[derive(Clone, Debug, PartialEq)]
pub struct Bar {
    /// Of what.
    pub label: Rich,
    /// The share, 0..=1; more or less is cut.
    pub share: f64,
    /// The share in words or figures: what the bar says, for whoever does not see it.
    pub figure: String,
}

/// One answer to choose.
#[derive(Clone, Debug, PartialEq)]
pub struct Choice {
    /// The key that chooses it.
    pub key: String,
    /// What it says.
    pub says: Rich,
}

impl Document {
    /// An empty document.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds a block.
    pub fn push(&mut self, block: Block) {
        self.blocks.push(block);
    }

    /// Adds a title.
    pub fn title(&mut self, text: impl Into<Rich>) {
        self.push(Block::Title(text.into()));
    }

    /// Adds the heading of a section.
    pub fn section(&mut self, text: impl Into<Rich>) {
        self.push(Block::Heading(Level::Section, text.into()));
    }

    /// Adds the heading of a part of a section.
    pub fn part(&mut self, text: impl Into<Rich>) {
        self.push(Block::Heading(Level::Part, text.into()));
    }

    /// Adds running text.
    pub fn paragraph(&mut self, text: impl Into<Rich>) {
        self.push(Block::Paragraph(text.into()));
    }

    /// Adds running text of less weight.
    pub fn aside(&mut self, text: impl Into<Rich>) {
        self.push(Block::Aside(text.into()));
    }

    /// Adds things in no order; nothing where there are none.
    pub fn bullets<T: Into<Rich>>(&mut self, items: impl IntoIterator<Item = T>) {
        let items: Vec<Rich> = items.into_iter().map(Into::into).collect();
        if !items.is_empty() {
            self.push(Block::Bullets(items));
        }
    }

    /// Adds one step. Steps in a row become one list.
    pub fn step(&mut self, step: Step) {
        if let Some(Block::Steps(steps)) = self.blocks.last_mut() {
            steps.push(step);
        } else {
            self.push(Block::Steps(vec![step]));
        }
    }
}
