//! Two cases side by side: what differs in what was said and found, and what that changes in the ranking.

use super::advisor::View;
use super::step::Bench;
use crate::case::{Case, Entry, Event};
use crate::knowledge::Check;
use crate::knowledge::Ix;
use crate::report::{Block, Column, Document, Table, words};
use jiff::Timestamp;

/// How many causes of each ranking are shown.
const RANKED: usize = 6;
/// So many differing answers are tried one by one; each costs a look at what would be believed.
const TRIED: usize = 12;
/// What stands where one of the two has nothing.
const NOTHING: &str = "-";

/// Something that differs.
#[derive(Clone, Debug, PartialEq)]
pub struct Difference {
    /// What was asked.
    pub what: String,
    /// What each says; nothing where it does not say.
    pub says: [Option<String>; 2],
    /// The cause that the first case would move most if it said what the second says, with its chance before and after.
    pub moves: Option<(String, f64, f64)>,
}

/// Two cases compared. All texts are for people.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// What differs in the craft, the complaint and the history.
    pub told: Vec<Difference>,
    /// What differs in the answers to checks.
    pub answers: Vec<Difference>,
    /// What differs in what was done.
    pub done: [Vec<String>; 2],
    /// The causes that lead in one of them, with their chances in both.
    pub ranking: Vec<(String, [f64; 2])>,
    /// The next step of each.
    pub next: [String; 2],
    /// What the rest of each job is reckoned to come to.
    pub rest: [String; 2],
    /// How many answers they have in common.
    pub same: usize,
}

/// Compares two cases.
///
/// # Errors
/// Where one of them cannot be weighed.
pub fn compare(bench: &Bench<'_>, cases: [&Case; 2], now: Option<Timestamp>) -> Result<Comparison, String> {
    let views = [bench.advisor.look(cases[0], now)?, bench.advisor.look(cases[1], now)?];
    let said = cases.map(|case| last_answers(bench, case));
    let mut answers = Vec::new();
    let mut same = 0;
    for (key, first) in &said[0] {
        let second = said[1].iter().find(|(k, _)| k == key).map(|(_, s)| s);
        if second == Some(first) {
            same += 1;
        } else {
            answers.push((*key, [Some(first.clone()), second.cloned()]));
        }
    }
    let only_second = said[1].iter().filter(|(key, _)| said[0].iter().all(|(k, _)| k != key));
    answers.extend(only_second.map(|(key, second)| (*key, [None, Some(second.clone())])));
    let alike = cases[0].craft == cases[1].craft;
    let answers = answers.into_iter().enumerate().map(|(n, (key, says))| {
        let moves = (alike && n < TRIED).then(|| moved(bench, cases, &views[0], key, now)).flatten();
        Difference { what: title(bench, cases[usize::from(says[0].is_none())], key), says, moves }
    });
    Ok(Comparison {
        answers: answers.collect(),
        told: told(bench, cases),
        done: done(bench, cases),
        ranking: ranking(bench, cases, &views),
        next: [0, 1].map(|n| words::action(&bench.laid(cases[n]), &views[n].advice.next.action)),
        rest: [0, 1].map(|n| words::rest(bench.figures, &views[n].advice)),
        same,
    })
}

/// A check at a place, or said of all places together.
type Key = (Ix<Check>, Option<usize>);

/// The last answer of each check, in order of the first.
fn last_answers(bench: &Bench<'_>, case: &Case) -> Vec<(Key, String)> {
    let mut all: Vec<(Key, String)> = Vec::new();
    for entry in &case.log {
        let Event::Answer { check, place, answer, .. } = &entry.event else { continue };
        let says = words::answer(&bench.knowledge.checks[*check], *answer, bench.figures);
        let key = (*check, *place);
        match all.iter_mut().find(|(k, _)| *k == key) {
            Some((_, said)) => *said = says,
            None => all.push((key, says)),
        }
    }
    all
}

fn title(bench: &Bench<'_>, case: &Case, (check, place): Key) -> String {
    let item = &bench.knowledge.checks[check];
    place.map_or_else(|| item.title.clone(), |at| bench.laid(case).words(&item.title, item.scope, at))
}

/// The cause whose chance moves most in the first case once it says to a check what the second says.
fn moved(
    bench: &Bench<'_>,
    cases: [&Case; 2],
    first: &View,
    (check, place): Key,
    now: Option<Timestamp>,
) -> Option<(String, f64, f64)> {
    let about =
        |entry: &Entry| matches!(&entry.event, Event::Answer { check: c, place: p, .. } if (*c, *p) == (check, place));
    let mut supposed = cases[0].clone();
    let at = supposed.log.iter().position(&about).unwrap_or(supposed.log.len());
    supposed.log.retain(|entry| !about(entry));
    let theirs = cases[1].log.iter().rev().find(|entry| about(entry)).cloned();
    if let Some(entry) = theirs {
        let at_time = cases[0].log.get(at).or(cases[0].log.last()).and_then(|e| e.at);
        supposed.log.insert(at.min(supposed.log.len()), Entry { at: at_time, ..entry });
    }
    let then = bench.advisor.look(&supposed, now).ok()?;
    let laid = bench.laid(cases[0]);
    let chance = |view: &View, cause| view.causes.iter().find(|c| c.cause == cause).map_or(0.0, |c| c.chance);
    let moves = first.causes.iter().map(|c| (c.cause, c.chance, chance(&then, c.cause)));
    let most = moves.max_by(|a, b| (a.1 - a.2).abs().total_cmp(&(b.1 - b.2).abs()))?;
    let item = &bench.knowledge.causes[most.0.item];
    Some((words::lower_first(&laid.words(&item.title, item.scope, most.0.at)), most.1, most.2))
}

