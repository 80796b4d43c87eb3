//! The plan on paper: what we believe, cautions, boxes to tick in working order, parts and tools, what to tell.

use super::background::{self, Known};
use super::{Blank, Block, Caution, Column, Document, Figures, Mark, Rich, Step, Table, assessment};
use crate::belief::{Belief, Weight, weights};
use crate::case::Case;
use crate::inference::{Error, Limits};
use crate::knowledge::Effect;
use crate::knowledge::Phase;
use crate::knowledge::layout::{Instance, Laid};
use crate::plan::{By, Goal, Job, Plan, SettingLine, Source, StageKind, Test, Why};
use crate::plan::{Caution as PlanCaution, Section as PlanSection, Stage, Step as PlanStep};
use crate::units::{Measure, Unit};

/// What must be in the record for whoever opens this engine next.
const RECORD: &str = "Leave in the record: what was set, what was measured before and after, what was replaced and by \
    which number, what was left old on purpose, who tested it, fuel and hours.";

/// The work order as a document.
#[must_use]
pub fn work_order(plan: &Plan, figures: &Figures) -> Document {
    let mut doc = Document::new();
    head(plan, figures, &mut doc);
    repairs(plan, figures, &mut doc);
    if !plan.cautions.is_empty() {
        doc.section("Cautions");
        for caution in &plan.cautions {
            doc.push(Block::Caution(in_full(caution)));
        }
    }
    parts_and_tools(plan, figures, &mut doc);
    let mut number = 0;
    for stage in &plan.stages {
        write_stage(plan, stage, figures, &mut number, &mut doc);
    }
    offers(plan, figures, &mut doc);
    tail(plan, &mut doc);
    doc
}

/// What a work order goes by: the belief, and what came of each answer.
pub struct Behind<'a> {
    laid: &'a Laid<'a>,
    case: &'a Case,
    belief: &'a Belief,
    effects: Vec<(Instance<Effect>, f64)>,
    weights: Vec<Weight>,
}

impl<'a> Behind<'a> {
    /// Gathers it. Cost: a pass of inference for each answer.
    ///
    /// # Errors
    /// Where the network is too wide for the limits.
    pub fn new(laid: &'a Laid<'a>, case: &'a Case, belief: &'a Belief, limits: &Limits) -> Result<Self, Error> {
        let (effects, weights) = (belief.effects(limits)?, weights(laid, case, limits)?);
        Ok(Self { laid, case, belief, effects, weights })
    }
}

/// The work order as a page: after the work, on a sheet of its own, what it goes by.
#[must_use]
pub fn work_order_page(plan: &Plan, behind: &Behind<'_>, figures: &Figures) -> Document {
    let mut doc = work_order(plan, figures);
    let defers = doc.blocks.pop();
    doc.push(Block::Rule);
    doc.section("What it goes by: the causes");
    doc.push(assessment::ranking(behind.laid, &behind.belief.causes, figures));
    doc.aside("Several may be there at once, so these do not add up to 100%.");
    let Behind { laid, case, belief, effects, weights } = behind;
    background::tell(&Known { laid, case, belief, effects, weights }, figures, &mut doc);
    doc.blocks.extend(defers);
    doc
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
    let reasons = plan.repairs.iter().filter(|job| job.removes.is_empty());
    doc.bullets(
        reasons
            .filter(|job| !job.because.is_empty())
            .map(|job| Rich::strong(&job.repair.words).and(": ").and(&job.because.join(" "))),
    );
}

fn in_full(caution: &PlanCaution) -> Caution {
    Caution {
        signal: caution.signal,
        title: (&caution.hazard.words).into(),
        harm: Some((&caution.harm).into()),
        controls: caution.controls.iter().map(Into::into).collect(),
        never: caution.never.iter().map(Into::into).collect(),
        tick: None,
    }
}

