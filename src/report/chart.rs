//! A fault tree with its cut sets and importances, as a document, as DOT and for other programs.

mod json;

pub use json::shape as chart_shape;

use super::tree::{Asks, Kind, Node, Row, Tree};
use super::{Block, Column, Document, Figures, Rich, Table};
use crate::chart::cuts::{CutSet, TooMany};
use crate::chart::importance::{Importance, Importances};
use crate::chart::{Chart, Stands, Top};
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Cause, GateKind};
use crate::model::network::VarIx;
use petgraph::graph::NodeIndex;
use std::cmp::Reverse;
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// So many rows of a table are shown at a terminal; JSON has them all.
const ROWS: usize = 15;

/// What was worked out about an event.
pub struct Charted<'a> {
    /// The craft.
    pub laid: &'a Laid<'a>,
    /// The event.
    pub top: Top,
    /// What is below it, as much as is drawn.
    pub drawn: &'a Chart,
    /// How many causes are below it and not drawn.
    pub left_out: usize,
    /// The cut sets, as many as are listed, or where there was no room for them.
    pub cuts: Result<&'a [CutSet], TooMany>,
    /// How many cut sets there are of one cause, of two, and so on to the most that were asked for.
    pub by_order: &'a [u64],
    /// The chance of the event and what each cause has to do with it.
    pub importances: &'a Importances,
    /// Whether answers of a case were taken into account.
    pub answered: bool,
}

