//! Which links to cut where the whole graph is beyond the budget: weakest first, then the strongest put back wherever
//! an order within the budget still exists.
//!
//! How strong a link is depends on all that was answered. A symptom that nobody named hardly tells its causes apart; a
//! row of a check that explains the answer matters however rare its cause is. So small networks are solved first, and
//! each link is weighed by what its two ends still have to tell each other there ([`Work::couplings`]). The first one
//! is cut by priors alone, which can be far off; the second by what the first one found.

use super::filled::Filled;
use super::graph::Graph;
use super::order::{self, Order};
use super::work::{self, Message, Reach, Work};
use super::{Error, Limits};

/// Shares of the budget that one link may take up when it is put back, one for each order looked at: what costs next to
/// nothing first, so that a strong link that costs much does not shut out a hundred that do not.
const ALLOWANCES: [f64; 8] = [1.0 / 4096.0, 1.0 / 512.0, 1.0 / 64.0, 1.0 / 8.0, 1.0, 1.0, 1.0, 1.0];
/// What a long search for an order gains over the plain one, at most: a factor of 2^5.8 was measured on two cylinders.
const LONG_SEARCH_GAIN: usize = 64;
/// The same for a search of a few orders. In 48 simulated jobs on one to three cylinders it brought within the budget 6 of 88
/// posteriors whose plain order was within this, and none of the 192 that were beyond.
const SEARCH_GAIN: usize = 4;
/// From so many orders on a search is long.
const LONG_SEARCH: usize = 100;
/// The number of links cut at first is found to this share of all: what is cut too much is put back afterwards.
const COARSE: usize = 16;
/// Shares of the budget of the small networks that tell which links matter, in turn.
const SCOUT_SHARES: [f64; 2] = [1.0 / 8.0, 1.0 / 4.0];
/// Rounds of messages in a small network.
const SCOUT_ROUNDS: usize = 3;
/// How much of its strength times its source's chance counts for a link beside its coupling, which is only what the
/// messages at hand make of it. Measured: less lets single cases go wrong, more wastes the budget.
const CAUTION: f64 = 0.01;

/// The links cut and an order for what is left.
pub(super) struct Choice {
    pub(super) cut: Vec<bool>,
    pub(super) order: Order,
    /// What a small network made of the messages over links it had cut.
    pub(super) messages: Vec<Message>,
}

/// Chooses the cuts. `fixed` links are cut in any case; `prior` gives the distribution of a link's variable.
pub(super) fn choose<'a>(
    graph: &Graph,
    limits: &Limits,
    fixed: &[bool],
    prior: impl Fn(usize) -> &'a [f64],
) -> Result<Choice, Error> {
    if let Some(choice) = without_more(graph, limits, fixed) {
        return Ok(choice);
    }
    let on = |distribution: &[f64]| 1.0 - distribution.first().copied().unwrap_or(0.0);
    let by_prior: Vec<f64> = graph.links.iter().enumerate().map(|(at, link)| link.strength * on(prior(at))).collect();
    let mut scores = by_prior;
    let mut messages = vec![];
    for (nth, share) in SCOUT_SHARES.into_iter().enumerate() {
        let cells = (limits.cells as f64 * share) as usize;
        let Ok(scout) = weakest(graph, fixed, &scores, cells) else { continue };
        // Priors are too rough to spend a search on.
        let scout = if nth == 0 { scout } else { restored(graph, fixed, &scores, scout, cells, &ALLOWANCES[2..6]) };
        if let Some(found) = weighed(graph, &scout, &prior) {
            (scores, messages) = found;
        }
    }
    let choice = weakest(graph, fixed, &scores, limits.cells)?;
    Ok(restored(graph, fixed, &scores, Choice { messages, ..choice }, limits.cells, &ALLOWANCES))
}

/// The best of so many orders beside the plain one, where `cut` links are gone.
pub(super) fn search(graph: &Graph, cut: &[bool], tries: usize) -> Order {
    search_within(graph, cut, tries, f64::INFINITY).expect("there is no bound")
}

/// The same; `None` where the plain order is beyond `bound` cells.
fn search_within(graph: &Graph, cut: &[bool], tries: usize, bound: f64) -> Option<Order> {
    let scopes = work::scopes(graph, cut);
    order::search(&graph.cards(), scopes.iter().map(Vec::as_slice), tries, bound)
}

/// The links that still stand in a table, weakest first.
fn ranked(graph: &Graph, fixed: &[bool], scores: &[f64]) -> Vec<usize> {
    let mut alive = vec![false; graph.links.len()];
    graph.factors.iter().flat_map(|factor| factor.links.iter().flatten()).for_each(|&link| alive[link] = true);
    let mut links: Vec<usize> = (0..alive.len()).filter(|&link| alive[link] && !fixed[link]).collect();
    links.sort_by(|&a, &b| scores[a].total_cmp(&scores[b]));
    links
}

/// Cuts about as few of the weakest links as bring the cost within `cells`.
fn weakest(graph: &Graph, fixed: &[bool], scores: &[f64], cells: usize) -> Result<Choice, Error> {
    let links = ranked(graph, fixed, scores);
    let cut_first = |n: usize| {
        let mut cut = fixed.to_vec();
        for &link in &links[..n] {
            cut[link] = true;
        }
        cut
    };
    let (mut few, mut enough) = (0, links.len());
    let mut cut = cut_first(enough);
    let mut order = search(graph, &cut, 0);
    if order.cells > cells as f64 {
        return Err(too_wide(graph, &cut, &order, cells));
    }
    while enough - few > (links.len() / COARSE).max(1) {
        let middle = usize::midpoint(few, enough);
        let fewer = cut_first(middle);
        match search_within(graph, &fewer, 0, cells as f64) {
            Some(found) => (enough, cut, order) = (middle, fewer, found),
            None => few = middle,
        }
    }
    Ok(Choice { cut, order, messages: vec![] })
}

