//! Drills: how they are drawn, what a choice is charged, what ends them, and how they are asked.

use crate::{small_engine, watercraft};
use assert_cmd::Command;
use doldrum::access::AccessGraph;
use doldrum::belief::believe;
use doldrum::case::{Answer, Case};
use doldrum::decision::{Action, Settings, advise, appraise};
use doldrum::drill::breach::{Ready, Standing};
use doldrum::drill::draw::{self, Level};
use doldrum::drill::score::{Lesson, beliefs, grade, score};
use doldrum::drill::{Drill, End, Stated};
use doldrum::interview::drill::{Coach, Desk, Session, run, screen, step};
use doldrum::interview::plain::{Echo, Plain};
use doldrum::interview::state::{Input, Key};
use doldrum::knowledge::layout::{Instance, Laid};
use doldrum::knowledge::{Cause, Ix, Knowledge};
use doldrum::report::{DrillSetup, Figures, Paint, debrief, render_text};
use doldrum::trial::truth::Truth;
use doldrum::units::{Minutes, System};
use proptest::prelude::*;
use std::collections::BTreeSet;
use std::io::BufRead;

fn from(seed: u64) -> draw::Draw {
    draw::Draw { seed, ..draw::Draw::default() }
}

fn drawn(knowledge: &Knowledge, level: Level, seed: u64) -> Truth {
    draw::draw(knowledge, level, &from(seed)).expect("a drill of this level")
}

fn settings() -> Settings {
    Settings { worlds: 512, ..Settings::default() }
}

/// Does something with a drill.
fn with_drill<T>(knowledge: &Knowledge, level: Level, seed: u64, work: impl FnOnce(Drill<'_, '_>) -> T) -> T {
    let truth = drawn(knowledge, level, seed);
    let laid = Laid::new(knowledge, truth.case.craft.clone());
    let graph = AccessGraph::new(knowledge);
    work(Drill::begin(&laid, &graph, &truth, level, &settings()).expect("within the limits"))
}

fn check(knowledge: &Knowledge, id: &str, at: usize) -> Action {
    Action::Check(Instance::new(knowledge.checks.find(id).expect("a check"), at))
}

/// Takes a step as it should be taken.
fn well(drill: &mut Drill<'_, '_>, action: Action) {
    let ready = drill.make_ready(&action).unwrap_or_else(|| panic!("{action:?} may be done"));
    drill.act(action, ready, None, 0).expect("within the limits");
}

// --- drawing ------------------------------------------------------------------------------------------------------

fn there(knowledge: &Knowledge, truth: &Truth) -> BTreeSet<Ix<Cause>> {
    let laid = Laid::new(knowledge, truth.case.craft.clone());
    let all = knowledge.causes.iter().flat_map(|(ix, cause)| laid.instances(ix, cause.scope));
    all.filter(|cause| truth.has(*cause)).map(|cause| cause.item).collect()
}

#[test]
fn every_level_hides_what_it_says() {
    let knowledge = watercraft::knowledge();
    let mut chances: Vec<f64> = knowledge.causes.iter().map(|(_, cause)| cause.chance.get()).collect();
    chances.sort_by(f64::total_cmp);
    let rare = chances[chances.len() / 3];
    for seed in 0..6 {
        for level in Level::ALL {
            let truth = drawn(&knowledge, level, seed);
            let there = there(&knowledge, &truth);
            let guilty: BTreeSet<Ix<Cause>> = truth.guilty().iter().map(|cause| cause.item).collect();
            let complains = |gone: &BTreeSet<Ix<Cause>>| {
                let laid = Laid::new(&knowledge, truth.case.craft.clone());
                let all = gone.iter().flat_map(|ix| laid.instances(*ix, knowledge.causes[*ix].scope));
                let left = truth.symptoms(&all.collect());
                truth.case.symptoms.iter().any(|symptom| left.contains(symptom))
            };
            assert!(complains(&BTreeSet::new()) && !complains(&guilty), "{level:?} {seed}");
            match level {
                Level::Single | Level::Misleading => assert_eq!(there.len(), 1, "{level:?} {seed}"),
                Level::Double => {
                    assert_eq!(guilty.len(), 2, "{seed}");
                    assert!(guilty.iter().all(|one| complains(&BTreeSet::from([*one]))), "{seed}");
                }
                Level::Rare => {
                    let chance = knowledge.causes[*guilty.first().expect("one")].chance.get();
                    assert!(guilty.len() == 1 && chance <= rare, "{seed}");
                }
            }
        }
    }
}

