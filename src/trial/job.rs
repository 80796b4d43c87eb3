//! One simulated job as it is worked: what is done, what it shows, what it costs.

use super::truth::Truth;
use crate::access::{AccessGraph, OpenSet};
use crate::case::{Answer, Case, Entry, Event, Position, Presence};
use crate::decision::cost::{self, Rate};
use crate::decision::{Action, complained_of, place_to_look, step_cost};
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Access, Cause, Check, Interlock, Ix, Repair, Symptom};
use crate::model::aired::is_aired;
use crate::model::compile::repair_reaches;
use crate::safety::{Before, Safety, Verdict, is_about_who, outcome_of};
use crate::units::{Minutes, Money};
use std::collections::BTreeSet;

/// How a job stands after a step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// It goes on.
    Open,
    /// The step may not be done; nothing was.
    Barred,
    /// The symptom is gone.
    Cured,
    /// Handed over.
    HandedOver,
}

/// How things stand at one moment: what is safe and what is open.
pub struct Now {
    /// How safe things are.
    pub safety: Safety,
    /// What is open.
    pub open: OpenSet,
}

/// A job and what was done on it.
#[derive(Clone)]
pub struct Job<'t, 'k> {
    /// The craft.
    pub laid: &'t Laid<'k>,
    /// Its disassembly.
    pub graph: &'t AccessGraph,
    /// What is true of it.
    pub truth: &'t Truth,
    /// What is known of it.
    pub case: Case,
    /// What it cost.
    pub money: Money,
    /// The time it took.
    pub minutes: Minutes,
    /// Checks made.
    pub checks: usize,
    /// Repairs done.
    pub repairs: usize,
    /// Whether the first repair cured it; `None` before it.
    pub first_time: Option<bool>,
    /// Money for parts of repairs that found nothing to repair.
    pub needless_parts: Money,
    /// Steps wished for that an interlock forbade, or held up until a hazard was closed.
    pub barred: usize,
    /// Times it was called cured and came back.
    pub comebacks: usize,
    /// What was done, a word each, with what it cost.
    pub steps: Vec<(String, f64)>,
    removed: BTreeSet<Instance<Cause>>,
    /// Whether a repair could not be tried so far.
    untried: bool,
    cured: bool,
}

/// A check that closes a hazard, the outcome that does, and the airing before it.
type Close = (Ix<Check>, usize, Minutes);

/// Checks that close a hazard are tried so often for one wish.
const TRIES_TO_CLOSE: usize = 4;
/// A check that has shown so often since the last repair that all is not well says nothing more. One that showed that all is
/// well is made again after whatever asks for it anew: a hull is smelled whenever fuel was opened.
const WORN_OUT: usize = 6;

impl<'t, 'k> Job<'t, 'k> {
    /// A job at intake.
    #[must_use]
    pub fn new(laid: &'t Laid<'k>, graph: &'t AccessGraph, truth: &'t Truth) -> Self {
        Self {
            laid,
            graph,
            truth,
            case: truth.case.clone(),
            money: Money::ZERO,
            minutes: Minutes::ZERO,
            checks: 0,
            repairs: 0,
            first_time: None,
            needless_parts: Money::ZERO,
            barred: 0,
            comebacks: 0,
            steps: Vec::new(),
            removed: BTreeSet::new(),
            untried: false,
            cured: false,
        }
    }

    /// What the user's time costs.
    #[must_use]
    pub fn rate(&self) -> Rate {
        Rate::of(self.laid, &self.case)
    }

    /// Whether a cause is there now.
    #[must_use]
    pub fn has(&self, cause: Instance<Cause>) -> bool {
        self.truth.has(cause) && !self.removed.contains(&cause)
    }

    /// How things stand.
    #[must_use]
    pub fn now(&self) -> Now {
        Now { safety: self.safety(), open: self.graph.open_now(self.laid, &self.case) }
    }

    fn safety(&self) -> Safety {
        Safety::of(self.laid, self.graph, &self.case)
    }

    /// What must be done before an action; `None` where it may not be done, or was done so often that it tells nothing.
    #[must_use]
    pub fn may(&self, now: &Now, action: &Action) -> Option<Before> {
        if let Action::Check(check) = action
            && self.times_in_vain(*check) >= WORN_OUT
        {
            return None;
        }
        match now.safety.judge(self.laid, self.graph, &self.case, &now.open, action) {
            Verdict::May(before) => Some(before),
            Verdict::Barred { .. } => None,
        }
    }

    /// How often a check was made at a place since the last repair.
    #[must_use]
    pub fn times_made(&self, wanted: Instance<Check>) -> usize {
        let log = &self.case.log;
        let since = log.iter().rposition(|e| matches!(e.event, Event::Repaired { .. })).map_or(0, |at| at + 1);
        log[since..].iter().filter(|entry| is_answer(&entry.event, wanted)).count()
    }

