//! The graph of disassembly, what is open now, and what it costs to reach further and to put back.

use crate::case::{Case, Event, Position};
use crate::knowledge::layout::Laid;
use crate::knowledge::{Access, Check, Ix, Knowledge};
use crate::units::Minutes;
use petgraph::algo::toposort;
use petgraph::graph::{DiGraph, NodeIndex};
use petgraph::visit::{Bfs, Reversed};

/// What is open: one flag for each access state of the knowledge base.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct OpenSet(Vec<bool>);

impl OpenSet {
    /// Whether `access` is open.
    #[must_use]
    pub fn has(&self, access: Ix<Access>) -> bool {
        self.0[access.at()]
    }

    /// All that is open, in the order of the knowledge base.
    pub fn iter(&self) -> impl Iterator<Item = Ix<Access>> + '_ {
        self.0.iter().enumerate().filter(|(_, open)| **open).map(|(at, _)| Ix::new(at))
    }
}

/// What one move of access costs.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Reach {
    /// Minutes to open what is missing.
    pub open: Minutes,
    /// Minutes, owed once, to put back what this opens.
    pub close: Minutes,
}

impl Reach {
    /// Both together.
    #[must_use]
    pub fn total(self) -> Minutes {
        self.open + self.close
    }
}

/// The graph of disassembly of one knowledge base.
#[derive(Clone, Debug)]
pub struct AccessGraph {
    /// An edge from what must be open first to what needs it.
    graph: DiGraph<Ix<Access>, ()>,
    /// Every state after those it needs, and before those that a step of it must find shut.
    order: Vec<Ix<Access>>,
}

impl AccessGraph {
    /// The graph of a checked knowledge base.
    ///
    /// # Panics
    /// Where access states need each other in a circle, which a checked knowledge base does not hold.
    #[must_use]
    pub fn new(knowledge: &Knowledge) -> Self {
        let mut graph = DiGraph::new();
        for (ix, _) in knowledge.access.iter() {
            graph.add_node(ix);
        }
        for (ix, access) in knowledge.access.iter() {
            for need in &access.needs {
                graph.add_edge(NodeIndex::new(need.at()), NodeIndex::new(ix.at()), ());
            }
        }
        let mut earlier = graph.clone();
        for (ix, access) in knowledge.access.iter() {
            for shut in access.found_shut() {
                earlier.add_edge(NodeIndex::new(ix.at()), NodeIndex::new(shut.at()), ());
            }
        }
        let order = toposort(&earlier, None).expect("a checked knowledge base has no circle of access");
        let order = order.into_iter().map(|node| graph[node]).collect();
        Self { graph, order }
    }

    /// Nothing open.
    #[must_use]
    pub fn shut(&self) -> OpenSet {
        OpenSet(vec![false; self.graph.node_count()])
    }

    /// All that must be open for `wanted`: these and what they need.
    #[must_use]
    pub fn needed(&self, wanted: &[Ix<Access>]) -> OpenSet {
        let mut needed = self.shut();
        for access in wanted {
            let parents = Reversed(&self.graph);
            let mut walk = Bfs::new(parents, NodeIndex::new(access.at()));
            while let Some(node) = walk.next(parents) {
                needed.0[self.graph[node].at()] = true;
            }
        }
        needed
    }

    /// What is missing for `wanted`, in the order of opening.
    #[must_use]
    pub fn missing(&self, open: &OpenSet, wanted: &[Ix<Access>]) -> Vec<Ix<Access>> {
        let needed = self.needed(wanted);
        self.order.iter().copied().filter(|a| needed.has(*a) && !open.has(*a)).collect()
    }

    /// What would be open once `wanted` is: a state of running puts back all it does not need.
    #[must_use]
    pub fn after(&self, laid: &Laid<'_>, open: &OpenSet, wanted: &[Ix<Access>]) -> OpenSet {
        let needed = self.needed(wanted);
        let runs = needed.iter().any(|a| laid.knowledge.access[a].shuts_others);
        OpenSet(open.0.iter().zip(&needed.0).map(|(open, need)| *need || (*open && !runs)).collect())
    }

