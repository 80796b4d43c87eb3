//! A drill asked for: the complaint, then one choice after the other, each with what is made ready for it and what is
//! believed before its answer is shown. [`step`] and [`screen`] are pure, as those of the interview are.

mod pages;
mod screens;

pub use screens::screen;

use super::state::{Input, Key};
use super::step::matching_lines;
use super::{Ask, Reply};
use crate::decision::Action;
use crate::drill::breach::{Ready, Standing};
use crate::drill::score::Lesson;
use crate::drill::{Drill, End, Offer, Outcome, Step};
use crate::knowledge::{Cause, Interlock, Ix, Tick};
use crate::report::{Document, Figures, words};
use crate::units::Minutes;
use std::io;

/// Whether somebody helps.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Coach {
    /// Nobody does.
    Away,
    /// Hints on request, a word after each choice, and a hand on the arm before a breach of safety.
    Beside,
}

/// What a drill is asked with.
pub struct Desk<'a> {
    /// How numbers are shown.
    pub figures: &'a Figures,
    /// Whether somebody helps.
    pub coach: Coach,
    /// What kind of drill it is, in a few words.
    pub told: &'a str,
}

/// Where a drill stands between two inputs.
#[derive(Clone)]
pub struct Session<'t, 'k> {
    /// The drill.
    pub drill: Drill<'t, 'k>,
    /// What is asked.
    pub(super) stage: Stage,
    /// A page laid over the question, gone with the next key.
    pub(super) page: Option<Document>,
    /// What was last said of the fault.
    pub(super) said: Option<(Ix<Cause>, f64)>,
    /// What happened with the last input.
    pub(super) notices: Vec<String>,
    /// Hints since the last choice.
    pub(super) hints: usize,
    /// The interlock that ends everything, where its key was pressed.
    pub stopped: Option<Ix<Interlock>>,
    /// Why it could not go on, where the network was too wide.
    pub trouble: Option<String>,
}

/// What is asked.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Stage {
    /// The complaint is told.
    Brief,
    /// What to do next.
    Choose,
    /// Which of these.
    Find(Vec<(String, Offer)>),
    /// What is made ready for a step.
    MakeReady(Action, Ready),
    /// What is behind it.
    Suspect(Action, Ready),
    /// How sure.
    Sure(Action, Ready, Ix<Cause>),
}

impl<'t, 'k> Session<'t, 'k> {
    /// A drill that begins with its complaint.
    #[must_use]
    pub fn new(drill: Drill<'t, 'k>) -> Self {
        Self {
            drill,
            stage: Stage::Brief,
            page: None,
            said: None,
            notices: Vec::new(),
            hints: 0,
            stopped: None,
            trouble: None,
        }
    }

    /// Whether it is over.
    #[must_use]
    pub fn is_over(&self) -> bool {
        self.drill.end.is_some()
    }
}

/// How the asking came to an end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Parting {
    /// The drill is over, or was left.
    Over,
    /// Ctrl-C.
    Interrupted,
}

/// Asks until the drill is over.
///
/// # Errors
/// Where reading or writing fails.
pub fn run(desk: &Desk<'_>, session: &mut Session<'_, '_>, ask: &mut dyn Ask) -> io::Result<Parting> {
    while !session.is_over() {
        match ask.ask(&screen(desk, session))? {
            Reply::Input(input) => {
                if takes_a_moment(session, &input) {
                    ask.wait()?;
                }
                step(desk, session, &input);
            }
            Reply::Ended => session.drill.leave(),
            Reply::Interrupted => {
                session.drill.leave();
                return Ok(Parting::Interrupted);
            }
        }
    }
    Ok(Parting::Over)
}

/// Whether an input makes the book look again.
fn takes_a_moment(session: &Session<'_, '_>, input: &Input) -> bool {
    match (&session.stage, input) {
        (Stage::Sure(..), Input::Pick(_)) => true,
        (Stage::Suspect(..), Input::Pick(0) | Input::Key(Key::Enter | Key::Skip)) => session.page.is_none(),
        _ => false,
    }
}

