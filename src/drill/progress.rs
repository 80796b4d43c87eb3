//! The record of a trainee: which drills were taken and what they were worth, and the level that comes next.

use super::draw::Level;
use super::score::Score;
use serde::{Deserialize, Serialize};

/// The form of the file.
const FORMAT: u32 = 1;
/// The level moves on after so many drills in a row ...
const IN_A_ROW: usize = 3;
/// ... of this score on average, none of them with a breach of safety or a hint. A choice: a fifth of it given
/// away.
const GOOD: f64 = 0.8;
/// ... and back where their average is below this: more than half given away.
const POOR: f64 = 0.45;

/// The record.
#[derive(Clone, Debug, PartialEq)]
pub struct Progress {
    /// The level of the next drill.
    pub level: Level,
    /// The drills taken, the first first.
    pub drills: Vec<Taken>,
}

/// One drill.
#[derive(Clone, Debug, PartialEq)]
pub struct Taken {
    /// Its level.
    pub level: Level,
    /// Its seed.
    pub seed: u64,
    /// Its score, 0..=1.
    pub score: f64,
    /// The Brier score of what was stated; `None` where nothing was.
    pub brier: Option<f64>,
    /// Checks that told nothing new.
    pub redundant: u32,
    /// Parts fitted too soon.
    pub premature: u32,
    /// Safety violations.
    pub breaches: u32,
    /// Hints asked for.
    pub hints: u32,
}

/// Which way the level moved.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Move {
    /// It stays.
    Stays,
    /// On to the next.
    On,
    /// Back to the one before.
    Back,
}

impl Default for Progress {
    fn default() -> Self {
        Self { level: Level::Single, drills: Vec::new() }
    }
}

impl Progress {
    /// Adds a drill and moves the level by the last three on it.
    pub fn add(&mut self, seed: u64, level: Level, score: &Score) -> Move {
        let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
        self.drills.push(Taken {
            level,
            seed,
            // What is read from the file is what was written to it.
            score: rounded(score.score),
            brier: score.beliefs.map(|b| rounded(b.brier)),
            redundant: count(score.redundant),
            premature: count(score.premature),
            breaches: count(score.breaches),
            hints: count(score.hints),
        });
        let last: Vec<&Taken> = self.drills.iter().rev().take_while(|taken| taken.level == self.level).collect();
        let Some(last) = last.get(..IN_A_ROW) else { return Move::Stays };
        #[expect(clippy::cast_precision_loss, reason = "three")]
        let mean = last.iter().map(|taken| taken.score).sum::<f64>() / IN_A_ROW as f64;
        let clean = last.iter().all(|taken| taken.breaches == 0 && taken.hints == 0);
        let at = Level::ALL.iter().position(|level| *level == self.level).unwrap_or(0);
        if mean >= GOOD && clean && at + 1 < Level::ALL.len() {
            self.level = Level::ALL[at + 1];
            return Move::On;
        }
        if mean < POOR && at > 0 {
            self.level = Level::ALL[at - 1];
            return Move::Back;
        }
        Move::Stays
    }

    /// The record as text.
    #[must_use]
    pub fn write(&self) -> String {
        let drills = self.drills.iter().map(|taken| RawTaken {
            level: taken.level.id().to_owned(),
            seed: taken.seed,
            score: taken.score,
            brier: taken.brier,
            redundant: taken.redundant,
            premature: taken.premature,
            breaches: taken.breaches,
            hints: taken.hints,
        });
        let raw = Raw { format: FORMAT, level: self.level.id().to_owned(), drills: drills.collect() };
        serde_json::to_string_pretty(&raw).unwrap_or_default() + "\n"
    }

