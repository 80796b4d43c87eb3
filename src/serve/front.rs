//! Where jobs are begun and gone on with, and drills are chosen.

use super::page::{Place, shell};
use super::room::Room;
use crate::drill::draw::Level;
use crate::knowledge::Knowledge;
use maud::{Markup, html};

/// The jobs that can be gone on with, each with how it stands, and a form for a new one.
#[must_use]
pub fn jobs(knowledge: &Knowledge, usual: &str, jobs: &[(String, String)]) -> String {
    let place = Place::of(&Room::Front);
    let inside = html! {
        h1 { "Jobs" }
        section aria-label="A new job" {
            h2 { "A new job" }
            form method="post" action="/job" aria-label="A new job" data-whole {
                p { label { "What is it called? " input type="text" name="title" class="long" maxlength="80" autocomplete="off"; } }
                p { label { "Who works on it? " (users(knowledge, usual)) } }
                button type="submit" class="main" { "Begin" }
            }
        }
        section aria-label="Go on with" {
            h2 { "Go on with" }
            @if jobs.is_empty() { p { "There are no jobs in this folder yet." } }
            @else {
                ul class="jobs" {
                    @for (name, stands) in jobs {
                        li { a href=(Room::Job(name.clone()).path()) { (shown(name)) } br; (stands) }
                    }
                }
            }
        }
    };
    shell(&place, "Jobs", &inside)
}

fn users(knowledge: &Knowledge, usual: &str) -> Markup {
    html! {
        select name="user" {
            @for id in knowledge.users.ids() {
                option value=(id) selected[id == usual] { (id) }
            }
        }
    }
}

/// The name of a case without what all of them begin with.
fn shown(name: &str) -> &str {
    name.strip_prefix("doldrum-").unwrap_or(name)
}

/// How a drill is begun.
#[must_use]
pub fn drills(seed: u64) -> String {
    let place = Place::of(&Room::Front);
    let inside = html! {
        h1 { "Drill" }
        p { "A hidden fault to find. The whole bench is yours and nothing is recommended; at the end every choice is held \
             against the best one at that point." }
        form method="post" action="/drill" aria-label="A drill" data-whole {
            fieldset {
                legend { "How hard?" }
                @for level in Level::ALL {
                    p { label {
                        input type="radio" name="level" value=(level.id()) checked[level == Level::Single];
                        " " (hardness(level))
                    } }
                }
            }
            p { label { "Its number, the seed: the same one gives the same drill. "
                input type="text" inputmode="numeric" name="seed" class="short" value=(seed) pattern="[0-9]{1,9}" maxlength="9" autocomplete="off" required; } }
            p class="check" { label { input type="checkbox" name="coach" value="beside"; " A coach beside you: hints, a word after each choice" } }
            button type="submit" class="main" { "Begin" }
        }
    };
    shell(&place, "Drill", &inside)
}

fn hardness(level: Level) -> &'static str {
    match level {
        Level::Single => "Single: one fault, and nothing else is wrong",
        Level::Double => "Double: two faults, each of which alone brings the complaint about",
        Level::Misleading => "Misleading: one fault, and some answers are far from what it would usually show",
        Level::Rare => "Rare: one fault that is seldom met",
    }
}
