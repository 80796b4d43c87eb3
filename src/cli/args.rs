//! The command line.

pub mod authors;
pub mod calc;
pub mod logbook;

use crate::decision::LookAhead;
use crate::drill::draw::Level;
use crate::inference::Limits;
use crate::store::built_in_names;
use crate::units::System;
use authors::{Chart, Completions, Man, New, Schema, Vet};
use clap::{Args, Parser, Subcommand, ValueEnum};
use jiff::Timestamp;
use logbook::Logbook;
use std::path::PathBuf;

const ENDS: &str = "\
Exit codes: 0 done, 1 findings (vet), 2 wrong usage, 65 bad data (knowledge or case), 74 input or output failed, \
130 interrupted.

Local codes, the maker's manual and licensed practice come before anything printed here.";

/// Finds out why a small craft will not start or run right, at the least cost, and says how to put it right.
#[derive(Debug, Parser)]
#[command(name = "doldrum", version, about, after_help = ENDS, max_term_width = 100)]
#[command(arg_required_else_help = true, subcommand_required = true, disable_help_subcommand = true)]
pub struct Arguments {
    /// What to do.
    #[command(subcommand)]
    pub verb: Verb,
    /// What every command takes.
    #[command(flatten)]
    pub common: Common,
}

/// What every command takes.
#[derive(Args, Clone, Debug)]
#[command(next_help_heading = "Common options")]
pub struct Common {
    /// The knowledge base: a built-in one by its name, or a folder.
    #[arg(long, global = true, value_name = "NAME|FOLDER", help = knowledge_help())]
    pub knowledge: Option<PathBuf>,
    /// Lay the numbers learned from closed jobs over the knowledge base; `logbook learn` writes the file.
    #[arg(long, global = true, value_name = "FILE")]
    pub learned: Option<PathBuf>,
    /// Show pressures, lengths, temperatures and torques so.
    #[arg(
        long,
        global = true,
        value_enum,
        default_value = "us",
        value_name = "SYSTEM",
        hide_possible_values = true,
        help = "Show pressures, lengths, temperatures and torques so: us or metric"
    )]
    pub units: Units,
    /// The seed wherever chance enters; the same seed gives the same bytes.
    #[arg(long, global = true, default_value_t = 1, value_name = "N")]
    pub seed: u64,
    /// Say only what was asked for.
    #[arg(long, short, global = true)]
    pub quiet: bool,
    /// No color, as with `NO_COLOR` in the environment.
    #[arg(long, global = true)]
    pub no_color: bool,
}

/// Which knowledge bases are built in, the usual one first.
fn knowledge_help() -> String {
    let names = built_in_names();
    let known = names.join(", ");
    let usual = names.first().copied().unwrap_or_default();
    format!("The knowledge base: a built-in one ({known}) or a folder, such as ./{usual} [default: {usual}]")
}

/// A system of units.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Units {
    /// Metric: kPa, °C, mm, N m.
    Metric,
    /// US customary: psi, °F, inches, lbf ft.
    Us,
}

impl From<Units> for System {
    fn from(units: Units) -> Self {
        match units {
            Units::Metric => Self::Metric,
            Units::Us => Self::Us,
        }
    }
}

/// What to do.
#[derive(Debug, Subcommand)]
pub enum Verb {
    /// Ask: symptoms, history, then the cheapest next check, again and again, to a plan.
    Triage(Triage),
    /// Ask in a browser: the interview, what we know and the plan as a page on this machine.
    Serve(Serve),
    /// Read a case and say what is believed, what to do next and why.
    Assess(Assess),
    /// Print the work order for a case.
    Plan(Plan),
    /// Find a hidden fault, for trainees: the whole bench, nothing recommended, every choice held against the best.
    Drill(Drill),
    /// Play simulated jobs and compare the advice with other ways to work.
    Trial(Trial),
    /// Bench arithmetic: springs, compression, leaks, batteries, jets, oil, vapor, screws, units.
    Calc(calc::Calc),
    /// Check a knowledge base.
    Vet(Vet),
    /// Draw the fault tree below a symptom; minimal cut sets, importance.
    Chart(Chart),
    /// Write a knowledge base to start from, or a case.
    New(New),
    /// Keep closed jobs, and learn from them.
    Logbook(Logbook),
    /// Print the formats as JSON Schema, for editors and for programs.
    Schema(Schema),
    /// Print what a shell needs to complete commands and options.
    Completions(Completions),
    /// Print the manual page, or write one for each command.
    Man(Man),
}

