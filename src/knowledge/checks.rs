//! What one can look at, do or measure, and what it shows.

use super::{Ability, Access, Basis, Fitted, Hazard, Ix, Scope, State, raw};
use crate::units::{Minutes, Money};

/// How an action turns the engine.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Turns {
    /// By the starter.
    Starter,
    /// By hand.
    Hand,
    /// Not at all.
    Not,
}

/// What the battery must be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Battery {
    /// Joined.
    Connected,
    /// Its minus lead off.
    Off,
}

/// Something one can look at, do or measure.
#[derive(Clone, Debug)]
pub struct Check {
    /// Its name.
    pub title: String,
    /// What it has one instance for each of.
    pub scope: Scope,
    /// The question.
    pub ask: String,
    /// The question for an owner on the phone.
    pub owner: Option<OwnerAsk>,
    /// What to do, step by step.
    pub how: Vec<String>,
    /// What trips people up.
    pub mind: Vec<String>,
    /// The named answers, or the bands of the reading.
    pub outcomes: Vec<Outcome>,
    /// Where it is a number with a unit.
    pub reading: Option<Reading>,
    /// The first row that holds gives the chances. The last always holds.
    pub rows: Vec<CheckRow>,
    /// Hands-on minutes with access open.
    pub minutes: Minutes,
    /// Money for things used up.
    pub money: Money,
    /// What must be open.
    pub access: Vec<Ix<Access>>,
    /// What it needs.
    pub tools: Vec<String>,
    /// What the craft must be able to do.
    pub able: Vec<Ability>,
    /// The cautions it asks for.
    pub raises: Vec<Ix<Hazard>>,
    /// It cranks, runs, arcs or switches a live circuit.
    pub ignites: bool,
    /// How it turns the engine.
    pub turns: Turns,
    /// What the battery must be.
    pub battery: Option<Battery>,
    /// Checks it makes worthless until the next start.
    pub spoils: Vec<Ix<Check>>,
    /// States of access that it puts back before it turns the engine: interlocks look at the craft as it is then.
    pub turns_shut: Vec<Ix<Access>>,
    /// States of access that are put back when it is done.
    pub ends_shut: Vec<Ix<Access>>,
    /// It draws fuel out of the tank, so it tells nothing while that is empty.
    pub draws_fuel: bool,
    /// Offered only while one of these answers stands: a check and the positions of its outcomes.
    pub after: Vec<(Ix<Check>, Vec<usize>)>,
    /// Of several answers, which counts.
    pub again: Again,
    /// Skill: 1 owner, 2 trainee, 3 bench, 4 specialist.
    pub skill: u8,
    /// The craft it belongs to.
    pub fitted: Fitted,
    /// Where its numbers come from.
    pub basis: Basis,
}

/// The question for an owner.
#[derive(Clone, Debug)]
pub struct OwnerAsk {
    /// What to say.
    pub ask: String,
    /// What is asked for.
    pub kind: raw::RawOwnerKind,
    /// What to listen for on the line, or to look for on a photo.
    pub listen: Option<String>,
    /// For each outcome what an owner is likely to say for it, without quotation marks.
    pub sounds: Vec<Vec<String>>,
    /// Words of owners that mean more than one thing, and what to ask then.
    pub mind: Vec<String>,
}

/// One named answer, or one band of a reading.
#[derive(Clone, Debug)]
pub struct Outcome {
    /// Its id.
    pub id: String,
    /// In plain words.
    pub says: String,
    /// Whether it means that all is well.
    pub pass: bool,
    /// The abilities it takes away.
    pub denies: Vec<Ability>,
    /// The band [low, high) of a reading, in the reading's unit.
    pub band: Option<(f64, f64)>,
}

/// Of several answers to one check instance, which counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Again {
    /// The last.
    Last,
    /// The worst; outcomes are listed best first.
    Worst,
    /// Each on its own.
    Each,
}

/// A number with a unit. All numbers are in `unit`; with `relative`, of the comparison with the sheet.
#[derive(Clone, Debug)]
pub struct Reading {
    /// The unit the numbers here are in.
    pub unit: crate::units::Unit,
    /// The least it can read.
    pub least: f64,
    /// The most it can read.
    pub most: f64,
    /// The instrument's own error, one standard deviation.
    pub standard_error: f64,
    /// Means and sds scale with air pressure.
    pub corrected_for_altitude: bool,
    /// Against a figure of the build sheet: its key and how.
    pub relative: Option<(String, raw::RawCompare)>,
    /// The outcome that stands for "beyond the scale": its position in the outcomes, which has no band.
    pub over: Option<usize>,
}

/// One row of a check.
#[derive(Clone, Debug)]
pub struct CheckRow {
    /// All of these must hold; empty: always.
    pub when: Vec<Clause>,
    /// What it gives.
    pub gives: Gives,
    /// What it gives instead where the answer before was not well and the craft was aired since.
    pub aired: Option<Gives>,
}

impl CheckRow {
    /// What it gives, after airing or not.
    #[must_use]
    pub fn gives(&self, aired: bool) -> &Gives {
        self.aired.as_ref().filter(|_| aired).unwrap_or(&self.gives)
    }
}

/// Any of these literals.
#[derive(Clone, Debug, PartialEq)]
pub struct Clause(pub Vec<(State, bool)>);

/// What a row gives.
#[derive(Clone, Debug)]
pub enum Gives {
    /// The chance of each outcome, in order, before the slip.
    Chances(Vec<f64>),
    /// A mixture of normals; shares and `over` sum to one.
    Normals {
        /// Share, mean, sd.
        parts: Vec<(f64, f64, f64)>,
        /// The share that reads over the end of the scale.
        over: f64,
    },
}
