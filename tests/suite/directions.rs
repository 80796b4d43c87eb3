//! Which way an answer must move what is believed, whatever the numbers: the rules of thumb of the trade (common
//! practice, no source), and the mistakes that trip beginners.

use crate::watercraft;
use doldrum::belief::{Belief, believe};
use doldrum::case::text;
use doldrum::inference::Limits;
use doldrum::knowledge::Knowledge;
use doldrum::knowledge::layout::Laid;

const SUPPLY: &[&str] = &[
    "tank-empty",
    "selector-wrong-position",
    "selector-valve-faulty",
    "pickup-clogged",
    "fuel-filter-clogged",
    "hose-collapsed",
    "suction-air-leak",
    "line-kinked",
    "lines-crossed",
];
const FLOODING: &[&str] =
    &["needle-held-open", "needle-tip-grooved", "lever-too-high", "popoff-too-low", "choke-stuck-on"];
const STOP: &[&str] = &["lanyard-or-stop-switch", "kill-wire-grounded"];

/// What is believed of a craft with this said of it.
fn said<T>(knowledge: &Knowledge, layout: &str, keys: &str, of: impl FnOnce(&Belief) -> T) -> T {
    let head = format!("format: 1\nknowledge: {{id: watercraft-two-stroke}}\ncraft: {{layout: {layout}}}\n");
    let (case, findings) = text::read("case.yaml", &format!("{head}{keys}\n"), knowledge);
    let case = case.unwrap_or_else(|| panic!("{keys}: {findings:?}"));
    let laid = Laid::new(knowledge, case.craft.clone());
    of(&believe(&laid, &case, &Limits::default()).expect("within the limits"))
}

/// The chances of these causes added up, each at its likeliest place.
fn sum(knowledge: &Knowledge, belief: &Belief, ids: &[&str]) -> f64 {
    let of = |id: &&str| {
        let places = belief.causes.iter().filter(|c| knowledge.causes.id(c.cause.item) == *id);
        places.map(|c| c.chance).fold(0.0, f64::max)
    };
    ids.iter().map(of).sum()
}

/// How much likelier these causes are with the second text than with the first.
fn lift(layout: &str, before: &str, after: &str, ids: &[&str]) -> f64 {
    let knowledge = watercraft::knowledge();
    let chance = |keys: &str| said(&knowledge, layout, keys, |belief| sum(&knowledge, belief, ids));
    chance(after) / chance(before)
}

const NO_START: &str = "symptoms: [sy-cranks-no-start]";

fn no_start(log: &str) -> String {
    format!("{NO_START}\nlog: [{log}]")
}

#[test]
fn all_cylinders_at_once_is_supply_and_not_the_plug_leads() {
    let one =
        no_start("{check: ck-plug-wet-dry@front, outcome: dry}, {check: ck-plug-wet-dry@rear, outcome: damp-normal}");
    let all = no_start("{check: ck-plug-wet-dry@front, outcome: dry}, {check: ck-plug-wet-dry@rear, outcome: dry}");
    assert!(lift("twin-each", &one, &all, SUPPLY) > 1.5);
    let one =
        no_start("{check: ck-spark-tester@front, outcome: none}, {check: ck-spark-tester@rear, outcome: strong-blue}");
    let all = no_start("{check: ck-spark-tester@front, outcome: none}, {check: ck-spark-tester@rear, outcome: none}");
    assert!(lift("twin-each", &one, &all, &["plug-cap-lead-faulty"]) < 0.5);
    assert!(lift("twin-each", &one, &all, STOP) > 3.0);
}

#[test]
fn a_wet_plug_is_flooding_and_a_dry_one_is_not() {
    let wet = no_start("{check: ck-plug-wet-dry, outcome: wet-fuel}");
    let dry = no_start("{check: ck-plug-wet-dry, outcome: dry}");
    assert!(lift("single", NO_START, &wet, FLOODING) > 1.5);
    assert!(lift("single", NO_START, &dry, FLOODING) < 0.7);
    assert!(lift("single", NO_START, &dry, SUPPLY) > 1.3);
    // Cranked without spark it floods too: a wet plug does not clear the ignition.
    assert!(lift("single", NO_START, &wet, STOP) > 1.0);
}

#[test]
fn better_with_the_cap_loose_is_the_vent() {
    let fades = "symptoms: [sy-dies-after-minutes]";
    let hiss = format!("{fades}\nlog: [{{check: ck-tank-vent, outcome: hiss-and-recovers}}]");
    let none = format!("{fades}\nlog: [{{check: ck-tank-vent, outcome: no-change}}]");
    assert!(lift("single", fades, &hiss, &["tank-vent-blocked"]) > 3.0);
    assert!(lift("single", fades, &none, &["tank-vent-blocked"]) < 0.2);
    let told = "symptoms: [sy-dies-after-minutes]\nhistory: {cx-restart-behavior: only-after-opening-fuel-cap}";
    assert!(lift("single", fades, told, &["tank-vent-blocked", "vent-check-reversed"]) > 3.0);
}

