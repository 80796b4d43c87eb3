//! A screen of the interview as a page: plain forms that work without a script.

use super::room::Room;
use crate::interview::screen::{Part, Screen, Side, Writing, quoted};
use crate::interview::state::Key;
use crate::report::{Block, Choice, Document, Rich, html as blocks};
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

/// Where a page stands, and what can be gone to from there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    /// The address of the question.
    pub home: String,
    /// The pages beside it: address and name.
    pages: Vec<(String, &'static str)>,
}

impl Place {
    /// The place of a room.
    #[must_use]
    pub fn of(room: &Room) -> Self {
        let home = room.path();
        let mut pages: Vec<(String, &'static str)> = match room {
            Room::Front => Vec::new(),
            Room::Job(_) => vec![
                (home.clone(), "Question"),
                (format!("{home}/known"), "What we know"),
                (format!("{home}/plan"), "Work order"),
                (format!("{home}/sheet"), "Hand-over sheet"),
            ],
            Room::Drill(_) => vec![(home.clone(), "This drill")],
        };
        pages.extend([("/".to_owned(), "Jobs"), ("/drill".to_owned(), "Drills")]);
        Self { home, pages }
    }
}

/// A whole page around what is in it.
#[must_use]
pub fn shell(place: &Place, title: &str, inside: &Markup) -> String {
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
                    ul { @for (to, name) in &place.pages { li { a href=(to) { (name) } } } }
                }
                main id="main" data-home=(place.home) { (inside) }
                footer { p { "Local codes, the maker's manual and licensed practice come before anything said here." } }
            }
        }
    };
    in_buttons(page.into_string()) + "\n"
}

/// Where the interview speaks of keys, and what it is called on a page: the name of the button.
const BUTTONS: [(&str, &str); 18] = [
    ("A number changes it.", "A press changes it."),
    ("what stops them first, then Enter.", "what stops them first, then \"That is all\"."),
    ("(e changes it)", "(\"Change an answer\" does that)"),
    ("; h shows all:", "; \"How\" shows all:"),
    ("did; r shows all:", "did; \"What is known\" shows all:"),
    ("A number sets or clears it; Enter does the step.", "A press sets or clears it; \"Do it\" does the step."),
    (" For a band, arrows and Enter.", " For a band, press it."),
    ("b takes back the whole line.", "\"Back\" takes back the whole line."),
    ("Press b to see", "Press \"Back\" to see"),
    ("Press e to change it.", "\"Change an answer\" changes it."),
    ("Press o to find it.", "\"Other check\" finds it."),
    ("then confirm with t.", "then tick the box."),
    ("First confirm with t:", "First tick the box:"),
    ("o lists them all.", "\"Other check\" lists them all."),
    ("h shows them, p is the work order", "\"How\" shows them, \"Plan\" is the work order"),
    ("; c where it cannot be told", "; \"Could not tell\" where it cannot be told"),
    ("or just Enter.", "or just press \"Taken\"."),
    ("Say so: e, then the question", "Say so: \"Change an answer\", then the question"),
];

fn in_buttons(page: String) -> String {
    BUTTONS.iter().fold(page, |page, (keys, buttons)| page.replace(keys, buttons))
}

/// The screen with what can be done on it. `turn` is what an answer must name to count, `ahead` the screen of what can be
/// supposed.
#[must_use]
pub fn screen(place: &Place, screen: &Screen, turn: &str, stale: Option<&Stale>, ahead: Option<&Screen>) -> Markup {
    let forms = Forms { place, turn };
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
            h1 class="where" { (if screen.place.0.is_empty() { "Find it" } else { &screen.place.0 }) }
        }
        @if !screen.place.1.is_empty() { p class="aside" { (screen.place.1) } }
        @if !screen.notices.is_empty() {
            div class="told" role="status" { @for notice in &screen.notices { p { (notice) } } }
        }
        @for run in shown.chunk_by(|a, b| !is_ticks(a) && !is_ticks(b)) {
            @if let Block::Choices(boxes) = &run[0] {
                (ticks(boxes.iter().map(|b| (b.key == "[x]", b.says.text())), screen, &forms))
            } @else {
                (blocks::body(run))
            }
        }
        (rows(screen))
        @if screen.writing == Writing::Name {
            // A long list: its search stands before it.
            (written(screen, &forms))
            (choices(screen, &forms))
        } @else {
            (choices(screen, &forms))
            (written(screen, &forms))
        }
        @if let Some(ahead) = ahead { (look_ahead(place, ahead)) }
        (blocks::body(&after))
        @if let Some(strip) = &screen.strip { p class="strip" { (strip) } }
        @if let Some(side) = &screen.side { (beside(screen, side)) }
        (keys(screen, &forms))
    }
}

