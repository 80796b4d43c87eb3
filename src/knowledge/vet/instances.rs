//! A gate that counts instances counts such as can be there: a craft has one of what is not `per:` something, and no
//! layout has four cylinders where none is listed so.

use super::super::{Fitted, Gate, GateKind, Ix, Layout, Reads, Scope, State, codes};
use super::Whole;

/// Reports inputs that can never be on, and items that fit no layout.
pub(super) fn check(whole: &mut Whole) {
    let knowledge = whole.knowledge;
    let mut gates: Vec<(&str, &Gate, &Fitted, Scope)> = Vec::new();
    gates.extend(knowledge.effects.iter().map(|(ix, e)| (knowledge.effects.id(ix), &e.gate, &e.fitted, e.scope)));
    let of_craft = knowledge.symptoms.iter();
    gates.extend(of_craft.map(|(ix, s)| (knowledge.symptoms.id(ix), &s.gate, &s.fitted, Scope::Craft)));
    for (id, gate, fitted, scope) in gates {
        if whole.hurt(id) {
            continue;
        }
        for (at, input) in gate.inputs.iter().enumerate() {
            let layouts = layouts(whole, &[fitted, &input.fitted]);
            if input.at.is_some() && (scope == Scope::Craft || gate.kind != GateKind::Any) {
                let message =
                    "`at` is for a gate `any` that is `per:` cylinder, carburetor or pump: a craft has no ends";
                whole.error(codes::SCOPE, &format!("{id}.input[{at}]"), message.to_owned(), Vec::new());
            }
            if let Some(message) = wrong(whole, &input.reads, &layouts) {
                whole.error(codes::SCOPE, &format!("{id}.input[{at}]"), message, Vec::new());
            }
        }
    }
    fits_some_layout(whole);
}

/// The layouts that fit all of these.
fn layouts<'a>(whole: &Whole<'a>, all: &[&Fitted]) -> Vec<&'a Layout> {
    let fits = |ix: Ix<Layout>, layout: &Layout| {
        all.iter().all(|fitted| {
            fitted.cylinders.is_none_or(|n| n == layout.cylinders.len())
                && (fitted.layouts.is_empty() || fitted.layouts.contains(&ix))
        })
    };
    whole.knowledge.layouts.iter().filter(|(ix, layout)| fits(*ix, layout)).map(|(_, layout)| layout).collect()
}

/// What is wrong with an input, if anything.
fn wrong(whole: &Whole, reads: &Reads, layouts: &[&Layout]) -> Option<String> {
    let (state, least, key) = match reads {
        Reads::One(_) | Reads::Together(_) => return None,
        Reads::Every(state) => (*state, 1, "every"),
        Reads::SomeNotAll(state) => (*state, 2, "some_not_all"),
        Reads::Exactly(count, state) => (*state, *count, "exactly"),
    };
    let (id, scope) = match state {
        State::Cause(ix) => (whole.knowledge.causes.id(ix), whole.knowledge.causes[ix].scope),
        State::Effect(ix) => (whole.knowledge.effects.id(ix), whole.knowledge.effects[ix].scope),
    };
    if scope == Scope::Craft {
        return Some(format!("`{key}` counts instances, but a craft has one `{id}`: it is not `per:` anything"));
    }
    if matches!(reads, Reads::Exactly(0, _)) {
        return Some(format!("`exactly: 0` of `{id}` holds where nothing is wrong; expected 1 or more"));
    }
    let most = layouts.iter().map(|layout| instances(layout, scope)).max()?;
    (least > most).then(|| format!("`{key}` needs {least} of `{id}`, but no fitting layout has more than {most}"))
}

/// The instances of a scope on a layout.
pub(super) fn instances(layout: &Layout, scope: Scope) -> usize {
    match scope {
        Scope::Craft => 1,
        Scope::Cylinder => layout.cylinders.len(),
        Scope::Carburetor => layout.carburetors.len(),
        Scope::Pump => layout.pumps.len(),
    }
}

/// Reports items whose `fitted` no layout fulfills.
fn fits_some_layout(whole: &mut Whole) {
    let knowledge = whole.knowledge;
    let mut items: Vec<(String, Vec<&Fitted>)> = Vec::new();
    for (ix, cause) in knowledge.causes.iter() {
        items.push((knowledge.causes.id(ix).to_owned(), vec![&cause.fitted]));
    }
    for (ix, effect) in knowledge.effects.iter() {
        let id = knowledge.effects.id(ix);
        items.push((id.to_owned(), vec![&effect.fitted]));
        for (at, input) in effect.gate.inputs.iter().enumerate() {
            items.push((format!("{id}.input[{at}]"), vec![&effect.fitted, &input.fitted]));
        }
    }
    for (ix, symptom) in knowledge.symptoms.iter() {
        let id = knowledge.symptoms.id(ix);
        items.push((id.to_owned(), vec![&symptom.fitted]));
        for (at, input) in symptom.gate.inputs.iter().enumerate() {
            items.push((format!("{id}.input[{at}]"), vec![&symptom.fitted, &input.fitted]));
        }
    }
    for (ix, check) in knowledge.checks.iter() {
        items.push((knowledge.checks.id(ix).to_owned(), vec![&check.fitted]));
    }
    for (ix, repair) in knowledge.repairs.iter() {
        items.push((knowledge.repairs.id(ix).to_owned(), vec![&repair.fitted]));
    }
    for (spot, fitted) in items {
        let id = spot.split('.').next().unwrap_or_default();
        if !whole.hurt(id) && !knowledge.layouts.is_empty() && layouts(whole, &fitted).is_empty() {
            let message = "`fitted` asks for a craft that no layout is".to_owned();
            whole.error(codes::FITTED, &spot, message, Vec::new());
        }
    }
}
