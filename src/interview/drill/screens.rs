//! What each screen of a drill says and asks.

use super::{Coach, Control, Desk, Session, Stage, TENTHS, controls, pages, suspects};
use crate::case::Event;
use crate::decision::Action;
use crate::drill::Offer;
use crate::drill::breach::Ready;
use crate::interview::screen::{Part, Screen, Writing};
use crate::interview::screens::{Detail, caution};
use crate::interview::state::Key;
use crate::knowledge::{Cause, Ix};
use crate::report::{Block, Document, Mark, Rich, Step, words};
use crate::units::Minutes;

/// How many of the last answers stand on the screen; the page has all.
const SEEN: usize = 3;
/// How many steps of a check stand on its screen where there is room.
const STEPS: usize = 4;
/// How many cautions stand on one screen where a coach is beside.
const CAUTIONS: usize = 2;

/// The screen of a drill.
#[must_use]
pub fn screen(desk: &Desk<'_>, session: &Session<'_, '_>) -> Screen {
    let mut screen = match (&session.page, &session.stage) {
        (Some(page), _) => reading(page),
        (None, Stage::Brief) => brief(desk, session),
        (None, Stage::Choose) => choose(desk, session),
        (None, Stage::Find(lines)) => find(lines),
        (None, Stage::MakeReady(action, ready)) => make_ready(desk, session, action, ready),
        (None, Stage::Suspect(action, _)) => suspect(session, action),
        (None, Stage::Sure(_, _, cause)) => sure(desk, session, *cause),
    };
    screen.notices.clone_from(&session.notices);
    if session.page.is_none() {
        alarm(session, &mut screen);
    }
    screen.in_units(desk.figures.system)
}

/// The keys that are on every screen.
fn alarm(session: &Session<'_, '_>, screen: &mut Screen) {
    let locks = &session.drill.job.laid.knowledge.interlocks;
    let words = |ends: bool| {
        let lock = locks.iter().map(|(_, lock)| lock).find(|lock| lock.ends == ends && lock.key.is_some());
        lock.and_then(|lock| lock.key.clone())
    };
    if let Some(words) = words(false) {
        screen.keys.push((Key::Pause, words));
    }
    screen.keys.push((Key::Leave, "stop here, to the debrief".to_owned()));
    if let Some(words) = words(true) {
        screen.keys.push((Key::Stop, words));
    }
}

fn reading(page: &Document) -> Screen {
    let mut screen = Screen::new("", "");
    screen.parts = page.blocks.iter().cloned().map(Part::always).collect();
    screen.keys.push((Key::Enter, "back to the question".to_owned()));
    screen
}

fn heading(desk: &Desk<'_>, session: &Session<'_, '_>) -> Screen {
    let job = &session.drill.job;
    let complaint = job.case.symptoms.first().map(|symptom| job.laid.knowledge.symptoms[*symptom].title.as_str());
    let left = format!("Drill · {}", words::lower_first(complaint.unwrap_or_default()));
    let right = format!(
        "step {} · {} · {}",
        session.drill.steps.len() + 1,
        desk.figures.minutes(job.minutes),
        desk.figures.money(job.money)
    );
    Screen::new(left, right)
}

fn brief(desk: &Desk<'_>, session: &Session<'_, '_>) -> Screen {
    let mut screen = Screen::new("Drill", desk.told);
    let mut document = Document::new();
    pages::intake(session, &mut document);
    document.paragraph(
        "Find out what is behind it and put it right, as cheaply as you can expect to. The whole bench is yours and nothing \
         is recommended. What is forbidden can be done, and ends the drill as it would the boat. Before each answer you say \
         what you think it is.",
    );
    screen.parts = document.blocks.into_iter().map(Part::always).collect();
    screen.keys.push((Key::Enter, "begin".to_owned()));
    screen
}

fn choose(desk: &Desk<'_>, session: &Session<'_, '_>) -> Screen {
    let mut screen = heading(desk, session);
    let job = &session.drill.job;
    let seen: Vec<Rich> = job
        .case
        .log
        .iter()
        .filter(|entry| matches!(entry.event, Event::Answer { .. } | Event::Repaired { .. }))
        .map(|entry| Rich::plain(&words::entry(job.laid, entry, desk.figures)))
        .collect();
    if !seen.is_empty() {
        let last = seen[seen.len().saturating_sub(SEEN)..].to_vec();
        let words = if seen.len() > SEEN { "The last you saw and did; r shows all:" } else { "Seen and done:" };
        screen.say(Part::until(4, Block::Paragraph(Rich::plain(words))));
        screen.say(Part::until(4, Block::Bullets(last)));
    }
    let open = job.graph.open_now(job.laid, &job.case);
    let open: Vec<String> = open
        .iter()
        .map(|access| &job.laid.knowledge.access[access])
        .filter(|access| access.open > Minutes::ZERO)
        .map(|access| words::lower_first(&access.title))
        .collect();
    if !open.is_empty() {
        let words = format!("As it stands: {}.", open.join("; "));
        screen.say(Part::until(3, Block::Paragraph(Rich::plain(&words))));
    }
    screen.ask("What do you do next?");
    let hand_over = desk.figures.money(session.drill.job.rate().hand_over);
    screen.choices = vec![
        "Make a check".to_owned(),
        "Order a repair".to_owned(),
        format!("Hand it over to a specialist, {hand_over}"),
    ];
    screen.keys.push((Key::Ranking, "what is known".to_owned()));
    screen.keys.push((Key::Other, "a check".to_owned()));
    screen.keys.push((Key::DidRepair, "a repair".to_owned()));
    if desk.coach == Coach::Beside {
        screen.keys.push((Key::Why, "a hint".to_owned()));
    }
    screen
}

