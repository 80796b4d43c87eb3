//! What must hold of every plan, checked apart from how plans are written.

use super::{Plan, Source, StageKind, Vapor};
use crate::knowledge::Phase;
use crate::units::{Minutes, Money};
use std::collections::BTreeSet;

/// Something wrong with a plan.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Flaw {
    /// A caution that a step asks for is not among those at the top.
    #[error("the caution `{caution}` of the step `{step}` does not stand at the top")]
    CautionMissing {
        /// The hazard.
        caution: String,
        /// The words of the step.
        step: String,
    },
    /// Cautions are not in the order of their signal words.
    #[error("the caution `{0}` stands after a weaker one")]
    CautionOrder(String),
    /// A step ignites while fuel vapor is open.
    #[error("fuel vapor is open at the step `{0}`, which ignites")]
    Ignites(String),
    /// A state of access is opened twice without being put back.
    #[error("`{0}` is opened again")]
    OpenedTwice(String),
    /// A state of access is put back more often than opened.
    #[error("`{0}` is put back though it was not opened")]
    ClosedTwice(String),
    /// A state of access is left open.
    #[error("`{0}` is left open")]
    LeftOpen(String),
    /// A step works on what is shut.
    #[error("`{access}` is shut at the step `{step}`")]
    Shut {
        /// The access.
        access: String,
        /// The words of the step.
        step: String,
    },
    /// Something taken off is not put on again.
    #[error("what was taken off, `{0}`, is not put on again")]
    LeftOff(String),
    /// Fuel is filled in while a joint stands open.
    #[error("`{access}` stands open at the step `{step}`, which fills in fuel")]
    FilledOpen {
        /// The access.
        access: String,
        /// The words of the step.
        step: String,
    },
    /// A sum does not add up.
    #[error("the {0} do not add up")]
    Sum(&'static str),
    /// Two repairs of one kind.
    #[error("`{0}` stands twice in the plan")]
    RepairTwice(String),
}

/// All flaws found.
pub fn check_order(plan: &Plan) -> Result<(), Vec<Flaw>> {
    let mut flaws = Vec::new();
    cautions(plan, &mut flaws);
    vapor(plan, &mut flaws);
    access(plan, &mut flaws);
    left_off(plan, &mut flaws);
    filled(plan, &mut flaws);
    sums(plan, &mut flaws);
    let mut seen = BTreeSet::new();
    for job in &plan.repairs {
        if !seen.insert(&job.repair.id) {
            flaws.push(Flaw::RepairTwice(job.repair.id.clone()));
        }
    }
    if flaws.is_empty() { Ok(()) } else { Err(flaws) }
}

/// Every caution stands at the top, before all steps, the strongest signal word first.
fn cautions(plan: &Plan, flaws: &mut Vec<Flaw>) {
    for pair in plan.cautions.windows(2) {
        if pair[1].signal < pair[0].signal {
            flaws.push(Flaw::CautionOrder(pair[1].hazard.id.clone()));
        }
    }
    for step in plan.steps() {
        for caution in &step.cautions {
            if plan.cautions.iter().all(|known| known.hazard.id != *caution) {
                flaws.push(Flaw::CautionMissing { caution: caution.clone(), step: step.what.clone() });
            }
        }
    }
}

/// Vapor is open from the start, and from whatever opens fuel to the next sniff.
fn vapor(plan: &Plan, flaws: &mut Vec<Flaw>) {
    let guarded = plan.steps().any(|step| step.vapor != Vapor::Same);
    let mut open = guarded;
    for stage in &plan.stages {
        for step in stage.sections.iter().flat_map(|section| &section.steps) {
            if step.ignites && open && step.vapor != Vapor::Closes {
                flaws.push(Flaw::Ignites(step.what.clone()));
            }
            match step.vapor {
                Vapor::Opens => open = true,
                Vapor::Closes => open = false,
                Vapor::Same => {}
            }
        }
        if stage.kind == StageKind::Work && stage.sections.iter().flat_map(|s| &s.steps).any(|s| s.ignites && open) {
            flaws.push(Flaw::Ignites("the end of the quiet work".to_owned()));
        }
    }
}