/// The caution again, in one line and with its box, directly before the step.
fn reminder(caution: &PlanCaution) -> Caution {
    Caution {
        signal: caution.signal,
        title: (&caution.hazard.words).into(),
        harm: None,
        controls: Vec::new(),
        never: Vec::new(),
        tick: caution.tick.as_ref().map(|tick| (&tick.words).into()),
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
                Column::figures("How many"),
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

fn write_stage(plan: &Plan, stage: &Stage, figures: &Figures, number: &mut usize, doc: &mut Document) {
    let busy = plan.stages.iter().filter(|s| matches!(s.kind, StageKind::Clear | StageKind::Work | StageKind::Live));
    let alone = busy.count() < 2;
    let title = match stage.kind {
        StageKind::Safe => "Make safe",
        StageKind::Clear => "Clear the cylinders",
        StageKind::Work | StageKind::Live if alone => "Do the work",
        StageKind::Work => "Work with everything quiet",
        StageKind::Live => "Work on live circuits, fuel shut and no smell",
        StageKind::Run => "Prove it",
        StageKind::HandOver => "Hand over",
    };
    doc.section(title);
    if stage.kind == StageKind::Run {
        for job in &plan.repairs {
            if let Some(why) = &job.held {
                doc.paragraph(Rich::strong("Not yet: ").and(&job.repair.words).and(". ").and(why));
            }
        }
    }
    for section in &stage.sections {
        if stage.sections.len() > 1 {
            doc.part(phase_words(section.phase));
        }
        write_steps(plan, section, figures, number, doc);
        if section.phase == Phase::Judge && stage.kind == StageKind::Work {
            verdicts(plan, doc);
        }
    }
    if stage.kind == StageKind::Work && stage.sections.iter().all(|section| section.phase != Phase::Judge) {
        verdicts(plan, doc);
    }
}

fn phase_words(phase: Phase) -> &'static str {
    match phase {
        Phase::MakeSafe => "Make safe",
        Phase::Open => "Open",
        Phase::Record => "Record as found",
        Phase::Strip => "Strip",
        Phase::Judge => "Judge each part",
        Phase::Clean => "Clean",
        Phase::Rebuild => "Rebuild",
        Phase::Bench => "Bench tests",
        Phase::Refit => "Refit, in reverse",
        Phase::Settings => "Settings",
        Phase::Prove => "Prove",
        Phase::HandOver => "Hand over",
    }
}

fn write_steps(plan: &Plan, section: &PlanSection, figures: &Figures, number: &mut usize, doc: &mut Document) {
    for step in &section.steps {
        let cautions = step.cautions.iter().filter_map(|id| plan.cautions.iter().find(|c| c.hazard.id == *id));
        let mut cautions: Vec<&PlanCaution> = cautions.collect();
        cautions.sort_by_key(|caution| caution.signal);
        for caution in cautions {
            doc.push(Block::Caution(reminder(caution)));
        }
        *number += 1;
        doc.step(written(step, *number, figures));
    }
}

fn written(step: &PlanStep, number: usize, figures: &Figures) -> Step {
    let mut what = Rich::plain(&with_places(&step.what, &step.places));
    if step.by == By::Shop {
        what = what.and_strong(" For the shop.");
    }
    let mut notes: Vec<Rich> = Vec::new();
    if let Some(air) = step.air {
        notes.push(format!("After {} of airing.", figures.minutes(air)).into());
    }
    let mut blanks: Vec<Blank> = settings(&step.record).into_iter().map(|l| recorded(&l, figures)).collect();
    blanks.extend(settings(&step.set).into_iter().map(|lines| to_set(&lines, figures)));
    let by_check = step.tests.chunk_by(|a, b| a.check.words == b.check.words);
    for tests in by_check {
        if matches!(step.source, Source::Check(_)) && tests[0].unit.is_none() {
            notes.push(Rich::plain("It must be: ").and_strong(&tests[0].pass.join(" or ")).and("."));
        } else {
            blanks.push(reading(tests, figures));
        }
    }
    Step { mark: Mark::NumberedBox(number), what, notes, blanks }
}

/// The lines of one setting at all its places together.
fn settings(lines: &[SettingLine]) -> Vec<Vec<&SettingLine>> {
    let mut together: Vec<Vec<&SettingLine>> = Vec::new();
    for line in lines {
        match together.iter_mut().find(|lines| lines[0].setting.words == line.setting.words) {
            Some(lines) => lines.push(line),
            None => together.push(vec![line]),
        }
    }
    together
}

/// "front ______ turns", "rear 1 1/8 turns": a value or blanks for each place. A value written down with its unit keeps
/// it.
fn at_each_place(values: &[(Option<&str>, Option<&str>)], blanks: usize, unit: Option<&str>) -> Vec<Rich> {
    let at = |&(place, value): &(Option<&str>, Option<&str>)| {
        let start = place.map_or_else(Rich::default, |place| Rich::plain(place).and(" "));
        let bare = value.is_none_or(|value| value.trim().parse::<f64>().is_ok());
        let line = match value {
            Some(value) => start.and(value),
            None => (1..blanks).fold(start.and_blank(), |line, _| line.and(" ").and_blank()),
        };
        unit.filter(|_| bare).into_iter().fold(line, |line, unit| line.and(" ").and(unit))
    };
    values.iter().map(at).collect()
}

fn with_places(text: &str, places: &[String]) -> String {
    if places.is_empty() { text.to_owned() } else { format!("{} ({})", text.trim_end_matches('.'), places.join(", ")) }
}

/// A setting to write down, or what was written down already.
fn recorded(lines: &[&SettingLine], figures: &Figures) -> Blank {
    Blank { label: (&lines[0].setting.words).into(), ..filled(lines, figures) }
}

/// A setting to set: to the record where there is one, else to what is usual.
fn to_set(lines: &[&SettingLine], figures: &Figures) -> Blank {
    let known = lines.iter().all(|line| line.value.is_some());
    let note = match &lines[0].generic {
        _ if known => None,
        Some(generic) => Some(format!("as recorded; without a record: {generic}").into()),
        None => Some("as recorded".into()),
    };
    Blank { label: Rich::plain("Set: ").and(&lines[0].setting.words), note, ..filled(lines, figures) }
}

fn filled(lines: &[&SettingLine], figures: &Figures) -> Blank {
    let values: Vec<_> = lines.iter().map(|line| (line.place.as_deref(), line.value.as_deref())).collect();
    let unit = unit_words(&lines[0].unit, figures);
    Blank { values: at_each_place(&values, 1, unit.as_deref()), ..Blank::default() }
}

fn unit_words(unit: &str, figures: &Figures) -> Option<String> {
    match Unit::parse(unit) {
        Ok(unit) => Some(figures.unit(unit)),
        Err(_) => (unit != "text").then(|| unit.to_owned()),
    }
}

/// Blanks for a reading at each place, with the target beside them.
fn reading(tests: &[Test], figures: &Figures) -> Blank {
    let test = &tests[0];
    let places: Vec<_> = tests.iter().map(|test| (test.place.as_deref(), None)).collect();
    let label = Rich::plain(&test.check.words);
    let Some(unit) = test.unit else {
        let note = (!test.pass.is_empty()).then(|| format!("must be: {}", test.pass.join(" or ")).into());
        return Blank { label, values: at_each_place(&places, 1, None), note, ..Blank::default() };
    };
    let notes = target(test, unit, figures);
    let blanks = test.repeats.max(1) as usize;
    Blank {
        label,
        values: at_each_place(&places, blanks, Some(&figures.unit(unit))),
        unit: None,
        note: (!notes.is_empty()).then(|| notes.join(", ").into()),
    }
}

/// What a reading must come to.
fn target(test: &Test, unit: Unit, figures: &Figures) -> Vec<String> {
    let of = |value: f64| figures.measure(Measure { value, unit });
    let span = |value: f64| figures.span(Measure { value, unit });
    let mut notes: Vec<String> = Vec::new();
    match (test.target, &test.sheet, test.range) {
        (Some(target), ..) => notes.push(format!("target {}", figures.measure(target))),
        (None, Some(sheet), _) => notes.push(format!("target: {} of the build sheet", sheet.replace('-', " "))),
        (None, None, Some((least, most))) => notes.push(format!("{} to {}", of(least), of(most))),
        (None, None, None) => {}
    }
    if let Some(within) = test.within {
        notes.push(format!("within {}", span(within)));
    }
    if test.repeats > 1 {
        let spread = test.spread.map(|spread| format!(", no more than {} apart", span(spread))).unwrap_or_default();
        notes.push(format!("{} readings{spread}", test.repeats));
    }
    notes
}

fn verdicts(plan: &Plan, doc: &mut Document) {
    if plan.verdicts.is_empty() {
        return;
    }
    let row = |verdict: &crate::plan::Verdict| -> Vec<Rich> {
        let part = Rich::default().and_box().and(" ").and(&verdict.part);
        let part = match &verdict.look {
            Some(look) => part.and(": ").and(look),
            None => part,
        };
        vec![part, (&verdict.reuse).into(), (&verdict.clean).into(), (&verdict.replace).into()]
    };
    doc.part("Reuse, clean or replace");
    doc.push(Block::Table(Table {
        columns: vec![
            Column::words("Part: look for"),
            Column::words("Reuse"),
            Column::words("Clean"),
            Column::words("Replace"),
        ],
        rows: plan.verdicts.iter().map(row).collect(),
        total: None,
    }));
}

fn offers(plan: &Plan, figures: &Figures, doc: &mut Document) {
    if plan.offers.is_empty() && plan.offered_parts.is_empty() {
        return;
    }
    doc.section("Worth doing while there");
    doc.paragraph("Not in the price. The owner may refuse, in writing.");
    for offer in &plan.offers {
        let what = format!("{}: adds {}.", offer.repair.words, figures.cost(offer.cost, offer.minutes));
        doc.step(Step { mark: Mark::Box, what: what.into(), ..Step::default() });
    }
    for part in &plan.offered_parts {
        doc.step(Step { mark: Mark::Box, what: sentence(part).into(), ..Step::default() });
    }
}

fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    let first: String = chars.next().map(|c| c.to_uppercase().collect()).unwrap_or_default();
    format!("{first}{}.", chars.as_str().trim_end_matches('.'))
}

