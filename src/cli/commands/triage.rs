//! `doldrum triage`: the interview.

use super::cases;
use crate::access::AccessGraph;
use crate::case::{Case, text, usual_case};
use crate::cli::args::{Common, Job, Triage};
use crate::cli::out::{Failure, advise, page_width, paint, print, print_document};
use crate::cli::{Exit, args::Format, load};
use crate::decision::{Follow, Settings};
use crate::finding::nearest;
use crate::interview::advisor::Library;
use crate::interview::hand_over::{self, Ending, HandOver};
use crate::interview::plain::{Echo, Plain, typed_lines};
use crate::interview::state::End;
use crate::interview::step::Bench;
use crate::interview::terminal::{Terminal, end_in_order_on_ctrl_c};
use crate::interview::{Finished, Keep, is_untouched, pages, run as interview};
use crate::knowledge::{Items, Ix, Knowledge};
use crate::report::{Document, Figures, render_markdown};
use crate::store;
use jiff::{Timestamp, ZonedDateTime};
use std::io::{self, IsTerminal};
use std::path::{Path, PathBuf};

/// Asks until there is a plan, or until the person stops.
///
/// # Errors
/// Where the case cannot be read or kept, or reading and writing fails.
pub fn run(triage: &Triage, common: &Common) -> Result<Exit, Failure> {
    if triage.list {
        return cases::list(common);
    }
    if let [first, second] = triage.compare.as_slice() {
        return cases::compared([first, second], common);
    }
    let knowledge = load::knowledge(common)?;
    let (case, path) = case(&triage.job, common, &knowledge)?;
    let figures = Figures::new(&knowledge, common.units.into());
    let graph = AccessGraph::new(&knowledge);
    // One person at one terminal: what follows each answer is worth some next steps more. Fifty at a page would wait for it.
    let follow = Follow::Asked;
    let settings = Settings { seed: common.seed, look_ahead: triage.ahead.into(), follow, ..Settings::default() };
    let library = Library::new(&knowledge, settings, figures.clone());
    let bench = Bench {
        knowledge: &knowledge,
        graph: &graph,
        advisor: &library,
        figures: &figures,
        layout_known: triage.job.layout.is_some(),
    };
    let mut keeper = Keeper { path };
    let finished = ask(&bench, case, triage, &mut keeper)?;
    part(&bench, &finished, &keeper.path, common)
}

/// The case to go on with, or a new one; and where it is kept.
pub(super) fn case(job: &Job, common: &Common, knowledge: &Knowledge) -> Result<(Case, PathBuf), Failure> {
    let file = job.file.as_ref().or(job.case.as_ref());
    let mut case = match file {
        Some(path) if path.exists() => {
            let (case, findings) = load::case(path, knowledge)?;
            advise(findings, common);
            case
        }
        _ => usual_case(knowledge),
    };
    if let Some(id) = &job.user {
        case.user = named(&knowledge.users, id, "--for")?;
    }
    if let Some(id) = &job.layout {
        case.craft.layout = named(&knowledge.layouts, id, "--layout")?;
    }
    if job.title.is_some() {
        case.title.clone_from(&job.title);
    }
    let path = file
        .cloned()
        .unwrap_or_else(|| store::new_case_path(Path::new("."), ZonedDateTime::now().date(), case.title.as_deref()));
    Ok((case, path))
}

fn named<T>(items: &Items<T>, id: &str, option: &str) -> Result<Ix<T>, Failure> {
    items.find(id).ok_or_else(|| {
        let known: Vec<&str> = items.ids().collect();
        let hint = nearest(id, known.iter().copied()).map(|n| format!("; did you mean `{n}`?")).unwrap_or_default();
        Failure::Usage(format!("expected one of {} after {option}, found `{id}`{hint}", known.join(", ")))
    })
}

/// The time now. Seconds are near enough, and a person reads the file.
pub(super) fn clock() -> Option<Timestamp> {
    Timestamp::from_second(Timestamp::now().as_second()).ok()
}

