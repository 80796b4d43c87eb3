//! The knowledge base: YAML shapes ([`raw`]), what they mean once checked (here), and one craft laid out ([`layout`]).
//!
//! Everything here has been checked: every reference resolves, every row of chances sums to one, every gate is acyclic.

pub mod codes;
pub mod items;
pub mod layout;
pub mod load;
pub mod node;
pub mod raw;
pub mod resolve;
pub mod shared;
pub mod vet;
pub(crate) mod yaml;

use crate::finding::{Findings, Place};
use crate::units::{Chance, Minutes, Money};
pub use items::{Items, Ix};
pub use shared::shares;
use std::collections::BTreeMap;

/// A knowledge base: everything known about one kind of craft.
#[derive(Clone, Debug)]
pub struct Knowledge {
    /// Its id.
    pub id: String,
    /// Its version.
    pub version: String,
    /// Its title.
    pub title: String,
    /// The chance that any answer is misread or mistyped.
    pub slip: Chance,
    /// ISO 4217.
    pub currency: String,
    /// What may or may not be fitted.
    pub options: Items<CraftOption>,
    /// Which carburetor feeds which cylinder, which pump which carburetor.
    pub layouts: Items<Layout>,
    /// How history multiplies odds.
    pub history_rules: HistoryRules,
    /// Kinds of user.
    pub users: Items<User>,
    /// What things cost that are not work.
    pub costs: Costs,
    /// Facts asked at intake, in the order of asking.
    pub history: Items<HistoryFact>,
    /// Root faults.
    pub causes: Items<Cause>,
    /// Intermediate events.
    pub effects: Items<Effect>,
    /// Effects of every one before those that read it.
    pub effect_order: Vec<Ix<Effect>>,
    /// What the customer complains of.
    pub symptoms: Items<Symptom>,
    /// What one can look at, do or measure.
    pub checks: Items<Check>,
    /// States of disassembly.
    pub access: Items<Access>,
    /// What can hurt.
    pub hazards: Items<Hazard>,
    /// Ticks: what a person confirms.
    pub ticks: Items<Tick>,
    /// What forbids what.
    pub interlocks: Items<Interlock>,
    /// Work that removes causes.
    pub repairs: Items<Repair>,
    /// What comes along with what.
    pub companions: Vec<Companion>,
    /// What is written down before and set after.
    pub settings: Items<Setting>,
    /// What adds repairs to a plan.
    pub plan_rules: Items<PlanRule>,
    /// An expert's fixed order: what trials compare advice with.
    pub checklist: Checklist,
    /// Published sources.
    pub sources: Items<Source>,
    /// Where each id is defined, and each row of a check under `ck-some-check.given[2]`.
    pub places: BTreeMap<String, Place>,
}

/// Reads a knowledge base from its files, each a name (with `/` between folders) and its bytes.
///
/// Returns the knowledge where nothing is wrong with it, and everything that was found, advice too.
/// Cost: linear in the bytes; a few tens of milliseconds for a thousand items.
#[must_use]
pub fn read(files: &[(String, Vec<u8>)]) -> (Option<Knowledge>, Findings) {
    let (raw, mut findings) = load::load(files);
    let (knowledge, more) = resolve::resolve(raw);
    findings.extend(more);
    (knowledge.filter(|_| !findings.any_error()), findings)
}

/// Where a number comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Basis {
    /// The habit of the trade; no published source.
    CommonPractice,
    /// A guess, said to be one.
    Estimate,
    /// A source.
    Published(Ix<Source>),
}

/// What an item has one instance for each of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Scope {
    /// One for the craft.
    Craft,
    /// One for each cylinder.
    Cylinder,
    /// One for each carburetor.
    Carburetor,
    /// One for each pump.
    Pump,
}

/// One option.
#[derive(Clone, Debug)]
pub struct CraftOption {
    /// In plain words.
    pub title: String,
    /// Whether most craft have it.
    pub usual: bool,
}

