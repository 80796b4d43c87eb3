//! A screen of the interview as a page: plain forms that work without a script.

use crate::interview::screen::{Screen, Writing};
use crate::interview::state::Key;
use crate::report::{Block, Document, html as blocks};
use maud::{DOCTYPE, Markup, html};

/// What the page adds to the look of reports.
pub const STYLE: &str = include_str!("style.css");
/// Sends a form and shows the answer in place. Without it the browser does the same with a page load.
pub const SCRIPT: &str = include_str!("script.js");

/// What a person did on a page that was no longer the newest.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stale {
    /// What was asked there; nothing where that is not known any more.
    pub asked: Option<String>,
    /// What was answered.
    pub answered: String,
}

/// A whole page around what is in it.
#[must_use]
pub fn shell(title: &str, inside: &Markup) -> String {
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (title) }
                link rel="stylesheet" href="/style.css";
                script src="/script.js" defer {}
            }
            body {
                nav class="contents" aria-label="Pages" {
                    ul {
                        li { a href="/" { "Question" } }
                        li { a href="/known" { "What we know" } }
                        li { a href="/plan" { "Work order" } }
                    }
                }
                main id="main" { (inside) }
                footer { p { "Local codes, the maker's manual and licensed practice come before anything said here." } }
            }
        }
    };
    in_buttons(page.into_string()) + "\n"
}

/// Where the interview speaks of keys, and what it is called on a page: the name of the button.
const BUTTONS: [(&str, &str); 7] = [
    ("A number changes it.", "A press changes it."),
    ("what stops them first, then Enter.", "what stops them first, then \"That is all\"."),
    ("(e changes it)", "(\"Change an answer\" does that)"),
    ("; h shows all:", "; \"How\" shows all:"),
    ("Press b to see", "Press \"Back\" to see"),
    ("Press e to change it.", "\"Change an answer\" changes it."),
    ("Press o to find it.", "\"Other check\" finds it."),
];

fn in_buttons(page: String) -> String {
    BUTTONS.iter().fold(page, |page, (keys, buttons)| page.replace(keys, buttons))
}

/// The screen with what can be done on it. `turn` is what an answer must name to count.
#[must_use]
pub fn screen(screen: &Screen, turn: &str, stale: Option<&Stale>) -> Markup {
    let mut shown: Vec<Block> = screen.parts.iter().map(|part| part.block.clone()).collect();
    if !is_reading(screen) {
        // What it warns of stands before how it is done and what is opened for it: a page is read from the top.
        shown.sort_by_key(|block| !matches!(block, Block::Caution(_)));
    }
    let after: Vec<Block> = screen.after.iter().map(|part| part.block.clone()).collect();
    let has_title = shown.iter().any(|block| matches!(block, Block::Title(_)));
    html! {
        @if let Some(stale) = stale { (missed(stale)) }
        @if !has_title {
            h1 class="place" { (if screen.place.0.is_empty() { "Find it" } else { &screen.place.0 }) }
        }
        @if !screen.place.1.is_empty() { p class="aside" { (screen.place.1) } }
        @if !screen.notices.is_empty() {
            div class="told" role="status" { @for notice in &screen.notices { p { (notice) } } }
        }
        @for run in shown.chunk_by(|a, b| !is_ticks(a) && !is_ticks(b)) {
            @if let Block::Choices(boxes) = &run[0] {
                (ticks(boxes.iter().map(|b| (b.key == "[x]", b.says.text())), screen, turn))
            } @else {
                (blocks::body(run))
            }
        }
        (rows(screen))
        (choices(screen, turn))
        (written(screen, turn))
        (blocks::body(&after))
        @if let Some(strip) = &screen.strip { p class="strip" { (strip) } }
        (keys(screen, turn))
    }
}

/// Whether it is a document that lies over the question: its order is its own.
fn is_reading(screen: &Screen) -> bool {
    screen.choices.is_empty() && screen.parts.iter().any(|part| matches!(part.block, Block::Title(_)))
}

fn is_ticks(block: &Block) -> bool {
    matches!(block, Block::Choices(_))
}

/// What was answered on a page that was no longer the newest: nothing of it counts, and nothing of it is lost.
fn missed(stale: &Stale) -> Markup {
    html! {
        div class="missed" role="alert" {
            p { strong { "That page was no longer the newest, so your answer was not taken." } }
            dl {
                @if let Some(asked) = &stale.asked { div { dt { "It asked" } dd { (asked) } } }
                div { dt { "You answered" } dd { (stale.answered) } }
            }
            p { "Below is where the job stands now. Answer again if it is still asked; \"change an answer\" corrects an \
                earlier one." }
        }
    }
}

fn form(turn: &str, label: &str, inside: &Markup) -> Markup {
    html! {
        form method="post" action="/step" aria-label=(label) {
            input type="hidden" name="turn" value=(turn);
            (inside)
        }
    }
}

