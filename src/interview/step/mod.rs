//! One step of the interview: where it stands and what a person did, to where it stands then. Pure: the clock is an
//! argument, files are written by whoever runs it.

mod check;
mod emergency;
mod focus;
mod intake;
mod over;
mod record;
mod repair;
mod several;

pub use crate::decision::untried;
pub use check::{before, closing, missing_ticks};
pub use focus::{cured_by, focus};
pub use intake::{facts, symptoms_of};
pub(super) use over::matching_lines;
pub use record::{NOT_KNOWN, asked_for, is_photo};
pub use repair::{NO_CHECK_HELPS, other_check, proofs};

use super::advisor::Advisor;
use super::state::{End, Focus, Input, Key, Moment, Over, Page, Stage, State, first_check};
use super::{call, pages};
use crate::access::AccessGraph;
use crate::case::{Case, Entry, Event, Position};
use crate::decision::Action;
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Interlock, Ix, Knowledge, Repair};
use crate::report::{Figures, words};
use check::check_step;
use emergency::{emergency_step, stop};
use focus::attempt_due;
use intake::{call_step, first_stage, history_step, layout_step, left_step, options_step, symptoms_step};
use jiff::Timestamp;
use over::{bench_step, over_step};
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
pub fn begin(bench: &Bench<'_>, mut case: Case, now: Option<Timestamp>) -> State {
    case.taken_up = case.log.len();
    let fresh = is_fresh(&case);
    let stage = if by_phone(bench.knowledge, &case) { Stage::Call(0) } else { opening_stage(bench, &case) };
    let mut state = State::new(case, stage);
    if !fresh {
        state.sniff_first = first_check(bench.knowledge).is_some();
        state.notices.push(welcome_back(bench, &state.case));
    }
    refresh(bench, &mut state, now);
    state
}

/// Whether nothing was asked yet, though the job may have been stopped.
fn is_fresh(case: &Case) -> bool {
    let stopped = |entry: &Entry| matches!(entry.event, Event::Emergency { .. });
    case.log.iter().all(stopped) && case.symptoms.is_empty() && case.history.is_empty()
}

/// Where a job begins, or is gone on with.
fn opening_stage(bench: &Bench<'_>, case: &Case) -> Stage {
    match (is_fresh(case), case.symptoms.is_empty()) {
        (true, _) if first_check(bench.knowledge).is_some() => Stage::Sniff,
        (true, _) => first_stage(bench),
        (false, true) => Stage::Symptoms,
        (false, false) => left_in_history(bench.knowledge, case).map_or(Stage::Bench, Stage::History),
    }
}

/// The fact at which a job was left among the questions of history. Where work has begun since, it goes on with that.
fn left_in_history(knowledge: &Knowledge, case: &Case) -> Option<usize> {
    let next = case.history_next?;
    let first = first_check(knowledge).map(|(check, ..)| check);
    let begun = |entry: &Entry| match entry.event {
        Event::Answer { check, .. } => Some(check) != first,
        // What was opened and confirmed for that check is no work of its own.
        Event::Emergency { .. } | Event::Access { .. } | Event::Ticked(_) => false,
        _ => true,
    };
    if case.log.iter().any(begun) {
        return None;
    }
    facts(knowledge, case).iter().position(|fact| *fact == next)
}

