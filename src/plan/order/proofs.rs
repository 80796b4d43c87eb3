//! The checks that prove the repairs, and when each can be made.

use super::super::choose::Jobs;
use super::super::cost::{Context, count};
use super::super::{StageKind, Vapor};
use super::beside::places_of;
use super::groups::{Groups, VaporGate};
use super::{Opened, Writer, held, little, steps};
use crate::knowledge::{Ability, Access, Check, Condition, Ix, Phase, Proof as Proves, Repair, Turns};
use crate::safety::Action;
use crate::units::{Minutes, Money};

/// A check to be made as proof.
#[derive(Clone, Debug, PartialEq)]
pub struct Proof {
    pub check: Ix<Check>,
    /// The places.
    pub at: Vec<usize>,
    /// Positions of outcomes that pass.
    pub pass: Vec<usize>,
    pub stage: StageKind,
}

impl Proof {
    pub fn minutes(&self, context: &Context<'_>) -> Minutes {
        context.laid.knowledge.checks[self.check].minutes * count(self.at.len())
    }

    pub fn money(&self, context: &Context<'_>) -> Money {
        context.laid.knowledge.checks[self.check].money * count(self.at.len())
    }
}

/// Whether fuel is open while a proof is made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fuel {
    /// It is.
    Open,
    /// It is not.
    Shut,
}

/// All proofs of a plan.
pub struct Proofs {
    pub all: Vec<Proof>,
    /// The states of running that no service step is for: what is seen in one, and the complaint is tried in the last of
    /// all.
    pub states: Vec<Ix<Access>>,
    /// Why the complaint may not be tried even when all is done and every proof has passed.
    pub not_tried: Option<String>,
}

impl Proofs {
    /// The checks that the repairs name, but for those that the bench tests within them make already and those that
    /// need something opened that the plan does not open, beyond a quarter of an hour.
    pub fn of(context: &Context<'_>, vapor: &VaporGate, groups: &Groups, jobs: &Jobs) -> Self {
        let states = states(context, groups, jobs);
        let proofs = Self::with(context, vapor, groups, jobs, states);
        let tries = Action::Try(context.case.symptoms.clone());
        match held::held(context, jobs, &proofs, &tries) {
            Some(why) => Self { not_tried: Some(why), ..Self::with(context, vapor, groups, jobs, Vec::new()) },
            None => proofs,
        }
    }

    /// The same with these states of running.
    fn with(context: &Context<'_>, vapor: &VaporGate, groups: &Groups, jobs: &Jobs, states: Vec<Ix<Access>>) -> Self {
        let tested = gates(context, jobs);
        let mut proofs = Self { all: Vec::new(), states, not_tried: None };
        for (ix, _) in jobs.iter() {
            for proof in &context.laid.knowledge.repairs[ix].proves {
                let Proves::Check(check, pass) = proof else { continue };
                if tested.contains(check) {
                    continue;
                }
                if let Some(stage) = proofs.stage(context, vapor, groups, jobs, ix, *check) {
                    let at = places(context, jobs, ix, *check);
                    proofs.add(Proof { check: *check, at, pass: pass.clone(), stage });
                }
            }
        }
        proofs
    }

    fn add(&mut self, proof: Proof) {
        match self.all.iter_mut().find(|known| known.check == proof.check) {
            // Two repairs proved by one check: once, in the later stage.
            Some(known) => {
                known.stage = known.stage.max(proof.stage);
                known.at.extend(proof.at);
                known.at.sort_unstable();
                known.at.dedup();
            }
            None => self.all.push(proof),
        }
    }

