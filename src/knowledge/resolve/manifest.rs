//! `craft.yaml`: options, layouts, users, costs.

use super::super::raw::{In, RawLayout, RawManifest, RawUser};
use super::super::{Checklist, Costs, CraftOption, HistoryRules, Items, Knowledge, Layout, User, codes};
use super::context::{Context, Item};
use super::names::{Names, kebab};
use crate::units::{Chance, Minutes};
use std::collections::{BTreeMap, BTreeSet};

/// A knowledge base with the manifest's part filled in.
pub(super) fn knowledge(manifest: &In<RawManifest>, names: &Names, context: &Context) -> Knowledge {
    let raw = &manifest.item;
    let item = context.at(manifest, "");
    head(raw, &item);
    item.basis(names, &raw.basis);
    item.basis_at(names, &raw.costs.basis, "costs.basis");
    let mut options = Items::default();
    for (id, option) in &raw.options {
        options.add(id.value.clone(), CraftOption { title: option.title.clone(), usual: option.usual });
    }
    let mut layouts = Items::default();
    for (at, layout) in raw.layouts.iter().enumerate() {
        layouts.add(layout.id.value.clone(), self::layout(layout, at, &item));
    }
    one_usual(raw, &item);
    let mut users = Items::default();
    for (id, user) in &raw.users {
        users.add(id.value.clone(), self::user(user, &id.value, names, &item));
    }
    Knowledge {
        id: raw.id.value.clone(),
        version: raw.version.value.clone(),
        title: raw.title.clone(),
        slip: slip(raw, &item),
        currency: raw.currency.value.clone(),
        options,
        layouts,
        history_rules: HistoryRules {
            odds_cap: item.within(&raw.history_rules.odds_cap, "history_rules.odds_cap", 1.0, f64::MAX),
            chance_cap: item.chance(&raw.history_rules.chance_cap, "history_rules.chance_cap"),
            story_power: item.within(&raw.history_rules.story_power, "history_rules.story_power", 0.0, 1.0),
        },
        users,
        costs: costs(raw, &item),
        history: Items::default(),
        causes: Items::default(),
        effects: Items::default(),
        effect_order: Vec::new(),
        symptoms: Items::default(),
        checks: Items::default(),
        access: Items::default(),
        hazards: Items::default(),
        ticks: Items::default(),
        interlocks: Items::default(),
        repairs: Items::default(),
        companions: Vec::new(),
        settings: Items::default(),
        plan_rules: Items::default(),
        checklist: Checklist::default(),
        sources: Items::default(),
        places: BTreeMap::new(),
        cited: BTreeSet::new(),
        mentions: Vec::new(),
    }
}

fn head(raw: &RawManifest, item: &Item<'_>) {
    if raw.format.value != 1 {
        item.error(codes::FORMAT, raw.format.at, "format", format!("expected format 1, found `{}`", raw.format.value));
    }
    kebab(item, &raw.id, "id");
    let numbers: Vec<_> = raw.version.value.split(['-', '+']).next().unwrap_or_default().split('.').collect();
    let number = |n: &&str| !n.is_empty() && n.chars().all(|c| c.is_ascii_digit());
    if numbers.len() != 3 || !numbers.iter().all(number) {
        item.expected(codes::WRONG_SHAPE, &raw.version, "version", "a version such as `0.1.0`");
    }
    if raw.currency.value.len() != 3 || !raw.currency.value.chars().all(|c| c.is_ascii_uppercase()) {
        item.expected(codes::WRONG_SHAPE, &raw.currency, "currency", "a currency of ISO 4217, such as `USD`");
    }
    item.filled(raw.id.at, "layouts", raw.layouts.is_empty());
    item.filled(raw.id.at, "users", raw.users.is_empty());
    item.amount(&raw.chance_per_rate, "chance_per_rate", "a chance for each point of rate");
}

fn slip(raw: &RawManifest, item: &Item<'_>) -> Chance {
    Chance::new(item.within(&raw.slip, "slip", 0.0, 0.5)).unwrap_or(Chance::NEVER)
}

fn one_usual(raw: &RawManifest, item: &Item<'_>) {
    let usual: Vec<_> = raw.layouts.iter().filter(|l| l.usual).collect();
    match usual.as_slice() {
        [_] => {}
        [] if raw.layouts.is_empty() => {}
        [] => {
            let at = raw.layouts[0].id.at;
            item.error(codes::LAYOUT, at, "layouts", "expected one layout with `usual: true`, found none");
        }
        [first, second, ..] => {
            let message =
                format!("expected one layout with `usual: true`, found `{}` and `{}`", first.id.value, second.id.value);
            item.error(codes::LAYOUT, second.id.at, "layouts", message);
        }
    }
}

