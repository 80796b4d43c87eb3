//! The debrief of a drill: what was wrong, how it ended, and every choice beside the best one at that point.

use super::words::{action as action_words, causes as cause_words, entry, leaders, lower_first, of_ten, reason};
use super::{Block, Caution, Column, Document, Figures, Rich, Table};
use crate::case::Event;
use crate::decision::Action;
use crate::drill::breach::Breach;
use crate::drill::progress::{Move, Progress};
use crate::drill::score::{Lesson, Score, grade, score};
use crate::drill::{Drill, End, Outcome, Step};
use crate::knowledge::{Cause, Ix};
use serde_json::{Value, json};

/// How many of the likeliest causes are told for a step.
const KNOWN: usize = 3;
/// Below this, in money, nothing is said to be lost.
const LEAST_SAID: f64 = 0.5;

/// How a drill was set up, for who wants it again.
#[derive(Clone, Debug, Default)]
pub struct Setup {
    /// The seed.
    pub seed: u64,
    /// The command that plays it again.
    pub replay: String,
}

/// What a grade is.
const GRADES: &str = "The grade is 100 where a choice was as good as the best, 0 where it lost half of what one in the dark \
    does there, told nothing new, or was forbidden. The score is the mean; what is forbidden leaves nothing of it.";

/// What is lost with a step that is forbidden, for no sum of money stands for it.
const THE_BOAT: &str = "the boat";

/// The debrief; where a record is kept, with what it says now.
#[must_use]
pub fn debrief(drill: &Drill<'_, '_>, setup: &Setup, record: Option<(&Progress, Move)>, figures: &Figures) -> Document {
    let laid = drill.job.laid;
    let score = score(drill);
    let mut document = Document::new();
    let complaint = drill.job.case.symptoms.first().map(|symptom| laid.knowledge.symptoms[*symptom].title.as_str());
    document.title(format!("Debrief: {}", lower_first(complaint.unwrap_or_default())));
    document.paragraph(Rich::strong(&format!("{} ", verdict(drill, &score))).and(&ended(drill)));
    document.paragraph(format!("What was behind it: {}.", lower_first(&cause_words(laid, &drill.hidden()))));
    if let Some(End::Breached(breach)) = &drill.end {
        tell_breach(&mut document, drill, breach);
    }
    if drill.steps.is_empty() {
        document.paragraph("Nothing was done.");
    } else {
        document.section("Step by step");
        document.push(Block::Table(table(drill, figures)));
        document.aside(GRADES);
        document.section("Why");
        for (n, step) in drill.steps.iter().enumerate() {
            walk(&mut document, drill, n, step, figures);
        }
        document.section("In numbers");
        document.push(Block::Pairs(numbers(drill, &score, figures)));
    }
    if let Some((progress, way)) = record {
        document.section("Your record");
        document.paragraph(told(progress, way));
    }
    document.aside(format!("The same drill again: {}", setup.replay));
    document.in_units(figures.system)
}

/// "82 of 100."
fn verdict(drill: &Drill<'_, '_>, score: &Score) -> String {
    match drill.end {
        Some(End::Left) | None => "Not finished.".to_owned(),
        _ => format!("{} of 100.", (score.score * 100.0).round()),
    }
}

fn ended(drill: &Drill<'_, '_>) -> String {
    match &drill.end {
        Some(End::Cured) => "The complaint is gone.".to_owned(),
        Some(End::HandedOver) => "It was handed over.".to_owned(),
        Some(End::Breached(_)) => "A step that is forbidden was taken: that ends it.".to_owned(),
        Some(End::WornOut) => format!("After {} choices it was over.", drill.steps.len()),
        Some(End::Left) | None => "You left before the end; this is not scored.".to_owned(),
    }
}

