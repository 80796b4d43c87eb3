//! From files to raw shapes. The kind of a file is told by its path; what cannot be read is a finding, and one file's
//! trouble does not hide another's.

use super::codes;
use super::node::{Node, Value};
use super::raw::{
    In, RawAccess, RawCause, RawCheck, RawChecklist, RawCompanion, RawEffect, RawHazard, RawHistory, RawInterlock,
    RawKnowledge, RawManifest, RawPlanRule, RawRepair, RawSetting, RawSource, RawSymptom,
};
use super::shared::{joined, shares};
use super::yaml::{self, Source};
use crate::finding::{Finding, Findings, Place, Severity, nearest};
use schemars::{Schema, SchemaGenerator};
use serde::de::DeserializeOwned;
use std::collections::BTreeSet;

/// The most bytes of all files together.
const MOST_BYTES: usize = 32 << 20;
/// The most files.
const MOST_FILES: usize = 2_000;

/// The most words of texts that are kept for `vet` to look at.
const MOST_MENTIONS: usize = 20_000;

/// What a file holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    Manifest,
    History,
    Causes,
    Effects,
    Symptoms,
    Checks,
    Access,
    Repairs,
    Hazards,
    Interlocks,
    Companions,
    Settings,
    Sources,
    PlanRules,
    Checklist,
}

impl Kind {
    const ALL: [(Self, &'static str); 15] = [
        (Self::Manifest, "craft"),
        (Self::History, "history"),
        (Self::Causes, "causes"),
        (Self::Effects, "effects"),
        (Self::Symptoms, "symptoms"),
        (Self::Checks, "checks"),
        (Self::Access, "access"),
        (Self::Repairs, "repairs"),
        (Self::Hazards, "hazards"),
        (Self::Interlocks, "interlocks"),
        (Self::Companions, "companions"),
        (Self::Settings, "settings"),
        (Self::Sources, "sources"),
        (Self::PlanRules, "plan-rules"),
        (Self::Checklist, "checklist"),
    ];

    fn of(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|(_, w)| *w == word).map(|(kind, _)| kind)
    }

    /// The shape of a file of this kind.
    fn shape(self, shapes: &mut SchemaGenerator) -> Schema {
        match self {
            Self::Manifest => shapes.subschema_for::<RawManifest>(),
            Self::History => shapes.subschema_for::<Vec<RawHistory>>(),
            Self::Causes => shapes.subschema_for::<Vec<RawCause>>(),
            Self::Effects => shapes.subschema_for::<Vec<RawEffect>>(),
            Self::Symptoms => shapes.subschema_for::<Vec<RawSymptom>>(),
            Self::Checks => shapes.subschema_for::<Vec<RawCheck>>(),
            Self::Access => shapes.subschema_for::<Vec<RawAccess>>(),
            Self::Repairs => shapes.subschema_for::<Vec<RawRepair>>(),
            Self::Hazards => shapes.subschema_for::<Vec<RawHazard>>(),
            Self::Interlocks => shapes.subschema_for::<Vec<RawInterlock>>(),
            Self::Companions => shapes.subschema_for::<Vec<RawCompanion>>(),
            Self::Settings => shapes.subschema_for::<Vec<RawSetting>>(),
            Self::Sources => shapes.subschema_for::<Vec<RawSource>>(),
            Self::PlanRules => shapes.subschema_for::<Vec<RawPlanRule>>(),
            Self::Checklist => shapes.subschema_for::<Vec<RawChecklist>>(),
        }
    }

    fn word(self) -> &'static str {
        Self::ALL.into_iter().find(|(kind, _)| *kind == self).map_or("", |(_, w)| w)
    }
}

/// The words of comments that look like ids: what stands there is for people.
fn comment_words(text: &str) -> impl Iterator<Item = &str> {
    let comments = text.lines().filter_map(|line| line.find('#').map(|at| &line[at..]));
    let words = comments.flat_map(|comment| comment.split(|c: char| !c.is_ascii_alphanumeric() && c != '-'));
    words.filter(|word| word.contains('-')).take(MOST_MENTIONS)
}

/// The words within texts that look like ids: small letters and digits joined by hyphens. What stands alone is a
/// reference, which is looked up anyway.
fn mentions(source: &Source, node: &Node, into: &mut Vec<(Place, String)>) {
    match &node.value {
        Value::Text(text) if text.contains(' ') => {
            let part_of_id = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
            for word in text.split(|c: char| !part_of_id(c) && !c.is_alphanumeric()) {
                if word.chars().all(part_of_id) && word.trim_matches('-').contains('-') && into.len() < MOST_MENTIONS {
                    into.push((source.place(node.at), word.trim_matches('-').to_owned()));
                }
            }
        }
        Value::List(items) => items.iter().for_each(|item| mentions(source, item, into)),
        Value::Map(entries) => entries.iter().for_each(|(_, value)| mentions(source, value, into)),
        _ => {}
    }
}

/// The kinds of file a knowledge base has, each by its word: `causes` for `causes.yaml` and for the files in `causes/`.
pub fn kinds() -> impl Iterator<Item = &'static str> {
    Kind::ALL.into_iter().map(|(_, word)| word)
}

