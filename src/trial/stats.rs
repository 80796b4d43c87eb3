//! What many jobs come to: means with 95 percent intervals, differences job by job, and how good the beliefs were.

use super::policy::Policy;
use super::{Forecast, Record};
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
}

/// How good the beliefs behind the advice were when it stopped looking.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Beliefs {
    /// Jobs with a forecast.
    pub jobs: usize,
    /// Of those with a listed cause behind the complaint, the share in which one was the likeliest.
    pub first: f64,
    /// The share in which one was among the likeliest three.
    pub among_three: f64,
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
    /// Of the jobs with listed faults only, the share in which answers were said not to fit.
    pub false_alarms: f64,
    /// Of the jobs with a fault that is not listed, the share in which they were; `None` where there was no such job.
    pub caught: Option<f64>,
}

/// A job that the first policy did worse than another.
#[derive(Clone, Debug)]
pub struct Worst {
    /// How the first policy worked it.
    pub ours: Record,
    /// How the best of the others did.
    pub better: Record,
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
/// How many systems that are right are simulated.
const PERFECT_SYSTEMS: u64 = 20;
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
        cured: share(&|r| r.cured),
        first_time: share(&|r| r.first_time),
        needless_parts: average(&|r| r.needless_parts.get()),
        barred: average(&|r| count(r.barred)),
        comebacks: average(&|r| count(r.comebacks)),
        locked: share(&|r| r.locked),
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
    let mut worst: Vec<Worst> = jobs
        .iter()
        .filter_map(|records| {
            let (ours, others) = records.split_first()?;
            let better = others.iter().min_by(|a, b| a.money.get().total_cmp(&b.money.get()))?;
            (better.money < ours.money).then(|| Worst { ours: ours.clone(), better: better.clone() })
        })
        .collect();
    let lost = |w: &Worst| w.ours.money.get() - w.better.money.get();
    worst.sort_by(|a, b| lost(b).total_cmp(&lost(a)).then(a.ours.job.cmp(&b.ours.job)));
    worst.truncate(WORST_TOLD);
    worst
}

fn beliefs(records: &[&Record]) -> Beliefs {
    let forecasts: Vec<&Forecast> = records.iter().filter_map(|r| r.belief.as_ref()).collect();
    if forecasts.is_empty() {
        return Beliefs::default();
    }
    let listed: Vec<usize> =
        records.iter().filter(|r| r.unlisted.is_empty()).filter_map(|r| r.belief.as_ref()?.rank).collect();
    let share = |yes: usize, of: usize| {
        #[expect(clippy::cast_precision_loss, reason = "jobs are counted in far fewer than 2^52")]
        if of > 0 { yes as f64 / of as f64 } else { 0.0 }
    };
    let among = |most: usize| share(listed.iter().filter(|rank| **rank < most).count(), listed.len());
    let flagged = |unlisted: bool| {
        let of: Vec<bool> = records
            .iter()
            .filter(|r| r.unlisted.is_empty() != unlisted)
            .filter_map(|r| r.belief.as_ref().map(|b| b.flagged))
            .collect();
        (!of.is_empty()).then(|| share(of.iter().filter(|f| **f).count(), of.len()))
    };
    let pairs: Vec<(f64, bool)> = forecasts.iter().flat_map(|f| f.chances.iter().copied()).collect();
    let per_job = |of: &dyn Fn(f64, bool) -> f64| {
        mean(forecasts.iter().map(|f| f.chances.iter().map(|&(p, y)| of(p, y)).sum())).mean
    };
    let square = |p: f64, y: bool| (p - f64::from(u8::from(y))) * (p - f64::from(u8::from(y)));
    let log = |p: f64, y: bool| -libm::log((if y { p } else { 1.0 - p }).max(1e-9));
    let expected = |of: &dyn Fn(f64, bool) -> f64| per_job(&|p, _| p * of(p, true) + (1.0 - p) * of(p, false));
    Beliefs {
        jobs: forecasts.len(),
        first: among(1),
        among_three: among(3),
        brier: per_job(&square),
        log_score: per_job(&log),
        perfect: (expected(&square), expected(&log)),
        bins: bins(&pairs),
        calibration_error: calibration_error(&pairs),
        perfect_calibration_error: perfect_calibration_error(&pairs),
        false_alarms: flagged(false).unwrap_or(0.0),
        caught: flagged(true),
    }
}

/// Forecasts by their chance; bins without any are left out.
#[must_use]
pub fn bins(pairs: &[(f64, bool)]) -> Vec<Bin> {
    EDGES
        .windows(2)
        .filter_map(|edge| {
            let (low, high) = (edge[0], edge[1]);
            let inside = |p: f64| p >= low && (p < high || high >= 1.0);
            let of: Vec<&(f64, bool)> = pairs.iter().filter(|(p, _)| inside(*p)).collect();
            let forecast = mean(of.iter().map(|(p, _)| *p)).mean;
            let observed = mean(of.iter().map(|(_, y)| f64::from(u8::from(*y)))).mean;
            (!of.is_empty()).then_some(Bin { low, high, count: of.len(), forecast, observed })
        })
        .collect()
}

/// The mean distance between forecast and outcome over bins, weighted by their forecasts.
#[must_use]
#[expect(clippy::cast_precision_loss, reason = "forecasts are counted in far fewer than 2^52")]
pub fn calibration_error(pairs: &[(f64, bool)]) -> f64 {
    let all = pairs.len().max(1) as f64;
    bins(pairs).iter().map(|bin| bin.count as f64 / all * (bin.forecast - bin.observed).abs()).sum()
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
        assert!((calibration_error(&pairs) - (0.1 + 0.1 + 0.2 + 0.3) / 4.0).abs() < 1e-12);
    }

    #[test]
    fn a_mean_has_an_interval() {
        let Mean { mean, half } = mean([1.0, 2.0, 3.0, 4.0].into_iter());
        assert!((mean - 2.5).abs() < 1e-12);
        // sd 1.290994, over sqrt 4, times 1.959964.
        assert!((half - 1.265_15).abs() < 1e-4, "{half}");
    }
}
