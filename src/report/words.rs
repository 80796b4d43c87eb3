//! Beliefs, actions and answers in plain words, the same wherever they are said.

use super::Figures;
use crate::belief::{CauseBelief, Explanations, Listed};
use crate::case::{Answer, Case, Entry, Event, Position, Presence};
use crate::decision::{Action, Advice, Proof, Proposal, complained_of, worked_on};
use crate::inference::Error;
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Access, Cause, Check, Interlock, Ix, Knowledge, Repair};
use crate::model::compile::{CaseModel, Said, compile};
use crate::model::network::VarIx;
use crate::units::{Measure, Minutes, Money};

/// How many causes the strip names.
const STRIP: usize = 3;
/// A place of a cause is named where the other places are less than half as likely.
const SAME: f64 = 0.5;
/// Combinations that are not listed have something said about each where they come to this much together.
const MANY: f64 = 0.02;
/// Below this a chance is said as less than something.
const LEAST_SPOKEN: f64 = 0.0095;

/// "6 of 10", "8 of 100", "under 1 of 100": a chance as the strip says it.
#[must_use]
pub fn of_ten(chance: f64) -> String {
    if chance >= 0.15 {
        return format!("{} of 10", (chance * 10.0).round());
    }
    let hundredths = (chance * 100.0).round();
    if hundredths < 1.0 { "under 1 of 100".to_owned() } else { format!("{hundredths} of 100") }
}

/// "So far: clogged inlet screen 4 of 10 · no spark 2 of 10".
#[must_use]
pub fn strip(laid: &Laid<'_>, causes: &[CauseBelief]) -> String {
    let said: Vec<String> =
        leaders(laid, causes, STRIP).into_iter().map(|(words, chance)| format!("{words} {}", of_ten(chance))).collect();
    if said.is_empty() { "So far: nothing stands out.".to_owned() } else { format!("So far: {}", said.join(" · ")) }
}

/// The likeliest causes, each once whatever the places, with the chance of its likeliest place.
#[must_use]
pub fn leaders(laid: &Laid<'_>, causes: &[CauseBelief], n: usize) -> Vec<(String, f64)> {
    let mut named: Vec<(String, f64)> = Vec::new();
    let mut seen = Vec::new();
    for belief in causes {
        let ix = belief.cause.item;
        if named.len() == n || seen.contains(&ix) {
            continue;
        }
        seen.push(ix);
        let elsewhere = causes
            .iter()
            .filter(|c| c.cause.item == ix && c.cause.at != belief.cause.at)
            .any(|c| c.chance > SAME * belief.chance);
        let cause = &laid.knowledge.causes[ix];
        let words =
            if elsewhere { cause.title.clone() } else { laid.words(&cause.title, cause.scope, belief.cause.at) };
        named.push((lower_first(&words), belief.chance));
    }
    named
}

/// "Clogged" as "clogged"; "CDI box" stays.
#[must_use]
pub fn lower_first(text: &str) -> String {
    let mut chars = text.chars();
    match (chars.next(), chars.next()) {
        (Some(first), second) if second.is_none_or(|c| !c.is_uppercase()) => {
            first.to_lowercase().chain(text.chars().skip(1)).collect()
        }
        _ => text.to_owned(),
    }
}

/// An action by its title.
#[must_use]
pub fn action(laid: &Laid<'_>, action: &Action) -> String {
    match action {
        Action::Check(check) => check_words(laid, *check),
        Action::Repair(repair, places) => repair_words(laid, *repair, places),
        Action::Try(_) => "Try whether it is gone".to_owned(),
        Action::HandOver => "Hand over to a specialist".to_owned(),
    }
}

/// A check and its place.
#[must_use]
pub fn check_words(laid: &Laid<'_>, check: Instance<Check>) -> String {
    let item = &laid.knowledge.checks[check.item];
    laid.words(&item.title, item.scope, check.at)
}

/// A repair and its places, where it is not done on all of them.
#[must_use]
pub fn repair_words(laid: &Laid<'_>, repair: Ix<Repair>, places: &[usize]) -> String {
    let item = &laid.knowledge.repairs[repair];
    let names: Vec<&str> = places.iter().filter_map(|at| laid.place_name(item.scope, *at)).collect();
    if names.is_empty() || places.len() == laid.places(item.scope) {
        item.title.clone()
    } else {
        format!("{}, {}", item.title, names.join(" and "))
    }
}

