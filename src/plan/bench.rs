//! A small knowledge base for the tests of plans and of how they are printed.

use super::{Options, Plan, PlanError, plan};
use crate::access::AccessGraph;
use crate::belief::{CauseBelief, Explanation, Explanations};
use crate::case::{Case, Event};
use crate::knowledge::layout::{Craft, Instance, Laid};
use crate::knowledge::{Cause, Ix, Knowledge, load, resolve};
use crate::units::{Measure, Unit};
use indexmap::IndexMap;

/// The knowledge base.
pub fn knowledge() -> Knowledge {
    macro_rules! files {
        ($($name:literal),*) => {
            [$(($name.to_owned(), include_bytes!(concat!("bench/", $name)).to_vec())),*]
        };
    }
    let (raw, read) = load::load(&files![
        "craft.yaml",
        "history.yaml",
        "causes.yaml",
        "effects.yaml",
        "symptoms.yaml",
        "checks.yaml",
        "access.yaml",
        "hazards.yaml",
        "interlocks.yaml",
        "settings.yaml",
        "repairs.yaml",
        "plan-rules.yaml"
    ]);
    let (knowledge, findings) = resolve::resolve(raw);
    knowledge.unwrap_or_else(|| panic!("the small knowledge base is sound: {read:#?} {findings:#?}"))
}

/// A case of it: cranks, will not start; the sheet knows the opening pressure, one screw is written down.
pub fn case(knowledge: &Knowledge, user: &str) -> Case {
    let setting = Instance::new(knowledge.settings.find("low-turns").expect("a setting"), 1);
    Case {
        title: Some("Barn-find twin".to_owned()),
        craft: Craft::usual(knowledge),
        altitude_m: 0.0,
        user: knowledge.users.find(user).expect("a user"),
        tools: None,
        sheet: IndexMap::from([("opening-pressure".to_owned(), Measure { value: 25.0, unit: Unit::Psi })]),
        history: IndexMap::new(),
        history_next: None,
        symptoms: vec![Ix::new(0)],
        log: vec![Event::Set { setting, value: "1 1/8 turns".to_owned() }.into()],
        taken_up: 0,
    }
}

/// `needle-worn@front`, or all places of `needle-worn`.
pub fn causes(laid: &Laid<'_>, labels: &[&str]) -> Vec<Instance<Cause>> {
    let places = |label: &&str| {
        let (ix, at) = laid.parse(&laid.knowledge.causes, |cause| cause.scope, label).expect("a cause");
        at.into_iter().map(move |at| Instance::new(ix, at)).collect::<Vec<_>>()
    };
    labels.iter().flat_map(places).collect()
}

/// A plan from an explanation and the chances of causes.
pub fn made(knowledge: &Knowledge, case: &Case, explains: &[&str], likely: &[(&str, f64)]) -> Result<Plan, PlanError> {
    let laid = Laid::new(knowledge, case.craft.clone());
    let graph = AccessGraph::new(knowledge);
    let mut beliefs: Vec<CauseBelief> = Vec::new();
    for (label, chance) in likely {
        for cause in causes(&laid, &[label]) {
            beliefs.push(CauseBelief { cause, prior: 0.05, chance: *chance });
        }
    }
    beliefs.sort_by(|a, b| b.chance.total_cmp(&a.chance).then(a.cause.cmp(&b.cause)));
    let sets = vec![Explanation { causes: causes(&laid, explains), chance: 0.4 }];
    let explanations = Explanations { sets, unexplained: 0.03, missed: 0.02, ..Explanations::default() };
    plan(&laid, &graph, case, &beliefs, &explanations, &Options::default())
}