/// A layout: names become positions.
fn layout(raw: &RawLayout, at: usize, item: &Item<'_>) -> Layout {
    let key = format!("layouts[{at}]");
    for name in raw.cylinders.iter().chain(raw.carburetors.keys()).chain(raw.pumps.keys()) {
        kebab(item, name, &key);
    }
    item.once(&raw.cylinders, &format!("{key}.cylinders"));
    item.filled(raw.id.at, &format!("{key}.cylinders"), raw.cylinders.is_empty());
    let cylinders: Vec<String> = raw.cylinders.iter().map(|c| c.value.clone()).collect();
    let carburetors =
        feeders(raw, item, &format!("{key}.carburetors"), &raw.carburetors, &cylinders, "cylinder", "carburetor");
    let names: Vec<String> = carburetors.iter().map(|(name, _)| name.clone()).collect();
    let pumps = feeders(raw, item, &format!("{key}.pumps"), &raw.pumps, &names, "carburetor", "pump");
    Layout { title: raw.title.clone(), cylinders, carburetors, pumps, usual: raw.usual }
}

/// Who feeds whom, as positions; says who is unknown and who is fed by none.
fn feeders(
    raw: &RawLayout,
    item: &Item<'_>,
    key: &str,
    feeds: &indexmap::IndexMap<super::super::raw::RawId, Vec<super::super::raw::RawId>>,
    fed: &[String],
    fed_noun: &str,
    noun: &str,
) -> Vec<(String, Vec<usize>)> {
    let mut reached = BTreeSet::new();
    let mut all = Vec::new();
    for (name, list) in feeds {
        let key = format!("{key}.{}", name.value);
        item.once(list, &key);
        let mut positions = Vec::new();
        for one in list {
            if let Some(position) = fed.iter().position(|f| *f == one.value) {
                positions.push(position);
            } else {
                let message = format!("layout `{}` has no {fed_noun} `{}`", raw.id.value, one.value);
                let has = fed.iter().map(|f| format!("`{f}`")).collect::<Vec<_>>().join(", ");
                let has = if has.is_empty() { "it has none".to_owned() } else { format!("it has {has}") };
                drop(item.error(codes::LAYOUT, one.at, &key, message).hint(has));
            }
        }
        if list.is_empty() {
            item.error(codes::LAYOUT, name.at, &key, format!("{noun} `{}` feeds nothing", name.value));
        }
        reached.extend(positions.iter().copied());
        all.push((name.value.clone(), positions));
    }
    for (position, name) in fed.iter().enumerate() {
        if !reached.contains(&position) {
            let message = format!("{fed_noun} `{name}` of layout `{}` is fed by no {noun}", raw.id.value);
            item.error(codes::LAYOUT, raw.id.at, key, message);
        }
    }
    all
}

fn user(raw: &RawUser, id: &str, names: &Names, item: &Item<'_>) -> User {
    let key = |part: &str| format!("users.{id}.{part}");
    User {
        labor: item.money(&raw.labor, &key("labor")),
        pace: item.within(&raw.pace, &key("pace"), 0.01, 100.0),
        skill: raw.skill.as_ref().map(|skill| item.skill(skill, &key("skill"))),
        access: raw.access.as_ref().map(|access| item.find_all(&names.access, access, &key("access"))),
        asks: raw.asks,
        hand_over: raw.hand_over.as_ref().map(|n| item.money(n, "users.hand_over")),
        checker_share: raw.checker_share.as_ref().map_or(0.0, |s| item.within(s, &key("checker_share"), 0.0, 1.0)),
        sign_off: item.find_all(&names.access, &raw.sign_off, &key("sign_off")),
    }
}

fn costs(raw: &RawManifest, item: &Item<'_>) -> Costs {
    let raw = &raw.costs;
    let risk = raw.risk.iter().map(|(id, cost)| {
        kebab(item, id, "costs.risk");
        (id.value.clone(), item.money(cost, &format!("costs.risk.{}", id.value)))
    });
    Costs {
        hand_over: item.money(&raw.hand_over, "costs.hand_over"),
        try_again: raw.try_again.as_ref().map_or(Minutes::ZERO, |n| item.minutes(n, "costs.try_again")),
        call_again: raw.call_again.as_ref().map_or(Minutes::ZERO, |n| item.minutes(n, "costs.call_again")),
        wasted_trip: item.money(&raw.wasted_trip, "costs.wasted_trip"),
        comeback: item.money(&raw.comeback, "costs.comeback"),
        risk: risk.collect(),
    }
}
