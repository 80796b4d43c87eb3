//! Every source is cited, and what is cited was read.

use super::{Whole, codes};
use crate::knowledge::raw::RawMark;

/// Gives advice on sources that nothing cites, and on such as are cited from memory.
pub(super) fn check(whole: &mut Whole) {
    let knowledge = whole.knowledge;
    for (ix, source) in knowledge.sources.iter() {
        let id = knowledge.sources.id(ix);
        if !knowledge.cited.contains(&ix) {
            whole.advise(codes::SOURCE_UNUSED, id, format!("nothing cites source `{id}`"), Vec::new());
        } else if source.mark == RawMark::Memory {
            let message = format!("numbers are said to come from source `{id}`, which is known from memory only");
            whole.advise(codes::FROM_MEMORY, id, message, Vec::new());
        }
    }
}
