//! How far the advice is from the exact optimum, on small networks of causes, two levels of effects and checks.
//!
//! The networks are the reference network T (`tests/oracle/net_T.json`) and thirty smaller ones of the same make, drawn
//! here from seeds 1 to 30. One fault is there, or none that is listed; a repair is perfect and its effect is seen at
//! once; a specialist who costs half of all repairs together always cures. The advice is driven through the whole
//! program: the network is written as a knowledge base, its answers go into a case, and its expected cost is worked out
//! over everything that can happen.

use crate::optimum::{Event, Look, Mend, Move, Optimum, Problem};
use crate::random_network::Draw;
use crate::small_base;
use doldrum::access::AccessGraph;
use doldrum::belief::believe;
use doldrum::case::{self, Answer, Case, Presence};
use doldrum::decision::{Action, LookAhead, Settings, advise};
use doldrum::inference::Limits;
use doldrum::knowledge::layout::Laid;
use doldrum::knowledge::{Ix, Knowledge};
use serde_json::Value;
use std::fmt::Write as _;

/// A network: causes, then effects, each after what it reads; the last effect is the complaint.
struct Net {
    causes: Vec<Cause>,
    effects: Vec<Effect>,
    checks: Vec<Check>,
}

struct Cause {
    chance: f64,
    repair: f64,
}

struct Effect {
    /// Causes by their position, effects by theirs plus the number of causes; with strengths.
    from: Vec<(usize, f64)>,
    leak: f64,
}

struct Check {
    cost: f64,
    /// Numbered as in [`Effect::from`].
    reads: Vec<usize>,
    /// One row for each state of what it reads, the last varying fastest.
    rows: Vec<Vec<f64>>,
}

impl Net {
    /// What a specialist costs.
    fn service(&self) -> f64 {
        self.causes.iter().map(|c| c.repair).sum::<f64>() / 2.0
    }

    /// All states of the effects that the complaint is among, given the causes: each with its chance.
    fn effect_states(&self, causes: usize) -> Vec<(usize, f64)> {
        let n = self.causes.len();
        let mut states = vec![(causes, 1.0)];
        for (at, effect) in self.effects.iter().enumerate() {
            states = states
                .into_iter()
                .flat_map(|(on, p)| {
                    let off = off_chance(effect, on);
                    [(on, p * off), (on | 1 << (n + at), p * (1.0 - off))]
                })
                .collect();
        }
        states.retain(|(on, _)| on >> (n + self.effects.len() - 1) & 1 == 1);
        states
    }

    /// One fault, or none.
    fn problem(&self) -> Problem {
        let n = self.causes.len();
        let none: f64 = self.causes.iter().map(|c| 1.0 - c.chance).product();
        let mut worlds: Vec<(Option<usize>, usize, f64)> = Vec::new();
        for fault in (0..n).map(Some).chain([None]) {
            let odds = fault.map_or(1.0, |f| self.causes[f].chance / (1.0 - self.causes[f].chance));
            let states = self.effect_states(fault.map_or(0, |f| 1 << f));
            worlds.extend(states.into_iter().map(|(on, p)| (fault, on, none * odds * p)));
        }
        let row = |check: &Check, on: usize| {
            check.rows[check.reads.iter().fold(0, |at, read| at << 1 | (on >> read & 1))].clone()
        };
        Problem {
            worlds: worlds.iter().map(|w| w.2).collect(),
            looks: self
                .checks
                .iter()
                .map(|c| Look { cost: c.cost, shows: worlds.iter().map(|w| row(c, w.1)).collect() })
                .collect(),
            mends: (0..n)
                .map(|at| Mend {
                    cost: self.causes[at].repair,
                    cures: worlds.iter().map(|w| w.0 == Some(at)).collect(),
                })
                .collect(),
            ends: vec![vec![self.service(); worlds.len()]],
        }
    }
}

fn off_chance(effect: &Effect, on: usize) -> f64 {
    effect.from.iter().filter(|(from, _)| on >> from & 1 == 1).fold(1.0 - effect.leak, |p, (_, s)| p * (1.0 - s))
}

