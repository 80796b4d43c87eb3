//! What a state of the search costs from there to the end: never less than one number, and never more than another that a
//! plain course of repairs comes to.
//!
//! Both see only how heavy the worlds of each class are; a class is all worlds that the same repairs cure.

use super::problem::{Cures, Open, Problem, Set};

/// The most repairs in a row of a plain course.
const REPAIRS_IN_A_ROW: usize = 24;

/// Classes of worlds and what they cost, for a set of repairs done and what is open.
pub struct Classes<'p> {
    problem: &'p Problem,
    /// What cures each class.
    pub cures: Vec<Cures>,
    /// What each costs that is handed over.
    giving_up: Vec<f64>,
    /// For each repair the classes that it may have a part in curing.
    by_repair: Vec<Vec<usize>>,
}

/// What stays the same over states with the same repairs done and the same open.
pub struct Ground {
    /// For each class the repairs of which each alone would cure it now.
    alone: Vec<Set>,
    /// For each class all that may have a part in its cure.
    any: Vec<Set>,
    /// For each class what its cure costs at least, were it known.
    known: Vec<f64>,
    /// For each repair its price at least.
    at_least: Vec<f64>,
    /// For each repair its price now.
    prices: Vec<f64>,
    /// For each repair its price with all shut.
    later: Vec<f64>,
}

/// A lower and an upper bound.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Between {
    /// No way of working comes to less.
    pub lower: f64,
    /// There is one that comes to this.
    pub upper: f64,
}

/// What is still possible in a state, beside its classes.
#[derive(Clone, Copy)]
pub struct Ways {
    /// Repairs that may be done now.
    pub repairs: Set,
    /// What the cheapest check left costs with everything open; infinite where none is.
    pub look: f64,
}

impl<'p> Classes<'p> {
    /// The classes of a problem, and for each world its own.
    pub fn of(problem: &'p Problem) -> (Self, Vec<usize>) {
        let mut cures: Vec<Cures> = problem.worlds.iter().map(|world| world.cures.clone()).collect();
        cures.sort();
        cures.dedup();
        let class = |cures_it: &Cures| cures.binary_search(cures_it).unwrap_or_else(|_| unreachable!("it is there"));
        let of_world = problem.worlds.iter().map(|world| class(&world.cures)).collect();
        let giving_up = cures.iter().map(|cures| problem.giving_up(cures)).collect();
        let mut by_repair = vec![Vec::new(); problem.repairs.len()];
        for (class, cures) in cures.iter().enumerate() {
            each(cures.any()).for_each(|repair| by_repair[repair].push(class));
        }
        (Self { problem, cures, giving_up, by_repair }, of_world)
    }

    /// What holds for every state with these repairs done and this open.
    pub fn ground(&self, done: Set, open: Open) -> Ground {
        let problem = self.problem;
        let at_least: Vec<f64> = problem.repairs.iter().map(|repair| repair.at_least(open)).collect();
        let at_least_shut: Vec<f64> = problem.repairs.iter().map(|repair| repair.at_least(0)).collect();
        let pair = |(a, b): &(u8, u8)| {
            let (a, b) = (usize::from(*a), usize::from(*b));
            let first = (at_least[a] + at_least_shut[b]).min(at_least[b] + at_least_shut[a]);
            first + problem.again
        };
        let known = |(cures, giving_up): (&Cures, &f64)| {
            let alone = each(cures.after(done)).map(|repair| at_least[repair]).fold(*giving_up, f64::min);
            cures
                .together
                .iter()
                .filter(|(a, b)| done >> a & 1 == 0 && done >> b & 1 == 0)
                .map(pair)
                .fold(alone, f64::min)
        };
        Ground {
            alone: self.cures.iter().map(|cures| cures.after(done)).collect(),
            any: self.cures.iter().map(|cures| cures.any() & !done).collect(),
            known: self.cures.iter().zip(&self.giving_up).map(known).collect(),
            at_least,
            prices: problem.repairs.iter().map(|repair| repair.price.from(open)).collect(),
            later: problem.repairs.iter().map(|repair| repair.price.from(0)).collect(),
        }
    }

    /// What handing over comes to, with so much weight in each class.
    pub fn hand_over(&self, weights: &[f64]) -> f64 {
        weights.iter().zip(&self.giving_up).map(|(weight, price)| weight * price).sum()
    }

