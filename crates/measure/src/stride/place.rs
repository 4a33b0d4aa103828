//! Where on the ice the skater was during a pass, and so how large a metre
//! was in the picture.

use super::Curves;
use crate::config::{Lane, View};
use crate::geometry::{Camera, Line, fit_line, median};
use crate::track::{Footing, Pass, lane_position};

/// Where on the ice the skater was seen once.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sighting {
    /// When, seconds on the source's clock.
    pub t_s: f64,
    /// Where on the ice, world x and y, metres.
    pub at_m: [f64; 2],
    /// What of the body told it.
    pub footing: Footing,
}

impl Sighting {
    /// All of a pass that have a place, in order of time.
    pub fn of_pass(pass: &Pass) -> Vec<Self> {
        let of_sample = |s: &crate::track::Sample| {
            Some(Sighting {
                t_s: s.t_s,
                at_m: s.lane_m?,
                footing: Footing::of(&s.points),
            })
        };
        pass.samples.iter().filter_map(of_sample).collect()
    }

    /// Where it would have been with other numbers of the lane; `None` where these have no ice
    /// at that place of the picture.
    pub fn moved(self, was: (&Lane, &Camera), is: (&Lane, &Camera)) -> Option<Self> {
        let to = lane_position(is.0, is.1, &self.footing)?;
        let Some(from) = lane_position(was.0, was.1, &self.footing) else {
            return Some(self);
        };
        // By as much as the lane's numbers move it: what put it there stays.
        let at_m = std::array::from_fn(|i| self.at_m[i] + (to[i] - from[i]));
        Some(Sighting { at_m, ..self })
    }
}

/// The skater's place, sample by sample of the [`Curves`].
#[derive(Debug, Clone)]
pub struct Place {
    /// Position on the ice, world x and y, metres.
    pub at_m: Vec<[f64; 2]>,
    /// Direction of travel over the ice, length 1.
    pub heading: [f64; 2],
    /// Speed over the ice, metres a second.
    pub speed_mps: f64,
    /// Metres one pixel spans at the hips' depth.
    pub metres_per_px: Vec<f64>,
}

/// Height of the hips of a bent skater, as a share of stature; only used to
/// place the depth of the body's middle.
const HIP_SHARE: f64 = 0.5;

impl Place {
    /// A straight line at even speed through all sightings. Sightings far
    /// from the camera weigh less: an error of one pixel is an error along
    /// the ice that grows with the square of the distance.
    ///
    /// `heading` holds where these do not move.
    pub fn along(
        sightings: &[Sighting],
        heading: [f64; 2],
        lane: &Lane,
        camera: &Camera,
        curves: &Curves,
    ) -> Self {
        let seen: Vec<(f64, [f64; 2])> = sightings.iter().map(|s| (s.t_s, s.at_m)).collect();
        let lines = [0, 1].map(|axis| robust_line(&seen, axis, lane.view != View::Side));
        let velocity = lines.map(|l| l.slope);
        let speed_mps = velocity[0].hypot(velocity[1]);
        let heading = if speed_mps > 1e-6 {
            velocity.map(|v| v / speed_mps)
        } else {
            heading
        };
        let mut at_m = Vec::with_capacity(curves.len());
        let mut metres_per_px = Vec::with_capacity(curves.len());
        for i in 0..curves.len() {
            let t = curves.time_s(i as f64);
            let at = lines.map(|l| l.at(t));
            let hips = [at[0], at[1], HIP_SHARE * lane.skater_height_m];
            at_m.push(at);
            metres_per_px.push(camera.depth_m(hips).max(0.5) / camera.focal_px);
        }
        Place {
            at_m,
            heading,
            speed_mps,
            metres_per_px,
        }
    }

    /// Of somebody who stands at a place of the ice and looks along the lane.
    pub(super) fn standing(
        at_m: [f64; 2],
        heading: [f64; 2],
        lane: &Lane,
        camera: &Camera,
        curves: &Curves,
    ) -> Self {
        let hips = [at_m[0], at_m[1], HIP_SHARE * lane.skater_height_m];
        let metres_per_px = camera.depth_m(hips).max(0.5) / camera.focal_px;
        Place {
            at_m: vec![at_m; curves.len()],
            heading,
            speed_mps: 0.0,
            metres_per_px: vec![metres_per_px; curves.len()],
        }
    }

    /// The point of the ice beside the skater's place at a sample: metres to
    /// the left of the travel.
    pub fn beside_m(&self, i: usize, left_m: f64) -> [f64; 2] {
        let (at, left) = (self.at_m[i], self.left());
        [at[0] + left_m * left[0], at[1] + left_m * left[1]]
    }

    /// Left of the direction of travel, world x and y, length 1.
    pub fn left(&self) -> [f64; 2] {
        [-self.heading[1], self.heading[0]]
    }
}

/// One axis over time, by iteratively reweighted least squares; standing at
/// the weighted mean where there is no line.
fn robust_line(seen: &[(f64, [f64; 2])], axis: usize, by_distance: bool) -> Line {
    let weight = |p: &[f64; 2]| {
        if by_distance {
            (p[0].hypot(p[1]) / 5.0).max(0.3).powi(-4)
        } else {
            1.0
        }
    };
    let mut keep: Vec<f64> = vec![1.0; seen.len()];
    let mut line = Line::standing_at(0.0);
    for _ in 0..4 {
        let points = || {
            seen.iter()
                .zip(&keep)
                .map(|((t, p), k)| (*t, p[axis], weight(p) * k))
        };
        let Some(found) = fit_line(points()) else {
            let (sum, weights) = points().fold((0.0, 0.0), |(s, n), (_, v, w)| (s + w * v, n + w));
            return Line::standing_at(if weights > 0.0 { sum / weights } else { 0.0 });
        };
        line = found;
        let off: Vec<f64> = seen
            .iter()
            .map(|(t, p)| (p[axis] - line.at(*t)).abs() * weight(p).sqrt())
            .collect();
        let typical = median(&mut off.clone()).unwrap_or(0.0).max(1e-3);
        for (k, off) in keep.iter_mut().zip(off) {
            let r = off / (2.5 * typical);
            *k = if r <= 1.0 { 1.0 } else { 1.0 / (r * r) };
        }
    }
    line
}
