//! What holds of every plan, whatever is wrong with the craft, however it is laid out and whoever works on it.

use crate::{plan_order, watercraft};
use doldrum::access::AccessGraph;
use doldrum::belief::{CauseBelief, Explanation, Explanations};
use doldrum::case::{Case, Entry, Event, Position};
use doldrum::knowledge::layout::{Craft, Instance, Laid};
use doldrum::knowledge::{Cause, Ix, Knowledge, Phase, Step as KnownStep};
use doldrum::plan::{Flaw, Options, Plan, PlanError, Source, Step, Vapor, plan};
use doldrum::report::{Figures, Paint, render_text, with_units, work_order};
use doldrum::units::System;
use indexmap::IndexMap;
use proptest::prelude::*;
use std::collections::BTreeMap;
use std::sync::LazyLock;

static BENCH: LazyLock<(Knowledge, AccessGraph)> = LazyLock::new(|| {
    let knowledge = watercraft::knowledge();
    let graph = watercraft::graph(&knowledge);
    (knowledge, graph)
});

/// A job drawn at random: layout, user, symptom, what is open, and causes with chances.
#[derive(Clone, Debug)]
struct Draw {
    layout: usize,
    user: usize,
    symptom: usize,
    open: Vec<usize>,
    explains: Vec<(usize, usize)>,
    likely: Vec<(usize, usize, f64)>,
}

fn draws() -> impl Strategy<Value = Draw> {
    let any = 0..1000_usize;
    (
        any.clone(),
        any.clone(),
        any.clone(),
        prop::collection::vec(any.clone(), 0..4),
        prop::collection::vec((any.clone(), any.clone()), 1..6),
        prop::collection::vec((any.clone(), any, 0.0..1.0), 0..6),
    )
        .prop_map(|(layout, user, symptom, open, explains, likely)| Draw {
            layout,
            user,
            symptom,
            open,
            explains,
            likely,
        })
}

fn case_of(draw: &Draw, knowledge: &Knowledge) -> Case {
    let craft = Craft { layout: Ix::new(draw.layout % knowledge.layouts.len()), ..Craft::usual(knowledge) };
    let opened = draw.open.iter().map(|at| {
        let access = Ix::new(at % knowledge.access.len());
        Entry::from(Event::Access { access, now: Position::Open })
    });
    Case {
        title: None,
        craft,
        altitude_m: 0.0,
        user: Ix::new(draw.user % knowledge.users.len()),
        tools: None,
        sheet: IndexMap::new(),
        history: IndexMap::new(),
        history_next: None,
        symptoms: vec![Ix::new(draw.symptom % knowledge.symptoms.len())],
        log: opened.collect(),
        taken_up: 0,
    }
}

fn instance(laid: &Laid<'_>, cause: usize, at: usize) -> Instance<Cause> {
    let ix = Ix::new(cause % laid.knowledge.causes.len());
    Instance::new(ix, at % laid.places(laid.knowledge.causes[ix].scope))
}

fn made(draw: &Draw, case: &Case, laid: &Laid<'_>) -> Result<Plan, PlanError> {
    let explains: Vec<_> = draw.explains.iter().map(|(cause, at)| instance(laid, *cause, *at)).collect();
    let mut causes: Vec<CauseBelief> =
        explains.iter().map(|&cause| CauseBelief { cause, prior: 0.1, chance: 0.8 }).collect();
    for (cause, at, chance) in &draw.likely {
        causes.push(CauseBelief { cause: instance(laid, *cause, *at), prior: 0.1, chance: *chance });
    }
    causes.sort_by(|a, b| b.chance.total_cmp(&a.chance).then(a.cause.cmp(&b.cause)));
    causes.dedup_by_key(|belief| belief.cause);
    let sets = vec![Explanation { causes: explains, chance: 0.5 }];
    let explanations = Explanations { sets, unexplained: 0.1, missed: 0.1, ..Explanations::default() };
    plan(laid, &BENCH.1, case, &causes, &explanations, &Options::default())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn every_plan_is_in_order(draw in draws()) {
        let case = case_of(&draw, &BENCH.0);
        let laid = Laid::new(&BENCH.0, case.craft.clone());
        match made(&draw, &case, &laid) {
            Ok(plan) => {
                prop_assert_eq!(plan.check_order(), Ok(()));
                // Cheaper than the cheapest can only be what leaves something there.
                prop_assert!(plan.other_ways.iter().all(|way| way.cost.get() >= 0.0), "{:?}", plan.other_ways);
                removes_all(&plan);
                nothing_is_left_out(&plan, &laid);
                prop_assert_eq!(plan_order::walk(&plan, &BENCH.0).1, Vec::<String>::new());
                what_is_open_is_made_safe(&plan);
                reminders_stand_before_their_steps(&plan);
                what_opening_loses_is_read_before(&plan);
                prop_assert_eq!(Ok(plan), made(&draw, &case, &laid), "the same job gets the same plan");
            }
            // All causes drawn belong to another craft, or have no repair on this one.
            Err(PlanError::NoCause | PlanError::NoRepair { .. }) => {}
        }
    }
}

