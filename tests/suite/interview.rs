//! Interviews by script: what is asked, what the answers do, and that going back undoes them.

use crate::small_engine::{at_bench, knowledge, new_case, noon};
use doldrum::access::AccessGraph;
use doldrum::case::text::read;
use doldrum::case::{Case, Event, Position};
use doldrum::decision::{Action, Settings};
use doldrum::interview::hand_over::hand_over;
use doldrum::interview::plain::{Echo, Plain};
use doldrum::interview::state::{End, Input, Key, Stage, State};
use doldrum::interview::{Finished, Keep, run, step};
use doldrum::knowledge::layout::{Instance, Laid};
use doldrum::report::{Assessment, Document, Figures, Paint, render_html, render_markdown, render_text};
use doldrum::units::System;
use proptest::prelude::*;
use std::io::{self, BufRead};
use std::rc::Rc;

/// Keeps every case it is given.
#[derive(Default)]
struct Kept {
    texts: Vec<String>,
    plans: usize,
}

impl Keep for Kept {
    type Error = io::Error;
    fn keep(&mut self, _: &Case, text: &str) -> io::Result<Option<String>> {
        self.texts.push(text.to_owned());
        Ok(None)
    }
    fn keep_plan(&mut self, _: &Document) -> io::Result<String> {
        self.plans += 1;
        Ok("The work order is written.".to_owned())
    }
}

/// An interview by these lines: what was shown, how it ended, what was kept.
fn interview(case: Option<Case>, lines: &[&str], width: usize) -> (String, Finished, Kept) {
    let knowledge = knowledge();
    let case = case.unwrap_or_else(|| new_case(&knowledge));
    let input = lines.join("\n");
    let mut kept = Kept::default();
    let mut plain = Plain::new(input.as_bytes().lines(), Vec::new(), width, Echo::On);
    let finished = at_bench(&knowledge, |bench| run(bench, case, &mut plain, &mut kept, &noon)).expect("nothing fails");
    (String::from_utf8(plain.into_output()).expect("text"), finished, kept)
}

const INTAKE: [&str; 8] = ["t", "1", "", "", "1", "", "2", "1"];

#[test]
fn from_the_first_sniff_to_the_first_check() {
    let (shown, finished, kept) = interview(None, &INTAKE, 80);
    insta::assert_snapshot!(shown);
    assert_eq!(finished.end, Some(End::Left));
    assert!(kept.texts.last().expect("kept").contains("ck-smell, outcome: none, aired: 10 min"));
}

#[test]
fn the_same_at_forty_columns() {
    let (shown, ..) = interview(None, &INTAKE, 40);
    insta::assert_snapshot!(shown);
    assert!(shown.lines().all(|line| line.chars().count() <= 40), "no line is wider than the window");
}

#[test]
fn a_sniff_of_none_counts_only_once_it_is_aired() {
    let (shown, finished, _) = interview(None, &["1"], 80);
    assert!(shown.contains("First air it for 10 min, then confirm with t."), "{shown}");
    assert!(finished.case.log.is_empty());
}

/// Work and waiting are told apart; once it is aired there is nothing to wait for.
#[test]
fn the_sniff_says_what_of_its_time_is_waiting() {
    let (shown, ..) = interview(None, &["t"], 80);
    let (before, after) = shown.split_once("> t").expect("two screens");
    assert!(before.contains("This check: 4 min of work and 10 min of waiting, nothing to buy."), "{before}");
    assert!(after.contains("This check: 4 min, nothing to buy."), "{after}");
}

#[test]
fn fire_ends_it_at_once_on_every_screen() {
    for lines in [&["!"][..], &["t", "1", "!"], &["t", "1", "", "", "1", "!"], &["t", "1", "", "", "1", "", "!"]] {
        let (_, finished, _) = interview(None, lines, 80);
        assert!(matches!(finished.end, Some(End::Stopped(_))), "{lines:?}");
    }
}

/// A job that was stopped with the key for fire, read back from the file that was kept.
fn stopped(lines: &[&str]) -> Case {
    let (_, finished, kept) = interview(None, lines, 80);
    let text = kept.texts.last().expect("kept").clone();
    assert!(text.trim_end().ends_with("emergency: fire, present: true}"), "{text}");
    let (case, findings) = read("case.yaml", &text, &knowledge());
    let case = case.unwrap_or_else(|| panic!("{:?}", findings.sorted()));
    assert_eq!(case, finished.case);
    case
}

