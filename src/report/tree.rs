//! A part of the fault tree laid out in layers: the complaint first, every cause as deep as its longest way up.
//!
//! Each node has a row of its own, set in by its layer, so that no words are ever crossed and sixty nodes stay legible on
//! a sheet of paper. A node stands under the parent in the layer before that it does most for; its other ways up are
//! links, drawn beside the rows or said in words.

/// What a node is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// What the customer complains of.
    Complaint,
    /// Something that causes bring about; the words say what its gate asks for, where any one input is not enough.
    Effect(Asks),
    /// What a repair can remove.
    Cause,
}

/// What a gate asks of its inputs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Asks {
    /// Any one of them.
    Any,
    /// All of them.
    All,
    /// At least so many.
    AtLeast(usize),
}

/// One node.
#[derive(Clone, Debug, PartialEq)]
pub struct Node {
    /// In plain words.
    pub label: String,
    /// What it is.
    pub kind: Kind,
    /// Its chance now, 0..=1; `None` for what is not a matter of belief.
    pub chance: Option<f64>,
    /// The chance in figures.
    pub figure: String,
}

/// A way from an input to what it brings about.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Edge {
    /// The input, as a position among the nodes.
    pub from: usize,
    /// What it brings about.
    pub to: usize,
    /// How surely, 0..=1.
    pub strength: f64,
}

/// One row of the drawing.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// What stands in it.
    pub node: Node,
    /// How deep: 0 for a complaint, for all others one more than the deepest of their parents.
    pub layer: usize,
    /// The row of the parent it stands under; always above, always one layer up.
    pub under: Option<usize>,
    /// The rows of its other parents.
    pub also: Vec<usize>,
}

/// The rows of the drawing, from the top.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Tree {
    /// The rows.
    pub rows: Vec<Row>,
}

impl Tree {
    /// Lays out nodes and edges. What lies on a circle is left out: there is none in a fault tree.
    ///
    /// Cost: nodes times edges.
    #[must_use]
    pub fn new(nodes: &[Node], edges: &[Edge]) -> Self {
        let layers = layers(nodes.len(), edges);
        let main: Vec<Option<usize>> = (0..nodes.len()).map(|node| main_parent(node, &layers, edges)).collect();
        let mut order = Vec::new();
        let mut roots: Vec<usize> = (0..nodes.len()).filter(|&n| layers[n] == Some(0)).collect();
        sort_by_chance(&mut roots, nodes);
        for root in roots {
            descend(root, nodes, &main, &mut order);
        }
        let row_of = |node: usize| order.iter().position(|&n| n == node);
        let rows = order.iter().map(|&node| {
            let mut also: Vec<usize> = edges
                .iter()
                .filter(|edge| edge.from == node && Some(edge.to) != main[node])
                .filter_map(|edge| row_of(edge.to))
                .collect();
            also.sort_unstable();
            also.dedup();
            Row {
                node: nodes[node].clone(),
                layer: layers[node].unwrap_or(0),
                under: main[node].and_then(row_of),
                also,
            }
        });
        Self { rows: rows.collect() }
    }

    /// The same in words, a line for each row, with how deep it stands.
    #[must_use]
    pub fn outline(&self) -> Vec<(usize, String)> {
        self.rows.iter().map(|row| (row.layer, self.said(row))).collect()
    }

    /// "Low compression, front (9 in 10); also leads to: weak draw, front".
    fn said(&self, row: &Row) -> String {
        let mut said = row.node.label.clone();
        if let Some(asks) = row.node.kind.asks() {
            said = format!("{said} [{asks}]");
        }
        if !row.node.figure.is_empty() {
            said = format!("{said}: {}", row.node.figure);
        }
        if row.also.is_empty() {
            return said;
        }
        let also: Vec<String> =
            row.also.iter().map(|&at| super::words::lower_first(&self.rows[at].node.label)).collect();
        format!("{said}; also leads to {}", also.join("; "))
    }
}

impl Kind {
    /// What its gate asks for, in words, where one input is not enough.
    #[must_use]
    pub fn asks(self) -> Option<String> {
        match self {
            Self::Effect(Asks::All) => Some("takes all below".to_owned()),
            Self::Effect(Asks::AtLeast(k)) => Some(format!("takes {k} of those below")),
            Self::Effect(Asks::Any) | Self::Complaint | Self::Cause => None,
        }
    }
}