/// The caution said, and what would have happened.
fn tell_breach(document: &mut Document, drill: &Drill<'_, '_>, breach: &Breach) {
    let knowledge = drill.job.laid.knowledge;
    let step = drill.steps.last().map(|step| lower_first(&action_words(drill.job.laid, &step.action)));
    document.section("What would have happened");
    document.paragraph(format!("You went on with this: {}. {}", step.unwrap_or_default(), breach.why));
    for hazard in &breach.hazards {
        let hazard = &knowledge.hazards[*hazard];
        document.push(Block::Caution(Caution {
            signal: hazard.signal,
            title: (&hazard.title).into(),
            harm: Some((&hazard.harm).into()),
            controls: hazard.controls.iter().map(Rich::from).collect(),
            never: hazard.never.iter().map(Rich::from).collect(),
            tick: None,
        }));
    }
}

fn table(drill: &Drill<'_, '_>, figures: &Figures) -> Table {
    let laid = drill.job.laid;
    let row = |(n, step): (usize, &Step)| -> Vec<Rich> {
        let best = &step.here.advice.next.action;
        let same = *best == step.action || step.lesson == Lesson::Best;
        let saved = step.regret();
        let forbidden = if step.lesson == Lesson::Forbidden { " (FORBIDDEN)" } else { "" };
        let chosen = format!("{}. {}{forbidden}", n + 1, action_words(laid, &step.action));
        let best = match step.lesson {
            Lesson::NotAired => "the same, once it is aired".to_owned(),
            _ if same => "the same".to_owned(),
            _ => action_words(laid, best),
        };
        let grade = (grade(step) * 100.0).round().to_string();
        let saved = match step.lesson {
            Lesson::Forbidden => THE_BOAT.to_owned(),
            _ if saved.get() < LEAST_SAID => "-".to_owned(),
            _ => figures.money(saved),
        };
        // It was never carried out, so it cost nothing that could be told.
        let cost = if step.lesson == Lesson::Forbidden { "-".to_owned() } else { figures.money(step.cost) };
        [chosen, cost, best, saved, grade].iter().map(|cell| cell.as_str().into()).collect()
    };
    let score = score(drill);
    let mean = (score.score * 100.0).round().to_string();
    let total = ["Together".to_owned(), figures.money(score.cost), String::new(), lost(&score, figures), mean];
    Table {
        columns: vec![
            Column::words("You chose"),
            Column::figures("cost"),
            Column::words("Best was"),
            Column::figures("would save"),
            Column::figures("grade"),
        ],
        rows: drill.steps.iter().enumerate().map(row).collect(),
        total: Some(total.iter().map(|cell| cell.as_str().into()).collect()),
    }
}

/// What all choices together lost; a forbidden one ends it, whatever the others lost.
fn lost(score: &Score, figures: &Figures) -> String {
    match (score.breaches, score.regret.get() < LEAST_SAID) {
        (0, _) => figures.money(score.regret),
        (_, true) => THE_BOAT.to_owned(),
        (_, false) => format!("{} and {THE_BOAT}", figures.money(score.regret)),
    }
}

/// Why a step is forbidden, and what could have hurt.
fn forbidden(drill: &Drill<'_, '_>) -> String {
    let Some(End::Breached(breach)) = &drill.end else { return "Forbidden.".to_owned() };
    let hazards = breach.hazards.iter().map(|hazard| &drill.job.laid.knowledge.hazards[*hazard]);
    let hazards = hazards.map(|hazard| format!(" {}: {}", hazard.title, lower_first(&hazard.harm)));
    format!("Forbidden, so it ended here. {}{}", breach.why, hazards.collect::<String>())
}

/// One step: what was known, what came of it, what was best and why, and the difference.
fn walk(document: &mut Document, drill: &Drill<'_, '_>, n: usize, step: &Step, figures: &Figures) {
    let laid = drill.job.laid;
    document.part(format!("{}. {}", n + 1, action_words(laid, &step.action)));
    document.paragraph(format!("Known before: {}.{}", known(drill, step), stated(drill, step)));
    document.paragraph(difference(drill, step, figures));
    let came = came(drill, step, figures);
    if !came.is_empty() {
        document.paragraph(came);
    }
}

