//! Each kind of block as HTML.

use super::drawing;
use crate::report::moves::{ENDS, NOTHING};
use crate::report::{
    Align, Bar, Blank, Block, Caution, Choice, Level, Mark, Moves, Rich, Signal, Span, Step, Table, figures,
};
use crate::units::is_printable;
use maud::{Markup, html};

/// From this many columns on the rows of a table are stacked on a narrow screen.
const WIDE: usize = 4;

/// What blocks stand under, for their headings go down by one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Under {
    /// The title alone.
    Title,
    /// The heading of a section.
    Section,
}

/// Blocks in a row. Cautions in full that follow each other stand side by side where there is room.
pub(super) fn run(blocks: &[Block], under: Under) -> Markup {
    let in_full = |block: &Block| matches!(block, Block::Caution(caution) if !caution.is_reminder());
    html! {
        @for group in blocks.chunk_by(|a, b| in_full(a) && in_full(b)) {
            @if group.len() > 1 {
                div class="cautions" { @for one in group { (block(one, under)) } }
            } @else {
                (block(&group[0], under))
            }
        }
    }
}

fn block(block: &Block, under: Under) -> Markup {
    match block {
        Block::Title(text) => html! { h1 { (inline(text)) } },
        Block::Heading(Level::Section, text) => html! { h2 { (inline(text)) } },
        Block::Heading(Level::Part, text) if under == Under::Title => html! { h2 class="part" { (inline(text)) } },
        Block::Heading(Level::Part, text) => html! { h3 { (inline(text)) } },
        Block::Paragraph(text) => html! { p { (inline(text)) } },
        Block::Aside(text) => html! { p class="aside" { (inline(text)) } },
        Block::Bullets(items) => html! { ul { @for item in items { li { (inline(item)) } } } },
        Block::Steps(content) => steps(content),
        Block::Pairs(pairs) => html! {
            dl { @for (name, says) in pairs { div { dt { (inline(name)) } dd { (inline(says)) } } } }
        },
        Block::Table(content) => table(content),
        Block::Caution(content) => caution(content),
        Block::Blanks(blanks) => html! { ul class="blanks" { @for one in blanks { li { (blank(one)) } } } },
        Block::Bars(content) => bars(content),
        Block::Moves(content) => moves(content),
        Block::Tree(tree) => drawing::tree(tree),
        Block::Choices(choices) => html! { ul class="choices" { @for one in choices { li { (choice(one)) } } } },
        Block::Line(left, right) => html! { p class="line" { span { (inline(left)) } " " span { (inline(right)) } } },
        Block::Rule => html! { hr; },
        Block::Verbatim(text) => {
            let clean: String = text.chars().filter(|c| *c == '\n' || is_printable(*c)).collect();
            html! { pre { (clean) } }
        }
    }
}

/// Text in a line.
pub(super) fn inline(text: &Rich) -> Markup {
    html! {
        @for span in text.spans() {
            @match span {
                Span::Plain(text) => { (text) }
                Span::Strong(text) => { strong { (text) } }
                Span::Blank => { input type="text" class="short" aria-label="write here"; }
                Span::Box => { input type="checkbox" aria-label="tick here"; }
            }
        }
    }
}

/// Steps that follow each other: one list, numbered as they are.
fn steps(steps: &[Step]) -> Markup {
    let numbered = steps.iter().any(|step| step.mark != Mark::Box);
    html! {
        @if numbered {
            ol class="steps" { @for one in steps { (step(one)) } }
        } @else {
            ul class="steps" { @for one in steps { (step(one)) } }
        }
    }
}

fn step(step: &Step) -> Markup {
    let number = match step.mark {
        Mark::Box => None,
        Mark::Number(n) | Mark::NumberedBox(n) => Some(n),
    };
    let has_box = !matches!(step.mark, Mark::Number(_));
    html! {
        li value=[number] {
            @if has_box {
                label { input type="checkbox"; " " span { (inline(&step.what)) } }
            } @else {
                p { (inline(&step.what)) }
            }
            @if !step.notes.is_empty() {
                ul class="notes" { @for note in &step.notes { li { (inline(note)) } } }
            }
            @if !step.blanks.is_empty() {
                ul class="blanks" { @for one in &step.blanks { li { (blank(one)) } } }
            }
        }
    }
}

fn blank(blank: &Blank) -> Markup {
    html! {
        span class="asked" { (inline(&blank.label)) ":" } " "
        @for value in &blank.values { span class="place" { (filled(&blank.label, value)) } " " }
        @if blank.values.is_empty() {
            input type="text" class="long" aria-label=(blank.label.text());
            @if let Some(unit) = &blank.unit { " " (unit) }
        }
        @if let Some(note) = &blank.note { " " span class="note" { "(" (inline(note)) ")" } }
    }
}

/// What is written down already, and fields for what is not, each named for whoever does not see what stands around it.
fn filled(label: &Rich, value: &Rich) -> Markup {
    let place = value.spans().iter().take_while(|span| **span != Span::Blank).map(Span::text).collect::<String>();
    let named = if place.trim().is_empty() { label.text() } else { format!("{}, {}", label.text(), place.trim()) };
    let name = |nth: usize| if nth == 0 { named.clone() } else { format!("{named}, {}", nth + 1) };
    let nth = |at: usize| value.spans()[..at].iter().filter(|span| **span == Span::Blank).count();
    html! {
        @for (at, span) in value.spans().iter().enumerate() {
            @match span {
                Span::Blank => { input type="text" class="short" aria-label=(name(nth(at))); }
                other => { (other.text()) }
            }
        }
    }
}

