//! What is to be believed of a small case, by going through every world: which roots are there, which links get
//! through, which leaks are active, which repairs took. It reads the knowledge base and the log alone, and shares no
//! code with the compiled network.

use doldrum::case::{Answer, Case, Event, Presence};
use doldrum::knowledge::layout::{Craft, Instance, Laid};
use doldrum::knowledge::{
    Cause, Check, Clause, Effect, Gate, GateKind, Gives, Ix, Reads, Repair, Scope, State, Symptom,
};
use std::collections::BTreeMap;

/// Worlds beyond two to this many are refused.
const DRAWS_MAX: usize = 16;

/// What the worlds come to.
pub struct Worlds {
    /// The natural logarithm of the chance of all that was said; negative infinity where it cannot be.
    pub log_evidence: f64,
    /// The chance of each cause, effect and symptom at the end of the log.
    pub causes: BTreeMap<Instance<Cause>, f64>,
    pub effects: BTreeMap<Instance<Effect>, f64>,
    pub symptoms: BTreeMap<Ix<Symptom>, f64>,
}

/// A gate: an effect or a symptom, by position.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Of {
    Effect(usize),
    Symptom(usize),
}

/// Something drawn once in a world.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Draw {
    Everywhere(usize),
    Here(usize, usize),
    Link(Of, usize, usize),
    Leak(Of, usize),
    /// Whether a repair (at this position of the log) takes on a cause.
    Takes(usize, usize, usize),
}

/// A fault or an effect at each of its places.
type Bits = Vec<Vec<bool>>;

/// One moment of one world.
struct Moment {
    faults: Bits,
    effects: Bits,
    symptoms: Vec<bool>,
}

struct Oracle<'a, 'k> {
    laid: &'a Laid<'k>,
    case: &'a Case,
    /// Each draw: its chance, and its bit where the chance is neither 0 nor 1.
    draws: BTreeMap<Draw, (f64, usize)>,
    free: Vec<f64>,
}

/// Goes through all worlds of a case without history; `None` where there are too many.
pub fn worlds(laid: &Laid<'_>, case: &Case) -> Option<Worlds> {
    let mut oracle = Oracle { laid, case, draws: BTreeMap::new(), free: Vec::new() };
    oracle.list();
    (oracle.free.len() <= DRAWS_MAX).then(|| oracle.sum())
}

impl Oracle<'_, '_> {
    fn list(&mut self) {
        let knowledge = self.laid.knowledge;
        for (ix, cause) in knowledge.causes.iter() {
            let (p, common, places) = (cause.chance.get(), cause.common.get(), self.laid.places(cause.scope));
            let common = if places == 1 { 0.0 } else { common };
            self.add(Draw::Everywhere(ix.at()), 1.0 - (1.0 - p).powf(common));
            for at in 0..places {
                self.add(Draw::Here(ix.at(), at), 1.0 - (1.0 - p).powf((1.0 - common) / places as f64));
            }
            for (entry, done) in self.case.log.iter().enumerate() {
                let Event::Repaired { repair, places: done_at } = &done.event else { continue };
                let Some((_, sure)) = knowledge.repairs[*repair].removes.iter().find(|(c, _)| *c == ix) else {
                    continue;
                };
                for at in 0..places {
                    if self.reaches(*repair, done_at, cause.scope, at) {
                        self.add(Draw::Takes(entry, ix.at(), at), sure.get());
                    }
                }
            }
        }
        for (ix, effect) in knowledge.effects.iter() {
            for at in 0..self.laid.places(effect.scope) {
                self.list_gate(Of::Effect(ix.at()), at, &effect.gate, effect.scope);
            }
        }
        for (ix, symptom) in knowledge.symptoms.iter() {
            self.list_gate(Of::Symptom(ix.at()), 0, &symptom.gate, Scope::Craft);
        }
    }

    fn list_gate(&mut self, of: Of, at: usize, gate: &Gate, scope: Scope) {
        for (input, link) in gate.inputs.iter().enumerate() {
            self.add(Draw::Link(of, at, input), link.strength.get());
        }
        // What is not listed is no likelier here than on the usual layout, however many places there are.
        let usual = Laid::new(self.laid.knowledge, Craft::usual(self.laid.knowledge));
        let share = (usual.places(scope) as f64 / self.laid.places(scope) as f64).min(1.0);
        self.add(Draw::Leak(of, at), 1.0 - (1.0 - gate.leak.get()).powf(share));
    }

