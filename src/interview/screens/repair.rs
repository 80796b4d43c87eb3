//! A repair: whether to begin it, doing it, trying it, proving it; and handing over.

use super::cautions::{CAUTIONS, cautions, hazards_of};
use super::check::{access_part, behind_a_key, ticks_part};
use crate::case::{Event, Presence};
use crate::decision::{Action, complained_of};
use crate::interview::hand_over::{BY_THEMSELVES, not_by_phone, tried_without_us};
use crate::interview::screen::{Part, Screen, Writing};
use crate::interview::state::{Key, State};
use crate::interview::step::{Bench, NO_CHECK_HELPS, asked_for, before, by_phone, is_photo, other_check, proofs};
use crate::knowledge::layout::Laid;
use crate::knowledge::{Ix, Proof, Repair, Setting, Symptom};
use crate::report::{Block, Mark, Rich, Step, words};
use crate::units::Unit;
use jiff::Timestamp;

/// How many steps of a repair stand on its screen where there is room; of more, none.
const STEPS: usize = 5;

/// From so many times its own cost on, what is still to come after a repair is told of.
const MORE: f64 = 1.25;

/// When a repair beats every check, the screen says so, with what more looking would save.
pub(super) fn fix_or_look(
    bench: &Bench<'_>,
    state: &State,
    laid: &Laid<'_>,
    repair: Ix<Repair>,
    places: &[usize],
    screen: &mut Screen,
) {
    let Some(view) = &state.view else { return };
    let proposal = &view.advice.next;
    let words = words::repair_words(laid, repair, places);
    let apart = bench.knowledge.repairs[repair].between_calls;
    let lead = if apart { "Next, and not in this call:" } else { "Fix it now:" };
    screen.ask(&format!("{lead} {}", words::lower_first(&words)));
    let cures = proposal.branches.iter().find(|b| b.outcome == 0).map_or(0.0, |b| b.chance);
    screen.say(Part::always(Block::Paragraph(Rich::plain(&format!(
        "It costs {} and cures it {}.",
        bench.figures.cost(proposal.cost, proposal.minutes),
        cured(cures)
    )))));
    if proposal.expected_cost.get() > MORE * proposal.cost.get() {
        screen.say(Part::until(
            4,
            Block::Paragraph(Rich::plain(&format!(
                "On average {} is still to come: it may not cure it, and looking on or handing it over comes then.",
                bench.figures.money(proposal.expected_cost)
            ))),
        ));
    }
    let look = other_check(state);
    let other =
        view.advice.alternatives.iter().find(|p| matches!((&p.action, look), (Action::Check(a), Some(b)) if *a == b));
    let further = other.map(|other| {
        format!(
            "Looking further first, with {}, would cost {}.",
            words::lower_first(&words::action(laid, &other.action)),
            words::more(bench.figures, other, proposal)
        )
    });
    let further = further.unwrap_or_else(|| NO_CHECK_HELPS.to_owned());
    screen.say(Part::until(5, Block::Paragraph(Rich::plain(&further))));
    let action = Action::Repair(repair, places.to_vec());
    cautions(bench, &hazards_of(bench, state, &action), screen);
    screen.choices = vec!["Begin the repair".to_owned(), "Look further first".to_owned()];
    if by_phone(bench.knowledge, &state.case) {
        let mut choices = ["They do it now", "Look further first", "They do it and call back"];
        if apart {
            // What is usual comes first.
            choices = ["They do it and call back", "Look further first", "They have done it"];
        }
        screen.choices = choices.map(str::to_owned).to_vec();
    }
}

/// "8 times in 10".
pub(super) fn cured(chance: f64) -> String {
    let tenths = (chance * 10.0).round();
    match tenths {
        t if t < 1.0 => "less than 1 time in 10".to_owned(),
        t if t > 9.0 => "nearly every time".to_owned(),
        1.0 => "1 time in 10".to_owned(),
        t => format!("{t} times in 10"),
    }
}

