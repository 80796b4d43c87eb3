//! What one closed job says: how likely each cause was when the craft came in, and how likely once all is known.

use super::record::Record;
use crate::case::{Answer, Case, Entry, Event, Presence};
use crate::inference::{Engine, Error, Event as Occurrence, Limits};
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Cause, Check, Ix};
use crate::model::aired::was_aired;
use crate::model::compile::{CaseModel, compile};
use crate::model::network::{Literal, Mechanism, Observation, VarIx};
use std::collections::{BTreeMap, BTreeSet};

/// The chance of every cause that the craft can have: that it was there, anywhere on the craft, when it came in.
pub type AtIntake = BTreeMap<Ix<Cause>, f64>;

/// A closed job as learning sees it.
#[derive(Clone, Debug)]
pub struct Job {
    /// What was known at intake: craft, history, complaint.
    pub asked: Case,
    /// All of it: the log, and the confirmed causes found before the first repair.
    pub whole: Case,
    /// All of it but what checks showed.
    pub without_answers: Case,
    /// The causes of the complaint that were confirmed.
    pub confirmed: BTreeSet<Ix<Cause>>,
    /// Causes that were found beside them: nobody would have noted that they are not there.
    pub beside: BTreeSet<Ix<Cause>>,
}

impl Job {
    /// A closed job from its record and the case in it; `None` where a confirmed cause is not one of this knowledge base
    /// and this craft.
    #[must_use]
    pub fn of(laid: &Laid<'_>, case: &Case, record: &Record) -> Option<Self> {
        let find = |labels: &[String]| -> Option<Vec<Instance<Cause>>> {
            let causes = &laid.knowledge.causes;
            let mut found = Vec::new();
            for label in labels {
                let (ix, places) = laid.parse(causes, |cause| cause.scope, label)?;
                found.extend(places.into_iter().map(|at| Instance::new(ix, at)));
            }
            Some(found)
        };
        let confirmed = find(&record.causes)?;
        let beside = find(&record.also_found)?;
        let whole = with_found(case, &confirmed);
        let silent = |entry: &&Entry| !matches!(entry.event, Event::Answer { .. });
        Some(Self {
            asked: Case { log: Vec::new(), ..case.clone() },
            without_answers: Case { log: whole.log.iter().filter(silent).cloned().collect(), ..case.clone() },
            whole,
            confirmed: confirmed.iter().map(|cause| cause.item).collect(),
            beside: beside.iter().map(|cause| cause.item).collect(),
        })
    }
}

/// The case with these causes found just before the first repair: a repair takes away what it finds.
fn with_found(case: &Case, confirmed: &[Instance<Cause>]) -> Case {
    let first = case.log.iter().position(|entry| matches!(entry.event, Event::Repaired { .. }));
    let (before, after) = case.log.split_at(first.unwrap_or(case.log.len()));
    let found = confirmed.iter().map(|&cause| Event::Found { cause, now: Presence::Present }.into());
    // What else the log says of these causes before the first repair, an early look that saw nothing, gives way.
    let kept = before.iter().filter(|entry| match &entry.event {
        Event::Found { cause, .. } => !confirmed.contains(cause),
        _ => true,
    });
    let log: Vec<Entry> = kept.cloned().chain(found).chain(after.iter().cloned()).collect();
    Case { log, ..case.clone() }
}

/// The chance of every cause at intake given all that a case says, also what it says later.
///
/// Cost: a posterior, and a pass for each eight causes that have several places.
///
/// # Errors
/// [`Error::Contradiction`] where the knowledge holds what the case says for impossible; otherwise as
/// [`Engine::posterior`].
pub fn at_intake(laid: &Laid<'_>, case: &Case, limits: &Limits) -> Result<AtIntake, Error> {
    let model = compile(laid, case);
    let engine = Engine::compile(&model.network)?;
    chances(&model, &engine, &model.evidence(), limits)
}

/// The chance of every cause in jobs like this one at intake, before anything was looked at, among those in which the
/// complaint is real and comes from something listed: no others are ever confirmed.
///
/// Leaks are what is not listed, so they are closed; the first symptom named is there. Without a symptom: the chances
/// before any complaint.
///
/// # Errors
/// As [`at_intake`]; [`Error::Contradiction`] where nothing listed brings the complaint about.
pub fn expected(laid: &Laid<'_>, asked: &Case, limits: &Limits) -> Result<AtIntake, Error> {
    let mut model = compile(laid, asked);
    let Some(first) = asked.symptoms.first() else {
        let engine = Engine::compile(&model.network)?;
        return chances(&model, &engine, &model.evidence(), limits);
    };
    for variable in &mut model.network.variables {
        if let Mechanism::Any { leak, .. } | Mechanism::All { leak, .. } | Mechanism::AtLeast { leak, .. } =
            &mut variable.mechanism
        {
            *leak = 0.0;
        }
    }
    let mut observed = model.evidence();
    observed.extend(model.symptom(*first).map(|var| model.network.found(var, 0, true)));
    let engine = Engine::compile(&model.network)?;
    chances(&model, &engine, &observed, limits)
}

