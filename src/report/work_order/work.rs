//! The work with its cautions, boxes and blanks.

use super::outline::{Heading, Outline, Part};
use super::record::{Record, at_each_place};
use super::with_places;
use crate::knowledge::{Phase, Signal};
use crate::plan::{By, Plan, Source, StageKind, Test};
use crate::plan::{Caution as PlanCaution, Section as PlanSection, Step as PlanStep};
use crate::report::{Blank, Block, Caution, Column, Document, Figures, Mark, Rich, Step, Table};
use crate::units::{Measure, Unit};
use std::collections::BTreeMap;

/// Where a caution was said.
#[derive(Clone, Copy)]
struct Said {
    /// The step it stood before in full.
    in_full: usize,
    /// The first step of the stretch of work in which it was said last.
    stretch: usize,
}

/// Where each caution was said, by hazard.
type Told<'a> = BTreeMap<&'a str, Said>;

/// All stretches of the work.
pub fn write(plan: &Plan, outline: &Outline<'_>, record: &Record<'_>, figures: &Figures, doc: &mut Document) {
    let mut told = Told::new();
    let paper = Paper { plan, record, figures };
    for part in &outline.parts {
        write_part(&paper, part, &mut told, doc);
    }
}

/// What every step is written from.
struct Paper<'a, 'r> {
    plan: &'a Plan,
    record: &'r Record<'r>,
    figures: &'r Figures,
}

fn write_part<'a>(paper: &Paper<'a, '_>, part: &Part<'a>, told: &mut Told<'a>, doc: &mut Document) {
    let plan = paper.plan;
    doc.section(part.title.as_str());
    if part.stage == StageKind::Live {
        doc.paragraph("Only with every fuel line shut and no smell of fuel.");
    }
    if part.heading == Heading::Prove {
        for job in &plan.repairs {
            if let Some(why) = &job.held {
                doc.paragraph(Rich::strong("Not yet: ").and(&job.repair.words).and(". ").and(why));
            }
        }
    }
    let quiet = part.heading == Heading::Repair && part.stage == StageKind::Work;
    mind(plan, part, doc);
    let parted = matches!(part.heading, Heading::Repair | Heading::Prove) && part.sections.len() > 1;
    let mut number = part.from;
    for section in &part.sections {
        if parted {
            doc.part(phase_words(section.phase));
        }
        write_steps(paper, part, section, &mut number, told, doc);
        if section.phase == Phase::Judge && quiet {
            verdicts(plan, doc);
        }
    }
    if quiet && part.sections.iter().all(|section| section.phase != Phase::Judge) {
        verdicts(plan, doc);
    }
}

/// What trips people up in the repairs of this stretch, before the first of their steps.
fn mind(plan: &Plan, part: &Part<'_>, doc: &mut Document) {
    let run = part.stage == StageKind::Run;
    if !(matches!(part.heading, Heading::Repair) || run) {
        return;
    }
    let here = plan.repairs.iter().filter(|job| {
        let source = Source::Repair(job.repair.id.clone());
        job.service == run && part.steps().any(|step| step.source == source)
    });
    let mut all: Vec<&String> = Vec::new();
    for line in here.flat_map(|job| &job.mind) {
        if !all.contains(&line) {
            all.push(line);
        }
    }
    if !all.is_empty() {
        doc.part("Mind");
        doc.bullets(all);
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
        Phase::Refit => "Put back",
        Phase::Settings => "Settings",
        Phase::Fill => "Fill",
        Phase::Prove => "Prove",
        Phase::HandOver => "Hand over",
    }
}

