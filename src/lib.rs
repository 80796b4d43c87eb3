//! One tree, three answers, one plan.

pub mod access;
pub mod belief;
pub mod calc;
pub mod case;
pub mod cli;
pub mod decision;
pub mod finding;
pub mod inference;
pub mod interview;
pub mod knowledge;
pub mod model;
pub mod plan;
pub mod report;
pub mod safety;
pub mod store;
pub mod units;
