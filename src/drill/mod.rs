//! A hidden fault to find, for trainees: the whole bench, nothing recommended, and every choice held against the best one
//! at that point.
//!
//! A job is drawn ([`draw`]) and worked by whoever takes the drill. What a choice is held against is its expected cost, not
//! what came of it: a lucky guess is charged what such guesses cost on average ([`score`]). What an interlock forbids can
//! be done ([`breach`]); it ends the drill as it would the boat. [`progress`] is the record that the curriculum moves on by.

pub mod breach;
pub mod draw;
pub mod progress;
pub mod score;

use crate::access::AccessGraph;
use crate::belief::{Belief, CauseBelief, Memory, believe_again};
use crate::case::{Answer, Entry, Event, Presence};
use crate::decision::{Action, Advice, Appraised, Settings, appraise, step_cost};
use crate::inference::Error;
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Cause, Check, Ix, Tick, User};
use crate::trial::job::{self, Job};
use crate::trial::truth::Truth;
use crate::units::{Minutes, Money};
use breach::{Breach, Ready, Standing, judge};
use draw::Level;
use score::{Lesson, lesson};
use std::collections::BTreeSet;
use std::rc::Rc;

/// After so many choices the drill is over: nobody learns from more.
pub const MOST_STEPS: usize = 60;

/// How things stand before a choice, as the book sees it: what is believed, and what every choice would come to.
#[derive(Clone, Debug)]
pub struct Here {
    /// Every cause instance, the likeliest first.
    pub causes: Vec<CauseBelief>,
    /// For each cause of this craft the chance that it is there at any place.
    pub anywhere: Vec<(Ix<Cause>, f64)>,
    /// What is best.
    pub advice: Advice,
    /// Every choice that is worth comparing, the cheapest first.
    pub options: Vec<Appraised>,
}

/// What a trainee said of the fault before an answer was shown.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stated {
    /// The cause, at whatever place.
    pub cause: Ix<Cause>,
    /// How sure, 0..=1.
    pub chance: f64,
    /// What the book gave it then.
    pub book: f64,
    /// Whether it was there.
    pub there: bool,
}

/// What came of a step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// A check was answered.
    Answered,
    /// A repair was tried: the complaint is gone for good.
    Gone,
    /// It is still there.
    Still,
    /// It seemed gone and came back.
    CameBack,
    /// A repair that cannot be tried yet: an interlock forbids to turn the starter.
    Untried,
    /// Handed over.
    HandedOver,
    /// Forbidden: the drill ends.
    Breached,
}

/// One choice and what it was worth.
#[derive(Clone, Debug)]
pub struct Step {
    /// What was chosen.
    pub action: Action,
    /// What was made ready for it.
    pub ready: Ready,
    /// How things stood.
    pub here: Rc<Here>,
    /// What it was expected to come to, from there to the end.
    pub total: Money,
    /// What the best choice would have come to.
    pub best: Money,
    /// What a choice in the dark would have lost: the mean over all that may be done then.
    pub blind: Money,
    /// What is to be learned from it.
    pub lesson: Lesson,
    /// What it cost.
    pub cost: Money,
    /// The time it took.
    pub minutes: Minutes,
    /// What it put in the log.
    pub entries: Vec<Entry>,
    /// What came of it.
    pub outcome: Outcome,
    /// What was said of the fault before.
    pub stated: Option<Stated>,
    /// Hints asked for before it.
    pub hints: usize,
}

impl Step {
    /// What it was expected to cost more than the best choice: at least nothing.
    #[must_use]
    pub fn regret(&self) -> Money {
        Money::of((self.total.get() - self.best.get()).max(0.0))
    }
}

/// How a drill ended.
#[derive(Clone, Debug, PartialEq)]
pub enum End {
    /// The complaint is gone for good.
    Cured,
    /// It was handed over.
    HandedOver,
    /// A step that an interlock forbids was taken.
    Breached(Breach),
    /// The trainee left before the end.
    Left,
    /// After [`MOST_STEPS`] choices it is over.
    WornOut,
}

/// Something that can be chosen.
#[derive(Clone, Debug, PartialEq)]
pub struct Offer {
    /// What.
    pub action: Action,
    /// What the step alone costs as things stand.
    pub cost: Money,
    /// The time it takes.
    pub minutes: Minutes,
    /// Why it cannot be done at all (the craft does not start, a tool is missing); interlocks are not told.
    pub cannot: Option<String>,
}

