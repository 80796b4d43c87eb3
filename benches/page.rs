//! Many interviews at once against a real server on this machine, each answering every few seconds: how long a step takes
//! from the answer sent to the next question read, and how much of that is the page's own part.
//!
//! `cargo bench --bench page`, or with other numbers: `cargo bench --bench page -- SESSIONS STEPS SECONDS`.

#![expect(clippy::print_stdout, reason = "what was measured is for people")]

use doldrum::access::AccessGraph;
use doldrum::case::usual_case;
use doldrum::decision::Settings;
use doldrum::knowledge::{self, Knowledge};
use doldrum::report::Figures;
use doldrum::serve::{Jobs, Server, Shop};
use doldrum::store::built_in;
use doldrum::units::System;
use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::thread;
use std::time::{Duration, Instant};

/// Interviews at once, measured steps of each, seconds from one to the next.
const USUAL: [u32; 3] = [50, 12, 5];
/// The most steps from the beginning of a job to its bench.
const INTAKE: usize = 60;

/// What one step took, in milliseconds.
#[derive(Clone, Copy, Debug, Default)]
struct Step {
    whole: f64,
    waiting: f64,
    advice: f64,
    page: f64,
}

fn main() {
    let numbers: Vec<u32> = std::env::args().skip(1).filter_map(|word| word.parse().ok()).collect();
    let of = |at: usize| numbers.get(at).copied().unwrap_or(USUAL[at]);
    let (sessions, steps, every) = (of(0), of(1), Duration::from_secs(of(2).into()));
    let knowledge = knowledge::read(&built_in()).0.expect("the built-in knowledge base is sound");
    let folder = tempfile::tempdir().expect("a folder");
    let server = Server::bind("127.0.0.1:0".parse().expect("an address")).expect("a free port");
    let (at, closer) = (server.guard().at, server.closer());
    let (graph, figures) = (AccessGraph::new(&knowledge), Figures::new(&knowledge, System::Us));
    let shop = Shop {
        knowledge: &knowledge,
        graph: &graph,
        figures: &figures,
        settings: Settings::default(),
        layout_known: false,
        jobs: Jobs::Folder(folder.path().to_owned()),
        blank: usual_case(&knowledge),
        clock: || None,
    };
    println!("{sessions} interviews, {steps} steps each, a step every {} s; load before: {}", every.as_secs(), load());
    let busy_before = processor_seconds();
    let taken: Vec<Step> = thread::scope(|scope| {
        scope.spawn(|| server.run(&shop).expect("served"));
        let clients: Vec<_> = (0..sessions)
            .map(|number| {
                // Spread over the time from one step to the next, as people are.
                let offset = every.mul_f64(f64::from(number) / f64::from(sessions));
                let complaint = complaint(&knowledge, (f64::from(number) + 0.5) / f64::from(sessions));
                scope.spawn(move || interview(at, (number, complaint), steps, every, offset))
            })
            .collect();
        let taken = clients.into_iter().flat_map(|client| client.join().expect("an interview")).collect();
        closer.close();
        taken
    });
    let busy = processor_seconds() - busy_before;
    println!("load after: {}; processor time of all, intake and clients with it: {busy:.1} s", load());
    let advised: Vec<Step> = taken.iter().filter(|step| step.advice > 0.0).copied().collect();
    for (name, steps) in [("all steps", &taken), ("steps with new advice", &advised)] {
        println!("\n{name}: {}, in milliseconds", steps.len());
        println!("{:<24}{:>8}{:>8}{:>8}{:>8}", "", "p50", "p95", "p99", "most");
        let part = |name: &str, of: fn(&Step) -> f64| row(name, steps.iter().map(of).collect());
        part("whole step", |step| step.whole);
        part("waiting for the room", |step| step.waiting);
        part("advice", |step| step.advice);
        part("the page's own part", |step| step.page);
    }
}

fn load() -> String {
    std::fs::read_to_string("/proc/loadavg").unwrap_or_else(|_| "not known".to_owned()).trim().to_owned()
}

/// What this process has had of the processors so far: on a busy machine it says more than the time that went by.
fn processor_seconds() -> f64 {
    let said = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let fields = said.rsplit_once(')').map(|(_, rest)| rest).unwrap_or_default();
    // The 14th and 15th field of the line, in hundredths of a second on every common system: see proc(5).
    fields.split_whitespace().skip(11).take(2).filter_map(|ticks| ticks.parse::<f64>().ok()).sum::<f64>() / 100.0
}

fn row(name: &str, mut values: Vec<f64>) {
    values.sort_by(f64::total_cmp);
    let at = |hundredths: usize| values.get((values.len() * hundredths / 100).min(values.len().saturating_sub(1)));
    let said = |hundredths: usize| at(hundredths).map_or_else(|| "-".to_owned(), |value| format!("{value:.1}"));
    println!("{name:<24}{:>8}{:>8}{:>8}{:>8}", said(50), said(95), said(99), said(100));
}

