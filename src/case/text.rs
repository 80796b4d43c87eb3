//! A case to and from text: the case file, as a person writes it and as the interview keeps it.
//!
//! [`read`] tells all that is wrong at once, each with its place; [`write()`] is its inverse.

use super::codes;
use super::{Answer, Case, Entry, Event, Position, Presence};
use crate::access::AccessGraph;
use crate::calc;
use crate::finding::{Finding, Findings, Severity, nearest};
use crate::knowledge::layout::{Craft, Instance, Laid};
use crate::knowledge::raw::{Location, RawId, RawOpenShut, Sp};
use crate::knowledge::yaml::Source;
use crate::knowledge::{
    Access, Check, Condition, Fitted, HistoryFact, Items, Ix, Knowledge, Reading, Scope, Symptom, User,
};
use crate::model::reading::{Conditions, corrected};
use crate::safety::{Action, Before, Safety, Verdict};
use crate::units::{Measure, Quantity, Unit, UnitError};
use indexmap::IndexMap;
use jiff::Timestamp;
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::Deserialize;
use std::fmt::Write as _;

/// The version of the format that [`write`] writes and [`read`] reads.
const FORMAT: u32 = 1;
/// The lowest dry land and the highest navigated lakes, with room to spare, in meters.
const ALTITUDES_M: std::ops::RangeInclusive<f64> = -500.0..=7000.0;

// --- shapes -------------------------------------------------------------------------------------------------------

/// One job: the craft, its history, what the customer complains of, and what was seen and done since.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct RawCase {
    /// The version of the format: 1.
    format: Sp<u32>,
    /// The knowledge base it was written with.
    knowledge: RawOf,
    /// A name for the job.
    title: Option<String>,
    /// What stands on the bench.
    #[serde(default)]
    craft: RawCraft,
    /// The height above the sea, with its unit: `350 m`.
    altitude: Option<Sp<String>>,
    /// Who works on it: technician, owner, trainee or another user of the knowledge base.
    user: Option<RawId>,
    /// The special tools at hand; absent: all.
    tools: Option<Vec<Sp<String>>>,
    /// Figures of the build sheet, with their units: `opening-pressure: 25 psi`.
    #[serde(default)]
    sheet: IndexMap<RawId, Sp<String>>,
    /// Fact to answer: `cx-hose-type: old-original-resin-hose`.
    #[serde(default)]
    history: IndexMap<RawId, RawId>,
    /// What the customer complains of: `sy-...`
    #[serde(default)]
    symptoms: Vec<RawId>,
    /// What was seen and done, in order.
    #[serde(default)]
    log: Vec<Sp<RawEntry>>,
}

/// A knowledge base by name.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct RawOf {
    /// Its id.
    id: RawId,
    /// Its version; another one is refused.
    version: Option<Sp<String>>,
}

/// What stands on the bench.
#[derive(Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct RawCraft {
    /// The layout of cylinders, carburetors and pumps; absent: the usual one.
    layout: Option<RawId>,
    /// Option to whether it is fitted; absent: as usual.
    #[serde(default)]
    options: IndexMap<RawId, bool>,
}

/// One entry of the log: exactly one of `check`, `access`, `repair`, `symptom`, `tick`, `found` and `set`, with what goes
/// with it.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(transform = one_kind)]
struct RawEntry {
    /// When, as in RFC 3339.
    at: Option<Sp<String>>,
    /// A check, `id` or `id@place`; with `outcome`, `reading`, `could_not` or `unknown`.
    check: Option<RawId>,
    /// What the check showed.
    outcome: Option<RawId>,
    /// What the check measured, with its unit: `142 psi`.
    #[schemars(with = "Option<Scalar>")]
    reading: Option<Sp<String>>,
    /// It could not be done.
    could_not: Option<Sp<bool>>,
    /// It was done and nobody can tell.
    unknown: Option<Sp<bool>>,
    /// How long the hull was aired before: `10 min`.
    aired: Option<Sp<String>>,
    /// A state of disassembly; with `now`.
    access: Option<RawId>,
    /// Whether the access is open or shut from here on.
    now: Option<Sp<RawOpenShut>>,
    /// A repair that was done, `id` or `id@place`; without a place on all.
    repair: Option<RawId>,
    /// A symptom that was tried; with `present`.
    symptom: Option<RawId>,
    /// Whether the symptom, or what was found, is there.
    present: Option<Sp<bool>>,
    /// Something a person confirmed.
    tick: Option<RawId>,
    /// A cause or a companion that was found; with `present`.
    found: Option<RawId>,
    /// A setting that was written down, `id` or `id@place`; with `value`.
    set: Option<RawId>,
    /// The value of the setting.
    #[schemars(with = "Option<Scalar>")]
    value: Option<Sp<String>>,
}

/// Text that may be written as a bare number.
#[derive(JsonSchema)]
#[schemars(untagged, inline)]
#[expect(dead_code, reason = "only its shape is used")]
enum Scalar {
    Text(String),
    Number(f64),
}

/// The keys that say what kind of entry it is: one of them must be there.
const KINDS: [&str; 7] = ["check", "access", "repair", "symptom", "tick", "found", "set"];

