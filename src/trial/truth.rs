//! What is true of one simulated job: a craft, its history, its faults, every link and leak, and what its owner says.
//!
//! A job is drawn forward through the compiled network and kept where its owner comes: where a symptom is there and is
//! named. Links and leaks stay as drawn, so that a repair acts on them as the model says.

use crate::case::{Answer, Case, usual_user};
use crate::knowledge::layout::{Craft, Instance, Laid};
use crate::knowledge::{
    Cause, Check, Gives, HistoryFact, Ix, Knowledge, Layout, Reading, Symptom, User, raw::RawCompare,
};
use crate::model::compile::{CaseModel, compile, conditions};
use crate::model::draw::Draw;
use crate::model::network::{Mechanism, Network, VarIx};
use crate::model::reading::{Conditions, outcome_chances};
use crate::units::Measure;
use indexmap::IndexMap;
use std::collections::BTreeSet;

/// How jobs are drawn.
#[derive(Clone, Debug)]
pub struct Draws {
    /// The seed.
    pub seed: u64,
    /// The layouts drawn from, each as likely as the others; none: all of them.
    pub layouts: Vec<Ix<Layout>>,
    /// The symptoms of which one must be named; none: any.
    pub symptoms: Vec<Ix<Symptom>>,
    /// How far the truth's numbers stray from the knowledge: one standard deviation in log-odds.
    pub sigma: f64,
    /// The chance that a job has a fault that the knowledge does not list.
    pub unlisted: f64,
    /// Who works them; `None`: the usual user.
    pub user: Option<Ix<User>>,
}

/// One job as it is.
#[derive(Clone, Debug)]
pub struct Truth {
    /// What is known at intake.
    pub case: Case,
    /// The effects that a fault beyond the knowledge brings about, by their names; none where there is no such fault.
    pub unlisted: Vec<String>,
    model: CaseModel,
    world: World,
    seed: u64,
    sigma: f64,
    misleads: f64,
}

/// Everything that was drawn about a craft.
#[derive(Clone, Debug)]
struct World {
    /// For each variable that is a root or depends on roots by a table, whether it is on.
    roots: Vec<bool>,
    /// For each gate, for each input whether it gets through.
    through: Vec<Vec<bool>>,
    /// For each gate whether its leak is active.
    leaks: Vec<bool>,
}

/// How often drawing a job is tried: the rarest symptom is named in one craft of some thousands.
const TRIES: u64 = 100_000;
/// The chance that an unlisted fault brings about each of its effects.
const UNLISTED_STRENGTH: f64 = 0.9;

// Streams of draws: what happens in a job is kept apart from how it was drawn.
const OF_JOB: u64 = 1;
const OF_ANSWERS: u64 = 1 << 32;
const OF_REPAIRS: u64 = 2 << 32;
const OF_TRIALS: u64 = 3 << 32;
const OF_NOISE: u64 = 4 << 32;
// 5 << 32 is what a policy draws for itself.
const OF_STRAYING: u64 = 6 << 32;

impl Truth {
    /// The job of this number; `None` where none was met in a hundred thousand tries.
    #[must_use]
    pub fn draw(knowledge: &Knowledge, draws: &Draws, number: u64) -> Option<Self> {
        // Numbers of neighboring seeds must not overlap.
        let seed = draws.seed.wrapping_mul(0x9e37_79b9_7f4a_7c15).wrapping_add(number);
        let mut draw = Draw::new(seed, OF_JOB);
        let wants_unlisted = draw.happens(draws.unlisted);
        (0..TRIES).find_map(|_| Self::attempt(knowledge, draws, seed, wants_unlisted, &mut draw))
    }

    fn attempt(knowledge: &Knowledge, draws: &Draws, seed: u64, wants_unlisted: bool, draw: &mut Draw) -> Option<Self> {
        let mut case = craft(knowledge, draws, draw);
        let laid = Laid::new(knowledge, case.craft.clone());
        let mut model = compile(&laid, &case);
        // By a stream of its own, so that jobs with noise and without are much the same jobs.
        perturb(&mut model.network, draws.sigma, &mut Draw::new(seed, OF_STRAYING));
        let mut world = World::draw(&model.network, draw);
        let plain = world.states(&model.network, &BTreeSet::new());
        let hidden = if wants_unlisted { unlisted(&model, &mut world, draw)? } else { Vec::new() };
        let states = world.states(&model.network, &BTreeSet::new());
        case.symptoms = named(knowledge, &model, &states, draw)?;
        if !draws.symptoms.is_empty() && !draws.symptoms.iter().any(|s| case.symptoms.contains(s)) {
            return None;
        }
        let there = |states: &[bool], s: &Ix<Symptom>| model.symptom(*s).is_some_and(|var| states[var.at()]);
        // An unlisted fault is one that the complaint comes from.
        if !case.symptoms.iter().any(|s| there(&states, s) && (!wants_unlisted || !there(&plain, s))) {
            return None;
        }
        let unlisted = hidden.iter().map(|var| model.network.variable(*var).name.clone()).collect();
        Some(Self { case, unlisted, model, world, seed, sigma: draws.sigma, misleads: 0.0 })
    }

