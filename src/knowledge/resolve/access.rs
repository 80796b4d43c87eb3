//! States of disassembly, and settings.

use super::super::raw::{RawAccess, RawKnowledge, RawPhase};
use super::super::{Access, Knowledge, Setting, codes};
use super::context::{Context, Item};
use super::names::Names;
use super::numbers::{abilities, scope};
use super::steps::steps;
use crate::units::Unit;

/// Fills in access and settings.
pub(super) fn access(raw: &RawKnowledge, names: &Names, context: &Context, knowledge: &mut Knowledge) {
    for access in &raw.access {
        let item = context.at(access, &access.item.id.value);
        knowledge.access.add(access.item.id.value.clone(), one(&access.item, names, &item));
    }
    for setting in &raw.settings {
        let raw = &setting.item;
        let item = context.at(setting, &raw.id.value);
        if !matches!(raw.unit.value.as_str(), "text" | "photo")
            && let Err(error) = Unit::parse(&raw.unit.value)
        {
            drop(
                item.error(codes::UNKNOWN_UNIT, raw.unit.at, "unit", error.to_string())
                    .hint("or write `text`, or `photo`"),
            );
        }
        let setting = Setting {
            title: raw.title.clone(),
            scope: scope(raw.per),
            unit: raw.unit.value.clone(),
            generic: raw.generic.clone(),
            basis: item.basis(names, &raw.basis),
        };
        knowledge.settings.add(raw.id.value.clone(), setting);
    }
}

fn one(raw: &RawAccess, names: &Names, item: &Item<'_>) -> Access {
    item.filled(raw.id.at, "title", raw.title.trim().is_empty());
    item.filled(raw.id.at, "put_back", raw.put_back.as_ref().is_some_and(|words| words.trim().is_empty()));
    Access {
        title: raw.title.clone(),
        put_back: raw.put_back.clone(),
        needs: item.find_all(&names.access, &raw.needs, "needs"),
        shuts_others: raw.shut.is_some(),
        open: item.minutes(&raw.open, "open"),
        close: item.minutes(&raw.close, "close"),
        each_further: raw.each_further.as_ref().map(|further| {
            (
                scope(Some(further.per)),
                item.minutes(&further.open, "each_further.open"),
                item.minutes(&further.close, "each_further.close"),
            )
        }),
        exposes: raw.exposes.clone(),
        steps: steps(&raw.steps, RawPhase::Open, names, item, "steps", raw.id.at),
        back: steps(&raw.back, RawPhase::Refit, names, item, "back", raw.id.at),
        raises: item.find_all(&names.hazards, &raw.raises, "raises"),
        ignites: raw.ignites,
        limit: raw
            .limit
            .as_ref()
            .map(|limit| (item.minutes(&limit.minutes, "limit.minutes"), item.minutes(&limit.rest, "limit.rest"))),
        able: abilities(&raw.able),
        basis: item.basis(names, &raw.basis),
    }
}
