//! When the figure of a card moves, and when it rests.
//!
//! From the ghost to the target in [`MOVE_S`], then it holds; [`TIMES`] times,
//! and from then on it rests at the target and nothing is drawn any more. Nothing
//! blinks: outlines move, colours do not change.

use super::model::Screen;

/// From ghost to target, seconds.
pub(super) const MOVE_S: f32 = 0.8;
/// How long the target is held, seconds.
pub(super) const HOLD_S: f32 = 1.2;
/// How often it is shown.
pub(super) const TIMES: u8 = 3;

/// How often a screen moves; 0 where it never does.
pub(super) fn times(screen: &Screen) -> u8 {
    match screen {
        Screen::Cue { .. } | Screen::Improved { .. } => TIMES,
        Screen::Praise { .. } => 1,
        _ => 0,
    }
}

/// How far the figure is on its way (0 to 1), so long after the card appeared;
/// `None` once it rests.
pub(super) fn share(times: u8, since_s: f32) -> Option<f32> {
    let whole = f32::from(times) * (MOVE_S + HOLD_S);
    if !since_s.is_finite() || since_s < 0.0 || since_s >= whole {
        return None;
    }
    let into = since_s % (MOVE_S + HOLD_S);
    let x = (into / MOVE_S).min(1.0);
    // Starts and ends softly.
    Some(x * x * (3.0 - 2.0 * x))
}

/// Whether the next frame differs from the one so long after the card appeared.
pub(super) fn is_moving(times: u8, since_s: f32) -> bool {
    share(times, since_s).is_some_and(|s| s < 1.0)
}

/// Seconds until it moves again while it holds; `None` where it never does.
pub(super) fn next_move_s(times: u8, since_s: f32) -> Option<f32> {
    share(times, since_s)?;
    let cycle = MOVE_S + HOLD_S;
    Some(cycle - since_s % cycle)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn three_times_there_and_then_rest() {
        assert_eq!(share(3, 0.0), Some(0.0));
        assert_eq!(share(3, MOVE_S), Some(1.0));
        assert_eq!(share(3, 1.9), Some(1.0));
        let again = share(3, 2.0 + MOVE_S / 2.0).unwrap();
        assert!((again - 0.5).abs() < 1e-4);
        assert_eq!(share(3, 6.0), None);
        assert_eq!(share(1, 2.1), None);
        assert_eq!(share(0, 0.1), None);
        assert!(is_moving(3, 0.3) && !is_moving(3, 1.5) && !is_moving(3, 7.0));
        assert!((next_move_s(3, 1.5).unwrap() - 0.5).abs() < 1e-4);
        assert_eq!(next_move_s(3, 6.5), None);
    }
}