/// At a terminal by keys, else by lines.
fn ask(bench: &Bench<'_>, case: Case, triage: &Triage, keeper: &mut Keeper) -> Result<Finished, Failure> {
    let attended = io::stdin().is_terminal() && io::stdout().is_terminal();
    if attended && !triage.plain {
        end_in_order_on_ctrl_c();
        let mut terminal = Terminal::new(paint());
        let finished = interview(bench, case, &mut terminal, keeper, &clock);
        terminal.restore()?;
        return finished;
    }
    let echo = if io::stdin().is_terminal() { Echo::Off } else { Echo::On };
    let mut plain = Plain::new(typed_lines(), anstream::stdout().lock(), page_width(), echo);
    interview(bench, case, &mut plain, keeper, &clock)
}

/// What is said in parting.
fn part(bench: &Bench<'_>, finished: &Finished, path: &Path, common: &Common) -> Result<Exit, Failure> {
    let base = common.knowledge.as_ref().map(|base| format!(" --knowledge {}", base.display())).unwrap_or_default();
    let kept = format!("Saved in {}. Go on with: doldrum{base} triage {}", path.display(), path.display());
    let Some(end) = finished.end else { return Err(Failure::Interrupted(kept)) };
    if let End::Stopped(lock) = end {
        print_document(&pages::stop(bench.knowledge, lock), Format::Text)?;
    }
    match hand_over::ending(bench, &finished.case, end, finished.view.as_deref(), clock()) {
        Ok(None) => {}
        Ok(Some(Ending::Fixed(document) | Ending::CallBack(document))) => print_document(&document, Format::Text)?,
        Ok(Some(Ending::BringIn(over))) => bring_in(bench, &finished.case, &over, path, &base)?,
        Err(why) => print(&format!("There is no sheet: {why}.\n"))?,
    }
    if !common.quiet {
        let path = path.display();
        let kept = match finished.case.emergency() {
            Some(_) => format!(
                "Saved in {path}. Nothing more until the craft is declared safe; then: doldrum{base} triage {path}"
            ),
            None => kept,
        };
        print(&format!("\n{kept}\n"))?;
        if end == End::Cured {
            print(&format!("For the next job of its kind: doldrum{base} logbook add {path}\n"))?;
        }
    }
    Ok(Exit::Done)
}

/// Prints the sheet and writes it beside the case, with the case that whoever goes on opens; and for a shop's own job the
/// work order.
fn bring_in(bench: &Bench<'_>, case: &Case, over: &HandOver, path: &Path, base: &str) -> Result<(), Failure> {
    let sheet_path = path.with_extension("sheet.md");
    let theirs = if over.case == *case {
        path.to_path_buf()
    } else {
        let text = text::write(&over.case, bench.knowledge);
        let free = free_name(path, &text);
        store::write(&free, &text)?;
        free
    };
    let name = theirs.file_name().map(|name| name.to_string_lossy().into_owned());
    let sheet = over.sheet.document(bench.figures, name.as_deref());
    store::write(&sheet_path, &render_markdown(&sheet))?;
    print_document(&sheet, Format::Text)?;
    if theirs == path {
        match bench.advisor.plan(case, None) {
            Ok(plan) => print_document(&plan, Format::Text)?,
            Err(why) => print(&format!("There is no work order: {why}.\n"))?,
        }
    }
    let goes_on = format!("doldrum{base} triage {}", theirs.display());
    print(&format!("\nThe sheet is in {}. Whoever goes on: {goes_on}\n", sheet_path.display()))
}

/// A name beside the case that nobody uses: whoever goes on may have begun with what was handed over before.
fn free_name(path: &Path, text: &str) -> PathBuf {
    let names = (1..).map(|n| if n == 1 { "shop.yaml".to_owned() } else { format!("shop-{n}.yaml") });
    let mut paths = names.map(|name| path.with_extension(name));
    let is_free = |path: &PathBuf| !path.exists() || store::read(path).is_ok_and(|bytes| bytes == text.as_bytes());
    paths.find(is_free).expect("there are as many names as numbers")
}

/// Keeps the case in its file.
struct Keeper {
    path: PathBuf,
}

impl Keep for Keeper {
    type Error = Failure;

    fn keep(&mut self, case: &Case, text: &str) -> Result<(), Failure> {
        // A job about which nothing is known yet leaves no file behind.
        if is_untouched(case) && !self.path.exists() {
            return Ok(());
        }
        Ok(store::write(&self.path, text)?)
    }

    fn keep_plan(&mut self, plan: &Document) -> Result<String, Failure> {
        let path = self.path.with_extension("plan.md");
        store::write(&path, &render_markdown(plan))?;
        Ok(format!("The work order is in {}.", path.display()))
    }
}
