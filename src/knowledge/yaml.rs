//! YAML with places: the one module that knows the parser and its quirks.
//!
//! A file is first read as a tree of nodes ([`super::node`]), which finds the true place of a syntax error and every
//! key that stands twice. Types are read from the tree, a list item by item, so that one broken item does not hide the
//! next.

use super::codes;
use super::node::{Location, Misread, Node, Value, What, shortened};
use crate::finding::{Finding, Findings, Place, Severity, nearest};
use crate::units::is_printable;
use serde::de::{Deserialize, DeserializeOwned};
use std::collections::BTreeMap;

/// The most bytes of one file: several times a whole knowledge base.
const MOST_BYTES: usize = 4 << 20;
/// The most broken items of one file that are told of one by one.
const MOST_BROKEN: usize = 30;
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
    if let Some(at) = text.find(|c: char| !is_printable(c) && !matches!(c, '\n' | '\r' | '\t')) {
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
    let line = before.split(|b| *b == b'\n').count();
    let start = before.iter().rposition(|b| *b == b'\n').map_or(0, |at| at + 1);
    let column = String::from_utf8_lossy(&before[start..]).chars().count() + 1;
    (u32::try_from(line).unwrap_or(u32::MAX), u32::try_from(column).unwrap_or(u32::MAX))
}

