//! Finds out why a small craft will not start or run right, at the least cost in time, parts and risk, and says how to
//! put it right.
//!
//! One fault tree, what was answered so far, one next step:
//!
//! ```
//! use doldrum::access::AccessGraph;
//! use doldrum::belief::believe;
//! use doldrum::case::text;
//! use doldrum::decision::{Settings, advise};
//! use doldrum::inference::Limits;
//! use doldrum::knowledge::{self, layout::Laid};
//! use doldrum::store;
//!
//! // Text comes in ...
//! let (knowledge, findings) = knowledge::read(&store::built_in());
//! let knowledge = knowledge.ok_or_else(|| format!("{findings:?}"))?;
//! let written = "\
//! format: 1
//! knowledge: {id: watercraft-two-stroke}
//! craft: {layout: single}
//! history: {cx-last-ran: one-winter-3-8-months}
//! symptoms: [sy-cranks-no-start]
//! log:
//!   - {check: ck-smell-hull, outcome: none, aired: 10 min}
//! ";
//! let (case, findings) = text::read("case.yaml", written, &knowledge);
//! let case = case.ok_or_else(|| format!("{findings:?}"))?;
//!
//! // ... values come out: how likely each cause is, and what to do next.
//! let laid = Laid::new(&knowledge, case.craft.clone());
//! let belief = believe(&laid, &case, &Limits::default())?;
//! let leader = &belief.causes[0];
//! assert!(leader.chance > leader.prior);
//! let advice = advise(&laid, &AccessGraph::new(&knowledge), &case, &belief, &Settings::default())?;
//! assert!(advice.next.expected_cost >= advice.next.cost);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # How it is built
//!
//! Each row uses only rows above it (a test holds it to that):
//!
//! | row | holds |
//! | --- | --- |
//! | [`finding`] | complaints about data: place, code, message, hints |
//! | [`units`] | chances, money, minutes, measures with a unit |
//! | [`calc`] | bench arithmetic, one formula a function |
//! | [`knowledge`] | a knowledge base: read, resolved, vetted, laid out on one craft |
//! | [`case`] | one job: craft, history, symptoms, log |
//! | [`model`] | the network that a case compiles to |
//! | [`inference`] | exact posteriors, and what is cut where they are beyond the budget |
//! | [`access`] | the graph of disassembly |
//! | [`safety`] | hazards and interlocks |
//! | [`case::text`] | the case file, read and written |
//! | [`belief`] | causes, explanations, answers that do not fit, weights of evidence |
//! | [`chart`] | the fault tree below an event, minimal cut sets, importance |
//! | [`decision`] | the next step |
//! | [`plan`] | the work order |
//! | [`trial`] | simulated jobs, worked by several policies |
//! | [`logbook`] | closed jobs, and what they teach |
//! | [`drill`] | a hidden fault for a trainee, every choice held against the best |
//! | [`skeleton`] | a knowledge base and a case to start from |
//! | [`vet`] | advice for authors of a knowledge base |
//! | [`store`], [`report`], [`interview`], [`cli`] | files, words, questions, the command line |
//!
//! All above the last row is pure: text and values in, values out, no terminal, clock, environment or file, and every
//! random number from a seed that is an argument. The same input gives the same bytes.
//!
//! # What this does not do
//!
//! It does not measure anything and knows no maker's figures: the odds in the built-in knowledge base are one author's,
//! from common practice, and no counted jobs stand behind them. It finds the likeliest cause, which is not always the
//! cause; and that its arithmetic agrees with itself proves nothing about a craft. Local codes, the maker's manual and
//! licensed practice come before anything it says.

pub mod access;
pub mod belief;
pub mod calc;
pub mod case;
pub mod chart;
pub mod cli;
pub mod decision;
pub mod drill;
pub mod finding;
pub mod inference;
pub mod interview;
pub mod knowledge;
pub mod logbook;
pub mod model;
pub mod plan;
pub mod report;
pub mod safety;
pub mod schema;
pub mod serve;
pub mod skeleton;
pub mod store;
pub mod trial;
pub mod units;
pub mod vet;
