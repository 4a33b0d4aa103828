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
/// Largest side of a model's input, pixels.
const MAX_SIDE: usize = 256;

/// Beyond the edge of every frame, positions. Leaves room to 2^22, up to which
/// [`floor`] is exact.
const FAR: f32 = 4.0e6;

/// Bytes a processor fetches at once.
const CACHE_LINE: usize = 64;

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
/// have the stated length, `side` at most [`MAX_SIDE`]; the estimator checks
/// the first, owns the others.
pub(crate) fn crop(
    frame: &Frame,
    roi: &Roi,
    side: usize,
    border: Border,
    gain: f32,
    offset: f32,
    out: &mut [f32],
) {
    debug_assert!(side <= MAX_SIDE && out.len() == 3 * side * side);
    let picture = Picture::of(frame);
    let step = roi.size_px / side as f32;
    let (sin, cos) = roi.rotation_rad.sin_cos();
    let (dx_x, dx_y) = (cos * step, sin * step);
    let (dy_x, dy_y) = (-sin * step, cos * step);
    let half = roi.size_px / 2.0;
    let x0 = roi.cx_px - (cos - sin) * half;
    let y0 = roi.cy_px - (sin + cos) * half;

    picture.fetch(
        [
            x0,
            x0 + dx_x * side as f32,
            x0 + dy_x * side as f32,
            x0 + (dx_x + dy_x) * side as f32,
        ],
        [
            y0,
            y0 + dx_y * side as f32,
            y0 + dy_y * side as f32,
            y0 + (dx_y + dy_y) * side as f32,
        ],
    );
    // The value of every grey level, so that the loop only looks it up.
    let levels: [f32; 256] = std::array::from_fn(|level| level as f32 * gain + offset);
    let plane = side * side;
    let (red, rest) = out.split_at_mut(plane);
    let (green, blue) = rest.split_at_mut(plane);
    // Positions of one row first, pixels after: the positions are plain
    // arithmetic that the compiler does several at a time.
    let (mut xs, mut ys) = ([0i32; MAX_SIDE], [0i32; MAX_SIDE]);
    let lines = red
        .chunks_exact_mut(side)
        .zip(green.chunks_exact_mut(side))
        .zip(blue.chunks_exact_mut(side));
    for (row, ((red, green), blue)) in lines.enumerate() {
        let (row_x, row_y) = (x0 + row as f32 * dy_x, y0 + row as f32 * dy_y);
        for (column, (x, y)) in xs.iter_mut().zip(&mut ys).take(side).enumerate() {
            *x = floor((row_x + column as f32 * dx_x) * STEPS as f32 + 0.5);
            *y = floor((row_y + column as f32 * dx_y) * STEPS as f32 + 0.5);
        }
        let line = red.iter_mut().zip(green).zip(blue);
        for (((r, g), b), (&x, &y)) in line.zip(xs.iter().zip(&ys)) {
            let sums = match picture.four_inside(x, y) {
                Some((top, bottom)) => weigh(top, bottom, x, y),
                None => picture.weigh_at_edge(x, y, border),
            };
            *r = levels[(sums[0] & 255) as usize];
            *g = levels[(sums[1] & 255) as usize];
            *b = levels[(sums[2] & 255) as usize];
        }
    }
}

/// The largest whole number not above `v`, for `v` within [`FAR`]; what is
/// farther stays there.
///
/// Numbers of this size plus 1.5 * 2^23 have no room for a fraction: adding
/// that rounds, and the bits of the sum count in steps of one. Unlike the
/// library's function and a checked cast, the compiler does this for several
/// numbers at once.
#[inline(always)]
fn floor(v: f32) -> i32 {
    const ROUNDS: f32 = 12_582_912.0;
    let v = v.clamp(-FAR, FAR);
    let nearest = (v + ROUNDS) - ROUNDS;
    let floor = nearest - if nearest > v { 1.0 } else { 0.0 };
    (floor + ROUNDS).to_bits() as i32 - ROUNDS.to_bits() as i32
}

/// Weights of the four pixels about a position, of `STEPS * STEPS`: top left,
/// top right, bottom left, bottom right.
#[inline(always)]
fn weights(x: i32, y: i32) -> [i32; 4] {
    let (u, v) = (x.rem_euclid(STEPS), y.rem_euclid(STEPS));
    [
        (STEPS - u) * (STEPS - v),
        u * (STEPS - v),
        (STEPS - u) * v,
        u * v,
    ]
}

