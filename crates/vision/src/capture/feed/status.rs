//! How a feed is doing: state, counters, rate, clock.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use crate::capture::CaptureError;

/// The frame rate is measured over this time.
const RATE_WINDOW: Duration = Duration::from_secs(2);

/// Bound on the arrivals kept for it, enough for 240 frames a second.
const RATE_ARRIVALS: usize = 512;

/// Where a feed stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FeedState {
    /// Looking for the source.
    Searching,
    /// Found; waiting for its first frame.
    Opening,
    /// Frames arrive.
    Live,
    /// No frame for longer than usual; may come back by itself.
    Stalled,
    /// Given up for the moment; tried again after a pause.
    Lost,
    /// A file is at its end.
    Ended,
    /// Stopped from outside.
    Stopped,
}

/// A snapshot of a feed.
#[derive(Debug, Clone)]
pub struct FeedStatus {
    /// Where it stands.
    pub state: FeedState,
    /// The same in a sentence for people, with the remedy if one is needed.
    pub message: String,
    /// What that sentence tells of, where it is a fault: for whoever says it in
    /// another language.
    pub fault: Option<Arc<CaptureError>>,
    /// Name of the source.
    pub source: String,
    /// Frames put into the slot.
    pub frames: u64,
    /// Frames overwritten because they were not taken in time, from the first
    /// one on that somebody asked for.
    pub dropped: u64,
    /// Pictures left out because they could not be decoded.
    pub corrupt: u64,
    /// Times the source was opened again after a fault.
    pub reopened: u64,
    /// Frames per second over the last two seconds; 0 when none arrive.
    pub fps_measured: f64,
    /// Seconds since the last frame arrived; `None` before the first.
    pub last_frame_age_s: Option<f64>,
    /// How long the camera's shutter is open, seconds, where it is set by hand;
    /// read when the camera is opened.
    pub shutter_s: Option<f64>,
}

/// Relates a feed's capture times to the computer's monotonic clock.
///
/// Take a fresh one for each question: a file that cannot keep up moves its
/// origin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FeedClock {
    origin: Option<Instant>,
    /// Seconds of capture time in one second of the computer's clock.
    times: f64,
}

impl FeedClock {
    /// When a frame with this capture time was taken. For a file played at
    /// its own speed: when it was due. `None` for a file read as fast as it
    /// goes, and before the first frame.
    pub fn captured_at(&self, captured_at_s: f64) -> Option<Instant> {
        let after = Duration::try_from_secs_f64(captured_at_s / self.times).ok()?;
        self.origin?.checked_add(after)
    }

    /// Seconds between that moment and now.
    pub fn age_s(&self, captured_at_s: f64) -> Option<f64> {
        Some(self.captured_at(captured_at_s)?.elapsed().as_secs_f64())
    }
}

/// The status, written by the feed's thread and read by everybody.
pub(super) struct Board {
    inner: Mutex<Inner>,
    times: f64,
}

struct Inner {
    state: FeedState,
    message: String,
    fault: Option<Arc<CaptureError>>,
    source: String,
    frames: u64,
    lost_on_the_way: u64,
    corrupt: u64,
    reopened: u64,
    arrivals: VecDeque<Instant>,
    origin: Option<Instant>,
    shutter_s: Option<f64>,
}

impl Board {
    pub(super) fn new(source: String, times: f64) -> Self {
        Self {
            times,
            inner: Mutex::new(Inner {
                state: FeedState::Searching,
                message: format!("looking for {source}"),
                fault: None,
                source,
                frames: 0,
                lost_on_the_way: 0,
                corrupt: 0,
                reopened: 0,
                arrivals: VecDeque::with_capacity(RATE_ARRIVALS),
                origin: None,
                shutter_s: None,
            }),
        }
    }

    fn lock(&self) -> MutexGuard<'_, Inner> {
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// True when state or message are new. One log line per change.
    pub(super) fn show(
        &self,
        state: FeedState,
        message: String,
        fault: Option<CaptureError>,
    ) -> bool {
        let mut inner = self.lock();
        if inner.state == state && inner.message == message {
            return false;
        }
        let changed = inner.state != state;
        if changed {
            match state {
                FeedState::Lost | FeedState::Stalled => {
                    tracing::warn!("{}: {message}", inner.source)
                }
                _ => tracing::info!("{}: {message}", inner.source),
            }
        }
        (inner.state, inner.message) = (state, message);
        inner.fault = fault.map(Arc::new);
        true
    }