/// Access is opened once and put back once; what was open before is put back once more. A stretch of steps with one
/// source is one move, and the steps of one move may be parted by what belongs between them.
fn access(plan: &Plan, flaws: &mut Vec<Flaw>) {
    let mut open: BTreeSet<&str> = BTreeSet::new();
    let mut opened: BTreeSet<&str> = BTreeSet::new();
    let mut closed: BTreeSet<&str> = BTreeSet::new();
    let mut before: Option<&Source> = None;
    let mut from_start: BTreeSet<&str> = plan.open_at_start.iter().map(String::as_str).collect();
    for step in plan.steps() {
        for access in &step.needs {
            if !open.contains(access.as_str()) && !from_start.contains(access.as_str()) {
                flaws.push(Flaw::Shut { access: access.clone(), step: step.what.clone() });
            }
        }
        match &step.source {
            Source::Opens(id) if !open.contains(id.as_str()) => {
                open.insert(id);
                if !opened.insert(id) {
                    flaws.push(Flaw::OpenedTwice(id.clone()));
                }
            }
            Source::Closes(id) if before != Some(&step.source) => {
                from_start.remove(id.as_str());
                let known = open.remove(id.as_str());
                let first = !opened.contains(id.as_str());
                if !(known || first && closed.insert(id)) {
                    flaws.push(Flaw::ClosedTwice(id.clone()));
                }
            }
            _ => {}
        }
        before = Some(&step.source);
    }
    flaws.extend(open.into_iter().chain(from_start).map(|id| Flaw::LeftOpen(id.to_owned())));
}

/// What a step takes off, a later one puts on.
fn left_off(plan: &Plan, flaws: &mut Vec<Flaw>) {
    let mut off: BTreeSet<&String> = BTreeSet::new();
    for step in plan.steps() {
        off.extend(&step.takes_off);
        if let Some(what) = &step.puts_on {
            off.remove(what);
        }
    }
    flaws.extend(off.into_iter().map(|what| Flaw::LeftOff(what.clone())));
}

/// Fuel goes in once every joint that was opened is closed.
fn filled(plan: &Plan, flaws: &mut Vec<Flaw>) {
    let mut open: BTreeSet<&str> = BTreeSet::new();
    for section in plan.stages.iter().flat_map(|stage| &stage.sections) {
        for step in &section.steps {
            match &step.source {
                Source::Opens(id) if step.vapor == Vapor::Opens => {
                    open.insert(id);
                }
                Source::Closes(id) => {
                    open.remove(id.as_str());
                }
                _ => {}
            }
            if section.phase == Phase::Fill {
                let access = open.iter().map(|id| (*id).to_owned());
                flaws.extend(access.map(|access| Flaw::FilledOpen { access, step: step.what.clone() }));
            }
        }
    }
}

fn sums(plan: &Plan, flaws: &mut Vec<Flaw>) {
    let near = |a: f64, b: f64| (a - b).abs() <= 1e-9 * (1.0 + a.abs());
    let cost = &plan.cost;
    let work: Minutes = plan.repairs.iter().map(|job| job.minutes).sum();
    if !near(work.get(), cost.work.get()) || !near((cost.access + cost.work + cost.proof).get(), cost.minutes.get()) {
        flaws.push(Flaw::Sum("minutes"));
    }
    let lines: Money = plan.parts.iter().map(super::PartLine::total).sum();
    let jobs: Money = plan.repairs.iter().map(|job| job.parts).sum();
    if !near(lines.get(), jobs.get()) || jobs.get() > cost.parts.get() + 1e-9 {
        flaws.push(Flaw::Sum("parts"));
    }
    if !near((cost.labor + cost.parts).get(), cost.total.get()) {
        flaws.push(Flaw::Sum("costs"));
    }
}
