//! The one integration binary: what is checked against the world outside.

mod advice_property;
mod case_model;
mod handbook;
mod inference_oracle;
mod inference_property;
mod inference_published;
mod oracle_network;
mod published_decision;
mod random_network;
mod small_base;
mod small_network;
mod watercraft;
mod worked_cases;
mod world_oracle;
