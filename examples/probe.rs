use doldrum::{access::AccessGraph, belief, case, decision, inference::Limits, knowledge, knowledge::layout::Laid};
use std::time::Instant;
fn read(dir: &std::path::Path, out: &mut Vec<(String, Vec<u8>)>) {
    let mut es: Vec<_> = std::fs::read_dir(dir).unwrap().map(|e| e.unwrap().path()).collect();
    es.sort();
    for p in es {
        if p.is_dir() { read(&p, out) } else { out.push((p.to_string_lossy().into(), std::fs::read(&p).unwrap())) }
    }
}
fn main() {
    let t = Instant::now();
    let mut files = vec![];
    read("knowledge/watercraft".as_ref(), &mut files);
    let (k, _) = knowledge::read(&files);
    let k = k.unwrap();
    println!("knowledge {:?}", t.elapsed());
    let graph = AccessGraph::new(&k);
    for path in std::env::args().skip(1) {
        let text = std::fs::read_to_string(&path).unwrap();
        let (c, f) = case::text::read(&path, &text, &k);
        for x in f.sorted() {
            println!("{x}");
        }
        let Some(full) = c else { continue };
        let laid = Laid::new(&k, full.craft.clone());
        let steps: Vec<usize> =
            if std::env::var("ALL").is_ok() { (0..=full.log.len()).collect() } else { vec![full.log.len()] };
        for n in steps {
            let mut c = full.clone();
            c.log.truncate(n);
            println!("\n=== {path} after {n} entries");
            let t = Instant::now();
            let b = match belief::believe(&laid, &c, &Limits::default()) {
                Ok(b) => b,
                Err(e) => {
                    println!("ERR {e}");
                    continue;
                }
            };
            println!(
                "believe {:?} logev {:?} conflict {:?} acc {} misfits {:?}",
                t.elapsed(),
                b.log_evidence,
                b.conflict_bits,
                match &b.accuracy {
                    doldrum::inference::Accuracy::Exact => "exact".into(),
                    doldrum::inference::Accuracy::Cut { links, last_change } =>
                        format!("cut {} {last_change:.1e}", links.len()),
                },
                b.misfits.len()
            );
            for x in b.causes.iter().take(7) {
                println!(
                    "  {:.3} ({:.3}) {}",
                    x.chance,
                    x.prior,
                    laid.label(k.causes.id(x.cause.item), k.causes[x.cause.item].scope, x.cause.at)
                );
            }
            let t = Instant::now();
            let a = decision::advise(&laid, &graph, &c, &b, &decision::Settings::default()).unwrap();
            println!(
                "advise {:?} spent {:.0}$ {:.0}min barred {} hazards {}",
                t.elapsed(),
                a.spent.get(),
                a.spent_minutes.get(),
                a.barred.len(),
                a.hazards.len()
            );
            let name = |x: &decision::Action| match x {
                decision::Action::Check(i) => laid.label(k.checks.id(i.item), k.checks[i.item].scope, i.at),
                decision::Action::Repair(r, p) => format!("{}{:?}", k.repairs.id(*r), p),
                decision::Action::HandOver => "hand over".into(),
            };
            for (tag, p) in std::iter::once(("next", &a.next))
                .chain(a.wanted.iter().map(|w| ("wanted", w)))
                .chain(a.alternatives.iter().map(|w| ("alt", w)))
            {
                println!(
                    "  {tag:6} {:40} cost {:6.0} total {:6.0} saves {:5.1} before {:?}",
                    name(&p.action),
                    p.cost.get(),
                    p.expected_cost.get(),
                    p.saves.get(),
                    p.before
                );
                if tag != "alt" {
                    for br in &p.branches {
                        println!(
                            "       -> {} {:.3} then {:?} leader {:?}",
                            br.outcome,
                            br.chance,
                            br.then.as_ref().map(&name),
                            br.leader.map(|(i, p)| (k.causes.id(i.item), i.at, p))
                        );
                    }
                }
            }
            if std::env::var("EXPL").is_ok() {
                let t = Instant::now();
                match b.explanations(&laid, &c, 8, &Limits::default()) {
                    Ok(e) => {
                        println!(
                            "explanations {:?} unexplained {:.3} missed {:.3}",
                            t.elapsed(),
                            e.unexplained,
                            e.missed
                        );
                        for s in e.sets {
                            println!(
                                "   {:.3} {:?}",
                                s.chance,
                                s.causes
                                    .iter()
                                    .map(|i| laid.label(k.causes.id(i.item), k.causes[i.item].scope, i.at))
                                    .collect::<Vec<_>>()
                            );
                        }
                    }
                    Err(e) => println!("ERR {e}"),
                }
            }
        }
    }
}
