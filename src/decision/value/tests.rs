//! What giving up costs, by hand; that repairs are counted where it matters and nowhere else.

use super::super::simulate::or_into;
use super::*;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// Ten worlds, of which one repair cures the first `cured`, and whoever hands over could have done it.
fn phone(cured: u32, hand_over: f64, wasted: f64, again: f64, price: f64) -> Bench {
    let own = vec![(1 << cured) - 1];
    let giving_up = GivingUp { hand_over, wasted, own: own.clone(), again };
    Bench::new(10, vec![own], &[price], giving_up)
}

fn ahead(bench: &Bench, rows: Vec<Bits>, weights: &[f64], price: f64) -> Outlook {
    let split = bench.split(rows);
    bench.outlook(&split, weights, &[price], &[price], &Market::blind(), &mut |_, _| None).expect("there are worlds")
}

#[expect(clippy::float_cmp, reason = "sums of a few dollars")]
fn comes_to(outlook: Outlook, cost: f64, way: Way) {
    assert_eq!((outlook.cost * 1e9).round() / 1e9, cost);
    assert_eq!(outlook.way, way);
}

/// In three of ten worlds the owner could cure it for 30. By hand: bringing it in comes to 400 + 90 x 0.3 = 427. Telling
/// them first: 30, and in seven of ten 10 for another call and then 400, of which nothing is a wasted trip any more:
/// 30 + 0.7 x 410 = 317.
#[test]
fn what_an_owner_could_have_cured_is_a_wasted_trip() {
    let bench = phone(3, 400.0, 90.0, 10.0, 30.0);
    assert!((bench.hand_over() - 427.0).abs() < 1e-9);
    comes_to(ahead(&bench, vec![all(10)], &[1.0], 30.0), 317.0, Way::Repair(0));
    let failed = bench.after_failed(0, &mut |_, _| None);
    let after = bench.outlook(&failed, &[1.0], &[30.0], &[30.0], &Market::blind(), &mut |_, _| None);
    comes_to(after.expect("seven worlds"), 400.0, Way::HandOver);
}

/// One world in ten, for 45. By hand: without a wasted trip it is worth 0.1 x 400 = 40 and is left; with one it is worth
/// 0.1 x 490 = 49, and 45 + 0.9 x 400 = 405 is less than 400 + 90 x 0.1 = 409; with 10 for each call that was in vain it
/// costs 45 + 9 = 54, and is left again.
#[test]
fn a_wasted_trip_and_another_call_turn_the_choice() {
    comes_to(ahead(&phone(1, 400.0, 0.0, 0.0, 45.0), vec![all(10)], &[1.0], 45.0), 400.0, Way::HandOver);
    comes_to(ahead(&phone(1, 400.0, 90.0, 0.0, 45.0), vec![all(10)], &[1.0], 45.0), 405.0, Way::Repair(0));
    comes_to(ahead(&phone(1, 400.0, 90.0, 10.0, 45.0), vec![all(10)], &[1.0], 45.0), 409.0, Way::HandOver);
}

/// What an answer shows moves the price of bringing it in: 490 where it is the owner's own, 400 where it is not, and for
/// an answer that half of those and a tenth of the others give, (3 x 0.5 x 490 + 7 x 0.1 x 400) / 2.2.
#[test]
fn bringing_it_in_costs_what_the_answers_make_of_it() {
    let bench = phone(3, 400.0, 90.0, 0.0, 1000.0);
    let rows = || vec![vec![0b111], vec![0b11_1111_1000]];
    comes_to(ahead(&bench, rows(), &[1.0, 0.0], 1000.0), 490.0, Way::HandOver);
    comes_to(ahead(&bench, rows(), &[0.0, 1.0], 1000.0), 400.0, Way::HandOver);
    let mixed = ((3.0_f64 * 0.5 * 490.0 + 7.0 * 0.1 * 400.0) / 2.2 * 1e9).round() / 1e9;
    comes_to(ahead(&bench, rows(), &[0.5, 0.1], 1000.0), mixed, Way::HandOver);
}

/// A bench of random worlds, repairs and pairs of repairs, and a split of its worlds into rows.
struct Drawn {
    bench: Bench,
    pairs: Vec<Vec<Option<Bits>>>,
    rows: Vec<Bits>,
    weights: Vec<f64>,
    prices: Vec<f64>,
    later: Vec<f64>,
    /// A repair that has failed on all of it.
    failed: Option<usize>,
}

