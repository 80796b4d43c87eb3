//! Files: knowledge folders read, cases read and written so that no half-written case is ever left behind.

mod built_in;
pub mod logbook;

pub use built_in::{built_in, built_in_named, built_in_names};

use std::fs::{self, File, OpenOptions};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

/// The most bytes of one file that are read: a little more than any reader accepts, so that it can say so itself.
const MOST_BYTES: u64 = (4 << 20) + 1;
/// The most files of a folder.
const MOST_FILES: usize = 2_001;
/// The deepest a knowledge folder is nested.
const DEEPEST: usize = 8;
/// What the name of a case file begins with.
const CASE_PREFIX: &str = "doldrum-";

/// A file that could not be read or written.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// The system said no.
    #[error("cannot {doing} `{}`: {cause}", .path.display())]
    Io {
        /// "read", "write", "list".
        doing: &'static str,
        /// Which.
        path: PathBuf,
        /// What the system said.
        cause: io::Error,
    },
    /// Not a knowledge folder.
    #[error("expected a folder with `craft.yaml` in it, found `{}`", .path.display())]
    NotKnowledge {
        /// Which.
        path: PathBuf,
    },
    /// Neither a folder nor the name of a built-in knowledge base.
    #[error("expected a folder with `craft.yaml` in it or {known}, found `{name}`")]
    NoSuchKnowledge {
        /// What was asked for.
        name: String,
        /// What there is, in words.
        known: String,
    },
    /// A knowledge base that shares another one.
    #[error("expected a shared folder without a manifest, found `{}`", .path.display())]
    SharesABase {
        /// The manifest.
        path: PathBuf,
    },
}

fn failed(doing: &'static str, path: &Path) -> impl FnOnce(io::Error) -> Error {
    let path = path.to_owned();
    move |cause| Error::Io { doing, path, cause }
}

/// A file's bytes; `-` is standard input.
///
/// # Errors
/// Where it cannot be read.
pub fn read(path: &Path) -> Result<Vec<u8>, Error> {
    let mut bytes = Vec::new();
    let read = if path == Path::new("-") {
        io::stdin().lock().take(MOST_BYTES).read_to_end(&mut bytes)
    } else {
        File::open(path).and_then(|file| file.take(MOST_BYTES).read_to_end(&mut bytes))
    };
    read.map_err(failed("read", path))?;
    Ok(bytes)
}

/// A file's bytes, however many; `-` is standard input.
///
/// # Errors
/// Where it cannot be read.
pub fn read_whole(path: &Path) -> Result<Vec<u8>, Error> {
    let mut bytes = Vec::new();
    let read = if path == Path::new("-") {
        io::stdin().lock().read_to_end(&mut bytes)
    } else {
        File::open(path).and_then(|mut file| file.read_to_end(&mut bytes))
    };
    read.map_err(failed("read", path))?;
    Ok(bytes)
}

/// The files of the knowledge base that is asked for: a built-in one by its name (`./name` is a folder of that name), or
/// a folder.
///
/// # Errors
/// Where there is none, or it cannot be read.
pub fn knowledge_named(asked: &Path) -> Result<Vec<(String, Vec<u8>)>, Error> {
    let name = asked.to_string_lossy();
    if let Some(files) = built_in_named(&name) {
        return Ok(files);
    }
    let plain = !name.contains(['/', '\\', '.']);
    if plain && !asked.exists() {
        let known = built_in_names().iter().map(|n| format!("`{n}`")).collect::<Vec<_>>().join(" or ");
        return Err(Error::NoSuchKnowledge { name: name.into_owned(), known });
    }
    knowledge_files(asked)
}

/// The YAML files of a knowledge folder and of the folders it shares, by name, each with its bytes.
///
/// # Errors
/// Where it is no knowledge folder, or cannot be read. A shared folder that is not there is for reading to tell.
pub fn knowledge_files(folder: &Path) -> Result<Vec<(String, Vec<u8>)>, Error> {
    if folder.is_dir() && !folder.join("craft.yaml").is_file() {
        return Err(Error::NotKnowledge { path: folder.to_owned() });
    }
    let mut files = yaml_below(folder)?;
    for shared in crate::knowledge::shares(&files) {
        let shared = Path::new(&shared);
        if shared.join("craft.yaml").exists() {
            return Err(Error::SharesABase { path: shared.join("craft.yaml") });
        }
        if shared.is_dir() {
            files.extend(yaml_below(shared)?);
        }
    }
    files.sort();
    files.dedup();
    Ok(files)
}

