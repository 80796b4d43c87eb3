//! One step of the interview: where it stands and what a person did, to where it stands then. Pure: the clock is an
//! argument, files are written by whoever runs it.

use super::advisor::Advisor;
use super::pages;
use super::state::{Attempt, End, Find, Focus, Input, Key, Over, Page, PutOff, Stage, State, Target, first_check};
use crate::access::AccessGraph;
use crate::case::text::{OffScale, on_scale};
use crate::case::{Answer, Case, Entry, Event, Position, Presence};
use crate::decision::{Action, complained_of};
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{
    Check, Fitted, Hazard, HistoryFact, Ix, Knowledge, Layout, Proof, Repair, Scope, Setting, Tick,
};
use crate::report::{Figures, words};
use crate::safety::{Before, Verdict};
use crate::units::{Measure, Minutes, UnitError};
use jiff::Timestamp;
use std::rc::Rc;

/// What an interview works with.
pub struct Bench<'a> {
    /// The knowledge base.
    pub knowledge: &'a Knowledge,
    /// Its graph of disassembly.
    pub graph: &'a AccessGraph,
    /// Who knows what to do next.
    pub advisor: &'a dyn Advisor,
    /// How numbers are shown.
    pub figures: &'a Figures,
    /// Whether the layout is given and need not be asked.
    pub layout_known: bool,
}

impl Bench<'_> {
    /// The craft of a case laid out.
    pub(crate) fn laid(&self, case: &Case) -> Laid<'_> {
        Laid::new(self.knowledge, case.craft.clone())
    }
}

/// Begins: a new job with the safety question, an old one where it was left, with the safety question again.
#[must_use]
pub fn begin(bench: &Bench<'_>, case: Case, now: Option<Timestamp>) -> State {
    let fresh = case.log.is_empty() && case.symptoms.is_empty() && case.history.is_empty();
    let part = match (fresh, case.symptoms.is_empty()) {
        (true, _) if first_check(bench.knowledge).is_some() => Stage::Sniff,
        (true, _) => first_stage(bench),
        (false, true) => Stage::Symptoms,
        (false, false) => Stage::Bench,
    };
    let mut state = State::new(case, part);
    if !fresh {
        state.sniff_first = first_check(bench.knowledge).is_some();
        state.notices.push(welcome_back(bench, &state.case));
    }
    refresh(bench, &mut state, now);
    state
}

fn welcome_back(bench: &Bench<'_>, case: &Case) -> String {
    let laid = bench.laid(case);
    let answers = case.log.iter().filter(|e| matches!(e.event, Event::Answer { .. })).count();
    let said = match answers {
        0 => "no answers yet".to_owned(),
        1 => "1 answer so far".to_owned(),
        n => format!("{n} answers so far"),
    };
    let last = case.log.last().map(|e| format!("; last: {}", words::entry(&laid, e, bench.figures)));
    format!("Going on where you stopped: {said}{}.", last.unwrap_or_default())
}

fn first_stage(bench: &Bench<'_>) -> Stage {
    if bench.layout_known || bench.knowledge.layouts.len() < 2 { after_layout(bench) } else { Stage::Layout }
}

fn after_layout(bench: &Bench<'_>) -> Stage {
    if bench.knowledge.options.is_empty() { Stage::Symptoms } else { Stage::Options }
}

/// The facts worth asking for these symptoms, in the order of asking.
#[must_use]
pub fn facts(knowledge: &Knowledge, case: &Case) -> Vec<Ix<HistoryFact>> {
    let wanted = |fact: &HistoryFact| {
        fact.only_for.is_empty() || fact.only_for.iter().any(|symptom| case.symptoms.contains(symptom))
    };
    knowledge.history.iter().filter(|(_, fact)| wanted(fact)).map(|(ix, _)| ix).collect()
}

/// One step.
#[must_use]
pub fn step(bench: &Bench<'_>, mut state: State, input: &Input, now: Option<Timestamp>) -> State {
    state.notices.clear();
    if always(bench, &mut state, input) {
        return state;
    }
    if let Some(over) = state.over.take() {
        over_step(bench, &mut state, over, input);
        clear_the_way(bench, &mut state, now);
        return state;
    }
    match state.stage {
        Stage::Sniff => check_step(bench, &mut state, input, now),
        Stage::Layout => layout_step(bench, &mut state, input),
        Stage::Options => options_step(bench, &mut state, input),
        Stage::Symptoms => symptoms_step(bench, &mut state, input, now),
        Stage::History(at) => history_step(bench, &mut state, at, input, now),
        Stage::Bench => bench_step(bench, &mut state, input, now),
    }
    clear_the_way(bench, &mut state, now);
    state
}

