//! A source in a thread of its own, newest frame first.

mod drive;
mod slot;
mod status;

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use super::{CaptureError, Frame, SourceSpec};
use slot::Slot;
use status::Board;

pub use slot::Taken;
pub use status::{FeedClock, FeedState, FeedStatus};

/// Called after every new frame and every change of state, from the feed's
/// thread: it must return at once (a display asks for a repaint here).
pub type Waker = Arc<dyn Fn() + Send + Sync>;

/// Longest wait for the thread when a feed is stopped. Its own waits are
/// shorter; only a disk or a driver that hangs takes longer.
const STOPPING: Duration = Duration::from_secs(5);

/// How fast a feed runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pace {
    /// A file plays at its own speed as if it were a camera: who is too slow
    /// misses frames.
    Live {
        /// Start again at the end. Capture times go on rising.
        repeat: bool,
    },
    /// A file plays over and over, this many times as fast as it was
    /// recorded, and frames are missed as with [`Pace::Live`]. Capture times
    /// are those of the recording. For endurance runs and overload.
    Faster {
        /// How many times; 0 counts as 1.
        times: u32,
        /// Between two rounds the lane is empty for so long, seconds. That time
        /// is left out: the clock of the feed jumps over it.
        empty_s: u32,
    },
    /// A file plays over and over, and each frame waits until the one before
    /// was taken: nothing is missed, however slow the machine. For tests.
    Patient,
    /// A file waits until each frame was taken: nothing is missed. A camera
    /// waits for nobody and runs as with [`Pace::Live`].
    AsFast,
}

/// A running source. May be shared between threads; stops when dropped.
pub struct Feed {
    shared: Arc<Shared>,
    /// Whether frames that are not taken in time are lost.
    loses: bool,
    thread: Mutex<Option<JoinHandle<()>>>,
}

/// What the feed's thread and its users share.
pub(super) struct Shared {
    slot: Slot,
    board: Board,
    stop: AtomicBool,
    waker: Option<Waker>,
}

impl Pace {
    /// Seconds of the recording in one second of the wall.
    fn times(self) -> f64 {
        match self {
            Pace::Faster { times, .. } => f64::from(times.max(1)),
            Pace::Live { .. } | Pace::Patient | Pace::AsFast => 1.0,
        }
    }

    /// Seconds left out between two rounds.
    fn empty_s(self) -> f64 {
        match self {
            Pace::Faster { empty_s, .. } => f64::from(empty_s),
            Pace::Live { .. } | Pace::Patient | Pace::AsFast => 0.0,
        }
    }

    /// Whether a file begins again at its end.
    fn repeats(self) -> bool {
        matches!(
            self,
            Pace::Live { repeat: true } | Pace::Faster { .. } | Pace::Patient
        )
    }
}

impl Shared {
    fn stopping(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }

    fn wake(&self) {
        if let Some(waker) = &self.waker {
            waker();
        }
    }

    /// Hands a frame to whoever is waiting.
    fn publish(&self, frame: Frame) {
        if self.stopping() {
            return;
        }
        self.board.frame_arrived();
        self.slot.put(Arc::new(frame));
        self.wake();
    }

    /// Shows that frames arrive; the words are asked for only when this is
    /// news, and not for every frame.
    fn show_live(&self, message: impl FnOnce() -> String) {
        if !self.board.is_live() {
            self.show(FeedState::Live, message());
        }
    }

    /// Shows a state. Logs and wakes only when it is new. Once stopped, a
    /// thread that was left behind has nothing more to say.
    fn show(&self, state: FeedState, message: impl Into<String>) {
        self.tell(state, message.into(), None);
    }

    /// Shows that a fault stands in the way.
    fn show_fault(&self, state: FeedState, fault: CaptureError) {
        self.tell(state, fault.to_string(), Some(fault));
    }

    fn tell(&self, state: FeedState, message: String, fault: Option<CaptureError>) {
        if self.stopping() && state != FeedState::Stopped {
            return;
        }
        if self.board.show(state, message, fault) {
            self.wake();
        }
    }

    /// Sleeps, but not through a stop. False when stopping.
    fn sleep(&self, how_long: Duration) -> bool {
        let until = Instant::now() + how_long;
        while !self.stopping() {
            let left = until.saturating_duration_since(Instant::now());
            if left.is_zero() {
                return true;
            }
            // The thread is unparked by a stop.
            thread::park_timeout(left);
        }
        false
    }
}

impl Feed {
    /// Starts the thread. Never fails: what goes wrong is shown by
    /// [`Feed::status`] and tried again.
    pub fn start(spec: SourceSpec, pace: Pace, waker: Option<Waker>) -> Self {
        let camera = matches!(spec, SourceSpec::Camera(_));
        let loses = camera || matches!(pace, Pace::Live { .. } | Pace::Faster { .. });
        let shared = Arc::new(Shared {
            slot: Slot::default(),
            board: Board::new(spec.display_name(), pace.times()),
            stop: AtomicBool::new(false),
            waker,
        });
        let spawned = thread::Builder::new().name("feed".into()).spawn({
            let shared = Arc::clone(&shared);
            move || {
                drive::run(&shared, &spec, pace);
                shared.slot.end();
                shared.wake();
            }
        });
        let thread = match spawned {
            Ok(thread) => Some(thread),
            Err(error) => {
                shared.show(FeedState::Lost, format!("the system gives no thread to read frames in ({error}): restart the computer"));
                shared.slot.end();
                None
            }
        };
        Self {
            shared,
            loses,
            thread: Mutex::new(thread),
        }
    }

    /// Takes the newest frame that nobody has taken yet, waiting for one up
    /// to `timeout`. For the one consumer that must not work on old frames.
    pub fn take(&self, timeout: Duration) -> Taken {
        self.shared.slot.take(timeout)
    }

    /// Whether the next frame waits already and may be lost: whoever works on
    /// the one before leaves out what can be left out.
    pub fn is_behind(&self) -> bool {
        self.loses && self.shared.slot.has_waiting()
    }

    /// Takes back a frame that was taken and is not needed any more: its
    /// memory serves for a frame to come. Not giving it back costs time only.
    pub fn give_back(&self, frame: Arc<Frame>) {
        self.shared.slot.give_back(frame);
    }

    /// The newest frame, taken or not. For previews.
    pub fn latest(&self) -> Option<Arc<Frame>> {
        self.shared.slot.newest()
    }

    /// How it goes.
    pub fn status(&self) -> FeedStatus {
        self.shared.board.status(self.shared.slot.overwritten())
    }

    /// Relates capture times to now.
    pub fn clock(&self) -> FeedClock {
        self.shared.board.clock()
    }

    /// Ends the thread and waits for it, a few seconds at most.
    pub fn stop(&self) {
        self.shared.stop.store(true, Ordering::Relaxed);
        let thread = self
            .thread
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .take();
        let Some(thread) = thread else { return };
        let since = Instant::now();
        while !thread.is_finished() && since.elapsed() < STOPPING {
            // Repeated: an unpark between its check and its park is kept by
            // std, but the thread may also wait for the slot.
            thread.thread().unpark();
            thread::sleep(Duration::from_millis(5));
        }
        if !thread.is_finished() {
            tracing::error!("a feed did not end in time; its thread is left behind");
        } else if thread.join().is_err() {
            tracing::error!("a feed's thread panicked");
        }
        self.shared.slot.end();
        self.shared.show(FeedState::Stopped, "stopped");
    }
}

impl Drop for Feed {
    fn drop(&mut self) {
        self.stop();
    }
}