// --- the networks -------------------------------------------------------------------------------------------------

/// The checks of T that the published values are for.
const CHECKS_OF_T: [&str; 6] = ["K0000", "K0008", "K0009", "K0011", "K0012", "K0013"];

fn net_t() -> Net {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/oracle/net_T.json");
    let json: Value = serde_json::from_str(&std::fs::read_to_string(path).expect("the file")).expect("JSON");
    let nodes = json["nodes"].as_array().expect("a list");
    let text = |v: &Value| v.as_str().expect("text").to_owned();
    let number = |v: &Value| v.as_f64().expect("a number");
    let list = |v: &Value| v.as_array().expect("a list").clone();
    let mut net = Net { causes: vec![], effects: vec![], checks: vec![] };
    let mut names: Vec<String> = Vec::new();
    for node in nodes {
        let reads: Vec<usize> = list(&node["parents"])
            .iter()
            .map(|p| names.iter().position(|name| *name == text(p)).expect("parents stand first"))
            .collect();
        let rows: Vec<Vec<f64>> = list(&node["cpt"]).iter().map(|row| list(row).iter().map(number).collect()).collect();
        match node["kind"].as_str().expect("a kind") {
            "cause" => net.causes.push(Cause { chance: rows[0][1], repair: number(&node["cost"]) }),
            "effect" => net.effects.push(Effect {
                from: reads.iter().copied().zip(list(&node["noisy_or"]["links"]).iter().map(number)).collect(),
                leak: number(&node["noisy_or"]["leak"]),
            }),
            _ if CHECKS_OF_T.contains(&node["name"].as_str().expect("a name")) => {
                net.checks.push(Check { cost: number(&node["cost"]), reads, rows });
            }
            _ => {}
        }
        names.push(text(&node["name"]));
    }
    net
}

/// A network of the make of T, smaller: eight causes, two effects above them, two above those, the complaint, and six
/// checks of two to four outcomes on one or two causes or effects. Rates, strengths, prices and chances are drawn from the
/// same ranges.
fn small_net(seed: u64) -> Net {
    const CAUSES: usize = 8;
    let mut draw = Draw::new(seed);
    let between =
        |draw: &mut Draw, low: f64, high: f64| low + (high - low) * draw.below(1 << 20) as f64 / f64::from(1 << 20);
    let log_between = |draw: &mut Draw, low: f64, high: f64| libm::exp(between(draw, libm::log(low), libm::log(high)));
    let causes = (0..CAUSES)
        .map(|_| Cause { chance: log_between(&mut draw, 0.002, 0.08), repair: log_between(&mut draw, 5.0, 300.0) })
        .collect();
    // Every cause leads to one of the first two effects, and by chance to more.
    let mut reads: Vec<Vec<usize>> = vec![Vec::new(); 4];
    for cause in 0..CAUSES {
        reads[draw.below(2)].push(cause);
        for read in &mut reads {
            if draw.below(4) == 0 && !read.contains(&cause) {
                read.push(cause);
            }
        }
    }
    for read in &mut reads[2..] {
        read.extend([CAUSES, CAUSES + 1]);
    }
    let mut effects: Vec<Effect> = reads
        .into_iter()
        .map(|from| Effect {
            from: from.into_iter().map(|f| (f, between(&mut draw, 0.3, 0.98))).collect(),
            leak: 0.001,
        })
        .collect();
    let top = [CAUSES + 2, CAUSES + 3].map(|f| (f, between(&mut draw, 0.6, 0.98)));
    effects.push(Effect { from: top.to_vec(), leak: 0.001 });
    let checks = (0..6).map(|_| small_check(&mut draw, CAUSES + 4)).collect();
    Net { causes, effects, checks }
}

