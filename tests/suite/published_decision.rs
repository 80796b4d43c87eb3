//! The next step, against published decision problems.
//!
//! Causes here are independent and any number may be there. A problem with exactly one fault is written with chances a
//! ten-thousandth of the published ones: given the symptom, which only a fault brings about, one fault is there but for
//! one world in ten thousand, and its chances are the published ones. Expected costs are taken over sampled worlds, so
//! they are held to four standard errors of the sample.
//!
//! Not expressible: the used car buyer (Howard 1977), in which what a purchase costs depends on the state of the car
//! beyond whether it ends the matter. A repair here has one price, and a failed one is followed by another.

use crate::small_base;
use doldrum::access::AccessGraph;
use doldrum::belief::believe;
use doldrum::case::{Answer, Case, Event, Presence};
use doldrum::decision::{Action, Advice, Appraised, Proposal, Settings, appraise};
use doldrum::inference::Limits;
use doldrum::knowledge::Knowledge;
use doldrum::knowledge::layout::Laid;
use std::fmt::Write as _;

/// How rare faults are made, so that no two come together.
const RARE: f64 = 1e-4;
/// A price that nobody pays while anything else is left.
const NEVER: f64 = 1e7;

// --- writing a problem down ---------------------------------------------------------------------------------------

/// A repair: its price, and the causes it removes with how surely.
#[derive(Clone, Copy)]
struct Mend<'a>(&'static str, f64, &'a [(&'static str, f64)]);

/// A check: its price, its outcomes, and for each cause the chances of them.
struct Test(&'static str, f64, &'static [&'static str], Vec<(&'static str, Vec<f64>)>);

/// One fault of these, each with its chance; what mends it; what tells.
fn problem(faults: &[(&str, f64)], mends: &[Mend<'_>], tests: &[Test], hand_over: f64) -> Knowledge {
    let (mut causes, mut inputs) = (String::new(), Vec::new());
    for (id, p) in faults {
        writeln!(causes, "- {{id: {id}, title: {id}, chance: {}, basis: estimate}}", p * RARE).expect("text");
        inputs.push(format!("{{from: {id}, strength: 1}}"));
    }
    let symptoms = format!(
        "- {{id: sy-fails, title: Fails, says: [Fails], share: 100, any: [{}], leak: 0, named: {{present: 1, absent: 0}}, basis: estimate}}\n",
        inputs.join(", ")
    );
    let mut repairs = String::new();
    for Mend(id, price, removes) in mends {
        let removes: Vec<String> = removes.iter().map(|(cause, sure)| format!("{cause}: {sure}")).collect();
        writeln!(
            repairs,
            "- {{id: {id}, title: {id}, removes: {{{}}}, minutes: 0, parts: [{{item: all of it, count: 1, each: {price}, basis: estimate}}], skill: 1, steps: [{{do: Do it}}], basis: estimate}}",
            removes.join(", ")
        )
        .expect("text");
    }
    let mut checks = String::new();
    for Test(id, price, outcomes, given) in tests {
        let chances = |ps: &[f64]| {
            let parts: Vec<String> = outcomes.iter().zip(ps).map(|(o, p)| format!("{o}: {p}")).collect();
            parts.join(", ")
        };
        let rows: Vec<String> = given
            .iter()
            .map(|(c, ps)| format!("    - {{when: {{{c}: true}}, chances: {{{}}}}}\n", chances(ps)))
            .collect();
        let mut last = vec![0.0; outcomes.len()];
        last[0] = 1.0;
        write!(
            checks,
            "- id: {id}\n  title: {id}\n  ask: What?\n  how: [Look]\n  outcomes: [{}]\n  given:\n{}    - {{chances: {{{}}}}}\n  cost: {{minutes: 0, money: {price}}}\n  skill: 1\n  basis: estimate\n",
            outcomes.join(", "),
            rows.concat(),
            chances(&last)
        )
        .expect("text");
    }
    let files = [
        ("causes", causes.as_str()),
        ("symptoms", symptoms.as_str()),
        ("repairs", repairs.as_str()),
        ("checks", checks.as_str()),
    ];
    small_base::read(0.0, hand_over, &files)
}

fn advice(knowledge: &Knowledge, case: &Case, worlds: usize) -> Advice {
    weighed(knowledge, case, worlds).0
}

/// Every option with what it would come to.
fn appraised(knowledge: &Knowledge, case: &Case, worlds: usize) -> Vec<Appraised> {
    weighed(knowledge, case, worlds).1
}

fn weighed(knowledge: &Knowledge, case: &Case, worlds: usize) -> (Advice, Vec<Appraised>) {
    let laid = Laid::new(knowledge, case.craft.clone());
    let graph = AccessGraph::new(knowledge);
    let belief = believe(&laid, case, &Limits::default()).expect("within the limits");
    let settings = Settings { worlds, alternatives: 20, ..Settings::default() };
    appraise(&laid, &graph, case, &belief, &settings).expect("within the limits")
}

fn complaint(knowledge: &Knowledge) -> Case {
    small_base::case(knowledge, "symptoms: [sy-fails]")
}

/// The id of what a proposal would do.
fn name(knowledge: &Knowledge, action: &Action) -> String {
    match action {
        Action::Check(instance) => knowledge.checks.id(instance.item).to_owned(),
        Action::Repair(repair, _) => knowledge.repairs.id(*repair).to_owned(),
        Action::Try(_) | Action::HandOver => "hand-over".to_owned(),
    }
}

fn find<'a>(knowledge: &Knowledge, advice: &'a Advice, id: &str) -> &'a Proposal {
    std::iter::once(&advice.next)
        .chain(&advice.alternatives)
        .find(|p| name(knowledge, &p.action) == id)
        .unwrap_or_else(|| panic!("`{id}` is among the proposals"))
}

