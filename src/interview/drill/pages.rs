//! What can be read beside the question: what is known, how a step is done, a hint, what came of a step.

use super::{Desk, Session};
use crate::case::{Event, Presence};
use crate::decision::Action;
use crate::drill::breach::Breach;
use crate::drill::{Outcome, Step};
use crate::interview::screens::{Detail, caution};
use crate::knowledge::{Access, Hazard, HistoryFact, Ix};
use crate::report::{Block, Document, Mark, Rich, Step as Line, words};

/// What was said at intake and seen since: no more than that.
pub(super) fn known(desk: &Desk<'_>, session: &Session<'_, '_>) -> Document {
    let job = &session.drill.job;
    let mut document = Document::new();
    document.title("What is known");
    intake(session, &mut document);
    let seen = job.case.log.iter().filter(|entry| !matches!(entry.event, Event::Ticked(_)));
    let seen: Vec<String> = seen.map(|entry| words::entry(job.laid, entry, desk.figures)).collect();
    if !seen.is_empty() {
        document.section("Seen and done");
        document.bullets(seen);
    }
    document
}

/// The complaint, the craft and its history.
pub(super) fn intake(session: &Session<'_, '_>, document: &mut Document) {
    let job = &session.drill.job;
    let knowledge = job.laid.knowledge;
    for symptom in &job.case.symptoms {
        let symptom = &knowledge.symptoms[*symptom];
        let says = symptom.says.first().map_or_else(String::new, |says| format!(" The customer: \"{says}\"."));
        document.paragraph(Rich::strong(&format!("{}.", symptom.title)).and(&says));
    }
    let mut pairs: Vec<(Rich, Rich)> = vec![("Craft".into(), (&job.laid.layout().title).into())];
    let fitted: Vec<&str> = knowledge
        .options
        .iter()
        .filter(|(ix, _)| job.case.craft.has(*ix))
        .map(|(_, option)| option.title.as_str())
        .collect();
    if !fitted.is_empty() {
        pairs.push(("Fitted".into(), fitted.join(", ").into()));
    }
    document.push(Block::Pairs(pairs));
    let is_told =
        |fact: Ix<HistoryFact>| knowledge.history[fact].is_worth_asking(&job.case.symptoms, &job.case.history);
    let facts = job.case.history.iter().filter(|(fact, _)| is_told(**fact));
    document.bullets(facts.map(|(fact, value)| {
        let fact = &knowledge.history[*fact];
        format!("{} {}", fact.ask, fact.values[*value].says)
    }));
}

/// How a step is done: every caution in full, what is opened, the steps.
pub(super) fn how(_desk: &Desk<'_>, session: &Session<'_, '_>, action: &Action) -> Option<Document> {
    let laid = session.drill.job.laid;
    let knowledge = laid.knowledge;
    let mut document = Document::new();
    document.title(words::action(laid, action));
    for hazard in hazards(session, action) {
        document.push(caution(knowledge, hazard, Detail::Full));
    }
    let missing = missing(session, action);
    if !missing.is_empty() {
        document.section("Open first");
        for access in missing {
            let item = &knowledge.access[access];
            let notes = item.steps.iter().map(|step| Rich::plain(&step.what)).collect();
            document.step(Line { mark: Mark::Box, what: (&item.title).into(), notes, blanks: Vec::new() });
        }
    }
    document.section("Do");
    let (steps, mind): (Vec<&String>, &Vec<String>) = match action {
        Action::Check(check) => {
            let item = &knowledge.checks[check.item];
            (item.how.iter().collect(), &item.mind)
        }
        Action::Repair(repair, _) => {
            let item = &knowledge.repairs[*repair];
            (item.steps.iter().map(|step| &step.what).collect(), &item.care)
        }
        Action::Try(_) | Action::HandOver => return None,
    };
    for (n, step) in steps.into_iter().enumerate() {
        document.step(Line { mark: Mark::Number(n + 1), what: step.into(), ..Line::default() });
    }
    if !mind.is_empty() {
        document.section("Mind");
        document.bullets(mind);
    }
    Some(document)
}

