//! What is true: exact where a very large budget does, else what a budget 128 times the usual one makes of it, beside
//! how far one of 16 times is from that.

use doldrum::inference::{Accuracy, Engine, Limits, Posterior};
use doldrum::model::compile::CaseModel;
use serde_json::{Value, json};
use std::io::Write;

/// Budgets tried one after another until nothing is cut, as powers of two.
const BITS: [u32; 2] = [22, 25];

/// The chances of all causes, as near as can be had.
pub struct Truth {
    pub chances: Vec<f64>,
    /// How they were come by.
    pub words: String,
}

/// The chance of every cause now.
pub fn chances(model: &CaseModel, posterior: &Posterior) -> Vec<f64> {
    model.causes.iter().map(|&(_, var)| posterior.chance_on(var, model.now)).collect()
}

/// What was worked out before.
pub struct Kept {
    file: Option<String>,
    all: serde_json::Map<String, Value>,
}

impl Kept {
    /// Opens a file, which need not be there.
    pub fn open(file: Option<&str>) -> Self {
        let text = file.and_then(|file| std::fs::read_to_string(file).ok());
        let all = text.and_then(|text| serde_json::from_str(&text).ok()).unwrap_or_default();
        Self { file: file.map(str::to_owned), all }
    }

    /// What is true of a case.
    pub fn truth(&mut self, name: &str, engine: &Engine, model: &CaseModel) -> Truth {
        let key = format!("{name} {:016x}", digest(&format!("{:?} {:?}", model.network, model.observations)));
        if let Some(kept) = self.all.get(&key) {
            let chances = kept["chances"].as_array().expect("chances").iter().filter_map(Value::as_f64).collect();
            return Truth { chances, words: kept["words"].as_str().unwrap_or_default().to_owned() };
        }
        let truth = find(engine, model);
        self.all.insert(key, json!({"chances": truth.chances, "words": truth.words}));
        if let Some(file) = &self.file {
            let mut to = std::fs::File::create(file).expect("the file can be written");
            to.write_all(Value::Object(self.all.clone()).to_string().as_bytes()).expect("the file can be written");
        }
        truth
    }
}

/// FNV-1a.
fn digest(text: &str) -> u64 {
    text.bytes().fold(0xcbf2_9ce4_8422_2325, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3))
}

fn find(engine: &Engine, model: &CaseModel) -> Truth {
    let mut found: Vec<Vec<f64>> = Vec::new();
    for bits in BITS {
        let limits = Limits { cells: 1 << bits, ..Limits::exact() };
        let posterior = engine.posterior(&model.evidence(), &limits).expect("within the limits");
        if *posterior.accuracy() == Accuracy::Exact {
            let words = format!("exact at 2^{:.1}", libm::log2(posterior.cells()));
            return Truth { chances: chances(model, &posterior), words };
        }
        found.push(chances(model, &posterior));
    }
    let apart = found[0].iter().zip(&found[1]).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
    Truth { chances: found.swap_remove(1), words: format!("within {apart:.0e} or so") }
}
