//! Published problems with known answers. Where a source gives the structure and inputs only, the numbers were computed
//! from them by exhaustive enumeration or a decision diagram, apart from this program.

use std::slice::from_ref;

use doldrum::inference::brute::Joint;
use doldrum::inference::{Engine, Limits};
use doldrum::model::network::VarIx;

use crate::small_network::{Net, assert_relative};

/// Jensen and Nielsen, Bayesian Networks and Decision Graphs (2007), section 2: a car that will not start.
/// Variables: no fuel, dirty plugs, meter (full, half, empty), no start.
fn car_start() -> (Net, [VarIx; 4]) {
    let mut net = Net::new();
    let no_fuel = net.cause("no fuel", 0.02);
    let dirty = net.cause("dirty plugs", 0.04);
    let meter = net.table("meter", 3, &[no_fuel], &[0.39, 0.60, 0.01, 0.001, 0.001, 0.998]);
    let rows = [0.99, 0.01, 0.01, 0.99, 0.0, 1.0, 0.0, 1.0];
    let no_start = net.table("no start", 2, &[no_fuel, dirty], &rows);
    (net, [no_fuel, dirty, meter, no_start])
}

#[test]
fn car_start_posteriors() {
    let (net, [no_fuel, dirty, meter, no_start]) = car_start();
    let fails = net.seen(no_start, 1);
    assert_relative(net.evidence(from_ref(&fails)), 0.068216, 5e-6);
    let posterior = net.posterior(from_ref(&fails));
    assert_relative(posterior.of(dirty)[1], 0.580626, 1e-6);
    assert_relative(posterior.of(no_fuel)[1], 0.293186, 2e-6);
    // A fragment of the book's own table, P(dirty plugs, no start), differs a little: the book gives .03965.
    assert_relative(posterior.of(dirty)[1] * 0.068216, 0.03965, 0.005);
    // Fragments of its joint table: no fuel, dirty plugs and meter with no start.
    let engine = Engine::compile(net.network()).expect("the network is valid");
    let table = engine.joint(from_ref(&fails), &[no_fuel, dirty, meter], &Limits::default()).expect("an answer");
    for (states, p) in [([0, 1, 0], 0.01514), ([0, 1, 1], 0.0233), ([1, 1, 1], 8.0e-7)] {
        assert_relative(table.chance(&states) * net.evidence(from_ref(&fails)), p, 1e-3);
    }
    let half = net.posterior(&[fails.clone(), net.seen(meter, 1)]);
    assert_relative(half.of(dirty)[1], 0.804350, 1e-6);
    assert_relative(half.of(no_fuel)[1], 0.000690856, 1e-6);
    let empty = net.posterior(&[fails, net.seen(meter, 2)]);
    assert_relative(empty.of(dirty)[1], 0.0580408, 1e-6);
    assert_relative(empty.of(no_fuel)[1], 0.976413, 1e-6);
}

/// Jensen, Chamberlain, Nordahl and Jensen (UAI 1990): the conflict measure, on the same network, in bits.
#[test]
fn car_start_conflict() {
    let (net, [_, dirty, meter, no_start]) = car_start();
    let conflict = |meter_state: usize| {
        let (a, b) = (net.seen(no_start, 1), net.seen(meter, meter_state));
        libm::log2(net.evidence(from_ref(&a)) * net.evidence(from_ref(&b)) / net.evidence(&[a, b]))
    };
    assert!((conflict(1) - 0.4705).abs() < 5e-5, "found {}", conflict(1));
    assert!((conflict(2) + 3.3319).abs() < 5e-5, "found {}", conflict(2));
    // Dirty plugs resolve the first: log2(.80435 / .04) = 4.33 is more than .47.
    let half = net.posterior(&[net.seen(no_start, 1), net.seen(meter, 1)]);
    assert!(libm::log2(half.of(dirty)[1] / 0.04) > conflict(1));
}

