//! Something to do, and what about it matters to safety.

use crate::access::AccessGraph;
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Ability, Access, Check, Hazard, Ix, Repair, Symptom, Turns};

/// Something to do.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Action {
    /// A check at one place.
    Check(Instance<Check>),
    /// A repair at these places.
    Repair(Ix<Repair>, Vec<usize>),
    /// Trying whether these symptoms are gone: put back together, cranked, and run as far as they ask for.
    Try(Vec<Ix<Symptom>>),
    /// Handing over to a specialist.
    HandOver,
}

/// What about an action matters to safety.
#[derive(Clone, Debug)]
pub struct Traits {
    /// What must be open.
    pub access: Vec<Ix<Access>>,
    /// It cranks, runs, arcs or switches a live circuit, or what it must reach does.
    pub ignites: bool,
    /// How it turns the engine.
    pub turns: Turns,
    /// What the craft must be able to do.
    pub able: Vec<Ability>,
    /// The cautions it asks for.
    pub raises: Vec<Ix<Hazard>>,
    /// The skill it takes.
    pub skill: u8,
    /// What it needs.
    pub tools: Vec<String>,
}

impl Action {
    /// What about it matters to safety; `None` for handing over, which is always safe.
    #[must_use]
    pub fn traits(&self, laid: &Laid<'_>, graph: &AccessGraph) -> Option<Traits> {
        let knowledge = laid.knowledge;
        let mut traits = match self {
            Self::Check(instance) => {
                let check = &knowledge.checks[instance.item];
                Traits {
                    access: check.access.clone(),
                    ignites: check.ignites,
                    turns: check.turns,
                    able: check.able.clone(),
                    raises: check.raises.clone(),
                    skill: check.skill,
                    tools: check.tools.clone(),
                }
            }
            Self::Repair(ix, _) => {
                let repair = &knowledge.repairs[*ix];
                Traits {
                    access: repair.access.clone(),
                    ignites: repair.ignites,
                    turns: repair.turns,
                    able: repair.able.clone(),
                    raises: repair.raises.clone(),
                    skill: repair.skill,
                    tools: repair.tools.clone(),
                }
            }
            Self::Try(symptoms) => Traits {
                access: Vec::new(),
                ignites: true,
                turns: Turns::Starter,
                able: tried(laid, symptoms),
                raises: Vec::new(),
                skill: 0,
                tools: Vec::new(),
            },
            Self::HandOver => return None,
        };
        for access in graph.needed(&traits.access).iter().map(|ix| &knowledge.access[ix]) {
            traits.ignites |= access.ignites;
            traits.able.extend(&access.able);
            traits.raises.extend(&access.raises);
        }
        traits.able.sort_unstable();
        traits.able.dedup();
        Some(traits)
    }
}

/// What the craft is asked to do where symptoms are tried: everything up to the first thing that one of them takes away,
/// and all of it for a symptom that takes nothing away.
fn tried(laid: &Laid<'_>, symptoms: &[Ix<Symptom>]) -> Vec<Ability> {
    let first = |ix: &Ix<Symptom>| laid.knowledge.symptoms[*ix].denies.iter().min().copied();
    let furthest = symptoms.iter().map(|ix| first(ix).unwrap_or(Ability::ReachesLoad)).max();
    Ability::ALL.into_iter().filter(|ability| Some(*ability) <= furthest).collect()
}
