//! One query: compile, order, cut if need be, pass messages, read off.

use crate::model::network::{Observation, VarIx};

use super::base::Base;
use super::compile::{self, Form};
use super::cut::{self, Choice};
use super::eliminate::{Program, Upward};
use super::graph::{Graph, GraphLink};
use super::joins::{self, Joins};
use super::order::Order;
use super::posterior::Posterior;
use super::work::{self, Message, Reach, Work};
use super::{Accuracy, CutLink, Error, Limits};
use std::sync::Arc;

/// Where cancellation may have cost more than this, relative to the evidence, the chain form decides.
const CANCELED: f64 = 1e-11;
/// If the chain form is beyond the budget, this much is put up with: an exact answer is right to about as much.
const ROUNDED: f64 = 1e-9;
/// If the chain form is beyond [`DOUBT_CELLS`], this much is put up with rather than cutting; and where links are cut
/// anyway, which costs thousands of times more.
const TOLERABLE: f64 = 1e-7;

/// Messages that still change by more than this run to and fro.
const RESTLESS: f64 = 0.02;
/// Two ends of a cut link that agree less than this contradict each other, or nearly: a contradiction that only shows
/// over a cut link would be taken for a small chance.
const AT_ODDS: f64 = 1e-6;
/// The budget of a doubtful answer is raised by this much at a time,
const DOUBT_FACTOR: usize = 8;
/// as far as this.
const DOUBT_CELLS: usize = 1 << 21;

/// What a query wants.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Wanted {
    /// The evidence only.
    Evidence,
    /// Every marginal.
    Marginals,
}

/// The messages of a cut link and what they belong to.
#[derive(Clone, Debug)]
pub(super) struct Carried {
    pub(super) link: GraphLink,
    pub(super) message: Message,
}

/// How a query was settled in the star form: what another look at the same posterior needs not find again.
#[derive(Clone, Debug)]
pub(super) struct Trail {
    /// The star form as it stands, where its digits can be trusted.
    pub(super) standing: Option<Arc<Standing>>,
    cut: Vec<bool>,
    sequence: Vec<usize>,
    cells: f64,
    messages: Vec<Message>,
    last_change: f64,
    /// The relative error of the evidence, at most.
    error: f64,
}

/// The outcome of a query.
pub(super) struct Solved {
    pub(super) log_evidence: f64,
    /// For each network variable its posterior over all states, where the graph holds it.
    pub(super) marginals: Vec<Option<Vec<f64>>>,
    /// For each network variable a name for the part of the graph it hangs together with, where that is asked for.
    pub(super) component: Vec<Option<usize>>,
    pub(super) accuracy: Accuracy,
    /// The cells of the elimination.
    pub(super) cells: f64,
    pub(super) carried: Vec<Carried>,
    /// How the star form was settled, where its numbers are of use; it need not have given the answer.
    pub(super) trail: Option<Trail>,
}

/// A graph with its cuts settled and messages passed; the last up pass stands.
pub(super) struct Settled<'g> {
    pub(super) graph: &'g Graph,
    pub(super) work: Work<'g>,
    pub(super) upward: Upward,
    cut: Vec<bool>,
    sequence: Vec<usize>,
    cells: f64,
    last_change: f64,
    /// The relative error of the evidence, at most, where it is known from before.
    error: Option<f64>,
}

/// Answers a query, in the star form where its digits can be trusted and in the chain form elsewhere.
///
/// `carried` links are cut in any case and begin with their messages.
pub(super) fn solve(
    base: &Base,
    observations: &[Observation],
    limits: &Limits,
    wanted: Wanted,
    carried: &[Carried],
) -> Result<Solved, Error> {
    let graph = compile::graph(base, observations, Form::Star)?;
    let mut settled = settle(base, &graph, limits, carried)?;
    let error = settled.error();
    let mut trail = error.is_finite().then(|| settled.trail(error));
    if settled.is_trusted_with(error) {
        let solved = settled.read(base, wanted);
        let parts = settled.into_parts();
        if let Some(trail) = &mut trail {
            trail.standing = Some(Arc::new(parts.with(graph)));
        }
        return Ok(Solved { trail, ..solved });
    }
    let chain = compile::graph(base, observations, Form::Chain(&settled.joins()))?;
    let solved = match without_signs(base, &chain, limits, &settled, error)? {
        Some(mut settled) => settled.read(base, wanted),
        None => settled.read(base, wanted),
    };
    Ok(Solved { trail, ..solved })
}