fn one_kind(schema: &mut Schema) {
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
    fn kinds(&self) -> Vec<(&'static str, Location)> {
        let keys = [
            ("check", &self.check),
            ("access", &self.access),
            ("repair", &self.repair),
            ("symptom", &self.symptom),
            ("tick", &self.tick),
            ("found", &self.found),
            ("set", &self.set),
        ];
        keys.into_iter().filter_map(|(key, id)| id.as_ref().map(|id| (key, id.at))).collect()
    }

    /// The other keys that are given, with their places.
    fn others(&self) -> Vec<(&'static str, Location)> {
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
fn goes_with(kind: &str) -> &'static [&'static str] {
    match kind {
        "check" => &["outcome", "reading", "could_not", "unknown", "aired"],
        "access" => &["now"],
        "symptom" | "found" => &["present"],
        "set" => &["value"],
        _ => &[],
    }
}

// --- reading ------------------------------------------------------------------------------------------------------

/// Reads the text of a case file.
///
/// Returns the case where nothing is wrong with it, and everything that was found, advice too.
/// Cost: linear in the text, but for a judgment of safety at each entry of the log.
#[must_use]
pub fn read(file_name: &str, text: &str, knowledge: &Knowledge) -> (Option<Case>, Findings) {
    let source = Source { file: file_name, text };
    let mut findings = Findings::new();
    let tree = source.tree(&mut findings);
    let raw = tree.and_then(|tree| source.one::<RawCase>(&tree, &mut findings));
    let Some(raw) = raw else { return (None, findings) };
    let mut reader = Reader { source: &source, knowledge, findings };
    let case = reader.case(&raw);
    (case.filter(|_| !reader.findings.any_error()), reader.findings)
}

/// Reads the bytes of a case file: UTF-8 without a byte order mark.
#[must_use]
pub fn read_bytes(file_name: &str, bytes: &[u8], knowledge: &Knowledge) -> (Option<Case>, Findings) {
    let mut findings = Findings::new();
    match crate::knowledge::yaml::decode(file_name, bytes, &mut findings) {
        Some(text) => read(file_name, text, knowledge),
        None => (None, findings),
    }
}

struct Reader<'a> {
    source: &'a Source<'a>,
    knowledge: &'a Knowledge,
    findings: Findings,
}