/// With a share of one every answer is out of the tails; without, few are. A sniff for fuel is never.
/// A story does not contradict itself: nothing was worked on, and it came straight after work on it.
#[test]
fn every_story_goes_together() {
    let knowledge = crate::watercraft::knowledge();
    let fact = |id: &str| knowledge.history.find(id).expect("a fact");
    let value = |ix: Ix<_>, id: &str| {
        let history: &doldrum::knowledge::HistoryFact = &knowledge.history[ix];
        history.values.iter().position(|v| v.id == id).expect("a value")
    };
    let (onset, work, ran) = (fact("cx-onset"), fact("cx-recent-work"), fact("cx-last-ran"));
    let mut told = 0;
    for seed in 0..60 {
        let history = drawn(&knowledge, Level::Single, seed).case.history;
        let says = |ix: Ix<_>, id: &str| history.get(&ix) == Some(&value(ix, id));
        assert!(!(says(onset, "straight-after-work-on-it") && says(work, "none")), "seed {seed}");
        assert!(!(says(onset, "after-storage") && says(ran, "ran-this-week")), "seed {seed}");
        told += usize::from(says(onset, "after-storage") || says(onset, "straight-after-work-on-it"));
    }
    assert!(told > 10, "{told}");
}

#[test]
fn misleading_answers_are_those_of_the_tails() {
    let knowledge = small_engine::knowledge();
    let (plug, press, smell) = (
        knowledge.checks.find("ck-plug-look").expect("a check"),
        knowledge.checks.find("ck-compression").expect("a check"),
        knowledge.checks.find("ck-smell").expect("a check"),
    );
    let (mut straight, mut misled) = ((0, 0, 0), (0, 0, 0));
    for seed in 0..60 {
        let truth = drawn(&knowledge, Level::Single, seed);
        let laid = Laid::new(&knowledge, truth.case.craft.clone());
        let rings = knowledge.causes.find("rings-worn").expect("a cause");
        let mean = if truth.has(Instance::new(rings, 0)) { 80.0 } else { 140.0 };
        let spread = if truth.has(Instance::new(rings, 0)) { 15.0_f64.hypot(4.0) } else { 12.0_f64.hypot(4.0) };
        // The likeliest outcome is 0 where no fuel comes, 2 where the plug is dead, else 1; all that can be told from
        // outside is which one comes most.
        let count = |truth: &Truth, into: &mut (usize, usize, usize)| {
            let of = |ix| truth.answer(&laid, Instance::new(ix, 0), &BTreeSet::new(), (0, false)).expect("an answer");
            if let Answer::Reading(value) = of(press) {
                into.0 += usize::from((value - mean).abs() > 1.28 * spread);
            }
            into.1 += usize::from(of(plug) == Answer::Outcome(1));
            into.2 += usize::from(of(smell) == Answer::Outcome(0));
        };
        count(&truth, &mut straight);
        count(&truth.clone().misleading(1.0), &mut misled);
    }
    assert!(misled.0 == 60, "every reading lies far off: {misled:?}");
    assert!((3..=25).contains(&straight.0), "a fifth lies there by itself: {straight:?}");
    assert_ne!(straight.1, misled.1);
    assert_eq!(straight.2, misled.2, "a sniff never misleads");
}

#[test]
fn the_same_seed_is_the_same_drill_and_another_is_another() {
    let knowledge = small_engine::knowledge();
    let intake = |seed| {
        let truth = drawn(&knowledge, Level::Single, seed);
        (truth.case.clone(), truth.guilty())
    };
    assert_eq!(intake(3), intake(3));
    assert!((0..8).any(|seed| intake(seed) != intake(3)));
}

// --- what a choice is charged -------------------------------------------------------------------------------------

