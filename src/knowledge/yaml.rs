//! YAML with places: the one module that knows the parser and its quirks.
//!
//! A file is read three times at most. A first pass takes any YAML: it finds the true place of a syntax error (typed
//! reading reports it as a missing key some lines off) and every duplicate key. The second reads the types. Where an
//! item of a list does not fit its type, that item is reported and the list is read again without it, so that one
//! broken item does not hide the next.

use super::codes;
use crate::finding::{Finding, Findings, Place, Severity, nearest};
use serde::de::{self, DeserializeOwned, DeserializeSeed, Deserializer, IgnoredAny, MapAccess, SeqAccess, Visitor};
use serde_yaml::Location;
use std::cell::{Cell, RefCell};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::marker::PhantomData;

/// The most bytes of one file: several times a whole knowledge base.
const MOST_BYTES: usize = 4 << 20;
/// The most broken items of one file that are told apart: each costs another reading.
const MOST_BROKEN: usize = 20;
/// The deepest nesting. The formats need about ten.
const DEEPEST: usize = 40;
/// The most nodes of one file, aliases unfolded. A knowledge base has some 20,000.
const MOST_NODES: usize = 250_000;

/// One file while it is read.
pub(crate) struct Source<'a> {
    /// Its name as given.
    pub file: &'a str,
    /// Its text.
    pub text: &'a str,
}

/// A list read item by item.
pub(crate) struct List<T> {
    /// The items that could be read, each with its position in the file.
    pub items: Vec<(usize, T)>,
    /// The lines of those that could not, as the first and the one after the last.
    pub broken: Vec<(usize, usize)>,
}

/// The text of a file, where it is UTF-8 without a mark or control characters, and not too long.
pub(crate) fn decode<'a>(file: &str, bytes: &'a [u8], findings: &mut Findings) -> Option<&'a str> {
    let mut whole = |code, line, column, message: String, hint: &str| {
        findings.add(Finding {
            place: Place { file: file.to_owned(), line, column },
            severity: Severity::Error,
            code,
            path: String::new(),
            message,
            hints: vec![hint.to_owned()],
        });
    };
    if bytes.len() > MOST_BYTES {
        let message = format!("expected at most {MOST_BYTES} bytes, found {}", bytes.len());
        whole(codes::TOO_MUCH, 0, 0, message, "split it into several files of the same kind");
        return None;
    }
    if let Some(mark) = byte_order_mark(bytes) {
        whole(
            codes::ENCODING,
            1,
            1,
            format!("expected UTF-8 without a byte order mark, found a mark of {mark}"),
            "save it as UTF-8 without a mark",
        );
        return None;
    }
    let text = match std::str::from_utf8(bytes) {
        Ok(text) => text,
        Err(error) => {
            let (line, column) = position(&bytes[..error.valid_up_to()]);
            let message = format!("expected UTF-8, found the byte `{:#04x}`", bytes[error.valid_up_to()]);
            whole(codes::ENCODING, line, column, message, "save it as UTF-8");
            return None;
        }
    };
    if let Some(at) = text.find(|c: char| c.is_control() && !matches!(c, '\n' | '\r' | '\t')) {
        let (line, column) = position(&bytes[..at]);
        let found = text[at..].chars().next().unwrap_or_default().escape_default();
        whole(
            codes::ENCODING,
            line,
            column,
            format!("expected text, found the control character `{found}`"),
            "take it out; it may show that this is not a text file",
        );
        return None;
    }
    Some(text)
}

fn byte_order_mark(bytes: &[u8]) -> Option<&'static str> {
    [(&b"\xef\xbb\xbf"[..], "UTF-8"), (b"\xff\xfe", "UTF-16"), (b"\xfe\xff", "UTF-16")]
        .into_iter()
        .find(|(mark, _)| bytes.starts_with(mark))
        .map(|(_, name)| name)
}

/// Line and column, from one, of what follows these bytes.
fn position(before: &[u8]) -> (u32, u32) {
    let line = before.iter().filter(|b| **b == b'\n').count() + 1;
    let start = before.iter().rposition(|b| *b == b'\n').map_or(0, |at| at + 1);
    let column = String::from_utf8_lossy(&before[start..]).chars().count() + 1;
    (u32::try_from(line).unwrap_or(u32::MAX), u32::try_from(column).unwrap_or(u32::MAX))
}