fn small_check(draw: &mut Draw, states: usize) -> Check {
    let unit = |draw: &mut Draw| draw.below(1 << 20) as f64 / f64::from(1 << 20);
    let mut reads = vec![draw.below(states)];
    let second = draw.below(states);
    if draw.below(3) == 0 && !reads.contains(&second) {
        reads.push(second);
    }
    let outcomes = [2, 2, 3, 4][draw.below(4)];
    let ok = usize::from(outcomes == 4);
    let fine = 0.88 + 0.115 * unit(draw);
    let misses: Vec<f64> = reads.iter().map(|_| 0.02 + 0.28 * unit(draw)).collect();
    let tilt: Vec<f64> = (0..outcomes).map(|_| 0.3 + 0.7 * unit(draw)).collect();
    let row = |on: usize| {
        let missed = misses.iter().enumerate().filter(|(at, _)| on >> (reads.len() - 1 - at) & 1 == 1);
        let p_ok = missed.fold(fine, |p, (_, miss)| p * miss);
        let weigh = |o: usize| if o == ok { 0.0 } else { tilt[o] * (1 + 3 * ((o + on) % outcomes)) as f64 };
        let all: f64 = (0..outcomes).map(weigh).sum();
        (0..outcomes).map(|o| if o == ok { p_ok } else { (1.0 - p_ok) * weigh(o) / all }).collect()
    };
    let rows = (0..1 << reads.len()).map(row).collect();
    Check { cost: libm::exp(libm::log(30.0) * unit(draw)), reads, rows }
}

// --- the network as a knowledge base ------------------------------------------------------------------------------

/// How rare faults and leaks are made, so that no two come together.
const RARE: f64 = 1e-4;

fn knowledge(net: &Net) -> Knowledge {
    let n = net.causes.len();
    let name = |at: usize| if at < n { format!("cause-{at}") } else { format!("effect-{}", at - n) };
    let (mut causes, mut effects, mut checks, mut repairs) =
        (String::new(), String::new(), String::new(), String::new());
    for (at, cause) in net.causes.iter().enumerate() {
        let chance = RARE * cause.chance / (1.0 - cause.chance);
        writeln!(causes, "- {{id: cause-{at}, title: Cause {at}, chance: {chance}, basis: estimate}}").expect("text");
        writeln!(
            repairs,
            "- {{id: rm-{at}, title: Repair {at}, removes: {{cause-{at}: 1}}, minutes: 0, parts: [{{item: all of it, count: 1, each: {}, basis: estimate}}], skill: 1, steps: [{{do: Do it}}], basis: estimate}}",
            cause.repair
        )
        .expect("text");
    }
    for (at, effect) in net.effects.iter().enumerate() {
        let from: Vec<String> =
            effect.from.iter().map(|(f, s)| format!("{{from: {}, strength: {s}}}", name(*f))).collect();
        let leak = effect.leak * RARE;
        let any = from.join(", ");
        writeln!(effects, "- {{id: effect-{at}, title: Effect {at}, any: [{any}], leak: {leak}, basis: estimate}}")
            .expect("text");
    }
    let symptoms = format!(
        "- {{id: sy-fails, title: Fails, says: [Fails], share: 100, any: [{{from: effect-{}, strength: 1}}], leak: 0, named: {{present: 1, absent: 0}}, basis: estimate}}\n",
        net.effects.len() - 1
    );
    for (at, check) in net.checks.iter().enumerate() {
        let ids: Vec<String> = (0..check.rows[0].len()).map(|o| format!("o{o}")).collect();
        write!(
            checks,
            "- id: ck-{at}\n  title: Check {at}\n  ask: What?\n  how: [Look]\n  outcomes: [{}]\n  given:\n",
            ids.join(", ")
        )
        .expect("text");
        // The fullest state first: the first row that holds counts.
        for on in (0..check.rows.len()).rev() {
            let when: Vec<String> = check
                .reads
                .iter()
                .enumerate()
                .filter(|(at, _)| on >> (check.reads.len() - 1 - at) & 1 == 1)
                .map(|(_, read)| format!("{}: true", name(*read)))
                .collect();
            let when = if when.is_empty() { String::new() } else { format!("when: {{{}}}, ", when.join(", ")) };
            let chances: Vec<String> = ids.iter().zip(&check.rows[on]).map(|(id, p)| format!("{id}: {p}")).collect();
            writeln!(checks, "    - {{{when}chances: {{{}}}}}", chances.join(", ")).expect("text");
        }
        writeln!(checks, "  cost: {{minutes: 0, money: {}}}\n  skill: 1\n  basis: estimate", check.cost).expect("text");
    }
    let files = [
        ("causes", causes.as_str()),
        ("effects", &effects),
        ("symptoms", &symptoms),
        ("checks", &checks),
        ("repairs", &repairs),
    ];
    small_base::read(0.0, net.service(), &files)
}