/// Bobbio, Portinale, Minichino and Ciancamerla (2001): the redundant multiprocessor.
#[test]
fn multiprocessor() {
    let mut net = Net::new();
    let failed = |rate: f64| 1.0 - libm::exp(-rate * 5000.0);
    let [d11, d12, d21, d22] = ["d11", "d12", "d21", "d22"].map(|name| net.cause(name, failed(8e-5)));
    let [p1, p2] = ["p1", "p2"].map(|name| net.cause(name, failed(5e-7)));
    let [m1, m2, m3] = ["m1", "m2", "m3"].map(|name| net.cause(name, failed(3e-8)));
    let bus = net.cause("bus", failed(2e-9));
    let [disks1, disks2] = [("disks 1", d11, d12), ("disks 2", d21, d22)].map(|(name, a, b)| net.and(name, &[a, b]));
    let [memory1, memory2] = [("memory 1", m1), ("memory 2", m2)].map(|(name, m)| net.and(name, &[m, m3]));
    let s1 = net.or("s1", &[p1, disks1, memory1]);
    let s2 = net.or("s2", &[p2, disks2, memory2]);
    let both = net.and("both", &[s1, s2]);
    let top = net.or("top", &[both, bus]);
    assert_relative(net.evidence(&[net.on(top)]), 0.01231188, 1e-6);
    let posterior = net.posterior(&[net.on(top)]);
    for disk in [d11, d12, d21, d22] {
        assert_relative(posterior.of(disk)[1], 0.984378, 1e-6);
    }
    for (var, p) in [(p1, 0.022495), (p2, 0.022495), (m1, 0.000150169), (m2, 0.000150169), (m3, 0.000150349)] {
        assert_relative(posterior.of(var)[1], p, 5e-5);
    }
    assert_relative(posterior.of(bus)[1], 0.000812220, 1e-6);
    // The most probable explanation: all four disks and nothing else.
    let joint = Joint::of(net.network(), &[net.on(top)]).expect("the top event is possible");
    let causes = [d11, d12, d21, d22, p1, p2, m1, m2, m3, bus];
    let (states, p) = joint.most_probable(&causes);
    assert_eq!(states, [1, 1, 1, 1, 0, 0, 0, 0, 0, 0]);
    assert_relative(p, 0.954277, 1e-6);
    let best = net.best_sets(&[net.on(top)], &causes, 12);
    assert_eq!((best.settled(), best.sets[0].members.as_slice()), (12, [0, 1, 2, 3].as_slice()));
    assert_relative(best.sets[0].chance, 0.954277, 1e-6);
    // The best set that holds neither all four disks nor the bus is one of the ten minimal cut sets.
    let other = best.sets.iter().find(|set| !set.members.starts_with(&[0, 1, 2, 3])).expect("it is among them");
    assert!([vec![0, 1, 5], vec![2, 3, 4]].contains(&other.members), "{other:?}");
}

