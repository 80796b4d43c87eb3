//! One step, from the knowledge base to the plan.

use super::super::cost::Context;
use super::super::teardown::at_places;
use super::super::{By, Named, SettingLine, Source, StageKind, Step, Test, Vapor, words};
use super::Writer;
use super::access::Way;
use crate::knowledge::{Access, Check, GateTest, Hazard, Ix, Phase, Repair, Scope, Setting, Turns, raw};
use crate::units::Measure;

/// A step with nothing but words.
pub fn plain(source: Source, what: String) -> Step {
    Step {
        source,
        what,
        places: Vec::new(),
        cautions: Vec::new(),
        ticks: Vec::new(),
        record: Vec::new(),
        set: Vec::new(),
        anew: Vec::new(),
        tests: Vec::new(),
        how: Vec::new(),
        ignites: false,
        vapor: Vapor::Same,
        takes_off: None,
        puts_on: None,
        by: By::User,
        needs: Vec::new(),
        air: None,
    }
}

impl Writer<'_> {
    /// One step of opening or putting back.
    pub fn access_step(
        &mut self,
        stage: StageKind,
        phase: Phase,
        ix: Ix<Access>,
        way: Way,
        at: usize,
        opens_fuel: bool,
    ) {
        let access = &self.context.laid.knowledge.access[ix];
        let (step, source) = match way {
            Way::Open => (&access.steps[at], Source::Opens(self.access_id(ix))),
            Way::Back => (&access.back[at], Source::Closes(self.access_id(ix))),
            Way::Stands => (&access.back[at], Source::Stands(self.access_id(ix))),
        };
        let places = self.places_behind(ix);
        let mut written = Step { by: self.by_of(ix), ..plain(source, step.what.clone()) };
        written.record = self.record(&step.record, Scope::Craft, &places);
        written.set = self.set_again(&step.set, Scope::Craft, &places);
        written.anew = self.set_again(&step.anew, Scope::Craft, &places);
        let running = access.ignites && way == Way::Open && step.phase != Phase::MakeSafe;
        written.ignites = step.ignites.unwrap_or_else(|| running || self.joins_battery(step.phase, step.caution));
        written.takes_off.clone_from(&step.takes_off);
        written.puts_on.clone_from(&step.puts_on);
        if opens_fuel {
            written.vapor = Vapor::Opens;
        }
        let mut raises: Vec<Ix<Hazard>> = step.caution.into_iter().collect();
        if way == Way::Open && at == 0 {
            let carried: Vec<_> = access.steps.iter().chain(&access.back).filter_map(|step| step.caution).collect();
            raises.extend(access.raises.iter().filter(|raised| !carried.contains(raised)));
        }
        let written = self.with_raises(written, &raises);
        self.once(stage, phase, written, step.once.as_deref());
    }

    /// What makes a state safe that is open already: its make-safe steps, before the first of them every caution the
    /// state asks for.
    pub fn access_stands(&mut self, stage: StageKind, ix: Ix<Access>) {
        let access = &self.context.laid.knowledge.access[ix];
        let source = Source::Stands(self.access_id(ix));
        let by = self.by_of(ix);
        let safe = access.steps.iter().filter(|step| step.phase == Phase::MakeSafe);
        let mut written: Vec<(Step, Vec<Ix<Hazard>>, Option<&str>)> = safe
            .map(|step| {
                let takes_off = step.takes_off.clone();
                let line = Step { takes_off, by, ..plain(source.clone(), step.what.clone()) };
                (line, step.caution.into_iter().collect(), step.once.as_deref())
            })
            .collect();
        if written.is_empty() && !access.raises.is_empty() {
            let what = format!("Open already: {}. See that it is as safe as if you had opened it.", access.title);
            written.push((Step { by, ..plain(source, what) }, Vec::new(), None));
        }
        if let Some((_, cautions, _)) = written.first_mut() {
            cautions.extend(&access.raises);
        }
        for (step, cautions, once) in written {
            let step = self.with_raises(step, &cautions);
            self.once(stage, Phase::MakeSafe, step, once);
        }
    }

    /// One step of a repair, where its words do not stand in this stage already and it asks for something new.
    pub fn repair_step(&mut self, stage: StageKind, section: Phase, ix: Ix<Repair>, at: usize) {
        let repair = &self.context.laid.knowledge.repairs[ix];
        let step = &repair.steps[at];
        let phase = step.phase;
        let places = super::beside::places_of(self.jobs, ix).to_vec();
        let record = self.record(&step.record, repair.scope, &places);
        let asked_before = phase == Phase::Record && !step.record.is_empty() && record.is_empty();
        if asked_before && step.gate.is_none() {
            return;
        }
        let source = Source::Repair(self.context.laid.knowledge.repairs.id(ix).to_owned());
        let mut written = Step { by: self.context.by(ix), ..plain(source, step.what.clone()) };
        let all = self.context.laid.places(repair.scope);
        if places.len() < all {
            written.places = words::places(self.context.laid, repair.scope, &places);
        }
        written.record = record;
        if stage != StageKind::HandOver && (Phase::Strip..=Phase::Bench).contains(&phase) {
            written.needs = self.access_ids(&repair.access);
        }
        written.takes_off.clone_from(&step.takes_off);
        written.puts_on.clone_from(&step.puts_on);
        if phase == Phase::Fill {
            written.vapor = Vapor::Opens;
        }
        written.set = self.set_again(&step.set, repair.scope, &places);
        written.anew = self.set_again(&step.anew, repair.scope, &places);
        written.tests = step.gate.iter().flat_map(|gate| self.gate(gate, repair.scope, &places)).collect();
        let hot = (repair.ignites || repair.turns == Turns::Starter)
            && !matches!(phase, Phase::MakeSafe | Phase::Record | Phase::HandOver)
            && stage != StageKind::Work;
        written.ignites = step.ignites.unwrap_or_else(|| hot || self.joins_battery(step.phase, step.caution));
        let mut raises: Vec<Ix<Hazard>> = step.caution.into_iter().collect();
        if at == 0 {
            let carried: Vec<_> = repair.steps.iter().filter_map(|step| step.caution).collect();
            raises.extend(repair.raises.iter().filter(|raised| !carried.contains(raised)));
        }
        let written = self.with_raises(written, &raises);
        // What makes a run on the hose safe does not make the next one on the water so.
        let same_words = (phase == Phase::MakeSafe && stage != StageKind::Run).then_some(step.what.as_str());
        self.once(stage, section, written, step.once.as_deref().or(same_words));
    }

    /// A step of putting together that is guarded by the vapor caution is one that joins the battery: nothing else at
    /// that point could set vapor off.
    fn joins_battery(&self, phase: Phase, caution: Option<Ix<Hazard>>) -> bool {
        matches!(phase, Phase::Refit | Phase::Prove) && caution.is_some_and(|ix| self.vapor.hazards.contains(&ix))
    }

    /// With these cautions directly before it.
    pub fn with_raises(&mut self, mut step: Step, raises: &[Ix<Hazard>]) -> Step {
        for ix in raises {
            self.hazards.insert(*ix);
            let id = self.context.laid.knowledge.hazards.id(*ix).to_owned();
            if !step.cautions.contains(&id) {
                step.cautions.push(id);
            }
        }
        step
    }

    /// The places that the work behind an access state touches, as cylinders.
    fn places_behind(&self, access: Ix<Access>) -> Vec<usize> {
        let laid = self.context.laid;
        let mut cylinders: Vec<usize> = self
            .jobs
            .iter()
            .filter(|(ix, _)| self.context.graph.needed(&laid.knowledge.repairs[*ix].access).has(access))
            .flat_map(|(ix, at)| {
                let scope = laid.knowledge.repairs[ix].scope;
                at.iter().flat_map(move |at| laid.bearing(Scope::Cylinder, scope, *at))
            })
            .collect();
        cylinders.sort_unstable();
        cylinders.dedup();
        if cylinders.is_empty() { (0..laid.places(Scope::Cylinder)).collect() } else { cylinders }
    }

    /// Settings to write down that no step before asked for.
    fn record(&mut self, settings: &[Ix<Setting>], scope: Scope, places: &[usize]) -> Vec<SettingLine> {
        let all = at_places(self.context.laid, settings, scope, places);
        let new = all.into_iter().filter(|setting| self.recorded.insert((setting.item, setting.at)));
        new.map(|setting| words::setting(self.context.laid, self.context.case, setting)).collect()
    }

    /// Settings to set that no step before set.
    fn set_again(&mut self, settings: &[Ix<Setting>], scope: Scope, places: &[usize]) -> Vec<SettingLine> {
        let all = at_places(self.context.laid, settings, scope, places);
        let new = all.into_iter().filter(|setting| self.set.insert((setting.item, setting.at)));
        new.map(|setting| words::setting(self.context.laid, self.context.case, setting)).collect()
    }

    /// A bench test at each place.
    fn gate(&self, gate: &GateTest, scope: Scope, places: &[usize]) -> Vec<Test> {
        let laid = self.context.laid;
        let of = laid.knowledge.checks[gate.check].scope;
        let mut at: Vec<usize> = places.iter().flat_map(|place| laid.bearing(of, scope, *place)).collect();
        at.sort_unstable();
        at.dedup();
        at.into_iter()
            .map(|at| Test {
                within: gate.within,
                repeats: gate.repeats.max(1),
                spread: gate.spread,
                ..test(self.context, gate.check, at, &gate.pass)
            })
            .collect()
    }
}

