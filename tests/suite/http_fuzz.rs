//! Requests that no browser sends: bytes, headers, addresses and forms out of a hat. Each is answered, by a page or by a
//! refusal, soon; nothing of the program falls over, and nothing of a job is lost.
//!
//! A set number of cases in every run; more by hand: `DOLDRUM_FUZZ=100000 cargo test --test suite http_fuzz`.

use crate::serve::{Client, serving, to_the_complaint};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::time::{Duration, Instant};

/// Cases of each kind in every run.
const CASES: usize = 400;
/// The longest that any answer may take: a step of the small engine takes a fraction of it even on a busy machine.
const SOON: Duration = Duration::from_secs(8);

fn cases() -> usize {
    std::env::var("DOLDRUM_FUZZ").ok().and_then(|n| n.parse().ok()).unwrap_or(CASES)
}

/// Draws out of a hat.
struct Hat(ChaCha8Rng);

impl Hat {
    fn new(seed: u64) -> Self {
        Self(ChaCha8Rng::seed_from_u64(seed))
    }

    fn below(&mut self, n: usize) -> usize {
        (self.0.next_u64() % n as u64) as usize
    }

    fn one<'a>(&mut self, of: &[&'a str]) -> &'a str {
        of[self.below(of.len())]
    }

    fn bytes(&mut self, most: usize) -> Vec<u8> {
        let n = self.below(most + 1);
        (0..n).map(|_| self.below(256) as u8).collect()
    }

    /// Letters that mean something to somebody.
    fn letters(&mut self, most: usize) -> String {
        const SOME: [&str; 26] = [
            "a",
            "0",
            "%",
            "%2",
            "%00",
            "%ff",
            "%2f",
            "..",
            "/",
            "\\",
            "?",
            "&",
            "=",
            "+",
            ";",
            ":",
            "<",
            ">",
            "\"",
            "'",
            " ",
            "\t",
            "é",
            "\u{202e}",
            "9999999999999999999999",
            "-1",
        ];
        let n = self.below(most + 1);
        (0..n).map(|_| self.one(&SOME)).collect()
    }
}

/// What must hold of every answer.
fn check(client: &Client, request: &[u8], soon: Duration) -> u16 {
    let asked = Instant::now();
    let response = client.bytes(request);
    let took = asked.elapsed();
    let shown = String::from_utf8_lossy(&request[..request.len().min(400)]).into_owned();
    assert!(took < soon, "{took:?} for {shown:?}");
    assert!(response.status < 500, "{} for {shown:?}: {}", response.status, response.body);
    response.status
}

#[test]
fn bytes_out_of_a_hat_are_refused() {
    serving(|client| {
        let mut hat = Hat::new(1);
        for _ in 0..cases() {
            let mut request = match hat.below(3) {
                0 => hat.bytes(600),
                1 => [b"GET ".as_slice(), &hat.bytes(60), b" HTTP/1.1\r\nHost: x\r\n"].concat(),
                _ => {
                    let head = format!("GET / HTTP/1.1\r\nHost: {}\r\n", client.url("").trim_start_matches("http://"));
                    [head.as_bytes(), &hat.bytes(200)].concat()
                }
            };
            request.extend(b"\r\n\r\n");
            let status = check(client, &request, SOON);
            assert_ne!(status, 200, "{:?}", String::from_utf8_lossy(&request));
        }
        client.page();
    });
}

