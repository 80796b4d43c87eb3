//! How a case stands, for a list of cases.

use super::step::cured_by;
use crate::case::{Case, Event};
use crate::knowledge::Knowledge;

/// What a list says of a case. All texts are for people.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Standing {
    /// Its name; "-" without one.
    pub title: String,
    /// What is complained of first; "-" where nothing is yet.
    pub complaint: String,
    /// Who works on it: an id.
    pub user: String,
    /// How many answers.
    pub answers: usize,
    /// "gone" where the symptom was gone when it was tried last after a repair, else "open".
    pub stands: &'static str,
}

impl Standing {
    /// Of a case.
    #[must_use]
    pub fn of(knowledge: &Knowledge, case: &Case) -> Self {
        let complaint = case.symptoms.first().map_or("-", |s| knowledge.symptoms[*s].title.as_str());
        Self {
            title: case.title.clone().unwrap_or_else(|| "-".to_owned()),
            complaint: complaint.to_owned(),
            user: knowledge.users.id(case.user).to_owned(),
            answers: case.log.iter().filter(|e| matches!(e.event, Event::Answer { .. })).count(),
            stands: if cured_by(case).is_some() { "gone" } else { "open" },
        }
    }

    /// "Blue one · Cranks well, does not start · owner · 4 answers · open".
    #[must_use]
    pub fn line(&self) -> String {
        let answers = match self.answers {
            1 => "1 answer".to_owned(),
            n => format!("{n} answers"),
        };
        let known = [&self.title, &self.complaint].into_iter().filter(|text| *text != "-");
        let parts: Vec<&str> =
            known.map(String::as_str).chain([self.user.as_str(), answers.as_str(), self.stands]).collect();
        parts.join(" · ")
    }
}
