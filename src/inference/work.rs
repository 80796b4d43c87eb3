//! A graph with some links cut, compiled: the passes over it and the messages over the cuts.
//!
//! A cut table f(x, rest) is replaced by u(rest) = sum over x of pi(x) f and lambda(x) = sum over rest of beta(rest) f;
//! pi and beta are the adjoints of those two tables, so the down pass hands them over for free (edge deletion with
//! loopy messages; Choi and Darwiche 2006).

use super::eliminate::{Input, Program, Upward, stride};
use super::graph::Graph;

/// What a table that stands would have wrong at its ends if it alone were cut is known exactly; this much of its coupling
/// counts beside it, for the loops that other cuts have opened and that putting them back would close again. Measured.
const LOOPS: f64 = 0.1;
/// Messages that change by less than this in a round have settled.
const SETTLED: f64 = 1e-5;
/// Messages that change by more than this after all rounds are given more.
const TROUBLED: f64 = 1e-3;

/// The messages over the links cut in one table.
#[derive(Clone, Debug)]
struct Cut {
    /// Place of the table in the graph.
    factor: usize,
    /// The nodes the table keeps.
    rest: Vec<usize>,
    /// The nodes cut off.
    ends: Vec<End>,
    /// What the rest has to say about its side, scaled to at most 1; empty before the first exchange.
    beta: Vec<f64>,
    /// For each cell of the table its cell in the rest's table.
    cells: Vec<u32>,
    /// For each cell of the table the state of each end.
    states: Vec<u32>,
}

/// One node cut off from a table.
#[derive(Clone, Debug)]
struct End {
    node: usize,
    link: usize,
    /// The node's distribution without this table.
    pi: Vec<f64>,
    /// What the table says about the node, scaled to at most 1.
    lambda: Vec<f64>,
    /// Natural log of what that scaling took out.
    lambda_ln: f64,
}

/// The messages of a cut link over all states of its variable.
#[derive(Clone, Debug)]
pub(super) struct Message {
    pub(super) link: usize,
    pub(super) pi: Vec<f64>,
    pub(super) lambda: Vec<f64>,
}

/// What a down pass is to reach.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Reach {
    /// The nodes and the messages.
    Nodes,
    /// The tables that links enter as well.
    Links,
}

/// The compiled graph.
pub(super) struct Work<'g> {
    graph: &'g Graph,
    cuts: Vec<Cut>,
    whole: Vec<usize>,
    pub(super) program: Program,
    /// For each table of the program whether it hangs on a message.
    moves: Vec<bool>,
    /// Memory of the last down pass.
    adjoints: Vec<f64>,
}

/// The scopes of the tables when `cut` links are gone.
pub(super) fn scopes(graph: &Graph, cut: &[bool]) -> Vec<Vec<usize>> {
    let stays = |link: &Option<usize>| link.is_none_or(|link| !cut[link]);
    let rest = |factor: &super::graph::Factor| {
        factor.scope.iter().zip(&factor.links).filter(|(_, link)| stays(link)).map(|(&node, _)| node).collect()
    };
    graph.factors.iter().map(rest).collect()
}

/// The distribution of a node from its own table and the adjoint of that.
pub(super) fn marginal(unary: &[f64], adjoint: &[f64]) -> Vec<f64> {
    if unary.len() == 1 {
        return vec![1.0];
    }
    normalized(unary.iter().zip(adjoint).map(|(u, a)| (u * a).max(0.0)).collect())
}

