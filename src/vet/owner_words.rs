//! What an owner could do on the phone is worded for owners.

use super::{Whole, codes};
use crate::knowledge::{Access, Check, Ix, Knowledge, User};
use std::collections::BTreeSet;

/// Gives advice on checks that whoever is on the phone could make, and is never asked for.
pub(super) fn check(whole: &mut Whole) {
    let knowledge = whole.knowledge;
    let phone = knowledge.users.iter().filter(|(_, user)| user.asks.is_some());
    let phone: Vec<(Ix<User>, &User)> = phone.collect();
    for (ix, check) in knowledge.checks.iter() {
        if check.owner.is_some() {
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

fn could(knowledge: &Knowledge, user: &User, check: &Check) -> bool {
    check.tools.is_empty()
        && user.skill.is_none_or(|skill| check.skill <= skill)
        && user.access.as_ref().is_none_or(|may| opened(knowledge, &check.access).iter().all(|a| may.contains(a)))
}

/// All access that must be open for some.
fn opened(knowledge: &Knowledge, access: &[Ix<Access>]) -> BTreeSet<Ix<Access>> {
    let mut all = BTreeSet::new();
    let mut next: Vec<Ix<Access>> = access.to_vec();
    while let Some(ix) = next.pop() {
        if all.insert(ix) {
            next.extend(&knowledge.access[ix].needs);
        }
    }
    all
}
