//! A check: what can hurt, what must be opened and confirmed, how it is done, the question, what it costs.

use super::cautions::{cautions, hazards_of};
use super::phone::{bands_heard, beside, heard, manner, step_words, stop_words};
use crate::case::{Entry, Event};
use crate::decision::{Action, Branch, Proposal};
use crate::interview::screen::{Part, Row, STEPS_GO, Screen, Writing};
use crate::interview::state::{Key, State};
use crate::interview::step::{Bench, by_phone, closing, missing_ticks};
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Access, Check, Hazard, Ix};
use crate::report::{Block, Choice, Mark, Rich, Step, words};
use crate::safety::Before;
use crate::units::Minutes;
use jiff::Timestamp;

/// How many steps of a check stand on its screen where there is room; the page has all.
const STEPS: usize = 4;

pub(super) fn check_screen(
    bench: &Bench<'_>,
    state: &State,
    check: Ix<Check>,
    places: &[Option<usize>],
    needs: Result<Before, String>,
    now: Option<Timestamp>,
    screen: &mut Screen,
) {
    match needs {
        Ok(needs) => check_parts(bench, state, check, places, &needs, now, screen),
        Err(why) => {
            screen.ask(&bench.knowledge.checks[check].title);
            screen.say(Part::always(Block::Paragraph(Rich::plain(&format!("Not now: {why}")))));
        }
    }
    screen.keys.push((Key::NotSure, "not sure".to_owned()));
    screen.keys.push((Key::CouldNot, "could not".to_owned()));
    if !state.draft.is_empty() {
        screen.keys.push((Key::Enter, "leave the others open".to_owned()));
    }
}

pub(super) fn check_parts(
    bench: &Bench<'_>,
    state: &State,
    check: Ix<Check>,
    places: &[Option<usize>],
    needs: &Before,
    now: Option<Timestamp>,
    screen: &mut Screen,
) {
    let item = &bench.knowledge.checks[check];
    let laid = bench.laid(&state.case);
    let action = Action::Check(Instance::new(check, places[0].unwrap_or(0)));
    let closes = closing(bench, state, check, now);
    let mut hazards = hazards_of(bench, state, &action);
    // What the check closes is what it is about, whatever stands open already.
    if let Some((_, _, hazard)) = closes {
        hazards.retain(|h| *h != hazard);
        hazards.insert(0, hazard);
    }
    // What can hurt is said before the step that it is about.
    cautions(bench, &hazards, screen);
    if let Some((_, _, hazard)) = closes {
        asked_again(bench, state, check, hazard, now, screen);
    }
    ticks_part(bench, state, needs, closes.map(|(_, minutes, _)| minutes), screen);
    access_part(bench, state, &item.access, needs, screen);
    let phone = item.owner.as_ref().filter(|_| by_phone(bench.knowledge, &state.case));
    // Whoever may not do everything is asked in the words for an owner, where there are any.
    let limited = bench.knowledge.users[state.case.user].skill.is_some();
    if let Some(owner) = phone {
        screen.say(Part::until(4, Block::Paragraph(Rich::plain(manner(owner.kind)))));
        screen.ask(&format!("\u{201c}{}\u{201d}", owner.ask));
        screen.after.extend(heard(owner));
    } else {
        how(item, screen);
        screen.ask(item.owner.as_ref().filter(|_| limited).map_or(&item.ask, |owner| &owner.ask));
    }
    if places.len() > 1 || laid.places(item.scope) > 1 {
        screen.rows = rows(&laid, item, places, state, bench);
    }
    if let Some(reading) = &item.reading {
        screen.writing = Writing::Number;
        let hint = format!("Type the reading; a bare number is in {}.", reading.unit);
        screen.after.push(Part::until(5, Block::Paragraph(Rich::plain(&hint))));
        screen.choices = reading.over.map(|at| item.outcomes[at].says.clone()).into_iter().collect();
        screen.after.extend(phone.and_then(|owner| bands_heard(item, owner)));
    } else {
        screen.choices = item.outcomes.iter().map(|o| o.says.clone()).collect();
        screen.sounds = phone.map(|owner| owner.sounds.clone()).unwrap_or_default();
    }
    screen.more = match phone {
        Some(_) => Some((Key::How, "what they may say")),
        None => (!item.how.is_empty()).then_some((Key::How, "how")),
    };
    screen.side = beside(bench, state, Some(check), now);
    if phone.is_some() {
        stop_words(screen);
    }
    let wait = closes.map(|(_, minutes, _)| minutes).filter(|_| !state.aired);
    cost_part(bench, state, &laid, (&action, places.len(), wait), screen);
}

