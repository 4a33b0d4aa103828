//! Settings: files a person can edit, resolved into validated types.
//!
//! Takes: TOML text (a lane, the age groups, the station).
//! Gives: [`Lane`], [`AgeGroups`], [`StationSettings`]; the running program
//! only ever sees these, as one immutable snapshot.
//! Fails: with a [`ConfigError`] that names file, line and key, and says what
//! would be right. Nothing is half-applied.

mod lane;
pub use lane::{Lane, Travel, View};