    /// When a check can be made; `None`: not within this plan.
    fn stage(
        &self,
        context: &Context<'_>,
        vapor: &VaporGate,
        groups: &Groups,
        jobs: &Jobs,
        ix: Ix<Repair>,
        check: Ix<Check>,
    ) -> Option<StageKind> {
        let knowledge = context.laid.knowledge;
        let item = &knowledge.checks[check];
        let needed = context.graph.needed(&item.access);
        let opens_fuel = needed.iter().any(|a| vapor.opened_by_access(context, a));
        let runs: Vec<Ix<Access>> = needed.iter().filter(|a| knowledge.access[*a].shuts_others).collect();
        // An engine that is being run in is not put under load.
        if item.able.contains(&Ability::ReachesLoad) && no_load(context, jobs).is_some() {
            return None;
        }
        // The sniff and the leak look stand in the plan by themselves, and nothing ignites with fuel open.
        if vapor.closed_by_check(context, check) || (item.ignites && opens_fuel) {
            return None;
        }
        // Made with a line open it would come before the filling, and draw on an empty tank. Priming shows it then.
        if item.draws_fuel && opens_fuel && groups.fills(context) {
            return None;
        }
        if !runs.is_empty() {
            let services = groups.run.iter().map(|r| knowledge.repairs[*r].access.as_slice());
            let mut states = services.chain(self.states.iter().map(std::slice::from_ref));
            let served = states.any(|state| runs.iter().all(|run| state.contains(run)));
            return served.then_some(StageKind::Run);
        }
        let own = own_stage(groups, ix);
        let needs_running = item.able.iter().any(|able| *able > Ability::Cranks);
        let (stage, open): (StageKind, &[StageKind]) = if own == StageKind::Run || needs_running {
            (StageKind::Run, &[StageKind::Run])
        } else if item.ignites {
            (StageKind::Live, &[StageKind::Clear, StageKind::Work, StageKind::Live])
        } else {
            (own, std::slice::from_ref(&own))
        };
        // Cylinders are cleared between the work and what turns the engine for its proof. Nothing more is opened for that once
        // more: the starter that turns says it, or the first start.
        if groups.starter_first && stage == StageKind::Live && item.turns == Turns::Starter {
            let cleared = groups.clear.iter().flat_map(|ix| knowledge.repairs[*ix].access.clone());
            let open = context.graph.needed(&cleared.collect::<Vec<_>>());
            if needed.iter().any(|access| !open.has(access)) {
                return None;
            }
        }
        // What running shows under load, and what would open fuel once more, the steps of a service step say themselves.
        let late = stage == StageKind::Run && (opens_fuel || item.able.contains(&Ability::ReachesLoad));
        (!late && is_near(context, groups, jobs, open, &item.access)).then_some(stage)
    }

    pub fn of_stage(&self, stage: StageKind) -> impl Iterator<Item = &Proof> {
        self.all.iter().filter(move |proof| proof.stage == stage)
    }

    pub fn indices(&self, stage: StageKind) -> impl Iterator<Item = usize> + '_ {
        (0..self.all.len()).filter(move |at| self.all[*at].stage == stage)
    }

    /// The proofs made in a state of running.
    pub fn at_run(&self, context: &Context<'_>, access: &[Ix<Access>]) -> Vec<usize> {
        self.indices(StageKind::Run)
            .filter(|at| {
                let wanted = &context.laid.knowledge.checks[self.all[*at].check].access;
                wanted.iter().any(|a| context.laid.knowledge.access[*a].shuts_others && access.contains(a))
            })
            .collect()
    }

    /// Everything opened for the repairs and the proofs, with its minutes.
    pub fn access(&self, context: &Context<'_>, jobs: &Jobs) -> Opened {
        let knowledge = context.laid.knowledge;
        let repairs = jobs.iter().flat_map(|(ix, _)| knowledge.repairs[ix].access.clone());
        let checks = self.all.iter().flat_map(|proof| knowledge.checks[proof.check].access.clone());
        let wanted: Vec<Ix<Access>> = repairs.chain(checks).chain(self.states.iter().copied()).collect();
        context.access_for(&wanted, jobs)
    }
}

/// Why nothing is tried under full load in a plan of these jobs.
pub fn no_load<'k>(context: &Context<'k>, jobs: &Jobs) -> Option<&'k str> {
    let laid = context.laid;
    jobs.iter().find_map(|(ix, _)| laid.knowledge.repairs[ix].no_load.as_deref())
}

/// The states of running that no service step is for: those that something must be seen in or a complaint shows in, and
/// before them, where nothing else starts the engine, the one that asks least of the craft.
fn states(context: &Context<'_>, groups: &Groups, jobs: &Jobs) -> Vec<Ix<Access>> {
    let knowledge = context.laid.knowledge;
    let served = |state: Ix<Access>| groups.run.iter().any(|ix| knowledge.repairs[*ix].access.contains(&state));
    let events = jobs.iter().flat_map(|(ix, _)| &knowledge.repairs[ix].proves).filter_map(|proof| match proof {
        Proves::Event(_, state) => *state,
        Proves::Check(..) => None,
    });
    let complaints = context.case.symptoms.iter().filter_map(|symptom| knowledge.symptoms[*symptom].shows_in);
    let mut states: Vec<Ix<Access>> = Vec::new();
    for state in events.chain(complaints) {
        if !served(state) && !states.contains(&state) {
            states.push(state);
        }
    }
    let first = least_running(context).filter(|first| !states.contains(first));
    if groups.run.is_empty() && !context.case.symptoms.is_empty() {
        states.splice(0..0, first);
    }
    states
}

/// The state of running that asks least of the craft and takes the fewest minutes.
fn least_running(context: &Context<'_>) -> Option<Ix<Access>> {
    let access = &context.laid.knowledge.access;
    let runs = access.iter().filter(|(_, state)| state.shuts_others && state.ignites);
    let asks = |state: &Access| (state.able.iter().copied().max(), state.open + state.close);
    let less = |a: &Access, b: &Access| {
        let ((able_a, minutes_a), (able_b, minutes_b)) = (asks(a), asks(b));
        able_a.cmp(&able_b).then(minutes_a.get().total_cmp(&minutes_b.get()))
    };
    runs.min_by(|(_, a), (_, b)| less(a, b)).map(|(ix, _)| ix)
}

