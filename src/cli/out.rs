//! Printing: results on standard output, trouble on standard error, color only where it is wanted.

use super::Exit;
use super::args::{Common, Format};
use crate::finding::{Finding, Findings, Severity};
use crate::report::{Document, Paint, render_html, render_markdown, render_text};
use crate::store;
use std::io::{self, IsTerminal, Write};
use textwrap::{Options, WordSeparator, WordSplitter, WrapAlgorithm};

/// The width of text that goes to no terminal.
const PAGE_WIDTH: usize = 100;

/// What could not be done.
#[derive(Debug)]
pub enum Failure {
    /// An option or its value.
    Usage(String),
    /// A knowledge base or a case; each line is a finding.
    BadData(Vec<Finding>),
    /// A case that loads and still cannot be worked with.
    Stuck(String),
    /// A file.
    Store(store::Error),
    /// The logbook.
    Logbook(store::logbook::Error),
    /// Standard input or output.
    Stream(io::Error),
    /// Ctrl-C; what to say of it.
    Interrupted(String),
}

impl From<store::Error> for Failure {
    fn from(error: store::Error) -> Self {
        Self::Store(error)
    }
}

impl From<store::logbook::Error> for Failure {
    fn from(error: store::logbook::Error) -> Self {
        Self::Logbook(error)
    }
}

impl From<io::Error> for Failure {
    fn from(error: io::Error) -> Self {
        Self::Stream(error)
    }
}

impl Failure {
    /// The number to end with.
    #[must_use]
    pub fn exit(&self) -> Exit {
        use store::Error::{NoSuchKnowledge, NotKnowledge, SharesABase};
        use store::logbook::Error::{Another, Newer, Record};
        match self {
            Self::Usage(_) => Exit::Usage,
            Self::BadData(_)
            | Self::Stuck(_)
            | Self::Store(NotKnowledge { .. } | NoSuchKnowledge { .. } | SharesABase { .. })
            | Self::Logbook(Newer { .. } | Another { .. } | Record { .. }) => Exit::BadData,
            // Whoever closes the pipe has read what was wanted.
            Self::Stream(error) if error.kind() == io::ErrorKind::BrokenPipe => Exit::Done,
            Self::Store(_) | Self::Logbook(_) | Self::Stream(_) => Exit::InputOutput,
            Self::Interrupted(_) => Exit::Interrupted,
        }
    }

    /// Says it on standard error.
    pub fn tell(&self) {
        let text = match self {
            Self::Usage(message) | Self::Stuck(message) => format!("error: {message}\n"),
            Self::BadData(findings) => listed(findings),
            Self::Store(error) => format!("error: {error}\n"),
            Self::Logbook(error) => format!("error: {error}\n"),
            Self::Stream(error) if error.kind() == io::ErrorKind::BrokenPipe => return,
            Self::Stream(error) => format!("error: {error}\n"),
            Self::Interrupted(message) => format!("{message}\n"),
        };
        // Where standard error is closed there is nobody left to tell.
        let _ = anstream::stderr().write_all(folded(&text, &io::stderr()).as_bytes());
    }
}

/// Lines folded between words where they go to a terminal; elsewhere a line stays a line, for whoever searches it.
fn folded(text: &str, stream: &impl IsTerminal) -> String {
    if stream.is_terminal() { fold(text, page_width()) } else { text.to_owned() }
}

/// What is longer than `width` goes on below, two columns further in. Words stay whole: an id or a path can be copied.
fn fold(text: &str, width: usize) -> String {
    let line = |line: &str| {
        let indent = " ".repeat(line.len() - line.trim_start_matches(' ').len() + 2);
        let options = Options::new(width)
            .wrap_algorithm(WrapAlgorithm::FirstFit)
            .subsequent_indent(&indent)
            .break_words(false)
            .word_splitter(WordSplitter::NoHyphenation)
            .word_separator(WordSeparator::AsciiSpace);
        textwrap::fill(line, options)
    };
    text.split('\n').map(line).collect::<Vec<_>>().join("\n")
}

/// Findings one below the other, with a count.
pub fn listed(findings: &[Finding]) -> String {
    let mut blocks: Vec<String> = findings.iter().map(Finding::to_string).collect();
    blocks.push(counted(findings));
    blocks.join("\n\n") + "\n"
}