impl<'g> Work<'g> {
    /// Compiles `graph` without the `cut` links along `order`; `start` gives first messages by link.
    pub(super) fn new(
        graph: &'g Graph,
        cut: &[bool],
        order: &[usize],
        start: impl Fn(usize) -> (Vec<f64>, Vec<f64>),
        reach: Reach,
    ) -> Self {
        let scopes = scopes(graph, cut);
        let (mut cuts, mut whole) = (Vec::new(), Vec::new());
        for (at, rest) in scopes.into_iter().enumerate() {
            let factor = &graph.factors[at];
            if rest.len() == factor.scope.len() {
                whole.push(at);
                continue;
            }
            let ends = factor.scope.iter().zip(&factor.links).filter_map(|(&node, &link)| {
                let link = link.filter(|&link| cut[link])?;
                let (pi, lambda) = start(link);
                let kept = |message: &[f64]| -> Vec<f64> {
                    graph.nodes[node].kept.iter().map(|&s| message.get(s).copied().unwrap_or(0.0)).collect()
                };
                Some(End { node, link, pi: normalized(kept(&pi)), lambda: kept(&lambda), lambda_ln: 0.0 })
            });
            let ends: Vec<End> = ends.collect();
            cuts.push(Cut::new(graph, at, rest, ends));
        }
        let nodes: Vec<[usize; 1]> = (0..graph.nodes.len()).map(|node| [node]).collect();
        // Nobody asks for the distribution of a hidden node.
        let wanted = |node: &super::graph::Node| node.origin.is_some() && node.kept.len() > 1;
        let mut inputs: Vec<Input<'_>> =
            nodes.iter().zip(&graph.nodes).map(|(scope, node)| Input { scope, wanted: wanted(node) }).collect();
        let wanted = |at: usize| reach == Reach::Links && graph.factors[at].links.iter().any(Option::is_some);
        inputs.extend(whole.iter().map(|&at| Input { scope: &graph.factors[at].scope, wanted: wanted(at) }));
        for cut in &cuts {
            inputs.push(Input { scope: &cut.rest, wanted: true });
            inputs.extend(cut.ends.iter().map(|end| Input { scope: &nodes[end.node], wanted: true }));
        }
        let program = Program::new(&graph.cards(), &inputs, order);
        let moves = program.hanging(graph.nodes.len() + whole.len()..inputs.len());
        Self { graph, cuts, whole, program, moves, adjoints: vec![] }
    }

    /// The up pass with the messages as they stand.
    pub(super) fn up(&self) -> Upward {
        let tables: Vec<Vec<f64>> = self.cuts.iter().map(|cut| cut.rest_table(self.graph)).collect();
        let mut inputs: Vec<&[f64]> = self.graph.nodes.iter().map(|node| node.unary.as_slice()).collect();
        inputs.extend(self.whole.iter().map(|&at| self.graph.factors[at].table.as_slice()));
        inputs.extend(self.moved(&tables));
        self.program.up(&inputs)
    }

