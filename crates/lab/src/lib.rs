//! The developers' program of Kickplate: what no rink needs.
//!
//! Takes: clips, with exact truth where they are scored.
//! Gives: how right the station is ([`score`]), how fast a machine is
//! ([`bench`]), what the pose models read of a real person ([`people`]), what grows in a long
//! run ([`soak`]), whether a knocked camera is noticed ([`knock`]).
//! Fails: with one sentence that names the thing and the remedy.

pub mod bench;
pub mod knock;
pub mod manual;
pub mod people;
pub mod score;
pub mod soak;
mod stages;
