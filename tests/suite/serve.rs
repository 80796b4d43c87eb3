//! The page over HTTP, by a client that sends what a browser would, and what it would not.

use crate::small_engine::{knowledge, new_case};
use doldrum::access::AccessGraph;
use doldrum::case::{Case, Event, text};
use doldrum::decision::Settings;
use doldrum::knowledge::Knowledge;
use doldrum::report::Figures;
use doldrum::serve::{Jobs, Server, Shop};
use doldrum::units::System;
use scraper::{ElementRef, Html, Selector};
use std::collections::BTreeMap;
use std::fs;
use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::path::{Path, PathBuf};
use std::sync::Barrier;
use std::time::{Duration, Instant};

/// A response.
#[derive(Debug)]
pub struct Response {
    /// Its status.
    pub status: u16,
    headers: BTreeMap<String, String>,
    /// What it says.
    pub body: String,
}

impl Response {
    /// Where it leads.
    pub fn led_to(&self) -> Option<&str> {
        self.headers.get("location").map(String::as_str)
    }
}

/// A page that is served while a test runs, and its case file.
pub struct Client {
    at: SocketAddr,
    /// Where to open it.
    pub link: String,
    /// The address of its question.
    pub home: String,
    case: PathBuf,
}

/// Serves a job at an address while `work` is done.
fn at_address(address: &str, case: impl FnOnce(&mut Case), work: impl FnOnce(&Client)) {
    serving_base(&knowledge(), address, case, work);
}

/// The same for a knowledge base.
pub fn serving_base(knowledge: &Knowledge, address: &str, case: impl FnOnce(&mut Case), work: impl FnOnce(&Client)) {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("job.yaml");
    let mut job = new_case(knowledge);
    case(&mut job);
    serving_jobs(knowledge, address, Jobs::One(Box::new(job), path.clone()), path, work);
}

/// Serves jobs while `work` is done; `case` is the file of the one that a client asks for.
pub fn serving_jobs(knowledge: &Knowledge, address: &str, jobs: Jobs, case: PathBuf, work: impl FnOnce(&Client)) {
    let server = Server::bind(address.parse().expect("an address")).expect("a free port");
    let (closer, guard) = (server.closer(), server.guard().clone());
    let at = SocketAddr::from(([127, 0, 0, 1], guard.at.port()));
    let home = format!("/job/{}", case.file_stem().expect("a name").to_string_lossy());
    let client = Client { at, link: guard.link(), home, case };
    let (graph, figures) = (AccessGraph::new(knowledge), Figures::new(knowledge, System::Us));
    let shop = Shop {
        knowledge,
        graph: &graph,
        figures: &figures,
        settings: Settings { worlds: 512, ..Settings::default() },
        layout_known: false,
        jobs,
        blank: new_case(knowledge),
        clock: || None,
    };
    std::thread::scope(|scope| {
        let served = scope.spawn(|| server.run(&shop).expect("served"));
        // Whatever becomes of the test, the server must not outlive it.
        let result = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| work(&client)));
        closer.close();
        served.join().expect("the server ends");
        if let Err(panic) = result {
            std::panic::resume_unwind(panic);
        }
    });
}

/// Serves a new job of the small engine.
pub fn serving(work: impl FnOnce(&Client)) {
    at_address("127.0.0.1:0", |_| {}, work);
}

impl Client {
    /// Sends text as it is.
    pub fn raw(&self, request: &str) -> Response {
        self.bytes(request.as_bytes())
    }

    /// Sends bytes as they are.
    pub fn bytes(&self, request: &[u8]) -> Response {
        let mut stream = TcpStream::connect(self.at).expect("connected");
        stream.set_read_timeout(Some(Duration::from_mins(1))).expect("a time limit");
        // The other end may close before all is sent.
        let _ = stream.write_all(request);
        let mut bytes = Vec::new();
        let _ = stream.read_to_end(&mut bytes);
        let text = String::from_utf8(bytes).expect("text");
        let (head, body) = text.split_once("\r\n\r\n").unwrap_or((&text, ""));
        let mut lines = head.lines();
        let status = lines.next().and_then(|line| line.split(' ').nth(1)).and_then(|s| s.parse().ok()).unwrap_or(0);
        let headers = lines.filter_map(|line| line.split_once(": ")).map(|(k, v)| (k.to_owned(), v.to_owned()));
        Response { status, headers: headers.collect(), body: body.to_owned() }
    }

