//! The YAML shapes, with the place of everything that can be wrong. Nothing is checked here but the shape itself;
//! [`super::resolve`] turns these into a [`super::Knowledge`] and says all that is wrong at once.
//!
//! Shapes are externally tagged enums and flat structs of optional keys: `flatten`, `untagged` and `tag =` lose places.

use indexmap::IndexMap;
use serde::Deserialize;
use serde::de::{self, Deserializer, MapAccess, SeqAccess, Visitor};
use std::fmt;
use std::marker::PhantomData;

pub use super::node::Location;
use super::node::WITH_PLACE;

/// A value and where it stands: line and column, one-based.
#[derive(Clone, Debug)]
pub struct Sp<T> {
    /// The value.
    pub value: T,
    /// Where it stands in its file.
    pub at: Location,
}

impl<'de, T: Deserialize<'de>> Deserialize<'de> for Sp<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Placed<T>(PhantomData<T>);
        impl<'de, T: Deserialize<'de>> Visitor<'de> for Placed<T> {
            type Value = Sp<T>;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a value with its place")
            }
            fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Sp<T>, A::Error> {
                let line = seq.next_element()?.unwrap_or_default();
                let column = seq.next_element()?.unwrap_or_default();
                let value = seq.next_element()?.ok_or_else(|| de::Error::invalid_length(2, &self))?;
                Ok(Sp { value, at: Location::new(line, column) })
            }
        }
        deserializer.deserialize_tuple_struct(WITH_PLACE, 3, Placed(PhantomData))
    }
}

impl<T: PartialEq> PartialEq for Sp<T> {
    fn eq(&self, other: &Self) -> bool {
        self.value == other.value
    }
}
impl<T: Eq> Eq for Sp<T> {}
impl<T: std::hash::Hash> std::hash::Hash for Sp<T> {
    fn hash<H: std::hash::Hasher>(&self, state: &mut H) {
        self.value.hash(state);
    }
}

/// A knowledge base as its files say it, before anything but the shapes is checked.
#[derive(Clone, Debug, Default)]
pub struct RawKnowledge {
    /// The names of the files, as given.
    pub files: Vec<String>,
    /// `craft.yaml`.
    pub manifest: Option<In<RawManifest>>,
    /// Facts asked at intake, in file order.
    pub history: Vec<In<RawHistory>>,
    /// Root faults.
    pub causes: Vec<In<RawCause>>,
    /// Intermediate events.
    pub effects: Vec<In<RawEffect>>,
    /// What the customer complains of.
    pub symptoms: Vec<In<RawSymptom>>,
    /// What one can look at, do or measure.
    pub checks: Vec<In<RawCheck>>,
    /// States of disassembly.
    pub access: Vec<In<RawAccess>>,
    /// Work.
    pub repairs: Vec<In<RawRepair>>,
    /// What can hurt.
    pub hazards: Vec<In<RawHazard>>,
    /// What forbids what.
    pub interlocks: Vec<In<RawInterlock>>,
    /// What comes along with what.
    pub companions: Vec<In<RawCompanion>>,
    /// What is written down before and set after.
    pub settings: Vec<In<RawSetting>>,
    /// Published sources.
    pub sources: Vec<In<RawSource>>,
    /// What adds repairs to a plan.
    pub plan_rules: Vec<In<RawPlanRule>>,
    /// An expert's fixed order.
    pub checklist: Vec<In<RawChecklist>>,
    /// Ids that stand in files or items that could not be read: those who name them are not to blame.
    pub unread: std::collections::BTreeSet<String>,
    /// Whether anything was wrong with the files: what seems to be missing may be there.
    pub flawed: bool,
}

/// An item and where it comes from.
#[derive(Clone, Debug)]
pub struct In<T> {
    /// The position of its file in [`RawKnowledge::files`].
    pub file: usize,
    /// Its path in that file: `causes[3]`; for the manifest empty.
    pub path: String,
    /// The item.
    pub item: T,
}

/// An id as written, with its place.
pub type RawId = Sp<String>;
/// A number as written, with its place.
pub type RawNumber = Sp<f64>;

