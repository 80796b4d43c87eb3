//! What is proposed after an answer, asked of the advice itself with that answer supposed.
//!
//! What the comparison knows of the step after the next is the way on that it priced: repairs, looking further, handing
//! over. What is proposed then may be another thing: a sniff, as the answer opens a hazard; what releases an interlock; a
//! check that the answer makes telling. Who reads a screen is told what will be on the next one.

use super::{Action, Advice, Branch, LookAhead, Proposal, Settings, advise, complained_of};
use crate::access::AccessGraph;
use crate::belief::{Memory, believe_unjudged};
use crate::case::{Answer, Case, Entry, Event, Position, Presence};
use crate::inference::{Error, Limits};
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Access, Check, Ix};
use crate::safety::{Before, Safety, Verdict};

/// How the step after the next is known.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Follow {
    /// By the way on that was priced: about the kind of step, often not the very one.
    #[default]
    Priced,
    /// By asking for the advice with each answer supposed that is not too rare.
    Asked,
}

/// What is rarer keeps the way on that was priced: ten of a thousand worlds tell too little of it to be asked.
const RARE: f64 = 0.01;
/// Worlds that the step after the next is asked with, where more are not asked for: it is said, not done.
const WORLDS: usize = 2048;

/// One state of a job, to be supposed further.
pub(super) struct Supposing<'a, 'k> {
    pub laid: &'a Laid<'k>,
    pub graph: &'a AccessGraph,
    pub case: &'a Case,
    pub settings: &'a Settings,
}

impl Supposing<'_, '_> {
    /// Puts right what follows each outcome of a proposal.
    ///
    /// Cost: a next step for each outcome.
    pub fn follow(&self, proposal: &mut Proposal) -> Result<(), Error> {
        let mut memory = Memory::default();
        let Proposal { action, before, branches, .. } = proposal;
        for branch in branches.iter_mut().filter(|branch| branch.then.is_some() && branch.chance >= RARE) {
            if let Some(then) = self.then(action, before, branch, &mut memory)? {
                branch.then = Some(then);
            }
        }
        Ok(())
    }

    /// What is proposed after an outcome; `None` where that cannot be supposed.
    fn then(
        &self,
        action: &Action,
        before: &Before,
        branch: &Branch,
        memory: &mut Memory,
    ) -> Result<Option<Action>, Error> {
        let mut case = self.case.clone();
        match action {
            Action::Check(check) => {
                self.answered(&mut case, *check, before, branch.outcome);
                // A screen asks at all places: what follows is what follows once each has shown the same.
                for _ in 1..self.laid.places(self.laid.knowledge.checks[check.item].scope).max(1) {
                    match self.next(&case, memory)? {
                        Action::Check(again) if again.item == check.item && again.at != check.at => {
                            self.answered(&mut case, again, &Before::default(), branch.outcome);
                        }
                        other => return Ok(Some(other)),
                    }
                }
            }
            Action::Repair(repair, places) => {
                self.prepared(&mut case, before, &self.laid.knowledge.repairs[*repair].access);
                case.log.push(Event::Repaired { repair: *repair, places: places.clone() }.into());
                if !self.tried_in_vain(&mut case) {
                    return Ok(None);
                }
            }
            Action::Try(_) | Action::HandOver => return Ok(None),
        }
        self.next(&case, memory).map(Some)
    }

    fn next(&self, case: &Case, memory: &mut Memory) -> Result<Action, Error> {
        // Whoever asks for exact chances does not ask for the step after the next so.
        let usual = Limits::default();
        let settings = Settings {
            worlds: self.settings.worlds.min(WORLDS),
            alternatives: 0,
            bounds: false,
            follow: Follow::Priced,
            look_ahead: LookAhead::One,
            limits: if self.settings.limits.cells > usual.cells { usual } else { self.settings.limits },
            ..self.settings.clone()
        };
        let belief = believe_unjudged(self.laid, case, &settings.limits, memory)?;
        let Advice { next, .. } = advise(self.laid, self.graph, case, &belief, &settings)?;
        Ok(next.action)
    }

    /// A check made, with what comes before it, and its answer.
    fn answered(&self, case: &mut Case, check: Instance<Check>, before: &Before, outcome: usize) {
        self.prepared(case, before, &self.laid.knowledge.checks[check.item].access);
        let answer = Answer::Outcome(outcome);
        case.log.push(Event::Answer { check: check.item, place: Some(check.at), answer, aired_min: None }.into());
    }

    /// What is put back, confirmed and opened before a step.
    fn prepared(&self, case: &mut Case, before: &Before, access: &[Ix<Access>]) {
        let moved = |access, now| Entry::from(Event::Access { access, now });
        case.log.extend(before.put_back.iter().map(|ix| moved(*ix, Position::Shut)));
        case.log.extend(before.ticks.iter().map(|tick| Entry::from(Event::Ticked(*tick))));
        let missing = self.graph.missing(&self.graph.open_now(self.laid, case), access);
        case.log.extend(missing.into_iter().map(|ix| moved(ix, Position::Open)));
    }

    /// The craft put together and tried, and the complaint still there; false where nothing may be tried.
    fn tried_in_vain(&self, case: &mut Case) -> bool {
        let complaint = complained_of(case);
        let attempt = Action::Try(complaint.clone());
        let safety = Safety::at(self.laid, self.graph, case, self.settings.now);
        let open = self.graph.open_now(self.laid, case);
        let Verdict::May(before) = safety.judge(self.laid, self.graph, case, &open, &attempt) else { return false };
        self.prepared(case, &before, &[]);
        if let Some((check, outcome, _)) = before.close {
            self.answered(case, Instance::new(check, 0), &Before::default(), outcome);
        }
        let still = complaint.into_iter().map(|symptom| Event::Tried { symptom, now: Presence::Present }.into());
        case.log.extend(still);
        true
    }
}
