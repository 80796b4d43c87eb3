//! The chance of a cause before any check: its rate, moved by history, by the layout, and by what was found with it.

use crate::case::{Case, Entry, Event, Presence};
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Cause, Companion, Ix, Scope};
use std::collections::BTreeMap;

/// How likely a cause is before any check, place by place.
#[derive(Clone, Debug, PartialEq)]
pub struct Prior {
    /// The chance of the root that puts it on every place at once; 0 where each place stands alone.
    pub common: f64,
    /// For each place the chance of its own root.
    pub own: Vec<f64>,
}

/// The prior of a cause on a craft with this history.
///
/// Multipliers of one story count in full for the largest |ln m| and to the story's power for the others; the product
/// is held within 1/cap..=cap save for exempt facts, the chance within its cap. With p the chance of at least one
/// instance and b the common share, the common root has 1-(1-p)^b and each of n own roots 1-(1-p)^((1-b)/n), so that
/// together they give p again.
#[must_use]
pub fn prior(laid: &Laid<'_>, case: &Case, ix: Ix<Cause>) -> Prior {
    let cause = &laid.knowledge.causes[ix];
    let places = laid.places(cause.scope);
    if !laid.fits(&cause.fitted) {
        return Prior { common: 0.0, own: vec![0.0; places] };
    }
    let mut history = History::of(laid, case, cause);
    // What was seen to be there is not left out for what was told.
    history.never &= !was_found(case, ix);
    let everywhere = companion_factor(laid, case, ix, None, history.ln_capped);
    let p = history.chance(laid, cause, everywhere);
    let mut prior = split(p, cause.common.get(), places);
    for (at, own) in prior.own.iter_mut().enumerate() {
        let here = companion_factor(laid, case, ix, Some(at), history.ln_capped);
        if here != 0.0 {
            *own = moved(*own, here, history.chance_cap);
        }
    }
    prior
}

/// Splits the chance of at least one instance between a common root and each place's own.
fn split(p: f64, common: f64, places: usize) -> Prior {
    if places == 1 {
        return Prior { common: 0.0, own: vec![p] };
    }
    // 1-(1-p)^e without loss for small p.
    let root = |exponent: f64| -libm::expm1(exponent * libm::log1p(-p));
    #[expect(clippy::cast_precision_loss, reason = "a handful of places")]
    let own = root((1.0 - common) / places as f64);
    Prior { common: root(common), own: vec![own; places] }
}

/// Moves a chance by a logarithm of odds.
fn shift(p: f64, ln_odds: f64) -> f64 {
    let odds = p / (1.0 - p) * libm::exp(ln_odds);
    odds / (1.0 + odds)
}

/// The same, held within a cap. What is likelier than the cap by itself is not made rarer by it.
fn moved(before: f64, ln_odds: f64, cap: f64) -> f64 {
    shift(before, ln_odds).min(cap.max(before))
}

/// Whether what was told, or the layout, leaves a cause out (a multiplier of 0).
#[must_use]
pub fn is_left_out(laid: &Laid<'_>, case: &Case, ix: Ix<Cause>) -> bool {
    History::of(laid, case, &laid.knowledge.causes[ix]).never
}

/// Whether a cause was found, anywhere.
fn was_found(case: &Case, ix: Ix<Cause>) -> bool {
    let finds =
        |entry: &Entry| matches!(entry.event, Event::Found { cause, now: Presence::Present } if cause.item == ix);
    case.log.iter().any(finds)
}

/// What history does to one cause.
struct History {
    /// Sum of logarithms under the cap, before it is held.
    ln_capped: f64,
    /// Sum of logarithms of exempt facts.
    ln_exempt: f64,
    /// The cap on the chance.
    chance_cap: f64,
    /// A multiplier of zero: the craft cannot have it.
    never: bool,
}

