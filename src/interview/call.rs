//! The phone: what is asked before anything else, and what is said when something is wrong. Whoever guides an owner cannot
//! see, smell or pull anybody away, so people come first, at every call anew.

use super::hand_over::EMERGENCY;
use crate::knowledge::{Hazard, Ix, Knowledge};
use crate::report::{Document, Mark, Rich, Step};
use crate::safety::OpenHazard;

/// One of the questions that come first. The first answer is the one that lets the call go on.
#[derive(Clone, Copy, Debug)]
pub struct CallQuestion {
    /// What to say.
    pub ask: &'static str,
    /// The answer that all is well.
    pub well: &'static str,
    /// The other one.
    pub not_well: &'static str,
    /// What may be heard that means the other one.
    pub listen: &'static str,
    /// What is wrong then.
    pub wrong: Wrong,
}

/// What is wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wrong {
    /// Somebody is in the water, caught or hurt.
    People,
    /// Somebody has breathed exhaust.
    Exhaust,
    /// Smoke, fire, running fuel.
    Fire,
}

/// What comes first in every call. General practice of first aid, no source.
pub const QUESTIONS: [CallQuestion; 3] = [
    CallQuestion {
        ask: "Is everybody out of the water, clear of the machine, and unhurt?",
        well: "Yes, everybody",
        not_well: "No, or not sure",
        listen: "shouting, wind and waves, \"we are still out here\", \"he is holding on\", a silence",
        wrong: Wrong::People,
    },
    CallQuestion {
        ask: "Has it run indoors, or with people close behind it? Does anybody have a headache, feel dizzy, sick or sleepy?",
        well: "No, everybody is well",
        not_well: "Yes, or not sure",
        listen: "slow or slurred words, \"just a bit of a headache\", \"we had it running in the garage\"",
        wrong: Wrong::Exhaust,
    },
    CallQuestion {
        ask: "Do you see smoke, smell burning, or see fuel running or lying about?",
        well: "No",
        not_well: "Yes, or not sure",
        listen: "\"it smells hot\", \"there is a puddle\", \"something is hissing\"",
        wrong: Wrong::Fire,
    },
];

/// What to say when somebody is in danger. Nothing else goes on until they are not.
#[must_use]
pub fn emergency(wrong: Wrong) -> Document {
    let (title, steps): (&str, &[&str]) = match wrong {
        Wrong::People => (
            "STOP: people first",
            &[
                "Leave the machine. Nobody starts it and nobody goes in after anybody.",
                "Reach or throw something that floats; keep them in sight.",
                "Do not hang up on the emergency service to talk to me. Call me when everybody is safe.",
            ],
        ),
        Wrong::Exhaust => (
            "STOP: carbon monoxide",
            &[
                "Everybody out into open air, now, and stay there. Nobody goes back in.",
                "Engine off only if you reach it without breathing in there.",
                "Say that it may be carbon monoxide. Whoever was dizzy or sick is looked at, even when better.",
            ],
        ),
        Wrong::Fire => (
            "STOP: fire",
            &[
                "Touch no switch. Everybody away, upwind.",
                "Nobody goes back for anything, and nobody starts, charges or moves it.",
            ],
        ),
    };
    let mut document = Document::new();
    document.title(title);
    document.paragraph(Rich::strong(&format!("Say: call {EMERGENCY}.")));
    for (n, what) in steps.iter().enumerate() {
        document.step(Step { mark: Mark::Number(n + 1), what: Rich::plain(what), ..Step::default() });
    }
    document
}

/// What to say when somebody is hurt, sick or in the water in the middle of a call.
#[must_use]
pub fn someone_hurt() -> Document {
    let mut document = emergency(Wrong::People);
    document.blocks.extend(emergency(Wrong::Exhaust).blocks);
    document
}

/// What to say where an answer opened something that stops everything else: a smell, fuel in sight.
#[must_use]
pub fn opened(knowledge: &Knowledge, hazard: Ix<Hazard>) -> Document {
    let item = &knowledge.hazards[hazard];
    let mut document = Document::new();
    document.title(format!("STOP: {}", item.title));
    document.paragraph(Rich::strong("Say: touch no switch, and step back from it."));
    document.paragraph(&item.harm);
    for (n, what) in item.controls.iter().enumerate() {
        document.step(Step { mark: Mark::Number(n + 1), what: what.into(), ..Step::default() });
    }
    document.bullets(&item.never);
    document.paragraph(format!(
        "If it runs, lies in a pool, smokes, or anybody feels unwell: everybody away, upwind, and call {EMERGENCY}."
    ));
    document
}

/// What has newly come to stop everything else between two moments.
#[must_use]
pub fn newly_open(before: &[OpenHazard], after: &[OpenHazard]) -> Option<Ix<Hazard>> {
    after.iter().find(|open| open.stops && !before.contains(open)).map(|open| open.hazard)
}
