//! From a network and what was observed to a factor graph, in one of two forms.
//!
//! The star form gives each noisy gate one hidden variable and a table of two variables a link: small, exact, with
//! negative weights (Díez and Galán 2003, here over sets of slices by Möbius inversion). The chain form walks over the
//! inputs one by one: wider, but every number is a probability, so it can be sampled and cannot cancel.

use crate::model::network::{Mechanism, Network, Observation, SliceSet, States, VarIx};

use super::Error;
use super::base::Base;
use super::fold::{Fold, FoldInput, Rule};
use super::graph::{Graph, GraphLink, Target};
use super::joins::{Joins, Tree};

/// How gates and answers become tables.
#[derive(Clone, Copy, Debug)]
pub(super) enum Form<'a> {
    /// Hidden signed variables.
    Star,
    /// Accumulators that bring the inputs together as the trees say.
    Chain(&'a Joins),
}

/// A gate of two inputs or fewer, or a counting gate, is one plain table up to this many cells.
const DIRECT_CELLS: usize = 64;

/// The graph of what bears on `observations`; the rest of the network sums to one and is left out.
pub(super) fn graph(base: &Base, observations: &[Observation], form: Form<'_>) -> Result<Graph, Error> {
    graph_with(base, observations, &[], form)
}

/// The same, with the `open` variables whether they bear on the observations or not.
pub(super) fn graph_with(
    base: &Base,
    observations: &[Observation],
    open: &[VarIx],
    form: Form<'_>,
) -> Result<Graph, Error> {
    let network = &base.network;
    let answers: Vec<Option<(Fold, Vec<f64>)>> = observations
        .iter()
        .map(|observation| match observation {
            Observation::State { .. } => None,
            Observation::Rows { slice, rows, otherwise } => Some(Fold::of_rows(network, *slice, rows, *otherwise)),
        })
        .collect();
    let mut builder = Builder { base, network, form, graph: Graph::new(network.variables.len()) };
    for (at, bears) in relevant(base, observations, &answers, open).into_iter().enumerate() {
        if bears {
            builder.variable(VarIx(at as u32));
        }
    }
    for (at, observation) in observations.iter().enumerate() {
        match (observation, &answers[at]) {
            (Observation::State { var, likelihood }, _) => {
                if let Some(node) = builder.graph.node_of[var.at()] {
                    builder.graph.multiply_unary(node, likelihood);
                } else {
                    // Every state is as likely as any other: a constant.
                    builder.graph.add_factor(&[], vec![likelihood[0]], &[]);
                }
            }
            (Observation::Rows { .. }, Some((fold, chances))) => builder.answer(at, fold, chances),
            (Observation::Rows { .. }, None) => unreachable!("every answer has its fold"),
        }
    }
    if builder.graph.constant_ln == f64::NEG_INFINITY {
        return Err(Error::Contradiction);
    }
    builder.graph.simplify()?;
    Ok(builder.graph)
}

/// The observed and the open variables and everything above them.
fn relevant(
    base: &Base,
    observations: &[Observation],
    answers: &[Option<(Fold, Vec<f64>)>],
    open: &[VarIx],
) -> Vec<bool> {
    let mut bears = vec![false; base.parents.len()];
    for var in open {
        bears[var.at()] = true;
    }
    for (observation, answer) in observations.iter().zip(answers) {
        match observation {
            // A flat likelihood says nothing.
            Observation::State { var, likelihood } => bears[var.at()] |= likelihood.iter().any(|&l| l != likelihood[0]),
            Observation::Rows { .. } => {
                answer.iter().flat_map(|(fold, _)| &fold.inputs).for_each(|input| bears[input.var.at()] = true);
            }
        }
    }
    // Parents stand before their children, so one walk backward reaches every ancestor.
    for at in (0..bears.len()).rev() {
        if bears[at] {
            base.parents[at].iter().for_each(|parent| bears[parent.at()] = true);
        }
    }
    bears
}

struct Builder<'a> {
    base: &'a Base,
    network: &'a Network,
    form: Form<'a>,
    graph: Graph,
}

