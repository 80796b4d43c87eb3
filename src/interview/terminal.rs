//! A person at a terminal: one key answers, arrows and Enter do too, Esc goes back. Of more answers than there are digits
//! the number is typed, then Enter.

use super::screen::{Fitted, STEPS_GO, Screen, Writing};
use super::state::{Input, Key};
use super::{Ask, Reply};
use crate::report::Paint;
use crate::units::is_printable;
use dialoguer::console::{Key as Pressed, Term};
use dialoguer::{FuzzySelect, theme::SimpleTheme};
use std::collections::VecDeque;
use std::io;
use std::sync::atomic::{AtomicBool, Ordering};

/// The most choices on one page: so many as have a digit.
const PAGE: usize = 9;
/// A window so wide has room for what to do in a list, and for what is typed: a line that wraps is drawn again and again.
const PROMPT: usize = 72;
/// The widest screen: longer lines are hard to follow.
const WIDEST: usize = 100;
/// In a window so wide what stands beside the question gets a column of its own; wider than the second it is left empty.
const COLUMNS: std::ops::RangeInclusive<usize> = 100..=132;

/// Set by Ctrl-C; whoever waits looks at it.
static INTERRUPTED: AtomicBool = AtomicBool::new(false);

/// From here on Ctrl-C ends an interview in order: whoever waits for a key sees it, keeps the case and shows the cursor.
pub fn end_in_order_on_ctrl_c() {
    // A handler that stands already is one of ours.
    let _ = ctrlc::set_handler(|| {
        INTERRUPTED.store(true, Ordering::Relaxed);
        // Between the last look at the flag and the wait for a key nobody sees it, and the wait goes on without it.
        // A signal ends the wait, so it is sent until the program has ended.
        std::thread::sleep(std::time::Duration::from_millis(100));
        wake();
    });
}

/// Sends the signal of Ctrl-C once more.
#[cfg(unix)]
fn wake() {
    use rustix::process::{Signal, getpid, kill_process};
    // It cannot fail: it is this program's own.
    let _ = kill_process(getpid(), Signal::INT);
}

/// Elsewhere a console's Ctrl-C ends the wait for a key itself.
#[cfg(not(unix))]
fn wake() {}

/// Asks at a terminal.
pub struct Terminal {
    term: Term,
    paint: Paint,
    /// The page of choices last shown, and which list it was: the same list opens where it was left.
    last_page: (String, usize),
    pointed: Pointed,
    /// What a line held beyond its first number.
    waiting: VecDeque<Input>,
}

/// What was pointed out before an answer was taken, or read without that: it is not pointed out again.
#[derive(Default)]
struct Pointed(Option<String>);

impl Pointed {
    /// The input, unless something is to be read first that stands on no line: then the screen says so.
    fn pass(&mut self, screen: &mut Screen, draft: &mut Draft, hidden: bool, input: Input) -> Option<Input> {
        let Some(unread) = screen.unread.clone() else { return Some(input) };
        let before = self.0.as_ref() == Some(&unread);
        match input {
            Input::Key(Key::How) => self.0 = Some(unread),
            Input::Pick(_) | Input::Text(_) if hidden && !before => {
                // What was typed goes, or the key that shows the steps would be typed after it.
                if let Input::Pick(at) = input {
                    draft.at = Some(at);
                }
                self.0 = Some(unread.clone());
                screen.notices = vec![unread];
                return None;
            }
            _ => {}
        }
        Some(input)
    }
}

/// What a window shows of a screen.
struct Frame {
    lines: Vec<String>,
    /// The last line.
    prompt: String,
    /// How many pages there are.
    pages: usize,
    /// Whether the steps of what is done stand behind a key.
    hidden: bool,
}

/// What a person is about to say on this screen.
#[derive(Default)]
struct Draft {
    /// The page of choices, or of lines where the screen is longer than the window.
    page: usize,
    /// The choice that the arrows stand on.
    at: Option<usize>,
    /// What has been typed.
    typed: String,
    /// The numbers of a line after the first, to be taken one after the other.
    rest: VecDeque<Input>,
}

