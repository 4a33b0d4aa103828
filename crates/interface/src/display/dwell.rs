//! Keeps the screen from flickering.
//!
//! The screen may change state at most once a second, far below the three
//! flashes a second that are held to be safe (WCAG 2.3.1), whatever the rest
//! of the station does: about one person in 6,000 is photosensitive, and the
//! young most of all (Wilkins, Emmett, Harding 2005). Only the answer to a
//! pass is never held back; passes are seconds apart.

use std::mem::discriminant;
use std::time::{Duration, Instant};

use super::model::Screen;

/// Shortest time a state stays.
const LEAST: Duration = Duration::from_secs(1);

/// Decides whether a new screen may be shown yet.
#[derive(Debug, Default)]
pub(super) struct Dwell {
    changed_at: Option<Instant>,
}

impl Dwell {
    /// Whether `next` may take the place of `shown` now; otherwise how long
    /// it has to wait.
    pub(super) fn may_change(
        &mut self,
        shown: &Screen,
        next: &Screen,
        now: Instant,
    ) -> Result<(), Duration> {
        // A fault over an answer is not held back either: who is in the lane must
        // not read another's answer as her own.
        let is_fault = matches!(next, Screen::Fault(_)) && shown.pass_number().is_some();
        let is_answer = next.pass_number().is_some() || is_fault;
        let same_state =
            discriminant(shown) == discriminant(next) && shown.pass_number() == next.pass_number();
        if same_state {
            return Ok(());
        }
        if !is_answer && let Some(changed_at) = self.changed_at {
            let stayed = now.saturating_duration_since(changed_at);
            if stayed < LEAST {
                return Err(LEAST - stayed);
            }
        }
        self.changed_at = Some(now);
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn states_flap_at_most_once_a_second_and_answers_come_at_once() {
        let mut dwell = Dwell::default();
        let start = Instant::now();
        let at = |ms| start + Duration::from_millis(ms);
        let praise = |pass_number| Screen::Praise { pass_number };
        assert!(
            dwell
                .may_change(&Screen::Waiting, &Screen::InLane, at(0))
                .is_ok()
        );
        assert_eq!(
            dwell.may_change(&Screen::InLane, &Screen::Waiting, at(400)),
            Err(Duration::from_millis(600))
        );
        // The same state again, with another picture, is no change.
        assert!(
            dwell
                .may_change(&Screen::InLane, &Screen::InLane, at(500))
                .is_ok()
        );
        assert!(
            dwell
                .may_change(&Screen::InLane, &praise(1), at(600))
                .is_ok()
        );
        assert!(
            dwell
                .may_change(&praise(1), &Screen::Waiting, at(1500))
                .is_err()
        );
        assert!(dwell.may_change(&praise(1), &praise(2), at(1500)).is_ok());
        assert!(
            dwell
                .may_change(&praise(2), &Screen::Waiting, at(2500))
                .is_ok()
        );
    }
}
