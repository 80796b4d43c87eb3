//! The logbook from outside: the command line, the file, and what comes back as it went.

use super::small_engine;
use assert_cmd::cargo::CommandCargoExt;
use doldrum::logbook::exchange::{Notes, csv, from_csv, from_json_lines, json_lines};
use doldrum::logbook::record::{Believed, Channel, End, Of, Part, Planned, Record, Standing};
use doldrum::store::logbook::{Added, Change, Error, Logbook};
use doldrum::units::{Minutes, Money};
use jiff::Timestamp;
use proptest::prelude::*;
use std::fs;
use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

const CASE: &str = "\
format: 1
knowledge: {id: small-engine, version: 0.1.0}
title: Barn-find twin
craft: {layout: twin}
history: {cx-stood: a-winter}
symptoms: [sy-no-start]
log:
  - {check: ck-smell, outcome: none}
  - {check: ck-plug-look@front, outcome: dry}
  - {found: screen-clogged@front, present: true}
  - {repair: rm-screens}
  - {symptom: sy-no-start, present: false}
";

fn command(folder: &Path, words: &[&str]) -> Command {
    let mut command = Command::cargo_bin("doldrum").expect("the program");
    command.current_dir(folder).arg("logbook").args(words).args(["--logbook", "l.db", "--knowledge"]);
    command.arg(small_engine::folder());
    command
}

fn run(folder: &Path, words: &[&str]) -> Output {
    command(folder, words).output().expect("it runs")
}

/// What it says on standard output, where it went well.
fn said(folder: &Path, words: &[&str]) -> String {
    let output = run(folder, words);
    assert!(output.status.success(), "{words:?}: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).expect("UTF-8")
}

/// The number it ends with and what it says on standard error.
fn refused(folder: &Path, words: &[&str]) -> (i32, String) {
    let output = run(folder, words);
    (output.status.code().unwrap_or(-1), String::from_utf8_lossy(&output.stderr).into_owned())
}

fn with_case() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("job.yaml"), CASE).expect("it can be written");
    folder
}

fn noon() -> Timestamp {
    small_engine::noon().expect("a moment")
}

fn record(n: u32) -> Record {
    Record {
        format: 1,
        id: format!("{n:032x}"),
        knowledge: Of { id: "small-engine".to_owned(), version: "0.1.0".to_owned() },
        closed: noon(),
        title: None,
        channel: Channel::Shop,
        layout: "twin".to_owned(),
        symptoms: vec!["sy-no-start".to_owned()],
        causes: vec!["plug-dead@front".to_owned()],
        also_found: Vec::new(),
        repairs: vec!["rm-plugs".to_owned()],
        fixed_by: Some("rm-plugs".to_owned()),
        end: End::Cured,
        first_time: Some(true),
        minutes: None,
        parts: Vec::new(),
        spent: None,
        plan: None,
        believed: Vec::new(),
        note: None,
        case: CASE.to_owned(),
    }
}

#[test]
fn a_job_is_closed_listed_found_and_shown() {
    let folder = with_case();
    let at = folder.path();
    let added = said(at, &["add", "job.yaml", "--minutes", "95", "--part", "2 x gasket = 4", "--note", "rusty tank"]);
    assert!(added.starts_with("added ") && added.contains("confirmed: the cause was seen"), "{added}");
    assert!(!added.contains("MISSING"), "{added}");
    let id = &added["added ".len().."added ".len() + 8];
    let list = said(at, &["list"]);
    // An hour and 35 minutes at 90, and 8 for parts: 150.50.
    assert!(list.contains(id) && list.contains("Clogged fuel screen, front") && list.contains("$151"), "{list}");
    assert_eq!(said(at, &["search", "RUSTY", "screen"]), list);
    assert!(said(at, &["search", "plug"]).contains("No such job"));
    assert!(said(at, &["list", "--cause", "plug-dead"]).contains("No such job"));
    let shown = said(at, &["show", id]);
    for words in ["cured, by the first repair", "2 x gasket, $4 each", "rusty tank", "Planned"] {
        assert!(shown.contains(words), "{words}: {shown}");
    }
    assert_eq!(said(at, &["show", id, "--case"]), CASE);
    let summary = said(at, &["summary"]);
    assert!(summary.contains("1 of 1 (100%)") && summary.contains("Clogged fuel screen"), "{summary}");
}

