//! A query worked out once for many questions: other findings, the chance of events, every outcome of every check.

use crate::model::network::{Network, Observation, VarIx};

use super::base::Base;
use super::eliminate::{Errors, Upward};
use super::kernel::{LANES, Lanes};
use super::lanes::{self, Memory};
use super::posterior::Posterior;
use super::solve::{self, Solved, Standing};
use super::{Accuracy, Engine, Error, Limits, work};

/// Where cancellation may have cost more than this, relative to the evidence, the question is asked from the start.
pub(super) const CANCELED: f64 = 1e-10;

/// Observations worked into a network once, with some variables left open: every question about what is found out
/// about those is one pass and needs no search.
///
/// A question changes nothing here, so questions may be asked in any order.
#[derive(Debug)]
pub struct Prepared<'e> {
    pub(super) engine: &'e Engine,
    pub(super) observations: Vec<Observation>,
    open: Vec<bool>,
    pub(super) limits: Limits,
    pub(super) standing: Standing,
    /// What cancellation may have cost each table.
    pub(super) errors: Errors,
    /// Which finished table each table flows into.
    ends: Vec<usize>,
}

/// "Each of these variables is in one of these states."
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Event {
    /// Each variable once, ascending, and for each of its states whether it is allowed.
    pub(super) allowed: Vec<(VarIx, Vec<bool>)>,
}

impl Event {
    /// Anything.
    #[must_use]
    pub fn anything() -> Self {
        Self { allowed: vec![] }
    }

    /// `var` is on in `slice`; nothing allows that for a variable of unnamed states.
    ///
    /// # Panics
    /// Where `var` is not of this network: our bug.
    #[must_use]
    pub fn on(network: &Network, var: VarIx, slice: usize) -> Self {
        let states = network.variable(var).states.count();
        Self::anything().and(var, (0..states).map(|state| network.on_in(var, state).has(slice)).collect())
    }

    /// `var` is in `state`.
    ///
    /// # Panics
    /// Where `var` is not of this network: our bug.
    #[must_use]
    pub fn is(network: &Network, var: VarIx, state: usize) -> Self {
        let states = network.variable(var).states.count();
        Self::anything().and(var, (0..states).map(|other| other == state).collect())
    }

    /// The event as findings, one a variable.
    pub(super) fn findings(&self) -> Vec<Observation> {
        let finding = |(var, allowed): &(VarIx, Vec<bool>)| Observation::State {
            var: *var,
            likelihood: allowed.iter().map(|&allowed| f64::from(u8::from(allowed))).collect(),
        };
        self.allowed.iter().map(finding).collect()
    }

    /// The same where `var` is, besides, in one of the states allowed (one entry a state).
    #[must_use]
    pub fn and(mut self, var: VarIx, states: Vec<bool>) -> Self {
        match self.allowed.binary_search_by_key(&var, |&(var, _)| var) {
            Ok(at) => self.allowed[at].1.iter_mut().zip(states).for_each(|(allowed, also)| *allowed &= also),
            Err(at) => self.allowed.insert(at, (var, states)),
        }
        self
    }
}

impl<'e> Prepared<'e> {
    pub(super) fn new(
        engine: &'e Engine,
        observations: &[Observation],
        open: &[VarIx],
        limits: &Limits,
    ) -> Result<Self, Error> {
        let standing = solve::stand(&engine.base, observations, open, limits)?;
        Ok(Self::of(engine, standing, observations, open, limits))
    }

    /// The same for the observations of `posterior`: its cuts, its messages and its order serve again where they do.
    pub(super) fn along(
        engine: &'e Engine,
        posterior: &Posterior,
        observations: &[Observation],
        open: &[VarIx],
        limits: &Limits,
    ) -> Result<Self, Error> {
        let along = posterior.trail.as_ref().map(|trail| solve::stand_along(&engine.base, observations, open, trail));
        match along.transpose()?.flatten() {
            Some(standing) => Ok(Self::of(engine, standing, observations, open, limits)),
            None => Self::new(engine, observations, open, limits),
        }
    }

    fn of(
        engine: &'e Engine,
        standing: Standing,
        observations: &[Observation],
        open: &[VarIx],
        limits: &Limits,
    ) -> Self {
        let mut is_open = vec![false; engine.base.parents.len()];
        for var in open {
            is_open[var.at()] = true;
        }
        Self {
            engine,
            observations: observations.to_vec(),
            open: is_open,
            limits: *limits,
            ends: lanes::ends(&standing.program),
            errors: standing.program.errors(&standing.upward),
            standing,
        }
    }

    pub(super) fn base(&self) -> &Base {
        &self.engine.base
    }