/// A drill as it is worked.
#[derive(Clone)]
pub struct Drill<'t, 'k> {
    /// The job: its craft, what is known of it and what is true.
    pub job: Job<'t, 'k>,
    /// How hard it is.
    pub level: Level,
    /// What was chosen so far.
    pub steps: Vec<Step>,
    /// How it ended.
    pub end: Option<End>,
    here: Rc<Here>,
    settings: Settings,
    memory: Memory,
}

impl<'t, 'k> Drill<'t, 'k> {
    /// A drill at its beginning. `settings` say how the book looks: its own seed and look-ahead.
    ///
    /// # Errors
    /// Where the network is too wide for the limits.
    pub fn begin(
        laid: &'t Laid<'k>,
        graph: &'t AccessGraph,
        truth: &'t Truth,
        level: Level,
        settings: &Settings,
    ) -> Result<Self, Error> {
        let job = Job::new(laid, graph, truth);
        let settings = Settings { alternatives: 0, now: None, ..settings.clone() };
        let mut memory = Memory::default();
        let here = Rc::new(look(&job, &settings, &mut memory)?);
        Ok(Self { job, level, steps: Vec::new(), end: None, here, settings, memory })
    }

    /// How things stand, as the book sees it.
    #[must_use]
    pub fn here(&self) -> &Rc<Here> {
        &self.here
    }

