//! A trial as a document, and its rows for other programs.

use super::{Bar, Block, Column, Document, Figures, Rich, Table};
use crate::trial::policy::Policy;
use crate::trial::reading::Rank;
use crate::trial::stats::{Beliefs, Line, Mean, Ranks, Share, Summary, When, Worst};
use crate::trial::{Ending, Record};
use crate::units::{Minutes, Money};
use serde_json::{Value, json};
use std::fmt::Write as _;

impl Policy {
    /// The policy in plain words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Ours => "the advice",
            Self::OursTwoSteps => "the advice, two steps",
            Self::OursSearch => "the advice, by search",
            Self::Checklist => "the checklist",
            Self::InformationPerCost => "most told for its cost",
            Self::MostInformation => "most told",
            Self::CheapestCheck => "cheapest check",
            Self::RepairsOnly => "repairs only",
            Self::Chance => "chance",
        }
    }
}

/// What a trial came to; `told` says what was played.
#[must_use]
pub fn trial(summary: &Summary, told: &str, figures: &Figures) -> Document {
    let mut document = Document::new();
    document.title(format!("Trial: {} jobs", summary.jobs).as_str());
    document.paragraph(told);
    if summary.jobs == 0 {
        document.paragraph("No such job was met; nothing to compare.");
        return document;
    }
    document.section("What a job costs");
    document.push(Block::Table(costs(summary, figures)));
    document.aside(
        "Means over the same jobs, with 95 percent intervals. \"More\" is against the first line, job by job. Costs are \
         labor, parts, access to and fro, airing, handing over and comebacks.",
    );
    document.section("How it is worked");
    document.push(Block::Table(work(summary, figures)));
    document.aside(
        "\"Needless\" are parts of repairs that found nothing to repair. \"Held up\" are steps that an interlock forbade, \
         or that had to wait until a hazard was closed. \"Locked\" are jobs handed over while an interlock forbade to try \
         any repair.",
    );
    if let Some(beliefs) = summary.beliefs.as_ref().filter(|b| b.jobs > 0) {
        believed(&mut document, beliefs);
    }
    if !summary.worst.is_empty() {
        let first = summary.lines.first().map_or("the first", |line| line.policy.words());
        let title = if summary.lines.len() > 1 { "lost most" } else { "cost most" };
        document.section(format!("Where {first} {title}").as_str());
        for worst in &summary.worst {
            tell_worst(&mut document, worst, figures);
        }
    }
    document
}

fn interval(mean: Mean, figures: &Figures) -> String {
    format!("{} ± {}", figures.money(Money::of(mean.mean)), figures.money(Money::of(mean.half)))
}

fn costs(summary: &Summary, figures: &Figures) -> Table {
    let first = summary.lines.first().map_or(0.0, |line| line.money.mean);
    let row = |line: &Line| -> Vec<Rich> {
        let more = line.more.map_or_else(String::new, |more| interval(more, figures));
        let percent =
            line.more.map_or_else(String::new, |more| format!("{:+.0}%", 100.0 * more.mean / first.max(0.01)));
        let time = format!(
            "{} ± {}",
            figures.minutes(Minutes::of(line.minutes.mean)),
            figures.minutes(Minutes::of(line.minutes.half))
        );
        [line.policy.words().to_owned(), interval(line.money, figures), more, percent, time]
            .iter()
            .map(|cell| cell.as_str().into())
            .collect()
    };
    Table {
        columns: vec![
            Column::words("policy"),
            Column::figures("cost"),
            Column::figures("more"),
            Column::figures(""),
            Column::figures("time"),
        ],
        rows: summary.lines.iter().map(row).collect(),
        total: None,
    }
}

fn work(summary: &Summary, figures: &Figures) -> Table {
    let row = |line: &Line| -> Vec<Rich> {
        [
            line.policy.words().to_owned(),
            format!("{:.1}", line.checks),
            format!("{:.1}", line.repairs),
            figures.percent(line.first_time),
            figures.percent(line.cured),
            figures.money(Money::of(line.needless_parts)),
            format!("{:.1}", line.barred),
            format!("{:.3}", line.comebacks),
            figures.percent(line.locked),
        ]
        .iter()
        .map(|cell| cell.as_str().into())
        .collect()
    };
    let titles = ["checks", "repairs", "right first", "cured", "needless", "held up", "back", "locked"];
    let columns = std::iter::once(Column::words("policy")).chain(titles.map(Column::figures)).collect();
    Table { columns, rows: summary.lines.iter().map(row).collect(), total: None }
}

