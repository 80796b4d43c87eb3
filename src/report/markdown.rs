//! A document as GitHub-flavored Markdown.

use super::{Align, Bar, Blank, Block, Caution, Choice, Document, Level, Mark, Rich, Span, Step, Table};

/// The document as Markdown. Ends with a line break.
#[must_use]
pub fn render_markdown(document: &Document) -> String {
    let blocks: Vec<String> = document.blocks.iter().map(block).collect();
    let mut text = blocks.join("\n\n");
    text.push('\n');
    text
}

fn block(block: &Block) -> String {
    match block {
        Block::Title(text) => format!("# {}", inline(text)),
        Block::Heading(Level::Section, text) => format!("## {}", inline(text)),
        Block::Heading(Level::Part, text) => format!("### {}", inline(text)),
        Block::Paragraph(text) => paragraph(text),
        Block::Aside(text) => format!("*{}*", escape(text.text().trim())),
        Block::Bullets(items) => lines(items.iter().map(|item| format!("- {}", paragraph(item)))),
        Block::Steps(steps) => lines(steps.iter().map(step)),
        Block::Pairs(pairs) => {
            lines(pairs.iter().map(|(name, says)| format!("- **{}**: {}", escape(&name.text()), inline(says))))
        }
        Block::Table(content) => table(content),
        Block::Caution(content) => caution(content),
        Block::Blanks(blanks) => lines(blanks.iter().map(|b| format!("- {}", blank(b)))),
        Block::Bars(content) => bars(content),
        Block::Moves(moves) => table(&moves.table()),
        Block::Tree(tree) => lines(
            tree.outline()
                .into_iter()
                .map(|(depth, line)| format!("{}- {}", "  ".repeat(depth), paragraph(&line.into()))),
        ),
        Block::Choices(choices) => lines(choices.iter().map(choice)),
        Block::Line(left, right) => match (left.is_empty(), right.is_empty()) {
            (_, true) => paragraph(left),
            (true, _) => paragraph(right),
            _ => format!("{} · {}", paragraph(left), inline(right)),
        },
        Block::Rule => "---".to_owned(),
        Block::Verbatim(text) => verbatim(text),
    }
}

fn lines(items: impl Iterator<Item = String>) -> String {
    items.collect::<Vec<_>>().join("\n")
}

fn step(step: &Step) -> String {
    let lead = match step.mark {
        Mark::Box => "- [ ] ".to_owned(),
        Mark::Number(n) => format!("{n}. "),
        Mark::NumberedBox(n) => format!("{n}. [ ] "),
    };
    // What belongs to an item stands as deep as its text, or it would leave the list.
    let indent = match step.mark {
        Mark::Box => "  ".to_owned(),
        Mark::Number(n) | Mark::NumberedBox(n) => " ".repeat(n.to_string().len() + 2),
    };
    let first = format!("{lead}{}", paragraph(&step.what));
    let notes = step.notes.iter().map(|note| format!("{indent}- {}", paragraph(note)));
    let blanks = step.blanks.iter().map(|b| format!("{indent}- {}", blank(b)));
    lines(std::iter::once(first).chain(notes).chain(blanks))
}

fn blank(blank: &Blank) -> String {
    let mut text = format!("{}: ", inline(&blank.label));
    match blank.value() {
        Some(value) => text.extend(["**", &escape(&value), "**"]),
        None => text.push_str(&"\\_".repeat(10)),
    }
    if let (None, Some(unit)) = (blank.value(), &blank.unit) {
        text.push(' ');
        text.push_str(&escape(&Rich::plain(unit).text()));
    }
    if let Some(note) = &blank.note {
        text.extend([" (", &inline(note), ")"]);
    }
    text
}

fn caution(caution: &Caution) -> String {
    let mut parts = vec![format!("> **{}: {}**", caution.signal.word(), escape(&caution.title.text()))];
    if let Some(harm) = &caution.harm {
        parts.push(format!("> {}", paragraph(harm)));
    }
    let items: Vec<&Rich> = caution.controls.iter().chain(&caution.never).collect();
    if !items.is_empty() {
        parts.push(lines(items.iter().map(|item| format!("> - {}", paragraph(item)))));
    }
    if let Some(tick) = &caution.tick {
        parts.push(format!("> - [ ] {}", paragraph(tick)));
    }
    // Two lists in a row would run together without something between them.
    if caution.tick.is_some() && !items.is_empty() {
        let tick = parts.pop().unwrap_or_default();
        let list = parts.pop().unwrap_or_default();
        parts.push(format!("{list}\n{tick}"));
    }
    parts.join("\n>\n")
}

