//! Where an interview stands, and what a person can do about it.

use super::advisor::View;
use crate::case::{Answer, Case};
use crate::knowledge::layout::Instance;
use crate::knowledge::{Access, Check, HistoryFact, Interlock, Ix, Knowledge, Repair, Setting, Symptom, Tick};
use crate::report::Document;
use std::rc::Rc;

/// What a person did.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Input {
    /// Took the choice at this position.
    Pick(usize),
    /// Wrote something.
    Text(String),
    /// Pressed one of the keys that are always there.
    Key(Key),
}

/// The keys that mean the same on every screen.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Key {
    /// On.
    Enter,
    /// Back one step, or out of what is on top.
    Back,
    /// Why this.
    Why,
    /// What we know.
    Ranking,
    /// It could not be done.
    CouldNot,
    /// It was done, and nobody is sure.
    NotSure,
    /// Another check.
    Other,
    /// A repair was done.
    DidRepair,
    /// The work order.
    Plan,
    /// Stop here; all is saved.
    Leave,
    /// A control is in place.
    Tick,
    /// How it is done.
    How,
    /// What may not be done, and why.
    Barred,
    /// Change an earlier answer.
    Change,
    /// Skip the rest.
    Skip,
    /// Write it to a file.
    Write,
    /// Fire: stop.
    Stop,
    /// Another thing that stops the work for a while.
    Pause,
    /// Somebody else goes on with it.
    HandOver,
    /// What would be believed if the answer were so.
    WhatIf,
    /// Several answers at once.
    Several,
    /// What all the keys do.
    Keys,
}

impl Key {
    /// Every key.
    pub const ALL: [Self; 22] = [
        Self::Enter,
        Self::Back,
        Self::Why,
        Self::Ranking,
        Self::CouldNot,
        Self::NotSure,
        Self::Other,
        Self::DidRepair,
        Self::Plan,
        Self::Leave,
        Self::Tick,
        Self::How,
        Self::Barred,
        Self::Change,
        Self::Skip,
        Self::Write,
        Self::Stop,
        Self::Pause,
        Self::HandOver,
        Self::WhatIf,
        Self::Several,
        Self::Keys,
    ];

    /// The character that stands for it.
    #[must_use]
    pub fn letter(self) -> char {
        match self {
            Self::Enter => '\n',
            Self::Back => 'b',
            Self::Why => '?',
            Self::Ranking => 'r',
            Self::CouldNot => 'c',
            Self::NotSure => 'n',
            Self::Other => 'o',
            Self::DidRepair => 'd',
            Self::Plan => 'p',
            Self::Leave => 'q',
            Self::Tick => 't',
            Self::How => 'h',
            Self::Barred => 'x',
            Self::Change => 'e',
            Self::Skip => 's',
            Self::Write => 'w',
            Self::Stop => '!',
            Self::Pause => '#',
            Self::HandOver => 'g',
            Self::WhatIf => 'i',
            Self::Several => 'a',
            Self::Keys => 'k',
        }
    }

    /// The key of a character.
    #[must_use]
    pub fn of(letter: char) -> Option<Self> {
        Self::ALL.into_iter().find(|key| key.letter() == letter)
    }

    /// Its name on the screen.
    #[must_use]
    pub fn shown(self) -> String {
        if self == Self::Enter { "Enter".to_owned() } else { self.letter().to_string() }
    }
}

/// The part of the interview.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stage {
    /// The question at this position among those that come first on the phone: are all safe?
    Call(usize),
    /// On the phone, once all are safe: whether what was left to them in the last call was done.
    Left,
    /// The safety question that comes before everything.
    Sniff,
    /// Which layout.
    Layout,
    /// What is fitted.
    Options,
    /// What the customer says.
    Symptoms,
    /// The fact at this position among those worth asking.
    History(usize),
    /// One step at a time.
    Bench,
}

/// What is being asked about on the bench.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Focus {
    /// A check at these places.
    Check {
        /// Which.
        check: Ix<Check>,
        /// Where, one row each; none where one answer speaks of all places together.
        places: Vec<Option<usize>>,
        /// The entries of the log that the answers replace, one for each place; none where they are new.
        replaces: Vec<usize>,
    },
    /// A repair that is proposed.
    Repair(Ix<Repair>, Vec<usize>),
    /// A repair that is under way: settings as found are written down first.
    Record(Ix<Repair>, Vec<usize>, Vec<(Ix<Setting>, usize)>),
    /// A repair that is under way.
    Working(Ix<Repair>, Vec<usize>),
    /// Whether the symptom is gone after it.
    Tried(Ix<Repair>, Ix<Symptom>),
    /// Whether the symptom is still there, with nothing done about it.
    Again(Ix<Symptom>),
    /// It is gone: proof.
    Proof(Ix<Repair>),
    /// Handing over.
    HandOver,
}

