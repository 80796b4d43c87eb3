//! Hazards, interlocks, and conditions on the case.

use super::super::raw::{
    RawBars, RawClosedBy, RawCondition, RawHazard, RawId, RawInterlock, RawKnowledge, RawOpenShut, RawOpenedBy,
    RawSignal, RawTickState,
};
use super::super::{
    Bars, Check, ClosedBy, Condition, Except, Hazard, Interlock, Ix, Knowledge, OpenedBy, PlanRule, Signal, Tick, codes,
};
use super::context::{Context, Item};
use super::names::Names;
use super::numbers::{MeasureKind, abilities, turns};
use crate::knowledge::raw::Location;
use crate::units::Minutes;
use indexmap::IndexMap;

/// Fills in hazards, ticks, interlocks and plan rules.
pub(super) fn safety(raw: &RawKnowledge, names: &Names, context: &Context, knowledge: &mut Knowledge) {
    for hazard in &raw.hazards {
        if let Some(tick) = &hazard.item.tick {
            knowledge.ticks.add(tick.id.value.clone(), Tick { says: tick.says.clone() });
        }
    }
    for hazard in &raw.hazards {
        let item = context.at(hazard, &hazard.item.id.value);
        knowledge.hazards.add(hazard.item.id.value.clone(), self::hazard(&hazard.item, names, &item));
    }
    for interlock in &raw.interlocks {
        let item = context.at(interlock, &interlock.item.id.value);
        knowledge.interlocks.add(interlock.item.id.value.clone(), self::interlock(&interlock.item, names, &item));
    }
    for rule in &raw.plan_rules {
        let raw = &rule.item;
        let item = context.at(rule, &raw.id.value);
        item.filled(raw.id.at, "add", raw.add.is_empty());
        let rule = PlanRule {
            why: raw.why.clone(),
            when: condition(&raw.when.value, raw.when.at, names, &item, "when"),
            with: raw.with.as_ref().and_then(|id| item.find(&names.repairs, id, "with")),
            add: item.find_all(&names.repairs, &raw.add, "add"),
            basis: item.basis(names, &raw.basis),
        };
        knowledge.plan_rules.add(raw.id.value.clone(), rule);
    }
}

fn hazard(raw: &RawHazard, names: &Names, item: &Item<'_>) -> Hazard {
    item.filled(raw.id.at, "title", raw.title.trim().is_empty());
    Hazard {
        title: raw.title.clone(),
        signal: match raw.signal.value {
            RawSignal::DANGER => Signal::Danger,
            RawSignal::WARNING => Signal::Warning,
            RawSignal::CAUTION => Signal::Caution,
            RawSignal::NOTICE => Signal::Notice,
        },
        harm: raw.harm.clone(),
        controls: raw.controls.clone(),
        never: raw.never.clone(),
        tick: raw.tick.as_ref().and_then(|tick| names.ticks.find(&tick.id.value)),
        open_at_start: raw.open_at_start,
        opened_by: raw.opened_by.as_ref().map(|by| opened_by(by, names, item)).unwrap_or_default(),
        closed_by: raw
            .closed_by
            .iter()
            .enumerate()
            .filter_map(|(at, by)| closed_by(by, raw.id.at, names, item, &format!("closed_by[{at}]")))
            .collect(),
        basis: item.basis(names, &raw.basis),
    }
}

/// Checks with lists of their outcomes.
fn answers(
    raw: &IndexMap<RawId, Vec<RawId>>,
    names: &Names,
    item: &Item<'_>,
    key: &str,
) -> Vec<(Ix<Check>, Vec<usize>)> {
    let mut answers = Vec::new();
    for (check, outcomes) in raw {
        let key = format!("{key}.{}", check.value);
        item.filled(check.at, &key, outcomes.is_empty());
        if let Some(check) = item.find(&names.checks, check, &key) {
            answers.push((check, item.positions(&names.outcomes_of(check), outcomes, &key)));
        }
    }
    answers
}

fn opened_by(raw: &RawOpenedBy, names: &Names, item: &Item<'_>) -> OpenedBy {
    let minutes = raw.minutes_since.iter().filter_map(|(check, minutes)| {
        let key = format!("opened_by.minutes_since.{}", check.value);
        let minutes = item.minutes(minutes, &key);
        item.find(&names.checks, check, &key).map(|check| (check, minutes))
    });
    OpenedBy {
        answers: answers(&raw.answers, names, item, "opened_by.answers"),
        symptoms: item.find_all(&names.symptoms, &raw.symptoms, "opened_by.symptoms"),
        access: item.find_all(&names.access, &raw.access, "opened_by.access"),
        checks: item.find_all(&names.checks, &raw.checks, "opened_by.checks"),
        repairs: item.find_all(&names.repairs, &raw.repairs, "opened_by.repairs"),
        minutes_since: minutes.collect(),
    }
}

