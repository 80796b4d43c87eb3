//! What each screen says and asks.

use super::screen::{Part, Row, Screen, Writing};
use super::state::{Find, Focus, Key, Over, Page, Stage, State};
use super::step::{Bench, before, closing, facts, focus, missing_ticks, other_check, proofs, symptoms_of};
use crate::case::{Event, Presence};
use crate::decision::{Action, Proposal, complained_of};
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Access, Check, Hazard, Ix, Knowledge, Repair, Setting, Symptom, Turns};
use crate::report::{Block, Caution, Choice, Mark, Rich, Step, words};
use crate::safety::Before;
use crate::units::Minutes;
use jiff::Timestamp;

/// How many cautions stand on one screen.
const CAUTIONS: usize = 3;
/// How many steps of a check stand on its screen where there is room; the page has all.
const STEPS: usize = 4;

/// The screen of a state.
#[must_use]
pub fn screen(bench: &Bench<'_>, state: &State, now: Option<Timestamp>) -> Screen {
    let mut screen = match (&state.over, state.stage) {
        (Some(Over::Page(page, document)), _) => page_screen(*page, document),
        (Some(Over::Find(find, targets)), _) => find_screen(*find, targets.iter().map(|(line, _)| line.clone())),
        (None, Stage::Sniff) => sniff(bench, state, now),
        (None, Stage::Layout) => layout(bench, state),
        (None, Stage::Options) => options(bench, state),
        (None, Stage::Symptoms) => symptoms(bench, state),
        (None, Stage::History(at)) => history(bench, state, at),
        (None, Stage::Bench) => bench_screen(bench, state, now),
    };
    screen.notices.clone_from(&state.notices);
    if !matches!(state.over, Some(Over::Page(..))) {
        alarm(bench.knowledge, state, &mut screen);
    }
    screen
}

/// The key for fire is on every screen; what it is for stands where there is room.
fn alarm(knowledge: &Knowledge, state: &State, screen: &mut Screen) {
    let words = |ends: bool| {
        let lock = knowledge.interlocks.iter().map(|(_, i)| i).find(|i| i.ends == ends && i.key.is_some());
        lock.and_then(|i| i.key.clone())
    };
    if state.stage == Stage::Bench
        && let Some(words) = words(false)
    {
        screen.keys.push((Key::Pause, words));
    }
    screen.keys.push((Key::Leave, "save and stop here".to_owned()));
    if let Some(words) = words(true) {
        screen.keys.push((Key::Stop, words));
    }
}

fn page_screen(page: Page, document: &crate::report::Document) -> Screen {
    let mut screen = Screen::new("", "");
    screen.parts = document.blocks.iter().cloned().map(Part::always).collect();
    if page == Page::Plan {
        screen.keys.push((Key::Write, "write it beside the case".to_owned()));
    }
    screen.keys.push((Key::Enter, "back to the question".to_owned()));
    screen
}

fn find_screen(find: Find, lines: impl Iterator<Item = String>) -> Screen {
    let mut screen = Screen::new("", "");
    screen.ask(match find {
        Find::Check => "Which check? Part of its name is enough.",
        Find::Answer => "Which answer do you want to change?",
        Find::Repair => "Which repair was done? Part of its name is enough.",
    });
    screen.choices = lines.collect();
    screen.writing = Writing::Name;
    screen.keys.push((Key::Back, "back to the question".to_owned()));
    screen
}

// --- intake -------------------------------------------------------------------------------------------------------

fn heading(bench: &Bench<'_>, state: &State) -> String {
    let title = state.case.title.clone();
    let complaint = state.case.symptoms.first().map(|s| words::lower_first(&bench.knowledge.symptoms[*s].title));
    match (title, complaint) {
        (Some(title), Some(complaint)) => format!("{title} · {complaint}"),
        (Some(title), None) => title,
        (None, Some(_)) => {
            state.case.symptoms.first().map(|s| bench.knowledge.symptoms[*s].title.clone()).unwrap_or_default()
        }
        (None, None) => "New job".to_owned(),
    }
}