/// An answer as a person would say it.
#[must_use]
pub fn answer(check: &Check, answer: Answer, figures: &Figures) -> String {
    match (answer, &check.reading) {
        (Answer::Outcome(at), _) => check.outcomes[at].says.clone(),
        (Answer::Reading(value), Some(reading)) => figures.measure(Measure { value, unit: reading.unit }),
        (Answer::Reading(value), None) => value.to_string(),
        (Answer::Unknown, _) => "not sure".to_owned(),
        (Answer::CouldNot, _) => "could not".to_owned(),
    }
}

/// An entry of the log in one line.
#[must_use]
pub fn entry(laid: &Laid<'_>, entry: &Entry, figures: &Figures) -> String {
    let knowledge = laid.knowledge;
    match &entry.event {
        Event::Answer { check, place, answer: said, .. } => {
            let item = &knowledge.checks[*check];
            let title = match place {
                Some(at) => laid.words(&item.title, item.scope, *at),
                None => item.title.clone(),
            };
            format!("{title}: {}", answer(item, *said, figures))
        }
        Event::Access { access, now } => {
            let access = &knowledge.access[*access];
            match now {
                Position::Open => access.title.clone(),
                Position::Shut => format!("{}: done", access.put_back_words()),
            }
        }
        Event::Repaired { repair, places } => format!("Repaired: {}", repair_words(laid, *repair, places)),
        Event::Left { repair, places } => {
            format!(
                "Left to the owner, to be done before the next call: {}",
                lower_first(&repair_words(laid, *repair, places))
            )
        }
        Event::Tried { symptom, now } => {
            let now = if *now == Presence::Present { "still there" } else { "gone" };
            format!("{}: {now}", knowledge.symptoms[*symptom].title)
        }
        Event::Found { cause, now } => {
            let item = &knowledge.causes[cause.item];
            let now = if *now == Presence::Present { "found" } else { "not there" };
            format!("{}: {now}", laid.words(&item.title, item.scope, cause.at))
        }
        Event::Ticked(tick) => format!("Confirmed: {}", knowledge.ticks[*tick].says),
        Event::Set { setting, value } => {
            let item = &knowledge.settings[setting.item];
            format!("{}: {value}", laid.words(&item.title, item.scope, setting.at))
        }
        Event::Emergency { lock, now } => match now {
            Presence::Present => format!("Stopped: {}", emergency(knowledge, *lock)),
            Presence::Absent => format!("Declared safe, after: {}", emergency(knowledge, *lock)),
        },
    }
}

/// What ended a job, in the middle of a sentence.
#[must_use]
pub fn emergency(knowledge: &Knowledge, lock: Ix<Interlock>) -> String {
    let lock = &knowledge.interlocks[lock];
    lock.key.clone().unwrap_or_else(|| lower_first(lock.why.trim_end_matches('.')))
}

/// What holds where a job was stopped and nobody has said since that the craft is safe.
pub const UNTIL_SAFE: &str = "Nothing more until the craft has been declared safe.";

/// Why there is nothing to do on a job that was stopped, and what to write into its log once there is.
#[must_use]
pub fn stopped(knowledge: &Knowledge, lock: Ix<Interlock>) -> String {
    let (what, id) = (emergency(knowledge, lock), knowledge.interlocks.id(lock));
    format!(
        "The job was stopped ({what}). {UNTIL_SAFE} `doldrum triage` asks whether it has; in the log that is \
         `{{emergency: {id}, present: false}}`"
    )
}

/// What said something: an answer or the customer. What a customer did not name speaks together with what they did.
#[must_use]
pub fn said(laid: &Laid<'_>, case: &Case, said: Said, figures: &Figures) -> String {
    match said {
        Said::Customer(symptom) => {
            let named = if case.symptoms.contains(&symptom) { Some(&symptom) } else { case.symptoms.first() };
            let title = named.map_or("none", |s| laid.knowledge.symptoms[*s].title.as_str());
            format!("The complaint: {}", lower_first(title))
        }
        Said::Entry(at) => case.log.get(at).map_or_else(String::new, |e| entry(laid, e, figures)),
    }
}

/// Why there is no answer, for people: where the network is too wide, what is tied together and what helps.
#[must_use]
pub fn trouble(laid: &Laid<'_>, case: &Case, error: &Error) -> String {
    let Error::TooWide { needed, allowed, variables } = error else { return error.to_string() };
    let model = compile(laid, case);
    let named: Vec<String> = variables.iter().filter_map(|var| variable(laid, &model, *var)).collect();
    let tied = match named.as_slice() {
        [] => "a check's conditions".to_owned(),
        [some @ .., _] if some.len() >= TIED => {
            format!("{} and {} more", named[..TIED].join(", "), named.len() - TIED)
        }
        [all @ .., last] if !all.is_empty() => format!("{} and {last}", all.join(", ")),
        [only, ..] => only.clone(),
    };
    format!(
        "the answers tie too much together to be weighed: expected `{allowed}` table cells to do, found none below \
         `{needed:.0}`\n  tied together: {tied}\n  what helps: `doldrum assess --exact`, which has 2^27 cells, or a case without the \
         answers that bear on most of these"
    )
}

