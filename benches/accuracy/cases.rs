//! Cases made from the model itself: a craft drawn given its symptom, and what it would answer to the commonest checks.

use doldrum::case::{Answer, Case, Entry, Event, Presence};
use doldrum::inference::{Engine, Limits, Worlds};
use doldrum::knowledge::layout::{Craft, Instance, Laid};
use doldrum::knowledge::{Ability, Cause, Check, Gives, Ix, Knowledge, Symptom};
use doldrum::model::compile::{CaseModel, compile, conditions, repair_reaches};
use doldrum::model::network::{Observation, VarIx};
use doldrum::model::reading::outcome_chances;
use indexmap::IndexMap;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::f64::consts::PI;

/// What has happened on a case.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Situation {
    /// So many answers.
    Answers(usize),
    /// So many answers, a repair that did not help, and so many more.
    FailedRepair(usize, usize),
}

impl Situation {
    /// What is measured.
    pub const ALL: [Self; 2] = [Self::Answers(15), Self::FailedRepair(8, 7)];

    /// For a table.
    pub fn words(self) -> String {
        match self {
            Self::Answers(n) => format!("{n} answers"),
            Self::FailedRepair(before, after) => format!("{before}, failed repair, {after}"),
        }
    }
}

/// A layout by its id.
pub fn craft(knowledge: &Knowledge, layout: &str) -> Craft {
    let layout = knowledge.layouts.find(layout).expect("a layout of the built-in knowledge base");
    Craft { layout, ..Craft::usual(knowledge) }
}

/// The craft of `seed` with this symptom, and what it answers.
pub fn case(laid: &Laid<'_>, symptom: Ix<Symptom>, situation: Situation, seed: u64) -> Case {
    let mut case = intake(laid, symptom);
    let model = compile(laid, &case);
    let engine = Engine::compile(&model.network).expect("the model compiles");
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let (worlds, world) = draw(&model, &engine, symptom, &mut rng);
    let mut truth = Truth { laid, model: &model, worlds: &worlds, world, rng };
    let askable = askable(laid, symptom);
    match situation {
        Situation::Answers(n) => truth.answer(&mut case, &askable, n),
        Situation::FailedRepair(before, after) => {
            truth.answer(&mut case, &askable, before);
            truth.fail_a_repair(&mut case, symptom);
            let next = &askable[before.min(askable.len())..];
            truth.answer(&mut case, next, after);
        }
    }
    case
}

fn intake(laid: &Laid<'_>, symptom: Ix<Symptom>) -> Case {
    Case {
        title: None,
        craft: laid.craft.clone(),
        altitude_m: 0.0,
        user: Ix::new(0),
        tools: None,
        sheet: IndexMap::new(),
        history: IndexMap::new(),
        history_next: None,
        symptoms: vec![symptom],
        log: vec![],
        taken_up: 0,
    }
}

/// The checks to answer, each at each of its places: the symptom's own first moves, then those that are first moves of
/// most customers, then the quickest. What the symptom denies is left out.
fn askable(laid: &Laid<'_>, symptom: Ix<Symptom>) -> Vec<Instance<Check>> {
    let knowledge = laid.knowledge;
    let moves = &knowledge.symptoms[symptom].first_moves;
    let denied: &[Ability] = &knowledge.symptoms[symptom].denies;
    let share = |ix: Ix<Check>| -> f64 {
        let asks = knowledge.symptoms.iter().filter(|(_, s)| s.first_moves.contains(&ix));
        asks.map(|(_, s)| s.share).sum()
    };
    let can = |check: &Check| {
        laid.fits(&check.fitted)
            && !check.able.iter().any(|a| denied.contains(a))
            && check.reading.as_ref().is_none_or(|r| r.relative.is_none())
    };
    let mut checks: Vec<(usize, f64, f64, Ix<Check>)> = knowledge
        .checks
        .iter()
        .filter(|(_, check)| can(check))
        .map(|(ix, check)| {
            let place = moves.iter().position(|&m| m == ix).unwrap_or(moves.len());
            (place, -share(ix), check.minutes.get(), ix)
        })
        .collect();
    checks.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)).then(a.2.total_cmp(&b.2)).then(a.3.cmp(&b.3)));
    checks.iter().flat_map(|&(.., ix)| laid.instances(ix, knowledge.checks[ix].scope)).collect()
}

/// A craft with the symptom whose owner says just that, and its place among worlds. Drawn without inference, so that the
/// cases stay the same whatever is cut: crafts are drawn until one has the symptom, each kept with the chance that its
/// owner would leave the other symptoms unnamed.
fn draw(model: &CaseModel, engine: &Engine, symptom: Ix<Symptom>, rng: &mut ChaCha8Rng) -> (Worlds, usize) {
    const BATCH: usize = 1 << 15;
    let var = model.symptom(symptom).expect("the symptom fits the craft");
    loop {
        let worlds = engine.worlds(&[], BATCH, rng.next_u64(), &Limits::default()).expect("nothing is observed");
        let has = |world: usize| worlds.on(var, 0)[world / 64] >> (world % 64) & 1 == 1;
        let said = |world: usize| -> f64 {
            let chance = |observation: &Observation| match observation {
                Observation::State { var, likelihood } => likelihood[usize::from(worlds.states(*var)[world])],
                Observation::Rows { .. } => unreachable!("nothing has been answered"),
            };
            model.observations.iter().map(|(_, observation)| chance(observation)).product()
        };
        if let Some(world) = (0..BATCH).filter(|&world| has(world)).find(|&world| uniform(rng) < said(world)) {
            return (worlds, world);
        }
    }
}