/// "dead spark plug 4 of 10, clogged fuel screen 3 of 10".
fn known(drill: &Drill<'_, '_>, step: &Step) -> String {
    let leaders = leaders(drill.job.laid, &step.here.causes, KNOWN);
    let said: Vec<String> = leaders.iter().map(|(words, chance)| format!("{words} {}", of_ten(*chance))).collect();
    said.join(", ")
}

fn stated(drill: &Drill<'_, '_>, step: &Step) -> String {
    let Some(stated) = step.stated else { return String::new() };
    let title = lower_first(&drill.job.laid.knowledge.causes[stated.cause].title);
    format!(" You said {title} {}; the book had {}.", of_ten(stated.chance), of_ten(stated.book))
}

/// What came of it, in a sentence.
fn came(drill: &Drill<'_, '_>, step: &Step, figures: &Figures) -> String {
    let answered = step.entries.iter().filter(|e| matches!(e.event, Event::Answer { .. }));
    let answers: Vec<String> = answered.map(|e| entry(drill.job.laid, e, figures)).collect();
    match step.outcome {
        Outcome::Answered => format!("It showed: {}.", answers.join("; ")),
        Outcome::Gone => "The complaint was gone.".to_owned(),
        Outcome::Still => "The complaint was still there.".to_owned(),
        Outcome::CameBack => "The complaint seemed gone and came back.".to_owned(),
        Outcome::Untried => "It could not be tried yet.".to_owned(),
        Outcome::HandedOver | Outcome::Breached => String::new(),
    }
}

/// What was best, why, and what the choice cost against it.
#[must_use]
fn difference(drill: &Drill<'_, '_>, step: &Step, figures: &Figures) -> String {
    let laid = drill.job.laid;
    let next = &step.here.advice.next;
    let best = lower_first(&action_words(laid, &next.action));
    let lost = figures.money(step.regret());
    let why = || why_best(drill, step, figures);
    let instead = || format!("Better: {best}. {}", why());
    match &step.lesson {
        Lesson::Best if next.action == step.action => format!("The best there was. {}", why()),
        Lesson::Best => format!("As good as the best, which was: {best}."),
        Lesson::Repeated => {
            format!(
                "It had been answered and nothing was repaired since, so it told nothing new: {lost} lost. {}",
                instead()
            )
        }
        Lesson::TellsNothing => {
            format!("Whatever it showed, the same repairs would have come next: {lost} lost. {}", instead())
        }
        Lesson::NotAired => format!(
            "Without the airing it asks for its answer cannot count, and all that it stands before stays forbidden: {lost} \
             lost."
        ),
        Lesson::LessTold => format!("It tells less for what it costs: {lost} lost on average. {}", instead()),
        Lesson::RepairFirst(cures) => format!(
            "It was time to repair. Looking further cost more than it could save, {lost} on average; {best} cures it {} of \
             the time. {}",
            figures.percent(*cures),
            why()
        ),
        Lesson::TooSoon(finds) => format!(
            "Parts too soon: it would find something to repair {} of the time, and a check was worth its cost. {lost} lost \
             on average. {}",
            figures.percent(*finds),
            instead()
        ),
        Lesson::LookFirst(cures) => format!(
            "It cures {} of the time, and looking first was worth more: {lost} lost on average. {}",
            figures.percent(*cures),
            instead()
        ),
        Lesson::OtherRepair(cures, other) => format!(
            "It cures {} of the time. {lost} lost on average against {best}, which cures {}. {}",
            figures.percent(*cures),
            figures.percent(*other),
            why()
        ),
        Lesson::GaveUp => format!(
            "Going on was expected to cost {} to the end, handing over costs {}: {lost} lost. {}",
            figures.money(step.best),
            figures.money(step.total),
            instead()
        ),
        Lesson::WentOn => format!("Handing over was cheaper than going on: {lost} lost on average. {}", why()),
        Lesson::Forbidden => {
            let then = if next.action == step.action {
                "It was the right thing to want, at the wrong time.".to_owned()
            } else {
                instead()
            };
            format!("{} {then}", forbidden(drill))
        }
    }
}

