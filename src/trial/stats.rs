//! What many jobs come to: means with 95 percent intervals, differences job by job, and how good the beliefs were.

use super::policy::Policy;
use super::reading::{Forecast, Rank};
use super::{Ending, Record};
use crate::model::draw::Draw;

/// A mean over jobs.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Mean {
    /// The mean.
    pub mean: f64,
    /// Half the width of its 95 percent interval, by the normal approximation; 0 for fewer than two jobs.
    pub half: f64,
}

/// One policy over all jobs.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// Which.
    pub policy: Policy,
    /// What a job cost.
    pub money: Mean,
    /// What it cost more than the first policy, job by job; `None` for that one.
    pub more: Option<Mean>,
    /// Minutes a job took.
    pub minutes: Mean,
    /// Checks a job.
    pub checks: f64,
    /// Repairs a job.
    pub repairs: f64,
    /// The share cured, not handed over.
    pub cured: f64,
    /// The share that the first repair cured.
    pub first_time: f64,
    /// Money a job for parts of repairs that found nothing to repair.
    pub needless_parts: f64,
    /// Steps a job that an interlock forbade or held up.
    pub barred: f64,
    /// Times a job came back.
    pub comebacks: f64,
    /// The share handed over while an interlock forbade to try repairs.
    pub locked: f64,
}

/// Forecasts of about the same chance, and what came of them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bin {
    /// From this chance.
    pub low: f64,
    /// To this chance.
    pub high: f64,
    /// How many forecasts.
    pub count: usize,
    /// Their mean.
    pub forecast: f64,
    /// The share that was there.
    pub observed: f64,
    /// Between what shares 95 of a hundred systems of the same size lie whose every chance is right.
    pub right: (f64, f64),
}

/// A share of jobs.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Share {
    /// The share; 0 of no jobs.
    pub share: f64,
    /// Where its 95 percent interval begins (Wilson 1927).
    pub low: f64,
    /// Where it ends.
    pub high: f64,
}

/// Where the true causes stood in jobs with a listed fault.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ranks {
    /// When it was read.
    pub when: When,
    /// How many such jobs.
    pub jobs: usize,
    /// A true cause was the likeliest.
    pub first: Share,
    /// One was among the likeliest three.
    pub among_three: Share,
    /// The likeliest was a true cause or is removed by the same repair as one.
    pub repair_first: Share,
    /// One of the likeliest three was.
    pub repair_among_three: Share,
}

/// When beliefs were read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum When {
    /// When the advice stopped looking.
    Stopped,
    /// At the end of the job.
    Ended,
    /// At the end of the jobs that ended so.
    EndedSo(Ending),
}

/// How good the beliefs behind the advice were when it stopped looking.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Beliefs {
    /// Jobs with a forecast.
    pub jobs: usize,
    /// Where the true causes stood, at one moment after another; moments without jobs are left out.
    pub ranks: Vec<Ranks>,
    /// Squared errors of all causes, summed over a job.
    pub brier: f64,
    /// Negative logarithms (natural) of the chances of what was the case, summed over a job's causes.
    pub log_score: f64,
    /// What would be expected of both, were every chance right: `brier`, `log_score`.
    pub perfect: (f64, f64),
    /// Forecasts by their chance.
    pub bins: Vec<Bin>,
    /// The mean distance between forecast and outcome, weighted by how many forecasts there are.
    pub calibration_error: f64,
    /// What it would be, were every chance right: it is above zero for any finite number of jobs.
    pub perfect_calibration_error: f64,
    /// Of the jobs with a listed fault, the share in which answers were said not to fit.
    pub false_alarms: Share,
    /// Of the jobs with a fault that is not listed, the share in which they were; `None` where there was no such job.
    pub caught: Option<Share>,
    /// The share that would be caught, were it said from where 5 in 100 jobs with a listed fault come, and that chance.
    pub caught_at_five: Option<(Share, f64)>,
}

/// A job that the first policy did worse than another, or one that cost it much where there is no other.
#[derive(Clone, Debug)]
pub struct Worst {
    /// How the first policy worked it.
    pub ours: Record,
    /// How the best of the others did; `None` where no other was asked.
    pub better: Option<Record>,
}

/// All of it.
#[derive(Clone, Debug)]
pub struct Summary {
    /// Jobs played.
    pub jobs: usize,
    /// A line a policy.
    pub lines: Vec<Line>,
    /// The beliefs behind the advice, where it was among the policies.
    pub beliefs: Option<Beliefs>,
    /// The jobs on which the first policy lost most, the worst first.
    pub worst: Vec<Worst>,
}

