//! An interlock lets through the check that ends it: else nobody could ever go on.
//!
//! What ends an interlock is its `until`, or that its `while` no longer holds. Where that takes an answer, the check that
//! gives it must not be among what the interlock bars, by what it does itself or by the access it needs.

use super::super::{Bars, Check, Condition, Interlock, Ix, Knowledge, codes};
use super::Whole;
use crate::finding::Severity;
use std::collections::BTreeSet;

/// Reports interlocks that bar their own end, and sets of them that bar each other's.
pub(super) fn check(whole: &mut Whole) {
    let knowledge = whole.knowledge;
    let mut on = Vec::new();
    for (ix, interlock) in knowledge.interlocks.iter() {
        let id = knowledge.interlocks.id(ix);
        if interlock.ends || whole.hurt(id) {
            continue;
        }
        let mut barred = BTreeSet::new();
        if can_end(knowledge, interlock, &[interlock], &mut barred) {
            on.push((id, interlock));
            continue;
        }
        let keys: Vec<_> = barred.iter().map(|check| format!("`{}`", knowledge.checks.id(*check))).collect();
        let message = format!("interlock `{id}` bars the check that would end it: {}", keys.join(", "));
        let hints = vec!["let the check through with `except`, or bar less".to_owned()];
        whole.error(codes::BARS_ITS_OWN_KEY, id, message, hints);
    }
    locked_together(whole, on);
}

/// With all on at once, those that can end do, until none can.
fn locked_together(whole: &mut Whole, mut on: Vec<(&str, &Interlock)>) {
    loop {
        let all: Vec<&Interlock> = on.iter().map(|(_, interlock)| *interlock).collect();
        let before = on.len();
        on.retain(|(_, interlock)| !can_end(whole.knowledge, interlock, &all, &mut BTreeSet::new()));
        if on.len() == before {
            break;
        }
    }
    let [(first, _), ..] = on.as_slice() else { return };
    let ids = on.iter().map(|(id, _)| format!("`{id}`")).collect::<Vec<_>>().join(", ");
    let message = format!("interlocks bar each other's ends where all are on: {ids}");
    let hints = vec!["let one of the checks that end them through with `except`".to_owned()];
    let first = (*first).to_owned();
    whole.find(codes::LOCKED_TOGETHER, Severity::Advice, &first, message, hints);
}

/// Whether an interlock can end while these are on. Notes the checks that would end it but are barred.
fn can_end(knowledge: &Knowledge, interlock: &Interlock, on: &[&Interlock], barred: &mut BTreeSet<Ix<Check>>) -> bool {
    let mut ends = Ends { knowledge, on, barred };
    match (&interlock.until, &interlock.when) {
        (Some(until), _) => ends.comes(until),
        (None, Some(when)) => ends.goes(when),
        (None, None) => true,
    }
}

struct Ends<'a> {
    knowledge: &'a Knowledge,
    on: &'a [&'a Interlock],
    barred: &'a mut BTreeSet<Ix<Check>>,
}

impl Ends<'_> {
    /// Whether a condition can come to hold. What no check decides, a person can bring about.
    fn comes(&mut self, condition: &Condition) -> bool {
        match condition {
            Condition::Answered(check, _) | Condition::AnsweredEvery(check, _) | Condition::Below(check, _) => {
                self.lets(*check)
            }
            // Every part is looked at, so that all barred checks are named.
            Condition::Any(list) => list.iter().filter(|c| self.comes(c)).count() > 0,
            Condition::All(list) => list.iter().filter(|c| !self.comes(c)).count() == 0,
            Condition::Not(not) => self.goes(not),
            _ => true,
        }
    }

    /// Whether a condition can cease to hold.
    fn goes(&mut self, condition: &Condition) -> bool {
        match condition {
            Condition::Answered(check, _) | Condition::AnsweredEvery(check, _) | Condition::Below(check, _) => {
                self.lets(*check)
            }
            Condition::Hazard(hazard) => {
                let ways = &self.knowledge.hazards[*hazard].closed_by;
                ways.is_empty() || ways.iter().filter(|way| self.lets(way.answer.0)).count() > 0
            }
            Condition::Any(list) => list.iter().filter(|c| !self.goes(c)).count() == 0,
            Condition::All(list) => list.iter().filter(|c| self.goes(c)).count() > 0,
            Condition::Not(not) => self.comes(not),
            _ => true,
        }
    }

    fn lets(&mut self, check: Ix<Check>) -> bool {
        let excepted = |i: &Interlock| i.except.iter().any(|except| except.checks.contains(&check));
        let bars = self.on.iter().any(|i| !excepted(i) && bars(self.knowledge, &i.bars, check));
        if bars {
            self.barred.insert(check);
        }
        !bars
    }
}

/// Whether a check is among what is barred.
fn bars(knowledge: &Knowledge, bars: &Bars, ix: Ix<Check>) -> bool {
    let check = &knowledge.checks[ix];
    let opened = knowledge.opened(&check.access);
    let access = || opened.iter().map(|a| &knowledge.access[*a]);
    bars.checks.contains(&ix)
        || bars.ignites && (check.ignites || access().any(|a| a.ignites))
        || bars.turns == Some(check.turns)
        || bars.able.iter().any(|able| check.able.contains(able) || access().any(|a| a.able.contains(able)))
        || bars.access.iter().any(|a| opened.contains(a))
        || bars.raises.iter().any(|h| check.raises.contains(h) || access().any(|a| a.raises.contains(h)))
}