fn closed_by(raw: &RawClosedBy, home: Location, names: &Names, item: &Item<'_>, key: &str) -> Option<ClosedBy> {
    let mut entries = raw.answer.iter();
    let (Some((check_id, outcome)), None) = (entries.next(), entries.next()) else {
        let at = raw.answer.keys().next().map_or(home, |id| id.at);
        let message = format!("expected one check with one outcome, found {}", raw.answer.len());
        item.error(codes::ONE_OF, at, &format!("{key}.answer"), message);
        return None;
    };
    let check = item.find(&names.checks, check_id, &format!("{key}.answer"))?;
    let own = names.outcomes_of(check);
    let position = item.position(&own, outcome, &format!("{key}.answer.{}", check_id.value));
    let mut aired_at_start = Minutes::ZERO;
    let mut aired_after = Vec::new();
    for (before, minutes) in &raw.aired_minutes {
        let key = format!("{key}.aired_minutes.{}", before.value);
        let minutes = item.airing(minutes, &key);
        if before.value == "start" {
            aired_at_start = minutes;
        } else {
            aired_after.extend(item.position(&own, before, &key).map(|before| (before, minutes)));
        }
    }
    let mut also_after = Vec::new();
    for (before, also) in &raw.also_after {
        let key = format!("{key}.also_after.{}", before.value);
        let before = item.position(&own, before, &key);
        for (check, outcome) in also {
            let Some(check) = item.find(&names.checks, check, &key) else { continue };
            let outcome = item.position(&names.outcomes_of(check), outcome, &key);
            also_after.extend(before.zip(outcome).map(|(before, outcome)| (before, check, outcome)));
        }
    }
    Some(ClosedBy { answer: (check, position?), aired_at_start, aired_after, also_after })
}

fn interlock(raw: &RawInterlock, names: &Names, item: &Item<'_>) -> Interlock {
    item.filled(raw.id.at, "why", raw.why.trim().is_empty());
    let when = raw.when.as_ref().map(|when| condition(&when.value, when.at, names, item, "while"));
    let until = raw.until.as_ref().map(|until| condition(&until.value, until.at, names, item, "until"));
    if when.is_none() && raw.key.is_none() {
        item.error(codes::IDLE_INTERLOCK, raw.id.at, "", "expected `while` or `key`, found neither: it is never on");
    }
    let bars = bars(&raw.bars, names, item);
    // A key on every screen may only tell what to do.
    let tells = raw.key.is_some() && !raw.tell.is_empty();
    if !raw.ends && !tells && bars_nothing(&bars) {
        let message = "expected `bars` with something in it, or `ends: true`, found neither: it bars nothing";
        item.error(codes::IDLE_INTERLOCK, raw.id.at, "bars", message);
    }
    let except = raw.except.iter().enumerate().map(|(at, except)| {
        let key = format!("except[{at}]");
        if except.checks.is_empty() && except.repairs.is_empty() {
            let message = "expected `checks` or `repairs` to let through, found neither";
            item.error(codes::EMPTY, raw.id.at, &key, message);
        }
        Except {
            checks: item.find_all(&names.checks, &except.checks, &format!("{key}.checks")),
            repairs: item.find_all(&names.repairs, &except.repairs, &format!("{key}.repairs")),
            ticks: item.find_all(&names.ticks, &except.ticks, &format!("{key}.ticks")),
            unless: except
                .unless
                .as_ref()
                .map(|unless| condition(&unless.value, unless.at, names, item, &format!("{key}.unless"))),
        }
    });
    Interlock {
        why: raw.why.clone(),
        when,
        until,
        except: except.collect(),
        bars,
        key: raw.key.clone(),
        ends: raw.ends,
        tell: raw.tell.clone(),
        basis: item.basis(names, &raw.basis),
    }
}

fn bars(raw: &RawBars, names: &Names, item: &Item<'_>) -> Bars {
    Bars {
        ignites: raw.ignites,
        turns: raw.turns.as_ref().map(|t| turns(t.value)),
        able: abilities(&raw.able),
        checks: item.find_all(&names.checks, &raw.checks, "bars.checks"),
        repairs: item.find_all(&names.repairs, &raw.repairs, "bars.repairs"),
        access: item.find_all(&names.access, &raw.access, "bars.access"),
        raises: item.find_all(&names.hazards, &raw.raises, "bars.raises"),
    }
}

fn bars_nothing(bars: &Bars) -> bool {
    !bars.ignites
        && bars.turns.is_none()
        && bars.able.is_empty()
        && bars.checks.is_empty()
        && bars.repairs.is_empty()
        && bars.access.is_empty()
        && bars.raises.is_empty()
}

