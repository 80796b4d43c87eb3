//! What is taken off on the way in and must be on again before the craft is given back, such as a battery lead.
//!
//! It goes on again as late as can be: with every fuel line shut and the sniff passed, and before anything cranks or runs.

use super::super::{StageKind, Step};
use super::Writer;
use super::access::Way;
use crate::knowledge::{Access, Ix, Phase, Repair, Step as KnownStep};

/// Where something is that the plan has moved.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fitted {
    /// Taken off.
    Off,
    /// Put on again.
    On,
}

impl Writer<'_> {
    /// Keeps count of what a step takes off and puts on.
    pub fn note_fitted(&mut self, step: &Step) {
        if let Some(what) = &step.takes_off {
            self.fitted.insert(what.clone(), Fitted::Off);
        }
        if let Some(what) = &step.puts_on {
            self.fitted.insert(what.clone(), Fitted::On);
        }
    }

    /// Whether a step of putting back has nothing to put on: nobody took it off, it is on again, or a repair of the
    /// stage does so itself.
    pub fn is_on(&self, stage: StageKind, step: &KnownStep) -> bool {
        let Some(what) = &step.puts_on else { return false };
        self.fitted.get(what) != Some(&Fitted::Off) || !self.own(stage, what).is_empty()
    }

    /// Whether what a step of putting back puts on can wait: another state stands open that says how, and more may still be
    /// off behind it.
    pub fn is_put_on_later(&self, step: &KnownStep) -> bool {
        step.puts_on.as_deref().is_some_and(|what| self.way_back(what).is_some())
    }

    /// Whether a step of a repair waits until all else of its stage is done, or has nothing to put on.
    pub fn waits(&self, stage: StageKind, step: &KnownStep) -> bool {
        let Some(what) = &step.puts_on else { return false };
        match stage {
            StageKind::Work | StageKind::Live => true,
            StageKind::Run => self.fitted.get(what) == Some(&Fitted::On),
            _ => false,
        }
    }

    /// Whether a repair of a stage puts on itself what is off.
    pub fn has_to_put_on(&self, stage: StageKind) -> bool {
        self.off().iter().any(|what| !self.own(stage, what).is_empty())
    }

    /// Puts on what is off, where nothing stands open that bars it: by the steps of the repairs of this stage, or else
    /// as the first state of access does it that stands open and says how.
    pub fn put_on(&mut self, stage: StageKind) {
        if self.fuel_open() {
            return;
        }
        // What clears a cylinder begins with it: nothing is put back there yet.
        let section = if stage == StageKind::Clear { Phase::MakeSafe } else { Phase::Refit };
        for what in self.off() {
            let own = self.own(stage, &what);
            if let (true, Some((ix, at))) = (own.is_empty(), self.way_back(&what)) {
                self.access_step(stage, section, ix, Way::Stands, at, false);
            }
            for (ix, at) in own {
                self.repair_step(stage, section, ix, at);
            }
        }
    }

    fn off(&self) -> Vec<String> {
        self.fitted.iter().filter(|(_, now)| **now == Fitted::Off).map(|(what, _)| what.clone()).collect()
    }

    /// The steps of the repairs of a stage that put something on.
    fn own(&self, stage: StageKind, what: &str) -> Vec<(Ix<Repair>, usize)> {
        let repairs = &self.context.laid.knowledge.repairs;
        let puts_on = |step: &KnownStep| step.puts_on.as_deref() == Some(what);
        let of = |ix: &Ix<Repair>| (0..repairs[*ix].steps.len()).map(|at| (*ix, at)).collect::<Vec<_>>();
        self.group(stage).iter().flat_map(of).filter(|(ix, at)| puts_on(&repairs[*ix].steps[*at])).collect()
    }

    /// The step by which a state of access that stands open puts something on.
    fn way_back(&self, what: &str) -> Option<(Ix<Access>, usize)> {
        let access = &self.context.laid.knowledge.access;
        let open = self.context.graph.order().iter().filter(|ix| self.open[ix.at()]);
        let mut ways = open.filter_map(|ix| {
            let at = access[*ix].back.iter().position(|step| step.puts_on.as_deref() == Some(what))?;
            Some((*ix, at))
        });
        ways.next()
    }
}
