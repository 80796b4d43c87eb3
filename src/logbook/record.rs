//! One closed job, as it is kept and as it goes out and comes in.

use crate::units::{Minutes, Money};
use jiff::Timestamp;
use serde::{Deserialize, Serialize};

/// The version of the shape of a record.
pub const FORMAT: u32 = 1;

/// One closed job. Ids are those of the knowledge base that it names; no person's name is needed anywhere.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Record {
    /// The version of this shape: 1.
    pub format: u32,
    /// The id of the content of the case: 32 hexadecimal digits.
    pub id: String,
    /// The knowledge base the case is of.
    pub knowledge: Of,
    /// When it was closed.
    pub closed: Timestamp,
    /// A name for the job.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub title: Option<String>,
    /// Where it was worked.
    pub channel: Channel,
    /// The layout.
    pub layout: String,
    /// The symptoms named.
    pub symptoms: Vec<String>,
    /// The causes of the complaint that were confirmed, `id@place`.
    pub causes: Vec<String>,
    /// Causes that were found beside them.
    #[serde(default)]
    pub also_found: Vec<String>,
    /// The repairs done, in order.
    #[serde(default)]
    pub repairs: Vec<String>,
    /// The repair after which the symptom was gone.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fixed_by: Option<String>,
    /// How it ended.
    pub end: End,
    /// Whether the first repair cured it, where that is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub first_time: Option<bool>,
    /// Minutes spent.
    #[serde(default, skip_serializing_if = "Option::is_none", with = "minutes")]
    pub minutes: Option<Minutes>,
    /// Parts used.
    #[serde(default)]
    pub parts: Vec<Part>,
    /// What the work and the parts came to, where the minutes and the parts with their prices are known.
    #[serde(default, skip_serializing_if = "Option::is_none", with = "money")]
    pub spent: Option<Money>,
    /// What the work order foresaw before the first repair.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub plan: Option<Planned>,
    /// What was believed of each cause before the first repair, the likeliest first.
    #[serde(default)]
    pub believed: Vec<Believed>,
    /// A note. It stays on this machine unless it is asked for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// The case file as it was.
    pub case: String,
}

/// A knowledge base.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Of {
    /// Its id.
    pub id: String,
    /// Its version.
    pub version: String,
}

/// Where a job was worked.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Channel {
    /// On the bench.
    #[default]
    Shop,
    /// With the owner on the phone.
    Phone,
}

impl Channel {
    /// `shop`, `phone`.
    #[must_use]
    pub fn id(self) -> &'static str {
        match self {
            Self::Shop => "shop",
            Self::Phone => "phone",
        }
    }
}

/// How a job ended.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum End {
    /// The symptom was tried after the repair and is gone.
    Cured,
    /// Handed over to a specialist, or given up.
    HandedOver,
    /// Nobody knows.
    #[default]
    NotKnown,
}

impl End {
    /// `cured`, `handed-over`, `not-known`.
    #[must_use]
    pub fn id(self) -> &'static str {
        match self {
            Self::Cured => "cured",
            Self::HandedOver => "handed-over",
            Self::NotKnown => "not-known",
        }
    }
}

/// A part used.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Part {
    /// What.
    pub item: String,
    /// How many.
    pub count: u32,
    /// The price of one, where it is known.
    #[serde(default, skip_serializing_if = "Option::is_none", with = "money")]
    pub each: Option<Money>,
}

/// What a work order foresaw.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Planned {
    /// Minutes.
    #[serde(with = "some_minutes")]
    pub minutes: Minutes,
    /// Labor and parts.
    #[serde(with = "some_money")]
    pub money: Money,
}

/// What was believed of one cause.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Believed {
    /// The cause, `id@place`.
    pub cause: String,
    /// Its chance, 0..=1.
    pub chance: f64,
}

/// What a record can be trusted for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Standing {
    /// The cause was seen, the repair was done, the symptom was tried and is gone: counted in full.
    Confirmed,
    /// The symptom is gone and no cause was seen, or a cause was seen and the symptom was not tried: kept, not learned
    /// from.
    Unproved,
    /// Neither.
    Unconfirmed,
}

impl Standing {
    /// `confirmed`, `unproved`, `unconfirmed`.
    #[must_use]
    pub fn id(self) -> &'static str {
        match self {
            Self::Confirmed => "confirmed",
            Self::Unproved => "unproved",
            Self::Unconfirmed => "unconfirmed",
        }
    }
}

impl Record {
    /// What it can be trusted for.
    #[must_use]
    pub fn standing(&self) -> Standing {
        match (self.causes.is_empty(), self.end == End::Cured) {
            (false, true) if !self.repairs.is_empty() => Standing::Confirmed,
            (true, false) => Standing::Unconfirmed,
            _ => Standing::Unproved,
        }
    }

    /// What parts came to; those without a price count as nothing.
    #[must_use]
    pub fn parts_money(&self) -> Money {
        self.parts.iter().filter_map(|part| part.each.map(|each| each * f64::from(part.count))).sum()
    }

    /// What is wrong with it, where it does not come from this program: its format, its id, a chance that is none.
    ///
    /// # Errors
    /// The first thing that is wrong.
    pub fn check(&self) -> Result<(), String> {
        if self.format != FORMAT {
            return Err(format!("expected format `{FORMAT}`, found `{}`", self.format));
        }
        if self.id.len() != 32 || !self.id.chars().all(|c| c.is_ascii_digit() || ('a'..='f').contains(&c)) {
            return Err(format!("expected an id of 32 hexadecimal digits, found `{}`", self.id));
        }
        match self.believed.iter().find(|b| !(0.0..=1.0).contains(&b.chance)) {
            Some(b) => Err(format!("expected a chance from 0 to 1 for `{}`, found `{}`", b.cause, b.chance)),
            None => Ok(()),
        }
    }
}

macro_rules! amounts {
    ($optional:ident, $plain:ident, $kind:ident) => {
        mod $plain {
            use crate::units::$kind;
            use serde::{Deserialize, Deserializer, Serializer, de::Error};

            pub fn serialize<S: Serializer>(value: &$kind, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.serialize_f64(value.get())
            }

            pub fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<$kind, D::Error> {
                let value = f64::deserialize(deserializer)?;
                $kind::new(value)
                    .ok_or_else(|| Error::custom(format!("expected an amount of zero or more, found `{value}`")))
            }
        }

        mod $optional {
            use crate::units::$kind;
            use serde::{Deserialize, Deserializer, Serializer, de::Error};

            #[expect(clippy::ref_option, reason = "serde asks for a reference")]
            pub fn serialize<S: Serializer>(value: &Option<$kind>, serializer: S) -> Result<S::Ok, S::Error> {
                match value {
                    Some(value) => serializer.serialize_some(&value.get()),
                    None => serializer.serialize_none(),
                }
            }

            pub fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<$kind>, D::Error> {
                let Some(value) = Option::<f64>::deserialize(deserializer)? else { return Ok(None) };
                match $kind::new(value) {
                    Some(amount) => Ok(Some(amount)),
                    None => Err(Error::custom(format!("expected an amount of zero or more, found `{value}`"))),
                }
            }
        }
    };
}

amounts!(minutes, some_minutes, Minutes);
amounts!(money, some_money, Money);
