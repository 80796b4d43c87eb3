//! A step that ignites belongs to a repair that ignites: the interlocks ask the repair, not its steps.

use super::super::{Turns, codes};
use super::Whole;

/// Reports steps that ignite in repairs that do not. Putting back access may join the battery last, so its steps may.
pub(super) fn check(whole: &mut Whole) {
    let repairs = &whole.knowledge.repairs;
    for (ix, repair) in repairs.iter() {
        let id = repairs.id(ix);
        let says_so = repair.ignites || repair.turns == Turns::Starter;
        let step = repair.steps.iter().position(|step| step.ignites == Some(true));
        if let Some(at) = step.filter(|_| !says_so && !whole.hurt(id)) {
            let message = format!("step {} of `{id}` ignites, and `{id}` does not say `ignites: true`", at + 1);
            whole.error(codes::STEP_IGNITES, id, message, Vec::new());
        }
    }
}
