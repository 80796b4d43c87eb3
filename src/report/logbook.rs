//! The logbook as documents: lists, one job, what many come to, what they teach.

mod learned;

pub use learned::{learned, learned_json};

use super::{Bar, Block, Column, Document, Figures, Rich, Table};
use crate::knowledge::Knowledge;
use crate::logbook::closing::{Closed, Missing};
use crate::logbook::record::{Channel, End, Part, Record, Standing};
use crate::logbook::summary::{Beliefs, Costs, Summary};
use crate::store::logbook::Entry;
use crate::trial::stats::Mean;
use crate::units::{Minutes, Money};
use jiff::Timestamp;
use jiff::tz::TimeZone;
use serde_json::{Value, json};

/// So many digits of an id are told.
const SHORT: usize = 8;
/// Faults told in a summary.
const FAULTS_TOLD: usize = 20;

/// The beginning of an id, as people say it.
#[must_use]
pub fn short(id: &str) -> &str {
    id.get(..SHORT).unwrap_or(id)
}

/// "1 job", "12 jobs".
fn jobs(n: usize) -> String {
    format!("{n} {}", if n == 1 { "job" } else { "jobs" })
}

/// The day of a moment, in UTC, so that it is the same everywhere.
fn day(at: Timestamp) -> String {
    at.to_zoned_datetime(TimeZone::UTC).date().to_string()
}

/// The words for a label `id@place` of any kind of item; the label where the knowledge base has no such item.
fn words(label: &str, knowledge: Option<&Knowledge>) -> String {
    let (id, place) = label.split_once('@').map_or((label, None), |(id, place)| (id, Some(place)));
    let title = knowledge.and_then(|knowledge| {
        let cause = knowledge.causes.find(id).map(|ix| &knowledge.causes[ix].title);
        let repair = || knowledge.repairs.find(id).map(|ix| &knowledge.repairs[ix].title);
        let symptom = || knowledge.symptoms.find(id).map(|ix| &knowledge.symptoms[ix].title);
        cause.or_else(repair).or_else(symptom)
    });
    match (title, place) {
        (Some(title), Some(place)) => format!("{title}, {place}"),
        (Some(title), None) => title.clone(),
        (None, _) => label.to_owned(),
    }
}

/// The words for several labels; the places of one item stand together: "Dead spark plug, front and rear".
fn all_words(labels: &[String], knowledge: Option<&Knowledge>) -> String {
    let mut told: Vec<String> = Vec::new();
    let mut last = None;
    for label in labels {
        let (id, place) = label.split_once('@').map_or((label.as_str(), None), |(id, place)| (id, Some(place)));
        match (told.last_mut(), place) {
            (Some(words), Some(place)) if last == Some(id) => {
                words.push_str(" and ");
                words.push_str(place);
            }
            _ => told.push(words(label, knowledge)),
        }
        last = Some(id);
    }
    told.join("; ")
}

/// Everything that a search looks at, in lowercase.
#[must_use]
pub fn searchable(record: &Record, knowledge: Option<&Knowledge>) -> String {
    let labels = [&record.symptoms, &record.causes, &record.also_found, &record.repairs];
    let mut text: Vec<String> = vec![record.id.clone(), record.layout.clone(), day(record.closed)];
    text.extend([&record.title, &record.note].into_iter().flatten().cloned());
    for label in labels.into_iter().flatten() {
        text.extend([label.clone(), words(label, knowledge)]);
    }
    text.extend(record.parts.iter().map(|part| part.item.clone()));
    text.join("\n").to_lowercase()
}

fn standing(record: &Record) -> &'static str {
    match (record.channel, record.standing()) {
        (Channel::Phone, _) => "phone",
        (_, Standing::Confirmed) => "confirmed",
        (_, Standing::Unproved) => "unproved",
        (_, Standing::Unconfirmed) => "unknown",
    }
}

