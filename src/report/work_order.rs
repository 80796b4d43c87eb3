//! The plan on paper: the job on one page, the record sheet, boxes to tick in working order, what to tell.

mod front;
mod outline;
mod record;
mod work;

pub use record::NOT_KNOWN;

use super::background::{self, Known};
use super::{Block, Document, Figures, Mark, Step, assessment};
use crate::belief::{Belief, Weight, weights};
use crate::case::Case;
use crate::inference::{Error, Limits};
use crate::knowledge::Effect;
use crate::knowledge::layout::{Instance, Laid};
use crate::plan::Plan;
use outline::Outline;
use record::Record;

/// What must be in the record for whoever opens this engine next.
const RECORD: &str = "Leave in the record: what was set, what was measured before and after, what was replaced and by \
    which number, what was left old on purpose, who tested it, fuel and hours.";

/// The work order as a document: first the job on one page, then the work.
#[must_use]
pub fn work_order(plan: &Plan, figures: &Figures) -> Document {
    let mut doc = Document::new();
    let outline = Outline::of(plan);
    let record = Record::of(plan);
    front::write(plan, &outline, figures, &mut doc);
    doc.push(Block::Rule);
    record.sheet(figures, &mut doc);
    work::write(plan, &outline, &record, figures, &mut doc);
    offers(plan, figures, &mut doc);
    tail(plan, &mut doc);
    doc.in_units(figures.system)
}

/// What a work order goes by: the belief, and what came of each answer.
pub struct Behind<'a> {
    laid: &'a Laid<'a>,
    case: &'a Case,
    belief: &'a Belief,
    effects: Vec<(Instance<Effect>, f64)>,
    weights: Vec<Weight>,
}

impl<'a> Behind<'a> {
    /// Gathers it. Cost: a pass of inference for each answer.
    ///
    /// # Errors
    /// Where the network is too wide for the limits.
    pub fn new(laid: &'a Laid<'a>, case: &'a Case, belief: &'a Belief, limits: &Limits) -> Result<Self, Error> {
        let (effects, weights) = (belief.effects(limits)?, weights(laid, case, limits)?);
        Ok(Self { laid, case, belief, effects, weights })
    }
}

/// The work order as a page: after the work, on a sheet of its own, what it goes by.
#[must_use]
pub fn work_order_page(plan: &Plan, behind: &Behind<'_>, figures: &Figures) -> Document {
    let mut doc = work_order(plan, figures);
    let defers = doc.blocks.pop();
    doc.push(Block::Rule);
    doc.section("What it goes by: the causes");
    doc.push(assessment::ranking(behind.laid, &behind.belief.causes, figures));
    doc.aside("Several may be there at once, so these do not add up to 100%.");
    let Behind { laid, case, belief, effects, weights } = behind;
    background::tell(&Known { laid, case, belief, effects, weights }, figures, &mut doc);
    doc.blocks.extend(defers);
    doc
}

fn offers(plan: &Plan, figures: &Figures, doc: &mut Document) {
    if plan.offers.is_empty() && plan.offered_parts.is_empty() {
        return;
    }
    doc.section("Worth doing while there");
    doc.paragraph("Not in the price. The owner may refuse, in writing.");
    for offer in &plan.offers {
        let what = format!("{}: adds {}.", offer.repair.words, figures.cost(offer.cost, offer.minutes));
        doc.step(Step { mark: Mark::Box, what: what.into(), ..Step::default() });
    }
    for part in &plan.offered_parts {
        doc.step(Step { mark: Mark::Box, what: sentence(part).into(), ..Step::default() });
    }
}

fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    let first: String = chars.next().map(|c| c.to_uppercase().collect()).unwrap_or_default();
    format!("{first}{}.", chars.as_str().trim_end_matches('.'))
}

fn tail(plan: &Plan, doc: &mut Document) {
    if !plan.tell_owner.is_empty() {
        doc.section("Tell the owner");
        doc.bullets(&plan.tell_owner);
    }
    doc.section("Afterwards");
    doc.bullets([&plan.waste, &plan.follow_up, RECORD]);
    doc.aside(&plan.defers);
}

/// With its places after it.
fn with_places(text: &str, places: &[String]) -> String {
    if places.is_empty() { text.to_owned() } else { format!("{} ({})", text.trim_end_matches('.'), places.join(", ")) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::bench::{case, knowledge, made};
    use crate::report::{Chances, Paint, render_markdown, render_text};
    use crate::units::System;

    fn document(system: System) -> Document {
        let knowledge = knowledge();
        let likely = [("needle-worn@front", 0.9), ("needle-worn@rear", 0.7), ("stop-wire-grounded", 0.55)];
        let case = case(&knowledge, "technician");
        let plan = made(&knowledge, &case, &["needle-worn"], &likely).expect("a plan");
        let figures = Figures { chances: Chances::Words, ..Figures::new(&knowledge, system) };
        work_order(&plan, &figures)
    }

    #[test]
    fn one_plan_on_paper() {
        let document = document(System::Us);
        for width in [60, 100] {
            insta::assert_snapshot!(format!("plan_{width}"), render_text(&document, width, Paint::Plain));
        }
        insta::assert_snapshot!("plan_markdown", render_markdown(&document));
    }

    #[test]
    fn targets_follow_the_reader() {
        let text = render_text(&document(System::Metric), 120, Paint::Plain);
        let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(text.contains("target 172 kPa, within 13.8 kPa, 3 readings, no more than 13.8 kPa apart"), "{text}");
    }
}