/// One setting as it is found: how many there are, what it is counted in.
pub(super) fn record(
    bench: &Bench<'_>,
    state: &State,
    (repair, places): (Ix<Repair>, &[usize]),
    settings: &[(Ix<Setting>, usize)],
    screen: &mut Screen,
) {
    let Some((setting, at)) = settings.first() else { return };
    let laid = bench.laid(&state.case);
    let item = &bench.knowledge.settings[*setting];
    let all = asked_for(bench, &state.case, repair, places).len();
    let lead = format!(
        "Written down as you come to it, before it is disturbed: {} of {all}.",
        all - settings.len().min(all) + 1
    );
    screen.say(Part::until(4, Block::Paragraph(Rich::plain(&lead))));
    screen.ask(&laid.words(&item.title, item.scope, *at));
    let (how, enter) = match (is_photo(item), Unit::parse(&item.unit)) {
        (true, _) => ("Take a photograph; write where it is kept, or just Enter.".to_owned(), "taken"),
        (_, Ok(Unit::Turn)) => ("In turns, as it stands now: 1 1/8, or 1.125.".to_owned(), "leave it blank"),
        (_, Ok(unit)) => (format!("As it stands now; a bare number is in {unit}."), "leave it blank"),
        _ => ("As it stands now, in a few words.".to_owned(), "leave it blank"),
    };
    screen.say(Part::until(5, Block::Paragraph(Rich::plain(&how))));
    screen.writing = Writing::Words;
    screen.keys.push((Key::Enter, enter.to_owned()));
    screen.keys.push((Key::CouldNot, "could not tell".to_owned()));
    screen.keys.push((Key::Skip, "skip the rest".to_owned()));
}

pub(super) fn working(
    bench: &Bench<'_>,
    state: &State,
    repair: Ix<Repair>,
    places: &[usize],
    now: Option<Timestamp>,
    screen: &mut Screen,
) {
    let laid = bench.laid(&state.case);
    let item = &bench.knowledge.repairs[repair];
    let action = Action::Repair(repair, places.to_vec());
    screen.ask(&words::repair_words(&laid, repair, places));
    match before(bench, state, &action, now) {
        Err(why) => screen.say(Part::always(Block::Paragraph(Rich::plain(&format!("Not now: {why}"))))),
        Ok(needs) => {
            cautions(bench, &hazards_of(bench, state, &action), screen);
            access_part(bench, state, &item.access, &needs, screen);
            ticks_part(bench, state, &needs, None, screen);
        }
    }
    // What guards a step stands above it: only where all of it does.
    if item.steps.len() <= STEPS && hazards_of(bench, state, &action).len() <= CAUTIONS {
        let steps = item.steps.iter().enumerate();
        let steps =
            steps.map(|(n, step)| Step { mark: Mark::Number(n + 1), what: (&step.what).into(), ..Step::default() });
        screen.say(Part::until(3, Block::Steps(steps.collect())));
    }
    let text = format!("{} steps: h shows them, p is the work order with parts and settings.", item.steps.len());
    let short = behind_a_key(item.steps.len());
    screen.say(Part::shortened(5, Block::Paragraph(Rich::plain(&text)), Block::Paragraph(Rich::strong(&short))));
    screen.more = Some((Key::How, "how"));
    screen.choices = vec!["It is done".to_owned(), "It was not done".to_owned()];
    let blank = asked_for(bench, &state.case, repair, places).iter().filter(|record| record.value.is_none()).count();
    if blank > 0 {
        screen.choices.push(format!("Write down what is found: {blank} still blank"));
    }
}

pub(super) fn tried(
    bench: &Bench<'_>,
    state: &State,
    repair: Ix<Repair>,
    symptom: Ix<Symptom>,
    now: Option<Timestamp>,
    screen: &mut Screen,
) {
    let title = words::lower_first(&bench.knowledge.repairs[repair].title);
    let action = Action::Try(complained_of(&state.case));
    let by_themselves = tried_without_us(bench, &state.case);
    let done = if by_themselves {
        format!("Done: {title}. {BY_THEMSELVES}")
    } else {
        format!("Done: {title}. Put it back together and try it.")
    };
    screen.say(Part::until(if by_themselves { 6 } else { 3 }, Block::Paragraph(Rich::plain(&done))));
    match before(bench, state, &action, now) {
        Err(why) => screen.say(Part::always(Block::Paragraph(Rich::plain(&format!("Not now: {why}"))))),
        Ok(needs) => {
            // What they saw on a ride is a memory: nothing is started for it now.
            if !by_themselves {
                cautions(bench, &hazards_of(bench, state, &action), screen);
                access_part(bench, state, &[], &needs, screen);
            }
            ticks_part(bench, state, &needs, None, screen);
        }
    }
    let asks = format!("{}: is that gone?", bench.knowledge.symptoms[symptom].title);
    screen.ask(&if by_themselves { format!("Have they ridden it since? {asks}") } else { asks });
    let not_yet = if by_themselves { "Not tried yet: they call back" } else { "Not tried yet" };
    screen.choices = ["Gone", "Still there", not_yet].map(str::to_owned).to_vec();
}

