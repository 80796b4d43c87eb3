//! Files made to break the reader: an error within a second, and no panic.
//!
//! A second of an idle machine, that is; tests share its cores, so the limit here is longer.

use super::knowledge_files::{small, small_with};
use doldrum::knowledge::read;
use proptest::prelude::*;
use std::fmt::Write as _;
use std::time::{Duration, Instant};

const SOON: Duration = Duration::from_secs(6);

/// Reads a small knowledge base with this file in it; there must be an error with one of these codes, soon.
fn refused(name: &str, bytes: &[u8], codes: &[&str]) {
    let start = Instant::now();
    let (knowledge, findings) = read(&small_with(name, bytes));
    let took = start.elapsed();
    assert!(knowledge.is_none(), "{name} was taken");
    let findings = findings.sorted();
    assert!(
        findings.iter().any(|f| codes.contains(&f.code)),
        "expected one of {codes:?}, found {:?}",
        findings.first()
    );
    assert!(took < SOON, "took {took:?}");
    let longest = findings.iter().map(|f| f.to_string().len()).max().unwrap_or(0);
    assert!(longest < 5_000, "a message of {longest} bytes");
}

#[test]
fn aliases_that_unfold_to_billions() {
    let mut text = "- &a0 [x, x, x, x, x, x, x, x, x, x]\n".to_owned();
    for level in 1..12 {
        let below = format!("*a{}", level - 1);
        writeln!(text, "- &a{level} [{}]", vec![below; 10].join(", ")).expect("a string takes all");
    }
    refused("causes/more.yaml", text.as_bytes(), &["K009"]);
    refused("craft.yaml", text.as_bytes(), &["K009"]);
}

#[test]
fn brackets_without_end() {
    refused("causes/more.yaml", &b"[".repeat(100_000), &["K009", "K002"]);
    refused("causes/more.yaml", &b"{a: ".repeat(100_000), &["K009", "K002"]);
    refused("causes/more.yaml", &b"- ".repeat(100_000), &["K009", "K002"]);
    refused("causes/more.yaml", &b"? ".repeat(100_000), &["K009", "K002"]);
}

#[test]
fn a_line_of_fifty_megabytes() {
    refused("causes/more.yaml", &b"x".repeat(50 << 20), &["K009"]);
}

#[test]
fn lines_of_a_few_megabytes() {
    refused("causes/more.yaml", &b"x".repeat(4 << 20), &["K005"]);
    refused("causes/more.yaml", &[b"- id: ".to_vec(), b"x".repeat(4_000_000)].concat(), &["K004"]);
    let id = [&b"- {title: T, rate: 1, basis: estimate, id: "[..], &b"Xy".repeat(2_000_000), b"}"].concat();
    refused("causes/more.yaml", &id, &["K011"]);
    let key = [&b"- {"[..], &b"k".repeat(100_000), b": 1}"].concat();
    refused("causes/more.yaml", &key, &["K003", "K002"]);
    let keys = (0..60_000).map(|n| format!("k{n}: 1")).collect::<Vec<_>>().join(", ");
    refused("causes/more.yaml", format!("- {{{keys}}}").as_bytes(), &["K003"]);
}

#[test]
fn more_files_or_bytes_than_any_knowledge_base() {
    let files: Vec<_> = (0..20).map(|n| (format!("causes/{n}.yaml"), b" ".repeat(2 << 20))).collect();
    assert!(read(&files).0.is_none());
    let files: Vec<_> = (0..5_000).map(|n| (format!("causes/{n}.yaml"), Vec::new())).collect();
    assert!(read(&files).0.is_none());
}

#[test]
fn bytes_that_are_no_text() {
    refused("causes/more.yaml", b"- id: a\0b\n", &["K001"]);
    refused("causes/more.yaml", &[0xff; 1000], &["K001"]);
    refused("causes/more.yaml", b"- id: \xc3\x28\n", &["K001"]);
    refused("causes/more.yaml", b"\xff\xfe-\0 \0", &["K001"]);
    refused("causes/more.yaml", "\u{feff}- {}".as_bytes(), &["K001"]);
}