/// Jobs, the last first.
#[must_use]
pub fn list(entries: &[Entry], total: usize, knowledge: Option<&Knowledge>, figures: &Figures) -> Document {
    let mut document = Document::new();
    if entries.is_empty() {
        let text = if total == 0 { "The logbook is empty." } else { "No such job in the logbook." };
        document.paragraph(text);
        return document;
    }
    let row = |entry: &Entry| -> Vec<Rich> {
        let record = &entry.record;
        let what = record.title.clone().unwrap_or_else(|| all_words(&record.symptoms, knowledge));
        let cause =
            if record.causes.is_empty() { "not known".to_owned() } else { all_words(&record.causes, knowledge) };
        let spent = record.spent.map_or_else(String::new, |spent| figures.money(spent));
        [short(&record.id).to_owned(), day(record.closed), what, cause, standing(record).to_owned(), spent]
            .iter()
            .map(|cell| cell.as_str().into())
            .collect()
    };
    document.push(Block::Table(Table {
        columns: vec![
            Column::words("job"),
            Column::words("closed"),
            Column::words("what"),
            Column::words("cause"),
            Column::words("standing"),
            Column::figures("spent"),
        ],
        rows: entries.iter().rev().map(row).collect(),
        total: None,
    }));
    if entries.len() < total {
        document.aside(format!("{} of {total} jobs.", entries.len()).as_str());
    }
    document
}

/// One job: its revisions, the last of which counts.
///
/// # Panics
/// Where there is no revision: our bug.
#[must_use]
pub fn show(
    revisions: &[Entry],
    replaced_by: Option<&str>,
    knowledge: Option<&Knowledge>,
    figures: &Figures,
) -> Document {
    let last = revisions.last().expect("a job has a revision");
    let record = &last.record;
    let mut document = Document::new();
    let title = record.title.clone().unwrap_or_else(|| all_words(&record.symptoms, knowledge));
    document.title(title.as_str());
    if let Some(by) = replaced_by {
        document.paragraph(format!("It goes on in {} and no longer counts by itself.", short(by)).as_str());
    }
    document.push(Block::Pairs(pairs(last, knowledge, figures)));
    if let Some(note) = &record.note {
        document.section("Note");
        document.paragraph(note.as_str());
    }
    if !record.parts.is_empty() {
        document.section("Parts");
        document.bullets(record.parts.iter().map(|part| Rich::from(part_words(part, figures).as_str())));
    }
    if !record.believed.is_empty() {
        document.section("Believed before the first repair");
        let found = |label: &String| if record.causes.contains(label) { " (confirmed)" } else { "" };
        let told = record.believed.iter().take(5).map(|b| {
            Rich::from(
                format!("{}: {}{}", words(&b.cause, knowledge), figures.chance(b.chance), found(&b.cause)).as_str(),
            )
        });
        document.bullets(told.collect::<Vec<_>>());
    }
    if revisions.len() > 1 {
        document.section("Revisions");
        let told = revisions.iter().zip(revisions.iter().skip(1)).map(|(before, after)| {
            let differ = differences(&before.record, &after.record).join(", ");
            Rich::from(format!("{} on {}: other {differ}", after.revision, day(after.added)).as_str())
        });
        document.bullets(told.collect::<Vec<_>>());
    }
    document
}

fn pairs(entry: &Entry, knowledge: Option<&Knowledge>, figures: &Figures) -> Vec<(Rich, Rich)> {
    let record = &entry.record;
    let mut pairs: Vec<(Rich, Rich)> = Vec::new();
    let mut pair = |name: &str, value: String| {
        if !value.is_empty() {
            pairs.push((name.into(), value.as_str().into()));
        }
    };
    pair("Job", record.id.clone());
    pair("Closed", format!("{}, {}", day(record.closed), record.channel.id()));
    pair("Craft", record.layout.clone());
    pair("Complaint", all_words(&record.symptoms, knowledge));
    let cause =
        if record.causes.is_empty() { "not confirmed".to_owned() } else { all_words(&record.causes, knowledge) };
    pair("Cause", cause);
    pair("Also found", all_words(&record.also_found, knowledge));
    pair("Repairs", all_words(&record.repairs, knowledge));
    pair("Fixed by", record.fixed_by.as_ref().map_or_else(String::new, |label| words(label, knowledge)));
    let first = match record.first_time {
        Some(true) => ", by the first repair",
        Some(false) if record.end == End::Cured => ", not by the first repair",
        _ => "",
    };
    pair("End", format!("{}{first}", end_words(record.end)));
    pair("Standing", standing_words(record).to_owned());
    pair("Spent", spent_words(record, figures));
    pair("Planned", record.plan.map_or_else(String::new, |plan| figures.cost(plan.money, plan.minutes)));
    pairs
}