/// A repair done in vain.
fn failed(case: &mut Case, action: &Action) {
    let Action::Repair(repair, places) = action else { panic!("expected a repair, found {action:?}") };
    case.log.push(Event::Repaired { repair: *repair, places: places.clone() }.into());
    case.log.push(Event::Tried { symptom: case.symptoms[0], now: Presence::Present }.into());
}

#[track_caller]
fn assert_near(found: f64, expected: f64, within: f64) {
    assert!((found - expected).abs() <= within, "expected {expected} within {within}, found {found}");
}

// --- overlapping repairs ------------------------------------------------------------------------------------------

/// Jensen and Nielsen, Bayesian Networks and Decision Graphs (2007), chapter 9, an exercise: a program (.8), a virus
/// (.15) or the hardware (.05) is at fault. The best order is restart, virus tool, reinstall, new computer, at 27.875;
/// the next best costs 29.3325. All orders were priced apart from this program.
///
/// A second try of a repair is a new draw here, so that the virus tool would be tried twice; in the exercise what it
/// missed it misses again. So the virus is written as two: the 95 in 100 that the tool removes and the others.
#[test]
fn the_exercise_of_the_computer() {
    let faults = [("program", 0.8), ("virus", 0.1425), ("stubborn-virus", 0.0075), ("hardware", 0.05)];
    let software = [("program", 0.99), ("virus", 0.99), ("stubborn-virus", 0.99)];
    let mends = [
        Mend("rm-restart", 1.0, &[("program", 1.0)]),
        Mend("rm-virus-tool", 2.0, &[("virus", 1.0)]),
        Mend("rm-reinstall", 25.0, &software),
        Mend("rm-new", 500.0, &[("program", 1.0), ("virus", 1.0), ("stubborn-virus", 1.0), ("hardware", 1.0)]),
    ];
    let knowledge = problem(&faults, &mends, &[], NEVER);
    let mut case = complaint(&knowledge);
    let worlds = 1 << 16;
    // What is still to be paid before each step, and how likely the step ends it. Standard errors come from the 500 of
    // the last step times the chance of getting there.
    let left = [1.0, 0.2, 0.0575, 0.050_075];
    let cures = [0.8, 0.1425 / 0.2, 0.99 * 0.0075 / 0.0575, 1.0];
    let mut to_pay = 27.875;
    for (step, id) in ["rm-restart", "rm-virus-tool", "rm-reinstall", "rm-new"].into_iter().enumerate() {
        let now = advice(&knowledge, &case, worlds);
        assert_eq!(name(&knowledge, &now.next.action), id);
        let last = 0.050_075 / left[step];
        let error = 500.0 * (last * (1.0 - last) / f64::from(worlds as u32)).sqrt();
        assert_near(now.next.expected_cost.get(), to_pay, 4.0 * error + 0.1);
        let spread = (cures[step] * (1.0 - cures[step]) / f64::from(worlds as u32)).sqrt();
        assert_near(now.next.branches[0].chance, cures[step], 4.0 * spread + 2e-4);
        if step < 3 {
            to_pay = (to_pay - mends[step].1) * left[step] / left[step + 1];
            failed(&mut case, &now.next.action);
        }
    }
    assert_near(to_pay, 500.0, 1e-9);
}

