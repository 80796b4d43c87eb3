//! How far to trust a recommendation: whether it stays the same when the numbers behind it are shaken.

use super::{Action, Advice, Settings, advise};
use crate::access::AccessGraph;
use crate::belief::{Belief, believe};
use crate::case::Case;
use crate::inference::Error;
use crate::knowledge::layout::Laid;
use crate::knowledge::{Cause, Gate, Gives, Ix, Knowledge};
use crate::model::draw::Draw;
use crate::units::Chance;

/// How a recommendation stood up to shaken numbers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Steadiness {
    /// One standard deviation of the shaking, in log-odds: at 0.5 one chance in three is off by a factor of 1.6 and more.
    pub sigma: f64,
    /// How often the numbers were shaken.
    pub draws: usize,
    /// How often the likeliest cause stayed the likeliest.
    pub leader: usize,
    /// How often the next step stayed the best.
    pub next: usize,
    /// How often the next step stayed within [`NEAR`] of the best.
    pub near: usize,
    /// By what share of the best the next step was dearer than it, on average over the draws in which it could still be
    /// priced: what it costs to have chosen by numbers that are off so far.
    pub regret: f64,
}

/// What counts as about as good as the best: a share of its expected cost.
pub const NEAR: f64 = 0.05;

/// A logistic has a spread of pi / sqrt(3): a shift of one in log-odds is about so many standard deviations of a normal.
const NORMAL_PER_LOGIT: f64 = 0.551;

/// How often the leader and the next step stay what they are when every number of the knowledge base is moved in
/// log-odds by normals of these spreads. The draws are the same for each spread, only wider.
///
/// Cost: belief and advice once more for each draw and spread.
///
/// # Errors
/// Where the network is too wide for the limits.
pub fn steadiness(
    laid: &Laid<'_>,
    graph: &AccessGraph,
    case: &Case,
    (belief, advice): (&Belief, &Advice),
    settings: &Settings,
    (sigmas, draws): (&[f64], usize),
) -> Result<Vec<Steadiness>, Error> {
    // Every option is wanted, so that the one proposed is found wherever it stands now.
    let settings = Settings { alternatives: usize::MAX, bounds: false, ..settings.clone() };
    let leader = |belief: &Belief| belief.causes.first().map(|first| first.cause.item);
    let was: Option<Ix<Cause>> = leader(belief);
    sigmas
        .iter()
        .map(|&sigma| {
            let mut steady = Steadiness { sigma, draws, leader: 0, next: 0, near: 0, regret: 0.0 };
            let mut priced = 0;
            for draw in 0..draws {
                let knowledge = shaken(laid.knowledge, sigma, settings.seed.wrapping_add(draw as u64));
                let shaken = Laid::new(&knowledge, laid.craft.clone());
                let belief = believe(&shaken, case, &settings.limits)?;
                let now = advise(&shaken, graph, case, &belief, &settings)?;
                steady.leader += usize::from(leader(&belief) == was);
                let best = now.next.expected_cost.get();
                let all = std::iter::once(&now.next).chain(&now.wanted).chain(&now.alternatives);
                let same = all.filter(|proposal| is_like(&proposal.action, &advice.next.action));
                let costs = same.map(|proposal| proposal.expected_cost.get());
                let least = costs.fold(f64::INFINITY, f64::min);
                steady.next += usize::from(is_like(&now.next.action, &advice.next.action));
                steady.near += usize::from(least <= best * (1.0 + NEAR));
                if least.is_finite() && best > 0.0 {
                    steady.regret += (least / best - 1.0).max(0.0);
                    priced += 1;
                }
            }
            steady.regret /= f64::from(priced.max(1));
            Ok(steady)
        })
        .collect()
}

/// Whether two steps are the same but for the place: which of two like cylinders comes first is a toss.
fn is_like(a: &Action, b: &Action) -> bool {
    match (a, b) {
        (Action::Check(a), Action::Check(b)) => a.item == b.item,
        (Action::Repair(a, _), Action::Repair(b, _)) => a == b,
        _ => a == b,
    }
}

/// A knowledge base whose numbers are off: every chance moved in log-odds, every mean by as many of its spreads.
#[must_use]
pub fn shaken(knowledge: &Knowledge, sigma: f64, seed: u64) -> Knowledge {
    let mut draw = Draw::new(seed, 0x5ead);
    let mut shaken = knowledge.clone();
    for (_, cause) in shaken.causes.iter_mut() {
        move_chance(&mut cause.chance, sigma, &mut draw);
        move_chance(&mut cause.common, sigma, &mut draw);
    }
    for (_, effect) in shaken.effects.iter_mut() {
        move_gate(&mut effect.gate, sigma, &mut draw);
    }
    for (_, symptom) in shaken.symptoms.iter_mut() {
        move_gate(&mut symptom.gate, sigma, &mut draw);
    }
    for (_, check) in shaken.checks.iter_mut() {
        for row in &mut check.rows {
            move_row(&mut row.gives, sigma, &mut draw);
            if let Some(aired) = &mut row.aired {
                move_row(aired, sigma, &mut draw);
            }
        }
    }
    for (_, repair) in shaken.repairs.iter_mut() {
        for (_, sureness) in &mut repair.removes {
            move_chance(sureness, sigma, &mut draw);
        }
    }
    shaken
}

fn move_gate(gate: &mut Gate, sigma: f64, draw: &mut Draw) {
    for input in &mut gate.inputs {
        move_chance(&mut input.strength, sigma, draw);
    }
    move_chance(&mut gate.leak, sigma, draw);
}

fn move_row(gives: &mut Gives, sigma: f64, draw: &mut Draw) {
    match gives {
        Gives::Chances(chances) => {
            let moved: Vec<f64> = chances.iter().map(|p| draw.perturbed(*p, sigma)).collect();
            let sum: f64 = moved.iter().sum();
            *chances = moved.iter().map(|p| p / sum).collect();
        }
        Gives::Normals { parts, .. } => {
            for (_, mean, sd) in parts {
                *mean += NORMAL_PER_LOGIT * sigma * *sd * draw.normal();
            }
        }
    }
}

fn move_chance(chance: &mut Chance, sigma: f64, draw: &mut Draw) {
    *chance = Chance::new(draw.perturbed(chance.get(), sigma)).expect("log-odds stay chances");
}
