//! Rules about what a knowledge base means, one a file. Shapes, references and numbers are checked in
//! [`super::resolve`]; these look at the whole.

use super::Knowledge;
use crate::finding::Findings;
use std::collections::BTreeSet;

/// Runs every rule. `hurt` are the ids of items in which something was found already: rules are lenient with them.
#[must_use]
pub(super) fn vet(_knowledge: &mut Knowledge, _hurt: &BTreeSet<String>) -> Findings {
    Findings::new()
}
