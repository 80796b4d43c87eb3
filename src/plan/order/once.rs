//! What several repairs ask for is written once in a stretch of work.

use super::super::{Source, StageKind, Step, Vapor};
use super::Writer;
use crate::knowledge::Phase;

impl Writer<'_> {
    /// Adds a step. Of the steps of a stage that do the same thing one stands: up to the bench tests the first, from
    /// refitting on the last, for what is looked at there must be whole. What stands has the cautions, records,
    /// settings and tests of all.
    pub fn once(&mut self, stage: StageKind, phase: Phase, mut step: Step, same: Option<&str>) {
        self.note_fitted(&step);
        let Some(same) = same else { return self.emit(stage, phase, step) };
        let key = (stage, same.to_owned());
        let known = self.standing.get(&key).cloned();
        self.standing.insert(key, (step.source.clone(), step.what.clone()));
        let Some((section, at)) = known.and_then(|(source, what)| self.find(stage, &source, &what)) else {
            return self.emit(stage, phase, step);
        };
        let last = self.stages.last_mut().expect("the step was found in it");
        let before = &mut last.sections[section].steps[at];
        // Vapor counts from the first of them on; what is written last must not be where it begins to count.
        if !alike(before, &step) || (phase >= Phase::Refit && before.vapor != step.vapor) {
            return self.emit(stage, phase, step);
        }
        if phase < Phase::Refit {
            absorb(before, step);
            let stands = (before.source.clone(), before.what.clone());
            self.standing.insert((stage, same.to_owned()), stands);
            return;
        }
        if !self.can_go(section, at) {
            return self.emit(stage, phase, step);
        }
        let steps = &mut self.stages.last_mut().expect("the step was found in it").sections[section].steps;
        let before = steps.remove(at);
        absorb(&mut step, before);
        self.emit(stage, phase, step);
        self.drop_empty();
    }

    /// Where a step stands in the stage that is being written.
    fn find(&self, stage: StageKind, source: &Source, what: &str) -> Option<(usize, usize)> {
        let last = self.stages.last().filter(|last| last.kind == stage)?;
        last.sections.iter().enumerate().find_map(|(section, of)| {
            let at = of.steps.iter().position(|step| step.source == *source && step.what == what)?;
            Some((section, at))
        })
    }

    /// Whether a step may be taken out: a state of access must still be seen to be opened and put back.
    fn can_go(&self, section: usize, at: usize) -> bool {
        let stage = self.stages.last().expect("a step stands in it");
        let source = &stage.sections[section].steps[at].source;
        let same = |step: &&Step| step.source == *source;
        match source {
            Source::Opens(_) | Source::Closes(_) => {
                stage.sections.iter().flat_map(|s| &s.steps).filter(same).count() > 1
            }
            _ => true,
        }
    }

    fn drop_empty(&mut self) {
        if let Some(stage) = self.stages.last_mut() {
            stage.sections.retain(|section| !section.steps.is_empty());
        }
    }
}

/// Whether two steps may be one: the same person, the same danger, and neither is the sniff. A step that opens needs
/// nothing open, and what is done on the way in needs not be done again inside.
fn alike(a: &Step, b: &Step) -> bool {
    let reached = a.needs == b.needs || a.needs.is_empty() || b.needs.is_empty();
    a.by == b.by && a.ignites == b.ignites && a.vapor != Vapor::Closes && b.vapor != Vapor::Closes && reached
}

/// Adds all that another step asks for.
fn absorb(step: &mut Step, other: Step) {
    for caution in other.cautions {
        if !step.cautions.contains(&caution) {
            step.cautions.push(caution);
        }
    }
    // Without places it is meant for all of them.
    if step.places.is_empty() || other.places.is_empty() {
        step.places.clear();
    } else {
        step.places.extend(other.places.into_iter().filter(|place| !step.places.contains(place)).collect::<Vec<_>>());
    }
    if other.vapor == Vapor::Opens {
        step.vapor = Vapor::Opens;
    }
    step.takes_off = step.takes_off.take().or(other.takes_off);
    step.puts_on = step.puts_on.take().or(other.puts_on);
    step.ticks.extend(other.ticks);
    step.record.extend(other.record);
    step.set.extend(other.set);
    step.anew.extend(other.anew);
    for test in other.tests {
        if !step.tests.contains(&test) {
            step.tests.push(test);
        }
    }
}