/// The layer of each node: 0 where nothing stands above it, else one more than the deepest parent; `None` on a circle.
fn layers(n: usize, edges: &[Edge]) -> Vec<Option<usize>> {
    let mut layers: Vec<Option<usize>> =
        (0..n).map(|node| (!edges.iter().any(|edge| edge.from == node)).then_some(0)).collect();
    // A node gets its layer when all its parents have theirs; each pass settles at least one of what can be settled.
    for _ in 0..n {
        for node in 0..n {
            if layers[node].is_some() {
                continue;
            }
            let parents: Option<Vec<usize>> =
                edges.iter().filter(|edge| edge.from == node).map(|edge| layers[edge.to]).collect();
            layers[node] = parents.and_then(|parents| parents.into_iter().max()).map(|deepest| deepest + 1);
        }
    }
    layers
}

/// The parent in the layer before through which a node does most; of equals the first.
fn main_parent(node: usize, layers: &[Option<usize>], edges: &[Edge]) -> Option<usize> {
    let before = layers[node]?.checked_sub(1)?;
    let mut best: Option<Edge> = None;
    for edge in edges.iter().filter(|edge| edge.from == node && layers[edge.to] == Some(before)) {
        if best.is_none_or(|best| edge.strength > best.strength) {
            best = Some(*edge);
        }
    }
    best.map(|edge| edge.to)
}

fn descend(node: usize, nodes: &[Node], main: &[Option<usize>], order: &mut Vec<usize>) {
    order.push(node);
    let mut below: Vec<usize> = (0..nodes.len()).filter(|&n| main[n] == Some(node)).collect();
    sort_by_chance(&mut below, nodes);
    for child in below {
        descend(child, nodes, main, order);
    }
}

/// The likeliest first; of equals the first.
fn sort_by_chance(those: &mut [usize], nodes: &[Node]) {
    let chance = |node: usize| nodes[node].chance.unwrap_or(1.0);
    those.sort_by(|&a, &b| chance(b).total_cmp(&chance(a)).then(a.cmp(&b)));
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn node(label: &str, chance: f64) -> Node {
        Node { label: label.to_owned(), kind: Kind::Cause, chance: Some(chance), figure: String::new() }
    }

    fn edge(from: usize, to: usize, strength: f64) -> Edge {
        Edge { from, to, strength }
    }

    #[test]
    fn a_shared_cause_stands_once_and_names_its_other_way() {
        let nodes = [node("top", 1.0), node("left", 0.3), node("right", 0.6), node("shared", 0.2)];
        let edges = [edge(1, 0, 0.9), edge(2, 0, 0.9), edge(3, 1, 0.9), edge(3, 2, 0.5)];
        let tree = Tree::new(&nodes, &edges);
        let labels: Vec<&str> = tree.rows.iter().map(|row| row.node.label.as_str()).collect();
        assert_eq!(labels, ["top", "right", "left", "shared"]);
        assert_eq!(tree.rows[3], Row { node: nodes[3].clone(), layer: 2, under: Some(2), also: vec![1] });
        assert_eq!(tree.outline()[3], (2, "shared; also leads to right".to_owned()));
    }

    #[test]
    fn a_short_cut_does_not_lift_a_node() {
        let nodes = [node("top", 1.0), node("middle", 0.5), node("cause", 0.5)];
        let tree = Tree::new(&nodes, &[edge(2, 0, 0.9), edge(2, 1, 0.1), edge(1, 0, 0.5)]);
        assert_eq!((tree.rows[2].layer, tree.rows[2].under, &tree.rows[2].also), (2, Some(1), &vec![0]));
    }

    proptest! {
        /// Every node has one row, below its main parent and one layer deeper; every edge is drawn once.
        #[test]
        fn every_node_and_edge_is_drawn(picks in prop::collection::vec((0_usize..60, 0_usize..60, 0.0..1.0), 0..150)) {
            let n = 60;
            let nodes: Vec<Node> = (0..n).map(|at| node(&at.to_string(), 0.5)).collect();
            let mut edges: Vec<Edge> = Vec::new();
            for (a, b, strength) in picks {
                if a != b && !edges.iter().any(|e| (e.from, e.to) == (a.max(b), a.min(b))) {
                    edges.push(edge(a.max(b), a.min(b), strength));
                }
            }
            let tree = Tree::new(&nodes, &edges);
            prop_assert_eq!(tree.rows.len(), n);
            let drawn: usize = tree.rows.iter().map(|row| row.also.len() + usize::from(row.under.is_some())).sum();
            prop_assert_eq!(drawn, edges.len());
            for (at, row) in tree.rows.iter().enumerate() {
                prop_assert_eq!(row.under.is_none(), row.layer == 0);
                if let Some(under) = row.under {
                    prop_assert!(under < at && tree.rows[under].layer + 1 == row.layer);
                    // Between a row and its parent nothing stands as far out as the parent: no line crosses words.
                    prop_assert!(tree.rows[under + 1..at].iter().all(|between| between.layer > tree.rows[under].layer));
                }
                prop_assert!(row.also.iter().all(|&also| tree.rows[also].layer < row.layer));
            }
        }
    }
}
