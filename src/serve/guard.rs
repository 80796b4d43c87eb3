//! Who may ask: rules about addresses, hosts, origins and the token. Pure, so that each can be tried by itself.

use std::net::{IpAddr, SocketAddr};

/// What the page asks of whoever opens it.
#[derive(Clone, Debug)]
pub struct Guard {
    /// Where the page is served.
    pub at: SocketAddr,
    /// What must be known to see it; `None` on this machine alone.
    pub token: Option<String>,
}

/// Why a request is refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refusal {
    /// It names a host that is not this one: a name that was made to point here.
    Host,
    /// It comes from a page that is not ours.
    Origin,
    /// It does not know the token.
    Token,
}

/// The name of the cookie that holds the token.
pub const COOKIE: &str = "doldrum";

impl Guard {
    /// A page at an address: for this machine alone without a token, for any other with one.
    #[must_use]
    pub fn new(at: SocketAddr, token: &str) -> Self {
        Self { at, token: (!at.ip().is_loopback()).then(|| token.to_owned()) }
    }

    /// Where to open the page.
    #[must_use]
    pub fn link(&self) -> String {
        match &self.token {
            Some(token) => format!("http://{}/?token={token}", self.at),
            None => format!("http://{}/", self.at),
        }
    }

    /// Whether a host is this one. A browser that was led here by a foreign name sends that name; an address can not be
    /// made to mean something else.
    ///
    /// # Errors
    /// Where it is not.
    pub fn host(&self, host: Option<&str>) -> Result<(), Refusal> {
        let host = host.ok_or(Refusal::Host)?;
        let (name, port) = match host.rsplit_once(':') {
            Some((name, port)) if port.bytes().all(|b| b.is_ascii_digit()) => (name, port.parse().ok()),
            _ => (host, Some(80)),
        };
        if port != Some(self.at.port()) {
            return Err(Refusal::Host);
        }
        let address = name.trim_start_matches('[').trim_end_matches(']').parse::<IpAddr>();
        let known = match address {
            Ok(address) if self.at.ip().is_unspecified() => !address.is_unspecified(),
            Ok(address) => address == self.at.ip() || (address.is_loopback() && self.at.ip().is_loopback()),
            Err(_) => {
                name.eq_ignore_ascii_case("localhost") && (self.at.ip().is_loopback() || self.at.ip().is_unspecified())
            }
        };
        if known { Ok(()) } else { Err(Refusal::Host) }
    }

    /// Whether what changes something comes from our own page: the origin must be named, and be the host.
    ///
    /// # Errors
    /// Where it is not.
    pub fn origin(&self, origin: Option<&str>, host: Option<&str>) -> Result<(), Refusal> {
        match (origin.and_then(|origin| origin.strip_prefix("http://")), host) {
            (Some(origin), Some(host)) if origin.eq_ignore_ascii_case(host) => Ok(()),
            _ => Err(Refusal::Origin),
        }
    }

    /// Whether what a browser says of a request may be: other sites may lead a person here, and may fetch nothing behind
    /// their back. What says nothing is no browser of today, or none at all.
    ///
    /// # Errors
    /// Where another site fetches.
    pub fn fetched(&self, site: Option<&str>, mode: Option<&str>) -> Result<(), Refusal> {
        match (site, mode) {
            (None | Some("same-origin" | "none"), _) | (_, Some("navigate")) => Ok(()),
            _ => Err(Refusal::Origin),
        }
    }

    /// Whether a token, from a link or a cookie, is the right one.
    ///
    /// # Errors
    /// Where it is not.
    pub fn token(&self, given: Option<&str>) -> Result<(), Refusal> {
        match (&self.token, given) {
            (None, _) => Ok(()),
            (Some(token), Some(given)) if same(token.as_bytes(), given.as_bytes()) => Ok(()),
            (Some(_), _) => Err(Refusal::Token),
        }
    }
}

