//! Inference on the reference networks (sources in `tests/suite/oracle_network.rs`) and on the built-in knowledge base:
//! one, two and three cylinders after ten answers. L and XL are not kept here; `python3 benches/peer/networks.py` makes
//! them, in `target/peer/nets` or in the folder that `DOLDRUM_NETS` names. Run with `cargo bench --bench inference`.

use divan::Bencher;
use doldrum::case::Case;
use doldrum::inference::{Engine, Event, Limits, OpenCheck, Posterior, Prepared, SetsQuery};
use doldrum::knowledge::layout::Laid;
use doldrum::model;
use doldrum::model::compile::{CaseModel, CheckModel};
use doldrum::model::network::{Network, Observation, VarIx};
use doldrum::model::reading;
use std::collections::BTreeSet;
use std::env;
use std::path::PathBuf;

#[path = "shared/asked.rs"]
mod asked;

#[path = "shared/jobs.rs"]
mod jobs;

#[path = "../tests/suite/oracle_network.rs"]
#[expect(dead_code, reason = "the answers are for the tests")]
#[expect(clippy::cast_possible_truncation, reason = "a network has far fewer than 2^32 variables")]
mod oracle_network;

use asked::Asked;

#[expect(clippy::print_stdout, reason = "who runs it should know what is missing")]
fn main() {
    let missing: Vec<&str> = GENERATED.into_iter().filter(|net| !file(net).exists()).collect();
    if !missing.is_empty() {
        println!("{} left out; `python3 benches/peer/networks.py` makes them", missing.join(" and "));
    }
    divan::main();
}

/// Name and file.
const KEPT: [(&str, &str); 3] = [("S", "net_S.json"), ("M", "net_M.json"), ("alarm", "pub_alarm.json")];
const GENERATED: [&str; 2] = ["L", "XL"];
const LAYOUTS: [&str; 3] = ["single", "twin-each", "triple-each"];

fn file(net: &str) -> PathBuf {
    let folder = env::var_os("DOLDRUM_NETS").map(PathBuf::from);
    let folder = folder.unwrap_or_else(|| [env!("CARGO_MANIFEST_DIR"), "target", "peer", "nets"].iter().collect());
    folder.join(format!("evidence_{net}.json"))
}

/// The reference networks that are there.
fn nets() -> Vec<&'static str> {
    KEPT.iter().map(|(net, _)| *net).chain(GENERATED.into_iter().filter(|net| file(net).exists())).collect()
}

fn all() -> Vec<&'static str> {
    nets().into_iter().chain(LAYOUTS).collect()
}

/// Those where something is left to be checked.
fn with_checks() -> Vec<&'static str> {
    all().into_iter().filter(|&net| net != "alarm").collect()
}

fn asked(net: &str) -> Asked {
    match KEPT.iter().find(|(kept, _)| *kept == net) {
        Some((_, kept)) => Asked::of_tests(net, kept),
        None => Asked::from_file(&file(net).to_string_lossy()),
    }
}

/// A network, what is known of it and what is wanted.
struct Setting {
    network: Network,
    engine: Engine,
    evidence: Vec<Observation>,
    /// The same answers, one with another outcome.
    changed: Vec<Observation>,
    /// One answer more.
    added: Vec<Observation>,
    read: Vec<VarIx>,
    /// Checks without an answer.
    checks: Vec<OpenCheck>,
    /// What those checks read.
    open: Vec<VarIx>,
}

impl Setting {
    fn of(net: &str) -> Self {
        if LAYOUTS.contains(&net) { Self::of_job(net) } else { Self::of_net(&asked(net)) }
    }

    fn of_net(asked: &Asked) -> Self {
        Self {
            network: asked.oracle.network.clone(),
            engine: Engine::compile(&asked.oracle.network).expect("the network is valid"),
            evidence: asked.sets[0].clone(),
            changed: asked.with_changed(0),
            added: asked.with(asked.added, 0),
            read: asked.read.clone(),
            checks: asked.checks.iter().map(|&check| OpenCheck::Variable(check)).collect(),
            open: distinct(asked.checks.iter().flat_map(|&check| asked.oracle.network.parents(check))),
        }
    }

    fn of_job(layout: &str) -> Self {
        let case = jobs::case((layout, 11));
        let laid = Laid::new(jobs::base(), case.craft.clone());
        let model = model::compile::compile(&laid, &case);
        let mut added = model.evidence();
        let last = added.pop().expect("there are answers");
        let evidence = added.clone();
        added.push(last);
        let mut changed = evidence.clone();
        other_outcome(changed.last_mut().expect("there are answers"));
        Self {
            engine: Engine::compile(&model.network).expect("the network is valid"),
            evidence,
            changed,
            added,
            read: model.causes.iter().map(|&(_, var)| var).collect(),
            checks: model.checks.iter().map(|check| open_check(&laid, &case, &model, check)).collect(),
            open: distinct(model.checks.iter().flat_map(|check| check.rows.iter().flatten().map(|l| l.var))),
            network: model.network,
        }
    }

    fn posterior(&self, observations: &[Observation]) -> Posterior {
        self.engine.posterior_with(observations, &self.read, &Limits::default()).expect("there is an answer")
    }

    fn prepare(&self, observations: &[Observation], open: &[VarIx]) -> Prepared<'_> {
        self.engine.prepare(observations, open, &Limits::default()).expect("there is an answer")
    }
}