    /// Asks with more headers.
    pub fn get_with(&self, path: &str, headers: &str) -> Response {
        self.raw(&format!("GET {path} HTTP/1.1\r\nHost: {}\r\n{headers}\r\n", self.at))
    }

    pub fn get(&self, path: &str) -> Response {
        self.get_with(path, "")
    }

    /// The address of a page of the job.
    pub fn at_job(&self, page: &str) -> String {
        format!("{}{page}", self.home)
    }

    /// Its case file.
    pub fn at_file(&self) -> &Path {
        &self.case
    }

    /// Where a browser finds a page.
    pub fn url(&self, path: &str) -> String {
        format!("http://{}{path}", self.at)
    }

    fn post_with(&self, headers: &str, body: &str) -> Response {
        self.post_to(&self.at_job("/step"), headers, body)
    }

    /// Sends a form anywhere.
    pub fn post_to(&self, path: &str, headers: &str, body: &str) -> Response {
        self.raw(&format!(
            "POST {path} HTTP/1.1\r\nHost: {}\r\n{headers}Content-Type: application/x-www-form-urlencoded\r\n\
             Content-Length: {}\r\n\r\n{body}",
            self.at,
            body.len()
        ))
    }

    /// Sends a form as our own page does.
    pub fn post(&self, body: &str) -> Response {
        self.post_ours(&self.at_job("/step"), body)
    }

    /// Sends a form anywhere as our own page does.
    pub fn post_ours(&self, path: &str, body: &str) -> Response {
        self.post_to(path, &format!("Origin: http://{}\r\n", self.at), body)
    }

    /// The page as it stands.
    pub fn page(&self) -> Page {
        self.page_at(&self.home)
    }

    /// A page as it stands.
    pub fn page_at(&self, path: &str) -> Page {
        let response = self.get(path);
        assert_eq!(response.status, 200, "{}", response.body);
        Page::read(&response.body)
    }

    /// Answers on a page and is led to the next.
    pub fn answer(&self, page: &Page, field: &str) -> Page {
        self.answer_at(&self.home, page, field)
    }

    /// Answers on a page of a room and is led to the next.
    pub fn answer_at(&self, home: &str, page: &Page, field: &str) -> Page {
        let response = self.post_ours(&format!("{home}/step"), &format!("turn={}&{field}", page.turn));
        assert_eq!((response.status, response.led_to()), (303, Some(home)), "{field}: {}", response.body);
        self.page_at(home)
    }

    pub fn saved(&self) -> Case {
        let source = fs::read_to_string(&self.case).expect("the case file");
        text::read("job.yaml", &source, &knowledge()).0.expect("it loads")
    }
}

/// What a person sees of a page.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Page {
    /// The turn it shows.
    pub turn: String,
    /// What it is called.
    pub title: String,
    /// The answers on it.
    pub picks: Vec<String>,
    keys: Vec<String>,
    /// Whether something is written on it.
    pub writes: bool,
    /// Where its links lead.
    pub links: Vec<String>,
    /// What it says.
    pub words: String,
}

fn select<'a>(page: &'a Html, selector: &str) -> Vec<ElementRef<'a>> {
    page.select(&Selector::parse(selector).expect("a selector")).collect()
}

fn words(element: ElementRef<'_>) -> String {
    element.text().collect::<String>().split_whitespace().collect::<Vec<_>>().join(" ")
}