    /// What is open once a check is done: all that it needs, but for what it puts back itself.
    #[must_use]
    pub fn after_check(&self, laid: &Laid<'_>, open: &OpenSet, check: Ix<Check>) -> OpenSet {
        let check = &laid.knowledge.checks[check];
        self.without(self.after(laid, open, &check.access), &check.ends_shut)
    }

    /// The same without these states and all that needs them.
    #[must_use]
    pub fn without(&self, mut open: OpenSet, shut: &[Ix<Access>]) -> OpenSet {
        for access in shut {
            self.shut_one(&mut open, *access);
        }
        open
    }

    /// What must be put back before `wanted` can be reached, deepest first: all that a state of running does not need,
    /// and every state of running where something else is to be opened.
    #[must_use]
    pub fn to_put_back(&self, laid: &Laid<'_>, open: &OpenSet, wanted: &[Ix<Access>]) -> Vec<Ix<Access>> {
        let after = self.after(laid, open, wanted);
        self.order.iter().rev().copied().filter(|a| open.has(*a) && !after.has(*a)).collect()
    }

    /// The minutes to reach `wanted` from `open` and those then owed to put it back; `places` is how many instances of
    /// the scope that an access state counts are taken off.
    #[must_use]
    pub fn reach(&self, laid: &Laid<'_>, open: &OpenSet, wanted: &[Ix<Access>], places: usize) -> Reach {
        self.missing(open, wanted).into_iter().fold(Reach::default(), |reach, access| {
            let Reach { open, close } = self.minutes(laid, access, places);
            Reach { open: reach.open + open, close: reach.close + close }
        })
    }

    /// The minutes to put back all that is open.
    #[must_use]
    pub fn put_back(&self, laid: &Laid<'_>, open: &OpenSet, places: usize) -> Minutes {
        open.iter().map(|access| self.minutes(laid, access, places).close).sum()
    }

    /// All states in an order of opening.
    #[must_use]
    pub fn order(&self) -> &[Ix<Access>] {
        &self.order
    }

    /// What the log leaves open: what it says was opened and not shut, and what the work it tells of needed. A repair
    /// followed by a trial of the symptom was put back first.
    #[must_use]
    pub fn open_now(&self, laid: &Laid<'_>, case: &Case) -> OpenSet {
        case.log.iter().fold(self.shut(), |open, entry| self.open_after(laid, open, &entry.event))
    }

    /// What is open once something has happened.
    #[must_use]
    pub fn open_after(&self, laid: &Laid<'_>, mut open: OpenSet, event: &Event) -> OpenSet {
        match event {
            Event::Access { access, now: Position::Open } => self.after(laid, &open, &[*access]),
            Event::Access { access, now: Position::Shut } => {
                self.shut_one(&mut open, *access);
                open
            }
            Event::Answer { check, answer, .. } if answer.informs() => self.after_check(laid, &open, *check),
            Event::Repaired { repair, .. } => self.after(laid, &open, &laid.knowledge.repairs[*repair].access),
            // The symptom can only be tried on a craft that is whole again.
            Event::Tried { .. } => self.shut(),
            _ => open,
        }
    }

    /// Shuts a state and all that needs it.
    fn shut_one(&self, open: &mut OpenSet, access: Ix<Access>) {
        let mut walk = Bfs::new(&self.graph, NodeIndex::new(access.at()));
        while let Some(node) = walk.next(&self.graph) {
            open.0[self.graph[node].at()] = false;
        }
    }

    /// The minutes of one access state by itself, where so many instances come off.
    #[must_use]
    pub fn minutes(&self, laid: &Laid<'_>, access: Ix<Access>, places: usize) -> Reach {
        let access = &laid.knowledge.access[access];
        let mut reach = Reach { open: access.open, close: access.close };
        if let Some((scope, open, close)) = access.each_further {
            #[expect(clippy::cast_precision_loss, reason = "a handful of places")]
            let further = places.min(laid.places(scope)).saturating_sub(1) as f64;
            reach.open += open * further;
            reach.close += close * further;
        }
        reach
    }
}
