//! What is opened can be asked to be put back in words.

use super::{Whole, codes};
use crate::units::Minutes;

/// Gives advice on access that takes work to get to and has no words for putting it back.
pub(super) fn check(whole: &mut Whole) {
    let knowledge = whole.knowledge;
    let silent = knowledge.access.iter().filter(|(_, access)| access.open > Minutes::ZERO && access.put_back.is_none());
    for (ix, access) in silent {
        let id = knowledge.access.id(ix);
        let message = format!("access `{id}` (\"{}\") has no words for putting it back", access.title);
        whole.advise(codes::PUT_BACK_WORDS, id, message, Vec::new());
    }
}