    /// The tables that go with the messages, as the program takes them in.
    fn moved<'a>(&'a self, tables: &'a [Vec<f64>]) -> impl Iterator<Item = &'a [f64]> + 'a {
        let of_cut = |(cut, table): (&'a Cut, &'a Vec<f64>)| {
            std::iter::once(table.as_slice()).chain(cut.ends.iter().map(|end| end.lambda.as_slice()))
        };
        self.cuts.iter().zip(tables).flat_map(of_cut)
    }

    /// The down pass that belongs to an up pass.
    pub(super) fn down(&mut self, upward: &Upward) -> Vec<Vec<f64>> {
        self.program.down(upward, &mut self.adjoints)
    }

    /// Rounds until the messages have settled, at most `rounds`, and twice as many again where they run to and fro: they
    /// are held back then. Returns the largest change of any pi in the last one.
    pub(super) fn settle(&mut self, upward: &mut Upward, rounds: usize) -> f64 {
        let (mut before, mut keep) = (f64::INFINITY, 0.0);
        for at in 0..3 * rounds.max(1) {
            let change = self.round(upward, keep);
            if change < SETTLED || at + 1 >= rounds && change < TROUBLED {
                return change;
            }
            if at > 0 && change > 0.5 * before {
                keep = 0.5;
            }
            before = change;
        }
        before
    }

    /// A round: takes new messages from a down pass, which keep a share of what they were, and makes the next up pass.
    /// Returns the largest change of any pi.
    fn round(&mut self, upward: &mut Upward, keep: f64) -> f64 {
        let Self { program, moves, adjoints, .. } = &mut *self;
        let down = program.down_to(upward, adjoints, |table| moves[table]);
        let change = self.exchange(&down, keep);
        let tables: Vec<Vec<f64>> = self.cuts.iter().map(|cut| cut.rest_table(self.graph)).collect();
        let first = self.graph.nodes.len() + self.whole.len();
        self.program.up_moved(upward, &self.moves, (first..).zip(self.moved(&tables)));
        change
    }

    /// The marginal of each node over its states left, from the adjoints; empty for hidden nodes, which nobody asks for.
    pub(super) fn marginals(&self, down: &[Vec<f64>]) -> Vec<Vec<f64>> {
        self.graph.nodes.iter().zip(down).map(|(node, adjoint)| marginal(&node.unary, adjoint)).collect()
    }

    /// Takes new messages from the adjoints, which keep a share of what they were; returns the largest change of any pi.
    fn exchange(&mut self, down: &[Vec<f64>], keep: f64) -> f64 {
        let mut adjoints = down[self.graph.nodes.len() + self.whole.len()..].iter();
        let mut largest = 0.0f64;
        for cut in &mut self.cuts {
            cut.beta = scaled(adjoints.next().cloned().unwrap_or_default());
            for end in &mut cut.ends {
                let raw = adjoints.next().cloned().unwrap_or_default();
                let pi = floored(normalized(raw.into_iter().map(|p| p.max(0.0)).collect()));
                let change = pi.iter().zip(&end.pi).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
                largest = largest.max(change);
                blend(&mut end.pi, &pi, keep);
            }
            cut.refresh(self.graph, keep);
        }
        largest
    }

    /// How well the two ends of the cut link that they agree on least agree: 1 where each is sure of the same, near 0
    /// where what one end is sure of the other rules out.
    pub(super) fn agreement(&self) -> f64 {
        let of_end = |end: &End| end.pi.iter().zip(&end.lambda).map(|(pi, lambda)| pi * lambda).sum::<f64>();
        self.cuts.iter().flat_map(|cut| cut.ends.iter().map(of_end)).fold(1.0, f64::min)
    }

    /// For each link what cutting it may cost, by the adjoints of a down pass that reached the links.
    ///
    /// For a link that is cut: how much its two ends still have to tell each other, the largest cell of J - (sums of J
    /// over x) (sums of J over the rest), where J(x, rest) is the table times what both sides say, scaled to sum to one.
    /// A link of no coupling is cut without any error; around a loop couplings multiply. For one that stands: how far
    /// its ends would be off if it were cut, and a share of the coupling.
    pub(super) fn couplings(&self, down: &[Vec<f64>]) -> Vec<f64> {
        let mut couplings = vec![0.0f64; self.graph.links.len()];
        let cards = self.graph.cards();
        for (&at, adjoint) in self.whole.iter().zip(&down[self.graph.nodes.len()..]) {
            let factor = &self.graph.factors[at];
            for (&node, link) in factor.scope.iter().zip(&factor.links) {
                let Some(link) = *link else { continue };
                let step = stride(&cards, &factor.scope, node);
                let ends = Ends::new(factor.table.len(), step, cards[node]);
                couplings[link] = couplings[link].max(ends.cost_within(&factor.table, adjoint));
            }
        }
        for cut in &self.cuts {
            let factor = &self.graph.factors[cut.factor];
            let weights: Vec<f64> = cut
                .cells(self.graph)
                .map(|(cell, at, states)| {
                    let beta = cut.beta.get(at).copied().unwrap_or(1.0);
                    cut.ends.iter().zip(states).fold(cell * beta, |product, (end, &s)| product * end.pi[s as usize])
                })
                .collect();
            for (&node, link) in factor.scope.iter().zip(&factor.links) {
                let Some(link) = *link else { continue };
                let step = stride(&cards, &factor.scope, node);
                let ends = Ends::new(factor.table.len(), step, cards[node]);
                couplings[link] = couplings[link].max(ends.coupling(&weights));
            }
        }
        couplings
    }

    /// For each input of the program whether it weighs what a hidden node has gathered, rather than gathers: the table
    /// between a gate and its hidden node, or what is left of it.
    pub(super) fn weighing(&self) -> Vec<bool> {
        let plain = |factor: &super::graph::Factor| factor.links.iter().all(Option::is_none);
        let mut unary = vec![true; self.graph.nodes.len()];
        for factor in self.graph.factors.iter().filter(|factor| plain(factor)) {
            factor.scope.iter().for_each(|&node| unary[node] = false);
        }
        unary.extend(self.whole.iter().map(|&at| plain(&self.graph.factors[at])));
        unary.extend(self.cuts.iter().flat_map(|cut| std::iter::repeat_n(false, 1 + cut.ends.len())));
        unary
    }

    /// Natural log of what the cut network counts twice over, by the messages as they stand: each cut table comes in
    /// once with its rest and once with each of its ends, and should come in once.
    pub(super) fn counted_twice_ln(&self) -> f64 {
        let of_cut = |cut: &Cut| {
            let agreement = libm::log(cut.agreement(self.graph).abs().max(f64::MIN_POSITIVE));
            cut.ends.iter().map(|end| agreement - end.lambda_ln).sum::<f64>()
        };
        self.cuts.iter().map(of_cut).sum()
    }

    /// The messages of all cut links, over all states of the link's variable.
    pub(super) fn messages(&self) -> Vec<Message> {
        let spread = |end: &End| {
            let node = &self.graph.nodes[end.node];
            let full = |message: &[f64]| {
                let mut all = vec![0.0; node.kept.iter().max().map_or(0, |most| most + 1)];
                node.kept.iter().zip(message).for_each(|(&state, &m)| all[state] = m);
                all
            };
            Message { link: end.link, pi: full(&end.pi), lambda: full(&end.lambda) }
        };
        self.cuts.iter().flat_map(|cut| cut.ends.iter().map(spread)).collect()
    }
}