/// A fire service hands a place back before anybody goes on there: common practice, no source.
#[test]
fn a_job_that_was_stopped_goes_on_only_once_the_craft_was_declared_safe() {
    for lines in [&["!"][..], &["t", "1", "!"], &["t", "1", "", "", "1", "", "!"]] {
        let case = stopped(lines);
        // No key gets past it, and whoever leaves has not answered it.
        for keys in [&["b", "b", "", "s", "o", "p", "d", "r", "g"][..], &["2"], &["n"], &["q"]] {
            let (shown, finished, _) = interview(Some(case.clone()), keys, 80);
            assert!(shown.contains("whoever else may say so"), "{keys:?}\n{shown}");
            assert!(!shown.contains("smell"), "{keys:?}\n{shown}");
            assert_eq!(finished.case, case, "{keys:?}");
        }
        let (shown, finished, _) = interview(Some(case.clone()), &["2"], 80);
        assert!(matches!(finished.end, Some(End::Stopped(_))), "{shown}");
        // Declared safe: written down, and the craft is smelled before anything else.
        let (shown, finished, kept) = interview(Some(case.clone()), &["1"], 80);
        assert!(kept.texts.last().expect("kept").contains("emergency: fire, present: false"));
        assert!(shown.contains("Before anything else.") || shown.contains("Before going on."), "{shown}");
        assert_eq!(finished.case.emergency(), None);
        // The answer is taken back by going back, the stop by an answer of its own.
        assert_eq!(interview(Some(case.clone()), &["1", "b"], 80).1.case, case, "{lines:?}");
        let before = interview(None, &lines[..lines.len() - 1], 80).1.case;
        assert_eq!(interview(Some(case.clone()), &["3"], 80).1.case, before, "{lines:?}");
    }
}

/// Nothing is advised about a craft that nobody may go near.
#[test]
fn what_is_said_of_a_job_that_was_stopped() {
    let case = stopped(&[&INTAKE[..], &["!"]].concat());
    let knowledge = knowledge();
    let laid = Laid::new(&knowledge, case.craft.clone());
    let graph = AccessGraph::new(&knowledge);
    let assessment = Assessment::new(&laid, &graph, &case, &Settings::default(), 0).expect("small");
    let figures = Figures::new(&knowledge, System::Us);
    insta::assert_snapshot!(render_text(&assessment.document(&figures), 80, Paint::Plain));
    let json: serde_json::Value = serde_json::from_str(&assessment.json()).expect("JSON");
    assert_eq!(json["waits"]["on"], "declared-safe");
    assert!(json["next"].is_null() && json["alternatives"].as_array().is_some_and(Vec::is_empty));
    at_bench(&knowledge, |bench| {
        assert!(bench.advisor.plan(&case, noon()).is_err_and(|why| why.contains("declared safe")));
        let over = hand_over(bench, &case, noon()).expect("small");
        assert!(over.sheet.first.is_empty() && over.sheet.forbidden[0].starts_with("Stopped: "), "{:?}", over.sheet);
    });
}

/// Where nobody has said what is wrong there is nothing to look for, least of all for money.
#[test]
fn what_is_said_of_a_job_without_a_complaint() {
    let knowledge = knowledge();
    let case = Case { symptoms: Vec::new(), ..new_case(&knowledge) };
    let laid = Laid::new(&knowledge, case.craft.clone());
    let graph = AccessGraph::new(&knowledge);
    let assessment = Assessment::new(&laid, &graph, &case, &Settings::default(), 0).expect("small");
    let figures = Figures::new(&knowledge, System::Us);
    let text = render_text(&assessment.document(&figures), 80, Paint::Plain);
    insta::assert_snapshot!(text);
    for text in [text, render_markdown(&assessment.document(&figures)), render_html(&assessment.page(&figures))] {
        assert!(text.contains("Name a complaint first") && text.contains("sy-no-start"), "{text}");
        assert!(!text.contains("Hand over") && !text.contains("Nothing that is listed"), "{text}");
    }
    let json: serde_json::Value = serde_json::from_str(&assessment.json()).expect("JSON");
    assert_eq!(json["waits"]["on"], "complaint");
    assert!(json["next"].is_null() && json["alternatives"].as_array().is_some_and(Vec::is_empty));
}

/// A case past intake, as text.
fn on_the_bench() -> Case {
    interview(None, &INTAKE, 80).1.case
}

