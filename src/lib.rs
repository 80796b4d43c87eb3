//! One tree, three answers, one plan.

pub mod inference;
pub mod knowledge;
pub mod model;
