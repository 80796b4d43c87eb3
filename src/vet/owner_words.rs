//! What an owner could do on the phone is worded for owners, and so are their answers.

use super::{Whole, codes, listed};
use crate::knowledge::{Check, Ix, Knowledge, OwnerAsk, User};

/// Gives advice on checks that whoever is on the phone could make, and is never asked for.
pub(super) fn check(whole: &mut Whole) {
    let knowledge = whole.knowledge;
    let phone = knowledge.users.iter().filter(|(_, user)| user.asks.is_some());
    let phone: Vec<(Ix<User>, &User)> = phone.collect();
    for (ix, check) in knowledge.checks.iter() {
        if let Some(owner) = &check.owner {
            unheard(whole, knowledge.checks.id(ix), check, owner);
            continue;
        }
        if let Some((user, _)) = phone.iter().find(|(_, user)| could(knowledge, user, check)) {
            let id = knowledge.checks.id(ix);
            let user = knowledge.users.id(*user);
            let message = format!("check `{id}` is within what `{user}` may do, but has no words for it");
            whole.advise(codes::OWNER_WORDS, id, message, Vec::new());
        }
    }
}

/// Outcomes of which nothing says how an owner would put them.
fn unheard(whole: &mut Whole, id: &str, check: &Check, owner: &OwnerAsk) {
    let outcomes = check.outcomes.iter().zip(&owner.sounds);
    let missing = outcomes.filter(|(_, phrases)| phrases.is_empty()).map(|(outcome, _)| outcome.id.as_str());
    let missing = listed(missing);
    if !missing.is_empty() {
        let message = format!("check `{id}` does not say what an owner would say for {missing}");
        whole.advise(codes::OWNER_SOUNDS, id, message, Vec::new());
    }
}

fn could(knowledge: &Knowledge, user: &User, check: &Check) -> bool {
    check.tools.is_empty()
        && user.skill.is_none_or(|skill| check.skill <= skill)
        && user.access.as_ref().is_none_or(|may| knowledge.opened(&check.access).iter().all(|a| may.contains(a)))
}