fn believed(document: &mut Document, beliefs: &Beliefs) {
    document.section("Where the true cause stood");
    document.push(Block::Table(stood(beliefs)));
    document.aside(
        "Jobs with a listed fault, with 95 percent intervals. \"Stopped\" is before the first repair or before handing \
         over; \"end\" knows what every repair and trial showed. \"Its repair\" counts a cause that is removed together \
         with a true one.",
    );
    document.section("What the advice believed when it stopped looking");
    document.paragraph(
        format!(
            "Brier score {:.3} a job, {:.3} expected were every chance right; log score {:.3}, {:.3} expected.",
            beliefs.brier, beliefs.perfect.0, beliefs.log_score, beliefs.perfect.1
        )
        .as_str(),
    );
    document.paragraph(
        format!(
            "Calibration error {:.5}; a system whose every chance is right has {:.5} at this size.",
            beliefs.calibration_error, beliefs.perfect_calibration_error
        )
        .as_str(),
    );
    let caught = beliefs
        .caught
        .map_or_else(String::new, |caught| format!(" Of the faults that are not listed it flagged {}.", range(caught)));
    let at_five = beliefs.caught_at_five.map_or_else(String::new, |(caught, from)| {
        format!(
            " Said from {from:.2} on, where one job in twenty with a listed fault comes, it would be {}.",
            range(caught)
        )
    });
    document.paragraph(
        format!(
            "Answers were said not to fit in {} of the jobs with a listed fault.{caught}{at_five}",
            range(beliefs.false_alarms)
        )
        .as_str(),
    );
    let row = |bin: &crate::trial::stats::Bin| -> Vec<Rich> {
        [
            format!("{:.2} to {:.2}", bin.low, bin.high),
            bin.count.to_string(),
            format!("{:.3}", bin.forecast),
            format!("{:.3}", bin.observed),
            format!("{:.3} to {:.3}", bin.right.0, bin.right.1),
        ]
        .iter()
        .map(|cell| cell.as_str().into())
        .collect()
    };
    document.push(Block::Table(Table {
        columns: vec![
            Column::words("chance said"),
            Column::figures("times"),
            Column::figures("mean"),
            Column::figures("was there"),
            Column::figures("if right"),
        ],
        rows: beliefs.bins.iter().map(row).collect(),
        total: None,
    }));
    let bar = |bin: &crate::trial::stats::Bin| Bar {
        label: format!("said {:.3}", bin.forecast).as_str().into(),
        share: bin.observed,
        figure: format!("was there {:.3}, if right {:.3} to {:.3}", bin.observed, bin.right.0, bin.right.1),
    };
    document.push(Block::Bars(beliefs.bins.iter().map(bar).collect()));
    document.aside(
        "\"If right\": where 95 of a hundred systems of this size come out whose every chance is right. What lies outside \
         is off by more than chance; with ten lines two trials in five have such a line.",
    );
}

fn stood(beliefs: &Beliefs) -> Table {
    let row = |ranks: &Ranks| -> Vec<Rich> {
        let when = match ranks.when {
            When::Stopped => "stopped",
            When::Ended => "end",
            When::EndedSo(Ending::Cured) => "end, cured",
            When::EndedSo(Ending::HandedOver) => "end, handed over",
            When::EndedSo(Ending::Locked) => "end, locked",
        };
        let shares = [ranks.first, ranks.among_three, ranks.repair_first, ranks.repair_among_three];
        let cells = [when.to_owned(), ranks.jobs.to_string()].into_iter();
        cells.chain(shares.map(range)).map(|cell| cell.as_str().into()).collect()
    };
    let titles = ["jobs", "first", "of three", "its repair first", "of three"];
    let columns = std::iter::once(Column::words("read")).chain(titles.map(Column::figures)).collect();
    Table { columns, rows: beliefs.ranks.iter().map(row).collect(), total: None }
}

/// A share with its interval: `85% (79-90)`.
fn range(share: Share) -> String {
    format!("{:.0}% ({:.0}-{:.0})", 100.0 * share.share, 100.0 * share.low, 100.0 * share.high)
}

