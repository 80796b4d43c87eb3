//! Text with a little weight in it.

use crate::units::is_printable;

/// A piece of text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Span {
    /// As it comes.
    Plain(String),
    /// What the eye should catch.
    Strong(String),
    /// A place to write in.
    Blank,
    /// A box to tick.
    Box,
}

impl Span {
    /// The text itself.
    #[must_use]
    pub fn text(&self) -> &str {
        match self {
            Self::Plain(text) | Self::Strong(text) => text,
            Self::Blank => "______",
            Self::Box => "[ ]",
        }
    }
}

/// Text of one paragraph, cell or line. Holds no line breaks and no control characters, wherever the text came from: a
/// case file must not be able to steer a terminal.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Rich(Vec<Span>);

impl Rich {
    /// Plain text.
    #[must_use]
    pub fn plain(text: &str) -> Self {
        Self::default().and(text)
    }

    /// Strong text.
    #[must_use]
    pub fn strong(text: &str) -> Self {
        Self::default().and_strong(text)
    }

    /// With plain text after it.
    #[must_use]
    pub fn and(mut self, text: &str) -> Self {
        self.0.push(Span::Plain(one_line(text)));
        self
    }

    /// With strong text after it.
    #[must_use]
    pub fn and_strong(mut self, text: &str) -> Self {
        self.0.push(Span::Strong(one_line(text)));
        self
    }

    /// With a place to write in after it.
    #[must_use]
    pub fn and_blank(self) -> Self {
        self.with(Span::Blank)
    }

    /// With a box to tick after it.
    #[must_use]
    pub fn and_box(self) -> Self {
        self.with(Span::Box)
    }

    /// With another piece after it.
    fn with(mut self, span: Span) -> Self {
        self.0.push(span);
        self
    }

    /// With all of another text after it.
    #[must_use]
    pub fn and_all(mut self, other: &Self) -> Self {
        self.0.extend_from_slice(&other.0);
        self
    }

    /// The pieces.
    #[must_use]
    pub fn spans(&self) -> &[Span] {
        &self.0
    }

    /// The words without weight.
    #[must_use]
    pub fn text(&self) -> String {
        self.0.iter().map(Span::text).collect()
    }

    /// Whether it says nothing.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.iter().all(|span| span.text().is_empty())
    }
}

impl FromIterator<Span> for Rich {
    fn from_iter<I: IntoIterator<Item = Span>>(spans: I) -> Self {
        Self(spans.into_iter().collect())
    }
}

impl From<&str> for Rich {
    fn from(text: &str) -> Self {
        Self::plain(text)
    }
}

impl From<String> for Rich {
    fn from(text: String) -> Self {
        Self::plain(&text)
    }
}

impl From<&String> for Rich {
    fn from(text: &String) -> Self {
        Self::plain(text)
    }
}

/// Runs of white space and control characters become one space.
fn one_line(text: &str) -> String {
    let mut line = String::with_capacity(text.len());
    for c in text.chars() {
        let c = if !is_printable(c) || c.is_whitespace() { ' ' } else { c };
        if c != ' ' || !line.ends_with(' ') {
            line.push(c);
        }
    }
    line
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_escape_code_gets_through() {
        let rich = Rich::plain("red\u{1b}[31m\n\nand\tblue").and_strong("\u{7}x");
        assert_eq!(rich.text(), "red [31m and blue x");
        assert_eq!(Rich::plain("no\u{202e}leuf").text(), "no leuf");
    }
}
