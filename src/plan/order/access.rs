//! Opening and putting back, and the sniff.

use super::super::{By, Named, Source, StageKind, Step, Test, Vapor};
use super::{Writer, steps};
use crate::knowledge::{Access, Check, Hazard, Ix, Phase, Repair};
use crate::safety::Safety;
use crate::units::Minutes;

impl Writer<'_> {
    /// Opens what is missing for these states, in order.
    pub fn reach(&mut self, stage: StageKind, wanted: &[Ix<Access>]) {
        let needed = self.context.graph.needed(wanted);
        for access in self.context.graph.order() {
            if needed.has(*access) && !self.open[access.at()] {
                self.open_access(stage, *access);
            }
        }
    }

    /// The steps that open one state.
    pub fn open_access(&mut self, stage: StageKind, ix: Ix<Access>) {
        let access = &self.context.laid.knowledge.access[ix];
        let opens_fuel = self.vapor.opened_by_access(self.context, ix);
        let safe = access.steps.iter().all(|step| step.phase == Phase::MakeSafe);
        let section = if safe { Phase::MakeSafe } else { Phase::Open };
        for at in 0..access.steps.len() {
            let phase = if stage == StageKind::Run { access.steps[at].phase } else { section };
            self.access_step(stage, phase, ix, Way::Open, at, opens_fuel && at == 0);
        }
        if access.steps.is_empty() && access.open.get() > 0.0 {
            let source = Source::Opens(self.access_id(ix));
            let step = Step { by: self.by_of(ix), ..steps::plain(source, format!("Reach: {}.", access.title)) };
            let step = self.with_raises(step, &access.raises);
            let vapor = if opens_fuel { Vapor::Opens } else { Vapor::Same };
            self.emit(stage, section, Step { vapor, ignites: access.ignites, ..step });
        }
        self.open[ix.at()] = true;
        self.vapor_open |= opens_fuel;
    }

    /// The steps that put one state back.
    pub fn close_access(&mut self, stage: StageKind, ix: Ix<Access>) {
        let access = &self.context.laid.knowledge.access[ix];
        self.open[ix.at()] = false;
        for at in 0..access.back.len() {
            if !self.is_on(stage, &access.back[at]) && !self.is_put_on_later(&access.back[at]) {
                self.access_step(stage, Phase::Refit, ix, Way::Back, at, false);
            }
        }
        if access.back.is_empty() && access.close.get() > 0.0 {
            let source = Source::Closes(self.access_id(ix));
            let step = Step { by: self.by_of(ix), ..steps::plain(source, format!("{}.", access.put_back_words())) };
            self.emit(stage, Phase::Refit, step);
        }
    }

    /// Puts back what is open and no later stage needs, deepest first, where `which` says so.
    pub fn close_unneeded(&mut self, stage: StageKind, later: &[StageKind], which: impl Fn(Ix<Access>) -> bool) {
        let needed: Vec<Vec<bool>> = later.iter().map(|stage| self.needed(*stage)).collect();
        for ix in self.context.graph.order().iter().rev() {
            let wanted = needed.iter().any(|stage| stage[ix.at()]);
            if self.open[ix.at()] && !wanted && which(*ix) {
                self.close_access(stage, *ix);
            }
        }
    }

    /// States that open fuel, and all that is reached through them.
    pub fn fuel_and_behind(&self) -> Vec<bool> {
        (0..self.open.len())
            .map(|at| {
                let through = self.context.graph.needed(&[Ix::new(at)]);
                through.iter().any(|a| self.vapor.opened_by_access(self.context, a))
            })
            .collect()
    }

    /// A state of running: its make-safe steps, those of the service step that it is for, then the start.
    pub fn run_state(&mut self, wanted: &[Ix<Access>], service: Option<Ix<Repair>>) {
        let stage = StageKind::Run;
        let graph = self.context.graph;
        let needed = graph.needed(wanted);
        for at in (0..self.open.len()).rev() {
            let ix = graph.order()[at];
            if self.open[ix.at()] && !needed.has(ix) {
                self.close_access(stage, ix);
            }
        }
        let missing: Vec<Ix<Access>> =
            graph.order().iter().copied().filter(|a| needed.has(*a) && !self.open[a.at()]).collect();
        let (runs, rest): (Vec<_>, Vec<_>) =
            missing.into_iter().partition(|a| self.context.laid.knowledge.access[*a].shuts_others);
        for ix in rest {
            self.open_access(stage, ix);
        }
        let knowledge = self.context.laid.knowledge;
        let guards = |caution: Ix<Hazard>| {
            let mut steps = service.iter().flat_map(|service| &knowledge.repairs[*service].steps);
            steps.any(|step| step.phase == Phase::MakeSafe && step.caution == Some(caution))
        };
        for safe in [true, false] {
            for &ix in &runs {
                let access = &self.context.laid.knowledge.access[ix];
                // The service step says again, and better for its purpose, what guards the same hazard; something of
                // the state itself is still said, for it must be seen to begin.
                let guarded =
                    |step: &crate::knowledge::Step| step.phase == Phase::MakeSafe && step.caution.is_some_and(guards);
                let begins = !access.steps.iter().all(guarded);
                for at in 0..access.steps.len() {
                    let step = &access.steps[at];
                    if (step.phase == Phase::MakeSafe) == safe && !(begins && guarded(step)) {
                        self.access_step(stage, access.steps[at].phase, ix, Way::Open, at, false);
                    }
                }
                self.open[ix.at()] |= !safe;
            }
            if let (true, Some(service)) = (safe, service) {
                self.phase_of(stage, Phase::MakeSafe, service);
            }
        }
    }

    /// Ends a state of running.
    pub fn end_run(&mut self, wanted: &[Ix<Access>]) {
        for &ix in wanted.iter().rev() {
            if self.context.laid.knowledge.access[ix].shuts_others && self.open[ix.at()] {
                self.close_access(StageKind::Run, ix);
            }
        }
    }

    /// The leak look, where fuel was opened, then the sniff that closes every vapor hazard.
    pub fn sniff(&mut self, stage: StageKind) {
        let knowledge = self.context.laid.knowledge;
        let safety = Safety::of(self.context.laid, self.context.graph, self.context.case);
        for &ix in &self.vapor.hazards {
            let hazard = &knowledge.hazards[ix];
            let Some(closed_by) = hazard.closed_by.first() else { continue };
            if self.sniffed {
                for (_, check, outcome) in &closed_by.also_after {
                    let step = self.check_step(*check, &[*outcome]);
                    self.push(stage, Phase::Prove, step);
                }
            }
            let (check, outcome) = closed_by.answer;
            let open_now = safety.hazards.iter().find(|open| open.hazard == ix);
            let air = if self.sniffed { closed_by.aired_at_start } else { open_now.map_or(Minutes::ZERO, |o| o.air) };
            let mut step = self.check_step(check, &[outcome]);
            step = self.with_raises(step, &[ix]);
            step.vapor = Vapor::Closes;
            step.air = Some(air).filter(|air| air.get() > 0.0);
            step.ticks.extend(self.tick(ix));
            let phase = if self.sniffed { Phase::Prove } else { Phase::MakeSafe };
            self.push(stage, phase, step);
        }
        self.vapor_open = false;
        self.sniffed = true;
    }

    fn tick(&self, ix: Ix<Hazard>) -> Option<Named> {
        let knowledge = self.context.laid.knowledge;
        let tick = knowledge.hazards[ix].tick?;
        Some(Named { id: knowledge.ticks.id(tick).to_owned(), words: knowledge.ticks[tick].says.clone() })
    }

    /// A check that must come out so.
    pub fn check_step(&mut self, check: Ix<Check>, pass: &[usize]) -> Step {
        let item = &self.context.laid.knowledge.checks[check];
        let id = self.context.laid.knowledge.checks.id(check).to_owned();
        let what = format!("{}.", item.title.trim_end_matches('.'));
        let test = Test { pass: steps::outcome_words(item, pass), ..steps::test(self.context, check, 0, pass) };
        let step = Step { tests: vec![test], by: By::User, ..steps::plain(Source::Check(id), what) };
        let raises = item.raises.clone();
        self.with_raises(step, &raises)
    }

    /// All that must be open for these states, as ids.
    pub fn access_ids(&self, wanted: &[Ix<Access>]) -> Vec<String> {
        self.context.graph.needed(wanted).iter().map(|ix| self.access_id(ix)).collect()
    }

    pub fn access_id(&self, ix: Ix<Access>) -> String {
        self.context.laid.knowledge.access.id(ix).to_owned()
    }
}

/// Which way.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// Opening.
    Open,
    /// Putting back.
    Back,
    /// A step of putting back, done while it still stands open.
    Stands,
}