/// One layout. Indices are positions: carburetor `c` feeds the cylinders `carburetors[c].1`.
#[derive(Clone, Debug)]
pub struct Layout {
    /// In plain words.
    pub title: String,
    /// Cylinder names.
    pub cylinders: Vec<String>,
    /// Carburetor names and the cylinders each feeds.
    pub carburetors: Vec<(String, Vec<usize>)>,
    /// Pump names and the carburetors each feeds.
    pub pumps: Vec<(String, Vec<usize>)>,
    /// Whether it is the usual one.
    pub usual: bool,
}

/// How history multiplies odds.
#[derive(Clone, Copy, Debug)]
pub struct HistoryRules {
    /// The product of multipliers lies in 1/cap..=cap.
    pub odds_cap: f64,
    /// The most a chance may be after history.
    pub chance_cap: Chance,
    /// The power of all but the largest multiplier in a story.
    pub story_power: f64,
}

/// One kind of user.
#[derive(Clone, Debug)]
pub struct User {
    /// Money an hour.
    pub labor: Money,
    /// Their minutes for one of ours.
    pub pace: f64,
    /// The highest skill they may use.
    pub skill: Option<u8>,
    /// The access they may open.
    pub access: Option<Vec<Ix<Access>>>,
    /// How many questions they stand.
    pub asks: Option<u32>,
    /// What handing over costs them; `None`: what it costs anyone.
    pub hand_over: Option<Money>,
    /// The share of a checker's time they need.
    pub checker_share: f64,
    /// Access that needs a checker's word.
    pub sign_off: Vec<Ix<Access>>,
}

/// What things cost that are not work.
#[derive(Clone, Debug)]
pub struct Costs {
    /// Handing over to a specialist.
    pub hand_over: Money,
    /// A trip for nothing.
    pub wasted_trip: Money,
    /// A comeback after a wrong repair.
    pub comeback: Money,
    /// To try the symptom after a repair, the craft whole again.
    pub try_again: Minutes,
    /// Named risks.
    pub risk: BTreeMap<String, Money>,
}

/// A fact asked at intake.
#[derive(Clone, Debug)]
pub struct HistoryFact {
    /// The question.
    pub ask: String,
    /// Facts of one story are damped together.
    pub story: Option<String>,
    /// The answers.
    pub values: Vec<Value>,
    /// A fact that lifts the caps: its own cap on the chance.
    pub exempt: Option<Chance>,
    /// Symptoms for which this is worth asking; empty: any.
    pub only_for: Vec<Ix<Symptom>>,
    /// Where its shares come from.
    pub basis: Basis,
}

/// One answer to a history question.
#[derive(Clone, Debug)]
pub struct Value {
    /// Its id.
    pub id: String,
    /// In plain words.
    pub says: String,
    /// How common, percent.
    pub share: Option<f64>,
    /// The options it sets.
    pub implies: Vec<(Ix<CraftOption>, bool)>,
}

/// The craft an item belongs to; all that is named must hold.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Fitted {
    /// A number of cylinders.
    pub cylinders: Option<usize>,
    /// Options that are, or are not, fitted.
    pub options: Vec<(Ix<CraftOption>, bool)>,
    /// One of these layouts; empty: any.
    pub layouts: Vec<Ix<Layout>>,
}

/// A root fault.
#[derive(Clone, Debug)]
pub struct Cause {
    /// A short name.
    pub title: String,
    /// A plain sentence where the title will not do.
    pub plain: Option<String>,
    /// What it has one instance for each of.
    pub scope: Scope,
    /// The chance, before history, that the craft has it on at least one instance.
    pub chance: Chance,
    /// Given that it is there, the chance that it is there on every instance.
    pub common: Chance,
    /// History's multipliers of the odds.
    pub likelier: Vec<Likelier>,
    /// Multipliers by layout.
    pub likelier_layout: Vec<(Ix<Layout>, f64)>,
    /// The craft it belongs to.
    pub fitted: Fitted,
    /// Where its numbers come from.
    pub basis: Basis,
}

