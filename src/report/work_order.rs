//! The work order as a document.

use super::{Blank, Block, Caution, Column, Document, Figures, Mark, Rich, Step, Table};
use crate::knowledge::Phase;
use crate::plan::{By, Plan, SettingLine, StageKind, Test, Why};
use crate::units::Measure;

/// The work order as a document: what it is for, what to mind, the work in order with boxes to tick, parts, tools, costs.
#[must_use]
pub fn plan_document(plan: &Plan, figures: &Figures) -> Document {
    let mut document = Document::new();
    document.title(plan.title.clone().map_or_else(|| "Work order".to_owned(), |t| format!("Work order: {t}")));
    facts(plan, figures, &mut document);
    document.section("Cautions");
    for caution in &plan.cautions {
        document.push(Block::Caution(Caution {
            signal: caution.signal,
            title: (&caution.hazard.words).into(),
            harm: Some((&caution.harm).into()),
            controls: caution.controls.iter().map(Rich::from).collect(),
            never: caution.never.iter().map(Rich::from).collect(),
            tick: caution.tick.as_ref().map(|t| Rich::from(&t.words)),
        }));
    }
    work(plan, figures, &mut document);
    lists(plan, figures, &mut document);
    document.aside(&plan.defers);
    document
}

fn facts(plan: &Plan, figures: &Figures, document: &mut Document) {
    let complaints: Vec<&str> = plan.complaints.iter().map(|c| c.words.as_str()).collect();
    document.push(Block::Pairs(vec![
        ("Craft".into(), plan.craft.join(", ").into()),
        ("Complaint".into(), complaints.join("; ").into()),
        ("Time and money".into(), figures.cost(plan.cost.total, plan.cost.minutes).into()),
    ]));
    document.section("What it goes for");
    document.bullets(plan.goals.iter().map(|goal| {
        let why = match goal.why {
            Why::Named => ", as asked",
            Why::Explains | Why::Likely => "",
            Why::WhileOpen => ", while it is open",
        };
        format!("{}: {}{why}", goal.cause.words, figures.chance(goal.chance))
    }));
    if !plan.not_cured.is_empty() {
        document.part("Not cured by this");
        document.bullets(plan.not_cured.iter().map(|g| format!("{}: {}", g.cause.words, figures.chance(g.chance))));
    }
    document.section("Repairs");
    document.bullets(plan.repairs.iter().map(|job| {
        let places = if job.places.is_empty() { String::new() } else { format!(", {}", job.places.join(" and ")) };
        let by = if job.by == By::Shop { " (workshop)" } else { "" };
        let because =
            if job.because.is_empty() { String::new() } else { format!(" Because: {}", job.because.join("; ")) };
        format!("{}{places}{by}: {}.{because}", job.repair.words, figures.cost(job.parts, job.minutes))
    }));
}

fn work(plan: &Plan, figures: &Figures, document: &mut Document) {
    let mut n = 0;
    for stage in &plan.stages {
        document.section(stage_words(stage.kind));
        for section in &stage.sections {
            document.part(phase_words(section.phase));
            for step in &section.steps {
                for caution in &step.cautions {
                    reminder(plan, caution, document);
                }
                n += 1;
                document.step(Step {
                    mark: Mark::NumberedBox(n),
                    what: what(step),
                    notes: notes(step, figures),
                    blanks: blanks(step, figures),
                });
            }
        }
    }
}

/// A caution stands in full at the top; before its step it is called to mind.
fn reminder(plan: &Plan, hazard: &str, document: &mut Document) {
    if let Some(caution) = plan.cautions.iter().find(|c| c.hazard.id == hazard) {
        let first = caution.controls.first().map(|c| format!(". {c}")).unwrap_or_default();
        document.push(Block::Caution(Caution {
            signal: caution.signal,
            title: format!("{}{first}", caution.hazard.words).into(),
            harm: None,
            controls: Vec::new(),
            never: Vec::new(),
            tick: None,
        }));
    }
}

fn what(step: &crate::plan::Step) -> Rich {
    let places = if step.places.is_empty() { String::new() } else { format!(" ({})", step.places.join(", ")) };
    let by = if step.by == By::Shop { " [workshop]" } else { "" };
    Rich::plain(&format!("{}{places}{by}", step.what))
}

