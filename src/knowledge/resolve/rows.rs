//! The rows of a check: when they hold and what they give.

use super::super::raw::{RawAired, RawCheck, RawId, RawNormals, RawNumber, RawRow, RawWhen, Sp};
use super::super::{CheckRow, Clause, Gives, codes};
use super::context::{Item, Owner};
use super::effects::state;
use super::names::Names;
use crate::knowledge::raw::Location;
use indexmap::IndexMap;

/// The rows of a check, in order.
pub(super) fn rows(raw: &RawCheck, own: &Owner<'_>, names: &Names, item: &Item<'_>) -> Vec<CheckRow> {
    item.filled(raw.id.at, "given", raw.given.is_empty());
    let rows = raw.given.iter().enumerate().map(|(at, row)| {
        let key = format!("given[{at}]");
        item.spot(&key, &key, row.at);
        if let Some(basis) = &row.value.basis {
            item.basis_at(names, basis, &format!("{key}.basis"));
        }
        let when = row.value.when.as_ref().map(|when| clauses(&when.value, names, item, &format!("{key}.when")));
        let gives = gives(raw, row, own, item, &key);
        let aired = row.value.aired.as_ref().and_then(|aired| self::aired(raw, aired, own, names, item, &key));
        CheckRow { when: when.unwrap_or_default(), gives, aired }
    });
    rows.collect()
}

/// All that must hold, as clauses: each any of its literals.
fn clauses(when: &RawWhen, names: &Names, item: &Item<'_>, key: &str) -> Vec<Clause> {
    let literal = |id: &RawId, present: bool| state(names, item, id, key).map(|state| (state, present));
    let mut clauses = Vec::new();
    clauses.extend(when.states.iter().filter_map(|(id, present)| literal(id, *present)).map(|l| Clause(vec![l])));
    clauses.extend(when.all_of.iter().filter_map(|id| literal(id, true)).map(|l| Clause(vec![l])));
    clauses.extend(when.not.iter().filter_map(|id| literal(id, false)).map(|l| Clause(vec![l])));
    if !when.any_of.is_empty() {
        clauses.push(Clause(when.any_of.iter().filter_map(|id| literal(id, true)).collect()));
    }
    for (list, part) in [(&when.any_of, "any_of"), (&when.all_of, "all_of"), (&when.not, "not")] {
        item.once(list, &format!("{key}.{part}"));
    }
    clauses
}

fn gives(raw: &RawCheck, row: &Sp<RawRow>, own: &Owner<'_>, item: &Item<'_>, key: &str) -> Gives {
    match (&row.value.chances, &row.value.normal, &raw.reading) {
        (Some(given), None, None) => Gives::Chances(chances(given, own, item, row.at, &format!("{key}.chances"))),
        (None, Some(given), Some(_)) => normals(raw, given, item, row.at, &format!("{key}.normal")),
        (Some(_), Some(_), _) | (None, None, _) => {
            let expected = if raw.reading.is_some() { "normal" } else { "chances" };
            let found = if row.value.chances.is_some() { "both `chances` and `normal`" } else { "neither" };
            item.error(codes::ROW_KIND, row.at, key, format!("expected `{expected}`, found {found}"));
            Gives::Chances(Vec::new())
        }
        (Some(_), None, Some(_)) => {
            item.error(codes::ROW_KIND, row.at, key, "expected `normal` for a reading, found `chances`");
            Gives::Chances(Vec::new())
        }
        (None, Some(_), None) => {
            item.error(codes::ROW_KIND, row.at, key, "expected `chances` for outcomes, found `normal`");
            Gives::Chances(Vec::new())
        }
    }
}

/// What a row gives after airing.
fn aired(
    raw: &RawCheck,
    aired: &Sp<RawAired>,
    own: &Owner<'_>,
    names: &Names,
    item: &Item<'_>,
    key: &str,
) -> Option<Gives> {
    if raw.reading.is_some() {
        item.error(
            codes::ROW_KIND,
            aired.at,
            key,
            "expected no `aired` for a reading: nothing is aired out of a number",
        );
        return None;
    }
    if let Some(basis) = &aired.value.basis {
        item.basis_at(names, basis, &format!("{key}.aired.basis"));
    }
    let chances = chances(&aired.value.chances, own, item, aired.at, &format!("{key}.aired.chances"));
    Some(Gives::Chances(chances))
}

/// The chance of each outcome, in order.
fn chances(given: &IndexMap<RawId, RawNumber>, own: &Owner<'_>, item: &Item<'_>, row: Location, key: &str) -> Vec<f64> {
    let mut chances = vec![0.0; own.words.len()];
    let mut sum = 0.0;
    for (outcome, number) in given {
        let chance = item.chance(number, &format!("{key}.{}", outcome.value)).get();
        sum += number.value;
        if let Some(at) = item.position(own, outcome, key) {
            chances[at] = chance;
        }
    }
    let left_out: Vec<_> = own
        .words
        .iter()
        .filter(|word| !given.keys().any(|key| key.value == **word))
        .map(|word| format!("`{word}`"))
        .collect();
    let at = given.keys().next().map_or(row, |id| id.at);
    if !left_out.is_empty() {
        let message = format!("expected a chance for each outcome, found none for {}", left_out.join(", "));
        item.error(codes::ROW_OUTCOMES, at, key, message);
    }
    item.sum(at, key, "chances", sum, 1.0);
    chances
}

/// A mixture of normals.
fn normals(raw: &RawCheck, given: &RawNormals, item: &Item<'_>, row: Location, key: &str) -> Gives {
    let has_over = raw.reading.as_ref().is_some_and(|r| r.over.is_some());
    let mut parts = Vec::new();
    let mut over = 0.0;
    let mut sum = 0.0;
    for (at, part) in given.0.iter().enumerate() {
        let key = if given.0.len() == 1 { key.to_owned() } else { format!("{key}[{at}]") };
        // A single distribution written without a list has no place of its own.
        let place = if part.at.line() == 0 { row } else { part.at };
        let part = &part.value;
        let share = part.share.as_ref().map_or(1.0, |s| item.chance(s, &format!("{key}.share")).get());
        sum += part.share.as_ref().map_or(1.0, |s| s.value);
        match (&part.mean, &part.sd, part.over) {
            (Some(mean), Some(sd), false) => {
                let mean = item.finite(mean, &format!("{key}.mean")).unwrap_or(0.0);
                parts.push((share, mean, positive_sd(sd, item, &format!("{key}.sd"))));
            }
            (None, None, true) if has_over => over += share,
            (None, None, true) => {
                let message = "`over: true` needs a name for it: `over` in the reading";
                item.error(codes::ROW_KIND, place, &key, message);
            }
            (_, _, true) => {
                item.error(codes::ONE_OF, place, &key, "expected `over: true` or `mean` and `sd`, found both");
            }
            _ => {
                item.error(codes::ONE_OF, place, &key, "expected `mean` and `sd`, found not both");
            }
        }
    }
    item.sum(row, key, "shares", sum, 1.0);
    Gives::Normals { parts, over }
}

fn positive_sd(sd: &RawNumber, item: &Item<'_>, key: &str) -> f64 {
    let Some(value) = item.finite(sd, key) else { return 1.0 };
    if value > 0.0 {
        return value;
    }
    item.error(
        codes::NOT_POSITIVE_SD,
        sd.at,
        key,
        format!("expected a standard deviation above zero, found `{value}`"),
    );
    1.0
}
