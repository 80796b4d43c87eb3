//! What could be done next, for policies other than the advice: what may be done, what it costs, what it would cure and
//! what it would tell. Belief is that of the library; the choice made from it is the policy's own.

use super::job::Job;
use crate::belief::{Belief, Memory, believe_unjudged};
use crate::case::Event;
use crate::decision::simulate::{Bits, Simulator, both, draws, words};
use crate::decision::{Action, complained_of, cost, worked_on};
use crate::inference::{Error, Limits, Worlds};
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Cause, Check, Condition, Ix, Repair};
use crate::model::aired::next_by_row;
use crate::model::compile::{CheckModel, compile, conditions, repair_reaches};
use crate::model::network::VarIx;
use crate::safety::outcome_of;
use std::collections::BTreeSet;

/// Something that could be done and its price.
#[derive(Clone, Debug)]
pub struct Offer {
    /// What.
    pub action: Action,
    /// What the step costs as things stand, access included.
    pub price: f64,
}

/// Everything that could be done, whether it bears on the complaint or not.
#[must_use]
pub fn at_hand(job: &Job<'_, '_>) -> Vec<Offer> {
    let now = job.now();
    let rate = job.rate();
    let actions = repairs(job.laid).into_iter().chain(checks(job));
    actions
        .filter(|action| job.may(&now, action).is_some())
        .map(|action| {
            let price = cost::price(job.laid, job.graph, &rate, &now.open, &action).money.get();
            Offer { action, price: price.max(0.01) }
        })
        .collect()
}

/// Every repair of this craft that removes something, everywhere and at each place.
fn repairs(laid: &Laid<'_>) -> Vec<Action> {
    let mut actions = Vec::new();
    for (ix, repair) in laid.knowledge.repairs.iter() {
        if repair.service || repair.removes.is_empty() || !laid.fits(&repair.fitted) {
            continue;
        }
        let places = laid.places(repair.scope);
        actions.push(Action::Repair(ix, (0..places).collect()));
        if places > 1 && !repair.together {
            actions.extend((0..places).map(|at| Action::Repair(ix, vec![at])));
        }
    }
    actions
}

/// Every check of this craft that was not made since the last repair, is called for, and is not spoiled.
fn checks<'j>(job: &'j Job<'_, '_>) -> impl Iterator<Item = Action> + 'j {
    let knowledge = job.laid.knowledge;
    let since = job.case.log.iter().rposition(|e| matches!(e.event, Event::Repaired { .. })).map_or(0, |at| at + 1);
    let recent = &job.case.log[since..];
    let made = |check: Ix<Check>, place: usize| {
        recent.iter().any(|entry| {
            matches!(&entry.event, Event::Answer { check: c, place: p, .. } if *c == check && p.is_none_or(|p| p == place))
        })
    };
    let called_for = |check: &Check| {
        check.after.is_empty()
            || job.case.log.iter().any(|entry| match &entry.event {
                Event::Answer { check: done, answer, .. } => check.after.iter().any(|(wanted, outcomes)| {
                    wanted == done
                        && outcome_of(job.laid, &job.case, *done, *answer).is_some_and(|o| outcomes.contains(&o))
                }),
                _ => false,
            })
    };
    let spoiled = |check: Ix<Check>| {
        recent.iter().any(|entry| {
            matches!(&entry.event, Event::Answer { check: c, answer, .. }
                if answer.informs() && knowledge.checks[*c].spoils.contains(&check))
        })
    };
    let mut actions = Vec::new();
    for (ix, check) in knowledge.checks.iter() {
        let no_sheet = check.reading.as_ref().is_some_and(|r| r.relative.is_some())
            && conditions(job.laid, &job.case, check).sheet.is_none();
        if !job.laid.fits(&check.fitted) || no_sheet || !called_for(check) || spoiled(ix) {
            continue;
        }
        let open = (0..job.laid.places(check.scope)).filter(|at| !made(ix, *at));
        actions.extend(open.map(|at| Action::Check(Instance::new(ix, at))));
    }
    actions.into_iter()
}