fn chances(model: &CaseModel, engine: &Engine, observed: &[Observation], limits: &Limits) -> Result<AtIntake, Error> {
    let posterior = engine.posterior(observed, limits)?;
    let mut instances: BTreeMap<Ix<Cause>, Vec<VarIx>> = BTreeMap::new();
    for (cause, var) in &model.causes {
        instances.entry(cause.item).or_default().push(*var);
    }
    let several: Vec<(&Ix<Cause>, &Vec<VarIx>)> = instances.iter().filter(|(_, vars)| vars.len() > 1).collect();
    let mut chances: AtIntake = instances
        .iter()
        .filter(|(_, vars)| vars.len() == 1)
        .map(|(cause, vars)| (*cause, posterior.chance_on(vars[0], 0)))
        .collect();
    if !several.is_empty() {
        let open: Vec<VarIx> = several.iter().flat_map(|(_, vars)| vars.iter().copied()).collect();
        let prepared = engine.prepare_from(&posterior, observed, &open, limits)?;
        let nowhere: Vec<Occurrence> = several.iter().map(|(_, vars)| absent(model, vars)).collect();
        let absent = prepared.chances_of(&nowhere)?;
        chances.extend(several.iter().zip(absent).map(|((cause, _), none)| (**cause, (1.0 - none).clamp(0.0, 1.0))));
    }
    Ok(chances)
}

/// None of these was there at intake.
fn absent(model: &CaseModel, vars: &[VarIx]) -> Occurrence {
    vars.iter().fold(Occurrence::anything(), |event, &var| {
        let states = model.network.variable(var).states.count();
        event.and(var, (0..states).map(|state| !model.network.on_in(var, state).has(0)).collect())
    })
}

/// An answer to a check before the first repair, and the row that held where the rest of the job settles it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shown {
    /// The check.
    pub check: Ix<Check>,
    /// The position of the row that held.
    pub row: usize,
    /// The position of the outcome.
    pub outcome: usize,
}

/// A row is settled from this chance on: what is wrong with the others then is less than the slip of a careless hand.
pub const SETTLED: f64 = 0.9;
/// Worlds drawn to see which rows held; the error of a chance of one half is .02.
const WORLDS: usize = 512;
const SEED: u64 = 1;

/// What checks showed before the first repair, where the confirmed causes and the cure settle which row held. What checks
/// showed is not used to tell: no answer vouches for itself.
///
/// # Errors
/// As [`at_intake`].
pub fn shown(laid: &Laid<'_>, job: &Job, limits: &Limits) -> Result<Vec<Shown>, Error> {
    let answers = outcomes(laid, &job.whole);
    if answers.is_empty() {
        return Ok(Vec::new());
    }
    let model = compile(laid, &job.without_answers);
    let engine = Engine::compile(&model.network)?;
    let worlds = engine.worlds(&model.evidence(), WORLDS, SEED, limits)?;
    let mut shown = Vec::new();
    for (check, outcome) in answers {
        let Some(rows) = model.checks.iter().find(|known| known.check == check).map(|known| &known.rows) else {
            continue;
        };
        let mut left = [u64::MAX; WORLDS / 64];
        for (row, literals) in rows.iter().enumerate() {
            let holds = |at: usize| any_of(literals, |literal| worlds.on(literal.var, 0)[at]) & left[at];
            let held: Vec<u64> = (0..left.len()).map(holds).collect();
            let count: u32 = held.iter().map(|word| word.count_ones()).sum();
            #[expect(clippy::cast_precision_loss, reason = "a few hundred worlds")]
            if f64::from(count) / WORLDS as f64 >= SETTLED {
                shown.push(Shown { check: check.item, row, outcome });
            }
            left.iter_mut().zip(held).for_each(|(left, held)| *left &= !held);
        }
    }
    Ok(shown)
}

/// The worlds of one word in which any of these literals holds; all of them where there is none.
fn any_of(literals: &[Literal], on: impl Fn(&Literal) -> u64) -> u64 {
    if literals.is_empty() {
        return u64::MAX;
    }
    literals.iter().map(|literal| if literal.on { on(literal) } else { !on(literal) }).fold(0, |any, one| any | one)
}

/// The last outcome of each check instance before the first repair. Readings are not among them, nor is what was seen after
/// airing, for which a row has chances of its own that are not learned.
fn outcomes(laid: &Laid<'_>, case: &Case) -> BTreeMap<Instance<Check>, usize> {
    let mut outcomes = BTreeMap::new();
    for (position, entry) in case.log.iter().enumerate() {
        match &entry.event {
            Event::Repaired { .. } => break,
            Event::Answer { check, place: Some(at), answer: Answer::Outcome(outcome), .. }
                if !was_aired(laid, &case.log, position) =>
            {
                outcomes.insert(Instance::new(*check, *at), *outcome);
            }
            _ => {}
        }
    }
    outcomes
}
