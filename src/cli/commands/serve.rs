//! `doldrum serve`: the interview as a page.

use super::triage::{case, clock};
use crate::access::AccessGraph;
use crate::case::usual_case;
use crate::cli::args::{Common, Serve};
use crate::cli::out::{Failure, print};
use crate::cli::{Exit, load};
use crate::decision::Settings;
use crate::report::Figures;
use crate::serve::{Jobs, Server, Shop};
use std::path::PathBuf;

/// Serves until Ctrl-C.
///
/// # Errors
/// Where the case cannot be read, or the address cannot be had.
pub fn run(args: &Serve, common: &Common) -> Result<Exit, Failure> {
    let knowledge = load::knowledge(common)?;
    let figures = Figures::new(&knowledge, common.units.into());
    let graph = AccessGraph::new(&knowledge);
    let job = &args.job;
    let one =
        job.file.is_some() || job.case.is_some() || job.user.is_some() || job.layout.is_some() || job.title.is_some();
    let (jobs, kept, again) = if one {
        let (case, path, _) = case(job, common, &knowledge)?;
        let kept = format!("The case is kept in {}.", path.display());
        let again = format!("doldrum serve {}", path.display());
        (Jobs::One(Box::new(case), path), kept, again)
    } else {
        let folder = PathBuf::from(".");
        (Jobs::Folder(folder), "The cases are kept in this folder.".to_owned(), "doldrum serve".to_owned())
    };
    let shop = Shop {
        knowledge: &knowledge,
        graph: &graph,
        figures: &figures,
        settings: Settings { seed: common.seed, ..Settings::default() },
        layout_known: job.layout.is_some(),
        jobs,
        blank: usual_case(&knowledge),
        clock,
    };
    let server = Server::bind(args.at)?;
    let closer = server.closer();
    let _ = ctrlc::set_handler(move || closer.close());
    let link = server.guard().link();
    if args.open || common.quiet {
        print(&format!("{link}\n"))?;
    } else {
        print(&format!("Open {link}\n{kept} Ctrl-C ends this.\n"))?;
    }
    server.run(&shop)?;
    Err(Failure::Interrupted(format!("Go on with: {again}")))
}
