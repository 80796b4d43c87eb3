//! The one integration binary: what is checked from outside the crate.

mod advice_property;
mod case_model;
mod case_text;
mod cli;
mod handbook;
mod inference_oracle;
mod inference_property;
mod inference_published;
mod interview;
mod knowledge_files;
mod knowledge_hostile;
mod oracle_network;
mod plan_property;
mod plan_worked;
mod published_decision;
mod random_network;
mod small_base;
mod small_engine;
mod small_network;
mod watercraft;
mod worked_cases;
mod world_oracle;

/// A file in this folder that no `mod` names would be tested by nobody.
#[test]
fn no_file_is_forgotten() {
    let main = include_str!("main.rs");
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/suite");
    for entry in std::fs::read_dir(folder).expect("the folder of this file") {
        let name = entry.expect("an entry").file_name().into_string().expect("a name in UTF-8");
        if let Some(stem) = name.strip_suffix(".rs").filter(|stem| *stem != "main") {
            assert!(main.contains(&format!("mod {stem};")), "tests/suite/{name} is not in main.rs");
        }
    }
}
mod terminal;
