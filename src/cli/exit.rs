//! How the program ends: one number for each kind of end, the same for every command.

use std::process::ExitCode;

/// How the program ended. The numbers from 64 on are those of BSD's sysexits; 130 is 128 plus the number of the signal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Exit {
    /// Done.
    Done,
    /// `vet` found something.
    Findings,
    /// Wrong usage: an option or its value.
    Usage,
    /// Bad data: a knowledge base or a case.
    BadData,
    /// Reading or writing failed.
    InputOutput,
    /// Ctrl-C.
    Interrupted,
}

impl Exit {
    /// Every end.
    pub const ALL: [Self; 6] =
        [Self::Done, Self::Findings, Self::Usage, Self::BadData, Self::InputOutput, Self::Interrupted];

    /// Its number.
    #[must_use]
    pub fn code(self) -> u8 {
        match self {
            Self::Done => 0,
            Self::Findings => 1,
            Self::Usage => 2,
            Self::BadData => 65,
            Self::InputOutput => 74,
            Self::Interrupted => 130,
        }
    }

    /// What it means, for the help text.
    #[must_use]
    pub fn means(self) -> &'static str {
        match self {
            Self::Done => "done",
            Self::Findings => "findings (vet)",
            Self::Usage => "wrong usage",
            Self::BadData => "bad data: knowledge base or case",
            Self::InputOutput => "reading or writing failed",
            Self::Interrupted => "interrupted",
        }
    }
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> Self {
        Self::from(exit.code())
    }
}
