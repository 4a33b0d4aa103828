//! The thread that owns the sound device.

use std::fs::File;
use std::io::BufReader;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicU32, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, RecvTimeoutError, Sender, TrySendError, bounded};
use rodio::buffer::SamplesBuffer;
use rodio::cpal::ErrorKind;
use rodio::{Decoder, DeviceSinkBuilder, MixerDeviceSink, Source};
use serde::{Deserialize, Serialize};

use super::SoundId;
use super::source::{Heartbeat, LastStarted, Noted};

/// How long to wait before a missing device is looked for again.
const RETRY_FIRST: Duration = Duration::from_secs(2);
/// That wait is doubled up to this one: each try in vain writes several lines
/// on the error output, from the sound library itself. A change in [`CARDS`]
/// ends it at once.
const RETRY_AT_MOST: Duration = Duration::from_secs(30);
/// The system's sound devices; their names change when one is plugged in.
const CARDS: &str = "/dev/snd";
/// A device that takes no samples for so long counts as lost. Far above any
/// device buffer, which holds some tenths of a second.
const SILENT_DEVICE_IS_LOST_AFTER: Duration = Duration::from_secs(3);
/// How often the thread looks after its device when nothing is to be played.
const LOOK_AFTER_EVERY: Duration = Duration::from_millis(250);
/// A sound that could not be played within this time is dropped: it would be
/// heard as the cue of the next skater.
const STALE_AFTER: Duration = Duration::from_secs(1);
/// Cues come seconds apart; more than a few waiting means nobody takes them.
const WAITING_SOUNDS: usize = 4;
/// How long dropping a speaker waits for its thread. Longer when a driver
/// hangs while opening is of no use to anybody: the thread is left behind.
const CLOSE_WITHIN: Duration = Duration::from_millis(500);
/// Longest file that is still taken for a cue.
const LONGEST_SOUND: Duration = Duration::from_secs(5);

/// How loud, and whether at all.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct SoundSettings {
    /// No sound at all.
    pub muted: bool,
    /// Share of full level, 0 to 1. How loud that is in the rink is up to
    /// the amplifier.
    pub level: f32,
}

impl Default for SoundSettings {
    fn default() -> Self {
        SoundSettings {
            muted: false,
            level: 1.0,
        }
    }
}

/// What the speaker can do at the moment.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SoundState {
    /// Muted by the settings.
    Off,
    /// A device is open.
    Ready,
    /// No device, and why; it is looked for again by itself.
    NoDevice(String),
    /// A sound file cannot be used, and what to do; stays so until the next
    /// start.
    NoSounds(String),
}

/// Why a sound file cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum SoundError {
    /// The file is not there or cannot be opened.
    #[error("The sound {} cannot be opened; put the sounds folder back or name another one ({source})", path.display())]
    Open {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// The file is no WAV.
    #[error("The sound {} is not a WAV file; replace it ({source})", path.display())]
    Decode {
        /// The file.
        path: PathBuf,
        /// What the decoder said.
        source: rodio::decoder::DecoderError,
    },
    /// The file is empty or far too long.
    #[error("The sound {} is empty or longer than {} s; replace it", path.display(), LONGEST_SOUND.as_secs())]
    Length {
        /// The file.
        path: PathBuf,
    },
}

/// What the caller's side and the thread share.
#[derive(Debug)]
struct Shared {
    muted: AtomicBool,
    /// Bits of an `f32`, 0 to 1.
    level_bits: AtomicU32,
    device: Mutex<SoundState>,
    started: Arc<LastStarted>,
}

impl Shared {
    fn set_device(&self, state: SoundState) {
        let mut device = self.device.lock().unwrap_or_else(PoisonError::into_inner);
        if *device == state {
            return;
        }
        match &state {
            SoundState::Ready => tracing::info!("sound device open"),
            SoundState::NoDevice(why) | SoundState::NoSounds(why) => {
                tracing::warn!("no sound: {why}");
            }
            SoundState::Off => {}
        }
        *device = state;
    }

    fn level(&self) -> f32 {
        f32::from_bits(self.level_bits.load(Ordering::Relaxed))
    }
}

/// Plays the station's sounds. Dropping it closes the device.
#[derive(Debug)]
pub struct Speaker {
    shared: Arc<Shared>,
    requests: Option<Sender<(SoundId, Instant)>>,
    thread: Option<JoinHandle<()>>,
}