fn spent_words(record: &Record, figures: &Figures) -> String {
    match (record.spent, record.minutes) {
        (Some(money), Some(minutes)) => figures.cost(money, minutes),
        (Some(money), None) => figures.money(money),
        (None, Some(minutes)) => figures.minutes(minutes),
        (None, None) => String::new(),
    }
}

fn end_words(end: End) -> &'static str {
    match end {
        End::Cured => "cured",
        End::HandedOver => "handed over",
        End::NotKnown => "not known",
    }
}

fn standing_words(record: &Record) -> &'static str {
    match (record.channel, record.standing()) {
        (Channel::Phone, _) => "on the phone: kept apart, not learned from",
        (_, Standing::Confirmed) => "confirmed: the cause was seen and the symptom is gone",
        (_, Standing::Unproved) => "unproved: cause, repair or cure is missing; not learned from",
        (_, Standing::Unconfirmed) => "unknown: neither cause nor cure; not learned from",
    }
}

fn part_words(part: &Part, figures: &Figures) -> String {
    let price = part.each.map_or_else(String::new, |each| format!(", {} each", figures.price(each)));
    format!("{} x {}{price}", part.count, part.item)
}

/// What became of a job that was closed (`told`), and what it lacks.
#[must_use]
pub fn closed(told: &str, closed: &Closed, knowledge: &Knowledge) -> Document {
    let record = &closed.record;
    let mut document = Document::new();
    document.paragraph(told);
    let words_of = |labels: &[String]| all_words(labels, Some(knowledge));
    let cause = if record.causes.is_empty() { "no cause confirmed".to_owned() } else { words_of(&record.causes) };
    let fixed = record.fixed_by.iter().map(|label| format!("; fixed by: {}", words(label, Some(knowledge))));
    let fixed: String = fixed.collect();
    let end = if record.end == End::NotKnown { "end not known" } else { end_words(record.end) };
    document.bullets([format!("{cause}{fixed}; {end}").as_str(), standing_words(record)]);
    let missing: Vec<Rich> = closed.missing.iter().filter_map(missing_words).map(|text| text.as_str().into()).collect();
    if !missing.is_empty() {
        document.section("Missing");
        document.bullets(missing);
    }
    if closed.missing.contains(&Missing::Private) {
        document.paragraph("The title or the note seems to hold a phone or registration number. None is needed here.");
    }
    document
}

/// What to do about what is missing; `None` where nothing is.
fn missing_words(missing: &Missing) -> Option<String> {
    Some(match missing {
        Missing::Cause => "the cause: name what was seen with --cause ID@PLACE, or add `found:` to the log".to_owned(),
        Missing::WhichCause(found) => {
            format!("which of {} the complaint came from: name it with --cause", found.join(", "))
        }
        Missing::Repair => "what fixed it: name it with --fixed-by ID, or add `repair:` to the log".to_owned(),
        Missing::OtherRepair(id) => format!("a repair that removes this cause: `{id}` does not; look at both again"),
        Missing::Tried => {
            "whether the symptom is gone: say --end cured, or add `symptom: ..., present: false` to the log".to_owned()
        }
        Missing::StillThere => "the cure: the log says that the symptom is there still".to_owned(),
        Missing::Minutes => "the minutes it took: say --minutes N".to_owned(),
        Missing::Parts => {
            "the parts that were fitted, so what it came to is not known: say --part \"ITEM = PRICE\" for each \
            (none: --part \"none = 0\")"
                .to_owned()
        }
        Missing::Prices(items) => {
            format!("the price, so what it came to is not known: say --part \"ITEM = PRICE\" for {}", items.join(", "))
        }
        Missing::Private => return None,
    })
}