impl Terminal {
    /// Asks on standard output.
    #[must_use]
    pub fn new(paint: Paint) -> Self {
        Self {
            term: Term::stdout(),
            paint,
            last_page: (String::new(), 0),
            pointed: Pointed::default(),
            waiting: VecDeque::new(),
        }
    }

    /// Shows the cursor again and leaves the screen as it is.
    ///
    /// # Errors
    /// Where writing fails.
    pub fn restore(&self) -> io::Result<()> {
        self.term.show_cursor()?;
        self.term.write_line("")
    }

    fn window(&self) -> Window {
        let (height, width) = self.term.size();
        Window { columns: usize::from(width), rows: usize::from(height), paint: self.paint }
    }

    /// Shows a screen.
    fn show(&self, screen: &Screen, draft: &Draft) -> io::Result<Frame> {
        let frame = self.window().laid_out(screen, draft);
        self.term.clear_screen()?;
        for line in &frame.lines {
            self.term.write_line(line)?;
        }
        self.term.write_str(&frame.prompt)?;
        self.term.flush()?;
        Ok(frame)
    }

    /// Long lists are found by typing part of a name.
    fn find(&self, screen: &Screen) -> io::Result<Reply> {
        let window = self.window();
        let (width, height) = (window.width(), window.rows);
        self.term.clear_screen()?;
        let title = screen.document(0, 0..0);
        for line in crate::report::render_text(&title, width, self.paint).lines().filter(|l| !l.contains('\u{e000}')) {
            self.term.write_line(line)?;
        }
        self.term.write_line("Fire: Esc, then !")?;
        let items: Vec<String> = screen.choices.iter().map(|c| cut(c, width.saturating_sub(4))).collect();
        let picked = FuzzySelect::with_theme(&SimpleTheme)
            .with_prompt(if width < PROMPT {
                "Part of it, Enter, Esc"
            } else {
                "Type part of it, Enter takes it, Esc goes back"
            })
            .items(&items)
            .default(0)
            .max_length(height.saturating_sub(8).max(3))
            .interact_on_opt(&self.term);
        match picked {
            Ok(Some(at)) => Ok(Reply::Input(Input::Pick(at))),
            Ok(None) => Ok(Reply::Input(Input::Key(Key::Back))),
            Err(dialoguer::Error::IO(error)) if error.kind() == io::ErrorKind::Interrupted => Ok(Reply::Interrupted),
            Err(dialoguer::Error::IO(error)) => Err(error),
        }
    }
}

/// A window of so many columns and rows.
#[derive(Clone, Copy, Debug)]
pub struct Window {
    /// Its columns.
    pub columns: usize,
    /// Its rows.
    pub rows: usize,
    /// Whether it takes color.
    pub paint: Paint,
}

impl Window {
    /// How wide a text is: the last column stays free, or some terminals wrap.
    fn width(self) -> usize {
        self.columns.saturating_sub(1).min(WIDEST)
    }

    fn laid_out(self, screen: &Screen, draft: &Draft) -> Frame {
        let room = self.rows.saturating_sub(2).max(4);
        let (lines, pages, hidden) = if screen.choices.is_empty() && screen.writing == Writing::Nothing {
            // A text to read goes by pages, without its keys, which stand in the last line.
            let mut text = screen.clone();
            text.keys.clear();
            let lines = text.lines(self.width(), usize::MAX, 0..0, self.paint).lines;
            let pages = lines.len().div_ceil(room).max(1);
            let from = draft.page.min(pages - 1) * room;
            (lines[from..(from + room).min(lines.len())].to_vec(), pages, false)
        } else {
            let from = (draft.page * PAGE).min(screen.choices.len());
            let to = (from + PAGE).min(screen.choices.len());
            let Fitted { lines, level } = self.question(screen, room, from..to);
            (lines, screen.choices.len().div_ceil(PAGE), level >= STEPS_GO)
        };
        Frame { lines, prompt: prompt(screen, draft, pages, self.width()), pages, hidden }
    }