    /// The same job, in which so large a share of answers mislead: they are drawn from the tails of what the row that
    /// holds gives. Of outcomes the likeliest is left out and the others are drawn as often as before, compared with each
    /// other; a reading lies beyond [`TAIL_BEGINS`] spreads from its mean, as often on either side. A check that closes a
    /// hazard never misleads: what is said about fuel in the hull is not for guessing.
    #[must_use]
    pub fn misleading(self, share: f64) -> Self {
        Self { misleads: share, ..self }
    }

    /// Whether a cause was there at intake.
    #[must_use]
    pub fn has(&self, cause: Instance<Cause>) -> bool {
        self.model.cause(cause).is_some_and(|var| self.world.roots[var.at()])
    }

    /// The symptoms there once these causes are gone.
    #[must_use]
    pub fn symptoms(&self, removed: &BTreeSet<Instance<Cause>>) -> Vec<Ix<Symptom>> {
        let states = self.states(removed);
        self.model.symptoms.iter().filter(|(_, var)| states[var.at()]).map(|(ix, _)| *ix).collect()
    }

    fn states(&self, removed: &BTreeSet<Instance<Cause>>) -> Vec<bool> {
        let vars = removed.iter().filter_map(|cause| self.model.cause(*cause)).collect();
        self.world.states(&self.model.network, &vars)
    }

    /// The causes the complaint comes from: those that bring a named symptom about alone, or with which it goes.
    #[must_use]
    pub fn guilty(&self) -> Vec<Instance<Cause>> {
        let there: BTreeSet<VarIx> =
            self.model.causes.iter().filter(|(_, var)| self.world.roots[var.at()]).map(|(_, var)| *var).collect();
        let complaint: Vec<VarIx> = self.case.symptoms.iter().filter_map(|s| self.model.symptom(*s)).collect();
        let complains = |world: &World, gone: &BTreeSet<VarIx>| {
            let states = world.states(&self.model.network, gone);
            complaint.iter().any(|var| states[var.at()])
        };
        let silent = World { leaks: vec![false; self.world.leaks.len()], ..self.world.clone() };
        let is_guilty = |var: &VarIx| {
            let others = there.iter().copied().filter(|other| other != var).collect();
            complains(&silent, &others) || !complains(&self.world, &BTreeSet::from([*var]))
        };
        self.model
            .causes
            .iter()
            .filter(|(_, var)| there.contains(var) && is_guilty(var))
            .map(|(cause, _)| *cause)
            .collect()
    }

    /// What a check shows once these causes are gone; `time` tells apart the times it is made, `aired` whether the craft was
    /// aired after an answer that was not well.
    #[must_use]
    pub fn answer(
        &self,
        laid: &Laid<'_>,
        check: Instance<Check>,
        removed: &BTreeSet<Instance<Cause>>,
        (time, aired): (u64, bool),
    ) -> Option<Answer> {
        let model = self.model.checks.iter().find(|known| known.check == check)?;
        let states = self.states(removed);
        let holds = |literals: &Vec<_>| {
            literals.is_empty() || literals.iter().any(|l: &crate::model::network::Literal| states[l.var.at()] == l.on)
        };
        let row = model.rows.iter().position(holds)?;
        let item = &laid.knowledge.checks[check.item];
        let given = conditions(laid, &self.case, item);
        let thing = (check.item.at() as u64) << 4 | check.at as u64;
        let mut draw = Draw::new(self.seed, OF_ANSWERS | thing << 10 | (time & 0x3ff));
        let gives = self.perturbed(item, (row, aired), thing);
        let misleads = self.misleads > 0.0 && !closes_a_hazard(laid, check.item) && draw.happens(self.misleads);
        Some(match (&gives, &item.reading) {
            (Gives::Normals { parts, .. }, Some(reading)) if misleads && !parts.is_empty() => {
                Answer::Reading(far_off(reading, parts, &given, &mut draw))
            }
            (Gives::Normals { parts, over }, Some(reading)) => {
                Answer::Reading(measured(reading, parts, *over, &given, &mut draw))
            }
            _ => {
                let mut chances = outcome_chances(item, &gives, &given);
                if misleads {
                    leave_out_likeliest(&mut chances);
                }
                Answer::Outcome(draw.pick(&chances))
            }
        })
    }

