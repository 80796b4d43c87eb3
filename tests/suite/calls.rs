//! Whole calls with an owner on the phone, as the agent sees them: each of the three ways in which a call ends.

use crate::watercraft;
use assert_cmd::Command;
use doldrum::access::AccessGraph;
use doldrum::decision::{self, Action};
use doldrum::knowledge::layout::Laid;
use doldrum::knowledge::{Ix, Knowledge, Repair};
use doldrum::safety::{Verdict, is_about_who};
use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

/// Whose chance a figure is stands beside it: that of the answer, then that of the cause.
#[test]
fn what_an_answer_means_cannot_be_read_as_the_chance_of_a_cause() {
    let place = tempfile::tempdir().expect("a folder");
    let shown = call(place.path(), "1\n1\n1\nt\n1\n\n3\n\ns\n");
    let meanings = shown.rsplit("What each answer means").next().expect("a question").replace('\n', " ");
    let words = meanings.split_whitespace().collect::<Vec<_>>().join(" ");
    let (first, _) = words.split_once("; next: ").expect("what comes next");
    assert!(first.contains("1 answered so ") && first.contains(" times; likeliest then: "), "{words}");
    assert!(first.ends_with(" of 10") || first.ends_with(" of 100"), "{words}");
    assert!(shown.contains("question 2, at most about 12"), "{shown}");
}

/// A call by these lines, at the built-in base on a craft of one cylinder.
fn call(place: &Path, lines: &str) -> String {
    let mut command = Command::cargo_bin("doldrum").expect("the program is built");
    command.env("NO_COLOR", "1").env("COLUMNS", "80").current_dir(place);
    command.args(["triage", "c.yaml", "--plain", "--for", "owner", "--layout", "single"]);
    let output = command.write_stdin(lines.to_owned()).output().expect("ran");
    let shown = String::from_utf8(output.stdout).expect("text");
    assert!(output.status.success(), "{shown}{}", String::from_utf8_lossy(&output.stderr));
    shown
}

/// An owner knows no layouts: they count leads, and a layout is marked for each count.
#[test]
fn the_layout_is_asked_in_words_that_can_be_said() {
    let place = tempfile::tempdir().expect("a folder");
    let asked = |reply: &str| {
        let _ = fs::remove_file(place.path().join("c.yaml"));
        let mut command = Command::cargo_bin("doldrum").expect("the program is built");
        command.env("NO_COLOR", "1").env("COLUMNS", "80").current_dir(place.path());
        command.args(["triage", "c.yaml", "--plain", "--for", "owner"]);
        let lines = format!("1\n1\n1\nt\n1\n{reply}\n\n3\n\n");
        let output = command.write_stdin(lines).output().expect("ran");
        let kept = fs::read_to_string(place.path().join("c.yaml")).expect("kept");
        (String::from_utf8(output.stdout).expect("text"), kept)
    };
    let (shown, kept) = asked("n");
    let question =
        shown.split("How many spark plug leads do you see, one, two or three?").nth(1).expect("the question");
    assert!(shown.contains("Say:") && question.contains("n not known"), "{question}");
    assert!(kept.contains("layout: twin-each"), "not known is the usual one: {kept}");
    let layouts = watercraft::knowledge().layouts;
    let choices = question.split("\n> ").next().expect("the screen").replace('\n', " ");
    let choices = choices.split_whitespace().collect::<Vec<_>>().join(" ");
    for count in ["one", "two", "three"] {
        let before = choices.split(&format!(" (take this for {count})")).next().expect("text");
        assert_eq!(choices.matches(&format!("(take this for {count})")).count(), 1, "{choices}");
        let marked = layouts.iter().filter(|(_, layout)| before.ends_with(&layout.title)).map(|(_, layout)| layout);
        let cylinders: Vec<usize> = marked.map(|layout| layout.cylinders.len()).collect();
        assert_eq!(cylinders, [["one", "two", "three"].iter().position(|n| *n == count).expect("one") + 1]);
    }
    assert!(asked("5").1.contains("layout: triple-each"));
    // The history is said, too.
    assert!(shown.contains("\u{201c}Did anything happen just before the trouble?\u{201d}"), "{shown}");
}

