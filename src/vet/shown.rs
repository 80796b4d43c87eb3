//! What every check shows for every cause, on one craft with one symptom named.

use crate::case::{Case, usual_case};
use crate::inference::{Engine, Error, Event, Limits, OpenCheck};
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Ability, Access, Cause, Check, Ix, Knowledge, Symptom};
use crate::model::compile::{CaseModel, CheckModel, compile};
use crate::model::network::{Network, Observation, VarIx};
use crate::model::reading::{Conditions, outcome_chances};
use std::collections::{BTreeMap, BTreeSet};

/// A cause less likely than this, given the symptom, is not looked at: what is left of it has too few digits.
const LEAST: f64 = 1e-7;

/// What checks show where one symptom is named.
#[derive(Clone, Debug)]
pub struct Shown {
    /// The symptom.
    pub symptom: Ix<Symptom>,
    /// The causes that lead to it, with the chance of each given the symptom.
    pub faults: Vec<(Instance<Cause>, f64)>,
    /// The checks that the symptom leaves possible.
    pub checks: Vec<CheckShown>,
}

/// What one check shows.
#[derive(Clone, Debug)]
pub struct CheckShown {
    /// Which, where.
    pub check: Instance<Check>,
    /// For each fault the chance of each outcome where it is there.
    pub with: Vec<Vec<f64>>,
    /// For each fault the chance of each outcome where it is not.
    pub without: Vec<Vec<f64>>,
    /// The chance of each outcome on a craft with no fault at all.
    pub sound: Vec<f64>,
}

impl Shown {
    /// How well the best check tells two faults apart, 0..=1: the total variation distance between what it shows for
    /// the one and for the other. Whoever guesses between the two by its answer is right with chance (1 + this) / 2.
    #[must_use]
    pub fn apart(&self, a: usize, b: usize) -> f64 {
        self.checks.iter().map(|check| distance(&check.with[a], &check.with[b])).fold(0.0, f64::max)
    }

    /// The same for a fault and a craft with no fault at all.
    #[must_use]
    pub fn detects(&self, fault: usize) -> f64 {
        self.checks.iter().map(|check| distance(&check.with[fault], &check.sound)).fold(0.0, f64::max)
    }
}

impl CheckShown {
    /// How much what the check shows differs between a fault and its absence, 0..=1.
    #[must_use]
    pub fn moves(&self, fault: usize) -> f64 {
        distance(&self.with[fault], &self.without[fault])
    }
}

/// The total variation distance between two distributions over the same outcomes.
fn distance(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| (a - b).abs()).sum::<f64>() / 2.0
}

/// What checks show on a craft, symptom by symptom. A symptom that cannot come about is left out.
///
/// # Errors
/// Where the network is too wide for the usual limits.
pub fn all(laid: &Laid<'_>) -> Result<Vec<Shown>, Error> {
    let case = Case { craft: laid.craft.clone(), ..usual_case(laid.knowledge) };
    let model = compile(laid, &case);
    let engine = Engine::compile(&model.network)?;
    let sound = match sound(laid.knowledge, &model, &engine) {
        // Where a craft without a fault cannot be, there is nothing to hold what shows against.
        Err(Error::Contradiction) => return Ok(Vec::new()),
        sound => sound?,
    };
    let mut shown = Vec::new();
    for &(symptom, _) in &model.symptoms {
        match of(laid, &case, &engine, symptom, &sound) {
            Ok(one) => shown.push(one),
            Err(Error::Contradiction) => {}
            Err(other) => return Err(other),
        }
    }
    Ok(shown)
}

/// What each check shows on a craft with no fault, only leaks.
fn sound(knowledge: &Knowledge, model: &CaseModel, engine: &Engine) -> Result<Sound, Error> {
    let off: Vec<Observation> =
        model.causes.iter().map(|(_, var)| model.network.found(*var, model.now, false)).collect();
    let opened: Vec<OpenCheck> = model.checks.iter().map(|check| open(knowledge, model, check)).collect();
    let open: BTreeSet<VarIx> =
        model.checks.iter().flat_map(|c| &c.rows).flatten().map(|literal| literal.var).collect();
    let open: Vec<VarIx> = open.into_iter().collect();
    let by_outcome = engine.prepare(&off, &open, &Limits::default())?.by_outcome(&opened, &[])?;
    let shown = |at: usize| (0..by_outcome.outcomes(at)).map(|outcome| by_outcome.chance(at, outcome)).collect();
    Ok(model.checks.iter().enumerate().map(|(at, check)| (check.check, shown(at))).collect())
}

type Sound = BTreeMap<Instance<Check>, Vec<f64>>;