fn tail(plan: &Plan, doc: &mut Document) {
    if !plan.tell_owner.is_empty() {
        doc.section("Tell the owner");
        doc.bullets(&plan.tell_owner);
    }
    doc.section("For the record");
    doc.paragraph(RECORD);
    doc.aside(&plan.defers);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::bench::{case, knowledge, made};
    use crate::report::{Chances, Paint, render_markdown, render_text};
    use crate::units::System;

    fn document(system: System) -> Document {
        let knowledge = knowledge();
        let likely = [("needle-worn@front", 0.9), ("needle-worn@rear", 0.7), ("stop-wire-grounded", 0.55)];
        let case = case(&knowledge, "technician");
        let plan = made(&knowledge, &case, &["needle-worn"], &likely).expect("a plan");
        let figures = Figures { chances: Chances::Words, ..Figures::new(&knowledge, system) };
        work_order(&plan, &figures)
    }

    #[test]
    fn one_plan_on_paper() {
        let document = document(System::Us);
        for width in [60, 100] {
            insta::assert_snapshot!(format!("plan_{width}"), render_text(&document, width, Paint::Plain));
        }
        insta::assert_snapshot!("plan_markdown", render_markdown(&document));
    }

    #[test]
    fn targets_follow_the_reader() {
        let text = render_text(&document(System::Metric), 120, Paint::Plain);
        let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(text.contains("target 172 kPa, within 13.8 kPa, 3 readings, no more than 13.8 kPa apart"), "{text}");
    }
}
