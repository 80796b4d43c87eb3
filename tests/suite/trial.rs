//! Simulated jobs: drawn as the model says, worked by the rules, the same for any number of threads.

use crate::{small_base, small_engine, watercraft};
use assert_cmd::Command;
use doldrum::access::AccessGraph;
use doldrum::belief::believe;
use doldrum::case::{Case, Event};
use doldrum::decision::{Action, Settings};
use doldrum::inference::Limits;
use doldrum::knowledge::layout::{Instance, Laid};
use doldrum::knowledge::{Ix, Knowledge, Task};
use doldrum::safety::{Safety, Verdict};
use doldrum::trial::job::{Job, Standing};
use doldrum::trial::policy::{Player, Policy};
use doldrum::trial::truth::{Draws, Truth};
use doldrum::trial::{Setup, Trial};
use std::collections::BTreeSet;

fn draws(seed: u64) -> Draws {
    Draws { seed, layouts: vec![], symptoms: vec![], sigma: 0.0, unlisted: 0.0, user: None }
}

fn run(arguments: &[&str]) -> String {
    let output = Command::cargo_bin("doldrum")
        .expect("the program")
        .args(["trial", "--quiet", "--knowledge"])
        .arg(small_engine::folder())
        .args(arguments)
        .output()
        .expect("it runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).expect("text")
}

#[test]
fn any_number_of_threads_plays_the_same_jobs() {
    let all = Policy::ALL.map(Policy::id).join(",");
    let with = |threads, seed| {
        run(&["--cases", "6", "--threads", threads, "--format", "json", "--seed", seed, "--policy", &all])
    };
    let one = with("1", "5");
    assert_eq!(one, with("3", "5"));
    assert_ne!(one, with("3", "6"));
    let value: serde_json::Value = serde_json::from_str(&one).expect("JSON");
    assert_eq!(value["policies"].as_array().expect("a list").len(), Policy::ALL.len());
    assert_eq!(value["rows"].as_array().expect("a list").len(), 6 * Policy::ALL.len());
}

#[test]
fn rows_go_to_files() {
    let place = tempfile::tempdir().expect("a folder");
    let (csv, json) = (place.path().join("rows.csv"), place.path().join("all.json"));
    let text = run(&[
        "--cases",
        "3",
        "--policy",
        "checklist,chance",
        "--csv",
        csv.to_str().expect("a path"),
        "--json",
        json.to_str().expect("a path"),
    ]);
    assert!(text.contains("Trial: 3 jobs") && text.contains("the checklist"), "{text}");
    let rows = std::fs::read_to_string(csv).expect("written");
    assert_eq!(rows.lines().count(), 1 + 3 * 2);
    let columns = rows.lines().next().expect("a head").split(',').count();
    assert!(rows.lines().all(|line| line.split(',').count() == columns), "{rows}");
    assert!(std::fs::read_to_string(json).expect("written").starts_with('{'));
}

/// Over many jobs the causes are there as often as is believed at intake: jobs are drawn from the very model that beliefs
/// are computed in. Held to four standard errors.
#[test]
fn jobs_are_drawn_from_what_is_believed() {
    drawn_as_believed(&small_engine::knowledge(), &draws(3), 400);
    let knowledge = watercraft::knowledge();
    for layout in ["single", "twin-each"] {
        let layouts = vec![knowledge.layouts.find(layout).expect("a layout")];
        drawn_as_believed(&knowledge, &Draws { layouts, ..draws(3) }, 120);
    }
}

fn drawn_as_believed(knowledge: &Knowledge, draws: &Draws, jobs: u64) {
    let limits = Limits::default();
    let (mut surplus, mut variance) = (0.0, 0.0);
    for number in 0..jobs {
        let Some(truth) = Truth::draw(knowledge, draws, number) else { continue };
        let laid = Laid::new(knowledge, truth.case.craft.clone());
        for cause in believe(&laid, &truth.case, &limits).expect("within the limits").causes {
            surplus += f64::from(u8::from(truth.has(cause.cause))) - cause.chance;
            variance += cause.chance * (1.0 - cause.chance);
        }
    }
    println!("{surplus} more than believed, standard error {}", variance.sqrt());
    assert!(variance > 10.0 && surplus.abs() < 4.0 * variance.sqrt(), "{surplus} of {variance}");
}

/// A cause of its own for each of two repairs; no leak, no slip, so that a job ends when its cause is repaired.
fn two_faults() -> Knowledge {
    let causes = "
- {id: flat, title: Flat, chance: 0.1, basis: estimate}
- {id: dirty, title: Dirty, chance: 0.2, basis: estimate}
";
    let symptoms = "
- {id: sy-fails, title: Fails, says: [Fails], share: 100, any: [{from: flat, strength: 1}, {from: dirty, strength: 1}], leak: 0, named: {present: 1, absent: 0}, basis: estimate}
";
    let repairs = "
- {id: rm-charge, title: Charge, removes: {flat: 1}, minutes: 30, skill: 1, steps: [{do: Charge}], basis: estimate}
- {id: rm-clean, title: Clean, removes: {dirty: 1}, minutes: 20, parts: [{item: rag, count: 1, each: 5, basis: estimate}], skill: 1, steps: [{do: Clean}], basis: estimate}
";
    let checks = "
- {id: ck-look, title: Look, ask: Dirty?, how: [Look], outcomes: [clean, dirty], given: [{when: {dirty: true}, chances: {clean: 0, dirty: 1}}, {chances: {clean: 1, dirty: 0}}], cost: {minutes: 1}, skill: 1, basis: estimate}
";
    let checklist = "
- {symptom: sy-fails, steps: [ck-look, rm-charge], basis: estimate}
- {check: ck-look, finds: {dirty: [rm-clean]}, basis: estimate}
";
    let files = [
        ("causes", causes),
        ("symptoms", symptoms),
        ("repairs", repairs),
        ("checks", checks),
        ("checklist", checklist),
    ];
    small_base::read(0.0, 500.0, &files)
}

#[test]
fn a_job_costs_what_its_steps_cost_and_ends_when_its_cause_is_gone() {
    let knowledge = two_faults();
    let policies = Policy::ALL.to_vec();
    let draws = Draws { layouts: vec![Ix::new(0)], ..draws(1) };
    let settings = Settings { worlds: 256, ..Settings::default() };
    let trial = Trial::new(&knowledge, Setup { draws, policies, settings });
    let mut seen: BTreeSet<Vec<String>> = BTreeSet::new();
    for number in 0..25 {
        for record in trial.play(number).expect("within the limits") {
            let sum: f64 = record.steps.iter().map(|(_, cost)| cost).sum();
            assert!((sum - record.money.get()).abs() < 1e-9, "{record:?}");
            if record.policy == Policy::Chance {
                continue;
            }
            assert!(record.is_cured(), "{record:?}");
            // Its labor is a unit of money a minute.
            let paid = |what: &str| record.steps.iter().filter(|(step, _)| step == what).map(|(_, c)| c).sum::<f64>();
            let dirty = record.causes.contains(&"dirty".to_owned());
            let flat = record.causes.contains(&"flat".to_owned());
            if record.policy == Policy::Checklist {
                assert!((paid("rm-clean") - if dirty { 25.0 } else { 0.0 }).abs() < 1e-9, "{record:?}");
                assert!((paid("rm-charge") - if flat { 30.0 } else { 0.0 }).abs() < 1e-9, "{record:?}");
                assert!(record.needless_parts.get() == 0.0, "{record:?}");
            }
            seen.insert(record.causes);
        }
    }
    assert!(seen.len() >= 2, "both causes are met: {seen:?}");
}

/// A fault that is not listed stays whatever is repaired: only handing over ends such a job.
#[test]
fn a_fault_that_is_not_listed_is_handed_over() {
    let knowledge = small_engine::knowledge();
    let setup = Setup {
        draws: Draws { unlisted: 1.0, ..draws(2) },
        policies: vec![Policy::Checklist, Policy::RepairsOnly],
        settings: Settings::default(),
    };
    let trial = Trial::new(&knowledge, setup);
    for number in 0..5 {
        for record in trial.play(number).expect("within the limits") {
            assert!(!record.unlisted.is_empty() && !record.is_cured(), "{record:?}");
            assert_eq!(record.steps.last().map(|(step, _)| step.as_str()), Some("hand-over"));
        }
    }
}

/// With the truth off the knowledge other jobs are drawn; without, the same.
#[test]
fn noise_moves_the_truth_only_where_it_is_asked_for() {
    let knowledge = small_engine::knowledge();
    let causes = |sigma: f64| -> Vec<bool> {
        (0..60)
            .filter_map(|number| Truth::draw(&knowledge, &Draws { sigma, ..draws(4) }, number))
            .flat_map(|truth| {
                (0..knowledge.causes.len()).map(move |c| truth.has(Instance::new(Ix::new(c), 0))).collect::<Vec<_>>()
            })
            .collect()
    };
    assert_eq!(causes(0.0), causes(0.0));
    assert_ne!(causes(0.0), causes(1.0));
}

/// What is in the log of a job was allowed when it was done, with what stood before it done: read from the log alone.
fn obeyed(laid: &Laid<'_>, graph: &AccessGraph, case: &Case) {
    let mut so_far = Case { log: Vec::new(), ..case.clone() };
    for entry in &case.log {
        let action = match &entry.event {
            Event::Answer { check, place, .. } => Some(Action::Check(Instance::new(*check, place.unwrap_or(0)))),
            Event::Repaired { repair, places } => Some(Action::Repair(*repair, places.clone())),
            _ => None,
        };
        if let Some(action) = action {
            let open = graph.open_now(laid, &so_far);
            match Safety::of(laid, graph, &so_far).judge(laid, graph, &so_far, &open, &action) {
                Verdict::May(before) => {
                    assert!(before.close.is_none() && before.ticks.is_empty(), "{action:?}: {before:?}");
                }
                Verdict::Barred { why, .. } => panic!("{action:?}: {why}"),
            }
        }
        so_far.log.push(entry.clone());
    }
}

#[test]
fn policies_obey_the_interlocks() {
    let knowledge = watercraft::knowledge();
    let graph = watercraft::graph(&knowledge);
    let twin = knowledge.layouts.find("twin-each").expect("a layout");
    let mut checks = 0;
    for number in 0..8 {
        let draws = Draws { layouts: vec![twin], ..draws(9) };
        let truth = Truth::draw(&knowledge, &draws, number).expect("a job");
        let laid = Laid::new(&knowledge, truth.case.craft.clone());
        for policy in [Policy::Checklist, Policy::Chance] {
            let mut job = Job::new(&laid, &graph, &truth);
            let mut player = Player::new(policy, &job);
            let mut refused = BTreeSet::new();
            for _ in 0..60 {
                let choice = player.choose(&job, &refused, &Settings::default()).expect("no belief is asked for");
                match job.act(&choice.action, &choice.before) {
                    Standing::Barred => {
                        refused.insert(choice.action);
                    }
                    Standing::Open => refused.clear(),
                    Standing::Cured | Standing::HandedOver => break,
                }
            }
            checks += job.checks;
            obeyed(&laid, &graph, &job.case);
        }
    }
    assert!(checks > 50, "only {checks} checks were made");
}

/// The checklist of the built-in knowledge base: an order for every symptom that begins with looks and comes to repairs.
#[test]
fn the_checklist_knows_every_symptom() {
    let knowledge = watercraft::knowledge();
    for (ix, symptom) in knowledge.symptoms.iter() {
        let order = knowledge.checklist.order(ix);
        let id = knowledge.symptoms.id(ix);
        assert!(matches!(order.first(), Some(Task::Check(_))), "{id}");
        assert!(order.iter().any(|task| matches!(task, Task::Repair(_))), "{id}");
        for check in &symptom.first_moves {
            let title = &knowledge.checks[*check].title;
            assert!(order.contains(&Task::Check(*check)), "{id}: its first move is left out: {title}");
        }
    }
}

#[test]
fn what_is_misspelled_is_told_with_its_nearest() {
    for (arguments, words) in [
        (["--policy", "check-list"], "did you mean `checklist`?"),
        (["--layout", "twins"], "expected a layout of the knowledge base after --layout, found `twins`"),
        (["--symptom", "sy-no-strat"], "did you mean `sy-no-start`?"),
        (["--noise", "7"], "expected 0 to 3, found `7`"),
    ] {
        let output = Command::cargo_bin("doldrum")
            .expect("the program")
            .args(["trial", "--knowledge"])
            .arg(small_engine::folder())
            .args(arguments)
            .output()
            .expect("it runs");
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{said}");
        assert!(said.contains(words), "{said}");
    }
}

/// What was believed is read when the advice stops looking and at the end, of the jobs with a listed fault.
#[test]
fn where_the_true_cause_stood_is_read_twice() {
    let all = run(&["--cases", "14", "--policy", "ours", "--format", "json", "--seed", "5", "--unlisted", "0.4"]);
    let value: serde_json::Value = serde_json::from_str(&all).expect("JSON");
    let rows = value["rows"].as_array().expect("a list");
    let empty = |row: &serde_json::Value, key: &str| row[key].as_array().expect("a list").is_empty();
    let listed = rows.iter().filter(|row| empty(row, "unlisted") && !empty(row, "causes")).count() as u64;
    let beliefs = &value["beliefs"];
    let ranks = beliefs["ranks"].as_array().expect("a list");
    let jobs = |rank: &serde_json::Value| rank["jobs"].as_u64().expect("a count");
    assert_eq!((ranks[0]["when"].as_str(), jobs(&ranks[0])), (Some("stopped"), listed));
    assert_eq!((ranks[1]["when"].as_str(), jobs(&ranks[1])), (Some("ended"), listed));
    assert_eq!(ranks[2..].iter().map(jobs).sum::<u64>(), listed, "each job ended somehow");
    for rank in ranks {
        let share = |key: &str| rank[key]["share"].as_f64().expect("a share");
        assert!(share("first") <= share("among_three") && share("repair_first") <= share("repair_among_three"));
        assert!(share("first") <= share("repair_first"), "a cause goes with itself: {rank}");
    }
    // Once all is told the true cause stands no lower on average: a cure names what was cured.
    let place = |row: &serde_json::Value, key: &str| row[key].as_u64();
    let pairs: Vec<(u64, u64)> = rows
        .iter()
        .filter(|row| row["cured"] == true)
        .filter_map(|row| Some((place(row, "rank_by_repair")?, place(row, "end_rank_by_repair")?)))
        .collect();
    assert!(pairs.iter().map(|p| p.1).sum::<u64>() <= pairs.iter().map(|p| p.0).sum::<u64>(), "{pairs:?}");
    // What is not listed is thought of more where it is.
    let mean = |unlisted: bool| {
        let of: Vec<f64> = rows
            .iter()
            .filter(|row| empty(row, "unlisted") != unlisted)
            .filter_map(|row| row["beyond"].as_f64())
            .collect();
        of.iter().sum::<f64>() / of.len() as f64
    };
    println!("beyond the list: {} where it is, {} where it is not", mean(true), mean(false));
    assert!(mean(true) > mean(false) + 0.05, "{} and {}", mean(true), mean(false));
}
