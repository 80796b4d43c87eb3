//! Whether what a screen says of what follows comes about: simulated jobs as the advice works them; after every step the
//! price that was told before it beside what the step cost and the price told after it, and the step that was said to
//! follow beside the one proposed.
//!
//! ```text
//! cargo bench --bench foresight -- --jobs 20 --layout twin-each
//! ```
//!
//! `--seed N` draws other jobs, `--job N` plays one of them, `--steps` prints every step, `--threads N` shares jobs out,
//! `--asked` asks for what follows instead of pricing it.

#![expect(clippy::cast_precision_loss, reason = "a few thousand steps")]

use doldrum::access::AccessGraph;
use doldrum::belief::{Memory, believe_unjudged};
use doldrum::case::{Case, Event};
use doldrum::decision::{Action, Advice, Follow, Settings, advise, complained_of};
use doldrum::inference::Error;
use doldrum::knowledge::layout::Laid;
use doldrum::knowledge::{self, Knowledge};
use doldrum::report::words;
use doldrum::safety::{Before, Safety, outcome_of};
use doldrum::store::built_in;
use doldrum::trial::job::{Job, Standing};
use doldrum::trial::truth::{Draws, Truth};
use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;

/// A job is given up after so many wishes.
const MOST_WISHES: usize = 150;

/// What is asked for on the command line.
struct Asked {
    jobs: u64,
    layout: String,
    seed: u64,
    steps: bool,
    threads: u64,
    job: Option<u64>,
    follow: Follow,
}

impl Asked {
    fn read() -> Self {
        let (layout, follow) = ("twin-each".to_owned(), Follow::Priced);
        let mut asked = Self { jobs: 20, layout, seed: 1, steps: false, threads: 2, job: None, follow };
        let mut words = std::env::args().skip(1);
        while let Some(word) = words.next() {
            let mut number = || words.next().and_then(|n| n.parse().ok()).expect("a number");
            match word.as_str() {
                "--jobs" => asked.jobs = number(),
                "--seed" => asked.seed = number(),
                "--job" => asked.job = Some(number()),
                "--threads" => asked.threads = number(),
                "--asked" => asked.follow = Follow::Asked,
                "--steps" => asked.steps = true,
                "--layout" => asked.layout = words.next().expect("a layout"),
                _ => {}
            }
        }
        asked
    }
}

/// One step, and what was said of it before.
struct Told {
    what: String,
    action: Action,
    /// What it was: `check`, `repair`, `hand-over`.
    kind: &'static str,
    /// Whether an interlock forbade a trial.
    locked: bool,
    /// How many complaints were left.
    complaints: usize,
    /// The price told before it, what it cost, and the price told after it.
    price: f64,
    cost: f64,
    after: f64,
    /// Whether the step that was said to follow is the one proposed; `None` where nothing was said.
    follows: Option<bool>,
    then: String,
    next: String,
}

fn main() -> std::io::Result<()> {
    let asked = Asked::read();
    let knowledge = knowledge::read(&built_in()).0.expect("the built-in base reads");
    let mut jobs: Vec<(u64, Vec<Told>)> = std::thread::scope(|scope| {
        let hands: Vec<_> = (0..asked.threads)
            .map(|hand| {
                let (asked, knowledge) = (&asked, &knowledge);
                scope.spawn(move || {
                    let mine = (hand..asked.jobs).step_by(usize::try_from(asked.threads).expect("a few"));
                    let graph = AccessGraph::new(knowledge);
                    mine.filter(|n| asked.job.is_none_or(|job| job == *n))
                        .map(|n| (n, worked(knowledge, &graph, asked, n).expect("within the limits")))
                        .collect::<Vec<_>>()
                })
            })
            .collect();
        hands.into_iter().flat_map(|hand| hand.join().expect("no panic")).collect()
    });
    jobs.sort_by_key(|(n, _)| *n);
    let mut out = std::io::stdout().lock();
    if asked.steps {
        for (n, steps) in &jobs {
            writeln!(out, "job {n}")?;
            for s in steps {
                let mark = match s.follows {
                    Some(true) => "=".to_owned(),
                    Some(false) => format!("then {} but {}", s.then, s.next),
                    None => String::new(),
                };
                writeln!(
                    out,
                    "  {:>5.0} {:>5.0} {:>5.0} {:>+6.0} {}{} {:<40} {mark}",
                    s.price,
                    s.cost,
                    s.after,
                    s.cost + s.after - s.price,
                    if s.locked { 'L' } else { ' ' },
                    s.complaints,
                    s.what
                )?;
            }
        }
    }
    let mut groups: BTreeMap<String, Vec<&Told>> = BTreeMap::new();
    for told in jobs.iter().flat_map(|(_, steps)| steps) {
        let lock = if told.locked { "locked" } else { "free" };
        let many = if told.complaints > 1 { "several" } else { "one" };
        for key in ["all".to_owned(), format!("{lock} {}", told.kind), format!("{lock} {many}")] {
            groups.entry(key).or_default().push(told);
        }
    }
    writeln!(out, "{:<20} {:>6} {:>10} {:>8} {:>8} {:>14}", "", "steps", "price", "drift", "+-", "then holds")?;
    for (key, steps) in &groups {
        let n = steps.len() as f64;
        let price = steps.iter().map(|s| s.price).sum::<f64>() / n;
        let drift: Vec<f64> = steps.iter().map(|s| s.cost + s.after - s.price).collect();
        let mean = drift.iter().sum::<f64>() / n;
        let var = drift.iter().map(|d| (d - mean) * (d - mean)).sum::<f64>() / (n - 1.0).max(1.0);
        let said: Vec<bool> = steps.iter().filter_map(|s| s.follows).collect();
        let held = said.iter().filter(|h| **h).count();
        let band = 1.96 * (var / n).sqrt();
        writeln!(
            out,
            "{key:<20} {:>6} {price:>10.0} {mean:>+8.1} {band:>8.1} {held:>6} of {:>4}",
            steps.len(),
            said.len()
        )?;
    }
    let ends: Vec<(f64, f64)> = jobs
        .iter()
        .filter(|(_, steps)| !steps.is_empty())
        .map(|(_, steps)| (steps[0].price, steps.iter().map(|s| s.cost).sum()))
        .collect();
    let n = ends.len() as f64;
    let (told, came) = ends.iter().fold((0.0, 0.0), |(a, b), (t, c)| (a + t, b + c));
    writeln!(out, "{} jobs: told at intake {:.0}, came to {:.0}", ends.len(), told / n, came / n)
}

