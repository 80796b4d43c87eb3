//! The joint distribution of a few variables given the observations, cell by cell.

use crate::model::network::VarIx;

use super::given::Given;
use super::{Accuracy, Error, Event, Prepared};

/// Joint tables have at most this many cells: eight cost an up pass.
pub const JOINT_CELLS_MAX: usize = 4096;

/// A table over the states of a few variables.
#[derive(Clone, Debug, PartialEq)]
pub struct JointTable {
    /// The variables, as asked for.
    pub vars: Vec<VarIx>,
    /// How many states each has.
    pub states: Vec<usize>,
    /// P(these states | observations), C order: the last variable varies fastest. They sum to one.
    pub chances: Vec<f64>,
    /// That of the posterior.
    pub accuracy: Accuracy,
}

impl JointTable {
    /// The chance that the variables are in `states`, one each; 0 where there is no such state.
    #[must_use]
    pub fn chance(&self, states: &[usize]) -> f64 {
        let fits = states.len() == self.states.len() && states.iter().zip(&self.states).all(|(state, n)| state < n);
        let at = states.iter().zip(&self.states).fold(0, |at, (state, n)| at * n + state);
        if fits { self.chances[at] } else { 0.0 }
    }
}

/// How many cells a table over variables of so many states has, where that is not too many.
pub(super) fn cells(states: &[usize]) -> Result<usize, Error> {
    let cells = states.iter().try_fold(1usize, |cells, &n| cells.checked_mul(n));
    cells.filter(|&cells| cells <= JOINT_CELLS_MAX).ok_or_else(|| {
        let found = states.iter().map(usize::to_string).collect::<Vec<_>>().join(" x ");
        Error::Observation(format!("expected a joint table of at most `{JOINT_CELLS_MAX}` cells, found `{found}`"))
    })
}

/// The joint distribution of `vars`, whose distributions `given.posterior` holds and which are open in `prepared`.
pub(super) fn table(given: &Given<'_>, prepared: &Prepared<'_>, vars: &[VarIx]) -> Result<JointTable, Error> {
    let network = given.engine.network();
    let states: Vec<usize> = vars.iter().map(|&var| network.variable(var).states.count()).collect();
    let mut chances = vec![0.0; cells(&states)?];
    let (mut possible, mut events) = (Vec::new(), Vec::new());
    for at in 0..chances.len() {
        let configuration = configuration(&states, at);
        if vars.iter().zip(&configuration).all(|(&var, &state)| given.posterior.of(var)[state] > 0.0) {
            let and = |event: Event, (&var, &n): (&VarIx, &usize), state| {
                event.and(var, (0..n).map(|s| s == state).collect())
            };
            let these = vars.iter().zip(&states).zip(configuration);
            events.push(these.fold(Event::anything(), |event, (var, state)| and(event, var, state)));
            possible.push(at);
        }
    }
    for (at, chance) in possible.into_iter().zip(given.chances_of(prepared, &events)?) {
        chances[at] = chance;
    }
    // Each cell is right by itself; what rounding leaves between their sum and one is shared out.
    let sum: f64 = chances.iter().sum();
    for chance in &mut chances {
        *chance /= sum;
    }
    Ok(JointTable { vars: vars.to_vec(), states, chances, accuracy: prepared.accuracy().clone() })
}

/// The states at a cell.
fn configuration(states: &[usize], mut at: usize) -> Vec<usize> {
    let mut configuration = vec![0; states.len()];
    for (state, n) in configuration.iter_mut().zip(states).rev() {
        *state = at % n;
        at /= n;
    }
    configuration
}