#[test]
fn thousands_of_faults() {
    let item = |n: usize| {
        format!("- {{id: e-{n}, title: E, any: [{{from: tank-emty-{n}, strength: 1}}], leak: 0, basis: estimate}}\n")
    };
    let text: String = (0..5_000).map(item).collect();
    refused("effects/more.yaml", text.as_bytes(), &["K014"]);
    let text = "- {id: e, title: E}\n".repeat(5_000);
    refused("effects/more.yaml", text.as_bytes(), &["K004"]);
}

#[test]
fn a_long_chain_of_effects() {
    let item = |n: usize| {
        format!(
            "- {{id: e-{n}, title: E, any: [{{from: e-{}, strength: 1}}], leak: 0, basis: estimate}}\n",
            (n + 1) % 4_000
        )
    };
    let text: String = (0..4_000).map(item).collect();
    let start = Instant::now();
    let (knowledge, findings) = read(&small_with("effects/more.yaml", text.as_bytes()));
    assert!(knowledge.is_none());
    let findings = findings.sorted();
    assert!(findings.iter().any(|f| f.code == "K032" && f.message.len() < 2_000));
    assert!(start.elapsed() < SOON);
}

/// A way to spoil bytes.
#[derive(Clone, Debug)]
pub enum Spoil {
    Put(usize, u8),
    Drop(usize, usize),
    Copy(usize, usize, usize),
    Insert(usize, String),
}

pub fn spoil() -> impl Strategy<Value = Spoil> {
    let words = prop::sample::select(vec![
        "*a",
        "&a ",
        "- ",
        ": ",
        "{",
        "}",
        "[",
        "]",
        "\n",
        "  ",
        "'",
        "\"",
        "|",
        ">",
        "!!str ",
        "<<: ",
        ".nan",
        "-1",
        "1e999",
        "null",
        "~",
        "id: x",
        "\t",
        "---\n",
        "%YAML 9\n",
        "é",
        "\u{2028}",
        "0",
        "true",
    ]);
    prop_oneof![
        (any::<usize>(), any::<u8>()).prop_map(|(at, byte)| Spoil::Put(at, byte)),
        (any::<usize>(), 1usize..40).prop_map(|(at, length)| Spoil::Drop(at, length)),
        (any::<usize>(), any::<usize>(), 1usize..200).prop_map(|(from, to, length)| Spoil::Copy(from, to, length)),
        (any::<usize>(), words).prop_map(|(at, word)| Spoil::Insert(at, word.to_owned())),
    ]
}

pub fn spoiled(mut bytes: Vec<u8>, ways: &[Spoil]) -> Vec<u8> {
    for way in ways {
        let length = bytes.len().max(1);
        match way {
            Spoil::Put(at, byte) if !bytes.is_empty() => bytes[at % length] = *byte,
            Spoil::Put(..) => {}
            Spoil::Drop(at, count) => {
                let at = at % length;
                bytes.drain(at.min(bytes.len())..(at + count).min(bytes.len()));
            }
            Spoil::Copy(from, to, count) => {
                let from = from % length;
                let part = bytes[from.min(bytes.len())..(from + count).min(bytes.len())].to_vec();
                let to = (to % length).min(bytes.len());
                bytes.splice(to..to, part);
            }
            Spoil::Insert(at, word) => {
                let at = (at % length).min(bytes.len());
                bytes.splice(at..at, word.bytes());
            }
        }
    }
    bytes
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, ..ProptestConfig::default() })]

    /// Whatever is done to a good file, it is read or refused; every finding has a place in a file that is there.
    #[test]
    fn no_change_to_a_good_file_makes_it_panic(file in 0usize..14, ways in prop::collection::vec(spoil(), 1..8)) {
        let mut files = small();
        let file = file % files.len();
        files[file].1 = spoiled(std::mem::take(&mut files[file].1), &ways);
        let (knowledge, findings) = read(&files);
        prop_assert_eq!(knowledge.is_none(), findings.any_error());
        for finding in findings.sorted() {
            prop_assert!(files.iter().any(|(name, _)| *name == finding.place.file), "{}", finding);
            prop_assert!(!finding.message.is_empty() && !finding.message.contains('\n'), "{}", finding);
        }
    }
}