/// The edges of the bins of forecasts: narrow where most causes are.
const EDGES: [f64; 11] = [0.0, 0.01, 0.02, 0.05, 0.1, 0.2, 0.3, 0.5, 0.7, 0.9, 1.0];
/// How many systems that are right are simulated: the fifth from either end bounds 95 of a hundred.
const PERFECT_SYSTEMS: u64 = 200;
const PERFECT_BEYOND: usize = 5;
/// How many of the worst jobs are told.
const WORST_TOLD: usize = 8;
/// The 97.5 percent point of the standard normal.
const Z95: f64 = 1.959_963_985;

/// Sums up records, each job's as [`super::Trial::play`] gives them.
#[must_use]
pub fn summary(jobs: &[Vec<Record>], policies: &[Policy]) -> Summary {
    let jobs: Vec<&Vec<Record>> = jobs.iter().filter(|records| records.len() == policies.len()).collect();
    let column = |at: usize| -> Vec<&Record> { jobs.iter().map(|records| &records[at]).collect() };
    let first = if policies.is_empty() { Vec::new() } else { column(0) };
    let lines = (0..policies.len()).map(|at| line(policies[at], &column(at), (at > 0).then_some(&first))).collect();
    let advised = policies.iter().position(|policy| *policy == Policy::Ours);
    Summary { jobs: jobs.len(), lines, beliefs: advised.map(|at| beliefs(&column(at))), worst: worst(&jobs) }
}

fn line(policy: Policy, records: &[&Record], first: Option<&Vec<&Record>>) -> Line {
    let average = |of: &dyn Fn(&Record) -> f64| mean(records.iter().map(|r| of(r))).mean;
    let share = |of: &dyn Fn(&Record) -> bool| average(&|r| f64::from(u8::from(of(r))));
    #[expect(clippy::cast_precision_loss, reason = "a job has few steps")]
    let count = |n: usize| n as f64;
    Line {
        policy,
        money: mean(records.iter().map(|r| r.money.get())),
        more: first.map(|first| mean(records.iter().zip(first).map(|(r, f)| r.money.get() - f.money.get()))),
        minutes: mean(records.iter().map(|r| r.minutes.get())),
        checks: average(&|r| count(r.checks)),
        repairs: average(&|r| count(r.repairs)),
        cured: share(&|r| r.is_cured()),
        first_time: share(&|r| r.first_time),
        needless_parts: average(&|r| r.needless_parts.get()),
        barred: average(&|r| count(r.barred)),
        comebacks: average(&|r| count(r.comebacks)),
        locked: share(&|r| r.ending == Ending::Locked),
    }
}

/// The mean of numbers and its interval.
#[must_use]
#[expect(clippy::cast_precision_loss, reason = "jobs are counted in far fewer than 2^52")]
pub fn mean(values: impl Iterator<Item = f64>) -> Mean {
    let values: Vec<f64> = values.collect();
    let n = values.len() as f64;
    if values.is_empty() {
        return Mean::default();
    }
    let mean = values.iter().sum::<f64>() / n;
    if values.len() < 2 {
        return Mean { mean, half: 0.0 };
    }
    let variance = values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / (n - 1.0);
    Mean { mean, half: Z95 * libm::sqrt(variance / n) }
}

fn worst(jobs: &[&Vec<Record>]) -> Vec<Worst> {
    let one = |records: &&Vec<Record>| {
        let (ours, others) = records.split_first()?;
        let better = others.iter().min_by(|a, b| a.money.get().total_cmp(&b.money.get()));
        let lost = better.is_none_or(|better| better.money < ours.money);
        lost.then(|| Worst { ours: ours.clone(), better: better.cloned() })
    };
    let mut worst: Vec<Worst> = jobs.iter().filter_map(one).collect();
    let lost = |w: &Worst| w.ours.money.get() - w.better.as_ref().map_or(0.0, |better| better.money.get());
    worst.sort_by(|a, b| lost(b).total_cmp(&lost(a)).then(a.ours.job.cmp(&b.ours.job)));
    worst.truncate(WORST_TOLD);
    worst
}

