//! A factor graph of small tables over network variables and hidden ones, and the exact simplifications made before
//! anything is eliminated.

use crate::model::network::VarIx;

use super::Error;
use super::eliminate::stride;

/// What a link leads into.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Target {
    /// The gate (or table) that the link feeds.
    Variable(VarIx),
    /// The observation whose rows read the variable, by its place among the observations.
    Answer(usize),
}

/// A dependence that can be cut: input `index` of `target` reads `from`.
#[derive(Clone, Debug)]
pub(super) struct GraphLink {
    pub(super) from: VarIx,
    pub(super) target: Target,
    pub(super) index: usize,
    /// How much the input can change its target, 0..=1.
    pub(super) strength: f64,
}

impl GraphLink {
    /// Whether both are the same link of the network, be it in different graphs.
    pub(super) fn is_same(&self, other: &Self) -> bool {
        (self.target, self.index, self.from) == (other.target, other.index, other.from)
    }
}

/// A variable of the graph.
#[derive(Clone, Debug)]
pub(super) struct Node {
    /// The network variable it stands for; `None` for a hidden one.
    pub(super) origin: Option<VarIx>,
    /// What to tell people it is about: itself, its gate, or what its answer reads.
    pub(super) about: Vec<VarIx>,
    /// For a hidden variable of the star form: whose inputs it brings together.
    pub(super) gathers: Option<Target>,
    /// For a hidden variable of the star form whose states r say "what was gathered is among r's": for each state, in
    /// order, which of the codes (one for each state) are. Empty for any other node.
    pub(super) admits: Vec<Vec<bool>>,
    /// Which states of the original are left.
    pub(super) kept: Vec<usize>,
    /// Its own table, one entry a state left: prior and observations of this variable alone.
    pub(super) unary: Vec<f64>,
}

/// A table over two or more nodes, C order.
#[derive(Clone, Debug)]
pub(super) struct Factor {
    pub(super) scope: Vec<usize>,
    pub(super) table: Vec<f64>,
    /// For each node of the scope the link it enters by, where that can be cut.
    pub(super) links: Vec<Option<usize>>,
}

/// The graph.
#[derive(Clone, Debug, Default)]
pub(super) struct Graph {
    pub(super) nodes: Vec<Node>,
    pub(super) factors: Vec<Factor>,
    pub(super) links: Vec<GraphLink>,
    /// Natural log of the constant taken out so far.
    pub(super) constant_ln: f64,
    /// The sign of that constant.
    pub(super) negative: bool,
    /// The node of each network variable; `None` where the evidence does not touch it.
    pub(super) node_of: Vec<Option<usize>>,
}

impl Graph {
    /// An empty graph for a network of `n` variables.
    pub(super) fn new(n: usize) -> Self {
        Self { node_of: vec![None; n], ..Self::default() }
    }

    /// Adds a network variable's node, with a flat table.
    pub(super) fn add_variable(&mut self, ix: VarIx, states: usize) -> usize {
        let node = self.add_hidden(&[ix], states);
        self.nodes[node].origin = Some(ix);
        self.node_of[ix.at()] = Some(node);
        node
    }

    /// Adds a hidden node, with a flat table.
    pub(super) fn add_hidden(&mut self, about: &[VarIx], states: usize) -> usize {
        let kept = (0..states).collect();
        self.nodes.push(Node {
            origin: None,
            about: about.to_vec(),
            gathers: None,
            admits: vec![],
            kept,
            unary: vec![1.0; states],
        });
        self.nodes.len() - 1
    }

    /// The number of states left of each node.
    pub(super) fn cards(&self) -> Vec<usize> {
        self.nodes.iter().map(|node| node.kept.len()).collect()
    }

    /// Adds a table over `scope` (C order). A node named twice takes the diagonal; one node alone goes to its own table.
    pub(super) fn add_factor(&mut self, scope: &[usize], table: Vec<f64>, links: &[Option<usize>]) {
        let mut distinct: Vec<usize> = Vec::with_capacity(scope.len());
        let mut kept_links = Vec::with_capacity(scope.len());
        for (&node, &link) in scope.iter().zip(links) {
            if !distinct.contains(&node) {
                distinct.push(node);
                kept_links.push(link);
            }
        }
        let table =
            if distinct.len() == scope.len() { table } else { diagonal(&self.cards(), scope, &distinct, &table) };
        match distinct[..] {
            [] => self.multiply_constant(table[0]),
            [node] => self.multiply_unary(node, &table),
            _ => self.factors.push(Factor { scope: distinct, table, links: kept_links }),
        }
    }

    fn multiply_constant(&mut self, constant: f64) {
        self.constant_ln += libm::log(constant.abs());
        self.negative ^= constant < 0.0;
    }

    /// Multiplies a node's own table, which is kept near 1 so that hundreds of answers cannot underflow.
    pub(super) fn multiply_unary(&mut self, node: usize, table: &[f64]) {
        let unary = &mut self.nodes[node].unary;
        unary.iter_mut().zip(table).for_each(|(u, t)| *u *= t);
        let max = unary.iter().fold(0.0f64, |max, u| max.max(u.abs()));
        if max > 0.0 && !(1e-3..=1e3).contains(&max) {
            for u in unary.iter_mut() {
                *u /= max;
            }
            self.constant_ln += libm::log(max);
        }
    }

