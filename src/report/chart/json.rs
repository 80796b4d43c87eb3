//! A fault tree for other programs.

use super::Charted;
use crate::chart::cuts::CutSet;
use crate::chart::importance::Importance;
use crate::chart::{Stands, Top};
use petgraph::graph::NodeIndex;
use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::Serialize;

/// What `chart --format json` prints.
#[derive(Serialize, JsonSchema)]
struct Json<'a> {
    /// The event at the top: a symptom, or an effect with its place where there are several.
    top: String,
    /// The layout of the craft.
    layout: &'a str,
    /// The chance of the event, given what was answered.
    #[schemars(range(min = 0, max = 1))]
    probability: f64,
    /// Whether the chances are exact to rounding; false where links were cut.
    exact: bool,
    /// What is drawn.
    nodes: Vec<Node>,
    /// What brings what about.
    edges: Vec<Edge>,
    /// How many causes below the event are not among the nodes; --most draws more.
    causes_left_out: usize,
    /// The most causes of a cut set that were asked for.
    order: usize,
    /// How many minimal cut sets there are of one cause, of two, and so on; null where there was no room for them.
    cut_set_counts: Option<&'a [u64]>,
    /// The minimal cut sets, those of fewest causes first; ten thousand at most. Null where there was no room for them.
    cut_sets: Option<Vec<Set>>,
    /// How much each cause below the event matters to it, the likeliest given the event first.
    importance: Vec<Measures>,
}

/// Something that is drawn.
#[derive(Serialize, JsonSchema)]
struct Node {
    /// Its number, to which edges refer.
    #[serde(rename = "node")]
    number: usize,
    /// What it is.
    kind: Kind,
    /// Its id, with its place where there are several; of a count what it counts, in words.
    id: String,
}

#[derive(Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
enum Kind {
    /// A complaint.
    Symptom,
    /// A state of the craft between causes and complaints.
    Effect,
    /// A cause.
    Cause,
    /// So many of what leads to it.
    Count,
}

/// One thing brings another about.
#[derive(Serialize, JsonSchema)]
struct Edge {
    /// The node that brings it about.
    from: usize,
    /// The node that is brought about.
    to: usize,
    /// How surely it gets through.
    #[schemars(range(min = 0, max = 1))]
    strength: f64,
}

/// A smallest set of causes that can bring the event about.
#[derive(Serialize, JsonSchema)]
struct Set {
    /// The causes.
    causes: Vec<String>,
    /// The chance that all are there, before any answer.
    #[schemars(range(min = 0, max = 1))]
    chance: f64,
    /// How surely they then bring the event about, with no other cause; null where it was not worked out.
    #[schemars(range(min = 0, max = 1))]
    brings: Option<f64>,
}

/// Measures of one cause; T is the event, i the cause. Null where the cause is sure, one way or the other.
#[derive(Serialize, JsonSchema)]
struct Measures {
    /// The cause, with its place where there are several.
    cause: String,
    /// P(i)
    #[schemars(range(min = 0, max = 1))]
    chance: f64,
    /// P(i given T)
    #[schemars(range(min = 0, max = 1))]
    given_top: f64,
    /// P(T given i) - P(T given not i)
    birnbaum: Option<f64>,
    /// Birnbaum P(i) / P(T), which is 1 - 1 / RRW
    criticality: Option<f64>,
    /// P(T given i) / P(T), risk achievement worth
    raw: Option<f64>,
    /// P(T) / P(T given not i), risk reduction worth; null also where the event cannot be without the cause
    rrw: Option<f64>,
}

/// The shape of what [`Charted::json`] makes.
#[must_use]
pub fn shape(shapes: &mut SchemaGenerator) -> Schema {
    shapes.subschema_for::<Json<'static>>()
}

impl Charted<'_> {
    /// Everything for other programs.
    ///
    /// # Panics
    /// Never: plain data becomes JSON.
    #[must_use]
    pub fn json(&self) -> String {
        let graph = &self.drawn.graph;
        let node = |at: NodeIndex| Node { number: at.index(), kind: kind(graph[at].1), id: self.id(graph[at].1) };
        let inputs = |to: NodeIndex| {
            let edge = move |(from, strength): (NodeIndex, f64)| Edge { from: from.index(), to: to.index(), strength };
            self.drawn.inputs(to).into_iter().map(edge)
        };
        let json = Json {
            top: match self.top {
                Top::Symptom(symptom) => self.id(Stands::Symptom(symptom)),
                Top::Effect(effect) => self.id(Stands::Effect(effect)),
            },
            layout: self.laid.knowledge.layouts.id(self.laid.craft.layout),
            probability: self.importances.top,
            exact: !self.importances.cut,
            nodes: graph.node_indices().map(node).collect(),
            edges: graph.node_indices().flat_map(inputs).collect(),
            causes_left_out: self.left_out,
            order: self.by_order.len(),
            cut_set_counts: self.cuts.is_ok().then_some(self.by_order),
            cut_sets: self.cuts.ok().map(|cuts| cuts.iter().map(|cut| self.set(cut)).collect()),
            importance: self.importances.causes.iter().map(|i| self.measures(i)).collect(),
        };
        let mut text = serde_json::to_string_pretty(&json).expect("plain data becomes JSON");
        text.push('\n');
        text
    }

    fn set(&self, cut: &CutSet) -> Set {
        Set { causes: self.labels(&cut.causes), chance: cut.chance, brings: cut.brings }
    }

    fn measures(&self, i: &Importance) -> Measures {
        Measures {
            cause: self.label(i.cause),
            chance: i.chance,
            given_top: i.diagnostic,
            birnbaum: i.birnbaum,
            criticality: i.criticality,
            raw: i.achievement,
            rrw: i.reduction,
        }
    }
}

fn kind(what: Stands) -> Kind {
    match what {
        Stands::Symptom(_) => Kind::Symptom,
        Stands::Effect(_) => Kind::Effect,
        Stands::Cause(_) => Kind::Cause,
        Stands::Count(..) => Kind::Count,
    }
}
