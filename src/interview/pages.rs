//! Pages one can ask for: why, what we know, how it is done, what may not be done. Each is a document, so that it reads
//! the same on a screen, line by line and on paper.

use super::hand_over::EMERGENCY;
use super::screen::quoted;
use super::screens;
use super::state::{Focus, State};
use super::step::{Bench, asked_for, by_phone, closing, focus};
use crate::case::{Case, Entry, Event, Presence};
use crate::decision::{Action, Proposal};
use crate::knowledge::layout::Laid;
use crate::knowledge::{Check, Ix, Knowledge, OwnerAsk, Repair};
use crate::report::{Block, Column, Document, Figures, Mark, Rich, Step, Table, words};

/// How many runners-up are named.
const RUNNERS_UP: usize = 3;
/// How many answers speak for and against an explanation on its page.
const ANSWERS: usize = 3;

/// What to do when something else than fire stops the work.
#[must_use]
pub fn pause(knowledge: &Knowledge) -> Option<Document> {
    let (_, lock) = knowledge.interlocks.iter().find(|(_, i)| i.key.is_some() && !i.ends)?;
    let mut document = Document::new();
    document.title("Stop for now");
    document.paragraph(&lock.why);
    document.bullets(&lock.tell);
    Some(document)
}

/// What every key does.
#[must_use]
pub fn keys() -> Document {
    let mut document = Document::new();
    document.title("Keys");
    for (heading, keys) in KEYS {
        document.part(heading);
        let pairs = keys.iter().map(|(key, does)| ((*key).into(), (*does).into()));
        document.push(Block::Pairs(pairs.collect()));
    }
    document
}

/// The keys by what they are for.
const KEYS: [(&str, &[(&str, &str)]); 4] = [
    (
        "Answering",
        &[
            ("1 to 9", "an answer; arrows and Enter do the same"),
            ("10, ...", "of more than nine answers: the number, or several, then Enter; m shows more"),
            ("t", "tick the box"),
            ("n, c", "not sure; could not"),
            ("a", "several answers at once, in one line: what to do next is worked out once, at the end"),
        ],
    ),
    (
        "Going back",
        &[
            ("b, Esc", "one step back: one screen's answers, or the whole line of several; again for the step before"),
            ("e", "change an earlier answer where it stands"),
            ("q", "save and stop; the same command goes on"),
        ],
    ),
    (
        "Looking",
        &[
            ("?", "why this is asked"),
            ("i", "what if: what an answer would change; nothing of it is kept"),
            ("r", "what we know"),
            ("h", "how it is done, with every caution"),
            ("x", "what is barred, and why"),
            ("p", "the work order; w writes it beside the case"),
        ],
    ),
    (
        "Doing something else",
        &[
            ("o", "another check, by part of its name"),
            ("d", "a repair was done"),
            ("g", "hand it over, with a sheet for whoever goes on"),
            ("!", "smoke, fire, running fuel: stop"),
        ],
    ),
];

/// What to do when there is fire.
#[must_use]
pub fn stop(knowledge: &Knowledge, ix: Ix<crate::knowledge::Interlock>) -> Document {
    let lock = &knowledge.interlocks[ix];
    let mut document = Document::new();
    document.title("STOP");
    document.paragraph(Rich::strong(&lock.why));
    for (n, tell) in lock.tell.iter().enumerate() {
        document.step(Step { mark: Mark::Number(n + 1), what: tell.into(), ..Step::default() });
    }
    document.paragraph(format!("Whom to call: {EMERGENCY}."));
    document
}

/// The record of a job: what was complained of, found, done and set. What must be known of it in twenty years.
#[must_use]
pub fn record(knowledge: &Knowledge, case: &Case, figures: &Figures) -> Document {
    let laid = Laid::new(knowledge, case.craft.clone());
    let mut document = Document::new();
    document.title(case.title.clone().map_or_else(|| "Record of the job".to_owned(), |t| format!("Record: {t}")));
    let complaints: Vec<&str> = case.symptoms.iter().map(|s| knowledge.symptoms[*s].title.as_str()).collect();
    document.push(Block::Pairs(vec![
        ("Craft".into(), (&laid.layout().title).into()),
        ("Complaint".into(), complaints.join("; ").into()),
    ]));
    let lines = |wanted: fn(&Event) -> bool| {
        case.log.iter().filter(move |e| wanted(&e.event)).map(|e| words::entry(&laid, e, figures)).collect::<Vec<_>>()
    };
    for (heading, lines) in [
        (
            "Done",
            lines(|e| {
                matches!(e, Event::Repaired { .. } | Event::Left { .. } | Event::Tried { .. } | Event::Emergency { .. })
            }),
        ),
        ("Seen and measured", lines(|e| matches!(e, Event::Answer { .. } | Event::Found { .. }))),
        ("Settings", lines(|e| matches!(e, Event::Set { .. }))),
    ] {
        if !lines.is_empty() {
            document.section(heading);
            document.bullets(lines);
        }
    }
    let tell = told_owner(&laid, case);
    if !tell.is_empty() {
        document.section("Tell the owner");
        document.bullets(tell);
    }
    document
}

