//! A further camera on the same lane: it measures and says nothing.
//!
//! Takes: its camera, its lane file and the model.
//! Gives: its judged passes on the station's clock ([`FurtherEye::take`]) and
//! what it sees at the moment ([`FurtherEye::watch`]).
//! Fails: never for long: a camera that is missing is looked for, a model
//! that cannot be loaded is tried again; until then it sees nobody and nobody
//! waits for it.

use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, Sender, bounded};

use super::analyser::pose_settings;
use super::{EngineChoice, ModelChoice};
use crate::capture::{Feed, FeedState, FeedStatus, Pace, SourceSpec, Taken};
use crate::config::Lane;
use crate::joint::{Seen, Watch};
use crate::pose::Estimator;
use crate::rules::{Thresholds, judge};
use crate::stride::cut;
use crate::track::{TrackEvent, TrackSettings, Tracker};

/// Longest wait for a frame before the end of the program is looked for.
const WAIT: Duration = Duration::from_millis(100);
/// Pause before the model is loaded again after a fault.
const LOAD_AGAIN: Duration = Duration::from_secs(5);
/// Without a frame for this long, seconds, open passes end.
const SILENT_S: f64 = 0.5;
/// A fault of the engine is logged at most this often.
const COMPLAIN_EVERY: Duration = Duration::from_secs(10);
/// Passes that may wait to be taken: more than a lane gives in a minute.
const QUEUE: usize = 64;
/// How long the end waits for the thread.
const ENDING: Duration = Duration::from_secs(3);

/// What a further camera runs with.
#[derive(Debug, Clone)]
pub struct EyeSettings {
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
    /// Whether corrections learned on rendered bodies are applied.
    pub corrections: bool,
    /// The thresholds passes carry until they are put together.
    pub thresholds: Thresholds,
    /// Number of the camera; the station's own is 0.
    pub camera: usize,
    /// Second 0 of the station's clock.
    pub epoch: Instant,
}

/// The thread of a further camera.
pub struct FurtherEye {
    passes: Receiver<Seen>,
    shared: Arc<Shared>,
    thread: Option<JoinHandle<()>>,
}

struct Shared {
    stop: AtomicBool,
    watch: Mutex<Watch>,
    status: Mutex<Option<FeedStatus>>,
}

impl FurtherEye {
    /// Starts the thread.
    ///
    /// # Errors
    /// When the system gives no thread.
    pub fn start(settings: EyeSettings) -> std::io::Result<Self> {
        let (sender, passes) = bounded(QUEUE);
        let shared = Arc::new(Shared {
            stop: AtomicBool::new(false),
            watch: Mutex::new(Watch::default()),
            status: Mutex::new(None),
        });
        let thread = thread::Builder::new().name("eye".into()).spawn({
            let shared = Arc::clone(&shared);
            move || look(&settings, &shared, &sender)
        })?;
        Ok(FurtherEye {
            passes,
            shared,
            thread: Some(thread),
        })
    }

    /// The passes that ended since the last call.
    pub fn take(&self) -> Vec<Seen> {
        self.passes.try_iter().collect()
    }

    /// What the camera sees at the moment.
    pub fn watch(&self) -> Watch {
        *self
            .shared
            .watch
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
    }

    /// How its pictures come in; `None` before it is opened.
    pub fn status(&self) -> Option<FeedStatus> {
        self.shared
            .status
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .clone()
    }
}

impl Drop for FurtherEye {
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

fn look(settings: &EyeSettings, shared: &Shared, passes: &Sender<Seen>) {
    let Some(mut estimator) = load(settings, shared) else {
        return;
    };
    let feed = Feed::start(settings.source.clone(), settings.pace, None);
    let mut tracker = Tracker::new(settings.lane.clone(), settings.track);
    let mut complained: Option<Instant> = None;
    // Track numbers that are passing, and since when on the station's clock.
    let mut passing: Vec<(u32, f64)> = Vec::new();
    while !shared.stop.load(Ordering::Relaxed) {
        let taken = feed.take(WAIT);
        let status = feed.status();
        let mut ended = false;
        let events = match taken {
            Taken::Frame(frame) => match estimator.process(&frame) {
                Ok(poses) => tracker.push(&poses),
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
        for event in events {
            let TrackEvent::PassEnded(pass) = event else {
                continue;
            };
            let mut motion = cut(&pass, &settings.lane);
            motion.corrected = settings.corrections;
            let judged = judge(&motion, &settings.thresholds);
            let Some(captured) = feed.clock().captured_at(judged.ended_at_s) else {
                continue;
            };
            let seen = Seen {
                camera: settings.camera,
                to_station_s: since_epoch_s(settings.epoch, captured) - judged.ended_at_s,
                pass: judged,
            };
            if passes.try_send(seen).is_err() {
                tracing::error!("a pass of a further camera could not be handed on");
            }
        }
        let now_s = since_epoch_s(settings.epoch, Instant::now());
        let ids: Vec<u32> = tracker.passing().collect();
        passing.retain(|(id, _)| ids.contains(id));
        for id in ids {
            if !passing.iter().any(|(known, _)| *known == id) {
                passing.push((id, now_s));
            }
        }
        *shared.watch.lock().unwrap_or_else(PoisonError::into_inner) = Watch {
            passing_since_s: passing.iter().map(|(_, since_s)| *since_s).reduce(f64::min),
            live: status.state == FeedState::Live,
        };
        *shared.status.lock().unwrap_or_else(PoisonError::into_inner) = Some(status);
        if ended {
            break;
        }
    }
    *shared.watch.lock().unwrap_or_else(PoisonError::into_inner) = Watch::default();
    feed.stop();
}

fn load(settings: &EyeSettings, shared: &Shared) -> Option<Estimator> {
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