/// `triage`.
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  doldrum triage                           begin a new case in this folder
  doldrum triage barn-find.yaml            begin it under that name, or go on with it
  doldrum triage --for owner               with an owner on the phone
  doldrum triage --compare a.yaml b.yaml   what differs, and what that changes
  doldrum triage --plain < answers.txt     read answers line by line, for scripts and screen readers

The case is saved after every answer. Ctrl-C saves too; the same command goes on where it stopped.")]
pub struct Triage {
    /// The job.
    #[command(flatten)]
    pub job: Job,
    /// How far ahead the choice of the next step looks.
    #[command(flatten)]
    pub ahead: Ahead,
    /// Plain lines in and out, whatever the terminal can do.
    #[arg(long)]
    pub plain: bool,
    /// List the cases of this folder, and stop.
    #[arg(long, conflicts_with_all = ["file", "case", "user", "layout", "title", "compare"])]
    pub list: bool,
    /// Say what differs between two cases and what that changes in the ranking, and stop.
    #[arg(long, num_args = 2, value_name = "CASE", conflicts_with_all = ["file", "case", "user", "layout", "title"])]
    pub compare: Vec<PathBuf>,
}

/// The job that is asked about.
#[derive(Args, Debug)]
pub struct Job {
    /// The case file: gone on with where it exists, begun where not [default: a name made from the day].
    #[arg(value_name = "CASE")]
    pub file: Option<PathBuf>,
    /// The same, by name.
    #[arg(long, value_name = "FILE", conflicts_with = "file")]
    pub case: Option<PathBuf>,
    /// Who works on it: an id under `users` in the knowledge base, such as technician, owner or trainee.
    #[arg(long = "for", value_name = "USER")]
    pub user: Option<String>,
    /// The layout of cylinders, carburetors and pumps; not asked then.
    #[arg(long, value_name = "LAYOUT")]
    pub layout: Option<String>,
    /// A name for the job, such as "Barn-find twin".
    #[arg(long, value_name = "TEXT")]
    pub title: Option<String>,
}

/// `serve`.
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  doldrum serve                           the jobs of this folder, new ones, and drills
  doldrum serve --case barn-find.yaml     one job: the interview in a browser on this machine
  doldrum serve --open                    print the address and nothing else
  doldrum serve --at 0.0.0.0:4173         for a phone at the bench: open the link that is printed

A case is saved after every answer, in the same file that triage uses. Ctrl-C ends it.")]
pub struct Serve {
    /// The job.
    #[command(flatten)]
    pub job: Job,
    /// Where: an address and a port. Any but this machine's own needs the token that is printed.
    #[arg(long, value_name = "ADDRESS", default_value = "127.0.0.1:4173", value_parser = address)]
    pub at: std::net::SocketAddr,
    /// Print the address alone, for whatever opens it.
    #[arg(long)]
    pub open: bool,
}

/// `assess`.
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  doldrum assess case.yaml
  doldrum assess case.yaml --format json
  doldrum assess case.yaml --format html > case.html     with the answers' weights and the fault tree
  doldrum assess case.yaml --now 2026-11-25T10:30:00Z    a sniff for fuel grows old
  cat case.yaml | doldrum assess -")]
pub struct Assess {
    /// The case file; `-` reads standard input.
    pub case: PathBuf,
    /// How to print it.
    #[arg(long, value_enum, default_value = "text", value_name = "FORMAT")]
    pub format: Format,
    /// The moment it is now; without it a sniff holds until something opens fuel.
    #[arg(long, value_name = "TIME", value_parser = moment)]
    pub now: Option<Timestamp>,
    /// How much work inference may take.
    #[command(flatten)]
    pub budget: Budget,
    /// How far ahead the choice of the next step looks.
    #[command(flatten)]
    pub ahead: Ahead,
    /// How often the numbers are shaken to see whether the recommendation stays; 0 for not at all.
    #[arg(long, default_value_t = 6, value_name = "TIMES", value_parser = clap::value_parser!(u16).range(0..=1000))]
    pub shake: u16,
}

