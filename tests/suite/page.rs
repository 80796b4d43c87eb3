//! Pages of HTML, read back by a parser that is not ours: well-formed, self-contained, readable for everybody, and every
//! caution before its step.

use crate::watercraft;
use doldrum::access::AccessGraph;
use doldrum::belief::believe;
use doldrum::case::{Case, text};
use doldrum::decision::Settings;
use doldrum::inference::Limits;
use doldrum::knowledge::Knowledge;
use doldrum::knowledge::layout::Laid;
use doldrum::plan::{Options, Plan, plan};
use doldrum::report::{
    Assessment, Bar, Behind, Blank, Block, Caution, Choice, Column, Document, Figures, Level, Mark, Rich, Signal, Step,
    Table, html, render_html, work_order_page,
};
use doldrum::units::System;
use scraper::{ElementRef, Html, Selector};
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::sync::LazyLock;

static KNOWLEDGE: LazyLock<Knowledge> = LazyLock::new(watercraft::knowledge);

/// The page of a worked case, and its plan with the page of that.
struct Pages {
    assess: String,
    plan: String,
    order: Plan,
}

fn case(name: &str) -> Case {
    let path = format!("{}/tests/cases/{name}.yaml", env!("CARGO_MANIFEST_DIR"));
    let source = fs::read_to_string(&path).expect("a worked case");
    text::read(&path, &source, &KNOWLEDGE).0.expect("it loads")
}

fn pages(name: &str) -> Pages {
    pages_of(&case(name))
}

fn pages_of(case: &Case) -> Pages {
    let laid = Laid::new(&KNOWLEDGE, case.craft.clone());
    let graph = AccessGraph::new(&KNOWLEDGE);
    let figures = Figures::new(&KNOWLEDGE, System::Us);
    let limits = Limits::default();
    let assessment = Assessment::new(&laid, &graph, case, &Settings::default(), 0).expect("within the limits");
    let belief = believe(&laid, case, &limits).expect("within the limits");
    let explanations = belief.explanations(&laid, case, 5, &limits).expect("within the limits");
    let order = plan(&laid, &graph, case, &belief.causes, &explanations, &Options::default()).expect("a plan");
    let behind = Behind::new(&laid, case, &belief, &limits).expect("within the limits");
    let plan = render_html(&work_order_page(&order, &behind, &figures));
    Pages { assess: render_html(&assessment.page(&figures)), plan, order }
}

fn all<'a>(page: &'a Html, selector: &str) -> Vec<ElementRef<'a>> {
    let selector = Selector::parse(selector).expect("a selector");
    page.select(&selector).collect()
}

fn words(element: ElementRef<'_>) -> String {
    element.text().collect::<String>().split_whitespace().collect::<Vec<_>>().join(" ")
}

/// What must hold of every page.
fn check(page: &str) -> Html {
    let parsed = Html::parse_document(page);
    assert!(parsed.errors.is_empty(), "{:?}", parsed.errors);
    fetches_nothing(page, &parsed);
    is_in_order(&parsed);
    is_named(&parsed);
    parsed
}

/// Nothing is fetched and nothing runs: no script, no style within elements, links within the page only.
fn fetches_nothing(page: &str, parsed: &Html) {
    for forbidden in ["script", "link", "iframe", "img", "object", "embed", "base", "form", "image", "use"] {
        assert!(all(parsed, forbidden).is_empty(), "a page has <{forbidden}>");
    }
    for element in all(parsed, "*") {
        for (name, value) in element.value().attrs() {
            assert!(!name.starts_with("on") && name != "style" && name != "src", "{name}={value}");
            assert!(name != "href" || value.starts_with('#'), "{name}={value}");
        }
    }
    for outside in ["http:", "https:", "url(", "@import", "//"] {
        assert!(!page.contains(outside), "a page mentions {outside}");
    }
}

