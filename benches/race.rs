//! Our side of the race on the reference networks: one task, one line of JSON. `benches/peer/run` runs both sides.

use std::fs;
use std::hint::black_box;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use clap::{Parser, ValueEnum};
use doldrum::inference::{Accuracy, Engine, Limits, Posterior};
use doldrum::model::network::Observation;
use serde_json::json;

#[path = "../tests/suite/oracle_network.rs"]
#[expect(dead_code, reason = "the answers are for the tests")]
#[expect(clippy::cast_possible_truncation, reason = "a network has far fewer than 2^32 variables")]
mod oracle_network;

#[path = "shared/asked.rs"]
#[expect(dead_code, reason = "some of it is for the other benches")]
mod asked;

use asked::Asked;

/// Times one task and prints one line of JSON.
#[derive(Parser)]
struct Args {
    /// An `evidence_*.json` of `benches/peer/networks.py`.
    evidence: Option<PathBuf>,
    task: Option<Task>,
    /// How long to repeat it.
    #[arg(long, default_value_t = 1.0)]
    seconds: f64,
    /// How often to repeat it, however long that takes.
    #[arg(long)]
    repeat: Option<usize>,
    /// Where the answers go: little-endian f64s, in the order that `peer.py` describes.
    #[arg(long)]
    answers: Option<PathBuf>,
    /// What cargo says to every bench.
    #[arg(long, hide = true)]
    bench: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Task {
    /// A network becomes an engine.
    Compile,
    /// The engine is there, the evidence is new.
    Cold,
    /// One answer's outcome changes.
    Warm,
    /// One answer more.
    Added,
    /// Everything wanted for every outcome of every unanswered check.
    Next,
}

fn main() -> io::Result<()> {
    let args = Args::parse();
    let (Some(evidence), Some(task)) = (&args.evidence, args.task) else {
        return writeln!(
            io::stdout(),
            "race: `benches/peer/run` races this against a general library; `cargo bench --bench race -- --help` has \
             the tasks"
        );
    };
    let asked = Asked::from_file(&fs::canonicalize(evidence)?.to_string_lossy());
    let before = peak_mib();
    let race = Race { engine: engine(&asked), asked, limits: Limits::default() };
    let laps = race.run(task, &args);
    let peak = peak_mib();
    if let Some(file) = &args.answers {
        write_answers(file, &laps.answers)?;
    }
    let line = json!({
        "task": format!("{task:?}").to_lowercase(),
        "count": laps.seconds.len(),
        "median": median(&laps.seconds),
        "min": laps.seconds.iter().copied().fold(f64::INFINITY, f64::min),
        "exact": laps.exact,
        "peak_mib": peak,
        "peak_mib_before": before,
    });
    writeln!(io::stdout(), "{line}")
}

fn engine(asked: &Asked) -> Engine {
    Engine::compile(&asked.oracle.network).expect("the network is valid")
}

struct Race {
    asked: Asked,
    engine: Engine,
    limits: Limits,
}

/// What came of repeating a task.
struct Laps {
    seconds: Vec<f64>,
    /// The answers of the first round.
    answers: Vec<f64>,
    exact: bool,
}

/// Answers of one lap, and whether they are exact.
type Answers = (Vec<f64>, bool);

impl Race {
    fn run(&self, task: Task, args: &Args) -> Laps {
        let asked = &self.asked;
        match task {
            Task::Compile => laps(args, 1, |_| {
                black_box(engine(asked));
                (vec![], true)
            }),
            Task::Cold => laps(args, asked.sets.len(), |i| self.cold(&asked.sets[i])),
            Task::Warm => {
                let sets: Vec<_> = (0..asked.states(asked.changed)).map(|s| asked.with_changed(s)).collect();
                laps(args, sets.len(), |i| self.cold(&sets[i]))
            }
            Task::Added => {
                let sets: Vec<_> = (0..asked.states(asked.added)).map(|s| asked.with(asked.added, s)).collect();
                laps(args, sets.len(), |i| self.cold(&sets[i]))
            }
            Task::Next => laps(args, 1, |_| self.next()),
        }
    }

    fn cold(&self, observations: &[Observation]) -> Answers {
        let posterior =
            self.engine.posterior_with(observations, &self.asked.read, &self.limits).expect("there is an answer");
        self.wanted(&posterior)
    }

    fn next(&self) -> Answers {
        let (mut answers, mut exact) = (vec![], true);
        for &check in &self.asked.checks {
            for state in 0..self.asked.states(check) {
                let (given, is_exact) = self.cold(&self.asked.with(check, state));
                answers.extend(given);
                exact &= is_exact;
            }
        }
        (answers, exact)
    }

    /// The chance of every state but the first of every variable wanted.
    fn wanted(&self, posterior: &Posterior) -> Answers {
        let answers = self.asked.read.iter().flat_map(|&var| &posterior.of(var)[1..]).copied().collect();
        (answers, posterior.accuracy() == &Accuracy::Exact)
    }
}

/// Runs `ask` on block 0, 1 and so on, again and again; each block at least once.
fn laps(args: &Args, blocks: usize, mut ask: impl FnMut(usize) -> Answers) -> Laps {
    let began = Instant::now();
    let enough = |done: usize| match args.repeat {
        Some(repeat) => done >= repeat,
        None => done >= blocks && began.elapsed() >= Duration::from_secs_f64(args.seconds),
    };
    let mut laps = Laps { seconds: vec![], answers: vec![], exact: true };
    while !enough(laps.seconds.len()) {
        let lap = laps.seconds.len();
        let start = Instant::now();
        let (answers, exact) = black_box(ask(lap % blocks));
        laps.seconds.push(start.elapsed().as_secs_f64());
        laps.exact &= exact;
        if lap < blocks && args.answers.is_some() {
            laps.answers.extend(answers);
        }
    }
    laps
}

fn median(seconds: &[f64]) -> f64 {
    let mut sorted = seconds.to_vec();
    sorted.sort_by(f64::total_cmp);
    let middle = sorted.len() / 2;
    if sorted.len() % 2 == 1 { sorted[middle] } else { f64::midpoint(sorted[middle - 1], sorted[middle]) }
}

/// The most memory this process has held; 0 where the system does not say.
fn peak_mib() -> f64 {
    let status = fs::read_to_string("/proc/self/status").unwrap_or_default();
    let kib = status.lines().find_map(|line| line.strip_prefix("VmHWM:")?.trim().strip_suffix(" kB")?.parse().ok());
    kib.map_or(0.0, |kib: f64| (kib / 1024.0 * 10.0).round() / 10.0)
}

fn write_answers(file: &Path, answers: &[f64]) -> io::Result<()> {
    fs::write(file, answers.iter().flat_map(|answer| answer.to_le_bytes()).collect::<Vec<u8>>())
}
