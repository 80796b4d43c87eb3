//! What could be done now: repairs and checks that this craft has, this user may do and nothing bars.

use super::cost::{Price, Rate, after, price, time};
use super::{Action, complained_of};
use crate::access::{AccessGraph, OpenSet};
use crate::belief::Belief;
use crate::case::{Case, Entry, Event, Presence};
use crate::knowledge::layout::{Instance, Laid};
use crate::knowledge::{Cause, Check, Interlock, Ix, Repair};
use crate::model::compile::{CheckModel, conditions, repair_reaches};
use crate::model::epochs::{removes_any, shown_by};
use crate::safety::{
    Before, OpenHazard, Safety, Verdict, answered_so, is_about_who, is_set_by, outcome_of, since_done,
};
use crate::units::Minutes;
use std::collections::{BTreeMap, BTreeSet};

/// Something that could be done, what it costs and what it asks for first.
#[derive(Clone, Debug)]
pub struct Offer {
    /// What.
    pub action: Action,
    /// The step alone, with access and what must be done first.
    pub price: Price,
    /// What must be done first.
    pub before: Before,
    /// What is open once it is done.
    pub after: OpenSet,
    /// Why it may not be done now; it may be once something is settled.
    pub held: Option<(Option<Ix<Interlock>>, String)>,
}

/// What may and what may not be done.
#[derive(Debug, Default)]
pub struct Offers {
    /// Repairs, each with the causes it removes and how surely.
    pub repairs: Vec<(Offer, Vec<(Instance<Cause>, f64)>)>,
    /// Checks, each with its rows; of those that an interlock holds up only what another waits for.
    pub checks: Vec<(Offer, CheckModel)>,
    /// What may not be done, and why.
    pub barred: Vec<(Action, String)>,
}

/// Whether a check has shown what is wanted at its place since an entry of the log, and nothing else there after that: who
/// waits for every cylinder goes on to the next. What was seen before a repair counts still, as it does for the interlock.
#[must_use]
pub fn said_so(laid: &Laid<'_>, case: &Case, made: Instance<Check>, (wanted, since): (&[usize], usize)) -> bool {
    let said = case.log.iter().skip(since).rev().find_map(|entry| match &entry.event {
        Event::Answer { check, place, answer, .. } if *check == made.item && place.is_none_or(|at| at == made.at) => {
            outcome_of(laid, case, *check, *answer)
        }
        _ => None,
    });
    said.is_some_and(|outcome| wanted.contains(&outcome))
}

/// What was asked in vain so often since the last repair is not asked again before one; what found something is looked at
/// once more and no oftener. A hull that smells faintly is aired once more, and costs that; what it may still show sinks
/// with every answer, so that this only ends what would never end. Both numbers: common practice, no source.
const WORN_OUT: usize = 6;
/// Why a repair that was done is not done again at once.
const DONE: &str = "It has been done. Do it again only once something that is seen from now on speaks for it.";

/// Gathers offers.
pub struct Gatherer<'a, 'k> {
    /// The craft.
    pub laid: &'a Laid<'k>,
    /// Its disassembly.
    pub graph: &'a AccessGraph,
    /// The case.
    pub case: &'a Case,
    /// What is open now.
    pub open: &'a OpenSet,
    /// How safe things are.
    pub safety: &'a Safety,
    /// What time costs.
    pub rate: Rate,
}

impl Gatherer<'_, '_> {
    /// Everything that could be done now.
    #[must_use]
    pub fn gather(&self, belief: &Belief) -> Offers {
        let mut offers = Offers::default();
        self.gather_repairs(belief, &mut offers);
        self.gather_checks(belief, &mut offers);
        offers
    }

