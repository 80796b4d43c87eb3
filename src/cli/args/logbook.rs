//! `logbook` and its own commands.

use super::{Format, between};
use clap::{Args, Subcommand, ValueEnum};
use jiff::Timestamp;
use std::path::PathBuf;

/// `logbook`.
#[derive(Args, Debug)]
#[command(arg_required_else_help = true, subcommand_required = true, disable_help_subcommand = true)]
#[command(after_help = "\
Examples:
  doldrum logbook add job.yaml --cause low-jet-clogged@front --minutes 95 --part \"gasket = 4.50\"
  doldrum logbook list --since 2026-01-01
  doldrum logbook summary
  doldrum logbook learn --output learned.yaml
  doldrum assess next.yaml --learned learned.yaml

No names, phone numbers or registration numbers are needed. Everything stays in one file on this machine, notes do not leave it \
unless you export them with --notes, and nothing is sent anywhere.")]
pub struct Logbook {
    /// What to do.
    #[command(subcommand)]
    pub verb: Verb,
    /// The logbook [default: logbook.db in the folder `doldrum` of your data folder; `logbook where` says which].
    #[arg(long, global = true, value_name = "FILE")]
    pub logbook: Option<PathBuf>,
}

/// What to do with the logbook.
#[derive(Debug, Subcommand)]
pub enum Verb {
    /// Close a job: its case, what was confirmed, what fixed it, what it took.
    Add(Add),
    /// List jobs.
    List(List),
    /// List the jobs in which all of these words occur.
    Search(Search),
    /// Show one job.
    Show(Show),
    /// Write all jobs as JSON lines or comma-separated values.
    Export(Export),
    /// Read jobs that were exported; all of them or, where one is wrong, none.
    Import(Import),
    /// What the jobs come to: faults, first-time-right, cost against plan, belief against finding.
    Summary(Summary),
    /// Learn how common causes are and what checks show, into a file for --learned.
    Learn(Learn),
    /// Say where the logbook is.
    Where,
}

/// `logbook add`.
#[derive(Args, Debug)]
#[command(after_help = "\
The same case is added once, however often you say it; what you leave out stays as it is there. With other details it is \
refused, unless you say --amend: then both are kept and the last counts.")]
pub struct Add {
    /// The case file.
    pub case: PathBuf,
    /// A cause of the complaint that was seen (`id` or `id@place`); may be given again [default: what the log found].
    #[arg(long, value_name = "ID")]
    pub cause: Vec<String>,
    /// The repair that fixed it [default: the last in the log before the symptom was gone].
    #[arg(long, value_name = "ID")]
    pub fixed_by: Option<String>,
    /// How it ended [default: as the log has it].
    #[arg(long, value_enum, value_name = "END")]
    pub end: Option<End>,
    /// Minutes spent in all.
    #[arg(long, value_name = "N", value_parser = minutes)]
    pub minutes: Option<f64>,
    /// A part used: `gasket`, `gasket = 4.50`, `2 x spark plug = 5`; may be given again.
    #[arg(long, value_name = "PART")]
    pub part: Vec<String>,
    /// Where it was worked [default: shop].
    #[arg(long, value_enum, value_name = "CHANNEL")]
    pub channel: Option<Channel>,
    /// When it was closed [default: the last time in the log, else now].
    #[arg(long, value_name = "TIME", value_parser = super::moment)]
    pub closed: Option<Timestamp>,
    /// A note; it is not exported unless asked for.
    #[arg(long, value_name = "TEXT")]
    pub note: Option<String>,
    /// Where the job is there with other details, keep those and let these count.
    #[arg(long)]
    pub amend: bool,
}

/// What is listed.
#[derive(Args, Debug, Default)]
pub struct Filter {
    /// Only jobs with this cause confirmed.
    #[arg(long, value_name = "ID")]
    pub cause: Option<String>,
    /// Only jobs with this symptom named.
    #[arg(long, value_name = "ID")]
    pub symptom: Option<String>,
    /// Only these.
    #[arg(long, value_enum, value_name = "CHANNEL")]
    pub channel: Option<Channel>,
    /// Only jobs closed on this day or later, such as 2026-01-31.
    #[arg(long, value_name = "DAY")]
    pub since: Option<jiff::civil::Date>,
    /// The last so many.
    #[arg(long, value_name = "N")]
    pub last: Option<usize>,
}

