//! From raw shapes to checked knowledge: every reference resolved, every number checked, all findings in one run.
//!
//! Every id is entered in a table first, so that an index is known before its item is built. Every item is then built
//! even where something in it is wrong, with that part left out or zero: the rules of [`super::vet`], which look at the
//! whole, can then still speak of the rest. Nothing of this leaves the module where there is an error.

mod access;
mod checklist;
mod checks;
pub(super) mod context;
mod effects;
mod history;
mod manifest;
mod names;
mod numbers;
mod repairs;
mod rows;
mod safety;
mod steps;

use super::raw::RawKnowledge;
use super::{Knowledge, codes};
use crate::finding::{Finding, Findings, Place, Severity};
use context::Context;
use names::Names;

/// Checks raw knowledge. Returns the knowledge where no finding is an error, and all findings.
///
/// Cost: linear in the items but for the rows of a check, which are compared with those above them.
#[must_use]
pub fn resolve(mut raw: RawKnowledge) -> (Option<Knowledge>, Findings) {
    // Facts are asked in their order; those without one come last, as they stand in the files.
    raw.history.sort_by_key(|fact| fact.item.order.unwrap_or(u32::MAX));
    let Some(manifest) = raw.manifest.clone() else {
        // Without a manifest there are no options, layouts or users to check against: what is wrong with it was said.
        let mut findings = Findings::new();
        if raw.files.is_empty() {
            findings.add(Finding {
                place: Place { file: "craft.yaml".to_owned(), line: 0, column: 0 },
                severity: Severity::Error,
                code: codes::MISSING_FILE,
                path: String::new(),
                message: "expected a folder of YAML files, found none that can be read".to_owned(),
                hints: Vec::new(),
            });
        }
        return (None, findings);
    };
    let context = Context::new(&raw);
    let names = Names::enter(&raw, &manifest, &context);
    let mut knowledge = manifest::knowledge(&manifest, &names, &context);
    history::facts(&raw, &names, &context, &mut knowledge);
    effects::states(&raw, &names, &context, &mut knowledge, &manifest);
    checks::checks(&raw, &names, &context, &mut knowledge);
    access::access(&raw, &names, &context, &mut knowledge);
    safety::safety(&raw, &names, &context, &mut knowledge);
    repairs::repairs(&raw, &names, &context, &mut knowledge);
    checklist::checklist(&raw, &names, &context, &mut knowledge);
    knowledge.places = names.places;
    knowledge.mentions.clone_from(&raw.mentions);
    let left = context.done();
    knowledge.cited.clone_from(&left.cited);
    // A comment beside a number says where it comes from, where an item has numbers from several.
    let in_comments = knowledge.sources.iter().filter(|(ix, _)| raw.commented.contains(knowledge.sources.id(*ix)));
    knowledge.cited.extend(in_comments.map(|(ix, _)| ix).collect::<Vec<_>>());
    let mut all = super::vet::vet(&mut knowledge, &left);
    all.extend(left.findings);
    let knowledge = (!all.any_error()).then_some(knowledge);
    (knowledge, context::capped(all))
}