/// Why what was asked already is asked again: what opened the hazard since.
fn asked_again(
    bench: &Bench<'_>,
    state: &State,
    check: Ix<Check>,
    hazard: Ix<Hazard>,
    now: Option<Timestamp>,
    screen: &mut Screen,
) {
    let asked = |entry: &Entry| matches!(&entry.event, Event::Answer { check: c, answer, .. } if *c == check && answer.informs());
    let open = bench.advisor.hazards(&state.case, now).into_iter().find(|open| open.hazard == hazard);
    if let Some(open) = open.filter(|_| state.case.log.iter().any(asked)) {
        let why = format!("Asked again because of this: {}.", words::lower_first(&open.why));
        screen.say(Part::until(4, Block::Paragraph(Rich::plain(&why))));
    }
}

/// How it is done, in short; where there is no room for it, that it is to be read first.
fn how(item: &Check, screen: &mut Screen) {
    let n = item.how.len();
    if n == 0 {
        return;
    }
    let behind = Block::Paragraph(Rich::strong(&behind_a_key(n)));
    if n <= STEPS {
        screen.say(Part::shortened(STEPS_GO, first_steps(item, n), behind));
    } else {
        let more = format!("The first of {n} steps; h shows all:");
        screen.say(Part::shortened(STEPS_GO, Block::Paragraph(Rich::plain(&more)), behind));
        screen.say(Part::until(STEPS_GO, first_steps(item, STEPS - 1)));
    }
    // Sparks beside open fuel: nobody goes by the question alone.
    if item.ignites {
        let title = words::lower_first(&item.title);
        screen.unread = Some(format!("First read how it is done: {title}; h shows it. Or answer once more."));
    }
}

fn first_steps(item: &Check, n: usize) -> Block {
    let steps = item.how.iter().take(n).enumerate();
    Block::Steps(
        steps.map(|(n, what)| Step { mark: Mark::Number(n + 1), what: what.into(), ..Step::default() }).collect(),
    )
}

/// "4 steps: h shows them."
pub(super) fn behind_a_key(steps: usize) -> String {
    if steps == 1 { "1 step: h shows it.".to_owned() } else { format!("{steps} steps: h shows them.") }
}

pub(super) fn rows(
    laid: &Laid<'_>,
    item: &Check,
    places: &[Option<usize>],
    state: &State,
    bench: &Bench<'_>,
) -> Vec<Row> {
    places
        .iter()
        .enumerate()
        .map(|(n, place)| Row {
            name: place.and_then(|at| laid.place_name(item.scope, at)).unwrap_or("all together").to_owned(),
            answer: state.draft.get(n).map(|a| words::answer(item, *a, bench.figures)),
        })
        .collect()
}

/// What must be put back and opened for a step.
pub(super) fn access_part(
    bench: &Bench<'_>,
    state: &State,
    access: &[Ix<Access>],
    needs: &Before,
    screen: &mut Screen,
) {
    let mut lines: Vec<String> = words::put_back(bench.knowledge, &needs.put_back).into_iter().collect();
    let mut missing = bench.graph.missing(&bench.advisor.open(&state.case), access);
    // Standing beside it takes no work.
    missing.retain(|a| bench.knowledge.access[*a].open > Minutes::ZERO);
    if !missing.is_empty() {
        let titles: Vec<String> =
            missing.iter().map(|a| words::lower_first(&bench.knowledge.access[*a].title)).collect();
        lines.push(format!("Needed: {}.", titles.join("; ")));
    }
    if let Some((closer, _, minutes)) = needs.close {
        let title = words::lower_first(&bench.knowledge.checks[closer].title);
        lines.push(format!("First air it {}, then: {title}.", bench.figures.minutes(minutes)));
    }
    if !lines.is_empty() {
        screen.say(Part::always(Block::Paragraph(Rich::plain(&lines.join(" ")))));
    }
}

/// Boxes to tick: what an interlock asks for, and that the craft was aired.
pub(super) fn ticks_part(bench: &Bench<'_>, state: &State, needs: &Before, air: Option<Minutes>, screen: &mut Screen) {
    let tick_box =
        |ticked: bool, says: String| Choice { key: if ticked { "[x]" } else { "[ ]" }.to_owned(), says: says.into() };
    let mut boxes: Vec<Choice> = needs
        .ticks
        .iter()
        .map(|tick| tick_box(state.ticked.contains(tick), bench.knowledge.ticks[*tick].says.clone()))
        .collect();
    let mut open = !missing_ticks(state, needs).is_empty();
    if let Some(minutes) = air.filter(|m| *m > Minutes::ZERO) {
        let minutes = bench.figures.minutes(minutes);
        boxes.push(tick_box(state.aired, format!("Outdoors, opened up and aired for {minutes}")));
        open |= !state.aired;
    }
    if boxes.is_empty() {
        return;
    }
    screen.say(Part::always(Block::Choices(boxes)));
    if open {
        screen.keys.push((Key::Tick, "tick the box".to_owned()));
    }
}