/// The chain form of a query whose star form lost digits; `None` where the star form is put up with all the same.
fn without_signs<'g>(
    base: &Base,
    chain: &'g Graph,
    limits: &Limits,
    star: &Settled<'_>,
    error: f64,
) -> Result<Option<Settled<'g>>, Error> {
    let within = |cells| cut::whole(chain, &Limits { cells, ..*limits });
    let worth_more = !star.is_cut() && error > ROUNDED && limits.cells < DOUBT_CELLS;
    let more = || if worth_more { within(DOUBT_CELLS) } else { None };
    let settled = match within(limits.cells).or_else(more) {
        Some(choice) => settle_with(base, chain, limits, &[], choice),
        None if error <= TOLERABLE => return Ok(None),
        None if error.is_finite() => settle(base, chain, limits, &star.carried())?,
        None => settle(base, chain, limits, &[])?,
    };
    if settled.error() > TOLERABLE { Err(Error::Contradiction) } else { Ok(Some(settled)) }
}

/// Settles `observations` in the star form, along `trail` where there is one that fits.
pub(super) fn settle_star<'g>(
    base: &Base,
    star: &'g Graph,
    limits: &Limits,
    trail: Option<&Trail>,
) -> Result<Settled<'g>, Error> {
    match trail.and_then(|trail| resume(star, trail)) {
        Some(settled) => Ok(settled),
        None => settle(base, star, limits, &[]),
    }
}

/// A query settled for good: the graph, the passes over it and the up pass that stands.
#[derive(Debug)]
pub(super) struct Standing {
    pub(super) graph: Graph,
    pub(super) program: Program,
    pub(super) upward: Upward,
    /// As [`Work::weighing`] has it.
    pub(super) weighing: Vec<bool>,
    pub(super) accuracy: Accuracy,
    pub(super) log_evidence: f64,
    /// What takes the evidence of the passes to that of the observations.
    pub(super) offset_ln: f64,
    /// The cells of the elimination.
    pub(super) cells: f64,
}

/// Settles `observations` in a graph that has the `open` variables in it.
pub(super) fn stand(
    base: &Base,
    observations: &[Observation],
    open: &[VarIx],
    limits: &Limits,
) -> Result<Standing, Error> {
    let graph = compile::graph_with(base, observations, open, Form::Star)?;
    let settled = settle(base, &graph, limits, &[])?;
    let error = settled.error();
    if settled.is_trusted_with(error) {
        let parts = settled.into_parts();
        return Ok(parts.with(graph));
    }
    let chain = compile::graph_with(base, observations, open, Form::Chain(&settled.joins()))?;
    if let Some(settled) = without_signs(base, &chain, limits, &settled, error)? {
        let parts = settled.into_parts();
        return Ok(parts.with(chain));
    }
    let parts = settled.into_parts();
    Ok(parts.with(graph))
}

/// The same for what left `trail`: its cuts, messages and order serve again. `None` where they do not fit or the digits
/// cannot be trusted.
pub(super) fn stand_along(
    base: &Base,
    observations: &[Observation],
    open: &[VarIx],
    trail: &Trail,
) -> Result<Option<Standing>, Error> {
    let graph = compile::graph_with(base, observations, open, Form::Star)?;
    let Some(settled) = resume(&graph, trail).filter(Settled::is_trusted) else { return Ok(None) };
    let parts = settled.into_parts();
    Ok(Some(parts.with(graph)))
}

