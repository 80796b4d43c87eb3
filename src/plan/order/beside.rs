//! What stands beside the work: who it is for, what it costs, parts, tools, verdicts, cautions, what to offer.

use super::super::bill::Bill;
use super::super::choose::{Choice, Jobs};
use super::super::cost::{Context, labor};
use super::super::goals::Aim;
use super::super::{Cost, Job, Named, Offer, OtherWay, PartLine, Source, Stage, Verdict, words};
use super::held;
use super::proofs::Proofs;
use crate::knowledge::{Hazard, Ix, Repair};
use crate::model::compile::repair_reaches;
use crate::safety::Action;
use std::collections::BTreeSet;

pub fn craft(context: &Context<'_>) -> Vec<String> {
    let fitted = context.laid.knowledge.options.iter().filter(|(ix, _)| context.laid.craft.has(*ix));
    std::iter::once(context.laid.layout().title.clone()).chain(fitted.map(|(_, option)| option.title.clone())).collect()
}

/// The states of access that the steps open, each once.
pub fn opens(context: &Context<'_>, stages: &[Stage]) -> Vec<Named> {
    let knowledge = context.laid.knowledge;
    let mut opened: Vec<Named> = Vec::new();
    for step in stages.iter().flat_map(|stage| &stage.sections).flat_map(|section| &section.steps) {
        if let Source::Opens(id) = &step.source
            && opened.iter().all(|known| known.id != *id)
            && let Some(ix) = knowledge.access.find(id)
        {
            opened.push(Named { id: id.clone(), words: knowledge.access[ix].title.clone() });
        }
    }
    opened
}

pub fn job(
    context: &Context<'_>,
    choice: &Choice,
    aims: &[Aim],
    proofs: &Proofs,
    bill: &Bill<'_>,
    ix: Ix<Repair>,
) -> Job {
    let laid = context.laid;
    let repair = &laid.knowledge.repairs[ix];
    let at = places_of(&choice.jobs, ix);
    let by = context.by(ix);
    let removes = aims
        .iter()
        .chain(&choice.companions)
        .filter(|aim| {
            let scope = laid.knowledge.causes[aim.cause.item].scope;
            repair.removes.iter().any(|(cause, _)| *cause == aim.cause.item)
                && repair_reaches(laid, ix, at, scope, aim.cause.at)
        })
        .map(|aim| words::cause(laid, aim.cause))
        .collect();
    let action = Action::Repair(ix, at.to_vec());
    Job {
        repair: words::repair(laid, ix),
        places: words::places(laid, repair.scope, at),
        removes,
        because: choice.because.get(&ix).cloned().unwrap_or_default(),
        by,
        service: repair.service,
        mind: repair.care.clone(),
        held: if repair.service { held::held(context, &choice.jobs, proofs, &action) } else { None },
        minutes: context.work(ix, at) * context.rate(by).pace,
        parts: bill.of_repair(ix),
    }
}

pub fn places_of(jobs: &Jobs, wanted: Ix<Repair>) -> &[usize] {
    jobs.iter().find(|(ix, _)| *ix == wanted).map_or(&[], |(_, at)| at)
}

pub fn cost(
    context: &Context<'_>,
    choice: &Choice,
    aims: &[Aim],
    repairs: &[Job],
    proofs: &Proofs,
    bill: &Bill<'_>,
) -> Cost {
    let mut cost = Cost { parts: bill.total(), ..Cost::default() };
    for (access, reach) in proofs.access(context, &choice.jobs) {
        let rate = context.rate(context.opened_by(access, &choice.jobs));
        cost.access += reach.total() * rate.pace;
        cost.labor += labor(rate, reach.total());
    }
    for (ix, _) in choice.jobs.iter() {
        let rate = context.rate(context.by(ix));
        cost.labor += labor(rate, context.work(ix, places_of(&choice.jobs, ix)));
    }
    cost.work = repairs.iter().map(|job| job.minutes).sum();
    for proof in &proofs.all {
        let bench = proof.minutes(context);
        cost.proof += bench * context.user.pace;
        cost.labor += labor(&context.user, bench);
        cost.parts += proof.money(context);
    }
    cost.minutes = cost.access + cost.work + cost.proof;
    cost.total = cost.labor + cost.parts;
    cost.comebacks = context.comebacks(aims, &choice.jobs);
    cost
}

