//! The case file: what is written reads back as it was, and what is wrong is told with its place.

use crate::small_engine::{knowledge, new_case};
use doldrum::case::text::{read, write};
use doldrum::case::{Answer, Case, Entry, Event, Position, Presence};
use doldrum::finding::Severity;
use doldrum::knowledge::layout::{Instance, Laid};
use doldrum::knowledge::{Ix, Knowledge, Scope};
use doldrum::units::{Measure, Unit};
use jiff::Timestamp;
use proptest::prelude::*;

const HEAD: &str = "format: 1\nknowledge: {id: small-engine}\nsymptoms: [sy-no-start]\nlog:\n";

/// Severity, code and line of everything found in a file.
fn found(knowledge: &Knowledge, text: &str) -> Vec<(Severity, &'static str, u32, String)> {
    let (case, findings) = read("case.yaml", text, knowledge);
    assert_eq!(case.is_none(), findings.any_error(), "a case comes back where there is no error, and only there");
    findings.sorted().into_iter().map(|f| (f.severity, f.code, f.place.line, f.message)).collect()
}

#[test]
fn one_wrong_entry_is_one_finding_at_its_line() {
    let knowledge = knowledge();
    let error = Severity::Error;
    let advice = Severity::Advice;
    for (entry, severity, code, part) in [
        ("{check: ck-plug-lok, outcome: dry}", error, "C004", "check `ck-plug-lok` is not defined"),
        ("{check: ck-plug-look@middle, outcome: dry}", error, "C006", "no place `middle`"),
        ("{check: ck-smell@front, outcome: none}", error, "C006", "of the whole craft"),
        ("{check: ck-plug-look@front, outcome: drry}", error, "C005", "no outcome `drry`"),
        ("{check: ck-compression@front, reading: 12 V}", error, "C010", "expected a unit of pressure"),
        ("{check: ck-compression@front, reading: 400 psi}", error, "C011", "expected 0 to 250 psi, found `400 psi`"),
        ("{check: ck-compression@front, reading: 1e308 kPa}", error, "C011", "less than 1e15"),
        ("{check: ck-smell, outcome: none, aired: 1e14 h}", error, "C011", "expected a time of 0 min to 1440 min"),
        ("{check: ck-smell, outcome: none, aired: 25 h}", error, "C011", "found `25 h`"),
        ("{check: ck-compression@front, reading: high}", error, "C009", "expected a number with a unit"),
        ("{check: ck-smell, reading: 3 psi}", error, "C012", "gives an outcome"),
        ("{check: ck-smell}", error, "C013", "exactly one of outcome, reading, could_not, unknown"),
        ("{check: ck-smell, outcome: none, unknown: true}", error, "C013", "exactly one of"),
        ("{check: ck-smell, repair: rm-plugs}", error, "C013", "found check and repair"),
        ("{check: ck-smell, outcome: none, now: open}", error, "C014", "key `now` does not go with `check`"),
        ("{repair: rm-plugs, present: true}", error, "C014", "key `present`"),
        ("{found: screen-clogged, present: true}", error, "C008", "expected one place"),
        ("{tick: leads-groundd}", error, "C004", "tick `leads-groundd`"),
        ("{symptom: sy-no-start, present: false}", advice, "C018", "gone and nothing was repaired"),
        ("{emergency: leads, present: true}", error, "C004", "expected an interlock that ends a job"),
        ("{emergency: fire}", error, "C013", "needs the key `present`"),
        ("{at: yesterday, tick: leads-grounded}", error, "C015", "expected a moment"),
        ("{check: ck-plug-look@front, outcome: dry}", advice, "C021", "against `no-spark-in-vapor`"),
        ("{check: ck-smell, outcome: none, aired: 10 psi}", error, "C010", "expected a unit of time"),
        ("{chek: ck-smell}", error, "K003", "key `chek` is not known here"),
        ("{check: ck-smell, check: ck-smell, outcome: none}", error, "K006", "stands twice"),
    ] {
        let text = format!("{HEAD}  - {entry}\n");
        let found = found(&knowledge, &text);
        let hit = found.iter().find(|f| f.0 == severity && f.1 == code && f.2 == 5);
        assert!(hit.is_some_and(|f| f.3.contains(part)), "{entry}: {found:?}");
    }
}

