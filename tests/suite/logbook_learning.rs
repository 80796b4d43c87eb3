//! What closed jobs teach: published figures, brute-force counting, and a shop whose true rates are known.

use super::{small_base, small_engine};
use assert_cmd::cargo::CommandCargoExt;
use doldrum::access::AccessGraph;
use doldrum::case::text;
use doldrum::decision::{Action, Settings as Advice};
use doldrum::knowledge::layout::{Instance, Laid};
use doldrum::knowledge::{Gives, Ix, Knowledge, Repair};
use doldrum::logbook::learn::{Counts, Settings, learn};
use doldrum::logbook::overlay::{self, LearnedCause, Overlay};
use doldrum::logbook::record::{Channel, End, FORMAT, Of, Record};
use doldrum::safety::Before;
use doldrum::trial::job::{Job, Standing};
use doldrum::trial::policy::{Player, Policy};
use doldrum::trial::truth::{Draws, Truth};
use doldrum::units::Chance;
use proptest::prelude::*;
use std::collections::BTreeSet;
use std::fs;
use std::process::Command;

/// A confirmed job; `case` is the text of its case.
fn record(knowledge: &Knowledge, number: usize, case: &str, causes: &[&str]) -> Record {
    Record {
        format: FORMAT,
        id: format!("{number:032x}"),
        knowledge: Of { id: knowledge.id.clone(), version: knowledge.version.clone() },
        closed: small_engine::noon().expect("a moment"),
        title: None,
        channel: Channel::Shop,
        layout: "single".to_owned(),
        symptoms: Vec::new(),
        causes: causes.iter().map(|c| (*c).to_owned()).collect(),
        also_found: Vec::new(),
        repairs: vec!["rm-it".to_owned()],
        fixed_by: None,
        end: End::Cured,
        first_time: None,
        minutes: None,
        parts: Vec::new(),
        spent: None,
        plan: None,
        believed: Vec::new(),
        note: None,
        case: case.to_owned(),
    }
}

fn settings(worth: f64) -> Settings {
    Settings { worth, fade: 1.0, ..Settings::default() }
}

fn taught(knowledge: &Knowledge, records: &[Record], settings: &Settings) -> (Overlay, Counts) {
    learn(knowledge, records, settings, &mut |_, _| {}).expect("within the limits")
}

fn of<'o>(knowledge: &Knowledge, overlay: &'o Overlay, id: &str) -> Option<&'o LearnedCause> {
    let ix = knowledge.causes.find(id).expect("a cause");
    overlay.causes.iter().find(|learned| learned.cause == ix)
}

/// The chance of a cause after learning.
fn chance(knowledge: &Knowledge, overlay: &Overlay, id: &str) -> f64 {
    let own = knowledge.causes[knowledge.causes.find(id).expect("a cause")].chance;
    of(knowledge, overlay, id).map_or(own, |learned| learned.after).get()
}

