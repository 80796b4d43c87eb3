//! In which order the work is done: safe by the way it is written.
//!
//! Stages keep what ignites away from open fuel: first the vapor gate, then clearing flooded cylinders, then all quiet
//! work (fuel may be open), then the leak look and the sniff, then live circuits, then starting and running. Wherever a
//! step that ignites follows anything that opened fuel, the writer puts the sniff before it. Cylinders are cleared by the
//! starter: where the plan mends what keeps that from turning, they are cleared after it.

mod access;
mod beside;
mod groups;
mod held;
mod off;
mod once;
mod proofs;
mod steps;

use super::bill::Bill;
use super::choose::{Choice, Jobs};
use super::cost::Context;
use super::goals::Aim;
use super::{By, Goal, Job, Named, Plan, Section, Source, Stage, StageKind, Step, Vapor, words};
use crate::access::Reach;
use crate::belief::Explanations;
use crate::knowledge::{Access, Hazard, Ix, Phase, Proof, Repair, Setting, Turns};
use crate::units::Minutes;
use beside::{cautions, cost, craft, job, offers, opens, other_ways, part_lines, told, tools, verdicts};
use groups::{Groups, VaporGate};
use off::Fitted;
use proofs::{Fuel, Proofs};
use std::collections::{BTreeMap, BTreeSet};

/// What a plan gives way to.
const DEFERS: &str = "Local codes, the maker's manual for this craft and licensed practice come before this plan. Where \
    they differ, follow them.";

/// Drained gasoline and solvent are waste that catches fire: a liquid with a flash point below 60 °C (140 °F), 40 CFR
/// 261.21.
const WASTE: &str = "Drained gasoline, premix and solvent are ignitable hazardous waste (flash point below 60 °C, 40 CFR \
    261.21). Keep them in a closed, labeled metal can no more than 95 percent full, premix apart, and hand them in \
    where hazardous waste is taken. Never into a drain, the ground, the water or the trash.";

/// Common practice, no source: most comebacks of this kind of work show within the first tank.
const FOLLOW_UP: &str = "Ask the owner after the first tank: does it start cold and hot, and run right under load? Look \
    once more for weeps. Offer again what was left old.";

/// Writes the plan down.
pub fn write(context: &Context<'_>, aims: &[Aim], choice: &Choice, explanations: &Explanations) -> Plan {
    let vapor = VaporGate::of(context);
    let groups = Groups::of(context, &vapor, &choice.jobs);
    let proofs = Proofs::of(context, &vapor, &groups, &choice.jobs);
    let writer = Writer::new(context, &vapor, &choice.jobs, &groups, &proofs);
    let (stages, hazards) = writer.write();
    let bill = Bill::of(context.laid, &choice.jobs);
    let knowledge = context.laid.knowledge;
    let goal = |aim: &Aim| Goal { cause: words::cause(context.laid, aim.cause), chance: aim.chance, why: aim.why };
    let cured = aims.iter().filter(|aim| !choice.not_cured.contains(aim)).chain(&choice.companions);
    let repairs: Vec<Job> = groups
        .clear
        .iter()
        .chain(&groups.work)
        .chain(&groups.live)
        .chain(&groups.run)
        .map(|ix| job(context, choice, aims, &proofs, &bill, *ix))
        .collect();
    let parts = part_lines(context, &bill);
    let cost = cost(context, choice, aims, &repairs, &proofs, &bill);
    let set = explanations.sets.iter().find(|set| !set.causes.is_empty());
    let explains = set.filter(|set| set.causes.iter().all(|cause| aims.iter().any(|aim| aim.cause == *cause)));
    Plan {
        knowledge: Named { id: knowledge.id.clone(), words: knowledge.title.clone() },
        version: knowledge.version.clone(),
        title: context.case.title.clone(),
        craft: craft(context),
        user: knowledge.users.id(context.case.user).to_owned(),
        complaints: context
            .case
            .symptoms
            .iter()
            .map(|ix| Named { id: knowledge.symptoms.id(*ix).to_owned(), words: knowledge.symptoms[*ix].title.clone() })
            .collect(),
        goals: cured.map(goal).collect(),
        explanation: explains.map(|set| set.chance),
        not_cured: choice.not_cured.iter().map(goal).collect(),
        opens: opens(context, &stages),
        open_at_start: context.open.iter().map(|ix| knowledge.access.id(ix).to_owned()).collect(),
        cautions: cautions(context, hazards),
        stages,
        tools: tools(context, &choice.jobs),
        verdicts: verdicts(context, &choice.jobs),
        offers: offers(context, choice),
        other_ways: other_ways(context, choice),
        offered_parts: told(choice, context, |repair| &repair.while_there_parts),
        tell_owner: told(choice, context, |repair| &repair.tell_owner),
        waste: WASTE.to_owned(),
        follow_up: FOLLOW_UP.to_owned(),
        parts,
        repairs,
        cost,
        defers: DEFERS.to_owned(),
    }
}