pub fn cautions(context: &Context<'_>, hazards: BTreeSet<Ix<Hazard>>) -> Vec<super::super::Caution> {
    let mut cautions: Vec<_> = hazards.into_iter().collect();
    cautions.sort_by_key(|ix| (context.laid.knowledge.hazards[*ix].signal, *ix));
    cautions.into_iter().map(|ix| words::caution(context.laid, ix)).collect()
}

pub fn part_lines(context: &Context<'_>, bill: &Bill<'_>) -> Vec<PartLine> {
    let mut lines: Vec<PartLine> = Vec::new();
    for (part, repairs) in bill.bought() {
        let at = lines.iter().position(|line| line.item == part.item && line.each == part.each);
        let at = at.unwrap_or_else(|| {
            lines.push(PartLine {
                item: part.item.clone(),
                count: 0.0,
                each: part.each,
                or: part.or.clone(),
                consumable: part.consumable,
                for_repairs: Vec::new(),
            });
            lines.len() - 1
        });
        let line = &mut lines[at];
        line.count += part.count;
        for id in repairs.into_iter().map(|ix| context.laid.knowledge.repairs.id(ix)) {
            if line.for_repairs.iter().all(|known| known != id) {
                line.for_repairs.push(id.to_owned());
            }
        }
    }
    lines.sort_by_key(|line| line.consumable);
    lines
}

pub fn tools(context: &Context<'_>, jobs: &Jobs) -> Vec<String> {
    let mut tools = gathered(jobs, |ix| &context.laid.knowledge.repairs[ix].tools);
    tools.retain(|tool| tool != "none");
    tools
}

pub fn verdicts(context: &Context<'_>, jobs: &Jobs) -> Vec<Verdict> {
    let mut verdicts: Vec<Verdict> = Vec::new();
    for (ix, _) in jobs.iter() {
        for verdict in &context.laid.knowledge.repairs[ix].verdicts {
            if verdicts.iter().all(|known| known.part != verdict.part) {
                verdicts.push(Verdict {
                    part: verdict.part.clone(),
                    look: verdict.look.clone(),
                    reuse: verdict.reuse.clone(),
                    clean: verdict.clean.clone(),
                    replace: verdict.replace.clone(),
                });
            }
        }
    }
    verdicts
}

pub fn offers(context: &Context<'_>, choice: &Choice) -> Vec<Offer> {
    choice
        .offers
        .iter()
        .map(|(ix, minutes, cost)| Offer { repair: words::repair(context.laid, *ix), minutes: *minutes, cost: *cost })
        .collect()
}

pub fn other_ways(context: &Context<'_>, choice: &Choice) -> Vec<OtherWay> {
    let named = |repair: Ix<Repair>| words::repair(context.laid, repair);
    choice
        .other_ways
        .iter()
        .map(|way| OtherWay {
            without: named(way.repair),
            instead: way.instead.iter().copied().map(named).collect(),
            minutes: way.minutes,
            cost: way.cost,
        })
        .collect()
}

/// The texts of all repairs, each once.
fn gathered<'k>(jobs: &Jobs, of: impl Fn(Ix<Repair>) -> &'k Vec<String>) -> Vec<String> {
    let mut all: Vec<String> = Vec::new();
    for (ix, _) in jobs.iter() {
        for text in of(ix) {
            if !all.contains(text) {
                all.push(text.clone());
            }
        }
    }
    all
}

/// What each repair says, each text once.
pub fn told(choice: &Choice, context: &Context<'_>, of: impl Fn(&Repair) -> &Vec<String>) -> Vec<String> {
    gathered(&choice.jobs, |ix| of(&context.laid.knowledge.repairs[ix]))
}
