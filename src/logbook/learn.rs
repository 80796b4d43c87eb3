//! What closed jobs teach: how common causes are, and what checks show.
//!
//! # Causes
//!
//! A job is one in which something was complained of, by an owner whose craft has a history. How often a cause is found in
//! jobs is therefore not how common it is: a cause that stops the engine is met far more often than one that nobody
//! notices. So found is held against *expected*: for every job the chance of the cause at intake, given craft, history
//! and complaint, under the knowledge as it is, among jobs in which something listed is behind the complaint (in no others
//! is a cause ever confirmed).
//!
//! A cause is a root of the network. Where its odds before history change by a factor, its odds given anything at all
//! change by the same factor. With `a_k` the log-odds at intake in job `k` and `b_k` those once all is known (infinite where
//! it was confirmed), the shift `t` of the log-odds that the jobs ask for solves
//!
//! ```text
//! worth (mean_k s(a_k) - mean_k s(t + a_k)) + sum_k w_k (s(t + b_k) - s(t + a_k)) = 0,   s(x) = 1 / (1 + e^-x)
//! ```
//!
//! which is the score of the jobs' likelihood given their complaints plus that of a prior worth so many jobs. Where every
//! job has the same craft, history and complaint and every cause is known, it is the conjugate update: the share of jobs
//! with the cause goes from Beta(worth m, worth (1 - m)) to its posterior, and `t` is what moves the mean so. Where a cause
//! was not looked for, `b_k = a_k` all but for what explains the complaint instead, and the job says next to nothing:
//! it is neither counted as there nor as absent. What answers only suggest never makes a cause commoner: the terms of jobs
//! in which it was not confirmed count together where they take it down, else not. The causes are solved in turn, rounds on end, as each bears on what the
//! others were expected to be.
//!
//! Sources: Beta updating, any textbook; parts unseen, Dempster, Laird and Rubin 1977 and Louis 1982 (from memory).

use super::conjugate::{Beta, Dirichlet};
use super::evidence::{AtIntake, Job, Shown, at_intake, expected, shown};
use super::overlay::{LearnedCause, LearnedRow, Overlay};
use super::record::{Channel, Record, Standing};
use crate::case::text;
use crate::inference::Limits;
use crate::knowledge::layout::Laid;
use crate::knowledge::{Cause, Check, Gives, Ix, Knowledge};
use crate::units::Chance;
use std::collections::BTreeMap;

/// How closed jobs are weighed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settings {
    /// The equivalent sample size of the knowledge: how many jobs the rate of a cause is worth, > 0.
    pub worth: f64,
    /// How many answers a row of a check is worth, > 0.
    pub row_worth: f64,
    /// What a later job leaves of an earlier one's weight, 0..=1.
    pub fade: f64,
    /// How much work inference may take.
    pub limits: Limits,
}

impl Default for Settings {
    /// Ten is a usual equivalent sample size for a table of a few states. Causes are rarer: at one job in fifty, ten
    /// would let a single finding multiply a rate by five. Fifty jobs let it double. The fading remembers about the last
    /// thousand jobs. All three are judgment.
    fn default() -> Self {
        Self { worth: 50.0, row_worth: 20.0, fade: 0.999, limits: Limits::default() }
    }
}

/// The jobs, sorted by what they can be used for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Learned from.
    pub used: usize,
    /// On the phone only: kept apart, they end early where the trouble was small.
    pub phone: usize,
    /// Cured, and no cause was seen; or seen, and not tried.
    pub unproved: usize,
    /// Neither cause nor cure is known.
    pub unconfirmed: usize,
    /// Of another knowledge base, or their case no longer reads.
    pub unread: usize,
    /// The knowledge holds them for impossible.
    pub impossible: usize,
}

/// Why nothing could be learned.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Error {
    /// Inference gave up.
    #[error("job `{id}` cannot be weighed: {cause}")]
    Inference {
        /// The job.
        id: String,
        /// Why.
        cause: crate::inference::Error,
    },
}

