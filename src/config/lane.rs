//! The set-up of one fixed camera over the ice.

use serde::{Deserialize, Serialize};

/// From where the camera sees the skater.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
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

/// A validated lane: one fixed camera, one line the skaters follow.
#[derive(Debug, Clone, PartialEq, Serialize)]
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
}
