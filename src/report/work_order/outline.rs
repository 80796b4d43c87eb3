//! The stretches of a plan as a person reads them: make safe, open up, repair, put back, prove, hand over.

use crate::knowledge::Phase;
use crate::plan::{Plan, Section, Stage, StageKind, Step};

/// What a stretch of work is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Heading {
    MakeSafe,
    OpenUp,
    Repair,
    PutBack,
    Prove,
    HandOver,
}

impl Heading {
    fn of(stage: StageKind, phase: Phase) -> Self {
        match (stage, phase) {
            (StageKind::Run, _) => Self::Prove,
            (StageKind::HandOver, _) => Self::HandOver,
            (StageKind::Safe, _) | (_, Phase::MakeSafe) => Self::MakeSafe,
            (_, Phase::Open) => Self::OpenUp,
            (_, Phase::Refit | Phase::Fill | Phase::Prove) => Self::PutBack,
            _ => Self::Repair,
        }
    }

    fn words(self) -> &'static str {
        match self {
            Self::MakeSafe => "Make safe",
            Self::OpenUp => "Open up",
            Self::Repair => "Repair",
            Self::PutBack => "Put back",
            Self::Prove => "Prove it",
            Self::HandOver => "Hand over",
        }
    }
}

/// Steps under one heading.
pub struct Part<'a> {
    pub heading: Heading,
    pub title: String,
    pub stage: StageKind,
    pub sections: Vec<&'a Section>,
    /// The numbers of its first and last step.
    pub from: usize,
    pub to: usize,
}

impl<'a> Part<'a> {
    pub fn steps(&self) -> impl Iterator<Item = &'a Step> + use<'a, '_> {
        self.sections.iter().flat_map(|section| &section.steps)
    }
}

/// A plan by headings. Within a stage a heading never comes back: what must be made safe on the way to the carburetor
/// belongs to opening, the leak look before the airbox goes on to putting back.
pub struct Outline<'a> {
    pub parts: Vec<Part<'a>>,
}

impl<'a> Outline<'a> {
    pub fn of(plan: &'a Plan) -> Self {
        let busy = |stage: &&Stage| matches!(stage.kind, StageKind::Clear | StageKind::Work | StageKind::Live);
        let alone = plan.stages.iter().filter(busy).count() < 2;
        let mut parts: Vec<Part<'a>> = Vec::new();
        let mut number = 0;
        for stage in &plan.stages {
            let mut reached = Heading::MakeSafe;
            for section in &stage.sections {
                reached = reached.max(Heading::of(stage.kind, section.phase));
                let title = title(stage.kind, reached, alone);
                let from = number + 1;
                number += section.steps.len();
                match parts.last_mut().filter(|part| part.title == title) {
                    Some(part) => {
                        part.sections.push(section);
                        (part.to, part.stage) = (number, stage.kind);
                    }
                    None => parts.push(Part {
                        heading: reached,
                        title,
                        stage: stage.kind,
                        sections: vec![section],
                        from,
                        to: number,
                    }),
                }
            }
        }
        Self { parts }
    }
}

fn title(stage: StageKind, heading: Heading, alone: bool) -> String {
    let stretch = match stage {
        StageKind::Clear => "Clear the cylinders",
        StageKind::Live if !alone => "Live circuits",
        StageKind::Work if !alone => "Quiet work",
        _ => return heading.words().to_owned(),
    };
    format!("{stretch}: {}", heading.words().to_lowercase())
}