/// One multiplier.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Likelier {
    /// The fact.
    pub fact: Ix<HistoryFact>,
    /// The position of the value.
    pub value: usize,
    /// The multiplier of the odds, >= 0.
    pub odds: f64,
}

/// A cause or an effect: what gates and check rows read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum State {
    /// A cause.
    Cause(Ix<Cause>),
    /// An effect.
    Effect(Ix<Effect>),
}

/// A gate.
#[derive(Clone, Debug)]
pub struct Gate {
    /// How inputs combine.
    pub kind: GateKind,
    /// The inputs.
    pub inputs: Vec<Input>,
    /// The chance that something not listed brings it about.
    pub leak: Chance,
}

/// How inputs combine.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GateKind {
    /// Noisy OR.
    Any,
    /// Noisy AND.
    All,
    /// Noisy k-of-n.
    AtLeast(usize),
}

/// One input of a gate.
#[derive(Clone, Debug)]
pub struct Input {
    /// What it reads.
    pub reads: Reads,
    /// The chance that it gets through.
    pub strength: Chance,
    /// The craft it belongs to.
    pub fitted: Fitted,
}

/// What an input reads.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Reads {
    /// One state; of another scope, any of the instances that bear on this one.
    One(State),
    /// On every instance.
    Every(State),
    /// On at least one instance, not on all.
    SomeNotAll(State),
    /// On exactly so many instances.
    Exactly(usize, State),
    /// All of these at once.
    Together(Vec<State>),
}

/// An intermediate event.
#[derive(Clone, Debug)]
pub struct Effect {
    /// What is the case.
    pub title: String,
    /// A plain sentence.
    pub plain: Option<String>,
    /// How it shows.
    pub shows: Option<String>,
    /// What it has one instance for each of.
    pub scope: Scope,
    /// How it comes about.
    pub gate: Gate,
    /// The craft it belongs to.
    pub fitted: Fitted,
    /// Where its numbers come from.
    pub basis: Basis,
}

/// What the customer complains of: an effect of the whole craft and the way it is reported.
#[derive(Clone, Debug)]
pub struct Symptom {
    /// In plain words.
    pub title: String,
    /// What customers say.
    pub says: Vec<String>,
    /// Share of jobs, percent.
    pub share: f64,
    /// How it comes about.
    pub gate: Gate,
    /// The chance that it is named where it is present.
    pub named_present: Chance,
    /// The chance that it is named where it is absent.
    pub named_absent: Chance,
    /// Abilities a craft with it lacks.
    pub denies: Vec<Ability>,
    /// Named, it says nothing about these.
    pub hides: Vec<Ix<Symptom>>,
    /// Named, these are absent.
    pub rules_out: Vec<Ix<Symptom>>,
    /// An expert's first moves.
    pub first_moves: Vec<Ix<Check>>,
    /// The craft it belongs to.
    pub fitted: Fitted,
    /// Where its numbers come from.
    pub basis: Basis,
}

/// What a craft can do; each needs those before it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Ability {
    /// The starter turns the engine.
    Cranks,
    /// It fires and starts.
    Starts,
    /// It keeps running.
    Runs,
    /// It can be loaded.
    ReachesLoad,
}

impl Ability {
    /// All, each after those it needs.
    pub const ALL: [Self; 4] = [Self::Cranks, Self::Starts, Self::Runs, Self::ReachesLoad];
}

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
    /// Offered only after one of these answers: a check and the positions of its outcomes.
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

