//! A sheet of bench arithmetic: figures with their units, what to bear in mind, the source of the formula.

use super::figures::{as_given, in_both, to_figures};
use super::{Align, Block, Column, Document, Table};
use crate::units::{Measure, System};
use schemars::JsonSchema;
use serde::Serialize;

/// What was worked out.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Sheet {
    /// What it is about.
    pub title: String,
    /// What was given and what came out, in order.
    pub figures: Vec<Figure>,
    /// What to bear in mind.
    pub notes: Vec<String>,
    /// A range of values, where it was asked for.
    pub table: Option<Range>,
    /// Where the formula comes from.
    pub source: String,
}

/// One figure.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Figure {
    /// What it is.
    pub name: String,
    /// The number, not rounded; absent where it is words.
    pub value: Option<f64>,
    /// Its unit; absent where it has none.
    pub unit: Option<String>,
    /// As it is printed, in both systems.
    pub says: String,
}

/// A range of values, as it is printed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Range {
    /// The titles of the columns.
    pub columns: Vec<String>,
    /// The rows, a cell for each column.
    pub rows: Vec<Vec<String>>,
}

impl Range {
    /// The words of a table.
    #[must_use]
    pub fn of(table: &Table) -> Self {
        Self {
            columns: table.columns.iter().map(|column| column.title.text()).collect(),
            rows: table.rows.iter().map(|row| row.iter().map(super::Rich::text).collect()).collect(),
        }
    }

    fn table(self) -> Table {
        Table {
            columns: self.columns.iter().map(|title| Column { title: title.into(), align: Align::Right }).collect(),
            rows: self.rows.iter().map(|row| row.iter().map(Into::into).collect()).collect(),
            total: None,
        }
    }
}

impl Sheet {
    /// An empty sheet.
    #[must_use]
    pub fn new(title: &str, source: &str) -> Self {
        Self { title: title.to_owned(), figures: Vec::new(), notes: Vec::new(), table: None, source: source.to_owned() }
    }

    /// Adds a figure: its number with the symbol of its unit (empty: none), and how it is printed.
    pub fn say(&mut self, name: &str, value: Option<(f64, &str)>, says: String) {
        let unit = value.map(|(_, unit)| unit).filter(|unit| !unit.is_empty()).map(str::to_owned);
        let value = value.map(|(value, _)| value).filter(|value| value.is_finite());
        self.figures.push(Figure { name: name.to_owned(), value, unit, says });
    }

    /// Adds a measure, printed in both systems to so many figures.
    pub fn measured(&mut self, name: &str, measure: Measure, first: System, figures: usize) {
        self.say(name, Some((measure.value, measure.unit.symbol())), in_both(measure, first, figures));
    }

    /// Adds a measure, printed in its own unit.
    pub fn given(&mut self, name: &str, measure: Measure, figures: usize) {
        self.say(name, Some((measure.value, measure.unit.symbol())), as_given(measure, figures));
    }

    /// Adds a percentage.
    pub fn percent(&mut self, name: &str, percent: f64, figures: usize) {
        self.say(name, Some((percent, "%")), format!("{} %", to_figures(percent, figures)));
    }

    /// Adds a factor.
    pub fn factor(&mut self, name: &str, factor: f64) {
        self.say(name, Some((factor, "")), format!("x {}", to_figures(factor, 3)));
    }

    /// The sheet as a document.
    #[must_use]
    pub fn document(self) -> Document {
        let mut blocks = vec![Block::Title(self.title.into())];
        let pair = |figure: Figure| (figure.name.as_str().into(), figure.says.into());
        blocks.push(Block::Pairs(self.figures.into_iter().map(pair).collect()));
        blocks.extend(self.notes.into_iter().map(|note| Block::Paragraph(note.into())));
        blocks.extend(self.table.map(|range| Block::Table(range.table())));
        blocks.push(Block::Aside(format!("Source: {}", self.source).into()));
        Document { blocks }
    }
}