    fn add(&mut self, draw: Draw, chance: f64) {
        self.draws.insert(draw, (chance, self.free.len()));
        if chance > 0.0 && chance < 1.0 {
            self.free.push(chance);
        }
    }

    fn drawn(&self, world: usize, draw: Draw) -> bool {
        match self.draws[&draw] {
            (chance, _) if chance <= 0.0 => false,
            (chance, _) if chance >= 1.0 => true,
            (_, bit) => world >> bit & 1 == 1,
        }
    }

    /// A repair at these places reaches the places of a cause that share a cylinder with them.
    fn reaches(&self, repair: Ix<Repair>, done_at: &[usize], scope: Scope, at: usize) -> bool {
        let of = self.laid.knowledge.repairs[repair].scope;
        self.laid.bearing(of, scope, at).iter().any(|place| done_at.contains(place))
    }

    fn sum(&self) -> Worlds {
        let mut total = 0.0;
        let mut causes: BTreeMap<Instance<Cause>, f64> = BTreeMap::new();
        let mut effects: BTreeMap<Instance<Effect>, f64> = BTreeMap::new();
        let mut symptoms: BTreeMap<Ix<Symptom>, f64> = BTreeMap::new();
        for world in 0..1usize << self.free.len() {
            let prior: f64 =
                self.free.iter().enumerate().map(|(bit, p)| if world >> bit & 1 == 1 { *p } else { 1.0 - p }).product();
            let (chance, end) = self.live(world);
            let weight = prior * chance;
            if weight == 0.0 {
                continue;
            }
            total += weight;
            add_up(&end.faults, weight, &mut causes);
            add_up(&end.effects, weight, &mut effects);
            for (at, on) in end.symptoms.iter().enumerate() {
                *symptoms.entry(Ix::new(at)).or_default() += weight * f64::from(u8::from(*on));
            }
        }
        causes.values_mut().chain(effects.values_mut()).chain(symptoms.values_mut()).for_each(|p| *p /= total);
        Worlds { log_evidence: total.ln(), causes, effects, symptoms }
    }

    /// Lives through the log in one world: the chance of all that was said, and how it ends.
    fn live(&self, world: usize) -> (f64, Moment) {
        let knowledge = self.laid.knowledge;
        let mut faults: Bits = knowledge
            .causes
            .iter()
            .map(|(ix, cause)| {
                let everywhere = self.drawn(world, Draw::Everywhere(ix.at()));
                let here = |at| self.drawn(world, Draw::Here(ix.at(), at));
                (0..self.laid.places(cause.scope)).map(|at| everywhere || here(at)).collect()
            })
            .collect();
        let mut now = self.moment(world, &faults);
        let mut chance = self.customer(&now);
        for (entry, done) in self.case.log.iter().enumerate() {
            match &done.event {
                Event::Answer { check, place, answer: Answer::Outcome(outcome), .. } => {
                    chance *= self.answer(&now, *check, *place, *outcome);
                }
                Event::Tried { symptom, now: word } => {
                    let slip = knowledge.slip.get();
                    let agrees = now.symptoms[symptom.at()] == (*word == Presence::Present);
                    chance *= if agrees { 1.0 - slip } else { slip };
                }
                Event::Found { cause, now: word } => {
                    let agrees = now.faults[cause.item.at()][cause.at] == (*word == Presence::Present);
                    chance *= f64::from(u8::from(agrees));
                }
                Event::Repaired { .. } => {
                    for (cause, places) in faults.iter_mut().enumerate() {
                        for (at, there) in places.iter_mut().enumerate() {
                            let draw = Draw::Takes(entry, cause, at);
                            *there &= !(self.draws.contains_key(&draw) && self.drawn(world, draw));
                        }
                    }
                    now = self.moment(world, &faults);
                }
                _ => {}
            }
        }
        (chance, now)
    }