/// Where a number comes from.
#[derive(Clone, Debug, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RawBasis {
    /// The habit of the trade; no published source.
    CommonPractice,
    /// A guess, said to be one.
    Estimate,
    /// A source listed in `sources.yaml`.
    Published(RawId),
}

/// `per:`, what an item has one instance for each of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RawScope {
    /// One for each cylinder.
    Cylinder,
    /// One for each carburetor.
    Carburetor,
    /// One for each fuel pump.
    Pump,
}

/// `fitted:`, the craft an item belongs to: all that is named must hold.
pub type RawFitted = IndexMap<RawId, Sp<RawFit>>;

/// What `fitted:` asks of one key.
#[derive(Clone, Debug, PartialEq)]
pub enum RawFit {
    /// An option that is, or is not, fitted.
    Option(bool),
    /// `cylinders:` a number of cylinders.
    Count(u64),
    /// `layout:` one of these layouts.
    Layouts(Vec<String>),
}

impl<'de> Deserialize<'de> for RawFit {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Fit;
        impl<'de> Visitor<'de> for Fit {
            type Value = RawFit;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("true, false, a number of cylinders or a list of layouts")
            }
            fn visit_bool<E: de::Error>(self, v: bool) -> Result<RawFit, E> {
                Ok(RawFit::Option(v))
            }
            fn visit_u64<E: de::Error>(self, v: u64) -> Result<RawFit, E> {
                Ok(RawFit::Count(v))
            }
            fn visit_i64<E: de::Error>(self, v: i64) -> Result<RawFit, E> {
                u64::try_from(v)
                    .map(RawFit::Count)
                    .map_err(|_| E::custom("expected a number of cylinders, not a negative number"))
            }
            fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<RawFit, A::Error> {
                let mut layouts = Vec::new();
                while let Some(id) = seq.next_element()? {
                    layouts.push(id);
                }
                Ok(RawFit::Layouts(layouts))
            }
        }
        deserializer.deserialize_any(Fit)
    }
}

// --- craft.yaml ---------------------------------------------------------------------------------------------------

/// `craft.yaml`, the manifest.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawManifest {
    /// The version of the format: 1.
    pub format: Sp<u32>,
    /// The knowledge base's id.
    pub id: RawId,
    /// Its version, as in semantic versioning.
    pub version: Sp<String>,
    /// Its title.
    pub title: String,
    /// Folders whose files it shares with other knowledge bases, named from its own.
    #[serde(default)]
    pub shares: Vec<Sp<String>>,
    /// A cause's rate times this is its chance before history.
    pub chance_per_rate: RawNumber,
    /// The chance that any answer is misread or mistyped.
    pub slip: RawNumber,
    /// ISO 4217.
    pub currency: Sp<String>,
    /// What may or may not be fitted.
    pub options: IndexMap<RawId, RawOption>,
    /// Which carburetor feeds which cylinder, which pump which carburetor.
    pub layouts: Vec<RawLayout>,
    /// How history multiplies odds.
    pub history_rules: RawHistoryRules,
    /// Who uses it.
    pub users: IndexMap<RawId, RawUser>,
    /// What things cost that are not work.
    pub costs: RawCosts,
    /// The basis of the manifest's numbers.
    pub basis: Sp<RawBasis>,
}

/// One option.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawOption {
    /// What it is, in plain words.
    pub title: String,
    /// Whether most craft have it.
    pub usual: bool,
}

/// One layout.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawLayout {
    /// Its id.
    pub id: RawId,
    /// In plain words.
    pub title: String,
    /// Cylinder names, the magneto end first.
    pub cylinders: Vec<RawId>,
    /// Carburetor name to the cylinders it feeds.
    pub carburetors: IndexMap<RawId, Vec<RawId>>,
    /// Pump name to the carburetors it feeds.
    pub pumps: IndexMap<RawId, Vec<RawId>>,
    /// Whether it is the usual one.
    #[serde(default)]
    pub usual: bool,
}