fn told(bench: &Bench<'_>, cases: [&Case; 2]) -> Vec<Difference> {
    let knowledge = bench.knowledge;
    let mut all = Vec::new();
    let mut differs = |what: &str, says: [Option<String>; 2]| {
        if says[0] != says[1] {
            all.push(Difference { what: what.to_owned(), says, moves: None });
        }
    };
    differs("Layout", cases.map(|c| Some(knowledge.layouts[c.craft.layout].title.clone())));
    for (ix, option) in knowledge.options.iter() {
        let fitted = |c: &Case| Some(if c.craft.has(ix) { "fitted" } else { "not fitted" }.to_owned());
        differs(&option.title, cases.map(fitted));
    }
    let complaint = |c: &Case| {
        let titles: Vec<&str> = c.symptoms.iter().map(|s| knowledge.symptoms[*s].title.as_str()).collect();
        (!titles.is_empty()).then(|| titles.join("; "))
    };
    differs("Complaint", cases.map(complaint));
    for (ix, fact) in knowledge.history.iter() {
        let says = |c: &Case| c.history.get(&ix).and_then(|at| fact.values.get(*at)).map(|v| v.says.clone());
        differs(&fact.ask, cases.map(says));
    }
    all
}

/// What only one of them did.
fn done(bench: &Bench<'_>, cases: [&Case; 2]) -> [Vec<String>; 2] {
    let lines = cases.map(|case| {
        let laid = bench.laid(case);
        let is_work =
            |e: &&Entry| matches!(e.event, Event::Repaired { .. } | Event::Tried { .. } | Event::Found { .. });
        case.log.iter().filter(is_work).map(|e| words::entry(&laid, e, bench.figures)).collect::<Vec<_>>()
    });
    let only = |n: usize| lines[n].iter().filter(|line| !lines[1 - n].contains(line)).cloned().collect();
    [only(0), only(1)]
}

fn ranking(bench: &Bench<'_>, cases: [&Case; 2], views: &[View; 2]) -> Vec<(String, [f64; 2])> {
    let named = [0, 1].map(|n| {
        let laid = bench.laid(cases[n]);
        let name = |c: &crate::belief::CauseBelief| {
            let item = &bench.knowledge.causes[c.cause.item];
            (laid.words(&item.title, item.scope, c.cause.at), c.chance)
        };
        views[n].causes.iter().map(name).collect::<Vec<_>>()
    });
    let mut leaders: Vec<&String> = Vec::new();
    for (name, _) in named.iter().flat_map(|all| all.iter().take(RANKED)) {
        if !leaders.contains(&name) {
            leaders.push(name);
        }
    }
    let chance = |n: usize, name: &String| named[n].iter().find(|(other, _)| other == name).map_or(0.0, |(_, c)| *c);
    leaders.into_iter().map(|name| (name.clone(), [chance(0, name), chance(1, name)])).collect()
}

impl Comparison {
    /// The comparison as a document; `names` is what the two are called.
    #[must_use]
    pub fn document(&self, bench: &Bench<'_>, names: [&str; 2]) -> Document {
        let mut document = Document::new();
        document.title(format!("{} and {}", names[0], names[1]));
        differences(&mut document, "Craft, complaint and history", &self.told, names);
        differences(&mut document, "Answers", &self.answers, names);
        self.moves(bench, &mut document);
        document.paragraph(match self.same {
            0 => "They have no answer in common.".to_owned(),
            1 => "They have 1 answer in common.".to_owned(),
            n => format!("They have {n} answers in common."),
        });
        for (name, done) in names.iter().zip(&self.done) {
            if !done.is_empty() {
                document.section(format!("Done only in {name}"));
                document.bullets(done);
            }
        }
        document.section("What is believed");
        let rows = self.ranking.iter().map(|(cause, chances)| {
            let [a, b] = chances.map(|c| bench.figures.percent_short(c).into());
            vec![cause.into(), a, b]
        });
        document.push(Block::Table(Table {
            columns: vec![Column::words("Cause"), Column::figures(names[0]), Column::figures(names[1])],
            rows: rows.collect(),
            total: None,
        }));
        let row = |what: &str, says: &[String; 2]| vec![what.into(), (&says[0]).into(), (&says[1]).into()];
        document.push(Block::Table(Table {
            columns: vec![Column::words(""), Column::words(names[0]), Column::words(names[1])],
            rows: vec![row("Next step", &self.next), row("Rest of the job, on average", &self.rest)],
            total: None,
        }));
        document
    }

    fn moves(&self, bench: &Bench<'_>, document: &mut Document) {
        let lines: Vec<String> = self
            .answers
            .iter()
            .filter_map(|d| d.moves.as_ref().map(|m| (d, m)))
            .map(|(d, (cause, before, after))| {
                let [before, after] = [before, after].map(|c| bench.figures.percent_short(*c));
                format!("{}: {cause} from {before} to {after}", d.what)
            })
            .collect();
        if !lines.is_empty() {
            document.part("What each would change most in the first, taken alone");
            document.bullets(lines);
        }
    }
}

fn differences(document: &mut Document, heading: &str, all: &[Difference], names: [&str; 2]) {
    document.section(heading);
    if all.is_empty() {
        document.paragraph("The same.");
        return;
    }
    let cell = |says: &Option<String>| says.clone().unwrap_or_else(|| NOTHING.to_owned()).into();
    document.push(Block::Table(Table {
        columns: vec![Column::words("Asked"), Column::words(names[0]), Column::words(names[1])],
        rows: all.iter().map(|d| vec![(&d.what).into(), cell(&d.says[0]), cell(&d.says[1])]).collect(),
        total: None,
    }));
}
