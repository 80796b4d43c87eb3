//! How a job ends for whoever brought it: fixed; do this and call back; bring it in, with a sheet for whoever goes on.
//!
//! The sheet is data first, a document after that, and comes with the case that the receiver opens: as theirs, with every
//! answer, so that nothing is asked twice.

use super::state::End;
use super::step::{Bench, by_phone, untried};
use crate::case::{Answer, Case, Event, text, usual_user};
use crate::decision::{Action, Advice, Proposal, complained_of};
use crate::interview::advisor::View;
use crate::knowledge::layout::Laid;
use crate::knowledge::{Ability, Ix, Knowledge, Repair};
use crate::report::{Block, Column, Document, Figures, Mark, Rich, Step, Table, words};
use crate::safety::{OpenHazard, Safety, Verdict, is_about_who};
use crate::store;
use jiff::Timestamp;
use std::path::{Path, PathBuf};

/// How many causes are named on the sheet.
const BELIEVED: usize = 5;
/// How many runners-up are named.
const RUNNERS_UP: usize = 2;
/// What is said where only a ride can show whether it is gone. What they saw is asked as a memory, when they call again;
/// nobody is told to ride for it.
pub const BY_THEMSELVES: &str = "Only a ride shows whether it is gone, and by phone nobody is sent or guided onto the water. \
    Whoever rides it all the same, in their own time, stays near the shore and not alone: it may stop. They call back \
    then and say how it went, or bring it in and the shop rides it.";
/// Whom to call, wherever one is.
pub const EMERGENCY: &str = "your local emergency number; 911 in the US";

/// How a job ends.
#[derive(Clone, Debug)]
pub enum Ending {
    /// What was complained of is gone: the record of the job.
    Fixed(Document),
    /// Something is left to do, or to go on with: what, and what not to do meanwhile.
    CallBack(Document),
    /// Somebody else goes on with it.
    BringIn(Box<HandOver>),
}

/// What goes with a job to whoever goes on with it.
#[derive(Clone, Debug)]
pub struct HandOver {
    /// The case as the receiver opens it: theirs, with all that was said, done and found.
    pub case: Case,
    /// What the sheet says.
    pub sheet: Sheet,
}

impl HandOver {
    /// Writes the case that whoever goes on opens beside the one of the job, where it is another. Returns where it is.
    ///
    /// Whoever goes on may have begun with what was handed over before, so that nothing there is written over.
    ///
    /// # Errors
    /// Where it cannot be written.
    pub fn write(&self, case: &Case, path: &Path, knowledge: &Knowledge) -> Result<PathBuf, store::Error> {
        if self.case == *case {
            return Ok(path.to_owned());
        }
        let text = text::write(&self.case, knowledge);
        let theirs = store::beside(path, "shop", &text);
        store::write(&theirs, &text)?;
        Ok(theirs)
    }
}

/// Something open, and what closes it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Open {
    /// What.
    pub title: String,
    /// Why it is taken to be open.
    pub why: String,
    /// What closes it.
    pub until: Option<String>,
    /// What must never be done.
    pub never: Vec<String>,
}

/// A hand-over sheet. All texts are for people.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sheet {
    /// The name of the job.
    pub title: Option<String>,
    /// The layout of the craft, and what is fitted.
    pub craft: String,
    /// What is complained of, the first thing that stops them first.
    pub complaint: Vec<String>,
    /// What was asked about how it was kept, and what was said.
    pub said: Vec<(String, String)>,
    /// What is open, and so must be seen to before anything else.
    pub open: Vec<Open>,
    /// What may not be done now, each reason once.
    pub forbidden: Vec<String>,
    /// What was done, in order.
    pub done: Vec<String>,
    /// What was found, in order.
    pub found: Vec<String>,
    /// What was asked and could not be told.
    pub not_told: Vec<String>,
    /// What stands open on the craft.
    pub apart: Vec<String>,
    /// The likeliest causes with their chances, the likeliest first.
    pub believed: Vec<(String, f64)>,
    /// What to look at first, in order; what it is about and costs.
    pub first: Vec<(String, String)>,
    /// What comes next to it.
    pub then: Vec<String>,
    /// Whether it was all done by phone: nobody of the shop has seen the craft.
    pub by_phone: bool,
}