impl Cut {
    fn new(graph: &Graph, at: usize, rest: Vec<usize>, ends: Vec<End>) -> Self {
        let factor = &graph.factors[at];
        let cards = graph.cards();
        let steps: Vec<(usize, usize, usize)> = rest
            .iter()
            .map(|&node| (stride(&cards, &factor.scope, node), cards[node], stride(&cards, &rest, node)))
            .collect();
        let of_ends: Vec<(usize, usize)> =
            ends.iter().map(|end| (stride(&cards, &factor.scope, end.node), cards[end.node])).collect();
        let all = 0..factor.table.len();
        let cell = |i: usize| steps.iter().map(|&(step, n, own)| i / step % n * own).sum::<usize>() as u32;
        let states = all.clone().flat_map(|i| of_ends.iter().map(move |&(step, n)| (i / step % n) as u32)).collect();
        Self { factor: at, rest, ends, beta: vec![], cells: all.map(cell).collect(), states }
    }

    /// For each cell of the table: itself, its cell in the rest's table and the states of the ends.
    fn cells<'a>(&'a self, graph: &'a Graph) -> impl Iterator<Item = (f64, usize, &'a [u32])> + 'a {
        let table = graph.factors[self.factor].table.iter();
        let states = self.states.chunks_exact(self.ends.len());
        table.zip(&self.cells).zip(states).map(|((&cell, &at), states)| (cell, at as usize, states))
    }

    /// u(rest).
    fn rest_table(&self, graph: &Graph) -> Vec<f64> {
        let len = self.rest.iter().map(|&node| graph.nodes[node].kept.len()).product();
        let mut table = vec![0.0; len];
        for (cell, at, states) in self.cells(graph) {
            table[at] += self.ends.iter().zip(states).fold(cell, |product, (end, &s)| product * end.pi[s as usize]);
        }
        table
    }

    /// lambda(x) of every end, from beta and the pi of the other ends.
    fn refresh(&mut self, graph: &Graph, keep: f64) {
        let mut lambdas: Vec<Vec<f64>> = self.ends.iter().map(|end| vec![0.0; end.pi.len()]).collect();
        for (cell, at, states) in self.cells(graph) {
            for (which, lambda) in lambdas.iter_mut().enumerate() {
                let others = self.ends.iter().zip(states).enumerate().filter(|&(other, _)| other != which);
                lambda[states[which] as usize] +=
                    others.fold(cell * self.beta[at], |product, (_, (end, &s))| product * end.pi[s as usize]);
            }
        }
        for (end, lambda) in self.ends.iter_mut().zip(lambdas) {
            let largest = lambda.iter().copied().fold(0.0, f64::max);
            if largest > 0.0 && largest.is_finite() {
                end.lambda_ln = libm::log(largest);
                blend(&mut end.lambda, &floored(lambda.into_iter().map(|l| l / largest).collect()), keep);
            } else {
                // A message without mass is a message lost to rounding: say nothing instead.
                end.lambda_ln = 0.0;
                end.lambda.fill(1.0);
            }
        }
    }

    /// Sum over all cells of beta, the table and every pi.
    fn agreement(&self, graph: &Graph) -> f64 {
        let table = self.rest_table(graph);
        if self.beta.is_empty() { 1.0 } else { table.iter().zip(&self.beta).map(|(u, b)| u * b).sum() }
    }
}

/// A table seen from one of its nodes: its state, and the cell of the rest.
struct Ends {
    step: usize,
    states: usize,
    rest: usize,
}