/// Every cause a plan goes for is removed by one of its repairs.
fn removes_all(plan: &Plan) {
    for goal in &plan.goals {
        let removed = plan.repairs.iter().any(|job| job.removes.contains(&goal.cause));
        assert!(removed, "nothing removes `{}`", goal.cause.id);
    }
}

/// The steps of a plan that say these words, or stand for all that do the same thing.
fn standing<'a>(plan: &'a Plan, step: &KnownStep) -> Vec<&'a Step> {
    let same = |other: &KnownStep| other.once.is_some() && other.once == step.once;
    let all = BENCH.0.repairs.iter().flat_map(|(_, r)| &r.steps);
    let access = BENCH.0.access.iter().flat_map(|(_, a)| a.steps.iter().chain(&a.back));
    let words: Vec<&str> =
        all.chain(access).filter(|other| same(other)).map(|s| s.what.as_str()).chain([step.what.as_str()]).collect();
    plan.steps().filter(|written| words.contains(&written.what.as_str())).collect()
}

/// Every step of every repair stands, with its caution, whatever is open already; but for writing down what another
/// step has asked for.
fn nothing_is_left_out(plan: &Plan, laid: &Laid<'_>) {
    let knowledge = laid.knowledge;
    for job in &plan.repairs {
        let repair = &knowledge.repairs[knowledge.repairs.find(&job.repair.id).expect("a repair")];
        for step in &repair.steps {
            let asked_before = step.phase == Phase::Record && !step.record.is_empty() && step.gate.is_none();
            let stands = standing(plan, step);
            // What puts on what is on already is not said twice.
            let asked_before =
                asked_before || step.puts_on.is_some() && plan.steps().any(|s| s.puts_on == step.puts_on);
            assert!(asked_before || !stands.is_empty(), "`{}` of {} is left out", step.what, job.repair.id);
            if let Some(caution) = step.caution
                && !stands.is_empty()
            {
                let caution = knowledge.hazards.id(caution);
                let said = stands.iter().any(|step| step.cautions.iter().any(|id| id == caution));
                assert!(said, "`{}` of {} has lost {caution}", step.what, job.repair.id);
            }
        }
    }
}

/// What stands open already is made safe before anything is done: no step and no caution of it is dropped for that.
fn what_is_open_is_made_safe(plan: &Plan) {
    let knowledge = &BENCH.0;
    let mut first = plan.steps().take_while(|step| matches!(step.source, Source::Stands(_) | Source::Closes(_)));
    let start: Vec<&Step> = first.by_ref().collect();
    for id in &plan.open_at_start {
        let access = &knowledge.access[knowledge.access.find(id).expect("access")];
        // Running is ended first of all: nothing is done while it lasts.
        if access.shuts_others {
            assert!(start.iter().any(|step| step.source == Source::Closes(id.clone())), "{id} is not ended");
            continue;
        }
        let own: Vec<&&Step> = start.iter().filter(|step| step.source == Source::Stands(id.clone())).collect();
        for step in access.steps.iter().filter(|step| step.phase == Phase::MakeSafe) {
            assert!(start.iter().any(|written| written.what == step.what), "`{}` of {id} is left out", step.what);
        }
        for hazard in &access.raises {
            let caution = knowledge.hazards.id(*hazard);
            let said = start.iter().any(|step| step.cautions.iter().any(|c| c == caution));
            assert!(said, "{caution} of {id}, which is open, is not said: {own:?}");
        }
    }
}

/// The opening pressure as found is read with all covers on: before the first of them comes off, and nothing of a repair's
/// making safe stands after it.
fn what_opening_loses_is_read_before(plan: &Plan) {
    let covers = ["ac-reg-cover-off", "ac-needle-out", "ac-pump-cover-off", "ac-jet-plate-off"];
    if plan.open_at_start.iter().any(|id| covers.contains(&id.as_str())) {
        return;
    }
    let opens = |step: &Step| matches!(&step.source, Source::Opens(id) if covers.contains(&id.as_str()));
    let first = plan.steps().position(opens);
    let read = plan.steps().position(|step| step.record.iter().any(|line| line.setting.id == "opening-pressure-found"));
    if let (Some(first), Some(read)) = (first, read) {
        assert!(read < first, "a cover comes off at step {} and is read as found at {}", first + 1, read + 1);
    }
}