/// How many of what is tied together are named.
const TIED: usize = 6;

/// What a variable of the model stands for.
fn variable(laid: &Laid<'_>, model: &CaseModel, var: VarIx) -> Option<String> {
    let knowledge = laid.knowledge;
    let cause = || model.causes.iter().find(|(_, v)| *v == var).map(|&(i, _)| i);
    let effect = || model.effects.iter().find(|(_, v)| *v == var).map(|&(i, _)| i);
    let symptom = || model.symptoms.iter().find(|(_, v)| *v == var).map(|&(ix, _)| ix);
    if let Some(i) = cause() {
        let item = &knowledge.causes[i.item];
        return Some(lower_first(&laid.words(&item.title, item.scope, i.at)));
    }
    if let Some(i) = effect() {
        let item = &knowledge.effects[i.item];
        return Some(lower_first(&laid.words(&item.title, item.scope, i.at)));
    }
    symptom().map(|ix| lower_first(&knowledge.symptoms[ix].title))
}

/// How strongly an answer speaks, from its decibans: 5, 10 and 15 are odds of about 3, 10 and 30 to one, where the
/// common reading of Bayes factors changes its words.
#[must_use]
pub fn strength(decibans: f64) -> &'static str {
    let (size, is_for) = (decibans.abs(), decibans > 0.0);
    match (size, is_for) {
        (s, true) if s >= 15.0 => "speaks very strongly for it",
        (s, true) if s >= 10.0 => "speaks strongly for it",
        (s, true) if s >= 5.0 => "speaks for it",
        (_, true) => "speaks a little for it",
        (s, false) if s >= 15.0 => "speaks very strongly against it",
        (s, false) if s >= 10.0 => "speaks strongly against it",
        (s, false) if s >= 5.0 => "speaks against it",
        (_, false) => "speaks a little against it",
    }
}

/// Causes joined, the places of one together: "Clogged fuel inlet screen, both + stale fuel".
#[must_use]
pub fn causes(laid: &Laid<'_>, causes: &[Instance<Cause>]) -> String {
    let mut words: Vec<String> = Vec::new();
    let mut rest = causes;
    while let Some(first) = rest.first() {
        let cause = &laid.knowledge.causes[first.item];
        let (same, others) = rest.split_at(rest.iter().take_while(|c| c.item == first.item).count());
        words.push(match same.len() {
            1 => laid.words(&cause.title, cause.scope, first.at),
            2 if laid.places(cause.scope) == 2 => format!("{}, both", cause.title),
            n if n == laid.places(cause.scope) => format!("{}, all", cause.title),
            _ => {
                let names: Vec<&str> = same.iter().filter_map(|c| laid.place_name(cause.scope, c.at)).collect();
                format!("{}, {}", cause.title, names.join(" and "))
            }
        });
        rest = others;
    }
    match words.as_slice() {
        [] => "Nothing that is listed".to_owned(),
        [first, rest @ ..] => rest.iter().fold(first.clone(), |all, one| format!("{all} + {}", lower_first(one))),
    }
}

/// "Other combinations: about 1 in 2, each at most 1 in 50.": what is known of the explanations after the first `shown`.
#[must_use]
pub fn others(figures: &Figures, explanations: &Explanations, shown: usize) -> String {
    let hidden: f64 = explanations.sets.iter().skip(shown).map(|set| set.chance).sum();
    let next = explanations.sets.get(shown).map_or(0.0, |set| set.chance);
    let (together, most) = (explanations.missed + hidden, explanations.unlisted_at_most.max(next));
    // Of a little in all there is nothing more to say, nor where one of them could be all of it.
    let each = if together < MANY || most >= together {
        String::new()
    } else {
        let at_most = if most < LEAST_SPOKEN { "each" } else { "each at most" };
        let how = if explanations.listed == Listed::Drawn { " as far as a sample shows" } else { "" };
        format!(", {at_most} {}{how}", figures.chance(most))
    };
    let mut words = format!("Other combinations: {}{each}.", figures.chance(together));
    if explanations.sets.iter().take(shown).any(|set| set.chance < most) {
        words.push_str(" One of them may be likelier than the last of these.");
    }
    words
}

