//! The work itself: stages, sections, steps, and what belongs to a step.

use super::{By, Named, plain};
use crate::knowledge::Phase;
use crate::units::{Measure, Minutes, Unit};
use schemars::JsonSchema;
use serde::Serialize;

/// A stretch of work with one state of safety.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Stage {
    /// Which.
    pub kind: StageKind,
    /// Its parts, in working order.
    pub sections: Vec<Section>,
}

/// The stretches of work. Nothing in `Work` ignites; everything that does stands in a stage that a sniff opens.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum StageKind {
    /// Before anything else.
    Safe,
    /// Clearing cylinders with the plugs out.
    Clear,
    /// Work with everything quiet; fuel may be open.
    Work,
    /// Work on live circuits, with the fuel shut and a sniff of none.
    Live,
    /// Starting and running.
    Run,
    /// Telling, writing down, putting away.
    HandOver,
}

/// Steps under one heading.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Section {
    /// The part of the work order.
    #[serde(serialize_with = "plain::phase")]
    #[schemars(with = "String")]
    pub phase: Phase,
    /// The steps.
    pub steps: Vec<Step>,
}

/// One step.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Step {
    /// What it belongs to.
    pub source: Source,
    /// What to do.
    pub what: String,
    /// Where, where there are several places and it is not plain.
    pub places: Vec<String>,
    /// Cautions that stand directly before it: ids.
    pub cautions: Vec<String>,
    /// What to confirm first.
    pub ticks: Vec<Named>,
    /// What to write down.
    pub record: Vec<SettingLine>,
    /// What to set, with what was written down.
    pub set: Vec<SettingLine>,
    /// What to make anew, by the sheet, with what was written down as it was found.
    pub anew: Vec<SettingLine>,
    /// What must be measured or seen.
    pub tests: Vec<Test>,
    /// How it is measured where the engine is turned for it and must not start.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub how: Vec<String>,
    /// It cranks, runs, arcs, or switches or joins a live circuit.
    pub ignites: bool,
    /// What it does to fuel vapor.
    pub vapor: Vapor,
    /// What it takes off, or finds taken off, that must be on again in the end.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub takes_off: Option<String>,
    /// What it puts on again.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub puts_on: Option<String>,
    /// Who does it.
    pub by: By,
    /// Access that must be open: ids.
    pub needs: Vec<String>,
    /// Minutes to air the craft before it.
    #[serde(serialize_with = "plain::maybe_minutes")]
    #[schemars(with = "Option<f64>")]
    pub air: Option<Minutes>,
}

/// What a step belongs to.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Source {
    /// An access state that stands open: what makes it safe, or what is done before it is put back.
    Stands(String),
    /// Opening an access state.
    Opens(String),
    /// Putting it back.
    Closes(String),
    /// A repair.
    Repair(String),
    /// A check.
    Check(String),
    /// The plan itself: trying the complaint again.
    Complaint(String),
}

/// What a step does to fuel vapor.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Vapor {
    /// Nothing.
    Same,
    /// It opens fuel: vapor counts as open from here.
    Opens,
    /// The sniff that closes it.
    Closes,
}

/// A setting to write down or to set.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct SettingLine {
    /// The setting; its words without the place.
    pub setting: Named,
    /// Where, where there are several places.
    pub place: Option<String>,
    /// Its unit, or `text`, or `photo`.
    pub unit: String,
    /// What is written down already.
    pub value: Option<String>,
    /// What to set where the record is missing.
    pub generic: Option<String>,
}

/// Something to be measured or seen.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Test {
    /// The check; its words without the place.
    pub check: Named,
    /// Where, where there are several places.
    pub place: Option<String>,
    /// What passes, in words; for a reading with a target, empty.
    pub pass: Vec<String>,
    /// The unit it is read in.
    #[serde(serialize_with = "plain::unit")]
    #[schemars(with = "Option<String>")]
    pub unit: Option<Unit>,
    /// The target of the build sheet, where the case has it.
    #[serde(serialize_with = "plain::measure")]
    #[schemars(with = "Option<String>")]
    pub target: Option<Measure>,
    /// The figure of the build sheet it is held against.
    pub sheet: Option<String>,
    /// Within so much of the target, in the unit.
    pub within: Option<f64>,
    /// The least and the most that passes, in the unit.
    pub range: Option<(Option<f64>, Option<f64>)>,
    /// How often it is read.
    pub repeats: u32,
    /// The spread allowed between repeats, in the unit.
    pub spread: Option<f64>,
}
