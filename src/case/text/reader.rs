//! From the shape to a job: the craft, its history, the complaint.

use super::shape::{RawCase, RawCraft, RawOf};
use super::{FORMAT, known_tools, sheet_figures};
use crate::case::{Case, codes, usual_user};
use crate::finding::{Finding, Findings, Severity, nearest};
use crate::knowledge::codes::WRONG_SHAPE;
use crate::knowledge::layout::{Craft, Instance, Laid};
use crate::knowledge::raw::{Location, RawId, Sp};
use crate::knowledge::yaml::Source;
use crate::knowledge::{Fitted, HistoryFact, Items, Ix, Knowledge, Scope, Symptom, User};
use crate::units::{Measure, Quantity, Unit, UnitError};
use indexmap::IndexMap;

/// The lowest dry land and the highest navigated lakes, with room to spare, in meters.
const ALTITUDES_M: std::ops::RangeInclusive<f64> = -500.0..=7000.0;

/// What reads a case.
pub(super) struct Reader<'a> {
    pub(super) source: &'a Source<'a>,
    pub(super) knowledge: &'a Knowledge,
    pub(super) findings: Findings,
}

impl Reader<'_> {
    pub(super) fn add(
        &mut self,
        severity: Severity,
        code: &'static str,
        at: Location,
        message: String,
        hint: Option<String>,
    ) {
        self.findings.add(Finding {
            place: self.source.place(at),
            severity,
            code,
            path: String::new(),
            message,
            hints: hint.into_iter().collect(),
        });
    }

    pub(super) fn error(&mut self, code: &'static str, at: Location, message: String, hint: Option<String>) {
        self.add(Severity::Error, code, at, message, hint);
    }

    pub(super) fn advice(&mut self, code: &'static str, at: Location, message: String, hint: Option<String>) {
        self.add(Severity::Advice, code, at, message, hint);
    }

    pub(super) fn case(&mut self, raw: &RawCase) -> Option<Case> {
        if raw.format.value != FORMAT {
            let message = format!("expected format `{FORMAT}`, found `{}`", raw.format.value);
            self.error(codes::FORMAT, raw.format.at, message, None);
            return None;
        }
        if !self.same_knowledge(&raw.knowledge) {
            return None;
        }
        let history = self.history(&raw.history);
        let history_next = raw.history_next.as_ref().and_then(|id| self.find(&self.knowledge.history, id, "fact"));
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
            history_next,
            symptoms: self.symptoms(&laid, &raw.symptoms),
            log: Vec::new(),
            taken_up: 0,
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
        self.found_though_left_out(&laid, &case, &places);
        self.against_interlocks(&laid, &case, &places);
        Some(case)
    }

    /// Whether the case is of this knowledge base. Another version is an error where it may have given ids another
    /// meaning: in a version before 1 the second number, from 1 on the first.
    pub(super) fn same_knowledge(&mut self, raw: &RawOf) -> bool {
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

    pub(super) fn find<T>(&mut self, items: &Items<T>, id: &RawId, what: &str) -> Option<Ix<T>> {
        self.find_part(items, &id.value, id.at, what)
    }

    pub(super) fn find_part<T>(&mut self, items: &Items<T>, id: &str, at: Location, what: &str) -> Option<Ix<T>> {
        let found = items.find(id);
        if found.is_none() {
            let hint = did_you_mean(id, items.ids());
            self.error(codes::UNKNOWN_ID, at, format!("{what} `{id}` is not defined"), hint);
        }
        found
    }

    pub(super) fn history(&mut self, raw: &IndexMap<RawId, RawId>) -> IndexMap<Ix<HistoryFact>, (usize, Location)> {
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
    pub(super) fn craft(&mut self, raw: &RawCraft, history: &IndexMap<Ix<HistoryFact>, (usize, Location)>) -> Craft {
        let knowledge = self.knowledge;
        let mut craft = Craft::usual(knowledge);
        if let Some(layout) = raw.layout.as_ref().and_then(|id| self.find(&knowledge.layouts, id, "layout")) {
            craft.layout = layout;
        }
        let mut said = vec![false; craft.options.len()];
        for (id, fitted) in &raw.options {
            let (option, fitted) = (self.find(&knowledge.options, id, "option"), self.truth(fitted));
            if let (Some(option), Some(fitted)) = (option, fitted) {
                craft.options[option.at()] = fitted;
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

    fn truth(&mut self, text: &Sp<String>) -> Option<bool> {
        let truth = text.value.parse().ok();
        if truth.is_none() {
            let message = format!("expected `true` or `false`, found `{}`", text.value);
            let word = ["yes", "no", "on", "off"].contains(&text.value.to_lowercase().as_str());
            let hint = word.then(|| "`yes`, `no`, `on` and `off` are plain words in YAML 1.2".to_owned());
            self.error(WRONG_SHAPE, text.at, message, hint);
        }
        truth
    }

    pub(super) fn altitude(&mut self, raw: Option<&Sp<String>>) -> f64 {
        let Some(raw) = raw else { return 0.0 };
        let Some(measure) = self.measure(raw, Quantity::Length) else { return 0.0 };
        let meters = measure.get(Unit::Meter).unwrap_or(f64::INFINITY);
        if !ALTITUDES_M.contains(&meters) {
            let (least, most) = (ALTITUDES_M.start(), ALTITUDES_M.end());
            let message = format!("expected a height from {least} to {most} m, found `{}`", raw.value);
            self.error(codes::OFF_THE_SCALE, raw.at, message, None);
            return 0.0;
        }
        meters
    }

    pub(super) fn measure(&mut self, raw: &Sp<String>, quantity: Quantity) -> Option<Measure> {
        match Measure::parse_as(&raw.value, quantity) {
            Ok(measure) => Some(measure),
            Err(error) => {
                let code = match error {
                    UnitError::WrongQuantity { .. } => codes::WRONG_QUANTITY,
                    UnitError::TooLarge { .. } => codes::OFF_THE_SCALE,
                    _ => codes::NO_NUMBER,
                };
                self.error(code, raw.at, error.to_string(), None);
                None
            }
        }
    }

    pub(super) fn user(&mut self, raw: Option<&RawId>) -> Ix<User> {
        raw.and_then(|id| self.find(&self.knowledge.users, id, "user")).unwrap_or_else(|| usual_user(self.knowledge))
    }

    pub(super) fn tools(&mut self, raw: Option<&[Sp<String>]>) -> Option<Vec<String>> {
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

    pub(super) fn sheet(&mut self, raw: &IndexMap<RawId, Sp<String>>) -> IndexMap<String, Measure> {
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

    pub(super) fn no_number(&mut self, at: Location, error: &UnitError) {
        self.error(codes::NO_NUMBER, at, error.to_string(), None);
    }

    pub(super) fn symptoms(&mut self, laid: &Laid<'_>, raw: &[RawId]) -> Vec<Ix<Symptom>> {
        let mut symptoms = Vec::new();
        for id in raw {
            let Some(symptom) = self.symptom(laid, id) else { continue };
            if symptoms.contains(&symptom) {
                self.error(codes::TWICE, id.at, format!("symptom `{}` is named twice", id.value), None);
            } else {
                symptoms.push(symptom);
            }
        }
        let knowledge = laid.knowledge;
        if let (Some((one, other)), Some(first)) = (knowledge.at_odds(&symptoms), raw.first()) {
            let [one, other] = [one, other].map(|ix| knowledge.symptoms.id(ix));
            self.advice(codes::AT_ODDS, first.at, format!("`{one}` rules `{other}` out"), None);
        }
        symptoms
    }

    pub(super) fn symptom(&mut self, laid: &Laid<'_>, id: &RawId) -> Option<Ix<Symptom>> {
        let symptom = self.find(&laid.knowledge.symptoms, id, "symptom")?;
        self.fits(laid, &laid.knowledge.symptoms[symptom].fitted, id).then_some(symptom)
    }

    pub(super) fn fits(&mut self, laid: &Laid<'_>, fitted: &Fitted, id: &RawId) -> bool {
        let fits = laid.fits(fitted);
        if !fits {
            let message = format!("`{}` belongs to another craft than this one", id.value);
            let hint = "see `layout` and `options` under `craft`".to_owned();
            self.error(codes::NOT_FITTED, id.at, message, Some(hint));
        }
        fits
    }

    /// The item of a label `id@place`, and its places as named; `None` where no place is named.
    pub(super) fn instance<T>(
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
    pub(super) fn one_place<T>(
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
}

pub(super) fn compatible(a: &str, b: &str) -> bool {
    let head = |version: &str| {
        let mut parts = version.split('.').map(str::to_owned);
        let major = parts.next();
        let minor = if major.as_deref() == Some("0") { parts.next() } else { None };
        (major, minor)
    };
    head(a) == head(b)
}

pub(super) fn did_you_mean<'k>(word: &str, known: impl IntoIterator<Item = &'k str>) -> Option<String> {
    nearest(word, known).map(|near| format!("did you mean `{near}`?"))
}

pub(super) fn one_of(word: &str, known: &[&str]) -> String {
    did_you_mean(word, known.iter().copied()).unwrap_or_else(|| format!("it has {}", known.join(", ")))
}