impl Page {
    /// Reads a page, and sees that it is sound.
    pub fn read(source: &str) -> Self {
        let parsed = Html::parse_document(source);
        assert!(parsed.errors.is_empty(), "{:?}", parsed.errors);
        assert!(select(&parsed, "[style], style, script:not([src]), img, iframe").is_empty(), "{source}");
        assert!(select(&parsed, "*").iter().all(|e| e.value().attrs().all(|(name, _)| !name.starts_with("on"))));
        assert_eq!(select(&parsed, "h1").len(), 1, "{source}");
        let turns: Vec<&str> =
            select(&parsed, "input[name=turn]").iter().filter_map(|input| input.value().attr("value")).collect();
        assert!(turns.windows(2).all(|pair| pair[0] == pair[1]));
        assert_eq!(turns.len(), select(&parsed, "form[method=post][action$='/step']").len());
        let values = |name: &str| -> Vec<String> {
            let buttons = select(&parsed, &format!("button[name={name}]"));
            buttons.iter().filter_map(|b| b.value().attr("value")).map(str::to_owned).collect()
        };
        Self {
            links: select(&parsed, "main a")
                .iter()
                .filter_map(|link| link.value().attr("href"))
                .map(str::to_owned)
                .collect(),
            turn: turns.first().copied().unwrap_or_default().to_owned(),
            title: words(select(&parsed, "title")[0]),
            picks: select(&parsed, "button[name=pick]").into_iter().map(words).collect(),
            keys: values("key"),
            writes: !select(&parsed, "input[name=text]").is_empty(),
            words: words(select(&parsed, "main")[0]),
        }
    }

    pub fn has(&self, key: &str) -> bool {
        self.keys.iter().any(|k| k == key)
    }
}

/// From the first sniff to the complaint.
pub fn to_the_complaint(client: &Client) -> Page {
    let mut page = client.page();
    while page.has("t") {
        page = client.answer(&page, "key=t");
    }
    for _ in 0..8 {
        if page.title.contains("customer") {
            return page;
        }
        page = client.answer(&page, if page.has("enter") { "key=enter" } else { "pick=0" });
    }
    panic!("no complaint is asked for: {page:?}");
}

#[test]
fn a_whole_interview_by_forms_comes_to_a_plan_and_to_an_end() {
    serving(|client| {
        assert!(
            !client.case.exists()
                && Page::read(&client.get(&client.at_job("/plan")).body).words.contains("the complaint comes first")
        );
        let mut page = to_the_complaint(client);
        page = client.answer(&page, "pick=0");
        page = client.answer(&page, "key=enter");
        let mut asked = Vec::new();
        for _ in 0..60 {
            if page.words.contains("Go on with this job") {
                break;
            }
            asked.push(page.title.clone());
            let done = if page.has("t") {
                "key=t"
            } else if page.picks.is_empty() && page.has("n") {
                "key=n"
            } else if page.picks.is_empty() && page.has("s") {
                "key=s"
            } else if page.picks.is_empty() {
                "key=enter"
            } else {
                "pick=0"
            };
            page = client.answer(&page, done);
        }
        assert!(page.words.contains("Go on with this job"), "asked: {asked:#?}, then {page:?}");
        let case = client.saved();
        let answers = case.log.iter().filter(|entry| matches!(entry.event, Event::Answer { .. })).count();
        let repairs = case.log.iter().filter(|entry| matches!(entry.event, Event::Repaired { .. })).count();
        assert!(answers >= 2 && repairs >= 1, "{:?}", case.log);
        let plan = client.get(&client.at_job("/plan"));
        let known = client.get(&client.at_job("/known"));
        assert!(plan.status == 200 && Page::read(&plan.body).title.starts_with("Work order"), "{}", plan.body);
        assert_eq!(Page::read(&known.body).title, "What we know");
    });
}

/// Who opens many connections and says nothing keeps nobody from the page.
#[test]
fn connections_that_say_nothing_do_not_stop_the_page() {
    serving(|client| {
        let silent: Vec<TcpStream> = (0..64).map(|_| TcpStream::connect(client.at).expect("connected")).collect();
        let started = Instant::now();
        assert_eq!(client.get(&client.home).status, 200);
        assert!(started.elapsed() < Duration::from_secs(5), "{:?}", started.elapsed());
        drop(silent);
    });
}