/// Fifteen visits to a printer, five causes, each prior Beta(1, 1): 4/17, 5/17, 6/17, 9/17, 4/17 (Barber, *Bayesian
/// Reasoning and Machine Learning*, exercise 9.1). Nothing is complained of there.
#[test]
fn fifteen_published_visits() {
    const VISITS: [(&str, [u8; 15], f64); 5] = [
        ("fuse", [0, 0, 0, 1, 0, 0, 0, 0, 0, 0, 0, 0, 1, 0, 1], 4.0),
        ("drum", [0, 0, 0, 0, 1, 0, 0, 1, 0, 0, 1, 1, 0, 0, 0], 5.0),
        ("toner", [1, 1, 0, 0, 0, 1, 0, 1, 0, 0, 0, 1, 0, 0, 0], 6.0),
        ("paper", [1, 0, 1, 0, 1, 0, 1, 0, 1, 1, 0, 1, 1, 0, 0], 9.0),
        ("roller", [0, 0, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0, 1, 1], 4.0),
    ];
    let cause = |id: &str| format!("- {{id: {id}, title: {id}, chance: 0.5, basis: estimate}}\n");
    let causes = VISITS.map(|(id, ..)| cause(id)).concat();
    let inputs: Vec<String> = VISITS.iter().map(|(id, ..)| format!("{{from: {id}, strength: 0.5}}")).collect();
    let symptoms = format!(
        "- {{id: sy-visit, title: V, says: [V], share: 100, any: [{}], leak: 0.1, named: {{present: 1, absent: 0}}, basis: estimate}}\n",
        inputs.join(", ")
    );
    let knowledge = small_base::read(0.0, 500.0, &[("causes", &causes), ("symptoms", &symptoms)]);
    let records: Vec<Record> = (0..15)
        .map(|visit| {
            let entry = |id: &str, there: bool| format!("  - {{found: {id}, present: {there}}}\n");
            let found = VISITS.map(|(id, seen, _)| entry(id, seen[visit] == 1)).concat();
            let case = format!("format: 1\nknowledge: {{id: small}}\nsymptoms: []\nlog:\n{found}");
            let causes: Vec<&str> = VISITS.iter().filter(|(_, seen, _)| seen[visit] == 1).map(|(id, ..)| *id).collect();
            record(&knowledge, visit, &case, &causes)
        })
        .collect();
    let (overlay, counts) = taught(&knowledge, &records, &settings(2.0));
    assert_eq!(counts, Counts { used: 15, ..Counts::default() });
    for (id, seen, expected) in VISITS {
        let learned = of(&knowledge, &overlay, id).expect("it moved");
        assert!((learned.after.get() - expected / 17.0).abs() < 1e-9, "{id}: {learned:?}");
        let found: u8 = seen.iter().sum();
        assert!((learned.found - f64::from(found)).abs() < 1e-9 && (learned.cases - 15.0).abs() < 1e-6, "{learned:?}");
        // Beta(1 + x, 16 - x): its standard deviation.
        let mean: f64 = expected / 17.0;
        assert!((learned.sd - (mean * (1.0 - mean) / 18.0).sqrt()).abs() < 1e-6, "{learned:?}");
    }
}

/// Two causes behind a noisy complaint.
fn noisy(p: [f64; 2], strength: [f64; 2], leak: f64) -> Knowledge {
    let causes = format!(
        "- {{id: guilty, title: G, chance: {}, basis: estimate}}\n- {{id: other, title: O, chance: {}, basis: estimate}}\n",
        p[0], p[1]
    );
    let symptoms = format!(
        "- {{id: sy-fails, title: F, says: [F], share: 100, any: [{{from: guilty, strength: {}}}, {{from: other, strength: {}}}], leak: {leak}, named: {{present: 0.9, absent: 0.01}}, basis: estimate}}\n",
        strength[0], strength[1]
    );
    small_base::read(0.0, 500.0, &[("causes", &causes), ("symptoms", &symptoms)])
}

