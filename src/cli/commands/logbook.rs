//! `doldrum logbook`: closed jobs kept, listed, exchanged, counted and learned from.

mod add;

use crate::cli::args::logbook::{
    Channel, Export, Filter, Import, Learn, Logbook as Arguments, Search, Shape, Show, Verb,
};
use crate::cli::args::{Common, Format};
use crate::cli::out::{Failure, note, print, print_document, warn};
use crate::cli::{Exit, load};
use crate::finding::nearest;
use crate::inference::Limits;
use crate::knowledge::Knowledge;
use crate::logbook::exchange::{self, Notes};
use crate::logbook::learn::{Settings, learn};
use crate::logbook::overlay;
use crate::logbook::record::{self, Record};
use crate::logbook::summary::{bare, summary};
use crate::report::{Figures, logbook as pages};
use crate::store;
use crate::store::logbook::{Added, Change, Entry, Logbook};
use jiff::Timestamp;
use jiff::tz::TimeZone;
use std::io::{self, IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::time::Instant;

/// Does what is asked of the logbook.
///
/// # Errors
/// Where a file cannot be read or written, or an option names what is not there.
pub fn run(args: &Arguments, common: &Common) -> Result<Exit, Failure> {
    let path = path(args)?;
    // A name that was given is a file that is meant: only what keeps jobs makes it.
    let makes = matches!(args.verb, Verb::Add(_) | Verb::Import(_) | Verb::Where);
    if args.logbook.is_some() && !makes && !path.exists() {
        return Err(Failure::Usage(format!(
            "expected a logbook at `{}`, found no such file; `logbook add` and `logbook import` make one",
            path.display()
        )));
    }
    match &args.verb {
        Verb::Add(add) => add::run(add, &path, common),
        Verb::List(list) => listed(&path, &list.filter, &[], list.format, common),
        Verb::Search(Search { words, filter, format }) => listed(&path, filter, words, *format, common),
        Verb::Show(show) => shown(&path, show, common),
        Verb::Export(export) => exported(&path, export),
        Verb::Import(import) => imported(&path, import),
        Verb::Summary(args) => summed(&path, args.format, common),
        Verb::Learn(learn) => learned(&path, learn, common),
        Verb::Where => print(&format!("{}\n", path.display())).map(|()| Exit::Done),
    }
}

/// Where the logbook is: where it is said, else in the user's data folder.
fn path(args: &Arguments) -> Result<PathBuf, Failure> {
    let folder = || {
        let var = |name: &str| std::env::var_os(name).filter(|v| !v.is_empty()).map(PathBuf::from);
        if cfg!(windows) {
            var("LOCALAPPDATA")
        } else if cfg!(target_os = "macos") {
            var("HOME").map(|home| home.join("Library/Application Support"))
        } else {
            var("XDG_DATA_HOME").or_else(|| var("HOME").map(|home| home.join(".local/share")))
        }
    };
    match &args.logbook {
        Some(path) => Ok(path.clone()),
        None => folder()
            .map(|folder| folder.join("doldrum").join("logbook.db"))
            .ok_or_else(|| Failure::Usage("no data folder is known here; say where with --logbook".to_owned())),
    }
}

/// The jobs of a logbook that is there. One that is not is as good as empty, and is not made by looking.
fn entries(path: &Path) -> Result<Vec<Entry>, Failure> {
    if !path.exists() {
        return Ok(Vec::new());
    }
    let logbook = Logbook::open(path)?;
    for unread in logbook.unread()? {
        warn(&format!("{unread}; it is left out"));
    }
    Ok(logbook.entries()?)
}

/// The words for ids; where the knowledge base cannot be read, ids do.
fn words(common: &Common) -> Option<Knowledge> {
    load::plain_knowledge(common).ok()
}

fn figures(knowledge: Option<&Knowledge>, common: &Common) -> Figures {
    let system = common.units.into();
    knowledge.map_or_else(
        || Figures { system, chances: crate::report::Chances::Words, currency: "USD".to_owned() },
        |knowledge| Figures::new(knowledge, system),
    )
}

fn listed(path: &Path, filter: &Filter, wanted: &[String], format: Format, common: &Common) -> Result<Exit, Failure> {
    let knowledge = words(common);
    let all = entries(path)?;
    let total = all.len();
    let mut entries: Vec<Entry> = all
        .into_iter()
        .filter(|entry| fits(&entry.record, filter))
        .filter(|entry| {
            let text = pages::searchable(&entry.record, knowledge.as_ref());
            wanted.iter().all(|word| text.contains(&word.to_lowercase()))
        })
        .collect();
    if let Some(last) = filter.last {
        entries.drain(..entries.len().saturating_sub(last));
    }
    match format {
        Format::Json => {
            let records: Vec<&Record> = entries.iter().map(|entry| &entry.record).collect();
            print(&(serde_json::to_string_pretty(&records).map_err(|e| Failure::Stuck(e.to_string()))? + "\n"))?;
        }
        format => {
            let figures = figures(knowledge.as_ref(), common);
            print_document(&pages::list(&entries, total, knowledge.as_ref(), &figures), format)?;
        }
    }
    Ok(Exit::Done)
}

fn fits(record: &Record, filter: &Filter) -> bool {
    let names = |labels: &[String], id: &String| labels.iter().any(|label| label == id || bare(label) == id);
    filter.cause.as_ref().is_none_or(|id| names(&record.causes, id))
        && filter.symptom.as_ref().is_none_or(|id| names(&record.symptoms, id))
        && filter.channel.is_none_or(|channel| kept(channel) == record.channel)
        && filter.since.is_none_or(|day| record.closed.to_zoned_datetime(TimeZone::UTC).date() >= day)
}

fn kept(channel: Channel) -> record::Channel {
    match channel {
        Channel::Shop => record::Channel::Shop,
        Channel::Phone => record::Channel::Phone,
    }
}

fn shown(path: &Path, show: &Show, common: &Common) -> Result<Exit, Failure> {
    let logbook = if path.exists() { Some(Logbook::open(path)?) } else { None };
    let revisions = logbook.as_ref().map(|logbook| logbook.revisions(&show.id)).transpose()?.unwrap_or_default();
    let mut ids: Vec<&str> = revisions.iter().map(|entry| entry.record.id.as_str()).collect();
    ids.sort_unstable();
    ids.dedup();
    let id = match ids.as_slice() {
        [] => {
            return Err(Failure::Usage(format!(
                "expected the id of a job in `{}`, found `{}`",
                path.display(),
                show.id
            )));
        }
        [id] => *id,
        several => {
            let several: Vec<&str> = several.iter().map(|id| pages::short(id)).collect();
            return Err(Failure::Usage(format!("`{}` begins several ids: {}", show.id, several.join(", "))));
        }
    };
    let last = revisions.last().expect("an id comes from a revision");
    let by = logbook.as_ref().map(|logbook| logbook.replaced_by(id)).transpose()?.flatten();
    if show.case {
        print(&last.record.case)?;
    } else if show.format == Format::Json {
        print(&(serde_json::to_string_pretty(&last.record).map_err(|e| Failure::Stuck(e.to_string()))? + "\n"))?;
    } else {
        let knowledge = words(common);
        let page = pages::show(&revisions, by.as_deref(), knowledge.as_ref(), &figures(knowledge.as_ref(), common));
        print_document(&page, show.format)?;
    }
    Ok(Exit::Done)
}

fn exported(path: &Path, export: &Export) -> Result<Exit, Failure> {
    let records: Vec<Record> = entries(path)?.into_iter().map(|entry| entry.record).collect();
    let notes = if export.notes { Notes::Sent } else { Notes::Kept };
    let text = match export.shape {
        Shape::Jsonl => exchange::json_lines(&records, notes),
        Shape::Csv => exchange::csv(&records, notes),
    };
    match &export.output {
        Some(file) => store::write(file, &text)?,
        None => print(&text)?,
    }
    Ok(Exit::Done)
}

fn imported(path: &Path, import: &Import) -> Result<Exit, Failure> {
    let bytes = store::read_whole(&import.file)?;
    let name = import.file.display();
    let text = String::from_utf8(bytes).map_err(|_| Failure::Stuck(format!("expected UTF-8 in `{name}`")))?;
    let is_csv = import.file.extension().is_some_and(|e| e.eq_ignore_ascii_case("csv"));
    let read = if is_csv { exchange::from_csv(&text) } else { exchange::from_json_lines(&text) };
    let records = read.map_err(|errors| {
        let lines: Vec<String> = errors.iter().map(|error| format!("`{name}`, {error}")).collect();
        Failure::Stuck(format!("nothing was imported\n{}", lines.join("\n")))
    })?;
    let change = if import.amend { Change::Amend } else { Change::Refuse };
    let outcomes = Logbook::open(path)?.add_all(&records, now(), change)?;
    let count = |is: fn(&Added) -> bool| outcomes.iter().filter(|outcome| is(outcome)).count();
    let differ = count(|outcome| matches!(outcome, Added::Differs(_)));
    let told = format!(
        "{} added, {} amended, {} there already",
        count(|outcome| matches!(outcome, Added::New)),
        count(|outcome| matches!(outcome, Added::Amended(_))),
        count(|outcome| matches!(outcome, Added::Already))
    );
    let differ = match differ {
        0 => String::new(),
        n => format!("; {n} there with other details, left as they are (--amend lets the new ones count)"),
    };
    print(&format!("{told}{differ}\n"))?;
    Ok(Exit::Done)
}

fn summed(path: &Path, format: Format, common: &Common) -> Result<Exit, Failure> {
    let records: Vec<Record> = entries(path)?.into_iter().map(|entry| entry.record).collect();
    let summary = summary(&records);
    match format {
        Format::Json => print(&pages::summary_json(&summary))?,
        format => {
            let knowledge = words(common);
            print_document(
                &pages::summary(&summary, knowledge.as_ref(), &figures(knowledge.as_ref(), common)),
                format,
            )?;
        }
    }
    Ok(Exit::Done)
}

fn learned(path: &Path, args: &Learn, common: &Common) -> Result<Exit, Failure> {
    let knowledge = load::plain_knowledge(common)?;
    if common.learned.is_some() {
        note("what was learned before is left aside: learning begins at the knowledge base", common);
    }
    let records: Vec<Record> = entries(path)?.into_iter().map(|entry| entry.record).collect();
    if records.is_empty() {
        return Err(Failure::Usage(format!(
            "expected jobs to learn from, found none in `{}`; `logbook add` keeps one",
            path.display()
        )));
    }
    let settings =
        Settings { worth: args.worth, row_worth: args.row_worth, fade: args.fade, limits: Limits::default() };
    let mut watch = Watch::new(common);
    let result = learn(&knowledge, &records, &settings, &mut |done, most| watch.step(done, most));
    watch.end();
    let (learned, counts) = result.map_err(|e| Failure::Stuck(e.to_string()))?;
    if let Some(file) = &args.output {
        store::write(file, &overlay::write(&learned, &knowledge))?;
    }
    match args.format {
        Format::Json => print(&pages::learned_json(&learned, &counts, &knowledge))?,
        format => {
            let written = args.output.as_ref().map(|file| file.display().to_string());
            let page = pages::learned(&learned, &counts, &knowledge, written.as_deref());
            print_document(&page, format)?;
        }
    }
    Ok(Exit::Done)
}

/// A line on standard error, where that is a terminal, so that a long wait is seen to be work.
struct Watch {
    shown: bool,
    drawn: Option<Instant>,
}

impl Watch {
    fn new(common: &Common) -> Self {
        Self { shown: !common.quiet && io::stderr().is_terminal(), drawn: None }
    }

    fn step(&mut self, done: usize, most: usize) {
        // Ten times a second is as often as an eye sees.
        if self.shown && self.drawn.is_none_or(|at| at.elapsed().as_millis() >= 100) {
            self.drawn = Some(Instant::now());
            let _ = write!(anstream::stderr(), "\rlearning: {done} looks at a job, {most} at most ");
        }
    }

    fn end(&mut self) {
        if self.drawn.is_some() {
            let _ = write!(anstream::stderr(), "\r{}\r", " ".repeat(70));
        }
    }
}

/// The moment, to the second.
fn now() -> Timestamp {
    Timestamp::from_second(Timestamp::now().as_second()).expect("the clock says a second")
}

/// "; did you mean `x`?"
fn hint<'a>(word: &str, known: impl IntoIterator<Item = &'a str>) -> String {
    nearest(word, known).map(|near| format!("; did you mean `{near}`?")).unwrap_or_default()
}
