//! The search itself: states of what is known, each with a lower and an upper bound, opened one by one where most of the
//! doubt about the whole lies.

use super::bounds::{Between, Classes, Ground, Ways, each};
use super::problem::{Open, Problem, Repair, Set, Step};
use super::told::Told;
use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};

/// What is known and done: the same whichever way led there.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct State {
    /// What checks showed, by check.
    answers: Vec<(u16, u8)>,
    /// The repairs that failed.
    done: Set,
    /// What is open.
    open: Open,
}

/// A state with what is known of its cost, times the weight of its worlds: so the doubt about a state weighs as much as the
/// state is likely.
struct Node {
    state: State,
    between: Between,
    /// What can be done, once it was opened, but for what cannot be the best.
    options: Option<Vec<Choice>>,
    /// Where its bounds count.
    parents: Vec<usize>,
}

/// One thing that can be done in a state.
struct Choice {
    step: Step,
    /// What it costs itself, with what a failure costs, times the weight.
    price: f64,
    between: Between,
    /// The states it may lead to, once anybody went there.
    then: Option<Vec<usize>>,
}

/// Which way down is followed.
#[derive(Clone, Copy)]
enum Follow {
    /// The steps that could be the best: it raises the lower bound.
    Hope,
    /// The steps that are the best for all that is known: it brings the upper bound down.
    Best,
    /// The same after this first step, which is looked at so that first steps are compared on equal terms.
    First(usize),
}

/// First steps within this share of the best are looked at in turn.
const IN_SIGHT: f64 = 0.05;

/// A search at work.
pub struct Tree<'p> {
    problem: &'p Problem,
    classes: Classes<'p>,
    /// For each world its class.
    class_of: Vec<usize>,
    nodes: Vec<Node>,
    places: BTreeMap<State, usize>,
    grounds: BTreeMap<(Set, Open), Ground>,
    /// How many were opened.
    opened: usize,
    /// How often each first step was looked at in turn.
    looked_at: Vec<usize>,
}

/// What a state weighs: worlds that may still be, and classes.
struct Weighed {
    worlds: Vec<(usize, f64)>,
    classes: Vec<f64>,
    /// The checks that may still be made and tell anything.
    checks: Vec<usize>,
    /// What these could tell.
    told: Told,
    /// What that comes to at least, for what is open after a check.
    at_least: BTreeMap<Open, Vec<f64>>,
}

/// A state that a step may lead to.
struct Next {
    state: State,
    /// The weight of each class.
    classes: Vec<f64>,
    /// What it comes to at least were all told that checks can tell.
    told: f64,
}

impl<'p> Tree<'p> {
    /// A search over a problem that nothing is known about yet.
    #[must_use]
    pub fn new(problem: &'p Problem) -> Self {
        let (classes, class_of) = Classes::of(problem);
        let root = State { answers: vec![], done: 0, open: problem.open };
        let between = Between { lower: 0.0, upper: f64::INFINITY };
        let (places, grounds) = (BTreeMap::from([(root.clone(), 0)]), BTreeMap::new());
        let nodes = vec![Node { state: root, between, options: None, parents: vec![] }];
        let mut tree = Self { problem, classes, class_of, nodes, places, grounds, opened: 0, looked_at: vec![] };
        tree.open(0);
        tree.looked_at = vec![0; tree.nodes[0].options.as_ref().map_or(0, Vec::len)];
        tree
    }

    /// How many states were opened so far.
    #[must_use]
    pub fn opened(&self) -> usize {
        self.opened
    }

    /// Between what the whole comes to, a world.
    #[must_use]
    pub fn between(&self) -> Between {
        self.a_world(self.nodes[0].between)
    }