#[test]
fn whoever_does_what_is_best_loses_nothing() {
    let knowledge = small_engine::knowledge();
    for level in Level::ALL {
        for seed in 0..6 {
            with_drill(&knowledge, level, seed, |mut drill| {
                while drill.end.is_none() {
                    let best = drill.here().advice.next.action.clone();
                    well(&mut drill, best);
                }
                let score = score(&drill);
                assert!(score.regret.get() < 1e-9 && (score.score - 1.0).abs() < 1e-9, "{level:?} {seed}: {score:?}");
                assert!(drill.steps.iter().all(|step| step.lesson == Lesson::Best), "{level:?} {seed}");
            });
        }
    }
}

/// On the built-in knowledge base too, where interlocks hold repairs up and steps are worked out on sampled worlds.
#[test]
fn whoever_does_what_is_best_loses_nothing_on_a_craft() {
    let knowledge = watercraft::knowledge();
    let single = knowledge.layouts.find("single").expect("a layout");
    for seed in [1, 3] {
        let truth = draw::draw(&knowledge, Level::Single, &draw::Draw { layouts: vec![single], ..from(seed) });
        let truth = truth.expect("a drill");
        let laid = Laid::new(&knowledge, truth.case.craft.clone());
        let graph = AccessGraph::new(&knowledge);
        let mut drill = Drill::begin(&laid, &graph, &truth, Level::Single, &settings()).expect("within the limits");
        for _ in 0..6 {
            let best = drill.here().advice.next.action.clone();
            if drill.end.is_none() {
                well(&mut drill, best);
            }
        }
        assert!(score(&drill).regret.get() < 1e-9, "{seed}: {:?}", score(&drill));
    }
}

/// What is charged does not hang on what the fault is: two drills with the same intake charge the same for the same
/// choice, whatever it then shows.
#[test]
fn a_choice_is_charged_before_its_answer_is_known() {
    let knowledge = small_engine::knowledge();
    let all: Vec<Truth> = (0..40).map(|seed| drawn(&knowledge, Level::Single, seed)).collect();
    let graph = AccessGraph::new(&knowledge);
    let mut pairs = 0;
    for (a, b) in all.iter().flat_map(|a| all.iter().map(move |b| (a, b))) {
        if a.case != b.case || a.guilty() == b.guilty() {
            continue;
        }
        let charged = |truth: &Truth| {
            let laid = Laid::new(&knowledge, truth.case.craft.clone());
            let mut drill = Drill::begin(&laid, &graph, truth, Level::Single, &settings()).expect("within the limits");
            well(&mut drill, check(&knowledge, "ck-smell", 0));
            let repair = Action::Repair(knowledge.repairs.find("rm-rings").expect("a repair"), vec![0]);
            well(&mut drill, repair);
            drill.steps.iter().map(|step| step.regret().get()).collect::<Vec<f64>>()
        };
        let (of_a, of_b) = (charged(a), charged(b));
        // The sniff may smell of something in one and not in the other; the first choice is the same.
        assert!((of_a[0] - of_b[0]).abs() < 1e-9, "{of_a:?} {of_b:?}");
        pairs += 1;
        if pairs > 4 {
            return;
        }
    }
    assert!(pairs > 0, "no two drills have the same intake");
}

#[test]
fn a_check_made_again_loses_what_it_costs_and_parts_too_soon_are_told() {
    let knowledge = small_engine::knowledge();
    with_drill(&knowledge, Level::Single, 2, |mut drill| {
        well(&mut drill, check(&knowledge, "ck-smell", 0));
        well(&mut drill, check(&knowledge, "ck-compression", 0));
        well(&mut drill, check(&knowledge, "ck-compression", 0));
        let again = &drill.steps[2];
        assert_eq!(again.lesson, Lesson::Repeated);
        assert!(
            (again.regret().get() - again.cost.get()).abs() < 1e-6,
            "{} {}",
            again.regret().get(),
            again.cost.get()
        );
        let rings = knowledge.repairs.find("rm-rings").expect("a repair");
        let finds = drill.here().options.iter().find(|o| matches!(&o.action, Action::Repair(ix, _) if *ix == rings));
        if finds.is_none_or(|option| option.finds < 0.5) {
            well(&mut drill, Action::Repair(rings, vec![0]));
            assert!(matches!(drill.steps[3].lesson, Lesson::TooSoon(_)), "{:?}", drill.steps[3].lesson);
            assert_eq!(score(&drill).premature, 1);
        }
        assert_eq!(score(&drill).redundant, 1);
        assert!(score(&drill).score < 1.0);
    });
}

