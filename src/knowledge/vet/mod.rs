//! Rules about what a knowledge base means, one a file. Shapes, references and numbers are checked in
//! [`super::resolve`]; these look at the whole.
//!
//! | file | rule |
//! | --- | --- |
//! | [`effect_cycle`] | effects do not bring about each other in a circle |
//! | [`access_cycle`] | access does not need itself |
//! | [`instances`] | a gate counts instances that some layout has |
//! | [`too_many`] | a gate and a check read no more states than can be weighed together |
//! | [`unreached_row`] | every row of a check can be reached, and the last always holds |
//! | [`open_hazard`] | a hazard has a control, and what opens it has an end |
//! | [`barred_key`] | an interlock lets through the check that ends it |
//! | [`step_ignites`] | a step that ignites belongs to a repair that does |
//! | [`dead_end`] | every cause leads to a symptom, shows in a check and goes with a repair (advice) |

mod access_cycle;
mod barred_key;
mod circle;
mod dead_end;
mod effect_cycle;
mod instances;
mod open_hazard;
mod step_ignites;
mod too_many;
mod unreached_row;

use super::Knowledge;
use super::resolve::context::Left;
use crate::finding::{Finding, Findings, Place, Severity};

/// Runs every rule, and puts the effects into their order.
#[must_use]
pub(super) fn vet(knowledge: &mut Knowledge, left: &Left) -> Findings {
    let mut whole = Whole { knowledge, left, findings: Findings::new() };
    let order = effect_cycle::check(&mut whole);
    access_cycle::check(&mut whole);
    instances::check(&mut whole);
    too_many::check(&mut whole);
    unreached_row::check(&mut whole);
    open_hazard::check(&mut whole);
    barred_key::check(&mut whole);
    step_ignites::check(&mut whole);
    dead_end::check(&mut whole);
    let findings = whole.findings;
    knowledge.effect_order = order;
    findings
}

/// The whole knowledge base, as a rule sees it. Where something was wrong with an item, parts of it are left out.
struct Whole<'a> {
    knowledge: &'a Knowledge,
    left: &'a Left,
    findings: Findings,
}

impl Whole<'_> {
    /// Whether something was found in this item before: what it seems to lack may have been there.
    fn hurt(&self, id: &str) -> bool {
        self.left.hurt.contains(id)
    }

    /// Whether something was found in any item: what nobody seems to name may be named.
    fn any_hurt(&self) -> bool {
        !self.left.hurt.is_empty() || self.left.flawed || self.findings.any_error()
    }

    /// Adds a finding at a spot: an item's id, or `id.given[2]`.
    fn find(&mut self, code: &'static str, severity: Severity, spot: &str, message: String, hints: Vec<String>) {
        let at = self.left.spots.get(spot).or_else(|| self.left.spots.get(spot.split('.').next().unwrap_or(spot)));
        let place = at.map_or_else(|| Place { file: String::new(), line: 0, column: 0 }, |s| s.place.clone());
        let path = at.map(|s| s.path.clone()).unwrap_or_default();
        self.findings.add(Finding { place, severity, code, path, message, hints });
    }

    /// Adds an error.
    fn error(&mut self, code: &'static str, spot: &str, message: String, hints: Vec<String>) {
        self.find(code, Severity::Error, spot, message, hints);
    }
}
