//! Plain lines in and out: for screen readers, for scripts, and where there is no terminal. Reads only what it is
//! given, never the terminal behind its back.

use super::screen::{Screen, Writing};
use super::state::{Input, Key};
use super::{Ask, Reply};
use crate::report::Paint;
use std::collections::VecDeque;
use std::io::{self, Write};
use std::sync::mpsc;

/// The lines of standard input; Ctrl-C is an error of the kind [`io::ErrorKind::Interrupted`] among them. Whoever waits
/// for a whole line cannot be woken, so another thread does the waiting.
pub fn typed_lines() -> impl Iterator<Item = io::Result<String>> {
    let (typed, lines) = mpsc::channel();
    let interrupted = typed.clone();
    // A handler that stands already is one of ours; whoever no longer reads has ended.
    let _ = ctrlc::set_handler(move || drop(interrupted.send(Some(Err(io::ErrorKind::Interrupted.into())))));
    std::thread::spawn(move || {
        for line in io::stdin().lines().map(Some).chain([None]) {
            if typed.send(line).is_err() {
                return;
            }
        }
    });
    lines.into_iter().map_while(|line| line).fuse()
}

/// Asks by lines.
pub struct Plain<I, W> {
    input: I,
    output: W,
    width: usize,
    /// What a line held beyond its first input: `1 3` answers for two places.
    waiting: VecDeque<Input>,
    /// Whether the answers read are written out, so that a log of the output reads like a conversation.
    echo: Echo,
}

/// Whether what is read is written out again.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Echo {
    /// It is not: a person sees what they type.
    Off,
    /// It is: the input is a file or a pipe.
    On,
}

impl<I: Iterator<Item = io::Result<String>>, W: Write> Plain<I, W> {
    /// Asks on `output`, lines of `width` columns, and hears the lines of `input`.
    pub fn new(input: I, output: W, width: usize, echo: Echo) -> Self {
        Self { input, output, width, waiting: VecDeque::new(), echo }
    }

    /// What was written to, once all is asked.
    pub fn into_output(self) -> W {
        self.output
    }

    fn show(&mut self, screen: &Screen) -> io::Result<()> {
        let lines = screen.lines(self.width, usize::MAX, 0..screen.choices.len(), Paint::Plain).lines;
        writeln!(self.output)?;
        for line in lines {
            writeln!(self.output, "{line}")?;
        }
        write!(self.output, "> ")?;
        self.output.flush()
    }
}

impl<I: Iterator<Item = io::Result<String>>, W: Write> Ask for Plain<I, W> {
    fn ask(&mut self, screen: &Screen) -> io::Result<Reply> {
        if let Some(input) = self.waiting.pop_front() {
            return Ok(Reply::Input(input));
        }
        self.show(screen)?;
        loop {
            let line = match self.input.next() {
                None => {
                    writeln!(self.output)?;
                    return Ok(Reply::Ended);
                }
                Some(Ok(line)) => line,
                Some(Err(error)) if error.kind() == io::ErrorKind::Interrupted => {
                    writeln!(self.output)?;
                    return Ok(Reply::Interrupted);
                }
                Some(Err(error)) => return Err(error),
            };
            if self.echo == Echo::On {
                writeln!(self.output, "{}", line.trim())?;
            }
            // A line that begins so is a remark in a script.
            if line.trim_start().starts_with("//") {
                continue;
            }
            self.waiting = inputs(screen, &line);
            if let Some(input) = self.waiting.pop_front() {
                return Ok(Reply::Input(input));
            }
        }
    }
}

/// What a line means on a screen: a key, one or more numbers of choices, or text.
fn inputs(screen: &Screen, line: &str) -> VecDeque<Input> {
    let line = line.trim();
    let mut letters = line.chars();
    if let (Some(letter), None) = (letters.next(), letters.next())
        && let Some(key) = screen.key(letter.to_ascii_lowercase())
    {
        return VecDeque::from([Input::Key(key)]);
    }
    if line.is_empty() {
        return VecDeque::from([Input::Key(Key::Enter)]);
    }
    let words: Vec<&str> = line.split([' ', ',']).filter(|w| !w.is_empty()).collect();
    let picks: Option<VecDeque<Input>> = words.iter().map(|word| pick(screen, word)).collect();
    match picks {
        Some(picks) if screen.writing != Writing::Number && screen.writing != Writing::Words => picks,
        _ => VecDeque::from([Input::Text(line.to_owned())]),
    }
}

/// A number of a choice; among several answers also a key: `1 n` is "the first, then not sure".
fn pick(screen: &Screen, word: &str) -> Option<Input> {
    if let Ok(number) = word.parse::<usize>() {
        return (1..=screen.choices.len()).contains(&number).then(|| Input::Pick(number - 1));
    }
    let mut letters = word.chars();
    match (letters.next(), letters.next()) {
        (Some(letter), None) => screen.key(letter).map(Input::Key),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn screen() -> Screen {
        let mut screen = Screen::new("", "");
        screen.choices = vec!["dry".to_owned(), "wet".to_owned()];
        screen.keys = vec![(Key::NotSure, "not sure".to_owned()), (Key::Enter, "on".to_owned())];
        screen
    }

    #[test]
    fn a_line_is_numbers_or_a_key_or_text() {
        let read = |line: &str| inputs(&screen(), line).into_iter().collect::<Vec<_>>();
        assert_eq!(read("1\n"), [Input::Pick(0)]);
        assert_eq!(read("1, 2"), [Input::Pick(0), Input::Pick(1)]);
        assert_eq!(read("2 n"), [Input::Pick(1), Input::Key(Key::NotSure)]);
        assert_eq!(read(""), [Input::Key(Key::Enter)]);
        assert_eq!(read("N"), [Input::Key(Key::NotSure)]);
        assert_eq!(read("3"), [Input::Text("3".to_owned())]);
        assert_eq!(read("z"), [Input::Text("z".to_owned())]);
    }

    #[test]
    fn a_number_on_a_screen_that_is_written_is_text() {
        let mut screen = screen();
        screen.writing = Writing::Number;
        assert_eq!(inputs(&screen, "1"), [Input::Text("1".to_owned())]);
        assert_eq!(inputs(&screen, "n"), [Input::Key(Key::NotSure)]);
    }
}
