//! On the phone: the script on one side, what is behind it on the other.

use crate::decision::{Action, Proposal};
use crate::interview::hand_over::EMERGENCY;
use crate::interview::screen::{Part, Screen, Side, quoted};
use crate::interview::state::State;
use crate::interview::step::{Bench, by_phone, closing};
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::raw::RawOwnerKind;
use crate::knowledge::{Check, Ix, OwnerAsk};
use crate::report::{Block, Choice, Rich, words};
use jiff::Timestamp;

/// How many causes the ranking beside the question names, and how many where there is little room.
const RANKED: usize = 5;
const RANKED_SHORT: usize = 3;
/// How many runners-up stand beside the question.
const RUNNERS_UP: usize = 2;

/// How the owner is asked: what they do and what they leave.
pub(super) fn manner(kind: RawOwnerKind) -> &'static str {
    match kind {
        RawOwnerKind::Memory => "Ask what they remember; they do nothing for it. Say:",
        RawOwnerKind::Look => "They look and touch nothing. Say:",
        RawOwnerKind::Sound => "They hold the phone to it; you listen. Say:",
        RawOwnerKind::Photo => "They send a photo. Say:",
        RawOwnerKind::Number => "They read a number out; say it back to them. Say:",
        RawOwnerKind::Do => "They do it now: one thing at a time, and wait for each. Say:",
    }
}

/// What to listen for, and which words of an owner mean more than one thing.
pub(super) fn heard(owner: &OwnerAsk) -> Vec<Part> {
    let paragraph = |until: u8, text: &str| Part::until(until, Block::Paragraph(Rich::plain(text)));
    let listen = owner.listen.as_ref().map(|listen| match owner.kind {
        RawOwnerKind::Photo => paragraph(3, listen),
        _ => paragraph(3, &format!("Listen for: {}", words::lower_first(listen))),
    });
    let mind = (!owner.mind.is_empty()).then(|| paragraph(2, &format!("Mind: {}", owner.mind.join(" "))));
    listen.into_iter().chain(mind).collect()
}

/// What an owner is likely to say for each band of what they read out.
pub(super) fn bands_heard(check: &Check, owner: &OwnerAsk) -> Option<Part> {
    let bands = check.outcomes.iter().zip(&owner.sounds).filter(|(_, sounds)| !sounds.is_empty());
    let lines: Vec<Rich> =
        bands.map(|(band, sounds)| Rich::plain(&format!("{}: {}", band.says, quoted(sounds)))).collect();
    (!lines.is_empty()).then(|| Part::until(3, Block::Bullets(lines)))
}

/// The words at which everything stops.
pub(super) fn stop_words(screen: &mut Screen) {
    let words = format!(
        "Stop words: smoke, burning, fuel, puddle, dizzy, sick, help. Everybody away, and call {EMERGENCY}; then press !"
    );
    let short = "Stop words: smoke, burning, fuel, dizzy, help: press !".to_owned();
    let block = |text: &str| Block::Paragraph(Rich::plain(text));
    screen.after.push(Part::shortened(2, block(&words), block(&short)));
}

/// What stands beside a question: what each answer would mean, and what is believed.
pub(super) fn beside(
    bench: &Bench<'_>,
    state: &State,
    check: Option<Ix<Check>>,
    now: Option<Timestamp>,
) -> Option<Side> {
    let laid = bench.laid(&state.case);
    let mut side = Side::default();
    let meanings = check.map(|check| meanings(bench, state, &laid, check, now)).unwrap_or_default();
    if by_phone(bench.knowledge, &state.case) {
        side.always.extend(check.map(|check| named(bench, check)));
        side.always.extend(meanings);
        side.wide.extend(ranking(bench, state, &laid));
    } else {
        side.wide.extend(meanings);
        side.wide.extend(ranking(bench, state, &laid));
        side.wide.extend(runners_up(bench, state, &laid));
    }
    (!side.always.is_empty() || !side.wide.is_empty()).then_some(side)
}

/// A step to come, in the middle of a sentence: on the phone nobody hands over, they bring it in.
pub(super) fn step_words(bench: &Bench<'_>, state: &State, laid: &Laid<'_>, action: &Action) -> String {
    if *action == Action::HandOver && by_phone(bench.knowledge, &state.case) {
        return "bring it in".to_owned();
    }
    words::lower_first(&words::action(laid, action))
}

/// The check by its name and id.
fn named(bench: &Bench<'_>, check: Ix<Check>) -> Part {
    let id = bench.knowledge.checks.id(check);
    let title = &bench.knowledge.checks[check].title;
    let whole = Block::Paragraph(Rich::strong(id).and(&format!(": {}", words::lower_first(title))));
    Part::until(5, whole)
}

