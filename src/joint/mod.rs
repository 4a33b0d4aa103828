//! Several cameras on one lane: passes of one skater become one pass.
//!
//! Takes: judged passes of each camera as they end ([`Seen`]), with what has
//! to be added to that source's times to get the station's.
//! Gives: [`JudgedPass`]es in which every quantity stands as the camera saw it
//! that sees it best, once for each skater that went through.
//! Fails: never. A pass that only one camera saw stays as it is; where two
//! cameras contradict each other about which leg pushed, the first camera's
//! pass stays alone and says so.
//!
//! Pure: no I/O, no clock, no threads; time comes in with the passes. Nobody
//! is recognised: passes belong together because they were in the same lane
//! at the same time, in the same order.

mod matcher;
mod merge;

pub use matcher::{Matcher, Watch};
pub use merge::{merge, with_thresholds};

use crate::rules::JudgedPass;

/// A pass as one camera judged it.
#[derive(Debug, Clone, PartialEq)]
pub struct Seen {
    /// Which camera, counted from 0.
    pub camera: usize,
    /// What it saw; times on its source's clock.
    pub pass: JudgedPass,
    /// Seconds to add to that clock to get the station's.
    pub to_station_s: f64,
}

impl Seen {
    /// First sample, seconds on the station's clock.
    pub fn started_at_s(&self) -> f64 {
        self.pass.started_at_s + self.to_station_s
    }

    /// Last sample, seconds on the station's clock.
    pub fn ended_at_s(&self) -> f64 {
        self.pass.ended_at_s + self.to_station_s
    }
}

#[cfg(test)]
mod tests;
