//! The network: variables, gates, tables; compiled from a craft laid out.

pub mod aired;
pub mod build;
pub mod compile;
pub mod draw;
pub mod epochs;
pub mod network;
pub mod prior;
pub mod reading;
pub mod repaired;
