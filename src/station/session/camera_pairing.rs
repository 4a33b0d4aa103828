//! A second camera on the lane: its passes are put to the first one's before
//! anything is said.
//!
//! Takes: measured passes of the first camera, and a [`CameraPipeline`].
//! Gives: complete passes ([`Complete`]) as soon as nothing can be added.
//! Fails: never; a second camera that is missing is not waited for.

use std::path::PathBuf;
use std::time::Instant;

use super::pass_judge::{Complete, MeasuredPass};
use crate::capture::{CameraRequest, FeedStatus, Pace, SourceSpec};
use crate::config::Lane;
use crate::multi_camera::{Matcher, Presence, Span, Watch};
use crate::station::settings::choices::{EngineChoice, ModelChoice};
use crate::station::settings::second_camera::SecondCamera;
use crate::station::vision::camera_pipeline::{
    CameraPipeline, PipelineSettings, SeenPass, since_epoch_s,
};
use crate::track::{Pass, TrackSettings};

/// Added to the second camera's track numbers, so that a number stays unique
/// in a session.
const SECOND_TRACKS: u32 = 1 << 24;

/// Where a second camera's passes come from.
pub trait SecondSource: Send {
    /// The passes that ended since the last call.
    fn take(&self) -> Vec<SeenPass>;
    /// What the camera sees at the moment.
    fn watch(&self) -> Watch;
    /// How its pictures come in; `None` before it is opened.
    fn status(&self) -> Option<FeedStatus>;
    /// Whether the camera was moved: it gives no passes then.
    fn moved(&self) -> bool {
        false
    }
}

impl SecondSource for CameraPipeline {
    fn take(&self) -> Vec<SeenPass> {
        CameraPipeline::take(self)
    }

    fn watch(&self) -> Watch {
        CameraPipeline::watch(self)
    }

    fn status(&self) -> Option<FeedStatus> {
        CameraPipeline::status(self)
    }

    fn moved(&self) -> bool {
        CameraPipeline::moved(self)
    }
}

/// What a second camera is started with.
#[derive(Debug, Clone)]
pub struct SecondStart {
    /// Folder of the models.
    pub home: PathBuf,
    /// The pose model.
    pub model: ModelChoice,
    /// The inference engine.
    pub engine: EngineChoice,
}

/// Both cameras of a lane.
pub struct CameraPairing {
    source: Box<dyn SecondSource>,
    setup: (SecondCamera, Lane),
    epoch: Instant,
    matcher: Matcher,
    /// Passes of the first camera since the last look at the clock.
    fresh: Vec<MeasuredPass>,
    first: Vec<(u64, MeasuredPass)>,
    second: Vec<(u64, SeenPass)>,
    /// Who is passing before the first camera.
    passing: Presence,
    next_key: u64,
}

impl CameraPairing {
    /// Puts a second camera beside the first; `setup` is which it is and
    /// how it stands, `epoch` second 0 of the clock it was started with.
    pub fn new(source: Box<dyn SecondSource>, setup: (SecondCamera, Lane), epoch: Instant) -> Self {
        CameraPairing {
            source,
            setup,
            epoch,
            matcher: Matcher::new(),
            fresh: Vec::new(),
            first: Vec::new(),
            second: Vec::new(),
            passing: Presence::default(),
            next_key: 0,
        }
    }

    /// Starts a second camera on a thread of its own. `None` where the system
    /// gives none: the station goes on with one camera, and the log says so.
    pub fn start(
        start: &SecondStart,
        setup: (SecondCamera, Lane),
        track: TrackSettings,
    ) -> Option<Self> {
        let epoch = Instant::now();
        let (camera, lane) = &setup;
        let pipeline = CameraPipeline::start(PipelineSettings {
            home: start.home.clone(),
            model: start.model,
            engine: start.engine,
            source: SourceSpec::Camera(CameraRequest {
                id: Some(camera.id.clone()),
                width: camera.width,
                height: camera.height,
                fps: camera.fps,
                ..CameraRequest::default()
            }),
            pace: Pace::Live { repeat: false },
            lane: lane.clone(),
            track,
            epoch,
        });
        match pipeline {
            Ok(pipeline) => Some(Self::new(Box::new(pipeline), setup, epoch)),
            Err(error) => {
                tracing::error!(%error, "the second camera is not used: its thread did not start");
                None
            }
        }
    }

    /// Which camera it is and how it stands.
    pub fn setup(&self) -> &(SecondCamera, Lane) {
        &self.setup
    }

    /// How the second camera's pictures come in.
    pub fn status(&self) -> Option<FeedStatus> {
        self.source.status()
    }

    /// Whether the second camera was moved.
    pub fn moved(&self) -> bool {
        self.source.moved()
    }

    /// How the second camera stands.
    pub fn lane(&self) -> &Lane {
        &self.setup.1
    }

    /// A pass of the first camera that is measured and not spoken about.
    pub fn hold(&mut self, measured: MeasuredPass) {
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
        let groups = self.matcher.due(now_s, [first, self.source.watch()]);
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
        for seen in self.source.take() {
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
                        let seen = self.second.remove(i).1;
                        let read_by = seen.read_by;
                        second = Some((on_first_clock(seen, to_station_s), read_by));
                    }
                }
                match (first, second) {
                    (Some(first), Some((second, read_by))) => {
                        Some(Complete::Both(first, second, read_by))
                    }
                    (Some(first), None) => Some(Complete::First(first)),
                    (None, Some((second, read_by))) => Some(Complete::Second(second, read_by)),
                    (None, None) => None,
                }
            })
            .collect()
    }
}

fn on_first_clock(seen: SeenPass, to_station_s: f64) -> Box<Pass> {
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