impl Reader<'_> {
    fn add(&mut self, severity: Severity, code: &'static str, at: Location, message: String, hint: Option<String>) {
        self.findings.add(Finding {
            place: self.source.place(at),
            severity,
            code,
            path: String::new(),
            message,
            hints: hint.into_iter().collect(),
        });
    }

    fn error(&mut self, code: &'static str, at: Location, message: String, hint: Option<String>) {
        self.add(Severity::Error, code, at, message, hint);
    }

    fn advice(&mut self, code: &'static str, at: Location, message: String, hint: Option<String>) {
        self.add(Severity::Advice, code, at, message, hint);
    }

    fn case(&mut self, raw: &RawCase) -> Option<Case> {
        if raw.format.value != FORMAT {
            let message = format!("expected format `{FORMAT}`, found `{}`", raw.format.value);
            self.error(codes::FORMAT, raw.format.at, message, None);
            return None;
        }
        if !self.same_knowledge(&raw.knowledge) {
            return None;
        }
        let history = self.history(&raw.history);
        let craft = self.craft(&raw.craft, &history);
        let knowledge = self.knowledge;
        let laid = Laid::new(knowledge, craft.clone());
        let mut case = Case {
            title: raw.title.clone(),
            craft,
            altitude_m: self.altitude(raw.altitude.as_ref()),
            user: self.user(raw.user.as_ref()),
            tools: self.tools(raw.tools.as_deref()),
            sheet: self.sheet(&raw.sheet),
            history: history.into_iter().map(|(fact, (value, _))| (fact, value)).collect(),
            symptoms: self.symptoms(&laid, &raw.symptoms),
            log: Vec::new(),
        };
        let mut places = Vec::new();
        for entry in &raw.log {
            if let Some(event) = self.entry(&laid, &case, entry) {
                case.log.push(event);
                places.push(entry.at);
            }
        }
        self.order(&case, &places);
        self.shut_repairs(&laid, &case, &places);
        self.gone_unrepaired(&case, &places);
        self.against_interlocks(&laid, &case, &places);
        Some(case)
    }

    /// Whether the case is of this knowledge base. Another version is an error where it may have given ids another
    /// meaning: in a version before 1 the second number, from 1 on the first.
    fn same_knowledge(&mut self, raw: &RawOf) -> bool {
        let (id, version) = (&self.knowledge.id, &self.knowledge.version);
        if raw.id.value != *id {
            let message = format!("expected a case of knowledge base `{id}`, found `{}`", raw.id.value);
            self.error(codes::OTHER_KNOWLEDGE, raw.id.at, message, None);
            return false;
        }
        let Some(written) = &raw.version else { return true };
        if written.value != *version {
            let message = format!("expected version `{version}` of the knowledge base, found `{}`", written.value);
            let severity = if compatible(&written.value, version) { Severity::Advice } else { Severity::Error };
            let hint = "read the answers over under today's questions, then write today's version".to_owned();
            self.add(severity, codes::OTHER_VERSION, written.at, message, Some(hint));
        }
        true
    }

    fn find<T>(&mut self, items: &Items<T>, id: &RawId, what: &str) -> Option<Ix<T>> {
        self.find_part(items, &id.value, id.at, what)
    }

    fn find_part<T>(&mut self, items: &Items<T>, id: &str, at: Location, what: &str) -> Option<Ix<T>> {
        let found = items.find(id);
        if found.is_none() {
            let hint = did_you_mean(id, items.ids());
            self.error(codes::UNKNOWN_ID, at, format!("{what} `{id}` is not defined"), hint);
        }
        found
    }

    fn history(&mut self, raw: &IndexMap<RawId, RawId>) -> IndexMap<Ix<HistoryFact>, (usize, Location)> {
        let mut history = IndexMap::new();
        for (fact, value) in raw {
            let Some(ix) = self.find(&self.knowledge.history, fact, "fact") else { continue };
            let values = &self.knowledge.history[ix].values;
            if let Some(at) = values.iter().position(|v| v.id == value.value) {
                history.insert(ix, (at, value.at));
            } else {
                let known: Vec<&str> = values.iter().map(|v| v.id.as_str()).collect();
                let message = format!("fact `{}` has no value `{}`", fact.value, value.value);
                self.error(codes::UNKNOWN_VALUE, value.at, message, Some(one_of(&value.value, &known)));
            }
        }
        history
    }

    /// What the file says of the craft, then what history implies, then what is usual.
    fn craft(&mut self, raw: &RawCraft, history: &IndexMap<Ix<HistoryFact>, (usize, Location)>) -> Craft {
        let knowledge = self.knowledge;
        let mut craft = Craft::usual(knowledge);
        if let Some(layout) = raw.layout.as_ref().and_then(|id| self.find(&knowledge.layouts, id, "layout")) {
            craft.layout = layout;
        }
        let mut said = vec![false; craft.options.len()];
        for (id, fitted) in &raw.options {
            if let Some(option) = self.find(&knowledge.options, id, "option") {
                craft.options[option.at()] = *fitted;
                said[option.at()] = true;
            }
        }
        for (fact, (value, at)) in history {
            for (option, fitted) in &knowledge.history[*fact].values[*value].implies {
                if !said[option.at()] {
                    craft.options[option.at()] = *fitted;
                } else if craft.options[option.at()] != *fitted {
                    let message = format!(
                        "`{}` says `{}: {fitted}`, the craft says `{}`",
                        knowledge.history.id(*fact),
                        knowledge.options.id(*option),
                        !fitted
                    );
                    self.advice(codes::CONTRADICTS_HISTORY, *at, message, None);
                }
            }
        }
        craft
    }

    fn altitude(&mut self, raw: Option<&Sp<String>>) -> f64 {
        let Some(raw) = raw else { return 0.0 };
        let Some(meters) = self.measure(raw, Quantity::Length).and_then(|m| m.get(Unit::Meter)) else { return 0.0 };
        if !ALTITUDES_M.contains(&meters) {
            let (least, most) = (ALTITUDES_M.start(), ALTITUDES_M.end());
            let message = format!("expected a height from {least} to {most} m, found `{}`", raw.value);
            self.error(codes::OFF_THE_SCALE, raw.at, message, None);
            return 0.0;
        }
        meters
    }

    fn measure(&mut self, raw: &Sp<String>, quantity: Quantity) -> Option<Measure> {
        match Measure::parse_as(&raw.value, quantity) {
            Ok(measure) => Some(measure),
            Err(error) => {
                let code = match error {
                    UnitError::WrongQuantity { .. } => codes::WRONG_QUANTITY,
                    _ => codes::NO_NUMBER,
                };
                self.error(code, raw.at, error.to_string(), None);
                None
            }
        }
    }

    fn user(&mut self, raw: Option<&RawId>) -> Ix<User> {
        raw.and_then(|id| self.find(&self.knowledge.users, id, "user")).unwrap_or_else(|| usual_user(self.knowledge))
    }

    fn tools(&mut self, raw: Option<&[Sp<String>]>) -> Option<Vec<String>> {
        let raw = raw?;
        let knowledge = self.knowledge;
        let known = known_tools(knowledge);
        for tool in raw {
            if !known.contains(&tool.value.as_str()) {
                let hint = did_you_mean(&tool.value, known.iter().copied());
                let message = format!("no check and no repair needs the tool `{}`", tool.value);
                self.advice(codes::NOBODY_ASKS, tool.at, message, hint);
            }
        }
        Some(raw.iter().map(|t| t.value.clone()).collect())
    }

    fn sheet(&mut self, raw: &IndexMap<RawId, Sp<String>>) -> IndexMap<String, Measure> {
        let knowledge = self.knowledge;
        let known: Vec<(&str, Unit)> = sheet_figures(knowledge);
        let mut sheet = IndexMap::new();
        for (key, text) in raw {
            let unit = known.iter().find(|(k, _)| *k == key.value).map(|(_, unit)| *unit);
            if unit.is_none() {
                let hint = did_you_mean(&key.value, known.iter().map(|(k, _)| *k));
                let message = format!("no reading counts against the figure `{}`", key.value);
                self.advice(codes::NOBODY_ASKS, key.at, message, hint);
            }
            let measure = match unit.map(Unit::quantity) {
                Some(quantity) => self.measure(text, quantity),
                None => Measure::parse(&text.value).map_err(|e| self.no_number(text.at, &e)).ok(),
            };
            if let Some(measure) = measure {
                sheet.insert(key.value.clone(), measure);
            }
        }
        sheet
    }

    fn no_number(&mut self, at: Location, error: &UnitError) {
        self.error(codes::NO_NUMBER, at, error.to_string(), None);
    }

    fn symptoms(&mut self, laid: &Laid<'_>, raw: &[RawId]) -> Vec<Ix<Symptom>> {
        let mut symptoms = Vec::new();
        for id in raw {
            let Some(symptom) = self.symptom(laid, id) else { continue };
            if symptoms.contains(&symptom) {
                self.error(codes::TWICE, id.at, format!("symptom `{}` is named twice", id.value), None);
            } else {
                symptoms.push(symptom);
            }
        }
        symptoms
    }

    fn symptom(&mut self, laid: &Laid<'_>, id: &RawId) -> Option<Ix<Symptom>> {
        let symptom = self.find(&laid.knowledge.symptoms, id, "symptom")?;
        self.fits(laid, &laid.knowledge.symptoms[symptom].fitted, id).then_some(symptom)
    }

    fn fits(&mut self, laid: &Laid<'_>, fitted: &Fitted, id: &RawId) -> bool {
        let fits = laid.fits(fitted);
        if !fits {
            let message = format!("`{}` belongs to another craft than this one", id.value);
            let hint = "see `layout` and `options` under `craft`".to_owned();
            self.error(codes::NOT_FITTED, id.at, message, Some(hint));
        }
        fits
    }

    /// The item of a label `id@place`, and its places as named; `None` where no place is named.
    fn instance<T>(
        &mut self,
        laid: &Laid<'_>,
        items: &Items<T>,
        scope_of: impl Fn(&T) -> Scope,
        label: &RawId,
        what: &str,
    ) -> Option<(Ix<T>, Option<Vec<usize>>)> {
        let (id, names) = match label.value.split_once('@') {
            None => (label.value.as_str(), None),
            Some((id, names)) => (id, Some(names)),
        };
        let ix = self.find_part(items, id, label.at, what)?;
        let Some(names) = names else { return Some((ix, None)) };
        let scope = scope_of(&items[ix]);
        let mut places = Vec::new();
        for name in names.split('+') {
            if let Some(at) = laid.place(scope, name) {
                places.push(at);
                continue;
            }
            let known = laid.place_names(scope);
            let message = match known.as_slice() {
                [] => format!("`{id}` is of the whole craft, found the place `{name}`"),
                _ => format!("this craft has no place `{name}` for `{id}`, it has {}", known.join(", ")),
            };
            self.error(codes::NO_SUCH_PLACE, label.at, message, did_you_mean(name, known));
            return None;
        }
        places.sort_unstable();
        places.dedup();
        Some((ix, Some(places)))
    }

    /// The one place of a label; where none is named and there are several, `None` with a finding.
    fn one_place<T>(
        &mut self,
        laid: &Laid<'_>,
        items: &Items<T>,
        scope_of: impl Fn(&T) -> Scope,
        label: &RawId,
        what: &str,
    ) -> Option<Instance<T>> {
        let (ix, places) = self.instance(laid, items, &scope_of, label, what)?;
        let scope = scope_of(&items[ix]);
        match places.as_deref() {
            Some([at]) => Some(Instance::new(ix, *at)),
            None if laid.places(scope) == 1 => Some(Instance::new(ix, 0)),
            _ => {
                let message = format!("expected one place for `{}`", items.id(ix));
                let hint = format!("one of {}", laid.place_names(scope).join(", "));
                self.error(codes::WHICH_PLACE, label.at, message, Some(hint));
                None
            }
        }
    }

    fn entry(&mut self, laid: &Laid<'_>, case: &Case, raw: &Sp<RawEntry>) -> Option<Entry> {
        let kinds = raw.value.kinds();
        let [(kind, _)] = kinds.as_slice() else {
            let found: Vec<&str> = kinds.iter().map(|(kind, _)| *kind).collect();
            let found = if found.is_empty() { "none".to_owned() } else { found.join(" and ") };
            let message = format!(
                "expected exactly one of check, access, repair, symptom, tick, found, set in an entry, found {found}"
            );
            self.error(codes::ONE_OF, raw.at, message, None);
            return None;
        };
        for (key, at) in raw.value.others() {
            if !goes_with(kind).contains(&key) {
                self.error(codes::STRAY_KEY, at, format!("key `{key}` does not go with `{kind}`"), None);
            }
        }
        let at = raw.value.at.as_ref().and_then(|text| self.moment(text));
        self.event(laid, case, raw).map(|event| Entry { at, event })
    }

    fn moment(&mut self, text: &Sp<String>) -> Option<Timestamp> {
        text.value
            .parse()
            .map_err(|_| {
                let message = format!("expected a moment such as `2026-11-25T10:02:00Z`, found `{}`", text.value);
                self.error(codes::NOT_A_TIME, text.at, message, None);
            })
            .ok()
    }

    fn event(&mut self, laid: &Laid<'_>, case: &Case, raw: &Sp<RawEntry>) -> Option<Event> {
        let knowledge = laid.knowledge;
        let (entry, at) = (&raw.value, raw.at);
        if let Some(label) = &entry.check {
            self.answer(laid, case, label, entry)
        } else if let Some(id) = &entry.access {
            let access = self.find(&knowledge.access, id, "access")?;
            let now = match self.needs(entry.now.as_ref(), at, "access", "now")?.value {
                RawOpenShut::Open => Position::Open,
                RawOpenShut::Shut => Position::Shut,
            };
            Some(Event::Access { access, now })
        } else if let Some(label) = &entry.repair {
            self.repair(laid, label)
        } else if let Some(id) = &entry.symptom {
            let symptom = self.symptom(laid, id)?;
            Some(Event::Tried { symptom, now: self.presence(entry, at, "symptom")? })
        } else if let Some(id) = &entry.tick {
            self.find(&knowledge.ticks, id, "tick").map(Event::Ticked)
        } else if let Some(label) = &entry.found {
            let found = self.one_place(laid, &knowledge.causes, |c| c.scope, label, "cause")?;
            let now = self.presence(entry, at, "found")?;
            self.fits(laid, &knowledge.causes[found.item].fitted, label).then_some(Event::Found { cause: found, now })
        } else {
            let label = entry.set.as_ref()?;
            let setting = self.one_place(laid, &knowledge.settings, |s| s.scope, label, "setting")?;
            let value = self.needs(entry.value.as_ref(), at, "set", "value")?.value.clone();
            Some(Event::Set { setting, value })
        }
    }

    /// A key that a kind of entry cannot do without.
    fn needs<'v, T>(&mut self, value: Option<&'v Sp<T>>, at: Location, kind: &str, key: &str) -> Option<&'v Sp<T>> {
        if value.is_none() {
            self.error(codes::ONE_OF, at, format!("`{kind}` needs the key `{key}`"), None);
        }
        value
    }

    fn presence(&mut self, entry: &RawEntry, at: Location, kind: &str) -> Option<Presence> {
        self.needs(entry.present.as_ref(), at, kind, "present")
            .map(|p| if p.value { Presence::Present } else { Presence::Absent })
    }

    fn repair(&mut self, laid: &Laid<'_>, label: &RawId) -> Option<Event> {
        let repairs = &laid.knowledge.repairs;
        let (repair, places) = self.instance(laid, repairs, |r| r.scope, label, "repair")?;
        let item = &repairs[repair];
        // Together means: what is opened on one is opened and done on every one.
        let places = places.filter(|_| !item.together).unwrap_or_else(|| (0..laid.places(item.scope)).collect());
        self.fits(laid, &item.fitted, label).then_some(Event::Repaired { repair, places })
    }

    fn answer(&mut self, laid: &Laid<'_>, case: &Case, label: &RawId, entry: &RawEntry) -> Option<Event> {
        let checks = &laid.knowledge.checks;
        let (ix, places) = self.instance(laid, checks, |c| c.scope, label, "check")?;
        let check = &checks[ix];
        if !self.fits(laid, &check.fitted, label) {
            return None;
        }
        let place = match places.as_deref() {
            None => (laid.places(check.scope) == 1).then_some(0),
            Some([at]) => Some(*at),
            Some(_) => {
                let message = format!("expected one place for `{}`, or none", checks.id(ix));
                self.error(codes::WHICH_PLACE, label.at, message, Some("write an entry for each place".to_owned()));
                return None;
            }
        };
        let aired = entry.aired.as_ref().and_then(|text| self.aired(text));
        let answer = self.said(check, checks.id(ix), case, label.at, entry)?;
        Some(Event::Answer { check: ix, place, answer, aired_min: aired })
    }

    fn aired(&mut self, text: &Sp<String>) -> Option<f64> {
        let minutes = self.measure(text, Quantity::Time)?.get(Unit::Minute)?;
        if minutes < 0.0 {
            let message = format!("expected a time of zero or more, found `{}`", text.value);
            self.error(codes::OFF_THE_SCALE, text.at, message, None);
            return None;
        }
        Some(minutes)
    }

    /// Exactly one of outcome, reading, `could_not: true`, `unknown: true`.
    fn said(&mut self, check: &Check, id: &str, case: &Case, at: Location, entry: &RawEntry) -> Option<Answer> {
        for (key, flag) in [("could_not", &entry.could_not), ("unknown", &entry.unknown)] {
            if let Some(flag) = flag.as_ref().filter(|flag| !flag.value) {
                self.error(codes::STRAY_KEY, flag.at, format!("expected `{key}: true`, or not the key at all"), None);
                return None;
            }
        }
        match (&entry.outcome, &entry.reading, &entry.could_not, &entry.unknown) {
            (Some(outcome), None, None, None) => self.outcome(check, id, outcome),
            (None, Some(reading), None, None) => self.reading(check, id, case, reading),
            (None, None, Some(_), None) => Some(Answer::CouldNot),
            (None, None, None, Some(_)) => Some(Answer::Unknown),
            _ => {
                let message =
                    format!("expected exactly one of outcome, reading, could_not, unknown in an answer to `{id}`");
                self.error(codes::ONE_OF, at, message, None);
                None
            }
        }
    }

    fn outcome(&mut self, check: &Check, id: &str, outcome: &RawId) -> Option<Answer> {
        let at = check.outcomes.iter().position(|o| o.id == outcome.value);
        if at.is_none() {
            let known: Vec<&str> = check.outcomes.iter().map(|o| o.id.as_str()).collect();
            let message = format!("check `{id}` has no outcome `{}`", outcome.value);
            self.error(codes::UNKNOWN_VALUE, outcome.at, message, Some(one_of(&outcome.value, &known)));
        }
        at.map(Answer::Outcome)
    }

    fn reading(&mut self, check: &Check, id: &str, case: &Case, text: &Sp<String>) -> Option<Answer> {
        let Some(reading) = &check.reading else {
            let known: Vec<&str> = check.outcomes.iter().map(|o| o.id.as_str()).collect();
            let message = format!("check `{id}` gives an outcome, found the reading `{}`", text.value);
            self.error(codes::NO_READING, text.at, message, Some(one_of(&text.value, &known)));
            return None;
        };
        let measure = self.measure(text, reading.unit.quantity())?;
        let value = measure.get(reading.unit)?;
        match on_scale(reading, value, case) {
            Ok(()) => Some(Answer::Reading(value)),
            Err(OffScale::NoFigure(key)) => {
                let message = format!("`{id}` counts against the figure `{key}` of the build sheet, which is missing");
                self.advice(codes::NO_FIGURE, text.at, message, Some(format!("add `{key}` under `sheet`")));
                Some(Answer::Reading(value))
            }
            Err(OffScale::Beyond(why)) => {
                self.error(codes::OFF_THE_SCALE, text.at, format!("{why}, found `{}`", text.value), None);
                None
            }
        }
    }

    fn order(&mut self, case: &Case, places: &[Location]) {
        let mut latest: Option<Timestamp> = None;
        for (entry, at) in case.log.iter().zip(places) {
            let Some(now) = entry.at else { continue };
            if let Some(before) = latest.filter(|before| now < *before) {
                let message = format!("`{now}` is before `{before}`, the moment of an earlier entry");
                self.advice(codes::BACKWARD, *at, message, None);
            }
            latest = latest.max(Some(now));
        }
    }

    /// Where the log is silent, access is taken as opened for the work it tells of.
    fn shut_repairs(&mut self, laid: &Laid<'_>, case: &Case, places: &[Location]) {
        let graph = AccessGraph::new(laid.knowledge);
        let mut shut: Vec<Ix<Access>> = Vec::new();
        for (entry, at) in case.log.iter().zip(places) {
            let needed = match &entry.event {
                Event::Access { access, now: Position::Shut } => {
                    let over = laid.knowledge.access.iter().map(|(ix, _)| ix);
                    shut.extend(over.filter(|ix| graph.needed(&[*ix]).has(*access)));
                    continue;
                }
                Event::Access { access, now: Position::Open } => vec![*access],
                Event::Answer { check, answer, .. } if answer.informs() => laid.knowledge.checks[*check].access.clone(),
                Event::Repaired { repair, .. } => laid.knowledge.repairs[*repair].access.clone(),
                _ => continue,
            };
            let needed = graph.needed(&needed);
            if let Event::Repaired { repair, .. } = &entry.event
                && let Some(barrier) = graph.order().iter().find(|a| needed.has(**a) && shut.contains(a))
            {
                let access = laid.knowledge.access.id(*barrier);
                let message = format!(
                    "repair `{}` needs `{access}` open, and the log says that it is shut",
                    laid.knowledge.repairs.id(*repair)
                );
                let hint = format!("add `- {{access: {access}, now: open}}` before it");
                self.error(codes::SHUT, *at, message, Some(hint));
            }
            shut.retain(|a| !needed.has(*a));
        }
    }

    /// What was done while an interlock forbade it, or before what closes a hazard. Ticks are left to whoever is asked:
    /// a case written by hand seldom tells of them.
    fn against_interlocks(&mut self, laid: &Laid<'_>, case: &Case, places: &[Location]) {
        let graph = AccessGraph::new(laid.knowledge);
        let mut so_far = Case { log: Vec::new(), ..case.clone() };
        for (entry, at) in case.log.iter().zip(places) {
            let action = match &entry.event {
                Event::Answer { check, place, answer, .. } if answer.informs() => {
                    Some(Action::Check(Instance::new(*check, place.unwrap_or(0))))
                }
                Event::Repaired { repair, places } => Some(Action::Repair(*repair, places.clone())),
                _ => None,
            };
            if let Some(action) = action {
                let open = graph.open_now(laid, &so_far);
                let safety = Safety::at(laid, &graph, &so_far, entry.at);
                match safety.judge(laid, &graph, &so_far, &open, &action) {
                    Verdict::Barred { by: Some(lock), why } => {
                        let id = laid.knowledge.interlocks.id(lock);
                        self.advice(
                            codes::AGAINST_INTERLOCK,
                            *at,
                            format!("this was done against `{id}`: {why}"),
                            None,
                        );
                    }
                    Verdict::May(Before { close: Some((check, outcome, _)), .. }) => {
                        let check_id = laid.knowledge.checks.id(check);
                        let outcome = &laid.knowledge.checks[check].outcomes[outcome].id;
                        let by =
                            open_hazard_lock(laid, &safety).map_or_else(String::new, |id| format!(" against `{id}`,"));
                        let message = format!("this was done{by} before `{check_id}` said `{outcome}`");
                        self.advice(codes::AGAINST_INTERLOCK, *at, message, None);
                    }
                    _ => {}
                }
            }
            so_far.log.push(entry.clone());
        }
    }

    fn gone_unrepaired(&mut self, case: &Case, places: &[Location]) {
        let mut repaired = false;
        for (entry, at) in case.log.iter().zip(places) {
            match &entry.event {
                Event::Repaired { .. } => repaired = true,
                Event::Tried { symptom, now: Presence::Absent } if !repaired => {
                    let id = self.knowledge.symptoms.id(*symptom);
                    let message = format!("symptom `{id}` is gone and nothing was repaired");
                    self.advice(codes::GONE_UNREPAIRED, *at, message, None);
                }
                _ => {}
            }
        }
    }
}

