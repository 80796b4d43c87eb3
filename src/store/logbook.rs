//! The logbook on disk: one SQLite file. It only grows: a correction is a further revision of a job, and the earlier ones
//! stay. Whatever ends the program at whatever moment, a job is there whole or not at all.

use super::failed;
use crate::logbook::record::Record;
use jiff::Timestamp;
use rusqlite::{Connection, ErrorCode, OptionalExtension, Transaction, TransactionBehavior, params};
use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// The version of the tables that this program writes.
#[expect(clippy::cast_possible_wrap, reason = "a handful of steps")]
pub const VERSION: i64 = STEPS.len() as i64;
/// What marks the file as ours: "DLDR".
const APPLICATION_ID: i64 = 0x444c_4452;
/// How long another program may hold the file.
const PATIENCE: Duration = Duration::from_secs(10);

/// The steps from each version of the tables to the next, the first from nothing.
const STEPS: [&str; 2] = [
    // 1: one row a job.
    "CREATE TABLE job (
        id TEXT PRIMARY KEY,
        added TEXT NOT NULL,
        record TEXT NOT NULL
    ) STRICT;",
    // 2: corrections are kept beside what they correct, and a job that goes on replaces the shorter one.
    "CREATE TABLE entry (
        seq INTEGER PRIMARY KEY,
        job TEXT NOT NULL,
        revision INTEGER NOT NULL,
        added TEXT NOT NULL,
        record TEXT NOT NULL CHECK (json_valid(record)),
        UNIQUE (job, revision)
    ) STRICT;
    CREATE TABLE replaced (
        job TEXT PRIMARY KEY,
        by TEXT NOT NULL
    ) STRICT;
    INSERT INTO entry (job, revision, added, record) SELECT id, 1, added, record FROM job ORDER BY rowid;
    DROP TABLE job;",
];

/// The jobs that count, in their last revisions.
const COUNTING: &str = "SELECT job, revision, added, record FROM entry AS e
    WHERE revision = (SELECT max(revision) FROM entry WHERE job = e.job)
      AND job NOT IN (SELECT job FROM replaced) ORDER BY seq";

/// A logbook that could not be used.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// A newer program wrote it.
    #[error("expected a logbook of version {VERSION} or earlier, found version {found} in `{}`; it was left as it is", .path.display())]
    Newer {
        /// Which file.
        path: PathBuf,
        /// Its version.
        found: i64,
    },
    /// It is something else.
    #[error("expected a logbook, found another kind of file in `{}`; it was left as it is", .path.display())]
    Another {
        /// Which file.
        path: PathBuf,
    },
    /// A record in it does not read.
    #[error("job `{id}` in `{}` does not read: {what}", .path.display())]
    Record {
        /// Which file.
        path: PathBuf,
        /// The job.
        id: String,
        /// What is wrong.
        what: String,
    },
    /// SQLite said no.
    #[error("cannot {doing} the logbook `{}`: {cause}", .path.display())]
    Sqlite {
        /// "open", "read", "write".
        doing: &'static str,
        /// Which file.
        path: PathBuf,
        /// What it said.
        cause: rusqlite::Error,
    },
    /// The file system said no.
    #[error(transparent)]
    File(#[from] super::Error),
}

/// An open logbook.
pub struct Logbook {
    connection: Connection,
    path: PathBuf,
}

/// One revision of a job.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// From one.
    pub revision: u32,
    /// When it was written down.
    pub added: Timestamp,
    /// The job.
    pub record: Record,
}

/// What becomes of a job that is there already with other details.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Change {
    /// It is left as it is, and said so.
    Refuse,
    /// A further revision.
    Amend,
}

/// What became of a job that was added.
#[derive(Clone, Debug, PartialEq)]
pub enum Added {
    /// It is new.
    New,
    /// It was there, the same.
    Already,
    /// It was there and got this revision.
    Amended(u32),
    /// It was there with other details; nothing was written. What is there.
    Differs(Box<Record>),
}

impl Logbook {
    /// Opens a logbook; makes it, and its folder, where there is none. An older one is brought to today's version, whole
    /// or not at all.
    ///
    /// # Errors
    /// Where it is of a newer version or of another kind (nothing is written then), or cannot be opened.
    pub fn open(path: &Path) -> Result<Self, Error> {
        prepare(path)?;
        let mut connection = Connection::open(path).map_err(|cause| trouble("open", path, cause))?;
        connection.busy_timeout(PATIENCE).map_err(|cause| trouble("open", path, cause))?;
        let version = version(&connection, path)?;
        set_up(&connection).map_err(|cause| trouble("open", path, cause))?;
        if version < VERSION {
            migrate(&mut connection).map_err(|cause| trouble("write", path, cause))?;
        }
        Ok(Self { connection, path: path.to_owned() })
    }

