//! Every kind of page, read by `axe-core` in a real browser, by day and by night, on a phone and on a desk: no violation of any
//! of its rules. Run by `.ci/run`, which installs both; by hand, where they are:
//! `npm install --prefix target/axe --no-save axe-core && cargo test --test suite accessible -- --ignored`.

use crate::chromium::{Browser, Light};
use crate::serve::{Client, Page, serving_base, serving_jobs};
use crate::watercraft;
use assert_cmd::Command;
use doldrum::serve::Jobs;
use serde_json::Value;
use std::collections::BTreeSet;
use std::fs;
use std::path::PathBuf;

/// Where the rules are: a file of the package `axe-core`.
fn rules() -> String {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("target/axe/node_modules/axe-core/axe.min.js");
    fs::read_to_string(&path).unwrap_or_else(|error| panic!("no axe-core in {}: {error}", path.display()))
}

/// Who looks at pages, and what was found so far.
struct Reader {
    browser: Browser,
    rules: String,
    read: BTreeSet<String>,
    wrong: Vec<String>,
}

impl Reader {
    fn start() -> Self {
        Self { browser: Browser::start(), rules: rules(), read: BTreeSet::new(), wrong: Vec::new() }
    }

    /// Opens a page and reads it in every light and width.
    fn read(&mut self, url: &str, kind: &str) {
        self.browser.open(url);
        self.read_open(kind);
    }

    /// Reads the page that is open.
    fn read_open(&mut self, kind: &str) {
        self.browser.run(&self.rules);
        for (light, width) in [(Light::Day, 390), (Light::Night, 390), (Light::Day, 1280), (Light::Night, 1280)] {
            self.browser.light(light);
            self.browser.width(width);
            let found = self.browser.run_and_wait(
                "const done = arguments[arguments.length - 1];
                 axe.run(document, {resultTypes: ['violations']}).then(
                   (result) => done({rules: result.passes.length, violations: result.violations.map(
                     (v) => v.id + ': ' + v.nodes.map((n) => n.html.slice(0, 200)).join(' | '))}),
                   (error) => done({rules: 0, violations: [String(error)]}));",
            );
            // A page of which nothing could be said would be as silent as a good one.
            assert!(found["rules"].as_u64().is_some_and(|rules| rules > 10), "{kind}: {found}");
            let violations = found["violations"].as_array().cloned().unwrap_or_default();
            self.wrong.extend(violations.iter().map(|v| format!("{kind}, {light:?}, {width} wide: {v}")));
            let wide = self.browser.run("return document.documentElement.scrollWidth - window.innerWidth");
            if wide.as_i64().is_none_or(|wide| wide > 0) {
                self.wrong.push(format!("{kind}, {width} wide: {wide} pixels too wide"));
            }
        }
        self.read.insert(kind.to_owned());
    }

    fn finish(self, kinds: &[&str]) {
        assert!(self.wrong.is_empty(), "{} violations:\n{}", self.wrong.len(), self.wrong.join("\n"));
        for kind in kinds {
            assert!(self.read.contains(*kind), "no page of the kind `{kind}` was read");
        }
    }
}

/// A walk through an interview that reads every page it comes to for the first time.
struct Walk<'a> {
    reader: Reader,
    client: &'a Client,
}

impl Walk<'_> {
    fn read(&mut self, kind: &str) {
        if !self.reader.read.contains(kind) {
            self.reader.read(&self.client.link, kind);
        }
    }

    /// Takes a page that lies over the question, reads it and goes back.
    fn aside(&mut self, page: &Page, key: &str, kind: &str) -> Page {
        if !page.has(key) || self.reader.read.contains(kind) {
            return page.clone();
        }
        let letter = key.replace('?', "%3F").replace('#', "%23");
        let over = self.client.answer(page, &format!("key={letter}"));
        self.read(kind);
        self.client.answer(&over, if over.has("enter") { "key=enter" } else { "key=b" })
    }

    /// From the first question to the bench, the first answer to each.
    fn begin(&mut self) -> Page {
        let mut page = self.client.page();
        self.read("start");
        for _ in 0..60 {
            let kind = match page.title.as_str() {
                title if title.starts_with("How is it laid") => "craft",
                title if title.starts_with("What is fitted") => "options",
                title if title.contains("customer") => "complaint",
                _ if page.has("r") => return page,
                _ if page.has("s") => "history",
                _ => "question of safety",
            };
            self.read(kind);
            page = if page.has("t") {
                self.client.answer(&page, "key=t")
            } else if kind == "complaint" && !page.picks.iter().any(|pick| pick.starts_with("[1]")) {
                self.client.answer(&page, "pick=0")
            } else if page.has("enter") {
                self.client.answer(&page, "key=enter")
            } else {
                self.client.answer(&page, "pick=0")
            };
        }
        panic!("it does not come to the bench: {page:?}");
    }

    /// Along the bench to its end.
    fn go_on(&mut self, mut page: Page) {
        for _ in 0..60 {
            let kind = match () {
                () if page.words.contains("Go on with this job") => "end",
                () if page.has("t") => "ticks",
                () if page.writes => "reading",
                () if page.picks.is_empty() => "repair",
                () => "question",
            };
            self.read(kind);
            if kind == "end" {
                return;
            }
            if !page.picks.is_empty() && !self.reader.read.contains("look ahead") {
                self.reader.read(&self.client.url(&self.client.at_job("/what-if?pick=0")), "look ahead");
            }
            for (key, kind) in [
                ("?", "why"),
                ("r", "what we know"),
                ("h", "how"),
                ("o", "other check"),
                ("d", "repairs"),
                ("e", "answers"),
                ("x", "barred"),
                ("p", "plan over the question"),
                ("#", "pause"),
                ("i", "what if"),
                ("a", "several at once"),
            ] {
                page = self.aside(&page, key, kind);
            }
            page = if page.has("t") {
                self.client.answer(&page, "key=t")
            } else if page.writes && page.has("n") {
                self.client.answer(&page, "key=n")
            } else if page.picks.is_empty() {
                self.client.answer(&page, "key=enter")
            } else {
                self.client.answer(&page, "pick=0")
            };
        }
        panic!("it does not come to an end: {page:?}");
    }

    /// An answer to a page that is old, as the script shows it.
    fn stale(&mut self) {
        self.reader.browser.open(&self.client.link);
        self.reader
            .browser
            .run("for (const turn of document.querySelectorAll('input[name=turn]')) turn.value = 'old-1';");
        assert!(self.reader.browser.press("button[name=pick]"));
        for _ in 0..100 {
            if self.reader.browser.run("return document.querySelector('[role=alert]') !== null") == Value::Bool(true) {
                return self.reader.read_open("too late");
            }
            std::thread::sleep(std::time::Duration::from_millis(50));
        }
        panic!("an old page is not told so");
    }
}

