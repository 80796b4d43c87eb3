//! `doldrum logbook add`: closes a job.

use super::{hint, kept, now};
use crate::access::AccessGraph;
use crate::case::codes::AGAINST_INTERLOCK;
use crate::case::{Case, text};
use crate::cli::args::logbook::{Add, End};
use crate::cli::args::{Common, Format};
use crate::cli::out::{Failure, advise, print_document};
use crate::cli::{Exit, load};
use crate::finding::Findings;
use crate::inference::Limits;
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Cause, Ix, Knowledge, Repair, Scope};
use crate::logbook::closing::{Closed, Details, close, content_id, goes_on};
use crate::logbook::record::{self, Part, Record};
use crate::report::logbook as pages;
use crate::store;
use crate::store::logbook::{Added, Change, Logbook};
use crate::units::{Minutes, Money};
use jiff::Timestamp;
use std::fmt::Write as _;
use std::path::Path;

/// Adds a case with what the bench says of it, and says what is missing.
///
/// # Errors
/// Where the case cannot be read, an option names what is not there, or the job is there with other details.
pub fn run(args: &Add, path: &Path, common: &Common) -> Result<Exit, Failure> {
    let knowledge = load::knowledge(common)?;
    let bytes = store::read(&args.case)?;
    let (case, findings) = load::case_of(&args.case, &bytes, &knowledge)?;
    // What was done against an interlock is done; here it would only hide what is missing.
    let mut worth_telling = Findings::new();
    findings.sorted().into_iter().filter(|f| f.code != AGAINST_INTERLOCK).for_each(|f| worth_telling.add(f));
    advise(worth_telling, common);
    // A case that reads is UTF-8.
    let file = String::from_utf8_lossy(&bytes).into_owned();
    let laid = Laid::new(&knowledge, case.craft.clone());
    let graph = AccessGraph::new(&knowledge);
    let mut logbook = Logbook::open(path)?;
    let there = there(&logbook, &knowledge, &case)?;
    let details = details(&laid, args, there.as_ref())?;
    let at = args.closed.or(there.as_ref().map(|record| record.closed)).or_else(|| last_time(&case));
    let mut closed = close(&laid, &graph, &case, &file, at.unwrap_or_else(now), &details, &Limits::default());
    if let Some(there) = there {
        // What was believed then was believed then.
        let Record { knowledge, believed, plan, case, .. } = there;
        closed.record = Record { knowledge, plan, believed, case, ..closed.record };
    }
    keep(args, &mut logbook, &knowledge, &case, &closed)
}

/// The job of this case as it is in the logbook.
fn there(logbook: &Logbook, knowledge: &Knowledge, case: &Case) -> Result<Option<Record>, Failure> {
    let id = content_id(&text::write(case, knowledge));
    Ok(logbook.revisions(&id)?.pop().map(|entry| entry.record))
}

fn keep(
    args: &Add,
    logbook: &mut Logbook,
    knowledge: &Knowledge,
    case: &Case,
    closed: &Closed,
) -> Result<Exit, Failure> {
    let record = &closed.record;
    let shorter = shorter(logbook, knowledge, case, &record.id)?;
    let change = if args.amend { Change::Amend } else { Change::Refuse };
    let short = pages::short(&record.id);
    let mut told = match logbook.add(record, now(), change)? {
        Added::New => format!("added {short}"),
        Added::Already => format!("already there: {short}"),
        Added::Amended(revision) => format!("amended {short}: revision {revision} counts now, the earlier ones stay"),
        Added::Differs(there) => {
            let differ = pages::differences(&there, record).join(", ");
            return Err(Failure::Stuck(format!(
                "job {short} is there with other details ({differ}); nothing was changed\nhint: with --amend the new ones count and the old ones stay"
            )));
        }
    };
    for id in shorter {
        logbook.replace(&id, &record.id)?;
        let _ = write!(told, "; it goes on from {}, which no longer counts and stays", pages::short(&id));
    }
    print_document(&pages::closed(&told, closed, knowledge), Format::Text)?;
    Ok(Exit::Done)
}

/// The jobs in the logbook that this case goes on from: the same job, added too early.
fn shorter(logbook: &Logbook, knowledge: &Knowledge, case: &Case, id: &str) -> Result<Vec<String>, Failure> {
    let new = text::write(case, knowledge);
    let is_shorter = |record: &Record| {
        let old = text::read(&record.id, &record.case, knowledge).0;
        record.id != id && old.is_some_and(|old| goes_on(&new, &text::write(&old, knowledge)))
    };
    Ok(logbook.entries()?.into_iter().map(|entry| entry.record).filter(is_shorter).map(|record| record.id).collect())
}

fn last_time(case: &Case) -> Option<Timestamp> {
    case.log.iter().rev().find_map(|entry| entry.at)
}