    /// A record from text.
    ///
    /// # Errors
    /// Where it is none, or of another format: what was expected and found.
    pub fn read(text: &str) -> Result<Self, String> {
        // The number of the format is looked at first: another one may have other keys.
        let head: Head = serde_json::from_str(text).map_err(|error| format!("expected a record of drills: {error}"))?;
        if head.format != FORMAT {
            return Err(format!("expected `format: {FORMAT}`, found `{}`", head.format));
        }
        let raw: Raw = serde_json::from_str(text).map_err(|error| format!("expected a record of drills: {error}"))?;
        let level = |id: &str| {
            let known = || Level::ALL.map(Level::id).join(", ");
            Level::named(id).ok_or_else(|| format!("expected one of {} as a level, found `{id}`", known()))
        };
        let share = |value: f64| {
            if (0.0..=1.0).contains(&value) { Ok(value) } else { Err(format!("expected 0 to 1, found `{value}`")) }
        };
        let taken = |raw: &RawTaken| -> Result<Taken, String> {
            Ok(Taken {
                level: level(&raw.level)?,
                seed: raw.seed,
                score: share(raw.score)?,
                brier: raw.brier.map(share).transpose()?,
                redundant: raw.redundant,
                premature: raw.premature,
                breaches: raw.breaches,
                hints: raw.hints,
            })
        };
        Ok(Self { level: level(&raw.level)?, drills: raw.drills.iter().map(taken).collect::<Result<_, _>>()? })
    }
}

/// To four digits.
fn rounded(share: f64) -> f64 {
    (share * 1e4).round() / 1e4
}

#[derive(Deserialize)]
struct Head {
    format: u32,
}

#[derive(Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
struct Raw {
    format: u32,
    level: String,
    drills: Vec<RawTaken>,
}

#[derive(Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
struct RawTaken {
    level: String,
    seed: u64,
    score: f64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    brier: Option<f64>,
    #[serde(default)]
    redundant: u32,
    #[serde(default)]
    premature: u32,
    #[serde(default)]
    breaches: u32,
    #[serde(default)]
    hints: u32,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Minutes, Money};

    fn worth(score: f64, breaches: usize, hints: usize) -> Score {
        Score {
            score,
            best: Money::of(100.0),
            regret: Money::ZERO,
            cost: Money::ZERO,
            minutes: Minutes::ZERO,
            steps: 3,
            redundant: 0,
            premature: 0,
            breaches,
            hints,
            beliefs: None,
        }
    }

    #[test]
    fn three_good_drills_move_on_and_three_poor_ones_back() {
        let mut progress = Progress::default();
        assert_eq!(progress.add(1, Level::Single, &worth(0.9, 0, 0)), Move::Stays);
        assert_eq!(progress.add(2, Level::Single, &worth(0.7, 0, 0)), Move::Stays);
        assert_eq!(progress.add(3, Level::Single, &worth(0.9, 0, 0)), Move::On);
        assert_eq!(progress.level, Level::Double);
        for seed in 4..6 {
            assert_eq!(progress.add(seed, Level::Double, &worth(0.4, 0, 0)), Move::Stays);
        }
        assert_eq!(progress.add(6, Level::Double, &worth(0.4, 0, 0)), Move::Back);
        assert_eq!(progress.level, Level::Single);
    }

    #[test]
    fn neither_with_a_hint_nor_with_a_breach() {
        for (breaches, hints) in [(1, 0), (0, 1)] {
            let mut progress = Progress::default();
            for seed in 0..3 {
                let way = progress.add(seed, Level::Single, &worth(0.95, breaches, hints));
                assert_eq!(way, Move::Stays);
            }
        }
    }

    #[test]
    fn what_is_written_is_read() {
        let mut progress = Progress::default();
        progress.add(7, Level::Single, &worth(2.0 / 3.0, 0, 1));
        assert_eq!(Progress::read(&progress.write()), Ok(progress));
    }

    #[test]
    fn what_is_no_record_is_told() {
        for (text, words) in [
            ("", "expected a record of drills"),
            (r#"{"format": 2, "new": []}"#, "expected `format: 1`, found `2`"),
            (r#"{"format": 1, "level": "hard", "drills": []}"#, "expected one of single, double, misleading, rare"),
            (r#"{"format": 1, "level": "rare", "drills": [], "more": 1}"#, "unknown field `more`"),
            (r#"{"format": 1, "level": "rare", "drills": [{"level": "rare", "seed": 1, "score": 3}]}"#, "found `3`"),
        ] {
            let error = Progress::read(text).unwrap_err();
            assert!(error.contains(words), "{error}");
        }
    }
}