/// Where a check that a person chose may only be made once a hazard is closed, the check that closes it comes first,
/// with what holds the hazard open put back.
fn clear_the_way(bench: &Bench<'_>, state: &mut State, now: Option<Timestamp>) {
    if state.stage != Stage::Bench || state.over.is_some() || state.end.is_some() {
        return;
    }
    let Some(Focus::Check { check, places, replaces }) = state.focus.clone() else { return };
    let action = Action::Check(Instance::new(check, places.first().copied().flatten().unwrap_or(0)));
    let needs = match before(bench, state, &action, now) {
        Ok(needs) if replaces.is_empty() => needs,
        _ => return,
    };
    let Some((closer, ..)) = needs.close.filter(|(closer, ..)| *closer != check) else { return };
    if !needs.put_back.is_empty() {
        remember(state);
    }
    for shut in &needs.put_back {
        state.case.log.push(Entry { at: now, event: Event::Access { access: *shut, now: Position::Shut } });
        let title = words::lower_first(&bench.knowledge.access[*shut].title);
        state.notices.push(format!("Put back first: {title}."));
    }
    let title = words::lower_first(&bench.knowledge.checks[check].title);
    refresh(bench, state, now);
    state.notices.push(format!("This comes before: {title}."));
    state.focus = Some(Focus::Check { check: closer, places: vec![Some(0)], replaces: Vec::new() });
}

/// Fire and leaving come before everything.
fn always(bench: &Bench<'_>, state: &mut State, input: &Input) -> bool {
    match input {
        Input::Key(Key::Stop) => {
            let stop = bench.knowledge.interlocks.iter().find(|(_, i)| i.ends && i.key.is_some());
            if let Some((ix, _)) = stop {
                state.end = Some(End::Stopped(ix));
            }
            true
        }
        Input::Key(Key::Pause) => {
            state.over = pages::pause(bench.knowledge).map(|document| Over::Page(Page::Reading, document));
            true
        }
        Input::Key(Key::Leave) => {
            state.end = Some(End::Left);
            true
        }
        _ => false,
    }
}

/// What is believed and advised about the job as it stands; asked once for each change of it.
fn refresh(bench: &Bench<'_>, state: &mut State, now: Option<Timestamp>) {
    state.draft.clear();
    state.ticked.clear();
    state.aired = false;
    state.view = None;
    state.attempt = None;
    state.stuck = None;
    if state.stage != Stage::Bench || state.sniff_first {
        return;
    }
    state.attempt = attempt_due(bench, &state.case, now);
    match bench.advisor.look(&state.case, now) {
        Ok(view) => state.view = Some(Rc::new(view)),
        Err(why) => state.stuck = Some(why),
    }
}

/// Remembers the job as it is, so that one can go back to it.
fn remember(state: &mut State) {
    state.before.push((state.case.clone(), state.stage));
}

fn back(bench: &Bench<'_>, state: &mut State, now: Option<Timestamp>) {
    if state.draft.pop().is_some() {
        return;
    }
    if state.focus.take().is_some() {
        refresh(bench, state, now);
        return;
    }
    if let Some((case, part)) = state.before.pop() {
        (state.case, state.stage) = (case, part);
        refresh(bench, state, now);
    } else if let Some(shorter) = without_last(&state.case) {
        // A job that was gone on with: its log itself says what came last.
        state.case = shorter;
        refresh(bench, state, now);
    } else {
        state.notices.push("This is the first question.".to_owned());
    }
}

/// The case without the last thing that happened and what was confirmed, opened and written down for it.
fn without_last(case: &Case) -> Option<Case> {
    let is_step = |entry: &Entry| !matches!(entry.event, Event::Ticked(_) | Event::Access { .. } | Event::Set { .. });
    let last = case.log.iter().rposition(is_step)?;
    let start = case.log[..last].iter().rposition(is_step).map_or(0, |at| at + 1);
    Some(Case { log: case.log[..start].to_vec(), ..case.clone() })
}

// --- intake -------------------------------------------------------------------------------------------------------

fn layout_step(bench: &Bench<'_>, state: &mut State, input: &Input) {
    let chosen = match input {
        Input::Pick(at) if *at < bench.knowledge.layouts.len() => Ix::<Layout>::new(*at),
        Input::Key(Key::Enter) => state.case.craft.layout,
        Input::Key(Key::Back) => return intake_back(state),
        _ => return not_here(state),
    };
    remember(state);
    state.case.craft.layout = chosen;
    state.stage = after_layout(bench);
}

fn options_step(bench: &Bench<'_>, state: &mut State, input: &Input) {
    match input {
        Input::Pick(at) if *at < bench.knowledge.options.len() => {
            state.case.craft.options[*at] = !state.case.craft.options[*at];
        }
        Input::Key(Key::Enter) => {
            remember(state);
            state.stage = Stage::Symptoms;
        }
        Input::Key(Key::Back) => intake_back(state),
        _ => not_here(state),
    }
}

/// The symptoms a craft can have, in the order of the knowledge base.
#[must_use]
pub fn symptoms_of(bench: &Bench<'_>, case: &Case) -> Vec<Ix<crate::knowledge::Symptom>> {
    let laid = bench.laid(case);
    bench.knowledge.symptoms.iter().filter(|(_, s)| laid.fits(&s.fitted)).map(|(ix, _)| ix).collect()
}