/// Greedy order by chance over price is not optimal where repairs overlap: three first costs 5.3, the best order (one,
/// four, two) 4.7. Both by enumeration, apart from this program; no published source. Here every first step is priced
/// with the greedy order only after it, which finds the best.
#[test]
fn overlapping_repairs_against_the_greedy_order() {
    let faults = [("a", 0.4), ("b", 0.1), ("c", 0.1), ("d", 0.4)];
    let mends = [
        Mend("rm-one", 3.0, &[("a", 1.0), ("b", 1.0)]),
        Mend("rm-two", 2.0, &[("c", 1.0)]),
        Mend("rm-three", 5.0, &[("a", 1.0), ("c", 1.0), ("d", 1.0)]),
        Mend("rm-four", 3.0, &[("d", 1.0)]),
    ];
    let knowledge = problem(&faults, &mends, &[], NEVER);
    let now = advice(&knowledge, &complaint(&knowledge), 1 << 16);
    assert_eq!(name(&knowledge, &now.next.action), "rm-one");
    // 3 + .5 x 3 + .1 x 2; a world's cost is 3, 6 or 8, so its spread is below 2.
    assert_near(now.next.expected_cost.get(), 4.7, 4.0 * 2.0 / 256.0);
    assert_near(find(&knowledge, &now, "rm-three").expected_cost.get(), 5.3, 4.0 * 2.0 / 256.0);
}

/// One fault, sure repairs: the order of falling p/c is optimal, at the sum of each c times (1 - sum of the p before it). Kadane and
/// Simon (1977), as cited by Ottosen and Jensen (UAI 2010).
#[test]
fn one_fault_goes_by_chance_over_cost() {
    let faults = [("a", 0.35), ("b", 0.3), ("c", 0.2), ("d", 0.15)];
    let mends = [
        Mend("rm-a", 70.0, &[("a", 1.0)]),
        Mend("rm-b", 20.0, &[("b", 1.0)]),
        Mend("rm-c", 30.0, &[("c", 1.0)]),
        Mend("rm-d", 12.0, &[("d", 1.0)]),
    ];
    let knowledge = problem(&faults, &mends, &[], NEVER);
    let mut case = complaint(&knowledge);
    // p/c: .005, .015, .0067, .0125.
    for id in ["rm-b", "rm-d", "rm-c", "rm-a"] {
        let now = advice(&knowledge, &case, 1 << 14);
        assert_eq!(name(&knowledge, &now.next.action), id);
        if id == "rm-b" {
            // 20 + .7 x 12 + .55 x 30 + .35 x 70; a world's cost lies within 20..132.
            assert_near(now.next.expected_cost.get(), 69.4, 4.0 * 50.0 / 128.0);
        }
        if id != "rm-a" {
            failed(&mut case, &now.next.action);
        }
    }
}

// --- a check worth nothing ----------------------------------------------------------------------------------------

/// Russell and Norvig, Artificial Intelligence: a modern approach, exercise 16.22, the used car: buying is worth 500 if
/// it is good (.7), -200 if not; the test says pass with .8 (good) and .35 (bad). Bought either way, so the test is
/// worth exactly nothing. Written down as costs: buying is a repair for 200 that takes where the car is good, walking
/// away is handing over for 700: 700 less the worth. Buying: 700 - 290 = 410.
fn used_car(price: f64) -> Knowledge {
    let faults = [("good", 0.7), ("bad", 0.3)];
    let mends = [Mend("rm-buy", 200.0, &[("good", 1.0)])];
    let tests = [Test("ck-test", price, &["pass", "fail"], vec![("good", vec![0.8, 0.2]), ("bad", vec![0.35, 0.65])])];
    problem(&faults, &mends, &tests, 700.0)
}

#[test]
fn a_check_worth_nothing_is_not_made() {
    let worlds = 1 << 14;
    // The spread of a world's cost (200 or 900) is 700 sqrt(.7 x .3).
    let error = 4.0 * 700.0 * (0.21 / f64::from(worlds as u32)).sqrt();
    for price in [50.0, 5.0, 0.5] {
        let knowledge = used_car(price);
        let now = advice(&knowledge, &complaint(&knowledge), worlds);
        assert_eq!(name(&knowledge, &now.next.action), "rm-buy", "at {price}");
        assert_near(now.next.expected_cost.get(), 410.0, error);
        // With it it comes to just its price more: the same worlds, the same purchase after either answer. Whatever it shows
        // the same is done, so it is no other way to go on.
        let appraised = appraised(&knowledge, &complaint(&knowledge), worlds);
        let test = appraised.iter().find(|a| name(&knowledge, &a.action) == "ck-test").expect("it is weighed");
        assert_near(test.total.get() - now.next.expected_cost.get(), price, 1e-6);
        assert!(now.alternatives.iter().all(|a| a.action != test.action), "{:?}", now.alternatives);
        // Without the purchase there is only walking away.
        assert_near(now.next.saves.get(), 700.0 - now.next.expected_cost.get(), 1e-6);
    }
}

