//! The queue from one start to the next: written down a moment after it
//! changed, taken up at the start.

use std::time::{Duration, Instant};

use jiff::{ToSpan, Zoned};

use super::{OPEN_AGAIN, Service};
use crate::roster::Queue;

/// It is written once it has rested for so long: the pass that moved it is
/// written first, and a coach's steps are written together.
const RESTS: Duration = Duration::from_millis(500);
/// And no later than this.
const AT_LATEST: Duration = Duration::from_secs(3);
/// A queue of an earlier day is taken up within so many hours all the same:
/// some skate past midnight.
const PAST_MIDNIGHT_H: i64 = 3;
/// How long it is said that the queue is that of the last start.
const SAID_FOR: Duration = Duration::from_secs(600);

/// What is to be written of the queue, and what was taken up.
#[derive(Default)]
pub(super) struct QueueKeeper {
    /// The count of changes that was seen last.
    seen: u64,
    /// The first and the last change that are not written yet.
    open: Option<(Instant, Instant, Zoned)>,
    /// After a failure, not before this.
    not_before: Option<Instant>,
    /// Whether the queue of the last start was looked for.
    looked: bool,
    /// When the queue that was taken up had last changed, hours and minutes.
    taken_up: Option<String>,
}

impl QueueKeeper {
    fn note_change(&mut self) {
        let now = Instant::now();
        let first = self.open.as_ref().map_or(now, |open| open.0);
        self.open = Some((first, now, Zoned::now()));
    }

    fn is_due(&self) -> bool {
        let due = |(first, last, _): &(Instant, Instant, Zoned)| {
            last.elapsed() >= RESTS || first.elapsed() >= AT_LATEST
        };
        self.open.as_ref().is_some_and(due) && self.not_before.is_none_or(|at| Instant::now() >= at)
    }
}

impl Service {
    /// Takes up the queue of the last start, once; in a further sessions file
    /// the queue has to be written anew.
    pub(super) fn take_up_queue(&mut self) {
        if std::mem::replace(&mut self.queue.looked, true) {
            self.queue.note_change();
            return;
        }
        let Some(archive) = &self.archive else {
            return;
        };
        let kept = match archive.kept_queue() {
            Ok(kept) => kept,
            Err(error) => {
                tracing::warn!(%error, "the queue of the last start could not be read");
                return;
            }
        };
        let Some(kept) = kept.filter(|k| still_holds(&k.changed_at, &Zoned::now())) else {
            return;
        };
        let known = &self.view.roster;
        let knows = |id| known.iter().any(|s| s.id == id);
        let queue = Queue::kept(&kept.now, &kept.earlier, knows);
        let places = queue.order().len();
        if self.session.take_up_queue(queue).unwrap_or(false) {
            tracing::info!(places, "the queue of the last start was taken up");
            self.queue.seen = self.session.view().queue.changes;
            self.queue.taken_up = Some(kept.changed_at.strftime("%H:%M").to_string());
        }
    }

    /// Writes the queue down where it changed and has rested.
    pub(super) fn look_after_queue(&mut self) {
        let changes = self.session.view().queue.changes;
        if changes != self.queue.seen {
            self.queue.seen = changes;
            self.queue.note_change();
        }
        if self.queue.is_due() {
            self.write_queue();
        }
    }

    pub(super) fn write_queue(&mut self) {
        let (Some((.., changed_at)), Some(archive)) = (&self.queue.open, &self.archive) else {
            return;
        };
        let queue = &self.session.view().kept_queue;
        match archive.keep_queue(queue, changed_at) {
            Ok(()) => (self.queue.open, self.queue.not_before) = (None, None),
            Err(error) => {
                tracing::warn!(%error, "the queue could not be written and is tried again");
                self.queue.not_before = Some(Instant::now() + OPEN_AGAIN);
            }
        }
    }

    /// Since when the queue stands as it does, where it is that of the last
    /// start and nobody has touched it.
    pub(super) fn queue_taken_up(&self) -> Option<String> {
        let untouched = self.session.view().queue.by_hand == Queue::BY_HAND_AS_KEPT;
        let fresh = self.started.elapsed() < SAID_FOR;
        self.queue.taken_up.clone().filter(|_| untouched && fresh)
    }
}

/// Whether a queue that last changed then is that of today.
fn still_holds(changed_at: &Zoned, now: &Zoned) -> bool {
    let there = changed_at.with_time_zone(now.time_zone().clone());
    let not_long_ago = now
        .checked_sub(PAST_MIDNIGHT_H.hours())
        .is_ok_and(|from| (from..=now.clone()).contains(changed_at));
    there.date() == now.date() || not_long_ago
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_queue_holds_for_its_day_and_a_little_past_midnight() {
        let holds = |changed: &str, now: &str| {
            let at = |text: &str| -> Zoned { format!("{text}[Europe/Zurich]").parse().unwrap() };
            still_holds(&at(changed), &at(now))
        };
        let evening = "2026-11-25T23:10:00+01:00";
        assert!(holds("2026-11-25T06:30:00+01:00", evening));
        assert!(holds(evening, "2026-11-26T01:50:00+01:00"));
        assert!(!holds(evening, "2026-11-26T02:20:00+01:00"));
        assert!(!holds("2026-11-24T18:00:00+01:00", evening));
        // A clock that was set back by days makes no queue of today.
        assert!(!holds("2026-11-28T18:00:00+01:00", evening));
        // The same hour in another zone.
        let utc: Zoned = "2026-11-25T22:30:00+00:00[UTC]".parse().unwrap();
        let now: Zoned = "2026-11-26T00:10:00+01:00[Europe/Zurich]".parse().unwrap();
        assert!(still_holds(&utc, &now));
    }
}