/// Headings go down by one, links lead somewhere, ids are there once.
fn is_in_order(parsed: &Html) {
    let levels: Vec<u32> =
        all(parsed, "h1, h2, h3, h4").iter().map(|h| h.value().name()[1..].parse().expect("a level")).collect();
    assert_eq!((levels[0], levels.iter().filter(|l| **l == 1).count()), (1, 1));
    assert!(levels.windows(2).all(|pair| pair[1] <= pair[0] + 1), "{levels:?}");
    let ids: Vec<&str> = all(parsed, "[id]").iter().filter_map(|e| e.value().attr("id")).collect();
    assert_eq!(ids.iter().collect::<BTreeSet<_>>().len(), ids.len());
    for link in all(parsed, "a") {
        let to = link.value().attr("href").expect("a link leads somewhere").trim_start_matches('#');
        assert!(ids.contains(&to), "no #{to}");
    }
    for section in all(parsed, "section") {
        let heading = section.child_elements().next().expect("a section has a heading");
        assert_eq!(section.value().attr("aria-label").map(str::trim), Some(words(heading).as_str()));
    }
    assert_eq!(all(parsed, "main").len(), 1);
    assert_eq!(all(parsed, "html")[0].value().attr("lang"), Some("en"));
}

/// What can be filled in, seen or reached has a name for whoever does not see it.
fn is_named(parsed: &Html) {
    let has_name = |e: &ElementRef<'_>| e.value().attr("aria-label").is_some_and(|name| !name.trim().is_empty());
    for field in all(parsed, "input") {
        let labeled = field.ancestors().filter_map(ElementRef::wrap).find(|a| a.value().name() == "label");
        assert!(has_name(&field) || labeled.is_some_and(|label| !words(label).is_empty()), "{}", field.html());
    }
    for drawing in all(parsed, "svg") {
        assert!(drawing.value().attr("aria-hidden") == Some("true") || has_name(&drawing), "a drawing without words");
    }
    for reached in all(parsed, "[tabindex], [role=note]") {
        assert!(has_name(&reached));
    }
    for table in all(parsed, "table") {
        let columns = table.select(&Selector::parse("thead th[scope=col]").expect("a selector")).count();
        for row in table.select(&Selector::parse("tbody tr, tfoot tr").expect("a selector")) {
            let cells: Vec<&str> = row.child_elements().map(|cell| cell.value().name()).collect();
            assert_eq!((cells.len(), cells[0]), (columns, "th"));
        }
    }
}

#[test]
fn pages_of_worked_cases_are_sound() {
    for name in ["w01", "w03", "w06"] {
        let pages = pages(name);
        let assess = check(&pages.assess);
        let drawn = all(&assess, "svg.tree text:not(.end)").len();
        assert!((3..=60).contains(&drawn), "{name}: {drawn} rows");
        assert_eq!(all(&assess, "figure details li").len(), drawn, "{name}: the drawing in words");
        assert!(!all(&assess, "table.moves svg.push").is_empty());
        let bars = all(&assess, ".bars li");
        assert!(bars.iter().all(|bar| words(*bar).ends_with('%')) && !bars.is_empty());
        check(&pages.plan);
    }
}

