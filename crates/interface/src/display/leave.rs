//! Leaving the big screen is never one press: a key pressed twice, with
//! nothing between, or held. Presenters send Esc beside their other keys.

/// Between two presses that mean it, seconds.
const AGAIN_WITHIN_S: f64 = 3.0;
/// Two presses closer than this are one that bounced, seconds.
const BOUNCES_FOR_S: f64 = 0.15;
/// Held so long it is meant, seconds.
const HELD_S: f64 = 2.0;

/// What the keys were like in one frame.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Keys {
    /// Esc or Q went down, and not by repeating itself.
    pub(super) pressed: bool,
    /// Esc or Q is down.
    pub(super) down: bool,
    /// Another key went down.
    pub(super) other: bool,
}

/// What is to be done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Wanted {
    /// Nothing.
    Stay,
    /// It is said that a second press ends the station.
    Ask,
    /// The window closes.
    Leave,
}

/// What was pressed of late.
#[derive(Debug, Default)]
pub(super) struct Leaving {
    first_at_s: Option<f64>,
    down_since_s: Option<f64>,
}

impl Leaving {
    /// Looks at the keys of a frame at this time, seconds.
    pub(super) fn look(&mut self, keys: Keys, now_s: f64) -> Wanted {
        if keys.other {
            self.first_at_s = None;
        }
        if !keys.down {
            self.down_since_s = None;
        } else if self.down_since_s.is_none() {
            self.down_since_s = Some(now_s);
        }
        if self.down_since_s.is_some_and(|at| now_s - at >= HELD_S) {
            return Wanted::Leave;
        }
        let since = self.first_at_s.map(|at| now_s - at);
        if keys.pressed {
            match since {
                Some(s) if s < BOUNCES_FOR_S => {}
                Some(s) if s <= AGAIN_WITHIN_S => return Wanted::Leave,
                _ => self.first_at_s = Some(now_s),
            }
        }
        let open = self
            .first_at_s
            .is_some_and(|at| now_s - at <= AGAIN_WITHIN_S);
        if open || self.down_since_s.is_some() {
            Wanted::Ask
        } else {
            self.first_at_s = None;
            Wanted::Stay
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const NONE: Keys = Keys {
        pressed: false,
        down: false,
        other: false,
    };
    const PRESS: Keys = Keys {
        pressed: true,
        down: true,
        other: false,
    };
    const DOWN: Keys = Keys {
        pressed: false,
        down: true,
        other: false,
    };
    const OTHER: Keys = Keys {
        pressed: false,
        down: false,
        other: true,
    };

    #[test]
    fn one_press_never_ends_anything() {
        let mut leaving = Leaving::default();
        assert_eq!(leaving.look(PRESS, 0.0), Wanted::Ask);
        assert_eq!(leaving.look(NONE, 0.1), Wanted::Ask);
        assert_eq!(leaving.look(NONE, 3.2), Wanted::Stay);
        // And not the next one either, once the first was let go.
        assert_eq!(leaving.look(PRESS, 10.0), Wanted::Ask);
        assert_eq!(leaving.look(NONE, 10.1), Wanted::Ask);
    }

    #[test]
    fn a_second_press_or_holding_does() {
        let mut leaving = Leaving::default();
        leaving.look(PRESS, 0.0);
        leaving.look(NONE, 0.2);
        assert_eq!(leaving.look(PRESS, 1.0), Wanted::Leave);
        let mut leaving = Leaving::default();
        leaving.look(PRESS, 0.0);
        assert_eq!(leaving.look(DOWN, 1.9), Wanted::Ask);
        assert_eq!(leaving.look(DOWN, 2.0), Wanted::Leave);
    }

    #[test]
    fn a_bounce_is_one_press_and_a_presenter_that_takes_turns_ends_nothing() {
        let mut leaving = Leaving::default();
        leaving.look(PRESS, 0.0);
        leaving.look(NONE, 0.05);
        assert_eq!(leaving.look(PRESS, 0.1), Wanted::Ask);
        let mut leaving = Leaving::default();
        for i in 0..20 {
            let at = f64::from(i);
            assert_ne!(leaving.look(PRESS, at), Wanted::Leave);
            leaving.look(OTHER, at + 0.5);
        }
    }
}
