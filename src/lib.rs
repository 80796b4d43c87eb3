//! One tree, three answers, one plan.

pub mod inference;
pub mod model;
