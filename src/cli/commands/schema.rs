//! `doldrum schema`: the formats as JSON Schema.

use crate::cli::Exit;
use crate::cli::args::authors::{Schema, SchemaOf};
use crate::cli::out::{Failure, print};
use crate::finding::nearest;
use crate::knowledge::load;
use crate::{schema, store};

/// Prints a schema, or writes all of them into a folder.
///
/// # Errors
/// Where the kind is not known, or writing fails.
pub fn run(args: &Schema) -> Result<Exit, Failure> {
    if let Some(folder) = &args.folder {
        for (name, text) in schema::files() {
            store::write_below(folder, &name, &text)?;
        }
        return Ok(Exit::Done);
    }
    if let Some(kind) = &args.kind
        && args.of != Some(SchemaOf::Knowledge)
    {
        return Err(Failure::Usage(format!("expected `knowledge` before --kind {kind}")));
    }
    let text = match (args.of, &args.kind) {
        (Some(SchemaOf::Case), _) => schema::case(),
        (Some(SchemaOf::Assess), _) => schema::assess(),
        (Some(SchemaOf::Plan), _) => schema::plan(),
        (Some(SchemaOf::Calc), _) => schema::calc(),
        (Some(SchemaOf::Vet), _) => schema::vet(),
        (Some(SchemaOf::Chart), _) => schema::chart(),
        (Some(SchemaOf::Knowledge), None) => schema::knowledge(),
        (Some(SchemaOf::Knowledge), Some(kind)) => schema::knowledge_file(kind).ok_or_else(|| unknown(kind))?,
        (None, _) => list(),
    };
    print(&text)?;
    Ok(Exit::Done)
}

fn unknown(kind: &str) -> Failure {
    let known: Vec<&str> = load::kinds().collect();
    let near = nearest(kind, known.iter().copied()).map(|n| format!("; did you mean `{n}`?")).unwrap_or_default();
    Failure::Usage(format!("expected one of {} after --kind, found `{kind}`{near}", known.join(", ")))
}

/// How each schema is asked for.
fn list() -> String {
    let mut lines: Vec<String> =
        ["case", "assess", "plan", "calc", "vet", "chart", "knowledge"].map(|of| format!("doldrum schema {of}")).into();
    lines.extend(load::kinds().map(|kind| format!("doldrum schema knowledge --kind {kind}")));
    lines.join("\n") + "\n"
}