#[test]
fn adding_twice_is_adding_once_and_a_correction_loses_nothing() {
    let folder = with_case();
    let at = folder.path();
    said(at, &["add", "job.yaml", "--minutes", "95"]);
    assert!(said(at, &["add", "job.yaml", "--minutes", "95"]).starts_with("already there"));
    // What is left out is not taken back.
    assert!(said(at, &["add", "job.yaml"]).starts_with("already there"));
    // A comment is no other case.
    fs::write(at.join("same.yaml"), format!("# looked at twice\n{CASE}")).expect("it can be written");
    assert!(said(at, &["add", "same.yaml"]).starts_with("already there"));
    let (code, trouble) = refused(at, &["add", "job.yaml", "--minutes", "120"]);
    assert!(code == 65 && trouble.contains("other details (minutes)") && trouble.contains("--amend"), "{trouble}");
    assert!(said(at, &["add", "job.yaml", "--minutes", "120", "--amend"]).contains("revision 2 counts now"));
    let logbook = Logbook::open(&at.join("l.db")).expect("it opens");
    let entries = logbook.entries().expect("it reads");
    assert_eq!(entries.iter().map(|e| e.record.minutes).collect::<Vec<_>>(), [Minutes::new(120.0)]);
    let all = logbook.revisions(&entries[0].record.id).expect("it reads");
    assert_eq!(all.iter().map(|e| e.record.minutes).collect::<Vec<_>>(), [Minutes::new(95.0), Minutes::new(120.0)]);
}

#[test]
fn a_case_that_grew_replaces_the_shorter_one() {
    let folder = with_case();
    let at = folder.path();
    let early = CASE
        .split("  - {repair")
        .next()
        .expect("a beginning")
        .replace("{check: ck-smell", "{at: 2026-11-25T10:00:00Z, check: ck-smell");
    let late = early.clone() + "  - {repair: rm-screens}\n  - {symptom: sy-no-start, present: false}\n";
    fs::write(at.join("early.yaml"), early).expect("it can be written");
    fs::write(at.join("late.yaml"), late).expect("it can be written");
    assert!(said(at, &["add", "early.yaml"]).contains("MISSING"));
    assert!(said(at, &["add", "late.yaml"]).contains("it goes on from"));
    let logbook = Logbook::open(&at.join("l.db")).expect("it opens");
    let entries = logbook.entries().expect("it reads");
    assert_eq!(entries.iter().map(|e| e.record.standing()).collect::<Vec<_>>(), [Standing::Confirmed]);
    // Without times two jobs may look alike: both count.
    said(at, &["add", "job.yaml"]);
    assert_eq!(logbook.entries().expect("it reads").len(), 2);
}

#[test]
fn what_is_missing_is_said() {
    let folder = with_case();
    let at = folder.path();
    let bare = CASE.split("log:").next().expect("a beginning");
    fs::write(at.join("bare.yaml"), bare).expect("it can be written");
    let told = said(at, &["add", "bare.yaml", "--note", "call 555 013 4567"]);
    for words in [
        "the cause: name",
        "what fixed it",
        "whether the symptom is gone",
        "the minutes it took",
        "phone or registration",
    ] {
        assert!(told.contains(words), "{words}: {told}");
    }
    let (code, trouble) = refused(at, &["add", "bare.yaml", "--cause", "plug-dead", "--amend"]);
    assert!(code == 2 && trouble.contains("`plug-dead@front` or `plug-dead@rear`"), "{trouble}");
    let (code, trouble) = refused(at, &["add", "bare.yaml", "--cause", "plug-ded@front"]);
    assert!(code == 2 && trouble.contains("did you mean `plug-dead`?"), "{trouble}");
    let (code, trouble) = refused(at, &["add", "bare.yaml", "--cause", "plug-dead@middle"]);
    assert!(code == 2 && trouble.contains("its places are front, rear"), "{trouble}");
    let (code, trouble) = refused(at, &["add", "bare.yaml", "--fixed-by", "rm-plugs@front"]);
    assert!(code == 2 && trouble.contains("it has no places here: write `rm-plugs`"), "{trouble}");
    let (code, trouble) = refused(at, &["add", "bare.yaml", "--fixed-by", "rm-screens@middle"]);
    assert!(code == 2 && trouble.contains("its places are front, rear"), "{trouble}");
    let told = said(at, &["add", "bare.yaml", "--cause", "plug-dead@front", "--fixed-by", "rm-screens", "--amend"]);
    assert!(told.contains("`rm-screens` does not") && told.contains("unproved"), "{told}");
}

