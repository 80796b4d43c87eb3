//! `doldrum serve`: the interview as a page.

use super::triage::{case, clock};
use crate::access::AccessGraph;
use crate::cli::args::{Common, Serve};
use crate::cli::out::{Failure, print};
use crate::cli::{Exit, load};
use crate::decision::Settings;
use crate::interview::advisor::Library;
use crate::interview::step::Bench;
use crate::report::Figures;
use crate::serve::{Desk, Server, random_word};

/// Serves until Ctrl-C.
///
/// # Errors
/// Where the case cannot be read, or the address cannot be had.
pub fn run(args: &Serve, common: &Common) -> Result<Exit, Failure> {
    let knowledge = load::knowledge(common)?;
    let (case, path) = case(&args.job, common, &knowledge)?;
    let figures = Figures::new(&knowledge, common.units.into());
    let graph = AccessGraph::new(&knowledge);
    let settings = Settings { seed: common.seed, ..Settings::default() };
    let library = Library::new(&knowledge, settings, figures.clone());
    let bench = Bench {
        knowledge: &knowledge,
        graph: &graph,
        advisor: &library,
        figures: &figures,
        layout_known: args.job.layout.is_some(),
    };
    let server = Server::bind(args.at)?;
    let closer = server.closer();
    let _ = ctrlc::set_handler(move || closer.close());
    let link = server.guard().link();
    if args.open || common.quiet {
        print(&format!("{link}\n"))?;
    } else {
        print(&format!("Open {link}\nThe case is kept in {}. Ctrl-C ends this.\n", path.display()))?;
    }
    let mut desk = Desk::new(&bench, case, path.clone(), random_word()?, clock);
    server.run(&mut desk)?;
    Err(Failure::Interrupted(format!("Go on with: doldrum serve --case {}", path.display())))
}