/// Writes steps, and keeps the bench safe while it does.
struct Writer<'a> {
    context: &'a Context<'a>,
    vapor: &'a VaporGate,
    jobs: &'a Jobs,
    groups: &'a Groups,
    proofs: &'a Proofs,
    stages: Vec<Stage>,
    /// For each access state, whether it is open.
    open: Vec<bool>,
    /// Whether fuel vapor counts as open.
    vapor_open: bool,
    /// Whether the first sniff is behind us: airing at the start is then done.
    sniffed: bool,
    /// Settings that a step has asked for.
    recorded: BTreeSet<(Ix<Setting>, usize)>,
    /// Settings that a step has set.
    set: BTreeSet<(Ix<Setting>, usize)>,
    /// What stands already of that which is written once, by stage.
    standing: BTreeMap<(StageKind, String), (Source, String)>,
    /// Proofs that stand already, by stage.
    said: BTreeSet<(StageKind, String)>,
    hazards: BTreeSet<Ix<Hazard>>,
    /// What the plan has taken off the craft, and put on again.
    fitted: BTreeMap<String, Fitted>,
}

impl<'a> Writer<'a> {
    fn new(
        context: &'a Context<'a>,
        vapor: &'a VaporGate,
        jobs: &'a Jobs,
        groups: &'a Groups,
        proofs: &'a Proofs,
    ) -> Self {
        let n = context.laid.knowledge.access.len();
        Self {
            context,
            vapor,
            jobs,
            groups,
            proofs,
            stages: Vec::new(),
            open: (0..n).map(|at| context.open.has(Ix::new(at))).collect(),
            vapor_open: true,
            sniffed: false,
            recorded: BTreeSet::new(),
            set: BTreeSet::new(),
            standing: BTreeMap::new(),
            said: BTreeSet::new(),
            hazards: BTreeSet::new(),
            fitted: BTreeMap::new(),
        }
    }

    fn write(mut self) -> (Vec<Stage>, BTreeSet<Ix<Hazard>>) {
        let fuel_open_at_start = self.fuel_open();
        // Cylinders are cleared first, unless fuel is open already: then the quiet work must shut it before anything turns.
        let order = if self.groups.starter_first {
            [StageKind::Safe, StageKind::Work, StageKind::Live, StageKind::Clear, StageKind::Run]
        } else if fuel_open_at_start {
            [StageKind::Safe, StageKind::Work, StageKind::Clear, StageKind::Live, StageKind::Run]
        } else {
            [StageKind::Safe, StageKind::Clear, StageKind::Work, StageKind::Live, StageKind::Run]
        };
        for (at, stage) in order.into_iter().enumerate() {
            let later = &order[at + 1..];
            match stage {
                StageKind::Safe => self.safe(later),
                StageKind::Clear if self.groups.starter_first => {
                    // What the proofs on live circuits need open stays so.
                    self.clear(&[&[StageKind::Live], later].concat());
                    self.turn(later);
                }
                StageKind::Clear => self.clear(later),
                StageKind::Work => self.quiet(later),
                StageKind::Live if self.groups.starter_first => {
                    self.live();
                    self.prove(StageKind::Live, Fuel::Shut, |check| check.turns != Turns::Starter);
                    self.close_unneeded(StageKind::Live, later, |_| true);
                    if self.has_to_put_on(StageKind::Live) {
                        self.put_on(StageKind::Live);
                    }
                }
                StageKind::Live => {
                    self.live();
                    self.turn(later);
                }
                StageKind::Run | StageKind::HandOver => self.run(),
            }
        }
        self.hand_over();
        (self.stages, self.hazards)
    }

