//! The one integration binary: what is checked against the world outside.

mod case_model;
mod inference_oracle;
mod inference_property;
mod inference_published;
mod oracle_network;
mod random_network;
mod small_base;
mod small_network;
mod watercraft;
mod world_oracle;