/// `plan`.
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  doldrum plan case.yaml
  doldrum plan case.yaml --format html > plan.html       to print, or for a phone at the bench
  doldrum plan case.yaml --cause hose-debris             plan for this cause, whatever is believed")]
pub struct Plan {
    /// The case file; `-` reads standard input.
    pub case: PathBuf,
    /// How to print it.
    #[arg(long, value_enum, default_value = "text", value_name = "FORMAT")]
    pub format: Format,
    /// How much work inference may take.
    #[command(flatten)]
    pub budget: Budget,
    /// Plan for this cause (`id` or `id@place`) instead of what is believed; may be given again.
    #[arg(long, value_name = "ID")]
    pub cause: Vec<String>,
}

/// `drill`.
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  doldrum drill                                     one hidden fault
  doldrum drill --level double --seed 7             two of them; the same seed is the same drill
  doldrum drill --symptom sy-no-crank --coach       with hints
  doldrum drill --record me.json                    the level moves on with skill
  doldrum drill --plain --format json < keys.txt    a script; the screens go to standard error")]
pub struct Drill {
    /// How hard it is [default: that of the record, else single].
    #[arg(long, value_enum, value_name = "LEVEL")]
    pub level: Option<DrillLevel>,
    /// Only this layout [default: any].
    #[arg(long, value_name = "LAYOUT")]
    pub layout: Option<String>,
    /// Only with this symptom named [default: any].
    #[arg(long, value_name = "SYMPTOM")]
    pub symptom: Option<String>,
    /// A coach beside: hints, a word after each choice, and a hand on the arm before a breach of safety.
    #[arg(long)]
    pub coach: bool,
    /// Plain lines in and out, whatever the terminal can do.
    #[arg(long)]
    pub plain: bool,
    /// A file that keeps what was done and which level comes next; each drill with it is another one.
    #[arg(long, value_name = "FILE")]
    pub record: Option<PathBuf>,
    /// How to print the debrief.
    #[arg(long, value_enum, default_value = "text", value_name = "FORMAT")]
    pub format: Format,
}

/// How hard a drill is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum DrillLevel {
    /// One fault, and nothing else is wrong.
    Single,
    /// Two faults, each of which alone brings the complaint about.
    Double,
    /// One fault; three answers in ten mislead.
    Misleading,
    /// One fault out of the rarest third.
    Rare,
}

impl From<DrillLevel> for Level {
    fn from(level: DrillLevel) -> Self {
        match level {
            DrillLevel::Single => Self::Single,
            DrillLevel::Double => Self::Double,
            DrillLevel::Misleading => Self::Misleading,
            DrillLevel::Rare => Self::Rare,
        }
    }
}

/// `trial`.
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  doldrum trial --cases 100 --layout twin-each
  doldrum trial --policy ours,checklist --symptom sy-no-crank
  doldrum trial --noise 0.5 --csv rows.csv               the truth is off what the knowledge says
  doldrum trial --unlisted 0.2 --policy ours             one job in five has a fault that is not listed

Every policy gets the same jobs and the same answers; the same seed gives the same bytes on any number of threads.")]
pub struct Trial {
    /// How many jobs.
    #[arg(long, default_value_t = 100, value_name = "N")]
    pub cases: usize,
    /// Only this layout; may be given again [default: all, each as likely].
    #[arg(long, value_name = "LAYOUT", value_delimiter = ',')]
    pub layout: Vec<String>,
    /// Only jobs in which this symptom is named; may be given again [default: any].
    #[arg(long, value_name = "SYMPTOM", value_delimiter = ',')]
    pub symptom: Vec<String>,
    /// The policies: ours, ours-two-steps, ours-search, checklist, information-per-cost, most-information,
    /// cheapest-check, repairs-only, chance [default: all but ours-two-steps and ours-search, which take longer].
    #[arg(long, value_name = "POLICY", value_delimiter = ',')]
    pub policy: Vec<String>,
    /// How far the truth's numbers stray from the knowledge: one standard deviation in log-odds.
    #[arg(long, default_value_t = 0.0, value_name = "SIGMA", value_parser = sigma)]
    pub noise: f64,
    /// The chance that a job has a fault that the knowledge does not list.
    #[arg(long, default_value_t = 0.0, value_name = "CHANCE", value_parser = share)]
    pub unlisted: f64,
    /// Who works the jobs: an id under `users`, such as owner [default: the usual one].
    #[arg(long = "for", value_name = "USER")]
    pub user: Option<String>,
    /// How many threads [default: one for each core].
    #[arg(long, value_name = "N", value_parser = threads)]
    pub threads: Option<usize>,
    /// Write a row for each job and policy to this file.
    #[arg(long, value_name = "FILE")]
    pub csv: Option<PathBuf>,
    /// Write everything to this file as JSON.
    #[arg(long, value_name = "FILE")]
    pub json: Option<PathBuf>,
    /// How to print it.
    #[arg(long, value_enum, default_value = "text", value_name = "FORMAT")]
    pub format: Format,
}

