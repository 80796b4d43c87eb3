//! Who knows what to do next: the library itself, or in tests someone who says what they are told to.

use crate::access::{AccessGraph, OpenSet};
use crate::belief::{self, CauseBelief, Explanations, Misfit, Weight};
use crate::case::Case;
use crate::decision::{self, Action, Advice, Follow, Settings};
use crate::inference::Accuracy;
use crate::knowledge::Knowledge;
use crate::knowledge::layout::Laid;
use crate::report::{Document, Figures, words};
use crate::safety::{OpenHazard, Safety, Verdict};
use crate::units::{Minutes, Money};
use jiff::Timestamp;
use std::cell::RefCell;

/// What is believed and advised about a job at one moment.
#[derive(Clone, Debug)]
pub struct View {
    /// Every cause instance, the likeliest first.
    pub causes: Vec<CauseBelief>,
    /// Answers that do not fit, the worst first.
    pub misfits: Vec<Misfit>,
    /// Whether the answers are impossible together.
    pub impossible: bool,
    /// How near the numbers are to exact.
    pub accuracy: Accuracy,
    /// What to do next.
    pub advice: Advice,
}

/// What we know, in full: for the page that says so.
#[derive(Clone, Debug)]
pub struct Known {
    /// The likeliest explanations.
    pub explanations: Explanations,
    /// What each answer weighed.
    pub weights: Vec<Weight>,
}

/// Who knows what to do next. Errors are sentences for people.
pub trait Advisor {
    /// What is believed and advised.
    ///
    /// # Errors
    /// Where the network is too wide.
    fn look(&self, case: &Case, now: Option<Timestamp>) -> Result<View, String>;

    /// Hazards that are open.
    fn hazards(&self, case: &Case, now: Option<Timestamp>) -> Vec<OpenHazard>;

    /// What is open.
    fn open(&self, case: &Case) -> OpenSet;

    /// Whether something may be done now.
    fn judge(&self, case: &Case, action: &Action, now: Option<Timestamp>) -> Verdict;

    /// What a step costs from how things stand.
    fn step_cost(&self, case: &Case, action: &Action) -> (Minutes, Money);

    /// What we know.
    ///
    /// # Errors
    /// Where the network is too wide.
    fn known(&self, case: &Case) -> Result<Known, String>;

    /// The work order.
    ///
    /// # Errors
    /// Where the network is too wide.
    fn plan(&self, case: &Case, now: Option<Timestamp>) -> Result<Document, String>;
}

/// The library itself.
pub struct Library<'k> {
    knowledge: &'k Knowledge,
    graph: AccessGraph,
    settings: Settings,
    figures: Figures,
    /// What need not be worked out again from answer to answer.
    memory: RefCell<belief::Memory>,
}

impl<'k> Library<'k> {
    /// Advice from a knowledge base.
    #[must_use]
    pub fn new(knowledge: &'k Knowledge, settings: Settings, figures: Figures) -> Self {
        let memory = RefCell::default();
        Self { knowledge, graph: AccessGraph::new(knowledge), settings, figures, memory }
    }

    fn laid(&self, case: &Case) -> Laid<'k> {
        Laid::new(self.knowledge, case.craft.clone())
    }
}

/// How many runners-up are asked for: the best check must be among them even where many repairs come before it. More
/// than a few are never shown.
const RUNNERS_UP: usize = 40;
/// How many explanations are told.
const EXPLANATIONS: usize = 5;

impl Advisor for Library<'_> {
    fn look(&self, case: &Case, now: Option<Timestamp>) -> Result<View, String> {
        let laid = self.laid(case);
        let settings =
            Settings { now, alternatives: RUNNERS_UP, bounds: true, follow: Follow::Asked, ..self.settings.clone() };
        let memory = &mut self.memory.borrow_mut();
        let belief = belief::believe_again(&laid, case, &settings.limits, memory)
            .map_err(|e| words::trouble(&laid, case, &e))?;
        let mut advice = decision::advise(&laid, &self.graph, case, &belief, &settings).map_err(|e| e.to_string())?;
        advice.alternatives.sort_by(|a, b| a.expected_cost.get().total_cmp(&b.expected_cost.get()));
        Ok(View {
            impossible: belief.log_evidence.is_none(),
            causes: belief.causes,
            misfits: belief.misfits,
            accuracy: belief.accuracy,
            advice,
        })
    }

    fn hazards(&self, case: &Case, now: Option<Timestamp>) -> Vec<OpenHazard> {
        Safety::at(&self.laid(case), &self.graph, case, now).hazards
    }

    fn open(&self, case: &Case) -> OpenSet {
        self.graph.open_now(&self.laid(case), case)
    }

    fn judge(&self, case: &Case, action: &Action, now: Option<Timestamp>) -> Verdict {
        let laid = self.laid(case);
        let open = self.graph.open_now(&laid, case);
        Safety::at(&laid, &self.graph, case, now).judge(&laid, &self.graph, case, &open, action)
    }

    fn step_cost(&self, case: &Case, action: &Action) -> (Minutes, Money) {
        decision::step_cost(&self.laid(case), &self.graph, case, action)
    }

    fn known(&self, case: &Case) -> Result<Known, String> {
        let laid = self.laid(case);
        let limits = &self.settings.limits;
        let belief = belief::believe(&laid, case, limits).map_err(|e| words::trouble(&laid, case, &e))?;
        Ok(Known {
            explanations: belief.explanations(&laid, case, EXPLANATIONS, limits).map_err(|e| e.to_string())?,
            weights: belief::weights(&laid, case, limits).map_err(|e| e.to_string())?,
        })
    }

    fn plan(&self, case: &Case, _: Option<Timestamp>) -> Result<Document, String> {
        crate::interview::plan_document(self.knowledge, &self.graph, case, &self.settings, &self.figures)
    }
}
