//! The shape of a case file, as a person writes it.

use crate::knowledge::raw::{Location, RawId, RawOpenShut, Sp};
use indexmap::IndexMap;
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::Deserialize;

/// One job: the craft, its history, what the customer complains of, and what was seen and done since.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct RawCase {
    /// The version of the format: 1.
    pub(super) format: Sp<u32>,
    /// The knowledge base it was written with.
    pub(super) knowledge: RawOf,
    /// A name for the job.
    pub(super) title: Option<String>,
    /// What stands on the bench.
    #[serde(default)]
    pub(super) craft: RawCraft,
    /// The height above the sea, with its unit: `350 m`.
    pub(super) altitude: Option<Sp<String>>,
    /// Who works on it: technician, owner, trainee or another user of the knowledge base.
    pub(super) user: Option<RawId>,
    /// The special tools at hand; absent: all.
    pub(super) tools: Option<Vec<Sp<String>>>,
    /// Figures of the build sheet, with their units: `opening-pressure: 25 psi`.
    #[serde(default)]
    pub(super) sheet: IndexMap<RawId, Sp<String>>,
    /// Fact to answer: `cx-hose-type: old-original-resin-hose`.
    #[serde(default)]
    pub(super) history: IndexMap<RawId, RawId>,
    /// The fact that the interview asks next, where it was left among these questions; absent: it goes on with checks.
    pub(super) history_next: Option<RawId>,
    /// What the customer complains of: `sy-...`
    #[serde(default)]
    pub(super) symptoms: Vec<RawId>,
    /// What was seen and done, in order.
    #[serde(default)]
    pub(super) log: Vec<Sp<RawEntry>>,
}

/// A knowledge base by name.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct RawOf {
    /// Its id.
    pub(super) id: RawId,
    /// Its version; another one is refused.
    pub(super) version: Option<Sp<String>>,
}

/// What stands on the bench.
#[derive(Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct RawCraft {
    /// The layout of cylinders, carburetors and pumps; absent: the usual one.
    pub(super) layout: Option<RawId>,
    /// Option to whether it is fitted; absent: as usual.
    #[serde(default)]
    #[schemars(with = "IndexMap<RawId, bool>")]
    pub(super) options: IndexMap<RawId, Sp<String>>,
}

/// One entry of the log: exactly one of `check`, `access`, `repair`, `symptom`, `tick`, `found`, `set`, `left` and
/// `emergency`, with what goes with it.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(transform = one_kind)]
pub(super) struct RawEntry {
    /// When, as in RFC 3339.
    pub(super) at: Option<Sp<String>>,
    /// A check, `id` or `id@place`; with `outcome`, `reading`, `could_not` or `unknown`.
    pub(super) check: Option<RawId>,
    /// What the check showed.
    pub(super) outcome: Option<RawId>,
    /// What the check measured, with its unit: `142 psi`.
    #[schemars(with = "Option<Scalar>")]
    pub(super) reading: Option<Sp<String>>,
    /// It could not be done.
    pub(super) could_not: Option<Sp<bool>>,
    /// It was done and nobody can tell.
    pub(super) unknown: Option<Sp<bool>>,
    /// How long the craft was aired before: `10 min`.
    pub(super) aired: Option<Sp<String>>,
    /// A state of disassembly; with `now`.
    pub(super) access: Option<RawId>,
    /// Whether the access is open or shut from here on.
    pub(super) now: Option<Sp<RawOpenShut>>,
    /// A repair that was done, `id` or `id@place`; without a place on all.
    pub(super) repair: Option<RawId>,
    /// A symptom that was tried; with `present`.
    pub(super) symptom: Option<RawId>,
    /// Whether the symptom, what was found, or the emergency is there.
    pub(super) present: Option<Sp<bool>>,
    /// Something a person confirmed.
    pub(super) tick: Option<RawId>,
    /// A cause or a companion that was found; with `present`.
    pub(super) found: Option<RawId>,
    /// A setting that was written down, `id` or `id@place`; with `value`.
    pub(super) set: Option<RawId>,
    /// The value of the setting.
    #[schemars(with = "Option<Scalar>")]
    pub(super) value: Option<Sp<String>>,
    /// A repair that was left to whoever has the craft, to be done before the next call; `id` or `id@place`.
    pub(super) left: Option<RawId>,
    /// An interlock that ended the job; with `present`, which is `false` once the craft was declared safe.
    pub(super) emergency: Option<RawId>,
}

/// Text that may be written as a bare number.
#[derive(JsonSchema)]
#[schemars(untagged, inline)]
#[expect(dead_code, reason = "only its shape is used")]
pub(super) enum Scalar {
    Text(String),
    Number(f64),
}

/// The keys that say what kind of entry it is: one of them must be there.
pub(super) const KINDS: [&str; 9] =
    ["check", "access", "repair", "symptom", "tick", "found", "set", "left", "emergency"];

pub(super) fn one_kind(schema: &mut Schema) {
    let one = KINDS.map(|kind| json_schema!({ "required": [kind] }).to_value());
    schema.insert("oneOf".to_owned(), one.to_vec().into());
}

/// The shape of a case file.
#[must_use]
pub fn shape(shapes: &mut SchemaGenerator) -> Schema {
    shapes.subschema_for::<RawCase>()
}

impl RawEntry {
    /// The keys that say what kind of entry it is, with their places.
    pub(super) fn kinds(&self) -> Vec<(&'static str, Location)> {
        let keys = [
            ("check", &self.check),
            ("access", &self.access),
            ("repair", &self.repair),
            ("symptom", &self.symptom),
            ("tick", &self.tick),
            ("found", &self.found),
            ("set", &self.set),
            ("left", &self.left),
            ("emergency", &self.emergency),
        ];
        keys.into_iter().filter_map(|(key, id)| id.as_ref().map(|id| (key, id.at))).collect()
    }

    /// The other keys that are given, with their places.
    pub(super) fn others(&self) -> Vec<(&'static str, Location)> {
        let keys = [
            ("outcome", self.outcome.as_ref().map(|v| v.at)),
            ("reading", self.reading.as_ref().map(|v| v.at)),
            ("could_not", self.could_not.as_ref().map(|v| v.at)),
            ("unknown", self.unknown.as_ref().map(|v| v.at)),
            ("aired", self.aired.as_ref().map(|v| v.at)),
            ("now", self.now.as_ref().map(|v| v.at)),
            ("present", self.present.as_ref().map(|v| v.at)),
            ("value", self.value.as_ref().map(|v| v.at)),
        ];
        keys.into_iter().filter_map(|(key, at)| at.map(|at| (key, at))).collect()
    }
}

/// The keys that go with each kind of entry.
pub(super) fn goes_with(kind: &str) -> &'static [&'static str] {
    match kind {
        "check" => &["outcome", "reading", "could_not", "unknown", "aired"],
        "access" => &["now"],
        "symptom" | "found" | "emergency" => &["present"],
        "set" => &["value"],
        _ => &[],
    }
}