/// What a drill holds choices against is what the advice says.
#[test]
fn the_appraisal_is_that_of_the_advice() {
    let knowledge = small_engine::knowledge();
    let truth = drawn(&knowledge, Level::Double, 4);
    let laid = Laid::new(&knowledge, truth.case.craft.clone());
    let graph = AccessGraph::new(&knowledge);
    let belief = believe(&laid, &truth.case, &settings().limits).expect("within the limits");
    let settings = Settings { alternatives: 100, ..settings() };
    let advice = advise(&laid, &graph, &truth.case, &belief, &settings).expect("within the limits");
    let (same, options) = appraise(&laid, &graph, &truth.case, &belief, &settings).expect("within the limits");
    assert_eq!(advice.next, same.next);
    let proposals: Vec<_> = advice.wanted.iter().chain(&advice.alternatives).collect();
    assert!(proposals.len() > 1);
    for proposal in proposals {
        let option = options.iter().find(|option| option.action == proposal.action).expect("it was compared");
        assert!((option.total.get() - proposal.expected_cost.get()).abs() < 1e-9, "{option:?}");
    }
}

#[test]
fn beliefs_are_scored_as_brier_did() {
    let cause = Ix::new(0);
    let said = |chance, book, there| Stated { cause, chance, book, there };
    let scored = beliefs([said(0.9, 0.6, true), said(0.3, 0.1, false)].into_iter()).expect("some were stated");
    assert!((scored.brier - 0.05).abs() < 1e-12);
    assert!((scored.book - 0.085).abs() < 1e-12);
    assert!((scored.off - 0.065).abs() < 1e-12);
    assert_eq!(beliefs(std::iter::empty()), None);
}

// --- safety -------------------------------------------------------------------------------------------------------

#[test]
fn what_is_forbidden_can_be_done_and_ends_it() {
    let knowledge = small_engine::knowledge();
    with_drill(&knowledge, Level::Single, 1, |mut drill| {
        // Nobody has smelled for fuel yet, and it cranks.
        let plug = check(&knowledge, "ck-plug-look", 0);
        drill.act(plug, Ready::default(), None, 0).expect("within the limits");
        let Some(End::Breached(breach)) = &drill.end else { panic!("{:?}", drill.end) };
        assert_eq!(breach.hazards, [knowledge.hazards.find("hz-vapor").expect("a hazard")]);
        assert!(breach.why.contains("Nothing cranks until a sniff says none"), "{breach:?}");
        assert!(score(&drill).score.abs() < 1e-12);
        let figures = Figures::new(&knowledge, System::Us);
        let text = render_text(&debrief(&drill, &DrillSetup::default(), None, &figures), 80, Paint::Plain);
        assert!(text.contains("DANGER") && text.contains("burns whoever leans over it"), "{text}");
        // At the step itself: marked, graded 0, with no price, and its hazard named.
        assert!(drill.steps.iter().map(grade).sum::<f64>().abs() < 1e-12);
        assert!(text.contains("(FORBIDDEN)") && text.contains("Lost by your choices  the boat"), "{text}");
        let why = text.rsplit("WHY").next().unwrap_or_default();
        assert!(why.contains("Forbidden, so it ended here.") && why.contains("Fuel vapor: any spark"), "{why}");
    });
    with_drill(&knowledge, Level::Single, 1, |mut drill| {
        well(&mut drill, check(&knowledge, "ck-smell", 0));
        let plug = check(&knowledge, "ck-plug-look", 0);
        assert!(matches!(drill.standing(&plug, &Ready::default()), Standing::Forbidden(_)), "the leads are loose");
        drill.act(plug, Ready::default(), None, 0).expect("within the limits");
        let Some(End::Breached(breach)) = &drill.end else { panic!("{:?}", drill.end) };
        assert!(breach.why.contains("Leads on the grounding posts"), "{breach:?}");
    });
}