/// How a job ended, where there is something to say about it.
///
/// `view` is what was believed and advised at the end, where that is known already. Cost: that of the next step, once, for
/// whoever goes on.
///
/// # Errors
/// Where what is known cannot be weighed.
pub fn ending(
    bench: &Bench<'_>,
    case: &Case,
    end: End,
    view: Option<&View>,
    now: Option<Timestamp>,
) -> Result<Option<Ending>, String> {
    Ok(match end {
        // Nothing is left to do on a craft that nobody may go near.
        _ if case.emergency().is_some() => None,
        End::Cured => Some(Ending::Fixed(super::pages::record(bench.knowledge, case, bench.figures))),
        End::HandedOver => Some(Ending::BringIn(Box::new(hand_over(bench, case, now)?))),
        End::Left if by_phone(bench.knowledge, case) && !case.symptoms.is_empty() => {
            Some(Ending::CallBack(call_back(bench, case, view, now)))
        }
        End::Left | End::Stopped(_) => None,
    })
}

/// Whether what is complained of shows only under load, and whoever is on the phone tries that by themselves.
#[must_use]
pub fn tried_without_us(bench: &Bench<'_>, case: &Case) -> bool {
    let tries = Action::Try(complained_of(case)).traits(&bench.laid(case), bench.graph);
    by_phone(bench.knowledge, case) && tries.is_some_and(|traits| traits.able.contains(&Ability::ReachesLoad))
}

/// How likely a cause must be for what removes it to be named.
const LIKELY: f64 = 0.2;

/// The repair that removes what is likeliest behind it, where an owner on the phone may not do it, and why not.
#[must_use]
pub fn not_by_phone(bench: &Bench<'_>, case: &Case, view: &View, now: Option<Timestamp>) -> Option<String> {
    let knowledge = bench.knowledge;
    if !by_phone(knowledge, case) {
        return None;
    }
    let laid = bench.laid(case);
    let chance = |repair: Ix<Repair>| {
        let removes = &knowledge.repairs[repair].removes;
        let sure = |of| removes.iter().find(|(cause, _)| *cause == of).map(|(_, sureness)| sureness.get());
        view.causes.iter().filter_map(|c| sure(c.cause.item).map(|sure| sure * c.chance)).fold(0.0, f64::max)
    };
    let theirs = |action: &Action| match bench.advisor.judge(case, action, now) {
        Verdict::Barred { by: Some(by), .. } => is_about_who(&knowledge.interlocks[by]),
        Verdict::Barred { by: None, .. } => true,
        Verdict::May(_) => false,
    };
    let likely = view.advice.barred.iter().filter_map(|(action, why)| match action {
        Action::Repair(repair, _) => Some((chance(*repair), action, why)).filter(|(p, ..)| *p >= LIKELY),
        _ => None,
    });
    // Of equals the first: it needs the least.
    let best = likely
        .filter(|(_, action, _)| theirs(action))
        .reduce(|best, other| if other.0 > best.0 { other } else { best });
    best.map(|(_, action, why)| {
        let what = words::action(&laid, action);
        // What a person may not do or cannot is said as whose work it is; an interlock has reasons of its own.
        match bench.advisor.judge(case, action, now) {
            Verdict::Barred { by: Some(_), .. } => {
                let what = words::lower_first(&what);
                format!("What is likeliest to put it right is not for the phone: {what}. {why}")
            }
            _ => format!("What is likeliest to put it right is not for the phone. {what}: that is work for the shop."),
        }
    })
}

/// The case as whoever goes on opens it, and the sheet that goes with it.
///
/// # Errors
/// Where what is known cannot be weighed.
pub fn hand_over(bench: &Bench<'_>, case: &Case, now: Option<Timestamp>) -> Result<HandOver, String> {
    let mut theirs = Case { user: usual_user(bench.knowledge), ..case.clone() };
    if theirs.user != case.user {
        // What an owner has ticked was of the owner's bench, and nobody at another vouches for it.
        theirs.log.retain(|entry| !matches!(entry.event, Event::Ticked(_)));
        theirs.taken_up = 0;
    }
    let view = bench.advisor.look(&theirs, now)?;
    let sheet = sheet(bench, case, &theirs, &view, now);
    Ok(HandOver { case: theirs, sheet })
}