/// What an owner may not do is said as whose work it is, in whole sentences.
#[test]
fn what_is_not_for_the_phone_is_said_to_be_work_for_the_shop() {
    let place = tempfile::tempdir().expect("a folder");
    let case = "format: 1\nknowledge: {id: watercraft-two-stroke}\ncraft: {layout: single}\nuser: owner\n\
                symptoms: [sy-no-crank]\nlog:\n  - {check: ck-smell-hull, outcome: none, aired: 10 min}\n  \
                - {found: start-relay-faulty, present: true}\n";
    fs::write(place.path().join("c.yaml"), case).expect("written");
    let shown = call(place.path(), "1\n1\n1\nt\n1\ng\n").split_whitespace().collect::<Vec<_>>().join(" ");
    let knowledge = watercraft::knowledge();
    let title = &knowledge.repairs[knowledge.repairs.find("rm-relay-renew").expect("it is there")].title;
    let said = format!("is not for the phone. {title}: that is work for the shop.");
    assert!(shown.contains(&said) && !shown.contains("more skill than"), "{shown}");
}

/// What is answered where nothing else is said: no danger, no smell, a craft as it usually is that cranks and does not
/// start, nothing known of its history, and the first answer to every check.
const REPLIES: [(&str, &str); 12] = [
    ("out of the water", "1"),
    ("headache", "1"),
    ("smell burning", "1"),
    ("[ ] Outdoors", "t"),
    ("Crouch and sniff", "1"),
    ("What is fitted?", ""),
    ("[1] Cranks", ""),
    ("What does the customer say?", "3"),
    ("history 1 of", "s"),
    ("is that gone?", "1"),
    ("Prove it twice", "1"),
    ("question ", "1"),
];

/// A call in which what is asked is answered, to its end; more where these replies say otherwise.
fn talk(place: &Path, otherwise: &[(&str, &str)], end: &str) -> String {
    let mut lines = String::new();
    for _ in 0..40 {
        let _ = fs::remove_file(place.join("c.yaml"));
        let shown = call(place, &lines);
        if shown.contains(end) {
            return shown;
        }
        // What stands before the last prompt, which nobody has answered so far.
        let asked = shown.rsplit("\n> ").nth(1).expect("something is asked");
        let replies = otherwise.iter().chain(&REPLIES);
        let (_, reply) = replies.clone().find(|(said, _)| asked.contains(said)).expect(asked);
        lines.push_str(reply);
        lines.push('\n');
    }
    panic!("the call does not end:\n{}", call(place, &lines));
}

#[test]
fn a_call_that_ends_with_a_cure() {
    let place = tempfile::tempdir().expect("a folder");
    let off = [("fuel tap point", "3"), ("Best now: bring it in", "2")];
    let shown = talk(place.path(), &off, "Record of the job");
    insta::assert_snapshot!(shown);
}

#[test]
fn a_call_that_ends_with_something_to_do() {
    let place = tempfile::tempdir().expect("a folder");
    let later = [("fuel tap point", "3"), ("Best now: bring it in", "2"), ("Fix it now: turn the fuel tap on", "3")];
    let shown = talk(place.path(), &later, "> 3\nDo this and call back");
    insta::assert_snapshot!(shown);
}

/// What was left to them is written down, asked about first in the next call, and on the sheet for the shop.
#[test]
fn what_was_left_to_them_is_asked_about_in_the_next_call() {
    let place = tempfile::tempdir().expect("a folder");
    let kept = || fs::read_to_string(place.path().join("c.yaml")).expect("kept");
    let later = [("fuel tap point", "3"), ("Best now: bring it in", "2"), ("Fix it now: turn the fuel tap on", "3")];
    talk(place.path(), &later, "> 3\nDo this and call back");
    let first = kept();
    assert!(first.trim_end().ends_with("left: rm-tap-on}"), "{first}");
    // Not done: it is left to them still, and on the sheet.
    let shown = call(place.path(), "1\n1\n1\n2\nt\n1\ng\n1\n");
    assert!(shown.contains("this was left to them: turn the fuel tap on"), "{shown}");
    assert!(shown.contains("- Left to the owner, to be done before the next call: turn the fuel tap on"), "{shown}");
    assert!(!kept().contains("repair: rm-tap-on"));
    // Done: written down, and once nothing is smelled it is asked what it changed.
    fs::write(place.path().join("c.yaml"), first).expect("written");
    let shown = call(place.path(), "1\n1\n1\n1\nt\n1\nq\n");
    assert!(kept().contains("repair: rm-tap-on}"), "{}", kept());
    let after = shown.rsplit("Did you do it?").next().unwrap_or_default();
    assert!(after.contains("Before going on.") && after.contains("is that gone?"), "{shown}");
    // Back takes the answer back; the next call does not ask again once it was done.
    let shown = call(place.path(), "1\n1\n1\nt\n1\nq\n");
    assert!(!shown.contains("Did you do it?"), "{shown}");
}