/// The token among the cookies of a request.
#[must_use]
pub fn cookie(header: Option<&str>) -> Option<&str> {
    header?.split(';').filter_map(|pair| pair.trim().split_once('=')).find(|(name, _)| *name == COOKIE).map(|(_, v)| v)
}

/// Compares all of it, however early it differs: how long it takes tells nothing.
fn same(a: &[u8], b: &[u8]) -> bool {
    a.len() == b.len() && a.iter().zip(b).fold(0, |differs, (a, b)| differs | (a ^ b)) == 0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn guard(at: &str) -> Guard {
        Guard::new(at.parse().expect("an address"), "secret")
    }

    #[test]
    fn a_foreign_name_is_refused() {
        let here = guard("127.0.0.1:4000");
        for good in ["127.0.0.1:4000", "localhost:4000", "LOCALHOST:4000", "[::1]:4000"] {
            assert_eq!(here.host(Some(good)), Ok(()), "{good}");
        }
        for bad in [
            "evil.example:4000",
            "127.0.0.1:4001",
            "127.0.0.1",
            "localhost",
            "10.0.0.5:4000",
            "",
            ":4000",
            "127.0.0.1:4000.evil",
        ] {
            assert_eq!(here.host(Some(bad)), Err(Refusal::Host), "{bad}");
        }
        assert_eq!(here.host(None), Err(Refusal::Host));
        let open = guard("0.0.0.0:4000");
        assert_eq!(
            (open.host(Some("10.0.0.5:4000")), open.host(Some("evil.example:4000"))),
            (Ok(()), Err(Refusal::Host))
        );
        let one = guard("10.0.0.5:4000");
        assert_eq!((one.host(Some("10.0.0.5:4000")), one.host(Some("localhost:4000"))), (Ok(()), Err(Refusal::Host)));
    }

    #[test]
    fn only_our_own_page_changes_anything() {
        let here = guard("127.0.0.1:4000");
        let host = Some("127.0.0.1:4000");
        assert_eq!(here.origin(Some("http://127.0.0.1:4000"), host), Ok(()));
        for bad in [
            None,
            Some("null"),
            Some("http://evil.example"),
            Some("https://127.0.0.1:4000"),
            Some("http://127.0.0.1:4001"),
        ] {
            assert_eq!(here.origin(bad, host), Err(Refusal::Origin), "{bad:?}");
        }
    }

    #[test]
    fn another_site_may_lead_here_and_fetch_nothing() {
        let here = guard("127.0.0.1:4000");
        for (site, mode) in [
            (None, None),
            (Some("same-origin"), Some("cors")),
            (Some("none"), Some("navigate")),
            (Some("cross-site"), Some("navigate")),
        ] {
            assert_eq!(here.fetched(site, mode), Ok(()), "{site:?} {mode:?}");
        }
        for (site, mode) in
            [(Some("cross-site"), Some("no-cors")), (Some("same-site"), None), (Some("what"), Some("cors"))]
        {
            assert_eq!(here.fetched(site, mode), Err(Refusal::Origin), "{site:?} {mode:?}");
        }
    }

    #[test]
    fn only_another_machine_needs_the_token() {
        assert_eq!(guard("127.0.0.1:1").token(None), Ok(()));
        assert_eq!(guard("[::1]:1").token(None), Ok(()));
        let open = guard("0.0.0.0:1");
        assert_eq!(open.token(Some("secret")), Ok(()));
        for bad in [None, Some(""), Some("secre"), Some("secret1"), Some("Secret")] {
            assert_eq!(open.token(bad), Err(Refusal::Token), "{bad:?}");
        }
        assert!(open.link().ends_with("/?token=secret") && !guard("127.0.0.1:1").link().contains("token"));
        assert_eq!(cookie(Some("a=b; doldrum=secret; c=d")), Some("secret"));
        assert_eq!((cookie(Some("xdoldrum=1")), cookie(None)), (None, None));
    }
}