    /// How often since the last repair a check did not show at a place that all is well.
    fn times_in_vain(&self, wanted: Instance<Check>) -> usize {
        let outcomes = &self.laid.knowledge.checks[wanted.item].outcomes;
        let log = &self.case.log;
        let since = log.iter().rposition(|e| matches!(e.event, Event::Repaired { .. })).map_or(0, |at| at + 1);
        let in_vain = |entry: &&Entry| match entry.event {
            Event::Answer { answer, .. } if is_answer(&entry.event, wanted) => {
                !outcome_of(self.laid, &self.case, wanted.item, answer).is_some_and(|shown| outcomes[shown].pass)
            }
            _ => false,
        };
        log[since..].iter().filter(in_vain).count()
    }

    /// The interlocks that forbid to try what was complained of.
    #[must_use]
    pub fn locks(&self, safety: &Safety) -> Vec<Ix<Interlock>> {
        safety.locks(self.laid, self.graph, &complained_of(&self.case))
    }

    /// Whether an interlock forbids to try what was complained of.
    #[must_use]
    pub fn is_locked(&self) -> bool {
        !self.locks(&self.safety()).is_empty()
    }

    /// How often something happened so far: what tells its draws apart, so that the first time is the same for every
    /// policy.
    fn count(&self, of: impl Fn(&Event) -> bool) -> u64 {
        self.case.log.iter().filter(|entry| of(&entry.event)).count() as u64
    }

    /// Does what a policy wishes, after what must be done first: hazards closed, access put back, controls confirmed.
    /// `first` is what the policy itself says must be put back.
    pub fn act(&mut self, action: &Action, first: &Before) -> Standing {
        if *action == Action::HandOver {
            let rate = self.rate();
            self.pay("hand-over".to_owned(), Minutes::ZERO, rate.hand_over);
            if rate.wasted_trip > Money::ZERO && self.is_own() {
                self.pay("wasted-trip".to_owned(), Minutes::ZERO, rate.wasted_trip);
            }
            return Standing::HandedOver;
        }
        self.put_back(first);
        let ready = self.make_ready(action);
        if self.cured {
            return Standing::Cured;
        }
        match ready {
            Some(before) => self.prepare(&before),
            None => return Standing::Barred,
        }
        match action {
            Action::Check(check) => self.check(*check, self.airing(check.item)),
            Action::Repair(repair, places) => self.repair(*repair, places),
            Action::Try(_) => self.try_symptoms(),
            Action::HandOver => unreachable!("handed over above"),
        }
        if self.cured { Standing::Cured } else { Standing::Open }
    }

    /// Does a step as it is wished for, after what is put back and confirmed for it and nothing else; a check after so
    /// long an airing. Whether it may be done is the business of whoever calls.
    pub fn carry_out(&mut self, action: &Action, first: &Before, air: Minutes) -> Standing {
        self.prepare(first);
        match action {
            Action::Check(check) => self.check(*check, air),
            Action::Repair(repair, places) => self.repair(*repair, places),
            Action::Try(_) => self.try_symptoms(),
            Action::HandOver => return self.act(action, first),
        }
        if self.cured { Standing::Cured } else { Standing::Open }
    }

    /// Closes hazards that stand before an action; `None` where it is barred.
    fn make_ready(&mut self, action: &Action) -> Option<Before> {
        for _ in 0..TRIES_TO_CLOSE {
            let now = self.now();
            let itself = |ix: Ix<Check>| matches!(action, Action::Check(check) if check.item == ix);
            let at_hand = |close: &Close| !itself(close.0) && self.is_at_hand(&now, *close);
            let urgent = now.safety.urgent(self.laid, &self.case).find(at_hand);
            let wish = self.may(&now, action);
            let first = match (&wish, urgent) {
                (_, Some(close)) => close,
                (Some(before), None) => match before.close {
                    None => return wish,
                    Some(close) if at_hand(&close) => close,
                    Some(_) => break,
                },
                (None, None) => break,
            };
            self.barred += 1;
            self.put_back(&wish.unwrap_or_default());
            let asked = self.place_to_ask(first);
            let before = self.may(&self.now(), &Action::Check(asked))?;
            self.prepare(&before);
            self.check(asked, self.airing(asked.item));
            if self.cured {
                return None;
            }
        }
        self.barred += 1;
        None
    }

    /// Where a check is made next that closes a hazard.
    fn place_to_ask(&self, (check, outcome, _): Close) -> Instance<Check> {
        place_to_look(self.laid, &self.case, check, outcome)
    }

