//! The job on one page.

use super::outline::{Heading, Outline, Part};
use super::with_places;
use crate::plan::{By, Goal, Job, OtherWay, Plan, Source, StageKind, Vapor, Why};
use crate::report::{Block, Column, Document, Figures, Rich, Table};
use crate::units::Minutes;

/// The first page: what, why, in which order, with what, at what cost.
pub fn write(plan: &Plan, outline: &Outline<'_>, figures: &Figures, doc: &mut Document) {
    head(plan, figures, doc);
    order(plan, outline, doc);
    repairs(plan, figures, doc);
    parts_and_tools(plan, figures, doc);
}

fn head(plan: &Plan, figures: &Figures, doc: &mut Document) {
    doc.title(format!("Work order: {}", plan.title.as_deref().unwrap_or(&plan.knowledge.words)));
    let cost = format!("{}, parts with it", figures.cost(plan.cost.total, plan.cost.minutes));
    let complaints: Vec<&str> = plan.complaints.iter().map(|named| named.words.as_str()).collect();
    let mut pairs: Vec<(Rich, Rich)> = vec![("Craft".into(), plan.craft.join(", ").into())];
    if !complaints.is_empty() {
        pairs.push(("Complaint".into(), complaints.join("; ").into()));
    }
    pairs.push(("Work comes to".into(), Rich::strong(&cost)));
    doc.push(Block::Pairs(pairs));
    doc.section("What it goes for");
    doc.bullets(plan.goals.iter().map(|goal| goal_words(goal, figures)));
    if let Some(chance) = plan.explanation.filter(|_| plan.goals.len() > 1) {
        doc.paragraph(format!(
            "That the likeliest explanation is the whole story, and nothing else: {}.",
            figures.chance(chance)
        ));
    }
    for goal in &plan.not_cured {
        doc.paragraph(format!("{}: no repair here removes it. Hand it over.", goal.cause.words));
    }
}

fn goal_words(goal: &Goal, figures: &Figures) -> Rich {
    let why = match goal.why {
        Why::Explains => "",
        Why::Named => " Asked for.",
        Why::Likely => " Likelier than not by itself.",
        Why::WhileOpen => " Within reach of what is open anyway.",
    };
    Rich::plain(&goal.cause.words).and(": ").and_strong(&figures.chance(goal.chance)).and(".").and(why)
}

fn repairs(plan: &Plan, figures: &Figures, doc: &mut Document) {
    doc.section("Repairs");
    let row = |job: &Job| {
        let mut name = with_places(&job.repair.words, &job.places);
        if job.by == By::Shop {
            name.push_str(" (for the shop)");
        }
        vec![name.into(), figures.minutes(job.minutes).into(), figures.price(job.parts).into()]
    };
    let mut rows: Vec<Vec<Rich>> = plan.repairs.iter().map(row).collect();
    rows.push(vec!["Opening and putting back".into(), figures.minutes(plan.cost.access).into(), Rich::default()]);
    if plan.cost.proof.get() > 0.0 {
        let money = plan.cost.parts - plan.repairs.iter().map(|job| job.parts).sum();
        rows.push(vec!["Proving it".into(), figures.minutes(plan.cost.proof).into(), figures.price(money).into()]);
    }
    doc.push(Block::Table(Table {
        columns: vec![Column::words("Work"), Column::figures("Time"), Column::figures("Parts")],
        rows,
        total: Some(vec![
            format!("All, labor at {} with it: {}", figures.money(plan.cost.labor), figures.money(plan.cost.total))
                .into(),
            figures.minutes(plan.cost.minutes).into(),
            figures.price(plan.cost.parts).into(),
        ]),
    }));
    doc.bullets(reasons(plan).into_iter().chain(plan.other_ways.iter().map(|way| other_way(way, figures))));
}

