//! Simulated jobs, worked by several policies: what each costs, and how good the beliefs behind the advice are.
//!
//! A job is drawn from the knowledge base ([`truth`]), worked step by step to its end ([`job`]) by each policy
//! ([`policy`]), with the same answers to the same checks for all, and counted ([`stats`]); what was believed is held
//! against what is true ([`reading`]). A job is a function of its number: who plays them in which order, and on how many
//! threads, changes nothing.

pub use crate::model::draw as chance;
pub mod job;
pub mod options;
pub mod policy;
pub mod reading;
pub mod stats;
pub mod truth;

use crate::access::AccessGraph;
use crate::belief::{Belief, Memory, believe_unjudged, is_worth_asking};
use crate::decision::{Action, Settings};
use crate::inference::Error;
use crate::knowledge::Knowledge;
use crate::knowledge::layout::{Instance, Laid};
use crate::safety::Before;
use crate::units::{Minutes, Money};
use job::{Job, Standing};
use policy::{Player, Policy};
use reading::{Forecast, Rank};
use std::collections::BTreeSet;
use truth::{Draws, Truth};

/// What is compared, and how jobs are drawn.
#[derive(Clone, Debug)]
pub struct Setup {
    /// How jobs are drawn.
    pub draws: Draws,
    /// The policies.
    pub policies: Vec<Policy>,
    /// How the advice is asked for.
    pub settings: Settings,
}

/// One job as one policy worked it.
#[derive(Clone, Debug)]
pub struct Record {
    /// The number of the job.
    pub job: u64,
    /// Who worked it.
    pub policy: Policy,
    /// The layout's id.
    pub layout: String,
    /// The symptoms named, by id.
    pub symptoms: Vec<String>,
    /// The causes the complaint comes from, `id@place`.
    pub causes: Vec<String>,
    /// The effects of a fault that the knowledge does not list; none where there is no such fault.
    pub unlisted: Vec<String>,
    /// What it cost in all.
    pub money: Money,
    /// The time it took.
    pub minutes: Minutes,
    /// Checks made.
    pub checks: usize,
    /// Repairs done.
    pub repairs: usize,
    /// How it ended.
    pub ending: Ending,
    /// Whether the first repair cured it.
    pub first_time: bool,
    /// Money for parts of repairs that found nothing to repair.
    pub needless_parts: Money,
    /// Steps wished for that an interlock forbade or held up.
    pub barred: usize,
    /// Times it was called cured and came back.
    pub comebacks: usize,
    /// What the advice believed when it stopped looking; `None` for other policies.
    pub belief: Option<Forecast>,
    /// Where the causes of the complaint stand at the end of the job, among the causes as they were at its start: what
    /// every repair and trial showed counts; `None` for policies other than the advice.
    pub at_end: Option<Rank>,
    /// Whether the answers were said not to fit, at any time of the job.
    pub flagged: bool,
    /// The largest chance, at any time it was asked, that something not listed is behind the complaint.
    pub beyond: f64,
    /// What was done, a word each, with what it cost.
    pub steps: Vec<(String, f64)>,
}

/// How a job ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Ending {
    /// The complaint is gone.
    Cured,
    /// It was handed over.
    HandedOver,
    /// It was handed over while an interlock forbade to try repairs.
    Locked,
}

impl Ending {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Cured, Self::HandedOver, Self::Locked];
}

impl Record {
    /// Whether the complaint is gone.
    #[must_use]
    pub fn is_cured(&self) -> bool {
        self.ending == Ending::Cured
    }

    /// Whether a listed cause is behind the complaint and nothing that is not listed was drawn.
    #[must_use]
    pub fn is_listed(&self) -> bool {
        self.unlisted.is_empty() && !self.causes.is_empty()
    }
}

/// A job is given up after so many wishes: no policy that does anything needs as many.
const MOST_WISHES: usize = 150;

/// The comparison, ready to play any job.
pub struct Trial<'k> {
    knowledge: &'k Knowledge,
    graph: AccessGraph,
    setup: Setup,
}

impl<'k> Trial<'k> {
    /// A comparison on a knowledge base.
    #[must_use]
    pub fn new(knowledge: &'k Knowledge, setup: Setup) -> Self {
        Self { knowledge, graph: AccessGraph::new(knowledge), setup }
    }

    /// The policies, in the order of records.
    #[must_use]
    pub fn policies(&self) -> &[Policy] {
        &self.setup.policies
    }