fn sniff(bench: &Bench<'_>, state: &State, now: Option<Timestamp>) -> Screen {
    let Some(Focus::Check { check, places, .. }) = focus(bench, state) else {
        return Screen::new(heading(bench, state), "");
    };
    let mut screen = Screen::new(heading(bench, state), "safety first");
    let lead = if state.stage == Stage::Sniff { "Before anything else." } else { "Before going on." };
    screen.say(Part::always(Block::Paragraph(Rich::plain(lead))));
    check_parts(bench, state, check, &places, &Before::default(), now, &mut screen);
    screen.keys.push((Key::CouldNot, "could not".to_owned()));
    screen.keys.push((Key::How, "how".to_owned()));
    screen.keys.retain(|(key, _)| state.stage != Stage::Sniff || !matches!(key, Key::How));
    screen
}

fn layout(bench: &Bench<'_>, state: &State) -> Screen {
    let mut screen = Screen::new(heading(bench, state), "the craft");
    screen.ask("How is it laid out?");
    screen.choices = bench
        .knowledge
        .layouts
        .iter()
        .map(|(ix, layout)| {
            let usual = if ix == state.case.craft.layout { " (usual)" } else { "" };
            format!("{}{usual}", layout.title)
        })
        .collect();
    screen.keys.push((Key::Enter, "take the usual".to_owned()));
    screen.keys.push((Key::Back, "back".to_owned()));
    screen
}

fn options(bench: &Bench<'_>, state: &State) -> Screen {
    let mut screen = Screen::new(heading(bench, state), "the craft");
    screen.ask("What is fitted? A number changes it.");
    screen.choices = bench
        .knowledge
        .options
        .iter()
        .map(|(ix, option)| {
            let fitted = if state.case.craft.has(ix) { "fitted" } else { "not fitted" };
            format!("{}: {fitted}", option.title)
        })
        .collect();
    screen.keys.push((Key::Enter, "that is right".to_owned()));
    screen.keys.push((Key::Back, "back".to_owned()));
    screen
}

fn symptoms(bench: &Bench<'_>, state: &State) -> Screen {
    let mut screen = Screen::new(heading(bench, state), "the complaint");
    screen.ask("What does the customer say? Take first what stops them first, then Enter.");
    screen.choices = symptoms_of(bench, &state.case)
        .into_iter()
        .map(|ix| {
            let symptom = &bench.knowledge.symptoms[ix];
            let says = symptom.says.first().map(|s| format!(": \"{s}\"")).unwrap_or_default();
            let taken = state.case.symptoms.iter().position(|s| *s == ix);
            let mark = taken.map(|at| format!("[{}] ", at + 1)).unwrap_or_default();
            format!("{mark}{}{says}", symptom.title)
        })
        .collect();
    screen.keys.push((Key::Enter, "that is all".to_owned()));
    screen.keys.push((Key::Back, "back".to_owned()));
    screen
}

fn history(bench: &Bench<'_>, state: &State, at: usize) -> Screen {
    let facts = facts(bench.knowledge, &state.case);
    let right = format!("history {} of {}", at + 1, facts.len());
    let mut screen = Screen::new(heading(bench, state), right);
    let Some(fact) = facts.get(at) else { return screen };
    let item = &bench.knowledge.history[*fact];
    screen.ask(&item.ask);
    let said = state.case.history.get(fact);
    screen.choices = item
        .values
        .iter()
        .enumerate()
        .map(|(at, value)| if said == Some(&at) { format!("{} (so far)", value.says) } else { value.says.clone() })
        .collect();
    screen.keys.push((Key::NotSure, "not known".to_owned()));
    screen.keys.push((Key::Skip, "skip the rest".to_owned()));
    screen.keys.push((Key::Back, "back".to_owned()));
    screen
}

// --- the bench ----------------------------------------------------------------------------------------------------

