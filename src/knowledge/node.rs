//! A YAML file as a tree with places, and the reading of types from it.
//!
//! Types are read from this tree and not from the parser: each of the many shapes is then compiled for one small
//! reader only, which keeps a build short, and every error knows its place and the path to it.

use crate::units::is_printable;

use serde::de::value::StrDeserializer;
use serde::de::{
    self, Deserialize, DeserializeSeed, Deserializer, EnumAccess, Expected, IntoDeserializer, MapAccess, SeqAccess,
    Unexpected, VariantAccess, Visitor,
};
use std::fmt;

/// The name under which [`super::raw::Sp`] asks for a value with its place.
pub const WITH_PLACE: &str = "$place";

/// Where something stands in its file: line and column, from one; 0 where that is not known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Location {
    line: u32,
    column: u32,
}

impl Location {
    /// Nowhere.
    pub const UNKNOWN: Self = Self { line: 0, column: 0 };

    /// A line and a column.
    #[must_use]
    pub const fn new(line: u32, column: u32) -> Self {
        Self { line, column }
    }

    /// The line, from one.
    #[must_use]
    pub const fn line(self) -> u32 {
        self.line
    }

    /// The column, from one.
    #[must_use]
    pub const fn column(self) -> u32 {
        self.column
    }
}

impl From<serde_yaml::Location> for Location {
    fn from(at: serde_yaml::Location) -> Self {
        let narrow = |n: u64| u32::try_from(n).unwrap_or(u32::MAX);
        Self::new(narrow(at.line()), narrow(at.column()))
    }
}

/// A value of any shape and its place.
#[derive(Clone, Debug)]
pub struct Node {
    /// Its place.
    pub at: Location,
    /// What it is.
    pub value: Value,
}

/// A value of any shape.
#[derive(Clone, Debug)]
pub enum Value {
    /// Nothing.
    Null,
    /// `true` or `false`.
    Bool(bool),
    /// A whole number.
    Whole(i64),
    /// A number with a fraction, or beyond whole numbers.
    Number(f64),
    /// Text.
    Text(String),
    /// A list.
    List(Vec<Node>),
    /// A map, keys in file order, a key that stands twice included.
    Map(Vec<(Node, Node)>),
}

impl<'de> Deserialize<'de> for Node {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let spanned = serde_yaml::Spanned::<Value>::deserialize(deserializer)?;
        Ok(Self { at: spanned.referenced.into(), value: spanned.value })
    }
}

impl<'de> Deserialize<'de> for Value {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct AnyValue;
        impl<'de> Visitor<'de> for AnyValue {
            type Value = Value;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("any YAML")
            }
            fn visit_unit<E>(self) -> Result<Value, E> {
                Ok(Value::Null)
            }
            fn visit_none<E>(self) -> Result<Value, E> {
                Ok(Value::Null)
            }
            fn visit_some<D: Deserializer<'de>>(self, deserializer: D) -> Result<Value, D::Error> {
                Value::deserialize(deserializer)
            }
            fn visit_bool<E>(self, v: bool) -> Result<Value, E> {
                Ok(Value::Bool(v))
            }
            fn visit_i64<E>(self, v: i64) -> Result<Value, E> {
                Ok(Value::Whole(v))
            }
            fn visit_u64<E>(self, v: u64) -> Result<Value, E> {
                #[expect(clippy::cast_precision_loss, reason = "beyond whole numbers")]
                Ok(i64::try_from(v).map_or(Value::Number(v as f64), Value::Whole))
            }
            fn visit_i128<E>(self, v: i128) -> Result<Value, E> {
                #[expect(clippy::cast_precision_loss, reason = "beyond whole numbers")]
                Ok(Value::Number(v as f64))
            }
            fn visit_u128<E>(self, v: u128) -> Result<Value, E> {
                #[expect(clippy::cast_precision_loss, reason = "beyond whole numbers")]
                Ok(Value::Number(v as f64))
            }
            fn visit_f64<E>(self, v: f64) -> Result<Value, E> {
                Ok(Value::Number(v))
            }
            fn visit_str<E>(self, v: &str) -> Result<Value, E> {
                Ok(Value::Text(v.to_owned()))
            }
            fn visit_bytes<E: de::Error>(self, _: &[u8]) -> Result<Value, E> {
                Err(E::custom("expected text, found binary"))
            }
            fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Value, A::Error> {
                let mut list = Vec::new();
                while let Some(node) = seq.next_element()? {
                    list.push(node);
                }
                Ok(Value::List(list))
            }
            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Value, A::Error> {
                let mut entries = Vec::new();
                while let Some(entry) = map.next_entry()? {
                    entries.push(entry);
                }
                Ok(Value::Map(entries))
            }
        }
        deserializer.deserialize_any(AnyValue)
    }
}

