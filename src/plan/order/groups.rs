//! What belongs to which stretch of work, and what guards against vapor.

use super::super::choose::Jobs;
use super::super::cost::Context;
use crate::knowledge::{
    Ability, Access, Check, Condition, Gate, Hazard, Ix, Knowledge, Phase, Reads, Repair, State, Step, Turns,
};

/// The work of a plan by stage.
pub struct Groups {
    /// Repairs that turn the engine by the starter, plugs out.
    pub clear: Vec<Ix<Repair>>,
    /// Quiet repairs.
    pub work: Vec<Ix<Repair>>,
    /// Repairs on live circuits.
    pub live: Vec<Ix<Repair>>,
    /// Service steps.
    pub run: Vec<Ix<Repair>>,
    /// Whether the plan mends what keeps the starter from turning the engine, and clears cylinders with it: then it is
    /// mended first.
    pub starter_first: bool,
}

impl Groups {
    pub fn of(context: &Context<'_>, vapor: &VaporGate, jobs: &Jobs) -> Self {
        let mut groups =
            Self { clear: Vec::new(), work: Vec::new(), live: Vec::new(), run: Vec::new(), starter_first: false };
        for (ix, _) in jobs.iter() {
            let repair = &context.laid.knowledge.repairs[ix];
            let needed = context.graph.needed(&repair.access);
            let group = if repair.service {
                &mut groups.run
            } else if repair.turns == Turns::Starter {
                &mut groups.clear
            } else if works_live(repair) && !needed.iter().any(|a| vapor.opened_by_access(context, a)) {
                &mut groups.live
            } else {
                &mut groups.work
            };
            group.push(ix);
        }
        let mut mends = groups.work.iter().chain(&groups.live);
        groups.starter_first = !groups.clear.is_empty() && mends.any(|ix| frees_starter(context.laid.knowledge, *ix));
        groups
    }

    /// Whether fuel goes in once all joints are closed.
    pub fn fills(&self, context: &Context<'_>) -> bool {
        let pours = |ix: &Ix<Repair>| context.laid.knowledge.repairs[*ix].steps.iter().any(|s| s.phase == Phase::Fill);
        self.clear.iter().chain(&self.work).any(pours)
    }
}

/// Whether something ignites while a repair is done. What is handed over with it is done once all is put back.
fn works_live(repair: &Repair) -> bool {
    let quiet = [Phase::MakeSafe, Phase::Record, Phase::HandOver];
    let lit = |step: &Step| step.ignites.unwrap_or(true) && !quiet.contains(&step.phase);
    repair.ignites && repair.steps.iter().any(lit)
}

/// A cause that brings about a symptom at least this often by itself keeps the starter from turning. Below it stand causes
/// that lock an engine once in a while by another way, as a needle that floods it does.
const STOPS: f64 = 0.25;

/// Whether a repair removes something that keeps the starter from turning the engine.
fn frees_starter(knowledge: &Knowledge, repair: Ix<Repair>) -> bool {
    let stuck = knowledge.symptoms.iter().filter(|(_, symptom)| symptom.denies.contains(&Ability::Cranks));
    let gates: Vec<&Gate> = stuck.map(|(_, symptom)| &symptom.gate).collect();
    knowledge.repairs[repair]
        .removes
        .iter()
        .any(|(cause, _)| gates.iter().any(|gate| brings_about(knowledge, gate, State::Cause(*cause), STOPS)))
}

/// Whether a state passes a gate at least so often by one way, what is between taken one after the other.
fn brings_about(knowledge: &Knowledge, gate: &Gate, state: State, least: f64) -> bool {
    gate.inputs.iter().filter(|input| input.strength.get() >= least).any(|input| {
        let (Reads::One(read) | Reads::Every(read) | Reads::SomeNotAll(read) | Reads::Exactly(_, read)) = &input.reads
        else {
            return false;
        };
        match read {
            State::Effect(effect) => {
                brings_about(knowledge, &knowledge.effects[*effect].gate, state, least / input.strength.get())
            }
            State::Cause(_) => *read == state,
        }
    })
}

/// The hazards that bar what ignites, and the check that closes them.
pub struct VaporGate {
    pub hazards: Vec<Ix<Hazard>>,
}

impl VaporGate {
    pub fn of(context: &Context<'_>) -> Self {
        let knowledge = context.laid.knowledge;
        let bars = |ix: Ix<Hazard>| {
            knowledge
                .interlocks
                .iter()
                .any(|(_, lock)| lock.bars.ignites && lock.when.as_ref().is_some_and(|when| tests(when, ix)))
        };
        let closes = knowledge.hazards.iter().filter(|(_, hazard)| !hazard.closed_by.is_empty());
        Self { hazards: closes.map(|(ix, _)| ix).filter(|ix| bars(*ix)).collect() }
    }

    fn any(&self, context: &Context<'_>, test: impl Fn(&Hazard) -> bool) -> bool {
        self.hazards.iter().any(|ix| test(&context.laid.knowledge.hazards[*ix]))
    }

    pub fn opened_by_access(&self, context: &Context<'_>, access: Ix<Access>) -> bool {
        self.any(context, |hazard| hazard.opened_by.access.contains(&access))
    }

    pub fn opened_by_repair(&self, context: &Context<'_>, repair: Ix<Repair>) -> bool {
        self.any(context, |hazard| hazard.opened_by.repairs.contains(&repair))
    }

    pub fn closed_by_check(&self, context: &Context<'_>, check: Ix<Check>) -> bool {
        self.any(context, |hazard| {
            hazard.closed_by.iter().any(|closed_by| {
                closed_by.answer.0 == check || closed_by.also_after.iter().any(|(_, also, _)| *also == check)
            })
        })
    }

    pub fn opened_by_check(&self, context: &Context<'_>, check: Ix<Check>) -> bool {
        self.any(context, |hazard| hazard.opened_by.checks.contains(&check))
    }
}

/// Whether a condition looks at a hazard.
fn tests(condition: &Condition, hazard: Ix<Hazard>) -> bool {
    match condition {
        Condition::Hazard(ix) => *ix == hazard,
        Condition::Any(parts) | Condition::All(parts) => parts.iter().any(|part| tests(part, hazard)),
        Condition::Not(part) => tests(part, hazard),
        _ => false,
    }
}
