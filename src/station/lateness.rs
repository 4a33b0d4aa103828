//! How late things were, for the summary at the end.

/// Values kept for the summary; a whole evening would not fit.
const KEPT: usize = 20_000;

/// Appends, or overwrites the oldest once the list is full; `n` counts the
/// values so far.
pub(super) fn keep_newest(values: &mut Vec<f64>, n: u64, value: f64) {
    if values.len() < KEPT {
        values.push(value);
    } else if let Some(oldest) = values.get_mut((n % KEPT as u64) as usize) {
        *oldest = value;
    }
}

/// How late things were.
#[derive(Debug, Default, Clone)]
pub struct Lateness {
    /// From the capture of a pass's last sample to its cue at the screen,
    /// seconds, pass by pass.
    pub pass_end_to_cue_s: Vec<f64>,
    /// From the capture of a frame to the end of its analysis, seconds.
    pub frame_age_s: Vec<f64>,
    /// Frames that went through the chain.
    pub frames: u64,
    /// Frames overwritten because a newer one came.
    pub dropped: u64,
    /// Seconds from the first to the last frame, by the wall.
    pub seconds: f64,
    /// From the start of the program to the first frame that was analysed,
    /// seconds.
    pub first_frame_s: Option<f64>,
}

impl Lateness {
    /// One line for people. What was not measured is not in it.
    pub fn sentence(&self) -> String {
        // Half of the values and a larger share of them lie below, ms.
        let below = |values: &[f64], share: f64| {
            let mut v = values.to_vec();
            v.sort_by(f64::total_cmp);
            let last = v.len().checked_sub(1)? as f64;
            let at = |share: f64| (1000.0 * v[(last * share).round() as usize]).round();
            Some((at(0.5), at(share)))
        };
        let mut line = format!(
            "{} frames at {:.1} a second, {} overwritten by newer ones",
            self.frames,
            self.frames as f64 / self.seconds.max(1e-3),
            self.dropped,
        );
        if let Some((half, most)) = below(&self.frame_age_s, 0.95) {
            line += &format!("; frame to result {half} ms (half), {most} ms (95 %)");
        }
        if let Some((half, worst)) = below(&self.pass_end_to_cue_s, 1.0) {
            line += &format!("; end of pass to cue {half} ms (half), {worst} ms (worst)");
        }
        if let Some(first_s) = self.first_frame_s {
            line += &format!("; first frame analysed {first_s:.2} s after the start");
        }
        line
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_not_measured_is_not_said() {
        let mut seen = Lateness::default();
        assert_eq!(
            seen.sentence(),
            "0 frames at 0.0 a second, 0 overwritten by newer ones"
        );
        (seen.frames, seen.seconds) = (4, 2.0);
        seen.frame_age_s = vec![0.030, 0.010, 0.020];
        seen.pass_end_to_cue_s = vec![0.2, 0.1, 0.3];
        seen.first_frame_s = Some(0.456);
        assert_eq!(
            seen.sentence(),
            "4 frames at 2.0 a second, 0 overwritten by newer ones; \
             frame to result 20 ms (half), 30 ms (95 %); \
             end of pass to cue 200 ms (half), 300 ms (worst); \
             first frame analysed 0.46 s after the start"
        );
    }
}