#[test]
fn addresses_and_headers_out_of_a_hat_are_answered() {
    const METHODS: [&str; 8] = ["GET", "POST", "HEAD", "PUT", "DELETE", "OPTIONS", "PATCH", "get"];
    const PATHS: [&str; 12] = [
        "/",
        "/job",
        "/job/",
        "/job/job",
        "/job/job/known",
        "/job/job/plan",
        "/job/job/what-if",
        "/job/job/step",
        "/drill",
        "/drill/",
        "/drill/x/step",
        "/style.css",
    ];
    const HEADERS: [&str; 10] = [
        "Origin",
        "Cookie",
        "Host",
        "Content-Type",
        "Content-Length",
        "Transfer-Encoding",
        "Sec-Fetch-Site",
        "Sec-Fetch-Mode",
        "Expect",
        "Connection",
    ];
    serving(|client| {
        let host = client.url("").trim_start_matches("http://").to_owned();
        let before = client.page();
        let mut hat = Hat::new(2);
        for _ in 0..cases() {
            let mut path = hat.one(&PATHS).to_owned();
            if hat.below(2) == 0 {
                path.push_str(&hat.letters(8));
            }
            if hat.below(2) == 0 {
                path = format!("{path}?{}={}", hat.one(&["pick", "text", "token", "x"]), hat.letters(6));
            }
            let mut request = format!("{} {path} HTTP/1.1\r\nHost: {host}\r\n", hat.one(&METHODS));
            for _ in 0..hat.below(4) {
                let value = if hat.below(3) == 0 { "0".to_owned() } else { hat.letters(6) };
                request.extend([hat.one(&HEADERS), ": ", &value, "\r\n"]);
            }
            request.push_str("\r\n");
            // A request that promises a body and sends none is given up after the time a browser has to say what it wants.
            check(client, request.as_bytes(), Duration::from_secs(15));
        }
        assert_eq!(client.page(), before, "nothing of it was an answer");
    });
}

#[test]
fn forms_out_of_a_hat_are_answers_or_refused() {
    const FIELDS: [&str; 9] = ["turn", "pick", "key", "text", "level", "seed", "coach", "title", "user"];
    const KEYS: [&str; 20] =
        ["b", "%3F", "r", "c", "n", "o", "d", "p", "t", "h", "x", "e", "s", "w", "%21", "%23", "enter", "z", "", "0"];
    serving(|client| {
        to_the_complaint(client);
        let mut hat = Hat::new(3);
        for _ in 0..cases() {
            let path = hat.one(&[
                "/job/job/step",
                "/job/job/step",
                "/job/job/step",
                "/drill/x/step",
                "/job",
                "/job/other/step",
            ]);
            let turn = client.page().turn;
            let mut fields = vec![format!("turn={turn}")];
            match hat.below(5) {
                0 => fields.push(format!("key={}", hat.one(&KEYS))),
                1 => fields.push(format!("pick={}", hat.below(12))),
                2 => fields.push(format!("text={}", hat.letters(12))),
                3 => {
                    let bytes = hat.bytes(40);
                    fields.push(format!(
                        "text={}",
                        bytes.iter().map(|byte| format!("%{byte:02x}")).collect::<Vec<_>>().concat()
                    ));
                }
                _ => {
                    fields.clear();
                    for _ in 0..hat.below(5) {
                        fields.push(format!("{}={}", hat.one(&FIELDS), hat.letters(5)));
                    }
                }
            }
            let response = client.post_ours(path, &fields.join("&"));
            assert!([303, 400, 404, 409, 413, 415, 422].contains(&response.status), "{path} {fields:?}: {response:?}");
        }
        // The job is there still, and what was answered reads back.
        client.page();
        assert!(!client.at_file().exists() || client.saved().log.len() < 10_000);
    });
}

#[test]
fn a_form_that_does_not_come_holds_nobody_up() {
    serving(|client| {
        let host = client.url("").trim_start_matches("http://").to_owned();
        let started = Instant::now();
        let promised = format!(
            "POST /job/job/step HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nContent-Type: \
             application/x-www-form-urlencoded\r\nContent-Length: 1000\r\n\r\nturn=x"
        );
        let response = client.raw(&promised);
        assert_eq!(response.status, 408, "{response:?}");
        assert!(started.elapsed() < Duration::from_secs(20), "held for {:?}", started.elapsed());
        client.page();
    });
}
