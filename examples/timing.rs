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
        let l = Limits::default();
        let p = t!("prior", e.posterior(&[], &l).unwrap());
        let ev = m.evidence();
        let p = t!("posterior", e.posterior(&ev, &l).unwrap());
        let w = t!("worlds", e.worlds(&ev, 4096, 1, &l).unwrap());
        let b = t!("believe", belief::believe(&laid, &c, &l).unwrap());
        let a = t!("advise", decision::advise(&laid, &graph, &c, &b, &decision::Settings::default()).unwrap());
        let s = t!("safety", doldrum::safety::Safety::of(&laid, &graph, &c));
        let x = t!("explanations", b.explanations(&laid, &c, 8, &l).unwrap());
    }
}