#[test]
fn every_caution_stands_before_its_step() {
    let pages = pages("w01");
    let parsed = check(&pages.plan);
    let mut told: BTreeSet<String> = BTreeSet::new();
    let mut pending: Vec<String> = Vec::new();
    let mut found: BTreeMap<usize, Vec<String>> = BTreeMap::new();
    let mut lines: BTreeMap<usize, String> = BTreeMap::new();
    for element in all(&parsed, "main .notice-box, main ol.steps > li") {
        if element.value().name() == "li" {
            let number = element.value().attr("value").expect("a numbered step").parse().expect("a number");
            found.insert(number, std::mem::take(&mut pending));
            lines.insert(number, words(element));
            continue;
        }
        let name = element.value().attr("aria-label").expect("a caution has a name").to_owned();
        let word = element.select(&Selector::parse(".signal").expect("a selector")).next().map(words);
        assert_eq!(word.as_deref(), name.split(':').next(), "the signal word is a word");
        if element.value().classes().any(|class| class == "reminder") {
            let name = name.split(" (step ").next().expect("a name").to_owned();
            assert!(told.contains(&name), "{name} stands in full further up");
            pending.push(name);
        } else {
            assert!(told.insert(name.clone()), "{name} stands in full once");
            pending.push(name);
        }
    }
    let caution =
        |id: &String| pages.order.cautions.iter().find(|c| c.hazard.id == *id).expect("it is among the cautions");
    let steps = pages.order.stages.iter().flat_map(|stage| &stage.sections).flat_map(|section| &section.steps);
    let (mut guarded, mut in_line) = (0, 0);
    let mut first: BTreeMap<String, usize> = BTreeMap::new();
    for (number, step) in (1..).zip(steps) {
        let mut wanted: Vec<_> = step.cautions.iter().map(caution).collect();
        wanted.sort_by_key(|c| c.signal);
        let wanted: Vec<String> = wanted.iter().map(|c| format!("{}: {}", c.signal.word(), c.hazard.words)).collect();
        guarded += wanted.len();
        // What was said in this stretch already is named in the line of the step, with where it stands in full.
        let (boxed, line) = (&found[&number], &lines[&number]);
        assert!(boxed.iter().all(|name| wanted.contains(name)), "step {number}: {boxed:?} and {wanted:?}");
        for name in wanted {
            let at = *first.entry(name.clone()).or_insert(number);
            let tag = format!("{} of step {at}", name.split(':').next().expect("a signal word"));
            in_line += usize::from(!boxed.contains(&name));
            let said = if at == number { boxed.contains(&name) } else { boxed.contains(&name) != line.contains(&tag) };
            assert!(said, "{name} stands before step {number}, once: {line}");
        }
    }
    assert!(guarded > 20 && in_line > 10, "only {guarded} cautions, {in_line} of them in a line");
}

#[test]
fn what_a_case_says_is_text_and_nothing_else() {
    let hostile = "<script>alert('x')</script><img src=x onerror=y>\"&amp;'</title></style>";
    let mut case = case("w05");
    case.title = Some(hostile.to_owned());
    let pages = pages_of(&case);
    for page in [&pages.assess, &pages.plan] {
        let parsed = check(page);
        assert!(words(all(&parsed, "h1")[0]).ends_with(hostile));
        assert!(words(all(&parsed, "title")[0]).ends_with(hostile));
    }
}

/// A document with the same hostile words in every place that takes words.
fn hostile(words: &str) -> Document {
    let rich = || Rich::plain(words).and_strong(words);
    let blank = |values: Vec<Rich>| Blank { label: rich(), values, unit: Some(words.into()), note: Some(rich()) };
    let caution = |harm: Option<Rich>| Caution {
        signal: Signal::Notice,
        title: rich(),
        controls: harm.iter().cloned().collect(),
        never: harm.iter().cloned().collect(),
        tick: Some(rich()),
        harm,
    };
    let table = Table {
        columns: vec![Column { title: rich(), ..Column::words("") }; 4],
        rows: vec![vec![Rich::default().and_box().and(words), rich(), Rich::default().and_blank(), rich()]],
        total: Some(vec![rich(); 4]),
    };
    Document {
        blocks: vec![
            Block::Title(rich()),
            Block::Heading(Level::Section, rich()),
            Block::Heading(Level::Part, rich()),
            Block::Paragraph(rich()),
            Block::Aside(rich()),
            Block::Bullets(vec![rich()]),
            Block::Steps(vec![Step {
                mark: Mark::NumberedBox(1),
                what: rich(),
                notes: vec![rich()],
                blanks: vec![blank(vec![]), blank(vec![rich().and_blank(), rich()])],
            }]),
            Block::Steps(vec![Step { mark: Mark::Box, what: rich(), ..Step::default() }]),
            Block::Pairs(vec![(rich(), rich())]),
            Block::Table(table),
            Block::Caution(caution(None)),
            Block::Caution(caution(Some(rich()))),
            Block::Caution(caution(Some(rich()))),
            Block::Blanks(vec![blank(vec![])]),
            Block::Bars(vec![Bar { label: rich(), share: 7.0, figure: words.into() }]),
            Block::Choices(vec![Choice { key: words.into(), says: rich() }]),
            Block::Line(rich(), rich()),
            Block::Rule,
            Block::Verbatim(words.into()),
        ],
    }
}