/// The advice as a policy.
fn advised(knowledge: &Knowledge, past: &[Event], look_ahead: LookAhead) -> Move {
    let mut case: Case = small_base::case(knowledge, "symptoms: [sy-fails]");
    let mut seen: Vec<usize> = Vec::new();
    for event in past {
        match *event {
            Event::Saw(check, outcome) => {
                seen.push(check);
                let answer = Answer::Outcome(outcome);
                let check = Ix::new(check);
                case.log.push(case::Event::Answer { check, place: Some(0), answer, aired_min: None }.into());
            }
            Event::Failed(repair) => {
                case.log.push(case::Event::Repaired { repair: Ix::new(repair), places: vec![0] }.into());
                case.log.push(case::Event::Tried { symptom: case.symptoms[0], now: Presence::Present }.into());
                // Each check is made once, as the optimum has it: after a repair it could be made again, with new noise.
                case.log.extend(seen.iter().map(|&check| {
                    let (place, answer) = (Some(0), Answer::CouldNot);
                    case::Event::Answer { check: Ix::new(check), place, answer, aired_min: None }.into()
                }));
            }
        }
    }
    let laid = Laid::new(knowledge, case.craft.clone());
    let graph = AccessGraph::new(knowledge);
    let belief = believe(&laid, &case, &Limits::default()).expect("within the limits");
    let worlds = if let LookAhead::Search(_) = look_ahead { 4096 } else { 1024 };
    let settings = Settings { worlds, alternatives: 0, look_ahead, ..Settings::default() };
    match advise(&laid, &graph, &case, &belief, &settings).expect("within the limits").next.action {
        Action::Check(check) => Move::Look(check.item.at()),
        Action::Repair(repair, _) => Move::Mend(repair.at()),
        Action::Try(_) | Action::HandOver => Move::End(0),
    }
}

/// How many states a search opens here.
const NODES: usize = 1000;

/// The expected cost of the advice. What is rarer than one in five hundred is repaired in order without more advice, which
/// costs more than the advice would.
fn cost_of_advice(net: &Net, look_ahead: LookAhead) -> f64 {
    let knowledge = knowledge(net);
    let problem = net.problem();
    let all: f64 = problem.worlds.iter().sum();
    problem.play(&mut |past, worlds| {
        if worlds.iter().sum::<f64>() < all / 500.0 {
            return repairs_only(&problem, worlds).1;
        }
        advised(&knowledge, past, look_ahead)
    })
}

// --- T ------------------------------------------------------------------------------------------------------------

/// What it costs to repair in the order of chance over cost and then to call the specialist, at the best place to stop,
/// times the weight; and the first repair, if any.
fn repairs_only(problem: &Problem, worlds: &[f64]) -> (f64, Move) {
    let cured = |m: &Mend| worlds.iter().zip(&m.cures).filter(|(_, cured)| **cured).map(|(w, _)| w).sum::<f64>();
    let mut order: Vec<(usize, f64, f64)> =
        problem.mends.iter().enumerate().map(|(at, m)| (at, cured(m), m.cost)).collect();
    order.sort_by(|a, b| (b.1 / b.2).total_cmp(&(a.1 / a.2)));
    let total: f64 = worlds.iter().sum();
    let service = problem.ends[0][0];
    let (mut best, mut first) = (total * service, Move::End(0));
    let (mut left, mut paid) = (total, 0.0);
    for (_, cures, cost) in &order {
        paid += left * cost;
        left -= cures;
        if paid + left * service < best {
            (best, first) = (paid + left * service, Move::Mend(order[0].0));
        }
    }
    (best, first)
}

