//! The network: variables, gates, tables; compiled from a craft laid out.

pub mod network;
