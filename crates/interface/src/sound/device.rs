//! The sound device, and whether it still takes samples.

use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use rodio::cpal::ErrorKind;
use rodio::{DeviceSinkBuilder, MixerDeviceSink};

use super::library_says::to_log;
use super::source::Heartbeat;

/// The system's sound devices; their names change when one is plugged in.
const CARDS: &str = "/dev/snd";
/// A device that takes no samples for so long counts as lost. Far above any
/// device buffer, which holds some tenths of a second.
const SILENT_DEVICE_IS_LOST_AFTER: Duration = Duration::from_secs(3);

/// An open device and the signs of its life.
pub(super) struct Device {
    pub(super) sink: MixerDeviceSink,
    lost: Arc<Mutex<Option<String>>>,
    heartbeat: Arc<AtomicU64>,
    beats_seen: u64,
    last_beat: Instant,
}

impl Device {
    /// Opens the default device.
    pub(super) fn open() -> Result<Self, String> {
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
        let opened = to_log(|| {
            DeviceSinkBuilder::from_default_device()
                .and_then(|builder| builder.with_error_callback(report).open_stream())
        });
        let mut sink = opened.map_err(|error| with_causes(&error))?;
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
    pub(super) fn fault(&mut self) -> Option<String> {
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
pub(super) fn cards_now() -> Vec<std::ffi::OsString> {
    let mut names: Vec<_> = std::fs::read_dir(CARDS)
        .into_iter()
        .flatten()
        .flatten()
        .map(|entry| entry.file_name())
        .collect();
    names.sort();
    names
}
