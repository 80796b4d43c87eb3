//! Cut sets and importances against published trees; the drawing against itself: nothing lies on anything else.
//!
//! The pressure tank is that of NUREG-0492 (1981) with the figures of a benchmark collection; the tree of 25 events is a
//! published benchmark; the two trains and the multiprocessor are of papers (Dutuit and Rauzy 2001; Bobbio and others
//! 2001, from memory). Figures were worked out again by a decision diagram that shares no code with this.

use crate::small_engine;
use assert_cmd::Command;
use doldrum::chart::cuts::{CutSet, CutSets, weigh};
use doldrum::chart::importance::{Importance, importances};
use doldrum::chart::{Chart, Top, unasked};
use doldrum::inference::{Engine, Limits};
use doldrum::knowledge::layout::{Craft, Laid};
use doldrum::knowledge::{self, Knowledge};
use doldrum::model::compile::{CaseModel, compile};
use doldrum::report::{Charted, Figures, render_svg};
use doldrum::{store, units};
use proptest::prelude::*;
use scraper::{Html, Selector};
use std::fmt::Write as _;

const CRAFT: &str = include_str!("../knowledge_good/textbook/craft.yaml");

/// A tree of a book: causes with their chances; gates `name = any|all|k inputs`, the last of them the top.
fn book(causes: &[(&str, f64)], gates: &[(&str, &str, &[&str])]) -> Knowledge {
    let mut files = vec![("craft.yaml".to_owned(), CRAFT.to_owned())];
    let mut text = String::new();
    for (id, chance) in causes {
        writeln!(text, "- {{id: {id}, title: {id}, chance: {chance:.12}, basis: estimate}}").expect("a string");
    }
    files.push(("causes.yaml".to_owned(), std::mem::take(&mut text)));
    let (top, below) = gates.split_last().expect("a top");
    let inputs =
        |inputs: &[&str]| inputs.iter().map(|id| format!("{{from: {id}, strength: 1}}")).collect::<Vec<_>>().join(", ");
    let gate = |kind: &str, from: &[&str]| match kind.parse::<usize>() {
        Ok(k) => format!("at_least: {{k: {k}, of: [{}]}}", inputs(from)),
        Err(_) => format!("{kind}: [{}]", inputs(from)),
    };
    for (id, kind, from) in below {
        let gate = gate(kind, from);
        writeln!(text, "- {{id: {id}, title: {id}, {gate}, leak: 0, basis: estimate}}").expect("a string");
    }
    files.push(("effects.yaml".to_owned(), std::mem::take(&mut text)));
    let (id, kind, from) = top;
    let gate = gate(kind, from);
    let symptom = format!(
        "- {{id: {id}, title: {id}, says: [top], share: 100, {gate}, leak: 0, named: {{present: 1, absent: 0}}, basis: estimate}}\n"
    );
    files.push(("symptoms.yaml".to_owned(), symptom));
    let files: Vec<_> = files.into_iter().map(|(name, text)| (name, text.into_bytes())).collect();
    let (knowledge, findings) = knowledge::read(&files);
    knowledge.unwrap_or_else(|| panic!("{:?}", findings.sorted()))
}

struct Worked {
    top: f64,
    cuts: Vec<CutSet>,
    importances: Vec<(String, Importance)>,
    labels: Vec<Vec<String>>,
    /// How many cut sets of one cause, of two, and so on, counted without listing them.
    by_order: Vec<u64>,
}

