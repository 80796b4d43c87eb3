//! What stands behind advice: how each answer moved the belief, and the part of the fault tree that matters.

use super::tree::{Asks, Edge, Kind, Node, Tree};
use super::{Block, Document, Figures, Moves, MovesRow, words};
use crate::belief::{Belief, CauseBelief, Weight};
use crate::case::Case;
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Cause, Effect, GateKind, Ix, Symptom};
use crate::model::compile::{CaseModel, Said};
use crate::model::network::{Mechanism, Network, VarIx};
use std::collections::{BTreeMap, BTreeSet};

/// The causes whose movement is told. A fourth column would not fit on a phone.
const MOVED: usize = 3;
/// The most nodes drawn: what a sheet of paper takes at a size that can be read at arm's length.
const NODES: usize = 60;
/// Causes under this are not drawn.
const LEAST: f64 = 0.02;
/// A way up is not drawn where what it leads to is so much less likely than what leads there: that is not where it went.
const FAINT: f64 = 1.0 / 3.0;

/// Adds both to a document; nothing about what there is nothing to say of.
pub(super) fn tell(known: &Known<'_>, figures: &Figures, document: &mut Document) {
    if let Some(moves) = moves(known, figures) {
        document.section("How the answers moved it");
        document.push(Block::Moves(moves));
        document.aside(
            "In decibans: +10 makes the odds ten times as good, -10 a tenth, +3 about twice; a dot is less than half a \
             deciban. Each column adds up to the way from the first line to the last.",
        );
    }
    let tree = tree(known, figures);
    if !tree.rows.is_empty() {
        document.section("The part of the fault tree that matters");
        document.push(Block::Tree(tree));
        document.aside(format!(
            "Everything stands under what it brings about; what it also leads to is joined by a line on the right. \
             Causes less likely than {} are left out, and ways up to what is far less likely than they are.",
            figures.percent(LEAST)
        ));
    }
}

/// What is known of a case.
pub(super) struct Known<'a> {
    /// The craft.
    pub laid: &'a Laid<'a>,
    /// The job.
    pub case: &'a Case,
    /// What is believed.
    pub belief: &'a Belief,
    /// Every effect instance and its chance now.
    pub effects: &'a [(Instance<Effect>, f64)],
    /// What each answer weighed.
    pub weights: &'a [Weight],
}

/// How each answer moved the leading causes, each cause once, at its likeliest place.
fn moves(known: &Known<'_>, figures: &Figures) -> Option<Moves> {
    let mut leading: Vec<&CauseBelief> = Vec::new();
    for belief in &known.belief.causes {
        if leading.len() < MOVED && leading.iter().all(|l| l.cause.item != belief.cause.item) {
            leading.push(belief);
        }
    }
    let mut said: Vec<Said> = Vec::new();
    for weight in known.weights {
        if !said.contains(&weight.said) && leading.iter().any(|l| l.cause == weight.cause) {
            said.push(weight.said);
        }
    }
    if said.is_empty() {
        return None;
    }
    let weight = |said: Said, cause: Instance<Cause>| {
        known.weights.iter().find(|w| w.said == said && w.cause == cause).map(|w| w.decibans)
    };
    let title = |c: &&CauseBelief| {
        let cause = &known.laid.knowledge.causes[c.cause.item];
        known.laid.words(&cause.title, cause.scope, c.cause.at).into()
    };
    Some(Moves {
        causes: leading.iter().map(title).collect(),
        before: leading.iter().map(|c| figures.percent_short(c.prior)).collect(),
        rows: said
            .into_iter()
            .map(|said| MovesRow {
                answer: words::said(known.laid, known.case, said, figures).into(),
                decibans: leading.iter().map(|c| weight(said, c.cause)).collect(),
            })
            .collect(),
        now: leading.iter().map(|c| figures.percent_short(c.chance)).collect(),
    })
}

/// The complaints, the causes that are likely enough, and all between them that is.
fn tree(known: &Known<'_>, figures: &Figures) -> Tree {
    let graph = Graph::new(known);
    let causes: Vec<VarIx> = known
        .belief
        .causes
        .iter()
        .filter(|c| c.chance >= LEAST)
        .filter_map(|c| known.belief.model.cause(c.cause))
        .collect();
    let drawn = graph.chosen(&causes);
    let nodes: Vec<Node> = drawn.iter().map(|var| graph.node(*var, known, figures)).collect();
    let at = |var: VarIx| drawn.iter().position(|v| *v == var);
    let edges: Vec<Edge> = drawn
        .iter()
        .flat_map(|&to| graph.inputs[&to].iter().map(move |&(from, strength)| (from, to, strength)))
        .filter_map(|(from, to, strength)| Some(Edge { from: at(from)?, to: at(to)?, strength }))
        .collect();
    Tree::new(&nodes, &edges)
}

/// What a variable stands for.
#[derive(Clone, Copy)]
enum Stands {
    Complaint(Ix<Symptom>),
    Effect(Instance<Effect>, f64),
    Cause(Instance<Cause>, f64),
}

/// The causes and effects below the complaints, joined without the variables between them that have no name.
struct Graph {
    stands: BTreeMap<VarIx, Stands>,
    inputs: BTreeMap<VarIx, Vec<(VarIx, f64)>>,
    complaints: Vec<VarIx>,
}

