//! What is drawn: bars, weights and the tree. Sizes are attributes; colors are classes of the style sheet.

use crate::report::tree::{Kind, Row, Tree};
use maud::{Markup, html};

/// A share of a whole. What it says stands beside it in figures.
pub(super) fn bar(share: f64) -> Markup {
    let width = tenth(share.clamp(0.0, 1.0) * 100.0);
    html! {
        svg class="bar" viewBox="0 0 100 1" preserveAspectRatio="none" aria-hidden="true" {
            rect class="track" width="100" height="1" {}
            rect class="fill" width=(width) height="1" {}
        }
    }
}

/// A push to the right (for) or to the left (against), -1..=1 of the largest there is.
pub(super) fn push(share: f64) -> Markup {
    let length = tenth((share.abs() * 50.0).min(50.0));
    let from = if share < 0.0 { 50.0 - length } else { 50.0 };
    html! {
        svg class={ "push" @if share < 0.0 { " against" } } viewBox="0 0 100 10" preserveAspectRatio="none" aria-hidden="true" {
            rect class="fill" x=(from) y="1" width=(length) height="8" {}
            path class="middle" d="M50 0 V10" {}
        }
    }
}

/// Coordinates to a tenth: nobody sees more, and the page stays small.
fn tenth(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

/// How wide the part with the words and the chances is.
const WORDS: f64 = 640.0;
/// How far a layer is set in.
const STEP: f64 = 18.0;
/// Where the chances end: they stand first, so that on a narrow screen nobody scrolls for them.
const FIGURES: f64 = 86.0;
/// Where the bars begin, and how long they are.
const BAR: (f64, f64) = (92.0, 44.0);
/// Where the words of the first layer begin.
const EDGE: f64 = 160.0;
/// The height of a line of words, and what a row has besides.
const LINE: (f64, f64) = (15.0, 8.0);
/// How far apart the lines on the right run.
const LANE: f64 = 8.0;
/// The width of a letter, taken generously: the fonts of a reader are not known.
const LETTER: f64 = 7.0;

/// The tree as a drawing, and the same in words.
pub(super) fn tree(tree: &Tree) -> Markup {
    let (width, height, content) = drawn(tree);
    let name = format!("Fault tree of {} rows; the same in words stands below the drawing", tree.rows.len());
    html! {
        figure class="tree" {
            div class="wide" tabindex="0" role="group" aria-label="Drawing of the fault tree" {
                svg class="tree" role="img" aria-label=(name) viewBox={ "0 0 " (tenth(width)) " " (tenth(height)) }
                    width=(tenth(width)) height=(tenth(height)) {
                    (content)
                }
            }
            figcaption {
                span class="key" { (mark(Kind::Complaint)) " complaint" } " "
                span class="key" { (mark(Kind::Effect(crate::report::tree::Asks::Any))) " what causes bring about" } " "
                span class="key" { (mark(Kind::Cause)) " cause a repair can remove" }
            }
            details {
                summary { "The same in words" }
                (outline(tree))
            }
        }
    }
}

/// The colors of a drawing that stands alone: those of the page by day and by night.
const ALONE: &str = "\
svg{--paper:#fcfbf7;--ink:#14212b;--line:#79848c;--accent:#0a5a6b;--track:#dfe3df;--stripe:#f2f2ec;font-family:system-ui,sans-serif}\
@media(prefers-color-scheme:dark){svg{--paper:#10181e;--ink:#eef2f0;--line:#7d8c96;--accent:#6cc5d4;--track:#2a3740;--stripe:#172128}}\
.sheet{fill:var(--paper)}text{fill:var(--ink);font-size:13.5px}.end{text-anchor:end}text.likely{font-weight:600}\
.stripe{fill:var(--stripe)}.track{fill:var(--track)}.fill{fill:var(--accent)}.branch{fill:none;stroke:var(--line);stroke-width:1.3}\
.branch.likely{stroke:var(--ink);stroke-width:2.4}.way{fill:none;stroke:var(--line);stroke-width:1.1}.head{fill:var(--line)}\
.mark{fill:var(--paper);stroke:var(--ink);stroke-width:1.5}.mark.solid{fill:var(--ink)}";

/// The tree as a file of its own.
pub(super) fn alone(tree: &Tree, title: &str) -> Markup {
    let (width, height, content) = drawn(tree);
    html! {
        svg xmlns="http://www.w3.org/2000/svg" role="img" aria-label=(title) viewBox={ "0 0 " (width) " " (height) }
            width=(width) height=(height) {
            title { (title) }
            style { (ALONE) }
            rect class="sheet" width=(width) height=(height) {}
            (content)
        }
    }
}

/// The width, the height and what is drawn.
fn drawn(tree: &Tree) -> (f64, f64, Markup) {
    let places = places(tree);
    let links = links(tree);
    let lanes = links.iter().map(|link| link.lane + 1).max().unwrap_or(0);
    let width = WORDS + LANE * as_f64(lanes) + if lanes > 0 { 16.0 } else { 4.0 };
    let height = places.last().map_or(0.0, |place| place.top + place.height) + 4.0;
    let content = html! {
        @for (at, row) in tree.rows.iter().enumerate() {
            @if at % 2 == 1 {
                rect class="stripe" x="0" y=(places[at].top) width=(WORDS) height=(places[at].height) {}
            }
            (branch(tree, &places, at))
            (words(row, &places[at]))
        }
        @for link in &links { (way(link, &places)) }
    };
    (tenth(width), tenth(height), content)
}

/// Where a row is drawn.
struct Place {
    top: f64,
    height: f64,
    lines: Vec<String>,
}

impl Place {
    /// The middle of its first line, where its mark stands and lines meet it.
    fn middle(&self) -> f64 {
        self.top + f64::midpoint(LINE.0, LINE.1)
    }
}

fn inset(row: &Row) -> f64 {
    EDGE + STEP * as_f64(row.layer)
}

fn places(tree: &Tree) -> Vec<Place> {
    let mut top = 2.0;
    tree.rows
        .iter()
        .map(|row| {
            let room = ((WORDS - 8.0 - inset(row)) / LETTER).max(12.0);
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 12 and 60 letters")]
            let room = room as usize;
            let label =
                row.node.kind.asks().map_or_else(|| row.node.label.clone(), |a| format!("{} [{a}]", row.node.label));
            let lines: Vec<String> =
                textwrap::wrap(&label, room).into_iter().map(std::borrow::Cow::into_owned).collect();
            let place = Place { top, height: LINE.0 * as_f64(lines.len().max(1)) + LINE.1, lines };
            top += place.height;
            place
        })
        .collect()
}

/// The elbow from the parent it stands under.
fn branch(tree: &Tree, places: &[Place], at: usize) -> Markup {
    let row = &tree.rows[at];
    let Some(under) = row.under else { return html! {} };
    let (from, to) = (inset(&tree.rows[under]) - 11.0, inset(row) - 16.0);
    let (top, middle) = (places[under].middle() + 6.0, places[at].middle());
    html! { path class={ "branch" (weight(row)) } d={ "M" (from) " " (top) " V" (middle) " H" (to) } {} }
}

/// What is likelier than not stands out by more than a figure.
fn weight(row: &Row) -> &'static str {
    if row.node.chance.is_none_or(|chance| chance >= 0.5) { " likely" } else { "" }
}