/// `logbook list`.
#[derive(Args, Debug)]
pub struct List {
    /// What is listed.
    #[command(flatten)]
    pub filter: Filter,
    /// How to print it.
    #[arg(long, value_enum, default_value = "text", value_name = "FORMAT")]
    pub format: Format,
}

/// `logbook search`.
#[derive(Args, Debug)]
pub struct Search {
    /// Words: of titles, notes, complaints, causes, repairs and parts; ids too.
    #[arg(required = true)]
    pub words: Vec<String>,
    /// What is listed.
    #[command(flatten)]
    pub filter: Filter,
    /// How to print it.
    #[arg(long, value_enum, default_value = "text", value_name = "FORMAT")]
    pub format: Format,
}

/// `logbook show`.
#[derive(Args, Debug)]
pub struct Show {
    /// The id of the job, or as much of its beginning as tells it from the others.
    pub id: String,
    /// The case file alone, as it was added.
    #[arg(long)]
    pub case: bool,
    /// How to print it.
    #[arg(long, value_enum, default_value = "text", value_name = "FORMAT", conflicts_with = "case")]
    pub format: Format,
}

/// `logbook export`.
#[derive(Args, Debug)]
pub struct Export {
    /// The shape.
    #[arg(long = "as", value_enum, default_value = "jsonl", value_name = "SHAPE")]
    pub shape: Shape,
    /// The file to write [default: standard output].
    #[arg(long, short, value_name = "FILE")]
    pub output: Option<PathBuf>,
    /// Notes too.
    #[arg(long)]
    pub notes: bool,
}

/// `logbook import`.
#[derive(Args, Debug)]
pub struct Import {
    /// The file, `.csv` or JSON lines; `-` reads JSON lines from standard input.
    pub file: PathBuf,
    /// Where a job is there with other details, keep those and let these count.
    #[arg(long)]
    pub amend: bool,
}

/// `logbook summary`.
#[derive(Args, Debug)]
pub struct Summary {
    /// How to print it.
    #[arg(long, value_enum, default_value = "text", value_name = "FORMAT")]
    pub format: Format,
}

/// `logbook learn`.
#[derive(Args, Debug)]
#[command(after_help = "\
Only jobs count whose cause was seen, whose repair is known and whose symptom was tried and is gone. Jobs on the phone, \
parts replaced on suspicion and unconfirmed causes are counted and kept apart. Docs: docs/logbook.md.")]
pub struct Learn {
    /// The file to write; it is for --learned. Without it the numbers are only shown.
    #[arg(long, short, value_name = "FILE")]
    pub output: Option<PathBuf>,
    /// How many jobs the knowledge base is worth.
    #[arg(long, default_value_t = 50.0, value_name = "JOBS", value_parser = worth)]
    pub worth: f64,
    /// How many answers each row of a check is worth.
    #[arg(long, default_value_t = 20.0, value_name = "ANSWERS", value_parser = worth)]
    pub row_worth: f64,
    /// What each later job leaves of the weight of an earlier one.
    #[arg(long, default_value_t = 0.999, value_name = "SHARE", value_parser = fade)]
    pub fade: f64,
    /// How to print it.
    #[arg(long, value_enum, default_value = "text", value_name = "FORMAT")]
    pub format: Format,
}

/// Where a job was worked.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Channel {
    /// On the bench.
    Shop,
    /// With the owner on the phone.
    Phone,
}

/// How a job ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum End {
    /// The symptom was tried and is gone.
    Cured,
    /// Handed over, or given up.
    HandedOver,
    /// Nobody knows.
    NotKnown,
}

/// The shape of an export.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Shape {
    /// One JSON object a line.
    Jsonl,
    /// Comma-separated values, for a spreadsheet.
    Csv,
}

/// A year has half a million minutes.
fn minutes(text: &str) -> Result<f64, String> {
    between(text, 0.0, 525_600.0)
}

fn worth(text: &str) -> Result<f64, String> {
    between(text, 0.1, 1e6)
}

fn fade(text: &str) -> Result<f64, String> {
    between(text, 0.5, 1.0)
}
