//! What is believed about a case and what to do next: gathered once, then JSON for programs or a document for people.

use super::background::{self, Known};
use super::{Bar, Block, Column, Document, Figures, Rich, Table, words};
use crate::access::AccessGraph;
use crate::belief::{Belief, CauseBelief, Explanations, Listed, Memory, Unlisted, Weight, believe, weights};
use crate::case::Case;
use crate::decision::steady::{NEAR, Steadiness, steadiness};
use crate::decision::{Action, Advice, Proposal, Settings, advise};
use crate::inference::{Accuracy, Error};
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Cause, Effect, Scope};
use crate::model::compile::Said;
use crate::safety::Before;
use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::Serialize;

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
        let advice = advise(laid, graph, case, &belief, &Settings { bounds: true, ..settings.clone() })?;
        let sigmas: &[f64] = if shakes == 0 { &[] } else { &SIGMAS };
        let steadiness = steadiness(laid, graph, case, (&belief, &advice), settings, (sigmas, shakes))?;
        Ok(Self {
            steadiness,
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

// --- JSON ---------------------------------------------------------------------------------------------------------

#[derive(Serialize, JsonSchema)]
struct Json<'a> {
    format: u32,
    knowledge: KnowledgeJson<'a>,
    accuracy: AccuracyJson,
    causes: Vec<StateJson<'a>>,
    effects: Vec<StateJson<'a>>,
    explanations: Vec<ExplanationJson>,
    unexplained: f64,
    missed: f64,
    unlisted_at_most: f64,
    listed: &'static str,
    log_evidence: Option<f64>,
    conflict: Option<f64>,
    misfits: Vec<MisfitJson>,
    beyond_the_list: Option<BeyondJson>,
    next: ProposalJson,
    wanted: Option<ProposalJson>,
    alternatives: Vec<ProposalJson>,
    hazards: Vec<HazardJson<'a>>,
    barred: Vec<BarredJson<'a>>,
    weights: Vec<WeightJson>,
    spent: SpentJson,
    bounds: Option<BoundsJson>,
    steadiness: Vec<SteadinessJson>,
}

#[derive(Serialize, JsonSchema)]
struct BoundsJson {
    /// No way of working comes to less on average.
    at_least: f64,
    /// The step proposed and repairs in a row after it come to this.
    at_most: f64,
}

#[derive(Serialize, JsonSchema)]
struct SteadinessJson {
    /// By how much the numbers were shaken, in log-odds.
    sigma: f64,
    /// How often.
    draws: usize,
    /// How often the likeliest cause stayed the likeliest.
    leader: usize,
    /// How often the next step stayed the best.
    next: usize,
    /// How often it stayed within 5 % of the best.
    near: usize,
}

#[derive(Serialize, JsonSchema)]
struct KnowledgeJson<'a> {
    id: &'a str,
    version: &'a str,
}

#[derive(Serialize, JsonSchema)]
struct AccuracyJson {
    exact: bool,
    links_cut: usize,
    last_change: f64,
    /// What doubling the work moves any chance by.
    within: f64,
    contradiction_over_cut: bool,
}

#[derive(Serialize, JsonSchema)]
struct StateJson<'a> {
    id: String,
    title: &'a str,
    probability: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    before: Option<f64>,
}

#[derive(Serialize, JsonSchema)]
struct ExplanationJson {
    causes: Vec<String>,
    probability: f64,
}

#[derive(Serialize, JsonSchema)]
struct MisfitJson {
    entry: Option<usize>,
    symptom: Option<String>,
    bits: Option<f64>,
}

#[derive(Serialize, JsonSchema)]
struct BeyondJson {
    probability: f64,
    said: bool,
    effects: Vec<ExpectedJson>,
}

#[derive(Serialize, JsonSchema)]
struct ExpectedJson {
    id: String,
    probability: f64,
}