/// What stands beside the question: what belongs to it in sight, the rest to be opened. Answers have no numbers here, so
/// they are called what their buttons say.
fn beside(screen: &Screen, side: &Side) -> Markup {
    let blocks = |parts: &[Part]| parts.iter().map(|part| by_name(screen, &part.block)).collect::<Vec<_>>();
    html! {
        @if !side.always.is_empty() {
            section class="side" aria-label="What goes with it" { (blocks::body(&blocks(&side.always))) }
        }
        @if !side.wide.is_empty() {
            details class="side" { summary { "What it means" } (blocks::body(&blocks(&side.wide))) }
        }
    }
}

/// Lines about answers, each with its answer's words for a number.
fn by_name(screen: &Screen, block: &Block) -> Block {
    let Block::Choices(lines) = block else { return block.clone() };
    let named = |key: &str| key.parse::<usize>().ok().and_then(|n| screen.choices.get(n.checked_sub(1)?));
    let line = |line: &Choice| match named(&line.key) {
        Some(name) => Rich::strong(name).and(": ").and(&line.says.text()),
        None => line.says.clone(),
    };
    Block::Bullets(lines.iter().map(line).collect())
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

/// What the forms of one page have in common.
struct Forms<'a> {
    place: &'a Place,
    turn: &'a str,
}

impl Forms<'_> {
    fn form(&self, label: &str, inside: &Markup) -> Markup {
        html! {
            form method="post" action={ (self.place.home) "/step" } aria-label=(label) {
                input type="hidden" name="turn" value=(self.turn);
                (inside)
            }
        }
    }
}