fn worked(knowledge: &Knowledge, graph: &AccessGraph, asked: &Asked, number: u64) -> Result<Vec<Told>, Error> {
    let layouts = vec![knowledge.layouts.find(&asked.layout).expect("a layout of the base")];
    let draws = Draws { seed: asked.seed, layouts, symptoms: vec![], sigma: 0.0, unlisted: 0.0, user: None };
    let Some(truth) = Truth::draw(knowledge, &draws, number) else { return Ok(vec![]) };
    let laid = Laid::new(knowledge, truth.case.craft.clone());
    let mut job = Job::new(&laid, graph, &truth);
    let mut refused: BTreeSet<Action> = BTreeSet::new();
    let mut memory = Memory::default();
    let mut steps: Vec<Told> = Vec::new();
    // What the last screen said would follow.
    let mut said: Option<Action> = None;
    for _ in 0..MOST_WISHES {
        let advice = look(&laid, graph, &job.case, !refused.is_empty(), asked.follow, &mut memory)?;
        let price = price_of(&advice);
        let mut all = std::iter::once(&advice.next).chain(&advice.wanted).chain(&advice.alternatives);
        let free = all.find(|proposal| !refused.contains(&proposal.action));
        let (action, before) =
            free.map_or((Action::HandOver, Before::default()), |p| (p.action.clone(), p.before.clone()));
        if let Some(last) = steps.last_mut() {
            last.after = price;
            last.next = words::action(&laid, &advice.next.action);
            if let Some(said) = said.take() {
                last.then = words::action(&laid, &said);
                last.follows = (!elsewhere(&last.action, &advice.next.action)).then_some(said == advice.next.action);
            }
        }
        let locked = !Safety::of(&laid, graph, &job.case).locks(&laid, graph, &complained_of(&job.case)).is_empty();
        let (money, done) = (job.money, job.steps.len());
        let complaints = complained_of(&job.case).len();
        let standing = job.act(&action, &before);
        steps.push(Told {
            what: job.steps[done..].iter().map(|(what, _)| what.as_str()).collect::<Vec<_>>().join(" "),
            action: action.clone(),
            kind: match action {
                Action::Check(_) => "check",
                Action::Repair(..) | Action::Try(_) => "repair",
                Action::HandOver => "hand-over",
            },
            locked,
            complaints,
            price,
            cost: (job.money - money).get(),
            after: 0.0,
            follows: None,
            then: String::new(),
            next: String::new(),
        });
        match standing {
            Standing::Open => refused.clear(),
            Standing::Barred => {
                refused.insert(action.clone());
            }
            Standing::Cured | Standing::HandedOver => break,
        }
        if job.steps.len() == done + 1 {
            said = free.and_then(|proposal| followed(&laid, &job.case, &action, &proposal.branches));
        }
    }
    Ok(steps)
}

fn look(
    laid: &Laid<'_>,
    graph: &AccessGraph,
    case: &Case,
    many: bool,
    follow: Follow,
    memory: &mut Memory,
) -> Result<Advice, Error> {
    let settings = Settings { alternatives: if many { 20 } else { 0 }, follow, ..Settings::default() };
    let belief = believe_unjudged(laid, case, &settings.limits, memory)?;
    advise(laid, graph, case, &belief, &settings)
}

/// Whether a step is the same check at another place: a screen asks for both.
fn elsewhere(last: &Action, next: &Action) -> bool {
    matches!((last, next), (Action::Check(last), Action::Check(next)) if last.item == next.item && last.at != next.at)
}

/// What the screen says it comes to from here.
fn price_of(advice: &Advice) -> f64 {
    advice.next.expected_cost.get()
}

/// What was said to follow what a step showed.
fn followed(laid: &Laid<'_>, case: &Case, action: &Action, branches: &[doldrum::decision::Branch]) -> Option<Action> {
    let outcome = match action {
        Action::Check(made) => case.log.iter().rev().find_map(|entry| match entry.event {
            Event::Answer { check, answer, .. } if check == made.item => outcome_of(laid, case, check, answer),
            _ => None,
        })?,
        Action::Repair(..) => 1,
        _ => return None,
    };
    branches.iter().find(|branch| branch.outcome == outcome)?.then.clone()
}