/// At the bench nobody has the tank filled by somebody else between two calls.
#[test]
fn what_an_owner_does_between_calls_is_no_choice() {
    let knowledge = watercraft::knowledge();
    with_drill(&knowledge, Level::Single, 3, |drill| {
        let repairs = drill.bench().into_iter().filter_map(|offer| match offer.action {
            Action::Repair(repair, _) => Some(&knowledge.repairs[repair]),
            _ => None,
        });
        let (between, at_the_bench): (Vec<_>, Vec<_>) = repairs.partition(|repair| repair.between_calls);
        assert!(between.is_empty() && at_the_bench.len() > 20);
    });
}

#[test]
fn a_sniff_without_airing_closes_nothing() {
    let knowledge = small_engine::knowledge();
    with_drill(&knowledge, Level::Single, 1, |mut drill| {
        let smell = check(&knowledge, "ck-smell", 0);
        assert_eq!(drill.airing(&smell), Minutes::new(10.0).expect("minutes"));
        drill.act(smell.clone(), Ready::default(), None, 0).expect("within the limits");
        assert_eq!(drill.steps[0].lesson, Lesson::NotAired);
        assert!(drill.steps[0].regret() >= drill.steps[0].cost);
        assert!(drill.make_ready(&check(&knowledge, "ck-plug-look", 0)).is_none());
    });
}

/// A trainee makes ready what the bench asks for; nothing on the bench of the built-in craft that may be done as it should
/// be is taken for a breach, and the other way about.
#[test]
fn what_is_made_ready_as_asked_is_no_breach() {
    let knowledge = watercraft::knowledge();
    for seed in 0..2 {
        with_drill(&knowledge, Level::Single, seed, |mut drill| {
            let (mut may, mut not) = (0, 0);
            for _ in 0..3 {
                for offer in drill.bench() {
                    match drill.make_ready(&offer.action) {
                        Some(ready) => {
                            assert!(matches!(drill.standing(&offer.action, &ready), Standing::May(_)));
                            may += 1;
                        }
                        None => not += 1,
                    }
                }
                let best = drill.here().advice.next.action.clone();
                well(&mut drill, best);
            }
            assert!(may > 50 && not > 50, "{may} {not}");
        });
    }
}

// --- asked --------------------------------------------------------------------------------------------------------

/// A drill by these lines: what was shown, and the debrief.
fn asked(level: Level, seed: u64, lines: &[&str], width: usize, coach: Coach) -> (String, Option<End>, Case) {
    let knowledge = small_engine::knowledge();
    with_drill(&knowledge, level, seed, |drill| {
        let figures = Figures::new(&knowledge, System::Us);
        let input = lines.join("\n") + "\n";
        let mut plain = Plain::new(input.as_bytes().lines(), Vec::new(), width, Echo::On);
        let mut session = Session::new(drill);
        let desk = Desk { figures: &figures, coach, told: "single · seed 1" };
        run(&desk, &mut session, &mut plain).expect("nothing fails");
        let shown = String::from_utf8(plain.into_output()).expect("text");
        let setup = DrillSetup { seed, replay: format!("doldrum drill --level {} --seed {seed}", level.id()) };
        let debrief = render_text(&debrief(&session.drill, &setup, None, &figures), width, Paint::Plain);
        (format!("{shown}\n{debrief}"), session.drill.end, session.drill.job.case)
    })
}

/// Sniffed after airing, compression measured with the leads on their posts, rings ordered.
const SCRIPT: [&str; 18] = [
    "",
    "o",
    "smell",
    "1",
    "",
    "rings",
    "2",
    "compression",
    "2",
    "",
    "",
    "compression",
    "",
    "worn rings",
    "8",
    "r",
    "",
    "q",
];

#[test]
fn a_scripted_drill_at_eighty_columns() {
    let (shown, end, _) = asked(Level::Single, 1, &SCRIPT, 80, Coach::Away);
    insta::assert_snapshot!(shown);
    assert_eq!(end, Some(End::Left));
}

#[test]
fn the_same_drill_to_its_end_at_forty_columns() {
    let lines = ["", "d", "rings", "", "rings", "9"];
    let (shown, end, _) = asked(Level::Single, 1, &lines, 40, Coach::Away);
    insta::assert_snapshot!(shown);
    assert_eq!(end, Some(End::Cured));
    assert!(shown.lines().all(|line| line.chars().count() <= 40), "no line is wider than the window");
}

