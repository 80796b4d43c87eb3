//! `doldrum assess`: what is believed about a case and what to do next, without asking.

use crate::access::AccessGraph;
use crate::cli::args::{Assess, Common, Format};
use crate::cli::out::{Failure, advise, print, print_document};
use crate::cli::{Exit, load};
use crate::decision::Settings;
use crate::knowledge::layout::Laid;
use crate::report::{Assessment, Chances, Figures, words};

/// Reads a case and prints what is believed, what to do next and why.
///
/// # Errors
/// Where the case cannot be read, or the network is too wide.
pub fn run(args: &Assess, common: &Common) -> Result<Exit, Failure> {
    let knowledge = load::knowledge(common)?;
    let (case, findings) = load::case(&args.case, &knowledge)?;
    advise(findings, common);
    let laid = Laid::new(&knowledge, case.craft.clone());
    let graph = AccessGraph::new(&knowledge);
    let limits = args.budget.limits();
    let settings =
        Settings { seed: common.seed, now: args.now, limits, look_ahead: args.ahead.into(), ..Settings::default() };
    let assessment = Assessment::new(&laid, &graph, &case, &settings, usize::from(args.shake))
        .map_err(|error| Failure::Stuck(words::trouble(&laid, &case, &error)))?;
    match args.format {
        Format::Json => print(&assessment.json())?,
        format => {
            let figures = Figures { chances: Chances::Exact, ..Figures::new(&knowledge, common.units.into()) };
            let document = match format {
                Format::Html => assessment.page(&figures),
                _ => assessment.document(&figures),
            };
            print_document(&document, format)?;
        }
    }
    Ok(Exit::Done)
}
