//! Effects do not bring about each other in a circle: a fault tree has a direction.

use super::super::{Effect, Gate, Ix, Reads, State, codes};
use super::{Whole, circle};

/// Reports circles. Returns the effects in an order in which each comes after those it reads; in file order where
/// there is a circle.
pub(super) fn check(whole: &mut Whole) -> Vec<Ix<Effect>> {
    let effects = &whole.knowledge.effects;
    let mut leads_to = vec![Vec::new(); effects.len()];
    for (ix, effect) in effects.iter() {
        for read in states(&effect.gate) {
            if let State::Effect(input) = read {
                leads_to[input.at()].push(ix.at());
            }
        }
    }
    for found in circle::circles(&leads_to) {
        let id = |at: usize| effects.id(Ix::new(at));
        let message = format!("effects bring about each other in a circle: {}", circle::shown(&found, id));
        let hints = vec!["cut the weakest link, or read the causes of one of them instead".to_owned()];
        whole.error(codes::EFFECT_CYCLE, id(found[0]), message, hints);
    }
    order(&leads_to)
}

/// All states a gate reads.
pub(super) fn states(gate: &Gate) -> impl Iterator<Item = State> {
    gate.inputs.iter().flat_map(|input| match &input.reads {
        Reads::One(s) | Reads::Every(s) | Reads::SomeNotAll(s) | Reads::Exactly(_, s) => vec![*s],
        Reads::Together(states) => states.clone(),
    })
}

/// The lowest effect whose inputs are all placed comes next (Kahn 1962), so that the order is the file's where it can be.
fn order(leads_to: &[Vec<usize>]) -> Vec<Ix<Effect>> {
    let mut waits = vec![0; leads_to.len()];
    for to in leads_to.iter().flatten() {
        waits[*to] += 1;
    }
    let mut ready: std::collections::BTreeSet<usize> = (0..waits.len()).filter(|n| waits[*n] == 0).collect();
    let mut order = Vec::with_capacity(waits.len());
    while let Some(next) = ready.pop_first() {
        order.push(Ix::new(next));
        for to in &leads_to[next] {
            waits[*to] -= 1;
            if waits[*to] == 0 {
                ready.insert(*to);
            }
        }
    }
    if order.len() == leads_to.len() { order } else { (0..leads_to.len()).map(Ix::new).collect() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn inputs_come_first_and_else_the_order_of_the_file_stays() {
        let at = |order: Vec<Ix<Effect>>| order.into_iter().map(Ix::at).collect::<Vec<_>>();
        assert_eq!(at(order(&[vec![], vec![0], vec![1]])), [2, 1, 0]);
        assert_eq!(at(order(&[vec![], vec![], vec![]])), [0, 1, 2]);
        assert_eq!(at(order(&[vec![1], vec![0]])), [0, 1]);
    }
}