fn tell_worst(document: &mut Document, worst: &Worst, figures: &Figures) {
    let Worst { ours, better } = worst;
    let causes = if ours.unlisted.is_empty() {
        if ours.causes.is_empty() { "nothing listed".to_owned() } else { ours.causes.join(", ") }
    } else {
        format!("a fault that is not listed, on {}", ours.unlisted.join(", "))
    };
    let against = better.as_ref().map_or_else(String::new, |better| {
        format!(" against {} ({})", figures.money(better.money), better.policy.words())
    });
    let heading = format!("Job {}: {}, {}{against}", ours.job, ours.symptoms.join(", "), figures.money(ours.money));
    document.part(heading.as_str());
    let why = why(worst, figures);
    document.paragraph(format!("Behind it: {causes}. Layout {}. {why}", ours.layout).trim_end());
    let told = std::iter::once(ours).chain(better).map(|r| format!("{}: {}", r.policy.words(), steps(r)));
    let told: Vec<String> = told.collect();
    document.bullets(told.iter().map(String::as_str));
}

/// So many more checks than another policy made are worth a word.
const MANY_MORE_CHECKS: usize = 5;
/// A true cause that stands so far down, from 0, was not seen.
const FAR_DOWN: usize = 3;

/// Why a job went badly, as far as its record tells.
fn why(worst: &Worst, figures: &Figures) -> String {
    let Worst { ours, better } = worst;
    let mut why = Vec::new();
    let other = better.as_ref().map_or("the other", |better| better.policy.words());
    let cured = better.as_ref().is_some_and(Record::is_cured);
    match ours.ending {
        Ending::Cured => {}
        Ending::HandedOver if cured => why.push(format!("Handed over; {other} cured it.")),
        Ending::HandedOver => why.push("Handed over.".to_owned()),
        Ending::Locked => why.push("An interlock forbade to try any repair to the end.".to_owned()),
    }
    let stood = ours.belief.as_ref().and_then(|belief| belief.rank.repair).filter(|rank| *rank >= FAR_DOWN);
    if let Some(rank) = stood {
        why.push(format!("A true cause stood only in place {} when it stopped looking.", rank + 1));
    }
    if let Some(better) = better.as_ref().filter(|better| ours.repairs > better.repairs) {
        why.push(format!("Repairs: {} against {}.", ours.repairs, better.repairs));
    }
    if let Some(better) = better.as_ref().filter(|better| ours.checks >= better.checks + MANY_MORE_CHECKS) {
        why.push(format!("Checks: {} against {}.", ours.checks, better.checks));
    }
    if ours.needless_parts.get() > 0.0 {
        why.push(format!("Parts for nothing: {}.", figures.money(ours.needless_parts)));
    }
    if ours.comebacks > 0 {
        why.push(format!("It came back {}.", if ours.comebacks == 1 { "once" } else { "more than once" }));
    }
    let dearest = ours.steps.iter().max_by(|a, b| a.1.total_cmp(&b.1));
    if let Some((step, cost)) = dearest.filter(|(step, _)| step != "hand-over") {
        why.push(format!("The dearest step was {step} for {}.", figures.money(Money::of(*cost))));
    }
    why.join(" ")
}

/// The steps of a job that are told.
const STEPS_TOLD: usize = 30;

fn steps(record: &Record) -> String {
    let steps = &record.steps;
    let one = |(what, cost): &(String, f64)| format!("{what} {cost:.0}");
    if steps.len() <= STEPS_TOLD {
        return steps.iter().map(one).collect::<Vec<_>>().join(", ");
    }
    let told: Vec<String> = steps[..STEPS_TOLD].iter().map(one).collect();
    let last = steps.last().map(one).unwrap_or_default();
    format!("{}, {} more, {last}", told.join(", "), steps.len() - STEPS_TOLD - 1)
}

/// A row for each job and policy, comma-separated, with a head.
#[must_use]
pub fn trial_csv(records: &[Record]) -> String {
    let mut text = String::from(
        "job,policy,layout,symptoms,causes,unlisted,cost,minutes,checks,repairs,cured,first_time,needless_parts,barred,comebacks,locked,rank,rank_by_repair,end_rank,end_rank_by_repair,flagged,beyond\n",
    );
    for r in records {
        let place = |rank: Option<usize>| rank.map_or_else(String::new, |rank| (rank + 1).to_string());
        let (stopped, end) = (stopped(r), r.at_end.unwrap_or_default());
        let flagged = r.belief.as_ref().map_or_else(String::new, |_| r.flagged.to_string());
        let beyond = r.belief.as_ref().map_or_else(String::new, |_| format!("{:.4}", r.beyond));
        let _ = writeln!(
            text,
            "{},{},{},{},{},{},{:.2},{:.1},{},{},{},{},{:.2},{},{},{},{},{},{},{},{flagged},{beyond}",
            r.job,
            r.policy.id(),
            r.layout,
            r.symptoms.join(" "),
            r.causes.join(" "),
            r.unlisted.join(" "),
            r.money.get(),
            r.minutes.get(),
            r.checks,
            r.repairs,
            r.is_cured(),
            r.first_time,
            r.needless_parts.get(),
            r.barred,
            r.comebacks,
            r.ending == Ending::Locked,
            place(stopped.cause),
            place(stopped.repair),
            place(end.cause),
            place(end.repair)
        );
    }
    text
}