fn of(laid: &Laid<'_>, case: &Case, engine: &Engine, symptom: Ix<Symptom>, sound: &Sound) -> Result<Shown, Error> {
    let model = compile(laid, &Case { symptoms: vec![symptom], ..case.clone() });
    let (evidence, limits) = (model.evidence(), Limits::default());
    let posterior = engine.posterior(&evidence, &limits)?;
    let below = model.symptom(symptom).map(|var| below(&model.network, var)).unwrap_or_default();
    let faults: Vec<(Instance<Cause>, VarIx)> =
        model.causes.iter().copied().filter(|(_, var)| below.contains(var)).collect();
    let checks: Vec<&CheckModel> =
        model.checks.iter().filter(|check| is_possible(laid.knowledge, check.check.item, symptom)).collect();
    let targets: Vec<Event> = faults.iter().map(|(_, var)| Event::on(&model.network, *var, model.now)).collect();
    let opened: Vec<OpenCheck> = checks.iter().map(|check| open(laid.knowledge, &model, check)).collect();
    let read = checks.iter().flat_map(|check| &check.rows).flatten().map(|literal| literal.var);
    let open: BTreeSet<VarIx> = read.chain(faults.iter().map(|(_, var)| *var)).collect();
    let open: Vec<VarIx> = open.into_iter().collect();
    let prepared = engine.prepare_from(&posterior, &evidence, &open, &limits)?;
    let by_outcome = prepared.by_outcome(&opened, &targets)?;
    let chances: Vec<f64> = faults.iter().map(|(_, var)| posterior.chance_on(*var, model.now)).collect();
    let kept: Vec<usize> = (0..faults.len()).filter(|&at| chances[at] > LEAST && chances[at] < 1.0 - LEAST).collect();
    let rows = |at: usize, check: &CheckModel| {
        let outcomes: Vec<(f64, &[f64])> = (0..by_outcome.outcomes(at))
            .map(|outcome| (by_outcome.chance(at, outcome), by_outcome.targets(at, outcome)))
            .collect();
        let given = |weigh: &dyn Fn(f64) -> f64| -> Vec<Vec<f64>> {
            kept.iter().map(|&fault| shared(outcomes.iter().map(|(p, on)| p * weigh(on[fault])).collect())).collect()
        };
        let sound = sound.get(&check.check).cloned().unwrap_or_default();
        CheckShown { check: check.check, with: given(&|on| on), without: given(&|on| 1.0 - on), sound }
    };
    let checks = checks.iter().enumerate().map(|(at, check)| rows(at, check)).collect();
    Ok(Shown { symptom, faults: kept.iter().map(|&at| (faults[at].0, chances[at])).collect(), checks })
}

/// The same weights, summing to one; what weighs nothing stays so.
fn shared(weights: Vec<f64>) -> Vec<f64> {
    let sum: f64 = weights.iter().sum();
    if sum > 0.0 { weights.into_iter().map(|w| w / sum).collect() } else { weights }
}

/// A variable and all that it depends on.
fn below(network: &Network, var: VarIx) -> BTreeSet<VarIx> {
    let mut all = BTreeSet::new();
    let mut next = vec![var];
    while let Some(var) = next.pop() {
        if all.insert(var) {
            next.extend(network.parents(var));
        }
    }
    all
}

/// Whether a craft with this symptom can do what the check takes.
fn is_possible(knowledge: &Knowledge, check: Ix<Check>, symptom: Ix<Symptom>) -> bool {
    let denied = |able: &[Ability]| able.iter().any(|able| knowledge.symptoms[symptom].denies.contains(able));
    let mut next: Vec<Ix<Access>> = knowledge.checks[check].access.clone();
    let mut opened = BTreeSet::new();
    while let Some(access) = next.pop() {
        if opened.insert(access) {
            next.extend(&knowledge.access[access].needs);
        }
    }
    !denied(&knowledge.checks[check].able) && !opened.iter().any(|access| denied(&knowledge.access[*access].able))
}

/// A check that has no answer yet, at sea level; bands of a comparison need no figure of the sheet.
fn open(knowledge: &Knowledge, model: &CaseModel, check: &CheckModel) -> OpenCheck {
    let item = &knowledge.checks[check.check.item];
    let conditions = Conditions { slip: knowledge.slip.get(), pressure_ratio: 1.0, sheet: None };
    let by_row: Vec<Vec<f64>> = item.rows.iter().map(|row| outcome_chances(item, &row.gives, &conditions)).collect();
    let used = check.rows.iter().position(Vec::is_empty).map_or(check.rows.len(), |last| last + 1);
    let outcomes = by_row.first().map_or(0, Vec::len);
    let chances = (0..outcomes).map(|outcome| by_row[..used].iter().map(|row| row[outcome]).collect()).collect();
    OpenCheck::Rows { slice: model.now, rows: check.rows[..used - 1].to_vec(), chances }
}
