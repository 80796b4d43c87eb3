//! The manifest: `craft.yaml`.

use super::{RawBasis, RawId, RawNumber, Sp};
use indexmap::IndexMap;
use schemars::JsonSchema;
use serde::Deserialize;

/// `craft.yaml`, the manifest.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawManifest {
    /// The version of the format: 1.
    pub format: Sp<u32>,
    /// The knowledge base's id.
    pub id: RawId,
    /// Its version, as in semantic versioning.
    pub version: Sp<String>,
    /// Its title.
    pub title: String,
    /// Folders whose files it shares with other knowledge bases, named from its own.
    #[serde(default)]
    pub shares: Vec<Sp<String>>,
    /// A cause's rate times this is its chance before history.
    pub chance_per_rate: RawNumber,
    /// The chance that any answer is misread or mistyped.
    pub slip: RawNumber,
    /// ISO 4217.
    pub currency: Sp<String>,
    /// What may or may not be fitted.
    pub options: IndexMap<RawId, RawOption>,
    /// Which carburetor feeds which cylinder, which pump which carburetor.
    pub layouts: Vec<RawLayout>,
    /// How history multiplies odds.
    pub history_rules: RawHistoryRules,
    /// Who uses it.
    pub users: IndexMap<RawId, RawUser>,
    /// What things cost that are not work.
    pub costs: RawCosts,
    /// The basis of the manifest's numbers.
    pub basis: Sp<RawBasis>,
}

/// One option.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawOption {
    /// What it is, in plain words.
    pub title: String,
    /// Whether most craft have it.
    pub usual: bool,
}

/// One layout.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawLayout {
    /// Its id.
    pub id: RawId,
    /// In plain words.
    pub title: String,
    /// Cylinder names, the magneto end first.
    pub cylinders: Vec<RawId>,
    /// Carburetor name to the cylinders it feeds.
    pub carburetors: IndexMap<RawId, Vec<RawId>>,
    /// Pump name to the carburetors it feeds.
    pub pumps: IndexMap<RawId, Vec<RawId>>,
    /// Whether it is the usual one.
    #[serde(default)]
    pub usual: bool,
}

/// How history multiplies odds.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawHistoryRules {
    /// The most the product of multipliers may be (and its inverse the least).
    pub odds_cap: RawNumber,
    /// The most a chance may be after history.
    pub chance_cap: RawNumber,
    /// The power of all but the largest multiplier in a story.
    pub story_power: RawNumber,
}

/// One kind of user.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawUser {
    /// Money an hour.
    pub labor: RawNumber,
    /// Their minutes for one of ours.
    pub pace: RawNumber,
    /// The highest skill they may use; absent: any.
    pub skill: Option<Sp<u32>>,
    /// The access they may open; absent: any.
    pub access: Option<Vec<RawId>>,
    /// How many questions they stand.
    pub asks: Option<u32>,
    /// What handing over costs them; absent: what it costs anyone.
    pub hand_over: Option<RawNumber>,
    /// The share of a checker's time they need.
    pub checker_share: Option<RawNumber>,
    /// Access that needs a checker's word.
    #[serde(default)]
    pub sign_off: Vec<RawId>,
}

/// What things cost that are not work.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawCosts {
    /// Handing the craft over to a specialist.
    pub hand_over: RawNumber,
    /// A trip for nothing: brought in by an owner on the phone who could have put it right himself.
    pub wasted_trip: RawNumber,
    /// A comeback after a wrong repair.
    pub comeback: RawNumber,
    /// Minutes to try the symptom after a repair, the craft whole again.
    pub try_again: Option<RawNumber>,
    /// Minutes until another call is where the last one ended.
    pub call_again: Option<RawNumber>,
    /// Named risks.
    #[serde(default)]
    pub risk: IndexMap<RawId, RawNumber>,
    /// Where these come from.
    pub basis: Sp<RawBasis>,
}