/// How history multiplies odds.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawHistoryRules {
    /// The most the product of multipliers may be (and its inverse the least).
    pub odds_cap: RawNumber,
    /// The most a chance may be after history.
    pub chance_cap: RawNumber,
    /// The power of all but the largest multiplier in a story.
    pub story_power: RawNumber,
}

/// One kind of user.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawUser {
    /// Money an hour.
    pub labor: RawNumber,
    /// Their minutes for one of ours.
    pub pace: RawNumber,
    /// The highest skill they may use; absent: any.
    pub skill: Option<Sp<u8>>,
    /// The access they may open; absent: any.
    pub access: Option<Vec<RawId>>,
    /// How many questions they stand.
    pub asks: Option<u32>,
    /// What handing over costs them; absent: what it costs anyone.
    pub hand_over: Option<RawNumber>,
    /// The share of a checker's time they need.
    pub checker_share: Option<RawNumber>,
    /// Access that needs a checker's word.
    #[serde(default)]
    pub sign_off: Vec<RawId>,
}

/// What things cost that are not work.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawCosts {
    /// Handing the craft over to a specialist.
    pub hand_over: RawNumber,
    /// A trip for nothing.
    pub wasted_trip: RawNumber,
    /// A comeback after a wrong repair.
    pub comeback: RawNumber,
    /// Minutes to try the symptom after a repair, the craft whole again.
    pub try_again: Option<RawNumber>,
    /// Named risks.
    #[serde(default)]
    pub risk: IndexMap<RawId, RawNumber>,
    /// Where these come from.
    pub basis: Sp<RawBasis>,
}

// --- history.yaml -------------------------------------------------------------------------------------------------

/// A fact asked at intake.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawHistory {
    /// `cx-...`
    pub id: RawId,
    /// The question.
    pub ask: String,
    /// The order of asking; those without come last, in file order.
    pub order: Option<u32>,
    /// Facts of one story are damped together.
    pub story: Option<String>,
    /// The answers, as ids.
    pub values: Vec<RawId>,
    /// Plain words for the answers: value to words.
    #[serde(default)]
    pub says: IndexMap<RawId, String>,
    /// How common each answer is, percent, in the order of `values`.
    pub shares: Option<Vec<RawNumber>>,
    /// A fact that lifts the caps.
    pub exempt: Option<RawExempt>,
    /// Value to the options it sets.
    #[serde(default)]
    pub implies: IndexMap<RawId, IndexMap<RawId, bool>>,
    /// Symptoms for which this is worth asking; empty: any.
    #[serde(default)]
    pub only_for: Vec<RawId>,
    /// Where its shares come from.
    pub basis: Sp<RawBasis>,
}

/// What an exempt fact lifts.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawExempt {
    /// Its own cap on the chance.
    pub chance_cap: RawNumber,
}

/// Fact to value to a multiplier of the odds; the fact `layout` stands for the craft's layout.
pub type RawLikelier = IndexMap<RawId, IndexMap<RawId, RawNumber>>;

// --- causes, effects, symptoms ------------------------------------------------------------------------------------

/// A root fault.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawCause {
    /// Its id.
    pub id: RawId,
    /// A short name: "Clogged fuel inlet screen".
    pub title: String,
    /// A plain sentence for the screen where the title will not do.
    pub plain: Option<String>,
    /// One instance for each; absent: one for the craft.
    pub per: Option<RawScope>,
    /// Findings per 1000 jobs.
    pub rate: Option<RawNumber>,
    /// Or the chance itself.
    pub chance: Option<RawNumber>,
    /// Given that it is there, the chance that it is there on every instance.
    pub common: Option<RawNumber>,
    /// History's multipliers of the odds.
    #[serde(default)]
    pub likelier: RawLikelier,
    /// The craft it belongs to.
    #[serde(default)]
    pub fitted: RawFitted,
    /// Where its numbers come from.
    pub basis: Sp<RawBasis>,
}

