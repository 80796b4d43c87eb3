//! What is written down before a repair disturbs it.

use super::{Bench, not_here, remember};
use crate::case::{Case, Entry, Event};
use crate::interview::state::{Focus, Input, Key, State};
use crate::knowledge::layout::Instance;
use crate::knowledge::{Ix, Repair, Setting};
use crate::plan::{Apart, ToRecord, to_record};
pub use crate::report::NOT_KNOWN;
use crate::report::figures::to_figures;
use crate::units::{Measure, Unit, UnitError};
use jiff::Timestamp;

/// What is written down of a photograph that nobody says anything else of.
const TAKEN: &str = "taken";

/// The settings that a repair disturbs, in the order in which they are come upon.
#[must_use]
pub fn asked_for(bench: &Bench<'_>, case: &Case, repair: Ix<Repair>, places: &[usize]) -> Vec<ToRecord> {
    to_record(&bench.laid(case), bench.graph, case, Apart::Repair(repair, places))
}

/// Whether a setting is a photograph.
#[must_use]
pub fn is_photo(setting: &Setting) -> bool {
    setting.unit == "photo"
}

pub(super) fn record_step(
    bench: &Bench<'_>,
    state: &mut State,
    repair: Ix<Repair>,
    places: &[usize],
    mut settings: Vec<(Ix<Setting>, usize)>,
    input: &Input,
    now: Option<Timestamp>,
) {
    let Some(&(setting, at)) = settings.first() else { return };
    let item = &bench.knowledge.settings[setting];
    let written = match input {
        Input::Text(text) if !text.trim().is_empty() => match as_written(item, text) {
            Ok(value) => Some(value),
            Err(why) => return state.notices.push(why),
        },
        Input::Text(_) | Input::Key(Key::Enter) => is_photo(item).then(|| TAKEN.to_owned()),
        Input::Key(Key::NotSure | Key::CouldNot) => Some(NOT_KNOWN.to_owned()),
        Input::Key(Key::Skip) => {
            state.focus = Some(Focus::Working(repair, places.to_vec()));
            return;
        }
        Input::Key(Key::Back) => return one_before(bench, state, repair, places, settings),
        _ => return not_here(state),
    };
    if let Some(value) = written {
        remember(state);
        state.case.log.push(Entry { at: now, event: Event::Set { setting: Instance::new(setting, at), value } });
    }
    settings.remove(0);
    state.focus = Some(if settings.is_empty() {
        Focus::Working(repair, places.to_vec())
    } else {
        Focus::Record(repair, places.to_vec(), settings)
    });
}

/// Back to the setting before this one, with what was just written down of it taken back; before the first, out of it.
fn one_before(
    bench: &Bench<'_>,
    state: &mut State,
    repair: Ix<Repair>,
    places: &[usize],
    mut settings: Vec<(Ix<Setting>, usize)>,
) {
    let all = asked_for(bench, &state.case, repair, places);
    let here = all.iter().position(|record| settings.first() == Some(&(record.setting.item, record.setting.at)));
    let Some(before) = here.and_then(|at| at.checked_sub(1)).map(|at| all[at].setting) else {
        state.focus = None;
        return;
    };
    match state.case.log.last().map(|entry| &entry.event) {
        Some(Event::Set { setting, .. }) if *setting == before => {
            state.case.log.pop();
            state.before.pop_if(|before| before.case.log.len() == state.case.log.len());
        }
        // What was written down in an earlier sitting stays.
        _ if all.iter().any(|record| record.setting == before && record.value.is_some()) => {
            state.focus = None;
            return;
        }
        _ => {}
    }
    settings.insert(0, (before.item, before.at));
    state.focus = Some(Focus::Record(repair, places.to_vec(), settings));
}

/// A value as the case keeps it: what is counted as a number in the setting's own unit, in another unit with that, and
/// all else as it was written. Several readings stand beside each other.
///
/// # Errors
/// Where a number is expected and there is none, or one of something else; a fragment for people.
fn as_written(setting: &Setting, text: &str) -> Result<String, String> {
    let text = text.trim();
    let Ok(unit) = Unit::parse(&setting.unit) else { return Ok(text.to_owned()) };
    let parts: Vec<&str> = text.split([',', ';']).map(str::trim).filter(|part| !part.is_empty()).collect();
    if parts.len() < 2 {
        return number(unit, text);
    }
    let all: Vec<String> = parts.into_iter().map(|part| number(unit, part)).collect::<Result<_, _>>()?;
    let bare = |value: &String| value.parse::<f64>().is_ok();
    if all.iter().all(bare) {
        return Ok(format!("{} {unit}", all.join(", ")));
    }
    let with_unit = |value: &String| if bare(value) { format!("{value} {unit}") } else { value.clone() };
    Ok(all.iter().map(with_unit).collect::<Vec<_>>().join(", "))
}

/// One figure: bare in this unit, or with the other unit it was read in.
fn number(unit: Unit, text: &str) -> Result<String, String> {
    let measure = match Measure::parse_as(text, unit.quantity()) {
        Err(UnitError::NoUnit { .. }) => Measure::parse_as(&format!("{text} {unit}"), unit.quantity()),
        other => other,
    };
    let measure = measure.map_err(|e| format!("{e}; c where it cannot be told"))?;
    // As many figures as anybody reads off.
    let figure = to_figures(measure.value, 5);
    Ok(if measure.unit == unit { figure } else { format!("{figure} {}", measure.unit) })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::knowledge::Scope;

    fn setting(unit: &str) -> Setting {
        let basis = crate::knowledge::Basis::Estimate;
        Setting { title: String::new(), scope: Scope::Craft, unit: unit.to_owned(), generic: None, basis }
    }

    #[test]
    fn a_count_is_kept_in_its_own_unit() {
        let turns = |text: &str| as_written(&setting("turn"), text);
        assert_eq!(turns("1 1/8"), Ok("1.125".to_owned()));
        assert_eq!(turns(" 1.125 turns "), Ok("1.125".to_owned()));
        assert_eq!(turns("1/2 turn"), Ok("0.5".to_owned()));
        assert_eq!(as_written(&setting("mm"), "1 in"), Ok("1 in".to_owned()));
        assert_eq!(as_written(&setting("mm"), "3"), Ok("3".to_owned()));
    }

    #[test]
    fn several_readings_stand_beside_each_other() {
        assert_eq!(as_written(&setting("psi"), "24, 25 psi,24"), Ok("24, 25, 24 psi".to_owned()));
        assert_eq!(as_written(&setting("psi"), "1.7 bar, 24"), Ok("1.7 bar, 24 psi".to_owned()));
        assert!(as_written(&setting("psi"), "24, 2 mm").is_err());
    }

    #[test]
    fn what_is_no_such_count_is_said_to_be_none() {
        assert!(as_written(&setting("turn"), "2 mm").expect_err("no turns").contains("mm"));
        assert!(as_written(&setting("turn"), "bent").expect_err("no number").contains("bent"));
        assert_eq!(as_written(&setting("text"), "bent, 2 mm"), Ok("bent, 2 mm".to_owned()));
    }
}
