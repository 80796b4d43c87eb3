//! What every resolver needs: a place to put findings, and the item it is at.

use super::super::raw::{In, RawId, RawKnowledge, Sp};
use super::super::{codes, yaml};
use super::names::Table;
use crate::finding::{Finding, Findings, Place, Severity, nearest};
use crate::knowledge::raw::Location;
use crate::knowledge::{Ix, Source};
use std::cell::{Cell, RefCell};
use std::collections::{BTreeMap, BTreeSet};

/// The most findings of one run that are shown; more help nobody.
const MOST_FINDINGS: usize = 500;
/// The most words looked up for a hint: each is compared with every known word.
const MOST_HINTS: usize = 60;

/// The first findings by place, with a word about the rest.
pub(super) fn capped(findings: Findings) -> Findings {
    let sorted = findings.sorted();
    let count = sorted.len();
    let mut shown = Findings::new();
    let last = sorted.get(MOST_FINDINGS).map(|finding| finding.place.clone());
    // An error stands before advice of the same run that would push it out.
    let (errors, advice): (Vec<_>, Vec<_>) = sorted.into_iter().partition(|f| f.severity == Severity::Error);
    errors.into_iter().chain(advice).take(MOST_FINDINGS).for_each(|finding| shown.add(finding));
    if let Some(place) = last {
        shown.add(Finding {
            place,
            severity: Severity::Error,
            code: codes::TOO_MUCH,
            path: String::new(),
            message: format!("expected at most {MOST_FINDINGS} findings, found {count}: the rest are not shown"),
            hints: Vec::new(),
        });
    }
    shown
}

/// Findings of a run.
pub(super) struct Context<'a> {
    files: &'a [String],
    unread: &'a BTreeSet<String>,
    flawed: bool,
    findings: RefCell<Vec<Finding>>,
    hurt: RefCell<BTreeSet<String>>,
    hints: Cell<usize>,
    spots: RefCell<BTreeMap<String, Spot>>,
    kinds: RefCell<BTreeMap<String, &'static str>>,
    cited: RefCell<BTreeSet<Ix<Source>>>,
}

/// Where something stands: its place, and its path in the file.
#[derive(Clone, Debug)]
pub(in crate::knowledge) struct Spot {
    pub(in crate::knowledge) place: Place,
    pub(in crate::knowledge) path: String,
}

/// What a run leaves: findings, the ids of items that have one, and where things stand. An item stands under its id,
/// an input or a row under `id.input[2]`, `id.given[2]`.
pub(in crate::knowledge) struct Left {
    pub(in crate::knowledge) findings: Findings,
    pub(in crate::knowledge) hurt: BTreeSet<String>,
    pub(in crate::knowledge) spots: BTreeMap<String, Spot>,
    pub(in crate::knowledge) flawed: bool,
    pub(in crate::knowledge) cited: BTreeSet<Ix<Source>>,
}

impl<'a> Context<'a> {
    pub(super) fn new(raw: &'a RawKnowledge) -> Self {
        Self {
            files: &raw.files,
            unread: &raw.unread,
            flawed: raw.flawed,
            findings: RefCell::new(Vec::new()),
            hurt: RefCell::new(BTreeSet::new()),
            hints: Cell::new(0),
            spots: RefCell::new(BTreeMap::new()),
            kinds: RefCell::new(BTreeMap::new()),
            cited: RefCell::new(BTreeSet::new()),
        }
    }

    /// The item under this id, for its findings.
    pub(super) fn at<'c, T>(&'c self, item: &'c In<T>, id: &'c str) -> Item<'c> {
        Item { context: self, unread: self.unread, file: &self.files[item.file], path: &item.path, id }
    }

    /// Ends the run.
    pub(super) fn done(self) -> Left {
        let mut findings = Findings::new();
        self.findings.into_inner().into_iter().for_each(|finding| findings.add(finding));
        Left {
            findings,
            hurt: self.hurt.into_inner(),
            spots: self.spots.into_inner(),
            flawed: self.flawed,
            cited: self.cited.into_inner(),
        }
    }

    fn add(&self, finding: Finding) {
        let mut findings = self.findings.borrow_mut();
        // Twice the number shown: those shown are the first by place, not by the order of checking.
        if findings.len() < 2 * MOST_FINDINGS {
            findings.push(finding);
        }
    }

    /// Whether there is time to look for a near word.
    fn may_look(&self, word: &str) -> bool {
        // A word longer than any id is no slip of the finger.
        self.hints.get() < MOST_HINTS && word.len() <= 100
    }

    /// The known word nearest to one, while there is time to look.
    fn near<'w>(&self, word: &str, known: impl IntoIterator<Item = &'w str>) -> Option<&'w str> {
        if !self.may_look(word) {
            return None;
        }
        self.hints.set(self.hints.get() + 1);
        // Words of quite another length are never near; leaving them out first spares most comparisons.
        let length = word.len();
        let known: Vec<&str> = known.into_iter().collect();
        let alike = known.iter().copied().filter(|k| k.len().abs_diff(length) * 3 <= k.len().max(length));
        // Else the one word that begins with it: `ac-hatch` for `ac-hatch-open`.
        let mut begun = known.iter().copied().filter(|k| length > 3 && k.starts_with(word));
        nearest(word, alike).or_else(|| begun.next().filter(|_| begun.next().is_none()))
    }
}

