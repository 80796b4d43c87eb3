//! What a state comes to at least were everything told, for nothing, that the checks left can tell.
//!
//! No way of working learns more than that, so none comes to less than repairs chosen by it. The worlds fall into groups:
//! one for each way in which all checks left could be answered or, where that is too many, one for each way in which what
//! they read could be. What a check shows beyond what it reads is noise that says nothing about the cure.

use super::bounds::{Classes, Ground};
use super::problem::{Problem, Set};
use std::collections::BTreeMap;

/// The most ways to answer all checks that are gone through.
const ANSWERS_AT_MOST: usize = 4096;
/// The most worlds that are grouped by what checks read; of many drawn worlds hardly two read alike.
const WORLDS_AT_MOST: usize = 1024;

/// Worlds in groups that no check left tells apart any further.
pub enum Told {
    /// By how the checks are answered.
    Answered(Vec<Group>),
    /// By what the checks read.
    Read(Vec<Group>),
    /// Not at all.
    Nothing,
}

/// Worlds that stand together.
pub struct Group {
    /// For each check left its outcome or the row that it reads.
    marks: Vec<u8>,
    /// The weight of each class.
    classes: Vec<(usize, f64)>,
}

impl Told {
    /// Groups worlds with their weights by what the checks left can tell.
    pub fn of(problem: &Problem, class_of: &[usize], worlds: &[(usize, f64)], checks: &[usize]) -> Self {
        let ways = checks.iter().try_fold(1, |ways: usize, check| {
            ways.checked_mul(problem.checks[*check].chances.len()).filter(|ways| *ways <= ANSWERS_AT_MOST)
        });
        if ways.is_some() {
            let mut groups = Vec::new();
            answered(problem, class_of, worlds, checks, &mut Vec::new(), &mut groups);
            return Self::Answered(groups);
        }
        if worlds.len() > WORLDS_AT_MOST {
            return Self::Nothing;
        }
        let mut read: BTreeMap<Vec<u8>, Vec<(usize, f64)>> = BTreeMap::new();
        for &(world, weight) in worlds {
            let marks = checks.iter().map(|check| problem.worlds[world].rows[*check]).collect();
            read.entry(marks).or_default().push((class_of[world], weight));
        }
        Self::Read(read.into_iter().map(|(marks, classes)| Group { marks, classes: by_class(classes) }).collect())
    }

    /// What each group comes to at least once these repairs have failed; nothing where there are no groups.
    pub fn at_least(&self, classes: &Classes<'_>, ground: &Ground, done: Set) -> Vec<f64> {
        let (Self::Answered(groups) | Self::Read(groups)) = self else { return Vec::new() };
        let left: Vec<bool> = classes.cures.iter().map(|cures| !cures.by(done)).collect();
        let mut group_left = Vec::new();
        let at_least = |group: &Group| {
            group_left.clear();
            group_left.extend(group.classes.iter().filter(|(class, _)| left[*class]));
            classes.untold(&group_left, ground)
        };
        groups.iter().map(at_least).collect()
    }

    /// What of that falls on an outcome of the check that stands at a place among those left.
    pub fn after(&self, problem: &Problem, (place, check): (usize, usize), outcome: usize, at_least: &[f64]) -> f64 {
        let chances = &problem.checks[check].chances[outcome];
        match self {
            Self::Nothing => 0.0,
            Self::Answered(groups) => {
                let here = groups.iter().zip(at_least).filter(|(group, _)| usize::from(group.marks[place]) == outcome);
                here.map(|(_, at_least)| at_least).sum()
            }
            Self::Read(groups) => {
                groups.iter().zip(at_least).map(|(group, least)| chances[usize::from(group.marks[place])] * least).sum()
            }
        }
    }
}

/// Goes through the ways in which checks may be answered.
fn answered(
    problem: &Problem,
    class_of: &[usize],
    worlds: &[(usize, f64)],
    checks: &[usize],
    marks: &mut Vec<u8>,
    groups: &mut Vec<Group>,
) {
    let Some((&check, others)) = checks.split_first() else {
        let classes = worlds.iter().map(|(world, weight)| (class_of[*world], *weight)).collect();
        groups.push(Group { marks: marks.clone(), classes: by_class(classes) });
        return;
    };
    for (outcome, chances) in problem.checks[check].chances.iter().enumerate() {
        let shown = worlds
            .iter()
            .map(|&(world, weight)| (world, weight * chances[usize::from(problem.worlds[world].rows[check])]));
        let shown: Vec<(usize, f64)> = shown.filter(|(_, weight)| *weight > 0.0).collect();
        if !shown.is_empty() {
            marks.push(u8::try_from(outcome).unwrap_or(u8::MAX));
            answered(problem, class_of, &shown, others, marks, groups);
            marks.pop();
        }
    }
}

/// The weights of worlds by class.
fn by_class(mut worlds: Vec<(usize, f64)>) -> Vec<(usize, f64)> {
    worlds.sort_by_key(|(class, _)| *class);
    let mut classes: Vec<(usize, f64)> = Vec::new();
    for (class, weight) in worlds {
        match classes.last_mut() {
            Some((last, sum)) if *last == class => *sum += weight,
            _ => classes.push((class, weight)),
        }
    }
    classes
}
