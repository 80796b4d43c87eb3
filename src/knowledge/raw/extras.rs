//! Companions, settings, sources, plan rules and the checklist.

use super::{RawBasis, RawCondition, RawId, RawNumber, RawScope, Sp};
use indexmap::IndexMap;
use schemars::JsonSchema;
use serde::Deserialize;

/// Once the first is found, these are likelier.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawCompanion {
    /// The cause found.
    pub found: RawId,
    /// Cause to a multiplier of its odds.
    pub likelier: IndexMap<RawId, RawNumber>,
    /// With history, no more than this.
    pub cap: RawNumber,
    /// Where its numbers come from.
    pub basis: Sp<RawBasis>,
}

/// Something to write down before and set after.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawSetting {
    /// Its id: `low-turns`.
    pub id: RawId,
    /// In plain words.
    pub title: String,
    /// One for each.
    pub per: Option<RawScope>,
    /// Its unit, or `text`, or `photo`.
    pub unit: Sp<String>,
    /// What to set where the record is missing.
    pub generic: Option<String>,
    /// Where that comes from.
    pub basis: Sp<RawBasis>,
}

/// A published source.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawSource {
    /// Its id.
    pub id: RawId,
    /// Its title.
    pub title: String,
    /// Who wrote or published it.
    pub by: String,
    /// When.
    pub year: Option<u32>,
    /// Read, or cited from memory.
    pub mark: RawMark,
}

/// How a source is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RawMark {
    /// The figure was read in the source or a copy of it.
    Read,
    /// The figure was read on a page that reports the source.
    SecondHand,
    /// From memory.
    Memory,
}

/// A rule that adds repairs to a plan.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawPlanRule {
    /// Its id.
    pub id: RawId,
    /// Why, in plain words.
    pub why: String,
    /// When it holds.
    pub when: Sp<RawCondition>,
    /// The repair the plan must hold for the rule to apply; absent: any plan.
    pub with: Option<RawId>,
    /// The repairs it adds.
    pub add: Vec<RawId>,
    /// Where it comes from.
    pub basis: Sp<RawBasis>,
}

/// One line of an expert's fixed order: exactly one of `symptom` (with `steps`) and `check` (with `finds`).
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawChecklist {
    /// The symptom that the order is for.
    pub symptom: Option<RawId>,
    /// Checks and repairs, in order.
    #[serde(default)]
    pub steps: Vec<RawId>,
    /// The check whose findings these are.
    pub check: Option<RawId>,
    /// Outcome to what is done next: checks and repairs.
    #[serde(default)]
    pub finds: IndexMap<RawId, Vec<RawId>>,
    /// Where it comes from.
    pub basis: Sp<RawBasis>,
}