/// What to tell the owner: of each repair what it was about. Of one after which it was still there, and that another
/// repair cured, that it was done and what holds from now on: what its first line says was behind it, was not or not alone.
fn told_owner(laid: &Laid<'_>, case: &Case) -> Vec<String> {
    let mut tell = Vec::new();
    for (at, entry) in case.log.iter().enumerate() {
        let Event::Repaired { repair, places } = &entry.event else { continue };
        let item = &laid.knowledge.repairs[*repair];
        if item.service || !was_in_vain(&case.log[at + 1..]) {
            tell.extend(item.tell_owner.iter().cloned());
            continue;
        }
        let what = words::lower_first(&words::repair_words(laid, *repair, places));
        tell.push(format!("Also done, and that alone did not put it right: {what}."));
        tell.extend(item.tell_owner.iter().skip(1).cloned());
    }
    let mut said = std::collections::BTreeSet::new();
    tell.retain(|line| said.insert(line.clone()));
    tell
}

/// Whether it was still there after a repair, and gone after a later one. `after`: what happened since.
fn was_in_vain(after: &[Entry]) -> bool {
    let next = after.iter().position(|entry| matches!(entry.event, Event::Repaired { .. })).unwrap_or(after.len());
    let last = |log: &[Entry]| {
        log.iter().rev().find_map(|entry| match entry.event {
            Event::Tried { now, .. } => Some(now),
            _ => None,
        })
    };
    last(&after[..next]) == Some(Presence::Present) && last(&after[next..]) == Some(Presence::Absent)
}

/// What to say, what to listen for, and all that each answer may sound like.
fn on_the_phone(check: &Check, owner: &OwnerAsk, document: &mut Document) {
    document.section("Say");
    document.paragraph(quoted([&owner.ask]));
    document.section("What they may say");
    let heard = check.outcomes.iter().zip(&owner.sounds).filter(|(_, sounds)| !sounds.is_empty());
    document.bullets(heard.map(|(outcome, sounds)| format!("{}: {}", outcome.says, quoted(sounds))));
    if let Some(listen) = &owner.listen {
        document.section("Listen for");
        document.paragraph(listen);
    }
    if !owner.mind.is_empty() {
        document.section("Words that mislead");
        document.bullets(&owner.mind);
    }
}

/// Why this step.
#[must_use]
pub fn why(bench: &Bench<'_>, state: &State) -> Option<Document> {
    let laid = bench.laid(&state.case);
    let Some(proposal) = proposal(bench, state) else { return why_chosen(bench, state) };
    let mut document = Document::new();
    document.title(words::action(&laid, &proposal.action));
    document.paragraph(words::reason(&laid, &proposal, bench.figures));
    let advice = state.view.as_ref().map(|view| &view.advice).filter(|advice| advice.next.action == proposal.action);
    let rest = match advice {
        Some(advice) => words::rest(bench.figures, advice),
        None => bench.figures.money(proposal.expected_cost),
    };
    document.paragraph(format!(
        "This step alone: {}. From here {}, taking it: about {rest}, the chance of handing it over in it.",
        bench.figures.cost(proposal.cost, proposal.minutes),
        words::how_far(bench.knowledge, &state.case),
    ));
    if let Some(bounds) = advice.and_then(|advice| words::bounds(advice, bench.figures)) {
        document.paragraph(bounds);
    }
    if let Some(table) = branches(bench, state, &laid, &proposal) {
        document.section("What each answer would lead to");
        document.push(Block::Table(table));
    }
    if let Some(view) = &state.view {
        document.section("Next best");
        let others = view.advice.alternatives.iter().take(RUNNERS_UP);
        document.bullets(others.map(|other| words::runner_up(&laid, bench.figures, other, &proposal)));
    }
    Some(document)
}

/// Why a check that was not proposed: it was chosen, or safety asks for it.
fn why_chosen(bench: &Bench<'_>, state: &State) -> Option<Document> {
    let Some(Focus::Check { check, .. }) = focus(bench, state) else { return None };
    let mut document = Document::new();
    document.title(&bench.knowledge.checks[check].title);
    match closing(bench, state, check, None) {
        Some((_, _, hazard)) => {
            let hazard = &bench.knowledge.hazards[hazard];
            document.paragraph(format!("Safety asks for it: {}.", words::lower_first(&hazard.title)));
            document.paragraph(&hazard.harm);
            document.bullets(&hazard.controls);
        }
        None => document.paragraph("You chose it. Press b to see what is proposed instead."),
    }
    Some(document)
}