/// The least and the most rounds allowed. Causes bear on each other little; three to six are usual.
const ROUNDS: std::ops::RangeInclusive<usize> = 6..=20;
/// Jobs looked at in all rounds together, where there are more than the least: a minute or two on a wide network.
const LOOKS: usize = 2_000;
/// A round that moves no log-odds by more is the last: half of what is news.
const STEADY: f64 = 5e-3;
/// The odds of no cause change by more than this factor.
const MOST_SHIFT: f64 = 1e4;
/// Log-odds that moved by less are not news: one part in a hundred.
const LEAST_NEWS: f64 = 0.01;

/// One job and what it weighs.
struct Weighed<'k> {
    job: Job,
    laid: Laid<'k>,
    weight: f64,
    id: String,
}

/// What closed jobs teach about a knowledge base; `records` in the order in which the jobs were closed.
///
/// `watch` is told, now and then, how many looks at a job were taken, of at most how many.
///
/// Cost: two posteriors a look, a look a job and round, a sample of worlds a job.
///
/// # Errors
/// Where inference is beyond the limits on some job.
pub fn learn(
    knowledge: &Knowledge,
    records: &[Record],
    settings: &Settings,
    watch: &mut dyn FnMut(usize, usize),
) -> Result<(Overlay, Counts), Error> {
    let (jobs, mut counts) = sort(knowledge, records, settings);
    // Rows first: what a check shows bears on what was not confirmed.
    let rows = rows(knowledge, &jobs, settings)?;
    let mut base = knowledge.clone();
    Overlay::new(knowledge, 0, 0.0, Vec::new(), rows.clone()).apply(&mut base);
    let mut shifts: BTreeMap<Ix<Cause>, f64> = BTreeMap::new();
    let mut out = vec![false; jobs.len()];
    let mut views = Vec::new();
    let rounds = (LOOKS / jobs.len().max(1)).clamp(*ROUNDS.start(), *ROUNDS.end());
    for round in 0..rounds {
        let moved = shifted(&base, &shifts);
        views = Vec::new();
        for (at, job) in jobs.iter().enumerate() {
            if out[at] {
                continue;
            }
            watch(round * jobs.len() + at, rounds * jobs.len());
            match view(&moved, job, settings) {
                Ok(view) => views.push(view),
                Err(crate::inference::Error::Contradiction) => out[at] = true,
                Err(cause) => return Err(Error::Inference { id: job.id.clone(), cause }),
            }
        }
        let next = solve_all(knowledge, &views, &shifts, settings);
        let change = next.iter().map(|(ix, t)| (t - shifts.get(ix).copied().unwrap_or(0.0)).abs()).fold(0.0, f64::max);
        shifts = next;
        if change < STEADY {
            break;
        }
    }
    counts.impossible = out.iter().filter(|out| **out).count();
    counts.used -= counts.impossible;
    let causes = told(knowledge, &views, &shifts, settings);
    let weight = jobs.iter().zip(&out).filter(|(_, out)| !**out).map(|(job, _)| job.weight).sum();
    Ok((Overlay::new(knowledge, counts.used, weight, causes, rows), counts))
}

/// The jobs to learn from, the last one with weight 1.
fn sort<'k>(knowledge: &'k Knowledge, records: &[Record], settings: &Settings) -> (Vec<Weighed<'k>>, Counts) {
    let mut counts = Counts::default();
    let mut jobs = Vec::new();
    for record in records {
        match (record.channel, record.standing()) {
            (Channel::Phone, _) => counts.phone += 1,
            (_, Standing::Unproved) => counts.unproved += 1,
            (_, Standing::Unconfirmed) => counts.unconfirmed += 1,
            (Channel::Shop, Standing::Confirmed) => {
                let read = text::read(&record.id, &record.case, knowledge).0;
                let job = read.and_then(|case| {
                    let laid = Laid::new(knowledge, case.craft.clone());
                    Job::of(&laid, &case, record).map(|job| (job, laid))
                });
                match job {
                    Some((job, laid)) => jobs.push(Weighed { job, laid, weight: 1.0, id: record.id.clone() }),
                    None => counts.unread += 1,
                }
            }
        }
    }
    let mut weight = 1.0;
    for job in jobs.iter_mut().rev() {
        job.weight = weight;
        weight *= settings.fade;
    }
    counts.used = jobs.len();
    (jobs, counts)
}

