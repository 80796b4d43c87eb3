//! One file for each command.

pub mod assess;
pub mod drill;
pub mod plan;
pub mod triage;
pub mod trial;
pub mod vet;