    fn moment(&self, world: usize, faults: &Bits) -> Moment {
        let knowledge = self.laid.knowledge;
        let mut now = Moment {
            faults: faults.clone(),
            effects: knowledge.effects.iter().map(|(_, e)| vec![false; self.laid.places(e.scope)]).collect(),
            symptoms: Vec::new(),
        };
        for &ix in &knowledge.effect_order {
            let effect = &knowledge.effects[ix];
            for at in 0..self.laid.places(effect.scope) {
                let on = self.gate(world, &now, Of::Effect(ix.at()), &effect.gate, effect.scope, at);
                now.effects[ix.at()][at] = on;
            }
        }
        for (ix, symptom) in knowledge.symptoms.iter() {
            let on = self.gate(world, &now, Of::Symptom(ix.at()), &symptom.gate, Scope::Craft, 0);
            now.symptoms.push(on);
        }
        now
    }

    fn gate(&self, world: usize, now: &Moment, of: Of, gate: &Gate, scope: Scope, at: usize) -> bool {
        let through = gate
            .inputs
            .iter()
            .enumerate()
            .filter(|(n, input)| self.reads(now, &input.reads, scope, at) && self.drawn(world, Draw::Link(of, at, *n)))
            .count();
        let wanted = match gate.kind {
            GateKind::Any => 1,
            GateKind::All => gate.inputs.len(),
            GateKind::AtLeast(k) => k,
        };
        through >= wanted || self.drawn(world, Draw::Leak(of, at))
    }

    /// What a state is on the places that bear on this one.
    fn bearing(&self, now: &Moment, state: State, scope: Scope, at: usize) -> Vec<bool> {
        let (of, bits) = match state {
            State::Cause(ix) => (self.laid.knowledge.causes[ix].scope, &now.faults[ix.at()]),
            State::Effect(ix) => (self.laid.knowledge.effects[ix].scope, &now.effects[ix.at()]),
        };
        self.laid.bearing(of, scope, at).into_iter().map(|place| bits[place]).collect()
    }

    fn reads(&self, now: &Moment, reads: &Reads, scope: Scope, at: usize) -> bool {
        let count = |state| self.bearing(now, state, scope, at).into_iter().filter(|on| *on).count();
        let all = |state| self.bearing(now, state, scope, at).len();
        match reads {
            Reads::One(state) => count(*state) > 0,
            Reads::Every(state) => count(*state) == all(*state),
            Reads::SomeNotAll(state) => count(*state) > 0 && count(*state) < all(*state),
            Reads::Exactly(k, state) => count(*state) == *k,
            Reads::Together(states) => states.iter().all(|state| count(*state) > 0),
        }
    }

    /// What was named at intake, and what was not.
    fn customer(&self, now: &Moment) -> f64 {
        let knowledge = self.laid.knowledge;
        let named = &self.case.symptoms;
        let chance = |(ix, symptom): (Ix<Symptom>, &Symptom)| {
            let on = now.symptoms[ix.at()];
            let is_named = if on { symptom.named_present.get() } else { symptom.named_absent.get() };
            if named.contains(&ix) {
                is_named
            } else if named.iter().any(|n| knowledge.symptoms[*n].rules_out.contains(&ix)) {
                f64::from(u8::from(!on))
            } else if named.is_empty() || named.iter().any(|n| knowledge.symptoms[*n].hides.contains(&ix)) {
                1.0
            } else {
                1.0 - is_named
            }
        };
        knowledge.symptoms.iter().map(chance).product()
    }

    fn answer(&self, now: &Moment, check: Ix<Check>, place: Option<usize>, outcome: usize) -> f64 {
        let knowledge = self.laid.knowledge;
        let check = &knowledge.checks[check];
        let (scope, at) = place.map_or((Scope::Craft, 0), |at| (check.scope, at));
        let literal = |&(state, on): &(State, bool)| self.bearing(now, state, scope, at).contains(&true) == on;
        let holds = |clause: &Clause| clause.0.iter().any(literal);
        let row = check.rows.iter().find(|row| row.when.iter().all(holds)).expect("a row that always holds");
        let Gives::Chances(chances) = &row.gives else { panic!("these checks have outcomes") };
        let slip = knowledge.slip.get();
        (1.0 - slip) * chances[outcome] + slip / chances.len() as f64
    }
}

fn add_up<T>(bits: &Bits, weight: f64, into: &mut BTreeMap<Instance<T>, f64>) {
    for (item, places) in bits.iter().enumerate() {
        for (at, on) in places.iter().enumerate() {
            *into.entry(Instance::new(Ix::new(item), at)).or_default() += weight * f64::from(u8::from(*on));
        }
    }
}