/// Mean colour of two pixels of one row and the two below them, each row as
/// `r g b r g b` and two bytes that do not count.
#[cfg(target_arch = "x86_64")]
#[inline(always)]
fn weigh(top: [u8; 8], bottom: [u8; 8], x: i32, y: i32) -> [i32; 3] {
    // SSE2 is part of x86-64. Rows are interleaved, so that one
    // multiply-and-add weighs an upper with its lower neighbour: four sums at
    // once where plain code needs twelve products. The sums are whole numbers
    // and the same as those of the plain code.
    use safe_arch::*;
    let w = weights(x, y);
    let both = unpack_low_i8_m128i(
        set_i64_m128i_s(i64::from_le_bytes(top)),
        set_i64_m128i_s(i64::from_le_bytes(bottom)),
    );
    let left = unpack_low_i8_m128i(both, zeroed_m128i());
    let right = unpack_low_i8_m128i(byte_shr_imm_u128_m128i::<6>(both), zeroed_m128i());
    let sums = add_i32_m128i(
        mul_i16_horizontal_add_m128i(left, set_splat_i32_m128i(w[0] | (w[2] << 16))),
        mul_i16_horizontal_add_m128i(right, set_splat_i32_m128i(w[1] | (w[3] << 16))),
    );
    let half = set_splat_i32_m128i(STEPS * STEPS / 2);
    let mean = shr_imm_u32_m128i::<10>(add_i32_m128i(sums, half));
    [
        get_i32_from_m128i_s(mean),
        extract_i16_as_i32_m128i::<2>(mean),
        extract_i16_as_i32_m128i::<4>(mean),
    ]
}

/// The same for other machines.
#[cfg(not(target_arch = "x86_64"))]
#[inline(always)]
fn weigh(top: [u8; 8], bottom: [u8; 8], x: i32, y: i32) -> [i32; 3] {
    let w = weights(x, y);
    std::array::from_fn(|c| {
        let at = |row: &[u8; 8], k: usize| i32::from(row[c + 3 * k]);
        let sum = at(&top, 0) * w[0] + at(&top, 1) * w[1] + at(&bottom, 0) * w[2];
        (sum + at(&bottom, 1) * w[3] + STEPS * STEPS / 2) / (STEPS * STEPS)
    })
}

/// A frame as rows of bytes.
struct Picture<'a> {
    rgb: &'a [u8],
    width: i32,
    height: i32,
    stride: usize,
}

impl<'a> Picture<'a> {
    fn of(frame: &'a Frame) -> Self {
        Picture {
            rgb: &frame.rgb,
            width: frame.width as i32,
            height: frame.height as i32,
            stride: frame.width as usize * 3,
        }
    }

    /// Touches the box about these corners once. Another core has just written
    /// the frame: its lines come one after the other where each is waited for,
    /// several at once where nothing depends on them.
    fn fetch(&self, xs: [f32; 4], ys: [f32; 4]) {
        let range = |v: [f32; 4], end: i32| {
            let low = v.into_iter().fold(f32::INFINITY, f32::min);
            let high = v.into_iter().fold(f32::NEG_INFINITY, f32::max);
            // Saturating casts: what is not a number is 0.
            (low as i32).clamp(0, end) as usize
                ..(high as i32).saturating_add(2).clamp(0, end) as usize
        };
        let (columns, rows) = (range(xs, self.width), range(ys, self.height));
        let mut sum = 0u8;
        for row in rows {
            let line = row * self.stride;
            let line = self
                .rgb
                .get(line + 3 * columns.start..line + 3 * columns.end);
            for byte in line.unwrap_or_default().iter().step_by(CACHE_LINE) {
                sum ^= byte;
            }
        }
        std::hint::black_box(sum);
    }

    /// The pixels about a position, where all four are inside the frame and
    /// the bytes read along with them are, too.
    #[inline(always)]
    fn four_inside(&self, x: i32, y: i32) -> Option<([u8; 8], [u8; 8])> {
        let (xi, yi) = (x.div_euclid(STEPS), y.div_euclid(STEPS));
        // As numbers without a sign, what is left of or above the frame is
        // far beyond its other side.
        if xi as u32 >= (self.width - 1) as u32 || yi as u32 >= (self.height - 1) as u32 {
            return None;
        }
        let at = yi as usize * self.stride + xi as usize * 3;
        let top = self.rgb.get(at..)?.first_chunk::<8>()?;
        let bottom = self.rgb.get(at + self.stride..)?.first_chunk::<8>()?;
        Some((*top, *bottom))
    }