/// One step.
pub fn step(desk: &Desk<'_>, session: &mut Session<'_, '_>, input: &Input) {
    session.notices.clear();
    if session.is_over() || always(session, input) {
        return;
    }
    if session.page.take().is_some() {
        return;
    }
    match session.stage.clone() {
        Stage::Brief => brief(session, input),
        Stage::Choose => choose(desk, session, input),
        Stage::Find(lines) => find(session, input, &lines),
        Stage::MakeReady(action, ready) => make_ready(desk, session, input, action, ready),
        Stage::Suspect(action, ready) => suspect(desk, session, input, action, ready),
        Stage::Sure(action, ready, cause) => sure(desk, session, input, action, ready, cause),
    }
}

/// Fire and leaving come before everything.
fn always(session: &mut Session<'_, '_>, input: &Input) -> bool {
    match input {
        Input::Key(Key::Stop) => {
            let locks = &session.drill.job.laid.knowledge.interlocks;
            let stop = locks.iter().find(|(_, lock)| lock.ends && lock.key.is_some());
            session.stopped = stop.map(|(ix, _)| ix);
            if stop.is_some() {
                session.drill.leave();
            }
            true
        }
        Input::Key(Key::Pause) => {
            session.page = super::pages::pause(session.drill.job.laid.knowledge);
            true
        }
        Input::Key(Key::Leave) => {
            session.drill.leave();
            true
        }
        _ => false,
    }
}

fn not_here(session: &mut Session<'_, '_>) {
    session.notices.push("That does nothing here.".to_owned());
}

fn brief(session: &mut Session<'_, '_>, input: &Input) {
    match input {
        Input::Key(Key::Enter | Key::Back) => session.stage = Stage::Choose,
        _ => not_here(session),
    }
}

fn choose(desk: &Desk<'_>, session: &mut Session<'_, '_>, input: &Input) {
    match input {
        Input::Pick(0) | Input::Key(Key::Other) => {
            session.stage = Stage::Find(lines(desk, session, |action| matches!(action, Action::Check(_))));
        }
        Input::Pick(1) | Input::Key(Key::DidRepair) => {
            session.stage = Stage::Find(lines(desk, session, |action| matches!(action, Action::Repair(..))));
        }
        Input::Pick(2) => session.stage = Stage::Suspect(Action::HandOver, Ready::default()),
        // Whoever writes a name at once need not say first of what kind it is; a letter is no name.
        Input::Text(text) if text.chars().count() > 1 => {
            let all = lines(desk, session, |_| true);
            find(session, input, &all);
        }
        Input::Key(Key::Ranking) => session.page = Some(pages::known(desk, session)),
        Input::Key(Key::Why) if desk.coach == Coach::Beside => {
            session.hints += 1;
            let hint = pages::hint(session, session.hints);
            session.notices.push(hint);
        }
        Input::Key(Key::Back) => no_way_back(session),
        Input::Text(text) if text == "b" => no_way_back(session),
        _ => not_here(session),
    }
}

fn no_way_back(session: &mut Session<'_, '_>) {
    session.notices.push("What was seen cannot be unseen: a drill has no way back past an answer.".to_owned());
}

/// The bench by name, with what each step takes; the quickest first. The place comes first, where a narrow window cuts
/// nothing off.
fn lines(desk: &Desk<'_>, session: &Session<'_, '_>, wanted: fn(&Action) -> bool) -> Vec<(String, Offer)> {
    let line = |offer: Offer| {
        let title = title(session, &offer.action);
        let takes = match &offer.cannot {
            Some(_) => "cannot be done".to_owned(),
            None => desk.figures.cost(offer.cost, offer.minutes),
        };
        (format!("{title}: {takes}"), offer)
    };
    session.drill.bench().into_iter().filter(|offer| wanted(&offer.action)).map(line).collect()
}