/// One input of a gate: exactly one of `from`, `every`, `some_not_all`, `exactly` with `of`, `together`.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawInput {
    /// One cause or effect.
    pub from: Option<RawId>,
    /// On every instance.
    pub every: Option<RawId>,
    /// On at least one instance, not on all.
    pub some_not_all: Option<RawId>,
    /// On exactly so many instances of `of`.
    pub exactly: Option<Sp<u32>>,
    /// What `exactly` counts.
    pub of: Option<RawId>,
    /// All of these at once.
    pub together: Option<Vec<RawId>>,
    /// The chance that it gets through.
    pub strength: RawNumber,
    /// The craft it belongs to.
    #[serde(default)]
    pub fitted: RawFitted,
    /// Where its strength comes from, where that differs.
    pub basis: Option<Sp<RawBasis>>,
}

/// `at_least: {k: 2, of: [...]}`.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawAtLeast {
    /// How many must get through.
    pub k: Sp<u32>,
    /// The inputs.
    pub of: Vec<RawInput>,
}

/// An intermediate event.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawEffect {
    /// Its id.
    pub id: RawId,
    /// What is the case.
    pub title: String,
    /// A plain sentence.
    pub plain: Option<String>,
    /// How it shows.
    pub shows: Option<String>,
    /// One instance for each.
    pub per: Option<RawScope>,
    /// Noisy OR.
    pub any: Option<Vec<RawInput>>,
    /// Noisy AND.
    pub all: Option<Vec<RawInput>>,
    /// Noisy k-of-n.
    pub at_least: Option<RawAtLeast>,
    /// The chance that something not listed brings it about.
    pub leak: RawNumber,
    /// The craft it belongs to.
    #[serde(default)]
    pub fitted: RawFitted,
    /// Where its numbers come from.
    pub basis: Sp<RawBasis>,
}

/// What the customer complains of.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawSymptom {
    /// `sy-...`
    pub id: RawId,
    /// In plain words.
    pub title: String,
    /// What customers say.
    pub says: Vec<String>,
    /// Share of jobs, percent; used to draw cases and to order the menu.
    pub share: RawNumber,
    /// Noisy OR.
    pub any: Option<Vec<RawInput>>,
    /// Noisy AND.
    pub all: Option<Vec<RawInput>>,
    /// Noisy k-of-n.
    pub at_least: Option<RawAtLeast>,
    /// The chance that something not listed brings it about.
    pub leak: RawNumber,
    /// The chance that it is named.
    pub named: RawNamed,
    /// Abilities a craft with it lacks.
    #[serde(default)]
    pub denies: Vec<Sp<RawAbility>>,
    /// Named, it says nothing about these.
    #[serde(default)]
    pub hides: Vec<RawId>,
    /// Named, these are absent.
    #[serde(default)]
    pub rules_out: Vec<RawId>,
    /// An expert's first moves, in order.
    #[serde(default)]
    pub first_moves: Vec<RawId>,
    /// The craft it belongs to.
    #[serde(default)]
    pub fitted: RawFitted,
    /// Where its numbers come from.
    pub basis: Sp<RawBasis>,
}

/// The chance that a symptom is named.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawNamed {
    /// Where it is present.
    pub present: RawNumber,
    /// Where it is absent.
    pub absent: RawNumber,
}

/// What a craft can do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RawAbility {
    /// The starter turns the engine.
    Cranks,
    /// It fires and starts.
    Starts,
    /// It keeps running.
    Runs,
    /// It can be loaded.
    ReachesLoad,
}

/// How a check turns the engine.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RawTurns {
    /// By the starter.
    Starter,
    /// By hand.
    Hand,
    /// Not at all.
    #[default]
    None,
}

/// What the battery must be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RawBattery {
    /// Joined.
    Connected,
    /// Its minus lead off.
    Off,
}

// --- checks -------------------------------------------------------------------------------------------------------

