//! What can hurt, and what forbids what.

use super::{Ability, Access, Basis, Check, HistoryFact, Ix, Repair, Symptom, Turns, User};
use crate::units::Minutes;

/// A signal word in the sense of ANSI Z535; the strongest first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Signal {
    /// Will kill or badly hurt.
    Danger,
    /// Could kill or badly hurt.
    Warning,
    /// Could hurt.
    Caution,
    /// Could damage things.
    Notice,
}

impl Signal {
    /// The word itself.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Danger => "DANGER",
            Self::Warning => "WARNING",
            Self::Caution => "CAUTION",
            Self::Notice => "NOTICE",
        }
    }
}

/// What can hurt, and its caution.
#[derive(Clone, Debug)]
pub struct Hazard {
    /// What it is.
    pub title: String,
    /// The signal word.
    pub signal: Signal,
    /// What it does to a person.
    pub harm: String,
    /// What to do, in order.
    pub controls: Vec<String>,
    /// What never to do.
    pub never: Vec<String>,
    /// The tick that confirms the control.
    pub tick: Option<Ix<Tick>>,
    /// Taken as open when a case starts.
    pub open_at_start: bool,
    /// What opens it.
    pub opened_by: OpenedBy,
    /// What closes it; each is enough. Without any it is a caution only, never open or shut.
    pub closed_by: Vec<ClosedBy>,
    /// Where the control comes from.
    pub basis: Basis,
}

/// Something a person confirms.
#[derive(Clone, Debug)]
pub struct Tick {
    /// The words beside the box.
    pub says: String,
}

/// What opens a hazard; each is enough.
#[derive(Clone, Debug, Default)]
pub struct OpenedBy {
    /// A check and the positions of outcomes.
    pub answers: Vec<(Ix<Check>, Vec<usize>)>,
    /// Symptoms named.
    pub symptoms: Vec<Ix<Symptom>>,
    /// Access opened.
    pub access: Vec<Ix<Access>>,
    /// Checks done.
    pub checks: Vec<Ix<Check>>,
    /// Repairs done.
    pub repairs: Vec<Ix<Repair>>,
    /// The minutes after which a check's last answer no longer holds.
    pub minutes_since: Vec<(Ix<Check>, Minutes)>,
}

/// What closes a hazard: the answer, once everything it raised from is aired and shut.
#[derive(Clone, Debug)]
pub struct ClosedBy {
    /// The check and the position of the outcome that closes it.
    pub answer: (Ix<Check>, usize),
    /// Minutes aired before, at the start of a case.
    pub aired_at_start: Minutes,
    /// Minutes aired before, by the position of the check's outcome before.
    pub aired_after: Vec<(usize, Minutes)>,
    /// After this outcome, another check must have this answer too.
    pub also_after: Vec<(usize, Ix<Check>, usize)>,
}

/// What forbids what.
#[derive(Clone, Debug)]
pub struct Interlock {
    /// Why, in a plain sentence.
    pub why: String,
    /// When it is on.
    pub when: Option<Condition>,
    /// Once on, it stays on until this holds.
    pub until: Option<Condition>,
    /// What it bars.
    pub bars: Bars,
    /// What it lets through: checks, repairs, and the ticks that takes.
    pub except: Vec<Except>,
    /// A key on every screen.
    pub key: Option<String>,
    /// It ends the job.
    pub ends: bool,
    /// What to tell people.
    pub tell: Vec<String>,
    /// Where it comes from.
    pub basis: Basis,
}

/// What an interlock bars: an action that matches any field.
#[derive(Clone, Debug, Default)]
pub struct Bars {
    /// Actions that ignite.
    pub ignites: bool,
    /// Actions that turn the engine so.
    pub turns: Option<Turns>,
    /// Actions that need one of these.
    pub able: Vec<Ability>,
    /// These checks.
    pub checks: Vec<Ix<Check>>,
    /// These repairs.
    pub repairs: Vec<Ix<Repair>>,
    /// Actions that need this open.
    pub access: Vec<Ix<Access>>,
    /// Actions that raise one of these.
    pub raises: Vec<Ix<Hazard>>,
}

/// What an interlock lets through.
#[derive(Clone, Debug, Default)]
pub struct Except {
    /// These checks.
    pub checks: Vec<Ix<Check>>,
    /// These repairs.
    pub repairs: Vec<Ix<Repair>>,
    /// Only with these ticks.
    pub ticks: Vec<Ix<Tick>>,
    /// Not while this holds, whatever is ticked.
    pub unless: Option<Condition>,
}

/// A condition on the case.
#[derive(Clone, Debug)]
pub enum Condition {
    /// A hazard is open.
    Hazard(Ix<Hazard>),
    /// The counting answer to a check, on any instance, is one of these.
    Answered(Ix<Check>, Vec<usize>),
    /// The counting answer on every instance is one of these.
    AnsweredEvery(Ix<Check>, Vec<usize>),
    /// A fact has one of these values (positions).
    History(Ix<HistoryFact>, Vec<usize>),
    /// A symptom was named.
    Symptom(Ix<Symptom>),
    /// Access is open.
    Open(Ix<Access>),
    /// Access is shut.
    Shut(Ix<Access>),
    /// A tick was given.
    Given(Ix<Tick>),
    /// A tick is missing.
    Missing(Ix<Tick>),
    /// The user is of this kind.
    User(Ix<User>),
    /// The last reading on any instance is below this (in the check's unit).
    Below(Ix<Check>, f64),
    /// A repair was done since the last answer to any check named beside it (or ever, where none is).
    RepairSince(Ix<Repair>),
    /// Any of these.
    Any(Vec<Condition>),
    /// All of these.
    All(Vec<Condition>),
    /// Not this.
    Not(Box<Condition>),
}
