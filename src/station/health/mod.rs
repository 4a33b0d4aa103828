//! How the running station is doing, as plain data: for a page a coach looks
//! at, for `kickplate check` from another terminal, for the service manager.
//!
//! The loop that judges only hands over what it knows and never waits: the
//! computer is asked, and the file written, in a thread of its own, because a
//! disk that hangs would hold it up.

use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, Sender, bounded};
use serde::{Deserialize, Serialize};

use crate::capture::{FeedState, FeedStatus};
use crate::sound::SoundState;
use crate::station::lock;
use crate::store::{WriterState, WriterStatus};

pub mod host;
pub(in crate::station) mod notify;
mod page;

use page::write;
pub use page::{file, read};

/// How often the loop hands over what it knows.
const TELL_EVERY: Duration = Duration::from_secs(1);
/// How often the file is written.
const WRITE_EVERY: Duration = Duration::from_secs(5);
/// Frames kept for how late results are.
const AGES_KEPT: usize = 900;
/// Below this the recordings of a season may not fit, gigabytes.
const LITTLE_FREE_GB: f64 = 1.0;

/// How one part of the station is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Mood {
    /// As it should be.
    Good,
    /// Not yet known: it is being opened.
    Starting,
    /// It works with less, or is out of use on purpose.
    Less,
    /// It does not work at the moment and is tried again by itself.
    Out,
}

/// The camera.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CameraHealth {
    /// How it is.
    pub mood: Mood,
    /// The same in a sentence, with the remedy if one is needed.
    pub message: String,
    /// Its name.
    pub source: String,
    /// Frames a second over the last two seconds.
    pub fps: f64,
    /// Frames it gave.
    pub frames: u64,
    /// Frames nobody took in time because a newer one came.
    pub dropped: u64,
    /// Pictures left out because they were damaged.
    pub corrupt: u64,
    /// Times it was opened again after a fault.
    pub reopened: u64,
    /// Seconds since the last frame; `None` before the first.
    pub last_frame_age_s: Option<f64>,
}

/// The pose model and what is made of its answers.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PoseHealth {
    /// How it is.
    pub mood: Mood,
    /// What there is to say, empty where nothing.
    pub message: String,
    /// The model and the engine: `full, native`.
    pub model: String,
    /// Frames that went through the chain.
    pub frames: u64,
    /// Passes judged.
    pub passes: u64,
    /// Half of the recent frames had their result after so many
    /// milliseconds, counted from their capture; `None` before the first.
    pub frame_to_result_ms_half: Option<f64>,
    /// 95 of 100 had it after so many.
    pub frame_to_result_ms_95: Option<f64>,
}

/// The loudspeaker.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SoundHealth {
    /// How it is.
    pub mood: Mood,
    /// The same in a sentence.
    pub message: String,
}

/// The recording.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StoreHealth {
    /// How it is.
    pub mood: Mood,
    /// The same in a sentence, with the remedy if one is needed.
    pub message: String,
    /// Passes on the disk.
    pub written: u64,
    /// Passes in memory until the disk takes them.
    pub waiting: u64,
    /// Passes that could not be kept.
    pub lost: u64,
    /// Sessions of earlier runs that were found without a proper end.
    pub recovered: u64,
}

/// The computer and this program on it. What the system does not tell is
/// `None`.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct HostHealth {
    /// Free room where recordings go, gigabytes (10^9 bytes).
    pub free_disk_gb: Option<f64>,
    /// Memory this program holds, megabytes (10^6 bytes).
    pub resident_mb: Option<f64>,
    /// Its threads.
    pub threads: Option<u32>,
    /// Its open files and devices.
    pub descriptors: Option<u32>,
    /// The hottest part that can be read, degrees Celsius.
    pub temperature_c: Option<f64>,
}

/// Everything.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Health {
    /// When this was written down, wall clock, RFC 3339 with the zone.
    pub at: String,
    /// Since when the station runs, seconds.
    pub uptime_s: f64,
    /// Its process.
    pub pid: u32,
    /// Its version.
    pub version: String,
    /// The camera.
    pub camera: CameraHealth,
    /// The pose model.
    pub pose: PoseHealth,
    /// The loudspeaker.
    pub sound: SoundHealth,
    /// The recording.
    pub store: StoreHealth,
    /// The computer.
    pub host: HostHealth,
}

