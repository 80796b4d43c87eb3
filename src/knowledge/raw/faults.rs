//! Causes, effects and symptoms.

use super::{RawBasis, RawEnd, RawFitted, RawId, RawLikelier, RawNumber, RawScope, Sp};
use schemars::JsonSchema;
use serde::Deserialize;

/// A root fault.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawCause {
    /// Its id.
    pub id: RawId,
    /// A short name: "Clogged fuel inlet screen".
    pub title: String,
    /// A plain sentence for the screen where the title will not do.
    pub plain: Option<String>,
    /// One instance for each; absent: one for the craft.
    pub per: Option<RawScope>,
    /// Findings per 1000 jobs.
    pub rate: Option<RawNumber>,
    /// Or the chance itself.
    pub chance: Option<RawNumber>,
    /// Given that it is there, the chance that it is there on every instance.
    pub common: Option<RawNumber>,
    /// History's multipliers of the odds.
    #[serde(default)]
    pub likelier: RawLikelier,
    /// The craft it belongs to.
    #[serde(default)]
    pub fitted: RawFitted,
    /// Where its numbers come from.
    pub basis: Sp<RawBasis>,
}

/// One input of a gate: exactly one of `from`, `every`, `some_not_all`, `exactly` with `of`, `together`.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawInput {
    /// One cause or effect.
    pub from: Option<RawId>,
    /// On every instance.
    pub every: Option<RawId>,
    /// On at least one instance, not on all.
    pub some_not_all: Option<RawId>,
    /// On exactly so many instances of `of`.
    pub exactly: Option<Sp<u32>>,
    /// What `exactly` counts.
    pub of: Option<RawId>,
    /// All of these at once.
    pub together: Option<Vec<RawId>>,
    /// The chance that it gets through.
    pub strength: RawNumber,
    /// Only at this end of the row of cylinders, carburetors or pumps.
    pub at: Option<RawEnd>,
    /// The craft it belongs to.
    #[serde(default)]
    pub fitted: RawFitted,
    /// Where its strength comes from, where that differs.
    pub basis: Option<Sp<RawBasis>>,
}

/// `at_least: {k: 2, of: [...]}`.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawAtLeast {
    /// How many must get through.
    pub k: Sp<u32>,
    /// The inputs.
    pub of: Vec<RawInput>,
}

/// An intermediate event.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawEffect {
    /// Its id.
    pub id: RawId,
    /// What is the case.
    pub title: String,
    /// A plain sentence.
    pub plain: Option<String>,
    /// How it shows.
    pub shows: Option<String>,
    /// One instance for each.
    pub per: Option<RawScope>,
    /// Noisy OR.
    pub any: Option<Vec<RawInput>>,
    /// Noisy AND.
    pub all: Option<Vec<RawInput>>,
    /// Noisy k-of-n.
    pub at_least: Option<RawAtLeast>,
    /// The chance that something not listed brings it about.
    pub leak: RawNumber,
    /// The craft it belongs to.
    #[serde(default)]
    pub fitted: RawFitted,
    /// Where its numbers come from.
    pub basis: Sp<RawBasis>,
}

/// What the customer complains of.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawSymptom {
    /// `sy-...`
    pub id: RawId,
    /// In plain words.
    pub title: String,
    /// What customers say.
    pub says: Vec<String>,
    /// Share of jobs, percent; used to draw cases and to order the menu.
    pub share: RawNumber,
    /// Noisy OR.
    pub any: Option<Vec<RawInput>>,
    /// Noisy AND.
    pub all: Option<Vec<RawInput>>,
    /// Noisy k-of-n.
    pub at_least: Option<RawAtLeast>,
    /// The chance that something not listed brings it about.
    pub leak: RawNumber,
    /// The chance that it is named.
    pub named: RawNamed,
    /// Abilities a craft with it lacks.
    #[serde(default)]
    pub denies: Vec<Sp<RawAbility>>,
    /// Named, it says nothing about these.
    #[serde(default)]
    pub hides: Vec<RawId>,
    /// Named, these are absent.
    #[serde(default)]
    pub rules_out: Vec<RawId>,
    /// The state of running that it shows in, where no other will do.
    pub shows_in: Option<RawId>,
    /// An expert's first moves, in order.
    #[serde(default)]
    pub first_moves: Vec<RawId>,
    /// The craft it belongs to.
    #[serde(default)]
    pub fitted: RawFitted,
    /// Where its numbers come from.
    pub basis: Sp<RawBasis>,
}

/// The chance that a symptom is named.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawNamed {
    /// Where it is present.
    pub present: RawNumber,
    /// Where it is absent.
    pub absent: RawNumber,
}

/// What a craft can do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RawAbility {
    /// The starter turns the engine.
    Cranks,
    /// It fires and starts.
    Starts,
    /// It keeps running.
    Runs,
    /// It can be loaded.
    ReachesLoad,
}

/// How a check turns the engine.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RawTurns {
    /// By the starter.
    Starter,
    /// By hand.
    Hand,
    /// Not at all.
    #[default]
    None,
}

/// What the battery must be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RawBattery {
    /// Joined.
    Connected,
    /// Its minus lead off.
    Off,
}