fn sheet(bench: &Bench<'_>, case: &Case, theirs: &Case, view: &View, now: Option<Timestamp>) -> Sheet {
    let knowledge = bench.knowledge;
    let laid = bench.laid(theirs);
    let lines = |wanted: fn(&Event) -> bool| -> Vec<String> {
        case.log.iter().filter(|e| wanted(&e.event)).map(|e| words::entry(&laid, e, bench.figures)).collect()
    };
    let stopped = case.emergency().is_some();
    Sheet {
        title: case.title.clone(),
        craft: craft(&laid, theirs),
        complaint: case.symptoms.iter().map(|s| knowledge.symptoms[*s].title.clone()).collect(),
        said: said(bench, case),
        open: open(bench, theirs, now),
        forbidden: forbidden(bench, &laid, theirs, view, now),
        done: lines(|e| {
            matches!(
                e,
                Event::Repaired { .. }
                    | Event::Left { .. }
                    | Event::Tried { .. }
                    | Event::Set { .. }
                    | Event::Emergency { .. }
            )
        }),
        found: lines(|e| match e {
            Event::Answer { answer, .. } => answer.informs(),
            Event::Found { .. } => true,
            _ => false,
        }),
        not_told: lines(|e| matches!(e, Event::Answer { answer: Answer::Unknown | Answer::CouldNot, .. })),
        apart: apart(bench, theirs),
        believed: words::leaders(&laid, &view.causes, BELIEVED),
        first: if stopped { Vec::new() } else { first(bench, &laid, &view.advice) },
        then: if stopped { Vec::new() } else { then(&laid, view, bench.figures) },
        by_phone: by_phone(knowledge, case),
    }
}

fn craft(laid: &Laid<'_>, case: &Case) -> String {
    let fitted = laid.knowledge.options.iter().filter(|(ix, _)| case.craft.has(*ix)).map(|(_, o)| o.title.as_str());
    let parts: Vec<&str> = std::iter::once(laid.layout().title.as_str()).chain(fitted).collect();
    parts.join("; ")
}

fn said(bench: &Bench<'_>, case: &Case) -> Vec<(String, String)> {
    let pair = |(fact, value): (&Ix<crate::knowledge::HistoryFact>, &usize)| {
        let item = &bench.knowledge.history[*fact];
        item.values.get(*value).map(|v| (item.ask.clone(), v.says.clone()))
    };
    case.history.iter().filter_map(pair).collect()
}

/// Hazards that are open, and the one that nobody can rule out once the craft was moved.
fn open(bench: &Bench<'_>, case: &Case, now: Option<Timestamp>) -> Vec<Open> {
    let mut all: Vec<Open> = bench.advisor.hazards(case, now).iter().map(|hazard| opened(bench, hazard)).collect();
    let anew = bench.knowledge.hazards.iter().find(|(_, h)| h.open_at_start && !h.closed_by.is_empty());
    if let Some((ix, hazard)) = anew.filter(|(_, h)| all.iter().all(|open| open.title != h.title)) {
        let air = hazard.closed_by[0].aired_at_start;
        let why = "nobody knows once it was moved".to_owned();
        let level = OpenHazard { hazard: ix, why, air, level: None, stops: true, in_vain: false };
        all.push(opened(bench, &level));
    }
    all
}

fn opened(bench: &Bench<'_>, open: &OpenHazard) -> Open {
    let item = &bench.knowledge.hazards[open.hazard];
    let until = item.closed_by.first().map(|by| {
        let check = &bench.knowledge.checks[by.answer.0];
        let air = if open.air.get() > 0.0 {
            format!("air it {}, then: ", bench.figures.minutes(open.air))
        } else {
            String::new()
        };
        format!("{air}{}, until it says \"{}\"", words::lower_first(&check.title), check.outcomes[by.answer.1].says)
    });
    Open { title: item.title.clone(), why: words::lower_first(&open.why), until, never: item.never.clone() }
}

/// Why something is held up by an interlock, each reason once: first what forbids to try the craft.
fn forbidden(bench: &Bench<'_>, laid: &Laid<'_>, case: &Case, view: &View, now: Option<Timestamp>) -> Vec<String> {
    let stopped = case
        .emergency()
        .map(|lock| format!("Stopped: {}. {}", words::emergency(bench.knowledge, lock), words::UNTIL_SAFE));
    let locks = Safety::at(laid, bench.graph, case, now).locks(laid, bench.graph, &complained_of(case));
    let locked = locks.iter().map(|lock| bench.knowledge.interlocks[*lock].why.clone());
    let mut reasons: Vec<String> = stopped.into_iter().chain(locked).collect();
    for (action, _) in &view.advice.barred {
        if let Verdict::Barred { by: Some(_), why } = bench.advisor.judge(case, action, now)
            && !reasons.contains(&why)
        {
            reasons.push(why);
        }
    }
    reasons
}

