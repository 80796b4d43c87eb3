//! The wire: connections, limits, headers, routes. Everything that is decided here is decided before the desk is asked.

use super::guard::{COOKIE, Guard, Refusal, cookie};
use super::room::{Asked, Chosen, Reply, Room, Took, Wish};
use super::turns::Did;
use super::{Request, page};
use crate::drill::draw::Level;
use crate::units::is_printable;
use axum::Router;
use axum::body::{Body, to_bytes};
use axum::extract::rejection::{FormRejection, PathRejection};
use axum::extract::{DefaultBodyLimit, Form, Path, Query, Request as HttpRequest, State};
use axum::http::header::{self, HeaderMap, HeaderName, HeaderValue};
use axum::http::{Method, StatusCode, Uri};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use std::collections::BTreeMap;
use std::io;
use std::net::{IpAddr, TcpListener};
use std::sync::mpsc::Sender;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};
use tokio::sync::{Semaphore, oneshot};

/// The most bytes of a form: a reading, or a remark of a few hundred letters.
pub const MOST_BYTES: usize = 16 << 10;
/// The most bytes of a title or a reading.
const MOST_TEXT: usize = 400;
/// How long a browser may take to say what it wants.
const ASKING: Duration = Duration::from_secs(10);
/// How long an answer may take: the widest complaint takes seconds.
const ANSWERING: Duration = Duration::from_mins(2);
/// How long it may take to say which page: a browser sends that in one piece.
const BEGINNING: Duration = Duration::from_secs(2);
/// How many connections at once, and how many of them from one address: whoever opens many and says nothing keeps nobody
/// else from the page.
const CONNECTIONS: usize = 512;
const OF_ONE_ADDRESS: usize = 128;

/// Only what this page itself holds, nothing within elements, in no frame.
const POLICY: &str = "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; form-action 'self'; \
    base-uri 'none'; frame-ancestors 'none'";

/// What every response says.
const HEADERS: [(HeaderName, &str); 6] = [
    (header::CONTENT_SECURITY_POLICY, POLICY),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::X_FRAME_OPTIONS, "DENY"),
    // A form must say where it comes from, and nobody else may learn where we are.
    (header::REFERRER_POLICY, "same-origin"),
    (header::CACHE_CONTROL, "no-store"),
    (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
];

/// What a browser says of where a request comes from.
const FETCH_SITE: HeaderName = HeaderName::from_static("sec-fetch-site");
/// What a browser says of what a request is for.
const FETCH_MODE: HeaderName = HeaderName::from_static("sec-fetch-mode");
/// What a reply took, for whoever looks.
const TIMING: HeaderName = HeaderName::from_static("server-timing");

#[derive(Clone)]
struct Wire {
    guard: Arc<Guard>,
    rooms: Sender<Request>,
}

/// How many connections each address has open.
#[derive(Clone, Default)]
struct Addresses(Arc<Mutex<BTreeMap<IpAddr, usize>>>);

impl Addresses {
    /// A seat for one more connection, given back when it is dropped; `None` where the address has all it may have.
    fn seat(&self, address: IpAddr) -> Option<Seat> {
        let mut open = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let count = open.entry(address).or_default();
        (*count < OF_ONE_ADDRESS).then(|| {
            *count += 1;
            Seat { addresses: self.clone(), address }
        })
    }
}

struct Seat {
    addresses: Addresses,
    address: IpAddr,
}

impl Drop for Seat {
    fn drop(&mut self) {
        let mut open = self.addresses.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(count) = open.get_mut(&self.address) {
            *count -= 1;
            if *count == 0 {
                open.remove(&self.address);
            }
        }
    }
}

/// Accepts connections until the program ends.
pub(super) async fn serve(listener: TcpListener, guard: Guard, rooms: Sender<Request>) -> io::Result<()> {
    let listener = tokio::net::TcpListener::from_std(listener)?;
    let app = router(Wire { guard: Arc::new(guard), rooms });
    let places = Arc::new(Semaphore::new(CONNECTIONS));
    let addresses = Addresses::default();
    loop {
        let Ok(place) = places.clone().acquire_owned().await else { return Ok(()) };
        let Ok((stream, from)) = listener.accept().await else {
            // Out of handles, or the other end has gone: give the system a moment.
            tokio::time::sleep(Duration::from_millis(50)).await;
            continue;
        };
        let Some(seat) = addresses.seat(from.ip()) else { continue };
        let service = TowerToHyperService::new(app.clone());
        tokio::spawn(async move {
            let connection = http1::Builder::new()
                .timer(TokioTimer::new())
                .header_read_timeout(BEGINNING)
                .max_buf_size(32 << 10)
                // One request each: an idle window must not hold a place.
                .keep_alive(false)
                .serve_connection(TokioIo::new(stream), service);
            // Whatever goes wrong on one connection concerns that one alone.
            let _ = tokio::time::timeout(ASKING + ANSWERING, connection).await;
            drop((place, seat));
        });
    }
}