/// The first interlock that waits for a hazard that is open.
fn open_hazard_lock<'k>(laid: &Laid<'k>, safety: &Safety) -> Option<&'k str> {
    let locks = &laid.knowledge.interlocks;
    let waits = |when: Option<&Condition>| matches!(when, Some(Condition::Hazard(h)) if safety.hazards.iter().any(|open| open.hazard == *h));
    locks.iter().find(|(_, lock)| waits(lock.when.as_ref())).map(|(ix, _)| locks.id(ix))
}

/// Why a reading does not fit its scale.
#[derive(Clone, Debug, PartialEq)]
pub enum OffScale {
    /// It counts against a figure of the build sheet that the case lacks: its key.
    NoFigure(String),
    /// It is less than the least or more than the most: what was expected.
    Beyond(String),
}

/// Whether a reading as measured, in the check's unit, lies on its scale once corrected for altitude or compared with
/// the sheet.
///
/// # Errors
/// Where it does not.
pub fn on_scale(reading: &Reading, value: f64, case: &Case) -> Result<(), OffScale> {
    let sheet = match &reading.relative {
        None => None,
        Some((key, _)) => match case.sheet.get(key) {
            None => return Err(OffScale::NoFigure(key.clone())),
            // A percentage of a figure is a reading in the figure's own unit.
            Some(figure) => Some(figure.get(reading.unit).unwrap_or(figure.value)),
        },
    };
    let conditions = Conditions { slip: 0.0, pressure_ratio: calc::pressure_ratio(case.altitude_m), sheet };
    let counts_as = corrected(reading, value, &conditions);
    // Beyond the scale is an answer of its own where the check has one.
    let below_most = counts_as <= reading.most || reading.over.is_some();
    if counts_as >= reading.least && below_most {
        return Ok(());
    }
    let unit = reading.unit;
    let of = match &reading.relative {
        Some((key, _)) => format!(" against `{key}`"),
        None if reading.corrected_for_altitude && case.altitude_m != 0.0 => " at sea level".to_owned(),
        None => String::new(),
    };
    Err(OffScale::Beyond(format!("expected {} to {} {unit}{of}", reading.least, reading.most)))
}