/// A check at hand that may release an interlock which forbids to try repairs: an experienced hand makes it first,
/// whatever else it would do. All that the interlock waits for is made again after each repair.
#[must_use]
pub fn release(job: &Job<'_, '_>) -> Option<Action> {
    let now = job.now();
    let knowledge = job.laid.knowledge;
    let held = *job.locks(&now.safety).first()?;
    let mut waits_for = Vec::new();
    named(knowledge.interlocks[held].until.as_ref()?, &mut waits_for);
    let mut places = waits_for.into_iter().flat_map(|ix| job.laid.instances(ix, knowledge.checks[ix].scope));
    let open = |check: &Instance<Check>| job.times_made(*check) == 0 && job.may(&now, &Action::Check(*check)).is_some();
    places.find(open).map(Action::Check)
}

/// The checks that a condition names.
fn named(condition: &Condition, checks: &mut Vec<Ix<Check>>) {
    match condition {
        Condition::Answered(check, _) | Condition::AnsweredEvery(check, _) => checks.push(*check),
        Condition::Any(parts) | Condition::All(parts) => parts.iter().for_each(|part| named(part, checks)),
        _ => {}
    }
}

/// The repairs among offers that remove something from which a path leads to the complaint.
pub fn bearing<'o>(job: &Job<'_, '_>, offers: &'o [Offer]) -> impl Iterator<Item = &'o Offer> + use<'o> {
    let model = compile(job.laid, &job.case);
    let mut above: BTreeSet<VarIx> = BTreeSet::new();
    let mut open: Vec<VarIx> = complained_of(&job.case).iter().filter_map(|s| model.symptom(*s)).collect();
    while let Some(var) = open.pop() {
        if above.insert(var) {
            open.extend(model.network.parents(var));
        }
    }
    let causes: BTreeSet<Ix<Cause>> =
        model.causes.iter().filter(|(_, var)| above.contains(var)).map(|(cause, _)| cause.item).collect();
    let removes: Vec<bool> = offers
        .iter()
        .map(|offer| match &offer.action {
            Action::Repair(ix, _) => {
                job.laid.knowledge.repairs[*ix].removes.iter().any(|(cause, _)| causes.contains(cause))
            }
            _ => false,
        })
        .collect();
    offers.iter().zip(removes).filter(|(_, removes)| *removes).map(|(offer, _)| offer)
}

/// What is believed of a job, and what could be done about it.
pub struct Outlook {
    /// The belief.
    pub belief: Belief,
    /// Repairs, each with the chance that the complaint goes with it.
    pub repairs: Vec<(Offer, f64)>,
    /// Checks, each with the bits it tells of all causes that bear on the complaint, summed over them.
    pub checks: Vec<(Offer, f64)>,
}

/// Whether what checks would tell is worked out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Checks {
    /// It is.
    Weighed,
    /// Only repairs are looked at.
    LeftOut,
}

/// Worlds that the other policies look at: a chance is right to within .016.
const WORLDS: usize = 1024;

impl Outlook {
    /// Looks at a job.
    ///
    /// # Errors
    /// Where the network is too wide for the limits.
    pub fn of(job: &Job<'_, '_>, limits: &Limits, checks: Checks, memory: &mut Memory) -> Result<Self, Error> {
        let belief = believe_unjudged(job.laid, &job.case, limits, memory)?;
        let worlds = belief.worlds(WORLDS, job.truth.seed(), limits)?.into_owned();
        let symptoms: Vec<VarIx> = worked_on(&job.case).iter().filter_map(|s| belief.model.symptom(*s)).collect();
        let simulator = Simulator::new(&belief.model, &worlds, &symptoms, job.truth.seed());
        let mut outlook = Self { repairs: Vec::new(), checks: Vec::new(), belief };
        let bearing: Vec<VarIx> = outlook
            .belief
            .model
            .causes
            .iter()
            .filter(|(cause, _)| simulator.matters(cause))
            .map(|(_, var)| *var)
            .collect();
        for offer in at_hand(job) {
            match &offer.action {
                Action::Repair(ix, places) => {
                    let cures = cure_chance(job, &outlook.belief, &simulator, *ix, places);
                    if cures > 0.0 {
                        outlook.repairs.push((offer, cures));
                    }
                }
                Action::Check(instance) if checks == Checks::Weighed => {
                    let model = outlook.belief.model.checks.iter().find(|model| model.check == *instance);
                    if let Some(model) = model {
                        let bits = told(job, &outlook.belief, &worlds, model, &bearing);
                        outlook.checks.push((offer, bits));
                    }
                }
                _ => {}
            }
        }
        Ok(outlook)
    }
}