fn distinct(variables: impl Iterator<Item = VarIx>) -> Vec<VarIx> {
    variables.collect::<BTreeSet<_>>().into_iter().collect()
}

/// A check of a job as inference takes it: the last row always holds.
fn open_check(laid: &Laid<'_>, case: &Case, model: &CaseModel, check: &CheckModel) -> OpenCheck {
    let of = &laid.knowledge.checks[check.check.item];
    let conditions = model::compile::conditions(laid, case, of);
    let by_row: Vec<Vec<f64>> =
        of.rows.iter().map(|row| reading::outcome_chances(of, &row.gives, &conditions)).collect();
    OpenCheck::Rows {
        slice: model.now,
        rows: check.rows[..check.rows.len() - 1].to_vec(),
        chances: (0..of.outcomes.len()).map(|outcome| by_row.iter().map(|row| row[outcome]).collect()).collect(),
    }
}

/// What speaks for a state speaks against it.
fn other_outcome(observation: &mut Observation) {
    match observation {
        Observation::State { likelihood, .. } => likelihood.iter_mut().for_each(|l| *l = 1.0 - *l),
        Observation::Rows { rows, otherwise, .. } => {
            let numbers = rows.iter_mut().map(|row| &mut row.likelihood);
            numbers.chain([otherwise]).for_each(|l| *l = 1.0 - *l);
        }
    }
}

#[divan::bench(args = all())]
fn compile(bencher: Bencher, net: &str) {
    let setting = Setting::of(net);
    bencher.bench(|| Engine::compile(&setting.network).expect("the network is valid"));
}

#[divan::bench(args = all())]
fn posterior(bencher: Bencher, net: &str) {
    let setting = Setting::of(net);
    bencher.bench(|| setting.posterior(&setting.evidence));
}

#[divan::bench(args = all())]
fn evidence(bencher: Bencher, net: &str) {
    let setting = Setting::of(net);
    bencher.bench(|| setting.engine.log_evidence(&setting.evidence, &Limits::default()).expect("there is an answer"));
}

/// With the structure worked out before.
#[divan::bench(args = nets())]
fn outcome_changed(bencher: Bencher, net: &str) {
    let asked = asked(net);
    let setting = Setting::of_net(&asked);
    let inner = setting.read.iter().copied().filter(|&var| !setting.network.parents(var).is_empty());
    let open: Vec<VarIx> = inner.chain([asked.changed]).collect();
    let prepared = setting.prepare(&asked.without_changed(), &open);
    let finding = [asked.is(asked.changed, 0)];
    bencher.bench(|| prepared.posterior(&finding).expect("there is an answer"));
}

/// From the start.
#[divan::bench(args = all())]
fn outcome_changed_cold(bencher: Bencher, net: &str) {
    let setting = Setting::of(net);
    bencher.bench(|| setting.posterior(&setting.changed));
}

/// From the start.
#[divan::bench(args = all())]
fn answer_added_cold(bencher: Bencher, net: &str) {
    let setting = Setting::of(net);
    bencher.bench(|| setting.posterior(&setting.added));
}

/// Every cause, for every outcome of every check that has no answer; from the start.
#[divan::bench(args = with_checks())]
fn every_outcome(bencher: Bencher, net: &str) {
    let setting = Setting::of(net);
    let there: Vec<Event> = setting.read.iter().map(|&cause| Event::on(&setting.network, cause, 0)).collect();
    bencher.bench(|| {
        let prepared = setting.prepare(&setting.evidence, &setting.open);
        prepared.by_outcome(&setting.checks, &there).expect("there is an answer")
    });
}

/// The five most probable sets of causes, the posterior being there.
#[divan::bench(args = with_checks(), sample_count = 10)]
fn best_sets(bencher: Bencher, net: &str) {
    let setting = Setting::of(net);
    let posterior = setting.engine.posterior(&setting.evidence, &Limits::default()).expect("there is an answer");
    let query = SetsQuery { vars: &setting.read, slice: 0, k: 5, nodes: 100, candidates: &[] };
    bencher.bench(|| {
        setting.engine.best_sets(&posterior, &setting.evidence, &query, &Limits::default()).expect("there is an answer")
    });
}

#[divan::bench(args = all())]
fn worlds(bencher: Bencher, net: &str) {
    let setting = Setting::of(net);
    bencher
        .bench(|| setting.engine.worlds(&setting.evidence, 4096, 1, &Limits::default()).expect("there is an answer"));
}

/// The ten most probable sets of all causes, and a bound that proves them.
#[divan::bench(args = ["S", "M"])]
fn ten_best_sets_of_all(bencher: Bencher, net: &str) {
    let Setting { network, engine, evidence, .. } = Setting::of(net);
    let is_root = |var: &VarIx| network.parents(*var).is_empty();
    let vars: Vec<VarIx> = (0..).map(VarIx).take(network.variables.len()).filter(is_root).collect();
    let posterior = engine.posterior(&evidence, &Limits::default()).expect("there is an answer");
    let query = SetsQuery { vars: &vars, slice: 0, k: 10, nodes: 1000, candidates: &[] };
    let ask = || engine.best_sets(&posterior, &evidence, &query, &Limits::default()).expect("there is an answer");
    assert_eq!(ask().settled(), 10);
    bencher.bench(ask);
}
