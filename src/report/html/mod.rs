//! A document as one page of HTML: no script, nothing fetched, light and dark, on a phone and on paper.
//!
//! Every text is escaped by `maud`; sizes of bars are attributes of drawings, so that a content policy may forbid styles
//! within elements.

mod blocks;
mod drawing;

use super::{Block, Document, Level, Rich};
use blocks::Under;
use maud::{DOCTYPE, Markup, PreEscaped, html};

/// The look of every page: the colors stand at its top, and a test works out their contrast.
pub const STYLE: &str = include_str!("style.css");

/// What a page that stands alone may do: show itself.
const ALONE: &str = "default-src 'none'; style-src 'unsafe-inline'; form-action 'none'; base-uri 'none'";

/// The document as one file that needs nothing else. Ends with a line break.
#[must_use]
pub fn render_html(document: &Document) -> String {
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(ALONE);
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (title(document)) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                main { (page(document)) }
                footer { p { "Made by doldrum " (env!("CARGO_PKG_VERSION")) ". Boxes ticked and readings written on \
                    the screen are not kept: print the page to keep them." } }
            }
        }
    };
    page.into_string() + "\n"
}

/// A fault tree as a drawing by itself: one file of SVG that needs nothing else.
#[must_use]
pub fn render_svg(tree: &super::Tree, title: &str) -> String {
    drawing::alone(tree, title).into_string() + "\n"
}

/// What a document is called.
#[must_use]
pub fn title(document: &Document) -> String {
    let title = document.blocks.iter().find_map(|block| match block {
        Block::Title(text) => Some(text.text()),
        _ => None,
    });
    title.unwrap_or_else(|| "doldrum".to_owned())
}

/// Where to find what on the page; nothing where there is little to find.
fn contents(document: &Document) -> Markup {
    let headings: Vec<&Rich> = document.blocks.iter().filter_map(section_heading).collect();
    html! {
        @if headings.len() > 2 {
            nav class="contents" aria-label="On this page" {
                ul {
                    @for (at, heading) in headings.iter().enumerate() {
                        li { a href={ "#part-" (at + 1) } { (heading.text()) } }
                    }
                }
            }
        }
    }
}

fn section_heading(block: &Block) -> Option<&Rich> {
    match block {
        Block::Heading(Level::Section, text) => Some(text),
        _ => None,
    }
}

/// The whole document, with where to find what after its head.
fn page(document: &Document) -> Markup {
    let head = document.blocks.iter().take_while(|block| section_heading(block).is_none()).count();
    html! {
        (body(&document.blocks[..head]))
        (contents(document))
        (body(&document.blocks[head..]))
    }
}

/// Blocks, their sections as sections.
#[must_use]
pub fn body(blocks: &[Block]) -> Markup {
    let sections = blocks.chunk_by(|_, next| section_heading(next).is_none());
    let mut number = 0;
    html! {
        @for section in sections {
            @if let Some(heading) = section_heading(&section[0]) {
                @let id = { number += 1; format!("part-{number}") };
                section aria-label=(heading.text()) {
                    h2 id=(id) { (blocks::inline(heading)) }
                    (blocks::run(&section[1..], Under::Section))
                }
            } @else {
                div class="head" { (blocks::run(section, Under::Title)) }
            }
        }
    }
}