#[test]
fn the_belief_is_asked_for_before_the_answer_is_shown() {
    let (shown, ..) = asked(Level::Single, 1, &["", "smell", "1", ""], 80, Coach::Away);
    assert!(shown.contains("Before you see the answer: what is behind it?"), "{shown}");
    assert!(!shown.contains("Smell for fuel: No smell"), "{shown}");
}

#[test]
fn nothing_is_recommended_without_a_coach() {
    let (alone, ..) = asked(Level::Single, 1, &["", "?", "smell", "h", "", "q"], 80, Coach::Away);
    let before = alone.split("Debrief").next().unwrap_or_default();
    assert!(!before.contains("Hint") && before.contains("That does nothing here."), "{alone}");
    let (coached, ..) = asked(Level::Single, 1, &["", "?", "?", "?", "q"], 80, Coach::Beside);
    assert!(coached.contains("Hint: something has to be safe before anything else."), "{coached}");
    assert!(coached.contains("Hint: smell for fuel."), "{coached}");
}

#[test]
fn a_coach_holds_the_arm_before_a_breach() {
    let (shown, end, _) = asked(Level::Single, 1, &["", "spark plug after", "", "q"], 80, Coach::Beside);
    assert!(shown.contains("The coach holds your arm"), "{shown}");
    assert_eq!(end, Some(End::Left));
    let (shown, end, _) = asked(Level::Single, 1, &["", "spark plug after", "", ""], 80, Coach::Away);
    assert!(matches!(end, Some(End::Breached(_))), "{shown}");
    assert!(shown.contains("WHAT WOULD HAVE HAPPENED") || shown.contains("What would have happened"), "{shown}");
}

#[test]
fn going_back_before_the_answer_costs_nothing_and_past_it_there_is_no_way() {
    let lines = ["", "compression", "b", "o", "b", "smell", "1", "", "b", "b", "b"];
    let (shown, _, case) = asked(Level::Single, 1, &lines, 80, Coach::Away);
    assert!(case.log.is_empty(), "{:?}", case.log);
    assert!(shown.contains("What was seen cannot be unseen"), "{shown}");
}

fn input() -> impl Strategy<Value = Input> {
    prop_oneof![
        6 => (0_usize..5).prop_map(Input::Pick),
        1 => (0_usize..200).prop_map(Input::Pick),
        3 => Just(Input::Key(Key::Enter)),
        2 => proptest::sample::select(Key::ALL.to_vec())
            .prop_filter("that ends it", |key| !matches!(key, Key::Leave | Key::Stop))
            .prop_map(Input::Key),
        1 => proptest::sample::select(vec!["plug", "smell", "rings", "", "zz", "3"]).prop_map(|t| Input::Text(t.to_owned())),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]
    #[test]
    fn no_keys_make_it_panic(seed in 0_u64..4, coached in any::<bool>(), inputs in proptest::collection::vec(input(), 1..50)) {
        let knowledge = small_engine::knowledge();
        let figures = Figures::new(&knowledge, System::Us);
        let coach = if coached { Coach::Beside } else { Coach::Away };
        with_drill(&knowledge, Level::ALL[seed as usize], seed, |drill| -> Result<(), TestCaseError> {
            let desk = Desk { figures: &figures, coach, told: "drill" };
            let mut session = Session::new(drill);
            for input in &inputs {
                step(&desk, &mut session, input);
                for (width, height) in [(80, 22), (40, 22)] {
                    let screen = screen(&desk, &session);
                    let lines = screen.lines(width, height, 0..screen.choices.len().min(9), Paint::Plain).lines;
                    prop_assert!(!lines.is_empty() && lines.iter().all(|line| line.chars().count() <= width), "{:?}", lines);
                }
            }
            let score = score(&session.drill);
            prop_assert!((0.0..=1.0).contains(&score.score), "{:?}", score);
            prop_assert!(session.drill.steps.iter().all(|step| step.regret().get() >= 0.0));
            let text = render_text(&debrief(&session.drill, &DrillSetup::default(), None, &figures), 40, Paint::Plain);
            prop_assert!(text.contains("Debrief"));
            Ok(())
        })?;
    }
}