/// What one place says wrong hides nothing of the others.
#[test]
fn all_that_is_wrong_is_told_at_once() {
    let text = "format: 1\nknowledge: {id: small-engine}\ncraft: {layout: twn, options: {primer: maybe}}\nuser: onwer\n\
        symptoms: [sy-no-strt]\nlog:\n  - {access: ac-plugs-out, now: ajar}\n  - {check: ck-smell, outcome: nne}\n  \
        - {symptom: sy-no-start, present: perhaps}\n  - {chek: ck-smell}\n  - {repair: rm-plgs}\n";
    let knowledge = knowledge();
    let lines: Vec<(u32, &str)> = found(&knowledge, text).into_iter().map(|f| (f.2, f.1)).collect();
    let expected = [
        (3, "C004"),
        (3, "K005"),
        (4, "C004"),
        (5, "C004"),
        (7, "K005"),
        (8, "C005"),
        (9, "K005"),
        (10, "K003"),
        (11, "C004"),
    ];
    assert_eq!(lines, expected, "{:#?}", found(&knowledge, text));
    // Where the head cannot be read, the entries of the log are.
    let text = format!("titel: x\n{HEAD}  - {{access: ac-plugs-out, now: ajar}}\n");
    let lines: Vec<(u32, &str)> = found(&knowledge, &text).into_iter().map(|f| (f.2, f.1)).collect();
    assert_eq!(lines, [(1, "K003"), (6, "K005")]);
}

/// Two complaints of which one rules the other out are told of, and kept: a starter may turn it today and not tomorrow.
#[test]
fn complaints_at_odds_are_told_of() {
    let knowledge =
        doldrum::knowledge::read(&doldrum::store::built_in()).0.expect("the built-in knowledge base is sound");
    let told = |symptoms: &str| {
        let text = format!("format: 1\nknowledge: {{id: watercraft-two-stroke}}\nsymptoms: [{symptoms}]\nlog: []\n");
        let odds: Vec<String> =
            found(&knowledge, &text).into_iter().filter(|f| f.1 == "C024").map(|f| f.3.clone()).collect();
        odds
    };
    assert!(told("sy-no-idle, sy-bogs").is_empty());
    let [one] = told("sy-no-crank, sy-cranks-no-start").try_into().expect("told of once");
    assert!(one.contains("`sy-cranks-no-start` rules `sy-no-crank` out"), "{one}");
}

/// Where nothing need be opened nothing is written down: a job that was put back to the last cap and gone on with reads
/// back.
#[test]
fn what_opens_nothing_was_never_shut() {
    let knowledge =
        doldrum::knowledge::read(&doldrum::store::built_in()).0.expect("the built-in knowledge base is sound");
    let head = "format: 1\nknowledge: {id: watercraft-two-stroke}\nsymptoms: [sy-cranks-no-start]\nlog:\n";
    let put_back = "  - {access: ac-hatch-open, now: shut}\n  - {access: ac-outside, now: shut}\n";
    let repair = "  - {repair: rm-plugs-renew}\n";
    let opened = format!("{head}{put_back}  - {{access: ac-plugs-out, now: open}}\n{repair}");
    assert!(!found(&knowledge, &opened).iter().any(|f| f.1 == "C017"), "{:?}", found(&knowledge, &opened));
    let behind = format!("{head}{put_back}{repair}");
    assert!(found(&knowledge, &behind).iter().any(|f| f.1 == "C017" && f.3.contains("ac-hatch-open")));
}

