//! The command line: arguments in, text out, one number at the end.

pub mod args;
mod commands;
mod exit;
mod load;
mod out;

pub use exit::Exit;
pub use out::Failure;

use args::{Arguments, Verb};

/// Does what the arguments say.
///
/// # Errors
/// What could not be done, and with which number to end.
pub fn run(arguments: &Arguments) -> Result<Exit, Failure> {
    let common = &arguments.common;
    out::set_color(common);
    match &arguments.verb {
        Verb::Triage(triage) => commands::triage::run(triage, common),
        Verb::Serve(serve) => commands::serve::run(serve, common),
        Verb::Assess(assess) => commands::assess::run(assess, common),
        Verb::Plan(plan) => commands::plan::run(plan, common),
        Verb::Drill(drill) => commands::drill::run(drill, common),
        Verb::Trial(trial) => commands::trial::run(trial, common),
        Verb::Calc(calc) => commands::calc::run(calc, common),
        Verb::Vet(vet) => commands::vet::run(vet, common),
        Verb::Chart(chart) => commands::chart::run(chart, common),
        Verb::New(new) => commands::new::run(new, common),
        Verb::Logbook(logbook) => commands::logbook::run(logbook, common),
        Verb::Schema(schema) => commands::schema::run(schema),
        Verb::Completions(completions) => commands::generated::completions(completions),
        Verb::Man(man) => commands::generated::man(man),
    }
}
