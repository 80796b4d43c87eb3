//! Advice for authors about a knowledge base that reads without errors, one rule a file. What makes a base unusable is
//! found while it is read ([`crate::knowledge::vet`]); what stands here can be left, and the base is better without it.
//!
//! | file | rule |
//! | --- | --- |
//! | [`sources`] | every source is cited, and what is cited was read |
//! | [`words`] | words in texts that look like ids are ids |
//! | [`never_fires`] | every effect and symptom can come about |
//! | [`no_help`] | every check moves some cause |
//! | [`not_separated`] | some check tells causes apart that different repairs remove |
//! | [`never_chosen`] | every check is chosen in some job, where jobs were played |
//! | [`owner_words`] | what an owner could do is worded for owners |
//! | [`cautions`] | hazards are raised, and cautions stand where they count |
//! | [`put_back`] | what is opened can be asked to be put back |
//! | [`priors`] | chances before any answer are on one scale |
//!
//! [`testability`] puts figures to how well the checks of a base find its causes, layout by layout, symptom by symptom.

mod cautions;
pub mod codes;
mod never_chosen;
mod never_fires;
mod no_help;
mod not_separated;
mod owner_words;
mod page;
mod priors;
mod put_back;
pub mod shown;
mod sources;
pub mod testability;
mod words;

use crate::finding::{Finding, Findings, Place, Severity};
use crate::inference::Error;
use crate::knowledge::layout::{Craft, Laid};
use crate::knowledge::{Ix, Knowledge, Layout};
use shown::Shown;
use testability::Testability;

pub use never_chosen::never_chosen;
pub use page::page;

/// What was found.
#[derive(Clone, Debug, Default)]
pub struct Vetted {
    /// Advice.
    pub findings: Findings,
    /// How well checks find causes, layout by layout, symptom by symptom.
    pub testability: Vec<Testability>,
}

/// How far to look.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Depth {
    /// What can be read off the knowledge base.
    Quick,
    /// Also what every check shows for every cause, on each of these layouts with the usual options.
    Shown(Vec<Ix<Layout>>),
}

/// Advice about a knowledge base.
///
/// Cost: quick, a few milliseconds; else one query of inference over all checks for each layout and symptom.
///
/// # Errors
/// Where a network is too wide for the usual limits.
pub fn vet(knowledge: &Knowledge, depth: &Depth) -> Result<Vetted, Error> {
    let mut whole = Whole { knowledge, findings: Findings::new() };
    sources::check(&mut whole);
    words::check(&mut whole);
    never_fires::check(&mut whole);
    owner_words::check(&mut whole);
    cautions::check(&mut whole);
    priors::check(&mut whole);
    put_back::check(&mut whole);
    let Depth::Shown(layouts) = depth else {
        return Ok(Vetted { findings: whole.findings, testability: Vec::new() });
    };
    let mut seen: Vec<(Ix<Layout>, Vec<Shown>)> = Vec::new();
    for &layout in layouts {
        let laid = Laid::new(knowledge, Craft { layout, ..Craft::usual(knowledge) });
        seen.push((layout, shown::all(&laid)?));
    }
    no_help::check(&mut whole, &seen);
    not_separated::check(&mut whole, &seen);
    let testability = seen.iter().flat_map(|(layout, shown)| testability::of(knowledge, *layout, shown)).collect();
    Ok(Vetted { findings: whole.findings, testability })
}

/// The whole knowledge base, as a rule sees it.
struct Whole<'k> {
    knowledge: &'k Knowledge,
    findings: Findings,
}

impl Whole<'_> {
    /// Adds advice about an item.
    fn advise(&mut self, code: &'static str, id: &str, message: String, hints: Vec<String>) {
        let nowhere = Place { file: String::new(), line: 0, column: 0 };
        let place = self.knowledge.places.get(id).cloned().unwrap_or(nowhere);
        self.advise_at(code, place, message, hints);
    }

    /// Adds advice about a place.
    fn advise_at(&mut self, code: &'static str, place: Place, message: String, hints: Vec<String>) {
        let severity = Severity::Advice;
        self.findings.add(Finding { place, severity, code, path: String::new(), message, hints });
    }
}

/// "`a`, `b` and `c`".
fn listed<'a>(ids: impl IntoIterator<Item = &'a str>) -> String {
    let ids: Vec<String> = ids.into_iter().map(|id| format!("`{id}`")).collect();
    match ids.as_slice() {
        [] => String::new(),
        [one] => one.clone(),
        [all @ .., last] => format!("{} and {last}", all.join(", ")),
    }
}
