//! The order of the modules, held by reading the source: a row uses only rows above it, and the core touches nothing
//! outside itself.

use std::fs;
use std::path::{Path, PathBuf};

/// The rows, the most basic first. A file belongs to the longest name that is a prefix of its own.
///
/// `case::text` stands apart from `case`: the job itself is what access, safety and the model speak about, while reading
/// it from text needs them, to say that a repair was done behind something shut or against an interlock.
const ROWS: [&str; 25] = [
    "finding",
    "units",
    "calc",
    "knowledge",
    "case",
    "model",
    "inference",
    "access",
    "safety",
    "case::text",
    "belief",
    "chart",
    "decision",
    "plan",
    "trial",
    "logbook",
    "drill",
    "vet",
    "skeleton",
    "store",
    "report",
    "schema",
    "interview",
    "serve",
    "cli",
];

/// The first row that may know a terminal, a clock, the environment or files.
const FIRST_OUTSIDE: &str = "store";

/// What the core has no business with, and why.
const NOT_IN_CORE: [(&str, &str); 12] = [
    ("std::fs", "files are for `store`"),
    ("std::env", "the environment is for `cli`"),
    ("std::io", "streams are for `store` and `cli`"),
    ("std::process", "the process is for `cli`"),
    ("std::net", "no network at all"),
    ("std::thread", "the same input must give the same bytes"),
    ("SystemTime", "times enter as data"),
    ("Instant::now", "times enter as data"),
    ("Timestamp::now", "times enter as data"),
    ("Zoned::now", "times enter as data"),
    ("rand::rng(", "a seed is an argument"),
    ("HashMap", "its order is another in every run"),
];

/// One file of `src`: its path, its module path, its lines without comments, tests left out.
struct Module {
    path: PathBuf,
    name: String,
    lines: Vec<(usize, String)>,
}

/// Every module of the library.
fn modules() -> Vec<Module> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut paths = Vec::new();
    walk(&root, &mut paths);
    paths.sort();
    let modules: Vec<Module> = paths
        .into_iter()
        .filter(|path| !path.ends_with("src/lib.rs") && !path.ends_with("src/main.rs"))
        .map(|path| {
            let name = module_name(path.strip_prefix(&root).expect("it lies below src"));
            let text = fs::read_to_string(&path).expect("source is UTF-8");
            Module { lines: code_lines(&text), path, name }
        })
        .collect();
    assert!(modules.len() > 40, "found only {} modules below {}", modules.len(), root.display());
    let plan = modules.iter().find(|module| module.name == "plan").expect("it is there");
    assert!(plan.lines.len() > 100, "only {} lines of {} are read", plan.lines.len(), plan.path.display());
    modules
}

fn walk(folder: &Path, paths: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("a folder of sources") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            walk(&path, paths);
        } else if path.extension().is_some_and(|e| e == "rs") {
            paths.push(path);
        }
    }
}

/// `case/text.rs` is `case::text`, `case/mod.rs` is `case`.
fn module_name(path: &Path) -> String {
    let parts: Vec<String> =
        path.with_extension("").components().map(|part| part.as_os_str().to_string_lossy().into_owned()).collect();
    parts.join("::").trim_end_matches("::mod").to_owned()
}

/// The lines that are code, with their numbers: no comments, and nothing from the unit tests at the end on. A module of tests
/// that stands in another file (`mod tests;`) ends nothing here.
fn code_lines(text: &str) -> Vec<(usize, String)> {
    let lines: Vec<&str> = text.lines().collect();
    let opens_tests = |at: usize| {
        let next =
            lines[at + 1..].iter().map(|line| line.trim()).find(|line| !line.is_empty() && !line.starts_with("#["));
        lines[at].trim() == "#[cfg(test)]" && next.is_some_and(|line| line.contains("mod ") && line.ends_with('{'))
    };
    let end = (0..lines.len()).find(|at| opens_tests(*at)).unwrap_or(lines.len());
    lines[..end]
        .iter()
        .enumerate()
        .map(|(at, line)| (at + 1, line.split("//").next().unwrap_or_default().to_owned()))
        .filter(|(_, line)| !line.trim().is_empty())
        .collect()
}

/// The row a module path belongs to.
fn row(name: &str) -> Option<usize> {
    let belongs = |row: &str| name == row || name.starts_with(&format!("{row}::"));
    ROWS.iter().enumerate().filter(|(_, row)| belongs(row)).max_by_key(|(_, row)| row.len()).map(|(at, _)| at)
}

