//! `doldrum trial`: simulated jobs, worked by several policies side by side.

use crate::cli::args::{Common, Format, Trial as Arguments};
use crate::cli::out::{Failure, print, print_document};
use crate::cli::{Exit, load};
use crate::decision::Settings;
use crate::finding::nearest;
use crate::knowledge::{Items, Ix, Knowledge, User};
use crate::report::{self, Figures};
use crate::store;
use crate::trial::policy::Policy;
use crate::trial::stats::summary;
use crate::trial::truth::Draws;
use crate::trial::{Record, Setup, Trial};
use std::io::{self, IsTerminal, Write};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};
use std::thread;
use std::time::Instant;

/// Plays the jobs and prints what they come to.
///
/// # Errors
/// Where an option names what is not there, a file cannot be written, or the network is too wide.
pub fn run(args: &Arguments, common: &Common) -> Result<Exit, Failure> {
    let knowledge = load::knowledge(common)?;
    let policies = policies(&args.policy)?;
    let draws = Draws {
        seed: common.seed,
        layouts: find(&knowledge.layouts, &args.layout, "a layout", "--layout")?,
        symptoms: find(&knowledge.symptoms, &args.symptom, "a symptom", "--symptom")?,
        sigma: args.noise,
        unlisted: args.unlisted,
        user: named(&knowledge.users, args.user.as_deref())?,
    };
    let settings = Settings { seed: common.seed, ..Settings::default() };
    let trial = Trial::new(&knowledge, Setup { draws, policies, settings });
    stop_in_order_on_ctrl_c();
    let jobs = play(&trial, args.cases, threads(args), Progress::of(common, args.cases))?;
    let dealt = jobs.len();
    let summary = summary(&jobs, trial.policies());
    let records: Vec<Record> = jobs.into_iter().flatten().collect();
    let told = told(args, common, &knowledge, dealt);
    if let Some(path) = &args.csv {
        store::write(path, &report::trial_csv(&records))?;
    }
    let json = || report::trial_json(&summary, &records, &told);
    if let Some(path) = &args.json {
        store::write(path, &json())?;
    }
    match args.format {
        Format::Json => print(&json())?,
        format => {
            print_document(&report::trial(&summary, &told, &Figures::new(&knowledge, common.units.into())), format)?;
        }
    }
    Ok(if dealt < args.cases { Exit::Interrupted } else { Exit::Done })
}

/// Set by Ctrl-C: no more jobs are begun.
static STOPPED: AtomicBool = AtomicBool::new(false);

/// From here on Ctrl-C ends a trial in order: what was played is worth the wait for the jobs under way. A second one ends
/// it at once.
fn stop_in_order_on_ctrl_c() {
    let _ = ctrlc::set_handler(|| {
        if STOPPED.swap(true, Ordering::Relaxed) {
            end_at_once();
        }
        let _ =
            writeln!(anstream::stderr(), "\nThe jobs under way are played to their end; Ctrl-C again ends at once.");
    });
}

/// Ends the program by a signal that nobody waits for.
#[cfg(unix)]
fn end_at_once() {
    use rustix::process::{Signal, getpid, kill_process};
    let _ = kill_process(getpid(), Signal::TERM);
}

/// Elsewhere the jobs under way are waited for.
#[cfg(not(unix))]
fn end_at_once() {}

/// What was played, in a sentence.
fn told(args: &Arguments, common: &Common, knowledge: &Knowledge, dealt: usize) -> String {
    let stopped =
        if dealt < args.cases { format!(", stopped after {dealt} of {} jobs", args.cases) } else { String::new() };
    let some = |ids: &[String], all: &str| if ids.is_empty() { all.to_owned() } else { ids.join(", ") };
    let noise = if args.noise > 0.0 { format!(", truth off by {} in log-odds", args.noise) } else { String::new() };
    let unlisted =
        if args.unlisted > 0.0 { format!(", faults not listed in {} of jobs", args.unlisted) } else { String::new() };
    let user = args.user.as_ref().map(|user| format!(", worked by {user}")).unwrap_or_default();
    format!(
        "{} {}, layouts: {}; symptoms: {}; seed {}{noise}{unlisted}{user}{stopped}.",
        knowledge.id,
        knowledge.version,
        some(&args.layout, "all"),
        some(&args.symptom, "any"),
        common.seed
    )
}

