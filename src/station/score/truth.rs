//! The truth file of a rendered clip.

use std::collections::BTreeMap;

use serde::Deserialize;

use crate::config::{Lane, Travel, View};
use crate::stride::Leg;

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
    /// The skater.
    pub subject: Subject,
    /// The camera.
    pub camera: TruthCamera,
    /// What was asked of the renderer.
    pub params: BTreeMap<String, f64>,
    /// Every push whose whole cycle lies inside the clip.
    pub pushes: Vec<TruthPush>,
    /// Phase of each leg's cycle in each frame; toe-off at 0.6.
    pub phase: BTreeMap<String, Vec<f64>>,
    /// Projected joints, pixels.
    pub joints2d: Vec<Vec<[f64; 2]>>,
    /// Names of the joints.
    pub joint_names: Vec<String>,
}

/// The rendered skater.
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
    /// Toe-off, frame.
    pub toe_off_frame: i64,
    /// Touchdown to recovery inside the frame.
    pub whole_in_view: bool,
    /// Deepest included knee angle of the glide, degrees.
    pub min_knee_angle_deg: f64,
    /// Largest included knee angle of the push, degrees.
    pub max_extension_angle_deg: f64,
    /// Smallest free gap between the boots, metres.
    pub min_heel_gap_m: f64,
    /// Farthest the wrist passes the middle line, metres.
    pub max_wrist_cross_m: f64,
}

impl Truth {
    /// The lane file a coach would have written for this clip's camera.
    pub fn lane(&self) -> Lane {
        let cam = &self.camera.frames[0];
        let (eye, right, back) = (&cam[0..3], &cam[3..6], &cam[9..12]);
        let (view, travel) = match self.view.as_str() {
            "side" => (View::Side, Travel::LeftToRight),
            "front" => (View::Front, Travel::Toward),
            "rear" => (View::Rear, Travel::Away),
            _ if right[0] > 0.0 => (View::Oblique, Travel::LeftToRight),
            _ => (View::Oblique, Travel::RightToLeft),
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
            skater_height_m: self.subject.height_m,
        }
    }

    /// Height of the skater in a frame as a share of the frame's height:
    /// nose to lowest skate point, and a tenth for the top of the helmet.
    pub fn height_share(&self, frame: i64) -> f64 {
        let i = frame.clamp(0, self.joints2d.len() as i64 - 1) as usize;
        let ys = self.joints2d[i].iter().map(|p| p[1]);
        let (lo, hi) = ys.fold((f64::MAX, f64::MIN), |(lo, hi), y| (lo.min(y), hi.max(y)));
        1.1 * (hi - lo) / f64::from(self.height)
    }

    /// All toe-offs of a leg, those at the clip's borders too, seconds.
    pub fn all_toe_offs_s(&self, leg: Leg) -> impl Iterator<Item = f64> + '_ {
        let name = match leg {
            Leg::Left => "left",
            Leg::Right => "right",
        };
        let phase = self.phase.get(name).map_or(&[][..], Vec::as_slice);
        let rate = self.params.get("rate").copied().unwrap_or(1.25);
        phase
            .iter()
            .enumerate()
            .map(move |(i, ph)| i as f64 / self.fps + (0.6 - ph) / rate)
    }

    /// The true value of a measure for one push, where the file knows it.
    pub fn measure(&self, key: &str, push: &TruthPush) -> Option<f64> {
        match key {
            "glide_knee_included_deg" => Some(push.min_knee_angle_deg),
            "extension_included_deg" => Some(push.max_extension_angle_deg),
            "heel_gap_m" => Some(push.min_heel_gap_m),
            "hand_cross_m" => Some(push.max_wrist_cross_m),
            "trunk_lean_deg" => self.params.get("lean").copied(),
            "toe_out_deg" => self.params.get("toe_out").copied(),
            _ => None,
        }
    }
}