/// Whoever leaves among the questions of history is asked the rest of them, at the one that was next; whoever skipped
/// them, or has been past them, is not.
#[test]
fn a_job_left_among_the_questions_of_history_goes_on_there() {
    let left_after = |n: usize| {
        let finished = interview(None, &[&INTAKE[..n], &["q"]].concat(), 80).1;
        let written = doldrum::case::text::write(&finished.case, &knowledge());
        let (case, findings) = read("case.yaml", &written, &knowledge());
        let case = case.unwrap_or_else(|| panic!("{:?}", findings.sorted()));
        interview(Some(case), &["t", "1"], 80).0
    };
    let first = left_after(INTAKE.len() - 2);
    assert!(first.contains("How long has it stood?") && !first.contains("So far:"), "{first}");
    let sniff = first.find("Do you smell").expect("the safety question");
    assert!(first.find("How long has it stood?").is_some_and(|at| sniff < at), "the safety question is first: {first}");
    let picked = left_after(INTAKE.len() - 3);
    assert!(picked.contains("How long has it stood?"), "{picked}");
    let second = left_after(INTAKE.len() - 1);
    assert!(second.contains("Was a primer fitted later?") && !second.contains("How long"), "{second}");
    let past = left_after(INTAKE.len());
    assert!(past.contains("So far:") && !past.contains("Was a primer"), "{past}");
    let skipped = interview(None, &["t", "1", "", "", "1", "", "s", "q"], 80).1.case;
    assert_eq!(skipped.history_next, None);
}

#[test]
fn a_job_that_is_gone_on_with_begins_with_a_sniff() {
    let (shown, ..) = interview(Some(on_the_bench()), &["?"], 80);
    assert!(shown.contains("Going on where you stopped: 1 answer so far"), "{shown}");
    assert!(shown.contains("Before going on."), "{shown}");
}

/// The carburetors are off and what is wanted next cranks the engine: they go back on, then the hull is sniffed, once.
#[test]
fn the_sniff_before_the_starter_puts_back_what_holds_the_vapor_open() {
    let knowledge = knowledge();
    let carburetors = knowledge.access.find("ac-carb-off").expect("it is there");
    let smell = knowledge.checks.find("ck-smell").expect("it is there");
    let mut case = on_the_bench();
    case.log.push(Event::Access { access: carburetors, now: Position::Open }.into());
    let log = at_bench(&knowledge, |bench| {
        let mut state = step::begin(bench, case, noon());
        for input in [Input::Key(Key::Tick), Input::Pick(0)] {
            state = step::step(bench, state, &input, noon());
        }
        let view = state.view.as_mut().and_then(Rc::get_mut).expect("advice");
        view.advice.next.action = Action::Check(Instance::new(smell, 0));
        view.advice.next.before.put_back = vec![carburetors];
        let action = view.advice.next.action.clone();
        let before = step::before(bench, &state, &action, noon()).expect("a sniff is never barred");
        assert_eq!(before.put_back, [carburetors]);
        step::step(bench, state, &Input::Pick(0), noon()).case.log
    });
    let shut = Event::Access { access: carburetors, now: Position::Shut };
    assert_eq!(log[log.len() - 2].event, shut, "{log:?}");
    assert!(matches!(log[log.len() - 1].event, Event::Answer { check, .. } if check == smell), "{log:?}");
}

#[test]
fn pages_say_why_and_what_is_known() {
    let (shown, ..) = interview(Some(on_the_bench()), &["t", "1", "?", "", "r", "", "h", "", "x", ""], 80);
    insta::assert_snapshot!(shown);
}

#[test]
fn two_places_behind_one_opening_are_one_screen_and_ticks_come_first() {
    let lines = ["t", "1", "o", "spark plug", "1", "t", "1 3"];
    let (shown, finished, _) = interview(Some(on_the_bench()), &lines, 80);
    assert!(shown.contains("First confirm with t: Leads on the grounding posts"), "{shown}");
    let knowledge = knowledge();
    let text = doldrum::case::text::write(&finished.case, &knowledge);
    assert!(text.contains("tick: leads-grounded"), "{text}");
    assert!(text.contains("check: ck-plug-look@front, outcome: dry"), "{text}");
    assert!(text.contains("check: ck-plug-look@rear, outcome: wet"), "{text}");
    insta::assert_snapshot!(shown);
}