fn symptoms_step(bench: &Bench<'_>, state: &mut State, input: &Input, now: Option<Timestamp>) {
    match input {
        Input::Pick(at) => match symptoms_of(bench, &state.case).get(*at) {
            Some(symptom) if state.case.symptoms.contains(symptom) => state.case.symptoms.retain(|s| s != symptom),
            Some(symptom) => state.case.symptoms.push(*symptom),
            None => not_here(state),
        },
        Input::Key(Key::Enter) if state.case.symptoms.is_empty() => {
            state.notices.push("Pick what stops the customer first; one is enough.".to_owned());
        }
        Input::Key(Key::Enter) => {
            remember(state);
            to_history(bench, state, 0, now);
        }
        Input::Key(Key::Back) => intake_back(state),
        _ => not_here(state),
    }
}

fn to_history(bench: &Bench<'_>, state: &mut State, from: usize, now: Option<Timestamp>) {
    if from < facts(bench.knowledge, &state.case).len() {
        state.stage = Stage::History(from);
    } else {
        state.stage = Stage::Bench;
        refresh(bench, state, now);
    }
}

fn history_step(bench: &Bench<'_>, state: &mut State, at: usize, input: &Input, now: Option<Timestamp>) {
    let Some(fact) = facts(bench.knowledge, &state.case).get(at).copied() else {
        return to_history(bench, state, usize::MAX, now);
    };
    let item = &bench.knowledge.history[fact];
    let next = match input {
        Input::Pick(value) if *value < item.values.len() => {
            remember(state);
            state.case.history.insert(fact, *value);
            for (option, fitted) in &item.values[*value].implies {
                state.case.craft.options[option.at()] = *fitted;
            }
            at + 1
        }
        Input::Key(Key::NotSure | Key::Enter) => {
            remember(state);
            if matches!(input, Input::Key(Key::NotSure)) {
                state.case.history.shift_remove(&fact);
            }
            at + 1
        }
        Input::Key(Key::Skip) => {
            remember(state);
            usize::MAX
        }
        Input::Key(Key::Back) => return intake_back(state),
        _ => return not_here(state),
    };
    to_history(bench, state, next, now);
}

fn intake_back(state: &mut State) {
    match state.before.pop() {
        Some((case, part)) => (state.case, state.stage) = (case, part),
        None => state.notices.push("This is the first question.".to_owned()),
    }
}

fn not_here(state: &mut State) {
    state.notices.push("That does nothing here.".to_owned());
}

// --- the bench ----------------------------------------------------------------------------------------------------

/// What is asked about now: the safety question, what a person chose, or what is proposed.
#[must_use]
pub fn focus(bench: &Bench<'_>, state: &State) -> Option<Focus> {
    if state.stage == Stage::Sniff || state.sniff_first {
        let (check, ..) = first_check(bench.knowledge)?;
        return Some(Focus::Check { check, places: vec![Some(0)], replaces: Vec::new() });
    }
    if state.focus.is_some() {
        return state.focus.clone();
    }
    if let Some(repair) = cured_by(&state.case).filter(|_| state.put_off != Some(PutOff::Proof)) {
        return Some(Focus::Proof(repair));
    }
    if let Some(attempt) = state.attempt.as_ref().filter(|_| state.put_off != Some(PutOff::Attempt)) {
        return Some(match attempt.close {
            Some(check) => Focus::Check { check, places: vec![Some(0)], replaces: Vec::new() },
            None => Focus::Tried(attempt.repair, attempt.symptom),
        });
    }
    let view = state.view.as_ref()?;
    Some(match &view.advice.next.action {
        Action::Check(check) => {
            Focus::Check { check: check.item, places: rows(bench, &state.case, *check), replaces: Vec::new() }
        }
        Action::Repair(repair, places) => Focus::Repair(*repair, places.clone()),
        Action::Try(symptoms) => Focus::Tried(untried(bench.knowledge, &state.case)?, *symptoms.first()?),
        Action::HandOver => Focus::HandOver,
    })
}

/// The repair to be tried: the last one done that removes anything, where nothing was tried since.
#[must_use]
pub fn untried(knowledge: &Knowledge, case: &Case) -> Option<Ix<Repair>> {
    let mut untried = None;
    for entry in &case.log {
        match entry.event {
            Event::Repaired { repair, .. } if !knowledge.repairs[repair].service => untried = Some(repair),
            Event::Tried { .. } => untried = None,
            _ => {}
        }
    }
    untried
}

/// The attempt that is due, unless something must be settled before it is allowed: then that comes first, as advised.
fn attempt_due(bench: &Bench<'_>, case: &Case, now: Option<Timestamp>) -> Option<Attempt> {
    let repair = untried(bench.knowledge, case)?;
    let complaint = complained_of(case);
    let symptom = *complaint.first()?;
    match bench.advisor.judge(case, &Action::Try(complaint), now) {
        Verdict::May(before) => {
            let close = before.close.map(|(check, ..)| check);
            Some(Attempt { repair, symptom, put_back: before.put_back, close })
        }
        Verdict::Barred { .. } => None,
    }
}