fn worked(knowledge: &Knowledge, order: usize) -> Worked {
    let laid = Laid::new(knowledge, Craft::usual(knowledge));
    let case = unasked(&laid);
    let model = compile(&laid, &case);
    let engine = Engine::compile(&model.network).expect("sound");
    let top = model.symptoms[0].1;
    let chart = Chart::below(&model, top);
    assert_eq!(chart.reaches_top(), chart.graph.node_count());
    let sets = CutSets::below(&chart, &model.network, order).expect("few");
    let (by_order, mut cuts) = (sets.counts(), sets.likeliest(&laid, &case, usize::MAX));
    let limits = Limits::exact();
    weigh(&mut cuts, 20, &chart, &model, &engine, &limits).expect("it can be asked");
    let known = importances(&chart, &model.network, &engine, &[], 0, &limits).expect("it can be asked");
    assert!(!known.cut);
    let id = |at: usize| knowledge.causes.id(doldrum::knowledge::Ix::new(at)).to_owned();
    let labels = cuts.iter().map(|cut| cut.causes.iter().map(|cause| id(cause.item.at())).collect()).collect();
    let importances = known.causes.iter().map(|i| (id(i.cause.item.at()), *i)).collect();
    Worked { top: known.top, cuts, importances, labels, by_order }
}

fn near(found: f64, expected: f64, within: f64, what: &str) {
    assert!((found - expected).abs() <= within * expected.abs(), "{what}: expected {expected}, found {found}");
}

impl Worked {
    fn of(&self, id: &str) -> Importance {
        self.importances.iter().find(|(known, _)| known == id).expect("a cause").1
    }

    /// D, Birnbaum, criticality, RAW, RRW.
    fn holds(&self, id: &str, published: [f64; 5], within: f64) {
        let i = self.of(id);
        let found = [Some(i.diagnostic), i.birnbaum, i.criticality, i.achievement, i.reduction];
        for ((found, expected), what) in found.into_iter().zip(published).zip(["D", "B", "C", "RAW", "RRW"]) {
            near(found.expect("neither sure nor impossible"), expected, within, &format!("{what} of {id}"));
        }
    }
}

#[test]
fn the_pressure_tank() {
    let causes = [("t", 5e-6), ("k2", 3e-5), ("s", 1e-4), ("s1", 3e-5), ("k1", 5e-6), ("r", 1e-4)];
    let gates: [(&str, &str, &[&str]); 3] = [
        ("relay-stays", "any", &["s1", "k1", "r"]),
        ("switch-and-relay", "all", &["s", "relay-stays"]),
        ("sy-rupture", "any", &["t", "k2", "switch-and-relay"]),
    ];
    let worked = worked(&book(&causes, &gates), 4);
    near(worked.top, 3.501334916251629e-5, 1e-9, "P(top)");
    let mut sets = worked.labels.clone();
    sets.sort();
    assert_eq!(sets, [vec!["k2"], vec!["s", "k1"], vec!["s", "r"], vec!["s", "s1"], vec!["t"]]);
    assert!(worked.cuts.iter().all(|cut| cut.brings.is_some_and(|b| (b - 1.0).abs() < 1e-12)), "nothing is noisy");
    for (id, row) in [
        ("t", [0.142802677, 0.999969987, 0.142798391, 28560.535, 1.166586705]),
        ("k2", [0.856816064, 0.999994987, 0.856811768, 28560.535, 6.983814]),
        ("s", [4.855048e-4, 1.349916e-4, 3.855433e-4, 4.855048, 1.000385692]),
        ("s1", [1.156670e-4, 9.998600e-5, 8.566961e-5, 3.855568, 1.000085677]),
        ("k1", [1.927784e-5, 9.998350e-5, 1.427791e-5, 3.855568, 1.000014278]),
        ("r", [3.855568e-4, 9.999300e-5, 2.855854e-4, 3.855568, 1.000285667]),
    ] {
        worked.holds(id, row, 1e-6);
    }
}

#[test]
fn two_trains() {
    let causes = [("p1", 0.6), ("p2", 0.7), ("v1", 0.4), ("v2", 0.5)];
    let gates: [(&str, &str, &[&str]); 3] = [
        ("train-1", "any", &["p1", "v1"]),
        ("train-2", "any", &["p2", "v2"]),
        ("sy-both", "all", &["train-1", "train-2"]),
    ];
    let worked = worked(&book(&causes, &gates), 2);
    near(worked.top, 0.646, 1e-12, "P(top)");
    let chances: Vec<f64> = worked.cuts.iter().map(|cut| cut.chance).collect();
    for (found, expected) in chances.iter().zip([0.42, 0.3, 0.28, 0.2]) {
        near(*found, expected, 1e-12, "a cut set");
    }
    let bound = 1.0 - chances.iter().map(|chance| 1.0 - chance).product::<f64>();
    near(bound, 0.766144, 1e-12, "the upper bound of minimal cut sets");
    for (id, row) in [
        ("p1", [0.7895, 0.51, 0.4737, 1.316, 1.9]),
        ("p2", [0.8235, 0.38, 0.4118, 1.176, 1.7]),
        ("v1", [0.5263, 0.34, 0.2105, 1.316, 1.267]),
        ("v2", [0.5882, 0.228, 0.1765, 1.176, 1.214]),
    ] {
        worked.holds(id, row, 5e-4);
    }
}

