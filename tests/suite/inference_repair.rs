//! What a repair comes to, against every world of a small network: which roots are there, which links get through,
//! which leaks are active, which faults the repair takes. The worlds know nothing of slices to come.

use doldrum::case::Event;
use doldrum::inference::{Accuracy, Engine, Error, Limits};
use doldrum::knowledge::layout::Laid;
use doldrum::model::compile::{compile, repair_reaches};
use doldrum::model::network::{Literal, Mechanism, Network, Observation, SliceSet, States, VarIx};
use doldrum::model::repaired::{RepairError, TurnedOff};
use proptest::prelude::*;

use crate::random_network::{self, Draw};
use crate::small_network::{Net, assert_relative};
use crate::watercraft;

/// Worlds beyond this many are too many to write out.
const WORLDS_MAX: usize = 1 << 14;

/// Each variable's states so far, and for each gate which links would get through and whether its leak is active.
#[derive(Clone)]
struct World {
    weight: f64,
    states: Vec<usize>,
    drawn: Vec<(u32, bool)>,
}

/// Every world of nonzero chance; `None` where there are too many.
fn worlds(network: &Network) -> Option<Vec<World>> {
    let mut worlds = vec![World { weight: 1.0, states: vec![], drawn: vec![] }];
    for at in 0..network.variables.len() {
        let var = VarIx(at as u32);
        let mut longer = Vec::new();
        for world in worlds {
            let options = draws(network, var, &world.states);
            for (p, state, drawn) in options.into_iter().filter(|&(p, ..)| p > 0.0) {
                let mut next = world.clone();
                next.weight *= p;
                next.states.push(state);
                next.drawn.push(drawn);
                longer.push(next);
            }
            if longer.len() > WORLDS_MAX {
                return None;
            }
        }
        worlds = longer;
    }
    Some(worlds)
}

/// The ways in which a variable can come about: chance, state, links and leak.
fn draws(network: &Network, var: VarIx, states: &[usize]) -> Vec<(f64, usize, (u32, bool))> {
    let variable = network.variable(var);
    if let Mechanism::Table { parents, rows } = &variable.mechanism {
        let n = variable.states.count();
        let row = parents.iter().fold(0, |row, p| row * network.variable(*p).states.count() + states[p.at()]);
        return (0..n).map(|state| (rows[row * n + state], state, (0, false))).collect();
    }
    let strengths: Vec<f64> = match &variable.mechanism {
        Mechanism::Any { links, .. } | Mechanism::All { links, .. } | Mechanism::AtLeast { links, .. } => {
            links.iter().map(|link| link.strength).collect()
        }
        Mechanism::Count { of, .. } => vec![1.0; of.len()],
        Mechanism::Table { .. } => unreachable!("seen to above"),
    };
    let leak = match &variable.mechanism {
        Mechanism::Any { leak, .. } | Mechanism::All { leak, .. } | Mechanism::AtLeast { leak, .. } => *leak,
        _ => 0.0,
    };
    let States::OnIn(sets) = &variable.states else { panic!("gates are on or off") };
    let mut ways = Vec::new();
    for pattern in 0..1u32 << strengths.len() {
        let through = |j: usize| pattern >> j & 1 == 1;
        let p: f64 = strengths.iter().enumerate().map(|(j, s)| if through(j) { *s } else { 1.0 - s }).product();
        for (active, q) in [(false, 1.0 - leak), (true, leak)] {
            let mut on = SliceSet::NONE;
            for slice in 0..network.slices {
                let is_on = |parent: VarIx| network.on_in(parent, states[parent.at()]).has(slice);
                on.0 |= u8::from(gate(network, var, (pattern, active), is_on)) << slice;
            }
            let state = sets.iter().position(|set| *set == on);
            ways.push((p * q, state.unwrap_or(usize::MAX), (pattern, active)));
        }
    }
    ways
}

/// Whether a gate is on where its inputs are as told.
fn gate(network: &Network, var: VarIx, (pattern, leak): (u32, bool), is_on: impl Fn(VarIx) -> bool) -> bool {
    let parents = network.parents(var);
    let through = (0..parents.len()).filter(|&j| pattern >> j & 1 == 1 && is_on(parents[j])).count();
    let by_inputs = match &network.variable(var).mechanism {
        Mechanism::Any { .. } => through > 0,
        Mechanism::All { links, .. } => through == links.len(),
        Mechanism::AtLeast { k, .. } => through >= *k,
        Mechanism::Count { least, most, .. } => (*least..=*most).contains(&through),
        Mechanism::Table { .. } => panic!("not a gate"),
    };
    by_inputs || leak
}

fn likelihood(network: &Network, observation: &Observation, states: &[usize]) -> f64 {
    match observation {
        Observation::State { var, likelihood } => likelihood[states[var.at()]],
        Observation::Rows { slice, rows, otherwise } => {
            let holds = |l: &Literal| network.on_in(l.var, states[l.var.at()]).has(*slice) == l.on;
            rows.iter().find(|row| row.any_of.iter().any(holds)).map_or(*otherwise, |row| row.likelihood)
        }
    }
}