/// Every tool that a check or a repair needs, in order of the alphabet.
#[must_use]
pub fn known_tools(knowledge: &Knowledge) -> Vec<&str> {
    let checks = knowledge.checks.iter().flat_map(|(_, c)| &c.tools);
    let repairs = knowledge.repairs.iter().flat_map(|(_, r)| &r.tools);
    let mut tools: Vec<&str> = checks.chain(repairs).map(String::as_str).collect();
    tools.sort_unstable();
    tools.dedup();
    tools
}

/// Every figure of the build sheet that a reading counts against, with the unit of that reading.
#[must_use]
pub fn sheet_figures(knowledge: &Knowledge) -> Vec<(&str, Unit)> {
    let mut figures: Vec<(&str, Unit)> = Vec::new();
    for (_, check) in knowledge.checks.iter() {
        if let Some(reading) = &check.reading
            && let Some((key, _)) = &reading.relative
            && !figures.iter().any(|(k, _)| k == key)
        {
            figures.push((key, reading.unit));
        }
    }
    figures
}

/// Who works on a case that does not say: the technician, else the first.
#[must_use]
pub fn usual_user(knowledge: &Knowledge) -> Ix<User> {
    knowledge.users.find("technician").unwrap_or(Ix::new(0))
}

fn compatible(a: &str, b: &str) -> bool {
    let head = |version: &str| {
        let mut parts = version.split('.').map(str::to_owned);
        let major = parts.next();
        let minor = if major.as_deref() == Some("0") { parts.next() } else { None };
        (major, minor)
    };
    head(a) == head(b)
}