/// What one job says of every cause: weight, chance at intake, chance once all is known.
struct View {
    weight: f64,
    before: AtIntake,
    after: BTreeMap<Ix<Cause>, After>,
}

/// What is known of a cause in the end.
#[derive(Clone, Copy, Debug, PartialEq)]
enum After {
    /// It was confirmed.
    Confirmed,
    /// It has this chance of having been there.
    Chance(f64),
    /// It was found beside the cause of the complaint: its absence would not have been noted, so it says nothing.
    Beside,
}

fn view(moved: &Knowledge, job: &Weighed<'_>, settings: &Settings) -> Result<View, crate::inference::Error> {
    let laid = Laid::new(moved, job.laid.craft.clone());
    let before = expected(&laid, &job.job.asked, &settings.limits)?;
    if job.job.confirmed.iter().any(|cause| before.get(cause).is_none_or(|chance| *chance <= 0.0)) {
        return Err(crate::inference::Error::Contradiction);
    }
    let whole = at_intake(&laid, &job.job.whole, &settings.limits)?;
    let after = whole.into_iter().map(|(cause, chance)| {
        let after = if job.job.confirmed.contains(&cause) {
            After::Confirmed
        } else if job.job.beside.contains(&cause) {
            After::Beside
        } else {
            After::Chance(chance)
        };
        (cause, after)
    });
    Ok(View { weight: job.weight, after: after.collect(), before })
}

/// The knowledge with the log-odds of causes moved.
fn shifted(knowledge: &Knowledge, shifts: &BTreeMap<Ix<Cause>, f64>) -> Knowledge {
    let mut moved = knowledge.clone();
    for (&cause, &shift) in shifts {
        moved.causes.get_mut(cause).chance = moved_chance(knowledge.causes[cause].chance, shift);
    }
    moved
}

fn moved_chance(chance: Chance, shift: f64) -> Chance {
    let p = chance.get();
    if p <= 0.0 || p >= 1.0 {
        return chance;
    }
    Chance::new(logistic(logit(p) + shift)).unwrap_or(chance)
}

fn logit(p: f64) -> f64 {
    // A chance that rounding made certain stays finite.
    let p = p.clamp(1e-15, 1.0 - 1e-15);
    libm::log(p) - libm::log1p(-p)
}

fn logistic(x: f64) -> f64 {
    1.0 / (1.0 + libm::exp(-x))
}

/// The jobs as one cause sees them.
struct Sight {
    /// Weight, log-odds at intake under the knowledge as it was, log-odds once all is known (`None`: confirmed).
    jobs: Vec<(f64, f64, Option<f64>)>,
    worth: f64,
}

impl Sight {
    /// `None` where no craft of these jobs can have the cause.
    fn of(cause: Ix<Cause>, views: &[View], shift: f64, worth: f64) -> Option<Self> {
        let mut jobs = Vec::new();
        for view in views {
            let Some(&before) = view.before.get(&cause) else { continue };
            let at_intake = logit(before) - shift;
            let (weight, after) = match view.after.get(&cause) {
                Some(After::Confirmed) => (view.weight, None),
                Some(After::Chance(chance)) => (view.weight, Some(logit(*chance) - shift)),
                Some(After::Beside) | None => (view.weight, Some(at_intake)),
            };
            jobs.push((weight, at_intake, after));
        }
        (!jobs.is_empty()).then_some(Self { jobs, worth })
    }

    fn weight(&self) -> f64 {
        self.jobs.iter().map(|job| job.0).sum()
    }

