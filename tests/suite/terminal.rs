//! A person at a terminal: a pseudo-terminal, and the screen as they see it.

#![cfg(unix)]

use crate::small_engine::folder;
use portable_pty::{Child, CommandBuilder, MasterPty, PtySize, native_pty_system};
use std::io::{Read, Write};
use std::path::Path;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

fn some(n: u16) -> std::num::NonZero<u16> {
    std::num::NonZero::new(n).expect("a window has a size")
}

const PATIENCE: Duration = Duration::from_secs(30);

/// A program at a terminal of so many rows and columns.
struct Seat {
    child: Box<dyn Child + Send + Sync>,
    keys: Box<dyn Write + Send>,
    screen: Arc<Mutex<vt100::Parser>>,
    /// All that was written so far.
    written: Arc<Mutex<Vec<u8>>>,
    _master: Box<dyn MasterPty + Send>,
}

impl Seat {
    fn new(place: &Path, arguments: &[&str], rows: u16, cols: u16) -> Self {
        Self::with_base(place, Some(&folder()), arguments, rows, cols)
    }

    /// With another knowledge base than the small one; `None`: the built-in one.
    fn with_base(place: &Path, base: Option<&Path>, arguments: &[&str], rows: u16, cols: u16) -> Self {
        let mut command = CommandBuilder::new(env!("CARGO_BIN_EXE_doldrum"));
        if let Some(base) = base {
            command.args(["--knowledge", base.to_str().expect("a plain path")]);
        }
        command.args(arguments);
        Self::at(place, command, rows, cols)
    }

    /// A new case in a shell that writes down afterwards how the terminal is set.
    fn in_shell(place: &Path, rows: u16, cols: u16) -> Self {
        let mut command = CommandBuilder::new("sh");
        let program = env!("CARGO_BIN_EXE_doldrum");
        // A Ctrl-C that comes late must not end the question how the terminal was left.
        let script = "trap : INT; \"$0\" --knowledge \"$1\" triage c.yaml; trap '' INT; stty -a > modes";
        command.args(["-c", script, program, folder().to_str().expect("a plain path")]);
        Self::at(place, command, rows, cols)
    }

    fn at(place: &Path, mut command: CommandBuilder, rows: u16, cols: u16) -> Self {
        command.env("TERM", "xterm-256color");
        Self::started(place, command, rows, cols)
    }

    /// With the kind of terminal that the command's environment names.
    fn started(place: &Path, mut command: CommandBuilder, rows: u16, cols: u16) -> Self {
        let size = PtySize { rows, cols, pixel_width: 0, pixel_height: 0 };
        let pair = native_pty_system().openpty(size).expect("a terminal");
        command.cwd(place);
        let child = pair.slave.spawn_command(command).expect("it starts");
        drop(pair.slave);
        let mut reader = pair.master.try_clone_reader().expect("a reader");
        let keys = pair.master.take_writer().expect("a writer");
        let screen = Arc::new(Mutex::new(vt100::Parser::new(some(rows), some(cols), 200)));
        let seen = Arc::clone(&screen);
        let written = Arc::new(Mutex::new(Vec::new()));
        let heard = Arc::clone(&written);
        std::thread::spawn(move || {
            let mut bytes = [0; 4096];
            while let Ok(n @ 1..) = reader.read(&mut bytes) {
                heard.lock().expect("not poisoned").extend_from_slice(&bytes[..n]);
                seen.lock().expect("not poisoned").process(&bytes[..n]);
            }
        });
        Self { child, keys, screen, written, _master: pair.master }
    }

    fn text(&self) -> String {
        self.screen.lock().expect("not poisoned").screen().contents()
    }