    /// Between what the way from here comes to, times its weight; `told` is what it comes to at least were all told that
    /// checks can tell.
    pub fn between(&self, weights: &[f64], ground: &Ground, ways: Ways, told: f64) -> Between {
        let upper = self.course(weights, ground, ways.repairs);
        let lower = self.at_least(weights, ground, ways.look).max(told).min(upper);
        Between { lower, upper }
    }

    /// What worlds that no check tells apart come to at least: each class among them with its weight.
    ///
    /// Were everything told that any check reads, these worlds would stand alone, and nothing but repairs would be left to
    /// do about them; what a check shows beyond what it reads is noise that says nothing about the class. So the sum of
    /// this over all such groups is no more than any way of working comes to. Among themselves the second bound of
    /// [`at_least`](Self::at_least) holds, without a check to end with; each repair has its price at least, as getting to it
    /// may have been paid for by a check.
    pub fn untold(&self, group: &[(usize, f64)], ground: &Ground) -> f64 {
        let known: f64 = group.iter().map(|(class, weight)| weight * ground.known[*class]).sum();
        if let [_] = group {
            return known;
        }
        let again = self.problem.again;
        let mut by_repair: Vec<(usize, f64, f64)> = Vec::new();
        let (mut left, mut ends, mut apart) = (0.0, 0.0, true);
        for &(class, weight) in group {
            let given_up = weight * self.giving_up[class];
            (left, ends) = (left + weight, ends + given_up);
            apart &= ground.any[class].count_ones() <= 1 && self.giving_up[class] <= self.problem.hand_over;
            for repair in each(ground.any[class]) {
                match by_repair.iter_mut().find(|(known, ..)| *known == repair) {
                    Some((_, cured, saved)) => (*cured, *saved) = (*cured + weight, *saved + given_up),
                    None => by_repair.push((repair, weight, given_up)),
                }
            }
        }
        let price = |repair: usize| ground.at_least[repair] + again;
        let worth = |(repair, cured, _): &(usize, f64, f64)| cured / price(*repair);
        by_repair.sort_by(|a, b| worth(b).total_cmp(&worth(a)).then(a.0.cmp(&b.0)));
        if apart {
            return in_order(&by_repair, (left, ends), again, price);
        }
        for (repair, cured, saved) in by_repair {
            ends += (price(repair) * left - again * cured - saved).min(0.0);
            left -= cured;
        }
        known.max(ends)
    }

    /// A plain course: the repair that cures most for its price, again and again, given up where that is best.
    fn course(&self, weights: &[f64], ground: &Ground, repairs: Set) -> f64 {
        let again = self.problem.again;
        let mut alone: Vec<Set> = ground.alone.iter().map(|alone| alone & repairs).collect();
        let mut weights = weights.to_vec();
        let mut cured = vec![0.0; ground.prices.len()];
        for (alone, weight) in alone.iter().zip(&weights).filter(|(_, weight)| **weight > 0.0) {
            each(*alone).for_each(|repair| cured[repair] += weight);
        }
        let (mut left, mut ending) = (weights.iter().sum::<f64>(), self.hand_over(&weights));
        let nothing = 1e-12 * left;
        let (mut paid, mut best, mut done): (f64, f64, Set) = (0.0, ending, 0);
        for step in 0..REPAIRS_IN_A_ROW {
            let prices = if step == 0 { &ground.prices } else { &ground.later };
            let comes_to = |repair: usize| prices[repair] * left + again * (left - cured[repair]).max(0.0);
            let merit = |repair: usize| cured[repair] / comes_to(repair).max(1e-300);
            let promising = (0..cured.len()).filter(|repair| cured[*repair] > nothing && done >> repair & 1 == 0);
            let Some(next) = promising.reduce(|a, b| if merit(b) > merit(a) { b } else { a }) else { break };
            paid += comes_to(next);
            done |= 1 << next;
            for &class in &self.by_repair[next] {
                if weights[class] <= 0.0 {
                    continue;
                }
                if alone[class] >> next & 1 == 1 {
                    let weight = std::mem::take(&mut weights[class]);
                    (left, ending) = (left - weight, ending - weight * self.giving_up[class]);
                    each(alone[class]).for_each(|repair| cured[repair] -= weight);
                } else {
                    let new = self.cures[class].after(1 << next) & repairs & !alone[class];
                    each(new).for_each(|repair| cured[repair] += weights[class]);
                    alone[class] |= new;
                }
            }
            if left <= nothing {
                return best.min(paid);
            }
            best = best.min(paid + ending.max(0.0));
        }
        best
    }