/// The item a resolver is at.
#[derive(Clone, Copy)]
pub(super) struct Item<'a> {
    context: &'a Context<'a>,
    unread: &'a BTreeSet<String>,
    file: &'a str,
    path: &'a str,
    pub(super) id: &'a str,
}

/// A finding that is being written.
pub(super) struct Draft<'a> {
    context: &'a Context<'a>,
    finding: Finding,
}

impl Draft<'_> {
    /// Adds a hint.
    pub(super) fn hint(mut self, hint: impl Into<String>) -> Self {
        self.finding.hints.push(hint.into());
        self
    }
}

impl Drop for Draft<'_> {
    fn drop(&mut self) {
        let empty = Finding {
            place: Place { file: String::new(), line: 0, column: 0 },
            severity: Severity::Advice,
            code: "",
            path: String::new(),
            message: String::new(),
            hints: Vec::new(),
        };
        self.context.add(std::mem::replace(&mut self.finding, empty));
    }
}

impl<'a> Item<'a> {
    /// The place of a location in this item's file.
    pub(super) fn place(&self, at: Location) -> Place {
        yaml::place(self.file, at)
    }

    /// Notes of what kind an id is.
    pub(super) fn kind(&self, id: &RawId, noun: &'static str) {
        self.context.kinds.borrow_mut().entry(id.value.clone()).or_insert(noun);
    }

    /// Notes where a part of this item stands, for rules that look at the whole: they know it by `part`, the file by
    /// `key`. The item itself has neither.
    pub(super) fn spot(&self, part: &str, key: &str, at: Location) {
        let id = if part.is_empty() { self.id.to_owned() } else { format!("{}.{part}", self.id) };
        let spot = Spot { place: self.place(at), path: self.path_of(key) };
        self.context.spots.borrow_mut().entry(id).or_insert(spot);
    }

    fn path_of(&self, key: &str) -> String {
        match (self.path.is_empty(), key.is_empty()) {
            (_, true) => self.path.to_owned(),
            (true, false) => key.to_owned(),
            (false, false) => format!("{}.{key}", self.path),
        }
    }