fn yaml_below(folder: &Path) -> Result<Vec<(String, Vec<u8>)>, Error> {
    let mut paths = Vec::new();
    walk(folder, DEEPEST, &mut paths)?;
    paths.into_iter().map(|path| Ok((shown(&path), read(&path)?))).collect()
}

fn walk(folder: &Path, depth: usize, paths: &mut Vec<PathBuf>) -> Result<(), Error> {
    for entry in fs::read_dir(folder).map_err(failed("list", folder))? {
        let path = entry.map_err(failed("list", folder))?.path();
        let hidden = path.file_name().is_some_and(|name| name.to_string_lossy().starts_with('.'));
        if hidden || paths.len() >= MOST_FILES {
            continue;
        }
        if path.is_dir() {
            if depth > 0 {
                walk(&path, depth - 1, paths)?;
            }
        } else if path.extension().is_some_and(|e| e == "yaml" || e == "yml") {
            paths.push(path);
        }
    }
    Ok(())
}

/// A path as people read it, with `/` between folders everywhere.
fn shown(path: &Path) -> String {
    path.to_string_lossy().replace('\\', "/")
}

/// Writes a file as a whole or not at all: into a new file beside it, to the disk, then under its name. A file that is
/// replaced keeps its permissions; a link keeps pointing.
///
/// # Errors
/// Where it cannot be written; what was there before is there still.
pub fn write(path: &Path, text: &str) -> Result<(), Error> {
    let target = fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
    write_beside(&target, text.as_bytes()).map_err(failed("write", path))
}

/// Whether a folder is there and holds anything, or something else bears its name.
///
/// # Errors
/// Where it cannot be listed.
pub fn holds_something(folder: &Path) -> Result<bool, Error> {
    if !folder.exists() {
        return Ok(false);
    }
    if !folder.is_dir() {
        return Ok(true);
    }
    Ok(fs::read_dir(folder).map_err(failed("list", folder))?.next().is_some())
}

/// The same for a file below a folder, which is made where it is missing.
///
/// # Errors
/// As [`write()`], and where the folder cannot be made.
pub fn write_below(folder: &Path, name: &str, text: &str) -> Result<(), Error> {
    let path = folder.join(name);
    let parent = path.parent().unwrap_or(folder);
    fs::create_dir_all(parent).map_err(failed("make", parent))?;
    write(&path, text)
}

fn write_beside(target: &Path, bytes: &[u8]) -> io::Result<()> {
    let folder = target.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let name =
        target.file_name().ok_or_else(|| io::Error::new(io::ErrorKind::InvalidInput, "not the name of a file"))?;
    let beside = folder.join(format!(".{}.{}.new", name.to_string_lossy(), std::process::id()));
    let written = fill(&beside, target, bytes).and_then(|()| fs::rename(&beside, target));
    if written.is_err() {
        // What matters is the first error; the leavings are only untidy.
        let _ = fs::remove_file(&beside);
        return written;
    }
    // The rename itself lasts once the folder is on the disk. Not every system lets a folder be opened.
    if let Ok(folder) = File::open(folder) {
        let _ = folder.sync_all();
    }
    Ok(())
}

fn fill(beside: &Path, target: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut file = OpenOptions::new().write(true).create(true).truncate(true).open(beside)?;
    if let Ok(old) = fs::metadata(target) {
        file.set_permissions(old.permissions())?;
    }
    file.write_all(bytes)?;
    file.sync_all()
}

/// A name for a new case in a folder, from the day and the title: `doldrum-2026-11-25-barn-find-twin.yaml`; one that
/// nothing bears yet.
#[must_use]
pub fn new_case_path(folder: &Path, day: jiff::civil::Date, title: Option<&str>) -> PathBuf {
    let title = title.map(slug).filter(|s| !s.is_empty()).map(|s| format!("-{s}")).unwrap_or_default();
    let name = format!("{CASE_PREFIX}{day}{title}");
    let first = folder.join(format!("{name}.yaml"));
    if !first.exists() {
        return first;
    }
    (2..u32::MAX).map(|n| folder.join(format!("{name}-{n}.yaml"))).find(|path| !path.exists()).unwrap_or(first)
}