/// Others may have been at the bench since: who takes a job up again confirms everything again.
#[test]
fn a_job_taken_up_again_asks_for_its_ticks_again() {
    let mut case = on_the_bench();
    let knowledge = knowledge();
    let grounded = knowledge.ticks.find("leads-grounded").expect("a tick");
    case.log.push(Event::Ticked(grounded).into());
    let (shown, finished, _) = interview(Some(case.clone()), &["t", "1", "o", "spark plug", "1", "1 3"], 80);
    assert!(shown.contains("First confirm with t: Leads on the grounding posts"), "{shown}");
    let looked = |finished: &Finished| finished.case.log.len() > case.log.len() + 1;
    assert!(!looked(&finished), "{:?}", finished.case.log);
    // Nobody is asked twice in one sitting, and what goes back past the sitting asks again.
    let (shown, finished, _) = interview(Some(case.clone()), &["t", "1", "o", "spark plug", "1", "t", "1 3"], 80);
    assert!(looked(&finished), "{shown}");
    let (_, finished, _) =
        interview(Some(case.clone()), &["t", "1", "b", "b", "b", "t", "1", "o", "spark plug", "1", "t", "1 3"], 80);
    assert!(text_of(&finished.case).contains("ck-plug-look@front, outcome: dry"), "{:?}", finished.case.log);
}

fn text_of(case: &Case) -> String {
    doldrum::case::text::write(case, &knowledge())
}

/// The list of runners-up is ranked and cut elsewhere; that no check is left may not be read from what was cut off.
#[test]
fn looking_further_names_the_best_check_however_many_repairs_come_before_it() {
    let lines = ["t", "1", "o", "spark plug", "t", "1 n"];
    let (shown, ..) = interview(Some(on_the_bench()), &lines, 80);
    let last = shown.rsplit("Fix it now").next().unwrap_or_default().replace('\n', " ");
    assert!(last.contains("Looking further first, with "), "{shown}");
}

#[test]
fn readings_are_typed_with_or_without_a_unit_and_checked() {
    let lines = ["t", "1", "o", "compression", "t", "12 V", "900", "9.8 bar", "120"];
    let (shown, finished, _) = interview(Some(on_the_bench()), &lines, 80);
    assert!(shown.contains("expected a unit of pressure"), "{shown}");
    assert!(shown.contains("expected 0 to 250 psi, found `900`"), "{shown}");
    let text = doldrum::case::text::write(&finished.case, &knowledge());
    assert!(text.contains("check: ck-compression@front, reading: 142.1"), "{text}");
    assert!(text.contains("check: ck-compression@rear, reading: 120 psi"), "{text}");
}

#[test]
fn a_repair_done_is_asked_about_and_proved_to_the_end() {
    // The screens are behind the fuel lines: the hull is smelled before the starter turns.
    let lines = ["t", "1", "p", "w", "d", "fuel screens", "1 1/4", "", "1", "1", "1", "1"];
    let (shown, finished, kept) = interview(Some(on_the_bench()), &lines, 80);
    insta::assert_snapshot!(shown);
    assert_eq!(finished.end, Some(End::Cured));
    assert_eq!(kept.plans, 1);
    let text = doldrum::case::text::write(&finished.case, &knowledge());
    assert!(text.contains("set: low-turns@front, value: 1.25"), "{text}");
    assert!(text.contains("repair: rm-screens"), "{text}");
    assert!(text.contains("symptom: sy-no-start, present: false"), "{text}");
}

/// A length is no count of turns; what could not be told is written down as that, and taken back with b.
#[test]
fn what_is_found_is_written_down_one_by_one_and_taken_back() {
    let begun = ["t", "1", "d", "fuel screens", "2 mm", "c"];
    let kept = |more: &[&str]| {
        let (shown, finished, _) = interview(Some(on_the_bench()), &[&begun[..], more].concat(), 80);
        (shown, doldrum::case::text::write(&finished.case, &knowledge()))
    };
    let (shown, text) = kept(&[]);
    assert!(shown.replace('\n', " ").contains("c where it cannot be told"), "{shown}");
    assert!(text.contains("set: low-turns@front, value: not known"), "{text}");
    let (shown, text) = kept(&["b", "1 1/8 turns"]);
    assert!(shown.contains("1 of 2") && shown.contains("2 of 2"), "{shown}");
    assert!(text.contains("set: low-turns@front, value: 1.125"), "{text}");
    assert!(!text.contains("not known"), "{text}");
}

