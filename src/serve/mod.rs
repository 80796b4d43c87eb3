//! The interview as a page on this machine: plain forms over HTTP, no script needed.
//!
//! It drives the same [`interview::step`](crate::interview::step) as the terminal and keeps the same case file. Every job
//! and every drill is a [`room`] with a thread of its own ([`hall`]); [`desk`] is the interview, [`drill`] the drill,
//! [`turns`] says whose answer counts, [`guard`] who may ask; [`page`] is what a screen looks like; `web` is the wire
//! between them.

pub mod desk;
pub mod drill;
pub mod front;
pub mod gate;
pub mod guard;
pub mod hall;
pub mod page;
pub mod room;
pub mod timed;
pub mod turns;
mod web;
pub mod what_if;

pub use guard::Guard;
pub use hall::{Jobs, Shop};

use room::{Asked, Room};
use std::io;
use std::net::{SocketAddr, TcpListener};
use std::sync::mpsc;

/// What the rooms are asked.
enum Request {
    /// To do something.
    Ask(Room, Asked),
    /// To end.
    Close,
}

/// Ends a page that is served; can be called from a signal handler's thread.
#[derive(Clone)]
pub struct Closer(mpsc::Sender<Request>);

impl Closer {
    /// Ends it once the answer at hand is saved.
    pub fn close(&self) {
        // Where nobody listens it has ended already.
        let _ = self.0.send(Request::Close);
    }
}

/// A page that is about to be served.
pub struct Server {
    listener: TcpListener,
    guard: Guard,
    requests: mpsc::Receiver<Request>,
    sender: mpsc::Sender<Request>,
}

/// Random words from the system, as hexadecimal digits: for the token, and to tell one run from another.
///
/// # Errors
/// Where the system has none.
pub fn random_word() -> io::Result<String> {
    let mut bytes = [0_u8; 16];
    getrandom::fill(&mut bytes).map_err(|error| io::Error::other(error.to_string()))?;
    Ok(format!("{:032x}", u128::from_le_bytes(bytes)))
}

impl Server {
    /// Takes an address; port 0 takes a free one.
    ///
    /// # Errors
    /// Where the address cannot be had.
    pub fn bind(at: SocketAddr) -> io::Result<Self> {
        let listener = TcpListener::bind(at)?;
        listener.set_nonblocking(true)?;
        let guard = Guard::new(listener.local_addr()?, &random_word()?);
        let (sender, requests) = mpsc::channel();
        Ok(Self { listener, guard, requests, sender })
    }

    /// Who may ask, and where.
    #[must_use]
    pub fn guard(&self) -> &Guard {
        &self.guard
    }

    /// What ends it.
    #[must_use]
    pub fn closer(&self) -> Closer {
        Closer(self.sender.clone())
    }

    /// Serves until it is closed. The wire gets a thread of its own, and so does every room.
    ///
    /// # Errors
    /// Where the wire cannot be set up.
    pub fn run(self, shop: &Shop<'_>) -> io::Result<()> {
        let Self { listener, guard, requests, sender } = self;
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
        let failed = sender.clone();
        std::thread::Builder::new().name("wire".to_owned()).spawn(move || {
            if runtime.block_on(web::serve(listener, guard, sender)).is_err() {
                let _ = failed.send(Request::Close);
            }
        })?;
        hall::run(shop, random_word()?, requests);
        Ok(())
    }
}
