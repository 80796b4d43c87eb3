//! A document for a terminal, or for a reader of plain lines.

use super::{Align, Bar, Blank, Block, Caution, Choice, Document, Level, Mark, Rich, Signal, Span, Step, Table};
use crate::units::is_printable;
use colored::{ColoredString, Colorize};
use std::sync::Once;
use textwrap::core::display_width;
use textwrap::{Options, WordSplitter, WrapAlgorithm};

/// Whether to use color. Color never says anything that words do not.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Paint {
    /// None.
    Plain,
    /// Escape codes.
    Colored,
}

/// The narrowest and the widest lines; a wider window is left empty, for longer lines are hard to follow.
const WIDTHS: std::ops::RangeInclusive<usize> = 40..=120;

/// Below this, what stands side by side stands one under the other.
const NARROW: usize = 56;

/// The length of a blank to write in.
const BLANK: &str = "__________";

/// The document as text, lines of `width` columns (40 to 120) at most. Ends with a line break.
#[must_use]
pub fn render_text(document: &Document, width: usize, paint: Paint) -> String {
    if paint == Paint::Colored {
        // `colored` decides by the environment of the process; here the caller has decided. Nobody else uses it.
        static FORCE: Once = Once::new();
        FORCE.call_once(|| colored::control::set_override(true));
    }
    let mut page = Page { width: width.clamp(*WIDTHS.start(), *WIDTHS.end()), paint, lines: Vec::new() };
    for (at, block) in document.blocks.iter().enumerate() {
        let before = at.checked_sub(1).map(|before| &document.blocks[before]);
        if before.is_some_and(|before| apart(before, block)) {
            page.lines.push(String::new());
        }
        page.block(block);
    }
    let mut text = page.lines.join("\n");
    text.push('\n');
    text
}

/// Whether a blank line stands between two blocks. A heading holds on to what follows it, a caution to its step.
fn apart(before: &Block, block: &Block) -> bool {
    !matches!(
        (before, block),
        (Block::Heading(..), b) if !matches!(b, Block::Heading(Level::Section, _))
    ) && !matches!((before, block), (Block::Caution(c), Block::Steps(_)) if c.is_reminder())
        && !matches!((before, block), (Block::Caution(a), Block::Caution(b)) if a.is_reminder() && b.is_reminder())
        && !matches!((before, block), (Block::Choices(_), Block::Choices(_)))
}

/// How a piece of text is to be painted.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Style {
    Plain,
    Strong,
    Faint,
    Title,
    Heading,
    Signal(Signal),
    Bar,
}

/// The lines so far.
struct Page {
    width: usize,
    paint: Paint,
    lines: Vec<String>,
}

impl Page {
    fn block(&mut self, block: &Block) {
        match block {
            Block::Title(text) => {
                let from = self.lines.len();
                self.wrapped("", text, Style::Title);
                let longest = self.lines[from..].iter().map(|line| display_width(line)).max().unwrap_or(0);
                self.lines.push("=".repeat(longest.min(self.width)));
            }
            Block::Heading(Level::Section, text) => {
                self.wrapped("", &Rich::plain(&text.text().to_uppercase()), Style::Heading);
            }
            Block::Heading(Level::Part, text) => self.wrapped("", text, Style::Strong),
            Block::Paragraph(text) => self.wrapped("", text, Style::Plain),
            Block::Aside(text) => self.wrapped("", text, Style::Faint),
            Block::Bullets(items) => items.iter().for_each(|item| self.wrapped("- ", item, Style::Plain)),
            Block::Steps(steps) => steps.iter().for_each(|step| self.step(step)),
            Block::Pairs(pairs) => self.pairs(pairs),
            Block::Table(table) => self.table(table),
            Block::Caution(caution) => self.caution(caution),
            Block::Blanks(blanks) => blanks.iter().for_each(|blank| self.blank("", blank)),
            Block::Bars(bars) => self.bars(bars),
            Block::Moves(moves) => self.table(&moves.table()),
            Block::Tree(tree) => {
                for (depth, line) in tree.outline() {
                    self.wrapped(&format!("{}- ", "  ".repeat(depth)), &line.into(), Style::Plain);
                }
            }
            Block::Choices(choices) => self.choices(choices),
            Block::Line(left, right) => self.line(left, right),
            Block::Rule => self.lines.push("-".repeat(self.width)),
            Block::Verbatim(text) => self.verbatim(text),
        }
    }

