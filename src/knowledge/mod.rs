//! The knowledge base: YAML shapes, the checked knowledge, and one craft laid out.

pub mod raw;
