//! The knowledge base: YAML shapes ([`raw`]), what they mean once checked (here), and one craft laid out ([`layout`]).
//!
//! Everything here has been checked: every reference resolves, every row of chances sums to one, every gate is acyclic.

mod checks;
pub mod codes;
mod craft;
mod faults;
pub mod items;
pub mod layout;
pub mod load;
pub mod node;
pub mod raw;
pub mod resolve;
mod safety;
pub mod shared;
pub mod vet;
mod work;
pub(crate) mod yaml;

use crate::finding::{Findings, Place};
use crate::units::{Chance, Money};
pub use checks::*;
pub use craft::*;
pub use faults::*;
pub use items::{Items, Ix};
pub use safety::*;
pub use shared::shares;
use std::collections::{BTreeMap, BTreeSet};
pub use work::*;

/// A knowledge base: everything known about one kind of craft.
#[derive(Clone, Debug)]
pub struct Knowledge {
    /// Its id.
    pub id: String,
    /// Its version.
    pub version: String,
    /// Its title.
    pub title: String,
    /// The chance that any answer is misread or mistyped.
    pub slip: Chance,
    /// ISO 4217.
    pub currency: String,
    /// What may or may not be fitted.
    pub options: Items<CraftOption>,
    /// Which carburetor feeds which cylinder, which pump which carburetor.
    pub layouts: Items<Layout>,
    /// How history multiplies odds.
    pub history_rules: HistoryRules,
    /// Kinds of user.
    pub users: Items<User>,
    /// What things cost that are not work.
    pub costs: Costs,
    /// Facts asked at intake, in the order of asking.
    pub history: Items<HistoryFact>,
    /// Root faults.
    pub causes: Items<Cause>,
    /// Intermediate events.
    pub effects: Items<Effect>,
    /// Effects of every one before those that read it.
    pub effect_order: Vec<Ix<Effect>>,
    /// What the customer complains of.
    pub symptoms: Items<Symptom>,
    /// What one can look at, do or measure.
    pub checks: Items<Check>,
    /// States of disassembly.
    pub access: Items<Access>,
    /// What can hurt.
    pub hazards: Items<Hazard>,
    /// Ticks: what a person confirms.
    pub ticks: Items<Tick>,
    /// What forbids what.
    pub interlocks: Items<Interlock>,
    /// Work that removes causes.
    pub repairs: Items<Repair>,
    /// What comes along with what.
    pub companions: Vec<Companion>,
    /// What is written down before and set after.
    pub settings: Items<Setting>,
    /// What adds repairs to a plan.
    pub plan_rules: Items<PlanRule>,
    /// An expert's fixed order: what trials compare advice with.
    pub checklist: Checklist,
    /// Published sources.
    pub sources: Items<Source>,
    /// Where each id is defined, and each row of a check under `ck-some-check.given[2]`.
    pub places: BTreeMap<String, Place>,
    /// The sources that some number, or a comment, is said to come from.
    pub cited: BTreeSet<Ix<Source>>,
    /// Words within texts that look like ids (`ck-smell-hull`), and where each text begins.
    pub mentions: Vec<(Place, String)>,
}

/// Reads a knowledge base from its files, each a name (with `/` between folders) and its bytes.
///
/// Returns the knowledge where nothing is wrong with it, and everything that was found, advice too.
/// Cost: linear in the bytes; a few tens of milliseconds for a thousand items.
#[must_use]
pub fn read(files: &[(String, Vec<u8>)]) -> (Option<Knowledge>, Findings) {
    let (raw, mut findings) = load::load(files);
    let (knowledge, more) = resolve::resolve(raw);
    findings.extend(more);
    (knowledge.filter(|_| !findings.any_error()), findings)
}

/// Where a number comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Basis {
    /// The habit of the trade; no published source.
    CommonPractice,
    /// A guess, said to be one.
    Estimate,
    /// A source.
    Published(Ix<Source>),
}

impl Knowledge {
    /// Two of these symptoms of which the first rules the second out, where there are any.
    #[must_use]
    pub fn at_odds(&self, symptoms: &[Ix<Symptom>]) -> Option<(Ix<Symptom>, Ix<Symptom>)> {
        symptoms.iter().find_map(|one| {
            let out = symptoms.iter().find(|other| self.symptoms[*one].rules_out.contains(other))?;
            Some((*one, *out))
        })
    }

    /// What handing over costs a user.
    #[must_use]
    pub fn hand_over(&self, user: Ix<User>) -> Money {
        self.users[user].hand_over.unwrap_or(self.costs.hand_over)
    }

    /// All access that is open once these are: what they need, and so on down.
    #[must_use]
    pub fn opened(&self, access: &[Ix<Access>]) -> BTreeSet<Ix<Access>> {
        let mut all = BTreeSet::new();
        let mut next = access.to_vec();
        while let Some(ix) = next.pop() {
            if all.insert(ix) {
                next.extend(&self.access[ix].needs);
            }
        }
        all
    }
}

/// A published source.
#[derive(Clone, Debug)]
pub struct Source {
    /// Its title.
    pub title: String,
    /// Who wrote or published it.
    pub by: String,
    /// When.
    pub year: Option<u32>,
    /// How it is known.
    pub mark: raw::RawMark,
}
