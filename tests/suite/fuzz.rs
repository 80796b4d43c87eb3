//! Input from nowhere nice: mangled knowledge, cases, readings and learned numbers give findings, never a panic.
//!
//! A few hundred inputs of each kind in every run; `DOLDRUM_FUZZ=20000 cargo test --test suite fuzz::` tries as many as
//! one has time for. What fails is kept in `proptest-regressions/`.

use crate::knowledge_files::{folder, small};
use crate::knowledge_hostile::{spoil, spoiled};
use crate::small_engine;
use doldrum::belief::believe;
use doldrum::calc;
use doldrum::case::text;
use doldrum::chart::cuts::CutSets;
use doldrum::chart::{Chart, unasked};
use doldrum::inference::Limits;
use doldrum::knowledge::layout::{Craft, Laid};
use doldrum::knowledge::{self, Knowledge};
use doldrum::logbook::overlay;
use doldrum::model::compile::compile;
use doldrum::units::{Measure, Quantity, System};
use doldrum::vet::{Depth, vet};
use proptest::prelude::*;
use std::path::Path;
use std::sync::LazyLock;

/// How many inputs of each kind.
fn config() -> ProptestConfig {
    let asked = std::env::var("DOLDRUM_FUZZ").ok().and_then(|text| text.parse().ok());
    ProptestConfig { cases: asked.unwrap_or(250), max_shrink_iters: 2_000, ..ProptestConfig::default() }
}

static ENGINE: LazyLock<Knowledge> = LazyLock::new(small_engine::knowledge);

/// Cases of the small engine, each with something the others lack.
const CASES: [&str; 3] = [
    "format: 1\nknowledge: {id: small-engine}\nsymptoms: [sy-no-start]\nlog:\n  - {check: ck-smell, outcome: none, aired: 10 min}\n  - {check: ck-plug-look@front, outcome: dry}\n",
    "format: 1\nknowledge: {id: small-engine, version: 0.1.0}\ntitle: A job\ncraft: {layout: twin}\naltitude: 350 m\nuser: technician\ntools: [compression gauge]\nhistory: {}\nsymptoms: [sy-no-start]\nlog:\n  - {at: 2026-11-25T10:02:00Z, check: ck-smell, outcome: none}\n  - {repair: rm-screens}\n  - {symptom: sy-no-start, present: true}\n",
    "format: 1\nknowledge: {id: small-engine}\nlog:\n  - {found: screen-clogged@front, present: true}\n  - {check: ck-compression@front, reading: 142 psi}\n  - {check: ck-smell, unknown: true}\n",
];

/// A number and a unit as a cold hand writes them.
fn reading() -> impl Strategy<Value = String> {
    let number = prop_oneof![
        any::<f64>().prop_map(|n| n.to_string()),
        (-1000.0..1000.0).prop_map(|n: f64| format!("{n:.2}")),
        "[-+]{0,2}[0-9]{0,30}[.,]?[0-9]{0,4}(e[-+]?[0-9]{1,4})?",
        "[0-9]{0,3} ?[0-9]{1,3}/[0-9]{0,3}",
        "[½¼¾⅛∞−]?[0-9]{0,2}",
        Just("nan".to_owned()),
        Just("inf".to_owned()),
    ];
    let unit = prop_oneof![
        prop::sample::select(vec![
            "psi", "kPa", "bar", "V", "kohm", "°C", "F", "turns", "mm", "in", "m", "%", "min", ""
        ])
        .prop_map(str::to_owned),
        "\\PC{0,12}",
    ];
    (number, "[ \t\u{a0}]{0,2}", unit).prop_map(|(number, gap, unit)| format!("{number}{gap}{unit}"))
}

