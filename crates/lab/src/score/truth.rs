//! The truth file of a rendered clip (`skater-truth-1`).

use std::collections::BTreeMap;
use std::path::Path;

use anyhow::Context;
use serde::Deserialize;

use kickplate::config::{Lane, Travel, View};
use kickplate::rules::{AgeGroup, RuleId};
use kickplate::stride::Leg;

/// Phase of a leg's cycle at its toe-off, as the renderer defines it.
const TOE_OFF_PHASE: f64 = 0.6;

/// What was rendered. Only the fields that are used here.
#[derive(Debug, Clone, Deserialize)]
pub struct Truth {
    /// Frames a second.
    pub fps: f64,
    /// Number of frames.
    pub frames: usize,
    /// Frame width, pixels.
    pub width: u32,
    /// Frame height, pixels.
    pub height: u32,
    /// Where the camera stood.
    pub view: String,
    /// `fixed` for a station's camera.
    pub cam_mode: String,
    /// The direction the lane's skaters travel: 1 along world X, -1 against.
    #[serde(default = "along")]
    pub direction: i32,
    /// The camera.
    pub camera: TruthCamera,
    /// The skater the clip is about.
    #[serde(flatten)]
    pub first: TruthSkater,
    /// Further skaters in the lane.
    #[serde(default)]
    pub others: Vec<TruthSkater>,
}

/// One rendered skater.
#[derive(Debug, Clone, Deserialize)]
pub struct TruthSkater {
    /// The body.
    pub subject: Subject,
    /// What was asked of the renderer.
    pub params: BTreeMap<String, f64>,
    /// Every push whose whole cycle lies inside the clip.
    pub pushes: Vec<TruthPush>,
    /// Phase of each leg's cycle in each frame.
    pub phase: BTreeMap<String, Vec<f64>>,
    /// Projected joints, pixels.
    pub joints2d: Vec<Vec<[f64; 2]>>,
    /// Names of the joints.
    pub joint_names: Vec<String>,
    /// Number of the pass in each frame.
    #[serde(default)]
    pub passes: Vec<i64>,
    /// Direction of travel in each frame.
    #[serde(default)]
    pub directions: Vec<i32>,
}

/// The rendered body.
#[derive(Debug, Clone, Deserialize)]
pub struct Subject {
    /// Stature, metres.
    pub height_m: f64,
    /// Age, years.
    pub age: f64,
}

/// The rendered camera.
#[derive(Debug, Clone, Deserialize)]
pub struct TruthCamera {
    /// Horizontal field of view, degrees.
    pub hfov_deg: f64,
    /// Eye, then the rows right, up, backward; one entry for a fixed camera.
    pub frames: Vec<Vec<f64>>,
}

/// One rendered push.
#[derive(Debug, Clone, Deserialize)]
pub struct TruthPush {
    /// The leg.
    pub side: Leg,
    /// Toe-off, seconds.
    pub toe_off_s: f64,
    /// Touchdown, frame.
    pub touchdown_frame: i64,
    /// Toe-off, frame.
    pub toe_off_frame: i64,
    /// Touchdown to recovery inside the frame.
    pub whole_in_view: bool,
    /// Direction of travel of its pass.
    #[serde(default = "along")]
    pub direction: i32,
    /// Everything else, the true values of the rules among it.
    #[serde(flatten)]
    values: BTreeMap<String, serde_json::Value>,
}

/// A stay of one skater in the picture: one true pass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Visit {
    /// First and last moment the middle of the hips is in the picture.
    pub span_s: [f64; 2],
    /// Direction of travel.
    pub direction: i32,
}

fn along() -> i32 {
    1
}

