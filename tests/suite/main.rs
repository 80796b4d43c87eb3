//! The one integration binary: what is checked against the world outside.

mod case_text;
mod cli;
mod inference_oracle;
mod inference_property;
mod inference_published;
mod interview;
mod oracle_network;
mod random_network;
mod small_engine;
mod small_network;
mod terminal;
