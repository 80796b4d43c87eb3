//! From a craft laid out, its history and what was done, to a network and the observations on it.

use super::aired::was_aired;
use super::build::Builder;
use super::epochs::Epochs;
use super::network::{Literal, Network, Observation, Row, States, VarIx};
use super::prior::prior;
use super::reading::{Conditions, likelihood};
use crate::calc;
use crate::case::{Answer, Case, Event, Presence};
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{
    Cause, Check, CheckRow, Clause, Effect, Gate, GateKind, Input, Ix, Reading, Reads, Repair, Scope, State, Symptom,
};
use std::collections::BTreeMap;

/// A case as a network: what each variable stands for, and what has been observed.
#[derive(Clone, Debug)]
pub struct CaseModel {
    /// The network.
    pub network: Network,
    /// Every cause instance that the craft can have, in the order of the knowledge base.
    pub causes: Vec<(Instance<Cause>, VarIx)>,
    /// Every effect instance, in the order of the knowledge base.
    pub effects: Vec<(Instance<Effect>, VarIx)>,
    /// Every symptom of this craft.
    pub symptoms: Vec<(Ix<Symptom>, VarIx)>,
    /// Every check instance of this craft and its rows.
    pub checks: Vec<CheckModel>,
    /// What has been observed, and what said so.
    pub observations: Vec<(Said, Observation)>,
    /// The slice that is now: after the last repair.
    pub now: usize,
    /// For each entry of the log, the slice it speaks of.
    pub slice_of: Vec<usize>,
    /// Answers that are left out, because they speak of the craft before more repairs than a network spans.
    pub forgotten: usize,
}

/// Who said an observation.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Said {
    /// The customer, at intake.
    Customer(Ix<Symptom>),
    /// An entry of the log, by position.
    Entry(usize),
}

/// A check instance: its rows over the network, first-true-first; the last has no literals and always holds.
#[derive(Clone, Debug)]
pub struct CheckModel {
    /// The check and its place.
    pub check: Instance<Check>,
    /// For each row, any of these literals (one, after conjunctions are made variables).
    pub rows: Vec<Vec<Literal>>,
}

impl CaseModel {
    /// The variable of a cause instance.
    #[must_use]
    pub fn cause(&self, instance: Instance<Cause>) -> Option<VarIx> {
        self.causes.iter().find(|(i, _)| *i == instance).map(|(_, v)| *v)
    }

    /// The variable of a symptom.
    #[must_use]
    pub fn symptom(&self, ix: Ix<Symptom>) -> Option<VarIx> {
        self.symptoms.iter().find(|(s, _)| *s == ix).map(|(_, v)| *v)
    }

    /// The observations alone, as inference takes them.
    #[must_use]
    pub fn evidence(&self) -> Vec<Observation> {
        self.observations.iter().map(|(_, o)| o.clone()).collect()
    }
}

/// Compiles a case.
#[must_use]
pub fn compile(laid: &Laid<'_>, case: &Case) -> CaseModel {
    let epochs = Epochs::of(laid, case);
    let mut compiler = Compiler { laid, case, builder: Builder::new(epochs.count), states: BTreeMap::new(), epochs };
    let causes = compiler.add_causes();
    let effects = compiler.add_effects();
    let symptoms = compiler.add_symptoms();
    let checks = compiler.add_checks();
    let mut observations = compiler.complaints(&symptoms);
    observations.extend(compiler.log_observations(&symptoms, &checks));
    CaseModel {
        network: compiler.builder.finish(),
        causes,
        effects,
        symptoms,
        checks,
        observations,
        now: compiler.epochs.count - 1,
        slice_of: compiler.epochs.slice_of,
        forgotten: compiler.epochs.forgotten,
    }
}

/// What the case's conditions are for a check.
#[must_use]
pub fn conditions(laid: &Laid<'_>, case: &Case, check: &Check) -> Conditions {
    let sheet = check.reading.as_ref().and_then(|reading| figure(reading, case));
    Conditions { slip: laid.knowledge.slip.get(), pressure_ratio: calc::pressure_ratio(case.altitude_m), sheet }
}

/// The figure of the build sheet that a reading counts against, in the unit of the reading; a percentage of a figure is a
/// reading in the figure's own unit.
#[must_use]
pub fn figure(reading: &Reading, case: &Case) -> Option<f64> {
    let (key, _) = reading.relative.as_ref()?;
    let figure = case.sheet.get(key)?;
    Some(figure.get(reading.unit).unwrap_or(figure.value))
}