#[test]
fn what_goes_out_comes_in() {
    let folder = with_case();
    let at = folder.path();
    said(at, &["add", "job.yaml", "--minutes", "95", "--note", "says \"hm\", twice"]);
    for (name, shape) in [("out.jsonl", "jsonl"), ("out.csv", "csv")] {
        said(at, &["export", "--as", shape, "--notes", "-o", name]);
        let other = tempfile::tempdir().expect("a folder");
        let file = at.join(name).to_string_lossy().into_owned();
        assert_eq!(said(other.path(), &["import", &file]), "1 added, 0 amended, 0 there already\n");
        assert_eq!(said(other.path(), &["import", &file]), "0 added, 0 amended, 1 there already\n");
        let all = |folder: &Path| Logbook::open(&folder.join("l.db")).expect("it opens").entries().expect("it reads");
        assert_eq!(all(other.path())[0].record, all(at)[0].record);
        assert_eq!(said(other.path(), &["summary"]), said(at, &["summary"]));
    }
    assert!(!said(at, &["export"]).contains("hm"), "notes stay");
    // One bad line, and nothing is taken.
    let good = said(at, &["export"]);
    fs::write(at.join("bad.jsonl"), format!("{good}{}", good.replace("\"shop\"", "\"boat\"")))
        .expect("it can be written");
    let other = tempfile::tempdir().expect("a folder");
    let (code, trouble) = refused(other.path(), &["import", &at.join("bad.jsonl").to_string_lossy()]);
    assert!(code == 65 && trouble.contains("line 2") && trouble.contains("boat"), "{trouble}");
    assert!(!other.path().join("l.db").exists());
}

fn text() -> impl Strategy<Value = String> {
    "[ -~äß\n\"]{1,12}"
}

fn label() -> impl Strategy<Value = String> {
    "[a-z]{1,6}(-[a-z]{1,4})?(@[a-z]{1,5})?"
}

