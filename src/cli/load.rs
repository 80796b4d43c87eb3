//! What every command begins with: the knowledge base, then the case.

use super::args::Common;
use super::out::{Failure, advise, note};
use crate::case::text;
use crate::case::{Case, codes};
use crate::finding::{Finding, Findings};
use crate::inference;
use crate::knowledge::Knowledge;
use crate::logbook::overlay;
use crate::store;
use std::path::Path;

/// The files of the knowledge base that is asked for.
///
/// # Errors
/// Where they cannot be read, or a name may mean two of them.
pub fn knowledge_files(folder: Option<&Path>) -> Result<Vec<(String, Vec<u8>)>, Failure> {
    if let Some(name) = folder.and_then(Path::to_str)
        && store::built_in_names().contains(&name)
        && Path::new(name).is_dir()
    {
        return Err(Failure::Usage(format!(
            "`{name}` is built in, and a folder here: say `./{name}` for the folder; for the one built in work elsewhere"
        )));
    }
    Ok(folder.map_or_else(|| Ok(store::built_in()), store::knowledge_named)?)
}

/// The knowledge base, with what was learned laid over it where that is asked for. Advice about it is for its author, and
/// for `vet`.
///
/// # Errors
/// Where it cannot be read or has errors.
pub fn knowledge(common: &Common) -> Result<Knowledge, Failure> {
    let mut knowledge = plain_knowledge(common)?;
    if let Some(path) = &common.learned {
        let bytes = store::read(path)?;
        let (overlay, findings) = overlay::read(&path.to_string_lossy(), &bytes, &knowledge);
        let Some(overlay) = overlay else { return Err(bad(findings)) };
        advise(findings, common);
        overlay.apply(&mut knowledge);
        note(&format!("with numbers learned from {} closed jobs: {}", overlay.jobs, path.display()), common);
    }
    Ok(knowledge)
}

/// The knowledge base as its author wrote it, whatever was learned.
///
/// # Errors
/// As [`knowledge`].
pub fn plain_knowledge(common: &Common) -> Result<Knowledge, Failure> {
    let files = knowledge_files(common.knowledge.as_deref())?;
    let (knowledge, findings) = crate::knowledge::read(&files);
    knowledge.ok_or_else(|| bad(findings))
}

/// The case, and what was found about it that does not keep it from being used.
///
/// # Errors
/// Where it cannot be read or has errors.
pub fn case(path: &Path, knowledge: &Knowledge) -> Result<(Case, Findings), Failure> {
    case_of(path, &store::read(path)?, knowledge)
}

/// The case of these bytes; `path` is what findings call them.
///
/// # Errors
/// Where it has errors.
pub fn case_of(path: &Path, bytes: &[u8], knowledge: &Knowledge) -> Result<(Case, Findings), Failure> {
    let (case, findings) = text::read_bytes(&path.to_string_lossy(), bytes, knowledge);
    match case {
        Some(case) => Ok((case, findings)),
        None => Err(bad(with_the_base_it_is_for(findings))),
    }
}

/// A case of another knowledge base that is built in too: how to read it with that one.
fn with_the_base_it_is_for(findings: Findings) -> Findings {
    let mut told = Findings::new();
    for mut finding in findings.sorted() {
        if finding.code == codes::OTHER_KNOWLEDGE {
            let named = |name: &&&str| is_of(name, &finding);
            if let Some(name) = store::built_in_names().iter().find(named) {
                finding.hints.push(format!("`--knowledge {name}` reads it"));
            }
        }
        told.add(finding);
    }
    told
}

fn is_of(name: &str, finding: &Finding) -> bool {
    let files = store::built_in_named(name).unwrap_or_default();
    let id = crate::knowledge::read(&files).0.map(|knowledge| knowledge.id);
    id.is_some_and(|id| finding.message.ends_with(&format!("found `{id}`")))
}

/// Inference that could not be done, whatever the case.
#[expect(clippy::needless_pass_by_value, reason = "it is what `map_err` gives")]
pub fn stuck(error: inference::Error) -> Failure {
    Failure::Stuck(error.to_string())
}

fn bad(findings: Findings) -> Failure {
    Failure::BadData(findings.sorted())
}
