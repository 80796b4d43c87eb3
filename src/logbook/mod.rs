//! The shop's memory: closed jobs as records, and what they teach.
//!
//! A job is closed ([`closing`]) into a [`record::Record`]: its case as it stood, what was confirmed, what it took. Many
//! of them are counted ([`summary`]) and learned from ([`learn`]): how common causes are, and what checks show. What is
//! learned is an [`overlay::Overlay`], numbers before and after, laid over a knowledge base and never written into it.
//! Records go to and from text in [`exchange`]; where they are kept is for the store.

pub mod closing;
pub mod codes;
pub mod conjugate;
pub mod evidence;
pub mod exchange;
pub mod learn;
pub mod overlay;
pub mod record;
pub mod summary;
