//! Every id and where it is defined: entered before anything that names it is looked at.

use super::super::node::shortened;
use super::super::raw::{In, RawId, RawKnowledge, RawManifest};
use super::super::{
    Access, Cause, Check, CraftOption, Effect, Hazard, HistoryFact, Interlock, Ix, Layout, PlanRule, Repair, Setting,
    Source, Symptom, Tick, User, codes,
};
use super::context::{Context, Item, Listing, Owner};
use crate::finding::Place;
use crate::units::Unit;
use indexmap::IndexMap;
use std::collections::BTreeMap;
use std::marker::PhantomData;

/// Words of the format that cannot be ids of causes, effects or facts.
const RESERVED: [&str; 6] = ["any_of", "all_of", "not", "layout", "cylinders", "start"];

/// The ids of one kind, in order.
pub(super) struct Table<T> {
    /// What its ids are called.
    pub(super) noun: &'static str,
    ids: IndexMap<String, Place>,
    of: PhantomData<fn() -> T>,
}

impl<T> Table<T> {
    fn new(noun: &'static str) -> Self {
        Self { noun, ids: IndexMap::new(), of: PhantomData }
    }

    /// The index of an id.
    pub(super) fn find(&self, id: &str) -> Option<Ix<T>> {
        self.ids.get_index_of(id).map(Ix::new)
    }

    /// The id at an index.
    pub(super) fn id(&self, ix: Ix<T>) -> &str {
        self.ids.get_index(ix.at()).expect("an index of this table").0
    }

    /// For hints.
    pub(super) fn listing(&self) -> Listing<'_> {
        self.ids.iter().map(|(id, place)| (id.as_str(), place)).collect()
    }
}

/// What others may name of a check.
pub(super) struct CheckNames {
    /// Outcomes or bands, `over` last.
    pub(super) outcomes: Vec<String>,
    /// How many of them are bands or outcomes written out, without `over`.
    pub(super) written: usize,
    /// The unit of its reading.
    pub(super) unit: Option<Unit>,
    /// The positions of outcomes that pass.
    pub(super) pass: Vec<usize>,
}

/// All ids.
pub(super) struct Names {
    pub(super) options: Table<CraftOption>,
    pub(super) layouts: Table<Layout>,
    pub(super) users: Table<User>,
    pub(super) history: Table<HistoryFact>,
    pub(super) causes: Table<Cause>,
    pub(super) effects: Table<Effect>,
    pub(super) symptoms: Table<Symptom>,
    pub(super) checks: Table<Check>,
    pub(super) access: Table<Access>,
    pub(super) hazards: Table<Hazard>,
    pub(super) ticks: Table<Tick>,
    pub(super) interlocks: Table<Interlock>,
    pub(super) repairs: Table<Repair>,
    pub(super) settings: Table<Setting>,
    pub(super) plan_rules: Table<PlanRule>,
    pub(super) sources: Table<Source>,
    /// The values of facts, by index.
    pub(super) values: Vec<Vec<String>>,
    /// What others may name of checks, by index.
    pub(super) told: Vec<CheckNames>,
    /// Where each id is defined.
    pub(super) places: BTreeMap<String, Place>,
}

impl Names {
    /// Enters every id; says which are not in kebab-case and which are defined twice.
    pub(super) fn enter(raw: &RawKnowledge, manifest: &In<RawManifest>, context: &Context) -> Self {
        let mut names = Self {
            options: Table::new("option"),
            layouts: Table::new("layout"),
            users: Table::new("user"),
            history: Table::new("history fact"),
            causes: Table::new("cause"),
            effects: Table::new("effect"),
            symptoms: Table::new("symptom"),
            checks: Table::new("check"),
            access: Table::new("access"),
            hazards: Table::new("hazard"),
            ticks: Table::new("tick"),
            interlocks: Table::new("interlock"),
            repairs: Table::new("repair"),
            settings: Table::new("setting"),
            plan_rules: Table::new("plan rule"),
            sources: Table::new("source"),
            values: Vec::new(),
            told: Vec::new(),
            places: BTreeMap::new(),
        };
        let places = &mut names.places;
        let craft = context.at(manifest, "");
        for id in manifest.item.options.keys() {
            own(&mut names.options, &craft, id, "options");
        }
        for (at, layout) in manifest.item.layouts.iter().enumerate() {
            own(&mut names.layouts, &craft, &layout.id, &format!("layouts[{at}]"));
        }
        for id in manifest.item.users.keys() {
            own(&mut names.users, &craft, id, "users");
        }
        for fact in &raw.history {
            if shared(&mut names.history, places, &context.at(fact, &fact.item.id.value), &fact.item.id) {
                names.values.push(fact.item.values.iter().map(|v| v.value.clone()).collect());
            }
        }
        for check in &raw.checks {
            if shared(&mut names.checks, places, &context.at(check, &check.item.id.value), &check.item.id) {
                names.told.push(check_names(&check.item));
            }
        }
        macro_rules! enter {
            ($($kind:ident),*) => {$(
                for item in &raw.$kind {
                    shared(&mut names.$kind, places, &context.at(item, &item.item.id.value), &item.item.id);
                }
            )*};
        }
        enter!(causes, effects, symptoms, access, hazards, interlocks, repairs, settings, plan_rules, sources);
        for hazard in &raw.hazards {
            if let Some(tick) = &hazard.item.tick {
                // Several hazards may share a tick: one confirmation serves both. An interlock may bear its tick's id.
                if names.ticks.find(&tick.id.value).is_none() {
                    own(&mut names.ticks, &context.at(hazard, &hazard.item.id.value), &tick.id, "tick.id");
                }
            }
        }
        names
    }

