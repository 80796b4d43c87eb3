//! The joint distribution of a few variables given the observations, cell by cell.

use crate::model::network::{Observation, VarIx};

use super::given::Given;
use super::{Accuracy, Error};

/// Joint tables have at most this many cells: each costs an up pass.
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

/// The joint distribution of `vars`, whose distributions `given.posterior` holds.
pub(super) fn table(given: &Given<'_>, vars: &[VarIx]) -> Result<JointTable, Error> {
    let states: Vec<usize> = vars.iter().map(|&var| given.base.network.variable(var).states.count()).collect();
    let mut chances = Vec::with_capacity(cells(&states)?);
    for at in 0..chances.capacity() {
        chances.push(cell(given, vars, &configuration(&states, at))?);
    }
    // Each cell is right by itself; what rounding leaves between their sum and one is shared out.
    let sum: f64 = chances.iter().sum();
    for chance in &mut chances {
        *chance /= sum;
    }
    Ok(JointTable { vars: vars.to_vec(), states, chances, accuracy: given.posterior.accuracy().clone() })
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

fn cell(given: &Given<'_>, vars: &[VarIx], configuration: &[usize]) -> Result<f64, Error> {
    let marginal = |at: usize| given.posterior.of(vars[at])[configuration[at]];
    match vars {
        [] => Ok(1.0),
        [_] => Ok(marginal(0).max(0.0)),
        _ if (0..vars.len()).any(|at| marginal(at) <= 0.0) => Ok(0.0),
        _ => given.chance(vars.iter().zip(configuration).map(|(&var, &state)| seen(given, var, state))),
    }
}

/// The finding that `var` is in `state`.
fn seen(given: &Given<'_>, var: VarIx, state: usize) -> Observation {
    let states = given.base.network.variable(var).states.count();
    Observation::State { var, likelihood: (0..states).map(|s| f64::from(u8::from(s == state))).collect() }
}