fn did_you_mean<'k>(word: &str, known: impl IntoIterator<Item = &'k str>) -> Option<String> {
    nearest(word, known).map(|near| format!("did you mean `{near}`?"))
}

fn one_of(word: &str, known: &[&str]) -> String {
    did_you_mean(word, known.iter().copied()).unwrap_or_else(|| format!("it has {}", known.join(", ")))
}

// --- writing ------------------------------------------------------------------------------------------------------

/// Writes a case as text that [`read`] reads back to the same case.
#[must_use]
pub fn write(case: &Case, knowledge: &Knowledge) -> String {
    let laid = Laid::new(knowledge, case.craft.clone());
    let mut text = format!("format: {FORMAT}\n");
    let _ = writeln!(text, "knowledge: {{id: {}, version: {}}}", scalar(&knowledge.id), scalar(&knowledge.version));
    if let Some(title) = &case.title {
        let _ = writeln!(text, "title: {}", scalar(title));
    }
    let options =
        knowledge.options.ids().zip(&case.craft.options).map(|(id, fitted)| format!("{}: {fitted}", scalar(id)));
    let options = options.collect::<Vec<_>>().join(", ");
    let layout = scalar(knowledge.layouts.id(case.craft.layout));
    let _ = writeln!(text, "craft: {{layout: {layout}, options: {{{options}}}}}");
    if case.altitude_m != 0.0 {
        let _ = writeln!(text, "altitude: {} m", case.altitude_m);
    }
    let _ = writeln!(text, "user: {}", scalar(knowledge.users.id(case.user)));
    if let Some(tools) = &case.tools {
        let tools: Vec<String> = tools.iter().map(|t| scalar(t)).collect();
        let _ = writeln!(text, "tools: [{}]", tools.join(", "));
    }
    write_map(&mut text, "sheet", case.sheet.iter().map(|(key, measure)| (key.as_str(), scalar(&measure.to_string()))));
    write_map(
        &mut text,
        "history",
        case.history
            .iter()
            .map(|(fact, value)| (knowledge.history.id(*fact), scalar(&knowledge.history[*fact].values[*value].id))),
    );
    let symptoms: Vec<String> = case.symptoms.iter().map(|s| scalar(knowledge.symptoms.id(*s))).collect();
    let _ = writeln!(text, "symptoms: [{}]", symptoms.join(", "));
    if !case.log.is_empty() {
        text.push_str("log:\n");
    }
    for entry in &case.log {
        let _ = writeln!(text, "  - {{{}}}", entry_text(&laid, entry));
    }
    text
}

