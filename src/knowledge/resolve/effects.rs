//! Causes, effects and symptoms: what the network is made of.

use super::super::raw::{
    In, RawAtLeast, RawCause, RawEffect, RawEnd, RawId, RawInput, RawKnowledge, RawManifest, RawNumber, RawSymptom,
};
use super::super::{Cause, Effect, End, Gate, GateKind, Input, Knowledge, Reads, State, Symptom, codes};
use super::context::{Context, Item};
use super::history::likelier;
use super::names::Names;
use super::numbers::{abilities, scope, shown};
use crate::knowledge::raw::Location;
use crate::units::Chance;

/// Fills in causes, effects and symptoms.
pub(super) fn states(
    raw: &RawKnowledge,
    names: &Names,
    context: &Context,
    knowledge: &mut Knowledge,
    manifest: &In<RawManifest>,
) {
    for cause in &raw.causes {
        let item = context.at(cause, &cause.item.id.value);
        let built = self::cause(&cause.item, names, &item, manifest.item.chance_per_rate.value);
        knowledge.causes.add(cause.item.id.value.clone(), built);
    }
    for effect in &raw.effects {
        let item = context.at(effect, &effect.item.id.value);
        knowledge.effects.add(effect.item.id.value.clone(), self::effect(&effect.item, names, &item));
    }
    for symptom in &raw.symptoms {
        let item = context.at(symptom, &symptom.item.id.value);
        knowledge.symptoms.add(symptom.item.id.value.clone(), self::symptom(&symptom.item, names, &item));
    }
}

fn cause(raw: &RawCause, names: &Names, item: &Item<'_>, chance_per_rate: f64) -> Cause {
    item.filled(raw.id.at, "title", raw.title.trim().is_empty());
    let (likelier, likelier_layout) = likelier(&raw.likelier, names, item);
    Cause {
        title: raw.title.clone(),
        plain: raw.plain.clone(),
        scope: scope(raw.per),
        chance: below_one(raw, prior(raw, item, chance_per_rate), item),
        common: raw.common.as_ref().map_or(Chance::NEVER, |c| item.chance(c, "common")),
        likelier,
        likelier_layout,
        fitted: item.fitted(names, &raw.fitted, "fitted"),
        basis: item.basis(names, &raw.basis),
    }
}

/// The chance before history: the rate times the manifest's factor, or the chance itself.
fn prior(raw: &RawCause, item: &Item<'_>, chance_per_rate: f64) -> Chance {
    match (&raw.rate, &raw.chance) {
        (Some(rate), None) => {
            let chance = item.amount(rate, "rate", "findings per 1000 jobs") * chance_per_rate;
            Chance::new(chance).unwrap_or_else(|| {
                let message = format!(
                    "expected a rate that gives a probability in 0..=1, found `{}` from `{}`",
                    shown(chance),
                    shown(rate.value)
                );
                drop(
                    item.error(codes::NOT_A_CHANCE, rate.at, "rate", message)
                        .hint(format!("a rate is multiplied by `chance_per_rate`, {chance_per_rate}")),
                );
                Chance::NEVER
            })
        }
        (None, Some(chance)) => item.chance(chance, "chance"),
        (Some(_), Some(chance)) => {
            item.error(codes::RATE_OR_CHANCE, chance.at, "chance", "expected `rate` or `chance`, found both");
            Chance::NEVER
        }
        (None, None) => {
            item.error(codes::RATE_OR_CHANCE, raw.id.at, "", "expected `rate` or `chance`, found neither");
            Chance::NEVER
        }
    }
}

/// A cause that is always there is no fault, and no history moves it.
fn below_one(raw: &RawCause, chance: Chance, item: &Item<'_>) -> Chance {
    let at = raw.chance.as_ref().map(|n| (n.at, "chance")).or(raw.rate.as_ref().map(|n| (n.at, "rate")));
    match at {
        Some((at, key)) if chance.get() >= 1.0 => {
            item.error(codes::NOT_A_CHANCE, at, key, "expected a probability below 1 for a cause, found `1`");
            Chance::NEVER
        }
        _ => chance,
    }
}

