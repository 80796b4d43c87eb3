//! `doldrum vet`: checks a knowledge base.

use crate::cli::args::{Common, Vet, VetFormat};
use crate::cli::out::{Failure, counted, print};
use crate::cli::{Exit, load};
use crate::finding::{Finding, Severity};
use crate::logbook::overlay;
use crate::store;
use serde::Serialize;

/// Checks a knowledge base and prints what was found.
///
/// # Errors
/// Where it cannot be read.
pub fn run(vet: &Vet, common: &Common) -> Result<Exit, Failure> {
    let folder = vet.folder.as_deref().or(common.knowledge.as_deref());
    let files = load::knowledge_files(folder)?;
    let (knowledge, mut findings) = crate::knowledge::read(&files);
    if let (Some(path), Some(knowledge)) = (&common.learned, &knowledge) {
        findings.extend(overlay::read(&path.to_string_lossy(), &store::read(path)?, knowledge).1);
    }
    let findings = findings.sorted();
    let name = folder.map_or("the built-in knowledge base".to_owned(), |f| f.display().to_string());
    match vet.format {
        VetFormat::Text => print(&text(&findings, &name, files.len(), common))?,
        VetFormat::Json => print(&json(&findings))?,
    }
    Ok(if findings.is_empty() { Exit::Done } else { Exit::Findings })
}

fn text(findings: &[Finding], name: &str, files: usize, common: &Common) -> String {
    let mut blocks: Vec<String> = findings.iter().map(Finding::to_string).collect();
    if !common.quiet {
        let files = format!("{files} {}", if files == 1 { "file" } else { "files" });
        blocks.push(format!("{name}: {files}, {}", counted(findings)));
    }
    if blocks.is_empty() { String::new() } else { blocks.join("\n\n") + "\n" }
}

#[derive(Serialize)]
struct Row<'a> {
    code: &'a str,
    severity: &'static str,
    file: &'a str,
    line: u32,
    column: u32,
    path: &'a str,
    message: &'a str,
    hints: &'a [String],
}

fn json(findings: &[Finding]) -> String {
    let rows: Vec<Row<'_>> = findings.iter().map(row).collect();
    let mut text = serde_json::to_string_pretty(&rows).expect("plain data becomes JSON");
    text.push('\n');
    text
}

fn row(finding: &Finding) -> Row<'_> {
    Row {
        code: finding.code,
        severity: match finding.severity {
            Severity::Error => "error",
            Severity::Advice => "advice",
        },
        file: &finding.place.file,
        line: finding.place.line,
        column: finding.place.column,
        path: &finding.path,
        message: &finding.message,
        hints: &finding.hints,
    }
}
