//! How often the next step stays what it is when every number of the knowledge base is off: simulated jobs as the advice
//! works them, at intake and after every few steps.
//!
//! ```text
//! cargo bench --bench steady -- --jobs 12 --draws 10 --layout twin-each
//! ```
//!
//! `--seed N` draws other jobs.

#![expect(clippy::cast_precision_loss, reason = "a few draws")]

use doldrum::access::AccessGraph;
use doldrum::belief::believe;
use doldrum::case::Case;
use doldrum::decision::steady::{Steadiness, steadiness};
use doldrum::decision::{Action, Settings, advise};
use doldrum::inference::Error;
use doldrum::knowledge::layout::Laid;
use doldrum::knowledge::{self, Knowledge};
use doldrum::store::built_in;
use doldrum::trial::job::{Job, Standing};
use doldrum::trial::policy::{Player, Policy};
use doldrum::trial::stats::share;
use doldrum::trial::truth::{Draws, Truth};
use std::collections::BTreeSet;
use std::io::Write;

/// How far the numbers are off, in log-odds.
const SIGMAS: [f64; 2] = [0.5, 1.0];
/// A job is looked at again after so many steps.
const EVERY: usize = 6;

/// What is asked for on the command line.
struct Asked {
    jobs: u64,
    draws: usize,
    layout: String,
    seed: u64,
}

impl Asked {
    fn read() -> Self {
        let mut asked = Self { jobs: 12, draws: 10, layout: "twin-each".to_owned(), seed: 1 };
        let mut words = std::env::args().skip(1);
        while let Some(word) = words.next() {
            let mut number = || words.next().and_then(|n| n.parse().ok()).expect("a number");
            match word.as_str() {
                "--jobs" => asked.jobs = number(),
                "--draws" => asked.draws = usize::try_from(number()).expect("a few"),
                "--seed" => asked.seed = number(),
                "--layout" => asked.layout = words.next().expect("a layout"),
                _ => {}
            }
        }
        asked
    }
}

/// How often each thing stayed, over situations.
#[derive(Default)]
struct Count {
    draws: usize,
    leader: usize,
    next: usize,
    near: usize,
    /// By what share the step was dearer than the best, summed over draws.
    regret: f64,
}

impl Count {
    fn add(&mut self, steady: &Steadiness) {
        self.draws += steady.draws;
        self.leader += steady.leader;
        self.next += steady.next;
        self.near += steady.near;
        self.regret += steady.regret * steady.draws as f64;
    }
}

fn main() -> std::io::Result<()> {
    let asked = Asked::read();
    let knowledge = knowledge::read(&built_in()).0.expect("the built-in base reads");
    let graph = AccessGraph::new(&knowledge);
    let mut counts: [Count; 2] = Default::default();
    let mut situations = 0;
    for number in 0..asked.jobs {
        for case in situations_of(&knowledge, &graph, &asked, number).expect("within the limits") {
            situations += 1;
            let steady = shaken(&knowledge, &graph, &case, asked.draws).expect("within the limits");
            counts.iter_mut().zip(&steady).for_each(|(count, steady)| count.add(steady));
        }
    }
    let mut out = std::io::stdout().lock();
    writeln!(out, "{situations} situations, {}; {} draws each", asked.layout, asked.draws)?;
    writeln!(out, "sigma  leader stays     next step stays  within 5%        dearer than the best")?;
    for (sigma, count) in SIGMAS.iter().zip(&counts) {
        let cell = |n: usize| {
            let of = share(n, count.draws);
            format!("{:.1}% ({:.0}-{:.0})", 100.0 * of.share, 100.0 * of.low, 100.0 * of.high)
        };
        let regret = 100.0 * count.regret / count.draws.max(1) as f64;
        let cells = [count.leader, count.next, count.near].map(cell);
        writeln!(out, "{sigma:<6} {:<16} {:<16} {:<16} {regret:.2}%", cells[0], cells[1], cells[2])?;
    }
    Ok(())
}

/// The job as the advice works it: at intake and after every few steps.
fn situations_of(knowledge: &Knowledge, graph: &AccessGraph, asked: &Asked, number: u64) -> Result<Vec<Case>, Error> {
    let layouts = vec![knowledge.layouts.find(&asked.layout).expect("a layout of the base")];
    let draws = Draws { seed: asked.seed, layouts, symptoms: vec![], sigma: 0.0, unlisted: 0.0, user: None };
    let Some(truth) = Truth::draw(knowledge, &draws, number) else { return Ok(vec![]) };
    let laid = Laid::new(knowledge, truth.case.craft.clone());
    let mut job = Job::new(&laid, graph, &truth);
    let mut player = Player::new(Policy::Ours, &job);
    let mut refused: BTreeSet<Action> = BTreeSet::new();
    let mut situations = Vec::new();
    for step in 0..4 * EVERY {
        if step % EVERY == 0 {
            situations.push(job.case.clone());
        }
        let choice = player.choose(&job, &refused, &Settings::default())?;
        match job.act(&choice.action, &choice.before) {
            Standing::Open => refused.clear(),
            Standing::Barred => {
                refused.insert(choice.action);
            }
            Standing::Cured | Standing::HandedOver => break,
        }
    }
    Ok(situations)
}

fn shaken(knowledge: &Knowledge, graph: &AccessGraph, case: &Case, draws: usize) -> Result<Vec<Steadiness>, Error> {
    let laid = Laid::new(knowledge, case.craft.clone());
    let settings = Settings::default();
    let belief = believe(&laid, case, &settings.limits)?;
    let advice = advise(&laid, graph, case, &belief, &settings)?;
    steadiness(&laid, graph, case, (&belief, &advice), &settings, (&SIGMAS, draws))
}