/// The last repair, where the symptom was gone when it was tried last.
#[must_use]
pub fn cured_by(case: &Case) -> Option<Ix<Repair>> {
    let mut repaired = None;
    let mut gone = false;
    for entry in &case.log {
        match entry.event {
            Event::Repaired { repair, .. } => repaired = Some(repair),
            Event::Tried { now, .. } => gone = now == Presence::Absent,
            _ => {}
        }
    }
    repaired.filter(|_| gone)
}

/// The places that are asked about on one screen: all behind the same opening that have no answer since the last
/// repair, the proposed one first where the others cost another opening.
fn rows(bench: &Bench<'_>, case: &Case, check: Instance<Check>) -> Vec<Option<usize>> {
    let laid = bench.laid(case);
    let item = &bench.knowledge.checks[check.item];
    let open = bench.advisor.open(case);
    let needed = bench.graph.missing(&open, &item.access);
    let one_by_one = needed.iter().any(|a| bench.knowledge.access[*a].each_further.is_some());
    if one_by_one || laid.places(item.scope) == 1 {
        return vec![Some(check.at)];
    }
    let since = case.log.iter().rposition(|e| matches!(e.event, Event::Repaired { .. })).map_or(0, |at| at + 1);
    let answered = |at: usize| {
        case.log[since..].iter().any(|entry| {
            matches!(&entry.event, Event::Answer { check: c, place, .. }
                if *c == check.item && place.is_none_or(|p| p == at))
        })
    };
    (0..laid.places(item.scope)).filter(|at| *at == check.at || !answered(*at)).map(Some).collect()
}

fn bench_step(bench: &Bench<'_>, state: &mut State, input: &Input, now: Option<Timestamp>) {
    if let Input::Key(key) = input
        && general_key(bench, state, *key, now)
    {
        return;
    }
    match focus(bench, state) {
        Some(Focus::Check { .. }) => check_step(bench, state, input, now),
        Some(Focus::Repair(repair, places)) => repair_step(bench, state, repair, &places, input),
        Some(Focus::Record(repair, places, settings)) => {
            record_step(state, repair, places, settings, input, now);
        }
        Some(Focus::Working(repair, places)) => working_step(bench, state, repair, places, input, now),
        Some(Focus::Tried(repair, symptom)) => tried_step(bench, state, repair, symptom, input, now),
        Some(Focus::Proof(repair)) => proof_step(bench, state, repair, input, now),
        Some(Focus::HandOver) => hand_over_step(bench, state, input, now),
        None if *input == Input::Key(Key::Back) => back(bench, state, now),
        None => not_here(state),
    }
}