    /// The repairs of a stage.
    fn group(&self, stage: StageKind) -> &'a [Ix<Repair>] {
        match stage {
            StageKind::Safe | StageKind::HandOver => &[],
            StageKind::Clear => &self.groups.clear,
            StageKind::Work => &self.groups.work,
            StageKind::Live => &self.groups.live,
            StageKind::Run => &self.groups.run,
        }
    }

    /// Everything a stage needs open.
    fn needed(&self, stage: StageKind) -> Vec<bool> {
        let mut wanted: Vec<Ix<Access>> =
            self.group(stage).iter().flat_map(|ix| self.context.laid.knowledge.repairs[*ix].access.clone()).collect();
        wanted.extend(
            self.proofs.of_stage(stage).flat_map(|p| self.context.laid.knowledge.checks[p.check].access.clone()),
        );
        if stage == StageKind::Run {
            wanted.extend(&self.proofs.states);
        }
        let needed = self.context.graph.needed(&wanted);
        (0..self.open.len()).map(|at| needed.has(Ix::new(at))).collect()
    }

    fn fuel_open(&self) -> bool {
        (0..self.open.len()).any(|at| self.open[at] && self.vapor.opened_by_access(self.context, Ix::new(at)))
    }

    /// Outdoors, hatches open, the vapor gate.
    fn safe(&mut self, later: &[StageKind]) {
        let needed: Vec<Vec<bool>> = later.iter().map(|stage| self.needed(*stage)).collect();
        // What stands open and nobody needs is put back first, or it would never air out.
        let knowledge = self.context.laid.knowledge;
        let fuel = self.fuel_and_behind();
        self.close_unneeded(StageKind::Safe, &[], |ix| knowledge.access[ix].shuts_others);
        // Whoever opened the rest may not have made it safe: nobody skips that for having found it open.
        for ix in self.context.graph.order() {
            if self.open[ix.at()] {
                self.access_stands(StageKind::Safe, *ix);
            }
        }
        self.close_unneeded(StageKind::Safe, later, |ix| fuel[ix.at()]);
        let quiet = |access: &Access| {
            !access.ignites && !access.shuts_others && access.steps.iter().all(|step| step.phase == Phase::MakeSafe)
        };
        for ix in self.context.graph.order() {
            let wanted = needed.iter().any(|stage| stage[ix.at()]);
            if wanted && !self.open[ix.at()] && quiet(&knowledge.access[*ix]) && self.parents_open(*ix) {
                self.open_access(StageKind::Safe, *ix);
            }
        }
        if !self.fuel_open() {
            self.sniff(StageKind::Safe);
            self.close_unneeded(StageKind::Safe, later, |_| true);
        }
    }

    fn parents_open(&self, access: Ix<Access>) -> bool {
        self.context.laid.knowledge.access[access].needs.iter().all(|need| self.open[need.at()])
    }

    /// Repairs that turn the engine with the plugs out: each as it is written down, for its order is its safety.
    fn clear(&mut self, later: &[StageKind]) {
        for &ix in self.group(StageKind::Clear) {
            let repair = &self.context.laid.knowledge.repairs[ix];
            self.reach(StageKind::Clear, &repair.access);
            self.put_on(StageKind::Clear);
            for at in 0..repair.steps.len() {
                if !matches!(repair.steps[at].phase, Phase::Fill | Phase::HandOver) {
                    self.repair_step(StageKind::Clear, repair.steps[at].phase, ix, at);
                }
            }
            self.vapor_open |= self.vapor.opened_by_repair(self.context, ix);
        }
        self.prove(StageKind::Clear, Fuel::Shut, |_| true);
        self.close_unneeded(StageKind::Clear, later, |_| true);
    }

    /// All quiet work, fuel open or not, to the leak look and the sniff.
    fn quiet(&mut self, later: &[StageKind]) {
        let stage = StageKind::Work;
        let needed = self.needed(stage);
        self.by_phase(stage);
        self.prove(stage, Fuel::Open, |_| true);
        self.late(stage, &needed);
        let fuel: Vec<bool> = self.fuel_and_behind();
        self.close_unneeded(stage, later, |ix| fuel[ix.at()]);
        let filled = self.fill();
        self.phase(stage, Phase::Prove);
        self.prove(stage, Fuel::Shut, |_| true);
        if self.vapor_open && !self.fuel_open() && (filled || !self.group(stage).is_empty()) {
            self.sniff(stage);
        }
        self.close_unneeded(stage, later, |_| true);
        if self.has_to_put_on(stage) {
            self.put_on(stage);
        }
    }

    /// Fuel goes in once every joint that was opened is closed, before the leak look. Whether any does.
    fn fill(&mut self) -> bool {
        let pours: Vec<Ix<Repair>> = self.groups.clear.iter().chain(&self.groups.work).copied().collect();
        for ix in &pours {
            self.phase_of(StageKind::Work, Phase::Fill, *ix);
        }
        self.groups.fills(self.context)
    }

    /// Work on live circuits.
    fn live(&mut self) {
        let stage = StageKind::Live;
        let needed = self.needed(stage);
        self.by_phase(stage);
        self.late(stage, &needed);
        self.phase(stage, Phase::Fill);
        self.phase(stage, Phase::Prove);
        self.prove(stage, Fuel::Shut, |check| !check.ignites);
    }

    /// The proofs for which the engine is turned.
    fn turn(&mut self, later: &[StageKind]) {
        let stage = StageKind::Live;
        // What cranks wants the craft as whole as the check allows: the battery joined, the arrestor on.
        let fiery: Vec<_> = self
            .proofs
            .of_stage(stage)
            .map(|proof| &self.context.laid.knowledge.checks[proof.check])
            .filter(|check| check.ignites)
            .collect();
        let wanted: Vec<Ix<Access>> = fiery.iter().flat_map(|check| check.access.clone()).collect();
        let kept = self.context.graph.needed(&wanted);
        self.close_unneeded(stage, later, |ix| !kept.has(ix));
        if !fiery.is_empty() || self.has_to_put_on(stage) {
            self.put_on(stage);
        }
        self.prove(stage, Fuel::Shut, |_| true);
        self.close_unneeded(stage, later, |_| true);
    }

    /// Opens what a stage needs and does its repairs phase by phase, to the last before the proof.
    fn by_phase(&mut self, stage: StageKind) {
        // A unit that lies open on the bench already has no as-found reading left that its opening could spoil.
        let lies_open: Vec<Ix<Repair>> = self.group(stage).iter().copied().filter(|ix| self.lies_open(*ix)).collect();
        for &ix in self.group(stage) {
            if !self.on_the_bench(ix) || lies_open.contains(&ix) {
                self.phase_of(stage, Phase::MakeSafe, ix);
            }
        }
        let needed = self.needed(stage);
        let mut read: Vec<Ix<Repair>> = Vec::new();
        for access in self.context.graph.order() {
            if !needed[access.at()] || self.open[access.at()] {
                continue;
            }
            // What is read from a unit on the bench as it was found is read before its first cover comes off.
            for &ix in self.group(stage) {
                if read.contains(&ix)
                    || lies_open.contains(&ix) && self.on_the_bench(ix)
                    || !self.is_behind(*access, ix)
                {
                    continue;
                }
                if self.on_the_bench(ix) {
                    self.phase_under(stage, Phase::Open, Phase::MakeSafe, ix);
                }
                self.phase_under(stage, Phase::Open, Phase::Record, ix);
                read.push(ix);
            }
            for &ix in self.group(stage) {
                if !read.contains(&ix) && !self.on_the_bench(ix) && self.is_read_before(*access, ix) {
                    let without: Vec<Ix<Access>> = self.needed_besides(*access, ix);
                    self.reach(stage, &without);
                    self.phase_under(stage, Phase::Open, Phase::Record, ix);
                    read.push(ix);
                }
            }
            self.open_access(stage, *access);
        }
        for &ix in self.group(stage) {
            if self.on_the_bench(ix) && !lies_open.contains(&ix) && !read.contains(&ix) {
                self.phase_of(stage, Phase::MakeSafe, ix);
            }
        }
        for phase in ON_THE_WAY {
            for &ix in self.group(stage) {
                if (phase != Phase::Record || !read.contains(&ix)) && !self.is_late(ix, phase, &needed) {
                    self.phase_of(stage, phase, ix);
                }
            }
        }
        for &ix in self.group(stage) {
            self.vapor_open |= self.vapor.opened_by_repair(self.context, ix);
        }
    }

    /// What waits until something is shut that the other work of a stage has open: that is put back, then it is done.
    fn late(&mut self, stage: StageKind, needed: &[bool]) {
        let group = self.group(stage);
        let is_late = |ix: &Ix<Repair>| ON_THE_WAY.iter().any(|phase| self.is_late(*ix, *phase, needed));
        let late: Vec<Ix<Repair>> = group.iter().copied().filter(is_late).collect();
        let repairs = &self.context.laid.knowledge.repairs;
        let shut: BTreeSet<Ix<Access>> =
            late.iter().flat_map(|ix| &repairs[*ix].steps).flat_map(|step| step.shut.iter().copied()).collect();
        for ix in self.context.graph.order().iter().rev() {
            let through = self.context.graph.needed(&[*ix]);
            if self.open[ix.at()] && through.iter().any(|access| shut.contains(&access)) {
                self.close_access(stage, *ix);
            }
        }
        for phase in ON_THE_WAY {
            for &ix in &late {
                if self.is_late(ix, phase, needed) {
                    self.phase_of(stage, phase, ix);
                }
            }
        }
    }

    /// Whether a phase of a repair waits for something to be shut: from the first on that has a step which must find shut
    /// what its stage needs open.
    fn is_late(&self, ix: Ix<Repair>, phase: Phase, needed: &[bool]) -> bool {
        let steps = &self.context.laid.knowledge.repairs[ix].steps;
        let waits = |step: &crate::knowledge::Step| step.shut.iter().any(|access| needed[access.at()]);
        steps.iter().any(|step| step.phase > Phase::Record && step.phase <= phase && waits(step))
    }

    /// Whether a repair writes down as found what can only be read while a state is shut.
    fn is_read_before(&self, access: Ix<Access>, ix: Ix<Repair>) -> bool {
        let steps = &self.context.laid.knowledge.repairs[ix].steps;
        steps.iter().any(|step| step.phase == Phase::Record && step.shut.contains(&access))
    }

    /// What a repair needs open that is not reached through a state.
    fn needed_besides(&self, access: Ix<Access>, ix: Ix<Repair>) -> Vec<Ix<Access>> {
        let graph = self.context.graph;
        let needed = graph.needed(&self.context.laid.knowledge.repairs[ix].access);
        needed.iter().filter(|a| !graph.needed(&[*a]).has(access)).collect()
    }

    /// Whether a repair opens a unit that comes off as a whole, one for each place.
    fn on_the_bench(&self, ix: Ix<Repair>) -> bool {
        let knowledge = self.context.laid.knowledge;
        let access = &knowledge.repairs[ix].access;
        let needed = self.context.graph.needed(access);
        needed.iter().any(|a| knowledge.access[a].each_further.is_some() && !access.contains(&a))
    }

    /// Whether a state of access opens the unit that a repair works on, for it or for another repair.
    fn is_behind(&self, access: Ix<Access>, ix: Ix<Repair>) -> bool {
        let (graph, knowledge) = (self.context.graph, self.context.laid.knowledge);
        let wanted = graph.needed(&knowledge.repairs[ix].access);
        let unit = |a: &Ix<Access>| *a != access && knowledge.access[*a].each_further.is_some() && wanted.has(*a);
        graph.needed(&[access]).iter().any(|a| unit(&a))
    }

    /// Whether all that a repair needs is open.
    fn lies_open(&self, ix: Ix<Repair>) -> bool {
        self.context.laid.knowledge.repairs[ix].access.iter().all(|access| self.open[access.at()])
    }

    /// One phase of all repairs of a stage.
    fn phase(&mut self, stage: StageKind, phase: Phase) {
        for &ix in self.group(stage) {
            self.phase_of(stage, phase, ix);
        }
    }

    fn phase_of(&mut self, stage: StageKind, phase: Phase, ix: Ix<Repair>) {
        self.phase_under(stage, phase, phase, ix);
    }

    /// The steps of one phase of a repair, under the heading of another.
    fn phase_under(&mut self, stage: StageKind, section: Phase, phase: Phase, ix: Ix<Repair>) {
        let repair = &self.context.laid.knowledge.repairs[ix];
        for at in 0..repair.steps.len() {
            if repair.steps[at].phase == phase && !self.waits(stage, &repair.steps[at]) {
                self.repair_step(stage, section, ix, at);
            }
        }
    }

    /// Starting and running, and the complaint itself before it is put back for the last time.
    fn run(&mut self) {
        let stage = StageKind::Run;
        let mut proved: Vec<usize> = Vec::new();
        let knowledge = self.context.laid.knowledge;
        let services = self.group(stage).iter().map(|ix| (knowledge.repairs[*ix].access.clone(), Some(*ix)));
        let runs: Vec<_> = services.chain(self.proofs.states.iter().map(|state| (vec![*state], None))).collect();
        let is_run = !runs.is_empty() || self.proofs.of_stage(stage).next().is_some();
        if is_run && !self.has_to_put_on(stage) {
            self.put_on(stage);
        }
        for (at, (access, service)) in runs.iter().enumerate() {
            self.run_state(access, *service);
            if let Some(ix) = *service {
                self.serve(ix);
            }
            for proof in self.proofs.at_run(self.context, access) {
                self.proof_step(stage, proof);
                proved.push(proof);
            }
            if at == 0 {
                self.first_start();
            }
            let next = runs.get(at + 1);
            if next.is_none() {
                self.last_proofs(&mut proved, true);
                self.events();
            }
            let later = runs.get(at + 1..).unwrap_or_default();
            let is_tried = |shows_in: Option<Ix<Access>>| match shows_in {
                Some(state) => access.contains(&state) && later.iter().all(|(next, _)| !next.contains(&state)),
                None => next.is_none(),
            };
            self.complaints(is_tried);
            if next.is_none_or(|(next, _)| next != access) {
                self.end_run(access);
            }
        }
        self.last_proofs(&mut proved, false);
        if runs.is_empty() {
            self.first_start();
            self.events();
            self.complaints(|_| true);
        }
        self.close_unneeded(stage, &[], |_| true);
    }

    /// A service step, in the state of running that it wants.
    fn serve(&mut self, ix: Ix<Repair>) {
        let before =
            [Phase::Open, Phase::Record, Phase::Strip, Phase::Judge, Phase::Clean, Phase::Rebuild, Phase::Bench];
        for phase in before.into_iter().chain([Phase::Refit, Phase::Settings, Phase::Fill, Phase::Prove]) {
            self.phase_of(StageKind::Run, phase, ix);
        }
    }

    /// The proofs that belong to no state of running: those that can be made as things stand, or all.
    fn last_proofs(&mut self, proved: &mut Vec<usize>, as_it_stands: bool) {
        let stage = StageKind::Run;
        for at in self.proofs.indices(stage).filter(|at| !proved.contains(at)).collect::<Vec<_>>() {
            let access = self.context.laid.knowledge.checks[self.proofs.all[at].check].access.clone();
            let needed = self.context.graph.needed(&access);
            if as_it_stands && !needed.iter().all(|ix| self.open[ix.at()]) {
                continue;
            }
            self.reach(stage, &access);
            self.proof_step(stage, at);
            proved.push(at);
        }
    }

    /// What a repair hands over that is done with the engine running is said where it is first started: at the hand-over
    /// the craft is shut and the lanyard hangs on its hook.
    fn first_start(&mut self) {
        for (ix, _) in self.jobs.iter() {
            let steps = &self.context.laid.knowledge.repairs[ix].steps;
            for at in (0..steps.len()).filter(|at| runs_at_hand_over(&steps[*at])) {
                self.repair_step(StageKind::Run, Phase::Prove, ix, at);
            }
        }
    }

    /// What each repair says must be seen in the end, each once; nothing where the craft may not run yet.
    fn events(&mut self) {
        if self.proofs.not_tried.is_some() {
            return;
        }
        for (ix, _) in self.jobs.iter() {
            let repair = &self.context.laid.knowledge.repairs[ix];
            for proof in &repair.proves {
                let Proof::Event(text, _) = proof else { continue };
                if self.said.insert((StageKind::Run, text.to_lowercase())) {
                    let source = Source::Repair(self.context.laid.knowledge.repairs.id(ix).to_owned());
                    let step = Step { ignites: true, by: self.context.by(ix), ..steps::plain(source, sentence(text)) };
                    self.emit(StageKind::Run, Phase::Prove, step);
                }
            }
        }
    }

    /// The complaints that are tried now, by the state of running that each shows in; that they are left alone, where the
    /// craft may not run yet, is said at the end.
    fn complaints(&mut self, is_tried: impl Fn(Option<Ix<Access>>) -> bool) {
        let knowledge = self.context.laid.knowledge;
        let no_load = proofs::no_load(self.context, self.jobs);
        for symptom in &self.context.case.symptoms {
            let complaint = &knowledge.symptoms[*symptom];
            let shows_in = complaint.shows_in.filter(|_| self.proofs.not_tried.is_none());
            if !is_tried(shows_in) {
                continue;
            }
            let title = &complaint.title;
            let what = match (&self.proofs.not_tried, shows_in, no_load) {
                (Some(why), ..) => format!("Leave the complaint untried for now: {title}. {why}"),
                (None, Some(_), Some(why)) => {
                    format!(
                        "Try the complaint again, cold and hot, as far as that goes short of full load: {title}. {why}"
                    )
                }
                (None, Some(_), None) => format!(
                    "Try the complaint again in the condition that showed it, cold, hot and under load: {title}. It is gone."
                ),
                (None, None, _) => {
                    format!(
                        "Try the complaint again in the condition that showed it, cold and hot: {title}. It is gone."
                    )
                }
            };
            let source = Source::Complaint(knowledge.symptoms.id(*symptom).to_owned());
            let step = Step { ignites: self.proofs.not_tried.is_none(), ..steps::plain(source, what) };
            self.emit(StageKind::Run, Phase::Prove, step);
        }
    }

    fn hand_over(&mut self) {
        for (ix, _) in self.jobs.iter() {
            let steps = &self.context.laid.knowledge.repairs[ix].steps;
            for at in (0..steps.len()).filter(|at| steps[*at].phase == Phase::HandOver) {
                if !runs_at_hand_over(&steps[at]) && !self.waits(StageKind::HandOver, &steps[at]) {
                    self.repair_step(StageKind::HandOver, Phase::HandOver, ix, at);
                }
            }
        }
    }

    /// Adds a step, with the sniff before it where it ignites and fuel was opened since the last.
    fn emit(&mut self, stage: StageKind, phase: Phase, step: Step) {
        if step.ignites && self.vapor_open && !self.fuel_open() && step.vapor != Vapor::Closes {
            self.sniff(stage);
        }
        if step.vapor == Vapor::Opens {
            self.vapor_open = true;
        }
        self.push(stage, phase, step);
    }

    fn push(&mut self, stage: StageKind, phase: Phase, step: Step) {
        if self.stages.last().is_none_or(|last| last.kind != stage) {
            self.stages.push(Stage { kind: stage, sections: Vec::new() });
        }
        let sections = &mut self.stages.last_mut().expect("a stage was just made sure of").sections;
        match sections.last_mut().filter(|section| section.phase == phase) {
            Some(section) => section.steps.push(step),
            None => sections.push(Section { phase, steps: vec![step] }),
        }
    }

    fn by_of(&self, access: Ix<Access>) -> By {
        self.context.opened_by(access, self.jobs)
    }
}

/// The phases from opening on to the last before fuel goes in, in working order.
const ON_THE_WAY: [Phase; 9] = [
    Phase::Open,
    Phase::Record,
    Phase::Strip,
    Phase::Judge,
    Phase::Clean,
    Phase::Rebuild,
    Phase::Bench,
    Phase::Settings,
    Phase::Refit,
];

/// With a capital at the start and a full stop at the end.
fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    let first: String = chars.next().map(|c| c.to_uppercase().collect()).unwrap_or_default();
    let text = format!("{first}{}", chars.as_str());
    if text.ends_with(['.', '?', '!']) { text } else { format!("{text}.") }
}

/// Whether a step of the hand-over says itself that it ignites: it is done with the engine running.
fn runs_at_hand_over(step: &crate::knowledge::Step) -> bool {
    step.phase == Phase::HandOver && step.ignites == Some(true)
}

/// Access with its minutes.
type Opened = Vec<(Ix<Access>, Reach)>;

/// Whether minutes are few enough to go a little further for a proof: a quarter of an hour.
fn little(minutes: Minutes) -> bool {
    minutes.get() <= 15.0
}