/// The proposal that the screen shows, where it shows one.
fn proposal(bench: &Bench<'_>, state: &State) -> Option<Proposal> {
    let view = state.view.as_ref()?;
    let all = std::iter::once(&view.advice.next).chain(&view.advice.alternatives);
    let focus = focus(bench, state)?;
    let shown = all.into_iter().find(|proposal| match (&proposal.action, &focus) {
        (Action::Check(a), Focus::Check { check, replaces, .. }) => a.item == *check && replaces.is_empty(),
        (Action::Repair(a, _), Focus::Repair(b, _) | Focus::Working(b, _)) => a == b,
        (Action::HandOver, Focus::HandOver) => true,
        _ => false,
    });
    shown.cloned()
}

/// Each outcome, its chance and what would be done then.
fn branches(bench: &Bench<'_>, state: &State, laid: &Laid<'_>, proposal: &Proposal) -> Option<Table> {
    if proposal.branches.is_empty() {
        return None;
    }
    let rows = proposal.branches.iter().map(|branch| {
        let outcome = words::outcome(bench.knowledge, &proposal.action, branch.outcome);
        let gone = || words::once_gone(bench.knowledge, &state.case);
        let then = branch.then.as_ref().map_or_else(gone, |a| words::action(laid, a));
        vec![outcome.into(), bench.figures.chance(branch.chance).into(), then.into()]
    });
    Some(Table {
        columns: vec![Column::words("Answer"), Column::words("Chance"), Column::words("Then")],
        rows: rows.collect(),
        total: None,
    })
}

/// What we know: explanations, what speaks for and against each, answers that do not fit.
#[must_use]
pub fn ranking(bench: &Bench<'_>, state: &State) -> Option<Document> {
    let laid = bench.laid(&state.case);
    let known = bench.advisor.known(&state.case).ok()?;
    let mut document = Document::new();
    document.title("What we know");
    for explanation in &known.explanations.sets {
        let title = words::causes(&laid, &explanation.causes);
        document.part(format!("{title}: {}", bench.figures.chance(explanation.chance)));
        let mut weights: Vec<_> = known.weights.iter().filter(|w| explanation.causes.contains(&w.cause)).collect();
        weights.sort_by(|a, b| b.decibans.abs().total_cmp(&a.decibans.abs()));
        let mut said = Vec::new();
        for weight in weights {
            if !said.iter().any(|(s, _)| *s == weight.said) && said.len() < ANSWERS {
                said.push((weight.said, weight.decibans));
            }
        }
        document.bullets(said.iter().map(|(who, decibans)| {
            let words = words::said(&laid, &state.case, *who, bench.figures);
            format!("{words}: {}", words::strength(*decibans))
        }));
    }
    let rest = &known.explanations;
    document.paragraph(format!(
        "Nothing that is listed accounts for it: {}. {}",
        bench.figures.chance(rest.unexplained),
        words::others(bench.figures, rest, rest.sets.len())
    ));
    if let Some(view) = &state.view {
        if !view.misfits.is_empty() {
            document.section("Answers that do not fit together");
            document.bullets(view.misfits.iter().map(|m| words::said(&laid, &state.case, m.said, bench.figures)));
            document.paragraph("The first is the one worth repeating. Press e to change it.");
        }
        if let Some(settles) = settles(&laid, &view.advice.next.action) {
            document.paragraph(format!(
                "What would settle most now: {settles}, {}.",
                bench.figures.cost(view.advice.next.cost, view.advice.next.minutes)
            ));
        }
        if view.accuracy != crate::inference::Accuracy::Exact {
            document.aside("The network is beyond exact reckoning in the time there is; these figures are near ones.");
        }
    }
    Some(document)
}

fn settles(laid: &Laid<'_>, action: &Action) -> Option<String> {
    matches!(action, Action::Check(_)).then(|| words::lower_first(&words::action(laid, action)))
}

