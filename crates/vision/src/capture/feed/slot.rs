//! A place for frames where the newest wins.

use std::collections::VecDeque;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use crate::capture::Frame;

/// What a consumer got.
#[derive(Debug, Clone, PartialEq)]
pub enum Taken {
    /// The frame that has waited longest, hardly older than the newest; nobody else
    /// gets it.
    Frame(Arc<Frame>),
    /// No new frame within the time given.
    Nothing,
    /// The source has ended and its last frame was taken.
    Ended,
}

/// Buffers kept on their way back to the decoder.
const USED_KEPT: usize = 2;

/// A frame waits until one comes that was captured this much later, seconds: of a
/// camera of 30 a second one waits, of one of 60 two, which carries a slow machine
/// over a frame or two that took longer, and the delay is the same.
const HELD_S: f64 = 0.025;

/// A frame that was not taken in time is overwritten and counted, so that the
/// consumer always works on the newest, or nearly ([`HELD_S`]). Counted from the
/// moment on in which the consumer first asks for one: a camera opens while the
/// models load.
#[derive(Default)]
pub(super) struct Slot {
    inner: Mutex<Inner>,
    changed: Condvar,
}

#[derive(Default)]
struct Inner {
    /// Oldest first.
    waiting: VecDeque<Arc<Frame>>,
    newest: Option<Arc<Frame>>,
    used: Vec<Vec<u8>>,
    asked_for: bool,
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

    /// Puts a frame in, over those that have waited too long.
    pub(super) fn put(&self, frame: Arc<Frame>) {
        let mut inner = self.lock();
        let at_s = frame.captured_at_s;
        // a time that ran backward begins another scene
        let held = |old: &Frame| (0.0..HELD_S).contains(&(at_s - old.captured_at_s));
        while let Some(old) = inner.waiting.pop_front_if(|old| !held(old)) {
            inner.overwritten += u64::from(inner.asked_for);
            inner.keep_buffer(old);
        }
        inner.waiting.push_back(Arc::clone(&frame));
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
        inner.asked_for = true;
        loop {
            if let Some(frame) = inner.waiting.pop_front() {
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

    /// Whether a frame is there that nobody has taken yet.
    pub(super) fn has_waiting(&self) -> bool {
        !self.lock().waiting.is_empty()
    }

    /// Takes back a frame its consumer is done with.
    pub(super) fn give_back(&self, frame: Arc<Frame>) {
        self.lock().keep_buffer(frame);
    }

    /// The buffer of a frame everybody is done with.
    pub(super) fn used(&self) -> Option<Vec<u8>> {
        self.lock().used.pop()
    }

    /// Waits until what was put in was taken. False when time ran out.
    pub(super) fn wait_taken(&self, timeout: Duration) -> bool {
        let inner = self.lock();
        let (inner, _) = self
            .changed
            .wait_timeout_while(inner, timeout, |inner| !inner.waiting.is_empty())
            .unwrap_or_else(PoisonError::into_inner);
        inner.waiting.is_empty()
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

    /// Of a camera of 60 a second two frames wait, of one of 100 a second three.
    #[test]
    fn of_a_fast_camera_as_many_wait_as_of_a_slow_one_in_time() {
        for (rate_hz, expected) in [(30.0, 1), (50.0, 2), (60.0, 2), (100.0, 3)] {
            let slot = Slot::default();
            assert_eq!(slot.take(Duration::ZERO), Taken::Nothing);
            for n in 0..20 {
                let mut next = frame(n);
                Arc::get_mut(&mut next)
                    .expect("nobody else has it")
                    .captured_at_s = n as f64 / rate_hz;
                slot.put(next);
            }
            let mut waiting = Vec::new();
            while let Some(seq) = seq(slot.take(Duration::ZERO)) {
                waiting.push(seq);
            }
            let newest: Vec<u64> = (20 - expected..20).collect();
            assert_eq!(waiting, newest, "{rate_hz}");
            assert_eq!(slot.overwritten(), 20 - expected);
        }
    }

    #[test]
    fn what_comes_before_anybody_asks_is_not_lost_by_being_late() {
        let slot = Slot::default();
        (0..5).for_each(|n| slot.put(frame(n)));
        assert_eq!(slot.overwritten(), 0);
        assert_eq!(seq(slot.take(Duration::ZERO)), Some(4));
        (5..8).for_each(|n| slot.put(frame(n)));
        assert_eq!(slot.overwritten(), 2);
    }

    #[test]
    fn a_time_that_runs_backward_leaves_nothing_waiting() {
        let slot = Slot::default();
        slot.put(frame(9));
        slot.put(frame(2));
        assert_eq!(seq(slot.take(Duration::ZERO)), Some(2));
        assert_eq!(slot.take(Duration::ZERO), Taken::Nothing);
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
