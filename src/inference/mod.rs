//! stand-in
use crate::model::network::{Network, Observation, VarIx};
/// e
pub struct Engine;
/// l
#[derive(Clone, Debug)]
pub struct Limits {
    /// c
    pub cells: usize,
    /// r
    pub rounds: usize,
    /// o
    pub orders: usize,
}
impl Default for Limits {
    fn default() -> Self {
        Self { cells: 1 << 18, rounds: 5, orders: 4 }
    }
}
/// e
#[derive(Debug)]
pub enum Error {
    /// c
    Contradiction,
}
/// a
#[derive(Clone, Debug, PartialEq)]
pub enum Accuracy {
    /// e
    Exact,
}