impl Graph {
    fn new(known: &Known<'_>) -> Self {
        let model = &known.belief.model;
        let complaints: Vec<VarIx> = known.case.symptoms.iter().filter_map(|s| model.symptom(*s)).collect();
        let mut graph = Self { stands: stands(known, model), inputs: BTreeMap::new(), complaints };
        let mut open = graph.complaints.clone();
        while let Some(var) = open.pop() {
            if graph.inputs.contains_key(&var) {
                continue;
            }
            let inputs = match graph.stands[&var] {
                Stands::Cause(..) => Vec::new(),
                _ => graph.named_inputs(&model.network, var),
            };
            open.extend(inputs.iter().map(|(from, _)| *from));
            graph.inputs.insert(var, inputs);
        }
        graph
    }

    /// The nearest causes and effects that feed a variable, each once with its greatest strength.
    fn named_inputs(&self, network: &Network, var: VarIx) -> Vec<(VarIx, f64)> {
        let mut found: BTreeMap<VarIx, f64> = BTreeMap::new();
        let mut open = vec![(var, 1.0)];
        while let Some((var, so_far)) = open.pop() {
            for (from, strength) in links(network, var) {
                let strength = so_far * strength;
                if self.stands.contains_key(&from) {
                    let known = found.entry(from).or_insert(0.0);
                    *known = known.max(strength);
                } else {
                    open.push((from, strength));
                }
            }
        }
        found.into_iter().collect()
    }

    /// The complaints, then cause after cause with all that lies on its ways up, as long as there is room.
    fn chosen(&self, causes: &[VarIx]) -> Vec<VarIx> {
        let mut chosen: BTreeSet<VarIx> = BTreeSet::new();
        for &cause in causes {
            let mut more = chosen.clone();
            self.climb(cause, &mut more);
            if more.len() <= NODES && more.contains(&cause) {
                chosen = more;
            }
        }
        chosen.into_iter().collect()
    }

    /// Adds a variable and what lies above it; nothing where no way that is not faint leads to a complaint.
    fn climb(&self, var: VarIx, chosen: &mut BTreeSet<VarIx>) -> bool {
        if chosen.contains(&var) || self.complaints.contains(&var) {
            chosen.insert(var);
            return true;
        }
        let mut reached = false;
        for (&above, inputs) in &self.inputs {
            let feeds = inputs.iter().any(|(from, _)| *from == var);
            if feeds && self.chance(above) >= FAINT * self.chance(var) {
                reached |= self.climb(above, chosen);
            }
        }
        if reached {
            chosen.insert(var);
        }
        reached
    }

    /// The chance of an effect or a cause; a complaint is there.
    fn chance(&self, var: VarIx) -> f64 {
        match self.stands[&var] {
            Stands::Effect(_, chance) | Stands::Cause(_, chance) => chance,
            Stands::Complaint(_) => 1.0,
        }
    }

    fn node(&self, var: VarIx, known: &Known<'_>, figures: &Figures) -> Node {
        let knowledge = known.laid.knowledge;
        match self.stands[&var] {
            Stands::Complaint(symptom) => Node {
                label: knowledge.symptoms[symptom].title.clone(),
                kind: Kind::Complaint,
                chance: None,
                figure: "complaint".to_owned(),
            },
            Stands::Effect(effect, chance) => {
                let item = &knowledge.effects[effect.item];
                let asks = match item.gate.kind {
                    GateKind::Any => Asks::Any,
                    GateKind::All => Asks::All,
                    GateKind::AtLeast(k) => Asks::AtLeast(k),
                };
                Node {
                    label: known.laid.words(&item.title, item.scope, effect.at),
                    kind: Kind::Effect(asks),
                    chance: Some(chance),
                    figure: figures.percent_short(chance),
                }
            }
            Stands::Cause(cause, chance) => {
                let item = &knowledge.causes[cause.item];
                Node {
                    label: known.laid.words(&item.title, item.scope, cause.at),
                    kind: Kind::Cause,
                    chance: Some(chance),
                    figure: figures.percent_short(chance),
                }
            }
        }
    }
}

fn stands(known: &Known<'_>, model: &CaseModel) -> BTreeMap<VarIx, Stands> {
    let mut stands: BTreeMap<VarIx, Stands> = BTreeMap::new();
    stands.extend(model.symptoms.iter().map(|&(symptom, var)| (var, Stands::Complaint(symptom))));
    stands.extend(model.causes.iter().map(|&(cause, var)| (var, Stands::Cause(cause, known.belief.chance(cause)))));
    for &(effect, var) in &model.effects {
        let chance = known.effects.iter().find(|(e, _)| *e == effect).map_or(0.0, |(_, chance)| *chance);
        stands.insert(var, Stands::Effect(effect, chance));
    }
    stands
}

/// What a variable is made of, and how surely each gets through.
fn links(network: &Network, var: VarIx) -> Vec<(VarIx, f64)> {
    match &network.variable(var).mechanism {
        Mechanism::Any { links, .. } | Mechanism::All { links, .. } | Mechanism::AtLeast { links, .. } => {
            links.iter().map(|link| (link.from, link.strength)).collect()
        }
        Mechanism::Table { .. } | Mechanism::Count { .. } => {
            network.parents(var).into_iter().map(|from| (from, 1.0)).collect()
        }
    }
}
