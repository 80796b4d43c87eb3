//! How well the checks of a knowledge base find its causes, as a document and for other programs.

use super::{Block, Column, Document, Rich, Table};
use crate::knowledge::Knowledge;
use crate::knowledge::layout::{Craft, Instance, Laid};
use crate::knowledge::{Cause, Ix, Layout};
use crate::vet::testability::Testability;

/// So many groups of a layout are listed: what an author can look into in an evening.
const GROUPS: usize = 5;

/// A table for each layout, and what is most worth a new check.
#[must_use]
pub fn testability(knowledge: &Knowledge, all: &[Testability]) -> Document {
    let mut document = Document::new();
    document.title(format!("Testability: {}", knowledge.title).as_str());
    for layout in all.chunk_by(|a, b| a.layout == b.layout) {
        let ix = layout[0].layout;
        document.section(knowledge.layouts[ix].title.as_str());
        document.push(Block::Table(table(knowledge, layout)));
        let groups = heaviest(knowledge, ix, layout);
        if !groups.is_empty() {
            document.part("Most worth a check that tells them apart");
            document.bullets(groups);
        }
    }
    document.aside(
        "Told apart: a guess between two by one check's answer is right 3 times in 4. Detected: a cause is told from a \
         craft with no fault. Group: a cause and all it is not told from. Isolated: of the detected, those whose group one repair \
         removes. Shares and means are weighed by the chance of each cause given the symptom. (Measures of IEEE 1522 and \
         MIL-STD-2165, with a threshold of ours: answers here are a matter of chance.)",
    );
    document
}

fn table(knowledge: &Knowledge, rows: &[Testability]) -> Table {
    let row = |t: &Testability| -> Vec<Rich> {
        vec![
            knowledge.symptoms.id(t.symptom).into(),
            t.faults.to_string().into(),
            percent(t.detected).into(),
            percent(t.isolated).into(),
            format!("{:.1}", t.mean_group).into(),
            t.largest_group.to_string().into(),
        ]
    };
    Table {
        columns: vec![
            Column::words("symptom"),
            Column::figures("causes"),
            Column::figures("detected"),
            Column::figures("isolated"),
            Column::figures("mean group"),
            Column::figures("largest"),
        ],
        rows: rows.iter().map(row).collect(),
        total: None,
    }
}

fn percent(share: f64) -> String {
    format!("{:.0}%", share * 100.0)
}

/// The groups that no one repair removes and that hold the largest share of a symptom's causes.
fn heaviest(knowledge: &Knowledge, layout: Ix<Layout>, rows: &[Testability]) -> Vec<String> {
    let laid = Laid::new(knowledge, Craft { layout, ..Craft::usual(knowledge) });
    let mut groups: Vec<(f64, &Testability, &[Instance<Cause>])> = rows
        .iter()
        .flat_map(|t| t.groups.iter().map(move |(group, share)| (*share, t, group.as_slice())))
        .filter(|(_, _, group)| group.len() > 1)
        .collect();
    groups.sort_by(|a, b| b.0.total_cmp(&a.0).then_with(|| (a.1.symptom, a.2).cmp(&(b.1.symptom, b.2))));
    groups
        .iter()
        .take(GROUPS)
        .map(|(share, t, group)| {
            let mut labels: Vec<String> = group.iter().take(4).map(|cause| label(&laid, *cause)).collect();
            if group.len() > labels.len() {
                labels.push(format!("{} more", group.len() - labels.len()));
            }
            format!("{}, {} of it: {}", knowledge.symptoms.id(t.symptom), percent(*share), labels.join(", "))
        })
        .collect()
}

/// A cause as it is told where there are several places.
pub(super) fn label(laid: &Laid<'_>, cause: Instance<Cause>) -> String {
    let knowledge = laid.knowledge;
    laid.label(knowledge.causes.id(cause.item), knowledge.causes[cause.item].scope, cause.at)
}