    pub(super) fn is_live(&self) -> bool {
        self.lock().state == FeedState::Live
    }

    pub(super) fn named(&self, source: &str) {
        self.lock().source = source.to_owned();
    }

    pub(super) fn frame_arrived(&self) {
        let now = Instant::now();
        let mut inner = self.lock();
        inner.frames += 1;
        if inner.arrivals.len() == RATE_ARRIVALS {
            inner.arrivals.pop_front();
        }
        inner.arrivals.push_back(now);
        while inner.arrivals.len() > 1
            && inner
                .arrivals
                .front()
                .is_some_and(|t| now - *t > RATE_WINDOW)
        {
            inner.arrivals.pop_front();
        }
    }

    pub(super) fn add_corrupt(&self, count: u64) {
        self.lock().corrupt += count;
    }

    pub(super) fn add_reopened(&self) {
        self.lock().reopened += 1;
    }

    pub(super) fn add_dropped(&self, count: u64) {
        self.lock().lost_on_the_way += count;
    }

    pub(super) fn set_origin(&self, origin: Instant) {
        self.lock().origin = Some(origin);
    }

    pub(super) fn set_shutter(&self, shutter_s: Option<f64>) {
        self.lock().shutter_s = shutter_s;
    }

    pub(super) fn clock(&self) -> FeedClock {
        FeedClock {
            origin: self.lock().origin,
            times: self.times,
        }
    }

    pub(super) fn status(&self, overwritten: u64) -> FeedStatus {
        let inner = self.lock();
        FeedStatus {
            state: inner.state,
            message: inner.message.clone(),
            fault: inner.fault.clone(),
            source: inner.source.clone(),
            frames: inner.frames,
            dropped: overwritten + inner.lost_on_the_way,
            corrupt: inner.corrupt,
            reopened: inner.reopened,
            fps_measured: rate(&inner.arrivals, Instant::now()),
            last_frame_age_s: inner.arrivals.back().map(|t| t.elapsed().as_secs_f64()),
            shutter_s: inner.shutter_s,
        }
    }
}

/// Arrivals per second within the window that ends now.
fn rate(arrivals: &VecDeque<Instant>, now: Instant) -> f64 {
    let recent = || {
        arrivals
            .iter()
            .filter(|t| now.saturating_duration_since(**t) <= RATE_WINDOW)
    };
    let (Some(first), Some(last)) = (recent().next(), recent().next_back()) else {
        return 0.0;
    };
    let intervals = recent().count() - 1;
    // While nothing arrives the span grows, so that the rate sinks at once
    // and not only when the window is empty.
    let mean_s = last.duration_since(*first).as_secs_f64() / intervals.max(1) as f64;
    let silent_s = now.saturating_duration_since(*last).as_secs_f64();
    let span_s = last.duration_since(*first).as_secs_f64() + (silent_s - mean_s).max(0.0);
    if intervals == 0 || span_s <= 0.0 {
        0.0
    } else {
        intervals as f64 / span_s
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_rate_is_that_of_the_arrivals_and_sinks_in_silence() {
        let start = Instant::now();
        let at = |ms: u64| start + Duration::from_millis(ms);
        let arrivals: VecDeque<Instant> = (0..60).map(|n| at(n * 40)).collect();
        let last = 59 * 40;
        assert!((rate(&arrivals, at(last)) - 25.0).abs() < 0.01);
        let later = rate(&arrivals, at(last + 1000));
        assert!(later > 5.0 && later < 17.0, "{later}");
        assert_eq!(rate(&arrivals, at(last + 2500)), 0.0);
        assert_eq!(rate(&VecDeque::new(), start), 0.0);
        assert_eq!(rate(&VecDeque::from([start]), start), 0.0);
    }

    #[test]
    fn ages_count_from_the_origin() {
        let origin = Instant::now() - Duration::from_secs(10);
        let clock = FeedClock {
            origin: Some(origin),
            times: 1.0,
        };
        assert_eq!(
            clock.captured_at(4.0),
            Some(origin + Duration::from_secs(4))
        );
        assert!(clock.age_s(4.0).expect("known") >= 6.0);
        assert_eq!(clock.captured_at(f64::NAN), None);
        let unknown = FeedClock {
            origin: None,
            times: 1.0,
        };
        assert_eq!(unknown.age_s(1.0), None);
        let sped = FeedClock {
            origin: Some(origin),
            times: 4.0,
        };
        assert_eq!(
            sped.captured_at(4.0),
            Some(origin + Duration::from_secs(1)),
            "four seconds of the clip take one"
        );
    }
}
