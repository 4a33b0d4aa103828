//! Reading the landmark model's outputs.

use super::body::{Clarity, Landmark, POINTS, Roi};
use super::clarity::TELLING;
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
    /// The model's heat at shoulders, hips and legs, mean, 0 to 1.
    pub(crate) heat: f32,
    /// How well the square showed the person; filled in by who has the square.
    pub(crate) clarity: Option<Clarity>,
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
    let mut heats = [0.0f32; OUTPUT_POINTS];
    let mut place = |index: usize| {
        let raw = &landmarks[index * VALUES..];
        let at = [raw[0] / SIDE as f32, raw[1] / SIDE as f32];
        let (at, heat) = refine(at, index, heatmap);
        heats[index] = heat;
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
    let guides = [place(POINTS), place(POINTS + 1)];
    Some(Reading {
        presence,
        points,
        world_m,
        guides,
        heat: TELLING.iter().map(|&k| heats[k]).sum::<f32>() / TELLING.len() as f32,
        clarity: None,
    })
}

/// Moves a point (0 to 1 of the crop) to the centre of its heat, if the
/// heatmap is sure enough near it. The heatmap is `[64, 64, 39]`, channels
/// last, logits. Gives the greatest heat there as well, 0 to 1.
pub(crate) fn refine(at: [f32; 2], index: usize, heatmap: &[f32]) -> ([f32; 2], f32) {
    let cell = |v: f32| (v * CELLS as f32).trunc();
    let (u, v) = (cell(at[0]), cell(at[1]));
    let inside = 0.0..CELLS as f32;
    if !inside.contains(&u) || !inside.contains(&v) || heatmap.len() < CELLS * CELLS * OUTPUT_POINTS
    {
        return (at, 0.0);
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
        let centre = [sum_x / sum / CELLS as f32, sum_y / sum / CELLS as f32];
        (centre, best)
    } else {
        (at, best)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A round heat of channel 5 about a centre, in cells.
    fn heat(x: f32, y: f32) -> Vec<f32> {
        let mut map = vec![-50.0; CELLS * CELLS * OUTPUT_POINTS];
        for row in 0..CELLS {
            for column in 0..CELLS {
                let (dx, dy) = (column as f32 - x, row as f32 - y);
                map[(row * CELLS + column) * OUTPUT_POINTS + 5] = 4.0 - 0.35 * (dx * dx + dy * dy);
            }
        }
        map
    }

    /// Expected values: the same formula in numpy (64-bit).
    #[test]
    fn refinement_matches_reference_values() {
        let map = heat(20.3, 40.6);
        let near = |at: [f32; 2], wanted: [f32; 2], map: &[f32]| {
            let (found, _) = refine(at, 5, map);
            let off = (found[0] - wanted[0])
                .abs()
                .max((found[1] - wanted[1]).abs());
            assert!(off < 1e-5, "{at:?}: {found:?}, wanted {wanted:?}");
        };
        near([0.32, 0.62], [0.315_575_66, 0.625_021_2], &map);
        // Off centre: the window cuts the heat, the mean stays behind.
        near([0.35, 0.66], [0.327_742_06, 0.642_854_2], &map);
        // At the edge the window is cut, not moved.
        near([0.03, 0.97], [0.028_430_04, 0.956_776_8], &heat(1.2, 62.0));
        // No heat near it, or outside of the map: the point stays.
        near([0.9, 0.1], [0.9, 0.1], &map);
        near([0.33, 1.2], [0.33, 1.2], &map);
        near([-0.1, 0.5], [-0.1, 0.5], &map);
    }

    #[test]
    fn a_turned_region_turns_points_and_world() {
        let mut raw = vec![0.0; OUTPUT_POINTS * VALUES];
        raw[..5].copy_from_slice(&[192.0, 128.0, 64.0, 0.0, 0.0]);
        let mut world = vec![0.0; OUTPUT_POINTS * 3];
        world[..3].copy_from_slice(&[0.3, 0.0, 0.1]);
        let cold = vec![-50.0; CELLS * CELLS * OUTPUT_POINTS];
        let roi = Roi {
            cx_px: 500.0,
            cy_px: 300.0,
            size_px: 200.0,
            rotation_rad: std::f32::consts::FRAC_PI_2,
        };
        let reading = decode(&raw, 0.9, &cold, &world, &roi).expect("numbers");
        // A quarter of the region to the crop's right is down in the frame.
        let p = reading.points[0];
        assert!(
            (p.x_px - 500.0).abs() < 1e-3 && (p.y_px - 350.0).abs() < 1e-3,
            "{p:?}"
        );
        assert!((p.z_px - 50.0).abs() < 1e-3);
        assert!((p.visibility - 0.5).abs() < 1e-6);
        let w = reading.world_m[0];
        assert!(w[0].abs() < 1e-6 && (w[1] - 0.3).abs() < 1e-6 && (w[2] - 0.1).abs() < 1e-6);
        raw[0] = f32::NAN;
        assert!(decode(&raw, 0.9, &cold, &world, &roi).is_none());
    }
}