fn bench_screen(bench: &Bench<'_>, state: &State, now: Option<Timestamp>) -> Screen {
    if state.sniff_first {
        return sniff(bench, state, now);
    }
    let laid = bench.laid(&state.case);
    let mut screen = Screen::new(heading(bench, state), progress(bench, state));
    match focus(bench, state) {
        Some(Focus::Check { check, places, replaces }) => {
            let action = Action::Check(Instance::new(check, places[0].unwrap_or(0)));
            let needs = if replaces.is_empty() { before(bench, state, &action, now) } else { Ok(Before::default()) };
            check_screen(bench, state, check, &places, needs, now, &mut screen);
        }
        Some(Focus::Repair(repair, places)) => fix_or_look(bench, state, &laid, repair, &places, &mut screen),
        Some(Focus::Record(_, _, settings)) => record(&laid, &settings, &mut screen),
        Some(Focus::Working(repair, places)) => working(bench, state, repair, &places, now, &mut screen),
        Some(Focus::Tried(repair, symptom)) => tried(bench, state, repair, symptom, now, &mut screen),
        Some(Focus::Proof(repair)) => proof(bench, state, repair, &mut screen),
        Some(Focus::HandOver) => hand_over(bench, state, &laid, &mut screen),
        None => {
            let why = state.stuck.clone().unwrap_or_else(|| "there is nothing to propose".to_owned());
            screen.ask("There is no proposal.");
            screen.say(Part::always(Block::Paragraph(Rich::plain(&why))));
        }
    }
    if let Some(view) = &state.view {
        misfits(bench, state, &laid, &mut screen);
        screen.strip = Some(words::strip(&laid, &view.causes));
    }
    general_keys(&mut screen);
    screen
}

fn general_keys(screen: &mut Screen) {
    for (key, says) in [
        (Key::Why, "why"),
        (Key::Ranking, "what we know"),
        (Key::How, "how"),
        (Key::Other, "other check"),
        (Key::DidRepair, "I did a repair"),
        (Key::Change, "change an answer"),
        (Key::Barred, "what is barred"),
        (Key::Back, "back"),
        (Key::Plan, "plan"),
    ] {
        screen.keys.push((key, says.to_owned()));
    }
}

fn progress(bench: &Bench<'_>, state: &State) -> String {
    let checks = state.case.log.iter().filter(|e| matches!(e.event, Event::Answer { .. })).count();
    let count = format!("check {}", checks + 1);
    match &state.view {
        Some(view) => format!(
            "{count} · {} · {} so far",
            bench.figures.minutes(view.advice.spent_minutes),
            bench.figures.money(view.advice.spent)
        ),
        None => count,
    }
}

fn misfits(bench: &Bench<'_>, state: &State, laid: &Laid<'_>, screen: &mut Screen) {
    let Some(view) = &state.view else { return };
    let Some(worst) = view.misfits.first() else { return };
    let answer = words::said(laid, &state.case, worst.said, bench.figures);
    let how = if view.impossible { "cannot all be right" } else { "do not fit together well" };
    let text = format!("The answers {how}. Worth repeating: {answer} (e changes it).");
    screen.after.push(Part::until(5, Block::Paragraph(Rich::plain(&text))));
}

fn check_screen(
    bench: &Bench<'_>,
    state: &State,
    check: Ix<Check>,
    places: &[Option<usize>],
    needs: Result<Before, String>,
    now: Option<Timestamp>,
    screen: &mut Screen,
) {
    match needs {
        Ok(needs) => check_parts(bench, state, check, places, &needs, now, screen),
        Err(why) => {
            screen.ask(&bench.knowledge.checks[check].title);
            screen.say(Part::always(Block::Paragraph(Rich::plain(&format!("Not now: {why}")))));
        }
    }
    screen.keys.push((Key::NotSure, "not sure".to_owned()));
    screen.keys.push((Key::CouldNot, "could not".to_owned()));
    if !state.draft.is_empty() {
        screen.keys.push((Key::Enter, "leave the others open".to_owned()));
    }
}