    fn gather_repairs(&self, belief: &Belief, offers: &mut Offers) {
        for (ix, repair) in self.laid.knowledge.repairs.iter() {
            let fits = self.laid.fits(&repair.fitted) && repair.is_for(&self.laid.knowledge.users[self.case.user]);
            if repair.service || repair.removes.is_empty() || !fits {
                continue;
            }
            let sensible = self.called_for(&repair.after, Some(ix));
            if !sensible && self.was_asked(&repair.after, ix) {
                continue;
            }
            let places = self.laid.places(repair.scope);
            let everywhere: Vec<usize> = (0..places).collect();
            let mut choices = vec![everywhere];
            if places > 1 && !repair.together {
                choices.extend((0..places).map(|at| vec![at]));
            }
            for places in choices {
                let removes = self.removes(belief, ix, &places);
                if removes.is_empty() {
                    continue;
                }
                let action = Action::Repair(ix, places);
                match self.offer_or_held(&action) {
                    // What the user may not do at all is no way on; what an interlock holds up may be one later.
                    Ok(mut offer) => {
                        if !sensible {
                            offer.held.get_or_insert_with(|| (None, self.not_before(&repair.after)));
                        } else if self.is_done(&action, &removes) {
                            offer.held.get_or_insert_with(|| (None, DONE.to_owned()));
                        }
                        offers.barred.extend(offer.held.as_ref().map(|(_, why)| (action, why.clone())));
                        offers.repairs.push((offer, removes));
                    }
                    Err(barred) => offers.barred.push(barred),
                }
            }
        }
    }

    /// Whether a repair was done at one of its places, and nothing seen since speaks for a cause that it removes. What kept
    /// it from curing once mostly keeps it from curing again, which chances drawn anew do not say.
    fn is_done(&self, action: &Action, removes: &[(Instance<Cause>, f64)]) -> bool {
        let Action::Repair(ix, at) = action else { return false };
        let log = &self.case.log;
        let is_it = |entry: &Entry| match &entry.event {
            Event::Repaired { repair, places } => repair == ix && places.iter().any(|place| at.contains(place)),
            _ => false,
        };
        let Some(done) = log.iter().rposition(is_it) else { return false };
        let speaks = |entry: &Entry| match &entry.event {
            Event::Answer { check, answer, .. } if answer.informs() => {
                let outcomes = &self.laid.knowledge.checks[*check].outcomes;
                let shown = outcome_of(self.laid, self.case, *check, *answer);
                shown.is_some_and(|shown| !outcomes[shown].pass)
                    && shown_by(self.laid.knowledge, *check).iter().any(|c| removes.iter().any(|(of, _)| of.item == *c))
            }
            Event::Found { cause, now } => *now == Presence::Present && removes.iter().any(|(of, _)| of == cause),
            _ => false,
        };
        !log[done + 1..].iter().any(speaks)
    }

    /// The cause instances that a repair at these places removes, and how surely.
    fn removes(&self, belief: &Belief, ix: Ix<Repair>, places: &[usize]) -> Vec<(Instance<Cause>, f64)> {
        let repair = &self.laid.knowledge.repairs[ix];
        belief
            .model
            .causes
            .iter()
            .filter_map(|(instance, _)| {
                let (_, sureness) = repair.removes.iter().find(|(cause, _)| *cause == instance.item)?;
                let scope = self.laid.knowledge.causes[instance.item].scope;
                repair_reaches(self.laid, ix, places, scope, instance.at).then(|| (*instance, sureness.get()))
            })
            .collect()
    }

    fn gather_checks(&self, belief: &Belief, offers: &mut Offers) {
        let answered = self.answered();
        let awaited = self.awaited();
        for model in &belief.model.checks {
            let check = &self.laid.knowledge.checks[model.check.item];
            let known = answered.contains(&(model.check.item, Some(model.check.at)))
                || answered.contains(&(model.check.item, None));
            let no_sheet = check.reading.as_ref().is_some_and(|r| r.relative.is_some())
                && conditions(self.laid, self.case, check).sheet.is_none();
            // What would release an interlock is asked again: air, wipe, wait, look once more. Not where it has been seen and
            // only a repair can change it.
            let wanted = awaited.get(&model.check.item);
            let again = wanted.is_some_and(|(wanted, since, by_looking)| {
                *by_looking
                    && self.asked_in_vain(model.check, wanted) < WORN_OUT
                    && !said_so(self.laid, self.case, model.check, (wanted, *since))
            });
            if (known && !again) || no_sheet || !self.called_for(&check.after, None) || self.spoiled(model.check.item) {
                continue;
            }
            match self.offer(Action::Check(model.check)) {
                Ok(offer) => offers.checks.push((offer, model.clone())),
                Err((action, why)) => {
                    if let (Some(_), Ok(held)) = (wanted, self.offer_or_held(&action)) {
                        offers.checks.push((held, model.clone()));
                    }
                    offers.barred.push((action, why));
                }
            }
        }
    }