#[test]
fn the_head_of_a_case_is_checked_too() {
    let knowledge = knowledge();
    for (text, code) in [
        ("format: 2\nknowledge: {id: small-engine}\n", "C001"),
        ("format: 1\nknowledge: {id: other}\n", "C002"),
        ("format: 1\nknowledge: {id: small-engine, version: 9.9.9}\n", "C003"),
        ("format: 1\nknowledge: {id: small-engine}\ncraft: {layout: twinn}\n", "C004"),
        ("format: 1\nknowledge: {id: small-engine}\nhistory: {cx-stood: a-day}\n", "C005"),
        ("format: 1\nknowledge: {id: small-engine}\naltitude: 20 km\n", "C009"),
        ("format: 1\nknowledge: {id: small-engine}\naltitude: 9000 m\n", "C011"),
        ("format: 1\nknowledge: {id: small-engine}\naltitude: 1e300 ft\n", "C011"),
        ("format: 1\nknowledge: {id: small-engine}\nsymptoms: [sy-weak, sy-weak]\n", "C019"),
        ("format: 1\nknowledge: {id: small-engine}\nsymptoms: [sy-weak\n", "K002"),
        ("knowledge: {id: small-engine}\n", "K004"),
    ] {
        let found = found(&knowledge, text);
        assert!(found.iter().any(|f| f.1 == code), "{text}: {found:?}");
    }
}

#[test]
fn another_patch_of_the_knowledge_base_is_advice() {
    let text = "format: 1\nknowledge: {id: small-engine, version: 0.1.7}\n";
    let found = found(&knowledge(), text);
    assert_eq!(found.len(), 1);
    assert_eq!((found[0].0, found[0].1), (Severity::Advice, "C003"));
}

#[test]
fn a_repair_behind_what_is_shut_is_an_error_and_silence_is_none() {
    let knowledge = knowledge();
    let shut = format!("{HEAD}  - {{access: ac-carb-off, now: shut}}\n  - {{repair: rm-screens}}\n");
    assert!(found(&knowledge, &shut).iter().any(|f| f.1 == "C017" && f.2 == 6));
    let opened = format!(
        "{HEAD}  - {{access: ac-carb-off, now: shut}}\n  - {{access: ac-carb-off, now: open}}\n  - {{repair: rm-screens}}\n"
    );
    assert!(!found(&knowledge, &opened).iter().any(|f| f.1 == "C017"));
    let silent = format!("{HEAD}  - {{repair: rm-screens}}\n");
    assert!(!found(&knowledge, &silent).iter().any(|f| f.1 == "C017"));
}

/// A log as long as no job is refused in a sentence, and one as long as may be is read.
#[test]
fn a_log_has_an_end() {
    let knowledge = doldrum::knowledge::read(&doldrum::store::built_in()).0.expect("the built-in base is sound");
    let log = |entries: usize| {
        let kinds = [
            "{check: ck-smell-hull, outcome: strong}",
            "{check: ck-external-weep, outcome: fitting-or-hose}",
            "{repair: rm-suction-reseal}",
            "{check: ck-compression, reading: 40 psi}",
        ];
        let entries: Vec<String> = (0..entries).map(|at| format!("  - {}\n", kinds[at % kinds.len()])).collect();
        let entries = entries.concat();
        format!("format: 1\nknowledge: {{id: watercraft-two-stroke}}\nsymptoms: [sy-cranks-no-start]\nlog:\n{entries}")
    };
    let long = found(&knowledge, &log(1001));
    assert!(long.len() == 1 && long[0].1 == "K009" && long[0].2 == 1005, "{long:?}");
    assert!(long[0].3.contains("at most 1000 entries"), "{long:?}");
    assert!(read("case.yaml", &log(1000), &knowledge).0.is_some());
}

#[test]
fn history_sets_what_it_implies_unless_the_craft_says_otherwise() {
    let knowledge = knowledge();
    let primer = |text: &str| {
        let (case, _) = read("case.yaml", text, &knowledge);
        case.map(|c| c.craft.has(Ix::new(0)))
    };
    let head = "format: 1\nknowledge: {id: small-engine}\nhistory: {cx-primer: fitted-later}\n";
    assert_eq!(primer(head), Some(true));
    assert_eq!(primer(&format!("{head}craft: {{options: {{primer: false}}}}\n")), Some(false));
}