impl Source<'_> {
    /// The place of a location in this file.
    pub(crate) fn place(&self, at: Location) -> Place {
        place(self.file, at)
    }

    /// Checks the syntax and that no key stands twice. Whether it is worth reading on.
    pub(crate) fn sound(&self, findings: &mut Findings) -> bool {
        let twice = RefCell::new(Vec::new());
        let walked = serde_yaml::with_deserializer_from_str_with_options(self.text, options(), |de| {
            Walk { twice: &twice }.deserialize(de)
        });
        for (key, first, second) in twice.into_inner() {
            let mut finding =
                self.finding(codes::DUPLICATE_KEY, second, format!("key `{key}` stands twice in one map"));
            finding.hints.push(format!("the first is at {}", self.place(first)));
            findings.add(finding);
        }
        match walked {
            Ok(()) => true,
            Err(error) => {
                findings.add(self.complaint(&error, ""));
                false
            }
        }
    }

    /// Reads the whole file as one value.
    pub(crate) fn one<T: DeserializeOwned>(&self, findings: &mut Findings) -> Option<T> {
        let mut track = serde_path_to_error::Track::new();
        let read = serde_yaml::with_deserializer_from_str_with_options(self.text, options(), |de| {
            T::deserialize(serde_path_to_error::Deserializer::new(de, &mut track))
        });
        match read {
            Ok(value) => Some(value),
            Err(error) => {
                self.complain(&error, &track.path().to_string()).into_iter().for_each(|f| findings.add(f));
                None
            }
        }
    }

    /// Reads the whole file as a list, item by item.
    pub(crate) fn list<T: DeserializeOwned>(&self, kind: &str, findings: &mut Findings) -> List<T> {
        let mut skip = BTreeSet::new();
        let starts = RefCell::new(Vec::new());
        let mut complaints: Vec<(usize, Finding)> = Vec::new();
        let list = loop {
            let at = Cell::new(0);
            starts.borrow_mut().clear();
            let mut track = serde_path_to_error::Track::new();
            let read = serde_yaml::with_deserializer_from_str_with_options(self.text, options(), |de| {
                let wrapped = serde_path_to_error::Deserializer::new(de, &mut track);
                Each { skip: &skip, at: &at, starts: &starts, of: PhantomData::<T> }.deserialize(wrapped)
            });
            match read {
                Ok(items) => break List { items, broken: self.lines(&skip, &starts.borrow()) },
                Err(error) => {
                    let path = format!("{kind}{}", track.path());
                    complaints.extend(self.complain(&error, &path).map(|finding| (at.get(), finding)));
                    // A file that is no list at all, or has too much wrong with it, is given up.
                    if !skip.insert(at.get()) || skip.len() > MOST_BROKEN || matches!(error_kind(&error), Kind::Fatal) {
                        break List { items: Vec::new(), broken: vec![(1, usize::MAX)] };
                    }
                }
            }
        };
        for (at, mut finding) in complaints {
            // The parser notices what an item lacks at its end; the place to look is its beginning.
            if finding.code == codes::MISSING_KEY
                && finding.path == format!("{kind}[{at}]")
                && let Some(start) = starts.borrow().get(at)
            {
                finding.place = self.place(*start);
            }
            findings.add(finding);
        }
        list
    }

    /// The lines of the skipped items.
    fn lines(&self, skip: &BTreeSet<usize>, starts: &[Location]) -> Vec<(usize, usize)> {
        let line = |at: usize| starts.get(at).map_or(usize::MAX, |l| usize::try_from(l.line()).unwrap_or(usize::MAX));
        skip.iter().map(|at| (line(*at), line(at + 1))).collect()
    }

    /// The ids that the lines of broken items define, as far as can be seen: `id: some-id`.
    pub(crate) fn ids_in(&self, lines: (usize, usize)) -> impl Iterator<Item = &str> {
        let count = lines.1.max(lines.0 + 1) - lines.0;
        self.text.lines().skip(lines.0 - 1).take(count).filter_map(|line| {
            let after = line.split_once("id:")?.1.trim_start();
            let end = after.find(|c: char| !c.is_ascii_alphanumeric() && c != '-' && c != '_').unwrap_or(after.len());
            (end > 0).then(|| &after[..end])
        })
    }

    /// A finding at a place in this file.
    pub(crate) fn finding(&self, code: &'static str, at: Location, message: String) -> Finding {
        Finding {
            place: self.place(at),
            severity: Severity::Error,
            code,
            path: String::new(),
            message,
            hints: Vec::new(),
        }
    }

    fn complain(&self, error: &serde_yaml::Error, path: &str) -> Option<Finding> {
        // The walk has told of duplicate keys already, with both places.
        (!matches!(error_kind(error), Kind::Duplicate)).then(|| self.complaint(error, path))
    }

    /// What the parser says, in our words.
    fn complaint(&self, error: &serde_yaml::Error, path: &str) -> Finding {
        use serde_yaml::Error as E;
        let mut at = error.location().unwrap_or(Location::UNKNOWN);
        let mut cause = error;
        while let E::AliasError { error, locations, .. } = cause {
            at = locations.reference_location;
            cause = error;
        }
        while let E::WithSnippet { error, .. } = cause {
            cause = error;
        }
        let (code, message, hint) = match cause {
            E::SerdeUnknownField { field, expected, .. } => {
                (codes::UNKNOWN_KEY, format!("key `{field}` is not known here"), Some(known(field, expected)))
            }
            E::SerdeMissingField { field, .. } => (codes::MISSING_KEY, format!("key `{field}` is missing"), None),
            E::SerdeUnknownVariant { variant, expected, .. } => {
                let expected: Vec<_> = expected.iter().map(|e| format!("`{e}`")).collect();
                let near = nearest(variant, expected.iter().map(|e| e.trim_matches('`')));
                let hint = near.map(|n| format!("did you mean `{n}`?"));
                (codes::WRONG_SHAPE, format!("expected one of {}, found `{variant}`", expected.join(", ")), hint)
            }
            E::SerdeInvalidType { unexpected, expected, .. } | E::SerdeInvalidValue { unexpected, expected, .. } => {
                (codes::WRONG_SHAPE, format!("expected {expected}, found {unexpected}"), None)
            }
            E::SerdeInvalidLength { len, expected, .. } => {
                let expected = if expected == "a tuple of size 2" { "a pair `[low, high]`" } else { expected };
                (codes::WRONG_SHAPE, format!("expected {expected}, found {len} values"), None)
            }
            E::InvalidScalar { ty, .. } => {
                let found = self.word_at(at);
                let comma = found.contains(',').then(|| format!("write `{}`", found.replacen(',', ".", 1)));
                (codes::WRONG_SHAPE, format!("expected {}, found `{found}`", kind_word(ty)), comma)
            }
            E::InvalidBooleanStrict { .. } => (
                codes::WRONG_SHAPE,
                format!("expected `true` or `false`, found `{}`", self.word_at(at)),
                Some("`yes`, `no`, `on` and `off` are plain words in YAML 1.2".to_owned()),
            ),
            E::NullIntoString { .. } => (codes::WRONG_SHAPE, "expected text, found nothing".to_owned(), None),
            E::Unexpected { expected, .. } => {
                (codes::WRONG_SHAPE, format!("expected {}, found {}", shape_word(expected), self.shape_at(at)), None)
            }
            E::Message { msg, .. } => (codes::WRONG_SHAPE, msg.clone(), None),
            E::Eof { .. } => {
                at = Location::UNKNOWN;
                (codes::MISSING_FILE, "expected the manifest, found an empty file".to_owned(), None)
            }
            E::Budget { breach, .. } => (
                codes::TOO_MUCH,
                breach_words(breach),
                Some("no knowledge base needs aliases of aliases, or nests so deep".to_owned()),
            ),
            E::AliasReplayLimitExceeded { .. }
            | E::AliasExpansionLimitExceeded { .. }
            | E::AliasReplayStackDepthExceeded { .. } => {
                (codes::TOO_MUCH, "expected aliases that unfold to little, found too much".to_owned(), None)
            }
            E::MultipleDocuments { .. } => (
                codes::SYNTAX,
                "expected one YAML document, found a second".to_owned(),
                Some("take out the line `---`".to_owned()),
            ),
            E::UnknownAnchor { .. } => {
                let message = format!("expected an anchor before its alias, found `{}` without one", self.word_at(at));
                (codes::SYNTAX, message, Some("quote text that begins with `*`".to_owned()))
            }
            other => (
                codes::SYNTAX,
                format!("expected YAML: {}", plain(other)),
                Some("look at the indentation, brackets and quotes here and just above".to_owned()),
            ),
        };
        let mut finding = self.finding(code, at, message);
        // `.value` is the wrapper that keeps places; `?` a key that is not plain text to the tracker.
        finding.path = path.replace(".value", "").replace(".?", "").trim_matches('.').to_owned();
        finding.hints.extend(hint);
        finding
    }

    /// The word that stands at a place, for "found ...".
    fn word_at(&self, at: Location) -> String {
        let span = at.span();
        let bytes = span.byte_offset().zip(span.byte_len()).and_then(|(start, length)| {
            let start = usize::try_from(start).ok()?;
            self.text.get(start..start.checked_add(usize::try_from(length).ok()?)?)
        });
        let word = bytes.filter(|word| !word.is_empty()).unwrap_or_else(|| {
            let rest = self.rest_of_line(at);
            &rest[..rest.find([',', ']', '}']).unwrap_or(rest.len())]
        });
        word.split('#').next().unwrap_or_default().trim().chars().take(40).collect()
    }

    /// The shape that stands at a place, for "found ...".
    fn shape_at(&self, at: Location) -> String {
        let rest = self.rest_of_line(at);
        if rest.starts_with('[') || rest.starts_with("- ") {
            "a list".to_owned()
        } else if rest.starts_with('{') || rest.contains(": ") || rest.trim_end().ends_with(':') {
            "a map".to_owned()
        } else {
            format!("`{}`", self.word_at(at))
        }
    }

    fn rest_of_line(&self, at: Location) -> &str {
        let line = usize::try_from(at.line()).unwrap_or(0);
        let column = usize::try_from(at.column()).unwrap_or(0);
        let text = self.text.lines().nth(line.saturating_sub(1)).unwrap_or_default();
        text.char_indices().nth(column.saturating_sub(1)).map_or("", |(start, _)| &text[start..])
    }
}

