//! What is beyond the user or the craft: skill, reach, tools, and what the craft can no longer do.

use super::action::{Action, Traits};
use super::moment::outcome_of;
use crate::access::AccessGraph;
use crate::case::{Case, Event, Presence};
use crate::knowledge::layout::Laid;
use crate::knowledge::{Ability, Turns};

/// What the craft can still do: all that neither a symptom named (and not gone since) nor an answer since the last
/// repair takes away. What a craft was seen to do since, it can: the starter that stayed silent yesterday turns it today.
#[must_use]
pub fn abilities(laid: &Laid<'_>, case: &Case) -> Vec<Ability> {
    let mut lost: Vec<Ability> = Vec::new();
    let mut seen: Vec<Ability> = Vec::new();
    let mut symptoms = case.symptoms.clone();
    for entry in &case.log {
        match &entry.event {
            Event::Answer { check, answer, .. } => {
                if let Some(outcome) = outcome_of(laid, case, *check, *answer) {
                    let item = &laid.knowledge.checks[*check];
                    let outcomes = &item.outcomes;
                    let denied = &outcomes[outcome].denies;
                    lost.extend(denied);
                    seen.retain(|ability| !denied.contains(ability));
                    // The starter turned it and all was well: it can do the least of what it was found unable to otherwise.
                    if outcomes[outcome].pass && item.turns == Turns::Starter {
                        seen.extend(outcomes.iter().filter_map(|other| other.denies.iter().min()));
                    }
                }
            }
            // What a repair changed is open again.
            Event::Repaired { .. } => {
                lost.clear();
                seen.clear();
            }
            Event::Tried { symptom, now: Presence::Absent } => symptoms.retain(|s| s != symptom),
            Event::Tried { symptom, now: Presence::Present } => {
                seen.clear();
                if !symptoms.contains(symptom) {
                    symptoms.push(*symptom);
                }
            }
            _ => {}
        }
    }
    let complained = symptoms.iter().flat_map(|s| &laid.knowledge.symptoms[*s].denies);
    lost.extend(complained.filter(|ability| !seen.contains(ability)));
    Ability::ALL.into_iter().filter(|ability| !lost.iter().any(|l| l <= ability)).collect()
}

/// Why an action is beyond the user or the craft, in plain words; `None`: it is not.
#[must_use]
pub fn beyond(
    laid: &Laid<'_>,
    graph: &AccessGraph,
    case: &Case,
    action: &Action,
    traits: &Traits,
    abilities: &[Ability],
) -> Option<String> {
    let knowledge = laid.knowledge;
    // What was complained of is tried though the craft could not do it before: that is the point.
    if matches!(action, Action::Try(_)) {
        return None;
    }
    if let Some(missing) = traits.able.iter().find(|a| !abilities.contains(a)) {
        return Some(lacks(*missing).to_owned());
    }
    let user = &knowledge.users[case.user];
    let by_phone = user.is_on_the_phone();
    if let Action::Check(instance) = action
        && by_phone
        && knowledge.checks[instance.item].owner.is_none()
    {
        return Some("it is not a check for an owner on the phone".to_owned());
    }
    if let Some(most) = user.skill.filter(|most| traits.skill > *most) {
        return Some(format!("it takes more skill than this user has ({} of 4, not {most})", traits.skill));
    }
    if let Some(allowed) = &user.access
        && let Some(closed) = graph.needed(&traits.access).iter().find(|a| !allowed.contains(a))
    {
        return Some(format!("this user does not open it: {}", knowledge.access[closed].title));
    }
    let tools = case.tools.as_ref()?;
    let missing = traits.tools.iter().find(|tool| !tools.iter().any(|have| have.eq_ignore_ascii_case(tool)))?;
    // Hands, nose and a rag are not tools anyone lists.
    (!common_tool(missing)).then(|| format!("it needs a tool that is not there: {missing}"))
}

/// What everybody has.
fn common_tool(tool: &str) -> bool {
    ["none", "nose", "ear", "fingers", "rag", "hand", "flashlight", "notes"]
        .contains(&tool.to_ascii_lowercase().as_str())
}

fn lacks(ability: Ability) -> &'static str {
    match ability {
        Ability::Cranks => "the craft does not crank",
        Ability::Starts => "the craft does not start",
        Ability::Runs => "the craft does not keep running",
        Ability::ReachesLoad => "the craft cannot be run under load",
    }
}
