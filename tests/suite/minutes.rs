//! What is still expected in minutes, worked out by hand on small problems: a minute costs a unit of money, so that what
//! a course costs beyond its minutes is what it buys.

use crate::small_base;
use doldrum::access::AccessGraph;
use doldrum::belief::believe;
use doldrum::decision::{Action, Advice, LookAhead, Settings, advise};
use doldrum::inference::Limits;
use doldrum::knowledge::Knowledge;
use doldrum::knowledge::layout::Laid;
use std::fmt::Write as _;

/// How rare faults are made, so that no two come together.
const RARE: f64 = 1e-4;
/// A price that nobody pays while anything else is left.
const NEVER: f64 = 1e7;

/// A fault: its share, the minutes of its repair, and the price of its part.
#[derive(Clone, Copy)]
struct Fault(f64, f64, f64);

/// A check: its minutes, and the chance that it says yes for each fault in turn.
struct Look<'a>(f64, &'a [f64]);

/// One of these faults, each with its own repair.
fn problem(faults: &[Fault], looks: &[Look<'_>], hand_over: f64) -> Knowledge {
    let (mut causes, mut inputs, mut repairs, mut checks) = (String::new(), Vec::new(), String::new(), String::new());
    for (n, Fault(share, minutes, part)) in faults.iter().enumerate() {
        writeln!(causes, "- {{id: fault-{n}, title: F{n}, chance: {}, basis: estimate}}", share * RARE).expect("text");
        inputs.push(format!("{{from: fault-{n}, strength: 1}}"));
        writeln!(
            repairs,
            "- {{id: mend-{n}, title: Mend {n}, removes: {{fault-{n}: 1}}, minutes: {minutes}, parts: [{{item: part {n}, \
             count: 1, each: {part}, basis: estimate}}], skill: 1, steps: [{{do: Do it}}], basis: estimate}}"
        )
        .expect("text");
    }
    for (n, Look(minutes, yes)) in looks.iter().enumerate() {
        let rows = yes.iter().enumerate().fold(String::new(), |rows, (fault, p)| {
            rows + &format!("    - {{when: {{fault-{fault}: true}}, chances: {{yes: {p}, no: {}}}}}\n", 1.0 - p)
        });
        write!(
            checks,
            "- id: look-{n}\n  title: Look {n}\n  ask: What?\n  how: [Look]\n  outcomes: [yes, no]\n  given:\n{rows}    \
             - {{chances: {{yes: 0, no: 1}}}}\n  cost: {{minutes: {minutes}}}\n  skill: 1\n  basis: estimate\n"
        )
        .expect("text");
    }
    let symptoms = format!(
        "- {{id: sy-fails, title: Fails, says: [Fails], share: 100, any: [{}], leak: 0, named: {{present: 1, absent: 0}}, \
         basis: estimate}}\n",
        inputs.join(", ")
    );
    let files = [
        ("causes", causes.as_str()),
        ("symptoms", symptoms.as_str()),
        ("repairs", repairs.as_str()),
        ("checks", checks.as_str()),
    ];
    small_base::read(0.0, hand_over, &files)
}

fn advice(knowledge: &Knowledge, look_ahead: LookAhead) -> Advice {
    let case = small_base::case(knowledge, "symptoms: [sy-fails]");
    let laid = Laid::new(knowledge, case.craft.clone());
    let belief = believe(&laid, &case, &Limits::default()).expect("within the limits");
    let settings = Settings { worlds: 1 << 15, look_ahead, ..Settings::default() };
    advise(&laid, &AccessGraph::new(knowledge), &case, &belief, &settings).expect("within the limits")
}

fn near(found: f64, expected: f64, within: f64) {
    assert!((found - expected).abs() < within, "expected {expected}, found {found}");
}

/// Seven faults in ten take 20 minutes and a part of 100, three take 60 minutes and a part of 10: the first repair, and in
/// three of ten worlds the second. 20 + 0.3 x 60 = 38 minutes, and 120 + 0.3 x 70 = 141 of money.
#[test]
fn a_course_of_repairs_takes_what_each_takes_where_it_comes_to_it() {
    let advice = advice(&problem(&[Fault(0.7, 20.0, 100.0), Fault(0.3, 60.0, 10.0)], &[], NEVER), LookAhead::One);
    assert!(matches!(advice.next.action, Action::Repair(..)));
    near(advice.expected_minutes.get(), 38.0, 1.0);
    near(advice.next.expected_cost.get(), 141.0, 1.2);
}

/// The same with a check of five minutes that tells which: 5 + 0.7 x 20 + 0.3 x 60 = 37 minutes, and 5 + 0.7 x 120 + 0.3 x
/// 70 = 110 of money.
#[test]
fn a_check_takes_its_own_minutes_and_those_of_what_each_answer_leads_to() {
    let knowledge = problem(&[Fault(0.7, 20.0, 100.0), Fault(0.3, 60.0, 10.0)], &[Look(5.0, &[1.0, 0.0])], NEVER);
    for look_ahead in [LookAhead::One, LookAhead::Two] {
        let advice = advice(&knowledge, look_ahead);
        assert!(matches!(advice.next.action, Action::Check(_)));
        near(advice.expected_minutes.get(), 37.0, 0.7);
        near(advice.next.expected_cost.get(), 110.0, 0.9);
    }
}

/// Handing over at 30 beats a repair of 20 minutes and 100 that cures seven in ten: nothing is left to do.
#[test]
fn handing_over_ends_the_clock() {
    let advice = advice(&problem(&[Fault(0.7, 20.0, 100.0), Fault(0.3, 60.0, 10.0)], &[], 30.0), LookAhead::One);
    assert_eq!(advice.next.action, Action::HandOver);
    near(advice.expected_minutes.get(), 0.0, 1e-9);
    near(advice.next.expected_cost.get(), 30.0, 1e-9);
}

/// After the first repair, of 20 minutes and 1 for seven in ten, handing over at 50 beats an hour and 10: 20 minutes, and
/// 21 + 0.3 x 50 = 36 of money.
#[test]
fn what_is_handed_over_later_takes_only_what_comes_before() {
    let advice = advice(&problem(&[Fault(0.7, 20.0, 1.0), Fault(0.3, 60.0, 10.0)], &[], 50.0), LookAhead::One);
    assert!(matches!(advice.next.action, Action::Repair(..)));
    near(advice.expected_minutes.get(), 20.0, 1e-9);
    near(advice.next.expected_cost.get(), 36.0, 0.6);
}

/// Where nothing is bought and nobody hands over, minutes are all there is to a cost, whatever way on is priced: the two
/// walk the same course. Checks that tell little make the going rate of looking further count.
#[test]
fn with_nothing_to_buy_a_cost_is_its_minutes() {
    let faults = [Fault(0.3, 90.0, 0.0), Fault(0.25, 60.0, 0.0), Fault(0.25, 75.0, 0.0), Fault(0.2, 45.0, 0.0)];
    let looks = [
        Look(4.0, &[0.9, 0.1, 0.5, 0.5]),
        Look(6.0, &[0.5, 0.9, 0.1, 0.5]),
        Look(5.0, &[0.2, 0.2, 0.9, 0.8]),
        Look(9.0, &[0.1, 0.5, 0.5, 0.95]),
    ];
    for count in 0..=looks.len() {
        let knowledge = problem(&faults, &looks[..count], NEVER);
        for look_ahead in [LookAhead::One, LookAhead::Two] {
            let advice = advice(&knowledge, look_ahead);
            let cost = advice.next.expected_cost.get();
            near(advice.expected_minutes.get(), cost, 1e-6 * cost);
        }
    }
}