/// The share of jobs with each cause, among those in which one of the two brought the complaint about, by going through
/// causes and links.
fn shares(p: [f64; 2], strength: [f64; 2]) -> [f64; 2] {
    let (mut with, mut all) = ([0.0; 2], 0.0);
    for bits in 0..16u8 {
        let [a, b, link_a, link_b] = [0, 1, 2, 3].map(|bit| bits >> bit & 1 == 1);
        let weigh = |on: bool, chance: f64| if on { chance } else { 1.0 - chance };
        let weight = weigh(a, p[0]) * weigh(b, p[1]) * weigh(link_a, strength[0]) * weigh(link_b, strength[1]);
        if a && link_a || b && link_b {
            all += weight;
            with[0] += if a { weight } else { 0.0 };
            with[1] += if b { weight } else { 0.0 };
        }
    }
    with.map(|with| with / all)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, ..ProptestConfig::default() })]

    /// Alike jobs, each known to have the one cause, the other or both: the share of jobs with a cause is that of counting,
    /// selection by the complaint and fading included.
    #[test]
    fn learning_is_counting(
        p in proptest::array::uniform2(0.02f64..0.5), strength in proptest::array::uniform2(0.2f64..1.0),
        leak in 0.01f64..0.5, worth in 2.0f64..80.0, fade in 0.9f64..=1.0,
        jobs in proptest::collection::vec(1u8..4, 1..12),
    ) {
        let knowledge = noisy(p, strength, leak);
        let ids = ["guilty", "other"];
        let has = |job: u8, at: usize| job >> at & 1 == 1;
        let records: Vec<Record> = jobs
            .iter()
            .enumerate()
            .map(|(n, &job)| {
                let entry = |at: usize| format!("  - {{found: {}, present: {}}}\n", ids[at], has(job, at));
                let log = [0, 1].map(entry).concat();
                let case = format!("format: 1\nknowledge: {{id: small}}\nsymptoms: [sy-fails]\nlog:\n{log}");
                let causes: Vec<&str> = (0..2).filter(|&at| has(job, at)).map(|at| ids[at]).collect();
                record(&knowledge, n, &case, &causes)
            })
            .collect();
        let (overlay, _) = taught(&knowledge, &records, &Settings { fade, ..settings(worth) });
        let learned = ids.map(|id| chance(&knowledge, &overlay, id));
        let weights = || jobs.iter().rev().zip(0..).map(|(job, age)| (fade.powi(age), *job));
        let all: f64 = weights().map(|(weight, _)| weight).sum();
        for at in 0..2 {
            let with: f64 = weights().filter(|(_, job)| has(*job, at)).map(|(weight, _)| weight).sum();
            // What the knowledge expects of this cause, the other one as learned.
            let mut before = learned;
            before[at] = p[at];
            let expected = (worth * shares(before, strength)[at] + with) / (worth + all);
            // Shifts of the log-odds by less than a hundredth are not told, so that a share may be off by a
            // four-hundredth; and rounds end when they move by half as much.
            let share = shares(learned, strength)[at];
            prop_assert!((share - expected).abs() < 8e-3, "{}: {} of {}", ids[at], share, expected);
            if let Some(told) = of(&knowledge, &overlay, ids[at]) {
                prop_assert!((told.now - expected).abs() < 5e-3, "{:?}, {}", told, expected);
                prop_assert!((told.cases - all).abs() < 1e-4 && (told.found - with).abs() < 1e-9, "{:?}", told);
            }
        }
    }
}

#[test]
fn what_is_kept_apart_teaches_nothing() {
    let knowledge = noisy([0.1, 0.05], [0.9, 0.9], 0.05);
    let case = "format: 1\nknowledge: {id: small}\nsymptoms: [sy-fails]\n";
    let job = |n| record(&knowledge, n, case, &["guilty"]);
    let shop: Vec<Record> = (0..5).map(job).collect();
    let mut mixed = shop.clone();
    mixed.extend((5..9).map(|n| Record { channel: Channel::Phone, ..job(n) }));
    mixed.extend((9..12).map(|n| Record { end: End::NotKnown, ..job(n) }));
    mixed.extend((12..14).map(|n| Record { end: End::NotKnown, causes: Vec::new(), ..job(n) }));
    mixed.push(Record { case: case.replace("small", "large"), ..job(14) });
    mixed.push(Record { causes: Vec::new(), ..job(15) });
    let (alone, _) = taught(&knowledge, &shop, &settings(20.0));
    let (learned, counts) = taught(&knowledge, &mixed, &settings(20.0));
    assert_eq!(learned, alone);
    assert!(chance(&knowledge, &learned, "guilty") > 0.12);
    assert_eq!(counts, Counts { used: 5, phone: 4, unproved: 4, unconfirmed: 2, unread: 1, impossible: 0 });
}