    /// What no way of working can come to less than.
    ///
    /// Two bounds, of which the larger counts.
    ///
    /// *Knowing.* In each world the way ends with what cures it or with handing over, and whatever that needs open and is not
    /// yet has been opened on the way.
    ///
    /// *Finding out.* Every way begins with some repairs in a row, perhaps none, r1 to rk, and then hands over, makes a check,
    /// or is at its end. Let `p` be a repair's price with what a failure costs, `W` the weight of the worlds it has any part in
    /// curing, `m` the whole weight; and let `t` be for each class what the way costs at least that is not cured by then:
    /// handing over, or the cheapest check with everything open and after it what knowing costs. Before ri at least
    /// `m - W1 - ... - W(i-1)` is left, and ri cures at most its `W`, so that it saves at most `S`, the sum of `t` over these
    /// worlds. So the way costs at least
    ///
    /// `sum of t  +  sum over i of  p_i (m - W1 - ... - W(i-1))  -  failure W_i  -  S_i`.
    ///
    /// For a given set of repairs that is least in falling order of `W / p` (Smith 1956: swapping neighbors changes the sum by
    /// `p_i W_j - p_j W_i`), and there each term is no less than with *all* repairs that stand before it in that order
    /// subtracted. What is left of the dependence on the set falls away where only terms below zero are counted.
    fn at_least(&self, weights: &[f64], ground: &Ground, look: f64) -> f64 {
        let known: f64 = weights.iter().zip(&ground.known).map(|(weight, price)| weight * price).sum();
        let (total, again) = (weights.iter().sum::<f64>(), self.problem.again);
        let n = ground.prices.len();
        // Ended by handing over, and by a check.
        let (mut cured, mut saved) = (vec![0.0; n], vec![[0.0; 2]; n]);
        let mut ends = [0.0; 2];
        for (class, &weight) in weights.iter().enumerate().filter(|(_, weight)| **weight > 0.0) {
            let then = [self.giving_up[class], look + ground.known[class]].map(|price| weight * price);
            (ends[0], ends[1]) = (ends[0] + then[0], ends[1] + then[1]);
            each(ground.any[class]).for_each(|repair| {
                cured[repair] += weight;
                (saved[repair][0], saved[repair][1]) = (saved[repair][0] + then[0], saved[repair][1] + then[1]);
            });
        }
        let price = |repair: usize| ground.prices[repair].min(ground.later[repair]) + again;
        let worth = |repair: usize| cured[repair] / price(repair);
        let mut order: Vec<(f64, usize)> =
            (0..n).filter(|repair| cured[*repair] > 0.0).map(|repair| (worth(repair), repair)).collect();
        order.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        let mut left = total;
        for (_, repair) in order {
            let comes_to = price(repair) * left - again * cured[repair];
            for (end, saves) in ends.iter_mut().zip(saved[repair]) {
                *end += (comes_to - saves).min(0.0);
            }
            left -= cured[repair];
        }
        // An infinite end less an infinite saving says nothing.
        let end = |end: f64| if end.is_nan() { f64::NEG_INFINITY } else { end };
        let looking = if look.is_finite() { end(ends[1]) } else { f64::INFINITY };
        known.max(end(ends[0]).min(looking))
    }
}

/// What repairs that have no world in common come to, done in this order (the falling one of chance over price) and given
/// up where that is best; `ends` is what giving up at once would come to, the same for each world.
///
/// That is the least that they can come to. Whichever are done are best done in that order (Smith 1956). And where the last
/// one done, of price `p` and weight `W`, is worth it, `p m <= W H` with `m` left before it and `H` for giving up, one that
/// stands before it and is not done has a greater `W / p`, so that doing it just before pays too.
fn in_order(repairs: &[(usize, f64, f64)], (left, ends): (f64, f64), again: f64, price: impl Fn(usize) -> f64) -> f64 {
    let (mut left, mut ends, mut paid, mut best) = (left, ends, 0.0, ends);
    for &(repair, cured, saved) in repairs {
        paid += price(repair) * left - again * cured;
        (left, ends) = (left - cured, ends - saved);
        best = f64::min(best, paid + ends.max(0.0));
    }
    best
}

/// The repairs of a set, ascending.
pub fn each(set: Set) -> impl Iterator<Item = usize> {
    let mut left = set;
    std::iter::from_fn(move || {
        (left != 0).then(|| {
            let at = left.trailing_zeros() as usize;
            left &= left - 1;
            at
        })
    })
}