    /// Whether a check that closes a hazard may be made where it would be.
    fn is_at_hand(&self, now: &Now, close: Close) -> bool {
        self.may(now, &Action::Check(self.place_to_ask(close))).is_some()
    }

    /// Whether one of the repairs that are within the user's reach would cure it.
    fn is_own(&self) -> bool {
        let knowledge = self.laid.knowledge;
        let Now { safety, open } = self.now();
        let cures = |ix: Ix<Repair>| {
            let places: Vec<usize> = (0..self.laid.places(knowledge.repairs[ix].scope)).collect();
            let action = Action::Repair(ix, places.clone());
            let verdict = safety.judge(self.laid, self.graph, &self.case, &open, &action);
            // What an interlock holds up is theirs once it lets go, unless it says who may do what.
            let beyond = match verdict {
                Verdict::Barred { by: Some(ix), .. } => is_about_who(&knowledge.interlocks[ix]),
                Verdict::Barred { by: None, .. } => true,
                Verdict::May(_) => false,
            };
            if beyond {
                return false;
            }
            let mut removed = self.removed.clone();
            removed.extend(self.reached(ix, &places).into_iter().map(|(cause, _)| cause));
            let there = self.truth.symptoms(&removed);
            !self.truth.case.symptoms.iter().any(|symptom| there.contains(symptom))
        };
        knowledge.repairs.iter().any(|(ix, _)| cures(ix))
    }

    fn put_back(&mut self, before: &Before) {
        let open = self.graph.open_now(self.laid, &self.case);
        let shut = before.put_back.iter().filter(|access| open.has(**access));
        let shut = shut.map(|&access| Event::Access { access, now: Position::Shut }.into());
        self.case.log.extend(shut);
    }

    /// What is opened for a step, in the log: it may have said that it was shut.
    fn open_up(&mut self, access: &[Ix<Access>]) {
        let open = self.graph.open_now(self.laid, &self.case);
        let missing = self.graph.missing(&open, access);
        let counts = missing.into_iter().filter(|ix| self.laid.knowledge.access[*ix].open > Minutes::ZERO);
        let opened = counts.map(|access| Event::Access { access, now: Position::Open }.into());
        self.case.log.extend(opened.collect::<Vec<_>>());
    }

    fn prepare(&mut self, before: &Before) {
        self.put_back(before);
        self.case.log.extend(before.ticks.iter().map(|&tick| Event::Ticked(tick).into()));
    }

    fn pay(&mut self, what: String, minutes: Minutes, money: Money) {
        self.minutes += minutes;
        self.money += money;
        self.steps.push((what, money.get()));
    }

    fn check(&mut self, check: Instance<Check>, air: Minutes) {
        let action = Action::Check(check);
        let (mut minutes, mut money) = step_cost(self.laid, self.graph, &self.case, &action);
        let asked = self.airing(check.item);
        // Airing is waiting: half of it is lost.
        let waiting = cost::time(&self.rate(), Minutes::of(air.get() / 2.0));
        minutes += waiting.minutes;
        money += waiting.money;
        // Made again it is drawn again: a craft that was aired once more smells anew.
        let time = self.count(|event| is_answer(event, check));
        let aired = is_aired(self.laid, check.item, Some(check.at), &self.case.log);
        let answer = self.truth.answer(self.laid, check, &self.removed, (time, aired)).unwrap_or(Answer::CouldNot);
        let item = &self.laid.knowledge.checks[check.item];
        let shown = outcome_of(self.laid, &self.case, check.item, answer).map_or("", |o| item.outcomes[o].id.as_str());
        let label = self.laid.label(self.laid.knowledge.checks.id(check.item), item.scope, check.at);
        self.pay(format!("{label}={shown}"), minutes, money);
        self.open_up(&item.access);
        self.checks += 1;
        // Where it asks for airing and none is told of, the log would be read as if it had been aired.
        let aired_min = (asked.get() > 0.0).then_some(air.get());
        let event = Event::Answer { check: check.item, place: Some(check.at), answer, aired_min };
        self.case.log.push(event.into());
        if self.untried && !self.is_locked() && self.could_be_made_ready() {
            self.try_when_ready();
        }
    }

    /// Whether a trial is at hand, at once or after the check that it waits for. Where that was made too often nobody puts
    /// a craft together again after every look, only to find once more that it may not be tried.
    fn could_be_made_ready(&self) -> bool {
        let now = self.now();
        let urgent = now.safety.urgent(self.laid, &self.case).any(|close| self.is_at_hand(&now, close));
        match self.may(&now, &Action::Try(complained_of(&self.case))) {
            Some(before) => urgent || before.close.is_none_or(|close| self.is_at_hand(&now, close)),
            None => urgent,
        }
    }

