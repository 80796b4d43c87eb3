//! Checks: outcomes, readings, bands.

use super::super::node::Location;
use super::super::raw::{RawAgain, RawBattery, RawCheck, RawId, RawKnowledge, RawOwner, RawReading};
use super::super::{Again, Battery, Check, Knowledge, Outcome, OwnerAsk, Reading, codes};
use super::context::{Context, Item, Owner};
use super::names::{Names, kebab};
use super::numbers::{abilities, scope, turns, words};
use super::rows::rows;
use crate::units::{Money, Quantity};
use indexmap::IndexMap;

/// Fills in checks.
pub(super) fn checks(raw: &RawKnowledge, names: &Names, context: &Context, knowledge: &mut Knowledge) {
    for check in &raw.checks {
        let item = context.at(check, &check.item.id.value);
        knowledge.checks.add(check.item.id.value.clone(), self::check(&check.item, names, &item));
    }
}

fn check(raw: &RawCheck, names: &Names, item: &Item<'_>) -> Check {
    item.filled(raw.id.at, "title", raw.title.trim().is_empty());
    item.filled(raw.id.at, "ask", raw.ask.trim().is_empty());
    // The first check of a name holds it: outcomes are looked up there, and a second of the same id is an error anyway.
    let ix = names.checks.find(&raw.id.value).expect("entered before");
    let own = names.outcomes_of(ix);
    Check {
        title: raw.title.clone(),
        scope: scope(raw.per),
        ask: raw.ask.clone(),
        owner: raw.owner.as_ref().map(|owner| owner_ask(owner, raw.id.at, &own, item)),
        how: raw.how.clone(),
        mind: raw.mind.clone(),
        outcomes: outcomes(raw, &own, item),
        reading: raw.reading.as_ref().map(|reading| self::reading(reading, names.told[ix.at()].written, item)),
        rows: rows(raw, &own, names, item),
        minutes: item.minutes(&raw.cost.minutes, "cost.minutes"),
        money: raw.cost.money.as_ref().map_or(Money::ZERO, |m| item.money(m, "cost.money")),
        access: item.find_all(&names.access, &raw.access, "access"),
        tools: raw.tools.iter().map(|t| t.value.clone()).collect(),
        able: abilities(&raw.able),
        raises: item.find_all(&names.hazards, &raw.raises, "raises"),
        ignites: raw.ignites,
        turns: turns(raw.turns),
        battery: raw.battery.map(|b| match b {
            RawBattery::Connected => Battery::Connected,
            RawBattery::Off => Battery::Off,
        }),
        spoils: item.find_all(&names.checks, &raw.spoils, "spoils"),
        turns_shut: item.find_all(&names.access, &raw.turns_shut, "turns_shut"),
        ends_shut: item.find_all(&names.access, &raw.ends_shut, "ends_shut"),
        draws_fuel: raw.draws_fuel,
        after: after(&raw.after, names, item),
        again: match raw.again {
            RawAgain::Last => Again::Last,
            RawAgain::Worst => Again::Worst,
            RawAgain::Each => Again::Each,
        },
        skill: item.skill(&raw.skill, "skill"),
        fitted: item.fitted(names, &raw.fitted, "fitted"),
        basis: item.basis(names, &raw.basis),
    }
}

fn owner_ask(raw: &RawOwner, at: Location, own: &Owner<'_>, item: &Item<'_>) -> OwnerAsk {
    let mut sounds = vec![Vec::new(); own.words.len()];
    for (outcome, phrases) in &raw.sounds {
        let key = format!("owner.sounds.{}", outcome.value);
        item.filled(outcome.at, &key, phrases.is_empty() || phrases.iter().any(|phrase| phrase.trim().is_empty()));
        if let Some(position) = item.position(own, outcome, "owner.sounds") {
            sounds[position].clone_from(phrases);
        }
    }
    item.filled(at, "owner.ask", raw.ask.trim().is_empty());
    item.filled(at, "owner.listen", raw.listen.as_ref().is_some_and(|listen| listen.trim().is_empty()));
    item.filled(at, "owner.mind", raw.mind.iter().any(|mind| mind.trim().is_empty()));
    OwnerAsk { ask: raw.ask.clone(), kind: raw.kind, listen: raw.listen.clone(), sounds, mind: raw.mind.clone() }
}

/// The answers that something comes after.
pub(super) fn after(
    raw: &IndexMap<RawId, Vec<RawId>>,
    names: &Names,
    item: &Item<'_>,
) -> Vec<(crate::knowledge::Ix<Check>, Vec<usize>)> {
    let mut after = Vec::new();
    for (check, outcomes) in raw {
        let key = format!("after.{}", check.value);
        item.filled(check.at, &key, outcomes.is_empty());
        if let Some(check) = item.find(&names.checks, check, &key) {
            after.push((check, item.positions(&names.outcomes_of(check), outcomes, &key)));
        }
    }
    after
}

/// The outcomes written out or the bands, then `over`.
fn outcomes(raw: &RawCheck, own: &Owner<'_>, item: &Item<'_>) -> Vec<Outcome> {
    let ids = outcome_ids(raw, item);
    for id in raw.says.keys() {
        item.position(own, id, "says");
    }
    for id in raw.denies.keys() {
        item.position(own, id, "denies");
    }
    let pass = item.positions(own, &raw.pass, "pass");
    let bands = bands(raw, item);
    let outcome = |(at, id): (usize, &RawId)| {
        kebab(item, id, "outcomes");
        Outcome {
            id: id.value.clone(),
            says: raw.says.get(id).cloned().unwrap_or_else(|| words(&id.value)),
            pass: pass.contains(&at),
            denies: raw.denies.get(id).map(|d| abilities(d)).unwrap_or_default(),
            band: bands.get(at).copied(),
        }
    };
    ids.into_iter().enumerate().map(outcome).collect()
}

