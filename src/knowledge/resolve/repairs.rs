//! Repairs: what they remove, how, and what proves them.

use super::super::raw::{RawKnowledge, RawPart, RawPhase, RawProof, RawRepair, RawRepairKind, RawTurns, RawVerdict};
use super::super::{Cause, Ix, Knowledge, Part, Proof, Repair, Verdict, codes};
use super::context::{Context, Item};
use super::names::Names;
use super::numbers::{abilities, scope, turns};
use super::steps::{no_pass, steps};
use crate::units::Chance;

/// Fills in repairs.
pub(super) fn repairs(raw: &RawKnowledge, names: &Names, context: &Context, knowledge: &mut Knowledge) {
    for repair in &raw.repairs {
        let item = context.at(repair, &repair.item.id.value);
        knowledge.repairs.add(repair.item.id.value.clone(), self::repair(&repair.item, names, &item));
    }
}

fn repair(raw: &RawRepair, names: &Names, item: &Item<'_>) -> Repair {
    item.filled(raw.id.at, "title", raw.title.trim().is_empty());
    item.filled(raw.id.at, "steps", raw.steps.is_empty());
    let (while_there, while_there_parts) = while_there(raw, names, item);
    Repair {
        title: raw.title.clone(),
        service: service(raw, item),
        scope: scope(raw.per),
        together: together(raw, item),
        removes: removes(raw, names, item),
        minutes: item.minutes(&raw.minutes, "minutes"),
        parts: raw.parts.iter().enumerate().map(|(at, p)| part(p, names, item, &format!("parts[{at}]"))).collect(),
        tools: raw.tools.iter().map(|t| t.value.clone()).collect(),
        access: item.find_all(&names.access, &raw.access, "access"),
        skill: item.skill(&raw.skill, "skill"),
        raises: item.find_all(&names.hazards, &raw.raises, "raises"),
        ignites: raw.ignites,
        turns: turns(raw.turns),
        able: abilities(&raw.able),
        not_with: not_with(raw, names, item),
        after: super::checks::after(&raw.after, names, item),
        between_calls: between_calls(raw, item),
        in_place_of: in_place_of(raw, names, item),
        no_load: raw.no_load.as_ref().map(|why| why.value.clone()),
        steps: steps(&raw.steps, RawPhase::Strip, names, item, "steps", raw.id.at),
        verdicts: raw
            .verdicts
            .iter()
            .enumerate()
            .map(|(at, v)| verdict(v, raw, item, &format!("verdicts[{at}]")))
            .collect(),
        proves: raw
            .proves
            .iter()
            .enumerate()
            .filter_map(|(at, p)| proof(p, raw, names, item, &format!("proves[{at}]")))
            .collect(),
        while_there,
        while_there_parts,
        care: raw.care.clone(),
        tell_owner: raw.tell_owner.clone(),
        fitted: item.fitted(names, &raw.fitted, "fitted"),
        basis: item.basis(names, &raw.basis),
    }
}

/// Whether it is a service step; says where its kind does not fit what it removes.
fn service(raw: &RawRepair, item: &Item<'_>) -> bool {
    let kind = raw.kind.as_ref();
    let service = kind.is_some_and(|k| k.value == RawRepairKind::Service);
    if !service && raw.removes.is_empty() {
        let message = format!("repair `{}` removes nothing", raw.id.value);
        drop(
            item.error(codes::REMOVES_NOTHING, raw.id.at, "removes", message)
                .hint("name the causes it removes, or say `kind: service` if it is a step of plans only"),
        );
    }
    if let (Some(kind), true, false) = (kind, service, raw.removes.is_empty()) {
        let message = "expected a service step to remove nothing, found causes in `removes`";
        item.error(codes::SERVICE_REMOVES, kind.at, "kind", message);
    }
    service
}

/// Whether it is done between calls; nobody watches over it then, so that it must ignite and turn nothing.
fn between_calls(raw: &RawRepair, item: &Item<'_>) -> bool {
    let Some(between_calls) = raw.between_calls.as_ref().filter(|said| said.value) else { return false };
    if raw.ignites || raw.turns != RawTurns::None {
        let message = "expected what is done between calls to ignite and turn nothing";
        item.error(codes::BETWEEN_CALLS, between_calls.at, "between_calls", message);
    }
    true
}

/// The service steps that it stands in for; itself it cannot.
fn in_place_of(raw: &RawRepair, names: &Names, item: &Item<'_>) -> Vec<Ix<Repair>> {
    for other in raw.in_place_of.iter().filter(|other| other.value == raw.id.value) {
        let message = format!("repair `{}` cannot stand in for itself", raw.id.value);
        item.error(codes::TWICE, other.at, "in_place_of", message);
    }
    item.find_all(&names.repairs, &raw.in_place_of, "in_place_of")
}

fn together(raw: &RawRepair, item: &Item<'_>) -> bool {
    if raw.together && raw.per.is_none() {
        let message = "expected `per` with `together: true`: one of a kind is always done together";
        item.error(codes::ONE_OF, raw.id.at, "together", message);
    }
    raw.together
}

