//! What is believed about a case and what to do next, for programs.

use super::{AT_ODDS, Assessment, PLACES, Waits};
use crate::belief::{Listed, Unlisted};
use crate::decision::steady::Steadiness;
use crate::decision::{Action, Bounds, Proof, Proposal};
use crate::inference::Accuracy;
use crate::knowledge::layout::Instance;
use crate::knowledge::{Cause, Effect, Scope};
use crate::model::compile::Said;
use crate::report::{Figures, words};
use crate::safety::Before;
use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::Serialize;

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
    /// Why nothing is advised, where that is so.
    #[serde(skip_serializing_if = "Option::is_none")]
    waits: Option<WaitsJson>,
    /// What to do next; none while something is waited for.
    next: Option<ProposalJson>,
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
struct WaitsJson {
    /// `declared-safe`: the job was stopped, and nobody has said since that the craft is safe. `complaint`: none is named.
    on: &'static str,
    /// The same in words, with what to do.
    says: String,
}

#[derive(Serialize, JsonSchema)]
struct BoundsJson {
    /// No way of working comes to less on average.
    at_least: f64,
    /// A way of working that begins with this step comes to this: by a search, or with repairs in a row after it.
    at_most: f64,
    /// By what share it may be dearer than the best possible, at most.
    within: f64,
    /// How many states of what may be known were searched for that; none without a search.
    #[serde(skip_serializing_if = "Option::is_none")]
    states: Option<usize>,
}

impl BoundsJson {
    /// `best` says what is known of the best step.
    fn of(bounds: Bounds, best: Bounds) -> Self {
        let states = match bounds.by {
            Proof::Knowing => None,
            Proof::Searched(states) => Some(states),
        };
        let within = Bounds { at_most: bounds.at_most, ..best }.within();
        Self { at_least: bounds.at_least.get(), at_most: bounds.at_most.get(), within, states }
    }
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
    /// By what share of the best it was dearer than it, on average.
    regret: f64,
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
    /// Minutes of the same course; only of the step that is proposed.
    #[serde(skip_serializing_if = "Option::is_none")]
    expected_minutes: Option<f64>,
    saves: f64,
    reason: String,
    separates: Vec<String>,
    before: BeforeJson,
    outcomes: Vec<OutcomeJson>,
    /// Between what the job comes to with it, where that was searched for.
    #[serde(skip_serializing_if = "Option::is_none")]
    bounds: Option<BoundsJson>,
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
pub fn shape(shapes: &mut SchemaGenerator) -> Schema {
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
        let waits = self.waits();
        let advised = waits.is_none();
        let next =
            || ProposalJson { expected_minutes: Some(advice.expected_minutes.get()), ..self.proposal(&advice.next) };
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
            waits: waits.map(|Waits { on, says }| WaitsJson { on, says }),
            next: advised.then(next),
            wanted: advice.wanted.as_ref().filter(|_| advised).map(|p| self.proposal(p)),
            alternatives: advice.alternatives.iter().filter(|_| advised).map(|p| self.proposal(p)).collect(),
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
            bounds: advice.bounds.filter(|_| advised).map(|bounds| BoundsJson::of(bounds, bounds)),
            steadiness: self
                .steadiness
                .iter()
                .map(|&Steadiness { sigma, draws, leader, next, near, regret }| SteadinessJson {
                    sigma,
                    draws,
                    leader,
                    next,
                    near,
                    regret,
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
            expected_minutes: None,
            saves: proposal.saves.get(),
            reason: words::reason(self.laid, proposal, &figures),
            separates: proposal.separates.iter().map(|c| self.cause(*c)).collect(),
            before: self.before(&proposal.before),
            outcomes: outcomes.collect(),
            bounds: proposal.bounds.zip(self.advice.bounds).map(|(bounds, best)| BoundsJson::of(bounds, best)),
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