#[test]
#[ignore = "needs a browser and axe-core; .ci/run installs them"]
fn no_page_of_the_interview_breaks_a_rule() {
    serving_base(
        &watercraft::knowledge(),
        "127.0.0.1:0",
        // A name that is wider than a phone.
        |case| case.title = Some("The neighbor's old red twin that stood in the barn".to_owned()),
        |client| {
            let mut walk = Walk { reader: Reader::start(), client };
            let page = walk.begin();
            walk.stale();
            walk.go_on(page);
            for (path, kind) in
                [("plan", "work order"), ("known", "known"), ("nowhere", "not found"), ("step", "no form")]
            {
                walk.reader.read(&format!("{}{path}", client.link), kind);
            }
            walk.reader.finish(&[
                "start",
                "craft",
                "options",
                "complaint",
                "history",
                "question",
                "reading",
                "why",
                "what we know",
                "how",
                "other check",
                "answers",
                "barred",
                "plan over the question",
                "look ahead",
                "end",
            ]);
        },
    );
}

/// Through a drill by the first of everything, each kind of screen read once.
fn through_a_drill(reader: &mut Reader, client: &Client, form: &str) {
    let begun = client.post_ours("/drill", form);
    let home = begun.led_to().expect("a drill is begun").to_owned();
    let mut page = client.page_at(&home);
    for _ in 0..60 {
        let kind = match page.title.as_str() {
            title if title.starts_with("Debrief") => "debrief",
            title if title.starts_with("What do you do") => "drill: choose",
            title if title.starts_with("What do you see to") => "drill: make ready",
            title if title.starts_with("Which") => "drill: the bench",
            title if title.starts_with("Before") => "drill: belief",
            title if title.starts_with("How sure") => "drill: how sure",
            title if title.contains("coach") => "drill: held",
            _ => "drill: brief",
        };
        if !reader.read.contains(kind) {
            reader.read(&client.url(&home), kind);
        }
        let done = match kind {
            "debrief" => return,
            "drill: belief" if page.picks.len() > 1 && !reader.read.contains("drill: how sure") => "pick=1",
            "drill: make ready" if !page.words.contains('\u{2611}') && !page.picks.is_empty() => "pick=0",
            "drill: choose" if reader.read.contains("drill: how sure") => "key=q",
            _ if page.has("enter") => "key=enter",
            _ => "pick=0",
        };
        page = client.answer_at(&home, &page, done);
    }
    panic!("it does not end: {page:?}");
}

#[test]
#[ignore = "needs a browser and axe-core; .ci/run installs them"]
fn no_page_beside_the_interview_breaks_a_rule() {
    let folder = tempfile::tempdir().expect("a folder");
    let jobs = Jobs::Folder(folder.path().to_owned());
    serving_jobs(&watercraft::knowledge(), "127.0.0.1:0", jobs, folder.path().join("doldrum-first.yaml"), |client| {
        let mut reader = Reader::start();
        reader.read(&client.url("/"), "no jobs");
        client.post_ours("/job", "title=Barn-find+twin&user=owner");
        reader.read(&client.url("/"), "jobs");
        reader.read(&client.url("/drill"), "drills");
        through_a_drill(&mut reader, client, "level=single&seed=7&coach=beside");
        reader.finish(&[
            "jobs",
            "drills",
            "drill: brief",
            "drill: choose",
            "drill: the bench",
            "drill: make ready",
            "drill: belief",
            "drill: how sure",
            "debrief",
        ]);
    });
}

#[test]
#[ignore = "needs a browser and axe-core; .ci/run installs them"]
fn no_page_that_stands_alone_breaks_a_rule() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut reader = Reader::start();
    for case in ["w01", "w03", "w05", "w06"] {
        for command in ["assess", "plan"] {
            let path = folder.path().join(format!("{case}-{command}.html"));
            let made = Command::cargo_bin("doldrum")
                .expect("the program is built")
                .args([command, &format!("tests/cases/{case}.yaml"), "--format", "html"])
                .output()
                .expect("it runs");
            assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
            fs::write(&path, made.stdout).expect("written");
            reader.read(&format!("file://{}", path.display()), &format!("{command} {case}"));
        }
    }
    reader.finish(&["assess w01", "plan w06"]);
}