impl Health {
    /// What is not as it should be, one sentence each, worst first.
    pub fn troubles(&self) -> Vec<String> {
        let mut found = Vec::new();
        for wanted in [Mood::Out, Mood::Less] {
            let parts = [
                (self.camera.mood, "camera", &self.camera.message),
                (self.pose.mood, "pose model", &self.pose.message),
                (self.store.mood, "recording", &self.store.message),
                (self.sound.mood, "sound", &self.sound.message),
            ];
            for (mood, what, message) in parts {
                if mood == wanted && !(what == "sound" && mood == Mood::Less) {
                    found.push(format!("{what}: {message}"));
                }
            }
        }
        if self.host.free_disk_gb.is_some_and(|gb| gb < LITTLE_FREE_GB) {
            found.push("the disk for the recordings is nearly full: free some space".to_owned());
        }
        found
    }

    /// One line for people.
    pub fn line(&self) -> String {
        let number = |value: Option<f64>, unit: &str| {
            value.map_or_else(String::new, |v| format!(", {v:.0}{unit}"))
        };
        format!(
            "up {}, {} at {:.1} a second, dropped {}, damaged {}, reopened {}; passes {}, stored {}, waiting {}, lost {}; sound {}{}{}{}",
            duration(self.uptime_s),
            self.camera.source,
            self.camera.fps,
            self.camera.dropped,
            self.camera.corrupt,
            self.camera.reopened,
            self.pose.passes,
            self.store.written,
            self.store.waiting,
            self.store.lost,
            self.sound.message,
            number(self.host.resident_mb, " MB of memory"),
            number(self.host.free_disk_gb, " GB free"),
            number(self.host.temperature_c, " °C"),
        )
    }
}

fn duration(seconds: f64) -> String {
    let minutes = (seconds / 60.0) as u64;
    match (minutes / 60, minutes % 60) {
        (0, 0) => format!("{seconds:.0} s"),
        (0, m) => format!("{m} min"),
        (h, m) => format!("{h} h {m} min"),
    }
}

/// What the loop knows of itself.
#[derive(Debug, Clone)]
pub struct Running {
    /// The camera.
    pub feed: FeedStatus,
    /// The recording, once there is one.
    pub store: Option<WriterStatus>,
    /// The loudspeaker, where there is one.
    pub sound: Option<SoundState>,
    /// The pose model.
    pub pose: PoseHealth,
}

/// Shows the newest health to another thread. Clones show the same.
#[derive(Debug, Clone)]
pub struct HealthWatch(Arc<Mutex<Option<Health>>>);

impl HealthWatch {
    /// The newest there is; `None` in the first moment.
    pub fn newest(&self) -> Option<Health> {
        lock(&self.0).clone()
    }
}

/// Gathers the health of a running station.
pub struct HealthKeeper {
    running: Option<Sender<Running>>,
    newest: HealthWatch,
    told: Option<Instant>,
    ages_s: Vec<f64>,
    frames: u64,
}

impl HealthKeeper {
    /// Starts the thread. `file`, where given, is kept up to date;
    /// `recordings` is the folder whose room is looked at.
    pub fn start(file: Option<PathBuf>, recordings: PathBuf) -> Self {
        let (running, inbox) = bounded(1);
        let newest = Arc::new(Mutex::new(None));
        let shared = Arc::clone(&newest);
        let spawned = std::thread::Builder::new()
            .name("health".into())
            .spawn(move || keep(&inbox, &shared, file.as_deref(), &recordings));
        if let Err(error) = &spawned {
            tracing::warn!("how the station is doing cannot be gathered: {error}");
        }
        HealthKeeper {
            running: spawned.is_ok().then_some(running),
            newest: HealthWatch(newest),
            told: None,
            ages_s: Vec::new(),
            frames: 0,
        }
    }

    /// A frame had its result so many seconds after its capture.
    pub fn frame(&mut self, age_s: f64) {
        if !age_s.is_finite() {
            return;
        }
        let at = (self.frames % AGES_KEPT as u64) as usize;
        self.frames += 1;
        match self.ages_s.get_mut(at) {
            Some(old) => *old = age_s,
            None => self.ages_s.push(age_s),
        }
    }

    /// Milliseconds within which this share of the recent frames had their
    /// result.
    pub fn late_ms(&self, share: f64) -> Option<f64> {
        percentile(&self.ages_s, share).map(|s| 1000.0 * s)
    }

    /// Whether it is time to [`HealthKeeper::tell`].
    pub fn is_due(&self) -> bool {
        self.told.is_none_or(|at| at.elapsed() >= TELL_EVERY)
    }

