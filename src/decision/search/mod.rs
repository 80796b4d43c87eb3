//! A search through what can be done, best first, with a lower and an upper bound of every state, within a budget of states
//! opened.
//!
//! The problem it solves is that of the worlds it is given ([`Problem`]): what can be done now, in any order and as often
//! as makes sense. The bounds hold for that problem, and each is proved where it is worked out. The order in which states
//! are opened depends on nothing but the problem: no clock, no chance.

mod bounds;
mod pose;
mod problem;
mod told;
mod tree;

pub use bounds::Between;
pub use problem::{ACCESS_AT_MOST, Check, Cures, Open, Problem, REPAIRS_AT_MOST, Repair, Set, Step, Work, World};

use tree::Tree;

/// Bounds so near each other, as a share, are near enough.
pub const NEAR_ENOUGH: f64 = 0.001;

/// What a search found.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// Between what the job comes to at best.
    pub between: Between,
    /// The same with each first step; those that cannot be the best are among them.
    pub steps: Vec<(Step, Between)>,
    /// How many states were opened.
    pub opened: usize,
}

/// Searches until so many states were opened or the bounds are within a share of each other, [`NEAR_ENOUGH`] for what
/// people are told.
///
/// More states never make the bounds wider. Cost: a state takes time in proportion to worlds times checks.
#[must_use]
pub fn search(problem: &Problem, states: usize, near_enough: f64) -> Found {
    let mut tree = Tree::new(problem);
    while tree.opened() < states && tree.between().doubt() > near_enough * tree.between().lower && tree.go_on() {}
    Found { between: tree.between(), steps: tree.first_steps().collect(), opened: tree.opened() }
}
