//! `doldrum vet`: checks a knowledge base, and advises its author.

use crate::cli::args::Common;
use crate::cli::args::authors::{Deny, Vet, VetFormat};
use crate::cli::commands::trial::find;
use crate::cli::out::{Failure, counted, page_width, paint, print, say};
use crate::cli::{Exit, load};
use crate::decision::Settings;
use crate::finding::{Finding, Findings, Severity};
use crate::knowledge::{Ix, Knowledge, Layout};
use crate::logbook::overlay;
use crate::report::{self, render_text};
use crate::store;
use crate::trial::policy::Policy;
use crate::trial::truth::Draws;
use crate::trial::{Setup, Trial};
use crate::vet::{self, Depth, Vetted};

/// Checks a knowledge base and prints what was found.
///
/// # Errors
/// Where it cannot be read, an option names what it lacks, or its network is too wide.
pub fn run(args: &Vet, common: &Common) -> Result<Exit, Failure> {
    let folder = args.folder.as_deref().or(common.knowledge.as_deref());
    let files = load::knowledge_files(folder)?;
    let (knowledge, mut findings) = crate::knowledge::read(&files);
    let mut vetted = Vetted::default();
    if let Some(knowledge) = &knowledge {
        if let Some(path) = &common.learned {
            findings.extend(overlay::read(&path.to_string_lossy(), &store::read(path)?, knowledge).1);
        }
        vetted = advice(args, common, knowledge)?;
        findings.extend(std::mem::take(&mut vetted.findings));
    }
    let findings = findings.sorted();
    let name = folder.map_or("the built-in knowledge base".to_owned(), |f| f.display().to_string());
    let tables = knowledge.as_ref().filter(|_| args.testability).map(|knowledge| (knowledge, &vetted));
    let figures = tables.map(|(knowledge, vetted)| (knowledge, vetted.testability.as_slice()));
    match args.format {
        VetFormat::Text => say(&text(&findings, &name, files.len(), tables, common))?,
        VetFormat::Json => print(&report::vetted_json(&findings, figures))?,
        VetFormat::Lines => print(&lines(&findings, Finding::line))?,
        VetFormat::Workflow => print(&lines(&findings, Finding::workflow_command))?,
    }
    let denied = |f: &Finding| f.severity == Severity::Error || args.deny == Some(Deny::Advice);
    Ok(if findings.iter().any(denied) { Exit::Findings } else { Exit::Done })
}

fn advice(args: &Vet, common: &Common, knowledge: &Knowledge) -> Result<Vetted, Failure> {
    if args.quick {
        return vet::vet(knowledge, &Depth::Quick).map_err(load::stuck);
    }
    let mut layouts: Vec<Ix<Layout>> = find(&knowledge.layouts, &args.layout, "a layout", "--layout")?;
    if layouts.is_empty() {
        layouts = knowledge.layouts.iter().map(|(ix, _)| ix).collect();
    }
    let played = args.play.map(|jobs| play(knowledge, usize::from(jobs), &layouts, common.seed)).transpose()?;
    let mut vetted = vet::vet(knowledge, &Depth::Shown(layouts)).map_err(load::stuck)?;
    vetted.findings.extend(played.unwrap_or_default());
    Ok(vetted)
}

/// Plays jobs by the advice, and tells of checks that it never chose.
fn play(knowledge: &Knowledge, jobs: usize, layouts: &[Ix<Layout>], seed: u64) -> Result<Findings, Failure> {
    let draws = Draws { seed, layouts: layouts.to_vec(), symptoms: Vec::new(), sigma: 0.0, unlisted: 0.0, user: None };
    let settings = Settings { seed, ..Settings::default() };
    let trial = Trial::new(knowledge, Setup { draws, policies: vec![Policy::Ours], settings });
    let mut steps: Vec<String> = Vec::new();
    for job in 0..jobs {
        let records = trial.play(job as u64).map_err(load::stuck)?;
        steps.extend(records.into_iter().flat_map(|record| record.steps).map(|(step, _)| step));
    }
    Ok(vet::never_chosen(knowledge, jobs, steps.iter().map(String::as_str)))
}

type Tables<'a> = Option<(&'a Knowledge, &'a Vetted)>;

fn text(findings: &[Finding], name: &str, files: usize, tables: Tables<'_>, common: &Common) -> String {
    let mut blocks: Vec<String> = findings.iter().map(Finding::to_string).collect();
    if let Some((knowledge, vetted)) = tables {
        let document = report::testability(knowledge, &vetted.testability);
        blocks.push(render_text(&document, page_width(), paint()).trim_end().to_owned());
    }
    if !common.quiet {
        let files = format!("{files} {}", if files == 1 { "file" } else { "files" });
        blocks.push(format!("{name}: {files}, {}", counted(findings)));
    }
    if blocks.is_empty() { String::new() } else { blocks.join("\n\n") + "\n" }
}

fn lines(findings: &[Finding], line: impl Fn(&Finding) -> String) -> String {
    findings.iter().map(|finding| line(finding) + "\n").collect()
}
