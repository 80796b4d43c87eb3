//! Which links to cut where the whole graph is beyond the budget: weakest first, then the strongest put back wherever
//! an order within the budget still exists.

use super::graph::Graph;
use super::order::{self, Order};
use super::work::{self, Work};
use super::{Error, Limits};

/// How many of the strongest cut links are tried for putting back.
const RESTORE_TRIES: usize = 48;
/// The first small network, which tells which links matter, gets this share of the budget.
const SCOUT_SHARE: usize = 8;
/// Rounds of messages in the first small network.
const SCOUT_ROUNDS: usize = 2;

/// The links cut and an order for what is left.
pub(super) struct Choice {
    pub(super) cut: Vec<bool>,
    pub(super) order: Order,
}

/// Chooses the cuts. `fixed` links are cut in any case; `prior` gives the distribution of a link's variable.
pub(super) fn choose<'a>(
    graph: &Graph,
    limits: &Limits,
    fixed: &[bool],
    prior: impl Fn(usize) -> &'a [f64],
) -> Result<Choice, Error> {
    let order = search(graph, fixed, limits.orders);
    if order.cells <= limits.cells as f64 {
        return Ok(Choice { cut: fixed.to_vec(), order });
    }
    let on = |distribution: &[f64]| 1.0 - distribution.first().copied().unwrap_or(0.0);
    let by_prior: Vec<f64> = graph.links.iter().enumerate().map(|(at, link)| link.strength * on(prior(at))).collect();
    let scout_limits = Limits { cells: limits.cells / SCOUT_SHARE, ..*limits };
    let scores = match weakest(graph, fixed, &by_prior, scout_limits.cells) {
        Ok(choice) => rescored(graph, &choice, &by_prior, &prior),
        Err(_) => by_prior,
    };
    let choice = weakest(graph, fixed, &scores, limits.cells)?;
    let cut = restored(graph, fixed, &scores, choice.cut, limits.cells);
    let order = search(graph, &cut, limits.orders);
    Ok(Choice { cut, order })
}

fn search(graph: &Graph, cut: &[bool], tries: usize) -> Order {
    let scopes = work::scopes(graph, cut);
    order::search(&graph.cards(), scopes.iter().map(Vec::as_slice), tries)
}

/// The links that still stand in a table, weakest first.
fn ranked(graph: &Graph, fixed: &[bool], scores: &[f64]) -> Vec<usize> {
    let mut alive = vec![false; graph.links.len()];
    graph.factors.iter().flat_map(|factor| factor.links.iter().flatten()).for_each(|&link| alive[link] = true);
    let mut links: Vec<usize> = (0..alive.len()).filter(|&link| alive[link] && !fixed[link]).collect();
    links.sort_by(|&a, &b| scores[a].total_cmp(&scores[b]));
    links
}

/// Cuts as few of the weakest links as bring the cost within `cells`.
fn weakest(graph: &Graph, fixed: &[bool], scores: &[f64], cells: usize) -> Result<Choice, Error> {
    let links = ranked(graph, fixed, scores);
    let attempt = |n: usize| {
        let mut cut = fixed.to_vec();
        links[..n].iter().for_each(|&link| cut[link] = true);
        let order = search(graph, &cut, 0);
        Choice { cut, order }
    };
    let fits = |choice: &Choice| choice.order.cells <= cells as f64;
    let mut best = attempt(links.len());
    if !fits(&best) {
        return Err(too_wide(graph, &best.order, cells));
    }
    let (mut few, mut enough) = (0, links.len());
    while enough - few > 1 {
        let middle = usize::midpoint(few, enough);
        let choice = attempt(middle);
        if fits(&choice) {
            (best, enough) = (choice, middle);
        } else {
            few = middle;
        }
    }
    Ok(best)
}

fn too_wide(graph: &Graph, order: &Order, cells: usize) -> Error {
    let mut variables: Vec<_> = order.widest.iter().flat_map(|&node| graph.nodes[node].about.clone()).collect();
    variables.sort_unstable();
    variables.dedup();
    Error::TooWide { needed: order.cells, allowed: cells, variables }
}

/// Scores that know the answers: the posterior of the input, and how far the link's own message moves it.
fn rescored<'a>(graph: &Graph, choice: &Choice, by_prior: &[f64], prior: &impl Fn(usize) -> &'a [f64]) -> Vec<f64> {
    let mut work = Work::new(graph, &choice.cut, &choice.order.sequence, |link| flat_start(prior(link)));
    let mut down = work.program.down(&work.up());
    for _ in 0..SCOUT_ROUNDS {
        work.exchange(&down);
        down = work.program.down(&work.up());
    }
    if down.iter().flatten().any(|d| !d.is_finite()) {
        return by_prior.to_vec();
    }
    let marginals = work.marginals(&down);
    let mut scores = by_prior.to_vec();
    for factor in &graph.factors {
        for (&node, link) in factor.scope.iter().zip(&factor.links) {
            let Some(link) = *link else { continue };
            let off = graph.nodes[node].kept.iter().position(|&state| state == 0);
            let posterior = 1.0 - off.map_or(0.0, |at| marginals[node][at]);
            scores[link] = scores[link].max(graph.links[link].strength * posterior);
        }
    }
    for message in work.messages() {
        let most = message.lambda.iter().copied().fold(0.0, f64::max);
        let ratio = most / message.lambda.first().copied().unwrap_or(0.0).max(1e-9 * most).max(f64::MIN_POSITIVE);
        let on = 1.0 - prior(message.link).first().copied().unwrap_or(0.0);
        scores[message.link] = scores[message.link].max((on * (ratio - 1.0)).min(1.0));
    }
    scores
}

/// The messages to begin with: the prior one way, nothing the other.
pub(super) fn flat_start(prior: &[f64]) -> (Vec<f64>, Vec<f64>) {
    (prior.to_vec(), vec![1.0; prior.len()])
}

/// Puts cut links back, strongest first, where the cost stays within `cells`.
fn restored(graph: &Graph, fixed: &[bool], scores: &[f64], mut cut: Vec<bool>, cells: usize) -> Vec<bool> {
    let mut links: Vec<usize> = ranked(graph, fixed, scores).into_iter().filter(|&link| cut[link]).collect();
    links.reverse();
    for &link in links.iter().take(RESTORE_TRIES) {
        cut[link] = false;
        cut[link] = search(graph, &cut, 0).cells > cells as f64;
    }
    cut
}

/// The whole graph without cuts, where that is within the budget.
pub(super) fn whole(graph: &Graph, limits: &Limits) -> Option<Choice> {
    let cut = vec![false; graph.links.len()];
    let order = search(graph, &cut, limits.orders);
    (order.cells <= limits.cells as f64).then_some(Choice { cut, order })
}