/// A check to be passed at a place.
pub fn test(context: &Context<'_>, check: Ix<Check>, at: usize, pass: &[usize]) -> Test {
    let laid = context.laid;
    let item = &laid.knowledge.checks[check];
    let reading = item.reading.as_ref();
    let sheet = reading.and_then(|reading| reading.relative.as_ref());
    let target = sheet.and_then(|(key, compare)| match compare {
        raw::RawCompare::Difference => context.case.sheet.get(key).copied(),
        raw::RawCompare::Percent => None,
    });
    let target = target.and_then(|measure| {
        let unit = reading?.unit;
        measure.unit.convert(measure.value, unit).map(|value| Measure { value, unit })
    });
    // Without a target a reading passes in its bands, unless they are differences from the sheet.
    let range = if sheet.is_some() { None } else { range(item, pass) };
    Test {
        check: Named { id: laid.label(laid.knowledge.checks.id(check), item.scope, at), words: item.title.clone() },
        place: laid.place_name(item.scope, at).map(str::to_owned),
        pass: if range.is_some() || reading.is_some() { Vec::new() } else { outcome_words(item, pass) },
        unit: reading.map(|reading| reading.unit),
        target,
        sheet: sheet.map(|(key, _)| key.clone()),
        within: None,
        range,
        repeats: 1,
        spread: None,
    }
}

/// The words of outcomes.
pub fn outcome_words(check: &Check, pass: &[usize]) -> Vec<String> {
    pass.iter().filter_map(|at| check.outcomes.get(*at)).map(|outcome| outcome.says.clone()).collect()
}

/// The least and the most of the bands that pass; none where a band reaches to the end of the scale, which is no limit of
/// the engine's.
fn range(check: &Check, pass: &[usize]) -> Option<(Option<f64>, Option<f64>)> {
    let bands: Vec<(f64, f64)> =
        pass.iter().filter_map(|at| check.outcomes.get(*at)).filter_map(|outcome| outcome.band).collect();
    let least = bands.iter().map(|band| band.0).reduce(f64::min)?;
    let most = bands.iter().map(|band| band.1).reduce(f64::max)?;
    let scale = check.reading.as_ref()?;
    Some((Some(least).filter(|least| *least > scale.least), Some(most).filter(|most| *most < scale.most)))
}
