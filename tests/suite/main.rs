//! The one integration binary: what is checked against the world outside.

mod inference_oracle;
mod inference_property;
mod inference_published;
mod oracle_network;
mod plan_property;
mod plan_worked;
mod random_network;
mod small_network;
mod watercraft;