/// A name beside a case that nothing else bears: `job.shop.yaml`, else `job.shop-2.yaml`. What stands there already with the
/// same text is as good.
///
/// # Panics
/// Where a folder holds more files of one name than there are numbers, which none does.
#[must_use]
pub fn beside(path: &Path, kind: &str, text: &str) -> PathBuf {
    let names = (1..u32::MAX).map(|n| if n == 1 { format!("{kind}.yaml") } else { format!("{kind}-{n}.yaml") });
    let mut paths = names.map(|name| path.with_extension(name));
    let is_free = |path: &PathBuf| !path.exists() || read(path).is_ok_and(|bytes| bytes == text.as_bytes());
    paths.find(is_free).expect("no folder holds as many files as there are numbers")
}

/// "Barn-find twin" as `barn-find-twin`.
fn slug(title: &str) -> String {
    let words: Vec<String> =
        title.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty()).map(str::to_lowercase).collect();
    words.join("-").chars().take(40).collect::<String>().trim_matches('-').to_owned()
}

/// The cases of a folder that could be gone on with, the youngest first.
///
/// # Errors
/// Where the folder cannot be listed.
pub fn cases(folder: &Path) -> Result<Vec<PathBuf>, Error> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).map_err(failed("list", folder))? {
        let path = entry.map_err(failed("list", folder))?.path();
        let name = path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
        let is_yaml = path.extension().is_some_and(|e| e == "yaml") && path.is_file();
        if is_yaml && (name.starts_with(CASE_PREFIX) || begins_like_a_case(&path)) {
            let changed = fs::metadata(&path).and_then(|m| m.modified()).ok();
            found.push((std::cmp::Reverse(changed), path));
        }
    }
    found.sort();
    Ok(found.into_iter().map(|(_, path)| path).collect())
}

/// Whether a file says which knowledge base it was written with, as every case does near its beginning.
fn begins_like_a_case(path: &Path) -> bool {
    let Ok(bytes) = read(path) else { return false };
    let text = String::from_utf8_lossy(&bytes);
    let says = |key: &str| text.lines().any(|line| line.starts_with(key));
    says("format:") && says("knowledge:")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_case_is_written_whole_and_nothing_is_left_beside_it() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("case.yaml");
        write(&path, "one\n").unwrap();
        write(&path, "two\n").unwrap();
        assert_eq!(fs::read_to_string(&path).unwrap(), "two\n");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[cfg(unix)]
    #[test]
    fn permissions_and_links_survive() {
        use std::os::unix::fs::{PermissionsExt, symlink};
        let folder = tempfile::tempdir().unwrap();
        let (path, link) = (folder.path().join("case.yaml"), folder.path().join("link.yaml"));
        write(&path, "one\n").unwrap();
        fs::set_permissions(&path, fs::Permissions::from_mode(0o600)).unwrap();
        symlink(&path, &link).unwrap();
        write(&link, "two\n").unwrap();
        assert_eq!(fs::read_to_string(&path).unwrap(), "two\n");
        assert_eq!(fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o600);
        assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
    }

    #[test]
    fn what_cannot_be_written_leaves_what_was() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("no such folder").join("case.yaml");
        let error = write(&path, "x").unwrap_err().to_string();
        assert!(error.starts_with("cannot write `"), "{error}");
    }

    #[test]
    fn what_stands_beside_a_case_is_never_written_over() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("job.yaml");
        let [first, second] = ["job.shop.yaml", "job.shop-2.yaml"].map(|name| folder.path().join(name));
        assert_eq!(beside(&path, "shop", "one"), first);
        write(&first, "one").unwrap();
        assert_eq!(beside(&path, "shop", "one"), first);
        assert_eq!(beside(&path, "shop", "two"), second);
    }

    #[test]
    fn a_new_case_gets_a_name_of_its_own() {
        let folder = tempfile::tempdir().unwrap();
        let day = jiff::civil::date(2026, 11, 25);
        let first = new_case_path(folder.path(), day, Some("Barn-find: twin!"));
        assert_eq!(first.file_name().unwrap(), "doldrum-2026-11-25-barn-find-twin.yaml");
        write(&first, "x").unwrap();
        let second = new_case_path(folder.path(), day, Some("Barn-find twin"));
        assert_eq!(second.file_name().unwrap(), "doldrum-2026-11-25-barn-find-twin-2.yaml");
        assert_eq!(cases(folder.path()).unwrap(), vec![first]);
    }
}