/// What is said now, and where nothing is said what is there already.
fn details(laid: &Laid<'_>, args: &Add, there: Option<&Record>) -> Result<Details, Failure> {
    let mut details = there.map(|there| said_before(laid, there)).unwrap_or_default();
    if !args.cause.is_empty() {
        let causes: Result<Vec<Vec<Instance<Cause>>>, Failure> =
            args.cause.iter().map(|label| cause(laid, label)).collect();
        details.causes = causes?.into_iter().flatten().collect();
    }
    if let Some(label) = &args.fixed_by {
        details.fixed_by = Some(repair(laid, label)?);
    }
    if let Some(end) = args.end {
        details.end = Some(match end {
            End::Cured => record::End::Cured,
            End::HandedOver => record::End::HandedOver,
            End::NotKnown => record::End::NotKnown,
        });
    }
    if !args.part.is_empty() {
        details.parts = args.part.iter().map(|text| part(text)).collect::<Result<Vec<Part>, Failure>>()?;
    }
    details.minutes = args.minutes.map(Minutes::of).or(details.minutes);
    details.channel = args.channel.map_or(details.channel, kept);
    details.note = args.note.clone().filter(|note| !note.trim().is_empty()).or(details.note);
    Ok(details)
}

fn said_before(laid: &Laid<'_>, there: &Record) -> Details {
    let knowledge = laid.knowledge;
    let causes = there.causes.iter().filter_map(|label| laid.parse(&knowledge.causes, |c| c.scope, label));
    Details {
        causes: causes.flat_map(|(ix, places)| places.into_iter().map(move |at| Instance::new(ix, at))).collect(),
        fixed_by: there.fixed_by.as_ref().and_then(|label| laid.parse(&knowledge.repairs, |r| r.scope, label)),
        // An end that nobody knew may be in the log.
        end: Some(there.end).filter(|end| *end != record::End::NotKnown),
        minutes: there.minutes,
        parts: there.parts.clone(),
        channel: there.channel,
        note: there.note.clone(),
    }
}

/// A cause that was seen. Seen is seen somewhere: on a craft with several places it must be said where.
fn cause(laid: &Laid<'_>, label: &str) -> Result<Vec<Instance<Cause>>, Failure> {
    let causes = &laid.knowledge.causes;
    let Some((ix, places)) = laid.parse(causes, |c| c.scope, label) else {
        let id = label.split('@').next().unwrap_or_default();
        let hint = match causes.find(id) {
            Some(ix) => places_hint(laid, id, causes[ix].scope),
            None => hint(id, causes.ids()),
        };
        return Err(Failure::Usage(format!("expected a cause of this craft after --cause, found `{label}`{hint}")));
    };
    if places.len() > 1 {
        let places: Vec<String> =
            laid.place_names(causes[ix].scope).iter().map(|place| format!("`{label}@{place}`")).collect();
        return Err(Failure::Usage(format!(
            "expected the place of `{label}` after --cause: {}; give --cause for each",
            places.join(" or ")
        )));
    }
    if !laid.fits(&causes[ix].fitted) {
        return Err(Failure::Usage(format!("`{label}` belongs to another craft than this one")));
    }
    Ok(places.into_iter().map(|at| Instance::new(ix, at)).collect())
}

/// Where something that is known can be, after a place was named that it does not have.
fn places_hint(laid: &Laid<'_>, id: &str, scope: Scope) -> String {
    let names = laid.place_names(scope);
    if names.is_empty() {
        return format!("; it has no places here: write `{id}`");
    }
    format!("; its places are {}", names.join(", "))
}

fn repair(laid: &Laid<'_>, label: &str) -> Result<(Ix<Repair>, Vec<usize>), Failure> {
    let repairs = &laid.knowledge.repairs;
    laid.parse(repairs, |r| r.scope, label).ok_or_else(|| {
        let id = label.split('@').next().unwrap_or_default();
        let hint = match repairs.find(id) {
            Some(ix) => places_hint(laid, id, repairs[ix].scope),
            None => hint(id, repairs.ids()),
        };
        Failure::Usage(format!("expected a repair of this craft after --fixed-by, found `{label}`{hint}"))
    })
}

/// `gasket`, `gasket = 4.50`, `2 x spark plug = 5`.
fn part(text: &str) -> Result<Part, Failure> {
    let wrong = |what: &str| {
        Failure::Usage(format!("expected {what} after --part, as in `2 x spark plug = 5`, found `{text}`"))
    };
    let (named, each) = match text.rsplit_once('=') {
        None => (text, None),
        Some((named, price)) => {
            let price: f64 = price.trim().trim_start_matches('$').parse().map_err(|_| wrong("a price"))?;
            (named, Some(Money::new(price).ok_or_else(|| wrong("a price of zero or more"))?))
        }
    };
    let counted = named.split_once(" x ").and_then(|(n, item)| Some((n.trim().parse::<u32>().ok()?, item)));
    let (count, item) = counted.unwrap_or((1, named));
    let item = item.trim();
    if item.is_empty() || count == 0 {
        return Err(wrong("a part"));
    }
    Ok(Part { item: item.to_owned(), count, each })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_are_read_as_they_are_said() {
        let read = |text| part(text).map(|p| (p.item, p.count, p.each.map(Money::get))).ok();
        assert_eq!(read("gasket"), Some(("gasket".to_owned(), 1, None)));
        assert_eq!(read("gasket = 4.50"), Some(("gasket".to_owned(), 1, Some(4.5))));
        assert_eq!(read("2 x spark plug=$5"), Some(("spark plug".to_owned(), 2, Some(5.0))));
        assert_eq!(read("box x"), Some(("box x".to_owned(), 1, None)));
        for wrong in ["", " = 5", "gasket = five", "gasket = -1", "0 x gasket"] {
            assert_eq!(read(wrong), None, "{wrong}");
        }
    }
}