/// Something one can look at, do or measure. Either `outcomes`, or `reading` with `bands`.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawCheck {
    /// `ck-...`
    pub id: RawId,
    /// Its name.
    pub title: String,
    /// One instance for each.
    pub per: Option<RawScope>,
    /// The question.
    pub ask: String,
    /// The question for an owner on the phone; absent: not for owners.
    pub owner: Option<RawOwner>,
    /// What to do, step by step.
    pub how: Vec<String>,
    /// What trips people up.
    #[serde(default)]
    pub mind: Vec<String>,
    /// The named answers, best first where `again: worst`.
    pub outcomes: Option<Vec<RawId>>,
    /// Plain words for outcomes or bands.
    #[serde(default)]
    pub says: IndexMap<RawId, String>,
    /// A number with a unit.
    pub reading: Option<RawReading>,
    /// Named bands of a reading: [low, high), covering least..most.
    pub bands: Option<IndexMap<RawId, Sp<(f64, f64)>>>,
    /// The outcomes or bands that mean all is well.
    #[serde(default)]
    pub pass: Vec<RawId>,
    /// The first row that holds gives the chances.
    pub given: Vec<Sp<RawRow>>,
    /// What it costs.
    pub cost: RawCost,
    /// What must be open.
    #[serde(default)]
    pub access: Vec<RawId>,
    /// What it needs.
    #[serde(default)]
    pub tools: Vec<Sp<String>>,
    /// What the craft must be able to do.
    #[serde(default)]
    pub able: Vec<Sp<RawAbility>>,
    /// Outcome to the abilities it takes away.
    #[serde(default)]
    pub denies: IndexMap<RawId, Vec<Sp<RawAbility>>>,
    /// The cautions it asks for.
    #[serde(default)]
    pub raises: Vec<RawId>,
    /// It cranks, runs, arcs or switches a live circuit.
    #[serde(default)]
    pub ignites: bool,
    /// How it turns the engine.
    #[serde(default)]
    pub turns: RawTurns,
    /// What the battery must be.
    pub battery: Option<RawBattery>,
    /// Checks it makes worthless until the next start.
    #[serde(default)]
    pub spoils: Vec<RawId>,
    /// Offered only after one of these answers.
    #[serde(default)]
    pub after: IndexMap<RawId, Vec<RawId>>,
    /// Of several answers, which counts.
    #[serde(default)]
    pub again: RawAgain,
    /// Skill: 1 owner, 2 trainee, 3 bench, 4 specialist.
    pub skill: Sp<u8>,
    /// The craft it belongs to.
    #[serde(default)]
    pub fitted: RawFitted,
    /// Where its numbers come from.
    pub basis: Sp<RawBasis>,
}

/// The question for an owner.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawOwner {
    /// What to say.
    pub ask: String,
    /// What is asked for.
    pub kind: RawOwnerKind,
}

/// What an owner is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RawOwnerKind {
    /// A look.
    Look,
    /// A sound over the phone.
    Sound,
    /// A photo.
    Photo,
    /// Something done.
    Do,
    /// A memory.
    Memory,
    /// A number.
    Number,
}

/// What a check costs.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawCost {
    /// Hands-on minutes with access open.
    pub minutes: RawNumber,
    /// Money for things used up.
    pub money: Option<RawNumber>,
}

/// Of several answers to one check, which counts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RawAgain {
    /// The last.
    #[default]
    Last,
    /// The worst; outcomes are listed best first.
    Worst,
    /// Each counts on its own.
    Each,
}

/// A reading.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawReading {
    /// pressure, voltage, resistance, ...
    pub quantity: Sp<String>,
    /// The unit the numbers here are in.
    pub unit: Sp<String>,
    /// The least it can read.
    pub least: RawNumber,
    /// The most it can read.
    pub most: RawNumber,
    /// The instrument's own error, one standard deviation.
    pub standard_error: RawNumber,
    /// `altitude`: means and sds scale with air pressure.
    pub corrected: Option<Sp<String>>,
    /// The reading counts against a figure of the build sheet.
    pub relative_to: Option<RawRelative>,
    /// The name of an answer beyond `most`.
    pub over: Option<RawId>,
}

/// A reading against a figure of the build sheet.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawRelative {
    /// The figure's key in the case's `sheet`.
    pub sheet: RawId,
    /// How they compare.
    #[serde(rename = "as")]
    pub how: Sp<RawCompare>,
}

/// How a reading compares with the sheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RawCompare {
    /// Reading minus sheet.
    Difference,
    /// Percent of sheet.
    Percent,
}