    /// Wrapped text after `lead`; the lines after the first are set in under it.
    fn wrapped(&mut self, lead: &str, text: &Rich, style: Style) {
        let hang = display_width(lead).min(self.width / 2);
        let indent = " ".repeat(hang);
        let lines = wrap(text, self.width.saturating_sub(hang), style, self.paint);
        for (at, line) in lines.into_iter().enumerate() {
            let lead = if at == 0 { lead } else { &indent };
            self.lines.push(format!("{lead}{line}").trim_end().to_owned());
        }
    }

    fn step(&mut self, step: &Step) {
        let lead = match step.mark {
            Mark::Box => "[ ] ".to_owned(),
            Mark::Number(n) => format!("{n:>2}. "),
            Mark::NumberedBox(n) => format!("[ ] {n:>2}. "),
        };
        self.wrapped(&lead, &step.what, Style::Plain);
        let indent = " ".repeat(display_width(&lead));
        for note in &step.notes {
            self.wrapped(&indent, note, Style::Plain);
        }
        for blank in &step.blanks {
            self.blank(&indent, blank);
        }
    }

    fn blank(&mut self, indent: &str, blank: &Blank) {
        let value = blank.value().unwrap_or_else(|| BLANK.to_owned());
        let mut line = blank.label.clone().and(": ").and_strong(&value);
        // A value that was written down brings its own unit.
        if let (None, Some(unit)) = (blank.value(), &blank.unit) {
            line = line.and(" ").and(unit);
        }
        if let Some(note) = &blank.note {
            line = note.spans().iter().fold(line.and(" ("), |line, span| line.and(span.text())).and(")");
        }
        self.wrapped(&format!("{indent}> "), &line, Style::Plain);
    }

    fn pairs(&mut self, pairs: &[(Rich, Rich)]) {
        let longest = pairs.iter().map(|(name, _)| display_width(&name.text())).max().unwrap_or(0);
        for (name, says) in pairs {
            if self.width < NARROW || longest > self.width / 3 {
                self.wrapped("", name, Style::Strong);
                self.wrapped("    ", says, Style::Plain);
            } else {
                let name = name.text();
                let gap = " ".repeat(longest + 2 - display_width(&name));
                self.wrapped(&format!("{name}{gap}"), says, Style::Plain);
            }
        }
    }

    /// A reminder: the word, what it is about and the box, on one line where they fit.
    fn reminder(&mut self, caution: &Caution) {
        let word = paint(caution.signal.word(), Style::Signal(caution.signal), self.paint);
        let mut text = Rich::default().and_strong(&caution.title.text());
        if let Some(tick) = &caution.tick {
            text = text.and(". [ ] ").and(&tick.text());
        }
        self.wrapped(&format!("! {word}: "), &text, Style::Plain);
    }

    fn caution(&mut self, caution: &Caution) {
        if caution.is_reminder() {
            return self.reminder(caution);
        }
        let word = caution.signal.word();
        let painted = paint(word, Style::Signal(caution.signal), self.paint);
        let lead = format!("! {painted}: ");
        let text = wrap(&caution.title, self.width - display_width(&lead), Style::Strong, self.paint);
        let indent = "  ";
        for (at, line) in text.into_iter().enumerate() {
            let lead = if at == 0 { lead.as_str() } else { "           " };
            self.lines.push(format!("{lead}{line}"));
        }
        if let Some(harm) = &caution.harm {
            self.wrapped(indent, harm, Style::Plain);
        }
        for control in &caution.controls {
            self.wrapped("  - ", control, Style::Plain);
        }
        for never in &caution.never {
            self.wrapped("  x ", never, Style::Plain);
        }
        if let Some(tick) = &caution.tick {
            self.wrapped("  [ ] ", tick, Style::Plain);
        }
    }

    fn bars(&mut self, bars: &[Bar]) {
        let figures = bars.iter().map(|bar| display_width(&bar.figure)).max().unwrap_or(0);
        let length = if self.width < NARROW { 12 } else { 20 };
        let labels = self.width.saturating_sub(length + figures + 4);
        for bar in bars {
            let drawn = paint(&drawn(bar.share, length), Style::Bar, self.paint);
            if labels < 24 {
                self.wrapped("", &bar.label, Style::Plain);
                self.lines.push(format!("  {drawn}  {}", bar.figure));
                continue;
            }
            let mut lines = wrap(&bar.label, labels, Style::Plain, self.paint).into_iter();
            let first = lines.next().unwrap_or_default();
            let gap = " ".repeat(labels - display_width(&first).min(labels));
            self.lines.push(format!("{first}{gap}  {drawn}  {}", bar.figure));
            self.lines.extend(lines);
        }
    }