fn router(wire: Wire) -> Router {
    Router::new()
        .route("/", get(front))
        .route("/job", post(new_job))
        .route("/job/{name}", get(|wire, name| read(wire, name, Room::Job, Wish::Show)))
        .route("/job/{name}/known", get(|wire, name| read(wire, name, Room::Job, Wish::Known)))
        .route("/job/{name}/plan", get(|wire, name| read(wire, name, Room::Job, Wish::Plan)))
        .route("/job/{name}/sheet", get(|wire, name| read(wire, name, Room::Job, Wish::Sheet)))
        .route("/job/{name}/what-if", get(what_if))
        .route("/job/{name}/step", post(|wire, name, form| step(wire, name, Room::Job, form)))
        .route("/drill", get(|State(wire): State<Wire>| async move { ask(&wire, Room::Front, Wish::Drills).await }))
        .route("/drill", post(new_drill))
        .route("/drill/{name}", get(|wire, name| read(wire, name, Room::Drill, Wish::Show)))
        .route("/drill/{name}/step", post(|wire, name, form| step(wire, name, Room::Drill, form)))
        .route("/style.css", get(|| async { text("text/css; charset=utf-8", style()) }))
        .route("/script.js", get(|| async { text("text/javascript; charset=utf-8", page::SCRIPT.to_owned()) }))
        .method_not_allowed_fallback(|| async {
            said(StatusCode::METHOD_NOT_ALLOWED, "Not like this", "That is only sent by a form of the page.")
        })
        .fallback(|| async { nowhere() })
        .layer(DefaultBodyLimit::max(MOST_BYTES))
        .layer(middleware::from_fn_with_state(wire.clone(), check))
        .with_state(wire)
}

/// What must hold of every request; and what every response says.
async fn check(State(wire): State<Wire>, request: HttpRequest, next: Next) -> Response {
    let mut response = match allowed(&wire.guard, &request) {
        Ok(()) => passed(request, next).await,
        Err(refusal) => refused(refusal),
    };
    for (name, value) in HEADERS {
        response.headers_mut().insert(name, HeaderValue::from_static(value));
    }
    response
}

/// Takes the whole of a request before anything is done with it: half a form holds a place no longer than a browser may
/// take to say what it wants.
async fn passed(request: HttpRequest, next: Next) -> Response {
    let (head, body) = request.into_parts();
    let body = match tokio::time::timeout(ASKING, to_bytes(body, MOST_BYTES)).await {
        Ok(Ok(body)) => body,
        // Too much, or cut off: then nobody reads this.
        Ok(Err(_)) => {
            return said(StatusCode::PAYLOAD_TOO_LARGE, "Too much", "A form of this page is never that long.");
        }
        Err(_) => return said(StatusCode::REQUEST_TIMEOUT, "Too slow", "The form did not come. Nothing was changed."),
    };
    next.run(HttpRequest::from_parts(head, Body::from(body))).await
}

fn allowed(guard: &Guard, request: &HttpRequest) -> Result<(), Refusal> {
    let one = |name: HeaderName| one_header(request.headers(), &name);
    let host = one(header::HOST);
    guard.host(host)?;
    if !matches!(*request.method(), Method::GET | Method::HEAD) {
        guard.origin(one(header::ORIGIN), host)?;
    }
    guard.fetched(one(FETCH_SITE), one(FETCH_MODE))?;
    let link = Query::<BTreeMap<String, String>>::try_from_uri(request.uri()).ok();
    let link = link.as_ref().and_then(|query| query.get("token")).map(String::as_str);
    // The link is good for the first look only, and only for looking.
    let link = link.filter(|_| *request.method() == Method::GET && request.uri().path() == "/");
    guard.token(cookie(one(header::COOKIE))).or_else(|_| guard.token(link))
}