fn between(text: &str, low: f64, high: f64) -> Result<f64, String> {
    let value: f64 = text.parse().map_err(|_| format!("expected a number, found `{text}`"))?;
    if (low..=high).contains(&value) { Ok(value) } else { Err(format!("expected {low} to {high}, found `{text}`")) }
}

/// Beyond three every chance is noise.
fn sigma(text: &str) -> Result<f64, String> {
    between(text, 0.0, 3.0)
}

fn share(text: &str) -> Result<f64, String> {
    between(text, 0.0, 1.0)
}

/// How far ahead the choice of the next step looks.
#[derive(Args, Clone, Copy, Debug)]
pub struct Ahead {
    /// How far is looked ahead: 1 or 2 steps, or `search`, which says how near the best possible its step is.
    #[arg(long, value_enum, default_value = "1", value_name = "STEPS", hide_possible_values = true)]
    pub look_ahead: Steps,
    /// How many states of what may be known the search goes through; a hundred take a second or two.
    #[arg(long, default_value_t = 200, value_name = "NODES", value_parser = clap::value_parser!(u32).range(1..=1_000_000))]
    pub nodes: u32,
}

/// How many steps are looked ahead.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Steps {
    /// One step, over every outcome.
    #[value(name = "1")]
    One,
    /// Two steps; about four times as long.
    #[value(name = "2")]
    Two,
    /// Best first, with bounds, within `--nodes`.
    Search,
}

impl From<Ahead> for LookAhead {
    fn from(ahead: Ahead) -> Self {
        match ahead.look_ahead {
            Steps::One => Self::One,
            Steps::Two => Self::Two,
            Steps::Search => Self::Search(ahead.nodes as usize),
        }
    }
}

/// How much work inference may take.
#[derive(Args, Clone, Copy, Debug)]
pub struct Budget {
    /// Exact where two gigabytes of tables do, said where they do not; may take minutes.
    #[arg(long)]
    pub exact: bool,
    /// The budget in table cells, to see what less does.
    #[arg(long, hide = true, value_name = "CELLS", conflicts_with = "exact")]
    pub cells: Option<usize>,
}

impl Budget {
    /// The limits to ask with.
    #[must_use]
    pub fn limits(self) -> Limits {
        if self.exact {
            return Limits::exact();
        }
        let usual = Limits::default();
        Limits { cells: self.cells.unwrap_or(usual.cells), ..usual }
    }
}

/// How a result is printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// For people at a terminal.
    Text,
    /// For programs.
    Json,
    /// For a page.
    Markdown,
    /// One file for a browser, a phone or a printer.
    Html,
}

/// A moment, as a case file writes it.
fn moment(text: &str) -> Result<Timestamp, String> {
    text.parse().map_err(|_| format!("expected a moment such as `2026-11-25T10:02:00Z`, found `{text}`"))
}

/// An address with a port. Names are not looked up: which machine is meant must not hang on who answers for a name.
fn address(text: &str) -> Result<std::net::SocketAddr, String> {
    text.parse()
        .map_err(|_| format!("expected an address and a port in digits, such as `127.0.0.1:4173`, found `{text}`"))
}

/// So many threads as a machine may have.
fn threads(text: &str) -> Result<usize, String> {
    let threads = text.parse::<usize>().ok().filter(|n| (1..=256).contains(n));
    threads.ok_or_else(|| format!("expected 1 to 256 threads, found `{text}`"))
}