/// What stands of a settled graph but the graph.
pub(super) struct Parts {
    program: Program,
    upward: Upward,
    weighing: Vec<bool>,
    accuracy: Accuracy,
    log_evidence: f64,
    offset_ln: f64,
    cells: f64,
}

impl Parts {
    pub(super) fn with(self, graph: Graph) -> Standing {
        let Self { program, upward, weighing, accuracy, log_evidence, offset_ln, cells } = self;
        Standing { graph, program, upward, weighing, accuracy, log_evidence, offset_ln, cells }
    }
}

/// The cells of the best of so many orders of the star form without cuts.
pub(super) fn cells_uncut(base: &Base, observations: &[Observation], orders: usize) -> Result<f64, Error> {
    let graph = compile::graph(base, observations, Form::Star)?;
    Ok(cut::search(&graph, &vec![false; graph.links.len()], orders).cells)
}

/// Cuts where the budget asks for it, passes messages and leaves the last up pass standing. Where what comes of that is
/// doubtful the budget is raised, as far as [`DOUBT_CELLS`].
///
/// `carried` links are cut in any case and begin with their messages.
pub(super) fn settle<'g>(
    base: &Base,
    graph: &'g Graph,
    limits: &Limits,
    carried: &[Carried],
) -> Result<Settled<'g>, Error> {
    let fixed: Vec<bool> = known(graph, carried).iter().map(Option::is_some).collect();
    let choice = cut::choose(graph, limits, &fixed, |link| base.priors[graph.links[link].from.at()].as_slice())?;
    let settled = settle_with(base, graph, limits, carried, choice);
    if carried.is_empty() && limits.cells < DOUBT_CELLS && settled.is_doubtful() {
        let more = Limits { cells: limits.cells.saturating_mul(DOUBT_FACTOR).min(DOUBT_CELLS), ..*limits };
        return settle(base, graph, &more, carried);
    }
    Ok(settled)
}

/// For each link of the graph its message among `carried`.
fn known<'c>(graph: &Graph, carried: &'c [Carried]) -> Vec<Option<&'c Message>> {
    let message = |link: &GraphLink| carried.iter().find(|c| c.link.is_same(link)).map(|c| &c.message);
    graph.links.iter().map(message).collect()
}

/// Passes messages over the cuts chosen and leaves the last up pass standing.
pub(super) fn settle_with<'g>(
    base: &Base,
    graph: &'g Graph,
    limits: &Limits,
    carried: &[Carried],
    choice: Choice,
) -> Settled<'g> {
    let Choice { cut, order, messages } = choice;
    let mut known = known(graph, carried);
    for message in &messages {
        known[message.link].get_or_insert(message);
    }
    let prior = |link: usize| base.priors[graph.links[link].from.at()].as_slice();
    let start = |link: usize| match known[link] {
        Some(message) => (message.pi.clone(), message.lambda.clone()),
        None => cut::flat_start(prior(link)),
    };
    let mut work = Work::new(graph, &cut, &order.sequence, start, Reach::Nodes);
    let mut upward = work.up();
    let mut last_change = 0.0;
    if cut.contains(&true) {
        last_change = work.settle(&mut upward, limits.rounds);
    }
    Settled { graph, work, upward, cut, sequence: order.sequence, cells: order.cells, last_change, error: None }
}

/// Settles the star form of the observations that `trail` was left by: one up pass.
fn resume<'g>(graph: &'g Graph, trail: &Trail) -> Option<Settled<'g>> {
    let Trail { cut, sequence, messages, .. } = trail;
    if !trail.fits(graph) {
        return None;
    }
    let mut known: Vec<Option<&Message>> = vec![None; cut.len()];
    for message in messages {
        known[message.link] = Some(message);
    }
    let start = |link: usize| known[link].map_or((vec![], vec![]), |m| (m.pi.clone(), m.lambda.clone()));
    let work = Work::new(graph, cut, sequence, start, Reach::Nodes);
    let upward = work.up();
    let (cut, sequence) = (cut.clone(), sequence.clone());
    let Trail { cells, last_change, error, .. } = *trail;
    Some(Settled { graph, work, upward, cut, sequence, cells, last_change, error: Some(error) })
}

