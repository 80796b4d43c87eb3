//! The work order: what to repair, in which order, safely, with what, and how to see that it is cured.
//!
//! A plan is plain data. It is made from what is believed (which causes, how likely) in three steps: which causes to go
//! for ([`goals`]), which repairs remove them at the least expected cost, comebacks counted ([`choose`]), and in which
//! order the work is done ([`order`]). How it reads is decided in `report`.
//!
//! A plan defers to local codes, the maker's manual and licensed practice, and says so.

#[cfg(test)]
pub(crate) mod bench;
mod bill;
mod choose;
mod cost;
mod goals;
mod order;
mod plain;
mod teardown;
#[cfg(test)]
mod tests;
mod verify;
mod words;
mod work;

pub use choose::Jobs;
pub use teardown::{Apart, ToRecord, recorded, to_record};
pub use verify::Flaw;
pub use work::{Section, SettingLine, Source, Stage, StageKind, Step, Test, Vapor};

use crate::access::AccessGraph;
use crate::belief::{CauseBelief, Explanations};
use crate::case::Case;
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Cause, Signal};
use crate::units::{Minutes, Money};
use schemars::JsonSchema;
use serde::Serialize;

/// What a plan goes for.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Options {
    /// These causes; empty: the likeliest explanation, and every cause that is likelier than not.
    pub causes: Vec<Instance<Cause>>,
}

/// Why there is no plan.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PlanError {
    /// No explanation names a cause, and none was named.
    #[error("no cause stands out: expected an explanation with a cause or a named one")]
    NoCause,
    /// None of the causes has a repair that fits this craft.
    #[error("no repair on this craft removes {}", .causes.join(", "))]
    NoRepair {
        /// The causes, each in backticks.
        causes: Vec<String>,
    },
}

/// A work order.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Plan {
    /// The knowledge base and its version.
    pub knowledge: Named,
    /// Its version.
    pub version: String,
    /// The name of the case.
    pub title: Option<String>,
    /// The layout and what is fitted.
    pub craft: Vec<String>,
    /// Who works on it.
    pub user: String,
    /// What the customer says.
    pub complaints: Vec<Named>,
    /// The causes it goes for, the likeliest first.
    pub goals: Vec<Goal>,
    /// The chance of the explanation it starts from: all of its causes and no other that matters.
    pub explanation: Option<f64>,
    /// Causes it goes for that no repair on this craft removes.
    pub not_cured: Vec<Goal>,
    /// The repairs, in working order.
    pub repairs: Vec<Job>,
    /// Access that is open already: ids.
    pub open_at_start: Vec<String>,
    /// Access that it opens, in order.
    pub opens: Vec<Named>,
    /// The cautions it raises, the strongest signal word first.
    pub cautions: Vec<Caution>,
    /// The work.
    pub stages: Vec<Stage>,
    /// Parts and things used up.
    pub parts: Vec<PartLine>,
    /// Tools.
    pub tools: Vec<String>,
    /// Verdicts on the parts met.
    pub verdicts: Vec<Verdict>,
    /// What it costs.
    pub cost: Cost,
    /// Repairs worth offering while there. Not in the cost.
    pub offers: Vec<Offer>,
    /// For repairs that another way could do without: that way.
    pub other_ways: Vec<OtherWay>,
    /// Parts and looks worth having while there. Not in the cost.
    pub offered_parts: Vec<String>,
    /// What to tell the owner.
    pub tell_owner: Vec<String>,
    /// What becomes of waste fuel and solvent.
    pub waste: String,
    /// What is asked once the craft has been used again.
    pub follow_up: String,
    /// What this plan gives way to.
    pub defers: String,
}

/// An id and its words.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Named {
    /// The id, with its place where there are several.
    pub id: String,
    /// In plain words.
    pub words: String,
}

/// A cause that a plan goes for.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Goal {
    /// The cause.
    pub cause: Named,
    /// Its chance, 0..=1.
    pub chance: f64,
    /// Why the plan goes for it.
    pub why: Why,
}

/// Why a plan goes for a cause.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Why {
    /// It was asked for.
    Named,
    /// It is in the likeliest explanation.
    Explains,
    /// It is likelier than not by itself, though the likeliest explanation does without.
    Likely,
    /// It is likely enough, and what is open already reaches it for less than a quarter of a return visit.
    WhileOpen,
}

/// A repair in a plan.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Job {
    /// The repair.
    pub repair: Named,
    /// Where, where there are several places.
    pub places: Vec<String>,
    /// The causes it is there for.
    pub removes: Vec<Named>,
    /// Why else it is in the plan: the words of a rule.
    pub because: Vec<String>,
    /// Who does it.
    pub by: By,
    /// A step of the work that removes nothing.
    pub service: bool,
    /// What trips people up, and what not to do.
    pub mind: Vec<String>,
    /// Why it may not be done even when all before it is done and passed: the words of the interlock that bars it.
    pub held: Option<String>,
    /// Hands-on minutes, all places, without access.
    #[serde(serialize_with = "plain::minutes")]
    #[schemars(with = "f64")]
    pub minutes: Minutes,
    /// Money for parts and things used up, all places.
    #[serde(serialize_with = "plain::money")]
    #[schemars(with = "f64")]
    pub parts: Money,
}

/// Who does a piece of work.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum By {
    /// The user of the case.
    User,
    /// A workshop: it is beyond the user's skill or reach.
    Shop,
}

