//! Words in texts that look like ids of this base are such.
//!
//! `ck-smell-hul` begins like a check, `hose-debri` is one letter off a cause. A word that is near nothing is plain
//! English: "slow-burning".

use super::{Whole, codes};
use crate::finding::{distance, nearest};
use crate::knowledge::Knowledge;
use std::collections::BTreeSet;

/// Shorter words are one letter off too many others.
const SHORTEST: usize = 8;
/// The letters before the first hyphen of an id that says what it is: `ck-`, `hz-`.
const BEGINNING: usize = 2;

/// Gives advice on words that look like ids and are none.
pub(super) fn check(whole: &mut Whole) {
    let knowledge = whole.knowledge;
    let known = known(knowledge);
    let items: Vec<&str> = knowledge.places.keys().map(String::as_str).filter(|id| !id.contains('.')).collect();
    let beginnings: BTreeSet<&str> = items.iter().filter_map(|id| beginning(id)).collect();
    for (place, word) in &knowledge.mentions {
        if known.contains(word.as_str()) {
            continue;
        }
        let near = nearest(word, items.iter().copied());
        let begins = beginning(word).is_some_and(|begins| beginnings.contains(begins));
        let one_off = word.len() >= SHORTEST && near.is_some_and(|near| distance(word, near) == 1);
        if begins || one_off {
            let hints = near.map(|near| format!("did you mean `{near}`?")).into_iter().collect();
            let message = format!("`{word}` in this text looks like an id, and there is none of that name");
            whole.advise_at(codes::NO_SUCH_ID, place.clone(), message, hints);
        }
    }
}

fn beginning(id: &str) -> Option<&str> {
    id.split_once('-').map(|(begins, _)| begins).filter(|begins| begins.len() == BEGINNING)
}

/// Every word that has a meaning here.
fn known(knowledge: &Knowledge) -> BTreeSet<&str> {
    let mut known: BTreeSet<&str> = knowledge.places.keys().map(String::as_str).collect();
    known.extend(knowledge.options.ids().chain(knowledge.layouts.ids()).chain(knowledge.users.ids()));
    known.extend(knowledge.ticks.ids());
    known.extend(knowledge.history.iter().flat_map(|(_, fact)| &fact.values).map(|value| value.id.as_str()));
    known.extend(knowledge.checks.iter().flat_map(|(_, check)| &check.outcomes).map(|outcome| outcome.id.as_str()));
    known
}
