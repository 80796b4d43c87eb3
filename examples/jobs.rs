//! The worked cases played to the end: what the advice costs from the first check to the cure, step by step.

#![expect(clippy::print_stdout, reason = "its result is what it prints")]
#![expect(clippy::too_many_lines, reason = "one run from the first line to the last")]

use doldrum::{
    access::AccessGraph,
    belief,
    case::{self, Answer, Case, Event, Presence},
    decision::{self, Action},
    inference::Limits,
    knowledge::{
        self, Knowledge,
        layout::{Instance, Laid},
    },
    safety::outcome_of,
};
use std::time::Instant;
fn read(dir: &std::path::Path, out: &mut Vec<(String, Vec<u8>)>) {
    let mut es: Vec<_> = std::fs::read_dir(dir).unwrap().map(|e| e.unwrap().path()).collect();
    es.sort();
    for p in es {
        if p.is_dir() { read(&p, out) } else { out.push((p.to_string_lossy().into(), std::fs::read(&p).unwrap())) }
    }
}
fn main() {
    let mut files = vec![];
    read("knowledge/watercraft".as_ref(), &mut files);
    let k = knowledge::read(&files).0.unwrap();
    let graph = AccessGraph::new(&k);
    let truths: Vec<(&str, Vec<(&str, usize)>)> = vec![
        ("w01", vec![("low-jet-clogged", 0), ("low-jet-clogged", 1), ("hose-debris", 0), ("stale-fuel", 0)]),
        ("w02", vec![("tank-vent-blocked", 0)]),
        ("w03", vec![("exhaust-water-ingestion", 0)]),
        ("w04", vec![("lever-too-high", 0)]),
        ("w05", vec![("start-relay-faulty", 0)]),
        ("w06", vec![("kill-wire-grounded", 0)]),
        ("w07", vec![("piston-scored", 1), ("inlet-screen-clogged", 1), ("hose-debris", 0)]),
        ("w08", vec![("pump-check-valves-leaking", 0)]),
    ];
    let only = std::env::args().nth(1);
    for (name, truth) in truths {
        if only.as_deref().is_some_and(|o| o != name) {
            continue;
        }
        let path = format!("tests/cases/{name}.yaml");
        let full = case::text::read(&path, &std::fs::read_to_string(&path).unwrap(), &k).0.unwrap();
        let laid = Laid::new(&k, full.craft.clone());
        let mut c = Case { log: vec![], ..full.clone() };
        c.user = k.users.find("technician").unwrap();
        let mut left: Vec<_> = truth.iter().map(|(id, at)| Instance::new(k.causes.find(id).unwrap(), *at)).collect();
        let mut checks = 0;
        let mut fails = 0;
        println!("=== {name}");
        let mut total_t = std::time::Duration::ZERO;
        let mut steps = 0;
        for _ in 0..40 {
            let t = Instant::now();
            let b = belief::believe(&laid, &c, &Limits::default()).unwrap();
            let a = decision::advise(&laid, &graph, &c, &b, &decision::Settings::default()).unwrap();
            total_t += t.elapsed();
            steps += 1;
            for ac in &a.next.before.put_back {
                c.log.push(Event::Access { access: *ac, now: case::Position::Shut }.into());
            }
            match &a.next.action {
                Action::HandOver => {
                    println!("   HAND OVER total {:.0}", a.next.expected_cost.get());
                    break;
                }
                Action::Check(i) => {
                    checks += 1;
                    let told = full.log.iter().find_map(|e| match &e.event {
                        Event::Answer { check, place, answer, .. }
                            if *check == i.item && (place.is_none() || *place == Some(i.at)) && answer.informs() =>
                        {
                            Some(*answer)
                        }
                        _ => None,
                    });
                    let answer = told.unwrap_or_else(|| likely(&laid, &c, &left, *i));
                    let o = outcome_of(&laid, &c, i.item, answer);
                    println!(
                        "   {:34} -> {:24} cost {:4.0} total {:5.0} saves {:4.0} {} ",
                        laid.label(k.checks.id(i.item), k.checks[i.item].scope, i.at),
                        o.map_or("?".into(), |o| k.checks[i.item].outcomes[o].id.clone()),
                        a.next.cost.get(),
                        a.next.expected_cost.get(),
                        a.next.saves.get(),
                        if told.is_some() { "told" } else { "" }
                    );
                    for t in &a.next.before.ticks {
                        c.log.push(Event::Ticked(*t).into());
                    }
                    c.log.push(
                        Event::Answer {
                            check: i.item,
                            place: if k.checks[i.item].scope == knowledge::Scope::Craft { Some(0) } else { Some(i.at) },
                            answer,
                            aired_min: if k.checks.id(i.item) == "ck-smell-hull" { Some(30.0) } else { None },
                        }
                        .into(),
                    );
                }
                Action::Repair(r, places) => {
                    let repair = &k.repairs[*r];
                    let hits: Vec<_> = left
                        .iter()
                        .filter(|i| {
                            repair.removes.iter().any(|(c, _)| *c == i.item)
                                && doldrum::model::compile::repair_reaches(
                                    &laid,
                                    *r,
                                    places,
                                    k.causes[i.item].scope,
                                    i.at,
                                )
                        })
                        .copied()
                        .collect();
                    println!(
                        "   REPAIR {:28}{:?} cost {:4.0} total {:5.0} hits {} of {}",
                        k.repairs.id(*r),
                        places,
                        a.next.cost.get(),
                        a.next.expected_cost.get(),
                        hits.len(),
                        left.len()
                    );
                    if !hits.is_empty() {
                        break;
                    }
                    fails += 1;
                    c.log.push(Event::Repaired { repair: *r, places: places.clone() }.into());
                    c.log.push(Event::Tried { symptom: c.symptoms[0], now: Presence::Present }.into());
                }
            }
        }
        let _ = &mut left;
        let spent = decision::cost::spent(&laid, &graph, &c);
        println!(
            "   {name}: checks {checks} failed repairs {fails} spent ${:.0} {:.0} min; {:?} a step",
            spent.money.get(),
            spent.minutes.get(),
            total_t / steps
        );
    }
}
fn likely(laid: &Laid, c: &Case, truth: &[Instance<knowledge::Cause>], i: Instance<knowledge::Check>) -> Answer {
    let k: &Knowledge = laid.knowledge;
    let mut t = Case { log: vec![], ..c.clone() };
    for x in truth {
        t.log.push(Event::Found { cause: *x, now: Presence::Present }.into());
    }
    let m = doldrum::model::compile::compile(laid, &t);
    let e = doldrum::inference::Engine::compile(&m.network).unwrap();
    let cm = m.checks.iter().find(|x| x.check == i).unwrap();
    let ev: Vec<_> = m
        .observations
        .iter()
        .filter(|(s, _)| !matches!(s, doldrum::model::compile::Said::Customer(_)))
        .map(|(_, o)| o.clone())
        .collect();
    let check = &k.checks[i.item];
    let given = doldrum::model::compile::conditions(laid, c, check);
    let base = e.log_evidence(&ev, &Limits::default()).unwrap();
    let best = (0..check.outcomes.len())
        .map(|o| {
            let mut ev = ev.clone();
            ev.push(doldrum::model::compile::observation(check, &cm.rows, 0, |g| {
                doldrum::model::reading::outcome_chances(check, g, &given)[o]
            }));
            (o, e.log_evidence(&ev, &Limits::default()).unwrap() - base)
        })
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .unwrap()
        .0;
    Answer::Outcome(best)
}