fn write_steps<'a>(
    paper: &Paper<'a, '_>,
    part: &Part<'_>,
    section: &'a PlanSection,
    number: &mut usize,
    told: &mut Told<'a>,
    doc: &mut Document,
) {
    for step in &section.steps {
        let cautions = step.cautions.iter().filter_map(|id| paper.plan.cautions.iter().find(|c| c.hazard.id == *id));
        let mut cautions: Vec<&'a PlanCaution> = cautions.collect();
        cautions.sort_by_key(|caution| caution.signal);
        let mut open: Vec<(Signal, usize)> = Vec::new();
        for caution in cautions {
            let said = told.insert(&caution.hazard.id, Said { in_full: *number, stretch: part.from });
            let Some(said) = said else {
                doc.push(Block::Caution(in_full(caution)));
                continue;
            };
            told.insert(&caution.hazard.id, Said { in_full: said.in_full, stretch: part.from });
            if said.stretch == part.from {
                open.push((caution.signal, said.in_full));
            } else {
                doc.push(Block::Caution(reminder(caution, said.in_full)));
            }
        }
        open.dedup();
        doc.step(written(step, *number, &open, paper));
        *number += 1;
    }
}

/// "! DANGER of step 3. ": a caution said in this stretch of work already, for what is dangerous still.
fn still_open(cautions: &[(Signal, usize)]) -> Rich {
    if cautions.is_empty() {
        return Rich::default();
    }
    let words: Vec<String> = cautions.iter().map(|(signal, at)| format!("{} of step {at}", signal.word())).collect();
    Rich::strong(&format!("! {}.", words.join(", "))).and(" ")
}

fn in_full(caution: &PlanCaution) -> Caution {
    Caution {
        signal: caution.signal,
        title: (&caution.hazard.words).into(),
        harm: Some((&caution.harm).into()),
        controls: caution.controls.iter().map(Into::into).collect(),
        never: caution.never.iter().map(Into::into).collect(),
        tick: caution.tick.as_ref().map(|tick| (&tick.words).into()),
    }
}

/// The caution again, in one line and with its box, directly before the step, and where it stands in full.
fn reminder(caution: &PlanCaution, at: usize) -> Caution {
    Caution {
        signal: caution.signal,
        title: format!("{} (step {at})", caution.hazard.words).into(),
        harm: None,
        controls: Vec::new(),
        never: Vec::new(),
        tick: caution.tick.as_ref().map(|tick| (&tick.words).into()),
    }
}

fn written(step: &PlanStep, number: usize, still: &[(Signal, usize)], paper: &Paper<'_, '_>) -> Step {
    let &Paper { record, figures, .. } = paper;
    let mut what = still_open(still).and(&with_places(&step.what, &step.places));
    if step.by == By::Shop {
        what = what.and_strong(" For the shop.");
    }
    let mut notes: Vec<Rich> = Vec::new();
    if let Some(air) = step.air {
        notes.push(format!("After {} of airing.", figures.minutes(air)).into());
    }
    notes.extend(step.how.iter().map(Rich::from));
    let (more, mut blanks) = record.of_step(step, figures);
    notes.extend(more);
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
        (None, None, Some((Some(least), Some(most)))) => notes.push(format!("{} to {}", of(least), of(most))),
        (None, None, Some((Some(least), None))) => notes.push(format!("{} or more", of(least))),
        (None, None, Some((None, Some(most)))) => notes.push(format!("{} or less", of(most))),
        (None, None, Some((None, None)) | None) => {}
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
    let (new, judged): (Vec<_>, Vec<_>) = plan.verdicts.iter().partition(|verdict| always_new(verdict));
    doc.part("Reuse, clean or replace");
    if !new.is_empty() {
        let parts: Vec<String> = new.iter().map(|verdict| verdict.part.clone()).collect();
        let line = Rich::strong("Always new, whatever they look like: ").and(&parts.join(", ")).and(".");
        doc.step(Step { mark: Mark::Box, what: line, ..Step::default() });
    }
    if judged.is_empty() {
        return;
    }
    doc.push(Block::Table(Table {
        columns: vec![
            Column::words("Part: look for"),
            Column::words("Reuse"),
            Column::words("Clean"),
            Column::words("Replace"),
        ],
        rows: judged.into_iter().map(row).collect(),
        total: None,
    }));
}

/// Whether there is nothing to judge: it is replaced in any case.
fn always_new(verdict: &crate::plan::Verdict) -> bool {
    let never = |words: &str| words == "never";
    never(&verdict.reuse) && never(&verdict.clean) && verdict.replace == "always"
}