/// Gates as the benchmark writes them: `&` over gates, `|` over events and gates.
const BENCHMARK: &str = "\
g35=e17|e18;g34=e19|e20|e21;g33=e19|e20;g32=e17|e18|e21;g31=g34&g35;g30=e24|e25;g29=e22|e23;g28=g32&g33;g27=e12|e13;\
g26=e9|e10|e11|g31;g25=g29&g30;g24=e14|e15|e16|g28;g23=e19|e20;g22=e17|e18|e21;g21=g26&g27;g20=g24&g25;g19=e24|e25;\
g18=e22|e23;g17=g22&g23;g16=e19|e20|e21;g15=e17|e18;g14=e4|e5|e6|e7|g21;g13=e1|e2|e3|g20;g12=g18&g19;\
g11=e14|e15|e16|g17;g10=g15&g16;g9=g13&g14;g8=g11&g12;g7=e12|e13;g6=e9|e10|e11|g10;g5=e8|g9;g4=e4|e5|e6|e7|g8;\
g3=g6&g7;g2=g4&g5;g1=e1|e2|e3|g3;r1=g1&g2";

#[test]
fn the_tree_of_twenty_five_events() {
    let names: Vec<String> = (1..=25).map(|n| format!("e{n}")).collect();
    let causes: Vec<(&str, f64)> = names.iter().map(|name| (name.as_str(), 0.02)).collect();
    let parsed: Vec<(&str, &str, Vec<&str>)> = BENCHMARK
        .split(';')
        .map(|gate| {
            let (name, inputs) = gate.split_once('=').expect("a gate");
            let kind = if inputs.contains('&') { "all" } else { "any" };
            (name, kind, inputs.split(['&', '|']).collect())
        })
        .collect();
    let gates: Vec<(&str, &str, &[&str])> = parsed.iter().map(|(n, k, inputs)| (*n, *k, inputs.as_slice())).collect();
    let knowledge = book(&causes, &gates);
    let worked = worked(&knowledge, 6);
    let of = |n: usize| worked.cuts.iter().filter(|cut| cut.causes.len() == n).count();
    assert_eq!((1..=6).map(of).collect::<Vec<_>>(), [0, 12, 0, 24, 188, 168]);
    assert_eq!(worked.by_order, [0, 12, 0, 24, 188, 168]);
    near(worked.top, 0.004569321780497458, 1e-9, "P(top)");
    let rare: f64 = worked.cuts.iter().map(|cut| cut.chance).sum();
    near(rare, 0.004804, 1e-3, "the sum over cut sets");
    for (id, [birnbaum, criticality, diagnostic, raw, rrw]) in [
        ("e1", [0.0745557, 0.326332, 0.339805, 16.9902, 1.48441]),
        ("e4", [0.0553923, 0.242453, 0.257604, 12.8802, 1.32005]),
        ("e8", [1.81647e-4, 7.95073e-4, 0.0207792, 1.03896, 1.0008]),
        ("e12", [9.51481e-5, 4.16465e-4, 0.0204081, 1.02041, 1.00042]),
    ] {
        worked.holds(id, [diagnostic, birnbaum, criticality, raw, rrw], 1e-4);
    }
    // Asked for less, the sets are those of more that are small enough.
    let few = self::worked(&knowledge, 4);
    assert_eq!(few.labels, worked.labels.iter().filter(|set| set.len() <= 4).cloned().collect::<Vec<_>>());
}