/// Two causes, and one that has nothing to do with the complaint. It is noted where it is met, and nobody notes the sound
/// ones that were not looked at: it must not grow common by that. One that nobody looks for must not grow rare either.
#[test]
fn finding_by_the_way_and_not_looking_change_no_rate() {
    let causes = "
- {id: guilty, title: G, chance: 0.1, basis: estimate}
- {id: rival, title: R, chance: 0.1, basis: estimate}
- {id: apart, title: A, chance: 0.1, basis: estimate}
";
    let symptoms = "
- {id: sy-fails, title: F, says: [F], share: 100, any: [{from: guilty, strength: 0.9}, {from: rival, strength: 0.9}], leak: 0.05, named: {present: 0.9, absent: 0.01}, basis: estimate}
";
    let knowledge = small_base::read(0.0, 500.0, &[("causes", causes), ("symptoms", symptoms)]);
    let case = "format: 1\nknowledge: {id: small}\nsymptoms: [sy-fails]\n";
    let job = |n| record(&knowledge, n, case, &["guilty"]);
    let by_the_way = |n| Record { also_found: vec!["apart".to_owned()], ..job(n) };
    for records in [(0..30).map(by_the_way).collect::<Vec<_>>(), (0..30).map(job).collect()] {
        let (learned, _) = taught(&knowledge, &records, &settings(10.0));
        assert_eq!(of(&knowledge, &learned, "apart"), None);
        // What explains the complaint takes it off its rival, which was not seen, and only so far.
        let rival = chance(&knowledge, &learned, "rival");
        assert!(rival > 0.001 && rival < 0.1 && chance(&knowledge, &learned, "guilty") > 0.1, "{rival}");
    }
}

/// An answer points at a cause in every job, and in none it is found: it must not grow common by being suspected.
#[test]
fn a_suspicion_raises_no_rate() {
    let causes = "
- {id: guilty, title: G, chance: 0.1, basis: estimate}
- {id: suspect, title: S, chance: 0.1, basis: estimate}
";
    let symptoms = "
- {id: sy-fails, title: F, says: [F], share: 100, any: [{from: guilty, strength: 0.9}], leak: 0.05, named: {present: 0.9, absent: 0.01}, basis: estimate}
";
    let checks = "
- {id: ck-look, title: Look, ask: Bad?, how: [Look], outcomes: [good, bad], given: [{when: {suspect: true}, chances: {good: 0.2, bad: 0.8}}, {chances: {good: 0.9, bad: 0.1}}], cost: {minutes: 1}, skill: 1, basis: estimate}
";
    let knowledge = small_base::read(0.0, 500.0, &[("causes", causes), ("symptoms", symptoms), ("checks", checks)]);
    let taught_by = |outcome: &str| {
        let log = format!("log:\n  - {{check: ck-look, outcome: {outcome}}}\n");
        let case = format!("format: 1\nknowledge: {{id: small}}\nsymptoms: [sy-fails]\n{log}");
        let records: Vec<Record> = (0..30).map(|n| record(&knowledge, n, &case, &["guilty"])).collect();
        // Rows worth so much that they stay as they are.
        let settings = Settings { row_worth: 1e6, ..settings(10.0) };
        chance(&knowledge, &taught(&knowledge, &records, &settings).0, "suspect")
    };
    assert!((taught_by("bad") - 0.1).abs() < 1e-12);
    // What was looked at and is sound takes it down.
    assert!(taught_by("good") < 0.09);
}

// --- a shop whose true rates are known ----------------------------------------------------------------------------

/// What is true of the shop: other odds of every cause, and plugs that look otherwise when they are dead.
fn truth(knowledge: &Knowledge) -> Knowledge {
    let mut truth = knowledge.clone();
    for (id, chance) in [("screen-clogged", 0.06), ("plug-dead", 0.18), ("rings-worn", 0.08)] {
        truth.causes.get_mut(knowledge.causes.find(id).expect("a cause")).chance = Chance::new(chance).expect("one");
    }
    let look = knowledge.checks.find("ck-plug-look").expect("a check");
    truth.checks.get_mut(look).rows[1].gives = Gives::Chances(vec![0.05, 0.55, 0.4]);
    truth
}

fn draws(knowledge: &Knowledge, seed: u64) -> Draws {
    let layouts = vec![knowledge.layouts.find("twin").expect("a layout")];
    Draws { seed, layouts, symptoms: Vec::new(), sigma: 0.0, unlisted: 0.0, user: None }
}

