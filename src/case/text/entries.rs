//! From the shape to a job: the entries of its log.

use super::reader::{Reader, one_of};
use super::shape::{KINDS, RawEntry, goes_with};
use super::{OffScale, on_scale};
use crate::case::{Answer, Case, Entry, Event, Position, Presence, codes};
use crate::knowledge::layout::Laid;
use crate::knowledge::raw::{Location, RawId, RawOpenShut, Sp};
use crate::knowledge::{Check, Interlock, Ix, Knowledge, Repair};
use crate::units::{Quantity, Unit};
use jiff::Timestamp;

/// Nobody airs a craft for longer before one sniff: a day, in minutes.
const LONGEST_AIRED: f64 = 1440.0;

impl Reader<'_> {
    pub(super) fn entry(&mut self, laid: &Laid<'_>, case: &Case, raw: &Sp<RawEntry>) -> Option<Entry> {
        let kinds = raw.value.kinds();
        let [(kind, _)] = kinds.as_slice() else {
            let found: Vec<&str> = kinds.iter().map(|(kind, _)| *kind).collect();
            let found = if found.is_empty() { "none".to_owned() } else { found.join(" and ") };
            let message = format!("expected exactly one of {} in an entry, found {found}", KINDS.join(", "));
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

    pub(super) fn moment(&mut self, text: &Sp<String>) -> Option<Timestamp> {
        text.value
            .parse()
            .map_err(|_| {
                let message = format!("expected a moment such as `2026-11-25T10:02:00Z`, found `{}`", text.value);
                self.error(codes::NOT_A_TIME, text.at, message, None);
            })
            .ok()
    }

    pub(super) fn event(&mut self, laid: &Laid<'_>, case: &Case, raw: &Sp<RawEntry>) -> Option<Event> {
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
            let (repair, places) = self.repair(laid, label)?;
            Some(Event::Repaired { repair, places })
        } else if let Some(id) = &entry.symptom {
            let symptom = self.symptom(laid, id)?;
            Some(Event::Tried { symptom, now: self.presence(entry, at, "symptom")? })
        } else if let Some(id) = &entry.tick {
            self.find(&knowledge.ticks, id, "tick").map(Event::Ticked)
        } else if let Some(label) = &entry.found {
            let found = self.one_place(laid, &knowledge.causes, |c| c.scope, label, "cause")?;
            let now = self.presence(entry, at, "found")?;
            self.fits(laid, &knowledge.causes[found.item].fitted, label).then_some(Event::Found { cause: found, now })
        } else if let Some(label) = &entry.left {
            let (repair, places) = self.repair(laid, label)?;
            Some(Event::Left { repair, places })
        } else if let Some(id) = &entry.emergency {
            let lock = self.find(&knowledge.interlocks, id, "interlock")?;
            let now = self.presence(entry, at, "emergency")?;
            self.ends(knowledge, lock, id).then_some(Event::Emergency { lock, now })
        } else {
            let label = entry.set.as_ref()?;
            let setting = self.one_place(laid, &knowledge.settings, |s| s.scope, label, "setting")?;
            let value = self.needs(entry.value.as_ref(), at, "set", "value")?.value.clone();
            Some(Event::Set { setting, value })
        }
    }

    /// Whether an interlock is one that ends a job.
    fn ends(&mut self, knowledge: &Knowledge, lock: Ix<Interlock>, id: &RawId) -> bool {
        let ends = knowledge.interlocks[lock].ends;
        if !ends {
            let known: Vec<&str> = knowledge
                .interlocks
                .iter()
                .filter(|(_, i)| i.ends)
                .map(|(ix, _)| knowledge.interlocks.id(ix))
                .collect();
            let message = format!("expected an interlock that ends a job, found `{}`", id.value);
            let hint = format!("one of {}", known.join(", "));
            self.error(codes::UNKNOWN_ID, id.at, message, (!known.is_empty()).then_some(hint));
        }
        ends
    }

    /// A key that a kind of entry cannot do without.
    pub(super) fn needs<'v, T>(
        &mut self,
        value: Option<&'v Sp<T>>,
        at: Location,
        kind: &str,
        key: &str,
    ) -> Option<&'v Sp<T>> {
        if value.is_none() {
            self.error(codes::ONE_OF, at, format!("`{kind}` needs the key `{key}`"), None);
        }
        value
    }

    pub(super) fn presence(&mut self, entry: &RawEntry, at: Location, kind: &str) -> Option<Presence> {
        self.needs(entry.present.as_ref(), at, kind, "present")
            .map(|p| if p.value { Presence::Present } else { Presence::Absent })
    }

    pub(super) fn repair(&mut self, laid: &Laid<'_>, label: &RawId) -> Option<(Ix<Repair>, Vec<usize>)> {
        let repairs = &laid.knowledge.repairs;
        let (repair, places) = self.instance(laid, repairs, |r| r.scope, label, "repair")?;
        let item = &repairs[repair];
        // Together means: what is opened on one is opened and done on every one.
        let places = places.filter(|_| !item.together).unwrap_or_else(|| (0..laid.places(item.scope)).collect());
        self.fits(laid, &item.fitted, label).then_some((repair, places))
    }

    pub(super) fn answer(&mut self, laid: &Laid<'_>, case: &Case, label: &RawId, entry: &RawEntry) -> Option<Event> {
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

    pub(super) fn aired(&mut self, text: &Sp<String>) -> Option<f64> {
        let minutes = self.measure(text, Quantity::Time)?.get(Unit::Minute);
        let minutes = minutes.filter(|minutes| (0.0..=LONGEST_AIRED).contains(minutes));
        if minutes.is_none() {
            let message = format!("expected a time of 0 min to {LONGEST_AIRED} min, found `{}`", text.value);
            self.error(codes::OFF_THE_SCALE, text.at, message, None);
        }
        minutes
    }

    /// Exactly one of outcome, reading, `could_not: true`, `unknown: true`.
    pub(super) fn said(
        &mut self,
        check: &Check,
        id: &str,
        case: &Case,
        at: Location,
        entry: &RawEntry,
    ) -> Option<Answer> {
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

    pub(super) fn outcome(&mut self, check: &Check, id: &str, outcome: &RawId) -> Option<Answer> {
        let at = check.outcomes.iter().position(|o| o.id == outcome.value);
        if at.is_none() {
            let known: Vec<&str> = check.outcomes.iter().map(|o| o.id.as_str()).collect();
            let message = format!("check `{id}` has no outcome `{}`", outcome.value);
            self.error(codes::UNKNOWN_VALUE, outcome.at, message, Some(one_of(&outcome.value, &known)));
        }
        at.map(Answer::Outcome)
    }

    pub(super) fn reading(&mut self, check: &Check, id: &str, case: &Case, text: &Sp<String>) -> Option<Answer> {
        let Some(reading) = &check.reading else {
            let known: Vec<&str> = check.outcomes.iter().map(|o| o.id.as_str()).collect();
            let message = format!("check `{id}` gives an outcome, found the reading `{}`", text.value);
            self.error(codes::NO_READING, text.at, message, Some(one_of(&text.value, &known)));
            return None;
        };
        let measure = self.measure(text, reading.unit.quantity())?;
        let Some(value) = measure.get(reading.unit) else {
            let message =
                format!("expected {} to {} {}, found `{}`", reading.least, reading.most, reading.unit, text.value);
            self.error(codes::OFF_THE_SCALE, text.at, message, None);
            return None;
        };
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
}
