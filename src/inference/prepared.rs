//! A query worked out once for many questions: other findings, the chance of events, every outcome of every check.

use crate::model::network::{Literal, Mechanism, Network, Observation, Row, States, VarIx};

use super::base::Base;
use super::eliminate::{Errors, Upward};
use super::kernel::{LANES, Lanes};
use super::lanes::{self, Memory};
use super::posterior::Posterior;
use super::solve::{self, Solved, Standing};
use super::{Accuracy, Engine, Error, Limits, work};

/// Where cancellation may have cost more than this, relative to the evidence, the question is asked from the start.
const CANCELED: f64 = 1e-10;
/// An outcome less likely than this is asked for by itself: what is left of it after subtracting has too few digits.
const RARE: f64 = 1e-6;
/// So many checks share their events, which bounds the memory that the events take.
const CHECKS_AT_ONCE: usize = 128;

/// Observations worked into a network once, with some variables left open: every question about what is found out
/// about those is one pass and needs no search.
///
/// A question changes nothing here, so questions may be asked in any order.
#[derive(Debug)]
pub struct Prepared<'e> {
    engine: &'e Engine,
    observations: Vec<Observation>,
    open: Vec<bool>,
    limits: Limits,
    standing: Standing,
    /// What cancellation may have cost each table.
    errors: Errors,
    /// Which finished table each table flows into.
    ends: Vec<usize>,
}

/// "Each of these variables is in one of these states."
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Event {
    /// Each variable once, ascending, and for each of its states whether it is allowed.
    allowed: Vec<(VarIx, Vec<bool>)>,
}

/// A check that has no answer yet.
#[derive(Clone, Debug, PartialEq)]
pub enum OpenCheck {
    /// A variable given by a table, on which nothing depends and which is not observed; its states are the outcomes.
    Variable(VarIx),
    /// Rows read first-true-first.
    Rows {
        /// The slice in which it would be made.
        slice: usize,
        /// The rows; a row holds where any of its literals does.
        rows: Vec<Vec<Literal>>,
        /// For each outcome its chance under each row, then where no row holds.
        chances: Vec<Vec<f64>>,
    },
}

/// The chance of every target for every outcome of every open check.
#[derive(Clone, Debug, PartialEq)]
pub struct ByOutcome {
    targets: usize,
    /// For each check where its outcomes begin.
    starts: Vec<usize>,
    chances: Vec<f64>,
    posteriors: Vec<f64>,
}

impl ByOutcome {
    /// How many outcomes `check` has.
    ///
    /// # Panics
    /// Where there is no such check: our bug.
    #[must_use]
    pub fn outcomes(&self, check: usize) -> usize {
        self.starts[check + 1] - self.starts[check]
    }

    /// The chance of an outcome given the observations.
    ///
    /// # Panics
    /// Where there is no such check or outcome: our bug.
    #[must_use]
    pub fn chance(&self, check: usize, outcome: usize) -> f64 {
        self.chances[self.starts[check] + outcome]
    }

    /// The chance of each target, in the order asked for, given the observations and the outcome; zeros for an outcome
    /// that cannot be.
    ///
    /// # Panics
    /// Where there is no such check or outcome: our bug.
    #[must_use]
    pub fn targets(&self, check: usize, outcome: usize) -> &[f64] {
        let at = self.starts[check] + outcome;
        &self.posteriors[at * self.targets..(at + 1) * self.targets]
    }

    /// What [`ByOutcome::targets`] gives, for all outcomes of the first check, then of the second and so on; no copy is
    /// made.
    #[must_use]
    pub fn into_targets(self) -> Vec<f64> {
        self.posteriors
    }
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

    fn base(&self) -> &Base {
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
        let down = program.down(&upward, &mut vec![]);
        let mut own: Vec<&[f64]> = graph.nodes.iter().map(|node| node.unary.as_slice()).collect();
        for (node, unary) in &changed {
            own[*node] = unary;
        }
        Ok(self.read(&self.standing, upward.ln, |node| work::marginal(own[node], &down[node])))
    }

    /// A posterior from a settled query and its marginals.
    fn read(&self, standing: &Standing, ln: f64, marginal: impl Fn(usize) -> Vec<f64>) -> Posterior {
        let n = self.base().parents.len();
        let mut solved = Solved {
            log_evidence: ln + standing.offset_ln,
            marginals: vec![None; n],
            component: vec![None; n],
            accuracy: standing.accuracy.clone(),
            cells: standing.cells,
            carried: vec![],
            trail: None,
        };
        solved.take(self.base(), &standing.graph, marginal);
        Posterior::with_roots(self.base(), solved)
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
        Ok(self.read(&standing, standing.upward.ln, |node| work::marginal(&nodes[node].unary, &down[node])))
    }