/// What each answer would mean: how likely it is, and what would come next; in short only what would come next.
fn meanings(bench: &Bench<'_>, state: &State, laid: &Laid<'_>, check: Ix<Check>, now: Option<Timestamp>) -> Vec<Part> {
    let item = &bench.knowledge.checks[check];
    let closes = closing(bench, state, check, now);
    let proposal = proposal(state, check);
    let means = |at: usize| match (closes, proposal) {
        (Some((closing, ..)), _) if closing == at => Some(("safe to go on".to_owned(), "go on".to_owned())),
        (Some((_, _, hazard)), _) => {
            let hazard = words::lower_first(&bench.knowledge.hazards[hazard].title);
            Some((format!("stays open: {hazard}"), "stop".to_owned()))
        }
        (None, Some(proposal)) => leads_to(bench, state, laid, proposal, at),
        (None, None) => None,
    };
    let (mut lines, mut short, mut briefs) = (Vec::new(), Vec::new(), Vec::new());
    for (at, outcome) in item.outcomes.iter().enumerate() {
        let Some((long, brief)) = means(at) else { continue };
        // What is read off has no number to press.
        let (key, lead) = match item.reading {
            None => ((at + 1).to_string(), String::new()),
            Some(_) => ("-".to_owned(), format!("{}: ", outcome.says)),
        };
        short.push(if lead.is_empty() { format!("{key}: {brief}") } else { format!("{lead}{brief}") });
        briefs.push(brief);
        lines.push(Choice { key, says: format!("{lead}{long}").into() });
    }
    if lines.is_empty() {
        return Vec::new();
    }
    // Where all lead to the same, that is all there is to say.
    if closes.is_none() && briefs.iter().all(|brief| *brief == briefs[0]) {
        short = vec![format!("Whatever the answer: {}", briefs[0])];
    }
    vec![
        Part::until(3, Block::Paragraph(Rich::strong("What each answer means"))),
        Part::shortened(3, Block::Choices(lines), Block::Paragraph(Rich::plain(&short.join(" · ")))),
    ]
}

/// "answered so about 3 in 10 times; likeliest then: fouled plug, 6 of 10; next: spark test", and in short "then spark
/// test". Whose chance it is stands beside it.
fn leads_to(
    bench: &Bench<'_>,
    state: &State,
    laid: &Laid<'_>,
    proposal: &Proposal,
    outcome: usize,
) -> Option<(String, String)> {
    let branch = proposal.branches.iter().find(|b| b.outcome == outcome)?;
    let chance = bench.figures.chance(branch.chance);
    let gone = || words::once_gone(bench.knowledge, &state.case);
    let then = branch.then.as_ref().map_or_else(gone, |a| step_words(bench, state, laid, a));
    let leader = branch.leader.map(|(cause, chance)| {
        let item = &laid.knowledge.causes[cause.item];
        let title = words::lower_first(&laid.words(&item.title, item.scope, cause.at));
        format!("; likeliest then: {title}, {}", words::of_ten(chance))
    });
    let long = format!("answered so {chance} times{}; next: {then}", leader.unwrap_or_default());
    Some((long, format!("then {then}")))
}

/// The proposal about a check, where it was weighed.
fn proposal(state: &State, check: Ix<Check>) -> Option<&Proposal> {
    let advice = &state.view.as_ref()?.advice;
    let all = std::iter::once(&advice.next).chain(&advice.alternatives);
    let about = |p: &&Proposal| matches!(p.action, Action::Check(Instance { item, .. }) if item == check);
    all.into_iter().find(about)
}

fn ranking(bench: &Bench<'_>, state: &State, laid: &Laid<'_>) -> Vec<Part> {
    let Some(view) = &state.view else { return Vec::new() };
    let lines: Vec<Choice> = words::leaders(laid, &view.causes, RANKED)
        .into_iter()
        .map(|(cause, chance)| Choice { key: bench.figures.percent_short(chance), says: cause.into() })
        .collect();
    if lines.is_empty() {
        return Vec::new();
    }
    let short = Block::Choices(lines.iter().take(RANKED_SHORT).cloned().collect());
    let heading = Block::Paragraph(Rich::strong("What we believe"));
    // In one column the strip says the same.
    vec![
        Part::until(2, heading),
        Part::shortened(1, Block::Choices(lines), short),
        Part::until(3, Block::Paragraph(Rich::plain(&rest(bench, state, view)))),
    ]
}

/// What the rest of the job is reckoned to come to.
fn rest(bench: &Bench<'_>, state: &State, view: &crate::interview::advisor::View) -> String {
    let how_far = words::how_far(bench.knowledge, &state.case);
    let rest = words::rest(bench.figures, &view.advice);
    format!("From here {how_far}: about {rest} on average, the chance of handing it over in it.")
}

fn runners_up(bench: &Bench<'_>, state: &State, laid: &Laid<'_>) -> Vec<Part> {
    let Some(view) = &state.view else { return Vec::new() };
    let lines: Vec<Rich> = view
        .advice
        .alternatives
        .iter()
        .take(RUNNERS_UP)
        .map(|other| {
            let more = words::more(bench.figures, other, &view.advice.next);
            format!("{}: {more}", words::action(laid, &other.action)).into()
        })
        .collect();
    if lines.is_empty() {
        return Vec::new();
    }
    vec![Part::until(1, Block::Paragraph(Rich::strong("Next best"))), Part::until(1, Block::Bullets(lines))]
}