/// The chance of a gate's leak at one of its places.
///
/// What is not listed is no likelier on three cylinders than on two, as a cause is not: its rate says how often it is
/// found at all, wherever it sits ([`prior`]). A knowledge base judges its leaks on the usual layout, so with n places
/// here and fewer, u, there each has 1-(1-l)^(u/n), that together they give what all had there.
#[must_use]
pub fn leak(laid: &Laid<'_>, gate: &Gate, scope: Scope) -> f64 {
    let leak = gate.leak.get();
    let (usual, here) = (laid.usual_places(scope), laid.places(scope));
    if usual >= here {
        return leak;
    }
    #[expect(clippy::cast_precision_loss, reason = "a handful of places")]
    let share = usual as f64 / here as f64;
    -libm::expm1(share * libm::log1p(-leak))
}

struct Compiler<'a, 'k> {
    laid: &'a Laid<'k>,
    case: &'a Case,
    builder: Builder,
    states: BTreeMap<(State, usize), VarIx>,
    epochs: Epochs,
}

impl Compiler<'_, '_> {
    fn add_causes(&mut self) -> Vec<(Instance<Cause>, VarIx)> {
        let knowledge = self.laid.knowledge;
        let mut causes = Vec::new();
        for (ix, cause) in knowledge.causes.iter() {
            let prior = prior(self.laid, self.case, ix);
            if prior.common == 0.0 && prior.own.iter().all(|p| *p == 0.0) {
                continue;
            }
            let id = knowledge.causes.id(ix);
            let common = (prior.common > 0.0).then(|| self.builder.add_root(format!("{id}@all"), prior.common));
            for (at, own) in prior.own.iter().enumerate() {
                let label = self.laid.label(id, cause.scope, at);
                let cures = self.cures(Instance::new(ix, at));
                let var = self.builder.add_fault(label, common, *own, &cures);
                self.states.insert((State::Cause(ix), at), var);
                causes.push((Instance::new(ix, at), var));
            }
        }
        causes
    }

    /// For each slice but the first, how surely the repairs that opened it remove this cause.
    fn cures(&self, instance: Instance<Cause>) -> Vec<f64> {
        let knowledge = self.laid.knowledge;
        let scope = knowledge.causes[instance.item].scope;
        self.epochs.opened_by[1..]
            .iter()
            .map(|done| {
                let missed: f64 = done
                    .iter()
                    .filter(|(repair, places)| repair_reaches(self.laid, *repair, places, scope, instance.at))
                    .flat_map(|(repair, _)| &knowledge.repairs[*repair].removes)
                    .filter(|(cause, _)| *cause == instance.item)
                    .map(|(_, sureness)| 1.0 - sureness.get())
                    .product();
                1.0 - missed
            })
            .collect()
    }

    fn add_effects(&mut self) -> Vec<(Instance<Effect>, VarIx)> {
        let knowledge = self.laid.knowledge;
        let mut effects = Vec::new();
        for &ix in &knowledge.effect_order {
            let effect = &knowledge.effects[ix];
            if !self.laid.fits(&effect.fitted) {
                continue;
            }
            for at in 0..self.laid.places(effect.scope) {
                let label = self.laid.label(knowledge.effects.id(ix), effect.scope, at);
                let var = self.add_gate(label, &effect.gate, effect.scope, at);
                self.states.insert((State::Effect(ix), at), var);
                effects.push((Instance::new(ix, at), var));
            }
        }
        effects.sort();
        effects
    }

    fn add_symptoms(&mut self) -> Vec<(Ix<Symptom>, VarIx)> {
        let knowledge = self.laid.knowledge;
        let mut symptoms = Vec::new();
        for (ix, symptom) in knowledge.symptoms.iter() {
            if self.laid.fits(&symptom.fitted) {
                let label = knowledge.symptoms.id(ix).to_owned();
                symptoms.push((ix, self.add_gate(label, &symptom.gate, Scope::Craft, 0)));
            }
        }
        symptoms
    }

    fn add_gate(&mut self, label: String, gate: &Gate, scope: Scope, at: usize) -> VarIx {
        let mut links = Vec::new();
        let is_here = |input: &&Input| {
            self.laid.fits(&input.fitted) && input.at.is_none_or(|end| end.is(at, self.laid.places(scope)))
        };
        for input in gate.inputs.iter().filter(is_here) {
            let read = self.input(input, scope, at);
            // What this craft cannot have never gets through; a gate that asks for all of its inputs must know.
            let from = if gate.kind == GateKind::Any { read } else { read.or_else(|| Some(self.builder.never())) };
            links.extend(from.map(|var| (var, input.strength.get())));
        }
        let leak = leak(self.laid, gate, scope);
        self.builder.add_gate(label, gate.kind, links, leak)
    }