/// One row: `chances` for outcomes, `normal` for readings.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawRow {
    /// When it holds; absent: always.
    pub when: Option<Sp<RawWhen>>,
    /// Outcome to chance.
    pub chances: Option<IndexMap<RawId, RawNumber>>,
    /// One normal distribution, or a mixture.
    pub normal: Option<RawNormals>,
    /// Where its numbers come from, where that differs.
    pub basis: Option<Sp<RawBasis>>,
}

/// A condition on states: `{cylinder-flooded: true}` (all that is named must hold), `any_of`, `all_of`, `not`.
#[derive(Clone, Debug, Default)]
pub struct RawWhen {
    /// State to whether it is present.
    pub states: Vec<(RawId, bool)>,
    /// Any of these states.
    pub any_of: Vec<RawId>,
    /// All of these states.
    pub all_of: Vec<RawId>,
    /// None of these states.
    pub not: Vec<RawId>,
}

impl<'de> Deserialize<'de> for RawWhen {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct When;
        impl<'de> Visitor<'de> for When {
            type Value = RawWhen;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a map of states to true or false, or any_of, all_of, not with a list of states")
            }
            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<RawWhen, A::Error> {
                let mut when = RawWhen::default();
                while let Some(key) = map.next_key::<RawId>()? {
                    match key.value.as_str() {
                        "any_of" => when.any_of = map.next_value()?,
                        "all_of" => when.all_of = map.next_value()?,
                        "not" => when.not = map.next_value()?,
                        _ => when.states.push((key, map.next_value()?)),
                    }
                }
                Ok(when)
            }
        }
        deserializer.deserialize_map(When)
    }
}

/// One part of a mixture.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawNormal {
    /// Its share; absent: 1.
    pub share: Option<RawNumber>,
    /// Mean.
    pub mean: Option<RawNumber>,
    /// Standard deviation of the craft, without the instrument's.
    pub sd: Option<RawNumber>,
    /// This share reads over the end of the scale.
    #[serde(default)]
    pub over: bool,
}

/// One normal distribution, or a list that mixes several.
#[derive(Clone, Debug)]
pub struct RawNormals(pub Vec<Sp<RawNormal>>);

impl<'de> Deserialize<'de> for RawNormals {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Normals;
        impl<'de> Visitor<'de> for Normals {
            type Value = RawNormals;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("{mean, sd} or a list of {share, mean, sd}")
            }
            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<RawNormals, A::Error> {
                let one = RawNormal::deserialize(de::value::MapAccessDeserializer::new(map))?;
                Ok(RawNormals(vec![Sp { value: one, at: Location::UNKNOWN }]))
            }
            fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<RawNormals, A::Error> {
                let mut parts = Vec::new();
                while let Some(part) = seq.next_element()? {
                    parts.push(part);
                }
                Ok(RawNormals(parts))
            }
        }
        deserializer.deserialize_any(Normals)
    }
}

// --- access, hazards, interlocks ----------------------------------------------------------------------------------

/// A state of disassembly.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawAccess {
    /// `ac-...`
    pub id: RawId,
    /// In plain words: "Carburetor off".
    pub title: String,
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
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RawShut {
    /// Everything that is open but what this needs must be put back first.
    AllOthers,
}

/// More for each further instance.
#[derive(Clone, Debug, Deserialize)]
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
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawLimit {
    /// At most.
    pub minutes: RawNumber,
    /// Then rest.
    pub rest: RawNumber,
}

/// A hazard: what can hurt, when it is open, what closes it, and its caution.
#[derive(Clone, Debug, Deserialize)]
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
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawTick {
    /// Its id: `leads-on-posts`.
    pub id: RawId,
    /// The words beside the box.
    pub says: String,
}

/// ANSI Z535 signal words.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
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
#[derive(Clone, Debug, Default, Deserialize)]
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
#[derive(Clone, Debug, Deserialize)]
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
#[derive(Clone, Debug, Deserialize)]
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
#[derive(Clone, Debug, Default, Deserialize)]
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
#[derive(Clone, Debug, Deserialize)]
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
}

