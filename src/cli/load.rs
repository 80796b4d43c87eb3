//! What every command begins with: the knowledge base, then the case.

use super::args::Common;
use super::out::Failure;
use crate::case::Case;
use crate::case::text;
use crate::finding::Findings;
use crate::knowledge::Knowledge;
use crate::store;
use std::path::Path;

/// The files of the knowledge base that is asked for.
///
/// # Errors
/// Where they cannot be read.
pub fn knowledge_files(folder: Option<&Path>) -> Result<Vec<(String, Vec<u8>)>, Failure> {
    Ok(folder.map_or_else(|| Ok(store::built_in()), store::knowledge_named)?)
}

/// The knowledge base. Advice about it is for its author, and for `vet`.
///
/// # Errors
/// Where it cannot be read or has errors.
pub fn knowledge(common: &Common) -> Result<Knowledge, Failure> {
    let files = knowledge_files(common.knowledge.as_deref())?;
    let (knowledge, findings) = crate::knowledge::read(&files);
    knowledge.ok_or_else(|| bad(findings))
}

/// The case, and what was found about it that does not keep it from being used.
///
/// # Errors
/// Where it cannot be read or has errors.
pub fn case(path: &Path, knowledge: &Knowledge) -> Result<(Case, Findings), Failure> {
    let bytes = store::read(path)?;
    let (case, findings) = text::read_bytes(&path.to_string_lossy(), &bytes, knowledge);
    match case {
        Some(case) => Ok((case, findings)),
        None => Err(bad(findings)),
    }
}

fn bad(findings: Findings) -> Failure {
    Failure::BadData(findings.sorted())
}
