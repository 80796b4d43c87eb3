//! What a knowledge base is about: the craft, who works on it, what is known at intake.

use super::{Access, Basis, Ix, Symptom};
use crate::units::{Chance, Minutes, Money};
use indexmap::IndexMap;
use std::collections::BTreeMap;

/// What an item has one instance for each of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Scope {
    /// One for the craft.
    Craft,
    /// One for each cylinder.
    Cylinder,
    /// One for each carburetor.
    Carburetor,
    /// One for each pump.
    Pump,
}

/// One option.
#[derive(Clone, Debug)]
pub struct CraftOption {
    /// In plain words.
    pub title: String,
    /// Whether most craft have it.
    pub usual: bool,
}

/// One layout. Indices are positions: carburetor `c` feeds the cylinders `carburetors[c].1`.
#[derive(Clone, Debug)]
pub struct Layout {
    /// In plain words.
    pub title: String,
    /// Cylinder names.
    pub cylinders: Vec<String>,
    /// Carburetor names and the cylinders each feeds.
    pub carburetors: Vec<(String, Vec<usize>)>,
    /// Pump names and the carburetors each feeds.
    pub pumps: Vec<(String, Vec<usize>)>,
    /// Whether it is the usual one.
    pub usual: bool,
}

/// How history multiplies odds.
#[derive(Clone, Copy, Debug)]
pub struct HistoryRules {
    /// The product of multipliers lies in 1/cap..=cap.
    pub odds_cap: f64,
    /// The most a chance may be after history.
    pub chance_cap: Chance,
    /// The power of all but the largest multiplier in a story.
    pub story_power: f64,
}

/// One kind of user.
#[derive(Clone, Debug)]
pub struct User {
    /// Money an hour.
    pub labor: Money,
    /// Their minutes for one of ours.
    pub pace: f64,
    /// The highest skill they may use.
    pub skill: Option<u8>,
    /// The access they may open.
    pub access: Option<Vec<Ix<Access>>>,
    /// How many questions they stand.
    pub asks: Option<u32>,
    /// What handing over costs them; `None`: what it costs anyone.
    pub hand_over: Option<Money>,
    /// The share of a checker's time they need.
    pub checker_share: f64,
    /// Access that needs a checker's word.
    pub sign_off: Vec<Ix<Access>>,
}

impl User {
    /// Whether somebody else asks them, at the other end of a phone.
    #[must_use]
    pub fn is_on_the_phone(&self) -> bool {
        self.asks.is_some()
    }
}

/// What things cost that are not work.
#[derive(Clone, Debug)]
pub struct Costs {
    /// Handing over to a specialist.
    pub hand_over: Money,
    /// A trip for nothing: brought in by an owner on the phone who could have put it right himself.
    pub wasted_trip: Money,
    /// A comeback after a wrong repair.
    pub comeback: Money,
    /// To try the symptom after a repair, the craft whole again.
    pub try_again: Minutes,
    /// Until another call is where the last one ended; minutes as they pass, whoever is on the line.
    pub call_again: Minutes,
    /// Named risks.
    pub risk: BTreeMap<String, Money>,
}

/// A fact asked at intake.
#[derive(Clone, Debug)]
pub struct HistoryFact {
    /// The question.
    pub ask: String,
    /// Facts of one story are damped together.
    pub story: Option<String>,
    /// The answers.
    pub values: Vec<Value>,
    /// A fact that lifts the caps: its own cap on the chance.
    pub exempt: Option<Chance>,
    /// Symptoms for which this is worth asking; empty: any.
    pub only_for: Vec<Ix<Symptom>>,
    /// Answers to facts asked before it, after which it is not worth asking.
    pub moot_after: Vec<(Ix<HistoryFact>, usize)>,
    /// For some of its answers, answers to other facts that no story tells beside it.
    pub never_with: Vec<(usize, Ix<HistoryFact>, usize)>,
    /// Where its shares come from.
    pub basis: Basis,
}

impl HistoryFact {
    /// Whether it is worth asking where this is complained of and that was said.
    #[must_use]
    pub fn is_worth_asking(&self, symptoms: &[Ix<Symptom>], said: &IndexMap<Ix<Self>, usize>) -> bool {
        let tells = self.only_for.is_empty() || self.only_for.iter().any(|symptom| symptoms.contains(symptom));
        tells && !self.is_moot(said)
    }

    /// Whether its answer goes with all else that was said.
    #[must_use]
    pub fn goes_with(&self, own: usize, said: &IndexMap<Ix<Self>, usize>) -> bool {
        !self.never_with.iter().any(|(answer, fact, value)| *answer == own && said.get(fact) == Some(value))
    }

    /// Whether there is nothing to ask once that was said.
    #[must_use]
    pub fn is_moot(&self, said: &IndexMap<Ix<Self>, usize>) -> bool {
        self.moot_after.iter().any(|(fact, value)| said.get(fact) == Some(value))
    }
}

/// One answer to a history question.
#[derive(Clone, Debug)]
pub struct Value {
    /// Its id.
    pub id: String,
    /// In plain words.
    pub says: String,
    /// How common, percent.
    pub share: Option<f64>,
    /// The options it sets.
    pub implies: Vec<(Ix<CraftOption>, bool)>,
}

/// The craft an item belongs to; all that is named must hold.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Fitted {
    /// A number of cylinders.
    pub cylinders: Option<usize>,
    /// Options that are, or are not, fitted.
    pub options: Vec<(Ix<CraftOption>, bool)>,
    /// One of these layouts; empty: any.
    pub layouts: Vec<Ix<Layout>>,
}