fn beliefs(records: &[&Record]) -> Beliefs {
    let forecasts: Vec<&Forecast> = records.iter().filter_map(|r| r.belief.as_ref()).collect();
    if forecasts.is_empty() {
        return Beliefs::default();
    }
    let flagged = |records: &mut dyn Iterator<Item = &Record>| {
        let flags: Vec<bool> = records.filter(|r| r.belief.is_some()).map(|r| r.flagged).collect();
        share(flags.iter().filter(|flag| **flag).count(), flags.len())
    };
    let mut listed = records.iter().copied().filter(|r| r.is_listed());
    let mut unlisted = records.iter().copied().filter(|r| !r.unlisted.is_empty()).peekable();
    let pairs: Vec<(f64, bool)> = forecasts.iter().flat_map(|f| f.chances.iter().copied()).collect();
    let per_job = |of: &dyn Fn(f64, bool) -> f64| {
        mean(forecasts.iter().map(|f| f.chances.iter().map(|&(p, y)| of(p, y)).sum())).mean
    };
    let square = |p: f64, y: bool| (p - f64::from(u8::from(y))) * (p - f64::from(u8::from(y)));
    let log = |p: f64, y: bool| -libm::log((if y { p } else { 1.0 - p }).max(1e-9));
    let expected = |of: &dyn Fn(f64, bool) -> f64| per_job(&|p, _| p * of(p, true) + (1.0 - p) * of(p, false));
    Beliefs {
        jobs: forecasts.len(),
        ranks: ranks(records),
        brier: per_job(&square),
        log_score: per_job(&log),
        perfect: (expected(&square), expected(&log)),
        bins: bins(&pairs),
        calibration_error: calibration_error(&pairs),
        perfect_calibration_error: perfect_calibration_error(&pairs),
        false_alarms: flagged(&mut listed),
        caught: unlisted.peek().is_some().then(|| flagged(&mut unlisted)),
        caught_at_five: caught_at_five(records),
    }
}

/// One in so many false alarms.
const ALARMS: usize = 20;

/// What would be caught at 5 in 100 false alarms, and the chance from which on it would be said.
fn caught_at_five(records: &[&Record]) -> Option<(Share, f64)> {
    let chances = |is: &dyn Fn(&Record) -> bool| -> Vec<f64> {
        records.iter().filter(|r| r.belief.is_some() && is(r)).map(|r| r.beyond).collect()
    };
    let mut listed = chances(&Record::is_listed);
    listed.sort_by(|a, b| b.total_cmp(a));
    let unlisted = chances(&|r| !r.unlisted.is_empty());
    let from = *listed.get(listed.len() / ALARMS)?;
    let caught = unlisted.iter().filter(|chance| **chance > from).count();
    (!unlisted.is_empty()).then(|| (share(caught, unlisted.len()), from))
}

/// Where the true causes stood in the jobs with a listed fault, moment by moment.
fn ranks(records: &[&Record]) -> Vec<Ranks> {
    let listed: Vec<&Record> = records.iter().copied().filter(|r| r.is_listed()).collect();
    let stopped = |r: &&Record| r.belief.as_ref().map(|belief| belief.rank);
    let mut ranks = vec![(When::Stopped, listed.iter().filter_map(stopped).collect::<Vec<Rank>>())];
    ranks.push((When::Ended, listed.iter().filter_map(|r| r.at_end).collect()));
    for ending in Ending::ALL {
        let so = listed.iter().filter(|r| r.ending == ending).filter_map(|r| r.at_end);
        ranks.push((When::EndedSo(ending), so.collect()));
    }
    ranks.into_iter().filter(|(_, of)| !of.is_empty()).map(|(when, of)| ranked(when, &of)).collect()
}

fn ranked(when: When, of: &[Rank]) -> Ranks {
    let within = |most: usize, place: &dyn Fn(&Rank) -> Option<usize>| {
        share(of.iter().filter(|rank| place(rank).is_some_and(|at| at < most)).count(), of.len())
    };
    Ranks {
        when,
        jobs: of.len(),
        first: within(1, &|r| r.cause),
        among_three: within(3, &|r| r.cause),
        repair_first: within(1, &|r| r.repair),
        repair_among_three: within(3, &|r| r.repair),
    }
}

/// A share and its 95 percent interval, which stays within 0..=1 and has a width at both ends.
///
/// Source: Wilson, Journal of the American Statistical Association 22 (1927), pp. 209-212 (from memory).
#[must_use]
#[expect(clippy::cast_precision_loss, reason = "jobs are counted in far fewer than 2^52")]
pub fn share(yes: usize, of: usize) -> Share {
    if of == 0 {
        return Share::default();
    }
    let n = of as f64;
    let share = yes as f64 / n;
    let z2 = Z95 * Z95;
    let middle = (share + z2 / (2.0 * n)) / (1.0 + z2 / n);
    let half = Z95 * libm::sqrt(share * (1.0 - share) / n + z2 / (4.0 * n * n)) / (1.0 + z2 / n);
    Share { share, low: (middle - half).max(0.0), high: (middle + half).min(1.0) }
}

