//! The set-up of one fixed camera over the ice.

use serde::{Deserialize, Serialize};

use super::lane_errors::LaneErrors;
use crate::calibration::Checked;

/// From where the camera sees the skater.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum View {
    /// Square to the line of travel.
    Side,
    /// The skater comes toward the camera.
    Front,
    /// The skater leaves the camera.
    Rear,
    /// Anything in between.
    Oblique,
}

/// The direction of a pass as the picture shows it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Travel {
    /// From the left edge of the picture to the right.
    LeftToRight,
    /// From the right edge of the picture to the left.
    RightToLeft,
    /// Toward the camera.
    Toward,
    /// Away from the camera.
    Away,
}

impl View {
    /// All views, in the order of their names in files.
    pub const ALL: [View; 4] = [View::Side, View::Front, View::Rear, View::Oblique];

    /// The name used in files and on the command line.
    pub fn name(self) -> &'static str {
        match self {
            View::Side => "side",
            View::Front => "front",
            View::Rear => "rear",
            View::Oblique => "oblique",
        }
    }

    /// The view of that name; upper and lower case are the same.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL
            .into_iter()
            .find(|v| v.name().eq_ignore_ascii_case(name))
    }
}

impl Travel {
    /// All directions, in the order of their names in files.
    pub const ALL: [Travel; 4] = [
        Travel::LeftToRight,
        Travel::RightToLeft,
        Travel::Toward,
        Travel::Away,
    ];

    /// The name used in files.
    pub fn name(self) -> &'static str {
        match self {
            Travel::LeftToRight => "left_to_right",
            Travel::RightToLeft => "right_to_left",
            Travel::Toward => "toward",
            Travel::Away => "away",
        }
    }
}

/// Who stands before the camera. It decides what values may be shifted by: what
/// was learned on rendered bodies holds for those alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Subject {
    /// People of flesh and blood.
    #[default]
    People,
    /// Bodies drawn by a renderer: the demo, the scored sets, the tests.
    Rendered,
}

impl Subject {
    /// Both, in the order of their names in files.
    pub const ALL: [Subject; 2] = [Subject::People, Subject::Rendered];

    /// The name used in files.
    pub fn name(self) -> &'static str {
        match self {
            Subject::People => "people",
            Subject::Rendered => "rendered",
        }
    }

    /// Of a record that does not say it: it was made by a program that shifted
    /// everybody's values as if they were rendered.
    fn of_older_records() -> Self {
        Subject::Rendered
    }
}

impl Travel {
    /// Direction over the ice, world x and y.
    pub fn heading(self) -> [f64; 2] {
        match self {
            Travel::LeftToRight => [1.0, 0.0],
            Travel::RightToLeft => [-1.0, 0.0],
            Travel::Toward => [0.0, -1.0],
            Travel::Away => [0.0, 1.0],
        }
    }
}

/// A validated lane: one fixed camera, one line the skaters follow.
///
/// Settings files become a lane through [`Lane::load`], which checks them.
/// `Deserialize` is for records this program wrote itself, and checks nothing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Lane {
    /// From where the camera sees the skater.
    pub view: View,
    /// Lens above the ice, metres.
    pub camera_height_m: f64,
    /// Downward tilt of the optical axis, degrees (positive = looking down).
    pub tilt_deg: f64,
    /// Horizontal field of view, degrees.
    pub hfov_deg: f64,
    /// Roll about the optical axis, degrees (positive = picture turned
    /// clockwise, so that the horizon falls to the left).
    pub roll_deg: f64,
    /// Square distance from the lens to the line the skaters follow, metres.
    pub lane_distance_m: f64,
    /// Direction of travel in the picture.
    pub travel: Travel,
    /// Stature of the skater without skates, metres.
    pub skater_height_m: f64,
    /// Who skates there.
    #[serde(default = "Subject::of_older_records")]
    pub subject: Subject,
    /// How far off these numbers may be, as far as it was given. A people's lane that was read
    /// from a file has them all.
    #[serde(default, skip_serializing_if = "LaneErrors::is_empty")]
    pub errors: LaneErrors,
    /// What a check with persons found for this camera, lane, model and engine. It comes
    /// from the check's own file, never from a lane file.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub checked: Option<Checked>,
}

impl Lane {
    /// The numbers of the camera's place in steps of a thousandth of a metre or degree: lanes
    /// of one view with the same are one place.
    pub fn place_steps(&self) -> [i64; 5] {
        [
            self.camera_height_m,
            self.tilt_deg,
            self.hfov_deg,
            self.roll_deg,
            self.lane_distance_m,
        ]
        .map(|v| (v * 1e3).round() as i64)
    }
}
