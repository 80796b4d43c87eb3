//! `doldrum assess`.
use crate::cli::args::{Assess, Common};
use crate::cli::{Exit, Failure, load};
/// Runs it.
pub fn run(args: &Assess, common: &Common) -> Result<Exit, Failure> {
    let knowledge = load::knowledge(common)?;
    let (case, findings) = load::case(&args.case, &knowledge)?;
    crate::cli::out::advise(findings, common);
    crate::cli::out::print(&crate::case::text::write(&case, &knowledge))?;
    Ok(Exit::Done)
}