/// What kept a type from being read.
#[derive(Clone, Debug)]
pub struct Misread {
    /// Where; unknown until the value it is about is known.
    pub at: Location,
    /// The path to it: `given[2].chances`.
    pub path: String,
    /// What.
    pub what: What,
}

/// What was wrong.
#[derive(Clone, Debug)]
pub enum What {
    /// A key that is not known, and those that are.
    UnknownKey(String, Vec<&'static str>),
    /// A key that is missing.
    MissingKey(String),
    /// A word that is none of those known.
    UnknownWord(String, Vec<&'static str>),
    /// The same key twice.
    TwiceTheKey(String),
    /// A text where a number was expected.
    NoNumber(String),
    /// A text where `true` or `false` was expected.
    NoTruth(String),
    /// Anything else: expected and found.
    Other(String),
}

impl Misread {
    fn new(what: What) -> Self {
        Self { at: Location::UNKNOWN, path: String::new(), what }
    }

    /// At this place, unless a nearer one is known.
    fn or_at(mut self, at: Location) -> Self {
        if self.at == Location::UNKNOWN {
            self.at = at;
        }
        self
    }

    /// Inside this key or index.
    fn within(mut self, step: &str) -> Self {
        let joint = if self.path.is_empty() || self.path.starts_with('[') { "" } else { "." };
        self.path = format!("{step}{joint}{}", self.path);
        self
    }
}

impl fmt::Display for Misread {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.what {
            What::UnknownKey(key, _) => write!(f, "key `{}` is not known here", shortened(key)),
            What::MissingKey(key) => write!(f, "key `{key}` is missing"),
            What::UnknownWord(word, known) => {
                write!(f, "expected one of {}, found `{}`", quoted(known), shortened(word))
            }
            What::TwiceTheKey(key) => write!(f, "key `{key}` stands twice in one map"),
            What::NoNumber(text) => write!(f, "expected a number, found `{}`", shortened(text)),
            What::NoTruth(text) => write!(f, "expected `true` or `false`, found `{}`", shortened(text)),
            What::Other(message) => f.write_str(message),
        }
    }
}

/// A text from a file, on one line and cut to a length a message can carry.
pub(super) fn shortened(text: &str) -> String {
    const MOST: usize = 60;
    let plain = |c: char| if !is_printable(c) || matches!(c, '\u{2028}' | '\u{2029}') { ' ' } else { c };
    let mut short: String = text.chars().take(MOST).map(plain).collect();
    if text.chars().nth(MOST).is_some() {
        short.push('…');
    }
    short
}

fn quoted(words: &[&str]) -> String {
    words.iter().map(|w| format!("`{w}`")).collect::<Vec<_>>().join(", ")
}

impl std::error::Error for Misread {}

impl de::Error for Misread {
    fn custom<T: fmt::Display>(message: T) -> Self {
        Self::new(What::Other(message.to_string()))
    }
    fn unknown_field(field: &str, expected: &'static [&'static str]) -> Self {
        Self::new(What::UnknownKey(field.to_owned(), expected.to_vec()))
    }
    fn missing_field(field: &'static str) -> Self {
        Self::new(What::MissingKey(field.to_owned()))
    }
    fn duplicate_field(field: &'static str) -> Self {
        Self::new(What::TwiceTheKey(field.to_owned()))
    }
    fn unknown_variant(variant: &str, expected: &'static [&'static str]) -> Self {
        Self::new(What::UnknownWord(variant.to_owned(), expected.to_vec()))
    }
    fn invalid_type(found: Unexpected<'_>, expected: &dyn Expected) -> Self {
        Self::new(What::Other(format!("expected {}, found {}", in_words(&expected.to_string()), found_words(found))))
    }
    fn invalid_value(found: Unexpected<'_>, expected: &dyn Expected) -> Self {
        Self::invalid_type(found, expected)
    }
    fn invalid_length(length: usize, expected: &dyn Expected) -> Self {
        Self::new(What::Other(format!("expected {}, found {length} values", in_words(&expected.to_string()))))
    }
}