#[test]
fn a_call_that_ends_with_bringing_it_in() {
    let place = tempfile::tempdir().expect("a folder");
    let shown = talk(place.path(), &[], "Hand-over sheet");
    let theirs = fs::read_to_string(place.path().join("c.shop.yaml")).expect("the shop's case");
    assert!(theirs.matches("check: ").count() > 1 && theirs.contains("user: technician"), "{theirs}");
    insta::assert_snapshot!(shown);
}

/// What makes sense only after an answer is a way on while that was not asked, and none once it was answered otherwise.
#[test]
fn a_clip_that_seats_is_not_seated_again() {
    let place = tempfile::tempdir().expect("a folder");
    let advice = |answer: &str| {
        let case = format!(
            "format: 1\nknowledge: {{id: watercraft-two-stroke}}\ncraft: {{layout: single}}\nuser: owner\n\
             symptoms: [sy-cranks-no-start]\nlog:\n  - {{check: ck-smell-hull, outcome: none, aired: 10 min}}\n{answer}"
        );
        fs::write(place.path().join("c.yaml"), case).expect("written");
        let mut command = Command::cargo_bin("doldrum").expect("the program is built");
        let output =
            command.current_dir(place.path()).args(["assess", "c.yaml", "--shake", "0"]).output().expect("ran");
        String::from_utf8(output.stdout).expect("text")
    };
    let named = "Seat the lanyard clip";
    let before = |shown: &str| shown.split("WHAT WOULD ACCOUNT").next().unwrap_or_default().contains(named);
    assert!(before(&advice("  - {check: ck-lanyard-fit, outcome: not-seated}\n")));
    assert!(!advice("  - {check: ck-lanyard-fit, outcome: seated-springs}\n").contains(named));
    assert!(advice("").contains("It makes sense only once this has been looked at"));
}

/// What only a ride shows is not tried in the call: nobody is told to ride; what they tell of a
/// ride of their own is asked for, and the same repair is never asked of them again.
#[test]
fn what_only_a_ride_shows_is_tried_by_themselves() {
    let place = tempfile::tempdir().expect("a folder");
    let case = "format: 1\nknowledge: {id: watercraft-two-stroke}\ncraft: {layout: single}\nuser: owner\n\
        symptoms: [sy-dies-after-minutes]\nlog:\n  - {check: ck-smell-hull, outcome: none, aired: 10 min}\n  \
        - {check: ck-tank-level, outcome: reserve-only}\n  - {repair: rm-tap-reserve}\n";
    fs::write(place.path().join("c.yaml"), case).expect("written");
    // All are well, no smell; it was not tried yet.
    let shown = call(place.path(), "1\n1\n1\nt\n1\nq\n");
    for said in
        ["sent or guided onto the water", "is that gone?", "Not tried yet: they call back", "Do this and call back"]
    {
        assert!(shown.contains(said), "{said} is missing:\n{shown}");
    }
    assert!(!shown.contains("Try it, and see whether"), "nobody is told to ride: {shown}");
    // The next call: it is still there. Something else comes next.
    let shown = call(place.path(), "1\n1\n1\nt\n1\n2\nq\n");
    let after = shown.rsplit("is that gone?").next().unwrap_or_default();
    assert!(!after.contains("Fix it now: turn the fuel tap to reserve"), "{shown}");
    let kept = fs::read_to_string(place.path().join("c.yaml")).expect("kept");
    assert!(kept.contains("symptom: sy-dies-after-minutes, present: true"), "{kept}");
}

/// All that an owner may ever be told to repair on the phone. Nothing of it opens or pours fuel, sets what is behind the
/// airbox or the plugs, needs solvent or air, or goes on the water. Fuel is filled in between calls, where it always is, and
/// what needs both hands at the hull is done there as well.
#[test]
fn what_an_owner_may_repair() {
    let knowledge = watercraft::knowledge();
    let text = "format: 1\nknowledge: {id: watercraft-two-stroke}\nuser: owner\nsymptoms: [sy-cranks-no-start]\n";
    let expected = ["rm-lanyard-seat", "rm-tap-on", "rm-tap-reserve", "rm-battery-renew", "rm-terminals-clean"];
    let may = may_repair(&knowledge, text);
    let apart = |id: &&str| knowledge.repairs.find(id).is_some_and(|ix| knowledge.repairs[ix].between_calls);
    let (between, on_the_phone): (BTreeSet<&str>, BTreeSet<&str>) = may.into_iter().partition(apart);
    assert_eq!(on_the_phone, expected.into());
    assert_eq!(between, ["rm-drain-plugs-in", "rm-grate-clear", "rm-have-it-filled"].into());
}