/// A job of the shop, closed: a few looks, then whatever is behind the complaint is found and repaired.
fn closed(believed: &Knowledge, truth: &Knowledge, seed: u64, number: u64) -> Option<Record> {
    let drawn = Truth::draw(truth, &draws(truth, seed), number)?;
    let laid = Laid::new(truth, drawn.case.craft.clone());
    let graph = AccessGraph::new(truth);
    let mut job = Job::new(&laid, &graph, &drawn);
    let cured = repaired(&mut job);
    let causes: Vec<String> = drawn.guilty().iter().map(|c| label(&laid, *c)).collect();
    let causes: Vec<&str> = causes.iter().map(String::as_str).collect();
    let whole = text::write(&job.case, truth);
    let end = if cured { End::Cured } else { End::HandedOver };
    Some(Record { end, ..record(believed, usize::try_from(number).expect("few jobs"), &whole, &causes) })
}

/// Whether the complaint is gone in the end.
fn repaired(job: &mut Job<'_, '_>) -> bool {
    let knowledge = job.laid.knowledge;
    for id in ["ck-smell", "ck-plug-look", "ck-compression"] {
        let check = knowledge.checks.find(id).expect("a check");
        for instance in job.laid.instances(check, knowledge.checks[check].scope) {
            job.act(&Action::Check(instance), &Before::default());
        }
    }
    for cause in job.truth.guilty() {
        let removes = |repair: &Repair| repair.removes.iter().any(|(removed, _)| *removed == cause.item);
        let (repair, item) = knowledge.repairs.iter().find(|(_, repair)| removes(repair)).expect("a repair for each");
        let places: Vec<usize> = (0..job.laid.places(item.scope)).collect();
        for _ in 0..4 {
            if job.has(cause)
                && job.act(&Action::Repair(repair, Vec::clone(&places)), &Before::default()) == Standing::Cured
            {
                return true;
            }
        }
    }
    false
}

fn label(laid: &Laid<'_>, cause: Instance<doldrum::knowledge::Cause>) -> String {
    doldrum::logbook::closing::label(laid, cause)
}

fn work(job: &mut Job<'_, '_>, policy: Policy, settings: &Advice) -> Standing {
    let mut player = Player::new(policy, job);
    let mut refused = BTreeSet::new();
    for _ in 0..60 {
        let choice = player.choose(job, &refused, settings).expect("within the limits");
        match job.act(&choice.action, &choice.before) {
            Standing::Open => refused.clear(),
            Standing::Barred => {
                refused.insert(choice.action);
            }
            end => return end,
        }
    }
    Standing::HandedOver
}

fn logit(p: f64) -> f64 {
    (p / (1.0 - p)).ln()
}

/// Three shops. How common causes are beside each other: after 4 and 16 times as many jobs the error of the log-odds is
/// about a half and a quarter, and all the way it is what the standard deviations say. The level that all share is told
/// by little but causes that come together, and takes more jobs: in a job it changes next to nothing.
#[test]
fn a_shop_recovers_its_rates() {
    let believed = small_engine::knowledge();
    let truth = truth(&believed);
    let ids = ["screen-clogged", "plug-dead", "rings-worn"];
    let sizes = [30, 120, 480];
    let (mut squares, mut scores, mut levels) = ([0.0; 3], [0.0; 3], [0.0; 3]);
    let mut wet = Vec::new();
    for shop in 0..3 {
        let records: Vec<Record> = (0..480).filter_map(|n| closed(&believed, &truth, 100 + shop, n)).collect();
        for (at, size) in sizes.into_iter().enumerate() {
            let (overlay, counts) = taught(&believed, &records[..size], &settings(2.0));
            assert!(counts.used * 10 >= size * 8, "{counts:?}");
            let errors = ids.map(|id| {
                let ix = truth.causes.find(id).expect("a cause");
                logit(chance(&believed, &overlay, id)) - logit(truth.causes[ix].chance.get())
            });
            let level = errors.iter().sum::<f64>() / 3.0;
            levels[at] += level * level / 3.0;
            for (id, error) in ids.into_iter().zip(errors) {
                let told = of(&believed, &overlay, id).expect("it moved");
                let sd = told.sd / (told.now * (1.0 - told.now));
                squares[at] += (error - level) * (error - level) / 9.0;
                scores[at] += (error - level) * (error - level) / (sd * sd) / 9.0;
            }
            if size == 480 {
                let look = believed.checks.find("ck-plug-look").expect("a check");
                let row = overlay.rows.iter().find(|row| row.check == look && row.row == 1).expect("it was seen");
                wet.push(row.after[2]);
            }
        }
    }
    let errors = squares.map(f64::sqrt);
    println!(
        "after {sizes:?} jobs: log-odds beside each other off by {errors:.3?}, squares over variances {scores:.2?}, \
         the level off by {:.3?}; wet {wet:.3?}",
        levels.map(f64::sqrt)
    );
    let fall = errors[0] / errors[2];
    assert!((2.0..8.0).contains(&fall), "16 times the jobs, an error {fall} times smaller: {errors:?}");
    assert!(scores.iter().all(|score| (0.1..3.0).contains(score)), "{scores:?}");
    assert!(levels[2] < levels[0], "{levels:?}");
    // Believed .8, true .4.
    assert!(wet.iter().all(|p| (p - 0.4).abs() < 0.15), "{wet:?}");
}

