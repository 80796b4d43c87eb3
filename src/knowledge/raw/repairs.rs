//! Repairs: steps, parts, verdicts, proofs.

use super::{RawAbility, RawBasis, RawFitted, RawId, RawNumber, RawScope, RawTurns, Sp};
use indexmap::IndexMap;
use schemars::JsonSchema;
use serde::Deserialize;

/// Work that removes one or more causes.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawRepair {
    /// `rm-...`
    pub id: RawId,
    /// Its name.
    pub title: String,
    /// `service`: a step of plans that removes nothing.
    pub kind: Option<Sp<RawRepairKind>>,
    /// One for each.
    pub per: Option<RawScope>,
    /// One off, all off: done on every instance together.
    #[serde(default)]
    pub together: bool,
    /// Cause to how surely.
    #[serde(default)]
    pub removes: IndexMap<RawId, RawNumber>,
    /// Hands-on minutes, each instance.
    pub minutes: RawNumber,
    /// Parts, each instance.
    #[serde(default)]
    pub parts: Vec<RawPart>,
    /// What it needs.
    #[serde(default)]
    pub tools: Vec<Sp<String>>,
    /// What must be open.
    #[serde(default)]
    pub access: Vec<RawId>,
    /// Skill.
    pub skill: Sp<u32>,
    /// The cautions it asks for.
    #[serde(default)]
    pub raises: Vec<RawId>,
    /// It cranks, runs, arcs or switches a live circuit.
    #[serde(default)]
    pub ignites: bool,
    /// How it turns the engine.
    #[serde(default)]
    pub turns: RawTurns,
    /// What the craft must be able to do.
    #[serde(default)]
    pub able: Vec<Sp<RawAbility>>,
    /// Not while a cause is so likely, unless another repair goes with it.
    #[serde(default)]
    pub not_with: Vec<RawNotWith>,
    /// Sensible only while one of these answers stands, given since it was last done.
    #[serde(default)]
    pub after: IndexMap<RawId, Vec<RawId>>,
    /// Whoever is on the phone does it by themselves between two calls, and nobody else does.
    pub between_calls: Option<Sp<bool>>,
    /// A plan that holds this does these not.
    #[serde(default)]
    pub in_place_of: Vec<RawId>,
    /// Why nothing is tried under full load in a plan that holds this.
    pub no_load: Option<Sp<String>>,
    /// The work in order.
    pub steps: Vec<RawStep>,
    /// For each part met: reuse, clean or replace.
    #[serde(default)]
    pub verdicts: Vec<RawVerdict>,
    /// What proves it.
    #[serde(default)]
    pub proves: Vec<RawProof>,
    /// Worth doing while there.
    #[serde(default)]
    pub while_there: Vec<RawWhileThere>,
    /// What trips people up.
    #[serde(default)]
    pub care: Vec<String>,
    /// What to tell the owner.
    #[serde(default)]
    pub tell_owner: Vec<String>,
    /// The craft it belongs to.
    #[serde(default)]
    pub fitted: RawFitted,
    /// Where its numbers come from.
    pub basis: Sp<RawBasis>,
}

/// The kind of a repair.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RawRepairKind {
    /// It removes causes (the usual).
    Cure,
    /// A step of plans that removes nothing: first start, test under load, lay-up.
    Service,
}

/// A part.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawPart {
    /// What it is.
    pub item: String,
    /// How many for each instance.
    pub count: RawNumber,
    /// Price of one.
    pub each: RawNumber,
    /// Something else that will do.
    pub or: Option<String>,
    /// Used up rather than fitted.
    #[serde(default)]
    pub consumable: bool,
    /// Words of your own for what it fills: a plan lists no part that others of its parts fill already.
    #[serde(default)]
    pub fills: Vec<RawId>,
    /// One lot does for all places of the repair.
    #[serde(default)]
    pub one_for_all: bool,
    /// Where the price comes from.
    pub basis: Sp<RawBasis>,
}

/// A repair that wants another with it.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawNotWith {
    /// The cause.
    pub cause: RawId,
    /// More likely than this.
    pub over: RawNumber,
    /// The repair that settles it.
    pub unless: RawId,
}

/// One step.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawStep {
    /// What to do: begins with a verb.
    #[serde(rename = "do")]
    pub what: String,
    /// The part of the work order it belongs to; absent: the phase of the step before, `strip` at first.
    pub phase: Option<Sp<RawPhase>>,
    /// A caution that stands before it.
    pub caution: Option<RawId>,
    /// It cranks, runs, arcs, or joins or switches a live circuit, or it does not; absent: as the repair or access says.
    pub ignites: Option<Sp<bool>>,
    /// A word for what it does: of the steps of a stretch of work with the same word, a plan writes one.
    pub once: Option<RawId>,
    /// A word for what it takes off, or finds taken off, that must be on again before the craft is given back.
    pub takes_off: Option<RawId>,
    /// The word of what it puts on again.
    pub puts_on: Option<RawId>,
    /// States of access that must not be open for it.
    #[serde(default)]
    pub shut: Vec<RawId>,
    /// Settings to write down.
    #[serde(default)]
    pub record: Vec<RawId>,
    /// Settings to set back as they were found.
    #[serde(default)]
    pub set: Vec<RawId>,
    /// Settings to make anew, by the sheet, whatever was found.
    #[serde(default)]
    pub anew: Vec<RawId>,
    /// A bench test that must pass before going on.
    pub gate: Option<RawGateTest>,
}

/// The parts of a work order, in working order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RawPhase {
    /// Make safe.
    MakeSafe,
    /// Open.
    Open,
    /// Record.
    Record,
    /// Strip.
    Strip,
    /// Judge each part.
    Judge,
    /// Clean.
    Clean,
    /// Rebuild.
    Rebuild,
    /// Bench tests.
    Bench,
    /// Refit.
    Refit,
    /// Settings.
    Settings,
    /// Fill: fuel goes in once every joint is closed.
    Fill,
    /// Prove it.
    Prove,
    /// Hand over.
    HandOver,
}

/// A bench test inside a repair.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawGateTest {
    /// The check.
    pub check: RawId,
    /// Outcomes or bands that pass; absent: the check's own.
    #[serde(default)]
    pub pass: Vec<RawId>,
    /// Or: within so much of the target, with unit.
    pub within: Option<Sp<String>>,
    /// How often.
    pub repeats: Option<Sp<u32>>,
    /// The spread allowed between repeats, with unit.
    pub spread: Option<Sp<String>>,
}

/// Reuse, clean or replace. `otherwise` in one of them takes what the others leave.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawVerdict {
    /// The part, in plain words.
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

/// What proves a repair: exactly one of `check` (with `pass`) and `event`.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawProof {
    /// A check.
    pub check: Option<RawId>,
    /// Outcomes or bands that pass; absent: the check's own.
    #[serde(default)]
    pub pass: Vec<RawId>,
    /// Something seen: "starts twice from cold".
    pub event: Option<String>,
    /// The state of running that `event` is seen in, where it is not any.
    pub access: Option<RawId>,
}

/// Worth doing while there: exactly one of `repair` and `part`.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawWhileThere {
    /// Another repair.
    pub repair: Option<RawId>,
    /// A part or a look.
    pub part: Option<String>,
}
