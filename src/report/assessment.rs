//! What is believed about a case and what to do next: gathered once, then a document for people or JSON for programs.

mod json;

pub use json::shape as assessment_shape;

use super::background::{self, Known};
use super::{Bar, Block, Column, Document, Figures, Rich, Table, words};
use crate::access::AccessGraph;
use crate::belief::{Belief, CauseBelief, Explanations, Memory, Unlisted, Weight, believe, weights};
use crate::case::Case;
use crate::decision::steady::{NEAR, Steadiness, steadiness};
use crate::decision::{Advice, Follow, Settings, advise};
use crate::inference::{Accuracy, Error};
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Check, Effect, Ix, Signal};
use crate::safety::Safety;
use jiff::Timestamp;

/// How many explanations are told.
const EXPLANATIONS: usize = 10;
/// How many causes the text tells; JSON has all.
const CAUSES: usize = 12;
/// How many places to look beyond the list are told.
const PLACES: usize = 3;
/// Chances under this are left out of the text.
const LEAST: f64 = 0.01;

/// Two ends of a cut link that agree less than this contradict each other.
const AT_ODDS: f64 = 1e-6;
/// What is told over cut links and still changes by more than this has not settled.
const RESTLESS: f64 = 0.02;

/// What is believed about a case and what to do next.
pub struct Assessment<'a> {
    laid: &'a Laid<'a>,
    case: &'a Case,
    belief: Belief,
    effects: Vec<(Instance<Effect>, f64)>,
    explanations: Explanations,
    weights: Vec<Weight>,
    advice: Advice,
    /// What doubling the work would change of any chance; `None` where it is exact.
    within: Option<f64>,
    /// How the recommendation stands up to shaken numbers.
    steadiness: Vec<Steadiness>,
    /// Answers that hold a hazard closed and grow old, and when they were given, where nobody said what time it is.
    undated: Vec<(Ix<Check>, Timestamp)>,
}

/// What must come about before anything is advised.
struct Waits {
    /// What it is, in a word for programs.
    on: &'static str,
    /// The same for people, with what to do.
    says: String,
}

/// The spreads by which numbers are shaken, in log-odds: well-kept estimates, and poor ones.
const SIGMAS: [f64; 2] = [0.5, 1.0];

impl<'a> Assessment<'a> {
    /// Gathers it; `shakes` is how often the numbers are shaken to see what stays, 0 for not at all.
    ///
    /// Cost: that of belief, effects, explanations, weights and advice together; seconds on a base of a hundred causes.
    ///
    /// # Errors
    /// Where the network is too wide for the limits.
    pub fn new(
        laid: &'a Laid<'a>,
        graph: &AccessGraph,
        case: &'a Case,
        settings: &Settings,
        shakes: usize,
    ) -> Result<Self, Error> {
        let limits = &settings.limits;
        let mut belief = believe(laid, case, limits)?;
        if belief.unlisted.is_none() {
            belief.look_beyond(case, &mut Memory::default())?;
        }
        let asked = Settings { bounds: true, follow: Follow::Asked, ..settings.clone() };
        let advice = advise(laid, graph, case, &belief, &asked)?;
        let sigmas: &[f64] = if shakes == 0 { &[] } else { &SIGMAS };
        let steadiness = steadiness(laid, graph, case, (&belief, &advice), settings, (sigmas, shakes))?;
        let undated = if settings.now.is_none() { Safety::of(laid, graph, case).closed_at } else { Vec::new() };
        Ok(Self {
            steadiness,
            undated,
            effects: belief.effects(limits)?,
            explanations: belief.explanations(laid, case, EXPLANATIONS, limits)?,
            weights: weights(laid, case, limits)?,
            advice,
            within: belief.self_check()?,
            belief,
            laid,
            case,
        })
    }
}

/// The likeliest causes as bars.
pub(super) fn ranking(laid: &Laid<'_>, causes: &[CauseBelief], figures: &Figures) -> Block {
    let bars = causes.iter().filter(|c| c.chance >= LEAST).take(CAUSES).map(|c| {
        let cause = &laid.knowledge.causes[c.cause.item];
        Bar {
            label: laid.words(&cause.title, cause.scope, c.cause.at).into(),
            share: c.chance,
            figure: figures.percent(c.chance),
        }
    });
    Block::Bars(bars.collect())
}