    /// An error at a place; `key` is the path below the item: `any[2].strength`.
    pub(super) fn error(&self, code: &'static str, at: Location, key: &str, message: impl Into<String>) -> Draft<'a> {
        self.context.hurt.borrow_mut().insert(self.id.to_owned());
        let finding = Finding {
            place: self.place(at),
            severity: Severity::Error,
            code,
            path: self.path_of(key),
            message: message.into(),
            hints: Vec::new(),
        };
        Draft { context: self.context, finding }
    }

    /// The index of an id in a table, or a finding.
    pub(super) fn find<T>(&self, table: &Table<T>, id: &RawId, key: &str) -> Option<Ix<T>> {
        let found = table.find(&id.value);
        if found.is_none() {
            self.unknown(table.noun, || vec![table.listing()], id, key);
        }
        found
    }

    /// The indices of ids in a table, in order; says which are unknown and which stand twice.
    pub(super) fn find_all<T>(&self, table: &Table<T>, ids: &[RawId], key: &str) -> Vec<Ix<T>> {
        self.once(ids, key);
        ids.iter().enumerate().filter_map(|(at, id)| self.find(table, id, &format!("{key}[{at}]"))).collect()
    }

    /// Notes that a number is said to come from a source.
    pub(super) fn cite(&self, source: Ix<Source>) {
        self.context.cited.borrow_mut().insert(source);
    }

    /// Says which words of a list stand twice.
    pub(super) fn once(&self, ids: &[RawId], key: &str) {
        let mut seen = BTreeSet::new();
        for (at, id) in ids.iter().enumerate() {
            if !seen.insert(&id.value) {
                self.error(codes::TWICE, id.at, &format!("{key}[{at}]"), format!("`{}` stands twice", id.value));
            }
        }
    }

    /// Says that an id is no `noun`. The listings are made only where there is time to look for a near one.
    pub(super) fn unknown<'l>(&self, noun: &str, known: impl FnOnce() -> Vec<Listing<'l>>, id: &RawId, key: &str) {
        // Its item could not be read; that was said.
        if self.unread.contains(&id.value) {
            self.context.hurt.borrow_mut().insert(self.id.to_owned());
            return;
        }
        if let Some(other) = self.context.kinds.borrow().get(&id.value) {
            let message = format!("expected {}, found {} `{}`", a(noun), a(other), id.value);
            let draft = self.error(codes::WRONG_KIND, id.at, key, message);
            if let Some(spot) = self.context.spots.borrow().get(&id.value) {
                drop(draft.hint(format!("`{}` is defined at {}:{}", id.value, spot.place.file, spot.place.line)));
            }
            return;
        }
        let draft = self.error(codes::UNKNOWN_ID, id.at, key, format!("{noun} `{}` is not defined", id.value));
        if !self.context.may_look(&id.value) {
            return;
        }
        let known: Vec<_> = known().into_iter().flatten().collect();
        if let Some(near) = self.context.near(&id.value, known.iter().map(|(id, _)| *id)) {
            let place = known.iter().find(|(id, _)| *id == near).map(|(_, place)| place);
            let place = place.map(|p| format!(", defined at {}:{}", p.file, p.line)).unwrap_or_default();
            drop(draft.hint(format!("did you mean `{near}`{place}?")));
        }
    }

    /// The position of a word among those an item has (outcomes of a check, values of a fact), or a finding.
    pub(super) fn position(&self, owner: &Owner<'_>, word: &RawId, key: &str) -> Option<usize> {
        let found = owner.words.iter().position(|w| *w == word.value);
        if found.is_none() {
            let message = format!("{} `{}` has no {} `{}`", owner.noun, owner.id, owner.part, word.value);
            let draft = self.error(codes::UNKNOWN_VALUE, word.at, key, message);
            let words = owner.words.iter().map(String::as_str);
            drop(match self.context.near(&word.value, words.clone()) {
                Some(near) => draft.hint(format!("did you mean `{near}`?")),
                None => {
                    draft.hint(format!("it has {}", words.map(|w| format!("`{w}`")).collect::<Vec<_>>().join(", ")))
                }
            });
        }
        found
    }

    /// The positions of words, in order; says which are unknown and which stand twice.
    pub(super) fn positions(&self, owner: &Owner<'_>, words: &[RawId], key: &str) -> Vec<usize> {
        self.once(words, key);
        let position = |(at, word): (usize, &RawId)| self.position(owner, word, &format!("{key}[{at}]"));
        words.iter().enumerate().filter_map(position).collect()
    }

    /// Says that a text or list that must hold something is empty.
    pub(super) fn filled(&self, at: Location, key: &str, empty: bool) {
        if empty {
            self.error(codes::EMPTY, at, key, format!("expected something in `{key}`, found nothing"));
        }
    }

    /// An error that shows a word and what was expected instead.
    pub(super) fn expected(&self, code: &'static str, found: &Sp<String>, key: &str, expected: &str) -> Draft<'a> {
        self.error(code, found.at, key, format!("expected {expected}, found `{}`", found.value))
    }
}

/// A noun with its article.
fn a(noun: &str) -> String {
    let article = if noun.starts_with(['a', 'e', 'i', 'o']) { "an" } else { "a" };
    // "access" has no plural and takes no article.
    if noun == "access" { noun.to_owned() } else { format!("{article} {noun}") }
}

/// The ids of one kind and where they are defined, for hints.
pub(super) type Listing<'a> = Vec<(&'a str, &'a Place)>;

/// What has words of its own: a check its outcomes, a fact its values.
pub(super) struct Owner<'a> {
    pub(super) noun: &'static str,
    pub(super) id: &'a str,
    pub(super) part: &'static str,
    pub(super) words: &'a [String],
}
