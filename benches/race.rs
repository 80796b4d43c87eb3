//! Our side of the race on the reference networks: one task, one line of JSON. `benches/peer/run` runs both sides.

use std::collections::BTreeSet;
use std::fs;
use std::hint::black_box;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use clap::{Parser, ValueEnum};
use doldrum::inference::{Accuracy, Engine, Event, Limits, OpenCheck, Posterior, Prepared, SetsQuery};
use doldrum::model::network::{Observation, VarIx};
use serde_json::{Value, json};

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
    /// The five most probable sets of what is wanted.
    Best5,
    /// Multiply-adds a second of a warm pass and of `next` against those of a plain loop.
    Roofline,
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
    // Room for XL with every check open; nothing is cut, or `exact` says so.
    let race = Race { engine: engine(&asked), asked, limits: Limits { cells: 1 << 22, ..Limits::default() } };
    if task == Task::Roofline {
        return writeln!(io::stdout(), "{}", race.roofline(&args));
    }
    let laps = race.run(task, &args);
    let peak = peak_mib();
    let line = json!({
        "task": format!("{task:?}").to_lowercase(),
        "count": laps.seconds.len(),
        "median": median(&laps.seconds),
        "min": laps.seconds.iter().copied().fold(f64::INFINITY, f64::min),
        "cpu": laps.cpu,
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
    /// The mean time that this process had the processor; by the wall where the system does not say.
    cpu: f64,
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
            Task::Warm => self.found(args, &self.prepare(&asked.without_changed(), &[asked.changed]), asked.changed),
            Task::Added => {
                let open = if asked.checks.is_empty() { &[asked.added] } else { asked.checks.as_slice() };
                self.found(args, &self.prepare(&asked.sets[0], open), asked.added)
            }
            Task::Next => laps(args, 1, |_| self.next()),
            Task::Best5 => {
                let posterior = self.engine.posterior(&asked.sets[0], &self.limits).expect("there is an answer");
                laps(args, 1, |_| self.best(&posterior))
            }
            Task::Roofline => unreachable!("not repeated like the others"),
        }
    }

    fn cold(&self, observations: &[Observation]) -> Answers {
        self.wanted(&self.prepare(observations, &[]).posterior(&[]).expect("there is an answer"))
    }

    /// Every state of `var` in turn.
    fn found(&self, args: &Args, prepared: &Prepared<'_>, var: VarIx) -> Laps {
        let found = |state| [self.asked.is(var, state)];
        let posterior = |state| prepared.posterior_of(&found(state), &self.asked.read).expect("there is an answer");
        laps(args, self.asked.states(var), |state| self.wanted(&posterior(state)))
    }

    /// With `open`, and whatever is wanted beside roots.
    fn prepare(&self, observations: &[Observation], open: &[VarIx]) -> Prepared<'_> {
        let network = self.engine.network();
        let inner = self.asked.read.iter().filter(|&&var| !network.parents(var).is_empty());
        let open: Vec<VarIx> = inner.chain(open).copied().collect();
        self.engine.prepare(observations, &open, &self.limits).expect("within the limits")
    }

    /// From the evidence, nothing worked out before.
    fn next(&self) -> Answers {
        let asked = &self.asked;
        let prepared = self.prepare_next();
        let checks: Vec<OpenCheck> = asked.checks.iter().map(|&check| OpenCheck::Variable(check)).collect();
        let there: Vec<Event> = asked.read.iter().map(|&cause| Event::is(self.engine.network(), cause, 1)).collect();
        let by_outcome = prepared.by_outcome(&checks, &there).expect("there is an answer");
        (by_outcome.into_targets(), prepared.accuracy() == &Accuracy::Exact)
    }

    /// The chances of the five; exact where they are surely the best. The budget is about that of the interview.
    fn best(&self, posterior: &Posterior) -> Answers {
        let query = SetsQuery { vars: &self.asked.read, slice: 0, k: 5, nodes: 100, candidates: &[] };
        let best = self.engine.best_sets(posterior, &self.asked.sets[0], &query, &self.limits);
        let best = best.expect("there is an answer");
        (best.sets.iter().map(|set| set.chance).collect(), best.settled() >= 5)
    }

    /// With everything open that an unanswered check reads.
    fn prepare_next(&self) -> Prepared<'_> {
        let read = self.asked.checks.iter().flat_map(|&check| self.engine.network().parents(check));
        let open: Vec<VarIx> = read.collect::<BTreeSet<_>>().into_iter().collect();
        self.engine.prepare(&self.asked.sets[0], &open, &self.limits).expect("within the limits")
    }

    /// How near to what the machine can do. The work of `next` is counted as if each state of what the checks read cost a
    /// whole pass.
    fn roofline(&self, args: &Args) -> Value {
        let warm_work = self.prepare(&self.asked.without_changed(), &[self.asked.changed]).work();
        let next_work = self.prepare_next().work() * self.configurations();
        let pass = |work: usize, laps: &Laps| json!({ "work": work, "rate": rate(work, laps.cpu) });
        json!({
            "warm": pass(warm_work, &self.run(Task::Warm, args)),
            "next": pass(next_work, &self.run(Task::Next, args)),
            "loop_rate": plain_loop(warm_work, args.seconds),
        })
    }

    /// Different states of what unanswered checks read.
    fn configurations(&self) -> usize {
        let network = self.engine.network();
        let read: BTreeSet<Vec<VarIx>> = self.asked.checks.iter().map(|&check| network.parents(check)).collect();
        read.iter().map(|parents| parents.iter().map(|&parent| self.asked.states(parent)).product::<usize>()).sum()
    }

    /// The chance of every state but the first of every variable wanted.
    fn wanted(&self, posterior: &Posterior) -> Answers {
        let answers = self.asked.read.iter().flat_map(|&var| &posterior.of(var)[1..]).copied().collect();
        (answers, posterior.accuracy() == &Accuracy::Exact)
    }
}

