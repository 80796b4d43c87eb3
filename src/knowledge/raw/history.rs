//! Facts asked at intake.

use super::{RawBasis, RawId, RawNumber, Sp};
use indexmap::IndexMap;
use schemars::JsonSchema;
use serde::Deserialize;

/// A fact asked at intake.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawHistory {
    /// `cx-...`
    pub id: RawId,
    /// The question.
    pub ask: String,
    /// The order of asking; those without come last, in file order.
    pub order: Option<u32>,
    /// Facts of one story are damped together.
    pub story: Option<String>,
    /// The answers, as ids.
    pub values: Vec<RawId>,
    /// Plain words for the answers: value to words.
    #[serde(default)]
    pub says: IndexMap<RawId, String>,
    /// How common each answer is, percent, in the order of `values`.
    pub shares: Option<Vec<RawNumber>>,
    /// A fact that lifts the caps.
    pub exempt: Option<RawExempt>,
    /// Value to the options it sets.
    #[serde(default)]
    pub implies: IndexMap<RawId, IndexMap<RawId, bool>>,
    /// Symptoms for which this is worth asking; empty: any.
    #[serde(default)]
    pub only_for: Vec<RawId>,
    /// Answers to facts asked before it, after which it is not worth asking: fact to values.
    #[serde(default)]
    pub moot_after: IndexMap<RawId, Vec<RawId>>,
    /// Value to what no story tells beside it: fact to values.
    #[serde(default)]
    pub never_with: IndexMap<RawId, IndexMap<RawId, Vec<RawId>>>,
    /// Where its shares come from.
    pub basis: Sp<RawBasis>,
}

/// What an exempt fact lifts.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawExempt {
    /// Its own cap on the chance.
    pub chance_cap: RawNumber,
}

/// Fact to value to a multiplier of the odds; the fact `layout` stands for the craft's layout.
pub type RawLikelier = IndexMap<RawId, IndexMap<RawId, RawNumber>>;
