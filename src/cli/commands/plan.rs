//! `doldrum plan`.
use crate::cli::args::{Common, Plan};
use crate::cli::{Exit, Failure, load};
/// Runs it.
pub fn run(args: &Plan, common: &Common) -> Result<Exit, Failure> {
    let knowledge = load::knowledge(common)?;
    Ok(Exit::Done)
}