fn write_map<'a>(text: &mut String, key: &str, pairs: impl ExactSizeIterator<Item = (&'a str, String)>) {
    if pairs.len() == 0 {
        return;
    }
    let _ = writeln!(text, "{key}:");
    for (key, value) in pairs {
        let _ = writeln!(text, "  {}: {value}", scalar(key));
    }
}

fn entry_text(laid: &Laid<'_>, entry: &Entry) -> String {
    let at = entry.at.map(|at| format!("at: {at}, ")).unwrap_or_default();
    at + &event_text(laid, &entry.event)
}

/// What happened, as the inside of one line of a log.
fn event_text(laid: &Laid<'_>, event: &Event) -> String {
    let knowledge = laid.knowledge;
    match event {
        Event::Answer { check, place, answer, aired_min } => {
            let id = knowledge.checks.id(*check);
            let item = &knowledge.checks[*check];
            let label = place.map_or_else(|| id.to_owned(), |at| laid.label(id, item.scope, at));
            let aired = aired_min.map(|m| format!(", aired: {m} min")).unwrap_or_default();
            format!("check: {label}, {}{aired}", answer_text(item, *answer))
        }
        Event::Access { access, now } => {
            let now = match now {
                Position::Open => "open",
                Position::Shut => "shut",
            };
            format!("access: {}, now: {now}", knowledge.access.id(*access))
        }
        Event::Repaired { repair, places } => {
            let item = &knowledge.repairs[*repair];
            let id = knowledge.repairs.id(*repair);
            if places.len() == laid.places(item.scope) {
                return format!("repair: {id}");
            }
            let names: Vec<&str> = places.iter().filter_map(|at| laid.place_name(item.scope, *at)).collect();
            format!("repair: {id}@{}", names.join("+"))
        }
        Event::Tried { symptom, now } => {
            format!("symptom: {}, present: {}", knowledge.symptoms.id(*symptom), *now == Presence::Present)
        }
        Event::Found { cause, now } => {
            let label = laid.label(knowledge.causes.id(cause.item), knowledge.causes[cause.item].scope, cause.at);
            format!("found: {label}, present: {}", *now == Presence::Present)
        }
        Event::Ticked(tick) => format!("tick: {}", knowledge.ticks.id(*tick)),
        Event::Set { setting, value } => {
            let scope = knowledge.settings[setting.item].scope;
            let label = laid.label(knowledge.settings.id(setting.item), scope, setting.at);
            format!("set: {label}, value: {}", scalar(value))
        }
    }
}

