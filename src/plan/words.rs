//! Ids with their words.

use super::{Caution, Named, SettingLine};
use crate::case::Case;
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Cause, Hazard, Ix, Phase, Repair, Scope, Setting};

/// The id of a phase.
pub fn phase_id(phase: Phase) -> &'static str {
    match phase {
        Phase::MakeSafe => "make-safe",
        Phase::Open => "open",
        Phase::Record => "record",
        Phase::Strip => "strip",
        Phase::Judge => "judge",
        Phase::Clean => "clean",
        Phase::Rebuild => "rebuild",
        Phase::Bench => "bench",
        Phase::Refit => "refit",
        Phase::Settings => "settings",
        Phase::Fill => "fill",
        Phase::Prove => "prove",
        Phase::HandOver => "hand-over",
    }
}

/// A cause instance.
pub fn cause(laid: &Laid<'_>, cause: Instance<Cause>) -> Named {
    let item = &laid.knowledge.causes[cause.item];
    Named {
        id: laid.label(laid.knowledge.causes.id(cause.item), item.scope, cause.at),
        words: laid.words(&item.title, item.scope, cause.at),
    }
}

/// A repair.
pub fn repair(laid: &Laid<'_>, ix: Ix<Repair>) -> Named {
    Named { id: laid.knowledge.repairs.id(ix).to_owned(), words: laid.knowledge.repairs[ix].title.clone() }
}

/// The names of places; none where there is only one to speak of.
pub fn places(laid: &Laid<'_>, scope: Scope, at: &[usize]) -> Vec<String> {
    at.iter().filter_map(|&at| laid.place_name(scope, at)).map(str::to_owned).collect()
}

/// A caution in full.
pub fn caution(laid: &Laid<'_>, ix: Ix<Hazard>) -> Caution {
    let hazard = &laid.knowledge.hazards[ix];
    Caution {
        hazard: Named { id: laid.knowledge.hazards.id(ix).to_owned(), words: hazard.title.clone() },
        signal: hazard.signal,
        harm: hazard.harm.clone(),
        controls: hazard.controls.clone(),
        never: hazard.never.clone(),
        tick: hazard.tick.map(|tick| Named {
            id: laid.knowledge.ticks.id(tick).to_owned(),
            words: laid.knowledge.ticks[tick].says.clone(),
        }),
    }
}

/// A setting at a place, with what the log has for it.
pub fn setting(laid: &Laid<'_>, case: &Case, setting: Instance<Setting>) -> SettingLine {
    let item = &laid.knowledge.settings[setting.item];
    let value = super::teardown::recorded(case, setting);
    SettingLine {
        setting: Named {
            id: laid.label(laid.knowledge.settings.id(setting.item), item.scope, setting.at),
            words: item.title.clone(),
        },
        place: laid.place_name(item.scope, setting.at).map(str::to_owned),
        unit: item.unit.clone(),
        value,
        generic: item.generic.clone(),
    }
}
