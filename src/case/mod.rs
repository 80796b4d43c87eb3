//! The job: which craft, its history, what the customer says, and what was asked, done and found, in order.

pub mod codes;
pub mod text;

use crate::knowledge::layout::{Craft, Instance};
use crate::knowledge::{
    Access, Cause, Check, HistoryFact, Interlock, Ix, Knowledge, Repair, Setting, Symptom, Tick, User,
};
use crate::units::Measure;
use indexmap::IndexMap;
use jiff::Timestamp;

/// A job.
#[derive(Clone, Debug)]
pub struct Case {
    /// A name for people: "Barn-find twin". Never a person's.
    pub title: Option<String>,
    /// The craft.
    pub craft: Craft,
    /// Height above sea level, meters.
    pub altitude_m: f64,
    /// Who works on it.
    pub user: Ix<User>,
    /// What they have; `None`: everything.
    pub tools: Option<Vec<String>>,
    /// Figures of the build sheet.
    pub sheet: IndexMap<String, Measure>,
    /// Fact to the position of its value.
    pub history: IndexMap<Ix<HistoryFact>, usize>,
    /// The fact that the interview asks next, where it was left among the questions of history.
    pub history_next: Option<Ix<HistoryFact>>,
    /// Symptoms named at intake, the first thing that stops them first.
    pub symptoms: Vec<Ix<Symptom>>,
    /// What happened since, in order.
    pub log: Vec<Entry>,
    /// How many entries the log had when the job was taken up again: no file says it, and a tick from before holds no more.
    pub taken_up: usize,
}

impl PartialEq for Case {
    /// Two sittings at a job are at the same job.
    fn eq(&self, other: &Self) -> bool {
        let Self { title, craft, altitude_m, user, tools, sheet, history, history_next, symptoms, log, taken_up: _ } =
            self;
        let of_the_craft =
            (craft, altitude_m, user, tools) == (&other.craft, &other.altitude_m, &other.user, &other.tools);
        let known = (title, sheet, history) == (&other.title, &other.sheet, &other.history);
        of_the_craft && known && (history_next, symptoms, log) == (&other.history_next, &other.symptoms, &other.log)
    }
}

/// A case of the usual craft, worked on by a technician, of which nothing is known yet.
#[must_use]
pub fn usual_case(knowledge: &Knowledge) -> Case {
    Case {
        title: None,
        craft: Craft::usual(knowledge),
        altitude_m: 0.0,
        user: usual_user(knowledge),
        tools: None,
        sheet: IndexMap::new(),
        history: IndexMap::new(),
        history_next: None,
        symptoms: Vec::new(),
        log: Vec::new(),
        taken_up: 0,
    }
}

/// Who works on a case that does not say: the technician, else the first.
#[must_use]
pub fn usual_user(knowledge: &Knowledge) -> Ix<User> {
    knowledge.users.find("technician").unwrap_or(Ix::new(0))
}

/// One thing that happened.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// When, where known.
    pub at: Option<Timestamp>,
    /// What.
    pub event: Event,
}

impl From<Event> for Entry {
    fn from(event: Event) -> Self {
        Self { at: None, event }
    }
}

/// What happened.
#[derive(Clone, Debug, PartialEq)]
pub enum Event {
    /// A check was made, or could not be.
    Answer {
        /// Which check, where. A check answered without a place on a craft with several is answered "on any".
        check: Ix<Check>,
        /// The place; `None`: said of all places together ("any of them").
        place: Option<usize>,
        /// The answer.
        answer: Answer,
        /// Minutes the craft was aired just before.
        aired_min: Option<f64>,
    },
    /// Something was opened or put back.
    Access {
        /// What.
        access: Ix<Access>,
        /// Open or shut now.
        now: Position,
    },
    /// A repair was done.
    Repaired {
        /// Which.
        repair: Ix<Repair>,
        /// Where.
        places: Vec<usize>,
    },
    /// The symptom was tried again.
    Tried {
        /// Which.
        symptom: Ix<Symptom>,
        /// Still there or gone.
        now: Presence,
    },
    /// A cause was seen, or seen not to be there.
    Found {
        /// Which, where.
        cause: Instance<Cause>,
        /// There or not.
        now: Presence,
    },
    /// A person confirmed a control.
    Ticked(Ix<Tick>),
    /// A setting was written down (before a repair) or set (after).
    Set {
        /// Which, where.
        setting: Instance<Setting>,
        /// The value as written.
        value: String,
    },
    /// A repair was left to whoever has the craft, to be done before the next call.
    Left {
        /// Which.
        repair: Ix<Repair>,
        /// Where.
        places: Vec<usize>,
    },
    /// The job was stopped by what ends it (there), or the craft was declared safe after that (not there).
    Emergency {
        /// What ends it.
        lock: Ix<Interlock>,
        /// There or not.
        now: Presence,
    },
}

impl Case {
    /// The repair that was left to whoever has the craft last, and its places, where the log does not say that it was done.
    #[must_use]
    pub fn left(&self) -> Option<(Ix<Repair>, &[usize])> {
        let at = self.log.iter().rposition(|entry| matches!(entry.event, Event::Left { .. }))?;
        let Event::Left { repair: left, places } = &self.log[at].event else { return None };
        let done = |entry: &Entry| matches!(&entry.event, Event::Repaired { repair, .. } if repair == left);
        (!self.log[at..].iter().any(done)).then_some((*left, places))
    }

    /// What has ended the job, and nobody has said since that the craft is safe: until somebody does, nothing goes on.
    #[must_use]
    pub fn emergency(&self) -> Option<Ix<Interlock>> {
        let mut over = Vec::new();
        self.log.iter().rev().find_map(|entry| match entry.event {
            Event::Emergency { lock, now: Presence::Present } => (!over.contains(&lock)).then_some(lock),
            Event::Emergency { lock, now: Presence::Absent } => {
                over.push(lock);
                None
            }
            _ => None,
        })
    }
}

/// Open or shut.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Position {
    /// Open.
    Open,
    /// Put back.
    Shut,
}

/// There or not.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Presence {
    /// There.
    Present,
    /// Not there.
    Absent,
}

/// The answer to a check.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Answer {
    /// The outcome at this position.
    Outcome(usize),
    /// A reading as measured, in the check's unit.
    Reading(f64),
    /// Not known.
    Unknown,
    /// Could not be done.
    CouldNot,
}

impl Answer {
    /// Whether it says anything about the craft.
    #[must_use]
    pub fn informs(self) -> bool {
        matches!(self, Self::Outcome(_) | Self::Reading(_))
    }
}