fn check_parts(
    bench: &Bench<'_>,
    state: &State,
    check: Ix<Check>,
    places: &[Option<usize>],
    needs: &Before,
    now: Option<Timestamp>,
    screen: &mut Screen,
) {
    let item = &bench.knowledge.checks[check];
    let laid = bench.laid(&state.case);
    let action = Action::Check(Instance::new(check, places[0].unwrap_or(0)));
    let closes = closing(bench, state, check, now);
    let mut hazards = hazards_of(bench, state, &action);
    // What the check closes is what it is about, whatever stands open already.
    if let Some((_, _, hazard)) = closes {
        hazards.retain(|h| *h != hazard);
        hazards.insert(0, hazard);
    }
    // What can hurt is said before the step that it is about.
    cautions(bench, &hazards, screen);
    ticks_part(bench, state, needs, closes.map(|(_, minutes, _)| minutes), screen);
    access_part(bench, state, &item.access, needs, screen);
    if !item.how.is_empty() {
        let steps = |n: usize| {
            let steps = item.how.iter().take(n).enumerate();
            Block::Steps(
                steps
                    .map(|(n, what)| Step { mark: Mark::Number(n + 1), what: what.into(), ..Step::default() })
                    .collect(),
            )
        };
        if item.how.len() <= STEPS {
            screen.say(Part::until(3, steps(STEPS)));
        } else {
            let more = format!("The first of {} steps; h shows all:", item.how.len());
            screen.say(Part::until(3, Block::Paragraph(Rich::plain(&more))));
            screen.say(Part::until(3, steps(STEPS - 1)));
        }
    }
    // Whoever may not do everything is asked in the words for an owner, where there are any.
    let limited = bench.knowledge.users[state.case.user].skill.is_some();
    screen.ask(item.owner.as_ref().filter(|_| limited).map_or(&item.ask, |owner| &owner.ask));
    if places.len() > 1 || laid.places(item.scope) > 1 {
        screen.rows = rows(&laid, item, places, state, bench);
    }
    match &item.reading {
        Some(reading) => {
            screen.writing = Writing::Number;
            let hint = format!("Type the reading; a bare number is in {}.", reading.unit);
            screen.after.push(Part::until(5, Block::Paragraph(Rich::plain(&hint))));
            screen.choices = reading.over.map(|at| item.outcomes[at].says.clone()).into_iter().collect();
        }
        None => screen.choices = item.outcomes.iter().map(|o| o.says.clone()).collect(),
    }
    cost_part(bench, state, &laid, &action, places.len(), screen);
}

fn rows(laid: &Laid<'_>, item: &Check, places: &[Option<usize>], state: &State, bench: &Bench<'_>) -> Vec<Row> {
    places
        .iter()
        .enumerate()
        .map(|(n, place)| Row {
            name: place.and_then(|at| laid.place_name(item.scope, at)).unwrap_or("all together").to_owned(),
            answer: state.draft.get(n).map(|a| words::answer(item, *a, bench.figures)),
        })
        .collect()
}

/// What must be put back and opened for a step.
fn access_part(bench: &Bench<'_>, state: &State, access: &[Ix<Access>], needs: &Before, screen: &mut Screen) {
    let titles = |all: &[Ix<Access>]| {
        let titles: Vec<&str> = all.iter().map(|a| bench.knowledge.access[*a].title.as_str()).collect();
        titles.join("; ")
    };
    let mut lines = Vec::new();
    if !needs.put_back.is_empty() {
        lines.push(format!("Put back first: {}.", titles(&needs.put_back)));
    }
    let mut missing = bench.graph.missing(&bench.advisor.open(&state.case), access);
    // Standing beside it takes no work.
    missing.retain(|a| bench.knowledge.access[*a].open > Minutes::ZERO);
    if !missing.is_empty() {
        lines.push(format!("Open: {}.", titles(&missing)));
    }
    if let Some((closer, _, minutes)) = needs.close {
        let title = words::lower_first(&bench.knowledge.checks[closer].title);
        lines.push(format!("First air it {}, then: {title}.", bench.figures.minutes(minutes)));
    }
    if !lines.is_empty() {
        screen.say(Part::always(Block::Paragraph(Rich::plain(&lines.join(" ")))));
    }
}

/// Boxes to tick: what an interlock asks for, and that the craft was aired.
fn ticks_part(bench: &Bench<'_>, state: &State, needs: &Before, air: Option<Minutes>, screen: &mut Screen) {
    let tick_box =
        |ticked: bool, says: String| Choice { key: if ticked { "[x]" } else { "[ ]" }.to_owned(), says: says.into() };
    let mut boxes: Vec<Choice> = needs
        .ticks
        .iter()
        .map(|tick| tick_box(state.ticked.contains(tick), bench.knowledge.ticks[*tick].says.clone()))
        .collect();
    let mut open = !missing_ticks(state, needs).is_empty();
    if let Some(minutes) = air.filter(|m| *m > Minutes::ZERO) {
        let minutes = bench.figures.minutes(minutes);
        boxes.push(tick_box(state.aired, format!("Outdoors, opened up and aired for {minutes}")));
        open |= !state.aired;
    }
    if boxes.is_empty() {
        return;
    }
    screen.say(Part::always(Block::Choices(boxes)));
    if open {
        screen.keys.push((Key::Tick, "tick the box".to_owned()));
    }
}