/// The same test where it does change what is done: with 2 in 10 good cars buying is worth -60, a passed one is worth
/// 700 x .16/.44 - 200 = 54.5, so the test is worth .44 x 54.5 = 24.
#[test]
fn a_check_is_made_for_less_than_it_saves() {
    for (price, made) in [(20.0, true), (30.0, false)] {
        let faults = [("good", 0.2), ("bad", 0.8)];
        let mends = [Mend("rm-buy", 200.0, &[("good", 1.0)])];
        let tests =
            [Test("ck-test", price, &["pass", "fail"], vec![("good", vec![0.8, 0.2]), ("bad", vec![0.35, 0.65])])];
        let knowledge = problem(&faults, &mends, &tests, 700.0);
        let now = advice(&knowledge, &complaint(&knowledge), 1 << 16);
        let next = name(&knowledge, &now.next.action);
        assert_eq!(next, if made { "ck-test" } else { "hand-over" }, "at {price}");
        let pass = 0.2 * 0.8 + 0.8 * 0.35;
        let worth = pass * 700.0 * (0.2 * 0.8 / pass - 200.0 / 700.0);
        assert_near(find(&knowledge, &now, "ck-test").expected_cost.get(), 700.0 + price - worth, 4.0 * 280.0 / 256.0);
    }
}

// --- test sequencing ----------------------------------------------------------------------------------------------

/// Pattipati and Alexandridis, IEEE Trans. SMC 20(4), 1990: six states, five tests of cost 1 each. Which test shows
/// which state.
const STATES: [(&str, f64, [u8; 5]); 6] = [
    ("s0", 0.70, [0, 0, 0, 0, 0]),
    ("s1", 0.01, [0, 1, 0, 0, 1]),
    ("s2", 0.02, [0, 0, 1, 1, 0]),
    ("s3", 0.10, [1, 0, 0, 1, 1]),
    ("s4", 0.05, [1, 1, 0, 0, 0]),
    ("s5", 0.12, [1, 1, 1, 1, 0]),
];

const MENDS: [Mend<'static>; 6] = [
    Mend("rm-s0", 1000.0, &[("s0", 1.0)]),
    Mend("rm-s1", 1000.0, &[("s1", 1.0)]),
    Mend("rm-s2", 1000.0, &[("s2", 1.0)]),
    Mend("rm-s3", 1000.0, &[("s3", 1.0)]),
    Mend("rm-s4", 1000.0, &[("s4", 1.0)]),
    Mend("rm-s5", 1000.0, &[("s5", 1.0)]),
];

/// Each state is a fault with a repair of its own for so much that none is made on a guess.
fn six_states() -> Knowledge {
    let faults: Vec<(&str, f64)> = STATES.iter().map(|(id, p, _)| (*id, *p)).collect();
    let tests: Vec<Test> = ["t1", "t2", "t3", "t4", "t5"]
        .into_iter()
        .enumerate()
        .map(|(at, id)| {
            let shown = |bits: &[u8; 5]| if bits[at] == 1 { vec![0.0, 1.0] } else { vec![1.0, 0.0] };
            Test(id, 1.0, &["quiet", "shows"], STATES.iter().map(|(s, _, bits)| (*s, shown(bits))).collect())
        })
        .collect();
    problem(&faults, &MENDS, &tests, NEVER)
}

/// How many tests are made before the right repair, state by state.
fn tests_made(knowledge: &Knowledge, state: usize) -> usize {
    let mut case = complaint(knowledge);
    for made in 0..=5 {
        let now = advice(knowledge, &case, 1 << 12);
        match &now.next.action {
            Action::Check(check) => {
                let bit = STATES[state].2[check.item.at()];
                let answer = Answer::Outcome(usize::from(bit));
                case.log.push(Event::Answer { check: check.item, place: Some(0), answer, aired_min: None }.into());
            }
            other => {
                assert_eq!(name(knowledge, other), format!("rm-s{state}"), "no repair on a guess");
                return made;
            }
        }
    }
    panic!("more tests than there are")
}

/// The published optimum is 2.18 tests (confirmed by dynamic programming, as is 2.86 for choosing by information gain).
/// Ours looks one step ahead with a rough price on what must be told apart after it, so that nothing holds it to the
/// optimum; it is held to be no worse than choosing by information, and the six states to be told apart without fail.
#[test]
fn six_states_are_told_apart() {
    let knowledge = six_states();
    let expected: f64 = STATES
        .iter()
        .enumerate()
        .map(|(at, (_, p, _))| p * f64::from(u32::try_from(tests_made(&knowledge, at)).expect("few")))
        .sum();
    println!("{expected} tests expected");
    assert!(expected >= 2.18 - 1e-9, "{expected} is below the optimum");
    assert!(expected <= 2.86 + 1e-9, "{expected} is above choosing by information gain");
}
