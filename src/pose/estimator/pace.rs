//! How much of a frame's time finding new people may take.

/// People are looked for once in this time at most, seconds. It is a frame at
/// 30 a second; a faster camera shows nobody who was not there a frame before.
const BEAT_S: f64 = 1.0 / 30.0;
/// Times of frames shake: a beat may come this much too early, seconds.
const EARLY_S: f64 = 0.004;
/// Frames closer than this leave no time for a detector and several readings
/// in one of them, seconds.
const QUICK_S: f64 = 0.025;
/// How long after the last two frames so close the source counts as quick,
/// seconds: a dropped frame does not make it slow.
const QUICK_FOR_S: f64 = 1.0;

/// Counts the moments at which people are looked for.
#[derive(Debug, Default)]
pub(super) struct Pace {
    beats: u64,
    beat_at_s: Option<f64>,
    last_s: Option<f64>,
    quick_until_s: Option<f64>,
    on_beat: bool,
}

impl Pace {
    /// The next frame, by its capture time.
    pub(super) fn frame(&mut self, at_s: f64) {
        if self.last_s.is_some_and(|last| at_s - last < QUICK_S) {
            self.quick_until_s = Some(at_s + QUICK_FOR_S);
        }
        self.last_s = Some(at_s);
        self.on_beat = self
            .beat_at_s
            .is_none_or(|beat| at_s - beat >= BEAT_S - EARLY_S);
        if self.on_beat {
            self.beats += 1;
            self.beat_at_s = Some(at_s);
        }
    }

    /// Whether people are looked for in this frame.
    pub(super) fn on_beat(&self) -> bool {
        self.on_beat
    }

    /// How many frames were such, this one with them.
    pub(super) fn beats(&self) -> u64 {
        self.beats
    }

    /// Whether frames come so fast that a new skater's readings are spread
    /// over several of them.
    pub(super) fn is_quick(&self) -> bool {
        matches!((self.last_s, self.quick_until_s), (Some(now), Some(until)) if now < until)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn beats(times: impl Iterator<Item = f64>) -> (Vec<bool>, Pace) {
        let mut pace = Pace::default();
        let on = times
            .map(|t| {
                pace.frame(t);
                pace.on_beat()
            })
            .collect();
        (on, pace)
    }

    #[test]
    fn thirty_a_second_look_at_every_frame() {
        for period in [1.0 / 30.0, 1.0 / 25.0, 0.1] {
            let (on, pace) = beats((0..300).map(|k| f64::from(k) * period));
            assert!(on.iter().all(|on| *on), "{period}");
            assert_eq!(pace.beats(), 300);
            assert!(!pace.is_quick());
        }
        // A camera whose times shake by 3 ms.
        let shaking = (0..300).map(|k| f64::from(k) / 30.0 + 0.003 * f64::from(k % 2));
        assert!(beats(shaking).0.iter().all(|on| *on));
    }

    #[test]
    fn sixty_a_second_look_at_every_other() {
        let (on, pace) = beats((0..300).map(|k| f64::from(k) / 60.0));
        assert!(on.iter().enumerate().all(|(k, on)| *on == (k % 2 == 0)));
        assert_eq!(pace.beats(), 150);
        assert!(pace.is_quick());
    }

    #[test]
    fn one_dropped_frame_does_not_make_it_slow() {
        let (_, mut pace) = beats((0..60).map(|k| f64::from(k) / 60.0));
        pace.frame(61.0 / 60.0);
        assert!(pace.is_quick());
        for k in 0..40 {
            pace.frame(1.1 + f64::from(k) / 30.0);
        }
        assert!(!pace.is_quick());
    }
}
