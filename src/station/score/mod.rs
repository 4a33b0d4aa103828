//! Scores the whole chain against rendered clips whose truth is exact.
//!
//! Takes: a folder of clips, each a folder with `clip.mp4` and `truth.json`.
//! Gives: a [`ScoreReport`]: pushes found, toe-off times, and for every
//! measure how far off it is, by view.
//! Fails: a clip that cannot be read is named; the others are scored.

mod report;
mod truth;

use std::collections::BTreeMap;

use crate::config::Lane;
use crate::pose::PoseFrame;
use crate::rules::{AgeGroup, JudgedPass, JudgedPush, RULES, Thresholds, judge};
use crate::stride::cut;
use crate::track::{TrackEvent, TrackSettings, Tracker};

pub use report::ScoreReport;
pub use truth::{Truth, TruthPush};

/// A found push belongs to a true one of the same leg within this time.
const MATCH_S: f64 = 0.2;
/// Pushes of skaters smaller than this share of the frame height are not
/// asked for.
const MIN_HEIGHT_SHARE: f64 = 0.12;

/// Everything one clip has to say.
#[derive(Debug, Clone, Default)]
pub struct ClipScore {
    /// Name of the clip.
    pub name: String,
    /// View it was rendered from.
    pub view: String,
    /// Pushes asked for: whole in view and large enough.
    pub asked: usize,
    /// Of those, found.
    pub found: usize,
    /// Found where no push was.
    pub false_pushes: usize,
    /// All pushes reported.
    pub reported: usize,
    /// Toe-off error of every matched push, in frames of 1/30 s.
    pub toe_off_frames: Vec<f64>,
    /// Per measure: (leg is near, estimate, truth, judged).
    pub measures: BTreeMap<&'static str, Vec<Compared>>,
    /// Asked-for pushes that were not found: leg and toe-off time.
    pub missed: Vec<String>,
    /// Pushes found where none was.
    pub invented: Vec<String>,
}

/// One measure of one matched push.
#[derive(Debug, Clone, Copy)]
pub struct Compared {
    /// Whether the leg was the nearer one.
    pub near_leg: Option<bool>,
    /// What the station says.
    pub value: Option<f64>,
    /// Whether it stands by it.
    pub judged: bool,
    /// What was rendered.
    pub truth: f64,
}

/// Judges poses as the station does, from the first frame to the last.
pub fn judge_poses(
    frames: impl Iterator<Item = PoseFrame>,
    lane: &Lane,
    thresholds: &Thresholds,
) -> Vec<JudgedPass> {
    let mut tracker = Tracker::new(lane.clone(), TrackSettings::default());
    let mut passes = Vec::new();
    let mut take = |events: Vec<TrackEvent>| {
        for event in events {
            if let TrackEvent::PassEnded(pass) = event {
                passes.push(judge(&cut(&pass, lane), thresholds));
            }
        }
    };
    for frame in frames {
        take(tracker.push(&frame));
    }
    take(tracker.finish());
    passes
}

/// Scores one clip from its poses.
pub fn score_clip(name: &str, truth: &Truth, frames: impl Iterator<Item = PoseFrame>) -> ClipScore {
    let thresholds = Thresholds::defaults(AgeGroup::Adult);
    let passes = judge_poses(frames, &truth.lane(), &thresholds);
    let pushes: Vec<&JudgedPush> = passes.iter().flat_map(|p| &p.pushes).collect();
    let mut score = ClipScore {
        name: name.to_owned(),
        view: truth.view.clone(),
        reported: pushes.len(),
        ..ClipScore::default()
    };
    for push in &truth.pushes {
        let asked =
            push.whole_in_view && truth.height_share(push.toe_off_frame) >= MIN_HEIGHT_SHARE;
        score.asked += usize::from(asked);
        let found = pushes
            .iter()
            .find(|p| p.leg == push.side && (p.toe_off_s - push.toe_off_s).abs() <= MATCH_S);
        match found {
            Some(found) => {
                score.found += usize::from(asked);
                if asked {
                    score.compare(truth, push, found);
                }
            }
            None if asked => score
                .missed
                .push(format!("{:?} {:.2}", push.side, push.toe_off_s)),
            None => {}
        }
    }
    for p in pushes {
        let real = truth
            .all_toe_offs_s(p.leg)
            .any(|t| (t - p.toe_off_s).abs() <= MATCH_S);
        if !real {
            score.false_pushes += 1;
            score
                .invented
                .push(format!("{:?} {:.2}", p.leg, p.toe_off_s));
        }
    }
    score
}

impl ClipScore {
    fn compare(&mut self, truth: &Truth, push: &TruthPush, found: &JudgedPush) {
        self.toe_off_frames
            .push((found.toe_off_s - push.toe_off_s) * 30.0);
        for (rule, measure) in RULES.iter().zip(&found.measures) {
            let Some(true_value) = truth.measure(rule.measure, push) else {
                continue;
            };
            self.measures
                .entry(rule.measure)
                .or_default()
                .push(Compared {
                    near_leg: found.near_leg,
                    value: measure.value,
                    judged: measure.judged,
                    truth: true_value,
                });
        }
    }
}