    /// Exact, or which links were cut.
    #[must_use]
    pub fn accuracy(&self) -> &Accuracy {
        &self.standing.accuracy
    }

    /// The natural log of the chance of the observations.
    #[must_use]
    pub fn log_evidence(&self) -> f64 {
        self.standing.log_evidence
    }

    /// The multiplications and additions of one posterior where everything is changed.
    #[must_use]
    pub fn work(&self) -> usize {
        self.standing.program.work()
    }

    /// The posterior where `findings`, each about the state of one open variable, come on top of the observations:
    /// every variable that bears on them, every open one, every root. Where links are cut it is that of
    /// [`Engine::posterior`], whose cuts are chosen for the findings.
    ///
    /// Cost: one pass, over the tables that hang on what was found on the way up and over all on the way down; a new
    /// query where links are cut or cancellation cost digits.
    ///
    /// # Errors
    /// As [`Engine::posterior`]; [`Error::Observation`] for a finding about anything else.
    pub fn posterior(&self, findings: &[Observation]) -> Result<Posterior, Error> {
        self.found(findings, None)
    }

    /// Like [`Prepared::posterior`], of these variables only, the same to the last bit: each open, a root, or bearing on
    /// the observations. Where a new query is needed there may be others beside them.
    ///
    /// Cost: as there, but on the way down only over the tables between the evidence and `variables`.
    ///
    /// # Errors
    /// As [`Prepared::posterior`]; [`Error::Observation`] for a variable that is none of these.
    pub fn posterior_of(&self, findings: &[Observation], variables: &[VarIx]) -> Result<Posterior, Error> {
        let base = self.base();
        for &var in variables {
            let is_known = self.standing.graph.node_of.get(var.at()).copied().flatten().is_some();
            if !is_known && !base.parents.get(var.at()).is_some_and(Vec::is_empty) {
                return Err(self.not_open(var));
            }
        }
        self.found(findings, Some(variables))
    }

    /// The posterior of all that is known here, or of these variables.
    fn found(&self, findings: &[Observation], variables: Option<&[VarIx]>) -> Result<Posterior, Error> {
        self.base().check_observations(findings)?;
        let Standing { graph, program, upward, .. } = &self.standing;
        let mut changed: Vec<(usize, Vec<f64>)> = Vec::with_capacity(findings.len());
        for finding in findings {
            let Observation::State { var, likelihood } = finding else {
                return Err(Error::Observation("expected findings about single variables, found rows".to_owned()));
            };
            let node = self.node(*var)?;
            let kept = &graph.nodes[node].kept;
            let at = changed.iter().position(|&(other, _)| other == node).unwrap_or_else(|| {
                changed.push((node, graph.nodes[node].unary.clone()));
                changed.len() - 1
            });
            changed[at].1.iter_mut().zip(kept).for_each(|(u, &state)| *u *= likelihood[state]);
        }
        if self.standing.accuracy != Accuracy::Exact {
            let all: Vec<Observation> = self.observations.iter().chain(findings).cloned().collect();
            return self.engine.posterior(&all, &self.limits);
        }
        let upward = program.up_changed(upward, &changed);
        let usable = upward.ln.is_finite() && upward.positive != graph.negative;
        if !usable || !self.is_trusted(&upward, &changed) {
            return self.asked_anew(findings);
        }
        let mut own: Vec<&[f64]> = graph.nodes.iter().map(|node| node.unary.as_slice()).collect();
        for (node, unary) in &changed {
            own[*node] = unary;
        }
        let asked = variables.map(|variables| {
            let nodes: Vec<usize> = variables.iter().filter_map(|var| graph.node_of[var.at()]).collect();
            lanes::on_the_way(program, &nodes)
        });
        let is_asked = |table: usize| asked.as_ref().is_none_or(|asked| asked[table]);
        // Nothing is passed to nodes of one state.
        let settled = |node: usize| (own[node].len() == 1 && is_asked(node + 1)).then(|| vec![1.0]);
        let mut marginals: Vec<Option<Vec<f64>>> = (0..own.len()).map(settled).collect();
        program.down_each(&upward, own.len(), is_asked, |node, adjoint| {
            marginals[node] = Some(work::marginal(own[node], adjoint));
        });
        Ok(self.read(&self.standing, upward.ln, variables, |node| marginals[node].take()))
    }

    /// A posterior from a settled query and its marginals.
    fn read(
        &self,
        standing: &Standing,
        ln: f64,
        variables: Option<&[VarIx]>,
        marginal: impl FnMut(usize) -> Option<Vec<f64>>,
    ) -> Posterior {
        let n = self.base().parents.len();
        let mut solved = Solved {
            log_evidence: ln + standing.offset_ln,
            marginals: vec![None; n],
            component: vec![],
            accuracy: standing.accuracy.clone(),
            cells: standing.cells,
            carried: vec![],
            trail: None,
        };
        solved.take(self.base(), &standing.graph, marginal);
        match variables {
            Some(variables) => Posterior::with_roots(self.base(), solved, variables.iter().map(|var| var.at())),
            None => Posterior::with_roots(self.base(), solved, 0..n),
        }
    }

