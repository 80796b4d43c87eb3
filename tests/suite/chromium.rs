//! A real browser, driven over the `WebDriver` protocol. `.ci/run` installs it.

use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Child, ChildStdout, Command, Stdio};
use std::time::{Duration, Instant};

/// The name under which the protocol hands over an element.
const ELEMENT: &str = "element-6066-11e4-a52e-4f735466cecf";

/// Which colors a page is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Light {
    /// Dark on light.
    Day,
    /// Light on dark.
    Night,
}

/// A browser and the program that drives it.
pub struct Browser {
    driver: Child,
    #[expect(dead_code, reason = "only held open")]
    talk: BufReader<ChildStdout>,
    port: u16,
    session: String,
}

impl Browser {
    /// Starts one, as wide as a phone.
    pub fn start() -> Self {
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
            "mobileEmulation": {"deviceMetrics": {"width": 390, "height": 844, "pixelRatio": 1.0}},
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

    pub fn post(&self, path: &str, body: &Value) -> Value {
        self.call("POST", &format!("/session/{}{path}", self.session), body)
    }

    pub fn open(&self, url: &str) {
        self.post("/url", &json!({ "url": url }));
    }

    pub fn title(&self) -> String {
        self.call("GET", &format!("/session/{}/title", self.session), &Value::Null)
            .as_str()
            .unwrap_or_default()
            .to_owned()
    }

    /// Presses the first button that fits; whether there is one. As a person does it is brought to the middle first, or what
    /// is always in view may lie over it.
    pub fn press(&self, selector: &str) -> bool {
        let found = self.post("/element", &json!({"using": "css selector", "value": selector}));
        let Some(id) = found[ELEMENT].as_str() else { return false };
        let id = id.to_owned();
        self.run(&format!("document.querySelector(\"{selector}\").scrollIntoView({{block: 'center'}})"));
        let pressed = self.post(&format!("/element/{id}/click"), &json!({}));
        assert!(pressed.get("error").is_none(), "`{selector}` cannot be pressed: {pressed}");
        true
    }

    /// Presses keys, each down and up.
    pub fn keys(&self, keys: &str) {
        let strokes: Vec<Value> = keys
            .chars()
            .flat_map(|key| [json!({"type": "keyDown", "value": key}), json!({"type": "keyUp", "value": key})])
            .collect();
        self.post("/actions", &json!({"actions": [{"type": "key", "id": "keys", "actions": strokes}]}));
    }

    /// Goes by the tabulator to the first thing that fits and presses Enter; whether it could be reached.
    pub fn reach(&self, selector: &str) -> bool {
        for _ in 0..200 {
            self.keys("\u{e004}");
            let there = format!("return document.activeElement === document.querySelector(\"{selector}\")");
            if self.run(&there) == Value::Bool(true) {
                self.keys("\u{e007}");
                return true;
            }
        }
        false
    }

    /// Whether something that fits is on the page.
    pub fn has(&self, selector: &str) -> bool {
        self.run(&format!("return document.querySelector(\"{selector}\") !== null")) == Value::Bool(true)
    }

    /// Waits until a script says something else than before.
    pub fn changed(&self, script: &str, before: &Value) -> Value {
        let until = Instant::now() + Duration::from_secs(20);
        while Instant::now() < until {
            let now = self.run(script);
            if now != *before && !now.is_null() {
                return now;
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        panic!("the page still says {before}");
    }

    /// Waits until the page has another title.
    pub fn moved_from(&self, title: &str) -> String {
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

    pub fn run(&self, script: &str) -> Value {
        self.post("/execute/sync", &json!({"script": script, "args": []}))
    }

    /// Runs a script that hands its result to its last argument.
    pub fn run_and_wait(&self, script: &str) -> Value {
        self.post("/execute/async", &json!({"script": script, "args": []}))
    }

    /// Asks the browser's own protocol for something that the other has no word for.
    fn ask(&self, command: &str, with: &Value) -> Value {
        self.post("/goog/cdp/execute", &json!({"cmd": command, "params": with}))
    }

    /// By day or by night, as the system around the browser would have it.
    pub fn light(&self, light: Light) {
        let value = if light == Light::Night { "dark" } else { "light" };
        let features = json!([{"name": "prefers-color-scheme", "value": value}]);
        self.ask("Emulation.setEmulatedMedia", &json!({ "features": features }));
    }

    /// As wide as a phone or as a screen on a desk.
    pub fn width(&self, pixels: u32) {
        let metrics = json!({"width": pixels, "height": 844, "deviceScaleFactor": 1, "mobile": pixels < 600});
        self.ask("Emulation.setDeviceMetricsOverride", &metrics);
    }

    /// What the browser complained of.
    pub fn complaints(&self) -> Vec<String> {
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