/// "2 errors, 1 piece of advice".
pub fn counted(findings: &[Finding]) -> String {
    let errors = findings.iter().filter(|f| f.severity == Severity::Error).count();
    let advice = findings.len() - errors;
    let errors_text = format!("{errors} {}", if errors == 1 { "error" } else { "errors" });
    let advice_text = format!("{advice} {}", if advice == 1 { "piece of advice" } else { "pieces of advice" });
    match (errors, advice) {
        (0, 0) => "nothing found".to_owned(),
        (_, 0) => errors_text,
        (0, _) => advice_text,
        _ => format!("{errors_text}, {advice_text}"),
    }
}

/// Decides once about color. `anstream` takes it off where a stream is no terminal or the environment says so.
pub fn set_color(common: &Common) {
    if common.no_color {
        anstream::ColorChoice::Never.write_global();
    }
}

/// Prints a text on standard output.
///
/// # Errors
/// Where it cannot be written.
pub fn print(text: &str) -> Result<(), Failure> {
    let mut stdout = anstream::stdout().lock();
    stdout.write_all(text.as_bytes())?;
    stdout.flush()?;
    Ok(())
}

/// Prints running text on standard output, folded where that is a terminal.
///
/// # Errors
/// Where it cannot be written.
pub fn say(text: &str) -> Result<(), Failure> {
    print(&folded(text, &io::stdout()))
}

/// Prints a document as asked for.
///
/// # Errors
/// Where it cannot be written.
pub fn print_document(document: &Document, format: Format) -> Result<(), Failure> {
    match format {
        Format::Markdown => print(&render_markdown(document)),
        Format::Html => print(&render_html(document)),
        Format::Text | Format::Json => print(&render_text(document, page_width(), paint())),
    }
}

/// The width of the terminal, or of a page where there is none.
pub fn page_width() -> usize {
    terminal_size::terminal_size().map_or(PAGE_WIDTH, |(width, _)| usize::from(width.0).min(PAGE_WIDTH))
}

/// Whether standard output takes color: what was asked for, what the environment says (`NO_COLOR`), what it is.
pub fn paint() -> Paint {
    let never = anstream::AutoStream::choice(&io::stdout()) == anstream::ColorChoice::Never;
    if never || !io::stdout().is_terminal() { Paint::Plain } else { Paint::Colored }
}

/// What must not be missed, though it does not end the program, goes to standard error.
pub fn warn(message: &str) {
    // Where standard error is closed there is nobody left to tell.
    let _ = anstream::stderr().write_all(folded(&format!("warning: {message}\n"), &io::stderr()).as_bytes());
}

/// Whether a person sits at a terminal on which a whole screen can be shown.
pub fn has_screen() -> bool {
    let dumb = std::env::var_os("TERM").is_some_and(|term| term == "dumb");
    io::stdin().is_terminal() && io::stdout().is_terminal() && !dumb
}

/// What is worth knowing beside the result goes to standard error.
pub fn note(text: &str, common: &Common) {
    if !common.quiet {
        let text = format!("note: {text}\n");
        let _ = anstream::stderr().write_all(folded(&text, &io::stderr()).as_bytes());
    }
}

/// Advice about what was read goes to standard error, where it does not mix with the result.
pub fn advise(findings: Findings, common: &Common) {
    let findings = findings.sorted();
    if !findings.is_empty() && !common.quiet {
        let _ = anstream::stderr().write_all(folded(&listed(&findings), &io::stderr()).as_bytes());
    }
}

#[cfg(test)]
mod tests {
    use super::fold;

    #[test]
    fn long_lines_go_on_below_and_words_stay_whole() {
        let text = "advice[K088]: no check separates cause `crank-seal-leak` from `base-or-case-leak`\n  --> causes.yaml:19:7\n";
        let folded = "advice[K088]: no check separates cause\n  `crank-seal-leak` from\n  `base-or-case-leak`\n  --> causes.yaml:19:7\n";
        assert_eq!(fold(text, 40), folded);
        assert_eq!(fold("  - one two three\n", 12), "  - one two\n    three\n");
        assert_eq!(fold("a-word-that-is-longer-than-the-line\n", 12), "a-word-that-is-longer-than-the-line\n");
    }
}