    /// A question with its answers: in two columns where the window is wide enough.
    fn question(self, screen: &Screen, room: usize, choices: std::ops::Range<usize>) -> Fitted {
        if self.columns < *COLUMNS.start() {
            return screen.lines(self.width(), room, choices, self.paint);
        }
        screen.columns(self.columns.min(*COLUMNS.end()) - 1, room, choices, self.paint)
    }
}

/// A window that nobody sits at: keys are played to it one after the other, and what it showed last is kept.
pub struct Played<K> {
    window: Window,
    keys: K,
    /// The lines shown last, the last line among them.
    pub shown: Vec<String>,
    pointed: Pointed,
    waiting: VecDeque<Input>,
}

impl<K: Iterator<Item = Pressed>> Played<K> {
    /// Plays keys to a window.
    pub fn new(window: Window, keys: K) -> Self {
        Self { window, keys, shown: Vec::new(), pointed: Pointed::default(), waiting: VecDeque::new() }
    }

    /// In a list, what is typed takes the first line that holds it.
    fn find(&mut self, screen: &Screen) -> Reply {
        let mut typed = String::new();
        loop {
            match self.keys.next() {
                None => return Reply::Ended,
                Some(Pressed::CtrlC) => return Reply::Interrupted,
                Some(Pressed::Escape) => return Reply::Input(Input::Key(Key::Back)),
                Some(Pressed::Char(c)) => typed.push(c),
                Some(Pressed::Enter) => {
                    let lines: Vec<&str> = screen.choices.iter().map(String::as_str).collect();
                    let found = super::step::matching_lines(&lines, &typed).first().copied();
                    return Reply::Input(found.map_or(Input::Key(Key::Back), Input::Pick));
                }
                Some(_) => {}
            }
        }
    }
}

impl<K: Iterator<Item = Pressed>> Ask for Played<K> {
    fn ask(&mut self, screen: &Screen) -> io::Result<Reply> {
        if let Some(input) = self.waiting.pop_front() {
            return Ok(Reply::Input(input));
        }
        let mut screen = screen.clone();
        let mut draft = Draft::default();
        loop {
            let mut frame = self.window.laid_out(&screen, &draft);
            frame.lines.push(frame.prompt);
            self.shown = frame.lines;
            if screen.writing == Writing::Name {
                return Ok(self.find(&screen));
            }
            match self.keys.next() {
                None => return Ok(Reply::Ended),
                Some(Pressed::CtrlC) => return Ok(Reply::Interrupted),
                Some(pressed) => {
                    let input = press(&screen, &mut draft, &pressed, frame.pages);
                    let taken = input.and_then(|input| self.pointed.pass(&mut screen, &mut draft, frame.hidden, input));
                    if let Some(input) = taken {
                        self.waiting = std::mem::take(&mut draft.rest);
                        return Ok(Reply::Input(input));
                    }
                }
            }
        }
    }
}