/// Whether it is still there, with nothing done about it.
pub(super) fn again(
    bench: &Bench<'_>,
    state: &State,
    symptom: Ix<Symptom>,
    now: Option<Timestamp>,
    screen: &mut Screen,
) {
    let action = Action::Try(complained_of(&state.case));
    match before(bench, state, &action, now) {
        Err(why) => screen.say(Part::always(Block::Paragraph(Rich::plain(&format!("Not now: {why}"))))),
        Ok(needs) => {
            cautions(bench, &hazards_of(bench, state, &action), screen);
            access_part(bench, state, &[], &needs, screen);
            ticks_part(bench, state, &needs, None, screen);
        }
    }
    screen.ask(&format!("Try it again. {}: is that still so?", bench.knowledge.symptoms[symptom].title));
    screen.choices = ["Still there", "Not this time", "Not tried"].map(str::to_owned).to_vec();
}

pub(super) fn proof(bench: &Bench<'_>, state: &State, repair: Ix<Repair>, screen: &mut Screen) {
    screen.ask("It is gone. Prove it twice, cold and hot, before you hand it over.");
    let item = &bench.knowledge.repairs[repair];
    let events: Vec<Rich> = item
        .proves
        .iter()
        .filter_map(|p| match p {
            Proof::Event(event, _) => Some(Rich::from(event)),
            Proof::Check(..) => None,
        })
        .collect();
    if !events.is_empty() {
        screen.say(Part::until(4, Block::Bullets(events)));
    }
    screen.choices.push("Proved: finish with the record of the job".to_owned());
    let last = state.case.log.iter().rposition(|e| matches!(e.event, Event::Repaired { .. })).unwrap_or(0);
    for check in proofs(bench, &state.case, repair) {
        let item = &bench.knowledge.checks[check];
        let said = state.case.log[last..].iter().rev().find_map(|e| match &e.event {
            Event::Answer { check: c, answer, .. } if *c == check => Some(words::answer(item, *answer, bench.figures)),
            _ => None,
        });
        let said = said.map(|s| format!(" (done: {s})")).unwrap_or_default();
        screen.choices.push(format!("Prove it by: {}{said}", words::lower_first(&item.title)));
    }
    screen.choices.push("Look on: something else is not right".to_owned());
    let gone = state.case.log.iter().any(|e| matches!(e.event, Event::Tried { now: Presence::Absent, .. }));
    debug_assert!(gone, "proof is asked for once the symptom is gone");
}

pub(super) fn hand_over(
    bench: &Bench<'_>,
    state: &State,
    laid: &Laid<'_>,
    now: Option<Timestamp>,
    screen: &mut Screen,
) {
    let phone = by_phone(bench.knowledge, &state.case);
    let what = if phone { "bring it in" } else { "stop here and hand it over" };
    let proposed = state.view.as_ref().filter(|view| view.advice.next.action == Action::HandOver);
    if let Some(view) = proposed {
        screen.ask(&format!("Best now: {what}."));
        let why = words::reason(laid, &view.advice.next, bench.figures);
        screen.say(Part::until(4, Block::Paragraph(Rich::plain(&why))));
    } else {
        screen.ask(if phone { "Bring it in?" } else { "Stop here and hand it over?" });
        if let Some(view) = &state.view {
            let next = words::lower_first(&words::action(laid, &view.advice.next.action));
            let text = format!("Reckoned cheaper on average is to go on, with: {next}.");
            screen.say(Part::until(4, Block::Paragraph(Rich::plain(&text))));
        }
    }
    if let Some(why) = state.view.as_ref().and_then(|view| not_by_phone(bench, &state.case, view, now)) {
        screen.say(Part::until(6, Block::Paragraph(Rich::plain(&why))));
    }
    let sheet = "It comes with a sheet: what was said, done and found, what must not be done, what to look at first.";
    screen.say(Part::until(3, Block::Paragraph(Rich::plain(sheet))));
    screen.choices = if phone {
        vec!["Bring it in, with the sheet for the shop".to_owned(), "Look further all the same".to_owned()]
    } else {
        vec!["Hand it over, with the sheet and the work order".to_owned(), "Look further all the same".to_owned()]
    };
}