/// The pressure tank of the Fault Tree Handbook (NUREG-0492, 1981), inputs as in the FFORT benchmark model, which gives
/// 3.5013348120867e-5.
#[test]
fn pressure_tank() {
    let mut net = Net::new();
    let inputs = [("T", 5e-6), ("K2", 3e-5), ("S", 1e-4), ("S1", 3e-5), ("K1", 5e-6), ("R", 1e-4)];
    let [t, k2, s, s1, k1, r] = inputs.map(|(name, p)| net.cause(name, p));
    let timer = net.or("timer", &[s1, k1, r]);
    let pump = net.and("pump", &[s, timer]);
    let top = net.or("top", &[t, k2, pump]);
    let p_top = net.evidence(&[net.on(top)]);
    assert_relative(p_top, 3.501334916251629e-5, 1e-12);
    assert_relative(p_top, 3.5013348120867e-5, 1e-7);
    let posterior = net.posterior(&[net.on(top)]);
    let given_top =
        [(t, 0.142802677), (k2, 0.856816064), (s, 4.855048e-4), (s1, 1.156670e-4), (k1, 1.927784e-5), (r, 3.855568e-4)];
    for (var, p) in given_top {
        assert_relative(posterior.of(var)[1], p, 1e-6);
    }
    // The most probable sets are the minimal cut sets, and their chances products of the inputs.
    let best = net.best_sets(&[net.on(top)], &[t, k2, s, s1, k1, r], 3);
    let members: Vec<&[usize]> = best.sets.iter().map(|set| set.members.as_slice()).collect();
    assert_eq!((members, best.settled()), (vec![[1].as_slice(), &[0], &[2, 5]], 3));
    let odds = |p: f64| p / (1.0 - p);
    let none: f64 = inputs.iter().map(|(_, p)| 1.0 - p).product();
    for (set, odds) in best.sets.iter().zip([odds(3e-5), odds(5e-6), odds(1e-4) * odds(1e-4)]) {
        assert_relative(set.chance, none * odds / p_top, 1e-9);
    }
}

/// Two trains in parallel: the public test data of a fault-tree probability library.
#[test]
fn two_trains() {
    let mut net = Net::new();
    let [p1, p2, v1, v2] = [("P1", 0.6), ("P2", 0.7), ("V1", 0.4), ("V2", 0.5)].map(|(name, p)| net.cause(name, p));
    let first = net.or("train 1", &[v1, p1]);
    let second = net.or("train 2", &[v2, p2]);
    let top = net.and("top", &[first, second]);
    assert_relative(net.evidence(&[net.on(top)]), 0.646, 1e-12);
    let posterior = net.posterior(&[net.on(top)]);
    for (var, p) in [(p1, 0.7895), (p2, 0.8235), (v1, 0.5263), (v2, 0.5882)] {
        assert!((posterior.of(var)[1] - p).abs() < 5e-5, "found {}", posterior.of(var)[1]);
    }
    // Worked by hand: both pumps, and with them the second valve, which is as likely shut as not.
    let best = net.best_sets(&[net.on(top)], &[p1, p2, v1, v2], 2);
    assert_eq!(
        (best.sets[0].members.as_slice(), best.sets[1].members.as_slice()),
        ([0, 1].as_slice(), [0, 1, 3].as_slice())
    );
    for set in best.sets {
        assert_relative(set.chance, 0.6 * 0.7 * 0.6 * 0.5 / 0.646, 1e-12);
    }
}

