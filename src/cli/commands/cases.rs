//! The history of cases: which there are, and two of them side by side.

use super::triage::clock;
use crate::access::AccessGraph;
use crate::case::{Case, text};
use crate::cli::Exit;
use crate::cli::args::{Common, Format};
use crate::cli::load;
use crate::cli::out::{Failure, print, print_document};
use crate::decision::Settings;
use crate::interview::advisor::Library;
use crate::interview::compare::compare;
use crate::interview::history::Standing;
use crate::interview::step::Bench;
use crate::knowledge::Knowledge;
use crate::report::{Block, Column, Document, Figures, Rich, Table};
use crate::store;
use std::path::Path;

/// Prints the cases of this folder, the one changed last first.
///
/// # Errors
/// Where the folder cannot be read.
pub fn list(common: &Common) -> Result<Exit, Failure> {
    let knowledge = load::knowledge(common)?;
    let mut rows = Vec::new();
    for path in store::cases(Path::new("."))? {
        let name = path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
        let (case, _) = text::read_bytes(&name, &store::read(&path)?, &knowledge);
        rows.push(row(&knowledge, &name, case.as_ref()));
    }
    if rows.is_empty() {
        print("no cases here\n")?;
        return Ok(Exit::Done);
    }
    let columns = ["File", "Job", "Complaint", "For", "Answers", "Stands"].map(Column::words).to_vec();
    let mut document = Document::new();
    document.push(Block::Table(Table { columns, rows, total: None }));
    document.paragraph("doldrum triage FILE goes on with one; doldrum triage --compare FILE FILE compares two.");
    print_document(&document, Format::Text)?;
    Ok(Exit::Done)
}

fn row(knowledge: &Knowledge, name: &str, case: Option<&Case>) -> Vec<Rich> {
    let Some(case) = case else {
        return [name, "cannot be read; assess says why", "", "", "", ""].map(Rich::from).to_vec();
    };
    let Standing { title, complaint, user, answers, stands } = Standing::of(knowledge, case);
    [name, &title, &complaint, &user, &answers.to_string(), stands].map(Rich::from).to_vec()
}

/// Prints two cases side by side.
///
/// # Errors
/// Where one of them cannot be read or weighed.
pub fn compared(paths: [&Path; 2], common: &Common) -> Result<Exit, Failure> {
    let knowledge = load::knowledge(common)?;
    let (first, _) = load::case(paths[0], &knowledge)?;
    let (second, _) = load::case(paths[1], &knowledge)?;
    let figures = Figures::new(&knowledge, common.units.into());
    let graph = AccessGraph::new(&knowledge);
    let settings = Settings { seed: common.seed, ..Settings::default() };
    let library = Library::new(&knowledge, settings, figures.clone());
    let bench =
        Bench { knowledge: &knowledge, graph: &graph, advisor: &library, figures: &figures, layout_known: true };
    let comparison = compare(&bench, [&first, &second], clock()).map_err(Failure::Stuck)?;
    let names = paths.map(|path| path.file_stem().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default());
    print_document(&comparison.document(&bench, [&names[0], &names[1]]), Format::Text)?;
    Ok(Exit::Done)
}