/// What the coach says before a breach of safety: why, and every caution in full.
pub(super) fn held(session: &Session<'_, '_>, breach: &Breach) -> Document {
    let mut document = Document::new();
    document.title("The coach holds your arm");
    document.paragraph(&breach.why);
    for hazard in &breach.hazards {
        document.push(caution(session.drill.job.laid.knowledge, *hazard, Detail::Full));
    }
    document
}

/// What must be opened for a step.
pub(super) fn missing(session: &Session<'_, '_>, action: &Action) -> Vec<Ix<Access>> {
    let job = &session.drill.job;
    let open = job.graph.open_now(job.laid, &job.case);
    job.graph.missing(&open, &crate::decision::cost::wanted(job.laid, action))
}

/// The cautions that a step asks for, the gravest first.
pub(super) fn hazards(session: &Session<'_, '_>, action: &Action) -> Vec<Ix<Hazard>> {
    let job = &session.drill.job;
    let mut hazards = action.traits(job.laid, job.graph).map(|traits| traits.raises).unwrap_or_default();
    hazards.sort_by_key(|hazard| (job.laid.knowledge.hazards[*hazard].signal, *hazard));
    hazards.dedup();
    hazards
}

/// The hint of this number: first what kind of step it is time for, then what it is about, then the step itself.
pub(super) fn hint(session: &Session<'_, '_>, number: usize) -> String {
    let laid = session.drill.job.laid;
    let next = &session.drill.here().advice.next;
    let about: Vec<String> = next
        .separates
        .iter()
        .take(2)
        .map(|cause| {
            let item = &laid.knowledge.causes[cause.item];
            words::lower_first(&laid.words(&item.title, item.scope, cause.at))
        })
        .collect();
    match (number, &next.action) {
        (1, Action::Check(_)) if session.drill.here().advice.wanted.is_some() => {
            "Hint: something has to be safe before anything else.".to_owned()
        }
        (1, Action::Check(_)) => "Hint: it is too early to repair; look further.".to_owned(),
        (1, Action::Repair(..)) => "Hint: looking further costs more than it saves; repair.".to_owned(),
        (1, Action::HandOver) => "Hint: what is left costs more than someone else would.".to_owned(),
        (2, _) if !about.is_empty() => format!("Hint: it is about {}.", about.join(" or ")),
        (_, action) => format!("Hint: {}.", words::lower_first(&words::action(laid, action))),
    }
}

/// What came of a step, a sentence each.
pub(super) fn came_of(desk: &Desk<'_>, session: &Session<'_, '_>, step: &Step) -> Vec<String> {
    let job = &session.drill.job;
    let laid = job.laid;
    let mut said: Vec<String> = step
        .entries
        .iter()
        .filter(|entry| matches!(entry.event, Event::Answer { .. } | Event::Repaired { .. }))
        .map(|entry| format!("{}.", words::entry(laid, entry, desk.figures)))
        .collect();
    let tried = || {
        step.entries.iter().filter_map(|entry| match entry.event {
            Event::Tried { symptom, now: Presence::Present } => Some(symptom),
            _ => None,
        })
    };
    match step.outcome {
        Outcome::Still => {
            let titles: Vec<&str> = tried().map(|s| laid.knowledge.symptoms[s].title.as_str()).collect();
            said.push(format!("Put together and tried: {}: still there.", titles.join("; ")));
        }
        Outcome::CameBack => {
            let cost = desk.figures.money(laid.knowledge.costs.comeback);
            said.push(format!("It seemed gone. The next day it is back; the comeback costs {cost}."));
        }
        Outcome::Untried => {
            let locks = job.locks(&job.now().safety);
            let why = locks.first().map_or_else(String::new, |ix| format!(" {}", laid.knowledge.interlocks[*ix].why));
            said.push(format!("It cannot be tried yet.{why}"));
        }
        Outcome::Answered | Outcome::Gone | Outcome::HandedOver | Outcome::Breached => {}
    }
    said
}