/// A condition; several keys of one map are any of them.
pub(super) fn condition(raw: &RawCondition, home: Location, names: &Names, item: &Item<'_>, key: &str) -> Condition {
    let mut any = Vec::new();
    any.extend(
        raw.hazard
            .as_ref()
            .and_then(|id| item.find(&names.hazards, id, &format!("{key}.hazard")))
            .map(Condition::Hazard),
    );
    for (map, part) in [(&raw.answers, "answers"), (&raw.answer, "answer")] {
        let answered = answers(map, names, item, &format!("{key}.{part}")).into_iter();
        any.extend(answered.map(|(check, outcomes)| Condition::Answered(check, outcomes)));
    }
    any.extend(every(raw, names, item, key));
    for (fact, values) in &raw.history {
        let key = format!("{key}.history.{}", fact.value);
        item.filled(fact.at, &key, values.is_empty());
        if let Some(fact) = item.find(&names.history, fact, &key) {
            any.push(Condition::History(fact, item.positions(&names.values_of(fact), values, &key)));
        }
    }
    any.extend(
        item.find_all(&names.symptoms, &raw.symptoms, &format!("{key}.symptoms")).into_iter().map(Condition::Symptom),
    );
    for (access, state) in &raw.access {
        let found = item.find(&names.access, access, &format!("{key}.access"));
        any.extend(found.map(|access| match state.value {
            RawOpenShut::Open => Condition::Open(access),
            RawOpenShut::Shut => Condition::Shut(access),
        }));
    }
    for (tick, state) in &raw.tick {
        let found = item.find(&names.ticks, tick, &format!("{key}.tick"));
        any.extend(found.map(|tick| match state.value {
            RawTickState::Given => Condition::Given(tick),
            RawTickState::Missing => Condition::Missing(tick),
        }));
    }
    any.extend(item.find_all(&names.users, &raw.user, &format!("{key}.user")).into_iter().map(Condition::User));
    for (check, limit) in &raw.below {
        let key = format!("{key}.below.{}", check.value);
        let Some(ix) = item.find(&names.checks, check, &key) else { continue };
        if let Some(unit) = names.told[ix.at()].unit {
            any.extend(item.measure(limit, unit, &key, MeasureKind::Level).map(|l| Condition::Below(ix, l)));
        } else {
            let message = format!("check `{}` has no reading that could be below something", check.value);
            item.error(codes::WRONG_QUANTITY, check.at, &key, message);
        }
    }
    let repair = raw.repair_since.as_ref().and_then(|id| item.find(&names.repairs, id, &format!("{key}.repair_since")));
    any.extend(repair.map(Condition::RepairSince));
    let group = |list: &[RawCondition], part: &str| -> Vec<Condition> {
        list.iter().enumerate().map(|(at, c)| condition(c, home, names, item, &format!("{key}.{part}[{at}]"))).collect()
    };
    if !raw.any_of.is_empty() {
        any.push(Condition::Any(group(&raw.any_of, "any_of")));
    }
    if !raw.all_of.is_empty() {
        any.push(Condition::All(group(&raw.all_of, "all_of")));
    }
    any.extend(
        raw.not.as_ref().map(|not| Condition::Not(Box::new(condition(not, home, names, item, &format!("{key}.not"))))),
    );
    if is_empty(raw) {
        item.error(codes::EMPTY, home, key, "expected a condition, found an empty one, which never holds");
    }
    match any.len() {
        1 => any.remove(0),
        _ => Condition::Any(any),
    }
}

fn every(raw: &RawCondition, names: &Names, item: &Item<'_>, key: &str) -> Option<Condition> {
    match (&raw.every, raw.is.as_slice()) {
        (Some(check), [_, ..]) => {
            let ix = item.find(&names.checks, check, &format!("{key}.every"))?;
            Some(Condition::AnsweredEvery(ix, item.positions(&names.outcomes_of(ix), &raw.is, &format!("{key}.is"))))
        }
        (Some(check), []) => {
            item.error(
                codes::ONE_OF,
                check.at,
                &format!("{key}.every"),
                "expected `every` and `is` together, found `every` alone",
            );
            None
        }
        (None, [first, ..]) => {
            item.error(
                codes::ONE_OF,
                first.at,
                &format!("{key}.is"),
                "expected `every` and `is` together, found `is` alone",
            );
            None
        }
        (None, []) => None,
    }
}

fn is_empty(raw: &RawCondition) -> bool {
    raw.hazard.is_none()
        && raw.answers.is_empty()
        && raw.answer.is_empty()
        && raw.every.is_none()
        && raw.is.is_empty()
        && raw.history.is_empty()
        && raw.symptoms.is_empty()
        && raw.access.is_empty()
        && raw.tick.is_empty()
        && raw.user.is_empty()
        && raw.below.is_empty()
        && raw.repair_since.is_none()
        && raw.any_of.is_empty()
        && raw.all_of.is_empty()
        && raw.not.is_none()
}