/// The "Chinese" tree of the Aralia benchmark: 25 events of .02; the published value is .0045691, the longer one is by
/// a decision diagram.
#[test]
fn chinese_tree() {
    const GATES: &str = "\
        r1 = g1 & g2 ; g1 = e1|e2|e3|g3 ; g2 = g4 & g5 ; g3 = g6 & g7 ; g4 = e4|e5|e6|e7|g8 ; g5 = e8|g9 ;
        g6 = e9|e10|e11|g10 ; g7 = e12|e13 ; g8 = g11 & g12 ; g9 = g13 & g14 ; g10 = g15 & g16 ; g11 = e14|e15|e16|g17 ;
        g12 = g18 & g19 ; g13 = e1|e2|e3|g20 ; g14 = e4|e5|e6|e7|g21 ; g15 = e17|e18 ; g16 = e19|e20|e21 ;
        g17 = g22 & g23 ; g18 = e22|e23 ; g19 = e24|e25 ; g20 = g24 & g25 ; g21 = g26 & g27 ; g22 = e17|e18|e21 ;
        g23 = e19|e20 ; g24 = e14|e15|e16|g28 ; g25 = g29 & g30 ; g26 = e9|e10|e11|g31 ; g27 = e12|e13 ;
        g28 = g32 & g33 ; g29 = e22|e23 ; g30 = e24|e25 ; g31 = g34 & g35 ; g32 = e17|e18|e21 ; g33 = e19|e20 ;
        g34 = e19|e20|e21 ; g35 = e17|e18";
    let mut net = Net::new();
    (1..=25).for_each(|i| {
        net.cause(&format!("e{i}"), 0.02);
    });
    // Gates are listed from the top down with a gate's inputs after it, so backward every input is known.
    for gate in GATES.split(';').rev() {
        let (name, inputs) = gate.split_once('=').expect("a gate has inputs");
        let sign = if inputs.contains('&') { '&' } else { '|' };
        let inputs: Vec<VarIx> = inputs.split(sign).map(|input| net.named(input.trim())).collect();
        match sign {
            '&' => net.and(name.trim(), &inputs),
            _ => net.or(name.trim(), &inputs),
        };
    }
    let top = net.on(net.named("r1"));
    let p_top = net.evidence(from_ref(&top));
    assert!((p_top - 0.0045691).abs() < 1e-6);
    assert_relative(p_top, 0.004569321780497458, 1e-12);
    let posterior = net.posterior(&[top]);
    for (name, p) in [("e1", 0.339805), ("e4", 0.257604), ("e8", 0.0207792), ("e12", 0.0204081)] {
        assert_relative(posterior.of(net.named(name))[1], p, 5e-6);
    }
    // Of its 392 minimal cut sets the published count has twelve of two events: one of e1 to e3 with one of e4 to e7.
    // They are the twelve most probable sets; any other has a third event, which is 49 times less likely than not.
    let events: Vec<VarIx> = (1..=25).map(|i| net.named(&format!("e{i}"))).collect();
    let best = net.best_sets(&[net.on(net.named("r1"))], &events, 13);
    let mut pairs: Vec<Vec<usize>> = best.sets[..12].iter().map(|set| set.members.clone()).collect();
    pairs.sort();
    let expected: Vec<Vec<usize>> = (0..3).flat_map(|i| (3..7).map(move |j| vec![i, j])).collect();
    assert_eq!(pairs, expected);
    let pair = 0.02 * 0.02 * libm::pow(0.98, 23.0) / p_top;
    best.sets[..12].iter().for_each(|set| assert_relative(set.chance, pair, 1e-9));
    assert_relative(best.sets[12].chance, pair / 49.0, 1e-9);
    assert!(best.settled() >= 12 && best.nodes < 1000, "{} nodes", best.nodes);
}

/// Russell and Norvig, Artificial Intelligence: noisy-OR for fever, q .6 cold, .2 flu, .1 malaria; and two inputs of .8
/// and .6 with a leak of .1 in Díez's convention.
#[test]
fn noisy_or_tables() {
    let mut net = Net::new();
    let [cold, flu, malaria] = ["cold", "flu", "malaria"].map(|name| net.cause(name, 0.5));
    let fever = net.noisy_or("fever", &[(cold, 0.4), (flu, 0.8), (malaria, 0.9)], 0.0);
    let leaky = net.noisy_or("leaky", &[(cold, 0.8), (flu, 0.6)], 0.1);
    let rows = [0.0, 0.9, 0.8, 0.98, 0.4, 0.94, 0.88, 0.988];
    for (row, expected) in rows.into_iter().enumerate() {
        let states = [row >> 2 & 1, row >> 1 & 1, row & 1];
        let given: Vec<_> = [cold, flu, malaria].iter().zip(states).map(|(&var, s)| net.seen(var, s)).collect();
        let found = net.posterior(&given).of(fever)[1];
        assert!((found - expected).abs() < 1e-12, "row {row}: {found}");
    }
    for (states, expected) in [([0, 0], 0.1), ([0, 1], 0.64), ([1, 0], 0.82), ([1, 1], 0.928)] {
        let given = [net.seen(cold, states[0]), net.seen(flu, states[1])];
        let found = net.posterior(&given).of(leaky)[1];
        assert!((found - expected).abs() < 1e-12, "{states:?}: {found}");
    }
}