#[test]
fn the_plan_is_a_page_of_the_interview_and_is_written_beside_the_case() {
    serving(|client| {
        let mut page = to_the_complaint(client);
        page = client.answer(&page, "pick=0");
        page = client.answer(&page, "key=enter");
        while page.has("s") {
            page = client.answer(&page, "key=s");
        }
        page = client.answer(&page, "key=p");
        assert!(page.title.starts_with("Work order"), "{page:?}");
        page = client.answer(&page, "key=w");
        let written = fs::read_to_string(client.case.with_extension("plan.html")).expect("the work order");
        assert!(written.starts_with("<!DOCTYPE html>") && page.words.contains("job.plan.html"), "{page:?}");
        page = client.answer(&page, "key=q");
        assert!(page.words.contains("Saved in") && page.words.contains("Stopped for now"), "{page:?}");
        page = client.answer(&page, "key=enter");
        assert!(page.words.contains("Going on where you stopped"), "{page:?}");
    });
}

#[test]
fn a_stale_window_is_told_so_and_shown_what_it_answered() {
    serving(|client| {
        let old = to_the_complaint(client);
        assert!(old.picks.len() > 1);
        let new = client.answer(&old, "pick=0");
        let before = fs::read_to_string(&client.case).expect("the case file");
        let response = client.post(&format!("turn={}&pick=1", old.turn));
        let told = Page::read(&response.body);
        assert_eq!(response.status, 409);
        for said in ["no longer the newest", &old.title, &old.picks[1]] {
            assert!(told.words.contains(said), "{said}: {told:?}");
        }
        // It shows the question as it stands, and nothing was taken.
        assert_eq!((&told.turn, &told.picks), (&new.turn, &new.picks));
        assert_eq!(fs::read_to_string(&client.case).expect("the case file"), before);
        // Words that were typed into an old window are there still; so is a window of an earlier run.
        let typed = client.post(&format!("turn={}&text=12+psi%00%1b+%3Cb%3E", old.turn));
        assert!(typed.status == 409 && Page::read(&typed.body).words.contains("12 psi <b>"));
        let earlier = client.post("turn=another-0&pick=0");
        assert!(earlier.status == 409 && Page::read(&earlier.body).words.contains("earlier run"));
        assert_eq!(client.page(), new);
    });
}

#[test]
fn of_two_answers_at_once_one_counts() {
    serving(|client| {
        let page = to_the_complaint(client);
        let start = Barrier::new(2);
        let send = |pick: usize| {
            start.wait();
            client.post(&format!("turn={}&pick={pick}", page.turn)).status
        };
        let mut statuses = std::thread::scope(|scope| {
            let other = scope.spawn(|| send(1));
            [send(0), other.join().expect("sent")]
        });
        statuses.sort_unstable();
        assert_eq!(statuses, [303, 409]);
        assert_eq!(client.saved().symptoms.len(), 1);
    });
}

#[test]
fn what_a_terminal_does_meanwhile_is_seen() {
    serving(|client| {
        let page = to_the_complaint(client);
        let page = client.answer(&page, "pick=0");
        let text = fs::read_to_string(&client.case).expect("the case file");
        fs::write(&client.case, text.replace("format: 1", "format: 1\ntitle: From the terminal")).expect("written");
        let stale = client.post(&format!("turn={}&key=enter", page.turn));
        assert_eq!(stale.status, 409, "{}", stale.body);
        assert!(client.page().words.contains("From the terminal"));
        fs::write(&client.case, "format: 1\nthis is: no case\n").expect("written");
        let broken = client.get(&client.home);
        assert!(broken.status == 500 && broken.body.contains("cannot be read"), "{}", broken.body);
        assert!(fs::read_to_string(&client.case).expect("it is there").contains("no case"), "it is not written over");
    });
}