/// So many steps of look-ahead over repairs in order, where the checks in `made` are made: the cost to the end, times
/// the weight, and the first move.
fn ahead(problem: &Problem, worlds: &[f64], made: usize, steps: usize) -> (f64, Move) {
    let (mut best, mut chosen) = repairs_only(problem, worlds);
    let total: f64 = worlds.iter().sum();
    let open = problem.looks.iter().enumerate().filter(|(at, _)| steps > 0 && made >> at & 1 == 0);
    for (at, look) in open {
        let rest: f64 = (0..look.shows[0].len())
            .map(|o| worlds.iter().zip(&look.shows).map(|(w, shows)| w * shows[o]).collect::<Vec<f64>>())
            .map(|seen| ahead(problem, &seen, made | 1 << at, steps - 1).0)
            .sum();
        if look.cost * total + rest < best {
            (best, chosen) = (look.cost * total + rest, Move::Look(at));
        }
    }
    // A repair that failed is a step too: what is looked at after it may save the next.
    for (at, mend) in problem.mends.iter().enumerate().filter(|_| steps > 1) {
        let cured = |(w, cured): (&f64, &bool)| if *cured { 0.0 } else { *w };
        let failed: Vec<f64> = worlds.iter().zip(&mend.cures).map(cured).collect();
        let rest = ahead(problem, &failed, made, steps - 1).0;
        if mend.cost * total + rest < best {
            (best, chosen) = (mend.cost * total + rest, Move::Mend(at));
        }
    }
    (best, chosen)
}

/// What it costs to look so many steps ahead, again and again.
fn plain(problem: &Problem, steps: usize) -> f64 {
    problem.play(&mut |past, worlds| {
        let made = past.iter().fold(0, |made, event| match event {
            Event::Saw(at, _) => made | 1 << at,
            Event::Failed(_) => made,
        });
        ahead(problem, worlds, made, steps).1
    })
}

#[track_caller]
fn assert_same(found: f64, expected: f64) {
    assert!((found - expected).abs() <= 1e-9 * expected, "expected {expected}, found {found}");
}

/// Reference values of T, worked out apart from this program.
#[test]
fn the_optimum_of_t_with_one_fault() {
    let net = net_t();
    assert_same(net.service(), 230.1219);
    let problem = net.problem();
    for (steps, cost) in [(0, 59.081_945_119_439_98), (1, 49.540_725_849_166_72), (2, 47.275_752_306_150_15)] {
        assert_same(plain(&problem, steps), cost);
    }
    assert_same(Optimum::of(&problem).cost(), 46.783_941_259_292_59);
}

/// Any number of faults, links that stay as they are: the best of all policies that make no check after the first
/// repair.
#[test]
fn the_optimum_of_t_with_many_faults() {
    assert_same(many_faults(&net_t()), 56.302_889_796_560_514);
}

/// The advice on T. Measured: one step ahead 48.0, 2.7 % above the optimum, two steps 48.1, 2.8 %, by search 47.3, 1.1 %; a
/// plain step of look-ahead over repairs in order is 5.9 % above it, two are 1.1 %.
#[test]
fn advice_on_t_is_near_the_optimum() {
    let net = net_t();
    for (look_ahead, most) in [(LookAhead::One, 0.07), (LookAhead::Two, 0.04), (LookAhead::Search(NODES), 0.02)] {
        let ours = cost_of_advice(&net, look_ahead);
        let gap = ours / 46.783_941_259_292_59 - 1.0;
        println!("T, {look_ahead:?} ahead: {ours:.3}, {:.2} % above the optimum", 100.0 * gap);
        assert!(gap > -1e-9, "below the optimum: {ours}");
        assert!(gap < most, "{ours}");
    }
}

