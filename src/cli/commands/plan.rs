//! `doldrum plan`: the work order for a case.

use crate::access::AccessGraph;
use crate::belief::{Belief, believe};
use crate::case::Case;
use crate::cli::args::{Common, Format, Plan};
use crate::cli::out::{Failure, advise, note, print, print_document};
use crate::cli::{Exit, load};
use crate::finding::nearest;
use crate::inference::{Accuracy, Error};
use crate::knowledge::Cause;
use crate::knowledge::layout::{Instance, Laid};
use crate::plan::{Options, Plan as WorkOrder, plan};
use crate::report::{self, Behind, Figures, words};

/// How many explanations are weighed.
const EXPLANATIONS: usize = 5;

/// Prints the work order.
///
/// # Errors
/// Where the case cannot be read, or there is nothing to plan for.
pub fn run(args: &Plan, common: &Common) -> Result<Exit, Failure> {
    let knowledge = load::knowledge(common)?;
    let (case, findings) = load::case(&args.case, &knowledge)?;
    advise(findings, common);
    if let Some(lock) = case.emergency() {
        return Err(Failure::Stuck(words::lower_first(&words::stopped(&knowledge, lock))));
    }
    let laid = Laid::new(&knowledge, case.craft.clone());
    let causes = causes(&laid, &args.cause)?;
    let limits = args.budget.limits();
    let stuck = |error: Error| Failure::Stuck(words::trouble(&laid, &case, &error));
    let belief = believe(&laid, &case, &limits).map_err(stuck)?;
    let order = work_order(&laid, &case, &belief, causes, args, common)?;
    let figures = Figures::new(&knowledge, common.units.into());
    match args.format {
        Format::Json => {
            let json = serde_json::to_string_pretty(&order).map_err(|e| Failure::Stuck(e.to_string()))?;
            print(&format!("{json}\n"))?;
        }
        Format::Html => {
            let behind = Behind::new(&laid, &case, &belief, &limits).map_err(stuck)?;
            print_document(&report::work_order_page(&order, &behind, &figures), Format::Html)?;
        }
        format => print_document(&report::work_order(&order, &figures), format)?,
    }
    Ok(Exit::Done)
}

fn work_order(
    laid: &Laid<'_>,
    case: &Case,
    belief: &Belief,
    causes: Vec<Instance<Cause>>,
    args: &Plan,
    common: &Common,
) -> Result<WorkOrder, Failure> {
    let limits = args.budget.limits();
    let stuck = |error: Error| Failure::Stuck(words::trouble(laid, case, &error));
    if let (true, Accuracy::Cut { links, .. }) = (args.budget.exact, &belief.accuracy) {
        note(&format!("not exact: even within 2^27 table cells {} links were cut", links.len()), common);
    }
    let explanations = belief.explanations(laid, case, EXPLANATIONS, &limits).map_err(stuck)?;
    let graph = AccessGraph::new(laid.knowledge);
    plan(laid, &graph, case, &belief.causes, &explanations, &Options { causes })
        .map_err(|e| Failure::Stuck(e.to_string()))
}

/// The causes named on the command line; without a place on every one.
fn causes(laid: &Laid<'_>, named: &[String]) -> Result<Vec<Instance<Cause>>, Failure> {
    let mut causes = Vec::new();
    for label in named {
        let Some((ix, places)) = laid.parse(&laid.knowledge.causes, |c| c.scope, label) else {
            let id = label.split('@').next().unwrap_or_default();
            let near = nearest(id, laid.knowledge.causes.ids()).map(|n| format!("; did you mean `{n}`?"));
            let near = near.unwrap_or_default();
            return Err(Failure::Usage(format!("expected a cause of this craft after --cause, found `{label}`{near}")));
        };
        causes.extend(places.into_iter().map(|at| Instance::new(ix, at)));
    }
    Ok(causes)
}