    /// Side by side where they fit on one line, else one under the other.
    fn choices(&mut self, choices: &[Choice]) {
        let width = |choice: &Choice| display_width(&choice.key) + 1 + display_width(&choice.says.text());
        let all: usize = choices.iter().map(|choice| width(choice) + 3).sum();
        let key = |choice: &Choice| paint(&choice.key, Style::Strong, self.paint);
        if all <= self.width {
            let row: Vec<String> =
                choices.iter().map(|c| format!("{} {}", key(c), styled(&c.says, self.paint))).collect();
            self.lines.push(format!("  {}", row.join("   ")));
            return;
        }
        let longest = choices.iter().map(|choice| display_width(&choice.key)).max().unwrap_or(0);
        for choice in choices {
            let gap = " ".repeat(longest - display_width(&choice.key) + 2);
            self.wrapped(
                &format!("  {}{gap}", paint(&choice.key, Style::Strong, self.paint)),
                &choice.says,
                Style::Plain,
            );
        }
    }

    fn line(&mut self, left: &Rich, right: &Rich) {
        let used = display_width(&left.text()) + display_width(&right.text());
        if used + 2 <= self.width {
            let gap = " ".repeat(self.width - used);
            let (left, right) = (styled(left, self.paint), styled(right, self.paint));
            self.lines.push(format!("{left}{gap}{right}").trim_end().to_owned());
        } else {
            self.wrapped("", left, Style::Plain);
            self.wrapped("", right, Style::Plain);
        }
    }

    fn verbatim(&mut self, text: &str) {
        for line in text.lines() {
            let clean: String = line.chars().map(|c| if is_printable(c) { c } else { ' ' }).collect();
            self.lines.push(clean.trim_end().to_owned());
        }
    }

    fn table(&mut self, table: &Table) {
        match column_widths(table, self.width) {
            Some(widths) => self.grid(table, &widths),
            None => self.stacked(table),
        }
    }

    fn grid(&mut self, table: &Table, widths: &[usize]) {
        let titles: Vec<Rich> = table.columns.iter().map(|column| column.title.clone()).collect();
        self.row(table, &titles, widths, Style::Strong);
        let ruled = widths.iter().map(|width| "-".repeat(*width)).collect::<Vec<_>>().join("  ");
        self.lines.push(ruled.clone());
        for row in &table.rows {
            self.row(table, row, widths, Style::Plain);
        }
        if let Some(total) = &table.total {
            self.lines.push(ruled);
            self.row(table, total, widths, Style::Strong);
        }
    }

    fn row(&mut self, table: &Table, cells: &[Rich], widths: &[usize], style: Style) {
        let wrapped: Vec<Vec<String>> =
            cells.iter().zip(widths).map(|(cell, width)| wrap(cell, *width, style, self.paint)).collect();
        let height = wrapped.iter().map(Vec::len).max().unwrap_or(0);
        for at in 0..height {
            let mut line = String::new();
            for ((cell, width), column) in wrapped.iter().zip(widths).zip(&table.columns) {
                let text = cell.get(at).map_or("", String::as_str);
                let gap = " ".repeat(width - display_width(text).min(*width));
                if !line.is_empty() {
                    line.push_str("  ");
                }
                match column.align {
                    Align::Left => line.extend([text, &gap]),
                    Align::Right => line.extend([gap.as_str(), text]),
                }
            }
            self.lines.push(line.trim_end().to_owned());
        }
    }

    /// Each row as a small list of its own: the first cell leads, the others follow with their titles.
    fn stacked(&mut self, table: &Table) {
        for (row, style) in
            table.rows.iter().map(|row| (row, Style::Plain)).chain(table.total.iter().map(|row| (row, Style::Strong)))
        {
            let Some((first, others)) = row.split_first() else { continue };
            self.wrapped("- ", first, style);
            for (cell, column) in others.iter().zip(&table.columns[1..]).filter(|(cell, _)| !cell.is_empty()) {
                let text = column.title.clone().and(": ").and_all(cell);
                self.wrapped("    ", &text, style);
            }
        }
    }
}

/// The narrowest a column of wrapped words may get.
const COLUMN_LEAST: usize = 14;