/// The advice on thirty networks of the same make, against the optimum of each. Measured: one step ahead the advice is
/// 1.8 % above it on average and 4.7 % at worst, two steps 0.7 % and 3.6 %, by search 0.1 % and 0.9 %; a plain step of
/// look-ahead on exact chances 1.9 % and 5.6 %; two, with failed repairs among the steps, 0.44 % and 3.4 % (seed 16).
#[test]
fn advice_on_thirty_networks_is_near_the_optimum() {
    // The advice one and two steps ahead and by search, one plain step, two.
    let mut gaps: [Vec<f64>; 5] = Default::default();
    for seed in 1..=30 {
        let net = small_net(seed);
        let problem = net.problem();
        let optimum = Optimum::of(&problem).cost();
        let [one, two, search] =
            [LookAhead::One, LookAhead::Two, LookAhead::Search(NODES)].map(|l| cost_of_advice(&net, l));
        let costs = [one, two, search, plain(&problem, 1), plain(&problem, 2)];
        let above = costs.map(|cost| cost / optimum - 1.0);
        let [ours, deep, search, one, two] = above.map(|gap| 100.0 * gap);
        println!(
            "seed {seed:2}: {optimum:7.3}, advice +{ours:.2} % +{deep:.2} % +{search:.2} %, plain steps +{one:.2} % +{two:.2} %"
        );
        for (gaps, gap) in gaps.iter_mut().zip(above) {
            gaps.push(gap);
        }
    }
    let mean = |gaps: &[f64]| gaps.iter().sum::<f64>() / gaps.len() as f64;
    let worst = |gaps: &[f64]| gaps.iter().copied().fold(0.0, f64::max);
    for gaps in &gaps {
        println!("mean {:.2} %, worst {:.2} %", 100.0 * mean(gaps), 100.0 * worst(gaps));
    }
    let [ours, deep, search, one, two] = &gaps;
    assert!(gaps.iter().flatten().all(|gap| *gap > -1e-9), "below the optimum: {gaps:?}");
    assert!(mean(ours) < 0.03 && worst(ours) < 0.075, "mean {}, worst {}", mean(ours), worst(ours));
    assert!(mean(deep) < 0.015 && worst(deep) < 0.045, "mean {}, worst {}", mean(deep), worst(deep));
    assert!(worst(search) < 0.02, "mean {}, worst {}", mean(search), worst(search));
    assert!(mean(two) < mean(one) && worst(two) < 0.035, "mean {}, worst {}", mean(two), worst(two));
}

// --- many faults --------------------------------------------------------------------------------------------------

/// How an effect goes with a repair: off before, gone with it, on still.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Course {
    Off,
    Gone,
    Stays,
}

/// The best of all policies that look first and then repair until the complaint is gone, or call the specialist.
fn many_faults(net: &Net) -> f64 {
    let mut read: Vec<usize> = net.checks.iter().flat_map(|c| c.reads.clone()).collect();
    read.sort_unstable();
    read.dedup();
    let sets = 1usize << net.causes.len();
    // For each state of what the checks read, for each set repaired: the chance of that state, with the complaint there
    // before and after.
    let mut table = vec![vec![0.0; sets]; 1 << read.len()];
    for on in 0..sets {
        let chance: f64 = net
            .causes
            .iter()
            .enumerate()
            .map(|(at, c)| if on >> at & 1 == 1 { c.chance } else { 1.0 - c.chance })
            .product();
        let mut left = on;
        loop {
            let mut by_state = vec![0.0; 1 << read.len()];
            courses(net, on, left, chance, 0, &read, &mut by_state);
            for (state, p) in by_state.into_iter().enumerate().filter(|(_, p)| *p > 0.0) {
                // Every set repaired that leaves just these.
                let free = !on & (sets - 1);
                let mut more = free;
                loop {
                    table[state][(on & !left) | more] += p;
                    if more == 0 {
                        break;
                    }
                    more = (more - 1) & free;
                }
            }
            if left == 0 {
                break;
            }
            left = (left - 1) & on;
        }
    }
    let whole: f64 = table.iter().map(|row| row[0]).sum();
    // Checks whose reads no later check shares come first: tables shrink.
    let mut order: Vec<usize> = (0..net.checks.len()).collect();
    let shared = |at: &usize| {
        let mine = &net.checks[*at].reads;
        net.checks.iter().enumerate().filter(|(o, c)| o != at && c.reads.iter().any(|r| mine.contains(r))).count()
    };
    order.sort_by_key(|at| (shared(at), net.checks.len() - net.checks[*at].reads.len()));
    let mut strides = vec![0; net.checks.len()];
    let mut states = 1;
    for &at in order.iter().rev() {
        strides[at] = states;
        states *= net.checks[at].rows[0].len() + 1;
    }
    let tables: Vec<(usize, Vec<f64>)> = table.into_iter().enumerate().collect();
    let mut ends = Vec::with_capacity(states);
    answered(net, &read, &order, &tables, &mut ends);
    let mut values = vec![0.0; states];
    for state in (0..states).rev() {
        let (left, stop) = ends[state];
        values[state] = (0..net.checks.len())
            .filter(|at| (state / strides[*at]).is_multiple_of(net.checks[*at].rows[0].len() + 1))
            .map(|at| {
                let outcomes = 1..=net.checks[at].rows[0].len();
                net.checks[at].cost * left + outcomes.map(|o| values[state + o * strides[at]]).sum::<f64>()
            })
            .fold(stop, f64::min);
    }
    values[0] / whole
}