/// The same new jobs, worked by the advice before and after it learned.
#[test]
fn a_shop_that_learned_works_cheaper() {
    let believed = small_engine::knowledge();
    let truth = truth(&believed);
    let records: Vec<Record> = (0..200).filter_map(|n| closed(&believed, &truth, 7, n)).collect();
    let (overlay, _) = taught(&believed, &records, &settings(20.0));
    let mut learned = believed.clone();
    overlay.apply(&mut learned);
    let settings = Advice { worlds: 256, ..Advice::default() };
    let cost = |knowledge: &Knowledge, policy: Policy, jobs: u64| -> Vec<f64> {
        let graph = AccessGraph::new(knowledge);
        let jobs = (0..jobs).filter_map(|number| {
            let drawn = Truth::draw(&truth, &draws(&truth, 8), number)?;
            // The truth has its own network: what is laid out here advises, answers for its checks, and pays.
            let laid = Laid::new(knowledge, drawn.case.craft.clone());
            let mut job = Job::new(&laid, &graph, &drawn);
            work(&mut job, policy, &settings);
            Some(job.money.get())
        });
        jobs.collect()
    };
    let mean = |costs: &[f64]| costs.iter().sum::<f64>() / costs.len() as f64;
    for (policy, jobs) in [(Policy::RepairsOnly, 150), (Policy::Ours, 50)] {
        let [before, after, best] = [&believed, &learned, &truth].map(|knowledge| mean(&cost(knowledge, policy, jobs)));
        println!(
            "{policy:?}: a job cost {before:.0} before and {after:.0} after {} jobs; {best:.0} at the truth",
            records.len()
        );
    }
}

// --- the file -----------------------------------------------------------------------------------------------------

fn some_overlay(knowledge: &Knowledge) -> Overlay {
    let truth = truth(knowledge);
    let records: Vec<Record> = (0..25).filter_map(|n| closed(knowledge, &truth, 3, n)).collect();
    taught(knowledge, &records, &Settings::default()).0
}

#[test]
fn the_file_reads_back_and_moves_what_it_says() {
    let knowledge = small_engine::knowledge();
    let overlay = some_overlay(&knowledge);
    assert!(overlay.causes.len() == 3 && !overlay.rows.is_empty(), "{overlay:?}");
    let written = overlay::write(&overlay, &knowledge);
    let (read, findings) = overlay::read("learned.yaml", written.as_bytes(), &knowledge);
    let read = read.unwrap_or_else(|| panic!("{:?}\n{written}", findings.sorted()));
    assert_eq!(overlay::write(&read, &knowledge), written);
    let mut moved = knowledge.clone();
    read.apply(&mut moved);
    for learned in &read.causes {
        assert!((moved.causes[learned.cause].chance.get() - learned.after.get()).abs() < 1e-12);
    }
    assert_eq!(moved.causes[Ix::new(0)].title, knowledge.causes[Ix::new(0)].title);
}

