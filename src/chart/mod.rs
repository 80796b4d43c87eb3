//! The fault tree below an event, as a graph: what brings it about ([`Chart`]), the smallest sets of causes that can
//! ([`cuts`], by a decision diagram: [`diagram`]), and how much each cause matters to it ([`importance`]).

pub mod cuts;
pub mod diagram;
pub mod importance;

use crate::case::Case;
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Cause, Effect, Ix, Symptom};
use crate::model::compile::CaseModel;
use crate::model::network::{Mechanism, Network, VarIx};
use petgraph::graph::{DiGraph, NodeIndex};
use petgraph::visit::{Dfs, EdgeRef, Reversed};
use petgraph::{Direction, Graph};
use std::collections::BTreeMap;

/// What is at the top: what the chart is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Top {
    /// A complaint.
    Symptom(Ix<Symptom>),
    /// An effect, at one place.
    Effect(Instance<Effect>),
}

/// What a node stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stands {
    /// A complaint.
    Symptom(Ix<Symptom>),
    /// An effect.
    Effect(Instance<Effect>),
    /// A cause.
    Cause(Instance<Cause>),
    /// A count over its inputs, which has no name: on where at least so many of them are, and at most so many, of how
    /// many.
    Count(usize, usize, usize),
}

/// The part of a network below one event.
#[derive(Clone, Debug)]
pub struct Chart {
    /// An edge from each input to what it brings about, with its strength.
    pub graph: DiGraph<(VarIx, Stands), f64>,
    /// The node at the top.
    pub top: NodeIndex,
}

impl Top {
    /// The event of this id (`no-fuel@rear` where there are several places); `None` where the craft has none such. An
    /// effect without a place on a craft with several is its first.
    #[must_use]
    pub fn find(laid: &Laid<'_>, id: &str) -> Option<Self> {
        if let Some(symptom) = laid.knowledge.symptoms.find(id) {
            return Some(Self::Symptom(symptom));
        }
        let (effect, places) = laid.parse(&laid.knowledge.effects, |effect| effect.scope, id)?;
        places.first().map(|&at| Self::Effect(Instance::new(effect, at)))
    }

    /// Its variable; `None` where the craft cannot have it.
    #[must_use]
    pub fn variable(self, model: &CaseModel) -> Option<VarIx> {
        match self {
            Self::Symptom(symptom) => model.symptom(symptom),
            Self::Effect(effect) => model.effects.iter().find(|(known, _)| *known == effect).map(|(_, var)| *var),
        }
    }

    /// Its title.
    #[must_use]
    pub fn title(self, laid: &Laid<'_>) -> String {
        match self {
            Self::Symptom(symptom) => laid.knowledge.symptoms[symptom].title.clone(),
            Self::Effect(at) => {
                let effect = &laid.knowledge.effects[at.item];
                laid.words(&effect.title, effect.scope, at.at)
            }
        }
    }
}

impl Chart {
    /// What is below a variable. Roots that put a cause on several places at once belong to the cause, and are not shown.
    #[must_use]
    pub fn below(model: &CaseModel, top: VarIx) -> Self {
        let known = stands(model);
        let mut graph = Graph::new();
        let mut nodes: BTreeMap<VarIx, NodeIndex> = BTreeMap::new();
        let mut open = vec![top];
        while let Some(var) = open.pop() {
            if nodes.contains_key(&var) {
                continue;
            }
            let what = known.get(&var).copied().unwrap_or_else(|| counted(&model.network, var));
            nodes.insert(var, graph.add_node((var, what)));
            if !matches!(what, Stands::Cause(_)) {
                open.extend(inputs(&model.network, var).into_iter().map(|(from, _)| from));
            }
        }
        for (&var, &node) in &nodes {
            if !matches!(graph[node].1, Stands::Cause(_)) {
                for (from, strength) in inputs(&model.network, var) {
                    graph.add_edge(nodes[&from], node, strength);
                }
            }
        }
        Self { top: nodes[&top], graph }
    }

