//! `doldrum triage`.
use crate::cli::args::{Common, Triage};
use crate::cli::{Exit, Failure, load};
/// Runs it.
pub fn run(args: &Triage, common: &Common) -> Result<Exit, Failure> {
    let knowledge = load::knowledge(common)?;
    Ok(Exit::Done)
}
