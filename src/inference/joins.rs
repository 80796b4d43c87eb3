//! In which order the chain form brings a gate's inputs together: as the star form's elimination would.
//!
//! Where the elimination of the star form multiplies two tables that both know a hidden variable, the chain form joins
//! what the two sides have gathered. Its tables then follow the same tree and are little wider, where a walk over the
//! inputs in any fixed order runs to and fro across that tree: 2^23 cells against the star's 2^16 on one cylinder.

use std::collections::BTreeMap;

use super::graph::{Graph, Target};
use super::work;

/// How inputs come together; leaves are places among the inputs of the mechanism.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Tree {
    /// One input.
    Leaf(usize),
    /// Two sides.
    Join(Box<Tree>, Box<Tree>),
}

impl Tree {
    /// Both sides as one.
    pub(super) fn join(self, other: Self) -> Self {
        Self::Join(Box::new(self), Box::new(other))
    }

    /// Whether `index` is among the leaves.
    pub(super) fn has(&self, index: usize) -> bool {
        match self {
            Self::Leaf(leaf) => *leaf == index,
            Self::Join(a, b) => a.has(index) || b.has(index),
        }
    }
}

/// The trees of gates and answers; those without one take their inputs as they come.
pub(super) type Joins = BTreeMap<Target, Tree>;

/// What a table has gathered for a hidden node.
enum Part {
    /// Some inputs.
    Inputs(Tree),
    /// The gate itself, and what it has met so far: what is left of it asks for the rest.
    Gate(Vec<Tree>),
}

impl Part {
    fn meet(self, other: Self) -> Self {
        match (self, other) {
            (Self::Inputs(a), Self::Inputs(b)) => Self::Inputs(a.join(b)),
            (Self::Gate(mut met), Self::Inputs(tree)) | (Self::Inputs(tree), Self::Gate(mut met)) => {
                met.push(tree);
                Self::Gate(met)
            }
            (Self::Gate(mut met), Self::Gate(more)) => {
                met.extend(more);
                Self::Gate(met)
            }
        }
    }

    /// The whole tree as the gate sees it: what it met first is nearest.
    fn whole(self) -> Option<Tree> {
        match self {
            Self::Inputs(tree) => Some(tree),
            Self::Gate(met) => met.into_iter().rev().reduce(|further, nearer| nearer.join(further)),
        }
    }
}

/// A table during the elimination: its nodes and what it has gathered for each hidden node.
struct Gathered {
    scope: Vec<usize>,
    parts: BTreeMap<usize, Part>,
}

/// Eliminates the star form along `sequence` without numbers and notes who meets whom.
pub(super) fn follow(graph: &Graph, cut: &[bool], sequence: &[usize]) -> Joins {
    let mut tables: Vec<Gathered> = work::scopes(graph, cut)
        .into_iter()
        .zip(&graph.factors)
        .map(|(scope, factor)| Gathered { parts: leaf(graph, factor, &scope), scope })
        .collect();
    let mut trees = Joins::new();
    for &node in sequence {
        let (mut met, rest): (Vec<Gathered>, Vec<Gathered>) =
            tables.into_iter().partition(|table| table.scope.contains(&node));
        tables = rest;
        met.sort_by_key(|table| table.scope.len());
        let mut union = Gathered { scope: vec![], parts: BTreeMap::new() };
        for table in met {
            union.scope.extend(table.scope);
            for (hidden, part) in table.parts {
                let gathered = match union.parts.remove(&hidden) {
                    Some(before) => before.meet(part),
                    None => part,
                };
                union.parts.insert(hidden, gathered);
            }
        }
        union.scope.sort_unstable();
        union.scope.dedup();
        union.scope.retain(|&other| other != node);
        if let (Some(target), Some(part)) = (graph.nodes[node].gathers, union.parts.remove(&node)) {
            trees.extend(part.whole().map(|tree| (target, tree)));
        }
        tables.push(union);
    }
    trees
}

/// What a table of the star form has gathered to begin with: a link its input, the table between a gate and its hidden
/// variable the gate.
fn leaf(graph: &Graph, factor: &super::graph::Factor, scope: &[usize]) -> BTreeMap<usize, Part> {
    let hidden = factor.scope.iter().find(|&&node| graph.nodes[node].gathers.is_some());
    let link = factor.links.iter().flatten().next();
    match (hidden, link) {
        (Some(&hidden), Some(&link)) if scope.len() == factor.scope.len() => {
            BTreeMap::from([(hidden, Part::Inputs(Tree::Leaf(graph.links[link].index)))])
        }
        (Some(&hidden), None) => BTreeMap::from([(hidden, Part::Gate(vec![]))]),
        _ => BTreeMap::new(),
    }
}