/// A condition on the case. Several keys of one map: any of them.
#[derive(Clone, Debug, Default, Deserialize)]
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
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RawOpenShut {
    /// Open.
    Open,
    /// Shut.
    Shut,
}

/// Given or missing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RawTickState {
    /// Given.
    Given,
    /// Missing.
    Missing,
}

// --- repairs ------------------------------------------------------------------------------------------------------

/// Work that removes one or more causes.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawRepair {
    /// `rm-...`
    pub id: RawId,
    /// Its name.
    pub title: String,
    /// `service`: a step of plans that removes nothing.
    pub kind: Option<Sp<RawRepairKind>>,
    /// One for each.
    pub per: Option<RawScope>,
    /// One off, all off: done on every instance together.
    #[serde(default)]
    pub together: bool,
    /// Cause to how surely.
    #[serde(default)]
    pub removes: IndexMap<RawId, RawNumber>,
    /// Hands-on minutes, each instance.
    pub minutes: RawNumber,
    /// Parts, each instance.
    #[serde(default)]
    pub parts: Vec<RawPart>,
    /// What it needs.
    #[serde(default)]
    pub tools: Vec<Sp<String>>,
    /// What must be open.
    #[serde(default)]
    pub access: Vec<RawId>,
    /// Skill.
    pub skill: Sp<u8>,
    /// The cautions it asks for.
    #[serde(default)]
    pub raises: Vec<RawId>,
    /// It cranks, runs, arcs or switches a live circuit.
    #[serde(default)]
    pub ignites: bool,
    /// How it turns the engine.
    #[serde(default)]
    pub turns: RawTurns,
    /// What the craft must be able to do.
    #[serde(default)]
    pub able: Vec<Sp<RawAbility>>,
    /// Not while a cause is so likely, unless another repair goes with it.
    #[serde(default)]
    pub not_with: Vec<RawNotWith>,
    /// The work in order.
    pub steps: Vec<RawStep>,
    /// For each part met: reuse, clean or replace.
    #[serde(default)]
    pub verdicts: Vec<RawVerdict>,
    /// What proves it.
    #[serde(default)]
    pub proves: Vec<RawProof>,
    /// Worth doing while there.
    #[serde(default)]
    pub while_there: Vec<RawWhileThere>,
    /// What trips people up.
    #[serde(default)]
    pub care: Vec<String>,
    /// What to tell the owner.
    #[serde(default)]
    pub tell_owner: Vec<String>,
    /// The craft it belongs to.
    #[serde(default)]
    pub fitted: RawFitted,
    /// Where its numbers come from.
    pub basis: Sp<RawBasis>,
}

/// The kind of a repair.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RawRepairKind {
    /// It removes causes (the usual).
    Cure,
    /// A step of plans that removes nothing: first start, test under load, lay-up.
    Service,
}

/// A part.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawPart {
    /// What it is.
    pub item: String,
    /// How many for each instance.
    pub count: RawNumber,
    /// Price of one.
    pub each: RawNumber,
    /// Something else that will do.
    pub or: Option<String>,
    /// Used up rather than fitted.
    #[serde(default)]
    pub consumable: bool,
    /// Where the price comes from.
    pub basis: Sp<RawBasis>,
}

/// A repair that wants another with it.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawNotWith {
    /// The cause.
    pub cause: RawId,
    /// More likely than this.
    pub over: RawNumber,
    /// The repair that settles it.
    pub unless: RawId,
}

/// One step.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawStep {
    /// What to do: begins with a verb.
    #[serde(rename = "do")]
    pub what: String,
    /// The part of the work order it belongs to; absent: the phase of the step before, `strip` at first.
    pub phase: Option<Sp<RawPhase>>,
    /// A caution that stands before it.
    pub caution: Option<RawId>,
    /// Settings to write down.
    #[serde(default)]
    pub record: Vec<RawId>,
    /// Settings to set.
    #[serde(default)]
    pub set: Vec<RawId>,
    /// A bench test that must pass before going on.
    pub gate: Option<RawGateTest>,
}

