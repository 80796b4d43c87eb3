//! What is written down before a craft is taken apart: settings as found, and photographs.

use crate::access::AccessGraph;
use crate::case::{Case, Event};
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Access, Ix, Phase, Repair, Scope, Setting};

/// What is about to be taken apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Apart<'a> {
    /// A state of access, with all that must be open before it.
    Access(Ix<Access>),
    /// A repair at these places, with the access it needs.
    Repair(Ix<Repair>, &'a [usize]),
}

/// A setting to write down, and what the log has for it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ToRecord {
    /// The setting at its place.
    pub setting: Instance<Setting>,
    /// The latest value in the log; `None`: it must be asked for.
    pub value: Option<String>,
}

/// The settings that this disturbs, in the order in which they are come upon: those of access that is still shut, then
/// those of the repair up to the judging of its parts. What a repair writes down later (as built, at hand-over) is not
/// as found and is not among them.
#[must_use]
pub fn to_record(laid: &Laid<'_>, graph: &AccessGraph, case: &Case, apart: Apart<'_>) -> Vec<ToRecord> {
    let knowledge = laid.knowledge;
    let (wanted, cylinders): (Vec<Ix<Access>>, Vec<usize>) = match apart {
        Apart::Access(access) => (vec![access], (0..laid.places(Scope::Cylinder)).collect()),
        Apart::Repair(repair, places) => {
            let item = &knowledge.repairs[repair];
            let at = places.iter().flat_map(|at| laid.bearing(Scope::Cylinder, item.scope, *at));
            (item.access.clone(), at.collect())
        }
    };
    let mut all: Vec<Instance<Setting>> = Vec::new();
    let mut add = |settings: Vec<Instance<Setting>>| {
        for setting in settings {
            if !all.contains(&setting) {
                all.push(setting);
            }
        }
    };
    for access in graph.missing(&graph.open_now(laid, case), &wanted) {
        for step in &knowledge.access[access].steps {
            add(at_places(laid, &step.record, Scope::Craft, &cylinders));
        }
    }
    if let Apart::Repair(repair, places) = apart {
        let item = &knowledge.repairs[repair];
        for step in item.steps.iter().filter(|step| step.phase <= Phase::Judge) {
            add(at_places(laid, &step.record, item.scope, places));
        }
    }
    all.into_iter().map(|setting| ToRecord { setting, value: recorded(case, setting) }).collect()
}

/// The latest value that the log has for a setting.
#[must_use]
pub fn recorded(case: &Case, setting: Instance<Setting>) -> Option<String> {
    case.log.iter().rev().find_map(|entry| match &entry.event {
        Event::Set { setting: which, value } if *which == setting => Some(value.clone()),
        _ => None,
    })
}

/// Settings at the places they bear on; `Scope::Craft` stands for places counted in cylinders.
pub(super) fn at_places(
    laid: &Laid<'_>,
    settings: &[Ix<Setting>],
    scope: Scope,
    places: &[usize],
) -> Vec<Instance<Setting>> {
    let of = if scope == Scope::Craft { Scope::Cylinder } else { scope };
    let craft: Vec<usize> = (0..laid.places(Scope::Cylinder)).collect();
    let places = if scope == Scope::Craft && places == [0] { &craft } else { places };
    let mut all: Vec<Instance<Setting>> = Vec::new();
    for &ix in settings {
        for &place in places {
            for at in laid.bearing(laid.knowledge.settings[ix].scope, of, place) {
                let instance = Instance::new(ix, at);
                if !all.contains(&instance) {
                    all.push(instance);
                }
            }
        }
    }
    all
}