fn table(table: &Table) -> Markup {
    let stacked = table.columns.len() >= WIDE;
    let class = |at: usize| (table.columns[at].align == Align::Right).then_some("figure");
    let cell = |at: usize, cell: &Rich| {
        let title = (stacked && !cell.is_empty()).then(|| table.columns[at].title.text());
        html! {
            @if at == 0 { th scope="row" role="rowheader" { (tickable(cell)) } }
            @else { td role="cell" class=[class(at)] data-title=[title] { (inline(cell)) } }
        }
    };
    html! {
        div class="wide" tabindex="0" role="group" aria-label=(table_name(table)) {
            table role="table" class=[stacked.then_some("stack")] {
                thead role="rowgroup" {
                    tr role="row" {
                        @for (at, column) in table.columns.iter().enumerate() {
                            th scope="col" role="columnheader" class=[class(at)] {
                                (inline(&column.title))
                                // A heading that nobody needs to see is still read out.
                                @if column.title.is_empty() { span class="unseen" { "About" } }
                            }
                        }
                    }
                }
                tbody role="rowgroup" {
                    @for row in &table.rows { tr role="row" { @for (at, one) in row.iter().enumerate() { (cell(at, one)) } } }
                }
                @if let Some(total) = &table.total {
                    tfoot role="rowgroup" { tr role="row" { @for (at, one) in total.iter().enumerate() { (cell(at, one)) } } }
                }
            }
        }
    }
}

/// A table that can be scrolled sideways can be reached by keys and needs a name.
fn table_name(table: &Table) -> String {
    let titles: Vec<String> = table.columns.iter().map(|column| column.title.text()).collect();
    format!("Table: {}", titles.join(", "))
}

/// A cell that begins with a box: the words are the box's name.
fn tickable(cell: &Rich) -> Markup {
    let Some((Span::Box, _)) = cell.spans().split_first() else { return inline(cell) };
    html! {
        label {
            input type="checkbox";
            @for span in &cell.spans()[1..] { (span.text()) }
        }
    }
}

fn class(signal: Signal) -> &'static str {
    match signal {
        Signal::Danger => "danger",
        Signal::Warning => "warning",
        Signal::Caution => "caution",
        Signal::Notice => "notice",
    }
}

/// The word in its panel. The triangle stands for harm to people only, as in ANSI Z535.
fn panel(signal: Signal) -> Markup {
    html! {
        span class="signal" {
            @if signal != Signal::Notice {
                svg class="alert" viewBox="0 0 24 21" aria-hidden="true" {
                    path class="alert-body" d="M12 0.8 L23.4 20.4 H0.6 Z" {}
                    path class="alert-mark" d="M12 6.8 V13.6 M12 16 V18.2" {}
                }
            }
            " " (signal.word())
        }
    }
}

fn caution(caution: &Caution) -> Markup {
    let name = format!("{}: {}", caution.signal.word(), caution.title.text());
    let kind = if caution.is_reminder() { "reminder" } else { "full" };
    html! {
        div class={ "notice-box " (kind) " " (class(caution.signal)) } role="note" aria-label=(name) {
            p class="lead" { (panel(caution.signal)) " " strong { (inline(&caution.title)) } }
            @if let Some(harm) = &caution.harm { p { (inline(harm)) } }
            @if !caution.controls.is_empty() { ul { @for item in &caution.controls { li { (inline(item)) } } } }
            @if !caution.never.is_empty() { ul class="never" { @for item in &caution.never { li { (inline(item)) } } } }
            @if let Some(tick) = &caution.tick {
                p class="tick" { label { input type="checkbox"; " " (inline(tick)) } }
            }
        }
    }
}

fn bars(bars: &[Bar]) -> Markup {
    html! {
        ul class="bars" {
            @for bar in bars {
                li {
                    span class="label" { (inline(&bar.label)) } " "
                    span class="figure" { (bar.figure) } " "
                    (drawing::bar(bar.share))
                }
            }
        }
    }
}

/// Answers as rows, causes as columns; the bar runs to the right where the answer speaks for the cause.
fn moves(moves: &Moves) -> Markup {
    let largest = moves.largest();
    let ends = |name: &str, cells: &[String]| {
        html! { tr { th scope="row" { (name) } @for cell in cells { td class="figure" { strong { (cell) } } } } }
    };
    html! {
        div class="wide" tabindex="0" role="group" aria-label="Table: how each answer moved the leading causes" {
            table class="moves" {
                thead {
                    tr { th scope="col" { "Answer" } @for cause in &moves.causes { th scope="col" class="figure" { (inline(cause)) } } }
                }
                tbody {
                    (ends(ENDS[0], &moves.before))
                    @for row in &moves.rows {
                        tr {
                            th scope="row" { (inline(&row.answer)) }
                            @for weight in &row.decibans {
                                td class="figure" {
                                    @match weight {
                                        Some(weight) => { (figures::decibans(*weight)) " " (drawing::push(*weight / largest)) }
                                        None => { span aria-label="nothing" { (NOTHING) } }
                                    }
                                }
                            }
                        }
                    }
                }
                tfoot { (ends(ENDS[1], &moves.now)) }
            }
        }
    }
}

fn choice(choice: &Choice) -> Markup {
    html! { strong { (choice.key) } " " (inline(&choice.says)) }
}
