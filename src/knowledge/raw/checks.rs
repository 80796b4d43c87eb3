//! Checks: outcomes, readings, rows of chances.

use super::Location;
use super::{RawAbility, RawBasis, RawBattery, RawFitted, RawId, RawNumber, RawScope, RawTurns, Sp};
use indexmap::IndexMap;
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::Deserialize;
use serde::de::{self, Deserializer, MapAccess, SeqAccess, Visitor};
use std::borrow::Cow;
use std::fmt;

/// Something one can look at, do or measure. Either `outcomes`, or `reading` with `bands`.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawCheck {
    /// `ck-...`
    pub id: RawId,
    /// Its name.
    pub title: String,
    /// One instance for each.
    pub per: Option<RawScope>,
    /// The question.
    pub ask: String,
    /// The question for an owner on the phone; absent: not for owners.
    pub owner: Option<RawOwner>,
    /// What to do, step by step.
    pub how: Vec<String>,
    /// What trips people up.
    #[serde(default)]
    pub mind: Vec<String>,
    /// The named answers, best first where `again: worst`.
    pub outcomes: Option<Vec<RawId>>,
    /// Plain words for outcomes or bands.
    #[serde(default)]
    pub says: IndexMap<RawId, String>,
    /// A number with a unit.
    pub reading: Option<RawReading>,
    /// Named bands of a reading: [low, high), covering least..most.
    pub bands: Option<IndexMap<RawId, Sp<(f64, f64)>>>,
    /// The outcomes or bands that mean all is well.
    #[serde(default)]
    pub pass: Vec<RawId>,
    /// The first row that holds gives the chances.
    pub given: Vec<Sp<RawRow>>,
    /// What it costs.
    pub cost: RawCost,
    /// What must be open.
    #[serde(default)]
    pub access: Vec<RawId>,
    /// What it needs.
    #[serde(default)]
    pub tools: Vec<Sp<String>>,
    /// What the craft must be able to do.
    #[serde(default)]
    pub able: Vec<Sp<RawAbility>>,
    /// Outcome to the abilities it takes away.
    #[serde(default)]
    pub denies: IndexMap<RawId, Vec<Sp<RawAbility>>>,
    /// The cautions it asks for.
    #[serde(default)]
    pub raises: Vec<RawId>,
    /// It cranks, runs, arcs or switches a live circuit.
    #[serde(default)]
    pub ignites: bool,
    /// How it turns the engine.
    #[serde(default)]
    pub turns: RawTurns,
    /// What the battery must be.
    pub battery: Option<RawBattery>,
    /// Checks it makes worthless until the next start.
    #[serde(default)]
    pub spoils: Vec<RawId>,
    /// States of access that it puts back before it turns the engine.
    #[serde(default)]
    pub turns_shut: Vec<RawId>,
    /// States of access that are put back when it is done.
    #[serde(default)]
    pub ends_shut: Vec<RawId>,
    /// It draws fuel out of the tank, so it tells nothing while that is empty.
    #[serde(default)]
    pub draws_fuel: bool,
    /// Offered only while one of these answers stands.
    #[serde(default)]
    pub after: IndexMap<RawId, Vec<RawId>>,
    /// Of several answers, which counts.
    #[serde(default)]
    pub again: RawAgain,
    /// Skill: 1 owner, 2 trainee, 3 bench, 4 specialist.
    pub skill: Sp<u32>,
    /// The craft it belongs to.
    #[serde(default)]
    pub fitted: RawFitted,
    /// Where its numbers come from.
    pub basis: Sp<RawBasis>,
}

/// The question for an owner.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawOwner {
    /// What to say.
    pub ask: String,
    /// What is asked for.
    pub kind: RawOwnerKind,
    /// What to listen for on the line, or to look for on a photo.
    pub listen: Option<String>,
    /// Outcome or band to what an owner is likely to say for it, in their own words.
    #[serde(default)]
    pub sounds: IndexMap<RawId, Vec<String>>,
    /// Words of owners that mean more than one thing, and what to ask then.
    #[serde(default)]
    pub mind: Vec<String>,
}

/// What an owner is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RawOwnerKind {
    /// A look.
    Look,
    /// A sound over the phone.
    Sound,
    /// A photo.
    Photo,
    /// Something done.
    Do,
    /// A memory.
    Memory,
    /// A number.
    Number,
}

/// What a check costs.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawCost {
    /// Hands-on minutes with access open.
    pub minutes: RawNumber,
    /// Money for things used up.
    pub money: Option<RawNumber>,
}

/// Of several answers to one check, which counts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RawAgain {
    /// The last.
    #[default]
    Last,
    /// The worst; outcomes are listed best first.
    Worst,
    /// Each counts on its own.
    Each,
}