    /// Adds a job.
    ///
    /// # Errors
    /// Where it cannot be written; nothing was then.
    pub fn add(&mut self, record: &Record, added: Timestamp, change: Change) -> Result<Added, Error> {
        let path = self.path.clone();
        let fail = |cause| trouble("write", &path, cause);
        let transaction = self.connection.transaction_with_behavior(TransactionBehavior::Immediate).map_err(fail)?;
        let outcome = add(&transaction, &path, record, added, change)?;
        transaction.commit().map_err(fail)?;
        Ok(outcome)
    }

    /// Adds many jobs, all or none.
    ///
    /// # Errors
    /// As [`Logbook::add`].
    pub fn add_all(&mut self, records: &[Record], added: Timestamp, change: Change) -> Result<Vec<Added>, Error> {
        let path = self.path.clone();
        let fail = |cause| trouble("write", &path, cause);
        let transaction = self.connection.transaction_with_behavior(TransactionBehavior::Immediate).map_err(fail)?;
        let outcomes: Result<Vec<Added>, Error> =
            records.iter().map(|record| add(&transaction, &path, record, added, change)).collect();
        let outcomes = outcomes?;
        transaction.commit().map_err(fail)?;
        Ok(outcomes)
    }

    /// Says that a job goes on where another one stopped: the shorter one no longer counts, and stays.
    ///
    /// # Errors
    /// Where it cannot be written.
    pub fn replace(&mut self, shorter: &str, longer: &str) -> Result<(), Error> {
        self.connection
            .execute("INSERT OR REPLACE INTO replaced (job, by) VALUES (?1, ?2)", params![shorter, longer])
            .map_err(|cause| trouble("write", &self.path, cause))?;
        Ok(())
    }

    /// Every job that counts, in its last revision, in the order in which they were closed. What does not read is left out:
    /// one job takes none of the others away ([`Logbook::unread`]).
    ///
    /// # Errors
    /// Where it cannot be read.
    pub fn entries(&self) -> Result<Vec<Entry>, Error> {
        let mut entries: Vec<Entry> = self.select(COUNTING, [])?.into_iter().flatten().collect();
        entries.sort_by(|a, b| (a.record.closed, &a.record.id).cmp(&(b.record.closed, &b.record.id)));
        Ok(entries)
    }

    /// What is wrong with the jobs that would count and do not read.
    ///
    /// # Errors
    /// Where it cannot be read.
    pub fn unread(&self) -> Result<Vec<Error>, Error> {
        Ok(self.select(COUNTING, [])?.into_iter().filter_map(Result::err).collect())
    }

    /// Every revision of the jobs whose id begins so, also of those that no longer count, in the order of writing.
    ///
    /// # Errors
    /// Where it, or one of them, cannot be read.
    pub fn revisions(&self, id: &str) -> Result<Vec<Entry>, Error> {
        // Only hexadecimal digits, so that nothing in it means anything to LIKE.
        if id.is_empty() || !id.chars().all(|c| c.is_ascii_hexdigit()) {
            return Ok(Vec::new());
        }
        let pattern = format!("{}%", id.to_lowercase());
        let sql = "SELECT job, revision, added, record FROM entry WHERE job LIKE ?1 ORDER BY seq";
        self.select(sql, [pattern])?.into_iter().collect()
    }

    /// The job that a job no longer counts for, by id.
    ///
    /// # Errors
    /// Where it cannot be read.
    pub fn replaced_by(&self, id: &str) -> Result<Option<String>, Error> {
        self.connection
            .query_row("SELECT by FROM replaced WHERE job = ?1", [id], |row| row.get(0))
            .optional()
            .map_err(|cause| trouble("read", &self.path, cause))
    }

    fn select(&self, sql: &str, params: impl rusqlite::Params) -> Result<Vec<Result<Entry, Error>>, Error> {
        let fail = |cause| trouble("read", &self.path, cause);
        let mut statement = self.connection.prepare(sql).map_err(fail)?;
        let rows = statement
            .query_map(params, |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?)))
            .map_err(fail)?;
        rows.map(|row| Ok(entry(&self.path, row.map_err(fail)?))).collect()
    }
}