impl Ends {
    fn new(cells: usize, step: usize, states: usize) -> Self {
        Self { step, states, rest: cells / states }
    }

    /// The state and the cell of the rest of each cell.
    fn of(&self, i: usize) -> (usize, usize) {
        (i / self.step % self.states, i / (self.step * self.states) * self.step + i % self.step)
    }

    /// What it may cost to cut a table that stands in the network, where `adjoint` is what all else says of both ends:
    /// what either end would be told by messages is found first.
    fn cost_within(&self, table: &[f64], adjoint: &[f64]) -> f64 {
        const STEPS: usize = 3;
        let (mut lambda, mut pi) = (vec![1.0; self.states], vec![1.0; self.states]);
        let (mut beta, mut u) = (vec![0.0; self.rest], vec![0.0; self.rest]);
        for _ in 0..STEPS {
            beta.fill(0.0);
            u.fill(0.0);
            for (i, (&f, &a)) in table.iter().zip(adjoint).enumerate() {
                let (state, rest) = self.of(i);
                beta[rest] += a * lambda[state];
                u[rest] += f * pi[state];
            }
            lambda.fill(0.0);
            pi.fill(0.0);
            for (i, (&f, &a)) in table.iter().zip(adjoint).enumerate() {
                let (state, rest) = self.of(i);
                lambda[state] += f * beta[rest];
                pi[state] += a * u[rest];
            }
            (lambda, pi) = (scaled(lambda), scaled(pi));
        }
        let weights: Vec<f64> = table
            .iter()
            .enumerate()
            .map(|(i, &f)| {
                let (state, rest) = self.of(i);
                f * beta[rest] * pi[state]
            })
            .collect();
        let whole: Vec<f64> = table.iter().zip(adjoint).map(|(f, a)| f * a).collect();
        LOOPS * self.coupling(&weights) + self.apart(&weights, &whole)
    }

    /// How far apart the margins of two tables are.
    fn apart(&self, a: &[f64], b: &[f64]) -> f64 {
        let margins = |of: &[f64]| {
            let total: f64 = of.iter().sum();
            let mut margins = vec![0.0; self.states + self.rest];
            for (i, &weight) in of.iter().enumerate() {
                let (state, rest) = self.of(i);
                margins[state] += weight / total;
                margins[self.states + rest] += weight / total;
            }
            margins
        };
        let most = margins(a).iter().zip(margins(b)).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        if most.is_finite() { most } else { f64::MAX }
    }

    /// How much the two ends of a table have to tell each other.
    fn coupling(&self, weights: &[f64]) -> f64 {
        let total: f64 = weights.iter().sum();
        let (mut by_state, mut by_rest) = (vec![0.0; self.states], vec![0.0; self.rest]);
        for (i, &weight) in weights.iter().enumerate() {
            let (state, rest) = self.of(i);
            by_state[state] += weight / total;
            by_rest[rest] += weight / total;
        }
        let apart = weights.iter().enumerate().map(|(i, &weight)| {
            let (state, rest) = self.of(i);
            (weight / total - by_state[state] * by_rest[rest]).abs()
        });
        let most = apart.fold(0.0, f64::max);
        if most.is_finite() { most } else { f64::MAX }
    }
}

/// Moves a message to `new`, keeping a share of what it was.
fn blend(message: &mut [f64], new: &[f64], keep: f64) {
    message.iter_mut().zip(new).for_each(|(old, new)| *old = keep * *old + (1.0 - keep) * new);
}

/// Raised to at least 1e-12: messages around loops must not talk each other into an impossibility.
fn floored(message: Vec<f64>) -> Vec<f64> {
    message.into_iter().map(|m| m.max(1e-12)).collect()
}

/// Scaled to sum to one; flat where there is nothing to scale.
fn normalized(weights: Vec<f64>) -> Vec<f64> {
    let sum: f64 = weights.iter().sum();
    let n = weights.len() as f64;
    if sum > 0.0 && sum.is_finite() {
        weights.into_iter().map(|w| w / sum).collect()
    } else {
        weights.into_iter().map(|_| 1.0 / n).collect()
    }
}

/// Scaled so that the largest absolute value is 1.
fn scaled(weights: Vec<f64>) -> Vec<f64> {
    let max = weights.iter().fold(0.0f64, |max, w| max.max(w.abs()));
    if max > 0.0 && max.is_finite() { weights.into_iter().map(|w| w / max).collect() } else { weights }
}