impl Truth {
    /// Reads a truth file.
    ///
    /// # Errors
    /// One sentence that names the file.
    pub fn load(path: &Path) -> anyhow::Result<Self> {
        let name = path.display();
        let text = std::fs::read_to_string(path)
            .with_context(|| format!("the truth file '{name}' cannot be read"))?;
        let truth: Truth = serde_json::from_str(&text)
            .with_context(|| format!("'{name}' is no truth file of a rendered clip"))?;
        let camera = truth.camera.frames.first().map_or(0, Vec::len);
        anyhow::ensure!(
            camera == 12,
            "the camera of the truth file '{name}' has {camera} numbers where 12 belong; render the clip again"
        );
        anyhow::ensure!(
            truth.skaters().all(|s| s.joints2d.len() == truth.frames),
            "the truth file '{name}' does not have {} frames of joints; render the clip again",
            truth.frames
        );
        Ok(truth)
    }

    /// Everybody who skates.
    pub fn skaters(&self) -> impl Iterator<Item = &TruthSkater> {
        std::iter::once(&self.first).chain(&self.others)
    }

    /// The lane file a coach would have written for this clip's camera.
    pub fn lane(&self) -> Lane {
        let cam = &self.camera.frames[0];
        let (eye, right, back) = (&cam[0..3], &cam[3..6], &cam[9..12]);
        let rightward = right[0] * f64::from(self.direction) > 0.0;
        let across = if rightward {
            Travel::LeftToRight
        } else {
            Travel::RightToLeft
        };
        let (view, travel) = match self.view.as_str() {
            "side" => (View::Side, across),
            "front" => (View::Front, Travel::Toward),
            "rear" => (View::Rear, Travel::Away),
            _ => (View::Oblique, across),
        };
        Lane {
            view,
            camera_height_m: eye[2],
            tilt_deg: back[2].asin().to_degrees(),
            hfov_deg: self.camera.hfov_deg,
            roll_deg: right[2].asin().to_degrees(),
            // the rendered skater follows the line y = 0
            lane_distance_m: eye[1].abs(),
            travel,
            skater_height_m: self.first.subject.height_m,
            subject: kickplate::config::Subject::Rendered,
            errors: Default::default(),
            checked: None,
        }
    }

    /// The age group the clip's skater belongs to.
    pub fn age_group(&self) -> AgeGroup {
        // Ages at the end of the year, as the groups are declared.
        let last_years = [6.0, 8.0, 10.0, 12.0, 14.0, 17.0];
        let age = self.first.subject.age.floor();
        let i = last_years.iter().take_while(|last| age > **last).count();
        AgeGroup::ALL[i]
    }

    /// Height of a skater in a frame as a share of the frame's height: nose
    /// to lowest skate point, and a tenth for the top of the helmet.
    pub fn height_share(&self, skater: &TruthSkater, frame: i64) -> f64 {
        let Some(last) = skater.joints2d.len().checked_sub(1) else {
            return 0.0;
        };
        let i = usize::try_from(frame).unwrap_or(0).min(last);
        let ys = skater.joints2d[i].iter().map(|p| p[1]);
        let (lo, hi) = ys.fold((f64::MAX, f64::MIN), |(lo, hi), y| (lo.min(y), hi.max(y)));
        1.1 * (hi - lo) / f64::from(self.height)
    }

    /// How much of a skater is behind nearer skaters during a push: the mean
    /// share of joints inside the box of somebody whose skates are lower in
    /// the picture.
    pub fn hidden_share(&self, skater: &TruthSkater, push: &TruthPush) -> f64 {
        let boxes = |s: &TruthSkater, i: usize| {
            let joints = &s.joints2d[i];
            let axis = |a: usize, pick: fn(f64, f64) -> f64, start: f64| {
                joints.iter().map(|p| p[a]).fold(start, pick)
            };
            let low = [axis(0, f64::min, f64::MAX), axis(1, f64::min, f64::MAX)];
            let high = [axis(0, f64::max, f64::MIN), axis(1, f64::max, f64::MIN)];
            [low, high]
        };
        let (mut hidden, mut all) = (0usize, 0usize);
        for i in push.touchdown_frame.max(0)..=push.toe_off_frame {
            let Some(i) = usize::try_from(i).ok().filter(|&i| i < self.frames) else {
                continue;
            };
            let own_low = boxes(skater, i)[1][1];
            let nearer: Vec<[[f64; 2]; 2]> = self
                .skaters()
                .filter(|other| !std::ptr::eq(*other, skater))
                .map(|other| boxes(other, i))
                .filter(|b| b[1][1] > own_low)
                .collect();
            let behind = |p: &[f64; 2]| {
                nearer
                    .iter()
                    .any(|[lo, hi]| (0..2).all(|a| lo[a] < p[a] && p[a] < hi[a]))
            };
            hidden += skater.joints2d[i].iter().filter(|p| behind(p)).count();
            all += skater.joints2d[i].len();
        }
        hidden as f64 / all.max(1) as f64
    }

