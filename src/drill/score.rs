//! What a drill was worth, without its luck.
//!
//! With Q(a) what a choice is expected to come to and V the least of them, R = Q - V is what the choice was expected to
//! lose. Over a drill the expected cost of whoever works it is V at the beginning plus the sum of all R (the telescoping
//! sum of expected costs; Bellman 1957 for the identity), so that the sum is what is lost with the luck of the draw taken
//! out.
//!
//! The score grades choices, not money: each from one (as good as the best) to nothing (it loses half of what a choice in
//! the dark does there, or more, or tells nothing new), and the score is their mean. Money lost is told beside it. It ranks
//! worse: what a slip costs hangs on where it happens, which says nothing of who made it. Over 20 benches of 20 trainees
//! who err in known shares of their choices, ten drills each, the rank correlation with skill is .952 for the money lost,
//! .978 for the grades. Were what tells nothing graded by its loss too it would be .977, and .980 and .971 with the bound at
//! a quarter and at all of what is lost in the dark.

use super::breach::Ready;
use super::{Drill, End, Stated, Step};
use crate::decision::{Action, Appraised};
use crate::units::{Minutes, Money};

/// A choice that loses less is as good as the best, in money and as a share of the best: the sampled worlds know no
/// better.
const AS_GOOD: (f64, f64) = (1.0, 0.01);
/// A check that tells less, in bits, tells nothing new: the sampled worlds know no better.
const TELLS_NOTHING_BITS: f64 = 0.01;
/// Parts fitted where finding something to repair is less likely than this were fitted too soon, if a check was worth its
/// cost. A choice: as likely as not.
const SURE_ENOUGH: f64 = 0.5;

/// A choice that loses this share of what one in the dark loses has no worth left. Chosen among a quarter, a half and one:
/// see above.
const NO_WORTH: f64 = 0.5;

/// What is to be learned from a choice.
#[derive(Clone, Debug, PartialEq)]
pub enum Lesson {
    /// It was the best there was, or as good.
    Best,
    /// A check that was answered since the last repair.
    Repeated,
    /// A check that tells nothing about what this job needs.
    TellsNothing,
    /// A check that closes a hazard, without the airing that it asks for.
    NotAired,
    /// A check that tells something; another step was better.
    LessTold,
    /// A check where it was time to repair: the best repair cures so often.
    RepairFirst(f64),
    /// Parts fitted though they would hardly find anything to repair, and a check was worth its cost. The chance.
    TooSoon(f64),
    /// A repair where a check was better. The chance that it cures.
    LookFirst(f64),
    /// A repair where another one was better. The chances that each cures.
    OtherRepair(f64, f64),
    /// Handed over where going on was cheaper.
    GaveUp,
    /// Anything where handing over was cheaper.
    WentOn,
    /// What an interlock forbids.
    Forbidden,
}

/// What is to be learned from a choice before it is made.
#[must_use]
pub fn lesson(drill: &Drill<'_, '_>, action: &Action, ready: &Ready) -> Lesson {
    let (total, best) = (drill.total(action, ready).get(), drill.best().get());
    let here = drill.here();
    let option = |wanted: &Action| here.options.iter().find(|option| option.action == *wanted);
    let next = &here.advice.next.action;
    match action {
        Action::Check(check) => {
            let closes = drill.closes_a_hazard(check.item);
            if closes && drill.airing(action) > ready.air {
                return Lesson::NotAired;
            }
            if !closes && drill.job.times_made(*check) > 0 {
                return Lesson::Repeated;
            }
            let tells = option(action).map_or(0.0, |option| option.tells_bits);
            if !closes && *next != *action && tells < TELLS_NOTHING_BITS {
                return Lesson::TellsNothing;
            }
            if is_as_good(total, best) {
                return Lesson::Best;
            }
            match next {
                Action::Check(_) => Lesson::LessTold,
                Action::Repair(..) => Lesson::RepairFirst(option(next).map_or(0.0, |option| option.cures)),
                Action::Try(_) | Action::HandOver => Lesson::WentOn,
            }
        }
        Action::Repair(ix, _) => {
            let (finds, cures) = option(action).map_or((0.0, 0.0), |option| (option.finds, option.cures));
            let fits_parts = drill.job.laid.knowledge.repairs[*ix].parts.iter().any(|part| part.each > Money::ZERO);
            if is_as_good(total, best) {
                return Lesson::Best;
            }
            if fits_parts && finds < SURE_ENOUGH && check_pays(&here.options, total) {
                return Lesson::TooSoon(finds);
            }
            match next {
                Action::Check(_) => Lesson::LookFirst(cures),
                Action::Repair(..) => Lesson::OtherRepair(cures, option(next).map_or(0.0, |option| option.cures)),
                Action::Try(_) | Action::HandOver => Lesson::WentOn,
            }
        }
        Action::Try(_) | Action::HandOver if is_as_good(total, best) => Lesson::Best,
        Action::Try(_) | Action::HandOver => Lesson::GaveUp,
    }
}