/// How it is done: opening, the check or the repair, what trips people up, every caution in full.
#[must_use]
pub fn how(bench: &Bench<'_>, state: &State) -> Option<Document> {
    let mut document = Document::new();
    match focus(bench, state)? {
        Focus::Check { check, places, .. } => {
            let item = &bench.knowledge.checks[check];
            document.title(&item.title);
            if let Some(owner) = item.owner.as_ref().filter(|_| by_phone(bench.knowledge, &state.case)) {
                on_the_phone(item, owner, &mut document);
            }
            let action = Action::Check(crate::knowledge::layout::Instance::new(check, places[0].unwrap_or(0)));
            cautions(bench, &mut document, &screens::hazards_of(bench, state, &action));
            opening(bench, state, &mut document, &item.access);
            document.section("Do");
            for (n, how) in item.how.iter().enumerate() {
                document.step(Step { mark: Mark::Number(n + 1), what: how.into(), ..Step::default() });
            }
            if !item.mind.is_empty() {
                document.section("Mind");
                document.bullets(&item.mind);
            }
            if !item.tools.is_empty() {
                document.paragraph(format!("Tools: {}.", item.tools.join(", ")));
            }
        }
        Focus::Repair(repair, places) | Focus::Record(repair, places, _) | Focus::Working(repair, places) => {
            let item = &bench.knowledge.repairs[repair];
            document.title(&item.title);
            cautions(bench, &mut document, &screens::hazards_of(bench, state, &Action::Repair(repair, places.clone())));
            opening(bench, state, &mut document, &item.access);
            document.section("Do");
            for (n, step) in item.steps.iter().enumerate() {
                if let Some(hazard) = step.caution {
                    document.push(screens::caution(bench.knowledge, hazard, screens::Detail::Line));
                }
                document.step(Step { mark: Mark::Number(n + 1), what: (&step.what).into(), ..Step::default() });
            }
            if !item.care.is_empty() {
                document.section("Mind");
                document.bullets(&item.care);
            }
            as_found(bench, state, repair, &places, &mut document);
        }
        _ => return None,
    }
    Some(document)
}

/// What it means that it is gone with nothing done about it.
#[must_use]
pub fn gone_unrepaired(knowledge: &Knowledge, symptom: Ix<crate::knowledge::Symptom>) -> Document {
    let mut document = Document::new();
    document.title("Gone, and nothing was repaired");
    document.paragraph(format!(
        "{}: not this time. Whatever is behind it comes and goes, and is still there. It is not written down as cured, \
         and the job goes on.",
        knowledge.symptoms[symptom].title
    ));
    document.bullets([
        "What is asked next is asked of the craft as it fails: look while it fails, or say not sure.",
        "Did it always come and go? Say so: e, then the question how it began.",
        "Nobody goes out on the water with it meanwhile.",
    ]);
    document
}

/// What the log has of the settings that a repair disturbs.
fn as_found(bench: &Bench<'_>, state: &State, repair: Ix<Repair>, places: &[usize], document: &mut Document) {
    let laid = bench.laid(&state.case);
    let told = asked_for(bench, &state.case, repair, places).into_iter().filter_map(|record| {
        let item = &bench.knowledge.settings[record.setting.item];
        let what = laid.words(&item.title, item.scope, record.setting.at);
        let unit = crate::units::Unit::parse(&item.unit).map(|unit| format!(" {unit}"));
        record.value.map(|value| {
            let unit = if value.parse::<f64>().is_ok() { unit.unwrap_or_default() } else { String::new() };
            format!("{what}: {value}{unit}")
        })
    });
    let told: Vec<String> = told.collect();
    if !told.is_empty() {
        document.section("As found");
        document.bullets(&told);
    }
}

fn cautions(bench: &Bench<'_>, document: &mut Document, hazards: &[Ix<crate::knowledge::Hazard>]) {
    for hazard in hazards {
        document.push(screens::caution(bench.knowledge, *hazard, screens::Detail::Full));
    }
}

fn opening(bench: &Bench<'_>, state: &State, document: &mut Document, access: &[Ix<crate::knowledge::Access>]) {
    let open = bench.advisor.open(&state.case);
    let missing = bench.graph.missing(&open, access);
    if missing.is_empty() {
        return;
    }
    document.section("Open first");
    for access in missing {
        let item = &bench.knowledge.access[access];
        document.step(Step {
            mark: Mark::Box,
            what: (&item.title).into(),
            notes: item.steps.iter().map(|s| Rich::plain(&s.what)).collect(),
            blanks: Vec::new(),
        });
    }
}

/// What may not be done now, and why: each reason once, with what it holds up.
#[must_use]
pub fn barred(bench: &Bench<'_>, state: &State) -> Option<Document> {
    let laid = bench.laid(&state.case);
    let view = state.view.as_ref()?;
    let mut document = Document::new();
    document.title("What may not be done now");
    let mut reasons: Vec<(&str, Vec<String>)> = Vec::new();
    for (action, why) in &view.advice.barred {
        let words = words::action(&laid, action);
        match reasons.iter_mut().find(|(w, _)| w == why) {
            Some((_, held)) => held.push(words),
            None => reasons.push((why, vec![words])),
        }
    }
    if reasons.is_empty() {
        document.paragraph("Nothing is held up.");
    }
    for (why, held) in reasons {
        document.part(why);
        document.paragraph(held.join(" · "));
    }
    Some(document)
}
