//! Facts asked at intake, sources, companions.

use super::super::raw::{RawHistory, RawKnowledge, RawNumber};
use super::super::{Companion, HistoryFact, Ix, Knowledge, Source, Value, codes};
use super::context::{Context, Item};
use super::names::{Names, kebab};
use super::numbers::words;
use indexmap::IndexMap;

/// Fills in history, sources and companions.
pub(super) fn facts(raw: &RawKnowledge, names: &Names, context: &Context, knowledge: &mut Knowledge) {
    for fact in &raw.history {
        let item = context.at(fact, &fact.item.id.value);
        knowledge.history.add(fact.item.id.value.clone(), self::fact(&fact.item, names, &item));
    }
    for source in &raw.sources {
        let raw = &source.item;
        let source = Source { title: raw.title.clone(), by: raw.by.clone(), year: raw.year, mark: raw.mark };
        knowledge.sources.add(raw.id.value.clone(), source);
    }
    for companion in &raw.companions {
        let raw = &companion.item;
        let item = context.at(companion, &raw.found.value);
        let mut likelier = Vec::new();
        for (cause, odds) in &raw.likelier {
            let key = format!("likelier.{}", cause.value);
            if cause.value == raw.found.value {
                item.error(codes::TWICE, cause.at, &key, format!("`{}` cannot come along with itself", cause.value));
            }
            let odds = item.multiplier(odds, &key);
            likelier.extend(item.find(&names.causes, cause, &key).map(|cause| (cause, odds)));
        }
        item.filled(raw.found.at, "likelier", raw.likelier.is_empty());
        let cap = item.within(&raw.cap, "cap", 1.0, f64::MAX);
        let basis = item.basis(names, &raw.basis);
        if let Some(found) = item.find(&names.causes, &raw.found, "found") {
            knowledge.companions.push(Companion { found, likelier, cap, basis });
        }
    }
}

fn fact(raw: &RawHistory, names: &Names, item: &Item<'_>) -> HistoryFact {
    item.filled(raw.id.at, "values", raw.values.is_empty());
    item.filled(raw.id.at, "ask", raw.ask.trim().is_empty());
    item.once(&raw.values, "values");
    let own = names.history.find(&raw.id.value).map(|ix| names.values_of(ix));
    if let Some(own) = &own {
        for word in raw.says.keys() {
            item.position(own, word, "says");
        }
        for word in raw.implies.keys() {
            item.position(own, word, "implies");
        }
    }
    let shares = raw.shares.as_deref().map(|shares| self::shares(raw, shares, item));
    let values = raw.values.iter().enumerate().map(|(at, value)| {
        kebab(item, value, &format!("values[{at}]"));
        let implies = raw.implies.get(value).into_iter().flatten().filter_map(|(option, fitted)| {
            let key = format!("implies.{}.{}", value.value, option.value);
            item.find(&names.options, option, &key).map(|option| (option, *fitted))
        });
        Value {
            id: value.value.clone(),
            says: raw.says.get(value).cloned().unwrap_or_else(|| words(&value.value)),
            share: shares.as_ref().and_then(|s| s.get(at).copied()),
            implies: implies.collect(),
        }
    });
    HistoryFact {
        ask: raw.ask.clone(),
        story: raw.story.clone(),
        values: values.collect(),
        exempt: raw.exempt.as_ref().map(|e| item.chance(&e.chance_cap, "exempt.chance_cap")),
        only_for: item.find_all(&names.symptoms, &raw.only_for, "only_for"),
        moot_after: moot_after(raw, names, item),
        never_with: never_with(raw, names, item),
        basis: item.basis(names, &raw.basis),
    }
}

fn moot_after(raw: &RawHistory, names: &Names, item: &Item<'_>) -> Vec<(Ix<HistoryFact>, usize)> {
    let own = names.history.find(&raw.id.value);
    let mut after = Vec::new();
    for (fact, values) in &raw.moot_after {
        let key = format!("moot_after.{}", fact.value);
        let Some(ix) = item.find(&names.history, fact, &key) else { continue };
        // By its place in the intake, what follows from it would come too late.
        if own.is_some_and(|own| ix >= own) {
            let message = format!("expected a fact that is asked before this one, found `{}`", fact.value);
            item.error(codes::WRONG_SHAPE, fact.at, &key, message);
        }
        item.once(values, &key);
        let said = values.iter().filter_map(|value| item.position(&names.values_of(ix), value, &key));
        after.extend(said.map(|value| (ix, value)));
    }
    after
}

fn never_with(raw: &RawHistory, names: &Names, item: &Item<'_>) -> Vec<(usize, Ix<HistoryFact>, usize)> {
    let Some(own) = names.history.find(&raw.id.value) else { return Vec::new() };
    let mut never = Vec::new();
    for (value, others) in &raw.never_with {
        let key = format!("never_with.{}", value.value);
        let Some(answer) = item.position(&names.values_of(own), value, &key) else { continue };
        for (fact, values) in others {
            let key = format!("{key}.{}", fact.value);
            let Some(ix) = item.find(&names.history, fact, &key) else { continue };
            if ix == own {
                let message = format!("expected another fact, found `{}`", fact.value);
                item.error(codes::WRONG_SHAPE, fact.at, &key, message);
            }
            never.extend(
                item.positions(&names.values_of(ix), values, &key).into_iter().map(|other| (answer, ix, other)),
            );
        }
    }
    never
}

/// Percents, one for each value.
fn shares(raw: &RawHistory, shares: &[RawNumber], item: &Item<'_>) -> Vec<f64> {
    let at = shares.first().map_or(raw.id.at, |s| s.at);
    if shares.len() != raw.values.len() {
        let message = format!("expected {} shares, one for each value, found {}", raw.values.len(), shares.len());
        item.error(codes::WRONG_SHAPE, at, "shares", message);
    }
    let numbers: Vec<f64> =
        shares.iter().enumerate().map(|(at, s)| item.amount(s, &format!("shares[{at}]"), "a percent")).collect();
    item.sum(at, "shares", "shares in percent", numbers.iter().sum(), 100.0);
    numbers
}

/// Multipliers by fact and value; and those by layout apart.
pub(super) type Likeliers = (Vec<super::super::Likelier>, Vec<(Ix<super::super::Layout>, f64)>);

/// Resolves the multipliers of a cause.
pub(super) fn likelier(
    raw: &IndexMap<super::super::raw::RawId, IndexMap<super::super::raw::RawId, RawNumber>>,
    names: &Names,
    item: &Item<'_>,
) -> Likeliers {
    let mut likelier = Vec::new();
    let mut by_layout = Vec::new();
    for (fact, values) in raw {
        let key = format!("likelier.{}", fact.value);
        let found = (fact.value != "layout").then(|| item.find(&names.history, fact, &key)).flatten();
        for (value, odds) in values {
            let key = format!("{key}.{}", value.value);
            let odds = item.multiplier(odds, &key);
            if fact.value == "layout" {
                by_layout.extend(item.find(&names.layouts, value, &key).map(|layout| (layout, odds)));
            } else if let Some(fact) = found {
                let position = item.position(&names.values_of(fact), value, &key);
                likelier.extend(position.map(|value| super::super::Likelier { fact, value, odds }));
            }
        }
    }
    (likelier, by_layout)
}
