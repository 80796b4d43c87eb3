//! One step of the interview on the built-in knowledge base: what is believed and what to do next, for one, two and
//! three cylinders after 0, 5 and 15 answers. Run with `cargo bench --bench decision`.

use divan::Bencher;
use doldrum::access::AccessGraph;
use doldrum::belief::{self, Belief, Memory};
use doldrum::case::Case;
use doldrum::decision::{self, Settings};
use doldrum::inference::Limits;
use doldrum::knowledge::layout::Laid;
use doldrum::knowledge::{self, Knowledge};
use doldrum::store::built_in;

#[path = "shared/jobs.rs"]
mod jobs;

use jobs::{base, case};

/// As the program has it.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

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

/// One answer more, as the interview asks it: what single answers are worth by themselves is known from before.
#[divan::bench(args = STEPS, sample_count = 20)]
fn posteriors_after_one_more(bencher: Bencher<'_, '_>, step: (&str, usize)) {
    let case = case(step);
    let mut before = case.clone();
    before.log.pop();
    let laid = Laid::new(base(), case.craft.clone());
    let mut memory = Memory::default();
    belief::believe_again(&laid, &before, &Limits::default(), &mut memory).expect("within the limits");
    bencher.bench_local(|| {
        belief::believe_again(&laid, &case, &Limits::default(), &mut memory.clone()).expect("within the limits")
    });
}

/// The whole next step after one more answer.
#[divan::bench(args = STEPS, sample_count = 20)]
fn next_step_after_one_more(bencher: Bencher<'_, '_>, step: (&str, usize)) {
    let case = case(step);
    let mut before = case.clone();
    before.log.pop();
    let laid = Laid::new(base(), case.craft.clone());
    let graph = AccessGraph::new(base());
    let mut memory = Memory::default();
    belief::believe_again(&laid, &before, &Limits::default(), &mut memory).expect("within the limits");
    bencher.bench_local(|| {
        let belief = belief::believe_again(&laid, &case, &Limits::default(), &mut memory.clone());
        let belief = belief.expect("within the limits");
        decision::advise(&laid, &graph, &case, &belief, &Settings::default()).expect("within the limits")
    });
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