    /// Whether hardly a digit was lost to cancellation.
    ///
    /// A finding makes no number larger than it was, so that the absolute error stays within that of the observations
    /// alone; only where the findings are too unlikely for that to say enough the errors are followed through.
    fn is_trusted(&self, upward: &Upward, changed: &[(usize, Vec<f64>)]) -> bool {
        let Standing { graph, program, upward: plain, .. } = &self.standing;
        let most = |(node, unary): &(usize, Vec<f64>)| {
            let own = &graph.nodes[*node].unary;
            unary.iter().zip(own).filter(|&(_, &o)| o != 0.0).map(|(u, o)| (u / o).abs()).fold(1.0, f64::max)
        };
        let growth: f64 = changed.iter().map(most).product();
        let known = self.errors.total * growth * libm::exp(plain.ln - upward.ln);
        known <= CANCELED
            || program.errors_changed(upward, &self.errors, changed.iter().map(|&(node, _)| node)) <= CANCELED
    }

    fn asked_anew(&self, findings: &[Observation]) -> Result<Posterior, Error> {
        let all: Vec<Observation> = self.observations.iter().chain(findings).cloned().collect();
        let open: Vec<VarIx> =
            (0..).map(VarIx).zip(&self.open).filter(|&(_, &open)| open).map(|(var, _)| var).collect();
        let standing = solve::stand(self.base(), &all, &open, &self.limits)?;
        let down = standing.program.down(&standing.upward, &mut vec![]);
        let nodes = &standing.graph.nodes;
        let marginal = |node: usize| Some(work::marginal(&nodes[node].unary, &down[node]));
        Ok(self.read(&standing, standing.upward.ln, None, marginal))
    }

    /// The node of an open variable.
    pub(super) fn node(&self, var: VarIx) -> Result<usize, Error> {
        if !self.open.get(var.at()).copied().unwrap_or(false) {
            return Err(self.not_open(var));
        }
        Ok(self.standing.graph.node_of[var.at()].expect("open variables are in the graph"))
    }

    fn not_open(&self, var: VarIx) -> Error {
        let name = self.base().network.variables.get(var.at()).map_or("?", |variable| variable.name.as_str());
        Error::Observation(format!("expected an open variable, found `{name}`"))
    }

    /// The chance of each event given the observations.
    ///
    /// Cost: one up pass for each eight events, over what hangs on their variables.
    /// Absolute error: rounding, about 1e-15; more where links are cut.
    ///
    /// # Errors
    /// [`Error::Observation`] for an event about a variable that is not open.
    pub fn chances_of(&self, events: &[Event]) -> Result<Vec<f64>, Error> {
        let mut memory = Memory::default();
        let mut chances = vec![0.0; events.len()];
        for batch in self.batches(events) {
            let changed = self.changed(events, &batch)?;
            let upward = lanes::up(&self.standing.program, &self.standing.upward, &changed, &mut memory);
            for (&event, chance) in batch.iter().zip(upward.evidence()) {
                chances[event] = chance.clamp(0.0, 1.0);
            }
            upward.release(&mut memory);
        }
        Ok(chances)
    }

    /// For each event, in turn, the chance of it together with each target, and that of the event itself last.
    pub(super) fn joint(&self, events: &[Event], targets: &[Event]) -> Result<Vec<f64>, Error> {
        self.joint_of(events, &self.asked(targets)?)
    }