fn effect(raw: &RawEffect, names: &Names, item: &Item<'_>) -> Effect {
    item.filled(raw.id.at, "title", raw.title.trim().is_empty());
    Effect {
        title: raw.title.clone(),
        plain: raw.plain.clone(),
        shows: raw.shows.clone(),
        scope: scope(raw.per),
        gate: gate(
            &RawGate { any: raw.any.as_ref(), all: raw.all.as_ref(), at_least: raw.at_least.as_ref(), leak: &raw.leak },
            raw.id.at,
            names,
            item,
        ),
        fitted: item.fitted(names, &raw.fitted, "fitted"),
        basis: item.basis(names, &raw.basis),
    }
}

fn symptom(raw: &RawSymptom, names: &Names, item: &Item<'_>) -> Symptom {
    item.filled(raw.id.at, "title", raw.title.trim().is_empty());
    item.filled(raw.id.at, "says", raw.says.is_empty());
    for (list, key) in [(&raw.hides, "hides"), (&raw.rules_out, "rules_out")] {
        for own in list.iter().filter(|id| id.value == raw.id.value) {
            item.error(codes::TWICE, own.at, key, format!("`{}` names itself", own.value));
        }
    }
    Symptom {
        title: raw.title.clone(),
        says: raw.says.clone(),
        share: item.amount(&raw.share, "share", "a share in percent"),
        gate: gate(
            &RawGate { any: raw.any.as_ref(), all: raw.all.as_ref(), at_least: raw.at_least.as_ref(), leak: &raw.leak },
            raw.id.at,
            names,
            item,
        ),
        named_present: item.chance(&raw.named.present, "named.present"),
        named_absent: item.chance(&raw.named.absent, "named.absent"),
        denies: abilities(&raw.denies),
        hides: item.find_all(&names.symptoms, &raw.hides, "hides"),
        rules_out: item.find_all(&names.symptoms, &raw.rules_out, "rules_out"),
        shows_in: raw.shows_in.as_ref().and_then(|id| item.find(&names.access, id, "shows_in")),
        first_moves: item.find_all(&names.checks, &raw.first_moves, "first_moves"),
        fitted: item.fitted(names, &raw.fitted, "fitted"),
        basis: item.basis(names, &raw.basis),
    }
}

/// The gate of an effect or a symptom, as written.
struct RawGate<'r> {
    any: Option<&'r Vec<RawInput>>,
    all: Option<&'r Vec<RawInput>>,
    at_least: Option<&'r RawAtLeast>,
    leak: &'r RawNumber,
}

/// A gate: exactly one of `any`, `all` and `at_least`.
fn gate(raw: &RawGate<'_>, at: Location, names: &Names, item: &Item<'_>) -> Gate {
    let RawGate { any, all, at_least, leak } = *raw;
    let (kind, raw, key) = match (any, all, at_least) {
        (Some(inputs), None, None) => (GateKind::Any, inputs.as_slice(), "any"),
        (None, Some(inputs), None) => (GateKind::All, inputs.as_slice(), "all"),
        (None, None, Some(k_of)) => {
            let k = k_of.k.value as usize;
            if k == 0 || k > k_of.of.len() {
                let message = format!("expected `k` from 1 to {}, the inputs, found `{k}`", k_of.of.len());
                item.error(codes::AT_LEAST, k_of.k.at, "at_least.k", message);
            }
            (GateKind::AtLeast(k), k_of.of.as_slice(), "at_least.of")
        }
        (None, None, None) => {
            item.error(codes::ONE_OF, at, "", "expected one of `any`, `all` and `at_least`, found none");
            (GateKind::Any, &[][..], "any")
        }
        _ => {
            let given = [(any.is_some(), "any"), (all.is_some(), "all"), (at_least.is_some(), "at_least")];
            let given: Vec<_> = given.iter().filter(|(g, _)| *g).map(|(_, key)| format!("`{key}`")).collect();
            let message = format!("expected one of `any`, `all` and `at_least`, found {}", given.join(" and "));
            item.error(codes::ONE_OF, at, "", message);
            (GateKind::Any, &[][..], "any")
        }
    };
    let mut inputs: Vec<(Input, Location)> = Vec::new();
    for (at, raw) in raw.iter().enumerate() {
        let key = format!("{key}[{at}]");
        if let Some(input) = input(raw, names, item, &key) {
            item.spot(&format!("input[{}]", inputs.len()), &key, raw.strength.at);
            inputs.push((input, raw.strength.at));
        }
    }
    if raw.is_empty() && any.is_some() != all.is_some() {
        item.error(codes::EMPTY, at, key, format!("expected at least one input in `{key}`, found none"));
    }
    same_twice(&inputs, names, item, key);
    Gate { kind, inputs: inputs.into_iter().map(|(input, _)| input).collect(), leak: item.chance(leak, "leak") }
}

