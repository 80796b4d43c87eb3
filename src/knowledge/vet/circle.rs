//! Circles in a graph of things that need each other.

use petgraph::algo::tarjan_scc;
use petgraph::graph::{DiGraph, NodeIndex};
use std::collections::VecDeque;

/// One shortest circle for each knot of nodes, beginning with its lowest: `[a, b, c]` where a leads to b, b to c and
/// c to a. `edges[n]` are those that `n` leads to.
pub(super) fn circles(edges: &[Vec<usize>]) -> Vec<Vec<usize>> {
    let mut graph: DiGraph<(), ()> = DiGraph::new();
    let nodes: Vec<NodeIndex> = edges.iter().map(|_| graph.add_node(())).collect();
    for (from, to) in edges.iter().enumerate().flat_map(|(from, list)| list.iter().map(move |to| (from, *to))) {
        graph.add_edge(nodes[from], nodes[to], ());
    }
    let mut found: Vec<Vec<usize>> = tarjan_scc(&graph)
        .into_iter()
        .filter_map(|knot| knot.iter().map(|n| n.index()).min())
        .filter_map(|start| shortest(edges, start))
        .collect();
    found.sort();
    found
}

/// The shortest way from a node back to itself.
fn shortest(edges: &[Vec<usize>], start: usize) -> Option<Vec<usize>> {
    let mut came_from = vec![None; edges.len()];
    let mut queue = VecDeque::from([start]);
    while let Some(node) = queue.pop_front() {
        for &next in &edges[node] {
            if next == start {
                let mut way = vec![node];
                while way[way.len() - 1] != start {
                    way.push(came_from[way[way.len() - 1]]?);
                }
                way.reverse();
                return Some(way);
            }
            if came_from[next].is_none() {
                came_from[next] = Some(node);
                queue.push_back(next);
            }
        }
    }
    None
}

/// The most ids of a circle that are shown: more are no help.
const MOST_SHOWN: usize = 12;

/// "`a` -> `b` -> `a`".
pub(super) fn shown<'a>(circle: &[usize], id: impl Fn(usize) -> &'a str) -> String {
    let mut steps: Vec<String> = circle.iter().take(MOST_SHOWN).map(|n| format!("`{}`", id(*n))).collect();
    if circle.len() > MOST_SHOWN {
        steps.push(format!("{} more", circle.len() - MOST_SHOWN));
    }
    steps.extend(circle.first().map(|n| format!("`{}`", id(*n))));
    steps.join(" -> ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_circles_are_cut() {
        let all: Vec<usize> = (0..100).collect();
        assert_eq!(shown(&all[..2], |_| "a"), "`a` -> `a` -> `a`");
        assert!(shown(&all, |_| "a").contains("-> 88 more -> `a`"));
    }

    #[test]
    fn each_knot_shows_one_circle() {
        assert_eq!(circles(&[vec![1], vec![2], vec![]]), Vec::<Vec<usize>>::new());
        assert_eq!(circles(&[vec![0]]), vec![vec![0]]);
        assert_eq!(circles(&[vec![1], vec![2, 0], vec![0], vec![4], vec![3]]), vec![vec![0, 1], vec![3, 4]]);
    }
}
