//! The program: arguments to the library, its result to an exit code.

use clap::Parser;
use doldrum::cli::args::Arguments;
use std::process::ExitCode;

/// A step of advice makes and drops some hundred thousand small lists.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    match doldrum::cli::run(&arguments) {
        Ok(exit) => exit.into(),
        Err(failure) => {
            failure.tell();
            failure.exit().into()
        }
    }
}