fn is_same(a: &Input, b: &Input) -> bool {
    a.reads == b.reads && a.fitted == b.fitted && a.at == b.at
}

/// Says which inputs stand twice for the same craft. The same reading for different layouts is no repetition.
fn same_twice(inputs: &[(Input, Location)], names: &Names, item: &Item<'_>, key: &str) {
    for (at, (input, place)) in inputs.iter().enumerate() {
        if inputs[..at].iter().any(|(other, _)| is_same(other, input)) {
            let what = match &input.reads {
                Reads::One(s) | Reads::Every(s) | Reads::SomeNotAll(s) | Reads::Exactly(_, s) => {
                    format!("`{}`", state_id(*s, names))
                }
                Reads::Together(_) => "the same group".to_owned(),
            };
            item.error(codes::SAME_INPUT, *place, &format!("{key}[{at}]"), format!("input {what} stands twice"));
        }
    }
}

fn state_id(state: State, names: &Names) -> &str {
    match state {
        State::Cause(cause) => names.causes.id(cause),
        State::Effect(effect) => names.effects.id(effect),
    }
}

fn input(raw: &RawInput, names: &Names, item: &Item<'_>, key: &str) -> Option<Input> {
    let strength = item.chance(&raw.strength, &format!("{key}.strength"));
    let fitted = item.fitted(names, &raw.fitted, &format!("{key}.fitted"));
    if let Some(basis) = &raw.basis {
        item.basis_at(names, basis, &format!("{key}.basis"));
    }
    let find = |id: &RawId, part: &str| state(names, item, id, &format!("{key}.{part}"));
    let given = [
        (raw.from.is_some(), "from"),
        (raw.every.is_some(), "every"),
        (raw.some_not_all.is_some(), "some_not_all"),
        (raw.exactly.is_some(), "exactly"),
        (raw.together.is_some(), "together"),
    ];
    let given: Vec<_> = given.iter().filter(|(g, _)| *g).map(|(_, key)| *key).collect();
    if given.len() != 1 {
        let found = if given.is_empty() { "none".to_owned() } else { format!("`{}`", given.join("` and `")) };
        let message = format!(
            "expected one of `from`, `every`, `some_not_all`, `exactly` with `of`, and `together`, found {found}"
        );
        item.error(codes::ONE_OF, raw.strength.at, key, message);
        return None;
    }
    if raw.exactly.is_some() != raw.of.is_some() {
        item.error(codes::ONE_OF, raw.strength.at, key, "expected `exactly` and `of` together, found one of them");
        return None;
    }
    let reads = if let Some(id) = &raw.from {
        Reads::One(find(id, "from")?)
    } else if let Some(id) = &raw.every {
        Reads::Every(find(id, "every")?)
    } else if let Some(id) = &raw.some_not_all {
        Reads::SomeNotAll(find(id, "some_not_all")?)
    } else if let (Some(count), Some(id)) = (&raw.exactly, &raw.of) {
        Reads::Exactly(count.value as usize, find(id, "of")?)
    } else {
        let ids = raw.together.as_deref().unwrap_or_default();
        item.once(ids, &format!("{key}.together"));
        item.filled(raw.strength.at, &format!("{key}.together"), ids.is_empty());
        Reads::Together(ids.iter().filter_map(|id| find(id, "together")).collect())
    };
    let at = raw.at.map(|end| match end {
        RawEnd::First => End::First,
        RawEnd::Last => End::Last,
    });
    Some(Input { reads, strength, at, fitted })
}

/// A cause or an effect by its id.
pub(super) fn state(names: &Names, item: &Item<'_>, id: &RawId, key: &str) -> Option<State> {
    let cause = names.causes.find(&id.value).map(State::Cause);
    let found = cause.or_else(|| names.effects.find(&id.value).map(State::Effect));
    if found.is_none() {
        item.unknown("cause or effect", || vec![names.causes.listing(), names.effects.listing()], id, key);
    }
    found
}