/// Runs `ask` on block 0, 1 and so on, again and again; each block at least once.
///
/// Answers that are to be kept are asked for before that and go to their file at once: the memory is to be that of the
/// task.
fn laps(args: &Args, blocks: usize, mut ask: impl FnMut(usize) -> Answers) -> Laps {
    if let Some(file) = &args.answers {
        write_answers(file, (0..blocks).map(|block| ask(block).0)).expect("the file can be written");
    }
    let began = Instant::now();
    let enough = |done: usize| match args.repeat {
        Some(repeat) => done >= repeat,
        None => done >= blocks && began.elapsed() >= Duration::from_secs_f64(args.seconds),
    };
    let mut laps = Laps { seconds: vec![], cpu: 0.0, exact: true };
    let cpu = cpu_seconds();
    while !enough(laps.seconds.len()) {
        let lap = laps.seconds.len();
        let start = Instant::now();
        let (_answers, exact) = black_box(ask(lap % blocks));
        laps.seconds.push(start.elapsed().as_secs_f64());
        laps.exact &= exact;
    }
    let used = cpu_seconds().zip(cpu).map(|(after, before)| after - before);
    let used = used.unwrap_or_else(|| laps.seconds.iter().sum());
    laps.cpu = used / f64::from(u32::try_from(laps.seconds.len()).expect("fewer than 2^32 laps"));
    laps
}

/// Multiply-adds a second.
#[expect(clippy::cast_precision_loss, reason = "far fewer than 2^52 multiply-adds")]
fn rate(work: usize, seconds: f64) -> f64 {
    (work as f64 / seconds).round()
}

/// Multiply-adds a second of a plain loop over as many bytes as a pass reads: two numbers for each.
fn plain_loop(work: usize, seconds: f64) -> f64 {
    let (a, b) = (vec![1.5; work.max(16)], vec![0.5; work.max(16)]);
    let began = Instant::now();
    let mut laps = vec![];
    while laps.len() < 3 || began.elapsed().as_secs_f64() < seconds {
        let start = Instant::now();
        black_box(dot(black_box(&a), black_box(&b)));
        laps.push(start.elapsed().as_secs_f64());
    }
    rate(a.len(), median(&laps))
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    let mut sums = [0.0; 16];
    for (a, b) in a.chunks_exact(16).zip(b.chunks_exact(16)) {
        for ((sum, a), b) in sums.iter_mut().zip(a).zip(b) {
            *sum += a * b;
        }
    }
    sums.iter().sum()
}

fn median(seconds: &[f64]) -> f64 {
    let mut sorted = seconds.to_vec();
    sorted.sort_by(f64::total_cmp);
    let middle = sorted.len() / 2;
    if sorted.len() % 2 == 1 { sorted[middle] } else { f64::midpoint(sorted[middle - 1], sorted[middle]) }
}

/// How long this process has had the processor; good to a few milliseconds.
fn cpu_seconds() -> Option<f64> {
    let nanoseconds: f64 = fs::read_to_string("/proc/self/schedstat").ok()?.split(' ').next()?.parse().ok()?;
    Some(nanoseconds / 1e9)
}

/// The most memory this process has held; 0 where the system does not say.
fn peak_mib() -> f64 {
    let status = fs::read_to_string("/proc/self/status").unwrap_or_default();
    let kib = status.lines().find_map(|line| line.strip_prefix("VmHWM:")?.trim().strip_suffix(" kB")?.parse().ok());
    kib.map_or(0.0, |kib: f64| (kib / 1024.0 * 10.0).round() / 10.0)
}

fn write_answers(file: &Path, blocks: impl Iterator<Item = Vec<f64>>) -> io::Result<()> {
    let mut out = io::BufWriter::new(fs::File::create(file)?);
    for answer in blocks.flatten() {
        out.write_all(&answer.to_le_bytes())?;
    }
    out.flush()
}
