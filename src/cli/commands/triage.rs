//! `doldrum triage`: the interview.

use super::cases;
use crate::access::AccessGraph;
use crate::case::{Case, usual_case};
use crate::cli::args::{Common, Job, Triage};
use crate::cli::out::{Failure, advise, has_screen, page_width, paint, print, print_document};
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
    let (case, path, kept) = case(&triage.job, common, &knowledge)?;
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
    let mut keeper = Keeper { path, kept };
    let finished = ask(&bench, case, triage, &mut keeper)?;
    part(&bench, &finished, &keeper.path, common)
}

/// The case to go on with, or a new one; where it is kept, and what stands there.
pub(super) fn case(
    job: &Job,
    common: &Common,
    knowledge: &Knowledge,
) -> Result<(Case, PathBuf, Option<Vec<u8>>), Failure> {
    let file = job.file.as_ref().or(job.case.as_ref());
    let mut kept = None;
    let mut case = match file {
        Some(path) if path.exists() => {
            let bytes = store::read(path)?;
            let (case, findings) = load::case_of(path, &bytes, knowledge)?;
            advise(findings, common);
            kept = Some(bytes);
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
    Ok((case, path, kept))
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
    if has_screen() && !triage.plain {
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
    let kept = if path.exists() {
        format!("Saved in {}. Go on with: doldrum{base} triage {}", path.display(), path.display())
    } else {
        "Nothing to save yet.".to_owned()
    };
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
    let theirs = over.write(case, path, bench.knowledge)?;
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

/// Keeps the case in its file.
struct Keeper {
    path: PathBuf,
    /// What we know to stand in the file; nothing before it is there.
    kept: Option<Vec<u8>>,
}

impl Keeper {
    /// Whether another program wrote to the file since: a page of the same job, an editor.
    fn is_changed_elsewhere(&self) -> bool {
        // Whoever took it away did not take the job away.
        self.path.exists() && store::read(&self.path).ok() != self.kept
    }
}

impl Keep for Keeper {
    type Error = Failure;

    fn keep(&mut self, case: &Case, text: &str) -> Result<Option<String>, Failure> {
        // A job about which nothing is known yet leaves no file behind.
        if is_untouched(case) && !self.path.exists() {
            return Ok(None);
        }
        let mut told = None;
        if self.is_changed_elsewhere() {
            // Which of the two is right only people can tell: both are there.
            let ours = store::beside(&self.path, "second", text);
            told = Some(format!(
                "{} was changed elsewhere since it was read. It stays as it is; this job is kept in {} from here on.",
                self.path.display(),
                ours.display()
            ));
            self.path = ours;
        }
        store::write(&self.path, text)?;
        self.kept = Some(text.as_bytes().to_vec());
        Ok(told)
    }

    fn keep_plan(&mut self, plan: &Document) -> Result<String, Failure> {
        let path = self.path.with_extension("plan.md");
        store::write(&path, &render_markdown(plan))?;
        Ok(format!("The work order is in {}.", path.display()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_another_program_wrote_to_the_case_is_not_written_over() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("job.yaml");
        let knowledge = crate::knowledge::read(&store::built_in()).0.unwrap();
        let case = Case { symptoms: vec![Ix::new(0)], ..usual_case(&knowledge) };
        let mut keeper = Keeper { path: path.clone(), kept: None };
        let mut keep = |text: &str| keeper.keep(&case, text).unwrap_or_else(|_| panic!("it can be written"));
        assert!(keep("one").is_none() && keep("two").is_none());
        store::write(&path, "theirs").unwrap();
        let told = keep("three").unwrap();
        assert!(told.contains("job.yaml was changed elsewhere") && told.contains("job.second.yaml"), "{told}");
        assert!(keep("four").is_none(), "it is told once");
        let there = |name: &str| std::fs::read_to_string(folder.path().join(name)).unwrap();
        assert_eq!((there("job.yaml").as_str(), there("job.second.yaml").as_str()), ("theirs", "four"));
        // Taken away is not changed.
        std::fs::remove_file(folder.path().join("job.second.yaml")).unwrap();
        assert!(keep("five").is_none() && there("job.second.yaml") == "five");
    }
}