/// A header that is there once; two of a kind are a trick.
fn one_header<'a>(headers: &'a HeaderMap, name: &HeaderName) -> Option<&'a str> {
    let mut values = headers.get_all(name).iter();
    match (values.next(), values.next()) {
        (Some(value), None) => value.to_str().ok(),
        _ => None,
    }
}

fn refused(refusal: Refusal) -> Response {
    let (status, why) = match refusal {
        Refusal::Host => (StatusCode::MISDIRECTED_REQUEST, "Open the page by the address that was printed."),
        Refusal::Origin => (StatusCode::FORBIDDEN, "Answers are taken from this page's own forms only."),
        Refusal::Token => (StatusCode::FORBIDDEN, "Open the page by the link that was printed, with its token."),
    };
    said(status, "Not from here", why)
}

/// The front. A link with the token becomes a cookie, so that the token does not stay in the address.
async fn front(State(wire): State<Wire>, uri: Uri) -> Response {
    let query = Query::<BTreeMap<String, String>>::try_from_uri(&uri).ok();
    let token = query.as_ref().and_then(|query| query.get("token"));
    if let (Some(token), Some(_)) = (token, &wire.guard.token) {
        let cookie = format!("{COOKIE}={token}; HttpOnly; SameSite=Strict; Path=/");
        if let (Ok(()), Ok(cookie)) = (wire.guard.token(Some(token)), HeaderValue::from_str(&cookie)) {
            let mut response = look_at("/");
            response.headers_mut().insert(header::SET_COOKIE, cookie);
            return response;
        }
    }
    ask(&wire, Room::Front, Wish::Show).await
}

/// The name in an address.
type Name = Result<Path<String>, PathRejection>;
/// The fields of a form, in order.
type Fields = Result<Form<Vec<(String, String)>>, FormRejection>;

/// Reads a page.
async fn read(State(wire): State<Wire>, name: Name, room: fn(String) -> Room, wish: Wish) -> Response {
    match name {
        Ok(Path(name)) => ask(&wire, room(name), wish).await,
        Err(_) => nowhere(),
    }
}

/// Takes an answer.
async fn step(State(wire): State<Wire>, name: Name, room: fn(String) -> Room, form: Fields) -> Response {
    let Ok(Path(name)) = name else { return nowhere() };
    let fields = match form {
        Ok(Form(fields)) => fields,
        Err(rejection) => return unreadable(&rejection),
    };
    let Some((turn, did)) = done(&fields) else { return not_ours() };
    ask(&wire, room(name), Wish::Step { turn, did }).await
}

/// Looks ahead: what would be answered stands in the address, for nothing is changed by it.
async fn what_if(State(wire): State<Wire>, name: Name, uri: Uri) -> Response {
    let Ok(Path(name)) = name else { return nowhere() };
    let fields = Query::<Vec<(String, String)>>::try_from_uri(&uri).map(|Query(fields)| fields).unwrap_or_default();
    let [(kind, value)] = fields.as_slice() else { return not_ours() };
    let did = match (kind.as_str(), value.parse()) {
        ("pick", Ok(at)) => Did::Pick(at),
        ("text", _) if value.len() <= MOST_TEXT => Did::Text(printable(value)),
        _ => return not_ours(),
    };
    ask(&wire, Room::Job(name), Wish::WhatIf(did)).await
}

/// Begins a job.
async fn new_job(State(wire): State<Wire>, form: Fields) -> Response {
    let fields = match form {
        Ok(Form(fields)) => fields,
        Err(rejection) => return unreadable(&rejection),
    };
    let (mut title, mut user) = (String::new(), String::new());
    for (name, value) in fields {
        match name.as_str() {
            "title" if value.len() <= MOST_TEXT => title = printable(&value),
            "user" => user = value,
            _ => return not_ours(),
        }
    }
    ask(&wire, Room::Front, Wish::NewJob { title, user }).await
}

/// Begins a drill.
async fn new_drill(State(wire): State<Wire>, form: Fields) -> Response {
    let fields = match form {
        Ok(Form(fields)) => fields,
        Err(rejection) => return unreadable(&rejection),
    };
    let (mut level, mut seed, mut coach) = (None, None, false);
    for (name, value) in &fields {
        match name.as_str() {
            "level" => level = Level::named(value),
            "seed" => seed = value.trim().parse().ok(),
            "coach" => coach = true,
            _ => return not_ours(),
        }
    }
    let (Some(level), Some(seed)) = (level, seed) else {
        let why = "A drill has a level and a number. Go back and give both.";
        return said(StatusCode::BAD_REQUEST, "Which drill?", why);
    };
    ask(&wire, Room::Front, Wish::NewDrill(Chosen { level, seed, coach })).await
}