/// The ids of outcomes, bands and `over`, in order; says where the shape is wrong.
fn outcome_ids<'r>(raw: &'r RawCheck, item: &Item<'_>) -> Vec<&'r RawId> {
    match (&raw.outcomes, &raw.reading, &raw.bands) {
        (Some(outcomes), None, None) => {
            item.once(outcomes, "outcomes");
            if outcomes.len() < 2 {
                let message = format!("expected at least two outcomes, found {}", outcomes.len());
                item.error(codes::EMPTY, raw.id.at, "outcomes", message);
            }
            outcomes.iter().collect()
        }
        (None, Some(reading), Some(bands)) => {
            if let Some(over) = reading.over.as_ref().filter(|over| bands.contains_key(*over)) {
                item.error(codes::TWICE, over.at, "reading.over", format!("`{}` is the name of a band", over.value));
            }
            bands.keys().chain(reading.over.as_ref()).collect()
        }
        (None, Some(reading), None) => {
            item.error(codes::ONE_OF, reading.unit.at, "reading", "expected `bands` with a reading, found none");
            reading.over.iter().collect()
        }
        (None, None, _) => {
            item.error(codes::ONE_OF, raw.id.at, "", "expected `outcomes`, or `reading` with `bands`, found neither");
            Vec::new()
        }
        (Some(outcomes), ..) => {
            let message = "expected `outcomes`, or `reading` with `bands`, found both";
            item.error(codes::ONE_OF, raw.id.at, "", message);
            outcomes.iter().collect()
        }
    }
}

/// The bands in file order; says where they do not cover the scale.
fn bands(raw: &RawCheck, item: &Item<'_>) -> Vec<(f64, f64)> {
    let (Some(bands), Some(reading)) = (&raw.bands, &raw.reading) else { return Vec::new() };
    if reading.least.value >= reading.most.value {
        return Vec::new(); // Nothing can cover an empty scale; that is said of the scale.
    }
    let mut sorted: Vec<_> = bands.iter().collect();
    sorted.sort_by(|(_, a), (_, b)| a.value.0.total_cmp(&b.value.0));
    let mut reached = reading.least.value;
    let mut below = "`least`".to_owned();
    for (id, band) in &sorted {
        let (low, high) = band.value;
        let key = format!("bands.{}", id.value);
        if !low.is_finite() || !high.is_finite() {
            item.error(codes::NOT_FINITE, band.at, &key, format!("expected finite ends, found `[{low}, {high}]`"));
        } else if low >= high {
            item.error(
                codes::BANDS,
                band.at,
                &key,
                format!("expected a band from low to high, found `[{low}, {high}]`"),
            );
        } else if low > reached {
            let message =
                format!("expected `{}` to begin at {reached}, where {below} ends, found a gap up to `{low}`", id.value);
            item.error(codes::BANDS, band.at, &key, message);
        } else if low < reached {
            let message = format!(
                "expected `{}` to begin at {reached}, where {below} ends, found `{low}`: they overlap",
                id.value
            );
            item.error(codes::BANDS, band.at, &key, message);
        }
        reached = high;
        below = format!("`{}`", id.value);
    }
    if let Some((id, band)) = sorted.last()
        && reached.is_finite()
        && reached.total_cmp(&reading.most.value).is_ne()
    {
        let message = format!("expected `{}` to end at {}, the most, found `{reached}`", id.value, reading.most.value);
        item.error(codes::BANDS, band.at, &format!("bands.{}", id.value), message);
    }
    bands.values().map(|band| band.value).collect()
}

fn reading(raw: &RawReading, written: usize, item: &Item<'_>) -> Reading {
    let unit = item.unit(&raw.quantity, &raw.unit, "reading");
    let least = item.finite(&raw.least, "reading.least").unwrap_or(0.0);
    let most = item.finite(&raw.most, "reading.most").unwrap_or(least + 1.0);
    if least >= most {
        let message = format!("expected `least` below `most`, found `{least}` and `{most}`");
        item.error(codes::LEAST_MOST, raw.least.at, "reading.least", message);
    }
    let corrected = raw.corrected.as_ref().is_some_and(|word| {
        if word.value != "altitude" {
            item.expected(codes::WRONG_SHAPE, word, "reading.corrected", "`altitude`");
        } else if unit.quantity() != Quantity::Pressure {
            let message = format!("expected a pressure to correct for altitude, found {}", unit.quantity());
            item.error(codes::WRONG_QUANTITY, word.at, "reading.corrected", message);
        }
        true
    });
    Reading {
        unit,
        least,
        most,
        standard_error: item.amount(&raw.standard_error, "reading.standard_error", "a standard error"),
        corrected_for_altitude: corrected,
        relative: raw.relative_to.as_ref().map(|relative| {
            kebab(item, &relative.sheet, "reading.relative_to.sheet");
            (relative.sheet.value.clone(), relative.how.value)
        }),
        over: raw.over.as_ref().map(|_| written),
    }
}
