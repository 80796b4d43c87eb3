//! Hazards and interlocks: what is open, what is barred, and what must be done first.

use crate::access::{AccessGraph, OpenSet};
use crate::case::Case;
use crate::decision::Action;
use crate::knowledge::layout::Laid;
use crate::knowledge::{Access, Check, Hazard, Interlock, Ix, Tick};
use crate::units::Minutes;

/// An open hazard and why it is open.
#[derive(Clone, Debug, PartialEq)]
pub struct OpenHazard {
    /// Which.
    pub hazard: Ix<Hazard>,
    /// Why, in plain words.
    pub why: String,
    /// Minutes to air before the check that closes it, as things stand.
    pub air: Minutes,
}

/// What an action asks for before it may be done.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Before {
    /// What must be put back, deepest first.
    pub put_back: Vec<Ix<Access>>,
    /// The check (and the position of its outcome) that must close a hazard, after airing so long.
    pub close: Option<(Ix<Check>, usize, Minutes)>,
    /// What the person must confirm.
    pub ticks: Vec<Ix<Tick>>,
}

impl Before {
    /// Whether nothing but ticks stands before it.
    #[must_use]
    pub fn only_ticks(&self) -> bool {
        self.put_back.is_empty() && self.close.is_none()
    }
}

/// Whether an action may be done.
#[derive(Clone, Debug, PartialEq)]
pub enum Verdict {
    /// It may, once this is done (often nothing).
    May(Before),
    /// It may not, and no step at hand changes that.
    Barred {
        /// The interlock that bars it; `None`: something else does.
        by: Option<Ix<Interlock>>,
        /// Why, in plain words.
        why: String,
    },
}

/// How safe things are at one moment of a case.
#[derive(Clone, Debug)]
pub struct Safety {
    /// Hazards that are open.
    pub hazards: Vec<OpenHazard>,
    /// An interlock that has ended the job.
    pub ended: Option<Ix<Interlock>>,
}

impl Safety {
    /// Reads the log.
    #[must_use]
    pub fn of(_laid: &Laid<'_>, _graph: &AccessGraph, _case: &Case) -> Self {
        todo!()
    }

    /// Whether an action may be done now, and what must be done first.
    #[must_use]
    pub fn judge(
        &self,
        _laid: &Laid<'_>,
        _graph: &AccessGraph,
        _case: &Case,
        _open: &OpenSet,
        _action: &Action,
    ) -> Verdict {
        todo!()
    }
}