/// "Front, spark plug after cranking"; the title alone where there is one place or it is done at all of them.
fn title(session: &Session<'_, '_>, action: &Action) -> String {
    let laid = session.drill.job.laid;
    let (title, place) = match action {
        Action::Check(check) => {
            let item = &laid.knowledge.checks[check.item];
            (&item.title, laid.place_name(item.scope, check.at))
        }
        Action::Repair(ix, places) => {
            let item = &laid.knowledge.repairs[*ix];
            let place = if let [at] = places.as_slice() { laid.place_name(item.scope, *at) } else { None };
            (&item.title, place)
        }
        Action::Try(_) | Action::HandOver => return words::action(laid, action),
    };
    match place {
        Some(place) => {
            let mut letters = place.chars();
            let first: String = letters.next().into_iter().flat_map(char::to_uppercase).collect();
            format!("{first}{}, {}", letters.as_str(), words::lower_first(title))
        }
        None => title.clone(),
    }
}

fn find(session: &mut Session<'_, '_>, input: &Input, lines: &[(String, Offer)]) {
    match input {
        Input::Pick(at) => match lines.get(*at) {
            Some((_, offer)) => take(session, &offer.clone()),
            None => not_here(session),
        },
        Input::Text(text) => {
            let titles: Vec<&str> = lines.iter().map(|(line, _)| line.as_str()).collect();
            match matching_lines(&titles, text).as_slice() {
                [] => session.notices.push(format!("Nothing here is called `{text}`.")),
                [at] => take(session, &lines[*at].1.clone()),
                several => session.stage = Stage::Find(several.iter().map(|at| lines[*at].clone()).collect()),
            }
        }
        Input::Key(Key::Back | Key::Enter) => session.stage = Stage::Choose,
        Input::Key(_) => not_here(session),
    }
}

fn take(session: &mut Session<'_, '_>, offer: &Offer) {
    match &offer.cannot {
        Some(why) => session.notices.push(format!("That cannot be done: {why}.")),
        None => session.stage = Stage::MakeReady(offer.action.clone(), Ready::default()),
    }
}

/// What can be seen to before a step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Control {
    /// All that it does not need is put back.
    PutBack,
    /// The craft is aired so long.
    Air(Minutes),
    /// Something is confirmed.
    Tick(Ix<Tick>),
}

/// What can be seen to before this step, whether it asks for it or not.
pub(super) fn controls(session: &Session<'_, '_>, action: &Action) -> Vec<Control> {
    let drill = &session.drill;
    let open = drill.job.graph.open_now(drill.job.laid, &drill.job.case);
    let mut controls = Vec::new();
    if open.iter().next().is_some() {
        controls.push(Control::PutBack);
    }
    let air = drill.airing(action);
    if air > Minutes::ZERO {
        controls.push(Control::Air(air));
    }
    controls.extend(drill.controls().into_iter().map(Control::Tick));
    controls
}

fn make_ready(desk: &Desk<'_>, session: &mut Session<'_, '_>, input: &Input, action: Action, mut ready: Ready) {
    match input {
        Input::Pick(at) => match controls(session, &action).get(*at) {
            Some(Control::PutBack) => ready.put_back = !ready.put_back,
            Some(Control::Air(air)) => ready.air = if ready.air == *air { Minutes::ZERO } else { *air },
            Some(Control::Tick(tick)) => {
                if !ready.ticks.remove(tick) {
                    ready.ticks.insert(*tick);
                }
            }
            None => return not_here(session),
        },
        Input::Key(Key::Enter) => return go(desk, session, action, ready),
        Input::Key(Key::How) => {
            session.page = pages::how(desk, session, &action);
            return;
        }
        Input::Key(Key::Back) => {
            session.stage = Stage::Choose;
            return;
        }
        _ => return not_here(session),
    }
    session.stage = Stage::MakeReady(action, ready);
}

/// The step is to be done: the coach, where there is one, holds an arm; then the belief is asked for.
fn go(desk: &Desk<'_>, session: &mut Session<'_, '_>, action: Action, ready: Ready) {
    if desk.coach == Coach::Beside
        && let Standing::Forbidden(breach) = session.drill.standing(&action, &ready)
    {
        session.hints += 1;
        session.page = Some(pages::held(session, &breach));
        session.stage = Stage::MakeReady(action, ready);
        return;
    }
    session.stage = Stage::Suspect(action, ready);
}