prop_compose! {
    fn any_record()(
        id in "[0-9a-f]{32}", title in proptest::option::of(text()), note in proptest::option::of(text()),
        case in text(), labels in proptest::collection::vec(proptest::collection::vec(label(), 0..3), 4),
        fixed_by in proptest::option::of(label()), seconds in 0i64..4_000_000_000,
        phone in any::<bool>(), end in 0usize..3, first_time in any::<Option<bool>>(),
        minutes in proptest::option::of(0.0..1e5), spent in proptest::option::of(0.0..1e6),
        plan in proptest::option::of((0.0..1e4, 0.0..1e4)),
        parts in proptest::collection::vec((text(), 1u32..9, proptest::option::of(0.0..1e3)), 0..3),
        believed in proptest::collection::vec((label(), 0.0..=1.0), 0..3),
    ) -> Record {
        let [symptoms, causes, also_found, repairs] = <[Vec<String>; 4]>::try_from(labels).expect("four lists");
        Record {
            id, title, note, case, symptoms, causes, also_found, repairs, fixed_by, first_time,
            closed: Timestamp::from_second(seconds).expect("a moment"),
            channel: if phone { Channel::Phone } else { Channel::Shop },
            end: [End::Cured, End::HandedOver, End::NotKnown][end],
            minutes: minutes.and_then(Minutes::new),
            spent: spent.and_then(Money::new),
            plan: plan.map(|(m, p)| Planned { minutes: Minutes::of(m), money: Money::of(p) }),
            parts: parts.into_iter().map(|(item, count, each)| Part { item, count, each: each.and_then(Money::new) }).collect(),
            believed: believed.into_iter().map(|(cause, chance)| Believed { cause, chance }).collect(),
            ..record(0)
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, ..ProptestConfig::default() })]

    #[test]
    fn records_survive_both_shapes(records in proptest::collection::vec(any_record(), 0..4)) {
        let records: Vec<Record> = records;
        prop_assert_eq!(&from_json_lines(&json_lines(&records, Notes::Sent)).unwrap(), &records);
        prop_assert_eq!(&from_csv(&csv(&records, Notes::Sent)).unwrap(), &records);
        let silent = from_csv(&csv(&records, Notes::Kept)).unwrap();
        prop_assert!(silent.iter().all(|r| r.note.is_none()));
    }

    /// Whatever is fed in: records or trouble with its line, never a panic.
    #[test]
    fn broken_text_is_told(text in "[\"a,\n{}:1 ]{0,60}") {
        let lines = text.lines().count() + 1;
        for errors in [from_csv(&text).err(), from_json_lines(&text).err()].into_iter().flatten() {
            prop_assert!(errors.iter().all(|e| (1..=lines).contains(&e.line)));
        }
    }
}

/// A logbook of version 1 as it was written: its jobs are there afterward, once, and it opens again.
#[test]
fn a_logbook_of_version_1_is_brought_up() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("l.db");
    let fixture = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/logbook/version-1.sql"));
    let old = rusqlite::Connection::open(&path).expect("it opens");
    old.execute_batch(&fixture.expect("the fixture")).expect("it is SQL");
    drop(old);
    for _ in 0..2 {
        let entries = Logbook::open(&path).expect("it opens").entries().expect("it reads");
        let told: Vec<(&str, u32, Standing)> =
            entries.iter().map(|e| (e.record.causes[0].as_str(), e.revision, e.record.standing())).collect();
        assert_eq!(told, [("plug-dead@front", 1, Standing::Confirmed), ("screen-clogged@rear", 1, Standing::Unproved)]);
        assert_eq!(entries[0].added.to_string(), "2026-10-01T09:00:00Z");
    }
    let mut logbook = Logbook::open(&path).expect("it opens");
    let mut again = logbook.entries().expect("it reads")[0].record.clone();
    assert_eq!(logbook.add(&again, noon(), Change::Refuse).expect("it writes"), Added::Already);
    again.minutes = Minutes::new(30.0);
    assert!(matches!(logbook.add(&again, noon(), Change::Refuse), Ok(Added::Differs(_))));
    assert_eq!(logbook.add(&again, noon(), Change::Amend).expect("it writes"), Added::Amended(2));
}