fn too_wide(graph: &Graph, cut: &[bool], order: &Order, cells: usize) -> Error {
    let scopes = work::scopes(graph, cut);
    let widest = order::widest(&graph.cards(), scopes.iter().map(Vec::as_slice), &order.sequence);
    let mut variables: Vec<_> = widest.iter().flat_map(|&node| graph.nodes[node].about.clone()).collect();
    variables.sort_unstable();
    variables.dedup();
    Error::TooWide { needed: order.cells, allowed: cells, variables }
}

/// Scores that know the answers, by a small network with some links cut, and the messages over those as they then
/// stand. `None` where its numbers are of no use.
fn weighed<'a>(graph: &Graph, scout: &Choice, prior: &impl Fn(usize) -> &'a [f64]) -> Option<(Vec<f64>, Vec<Message>)> {
    let start = |link| flat_start(prior(link));
    let mut work = Work::new(graph, &scout.cut, &scout.order.sequence, start, Reach::Links);
    let mut upward = work.up();
    work.settle(&mut upward, SCOUT_ROUNDS);
    let down = work.down(&upward);
    if down.iter().flatten().any(|d| !d.is_finite()) {
        return None;
    }
    let mut scores = work.couplings(&down);
    let marginals = work.marginals(&down);
    for factor in &graph.factors {
        for (&node, link) in factor.scope.iter().zip(&factor.links) {
            let Some(link) = *link else { continue };
            let off = graph.nodes[node].kept.iter().position(|&state| state == 0);
            let posterior = 1.0 - off.map_or(0.0, |at| marginals[node][at]);
            scores[link] += CAUTION * graph.links[link].strength * posterior;
        }
    }
    Some((scores, work.messages()))
}

/// The messages to begin with: the prior one way, nothing the other.
pub(super) fn flat_start(prior: &[f64]) -> (Vec<f64>, Vec<f64>) {
    (prior.to_vec(), vec![1.0; prior.len()])
}

/// Puts cut links back, strongest first, where the cost stays within `cells`.
///
/// Each order that is looked at takes back what it has room for; a link that one has no room for another may have.
fn restored(graph: &Graph, fixed: &[bool], scores: &[f64], choice: Choice, cells: usize, allowances: &[f64]) -> Choice {
    let Choice { mut cut, mut order, messages } = choice;
    let strongest_first: Vec<usize> = ranked(graph, fixed, scores).into_iter().rev().collect();
    let places = places(graph);
    let cards = graph.cards();
    let cells = cells as f64;
    for &allowance in allowances {
        let tables = work::scopes(graph, &cut);
        let mut filled = Filled::of(&cards, tables.iter().map(Vec::as_slice), &order.sequence);
        let mut back = 0;
        for &link in &strongest_first {
            if !cut[link] {
                continue;
            }
            cut[link] = false;
            let bound = (filled.cells + allowance * cells).min(cells);
            let mut ends = places[link].iter();
            let fits = ends.all(|&(at, node)| filled.connect_within(node, kept(graph, &cut, at), bound));
            cut[link] = !fits;
            back += usize::from(!cut[link]);
        }
        order.cells = filled.cells;
        if back == 0 {
            // The order has been searched for, with just these cuts.
            if allowance == 1.0 {
                break;
            }
            continue;
        }
        let other = search(graph, &cut, 0);
        if other.cells < order.cells {
            order = other;
        }
    }
    Choice { cut, order, messages }
}

/// For each link the tables it enters and the node it enters them by.
fn places(graph: &Graph) -> Vec<Vec<(usize, usize)>> {
    let mut places = vec![vec![]; graph.links.len()];
    for (at, factor) in graph.factors.iter().enumerate() {
        for (&node, link) in factor.scope.iter().zip(&factor.links) {
            if let Some(link) = *link {
                places[link].push((at, node));
            }
        }
    }
    places
}

/// The nodes that a table keeps.
fn kept<'a>(graph: &'a Graph, cut: &'a [bool], factor: usize) -> impl Iterator<Item = usize> + 'a {
    let factor = &graph.factors[factor];
    factor.scope.iter().zip(&factor.links).filter(|(_, link)| link.is_none_or(|link| !cut[link])).map(|(&node, _)| node)
}

/// The whole graph without cuts, where that is within the budget.
pub(super) fn whole(graph: &Graph, limits: &Limits) -> Option<Choice> {
    without_more(graph, limits, &vec![false; graph.links.len()])
}

/// No cuts beyond `fixed`, where that is within the budget; not searched for where the plain order is far beyond it.
fn without_more(graph: &Graph, limits: &Limits, fixed: &[bool]) -> Option<Choice> {
    let gain = if limits.orders < LONG_SEARCH { SEARCH_GAIN } else { LONG_SEARCH_GAIN };
    let order = search_within(graph, fixed, limits.orders, limits.cells.saturating_mul(gain) as f64)?;
    (order.cells <= limits.cells as f64).then(|| Choice { cut: fixed.to_vec(), order, messages: vec![] })
}