/// The natural log of the chance of `observations`, the first of which left `trail`: its cuts and its order serve again.
/// `None` where they do not fit or the digits cannot be trusted.
pub(super) fn log_evidence_along(
    base: &Base,
    observations: &[Observation],
    limits: &Limits,
    trail: &Trail,
) -> Result<Option<f64>, Error> {
    let graph = compile::graph(base, observations, Form::Star)?;
    if !trail.fits(&graph) {
        return Ok(None);
    }
    let order = Order { sequence: trail.sequence.clone(), cells: trail.cells };
    let choice = Choice { cut: trail.cut.clone(), order, messages: trail.messages.clone() };
    let settled = settle_with(base, &graph, limits, &[], choice);
    Ok(settled.is_trusted().then(|| settled.log_evidence()))
}

impl Trail {
    /// Whether `graph` has the nodes and links that this speaks of.
    fn fits(&self, graph: &Graph) -> bool {
        self.cut.len() == graph.links.len() && self.sequence.len() == graph.nodes.len()
    }
}

impl Settled<'_> {
    fn is_cut(&self) -> bool {
        self.cut.contains(&true)
    }

    /// Whether messages have not settled, or contradict each other.
    fn is_doubtful(&self) -> bool {
        self.is_cut() && (self.last_change > RESTLESS || self.work.agreement() < AT_ODDS)
    }

    /// A bound on the relative error of the evidence; infinite where the evidence is not above zero.
    pub(super) fn error(&self) -> f64 {
        if let Some(known) = self.error {
            return known;
        }
        let usable = self.log_evidence().is_finite() && self.upward.positive != self.graph.negative;
        let rough = self.work.program.rough_error(&self.upward);
        let error = if rough <= CANCELED { rough } else { self.work.program.errors(&self.upward).total };
        if usable && error.is_finite() { error } else { f64::INFINITY }
    }

    fn trail(&self, error: f64) -> Trail {
        let messages = self.work.messages();
        let (cut, sequence) = (self.cut.clone(), self.sequence.clone());
        Trail { standing: None, cut, sequence, cells: self.cells, messages, last_change: self.last_change, error }
    }

    /// Whether hardly a digit was lost to cancellation, or far less than to cuts.
    pub(super) fn is_trusted(&self) -> bool {
        self.is_trusted_with(self.error())
    }

    fn is_trusted_with(&self, error: f64) -> bool {
        error <= if self.is_cut() { TOLERABLE } else { CANCELED }
    }

    fn log_evidence(&self) -> f64 {
        self.upward.ln + self.offset_ln()
    }

    fn offset_ln(&self) -> f64 {
        self.graph.constant_ln - self.work.counted_twice_ln()
    }

    pub(super) fn into_parts(self) -> Parts {
        let (accuracy, offset_ln) = (self.accuracy(), self.offset_ln());
        let log_evidence = self.upward.ln + offset_ln;
        let (weighing, cells) = (self.work.weighing(), self.cells);
        Parts { program: self.work.program, upward: self.upward, weighing, accuracy, log_evidence, offset_ln, cells }
    }

    /// How the chain form is to bring inputs together to be little wider than this graph.
    pub(super) fn joins(&self) -> Joins {
        joins::follow(self.graph, &self.cut, &self.sequence)
    }

    pub(super) fn carried(&self) -> Vec<Carried> {
        let with_link = |message: Message| Carried { link: self.graph.links[message.link].clone(), message };
        self.work.messages().into_iter().map(with_link).collect()
    }

    pub(super) fn accuracy(&self) -> Accuracy {
        let cut: Vec<CutLink> = self
            .graph
            .links
            .iter()
            .zip(&self.cut)
            .filter(|&(_, &cut)| cut)
            .map(|(link, _)| CutLink { from: link.from, into: link.target })
            .collect();
        if cut.is_empty() {
            return Accuracy::Exact;
        }
        Accuracy::Cut { links: cut, last_change: self.last_change, agreement: self.work.agreement() }
    }

    fn read(&mut self, base: &Base, wanted: Wanted) -> Solved {
        let mut solved = Solved {
            log_evidence: self.log_evidence(),
            marginals: vec![None; base.parents.len()],
            component: vec![None; base.parents.len()],
            accuracy: self.accuracy(),
            cells: self.cells,
            carried: self.carried(),
            trail: None,
        };
        if wanted == Wanted::Evidence {
            return solved;
        }
        let down = self.work.down(&self.upward);
        solved.take(base, self.graph, |node| Some(work::marginal(&self.graph.nodes[node].unary, &down[node])));
        solved.take_components(self.graph);
        solved
    }
}

