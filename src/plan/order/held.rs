//! What an interlock would still bar at the end of a plan.

use super::super::choose::Jobs;
use super::super::cost::Context;
use super::proofs::Proofs;
use crate::case::{Answer, Case, Event, Presence};
use crate::knowledge::{Check, GateTest, Ix, Proof};
use crate::safety::{Action, Safety, Verdict};

/// Why a service step, or trying the complaint, is still barred once everything before it is done and every proof has
/// passed; `None`: it is not.
///
/// What is beyond the user is no bar here: the plan marks that as work for the shop.
pub fn held(context: &Context<'_>, jobs: &Jobs, proofs: &Proofs, action: &Action) -> Option<String> {
    let laid = context.laid;
    let done = all_done(context, jobs, proofs);
    let safety = Safety::of(laid, context.graph, &done);
    let verdict = safety.judge(laid, context.graph, &done, &context.graph.shut(), action);
    match verdict {
        Verdict::Barred { by: Some(_), why } => Some(why),
        Verdict::Barred { by: None, .. } | Verdict::May(_) => None,
    }
}

/// The case as it would stand: repaired, proved, whole again, sniffed, every control confirmed.
fn all_done(context: &Context<'_>, jobs: &Jobs, proofs: &Proofs) -> Case {
    let laid = context.laid;
    let knowledge = laid.knowledge;
    let mut case = context.case.clone();
    let mut add = |event: Event| case.log.push(event.into());
    let passed = |check: Ix<Check>, places: &[usize], pass: &[usize]| -> Vec<Event> {
        let Some(&outcome) = pass.first() else { return Vec::new() };
        let answer = Answer::Outcome(outcome);
        places.iter().map(|&at| Event::Answer { check, place: Some(at), answer, aired_min: None }).collect()
    };
    let everywhere = |check: Ix<Check>| (0..laid.places(knowledge.checks[check].scope)).collect::<Vec<_>>();
    for (ix, places) in jobs.iter().filter(|(ix, _)| !knowledge.repairs[*ix].service) {
        add(Event::Repaired { repair: ix, places: places.to_vec() });
    }
    for (ix, _) in jobs.iter().filter(|(ix, _)| !knowledge.repairs[*ix].service) {
        let gates = knowledge.repairs[ix].steps.iter().filter_map(|step| step.gate.as_ref());
        for GateTest { check, pass, .. } in gates {
            let at = super::proofs::places(context, jobs, ix, *check);
            passed(*check, &at, pass).into_iter().for_each(&mut add);
        }
        for proof in &knowledge.repairs[ix].proves {
            if let Proof::Check(check, pass) = proof
                && let Some(planned) = proofs.all.iter().find(|planned| planned.check == *check)
            {
                passed(*check, &planned.at, pass).into_iter().for_each(&mut add);
            }
        }
    }
    for symptom in &context.case.symptoms {
        add(Event::Tried { symptom: *symptom, now: Presence::Absent });
    }
    for (_, hazard) in knowledge.hazards.iter() {
        for closed_by in hazard.closed_by.iter().filter(|_| hazard.open_at_start) {
            for (_, check, outcome) in &closed_by.also_after {
                passed(*check, &everywhere(*check), &[*outcome]).into_iter().for_each(&mut add);
            }
            passed(closed_by.answer.0, &[0], &[closed_by.answer.1]).into_iter().for_each(&mut add);
        }
    }
    for at in 0..knowledge.ticks.len() {
        add(Event::Ticked(Ix::new(at)));
    }
    case
}