/// The cautions a step asks for, with those of what must be opened for it and of what stands open: the gravest first.
#[must_use]
pub fn hazards_of(bench: &Bench<'_>, state: &State, action: &Action) -> Vec<Ix<Hazard>> {
    let (raises, access): (&[Ix<Hazard>], &[Ix<Access>]) = match action {
        Action::Check(check) => {
            let item = &bench.knowledge.checks[check.item];
            (&item.raises, &item.access)
        }
        Action::Repair(repair, _) => {
            let item = &bench.knowledge.repairs[*repair];
            (&item.raises, &item.access)
        }
        Action::Try(_) => (first_start(bench).map_or(&[], |repair| &repair.raises), &[]),
        Action::HandOver => (&[], &[]),
    };
    let mut hazards = raises.to_vec();
    for access in bench.graph.missing(&bench.advisor.open(&state.case), access) {
        hazards.extend(&bench.knowledge.access[access].raises);
    }
    hazards.sort_by_key(|h| (bench.knowledge.hazards[*h].signal, *h));
    hazards.dedup();
    hazards
}

/// The service that starts the engine after work on it: what it warns of holds whenever a repair is tried.
fn first_start<'k>(bench: &Bench<'k>) -> Option<&'k Repair> {
    bench.knowledge.repairs.iter().map(|(_, repair)| repair).find(|r| r.service && r.turns == Turns::Starter)
}

/// The cautions directly above the step they guard; never a wall of them.
fn cautions(bench: &Bench<'_>, hazards: &[Ix<Hazard>], screen: &mut Screen) {
    for hazard in hazards.iter().take(CAUTIONS) {
        screen.say(Part::shortened(
            1,
            caution(bench.knowledge, *hazard, Detail::Some),
            caution(bench.knowledge, *hazard, Detail::Line),
        ));
    }
}

/// How much of a caution is said.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Detail {
    /// What it does to a person and the first thing to do.
    Some,
    /// One line: what it is about and the first thing to do.
    Line,
    /// All.
    Full,
}

/// A caution as a block.
#[must_use]
pub fn caution(knowledge: &Knowledge, hazard: Ix<Hazard>, detail: Detail) -> Block {
    let item = &knowledge.hazards[hazard];
    let first = item.controls.first();
    let mut caution = Caution {
        signal: item.signal,
        title: (&item.title).into(),
        harm: None,
        controls: Vec::new(),
        never: Vec::new(),
        tick: None,
    };
    match detail {
        Detail::Line => {
            let does = first.map(|c| format!(". {c}")).unwrap_or_default();
            caution.title = Rich::plain(&format!("{}{does}", item.title));
        }
        Detail::Some => {
            caution.harm = Some((&item.harm).into());
            caution.controls = item.controls.iter().take(2).map(Rich::from).collect();
        }
        Detail::Full => {
            caution.harm = Some((&item.harm).into());
            caution.controls = item.controls.iter().map(Rich::from).collect();
            caution.never = item.never.iter().map(Rich::from).collect();
        }
    }
    Block::Caution(caution)
}

/// What it costs and what the likeliest answers would lead to.
fn cost_part(bench: &Bench<'_>, state: &State, laid: &Laid<'_>, action: &Action, n: usize, screen: &mut Screen) {
    let Action::Check(check) = action else { return };
    let item = &bench.knowledge.checks[check.item];
    let (first, _) = bench.advisor.step_cost(&state.case, action);
    #[expect(clippy::cast_precision_loss, reason = "a handful of places")]
    let minutes = first + item.minutes * n.saturating_sub(1) as f64;
    let buys = if item.money.get() > 0.0 {
        format!("{} of materials", bench.figures.price(item.money))
    } else {
        "nothing to buy".to_owned()
    };
    let mut text = format!("{}, {buys}.", bench.figures.minutes(minutes));
    let next = state.view.as_ref().map(|v| &v.advice.next).filter(|p| p.action == *action);
    let short = text.clone();
    if let Some(proposal) = next {
        text.push_str(&leads(bench.knowledge, laid, proposal));
    }
    let block = |text: &str| Block::Paragraph(Rich::plain(text));
    screen.after.push(Part { block: block(&text), from: 4, short: Some(block(&short)) });
}

