//! Where on the ice the skater was during a pass, and so how large a metre
//! was in the picture.

use super::Curves;
use crate::config::{Lane, View};
use crate::geometry::Camera;
use crate::track::Pass;

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
    pub fn along(pass: &Pass, lane: &Lane, camera: &Camera, curves: &Curves) -> Self {
        let seen: Vec<(f64, [f64; 2])> = pass
            .samples
            .iter()
            .filter_map(|s| s.lane_m.map(|p| (s.t_s, p)))
            .collect();
        let lines = [0, 1].map(|axis| robust_line(&seen, axis, lane.view != View::Side));
        let velocity = lines.map(|l| l.1);
        let speed_mps = velocity[0].hypot(velocity[1]);
        let heading = if speed_mps > 1e-6 {
            velocity.map(|v| v / speed_mps)
        } else {
            pass.heading
        };
        let mut at_m = Vec::with_capacity(curves.len());
        let mut metres_per_px = Vec::with_capacity(curves.len());
        for i in 0..curves.len() {
            let t = curves.time_s(i as f64);
            let at = lines.map(|(level, slope)| level + slope * t);
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

    /// Left of the direction of travel, world x and y, length 1.
    pub fn left(&self) -> [f64; 2] {
        [-self.heading[1], self.heading[0]]
    }
}

/// Level at time 0 and slope of one axis over time, by iteratively
/// reweighted least squares.
fn robust_line(seen: &[(f64, [f64; 2])], axis: usize, by_distance: bool) -> (f64, f64) {
    let weight = |p: &[f64; 2]| {
        if by_distance {
            (p[0].hypot(p[1]) / 5.0).max(0.3).powi(-4)
        } else {
            1.0
        }
    };
    let mut keep: Vec<f64> = vec![1.0; seen.len()];
    let mut line = (0.0, 0.0);
    for _ in 0..4 {
        let (mut n, mut st, mut sv, mut stt, mut stv) = (0.0, 0.0, 0.0, 0.0, 0.0);
        let t0 = seen.first().map_or(0.0, |s| s.0);
        for ((t, p), k) in seen.iter().zip(&keep) {
            let (w, t, v) = (weight(p) * k, t - t0, p[axis]);
            n += w;
            st += w * t;
            sv += w * v;
            stt += w * t * t;
            stv += w * t * v;
        }
        let det = n * stt - st * st;
        if det.abs() < 1e-12 {
            let level = if n > 0.0 { sv / n } else { 0.0 };
            return (level, 0.0);
        }
        let slope = (n * stv - st * sv) / det;
        line = ((sv - slope * st) / n - slope * t0, slope);
        let off = |t: f64, p: &[f64; 2]| (p[axis] - line.0 - line.1 * t).abs();
        let mut all: Vec<f64> = seen
            .iter()
            .map(|(t, p)| off(*t, p) * weight(p).sqrt())
            .collect();
        all.sort_by(f64::total_cmp);
        let typical = all.get(all.len() / 2).copied().unwrap_or(0.0).max(1e-3);
        for (k, (t, p)) in keep.iter_mut().zip(seen) {
            let r = off(*t, p) * weight(p).sqrt() / (2.5 * typical);
            *k = if r <= 1.0 { 1.0 } else { 1.0 / (r * r) };
        }
    }
    line
}
