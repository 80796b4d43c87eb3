//! How a job ends for whoever brought it: fixed, do this and call back, or bring it in; and that the shop goes on from
//! there with nothing asked twice.

use crate::serve::serving_base;
use crate::small_engine::noon;
use assert_cmd::Command;
use doldrum::access::AccessGraph;
use doldrum::case::{Case, Event, Presence, text, usual_user};
use doldrum::decision::Settings;
use doldrum::interview::advisor::Library;
use doldrum::interview::hand_over::{Ending, ending, hand_over};
use doldrum::interview::state::{End, Input, Key, Over, Stage};
use doldrum::interview::step::{self, Bench};
use doldrum::knowledge::Knowledge;
use doldrum::knowledge::layout::Craft;
use doldrum::report::{Document, Figures, Paint, render_text};
use doldrum::store;
use doldrum::units::System;
use std::fs;
use std::path::Path;

/// The built-in knowledge base.
pub fn watercraft() -> Knowledge {
    let (knowledge, findings) = doldrum::knowledge::read(&store::built_in());
    knowledge.unwrap_or_else(|| panic!("{:?}", findings.sorted()))
}

/// Runs something at a bench over it.
pub fn at_bench<T>(knowledge: &Knowledge, work: impl FnOnce(&Bench<'_>) -> T) -> T {
    let figures = Figures::new(knowledge, System::Us);
    let graph = AccessGraph::new(knowledge);
    let settings = Settings { worlds: 256, ..Settings::default() };
    let library = Library::new(knowledge, settings, figures.clone());
    work(&Bench { knowledge, graph: &graph, advisor: &library, figures: &figures, layout_known: true })
}

/// A case of an owner's single with these answers.
fn owners(knowledge: &Knowledge, log: &str) -> Case {
    let written = format!(
        "format: 1\nknowledge: {{id: watercraft-two-stroke}}\ncraft: {{layout: single}}\nuser: owner\n\
         history: {{cx-last-ran: one-winter-3-8-months}}\nsymptoms: [sy-cranks-no-start]\n{log}"
    );
    let (case, findings) = text::read("case.yaml", &written, knowledge);
    case.unwrap_or_else(|| panic!("{:?}", findings.sorted()))
}

/// What a page says, however its lines break.
fn in_one_line(page: &Document) -> String {
    render_text(page, 80, Paint::Plain).split_whitespace().collect::<Vec<_>>().join(" ")
}

const LOG: &str = "log:\n  - {check: ck-smell-hull, outcome: none, aired: 10 min}\n  - {check: ck-selector-position, outcome: selector-on}\n";

fn triage(place: &Path, arguments: &[&str], lines: &str) -> String {
    let mut command = Command::cargo_bin("doldrum").expect("the program is built");
    command.env("NO_COLOR", "1").env("COLUMNS", "100").current_dir(place).args(["triage", "--plain"]).args(arguments);
    let output = command.write_stdin(lines).output().expect("ran");
    let shown = String::from_utf8(output.stdout).expect("text");
    assert!(output.status.success(), "{shown}{}", String::from_utf8_lossy(&output.stderr));
    shown
}

/// An owner guided by phone, to the sheet; then the shop, from the file that the sheet names.
#[test]
fn what_the_owner_said_is_not_asked_again_by_the_shop() {
    let knowledge = watercraft();
    let place = tempfile::tempdir().expect("a folder");
    // The three questions of every call, the sniff, the options, the complaint, no more history; the tap; bring it in.
    let lines = "1\n1\n1\nt\n1\n\n3\n\ns\n1\n1\ng\n1\n";
    let shown = triage(place.path(), &["o.yaml", "--for", "owner", "--layout", "single"], lines);
    assert!(shown.contains("Hand-over sheet"), "{shown}");
    for section in ["MUST NOT BE DONE", "FOUND", "BELIEVED", "LOOK AT FIRST", "GOING ON"] {
        assert!(shown.contains(section), "{section} is missing:\n{shown}");
    }
    assert!(shown.contains("doldrum triage o.shop.yaml"), "{shown}");
    assert!(place.path().join("o.sheet.md").exists());
    let theirs = fs::read_to_string(place.path().join("o.shop.yaml")).expect("the shop's case");
    assert!(theirs.contains("user: technician"), "{theirs}");
    let (before, _) = text::read("o.shop.yaml", &theirs, &knowledge);
    let before = before.expect("the shop can read it");
    let answered: Vec<_> = before
        .log
        .iter()
        .filter_map(|e| if let Event::Answer { check, .. } = e.event { Some(check) } else { None })
        .collect();
    assert!(answered.len() >= 2, "{theirs}");

    // The hazard is open for the shop: without airing, no smell is no answer.
    let shown = triage(place.path(), &["o.shop.yaml"], "1\nq\n");
    assert!(shown.contains("First air it for 10 min"), "{shown}");
    let shown = triage(place.path(), &["o.shop.yaml"], "t\n1\nt\n1\n1\nq\n");
    let after = fs::read_to_string(place.path().join("o.shop.yaml")).expect("kept");
    let (after, _) = text::read("o.shop.yaml", &after, &knowledge);
    let after = after.expect("read");
    assert!(after.log.len() > before.log.len() + 1, "the shop went on: {shown}");
    assert_eq!(after.log[..before.log.len()], before.log, "what was said stays as it was");
    let (smell, ..) = doldrum::interview::state::first_check(&knowledge).expect("there is a safety question");
    for check in answered.iter().filter(|check| **check != smell) {
        let ask = &knowledge.checks[*check].ask;
        assert!(!shown.contains(ask.as_str()), "asked twice: {ask}\n{shown}");
    }
    for question in ["How is it laid out?", "What is fitted?", "What does the customer say?"] {
        assert!(!shown.contains(question), "asked twice: {question}");
    }
}

/// The shop has gone on with what was handed over when the owner calls once more and it is handed over again.
#[test]
fn what_the_shop_went_on_with_is_not_written_over_by_another_hand_over() {
    let knowledge = watercraft();
    let begin = |case: &mut Case| *case = owners(&knowledge, LOG);
    serving_base(&knowledge, "127.0.0.1:0", begin, |client| {
        let beside = |name: &str| client.at_file().with_extension(name);
        let mut page = client.page();
        for call in 0..2 {
            for field in ["pick=0", "pick=0", "pick=0", "key=t", "pick=0", "key=g", "pick=0"] {
                page = client.answer(&page, field);
            }
            assert!(page.words.contains("Hand-over sheet"), "call {call}: {page:?}");
            if call == 0 {
                assert!(page.words.contains("job.shop.yaml"), "{page:?}");
                fs::write(beside("shop.yaml"), "what the shop went on with").expect("written");
                page = client.answer(&page, "key=enter");
            }
        }
        assert!(page.words.contains("job.shop-2.yaml"), "{page:?}");
        assert_eq!(fs::read_to_string(beside("shop.yaml")).expect("there"), "what the shop went on with");
        let second = fs::read_to_string(beside("shop-2.yaml")).expect("the second hand-over");
        assert!(second.contains("user: technician"), "{second}");
    });
}

#[test]
fn a_sheet_says_what_is_open_and_what_must_not_be_done() {
    let knowledge = watercraft();
    let case = owners(
        &knowledge,
        "log:\n  - {check: ck-smell-hull, outcome: strong}\n  - {check: ck-choke-plate, could_not: true}\n",
    );
    at_bench(&knowledge, |bench| {
        let over = hand_over(bench, &case, noon()).expect("weighed");
        assert_eq!(knowledge.users.id(over.case.user), "technician");
        assert_eq!(over.case.log, case.log);
        let open = over.sheet.open.first().expect("a strong smell leaves something open");
        assert!(open.until.as_ref().is_some_and(|u| u.contains("30 min")), "{open:?}");
        assert!(!open.never.is_empty());
        assert!(!over.sheet.forbidden.is_empty(), "a strong smell holds up whatever ignites");
        assert_eq!(over.sheet.not_told.len(), 1, "{:?}", over.sheet.not_told);
        assert!(!over.sheet.said.is_empty() && !over.sheet.believed.is_empty() && !over.sheet.first.is_empty());
        let page = render_text(&over.sheet.document(bench.figures, Some("x.yaml")), 80, Paint::Plain);
        let (must, found) = (page.find("MUST NOT BE DONE").expect("said"), page.find("FOUND").expect("said"));
        assert!(must < found, "what can hurt comes first");
        assert!(page.lines().all(|line| line.chars().count() <= 80));
        insta::assert_snapshot!(page);
    });
}

#[test]
fn a_call_ends_in_one_of_three_ways() {
    let knowledge = watercraft();
    let case = owners(&knowledge, LOG);
    at_bench(&knowledge, |bench| {
        let end = |case: &Case, end| ending(bench, case, end, None, noon()).expect("weighed");
        assert!(matches!(end(&case, End::HandedOver), Some(Ending::BringIn(_))));
        assert!(matches!(end(&case, End::Cured), Some(Ending::Fixed(_))));
        let Some(Ending::CallBack(page)) = end(&case, End::Left) else { panic!("a call that is left is a call back") };
        let page = in_one_line(&page);
        assert!(page.contains("911 in the US"), "{page}");
        // A repair that was done and not tried is what is left to do.
        let mut repaired = case.clone();
        let plugs = knowledge.repairs.find("rm-plugs-renew").expect("it is there");
        repaired.log.push(Event::Repaired { repair: plugs, places: vec![0] }.into());
        let Some(Ending::CallBack(page)) = end(&repaired, End::Left) else { panic!("to be tried") };
        let page = in_one_line(&page);
        assert!(page.contains("Try it, and see whether this is gone"), "{page}");
        // A shop's own job that is left is only left.
        let shop = Case { user: usual_user(&knowledge), ..case.clone() };
        assert!(end(&shop, End::Left).is_none());
    });
}

/// On the phone people come first: no key and no answer but the one that all is well goes past.
#[test]
fn the_questions_of_a_call_cannot_be_skipped() {
    let knowledge = watercraft();
    at_bench(&knowledge, |bench| {
        let user = knowledge.users.find("owner").expect("it is there");
        let fresh = Case {
            title: None,
            craft: Craft::usual(&knowledge),
            altitude_m: 0.0,
            user,
            tools: None,
            sheet: indexmap::IndexMap::new(),
            history: indexmap::IndexMap::new(),
            history_next: None,
            symptoms: Vec::new(),
            log: Vec::new(),
            taken_up: 0,
        };
        for case in [fresh, owners(&knowledge, LOG)] {
            let start = step::begin(bench, case, noon());
            assert_eq!(start.stage, Stage::Call(0));
            for at in 0..3 {
                let mut state = start.clone();
                state.stage = Stage::Call(at);
                let keys = Key::ALL.into_iter().filter(|key| !matches!(key, Key::Stop | Key::Leave | Key::Back));
                let inputs =
                    keys.map(Input::Key).chain([Input::Pick(1), Input::Pick(2), Input::Text("well".to_owned())]);
                for input in inputs {
                    let next = step::step(bench, state.clone(), &input, noon());
                    assert!(next.stage == Stage::Call(at), "{input:?} skips question {at}");
                    // Whatever is laid over it, the question is still there afterwards.
                    let after = step::step(bench, next, &Input::Key(Key::Enter), noon());
                    assert_eq!(after.stage, Stage::Call(at));
                }
            }
            let mut state = start;
            for _ in 0..3 {
                state = step::step(bench, state, &Input::Pick(0), noon());
            }
            assert!(!matches!(state.stage, Stage::Call(_)));
            assert!(state.stage == Stage::Sniff || state.sniff_first, "the sniff comes next");
        }
    });
}

#[test]
fn a_smell_on_the_phone_is_answered_with_what_to_do_before_anything_else() {
    let knowledge = watercraft();
    at_bench(&knowledge, |bench| {
        let mut state = step::begin(bench, owners(&knowledge, ""), noon());
        for _ in 0..3 {
            state = step::step(bench, state, &Input::Pick(0), noon());
        }
        state = step::step(bench, state, &Input::Pick(2), noon());
        let Some(Over::Page(_, page)) = &state.over else { panic!("a page lies over the question") };
        let page = in_one_line(page);
        assert!(page.contains("STOP") && page.contains("911 in the US"), "{page}");
    });
}

/// The owner's boxes were ticked at the owner's: the shop's case has none of them, and the owner's own keeps them.
#[test]
fn what_an_owner_confirmed_is_not_handed_over() {
    let knowledge = watercraft();
    let log = format!("{LOG}  - {{tick: leads-on-posts}}\n");
    let ticks = |case: &Case| case.log.iter().filter(|entry| matches!(entry.event, Event::Ticked(_))).count();
    at_bench(&knowledge, |bench| {
        let case = owners(&knowledge, &log);
        let over = hand_over(bench, &case, noon()).expect("it can be weighed");
        assert_eq!((ticks(&case), ticks(&over.case), over.case.log.len()), (1, 0, case.log.len() - 1));
        let shop = Case { user: usual_user(&knowledge), ..case };
        assert_eq!(hand_over(bench, &shop, noon()).expect("it can be weighed").case, shop);
    });
}

#[test]
fn a_repair_that_cures_is_fixed() {
    let knowledge = watercraft();
    let plugs = knowledge.repairs.find("rm-plugs-renew").expect("it is there");
    let symptom = knowledge.symptoms.find("sy-cranks-no-start").expect("it is there");
    let mut case = owners(&knowledge, LOG);
    case.log.push(Event::Repaired { repair: plugs, places: vec![0] }.into());
    case.log.push(Event::Tried { symptom, now: Presence::Absent }.into());
    at_bench(&knowledge, |bench| {
        let Ok(Some(Ending::Fixed(record))) = ending(bench, &case, End::Cured, None, noon()) else { panic!("fixed") };
        assert!(render_text(&record, 80, Paint::Plain).contains("gone"));
    });
}

/// What is told to the owner is paid for and believed: a part that was changed for nothing is not called bad.
#[test]
fn a_repair_after_which_it_was_still_there_is_not_told_as_what_was_found() {
    let knowledge = watercraft();
    let find = |id: &str| knowledge.repairs.find(id).expect("it is there");
    let symptom = knowledge.symptoms.find("sy-cranks-no-start").expect("it is there");
    let done = |repair| Event::Repaired { repair: find(repair), places: vec![0] }.into();
    let tried = |now| Event::Tried { symptom, now }.into();
    let told = |between: Option<Presence>| {
        let mut case = owners(&knowledge, LOG);
        case.log.push(done("rm-selector-replace"));
        case.log.extend(between.map(tried));
        case.log.extend([done("rm-filter-replace"), tried(Presence::Absent)]);
        at_bench(&knowledge, |bench| {
            let Ok(Some(Ending::Fixed(record))) = ending(bench, &case, End::Cured, None, noon()) else {
                panic!("fixed")
            };
            let page = in_one_line(&record);
            page.split_once("TELL THE OWNER").expect("the owner is told something").1.to_owned()
        })
    };
    let both = told(None);
    assert!(both.contains("The fuel tap was stuck") && !both.contains("Also done"), "{both}");
    let second = told(Some(Presence::Present));
    assert!(!second.contains("The fuel tap was stuck"), "{second}");
    assert!(second.contains("Also done, and that alone did not put it right:"), "{second}");
    assert!(second.contains("Turn it once a month"), "what holds from now on is told all the same: {second}");
    assert!(second.contains("The fuel filter is new."), "{second}");
}
