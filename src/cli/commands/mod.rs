//! One file for each command.

pub mod assess;
pub mod calc;
pub mod cases;
pub mod chart;
pub mod drill;
pub mod generated;
pub mod logbook;
pub mod new;
pub mod plan;
pub mod schema;
pub mod serve;
pub mod triage;
pub mod trial;
pub mod vet;