    /// When a skater is in the picture, pass by pass.
    pub fn visits(&self, skater: &TruthSkater) -> Vec<Visit> {
        let hips: Vec<usize> = ["left_hip", "right_hip"]
            .iter()
            .filter_map(|n| skater.joint_names.iter().position(|j| j == n))
            .collect();
        let inside = |i: usize| {
            let mid = |axis: usize| {
                hips.iter()
                    .map(|&h| skater.joints2d[i][h][axis])
                    .sum::<f64>()
                    / hips.len() as f64
            };
            (0.0..f64::from(self.width)).contains(&mid(0))
                && (0.0..f64::from(self.height)).contains(&mid(1))
        };
        let pass = |i: usize| skater.passes.get(i).copied().unwrap_or(0);
        let mut visits: Vec<(i64, usize, Visit)> = Vec::new();
        for i in (0..self.frames).filter(|&i| inside(i)) {
            let at_s = i as f64 / self.fps;
            match visits.last_mut() {
                Some((p, last, visit)) if *p == pass(i) && *last + 1 == i => {
                    visit.span_s[1] = at_s;
                    *last = i;
                }
                _ => visits.push((
                    pass(i),
                    i,
                    Visit {
                        span_s: [at_s, at_s],
                        direction: skater.directions.get(i).copied().unwrap_or(1),
                    },
                )),
            }
        }
        visits.into_iter().map(|(_, _, v)| v).collect()
    }
}

impl TruthSkater {
    /// All toe-offs of a leg, those at the clip's borders too, seconds.
    pub fn toe_offs_s(&self, leg: Leg, fps: f64) -> Vec<f64> {
        let name = match leg {
            Leg::Left => "left",
            Leg::Right => "right",
        };
        let rate = self.params.get("rate").copied().unwrap_or(1.25);
        let Some(phase) = self.phase.get(name).filter(|p| !p.is_empty()) else {
            return Vec::new();
        };
        // the first at or after the clip's start, and one before it
        let first_s = (TOE_OFF_PHASE - phase[0]).rem_euclid(1.0) / rate - 1.0 / rate;
        let cycles = (phase.len() as f64 / fps * rate) as usize + 3;
        (0..cycles).map(|k| first_s + k as f64 / rate).collect()
    }

