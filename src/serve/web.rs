//! The wire: connections, limits, headers, routes. Everything that is decided here is decided before the desk is asked.

use super::desk::{Did, Reply, Wish};
use super::guard::{COOKIE, Guard, Refusal, cookie};
use super::{Request, page};
use axum::Router;
use axum::body::Body;
use axum::extract::{DefaultBodyLimit, Form, Query, Request as HttpRequest, State};
use axum::http::header::{self, HeaderMap, HeaderName, HeaderValue};
use axum::http::{Method, StatusCode};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use std::collections::BTreeMap;
use std::io;
use std::net::TcpListener;
use std::sync::Arc;
use std::sync::mpsc::Sender;
use std::time::Duration;
use tokio::sync::{Semaphore, oneshot};

/// The most bytes of a form: a reading, or a remark of a few hundred letters.
pub const MOST_BYTES: usize = 16 << 10;
/// How long a browser may take to say what it wants.
const ASKING: Duration = Duration::from_secs(10);
/// How long an answer may take: the widest complaint takes seconds.
const ANSWERING: Duration = Duration::from_mins(2);
/// How many connections at once.
const CONNECTIONS: usize = 64;

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

#[derive(Clone)]
struct Wire {
    guard: Arc<Guard>,
    desk: Sender<Request>,
}

/// Accepts connections until the program ends.
pub(super) async fn serve(listener: TcpListener, guard: Guard, desk: Sender<Request>) -> io::Result<()> {
    let listener = tokio::net::TcpListener::from_std(listener)?;
    let app = router(Wire { guard: Arc::new(guard), desk });
    let places = Arc::new(Semaphore::new(CONNECTIONS));
    loop {
        let Ok(place) = places.clone().acquire_owned().await else { return Ok(()) };
        let Ok((stream, _)) = listener.accept().await else {
            // Out of handles, or the other end has gone: give the system a moment.
            tokio::time::sleep(Duration::from_millis(50)).await;
            continue;
        };
        let service = TowerToHyperService::new(app.clone());
        tokio::spawn(async move {
            let connection = http1::Builder::new()
                .timer(TokioTimer::new())
                .header_read_timeout(ASKING)
                .max_buf_size(32 << 10)
                // One request each: an idle window must not hold a place.
                .keep_alive(false)
                .serve_connection(TokioIo::new(stream), service);
            // Whatever goes wrong on one connection concerns that one alone.
            let _ = tokio::time::timeout(ASKING + ANSWERING, connection).await;
            drop(place);
        });
    }
}

fn router(wire: Wire) -> Router {
    Router::new()
        .route("/", get(|state, query| read(state, query, Wish::Show)))
        .route("/known", get(|state, query| read(state, query, Wish::Known)))
        .route("/plan", get(|state, query| read(state, query, Wish::Plan)))
        .route("/step", post(step))
        .route("/style.css", get(|| async { text("text/css; charset=utf-8", style()) }))
        .route("/script.js", get(|| async { text("text/javascript; charset=utf-8", page::SCRIPT.to_owned()) }))
        .method_not_allowed_fallback(|| async {
            said(StatusCode::METHOD_NOT_ALLOWED, "Not like this", "That is only sent by a form of the page.")
        })
        .fallback(|| async { said(StatusCode::NOT_FOUND, "Not here", "There is no such page.") })
        .layer(DefaultBodyLimit::max(MOST_BYTES))
        .layer(middleware::from_fn_with_state(wire.clone(), check))
        .with_state(wire)
}

/// What must hold of every request; and what every response says.
async fn check(State(wire): State<Wire>, request: HttpRequest, next: Next) -> Response {
    let mut response = match allowed(&wire.guard, &request) {
        Ok(()) => match tokio::time::timeout(ASKING + ANSWERING, next.run(request)).await {
            Ok(response) => response,
            Err(_) => said(StatusCode::REQUEST_TIMEOUT, "Too slow", "That took too long."),
        },
        Err(refusal) => refused(refusal),
    };
    for (name, value) in HEADERS {
        response.headers_mut().insert(name, HeaderValue::from_static(value));
    }
    response
}

