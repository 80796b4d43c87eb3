//! Every complaint about data: a code, how bad, where, what, and what to do about it.

mod code;

pub use code::Code;
pub(crate) use code::codes;

use std::fmt;

/// How bad a finding is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Severity {
    /// It cannot be used so.
    Error,
    /// It can be used; better not so.
    Advice,
}

impl Severity {
    /// The word itself.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Error => "error",
            Self::Advice => "advice",
        }
    }

    /// The word that compilers use.
    fn level(self) -> &'static str {
        match self {
            Self::Error => "error",
            Self::Advice => "warning",
        }
    }
}

/// Where: a file, and a line and column counted from one. Line 0 means the file as a whole.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Place {
    /// The file as given.
    pub file: String,
    /// Line, from one.
    pub line: u32,
    /// Column, from one.
    pub column: u32,
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.line == 0 {
            write!(f, "{}", self.file)
        } else {
            write!(f, "{}:{}:{}", self.file, self.line, self.column)
        }
    }
}

/// One complaint. The message is a lowercase fragment that fits after "failed to use it:".
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Finding {
    /// Where.
    pub place: Place,
    /// How bad.
    pub severity: Severity,
    /// `K014`: stable, one a rule.
    pub code: &'static str,
    /// The path to the value: `causes[3].rate`; empty where the place says it all.
    pub path: String,
    /// What is wrong: expected and found.
    pub message: String,
    /// What to do about it.
    pub hints: Vec<String>,
}

impl Finding {
    /// `file:line:column: level: message [code]` in one line, as compilers write it; a file as a whole is its line 1.
    #[must_use]
    pub fn line(&self) -> String {
        let Place { file, line, column } = &self.place;
        let (line, column) = ((*line).max(1), (*column).max(1));
        format!("{file}:{line}:{column}: {}: {} [{}]", self.severity.level(), one_line(&self.said()), self.code)
    }

    /// A command to a build server that shows findings beside a change: `::error file=...,line=...::message`.
    #[must_use]
    pub fn workflow_command(&self) -> String {
        let Place { file, line, column } = &self.place;
        let (line, column) = ((*line).max(1), (*column).max(1));
        let level = self.severity.level();
        let file = escaped(file).replace(':', "%3A").replace(',', "%2C");
        format!("::{level} file={file},line={line},col={column},title={}::{}", self.code, escaped(&self.said()))
    }

    /// The message and its hints.
    fn said(&self) -> String {
        let hints = self.hints.iter().map(|hint| format!("; {hint}"));
        std::iter::once(self.message.clone()).chain(hints).collect()
    }
}

fn one_line(text: &str) -> String {
    text.replace(['\n', '\r'], " ")
}

/// As such commands ask for it.
fn escaped(text: &str) -> String {
    text.replace('%', "%25").replace('\r', "%0D").replace('\n', "%0A")
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}[{}]: {}\n  --> {}", self.severity.word(), self.code, self.message, self.place)?;
        if !self.path.is_empty() {
            write!(f, " ({})", self.path)?;
        }
        for hint in &self.hints {
            write!(f, "\nhint: {hint}")?;
        }
        Ok(())
    }
}

/// All findings of one run, in the order of their places.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Findings(Vec<Finding>);

impl Findings {
    /// None yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds one. What it quotes may run over lines in the file; a message is one line.
    pub fn add(&mut self, mut finding: Finding) {
        finding.message = one_line(&finding.message);
        self.0.push(finding);
    }

    /// Adds all of another run.
    pub fn extend(&mut self, other: Self) {
        self.0.extend(other.0);
    }

    /// Whether any is an error.
    #[must_use]
    pub fn any_error(&self) -> bool {
        self.0.iter().any(|f| f.severity == Severity::Error)
    }

    /// Whether there are none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// All, sorted by place, without repeats.
    #[must_use]
    pub fn sorted(mut self) -> Vec<Finding> {
        self.0.sort();
        self.0.dedup();
        self.0
    }
}

/// The nearest of `known` to `word`, where one is near enough to be meant: at most a third of its letters differ.
#[must_use]
pub fn nearest<'a>(word: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    known
        .into_iter()
        .map(|k| (distance(word, k), k))
        .filter(|(d, k)| *d * 3 <= k.chars().count().max(word.chars().count()))
        .min()
        .map(|(_, k)| k)
}

/// The number of letters to insert, drop or change (Levenshtein 1966).
#[must_use]
pub fn distance(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, x) in a.chars().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, y) in b.iter().enumerate() {
            let replaced = diagonal + usize::from(x != *y);
            diagonal = row[j + 1];
            row[j + 1] = replaced.min(row[j] + 1).min(diagonal + 1);
        }
    }
    row[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_of_the_finger_finds_its_word() {
        let known = ["pulse-line-off-or-cracked", "pulse-passage-blocked"];
        assert_eq!(nearest("pulse-line-of-or-cracked", known), Some("pulse-line-off-or-cracked"));
        assert_eq!(nearest("tank-empty", known), None);
    }
}