    /// Every check at every place and every repair, in the order of the knowledge base.
    pub fn actions(&self) -> impl Iterator<Item = Action> + '_ {
        checks(self.job.laid).chain(repairs(self.job.laid, self.job.case.user))
    }

    /// The whole bench: every check at every place, every repair, the quickest first; handing over is not among them.
    #[must_use]
    pub fn bench(&self) -> Vec<Offer> {
        let mut offers: Vec<Offer> = self.actions().map(|action| self.offer(action)).collect();
        offers.sort_by(|a, b| a.minutes.get().total_cmp(&b.minutes.get()).then(a.action.cmp(&b.action)));
        offers
    }

    /// One choice and what it costs.
    #[must_use]
    pub fn offer(&self, action: Action) -> Offer {
        let (minutes, cost) = step_cost(self.job.laid, self.job.graph, &self.job.case, &action);
        let cannot = match self.standing(&action, &Ready::default()) {
            Standing::CanNot(why) => Some(why),
            _ => None,
        };
        Offer { action, cost, minutes, cannot }
    }

    /// How a step stands with what was made ready for it.
    #[must_use]
    pub fn standing(&self, action: &Action, ready: &Ready) -> Standing {
        judge(self.job.laid, self.job.graph, &self.job.case, action, ready)
    }

    /// What must be made ready for a step; `None` where it may not be done as things stand.
    #[must_use]
    pub fn make_ready(&self, action: &Action) -> Option<Ready> {
        breach::make_ready(self.job.laid, self.job.graph, &self.job.case, action, self.airing(action))
    }

    /// Minutes of airing that a step asks for where it closes an open hazard.
    #[must_use]
    pub fn airing(&self, action: &Action) -> Minutes {
        match action {
            Action::Check(check) => self.job.airing(check.item),
            _ => Minutes::ZERO,
        }
    }

    /// The controls that a trainee can see to before a step.
    #[must_use]
    pub fn controls(&self) -> Vec<Ix<Tick>> {
        breach::controls(self.job.laid)
    }

    /// Says a belief: the cause and how sure. The book's chance and whether it was there are set beside it.
    #[must_use]
    pub fn state(&self, cause: Ix<Cause>, chance: f64) -> Stated {
        let book = self.here.anywhere.iter().find(|(known, _)| *known == cause).map_or(0.0, |(_, chance)| *chance);
        let scope = self.job.laid.knowledge.causes[cause].scope;
        let there = self.job.laid.instances(cause, scope).any(|instance| self.job.has(instance));
        Stated { cause, chance, book, there }
    }

    /// Takes a step. What an interlock forbids ends the drill; what cannot be done at all changes nothing.
    ///
    /// Cost: what a next step costs.
    ///
    /// # Errors
    /// Where the network is too wide for the limits.
    pub fn act(&mut self, action: Action, ready: Ready, stated: Option<Stated>, hints: usize) -> Result<(), Error> {
        if self.end.is_some() {
            return Ok(());
        }
        let standing = self.standing(&action, &ready);
        let first = match standing {
            Standing::CanNot(_) => return Ok(()),
            Standing::Forbidden(breach) => {
                self.breached(action, ready, stated, hints, breach);
                return Ok(());
            }
            Standing::May(first) => first,
        };
        let (total, best, blind) = (self.total(&action, &ready), self.best(), self.blind());
        let lesson = lesson(self, &action, &ready);
        let from = self.job.case.log.len();
        let (money, minutes, comebacks) = (self.job.money, self.job.minutes, self.job.comebacks);
        let stands = self.job.carry_out(&action, &first, ready.air);
        round_readings(&mut self.job, from);
        let entries = self.job.case.log[from..].to_vec();
        let outcome = match stands {
            job::Standing::Cured => Outcome::Gone,
            job::Standing::HandedOver => Outcome::HandedOver,
            _ if self.job.comebacks > comebacks => Outcome::CameBack,
            _ => came_of(&action, &entries),
        };
        let cost = self.job.money - money;
        let minutes = self.job.minutes - minutes;
        let here = Rc::clone(&self.here);
        self.steps.push(Step {
            action,
            ready,
            here,
            total,
            best,
            blind,
            lesson,
            cost,
            minutes,
            entries,
            outcome,
            stated,
            hints,
        });
        self.end = match stands {
            job::Standing::Cured => Some(End::Cured),
            job::Standing::HandedOver => Some(End::HandedOver),
            _ if self.steps.len() >= MOST_STEPS => Some(End::WornOut),
            _ => None,
        };
        if self.end.is_none() {
            self.here = Rc::new(look(&self.job, &self.settings, &mut self.memory)?);
        }
        Ok(())
    }

    fn breached(&mut self, action: Action, ready: Ready, stated: Option<Stated>, hints: usize, breach: Breach) {
        let best = self.best();
        let here = Rc::clone(&self.here);
        self.steps.push(Step {
            action,
            ready,
            here,
            total: best,
            best,
            blind: Money::ZERO,
            lesson: Lesson::Forbidden,
            cost: Money::ZERO,
            minutes: Minutes::ZERO,
            entries: Vec::new(),
            outcome: Outcome::Breached,
            stated,
            hints,
        });
        self.end = Some(End::Breached(breach));
    }

    /// Leaves before the end.
    pub fn leave(&mut self) {
        self.end.get_or_insert(End::Left);
    }

    /// What the best choice is expected to come to.
    #[must_use]
    pub fn best(&self) -> Money {
        // What is held up cannot be chosen.
        let free = self.here.options.iter().filter(|option| !option.held);
        let least = free.map(|option| option.total.get()).fold(f64::INFINITY, f64::min);
        Money::of(least.min(self.here.advice.next.expected_cost.get()))
    }

    /// What a choice in the dark is expected to lose: the mean over all checks and repairs that may be done.
    fn blind(&self) -> Money {
        let best = self.best().get();
        let loses = |action: Action| {
            let ready = self.make_ready(&action)?;
            Some((self.total(&action, &ready).get() - best).max(0.0))
        };
        let (sum, n) = self.actions().filter_map(loses).fold((0.0, 0.0), |(sum, n), loss| (sum + loss, n + 1.0));
        Money::of(if n > 0.0 { sum / n } else { 0.0 })
    }

    /// What a choice is expected to come to, from here to the end.
    ///
    /// A choice that is not worth comparing (a check made before, a repair of what is hardly there) costs what it costs
    /// and leaves all as it is. A check that closes a hazard comes to what the best step behind it does, for that step's
    /// price has it in; without the airing it asks for it closes nothing.
    #[must_use]
    pub fn total(&self, action: &Action, ready: &Ready) -> Money {
        let best = self.best().get();
        let own = || best + step_cost(self.job.laid, self.job.graph, &self.job.case, action).1.get();
        let listed = self.here.options.iter().find(|option| option.action == *action).map(|option| option.total.get());
        let Action::Check(check) = action else { return Money::of(listed.unwrap_or_else(own)) };
        if self.airing(action) > ready.air {
            return Money::of(listed.unwrap_or_else(own).max(own()));
        }
        let behind = self.here.options.iter().filter(|option| option.before.close.is_some_and(|c| c.0 == check.item));
        let behind = behind.map(|option| option.total.get()).fold(f64::INFINITY, f64::min);
        let next = &self.here.advice.next;
        let proposed = if next.action == *action { next.expected_cost.get() } else { f64::INFINITY };
        let least = proposed.min(behind).min(listed.unwrap_or(f64::INFINITY));
        Money::of(if least.is_finite() { least } else { own() })
    }

    /// Whether a check closes an open hazard, and so is never in vain.
    #[must_use]
    pub fn closes_a_hazard(&self, check: Ix<Check>) -> bool {
        let closes = |hazard| {
            let hazard: &crate::knowledge::Hazard = &self.job.laid.knowledge.hazards[hazard];
            hazard.closed_by.iter().any(|by| by.answer.0 == check)
        };
        self.job.now().safety.hazards.iter().any(|open| closes(open.hazard))
    }

    /// The causes of the complaint, as they were at the beginning.
    #[must_use]
    pub fn hidden(&self) -> Vec<Instance<Cause>> {
        self.job.truth.guilty()
    }
}