impl Charted<'_> {
    /// The tree as it is drawn; the figures are chances where the event is there. Everything stands under what it brings
    /// about by its strongest way to the top, so that a short way is not hidden behind a long one.
    #[must_use]
    pub fn tree(&self, figures: &Figures) -> Tree {
        let graph = &self.drawn.graph;
        let mut order: Vec<NodeIndex> = graph.node_indices().collect();
        // What stands later in the network is nearer to the top.
        order.sort_by_key(|node| Reverse(graph[*node].0));
        let mut way: BTreeMap<NodeIndex, f64> = BTreeMap::from([(self.drawn.top, 1.0)]);
        let mut under: BTreeMap<NodeIndex, NodeIndex> = BTreeMap::new();
        for to in order {
            let so_far = way.get(&to).copied().unwrap_or(0.0);
            for (from, strength) in self.drawn.inputs(to) {
                if way.get(&from).is_none_or(|known| so_far * strength > *known) {
                    way.insert(from, so_far * strength);
                    under.insert(from, to);
                }
            }
        }
        let mut below: BTreeMap<NodeIndex, Vec<NodeIndex>> = BTreeMap::new();
        for (from, to) in &under {
            below.entry(*to).or_default().push(*from);
        }
        let chance = |node: NodeIndex| self.given_top(graph[node].0);
        for list in below.values_mut() {
            list.sort_by(|a, b| chance(*b).total_cmp(&chance(*a)).then(graph[*a].0.cmp(&graph[*b].0)));
        }
        let mut placed: Vec<(NodeIndex, usize)> = Vec::new();
        let mut open = vec![(self.drawn.top, 0)];
        while let Some((node, layer)) = open.pop() {
            placed.push((node, layer));
            open.extend(below.get(&node).into_iter().flatten().rev().map(|next| (*next, layer + 1)));
        }
        let row_of: BTreeMap<NodeIndex, usize> = placed.iter().map(|(node, _)| *node).zip(0..).collect();
        let row = |&(node, layer): &(NodeIndex, usize)| {
            let main = under.get(&node);
            let mut also: Vec<usize> =
                graph.neighbors(node).filter(|to| Some(to) != main).filter_map(|to| row_of.get(&to)).copied().collect();
            also.sort_unstable();
            also.dedup();
            Row {
                node: self.node(graph[node], figures),
                layer,
                under: main.and_then(|to| row_of.get(to)).copied(),
                also,
            }
        };
        Tree { rows: placed.iter().map(row).collect() }
    }

    /// The chance of what a variable stands for, the event taken as there.
    fn given_top(&self, var: VarIx) -> f64 {
        let known = &self.importances.given_top;
        known.binary_search_by_key(&var, |(known, _)| *known).map_or(0.0, |at| known[at].1)
    }

    fn node(&self, (var, what): (VarIx, Stands), figures: &Figures) -> Node {
        let (laid, knowledge) = (self.laid, self.laid.knowledge);
        let chance = self.given_top(var);
        let given =
            |label: String, kind| Node { label, kind, chance: Some(chance), figure: figures.percent_short(chance) };
        let top = |label: String| {
            let figure = figures.percent_short(self.importances.top);
            Node { label, kind: Kind::Complaint, chance: None, figure }
        };
        match what {
            Stands::Symptom(symptom) => top(knowledge.symptoms[symptom].title.clone()),
            Stands::Effect(effect) => {
                let item = &knowledge.effects[effect.item];
                let label = laid.words(&item.title, item.scope, effect.at);
                let asks = match item.gate.kind {
                    GateKind::Any => Asks::Any,
                    GateKind::All => Asks::All,
                    GateKind::AtLeast(k) => Asks::AtLeast(k),
                };
                if self.top == Top::Effect(effect) { top(label) } else { given(label, Kind::Effect(asks)) }
            }
            Stands::Cause(cause) => {
                let item = &knowledge.causes[cause.item];
                given(laid.words(&item.title, item.scope, cause.at), Kind::Cause)
            }
            Stands::Count(least, most, of) => given(counted(least, most, of), Kind::Effect(Asks::Any)),
        }
    }

    /// The tree, the cut sets, the importances.
    #[must_use]
    pub fn document(&self, figures: &Figures) -> Document {
        let mut document = Document::new();
        document.title(format!("Fault tree: {}", self.top.title(self.laid)).as_str());
        document.paragraph(
            format!(
                "{}. {} the event comes about in {} of jobs; what stands beside the rest is its chance where it does.",
                self.laid.layout().title,
                if self.answered { "After the answers of the case" } else { "Before any answer" },
                figures.percent(self.importances.top)
            )
            .as_str(),
        );
        document.push(Block::Tree(self.tree(figures)));
        if self.left_out > 0 {
            let causes = if self.left_out == 1 { "cause is" } else { "causes are" };
            document.aside(format!("{} less likely {causes} not drawn; --most draws more.", self.left_out).as_str());
        }
        self.tell_cuts(&mut document, figures);
        self.tell_importances(&mut document, figures);
        document
    }

    fn tell_cuts(&self, document: &mut Document, figures: &Figures) {
        document.section(format!("Minimal cut sets of up to {} causes", self.by_order.len()).as_str());
        let cuts = match self.cuts {
            Ok(cuts) => cuts,
            Err(many) => return document.paragraph(self.no_room(many).as_str()),
        };
        if cuts.is_empty() {
            return document.paragraph("There are none: no so few causes bring the event about.");
        }
        document.paragraph(orders(self.by_order).as_str());
        let row = |cut: &CutSet| -> Vec<Rich> {
            let brings = cut.brings.map(|brings| figures.percent_short(brings)).unwrap_or_default();
            vec![self.labels(&cut.causes).join(" + ").into(), small(cut.chance).into(), brings.into()]
        };
        document.push(Block::Table(Table {
            columns: vec![Column::words("causes"), Column::figures("chance"), Column::figures("brings it about")],
            rows: cuts.iter().take(ROWS).map(row).collect(),
            total: None,
        }));
        if cuts.len() > ROWS {
            let listed = cuts.len() as u64;
            let rest = if in_all(self.by_order) > listed { "; the rest are counted only" } else { "" };
            document.aside(format!("{} more are in --format json{rest}.", cuts.len() - ROWS).as_str());
        }
        document.aside(
            "A cut set is a smallest set of causes that can bring the event about: gates are noisy here, so an input counts \
             as getting through where its strength is above 0, leaks are left out, and \"some, not all\" counts as \"at \
             least one\". \"Chance\" is that all are there, before any answer; \"brings it about\" is how surely they then \
             do, with no other cause.",
        );
    }

    /// Where the sets take more room than there is.
    fn no_room(&self, TooMany { at, room }: TooMany) -> String {
        let id = self.id(at);
        format!(
            "The sets that bring `{id}` about take more than {room} nodes of a decision diagram; ask for a lower --order."
        )
    }

    fn tell_importances(&self, document: &mut Document, figures: &Figures) {
        document.section("Importance");
        let row = |i: &Importance| -> Vec<Rich> {
            let optional = |value: Option<f64>| Rich::from(value.map(small).unwrap_or_default());
            vec![
                self.label(i.cause).into(),
                small(i.chance).into(),
                figures.percent_short(i.diagnostic).into(),
                optional(i.birnbaum),
                optional(i.criticality),
                optional(i.achievement),
                optional(i.reduction),
            ]
        };
        let figures_of = ["chance", "given top", "Birnbaum", "criticality", "RAW", "RRW"];
        document.push(Block::Table(Table {
            columns: std::iter::once(Column::words("cause")).chain(figures_of.map(Column::figures)).collect(),
            rows: self.importances.causes.iter().take(ROWS).map(row).collect(),
            total: None,
        }));
        let near = if self.importances.cut { " Links were cut: the figures are near, not exact; --exact." } else { "" };
        document.aside(
            format!(
                "T the event, i the cause. Given top: P(i given T). Birnbaum: P(T given i) - P(T given not i). Criticality: \
                 Birnbaum P(i) / P(T), which is 1 - 1/RRW and often called Fussell-Vesely. RAW: P(T given i) / P(T). RRW: \
                 P(T) / P(T given not i).{near}"
            )
            .as_str(),
        );
    }

    fn label(&self, cause: Instance<Cause>) -> String {
        let knowledge = self.laid.knowledge;
        self.laid.label(knowledge.causes.id(cause.item), knowledge.causes[cause.item].scope, cause.at)
    }

    fn labels(&self, causes: &[Instance<Cause>]) -> Vec<String> {
        causes.iter().map(|cause| self.label(*cause)).collect()
    }

    fn id(&self, what: Stands) -> String {
        let knowledge = self.laid.knowledge;
        match what {
            Stands::Symptom(symptom) => knowledge.symptoms.id(symptom).to_owned(),
            Stands::Effect(effect) => {
                self.laid.label(knowledge.effects.id(effect.item), knowledge.effects[effect.item].scope, effect.at)
            }
            Stands::Cause(cause) => self.label(cause),
            Stands::Count(least, most, of) => counted(least, most, of),
        }
    }

    /// The graph in the language of Graphviz.
    #[must_use]
    pub fn dot(&self, figures: &Figures) -> String {
        let graph = &self.drawn.graph;
        let mut text = String::from("digraph fault_tree {\n  rankdir=BT;\n  node [fontname=\"sans-serif\"];\n");
        for node in graph.node_indices() {
            let drawn = self.node(graph[node], figures);
            let shape = match drawn.kind {
                Kind::Complaint => "box, style=bold",
                Kind::Effect(_) => "box",
                Kind::Cause => "ellipse",
            };
            let asks = drawn.kind.asks().map(|asks| format!("\n[{asks}]")).unwrap_or_default();
            let figure = if drawn.figure.is_empty() { String::new() } else { format!("\n{}", drawn.figure) };
            let label = escaped(&format!("{}{asks}{figure}", drawn.label));
            let _ = writeln!(text, "  n{} [label=\"{label}\", shape={shape}];", node.index());
        }
        for node in graph.node_indices() {
            for (from, strength) in self.drawn.inputs(node) {
                let _ = writeln!(text, "  n{} -> n{} [label=\"{strength}\"];", from.index(), node.index());
            }
        }
        text.push_str("}\n");
        text
    }
}