fn words(row: &Row, place: &Place) -> Markup {
    let x = inset(row);
    let middle = place.middle();
    html! {
        g transform={ "translate(" (x - 11.0) " " (middle) ")" } { (shape(row.node.kind)) }
        text class={ "words" (weight(row)) } x=(x) y=(middle + 4.5) {
            @for (at, line) in place.lines.iter().enumerate() {
                @if at == 0 { (line) } @else { tspan x=(x) dy=(LINE.0) { (line) } }
            }
        }
        @if let Some(chance) = row.node.chance {
            rect class="track" x=(BAR.0) y=(middle - 5.0) width=(BAR.1) height="10" {}
            rect class="fill" x=(BAR.0) y=(middle - 5.0) width=(tenth(chance.clamp(0.0, 1.0) * BAR.1)) height="10" {}
        }
        text class={ "words end" (weight(row)) } x=(FIGURES) y=(middle + 4.5) { (row.node.figure) }
    }
}

/// A square for a complaint, a bar for what lies between, a ring for a cause: told apart by shape.
fn shape(kind: Kind) -> Markup {
    html! {
        @match kind {
            Kind::Complaint => { rect class="mark solid" x="-5" y="-5" width="10" height="10" {} }
            Kind::Effect(_) => { rect class="mark" x="-5" y="-4" width="10" height="8" {} }
            Kind::Cause => { circle class="mark" r="4.5" {} }
        }
    }
}