#[derive(Serialize, JsonSchema)]
struct ProposalJson {
    action: &'static str,
    id: Option<String>,
    title: String,
    minutes: f64,
    cost: f64,
    expected_cost: f64,
    saves: f64,
    reason: String,
    separates: Vec<String>,
    before: BeforeJson,
    outcomes: Vec<OutcomeJson>,
}

#[derive(Serialize, JsonSchema)]
struct BeforeJson {
    put_back: Vec<String>,
    close: Option<CloseJson>,
    ticks: Vec<String>,
}

#[derive(Serialize, JsonSchema)]
struct CloseJson {
    check: String,
    outcome: String,
    aired_minutes: f64,
}

#[derive(Serialize, JsonSchema)]
struct OutcomeJson {
    outcome: String,
    probability: f64,
    then: Option<String>,
    leader: Option<String>,
}

#[derive(Serialize, JsonSchema)]
struct HazardJson<'a> {
    id: &'a str,
    title: &'a str,
    why: &'a str,
    air_minutes: f64,
}

#[derive(Serialize, JsonSchema)]
struct BarredJson<'a> {
    action: &'static str,
    id: Option<String>,
    why: &'a str,
}

#[derive(Serialize, JsonSchema)]
struct WeightJson {
    entry: Option<usize>,
    symptom: Option<String>,
    cause: String,
    decibans: f64,
}

#[derive(Serialize, JsonSchema)]
struct SpentJson {
    minutes: f64,
    money: f64,
}

/// The shape of what [`Assessment::json`] makes.
#[must_use]
pub fn assessment_shape(shapes: &mut SchemaGenerator) -> Schema {
    shapes.subschema_for::<Json<'static>>()
}

