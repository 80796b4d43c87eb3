//! Records as text: JSON lines, one record a line, and comma-separated values for a spreadsheet (RFC 4180). Both come
//! back as they went.

use super::record::Record;
use serde_json::{Map, Value};

/// Whether notes go along.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Notes {
    /// They stay here.
    Kept,
    /// They go along.
    Sent,
}

/// Something wrong with a line.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("line {line}: {what}")]
pub struct Error {
    /// The line, from one.
    pub line: usize,
    /// What is wrong.
    pub what: String,
}

/// The columns of the comma-separated form, in order.
const COLUMNS: [&str; 20] = [
    "format",
    "id",
    "knowledge",
    "closed",
    "title",
    "channel",
    "layout",
    "symptoms",
    "causes",
    "also_found",
    "repairs",
    "fixed_by",
    "end",
    "first_time",
    "minutes",
    "parts",
    "spent",
    "plan",
    "believed",
    "note",
];
/// The last column: the case file itself.
const CASE: &str = "case";

/// One record a line.
///
/// # Panics
/// Never: a record is plain data.
#[must_use]
pub fn json_lines(records: &[Record], notes: Notes) -> String {
    records.iter().map(|r| serde_json::to_string(&sent(r, notes)).expect("plain data becomes JSON") + "\n").collect()
}

fn sent(record: &Record, notes: Notes) -> Record {
    let note = record.note.clone().filter(|_| notes == Notes::Sent);
    Record { note, ..record.clone() }
}

/// Reads records, one a line; empty lines are passed over.
///
/// # Errors
/// Everything that is wrong, a line each.
pub fn from_json_lines(text: &str) -> Result<Vec<Record>, Vec<Error>> {
    let lines = text.lines().enumerate().filter(|(_, line)| !line.trim().is_empty());
    gathered(lines.map(|(at, line)| {
        let record: Result<Record, String> = serde_json::from_str(line).map_err(|e| shorn(&e));
        record.and_then(|r| r.check().map(|()| r)).map_err(|what| Error { line: at + 1, what })
    }))
}

fn gathered(read: impl Iterator<Item = Result<Record, Error>>) -> Result<Vec<Record>, Vec<Error>> {
    let (mut records, mut errors) = (Vec::new(), Vec::new());
    for one in read {
        match one {
            Ok(record) => records.push(record),
            Err(error) => errors.push(error),
        }
    }
    if errors.is_empty() { Ok(records) } else { Err(errors) }
}

/// What the reader says, without its own count of lines.
fn shorn(error: &serde_json::Error) -> String {
    let text = error.to_string();
    text.split(" at line ").next().unwrap_or(&text).to_owned()
}

/// A row a record, with a head. Lists of ids are parted by spaces; what has a shape of its own is JSON in its cell.
///
/// # Panics
/// Never: a record is plain data.
#[must_use]
pub fn csv(records: &[Record], notes: Notes) -> String {
    let columns = || COLUMNS.iter().copied().chain([CASE]);
    let mut text = columns().collect::<Vec<_>>().join(",") + "\r\n";
    for record in records {
        let value = serde_json::to_value(sent(record, notes)).expect("plain data becomes JSON");
        let cells: Vec<String> = columns().map(|column| cell(value.get(column))).collect();
        text.push_str(&(cells.join(",") + "\r\n"));
    }
    text
}

fn cell(value: Option<&Value>) -> String {
    let text = match value {
        None | Some(Value::Null) => String::new(),
        Some(Value::String(text)) => text.clone(),
        Some(Value::Array(items)) if items.iter().all(Value::is_string) => {
            items.iter().filter_map(Value::as_str).collect::<Vec<_>>().join(" ")
        }
        Some(other) => other.to_string(),
    };
    if text.contains([',', '"', '\n', '\r']) || text != text.trim() {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text
    }
}

/// Reads what [`csv`] writes. The columns may stand in any order.
///
/// # Errors
/// Everything that is wrong, a line each.
pub fn from_csv(text: &str) -> Result<Vec<Record>, Vec<Error>> {
    let rows = rows(text).map_err(|error| vec![error])?;
    let Some(((_, head), rows)) = rows.split_first() else { return Ok(Vec::new()) };
    if let Some(column) = head.iter().find(|column| !COLUMNS.contains(&column.as_str()) && *column != CASE) {
        return Err(vec![Error { line: 1, what: format!("column `{column}` is not known") }]);
    }
    gathered(rows.iter().map(|(line, cells)| row(head, cells).map_err(|what| Error { line: *line, what })))
}

fn row(head: &[String], cells: &[String]) -> Result<Record, String> {
    if head.len() != cells.len() {
        return Err(format!("expected {} cells, found {}", head.len(), cells.len()));
    }
    let mut object = Map::new();
    for (column, text) in head.iter().zip(cells) {
        let value = match column.as_str() {
            "symptoms" | "causes" | "also_found" | "repairs" => {
                Value::from(text.split_whitespace().collect::<Vec<_>>())
            }
            "format" | "knowledge" | "first_time" | "minutes" | "parts" | "spent" | "plan" | "believed"
                if !text.is_empty() =>
            {
                serde_json::from_str(text).map_err(|e| format!("column `{column}`: {}", shorn(&e)))?
            }
            _ if text.is_empty() && column != CASE => continue,
            _ => Value::from(text.as_str()),
        };
        object.insert(column.clone(), value);
    }
    let record: Record = serde_json::from_value(Value::Object(object)).map_err(|e| shorn(&e))?;
    record.check().map(|()| record)
}

/// The rows of comma-separated text, each with the line it begins on.
fn rows(text: &str) -> Result<Vec<(usize, Vec<String>)>, Error> {
    let mut rows = Vec::new();
    let (mut cells, mut cell) = (Vec::new(), String::new());
    let (mut quoted, mut line, mut began) = (false, 1, 1);
    let mut chars = text.chars().peekable();
    while let Some(c) = chars.next() {
        line += usize::from(c == '\n');
        match c {
            '"' if quoted && chars.peek() == Some(&'"') => {
                chars.next();
                cell.push('"');
            }
            '"' if quoted => quoted = false,
            '"' if cell.is_empty() => quoted = true,
            ',' if !quoted => cells.push(std::mem::take(&mut cell)),
            '\r' if !quoted && chars.peek() == Some(&'\n') => {}
            '\n' if !quoted => {
                cells.push(std::mem::take(&mut cell));
                rows.push((began, std::mem::take(&mut cells)));
                began = line;
            }
            c => cell.push(c),
        }
    }
    if quoted {
        return Err(Error { line: began, what: "a quotation mark is left open".to_owned() });
    }
    if !cell.is_empty() || !cells.is_empty() {
        cells.push(cell);
        rows.push((began, cells));
    }
    rows.retain(|(_, cells)| cells.iter().any(|cell| !cell.is_empty()));
    Ok(rows)
}