#[test]
fn an_answer_that_cannot_be_saved_is_not_taken() {
    serving(|client| {
        let page = to_the_complaint(client);
        fs::remove_dir_all(client.case.parent().expect("a folder")).expect("removed");
        let response = client.post(&format!("turn={}&pick=0", page.turn));
        assert!(response.status == 500 && response.body.contains("could not be saved"), "{}", response.body);
        let again = client.page();
        assert_eq!((&again.turn, &again.picks), (&page.turn, &page.picks));
    });
}

/// A stop on the page is in the file; on going on it is asked first whether the craft has been declared safe.
#[test]
fn a_job_that_was_stopped_waits_until_it_was_declared_safe() {
    serving(|client| {
        let page = client.answer(&to_the_complaint(client), "pick=0");
        let page = client.answer(&client.answer(&page, "key=enter"), "key=!");
        assert!(page.words.contains("Get away.") && client.saved().emergency().is_some(), "{page:?}");
        let page = client.answer(&page, "key=enter");
        assert!(page.words.contains("declared the craft safe?") && !page.has("p") && !page.has("o"), "{page:?}");
        let plan = client.get(&client.at_job("/plan")).body;
        assert!(plan.contains("There is no work order") && plan.contains("declared safe"), "{plan}");
        // Not yet: it stays stopped.
        let page = client.answer(&page, "pick=1");
        assert!(page.words.contains("Get away.") && client.saved().emergency().is_some(), "{page:?}");
        let page = client.answer(&page, "key=enter");
        let page = client.answer(&page, "pick=0");
        assert!(client.saved().emergency().is_none() && page.words.contains("aired for 10 min"), "{page:?}");
    });
}

#[test]
fn only_what_a_page_offers_is_an_answer() {
    serving(|client| {
        let page = to_the_complaint(client);
        for field in
            ["pick=99", "pick=-1", "pick=x", "key=z", "key=c", "key=", "text=words", "pick=0&pick=1", "other=1", ""]
        {
            let response = client.post(&format!("turn={}&{field}", page.turn));
            assert_eq!(response.status, 400, "{field}: {}", response.body);
        }
        assert_eq!(client.post("pick=0").status, 400);
        assert_eq!(client.page(), page);
        assert_eq!(client.get(&client.at_job("/step")).status, 405);
        assert_eq!(client.get("/nowhere").status, 404);
        assert_eq!(client.get("/../Cargo.toml").status, 404);
    });
}

#[test]
fn only_this_host_and_our_own_forms_count() {
    serving(|client| {
        let page = client.page();
        let port = client.at.port();
        for host in [format!("evil.example:{port}"), "127.0.0.1:1".to_owned(), String::new()] {
            let response = client.raw(&format!("GET / HTTP/1.1\r\nHost: {host}\r\n\r\n"));
            assert_eq!(response.status, 421, "{host}");
        }
        assert_eq!(client.get_with("/", "Host: evil.example\r\n").status, 421, "two hosts");
        let field = format!("turn={}&key=t", page.turn);
        for origin in ["", "Origin: null\r\n", "Origin: http://evil.example\r\n", "Origin: http://127.0.0.1:1\r\n"] {
            assert_eq!(client.post_with(origin, &field).status, 403, "{origin}");
        }
        assert_eq!(client.page(), page, "nothing was changed");
        assert!(!client.link.contains("token") && client.get("/?token=x").status == 303);
    });
}