/// What a type calls itself, in an author's words.
fn in_words(expected: &str) -> String {
    match expected {
        "f64" | "f32" => "a number".to_owned(),
        "u8" | "u16" | "u32" | "u64" | "usize" => "a whole number, zero or more".to_owned(),
        "i64" | "i32" => "a whole number".to_owned(),
        "a boolean" => "`true` or `false`".to_owned(),
        "a string" | "string" => "text".to_owned(),
        "a sequence" => "a list".to_owned(),
        "a map" => "a map of keys and values".to_owned(),
        "a tuple of size 2" => "a list of two numbers".to_owned(),
        other if other.starts_with("struct ") => "a map of keys and values".to_owned(),
        other if other.starts_with("enum ") || other.contains("variant") => "one of the words known here".to_owned(),
        other => other.to_owned(),
    }
}

fn found_words(found: Unexpected<'_>) -> String {
    match found {
        Unexpected::Str(s) => format!("`{}`", shortened(s)),
        Unexpected::Bool(b) => format!("`{b}`"),
        Unexpected::Signed(n) => format!("`{n}`"),
        Unexpected::Unsigned(n) => format!("`{n}`"),
        Unexpected::Float(n) => format!("`{n}`"),
        Unexpected::Seq => "a list".to_owned(),
        Unexpected::Map => "a map".to_owned(),
        Unexpected::Unit | Unexpected::Option => "nothing".to_owned(),
        other => other.to_string(),
    }
}

impl Node {
    fn found(&self) -> Unexpected<'_> {
        match &self.value {
            Value::Null => Unexpected::Unit,
            Value::Bool(b) => Unexpected::Bool(*b),
            Value::Whole(n) => Unexpected::Signed(*n),
            Value::Number(n) => Unexpected::Float(*n),
            Value::Text(text) => Unexpected::Str(text),
            Value::List(_) => Unexpected::Seq,
            Value::Map(_) => Unexpected::Map,
        }
    }

    fn wrong(&self, expected: &dyn Expected) -> Misread {
        <Misread as de::Error>::invalid_type(self.found(), expected).or_at(self.at)
    }

    /// The text of a key.
    #[must_use]
    pub fn key_text(&self) -> String {
        match &self.value {
            Value::Text(text) => text.clone(),
            Value::Whole(n) => n.to_string(),
            Value::Number(n) => n.to_string(),
            Value::Bool(b) => b.to_string(),
            Value::Null | Value::List(_) | Value::Map(_) => "?".to_owned(),
        }
    }
}

macro_rules! numbers {
    ($($method:ident)*) => {
        $(fn $method<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Misread> {
            match self.value {
                Value::Whole(n) if n < 0 => visitor.visit_i64(n),
                Value::Whole(n) => visitor.visit_u64(n.unsigned_abs()),
                Value::Number(n) => visitor.visit_f64(n),
                Value::Text(ref text) => Err(Misread::new(What::NoNumber(text.clone()))),
                _ => return Err(self.wrong(&visitor)),
            }
            .map_err(|e: Misread| e.or_at(self.at))
        })*
    };
}

impl<'de> Deserializer<'de> for &Node {
    type Error = Misread;

    fn deserialize_any<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Misread> {
        match &self.value {
            Value::Null => visitor.visit_unit(),
            Value::Bool(b) => visitor.visit_bool(*b),
            Value::Whole(n) if *n < 0 => visitor.visit_i64(*n),
            Value::Whole(n) => visitor.visit_u64(n.unsigned_abs()),
            Value::Number(n) => visitor.visit_f64(*n),
            Value::Text(text) => visitor.visit_str(text),
            Value::List(items) => visitor.visit_seq(Items { items: items.iter(), at: 0 }),
            Value::Map(entries) => visitor.visit_map(Entries { entries: entries.iter(), value: None }),
        }
        .map_err(|e: Misread| e.or_at(self.at))
    }

