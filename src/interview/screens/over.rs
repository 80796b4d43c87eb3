//! What is laid over the question: pages to read, lists to find something in, what if, several answers at once.

use super::heading;
use crate::decision::Action;
use crate::interview::screen::{Part, Screen, Writing};
use crate::interview::state::{Find, Key, Page, State};
use crate::interview::step::Bench;
use crate::knowledge::Check;
use crate::knowledge::layout::Instance;
use crate::report::{Block, Document, Rich, words};

pub(super) fn page_screen(page: Page, document: &Document) -> Screen {
    let mut screen = Screen::new("", "");
    screen.parts = document.blocks.iter().cloned().map(Part::always).collect();
    if page == Page::Plan {
        screen.keys.push((Key::Write, "write it beside the case".to_owned()));
    }
    screen.keys.push((Key::Enter, "back to the question".to_owned()));
    screen
}

pub(super) fn find_screen(find: Find, lines: impl Iterator<Item = String>) -> Screen {
    let mut screen = Screen::new("", "");
    screen.ask(match find {
        Find::Check => "Which check? Part of its name is enough.",
        Find::Answer => "Which answer do you want to change?",
        Find::Suppose => "What if: about which check? Part of its name is enough.",
        Find::Repair => "Which repair was done? Part of its name is enough.",
    });
    screen.choices = lines.collect();
    screen.writing = Writing::Name;
    screen.keys.push((Key::Back, "back to the question".to_owned()));
    screen
}

/// What if: the answers to choose from, or what one of them would change.
pub(super) fn suppose(bench: &Bench<'_>, state: &State, check: Instance<Check>, shown: Option<&Document>) -> Screen {
    let mut screen = Screen::new("", "");
    if let Some(document) = shown {
        screen.parts = document.blocks.iter().cloned().map(Part::always).collect();
        screen.keys.push((Key::Enter, "another answer".to_owned()));
        screen.keys.push((Key::Back, "back to the question".to_owned()));
        return screen;
    }
    let laid = bench.laid(&state.case);
    let item = &bench.knowledge.checks[check.item];
    screen.place = (heading(bench, state), "what if".to_owned());
    screen.say(Part::until(3, Block::Paragraph(Rich::plain("Nothing of this is written down."))));
    screen.ask(&format!("What if this were the answer to: {}?", words::lower_first(&words::check_words(&laid, check))));
    screen.choices = item.outcomes.iter().map(|o| o.says.clone()).collect();
    if let Some(reading) = &item.reading {
        screen.writing = Writing::Number;
        let hint = format!("Or type a reading; a bare number is in {}. For a band, arrows and Enter.", reading.unit);
        screen.after.push(Part::until(5, Block::Paragraph(Rich::plain(&hint))));
    }
    screen.keys.push((Key::Other, "another check".to_owned()));
    screen.keys.push((Key::Back, "back to the question".to_owned()));
    screen
}

/// Several answers at once.
pub(super) fn several(bench: &Bench<'_>, state: &State) -> Screen {
    let mut screen = Screen::new(heading(bench, state), "several at once");
    screen.ask("Which checks, and what did they show?");
    let how = [
        "Part of a name, =, part of the answer; a comma before the next.",
        "Two places: the place in the name, or both answers with a / between. One answer is for all places.",
        "A name alone is asked on its own screen; so is whatever needs a box ticked.",
        "What to do next is worked out once, at the end. b takes back the whole line.",
    ];
    screen.say(Part::until(3, Block::Bullets(how.iter().map(|line| Rich::plain(line)).collect())));
    if let Some(example) = example(bench, state) {
        screen.say(Part::until(5, Block::Paragraph(Rich::plain(&format!("For example: {example}")))));
    }
    screen.writing = Writing::Words;
    screen.keys.push((Key::Back, "back to the question".to_owned()));
    screen
}

/// The first two checks that were weighed, with an answer each.
fn example(bench: &Bench<'_>, state: &State) -> Option<String> {
    let view = state.view.as_ref()?;
    let steps = std::iter::once(&view.advice.next).chain(&view.advice.alternatives);
    let some: Vec<String> = steps
        .filter_map(|step| match step.action {
            Action::Check(check) if bench.knowledge.checks[check.item].reading.is_none() => Some(check.item),
            _ => None,
        })
        .filter_map(|ix| {
            let id = bench.knowledge.checks.id(ix);
            let name = id.strip_prefix("ck-").unwrap_or(id).replace('-', " ");
            let first = bench.knowledge.checks[ix].outcomes.first()?;
            Some(format!("{name} = {}", words::lower_first(&first.says).replace(',', "")))
        })
        .take(2)
        .collect();
    (!some.is_empty()).then(|| some.join(", "))
}
