//! What if, several answers at once, and two cases side by side.

use crate::hand_over::{at_bench as at_watercraft, watercraft};
use crate::small_engine::{at_bench, knowledge, new_case, noon};
use doldrum::case::{Answer, Case, Event, text};
use doldrum::interview::compare::compare;
use doldrum::interview::screens::screen;
use doldrum::interview::state::{Input, Key, Over, State};
use doldrum::interview::step::{self, Bench};
use doldrum::interview::suppose;
use doldrum::knowledge::Knowledge;
use doldrum::knowledge::layout::Instance;
use doldrum::report::{Paint, render_text};

/// A state past the intake, sniffed.
fn on_the_bench(bench: &Bench<'_>, knowledge: &Knowledge) -> State {
    let mut state = step::begin(bench, new_case(knowledge), noon());
    for input in [
        Input::Key(Key::Tick),
        Input::Pick(0),
        Input::Key(Key::Enter),
        Input::Key(Key::Enter),
        Input::Pick(0),
        Input::Key(Key::Enter),
        Input::Key(Key::Skip),
    ] {
        state = step::step(bench, state, &input, noon());
    }
    assert!(state.view.is_some(), "there is advice");
    state
}

fn after(bench: &Bench<'_>, state: &State, inputs: &[Input]) -> State {
    inputs.iter().fold(state.clone(), |state, input| step::step(bench, state, input, noon()))
}

fn line(text: &str) -> [Input; 2] {
    [Input::Key(Key::Several), Input::Text(text.to_owned())]
}

#[test]
fn what_if_changes_nothing_and_back_is_where_one_was() {
    let knowledge = knowledge();
    at_bench(&knowledge, |bench| {
        let start = on_the_bench(bench, &knowledge);
        // With an answer already given for one of two places, too.
        let plug =
            [Input::Key(Key::Other), Input::Text("spark plug".to_owned()), Input::Key(Key::Tick), Input::Pick(0)];
        for state in [start.clone(), after(bench, &start, &plug)] {
            let shown = screen(bench, &state, noon());
            let back = after(bench, &state, &[Input::Key(Key::WhatIf), Input::Pick(0), Input::Key(Key::Back)]);
            assert_eq!(back.case, state.case);
            assert_eq!((&back.draft, &back.ticked, &back.focus), (&state.draft, &state.ticked, &state.focus));
            assert_eq!(back.before.len(), state.before.len());
            assert_eq!(screen(bench, &back, noon()).document(0, 0..0), {
                let mut same = shown;
                same.notices.clear();
                same.document(0, 0..0)
            });
        }
    });
}

#[test]
fn what_if_shows_what_an_answer_would_change() {
    let knowledge = knowledge();
    at_bench(&knowledge, |bench| {
        let state = on_the_bench(bench, &knowledge);
        let plug = knowledge.checks.find("ck-plug-look").expect("it is there");
        let check = Instance::new(plug, 0);
        let (supposed, held_up) = suppose::supposed(bench, &state, check, Answer::Outcome(0), noon());
        assert_eq!(held_up, None);
        assert!(matches!(supposed.log.last().map(|e| &e.event), Some(Event::Answer { check, .. }) if *check == plug));
        assert!(supposed.log.len() > state.case.log.len() + 1, "what must be opened is opened");
        let dry = render_text(&suppose::page(bench, &state, check, Answer::Outcome(0), noon()), 80, Paint::Plain);
        let wet = render_text(&suppose::page(bench, &state, check, Answer::Outcome(2), noon()), 80, Paint::Plain);
        assert!(dry.contains("Nothing of this is written down") && dry.contains("Next step"), "{dry}");
        assert_ne!(dry, wet, "another answer changes something else");
        // The figures under "Then" are those of the case with the answer.
        let view = bench.advisor.look(&supposed, noon()).expect("weighed");
        assert!(dry.contains(&bench.figures.percent_short(view.causes[0].chance)), "{dry}");
    });
}

#[test]
fn any_check_can_be_supposed() {
    let knowledge = knowledge();
    at_bench(&knowledge, |bench| {
        let state = on_the_bench(bench, &knowledge);
        let inputs = [
            Input::Key(Key::WhatIf),
            Input::Key(Key::Other),
            Input::Text("compression front".to_owned()),
            Input::Text("60".to_owned()),
        ];
        let shown = after(bench, &state, &inputs);
        assert!(matches!(shown.over, Some(Over::Suppose(_, Some(_)))), "{:?}", shown.notices);
        assert_eq!(shown.case, state.case);
    });
}