/// A caution in full.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Caution {
    /// The hazard.
    pub hazard: Named,
    /// The signal word.
    #[serde(serialize_with = "plain::signal")]
    #[schemars(with = "String")]
    pub signal: Signal,
    /// What it does to a person.
    pub harm: String,
    /// What to do, in order.
    pub controls: Vec<String>,
    /// What never to do.
    pub never: Vec<String>,
    /// What is confirmed by a tick.
    pub tick: Option<Named>,
}

/// A line of the parts list.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct PartLine {
    /// What it is.
    pub item: String,
    /// How many.
    pub count: f64,
    /// Price of one.
    #[serde(serialize_with = "plain::money")]
    #[schemars(with = "f64")]
    pub each: Money,
    /// Something else that will do.
    pub or: Option<String>,
    /// Used up rather than fitted.
    pub consumable: bool,
    /// The repairs it is for: ids.
    pub for_repairs: Vec<String>,
}

impl PartLine {
    /// What the line comes to.
    #[must_use]
    pub fn total(&self) -> Money {
        self.each * self.count
    }
}

/// Reuse, clean or replace.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Verdict {
    /// The part.
    pub part: String,
    /// What to look for.
    pub look: Option<String>,
    /// Reuse where.
    pub reuse: String,
    /// Clean where.
    pub clean: String,
    /// Replace where.
    pub replace: String,
}

/// What a plan costs: the sum of its parts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, JsonSchema)]
pub struct Cost {
    /// Opening and putting back, once.
    #[serde(serialize_with = "plain::minutes")]
    #[schemars(with = "f64")]
    pub access: Minutes,
    /// Repairs and service steps.
    #[serde(serialize_with = "plain::minutes")]
    #[schemars(with = "f64")]
    pub work: Minutes,
    /// Checks that prove it, beyond the bench tests within the repairs.
    #[serde(serialize_with = "plain::minutes")]
    #[schemars(with = "f64")]
    pub proof: Minutes,
    /// All minutes.
    #[serde(serialize_with = "plain::minutes")]
    #[schemars(with = "f64")]
    pub minutes: Minutes,
    /// All minutes at the rates of who works.
    #[serde(serialize_with = "plain::money")]
    #[schemars(with = "f64")]
    pub labor: Money,
    /// Parts, and things used up.
    #[serde(serialize_with = "plain::money")]
    #[schemars(with = "f64")]
    pub parts: Money,
    /// Labor and parts.
    #[serde(serialize_with = "plain::money")]
    #[schemars(with = "f64")]
    pub total: Money,
    /// What comebacks are expected to cost on top: the price of one times the chance that a cause the plan goes for
    /// outlives its repairs.
    #[serde(serialize_with = "plain::money")]
    #[schemars(with = "f64")]
    pub comebacks: Money,
}

/// A repair worth offering while there.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Offer {
    /// The repair.
    pub repair: Named,
    /// What it adds to the minutes.
    #[serde(serialize_with = "plain::minutes")]
    #[schemars(with = "f64")]
    pub minutes: Minutes,
    /// What it adds to the cost, labor and parts.
    #[serde(serialize_with = "plain::money")]
    #[schemars(with = "f64")]
    pub cost: Money,
}

/// The best way to remove what a plan goes for without one of its repairs.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct OtherWay {
    /// The repair it does without.
    pub without: Named,
    /// The repairs it does in its place.
    pub instead: Vec<Named>,
    /// Minutes it takes more; below zero: less.
    #[serde(serialize_with = "plain::minutes")]
    #[schemars(with = "f64")]
    pub minutes: Minutes,
    /// What it is expected to cost more, labor, parts and comebacks.
    #[serde(serialize_with = "plain::money")]
    #[schemars(with = "f64")]
    pub cost: Money,
}

/// The work order for a case.
///
/// It goes for the causes of the likeliest explanation that names any, and for every cause that is likelier than not by
/// itself; or for the causes named in `options`. It holds the repairs that remove them at the least expected cost (work,
/// parts, shared access, comebacks), what the rules of the knowledge base add, and what is worth doing behind the same
/// covers.
///
/// Cost: a search over which repair removes which cause, cut at 50,000 sets.
///
/// # Errors
/// Where there is nothing to go for, or no repair for any of it.
pub fn plan(
    laid: &Laid<'_>,
    graph: &AccessGraph,
    case: &Case,
    causes: &[CauseBelief],
    explanations: &Explanations,
    options: &Options,
) -> Result<Plan, PlanError> {
    let goals = goals::goals(laid, causes, explanations, options)?;
    let context = cost::Context::new(laid, graph, case, causes);
    let choice = choose::choose(&context, &goals)?;
    Ok(order::write(&context, &goals, &choice, explanations))
}

impl Plan {
    /// All steps in working order.
    pub fn steps(&self) -> impl Iterator<Item = &Step> {
        self.stages.iter().flat_map(|stage| &stage.sections).flat_map(|section| &section.steps)
    }

    /// Everything wrong with the order of the work; a plan made by [`plan`] has none.
    ///
    /// # Errors
    /// All flaws found: a caution after its step, an igniting step while fuel vapor is open, work on what is shut,
    /// something left open, a sum that does not add up.
    pub fn check_order(&self) -> Result<(), Vec<Flaw>> {
        verify::check_order(self)
    }
}