/// "$40 more on average", "about the same": how a runner-up compares. It is less only beside what is looked at before a craft
/// is handed over.
#[must_use]
pub fn more(figures: &Figures, other: &Proposal, best: &Proposal) -> String {
    let more = other.expected_cost - best.expected_cost;
    match more.get() {
        more if more >= 0.5 => format!("{} more on average", figures.money(Money::of(more))),
        more if more <= -0.5 => format!("{} less on average", figures.money(Money::of(-more))),
        _ => "about the same".to_owned(),
    }
}

/// "$410 and 3 h 20 min": what the job is expected to come to from here to the end; "$400" where no work is left to do.
#[must_use]
pub fn rest(figures: &Figures, advice: &Advice) -> String {
    let (money, minutes) = (advice.next.expected_cost, advice.expected_minutes);
    let minutes = round(minutes);
    if minutes == Minutes::ZERO { figures.money(money) } else { figures.cost(money, minutes) }
}

/// As near as an expected time is worth saying: to ten minutes from an hour on, to five from ten minutes on.
fn round(minutes: Minutes) -> Minutes {
    let step = match minutes.get() {
        m if m >= 57.5 => 10.0,
        m if m >= 10.0 => 5.0,
        _ => 1.0,
    };
    Minutes::of((minutes.get() / step).round() * step)
}

/// Why a step is proposed, in a sentence or two.
#[must_use]
pub fn reason(laid: &Laid<'_>, proposal: &Proposal, figures: &Figures) -> String {
    let names = separated(laid, proposal);
    let tells = match (&proposal.action, names.as_slice()) {
        (Action::HandOver, _) => {
            "What is left costs more to look for than it saves: someone with more at hand goes on from here.".to_owned()
        }
        (Action::Check(_), _) if proposal.saves.get() <= -0.5 => {
            return "By the figures it saves nothing. But nobody hands a craft over before looking at what holds it up."
                .to_owned();
        }
        (Action::Check(_), []) if proposal.saves.get() < 0.5 => {
            return "It comes first: what is wanted next waits for it.".to_owned();
        }
        (Action::Try(_), _) | (_, []) => String::new(),
        (Action::Check(_), [one]) => format!("It tells most about {one}."),
        (Action::Check(_), [most @ .., last]) => format!("It tells most about {} and {last}.", most.join(", ")),
        (Action::Repair(..), names) => format!("It removes {}.", names.join(", ")),
    };
    let saves = if proposal.saves.get() >= 0.5 && proposal.action == Action::HandOver {
        format!("Going on all the same would cost {} more on average.", figures.money(proposal.saves))
    } else if proposal.saves.get() >= 0.5 {
        format!("On average it saves {} of what the job would cost without it.", figures.money(proposal.saves))
    } else {
        "Nothing else at hand is cheaper on average.".to_owned()
    };
    [tells, getting_there(proposal, figures), saves].into_iter().filter(|s| !s.is_empty()).collect::<Vec<_>>().join(" ")
}

/// What of a step is opening, where it is most of it and likely needed for what comes next too.
fn getting_there(proposal: &Proposal, figures: &Figures) -> String {
    match proposal.opening {
        Some(opening) if opening.shared >= 0.5 && 2.0 * opening.minutes.get() >= proposal.minutes.get() => {
            // A chance that rounds to all is not a figure to think about.
            let how_surely = if opening.shared > 0.995 {
                ", almost surely".to_owned()
            } else {
                format!(": {}", figures.chance(opening.shared))
            };
            let minutes = figures.minutes(opening.minutes);
            format!("{minutes} of it is opening up and putting back; what comes next needs that too{how_surely}.")
        }
        _ => String::new(),
    }
}

/// Where the cost to come ends: "to the end", or of several complaints with the first.
#[must_use]
pub fn how_far(knowledge: &Knowledge, case: &Case) -> String {
    match (worked_on(case), complained_of(case).len()) {
        (Some(first), 2..) => format!("until “{}” is gone", knowledge.symptoms[first].title),
        _ => "to the end".to_owned(),
    }
}

/// What comes once the complaint that is worked on is gone: "done", or the next complaint.
#[must_use]
pub fn once_gone(knowledge: &Knowledge, case: &Case) -> String {
    let first = worked_on(case);
    match complained_of(case).into_iter().filter(|symptom| Some(*symptom) != first).min() {
        Some(next) => format!("on to: {}", lower_first(&knowledge.symptoms[next].title)),
        None => "done".to_owned(),
    }
}