impl Source<'_> {
    /// The place of a location in this file.
    pub(crate) fn place(&self, at: Location) -> Place {
        place(self.file, at)
    }

    /// The file as a tree; what is wrong with the syntax, and every key that stands twice, as findings.
    pub(crate) fn tree(&self, findings: &mut Findings) -> Option<Node> {
        let read =
            serde_yaml::with_deserializer_from_str_with_options(self.text, options(), |de| Node::deserialize(de));
        match read {
            Ok(tree) if matches!(tree.value, Value::Null) => {
                let message = "expected something in the file, found nothing".to_owned();
                findings.add(self.finding(codes::MISSING_FILE, Location::UNKNOWN, message));
                None
            }
            Ok(tree) => {
                self.note_twice(&tree, findings);
                Some(tree)
            }
            Err(error) => {
                findings.add(self.syntax(&error));
                None
            }
        }
    }

    /// Notes keys that stand twice in one map.
    fn note_twice(&self, node: &Node, findings: &mut Findings) {
        match &node.value {
            Value::List(items) => items.iter().for_each(|item| self.note_twice(item, findings)),
            Value::Map(entries) => {
                let mut seen: BTreeMap<String, Location> = BTreeMap::new();
                for (key, value) in entries {
                    let text = key.key_text();
                    if let Some(first) = seen.get(&text) {
                        let message = format!("key `{}` stands twice in one map", shortened(&text));
                        let mut finding = self.finding(codes::DUPLICATE_KEY, key.at, message);
                        finding.hints.push(format!("the first is at {}", self.place(*first)));
                        findings.add(finding);
                    } else {
                        seen.insert(text, key.at);
                    }
                    self.note_twice(value, findings);
                }
            }
            _ => {}
        }
    }

    /// Reads the whole tree as one value.
    pub(crate) fn one<T: DeserializeOwned>(&self, tree: &Node, findings: &mut Findings) -> Option<T> {
        T::deserialize(tree).map_err(|misread| self.complain(&misread, "", findings)).ok()
    }

    /// Reads the tree as a list, item by item.
    pub(crate) fn list<T: DeserializeOwned>(&self, tree: &Node, kind: &str, findings: &mut Findings) -> List<T> {
        let Value::List(nodes) = &tree.value else {
            let misread = Vec::<serde::de::IgnoredAny>::deserialize(tree).expect_err("it is no list");
            self.complain(&misread, kind, findings);
            return List { items: Vec::new(), broken: vec![(1, usize::MAX)] };
        };
        let line = |at: usize| nodes.get(at).map_or(usize::MAX, |node: &Node| node.at.line() as usize);
        let mut list = List { items: Vec::new(), broken: Vec::new() };
        for (at, node) in nodes.iter().enumerate() {
            match T::deserialize(node) {
                Ok(item) => list.items.push((at, item)),
                Err(misread) => {
                    if list.broken.len() < MOST_BROKEN {
                        self.complain(&misread, &format!("{kind}[{at}]"), findings);
                    }
                    list.broken.push((line(at), line(at + 1)));
                }
            }
        }
        list
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

    fn complain(&self, misread: &Misread, within: &str, findings: &mut Findings) {
        let (code, hint) = match &misread.what {
            // The tree has told of keys that stand twice already, with both places.
            What::TwiceTheKey(_) => return,
            What::UnknownKey(key, known_keys) => (codes::UNKNOWN_KEY, Some(known(key, known_keys))),
            What::MissingKey(_) => (codes::MISSING_KEY, None),
            What::UnknownWord(word, words) => {
                let near = Some(word).filter(|w| w.len() < 100).and_then(|w| nearest(w, words.iter().copied()));
                (codes::WRONG_SHAPE, near.map(|n| format!("did you mean `{n}`?")))
            }
            What::NoNumber(text) if text.contains(',') => {
                (codes::WRONG_SHAPE, Some(format!("write `{}`", shortened(&text.replacen(',', ".", 1)))))
            }
            What::NoTruth(text) if ["yes", "no", "on", "off"].contains(&text.to_lowercase().as_str()) => {
                (codes::WRONG_SHAPE, Some("`yes`, `no`, `on` and `off` are plain words in YAML 1.2".to_owned()))
            }
            What::NoNumber(_) | What::NoTruth(_) | What::Other(_) => (codes::WRONG_SHAPE, None),
        };
        let mut finding = self.finding(code, misread.at, misread.to_string());
        let joint =
            if within.is_empty() || misread.path.is_empty() || misread.path.starts_with('[') { "" } else { "." };
        finding.path = format!("{within}{joint}{}", misread.path);
        finding.hints.extend(hint);
        findings.add(finding);
    }

    /// What the parser says of a file that is no YAML, in our words.
    fn syntax(&self, error: &serde_yaml::Error) -> Finding {
        use serde_yaml::Error as E;
        let mut at = error.location().unwrap_or(serde_yaml::Location::UNKNOWN);
        let mut cause = error;
        while let E::AliasError { error, locations, .. } = cause {
            at = locations.reference_location;
            cause = error;
        }
        while let E::WithSnippet { error, .. } = cause {
            cause = error;
        }
        let (code, message, hint) = match cause {
            E::Eof { .. } => {
                at = serde_yaml::Location::UNKNOWN;
                (codes::MISSING_FILE, "expected something in the file, found nothing".to_owned(), None)
            }
            E::Budget { breach, .. } => (codes::TOO_MUCH, breach_words(breach), Some(UNFOLDS.to_owned())),
            E::AliasReplayLimitExceeded { .. }
            | E::AliasExpansionLimitExceeded { .. }
            | E::AliasReplayStackDepthExceeded { .. } => (
                codes::TOO_MUCH,
                "expected aliases that unfold to little, found too much".to_owned(),
                Some(UNFOLDS.to_owned()),
            ),
            E::UnknownAnchor { .. } => (
                codes::SYNTAX,
                "expected an anchor `&name` before its alias `*name`, found an alias alone".to_owned(),
                Some("quote text that begins with `*`".to_owned()),
            ),
            E::MultipleDocuments { .. } => (
                codes::SYNTAX,
                "expected one YAML document, found a second".to_owned(),
                Some("take out the line `---`".to_owned()),
            ),
            // What nests so deep that the parser gives up first.
            other if plain(other).contains("recursion limit") => (
                codes::TOO_MUCH,
                format!("expected at most {DEEPEST} levels of nesting, found more"),
                Some(UNFOLDS.to_owned()),
            ),
            other => (
                codes::SYNTAX,
                format!("expected YAML: {}", plain(other)),
                Some("look at the indentation, brackets and quotes here and just above".to_owned()),
            ),
        };
        let mut finding = self.finding(code, at.into(), message);
        finding.hints.extend(hint);
        finding
    }
}

/// The place of a location in a file.
pub(crate) fn place(file: &str, at: Location) -> Place {
    Place { file: file.to_owned(), line: at.line(), column: at.column() }
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

const UNFOLDS: &str = "no knowledge base or case needs aliases of aliases, or nests so deep";

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
    // A word longer than any key is no slip of the finger.
    match Some(field).filter(|f| f.len() < 100).and_then(|f| nearest(f, expected.iter().copied())) {
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
