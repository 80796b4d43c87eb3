use doldrum::{
    access::AccessGraph,
    belief, case, decision,
    inference::{Engine, Limits},
    knowledge,
    knowledge::layout::Laid,
    model::compile::compile,
};
use std::time::Instant;
fn read(dir: &std::path::Path, out: &mut Vec<(String, Vec<u8>)>) {
    let mut es: Vec<_> = std::fs::read_dir(dir).unwrap().map(|e| e.unwrap().path()).collect();
    es.sort();
    for p in es {
        if p.is_dir() { read(&p, out) } else { out.push((p.to_string_lossy().into(), std::fs::read(&p).unwrap())) }
    }
}
macro_rules! t {
    ($n:expr, $e:expr) => {{
        let t = Instant::now();
        let r = $e;
        println!("{:20} {:?}", $n, t.elapsed());
        r
    }};
}
fn main() {
    let mut files = vec![];
    read("knowledge/watercraft".as_ref(), &mut files);
    let (k, _) = t!("knowledge", knowledge::read(&files));
    let k = k.unwrap();
    let graph = AccessGraph::new(&k);
    for path in std::env::args().skip(1) {
        let text = std::fs::read_to_string(&path).unwrap();
        let c = case::text::read(&path, &text, &k).0.unwrap();
        let laid = Laid::new(&k, c.craft.clone());
        let m = t!("compile", compile(&laid, &c));
        let e = t!("engine", Engine::compile(&m.network).unwrap());
        let l = Limits {
            cells: std::env::var("CELLS").map_or(1 << 18, |c| 1usize << c.parse::<u32>().unwrap()),
            ..Limits::default()
        };
        let p = t!("prior", e.posterior(&[], &l).unwrap());
        let ev = m.evidence();
        let p = t!("posterior", e.posterior(&ev, &l).unwrap());
        let w = t!("worlds", e.worlds(&ev, 4096, 1, &l).unwrap());
        // phantom share: symptom left with all causes removed
        let acc = |a: &doldrum::inference::Accuracy| match a {
            doldrum::inference::Accuracy::Exact => "exact".to_string(),
            doldrum::inference::Accuracy::Cut { links, last_change } => {
                format!("cut {} {:.1e}", links.len(), last_change)
            }
        };
        println!("post {} worlds {}", acc(p.accuracy()), acc(w.accuracy()));
        let sy: Vec<_> = c.symptoms.iter().filter_map(|s| m.symptom(*s)).collect();
        let sim = decision::simulate::Simulator::new(&m, &w, &sy, 1);
        let all: Vec<_> = m.causes.iter().map(|(i, _)| (*i, vec![u64::MAX; 64])).collect();
        let gone = sim.gone(&all);
        println!("phantom or leak share {:.3}", 1.0 - gone.iter().map(|x| x.count_ones()).sum::<u32>() as f64 / 4096.0);
        let b = t!("believe", belief::believe(&laid, &c, &l).unwrap());
        let a = t!("advise", decision::advise(&laid, &graph, &c, &b, &decision::Settings::default()).unwrap());
        let s = t!("safety", doldrum::safety::Safety::of(&laid, &graph, &c));
        let x = t!("explanations", b.explanations(&laid, &c, 8, &l).unwrap());
    }
}