    pub(super) fn joint_of(&self, events: &[Event], asked: &[Asked]) -> Result<Vec<f64>, Error> {
        let Standing { graph, program, upward: plain, .. } = &self.standing;
        let width = asked.len() + 1;
        let mut joint = vec![0.0; events.len() * width];
        let inputs: Vec<usize> = asked.iter().filter_map(|asked| asked.node).collect();
        let wanted = lanes::on_the_way(program, &inputs);
        let mut targets_of = vec![vec![]; graph.nodes.len()];
        for (at, asked) in asked.iter().enumerate() {
            if let Some(node) = asked.node {
                targets_of[node].push(at);
            }
        }
        let mut memory = Memory::default();
        for batch in self.batches(events) {
            let changed = self.changed(events, &batch)?;
            let upward = lanes::up(program, plain, &changed, &mut memory);
            let evidence = upward.evidence();
            for (&event, chance) in batch.iter().zip(evidence) {
                let row = &mut joint[event * width..][..width];
                row.iter_mut().zip(asked).for_each(|(cell, asked)| *cell = asked.alone * chance);
                row[width - 1] = chance;
            }
            lanes::down(program, plain, &upward, &wanted, &self.ends, &mut memory, |node, adjoint, scale| {
                let Some(of_node) = targets_of.get(node) else { return };
                let own = changed.iter().find(|(input, _)| *input == node).map(|(_, table)| table);
                for &at in of_node {
                    let mut on = Lanes::default();
                    for (state, &weight) in asked[at].on.iter().enumerate().filter(|&(_, &weight)| weight > 0.0) {
                        on += match own {
                            Some(table) => adjoint[state] * table[state] * (weight * scale),
                            None => adjoint[state] * (graph.nodes[node].unary[state] * weight * scale),
                        };
                    }
                    for (&event, chance) in batch.iter().zip(on.0) {
                        joint[event * width + at] = chance;
                    }
                }
            });
            upward.release(&mut memory);
        }
        Ok(joint)
    }

    /// How each target is read.
    pub(super) fn asked(&self, targets: &[Event]) -> Result<Vec<Asked>, Error> {
        let Standing { graph, program, upward, .. } = &self.standing;
        let down = program.down(upward, &mut vec![]);
        let base = self.base();
        let mut asked = Vec::with_capacity(targets.len());
        for target in targets {
            let [(var, allowed)] = target.allowed.as_slice() else {
                return Err(Error::Observation("expected targets of one variable each".to_owned()));
            };
            let Some(variable) = base.network.variables.get(var.at()) else {
                return Err(Error::Observation("expected a variable of this network".to_owned()));
            };
            let weight = |state: usize| f64::from(u8::from(allowed.get(state).copied().unwrap_or(false)));
            asked.push(match graph.node_of[var.at()] {
                Some(node) => {
                    let on: Vec<f64> = graph.nodes[node].kept.iter().map(|&state| weight(state)).collect();
                    let marginal = work::marginal(&graph.nodes[node].unary, &down[node]);
                    let alone = on.iter().zip(&marginal).map(|(o, p)| o * p).sum();
                    Asked { node: Some(node), on, alone }
                }
                None if base.parents[var.at()].is_empty() => {
                    let alone = base.priors[var.at()].iter().enumerate().map(|(state, p)| p * weight(state)).sum();
                    Asked { node: None, on: vec![], alone }
                }
                None => {
                    return Err(Error::Observation(format!("expected an open variable, found `{}`", variable.name)));
                }
            });
        }
        Ok(asked)
    }

    /// Events in batches of one pass each: neighbors in the order of the elimination go together, so that they hang on
    /// the same tables.
    fn batches(&self, events: &[Event]) -> Vec<Vec<usize>> {
        let mut place = vec![0; self.standing.graph.nodes.len()];
        for (at, bucket) in self.standing.program.buckets().iter().enumerate() {
            place[bucket.variable] = at;
        }
        let key = |event: &Event| -> Vec<usize> {
            let nodes = event.allowed.iter().filter_map(|(var, _)| self.standing.graph.node_of[var.at()]);
            let mut places: Vec<usize> = nodes.map(|node| place[node]).collect();
            places.sort_unstable();
            places
        };
        let mut order: Vec<(Vec<usize>, usize)> = events.iter().map(key).zip(0..).collect();
        order.sort_unstable();
        order.chunks(LANES).map(|batch| batch.iter().map(|&(_, event)| event).collect()).collect()
    }

    /// The tables that a batch of events changes.
    pub(super) fn changed(&self, events: &[Event], batch: &[usize]) -> Result<Vec<(usize, Vec<Lanes>)>, Error> {
        let mut changed: Vec<(usize, Vec<Lanes>)> = Vec::new();
        for (lane, &event) in batch.iter().enumerate() {
            for (var, allowed) in &events[event].allowed {
                let node = self.node(*var)?;
                let node_of_graph = &self.standing.graph.nodes[node];
                let at = changed.iter().position(|&(other, _)| other == node).unwrap_or_else(|| {
                    changed.push((node, node_of_graph.unary.iter().map(|&u| Lanes::all(u)).collect()));
                    changed.len() - 1
                });
                for (cell, &state) in changed[at].1.iter_mut().zip(&node_of_graph.kept) {
                    if !allowed.get(state).copied().unwrap_or(false) {
                        cell.0[lane] = 0.0;
                    }
                }
            }
        }
        Ok(changed)
    }
}

/// How a target is read off a pass.
pub(super) struct Asked {
    node: Option<usize>,
    /// For each state left whether the target is on.
    on: Vec<f64>,
    /// Its chance given the observations alone.
    alone: f64,
}