    /// What a row gives in truth, where the knowledge is off: chances moved in log-odds and brought back to one, means
    /// moved by as many of their spreads.
    fn perturbed(&self, check: &Check, (row, aired): (usize, bool), thing: u64) -> Gives {
        if self.sigma <= 0.0 {
            return check.rows[row].gives(aired).clone();
        }
        let mut draw = Draw::new(self.seed, OF_NOISE | thing << 8 | row as u64);
        match check.rows[row].gives(aired) {
            Gives::Chances(chances) => {
                let moved: Vec<f64> = chances.iter().map(|p| draw.perturbed(*p, self.sigma)).collect();
                let sum: f64 = moved.iter().sum();
                Gives::Chances(moved.iter().map(|p| p / sum).collect())
            }
            Gives::Normals { parts, over } => Gives::Normals {
                parts: parts
                    .iter()
                    .map(|&(share, mean, sd)| (share, mean + NORMAL_PER_LOGIT * self.sigma * sd * draw.normal(), sd))
                    .collect(),
                over: *over,
            },
        }
    }

    /// Whether a repair takes a cause away; `time` tells apart the times it is done.
    #[must_use]
    pub fn takes_away(&self, repair: usize, cause: Instance<Cause>, sureness: f64, time: u64) -> bool {
        let thing = (repair as u64) << 20 | (cause.item.at() as u64) << 4 | cause.at as u64;
        Draw::new(self.seed, OF_REPAIRS.wrapping_add(thing << 4 | (time & 0xf))).happens(sureness)
    }

    /// Whether a trial of a symptom is misread.
    #[must_use]
    pub fn misread(&self, symptom: Ix<Symptom>, slip: f64, time: u64) -> bool {
        Draw::new(self.seed, OF_TRIALS | (symptom.at() as u64) << 8 | (time & 0xff)).happens(slip)
    }

    /// A seed for a policy's own draws.
    #[must_use]
    pub fn seed(&self) -> u64 {
        self.seed
    }
}

/// A logistic has a spread of pi / sqrt(3): a shift of one in log-odds is about so many standard deviations of a normal.
const NORMAL_PER_LOGIT: f64 = 0.551;

impl World {
    fn draw(network: &Network, draw: &mut Draw) -> Self {
        let n = network.variables.len();
        let mut world = Self { roots: vec![false; n], through: vec![Vec::new(); n], leaks: vec![false; n] };
        for (at, variable) in network.variables.iter().enumerate() {
            match &variable.mechanism {
                Mechanism::Table { parents, rows } => {
                    let row = parents.iter().fold(0, |row, parent| row * 2 + usize::from(world.roots[parent.at()]));
                    world.roots[at] = draw.happens(rows[row * 2 + 1]);
                }
                Mechanism::Any { links, leak }
                | Mechanism::All { links, leak }
                | Mechanism::AtLeast { links, leak, .. } => {
                    world.through[at] = links.iter().map(|link| draw.happens(link.strength)).collect();
                    world.leaks[at] = draw.happens(*leak);
                }
                Mechanism::Count { .. } => {}
            }
        }
        world
    }

    /// Whether each variable is on once these roots are gone.
    fn states(&self, network: &Network, gone: &BTreeSet<VarIx>) -> Vec<bool> {
        let mut on = vec![false; network.variables.len()];
        for (at, variable) in network.variables.iter().enumerate() {
            let active = |links: &[crate::model::network::Link], on: &[bool]| {
                links.iter().zip(&self.through[at]).filter(|(link, through)| **through && on[link.from.at()]).count()
            };
            #[expect(clippy::cast_possible_truncation, reason = "fewer than 2^32 variables")]
            let ix = VarIx(at as u32);
            on[at] = match &variable.mechanism {
                Mechanism::Table { .. } => self.roots[at] && !gone.contains(&ix),
                Mechanism::Any { links, .. } => self.leaks[at] || active(links, &on) > 0,
                Mechanism::All { links, .. } => self.leaks[at] || active(links, &on) == links.len(),
                Mechanism::AtLeast { k, links, .. } => self.leaks[at] || active(links, &on) >= *k,
                Mechanism::Count { of, least, most } => {
                    (*least..=*most).contains(&of.iter().filter(|var| on[var.at()]).count())
                }
            };
        }
        on
    }
}

