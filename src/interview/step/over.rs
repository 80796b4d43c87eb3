//! On the bench: the keys that mean the same everywhere, and what they lay over the question.

use super::check::{check_step, typed};
use super::focus::rows;
use super::record::record_step;
use super::repair::{again_step, hand_over_step, proof_step, repair_step, start_repair, tried_step, working_step};
use super::several::several_step;
use super::{Bench, back, facts, focus, not_here, remember, untried};
use crate::case::{Answer, Entry, Event};
use crate::decision::{Action, complained_of};
use crate::interview::hand_over::tried_without_us;
use crate::interview::state::{Find, Focus, Input, Key, Over, Page, Stage, State, Target};
use crate::interview::{pages, suppose};
use crate::knowledge::layout::Instance;
use crate::knowledge::{Check, Ix, Repair};
use crate::report::{Document, words};
use crate::safety::Verdict;
use crate::units::Minutes;
use jiff::Timestamp;

pub(super) fn bench_step(bench: &Bench<'_>, state: &mut State, input: &Input, now: Option<Timestamp>) {
    if let Input::Key(key) = input
        && general_key(bench, state, *key, now)
    {
        return;
    }
    match focus(bench, state) {
        Some(Focus::Check { .. }) => check_step(bench, state, input, now),
        Some(Focus::Repair(repair, places)) => repair_step(bench, state, repair, &places, input, now),
        Some(Focus::Record(repair, places, settings)) => {
            record_step(bench, state, repair, &places, settings, input, now);
        }
        Some(Focus::Working(repair, places)) => working_step(bench, state, repair, places, input, now),
        Some(Focus::Tried(repair, symptom)) => tried_step(bench, state, repair, symptom, input, now),
        Some(Focus::Again(symptom)) => again_step(bench, state, symptom, input, now),
        Some(Focus::Proof(repair)) => proof_step(bench, state, repair, input, now),
        Some(Focus::HandOver) => hand_over_step(bench, state, input, now),
        None if *input == Input::Key(Key::Back) => back(bench, state, now),
        None => not_here(state),
    }
}

/// Keys that mean the same wherever one is on the bench.
pub(super) fn general_key(bench: &Bench<'_>, state: &mut State, key: Key, now: Option<Timestamp>) -> bool {
    let page = match key {
        Key::Why => pages::why(bench, state),
        Key::Ranking => pages::ranking(bench, state),
        Key::How => pages::how(bench, state),
        Key::Barred => pages::barred(bench, state),
        Key::WhatIf => {
            state.over = Some(suppose(bench, state));
            return true;
        }
        Key::Several => {
            state.over = Some(Over::Several);
            return true;
        }
        Key::Keys => Some(pages::keys()),
        Key::HandOver => {
            state.draft.clear();
            state.focus = Some(Focus::HandOver);
            return true;
        }
        Key::Plan => {
            match bench.advisor.plan(&state.case, now) {
                Ok(document) => state.over = Some(Over::Page(Page::Plan, document)),
                Err(why) => state.notices.push(format!("There is no plan: {why}")),
            }
            return true;
        }
        Key::Other => {
            state.over = Some(Over::Find(Find::Check, other_checks(bench, state, now)));
            return true;
        }
        Key::Change => {
            state.over = Some(Over::Find(Find::Answer, answers(bench, state)));
            return true;
        }
        Key::DidRepair => {
            state.over = Some(Over::Find(Find::Repair, repairs(bench, state)));
            return true;
        }
        _ => return false,
    };
    match page {
        Some(document) => state.over = Some(Over::Page(Page::Reading, document)),
        None => state.notices.push("There is nothing to say about that here.".to_owned()),
    }
    true
}

pub(super) fn over_step(bench: &Bench<'_>, state: &mut State, over: Over, input: &Input, now: Option<Timestamp>) {
    match (over, input) {
        (Over::Page(Page::Plan, plan), Input::Key(Key::Write)) => state.write_plan = Some(plan),
        (Over::Page(..), _)
        | (Over::Find(..) | Over::Several, Input::Key(Key::Back | Key::Enter))
        | (Over::Suppose(..), Input::Key(Key::Back)) => {}
        (Over::Several, Input::Text(line)) => several_step(bench, state, line, now),
        (Over::Suppose(check, shown), input) => suppose_step(bench, state, check, shown, input, now),
        (Over::Find(find, targets), Input::Pick(at)) => {
            if let Some((_, target)) = targets.get(*at) {
                take(bench, state, target.clone());
            } else {
                state.over = Some(Over::Find(find, targets));
                not_here(state);
            }
        }
        (Over::Find(find, targets), Input::Text(text)) => {
            let found = matching(&targets, text);
            match found.as_slice() {
                [] => {
                    state.notices.push(format!("Nothing here is called `{text}`."));
                    state.over = Some(Over::Find(find, targets));
                }
                [at] => take(bench, state, targets[*at].1.clone()),
                several => {
                    let fewer = several.iter().map(|at| targets[*at].clone()).collect();
                    state.over = Some(Over::Find(find, fewer));
                }
            }
        }
        (over, _) => {
            state.over = Some(over);
            not_here(state);
        }
    }
}