/// The module paths that code names after `crate::`, with their lines: `crate::case::{text, Case}` names `case::text`
/// and `case::Case`.
fn named(lines: &[(usize, String)]) -> Vec<(usize, String)> {
    let mut named = Vec::new();
    for (at, (line, text)) in lines.iter().enumerate() {
        for (from, found) in text.match_indices("crate::") {
            // A `use` may run over several lines, to its semicolon.
            let mut rest = text[from + found.len()..].to_owned();
            let is_use = text.trim_start().starts_with("use ") || text.trim_start().starts_with("pub use ");
            let mut next = at + 1;
            while is_use && !rest.contains(';') && next < lines.len() {
                rest.push_str(lines[next].1.trim());
                next += 1;
            }
            named.extend(paths_of(&rest).into_iter().map(|path| (*line, path)));
        }
    }
    named
}

/// `case::{text, Case};` as `case::text`, `case::Case`; one level of braces is all that bears on rows.
fn paths_of(text: &str) -> Vec<String> {
    let is_path = |c: char| c.is_alphanumeric() || c == '_' || c == ':';
    let head: String = text.chars().take_while(|c| is_path(*c)).collect();
    let head = head.trim_end_matches(':');
    let after = text[head.len()..].trim_start_matches("::");
    let Some(list) = after.strip_prefix('{') else { return vec![head.to_owned()] };
    let prefix = if head.is_empty() { String::new() } else { format!("{head}::") };
    list.split(['}', ';'])
        .next()
        .unwrap_or_default()
        .split(',')
        .map(str::trim)
        .filter(|part| !part.is_empty())
        .map(|part| format!("{prefix}{part}"))
        .collect()
}

#[test]
fn every_module_has_a_row() {
    for module in modules() {
        assert!(row(&module.name).is_some(), "{} is in no row of tests/suite/layers.rs", module.path.display());
    }
}

#[test]
fn a_row_uses_only_rows_above_it() {
    let mut broken = Vec::new();
    for module in modules() {
        let own = row(&module.name).expect("every module has a row");
        for (line, path) in named(&module.lines) {
            let used = row(&path).unwrap_or_else(|| panic!("{}:{line}: `{path}` is in no row", module.path.display()));
            if used > own {
                broken.push(format!("{}:{line}: `{}` uses `{path}`", module.path.display(), ROWS[own]));
            }
        }
    }
    assert!(broken.is_empty(), "a row uses one below it:\n{}", broken.join("\n"));
}

/// The parents of a row declare it and may hand it on, which is no use of it; everything else is caught above. What a
/// child names by `super::` stays within its top module, so only a top module split over rows could hide something.
#[test]
fn a_row_inside_another_is_not_reached_by_super() {
    for module in modules() {
        let own = row(&module.name).expect("every module has a row");
        if ROWS[own] == "case" {
            let reaches = module.lines.iter().find(|(_, line)| line.contains("text::") || line.contains("super::text"));
            assert!(reaches.is_none(), "{}: `case` uses `case::text`: {reaches:?}", module.path.display());
        }
    }
}

#[test]
fn the_core_touches_nothing_outside_itself() {
    let outside = row(FIRST_OUTSIDE).expect("a row");
    let mut broken = Vec::new();
    for module in modules() {
        if row(&module.name).is_none_or(|own| own >= outside) {
            continue;
        }
        for (line, text) in &module.lines {
            for (word, why) in NOT_IN_CORE {
                if text.contains(word) {
                    broken.push(format!("{}:{line}: `{word}`: {why}", module.path.display()));
                }
            }
            let prints = ["println!", "eprintln!", "print!", "eprint!", "dbg!"].into_iter().find(|p| text.contains(p));
            if let Some(word) = prints {
                broken.push(format!("{}:{line}: `{word}`: the core prints nothing", module.path.display()));
            }
        }
    }
    assert!(broken.is_empty(), "the core reaches outside:\n{}", broken.join("\n"));
}

/// What the tests above find in made-up lines: they can fail.
#[test]
fn what_is_named_is_found() {
    let lines: Vec<(usize, String)> = code_lines(
        "use crate::case::{Case, text}; // use crate::cli\nlet x = crate::units::Money::ZERO;\nuse crate::plan::{\n    A,\n    B,\n};\nuse crate::{store, finding::Finding};\n#[cfg(test)]\nmod bench;\n#[cfg(test)]\n#[expect(x)]\nmod tests {\n    use crate::cli;\n}\n",
    );
    let paths: Vec<String> = named(&lines).into_iter().map(|(_, path)| path).collect();
    assert_eq!(
        paths,
        ["case::Case", "case::text", "units::Money::ZERO", "plan::A", "plan::B", "store", "finding::Finding"]
    );
    assert_eq!(row("case::text"), ROWS.iter().position(|r| *r == "case::text"));
    assert_eq!(row("case::Case"), ROWS.iter().position(|r| *r == "case"));
    assert_eq!(row("caseless"), None);
}