impl Speaker {
    /// Starts the thread that reads the sounds `<id of the rule>.wav` and
    /// `well_done.wav` in `sounds_dir` and opens the default device. Returns
    /// at once; see [`Speaker::state`] for what came of it.
    pub fn start(sounds_dir: &Path, settings: SoundSettings) -> Self {
        let shared = Arc::new(Shared {
            muted: AtomicBool::new(settings.muted),
            level_bits: AtomicU32::new(0),
            device: Mutex::new(SoundState::NoDevice("not opened yet".to_owned())),
            started: Arc::new(LastStarted::new()),
        });
        let (requests, inbox) = bounded(WAITING_SOUNDS);
        let spawned = std::thread::Builder::new().name("sound".to_owned()).spawn({
            let shared = Arc::clone(&shared);
            let sounds_dir = sounds_dir.to_owned();
            move || match load_all(&sounds_dir) {
                Ok(sounds) => serve(&shared, &sounds, &inbox),
                Err(error) => shared.set_device(SoundState::NoSounds(error.to_string())),
            }
        });
        let thread = spawned
            .map_err(|error| {
                shared.set_device(SoundState::NoDevice(format!(
                    "the sound thread cannot be started ({error})"
                )));
            })
            .ok();
        let speaker = Speaker {
            shared,
            requests: Some(requests),
            thread,
        };
        speaker.set(settings);
        speaker
    }

    /// Plays a sound soon. Never blocks. Says whether the sound was taken;
    /// it is not when muted or when too many wait. A sound that finds no
    /// device within a second is dropped rather than played late.
    pub fn play(&self, id: SoundId) -> bool {
        if self.shared.muted.load(Ordering::Relaxed) {
            return false;
        }
        let Some(requests) = &self.requests else {
            return false;
        };
        match requests.try_send((id, Instant::now())) {
            Ok(()) => true,
            Err(TrySendError::Full(_) | TrySendError::Disconnected(_)) => {
                tracing::debug!("sound {} not taken", id.name());
                false
            }
        }
    }

    /// Takes new settings for the sounds that follow. A level that is no
    /// number counts as 0.
    pub fn set(&self, settings: SoundSettings) {
        let level = if settings.level.is_finite() {
            settings.level.clamp(0.0, 1.0)
        } else {
            0.0
        };
        self.shared.muted.store(settings.muted, Ordering::Relaxed);
        self.shared
            .level_bits
            .store(level.to_bits(), Ordering::Relaxed);
    }

    /// What the speaker can do at the moment.
    pub fn state(&self) -> SoundState {
        if self.shared.muted.load(Ordering::Relaxed) {
            return SoundState::Off;
        }
        self.shared
            .device
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .clone()
    }

    /// The sound that started last, and when the device took its first
    /// sample. The buffer of the device comes on top; its length is the
    /// device's own and not known here.
    pub fn last_started(&self) -> Option<(SoundId, Instant)> {
        self.shared.started.get()
    }
}

impl Drop for Speaker {
    fn drop(&mut self) {
        self.requests = None; // the thread's loop ends with the channel
        let Some(thread) = self.thread.take() else {
            return;
        };
        let since = Instant::now();
        while !thread.is_finished() && since.elapsed() < CLOSE_WITHIN {
            std::thread::sleep(Duration::from_millis(5));
        }
        if !thread.is_finished() {
            tracing::warn!("the sound device does not close; its thread is left behind");
        } else if thread.join().is_err() {
            tracing::error!("the sound thread ended with a panic");
        }
    }
}

fn load_all(dir: &Path) -> Result<Vec<SamplesBuffer>, SoundError> {
    SoundId::all()
        .map(|id| load(dir.join(format!("{}.wav", id.name()))))
        .collect()
}

fn load(path: PathBuf) -> Result<SamplesBuffer, SoundError> {
    let file = match File::open(&path) {
        Ok(file) => BufReader::new(file),
        Err(source) => return Err(SoundError::Open { path, source }),
    };
    let decoder = match Decoder::new_wav(file) {
        Ok(decoder) => decoder,
        Err(source) => return Err(SoundError::Decode { path, source }),
    };
    let (channels, rate) = (decoder.channels(), decoder.sample_rate());
    let longest =
        LONGEST_SOUND.as_secs() as usize * rate.get() as usize * usize::from(channels.get());
    // One more than allowed, so that a file of any length costs little.
    let samples: Vec<_> = decoder.take(longest + 1).collect();
    if samples.is_empty() || samples.len() > longest {
        return Err(SoundError::Length { path });
    }
    Ok(SamplesBuffer::new(channels, rate, samples))
}