/// Between what the job can come to from here to the end, where that was worked out.
#[must_use]
pub fn bounds(advice: &Advice, figures: &Figures) -> Option<String> {
    let bounds = advice.bounds?;
    let over = bounds.within();
    let how_near = if over < 0.01 {
        " So nothing else could be better.".to_owned()
    } else if over <= 1.0 {
        format!(" So it is within {:.0}% of the best possible.", (100.0 * over).ceil())
    } else {
        String::new()
    };
    let (least, most) = (figures.money(bounds.at_least), figures.money(bounds.at_most));
    Some(match bounds.by {
        Proof::Knowing => format!(
            "Nobody could do it for less than {least} on average: the repairs alone come to that. With this step and no \
             other check it is {most}.{how_near}"
        ),
        Proof::Searched(states) => format!(
            "No way to work from here costs less than {least} on average, and one that begins with this step costs \
             {most}.{how_near} ({states} states of what may be known were searched.)"
        ),
    })
}

/// A runner-up: what it costs more in all, what it costs itself, and what it is about.
#[must_use]
pub fn runner_up(laid: &Laid<'_>, figures: &Figures, other: &Proposal, next: &Proposal) -> String {
    let about = match (&other.action, other.separates.is_empty()) {
        (Action::Check(_), false) => format!("; tells most about {}", separated(laid, other).join(", ")),
        (Action::Repair(..), false) => format!("; removes {}", separated(laid, other).join(", ")),
        _ => String::new(),
    };
    let itself = match other.action {
        Action::HandOver => String::new(),
        _ => format!("; itself {}", figures.cost(other.cost, other.minutes)),
    };
    format!("{}: {}{itself}{about}.", action(laid, &other.action), more(figures, other, next))
}

/// What must be put back before a step, in a sentence; nothing where that takes no work, as standing beside it takes none.
#[must_use]
pub fn put_back(knowledge: &Knowledge, access: &[Ix<Access>]) -> Option<String> {
    let works = access.iter().map(|ix| &knowledge.access[*ix]).filter(|access| access.open > Minutes::ZERO);
    let words: Vec<String> = works.map(|access| lower_first(&access.put_back_words())).collect();
    (!words.is_empty()).then(|| format!("First: {}.", words.join("; ")))
}

/// The three causes that a step is most about.
#[must_use]
pub fn separated(laid: &Laid<'_>, proposal: &Proposal) -> Vec<String> {
    let named = proposal.separates.iter().take(3).map(|c| {
        let cause = &laid.knowledge.causes[c.item];
        lower_first(&laid.words(&cause.title, cause.scope, c.at))
    });
    named.collect()
}

/// An outcome of an action in plain words.
#[must_use]
pub fn outcome(knowledge: &Knowledge, action: &Action, outcome: usize) -> String {
    match action {
        Action::Check(check) => {
            knowledge.checks[check.item].outcomes.get(outcome).map_or_else(String::new, |o| o.says.clone())
        }
        _ if outcome == 0 => "The symptom is gone".to_owned(),
        _ => "It is still there".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::belief::Explanation;

    fn explanations(chances: &[f64], missed: f64, unlisted_at_most: f64, listed: Listed) -> Explanations {
        let sets = chances.iter().map(|&chance| Explanation { causes: vec![], chance }).collect();
        Explanations { sets, unexplained: 0.0, missed, unlisted_at_most, listed }
    }

    #[test]
    fn what_is_not_listed_in_words() {
        let figures = crate::report::figures::tests::figures();
        let said = |e: &Explanations, shown| others(&figures, e, shown);
        let searched = explanations(&[0.4, 0.1], 0.5, 0.05, Listed::Searched);
        assert_eq!(said(&searched, 2), "Other combinations: 1 in 2, each at most 1 in 20.");
        // What is listed but not shown is among the others.
        assert_eq!(said(&searched, 1), "Other combinations: 6 in 10, each at most 1 in 10.");
        let rare = explanations(&[0.4, 0.1], 0.5, 0.004, Listed::Drawn);
        assert_eq!(said(&rare, 2), "Other combinations: 1 in 2, each less than 1 in 100 as far as a sample shows.");
        // A search cut short may lack a likelier one.
        let short = explanations(&[0.4, 0.1], 0.5, 0.2, Listed::Searched);
        let words =
            "Other combinations: 1 in 2, each at most 1 in 5. One of them may be likelier than the last of these.";
        assert_eq!(said(&short, 2), words);
        assert!(!short.is_settled() && searched.is_settled());
        // A little in all needs no bound, nor does a bound that bounds nothing.
        let little = explanations(&[0.9, 0.09], 0.01, 0.004, Listed::Searched);
        assert_eq!(said(&little, 2), "Other combinations: 1 in 100.");
        let open = explanations(&[0.5], 0.3, 0.3, Listed::Searched);
        assert_eq!(said(&open, 1), "Other combinations: 3 in 10.");
    }
}