#[test]
fn good_compression_does_not_clear_the_crankcase_seals() {
    let seals = &["crank-seal-mag", "crank-seal-pto", "base-gasket-leak"];
    let good = no_start("{check: ck-compression, reading: 138 psi}");
    let change = lift("single", NO_START, &good, seals);
    assert!(change > 0.95, "{change}");
    assert!(lift("single", NO_START, &good, &["rings-worn", "piston-scored"]) < 0.2);
}

#[test]
fn a_prime_that_fires_is_fuel_and_one_that_does_not_is_spark() {
    let fires = no_start("{check: ck-prime-test, outcome: fires-2-5s-then-dies}");
    let nothing = no_start("{check: ck-prime-test, outcome: nothing}");
    assert!(lift("single", NO_START, &fires, SUPPLY) > 1.3);
    assert!(lift("single", NO_START, &fires, STOP) < 0.2);
    assert!(lift("single", NO_START, &nothing, STOP) > 1.5);
    let supply = lift("single", NO_START, &nothing, SUPPLY);
    assert!(supply < 0.8, "{supply}");
}

#[test]
fn a_test_tank_that_cures_is_supply_and_one_that_does_not_is_the_carburetor() {
    let dies = "symptoms: [sy-starts-then-dies]";
    let cured = format!("{dies}\nlog: [{{check: ck-can-test, outcome: cured}}]");
    let same = format!("{dies}\nlog: [{{check: ck-can-test, outcome: same}}]");
    assert!(lift("single", dies, &cured, SUPPLY) > 1.5);
    assert!(lift("single", dies, &same, SUPPLY) < 0.7);
    assert!(lift("single", dies, &same, &["low-jet-clogged", "needle-stuck-closed"]) > 1.0);
}

#[test]
fn no_drop_while_pressing_start_is_an_open_circuit_and_not_a_battery() {
    let none = "symptoms: [sy-no-crank]";
    let no_drop = format!("{none}\nlog: [{{check: ck-battery-crank-volts, reading: 12.4 V}}]");
    assert!(lift("single", none, &no_drop, &["battery-flat"]) < 0.5);
    assert!(
        lift("single", none, &no_drop, &["start-relay-faulty", "start-switch-or-interlock", "main-fuse-blown"]) > 1.3
    );
}

#[test]
fn choke_that_helps_is_lean_and_choke_that_hurts_is_rich() {
    let bogs = "symptoms: [sy-bogs]";
    let better = format!("{bogs}\nlog: [{{check: ck-choke-response, outcome: better}}]");
    let worse = format!("{bogs}\nlog: [{{check: ck-choke-response, outcome: worse}}]");
    let rich = &["choke-stuck-on", "low-screw-rich", "needle-tip-grooved"];
    assert!(lift("single", bogs, &worse, rich) > 2.0 && lift("single", bogs, &better, rich) < 0.7);
    let lean = &["low-jet-clogged", "reg-diaphragm-stiff", "pump-diaphragm-stiff", "high-jet-clogged"];
    assert!(lift("single", bogs, &better, lean) > 1.0 && lift("single", bogs, &worse, lean) < 0.8);
}

/// What a meter shows beyond a fault's usual reading is no reading misread: however far the needle goes, the fault (or
/// the faults that read alike) stays the likely one.
#[test]
fn a_reading_beyond_the_usual_does_not_clear_the_fault() {
    let knowledge = watercraft::knowledge();
    let cases = [
        ("sy-no-crank", &["battery-flat"][..], "ck-battery-rest-volts", "V", [10.5, 9.0, 5.0, 1.0]),
        ("sy-no-crank", &["battery-flat"][..], "ck-battery-crank-volts", "V", [6.0, 4.0, 2.0, 0.5]),
        ("sy-cranks-no-start", &["ignition-ground-poor"][..], "ck-ignition-ground", "ohm", [3.0, 5.0, 10.0, 20.0]),
        ("sy-cranks-no-start", &["piston-holed"][..], "ck-compression", "psi", [20.0, 10.0, 5.0, 0.0]),
        ("sy-cranks-no-start", &["suction-air-leak"][..], "ck-suction-hold", "psi", [3.0, 4.0, 4.5, 5.0]),
        (
            "sy-slow-crank",
            &["battery-terminal-corroded", "engine-ground-cable-bad"][..],
            "ck-voltage-drop-neg",
            "V",
            [0.8, 2.0, 4.0, 8.0],
        ),
        ("sy-cranks-no-start", &["plug-cap-lead-faulty"][..], "ck-cap-resistance", "kohm", [25.0, 35.0, 45.0, 60.0]),
        ("sy-backfires", &["flywheel-key-sheared"][..], "ck-timing-light", "deg", [12.0, 20.0, 30.0, 40.0]),
    ];
    for (complaint, faults, check, unit, readings) in cases {
        let believed = |log: &str| {
            let keys = format!("symptoms: [{complaint}]\n{log}");
            said(&knowledge, "single", &keys, |belief| sum(&knowledge, belief, faults))
        };
        let before = believed("");
        for reading in readings {
            let found = believed(&format!("log: [{{check: {check}, reading: {reading} {unit}}}]"));
            // Odds, so that what is likely already has to rise as well; two faults may be there at once and add up to one.
            let odds = |p: f64| p.min(0.999) / (1.0 - p.min(0.999));
            assert!(found > 0.5 && odds(found) > 4.0 * odds(before), "{check} {reading}: {before:.3} to {found:.3}");
        }
    }
}