/// A shape for the key.
fn mark(kind: Kind) -> Markup {
    html! { svg class="key" viewBox="-7 -7 14 14" width="14" height="14" aria-hidden="true" { (shape(kind)) } }
}

/// A way up to a parent that a row does not stand under.
struct Link {
    from: usize,
    to: usize,
    lane: usize,
}

/// The links, short ones in the inner lanes; links to one parent share a lane, and no others touch in it.
fn links(tree: &Tree) -> Vec<Link> {
    let mut spans: Vec<(usize, usize, Vec<usize>)> = Vec::new();
    for (from, row) in tree.rows.iter().enumerate() {
        for &to in &row.also {
            match spans.iter_mut().find(|(parent, ..)| *parent == to) {
                Some((_, _, children)) => children.push(from),
                None => spans.push((to, 0, vec![from])),
            }
        }
    }
    let ends = |parent: usize, children: &[usize]| {
        let all = children.iter().copied().chain([parent]);
        (all.clone().min().unwrap_or(parent), all.max().unwrap_or(parent))
    };
    spans.sort_by_key(|(parent, _, children)| {
        let (first, last) = ends(*parent, children);
        (last - first, *parent)
    });
    let mut lanes: Vec<Vec<(usize, usize)>> = Vec::new();
    for (parent, lane, children) in &mut spans {
        let (first, last) = ends(*parent, children);
        let free = lanes.iter().position(|taken| taken.iter().all(|&(a, b)| last < a || b < first));
        *lane = free.unwrap_or(lanes.len());
        if free.is_none() {
            lanes.push(Vec::new());
        }
        lanes[*lane].push((first, last));
    }
    spans
        .into_iter()
        .flat_map(|(to, lane, children)| children.into_iter().map(move |from| Link { from, to, lane }))
        .collect()
}

/// From the end of a row along its lane to the parent, with a head where it arrives.
fn way(link: &Link, places: &[Place]) -> Markup {
    let x = WORDS + 12.0 + LANE * as_f64(link.lane);
    // What arrives and what leaves are kept apart where a row does both.
    let (from, to) = (places[link.from].middle() + 3.0, places[link.to].middle() - 3.0);
    html! {
        path class="way" d={ "M" (WORDS) " " (from) " H" (x) " V" (to) " H" (WORDS + 1.0) } {}
        path class="head" d={ "M" (WORDS) " " (to) " l7 -3.5 v7 Z" } {}
    }
}

/// The rows as a list within a list.
fn outline(tree: &Tree) -> Markup {
    let lines = tree.outline();
    nested(&lines, 0)
}

fn nested(lines: &[(usize, String)], depth: usize) -> Markup {
    html! {
        ul {
            @for item in lines.chunk_by(|_, next| next.0 > depth) {
                li {
                    (item[0].1)
                    @if item.len() > 1 { (nested(&item[1..], depth + 1)) }
                }
            }
        }
    }
}

#[expect(clippy::cast_precision_loss, reason = "rows and lanes of a drawing are few")]
fn as_f64(n: usize) -> f64 {
    n as f64
}