fn bars(bars: &[Bar]) -> String {
    let rows = bars.iter().map(|bar| {
        let figure = Rich::plain(&bar.figure).text();
        format!("| {} | {} |", inline(&bar.label), escape(&figure))
    });
    format!("| | |\n| :--- | :--- |\n{}", lines(rows))
}

fn choice(choice: &Choice) -> String {
    format!("- **{}** {}", escape(&Rich::plain(&choice.key).text()), inline(&choice.says))
}

fn table(table: &Table) -> String {
    let row = |cells: Vec<String>| format!("| {} |", cells.join(" | "));
    let head = row(table.columns.iter().map(|column| inline(&column.title)).collect());
    let rule = row(table
        .columns
        .iter()
        .map(|column| match column.align {
            Align::Left => ":---".to_owned(),
            Align::Right => "---:".to_owned(),
        })
        .collect());
    let rows = table.rows.iter().map(|cells| row(cells.iter().map(inline).collect()));
    let total = table.total.iter().map(|cells| row(cells.iter().map(strong_cell).collect()));
    lines([head, rule].into_iter().chain(rows).chain(total))
}

fn strong_cell(cell: &Rich) -> String {
    if cell.is_empty() { String::new() } else { format!("**{}**", escape(cell.text().trim())) }
}

/// A fence longer than any within.
fn verbatim(text: &str) -> String {
    let longest = text.split(|c| c != '`').map(str::len).max().unwrap_or(0);
    let fence = "`".repeat(longest.max(2) + 1);
    format!("{fence}\n{}\n{fence}", text.trim_end_matches('\n'))
}

/// Text in a line.
fn inline(text: &Rich) -> String {
    text.spans()
        .iter()
        .map(|span| match span {
            Span::Plain(text) => escape(text),
            Span::Blank | Span::Box => escape(span.text()),
            // Emphasis may not begin or end with a space.
            Span::Strong(text) if text.trim().is_empty() => text.clone(),
            Span::Strong(text) => {
                let core = text.trim();
                let lead = &text[..text.len() - text.trim_start().len()];
                let tail = &text[text.trim_end().len()..];
                format!("{lead}**{}**{tail}", escape(core))
            }
        })
        .collect()
}

/// Text at the start of a line, where a dash or a number with a dot would start a list.
fn paragraph(text: &Rich) -> String {
    let line = inline(text);
    let line = line.trim();
    let digits = line.bytes().take_while(u8::is_ascii_digit).count();
    if digits > 0 && matches!(line.as_bytes().get(digits..digits + 2), Some(b". " | b") ")) {
        return format!("{}\\{}", &line[..digits], &line[digits..]);
    }
    if line.starts_with(['-', '+', '=']) { format!("\\{line}") } else { line.to_owned() }
}

/// Every character that could mean something is said to mean itself.
fn escape(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for c in text.chars() {
        if matches!(c, '\\' | '`' | '*' | '_' | '<' | '>' | '#' | '|' | '[' | ']' | '~' | '&') {
            escaped.push('\\');
        }
        escaped.push(c);
    }
    escaped
}

#[cfg(test)]
mod tests {
    use super::*;

    fn one(block: Block) -> String {
        render_markdown(&Document { blocks: vec![block] })
    }

    #[test]
    fn nothing_in_a_text_means_anything() {
        let text = one(Block::Paragraph(Rich::plain(r"a|b `c` *d* _e_ <f> #g \h [i](j) ~k~ &amp;")));
        assert_eq!(text, "a\\|b \\`c\\` \\*d\\* \\_e\\_ \\<f\\> \\#g \\\\h \\[i\\](j) \\~k\\~ \\&amp;\n");
    }

    #[test]
    fn a_line_does_not_become_a_list() {
        assert_eq!(one(Block::Paragraph(Rich::plain("12. of May"))), "12\\. of May\n");
        assert_eq!(one(Block::Paragraph(Rich::plain("- not"))), "\\- not\n");
        assert_eq!(one(Block::Paragraph(Rich::plain("1.5 turns"))), "1.5 turns\n");
    }

    #[test]
    fn strong_text_keeps_its_spaces_outside() {
        assert_eq!(one(Block::Paragraph(Rich::plain("a").and_strong(" b ").and("c"))), "a **b** c\n");
    }

    #[test]
    fn a_fence_is_longer_than_any_within() {
        assert_eq!(one(Block::Verbatim("x ```` y".to_owned())), "`````\nx ```` y\n`````\n");
    }
}