fn removes(raw: &RawRepair, names: &Names, item: &Item<'_>) -> Vec<(Ix<Cause>, Chance)> {
    let mut removes = Vec::new();
    for (cause, sure) in &raw.removes {
        let key = format!("removes.{}", cause.value);
        let chance = item.chance(sure, &key);
        if sure.value == 0.0 {
            item.error(
                codes::OUT_OF_RANGE,
                sure.at,
                &key,
                "expected a chance above 0 that it removes the cause, found `0`",
            );
        }
        removes.extend(item.find(&names.causes, cause, &key).map(|cause| (cause, chance)));
    }
    removes
}

fn part(raw: &RawPart, names: &Names, item: &Item<'_>, key: &str) -> Part {
    item.filled(raw.count.at, &format!("{key}.item"), raw.item.trim().is_empty());
    Part {
        item: raw.item.clone(),
        count: item.amount(&raw.count, &format!("{key}.count"), "a count"),
        each: item.money(&raw.each, &format!("{key}.each")),
        or: raw.or.clone(),
        consumable: raw.consumable,
        fills: raw.fills.iter().map(|word| word.value.clone()).collect(),
        one_for_all: raw.one_for_all,
        basis: item.basis_at(names, &raw.basis, &format!("{key}.basis")),
    }
}

fn not_with(raw: &RawRepair, names: &Names, item: &Item<'_>) -> Vec<(Ix<Cause>, Chance, Ix<Repair>)> {
    let mut all = Vec::new();
    for (at, not) in raw.not_with.iter().enumerate() {
        let key = format!("not_with[{at}]");
        let over = item.chance(&not.over, &format!("{key}.over"));
        let cause = item.find(&names.causes, &not.cause, &format!("{key}.cause"));
        let unless = item.find(&names.repairs, &not.unless, &format!("{key}.unless"));
        if not.unless.value == raw.id.value {
            let message = format!("repair `{}` cannot go with itself", raw.id.value);
            item.error(codes::TWICE, not.unless.at, &format!("{key}.unless"), message);
        }
        all.extend(cause.zip(unless).map(|(cause, unless)| (cause, over, unless)));
    }
    all
}

fn verdict(raw: &RawVerdict, repair: &RawRepair, item: &Item<'_>, key: &str) -> Verdict {
    let rest = [&raw.reuse, &raw.clean, &raw.replace].into_iter().filter(|text| text.trim() == "otherwise").count();
    if rest > 1 {
        let message = format!("expected `otherwise` once for part `{}`, found it {rest} times", raw.part);
        item.error(codes::VERDICT, repair.id.at, key, message);
    }
    Verdict {
        part: raw.part.clone(),
        look: raw.look.clone(),
        reuse: raw.reuse.clone(),
        clean: raw.clean.clone(),
        replace: raw.replace.clone(),
    }
}

fn proof(raw: &RawProof, repair: &RawRepair, names: &Names, item: &Item<'_>, key: &str) -> Option<Proof> {
    match (&raw.check, &raw.event) {
        (Some(id), None) => {
            let check = item.find(&names.checks, id, &format!("{key}.check"))?;
            if raw.pass.is_empty() {
                let pass = names.told[check.at()].pass.clone();
                if pass.is_empty() {
                    no_pass(item, id, key);
                }
                return Some(Proof::Check(check, pass));
            }
            Some(Proof::Check(check, item.positions(&names.outcomes_of(check), &raw.pass, &format!("{key}.pass"))))
        }
        (None, Some(event)) => {
            let find = |id| item.find(&names.access, id, &format!("{key}.access"));
            Some(Proof::Event(event.clone(), raw.access.as_ref().and_then(find)))
        }
        (check, _) => {
            let at = check.as_ref().map_or(repair.id.at, |id| id.at);
            let found = if check.is_some() { "both" } else { "neither" };
            item.error(codes::ONE_OF, at, key, format!("expected `check` or `event`, found {found}"));
            None
        }
    }
}

fn while_there(raw: &RawRepair, names: &Names, item: &Item<'_>) -> (Vec<Ix<Repair>>, Vec<String>) {
    let mut repairs = Vec::new();
    let mut parts = Vec::new();
    for (at, there) in raw.while_there.iter().enumerate() {
        let key = format!("while_there[{at}]");
        match (&there.repair, &there.part) {
            (Some(id), None) => repairs.extend(item.find(&names.repairs, id, &format!("{key}.repair"))),
            (None, Some(part)) => parts.push(part.clone()),
            (repair, _) => {
                let at = repair.as_ref().map_or(raw.id.at, |id| id.at);
                let found = if repair.is_some() { "both" } else { "neither" };
                item.error(codes::ONE_OF, at, &key, format!("expected `repair` or `part`, found {found}"));
            }
        }
    }
    (repairs, parts)
}