/// A state of disassembly.
#[derive(Clone, Debug)]
pub struct Access {
    /// In plain words.
    pub title: String,
    /// What must be open first.
    pub needs: Vec<Ix<Access>>,
    /// Everything else that is open must be put back first.
    pub shuts_others: bool,
    /// Minutes to reach from what it needs.
    pub open: Minutes,
    /// Minutes to put back, owed once.
    pub close: Minutes,
    /// More for each further instance.
    pub each_further: Option<(Scope, Minutes, Minutes)>,
    /// What comes into reach.
    pub exposes: Vec<String>,
    /// How it is opened.
    pub steps: Vec<Step>,
    /// How it is put back.
    pub back: Vec<Step>,
    /// The cautions it asks for.
    pub raises: Vec<Ix<Hazard>>,
    /// It runs the engine.
    pub ignites: bool,
    /// How long one may stay, and rest.
    pub limit: Option<(Minutes, Minutes)>,
    /// What the craft must be able to do.
    pub able: Vec<Ability>,
    /// Where its numbers come from.
    pub basis: Basis,
}

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

impl Checklist {
    /// What is done for a symptom, in order; nothing where the checklist does not know it.
    #[must_use]
    pub fn order(&self, symptom: Ix<Symptom>) -> &[Task] {
        self.orders.iter().find(|(known, _)| *known == symptom).map_or(&[], |(_, steps)| steps)
    }

    /// What is done next where a check finds an outcome.
    #[must_use]
    pub fn found(&self, check: Ix<Check>, outcome: usize) -> &[Task] {
        self.finds.iter().find(|(c, o, _)| (*c, *o) == (check, outcome)).map_or(&[], |(_, _, steps)| steps)
    }
}

