//! Fire, smoke, running fuel: it ends the job, and is written down, so that whoever opens the job again is asked first
//! whether the craft has been declared safe.

use super::{Bench, not_here, refresh, remember};
use crate::case::{Entry, Event, Presence};
use crate::interview::state::{End, Input, Key, Stage, State, first_check};
use crate::knowledge::{Interlock, Ix};
use jiff::Timestamp;

/// Ends the job. Returns whether this knowledge base has what ends one.
pub(super) fn stop(bench: &Bench<'_>, state: &mut State, now: Option<Timestamp>) -> bool {
    let Some((lock, _)) = bench.knowledge.interlocks.iter().find(|(_, i)| i.ends && i.key.is_some()) else {
        return false;
    };
    if state.case.emergency() != Some(lock) {
        remember(state);
        state.case.log.push(Entry { at: now, event: Event::Emergency { lock, now: Presence::Present } });
    }
    state.end = Some(End::Stopped(lock));
    true
}

/// Nothing goes on until somebody answers that the craft has been declared safe. A key pressed by mistake is taken back by
/// an answer of its own, never by the key that goes back: that one is pressed too easily.
pub(super) fn emergency_step(
    bench: &Bench<'_>,
    state: &mut State,
    lock: Ix<Interlock>,
    input: &Input,
    now: Option<Timestamp>,
) {
    match input {
        Input::Pick(0) => {
            remember(state);
            state.case.log.push(Entry { at: now, event: Event::Emergency { lock, now: Presence::Absent } });
            // Where the complaint is still to come, the craft is smelled before that, too.
            if state.case.symptoms.is_empty() && first_check(bench.knowledge).is_some() {
                (state.stage, state.sniff_first) = (Stage::Sniff, false);
            }
            refresh(bench, state, now);
        }
        Input::Pick(1) | Input::Key(Key::NotSure) => state.end = Some(End::Stopped(lock)),
        Input::Pick(2) => {
            let stopped = |entry: &Entry| entry.event == Event::Emergency { lock, now: Presence::Present };
            if let Some(at) = state.case.log.iter().rposition(stopped) {
                state.case.log.remove(at);
            }
            refresh(bench, state, now);
        }
        Input::Key(_) => state.notices.push("This comes first: the job was stopped.".to_owned()),
        _ => not_here(state),
    }
}