/// Mains down, and the generator or its relay: a theatre's power (test data of a general library for fault trees).
#[test]
fn a_theatre_in_the_dark() {
    let causes = [("mains", 3e-2), ("generator", 0.0198013266932447), ("relay", 5e-2)];
    let gates: [(&str, &str, &[&str]); 2] =
        [("no-spare", "any", &["generator", "relay"]), ("sy-dark", "all", &["mains", "no-spare"])];
    let worked = worked(&book(&causes, &gates), 2);
    near(worked.top, 2.064338e-3, 1e-6, "P(top)");
    assert_eq!(worked.labels, [["mains", "relay"], ["mains", "generator"]]);
    near(worked.cuts[0].chance, 1.5e-3, 1e-9, "mains and relay");
    near(worked.cuts[1].chance, 5.940398e-4, 1e-6, "mains and generator");
}

#[test]
fn the_multiprocessor() {
    let disk = 0.3296799539643607;
    let causes = [
        ("d11", disk),
        ("d12", disk),
        ("d21", disk),
        ("d22", disk),
        ("p1", 0.0024968776025398),
        ("p2", 0.0024968776025398),
        ("m1", 0.000149988750562),
        ("m2", 0.000149988750562),
        ("m3", 0.000149988750562),
        ("bus", 0.00000999995),
    ];
    let gates: [(&str, &str, &[&str]); 8] = [
        ("disks-1", "all", &["d11", "d12"]),
        ("disks-2", "all", &["d21", "d22"]),
        ("memory-1", "all", &["m1", "m3"]),
        ("memory-2", "all", &["m2", "m3"]),
        ("s1", "any", &["p1", "disks-1", "memory-1"]),
        ("s2", "any", &["p2", "disks-2", "memory-2"]),
        ("both", "all", &["s1", "s2"]),
        ("sy-down", "any", &["both", "bus"]),
    ];
    let worked = worked(&book(&causes, &gates), 4);
    near(worked.top, 0.01231188, 1e-6, "P(top)");
    assert_eq!(worked.cuts.len(), 10);
    near(worked.of("d21").diagnostic, 0.984378, 1e-5, "a disk");
    near(worked.of("p2").diagnostic, 0.022495, 1e-4, "a processor");
    near(worked.of("bus").diagnostic, 0.000812220, 1e-4, "the bus");
}

/// In a noisy tree a set only may bring the event about: rain alone wets the grass nine times in ten.
#[test]
fn a_noisy_set_says_how_surely() {
    let files = crate::knowledge_files::folder(
        &std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/knowledge_good/textbook"),
    );
    let worked = worked(&knowledge::read(&files).0.expect("sound"), 3);
    assert_eq!(worked.labels, [["rain"], ["sprinkler"]]);
    let brings: Vec<f64> = worked.cuts.iter().map(|cut| cut.brings.expect("asked")).collect();
    assert!((brings[0] - 0.9).abs() < 1e-12 && (brings[1] - 0.8).abs() < 1e-12, "{brings:?}");
}

/// A cause on several places: some on one are enough for "some, not all", and a set of one cause at every place has the
/// chance of its common root too.
#[test]
fn places_are_told_apart() {
    let knowledge = small_engine::knowledge();
    let laid = Laid::new(&knowledge, Craft::usual(&knowledge));
    let case = unasked(&laid);
    let model = compile(&laid, &case);
    let top = Top::find(&laid, "sy-no-start").and_then(|top| top.variable(&model)).expect("a symptom");
    let chart = Chart::below(&model, top);
    let engine = Engine::compile(&model.network).expect("sound");
    let sets = CutSets::below(&chart, &model.network, 3).expect("few");
    let cuts = sets.likeliest(&laid, &case, usize::MAX);
    assert!(!cuts.is_empty());
    for cut in &cuts {
        let found: Vec<_> = cut
            .causes
            .iter()
            .map(|cause| model.network.found(model.cause(*cause).expect("a cause"), 0, true))
            .collect();
        let exact = engine.log_evidence(&found, &Limits::exact()).expect("it can be asked").exp();
        near(cut.chance, exact, 1e-9, "the chance of a cut set");
    }
}