/// What the log says stands open, as far as that took work.
fn apart(bench: &Bench<'_>, case: &Case) -> Vec<String> {
    let open = bench.advisor.open(case);
    let took_work = |ix: &Ix<crate::knowledge::Access>| bench.knowledge.access[*ix].open.get() > 0.0;
    let order = bench.graph.order().iter().copied();
    order.filter(|ix| open.has(*ix)).filter(took_work).map(|ix| bench.knowledge.access[ix].title.clone()).collect()
}

/// The next step, and what it clears the way for.
fn first(bench: &Bench<'_>, laid: &Laid<'_>, advice: &Advice) -> Vec<(String, String)> {
    let told = |proposal: &Proposal| {
        let why = match proposal.action {
            Action::Check(_) | Action::Repair(..) => words::reason(laid, proposal, bench.figures),
            _ => String::new(),
        };
        let costs = bench.figures.cost(proposal.cost, proposal.minutes);
        (words::action(laid, &proposal.action), format!("{costs}. {why}").trim().to_owned())
    };
    let before = advice.wanted.as_ref().filter(|wanted| wanted.action != advice.next.action);
    let safety_first = before.map(|_| {
        let cost = bench.figures.cost(advice.next.cost, advice.next.minutes);
        (words::action(laid, &advice.next.action), format!("{cost}. It comes before the next."))
    });
    let wanted = told(advice.wanted.as_ref().unwrap_or(&advice.next));
    safety_first.into_iter().chain([wanted]).collect()
}

fn then(laid: &Laid<'_>, view: &View, figures: &Figures) -> Vec<String> {
    let best = view.advice.wanted.as_ref().unwrap_or(&view.advice.next);
    let others = view.advice.alternatives.iter().take(RUNNERS_UP);
    others.map(|other| words::runner_up(laid, figures, other, best)).collect()
}

impl Sheet {
    /// The sheet as a document. `goes_on` is the file in which whoever goes on finds the case.
    #[must_use]
    pub fn document(&self, figures: &Figures, goes_on: Option<&str>) -> Document {
        let mut document = Document::new();
        let title = self.title.as_ref().map_or_else(String::new, |t| format!(": {t}"));
        document.title(format!("Hand-over sheet{title}"));
        document.push(Block::Pairs(vec![
            ("Craft".into(), self.craft.as_str().into()),
            ("Complaint".into(), self.complaint.join("; ").into()),
        ]));
        if self.by_phone {
            document.paragraph("All of it was asked by phone: nobody from a shop has seen the craft yet.");
        }
        self.not_to_be_done(&mut document);
        let said = if self.by_phone { "What the owner said" } else { "What is known of it" };
        section(&mut document, said, self.said.iter().map(|(ask, says)| format!("{ask} {says}")));
        section(&mut document, "Done", &self.done);
        section(&mut document, "Found", &self.found);
        section(&mut document, "Asked, and could not be told", &self.not_told);
        section(&mut document, "Stands open on the craft", &self.apart);
        self.belief(&mut document, figures);
        if !self.first.is_empty() {
            document.section("Look at first");
        }
        for (n, (what, about)) in self.first.iter().enumerate() {
            document.step(Step {
                mark: Mark::Number(n + 1),
                what: what.into(),
                notes: vec![about.into()],
                ..Step::default()
            });
        }
        if !self.then.is_empty() {
            document.part("Next to it");
            document.bullets(&self.then);
        }
        if let Some(file) = goes_on {
            document.section("Going on");
            document.paragraph(format!(
                "doldrum triage {file} goes on from here. Nothing of this is asked again but the safety question: the \
                 craft was moved."
            ));
        }
        document.in_units(figures.system)
    }

    fn not_to_be_done(&self, document: &mut Document) {
        document.section("Must not be done");
        for open in &self.open {
            let until = open.until.as_ref().map_or_else(String::new, |until| format!(" First {until}."));
            document.part(format!("{}: open", open.title));
            document.paragraph(format!("Why: {}.{until}", open.why.trim_end_matches('.')));
            document.bullets(&open.never);
        }
        if !self.forbidden.is_empty() {
            document.part("Held up");
            document.bullets(&self.forbidden);
        }
        if self.open.is_empty() && self.forbidden.is_empty() {
            document.paragraph("Nothing is open and nothing is held up.");
        }
    }

    fn belief(&self, document: &mut Document, figures: &Figures) {
        document.section("Believed");
        if self.believed.is_empty() {
            document.paragraph("Nothing stands out.");
            return;
        }
        let rows = self.believed.iter().map(|(cause, chance)| vec![cause.into(), figures.chance(*chance).into()]);
        document.push(Block::Table(Table {
            columns: vec![Column::words("Cause"), Column::words("Chance")],
            rows: rows.collect(),
            total: None,
        }));
    }
}