/// An open device and the signs of its life.
struct Device {
    sink: MixerDeviceSink,
    lost: Arc<Mutex<Option<String>>>,
    heartbeat: Arc<AtomicU64>,
    beats_seen: u64,
    last_beat: Instant,
}

impl Device {
    fn open() -> Result<Self, String> {
        let lost = Arc::new(Mutex::new(None));
        let report = {
            let lost = Arc::clone(&lost);
            move |error: rodio::cpal::Error| match error.kind() {
                // The stream goes on after these.
                ErrorKind::Xrun | ErrorKind::DeviceChanged | ErrorKind::RealtimeDenied => {
                    tracing::debug!("sound device: {error}");
                }
                _ => {
                    *lost.lock().unwrap_or_else(PoisonError::into_inner) = Some(error.to_string());
                }
            }
        };
        let mut sink = DeviceSinkBuilder::from_default_device()
            .and_then(|builder| builder.with_error_callback(report).open_stream())
            .map_err(|error| with_causes(&error))?;
        sink.log_on_drop(false);
        let heartbeat = Arc::new(AtomicU64::new(0));
        sink.mixer().add(Heartbeat::new(Arc::clone(&heartbeat)));
        Ok(Device {
            sink,
            lost,
            heartbeat,
            beats_seen: 0,
            last_beat: Instant::now(),
        })
    }

    /// Why the device can no longer be used, if so.
    fn fault(&mut self) -> Option<String> {
        let lost = self.lost.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(why) = lost.as_ref() {
            return Some(why.clone());
        }
        let beats = self.heartbeat.load(Ordering::Relaxed);
        if beats != self.beats_seen {
            self.beats_seen = beats;
            self.last_beat = Instant::now();
        }
        (self.last_beat.elapsed() > SILENT_DEVICE_IS_LOST_AFTER)
            .then(|| "the device takes no samples".to_owned())
    }
}

/// The messages of an error and of everything behind it in one line.
fn with_causes(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut cause = error.source();
    while let Some(c) = cause {
        text = format!("{text}: {c}");
        cause = c.source();
    }
    text
}

/// Names of the sound devices there are.
fn cards_now() -> Vec<std::ffi::OsString> {
    let mut names: Vec<_> = std::fs::read_dir(CARDS)
        .into_iter()
        .flatten()
        .flatten()
        .map(|entry| entry.file_name())
        .collect();
    names.sort();
    names
}

/// Runs until the speaker is dropped.
fn serve(shared: &Shared, sounds: &[SamplesBuffer], inbox: &Receiver<(SoundId, Instant)>) {
    let mut device: Option<Device> = None;
    let mut next_try = Instant::now();
    let mut pause = RETRY_FIRST;
    let mut cards = cards_now();
    loop {
        if let Some(why) = device.as_mut().and_then(Device::fault) {
            // Told first: a driver that hangs also hangs while it is closed.
            shared.set_device(SoundState::NoDevice(why));
            device = None;
            pause = RETRY_FIRST;
            next_try = Instant::now() + pause;
        }
        if device.is_none() {
            let now = cards_now();
            if now != cards {
                cards = now;
                pause = RETRY_FIRST;
                next_try = Instant::now();
            }
        }
        if device.is_none() && Instant::now() >= next_try {
            match Device::open() {
                Ok(opened) => {
                    device = Some(opened);
                    shared.set_device(SoundState::Ready);
                }
                Err(why) => {
                    next_try = Instant::now() + pause;
                    pause = (2 * pause).min(RETRY_AT_MOST);
                    shared.set_device(SoundState::NoDevice(why));
                }
            }
        }
        match inbox.recv_timeout(LOOK_AFTER_EVERY) {
            Ok((id, asked_at)) => match (&device, sounds.get(id.index())) {
                (Some(device), Some(sound)) if asked_at.elapsed() < STALE_AFTER => {
                    let started = Arc::clone(&shared.started);
                    let source = Noted::new(id, sound.clone(), shared.level(), started);
                    device.sink.mixer().add(source);
                }
                _ => tracing::debug!("sound {} dropped: no device in time", id.name()),
            },
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => return,
        }
    }
}
