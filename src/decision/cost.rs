//! What work costs: minutes at the user's rate, money, access with what is open.

use super::Action;
use crate::access::{AccessGraph, OpenSet};
use crate::case::{Case, Event};
use crate::knowledge::layout::Laid;
use crate::knowledge::{Access, Ix, User};
use crate::units::{Minutes, Money};

/// Minutes and money of one piece of work.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Price {
    /// Minutes of the user's own.
    pub minutes: Minutes,
    /// Minutes at their rate, and money for parts and things used up.
    pub money: Money,
}

impl Price {
    fn of(user: &Rate, bench: Minutes, parts: Money) -> Self {
        let minutes = bench * user.pace;
        Self { minutes, money: minutes.at_rate(user.hourly) + parts }
    }

    /// So many times over.
    #[must_use]
    pub fn times(self, n: f64) -> Self {
        Self { minutes: self.minutes * n, money: self.money * n }
    }

    /// Both together.
    #[must_use]
    pub fn plus(self, other: Self) -> Self {
        Self { minutes: self.minutes + other.minutes, money: self.money + other.money }
    }
}

/// What the user's time costs.
#[derive(Clone, Copy, Debug)]
pub struct Rate {
    /// Money an hour, the checker's share included.
    pub hourly: Money,
    /// Their minutes for one of a trained technician's.
    pub pace: f64,
    /// What handing over costs them.
    pub hand_over: Money,
    /// What it costs more where they hand over what they could have put right themselves: a trip for nothing. Only on the
    /// phone is there a trip.
    pub wasted_trip: Money,
    /// What a repair that does not cure costs beyond its price: another call. Only on the phone.
    pub call_again: Money,
}

impl Rate {
    /// The rate of a case's user.
    #[must_use]
    pub fn of(laid: &Laid<'_>, case: &Case) -> Self {
        Self::of_user(laid, case.user)
    }

    /// The rate of a user.
    #[must_use]
    pub fn of_user(laid: &Laid<'_>, ix: Ix<User>) -> Self {
        let knowledge = laid.knowledge;
        let (user, costs) = (&knowledge.users[ix], &knowledge.costs);
        // Who checks a trainee's work is the dearest pair of hands there is.
        let checker = knowledge.users.iter().map(|(_, u)| u.labor.get()).fold(0.0, f64::max);
        let hourly = Money::of(user.labor.get() + user.checker_share * checker);
        let by_phone = user.is_on_the_phone();
        Self {
            hourly,
            pace: user.pace,
            hand_over: knowledge.hand_over(ix),
            wasted_trip: if by_phone { costs.wasted_trip } else { Money::ZERO },
            call_again: if by_phone { costs.call_again.at_rate(hourly) } else { Money::ZERO },
        }
    }
}

/// What an action asks to have open.
#[must_use]
pub fn wanted(laid: &Laid<'_>, action: &Action) -> Vec<Ix<Access>> {
    match action {
        Action::Check(instance) => laid.knowledge.checks[instance.item].access.clone(),
        Action::Repair(repair, _) => laid.knowledge.repairs[*repair].access.clone(),
        Action::Try(_) | Action::HandOver => Vec::new(),
    }
}

/// What is open once an action is done.
#[must_use]
pub fn after(laid: &Laid<'_>, graph: &AccessGraph, open: &OpenSet, action: &Action) -> OpenSet {
    match action {
        Action::Check(check) => graph.after_check(laid, open, check.item),
        _ => graph.after(laid, open, &wanted(laid, action)),
    }
}

/// What an action costs from how things stand: the work, and the access it must open, to and fro.
#[must_use]
pub fn price(laid: &Laid<'_>, graph: &AccessGraph, rate: &Rate, open: &OpenSet, action: &Action) -> Price {
    let knowledge = laid.knowledge;
    let (bench, parts, places) = match action {
        Action::Check(instance) => {
            let check = &knowledge.checks[instance.item];
            (check.minutes, check.money, 1)
        }
        Action::Repair(ix, places) => {
            let repair = &knowledge.repairs[*ix];
            #[expect(clippy::cast_precision_loss, reason = "a handful of places")]
            let n = places.len() as f64;
            let parts: Money = repair.parts.iter().map(|p| p.each * p.count).sum();
            (repair.minutes * n + knowledge.costs.try_again, parts * n, places.len())
        }
        Action::Try(_) => (knowledge.costs.try_again, Money::ZERO, 1),
        Action::HandOver => return Price { minutes: Minutes::ZERO, money: rate.hand_over },
    };
    let reach = graph.reach(laid, open, &wanted(laid, action), places);
    Price::of(rate, bench + reach.total(), parts)
}

/// What a few minutes of the user's cost.
#[must_use]
pub fn time(rate: &Rate, bench: Minutes) -> Price {
    Price::of(rate, bench, Money::ZERO)
}

/// What the log tells of has cost: work done, and access opened (to and fro).
#[must_use]
pub fn spent(laid: &Laid<'_>, graph: &AccessGraph, case: &Case) -> Price {
    let rate = Rate::of(laid, case);
    let mut so_far = Case { log: Vec::new(), ..case.clone() };
    let mut total = Price::default();
    for entry in &case.log {
        let open = graph.open_now(laid, &so_far);
        total = total.plus(match &entry.event {
            Event::Answer { check, place, answer, .. } if answer.informs() => {
                let scope = laid.knowledge.checks[*check].scope;
                let n = if place.is_some() { 1 } else { laid.places(scope) };
                let action = Action::Check(crate::knowledge::layout::Instance::new(*check, place.unwrap_or(0)));
                let one = price(laid, graph, &rate, &open, &action);
                let again = price(laid, graph, &rate, &after(laid, graph, &open, &action), &action);
                (1..n).fold(one, |sum, _| sum.plus(again))
            }
            Event::Repaired { repair, places } => {
                price(laid, graph, &rate, &open, &Action::Repair(*repair, places.clone()))
            }
            Event::Access { access, now: crate::case::Position::Open } => {
                time(&rate, graph.reach(laid, &open, &[*access], 1).total())
            }
            _ => Price::default(),
        });
        so_far.log.push(entry.clone());
    }
    total
}
