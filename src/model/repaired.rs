//! A network with one more slice: the craft after a repair that has not been done yet.

use super::network::{Mechanism, Network, Observation, SLICES_MAX, SliceSet, States, VarIx};

/// What a repair does to one fault.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TurnedOff {
    /// The fault: an on/off variable given by a table.
    pub var: VarIx,
    /// The chance that the repair takes it away where it is there, 0..=1.
    pub sureness: f64,
}

/// Why there is no network after the repair.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum RepairError {
    /// No room for another slice.
    #[error("expected at most `{most}` slices before one more repair, found `{0}`", most = SLICES_MAX - 1)]
    Slices(usize),
    /// Not a fault of this network.
    #[error("expected a fault to repair (an on/off variable given by a table), found `{0}`")]
    NotAFault(String),
    /// Not a chance.
    #[error("expected a sureness in 0 to 1, found `{0}`")]
    Sureness(f64),
    /// A table says how a variable comes about, not what becomes of it once what it depends on goes.
    #[error("expected only gates to depend on what is repaired, found the table of `{0}`")]
    TableBelow(String),
}

/// A network with one more slice.
#[derive(Clone, Debug, PartialEq)]
pub struct Repaired {
    /// The network; its variables keep their places, its last slice is after the repair.
    pub network: Network,
    /// For each variable and each of its states, the state of the network before that it continues.
    continues: Vec<Vec<usize>>,
}

/// What may happen to a variable in the new slice.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Change {
    /// As in the slice before.
    None,
    /// It may go off.
    GoesOff,
    /// It may also come on.
    Either,
}

impl Network {
    /// The network with one more slice, which follows a repair of the faults named: each that is on in the last slice
    /// goes off with its sureness, drawn for each fault and anew for each time it is named. All else persists: what is
    /// random about a gate stays as it was drawn, so a gate changes only where its inputs do, and a repair of nothing
    /// changes nothing.
    ///
    /// # Errors
    /// [`RepairError`], where four slices are spanned already, where what is named is not a fault, or where the table of
    /// another variable hangs on what may change.
    pub fn with_repair(&self, repair: &[TurnedOff]) -> Result<Repaired, RepairError> {
        if self.slices >= SLICES_MAX {
            return Err(RepairError::Slices(self.slices));
        }
        let sureness = self.sureness(repair)?;
        let mut changes: Vec<Change> = Vec::with_capacity(self.variables.len());
        let mut network = Self { slices: self.slices + 1, variables: self.variables.clone() };
        let mut continues = Vec::with_capacity(self.variables.len());
        for (var, sureness) in (0..).map(VarIx).zip(sureness) {
            let variable = &mut network.variables[var.at()];
            let above = self.parents(var).iter().map(|parent| changes[parent.at()]).max();
            let mut change = above.unwrap_or(Change::None);
            if let Mechanism::Table { rows, .. } = &mut variable.mechanism {
                if change != Change::None {
                    return Err(RepairError::TableBelow(variable.name.clone()));
                }
                if let (States::OnIn(sets), true) = (&variable.states, sureness > 0.0) {
                    *rows = repaired_rows(rows, sets, self.slices - 1, sureness);
                    change = Change::GoesOff;
                }
            } else if let Mechanism::Count { of, least, most } = &variable.mechanism
                && change == Change::GoesOff
                && (*least == 0 || *most < of.len())
            {
                change = Change::Either;
            }
            let before = match &mut variable.states {
                States::Plain(n) => (0..*n).collect(),
                States::OnIn(sets) => {
                    let (longer, before) = longer_sets(sets, self.slices, change);
                    *sets = longer;
                    before
                }
            };
            changes.push(change);
            continues.push(before);
        }
        Ok(Repaired { network, continues })
    }

    /// For each variable the chance that the repair takes it away.
    fn sureness(&self, repair: &[TurnedOff]) -> Result<Vec<f64>, RepairError> {
        let mut missed = vec![1.0; self.variables.len()];
        for &TurnedOff { var, sureness } in repair {
            let variable = self.variables.get(var.at()).ok_or_else(|| RepairError::NotAFault(var.0.to_string()))?;
            if !matches!((&variable.states, &variable.mechanism), (States::OnIn(_), Mechanism::Table { .. })) {
                return Err(RepairError::NotAFault(variable.name.clone()));
            }
            if !(0.0..=1.0).contains(&sureness) {
                return Err(RepairError::Sureness(sureness));
            }
            missed[var.at()] *= 1.0 - sureness;
        }
        Ok(missed.into_iter().map(|missed| 1.0 - missed).collect())
    }
}

/// The sets of slices with one more slice, ascending, and which set before each continues.
fn longer_sets(sets: &[SliceSet], slices: usize, change: Change) -> (Vec<SliceSet>, Vec<usize>) {
    let was_on = |at: &usize| sets[*at].has(slices - 1);
    let off = (0..sets.len()).filter(|at| change != Change::None || !was_on(at));
    let on = (0..sets.len()).filter(|at| change == Change::Either || was_on(at));
    // A set with the new slice is larger, as a number, than any without: the two runs ascend one after the other.
    let longer = off.clone().map(|at| sets[at]).chain(on.clone().map(|at| SliceSet(sets[at].0 | 1 << slices)));
    (longer.collect(), off.chain(on).collect())
}

/// The rows of a fault's table where it goes off after slice `last` with chance `sureness`: first the states in which it
/// is off then, in the order of the sets before, then those in which it stays on.
fn repaired_rows(rows: &[f64], sets: &[SliceSet], last: usize, sureness: f64) -> Vec<f64> {
    let mut longer = Vec::with_capacity(2 * rows.len());
    for row in rows.chunks_exact(sets.len()) {
        longer.extend(row.iter().zip(sets).map(|(p, set)| if set.has(last) { p * sureness } else { *p }));
        longer.extend(row.iter().zip(sets).filter(|(_, set)| set.has(last)).map(|(p, _)| p * (1.0 - sureness)));
    }
    longer
}

impl Repaired {
    /// What was observed before the repair, as observations of this network.
    #[must_use]
    pub fn observations(&self, before: &[Observation]) -> Vec<Observation> {
        let translate = |observation: &Observation| match observation {
            Observation::State { var, likelihood } => {
                let states = self.continues[var.at()].iter();
                Observation::State { var: *var, likelihood: states.map(|&state| likelihood[state]).collect() }
            }
            rows @ Observation::Rows { .. } => rows.clone(),
        };
        before.iter().map(translate).collect()
    }
}
