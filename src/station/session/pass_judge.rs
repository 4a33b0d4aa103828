//! A finished pass, judged: cut into pushes, held against the rules, its cue
//! chosen. Pure but for measuring how long that takes.

use std::sync::Arc;
use std::time::{Duration, Instant};

use super::cue_selectors::CueSelectors;
use super::pass_times::PassTimes;
use super::skater_queue::CurrentSkater;
use crate::config::Lane;
use crate::feedback::{Cue, FeedbackSettings, SetSummary};
use crate::multi_camera::merge;
use crate::pose::ModelKind;
use crate::roster::SkaterId;
use crate::rules::{JudgedPass, NotJudged, RuleId, Thresholds, judge};
use crate::stride::{PassMotion, cut};
use crate::track::{Pass, TrackSettings};

/// What passes are judged with.
#[derive(Debug, Clone, PartialEq)]
pub struct Judging {
    /// The camera set-up.
    pub lane: Lane,
    /// The limits of the age group.
    pub thresholds: Thresholds,
    /// When a passing person counts.
    pub track: TrackSettings,
    /// How cues are chosen.
    pub feedback: FeedbackSettings,
}

/// A pass that is measured and not spoken about yet.
pub struct MeasuredPass {
    /// What was measured and flagged.
    pub pass: JudgedPass,
    /// The motion it was measured from.
    pub motion: PassMotion,
    /// Whose pass it is, where that is known.
    pub skater: Option<CurrentSkater>,
    /// The body points as they were tracked.
    pub points: Pass,
    /// The camera set-up, where it is not the lane's.
    pub lane: Option<Lane>,
    /// Whether the station's own camera saw it, whose pictures are kept.
    pub own_pictures: bool,
    /// What it took so far.
    pub times: PassTimes,
}

impl MeasuredPass {
    /// The same, with nothing judged where its camera was moved.
    #[must_use]
    pub fn of_moved_camera(self, moved: bool) -> Self {
        match moved {
            true => MeasuredPass {
                pass: self.pass.not_judged(NotJudged::CameraMoved),
                ..self
            },
            false => self,
        }
    }
}

/// A pass that is complete. The second camera's points are on the first
/// one's clock.
pub enum Complete {
    /// Only the first camera saw it.
    First(Box<MeasuredPass>),
    /// Both saw it.
    Both(Box<MeasuredPass>, Box<Pass>, ModelKind),
    /// Only the second camera saw it.
    Second(Box<Pass>, ModelKind),
}

/// A finished pass with all that is known of it.
#[derive(Debug, Clone)]
pub struct FinishedPass {
    /// What was measured and flagged.
    pub pass: JudgedPass,
    /// What is said.
    pub cue: Cue,
    /// The motion it was measured from.
    pub motion: Arc<PassMotion>,
    /// What the set was like that this pass completed.
    pub summary: Option<SetSummary>,
    /// Whose pass it is, where that is known.
    pub skater: Option<SkaterId>,
    /// Whether pictures of this skater may be kept.
    pub consents: bool,
    /// The body points as they were tracked.
    pub points: Arc<Pass>,
    /// The camera set-up it was measured with, where it is not the lane's:
    /// with the skater's own stature.
    pub lane: Option<Lane>,
    /// Whether the station's own camera saw it, whose pictures are kept.
    pub own_pictures: bool,
    /// What it took.
    pub times: PassTimes,
}

/// Stride engine, rules and the choice of cues.
pub struct PassJudge {
    judging: Judging,
    selectors: CueSelectors,
}

impl PassJudge {
    /// At the beginning of a session.
    pub fn new(judging: Judging) -> Self {
        PassJudge {
            selectors: CueSelectors::new(judging.feedback.clone()),
            judging,
        }
    }

    /// A pass of nobody that was spoken about in an earlier run.
    pub fn remember(&mut self, pass: &JudgedPass) {
        self.selectors.after_pass(None, None, pass);
    }

    /// What the passes are judged with at the moment.
    pub fn judging(&self) -> &Judging {
        &self.judging
    }

    /// Other limits or other feedback, from the next pass on. Another lane is a
    /// [`PassJudge::change`].
    pub fn set_judging(&mut self, judging: Judging) {
        self.selectors.set_settings(&judging.feedback);
        self.judging = judging;
    }

    /// Another lane or another source: what the earlier passes were like is
    /// forgotten, the count of passes goes on.
    pub fn change(&mut self, judging: Judging) {
        self.set_judging(judging);
        self.selectors.forget();
    }

    /// An earlier pass was somebody else's; `focus` and `limits` are theirs.
    pub fn correct(
        &mut self,
        number: u32,
        to: Option<SkaterId>,
        focus: Option<RuleId>,
        limits: Option<&Thresholds>,
    ) {
        self.selectors.correct(number, to, focus, limits);
    }