#[test]
fn an_answer_without_a_place_speaks_of_all_together() {
    let knowledge = knowledge();
    let (case, _) = read("case.yaml", &format!("{HEAD}  - {{check: ck-plug-look, outcome: dry}}\n"), &knowledge);
    let Some(Event::Answer { place, .. }) = case.as_ref().and_then(|c| c.log.first()).map(|e| &e.event) else {
        panic!("one answer was written");
    };
    assert_eq!(*place, None);
}

// --- round trip ---------------------------------------------------------------------------------------------------

fn moment() -> impl Strategy<Value = Option<Timestamp>> {
    proptest::option::of((0_i64..4_000_000_000).prop_map(|s| Timestamp::from_second(s).expect("in range")))
}

fn word() -> impl Strategy<Value = String> {
    prop_oneof![
        "\\PC{0,12}",
        "[-0-9.eExX_+:# ]{1,8}",
        proptest::sample::select(vec![
            "yes", "no", "null", "~", "true", "1.0", "017", "0x1F", "1e3", "- a", "a: b", "'", "\"", "\\"
        ])
        .prop_map(str::to_owned),
    ]
}

/// An entry that fits the small knowledge base; `places` of the craft.
fn event(places: usize) -> impl Strategy<Value = Event> {
    let at = 0..places;
    let place = proptest::option::of(at.clone()).prop_map(move |p| if places == 1 { Some(0) } else { p });
    let answer = |check: usize, place: Option<usize>, answer: Answer, aired_min: Option<f64>| Event::Answer {
        check: Ix::new(check),
        place,
        answer,
        aired_min,
    };
    let rest = prop_oneof![Just(Answer::Unknown), Just(Answer::CouldNot)];
    prop_oneof![
        (0_usize..2, proptest::option::of(0.0_f64..60.0)).prop_map(move |(o, aired)| answer(
            0,
            Some(0),
            Answer::Outcome(o),
            aired
        )),
        (place.clone(), prop_oneof![(0_usize..3).prop_map(Answer::Outcome), rest.clone()])
            .prop_map(move |(place, a)| answer(1, place, a, None)),
        (place, prop_oneof![(0.0_f64..100.0).prop_map(Answer::Reading), (0_usize..2).prop_map(Answer::Outcome), rest])
            .prop_map(move |(place, a)| answer(2, place, a, None)),
        (0_usize..3, proptest::bool::ANY).prop_map(|(a, open)| Event::Access {
            access: Ix::new(a),
            now: if open { Position::Open } else { Position::Shut },
        }),
        (0_usize..2, proptest::bool::ANY)
            .prop_map(|(s, here)| Event::Tried { symptom: Ix::new(s), now: presence(here) }),
        (0_usize..3, at.clone(), proptest::bool::ANY)
            .prop_map(|(c, at, here)| Event::Found { cause: Instance::new(Ix::new(c), at), now: presence(here) }),
        Just(Event::Ticked(Ix::new(0))),
        proptest::bool::ANY.prop_map(|here| Event::Emergency { lock: Ix::new(2), now: presence(here) }),
        (at, word()).prop_map(|(at, value)| Event::Set { setting: Instance::new(Ix::new(0), at), value }),
        Just(Event::Repaired { repair: Ix::new(1), places: vec![0] }),
        Just(Event::Left { repair: Ix::new(2), places: vec![0] }),
        proptest::sample::subsequence((0..places).collect::<Vec<_>>(), 1..=places)
            .prop_map(|places| Event::Repaired { repair: Ix::new(2), places }),
    ]
}

fn presence(here: bool) -> Presence {
    if here { Presence::Present } else { Presence::Absent }
}