impl Assessment<'_> {
    /// The same as a page: with how each answer moved the belief, and the part of the fault tree that matters.
    #[must_use]
    pub fn page(&self, figures: &Figures) -> Document {
        let mut document = self.document(figures);
        if self.case.symptoms.is_empty() {
            return document;
        }
        let last = document.blocks.pop();
        let known = Known {
            laid: self.laid,
            case: self.case,
            belief: &self.belief,
            effects: &self.effects,
            weights: &self.weights,
        };
        background::tell(&known, figures, &mut document);
        document.blocks.extend(last);
        document
    }

    /// The same for people.
    #[must_use]
    pub fn document(&self, figures: &Figures) -> Document {
        let mut document = Document::new();
        document.title(self.case.title.clone().unwrap_or_else(|| "Assessment".to_owned()));
        self.stopped(&mut document);
        self.where_we_are(figures, &mut document);
        self.next_step(figures, &mut document);
        // What would account for no complaint is not worth telling.
        if !self.case.symptoms.is_empty() {
            self.explained(figures, &mut document);
            self.ranked(figures, &mut document);
            self.trusted(&mut document);
            self.held_up(&mut document);
        }
        document.aside("Local codes, the maker's manual and licensed practice come before anything printed here.");
        document.in_units(figures.system)
    }

    /// What ended the job stands above all else.
    fn stopped(&self, document: &mut Document) {
        let Some(lock) = self.case.emergency() else { return };
        let knowledge = self.laid.knowledge;
        document.push(Block::Caution(super::Caution {
            signal: Signal::Danger,
            title: format!("The job was stopped: {}", words::emergency(knowledge, lock)).into(),
            harm: None,
            controls: knowledge.interlocks[lock].tell.iter().map(Rich::from).collect(),
            never: vec![words::UNTIL_SAFE.into()],
            tick: None,
        }));
    }

    /// What can be complained of on this craft: ids and titles.
    fn complaints(&self) -> impl Iterator<Item = (&str, &str)> {
        let symptoms = &self.laid.knowledge.symptoms;
        let fitting = symptoms.iter().filter(|(_, symptom)| self.laid.fits(&symptom.fitted));
        fitting.map(|(ix, symptom)| (symptoms.id(ix), symptom.title.as_str()))
    }

    /// Why nothing is advised, and what changes that.
    fn waits(&self) -> Option<Waits> {
        let knowledge = self.laid.knowledge;
        match (self.case.emergency(), self.complaints().next()) {
            (Some(lock), _) => {
                Some(Waits { on: "declared-safe", says: format!("{}.", words::stopped(knowledge, lock)) })
            }
            (None, Some((id, _))) if self.case.symptoms.is_empty() => Some(Waits {
                on: "complaint",
                says: format!(
                    "Name a complaint first: under `symptoms` in the case, such as `symptoms: [{id}]`, or let \
                     `doldrum triage` ask for it. Without one there is nothing to look for."
                ),
            }),
            _ => None,
        }
    }

    fn where_we_are(&self, figures: &Figures, document: &mut Document) {
        let knowledge = self.laid.knowledge;
        let complaints: Vec<&str> = self.case.symptoms.iter().map(|s| knowledge.symptoms[*s].title.as_str()).collect();
        let complaints = if complaints.is_empty() { "none named".to_owned() } else { complaints.join("; ") };
        document.push(Block::Pairs(vec![
            ("Craft".into(), (&self.laid.layout().title).into()),
            ("Complaint".into(), complaints.into()),
            ("So far".into(), figures.cost(self.advice.spent, self.advice.spent_minutes).into()),
        ]));
        for open in &self.advice.hazards {
            let hazard = &knowledge.hazards[open.hazard];
            document.push(Block::Caution(super::Caution {
                signal: hazard.signal,
                title: (&hazard.title).into(),
                harm: Some((&hazard.harm).into()),
                controls: vec![format!("Taken as open because of: {}", words::lower_first(&open.why)).into()],
                never: Vec::new(),
                tick: None,
            }));
        }
        for (check, at) in &self.undated {
            let title = &knowledge.checks[*check].title;
            document.paragraph(format!(
                "{title}: last said {at}. Taken as good; make it again, or give the moment with `--now`."
            ));
        }
    }

    fn next_step(&self, figures: &Figures, document: &mut Document) {
        let next = &self.advice.next;
        document.section("Next");
        if let Some(waits) = self.waits() {
            document.paragraph(Rich::strong(&waits.says));
            if self.case.symptoms.is_empty() {
                document.part("What can be complained of");
                document.bullets(self.complaints().map(|(id, title)| format!("{id}: {title}")));
            }
            return;
        }
        let words = words::action(self.laid, &next.action);
        document.paragraph(Rich::strong(&words).and(&format!(": {}.", figures.cost(next.cost, next.minutes))));
        if let Some(first) = words::put_back(self.laid.knowledge, &next.before.put_back) {
            document.paragraph(first);
        }
        document.paragraph(words::reason(self.laid, next, figures));
        let bounds = words::bounds(&self.advice, figures).map(|bounds| format!(" {bounds}")).unwrap_or_default();
        let how_far = words::how_far(self.laid.knowledge, self.case);
        document.paragraph(format!("From here {how_far} about {}.{bounds}", words::rest(figures, &self.advice)));
        if let Some(wanted) = &self.advice.wanted {
            document.paragraph(format!("It clears the way for: {}.", words::action(self.laid, &wanted.action)));
        }
        if !next.branches.is_empty() {
            document.push(Block::Table(Table {
                columns: vec![Column::words("Answer"), Column::words("Chance"), Column::words("Then")],
                rows: next
                    .branches
                    .iter()
                    .map(|b| {
                        let knowledge = self.laid.knowledge;
                        let outcome = words::outcome(knowledge, &next.action, b.outcome);
                        let gone = || words::once_gone(knowledge, self.case);
                        let then = b.then.as_ref().map_or_else(gone, |a| words::action(self.laid, a));
                        vec![outcome.into(), figures.chance(b.chance).into(), then.into()]
                    })
                    .collect(),
                total: None,
            }));
        }
        if !self.advice.alternatives.is_empty() {
            document.part("Next best");
            let others = self.advice.alternatives.iter();
            document.bullets(others.map(|other| words::runner_up(self.laid, figures, other, next)));
        }
    }

    fn explained(&self, figures: &Figures, document: &mut Document) {
        document.section("What would account for it");
        let sets = &self.explanations.sets;
        let shown = sets.iter().take_while(|s| s.chance >= LEAST).count();
        document.bullets(
            sets[..shown]
                .iter()
                .map(|s| format!("{}: {}", words::causes(self.laid, &s.causes), figures.chance(s.chance))),
        );
        document.paragraph(format!(
            "Nothing that is listed: {}. {}",
            figures.chance(self.explanations.unexplained),
            words::others(figures, &self.explanations, shown)
        ));
        let misfits = &self.belief.misfits;
        if !misfits.is_empty() {
            let how = if self.belief.log_evidence.is_none() { "cannot all be right" } else { "do not fit well" };
            document.part(format!("Answers that {how}; the first is worth repeating"));
            document.bullets(misfits.iter().map(|m| words::said(self.laid, self.case, m.said, figures)));
        }
        if let Some(unlisted) = self.belief.unlisted.as_ref().filter(|unlisted| unlisted.is_said()) {
            self.beyond(unlisted, document);
        }
    }

    /// Where to look beyond the list.
    fn beyond(&self, unlisted: &Unlisted, document: &mut Document) {
        document.part("Something that is not listed may be behind it");
        document.paragraph(
            "The faults on the list account badly for all that was seen together. If a check made again shows the same, \
             look for what else could bring about:",
        );
        document.bullets(unlisted.effects.iter().take(PLACES).map(|(e, _)| {
            let effect = &self.laid.knowledge.effects[e.item];
            self.laid.words(&effect.title, effect.scope, e.at)
        }));
    }

    fn trusted(&self, document: &mut Document) {
        if self.steadiness.is_empty() {
            return;
        }
        document.section("How far to trust it");
        document.bullets(self.steadiness.iter().map(|steady| {
            // One standard deviation, as a factor of the odds.
            let factor = libm::exp(steady.sigma);
            let of = |times: usize| format!("{times} of {}", steady.draws);
            format!(
                "Were every number off by a factor of about {factor:.1}: the likeliest cause stayed the same in {}, the \
                 next step in {}; it was within {:.0}% of the best in {}.",
                of(steady.leader),
                of(steady.next),
                100.0 * NEAR,
                of(steady.near)
            )
        }));
    }

    fn ranked(&self, figures: &Figures, document: &mut Document) {
        document.section("Causes");
        document.push(ranking(self.laid, &self.belief.causes, figures));
        document.aside(format!("Several may be there at once, so these do not add up to 100%. {}", self.nearness()));
    }

    /// How near the figures are.
    fn nearness(&self) -> String {
        let Accuracy::Cut { links, last_change, agreement } = &self.belief.accuracy else { return "Exact.".to_owned() };
        let cut = match links.len() {
            1 => "1 link was cut".to_owned(),
            n => format!("{n} links were cut"),
        };
        if *agreement < AT_ODDS {
            return format!("{cut}, and over one of them the answers contradict each other: do not rely on this.");
        }
        if *last_change > RESTLESS {
            return format!("{cut}, and what is told over them did not settle: do not rely on this.");
        }
        format!("{cut}; within about {}: doubling the work moved no chance by more.", near(self.within.unwrap_or(0.0)))
    }

    fn held_up(&self, document: &mut Document) {
        if self.advice.barred.is_empty() {
            return;
        }
        document.section("Not now");
        let mut reasons: Vec<(&str, Vec<String>)> = Vec::new();
        for (action, why) in &self.advice.barred {
            let words = words::action(self.laid, action);
            match reasons.iter_mut().find(|(w, _)| w == why) {
                Some((_, held)) => held.push(words),
                None => reasons.push((why, vec![words])),
            }
        }
        document.bullets(reasons.into_iter().map(|(why, held)| match held.as_slice() {
            [first, second, rest @ ..] if rest.len() > 1 => {
                format!("{first}, {second} and {} more ({why})", rest.len())
            }
            _ => format!("{} ({why})", held.join(", ")),
        }));
    }
}

/// An error of a chance to one digit, rounded up, and no smaller than anybody cares for: .003.
fn near(error: f64) -> String {
    const LEAST: f64 = 0.001;
    let digit = libm::pow(10.0, libm::floor(libm::log10(error.max(LEAST)) + 1e-9));
    let up = libm::ceil(error.max(LEAST) / digit - 1e-9) * digit;
    let places = if up < 0.01 - 1e-9 {
        3
    } else if up < 0.1 - 1e-9 {
        2
    } else {
        1
    };
    format!("{up:.places$}").trim_start_matches('0').to_owned()
}
