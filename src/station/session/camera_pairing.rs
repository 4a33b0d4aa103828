//! A second camera on the lane: its passes are put to the first one's before
//! anything is said.
//!
//! Takes: measured passes of the first camera, and a [`FurtherEye`].
//! Gives: complete passes ([`Complete`]) as soon as nothing can be added.
//! Fails: never; a second camera that is missing is not waited for.

use std::time::Instant;

use crate::config::Lane;
use crate::multi_camera::{Matcher, Presence, Span, Watch};
use crate::station::session::analyser::Measured;
use crate::station::vision::camera_pipeline::{EyePass, FurtherEye, since_epoch_s};
use crate::track::Pass;

/// Added to the second camera's track numbers, so that a number stays unique
/// in a session.
const SECOND_TRACKS: u32 = 1 << 24;

/// A pass that is complete. The second camera's points are on the first
/// one's clock.
pub enum Complete {
    /// Only the first camera saw it.
    First(Box<Measured>),
    /// Both saw it.
    Both(Box<Measured>, Box<Pass>),
    /// Only the second camera saw it.
    Second(Box<Pass>),
}

/// Where a second camera's passes come from.
pub trait Eye: Send {
    /// The passes that ended since the last call.
    fn take(&self) -> Vec<EyePass>;
    /// What the camera sees at the moment.
    fn watch(&self) -> Watch;
}

impl Eye for FurtherEye {
    fn take(&self) -> Vec<EyePass> {
        FurtherEye::take(self)
    }

    fn watch(&self) -> Watch {
        FurtherEye::watch(self)
    }
}

/// Both cameras of a lane.
pub struct Second {
    eye: Box<dyn Eye>,
    lane: Lane,
    epoch: Instant,
    matcher: Matcher,
    /// Passes of the first camera since the last look at the clock.
    fresh: Vec<Measured>,
    first: Vec<(u64, Measured)>,
    second: Vec<(u64, EyePass)>,
    /// Who is passing before the first camera.
    passing: Presence,
    next_key: u64,
}

impl Second {
    /// Puts a second camera beside the first; `lane` is how it stands and
    /// `epoch` second 0 of the clock the eye was started with.
    pub fn new(eye: Box<dyn Eye>, lane: Lane, epoch: Instant) -> Self {
        Second {
            eye,
            lane,
            epoch,
            matcher: Matcher::new(),
            fresh: Vec::new(),
            first: Vec::new(),
            second: Vec::new(),
            passing: Presence::default(),
            next_key: 0,
        }
    }

    /// How the second camera stands.
    pub fn lane(&self) -> &Lane {
        &self.lane
    }

    /// A pass of the first camera that is measured and not spoken about.
    pub fn hold(&mut self, measured: Measured) {
        self.fresh.push(measured);
    }

    /// Passes that are complete now. `origin` is second 0 of the first
    /// camera's clock, `live` whether it gives pictures, `passing` the tracks
    /// before it.
    pub fn due(&mut self, origin: Option<Instant>, live: bool, passing: &[u32]) -> Vec<Complete> {
        let to_station_s = self.take_in(origin);
        let now_s = since_epoch_s(self.epoch, Instant::now());
        let first = Watch {
            passing_since_s: self.passing.since(passing, now_s),
            live,
        };
        let groups = self.matcher.due(now_s, [first, self.eye.watch()]);
        self.complete(groups, to_station_s)
    }

    /// Everything that still waits: the station ends.
    pub fn finish(&mut self, origin: Option<Instant>) -> Vec<Complete> {
        let to_station_s = self.take_in(origin);
        let groups = self.matcher.finish();
        self.complete(groups, to_station_s)
    }

    /// Takes in what came since the last call. Gives what has to be added to
    /// the first camera's times to get the station's.
    fn take_in(&mut self, origin: Option<Instant>) -> f64 {
        let to_station_s = origin.map_or(0.0, |origin| since_epoch_s(self.epoch, origin));
        for measured in std::mem::take(&mut self.fresh) {
            let key = self.key();
            self.matcher.push(Span {
                camera: 0,
                key,
                started_at_s: measured.pass.started_at_s + to_station_s,
                ended_at_s: measured.pass.ended_at_s + to_station_s,
            });
            self.first.push((key, measured));
        }
        for seen in self.eye.take() {
            let key = self.key();
            self.matcher.push(Span {
                camera: 1,
                key,
                started_at_s: seen.pass.started_at_s() + seen.to_station_s,
                ended_at_s: seen.pass.ended_at_s() + seen.to_station_s,
            });
            self.second.push((key, seen));
        }
        to_station_s
    }

    fn key(&mut self) -> u64 {
        self.next_key += 1;
        self.next_key
    }

    fn complete(&mut self, groups: Vec<Vec<Span>>, to_station_s: f64) -> Vec<Complete> {
        groups
            .into_iter()
            .filter_map(|group| {
                let (mut first, mut second) = (None, None);
                for span in group {
                    if let Some(i) = self.first.iter().position(|(k, _)| *k == span.key) {
                        first = Some(Box::new(self.first.remove(i).1));
                    } else if let Some(i) = self.second.iter().position(|(k, _)| *k == span.key) {
                        second = Some(on_first_clock(self.second.remove(i).1, to_station_s));
                    }
                }
                match (first, second) {
                    (Some(first), Some(second)) => Some(Complete::Both(first, second)),
                    (Some(first), None) => Some(Complete::First(first)),
                    (None, Some(second)) => Some(Complete::Second(second)),
                    (None, None) => None,
                }
            })
            .collect()
    }
}

fn on_first_clock(seen: EyePass, to_station_s: f64) -> Box<Pass> {
    let mut pass = seen.pass;
    for sample in &mut pass.samples {
        sample.t_s += seen.to_station_s - to_station_s;
    }
    pass.track_id = pass.track_id.saturating_add(SECOND_TRACKS);
    pass
}

#[cfg(test)]
#[path = "camera_pairing_tests.rs"]
mod tests;