impl Assessment<'_> {
    /// The stable contract for programs: keys in this order, numbers as they are, ids with `@place` where there are
    /// several. Money in the knowledge base's currency, minutes, natural logarithm, bits, decibans.
    ///
    /// # Panics
    /// Never: plain data becomes JSON.
    #[must_use]
    pub fn json(&self) -> String {
        let mut text = serde_json::to_string_pretty(&self.as_json()).expect("plain data becomes JSON");
        text.push('\n');
        text
    }

    fn accuracy_json(&self) -> AccuracyJson {
        let within = self.within.unwrap_or(0.0);
        match &self.belief.accuracy {
            Accuracy::Exact => {
                AccuracyJson { exact: true, links_cut: 0, last_change: 0.0, within, contradiction_over_cut: false }
            }
            Accuracy::Cut { links, last_change, agreement } => AccuracyJson {
                exact: false,
                links_cut: links.len(),
                last_change: *last_change,
                within,
                contradiction_over_cut: *agreement < AT_ODDS,
            },
        }
    }

    fn beyond_json(&self, unlisted: &Unlisted) -> BeyondJson {
        let id = |e: Instance<Effect>| {
            let effects = &self.laid.knowledge.effects;
            self.laid.label(effects.id(e.item), effects[e.item].scope, e.at)
        };
        let likeliest = unlisted.effects.iter().take(PLACES);
        BeyondJson {
            probability: unlisted.chance,
            said: unlisted.is_said(),
            effects: likeliest.map(|&(e, probability)| ExpectedJson { id: id(e), probability }).collect(),
        }
    }

    fn as_json(&self) -> Json<'_> {
        let knowledge = self.laid.knowledge;
        let (advice, belief) = (&self.advice, &self.belief);
        Json {
            format: 1,
            knowledge: KnowledgeJson { id: &knowledge.id, version: &knowledge.version },
            accuracy: self.accuracy_json(),
            causes: belief
                .causes
                .iter()
                .map(|c| StateJson {
                    id: self.cause(c.cause),
                    title: &knowledge.causes[c.cause.item].title,
                    probability: c.chance,
                    before: Some(c.prior),
                })
                .collect(),
            effects: self
                .effects
                .iter()
                .map(|(e, chance)| {
                    let effect = &knowledge.effects[e.item];
                    let id = self.laid.label(knowledge.effects.id(e.item), effect.scope, e.at);
                    StateJson { id, title: &effect.title, probability: *chance, before: None }
                })
                .collect(),
            explanations: self
                .explanations
                .sets
                .iter()
                .map(|set| ExplanationJson {
                    causes: set.causes.iter().map(|c| self.cause(*c)).collect(),
                    probability: set.chance,
                })
                .collect(),
            unexplained: self.explanations.unexplained,
            missed: self.explanations.missed,
            unlisted_at_most: self.explanations.unlisted_at_most,
            listed: match self.explanations.listed {
                Listed::Searched => "searched",
                Listed::Drawn => "drawn",
            },
            log_evidence: belief.log_evidence,
            conflict: belief.conflict_bits,
            misfits: belief
                .misfits
                .iter()
                .map(|m| {
                    let (entry, symptom) = self.said(m.said);
                    MisfitJson { entry, symptom, bits: m.bits.is_finite().then_some(m.bits) }
                })
                .collect(),
            beyond_the_list: belief.unlisted.as_ref().map(|unlisted| self.beyond_json(unlisted)),
            next: self.proposal(&advice.next),
            wanted: advice.wanted.as_ref().map(|p| self.proposal(p)),
            alternatives: advice.alternatives.iter().map(|p| self.proposal(p)).collect(),
            hazards: advice
                .hazards
                .iter()
                .map(|h| HazardJson {
                    id: knowledge.hazards.id(h.hazard),
                    title: &knowledge.hazards[h.hazard].title,
                    why: &h.why,
                    air_minutes: h.air.get(),
                })
                .collect(),
            barred: advice
                .barred
                .iter()
                .map(|(action, why)| BarredJson { action: kind(action), id: self.action(action), why })
                .collect(),
            weights: self
                .weights
                .iter()
                .map(|w| {
                    let (entry, symptom) = self.said(w.said);
                    WeightJson { entry, symptom, cause: self.cause(w.cause), decibans: w.decibans }
                })
                .collect(),
            spent: SpentJson { minutes: advice.spent_minutes.get(), money: advice.spent.get() },
            bounds: advice
                .bounds
                .map(|bounds| BoundsJson { at_least: bounds.at_least.get(), at_most: bounds.at_most.get() }),
            steadiness: self
                .steadiness
                .iter()
                .map(|&Steadiness { sigma, draws, leader, next, near }| SteadinessJson {
                    sigma,
                    draws,
                    leader,
                    next,
                    near,
                })
                .collect(),
        }
    }

    fn cause(&self, cause: Instance<Cause>) -> String {
        let causes = &self.laid.knowledge.causes;
        self.laid.label(causes.id(cause.item), causes[cause.item].scope, cause.at)
    }

    /// The position in the log, or the symptom the customer named.
    fn said(&self, said: Said) -> (Option<usize>, Option<String>) {
        match said {
            Said::Entry(at) => (Some(at), None),
            Said::Customer(symptom) => {
                let named = if self.case.symptoms.contains(&symptom) {
                    symptom
                } else {
                    // What was not named speaks together with what was.
                    self.case.symptoms.first().copied().unwrap_or(symptom)
                };
                (None, Some(self.laid.knowledge.symptoms.id(named).to_owned()))
            }
        }
    }

    fn action(&self, action: &Action) -> Option<String> {
        let knowledge = self.laid.knowledge;
        match action {
            Action::Check(check) => {
                let scope = knowledge.checks[check.item].scope;
                Some(self.laid.label(knowledge.checks.id(check.item), scope, check.at))
            }
            Action::Repair(repair, places) => {
                let scope: Scope = knowledge.repairs[*repair].scope;
                let id = knowledge.repairs.id(*repair);
                let names: Vec<&str> = places.iter().filter_map(|at| self.laid.place_name(scope, *at)).collect();
                let all = names.is_empty() || places.len() == self.laid.places(scope);
                Some(if all { id.to_owned() } else { format!("{id}@{}", names.join("+")) })
            }
            Action::Try(_) | Action::HandOver => None,
        }
    }

    fn outcome(&self, action: &Action, outcome: usize) -> String {
        match action {
            Action::Check(check) => self.laid.knowledge.checks[check.item].outcomes[outcome].id.clone(),
            _ if outcome == 0 => "gone".to_owned(),
            _ => "still-there".to_owned(),
        }
    }

    fn proposal(&self, proposal: &Proposal) -> ProposalJson {
        let figures = Figures::new(self.laid.knowledge, crate::units::System::Us);
        let outcomes = proposal.branches.iter().map(|branch| OutcomeJson {
            outcome: self.outcome(&proposal.action, branch.outcome),
            probability: branch.chance,
            then: branch.then.as_ref().map(|then| self.action(then).unwrap_or_else(|| kind(then).to_owned())),
            leader: branch.leader.map(|(cause, _)| self.cause(cause)),
        });
        ProposalJson {
            action: kind(&proposal.action),
            id: self.action(&proposal.action),
            title: words::action(self.laid, &proposal.action),
            minutes: proposal.minutes.get(),
            cost: proposal.cost.get(),
            expected_cost: proposal.expected_cost.get(),
            saves: proposal.saves.get(),
            reason: words::reason(self.laid, proposal, &figures),
            separates: proposal.separates.iter().map(|c| self.cause(*c)).collect(),
            before: self.before(&proposal.before),
            outcomes: outcomes.collect(),
        }
    }

    fn before(&self, before: &Before) -> BeforeJson {
        let knowledge = self.laid.knowledge;
        BeforeJson {
            put_back: before.put_back.iter().map(|a| knowledge.access.id(*a).to_owned()).collect(),
            close: before.close.map(|(check, outcome, air)| CloseJson {
                check: knowledge.checks.id(check).to_owned(),
                outcome: knowledge.checks[check].outcomes[outcome].id.clone(),
                aired_minutes: air.get(),
            }),
            ticks: before.ticks.iter().map(|t| knowledge.ticks.id(*t).to_owned()).collect(),
        }
    }
}