/// A craft and its history: every fact that says how common its answers are.
fn craft(knowledge: &Knowledge, draws: &Draws, draw: &mut Draw) -> Case {
    let mut craft = Craft::usual(knowledge);
    craft.layout = match draws.layouts.as_slice() {
        [] => Ix::new(draw.below(knowledge.layouts.len())),
        some => some[draw.below(some.len())],
    };
    let mut history: IndexMap<Ix<HistoryFact>, usize> = IndexMap::new();
    for (ix, fact) in knowledge.history.iter() {
        let shares: Vec<f64> = fact.values.iter().map(|v| v.share.unwrap_or(0.0)).collect();
        if shares.iter().sum::<f64>() > 0.0 {
            let value = draw.pick(&shares);
            history.insert(ix, value);
            for &(option, fitted) in &fact.values[value].implies {
                craft.options[option.at()] = fitted;
            }
        }
    }
    Case {
        title: None,
        craft,
        altitude_m: 0.0,
        user: draws.user.unwrap_or_else(|| usual_user(knowledge)),
        tools: None,
        sheet: sheet(knowledge),
        history,
        history_next: None,
        symptoms: Vec::new(),
        log: Vec::new(),
        taken_up: 0,
    }
}

/// A build sheet with a figure for everything that is compared with one, so high that no reading is below zero.
fn sheet(knowledge: &Knowledge) -> IndexMap<String, Measure> {
    let mut sheet: IndexMap<String, Measure> = IndexMap::new();
    for reading in knowledge.checks.iter().filter_map(|(_, check)| check.reading.as_ref()) {
        if let Some((key, compare)) = &reading.relative {
            let value = match compare {
                RawCompare::Difference => -reading.least.min(0.0),
                RawCompare::Percent => 100.0,
            };
            let known = sheet.entry(key.clone()).or_insert(Measure { value, unit: reading.unit });
            known.value = known.value.max(value);
        }
    }
    sheet
}

/// Moves every chance, strength and leak.
fn perturb(network: &mut Network, sigma: f64, draw: &mut Draw) {
    if sigma <= 0.0 {
        return;
    }
    for variable in &mut network.variables {
        match &mut variable.mechanism {
            Mechanism::Table { rows, .. } => {
                for row in rows.chunks_exact_mut(2) {
                    row[1] = draw.perturbed(row[1], sigma);
                    row[0] = 1.0 - row[1];
                }
            }
            Mechanism::Any { links, leak }
            | Mechanism::All { links, leak }
            | Mechanism::AtLeast { links, leak, .. } => {
                for link in links {
                    link.strength = draw.perturbed(link.strength, sigma);
                }
                *leak = draw.perturbed(*leak, sigma);
            }
            Mechanism::Count { .. } => {}
        }
    }
}

/// What the owner names: the symptoms in the order of the menu, which begins with what stops one first, each with its
/// chance; not one that an earlier one hides. `None` where nothing is named, or what is named rules out what is there.
fn named(knowledge: &Knowledge, model: &CaseModel, states: &[bool], draw: &mut Draw) -> Option<Vec<Ix<Symptom>>> {
    let mut named: Vec<Ix<Symptom>> = Vec::new();
    for &(ix, var) in &model.symptoms {
        let symptom = &knowledge.symptoms[ix];
        let chance = if states[var.at()] { symptom.named_present } else { symptom.named_absent };
        let is_named = draw.happens(chance.get());
        if is_named && !named.iter().any(|other| knowledge.symptoms[*other].hides.contains(&ix)) {
            named.push(ix);
        }
    }
    let there = |ix: &Ix<Symptom>| model.symptom(*ix).is_some_and(|var| states[var.at()]);
    let contradicts =
        named.iter().any(|ix| knowledge.symptoms[*ix].rules_out.iter().any(|out| there(out) || named.contains(out)));
    (!named.is_empty() && !contradicts).then_some(named)
}

