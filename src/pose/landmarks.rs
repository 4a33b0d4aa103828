//! Reading the landmark model's outputs.

use super::body::{Landmark, POINTS, Roi};
use super::detector::sigmoid;

/// Side of the landmark model's input, pixels.
pub(crate) const SIDE: usize = 256;
/// Points in the output: 33 of the body, two guides, four unused.
const OUTPUT_POINTS: usize = 39;
/// Values per point: x, y, z, visibility, presence.
const VALUES: usize = 5;
/// Side of the heatmaps, cells.
const CELLS: usize = 64;
/// The refinement looks this many cells to each side: a window of 7. (The
/// default of 9 that a Python run of the original pipeline shows is an option
/// lost on the way there; 7 is what its graph states.)
const REACH: usize = 3;
const MIN_HEAT: f32 = 0.5;

/// What one run of the landmark model says, in frame pixels.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Reading {
    pub(crate) presence: f32,
    pub(crate) points: [Landmark; POINTS],
    pub(crate) world_m: [[f32; 3]; POINTS],
    /// The guide points: mid hip and a point on the circle around the body.
    pub(crate) guides: [[f32; 2]; 2],
}

/// Reads the outputs for a crop of `roi`. `None` if a value is not a number.
pub(crate) fn decode(
    landmarks: &[f32],
    presence: f32,
    heatmap: &[f32],
    world: &[f32],
    roi: &Roi,
) -> Option<Reading> {
    if landmarks.len() < OUTPUT_POINTS * VALUES || world.len() < POINTS * 3 {
        return None;
    }
    if !presence.is_finite() || landmarks.iter().chain(world).any(|v| !v.is_finite()) {
        return None;
    }
    let (sin, cos) = roi.rotation_rad.sin_cos();
    let place = |index: usize| {
        let raw = &landmarks[index * VALUES..];
        let at = [raw[0] / SIDE as f32, raw[1] / SIDE as f32];
        let at = refine(at, index, heatmap);
        let (dx, dy) = (at[0] - 0.5, at[1] - 0.5);
        [
            roi.cx_px + (cos * dx - sin * dy) * roi.size_px,
            roi.cy_px + (sin * dx + cos * dy) * roi.size_px,
        ]
    };
    let points = std::array::from_fn(|index| {
        let [x_px, y_px] = place(index);
        let raw = &landmarks[index * VALUES..];
        Landmark {
            x_px,
            y_px,
            z_px: raw[2] / SIDE as f32 * roi.size_px,
            visibility: sigmoid(raw[3]),
        }
    });
    let world_m = std::array::from_fn(|index| {
        let [x, y, z] = [world[index * 3], world[index * 3 + 1], world[index * 3 + 2]];
        [cos * x - sin * y, sin * x + cos * y, z]
    });
    Some(Reading {
        presence,
        points,
        world_m,
        guides: [place(POINTS), place(POINTS + 1)],
    })
}

/// Moves a point (0 to 1 of the crop) to the centre of its heat, if the
/// heatmap is sure enough near it. The heatmap is `[64, 64, 39]`, channels
/// last, logits.
pub(crate) fn refine(at: [f32; 2], index: usize, heatmap: &[f32]) -> [f32; 2] {
    let cell = |v: f32| (v * CELLS as f32).trunc();
    let (u, v) = (cell(at[0]), cell(at[1]));
    let inside = 0.0..CELLS as f32;
    if !inside.contains(&u) || !inside.contains(&v) || heatmap.len() < CELLS * CELLS * OUTPUT_POINTS
    {
        return at;
    }
    let (u, v) = (u as usize, v as usize);
    let (mut sum, mut sum_x, mut sum_y, mut best) = (0.0f32, 0.0f32, 0.0f32, 0.0f32);
    for row in v.saturating_sub(REACH)..(v + REACH + 1).min(CELLS) {
        for column in u.saturating_sub(REACH)..(u + REACH + 1).min(CELLS) {
            let heat = sigmoid(heatmap[(row * CELLS + column) * OUTPUT_POINTS + index]);
            sum += heat;
            // The mean of cell numbers, not of cell centres: as the models
            // were trained with.
            sum_x += heat * column as f32;
            sum_y += heat * row as f32;
            best = best.max(heat);
        }
    }
    if best >= MIN_HEAT && sum > 0.0 {
        [sum_x / sum / CELLS as f32, sum_y / sum / CELLS as f32]
    } else {
        at
    }
}