fn any_case() -> impl Strategy<Value = Case> {
    (0_usize..2).prop_flat_map(|layout| {
        let places = layout + 1;
        (
            proptest::option::of(word()),
            -400.0_f64..6000.0,
            proptest::option::of(proptest::collection::vec(word(), 0..3)),
            proptest::collection::vec((word(), -1e6_f64..1e6), 0..3),
            proptest::option::of(0_usize..2),
            proptest::collection::vec((moment(), event(places)), 0..8),
            proptest::bool::ANY,
        )
            .prop_map(move |(title, altitude_m, tools, sheet, stood, log, primer)| {
                let knowledge = knowledge();
                let mut case = new_case(&knowledge);
                case.title = title;
                case.craft.layout = Ix::new(layout);
                case.craft.options[0] = primer;
                case.altitude_m = altitude_m;
                case.tools = tools;
                case.sheet = sheet.into_iter().map(|(k, value)| (k, Measure { value, unit: Unit::Psi })).collect();
                case.history = stood.map(|value| (Ix::new(0), value)).into_iter().collect();
                case.history_next = stood.map(|_| Ix::new(1));
                case.symptoms = vec![Ix::new(1)];
                case.log = log.into_iter().map(|(at, event)| Entry { at, event }).collect();
                case
            })
    })
}

/// A repair done while what it needs is shut does not read back, rightly: a case that tells of one is left out.
fn reads_back(knowledge: &Knowledge, text: &str) -> Option<Result<Case, String>> {
    let (case, findings) = read("case.yaml", text, knowledge);
    let findings = findings.sorted();
    if findings.iter().any(|f| f.code == "C017") {
        return None;
    }
    Some(case.ok_or_else(|| format!("{findings:?}\n{text}")))
}

proptest! {
    #[test]
    fn what_is_written_reads_back_as_it_was(case in any_case()) {
        let knowledge = knowledge();
        let text = write(&case, &knowledge);
        if let Some(read) = reads_back(&knowledge, &text) {
            let read = read.map_err(TestCaseError::fail)?;
            prop_assert_eq!(&read, &case, "{}", text);
            prop_assert_eq!(write(&read, &knowledge), text);
        }
    }

    /// What is read, in whatever unit and of whatever size, is written so that it is read again.
    #[test]
    fn what_reads_can_be_written_and_read(
        digits in 1_u32..1000, power in -310_i32..310, unit in 0_usize..5, time in 0_usize..3, check in 0_usize..2,
    ) {
        let knowledge = knowledge();
        let entry = if check == 0 {
            format!("check: ck-compression@front, reading: {digits}e{power} {}", ["psi", "MPa", "kPa", "inH2O", "bar"][unit])
        } else {
            format!("check: ck-smell, outcome: none, aired: {digits}e{power} {}", ["s", "min", "h"][time])
        };
        if let (Some(case), _) = read("case.yaml", &format!("{HEAD}  - {{{entry}}}\n"), &knowledge) {
            prop_assert_eq!(case.log.len(), 1, "nothing is left out in silence");
            let text = write(&case, &knowledge);
            let again = read("case.yaml", &text, &knowledge).0;
            prop_assert_eq!(again.as_ref(), Some(&case), "{}", text);
        }
    }

    #[test]
    fn nothing_that_is_read_panics(text in "(format: 1\nknowledge: \\{id: small-engine\\}\n)?[-\\PC\n]{0,120}") {
        let _ = read("case.yaml", &text, &knowledge());
    }
}

#[test]
fn the_worked_cases_read_and_write_back() {
    let (knowledge, _) = doldrum::knowledge::read(&doldrum::store::built_in());
    let knowledge = knowledge.expect("the built-in knowledge base is sound");
    for n in 1..=8 {
        let name = format!("{}/tests/cases/w0{n}.yaml", env!("CARGO_MANIFEST_DIR"));
        let text = std::fs::read_to_string(&name).expect("the worked case is there");
        let (case, findings) = read(&name, &text, &knowledge);
        let case = case.unwrap_or_else(|| panic!("{:?}", findings.sorted()));
        let (again, _) = read("again", &write(&case, &knowledge), &knowledge);
        assert_eq!(again.as_ref(), Some(&case), "w0{n}");
        assert_eq!(Laid::new(&knowledge, case.craft.clone()).places(Scope::Craft), 1);
    }
}
