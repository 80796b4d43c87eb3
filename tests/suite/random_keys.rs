//! Whatever keys are pressed: no panic, no line wider than the window, no case that cannot be read again, no terminal
//! left broken.

use crate::small_engine::{at_bench, knowledge, new_case, noon};
use dialoguer::console::Key as Pressed;
use doldrum::access::OpenSet;
use doldrum::case::{Case, text};
use doldrum::decision::Action;
use doldrum::interview::advisor::{Advisor, Known, View};
use doldrum::interview::screen::Screen;
use doldrum::interview::step::Bench;
use doldrum::interview::terminal::{Played, Window};
use doldrum::interview::{Ask, Keep, Reply, run};
use doldrum::knowledge::Knowledge;
use doldrum::report::{Document, Paint};
use doldrum::safety::{OpenHazard, Verdict};
use doldrum::units::{Minutes, Money};
use jiff::Timestamp;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::io;

/// So many sequences of so many keys.
const SEQUENCES: u64 = 1000;
const KEYS: usize = 24;

/// Remembers what was asked: random keys come by the same cases again and again.
struct Remembering<'a> {
    inner: &'a dyn Advisor,
    knowledge: &'a Knowledge,
    looks: RefCell<BTreeMap<String, Result<View, String>>>,
    known: RefCell<BTreeMap<String, Result<Known, String>>>,
}

impl Advisor for Remembering<'_> {
    fn look(&self, case: &Case, now: Option<Timestamp>) -> Result<View, String> {
        let key = text::write(case, self.knowledge);
        let had = self.looks.borrow().get(&key).cloned();
        had.unwrap_or_else(|| {
            let view = self.inner.look(case, now);
            self.looks.borrow_mut().insert(key, view.clone());
            view
        })
    }
    fn hazards(&self, case: &Case, now: Option<Timestamp>) -> Vec<OpenHazard> {
        self.inner.hazards(case, now)
    }
    fn open(&self, case: &Case) -> OpenSet {
        self.inner.open(case)
    }
    fn judge(&self, case: &Case, action: &Action, now: Option<Timestamp>) -> Verdict {
        self.inner.judge(case, action, now)
    }
    fn step_cost(&self, case: &Case, action: &Action) -> (Minutes, Money) {
        self.inner.step_cost(case, action)
    }
    fn known(&self, case: &Case) -> Result<Known, String> {
        let key = text::write(case, self.knowledge);
        let had = self.known.borrow().get(&key).cloned();
        had.unwrap_or_else(|| {
            let known = self.inner.known(case);
            self.known.borrow_mut().insert(key, known.clone());
            known
        })
    }
    fn plan(&self, _: &Case, _: Option<Timestamp>) -> Result<Document, String> {
        let mut document = Document::new();
        document.title("Work order");
        Ok(document)
    }
}

/// Reads every case it is given to keep.
struct Reads<'a> {
    knowledge: &'a Knowledge,
    kept: usize,
}

impl Keep for Reads<'_> {
    type Error = io::Error;
    fn keep(&mut self, case: &Case, written: &str) -> io::Result<Option<String>> {
        let (again, findings) = text::read("case.yaml", written, self.knowledge);
        assert!(again.as_ref() == Some(case), "it reads back as another case:\n{written}\n{:?}", findings.sorted());
        self.kept += 1;
        Ok(None)
    }
    fn keep_plan(&mut self, _: &Document) -> io::Result<String> {
        Ok("The work order is written.".to_owned())
    }
}

/// A played window that looks at every frame it shows.
struct Watched<K>(Played<K>, Window);

impl<K: Iterator<Item = Pressed>> Ask for Watched<K> {
    fn ask(&mut self, screen: &Screen) -> io::Result<Reply> {
        let reply = self.0.ask(screen)?;
        let wide = self.0.shown.iter().find(|line| line.chars().count() > self.1.columns.max(41));
        assert!(wide.is_none(), "wider than {}: {wide:?}", self.1.columns);
        Ok(reply)
    }
}

fn below(random: &mut ChaCha8Rng, n: usize) -> usize {
    random.next_u32() as usize % n
}

fn pressed(random: &mut ChaCha8Rng) -> Pressed {
    const LETTERS: &[u8] = b"bbrcnodpthxeswgiak?m#tttm Q%";
    let kind = below(random, 100);
    let which = below(random, LETTERS.len());
    match kind {
        0..=39 => Pressed::Char(['1', '2', '3', '4'][which % 4]),
        40..=69 => Pressed::Char(char::from(LETTERS[which])),
        70..=84 => Pressed::Enter,
        85..=87 => Pressed::Escape,
        88..=89 => Pressed::Backspace,
        90..=91 => Pressed::ArrowDown,
        92 => Pressed::ArrowUp,
        93 => Pressed::PageDown,
        94 => Pressed::Tab,
        95 => Pressed::Unknown,
        96 => Pressed::Char('\u{e9}'),
        97 => Pressed::Char('='),
        98 => Pressed::Char('9'),
        _ => Pressed::Char('!'),
    }
}

#[test]
fn a_thousand_random_sequences_of_keys() {
    let knowledge = knowledge();
    let started = text::read(
        "case.yaml",
        "format: 1\nknowledge: {id: small-engine}\nsymptoms: [sy-no-start]\nlog:\n  - {check: ck-smell, outcome: none, \
         aired: 10 min}\n",
        &knowledge,
    );
    let started = started.0.expect("a case");
    let sizes = [(80, 24), (40, 24), (100, 30), (132, 50), (20, 5)];
    at_bench(&knowledge, |bench| {
        let remembering = Remembering {
            inner: bench.advisor,
            knowledge: &knowledge,
            looks: RefCell::default(),
            known: RefCell::default(),
        };
        let bench = Bench {
            knowledge: &knowledge,
            graph: bench.graph,
            advisor: &remembering,
            figures: bench.figures,
            layout_known: false,
        };
        let (mut ended, mut kept) = (0, 0);
        for seed in 0..SEQUENCES {
            let mut random = ChaCha8Rng::seed_from_u64(seed);
            // The way through the intake is known from elsewhere; most begin on the bench, past the sniff.
            let (case, lead) = if seed % 4 == 0 {
                (new_case(&knowledge), Vec::new())
            } else {
                (started.clone(), vec![Pressed::Char('t'), Pressed::Char('1')])
            };
            let keys: Vec<Pressed> = lead.into_iter().chain((0..KEYS).map(|_| pressed(&mut random))).collect();
            let (columns, rows) = sizes[usize::try_from(seed).expect("small") % sizes.len()];
            let window = Window { columns, rows, paint: Paint::Plain };
            let mut asks = Watched(Played::new(window, keys.into_iter()), window);
            let mut keep = Reads { knowledge: &knowledge, kept: 0 };
            let finished = run(&bench, case, &mut asks, &mut keep, &noon).expect("nothing fails");
            ended += usize::from(finished.end.is_some());
            kept += keep.kept;
        }
        assert_eq!(ended, 1000, "every one comes to an end");
        assert!(kept > 2000, "only {kept} cases were kept: the keys lead nowhere");
    });
}