    /// Every cause below, in the order of the network.
    #[must_use]
    pub fn causes(&self) -> Vec<(Instance<Cause>, VarIx)> {
        let mut causes: Vec<(Instance<Cause>, VarIx)> = self
            .graph
            .node_weights()
            .filter_map(|(var, what)| if let Stands::Cause(cause) = what { Some((*cause, *var)) } else { None })
            .collect();
        causes.sort_by_key(|(_, var)| *var);
        causes
    }

    /// The same with no more than `most` nodes: causes are taken in this order, each with every way from it to the top,
    /// as long as there is room. How many causes were left out.
    #[must_use]
    pub fn pruned(&self, most: usize, order: &[VarIx]) -> (Self, usize) {
        let mut kept: Vec<bool> = vec![false; self.graph.node_count()];
        kept[self.top.index()] = true;
        let mut left_out = 0;
        for var in order {
            let Some(node) = self.graph.node_indices().find(|n| self.graph[*n].0 == *var) else { continue };
            let mut more = kept.clone();
            let mut up = Dfs::new(&self.graph, node);
            while let Some(next) = up.next(&self.graph) {
                more[next.index()] = true;
            }
            if more.iter().filter(|kept| **kept).count() <= most { kept = more } else { left_out += 1 }
        }
        let top = self.graph[self.top].0;
        let graph = self.graph.filter_map(|n, what| kept[n.index()].then_some(*what), |_, strength| Some(*strength));
        let top = graph.node_indices().find(|n| graph[*n].0 == top).unwrap_or_default();
        (Self { graph, top }, left_out)
    }

    /// Inputs of a node, the order of the network.
    #[must_use]
    pub fn inputs(&self, node: NodeIndex) -> Vec<(NodeIndex, f64)> {
        let mut inputs: Vec<(NodeIndex, f64)> =
            self.graph.edges_directed(node, Direction::Incoming).map(|edge| (edge.source(), *edge.weight())).collect();
        inputs.sort_by_key(|(from, _)| self.graph[*from].0);
        inputs
    }

    /// How many nodes lead to the top, itself among them: all there are.
    #[must_use]
    pub fn reaches_top(&self) -> usize {
        let turned = Reversed(&self.graph);
        let mut down = Dfs::new(turned, self.top);
        let mut count = 0;
        while down.next(turned).is_some() {
            count += 1;
        }
        count
    }
}

/// What each variable with a name stands for.
fn stands(model: &CaseModel) -> BTreeMap<VarIx, Stands> {
    let mut known: BTreeMap<VarIx, Stands> = BTreeMap::new();
    known.extend(model.symptoms.iter().map(|&(symptom, var)| (var, Stands::Symptom(symptom))));
    known.extend(model.effects.iter().map(|&(effect, var)| (var, Stands::Effect(effect))));
    known.extend(model.causes.iter().map(|&(cause, var)| (var, Stands::Cause(cause))));
    known
}

fn counted(network: &Network, var: VarIx) -> Stands {
    match &network.variable(var).mechanism {
        Mechanism::Count { of, least, most } => Stands::Count(*least, *most, of.len()),
        // What this craft cannot have: so many of nothing.
        _ => Stands::Count(1, 0, 0),
    }
}

/// What a variable is made of, and how surely each gets through.
fn inputs(network: &Network, var: VarIx) -> Vec<(VarIx, f64)> {
    match &network.variable(var).mechanism {
        Mechanism::Any { links, .. } | Mechanism::All { links, .. } | Mechanism::AtLeast { links, .. } => {
            links.iter().map(|link| (link.from, link.strength)).collect()
        }
        Mechanism::Table { .. } | Mechanism::Count { .. } => {
            network.parents(var).into_iter().map(|from| (from, 1.0)).collect()
        }
    }
}

/// The layout and symptoms of a case, of which nothing is known yet.
#[must_use]
pub fn unasked(laid: &Laid<'_>) -> Case {
    Case { craft: laid.craft.clone(), ..crate::case::usual_case(laid.knowledge) }
}