/// Readings since an entry as one reads them off an instrument: to the place of the first digit of its error, to three
/// figures where it has none.
fn round_readings(job: &mut Job<'_, '_>, from: usize) {
    for entry in &mut job.case.log[from..] {
        if let Event::Answer { check, answer: Answer::Reading(value), .. } = &mut entry.event
            && let Some(reading) = &job.laid.knowledge.checks[*check].reading
        {
            let error = if reading.standard_error > 0.0 { reading.standard_error } else { value.abs() / 100.0 };
            let step = if error > 0.0 { libm::pow(10.0, libm::floor(libm::log10(error))) } else { 1.0 };
            // Dividing by a whole number leaves fewer stray digits than multiplying by a fraction.
            *value = if step < 1.0 {
                let parts = (1.0 / step).round();
                (*value * parts).round() / parts
            } else {
                (*value / step).round() * step
            };
        }
    }
}

fn came_of(action: &Action, entries: &[Entry]) -> Outcome {
    let tried = entries.iter().rev().find_map(|entry| match entry.event {
        Event::Tried { now, .. } => Some(now),
        _ => None,
    });
    match (action, tried) {
        (Action::Check(_), _) => Outcome::Answered,
        (_, Some(Presence::Present | Presence::Absent)) => Outcome::Still,
        (_, None) => Outcome::Untried,
    }
}

fn look(job: &Job<'_, '_>, settings: &Settings, memory: &mut Memory) -> Result<Here, Error> {
    let belief = believe_again(job.laid, &job.case, &settings.limits, memory)?;
    let (advice, options) = appraise(job.laid, job.graph, &job.case, &belief, settings)?;
    Ok(Here { anywhere: anywhere(&belief, settings)?, causes: belief.causes, advice, options })
}

/// For each cause the chance that it is there at any place, over the worlds that the advice looks at.
fn anywhere(belief: &Belief, settings: &Settings) -> Result<Vec<(Ix<Cause>, f64)>, Error> {
    let worlds = belief.worlds(settings.worlds, settings.seed, &settings.limits)?;
    let items: BTreeSet<Ix<Cause>> = belief.model.causes.iter().map(|(cause, _)| cause.item).collect();
    #[expect(clippy::cast_precision_loss, reason = "a few thousand worlds")]
    let n = worlds.n() as f64;
    let chance = |item: Ix<Cause>| {
        let vars: Vec<_> = belief.model.causes.iter().filter(|(cause, _)| cause.item == item).collect();
        // Of one place the belief itself is nearer than any sample.
        if let [(cause, _)] = vars.as_slice() {
            return belief.chance(*cause);
        }
        let mut any = vec![0_u64; worlds.n().div_ceil(64)];
        for (_, var) in vars {
            crate::decision::simulate::or_into(&mut any, worlds.on(*var, belief.model.now));
        }
        f64::from(any.iter().map(|word| word.count_ones()).sum::<u32>()) / n
    };
    Ok(items.into_iter().map(|item| (item, chance(item))).collect())
}

fn checks<'l>(laid: &'l Laid<'_>) -> impl Iterator<Item = Action> + 'l {
    let fitted = laid.knowledge.checks.iter().filter(|(_, check)| laid.fits(&check.fitted));
    fitted.flat_map(|(ix, check)| laid.instances(ix, check.scope)).map(Action::Check)
}

/// Every repair that removes something, everywhere and, where it is done place by place, at each place.
fn repairs<'l>(laid: &'l Laid<'_>, user: Ix<User>) -> impl Iterator<Item = Action> + 'l {
    let able = laid.knowledge.repairs.iter();
    let able = able.filter(|(_, repair)| !repair.service && !repair.removes.is_empty() && laid.fits(&repair.fitted));
    let able = able.filter(move |(_, repair)| repair.is_for(&laid.knowledge.users[user]));
    able.flat_map(|(ix, repair)| {
        let places = laid.places(repair.scope);
        let apart = if places > 1 && !repair.together { places } else { 0 };
        std::iter::once(Action::Repair(ix, (0..places).collect()))
            .chain((0..apart).map(move |at| Action::Repair(ix, vec![at])))
    })
}
