//! Access, hazards and interlocks.

use super::{RawAbility, RawBasis, RawId, RawNumber, RawScope, RawStep, RawTurns, Sp};
use indexmap::IndexMap;
use schemars::JsonSchema;
use serde::Deserialize;

/// A state of disassembly.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawAccess {
    /// `ac-...`
    pub id: RawId,
    /// In plain words: "Carburetor off".
    pub title: String,
    /// What somebody is told who puts it back: "Fit the carburetor".
    pub put_back: Option<String>,
    /// What must be open first.
    #[serde(default)]
    pub needs: Vec<RawId>,
    /// `all-others`: a state of running, with all else shut but what it needs.
    pub shut: Option<Sp<RawShut>>,
    /// Minutes to reach from what it needs.
    pub open: RawNumber,
    /// Minutes to put back, owed once.
    pub close: RawNumber,
    /// More for each further instance.
    pub each_further: Option<RawFurther>,
    /// What comes into reach.
    #[serde(default)]
    pub exposes: Vec<String>,
    /// How it is opened, in order.
    #[serde(default)]
    pub steps: Vec<RawStep>,
    /// How it is put back, in order.
    #[serde(default)]
    pub back: Vec<RawStep>,
    /// The cautions it asks for.
    #[serde(default)]
    pub raises: Vec<RawId>,
    /// It runs the engine.
    #[serde(default)]
    pub ignites: bool,
    /// How long one may stay.
    pub limit: Option<RawLimit>,
    /// What the craft must be able to do.
    #[serde(default)]
    pub able: Vec<Sp<RawAbility>>,
    /// Where its numbers come from.
    pub basis: Sp<RawBasis>,
}

/// `shut:`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RawShut {
    /// Everything that is open but what this needs must be put back first.
    AllOthers,
}

/// More for each further instance.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawFurther {
    /// Of what.
    pub per: RawScope,
    /// Minutes to open.
    pub open: RawNumber,
    /// Minutes to put back.
    pub close: RawNumber,
}

/// How long one may stay.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawLimit {
    /// At most.
    pub minutes: RawNumber,
    /// Then rest.
    pub rest: RawNumber,
}

/// A hazard: what can hurt, when it is open, what closes it, and its caution.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawHazard {
    /// `hz-...`
    pub id: RawId,
    /// What it is: "Gasoline vapor".
    pub title: String,
    /// DANGER, WARNING, CAUTION or NOTICE in the sense of ANSI Z535.
    pub signal: Sp<RawSignal>,
    /// What it does to a person (or, with NOTICE, to the craft).
    pub harm: String,
    /// What to do, in order: the control.
    #[serde(rename = "do")]
    pub controls: Vec<String>,
    /// What never to do.
    #[serde(default)]
    pub never: Vec<String>,
    /// The tick an interlock or a step may ask for once the control is in place: "leads on the grounding posts".
    pub tick: Option<RawTick>,
    /// It is taken as open when a case starts.
    #[serde(default)]
    pub open_at_start: bool,
    /// What opens it.
    pub opened_by: Option<RawOpenedBy>,
    /// What closes it; each is enough.
    #[serde(default)]
    pub closed_by: Vec<RawClosedBy>,
    /// Where the control comes from.
    pub basis: Sp<RawBasis>,
}

/// A tick: something the person confirms.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawTick {
    /// Its id: `leads-on-posts`.
    pub id: RawId,
    /// The words beside the box.
    pub says: String,
}

/// ANSI Z535 signal words.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
pub enum RawSignal {
    /// Will kill or badly hurt.
    DANGER,
    /// Could kill or badly hurt.
    WARNING,
    /// Could hurt.
    CAUTION,
    /// Could damage things.
    NOTICE,
}

/// What opens a hazard; each is enough.
#[derive(Clone, Debug, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawOpenedBy {
    /// Check to outcomes (or bands).
    #[serde(default)]
    pub answers: IndexMap<RawId, Vec<RawId>>,
    /// Symptoms named.
    #[serde(default)]
    pub symptoms: Vec<RawId>,
    /// Access opened.
    #[serde(default)]
    pub access: Vec<RawId>,
    /// Checks done.
    #[serde(default)]
    pub checks: Vec<RawId>,
    /// Repairs done.
    #[serde(default)]
    pub repairs: Vec<RawId>,
    /// Check to the minutes after which its last answer no longer holds.
    #[serde(default)]
    pub minutes_since: IndexMap<RawId, RawNumber>,
}