fn unreadable(rejection: &FormRejection) -> Response {
    said(rejection.status(), "Not a form of ours", "The form could not be read. Nothing was changed.")
}

fn not_ours() -> Response {
    said(StatusCode::BAD_REQUEST, "Not a form of ours", "A form says one thing. Nothing was changed.")
}

fn nowhere() -> Response {
    said(StatusCode::NOT_FOUND, "Not here", "There is no such page.")
}

/// Without what nobody types: characters that mean something to a terminal or a parser and nothing to a reader.
fn printable(text: &str) -> String {
    let is_one = |c: char| {
        let code = u32::from(c);
        is_printable(c) && code & 0xfffe != 0xfffe && !(0xfdd0..=0xfdef).contains(&code)
    };
    text.chars().filter(|c| is_one(*c)).collect()
}

/// What a form says: a turn and one thing that was done.
fn done(fields: &[(String, String)]) -> Option<(String, Did)> {
    let (mut turn, mut did) = (None, None);
    for (name, value) in fields {
        match name.as_str() {
            "turn" if turn.is_none() => turn = Some(value.clone()),
            "pick" if did.is_none() => did = Some(Did::Pick(value.parse().ok()?)),
            "key" if did.is_none() => did = Some(Did::Key(value.clone())),
            "text" if did.is_none() => did = Some(Did::Text(printable(value))),
            _ => return None,
        }
    }
    turn.zip(did)
}

async fn ask(wire: &Wire, room: Room, wish: Wish) -> Response {
    let (sender, reply) = oneshot::channel();
    let home = room.path();
    if wire.rooms.send(Request::Ask(room, Asked { wish, reply: sender, at: Instant::now() })).is_err() {
        return said(StatusCode::SERVICE_UNAVAILABLE, "Closed", "The program is ending.");
    }
    let (reply, took) = match tokio::time::timeout(ANSWERING, reply).await {
        Ok(Ok(both)) => both,
        Ok(Err(_)) => {
            let why = "The program is ending, or something went wrong in it. Load the page again.";
            return said(StatusCode::SERVICE_UNAVAILABLE, "Closed", why);
        }
        Err(_) => {
            let why = "That took too long. Load the page again.";
            return said(StatusCode::GATEWAY_TIMEOUT, "Too slow", why);
        }
    };
    let mut response = match reply {
        Reply::Page(page) => html(StatusCode::OK, page),
        Reply::Stale(page) => html(StatusCode::CONFLICT, page),
        Reply::Refused(page) => html(StatusCode::BAD_REQUEST, page),
        Reply::Failed(page) => html(StatusCode::INTERNAL_SERVER_ERROR, page),
        Reply::Nowhere(page) => html(StatusCode::NOT_FOUND, page),
        Reply::Taken => look_at(&home),
        Reply::Go(room) => look_at(&room.path()),
    };
    if let Ok(timing) = HeaderValue::from_str(&timing(took)) {
        response.headers_mut().insert(TIMING, timing);
    }
    response
}

/// What a reply took, in milliseconds.
fn timing(took: Took) -> String {
    let ms = |time: Duration| time.as_secs_f64() * 1e3;
    let (waiting, advice, page) = (ms(took.waiting), ms(took.advice), ms(took.page));
    format!("waiting;dur={waiting:.2}, advice;dur={advice:.2}, page;dur={page:.2}")
}

/// After an answer: a new page load asks again, it does not answer again.
fn look_at(path: &str) -> Response {
    (StatusCode::SEE_OTHER, [(header::LOCATION, path)]).into_response()
}

fn style() -> String {
    format!("{}{}", crate::report::html::STYLE, page::STYLE)
}

fn html(status: StatusCode, page: String) -> Response {
    (status, text("text/html; charset=utf-8", page)).into_response()
}

fn said(status: StatusCode, title: &str, why: &str) -> Response {
    html(status, page::said(title, why))
}

fn text(kind: &'static str, body: String) -> Response {
    ([(header::CONTENT_TYPE, kind)], Body::from(body)).into_response()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_can_be_read_is_taken() {
        assert_eq!(printable("12\0 psi\u{1b}[31m\u{85}\u{fffe}\u{fdd0} é<b>"), "12 psi[31m é<b>");
    }
}
