//! What closed jobs teach, as a document and for programs.

use super::{jobs, pretty};
use crate::knowledge::Knowledge;
use crate::logbook::learn::Counts;
use crate::logbook::overlay::{LearnedCause, LearnedRow, Overlay};
use crate::report::{Block, Column, Document, Table};
use serde_json::{Value, json};

/// Numbers told on one screen; all of them are in the file.
const LEARNED_TOLD: usize = 12;

/// What the jobs teach; `written` is the file it went to.
#[must_use]
pub fn learned(learned: &Overlay, counts: &Counts, knowledge: &Knowledge, written: Option<&str>) -> Document {
    let mut document = Document::new();
    document.title(format!("Learned from {}", jobs(learned.jobs)).as_str());
    let apart = [
        (counts.phone, "on the phone"),
        (counts.unproved, "unproved"),
        (counts.unconfirmed, "without cause and cure"),
        (counts.unread, "of another knowledge base or no longer readable"),
        (counts.impossible, "that the knowledge holds for impossible"),
    ];
    let apart: Vec<String> = apart.iter().filter(|(n, _)| *n > 0).map(|(n, what)| format!("{n} {what}")).collect();
    if !apart.is_empty() {
        document.paragraph(format!("Kept apart: {}.", apart.join(", ")).as_str());
    }
    let mut causes: Vec<_> = learned.causes.iter().collect();
    let moved = |l: &LearnedCause| libm::log(l.after.get() / l.before.get().max(1e-300)).abs();
    // What was found first, then what moved most.
    causes.sort_by(|a, b| {
        let order = |l: &LearnedCause| (l.found, moved(l));
        let ((found_a, moved_a), (found_b, moved_b)) = (order(a), order(b));
        found_b.total_cmp(&found_a).then(moved_b.total_cmp(&moved_a)).then(a.cause.cmp(&b.cause))
    });
    if causes.is_empty() && learned.rows.is_empty() {
        document.paragraph("No number moved by a hundredth of itself or more.");
    }
    if !causes.is_empty() {
        document.section("How common causes are");
        let rows = causes.iter().take(LEARNED_TOLD).map(|l| {
            [
                knowledge.causes[l.cause].title.clone(),
                format!("{:.4}", l.before.get()),
                format!("{:.4}", l.after.get()),
                format!("{:.1}", l.found),
                format!("{:.1}", l.expected * learned.weight),
                format!("{:.1}", l.cases),
            ]
            .iter()
            .map(|cell| cell.as_str().into())
            .collect()
        });
        document.push(Block::Table(Table {
            columns: std::iter::once(Column::words("cause"))
                .chain(["before", "after", "found", "expected", "jobs"].map(Column::figures))
                .collect(),
            rows: rows.collect(),
            total: None,
        }));
        document.aside(
            "Chances before history. \"Expected\": the jobs in which the knowledge expected it, given what was complained of. \
             \"Jobs\": how many told something about it.",
        );
    }
    if !learned.rows.is_empty() {
        document.section("What checks show");
        document.push(Block::Table(row_table(&learned.rows, knowledge)));
    }
    let hidden = causes.len().saturating_sub(LEARNED_TOLD) + learned.rows.len().saturating_sub(LEARNED_TOLD);
    if hidden > 0 {
        document
            .aside(format!("{hidden} more numbers moved; all of them are in the file that --output writes.").as_str());
    }
    if let Some(file) = written {
        document.paragraph(
            format!("Written to {file}; use it with --learned {file}. The knowledge base is as it was.").as_str(),
        );
    }
    document
}

fn row_table(rows: &[LearnedRow], knowledge: &Knowledge) -> Table {
    let mut rows: Vec<&LearnedRow> = rows.iter().collect();
    rows.sort_by(|a, b| b.cases.total_cmp(&a.cases).then((a.check, a.row).cmp(&(b.check, b.row))));
    let told = rows.iter().take(LEARNED_TOLD).map(|l| {
        let check = &knowledge.checks[l.check];
        let outcome = (0..l.after.len())
            .max_by(|&a, &b| (l.after[a] - l.before[a]).abs().total_cmp(&(l.after[b] - l.before[b]).abs()))
            .unwrap_or(0);
        [
            format!("{}, row {}: {}", check.title, l.row, check.outcomes[outcome].says),
            format!("{:.3}", l.before[outcome]),
            format!("{:.3}", l.after[outcome]),
            format!("{:.1}", l.cases),
        ]
        .iter()
        .map(|cell| cell.as_str().into())
        .collect()
    });
    Table {
        columns: std::iter::once(Column::words("the outcome that moved most"))
            .chain(["before", "after", "answers"].map(Column::figures))
            .collect(),
        rows: told.collect(),
        total: None,
    }
}

/// What was learned, for programs.
#[must_use]
pub fn learned_json(learned: &Overlay, counts: &Counts, knowledge: &Knowledge) -> String {
    let causes: Vec<Value> = learned
        .causes
        .iter()
        .map(|l| {
            json!({
                "id": knowledge.causes.id(l.cause), "before": l.before.get(), "after": l.after.get(), "found": l.found,
                "cases": l.cases, "expected": l.expected, "now": l.now, "sd": l.sd,
            })
        })
        .collect();
    let rows: Vec<Value> = learned
        .rows
        .iter()
        .map(|l| {
            let outcomes: Vec<&str> = knowledge.checks[l.check].outcomes.iter().map(|o| o.id.as_str()).collect();
            json!({
                "id": knowledge.checks.id(l.check), "row": l.row, "outcomes": outcomes, "before": l.before,
                "after": l.after, "counts": l.counts, "cases": l.cases,
            })
        })
        .collect();
    pretty(&json!({
        "knowledge": {"id": learned.knowledge.0, "version": learned.knowledge.1}, "jobs": learned.jobs,
        "weight": learned.weight, "apart": {
            "phone": counts.phone, "unproved": counts.unproved, "unconfirmed": counts.unconfirmed,
            "unread": counts.unread, "impossible": counts.impossible,
        }, "causes": causes, "checks": rows,
    }))
}
