//! `doldrum chart`: the fault tree below an event, its minimal cut sets, and what each cause has to do with it.

use crate::case::Case;
use crate::chart::cuts::{CutSets, weigh};
use crate::chart::importance::importances;
use crate::chart::{Chart, Top, unasked};
use crate::cli::args::Common;
use crate::cli::args::authors::{Chart as Arguments, ChartFormat};
use crate::cli::commands::trial::find;
use crate::cli::out::{Failure, advise, print, print_document};
use crate::cli::{Exit, load};
use crate::finding::nearest;
use crate::inference::Engine;
use crate::knowledge::Knowledge;
use crate::knowledge::layout::{Craft, Laid};
use crate::model::compile::compile;
use crate::report::{Charted, Figures, render_svg, words};

/// So many cut sets are listed, all of them counted.
const LISTED: usize = 10_000;
/// So many cut sets are weighed, the likeliest of the smallest: what that takes is not felt.
const WEIGHED: usize = 300;

/// Draws the tree and works the sets and measures out.
///
/// # Errors
/// Where an option names what is not there, or the network is too wide.
pub fn run(args: &Arguments, common: &Common) -> Result<Exit, Failure> {
    let knowledge = load::knowledge(common)?;
    let (laid, case) = job(args, common, &knowledge)?;
    let (top, id) = event(args, &laid, &case)?;
    let model = compile(&laid, &case);
    let stuck = |error| Failure::Stuck(words::trouble(&laid, &case, &error));
    let Some(var) = top.variable(&model) else {
        return Err(Failure::Usage(format!("expected an event of this craft, found `{id}`")));
    };
    let (engine, limits) = (Engine::compile(&model.network).map_err(stuck)?, args.budget.limits());
    let chart = Chart::below(&model, var);
    let known = importances(&chart, &model.network, &engine, &model.evidence(), model.now, &limits).map_err(stuck)?;
    let likeliest: Vec<_> = known.causes.iter().filter_map(|i| model.cause(i.cause)).collect();
    let (drawn, left_out) = chart.pruned(usize::from(args.most), &likeliest);
    let order = usize::from(args.order);
    let sets = CutSets::below(&chart, &model.network, order);
    let by_order = sets.as_ref().map_or_else(|_| vec![0; order], CutSets::counts);
    let mut cuts = sets.map(|sets| sets.likeliest(&laid, &case, LISTED));
    if let Ok(cuts) = &mut cuts
        && model.network.slices == 1
    {
        weigh(cuts, WEIGHED, &chart, &model, &engine, &limits).map_err(stuck)?;
    }
    let cuts = cuts.as_deref().map_err(|many| *many);
    let answered = !model.observations.is_empty();
    let charted =
        Charted { laid: &laid, top, drawn: &drawn, left_out, cuts, by_order: &by_order, importances: &known, answered };
    let figures = Figures::new(&knowledge, common.units.into());
    match args.format {
        ChartFormat::Svg => print(&render_svg(&charted.tree(&figures), &top.title(&laid)))?,
        ChartFormat::Dot => print(&charted.dot(&figures))?,
        ChartFormat::Json => print(&charted.json())?,
        ChartFormat::Text => print_document(&charted.document(&figures), super::super::args::Format::Text)?,
        ChartFormat::Markdown => print_document(&charted.document(&figures), super::super::args::Format::Markdown)?,
        ChartFormat::Html => print_document(&charted.document(&figures), super::super::args::Format::Html)?,
    }
    Ok(Exit::Done)
}

/// The craft and what is known of it: a case's, or the usual one of a layout.
fn job<'k>(args: &Arguments, common: &Common, knowledge: &'k Knowledge) -> Result<(Laid<'k>, Case), Failure> {
    if let Some(path) = &args.case {
        let (case, findings) = load::case(path, knowledge)?;
        advise(findings, common);
        return Ok((Laid::new(knowledge, case.craft.clone()), case));
    }
    let named: Vec<String> = args.layout.iter().cloned().collect();
    let mut craft = Craft::usual(knowledge);
    if let Some(layout) = find(&knowledge.layouts, &named, "a layout", "--layout")?.first() {
        craft.layout = *layout;
    }
    let laid = Laid::new(knowledge, craft);
    let case = unasked(&laid);
    Ok((laid, case))
}

/// The event asked for; else what the case complains of first; else the first symptom there is.
fn event(args: &Arguments, laid: &Laid<'_>, case: &Case) -> Result<(Top, String), Failure> {
    let knowledge = laid.knowledge;
    let usual = || case.symptoms.first().map(|symptom| knowledge.symptoms.id(*symptom).to_owned());
    let first = || knowledge.symptoms.ids().next().map(str::to_owned);
    let id = args.event.clone().or_else(usual).or_else(first).unwrap_or_default();
    let Some(top) = Top::find(laid, &id) else {
        let known = knowledge.symptoms.ids().chain(knowledge.effects.ids());
        let hint = match nearest(&id, known) {
            Some(near) => format!("did you mean `{near}`?"),
            None => format!("symptoms are {}", knowledge.symptoms.ids().collect::<Vec<_>>().join(", ")),
        };
        return Err(Failure::Usage(format!(
            "expected a symptom or effect of the knowledge base, found `{id}`; {hint}"
        )));
    };
    Ok((top, id))
}
