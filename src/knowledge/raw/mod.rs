//! The YAML shapes, with the place of everything that can be wrong. Nothing is checked here but the shape itself;
//! [`super::resolve`] turns these into a [`super::Knowledge`] and says all that is wrong at once.
//!
//! Shapes are externally tagged enums and flat structs of optional keys: `flatten`, `untagged` and `tag =` lose places.

mod checks;
mod craft;
mod extras;
mod faults;
mod history;
mod repairs;
mod safety;

pub use checks::*;
pub use craft::*;
pub use extras::*;
pub use faults::*;
pub use history::*;
pub use repairs::*;
pub use safety::*;

use crate::finding::Place;
use indexmap::IndexMap;
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::Deserialize;
use serde::de::{self, Deserializer, SeqAccess, Visitor};
use std::borrow::Cow;
use std::fmt;
use std::marker::PhantomData;

pub use super::node::Location;
use super::node::WITH_PLACE;

/// A value and where it stands: line and column, one-based.
#[derive(Clone, Debug)]
pub struct Sp<T> {
    /// The value.
    pub value: T,
    /// Where it stands in its file.
    pub at: Location,
}

impl<'de, T: Deserialize<'de>> Deserialize<'de> for Sp<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Placed<T>(PhantomData<T>);
        impl<'de, T: Deserialize<'de>> Visitor<'de> for Placed<T> {
            type Value = Sp<T>;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a value with its place")
            }
            fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Sp<T>, A::Error> {
                let line = seq.next_element()?.unwrap_or_default();
                let column = seq.next_element()?.unwrap_or_default();
                let value = seq.next_element()?.ok_or_else(|| de::Error::invalid_length(2, &self))?;
                Ok(Sp { value, at: Location::new(line, column) })
            }
        }
        deserializer.deserialize_tuple_struct(WITH_PLACE, 3, Placed(PhantomData))
    }
}

/// The shape is that of the value: places are ours, not the author's.
impl<T: JsonSchema> JsonSchema for Sp<T> {
    fn inline_schema() -> bool {
        T::inline_schema()
    }
    fn schema_name() -> Cow<'static, str> {
        T::schema_name()
    }
    fn schema_id() -> Cow<'static, str> {
        T::schema_id()
    }
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        T::json_schema(generator)
    }
}

impl<T: PartialEq> PartialEq for Sp<T> {
    fn eq(&self, other: &Self) -> bool {
        self.value == other.value
    }
}
impl<T: Eq> Eq for Sp<T> {}
impl<T: std::hash::Hash> std::hash::Hash for Sp<T> {
    fn hash<H: std::hash::Hasher>(&self, state: &mut H) {
        self.value.hash(state);
    }
}

/// A knowledge base as its files say it, before anything but the shapes is checked.
#[derive(Clone, Debug, Default)]
pub struct RawKnowledge {
    /// The names of the files, as given.
    pub files: Vec<String>,
    /// `craft.yaml`.
    pub manifest: Option<In<RawManifest>>,
    /// Facts asked at intake, in file order.
    pub history: Vec<In<RawHistory>>,
    /// Root faults.
    pub causes: Vec<In<RawCause>>,
    /// Intermediate events.
    pub effects: Vec<In<RawEffect>>,
    /// What the customer complains of.
    pub symptoms: Vec<In<RawSymptom>>,
    /// What one can look at, do or measure.
    pub checks: Vec<In<RawCheck>>,
    /// States of disassembly.
    pub access: Vec<In<RawAccess>>,
    /// Work.
    pub repairs: Vec<In<RawRepair>>,
    /// What can hurt.
    pub hazards: Vec<In<RawHazard>>,
    /// What forbids what.
    pub interlocks: Vec<In<RawInterlock>>,
    /// What comes along with what.
    pub companions: Vec<In<RawCompanion>>,
    /// What is written down before and set after.
    pub settings: Vec<In<RawSetting>>,
    /// Published sources.
    pub sources: Vec<In<RawSource>>,
    /// What adds repairs to a plan.
    pub plan_rules: Vec<In<RawPlanRule>>,
    /// An expert's fixed order.
    pub checklist: Vec<In<RawChecklist>>,
    /// Words within texts that look like ids, and where each text begins.
    pub mentions: Vec<(Place, String)>,
    /// Words of comments that look like ids.
    pub commented: std::collections::BTreeSet<String>,
    /// Ids that stand in files or items that could not be read: those who name them are not to blame.
    pub unread: std::collections::BTreeSet<String>,
    /// Whether anything was wrong with the files: what seems to be missing may be there.
    pub flawed: bool,
}

/// An item and where it comes from.
#[derive(Clone, Debug)]
pub struct In<T> {
    /// The position of its file in [`RawKnowledge::files`].
    pub file: usize,
    /// Its path in that file: `causes[3]`; for the manifest empty.
    pub path: String,
    /// The item.
    pub item: T,
}

/// An id as written, with its place.
pub type RawId = Sp<String>;
/// A number as written, with its place.
pub type RawNumber = Sp<f64>;

/// Where a number comes from.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RawBasis {
    /// The habit of the trade; no published source.
    CommonPractice,
    /// A guess, said to be one.
    Estimate,
    /// A source listed in `sources.yaml`.
    Published(RawId),
}

/// `per:`, what an item has one instance for each of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RawScope {
    /// One for each cylinder.
    Cylinder,
    /// One for each carburetor.
    Carburetor,
    /// One for each fuel pump.
    Pump,
}

/// `at:`, the end of a row of places.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RawEnd {
    /// The first place, as the layout names them.
    First,
    /// The last.
    Last,
}

/// `fitted:`, the craft an item belongs to: all that is named must hold.
pub type RawFitted = IndexMap<RawId, Sp<RawFit>>;

/// What `fitted:` asks of one key.
#[derive(Clone, Debug, PartialEq)]
pub enum RawFit {
    /// An option that is, or is not, fitted.
    Option(bool),
    /// `cylinders:` a number of cylinders.
    Count(u64),
    /// `layout:` one of these layouts.
    Layouts(Vec<String>),
}

impl<'de> Deserialize<'de> for RawFit {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Fit;
        impl<'de> Visitor<'de> for Fit {
            type Value = RawFit;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("true, false, a number of cylinders or a list of layouts")
            }
            fn visit_bool<E: de::Error>(self, v: bool) -> Result<RawFit, E> {
                Ok(RawFit::Option(v))
            }
            fn visit_u64<E: de::Error>(self, v: u64) -> Result<RawFit, E> {
                Ok(RawFit::Count(v))
            }
            fn visit_i64<E: de::Error>(self, v: i64) -> Result<RawFit, E> {
                u64::try_from(v)
                    .map(RawFit::Count)
                    .map_err(|_| E::custom("expected a number of cylinders, not a negative number"))
            }
            fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<RawFit, A::Error> {
                let mut layouts = Vec::new();
                while let Some(id) = seq.next_element()? {
                    layouts.push(id);
                }
                Ok(RawFit::Layouts(layouts))
            }
        }
        deserializer.deserialize_any(Fit)
    }
}

impl JsonSchema for RawFit {
    fn schema_name() -> Cow<'static, str> {
        "RawFit".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "description": "Whether an option is fitted; for `cylinders` how many; for `layout` a list of layouts.",
            "oneOf": [
                {"type": "boolean"},
                {"type": "integer", "minimum": 0},
                {"type": "array", "items": {"type": "string"}}
            ]
        })
    }
}