/// What whoever a case is for may ever be told to repair: nothing forbids it, or only something that ends.
pub fn may_repair<'k>(knowledge: &'k Knowledge, text: &str) -> BTreeSet<&'k str> {
    let graph = AccessGraph::new(knowledge);
    let case = doldrum::case::text::read("c.yaml", text, knowledge).0.expect("sound");
    let laid = Laid::new(knowledge, case.craft.clone());
    let may = |ix: Ix<Repair>| match decision::judge(&laid, &graph, &case, &Action::Repair(ix, vec![0])) {
        Verdict::Barred { by: Some(by), .. } => !is_about_who(&knowledge.interlocks[by]),
        Verdict::Barred { by: None, .. } => false,
        Verdict::May(_) => true,
    };
    let repairs = knowledge.repairs.iter().filter(|(_, repair)| !repair.service);
    repairs.filter(|(ix, _)| may(*ix)).map(|(ix, _)| knowledge.repairs.id(ix)).collect()
}

/// A tank found empty is not filled in a call: the call ends with having it filled where it always is, and the next one
/// goes on from there. Nothing of that is anything for a technician, who pours it in.
#[test]
fn an_empty_tank_is_not_filled_in_a_call() {
    let place = tempfile::tempdir().expect("a folder");
    let case = |user: &str| {
        let text = format!(
            "format: 1\nknowledge: {{id: watercraft-two-stroke}}\ncraft: {{layout: single}}\nuser: {user}\n\
            symptoms: [sy-cranks-no-start]\nlog:\n  - {{check: ck-smell-hull, outcome: none, aired: 10 min}}\n  \
            - {{check: ck-lanyard-fit, outcome: seated-springs}}\n  \
            - {{check: ck-selector-position, outcome: selector-on}}\n  - {{check: ck-tank-level, outcome: empty}}\n"
        );
        fs::write(place.path().join("c.yaml"), text).expect("written");
    };
    case("owner");
    let before = "1\n1\n1\nt\n1\n";
    let shown = call(place.path(), &format!("{before}1\n"));
    for said in [
        "Next, and not in this call: have the tank filled where it is always filled",
        "1 They do it and call back   2 Look further first   3 They have done it",
        "Do this and call back",
        "Not in this call.",
        "Then call back before it is tried.",
    ] {
        assert!(shown.contains(said), "{said} is missing:\n{shown}");
    }
    assert!(!shown.contains("dd fresh fuel"), "nobody pours in a call: {shown}");
    // The next call: it is done. What was filled is smelled for, once, before it is tried.
    let shown = call(place.path(), "1\n1\n1\n1\nt\n1\nq\n");
    let said = ["Did you do it?", "Before going on.", "is that gone?"].map(|said| shown.find(said).expect(&shown));
    assert!(said.is_sorted() && shown.contains("Done: have the tank filled"), "{shown}");
    // It was done while they were on the line.
    case("owner");
    let shown = call(place.path(), &format!("{before}3\n1\n1\nq\n"));
    let smelled = shown.find("Asked again because of this: have the tank filled").expect(&shown);
    let tried = shown.find("is that gone?").expect(&shown);
    assert!(smelled < tried && shown.contains("Done: have the tank filled"), "{shown}");
    case("technician");
    let mut command = Command::cargo_bin("doldrum").expect("the program is built");
    let output = command.current_dir(place.path()).args(["assess", "c.yaml", "--shake", "0"]).output().expect("ran");
    let shown = String::from_utf8(output.stdout).expect("text");
    assert!(
        shown.contains("dd fresh fuel, set the tap and prime") && !shown.contains("ave the tank filled"),
        "{shown}"
    );
}

/// What ran this week was not put away: nobody is asked how.
#[test]
fn what_ran_this_week_was_not_put_away() {
    let place = tempfile::tempdir().expect("a folder");
    let begun = "1\n1\n1\nt\n1\n\n3\n\n1\n";
    let asks = |last_ran: &str| {
        let _ = fs::remove_file(place.path().join("c.yaml"));
        let shown = call(place.path(), &format!("{begun}{last_ran}\n1\n1\n1\nq\n"));
        assert!(shown.contains("When did it last run well") && shown.contains("What fuel hose is fitted"), "{shown}");
        shown.contains("How was the fuel left when it was put away?")
    };
    assert!(!asks("1"));
    assert!(asks("3"));
}
