//! One tree, three answers, one plan.

pub mod finding;
pub mod inference;
pub mod knowledge;
pub mod model;
pub mod units;
