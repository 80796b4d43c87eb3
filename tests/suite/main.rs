//! The one integration binary: what is checked from outside the crate.

#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_precision_loss,
    reason = "tests count things in far fewer than 2^32"
)]
#![expect(clippy::disallowed_methods, reason = "what a test works out by hand is compared within a tolerance")]
#![expect(clippy::print_stdout, reason = "what a test measured is read with --nocapture")]

mod accessible;
mod advice_property;
mod authors;
mod browser;
mod calc;
mod calls;
mod case_model;
mod case_text;
mod cases;
mod chart;
mod chromium;
mod cli;
mod coverage;
mod directions;
mod docs;
mod drill;
mod drill_skill;
mod epochs;
mod explanations;
mod found_at_hand;
mod fuzz;
mod hand_over;
mod handbook;
mod handheld;
mod http_fuzz;
mod inference_best;
mod inference_cut;
mod inference_deep;
mod inference_oracle;
mod inference_prepared;
mod inference_property;
mod inference_published;
mod inference_repair;
mod interview;
mod knowledge_files;
mod knowledge_hostile;
mod knowledge_shared;
mod layers;
mod locked;
mod logbook;
mod logbook_learning;
mod minutes;
mod optimum;
mod optimum_networks;
mod oracle_network;
mod page;
mod plan_hands;
mod plan_ignition;
mod plan_order;
mod plan_property;
mod plan_shut;
mod plan_worked;
mod published_decision;
mod put_back;
mod random_keys;
mod random_network;
mod repairs_whole;
mod rooms;
mod schema;
mod search;
mod serve;
mod shop_sense;
mod small_base;
mod small_engine;
mod small_network;
mod splits;
mod terminal;
mod trial;
mod two_repairs;
mod unlisted;
mod vet;
mod watercraft;
mod what_if;
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