/// Whether what these stages open reaches so far, or within a quarter of an hour.
fn is_near(context: &Context<'_>, groups: &Groups, jobs: &Jobs, stages: &[StageKind], wanted: &[Ix<Access>]) -> bool {
    let knowledge = context.laid.knowledge;
    let mine = jobs.iter().filter(|(ix, _)| stages.contains(&own_stage(groups, *ix)));
    let opened: Vec<Ix<Access>> = mine.flat_map(|(ix, _)| knowledge.repairs[ix].access.clone()).collect();
    let open = context.graph.needed(&opened);
    let needed = context.graph.needed(wanted);
    let missing = needed.iter().filter(|access| !open.has(*access));
    little(missing.map(|access| knowledge.access[access].open + knowledge.access[access].close).sum())
}

fn own_stage(groups: &Groups, ix: Ix<Repair>) -> StageKind {
    if groups.clear.contains(&ix) {
        StageKind::Clear
    } else if groups.live.contains(&ix) {
        StageKind::Live
    } else if groups.run.contains(&ix) {
        StageKind::Run
    } else {
        StageKind::Work
    }
}

/// The checks that are bench tests within the repairs.
fn gates(context: &Context<'_>, jobs: &Jobs) -> Vec<Ix<Check>> {
    let repairs = jobs.iter().map(|(ix, _)| &context.laid.knowledge.repairs[ix]);
    repairs.flat_map(|repair| &repair.steps).filter_map(|step| step.gate.as_ref()).map(|gate| gate.check).collect()
}

/// The places a repair's proof is made at: where the repair was done, or everywhere where an interlock lets go only once
/// every place has spoken.
pub fn places(context: &Context<'_>, jobs: &Jobs, ix: Ix<Repair>, check: Ix<Check>) -> Vec<usize> {
    let laid = context.laid;
    let mut until = laid.knowledge.interlocks.iter().filter_map(|(_, lock)| lock.until.as_ref());
    if until.any(|until| wants_every(until, check)) {
        return (0..laid.places(laid.knowledge.checks[check].scope)).collect();
    }
    let (of, scope) = (laid.knowledge.checks[check].scope, laid.knowledge.repairs[ix].scope);
    let mut at: Vec<usize> = places_of(jobs, ix).iter().flat_map(|place| laid.bearing(of, scope, *place)).collect();
    at.sort_unstable();
    at.dedup();
    at
}

/// Whether a condition asks for a check on every place.
fn wants_every(condition: &Condition, check: Ix<Check>) -> bool {
    match condition {
        Condition::AnsweredEvery(ix, _) => *ix == check,
        Condition::Any(parts) | Condition::All(parts) => parts.iter().any(|part| wants_every(part, check)),
        _ => false,
    }
}

impl Writer<'_> {
    /// The proofs of a stage that stand not yet: those that want fuel open, or those that do not.
    pub fn prove(&mut self, stage: StageKind, fuel: Fuel, which: impl Fn(&Check) -> bool) {
        for at in self.proofs.indices(stage).collect::<Vec<_>>() {
            let check = &self.context.laid.knowledge.checks[self.proofs.all[at].check];
            let needed = self.context.graph.needed(&check.access);
            let open = needed.iter().any(|a| self.vapor.opened_by_access(self.context, a));
            let now = open == (fuel == Fuel::Open);
            if now && which(check) && self.said.insert((stage, format!("proof {at}"))) {
                self.reach(stage, &check.access.clone());
                self.proof_step(stage, at);
            }
        }
    }

    /// One proof.
    pub fn proof_step(&mut self, stage: StageKind, at: usize) {
        let proof = self.proofs.all[at].clone();
        let item = &self.context.laid.knowledge.checks[proof.check];
        let (ignites, opens) = (item.ignites, self.vapor.opened_by_check(self.context, proof.check));
        let mut step = self.check_step(proof.check, &proof.pass);
        step.tests = proof.at.iter().map(|place| steps::test(self.context, proof.check, *place, &proof.pass)).collect();
        step.ignites = ignites;
        // By then the plugs may be in and the battery joined: what keeps the engine from starting stands in these lines.
        if stage != StageKind::Run && item.turns != Turns::Not {
            step.how.clone_from(&item.how);
        }
        step.needs = self.access_ids(&item.access);
        self.emit(stage, Phase::Prove, step);
        // What it opens counts from its end: the check itself is made on a craft that was sniffed.
        if opens {
            self.vapor_open = true;
            self.mark_last_opens();
        }
    }

    fn mark_last_opens(&mut self) {
        let last = self.stages.last_mut().and_then(|stage| stage.sections.last_mut());
        if let Some(step) = last.and_then(|section| section.steps.last_mut()) {
            step.vapor = Vapor::Opens;
        }
    }
}