/// Boxes that must be ticked before the question counts, with the button that ticks them.
fn ticks(boxes: impl Iterator<Item = (bool, String)>, screen: &Screen, turn: &str) -> Markup {
    let open = screen.keys.iter().any(|(key, _)| *key == Key::Tick);
    html! {
        ul class="ticks" {
            @for (done, says) in boxes {
                li { span class="box" aria-hidden="true" { (if done { "\u{2611}" } else { "\u{2610}" }) } " "
                    (says) (if done { " (done)" } else { " (not yet)" }) }
            }
        }
        @if open {
            (form(turn, "Confirm", &html! { button type="submit" name="key" value="t" class="main" { "Tick the box: it is so" } }))
        }
    }
}

fn rows(screen: &Screen) -> Markup {
    let now = screen.rows.iter().position(|row| row.answer.is_none());
    html! {
        @if screen.rows.len() > 1 {
            ul class="rows" {
                @for (at, row) in screen.rows.iter().enumerate() {
                    li aria-current=[(now == Some(at)).then_some("step")] {
                        strong { (row.name) } ": "
                        @match &row.answer {
                            Some(answer) => { (answer) }
                            None if now == Some(at) => { "answer now" }
                            None => { "then this" }
                        }
                    }
                }
            }
        }
    }
}

fn choices(screen: &Screen, turn: &str) -> Markup {
    if screen.choices.is_empty() {
        return html! {};
    }
    form(
        turn,
        "Answers",
        &html! {
            div class="answers" {
                @for (at, says) in screen.choices.iter().enumerate() {
                    button type="submit" name="pick" value=(at) { (says) }
                }
            }
        },
    )
}

fn written(screen: &Screen, turn: &str) -> Markup {
    let (label, mode) = match screen.writing {
        Writing::Nothing => return html! {},
        Writing::Number => ("Reading, with its unit", "text"),
        Writing::Words => ("Write it down", "text"),
        Writing::Name => ("Part of its name", "search"),
    };
    form(
        turn,
        label,
        &html! {
            label { (label) " " input type="text" inputmode=(mode) name="text" class="long" autocomplete="off" maxlength="500" required; }
            " " button type="submit" { "Take it" }
        },
    )
}

/// What can always be done; the way on first, fire last and by itself.
fn keys(screen: &Screen, turn: &str) -> Markup {
    let of = |wanted: fn(Key) -> bool| screen.keys.iter().filter(move |(key, _)| wanted(*key) && *key != Key::Tick);
    let letter = |key: Key| if key == Key::Enter { "enter".to_owned() } else { key.letter().to_string() };
    html! {
        (form(turn, "More", &html! {
            div class="keys" {
                @for (key, says) in of(|key| key == Key::Enter) {
                    button type="submit" name="key" value=(letter(*key)) class="main" { (sentence(says)) }
                }
                @for (key, says) in of(|key| !matches!(key, Key::Enter | Key::Stop | Key::Pause)) {
                    button type="submit" name="key" value=(letter(*key)) { (sentence(says)) }
                }
            }
            div class="keys" {
                @for (key, says) in of(|key| matches!(key, Key::Pause | Key::Stop)) {
                    button type="submit" name="key" value=(letter(*key)) class="stop" { (sentence(says)) }
                }
            }
        }))
    }
}

fn sentence(says: &str) -> String {
    let mut chars = says.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

/// What is said when a job is left or done, with the way to go on.
#[must_use]
pub fn parting(document: &Document, kept: &str, turn: &str) -> Markup {
    html! {
        (blocks::body(&document.blocks))
        p class="told" role="status" { (kept) }
        (form(turn, "Go on", &html! { button type="submit" name="key" value="enter" class="main" { "Go on with this job" } }))
    }
}

/// A page that only says something.
#[must_use]
pub fn said(title: &str, text: &str) -> String {
    shell(title, &html! { h1 { (title) } p { (text) } p { a href="/" { "To the question" } } })
}

/// A document to read.
#[must_use]
pub fn reading(document: &Document) -> String {
    shell(&blocks::title(document), &blocks::body(&document.blocks))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_word_about_keys_has_one_about_buttons() {
        let said = [
            include_str!("../interview/pages.rs"),
            include_str!("../interview/screens/bench.rs"),
            include_str!("../interview/screens/check.rs"),
            include_str!("../interview/screens/intake.rs"),
            include_str!("../interview/screens/over.rs"),
            include_str!("../interview/screens/phone.rs"),
            include_str!("../interview/screens/repair.rs"),
            include_str!("../interview/step/check.rs"),
            include_str!("../interview/step/over.rs"),
            include_str!("../interview/step/repair.rs"),
            include_str!("../interview/step/several.rs"),
        ];
        for (keys, _) in BUTTONS {
            assert!(said.iter().any(|source| source.contains(keys)), "nobody says `{keys}` any more");
        }
        let known = |words: &str| BUTTONS.iter().any(|(keys, _)| words.starts_with(keys));
        for source in said {
            for (at, _) in source.match_indices("Press ") {
                let rest = &source[at..];
                // "Press b", not "Press start".
                let is_key = rest.chars().nth(7).is_some_and(|after| !after.is_alphabetic());
                assert!(!is_key || known(rest), "{}", rest.lines().next().unwrap_or_default());
            }
        }
        assert_eq!(in_buttons("<p>Press e to change it.</p>".to_owned()), "<p>\"Change an answer\" changes it.</p>");
    }
}