    /// Plays one job under every policy; no record where no such job can be drawn.
    ///
    /// Cost: for the advice and for each policy that asks what checks tell, about one choice a step, ten steps a job.
    ///
    /// # Errors
    /// Where the network is too wide for the limits.
    pub fn play(&self, number: u64) -> Result<Vec<Record>, Error> {
        let Some(truth) = Truth::draw(self.knowledge, &self.setup.draws, number) else { return Ok(Vec::new()) };
        let laid = Laid::new(self.knowledge, truth.case.craft.clone());
        self.setup.policies.iter().map(|policy| self.work(&laid, &truth, number, *policy)).collect()
    }

    fn work(&self, laid: &Laid<'k>, truth: &Truth, number: u64, policy: Policy) -> Result<Record, Error> {
        let mut job = Job::new(laid, &self.graph, truth);
        let mut player = Player::new(policy, &job);
        let mut refused: BTreeSet<Action> = BTreeSet::new();
        let mut forecast: Option<Forecast> = None;
        let mut doubt = Doubt::default();
        let mut memory = Memory::default();
        let mut standing = Standing::Open;
        for _ in 0..MOST_WISHES {
            let choice = player.choose(&job, &refused, &self.setup.settings)?;
            if let Some(mut belief) = choice.belief.filter(|_| !matches!(choice.action, Action::Check(_))) {
                // Before anything was tried in vain nobody is told that something may not be listed.
                if is_worth_asking(&job.case) {
                    doubt.raise(&mut belief, &job, &mut memory)?;
                }
                forecast.get_or_insert_with(|| Forecast::of(&job, &belief));
            }
            standing = job.act(&choice.action, &choice.before);
            match standing {
                Standing::Open => refused.clear(),
                Standing::Barred => {
                    refused.insert(choice.action);
                }
                Standing::Cured | Standing::HandedOver => break,
            }
        }
        if matches!(standing, Standing::Open | Standing::Barred) {
            standing = job.act(&Action::HandOver, &Before::default());
        }
        let record = self.record(&job, number, policy, standing);
        let mut at_end = None;
        if forecast.is_some() {
            let mut belief = believe_unjudged(laid, &job.case, &self.setup.settings.limits, &mut memory)?;
            at_end = Some(Rank::of(&job, &belief.causes_at_start()));
            doubt.raise(&mut belief, &job, &mut memory)?;
        }
        Ok(Record { belief: forecast, at_end, flagged: doubt.flagged, beyond: doubt.beyond, ..record })
    }

    fn record(&self, job: &Job<'_, '_>, number: u64, policy: Policy, standing: Standing) -> Record {
        let knowledge = self.knowledge;
        let label = |cause: &Instance<crate::knowledge::Cause>| {
            job.laid.label(knowledge.causes.id(cause.item), knowledge.causes[cause.item].scope, cause.at)
        };
        Record {
            job: number,
            policy,
            layout: knowledge.layouts.id(job.case.craft.layout).to_owned(),
            symptoms: job.case.symptoms.iter().map(|s| knowledge.symptoms.id(*s).to_owned()).collect(),
            causes: job.truth.guilty().iter().map(label).collect(),
            unlisted: job.truth.unlisted.clone(),
            money: job.money,
            minutes: job.minutes,
            checks: job.checks,
            repairs: job.repairs,
            ending: match standing {
                Standing::Cured => Ending::Cured,
                _ if job.is_locked() => Ending::Locked,
                _ => Ending::HandedOver,
            },
            first_time: job.first_time == Some(true),
            needless_parts: job.needless_parts,
            barred: job.barred,
            comebacks: job.comebacks,
            belief: None,
            at_end: None,
            flagged: false,
            beyond: 0.0,
            steps: job.steps.clone(),
        }
    }
}

/// What was said, so far, against the list of faults.
#[derive(Default)]
struct Doubt {
    flagged: bool,
    beyond: f64,
}

impl Doubt {
    /// Asks once more: answers are impossible together, or much speaks for something that is not listed.
    fn raise(&mut self, belief: &mut Belief, job: &Job<'_, '_>, memory: &mut Memory) -> Result<(), Error> {
        self.flagged |= !belief.misfits.is_empty();
        let unlisted = belief.look_beyond(&job.case, memory)?;
        self.flagged |= unlisted.is_said();
        self.beyond = self.beyond.max(unlisted.chance);
        Ok(())
    }
}