fn is_as_good(total: f64, best: f64) -> bool {
    total - best < AS_GOOD.0.max(AS_GOOD.1 * best)
}

/// Whether a check at hand comes to less than this.
fn check_pays(options: &[Appraised], total: f64) -> bool {
    options.iter().any(|option| matches!(option.action, Action::Check(_)) && option.total.get() < total)
}

/// What a choice was worth, 1 (as good as the best) to 0.
#[must_use]
pub fn grade(step: &Step) -> f64 {
    let lost = step.regret().get();
    match step.lesson {
        // What it loses is no money: it is not worked out.
        Lesson::Forbidden => 0.0,
        _ if lost < 1e-9 => 1.0,
        // Or a drill of many idle looks would hide its slips among them.
        _ if tells_nothing(&step.lesson) => 0.0,
        _ if is_as_good(step.total.get(), step.best.get()) => 1.0,
        _ => (1.0 - lost / (NO_WORTH * step.blind.get()).max(f64::MIN_POSITIVE)).max(0.0),
    }
}

fn tells_nothing(lesson: &Lesson) -> bool {
    matches!(lesson, Lesson::Repeated | Lesson::TellsNothing | Lesson::NotAired)
}

/// What a drill was worth.
#[derive(Clone, Debug, PartialEq)]
pub struct Score {
    /// 0..=1: the mean of the grades of all choices. 0 after a breach of safety.
    pub score: f64,
    /// What the best play was expected to cost from the beginning.
    pub best: Money,
    /// What all choices together were expected to lose.
    pub regret: Money,
    /// What was paid, luck included.
    pub cost: Money,
    /// The time it took.
    pub minutes: Minutes,
    /// Choices.
    pub steps: usize,
    /// Checks answered before or that told nothing.
    pub redundant: usize,
    /// Repairs with parts that were ordered too soon.
    pub premature: usize,
    /// Safety violations: none or one, for it ends the drill.
    pub breaches: usize,
    /// Hints asked for.
    pub hints: usize,
    /// What was said of the fault; `None` where nothing was.
    pub beliefs: Option<Beliefs>,
}

/// How good the beliefs were that a trainee stated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Beliefs {
    /// How many.
    pub stated: usize,
    /// The mean square of what was said less what was there, 0 (knew) to 1 (sure of what is not there). Brier (1950).
    pub brier: f64,
    /// The same for what the book gave the same causes.
    pub book: f64,
    /// The mean square of what was said less what the book gave: how far off, without luck.
    pub off: f64,
}

/// The score of a drill so far.
#[must_use]
pub fn score(drill: &Drill<'_, '_>) -> Score {
    let steps = &drill.steps;
    let count = |wanted: &dyn Fn(&Lesson) -> bool| steps.iter().filter(|step| wanted(&step.lesson)).count();
    let regret: Money = steps.iter().map(Step::regret).sum();
    let best = steps.first().map_or_else(|| drill.best(), |step| step.best);
    let breached = matches!(drill.end, Some(End::Breached(_)));
    Score {
        score: if breached { 0.0 } else { mean_grade(steps) },
        best,
        regret,
        cost: drill.job.money,
        minutes: drill.job.minutes,
        steps: steps.len(),
        redundant: count(&tells_nothing),
        premature: count(&|l| matches!(l, Lesson::TooSoon(_))),
        breaches: usize::from(breached),
        hints: steps.iter().map(|step| step.hints).sum(),
        beliefs: beliefs(steps.iter().filter_map(|step| step.stated)),
    }
}

/// The mean of the grades; the best where nothing was chosen.
fn mean_grade(steps: &[Step]) -> f64 {
    if steps.is_empty() {
        return 1.0;
    }
    #[expect(clippy::cast_precision_loss, reason = "a few dozen")]
    let n = steps.len() as f64;
    steps.iter().map(grade).sum::<f64>() / n
}

/// How good stated beliefs are.
#[must_use]
pub fn beliefs(stated: impl Iterator<Item = Stated>) -> Option<Beliefs> {
    let all: Vec<Stated> = stated.collect();
    if all.is_empty() {
        return None;
    }
    #[expect(clippy::cast_precision_loss, reason = "a few dozen")]
    let n = all.len() as f64;
    let mean = |of: &dyn Fn(&Stated) -> f64| all.iter().map(of).sum::<f64>() / n;
    let there = |s: &Stated| f64::from(u8::from(s.there));
    let square = |x: f64| x * x;
    Some(Beliefs {
        stated: all.len(),
        brier: mean(&|s| square(s.chance - there(s))),
        book: mean(&|s| square(s.book - there(s))),
        off: mean(&|s| square(s.chance - s.book)),
    })
}