/// The policies asked for; the advice first where it is among them, for the others are compared with it.
fn policies(named: &[String]) -> Result<Vec<Policy>, Failure> {
    if named.is_empty() {
        return Ok(Policy::ALL
            .into_iter()
            .filter(|policy| !matches!(policy, Policy::OursTwoSteps | Policy::OursSearch))
            .collect());
    }
    let ids = || Policy::ALL.iter().map(|policy| policy.id());
    let mut policies = Vec::new();
    for name in named {
        let Some(policy) = Policy::ALL.into_iter().find(|policy| policy.id() == name) else {
            let near = nearest(name, ids()).map(|n| format!("; did you mean `{n}`?")).unwrap_or_default();
            let known = ids().collect::<Vec<_>>().join(", ");
            return Err(Failure::Usage(format!("expected one of {known} after --policy, found `{name}`{near}")));
        };
        if !policies.contains(&policy) {
            policies.push(policy);
        }
    }
    policies.sort_by_key(|policy| Policy::ALL.iter().position(|known| known == policy));
    Ok(policies)
}

/// The items of these ids.
///
/// # Errors
/// Where there is none of an id.
pub fn find<T>(items: &Items<T>, named: &[String], what: &str, option: &str) -> Result<Vec<Ix<T>>, Failure> {
    let one = |id: &String| {
        items.find(id).ok_or_else(|| {
            let near = nearest(id, items.ids()).map(|n| format!("; did you mean `{n}`?")).unwrap_or_default();
            Failure::Usage(format!("expected {what} of the knowledge base after {option}, found `{id}`{near}"))
        })
    };
    named.iter().map(one).collect()
}

fn named(users: &Items<User>, id: Option<&str>) -> Result<Option<Ix<User>>, Failure> {
    let named: Vec<String> = id.map(str::to_owned).into_iter().collect();
    Ok(find(users, &named, "a user", "--for")?.first().copied())
}

fn threads(args: &Arguments) -> usize {
    args.threads.unwrap_or_else(|| thread::available_parallelism().map_or(1, usize::from)).max(1)
}

/// Plays all jobs, or the first of them until Ctrl-C; which thread plays which changes nothing.
fn play(trial: &Trial<'_>, jobs: usize, threads: usize, progress: Progress) -> Result<Vec<Vec<Record>>, Failure> {
    let next = AtomicUsize::new(0);
    let failed = AtomicBool::new(false);
    let done: Mutex<(Vec<Option<Vec<Record>>>, Progress)> = Mutex::new((vec![None; jobs], progress));
    let errors: Mutex<Vec<String>> = Mutex::new(Vec::new());
    thread::scope(|scope| {
        let work = || {
            while !failed.load(Ordering::Relaxed) && !STOPPED.load(Ordering::Relaxed) {
                let job = next.fetch_add(1, Ordering::Relaxed);
                if job >= jobs {
                    break;
                }
                match trial.play(job as u64) {
                    Ok(records) => {
                        let mut done = done.lock().unwrap_or_else(PoisonError::into_inner);
                        done.0[job] = Some(records);
                        done.1.step();
                    }
                    Err(error) => {
                        errors.lock().unwrap_or_else(PoisonError::into_inner).push(error.to_string());
                        failed.store(true, Ordering::Relaxed);
                    }
                }
            }
        };
        // Where the system gives no more threads, those there are play all the jobs: this one always does.
        for _ in 1..threads.min(jobs) {
            if thread::Builder::new().spawn_scoped(scope, work).is_err() {
                break;
            }
        }
        work();
    });
    let (records, mut progress) = done.into_inner().unwrap_or_else(PoisonError::into_inner);
    progress.end();
    if let Some(error) = errors.into_inner().unwrap_or_else(PoisonError::into_inner).into_iter().next() {
        return Err(Failure::Stuck(error));
    }
    // Every job begun was played to its end: they are the first ones, without a gap.
    Ok(records.into_iter().map_while(|records| records).collect())
}

/// A bar on standard error, where that is a terminal.
struct Progress {
    shown: bool,
    done: usize,
    all: usize,
    began: Instant,
    drawn: Option<Instant>,
}

/// The width of the bar.
const BAR: usize = 30;

impl Progress {
    fn of(common: &Common, all: usize) -> Self {
        let shown = !common.quiet && io::stderr().is_terminal();
        Self { shown, done: 0, all, began: Instant::now(), drawn: None }
    }

    fn step(&mut self) {
        self.done += 1;
        // Ten times a second is as often as an eye sees.
        if !self.shown || self.drawn.is_some_and(|at| at.elapsed().as_millis() < 100) {
            return;
        }
        self.drawn = Some(Instant::now());
        let filled = BAR * self.done / self.all.max(1);
        let left = self.began.elapsed().as_secs() * (self.all - self.done) as u64 / self.done.max(1) as u64;
        let _ = write!(
            anstream::stderr(),
            "\r{}{}  {} of {} jobs, {} s left ",
            "█".repeat(filled),
            "░".repeat(BAR - filled),
            self.done,
            self.all,
            left
        );
    }

    fn end(&mut self) {
        if self.shown && self.drawn.is_some() {
            let _ = write!(anstream::stderr(), "\r{}\r", " ".repeat(BAR + 50));
        }
    }
}