/// The shape of a file of a kind; `None` for a word that is no kind.
#[must_use]
pub fn shape(kind: &str, shapes: &mut SchemaGenerator) -> Option<Schema> {
    Kind::of(kind).map(|kind| kind.shape(shapes))
}

/// Reads files, each a name and its bytes. Names are shown as given; the folder that holds `craft.yaml` is the root,
/// and a file below it, or below a folder that the manifest shares, is `<kind>.yaml` or stands in a folder `<kind>`.
///
/// Cost: linear in the bytes.
#[must_use]
pub fn load(files: &[(String, Vec<u8>)]) -> (RawKnowledge, Findings) {
    let mut loader = Loader { raw: RawKnowledge::default(), findings: Findings::new() };
    let bytes: usize = files.iter().map(|(_, b)| b.len()).sum();
    if bytes > MOST_BYTES || files.len() > MOST_FILES {
        loader.findings.add(of_file(
            files.first().map_or("", |(name, _)| name),
            codes::TOO_MUCH,
            format!("expected at most {MOST_FILES} files and {MOST_BYTES} bytes, found {} and {bytes}", files.len()),
            "this is hardly a knowledge base; name the folder that holds `craft.yaml`",
        ));
        return (loader.raw, loader.findings);
    }
    let root = root(files);
    let shared = shares(files);
    // In the order of their names below the root, what is shared first, whatever order the file system gave and however the
    // root is written.
    let of_file = |(name, bytes)| (below(name, root, &shared), share(name, &shared), name, bytes);
    let mut sorted: Vec<_> = files.iter().map(|(name, bytes)| of_file((name, bytes))).collect();
    sorted.sort();
    for (below_root, _, name, bytes) in sorted {
        loader.file(name, below_root, bytes);
    }
    loader.manifest_is_there(root);
    loader.shares_are_there(root);
    loader.raw.flawed = loader.findings.any_error();
    (loader.raw, loader.findings)
}

/// A file's name from the root on, or from the shared folder on in which it stands.
fn below<'n>(name: &'n str, root: &str, shared: &[String]) -> &'n str {
    let from = |folder: &String| name.strip_prefix(folder.as_str());
    shared.iter().find_map(from).or_else(|| name.strip_prefix(root)).unwrap_or(name)
}

/// Which of the shared folders a file stands in; their number where it is in none.
fn share(name: &str, shared: &[String]) -> usize {
    shared.iter().position(|folder| name.starts_with(folder.as_str())).unwrap_or(shared.len())
}

/// The folder, with its final `/`, that holds the uppermost `craft.yaml`; else what all names begin with.
pub(super) fn root(files: &[(String, Vec<u8>)]) -> &str {
    let folder = |name: &'_ str| name.rfind('/').map_or(0, |at| at + 1);
    let manifest = files
        .iter()
        .map(|(name, _)| name.as_str())
        .filter(|name| &name[folder(name)..] == "craft.yaml")
        .min_by_key(|name| (name.len(), *name));
    if let Some(name) = manifest {
        return &name[..folder(name)];
    }
    let mut names = files.iter().map(|(name, _)| name.as_str());
    let first = names.next().unwrap_or_default();
    let mut shared = &first[..folder(first)];
    for name in names {
        while !name.starts_with(shared) {
            shared = &shared[..folder(shared.trim_end_matches('/'))];
        }
    }
    // A folder of one kind alone: its name is the kind, not the root.
    let last = shared.trim_end_matches('/');
    if Kind::of(&last[folder(last)..]).is_some() { &shared[..folder(last)] } else { shared }
}

fn of_file(file: &str, code: &'static str, message: String, hint: &str) -> Finding {
    Finding {
        place: Place { file: file.to_owned(), line: 0, column: 0 },
        severity: Severity::Error,
        code,
        path: String::new(),
        message,
        hints: vec![hint.to_owned()],
    }
}

struct Loader {
    raw: RawKnowledge,
    findings: Findings,
}

impl Loader {
    fn file(&mut self, name: &str, below_root: &str, bytes: &[u8]) {
        let Some(kind) = self.kind(name, below_root) else { return };
        let Some(text) = yaml::decode(name, bytes, &mut self.findings) else { return };
        let source = Source { file: name, text };
        if kind != Kind::Sources {
            self.raw.commented.extend(comment_words(text).map(str::to_owned));
        }
        self.raw.files.push(name.to_owned());
        let empty = text.lines().all(|line| line.trim().is_empty() || line.trim_start().starts_with('#'));
        if empty && kind != Kind::Manifest {
            return;
        }
        match source.tree(&mut self.findings) {
            Some(tree) => {
                mentions(&source, &tree, &mut self.raw.mentions);
                self.items(kind, &source, &tree);
            }
            None => self.raw.unread.extend(source.ids_in((1, usize::MAX)).map(str::to_owned)),
        }
    }

