//! What many closed jobs come to.

use super::record::{Channel, End, Record, Standing};
use crate::trial::stats::{Bin, Mean, bins, calibration_error, mean};
use std::collections::BTreeMap;

/// What the jobs of a logbook come to.
#[derive(Clone, Debug, Default)]
pub struct Summary {
    /// How many.
    pub jobs: usize,
    /// By what they can be trusted for: confirmed, unproved, unconfirmed; phone jobs apart.
    pub standings: [usize; 3],
    /// Jobs on the phone.
    pub phone: usize,
    /// Jobs that ended cured.
    pub cured: usize,
    /// Jobs handed over.
    pub handed_over: usize,
    /// Of how many jobs it is known whether the first repair cured, and in how many it did.
    pub first_time: (usize, usize),
    /// Confirmed causes in shop jobs: for each layout and cause in how many jobs, the most frequent first.
    pub faults: Vec<Fault>,
    /// Confirmed shop jobs by layout.
    pub layouts: Vec<(String, usize)>,
    /// Jobs left out of that: their minutes and plan are known, what they came to is not, for parts or prices are missing.
    pub unpriced: usize,
    /// Cost against plan.
    pub costs: Option<Costs>,
    /// What was believed against what was found.
    pub beliefs: Option<Beliefs>,
}

/// One cause on one layout.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// The layout's id.
    pub layout: String,
    /// The cause's id.
    pub cause: String,
    /// Confirmed in so many jobs.
    pub jobs: usize,
}

/// What jobs cost against what their work orders foresaw; over jobs of which both are known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Costs {
    /// How many.
    pub jobs: usize,
    /// Money spent.
    pub spent: Mean,
    /// Money foreseen.
    pub planned: Mean,
    /// Spent less foreseen, job by job.
    pub more: Mean,
    /// Minutes spent less foreseen.
    pub more_minutes: Mean,
}

/// What was believed before the first repair against what was found, over confirmed shop jobs.
#[derive(Clone, Debug, PartialEq)]
pub struct Beliefs {
    /// How many jobs.
    pub jobs: usize,
    /// In what share of them a confirmed cause was the likeliest.
    pub first: f64,
    /// ... among the likeliest three.
    pub among_three: f64,
    /// The mean squared error, summed over the causes of a job.
    pub brier: f64,
    /// What that would be, on average, were every chance right.
    pub brier_expected: f64,
    /// The mean distance between said and found.
    pub calibration_error: f64,
    /// Chances by size.
    pub bins: Vec<Bin>,
}

/// Counts the jobs.
#[must_use]
pub fn summary(records: &[Record]) -> Summary {
    let shop: Vec<&Record> = records.iter().filter(|r| r.channel == Channel::Shop).collect();
    let standing = |wanted| shop.iter().filter(|r| r.standing() == wanted).count();
    let confirmed: Vec<&Record> = shop.iter().copied().filter(|r| r.standing() == Standing::Confirmed).collect();
    let known: Vec<bool> = shop.iter().filter_map(|r| r.first_time).collect();
    Summary {
        jobs: records.len(),
        standings: [Standing::Confirmed, Standing::Unproved, Standing::Unconfirmed].map(standing),
        phone: records.len() - shop.len(),
        cured: shop.iter().filter(|r| r.end == End::Cured).count(),
        handed_over: shop.iter().filter(|r| r.end == End::HandedOver).count(),
        first_time: (known.iter().filter(|first| **first).count(), known.len()),
        faults: faults(&confirmed),
        layouts: counted(confirmed.iter().map(|r| r.layout.clone())),
        unpriced: shop.iter().filter(|r| r.spent.is_none() && r.minutes.is_some() && r.plan.is_some()).count(),
        costs: costs(&shop),
        beliefs: beliefs(&confirmed),
    }
}

/// The id of a label: what stands before `@`.
#[must_use]
pub fn bare(label: &str) -> &str {
    label.split('@').next().unwrap_or(label)
}

fn counted<K: Ord>(keys: impl Iterator<Item = K>) -> Vec<(K, usize)> {
    let mut counts: BTreeMap<K, usize> = BTreeMap::new();
    keys.for_each(|key| *counts.entry(key).or_default() += 1);
    let mut counts: Vec<(K, usize)> = counts.into_iter().collect();
    counts.sort_by(|a, b| b.1.cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
    counts
}

/// A cause on two cylinders of one job is one job.
fn faults(confirmed: &[&Record]) -> Vec<Fault> {
    let of = |record: &&Record| {
        let mut causes: Vec<(String, String)> =
            record.causes.iter().map(|label| (record.layout.clone(), bare(label).to_owned())).collect();
        causes.sort();
        causes.dedup();
        causes
    };
    counted(confirmed.iter().flat_map(of))
        .into_iter()
        .map(|((layout, cause), jobs)| Fault { layout, cause, jobs })
        .collect()
}

fn costs(shop: &[&Record]) -> Option<Costs> {
    let both: Vec<(f64, f64, f64)> = shop
        .iter()
        .filter_map(|r| {
            let (spent, plan, minutes) = (r.spent?, r.plan?, r.minutes?);
            Some((spent.get(), plan.money.get(), minutes.get() - plan.minutes.get()))
        })
        .collect();
    (!both.is_empty()).then(|| Costs {
        jobs: both.len(),
        spent: mean(both.iter().map(|(spent, ..)| *spent)),
        planned: mean(both.iter().map(|(_, planned, _)| *planned)),
        more: mean(both.iter().map(|(spent, planned, _)| spent - planned)),
        more_minutes: mean(both.iter().map(|(.., minutes)| *minutes)),
    })
}

fn beliefs(confirmed: &[&Record]) -> Option<Beliefs> {
    let jobs: Vec<&&Record> = confirmed.iter().filter(|r| !r.believed.is_empty()).collect();
    if jobs.is_empty() {
        return None;
    }
    let found = |r: &Record, cause: &String| r.causes.contains(cause) || r.also_found.contains(cause);
    let pairs =
        |r: &Record| -> Vec<(f64, bool)> { r.believed.iter().map(|b| (b.chance, found(r, &b.cause))).collect() };
    let among = |most: usize| {
        let hit = |r: &&Record| r.believed.iter().take(most).any(|b| r.causes.contains(&b.cause));
        mean(jobs.iter().map(|r| f64::from(u8::from(hit(r))))).mean
    };
    let per_job =
        |of: &dyn Fn(f64, bool) -> f64| mean(jobs.iter().map(|r| pairs(r).iter().map(|&(p, y)| of(p, y)).sum())).mean;
    let all: Vec<(f64, bool)> = jobs.iter().flat_map(|r| pairs(r)).collect();
    Some(Beliefs {
        jobs: jobs.len(),
        first: among(1),
        among_three: among(3),
        brier: per_job(&|p, y| (p - f64::from(u8::from(y))) * (p - f64::from(u8::from(y)))),
        brier_expected: per_job(&|p, _| p * (1.0 - p)),
        calibration_error: calibration_error(&all),
        bins: bins(&all),
    })
}