    /// Hands over what the loop knows. Never waits: what a busy thread cannot
    /// take is left out, the next comes in a second.
    pub fn tell(&mut self, running: Running) {
        self.told = Some(Instant::now());
        if let Some(sender) = &self.running {
            let _ = sender.try_send(running);
        }
    }

    /// The newest there is; `None` in the first moment.
    pub fn newest(&self) -> Option<Health> {
        self.newest.newest()
    }

    /// For another thread that shows it.
    pub fn watch(&self) -> HealthWatch {
        self.newest.clone()
    }
}

/// The value that this share of the values does not exceed (nearest rank).
pub(in crate::station) fn percentile(values: &[f64], share: f64) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let rank = (share * sorted.len() as f64).ceil() as usize;
    sorted.get(rank.max(1) - 1).copied()
}

fn keep(
    inbox: &Receiver<Running>,
    newest: &Mutex<Option<Health>>,
    file: Option<&Path>,
    recordings: &Path,
) {
    let started = Instant::now();
    let mut written: Option<Instant> = None;
    let mut complained = false;
    for running in inbox {
        let health = health(
            running,
            started.elapsed().as_secs_f64(),
            host::now(recordings),
        );
        if let Some(file) = file
            && written.is_none_or(|at| at.elapsed() >= WRITE_EVERY)
        {
            written = Some(Instant::now());
            if let Err(error) = write(file, &health)
                && !complained
            {
                complained = true;
                tracing::warn!(
                    "{} cannot be written ({error}); 'kickplate check' will not see this station",
                    file.display()
                );
            }
        }
        *lock(newest) = Some(health);
    }
    // A proper end leaves nothing behind to be taken for a crash.
    if let Some(file) = file {
        let _ = std::fs::remove_file(file);
    }
}

fn health(running: Running, uptime_s: f64, host: HostHealth) -> Health {
    let feed = running.feed;
    Health {
        at: jiff::Zoned::now().to_string(),
        uptime_s,
        pid: std::process::id(),
        version: env!("CARGO_PKG_VERSION").to_owned(),
        camera: CameraHealth {
            mood: match feed.state {
                FeedState::Live => Mood::Good,
                FeedState::Searching | FeedState::Opening => Mood::Starting,
                FeedState::Ended | FeedState::Stopped => Mood::Less,
                FeedState::Stalled | FeedState::Lost => Mood::Out,
            },
            message: feed.message,
            source: feed.source,
            fps: feed.fps_measured,
            frames: feed.frames,
            dropped: feed.dropped,
            corrupt: feed.corrupt,
            reopened: feed.reopened,
            last_frame_age_s: feed.last_frame_age_s,
        },
        pose: running.pose,
        sound: sound_health(running.sound),
        store: store_health(running.store),
        host,
    }
}

fn sound_health(state: Option<SoundState>) -> SoundHealth {
    let (mood, message) = match state {
        Some(SoundState::Ready) => (Mood::Good, "ready".to_owned()),
        Some(SoundState::Off) => (Mood::Less, "muted".to_owned()),
        Some(SoundState::NoDevice(why)) => (Mood::Out, format!("no device ({why})")),
        Some(SoundState::NoSounds(why)) => (Mood::Out, why),
        None => (Mood::Less, "not used".to_owned()),
    };
    SoundHealth { mood, message }
}

fn store_health(status: Option<WriterStatus>) -> StoreHealth {
    let Some(status) = status else {
        return StoreHealth {
            mood: Mood::Starting,
            message: "begins with the first frame".to_owned(),
            written: 0,
            waiting: 0,
            lost: 0,
            recovered: 0,
        };
    };
    let (mood, message) = match status.state {
        WriterState::Starting => (Mood::Starting, "is being opened".to_owned()),
        WriterState::Writing if status.lost > 0 => (
            Mood::Less,
            format!("{} passes could not be kept", status.lost),
        ),
        WriterState::Writing => (Mood::Good, "every pass is written".to_owned()),
        WriterState::Stopped(why) => (Mood::Out, why),
        WriterState::Ended => (Mood::Less, "ended".to_owned()),
    };
    StoreHealth {
        mood,
        message,
        written: status.written,
        waiting: status.waiting as u64,
        lost: status.lost,
        recovered: status.recovered.len() as u64,
    }
}

#[cfg(test)]
#[path = "health_tests.rs"]
mod tests;