    /// The checks that interlocks which forbid to try the symptom wait for, with the outcomes wanted, the entry of the log
    /// since which they are, and whether answers alone can release the interlock.
    fn awaited(&self) -> BTreeMap<Ix<Check>, (Vec<usize>, usize, bool)> {
        let locks = self.safety.locks(self.laid, self.graph, &complained_of(self.case));
        let waits = |lock: &Ix<Interlock>| {
            let since = self.safety.held_since(*lock).unwrap_or(0);
            let by_looking = self.safety.waits_for_answers(self.laid, self.graph, self.case, *lock);
            let checks = self.safety.releasing(self.laid, self.graph, self.case, *lock);
            checks.into_iter().map(move |(check, wanted)| (check, (wanted, since, by_looking)))
        };
        locks.iter().flat_map(waits).collect()
    }

    /// How much a check has been asked in vain since the last repair: 1 for an answer that is not what is waited for, 3 for
    /// one that found something, as a wet joint or a strong smell. Only what airing takes away may be gone the next time.
    fn asked_in_vain(&self, made: Instance<Check>, wanted: &[usize]) -> usize {
        let log = &self.case.log;
        let since = log.iter().rposition(|e| matches!(e.event, Event::Repaired { .. })).map_or(0, |at| at + 1);
        let interlocks = &self.laid.knowledge.interlocks;
        let check = &self.laid.knowledge.checks[made.item];
        let stays = check.rows.iter().all(|row| row.aired.is_none());
        let finds = |outcome: usize| {
            interlocks.iter().any(|(_, lock)| is_set_by(lock, made.item, outcome))
                || stays && !check.outcomes[outcome].pass
        };
        let in_vain = |event: &Event| match event {
            Event::Answer { check, place, answer, .. }
                if *check == made.item && place.is_none_or(|at| at == made.at) =>
            {
                match outcome_of(self.laid, self.case, *check, *answer) {
                    Some(outcome) if wanted.contains(&outcome) => 0,
                    Some(outcome) if finds(outcome) => 3,
                    _ => 1,
                }
            }
            _ => 0,
        };
        log[since..].iter().map(|entry| in_vain(&entry.event)).sum()
    }

    /// Checks whose answer still stands, by place: answered, with no repair since that may have changed what they show, or
    /// tried in vain since the last repair.
    fn answered(&self) -> BTreeSet<(Ix<Check>, Option<usize>)> {
        let knowledge = self.laid.knowledge;
        let mut shown: BTreeMap<Ix<Check>, BTreeSet<Ix<Cause>>> = BTreeMap::new();
        let mut repairs: Vec<Ix<Repair>> = Vec::new();
        let mut answered = BTreeSet::new();
        for entry in self.case.log.iter().rev() {
            match &entry.event {
                Event::Repaired { repair, .. } => repairs.push(*repair),
                Event::Answer { check, place, answer, .. } => {
                    let shown = shown.entry(*check).or_insert_with(|| shown_by(knowledge, *check));
                    let stands = if answer.informs() {
                        !repairs.iter().any(|repair| removes_any(knowledge, *repair, shown))
                    } else {
                        repairs.is_empty()
                    };
                    if stands {
                        answered.insert((*check, *place));
                    }
                }
                _ => {}
            }
        }
        answered
    }

    /// Whether all that a repair may come after was asked since it was last done: then nothing calls for it any more.
    fn was_asked(&self, after: &[(Ix<Check>, Vec<usize>)], repair: Ix<Repair>) -> bool {
        let since = since_done(self.case, Some(repair));
        let is_answered = |wanted: Ix<Check>| {
            since.iter().any(
                |entry| matches!(&entry.event, Event::Answer { check, answer, .. } if *check == wanted && answer.informs()),
            )
        };
        let could_be = |wanted: Ix<Check>| self.laid.fits(&self.laid.knowledge.checks[wanted].fitted);
        !after.is_empty() && after.iter().all(|(wanted, _)| is_answered(*wanted) || !could_be(*wanted))
    }