/// What it costs, at so many places and with so long a wait before it, and what the likeliest answers would lead to.
pub(super) fn cost_part(
    bench: &Bench<'_>,
    state: &State,
    laid: &Laid<'_>,
    (action, n, wait): (&Action, usize, Option<Minutes>),
    screen: &mut Screen,
) {
    let Action::Check(check) = action else { return };
    let item = &bench.knowledge.checks[check.item];
    let (first, _) = bench.advisor.step_cost(&state.case, action);
    #[expect(clippy::cast_precision_loss, reason = "a handful of places")]
    let minutes = first + item.minutes * n.saturating_sub(1) as f64;
    let buys = if item.money.get() > 0.0 {
        format!("{} of materials", bench.figures.price(item.money))
    } else {
        "nothing to buy".to_owned()
    };
    let mut takes = bench.figures.minutes(minutes);
    if let Some(wait) = wait.filter(|wait| *wait > Minutes::ZERO) {
        takes = format!("{takes} of work and {} of waiting", bench.figures.minutes(wait));
    }
    let mut text = format!("This check: {takes}, {buys}.");
    let next = state.view.as_ref().map(|v| &v.advice.next).filter(|p| p.action == *action);
    let short = text.clone();
    if let Some(proposal) = next {
        text.push_str(&leads(bench, state, laid, proposal));
    }
    let block = |text: &str| Block::Paragraph(Rich::plain(text));
    screen.after.push(Part { said_beside: screen.side.is_some(), ..Part::shortened(4, block(&text), block(&short)) });
}

/// Where the same comes next whatever is seen, why it is looked for all the same: something waits for it, or it tells of
/// what comes later.
fn in_any_case(bench: &Bench<'_>, state: &State, laid: &Laid<'_>, proposal: &Proposal, then: &str) -> String {
    let advice = state.view.as_ref().map(|view| &view.advice);
    let waits = advice.filter(|advice| advice.next.action == proposal.action).and_then(|advice| advice.wanted.as_ref());
    if let Some(wanted) = waits {
        return format!("It clears the way for: {}.", step_words(bench, state, laid, &wanted.action));
    }
    match words::separated(laid, proposal).as_slice() {
        [] => format!("Next in any case: {then}."),
        [most, ..] => format!("It tells most about {most}. Next in any case: {then}."),
    }
}

/// " Next after "dry": can test; after "wet": spark test."
pub(super) fn leads(bench: &Bench<'_>, state: &State, laid: &Laid<'_>, proposal: &Proposal) -> String {
    let mut likely: Vec<_> = proposal.branches.iter().filter(|b| b.then.is_some()).collect();
    likely.sort_by(|a, b| b.chance.total_cmp(&a.chance).then(a.outcome.cmp(&b.outcome)));
    let then = |branch: &Branch| branch.then.as_ref().map_or_else(String::new, |a| step_words(bench, state, laid, a));
    match likely.as_slice() {
        [] => String::new(),
        [first, rest @ ..] if rest.iter().all(|b| b.then == first.then) => {
            format!(" {}", in_any_case(bench, state, laid, proposal, &then(first)))
        }
        all => {
            // The likeliest answers that lead to the same are said together, and what another leads to beside them.
            let mut ways: Vec<(&Branch, Vec<String>)> = Vec::new();
            for branch in all {
                let outcome = words::outcome(bench.knowledge, &proposal.action, branch.outcome);
                let outcome = format!("\"{}\"", words::lower_first(&outcome));
                match ways.iter_mut().find(|(way, _)| way.then == branch.then) {
                    Some((_, outcomes)) => outcomes.push(outcome),
                    None => ways.push((branch, vec![outcome])),
                }
            }
            let said = ways.iter().take(2).map(|(way, outcomes)| {
                let outcomes: Vec<&str> = outcomes.iter().take(2).map(String::as_str).collect();
                format!("{}: {}", outcomes.join(" or "), then(way))
            });
            format!(" Next after {}.", said.collect::<Vec<_>>().join("; after "))
        }
    }
}
