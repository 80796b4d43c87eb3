//! `doldrum new`: a skeleton to start from.

use crate::cli::args::Common;
use crate::cli::args::authors::New;
use crate::cli::out::{Failure, say};
use crate::cli::{Exit, load};
use crate::{schema, skeleton, store};
use std::path::Path;

/// Writes a knowledge base to start from, or a case. What is there stays: nothing is written over.
///
/// # Errors
/// Where something is there already, or writing fails.
pub fn run(args: &New, common: &Common) -> Result<Exit, Failure> {
    match (&args.folder, &args.case) {
        (Some(folder), _) => base(folder, args.name.as_deref(), common),
        (None, Some(file)) => case(file, common),
        (None, None) => Err(Failure::Usage("expected a folder, or --case and a file".to_owned())),
    }
}

fn base(folder: &Path, name: Option<&str>, common: &Common) -> Result<Exit, Failure> {
    if store::holds_something(folder)? {
        let folder = folder.display();
        return Err(Failure::Usage(format!("expected a new or empty folder, found something in `{folder}`")));
    }
    let own_name = folder.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    let name = name.unwrap_or(&own_name);
    let name = if name.is_empty() { "My craft" } else { name };
    for (file, text) in skeleton::base(name) {
        store::write_below(folder, file, &text)?;
    }
    for (file, text) in schema::files() {
        store::write_below(folder, &format!("schema/{file}"), &text)?;
    }
    let shown = shown(folder);
    if !common.quiet {
        say(&format!(
            "A knowledge base of one symptom, two causes, a check and a repair is in {shown}.\n\
             Every file says what it holds.\n\n  \
             doldrum vet {shown}                     says what is wrong, with file and line\n  \
             doldrum triage --knowledge {shown}      works a job with it\n\n\
             An editor with a YAML language server completes the files, by {shown}/schema.\n"
        ))?;
    }
    Ok(Exit::Done)
}

/// A folder as the other commands take it: a bare name may be that of a knowledge base that is built in.
fn shown(folder: &Path) -> String {
    let bare = folder.file_name().is_some_and(|name| name == folder.as_os_str());
    if bare { format!("./{}", folder.display()) } else { folder.display().to_string() }
}

fn case(file: &Path, common: &Common) -> Result<Exit, Failure> {
    if file.exists() {
        return Err(Failure::Usage(format!("expected the name of a new file, found `{}` there", file.display())));
    }
    let knowledge = load::plain_knowledge(common)?;
    store::write(file, &skeleton::case(&knowledge))?;
    if !common.quiet {
        say(&format!("{} is a case with nothing in it yet; doldrum assess reads it.\n", file.display()))?;
    }
    Ok(Exit::Done)
}
