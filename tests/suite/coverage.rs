//! `docs/knowledge-coverage.md`: what the built-in bases cover, made from them and held current.

use crate::splits::{excess, nothing_listed};
use doldrum::knowledge::{Cause, Ix, Knowledge, State, read};
use doldrum::store::{built_in_named, built_in_names};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::fs;
use std::path::Path;

/// So many causes of a symptom are listed.
const LISTED: usize = 8;

const HEAD: &str = "\
# What the knowledge covers

Made from the built-in knowledge bases by a test, and held current by it; after a change of the knowledge:
`UPDATE_DOCS=1 cargo test --test suite coverage`.

- **Per symptom**: the causes that naming it lifts most, with their share of all it lifts, before any history or answer.
  The usual craft; a cause that comes on every cylinder at once counts once. Before them, in how many percent nothing
  listed is behind it.
- **Per cause**: the checks whose rows name it, and how many more can tell something through what it brings about.
- **Numbers by basis**: how many numbers stand on which basis ([what that means](format.md#where-a-number-comes-from-basis)).
";

/// What a base does not describe: such a craft needs tables of its own.
const LEFT_OUT: [(&str, &str); 2] = [
    (
        "watercraft",
        "A rotary disc for an intake instead of reeds, an electric fuel pump, an ignition without a capacitor (its peak \
         voltages are others), an accelerator pump in the carburetor (behind some of the bogging), power valves in the \
         exhaust (behind some of the missing top speed), a lanyard that opens the start circuit as well (silence may be the \
         lanyard). What such parts do counts as nothing listed.",
    ),
    (
        "handheld",
        "Four-strokes, carburetors with a solenoid or set by a computer, fuel injection, battery or electric start, a \
         catalyst in the muffler (hotter than the times here allow for). What such parts do counts as nothing listed.",
    ),
];

#[test]
fn the_page_of_coverage_is_current() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/knowledge-coverage.md");
    let made = page();
    if std::env::var_os("UPDATE_DOCS").is_some() {
        fs::write(&path, &made).expect("docs/knowledge-coverage.md can be written");
    }
    let page = fs::read_to_string(&path).unwrap_or_default();
    assert!(page == made, "docs/knowledge-coverage.md is not current; run this test with UPDATE_DOCS=1");
}

#[test]
fn every_cause_is_named_by_a_check_or_told_by_three() {
    for name in built_in_names() {
        let files = built_in_named(name).expect("it is built in");
        let knowledge = read(&files).0.expect("it is sound");
        for (ix, _) in knowledge.causes.iter() {
            let (named, through) = checks(&knowledge, ix);
            assert!(!named.is_empty() || through >= 3, "{name}: {}", knowledge.causes.id(ix));
        }
    }
}

fn page() -> String {
    let mut text = HEAD.to_owned();
    for name in built_in_names() {
        let files = built_in_named(name).expect("it is built in");
        let knowledge = read(&files).0.expect("it is sound");
        let _ = write!(text, "\n## {}\n\n`{name}`, version {}: ", knowledge.title, knowledge.version);
        let (causes, effects, checks) = (knowledge.causes.len(), knowledge.effects.len(), knowledge.checks.len());
        let (repairs, hazards) = (knowledge.repairs.len(), knowledge.hazards.len());
        let _ = writeln!(
            text,
            "{causes} causes, {effects} effects, {} symptoms, {checks} checks ({} for owners), {repairs} repairs, \
             {hazards} hazards, {} interlocks.",
            knowledge.symptoms.len(),
            knowledge.checks.iter().filter(|(_, check)| check.owner.is_some()).count(),
            knowledge.interlocks.len()
        );
        let (_, left_out) = LEFT_OUT.iter().find(|(of, _)| *of == name).expect("every base has its limits");
        let _ = writeln!(text, "\n**Not described**: {left_out}");
        symptoms(&mut text, &knowledge);
        causes_table(&mut text, &knowledge);
        bases(&mut text, &files);
    }
    text
}

fn symptoms(text: &mut String, knowledge: &Knowledge) {
    text.push_str("\n### Symptoms\n\n| symptom | nothing listed | lifts most, percent |\n| --- | ---: | --- |\n");
    let usual = knowledge.layouts.iter().find(|(_, layout)| layout.usual).expect("one layout is usual").0;
    let layout = knowledge.layouts.id(usual);
    for id in knowledge.symptoms.ids() {
        let shares = excess(knowledge, id, layout);
        let first = shares.iter().take(LISTED).filter(|(_, share)| *share >= 0.01);
        let listed: Vec<String> =
            first.map(|(ix, share)| format!("{} {:.0}", knowledge.causes.id(*ix), share * 100.0)).collect();
        let nothing = nothing_listed(knowledge, id, layout) * 100.0;
        let _ = writeln!(text, "| {id} | {nothing:.0} | {} |", listed.join(", "));
    }
}

fn causes_table(text: &mut String, knowledge: &Knowledge) {
    text.push_str(
        "\n### Causes\n\n| cause | checks that name it | through effects | repairs |\n| --- | --- | ---: | --- |\n",
    );
    for (ix, _) in knowledge.causes.iter() {
        let (named, through) = checks(knowledge, ix);
        let removes =
            |(_, repair): &(_, &doldrum::knowledge::Repair)| repair.removes.iter().any(|(cause, _)| *cause == ix);
        let repairs: Vec<&str> =
            knowledge.repairs.iter().filter(removes).map(|(r, _)| knowledge.repairs.id(r)).collect();
        let id = knowledge.causes.id(ix);
        let _ = writeln!(text, "| {id} | {} | {through} | {} |", named.join(", "), repairs.join(", "));
    }
}

/// The checks whose rows name a cause, and how many others read something it brings about.
fn checks(knowledge: &Knowledge, cause: Ix<Cause>) -> (Vec<String>, usize) {
    let above = above(knowledge, State::Cause(cause));
    let (mut named, mut through) = (Vec::new(), 0);
    for (ix, check) in knowledge.checks.iter() {
        let reads: BTreeSet<State> =
            check.rows.iter().flat_map(|row| &row.when).flat_map(|clause| &clause.0).map(|(state, _)| *state).collect();
        if reads.contains(&State::Cause(cause)) {
            named.push(knowledge.checks.id(ix).to_owned());
        } else if !reads.is_disjoint(&above) {
            through += 1;
        }
    }
    (named, through)
}

/// Every effect that a state brings about, directly or not.
fn above(knowledge: &Knowledge, state: State) -> BTreeSet<State> {
    let mut all = BTreeSet::from([state]);
    // Every effect stands after those it reads.
    for ix in &knowledge.effect_order {
        let reads = |input: &doldrum::knowledge::Input| states(&input.reads).iter().any(|state| all.contains(state));
        if knowledge.effects[*ix].gate.inputs.iter().any(reads) {
            all.insert(State::Effect(*ix));
        }
    }
    all.remove(&state);
    all
}

fn states(reads: &doldrum::knowledge::Reads) -> Vec<State> {
    use doldrum::knowledge::Reads;
    match reads {
        Reads::One(state) | Reads::Every(state) | Reads::SomeNotAll(state) | Reads::Exactly(_, state) => vec![*state],
        Reads::Together(states) => states.clone(),
    }
}

/// Numbers by kind of file and basis: each number counts for the basis that stands nearest above it.
fn bases(text: &mut String, files: &[(String, Vec<u8>)]) {
    let mut counts: BTreeMap<(String, String), usize> = BTreeMap::new();
    for (name, bytes) in files {
        let value: Value = serde_yaml::from_str(std::str::from_utf8(bytes).expect("text")).expect("it was read");
        count(&value, "", &kind(name), &mut counts);
    }
    text.push_str(
        "\n### Numbers by basis\n\n| in | common practice | estimate | published |\n| --- | ---: | ---: | ---: |\n",
    );
    let kinds: BTreeSet<&String> = counts.keys().map(|(kind, _)| kind).collect();
    let of = |kind: &str, basis: &str| counts.get(&(kind.to_owned(), basis.to_owned())).copied().unwrap_or(0);
    let mut all = [0; 3];
    for kind in kinds {
        let row = ["common-practice", "estimate", "published"].map(|basis| of(kind, basis));
        let _ = writeln!(text, "| {kind} | {} | {} | {} |", row[0], row[1], row[2]);
        all.iter_mut().zip(row).for_each(|(sum, n)| *sum += n);
    }
    let _ = writeln!(text, "| all | {} | {} | {} |", all[0], all[1], all[2]);
    assert!(!counts.keys().any(|(_, basis)| basis.is_empty()), "a number without a basis: {counts:?}");
}

/// `knowledge/common/fuel/history.yaml` is of kind `history`, `.../causes/fuel.yaml` of kind `causes`.
fn kind(name: &str) -> String {
    let below = name.splitn(if name.starts_with("knowledge/common/") { 4 } else { 3 }, '/').last().unwrap_or_default();
    below.split(['/', '.']).next().unwrap_or_default().to_owned()
}

fn count(value: &Value, basis: &str, kind: &str, counts: &mut BTreeMap<(String, String), usize>) {
    match value {
        Value::Number(_) if !basis.is_empty() => {
            *counts.entry((kind.to_owned(), basis.to_owned())).or_default() += 1;
        }
        Value::Number(_) => panic!("a number without a basis in {kind}"),
        Value::Array(items) => items.iter().for_each(|item| count(item, basis, kind, counts)),
        Value::Object(map) => {
            let own = match map.get("basis") {
                Some(Value::String(word)) => word.as_str(),
                Some(Value::Object(_)) => "published",
                _ => basis,
            };
            // The year of a source and the version of the format are no numbers of the knowledge.
            let entries =
                map.iter().filter(|(key, _)| !["basis", "format", "year", "order", "skill"].contains(&key.as_str()));
            entries.for_each(|(_, item)| count(item, own, kind, counts));
        }
        _ => {}
    }
}