/// Where the causes of the complaint stood when the advice stopped looking.
fn stopped(record: &Record) -> Rank {
    record.belief.as_ref().map(|belief| belief.rank).unwrap_or_default()
}

/// Everything, for programs.
#[must_use]
pub fn trial_json(summary: &Summary, records: &[Record], told: &str) -> String {
    let mean = |m: Mean| json!({"mean": m.mean, "half": m.half});
    let line = |l: &Line| {
        json!({
            "policy": l.policy.id(), "cost": mean(l.money), "more": l.more.map(mean), "minutes": mean(l.minutes),
            "checks": l.checks, "repairs": l.repairs, "cured": l.cured, "first_time": l.first_time,
            "needless_parts": l.needless_parts, "barred": l.barred, "comebacks": l.comebacks, "locked": l.locked,
        })
    };
    let share = |s: Share| json!({"share": s.share, "low": s.low, "high": s.high});
    let ranks = |r: &Ranks| {
        let (when, ending) = match r.when {
            When::Stopped => ("stopped", None),
            When::Ended => ("ended", None),
            When::EndedSo(ending) => ("ended", Some(ending_id(ending))),
        };
        json!({
            "when": when, "ending": ending, "jobs": r.jobs, "first": share(r.first),
            "among_three": share(r.among_three), "repair_first": share(r.repair_first),
            "repair_among_three": share(r.repair_among_three),
        })
    };
    let beliefs = summary.beliefs.as_ref().map(|b| {
        let bins: Vec<Value> = b
            .bins
            .iter()
            .map(|bin| json!({"low": bin.low, "high": bin.high, "count": bin.count, "forecast": bin.forecast,
                "observed": bin.observed, "right": {"low": bin.right.0, "high": bin.right.1}}))
            .collect();
        json!({
            "jobs": b.jobs, "ranks": b.ranks.iter().map(ranks).collect::<Vec<Value>>(), "brier": b.brier, "log_score": b.log_score,
            "perfect": {"brier": b.perfect.0, "log_score": b.perfect.1}, "bins": bins,
            "calibration_error": b.calibration_error, "perfect_calibration_error": b.perfect_calibration_error,
            "false_alarms": share(b.false_alarms), "caught": b.caught.map(share),
            "caught_at_five": b.caught_at_five.map(|(s, from)| json!({"share": share(s), "from": from})),
        })
    });
    let place = |rank: Option<usize>| rank.map(|rank| rank + 1);
    let row = |r: &Record| {
        let steps: Vec<Value> = r.steps.iter().map(|(what, cost)| json!({"step": what, "cost": cost})).collect();
        json!({
            "job": r.job, "policy": r.policy.id(), "layout": r.layout, "symptoms": r.symptoms, "causes": r.causes,
            "unlisted": r.unlisted, "cost": r.money.get(), "minutes": r.minutes.get(), "checks": r.checks,
            "repairs": r.repairs, "cured": r.is_cured(), "first_time": r.first_time,
            "needless_parts": r.needless_parts.get(), "barred": r.barred, "comebacks": r.comebacks, "locked": r.ending == Ending::Locked,
            "rank": place(stopped(r).cause), "rank_by_repair": place(stopped(r).repair),
            "end_rank": place(r.at_end.and_then(|rank| rank.cause)),
            "end_rank_by_repair": place(r.at_end.and_then(|rank| rank.repair)),
            "flagged": r.belief.as_ref().map(|_| r.flagged), "beyond": r.belief.as_ref().map(|_| r.beyond),
            "steps": steps,
        })
    };
    let value = json!({
        "told": told, "jobs": summary.jobs, "policies": summary.lines.iter().map(line).collect::<Vec<Value>>(),
        "beliefs": beliefs, "rows": records.iter().map(row).collect::<Vec<Value>>(),
    });
    serde_json::to_string_pretty(&value).unwrap_or_default() + "\n"
}

fn ending_id(ending: Ending) -> &'static str {
    match ending {
        Ending::Cured => "cured",
        Ending::HandedOver => "handed-over",
        Ending::Locked => "locked",
    }
}