/// Boxes that must be ticked before the question counts, with the button that ticks them.
fn ticks(boxes: impl Iterator<Item = (bool, String)>, screen: &Screen, forms: &Forms<'_>) -> Markup {
    let open = screen.keys.iter().any(|(key, _)| *key == Key::Tick);
    html! {
        ul class="ticks" {
            @for (done, says) in boxes {
                li { span class="box" aria-hidden="true" { (if done { "\u{2611}" } else { "\u{2610}" }) } " "
                    (says) (if done { " (done)" } else { " (not yet)" }) }
            }
        }
        @if open {
            (forms.form("Confirm", &html! { button type="submit" name="key" value="t" class="main" { "Tick the box: it is so" } }))
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

fn choices(screen: &Screen, forms: &Forms<'_>) -> Markup {
    if screen.choices.is_empty() {
        return html! {};
    }
    forms.form(
        "Answers",
        &html! {
            div class="answers" {
                @for (at, says) in screen.choices.iter().enumerate() {
                    @match set_or_clear(says) {
                        Some((set, says)) => {
                            button type="submit" name="pick" value=(at) aria-pressed=(set) {
                                span class="box" aria-hidden="true" { (if set { "\u{2611}" } else { "\u{2610}" }) } " " (says)
                            }
                        }
                        None => button type="submit" name="pick" value=(at) {
                            (says)
                            @if let Some(sounds) = screen.sounds.get(at).filter(|sounds| !sounds.is_empty()) {
                                ": " span class="sounds" { (quoted(sounds)) }
                            }
                        }
                    }
                }
            }
        },
    )
}

/// A choice that is a box, whether it is ticked, and its words.
fn set_or_clear(says: &str) -> Option<(bool, &str)> {
    says.strip_prefix("[x] ").map(|says| (true, says)).or_else(|| says.strip_prefix("[ ] ").map(|says| (false, says)))
}

/// What each answer would lead to: a way to look, which changes nothing.
fn look_ahead(place: &Place, screen: &Screen) -> Markup {
    let to = format!("{}/what-if", place.home);
    html! {
        details class="ahead" {
            summary { "What if it were\u{2026}" }
            p class="aside" { "A look ahead: what would be believed and done then. Nothing is written down." }
            @if !screen.choices.is_empty() {
                ul {
                    @for (at, says) in screen.choices.iter().enumerate() {
                        li { a href={ (to) "?pick=" (at) } { (says) } }
                    }
                }
            }
            @if screen.writing == Writing::Number {
                form method="get" action=(to) aria-label="Look ahead" {
                    label { "A reading of " input type="text" name="text" class="short" autocomplete="off" maxlength="100" required; }
                    " " button type="submit" { "Look ahead" }
                }
            }
        }
    }
}

fn written(screen: &Screen, forms: &Forms<'_>) -> Markup {
    let (label, mode) = match screen.writing {
        Writing::Nothing => return html! {},
        Writing::Number => ("Reading, with its unit", "text"),
        Writing::Words => ("Write it down", "text"),
        Writing::Name => ("Part of its name", "search"),
    };
    forms.form(
        label,
        &html! {
            label { (label) " " input type="text" inputmode=(mode) name="text" class="long" autocomplete="off" maxlength="500" required; }
            " " button type="submit" { (if screen.writing == Writing::Name { "Find" } else { "Take it" }) }
        },
    )
}

/// What can always be done; the way on first, fire last and by itself. On a phone the last is in view wherever one is on the
/// page.
fn keys(screen: &Screen, forms: &Forms<'_>) -> Markup {
    // The boxes have a button of their own, and a page of keys is nothing to whoever has buttons.
    let shown = |key: Key| !matches!(key, Key::Tick | Key::Keys);
    let of = |wanted: fn(Key) -> bool| screen.keys.iter().filter(move |(key, _)| wanted(*key) && shown(*key));
    let letter = |key: Key| if key == Key::Enter { "enter".to_owned() } else { key.letter().to_string() };
    html! {
        (forms.form("More", &html! {
            div class="keys" {
                @for (key, says) in of(|key| key == Key::Enter) {
                    button type="submit" name="key" value=(letter(*key)) class="main" { (sentence(says)) }
                }
                @for (key, says) in of(|key| !matches!(key, Key::Enter | Key::Stop | Key::Pause)) {
                    button type="submit" name="key" value=(letter(*key)) { (sentence(says)) }
                }
            }
            div class="keys always" {
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
pub fn parting(place: &Place, document: &Document, kept: &str, turn: &str) -> Markup {
    let forms = Forms { place, turn };
    html! {
        (blocks::body(&document.blocks))
        p class="told" role="status" { (kept) }
        (forms.form("Go on", &html! { button type="submit" name="key" value="enter" class="main" { "Go on with this job" } }))
    }
}

/// A page that only says something, wherever it is.
#[must_use]
pub fn said(title: &str, text: &str) -> String {
    said_in(&Place::of(&Room::Front), title, text)
}

/// A page of a room that only says something.
#[must_use]
pub fn said_in(place: &Place, title: &str, text: &str) -> String {
    shell(place, title, &html! { h1 { (title) } p { (text) } (way_back(place)) })
}

/// A document to read.
#[must_use]
pub fn reading(place: &Place, document: &Document) -> String {
    shell(place, &blocks::title(document), &html! { (blocks::body(&document.blocks)) (way_back(place)) })
}

fn way_back(place: &Place) -> Markup {
    let to = if place.home == "/" { "Back to the jobs" } else { "Back to the question" };
    html! { p class="back" { a href=(place.home) { (to) } } }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_word_about_keys_has_one_about_buttons() {
        let said = [
            include_str!("../interview/drill/pages.rs"),
            include_str!("../interview/drill/screens.rs"),
            include_str!("../interview/pages.rs"),
            include_str!("../interview/screens/bench.rs"),
            include_str!("../interview/screens/check.rs"),
            include_str!("../interview/screens/intake.rs"),
            include_str!("../interview/screens/over.rs"),
            include_str!("../interview/screens/phone.rs"),
            include_str!("../interview/screens/repair.rs"),
            include_str!("../interview/step/check.rs"),
            include_str!("../interview/step/mod.rs"),
            include_str!("../interview/step/over.rs"),
            include_str!("../interview/step/record.rs"),
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