/// The parts of a work order, in working order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RawPhase {
    /// Make safe.
    MakeSafe,
    /// Open.
    Open,
    /// Record.
    Record,
    /// Strip.
    Strip,
    /// Judge each part.
    Judge,
    /// Clean.
    Clean,
    /// Rebuild.
    Rebuild,
    /// Bench tests.
    Bench,
    /// Refit.
    Refit,
    /// Settings.
    Settings,
    /// Prove it.
    Prove,
    /// Hand over.
    HandOver,
}

/// A bench test inside a repair.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawGateTest {
    /// The check.
    pub check: RawId,
    /// Outcomes or bands that pass; absent: the check's own.
    #[serde(default)]
    pub pass: Vec<RawId>,
    /// Or: within so much of the target, with unit.
    pub within: Option<Sp<String>>,
    /// How often.
    pub repeats: Option<Sp<u32>>,
    /// The spread allowed between repeats, with unit.
    pub spread: Option<Sp<String>>,
}

/// Reuse, clean or replace. `otherwise` in one of them takes what the others leave.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawVerdict {
    /// The part, in plain words.
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

/// What proves a repair: exactly one of `check` (with `pass`) and `event`.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawProof {
    /// A check.
    pub check: Option<RawId>,
    /// Outcomes or bands that pass; absent: the check's own.
    #[serde(default)]
    pub pass: Vec<RawId>,
    /// Something seen: "starts twice from cold".
    pub event: Option<String>,
}

/// Worth doing while there: exactly one of `repair` and `part`.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawWhileThere {
    /// Another repair.
    pub repair: Option<RawId>,
    /// A part or a look.
    pub part: Option<String>,
}

// --- companions, settings, sources, plan rules, the checklist -----------------------------------------------------

/// Once the first is found, these are likelier.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawCompanion {
    /// The cause found.
    pub found: RawId,
    /// Cause to a multiplier of its odds.
    pub likelier: IndexMap<RawId, RawNumber>,
    /// With history, no more than this.
    pub cap: RawNumber,
    /// Where its numbers come from.
    pub basis: Sp<RawBasis>,
}

/// Something to write down before and set after.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawSetting {
    /// Its id: `low-turns`.
    pub id: RawId,
    /// In plain words.
    pub title: String,
    /// One for each.
    pub per: Option<RawScope>,
    /// Its unit, or `text`.
    pub unit: Sp<String>,
    /// What to set where the record is missing.
    pub generic: Option<String>,
    /// Where that comes from.
    pub basis: Sp<RawBasis>,
}

/// A published source.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawSource {
    /// Its id.
    pub id: RawId,
    /// Its title.
    pub title: String,
    /// Who wrote or published it.
    pub by: String,
    /// When.
    pub year: Option<u32>,
    /// Read, or cited from memory.
    pub mark: RawMark,
}

/// How a source is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RawMark {
    /// The figure was read in the source or a copy of it.
    Read,
    /// The figure was read on a page that reports the source.
    SecondHand,
    /// From memory.
    Memory,
}

/// A rule that adds repairs to a plan.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawPlanRule {
    /// Its id.
    pub id: RawId,
    /// Why, in plain words.
    pub why: String,
    /// When it holds.
    pub when: Sp<RawCondition>,
    /// The repair the plan must hold for the rule to apply; absent: any plan.
    pub with: Option<RawId>,
    /// The repairs it adds.
    pub add: Vec<RawId>,
    /// Where it comes from.
    pub basis: Sp<RawBasis>,
}

/// One line of an expert's fixed order: exactly one of `symptom` (with `steps`) and `check` (with `finds`).
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawChecklist {
    /// The symptom that the order is for.
    pub symptom: Option<RawId>,
    /// Checks and repairs, in order.
    #[serde(default)]
    pub steps: Vec<RawId>,
    /// The check whose findings these are.
    pub check: Option<RawId>,
    /// Outcome to what is done next: checks and repairs.
    #[serde(default)]
    pub finds: IndexMap<RawId, Vec<RawId>>,
    /// Where it comes from.
    pub basis: Sp<RawBasis>,
}
