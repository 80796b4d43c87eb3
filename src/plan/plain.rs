//! Quantities in JSON: plain numbers and words.

use super::words;
use crate::knowledge::{Phase, Signal};
use crate::units::{Measure, Minutes, Money, Unit};
use serde::{Serialize, Serializer};

// Quantities as plain numbers: serde hands the field over by reference.
#[expect(clippy::trivially_copy_pass_by_ref, reason = "the shape serde asks for")]
pub fn minutes<S: Serializer>(value: &Minutes, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_f64(value.get())
}
#[expect(clippy::ref_option, reason = "the shape serde asks for")]
pub fn maybe_minutes<S: Serializer>(value: &Option<Minutes>, to: S) -> Result<S::Ok, S::Error> {
    value.map(Minutes::get).serialize(to)
}
#[expect(clippy::trivially_copy_pass_by_ref, reason = "the shape serde asks for")]
pub fn money<S: Serializer>(value: &Money, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_f64(value.get())
}
#[expect(clippy::trivially_copy_pass_by_ref, reason = "the shape serde asks for")]
pub fn signal<S: Serializer>(value: &Signal, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_str(value.word())
}
#[expect(clippy::trivially_copy_pass_by_ref, reason = "the shape serde asks for")]
pub fn phase<S: Serializer>(value: &Phase, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_str(words::phase_id(*value))
}
#[expect(clippy::trivially_copy_pass_by_ref, reason = "the shape serde asks for")]
#[expect(clippy::ref_option, reason = "the shape serde asks for")]
pub fn unit<S: Serializer>(value: &Option<Unit>, to: S) -> Result<S::Ok, S::Error> {
    value.map(Unit::symbol).serialize(to)
}
#[expect(clippy::ref_option, reason = "the shape serde asks for")]
pub fn measure<S: Serializer>(value: &Option<Measure>, to: S) -> Result<S::Ok, S::Error> {
    value.map(|m| m.to_string()).serialize(to)
}