/// The names of what differs between two records of one job.
#[must_use]
pub fn differences(before: &Record, after: &Record) -> Vec<&'static str> {
    let differ = [
        ("cause", before.causes != after.causes || before.also_found != after.also_found),
        ("repair", before.repairs != after.repairs || before.fixed_by != after.fixed_by),
        ("end", before.end != after.end || before.first_time != after.first_time),
        ("time of closing", before.closed != after.closed),
        ("minutes", before.minutes != after.minutes),
        ("parts", before.parts != after.parts),
        ("channel", before.channel != after.channel),
        ("note", before.note != after.note),
        ("case file", before.case != after.case || before.title != after.title),
        ("belief", before.believed != after.believed || before.plan != after.plan),
        ("version of the knowledge", before.knowledge != after.knowledge),
    ];
    differ.into_iter().filter(|(_, differs)| *differs).map(|(name, _)| name).collect()
}

/// What the jobs come to.
#[must_use]
pub fn summary(summary: &Summary, knowledge: Option<&Knowledge>, figures: &Figures) -> Document {
    let mut document = Document::new();
    document.title(format!("Logbook: {}", jobs(summary.jobs)).as_str());
    if summary.jobs == 0 {
        document.paragraph("Nothing is in it yet: doldrum logbook add CASE.");
        return document;
    }
    let [confirmed, unproved, unconfirmed] = summary.standings;
    let share = |(yes, of): (usize, usize)| {
        #[expect(clippy::cast_precision_loss, reason = "jobs of a shop")]
        if of == 0 {
            "not known".to_owned()
        } else {
            format!("{yes} of {of} ({})", figures.percent(yes as f64 / of as f64))
        }
    };
    let mut pairs = vec![
        ("Confirmed".into(), format!("{confirmed}: cause seen, symptom gone").as_str().into()),
        ("Unproved".into(), format!("{unproved}: cause, repair or cure is missing").as_str().into()),
        ("Unknown".into(), unconfirmed.to_string().as_str().into()),
        ("On the phone".into(), format!("{}, kept apart from all that follows", summary.phone).as_str().into()),
        ("Cured".into(), format!("{}, {} handed over", summary.cured, summary.handed_over).as_str().into()),
        ("Right first time".into(), share(summary.first_time).as_str().into()),
    ];
    let costs = summary.costs.iter().map(|costs| costs_words(costs, figures));
    let left_out = format!("{} left out, for parts or prices are missing", jobs(summary.unpriced));
    let costs: Vec<String> = costs.chain((summary.unpriced > 0).then_some(left_out)).collect();
    if !costs.is_empty() {
        pairs.push(("Cost against plan".into(), costs.join("; ").as_str().into()));
    }
    document.push(Block::Pairs(pairs));
    if !summary.faults.is_empty() {
        document.section("Faults, of confirmed jobs");
        document.push(Block::Table(faults(summary, knowledge, figures)));
    }
    if let Some(beliefs) = &summary.beliefs {
        believed(&mut document, beliefs, figures);
    }
    document
}

fn costs_words(costs: &Costs, figures: &Figures) -> String {
    let money = |amount: f64| figures.money(Money::of(amount));
    let way = |amount: f64| if amount < 0.0 { "less" } else { "more" };
    // One job has no spread.
    let spread = if costs.jobs > 1 { format!(" ± {}", money(costs.more.half)) } else { String::new() };
    let (more, minutes) = (costs.more.mean, costs.more_minutes.mean);
    format!(
        "{} spent, {} planned: {}{spread} {} and {} {} a job, over {}",
        money(costs.spent.mean),
        money(costs.planned.mean),
        money(more.abs()),
        way(more),
        figures.minutes(Minutes::of(minutes.abs())),
        way(minutes),
        jobs(costs.jobs)
    )
}