/// That it is still there is written down; that it is gone with nothing done is not, and is said to be no cure.
#[test]
fn it_may_be_tried_again_with_nothing_done() {
    let tried = |answer: &str| {
        let lines = ["t", "1", "o", "try it again", answer];
        let (shown, finished, _) = interview(Some(on_the_bench()), &lines, 80);
        (shown, doldrum::case::text::write(&finished.case, &knowledge()))
    };
    let (_, text) = tried("1");
    assert!(text.contains("symptom: sy-no-start, present: true"), "{text}");
    let (shown, text) = tried("2");
    assert!(shown.contains("Gone, and nothing was repaired"), "{shown}");
    assert!(!text.contains("present:"), "{text}");
}

/// Whoever takes back the sniff with which a job was gone on with is asked for it again.
#[test]
fn a_sniff_that_is_taken_back_is_asked_again() {
    let (shown, ..) = interview(Some(on_the_bench()), &["t", "1", "b"], 80);
    assert_eq!(shown.matches("Before going on.").count(), 3, "{shown}");
}

#[test]
fn an_earlier_answer_is_changed_where_it_stands() {
    let lines = ["t", "1", "o", "spark plug", "t", "1 3", "e", "spark plug after cranking, front", "2"];
    let (_, finished, _) = interview(Some(on_the_bench()), &lines, 80);
    let text = doldrum::case::text::write(&finished.case, &knowledge());
    assert!(text.contains("check: ck-plug-look@front, outcome: damp"), "{text}");
    assert!(!text.contains("check: ck-plug-look@front, outcome: dry"), "{text}");
}

// --- undo ---------------------------------------------------------------------------------------------------------

fn input() -> impl Strategy<Value = Input> {
    prop_oneof![
        4 => (0_usize..3).prop_map(Input::Pick),
        2 => Just(Input::Key(Key::Enter)),
        2 => Just(Input::Key(Key::Tick)),
        1 => Just(Input::Key(Key::NotSure)),
        1 => Just(Input::Key(Key::CouldNot)),
        1 => Just(Input::Key(Key::Back)),
        1 => Just(Input::Key(Key::DidRepair)),
        1 => Just(Input::Text("120".to_owned())),
    ]
}

/// Back until the case is as it was after fewer inputs.
fn undone(mut state: State, wanted: usize, bench: &step::Bench<'_>) -> State {
    for _ in 0..50 {
        if state.before.len() <= wanted {
            break;
        }
        state = step::step(bench, state, &Input::Key(Key::Back), noon());
    }
    state
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]
    #[test]
    fn going_back_undoes_whatever_was_done(inputs in proptest::collection::vec(input(), 1..14)) {
        let knowledge = knowledge();
        at_bench(&knowledge, |bench| -> Result<(), TestCaseError> {
            let mut state = step::begin(bench, new_case(&knowledge), noon());
            for input in &inputs {
                let before = (state.case.clone(), state.stage, state.before.len());
                state = step::step(bench, state, input, noon());
                if state.end.is_some() {
                    break;
                }
                // What remembers can be undone; toggles of the intake are their own undoing.
                if state.before.len() == before.2 + 1 && before.1 == Stage::Bench {
                    let back = undone(state.clone(), before.2, bench);
                    prop_assert_eq!(&back.case, &before.0);
                }
            }
            Ok(())
        })?;
    }
}

/// A long walk through the interview on a small stack: how deep anything calls itself does not grow with the answers.
#[test]
fn a_long_walk_needs_little_stack() {
    let walk = || {
        let knowledge = knowledge();
        at_bench(&knowledge, |bench| {
            let mut state = step::begin(bench, on_the_bench(), noon());
            let mut answers = 0;
            for turn in 0_usize..160 {
                // Mostly answers, now and then another key; no key that ends or undoes.
                let input = match turn % 7 {
                    6 => Input::Key(Key::Tick),
                    5 => Input::Key(Key::Enter),
                    3 => Input::Text("120".to_owned()),
                    _ => Input::Pick(turn * 5 % 3),
                };
                state = step::step(bench, state, &input, noon());
                answers = answers.max(state.case.log.len());
                if state.end.is_some() {
                    state = step::begin(bench, on_the_bench(), noon());
                }
            }
            assert!(answers > 5, "only {answers} entries in the longest log");
        });
    };
    // A quarter of what a thread has by default, a sixteenth of what the program has.
    let thread = std::thread::Builder::new().stack_size(512 * 1024).spawn(walk).expect("a thread");
    thread.join().expect("it neither panics nor overflows");
}