fn why_best(drill: &Drill<'_, '_>, step: &Step, figures: &Figures) -> String {
    let laid = drill.job.laid;
    let advice = &step.here.advice;
    match &advice.wanted {
        Some(wanted) => {
            let wanted = lower_first(&action_words(laid, &wanted.action));
            format!("It makes the way free for what comes next: {wanted}.")
        }
        None => reason(laid, &advice.next, figures),
    }
}

fn numbers(drill: &Drill<'_, '_>, score: &Score, figures: &Figures) -> Vec<(Rich, Rich)> {
    let mut pairs = vec![
        ("Best play, expected".to_owned(), figures.money(score.best)),
        ("Lost by your choices".to_owned(), lost(score, figures)),
        ("Paid, with luck".to_owned(), figures.cost(score.cost, score.minutes)),
        ("Told nothing new".to_owned(), counted(score.redundant, "check", "checks")),
        ("Parts too soon".to_owned(), counted(score.premature, "repair", "repairs")),
        ("Safety".to_owned(), counted(score.breaches, "violation", "violations")),
    ];
    if score.hints > 0 {
        pairs.push(("Coach".to_owned(), counted(score.hints, "hint", "hints")));
    }
    pairs.push((
        "Beliefs".to_owned(),
        score.beliefs.map_or_else(
            || "none stated".to_owned(),
            |b| {
                format!(
                    "{} stated; Brier score {:.2}, the book's {:.2} (0 is best, 0.25 is \"5 in 10\" of everything)",
                    b.stated, b.brier, b.book
                )
            },
        ),
    ));
    debug_assert_eq!(score.steps, drill.steps.len(), "every choice is counted");
    pairs.into_iter().map(|(name, value)| (name.as_str().into(), value.as_str().into())).collect()
}

fn counted(n: usize, one: &str, many: &str) -> String {
    if n == 0 { "none".to_owned() } else { format!("{n} {}", if n == 1 { one } else { many }) }
}

/// What a record says now.
fn told(progress: &Progress, way: Move) -> String {
    let level = progress.level.id();
    let way = match way {
        Move::Stays => format!("The next drill is of the same level: {level}."),
        Move::On => format!("Three good ones in a row. The next drill is harder: {level}."),
        Move::Back => format!("The next drill is easier: {level}."),
    };
    format!("{} so far. {way}", counted(progress.drills.len(), "drill", "drills"))
}

/// The debrief for programs.
#[must_use]
pub fn debrief_json(
    drill: &Drill<'_, '_>,
    setup: &Setup,
    record: Option<(&Progress, Move)>,
    figures: &Figures,
) -> String {
    let laid = drill.job.laid;
    let knowledge = laid.knowledge;
    let score = score(drill);
    let end = match &drill.end {
        Some(End::Cured) => "cured",
        Some(End::HandedOver) => "handed-over",
        Some(End::Breached(_)) => "violation",
        Some(End::WornOut) => "worn-out",
        Some(End::Left) | None => "left",
    };
    let violation = match &drill.end {
        Some(End::Breached(breach)) => {
            let hazards: Vec<&str> = breach.hazards.iter().map(|hazard| knowledge.hazards.id(*hazard)).collect();
            json!({
                "interlock": breach.interlock.map(|ix| knowledge.interlocks.id(ix)), "hazards": hazards,
                "why": breach.why,
            })
        }
        _ => Value::Null,
    };
    let cause = |instance: &crate::knowledge::layout::Instance<Cause>| {
        laid.label(knowledge.causes.id(instance.item), knowledge.causes[instance.item].scope, instance.at)
    };
    let hidden: Vec<String> = drill.hidden().iter().map(cause).collect();
    let symptoms: Vec<&str> = drill.job.case.symptoms.iter().map(|ix| knowledge.symptoms.id(*ix)).collect();
    let beliefs = score.beliefs.map(|b| json!({"stated": b.stated, "brier": b.brier, "book": b.book, "off": b.off}));
    let steps: Vec<Value> = drill.steps.iter().map(|step| step_json(drill, step, &cause, figures)).collect();
    let record = record.map(|(progress, _)| json!({"level": progress.level.id(), "drills": progress.drills.len()}));
    let value = json!({
        "level": drill.level.id(), "seed": setup.seed, "replay": setup.replay,
        "layout": knowledge.layouts.id(drill.job.case.craft.layout), "symptoms": symptoms, "hidden": hidden,
        "end": end, "violation": violation, "finished": end != "left", "score": score.score,
        "best": score.best.get(), "regret": score.regret.get(), "cost": score.cost.get(), "minutes": score.minutes.get(),
        "redundant": score.redundant, "premature": score.premature, "violations": score.breaches, "hints": score.hints,
        "beliefs": beliefs, "steps": steps, "record": record,
    });
    serde_json::to_string_pretty(&value).unwrap_or_default() + "\n"
}