/// One side of a join.
enum Side {
    /// The input at this place of the fold.
    Input(usize),
    /// An accumulator and its codes.
    Codes(usize, Vec<u32>),
}

/// What a table of the chain form ends in.
#[derive(Clone, Copy)]
enum Exit<'a> {
    Codes(usize, &'a [u32]),
    Gate(usize, &'a [SliceSet]),
    Weights(&'a [f64]),
}

impl Builder<'_> {
    fn variable(&mut self, ix: VarIx) {
        let variable = self.network.variable(ix);
        let node = self.graph.add_variable(ix, variable.states.count());
        match (&variable.mechanism, &self.base.folds[ix.at()], &variable.states) {
            (Mechanism::Table { parents, rows }, ..) => self.table(ix, node, parents, rows),
            (_, Some(fold), States::OnIn(sets)) => self.gate(ix, node, fold, sets),
            _ => unreachable!("the network was checked: gates are on/off variables"),
        }
    }

    fn table(&mut self, ix: VarIx, node: usize, parents: &[VarIx], rows: &[f64]) {
        let mut scope: Vec<usize> = parents.iter().map(|&parent| self.node(parent)).collect();
        let mut links: Vec<Option<usize>> = parents
            .iter()
            .enumerate()
            .map(|(index, &from)| Some(self.link(from, Target::Variable(ix), index, 1.0)))
            .collect();
        scope.push(node);
        links.push(None);
        self.graph.add_factor(&scope, rows.to_vec(), &links);
    }

    fn node(&self, ix: VarIx) -> usize {
        self.graph.node_of[ix.at()].expect("parents stand before their children and bear on what they bear on")
    }

    fn link(&mut self, from: VarIx, target: Target, index: usize, strength: f64) -> usize {
        self.graph.links.push(GraphLink { from, target, index, strength });
        self.graph.links.len() - 1
    }

    fn gate(&mut self, ix: VarIx, node: usize, fold: &Fold, sets: &[SliceSet]) {
        let links: Vec<Option<usize>> = fold
            .inputs
            .iter()
            .map(|input| Some(self.link(input.var, Target::Variable(ix), input.index, input.strength)))
            .collect();
        let exit = Exit::Gate(node, sets);
        if self.is_direct(fold, sets.len()) {
            self.meet(fold, &all_inputs(fold), exit, &links);
            return;
        }
        match (self.form, fold.rule) {
            (Form::Star, Rule::Any | Rule::All) => self.star(ix, node, fold, sets, &links),
            _ => self.chain(Target::Variable(ix), fold, exit, &links, &[ix]),
        }
    }

    /// Whether one plain table over all inputs does.
    fn is_direct(&self, fold: &Fold, ends: usize) -> bool {
        let cells = fold.inputs.iter().map(|input| input.marks.len()).fold(ends, usize::saturating_mul);
        let most = match (self.form, fold.rule) {
            (Form::Star, Rule::Any | Rule::All) => 1,
            (_, Rule::Count { .. }) => 5,
            _ => 2,
        };
        fold.inputs.len() <= most && cells <= DIRECT_CELLS
    }

    /// One hidden variable, whose state r says "on in no slice outside r" (for `all`: "on in every slice of r").
    ///
    /// Over the sets r that can come about the chances of these events factor over the inputs, and the gate's own
    /// distribution follows from them by Möbius inversion.
    fn star(&mut self, ix: VarIx, node: usize, fold: &Fold, sets: &[SliceSet], links: &[Option<usize>]) {
        let all = SliceSet::all(self.network.slices);
        let mut events: Vec<SliceSet> =
            fold.codes(fold.inputs.len()).iter().map(|&code| SliceSet(code as u8)).collect();
        if fold.rule == Rule::All && !events.contains(&SliceSet::NONE) {
            events.insert(0, SliceSet::NONE);
        }
        let hidden = self.graph.add_hidden(&[ix], events.len());
        self.graph.nodes[hidden].gathers = Some(Target::Variable(ix));
        if is_closed(fold, &events) {
            let admits = |r: u8, o: u8| if fold.rule == Rule::Any { o & !r == 0 } else { r & !o == 0 };
            self.graph.nodes[hidden].admits =
                events.iter().map(|r| events.iter().map(|o| admits(r.0, o.0)).collect()).collect();
        }
        let inverse = moebius(fold.rule, &events);
        let mut table = vec![0.0; sets.len() * events.len()];
        for (row, set) in sets.iter().enumerate() {
            let Some(at) = events.iter().position(|event| event == set) else { continue };
            table[row * events.len()..][..events.len()].copy_from_slice(&inverse[at]);
        }
        match fold.rule {
            Rule::Any => {
                let quiet: Vec<f64> = events.iter().map(|&r| if r == all { 1.0 } else { 1.0 - fold.leak }).collect();
                self.graph.multiply_unary(hidden, &quiet);
            }
            _ if fold.leak > 0.0 => {
                for cell in &mut table {
                    *cell *= 1.0 - fold.leak;
                }
                let on = sets.iter().position(|&set| set == all).expect("the network was checked");
                let nothing = events.iter().position(|&r| r == SliceSet::NONE).expect("put in above");
                table[on * events.len() + nothing] += fold.leak;
            }
            _ => {}
        }
        self.graph.add_factor(&[node, hidden], table, &[None, None]);
        for (input, &link) in fold.inputs.iter().zip(links) {
            let from = self.node(input.var);
            let pair =
                events.iter().flat_map(|&r| input.marks.iter().map(move |&mark| event_chance(fold, input, r, mark)));
            let pair: Vec<f64> = pair.collect();
            self.graph.add_factor(&[hidden, from], pair, &[None, link]);
        }
    }

    /// Accumulators that bring the inputs together; `exit` is where the last two sides meet.
    fn chain(&mut self, target: Target, fold: &Fold, exit: Exit<'_>, links: &[Option<usize>], about: &[VarIx]) {
        let Form::Chain(joins) = self.form else { return self.chain_of(None, fold, exit, links, about) };
        self.chain_of(joins.get(&target), fold, exit, links, about);
    }

    fn chain_of(&mut self, tree: Option<&Tree>, fold: &Fold, exit: Exit<'_>, links: &[Option<usize>], about: &[VarIx]) {
        // Inputs that the star form had no use for join at the end.
        let mut whole = tree.cloned();
        for input in &fold.inputs {
            if tree.is_none_or(|tree| !tree.has(input.index)) {
                let leaf = Tree::Leaf(input.index);
                whole = Some(whole.map_or(leaf.clone(), |tree| tree.join(leaf)));
            }
        }
        match whole {
            Some(Tree::Join(a, b)) => {
                let sides = [self.side(&a, fold, links, about), self.side(&b, fold, links, about)];
                self.meet(fold, &sides, exit, links);
            }
            _ => self.meet(fold, &all_inputs(fold), exit, links),
        }
    }

    /// Builds one side of a join.
    fn side(&mut self, tree: &Tree, fold: &Fold, links: &[Option<usize>], about: &[VarIx]) -> Side {
        match tree {
            Tree::Leaf(index) => {
                let place = fold.inputs.iter().position(|input| input.index == *index);
                Side::Input(place.expect("trees are made of the inputs that matter"))
            }
            Tree::Join(a, b) => {
                let sides = [self.side(a, fold, links, about), self.side(b, fold, links, about)];
                let (a, b) = (side_codes(fold, &sides[0]), side_codes(fold, &sides[1]));
                let mut codes: Vec<u32> = a.iter().flat_map(|&a| b.iter().map(move |&b| fold.join(a, b))).collect();
                codes.sort_unstable();
                codes.dedup();
                let node = self.graph.add_hidden(about, codes.len());
                self.meet(fold, &sides, Exit::Codes(node, &codes), links);
                Side::Codes(node, codes)
            }
        }
    }

    /// One table over the sides and the exit.
    fn meet(&mut self, fold: &Fold, sides: &[Side], exit: Exit<'_>, links: &[Option<usize>]) {
        let mut scope = Vec::new();
        let mut scope_links = Vec::new();
        // Distributions over codes, one for each configuration of what stands in the scope so far.
        let mut walks: Vec<Vec<(u32, f64)>> = vec![match exit {
            Exit::Codes(..) => vec![(fold.nothing(), 1.0)],
            Exit::Gate(..) | Exit::Weights(_) => fold.start(),
        }];
        for side in sides {
            match side {
                Side::Input(place) => {
                    let input = &fold.inputs[*place];
                    scope.push(self.node(input.var));
                    scope_links.push(links[*place]);
                    walks = spread(&walks, input.marks.len(), |codes, state| advance(fold, input, state, codes));
                }
                Side::Codes(node, others) => {
                    scope.push(*node);
                    scope_links.push(None);
                    walks = spread(&walks, others.len(), |codes, at| {
                        codes.iter().map(|&(code, p)| (fold.join(code, others[at]), p)).collect()
                    });
                }
            }
        }
        let table: Vec<f64> = match exit {
            Exit::Codes(node, ends) => {
                scope.push(node);
                scope_links.push(None);
                let chance = |codes: &[(u32, f64)], end: u32| {
                    codes.iter().filter(|&&(code, _)| code == end).map(|&(_, p)| p).sum::<f64>()
                };
                walks.iter().flat_map(|codes| ends.iter().map(move |&end| chance(codes, end))).collect()
            }
            Exit::Gate(node, sets) => {
                scope.push(node);
                scope_links.push(None);
                walks.iter().flat_map(|codes| gate_row(fold, codes, sets)).collect()
            }
            Exit::Weights(weights) => {
                walks.iter().map(|codes| codes.iter().map(|&(code, p)| p * weights[code as usize]).sum()).collect()
            }
        };
        self.graph.add_factor(&scope, table, &scope_links);
    }

    fn answer(&mut self, at: usize, fold: &Fold, chances: &[f64]) {
        let links: Vec<Option<usize>> = fold
            .inputs
            .iter()
            .map(|input| Some(self.link(input.var, Target::Answer(at), input.index, row_strength(input, chances))))
            .collect();
        if self.is_direct(fold, 1) {
            self.meet(fold, &all_inputs(fold), Exit::Weights(chances), &links);
        } else if matches!(self.form, Form::Chain(_)) {
            let read: Vec<VarIx> = fold.inputs.iter().map(|input| input.var).collect();
            self.chain(Target::Answer(at), fold, Exit::Weights(chances), &links, &read);
        } else {
            self.selector(at, fold, chances, &links);
        }
    }

    /// Telescoped rows: `l_1` + sum over r of (l_{r+1} - `l_r`) [none of the first r rows holds], the bracket a product
    /// over the literals.
    fn selector(&mut self, at: usize, fold: &Fold, chances: &[f64], links: &[Option<usize>]) {
        let weights: Vec<f64> =
            chances.iter().enumerate().map(|(r, &l)| if r == 0 { l } else { l - chances[r - 1] }).collect();
        let read: Vec<VarIx> = fold.inputs.iter().map(|input| input.var).collect();
        let hidden = self.graph.add_hidden(&read, weights.len());
        self.graph.nodes[hidden].gathers = Some(Target::Answer(at));
        let rows = weights.len();
        self.graph.nodes[hidden].admits = (0..rows).map(|r| (0..rows).map(|first| first >= r).collect()).collect();
        self.graph.multiply_unary(hidden, &weights);
        for (input, &link) in fold.inputs.iter().zip(links) {
            let from = self.node(input.var);
            let pair = (0..weights.len() as u32)
                .flat_map(|r| input.marks.iter().map(move |&first| if first < r { 0.0 } else { 1.0 }))
                .collect();
            self.graph.add_factor(&[hidden, from], pair, &[None, link]);
        }
    }
}

/// Every input as a side of its own.
fn all_inputs(fold: &Fold) -> Vec<Side> {
    (0..fold.inputs.len()).map(Side::Input).collect()
}

/// The codes that a side can have.
fn side_codes(fold: &Fold, side: &Side) -> Vec<u32> {
    match side {
        Side::Codes(_, codes) => codes.clone(),
        Side::Input(place) => {
            let input = &fold.inputs[*place];
            let steps = (0..input.marks.len()).flat_map(|state| fold.step(fold.nothing(), input, state));
            steps.filter(|&(_, p)| p > 0.0).map(|(code, _)| code).collect()
        }
    }
}

/// Every walk continued by each of `n` states.
fn spread<W>(walks: &[W], n: usize, next: impl Fn(&W, usize) -> W) -> Vec<W> {
    walks.iter().flat_map(|walk| (0..n).map(|state| next(walk, state)).collect::<Vec<_>>()).collect()
}

/// How far a literal can move the chance of the answer, relative to the largest.
fn row_strength(input: &FoldInput, chances: &[f64]) -> f64 {
    let largest = chances.iter().copied().fold(f64::MIN_POSITIVE, f64::max);
    let base = chances[chances.len() - 1];
    input.marks.iter().map(|&row| (chances[row as usize] - base).abs() / largest).fold(0.0, f64::max)
}

/// The codes after `input` in `state`.
fn advance(fold: &Fold, input: &FoldInput, state: usize, codes: &[(u32, f64)]) -> Vec<(u32, f64)> {
    let mut next: Vec<(u32, f64)> = Vec::new();
    let steps = codes.iter().flat_map(|&(code, p)| fold.step(code, input, state).map(|(to, q)| (to, p * q)));
    for (to, p) in steps.filter(|&(_, p)| p > 0.0) {
        match next.iter_mut().find(|(code, _)| *code == to) {
            Some((_, chance)) => *chance += p,
            None => next.push((to, p)),
        }
    }
    next
}

/// The chance of each state of a gate given the codes.
fn gate_row(fold: &Fold, codes: &[(u32, f64)], sets: &[SliceSet]) -> Vec<f64> {
    let mut row = vec![0.0; sets.len()];
    for &(code, p) in codes {
        for (set, q) in fold.end(code) {
            let at = sets.iter().position(|&s| s == set).expect("the network was checked");
            row[at] += p * q;
        }
    }
    row
}

/// The chance that an input leaves the event of the hidden state `r` standing.
fn event_chance(fold: &Fold, input: &FoldInput, r: SliceSet, mark: u32) -> f64 {
    let r = u32::from(r.0);
    match fold.rule {
        Rule::Any => {
            if mark & !r == 0 {
                1.0
            } else {
                1.0 - input.strength
            }
        }
        _ if r == 0 => 1.0,
        _ => {
            if r & !mark == 0 {
                input.strength
            } else {
                0.0
            }
        }
    }
}

/// Whether whatever some of the inputs add up to is among `events`.
fn is_closed(fold: &Fold, events: &[SliceSet]) -> bool {
    let has = |code: u32| events.iter().any(|event| u32::from(event.0) == code);
    let joins = |a: &SliceSet| events.iter().all(|b| has(fold.join(u32::from(a.0), u32::from(b.0))));
    let single = |place: usize| side_codes(fold, &Side::Input(place)).into_iter().all(has);
    has(fold.nothing()) && (0..fold.inputs.len()).all(single) && events.iter().all(joins)
}

/// The inverse of "the gate's set lies within r" (`any`) or "contains r" (`all`) over the possible sets: one row for
/// each set, one column for each event.
fn moebius(rule: Rule, events: &[SliceSet]) -> Vec<Vec<f64>> {
    let n = events.len();
    let mut rows = vec![vec![0.0; n]; n];
    // Events are ascending as numbers, so subsets stand before supersets.
    let ascending: Vec<usize> = if rule == Rule::Any { (0..n).collect() } else { (0..n).rev().collect() };
    for &at in &ascending {
        rows[at][at] = 1.0;
        for other in (0..n).filter(|&other| other != at) {
            let (a, b) = (events[other].0, events[at].0);
            let beneath = if rule == Rule::Any { a & !b == 0 } else { b & !a == 0 };
            if beneath {
                let lower = rows[other].clone();
                rows[at].iter_mut().zip(lower).for_each(|(cell, l)| *cell -= l);
            }
        }
    }
    rows
}
