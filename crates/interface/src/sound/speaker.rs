//! The thread that owns the sound device.

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicU8, AtomicU32, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, RecvTimeoutError, Sender, TrySendError, bounded};
use rodio::buffer::SamplesBuffer;
use serde::{Deserialize, Serialize};

use super::SoundId;
use super::device::{Device, cards_now};
use super::files::{for_cue, load_all, load_words};
use super::source::{LastStarted, Noted};

/// How long to wait before a missing device is looked for again.
const RETRY_FIRST: Duration = Duration::from_secs(2);
/// That wait is doubled up to this one: each try in vain writes several lines
/// on the error output, from the sound library itself. A device that comes or goes
/// ends it at once.
const RETRY_AT_MOST: Duration = Duration::from_secs(30);
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
/// How loud, and whether at all.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct SoundSettings {
    /// No sound at all.
    pub muted: bool,
    /// Share of full level, 0 to 1. How loud that is in the rink is up to
    /// the amplifier.
    pub level: f32,
    /// Whether a coach's word is heard, where there is one.
    pub voice: VoiceMode,
}

/// Whether a word the coach has spoken is heard with the sound of a cue.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub enum VoiceMode {
    /// Never.
    #[default]
    Off,
    /// In the place of the sound.
    Instead,
    /// After the sound.
    After,
}

impl VoiceMode {
    /// All, in the order of their numbers.
    pub const ALL: [VoiceMode; 3] = [VoiceMode::Off, VoiceMode::Instead, VoiceMode::After];

    /// Its word in the settings.
    pub fn name(self) -> &'static str {
        match self {
            VoiceMode::Off => "off",
            VoiceMode::Instead => "instead",
            VoiceMode::After => "after",
        }
    }
}

impl Default for SoundSettings {
    fn default() -> Self {
        SoundSettings {
            muted: false,
            level: 1.0,
            voice: VoiceMode::Off,
        }
    }
}

/// What is asked of the thread.
#[derive(Debug, Clone, Copy)]
enum Asked {
    /// The sound of a cue, with its word or without.
    Cue(SoundId),
    /// The word alone, to hear it.
    Word(SoundId),
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

/// What the caller's side and the thread share.
#[derive(Debug)]
struct Shared {
    muted: AtomicBool,
    /// Bits of an `f32`, 0 to 1.
    level_bits: AtomicU32,
    device: Mutex<SoundState>,
    started: Arc<LastStarted>,
    /// The number of a [`VoiceMode`].
    voice: AtomicU8,
    words: Mutex<Words>,
    /// Counts the readings of the words: the newest one holds.
    reading: AtomicU64,
}

/// Words ready to be played, and which reading they are of.
#[derive(Debug, Default)]
struct Words {
    reading: u64,
    words: Arc<Vec<Option<SamplesBuffer>>>,
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

    fn voice(&self) -> VoiceMode {
        let number = usize::from(self.voice.load(Ordering::Relaxed));
        VoiceMode::ALL.get(number).copied().unwrap_or_default()
    }

    fn words(&self) -> Arc<Vec<Option<SamplesBuffer>>> {
        let words = self.words.lock().unwrap_or_else(PoisonError::into_inner);
        Arc::clone(&words.words)
    }

    fn set_words(&self, reading: u64, read: Vec<Option<SamplesBuffer>>) {
        let mut words = self.words.lock().unwrap_or_else(PoisonError::into_inner);
        if words.reading < reading {
            *words = Words {
                reading,
                words: Arc::new(read),
            };
        }
    }

    /// What is to be played, where there is something.
    fn to_play(&self, asked: Asked, sounds: &[SamplesBuffer]) -> Option<(SoundId, SamplesBuffer)> {
        let words = self.words();
        let word = |id: SoundId| words.get(id.index())?.as_ref();
        match asked {
            Asked::Cue(id) => {
                let sound = sounds.get(id.index())?;
                Some((id, for_cue(sound, word(id), self.voice())))
            }
            Asked::Word(id) => Some((id, word(id)?.clone())),
        }
    }

    fn level(&self) -> f32 {
        f32::from_bits(self.level_bits.load(Ordering::Relaxed))
    }
}

/// Plays the station's sounds. Dropping it closes the device.
#[derive(Debug)]
pub struct Speaker {
    shared: Arc<Shared>,
    requests: Option<Sender<(Asked, Instant)>>,
    thread: Option<JoinHandle<()>>,
    /// The folder of the coach's words, where there may be some.
    voices: Option<PathBuf>,
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
            voice: AtomicU8::new(0),
            words: Mutex::default(),
            reading: AtomicU64::new(0),
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
            voices: None,
        };
        speaker.set(settings);
        speaker
    }

    /// The same with the coach's words of this folder.
    pub fn with_voices(mut self, folder: PathBuf) -> Self {
        self.voices = Some(folder);
        self.read_words();
        self
    }

    /// Reads the coach's words anew. Returns at once: a thread that ends reads them, so that
    /// no sound waits for the disk.
    pub fn read_words(&self) {
        let Some(folder) = self.voices.clone() else {
            return;
        };
        let reading = self.shared.reading.fetch_add(1, Ordering::AcqRel) + 1;
        let shared = Arc::clone(&self.shared);
        let read = move || shared.set_words(reading, load_words(&folder));
        let spawned = std::thread::Builder::new()
            .name("words".to_owned())
            .spawn(read);
        if let Err(error) = spawned {
            tracing::warn!(%error, "the coach's words cannot be read");
        }
    }

    /// Plays the coach's word of a sound, to hear it. Never blocks. Nothing is heard where
    /// there is none or when muted.
    pub fn play_word(&self, id: SoundId) -> bool {
        self.ask(Asked::Word(id))
    }

    /// Plays a sound soon. Never blocks. Says whether the sound was taken;
    /// it is not when muted or when too many wait. A sound that finds no
    /// device within a second is dropped rather than played late.
    pub fn play(&self, id: SoundId) -> bool {
        self.ask(Asked::Cue(id))
    }

    fn ask(&self, asked: Asked) -> bool {
        if self.shared.muted.load(Ordering::Relaxed) {
            return false;
        }
        let Some(requests) = &self.requests else {
            return false;
        };
        match requests.try_send((asked, Instant::now())) {
            Ok(()) => true,
            Err(TrySendError::Full(_) | TrySendError::Disconnected(_)) => {
                tracing::debug!("{asked:?} not taken");
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
            .voice
            .store(settings.voice as u8, Ordering::Relaxed);
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

/// Runs until the speaker is dropped.
fn serve(shared: &Shared, sounds: &[SamplesBuffer], inbox: &Receiver<(Asked, Instant)>) {
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
            Ok((asked, asked_at)) => match (&device, shared.to_play(asked, sounds)) {
                (Some(device), Some((id, sound))) if asked_at.elapsed() < STALE_AFTER => {
                    let started = Arc::clone(&shared.started);
                    let source = Noted::new(id, sound, shared.level(), started);
                    device.sink.mixer().add(source);
                }
                _ => tracing::debug!("{asked:?} dropped: no device in time, or no word"),
            },
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => return,
        }
    }
}
