//! Where on the ice a body is.

use crate::body::{BodyPoint, Landmark, POINTS};
use crate::config::{Lane, View};
use crate::geometry::Camera;

/// Height above the ice of the model's heel and toe points of a skate that
/// stands flat, metres: blade and sole, scaled with stature. 10 cm for an
/// adult of 1.78 m on the rendered skater; no source for real skates was read.
fn foot_height_m(skater_height_m: f64) -> f64 {
    0.100 * skater_height_m / 1.78
}

/// What of a body tells where on the ice it is, pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Footing {
    /// Middle of the two hip points.
    pub hips_px: [f64; 2],
    /// The lowest point of the skates, from the top.
    pub lowest_y_px: f64,
}

impl Footing {
    /// Of a body's points.
    pub fn of(points: &[Landmark; POINTS]) -> Self {
        let feet = [
            BodyPoint::LeftHeel,
            BodyPoint::LeftToe,
            BodyPoint::RightHeel,
            BodyPoint::RightToe,
        ];
        Footing {
            hips_px: mid_hip_px(points),
            lowest_y_px: feet
                .iter()
                .map(|&p| f64::from(points[p as usize].y_px))
                .fold(f64::NEG_INFINITY, f64::max),
        }
    }
}

/// Position along and across the ice in the lane's world frame, metres.
///
/// From the side the lane's own distance places the hips, since depth is what
/// a low camera sees worst; otherwise the lowest skate is taken to stand on
/// the ice. `None` where the picture position shows no ice.
pub fn lane_position(lane: &Lane, camera: &Camera, body: &Footing) -> Option<[f64; 2]> {
    let hips_px = body.hips_px;
    if lane.view == View::Side {
        return camera
            .on_wall(hips_px, lane.lane_distance_m)
            .map(|[x, _]| [x, lane.lane_distance_m]);
    }
    camera.on_plane(
        [hips_px[0], body.lowest_y_px],
        foot_height_m(lane.skater_height_m),
    )
}

/// Middle of the two hip points, pixels.
pub(super) fn mid_hip_px(points: &[Landmark; POINTS]) -> [f64; 2] {
    let (l, r) = (
        points[BodyPoint::LeftHip as usize],
        points[BodyPoint::RightHip as usize],
    );
    [
        f64::from(l.x_px + r.x_px) / 2.0,
        f64::from(l.y_px + r.y_px) / 2.0,
    ]
}