/// A gate of a random tree: at least so many of these, causes first and then the gates before it.
#[derive(Clone, Debug)]
struct Gate {
    least: usize,
    inputs: Vec<usize>,
}

/// Chances of two to twelve causes, and gates over them, the last of them the top.
fn coherent() -> impl Strategy<Value = (Vec<f64>, Vec<Gate>)> {
    let gate = |from: usize| {
        prop::collection::btree_set(0..from, 1..=from.min(4)).prop_flat_map(|inputs| {
            let inputs: Vec<usize> = inputs.into_iter().collect();
            (1..=inputs.len()).prop_map(move |least| Gate { least, inputs: inputs.clone() })
        })
    };
    (2_usize..=12, 1_usize..=7).prop_flat_map(move |(causes, gates)| {
        let gates: Vec<_> = (0..gates).map(|at| gate(causes + at)).collect();
        (prop::collection::vec(0.01..0.6_f64, causes), gates)
    })
}

/// Whether the top is on where these causes are there, one bit each.
fn on(causes: usize, gates: &[Gate], world: usize) -> bool {
    let mut known: Vec<bool> = (0..causes).map(|cause| world >> cause & 1 == 1).collect();
    for gate in gates {
        known.push(gate.inputs.iter().filter(|input| known[**input]).count() >= gate.least);
    }
    known[causes + gates.len() - 1]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    /// The sets, their chances and every measure are those of going through all that may be there.
    #[test]
    fn random_trees_are_as_going_through_every_world((chances, gates) in coherent()) {
        let n = chances.len();
        let names: Vec<String> = (0..n).map(|at| format!("c{at}")).chain((0..gates.len()).map(|at| format!("g{at}"))).collect();
        let causes: Vec<(&str, f64)> = names.iter().map(String::as_str).zip(chances.iter().copied()).collect();
        let kinds: Vec<String> = gates.iter().map(|gate| match gate.least {
            1 => "any".to_owned(),
            all if all == gate.inputs.len() => "all".to_owned(),
            k => k.to_string(),
        }).collect();
        let inputs: Vec<Vec<&str>> =
            gates.iter().map(|gate| gate.inputs.iter().map(|at| names[*at].as_str()).collect()).collect();
        let gated: Vec<(&str, &str, &[&str])> =
            (0..gates.len()).map(|at| (names[n + at].as_str(), kinds[at].as_str(), inputs[at].as_slice())).collect();
        let worked = worked(&book(&causes, &gated), n);

        let top = |world: usize| on(n, &gates, world);
        let smallest = |world: &usize| top(*world) && (0..n).all(|at| world >> at & 1 == 0 || !top(world & !(1 << at)));
        let mut expected: Vec<Vec<String>> = (0..1_usize << n)
            .filter(smallest)
            .map(|world| (0..n).filter(|at| world >> *at & 1 == 1).map(|at| names[at].clone()).collect())
            .collect();
        let mut found = worked.labels.clone();
        for set in &mut found {
            set.sort_by_key(|id| names.iter().position(|name| name == id));
        }
        expected.sort();
        found.sort();
        prop_assert_eq!(&found, &expected);
        for (order, count) in worked.by_order.iter().enumerate() {
            prop_assert_eq!(*count, expected.iter().filter(|set| set.len() == order + 1).count() as u64);
        }

        let weight = |world: usize| -> f64 {
            (0..n).map(|at| if world >> at & 1 == 1 { chances[at] } else { 1.0 - chances[at] }).product()
        };
        let chance = |holds: &dyn Fn(usize) -> bool| -> f64 { (0..1 << n).filter(|w| holds(*w)).map(weight).sum() };
        let p_top = chance(&top);
        prop_assert!((worked.top - p_top).abs() < 1e-9);
        for (at, p) in chances.iter().enumerate() {
            let Some((_, i)) = worked.importances.iter().find(|(id, _)| *id == names[at]) else { continue };
            let there = |world: usize| world >> at & 1 == 1;
            let with = chance(&|world| there(world) && top(world)) / p;
            let without = chance(&|world| !there(world) && top(world)) / (1.0 - p);
            let same = |found: Option<f64>, expected: f64| found.is_some_and(|f| (f - expected).abs() < 1e-7 * expected.max(1.0));
            prop_assert!(same(Some(i.diagnostic), with * p / p_top));
            prop_assert!(same(i.birnbaum, with - without));
            prop_assert!(same(i.criticality, (with - without) * p / p_top));
            prop_assert!(same(i.achievement, with / p_top));
            prop_assert!(without < 1e-12 || same(i.reduction, p_top / without));
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]
    /// After any answer the measures are those of asking about each cause outright.
    #[test]
    fn measures_are_those_of_asking_outright(outcome in 0_usize..2) {
        let files = crate::knowledge_files::folder(
            &std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/knowledge_good/textbook"),
        );
        let knowledge = knowledge::read(&files).0.expect("sound");
        let laid = Laid::new(&knowledge, Craft::usual(&knowledge));
        let mut case = unasked(&laid);
        case.log.push(doldrum::case::Event::Answer {
            check: doldrum::knowledge::Ix::new(0),
            place: Some(0),
            answer: doldrum::case::Answer::Outcome(outcome),
            aired_min: None,
        }.into());
        let model: CaseModel = compile(&laid, &case);
        let engine = Engine::compile(&model.network).expect("sound");
        let (top, limits) = (model.symptoms[0].1, Limits::exact());
        let chart = Chart::below(&model, top);
        let known = importances(&chart, &model.network, &engine, &model.evidence(), 0, &limits).expect("asked");
        for i in &known.causes {
            let var = model.cause(i.cause).expect("a cause");
            let given = |on: bool| {
                let mut evidence = model.evidence();
                evidence.push(model.network.found(var, 0, on));
                engine.posterior_with(&evidence, &[top], &limits).expect("asked").chance_on(top, 0)
            };
            let (with, without) = (given(true), given(false));
            prop_assert!((i.birnbaum.expect("open") - (with - without)).abs() < 1e-9);
            prop_assert!((i.achievement.expect("open") - with / known.top).abs() < 1e-9);
        }
    }
}

/// What lies where: left, top, right, bottom, and what it is.
type Area = (f64, f64, f64, f64, String);

/// The words and bars of a drawing, letters taken as wide as the drawing takes them.
fn boxes(svg: &str) -> (Vec<Area>, f64, f64) {
    let page = Html::parse_fragment(svg);
    let select = |what: &str| Selector::parse(what).expect("a selector");
    let number = |element: scraper::ElementRef<'_>, name: &str| {
        element.value().attr(name).and_then(|text| text.parse::<f64>().ok()).unwrap_or(0.0)
    };
    let root = page.select(&select("svg")).next().expect("a drawing");
    let mut boxes = Vec::new();
    for text in page.select(&select("text")) {
        let (x, mut y) = (number(text, "x"), number(text, "y"));
        let ends = text.value().attr("class").is_some_and(|class| class.contains("end"));
        let own: String = text.children().filter_map(|child| child.value().as_text().map(|t| t.to_string())).collect();
        let mut lines = vec![(y, own)];
        for more in text.select(&select("tspan")) {
            y += number(more, "dy");
            lines.push((y, more.text().collect()));
        }
        for (y, line) in lines.into_iter().filter(|(_, line)| !line.is_empty()) {
            let width = 7.0 * line.chars().count() as f64;
            let left = if ends { x - width } else { x };
            boxes.push((left, y - 11.0, left + width, y + 3.0, line));
        }
    }
    for bar in page.select(&select("rect.track")) {
        let (x, y) = (number(bar, "x"), number(bar, "y"));
        boxes.push((x, y, x + number(bar, "width"), y + number(bar, "height"), "a bar".to_owned()));
    }
    (boxes, number(root, "width"), number(root, "height"))
}