/// The file and its folder are for the user alone: what is in it is nobody else's business.
fn prepare(path: &Path) -> Result<(), Error> {
    if let Some(folder) = path.parent().filter(|folder| !folder.as_os_str().is_empty() && !folder.exists()) {
        fs::create_dir_all(folder).map_err(failed("make the folder", folder))?;
    }
    if !path.exists() {
        let mut options = fs::OpenOptions::new();
        options.write(true).create_new(true);
        #[cfg(unix)]
        std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
        match options.open(path) {
            Err(cause) if cause.kind() != std::io::ErrorKind::AlreadyExists => {
                return Err(failed("write", path)(cause).into());
            }
            _ => {}
        }
    }
    Ok(())
}

/// The version of the tables; 0 for a file that holds nothing yet. Nothing is written.
fn version(connection: &Connection, path: &Path) -> Result<i64, Error> {
    let pragma = |name: &str| connection.pragma_query_value(None, name, |row| row.get::<_, i64>(0));
    let another = || Error::Another { path: path.to_owned() };
    let known = pragma("application_id").and_then(|id| {
        let tables = connection.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get::<_, i64>(0))?;
        Ok((id, pragma("user_version")?, tables))
    });
    match known {
        Ok((0, 0, 0)) => Ok(0),
        Ok((APPLICATION_ID, found, _)) if found > VERSION => Err(Error::Newer { path: path.to_owned(), found }),
        Ok((APPLICATION_ID, found, _)) if found >= 0 => Ok(found),
        Ok(_) => Err(another()),
        Err(cause) if cause.sqlite_error_code() == Some(ErrorCode::NotADatabase) => Err(another()),
        Err(cause) => Err(trouble("read", path, cause)),
    }
}

/// A write-ahead log, so that a reader never waits for a writer; on the disk before a job is called added.
fn set_up(connection: &Connection) -> rusqlite::Result<()> {
    connection.pragma_update(None, "journal_mode", "wal")?;
    connection.pragma_update(None, "synchronous", "full")
}

fn migrate(connection: &mut Connection) -> rusqlite::Result<()> {
    let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    // Another program may have done it while this one waited.
    let found: i64 = transaction.pragma_query_value(None, "user_version", |row| row.get(0))?;
    for step in STEPS.iter().skip(usize::try_from(found).unwrap_or(0)) {
        transaction.execute_batch(step)?;
    }
    transaction.pragma_update(None, "application_id", APPLICATION_ID)?;
    transaction.pragma_update(None, "user_version", VERSION)?;
    transaction.commit()
}

fn add(
    transaction: &Transaction<'_>,
    path: &Path,
    record: &Record,
    added: Timestamp,
    change: Change,
) -> Result<Added, Error> {
    let fail = |cause| trouble("write", path, cause);
    let last = transaction
        .query_row(
            "SELECT job, revision, added, record FROM entry WHERE job = ?1 ORDER BY revision DESC LIMIT 1",
            [&record.id],
            |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?)),
        )
        .optional()
        .map_err(fail)?;
    let last: Option<(u32, Result<Entry, Error>)> = last.map(|row: Row| (row.1, entry(path, row)));
    let revision = match last {
        None => 1,
        Some((_, Ok(last))) if last.record == *record => return Ok(Added::Already),
        Some((_, Ok(last))) if change == Change::Refuse => return Ok(Added::Differs(Box::new(last.record))),
        Some((_, Err(unread))) if change == Change::Refuse => return Err(unread),
        // What does not read is corrected like what is wrong.
        Some((revision, _)) => revision + 1,
    };
    let text = serde_json::to_string(record).expect("plain data becomes JSON");
    // What would not read back is refused while whoever adds it can still do something about it.
    entry(path, (record.id.clone(), revision, added.to_string(), text.clone()))?;
    transaction
        .execute(
            "INSERT INTO entry (job, revision, added, record) VALUES (?1, ?2, ?3, ?4)",
            params![record.id, revision, added.to_string(), text],
        )
        .map_err(fail)?;
    Ok(if revision == 1 { Added::New } else { Added::Amended(revision) })
}

type Row = (String, u32, String, String);

fn entry(path: &Path, (id, revision, added, text): Row) -> Result<Entry, Error> {
    let wrong = |what: String| Error::Record { path: path.to_owned(), id: id.clone(), what };
    let record: Record = serde_json::from_str(&text).map_err(|e| wrong(e.to_string()))?;
    record.check().map_err(wrong)?;
    let added = added.parse().map_err(|_| wrong(format!("expected a moment, found `{added}`")))?;
    Ok(Entry { revision, added, record })
}

fn trouble(doing: &'static str, path: &Path, cause: rusqlite::Error) -> Error {
    Error::Sqlite { doing, path: path.to_owned(), cause }
}