    /// Takes out states that cannot be, and with them whole nodes: hard evidence makes gates fall apart here.
    ///
    /// Only entries that are zero by construction count as impossible, so nothing is read off a cancellation.
    pub(super) fn simplify(&mut self) -> Result<(), Error> {
        loop {
            let mut possible: Vec<Vec<bool>> =
                self.nodes.iter().map(|node| node.unary.iter().map(|&u| u != 0.0).collect()).collect();
            let cards = self.cards();
            for factor in &self.factors {
                for &node in &factor.scope {
                    let seen = support(&cards, factor, node);
                    possible[node].iter_mut().zip(seen).for_each(|(p, s)| *p &= s);
                }
            }
            if possible.iter().any(|states| !states.contains(&true)) {
                return Err(Error::Contradiction);
            }
            let settled = |node: usize| self.nodes[node].kept.len() == 1;
            let done = possible.iter().all(|states| !states.contains(&false))
                && self.factors.iter().all(|factor| !factor.scope.iter().any(|&node| settled(node)));
            if done {
                break;
            }
            self.restrict(&possible);
        }
        for node in 0..self.nodes.len() {
            if let [only] = self.nodes[node].unary[..] {
                self.multiply_constant(only);
                self.nodes[node].unary = vec![1.0];
            }
        }
        if self.constant_ln == f64::NEG_INFINITY { Err(Error::Contradiction) } else { Ok(()) }
    }

    /// For each node a number of the part it hangs together with; `None` for a settled node, which hangs on nothing.
    pub(super) fn components(&self) -> Vec<Option<usize>> {
        let mut part: Vec<usize> = (0..self.nodes.len()).collect();
        for factor in &self.factors {
            let roots: Vec<usize> = factor.scope.iter().map(|&node| root(&mut part, node)).collect();
            let least = roots.iter().copied().min().unwrap_or(0);
            for r in roots {
                part[r] = least;
            }
        }
        (0..self.nodes.len()).map(|node| (self.nodes[node].kept.len() > 1).then(|| root(&mut part, node))).collect()
    }

    fn restrict(&mut self, possible: &[Vec<bool>]) {
        let cards = self.cards();
        for (node, states) in self.nodes.iter_mut().zip(possible) {
            let mut keep = states.iter();
            node.kept.retain(|_| *keep.next().unwrap_or(&true));
            let mut keep = states.iter();
            node.unary.retain(|_| *keep.next().unwrap_or(&true));
        }
        for factor in std::mem::take(&mut self.factors) {
            let table = cut_down(&cards, &factor, possible);
            let stays: Vec<bool> = factor.scope.iter().map(|&node| self.nodes[node].kept.len() > 1).collect();
            let pick = |i: &usize| stays[*i];
            let scope: Vec<usize> = (0..stays.len()).filter(pick).map(|i| factor.scope[i]).collect();
            let links: Vec<Option<usize>> = (0..stays.len()).filter(pick).map(|i| factor.links[i]).collect();
            self.add_factor(&scope, table, &links);
        }
    }
}

/// Which states of `node` have a nonzero entry.
fn support(cards: &[usize], factor: &Factor, node: usize) -> Vec<bool> {
    let step = stride(cards, &factor.scope, node);
    let mut seen = vec![false; cards[node]];
    for (i, &cell) in factor.table.iter().enumerate() {
        seen[i / step % cards[node]] |= cell != 0.0;
    }
    seen
}

/// The cells of `factor` in which every node is in a possible state.
fn cut_down(cards: &[usize], factor: &Factor, possible: &[Vec<bool>]) -> Vec<f64> {
    let steps: Vec<(usize, usize)> =
        factor.scope.iter().map(|&node| (node, stride(cards, &factor.scope, node))).collect();
    let stays = |i: usize| steps.iter().all(|&(node, step)| possible[node][i / step % cards[node]]);
    factor.table.iter().enumerate().filter(|&(i, _)| stays(i)).map(|(_, &cell)| cell).collect()
}

/// The table over `distinct` nodes whose cells are those of `table` where nodes named twice agree.
fn diagonal(cards: &[usize], scope: &[usize], distinct: &[usize], table: &[f64]) -> Vec<f64> {
    let mut cells = vec![0usize];
    for &node in distinct {
        let step: usize = (0..scope.len())
            .filter(|&at| scope[at] == node)
            .map(|at| scope[at + 1..].iter().map(|&u| cards[u]).product::<usize>())
            .sum();
        cells = cells.iter().flat_map(|&base| (0..cards[node]).map(move |s| base + s * step)).collect();
    }
    cells.into_iter().map(|at| table[at]).collect()
}

/// The representative of `node`'s part, shortening the way there.
fn root(part: &mut [usize], node: usize) -> usize {
    let mut at = node;
    while part[at] != at {
        part[at] = part[part[at]];
        at = part[at];
    }
    at
}
