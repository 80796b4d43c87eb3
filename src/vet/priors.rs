//! Chances before any answer are on one scale.

use super::{Whole, codes};

/// Likelier than this before anything is known, a cause is the rule and not a fault.
const MOST: f64 = 0.5;
/// Rarer than this nobody meets it.
const LEAST: f64 = 1e-6;

/// Gives advice on causes that are all but sure, and on such as hardly exist.
pub(super) fn check(whole: &mut Whole) {
    let knowledge = whole.knowledge;
    for (ix, cause) in knowledge.causes.iter() {
        let (id, chance) = (knowledge.causes.id(ix), cause.chance.get());
        if chance > MOST {
            let message =
                format!("cause `{id}` has a chance of {chance} before any answer: it is likelier there than not");
            whole.advise(codes::PRIOR_SCALE, id, message, Vec::new());
        } else if chance < LEAST {
            let message =
                format!("cause `{id}` has a chance of {chance} before any answer: less than one job in a million");
            whole.advise(codes::PRIOR_SCALE, id, message, Vec::new());
        }
    }
}
