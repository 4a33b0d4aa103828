//! A further camera on the same lane: it follows who passes and says nothing.
//!
//! Takes: its camera, its lane file and the model.
//! Gives: its passes with their place on the station's clock
//! ([`CameraPipeline::take`]) and what it sees at the moment
//! ([`CameraPipeline::watch`]).
//! Fails: never for long: a camera that is missing is looked for, a model
//! that cannot be loaded is tried again; until then it sees nobody and nobody
//! waits for it.

use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, Sender, bounded};

use crate::body::bounds;
use crate::capture::{Feed, FeedState, FeedStatus, Pace, SourceSpec, Taken};
use crate::config::Lane;
use crate::multi_camera::{Presence, Watch};
use crate::pose::{Estimator, ModelKind};
use crate::standing::{Standing, StandingWatch};
use crate::station::lock;
use crate::station::settings::choices::{EngineChoice, ModelChoice};
use crate::station::vision::LOAD_AGAIN;
use crate::station::vision::watch::{COMPLAIN_EVERY, SILENT_S, WAIT};
use crate::station::vision::{pose_settings, set_view};
use crate::track::{Pass, TrackEvent, TrackSettings, Tracker};

/// Passes that may wait to be taken: more than a lane gives in a minute.
const QUEUE: usize = 64;
/// How long the end waits for the thread.
const ENDING: Duration = Duration::from_secs(3);

/// What a further camera runs with.
#[derive(Debug, Clone)]
pub struct PipelineSettings {
    /// Folder of the models.
    pub home: PathBuf,
    /// The pose model.
    pub model: ModelChoice,
    /// The inference engine.
    pub engine: EngineChoice,
    /// Where the pictures come from.
    pub source: SourceSpec,
    /// How they come.
    pub pace: Pace,
    /// How this camera stands.
    pub lane: Lane,
    /// When a passing person counts.
    pub track: TrackSettings,
    /// Second 0 of the station's clock.
    pub epoch: Instant,
}

/// A pass as a further camera saw it.
#[derive(Debug, Clone)]
pub struct SeenPass {
    /// The body points; times on that camera's clock.
    pub pass: Box<Pass>,
    /// Seconds to add to those times to get the station's.
    pub to_station_s: f64,
    /// The model that read them.
    pub read_by: ModelKind,
}

/// The thread of a further camera.
pub struct CameraPipeline {
    passes: Receiver<SeenPass>,
    shared: Arc<Shared>,
    thread: Option<JoinHandle<()>>,
}

struct Shared {
    stop: AtomicBool,
    /// The camera was moved.
    moved: AtomicBool,
    watch: Mutex<Watch>,
    status: Mutex<Option<FeedStatus>>,
}

impl CameraPipeline {
    /// Starts the thread.
    ///
    /// # Errors
    /// When the system gives no thread.
    pub fn start(settings: PipelineSettings) -> std::io::Result<Self> {
        let (sender, passes) = bounded(QUEUE);
        let shared = Arc::new(Shared {
            stop: AtomicBool::new(false),
            moved: AtomicBool::new(false),
            watch: Mutex::new(Watch::default()),
            status: Mutex::new(None),
        });
        let thread = thread::Builder::new().name("camera-2".into()).spawn({
            let shared = Arc::clone(&shared);
            move || look(&settings, &shared, &sender)
        })?;
        Ok(CameraPipeline {
            passes,
            shared,
            thread: Some(thread),
        })
    }

    /// The passes that ended since the last call.
    pub fn take(&self) -> Vec<SeenPass> {
        self.passes.try_iter().collect()
    }

    /// What the camera sees at the moment.
    pub fn watch(&self) -> Watch {
        *lock(&self.shared.watch)
    }

    /// Whether the camera was moved: it gives no passes then.
    pub fn moved(&self) -> bool {
        self.shared.moved.load(Ordering::Relaxed)
    }

    /// How its pictures come in; `None` before it is opened.
    pub fn status(&self) -> Option<FeedStatus> {
        lock(&self.shared.status).clone()
    }
}

