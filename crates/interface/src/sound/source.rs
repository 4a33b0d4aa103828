//! What the device's own thread pulls samples from. Nothing here locks,
//! allocates or waits.

use std::num::NonZero;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use rodio::Source;
use rodio::buffer::SamplesBuffer;

use super::SoundId;

/// When which sound last started, written by the device's thread: one word,
/// so that nobody ever has to wait for the other. 0 = nothing yet, else
/// microseconds since `epoch` plus 1, times 256, plus the sound.
#[derive(Debug)]
pub(super) struct LastStarted {
    epoch: Instant,
    word: AtomicU64,
}

impl LastStarted {
    pub(super) fn new() -> Self {
        LastStarted {
            epoch: Instant::now(),
            word: AtomicU64::new(0),
        }
    }

    fn set(&self, id: SoundId) {
        let micros = u64::try_from(self.epoch.elapsed().as_micros()).unwrap_or(u64::MAX >> 8);
        let word = ((micros + 1) << 8) | id.index() as u64;
        self.word.store(word, Ordering::Release);
    }

    pub(super) fn get(&self) -> Option<(SoundId, Instant)> {
        let word = self.word.load(Ordering::Acquire);
        let micros = (word >> 8).checked_sub(1)?;
        let id = SoundId::all().nth((word & 0xff) as usize)?;
        Some((id, self.epoch + Duration::from_micros(micros)))
    }
}

/// A sound that notes the moment its first sample is pulled: from there on
/// only the buffer of the device lies between it and the air.
pub(super) struct Noted {
    sound: SamplesBuffer,
    level: f32,
    note: Option<(SoundId, Arc<LastStarted>)>,
}

impl Noted {
    pub(super) fn new(
        id: SoundId,
        sound: SamplesBuffer,
        level: f32,
        started: Arc<LastStarted>,
    ) -> Self {
        Noted {
            sound,
            level,
            note: Some((id, started)),
        }
    }
}

impl Iterator for Noted {
    type Item = rodio::Sample;

    fn next(&mut self) -> Option<Self::Item> {
        if let Some((id, started)) = self.note.take() {
            started.set(id);
        }
        self.sound.next().map(|s| s * self.level)
    }
}

impl Source for Noted {
    fn current_span_len(&self) -> Option<usize> {
        self.sound.current_span_len()
    }
    fn channels(&self) -> rodio::ChannelCount {
        self.sound.channels()
    }
    fn sample_rate(&self) -> rodio::SampleRate {
        self.sound.sample_rate()
    }
    fn total_duration(&self) -> Option<Duration> {
        self.sound.total_duration()
    }
}

/// Endless silence that counts: as long as the count moves, the device takes
/// samples. A device can stop doing so without reporting an error.
pub(super) struct Heartbeat(Arc<AtomicU64>);

impl Heartbeat {
    pub(super) fn new(count: Arc<AtomicU64>) -> Self {
        Heartbeat(count)
    }
}

impl Iterator for Heartbeat {
    type Item = rodio::Sample;

    fn next(&mut self) -> Option<Self::Item> {
        self.0.fetch_add(1, Ordering::Relaxed);
        Some(0.0)
    }
}

impl Source for Heartbeat {
    fn current_span_len(&self) -> Option<usize> {
        None
    }
    fn channels(&self) -> rodio::ChannelCount {
        NonZero::<u16>::MIN
    }
    fn sample_rate(&self) -> rodio::SampleRate {
        // The count is never turned into a time: a low rate is cheap.
        const RATE: rodio::SampleRate = NonZero::<u32>::MIN.saturating_add(7_999);
        RATE
    }
    fn total_duration(&self) -> Option<Duration> {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_start_is_noted_at_the_first_sample_and_only_there() {
        let started = Arc::new(LastStarted::new());
        assert_eq!(started.get(), None);
        let sound =
            SamplesBuffer::new(NonZero::<u16>::MIN, NonZero::new(48_000).unwrap(), [0.5; 4]);
        let before = Instant::now();
        let mut source = Noted::new(SoundId::Praise, sound, 0.5, Arc::clone(&started));
        assert_eq!(started.get(), None, "appended is not yet started");
        assert_eq!(source.next(), Some(0.25));
        let (id, at) = started.get().unwrap();
        assert_eq!(id, SoundId::Praise);
        // The word keeps whole microseconds.
        assert!(at + Duration::from_micros(1) >= before && at <= Instant::now());
        source.by_ref().for_each(drop);
        assert_eq!(started.get(), Some((id, at)));
    }
}