fn kind(action: &Action) -> &'static str {
    match action {
        Action::Check(_) => "check",
        Action::Repair(..) => "repair",
        Action::Try(_) => "try",
        Action::HandOver => "hand-over",
    }
}

// --- for people ---------------------------------------------------------------------------------------------------

impl Assessment<'_> {
    /// The same as a page: with how each answer moved the belief, and the part of the fault tree that matters.
    #[must_use]
    pub fn page(&self, figures: &Figures) -> Document {
        let mut document = self.document(figures);
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
        self.where_we_are(figures, &mut document);
        self.next_step(figures, &mut document);
        self.explained(figures, &mut document);
        self.ranked(figures, &mut document);
        self.trusted(&mut document);
        self.held_up(&mut document);
        document.aside("Local codes, the maker's manual and licensed practice come before anything printed here.");
        document
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
    }

    fn next_step(&self, figures: &Figures, document: &mut Document) {
        let next = &self.advice.next;
        document.section("Next");
        let words = words::action(self.laid, &next.action);
        document.paragraph(Rich::strong(&words).and(&format!(": {}.", figures.cost(next.cost, next.minutes))));
        document.paragraph(words::reason(self.laid, next, figures));
        let total = self.advice.wanted.as_ref().unwrap_or(next).expected_cost;
        let bounds = words::bounds(&self.advice, figures).map(|bounds| format!(" {bounds}")).unwrap_or_default();
        document.paragraph(format!("From here to the end about {}.{bounds}", figures.money(total)));
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
                        let then = b.then.as_ref().map_or("done".to_owned(), |a| words::action(self.laid, a));
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