fn step_json(
    drill: &Drill<'_, '_>,
    step: &Step,
    cause: &dyn Fn(&crate::knowledge::layout::Instance<Cause>) -> String,
    figures: &Figures,
) -> Value {
    let laid = drill.job.laid;
    let knowledge = laid.knowledge;
    let named = |ix: Ix<Cause>| knowledge.causes.id(ix);
    let known: Vec<Value> = step
        .here
        .causes
        .iter()
        .take(KNOWN)
        .map(|belief| json!({"id": cause(&belief.cause), "probability": belief.chance}))
        .collect();
    let stated = step
        .stated
        .map(|s| json!({"cause": named(s.cause), "probability": s.chance, "book": s.book, "there": s.there}));
    json!({
        "action": named_action(drill, &step.action), "cost": step.cost.get(), "minutes": step.minutes.get(),
        "expected_cost": step.total.get(), "best": named_action(drill, &step.here.advice.next.action),
        "best_expected_cost": step.best.get(), "regret": step.regret().get(), "grade": grade(step), "lesson": lesson_id(&step.lesson),
        "sentence": difference(drill, step, figures), "known": known, "stated": stated,
        "outcome": outcome_id(step.outcome), "hints": step.hints,
    })
}

/// `ck-compression@front`, `rm-plugs`, `hand-over`.
fn named_action(drill: &Drill<'_, '_>, action: &Action) -> String {
    let laid = drill.job.laid;
    let knowledge = laid.knowledge;
    match action {
        Action::Check(check) => {
            laid.label(knowledge.checks.id(check.item), knowledge.checks[check.item].scope, check.at)
        }
        Action::Repair(ix, places) => match places.as_slice() {
            [at] => laid.label(knowledge.repairs.id(*ix), knowledge.repairs[*ix].scope, *at),
            _ => knowledge.repairs.id(*ix).to_owned(),
        },
        Action::Try(_) => "try".to_owned(),
        Action::HandOver => "hand-over".to_owned(),
    }
}

fn lesson_id(lesson: &Lesson) -> &'static str {
    match lesson {
        Lesson::Best => "best",
        Lesson::Repeated => "repeated",
        Lesson::TellsNothing => "tells-nothing",
        Lesson::NotAired => "not-aired",
        Lesson::LessTold => "less-told",
        Lesson::RepairFirst(_) => "repair-first",
        Lesson::TooSoon(_) => "too-soon",
        Lesson::LookFirst(_) => "look-first",
        Lesson::OtherRepair(..) => "other-repair",
        Lesson::GaveUp => "gave-up",
        Lesson::WentOn => "went-on",
        Lesson::Forbidden => "forbidden",
    }
}

fn outcome_id(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Answered => "answered",
        Outcome::Gone => "gone",
        Outcome::Still => "still-there",
        Outcome::CameBack => "came-back",
        Outcome::Untried => "untried",
        Outcome::HandedOver => "handed-over",
        Outcome::Breached => "violation",
    }
}
