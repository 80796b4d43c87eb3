//! One step of the interview on the built-in knowledge base: what is believed and what to do next, for one, two and
//! three cylinders after 0, 5 and 15 answers. Run with `cargo bench --bench decision`.

use divan::Bencher;
use doldrum::access::AccessGraph;
use doldrum::belief::{self, Belief};
use doldrum::case::Case;
use doldrum::decision::{self, Settings};
use doldrum::inference::Limits;
use doldrum::knowledge::layout::Laid;
use doldrum::knowledge::{self, Knowledge};
use doldrum::store::built_in;

#[path = "shared/jobs.rs"]
mod jobs;

use jobs::{base, case};

fn main() {
    divan::main();
}

/// Layout and number of answers.
const STEPS: [(&str, usize); 9] = [
    ("single", 0),
    ("single", 5),
    ("single", 15),
    ("twin-each", 0),
    ("twin-each", 5),
    ("twin-each", 15),
    ("triple-each", 0),
    ("triple-each", 5),
    ("triple-each", 15),
];

fn believe(laid: &Laid<'_>, case: &Case) -> Belief {
    belief::believe(laid, case, &Limits::default()).expect("within the limits")
}

#[divan::bench]
fn read_knowledge() -> Option<Knowledge> {
    knowledge::read(&built_in()).0
}

#[divan::bench(args = STEPS, sample_count = 20)]
fn posteriors(bencher: Bencher<'_, '_>, step: (&str, usize)) {
    let case = case(step);
    let laid = Laid::new(base(), case.craft.clone());
    bencher.bench_local(|| believe(&laid, &case));
}

#[divan::bench(args = STEPS, sample_count = 20)]
fn next_step(bencher: Bencher<'_, '_>, step: (&str, usize)) {
    let case = case(step);
    let laid = Laid::new(base(), case.craft.clone());
    let graph = AccessGraph::new(base());
    bencher.bench_local(|| {
        let belief = believe(&laid, &case);
        decision::advise(&laid, &graph, &case, &belief, &Settings::default()).expect("within the limits")
    });
}