fn notes(step: &crate::plan::Step, figures: &Figures) -> Vec<Rich> {
    let air = step.air.map(|minutes| Rich::plain(&format!("Air it for {} before.", figures.minutes(minutes))));
    let ticks = step.ticks.iter().map(|tick| Rich::plain(&format!("[ ] {}", tick.words)));
    air.into_iter().chain(ticks).collect()
}

fn blanks(step: &crate::plan::Step, figures: &Figures) -> Vec<Blank> {
    let record = step.record.iter().map(|s| setting(s, "as found"));
    let set = step.set.iter().map(|s| setting(s, "set to"));
    let tests = step.tests.iter().map(|t| test(t, figures));
    record.chain(set).chain(tests).collect()
}

fn setting(line: &SettingLine, how: &str) -> Blank {
    let unit = (line.unit != "text").then(|| line.unit.clone());
    let note = line.value.is_none().then(|| line.generic.as_ref().map(Rich::from)).flatten();
    Blank { label: format!("{}, {how}", line.setting.words).into(), value: line.value.clone(), unit, note }
}

fn test(test: &Test, figures: &Figures) -> Blank {
    let measure =
        |value: f64| test.unit.map_or_else(|| value.to_string(), |unit| figures.measure(Measure { value, unit }));
    let mut wanted: Vec<String> = Vec::new();
    if !test.pass.is_empty() {
        wanted.push(test.pass.join(" or "));
    }
    if let Some((low, high)) = test.range {
        wanted.push(format!("{} to {}", measure(low), measure(high)));
    }
    if let Some(target) = test.target {
        wanted.push(format!("target {}", figures.measure(target)));
    }
    if let Some(key) = &test.sheet {
        wanted.push(format!("against `{key}` of the build sheet"));
    }
    if test.repeats > 1 {
        wanted.push(format!("{} times", test.repeats));
    }
    Blank {
        label: (&test.check.words).into(),
        value: None,
        unit: test.unit.map(|unit| unit.in_system(figures.system).symbol().to_owned()),
        note: (!wanted.is_empty()).then(|| wanted.join("; ").into()),
    }
}

fn lists(plan: &Plan, figures: &Figures, document: &mut Document) {
    if !plan.verdicts.is_empty() {
        document.section("Judge each part");
        document.push(Block::Table(Table {
            columns: ["Part", "Reuse", "Clean", "Replace"].map(Column::words).to_vec(),
            rows: plan
                .verdicts
                .iter()
                .map(|v| [&v.part, &v.reuse, &v.clean, &v.replace].map(Rich::from).to_vec())
                .collect(),
            total: None,
        }));
    }
    if !plan.parts.is_empty() {
        document.section("Parts");
        document.push(Block::Table(Table {
            columns: vec![Column::words("Part"), Column::figures("Count"), Column::figures("Price")],
            rows: plan
                .parts
                .iter()
                .map(|p| vec![(&p.item).into(), figures.count(p.count).into(), figures.price(p.total()).into()])
                .collect(),
            total: Some(vec!["Together".into(), "".into(), figures.price(plan.cost.parts).into()]),
        }));
    }
    if !plan.tools.is_empty() {
        document.section("Tools");
        document.paragraph(plan.tools.join(" · "));
    }
    if !plan.offers.is_empty() || !plan.offered_parts.is_empty() {
        document.section("Worth doing while there");
        document.bullets(
            plan.offers.iter().map(|o| format!("{}: {} more", o.repair.words, figures.cost(o.cost, o.minutes))),
        );
        document.bullets(&plan.offered_parts);
    }
    if !plan.tell_owner.is_empty() {
        document.section("Tell the owner");
        document.bullets(&plan.tell_owner);
    }
}

fn stage_words(kind: StageKind) -> &'static str {
    match kind {
        StageKind::Safe => "Make safe",
        StageKind::Clear => "Clear the engine",
        StageKind::Work => "Work",
        StageKind::Live => "Under power",
        StageKind::Run => "Start and run",
        StageKind::HandOver => "Hand over",
    }
}

fn phase_words(phase: Phase) -> &'static str {
    match phase {
        Phase::MakeSafe => "Make safe",
        Phase::Open => "Open",
        Phase::Record => "Record",
        Phase::Strip => "Strip",
        Phase::Judge => "Judge each part",
        Phase::Clean => "Clean",
        Phase::Rebuild => "Rebuild",
        Phase::Bench => "Bench tests",
        Phase::Refit => "Refit, in reverse",
        Phase::Settings => "Settings",
        Phase::Prove => "Prove it",
        Phase::HandOver => "Hand over",
    }
}
