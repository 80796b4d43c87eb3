//! What is asked of a room and what comes back. A room is a job, a drill, or the front where both are begun.

use super::turns::Did;
use crate::drill::draw::Level;
use std::time::{Duration, Instant};
use tokio::sync::oneshot;

/// A room, by what it is about.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Room {
    /// Where jobs are begun and gone on with.
    Front,
    /// A job, by the name of its case file without the ending.
    Job(String),
    /// A drill, by a word that only who began it knows.
    Drill(String),
}

impl Room {
    /// Where it is on the page.
    #[must_use]
    pub fn path(&self) -> String {
        match self {
            Self::Front => "/".to_owned(),
            Self::Job(name) => format!("/job/{}", escaped(name)),
            Self::Drill(name) => format!("/drill/{}", escaped(name)),
        }
    }
}

/// A name as a part of an address.
fn escaped(name: &str) -> String {
    use std::fmt::Write as _;
    let mut said = String::new();
    for byte in name.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~".contains(&byte) {
            said.push(char::from(byte));
        } else {
            // Writing into text does not fail.
            let _ = write!(said, "%{byte:02X}");
        }
    }
    said
}

/// What somebody wants of a room.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Wish {
    /// The question as it stands.
    Show,
    /// To answer: the turn of the page, and the fields of the form.
    Step {
        /// The turn that the page showed.
        turn: String,
        /// What was done there.
        did: Did,
    },
    /// What we know.
    Known,
    /// The work order.
    Plan,
    /// The hand-over sheet.
    Sheet,
    /// What an answer would lead to; nothing is written down.
    WhatIf(Did),
    /// To begin a job.
    NewJob {
        /// Its title; nothing: none.
        title: String,
        /// Who works on it: an id of the knowledge base; nothing: whoever usually does.
        user: String,
    },
    /// To see how drills are begun.
    Drills,
    /// To begin a drill.
    NewDrill(Chosen),
}

/// Which drill.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Chosen {
    /// How hard.
    pub level: Level,
    /// The seed: the same one draws the same drill.
    pub seed: u64,
    /// Whether a coach is beside.
    pub coach: bool,
}

/// What comes back.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Reply {
    /// A page.
    Page(String),
    /// A page: the answer did not count, for the page it stood on was old.
    Stale(String),
    /// A page: the answer was none that the page offers.
    Refused(String),
    /// A page: the case could not be read or kept; nothing changed.
    Failed(String),
    /// A page: there is nothing there.
    Nowhere(String),
    /// It was taken: look at the question again.
    Taken,
    /// It is begun: look there.
    Go(Room),
}

/// What a reply took.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Took {
    /// Until the room was free and had a place to think.
    pub waiting: Duration,
    /// What is believed and advised.
    pub advice: Duration,
    /// All else: reading and keeping the case, the page itself.
    pub page: Duration,
}

/// A wish on its way to a room.
pub(super) struct Asked {
    pub wish: Wish,
    pub reply: oneshot::Sender<(Reply, Took)>,
    pub at: Instant,
}

impl Asked {
    /// Answers, and says what that took; `so_far` tells what has been waited and thought in this room.
    pub(super) fn answer(self, so_far: impl Fn() -> Took, work: impl FnOnce(&Wish) -> Reply) {
        let begun = Instant::now();
        let before = so_far();
        let reply = work(&self.wish);
        let after = so_far();
        let waited = after.waiting.saturating_sub(before.waiting);
        let advice = after.advice.saturating_sub(before.advice);
        let page = begun.elapsed().saturating_sub(waited + advice);
        // Whoever went away does not need the reply; what they answered is saved.
        let _ = self.reply.send((reply, Took { waiting: waited + (begun - self.at), advice, page }));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_one_part_of_an_address_whatever_is_in_it() {
        assert_eq!(Room::Job("barn-find".to_owned()).path(), "/job/barn-find");
        assert_eq!(Room::Job("../a b?ö".to_owned()).path(), "/job/..%2Fa%20b%3F%C3%B6");
    }
}