impl Drawn {
    fn of(seed: u64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let n = rng.random_range(1..200);
        let repairs = rng.random_range(1..9);
        let set = |rng: &mut ChaCha8Rng, chance: f64| -> Bits {
            let mut bits = vec![0; words(n)];
            (0..n).filter(|_| rng.random_bool(chance)).for_each(|world| bits[world / 64] |= 1 << (world % 64));
            bits
        };
        let cures: Vec<Bits> = (0..repairs).map(|_| set(&mut rng, 0.2)).collect();
        let mut pairs = vec![vec![None; repairs]; repairs];
        for b in 0..repairs {
            for a in 0..b {
                if rng.random_bool(0.4) {
                    let joint = set(&mut rng, 0.15);
                    let neither = joint.iter().zip(&cures[a]).zip(&cures[b]).map(|((j, a), b)| j & !a & !b);
                    pairs[a][b] = Some(neither.collect::<Bits>());
                }
            }
        }
        let mut rows = vec![vec![0; words(n)]; rng.random_range(1..5)];
        for world in 0..n {
            let row = rng.random_range(0..rows.len());
            rows[row][world / 64] |= 1 << (world % 64);
        }
        let weights = rows.iter().map(|_| if rng.random_bool(0.1) { 0.0 } else { rng.random() }).collect();
        let mut price = || (0..repairs).map(|_| rng.random_range(1.0..90.0)).collect::<Vec<f64>>();
        let (prices, later) = (price(), price());
        let giving_up = GivingUp {
            hand_over: rng.random_range(50.0..2000.0),
            wasted: if rng.random_bool(0.5) { 90.0 } else { 0.0 },
            own: set(&mut rng, 0.3),
            again: if rng.random_bool(0.5) { 10.0 } else { 0.0 },
        };
        let failed = rng.random_bool(0.3).then(|| rng.random_range(0..repairs));
        let bench = Bench::new(n, cures, &prices, giving_up);
        Self { bench, pairs, rows, weights, prices, later, failed }
    }

    fn pair(&self, a: usize, b: usize) -> Option<Bits> {
        self.pairs[a.min(b)][a.max(b)].clone()
    }

    /// The worlds of all rows that `repair` cures once `done` have failed, by weight.
    fn cured(&self, repair: usize, done: &[usize]) -> f64 {
        let n = words(self.bench.n);
        let (mut gone, mut any) = (vec![0; n], self.bench.cures[repair].clone());
        for (at, a) in done.iter().enumerate() {
            or_into(&mut gone, &self.bench.cures[*a]);
            let earlier = done[..at].iter().filter_map(|b| self.pair(*a, *b));
            earlier.for_each(|both| or_into(&mut gone, &both));
            if let Some(both) = self.pair(*a, repair) {
                or_into(&mut any, &both);
            }
        }
        let rest: Bits = any.iter().zip(&gone).map(|(any, gone)| any & !gone).collect();
        self.rows.iter().zip(&self.weights).map(|(row, weight)| f64::from(both(row, &rest)) * weight).sum()
    }

    /// Repairs in the order of chance over cost with each counted at each step, and what each comes to.
    fn each_counted(&self, total: f64) -> Vec<(usize, f64, f64)> {
        let GivingUp { again, .. } = self.bench.giving_up;
        let (mut done, mut left, mut course) = (Vec::from_iter(self.failed), total, Vec::new());
        while course.len() < REPAIRS_IN_A_ROW {
            let prices = if course.is_empty() { &self.prices } else { &self.later };
            let comes_to = |repair: usize, cured: f64| prices[repair] * left + (left - cured).max(0.0) * again;
            let open = (0..prices.len()).filter(|repair| !done.contains(repair));
            let merits = open.map(|repair| {
                let cured = self.cured(repair, &done);
                (repair, cured, cured / comes_to(repair, cured))
            });
            let best = merits.reduce(|best, next| if next.2 > best.2 { next } else { best });
            let Some((repair, cured, merit)) = best else { break };
            if merit * self.bench.giving_up.with_own(1.0) <= 1.0 {
                break;
            }
            course.push((repair, left, comes_to(repair, cured)));
            left *= 1.0 - (cured / left).min(1.0);
            done.push(repair);
            if left / total < 1e-4 {
                break;
            }
        }
        course
    }
}

/// A repair is counted again only where it could come first by what it is known to cure at most. What comes of it is what
/// counting every repair at every step gives, to the last bit.
#[test]
fn a_course_is_that_with_every_repair_counted() {
    let mut lengths = [0; REPAIRS_IN_A_ROW + 1];
    for seed in 0..4000 {
        let drawn = Drawn::of(seed);
        let mut together = |a: usize, b: usize| drawn.pair(a, b);
        let split = match drawn.failed {
            Some(repair) => {
                let all = drawn.bench.after_failed(repair, &mut together);
                drawn.bench.split_further(&all, drawn.rows.clone(), &mut together)
            }
            None => drawn.bench.split(drawn.rows.clone()),
        };
        let total = split.worlds(&drawn.weights);
        if total <= 0.0 {
            continue;
        }
        let mut course = Vec::new();
        Course::new(&drawn.bench, &split, &drawn.weights, total).run(
            (&drawn.prices, &drawn.later),
            &mut together,
            |repair, left, paid| course.push((repair, left, paid)),
        );
        assert_eq!(course, drawn.each_counted(total), "seed {seed}");
        lengths[course.len()] += 1;
    }
    assert!(lengths[4..].iter().sum::<usize>() > 400, "most courses are short: {lengths:?}");
}