    /// The true value of a rule for one push, where the file knows it.
    pub fn measure(&self, rule: RuleId, push: &TruthPush) -> Option<f64> {
        let key = rule.rule().truth;
        let of_push = push.values.get(key.of_push).and_then(|v| v.as_f64());
        of_push.or_else(|| self.params.get(key.asked?).copied())
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    /// Two seconds at 30 frames a second, hips crossing the picture twice.
    pub fn truth(view: &str) -> Truth {
        let frames = 60;
        let x = |i: usize| -200.0 + 60.0 * (i % 30) as f64;
        let joints: Vec<[[f64; 2]; 3]> = (0..frames)
            .map(|i| [[x(i), 400.0], [x(i), 420.0], [x(i), 700.0]])
            .collect();
        let phase = |off: f64| -> Vec<f64> {
            (0..frames)
                .map(|i| (i as f64 / 30.0 * 1.25 + 0.3 + off).fract())
                .collect()
        };
        let push = |side: &str, toe_off_s: f64| {
            serde_json::json!({
                "side": side, "toe_off_s": toe_off_s, "toe_off_frame": (toe_off_s * 30.0).round() as i64, "touchdown_frame": 4,
                "whole_in_view": true, "min_knee_angle_deg": 130.0, "max_extension_angle_deg": 170.0,
                "min_heel_gap_m": 0.02, "max_wrist_cross_m": 0.1,
            })
        };
        let text = serde_json::json!({
            "fps": 30, "frames": frames, "width": 1280, "height": 720, "view": view,
            "cam_mode": "fixed", "subject": {"height_m": 1.6, "age": 13},
            "camera": {"hfov_deg": 62.0, "frames": [[0.0, -6.0, 1.2, 1.0, 0.0, 0.0, 0.0, 0.05, 0.999, 0.0, -0.999, 0.05]]},
            "params": {"rate": 1.25, "lean": 40.0},
            "pushes": [push("left", 0.24), push("right", 0.64)],
            "phase": {"left": phase(0.0), "right": phase(0.5)},
            "joints2d": joints, "joint_names": ["left_hip", "right_hip", "left_heel"],
            "passes": (0..frames).map(|i| i / 30).collect::<Vec<_>>(),
        });
        serde_json::from_value(text).unwrap()
    }

    #[test]
    fn a_file_without_the_newer_fields_is_read() {
        let t = truth("side");
        assert_eq!((t.direction, t.skaters().count()), (1, 1));
        let push = &t.first.pushes[0];
        assert_eq!(t.first.measure(RuleId::TrunkLean, push), Some(40.0));
        assert_eq!(t.first.measure(RuleId::ToeDirection, push), None);
        assert_eq!(t.age_group(), AgeGroup::U15);
    }

    #[test]
    fn the_lane_turns_with_the_direction() {
        let mut t = truth("side");
        assert_eq!(t.lane().travel, Travel::LeftToRight);
        assert!((t.lane().lane_distance_m - 6.0).abs() < 1e-9);
        t.direction = -1;
        assert_eq!(t.lane().travel, Travel::RightToLeft);
    }

    #[test]
    fn each_crossing_of_the_picture_is_a_visit() {
        let t = truth("side");
        let visits = t.visits(&t.first);
        assert_eq!(visits.len(), 2);
        // hips are inside from x = 0 (frame 4) to x < 1280 (frame 24)
        assert!((visits[0].span_s[0] - 4.0 / 30.0).abs() < 1e-9);
        assert!((visits[0].span_s[1] - 24.0 / 30.0).abs() < 1e-9);
    }

    #[test]
    fn a_skater_is_hidden_by_a_nearer_one_only() {
        let mut t = truth("front");
        let mut other = t.first.clone();
        for p in other.joints2d.iter_mut().flatten() {
            // a box that holds the first one's hips, skates lower
            p[0] += if p[1] > 500.0 { 30.0 } else { -30.0 };
            p[1] += if p[1] > 500.0 { 10.0 } else { -30.0 };
        }
        t.others.push(other);
        let push = t.first.pushes[0].clone();
        let share = t.hidden_share(&t.first, &push);
        assert!((share - 1.0).abs() < 1e-9, "{share}");
        assert!(t.hidden_share(&t.others[0], &push).abs() < 1e-9);
    }

    #[test]
    fn toe_offs_come_once_a_cycle_from_before_the_start() {
        let t = truth("side");
        let left = t.first.toe_offs_s(Leg::Left, t.fps);
        assert!((left[0] - (0.24 - 0.8)).abs() < 1e-9, "{left:?}");
        assert!((left[1] - 0.24).abs() < 1e-9);
        assert!(left.windows(2).all(|w| (w[1] - w[0] - 0.8).abs() < 1e-9));
    }
}