/// The last line: what has been typed, how to turn the page, and for a text to read its keys.
fn prompt(screen: &Screen, draft: &Draft, pages: usize, width: usize) -> String {
    let at = draft.at.and_then(|at| screen.choices.get(at)).map(|c| cut(c, 30)).unwrap_or_default();
    if screen.choices.len() > PAGE {
        let how = if draft.typed.is_empty() { "; a number, Enter; m more" } else { "; Enter takes it" };
        return format!("[{} of {pages}{how}] > {}{at}", draft.page + 1, draft.typed);
    }
    if !screen.choices.is_empty() || screen.writing != Writing::Nothing {
        return format!("> {}{at}", draft.typed);
    }
    let mut keys: Vec<String> = Vec::new();
    if draft.page + 1 < pages {
        keys.push(format!("Enter page {} of {pages}", draft.page + 2));
        keys.push("Esc back".to_owned());
    }
    let last = draft.page + 1 >= pages;
    keys.extend(
        screen.keys.iter().filter(|(k, _)| last || *k != Key::Enter).map(|(k, says)| format!("{} {says}", k.shown())),
    );
    let line = |keys: &[String]| format!("{} >", keys.join(" · "));
    let too_wide = |keys: &[String]| textwrap::core::display_width(&line(keys)) > width;
    // What stops everything stays, in short; of the others none is cut in the middle.
    if too_wide(&keys)
        && let Some(stop) = keys.iter_mut().find(|key| key.starts_with(Key::Stop.letter()))
    {
        *stop = format!("{} fire", Key::Stop.shown());
    }
    while too_wide(&keys) && keys.len() > 2 {
        keys.remove(keys.len() - 2);
    }
    cut(&line(&keys), width)
}

/// A text cut to a number of columns.
fn cut(text: &str, width: usize) -> String {
    let mut kept = String::new();
    for c in text.chars() {
        if textwrap::core::display_width(&kept) + 1 > width {
            break;
        }
        kept.push(c);
    }
    kept
}

impl Ask for Terminal {
    fn ask(&mut self, screen: &Screen) -> io::Result<Reply> {
        if screen.writing == Writing::Name {
            return self.find(screen);
        }
        if let Some(input) = self.waiting.pop_front() {
            return Ok(Reply::Input(input));
        }
        let list = format!("{} {}", screen.place.1, screen.choices.len());
        let page = if self.last_page.0 == list && screen.choices.len() > PAGE { self.last_page.1 } else { 0 };
        let mut screen = screen.clone();
        let mut draft = Draft { page, ..Draft::default() };
        loop {
            self.last_page = (list.clone(), draft.page);
            if INTERRUPTED.load(Ordering::Relaxed) {
                return Ok(Reply::Interrupted);
            }
            let frame = self.show(&screen, &draft)?;
            match self.term.read_key_raw() {
                Ok(Pressed::CtrlC) => return Ok(Reply::Interrupted),
                Ok(pressed) => {
                    let input = press(&screen, &mut draft, &pressed, frame.pages);
                    let taken = input.and_then(|input| self.pointed.pass(&mut screen, &mut draft, frame.hidden, input));
                    if let Some(input) = taken {
                        self.waiting = std::mem::take(&mut draft.rest);
                        // What was taken is seen to be.
                        if let Some(Input::Pick(at)) = self.waiting.back().or(Some(&input)) {
                            self.last_page.1 = at / PAGE;
                        }
                        return Ok(Reply::Input(input));
                    }
                }
                Err(error) if error.kind() == io::ErrorKind::Interrupted => return Ok(Reply::Interrupted),
                // The terminal is gone.
                Err(error) if matches!(error.kind(), io::ErrorKind::NotConnected | io::ErrorKind::UnexpectedEof) => {
                    return Ok(Reply::Ended);
                }
                Err(error) => return Err(error),
            }
        }
    }

    fn wait(&mut self) -> io::Result<()> {
        self.term.write_str("\r\n  one moment ...")?;
        self.term.flush()
    }
}

/// What a key does: an input, or a change of what is about to be said.
fn press(screen: &Screen, draft: &mut Draft, pressed: &Pressed, pages: usize) -> Option<Input> {
    let writes = matches!(screen.writing, Writing::Number | Writing::Words);
    match pressed {
        Pressed::Escape => Some(Input::Key(Key::Back)),
        Pressed::Backspace if draft.typed.is_empty() => Some(Input::Key(Key::Back)),
        Pressed::Backspace => {
            draft.typed.pop();
            None
        }
        Pressed::Enter => enter(screen, draft, pages),
        Pressed::ArrowDown | Pressed::ArrowUp if !screen.choices.is_empty() => {
            arrow(screen, draft, *pressed == Pressed::ArrowDown);
            None
        }
        Pressed::PageDown | Pressed::ArrowRight => turn(draft, pages, 1),
        Pressed::PageUp | Pressed::ArrowLeft => turn(draft, pages, pages.saturating_sub(1)),
        Pressed::Char(c) if writes => typed(screen, draft, *c),
        // On a page that is only read, the letter that goes back elsewhere goes back too.
        Pressed::Char('b') if screen.choices.is_empty() && screen.writing == Writing::Nothing => {
            Some(Input::Key(Key::Back))
        }
        Pressed::Char(c) => character(screen, draft, *c, pages),
        _ => None,
    }
}