/// The chance that each on/off variable is on after the repair, and in the last slice before it.
fn by_worlds(
    network: &Network,
    worlds: &[World],
    seen: &[Observation],
    repair: &[TurnedOff],
) -> Option<(Vec<f64>, Vec<f64>)> {
    let n = network.variables.len();
    let (mut total, mut before, mut after) = (0.0, vec![0.0; n], vec![0.0; n]);
    for world in worlds {
        let weight = seen.iter().fold(world.weight, |weight, seen| weight * likelihood(network, seen, &world.states));
        total += weight;
        for taken in 0..1usize << repair.len() {
            let mut chance = weight;
            let mut now: Vec<bool> = Vec::new();
            for (i, done) in repair.iter().enumerate() {
                chance *= if taken >> i & 1 == 1 { done.sureness } else { 1.0 - done.sureness };
            }
            for at in 0..n {
                let var = VarIx(at as u32);
                let gone = repair.iter().enumerate().any(|(i, done)| done.var == var && taken >> i & 1 == 1);
                let was = network.on_in(var, world.states[at]).has(network.slices - 1);
                let is = match &network.variable(var).mechanism {
                    Mechanism::Table { .. } => was && !gone,
                    _ => gate(network, var, world.drawn[at], |parent| now[parent.at()]),
                };
                now.push(is);
                before[at] += if was { chance } else { 0.0 };
                after[at] += if is { chance } else { 0.0 };
            }
        }
    }
    let share = |sums: Vec<f64>| sums.into_iter().map(|sum| sum / total).collect();
    (total > 0.0).then(|| (share(before), share(after)))
}

fn roomy() -> Limits {
    Limits { cells: 1 << 26, ..Limits::default() }
}

/// Whether a table hangs, by gates alone, on what is repaired.
fn has_table_below(network: &Network, repair: &[TurnedOff]) -> bool {
    let mut may_change: Vec<bool> = Vec::new();
    for at in 0..network.variables.len() {
        let var = VarIx(at as u32);
        let above = network.parents(var).iter().any(|parent| may_change[parent.at()]);
        if above && matches!(network.variable(var).mechanism, Mechanism::Table { .. }) {
            return true;
        }
        may_change.push(above || repair.iter().any(|done| done.var == var && done.sureness > 0.0));
    }
    false
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1000, ..ProptestConfig::default() })]

    /// Sources: none; every world is written out.
    #[test]
    fn a_repair_comes_to_what_the_worlds_say(seed: u64, slices in 1usize..=2, n in 1usize..=9, seen in 0usize..=4) {
        let mut draw = Draw::new(seed);
        let network = random_network::network(&mut draw, n.min([9, 7][slices - 1]), slices);
        let observations = random_network::observations(&mut draw, &network, seen);
        let watched: Vec<VarIx> = (0..network.variables.len() as u32)
            .map(VarIx)
            .filter(|&var| matches!(network.variable(var).states, States::OnIn(_)))
            .collect();
        let faults: Vec<VarIx> = watched
            .iter()
            .copied()
            .filter(|&var| matches!(network.variable(var).mechanism, Mechanism::Table { .. }))
            .collect();
        let repair: Vec<TurnedOff> = (0..draw.below(4))
            .map(|_| TurnedOff { var: faults[draw.below(faults.len())], sureness: [0.0, 0.3, 0.9, 1.0][draw.below(4)] })
            .collect();
        let engine = Engine::compile(&network).expect("random networks are valid");
        let found = engine.after_repair(&observations, &repair, &watched, &roomy());
        if has_table_below(&network, &repair) {
            prop_assert!(matches!(found, Err(Error::Network(_))), "{found:?}");
            prop_assert!(matches!(network.with_repair(&repair), Err(RepairError::TableBelow(_))));
            return Ok(());
        }
        let Some(worlds) = worlds(&network) else { return Ok(()) };
        let Some((before, after)) = by_worlds(&network, &worlds, &observations, &repair) else {
            prop_assert_eq!(found.unwrap_err(), Error::Contradiction);
            return Ok(());
        };
        let found = found.expect("there is an answer");
        prop_assert_eq!(&found.accuracy, &Accuracy::Exact);
        for (var, p) in watched.iter().zip(&found.on) {
            prop_assert!((p - after[var.at()]).abs() < 1e-10, "{var:?}: {p} and {}", after[var.at()]);
        }
        // Doing nothing changes nothing.
        let nothing = engine.after_repair(&observations, &[], &watched, &roomy()).expect("there is an answer");
        let now = engine.posterior_with(&observations, &watched, &roomy()).expect("there is an answer");
        for (var, p) in watched.iter().zip(&nothing.on) {
            prop_assert!((p - before[var.at()]).abs() < 1e-10, "{var:?}: {p} and {}", before[var.at()]);
            prop_assert!((p - now.chance_on(*var, network.slices - 1)).abs() < 1e-10);
        }
    }
}