    /// The node of an open variable.
    fn node(&self, var: VarIx) -> Result<usize, Error> {
        if !self.open.get(var.at()).copied().unwrap_or(false) {
            let name = self.base().network.variables.get(var.at()).map_or("?", |variable| variable.name.as_str());
            return Err(Error::Observation(format!("expected an open variable, found `{name}`")));
        }
        Ok(self.standing.graph.node_of[var.at()].expect("open variables are in the graph"))
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

    fn joint_of(&self, events: &[Event], asked: &[Asked]) -> Result<Vec<f64>, Error> {
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
    fn asked(&self, targets: &[Event]) -> Result<Vec<Asked>, Error> {
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
    fn changed(&self, events: &[Event], batch: &[usize]) -> Result<Vec<(usize, Vec<Lanes>)>, Error> {
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

    /// The chance of each target (an event about one variable: a cause is on), for every outcome of every check. The
    /// targets must be about roots or what bears on what was observed or is open; what the checks read must be open.
    ///
    /// Every answer to a check is a sum over a few events, shared between checks: "none of the first r rows holds", or
    /// "this parent is in that state, and that one in this". Each event costs a lane of a pass.
    ///
    /// Absolute error of a posterior: about 1e-15 over the chance of the outcome; outcomes rarer than one in a million
    /// are asked for one by one.
    ///
    /// # Errors
    /// [`Error::Observation`] for a check that does not fit the network or reads what is not open; otherwise as
    /// [`Engine::posterior`].
    ///
    /// # Panics
    /// Where an event that was just listed is not in the list: our bug.
    pub fn by_outcome(&self, checks: &[OpenCheck], targets: &[Event]) -> Result<ByOutcome, Error> {
        let terms: Vec<Terms> = checks.iter().map(|check| self.terms(check)).collect::<Result<_, _>>()?;
        let outcomes: usize = terms.iter().map(|terms| outcomes_of(terms)).sum();
        let mut answer = ByOutcome {
            targets: targets.len(),
            starts: vec![0],
            chances: Vec::with_capacity(outcomes),
            posteriors: Vec::with_capacity(outcomes * targets.len()),
        };
        let asked = self.asked(targets)?;
        for (checks, terms) in checks.chunks(CHECKS_AT_ONCE).zip(terms.chunks(CHECKS_AT_ONCE)) {
            self.mix(checks, terms, targets, &asked, &mut answer)?;
        }
        Ok(answer)
    }

    /// The outcomes of some checks from the chances of the events that they share.
    fn mix(
        &self,
        checks: &[OpenCheck],
        terms: &[Terms],
        targets: &[Event],
        asked: &[Asked],
        answer: &mut ByOutcome,
    ) -> Result<(), Error> {
        let mut events: Vec<Event> = terms.iter().flatten().map(|(event, _)| event.clone()).collect();
        events.sort_unstable();
        events.dedup();
        let joint = self.joint_of(&events, asked)?;
        let width = targets.len() + 1;
        let mut sums = vec![0.0; width];
        let mut lost = vec![None; events.len()];
        for (check, terms) in checks.iter().zip(terms) {
            for outcome in 0..outcomes_of(terms) {
                sums.fill(0.0);
                let mut parts: Vec<(usize, f64)> = Vec::with_capacity(terms.len());
                for (event, by_outcome) in terms {
                    let factor = by_outcome[outcome];
                    if factor != 0.0 {
                        let at = events.binary_search(event).expect("put in above");
                        sums.iter_mut().zip(&joint[at * width..][..width]).for_each(|(s, j)| *s += factor * j);
                        parts.push((at, factor));
                    }
                }
                let chance = sums[width - 1];
                if chance >= RARE && self.tells(chance, &parts, &events, &mut lost)? {
                    answer.chances.push(chance);
                    answer.posteriors.extend(sums[..width - 1].iter().map(|s| (s / chance).clamp(0.0, 1.0)));
                } else {
                    self.rare(check, outcome, targets, answer)?;
                }
            }
            answer.starts.push(answer.chances.len());
        }
        Ok(())
    }

    /// Whether what stands tells enough about an outcome of this chance, the sum of `parts` (an event and its factor):
    /// the digits that were lost weigh more the rarer it is. Where links are cut, the cut costs far more than they do.
    ///
    /// `lost` keeps what was lost of each event once that was asked for.
    fn tells(
        &self,
        chance: f64,
        parts: &[(usize, f64)],
        events: &[Event],
        lost: &mut [Option<f64>],
    ) -> Result<bool, Error> {
        if self.standing.accuracy != Accuracy::Exact || self.errors.total <= CANCELED * chance {
            return Ok(true);
        }
        let mut all = 0.0;
        for &(at, factor) in parts {
            let of_event = match lost[at] {
                Some(known) => known,
                None => *lost[at].insert(self.lost(&events[at])?),
            };
            all += factor.abs() * of_event;
        }
        Ok(all <= CANCELED * chance)
    }

    /// What cancellation may have cost the chance of `event`, alone or together with a target: never more than it cost
    /// that of the observations, and as a rule less the rarer the event is.
    fn lost(&self, event: &Event) -> Result<f64, Error> {
        let Standing { graph, program, upward: plain, .. } = &self.standing;
        if event.allowed.is_empty() {
            return Ok(self.errors.total);
        }
        let first_lane = |(node, table): (usize, Vec<Lanes>)| (node, table.iter().map(|lanes| lanes.0[0]).collect());
        let changed: Vec<(usize, Vec<f64>)> =
            self.changed(std::slice::from_ref(event), &[0])?.into_iter().map(first_lane).collect();
        let upward = program.up_changed(plain, &changed);
        if !upward.ln.is_finite() || upward.positive == graph.negative {
            return Ok(self.errors.total);
        }
        let relative = program.errors_changed(&upward, &self.errors, changed.iter().map(|&(node, _)| node));
        Ok((relative * libm::exp(upward.ln - plain.ln)).min(self.errors.total))
    }

    /// A rare outcome, asked for by itself.
    fn rare(&self, check: &OpenCheck, outcome: usize, targets: &[Event], answer: &mut ByOutcome) -> Result<(), Error> {
        let mut observations = self.observations.clone();
        observations.push(self.answered(check, outcome));
        let asked: Vec<VarIx> =
            targets.iter().filter_map(|target| target.allowed.first()).map(|&(var, _)| var).collect();
        match self.engine.posterior_with(&observations, &asked, &self.limits) {
            Ok(posterior) => {
                answer.chances.push(libm::exp(posterior.log_evidence() - self.standing.log_evidence).min(1.0));
                let chance = |(var, allowed): &(VarIx, Vec<bool>)| -> f64 {
                    posterior.of(*var).iter().zip(allowed).filter(|&(_, &allowed)| allowed).map(|(p, _)| p).sum()
                };
                answer.posteriors.extend(targets.iter().filter_map(|target| target.allowed.first()).map(chance));
                Ok(())
            }
            Err(Error::Contradiction) => {
                answer.chances.push(0.0);
                answer.posteriors.extend(targets.iter().map(|_| 0.0));
                Ok(())
            }
            Err(error) => Err(error),
        }
    }

    /// The observation that a check came out so.
    fn answered(&self, check: &OpenCheck, outcome: usize) -> Observation {
        match check {
            OpenCheck::Variable(var) => {
                let states = self.base().network.variable(*var).states.count();
                let likelihood = (0..states).map(|state| f64::from(u8::from(state == outcome))).collect();
                Observation::State { var: *var, likelihood }
            }
            OpenCheck::Rows { slice, rows, chances } => {
                let row = |(any_of, &likelihood): (&Vec<Literal>, &f64)| Row { any_of: any_of.clone(), likelihood };
                let rows_of = rows.iter().zip(&chances[outcome]).map(row).collect();
                Observation::Rows { slice: *slice, rows: rows_of, otherwise: chances[outcome][rows.len()] }
            }
        }
    }

    /// The chance of each outcome as a sum over events, each with a factor for each outcome.
    fn terms(&self, check: &OpenCheck) -> Result<Terms, Error> {
        let mut terms = match check {
            OpenCheck::Variable(var) => self.terms_of_table(*var)?,
            OpenCheck::Rows { slice, rows, chances } => self.terms_of_rows(*slice, rows, chances)?,
        };
        // "Anything" stands first and stays: it says how many outcomes there are.
        let mut at = 0;
        terms.retain(|(_, factors)| {
            at += 1;
            at == 1 || factors.iter().any(|&f| f != 0.0)
        });
        Ok(terms)
    }

    /// `l_0` + sum over r of (`l_r` - `l_{r-1}`) [none of the first r rows holds].
    fn terms_of_rows(&self, slice: usize, rows: &[Vec<Literal>], chances: &[Vec<f64>]) -> Result<Terms, Error> {
        if slice >= self.base().network.slices || chances.iter().any(|of_rows| of_rows.len() != rows.len() + 1) {
            return Err(Error::Observation("expected a chance for each row and one more, in a known slice".to_owned()));
        }
        let mut event = Event::anything();
        let mut terms = vec![(event.clone(), chances.iter().map(|of_rows| of_rows[0]).collect())];
        for (r, row) in rows.iter().enumerate() {
            for literal in row {
                self.node(literal.var)?;
                let variable = self.base().network.variable(literal.var);
                let States::OnIn(sets) = &variable.states else {
                    return Err(Error::Observation(format!("expected an on/off variable, found `{}`", variable.name)));
                };
                event = event.and(literal.var, sets.iter().map(|set| set.has(slice) != literal.on).collect());
            }
            terms.push((event.clone(), chances.iter().map(|of_rows| of_rows[r + 1] - of_rows[r]).collect()));
        }
        Ok(terms)
    }

    /// A table as a sum over which parents are away from their likeliest state, and where: the largest events need no
    /// pass, and a parent alone serves every check that reads it.
    fn terms_of_table(&self, var: VarIx) -> Result<Terms, Error> {
        let base = self.base();
        let not_a_table = || Error::Observation("expected an unobserved variable given by a table".to_owned());
        let variable = base.network.variables.get(var.at()).ok_or_else(not_a_table)?;
        let Mechanism::Table { parents, rows } = &variable.mechanism else { return Err(not_a_table()) };
        for &parent in parents {
            self.node(parent)?;
        }
        let outcomes = variable.states.count();
        let counts: Vec<usize> = parents.iter().map(|&parent| base.network.variable(parent).states.count()).collect();
        let usual: Vec<usize> = parents.iter().map(|&parent| likeliest(&base.priors[parent.at()])).collect();
        let row_of = |states: &[usize]| states.iter().zip(&counts).fold(0, |at, (&state, &n)| at * n + state);
        let mut terms = Vec::new();
        let mut states = usual.clone();
        let configurations: usize = counts.iter().product();
        // The usual configuration comes first, then all others as they count up.
        for configuration in std::iter::once(row_of(&usual)).chain((0..configurations).filter(|&c| c != row_of(&usual)))
        {
            let mut rest = configuration;
            for (state, &n) in states.iter_mut().zip(&counts).rev() {
                (*state, rest) = (rest % n, rest / n);
            }
            let away: Vec<usize> = (0..parents.len()).filter(|&i| states[i] != usual[i]).collect();
            let mut factors = vec![0.0; outcomes];
            for kept in 0..1u32 << away.len() {
                let mut corner = usual.clone();
                away.iter()
                    .enumerate()
                    .filter(|&(bit, _)| kept >> bit & 1 == 1)
                    .for_each(|(_, &i)| corner[i] = states[i]);
                let sign = if (away.len() as u32 - kept.count_ones()).is_multiple_of(2) { 1.0 } else { -1.0 };
                let row = &rows[row_of(&corner) * outcomes..][..outcomes];
                factors.iter_mut().zip(row).for_each(|(f, p)| *f += sign * p);
            }
            let only = |i: usize| (0..counts[i]).map(|state| state == states[i]).collect();
            let event = away.iter().fold(Event::anything(), |event, &i| event.and(parents[i], only(i)));
            terms.push((event, factors));
        }
        Ok(terms)
    }
}

/// The chances of a check's outcomes as a sum over events, "anything" first: each with a factor for each outcome.
type Terms = Vec<(Event, Vec<f64>)>;

fn outcomes_of(terms: &[(Event, Vec<f64>)]) -> usize {
    terms.first().map_or(0, |(_, factors)| factors.len())
}

/// How a target is read off a pass.
struct Asked {
    node: Option<usize>,
    /// For each state left whether the target is on.
    on: Vec<f64>,
    /// Its chance given the observations alone.
    alone: f64,
}

fn likeliest(distribution: &[f64]) -> usize {
    (0..distribution.len()).max_by(|&a, &b| distribution[a].total_cmp(&distribution[b])).unwrap_or(0)
}