#[test]
fn from_other_machines_only_with_the_token() {
    at_address(
        "0.0.0.0:0",
        |_| {},
        |client| {
            let token = client.link.split("token=").nth(1).expect("a token").to_owned();
            assert!(token.len() >= 32);
            for path in [
                "/",
                "/job/job",
                "/job/job/plan",
                "/drill",
                "/style.css",
                "/?token=wrong",
                &format!("/job/job/plan?token={token}"),
                &format!("/drill?token={token}"),
            ] {
                assert_eq!(client.get(path).status, 403, "{path}");
            }
            let led = client.get(&format!("/?token={token}"));
            assert_eq!((led.status, led.headers["location"].as_str()), (303, "/"));
            let cookie = &led.headers["set-cookie"];
            assert!(cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict"), "{cookie}");
            let pair = cookie.split(';').next().expect("a pair");
            let page = client.get_with(&client.home, &format!("Cookie: {pair}\r\n"));
            assert!(page.status == 200 && !page.body.contains(&token));
            assert_eq!(client.get_with("/", "Cookie: doldrum=wrong\r\n").status, 403);
            let turn = Page::read(&page.body).turn;
            assert_eq!(client.post(&format!("turn={turn}&key=t")).status, 403);
            let with = format!("Origin: http://{}\r\nCookie: {pair}\r\n", client.at);
            assert_eq!(client.post_with(&with, &format!("turn={turn}&key=t")).status, 303);
        },
    );
}

#[test]
fn every_response_says_what_a_browser_may_do() {
    serving(|client| {
        let turn = client.page().turn;
        let all = [
            client.get("/"),
            client.get(&client.home),
            client.get(&client.at_job("/what-if?pick=0")),
            client.get("/drill"),
            client.get("/drill/nothing"),
            client.get("/job/nothing"),
            client.post_ours("/drill", "level=single&seed=x"),
            client.get("/style.css"),
            client.get("/script.js"),
            client.get("/nowhere"),
            client.post(&format!("turn={turn}&key=t")),
            client.post("turn=old&key=t"),
            client.post_with("", "turn=old"),
            client.raw("GET / HTTP/1.1\r\nHost: evil.example\r\n\r\n"),
        ];
        for response in all {
            let policy = &response.headers["content-security-policy"];
            assert!(policy.contains("default-src 'none'") && policy.contains("frame-ancestors 'none'"), "{policy}");
            assert!(!policy.contains("unsafe") && !policy.contains('*'), "{policy}");
            assert_eq!(response.headers["x-content-type-options"], "nosniff");
            assert_eq!(response.headers["cache-control"], "no-store");
        }
        assert!(client.get("/style.css").headers["content-type"].starts_with("text/css"));
    });
}

#[test]
fn what_is_too_big_or_too_slow_is_cut_off() {
    serving(|client| {
        let page = client.page();
        let big = format!("turn={}&text={}", page.turn, "x".repeat(20_000));
        assert_eq!(client.post(&big).status, 413);
        let long = client.get_with(&client.home, &format!("X-Long: {}\r\n", "x".repeat(200_000)));
        assert!(long.status == 431 || long.status == 400 || long.status == 0, "{long:?}");
        let started = Instant::now();
        let mut slow = TcpStream::connect(client.at).expect("connected");
        slow.set_read_timeout(Some(Duration::from_secs(40))).expect("a time limit");
        slow.write_all(b"GET / HTTP/1.1\r\nHost:").expect("sent");
        // Half a request holds nobody up meanwhile.
        assert_eq!(client.page(), page);
        let mut rest = Vec::new();
        let _ = slow.read_to_end(&mut rest);
        assert!(started.elapsed() < Duration::from_secs(30), "half a request is held for {:?}", started.elapsed());
    });
}

#[test]
fn what_a_job_says_is_text_and_nothing_else() {
    let hostile = "<script>alert(1)</script>\"'><img src=x onerror=y>";
    at_address(
        "127.0.0.1:0",
        |case| case.title = Some(hostile.to_owned()),
        |client| {
            // Every page is read by a parser, which sees that nothing of it is an element.
            let page = to_the_complaint(client);
            assert!(page.words.contains(hostile), "{page:?}");
            client.answer(&page, "pick=0");
            for path in ["", "/known", "/plan", "/what-if?pick=0"] {
                Page::read(&client.get(&client.at_job(path)).body);
            }
        },
    );
}

#[test]
fn the_same_case_file_as_the_terminals() {
    serving(|client| {
        let page = to_the_complaint(client);
        client.answer(&page, "pick=0");
        let text = fs::read_to_string(&client.case).expect("the case file");
        assert_eq!(text, doldrum::case::text::write(&client.saved(), &knowledge()), "as the terminal writes it");
    });
}