impl History {
    fn of(laid: &Laid<'_>, case: &Case, cause: &Cause) -> Self {
        let knowledge = laid.knowledge;
        let rules = knowledge.history_rules;
        let mut history = Self { ln_capped: 0.0, ln_exempt: 0.0, chance_cap: rules.chance_cap.get(), never: false };
        let mut stories: BTreeMap<&str, Vec<f64>> = BTreeMap::new();
        for likelier in &cause.likelier {
            if case.history.get(&likelier.fact) != Some(&likelier.value) {
                continue;
            }
            let fact = &knowledge.history[likelier.fact];
            if likelier.odds <= 0.0 {
                history.never = true;
                continue;
            }
            let ln = libm::log(likelier.odds);
            if let Some(cap) = fact.exempt {
                history.ln_exempt += ln;
                history.chance_cap = history.chance_cap.max(cap.get());
            } else if let Some(story) = &fact.story {
                stories.entry(story).or_default().push(ln);
            } else {
                history.ln_capped += ln;
            }
        }
        for &(layout, odds) in &cause.likelier_layout {
            if layout == laid.craft.layout {
                history.never |= odds <= 0.0;
                history.ln_capped += if odds > 0.0 { libm::log(odds) } else { 0.0 };
            }
        }
        history.ln_capped += stories.into_values().map(|story| damped(story, rules.story_power)).sum::<f64>();
        history
    }

    fn chance(&self, laid: &Laid<'_>, cause: &Cause, ln_companion: f64) -> f64 {
        if self.never {
            return 0.0;
        }
        let bound = libm::log(laid.knowledge.history_rules.odds_cap);
        let ln = self.ln_capped.clamp(-bound, bound) + self.ln_exempt + ln_companion;
        let before = cause.chance.get();
        if ln == 0.0 {
            return before;
        }
        moved(before, ln, self.chance_cap)
    }
}

/// The largest in full, the others to a power.
fn damped(mut lns: Vec<f64>, power: f64) -> f64 {
    lns.sort_by(|a, b| b.abs().total_cmp(&a.abs()));
    lns.first().copied().unwrap_or(0.0) + power * lns.iter().skip(1).sum::<f64>()
}

/// The logarithm of odds that found companions add to a cause: at `place`, those of the same place; at `None`, those
/// that bear on the craft as a whole.
fn companion_factor(laid: &Laid<'_>, case: &Case, ix: Ix<Cause>, place: Option<usize>, ln_history: f64) -> f64 {
    let scope = laid.knowledge.causes[ix].scope;
    let mut ln = 0.0;
    for companion in &laid.knowledge.companions {
        let Some(odds) = companion.likelier.iter().find(|(cause, _)| *cause == ix).map(|(_, odds)| *odds) else {
            continue;
        };
        let found_scope = laid.knowledge.causes[companion.found].scope;
        let same_places = found_scope == scope && scope != Scope::Craft;
        let found = found_places(case, companion);
        let bears = match place {
            Some(at) => same_places && found.contains(&at),
            None => !same_places && !found.is_empty(),
        };
        if bears && odds > 0.0 {
            let bound = libm::log(companion.cap);
            ln = (ln + libm::log(odds)).clamp(-bound - ln_history.min(0.0), (bound - ln_history.max(0.0)).max(0.0));
        }
    }
    ln
}

/// The places where the companion's first cause was found.
fn found_places(case: &Case, companion: &Companion) -> Vec<usize> {
    case.log
        .iter()
        .filter_map(|entry| match entry.event {
            Event::Found { cause: Instance { item, at }, now: Presence::Present } if item == companion.found => {
                Some(at)
            }
            _ => None,
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_makes_a_cause_likelier_never_makes_it_rarer() {
        for before in [0.01, 0.5, 0.84, 0.85, 0.9, 0.99] {
            for odds in [1.0, 1.5, 40.0] {
                let after = moved(before, libm::log(odds), 0.85);
                assert!(after >= before - 1e-12 && after <= f64::max(before, 0.85), "{before} times {odds} is {after}");
            }
        }
    }
}
