//! Every effect and symptom can come about on some craft.
//!
//! Judged by a bound that needs no inference: a gate is on at most as often as its leak and its inputs together allow
//! (the chance of any of several is at most their sum, of `k` at once at most their sum over `k`: Boole, Markov).

use super::{Whole, codes};
use crate::case::Case;
use crate::case::usual_case;
use crate::knowledge::layout::{Craft, Laid};
use crate::knowledge::{CraftOption, Ix, Knowledge};
use crate::model::compile::compile;
use crate::model::network::{Link, Mechanism, Network};
use std::collections::BTreeMap;

/// Less often than in one job of a million is never.
const NEVER: f64 = 1e-6;

/// Gives advice on effects and symptoms that can hardly ever come about, whatever the layout and options.
pub(super) fn check(whole: &mut Whole) {
    let knowledge = whole.knowledge;
    let mut most: BTreeMap<&str, f64> = BTreeMap::new();
    let mut note = |id, bound: f64| {
        let known = most.entry(id).or_insert(0.0);
        *known = known.max(bound);
    };
    for craft in crafts(knowledge) {
        let laid = Laid::new(knowledge, craft.clone());
        let model = compile(&laid, &Case { craft, ..usual_case(knowledge) });
        let bounds = at_most(&model.network);
        for (effect, var) in &model.effects {
            note(knowledge.effects.id(effect.item), bounds[var.at()]);
        }
        for (symptom, var) in &model.symptoms {
            note(knowledge.symptoms.id(*symptom), bounds[var.at()]);
        }
    }
    for (id, bound) in most {
        if bound < NEVER {
            let noun = if knowledge.effects.find(id).is_some() { "effect" } else { "symptom" };
            let message = format!("{noun} `{id}` comes about in less than one job of a million, on any layout");
            whole.advise(codes::NEVER_FIRES, id, message, Vec::new());
        }
    }
}

/// Every layout with the usual options, and with each option the other way round.
fn crafts(knowledge: &Knowledge) -> Vec<Craft> {
    let usual = Craft::usual(knowledge);
    let mut crafts = Vec::new();
    for (layout, _) in knowledge.layouts.iter() {
        let craft = Craft { layout, ..usual.clone() };
        let flipped = |(ix, _): (Ix<CraftOption>, &CraftOption)| {
            let mut other = craft.clone();
            if let Some(has) = other.options.get_mut(ix.at()) {
                *has = !*has;
            }
            other
        };
        crafts.extend(knowledge.options.iter().map(flipped));
        crafts.push(craft);
    }
    crafts
}

/// For each variable no less than the chance that it is on.
fn at_most(network: &Network) -> Vec<f64> {
    let mut bounds: Vec<f64> = Vec::with_capacity(network.variables.len());
    for variable in &network.variables {
        let sum = |links: &[Link]| links.iter().map(|l| l.strength * bounds[l.from.at()]).sum::<f64>();
        let bound = match &variable.mechanism {
            Mechanism::Table { parents, rows } => {
                // The states after the first are those that are on; the first row is that of no parent on.
                let alone: f64 = rows.iter().take(variable.states.count()).skip(1).sum();
                alone + parents.iter().map(|p| bounds[p.at()]).sum::<f64>()
            }
            Mechanism::Any { links, leak } => leak + sum(links),
            Mechanism::All { links, leak } => {
                leak + links.iter().map(|l| l.strength * bounds[l.from.at()]).fold(1.0, f64::min)
            }
            Mechanism::AtLeast { k, links, leak } => leak + sum(links) / as_f64((*k).max(1)),
            Mechanism::Count { least: 0, .. } => 1.0,
            Mechanism::Count { of, least, .. } => of.iter().map(|v| bounds[v.at()]).sum::<f64>() / as_f64(*least),
        };
        bounds.push(bound.min(1.0));
    }
    bounds
}

#[expect(clippy::cast_precision_loss, reason = "a handful of inputs")]
fn as_f64(n: usize) -> f64 {
    n as f64
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::inference::{Engine, Limits};
    use crate::knowledge::read;
    use crate::store::{built_in_named, built_in_names};

    /// No bound is below the chance that exact inference finds.
    #[test]
    fn bounds_hold() {
        for name in built_in_names() {
            let knowledge = read(&built_in_named(name).expect("built in")).0.expect("sound");
            let craft = Craft::usual(&knowledge);
            let laid = Laid::new(&knowledge, craft.clone());
            let model = compile(&laid, &usual_case(&knowledge));
            let bounds = at_most(&model.network);
            let engine = Engine::compile(&model.network).expect("sound");
            let posterior = engine.posterior_all(&[], &Limits::default()).expect("it can be asked");
            for (_, var) in &model.effects {
                let chance = posterior.chance_on(*var, 0);
                assert!(chance <= bounds[var.at()] + 1e-9, "{}", model.network.variable(*var).name);
            }
        }
    }
}
