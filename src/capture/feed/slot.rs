//! A place for one frame where the newest wins.

use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use crate::capture::Frame;

/// What a consumer got.
#[derive(Debug, Clone, PartialEq)]
pub enum Taken {
    /// The newest frame; nobody else gets it.
    Frame(Arc<Frame>),
    /// No new frame within the time given.
    Nothing,
    /// The source has ended and its last frame was taken.
    Ended,
}

/// Buffers kept on their way back to the decoder.
const USED_KEPT: usize = 2;

/// Capacity one: a frame that was not taken in time is overwritten and
/// counted, so that the consumer always works on the newest one.
#[derive(Default)]
pub(super) struct Slot {
    inner: Mutex<Inner>,
    changed: Condvar,
}

#[derive(Default)]
struct Inner {
    waiting: Option<Arc<Frame>>,
    newest: Option<Arc<Frame>>,
    used: Vec<Vec<u8>>,
    overwritten: u64,
    ended: bool,
}

impl Inner {
    /// Keeps the buffer of a frame that nobody else holds.
    fn keep_buffer(&mut self, frame: Arc<Frame>) {
        if let Some(frame) = Arc::into_inner(frame)
            && self.used.len() < USED_KEPT
        {
            self.used.push(frame.rgb);
        }
    }
}

impl Slot {
    fn lock(&self) -> MutexGuard<'_, Inner> {
        // The data is whole after every step, so a panic elsewhere while the
        // lock was held does no harm.
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Puts a frame in, over the one before.
    pub(super) fn put(&self, frame: Arc<Frame>) {
        let mut inner = self.lock();
        if inner.waiting.replace(Arc::clone(&frame)).is_some() {
            inner.overwritten += 1;
        }
        if let Some(before) = inner.newest.replace(frame) {
            inner.keep_buffer(before);
        }
        drop(inner);
        self.changed.notify_all();
    }

    /// Takes the frame out, waiting for one if need be.
    pub(super) fn take(&self, timeout: Duration) -> Taken {
        let deadline = Instant::now() + timeout;
        let mut inner = self.lock();
        loop {
            if let Some(frame) = inner.waiting.take() {
                drop(inner);
                self.changed.notify_all();
                return Taken::Frame(frame);
            }
            if inner.ended {
                return Taken::Ended;
            }
            let left = deadline.saturating_duration_since(Instant::now());
            if left.is_zero() {
                return Taken::Nothing;
            }
            inner = self
                .changed
                .wait_timeout(inner, left)
                .unwrap_or_else(PoisonError::into_inner)
                .0;
        }
    }

    /// Takes back a frame its consumer is done with.
    pub(super) fn give_back(&self, frame: Arc<Frame>) {
        self.lock().keep_buffer(frame);
    }

    /// The buffer of a frame everybody is done with.
    pub(super) fn used(&self) -> Option<Vec<u8>> {
        self.lock().used.pop()
    }

    /// Waits until the frame put in was taken. False when time ran out.
    pub(super) fn wait_taken(&self, timeout: Duration) -> bool {
        let inner = self.lock();
        let (inner, _) = self
            .changed
            .wait_timeout_while(inner, timeout, |inner| inner.waiting.is_some())
            .unwrap_or_else(PoisonError::into_inner);
        inner.waiting.is_none()
    }

    /// The newest frame, without taking it.
    pub(super) fn newest(&self) -> Option<Arc<Frame>> {
        self.lock().newest.clone()
    }

    /// Frames overwritten before they were taken.
    pub(super) fn overwritten(&self) -> u64 {
        self.lock().overwritten
    }

    /// No frame will come any more.
    pub(super) fn end(&self) {
        self.lock().ended = true;
        self.changed.notify_all();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::thread;

    fn frame(seq: u64) -> Arc<Frame> {
        Arc::new(Frame {
            seq,
            captured_at_s: seq as f64,
            width: 1,
            height: 1,
            rgb: vec![0; 3],
        })
    }

    fn seq(taken: Taken) -> Option<u64> {
        match taken {
            Taken::Frame(frame) => Some(frame.seq),
            _ => None,
        }
    }

    #[test]
    fn the_newest_wins_and_the_rest_is_counted() {
        let slot = Slot::default();
        assert_eq!(slot.take(Duration::ZERO), Taken::Nothing);
        (0..5).for_each(|n| slot.put(frame(n)));
        assert_eq!(seq(slot.take(Duration::ZERO)), Some(4));
        assert_eq!(slot.overwritten(), 4);
        assert_eq!(slot.take(Duration::ZERO), Taken::Nothing);
        assert_eq!(
            slot.newest().map(|f| f.seq),
            Some(4),
            "a preview does not consume"
        );
    }

    #[test]
    fn a_buffer_comes_back_once_nobody_holds_its_frame() {
        let slot = Slot::default();
        slot.put(frame(0));
        let Taken::Frame(held) = slot.take(Duration::ZERO) else {
            panic!("a frame was put in");
        };
        slot.put(frame(1));
        assert_eq!(slot.used(), None, "its consumer still looks at it");
        slot.give_back(held);
        assert!(slot.used().is_some());
        let Taken::Frame(held) = slot.take(Duration::ZERO) else {
            panic!("a frame was put in");
        };
        slot.give_back(held);
        assert_eq!(slot.used(), None, "still the newest, for previews");
        slot.put(frame(2));
        assert!(slot.used().is_some());
        slot.put(frame(3));
        assert!(slot.used().is_some(), "overwritten, never taken");
    }

    #[test]
    fn the_last_frame_comes_before_the_end() {
        let slot = Slot::default();
        slot.put(frame(7));
        slot.end();
        assert_eq!(seq(slot.take(Duration::ZERO)), Some(7));
        assert_eq!(slot.take(Duration::ZERO), Taken::Ended);
        assert_eq!(
            slot.take(Duration::from_secs(60)),
            Taken::Ended,
            "does not wait for what cannot come"
        );
    }

    #[test]
    fn a_waiting_consumer_is_woken() {
        let slot = Arc::new(Slot::default());
        let consumer = thread::spawn({
            let slot = Arc::clone(&slot);
            move || seq(slot.take(Duration::from_secs(60)))
        });
        slot.put(frame(3));
        assert_eq!(consumer.join().expect("no panic"), Some(3));
        assert!(slot.wait_taken(Duration::ZERO));
        slot.put(frame(4));
        assert!(!slot.wait_taken(Duration::ZERO));
    }
}