/// Rendered, each caution a step asks for is said between the step before and the words of the step itself: in full the
/// first time, in a line in every other stretch of work, within one by the number of the step it stands before.
fn reminders_stand_before_their_steps(plan: &Plan) {
    let figures = Figures::new(&BENCH.0, System::Us);
    // Quantities in sentences stand in the reader's units as well.
    let told_in_us = |words: &str| with_units(words, System::Us);
    let text = render_text(&work_order(plan, &figures), 120, Paint::Plain);
    let text = text.split_once("RECORD AS FOUND").map_or(text.as_str(), |(_, after)| after);
    let steps: Vec<_> = plan.steps().collect();
    let mut from = text.find("MAKE SAFE\n").or_else(|| text.find("OPEN UP\n")).expect("the work begins");
    let mut told: BTreeMap<&str, usize> = BTreeMap::new();
    for (at, step) in steps.iter().enumerate() {
        let mark = format!("[ ] {:>2}. ", at + 1);
        let to = from + text[from..].find(&mark).unwrap_or_else(|| panic!("step {} is written", at + 1));
        for id in &step.cautions {
            let caution = plan.cautions.iter().find(|c| c.hazard.id == *id).expect("it stands at the top");
            let before = text[from..to].split_whitespace().collect::<Vec<_>>().join(" ");
            let mut line = format!("! {}: {}", caution.signal.word(), caution.hazard.words);
            if told.insert(id, at + 1).is_some() {
                // Again: in one line, with its box, and where it stands in full; or in the line of the step itself where
                // the same stretch of work has said it already.
                let first = steps.iter().position(|step| step.cautions.contains(id)).expect("it was told") + 1;
                let own = text[to..].split_whitespace().take(60).collect::<Vec<_>>().join(" ");
                let (tags, _) = own.split_once(&step.what[..8.min(step.what.len())]).unwrap_or((&own, ""));
                if tags.contains(&format!("{} of step {first}", caution.signal.word())) {
                    continue;
                }
                let tick =
                    caution.tick.as_ref().map(|tick| format!(". [ ] {}", told_in_us(&tick.words))).unwrap_or_default();
                line = format!("{line} (step {first}){tick}");
            } else {
                // The first time in full: what it does, all there is to do, what never to do, and its box.
                line = format!("{line} {}", told_in_us(&caution.harm));
                let rest = caution.controls.iter().chain(&caution.never).chain(caution.tick.iter().map(|t| &t.words));
                for words in rest {
                    assert!(before.contains(&told_in_us(words)), "`{words}` stands before step {}", at + 1);
                }
            }
            assert!(before.contains(&line), "`{line}` stands before step {}:\n{before}", at + 1);
        }
        from = to;
    }
}

/// The check of the order finds what is wrong: a plan with its sniffs taken out or its steps turned round is refused.
#[test]
fn a_plan_out_of_order_is_refused() {
    let knowledge = &BENCH.0;
    let laid = Laid::new(knowledge, Craft::usual(knowledge));
    let draw = Draw { layout: 1, user: 0, symptom: 2, open: Vec::new(), explains: Vec::new(), likely: Vec::new() };
    let case = case_of(&draw, knowledge);
    let jet = knowledge.causes.find("low-jet-clogged").expect("a cause");
    let options = Options { causes: vec![Instance::new(jet, 0)] };
    let good = plan(&laid, &BENCH.1, &case, &[], &Explanations::default(), &options).expect("a plan");
    assert_eq!(good.check_order(), Ok(()));

    let mut no_sniff = good.clone();
    let steps = |plan: &mut Plan, change: &mut dyn FnMut(&mut Vec<doldrum::plan::Step>)| {
        plan.stages.iter_mut().flat_map(|stage| &mut stage.sections).for_each(|section| change(&mut section.steps));
    };
    steps(&mut no_sniff, &mut |steps| steps.retain(|step| step.vapor != Vapor::Closes));
    assert!(no_sniff.check_order().is_err(), "without a sniff nothing may ignite");

    let mut left_open = good.clone();
    steps(&mut left_open, &mut |steps| steps.retain(|step| !matches!(step.source, Source::Closes(_))));
    assert!(left_open.check_order().is_err(), "what is opened is put back");

    let mut turned = good.clone();
    turned.stages.reverse();
    assert!(turned.check_order().is_err(), "the run does not stand before the work");

    let mut left_off = good.clone();
    steps(&mut left_off, &mut |steps| steps.retain(|step| step.puts_on.is_none()));
    let battery = Flaw::LeftOff("battery".to_owned());
    assert_eq!(left_off.check_order(), Err(vec![battery]), "what is taken off is put on again");

    let mut early = good.clone();
    let refits = early.stages.iter_mut().flat_map(|stage| &mut stage.sections).filter(|s| s.phase == Phase::Clean);
    refits.for_each(|section| section.phase = Phase::Fill);
    let filled = early.check_order().expect_err("no fuel goes in while the carburetor is off");
    assert!(filled.iter().any(|flaw| matches!(flaw, Flaw::FilledOpen { .. })), "{filled:?}");

    let mut unsaid = good.clone();
    unsaid.cautions.clear();
    assert!(unsaid.check_order().is_err(), "a caution stands at the top");

    let mut dear = good;
    dear.cost.total += dear.cost.parts;
    assert!(dear.check_order().is_err(), "the sum is the sum of its parts");
}