/// One swap is one act on all cylinders: what was dark stays under suspicion, and the plug that sparks is not accused.
#[test]
fn a_swap_does_not_accuse_the_cylinder_that_sparks() {
    let knowledge = watercraft::knowledge();
    let swapped = "symptoms: [sy-one-cylinder]\nlog: [{check: ck-spark-tester@front, outcome: strong-blue}, \
                   {check: ck-spark-tester@rear, outcome: none}, {check: ck-cap-swap, outcome: leads-follow}]";
    let caps = said(&knowledge, "twin-each", swapped, |belief| {
        let cap = knowledge.causes.find("plug-cap-lead-faulty").expect("a cause");
        let at =
            |place: usize| belief.causes.iter().find(|c| c.cause.item == cap && c.cause.at == place).map(|c| c.chance);
        (at(0).expect("front"), at(1).expect("rear"))
    });
    assert!(caps.0 < 0.15 && caps.1 > 0.5, "{caps:?}");
    // Caps alone swapped leave each coil where it is.
    let coil = |outcome: &str| {
        let said = swapped.replace("leads-follow", outcome);
        lift("twin-each", "symptoms: [sy-one-cylinder]", &said, &["ignition-coil-faulty"])
    };
    assert!(coil("leads-follow") > 4.0 * coil("caps-follow"));
}

/// A squirt of fuel that fires on part of the cylinders says that another has no spark; where none sparks nothing fires.
#[test]
fn a_prime_that_fires_on_part_is_spark_on_the_other() {
    let part = no_start("{check: ck-prime-test, outcome: fires-one-cylinder}");
    let nothing = no_start("{check: ck-prime-test, outcome: nothing}");
    assert!(lift("twin-each", NO_START, &part, &["plug-fouled"]) > 1.5);
    assert!(lift("single", NO_START, &nothing, &["plug-fouled"]) > 1.5);
    // An engine that runs runs on: that says nothing of its compression.
    let slow = "symptoms: [sy-no-top-end]";
    let runs = format!("{slow}\nlog: [{{check: ck-prime-test, outcome: runs-on}}]");
    assert!(lift("single", slow, &runs, &["head-gasket-leak", "rings-worn"]) > 0.9);
}

/// Each crank seal closes one crankcase: the magneto end's the first, the drive end's the last, the middle one's neither.
/// Common practice, no source.
#[test]
fn a_crankcase_that_leaks_points_to_the_seal_at_its_end() {
    let seals: &[&str] = &["crank-seal-mag", "crank-seal-pto"];
    let knowledge = watercraft::knowledge();
    for (layout, leaking, holding, expected) in [
        ("twin-each", "front", "rear", [true, false]),
        ("twin-each", "rear", "front", [false, true]),
        ("triple-each", "center", "front", [false, false]),
    ] {
        let before = "symptoms: [sy-no-idle]";
        let after = format!(
            "{before}\nlog: [{{check: ck-crankcase-leakdown@{leaking}, reading: 4 psi}}, \
             {{check: ck-crankcase-leakdown@{holding}, reading: 0.5 psi}}]"
        );
        let chance = |keys: &str, seal: &str| said(&knowledge, layout, keys, |belief| sum(&knowledge, belief, &[seal]));
        for (seal, rises) in seals.iter().zip(expected) {
            let lift = chance(&after, seal) / chance(before, seal);
            assert!(if rises { lift > 3.0 } else { lift < 1.0 }, "{layout}, {leaking} leaks: {seal} times {lift}");
        }
    }
}
