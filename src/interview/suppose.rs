//! What if: what would be believed, done next and left to pay if an answer were so. Nothing of it is kept.

use super::advisor::View;
use super::state::State;
use super::step::{Bench, before, closing};
use crate::case::{Answer, Case, Event, Position};
use crate::decision::{Action, Proposal};
use crate::knowledge::Check;
use crate::knowledge::layout::{Instance, Laid};
use crate::report::{Block, Column, Document, Table, words};
use crate::safety::Before;
use jiff::Timestamp;

/// How many causes of each ranking are shown.
const RANKED: usize = 5;

/// What an answer would change, as a page.
///
/// Cost: that of a next step.
#[must_use]
pub fn page(
    bench: &Bench<'_>,
    state: &State,
    check: Instance<Check>,
    answer: Answer,
    now: Option<Timestamp>,
) -> Document {
    let laid = bench.laid(&state.case);
    let item = &bench.knowledge.checks[check.item];
    let mut document = Document::new();
    let said = words::answer(item, answer, bench.figures);
    document.title(format!("What if: {}: {said}", words::check_words(&laid, check)));
    document.paragraph("Nothing of this is written down.");
    let (case, held_up) = supposed(bench, state, check, answer, now);
    if let Some(why) = held_up {
        document.paragraph(format!("It may not be done now: {why}"));
    }
    if let Some(chance) = chance(state, check, answer) {
        document.paragraph(format!("How likely that answer is: {}.", bench.figures.chance(chance)));
    }
    match bench.advisor.look(&case, now) {
        Err(why) => document.paragraph(format!("What it would change cannot be weighed: {why}")),
        Ok(then) => compared(bench, &laid, state.view.as_deref(), &then, &mut document),
    }
    document
}

/// The job as it would be; and why the check may not be made now, where it may not.
#[must_use]
pub fn supposed(
    bench: &Bench<'_>,
    state: &State,
    check: Instance<Check>,
    answer: Answer,
    now: Option<Timestamp>,
) -> (Case, Option<String>) {
    let (needs, held_up) = match before(bench, state, &Action::Check(check), now) {
        Ok(needs) => (needs, None),
        Err(why) => (Before::default(), Some(why)),
    };
    let mut case = state.case.clone();
    let mut add = |event: Event| case.log.push(crate::case::Entry { at: now, event });
    for shut in &needs.put_back {
        add(Event::Access { access: *shut, now: Position::Shut });
    }
    let item = &bench.knowledge.checks[check.item];
    for missing in bench.graph.missing(&bench.advisor.open(&state.case), &item.access) {
        if bench.knowledge.access[missing].open.get() > 0.0 {
            add(Event::Access { access: missing, now: Position::Open });
        }
    }
    let closes = closing(bench, state, check.item, now).filter(|(outcome, ..)| answer == Answer::Outcome(*outcome));
    let aired_min = closes.map(|(_, minutes, _)| minutes.get());
    add(Event::Answer { check: check.item, place: Some(check.at), answer, aired_min });
    (case, held_up)
}

/// How likely an answer is, where its check was weighed.
fn chance(state: &State, check: Instance<Check>, answer: Answer) -> Option<f64> {
    let Answer::Outcome(outcome) = answer else { return None };
    let advice = &state.view.as_ref()?.advice;
    let about = |p: &&Proposal| p.action == Action::Check(check);
    let proposal = std::iter::once(&advice.next).chain(&advice.alternatives).find(about)?;
    proposal.branches.iter().find(|b| b.outcome == outcome).map(|b| b.chance)
}

fn compared(bench: &Bench<'_>, laid: &Laid<'_>, now: Option<&View>, then: &View, document: &mut Document) {
    if then.impossible {
        document.paragraph("With the other answers it cannot be: one of them would be wrong.");
    }
    document.push(Block::Table(ranking(bench, laid, now, then)));
    let step = |view: &View| words::action(laid, &view.advice.next.action);
    let rest = |view: &View| words::rest(bench.figures, &view.advice);
    let row = |what: &str, said: &dyn Fn(&View) -> String| {
        vec![what.into(), now.map_or_else(|| "not weighed".to_owned(), said).into(), said(then).into()]
    };
    document.push(Block::Table(Table {
        columns: vec![Column::words(""), Column::words("Now"), Column::words("Then")],
        rows: vec![row("Next step", &step), row("Rest of the job, on average", &rest)],
        total: None,
    }));
}

/// The causes that lead now or would lead then.
pub(super) fn ranking(bench: &Bench<'_>, laid: &Laid<'_>, now: Option<&View>, then: &View) -> Table {
    let mut causes: Vec<_> = then.causes.iter().take(RANKED).map(|c| c.cause).collect();
    for belief in now.iter().flat_map(|view| view.causes.iter().take(RANKED)) {
        if !causes.contains(&belief.cause) {
            causes.push(belief.cause);
        }
    }
    let of = |view: &View, cause| view.causes.iter().find(|c| c.cause == cause).map_or(0.0, |c| c.chance);
    let rows = causes.into_iter().map(|cause| {
        let item = &laid.knowledge.causes[cause.item];
        let before = now.map_or_else(|| "-".to_owned(), |view| bench.figures.percent_short(of(view, cause)));
        vec![
            laid.words(&item.title, item.scope, cause.at).into(),
            before.into(),
            bench.figures.percent_short(of(then, cause)).into(),
        ]
    });
    Table {
        columns: vec![Column::words("Cause"), Column::figures("Now"), Column::figures("Then")],
        rows: rows.collect(),
        total: None,
    }
}

/// The places of a check, one line each.
#[must_use]
pub fn lines(bench: &Bench<'_>, case: &Case) -> Vec<(String, Instance<Check>)> {
    let laid = bench.laid(case);
    let mut all = Vec::new();
    for (ix, check) in bench.knowledge.checks.iter().filter(|(_, check)| laid.fits(&check.fitted)) {
        for at in 0..laid.places(check.scope) {
            let instance: Instance<Check> = Instance::new(ix, at);
            all.push((words::check_words(&laid, instance), instance));
        }
    }
    all
}