/// One job that does not read takes none of the others away: it is named, the others are listed and exported. What would not
/// read back is not taken.
#[test]
fn a_job_that_does_not_read_hides_no_other() {
    let folder = with_case();
    let at = folder.path();
    said(at, &["add", "job.yaml"]);
    let path = at.join("l.db");
    let bad = "00000000000000000000000000000bad";
    let file = rusqlite::Connection::open(&path).expect("it opens");
    let insert = "INSERT INTO entry (job, revision, added, record) VALUES (?1, 1, '2026-11-25T12:00:00Z', '{\"minutes\": null}')";
    file.execute(insert, [bad]).expect("it is written");
    drop(file);
    let output = run(at, &["export"]);
    let (out, trouble) = (String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
    assert!(output.status.success() && out.lines().count() == 1, "{out}{trouble}");
    assert!(trouble.contains(bad) && trouble.contains("does not read"), "{trouble}");
    let mut logbook = Logbook::open(&path).expect("it opens");
    let mut record = logbook.entries().expect("it reads")[0].record.clone();
    assert_eq!((logbook.entries().expect("it reads").len(), logbook.unread().expect("it reads").len()), (1, 1));
    // An unreadable one can be corrected, and an impossible one is not taken.
    record.id = bad.to_owned();
    assert!(logbook.add(&record, noon(), Change::Refuse).is_err());
    assert_eq!(logbook.add(&record, noon(), Change::Amend).expect("it writes"), Added::Amended(2));
    assert!(logbook.unread().expect("it reads").is_empty());
    record.id = "no id".to_owned();
    assert!(logbook.add(&record, noon(), Change::Refuse).is_err());
    assert_eq!(logbook.entries().expect("it reads").len(), 2);
}

#[test]
fn a_newer_logbook_and_another_file_are_left_alone() {
    let folder = with_case();
    let at = folder.path();
    said(at, &["add", "job.yaml"]);
    let file = at.join("l.db");
    let newer = rusqlite::Connection::open(&file).expect("it opens");
    newer.execute_batch("PRAGMA user_version = 99; PRAGMA wal_checkpoint(TRUNCATE);").expect("it writes");
    drop(newer);
    let before = fs::read(&file).expect("it reads");
    let (code, trouble) = refused(at, &["add", "job.yaml", "--minutes", "3", "--amend"]);
    assert!(code == 65 && trouble.contains("version 2 or earlier, found version 99"), "{trouble}");
    assert_eq!(fs::read(&file).expect("it reads"), before);
    let (text, bytes) = (at.join("text.db"), b"this is no database, and long enough to be sure of that");
    fs::write(&text, bytes).expect("it can be written");
    let error = Logbook::open(&text).err();
    assert!(matches!(error, Some(Error::Another { .. })), "{error:?}");
    assert_eq!(fs::read(&text).expect("it reads"), bytes);
    let foreign = at.join("foreign.db");
    rusqlite::Connection::open(&foreign).expect("it opens").execute_batch("CREATE TABLE x (y)").expect("it writes");
    assert!(matches!(Logbook::open(&foreign).err(), Some(Error::Another { .. })));
}

/// What can be looked at without being made: listing makes no file. A file that is named is meant to be there; the usual
/// one may not be yet.
#[test]
fn looking_makes_no_logbook() {
    let folder = with_case();
    let at = folder.path();
    for words in
        [&["list"][..], &["summary"], &["search", "x"], &["show", "1"], &["export"], &["learn", "--output", "n"]]
    {
        let (code, trouble) = refused(at, words);
        assert!(
            code == 2 && trouble.contains("expected a logbook at `l.db`, found no such file"),
            "{words:?}: {trouble}"
        );
    }
    let usual = |verb: &[&str]| {
        let mut command = Command::cargo_bin("doldrum").expect("the program");
        command.current_dir(at).env("XDG_DATA_HOME", at).env("HOME", at).env("LOCALAPPDATA", at);
        command.arg("logbook").args(verb).arg("--knowledge").arg(small_engine::folder()).output().expect("it runs")
    };
    let listed = usual(&["list"]);
    assert!(listed.status.success() && listed.stdout == b"The logbook is empty.\n", "{listed:?}");
    // Of no jobs nothing is learned, and no file says so.
    let learned = usual(&["learn", "--output", "n"]);
    assert!(
        String::from_utf8_lossy(&learned.stderr).contains("expected jobs to learn from, found none"),
        "{learned:?}"
    );
    assert_eq!(learned.status.code(), Some(2));
    assert_eq!(fs::read_dir(at).expect("it lists").count(), 1, "nothing was made");
}

/// Labor alone beside a plan with parts in it says nothing: like is compared with like, and what lacks is told.
#[test]
fn what_it_came_to_is_told_only_where_the_parts_are_known() {
    let folder = with_case();
    let at = folder.path();
    let job = CASE.replace("screen-clogged", "plug-dead").replace("rm-screens", "rm-plugs");
    fs::write(at.join("job.yaml"), job).expect("it can be written");
    let told = said(at, &["add", "job.yaml", "--minutes", "95"]);
    assert!(told.contains("the parts that were fitted"), "{told}");
    let summary = said(at, &["summary"]);
    assert!(summary.contains("1 job left out, for parts or prices are missing"), "{summary}");
    assert!(!summary.contains("planned"), "{summary}");
    let told = said(at, &["add", "job.yaml", "--part", "2 x spark plug", "--amend"]);
    assert!(told.contains("the price, so what it came to is not known") && told.contains("spark plug"), "{told}");
    let told = said(at, &["add", "job.yaml", "--part", "2 x spark plug = 5", "--amend"]);
    assert!(!told.contains("MISSING"), "{told}");
    // An hour and 35 minutes at 90, and 10 for parts: 152.50.
    let summary = said(at, &["summary"]);
    assert!(summary.contains("$153 spent") && !summary.contains("left out"), "{summary}");
    // None used is said, too.
    let told = said(at, &["add", "job.yaml", "--part", "none = 0", "--amend"]);
    assert!(!told.contains("MISSING"), "{told}");
}

/// The program is killed at random moments while it adds and imports. Whatever was called added is there, every job is
/// whole, of an import all or nothing.
#[test]
fn killed_at_any_moment_it_holds_whole_jobs() {
    let folder = with_case();
    let at = folder.path();
    let batch: Vec<Record> = (0..300).map(|n| Record { note: Some("x".repeat(2_000)), ..record(n) }).collect();
    let (mut acknowledged, mut killed) = (0, 0);
    let began = Instant::now();
    // A walk through the first milliseconds of the program, so that every stage is met.
    for round in 0u64..60 {
        if began.elapsed() > Duration::from_secs(12) {
            break;
        }
        let is_import = round % 3 == 2;
        let name = format!("job-{round}.yaml");
        fs::write(at.join(&name), CASE.replace("Barn-find", &format!("Job {round}"))).expect("it can be written");
        let lines: Vec<Record> =
            batch.iter().map(|r| Record { id: format!("{round:016x}{}", &r.id[16..]), ..r.clone() }).collect();
        fs::write(at.join("batch.jsonl"), json_lines(&lines, Notes::Sent)).expect("it can be written");
        let words = if is_import { vec!["import", "batch.jsonl"] } else { vec!["add", name.as_str()] };
        let mut child = command(at, &words).stdout(Stdio::piped()).stderr(Stdio::null()).spawn().expect("it starts");
        std::thread::sleep(Duration::from_micros(1_000 + (round * 7_919) % 60_000));
        // On Unix this is SIGKILL.
        let _ = child.kill();
        let output = child.wait_with_output().expect("it ends");
        killed += usize::from(!output.status.success());
        let told = String::from_utf8_lossy(&output.stdout).contains("added");
        acknowledged += if told { if is_import { 300 } else { 1 } } else { 0 };
        if !at.join("l.db").exists() {
            assert_eq!(acknowledged, 0);
            continue;
        }
        let entries = Logbook::open(&at.join("l.db")).expect("it opens").entries().expect("every job is whole");
        let imported = entries.iter().filter(|e| e.record.note.is_some()).count();
        assert!(imported % 300 == 0, "{imported} of imports of 300");
        assert!(entries.len() >= acknowledged, "{} of {acknowledged} that were called added", entries.len());
    }
    let check: String = rusqlite::Connection::open(at.join("l.db"))
        .and_then(|c| c.query_row("PRAGMA integrity_check", [], |row| row.get(0)))
        .expect("it answers");
    assert_eq!(check, "ok");
    println!("killed {killed} times; {acknowledged} jobs called added");
    assert!(killed > 5 && acknowledged > 0, "killed {killed} times, {acknowledged} called added");
}

#[cfg(unix)]
#[test]
fn the_file_is_for_its_owner_alone() {
    use std::os::unix::fs::PermissionsExt;
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("deep/er/l.db");
    Logbook::open(&path).expect("it opens").add(&record(1), noon(), Change::Refuse).expect("it writes");
    assert_eq!(fs::metadata(&path).expect("it is there").permissions().mode() & 0o777, 0o600);
}