/// Forecasts by their chance; bins without any are left out.
#[must_use]
pub fn bins(pairs: &[(f64, bool)]) -> Vec<Bin> {
    EDGES.windows(2).filter_map(|edge| bin(pairs, edge[0], edge[1])).collect()
}

fn bin(pairs: &[(f64, bool)], low: f64, high: f64) -> Option<Bin> {
    let inside = |p: f64| p >= low && (p < high || high >= 1.0);
    let of: Vec<(f64, bool)> = pairs.iter().copied().filter(|(p, _)| inside(*p)).collect();
    let there = |of: &mut dyn Iterator<Item = bool>| mean(of.map(|y| f64::from(u8::from(y)))).mean;
    let mut right: Vec<f64> = (0..PERFECT_SYSTEMS)
        .map(|system| {
            let mut draw = Draw::new(0, system);
            there(&mut of.iter().map(|(p, _)| draw.happens(*p)))
        })
        .collect();
    right.sort_by(f64::total_cmp);
    (!of.is_empty()).then(|| Bin {
        low,
        high,
        count: of.len(),
        forecast: mean(of.iter().map(|(p, _)| *p)).mean,
        observed: there(&mut of.iter().map(|(_, y)| *y)),
        right: (right[PERFECT_BEYOND], right[right.len() - 1 - PERFECT_BEYOND]),
    })
}

/// The mean distance between forecast and outcome over bins, weighted by their forecasts.
#[must_use]
#[expect(clippy::cast_precision_loss, reason = "forecasts are counted in far fewer than 2^52")]
pub fn calibration_error(pairs: &[(f64, bool)]) -> f64 {
    let mut surplus = [0.0; EDGES.len() - 1];
    for &(p, y) in pairs {
        let at = EDGES[1..EDGES.len() - 1].iter().filter(|edge| p >= **edge).count();
        surplus[at] += p - f64::from(u8::from(y));
    }
    surplus.iter().map(|s: &f64| s.abs()).sum::<f64>() / pairs.len().max(1) as f64
}

/// The same, where every chance is right and chance alone decides: the mean over simulated systems of the same size.
fn perfect_calibration_error(pairs: &[(f64, bool)]) -> f64 {
    mean((0..PERFECT_SYSTEMS).map(|system| {
        let mut draw = Draw::new(0, system);
        let right: Vec<(f64, bool)> = pairs.iter().map(|&(p, _)| (p, draw.happens(p))).collect();
        calibration_error(&right)
    }))
    .mean
}

#[cfg(test)]
mod tests {
    use super::*;

    /// (0, 1, 1, 0) forecast at (.1, .9, .8, .3): squared errors of .0375 on average, as in the documentation of a
    /// common library for machine learning (from memory, and worked out again).
    #[test]
    fn scores_are_those_of_a_textbook() {
        let pairs = [(0.1, false), (0.9, true), (0.8, true), (0.3, false)];
        let brier: f64 = pairs.iter().map(|&(p, y)| (p - f64::from(u8::from(y))).powi(2)).sum::<f64>() / 4.0;
        assert!((brier - 0.0375).abs() < 1e-12);
        assert_eq!(bins(&pairs).iter().map(|b| b.count).collect::<Vec<_>>(), [1, 1, 1, 1]);
        assert!(bins(&pairs).iter().all(|bin| bin.right == (0.0, 1.0)), "one forecast may come out either way");
        assert!((calibration_error(&pairs) - (0.1 + 0.1 + 0.2 + 0.3) / 4.0).abs() < 1e-12);
    }

    /// 8 of 10: 0.490 to 0.943, as tables of Wilson's interval have it (from memory, and worked out again).
    #[test]
    fn a_share_has_an_interval() {
        let Share { share: eight, low, high } = share(8, 10);
        assert!((eight - 0.8).abs() < 1e-12);
        assert!((low - 0.490_16).abs() < 1e-4 && (high - 0.943_32).abs() < 1e-4, "{low} {high}");
        let all = share(20, 20);
        assert!(all.low > 0.8 && all.low < 0.9 && (all.high - 1.0).abs() < 1e-12, "{all:?}");
    }

    #[test]
    fn a_mean_has_an_interval() {
        let Mean { mean, half } = mean([1.0, 2.0, 3.0, 4.0].into_iter());
        assert!((mean - 2.5).abs() < 1e-12);
        // sd 1.290994, over sqrt 4, times 1.959964.
        assert!((half - 1.265_15).abs() < 1e-4, "{half}");
    }
}