/// " Next after "dry": can test; after "wet": spark test."
fn leads(knowledge: &Knowledge, laid: &Laid<'_>, proposal: &Proposal) -> String {
    let mut likely: Vec<_> = proposal.branches.iter().filter(|b| b.then.is_some()).collect();
    likely.sort_by(|a, b| b.chance.total_cmp(&a.chance).then(a.outcome.cmp(&b.outcome)));
    let then = |branch: &crate::decision::Branch| {
        branch.then.as_ref().map_or_else(String::new, |a| words::lower_first(&words::action(laid, a)))
    };
    match likely.as_slice() {
        [] => String::new(),
        [first, rest @ ..] if rest.iter().all(|b| b.then == first.then) => {
            format!(" Whatever the answer, next: {}.", then(first))
        }
        all => {
            let said: Vec<String> = all
                .iter()
                .take(2)
                .map(|branch| {
                    let outcome = words::lower_first(&words::outcome(knowledge, &proposal.action, branch.outcome));
                    format!("\"{outcome}\": {}", then(branch))
                })
                .collect();
            format!(" Next after {}.", said.join("; after "))
        }
    }
}

// --- repairs ------------------------------------------------------------------------------------------------------

/// When a repair beats every check, the screen says so, with what more looking would save.
fn fix_or_look(
    bench: &Bench<'_>,
    state: &State,
    laid: &Laid<'_>,
    repair: Ix<Repair>,
    places: &[usize],
    screen: &mut Screen,
) {
    let Some(view) = &state.view else { return };
    let proposal = &view.advice.next;
    let words = words::repair_words(laid, repair, places);
    screen.ask(&format!("Fix it now: {}", words::lower_first(&words)));
    let cures = proposal.branches.iter().find(|b| b.outcome == 0).map_or(0.0, |b| b.chance);
    screen.say(Part::always(Block::Paragraph(Rich::plain(&format!(
        "It costs {} and cures it {}.",
        bench.figures.cost(proposal.cost, proposal.minutes),
        cured(cures)
    )))));
    let look = other_check(state);
    let other =
        view.advice.alternatives.iter().find(|p| matches!((&p.action, look), (Action::Check(a), Some(b)) if *a == b));
    let further = other.map(|other| {
        format!(
            "Looking further first, with {}, would cost {}.",
            words::lower_first(&words::action(laid, &other.action)),
            words::more(bench.figures, other, proposal)
        )
    });
    let further =
        further.unwrap_or_else(|| "No check is among the steps that were weighed; o lists them all.".to_owned());
    screen.say(Part::until(5, Block::Paragraph(Rich::plain(&further))));
    let action = Action::Repair(repair, places.to_vec());
    cautions(bench, &hazards_of(bench, state, &action), screen);
    screen.choices = vec!["Begin the repair".to_owned(), "Look further first".to_owned()];
}

/// "8 times in 10".
fn cured(chance: f64) -> String {
    let tenths = (chance * 10.0).round();
    match tenths {
        t if t < 1.0 => "less than 1 time in 10".to_owned(),
        t if t > 9.0 => "nearly every time".to_owned(),
        1.0 => "1 time in 10".to_owned(),
        t => format!("{t} times in 10"),
    }
}

fn record(laid: &Laid<'_>, settings: &[(Ix<Setting>, usize)], screen: &mut Screen) {
    let Some((setting, at)) = settings.first() else { return };
    let item = &laid.knowledge.settings[*setting];
    let left = settings.len() - 1;
    screen.say(Part::until(3, Block::Paragraph(Rich::plain("Write down what is found before it is touched."))));
    screen.ask(&laid.words(&item.title, item.scope, *at));
    let unit = if item.unit == "text" { String::new() } else { format!(" ({})", item.unit) };
    let more = match left {
        0 => "the last one".to_owned(),
        1 => "1 more after it".to_owned(),
        n => format!("{n} more after it"),
    };
    screen.say(Part::until(5, Block::Paragraph(Rich::plain(&format!("As it stands now{unit}; {more}.")))));
    screen.writing = Writing::Words;
    screen.keys.push((Key::Enter, "leave it blank".to_owned()));
    screen.keys.push((Key::Skip, "skip the rest".to_owned()));
}