    /// The variable an input reads; `None` where this craft cannot have it.
    fn input(&mut self, input: &Input, scope: Scope, at: usize) -> Option<VarIx> {
        match &input.reads {
            Reads::One(state) => {
                let bearing = self.bearing(*state, scope, at);
                self.builder.any_on(&bearing)
            }
            Reads::Every(state) => self.counted(*state, scope, at, |n| (n, n)),
            Reads::SomeNotAll(state) => self.counted(*state, scope, at, |n| (1, n.saturating_sub(1))),
            Reads::Exactly(k, state) => self.counted(*state, scope, at, |_| (*k, *k)),
            Reads::Together(states) => {
                let all: Option<Vec<VarIx>> = states
                    .iter()
                    .map(|state| {
                        let bearing = self.bearing(*state, scope, at);
                        self.builder.any_on(&bearing)
                    })
                    .collect();
                let all = all?;
                let n = all.len();
                self.builder.counted(&all, n, n)
            }
        }
    }

    fn counted(
        &mut self,
        state: State,
        scope: Scope,
        at: usize,
        bounds: impl Fn(usize) -> (usize, usize),
    ) -> Option<VarIx> {
        let of = self.bearing(state, scope, at);
        let places = self.laid.places(self.scope(state));
        let (least, most) = bounds(if scope == Scope::Craft { places } else { of.len() });
        self.builder.counted(&of, least, most)
    }

    fn scope(&self, state: State) -> Scope {
        match state {
            State::Cause(ix) => self.laid.knowledge.causes[ix].scope,
            State::Effect(ix) => self.laid.knowledge.effects[ix].scope,
        }
    }

    /// The instances of a state that bear on a place, as variables.
    fn bearing(&self, state: State, scope: Scope, at: usize) -> Vec<VarIx> {
        let places = self.laid.bearing(self.scope(state), scope, at);
        places.into_iter().filter_map(|place| self.states.get(&(state, place)).copied()).collect()
    }

    fn add_checks(&mut self) -> Vec<CheckModel> {
        let knowledge = self.laid.knowledge;
        let mut checks = Vec::new();
        for (ix, check) in knowledge.checks.iter() {
            if !self.laid.fits(&check.fitted) {
                continue;
            }
            for at in 0..self.laid.places(check.scope) {
                let rows = self.rows(check, Some(at));
                checks.push(CheckModel { check: Instance::new(ix, at), rows });
            }
        }
        checks
    }

    /// A check's rows at a place, or read on any place.
    fn rows(&mut self, check: &Check, at: Option<usize>) -> Vec<Vec<Literal>> {
        check.rows.iter().map(|row| self.row(&row.when, check.scope, at)).collect()
    }

    fn row(&mut self, when: &[Clause], scope: Scope, at: Option<usize>) -> Vec<Literal> {
        let mut clauses: Vec<Vec<Literal>> = when.iter().map(|clause| self.clause(clause, scope, at)).collect();
        if clauses.len() == 1 {
            return clauses.remove(0);
        }
        let parts: Vec<VarIx> = clauses.iter().map(|literals| self.builder.any_literal(literals)).collect();
        if parts.is_empty() {
            return Vec::new();
        }
        let n = parts.len();
        let both = self.builder.counted(&parts, n, n).expect("a conjunction of known variables");
        vec![Literal { var: both, on: true }]
    }

    fn clause(&mut self, clause: &Clause, scope: Scope, at: Option<usize>) -> Vec<Literal> {
        let mut literals = Vec::new();
        for &(state, on) in &clause.0 {
            let vars = match at {
                Some(at) => self.bearing(state, scope, at),
                None => self.bearing(state, Scope::Craft, 0),
            };
            if on || vars.len() == 1 {
                literals.extend(vars.into_iter().map(|var| Literal { var, on }));
            } else if let Some(any) = self.builder.any_on(&vars) {
                literals.push(Literal { var: any, on });
            } else {
                // What this craft cannot have is never there.
                literals.push(Literal { var: self.builder.never(), on });
            }
        }
        if literals.is_empty() {
            // Nothing on this craft can make it hold.
            literals.push(Literal { var: self.builder.never(), on: true });
        }
        literals
    }

