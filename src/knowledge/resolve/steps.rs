//! Steps of work and the bench tests in them.

use super::super::raw::{RawGateTest, RawPhase, RawStep};
use super::super::{GateTest, Step, codes};
use super::context::Item;
use super::names::Names;
use super::numbers::MeasureKind;

/// Steps in order; the first without a phase belongs to `first`, any other to the phase of the step before.
pub(super) fn steps(
    raw: &[RawStep],
    first: RawPhase,
    names: &Names,
    item: &Item<'_>,
    key: &str,
    home: crate::knowledge::raw::Location,
) -> Vec<Step> {
    let mut phase = first;
    let mut steps = Vec::new();
    for (at, step) in raw.iter().enumerate() {
        let key = format!("{key}[{at}]");
        phase = step.phase.as_ref().map_or(phase, |p| p.value);
        item.filled(home, &format!("{key}.do"), step.what.trim().is_empty());
        steps.push(Step {
            what: step.what.clone(),
            phase,
            caution: step.caution.as_ref().and_then(|id| item.find(&names.hazards, id, &format!("{key}.caution"))),
            ignites: step.ignites.as_ref().map(|ignites| ignites.value),
            once: step.once.as_ref().map(|once| once.value.clone()),
            takes_off: step.takes_off.as_ref().map(|what| what.value.clone()),
            puts_on: step.puts_on.as_ref().map(|what| what.value.clone()),
            shut: item.find_all(&names.access, &step.shut, &format!("{key}.shut")),
            record: item.find_all(&names.settings, &step.record, &format!("{key}.record")),
            set: item.find_all(&names.settings, &step.set, &format!("{key}.set")),
            anew: item.find_all(&names.settings, &step.anew, &format!("{key}.anew")),
            gate: step.gate.as_ref().and_then(|gate| self::gate(gate, names, item, &format!("{key}.gate"))),
        });
    }
    steps
}

fn gate(raw: &RawGateTest, names: &Names, item: &Item<'_>, key: &str) -> Option<GateTest> {
    let check = item.find(&names.checks, &raw.check, &format!("{key}.check"))?;
    let own = &names.told[check.at()];
    let measure = |text: Option<&super::super::raw::Sp<String>>, part: &str| {
        let text = text?;
        let key = format!("{key}.{part}");
        let Some(unit) = own.unit else {
            let message = format!("check `{}` has no reading, so nothing to measure `{part}` by", raw.check.value);
            item.error(codes::WRONG_QUANTITY, text.at, &key, message);
            return None;
        };
        item.measure(text, unit, &key, MeasureKind::Span)
    };
    let within = measure(raw.within.as_ref(), "within");
    let spread = measure(raw.spread.as_ref(), "spread");
    let repeats = raw.repeats.as_ref().map_or(1, |repeats| {
        if !(1..=20).contains(&repeats.value) {
            let message = format!("expected 1 to 20 repeats, found `{}`", repeats.value);
            item.error(codes::OUT_OF_RANGE, repeats.at, &format!("{key}.repeats"), message);
        }
        repeats.value
    });
    let mut pass = item.positions(&names.outcomes_of(check), &raw.pass, &format!("{key}.pass"));
    if raw.pass.is_empty() {
        pass.clone_from(&own.pass);
    }
    if pass.is_empty() && raw.pass.is_empty() && raw.within.is_none() {
        no_pass(item, &raw.check, key);
    }
    Some(GateTest { check, pass, within, repeats, spread })
}

/// Says that neither a proof nor its check tells what passes.
pub(super) fn no_pass(item: &Item<'_>, check: &super::super::raw::RawId, key: &str) {
    let message = format!("expected `pass` here or on check `{}`, found neither", check.value);
    item.error(codes::NO_PASS, check.at, key, message);
}