/// What closes a hazard.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawClosedBy {
    /// Check to the outcome that closes it.
    pub answer: IndexMap<RawId, RawId>,
    /// Minutes aired before, `start` and by the outcome of the same check before.
    #[serde(default)]
    pub aired_minutes: IndexMap<RawId, RawNumber>,
    /// Outcome (of the closing check, before) to what else must be answered.
    #[serde(default)]
    pub also_after: IndexMap<RawId, IndexMap<RawId, RawId>>,
}

/// An interlock.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawInterlock {
    /// Its id.
    pub id: RawId,
    /// Why, in a plain sentence for the screen.
    pub why: String,
    /// When it is on. Several keys of one map: any of them.
    #[serde(rename = "while")]
    pub when: Option<Sp<RawCondition>>,
    /// Once on, it stays on until this holds.
    pub until: Option<Sp<RawCondition>>,
    /// What it bars: an action that matches any key.
    #[serde(default)]
    pub bars: RawBars,
    /// What it lets through all the same.
    #[serde(default)]
    pub except: Vec<RawExcept>,
    /// A key on every screen.
    pub key: Option<String>,
    /// It ends the job.
    #[serde(default)]
    pub ends: bool,
    /// What to tell people.
    #[serde(default)]
    pub tell: Vec<String>,
    /// Where it comes from.
    pub basis: Sp<RawBasis>,
}

/// What an interlock bars.
#[derive(Clone, Debug, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawBars {
    /// Actions that ignite.
    #[serde(default)]
    pub ignites: bool,
    /// Actions that turn the engine so.
    pub turns: Option<Sp<RawTurns>>,
    /// Actions that need one of these abilities.
    #[serde(default)]
    pub able: Vec<Sp<RawAbility>>,
    /// These checks.
    #[serde(default)]
    pub checks: Vec<RawId>,
    /// These repairs.
    #[serde(default)]
    pub repairs: Vec<RawId>,
    /// Actions that need this access open.
    #[serde(default)]
    pub access: Vec<RawId>,
    /// Actions that raise one of these hazards.
    #[serde(default)]
    pub raises: Vec<RawId>,
}

/// What an interlock lets through.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawExcept {
    /// These checks.
    #[serde(default)]
    pub checks: Vec<RawId>,
    /// These repairs.
    #[serde(default)]
    pub repairs: Vec<RawId>,
    /// Only with these ticks.
    #[serde(default)]
    pub ticks: Vec<RawId>,
    /// Not while this holds, whatever is ticked.
    pub unless: Option<Sp<RawCondition>>,
}

/// A condition on the case. Several keys of one map: any of them.
#[derive(Clone, Debug, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawCondition {
    /// A hazard that is open.
    pub hazard: Option<RawId>,
    /// Check to outcomes (bands): one of them was the counting answer on any instance.
    #[serde(default)]
    pub answers: IndexMap<RawId, Vec<RawId>>,
    /// The same for one check, on any instance.
    #[serde(default)]
    pub answer: IndexMap<RawId, Vec<RawId>>,
    /// With `is`: on every instance of this check.
    pub every: Option<RawId>,
    /// The outcomes `every` asks for.
    #[serde(default)]
    pub is: Vec<RawId>,
    /// Fact to values.
    #[serde(default)]
    pub history: IndexMap<RawId, Vec<RawId>>,
    /// Symptoms named.
    #[serde(default)]
    pub symptoms: Vec<RawId>,
    /// Access to `open` or `shut`.
    #[serde(default)]
    pub access: IndexMap<RawId, Sp<RawOpenShut>>,
    /// Tick to `missing` or `given`.
    #[serde(default)]
    pub tick: IndexMap<RawId, Sp<RawTickState>>,
    /// Kinds of user.
    #[serde(default)]
    pub user: Vec<RawId>,
    /// Check to a limit with unit: the last reading on any instance is below it.
    #[serde(default)]
    pub below: IndexMap<RawId, Sp<String>>,
    /// A repair done since the last answer to the check of the same condition.
    pub repair_since: Option<RawId>,
    /// Any of these.
    #[serde(default)]
    pub any_of: Vec<RawCondition>,
    /// All of these.
    #[serde(default)]
    pub all_of: Vec<RawCondition>,
    /// Not this.
    pub not: Option<Box<RawCondition>>,
}

/// Open or shut.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RawOpenShut {
    /// Open.
    Open,
    /// Shut.
    Shut,
}

/// Given or missing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RawTickState {
    /// Given.
    Given,
    /// Missing.
    Missing,
}