/// The chance that the complaint goes with a repair.
fn cure_chance(job: &Job<'_, '_>, belief: &Belief, simulator: &Simulator<'_>, ix: Ix<Repair>, places: &[usize]) -> f64 {
    let knowledge = job.laid.knowledge;
    let removes = &knowledge.repairs[ix].removes;
    let mut cleared: Vec<(Instance<Cause>, Bits)> = Vec::new();
    for (cause, _) in &belief.model.causes {
        let Some((_, sureness)) = removes.iter().find(|(c, _)| *c == cause.item) else { continue };
        let scope = knowledge.causes[cause.item].scope;
        if simulator.matters(cause) && repair_reaches(job.laid, ix, places, scope, cause.at) {
            let stream = (ix.at() as u64) << 20 | (cause.item.at() as u64) << 4 | cause.at as u64;
            cleared.push((*cause, draws(WORLDS, sureness.get(), job.truth.seed(), stream)));
        }
    }
    if cleared.is_empty() {
        return 0.0;
    }
    let gone: u32 = simulator.gone_without(&cleared).iter().map(|word| word.count_ones()).sum();
    #[expect(clippy::cast_precision_loss, reason = "a thousand worlds")]
    let n = WORLDS as f64;
    f64::from(gone) / n
}

/// The mutual information of a check's outcome and each of these causes, in bits, summed.
fn told(job: &Job<'_, '_>, belief: &Belief, worlds: &Worlds, model: &CheckModel, causes: &[VarIx]) -> f64 {
    let check = &job.laid.knowledge.checks[model.check.item];
    let by_row = next_by_row(job.laid, &job.case, model.check);
    let now = belief.model.now;
    let rows = row_worlds(worlds, model, now);
    #[expect(clippy::cast_precision_loss, reason = "a thousand worlds")]
    let n = WORLDS as f64;
    let shares: Vec<f64> = rows.iter().map(|row| f64::from(both(row, row)) / n).collect();
    if shares.iter().filter(|share| **share > 0.0).count() < 2 {
        return 0.0;
    }
    let outcomes: Vec<f64> = mixed(&by_row, &shares, check.outcomes.len());
    let of_one = |var: &VarIx| {
        let on: Vec<f64> = rows.iter().map(|row| f64::from(both(row, worlds.on(*var, now))) / n).collect();
        let chance: f64 = on.iter().sum();
        let with = mixed(&by_row, &on, check.outcomes.len());
        let bits = |joint: f64, a: f64, b: f64| if joint > 0.0 { joint * libm::log2(joint / (a * b)) } else { 0.0 };
        outcomes
            .iter()
            .zip(with)
            .map(|(all, with)| bits(with, *all, chance) + bits((all - with).max(0.0), *all, 1.0 - chance))
            .sum::<f64>()
    };
    causes.iter().map(of_one).sum()
}

/// The chance of each outcome where rows have these shares.
fn mixed(by_row: &[Vec<f64>], shares: &[f64], outcomes: usize) -> Vec<f64> {
    (0..outcomes).map(|o| by_row.iter().zip(shares).map(|(row, share)| share * row[o]).sum()).collect()
}

/// For each row of a check the worlds in which it is the first that holds.
fn row_worlds(worlds: &Worlds, model: &CheckModel, now: usize) -> Vec<Bits> {
    let mut left = vec![u64::MAX; words(WORLDS)];
    model
        .rows
        .iter()
        .map(|literals| {
            let mut holds = if literals.is_empty() { left.clone() } else { vec![0; left.len()] };
            for literal in literals {
                for (word, state) in holds.iter_mut().zip(worlds.on(literal.var, now)) {
                    *word |= if literal.on { *state } else { !state };
                }
            }
            for (word, rest) in holds.iter_mut().zip(&mut left) {
                *word &= *rest;
                *rest &= !*word;
            }
            holds
        })
        .collect()
}