    /// Mean colour about a position at the edge of the frame or outside.
    #[cold]
    fn weigh_at_edge(&self, x: i32, y: i32, border: Border) -> [i32; 3] {
        let (w, h) = (self.width, self.height);
        let (xi, yi) = (x.div_euclid(STEPS), y.div_euclid(STEPS));
        let mut sums = [STEPS * STEPS / 2; 3];
        for (k, weight) in weights(x, y).into_iter().enumerate() {
            let px = xi.saturating_add((k & 1) as i32);
            let py = yi.saturating_add((k >> 1) as i32);
            if border == Border::Black && (px < 0 || py < 0 || px >= w || py >= h) {
                continue;
            }
            let px = px.clamp(0, w - 1) as usize;
            let py = py.clamp(0, h - 1) as usize;
            let at = py * self.stride + px * 3;
            for (sum, &value) in sums.iter_mut().zip(&self.rgb[at..at + 3]) {
                *sum += i32::from(value) * weight;
            }
        }
        sums.map(|sum| sum / (STEPS * STEPS))
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

    #[test]
    fn floor_is_that_of_the_library() {
        for k in -4000..4000i32 {
            for v in [k as f32 / 8.0, k as f32 * 997.25, k as f32 * 1.0e-3] {
                assert_eq!(floor(v), v.floor() as i32, "{v}");
            }
        }
        assert_eq!((floor(1e30), floor(-1e30)), (4_000_000, -4_000_000));
    }

    /// The formula of the module's head, written down once more without any
    /// care for speed: every value must be the same to the bit.
    #[test]
    fn fast_sums_are_the_plain_ones() {
        let mut state = 7u32;
        let mut noise = ramp(61, 47);
        noise.rgb.iter_mut().for_each(|v| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            *v = (state >> 24) as u8;
        });
        let pixel = |x: i64, y: i64, c: usize| {
            let (x, y) = (x.clamp(0, 60) as usize, y.clamp(0, 46) as usize);
            i64::from(noise.rgb[(y * 61 + x) * 3 + c])
        };
        const SIDE: usize = 32;
        for turn in 0..24 {
            let roi = Roi {
                cx_px: 3.0 * turn as f32 - 4.0,
                cy_px: 2.1 * turn as f32 - 1.0,
                size_px: 9.3 + 2.7 * turn as f32,
                rotation_rad: 0.41 * turn as f32,
            };
            let mut out = vec![0.0; 3 * SIDE * SIDE];
            crop(&noise, &roi, SIDE, Border::Replicate, 1.0, 0.0, &mut out);
            let step = roi.size_px / SIDE as f32;
            let (sin, cos) = roi.rotation_rad.sin_cos();
            let half = roi.size_px / 2.0;
            let corner = [
                roi.cx_px - (cos - sin) * half,
                roi.cy_px - (sin + cos) * half,
            ];
            for (at, value) in out.iter().enumerate() {
                let (c, row, column) = (
                    at / (SIDE * SIDE),
                    (at / SIDE % SIDE) as f32,
                    (at % SIDE) as f32,
                );
                let x = corner[0] + row * (-sin * step) + column * (cos * step);
                let y = corner[1] + row * (cos * step) + column * (sin * step);
                let x = (x * 32.0 + 0.5).floor() as i64;
                let y = (y * 32.0 + 0.5).floor() as i64;
                let (u, v) = (x.rem_euclid(32), y.rem_euclid(32));
                let (x, y) = (x.div_euclid(32), y.div_euclid(32));
                let sum = pixel(x, y, c) * (32 - u) * (32 - v)
                    + pixel(x + 1, y, c) * u * (32 - v)
                    + pixel(x, y + 1, c) * (32 - u) * v
                    + pixel(x + 1, y + 1, c) * u * v;
                assert_eq!(*value, ((sum + 512) / 1024) as f32, "turn {turn}, at {at}");
            }
        }
    }
}