    /// Waits until the screen shows a text.
    fn sees(&self, text: &str) {
        let start = Instant::now();
        while !self.text().contains(text) {
            assert!(start.elapsed() < PATIENCE, "waited for `{text}`, the screen is:\n{}", self.text());
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// Presses keys once the screen shows a text.
    fn then(&mut self, text: &str, keys: &str) {
        self.sees(text);
        self.keys.write_all(keys.as_bytes()).and_then(|()| self.keys.flush()).expect("the terminal takes keys");
    }

    fn end(&mut self) -> u32 {
        let start = Instant::now();
        loop {
            if let Some(status) = self.child.try_wait().expect("its end can be asked for") {
                std::thread::sleep(Duration::from_millis(100));
                return status.exit_code();
            }
            assert!(start.elapsed() < PATIENCE, "it does not end, the screen is:\n{}", self.text());
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// Ends it by the signal that cannot be caught.
    fn kill(&mut self) {
        // `kill` of the handle is SIGHUP first; the shell's own sends the right one.
        let id = self.child.process_id().expect("it runs").to_string();
        let killed = std::process::Command::new("kill").args(["-9", &id]).status().expect("kill is there");
        assert!(killed.success());
        self.end();
    }

    /// What comes first in every call, with nothing wrong.
    fn every_call(&mut self) {
        self.then("out of the water", "1");
        self.then("headache", "1");
        self.then("smell burning", "1");
        self.then("[ ]", "t");
        self.then("[x]", "1");
    }

    /// Through the intake to the first check.
    fn intake(&mut self) {
        self.then("[ ]", "t");
        self.then("[x]", "1");
        self.then("How is it laid out?", "\r");
        self.then("What is fitted?", "\r");
        self.then("What does the customer say?", "1");
        self.then("[1] Cranks", "\r");
        self.then("How long has it stood?", "2");
        self.then("Was a primer fitted later?", "s");
        self.sees("So far:");
    }
}

#[test]
fn from_the_first_sniff_to_the_work_order() {
    let place = tempfile::tempdir().expect("a folder");
    let mut seat = Seat::new(place.path(), &["triage", "--case", "c.yaml"], 24, 80);
    seat.intake();
    seat.then("So far:", "d");
    seat.then("Which repair was done?", "fuel screens\r");
    seat.then("Low-speed screw", "1 1/4\r");
    seat.then("Low-speed screw, turns out, rear", "s\r");
    seat.then("It is done", "1");
    // Fuel was opened: the hull is smelled before anything cranks.
    seat.then("Do you smell", "1");
    seat.then("is that gone?", "1");
    seat.then("Prove it twice", "1");
    assert_eq!(seat.end(), 0);
    let kept = std::fs::read_to_string(place.path().join("c.yaml")).expect("kept");
    assert!(kept.contains("repair: rm-screens"), "{kept}");
    assert!(seat.text().contains("Saved in c.yaml"), "{}", seat.text());
}

#[test]
fn every_question_fits_eighty_by_twenty_four_and_forty_columns() {
    for (rows, cols) in [(24, 80), (30, 40)] {
        let place = tempfile::tempdir().expect("a folder");
        let mut seat = Seat::new(place.path(), &["triage", "--case", "c.yaml"], rows, cols);
        seat.intake();
        // The first line is still there, so nothing has scrolled away, and the prompt stands below it.
        let text = seat.text();
        assert!(text.starts_with("Cranks, does not start"), "{text}");
        assert!(text.contains("\n> ") || text.ends_with('>'), "{text}");
        seat.then("So far:", "q");
        assert_eq!(seat.end(), 0);
    }
}

#[test]
fn ctrl_c_saves_shows_the_cursor_and_exits_130() {
    let place = tempfile::tempdir().expect("a folder");
    let mut seat = Seat::new(place.path(), &["triage", "--case", "c.yaml"], 24, 80);
    seat.intake();
    seat.then("So far:", "\u{3}");
    assert_eq!(seat.end(), 130);
    assert!(!seat.screen.lock().expect("not poisoned").screen().hide_cursor(), "the cursor is shown");
    let kept = std::fs::read_to_string(place.path().join("c.yaml")).expect("kept");
    assert!(kept.contains("cx-stood: a-winter"), "{kept}");
}

#[test]
fn ctrl_c_in_a_list_does_the_same() {
    let place = tempfile::tempdir().expect("a folder");
    let mut seat = Seat::new(place.path(), &["triage", "--case", "c.yaml"], 24, 80);
    seat.intake();
    seat.then("So far:", "o");
    seat.then("Which check?", "\u{3}");
    assert_eq!(seat.end(), 130);
    assert!(!seat.screen.lock().expect("not poisoned").screen().hide_cursor(), "the cursor is shown");
}

/// The key is not the only thing that sends the signal, and the signal also comes while no key is waited for: between
/// the two the wait must end all the same.
#[test]
fn the_signal_of_ctrl_c_ends_a_wait_for_a_key_in_order() {
    for (key, then) in [("", "So far:"), ("o", "Which check?")] {
        let place = tempfile::tempdir().expect("a folder");
        let mut seat = Seat::new(place.path(), &["triage", "--case", "c.yaml"], 24, 80);
        seat.intake();
        seat.then("So far:", key);
        seat.sees(then);
        interrupt(seat.child.process_id().expect("it runs"));
        assert_eq!(seat.end(), 130);
        assert!(!seat.screen.lock().expect("not poisoned").screen().hide_cursor(), "the cursor is shown");
    }
}

/// Sends the signal that Ctrl-C sends.
fn interrupt(id: u32) {
    let sent = std::process::Command::new("kill").args(["-INT", &id.to_string()]).status().expect("kill is there");
    assert!(sent.success());
}

/// Whoever asks by lines waits for a whole line: nothing but the signal ends that.
#[test]
fn ctrl_c_ends_an_interview_by_lines_too() {
    for (arguments, last, says) in [
        (["triage", "c.yaml"].as_slice(), "So far:", "Saved in c.yaml. Go on with: doldrum"),
        (["drill", "--plain"].as_slice(), "Enter begin", "Interrupted; not scored."),
    ] {
        let place = tempfile::tempdir().expect("a folder");
        let mut child = std::process::Command::new(env!("CARGO_BIN_EXE_doldrum"))
            .args(["--knowledge", folder().to_str().expect("a plain path")])
            .args(arguments)
            .current_dir(place.path())
            .stdin(std::process::Stdio::piped())
            .stdout(std::process::Stdio::piped())
            .stderr(std::process::Stdio::piped())
            .spawn()
            .expect("it starts");
        // Its input stays open: the end of it would end the interview.
        let mut keys = child.stdin.take().expect("its input");
        if arguments[0] == "triage" {
            keys.write_all(b"t\n1\n\n\n1\n\n2\ns\n").expect("it takes lines");
        }
        let mut shown = String::new();
        let mut output = child.stdout.take().expect("its output");
        while !shown.contains(last) {
            let mut bytes = [0; 4096];
            let n = output.read(&mut bytes).expect("it can be read");
            assert!(n > 0, "it ended with:\n{shown}");
            shown += &String::from_utf8_lossy(&bytes[..n]);
        }
        interrupt(child.id());
        let ended = child.wait_with_output().expect("it ends");
        assert_eq!(ended.status.code(), Some(130));
        let told = String::from_utf8_lossy(&ended.stderr);
        assert!(told.contains(says), "{told}");
        if arguments[0] == "triage" {
            let kept = std::fs::read_to_string(place.path().join("c.yaml")).expect("kept");
            assert!(kept.contains("cx-stood: a-winter"), "{kept}");
        }
    }
}

#[test]
fn arrows_choose_and_escape_goes_back() {
    let place = tempfile::tempdir().expect("a folder");
    let mut seat = Seat::new(place.path(), &["triage", "--case", "c.yaml"], 24, 80);
    seat.then("[ ]", "t");
    seat.then("[x]", "1");
    seat.then("How is it laid out?", "\u{1b}[B");
    seat.then("> One cylinder", "\r");
    seat.then("What is fitted?", "\u{1b}");
    seat.then("How is it laid out?", "q");
    assert_eq!(seat.end(), 0);
}

#[test]
fn a_killed_interview_loses_at_most_the_answer_being_typed_and_goes_on() {
    let place = tempfile::tempdir().expect("a folder");
    let mut seat = Seat::new(place.path(), &["triage", "--case", "c.yaml"], 24, 80);
    seat.intake();
    seat.kill();
    let kept = std::fs::read_to_string(place.path().join("c.yaml")).expect("kept");
    assert!(kept.contains("symptoms: [sy-no-start]") && kept.contains("cx-stood: a-winter"), "{kept}");
    let mut seat = Seat::new(place.path(), &["triage", "--case", "c.yaml"], 24, 80);
    seat.sees("Going on where you stopped: 1 answer so far");
    seat.then("[ ]", "t");
    seat.then("[x]", "1");
    seat.then("So far:", "q");
    assert_eq!(seat.end(), 0);
}

#[test]
fn a_drill_from_its_complaint_to_its_debrief() {
    for (rows, cols) in [(24, 80), (30, 40)] {
        let place = tempfile::tempdir().expect("a folder");
        let mut seat = Seat::new(place.path(), &["drill", "--record", "me.json"], rows, cols);
        seat.then("Enter begin", "\r");
        seat.then("What do you do next?", "o");
        // Part of a name finds a check; b and Esc go back before its answer is seen.
        seat.then("Which check?", "smel\r");
        seat.then("What do you see to first?", "b");
        seat.then("What do you do next?", "1");
        seat.then("Which check?", "smel\r");
        seat.then("Air the craft", "1");
        seat.then("[x] Air", "\r");
        seat.then("behind it?", "worn\r");
        seat.then("How sure are you", "3");
        seat.then("Smell for fuel: ", "d");
        seat.then("Which repair?", "rings\r");
        seat.then("What do you see to first?", "\r");
        seat.then("As before: worn rings", "\r");
        seat.sees("The same drill again");
        assert_eq!(seat.end(), 0);
        let kept = std::fs::read_to_string(place.path().join("me.json")).expect("kept");
        assert!(kept.contains("\"score\""), "{kept}");
    }
}

#[test]
fn ctrl_c_in_a_drill_shows_the_cursor_and_exits_130() {
    let place = tempfile::tempdir().expect("a folder");
    let mut seat = Seat::new(place.path(), &["drill"], 24, 80);
    seat.then("Enter begin", "\r");
    seat.then("What do you do next?", "\u{3}");
    assert_eq!(seat.end(), 130);
    assert!(!seat.screen.lock().expect("not poisoned").screen().hide_cursor(), "the cursor is shown");
}

/// What was played of a long trial is not lost: it is reported and written as if no more had been asked for.
#[test]
fn ctrl_c_in_a_trial_reports_what_was_played() {
    let place = tempfile::tempdir().expect("a folder");
    let trial = ["trial", "--policy", "repairs-only", "--threads", "2", "--csv", "rows.csv", "--cases"];
    let mut seat = Seat::new(place.path(), &[&trial[..], &["1000000"]].concat(), 150, 100);
    seat.then("of 1000000 jobs", "\u{3}");
    assert_eq!(seat.end(), 130);
    let rows = |file: &str| std::fs::read_to_string(place.path().join(file)).expect("written");
    let stopped = rows("rows.csv");
    let last = stopped.lines().last().expect("rows");
    let played = last.split(',').next().and_then(|job| job.parse::<usize>().ok()).expect("a job") + 1;
    assert!(seat.text().contains("stopped after"), "{}", seat.text());
    let asked_for = played.to_string();
    let mut whole = Seat::new(place.path(), &[&trial[..6], &["again.csv", "--cases", &asked_for]].concat(), 40, 100);
    assert_eq!(whole.end(), 0);
    assert_eq!(stopped, rows("again.csv"));
}

/// On the phone: the script on the left and what is behind it on the right where there is room, else beneath.
#[test]
fn the_phone_has_two_columns_in_a_wide_window_and_one_in_a_narrow_one() {
    for (rows, cols) in [(30, 100), (24, 80)] {
        let place = tempfile::tempdir().expect("a folder");
        let mut seat = Seat::with_base(place.path(), None, &["triage", "c.yaml", "--for", "owner"], rows, cols);
        seat.then("out of the water", "1");
        seat.then("headache", "1");
        seat.then("smell burning", "1");
        seat.sees("ck-smell-hull");
        let text = seat.text();
        let script = text.lines().find(|line| line.contains("Say:")).expect("a script");
        assert_eq!(script.contains(" | "), cols >= 100, "{text}");
        assert!(
            text.lines().next().is_some_and(|line| line.starts_with("New job")),
            "nothing has scrolled away: {text}"
        );
        seat.then("ck-smell-hull", "q");
        assert_eq!(seat.end(), 0);
    }
}

/// Where there is no room for the steps of a check that makes sparks, it is not answered by the question alone.
#[test]
fn steps_that_found_no_room_are_pointed_out_before_an_answer() {
    let place = tempfile::tempdir().expect("a folder");
    let file = place.path().join("c.yaml");
    let case = "format: 1\nknowledge: {id: small-engine}\nsymptoms: [sy-no-start]\nlog:\n  - {check: ck-smell, outcome: none, \
                aired: 10 min}\n";
    let answered = || std::fs::read_to_string(&file).expect("kept").contains("ck-plug-look");
    for rows in [16, 40] {
        std::fs::write(&file, case).expect("written");
        let mut seat = Seat::new(place.path(), &["triage", "c.yaml"], rows, 80);
        seat.then("[ ]", "t");
        seat.then("[x]", "1");
        seat.then("So far:", "o");
        seat.then("Which check?", "spark plug\r");
        seat.then("How do the plugs look?", "t");
        if rows == 16 {
            seat.sees("2 steps: h shows them.");
            assert!(!seat.text().contains("Pull the plugs."), "{}", seat.text());
            seat.then("[x]", "1");
            seat.sees("First read how it is done");
            assert!(!answered());
            seat.then("First read how it is done", "h");
            seat.then("Spark plug after cranking", "b");
            seat.then("front: ?", "1");
        } else {
            seat.sees("Pull the plugs.");
            seat.then("[x]", "1");
        }
        seat.then("front: Dry", "1");
        seat.then("So far:", "q");
        assert_eq!(seat.end(), 0);
        assert!(answered());
    }
}

/// More complaints than digits: each has one number on whatever page it stands, and several are taken at once.
#[test]
fn a_long_list_keeps_its_numbers_from_page_to_page() {
    let place = tempfile::tempdir().expect("a folder");
    let mut seat = Seat::with_base(place.path(), None, &["triage", "c.yaml", "--layout", "twin-each"], 24, 80);
    seat.then("[ ]", "t");
    seat.then("[x]", "1");
    seat.then("What is fitted?", "\r");
    seat.sees("m more]");
    let number = |text: &str, of: &str| {
        let line = text.lines().find(|line| line.contains(of)).unwrap_or_else(|| panic!("no {of}:\n{text}"));
        line.split_whitespace().next().expect("a number").to_owned()
    };
    let knowledge = crate::hand_over::watercraft();
    let titles: Vec<&str> = knowledge.symptoms.iter().map(|(_, symptom)| symptom.title.as_str()).take(14).collect();
    assert_eq!(number(&seat.text(), titles[2]), "3");
    seat.then("What does the customer say?", "m");
    seat.sees("[2 of");
    assert_eq!(number(&seat.text(), titles[12]), "13");
    // Both by their numbers, from a page that shows only one of them.
    seat.then(titles[12], "13, 3\r");
    seat.then(&format!("[2] {}", titles[2]), "q");
    assert_eq!(seat.end(), 0);
    let kept = std::fs::read_to_string(place.path().join("c.yaml")).expect("kept");
    let ids: Vec<&str> = knowledge.symptoms.ids().collect();
    assert!(kept.contains(&format!("symptoms: [{}, {}]", ids[12], ids[2])), "{kept}");
}

/// Whoever wants no color says so once for all programs; a terminal that can do nothing is asked by lines.
#[test]
fn no_color_and_a_dumb_terminal_are_heeded() {
    let place = tempfile::tempdir().expect("a folder");
    for (name, value, colored, by_lines) in
        [("NO_COLOR", "", true, false), ("NO_COLOR", "1", false, false), ("TERM", "dumb", false, true)]
    {
        let mut command = CommandBuilder::new(env!("CARGO_BIN_EXE_doldrum"));
        command.args(["--knowledge", folder().to_str().expect("a plain path"), "triage", "c.yaml"]);
        command.env_remove("NO_COLOR");
        command.env("TERM", "xterm-256color");
        command.env(name, value);
        let mut seat = Seat::started(place.path(), command, 24, 80);
        seat.then("[ ]", if by_lines { "q\r" } else { "q" });
        assert_eq!(seat.end(), 0);
        let written = String::from_utf8_lossy(&seat.written.lock().expect("not poisoned")).into_owned();
        // Select Graphic Rendition: a number, or several, and an m.
        let paints = written.split("\u{1b}[").skip(1).any(|code| {
            code.trim_start_matches(|c: char| c.is_ascii_digit() || c == ';').starts_with('m') && !code.starts_with('m')
        });
        assert_eq!(paints, colored, "{name}={value}: {written:?}");
        assert_eq!(!written.contains("\u{1b}[2J"), by_lines, "{name}={value}: {written:?}");
    }
}

/// A call that breaks off in the middle, undone and changed before, and goes on with nothing asked twice but what comes
/// first in every call.
#[test]
fn a_phone_call_killed_in_the_middle_goes_on() {
    for (rows, cols) in [(30, 110), (24, 80), (24, 60)] {
        let place = tempfile::tempdir().expect("a folder");
        let arguments = ["triage", "c.yaml", "--for", "owner", "--layout", "single"];
        let mut seat = Seat::with_base(place.path(), None, &arguments, rows, cols);
        seat.every_call();
        seat.then("What is fitted?", "\r");
        // Of more than nine complaints the number is typed, then Enter.
        seat.then("What does the customer say?", "3\r");
        seat.then("[1] Cranks", "\r");
        seat.then("history 1 of", "s");
        // What the owner may say stands beside the answer. It is answered, taken back, and answered again.
        seat.sees("question 2");
        assert!(
            seat.text().lines().any(|line| line.contains("  1  ") && line.contains(": \u{201c}")),
            "{}",
            seat.text()
        );
        seat.then("question 2", "1");
        seat.then("question 3", "b");
        seat.then("question 2", "1");
        seat.sees("question 3");
        seat.kill();
        let kept = std::fs::read_to_string(place.path().join("c.yaml")).expect("kept");
        let answers: Vec<&str> = kept.split("check: ").skip(1).filter_map(|rest| rest.split(',').next()).collect();
        assert_eq!((answers.len(), answers[0]), (2, "ck-smell-hull"), "{kept}");
        let mut seat = Seat::with_base(place.path(), None, &arguments, rows, cols);
        seat.every_call();
        seat.sees("question 4");
        assert!(!seat.text().contains(answers[1]), "asked twice:\n{}", seat.text());
        seat.then("question 4", "g");
        seat.then("Bring it in", "1");
        assert_eq!(seat.end(), 0);
        assert!(place.path().join("c.shop.yaml").exists() && place.path().join("c.sheet.md").exists());
    }
}

/// A drill that breaks off counts for nothing: its record stays whole, and its seed begins it anew.
#[test]
fn a_drill_killed_in_the_middle_leaves_its_record_whole() {
    let place = tempfile::tempdir().expect("a folder");
    let record = place.path().join("me.json");
    std::fs::write(&record, "{\"format\": 1, \"level\": \"single\", \"drills\": []}\n").expect("written");
    let before = std::fs::read_to_string(&record).expect("there");
    for (rows, cols) in [(24, 80), (24, 50)] {
        let mut seat = Seat::new(place.path(), &["drill", "--seed", "7", "--record", "me.json"], rows, cols);
        seat.then("Enter begin", "\r");
        seat.then("What do you do next?", "o");
        seat.sees("Which check?");
        seat.kill();
        assert_eq!(std::fs::read_to_string(&record).expect("there"), before);
    }
    let mut seat = Seat::new(place.path(), &["drill", "--seed", "7", "--record", "me.json"], 24, 80);
    seat.then("Enter begin", "q");
    assert_eq!(seat.end(), 0);
}

/// Whatever is pressed, the terminal is handed back as it was: cooked, its cursor shown, on its first screen.
#[test]
fn random_keys_never_leave_a_broken_terminal() {
    const KEYS: &[u8] = b"1112233ttt\r\r\rbnco?rhxpdegiaks=, \x1b\x7fw9#m!";
    for seed in 0_usize..24 {
        let place = tempfile::tempdir().expect("a folder");
        let (rows, cols) = [(24, 80), (24, 40), (30, 100)][seed % 3];
        let mut seat = Seat::in_shell(place.path(), rows, cols);
        seat.sees("Before anything else");
        let mut state = seed as u64 * 7919 + 17;
        for _ in 0..30 {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            let key = KEYS[(state >> 33) as usize % KEYS.len()];
            seat.keys.write_all(&[key]).and_then(|()| seat.keys.flush()).expect("the terminal takes keys");
            std::thread::sleep(Duration::from_millis(12));
        }
        // Ctrl-C ends it wherever it is; where it has ended already, the shell waits for a line.
        let start = Instant::now();
        while seat.child.try_wait().expect("its end can be asked for").is_none() {
            assert!(start.elapsed() < PATIENCE, "seed {seed}: it does not end, the screen is:\n{}", seat.text());
            let _ = seat.keys.write_all(b"\x03").and_then(|()| seat.keys.flush());
            std::thread::sleep(Duration::from_millis(100));
        }
        std::thread::sleep(Duration::from_millis(50));
        let screen = seat.screen.lock().expect("not poisoned");
        let settings = screen.screen().contents();
        assert!(!settings.contains("panicked"), "seed {seed}: {settings}");
        assert!(!screen.screen().hide_cursor(), "seed {seed}: the cursor is hidden");
        assert!(!screen.screen().alternate_screen(), "seed {seed}: it is still on the other screen");
        let modes = std::fs::read_to_string(place.path().join("modes")).expect("what the terminal is set to");
        for mode in ["icanon", "echo", "isig"] {
            assert!(modes.split_whitespace().any(|word| word == mode), "seed {seed}: {mode} is off: {modes}");
        }
    }
}
