//! `doldrum completions` and `doldrum man`: what is made from the definition of the command line.

use crate::cli::Exit;
use crate::cli::args::Arguments;
use crate::cli::args::authors::{Completions, Man};
use crate::cli::out::{Failure, print};
use crate::store;
use clap::{Command, CommandFactory};
use std::path::Path;

/// Prints what a shell needs to complete commands and options.
///
/// # Errors
/// Where it cannot be written.
pub fn completions(args: &Completions) -> Result<Exit, Failure> {
    let mut bytes = Vec::new();
    clap_complete::generate(args.shell, &mut Arguments::command(), "doldrum", &mut bytes);
    print(&String::from_utf8_lossy(&bytes))?;
    Ok(Exit::Done)
}

/// Prints the manual page, or writes one for each command into a folder.
///
/// # Errors
/// Where it cannot be written.
pub fn man(args: &Man) -> Result<Exit, Failure> {
    let command = built(Arguments::command());
    match &args.folder {
        None => print(&page(&command)?)?,
        Some(folder) => pages(folder, &command)?,
    }
    Ok(Exit::Done)
}

/// Every command knows the options that all have.
fn built(mut command: Command) -> Command {
    command.build();
    command
}

fn pages(folder: &Path, command: &Command) -> Result<(), Failure> {
    let name = command.get_display_name().unwrap_or(command.get_name()).to_owned();
    store::write_below(folder, &format!("{name}.1"), &page(command)?)?;
    for below in command.get_subcommands().filter(|below| !below.is_hide_set() && below.get_name() != "help") {
        pages(folder, below)?;
    }
    Ok(())
}

fn page(command: &Command) -> Result<String, Failure> {
    let mut bytes = Vec::new();
    clap_mangen::Man::new(command.clone()).render(&mut bytes)?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}