/// Goes through the courses of all effects with causes `on` before and `left` after a repair, and adds the chance of
/// each state of what is read, where the complaint stays.
fn courses(net: &Net, on: usize, left: usize, p: f64, at: usize, read: &[usize], by_state: &mut [f64]) {
    let Some(effect) = net.effects.get(at) else {
        let state = read.iter().enumerate().fold(0, |state, (bit, r)| state | (on >> r & 1) << bit);
        by_state[state] += p;
        return;
    };
    let (off, gone) = (off_chance(effect, on), off_chance(effect, left));
    let bit = 1 << (net.causes.len() + at);
    let complaint = at + 1 == net.effects.len();
    for (course, chance) in [(Course::Off, off), (Course::Gone, gone - off), (Course::Stays, 1.0 - gone)] {
        if chance > 0.0 && (!complaint || course == Course::Stays) {
            let on = if course == Course::Off { on } else { on | bit };
            let left = if course == Course::Stays { left | bit } else { left };
            courses(net, on, left, p * chance, at + 1, read, by_state);
        }
    }
}

/// For every way in which the checks of `order` are answered or not, the first check varying slowest: the weight left,
/// and what repairs alone would cost.
fn answered(net: &Net, read: &[usize], order: &[usize], table: &[(usize, Vec<f64>)], ends: &mut Vec<(f64, f64)>) {
    let Some((&check, later)) = order.split_first() else {
        let sum: Vec<f64> = (0..table[0].1.len()).map(|set| table.iter().map(|(_, row)| row[set]).sum()).collect();
        ends.push((sum[0], in_order(net, &sum)));
        return;
    };
    let check = &net.checks[check];
    let needed = later
        .iter()
        .flat_map(|at| &net.checks[*at].reads)
        .fold(0usize, |bits, r| bits | 1 << read.iter().position(|known| known == r).expect("a state that is read"));
    let row_of = |state: usize| {
        check.reads.iter().fold(0, |row, r| {
            row << 1 | (state >> read.iter().position(|known| known == r).expect("a state that is read") & 1)
        })
    };
    for outcome in std::iter::once(None).chain((0..check.rows[0].len()).map(Some)) {
        let mut smaller: Vec<(usize, Vec<f64>)> = Vec::new();
        for (state, row) in table {
            let weight = outcome.map_or(1.0, |o| check.rows[row_of(*state)][o]);
            let known = smaller.iter().position(|(known, _)| *known == state & needed);
            let at = known.unwrap_or_else(|| {
                smaller.push((state & needed, vec![0.0; row.len()]));
                smaller.len() - 1
            });
            let into = &mut smaller[at].1;
            into.iter_mut().zip(row).for_each(|(sum, p)| *sum += weight * p);
        }
        answered(net, read, later, &smaller, ends);
    }
}

/// The best order of repairs, where `left` is the weight still complaining after each set of repairs.
fn in_order(net: &Net, left: &[f64]) -> f64 {
    let mut values = vec![0.0; left.len()];
    for set in (0..left.len()).rev() {
        values[set] = (0..net.causes.len())
            .filter(|at| set >> at & 1 == 0)
            .map(|at| net.causes[at].repair * left[set] + values[set | 1 << at])
            .fold(net.service() * left[set], f64::min);
    }
    values[0]
}
