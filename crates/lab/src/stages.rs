//! How long the stages of the chain take, frame by frame.

use std::time::Duration;

use kickplate::pose::StageTimes;
use kickplate::station::PassTimes;

/// Values kept for each stage; the oldest make room.
pub const KEPT: usize = 20_000;

/// Durations of one stage, seconds, the newest [`KEPT`] of them.
#[derive(Debug, Clone, Default)]
pub struct Durations {
    values: Vec<f64>,
    noted: u64,
}

impl Durations {
    /// Appends, or overwrites the oldest once there are many.
    pub fn note(&mut self, value_s: f64) {
        if self.values.len() < KEPT {
            self.values.push(value_s);
        } else if let Some(oldest) = self.values.get_mut((self.noted % KEPT as u64) as usize) {
            *oldest = value_s;
        }
        self.noted += 1;
    }

    /// How many were noted, those no longer kept included.
    pub fn count(&self) -> u64 {
        self.noted
    }

    /// The values at these shares of their order (0.5: the median), by the
    /// nearest rank; `None` without values.
    pub fn at<const N: usize>(&self, shares: [f64; N]) -> Option<[f64; N]> {
        let mut sorted = self.values.clone();
        sorted.sort_by(f64::total_cmp);
        let last = sorted.len().checked_sub(1)?;
        Some(shares.map(|share| sorted[((last as f64 * share).round() as usize).min(last)]))
    }
}

/// Every stage a frame goes through behind the decoder.
#[derive(Debug, Clone, Default)]
pub struct Stages {
    /// Comparing with the background and learning it.
    pub motion: Durations,
    /// Runs of the person detector, in frames that had any.
    pub detect: Durations,
    /// Reading the models' inputs out of the frame, in frames that had any.
    pub crop: Durations,
    /// Runs of the landmark model, in frames that had any.
    pub landmark: Durations,
    /// Reading legs once more, crop included, in frames that had any.
    pub legs: Durations,
    /// The tracker, in frames that ended no pass.
    pub track: Durations,
    /// Tracker, stride, rules and the choice of the cue, in frames that ended
    /// a pass.
    pub judge: Durations,
    /// Of that, cutting a pass into pushes.
    pub stride: Durations,
    /// And holding the pushes against the rules.
    pub rules: Durations,
    /// And choosing the cue.
    pub cue: Durations,
    /// The whole chain.
    pub whole: Durations,
}

impl Stages {
    /// Notes one frame: how long it took altogether, and the pose stages'
    /// part. What is behind them is tracking, or judging where passes ended.
    pub fn frame(&mut self, whole: Duration, pose: &StageTimes, judged: bool) {
        let ran = |stage: &mut Durations, time: Duration| {
            if !time.is_zero() {
                stage.note(time.as_secs_f64());
            }
        };
        ran(&mut self.motion, pose.motion);
        ran(&mut self.detect, pose.detect);
        ran(&mut self.crop, pose.crop);
        ran(&mut self.landmark, pose.landmark);
        ran(&mut self.legs, pose.legs);
        let behind = whole.saturating_sub(pose.motion + pose.follow + pose.acquire + pose.legs);
        ran(
            if judged {
                &mut self.judge
            } else {
                &mut self.track
            },
            behind,
        );
        self.whole.note(whole.as_secs_f64());
    }

    /// Notes what a pass took.
    pub fn pass(&mut self, pass: &PassTimes) {
        self.stride.note(pass.stride.as_secs_f64());
        self.rules.note(pass.rules.as_secs_f64());
        self.cue.note(pass.cue.as_secs_f64());
    }

    /// Notes a pass that was judged beside the frames, on another thread.
    pub fn judged(&mut self, pass: &PassTimes) {
        self.pass(pass);
        let whole = pass.stride + pass.rules + pass.cue;
        self.judge.note(whole.as_secs_f64());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ranks_are_those_of_the_order() {
        let mut d = Durations::default();
        assert_eq!(d.at([0.5]), None);
        (0..101).rev().for_each(|k| d.note(f64::from(k)));
        assert_eq!(d.at([0.0, 0.5, 0.95, 1.0]), Some([0.0, 50.0, 95.0, 100.0]));
        (0..2 * KEPT).for_each(|_| d.note(7.0));
        assert_eq!((d.at([0.0, 1.0]), d.values.len()), (Some([7.0, 7.0]), KEPT));
        assert_eq!(d.count(), 101 + 2 * KEPT as u64);
    }

    #[test]
    fn what_is_behind_the_pose_is_tracking_or_judging() {
        let ms = Duration::from_millis;
        let pose = StageTimes {
            motion: ms(1),
            follow: ms(8),
            acquire: ms(2),
            crop: ms(1),
            detect: ms(0),
            landmark: ms(7),
            legs: ms(0),
        };
        let mut stages = Stages::default();
        stages.frame(ms(12), &pose, false);
        let pass = PassTimes {
            stride: ms(2),
            rules: ms(1),
            cue: ms(0),
        };
        stages.frame(ms(15), &pose, true);
        stages.pass(&pass);
        let seconds = |d: &Durations| d.at([0.5]).map(|[v]| (v * 1000.0).round());
        assert_eq!(seconds(&stages.track), Some(1.0));
        assert_eq!(seconds(&stages.judge), Some(4.0));
        let of_the_pass = [&stages.stride, &stages.rules, &stages.cue].map(seconds);
        assert_eq!(of_the_pass, [Some(2.0), Some(1.0), Some(0.0)]);
        assert_eq!(stages.detect.count(), 0, "it did not run");
        assert_eq!((stages.landmark.count(), stages.whole.count()), (2, 2));
    }
}