// --- the command --------------------------------------------------------------------------------------------------

fn doldrum(place: &std::path::Path, arguments: &[&str], lines: &str) -> (Option<i32>, String, String) {
    let output = Command::cargo_bin("doldrum")
        .expect("the program")
        .current_dir(place)
        .args(["drill", "--plain", "--knowledge"])
        .arg(small_engine::folder())
        .args(arguments)
        .write_stdin(lines.to_owned())
        .output()
        .expect("it runs");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("text");
    (output.status.code(), text(output.stdout), text(output.stderr))
}

#[test]
fn the_debrief_for_programs_stands_alone_on_standard_output() {
    let place = tempfile::tempdir().expect("a folder");
    let lines = "\nd\nrings\n\nrings\n9\n";
    let (code, out, err) = doldrum(place.path(), &["--format", "json"], lines);
    assert_eq!(code, Some(0), "{err}");
    let value: serde_json::Value = serde_json::from_str(&out).expect("JSON and nothing else");
    assert_eq!(value["end"], "cured");
    assert_eq!(value["hidden"], serde_json::json!(["rings-worn"]));
    assert_eq!(value["steps"][0]["action"], "rm-rings");
    assert_eq!(value["steps"][0]["stated"]["cause"], "rings-worn");
    let regret = value["regret"].as_f64().expect("a number");
    assert!(regret > 0.0 && value["score"].as_f64().expect("a number") < 1.0, "{out}");
    let sum: f64 = value["steps"].as_array().expect("a list").iter().filter_map(|s| s["regret"].as_f64()).sum();
    assert!((sum - regret).abs() < 1e-9);
    assert!(err.contains("What do you do next?"), "the screens go to standard error: {err}");
}

#[test]
fn a_record_is_kept_whole_and_draws_another_drill_each_time() {
    let place = tempfile::tempdir().expect("a folder");
    let handed_over = "\n3\n\n";
    for taken in 1..=2_u64 {
        let (code, out, err) = doldrum(place.path(), &["--record", "me.json"], handed_over);
        assert_eq!(code, Some(0), "{err}");
        assert!(out.contains(&format!("--seed {taken}")), "{out}");
        let kept = std::fs::read_to_string(place.path().join("me.json")).expect("kept");
        let kept: serde_json::Value = serde_json::from_str(&kept).expect("JSON");
        assert_eq!(kept["drills"].as_array().map(Vec::len), usize::try_from(taken).ok());
        assert_eq!(kept["format"], 1);
    }
    // What is left before its end is not counted.
    let before = std::fs::read_to_string(place.path().join("me.json")).expect("kept");
    doldrum(place.path(), &["--record", "me.json"], "\nq\n");
    assert_eq!(before, std::fs::read_to_string(place.path().join("me.json")).expect("kept"));
}

#[test]
fn what_is_wrong_is_told_with_a_number() {
    let place = tempfile::tempdir().expect("a folder");
    std::fs::write(place.path().join("bad.json"), "{\"format\": 9}").expect("written");
    for (arguments, code, words) in [
        (["--record", "bad.json"], 65, "expected `format: 1`, found `9`"),
        (["--symptom", "sy-no-strat"], 2, "did you mean `sy-no-start`?"),
        (["--layout", "twins"], 2, "expected a layout of the knowledge base after --layout, found `twins`"),
        (["--level", "hard"], 2, "possible values: single, double, misleading, rare"),
    ] {
        let (found, _, err) = doldrum(place.path(), &arguments, "");
        assert_eq!(found, Some(code), "{err}");
        assert!(err.contains(words), "{err}");
    }
}

#[test]
fn fire_ends_a_drill_on_every_screen() {
    let place = tempfile::tempdir().expect("a folder");
    for lines in ["!\n", "\n!\n", "\no\n!\n", "\no\nsmell\n!\n", "\no\nsmell\n\n!\n", "\no\nsmell\n\nrings\n!\n"] {
        let (code, out, err) = doldrum(place.path(), &[], lines);
        assert_eq!(code, Some(0), "{err}");
        assert!(out.contains("STOP") && out.contains("Call the fire service."), "{lines:?}: {out}");
    }
}