/// Sixty events of the largest complaint: no word lies on another or on a bar, none is cut off.
#[test]
fn nothing_lies_on_anything_else() {
    let knowledge = knowledge::read(&store::built_in()).0.expect("sound");
    let laid = Laid::new(&knowledge, Craft::usual(&knowledge));
    let model = compile(&laid, &unasked(&laid));
    let engine = Engine::compile(&model.network).expect("sound");
    for id in ["sy-cranks-no-start", "sy-no-crank"] {
        let top = Top::find(&laid, id).expect("a symptom");
        let chart = Chart::below(&model, top.variable(&model).expect("this craft can have it"));
        let known = importances(&chart, &model.network, &engine, &[], 0, &Limits::default()).expect("asked");
        let order: Vec<_> = known.causes.iter().filter_map(|i| model.cause(i.cause)).collect();
        let (drawn, left_out) = chart.pruned(60, &order);
        assert!((50..=60).contains(&drawn.graph.node_count()), "{} are drawn", drawn.graph.node_count());
        assert_eq!(drawn.causes().len() + left_out, chart.causes().len());
        assert_eq!(drawn.reaches_top(), drawn.graph.node_count(), "what is drawn leads to the top");
        let charted = Charted {
            laid: &laid,
            top,
            drawn: &drawn,
            left_out,
            cuts: Ok(&[]),
            by_order: &[0],
            importances: &known,
            answered: false,
        };
        let svg = render_svg(&charted.tree(&Figures::new(&knowledge, units::System::Us)), "A tree");
        let (boxes, width, height) = boxes(&svg);
        assert!(boxes.len() > 60, "{} boxes", boxes.len());
        for (at, a) in boxes.iter().enumerate() {
            assert!(a.0 >= 0.0 && a.1 >= 0.0 && a.2 <= width && a.3 <= height, "{a:?} lies outside");
            for b in &boxes[at + 1..] {
                assert!(a.2 <= b.0 || b.2 <= a.0 || a.3 <= b.1 || b.3 <= a.1, "{a:?} lies on {b:?}");
            }
        }
    }
}