fn enter(screen: &Screen, draft: &mut Draft, pages: usize) -> Option<Input> {
    if !draft.typed.trim().is_empty() {
        let text = std::mem::take(&mut draft.typed);
        let mut letters = text.trim().chars();
        if let (Some(letter), None) = (letters.next(), letters.next())
            && let Some(key) = screen.key(letter)
        {
            return Some(Input::Key(key));
        }
        if let Some(mut picks) = numbers(screen, &text) {
            let first = picks.pop_front();
            draft.rest = picks;
            return first;
        }
        return Some(Input::Text(text));
    }
    if let Some(at) = draft.at.take() {
        return Some(Input::Pick(at));
    }
    if screen.choices.is_empty() && draft.page + 1 < pages {
        draft.page += 1;
        return None;
    }
    Some(Input::Key(Key::Enter))
}

/// The choices whose numbers were typed, where all of it are such.
fn numbers(screen: &Screen, text: &str) -> Option<VecDeque<Input>> {
    if screen.writing != Writing::Nothing {
        return None;
    }
    let pick = |word: &str| {
        let number: usize = word.parse().ok()?;
        (1..=screen.choices.len()).contains(&number).then(|| Input::Pick(number - 1))
    };
    text.split([' ', ',']).filter(|word| !word.is_empty()).map(pick).collect()
}

fn arrow(screen: &Screen, draft: &mut Draft, down: bool) {
    let n = screen.choices.len();
    let next = match (draft.at, down) {
        (None, true) => draft.page * PAGE,
        (None, false) => (draft.page * PAGE + PAGE).min(n) - 1,
        (Some(at), true) => (at + 1) % n,
        (Some(at), false) => (at + n - 1) % n,
    };
    draft.at = Some(next);
    draft.page = next / PAGE;
}

fn turn(draft: &mut Draft, pages: usize, by: usize) -> Option<Input> {
    draft.page = (draft.page + by) % pages.max(1);
    draft.at = None;
    None
}

/// A letter at the beginning of a number is a key; in words it is a letter until Enter.
fn typed(screen: &Screen, draft: &mut Draft, c: char) -> Option<Input> {
    let key = screen.key(c).filter(|_| draft.typed.is_empty());
    let urgent = key.filter(|key| screen.writing == Writing::Number || *key == Key::Stop);
    if urgent.is_none() && is_printable(c) {
        draft.typed.push(c);
    }
    urgent.map(Input::Key)
}

fn character(screen: &Screen, draft: &mut Draft, c: char, pages: usize) -> Option<Input> {
    // Where one digit does not tell which, a number is typed, or several.
    let separates = (c == ' ' || c == ',') && !draft.typed.is_empty();
    if screen.choices.len() > PAGE && (c.is_ascii_digit() || separates) {
        draft.typed.push(c);
        return None;
    }
    if let Some(digit) = c.to_digit(10).and_then(|d| usize::try_from(d).ok()).filter(|d| *d > 0) {
        let at = digit - 1;
        return (at < screen.choices.len()).then_some(Input::Pick(at));
    }
    if c == 'm' && screen.choices.len() > PAGE {
        return turn(draft, pages, 1);
    }
    if c == ' ' {
        return turn(draft, pages, 1);
    }
    screen.key(c).or_else(|| screen.key(c.to_ascii_lowercase())).map(Input::Key)
}