    /// Why a repair has to wait for an answer.
    fn not_before(&self, after: &[(Ix<Check>, Vec<usize>)]) -> String {
        let titles = after.iter().map(|(check, _)| self.laid.knowledge.checks[*check].title.as_str());
        format!("It makes sense only once this has been looked at: {}.", titles.collect::<Vec<_>>().join(", "))
    }

    /// Whether what something comes after has been answered so, for a repair since it was last done.
    fn called_for(&self, after: &[(Ix<Check>, Vec<usize>)], repair: Option<Ix<Repair>>) -> bool {
        answered_so(self.laid, self.case, after, repair)
    }

    /// Whether a check done since the last start makes this one worthless.
    fn spoiled(&self, ix: Ix<Check>) -> bool {
        let since = self.case.log.iter().rposition(|e| matches!(e.event, Event::Tried { .. } | Event::Repaired { .. }));
        self.case.log[since.map_or(0, |at| at + 1)..].iter().any(|entry| match &entry.event {
            Event::Answer { check, answer, .. } => {
                answer.informs() && self.laid.knowledge.checks[*check].spoils.contains(&ix)
            }
            _ => false,
        })
    }

    /// An offer, held up where it is forbidden for now.
    fn offer_or_held(&self, action: &Action) -> Result<Offer, (Action, String)> {
        let why = |ix: Ix<Interlock>| self.laid.knowledge.interlocks[ix].why.clone();
        let held = match self.safety.judge(self.laid, self.graph, self.case, self.open, action) {
            Verdict::Barred { by: None, why } => return Err((action.clone(), why)),
            // Who may do what does not change while the job lasts.
            Verdict::Barred { by: Some(ix), why } if is_about_who(&self.laid.knowledge.interlocks[ix]) => {
                return Err((action.clone(), why));
            }
            Verdict::Barred { by: Some(ix), .. } => Some((Some(ix), why(ix))),
            Verdict::May(_) => return self.offer(action.clone()),
        };
        let price = price(self.laid, self.graph, &self.rate, self.open, action);
        let after = after(self.laid, self.graph, self.open, action);
        Ok(Offer { action: action.clone(), price, before: Before::default(), after, held })
    }

    /// An offer, or why it is barred.
    pub fn offer(&self, action: Action) -> Result<Offer, (Action, String)> {
        match self.safety.judge(self.laid, self.graph, self.case, self.open, &action) {
            Verdict::Barred { why, .. } => Err((action, why)),
            Verdict::May(before) => {
                // What must be put back first is owed anyway, but is no longer open for this.
                let open = self.still_open(&before);
                let mut price = price(self.laid, self.graph, &self.rate, &open, &action);
                // Airing is waiting: half of it is lost.
                let waiting = |air: Minutes| Minutes::of(air.get() / 2.0);
                if let Some((check, _, air)) = before.close {
                    let check = &self.laid.knowledge.checks[check];
                    price = price.plus(time(&self.rate, check.minutes + waiting(air)));
                } else if let Action::Check(check) = &action {
                    price = price.plus(time(&self.rate, waiting(self.airing(check.item))));
                }
                let after = after(self.laid, self.graph, &open, &action);
                Ok(Offer { action, price, before, after, held: None })
            }
        }
    }

    /// The airing before a check that closes an open hazard.
    fn airing(&self, check: Ix<Check>) -> Minutes {
        let closes = |hazard: &OpenHazard| {
            let hazard = &self.laid.knowledge.hazards[hazard.hazard];
            hazard.closed_by.iter().any(|closed| closed.answer.0 == check)
        };
        let airs = self.safety.hazards.iter().filter(|hazard| closes(hazard)).map(|hazard| hazard.air);
        airs.fold(Minutes::ZERO, |most, air| if air > most { air } else { most })
    }

    fn still_open(&self, before: &Before) -> OpenSet {
        let mut case = Case { log: Vec::new(), ..self.case.clone() };
        let kept: Vec<_> = self.open.iter().filter(|a| !before.put_back.contains(a)).collect();
        case.log
            .extend(kept.into_iter().map(|access| Event::Access { access, now: crate::case::Position::Open }.into()));
        self.graph.open_now(self.laid, &case)
    }
}
