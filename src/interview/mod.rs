//! The interview: one question a screen, the cheapest next check again and again, to a plan.
//!
//! [`step`](step::step) is pure: a state and what a person did give the next state, [`screens::screen`] what is shown. Who
//! asks is behind [`Ask`]: a terminal, plain lines, or a script.

pub mod advisor;
pub mod call;
pub mod compare;
pub mod drill;
pub mod hand_over;
pub mod history;
pub mod pages;
pub mod plain;
pub mod screen;
pub mod screens;
pub mod state;
pub mod step;
pub mod suppose;
pub mod terminal;

use crate::access::AccessGraph;
use crate::belief;
use crate::case::{Case, text};
use crate::decision::Settings;
use crate::knowledge::Knowledge;
use crate::knowledge::layout::Laid;
use crate::report::{Document, Figures, words};
use advisor::View;
use jiff::Timestamp;
use screen::Screen;
use state::{End, Input};
use std::io;
use std::rc::Rc;
use step::Bench;

/// What came back from whoever was asked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Reply {
    /// What a person did.
    Input(Input),
    /// There is no more input.
    Ended,
    /// Ctrl-C.
    Interrupted,
}

/// Whoever asks.
pub trait Ask {
    /// Shows a screen and waits for what a person does.
    ///
    /// # Errors
    /// Where reading or writing fails.
    fn ask(&mut self, screen: &Screen) -> io::Result<Reply>;

    /// Says that the next screen takes a moment.
    ///
    /// # Errors
    /// Where writing fails.
    fn wait(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// Whoever keeps what must not be lost.
pub trait Keep {
    /// What went wrong.
    type Error: From<io::Error>;

    /// Keeps the case. Returns what to tell the person, where there is something.
    ///
    /// # Errors
    /// Where it cannot be kept.
    fn keep(&mut self, case: &Case, text: &str) -> Result<Option<String>, Self::Error>;

    /// Writes the plan beside the case. Returns what to tell the person.
    ///
    /// # Errors
    /// Where it cannot be written.
    fn keep_plan(&mut self, plan: &Document) -> Result<String, Self::Error>;
}

/// How an interview came to an end, and the case then.
#[derive(Clone, Debug)]
pub struct Finished {
    /// The case.
    pub case: Case,
    /// How; `None`: interrupted.
    pub end: Option<End>,
    /// What was believed and advised then, where that was worked out.
    pub view: Option<Rc<View>>,
}

/// Runs an interview to its end. The case is kept after every answer.
///
/// # Errors
/// Where reading, writing or keeping fails.
pub fn run<K: Keep>(
    bench: &Bench<'_>,
    case: Case,
    ask: &mut dyn Ask,
    keep: &mut K,
    clock: &dyn Fn() -> Option<Timestamp>,
) -> Result<Finished, K::Error> {
    ask.wait()?;
    let mut state = step::begin(bench, case, clock());
    let mut kept: Option<Case> = None;
    loop {
        if kept.as_ref() != Some(&state.case) {
            state.notices.extend(keep.keep(&state.case, &text::write(&state.case, bench.knowledge))?);
            kept = Some(state.case.clone());
        }
        if let Some(plan) = state.write_plan.take() {
            let told = keep.keep_plan(&plan)?;
            state.notices.push(told);
        }
        if state.end.is_some() {
            return Ok(Finished { end: state.end, case: state.case, view: state.view });
        }
        let screen = screens::screen(bench, &state, clock());
        match ask.ask(&screen)? {
            Reply::Input(input) => {
                ask.wait()?;
                state = step::step(bench, state, &input, clock());
            }
            Reply::Ended => return Ok(Finished { end: Some(End::Left), case: state.case, view: state.view }),
            Reply::Interrupted => return Ok(Finished { end: None, case: state.case, view: state.view }),
        }
    }
}

/// Whether nothing is known of a job yet: it leaves no file behind.
#[must_use]
pub fn is_untouched(case: &Case) -> bool {
    case.log.is_empty() && case.symptoms.is_empty() && case.history.is_empty()
}

/// The work order of a case as a document.
///
/// # Errors
/// Where there is none, or the network is too wide; a sentence for people.
pub fn plan_document(
    knowledge: &Knowledge,
    graph: &AccessGraph,
    case: &Case,
    settings: &Settings,
    figures: &Figures,
) -> Result<Document, String> {
    if let Some(lock) = case.emergency() {
        return Err(words::lower_first(&words::stopped(knowledge, lock)));
    }
    let laid = Laid::new(knowledge, case.craft.clone());
    let limits = &settings.limits;
    let belief = belief::believe(&laid, case, limits).map_err(|e| words::trouble(&laid, case, &e))?;
    let explanations = belief.explanations(&laid, case, PLAN_EXPLANATIONS, limits).map_err(|e| e.to_string())?;
    let options = crate::plan::Options { causes: Vec::new() };
    let plan =
        crate::plan::plan(&laid, graph, case, &belief.causes, &explanations, &options).map_err(|e| e.to_string())?;
    Ok(crate::report::work_order(&plan, figures))
}

/// How many explanations the work order tells.
const PLAN_EXPLANATIONS: usize = 5;
