//! The page in a real browser, driven over the `WebDriver` protocol: the script, the width of a phone, and what the content
//! policy lets through. Run by `.ci/run`, which installs the browser; by hand: `cargo test --test suite browser -- --ignored`.

use crate::serve::serving;
use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Child, ChildStdout, Command, Stdio};
use std::time::{Duration, Instant};

/// The name under which the protocol hands over an element.
const ELEMENT: &str = "element-6066-11e4-a52e-4f735466cecf";

/// A browser and the program that drives it.
struct Browser {
    driver: Child,
    #[expect(dead_code, reason = "only held open")]
    talk: BufReader<ChildStdout>,
    port: u16,
    session: String,
}

impl Browser {
    /// Starts one, as wide as a phone.
    fn start() -> Self {
        let mut driver = Command::new("chromedriver")
            .arg("--port=0")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("chromedriver is installed: apt-get install chromium-driver");
        // Kept open as long as the program runs: it goes on talking.
        let mut talk = BufReader::new(driver.stdout.take().expect("piped"));
        let port = talk
            .by_ref()
            .lines()
            .map_while(Result::ok)
            .filter_map(|line| {
                line.split_once("successfully on port ").map(|(_, rest)| rest.trim_end_matches('.').to_owned())
            })
            .find_map(|port| port.parse().ok())
            .expect("it says its port");
        let mut browser = Self { driver, talk, port, session: String::new() };
        let options = json!({
            "args": ["--headless=new", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run"],
            "mobileEmulation": {"deviceMetrics": {"width": 390, "height": 800, "pixelRatio": 1.0}},
        });
        let wanted = json!({"capabilities": {"alwaysMatch": {
            "goog:chromeOptions": options, "goog:loggingPrefs": {"browser": "ALL"}
        }}});
        let session = browser.call("POST", "/session", &wanted);
        session["sessionId"].as_str().expect("a session").clone_into(&mut browser.session);
        browser
    }

    fn call(&self, method: &str, path: &str, body: &Value) -> Value {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).expect("connected");
        stream.set_read_timeout(Some(Duration::from_mins(1))).expect("a time limit");
        let body = if method == "POST" { body.to_string() } else { String::new() };
        let head = format!(
            "{method} {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\nContent-Length: {}",
            body.len()
        );
        stream.write_all(format!("{head}\r\nContent-Type: application/json\r\n\r\n{body}").as_bytes()).expect("sent");
        let mut reader = BufReader::new(stream);
        let mut length = 0;
        loop {
            let mut line = String::new();
            reader.read_line(&mut line).expect("a header");
            if let Some(value) = line.to_ascii_lowercase().strip_prefix("content-length:") {
                length = value.trim().parse().expect("a length");
            }
            if line.trim().is_empty() {
                break;
            }
        }
        let mut bytes = vec![0; length];
        reader.read_exact(&mut bytes).expect("a body");
        let mut answer: Value = serde_json::from_slice(&bytes).expect("JSON");
        answer["value"].take()
    }

    fn post(&self, path: &str, body: &Value) -> Value {
        self.call("POST", &format!("/session/{}{path}", self.session), body)
    }

    fn open(&self, url: &str) {
        self.post("/url", &json!({ "url": url }));
    }

    fn title(&self) -> String {
        self.call("GET", &format!("/session/{}/title", self.session), &Value::Null)
            .as_str()
            .unwrap_or_default()
            .to_owned()
    }

    /// Presses the first button that fits; whether there is one.
    fn press(&self, selector: &str) -> bool {
        let found = self.post("/element", &json!({"using": "css selector", "value": selector}));
        let Some(id) = found[ELEMENT].as_str() else { return false };
        let id = id.to_owned();
        self.post(&format!("/element/{id}/click"), &json!({}));
        true
    }

    /// Waits until the page has another title.
    fn moved_from(&self, title: &str) -> String {
        let until = Instant::now() + Duration::from_secs(20);
        while Instant::now() < until {
            let now = self.title();
            if now != title && !now.is_empty() {
                return now;
            }
            std::thread::sleep(Duration::from_millis(50));
        }
        panic!("the page still says `{title}`");
    }

    fn run(&self, script: &str) -> Value {
        self.post("/execute/sync", &json!({"script": script, "args": []}))
    }

    /// What the browser complained of.
    fn complaints(&self) -> Vec<String> {
        let log = self.post("/se/log", &json!({"type": "browser"}));
        let lines = log.as_array().cloned().unwrap_or_default();
        lines
            .iter()
            .filter_map(|line| line["message"].as_str())
            .filter(|line| !line.contains("favicon"))
            .map(str::to_owned)
            .collect()
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        if !self.session.is_empty() {
            self.call("DELETE", &format!("/session/{}", self.session), &Value::Null);
        }
        let _ = self.driver.kill();
        let _ = self.driver.wait();
    }
}

/// From the first sniff to the complaint, by pressing what a person would. Without the script a browser sends the same
/// forms; `serve` does so.
#[test]
#[ignore = "needs a browser; .ci/run installs one"]
fn the_script_swaps_the_question_in_place() {
    serving(|client| {
        let browser = Browser::start();
        browser.open(&client.link);
        let mut title = browser.title();
        assert!(title.ends_with('?'), "{title}");
        // Whether a page load happened can be seen by what a page load forgets.
        browser.run("window.kept = true");
        while browser.press("button[value=t]") {
            std::thread::sleep(Duration::from_millis(400));
        }
        for _ in 0..6 {
            if title.contains("customer") {
                break;
            }
            assert!(browser.press("button[value=enter]") || browser.press("button[name=pick]"), "{title}");
            title = browser.moved_from(&title);
        }
        assert!(title.contains("customer"), "{title}");
        assert_eq!(browser.run("return window.kept === true"), Value::Bool(true), "a page was loaded");
        // Nothing is wider than the phone, and nothing was refused by the page's own policy.
        let wide = browser.run("return document.documentElement.scrollWidth - window.innerWidth");
        assert!(wide.as_i64().is_some_and(|wide| wide <= 0), "{wide} pixels too wide");
        assert_eq!(browser.complaints(), Vec::<String>::new());
        let color = browser.run("return getComputedStyle(document.querySelector('button')).minHeight");
        assert_ne!(color.as_str(), Some("0px"), "the style sheet was taken");
    });
}