/// The place of a location in a file.
pub(crate) fn place(file: &str, at: Location) -> Place {
    Place {
        file: file.to_owned(),
        line: u32::try_from(at.line()).unwrap_or(u32::MAX),
        column: u32::try_from(at.column()).unwrap_or(u32::MAX),
    }
}

fn options() -> serde_yaml::Options {
    serde_yaml::options! {
        strict_booleans: true,
        with_snippet: false,
        duplicate_keys: serde_yaml::DuplicateKeyPolicy::PassThrough,
        non_finite_float_policy: serde_yaml::NonFiniteFloatPolicy::PassThrough,
        budget: serde_yaml::budget! {
            max_depth: DEEPEST,
            max_nodes: MOST_NODES,
            max_events: 2 * MOST_NODES,
        },
    }
}

enum Kind {
    Duplicate,
    Fatal,
    Item,
}

fn error_kind(error: &serde_yaml::Error) -> Kind {
    use serde_yaml::Error as E;
    match error {
        E::AliasError { error, .. } | E::WithSnippet { error, .. } => error_kind(error),
        E::DuplicateMappingKey { .. } => Kind::Duplicate,
        E::Message { msg, .. } if msg.starts_with("duplicate field") => Kind::Duplicate,
        E::Budget { .. } | E::Eof { .. } | E::MultipleDocuments { .. } | E::ExternalMessage { .. } => Kind::Fatal,
        _ => Kind::Item,
    }
}