    /// The kind of a file; `None`, with a finding, where it has none.
    fn kind(&mut self, name: &str, below_root: &str) -> Option<Kind> {
        let Some(stem) = below_root.strip_suffix(".yaml") else {
            let (severity, hint) = if below_root.rsplit('.').next() == Some("yml") {
                (Severity::Error, "name it `.yaml`")
            } else {
                (Severity::Advice, "it is not read; keep notes elsewhere")
            };
            let finding = of_file(name, codes::UNKNOWN_FILE, "expected a file that ends in `.yaml`".to_owned(), hint);
            self.findings.add(Finding { severity, ..finding });
            return None;
        };
        let word = stem.split('/').next().unwrap_or_default();
        let kind = Kind::of(word).filter(|kind| *kind != Kind::Manifest || stem == "craft");
        if kind.is_none() {
            let hint = match nearest(word, Kind::ALL.into_iter().map(|(_, w)| w)) {
                Some(near) => format!("did you mean `{near}`?"),
                None => format!("known kinds: {}", Kind::ALL.map(|(_, w)| w).join(", ")),
            };
            let message = format!("`{word}` is not a kind of file a knowledge base has");
            self.findings.add(of_file(name, codes::UNKNOWN_FILE, message, &hint));
        }
        kind
    }

    fn items(&mut self, kind: Kind, source: &Source, tree: &Node) {
        match kind {
            Kind::Manifest => {
                let file = self.raw.files.len() - 1;
                let read = source.one(tree, &mut self.findings);
                self.raw.manifest = read.map(|item| In { file, path: String::new(), item });
            }
            Kind::History => self.list((source, tree), kind, |raw| &mut raw.history),
            Kind::Causes => self.list((source, tree), kind, |raw| &mut raw.causes),
            Kind::Effects => self.list((source, tree), kind, |raw| &mut raw.effects),
            Kind::Symptoms => self.list((source, tree), kind, |raw| &mut raw.symptoms),
            Kind::Checks => self.list((source, tree), kind, |raw| &mut raw.checks),
            Kind::Access => self.list((source, tree), kind, |raw| &mut raw.access),
            Kind::Repairs => self.list((source, tree), kind, |raw| &mut raw.repairs),
            Kind::Hazards => self.list((source, tree), kind, |raw| &mut raw.hazards),
            Kind::Interlocks => self.list((source, tree), kind, |raw| &mut raw.interlocks),
            Kind::Companions => self.list((source, tree), kind, |raw| &mut raw.companions),
            Kind::Settings => self.list((source, tree), kind, |raw| &mut raw.settings),
            Kind::Sources => self.list((source, tree), kind, |raw| &mut raw.sources),
            Kind::PlanRules => self.list((source, tree), kind, |raw| &mut raw.plan_rules),
            Kind::Checklist => self.list((source, tree), kind, |raw| &mut raw.checklist),
        }
    }

    fn list<T: DeserializeOwned>(
        &mut self,
        (source, tree): (&Source, &Node),
        kind: Kind,
        into: impl Fn(&mut RawKnowledge) -> &mut Vec<In<T>>,
    ) {
        let file = self.raw.files.len() - 1;
        let list = source.list::<T>(tree, kind.word(), &mut self.findings);
        for (at, item) in list.items {
            into(&mut self.raw).push(In { file, path: format!("{}[{at}]", kind.word()), item });
        }
        for lines in list.broken {
            self.raw.unread.extend(source.ids_in(lines).map(str::to_owned));
        }
    }

    /// Says which of the folders under `shares` cannot be shared, or hold nothing.
    fn shares_are_there(&mut self, root: &str) {
        let Some(manifest) = &self.raw.manifest else { return };
        let file = &self.raw.files[manifest.file];
        let mut seen = BTreeSet::new();
        for (at, share) in manifest.item.shares.iter().enumerate() {
            let (code, message, hint) = match joined(root, &share.value) {
                None => (
                    codes::WRONG_SHAPE,
                    format!("expected a folder beside this one, found `{}`", share.value),
                    "name it from the folder of this file, such as `../common/fuel`",
                ),
                Some(folder) if !seen.insert(folder.clone()) => {
                    (codes::TWICE, format!("`{}` is shared twice", share.value), "drop one")
                }
                Some(folder) if !self.raw.files.iter().any(|name| name.starts_with(&folder)) => {
                    let message = format!("expected the shared folder `{folder}` with files in it, found none");
                    (codes::MISSING_FILE, message, "add it, or take it out of `shares`")
                }
                Some(_) => continue,
            };
            let place = Place { file: file.clone(), line: share.at.line(), column: share.at.column() };
            let path = format!("shares[{at}]");
            let hints = vec![hint.to_owned()];
            self.findings.add(Finding { place, severity: Severity::Error, code, path, message, hints });
        }
    }

    fn manifest_is_there(&mut self, root: &str) {
        let name = format!("{root}craft.yaml");
        if self.raw.manifest.is_none() && !self.raw.files.contains(&name) {
            let hint = "write the manifest, or name the folder that holds it";
            let message = "expected the manifest `craft.yaml`, found none".to_owned();
            self.findings.add(of_file(&name, codes::MISSING_FILE, message, hint));
        }
    }
}