    numbers! {
        deserialize_i8 deserialize_i16 deserialize_i32 deserialize_i64 deserialize_u8 deserialize_u16 deserialize_u32
        deserialize_u64 deserialize_f32 deserialize_f64
    }

    fn deserialize_bool<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Misread> {
        match self.value {
            Value::Bool(b) => visitor.visit_bool(b).map_err(|e: Misread| e.or_at(self.at)),
            Value::Text(ref text) => Err(Misread::new(What::NoTruth(text.clone())).or_at(self.at)),
            _ => Err(self.wrong(&visitor)),
        }
    }

    fn deserialize_char<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Misread> {
        self.deserialize_str(visitor)
    }

    /// A number or a truth stands for the text it was written as: `id: 5`.
    fn deserialize_str<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Misread> {
        match &self.value {
            Value::Text(text) => visitor.visit_str(text),
            Value::Whole(_) | Value::Number(_) | Value::Bool(_) => visitor.visit_string(self.key_text()),
            Value::Null | Value::List(_) | Value::Map(_) => return Err(self.wrong(&visitor)),
        }
        .map_err(|e: Misread| e.or_at(self.at))
    }

    fn deserialize_string<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Misread> {
        self.deserialize_str(visitor)
    }

    fn deserialize_bytes<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Misread> {
        Err(self.wrong(&visitor))
    }

    fn deserialize_byte_buf<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Misread> {
        Err(self.wrong(&visitor))
    }

    fn deserialize_option<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Misread> {
        match self.value {
            Value::Null => visitor.visit_none(),
            _ => visitor.visit_some(self),
        }
    }

    fn deserialize_unit<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Misread> {
        self.deserialize_any(visitor)
    }

    fn deserialize_unit_struct<V: Visitor<'de>>(self, _: &'static str, visitor: V) -> Result<V::Value, Misread> {
        self.deserialize_any(visitor)
    }

    fn deserialize_newtype_struct<V: Visitor<'de>>(self, _: &'static str, visitor: V) -> Result<V::Value, Misread> {
        visitor.visit_newtype_struct(self)
    }

    fn deserialize_seq<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Misread> {
        match &self.value {
            Value::List(_) => self.deserialize_any(visitor),
            _ => Err(self.wrong(&visitor)),
        }
    }

    /// A visitor of a tuple takes what it needs and leaves the rest: too many values are told of here.
    fn deserialize_tuple<V: Visitor<'de>>(self, length: usize, visitor: V) -> Result<V::Value, Misread> {
        match &self.value {
            Value::List(items) if items.len() > length => {
                Err(<Misread as de::Error>::invalid_length(items.len(), &visitor).or_at(self.at))
            }
            _ => self.deserialize_seq(visitor),
        }
    }

    fn deserialize_tuple_struct<V: Visitor<'de>>(
        self,
        name: &'static str,
        _: usize,
        visitor: V,
    ) -> Result<V::Value, Misread> {
        if name == WITH_PLACE {
            visitor.visit_seq(Placed { node: self, given: 0 })
        } else {
            self.deserialize_seq(visitor)
        }
    }

    fn deserialize_map<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Misread> {
        match &self.value {
            Value::Map(_) => self.deserialize_any(visitor),
            _ => Err(self.wrong(&visitor)),
        }
    }

    fn deserialize_struct<V: Visitor<'de>>(
        self,
        _: &'static str,
        _: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, Misread> {
        self.deserialize_map(visitor)
    }

    fn deserialize_enum<V: Visitor<'de>>(
        self,
        _: &'static str,
        variants: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, Misread> {
        let choice = match &self.value {
            Value::Map(entries) if entries.len() == 1 => Choice { word: &entries[0].0, content: Some(&entries[0].1) },
            Value::Text(_) => Choice { word: self, content: None },
            _ => {
                let message = format!("expected one of {}, found {}", quoted(variants), found_words(self.found()));
                return Err(Misread::new(What::Other(message)).or_at(self.at));
            }
        };
        visitor.visit_enum(choice).map_err(|e: Misread| e.or_at(self.at))
    }

    fn deserialize_identifier<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Misread> {
        self.deserialize_str(visitor)
    }

    fn deserialize_ignored_any<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Misread> {
        visitor.visit_unit()
    }
}