#[test]
fn no_block_lets_markup_through() {
    let words = "<b onclick=\"x()\">&lt;</td></script><!--'";
    let page = render_html(&hostile(words));
    let parsed = check(&page);
    assert!(all(&parsed, "b, [onclick]").is_empty());
    let shown = parsed.root_element().text().collect::<String>();
    // Each of the texts comes out as it went in, where not as the name of a field then at least once beside it.
    let texts = format!("{:?}", hostile(words)).matches("onclick").count();
    let in_labels = all(&parsed, "[aria-label]").len();
    assert!(
        shown.matches(words).count() >= texts - in_labels && texts > 60,
        "{} of {texts}",
        shown.matches(words).count()
    );
}

/// The colors of the style sheet by name: by day, and by night where they differ.
fn colors() -> (BTreeMap<String, [f64; 3]>, BTreeMap<String, [f64; 3]>) {
    let (day, rest) = html::STYLE.split_once("@media screen and (prefers-color-scheme: dark)").expect("a night part");
    let night = rest.split_once("\n}").expect("it ends").0;
    let read = |css: &str| -> BTreeMap<String, [f64; 3]> {
        let rules = css.split([';', '{', '}']).filter_map(|rule| rule.trim().strip_prefix("--"));
        rules.filter_map(|rule| rule.split_once(": #")).map(|(name, hex)| (name.to_owned(), rgb(hex))).collect()
    };
    let day = read(day);
    let mut both = day.clone();
    both.extend(read(night));
    (day, both)
}

fn rgb(hex: &str) -> [f64; 3] {
    [0, 2, 4].map(|at| f64::from(u8::from_str_radix(&hex[at..at + 2], 16).expect("six digits")) / 255.0)
}

/// The contrast ratio of WCAG 2.2.
fn contrast(a: [f64; 3], b: [f64; 3]) -> f64 {
    let light = |color: [f64; 3]| {
        let [r, g, b] = color.map(|c| if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) });
        0.2126 * r + 0.7152 * g + 0.0722 * b
    };
    let (a, b) = (light(a), light(b));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

#[test]
fn colors_can_be_told_apart() {
    assert!((contrast([0.0; 3], [1.0; 3]) - 21.0).abs() < 1e-9);
    let (day, night) = colors();
    assert!(day.len() >= 15 && contrast(day["paper"], night["paper"]) > 10.0);
    // Words need 4.5 to 1, what is drawn 3 to 1.
    let words = [
        ("ink", "paper"),
        ("soft", "paper"),
        ("accent", "paper"),
        ("ink", "stripe"),
        ("on-danger", "danger"),
        ("on-warning", "warning"),
        ("on-caution", "caution"),
        ("on-notice", "notice"),
    ];
    let drawn = [("line", "paper"), ("line", "stripe"), ("accent", "track"), ("accent", "stripe")];
    for colors in [&day, &night] {
        for (pairs, least) in [(&words[..], 4.5), (&drawn[..], 3.0)] {
            for (a, b) in pairs {
                let ratio = contrast(colors[*a], colors[*b]);
                assert!(ratio >= least, "--{a} on --{b}: {ratio:.2}, needs {least}");
            }
        }
    }
    // A color that is written anywhere else would escape this.
    let rules = html::STYLE.split_once("* { box-sizing").expect("the rules begin").1;
    let written: Vec<&str> = rules.split('#').skip(1).map(|rest| &rest[..3]).collect();
    assert!(written.iter().all(|hex| *hex == "000"), "{written:?}");
}