/// What if: about the check that is asked, at the place that is asked; elsewhere any check.
fn suppose(bench: &Bench<'_>, state: &State) -> Over {
    match focus(bench, state) {
        Some(Focus::Check { check, places, .. }) => {
            let place = places.get(state.draft.len()).or_else(|| places.first()).copied().flatten();
            Over::Suppose(Instance::new(check, place.unwrap_or(0)), None)
        }
        _ => supposable(bench, state),
    }
}

fn supposable(bench: &Bench<'_>, state: &State) -> Over {
    let lines = suppose::lines(bench, &state.case).into_iter();
    Over::Find(Find::Suppose, lines.map(|(line, check)| (line, Target::Suppose(check))).collect())
}

fn suppose_step(
    bench: &Bench<'_>,
    state: &mut State,
    check: Instance<Check>,
    shown: Option<Document>,
    input: &Input,
    now: Option<Timestamp>,
) {
    let item = &bench.knowledge.checks[check.item];
    let answer = match (input, &shown) {
        (Input::Key(Key::Other), _) => {
            state.over = Some(supposable(bench, state));
            return;
        }
        // From what it would change back to the answers.
        (Input::Key(Key::Enter), Some(_)) => {
            state.over = Some(Over::Suppose(check, None));
            return;
        }
        (Input::Pick(at), None) if *at < item.outcomes.len() => Ok(Answer::Outcome(*at)),
        (Input::Text(text), None) => typed(item, &state.case, text),
        _ => {
            state.over = Some(Over::Suppose(check, shown));
            return not_here(state);
        }
    };
    let shown = match answer {
        Ok(answer) => Some(suppose::page(bench, state, check, answer, now)),
        Err(why) => {
            state.notices.push(why);
            None
        }
    };
    state.over = Some(Over::Suppose(check, shown));
}

/// The lines that hold every word of a text.
pub(super) fn matching(targets: &[(String, Target)], text: &str) -> Vec<usize> {
    let lines: Vec<&str> = targets.iter().map(|(line, _)| line.as_str()).collect();
    matching_lines(&lines, text)
}

/// The positions of the lines that hold every word of a text.
pub(in crate::interview) fn matching_lines(lines: &[&str], text: &str) -> Vec<usize> {
    let wanted: Vec<String> = text.split_whitespace().map(str::to_lowercase).collect();
    let holds = |line: &str| wanted.iter().all(|word| line.to_lowercase().contains(word));
    lines.iter().enumerate().filter(|(_, line)| holds(line)).map(|(at, _)| at).collect()
}

pub(super) fn take(bench: &Bench<'_>, state: &mut State, target: Target) {
    match target {
        // What was found before a repair is asked for where the repair's steps record it; one key skips it.
        Target::Ask(Focus::Working(repair, places)) => start_repair(bench, state, repair, &places),
        Target::Ask(focus) => {
            state.draft.clear();
            state.ticked.clear();
            state.aired = false;
            state.focus = Some(focus);
        }
        Target::Suppose(check) => state.over = Some(Over::Suppose(check, None)),
        Target::Barred(why) => state.notices.push(why),
        Target::Symptoms => {
            remember(state);
            state.stage = Stage::Symptoms;
        }
        Target::Fact(fact) => {
            if let Some(at) = facts(bench.knowledge, &state.case).iter().position(|f| *f == fact) {
                remember(state);
                state.stage = Stage::History(at);
            }
        }
    }
}

/// Every check of this craft by name, the quickest first; those that may not be made come last and say why.
pub(super) fn other_checks(bench: &Bench<'_>, state: &State, now: Option<Timestamp>) -> Vec<(String, Target)> {
    let laid = bench.laid(&state.case);
    let mut lines: Vec<(f64, String, Target)> = Vec::new();
    for (ix, check) in bench.knowledge.checks.iter().filter(|(_, check)| laid.fits(&check.fitted)) {
        let action = Action::Check(Instance::new(ix, 0));
        lines.push(match bench.advisor.judge(&state.case, &action, now) {
            Verdict::Barred { why, .. } => {
                let target = Target::Barred(format!("{}: {why}", check.title));
                (f64::INFINITY, format!("{} (not now)", check.title), target)
            }
            Verdict::May(_) => {
                let (minutes, _) = bench.advisor.step_cost(&state.case, &action);
                let places = rows(bench, &state.case, Instance::new(ix, 0));
                let focus = Focus::Check { check: ix, places, replaces: Vec::new() };
                let line = format!("{}, {}", check.title, bench.figures.minutes(minutes));
                (minutes.get(), line, Target::Ask(focus))
            }
        });
    }
    lines.sort_by(|a, b| a.0.total_cmp(&b.0));
    let checks = lines.into_iter().map(|(_, line, target)| (line, target));
    again(bench, state, now).into_iter().chain(checks).collect()
}