fn working(
    bench: &Bench<'_>,
    state: &State,
    repair: Ix<Repair>,
    places: &[usize],
    now: Option<Timestamp>,
    screen: &mut Screen,
) {
    let laid = bench.laid(&state.case);
    let item = &bench.knowledge.repairs[repair];
    let action = Action::Repair(repair, places.to_vec());
    screen.ask(&words::repair_words(&laid, repair, places));
    match before(bench, state, &action, now) {
        Err(why) => screen.say(Part::always(Block::Paragraph(Rich::plain(&format!("Not now: {why}"))))),
        Ok(needs) => {
            cautions(bench, &hazards_of(bench, state, &action), screen);
            access_part(bench, state, &item.access, &needs, screen);
            ticks_part(bench, state, &needs, None, screen);
        }
    }
    let text = format!("{} steps: h shows them, p is the work order with parts and settings.", item.steps.len());
    screen.say(Part::until(5, Block::Paragraph(Rich::plain(&text))));
    screen.choices = vec!["It is done".to_owned(), "It was not done".to_owned()];
}

fn tried(
    bench: &Bench<'_>,
    state: &State,
    repair: Ix<Repair>,
    symptom: Ix<Symptom>,
    now: Option<Timestamp>,
    screen: &mut Screen,
) {
    let title = words::lower_first(&bench.knowledge.repairs[repair].title);
    let action = Action::Try(complained_of(&state.case));
    let done = format!("Done: {title}. Put it back together and try it.");
    screen.say(Part::until(3, Block::Paragraph(Rich::plain(&done))));
    match before(bench, state, &action, now) {
        Err(why) => screen.say(Part::always(Block::Paragraph(Rich::plain(&format!("Not now: {why}"))))),
        Ok(needs) => {
            cautions(bench, &hazards_of(bench, state, &action), screen);
            ticks_part(bench, state, &needs, None, screen);
        }
    }
    screen.ask(&format!("{}: is that gone?", bench.knowledge.symptoms[symptom].title));
    screen.choices = vec!["Gone".to_owned(), "Still there".to_owned(), "Not tried yet".to_owned()];
}

fn proof(bench: &Bench<'_>, state: &State, repair: Ix<Repair>, screen: &mut Screen) {
    screen.ask("It is gone. Prove it twice, cold and hot, before you hand it over.");
    let item = &bench.knowledge.repairs[repair];
    let events: Vec<Rich> = item
        .proves
        .iter()
        .filter_map(|p| match p {
            crate::knowledge::Proof::Event(event) => Some(Rich::from(event)),
            crate::knowledge::Proof::Check(..) => None,
        })
        .collect();
    if !events.is_empty() {
        screen.say(Part::until(4, Block::Bullets(events)));
    }
    screen.choices.push("Proved: finish with the record of the job".to_owned());
    let last = state.case.log.iter().rposition(|e| matches!(e.event, Event::Repaired { .. })).unwrap_or(0);
    for check in proofs(bench, &state.case, repair) {
        let item = &bench.knowledge.checks[check];
        let said = state.case.log[last..].iter().rev().find_map(|e| match &e.event {
            Event::Answer { check: c, answer, .. } if *c == check => Some(words::answer(item, *answer, bench.figures)),
            _ => None,
        });
        let said = said.map(|s| format!(" (done: {s})")).unwrap_or_default();
        screen.choices.push(format!("Prove it by: {}{said}", words::lower_first(&item.title)));
    }
    screen.choices.push("Look on: something else is not right".to_owned());
    let gone = state.case.log.iter().any(|e| matches!(e.event, Event::Tried { now: Presence::Absent, .. }));
    debug_assert!(gone, "proof is asked for once the symptom is gone");
}

fn hand_over(bench: &Bench<'_>, state: &State, laid: &Laid<'_>, screen: &mut Screen) {
    screen.ask("Best now: stop here and hand it over.");
    if let Some(view) = &state.view {
        screen
            .say(Part::until(4, Block::Paragraph(Rich::plain(&words::reason(laid, &view.advice.next, bench.figures)))));
    }
    screen.choices = vec!["Hand it over, with the work order".to_owned(), "Look further all the same".to_owned()];
}