    /// Every first step, and between what the whole comes to with it, a world.
    pub fn first_steps(&self) -> impl Iterator<Item = (Step, Between)> + '_ {
        self.nodes[0].options.iter().flatten().map(|choice| (choice.step, self.a_world(choice.between)))
    }

    fn a_world(&self, between: Between) -> Between {
        let all: f64 = self.problem.worlds.iter().map(|world| world.weight).sum();
        Between { lower: between.lower / all, upper: between.upper / all }
    }

    /// Opens one state more, where most of the doubt lies; false where there is none left.
    pub fn go_on(&mut self) -> bool {
        // By turns: what looks best, what could be better than it looks, and what nearly looks best.
        let mut turns = vec![Follow::Best, Follow::Hope];
        turns.extend(self.next_in_turn().map(Follow::First));
        let n = turns.len();
        turns.rotate_left(self.opened % n);
        for follow in turns {
            if let Some(leaf) = self.leaf(follow) {
                self.open(leaf);
                return true;
            }
        }
        false
    }

    /// Of the first steps in sight of the best the one that was looked at least.
    fn next_in_turn(&mut self) -> Option<usize> {
        let options = self.nodes[0].options.as_ref()?;
        let near = self.nodes[0].between.upper * (1.0 + IN_SIGHT);
        let in_sight = (0..options.len()).filter(|at| options[*at].between.upper <= near);
        let next = in_sight.min_by_key(|at| self.looked_at[*at])?;
        self.looked_at[next] += 1;
        Some(next)
    }

    /// The state not yet opened that a way down comes to.
    fn leaf(&mut self, follow: Follow) -> Option<usize> {
        let mut at = 0;
        loop {
            let Some(options) = &self.nodes[at].options else { return Some(at) };
            let by = |choice: &Choice| match follow {
                Follow::Hope => choice.between.lower,
                Follow::Best | Follow::First(_) => choice.between.upper,
            };
            let choice = match follow {
                Follow::First(first) if at == 0 => first,
                _ => (0..options.len()).reduce(|a, b| if by(&options[b]) < by(&options[a]) { b } else { a })?,
            };
            if options[choice].then.is_none() {
                // What is learned by that may make another way the one to follow.
                self.lead_on(at, choice);
                at = 0;
                continue;
            }
            let then = self.nodes[at].options.as_ref()?[choice].then.as_ref()?;
            let doubt = |node: usize| self.nodes[node].between.doubt();
            let next = then.iter().copied().reduce(|a, b| if doubt(b) > doubt(a) { b } else { a })?;
            // What rounding leaves is no doubt.
            if doubt(next) <= 1e-12 * self.nodes[0].between.upper {
                return None;
            }
            at = next;
        }
    }

    /// What can be done in a state, each with its bounds.
    fn open(&mut self, at: usize) {
        self.opened += 1;
        let state = self.nodes[at].state.clone();
        let mut weighed = self.weighed(&state);
        let left: f64 = weighed.classes.iter().sum();
        let mut options = Vec::new();
        let hand_over = self.classes.hand_over(&weighed.classes);
        let given_up = Between { lower: hand_over, upper: hand_over };
        options.push(Choice { step: Step::HandOver, price: hand_over, between: given_up, then: Some(vec![]) });
        for check in weighed.checks.clone() {
            let price = self.problem.checks[check].price.from(state.open) * left;
            self.weigh_choice(&state, &mut weighed, Step::Check(check), price, &mut options);
        }
        let some_part = self.part_in_a_cure(&state, &weighed.classes);
        for repair in each(some_part & self.sensible(&state)) {
            if at == 0 && self.problem.repairs[repair].held {
                continue;
            }
            let after = self.classes_after(&state, &weighed.classes, repair);
            let price = self.problem.repairs[repair].price.from(state.open) * left
                + self.problem.again * after.iter().sum::<f64>();
            self.weigh_choice(&state, &mut weighed, Step::Repair(repair), price, &mut options);
        }
        self.nodes[at].options = Some(options);
        self.settle(at);
    }

    fn weigh_choice(
        &mut self,
        state: &State,
        weighed: &mut Weighed,
        step: Step,
        price: f64,
        options: &mut Vec<Choice>,
    ) {
        let mut between = Between { lower: price, upper: price };
        for next in self.leads_to(state, weighed, step) {
            let then = self.bound(&next, &weighed.checks);
            between = Between { lower: between.lower + then.lower, upper: between.upper + then.upper };
        }
        options.push(Choice { step, price, between, then: None });
    }

    /// Makes the states that a choice may lead to, where they are not there yet.
    fn lead_on(&mut self, at: usize, choice: usize) {
        let state = self.nodes[at].state.clone();
        let mut weighed = self.weighed(&state);
        let Some(step) = self.nodes[at].options.as_ref().map(|options| options[choice].step) else { return };
        let mut then = Vec::new();
        for next in self.leads_to(&state, &mut weighed, step) {
            let node = if let Some(&known) = self.places.get(&next.state) {
                known
            } else {
                let between = self.bound(&next, &weighed.checks);
                self.nodes.push(Node { state: next.state.clone(), between, options: None, parents: vec![] });
                self.places.insert(next.state, self.nodes.len() - 1);
                self.nodes.len() - 1
            };
            self.nodes[node].parents.push(at);
            then.push(node);
        }
        if let Some(options) = &mut self.nodes[at].options {
            options[choice].then = Some(then);
        }
        self.settle(at);
    }

    /// Carries bounds up, from the states that know most to those that know least.
    fn settle(&mut self, from: usize) {
        let known = |node: &Node| node.state.answers.len() + node.state.done.count_ones() as usize;
        let mut open = BTreeSet::from([(Reverse(known(&self.nodes[from])), from)]);
        while let Some((_, at)) = open.pop_first() {
            if self.settle_one(at) {
                open.extend(self.nodes[at].parents.iter().map(|&parent| (Reverse(known(&self.nodes[parent])), parent)));
            }
        }
    }

    /// Takes in what is known of a state's choices; whether that changed what is known of itself.
    fn settle_one(&mut self, at: usize) -> bool {
        let Some(mut options) = self.nodes[at].options.take() else { return false };
        let before = self.nodes[at].between;
        let mut best = Between { lower: f64::INFINITY, upper: before.upper };
        for choice in &mut options {
            if let Some(then) = choice.then.as_ref().filter(|then| !then.is_empty()) {
                let sum = |of: fn(&Between) -> f64| then.iter().map(|node| of(&self.nodes[*node].between)).sum::<f64>();
                choice.between.lower = choice.between.lower.max(choice.price + sum(|b| b.lower));
                choice.between.upper = choice.between.upper.min(choice.price + sum(|b| b.upper));
                choice.between.lower = choice.between.lower.min(choice.between.upper);
            }
            best.lower = best.lower.min(choice.between.lower);
            best.upper = best.upper.min(choice.between.upper);
        }
        let now = Between { lower: best.lower.min(best.upper).max(before.lower.min(best.upper)), upper: best.upper };
        // What cannot be better than what is already known is looked at no more; of the first steps all are told.
        if at != 0 {
            options.retain(|choice| choice.between.lower < now.upper);
        }
        self.nodes[at].options = Some(options);
        self.nodes[at].between = now;
        now != before
    }

    /// The bounds of a state by itself; `checks` are those that may still tell anything.
    fn bound(&mut self, next: &Next, checks: &[usize]) -> Between {
        let Next { state, classes, told } = next;
        if let Some(&known) = self.places.get(state) {
            return self.nodes[known].between;
        }
        let made = |check: usize| state.answers.iter().any(|(made, _)| usize::from(*made) == check);
        let left = checks.iter().filter(|check| !made(**check)).map(|check| self.problem.checks[*check].price.work);
        let ways = Ways { repairs: self.sensible(state), look: left.fold(f64::INFINITY, f64::min) };
        self.stand_on(state.done, state.open);
        self.classes.between(classes, &self.grounds[&(state.done, state.open)], ways, *told)
    }

    /// Works out what holds for all states with these repairs done and this open, where that is not known yet.
    fn stand_on(&mut self, done: Set, open: Open) {
        if !self.grounds.contains_key(&(done, open)) {
            self.grounds.insert((done, open), self.classes.ground(done, open));
        }
    }

    /// What is told comes to at least once these repairs have failed, with this open.
    fn told(&mut self, told: &Told, done: Set, open: Open) -> Vec<f64> {
        self.stand_on(done, open);
        told.at_least(&self.classes, &self.grounds[&(done, open)], done)
    }

    /// The states that a step may lead to.
    fn leads_to(&mut self, state: &State, weighed: &mut Weighed, step: Step) -> Vec<Next> {
        match step {
            Step::HandOver => Vec::new(),
            Step::Repair(repair) => {
                let classes = self.classes_after(state, &weighed.classes, repair);
                if classes.iter().all(|weight| *weight <= 0.0) {
                    return Vec::new();
                }
                let next = State { answers: state.answers.clone(), done: state.done | 1 << repair, open: 0 };
                let told = self.told(&weighed.told, next.done, 0).iter().sum();
                vec![Next { state: next, classes, told }]
            }
            Step::Check(check) => {
                let open = self.problem.checks[check].leaves_open(state.open);
                let next = |outcome: usize| {
                    let mut answers = state.answers.clone();
                    let answer = (small(check), u8::try_from(outcome).unwrap_or(u8::MAX));
                    answers.insert(answers.partition_point(|known| *known < answer), answer);
                    State { answers, done: state.done, open }
                };
                if !weighed.at_least.contains_key(&open) {
                    let at_least = self.told(&weighed.told, state.done, open);
                    weighed.at_least.insert(open, at_least);
                }
                let at_least = &weighed.at_least[&open];
                let place = weighed.checks.iter().position(|left| *left == check).unwrap_or_default();
                let told = |outcome: usize| weighed.told.after(self.problem, (place, check), outcome, at_least);
                let outcomes = self.by_outcome(weighed, check).into_iter().enumerate();
                let possible = outcomes.filter(|(_, classes)| classes.iter().any(|weight| *weight > 0.0));
                possible.map(|(outcome, classes)| Next { state: next(outcome), classes, told: told(outcome) }).collect()
            }
        }
    }

    /// For each outcome of a check the weight of each class.
    fn by_outcome(&self, weighed: &Weighed, check: usize) -> Vec<Vec<f64>> {
        let chances = &self.problem.checks[check].chances;
        let (n, rows) = (weighed.classes.len(), chances.first().map_or(0, Vec::len));
        let mut by_row = vec![0.0; n * rows];
        for &(world, weight) in &weighed.worlds {
            let row = usize::from(self.problem.worlds[world].rows[check]);
            by_row[row * n + self.class_of[world]] += weight;
        }
        let mix = |chances: &Vec<f64>| {
            let mut classes = vec![0.0; n];
            for (row, chance) in chances.iter().enumerate().filter(|(_, chance)| **chance > 0.0) {
                let by_row = &by_row[row * n..(row + 1) * n];
                classes.iter_mut().zip(by_row).for_each(|(class, weight)| *class += chance * weight);
            }
            classes
        };
        chances.iter().map(mix).collect()
    }

    /// The weight of each class once a repair has failed.
    fn classes_after(&self, state: &State, classes: &[f64], repair: usize) -> Vec<f64> {
        let done = state.done | 1 << repair;
        classes
            .iter()
            .zip(&self.classes.cures)
            .map(|(weight, cures)| if cures.by(done) { 0.0 } else { *weight })
            .collect()
    }

    /// The repairs that may have a part in curing anything that is left.
    fn part_in_a_cure(&self, state: &State, classes: &[f64]) -> Set {
        let left = classes.iter().zip(&self.classes.cures).filter(|(weight, _)| **weight > 0.0);
        left.fold(0, |all, (_, cures)| all | cures.any()) & !state.done
    }

    /// The repairs that make sense after what was answered.
    fn sensible(&self, state: &State) -> Set {
        let all = self.problem.repairs.iter().enumerate();
        let sensible = all.filter(|(_, repair)| repair.makes_sense(&state.answers));
        sensible.fold(0, |set, (at, _)| set | 1 << at) & !state.done
    }

    /// The checks that may still be made and tell anything.
    fn checks(&self, state: &State, worlds: &[(usize, f64)]) -> Vec<usize> {
        let made = |check: usize| state.answers.iter().any(|(made, _)| usize::from(*made) == check);
        let spoiled = |check: usize| {
            state.answers.iter().any(|(made, _)| self.problem.checks[usize::from(*made)].spoils.contains(&check))
        };
        let tells = |check: usize| {
            let chances = &self.problem.checks[check].chances;
            let mut rows = worlds.iter().map(|(world, _)| usize::from(self.problem.worlds[*world].rows[check]));
            let Some(first) = rows.next() else { return false };
            // Rows that show everything alike are one.
            rows.any(|row| row != first && chances.iter().any(|c| c[row].total_cmp(&c[first]).is_ne()))
        };
        // What tells nothing may still be what a repair waits for, or anything to do before one that is held up.
        let first = state.answers.is_empty() && state.done == 0;
        let frees = |check: usize| {
            let waits = |repair: &Repair| repair.waits_for.iter().any(|(wanted, _)| *wanted == check);
            self.problem.repairs.iter().any(|repair| waits(repair) || first && repair.held)
        };
        let all = 0..self.problem.checks.len();
        all.filter(|&check| !made(check) && !spoiled(check) && (tells(check) || frees(check))).collect()
    }

    /// How heavy each world and each class is in a state.
    fn weighed(&self, state: &State) -> Weighed {
        let (mut worlds, mut classes) = (Vec::new(), vec![0.0; self.classes.cures.len()]);
        let gone: Vec<bool> = self.classes.cures.iter().map(|cures| cures.by(state.done)).collect();
        for (at, world) in self.problem.worlds.iter().enumerate().filter(|(at, _)| !gone[self.class_of[*at]]) {
            let shown = |(check, outcome): &(u16, u8)| {
                let check = usize::from(*check);
                self.problem.checks[check].chances[usize::from(*outcome)][usize::from(world.rows[check])]
            };
            let weight = state.answers.iter().map(shown).fold(world.weight, |weight, chance| weight * chance);
            if weight > 0.0 {
                worlds.push((at, weight));
                classes[self.class_of[at]] += weight;
            }
        }
        let checks = self.checks(state, &worlds);
        let told = Told::of(self.problem, &self.class_of, &worlds, &checks);
        Weighed { worlds, classes, checks, told, at_least: BTreeMap::new() }
    }
}

impl Between {
    /// How far apart they are.
    #[must_use]
    pub fn doubt(&self) -> f64 {
        self.upper - self.lower
    }
}

fn small(check: usize) -> u16 {
    u16::try_from(check).expect("fewer than 65536 checks")
}