/// Strictly between 0 and 1.
fn uniform(rng: &mut ChaCha8Rng) -> f64 {
    (f64::from(rng.next_u32()) + 0.5) / 4_294_967_296.0
}

/// One craft as it is.
struct Truth<'a, 'k> {
    laid: &'a Laid<'k>,
    model: &'a CaseModel,
    worlds: &'a Worlds,
    world: usize,
    rng: ChaCha8Rng,
}

impl Truth<'_, '_> {
    fn is_on(&self, var: VarIx) -> bool {
        self.worlds.on(var, 0)[self.world / 64] >> (self.world % 64) & 1 == 1
    }

    /// Answers the first `n`.
    fn answer(&mut self, case: &mut Case, checks: &[Instance<Check>], n: usize) {
        for &check in checks.iter().take(n) {
            let answer = self.outcome(case, check);
            let place = Some(check.at);
            let event = Event::Answer { check: check.item, place, answer, aired_min: None };
            case.log.push(Entry::from(event));
        }
    }

    /// What the craft answers: the first row that holds gives the chances.
    fn outcome(&mut self, case: &Case, instance: Instance<Check>) -> Answer {
        let check = &self.laid.knowledge.checks[instance.item];
        let rows = &self.model.checks.iter().find(|c| c.check == instance).expect("every check is modeled").rows;
        let holds = |row: usize| rows[row].is_empty() || rows[row].iter().any(|l| self.is_on(l.var) == l.on);
        let row = (0..rows.len()).find(|&row| holds(row)).expect("the last row always holds");
        let gives = &check.rows[row].gives;
        if let (Gives::Normals { parts, .. }, Some(reading)) = (gives, &check.reading) {
            let shares: Vec<f64> = parts.iter().map(|&(share, ..)| share).collect();
            let (_, mean, sd) = parts[self.pick(&shares)];
            let sd = sd.hypot(reading.standard_error);
            let value = (mean + sd * self.normal()).clamp(reading.least, reading.most);
            // As a gauge is read: to a hundredth of the scale.
            let step = (reading.most - reading.least) / 100.0;
            return Answer::Reading(reading.least + ((value - reading.least) / step).round() * step);
        }
        Answer::Outcome(self.pick(&outcome_chances(check, gives, &conditions(self.laid, case, check))))
    }

    /// Does the repair of the likeliest cause that is not there, and finds the symptom as it was.
    fn fail_a_repair(&mut self, case: &mut Case, symptom: Ix<Symptom>) {
        let model = compile(self.laid, case);
        let engine = Engine::compile(&model.network).expect("the model compiles");
        let limits = Limits { cells: 1 << 20, ..Limits::default() };
        let posterior = engine.posterior(&model.evidence(), &limits).expect("within the limits");
        let mut causes = model.causes.clone();
        causes.sort_by(|a, b| posterior.chance_on(b.1, 0).total_cmp(&posterior.chance_on(a.1, 0)).then(a.0.cmp(&b.0)));
        let event =
            causes.iter().find_map(|&(cause, _)| self.repair_in_vain(cause)).expect("some repair does not help");
        case.log.push(Entry::from(event));
        case.log.push(Entry::from(Event::Tried { symptom, now: Presence::Present }));
    }

    /// A repair of this cause that takes nothing away that is there.
    fn repair_in_vain(&self, cause: Instance<Cause>) -> Option<Event> {
        let knowledge = self.laid.knowledge;
        let scope = knowledge.causes[cause.item].scope;
        knowledge.repairs.iter().find_map(|(repair, it)| {
            let places = self.laid.bearing(it.scope, scope, cause.at);
            let removes = |cause: &Instance<Cause>| {
                let scope = knowledge.causes[cause.item].scope;
                it.removes.iter().any(|(removed, _)| *removed == cause.item)
                    && repair_reaches(self.laid, repair, &places, scope, cause.at)
            };
            let helps = || self.model.causes.iter().any(|(there, var)| self.is_on(*var) && removes(there));
            let fits = self.laid.fits(&it.fitted) && !it.service && removes(&cause);
            (fits && !helps()).then(|| Event::Repaired { repair, places: places.clone() })
        })
    }

    /// A position by its weight.
    fn pick(&mut self, weights: &[f64]) -> usize {
        let mut left = uniform(&mut self.rng) * weights.iter().sum::<f64>();
        for (at, weight) in weights.iter().enumerate() {
            left -= weight;
            if left < 0.0 {
                return at;
            }
        }
        weights.len() - 1
    }

    /// Box and Muller (1958).
    fn normal(&mut self) -> f64 {
        let radius = (-2.0 * libm::log(uniform(&mut self.rng))).sqrt();
        radius * libm::cos(2.0 * PI * uniform(&mut self.rng))
    }
}