fn breach_words(breach: &serde_yaml::budget::BudgetBreach) -> String {
    use serde_yaml::budget::BudgetBreach as B;
    match breach {
        B::Depth { .. } => format!("expected at most {DEEPEST} levels of nesting, found more"),
        B::Nodes { .. } | B::Events { .. } => {
            format!("expected at most {MOST_NODES} values once aliases are unfolded, found more")
        }
        _ => "expected a file of ordinary size and nesting, found too much".to_owned(),
    }
}

/// "did you mean", or what is known.
fn known(field: &str, expected: &[&str]) -> String {
    match nearest(field, expected.iter().copied()) {
        Some(near) => format!("did you mean `{near}`?"),
        None => format!("known here: {}", expected.join(", ")),
    }
}

/// The parser's message without its place.
fn plain(error: &serde_yaml::Error) -> String {
    let text = error.to_string();
    let cut = text.rfind(" at line ").or_else(|| text.rfind(" at ")).unwrap_or(text.len());
    text[..cut].to_owned()
}

fn kind_word(ty: &str) -> &str {
    match ty {
        "f64" | "f32" | "float" | "floating point" => "a number",
        "u8" | "u32" | "u64" | "usize" => "a whole number, zero or more",
        "i64" | "i32" => "a whole number",
        "bool" => "`true` or `false`",
        other => other,
    }
}