/// Two causes of one symptom: the one repaired leaves the other, what got through and what leaked. Worked by hand: of
/// the worlds in which the symptom is on, those in which b gets through or the leak is active keep it.
#[test]
fn what_is_left_after_one_of_two() {
    let mut net = Net::new();
    let (a, b) = (net.cause("a", 0.2), net.cause("b", 0.1));
    let symptom = net.noisy_or("symptom", &[(a, 0.9), (b, 0.5)], 0.01);
    let engine = Engine::compile(net.network()).expect("the network is valid");
    let repair = [TurnedOff { var: a, sureness: 0.8 }];
    let seen = [net.on(symptom)];
    let found = engine.after_repair(&seen, &repair, &[symptom, a, b], &Limits::default()).expect("there is an answer");
    let without_a = 1.0 - 0.99 * (1.0 - 0.1 * 0.5);
    let all = 1.0 - 0.99 * (1.0 - 0.2 * 0.9) * (1.0 - 0.1 * 0.5);
    assert_relative(found.on[0], (without_a + 0.2 * (all - without_a)) / all, 1e-12);
    let posterior = net.posterior(&seen);
    assert_relative(found.on[1], 0.2 * posterior.of(a)[1], 1e-12);
    assert_relative(found.on[2], posterior.of(b)[1], 1e-12);
}

#[test]
fn what_cannot_be_repaired_is_said() {
    let mut net = Net::new();
    let a = net.cause("a", 0.2);
    let gate = net.or("gate", &[a]);
    let meter = net.table("meter", 3, &[gate], &[0.2, 0.3, 0.5, 0.1, 0.1, 0.8]);
    let network = net.network();
    let off = |var, sureness| [TurnedOff { var, sureness }];
    assert_eq!(network.with_repair(&off(a, 0.5)), Err(RepairError::TableBelow("meter".into())));
    assert_eq!(network.with_repair(&off(gate, 0.5)), Err(RepairError::NotAFault("gate".into())));
    assert_eq!(network.with_repair(&off(meter, 0.5)), Err(RepairError::NotAFault("meter".into())));
    assert_eq!(network.with_repair(&off(VarIx(7), 0.5)), Err(RepairError::NotAFault("7".into())));
    assert_eq!(network.with_repair(&off(a, 1.5)), Err(RepairError::Sureness(1.5)));
    // A repair that cannot succeed leaves the table alone.
    assert!(network.with_repair(&off(a, 0.0)).is_ok());
    let long = Network { slices: 4, ..network.clone() };
    assert_eq!(long.with_repair(&[]), Err(RepairError::Slices(4)));
    let message = RepairError::Slices(4).to_string();
    assert_eq!(message, "expected at most `3` slices before one more repair, found `4`");
}

/// A repair to come is what the same repair comes to once it stands in the log, with nothing observed since: every
/// fourth repair of a worked case, on every symptom.
#[test]
fn a_repair_to_come_is_the_repair_in_the_log() {
    let knowledge = watercraft::knowledge();
    let case = watercraft::case(&knowledge, "w05");
    let laid = Laid::new(&knowledge, case.craft.clone());
    let model = compile(&laid, &case);
    let engine = Engine::compile(&model.network).expect("the network is valid");
    let watched: Vec<VarIx> = model.symptoms.iter().map(|(_, var)| *var).collect();
    let mut checked = 0;
    for (ix, repair) in knowledge.repairs.iter().filter(|(_, repair)| laid.fits(&repair.fitted)).step_by(4) {
        let places: Vec<usize> = (0..laid.places(repair.scope)).collect();
        let sureness = |cause| repair.removes.iter().find(|(removed, _)| *removed == cause).map(|(_, sure)| sure.get());
        let off: Vec<TurnedOff> = model
            .causes
            .iter()
            .filter(|(c, _)| repair_reaches(&laid, ix, &places, knowledge.causes[c.item].scope, c.at))
            .filter_map(|&(c, var)| Some(TurnedOff { var, sureness: sureness(c.item)? }))
            .collect();
        if off.is_empty() {
            continue;
        }
        let found = engine.after_repair(&model.evidence(), &off, &watched, &roomy()).expect("there is an answer");
        let mut done = case.clone();
        done.log.push(Event::Repaired { repair: ix, places }.into());
        let after = compile(&laid, &done);
        assert_eq!((after.now, &found.accuracy), (model.now + 1, &Accuracy::Exact));
        let logged = Engine::compile(&after.network).expect("the network is valid");
        let posterior = logged.posterior_with(&after.evidence(), &watched, &roomy()).expect("there is an answer");
        for (&var, p) in watched.iter().zip(&found.on) {
            let expected = posterior.chance_on(var, after.now);
            let name = &model.network.variable(var).name;
            assert!((p - expected).abs() < 1e-9, "{}, {name}: {p} and {expected}", knowledge.repairs.id(ix));
        }
        checked += 1;
    }
    assert!(checked > 5, "only {checked} repairs");
}
