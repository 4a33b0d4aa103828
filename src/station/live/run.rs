//! The live loop: frames from a feed through the chain to the stage.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, OnceLock};
use std::time::{Duration, Instant};

use crate::capture::{Feed, FeedState, Taken};
use crate::feedback::Cue;
use crate::pose::StageTimes;
use crate::rules::JudgedPass;
use crate::station::presenter::stage::Stage;
use crate::station::session::analyser::{Analyser, Happening};
use crate::station::session::pass_times::PassTimes;

/// Longest wait for a frame before the screen and the faults are looked at
/// again.
pub(in crate::station) const WAIT: Duration = Duration::from_millis(100);
/// Without a frame for this long, seconds, open passes end.
pub(in crate::station) const SILENT_S: f64 = 0.5;
/// A fault of the engine is logged at most this often.
pub(in crate::station) const COMPLAIN_EVERY: Duration = Duration::from_secs(10);

/// Ends every loop of the station. Shared with the window and the signals.
pub type Stop = Arc<AtomicBool>;

/// Ages kept for the summary; a whole evening would not fit.
const AGES_KEPT: usize = 20_000;

/// When the program began; the first call sets it.
pub fn began() -> Instant {
    static BEGAN: OnceLock<Instant> = OnceLock::new();
    *BEGAN.get_or_init(Instant::now)
}

/// Sees how long a frame took altogether, the pose stages' part of it, and what
/// the passes took that ended with it.
pub type FrameObserver = Box<dyn FnMut(Duration, StageTimes, Vec<PassTimes>) + Send>;

/// How late things were, for the summary at the end.
#[derive(Default)]
pub struct Lateness {
    /// From the capture of a pass's last sample to its cue at the screen,
    /// seconds, pass by pass.
    pub pass_end_to_cue_s: Vec<f64>,
    /// Passes judged.
    pub passes: u64,
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
    /// Stage by stage, where somebody wants to know.
    pub observer: Option<FrameObserver>,
}

/// Runs until the feed ends or `stop` is set. `on_pass` sees every judged
/// pass after it was announced.
pub fn run(
    feed: &Feed,
    analyser: &mut Analyser,
    stage: &mut Stage,
    stop: &Stop,
    lateness: &mut Lateness,
    mut on_pass: impl FnMut(&Stage, &JudgedPass, &Cue),
) {
    let started = Instant::now();
    let mut complained: Option<Instant> = None;
    loop {
        if stop.load(Ordering::Relaxed) {
            break;
        }
        let mut happenings = Vec::new();
        let ended = match feed.take(WAIT) {
            Taken::Frame(frame) => {
                let since = Instant::now();
                analyser.hurry(feed.is_behind());
                match analyser.push(&frame) {
                    Ok((poses, news)) => {
                        happenings = news;
                        if let Some(observer) = &mut lateness.observer {
                            let pose = analyser.estimator().stage_times();
                            let passes = happenings.iter().filter_map(Happening::pass_times);
                            observer(since.elapsed(), pose, passes.copied().collect());
                        }
                        stage.engine_fault = None;
                        stage.frame(&frame, &poses);
                        if lateness.first_frame_s.is_none() {
                            let first_s = began().elapsed().as_secs_f64();
                            lateness.first_frame_s = Some(first_s);
                            tracing::info!("first frame analysed {first_s:.2} s after the start");
                        }
                    }
                    Err(error) => {
                        if complained.is_none_or(|at| at.elapsed() > COMPLAIN_EVERY) {
                            complained = Some(Instant::now());
                            tracing::error!("the pose model failed on a frame: {error}");
                        }
                        stage.engine_fault = Some(error.to_string());
                    }
                }
                lateness.frames += 1;
                if let Some(age_s) = feed.clock().age_s(frame.captured_at_s) {
                    keep(&mut lateness.frame_age_s, lateness.frames, age_s);
                    if let Some(health) = &mut stage.health {
                        health.frame(age_s);
                    }
                }
                feed.give_back(frame);
                false
            }
            Taken::Nothing => {
                // The camera is silent: whoever was in the lane is judged now
                // and not when it comes back.
                let silent_s = feed.status().last_frame_age_s.unwrap_or(0.0);
                if silent_s > SILENT_S && analyser.somebody_passing() {
                    happenings = analyser.finish();
                }
                false
            }
            Taken::Ended => {
                happenings = analyser.finish();
                true
            }
        };
        let status = feed.status();
        let live = status.state == FeedState::Live;
        happenings.extend(analyser.due(feed.clock().captured_at(0.0), live, ended));
        for happening in happenings {
            if let Happening::Judged(judged) = happening {
                let (pass, cue) = (&judged.pass, &judged.cue);
                stage.announce(&judged, &status);
                if let Some(age_s) = feed.clock().age_s(pass.ended_at_s) {
                    let n = lateness.passes;
                    keep(&mut lateness.pass_end_to_cue_s, n, age_s);
                }
                lateness.passes += 1;
                on_pass(stage, pass, cue);
            }
        }
        if let Some(model) = analyser.take_model_change() {
            stage.model_changed(model, analyser);
        }
        stage.show(&status, analyser.somebody_passing());
        stage.pulse(&status, lateness);
        if ended {
            break;
        }
    }
    lateness.dropped += feed.status().dropped;
    lateness.seconds += started.elapsed().as_secs_f64();
}

/// Appends, or overwrites the oldest once the list is full.
fn keep(values: &mut Vec<f64>, n: u64, value: f64) {
    if values.len() < AGES_KEPT {
        values.push(value);
    } else if let Some(oldest) = values.get_mut((n % AGES_KEPT as u64) as usize) {
        *oldest = value;
    }
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