/// Whether somebody else does what is asked, at the other end of a phone.
#[must_use]
pub fn by_phone(knowledge: &Knowledge, case: &Case) -> bool {
    knowledge.users[case.user].is_on_the_phone()
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

/// One step.
#[must_use]
pub fn step(bench: &Bench<'_>, mut state: State, input: &Input, now: Option<Timestamp>) -> State {
    state.notices.clear();
    if always(bench, &mut state, input, now) {
        return state;
    }
    if let Some(over) = state.over.take() {
        over_step(bench, &mut state, over, input, now);
        clear_the_way(bench, &mut state, now);
        return state;
    }
    if let Some(lock) = stopped_by(&state) {
        emergency_step(bench, &mut state, lock, input, now);
        return state;
    }
    match state.stage {
        Stage::Left => left_step(bench, &mut state, input, now),
        Stage::Call(at) => call_step(bench, &mut state, at, input, now),
        Stage::Sniff if *input == Input::Key(Key::How) => {
            over::general_key(bench, &mut state, Key::How, now);
        }
        Stage::History(_) if state.sniff_first && *input == Input::Key(Key::How) => {
            over::general_key(bench, &mut state, Key::How, now);
        }
        Stage::Sniff => check_step(bench, &mut state, input, now),
        Stage::History(_) if state.sniff_first => check_step(bench, &mut state, input, now),
        Stage::Layout => layout_step(bench, &mut state, input),
        Stage::Options => options_step(bench, &mut state, input),
        Stage::Symptoms => symptoms_step(bench, &mut state, input, now),
        Stage::History(at) => history_step(bench, &mut state, at, input, now),
        Stage::Bench => bench_step(bench, &mut state, input, now),
    }
    clear_the_way(bench, &mut state, now);
    state
}

/// What ended the job, where nothing goes on until the craft has been declared safe. On the phone people come first.
#[must_use]
pub fn stopped_by(state: &State) -> Option<Ix<Interlock>> {
    state.case.emergency().filter(|_| !matches!(state.stage, Stage::Call(_)))
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
    let closer_first = before(bench, state, &Action::Check(Instance::new(closer, 0)), now);
    let put_back = closer_first.map(|first| first.put_back).unwrap_or_default();
    if !put_back.is_empty() {
        remember(state);
    }
    for shut in &put_back {
        state.case.log.push(Entry { at: now, event: Event::Access { access: *shut, now: Position::Shut } });
        let put_back = words::lower_first(&bench.knowledge.access[*shut].put_back_words());
        state.notices.push(format!("First: {put_back}."));
    }
    let title = words::lower_first(&bench.knowledge.checks[check].title);
    refresh(bench, state, now);
    state.notices.push(format!("This comes before: {title}."));
    state.focus = Some(Focus::Check { check: closer, places: vec![Some(0)], replaces: Vec::new() });
}

/// Fire and leaving come before everything.
fn always(bench: &Bench<'_>, state: &mut State, input: &Input, now: Option<Timestamp>) -> bool {
    match input {
        Input::Key(Key::Stop) => {
            stop(bench, state, now);
            true
        }
        Input::Key(Key::Pause) => {
            let page = if by_phone(bench.knowledge, &state.case) {
                Some(call::someone_hurt())
            } else {
                pages::pause(bench.knowledge)
            };
            state.over = page.map(|document| Over::Page(Page::Reading, document));
            true
        }
        Input::Key(Key::Leave) => {
            // What is read out to them in parting is what is proposed now.
            if by_phone(bench.knowledge, &state.case)
                && !matches!(state.stage, Stage::Call(_))
                && let Some(Focus::Repair(repair, places)) = focus(bench, state)
            {
                leave_to_them(state, repair, &places, now);
            }
            state.end = Some(state.case.emergency().map_or(End::Left, End::Stopped));
            true
        }
        _ => false,
    }
}

/// Writes down that a repair is left to whoever has the craft, once.
fn leave_to_them(state: &mut State, repair: Ix<Repair>, places: &[usize], now: Option<Timestamp>) {
    if state.case.left() != Some((repair, places)) {
        remember(state);
        state.case.log.push(Entry { at: now, event: Event::Left { repair, places: places.to_vec() } });
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
    // Where something was taken back, what follows is of this sitting.
    state.case.taken_up = state.case.taken_up.min(state.case.log.len());
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
    state.before.push(Moment { case: state.case.clone(), stage: state.stage, sniff_first: state.sniff_first });
}

fn back(bench: &Bench<'_>, state: &mut State, now: Option<Timestamp>) {
    if state.draft.pop().is_some() {
        return;
    }
    if state.focus.take().is_some() {
        // Whoever goes back from a check in line leaves the rest of the line.
        state.queue.clear();
        refresh(bench, state, now);
        return;
    }
    if let Some(Moment { case, stage, sniff_first }) = state.before.pop() {
        (state.case, state.stage, state.sniff_first) = (case, stage, sniff_first);
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

fn not_here(state: &mut State) {
    state.notices.push("That does nothing here.".to_owned());
}
