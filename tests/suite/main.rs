//! The one integration binary: what is checked against the world outside.

mod inference_property;
mod random_network;