/// How wide each column is: figures as wide as they are, words share what is left. `None` where that is too little.
fn column_widths(table: &Table, width: usize) -> Option<Vec<usize>> {
    let natural: Vec<usize> = (0..table.columns.len())
        .map(|at| {
            let cells = table.rows.iter().chain(&table.total).filter_map(|row| row.get(at));
            let cells = cells.chain([&table.columns[at].title]);
            cells.map(|cell| display_width(&cell.text())).max().unwrap_or(0)
        })
        .collect();
    let gaps = 2 * natural.len().saturating_sub(1);
    let mut widths = natural.clone();
    // The widest column of words gives way until all fit.
    while widths.iter().sum::<usize>() + gaps > width {
        let (at, widest) = widths
            .iter()
            .copied()
            .enumerate()
            .filter(|(at, _)| table.columns[*at].align == Align::Left)
            .max_by_key(|(at, width)| (*width, std::cmp::Reverse(*at)))?;
        if widest <= COLUMN_LEAST {
            return None;
        }
        widths[at] = widest - 1;
    }
    Some(widths)
}

/// A bar of `length` characters; a share that is not nothing shows at least one.
fn drawn(share: f64, length: usize) -> String {
    #[expect(clippy::cast_precision_loss, reason = "a bar is short")]
    let exact = share.clamp(0.0, 1.0) * length as f64;
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 0 and the length of a bar")]
    let full = (exact.round() as usize).max(usize::from(share > 0.0));
    format!("{}{}", "#".repeat(full), ".".repeat(length - full))
}

/// The lines of a text, painted.
fn wrap(text: &Rich, width: usize, style: Style, paint: Paint) -> Vec<String> {
    let plain = text.text();
    let options = Options::new(width.max(8))
        .wrap_algorithm(WrapAlgorithm::FirstFit)
        .word_splitter(WordSplitter::NoHyphenation)
        .break_words(true);
    let mut from = 0;
    let mut lines = Vec::new();
    for line in textwrap::wrap(plain.trim_end(), options) {
        // Wrapping only leaves out spaces, so each line is found again after the one before.
        let start = plain[from..].find(line.as_ref()).map_or(from, |at| from + at);
        from = start + line.len();
        lines.push(painted(text, start, from, style, paint));
    }
    lines
}

/// The bytes `start..end` of a text, painted span by span.
fn painted(text: &Rich, start: usize, end: usize, style: Style, with: Paint) -> String {
    let mut line = String::new();
    let mut at = 0;
    for span in text.spans() {
        let (from, to) = (start.max(at), end.min(at + span.text().len()));
        if from < to {
            let style = match (span, style) {
                (Span::Strong(_), Style::Plain) => Style::Strong,
                _ => style,
            };
            line.push_str(&paint(&span.text()[from - at..to - at], style, with));
        }
        at += span.text().len();
    }
    line
}

/// A text on one line, painted.
fn styled(text: &Rich, with: Paint) -> String {
    painted(text, 0, text.text().len(), Style::Plain, with)
}