/// What could be done in place of a repair: parts may be out of stock, and some would rather pay for hours than for parts.
fn other_way(way: &OtherWay, figures: &Figures) -> Rich {
    let instead: Vec<&str> = way.instead.iter().map(|repair| repair.words.as_str()).collect();
    let minutes = way.minutes.get();
    let time = match figures.minutes(Minutes::of(minutes.abs())) {
        _ if minutes.abs() < 0.5 => "as long".to_owned(),
        time if minutes < 0.0 => format!("{time} less"),
        time => format!("{time} more"),
    };
    Rich::strong(&format!("In place of “{}”", way.without.words))
        .and(": ")
        .and(&instead.join("; "))
        .and(&format!(". {} more on average, {time}.", figures.money(way.cost)))
}

/// Why repairs that remove nothing looked for are in the plan: those with the same reason together.
fn reasons(plan: &Plan) -> Vec<Rich> {
    let mut together: Vec<(&str, Vec<&str>)> = Vec::new();
    for job in plan.repairs.iter().filter(|job| job.removes.is_empty()) {
        for because in &job.because {
            match together.iter_mut().find(|(known, _)| known == because) {
                Some((_, jobs)) => jobs.push(&job.repair.words),
                None => together.push((because, vec![&job.repair.words])),
            }
        }
    }
    together.into_iter().map(|(because, jobs)| Rich::strong(&jobs.join("; ")).and(": ").and(because)).collect()
}

/// The stretches of the work with their steps, and what each is about.
fn order(plan: &Plan, outline: &Outline<'_>, doc: &mut Document) {
    doc.section("The job in order");
    let line = |part: &Part<'_>| {
        let steps = if part.from == part.to {
            format!("step {}", part.from)
        } else {
            format!("steps {} to {}", part.from, part.to)
        };
        let about = about(plan, part, outline);
        let says = if about.is_empty() { format!("{steps}.") } else { format!("{steps}: {}.", about.join("; ")) };
        (part.title.as_str().into(), says.into())
    };
    doc.push(Block::Pairs(outline.parts.iter().map(line).collect()));
}

fn about(plan: &Plan, part: &Part<'_>, outline: &Outline<'_>) -> Vec<String> {
    match part.heading {
        Heading::MakeSafe | Heading::HandOver => Vec::new(),
        // Where there is one such stretch, the list of repairs below says it.
        Heading::Repair if outline.parts.iter().filter(|other| other.heading == Heading::Repair).count() == 1 => {
            Vec::new()
        }
        Heading::PutBack if part.steps().any(|step| step.vapor == Vapor::Closes) => {
            vec!["in reverse, with the leak look and the sniff".to_owned()]
        }
        Heading::PutBack => vec!["in reverse".to_owned()],
        Heading::OpenUp => {
            let opens = |id: &str| part.steps().any(|step| matches!(&step.source, Source::Opens(of) if of == id));
            let opened = plan.opens.iter().filter(|named| opens(&named.id));
            opened.map(|named| named.words.clone()).collect()
        }
        Heading::Repair | Heading::Prove => {
            let run = part.stage == StageKind::Run;
            let here = |job: &&Job| {
                let of = Source::Repair(job.repair.id.clone());
                job.service == run && part.steps().any(|step| step.source == of)
            };
            plan.repairs.iter().filter(here).map(|job| with_places(&job.repair.words, &job.places)).collect()
        }
    }
}

fn parts_and_tools(plan: &Plan, figures: &Figures, doc: &mut Document) {
    if !plan.parts.is_empty() {
        doc.section("Parts");
        let row = |line: &crate::plan::PartLine| -> Vec<Rich> {
            let or = line.or.as_ref().map(|or| format!(", or {or}")).unwrap_or_default();
            vec![
                format!("{}{or}", line.item).into(),
                figures.count(line.count).into(),
                figures.price(line.each).into(),
                figures.price(line.total()).into(),
            ]
        };
        let total = plan.parts.iter().map(crate::plan::PartLine::total).sum();
        doc.push(Block::Table(Table {
            columns: vec![
                Column::words("Part"),
                Column::figures("Qty"),
                Column::figures("Each"),
                Column::figures("Price"),
            ],
            rows: plan.parts.iter().map(row).collect(),
            total: Some(vec!["All".into(), Rich::default(), Rich::default(), figures.price(total).into()]),
        }));
    }
    if !plan.tools.is_empty() {
        doc.section("Tools");
        doc.paragraph(format!("{}.", plan.tools.join(", ")));
    }
}
