//! One file for each command.

pub mod assess;
pub mod plan;
pub mod schema;
pub mod serve;
pub mod triage;
pub mod trial;
pub mod vet;