fn paint(text: &str, style: Style, with: Paint) -> String {
    if with == Paint::Plain || style == Style::Plain || text.is_empty() {
        return text.to_owned();
    }
    let colored: ColoredString = match style {
        Style::Plain => text.normal(),
        Style::Strong | Style::Title => text.bold(),
        Style::Heading => text.bold().cyan(),
        Style::Faint => text.dimmed(),
        Style::Bar => text.cyan(),
        Style::Signal(Signal::Danger) => text.bold().white().on_red(),
        Style::Signal(Signal::Warning) => text.bold().black().on_yellow(),
        Style::Signal(Signal::Caution) => text.bold().yellow(),
        Style::Signal(Signal::Notice) => text.bold().blue(),
    };
    colored.to_string()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::{Column, render_markdown};

    /// One of everything.
    fn sample() -> Document {
        let mut doc = Document::new();
        doc.title("Work order: barn-find twin");
        doc.push(Block::Line(
            "Barn-find twin · cranks, will not start".into(),
            "check 4 · $33 and 21 min so far".into(),
        ));
        doc.paragraph(
            Rich::plain("Both inlet needles are stuck shut, ")
                .and_strong("about 2 in 3")
                .and(", by the answers so far. Nothing else comes near, and the carburetors must come off anyway."),
        );
        doc.section("Make safe");
        doc.push(Block::Caution(Caution {
            signal: Signal::Danger,
            title: "Gasoline vapor in the hull".into(),
            harm: Some("Two teaspoons of gasoline can make a hull explosive.".into()),
            controls: vec![
                "Air the hull 10 minutes at the start, 15 after a faint smell, 30 after a strong smell.".into(),
            ],
            never: vec!["Never press start while fuel is smelled.".into()],
            tick: Some("Seat off and hull aired for the full time".into()),
        }));
        doc.step(Step {
            mark: Mark::NumberedBox(1),
            what: "Lift the seat and open every hatch.".into(),
            ..Step::default()
        });
        doc.push(Block::Caution(Caution {
            signal: Signal::Warning,
            title: "Fuel line or fuel cover open".into(),
            harm: None,
            controls: vec![],
            never: vec![],
            tick: Some("Line closed again".into()),
        }));
        doc.step(Step {
            mark: Mark::NumberedBox(12),
            what: "Count each mixture screw in to its first light seat, in eighths of a turn, with two fingers only."
                .into(),
            notes: vec!["Two fingers on the driver.".into()],
            blanks: vec![
                Blank { label: "low screw, front".into(), unit: Some("turns".into()), ..Blank::default() },
                Blank {
                    label: "low screw, rear".into(),
                    values: vec!["1 1/8 turns".into()],
                    note: Some("usual 0.5 to 1.5".into()),
                    ..Blank::default()
                },
            ],
        });
        doc.part("Parts");
        doc.push(Block::Table(Table {
            columns: vec![Column::words("Part"), Column::figures("How many"), Column::figures("Price")],
            rows: vec![
                vec![
                    "Rebuild kit with needle, seat and both films, the maker's or its equal".into(),
                    "2".into(),
                    "$90".into(),
                ],
                vec!["Fuel hose | 6 mm".into(), "4".into(), "$45".into()],
            ],
            total: Some(vec!["All".into(), Rich::default(), "$135".into()]),
        }));
        doc.bullets(["plug wrench", "pop-off pump, with a gauge that reads to a tenth of a bar at least"]);
        doc.push(Block::Pairs(vec![
            ("Craft".into(), "two cylinders, a carburetor each".into()),
            ("Complaint".into(), "It cranks and will not start, since it came out of storage".into()),
        ]));
        doc.push(Block::Bars(vec![
            Bar { label: "No fuel gets in".into(), share: 0.6, figure: "6 in 10".into() },
            Bar { label: "Nothing listed fits".into(), share: 0.001, figure: "less than 1 in 100".into() },
        ]));
        doc.push(Block::Choices(vec![
            Choice { key: "1".into(), says: "dry".into() },
            Choice { key: "2".into(), says: "damp, as it should be".into() },
            Choice { key: "3".into(), says: "wet with fuel".into() },
        ]));
        doc.push(Block::Rule);
        doc.push(Block::Verbatim("a\n  b \u{1b}[31m".to_owned()));
        doc.aside("Local codes, the maker's manual and licensed practice come first.");
        doc
    }

    #[test]
    fn one_document_at_every_width() {
        for width in [40, 60, 100] {
            insta::assert_snapshot!(format!("sample_{width}_plain"), render_text(&sample(), width, Paint::Plain));
            let colored = render_text(&sample(), width, Paint::Colored).replace('\u{1b}', "ESC");
            insta::assert_snapshot!(format!("sample_{width}_colored"), colored);
        }
        insta::assert_snapshot!("sample_markdown", render_markdown(&sample()));
    }

    #[test]
    fn no_line_is_wider_than_the_page() {
        for width in 40..=120 {
            for line in render_text(&sample(), width, Paint::Plain).lines() {
                assert!(display_width(line) <= width, "`{line}` is wider than {width}");
            }
        }
    }

    #[test]
    fn color_changes_nothing_but_color() {
        let escapes = |text: &str| {
            let mut plain = String::new();
            let mut rest = text;
            while let Some(at) = rest.find('\u{1b}') {
                plain.push_str(&rest[..at]);
                rest = &rest[at + rest[at..].find('m').expect("a color code ends with m") + 1..];
            }
            plain + rest
        };
        for width in [40, 60, 100] {
            let colored = render_text(&sample(), width, Paint::Colored);
            assert!(colored.contains('\u{1b}'));
            assert_eq!(escapes(&colored), render_text(&sample(), width, Paint::Plain));
        }
    }

    #[test]
    fn a_long_word_is_broken() {
        let doc = Document { blocks: vec![Block::Paragraph(Rich::plain(&"x".repeat(100)))] };
        assert_eq!(render_text(&doc, 40, Paint::Plain).lines().count(), 3);
    }
}
