//! Every check is chosen in some job.

use super::{Whole, codes};
use crate::finding::Findings;
use crate::knowledge::Knowledge;
use std::collections::BTreeSet;

/// Gives advice on checks that were made in none of `jobs` played jobs. `steps` are the steps of them all, as
/// [`crate::trial::Record`] words them: `ck-smell-hull`, `ck-compression@rear`.
#[must_use]
pub fn never_chosen<'s>(knowledge: &Knowledge, jobs: usize, steps: impl Iterator<Item = &'s str>) -> Findings {
    let made: BTreeSet<&str> = steps.map(|step| step.split(['@', ' ']).next().unwrap_or_default()).collect();
    let mut whole = Whole { knowledge, findings: Findings::new() };
    for id in knowledge.checks.ids().filter(|id| !made.contains(id)) {
        let message = format!("check `{id}` was chosen in none of {jobs} jobs");
        whole.advise(codes::NEVER_CHOSEN, id, message, Vec::new());
    }
    whole.findings
}