    /// What the customer named, and what that says of what was not named.
    fn complaints(&self, symptoms: &[(Ix<Symptom>, VarIx)]) -> Vec<(Said, Observation)> {
        let knowledge = self.laid.knowledge;
        let named = &self.case.symptoms;
        let among = |pick: fn(&Symptom) -> &Vec<Ix<Symptom>>, ix| {
            named.iter().any(|n| pick(&knowledge.symptoms[*n]).contains(&ix))
        };
        let mut said = Vec::new();
        for &(ix, var) in symptoms {
            let symptom = &knowledge.symptoms[ix];
            let (present, absent) = if named.contains(&ix) {
                (symptom.named_present.get(), symptom.named_absent.get())
            } else if among(|s| &s.rules_out, ix) {
                (0.0, 1.0)
            } else if named.is_empty() || among(|s| &s.hides, ix) {
                continue;
            } else {
                (1.0 - symptom.named_present.get(), 1.0 - symptom.named_absent.get())
            };
            said.push((Said::Customer(ix), self.seen(var, 0, present, absent)));
        }
        said
    }

    /// "Seen in this slice", with the chance of the sight where it is on and where it is off.
    fn seen(&self, var: VarIx, slice: usize, on: f64, off: f64) -> Observation {
        let States::OnIn(sets) = self.builder.states(var) else {
            unreachable!("causes, effects and symptoms are on or off")
        };
        Observation::State { var, likelihood: sets.iter().map(|s| if s.has(slice) { on } else { off }).collect() }
    }

    fn log_observations(
        &mut self,
        symptoms: &[(Ix<Symptom>, VarIx)],
        checks: &[CheckModel],
    ) -> Vec<(Said, Observation)> {
        let slip = self.laid.knowledge.slip.get();
        let mut observations = Vec::new();
        for (at, entry) in self.case.log.iter().enumerate() {
            let slice = self.epochs.slice_of[at];
            if slice == usize::MAX {
                continue;
            }
            let observation = match &entry.event {
                Event::Answer { check, place, answer, .. } if self.epochs.counts.contains(&at) => {
                    self.answer(at, (*check, *place), *answer, slice, checks)
                }
                Event::Tried { symptom, now } => symptoms.iter().find(|(ix, _)| ix == symptom).map(|(_, var)| {
                    let present = if *now == Presence::Present { 1.0 - slip } else { slip };
                    self.seen(*var, slice, present, 1.0 - present)
                }),
                Event::Found { cause, now } => self.states.get(&(State::Cause(cause.item), cause.at)).map(|var| {
                    let on = f64::from(u8::from(*now == Presence::Present));
                    self.seen(*var, slice, on, 1.0 - on)
                }),
                _ => None,
            };
            observations.extend(observation.map(|o| (Said::Entry(at), o)));
        }
        observations
    }

    fn answer(
        &mut self,
        at: usize,
        (ix, place): (Ix<Check>, Option<usize>),
        answer: Answer,
        slice: usize,
        checks: &[CheckModel],
    ) -> Option<Observation> {
        let check = &self.laid.knowledge.checks[ix];
        let literals = match place {
            Some(place) => checks.iter().find(|c| c.check == Instance::new(ix, place))?.rows.clone(),
            None => self.rows(check, None),
        };
        let aired = was_aired(self.laid, &self.case.log, at);
        let conditions = conditions(self.laid, self.case, check);
        if check.reading.as_ref().is_some_and(|r| r.relative.is_some())
            && conditions.sheet.is_none()
            && matches!(answer, Answer::Reading(_))
        {
            return None;
        }
        let weigh = |row: &CheckRow| likelihood(check, row.gives(aired), answer, &conditions);
        Some(observation(check, &literals, slice, weigh))
    }
}

/// An observation of a check: each row's literals with what `weigh` makes of the row.
#[must_use]
pub fn observation(
    check: &Check,
    literals: &[Vec<Literal>],
    slice: usize,
    weigh: impl Fn(&CheckRow) -> f64,
) -> Observation {
    let mut rows = Vec::new();
    for (row, any_of) in check.rows.iter().zip(literals) {
        let weight = weigh(row);
        if any_of.is_empty() {
            return Observation::Rows { slice, rows, otherwise: weight };
        }
        rows.push(Row { any_of: any_of.clone(), likelihood: weight });
    }
    unreachable!("the last row of a checked knowledge base always holds")
}

/// Whether a repair done at these places reaches a cause at a place.
#[must_use]
pub fn repair_reaches(laid: &Laid<'_>, repair: Ix<Repair>, places: &[usize], scope: Scope, at: usize) -> bool {
    let repair_scope = laid.knowledge.repairs[repair].scope;
    laid.bearing(repair_scope, scope, at).iter().any(|place| places.contains(place))
}