impl Drop for CameraPipeline {
    fn drop(&mut self) {
        self.shared.stop.store(true, Ordering::Relaxed);
        let Some(thread) = self.thread.take() else {
            return;
        };
        let since = Instant::now();
        while !thread.is_finished() && since.elapsed() < ENDING {
            thread::sleep(Duration::from_millis(10));
        }
        if !thread.is_finished() {
            tracing::error!("a further camera did not end in time; its thread is left behind");
        } else if thread.join().is_err() {
            tracing::error!("the thread of a further camera panicked");
        }
    }
}

fn look(settings: &PipelineSettings, shared: &Shared, passes: &Sender<SeenPass>) {
    let Some(mut estimator) = load(settings, shared) else {
        return;
    };
    set_view(&mut estimator, settings.lane.view);
    let feed = Feed::start(settings.source.clone(), settings.pace, None);
    let mut tracker = Tracker::new(settings.lane.clone(), settings.track);
    let mut complained: Option<Instant> = None;
    let mut presence = Presence::default();
    let mut standing = StandingWatch::new(settings.lane.hfov_deg, None);
    while !shared.stop.load(Ordering::Relaxed) {
        let taken = feed.take(WAIT);
        let status = feed.status();
        let mut ended = false;
        estimator.hurry(feed.is_behind());
        let events = match taken {
            Taken::Frame(frame) => match estimator.process(&frame) {
                Ok(poses) => {
                    standing.frame(&frame, poses.bodies.iter().map(|b| bounds(&b.points)));
                    tracker.push(&poses)
                }
                Err(error) => {
                    if complained.is_none_or(|at| at.elapsed() > COMPLAIN_EVERY) {
                        complained = Some(Instant::now());
                        tracing::error!("the pose model of a further camera failed: {error}");
                    }
                    Vec::new()
                }
            },
            Taken::Nothing if status.last_frame_age_s.unwrap_or(0.0) > SILENT_S => tracker.finish(),
            Taken::Nothing => Vec::new(),
            Taken::Ended => {
                ended = true;
                tracker.finish()
            }
        };
        let moved = standing.standing() == Standing::Moved;
        if shared.moved.swap(moved, Ordering::Relaxed) != moved && moved {
            tracing::warn!(
                "the second camera was moved: nothing is judged by it until it is put back or set up anew"
            );
        }
        for event in events {
            let TrackEvent::PassEnded(pass) = event else {
                continue;
            };
            if standing.is_doubtful_since(pass.started_at_s()) {
                continue;
            }
            let ended_at_s = pass.ended_at_s();
            let Some(captured) = feed.clock().captured_at(ended_at_s) else {
                continue;
            };
            let seen = SeenPass {
                to_station_s: since_epoch_s(settings.epoch, captured) - ended_at_s,
                pass,
                read_by: estimator.model(),
            };
            if passes.try_send(seen).is_err() {
                tracing::error!("a pass of a further camera could not be handed on");
            }
        }
        let now_s = since_epoch_s(settings.epoch, Instant::now());
        let ids: Vec<u32> = tracker.passing().collect();
        *lock(&shared.watch) = Watch {
            passing_since_s: presence.since(&ids, now_s),
            // Nobody waits for passes that are not given.
            live: status.state == FeedState::Live && !moved,
        };
        *lock(&shared.status) = Some(status);
        if ended {
            break;
        }
    }
    *lock(&shared.watch) = Watch::default();
    feed.stop();
}

fn load(settings: &PipelineSettings, shared: &Shared) -> Option<Estimator> {
    loop {
        match Estimator::new(
            &settings.home,
            pose_settings(settings.model, settings.engine),
        ) {
            Ok(estimator) => return Some(estimator),
            Err(error) => tracing::error!("a further camera cannot be used yet: {error}"),
        }
        let since = Instant::now();
        while since.elapsed() < LOAD_AGAIN {
            if shared.stop.load(Ordering::Relaxed) {
                return None;
            }
            thread::sleep(Duration::from_millis(50));
        }
    }
}

/// Seconds from the station's second 0 to a moment; negative before it.
pub fn since_epoch_s(epoch: Instant, at: Instant) -> f64 {
    match at.checked_duration_since(epoch) {
        Some(after) => after.as_secs_f64(),
        None => -(epoch - at).as_secs_f64(),
    }
}