#[test]
fn what_is_wrong_with_a_file_is_told_with_its_place() {
    let knowledge = small_engine::knowledge();
    let good = overlay::write(&some_overlay(&knowledge), &knowledge);
    let told = |from: &str, to: &str| {
        assert!(good.contains(from), "{from}:\n{good}");
        let text = good.replacen(from, to, 1);
        let (read, findings) = overlay::read("learned.yaml", text.as_bytes(), &knowledge);
        let findings: Vec<String> = findings.sorted().iter().map(ToString::to_string).collect();
        (read.is_some(), findings.join("\n"))
    };
    let cases = [
        ("format: 1", "format: 2", false, "error[L001]: expected format `1`, found `2`\n  --> learned.yaml:2:9"),
        ("id: small-engine", "id: large-engine", false, "L002"),
        ("\"0.1.0\"", "\"0.0.9\"", true, "advice[L003]"),
        ("id: plug-dead", "id: plug-ded", false, "did you mean `plug-dead`?"),
        (
            "before: 0.09",
            "before: 0.08",
            false,
            "error[L006]: `plug-dead` was learned from a chance of `0.08`, the knowledge base has `0.09`",
        ),
        ("after: 0.", "after: 1.", false, "L005"),
        ("dry: 0.85", "dry: 0.75", false, "L006"),
        ("jobs: ", "jops: ", false, "did you mean `jobs`?"),
        ("id: plug-dead", "id: screen-clogged", false, "L008"),
        ("row: 0", "row: 9", false, "L004"),
        ("weight: ", "weight: -", false, "L009"),
    ];
    for (from, to, is_read, words) in cases {
        let (read, findings) = told(from, to);
        assert!(read == is_read && findings.contains(words), "{from} as {to}: {findings}");
    }
}

/// What was learned moves what is believed; `vet` looks at it; the knowledge base stays as it is.
#[test]
fn commands_use_what_was_learned() {
    let folder = tempfile::tempdir().expect("a folder");
    let knowledge = small_engine::knowledge();
    let written = overlay::write(&some_overlay(&knowledge), &knowledge);
    fs::write(folder.path().join("learned.yaml"), &written).expect("it can be written");
    fs::write(folder.path().join("bad.yaml"), written.replace("plug-dead", "plug-ded")).expect("it can be written");
    let case = "format: 1\nknowledge: {id: small-engine}\ncraft: {layout: twin}\nsymptoms: [sy-no-start]\n";
    fs::write(folder.path().join("case.yaml"), case).expect("it can be written");
    let run = |words: &[&str]| {
        let mut command = Command::cargo_bin("doldrum").expect("the program");
        let output =
            command.current_dir(folder.path()).args(words).arg("--knowledge").arg(small_engine::folder()).output();
        let output = output.expect("it runs");
        (
            output.status.code(),
            String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr),
        )
    };
    let (_, plain) = run(&["assess", "case.yaml", "--format", "json"]);
    let (code, learned) = run(&["assess", "case.yaml", "--format", "json", "--quiet", "--learned", "learned.yaml"]);
    assert!(code == Some(0) && plain != learned && learned.starts_with('{'), "{learned}");
    let (_, told) = run(&["assess", "case.yaml", "--learned", "learned.yaml"]);
    assert!(told.contains("with numbers learned from"), "{told}");
    assert_eq!(run(&["vet", "--quick", "--learned", "learned.yaml"]).0, Some(0));
    let (code, told) = run(&["vet", "--learned", "bad.yaml"]);
    assert!(code == Some(1) && told.contains("bad.yaml:") && told.contains("did you mean `plug-dead`?"), "{told}");
    assert_eq!(run(&["assess", "case.yaml", "--learned", "bad.yaml"]).0, Some(65));
}

#[test]
fn every_code_is_in_the_documents() {
    let page = include_str!("../../docs/logbook.md");
    for code in doldrum::logbook::codes::ALL {
        let row = format!("| {} | {} | {} |", code.code, code.means, code.mend);
        assert!(page.contains(&row), "docs/logbook.md lacks `{row}`");
    }
}