fn answer_text(check: &Check, answer: Answer) -> String {
    match (answer, &check.reading) {
        (Answer::Outcome(at), _) => format!("outcome: {}", scalar(&check.outcomes[at].id)),
        (Answer::Reading(value), Some(reading)) => {
            format!("reading: {}", scalar(&Measure { value, unit: reading.unit }.to_string()))
        }
        (Answer::Reading(_), None) | (Answer::Unknown, _) => "unknown: true".to_owned(),
        (Answer::CouldNot, _) => "could_not: true".to_owned(),
    }
}

/// Words that YAML, in one version or another, takes for something else than text.
const WORDS: [&str; 9] = ["true", "false", "null", "yes", "no", "on", "off", "y", "n"];

/// Whether YAML takes a text for a number that is written in another way: `1.0`, `1e3`, `017`, `0x1F`.
fn reads_as_other_number(text: &str) -> bool {
    let digits = text.strip_prefix('-').unwrap_or(text);
    if !digits.starts_with(|c: char| c.is_ascii_digit()) {
        return false;
    }
    if let Ok(number) = text.parse::<f64>() {
        // A negative zero loses its sign.
        return number.to_string() != text || text == "-0";
    }
    let based = digits.starts_with('0') && digits[1..].starts_with(|c: char| c.is_ascii_alphabetic());
    based || digits.contains('_')
}

/// A text as YAML: plain where it reads back as itself, else in double quotes.
fn scalar(text: &str) -> String {
    let mut chars = text.chars();
    let first = chars.next();
    let starts_plain = first.is_some_and(|c| c.is_ascii_alphanumeric())
        || (first == Some('-') && chars.next().is_some_and(|c| c.is_ascii_digit()));
    let stays_plain = text.chars().all(|c| c.is_ascii_alphanumeric() || " _./%+@-".contains(c));
    let is_word = !WORDS.contains(&text.to_lowercase().as_str());
    if starts_plain && stays_plain && !text.ends_with(' ') && is_word && !reads_as_other_number(text) {
        return text.to_owned();
    }
    let mut quoted = String::from("\"");
    for c in text.chars() {
        match c {
            '"' | '\\' => quoted.extend(['\\', c]),
            '\n' => quoted.push_str("\\n"),
            '\t' => quoted.push_str("\\t"),
            // YAML counts more than controls as unprintable, and folds lines at these.
            c if c.is_control() || matches!(c, '\u{2028}' | '\u{2029}' | '\u{feff}' | '\u{fffe}' | '\u{ffff}') => {
                let _ = write!(quoted, "\\u{:04X}", u32::from(c));
            }
            c => quoted.push(c),
        }
    }
    quoted.push('"');
    quoted
}
