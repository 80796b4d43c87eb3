//! Several answers at once: one line of `check = answer`, or checks to be asked one after the other, before what to do
//! next is worked out again.

use super::check::{before, missing_ticks, prelude, typed};
use super::focus::rows;
use super::{Bench, by_phone, closing, refresh, remember};
use crate::case::{Answer, Entry, Event};
use crate::decision::Action;
use crate::interview::state::{Focus, State};
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Check, Ix};
use crate::report::words;
use crate::safety::{Before, Verdict};
use jiff::Timestamp;

/// How many checks are named where a word fits several.
const NAMED: usize = 3;

/// What a part of the line asks for.
enum Part {
    /// Answers to a check at these places.
    Said(Ix<Check>, Vec<(usize, Answer)>),
    /// A check to be asked on its own screen.
    Ask(Instance<Check>),
}

/// Takes a line. What is understood is taken, the rest is told; one step back takes back all of it.
pub(super) fn several_step(bench: &Bench<'_>, state: &mut State, line: &str, now: Option<Timestamp>) {
    let mut wanted = Vec::new();
    for part in line.split([',', ';']).map(str::trim).filter(|part| !part.is_empty()) {
        match understood(bench, state, part, now) {
            Ok(part) => wanted.push(part),
            Err(why) => state.notices.push(why),
        }
    }
    if wanted.is_empty() {
        return;
    }
    remember(state);
    // What was begun on the screen that was left does not count for the checks of the line.
    let begun = (state.focus.take(), std::mem::take(&mut state.draft), std::mem::take(&mut state.ticked), state.aired);
    state.aired = false;
    let mut taken = 0;
    for part in wanted {
        match part {
            Part::Ask(check) => queue(bench, state, check),
            Part::Said(check, answers) => match stands_before(bench, state, check, answers[0].0, now) {
                None => taken += put_down(bench, state, check, &answers, now),
                Some(Waits::Screen) => queue(bench, state, Instance::new(check, answers[0].0)),
                Some(Waits::Why(why)) => {
                    let title = &bench.knowledge.checks[check].title;
                    state.notices.push(format!("Not taken: {}: {why}", words::lower_first(title)));
                }
            },
        }
    }
    if taken > 0 {
        let answers = if taken == 1 { "1 answer".to_owned() } else { format!("{taken} answers") };
        state.notices.push(format!("{answers} taken; b takes back all of it."));
    } else {
        state.before.pop();
    }
    if taken == 0 && state.queue.is_empty() {
        // Nothing came of it: all is as it was.
        (state.focus, state.draft, state.ticked, state.aired) = begun;
        return;
    }
    go_on(bench, state, now);
}

/// The next check in line, or what to do next where none is left.
pub(super) fn go_on(bench: &Bench<'_>, state: &mut State, now: Option<Timestamp>) {
    if state.queue.is_empty() {
        return refresh(bench, state, now);
    }
    let next = state.queue.remove(0);
    state.draft.clear();
    state.ticked.clear();
    state.aired = false;
    // Nothing is weighed until the line is done; what was believed before would be out of date.
    state.view = None;
    state.attempt = None;
    state.focus = Some(next);
}

fn queue(bench: &Bench<'_>, state: &mut State, check: Instance<Check>) {
    let places = rows(bench, &state.case, check);
    let focus = Focus::Check { check: check.item, places, replaces: Vec::new() };
    if !state.queue.contains(&focus) {
        state.queue.push(focus);
    }
}

/// What keeps an answer from being taken as typed.
enum Waits {
    /// Something must be confirmed: its own screen asks for it.
    Screen,
    /// It may not be done.
    Why(String),
}

fn stands_before(
    bench: &Bench<'_>,
    state: &State,
    check: Ix<Check>,
    place: usize,
    now: Option<Timestamp>,
) -> Option<Waits> {
    let needs = match before(bench, state, &Action::Check(Instance::new(check, place)), now) {
        Ok(needs) => needs,
        Err(why) => return Some(Waits::Why(why)),
    };
    // On the phone every question is asked, with what can hurt above it.
    let asks =
        needs.close.is_some() || !missing_ticks(state, &needs).is_empty() || by_phone(bench.knowledge, &state.case);
    (asks || closing(bench, state, check, now).is_some()).then_some(Waits::Screen)
}

fn put_down(
    bench: &Bench<'_>,
    state: &mut State,
    check: Ix<Check>,
    answers: &[(usize, Answer)],
    now: Option<Timestamp>,
) -> usize {
    let action = Action::Check(Instance::new(check, answers[0].0));
    let needs = before(bench, state, &action, now).unwrap_or_else(|_| Before::default());
    if answers.iter().any(|(_, answer)| answer.informs()) {
        prelude(bench, state, &bench.knowledge.checks[check].access, &needs, now);
    }
    for (at, answer) in answers {
        let event = Event::Answer { check, place: Some(*at), answer: *answer, aired_min: None };
        state.case.log.push(Entry { at: now, event });
    }
    answers.len()
}