impl Knowledge {
    /// What handing over costs a user.
    #[must_use]
    pub fn hand_over(&self, user: Ix<User>) -> Money {
        self.users[user].hand_over.unwrap_or(self.costs.hand_over)
    }
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

/// One step of work.
#[derive(Clone, Debug)]
pub struct Step {
    /// What to do.
    pub what: String,
    /// The part of the work order it belongs to.
    pub phase: Phase,
    /// A caution that stands before it.
    pub caution: Option<Ix<Hazard>>,
    /// Whether it ignites, where the step says so itself.
    pub ignites: Option<bool>,
    /// What it does, where a plan is to say it once in a stretch of work.
    pub once: Option<String>,
    /// Settings to write down.
    pub record: Vec<Ix<Setting>>,
    /// Settings to set.
    pub set: Vec<Ix<Setting>>,
    /// A bench test that must pass before going on.
    pub gate: Option<GateTest>,
}

pub use raw::RawPhase as Phase;

/// A bench test inside a repair.
#[derive(Clone, Debug)]
pub struct GateTest {
    /// The check.
    pub check: Ix<Check>,
    /// Positions of outcomes that pass.
    pub pass: Vec<usize>,
    /// Within so much of the target, as written ("2 psi"), in the check's unit.
    pub within: Option<f64>,
    /// How often.
    pub repeats: u32,
    /// The spread allowed between repeats, in the check's unit.
    pub spread: Option<f64>,
}

/// Work that removes causes.
#[derive(Clone, Debug)]
pub struct Repair {
    /// Its name.
    pub title: String,
    /// A step of plans that removes nothing.
    pub service: bool,
    /// What it has one instance for each of.
    pub scope: Scope,
    /// Done on every instance together.
    pub together: bool,
    /// Causes, and how surely each is removed.
    pub removes: Vec<(Ix<Cause>, Chance)>,
    /// Hands-on minutes, each instance.
    pub minutes: Minutes,
    /// Parts, each instance.
    pub parts: Vec<Part>,
    /// What it needs.
    pub tools: Vec<String>,
    /// What must be open.
    pub access: Vec<Ix<Access>>,
    /// Skill.
    pub skill: u8,
    /// The cautions it asks for.
    pub raises: Vec<Ix<Hazard>>,
    /// It cranks, runs, arcs or switches a live circuit.
    pub ignites: bool,
    /// How it turns the engine.
    pub turns: Turns,
    /// What the craft must be able to do.
    pub able: Vec<Ability>,
    /// While a cause is likelier than this, only together with another repair.
    pub not_with: Vec<(Ix<Cause>, Chance, Ix<Repair>)>,
    /// The work in order.
    pub steps: Vec<Step>,
    /// For each part met: reuse, clean or replace.
    pub verdicts: Vec<Verdict>,
    /// What proves it.
    pub proves: Vec<Proof>,
    /// Other repairs worth doing while there.
    pub while_there: Vec<Ix<Repair>>,
    /// Parts and looks worth having while there.
    pub while_there_parts: Vec<String>,
    /// What trips people up.
    pub care: Vec<String>,
    /// What to tell the owner.
    pub tell_owner: Vec<String>,
    /// The craft it belongs to.
    pub fitted: Fitted,
    /// Where its numbers come from.
    pub basis: Basis,
}

/// A part.
#[derive(Clone, Debug)]
pub struct Part {
    /// What it is.
    pub item: String,
    /// How many for each instance.
    pub count: f64,
    /// Price of one.
    pub each: Money,
    /// Something else that will do.
    pub or: Option<String>,
    /// Used up rather than fitted.
    pub consumable: bool,
    /// Where the price comes from.
    pub basis: Basis,
}

/// Reuse, clean or replace.
#[derive(Clone, Debug)]
pub struct Verdict {
    /// The part.
    pub part: String,
    /// What to look for.
    pub look: Option<String>,
    /// Reuse where.
    pub reuse: String,
    /// Clean where.
    pub clean: String,
    /// Replace where.
    pub replace: String,
}

/// What proves a repair.
#[derive(Clone, Debug)]
pub enum Proof {
    /// A check with one of these outcomes (positions).
    Check(Ix<Check>, Vec<usize>),
    /// Something seen.
    Event(String),
}

/// Once the first is found, the others are likelier.
#[derive(Clone, Debug)]
pub struct Companion {
    /// The cause found.
    pub found: Ix<Cause>,
    /// Multipliers of the odds.
    pub likelier: Vec<(Ix<Cause>, f64)>,
    /// With history, no more than this.
    pub cap: f64,
    /// Where its numbers come from.
    pub basis: Basis,
}

/// Something to write down before and set after.
#[derive(Clone, Debug)]
pub struct Setting {
    /// In plain words.
    pub title: String,
    /// What it has one instance for each of.
    pub scope: Scope,
    /// Its unit, or `text`.
    pub unit: String,
    /// What to set where the record is missing.
    pub generic: Option<String>,
    /// Where that comes from.
    pub basis: Basis,
}

/// What adds repairs to a plan.
#[derive(Clone, Debug)]
pub struct PlanRule {
    /// Why.
    pub why: String,
    /// When it holds.
    pub when: Condition,
    /// The repair the plan must hold for it to apply.
    pub with: Option<Ix<Repair>>,
    /// The repairs it adds.
    pub add: Vec<Ix<Repair>>,
    /// Where it comes from.
    pub basis: Basis,
}

/// An expert's fixed order of checks and repairs, and what each finding leads to.
#[derive(Clone, Debug, Default)]
pub struct Checklist {
    /// For each symptom what is done, in order.
    pub orders: Vec<(Ix<Symptom>, Vec<Task>)>,
    /// A check, the position of an outcome, and what is done next where it is found.
    pub finds: Vec<(Ix<Check>, usize, Vec<Task>)>,
}

/// A step of a checklist.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Task {
    /// Look.
    Check(Ix<Check>),
    /// Repair.
    Repair(Ix<Repair>),
}

/// A published source.
#[derive(Clone, Debug)]
pub struct Source {
    /// Its title.
    pub title: String,
    /// Who wrote or published it.
    pub by: String,
    /// When.
    pub year: Option<u32>,
    /// How it is known.
    pub mark: raw::RawMark,
}
