//! How near the posteriors under the default limits are to exact, and what they cost: every symptom of the built-in
//! knowledge base, with answers and with a failed repair among them, for one, two and three cylinders.
//!
//! ```text
//! cargo bench --bench accuracy -- --cylinders 2 --symptom sy-bogs --keep truths.json
//! ```
//!
//! `--seed N` draws other crafts, `--keep FILE` keeps what is true in a file, so that the cuts can be tried again in
//! seconds, `--bits N` sets the budget to 2^N cells, `--rounds N` the rounds of messages, `--links` lists what was cut and
//! the causes most in error.
//! `--sampler N` compares with N draws of a sampler that shares no cuts with the rest, where that is narrow enough.

#![expect(clippy::cast_precision_loss, reason = "a few dozen cases")]

use doldrum::inference::{Accuracy, CutLink, Engine, Limits, Posterior};
use doldrum::knowledge::layout::Laid;
use doldrum::knowledge::{self, Knowledge};
use doldrum::model::compile::{CaseModel, compile};
use doldrum::model::network::Observation;
use doldrum::store::built_in;
use std::io::Write;
use std::time::Instant;

#[path = "accuracy/cases.rs"]
mod cases;
#[path = "accuracy/sampler.rs"]
mod sampler;
#[path = "accuracy/truth.rs"]
mod truth;

use cases::Situation;
use truth::{Kept, Truth};

/// The layouts measured, by number of cylinders.
const LAYOUTS: [&str; 3] = ["single", "twin-each", "triple-each"];
/// How often a posterior is timed; the least counts.
const TIMINGS: usize = 5;

/// What is asked for on the command line.
struct Asked {
    cylinders: Vec<usize>,
    symptom: Option<String>,
    seed: u64,
    keep: Option<String>,
    bits: Option<f64>,
    rounds: Option<usize>,
    draws: Option<usize>,
    links: bool,
}

impl Asked {
    fn read() -> Self {
        let mut asked = Self {
            cylinders: vec![1, 2, 3],
            symptom: None,
            seed: 1,
            keep: None,
            bits: None,
            rounds: None,
            draws: None,
            links: false,
        };
        let mut words = std::env::args().skip(1);
        while let Some(word) = words.next() {
            let mut value = || words.next().unwrap_or_else(|| panic!("expected a value after `{word}`"));
            match word.as_str() {
                "--cylinders" => asked.cylinders = vec![value().parse().expect("expected a number of cylinders")],
                "--symptom" => asked.symptom = Some(value()),
                "--seed" => asked.seed = value().parse().expect("expected a seed"),
                "--keep" => asked.keep = Some(value()),
                "--bits" => asked.bits = Some(value().parse().expect("expected a number of bits")),
                "--rounds" => asked.rounds = Some(value().parse().expect("expected a number of rounds")),
                "--sampler" => asked.draws = Some(value().parse().expect("expected a number of draws")),
                "--links" => asked.links = true,
                _ => {}
            }
        }
        asked
    }

    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a power of two below 2^53")]
    fn limits(&self) -> Limits {
        let limits = Limits::default();
        Limits {
            cells: self.bits.map_or(limits.cells, |bits| libm::exp2(bits) as usize),
            rounds: self.rounds.unwrap_or(limits.rounds),
            ..limits
        }
    }
}

fn main() {
    let asked = Asked::read();
    let (knowledge, _) = knowledge::read(&built_in());
    let knowledge = knowledge.expect("the built-in knowledge base is sound");
    let mut kept = Kept::open(asked.keep.as_deref());
    let mut out = std::io::stdout();
    for &cylinders in &asked.cylinders {
        table(&mut out, &knowledge, &asked, cylinders, &mut kept).expect("standard output takes a table");
    }
}

/// One line of the table.
struct Line {
    cells: f64,
    cut: usize,
    milliseconds: f64,
    largest: f64,
    mean: f64,
}

fn table(
    out: &mut impl Write,
    knowledge: &Knowledge,
    asked: &Asked,
    cylinders: usize,
    kept: &mut Kept,
) -> std::io::Result<()> {
    let laid = Laid::new(knowledge, cases::craft(knowledge, LAYOUTS[cylinders - 1]));
    writeln!(out, "\n{cylinders} cylinder(s), seed {}\n", asked.seed)?;
    writeln!(out, "| symptom | log | cells | cut | ms | largest error | mean error | truth |")?;
    writeln!(out, "| --- | --- | ---: | ---: | ---: | ---: | ---: | --- |")?;
    let mut lines = Vec::new();
    for situation in Situation::ALL {
        for (symptom, item) in knowledge.symptoms.iter() {
            let id = knowledge.symptoms.id(symptom);
            if asked.symptom.as_ref().is_some_and(|only| only != id) || !laid.fits(&item.fitted) {
                continue;
            }
            let model = compile(&laid, &cases::case(&laid, symptom, situation, asked.seed));
            let engine = Engine::compile(&model.network).expect("the model compiles");
            let truth = kept.truth(&format!("{cylinders} {id} {} {}", situation.words(), asked.seed), &engine, &model);
            let (line, posterior) = line(asked, &engine, &model, &truth);
            writeln!(
                out,
                "| `{id}` | {} | 2^{:.1} | {} | {:.2} | {} | {} | {} |",
                situation.words(),
                libm::log2(line.cells),
                line.cut,
                line.milliseconds,
                figure(line.largest),
                figure(line.mean),
                truth.words
            )?;
            if asked.links {
                links(out, &model, &posterior, &truth)?;
            }
            if let Some(draws) = asked.draws {
                sampled(out, &engine, &model, &posterior, &truth, draws)?;
            }
            lines.push(line);
        }
    }
    for (name, pick) in [("median", 0.5), ("worst", 1.0)] {
        let at = |of: fn(&Line) -> f64| quantile(lines.iter().map(of).collect(), pick);
        writeln!(
            out,
            "| {name} | | 2^{:.1} | {:.0} | {:.2} | {} | {} | |",
            at(|l| libm::log2(l.cells)),
            at(|l| l.cut as f64),
            at(|l| l.milliseconds),
            figure(at(|l| l.largest)),
            figure(at(|l| l.mean)),
        )?;
    }
    Ok(())
}