fn find(lines: &[(String, Offer)]) -> Screen {
    let mut screen = Screen::new("", "");
    let checks = lines.iter().filter(|(_, offer)| matches!(offer.action, Action::Check(_))).count();
    let what = match checks {
        0 => "repair",
        n if n == lines.len() => "check",
        _ => "of these",
    };
    screen.ask(&format!("Which {what}? Part of its name is enough."));
    screen.choices = lines.iter().map(|(line, _)| line.clone()).collect();
    screen.writing = Writing::Name;
    screen.keys.push((Key::Back, "back".to_owned()));
    screen
}

fn make_ready(desk: &Desk<'_>, session: &Session<'_, '_>, action: &Action, ready: &Ready) -> Screen {
    let mut screen = heading(desk, session);
    let job = &session.drill.job;
    let knowledge = job.laid.knowledge;
    let title = words::action(job.laid, action);
    screen.say(Part::until(2, Block::Paragraph(Rich::strong(&title))));
    if let Action::Check(check) = action {
        let item = &knowledge.checks[check.item];
        if item.how.len() <= STEPS {
            let steps = item.how.iter().enumerate();
            let steps = steps.map(|(n, what)| Step { mark: Mark::Number(n + 1), what: what.into(), ..Step::default() });
            screen.say(Part::until(1, Block::Steps(steps.collect())));
        }
        screen.say(Part::until(3, Block::Paragraph(Rich::plain(&item.ask))));
    }
    let mut missing = pages::missing(session, action);
    missing.retain(|access| knowledge.access[*access].open > Minutes::ZERO);
    let needed: Vec<String> =
        missing.iter().map(|access| words::lower_first(&knowledge.access[*access].title)).collect();
    let offer = session.drill.offer(action.clone());
    let takes = desk.figures.cost(offer.cost, offer.minutes);
    let needed = if needed.is_empty() { String::new() } else { format!(" Needed: {}.", needed.join("; ")) };
    screen.say(Part::until(5, Block::Paragraph(Rich::plain(&format!("{takes}.{needed}")))));
    if desk.coach == Coach::Beside {
        for (n, hazard) in pages::hazards(session, action).into_iter().take(CAUTIONS).enumerate() {
            let full = caution(knowledge, hazard, Detail::Some);
            // In a small window the gravest is said in a line; `h` has all of them.
            screen.say(match n {
                0 => Part::shortened(2, full, caution(knowledge, hazard, Detail::Line)),
                _ => Part::until(2, full),
            });
        }
    }
    // What scrolls away first in a small window is the top: the step is named again right above its controls.
    let short = format!("{title}: what first? A number sets it, Enter does it.");
    screen.say(Part::shortened(
        2,
        Block::Paragraph(Rich::strong("What do you see to first? A number sets or clears it; Enter does the step.")),
        Block::Paragraph(Rich::strong(&short)),
    ));
    let given = session.drill.job.now().safety;
    screen.choices = controls(session, action)
        .into_iter()
        .map(|control| {
            let (is_set, says) = match control {
                Control::PutBack => (ready.put_back, "Put back all that it does not need".to_owned()),
                Control::Air(air) => (ready.air == air, format!("Air the craft, {}", desk.figures.minutes(air))),
                Control::Tick(tick) => {
                    let says = knowledge.ticks[tick].says.clone();
                    let holds = given.is_given(tick) && !ready.put_back;
                    (ready.ticks.contains(&tick) || holds, if holds { format!("{says} (still so)") } else { says })
                }
            };
            format!("{} {says}", if is_set { "[x]" } else { "[ ]" })
        })
        .collect();
    screen.keys.push((Key::Enter, "do it".to_owned()));
    screen.keys.push((Key::How, "how".to_owned()));
    screen.keys.push((Key::Back, "something else".to_owned()));
    screen
}

fn suspect(session: &Session<'_, '_>, action: &Action) -> Screen {
    let mut screen = Screen::new("", "");
    screen.ask(match action {
        Action::Check(_) => "Before you see the answer: what is behind it?",
        Action::Repair(..) | Action::Try(_) => "Before it is tried: what was behind it?",
        Action::HandOver => "Before it goes: what is behind it?",
    });
    let knowledge = session.drill.job.laid.knowledge;
    screen.choices = vec![match session.said {
        None => "No idea yet".to_owned(),
        Some((cause, chance)) => {
            format!("As before: {}, {}", words::lower_first(&knowledge.causes[cause].title), tenths(chance))
        }
    }];
    screen.choices.extend(suspects(session).into_iter().map(|(title, _)| title));
    screen.writing = Writing::Name;
    screen.keys.push((Key::Enter, "the first line".to_owned()));
    if session.said.is_some() {
        screen.keys.push((Key::NotSure, "no idea any more".to_owned()));
    }
    screen.keys.push((Key::Back, "back".to_owned()));
    screen
}

fn sure(desk: &Desk<'_>, session: &Session<'_, '_>, cause: Ix<Cause>) -> Screen {
    let mut screen = heading(desk, session);
    let title = words::lower_first(&session.drill.job.laid.knowledge.causes[cause].title);
    screen.ask(&format!("How sure are you that it is there: {title}?"));
    screen.choices = TENTHS.iter().map(|n| tenths(f64::from(*n) / 10.0)).collect();
    screen.keys.push((Key::Back, "another one".to_owned()));
    screen
}

/// "4 in 10".
fn tenths(chance: f64) -> String {
    format!("{} in 10", (chance * 10.0).round())
}