proptest! {
    #![proptest_config(config())]

    /// A case is read or refused; one that is read can be believed, and reads back as it was written.
    #[test]
    fn cases(at in 0..CASES.len(), ways in prop::collection::vec(spoil(), 1..6)) {
        let bytes = spoiled(CASES[at].as_bytes().to_vec(), &ways);
        let (case, findings) = text::read_bytes("case.yaml", &bytes, &ENGINE);
        prop_assert!(case.is_some() || findings.any_error(), "refused and no word why");
        for finding in findings.sorted() {
            prop_assert!(!finding.message.is_empty() && !finding.line().contains('\n'), "{finding}");
        }
        if let Some(case) = case {
            let laid = Laid::new(&ENGINE, case.craft.clone());
            let belief = believe(&laid, &case, &Limits::default()).expect("the small engine is never too wide");
            prop_assert!(belief.causes.iter().all(|cause| (0.0..=1.0).contains(&cause.chance)));
            let written = text::write(&case, &ENGINE);
            let (again, findings) = text::read("again.yaml", &written, &ENGINE);
            // A repair behind what the log says is shut is written as it was, and refused as it was not before.
            let shut = findings.sorted().iter().any(|finding| finding.code == "C017");
            prop_assert!(shut || again.as_ref() == Some(&case), "{written}");
        }
    }

    /// A reading is a finite number of a known unit, or is refused in one line; in a case it is on its scale.
    #[test]
    fn readings(written in reading(), height in -1000.0..10_000.0) {
        match Measure::parse(&written) {
            Ok(measure) => {
                prop_assert!(measure.value.is_finite(), "{written}: {measure:?}");
                for system in [System::Us, System::Metric] {
                    let shown = measure.unit.convert(measure.value, measure.unit.in_system(system));
                    prop_assert!(shown.is_some(), "{written} cannot be shown");
                }
            }
            Err(error) => prop_assert!(!error.to_string().is_empty() && error.to_string().len() < 400, "{error}"),
        }
        for quantity in Quantity::ALL {
            let _ = Measure::parse_as(&written, quantity);
        }
        prop_assert!(calc::pressure_ratio(height) > 0.0);
        let quoted = serde_json::Value::from(written.as_str());
        let case = format!("format: 1\nknowledge: {{id: small-engine}}\nlog:\n  - {{check: ck-compression@front, reading: {quoted}}}\n");
        let (case, findings) = text::read("case.yaml", &case, &ENGINE);
        prop_assert!(case.is_some() || findings.any_error(), "refused and no word why");
        if let Some(case) = case {
            let laid = Laid::new(&ENGINE, case.craft.clone());
            let belief = believe(&laid, &case, &Limits::default()).expect("the small engine is never too wide");
            prop_assert!(belief.causes.iter().all(|cause| (0.0..=1.0).contains(&cause.chance)), "{written}");
        }
    }

    /// Knowledge that still reads can be vetted, and its complaints taken apart.
    #[test]
    fn knowledge_bases(file in 0_usize..14, ways in prop::collection::vec(spoil(), 1..4)) {
        let mut files = small();
        let file = file % files.len();
        files[file].1 = spoiled(std::mem::take(&mut files[file].1), &ways);
        if let (Some(knowledge), _) = knowledge::read(&files) {
            let vetted = vet(&knowledge, &Depth::Quick).expect("nothing is asked");
            for finding in vetted.findings.sorted() {
                prop_assert!(files.iter().any(|(name, _)| *name == finding.place.file), "{finding}");
            }
            let laid = Laid::new(&knowledge, Craft::usual(&knowledge));
            let case = unasked(&laid);
            let model = compile(&laid, &case);
            for (_, top) in &model.symptoms {
                let sets = CutSets::below(&Chart::below(&model, *top), &model.network, 3).expect("a small base");
                for cut in sets.likeliest(&laid, &case, 100) {
                    prop_assert!((0.0..=1.0).contains(&cut.chance) && !cut.causes.is_empty(), "{cut:?}");
                }
            }
        }
    }

    /// A file of learned numbers is taken or refused.
    #[test]
    fn learned_numbers(ways in prop::collection::vec(spoil(), 1..6)) {
        let good = "format: 1\nknowledge: {id: small-engine, version: 0.1.0}\njobs: 12\nweight: 1\ncauses: []\n";
        let bytes = spoiled(good.as_bytes().to_vec(), &ways);
        let (read, findings) = overlay::read("learned.yaml", &bytes, &ENGINE);
        prop_assert!(read.is_some() || findings.any_error(), "refused and no word why");
    }
}

/// What is mangled is sound before: else the tests above would try nothing.
#[test]
fn what_is_mangled_is_sound() {
    for (at, case) in CASES.iter().enumerate() {
        let (read, findings) = text::read("case.yaml", case, &ENGINE);
        assert!(read.is_some(), "{at}: {:?}", findings.sorted());
    }
    let tests = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/knowledge_good/small");
    assert!(knowledge::read(&folder(&tests)).0.is_some());
}