    /// A pass the station's own camera saw.
    pub fn measure(
        &self,
        pass: Pass,
        read_by: ModelKind,
        skater: Option<CurrentSkater>,
    ) -> MeasuredPass {
        let lane = lane_of(&self.judging.lane, read_by, skater.as_ref());
        let own_lane = Some(&lane)
            .filter(|own| **own != self.judging.lane)
            .cloned();
        MeasuredPass {
            lane: own_lane,
            own_pictures: true,
            ..self.measure_on(lane, read_by, skater, pass)
        }
    }

    /// A pass the station's own camera missed and the second one saw.
    fn measure_second(
        &self,
        second: &Lane,
        theirs: Pass,
        read_by: ModelKind,
        skater: Option<CurrentSkater>,
    ) -> MeasuredPass {
        let lane = lane_of(second, read_by, skater.as_ref());
        self.measure_on(lane, read_by, skater, theirs)
    }

    /// What the second camera saw of a pass is put to it.
    fn put_together(
        &self,
        second: &Lane,
        measured: MeasuredPass,
        theirs: &Pass,
        read_by: ModelKind,
    ) -> MeasuredPass {
        let lane = lane_of(second, read_by, measured.skater.as_ref());
        let (_, judged, times) = judge_points(theirs, &lane, read_by, &measured.pass.thresholds);
        MeasuredPass {
            pass: merge(measured.pass, &judged),
            times: PassTimes {
                stride: measured.times.stride + times.stride,
                rules: measured.times.rules + times.rules,
                ..measured.times
            },
            ..measured
        }
    }

    /// What both cameras saw of a pass, or one of them. `skater_of` says whose
    /// track it is.
    pub fn complete(
        &self,
        second: &Lane,
        complete: Complete,
        skater_of: impl FnOnce(u32) -> Option<CurrentSkater>,
    ) -> MeasuredPass {
        match complete {
            Complete::First(measured) => *measured,
            Complete::Both(measured, theirs, read_by) => {
                self.put_together(second, *measured, &theirs, read_by)
            }
            Complete::Second(theirs, read_by) => {
                let skater = skater_of(theirs.track_id);
                self.measure_second(second, *theirs, read_by, skater)
            }
        }
    }

    fn measure_on(
        &self,
        lane: Lane,
        read_by: ModelKind,
        skater: Option<CurrentSkater>,
        points: Pass,
    ) -> MeasuredPass {
        let thresholds = skater
            .as_ref()
            .map_or(&self.judging.thresholds, |s| &s.thresholds);
        let (motion, pass, times) = judge_points(&points, &lane, read_by, thresholds);
        MeasuredPass {
            pass,
            motion,
            times,
            skater,
            points,
            lane: Some(lane),
            own_pictures: false,
        }
    }

    /// Chooses what is said of a pass.
    pub fn finish(&mut self, measured: MeasuredPass) -> FinishedPass {
        let skater = measured.skater.as_ref().map(|s| s.id);
        let focus = measured.skater.as_ref().and_then(|s| s.focus);
        let began = Instant::now();
        let (cue, summary) = self.selectors.after_pass(skater, focus, &measured.pass);
        FinishedPass {
            times: PassTimes {
                cue: began.elapsed(),
                ..measured.times
            },
            pass: measured.pass,
            cue,
            motion: Arc::new(measured.motion),
            summary,
            skater,
            consents: measured.skater.is_some_and(|s| s.consents),
            points: Arc::new(measured.points),
            lane: measured.lane,
            own_pictures: measured.own_pictures,
        }
    }
}

/// A pass cut into pushes and held against the rules, and what that took.
pub fn judge_points(
    points: &Pass,
    lane: &Lane,
    read_by: ModelKind,
    thresholds: &Thresholds,
) -> (PassMotion, JudgedPass, PassTimes) {
    let began = Instant::now();
    let motion = PassMotion {
        read_by,
        ..cut(points, lane)
    };
    let stride = began.elapsed();
    let pass = judge(&motion, thresholds);
    let times = PassTimes {
        stride,
        rules: began.elapsed().saturating_sub(stride),
        cue: Duration::ZERO,
    };
    (motion, pass, times)
}

/// A lane with the stature of who skates on it, where that is known: it gives
/// the picture a better scale. A check with another model says nothing of what
/// this one reads, and is not stored with its pass.
fn lane_of(lane: &Lane, read_by: ModelKind, skater: Option<&CurrentSkater>) -> Lane {
    let lane = Lane {
        checked: lane.checked.filter(|check| check.model == read_by),
        ..lane.clone()
    };
    match skater.and_then(|s| s.height_m) {
        Some(stature_m) => lane.of_skater(stature_m),
        None => lane,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibration::Checked;

    #[test]
    fn a_check_counts_for_the_model_it_was_made_with() {
        let file = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("demo/side-good.toml");
        let lane = Lane {
            checked: Some(Checked {
                date: None,
                persons: 3,
                model: ModelKind::Full,
                knee: None,
                extension: None,
                heel_gap: None,
                trunk: None,
            }),
            ..Lane::load(&file).unwrap()
        };
        assert_eq!(lane_of(&lane, ModelKind::Full, None), lane);
        assert_eq!(lane_of(&lane, ModelKind::Lite, None).checked, None);
    }
}