/// Adds a fault that the knowledge does not list: one to three effects are brought about by it, and no listed cause
/// feeds them all. `None` where the effects drawn are not of that kind.
fn unlisted(model: &CaseModel, world: &mut World, draw: &mut Draw) -> Option<Vec<VarIx>> {
    if model.effects.is_empty() {
        return None;
    }
    let wanted = 1 + draw.below(3);
    let mut effects: Vec<VarIx> = Vec::new();
    for _ in 0..wanted {
        let (_, var) = model.effects[draw.below(model.effects.len())];
        if !effects.contains(&var) {
            effects.push(var);
        }
    }
    let fed: Vec<BTreeSet<VarIx>> = effects.iter().map(|effect| feeders(model, *effect)).collect();
    let all = fed.iter().skip(1).fold(fed[0].clone(), |all, more| all.intersection(more).copied().collect());
    if !all.is_empty() {
        return None;
    }
    effects.retain(|_| draw.happens(UNLISTED_STRENGTH));
    for effect in &effects {
        world.leaks[effect.at()] = true;
    }
    (!effects.is_empty()).then_some(effects)
}

/// The causes that a gate reads, itself or through a count of them.
fn feeders(model: &CaseModel, gate: VarIx) -> BTreeSet<VarIx> {
    let mut open = model.network.parents(gate);
    let mut causes = BTreeSet::new();
    while let Some(var) = open.pop() {
        match &model.network.variable(var).mechanism {
            Mechanism::Table { .. } => {
                causes.insert(var);
            }
            Mechanism::Count { of, .. } => open.extend(of),
            _ => {}
        }
    }
    causes
}

/// Whether a check closes a hazard.
fn closes_a_hazard(laid: &Laid<'_>, check: Ix<Check>) -> bool {
    laid.knowledge.hazards.iter().any(|(_, hazard)| hazard.closed_by.iter().any(|by| by.answer.0 == check))
}

/// Leaves the tail of some outcomes: all but the likeliest; where there is no other, that one.
fn leave_out_likeliest(chances: &mut [f64]) {
    let likeliest = (0..chances.len()).max_by(|a, b| chances[*a].total_cmp(&chances[*b]).then(b.cmp(a)));
    let others = chances.iter().filter(|chance| **chance > 0.0).count() > 1;
    if let Some(at) = likeliest.filter(|_| others) {
        chances[at] = 0.0;
    }
}

/// Where the tails of a reading begin, in spreads from the mean: a fifth of a normal lies beyond, a tenth on each side.
pub const TAIL_BEGINS: f64 = 1.2816;

/// A reading out of the tails: beyond [`TAIL_BEGINS`] spreads from the mean of its part.
fn far_off(reading: &Reading, parts: &[(f64, f64, f64)], given: &Conditions, draw: &mut Draw) -> f64 {
    let scale = if reading.corrected_for_altitude { given.pressure_ratio } else { 1.0 };
    let shares: Vec<f64> = parts.iter().map(|part| part.0).collect();
    let (_, mean, sd) = parts[draw.pick(&shares)];
    let spread = libm::hypot(scale * sd, reading.standard_error);
    // One draw in five lies there; the bound is for the proof that it ends.
    let z = (0..1_000).map(|_| draw.normal()).find(|z| z.abs() > TAIL_BEGINS).unwrap_or(TAIL_BEGINS);
    let value = (scale * mean + spread * z).clamp(scale * reading.least, scale * reading.most);
    as_measured(reading, value, given)
}

/// A reading as measured. The slip is shared as in the model: between the ends, the inside and, where there is one,
/// the answer beyond the scale.
fn measured(reading: &Reading, parts: &[(f64, f64, f64)], over: f64, given: &Conditions, draw: &mut Draw) -> f64 {
    let scale = if reading.corrected_for_altitude { given.pressure_ratio } else { 1.0 };
    let (least, most) = (scale * reading.least, scale * reading.most);
    let beyond = most + 1.0;
    let value = if draw.happens(given.slip) {
        let thirds = [1.0, 1.0, f64::from(u8::from(reading.over.is_some()))];
        match draw.pick(&thirds) {
            0 => least + (most - least) * draw.unit(),
            1 if draw.happens(0.5) => least,
            1 => most,
            _ => beyond,
        }
    } else if draw.happens(over) {
        beyond
    } else {
        let shares: Vec<f64> = parts.iter().map(|part| part.0).collect();
        let (_, mean, sd) = parts[draw.pick(&shares)];
        let spread = libm::hypot(scale * sd, reading.standard_error);
        (scale * mean + spread * draw.normal()).clamp(least, most)
    };
    as_measured(reading, value, given)
}

/// A value on the check's own scale as the instrument shows it.
fn as_measured(reading: &Reading, value: f64, given: &Conditions) -> f64 {
    match (&reading.relative, given.sheet) {
        (Some((_, RawCompare::Difference)), Some(sheet)) => sheet + value,
        (Some((_, RawCompare::Percent)), Some(sheet)) => sheet * value / 100.0,
        _ => value,
    }
}
