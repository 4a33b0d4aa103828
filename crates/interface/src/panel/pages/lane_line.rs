//! Where the lane in use runs through the picture, and how old that picture is.

use super::Desk;
use crate::config::{Lane, View};
use crate::geometry::Camera;
use crate::panel::model::PanelView;

/// How far to both sides the line of the lane is followed, metres.
const LANE_M: f64 = 25.0;
/// Pieces it is drawn in: those that are in the picture.
const PIECES: usize = 60;

/// The lane in use, where it can be used.
pub(super) fn lane_in_use(view: &PanelView) -> Option<&Lane> {
    let entry = view.lanes.iter().find(|l| l.in_use)?;
    entry.lane.as_ref().ok()
}

/// The line of the lane in use in pieces, pixels of a frame of that size. Only a camera at the
/// side sees it as a line.
pub(super) fn lane_line(view: &PanelView, frame_px: [u32; 2]) -> Vec<[[f64; 2]; 2]> {
    let side = |lane: &&Lane| lane.view == View::Side;
    let Some(lane) = lane_in_use(view).filter(side) else {
        return Vec::new();
    };
    let camera = Camera::of_lane(lane, frame_px[0].max(1), frame_px[1].max(1));
    let points: Vec<Option<[f64; 2]>> = (0..=PIECES)
        .map(|i| {
            let x = -LANE_M + 2.0 * LANE_M * i as f64 / PIECES as f64;
            camera.project([x, lane.lane_distance_m, 0.0])
        })
        .collect();
    let pieces = points.windows(2);
    pieces.filter_map(|p| Some([p[0]?, p[1]?])).collect()
}

/// How old the picture is, in words.
pub(super) fn picture_old(d: &Desk<'_>, age_s: f64) -> String {
    let n = d.f.number(age_s.floor(), 0);
    d.w.say("now.picture_old", &[("n", &n)])
}