fn faults(summary: &Summary, knowledge: Option<&Knowledge>, figures: &Figures) -> Table {
    let of = |layout: &String| summary.layouts.iter().find(|(known, _)| known == layout).map_or(1, |(_, jobs)| *jobs);
    let rows = summary.faults.iter().take(FAULTS_TOLD).map(|fault| {
        #[expect(clippy::cast_precision_loss, reason = "jobs of a shop")]
        let share = fault.jobs as f64 / of(&fault.layout) as f64;
        [
            words(&fault.cause, knowledge),
            fault.layout.clone(),
            format!("{} of {}", fault.jobs, of(&fault.layout)),
            figures.percent(share),
        ]
        .iter()
        .map(|cell| cell.as_str().into())
        .collect()
    });
    Table {
        columns: vec![
            Column::words("cause"),
            Column::words("craft"),
            Column::figures("jobs"),
            Column::figures("share"),
        ],
        rows: rows.collect(),
        total: None,
    }
}

fn believed(document: &mut Document, beliefs: &Beliefs, figures: &Figures) {
    document.section("Believed before the first repair, and found");
    document.paragraph(
        format!(
            "In {} a confirmed cause was the likeliest in {}, among the likeliest three in {}. Brier score {:.3} a job, {:.3} expected were every chance right; calibration error {:.3}.",
            jobs(beliefs.jobs),
            figures.percent(beliefs.first),
            figures.percent(beliefs.among_three),
            beliefs.brier,
            beliefs.brier_expected,
            beliefs.calibration_error
        )
        .as_str(),
    );
    let bar = |bin: &crate::trial::stats::Bin| Bar {
        label: format!("said {:.3}, {} times", bin.forecast, bin.count).as_str().into(),
        share: bin.observed,
        figure: format!("found {:.3}", bin.observed),
    };
    document.push(Block::Bars(beliefs.bins.iter().map(bar).collect()));
    document.aside("A fault that was there and that nobody looked for counts as not found.");
}

fn pretty(value: &Value) -> String {
    serde_json::to_string_pretty(value).unwrap_or_default() + "\n"
}

/// The summary for programs.
#[must_use]
pub fn summary_json(summary: &Summary) -> String {
    let mean = |m: Mean| json!({"mean": m.mean, "half": m.half});
    let [confirmed, unproved, unconfirmed] = summary.standings;
    pretty(&json!({
        "jobs": summary.jobs, "confirmed": confirmed, "unproved": unproved, "unconfirmed": unconfirmed,
        "phone": summary.phone, "cured": summary.cured, "handed_over": summary.handed_over,
        "first_time": {"yes": summary.first_time.0, "known": summary.first_time.1},
        "faults": summary.faults.iter().map(|f| json!({"layout": f.layout, "cause": f.cause, "jobs": f.jobs})).collect::<Vec<_>>(),
        "layouts": summary.layouts.iter().map(|(layout, jobs)| json!({"layout": layout, "jobs": jobs})).collect::<Vec<_>>(),
        "costs": summary.costs.map(|c| json!({
            "jobs": c.jobs, "spent": mean(c.spent), "planned": mean(c.planned), "more": mean(c.more),
            "more_minutes": mean(c.more_minutes),
        })),
        "unpriced": summary.unpriced,
        "beliefs": summary.beliefs.as_ref().map(|b| json!({
            "jobs": b.jobs, "first": b.first, "among_three": b.among_three, "brier": b.brier,
            "brier_expected": b.brier_expected, "calibration_error": b.calibration_error,
            "bins": b.bins.iter().map(|bin| json!({
                "low": bin.low, "high": bin.high, "count": bin.count, "forecast": bin.forecast, "observed": bin.observed,
            })).collect::<Vec<_>>(),
        })),
    }))
}