/// The items of a list.
struct Items<'a> {
    items: std::slice::Iter<'a, Node>,
    at: usize,
}

impl<'de> SeqAccess<'de> for Items<'_> {
    type Error = Misread;
    fn next_element_seed<T: DeserializeSeed<'de>>(&mut self, seed: T) -> Result<Option<T::Value>, Misread> {
        let Some(node) = self.items.next() else { return Ok(None) };
        let index = self.at;
        self.at += 1;
        seed.deserialize(node).map(Some).map_err(|e| e.or_at(node.at).within(&format!("[{index}]")))
    }
}

/// The entries of a map.
struct Entries<'a> {
    entries: std::slice::Iter<'a, (Node, Node)>,
    value: Option<(&'a Node, &'a Node)>,
}

impl<'de> MapAccess<'de> for Entries<'_> {
    type Error = Misread;
    fn next_key_seed<K: DeserializeSeed<'de>>(&mut self, seed: K) -> Result<Option<K::Value>, Misread> {
        let Some((key, value)) = self.entries.next() else { return Ok(None) };
        self.value = Some((key, value));
        seed.deserialize(key).map(Some).map_err(|e| e.or_at(key.at))
    }
    fn next_value_seed<V: DeserializeSeed<'de>>(&mut self, seed: V) -> Result<V::Value, Misread> {
        let (key, value) = self.value.take().expect("a value is asked for after its key");
        seed.deserialize(value).map_err(|e| e.or_at(value.at).within(&key.key_text()))
    }
}

/// A value with its place: line, column, value.
struct Placed<'a> {
    node: &'a Node,
    given: u8,
}

impl<'de> SeqAccess<'de> for Placed<'_> {
    type Error = Misread;
    fn next_element_seed<T: DeserializeSeed<'de>>(&mut self, seed: T) -> Result<Option<T::Value>, Misread> {
        self.given += 1;
        match self.given {
            1 => seed.deserialize(self.node.at.line.into_deserializer()).map(Some),
            2 => seed.deserialize(self.node.at.column.into_deserializer()).map(Some),
            3 => seed.deserialize(self.node).map(Some).map_err(|e| e.or_at(self.node.at)),
            _ => Ok(None),
        }
    }
}

/// A word, alone or with what belongs to it: `estimate`, or `published: some-source`.
struct Choice<'a> {
    word: &'a Node,
    content: Option<&'a Node>,
}

impl<'de, 'a> EnumAccess<'de> for Choice<'a> {
    type Error = Misread;
    type Variant = Content<'a>;
    fn variant_seed<V: DeserializeSeed<'de>>(self, seed: V) -> Result<(V::Value, Content<'a>), Misread> {
        let word = self.word.key_text();
        let read = seed.deserialize(StrDeserializer::<Misread>::new(&word)).map_err(|e| e.or_at(self.word.at))?;
        Ok((read, Content { word: self.word, content: self.content }))
    }
}

/// What belongs to a word.
struct Content<'a> {
    word: &'a Node,
    content: Option<&'a Node>,
}

impl<'de> VariantAccess<'de> for Content<'_> {
    type Error = Misread;
    fn unit_variant(self) -> Result<(), Misread> {
        match self.content {
            None => Ok(()),
            Some(content) => {
                let message = format!("expected `{}` alone, found something with it", self.word.key_text());
                Err(Misread::new(What::Other(message)).or_at(content.at))
            }
        }
    }
    fn newtype_variant_seed<T: DeserializeSeed<'de>>(self, seed: T) -> Result<T::Value, Misread> {
        let Some(content) = self.content else {
            let message = format!("expected `{}:` with something, found the word alone", self.word.key_text());
            return Err(Misread::new(What::Other(message)).or_at(self.word.at));
        };
        seed.deserialize(content).map_err(|e| e.or_at(content.at).within(&self.word.key_text()))
    }
    fn tuple_variant<V: Visitor<'de>>(self, _: usize, visitor: V) -> Result<V::Value, Misread> {
        self.content.unwrap_or(self.word).deserialize_seq(visitor)
    }
    fn struct_variant<V: Visitor<'de>>(self, _: &'static [&'static str], visitor: V) -> Result<V::Value, Misread> {
        self.content.unwrap_or(self.word).deserialize_map(visitor)
    }
}