impl Solved {
    /// Takes the marginals of the graph's nodes over, where there are any.
    pub(super) fn take(&mut self, base: &Base, graph: &Graph, mut marginal: impl FnMut(usize) -> Option<Vec<f64>>) {
        for (at, node) in graph.nodes.iter().enumerate() {
            let Some(ix) = node.origin else { continue };
            let Some(marginal) = marginal(at) else { continue };
            let states = base.network.variable(ix).states.count();
            self.marginals[ix.at()] = Some(if marginal.len() == states {
                marginal
            } else {
                let mut all = vec![0.0; states];
                node.kept.iter().zip(marginal).for_each(|(&state, p)| all[state] = p);
                all
            });
        }
    }

    /// Takes over which parts of the graph its nodes are in.
    fn take_components(&mut self, graph: &Graph) {
        for (node, component) in graph.nodes.iter().zip(graph.components()) {
            if let Some(ix) = node.origin {
                self.component[ix.at()] = component;
            }
        }
    }
}

/// The evidence of `observations` relative to that of `posterior`, whose cut links stay cut with their messages.
pub(super) fn ratio(
    base: &Base,
    observations: &[Observation],
    limits: &Limits,
    posterior: &Posterior,
) -> Result<f64, Error> {
    let solved = solve(base, observations, limits, Wanted::Evidence, &posterior.carried);
    match solved {
        Ok(solved) => Ok(libm::exp(solved.log_evidence - posterior.log_evidence())),
        Err(Error::Contradiction) => Ok(0.0),
        Err(error) => Err(error),
    }
}

#[cfg(test)]
mod tests {
    use super::super::graph::Target;
    use super::*;
    use crate::model::network::{Literal, Mechanism, Network, Row, States, VarIx, Variable};

    /// Two roots; the first answer says that neither is on, the second that the first root is: each with `doubt` of being
    /// wrong. The first root's link into the first answer is cut.
    fn is_doubtful(doubt: f64) -> bool {
        let root = || Variable {
            name: "root".to_owned(),
            states: States::steady(1),
            mechanism: Mechanism::Table { parents: vec![], rows: vec![0.5, 0.5] },
        };
        let network = Network { slices: 1, variables: vec![root(), root()] };
        let answer = |read: &[u32], likelihood: f64, otherwise: f64| Observation::Rows {
            slice: 0,
            rows: vec![Row {
                any_of: read.iter().map(|&var| Literal { var: VarIx(var), on: true }).collect(),
                likelihood,
            }],
            otherwise,
        };
        let base = Base::new(&network).expect("a network");
        let answers = [answer(&[0, 1], doubt, 1.0), answer(&[0], 1.0, doubt)];
        let graph = compile::graph(&base, &answers, Form::Star).expect("possible");
        let cut: Vec<bool> = graph.links.iter().map(|l| (l.from, l.target) == (VarIx(0), Target::Answer(0))).collect();
        let order = cut::search(&graph, &cut, 0);
        let choice = Choice { cut, order, messages: vec![] };
        settle_with(&base, &graph, &Limits::default(), &[], choice).is_doubtful()
    }

    #[test]
    fn ends_that_contradict_each_other_are_doubtful() {
        assert!(!is_doubtful(0.2));
        assert!(is_doubtful(1e-20));
    }
}