/// A reading.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawReading {
    /// pressure, voltage, resistance, ...
    pub quantity: Sp<String>,
    /// The unit the numbers here are in.
    pub unit: Sp<String>,
    /// The least it can read.
    pub least: RawNumber,
    /// The most it can read.
    pub most: RawNumber,
    /// The instrument's own error, one standard deviation.
    pub standard_error: RawNumber,
    /// `altitude`: means and sds scale with air pressure.
    pub corrected: Option<Sp<String>>,
    /// The reading counts against a figure of the build sheet.
    pub relative_to: Option<RawRelative>,
    /// The name of an answer beyond `most`.
    pub over: Option<RawId>,
}

/// A reading against a figure of the build sheet.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawRelative {
    /// The figure's key in the case's `sheet`.
    pub sheet: RawId,
    /// How they compare.
    #[serde(rename = "as")]
    pub how: Sp<RawCompare>,
}

/// How a reading compares with the sheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RawCompare {
    /// Reading minus sheet.
    Difference,
    /// Percent of sheet.
    Percent,
}

/// One row: `chances` for outcomes, `normal` for readings.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawRow {
    /// When it holds; absent: always.
    pub when: Option<Sp<RawWhen>>,
    /// Outcome to chance.
    pub chances: Option<IndexMap<RawId, RawNumber>>,
    /// What it gives where the answer before was not well and the craft was aired since; absent: the same.
    pub aired: Option<Sp<RawAired>>,
    /// One normal distribution, or a mixture.
    pub normal: Option<RawNormals>,
    /// Where its numbers come from, where that differs.
    pub basis: Option<Sp<RawBasis>>,
}

/// What a row gives after airing.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawAired {
    /// Outcome to chance.
    pub chances: IndexMap<RawId, RawNumber>,
    /// Where its numbers come from, where that differs.
    pub basis: Option<Sp<RawBasis>>,
}

/// A condition on states: `{cylinder-flooded: true}` (all that is named must hold), `any_of`, `all_of`, `not`.
#[derive(Clone, Debug, Default)]
pub struct RawWhen {
    /// State to whether it is present.
    pub states: Vec<(RawId, bool)>,
    /// Any of these states.
    pub any_of: Vec<RawId>,
    /// All of these states.
    pub all_of: Vec<RawId>,
    /// None of these states.
    pub not: Vec<RawId>,
}

impl<'de> Deserialize<'de> for RawWhen {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct When;
        impl<'de> Visitor<'de> for When {
            type Value = RawWhen;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a map of states to true or false, or any_of, all_of, not with a list of states")
            }
            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<RawWhen, A::Error> {
                let mut when = RawWhen::default();
                while let Some(key) = map.next_key::<RawId>()? {
                    match key.value.as_str() {
                        "any_of" => when.any_of = map.next_value()?,
                        "all_of" => when.all_of = map.next_value()?,
                        "not" => when.not = map.next_value()?,
                        _ => when.states.push((key, map.next_value()?)),
                    }
                }
                Ok(when)
            }
        }
        deserializer.deserialize_map(When)
    }
}

/// One part of a mixture.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawNormal {
    /// Its share; absent: 1.
    pub share: Option<RawNumber>,
    /// Mean.
    pub mean: Option<RawNumber>,
    /// Standard deviation of the craft, without the instrument's.
    pub sd: Option<RawNumber>,
    /// This share reads over the end of the scale.
    #[serde(default)]
    pub over: bool,
}

/// One normal distribution, or a list that mixes several.
#[derive(Clone, Debug)]
pub struct RawNormals(pub Vec<Sp<RawNormal>>);

impl<'de> Deserialize<'de> for RawNormals {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Normals;
        impl<'de> Visitor<'de> for Normals {
            type Value = RawNormals;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("{mean, sd} or a list of {share, mean, sd}")
            }
            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<RawNormals, A::Error> {
                let one = RawNormal::deserialize(de::value::MapAccessDeserializer::new(map))?;
                Ok(RawNormals(vec![Sp { value: one, at: Location::UNKNOWN }]))
            }
            fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<RawNormals, A::Error> {
                let mut parts = Vec::new();
                while let Some(part) = seq.next_element()? {
                    parts.push(part);
                }
                Ok(RawNormals(parts))
            }
        }
        deserializer.deserialize_any(Normals)
    }
}

impl JsonSchema for RawWhen {
    fn schema_name() -> Cow<'static, str> {
        "RawWhen".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        let states = json_schema!({"type": "array", "items": {"type": "string"}});
        json_schema!({
            "description": "States and whether they are present; all that is named must hold.",
            "type": "object",
            "properties": {"any_of": states, "all_of": states, "not": states},
            "additionalProperties": {"type": "boolean"}
        })
    }
}

impl JsonSchema for RawNormals {
    fn schema_name() -> Cow<'static, str> {
        "RawNormals".into()
    }
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let one = generator.subschema_for::<RawNormal>();
        json_schema!({
            "description": "One normal distribution, or a list that mixes several.",
            "oneOf": [one, {"type": "array", "items": one}]
        })
    }
}