fn shape_word(expected: &str) -> String {
    match expected {
        "mapping start" => "a map of keys and values".to_owned(),
        "sequence start" | "sequence" => "a list".to_owned(),
        "string scalar" => "text".to_owned(),
        "scalar" => "a single value".to_owned(),
        other => other.to_owned(),
    }
}

/// A list read item by item, but for those to skip.
struct Each<'a, T> {
    skip: &'a BTreeSet<usize>,
    at: &'a Cell<usize>,
    starts: &'a RefCell<Vec<Location>>,
    of: PhantomData<T>,
}

impl<'de, T: DeserializeOwned> DeserializeSeed<'de> for Each<'_, T> {
    type Value = Vec<(usize, T)>;
    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<Self::Value, D::Error> {
        deserializer.deserialize_seq(self)
    }
}

impl<'de, T: DeserializeOwned> Visitor<'de> for Each<'_, T> {
    type Value = Vec<(usize, T)>;
    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a list of items")
    }
    fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Self::Value, A::Error> {
        let mut items = Vec::new();
        for at in 0.. {
            self.at.set(at);
            if self.skip.contains(&at) {
                let Some(item) = seq.next_element::<serde_yaml::Spanned<IgnoredAny>>()? else { break };
                self.starts.borrow_mut().push(item.referenced);
            } else {
                let Some(item) = seq.next_element::<serde_yaml::Spanned<T>>()? else { break };
                self.starts.borrow_mut().push(item.referenced);
                items.push((at, item.value));
            }
        }
        Ok(items)
    }
}

/// Takes any YAML and notes keys that stand twice in one map.
struct Walk<'a> {
    twice: &'a RefCell<Vec<(String, Location, Location)>>,
}

impl<'de> DeserializeSeed<'de> for Walk<'_> {
    type Value = ();
    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<(), D::Error> {
        deserializer.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Walk<'_> {
    type Value = ();
    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("any YAML")
    }
    fn visit_bool<E: de::Error>(self, _: bool) -> Result<(), E> {
        Ok(())
    }
    fn visit_i64<E: de::Error>(self, _: i64) -> Result<(), E> {
        Ok(())
    }
    fn visit_i128<E: de::Error>(self, _: i128) -> Result<(), E> {
        Ok(())
    }
    fn visit_u64<E: de::Error>(self, _: u64) -> Result<(), E> {
        Ok(())
    }
    fn visit_u128<E: de::Error>(self, _: u128) -> Result<(), E> {
        Ok(())
    }
    fn visit_f64<E: de::Error>(self, _: f64) -> Result<(), E> {
        Ok(())
    }
    fn visit_str<E: de::Error>(self, _: &str) -> Result<(), E> {
        Ok(())
    }
    fn visit_bytes<E: de::Error>(self, _: &[u8]) -> Result<(), E> {
        Ok(())
    }
    fn visit_none<E: de::Error>(self) -> Result<(), E> {
        Ok(())
    }
    fn visit_some<D: Deserializer<'de>>(self, deserializer: D) -> Result<(), D::Error> {
        deserializer.deserialize_any(self)
    }
    fn visit_unit<E: de::Error>(self) -> Result<(), E> {
        Ok(())
    }
    fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<(), A::Error> {
        while seq.next_element_seed(Walk { twice: self.twice })?.is_some() {}
        Ok(())
    }
    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<(), A::Error> {
        let mut seen: BTreeMap<String, Location> = BTreeMap::new();
        while let Some(key) = map.next_key::<serde_yaml::Spanned<String>>()? {
            map.next_value_seed(Walk { twice: self.twice })?;
            if let Some(first) = seen.get(&key.value) {
                self.twice.borrow_mut().push((key.value, *first, key.referenced));
            } else {
                seen.insert(key.value, key.referenced);
            }
        }
        Ok(())
    }
}
