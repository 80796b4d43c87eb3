//! `doldrum drill`: a hidden fault to find, and the debrief.

use crate::access::AccessGraph;
use crate::cli::args::{Common, Drill as Arguments, Format};
use crate::cli::out::{Failure, has_screen, page_width, paint, print, print_document};
use crate::cli::{Exit, load};
use crate::decision::Settings;
use crate::drill::Drill;
use crate::drill::End;
use crate::drill::draw::{self, Draw, Level};
use crate::drill::progress::{Move, Progress};
use crate::drill::score::score;
use crate::finding::nearest;
use crate::interview::drill::{Coach, Desk, Parting, Session, run as ask_drill};
use crate::interview::pages;
use crate::interview::plain::{Echo, Plain, typed_lines};
use crate::interview::terminal::{Terminal, end_in_order_on_ctrl_c};
use crate::knowledge::layout::Laid;
use crate::knowledge::{Items, Ix, Knowledge};
use crate::report::{self, Figures};
use crate::store;
use std::io::{self, IsTerminal, Write};
use std::path::Path;

/// Draws a drill, asks until it is over, and says what was to be learned.
///
/// # Errors
/// Where an option names what is not there, the record cannot be read or written, or the network is too wide.
pub fn run(args: &Arguments, common: &Common) -> Result<Exit, Failure> {
    let knowledge = load::knowledge(common)?;
    let mut progress = args.record.as_deref().map(record).transpose()?;
    let drawn = Drawn::of(args, common, &knowledge, progress.as_ref())?;
    let truth = draw::draw(&knowledge, drawn.level, &drawn.from).ok_or_else(|| {
        let (level, seed) = (drawn.level.id(), drawn.from.seed);
        Failure::Stuck(format!(
            "no job of the level `{level}` was met with seed `{seed}`; another level, symptom or layout may have some"
        ))
    })?;
    let laid = Laid::new(&knowledge, truth.case.craft.clone());
    let graph = AccessGraph::new(&knowledge);
    let figures = Figures::new(&knowledge, common.units.into());
    let wide = |error| Failure::Stuck(report::words::trouble(&laid, &truth.case, &error));
    let drill = Drill::begin(&laid, &graph, &truth, drawn.level, &Settings::default()).map_err(wide)?;
    let coach = if args.coach { Coach::Beside } else { Coach::Away };
    let told = format!("{} · seed {}", drawn.level.id(), drawn.from.seed);
    let mut session = Session::new(drill);
    let parting = ask(&Desk { figures: &figures, coach, told: &told }, &mut session, args)?;
    if let Some(why) = &session.trouble {
        return Err(Failure::Stuck(why.clone()));
    }
    if let Some(lock) = session.stopped {
        print_document(&pages::stop(&knowledge, lock), Format::Text)?;
        return Ok(Exit::Done);
    }
    let finished = !matches!(session.drill.end, Some(End::Left) | None);
    let way = match (&mut progress, &args.record) {
        (Some(progress), Some(path)) if finished => {
            let way = progress.add(drawn.from.seed, drawn.level, &score(&session.drill));
            store::write(path, &progress.write())?;
            Some(way)
        }
        _ => None,
    };
    let setup = report::DrillSetup { seed: drawn.from.seed, replay: drawn.replay(args, common) };
    let record = progress.as_ref().map(|progress| (progress, way.unwrap_or(Move::Stays)));
    match args.format {
        Format::Json => print(&report::debrief_json(&session.drill, &setup, record, &figures))?,
        format => print_document(&report::debrief(&session.drill, &setup, record, &figures), format)?,
    }
    match parting {
        Parting::Over => Ok(Exit::Done),
        Parting::Interrupted => Err(Failure::Interrupted("Interrupted; not scored.".to_owned())),
    }
}

/// Which drill.
struct Drawn {
    level: Level,
    from: Draw,
}

impl Drawn {
    /// By the options; without a level by the record. A record draws another drill each time: its count is added to the
    /// seed.
    fn of(
        args: &Arguments,
        common: &Common,
        knowledge: &Knowledge,
        progress: Option<&Progress>,
    ) -> Result<Self, Failure> {
        let level = args.level.map(Level::from).or(progress.map(|p| p.level)).unwrap_or(Level::Single);
        let taken = progress.map_or(0, |p| p.drills.len() as u64);
        let from = Draw {
            seed: common.seed.wrapping_add(taken),
            layouts: one(&knowledge.layouts, args.layout.as_deref(), "a layout", "--layout")?,
            symptoms: one(&knowledge.symptoms, args.symptom.as_deref(), "a symptom", "--symptom")?,
        };
        Ok(Self { level, from })
    }

    /// The command that plays it again.
    fn replay(&self, args: &Arguments, common: &Common) -> String {
        let mut words = vec!["doldrum drill".to_owned()];
        words.push(format!("--level {} --seed {}", self.level.id(), self.from.seed));
        words.extend(args.layout.as_ref().map(|id| format!("--layout {id}")));
        words.extend(args.symptom.as_ref().map(|id| format!("--symptom {id}")));
        words.extend(common.knowledge.as_ref().map(|folder| format!("--knowledge {}", folder.display())));
        words.join(" ")
    }
}

fn one<T>(items: &Items<T>, named: Option<&str>, what: &str, option: &str) -> Result<Vec<Ix<T>>, Failure> {
    let Some(id) = named else { return Ok(Vec::new()) };
    items.find(id).map(|ix| vec![ix]).ok_or_else(|| {
        let near = nearest(id, items.ids()).map(|n| format!("; did you mean `{n}`?")).unwrap_or_default();
        Failure::Usage(format!("expected {what} of the knowledge base after {option}, found `{id}`{near}"))
    })
}

/// The record of a trainee; a new one where there is none yet.
fn record(path: &Path) -> Result<Progress, Failure> {
    if !path.exists() {
        return Ok(Progress::default());
    }
    let bytes = store::read(path)?;
    let text = String::from_utf8_lossy(&bytes);
    Progress::read(&text).map_err(|why| Failure::Stuck(format!("{why}, in `{}`", path.display())))
}

/// At a terminal by keys, else by lines. Where the debrief is for programs, the lines go to standard error.
fn ask(desk: &Desk<'_>, session: &mut Session<'_, '_>, args: &Arguments) -> Result<Parting, Failure> {
    if has_screen() && !args.plain {
        end_in_order_on_ctrl_c();
        let mut terminal = Terminal::new(paint());
        let parting = ask_drill(desk, session, &mut terminal);
        terminal.restore()?;
        return Ok(parting?);
    }
    let echo = if io::stdin().is_terminal() { Echo::Off } else { Echo::On };
    let output: Box<dyn Write> = if args.format == Format::Text {
        Box::new(anstream::stdout().lock())
    } else {
        Box::new(anstream::stderr().lock())
    };
    let mut plain = Plain::new(typed_lines(), output, page_width(), echo);
    Ok(ask_drill(desk, session, &mut plain)?)
}
