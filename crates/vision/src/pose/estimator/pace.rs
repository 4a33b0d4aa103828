//! How much of a frame's time finding new people may take.

/// People are looked for once in this time at most, seconds. It is a frame at
/// 30 a second; a faster camera shows nobody who was not there a frame before.
const BEAT_S: f64 = 1.0 / 30.0;
/// Times of frames shake: a beat may come this much too early, seconds.
const EARLY_S: f64 = 0.004;
/// Frames closer than this leave no time for a detector and several readings
/// in one of them, seconds.
const QUICK_S: f64 = 0.025;
/// What one run takes of the time between two frames of a camera of
/// [`QUICK_RATE_HZ`], the crop and the motion stage in it: measured with the model
/// `full` on a slow machine of two cores.
pub(super) const LANDMARK_SHARE: f64 = 0.66;
pub(super) const LEGS_SHARE: f64 = 0.42;
pub(super) const DETECT_SHARE: f64 = 0.69;
const QUICK_RATE_HZ: f64 = 60.0;
/// Up to here, in the same shares, a frame's work is done well before those that wait
/// meanwhile would be overwritten (two wait of so fast a camera).
const MOST_WORK: f64 = 1.45;
/// Finding people, where a frame has other work, waits so long at most, seconds.
const LONGEST_WAIT_S: f64 = 0.25;
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
    /// A beat has come since people were last looked for.
    due: bool,
    waits_since_s: Option<f64>,
    /// The work of this frame and what the ones before have left over, as a slow
    /// machine would have it; see [`MOST_WORK`].
    work: f64,
    hurries: bool,
}

impl Pace {
    /// The next frame, by its capture time.
    pub(super) fn frame(&mut self, at_s: f64) {
        if self.last_s.is_some_and(|last| at_s - last < QUICK_S) {
            self.quick_until_s = Some(at_s + QUICK_FOR_S);
        }
        let passed = self
            .last_s
            .map_or(f64::INFINITY, |last| QUICK_RATE_HZ * (at_s - last));
        self.work = (self.work - passed).clamp(0.0, 1.0);
        self.last_s = Some(at_s);
        self.on_beat = self
            .beat_at_s
            .is_none_or(|beat| at_s - beat >= BEAT_S - EARLY_S);
        if self.on_beat {
            self.beats += 1;
            self.beat_at_s = Some(at_s);
            self.due = true;
        }
    }

    /// Whether the next frame waits already and may be lost: what can wait or be
    /// left out of a fast camera's frames then is, which loses less than a frame.
    pub(super) fn hurry(&mut self, on: bool) {
        self.hurries = on;
    }

    /// Whether it is so.
    pub(super) fn hurries(&self) -> bool {
        self.hurries
    }

    /// A run was made for this frame: one of the shares above.
    pub(super) fn worked(&mut self, share: f64) {
        self.work += share;
    }

    /// Whether people are to be looked for: once a beat, in its frame or, where
    /// frames come fast and that one leaves no time, in a later one.
    pub(super) fn take_due(&mut self) -> bool {
        let Some(now_s) = self.last_s.filter(|_| self.due) else {
            return false;
        };
        let full = self.hurries || self.work + DETECT_SHARE > MOST_WORK;
        let full = full && self.is_quick();
        if full && now_s - *self.waits_since_s.get_or_insert(now_s) < LONGEST_WAIT_S {
            return false;
        }
        self.waits_since_s = None;
        self.due = false;
        true
    }

    /// Whether this frame is one of some thirty a second.
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

    /// A minute of 60 frames a second, somebody followed in each, a leg read in
    /// six frames of every 36: the work left over stays below what would
    /// overwrite a frame, and people are looked for all the same.
    #[test]
    fn a_fast_camera_never_falls_behind() {
        let (mut pace, mut looked, mut most) = (Pace::default(), vec![], 0.0_f64);
        for k in 0..3600 {
            let at_s = f64::from(k) / 60.0;
            pace.frame(at_s);
            pace.worked(LANDMARK_SHARE);
            if k % 36 < 6 {
                pace.worked(LEGS_SHARE);
            }
            if pace.take_due() {
                pace.worked(DETECT_SHARE);
                looked.push(at_s);
            }
            if k > 60 {
                most = most.max(pace.work);
            }
        }
        assert!(most < 1.9, "{most}");
        let longest = looked.windows(2).map(|w| w[1] - w[0]).fold(0.0, f64::max);
        assert!(longest < LONGEST_WAIT_S, "{longest}");
        assert!(looked.len() > 60 * 20, "{}", looked.len());
    }

    /// However far behind, people are looked for after the longest wait; a slow
    /// camera's frames are the same in a hurry.
    #[test]
    fn a_hurry_puts_off_looking_for_people_for_a_while() {
        let looked = |rate_hz: f64| {
            let (mut pace, mut looked) = (Pace::default(), vec![]);
            pace.hurry(true);
            for k in 0..300 {
                let at_s = f64::from(k) / rate_hz;
                pace.frame(at_s);
                if pace.take_due() && at_s > 1.0 {
                    looked.push(at_s);
                }
            }
            let steps: Vec<f64> = looked.windows(2).map(|w| w[1] - w[0]).collect();
            let longest = steps.iter().copied().fold(0.0, f64::max);
            (steps.iter().copied().fold(1.0, f64::min), longest)
        };
        let (shortest, longest) = looked(60.0);
        assert!(shortest > LONGEST_WAIT_S - 0.02, "{shortest}");
        assert!(longest < LONGEST_WAIT_S + 0.04, "{longest}");
        assert!(looked(30.0).1 < 0.034);
    }

    /// A leg read in every frame: people are looked for after the longest wait.
    #[test]
    fn nobody_waits_for_ever_to_be_found() {
        let (mut pace, mut looked) = (Pace::default(), vec![]);
        for k in 0..600 {
            let at_s = f64::from(k) / 60.0;
            pace.frame(at_s);
            pace.worked(LANDMARK_SHARE);
            pace.worked(LEGS_SHARE);
            if pace.take_due() {
                pace.worked(DETECT_SHARE);
                looked.push(at_s);
            }
        }
        let longest = looked.windows(2).map(|w| w[1] - w[0]).fold(0.0, f64::max);
        assert!(longest < LONGEST_WAIT_S + 0.04, "{longest}");
        assert!(looked.len() >= 30, "{}", looked.len());
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