    /// The mean chance at intake where the log-odds are moved so far.
    fn expected(&self, shift: f64) -> f64 {
        self.jobs.iter().map(|(w, a, _)| w * logistic(a + shift)).sum::<f64>() / self.weight()
    }

    /// What the jobs and the prior ask for beyond a shift: above zero far to the left, below it far to the right.
    ///
    /// Jobs in which the cause was not confirmed may take it down, all of them together never up: a suspicion is no
    /// finding.
    fn score(&self, shift: f64) -> f64 {
        let (mut confirmed, mut others) = (0.0, 0.0);
        for (weight, a, b) in &self.jobs {
            let expected = logistic(a + shift);
            match b {
                None => confirmed += weight * (1.0 - expected),
                Some(b) => others += weight * (logistic(b + shift) - expected),
            }
        }
        self.worth * (self.expected(0.0) - self.expected(shift)) + confirmed + others.min(0.0)
    }

    /// The shift that the jobs ask for: halving finds where the score changes sign, to the last bits that matter.
    fn solve(&self) -> f64 {
        let bound = libm::log(MOST_SHIFT);
        let (mut low, mut high) = (-bound, bound);
        while high - low > 1e-10 {
            let middle = f64::midpoint(low, high);
            if self.score(middle) > 0.0 {
                low = middle;
            } else {
                high = middle;
            }
        }
        f64::midpoint(low, high)
    }

    /// How many jobs told something: of each the share of what knowing the cause for certain would tell.
    fn telling(&self, shift: f64) -> f64 {
        let spread = |x: f64| logistic(x + shift) * (1.0 - logistic(x + shift));
        self.jobs
            .iter()
            .map(|(w, a, b)| w * b.map_or(1.0, |b| (1.0 - spread(b) / spread(*a).max(1e-300)).max(0.0)))
            .sum()
    }

    /// In how many jobs it was confirmed, by weight.
    fn found(&self) -> f64 {
        // Nothing sums to minus zero.
        self.jobs.iter().filter(|(_, _, after)| after.is_none()).map(|(w, ..)| w).sum::<f64>() + 0.0
    }
}

fn solve_all(
    knowledge: &Knowledge,
    views: &[View],
    shifts: &BTreeMap<Ix<Cause>, f64>,
    settings: &Settings,
) -> BTreeMap<Ix<Cause>, f64> {
    let causes = knowledge.causes.iter().map(|(ix, _)| ix);
    causes
        .filter_map(|ix| {
            let shift = shifts.get(&ix).copied().unwrap_or(0.0);
            Sight::of(ix, views, shift, settings.worth).map(|sight| (ix, sight.solve()))
        })
        .collect()
}

/// The causes whose numbers moved.
fn told(
    knowledge: &Knowledge,
    views: &[View],
    shifts: &BTreeMap<Ix<Cause>, f64>,
    settings: &Settings,
) -> Vec<LearnedCause> {
    let news = shifts.iter().filter(|(_, shift)| shift.abs() >= LEAST_NEWS);
    news.filter_map(|(&ix, &shift)| {
        let sight = Sight::of(ix, views, shift, settings.worth)?;
        let before = knowledge.causes[ix].chance;
        let after = moved_chance(before, shift);
        let telling = sight.telling(shift);
        let share = Beta::worth(sight.expected(shift), settings.worth + telling);
        (before != after).then_some(LearnedCause {
            cause: ix,
            before,
            after,
            found: sight.found(),
            cases: telling,
            expected: sight.expected(0.0),
            now: share.mean(),
            sd: share.sd(),
        })
    })
    .collect()
}