/// The complaint of an interview: as many of each as it is met with, of a hundred craft. `part` says which, 0..1.
fn complaint(knowledge: &Knowledge, part: f64) -> usize {
    let total: f64 = knowledge.symptoms.iter().map(|(_, symptom)| symptom.share).sum();
    let mut so_far = 0.0;
    let passed = |share: f64| {
        so_far += share;
        so_far < part * total
    };
    knowledge.symptoms.iter().map(|(_, symptom)| symptom.share).map(passed).take_while(|passed| *passed).count()
}

/// One interview: to the bench as fast as it goes, then a step every so often, each measured.
fn interview(
    at: SocketAddr,
    (number, complaint): (u32, usize),
    steps: u32,
    every: Duration,
    offset: Duration,
) -> Vec<Step> {
    thread::sleep(offset);
    let (head, _) = send(at, "POST", "/job", &format!("title=Boat+{number}&user=technician"));
    let home = field(&head, "location: ").expect("a job is begun").to_owned();
    let mut page = send(at, "GET", &home, "").1;
    let number = number as usize;
    let mut hat = number;
    for _ in 0..INTAKE {
        if page.contains("value=\"r\"") {
            break;
        }
        page = answer(at, &home, &page, &choice(&page, complaint)).0;
    }
    let begun = Instant::now() + every;
    let mut taken = Vec::new();
    for n in 0..steps {
        thread::sleep((begun + every * n).saturating_duration_since(Instant::now()));
        hat = hat.wrapping_mul(31).wrapping_add(7);
        let (next, step) = answer(at, &home, &page, &choice(&page, hat / 16));
        taken.push(step);
        page = next;
    }
    taken
}

/// What somebody does on a page: ticks what must be ticked, takes one of the answers, goes on where there are none.
fn choice(page: &str, hat: usize) -> String {
    let has = |key: &str| page.contains(&format!("name=\"key\" value=\"{key}\""));
    let picks = page.matches("name=\"pick\"").count();
    match () {
        () if has("t") => "key=t".to_owned(),
        // The complaint is picked once, then it is all.
        () if page.contains("What does the customer say") && page.contains("[1] ") => "key=enter".to_owned(),
        () if page.contains("What is fitted") => "key=enter".to_owned(),
        () if page.contains("Before anything else") => "pick=0".to_owned(),
        () if page.contains("What does the customer say") => format!("pick={}", hat % picks.max(1)),
        // Most things that are looked at are as they should be.
        () if picks > 0 && !hat.is_multiple_of(4) => "pick=0".to_owned(),
        () if picks > 0 => format!("pick={}", hat / 4 % picks),
        () if has("n") => "key=n".to_owned(),
        () => "key=enter".to_owned(),
    }
}

/// Sends an answer and reads the next question.
fn answer(at: SocketAddr, home: &str, page: &str, done: &str) -> (String, Step) {
    let turn = field(page, "name=\"turn\" value=\"").expect("a page has a turn");
    let begun = Instant::now();
    let (taken, _) = send(at, "POST", &format!("{home}/step"), &format!("turn={turn}&{done}"));
    let (shown, next) = send(at, "GET", home, "");
    let whole = begun.elapsed().as_secs_f64() * 1e3;
    let both = |part: &str| -> f64 {
        let parts = [&taken, &shown].into_iter().filter_map(|head| field(head, &format!("{part};dur=")));
        parts.filter_map(|ms| ms.parse::<f64>().ok()).sum()
    };
    (next, Step { whole, waiting: both("waiting"), advice: both("advice"), page: both("page") })
}

/// What follows these words, to the end of the word.
fn field<'t>(text: &'t str, before: &str) -> Option<&'t str> {
    text.split_once(before)?.1.split(['"', ',', '\r', '\n']).next()
}

/// A request and its response: head and body.
fn send(at: SocketAddr, method: &str, path: &str, body: &str) -> (String, String) {
    let mut stream = TcpStream::connect(at).expect("connected");
    let request = format!(
        "{method} {path} HTTP/1.1\r\nHost: {at}\r\nOrigin: http://{at}\r\nContent-Type: application/x-www-form-urlencoded\r\n\
         Content-Length: {}\r\n\r\n{body}",
        body.len()
    );
    stream.write_all(request.as_bytes()).expect("sent");
    let mut response = String::new();
    stream.read_to_string(&mut response).expect("received");
    let (head, body) = response.split_once("\r\n\r\n").unwrap_or((&response, ""));
    (head.to_owned(), body.to_owned())
}