#[test]
fn several_answers_are_taken_at_once_and_one_step_back_takes_back_all() {
    let knowledge = watercraft();
    let written = "format: 1\nknowledge: {id: watercraft-two-stroke}\nsymptoms: [sy-cranks-no-start]\nlog:\n  - {check: \
                   ck-smell-hull, outcome: none, aired: 10 min}\n";
    let case = text::read("case.yaml", written, &knowledge).0.expect("a case");
    at_watercraft(&knowledge, |bench| {
        let begun = step::begin(bench, case, noon());
        let state = after(bench, &begun, &[Input::Key(Key::Tick), Input::Pick(0)]);
        let taken = after(bench, &state, &line("lanyard = seats, selector position = reserve; choke plate = n"));
        let text = text::write(&taken.case, &knowledge);
        let said =
            ["check: ck-lanyard-fit, outcome: ", "check: ck-selector-position, outcome: ", "check: ck-choke-plate"];
        assert!(said.iter().all(|line| text.contains(line)), "{text}\n{:?}", taken.notices);
        assert!(taken.view.is_some(), "what to do next is worked out, once, at the end");
        assert_eq!(after(bench, &taken, &[Input::Key(Key::Back)]).case, state.case);
    });
}

#[test]
fn what_needs_a_box_ticked_is_asked_on_its_own_screen() {
    let knowledge = knowledge();
    at_bench(&knowledge, |bench| {
        let state = on_the_bench(bench, &knowledge);
        let asked = after(bench, &state, &line("plug look = dry"));
        assert_eq!(asked.case, state.case, "nothing is taken before the box is ticked");
        let shown = render_text(&screen(bench, &asked, noon()).document(0, 0..0), 80, Paint::Plain);
        assert!(shown.contains("[ ]"), "{shown}");
        let done = after(bench, &asked, &[Input::Key(Key::Tick), Input::Pick(0), Input::Pick(0)]);
        assert!(text::write(&done.case, &knowledge).contains("check: ck-plug-look@rear, outcome: dry"));
    });
}

#[test]
fn a_line_that_is_not_understood_says_so_and_changes_nothing() {
    let knowledge = knowledge();
    at_bench(&knowledge, |bench| {
        let state = on_the_bench(bench, &knowledge);
        for (typed, told) in
            [("frobnicator = wet", "No check here is called"), ("plug look = purple", "expected one of")]
        {
            let next = after(bench, &state, &line(typed));
            assert_eq!(next.case, state.case);
            assert_eq!(next.before.len(), state.before.len());
            assert!(next.notices.iter().any(|n| n.contains(told)), "{typed}: {:?}", next.notices);
        }
    });
}

#[test]
fn checks_named_are_asked_one_after_the_other_before_anything_is_weighed() {
    let knowledge = knowledge();
    at_bench(&knowledge, |bench| {
        let state = on_the_bench(bench, &knowledge);
        let asked = after(bench, &state, &line("ck-plug-look, ck-compression"));
        assert_eq!(asked.queue.len(), 1);
        let one = after(bench, &asked, &[Input::Key(Key::Tick), Input::Pick(0), Input::Pick(0)]);
        assert!(one.view.is_none(), "nothing is weighed in between");
        assert!(one.queue.is_empty());
        let left = after(bench, &one, &[Input::Key(Key::Back)]);
        assert!(left.view.is_some(), "back leaves the rest of the line");
    });
}

fn answered(knowledge: &Knowledge, outcome: &str) -> Case {
    let written = format!(
        "format: 1\nknowledge: {{id: small-engine}}\nsymptoms: [sy-no-start]\nlog:\n  - {{check: ck-smell, outcome: \
         none, aired: 10 min}}\n  - {{check: ck-plug-look@front, outcome: {outcome}}}\n"
    );
    text::read("case.yaml", &written, knowledge).0.expect("a case")
}

#[test]
fn two_cases_differ_in_what_they_say_and_in_what_that_changes() {
    let knowledge = knowledge();
    let (dry, wet) = (answered(&knowledge, "dry"), answered(&knowledge, "wet"));
    at_bench(&knowledge, |bench| {
        let both = compare(bench, [&dry, &wet], noon()).expect("weighed");
        assert_eq!(both.answers.len(), 1, "{:?}", both.answers);
        assert_eq!(both.same, 1);
        assert!(both.told.is_empty());
        let (cause, before, then) = both.answers[0].moves.clone().expect("it moves something");
        assert!((before - then).abs() > 0.01, "{cause}: {before} to {then}");
        // All that differs is that answer, so what it moves is the difference between the two.
        let row = both.ranking.iter().find(|(name, _)| name.to_lowercase() == cause.to_lowercase());
        let (_, chances) = row.expect("what moves most leads in one of them");
        assert!((chances[0] - before).abs() < 1e-9 && (chances[1] - then).abs() < 1e-9, "{chances:?}");
        let same = compare(bench, [&dry, &dry], noon()).expect("weighed");
        assert!(same.answers.is_empty() && same.next[0] == same.next[1]);
        insta::assert_snapshot!(render_text(&both.document(bench, ["dry", "wet"]), 80, Paint::Plain));
    });
}