/// "some of these, not all".
fn counted(least: usize, most: usize, of: usize) -> String {
    match (least, most) {
        (_, 0) => "nothing this craft has".to_owned(),
        (2, 2) if of == 2 => "both of these".to_owned(),
        (1, 1) if of == 2 => "one of these, not both".to_owned(),
        (least, most) if (least, most) == (of, of) => "all of these".to_owned(),
        (1, most) if most == of => "any of these".to_owned(),
        (1, most) if most + 1 == of => "some of these, not all".to_owned(),
        (least, most) if least == most => format!("exactly {least} of these"),
        (least, most) => format!("{least} to {most} of these"),
    }
}

fn in_all(by_order: &[u64]) -> u64 {
    by_order.iter().fold(0, |all, more| all.saturating_add(*more))
}

/// "12 in all: 0 of 1 cause, 12 of 2."
fn orders(by_order: &[u64]) -> String {
    let of = |(count, order): (&u64, usize)| format!("{count} of {order}{}", if order == 1 { " cause" } else { "" });
    let each: Vec<String> = by_order.iter().zip(1..).map(of).collect();
    format!("{} in all: {}. The likeliest to bring it about come first.", in_all(by_order), each.join(", "))
}

/// Three figures; small ones by powers of ten.
fn small(value: f64) -> String {
    if value != 0.0 && value.abs() < 0.001 { format!("{value:.2e}") } else { super::figures::to_figures(value, 3) }
}

fn escaped(text: &str) -> String {
    text.replace('\\', "\\\\").replace('"', "\\\"").replace('\n', "\\n")
}
