//! Reading a rotated square of a frame into a model's input.
//!
//! The mapping is corner to corner: input pixel (0, 0) is the square's
//! top-left corner, with no half-pixel shift. That, and plain bilinear
//! sampling without a low-pass, is what the models' own pipeline does. So is
//! sampling at 1/32 pixel and in whole grey levels: the detector is sensitive
//! enough that exact sums moved its answer by up to a pixel of a 320-pixel
//! picture against that pipeline.

use super::body::Roi;
use crate::capture::Frame;

/// Positions between two pixels.
const STEPS: i32 = 32;

/// What lies outside the frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Border {
    /// Black, as the detector expects.
    Black,
    /// The nearest pixel of the frame, as the landmark model expects.
    Replicate,
}

/// Samples the square `roi` of `frame` into `out`, planar RGB
/// (`3 * side * side`), each value mapped to `value * gain + offset`.
///
/// The frame's buffer must hold `width * height * 3` bytes and `out` must
/// have the stated length; the estimator checks the first, owns the second.
pub(crate) fn crop(
    frame: &Frame,
    roi: &Roi,
    side: usize,
    border: Border,
    gain: f32,
    offset: f32,
    out: &mut [f32],
) {
    let (w, h) = (frame.width as i32, frame.height as i32);
    let stride = frame.width as usize * 3;
    let rgb = frame.rgb.as_slice();
    let step = roi.size_px / side as f32;
    let (sin, cos) = roi.rotation_rad.sin_cos();
    let (dx_x, dx_y) = (cos * step, sin * step);
    let (dy_x, dy_y) = (-sin * step, cos * step);
    let half = roi.size_px / 2.0;
    let x0 = roi.cx_px - (cos - sin) * half;
    let y0 = roi.cy_px - (sin + cos) * half;

    // The value of every grey level, so that the loop only looks it up.
    let levels: [f32; 256] = std::array::from_fn(|level| level as f32 * gain + offset);
    let plane = side * side;
    let (red, rest) = out.split_at_mut(plane);
    let (green, blue) = rest.split_at_mut(plane);
    for row in 0..side {
        let (row_x, row_y) = (x0 + row as f32 * dy_x, y0 + row as f32 * dy_y);
        let at = row * side;
        let line = red[at..at + side]
            .iter_mut()
            .zip(&mut green[at..at + side])
            .zip(&mut blue[at..at + side]);
        for (column, ((r, g), b)) in line.enumerate() {
            // Saturating casts: a wild region cannot overflow.
            let x = ((row_x + column as f32 * dx_x) * STEPS as f32 + 0.5).floor() as i32;
            let y = ((row_y + column as f32 * dx_y) * STEPS as f32 + 0.5).floor() as i32;
            let (xi, yi) = (x.div_euclid(STEPS), y.div_euclid(STEPS));
            let (u, v) = (x.rem_euclid(STEPS) as u32, y.rem_euclid(STEPS) as u32);
            const ALL: u32 = STEPS as u32;
            let weights = [(ALL - u) * (ALL - v), u * (ALL - v), (ALL - u) * v, u * v];
            let mut sum = [ALL * ALL / 2; 3];
            if xi >= 0 && yi >= 0 && xi < w - 1 && yi < h - 1 {
                let p = yi as usize * stride + xi as usize * 3;
                let top = &rgb[p..p + 6];
                let bottom = &rgb[p + stride..p + stride + 6];
                for c in 0..3 {
                    sum[c] += u32::from(top[c]) * weights[0]
                        + u32::from(top[c + 3]) * weights[1]
                        + u32::from(bottom[c]) * weights[2]
                        + u32::from(bottom[c + 3]) * weights[3];
                }
            } else {
                for (k, weight) in weights.iter().enumerate() {
                    let px = xi.saturating_add((k & 1) as i32);
                    let py = yi.saturating_add((k >> 1) as i32);
                    if border == Border::Black && (px < 0 || py < 0 || px >= w || py >= h) {
                        continue;
                    }
                    let px = px.clamp(0, w - 1) as usize;
                    let py = py.clamp(0, h - 1) as usize;
                    let p = py * stride + px * 3;
                    for c in 0..3 {
                        sum[c] += u32::from(rgb[p + c]) * weight;
                    }
                }
            }
            *r = levels[(sum[0] / (ALL * ALL)) as usize & 255];
            *g = levels[(sum[1] / (ALL * ALL)) as usize & 255];
            *b = levels[(sum[2] / (ALL * ALL)) as usize & 255];
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Red = x, green = y, blue = 200.
    fn ramp(width: u32, height: u32) -> Frame {
        let mut rgb = Vec::new();
        for y in 0..height {
            for x in 0..width {
                rgb.extend([x as u8, y as u8, 200]);
            }
        }
        Frame {
            seq: 0,
            captured_at_s: 0.0,
            width,
            height,
            rgb,
        }
    }

    fn sample(roi: Roi, border: Border) -> Vec<f32> {
        let mut out = vec![0.0; 3 * 8 * 8];
        crop(&ramp(100, 80), &roi, 8, border, 1.0, 0.0, &mut out);
        out
    }

    #[test]
    fn upright_square_maps_corner_to_corner() {
        let out = sample(
            Roi {
                cx_px: 50.0,
                cy_px: 40.0,
                size_px: 20.0,
                rotation_rad: 0.0,
            },
            Border::Replicate,
        );
        for row in 0..8 {
            for column in 0..8 {
                let at = row * 8 + column;
                assert!((out[at] - (40.0 + 2.5 * column as f32)).abs() <= 0.5);
                assert!((out[64 + at] - (30.0 + 2.5 * row as f32)).abs() <= 0.5);
                assert!((out[128 + at] - 200.0).abs() < 1e-3);
            }
        }
    }

    #[test]
    fn quarter_turn_reads_the_square_turned() {
        let out = sample(
            Roi {
                cx_px: 50.0,
                cy_px: 40.0,
                size_px: 16.0,
                rotation_rad: std::f32::consts::FRAC_PI_2,
            },
            Border::Replicate,
        );
        // Turned by +90 degrees, the crop's x axis runs down the frame and
        // its y axis runs to the frame's left.
        assert!((out[0] - 58.0).abs() < 1e-3, "{}", out[0]);
        assert!((out[64] - 32.0).abs() < 1e-3, "{}", out[64]);
        assert!((out[64 + 3] - 38.0).abs() < 1e-3);
        assert!((out[3 * 8] - 52.0).abs() < 1e-3);
    }

    #[test]
    fn outside_is_black_or_the_edge() {
        let roi = Roi {
            cx_px: 0.0,
            cy_px: 0.0,
            size_px: 40.0,
            rotation_rad: 0.0,
        };
        let black = sample(roi, Border::Black);
        assert_eq!((black[0], black[128]), (0.0, 0.0));
        let edge = sample(roi, Border::Replicate);
        assert_eq!((edge[0], edge[64], edge[128]), (0.0, 0.0, 200.0));
        let far = Roi {
            cx_px: 1e12,
            cy_px: -1e12,
            ..roi
        };
        let corner = sample(far, Border::Replicate);
        assert_eq!((corner[0], corner[64]), (99.0, 0.0));
    }
}