fn doldrum(arguments: &[&str]) -> (Option<i32>, String, String) {
    let mut command = Command::cargo_bin("doldrum").expect("the program");
    command.env("NO_COLOR", "1").env("COLUMNS", "80").arg("--knowledge").arg(small_engine::folder());
    let output = command.args(arguments).output().expect("it runs");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("text");
    (output.status.code(), text(output.stdout), text(output.stderr))
}

#[test]
fn the_command_prints_every_format() {
    let (code, text, trouble) = doldrum(&["chart", "sy-no-start"]);
    assert_eq!(code, Some(0), "{trouble}");
    for part in [
        "Fault tree: Cranks, does not start",
        "any of these",
        "MINIMAL CUT SETS",
        "6 in all: 6 of 1 cause, 0 of 2.",
        "IMPORTANCE",
    ] {
        assert!(text.contains(part), "`{part}` is missing: {text}");
    }
    let (_, dot, _) = doldrum(&["chart", "sy-no-start", "--format", "dot"]);
    assert!(dot.starts_with("digraph") && dot.matches(" -> ").count() > 5, "{dot}");
    let (_, svg, _) = doldrum(&["chart", "sy-no-start", "--format", "svg"]);
    assert!(svg.starts_with("<svg xmlns=") && svg.contains("<title>"), "{svg}");
    let (_, json, _) = doldrum(&["chart", "sy-no-start", "--format", "json", "--order", "3"]);
    let value: serde_json::Value = serde_json::from_str(&json).expect("JSON");
    assert_eq!(value["top"], "sy-no-start");
    let nodes = value["nodes"].as_array().expect("a list");
    assert!(value["edges"].as_array().expect("a list").iter().all(|edge| {
        edge["from"].as_u64().expect("a node") < nodes.len() as u64 && edge["strength"].as_f64().is_some()
    }));
    let (code, _, trouble) = doldrum(&["chart", "sy-no-strat"]);
    assert!(code == Some(2) && trouble.contains("did you mean `sy-no-start`?"), "{trouble}");
}