    /// Minutes of airing that a check asks for where it closes an open hazard.
    #[must_use]
    pub fn airing(&self, check: Ix<Check>) -> Minutes {
        let closes = |hazard| {
            let hazard: &crate::knowledge::Hazard = &self.laid.knowledge.hazards[hazard];
            hazard.closed_by.iter().any(|closed| closed.answer.0 == check)
        };
        let open = self.safety().hazards;
        let airs = open.iter().filter(|h| closes(h.hazard)).map(|h| h.air);
        airs.fold(Minutes::ZERO, |most, air| if air > most { air } else { most })
    }

    fn repair(&mut self, ix: Ix<Repair>, places: &[usize]) {
        let knowledge = self.laid.knowledge;
        let repair = &knowledge.repairs[ix];
        let action = Action::Repair(ix, places.to_vec());
        let (minutes, money) = step_cost(self.laid, self.graph, &self.case, &action);
        let label = match places {
            [at] => self.laid.label(knowledge.repairs.id(ix), repair.scope, *at),
            _ => knowledge.repairs.id(ix).to_owned(),
        };
        self.pay(label, minutes, money);
        self.open_up(&repair.access);
        let met = self.reached(ix, places);
        if met.is_empty() {
            let parts: Money = repair.parts.iter().map(|p| p.each * p.count).sum();
            #[expect(clippy::cast_precision_loss, reason = "a handful of places")]
            let n = places.len() as f64;
            self.needless_parts += parts * n;
        }
        let time = self.count(|event| matches!(event, Event::Repaired { repair, .. } if *repair == ix));
        for (cause, sureness) in met {
            if self.truth.takes_away(ix.at(), cause, sureness, time) {
                self.removed.insert(cause);
            }
        }
        self.repairs += 1;
        self.case.log.push(Event::Repaired { repair: ix, places: places.to_vec() }.into());
        self.untried = self.is_locked();
        if !self.untried {
            self.try_when_ready();
        }
    }

    /// Tries what was complained of once it is put together and no hazard is open, or leaves it for later.
    fn try_when_ready(&mut self) {
        self.untried = false;
        match self.make_ready(&Action::Try(complained_of(&self.case))) {
            Some(before) => {
                self.prepare(&before);
                self.try_symptoms();
            }
            None => self.untried = true,
        }
    }

    /// The causes there now that a repair reaches, and how surely it removes each.
    fn reached(&self, ix: Ix<Repair>, places: &[usize]) -> Vec<(Instance<Cause>, f64)> {
        let knowledge = self.laid.knowledge;
        let mut reached = Vec::new();
        for (cause, sureness) in &knowledge.repairs[ix].removes {
            let scope = knowledge.causes[*cause].scope;
            for instance in self.laid.instances(*cause, scope) {
                if self.has(instance) && repair_reaches(self.laid, ix, places, scope, instance.at) {
                    reached.push((instance, sureness.get()));
                }
            }
        }
        reached
    }

    /// Tries what was complained of. What is called cured and is not comes back, at its price.
    fn try_symptoms(&mut self) {
        self.untried = false;
        let slip = self.laid.knowledge.slip.get();
        let there = self.truth.symptoms(&self.removed);
        let complaint = complained_of(&self.case);
        let time = self.count(|event| matches!(event, Event::Repaired { .. }));
        let told = |symptom: Ix<Symptom>| there.contains(&symptom) != self.truth.misread(symptom, slip, time);
        let left: Vec<Ix<Symptom>> = complaint.iter().copied().filter(|s| told(*s)).collect();
        for &symptom in &complaint {
            let now = if left.contains(&symptom) { Presence::Present } else { Presence::Absent };
            self.case.log.push(Event::Tried { symptom, now }.into());
        }
        let cured = left.is_empty() && !self.truth.case.symptoms.iter().any(|s| there.contains(s));
        self.first_time.get_or_insert(cured && self.repairs == 1);
        self.cured = cured;
        let again = self.rate().call_again;
        if !cured && again > Money::ZERO {
            self.pay("call-again".to_owned(), self.laid.knowledge.costs.call_again, again);
        }
        if left.is_empty() && !cured {
            let price = self.laid.knowledge.costs.comeback;
            self.pay("comeback".to_owned(), Minutes::ZERO, price);
            self.comebacks += 1;
            let back = self.truth.case.symptoms.iter().filter(|s| there.contains(s));
            let back: Vec<Ix<Symptom>> = back.copied().collect();
            let events = back.into_iter().map(|symptom| Event::Tried { symptom, now: Presence::Present }.into());
            self.case.log.extend(events);
        }
    }
}

fn is_answer(event: &Event, wanted: Instance<Check>) -> bool {
    matches!(event, Event::Answer { check, place, .. } if *check == wanted.item && *place == Some(wanted.at))
}