    /// The values of a fact.
    pub(super) fn values_of(&self, fact: Ix<HistoryFact>) -> Owner<'_> {
        Owner { noun: "history fact", id: self.history.id(fact), part: "value", words: &self.values[fact.at()] }
    }

    /// The outcomes of a check.
    pub(super) fn outcomes_of(&self, check: Ix<Check>) -> Owner<'_> {
        Owner { noun: "check", id: self.checks.id(check), part: "outcome", words: &self.told[check.at()].outcomes }
    }
}

/// Enters an id into the names of its own kind only. Whether it is new.
fn own<T>(table: &mut Table<T>, item: &Item<'_>, id: &RawId, key: &str) -> bool {
    kebab(item, id, key);
    if let Some(first) = table.ids.get(&id.value) {
        let message = format!("{} `{}` is defined twice", table.noun, id.value);
        drop(item.error(codes::DUPLICATE_ID, id.at, key, message).hint(format!("the first is at {first}")));
        return false;
    }
    table.ids.insert(id.value.clone(), item.place(id.at));
    true
}

/// Enters an id into the names all kinds share. Whether it is new to its kind.
fn shared<T>(table: &mut Table<T>, places: &mut BTreeMap<String, Place>, item: &Item<'_>, id: &RawId) -> bool {
    if RESERVED.contains(&id.value.as_str()) {
        item.error(codes::RESERVED_ID, id.at, "id", format!("`{}` is a word of the format", id.value));
    }
    if let Some(first) = places.get(&id.value) {
        kebab(item, id, "id");
        let message = format!("id `{}` is defined twice", id.value);
        drop(item.error(codes::DUPLICATE_ID, id.at, "id", message).hint(format!("the first is at {first}")));
        // Under another kind it still gets its own index, so that what names it resolves.
        return table.ids.insert(id.value.clone(), item.place(id.at)).is_none();
    }
    places.insert(id.value.clone(), item.place(id.at));
    item.spot("", "", id.at);
    item.kind(id, table.noun);
    own(table, item, id, "id")
}

/// Says where an id is not in kebab-case.
pub(super) fn kebab(item: &Item<'_>, id: &RawId, key: &str) {
    if !is_kebab(&id.value) {
        let draft = item.error(
            codes::NOT_KEBAB,
            id.at,
            key,
            format!("expected an id in kebab-case, such as `fuel-filter-clogged`, found `{}`", shortened(&id.value)),
        );
        if let Some(better) = kebabbed(&id.value) {
            drop(draft.hint(format!("write `{better}`")));
        }
    }
}

/// Outcomes and values may begin with a digit: `2-8-weeks`.
fn is_kebab(id: &str) -> bool {
    id.len() <= 80
        && id
            .split('-')
            .all(|word| !word.is_empty() && word.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit()))
}

/// The id a person may have meant.
fn kebabbed(id: &str) -> Option<String> {
    let lower: String =
        id.chars().map(|c| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' }).collect();
    let words: Vec<_> = lower.split('-').filter(|w| !w.is_empty()).collect();
    let better = words.join("-");
    is_kebab(&better).then_some(better)
}

fn check_names(check: &super::super::raw::RawCheck) -> CheckNames {
    let mut outcomes: Vec<String> = match (&check.outcomes, &check.bands) {
        (Some(outcomes), _) => outcomes.iter().map(|o| o.value.clone()).collect(),
        (None, Some(bands)) => bands.keys().map(|b| b.value.clone()).collect(),
        (None, None) => Vec::new(),
    };
    let written = outcomes.len();
    let reading = check.reading.as_ref();
    outcomes.extend(reading.and_then(|r| r.over.as_ref()).map(|over| over.value.clone()));
    let unit = reading.and_then(|r| Unit::parse(&r.unit.value).ok());
    let pass = check.pass.iter().filter_map(|p| outcomes.iter().position(|o| *o == p.value)).collect();
    CheckNames { outcomes, written, unit, pass }
}