/// Trying again whether it is still there, where it may be tried and no repair waits for that.
fn again(bench: &Bench<'_>, state: &State, now: Option<Timestamp>) -> Option<(String, Target)> {
    let complaint = complained_of(&state.case);
    let symptom = *complaint.first()?;
    if untried(bench.knowledge, &state.case).is_some() || tried_without_us(bench, &state.case) {
        return None;
    }
    let title = words::lower_first(&bench.knowledge.symptoms[symptom].title);
    let action = Action::Try(complaint);
    match bench.advisor.judge(&state.case, &action, now) {
        Verdict::May(before) if before.close.is_none() => {
            let (minutes, _) = bench.advisor.step_cost(&state.case, &action);
            let takes = if minutes > Minutes::ZERO { bench.figures.minutes(minutes) } else { String::new() };
            let line = [format!("Try it again: {title}"), takes].into_iter().filter(|part| !part.is_empty());
            Some((line.collect::<Vec<_>>().join(", "), Target::Ask(Focus::Again(symptom))))
        }
        _ => None,
    }
}

/// What was answered, the last first; then what was said at intake.
pub(super) fn answers(bench: &Bench<'_>, state: &State) -> Vec<(String, Target)> {
    let laid = bench.laid(&state.case);
    let log = &state.case.log;
    let mut lines = Vec::new();
    for (at, entry) in log.iter().enumerate().rev() {
        if let Event::Answer { check, place, .. } = &entry.event {
            let focus = Focus::Check { check: *check, places: vec![*place], replaces: vec![at] };
            let same = |entry: &&Entry| matches!(&entry.event, Event::Answer { check: c, place: p, .. } if c == check && p == place);
            let (all, which) = (log.iter().filter(same).count(), log[..=at].iter().filter(same).count());
            let words = words::entry(&laid, entry, bench.figures);
            // What was asked several times is told apart.
            let words = if all > 1 { format!("{words} (answer {which} of {all})") } else { words };
            lines.push((words, Target::Ask(focus)));
        }
    }
    let symptoms: Vec<&str> = state.case.symptoms.iter().map(|s| bench.knowledge.symptoms[*s].title.as_str()).collect();
    lines.push((format!("Complaint: {}", symptoms.join("; ")), Target::Symptoms));
    for fact in facts(bench.knowledge, &state.case) {
        let item = &bench.knowledge.history[fact];
        let said = state.case.history.get(&fact).map_or("not asked", |value| item.values[*value].says.as_str());
        lines.push((format!("{} {said}", item.ask), Target::Fact(fact)));
    }
    lines
}

/// Every repair of this craft by name, those that are likeliest to help first.
pub(super) fn repairs(bench: &Bench<'_>, state: &State) -> Vec<(String, Target)> {
    let laid = bench.laid(&state.case);
    let chance = |repair: &Repair| {
        let causes = state.view.as_ref().map(|v| v.causes.as_slice()).unwrap_or_default();
        let removed = repair.removes.iter().map(|(cause, sure)| {
            causes.iter().filter(|c| c.cause.item == *cause).map(|c| c.chance).fold(0.0, f64::max) * sure.get()
        });
        removed.fold(0.0, f64::max)
    };
    let fits = |repair: &Repair| laid.fits(&repair.fitted) && repair.is_for(&bench.knowledge.users[state.case.user]);
    let mut ranked: Vec<(f64, Ix<Repair>)> =
        bench.knowledge.repairs.iter().filter(|(_, r)| fits(r)).map(|(ix, r)| (chance(r), ix)).collect();
    ranked.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let mut lines = Vec::new();
    for (_, ix) in ranked {
        let repair = &bench.knowledge.repairs[ix];
        let all: Vec<usize> = (0..laid.places(repair.scope)).collect();
        lines.push((repair.title.clone(), Target::Ask(Focus::Working(ix, all.clone()))));
        if !repair.together && all.len() > 1 {
            for at in all {
                let words = laid.words(&repair.title, repair.scope, at);
                lines.push((words, Target::Ask(Focus::Working(ix, vec![at]))));
            }
        }
    }
    lines
}
