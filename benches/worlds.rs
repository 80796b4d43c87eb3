//! What it costs that the next step is chosen on so few worlds: the step chosen on samples of several sizes, priced on a
//! far larger one, beside the cheapest step there. Run with `cargo bench --bench worlds`; it takes a few minutes.

#![expect(clippy::print_stdout, reason = "what it found goes to the terminal")]

use doldrum::access::AccessGraph;
use doldrum::belief::{self, Belief};
use doldrum::case::Case;
use doldrum::decision::{self, Action, Settings};
use doldrum::inference::Limits;
use doldrum::knowledge::layout::Laid;

#[path = "shared/jobs.rs"]
mod jobs;

use jobs::{base, case};

/// The samples compared.
const SIZES: [usize; 4] = [512, 1024, 2048, 4096];
/// The sample that prices their choices, and its seed.
const REFERENCE: (usize, u64) = (65_536, 977);
/// How often each size chooses, each time on other draws.
const SEEDS: u64 = 6;

/// What the choices of one size came to.
#[derive(Default)]
struct Tally {
    choices: f64,
    /// Dearer than the cheapest step, as a share: summed, and the worst.
    regret: f64,
    worst: f64,
    /// How often it was the very step.
    same: f64,
    /// Squared error of the expected cost, as a share of it, summed.
    error: f64,
}

fn main() {
    let mut tallies: [Tally; SIZES.len()] = Default::default();
    for layout in ["single", "twin-each", "triple-each"] {
        for answers in 0..=14 {
            compare(&case((layout, answers)), &mut tallies);
        }
    }
    println!("| worlds | choices | regret | worst | the very step | error of the expected cost |");
    println!("| ---: | ---: | ---: | ---: | ---: | ---: |");
    for (size, tally) in SIZES.iter().zip(&tallies) {
        let Tally { choices, regret, worst, same, error } = tally;
        let percent = |share: f64| format!("{:.2}%", 100.0 * share);
        println!(
            "| {size} | {choices} | {} | {} | {:.0}% | {} |",
            percent(regret / choices),
            percent(*worst),
            100.0 * same / choices,
            percent((error / choices).sqrt()),
        );
    }
}

/// Lets every size choose for one situation.
fn compare(case: &Case, tallies: &mut [Tally]) {
    let laid = Laid::new(base(), case.craft.clone());
    let graph = AccessGraph::new(base());
    let belief = belief::believe(&laid, case, &Limits::default()).expect("within the limits");
    let advise = |belief: &Belief, worlds: usize, seed: u64, alternatives: usize| {
        let settings = Settings { worlds, seed, alternatives, ..Settings::default() };
        decision::advise(&laid, &graph, case, belief, &settings).expect("within the limits")
    };
    let reference = advise(&belief, REFERENCE.0, REFERENCE.1, usize::MAX);
    if reference.wanted.is_some() {
        // What must come first is no choice.
        return;
    }
    let listed = || std::iter::once(&reference.next).chain(&reference.alternatives);
    let cheapest = listed().map(|step| step.expected_cost.get()).fold(f64::INFINITY, f64::min);
    let price = |action: &Action| listed().find(|step| step.action == *action).map(|step| step.expected_cost.get());
    for (&size, tally) in SIZES.iter().zip(tallies) {
        for seed in 1..=SEEDS {
            let chosen = advise(&belief, size, seed, 0).next;
            // A repair too rare to be compared on the large sample is taken to be as bad as any that is.
            let dearest = || listed().map(|step| step.expected_cost.get()).fold(0.0, f64::max);
            let regret = price(&chosen.action).unwrap_or_else(dearest) / cheapest - 1.0;
            tally.choices += 1.0;
            tally.regret += regret;
            tally.worst = tally.worst.max(regret);
            tally.same += f64::from(u8::from(chosen.action == reference.next.action));
            tally.error += (chosen.expected_cost.get() / cheapest - 1.0).powi(2);
        }
    }
}
