//! How answers moved the belief in causes: weights of evidence, which add up.

use super::{Column, Rich, Table, figures};

/// How answers moved the belief in a few causes. Each list has an entry for each cause.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Moves {
    /// The causes.
    pub causes: Vec<Rich>,
    /// Their chances before any answer, in figures.
    pub before: Vec<String>,
    /// The answers, in order.
    pub rows: Vec<MovesRow>,
    /// Their chances now, in figures.
    pub now: Vec<String>,
}

/// What one answer did.
#[derive(Clone, Debug, PartialEq)]
pub struct MovesRow {
    /// The answer.
    pub answer: Rich,
    /// What it added to the log-odds of each cause, in decibans; `None`: less than anybody notices.
    pub decibans: Vec<Option<f64>>,
}

/// What stands where an answer did nothing that anybody notices.
pub const NOTHING: &str = "·";
/// The words before the first row of chances and before the last.
pub const ENDS: [&str; 2] = ["Before any answer", "Now"];

impl Moves {
    /// The same as a table of figures, for whoever cannot draw.
    #[must_use]
    pub fn table(&self) -> Table {
        let row = |name: &str, cells: &[String]| -> Vec<Rich> {
            std::iter::once(name.into()).chain(cells.iter().map(Into::into)).collect()
        };
        let mut rows = vec![row(ENDS[0], &self.before)];
        rows.extend(self.rows.iter().map(|moved| {
            let cells = moved.decibans.iter().map(|d| d.map_or_else(|| NOTHING.to_owned(), figures::decibans).into());
            std::iter::once(moved.answer.clone()).chain(cells).collect()
        }));
        let causes = self.causes.iter().map(|title| Column { title: title.clone(), align: super::Align::Right });
        Table {
            columns: std::iter::once(Column::words("Answer")).chain(causes).collect(),
            rows,
            total: Some(row(ENDS[1], &self.now)),
        }
    }

    /// The largest weight there is, in decibans: what a bar's length is measured by.
    #[must_use]
    pub fn largest(&self) -> f64 {
        self.rows.iter().flat_map(|row| row.decibans.iter().flatten()).fold(1.0, |most, d| d.abs().max(most))
    }
}