/// Keys that mean the same wherever one is on the bench.
fn general_key(bench: &Bench<'_>, state: &mut State, key: Key, now: Option<Timestamp>) -> bool {
    let page = match key {
        Key::Why => pages::why(bench, state),
        Key::Ranking => pages::ranking(bench, state),
        Key::How => pages::how(bench, state),
        Key::Barred => pages::barred(bench, state),
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

fn over_step(bench: &Bench<'_>, state: &mut State, over: Over, input: &Input) {
    match (over, input) {
        (Over::Page(Page::Plan, plan), Input::Key(Key::Write)) => state.write_plan = Some(plan),
        (Over::Page(..), _) | (Over::Find(..), Input::Key(Key::Back | Key::Enter)) => {}
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

/// The lines that hold every word of a text.
fn matching(targets: &[(String, Target)], text: &str) -> Vec<usize> {
    let lines: Vec<&str> = targets.iter().map(|(line, _)| line.as_str()).collect();
    matching_lines(&lines, text)
}

/// The positions of the lines that hold every word of a text.
pub(super) fn matching_lines(lines: &[&str], text: &str) -> Vec<usize> {
    let wanted: Vec<String> = text.split_whitespace().map(str::to_lowercase).collect();
    let holds = |line: &str| wanted.iter().all(|word| line.to_lowercase().contains(word));
    lines.iter().enumerate().filter(|(_, line)| holds(line)).map(|(at, _)| at).collect()
}

fn take(bench: &Bench<'_>, state: &mut State, target: Target) {
    match target {
        // What was found before a repair is asked for where the repair's steps record it; one key skips it.
        Target::Ask(Focus::Working(repair, places)) => start_repair(bench, state, repair, &places),
        Target::Ask(focus) => {
            state.draft.clear();
            state.ticked.clear();
            state.aired = false;
            state.focus = Some(focus);
        }
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
fn other_checks(bench: &Bench<'_>, state: &State, now: Option<Timestamp>) -> Vec<(String, Target)> {
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
    lines.into_iter().map(|(_, line, target)| (line, target)).collect()
}

/// What was answered, the last first; then what was said at intake.
fn answers(bench: &Bench<'_>, state: &State) -> Vec<(String, Target)> {
    let laid = bench.laid(&state.case);
    let mut lines = Vec::new();
    for (at, entry) in state.case.log.iter().enumerate().rev() {
        if let Event::Answer { check, place, .. } = &entry.event {
            let focus = Focus::Check { check: *check, places: vec![*place], replaces: vec![at] };
            lines.push((words::entry(&laid, entry, bench.figures), Target::Ask(focus)));
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
fn repairs(bench: &Bench<'_>, state: &State) -> Vec<(String, Target)> {
    let laid = bench.laid(&state.case);
    let chance = |repair: &Repair| {
        let causes = state.view.as_ref().map(|v| v.causes.as_slice()).unwrap_or_default();
        let removed = repair.removes.iter().map(|(cause, sure)| {
            causes.iter().filter(|c| c.cause.item == *cause).map(|c| c.chance).fold(0.0, f64::max) * sure.get()
        });
        removed.fold(0.0, f64::max)
    };
    let mut ranked: Vec<(f64, Ix<Repair>)> =
        bench.knowledge.repairs.iter().filter(|(_, r)| laid.fits(&r.fitted)).map(|(ix, r)| (chance(r), ix)).collect();
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

// --- a check ------------------------------------------------------------------------------------------------------

/// What must be done before a step on the screen, as the interlocks see it. The step that clears the way for another
/// (the sniff before the starter) puts back what the other wants shut, or it would clear nothing.
///
/// # Errors
/// Why it may not be done at all.
pub fn before(bench: &Bench<'_>, state: &State, action: &Action, now: Option<Timestamp>) -> Result<Before, String> {
    match bench.advisor.judge(&state.case, action, now) {
        Verdict::May(mut before) => {
            let next = state.view.as_ref().map(|view| &view.advice.next);
            let next = next.filter(|next| next.action == *action && !state.sniff_first);
            // What closes a hazard before a repair is tried closes it on a craft that is whole again.
            let closes = |attempt: &&Attempt| {
                attempt.close.is_some_and(|check| *action == Action::Check(Instance::new(check, 0)))
            };
            let attempt = state.attempt.as_ref().filter(|_| state.put_off != Some(PutOff::Attempt)).filter(closes);
            let needed = match action {
                Action::Check(check) => bench.graph.needed(&bench.knowledge.checks[check.item].access),
                _ => bench.graph.shut(),
            };
            let put_back = attempt.iter().flat_map(|attempt| &attempt.put_back).filter(|shut| !needed.has(**shut));
            for shut in next.iter().flat_map(|next| &next.before.put_back).chain(put_back) {
                if !before.put_back.contains(shut) {
                    before.put_back.push(*shut);
                }
            }
            Ok(before)
        }
        Verdict::Barred { why, .. } => Err(why),
    }
}

/// The ticks that are still missing on this screen.
#[must_use]
pub fn missing_ticks(state: &State, before: &Before) -> Vec<Ix<Tick>> {
    before.ticks.iter().copied().filter(|tick| !state.ticked.contains(tick)).collect()
}

/// Where a check closes an open hazard: the outcome that does, the minutes of airing before it, the hazard.
#[must_use]
pub fn closing(
    bench: &Bench<'_>,
    state: &State,
    check: Ix<Check>,
    now: Option<Timestamp>,
) -> Option<(usize, Minutes, Ix<Hazard>)> {
    if let (true, Some((first, outcome, minutes))) = (state.sniff_first, first_check(bench.knowledge)) {
        let hazard = bench.knowledge.hazards.iter().find(|(_, h)| h.open_at_start && !h.closed_by.is_empty());
        return hazard.filter(|_| first == check).map(|(ix, _)| (outcome, minutes, ix));
    }
    bench.advisor.hazards(&state.case, now).into_iter().find_map(|open| {
        let hazard = &bench.knowledge.hazards[open.hazard];
        let by = hazard.closed_by.iter().find(|by| by.answer.0 == check)?;
        Some((by.answer.1, open.air, open.hazard))
    })
}

fn check_step(bench: &Bench<'_>, state: &mut State, input: &Input, now: Option<Timestamp>) {
    let Some(Focus::Check { check, places, replaces }) = focus(bench, state) else { return not_here(state) };
    let item = &bench.knowledge.checks[check];
    let action = Action::Check(Instance::new(check, places[0].unwrap_or(0)));
    let needs = if replaces.is_empty() { before(bench, state, &action, now) } else { Ok(Before::default()) };
    let needs = match needs {
        Ok(needs) => needs,
        Err(why) => {
            state.focus = None;
            state.notices.push(why);
            return;
        }
    };
    let answer = match input {
        Input::Key(Key::Back) => return back(bench, state, now),
        Input::Key(Key::Tick) => return tick(bench, state, &needs, check, now),
        Input::Key(Key::Enter) if !state.draft.is_empty() => {
            return commit(bench, state, check, &places, &replaces, &needs, now);
        }
        Input::Key(Key::CouldNot) => Answer::CouldNot,
        Input::Key(Key::NotSure) => Answer::Unknown,
        Input::Pick(at) => match outcome_at(item, *at) {
            Some(outcome) => Answer::Outcome(outcome),
            None => return not_here(state),
        },
        Input::Text(text) => match typed(item, &state.case, text) {
            Ok(answer) => answer,
            Err(why) => {
                state.notices.push(why);
                return;
            }
        },
        Input::Key(_) => return not_here(state),
    };
    if answer.informs()
        && let Err(why) = may_answer(bench, state, check, answer, &needs, now)
    {
        state.notices.push(why);
        return;
    }
    state.draft.push(answer);
    if state.draft.len() >= places.len() {
        commit(bench, state, check, &places, &replaces, &needs, now);
    }
}

/// The outcome behind a choice: every outcome of a check without a reading; of one with a reading only the one that
/// stands for "beyond the scale".
fn outcome_at(check: &Check, at: usize) -> Option<usize> {
    match &check.reading {
        None => (at < check.outcomes.len()).then_some(at),
        Some(reading) => reading.over.filter(|_| at == 0),
    }
}

/// A reading as a person typed it, in the check's unit; or an outcome by its id or words.
fn typed(check: &Check, case: &Case, text: &str) -> Result<Answer, String> {
    let word = text.trim().to_lowercase();
    let by_name = check.outcomes.iter().position(|o| o.id == word || o.says.to_lowercase() == word);
    if let Some(outcome) = by_name.filter(|at| check.reading.as_ref().is_none_or(|r| r.over == Some(*at))) {
        return Ok(Answer::Outcome(outcome));
    }
    let Some(reading) = &check.reading else {
        return Err(format!("`{text}` is none of the answers; give its number"));
    };
    let quantity = reading.unit.quantity();
    let measure = match Measure::parse_as(text, quantity) {
        // A bare number is in the unit of the question.
        Err(UnitError::NoUnit { .. }) => Measure::parse_as(&format!("{text} {}", reading.unit), quantity),
        other => other,
    };
    let value = measure.map_err(|e| e.to_string())?.get(reading.unit).ok_or("a unit of the wrong quantity")?;
    match on_scale(reading, value, case) {
        Ok(()) | Err(OffScale::NoFigure(_)) => Ok(Answer::Reading(value)),
        Err(OffScale::Beyond(why)) => Err(format!("{why}, found `{}`", text.trim())),
    }
}

/// Whether an answer may be taken: what an interlock asks for is confirmed, and a hazard is closed only once the hull
/// has been aired.
fn may_answer(
    bench: &Bench<'_>,
    state: &State,
    check: Ix<Check>,
    answer: Answer,
    needs: &Before,
    now: Option<Timestamp>,
) -> Result<(), String> {
    if let Some(tick) = missing_ticks(state, needs).first() {
        return Err(format!("First confirm with t: {}", bench.knowledge.ticks[*tick].says));
    }
    if let Some((closer, outcome, minutes)) = needs.close {
        let title = &bench.knowledge.checks[closer].title;
        let says = &bench.knowledge.checks[closer].outcomes[outcome].says;
        let air = bench.figures.minutes(minutes);
        return Err(format!("First air it {air}, then: {title}, until the answer is \"{says}\". Press o to find it."));
    }
    match closing(bench, state, check, now) {
        Some((outcome, minutes, _))
            if answer == Answer::Outcome(outcome) && minutes > Minutes::ZERO && !state.aired =>
        {
            let minutes = bench.figures.minutes(minutes);
            Err(format!("First air it for {minutes}, then confirm with t. Without that the answer cannot count."))
        }
        _ => Ok(()),
    }
}

fn tick(bench: &Bench<'_>, state: &mut State, needs: &Before, check: Ix<Check>, now: Option<Timestamp>) {
    if let Some(tick) = missing_ticks(state, needs).first() {
        state.ticked.push(*tick);
    } else if closing(bench, state, check, now).is_some_and(|(_, minutes, _)| minutes > Minutes::ZERO) {
        state.aired = true;
    } else {
        state.notices.push("There is nothing to confirm here.".to_owned());
    }
}

fn commit(
    bench: &Bench<'_>,
    state: &mut State,
    check: Ix<Check>,
    places: &[Option<usize>],
    replaces: &[usize],
    needs: &Before,
    now: Option<Timestamp>,
) {
    remember(state);
    let aired = closing(bench, state, check, now).filter(|_| state.aired).map(|(_, minutes, _)| minutes.get());
    let draft = std::mem::take(&mut state.draft);
    if replaces.is_empty() {
        if draft.iter().any(|a| a.informs()) {
            prelude(bench, state, &bench.knowledge.checks[check].access, needs, now);
        }
        let answers = places.iter().zip(draft);
        state.case.log.extend(answers.map(|(place, answer)| Entry {
            at: now,
            event: Event::Answer { check, place: *place, answer, aired_min: aired },
        }));
    } else {
        for (at, new) in replaces.iter().zip(draft) {
            if let Some(Event::Answer { answer, .. }) = state.case.log.get_mut(*at).map(|entry| &mut entry.event) {
                *answer = new;
            }
        }
    }
    state.focus = None;
    let first = std::mem::take(&mut state.sniff_first);
    if state.stage == Stage::Sniff && !first {
        state.stage = first_stage(bench);
    }
    refresh(bench, state, now);
}

/// What comes before a step in the log: what was put back, what was opened, what was confirmed.
fn prelude(
    bench: &Bench<'_>,
    state: &mut State,
    access: &[Ix<crate::knowledge::Access>],
    needs: &Before,
    now: Option<Timestamp>,
) {
    let mut add = |event: Event| state.case.log.push(Entry { at: now, event });
    for shut in &needs.put_back {
        add(Event::Access { access: *shut, now: Position::Shut });
    }
    for tick in &state.ticked {
        add(Event::Ticked(*tick));
    }
    let open = bench.advisor.open(&state.case);
    for missing in bench.graph.missing(&open, access) {
        // Standing beside it opens nothing.
        if bench.knowledge.access[missing].open == Minutes::ZERO {
            continue;
        }
        state.case.log.push(Entry { at: now, event: Event::Access { access: missing, now: Position::Open } });
    }
}

// --- a repair -----------------------------------------------------------------------------------------------------

fn repair_step(bench: &Bench<'_>, state: &mut State, repair: Ix<Repair>, places: &[usize], input: &Input) {
    match input {
        Input::Pick(0) => start_repair(bench, state, repair, places),
        Input::Pick(1) => {
            let next = other_check(state);
            match next {
                Some(check) => {
                    let places = rows(bench, &state.case, check);
                    state.focus = Some(Focus::Check { check: check.item, places, replaces: Vec::new() });
                }
                None => {
                    state.notices.push("No check is among the steps that were weighed; o lists them all.".to_owned());
                }
            }
        }
        Input::Key(Key::Back) => back(bench, state, None),
        _ => not_here(state),
    }
}

/// The best check that is not the proposal.
#[must_use]
pub fn other_check(state: &State) -> Option<Instance<Check>> {
    state.view.as_ref()?.advice.alternatives.iter().find_map(|proposal| match &proposal.action {
        Action::Check(check) => Some(*check),
        _ => None,
    })
}

/// Settings as found are written down first; what is on record already is not asked again.
fn start_repair(bench: &Bench<'_>, state: &mut State, repair: Ix<Repair>, places: &[usize]) {
    let laid = bench.laid(&state.case);
    let item = &bench.knowledge.repairs[repair];
    let known = |setting: Ix<Setting>, at: usize| {
        state
            .case
            .log
            .iter()
            .any(|entry| matches!(&entry.event, Event::Set { setting: s, .. } if s.item == setting && s.at == at))
    };
    let mut settings: Vec<(Ix<Setting>, usize)> = Vec::new();
    for setting in item.steps.iter().flat_map(|step| step.record.iter().copied()) {
        for at in setting_places(&laid, bench.knowledge.settings[setting].scope, item.scope, places) {
            if !known(setting, at) && !settings.contains(&(setting, at)) {
                settings.push((setting, at));
            }
        }
    }
    state.focus = Some(if settings.is_empty() {
        Focus::Working(repair, places.to_vec())
    } else {
        Focus::Record(repair, places.to_vec(), settings)
    });
}

fn setting_places(laid: &Laid<'_>, of: Scope, repair: Scope, places: &[usize]) -> Vec<usize> {
    let mut all: Vec<usize> = places.iter().flat_map(|at| laid.bearing(of, repair, *at)).collect();
    all.sort_unstable();
    all.dedup();
    all
}

fn record_step(
    state: &mut State,
    repair: Ix<Repair>,
    places: Vec<usize>,
    mut settings: Vec<(Ix<Setting>, usize)>,
    input: &Input,
    now: Option<Timestamp>,
) {
    match input {
        Input::Text(value) if !value.trim().is_empty() => {
            remember(state);
            let (setting, at) = settings.remove(0);
            let value = value.trim().to_owned();
            state.case.log.push(Entry { at: now, event: Event::Set { setting: Instance::new(setting, at), value } });
        }
        Input::Text(_) | Input::Key(Key::Enter | Key::NotSure | Key::CouldNot) => {
            settings.remove(0);
        }
        Input::Key(Key::Skip) => settings.clear(),
        Input::Key(Key::Back) => {
            state.focus = None;
            return;
        }
        _ => return not_here(state),
    }
    state.focus = Some(if settings.is_empty() {
        Focus::Working(repair, places)
    } else {
        Focus::Record(repair, places, settings)
    });
}

fn working_step(
    bench: &Bench<'_>,
    state: &mut State,
    repair: Ix<Repair>,
    places: Vec<usize>,
    input: &Input,
    now: Option<Timestamp>,
) {
    let needs = match before(bench, state, &Action::Repair(repair, places.clone()), now) {
        Ok(needs) => needs,
        Err(why) => {
            state.focus = None;
            state.notices.push(why);
            return;
        }
    };
    match input {
        Input::Pick(0) => {
            if let Some(tick) = missing_ticks(state, &needs).first() {
                let says = &bench.knowledge.ticks[*tick].says;
                state.notices.push(format!("First confirm with t: {says}"));
                return;
            }
            if let Some((closer, ..)) = needs.close {
                let title = &bench.knowledge.checks[closer].title;
                state.notices.push(format!("First: {title}. Press o to find it."));
                return;
            }
            remember(state);
            prelude(bench, state, &bench.knowledge.repairs[repair].access, &needs, now);
            state.case.log.push(Entry { at: now, event: Event::Repaired { repair, places } });
            state.focus = None;
            state.put_off = None;
            refresh(bench, state, now);
            if state.attempt.as_ref().is_some_and(|attempt| attempt.close.is_some()) {
                state.notices.push("This comes before you try it.".to_owned());
            } else if state.attempt.is_none()
                && let Verdict::Barred { why, .. } =
                    bench.advisor.judge(&state.case, &Action::Try(complained_of(&state.case)), now)
            {
                state.notices.push(format!("Do not try it yet. {why}"));
            }
        }
        Input::Pick(1) | Input::Key(Key::Back) => state.focus = None,
        Input::Key(Key::Tick) => match missing_ticks(state, &needs).first() {
            Some(tick) => state.ticked.push(*tick),
            None => state.notices.push("There is nothing to confirm here.".to_owned()),
        },
        _ => not_here(state),
    }
}

fn tried_step(
    bench: &Bench<'_>,
    state: &mut State,
    repair: Ix<Repair>,
    symptom: Ix<crate::knowledge::Symptom>,
    input: &Input,
    now: Option<Timestamp>,
) {
    let needs = match before(bench, state, &Action::Try(complained_of(&state.case)), now) {
        Ok(needs) => needs,
        Err(why) => return state.notices.push(why),
    };
    let presence = match input {
        Input::Pick(0) => Presence::Absent,
        Input::Pick(1) => Presence::Present,
        Input::Pick(2) | Input::Key(Key::NotSure | Key::CouldNot | Key::Enter) => {
            state.focus = None;
            state.put_off = Some(PutOff::Attempt);
            return;
        }
        Input::Key(Key::Tick) => {
            return match missing_ticks(state, &needs).first() {
                Some(tick) => state.ticked.push(*tick),
                None => state.notices.push("There is nothing to confirm here.".to_owned()),
            };
        }
        Input::Key(Key::Back) => {
            state.focus = None;
            return back(bench, state, now);
        }
        _ => return not_here(state),
    };
    if let Some(tick) = missing_ticks(state, &needs).first() {
        let says = &bench.knowledge.ticks[*tick].says;
        return state.notices.push(format!("First confirm with t: {says}"));
    }
    remember(state);
    prelude(bench, state, &[], &needs, now);
    state.case.log.push(Entry { at: now, event: Event::Tried { symptom, now: presence } });
    state.put_off = None;
    state.focus = (presence == Presence::Absent).then_some(Focus::Proof(repair));
    let focus = state.focus.clone();
    refresh(bench, state, now);
    state.focus = focus;
}

/// The checks that prove a repair and that the craft has.
#[must_use]
pub fn proofs(bench: &Bench<'_>, case: &Case, repair: Ix<Repair>) -> Vec<Ix<Check>> {
    let laid = bench.laid(case);
    let fits = |fitted: &Fitted| laid.fits(fitted);
    let proves = &bench.knowledge.repairs[repair].proves;
    proves
        .iter()
        .filter_map(|proof| match proof {
            Proof::Check(check, _) if fits(&bench.knowledge.checks[*check].fitted) => Some(*check),
            _ => None,
        })
        .collect()
}

fn proof_step(bench: &Bench<'_>, state: &mut State, repair: Ix<Repair>, input: &Input, now: Option<Timestamp>) {
    let checks = proofs(bench, &state.case, repair);
    match input {
        Input::Pick(0) => state.end = Some(End::Cured),
        Input::Pick(at) if *at <= checks.len() => {
            let check = Instance::new(checks[at - 1], 0);
            let places = rows(bench, &state.case, check);
            state.focus = Some(Focus::Check { check: check.item, places, replaces: Vec::new() });
        }
        Input::Pick(at) if *at == checks.len() + 1 => {
            state.focus = None;
            state.put_off = Some(PutOff::Proof);
        }
        Input::Key(Key::Back) => {
            state.focus = None;
            back(bench, state, now);
        }
        _ => not_here(state),
    }
}

fn hand_over_step(bench: &Bench<'_>, state: &mut State, input: &Input, now: Option<Timestamp>) {
    match input {
        Input::Pick(0) => state.end = Some(End::HandedOver),
        Input::Pick(1) => match other_check(state) {
            Some(check) => {
                let places = rows(bench, &state.case, check);
                state.focus = Some(Focus::Check { check: check.item, places, replaces: Vec::new() });
            }
            None => state.notices.push("No check is among the steps that were weighed; o lists them all.".to_owned()),
        },
        Input::Key(Key::Back) => back(bench, state, now),
        _ => not_here(state),
    }
}