fn line(asked: &Asked, engine: &Engine, model: &CaseModel, truth: &Truth) -> (Line, Posterior) {
    let observations: Vec<Observation> = model.evidence();
    let limits = asked.limits();
    let mut times = Vec::new();
    let mut last = None;
    for _ in 0..TIMINGS {
        let (start, start_on_core) = (Instant::now(), seconds_on_core());
        last = Some(engine.posterior(&observations, &limits).expect("within the limits"));
        let wall = start.elapsed().as_secs_f64();
        let on_core = seconds_on_core().zip(start_on_core).map(|(end, start)| end - start);
        times.push(on_core.unwrap_or(wall) * 1e3);
    }
    let posterior = last.expect("timed at least once");
    let errors: Vec<f64> =
        truth::chances(model, &posterior).iter().zip(&truth.chances).map(|(a, b)| (a - b).abs()).collect();
    let cut = match posterior.accuracy() {
        Accuracy::Exact => 0,
        Accuracy::Cut { links, .. } => links.len(),
    };
    let line = Line {
        cells: posterior.cells(),
        cut,
        milliseconds: times.iter().copied().fold(f64::INFINITY, f64::min),
        largest: errors.iter().copied().fold(0.0, f64::max),
        mean: errors.iter().sum::<f64>() / errors.len() as f64,
    };
    (line, posterior)
}

/// The time this thread has run on a core, where the system tells it (Linux): what others do on the machine counts less.
fn seconds_on_core() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
    Some(text.split(' ').next()?.parse::<f64>().ok()? / 1e9)
}

/// The causes that are most in error, and the links cut.
fn links(out: &mut impl Write, model: &CaseModel, posterior: &Posterior, truth: &Truth) -> std::io::Result<()> {
    let chances = truth::chances(model, posterior);
    let mut worst: Vec<usize> = (0..chances.len()).collect();
    let off = |at: usize| (chances[at] - truth.chances[at]).abs();
    worst.sort_by(|&a, &b| off(b).total_cmp(&off(a)));
    let name = |var| model.network.variable(var).name.as_str();
    for at in worst.into_iter().take(4) {
        writeln!(out, "    {} {:.4}, true {:.4}", name(model.causes[at].1), chances[at], truth.chances[at])?;
    }
    if let Accuracy::Cut { links, last_change, .. } = posterior.accuracy() {
        let target = |link: &CutLink| match link.into {
            doldrum::inference::Target::Variable(var) => name(var).to_owned(),
            doldrum::inference::Target::Answer(at) => format!("answer {at} ({:?})", model.observations[at].0),
        };
        writeln!(out, "    last change {last_change:.1e}")?;
        for link in links {
            writeln!(out, "    cut {} -> {}", name(link.from), target(link))?;
        }
    }
    Ok(())
}

/// How far the sampler is from what is true, beside its own standard error there.
fn sampled(
    out: &mut impl Write,
    engine: &Engine,
    model: &CaseModel,
    near: &Posterior,
    truth: &Truth,
    draws: usize,
) -> std::io::Result<()> {
    let limits = Limits { cells: 1 << 20, ..Limits::default() };
    let found = sampler::sample(engine, model, near, &limits, draws);
    let apart = |at: usize| (found.chances[at] - truth.chances[at]).abs();
    let worst = (0..found.chances.len()).max_by(|&a, &b| apart(a).total_cmp(&apart(b))).unwrap_or(0);
    writeln!(
        out,
        "    sampler: {} causes drawn, {} draws solved ({} with cuts), at most {:.1e} from the truth, where its \
         standard error is {:.1e}; largest standard error {:.1e}",
        found.causes,
        found.solved,
        found.cut,
        apart(worst),
        found.errors[worst],
        found.errors.iter().copied().fold(0.0, f64::max)
    )
}

fn figure(error: f64) -> String {
    if error < 1e-9 { "0".to_owned() } else { format!("{error:.1e}") }
}

fn quantile(mut of: Vec<f64>, share: f64) -> f64 {
    of.sort_by(f64::total_cmp);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a place in a short list")]
    let at = ((of.len().max(1) - 1) as f64 * share).round() as usize;
    of.get(at).copied().unwrap_or(f64::NAN)
}