/// One part of the line: `plug = wet`, `plug, front = wet`, `plug = wet/dry`, or only `plug`.
fn understood(bench: &Bench<'_>, state: &State, part: &str, now: Option<Timestamp>) -> Result<Part, String> {
    let laid = bench.laid(&state.case);
    let Some((name, said)) = part.split_once('=') else {
        let (check, place) = only(bench, &laid, &named(bench, state, &laid, part, now), part)?;
        return Ok(Part::Ask(Instance::new(check, place.unwrap_or(0))));
    };
    let fits = named(bench, state, &laid, name, now);
    // Of several checks of that name the one that can be answered so is meant.
    let answered: Vec<_> = fits
        .iter()
        .filter_map(|(check, place)| {
            answers(bench, state, &laid, *check, *place, said.trim()).ok().map(|all| (*check, all))
        })
        .collect();
    match answered.as_slice() {
        [(check, all)] => Ok(Part::Said(*check, all.clone())),
        [] => {
            let (check, place) = only(bench, &laid, &fits, name.trim())?;
            Err(answers(bench, state, &laid, check, place, said.trim()).err().unwrap_or_default())
        }
        several => {
            let fits: Vec<_> = several.iter().map(|(check, _)| (*check, None)).collect();
            only(bench, &laid, &fits, name.trim()).and_then(|(check, place)| {
                Ok(Part::Said(check, answers(bench, state, &laid, check, place, said.trim())?))
            })
        }
    }
}

/// The checks whose name holds every word; a place may be among the words. One named exactly by its id is alone, and so
/// are those that may be made now.
fn named(
    bench: &Bench<'_>,
    state: &State,
    laid: &Laid<'_>,
    name: &str,
    now: Option<Timestamp>,
) -> Vec<(Ix<Check>, Option<usize>)> {
    let wanted: Vec<String> = name.split_whitespace().map(str::to_lowercase).collect();
    let mut found = Vec::new();
    for (ix, check) in bench.knowledge.checks.iter().filter(|(_, check)| laid.fits(&check.fitted)) {
        let id = bench.knowledge.checks.id(ix);
        let text = format!("{} {id}", check.title).to_lowercase();
        let place = wanted.iter().find_map(|word| laid.place(check.scope, word));
        let fits = |word: &String| text.contains(word) || laid.place(check.scope, word).is_some();
        let by_id = wanted.len() == 1 && (id == wanted[0] || id.strip_prefix("ck-") == Some(wanted[0].as_str()));
        if by_id {
            return vec![(ix, None)];
        }
        if !wanted.is_empty() && wanted.iter().all(fits) && wanted.iter().any(|word| text.contains(word)) {
            found.push((ix, place));
        }
    }
    let may = |(check, place): &(Ix<Check>, Option<usize>)| {
        let action = Action::Check(Instance::new(*check, place.unwrap_or(0)));
        matches!(bench.advisor.judge(&state.case, &action, now), Verdict::May(_))
    };
    let at_hand: Vec<_> = found.iter().copied().filter(may).collect();
    if at_hand.is_empty() { found } else { at_hand }
}

/// The one that is meant.
fn only(
    bench: &Bench<'_>,
    laid: &Laid<'_>,
    fits: &[(Ix<Check>, Option<usize>)],
    name: &str,
) -> Result<(Ix<Check>, Option<usize>), String> {
    match fits {
        [] => Err(format!("No check here is called `{name}`: write part of its name, =, part of the answer.")),
        [one] => Ok(*one),
        several => {
            let title = |(check, _): &(Ix<Check>, Option<usize>)| {
                format!("`{}`", words::lower_first(&bench.knowledge.checks[*check].title))
            };
            let mut names: Vec<String> = several.iter().take(NAMED).map(title).collect();
            if several.len() > NAMED {
                names.push(format!("{} more", several.len() - NAMED));
            }
            debug_assert!(several.iter().all(|(check, _)| laid.fits(&bench.knowledge.checks[*check].fitted)));
            Err(format!("`{name}` may be {}: say more of its name.", names.join(", ")))
        }
    }
}

/// The answers to a check: one for the place that is named, one for all places alike, or one for each with `/` between.
fn answers(
    bench: &Bench<'_>,
    state: &State,
    laid: &Laid<'_>,
    check: Ix<Check>,
    place: Option<usize>,
    said: &str,
) -> Result<Vec<(usize, Answer)>, String> {
    let item = &bench.knowledge.checks[check];
    let places: Vec<usize> = place.map_or_else(|| (0..laid.places(item.scope)).collect(), |at| vec![at]);
    let parts: Vec<&str> = if places.len() > 1 && said.split('/').count() == places.len() {
        said.split('/').map(str::trim).collect()
    } else {
        vec![said; places.len()]
    };
    let one = |text: &&str| answer(item, state, text);
    let all: Result<Vec<Answer>, String> = parts.iter().map(one).collect();
    Ok(places.into_iter().zip(all?).collect())
}

/// One answer: an outcome by part of its words, a reading, or that nobody knows.
fn answer(check: &Check, state: &State, text: &str) -> Result<Answer, String> {
    let word = text.to_lowercase();
    match word.as_str() {
        "n" | "not sure" | "unknown" => return Ok(Answer::Unknown),
        "c" | "could not" => return Ok(Answer::CouldNot),
        _ => {}
    }
    if check.reading.is_some() {
        return typed(check, &state.case, text).map_err(|why| format!("{}: {why}.", check.title));
    }
    let wanted: Vec<&str> = word.split_whitespace().collect();
    let exact = check.outcomes.iter().position(|o| o.id == word || o.says.to_lowercase() == word);
    let holds = |says: &str| !wanted.is_empty() && wanted.iter().all(|word| says.to_lowercase().contains(word));
    let fits: Vec<usize> = (0..check.outcomes.len())
        .filter(|at| holds(&check.outcomes[*at].says) || holds(&check.outcomes[*at].id))
        .collect();
    let says = || check.outcomes.iter().map(|o| format!("`{}`", words::lower_first(&o.says))).collect::<Vec<_>>();
    match (exact, fits.as_slice()) {
        (Some(at), _) => Ok(Answer::Outcome(at)),
        (None, [at]) => Ok(Answer::Outcome(*at)),
        _ => Err(format!("{}: expected one of {}, found `{text}`.", check.title, says().join(", "))),
    }
}