/// The causes of this craft by name, in the order of the alphabet: an order that says nothing.
pub(super) fn suspects(session: &Session<'_, '_>) -> Vec<(String, Ix<Cause>)> {
    let knowledge = session.drill.job.laid.knowledge;
    let mut causes: Vec<(String, Ix<Cause>)> =
        session.drill.here().anywhere.iter().map(|(ix, _)| (knowledge.causes[*ix].title.clone(), *ix)).collect();
    causes.sort();
    causes
}

fn suspect(desk: &Desk<'_>, session: &mut Session<'_, '_>, input: &Input, action: Action, ready: Ready) {
    let causes = suspects(session);
    match input {
        Input::Pick(0) | Input::Key(Key::Enter) => {
            let said = session.said;
            act(desk, session, action, ready, said);
        }
        Input::Key(Key::NotSure) => act(desk, session, action, ready, None),
        Input::Pick(at) => match causes.get(at - 1) {
            Some((_, cause)) => session.stage = Stage::Sure(action, ready, *cause),
            None => not_here(session),
        },
        Input::Text(text) => {
            let titles: Vec<&str> = causes.iter().map(|(title, _)| title.as_str()).collect();
            match matching_lines(&titles, text).as_slice() {
                [] => session.notices.push(format!("No fault here is called `{text}`.")),
                [at] => session.stage = Stage::Sure(action, ready, causes[*at].1),
                several => {
                    let named: Vec<&str> = several.iter().take(4).map(|at| titles[*at]).collect();
                    session.notices.push(format!("Which: {}? Say more of its name.", named.join(", ")));
                }
            }
        }
        Input::Key(Key::Back) if action == Action::HandOver => session.stage = Stage::Choose,
        Input::Key(Key::Back) => session.stage = Stage::MakeReady(action, ready),
        Input::Key(_) => not_here(session),
    }
}

/// How sure one can say to be, in tenths.
pub(super) const TENTHS: [u8; 9] = [1, 2, 3, 4, 5, 6, 7, 8, 9];

fn sure(desk: &Desk<'_>, session: &mut Session<'_, '_>, input: &Input, action: Action, ready: Ready, cause: Ix<Cause>) {
    match input {
        Input::Pick(at) if *at < TENTHS.len() => {
            session.said = Some((cause, f64::from(TENTHS[*at]) / 10.0));
            let said = session.said;
            act(desk, session, action, ready, said);
        }
        Input::Key(Key::Back) => session.stage = Stage::Suspect(action, ready),
        _ => not_here(session),
    }
}

fn act(desk: &Desk<'_>, session: &mut Session<'_, '_>, action: Action, ready: Ready, said: Option<(Ix<Cause>, f64)>) {
    let stated = said.map(|(cause, chance)| session.drill.state(cause, chance));
    let hints = std::mem::take(&mut session.hints);
    session.stage = Stage::Choose;
    if let Err(error) = session.drill.act(action, ready, stated, hints) {
        let job = &session.drill.job;
        session.trouble = Some(words::trouble(job.laid, &job.case, &error));
        session.drill.leave();
        return;
    }
    if let Some(last) = session.drill.steps.last() {
        let mut said = pages::came_of(desk, session, last);
        if desk.coach == Coach::Beside && session.drill.end.is_none() {
            said.push(word_of_the_coach(desk, session, last));
        }
        session.notices.extend(said);
    }
    if session.drill.end == Some(End::WornOut) {
        session.notices.push("That was enough for one drill.".to_owned());
    }
}

fn word_of_the_coach(desk: &Desk<'_>, session: &Session<'_, '_>, last: &Step) -> String {
    if last.lesson == Lesson::Best || last.regret().get() < 0.5 {
        return "Coach: a good choice.".to_owned();
    }
    let best = words::lower_first(&words::action(session.drill.job.laid, &last.here.advice.next.action));
    let lost = desk.figures.money(last.regret());
    let seen = if last.outcome == Outcome::Answered { ", whatever it showed" } else { "" };
    format!("Coach: {best} was better{seen}; this loses {lost} on average.")
}