fn section<T: Into<Rich>>(document: &mut Document, title: &str, items: impl IntoIterator<Item = T>) {
    let items: Vec<Rich> = items.into_iter().map(Into::into).collect();
    if !items.is_empty() {
        document.section(title);
        document.bullets(items);
    }
}

/// What is left to do until the next call, and what must not be done.
fn call_back(bench: &Bench<'_>, case: &Case, view: Option<&View>, now: Option<Timestamp>) -> Document {
    let mut document = Document::new();
    document.title("Do this and call back");
    let proposed = view.map(|view| view.advice.wanted.as_ref().unwrap_or(&view.advice.next));
    match (untried(bench.knowledge, case), proposed.map(|p| &p.action)) {
        (Some(repair), _) => try_it(bench, case, repair, &mut document, now),
        (None, Some(Action::Repair(repair, places))) => {
            let laid = bench.laid(case);
            document.part(words::repair_words(&laid, *repair, places));
            repair_steps(bench, *repair, &mut document);
        }
        _ => {
            document.paragraph("Nothing is left to do until then: leave it as it is. The next question waits.");
            if let Some(why) = view.and_then(|view| not_by_phone(bench, case, view, now)) {
                document.paragraph(why);
            }
        }
    }
    let open = open(bench, case, now);
    document.section("Until then");
    let mut not: Vec<String> = open.iter().map(|open| format!("{}: {}", open.title, never(open))).collect();
    not.push("Nothing else is tried, opened or started.".to_owned());
    document.bullets(not);
    document.section("Stop at once");
    document.paragraph(format!(
        "Smoke, a smell of burning or of fuel, running fuel, a headache or dizziness: everyone away, into open air, and \
         call {EMERGENCY}."
    ));
    document
}

fn never(open: &Open) -> String {
    let never = open.never.first().map(|n| words::lower_first(n.trim_end_matches('.')));
    match (never, &open.until) {
        (Some(never), _) => format!("never {}.", never.trim_start_matches("never ").trim_start_matches("do not ")),
        (None, Some(until)) => format!("first {until}."),
        (None, None) => "leave it alone.".to_owned(),
    }
}

fn try_it(bench: &Bench<'_>, case: &Case, repair: Ix<Repair>, document: &mut Document, now: Option<Timestamp>) {
    let title = words::lower_first(&bench.knowledge.repairs[repair].title);
    let complaint = complained_of(case);
    document.paragraph(format!("Done: {title}. It was not tried yet."));
    match bench.advisor.judge(case, &Action::Try(complaint.clone()), now) {
        Verdict::May(before) => {
            let mut steps: Vec<String> = before
                .put_back
                .iter()
                // Standing beside it took no work.
                .filter(|shut| bench.knowledge.access[**shut].open.get() > 0.0)
                .map(|shut| bench.knowledge.access[*shut].put_back_words())
                .collect();
            steps.extend(before.close.iter().map(|(check, ..)| bench.knowledge.checks[*check].title.clone()));
            steps.extend(before.ticks.iter().map(|tick| bench.knowledge.ticks[*tick].says.clone()));
            let by_themselves = tried_without_us(bench, case);
            // Nobody is told to ride.
            steps.extend(complaint.first().filter(|_| !by_themselves).map(|s| {
                let title = &bench.knowledge.symptoms[*s].title;
                format!("Try it, and see whether this is gone: {}", words::lower_first(title))
            }));
            for (n, what) in steps.iter().enumerate() {
                document.step(Step { mark: Mark::Number(n + 1), what: what.into(), ..Step::default() });
            }
            if by_themselves {
                document.paragraph(BY_THEMSELVES);
            }
        }
        Verdict::Barred { why, .. } => document.paragraph(format!("Do not try it yet. {why}")),
    }
}

fn repair_steps(bench: &Bench<'_>, repair: Ix<Repair>, document: &mut Document) {
    let item = &bench.knowledge.repairs[repair];
    for (n, step) in item.steps.iter().enumerate() {
        if let Some(hazard) = step.caution {
            document.push(super::screens::caution(bench.knowledge, hazard, super::screens::Detail::Line));
        }
        document.step(Step { mark: Mark::Number(n + 1), what: (&step.what).into(), ..Step::default() });
    }
    document.paragraph("Then call back before it is tried.");
}