/// The rows of checks whose numbers moved.
fn rows(knowledge: &Knowledge, jobs: &[Weighed<'_>], settings: &Settings) -> Result<Vec<LearnedRow>, Error> {
    let mut counts: BTreeMap<(Ix<Check>, usize), Vec<f64>> = BTreeMap::new();
    for job in jobs {
        let shown = match shown(&job.laid, &job.job, &settings.limits) {
            Ok(shown) => shown,
            // It is counted among the impossible below.
            Err(crate::inference::Error::Contradiction) => continue,
            Err(cause) => return Err(Error::Inference { id: job.id.clone(), cause }),
        };
        for Shown { check, row, outcome } in shown {
            let of = counts.entry((check, row)).or_insert_with(|| vec![0.0; knowledge.checks[check].outcomes.len()]);
            of[outcome] += job.weight;
        }
    }
    let slip = knowledge.slip.get();
    let learned = counts.into_iter().filter_map(|((check, row), counts)| {
        let Gives::Chances(before) = &knowledge.checks[check].rows[row].gives else { return None };
        let after = learned_chances(before, &counts, slip, settings.row_worth);
        let cases = counts.iter().sum();
        Some(LearnedRow { check, row, before: before.clone(), after, counts, cases })
    });
    Ok(learned.collect())
}

/// The chances of a row after these counts. Answers are seen through the slip, which is taken off again.
#[must_use]
pub fn learned_chances(before: &[f64], counts: &[f64], slip: f64, worth: f64) -> Vec<f64> {
    #[expect(clippy::cast_precision_loss, reason = "a handful of outcomes")]
    let each = slip / before.len() as f64;
    let seen: Vec<f64> = before.iter().map(|p| (1.0 - slip) * p + each).collect();
    let means = Dirichlet::worth(&seen, worth).and(counts).means();
    let raw: Vec<f64> = means.iter().map(|mean| ((mean - each) / (1.0 - slip)).max(0.0)).collect();
    let all: f64 = raw.iter().sum();
    raw.iter().map(|p| p / all).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sight(expected: f64, found: usize, not_found: usize, worth: f64) -> Sight {
        let a = logit(expected);
        let job = |after| (1.0, a, after);
        let jobs = std::iter::repeat_n(job(None), found).chain(std::iter::repeat_n(job(Some(-40.0)), not_found));
        Sight { jobs: jobs.collect(), worth }
    }

    /// Alike jobs in which everything is known: the conjugate update, to the last digits.
    #[test]
    fn alike_jobs_are_counted_as_a_beta_counts() {
        let beta = Beta::worth(0.08, 50.0).and(9.0, 31.0);
        let learned = sight(0.08, 9, 31, 50.0);
        assert!((learned.expected(learned.solve()) - beta.mean()).abs() < 1e-9);
        assert!((learned.telling(learned.solve()) - 40.0).abs() < 1e-6);
    }

    /// Beta(5.2, 160.1) is Beta(.2, 9.8) after 5 of 155.3: whatever made it, its mean comes out.
    #[test]
    fn the_published_beta_comes_out_of_its_jobs() {
        let mut learned = sight(0.02, 5, 150, 10.0);
        // A job of weight .3, as fading leaves it.
        learned.jobs.push((0.3, logit(0.02), Some(-40.0)));
        let share = Beta { yes: 5.2, no: 160.1 };
        assert!((learned.expected(learned.solve()) - share.mean()).abs() < 1e-9);
        assert!((learned.telling(learned.solve()) + 10.0 - share.cases()).abs() < 1e-6);
    }

    #[test]
    fn a_job_in_which_nobody_looked_says_nothing() {
        let a = logit(0.1);
        let unseen = Sight { jobs: vec![(1.0, a, Some(a)); 50], worth: 10.0 };
        assert!(unseen.solve().abs() < 1e-9 && unseen.telling(0.0).abs() < 1e-9);
    }

    #[test]
    fn a_row_is_learned_behind_the_slip() {
        // Twenty answers' worth at .9, then eighty of which sixty: seen through a slip of .02 and back.
        let after = learned_chances(&[0.9, 0.1], &[60.0, 20.0], 0.02, 20.0);
        let seen = (20.0 * (0.98 * 0.9 + 0.01) + 60.0) / 100.0;
        assert!((after[0] - (seen - 0.01) / 0.98).abs() < 1e-12 && (after[0] + after[1] - 1.0).abs() < 1e-12);
    }
}