fn allowed(guard: &Guard, request: &HttpRequest) -> Result<(), Refusal> {
    let one = |name: HeaderName| one_header(request.headers(), &name);
    let host = one(header::HOST);
    guard.host(host)?;
    if !matches!(*request.method(), Method::GET | Method::HEAD) {
        guard.origin(one(header::ORIGIN), host)?;
    }
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

/// Reads a page. A link with the token becomes a cookie, so that the token does not stay in the address.
async fn read(State(wire): State<Wire>, Query(query): Query<BTreeMap<String, String>>, wish: Wish) -> Response {
    if let (Some(token), Some(_)) = (query.get("token"), &wire.guard.token) {
        let cookie = format!("{COOKIE}={token}; HttpOnly; SameSite=Strict; Path=/");
        if let (Ok(()), Ok(cookie)) = (wire.guard.token(Some(token)), HeaderValue::from_str(&cookie)) {
            let mut response = to_the_question();
            response.headers_mut().insert(header::SET_COOKIE, cookie);
            return response;
        }
    }
    ask(&wire, wish).await
}

/// Takes an answer.
async fn step(
    State(wire): State<Wire>,
    form: Result<Form<Vec<(String, String)>>, axum::extract::rejection::FormRejection>,
) -> Response {
    let fields = match form {
        Ok(Form(fields)) => fields,
        Err(rejection) => {
            let status = rejection.status();
            return said(status, "Not a form of ours", "The form could not be read. Nothing was changed.");
        }
    };
    let Some((turn, did)) = done(&fields) else {
        return said(StatusCode::BAD_REQUEST, "Not a form of ours", "A form says one thing. Nothing was changed.");
    };
    ask(&wire, Wish::Step { turn, did }).await
}

/// What a form says: a turn and one thing that was done.
fn done(fields: &[(String, String)]) -> Option<(String, Did)> {
    let (mut turn, mut did) = (None, None);
    for (name, value) in fields {
        match name.as_str() {
            "turn" if turn.is_none() => turn = Some(value.clone()),
            "pick" if did.is_none() => did = Some(Did::Pick(value.parse().ok()?)),
            "key" if did.is_none() => did = Some(Did::Key(value.clone())),
            "text" if did.is_none() => did = Some(Did::Text(value.clone())),
            _ => return None,
        }
    }
    turn.zip(did)
}

async fn ask(wire: &Wire, wish: Wish) -> Response {
    let (sender, reply) = oneshot::channel();
    if wire.desk.send(Request::Wish(wish, sender)).is_err() {
        return said(StatusCode::SERVICE_UNAVAILABLE, "Closed", "The program is ending.");
    }
    match tokio::time::timeout(ANSWERING, reply).await {
        Ok(Ok(Reply::Page(page))) => html(StatusCode::OK, page),
        Ok(Ok(Reply::Stale(page))) => html(StatusCode::CONFLICT, page),
        Ok(Ok(Reply::Refused(page))) => html(StatusCode::BAD_REQUEST, page),
        Ok(Ok(Reply::Failed(page))) => html(StatusCode::INTERNAL_SERVER_ERROR, page),
        Ok(Ok(Reply::Taken)) => to_the_question(),
        Ok(Err(_)) => said(StatusCode::SERVICE_UNAVAILABLE, "Closed", "The program is ending."),
        Err(_) => said(StatusCode::GATEWAY_TIMEOUT, "Too slow", "That took too long. Load the page again."),
    }
}

/// After an answer: a new page load asks again, it does not answer again.
fn to_the_question() -> Response {
    (StatusCode::SEE_OTHER, [(header::LOCATION, "/")]).into_response()
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