/// A repair that is still to be tried.
#[derive(Clone, Debug, PartialEq)]
pub struct Attempt {
    /// Which.
    pub repair: Ix<Repair>,
    /// The symptom that is asked about.
    pub symptom: Ix<Symptom>,
    /// What must be put back first, deepest first; before the check that closes a hazard only what would keep it open.
    pub put_back: Vec<Ix<Access>>,
    /// The check that must close a hazard first.
    pub close: Option<Ix<Check>>,
}

/// Something put off to go on with the job.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PutOff {
    /// Trying the last repair.
    Attempt,
    /// Proving that the symptom is gone: something else is not right.
    Proof,
}

/// Something laid over the question, gone with the next key.
#[derive(Clone, Debug, PartialEq)]
pub enum Over {
    /// Something to read.
    Page(Page, Document),
    /// Something to find.
    Find(Find, Vec<(String, Target)>),
    /// What if: which answer to a check is supposed, and what it would change.
    Suppose(Instance<Check>, Option<Document>),
    /// Several answers at once, in one line.
    Several,
}

/// What is being read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Page {
    /// Just that.
    Reading,
    /// The work order, which can be written to a file.
    Plan,
}

/// What is being looked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Find {
    /// Another check.
    Check,
    /// An earlier answer.
    Answer,
    /// The repair that was done.
    Repair,
    /// A check to suppose an answer to.
    Suppose,
}

/// What a line of a list stands for.
#[derive(Clone, Debug, PartialEq)]
pub enum Target {
    /// Ask this.
    Ask(Focus),
    /// It may not be done: why.
    Barred(String),
    /// Ask this fact again.
    Fact(Ix<HistoryFact>),
    /// Ask for the symptoms again.
    Symptoms,
    /// Suppose an answer to this.
    Suppose(Instance<Check>),
}

/// How an interview ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// Stopped for now.
    Left,
    /// The symptom is gone.
    Cured,
    /// It goes to someone else.
    HandedOver,
    /// Fire, smoke, running fuel.
    Stopped(Ix<Interlock>),
}

/// What going back leads back to.
#[derive(Clone, Debug)]
pub struct Moment {
    /// The job.
    pub case: Case,
    /// The part of the interview.
    pub stage: Stage,
    /// Whether the safety question stood before everything.
    pub sniff_first: bool,
}

/// Where an interview stands.
#[derive(Clone, Debug)]
pub struct State {
    /// The job so far.
    pub case: Case,
    /// The part of the interview.
    pub stage: Stage,
    /// What a person chose to do instead of what is proposed.
    pub focus: Option<Focus>,
    /// Checks that a person chose to be asked one after the other, before what to do next is worked out again.
    pub queue: Vec<Focus>,
    /// Whether the safety question must be answered before anything else.
    pub sniff_first: bool,
    /// What lies over the question.
    pub over: Option<Over>,
    /// Answers given on this screen and not yet complete, row by row.
    pub draft: Vec<Answer>,
    /// Ticks given on this screen.
    pub ticked: Vec<Ix<Tick>>,
    /// Whether the craft was aired, on the screen of a check that closes a hazard.
    pub aired: bool,
    /// What happened with the last input, to be said once.
    pub notices: Vec<String>,
    /// How things stood before each step, for going back.
    pub before: Vec<Moment>,
    /// What is believed and advised about the job as it stands.
    pub view: Option<Rc<View>>,
    /// Why there is none.
    pub stuck: Option<String>,
    /// Whether a repair is still to be tried, and what stands before that.
    pub attempt: Option<Attempt>,
    /// What a person has put off to go on with the job.
    pub put_off: Option<PutOff>,
    /// The work order that is to be written beside the case.
    pub write_plan: Option<Document>,
    /// How it ended.
    pub end: Option<End>,
}

impl State {
    /// A job at the beginning of a part of the interview.
    #[must_use]
    pub fn new(case: Case, stage: Stage) -> Self {
        Self {
            case,
            stage,
            focus: None,
            queue: Vec::new(),
            sniff_first: false,
            over: None,
            draft: Vec::new(),
            ticked: Vec::new(),
            aired: false,
            notices: Vec::new(),
            before: Vec::new(),
            view: None,
            stuck: None,
            attempt: None,
            put_off: None,
            write_plan: None,
            end: None,
        }
    }
}

/// The check that closes the hazard that is open when a case starts, the outcome that does, the minutes of airing that
/// takes, and the hazard: what is asked before anything else.
#[must_use]
pub fn first_check(knowledge: &Knowledge) -> Option<(Ix<Check>, usize, crate::units::Minutes)> {
    let hazard = knowledge.hazards.iter().map(|(_, h)| h).find(|h| h.open_at_start && !h.closed_by.is_empty())?;
    let closed_by = &hazard.closed_by[0];
    Some((closed_by.answer.0, closed_by.answer.1, closed_by.aired_at_start))
}
