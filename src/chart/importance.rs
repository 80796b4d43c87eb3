//! How much each cause matters to an event, by the usual measures; every one names its formula, for books differ.
//!
//! With T the event, i a cause, p its chance, all given what was answered:
//!
//! | measure | formula | says |
//! | --- | --- | --- |
//! | diagnostic | P(i given T) | how likely it is found where the event is there; what one repairs by |
//! | Birnbaum | P(T given i) - P(T given not i) | how much hangs on it |
//! | criticality | Birnbaum p / P(T) = 1 - 1 / RRW | the share of the event that goes with it; many call this Fussell-Vesely |
//! | RAW | P(T given i) / P(T) | risk achievement worth: how many times as often, were it always there |
//! | RRW | P(T) / P(T given not i) | risk reduction worth: how many times as rare, were it never there |
//!
//! All come exactly from two posteriors, with and without the event taken as there, by Bayes' rule. (Formulas as in
//! Dutuit and Rauzy 2001.) Where one cause comes at several places together, "given i" takes the others along.

use super::Chart;
use crate::inference::{Accuracy, Engine, Error, Limits};
use crate::knowledge::Cause;
use crate::knowledge::layout::Instance;
use crate::model::network::{Network, Observation, VarIx};

/// The measures of one cause.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Importance {
    /// The cause.
    pub cause: Instance<Cause>,
    /// Its chance, given what was answered.
    pub chance: f64,
    /// Its chance where the event is there too.
    pub diagnostic: f64,
    /// Birnbaum's measure; `None` where the cause is sure, one way or the other.
    pub birnbaum: Option<f64>,
    /// The share of the event that goes with it.
    pub criticality: Option<f64>,
    /// Risk achievement worth.
    pub achievement: Option<f64>,
    /// Risk reduction worth; `None` also where the event cannot be without it.
    pub reduction: Option<f64>,
}

/// What is known of an event and its causes.
#[derive(Clone, Debug, PartialEq)]
pub struct Importances {
    /// The chance of the event, given what was answered.
    pub top: f64,
    /// Each cause below it, the likeliest given the event first.
    pub causes: Vec<Importance>,
    /// The chance of everything below it, the event taken as there, in the order of the network.
    pub given_top: Vec<(VarIx, f64)>,
    /// Whether links were cut, so that the figures are near and not exact.
    pub cut: bool,
}

/// The measures of every cause below the top of a chart, in the slice of time that is now.
///
/// Cost: two posteriors of all that is below.
///
/// # Errors
/// [`Error::Contradiction`] where the event cannot be; otherwise where the network is too wide for the limits.
pub fn importances(
    chart: &Chart,
    network: &Network,
    engine: &Engine,
    evidence: &[Observation],
    now: usize,
    limits: &Limits,
) -> Result<Importances, Error> {
    let (top, causes) = (chart.graph[chart.top].0, chart.causes());
    let mut wanted: Vec<VarIx> = chart.graph.node_weights().map(|(var, _)| *var).collect();
    wanted.sort_unstable();
    let before = engine.posterior_with(evidence, &wanted, limits)?;
    let happened: Vec<Observation> = evidence.iter().cloned().chain([network.found(top, now, true)]).collect();
    let after = engine.posterior_with(&happened, &wanted, limits)?;
    let p_top = before.chance_on(top, now);
    let mut all: Vec<Importance> = causes
        .iter()
        .map(|&(cause, var)| measures(cause, before.chance_on(var, now), after.chance_on(var, now), p_top))
        .collect();
    all.sort_by(|a, b| b.diagnostic.total_cmp(&a.diagnostic).then(a.cause.cmp(&b.cause)));
    let cut = [&before, &after].iter().any(|posterior| *posterior.accuracy() != Accuracy::Exact);
    let given_top = wanted.iter().map(|&var| (var, after.chance_on(var, now))).collect();
    Ok(Importances { top: p_top, causes: all, given_top, cut })
}

fn measures(cause: Instance<Cause>, p: f64, diagnostic: f64, p_top: f64) -> Importance {
    let open = p > 0.0 && p < 1.0 && p_top > 0.0;
    let with = open.then(|| diagnostic / p * p_top);
    let without = open.then(|| (1.0 - diagnostic) / (1.0 - p) * p_top);
    let birnbaum = with.zip(without).map(|(with, without)| with - without);
    Importance {
        cause,
        chance: p,
        diagnostic,
        birnbaum,
        criticality: birnbaum.map(|b| b * p / p_top),
        achievement: with.map(|with| with / p_top),
        reduction: without.filter(|without| *without > 0.0).map(|without| p_top / without),
    }
}
