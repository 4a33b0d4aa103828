//! From luma and chroma to RGB.
//!
//! Source of the coefficients: ITU-R BT.601-7 and BT.709-6, clause 3 (luma
//! weights 0.299/0.587/0.114 and 0.2126/0.7152/0.0722; limited range is
//! 16..=235 for luma and 16..=240 for chroma). Integers with 14 fractional
//! bits: the error against the formula stays within one step of 255.

use super::spare::Spares;

/// Which luma weights a picture was made with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) enum Matrix {
    /// Standard definition, most webcams, and what is assumed when a video
    /// does not say (as ffmpeg does).
    #[default]
    Bt601,
    /// High definition, most phones and action cameras.
    Bt709,
}

/// How a picture's numbers are to be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct ColorSpace {
    /// Luma weights.
    pub matrix: Matrix,
    /// Whether numbers run over 0..=255 rather than 16..=235.
    pub full_range: bool,
}

const BITS: i32 = 14;
const HALF: i32 = 1 << (BITS - 1);

/// The conversion as integers.
struct Coefficients {
    luma_offset: i32,
    luma: i32,
    red_v: i32,
    green_u: i32,
    green_v: i32,
    blue_u: i32,
}

impl Coefficients {
    fn new(space: ColorSpace) -> Self {
        let (kr, kb) = match space.matrix {
            Matrix::Bt601 => (0.299, 0.114),
            Matrix::Bt709 => (0.2126, 0.0722),
        };
        let kg = 1.0 - kr - kb;
        let (offset, luma, chroma) = if space.full_range {
            (0, 1.0, 1.0)
        } else {
            (16, 255.0 / 219.0, 255.0 / 224.0)
        };
        let fixed = |x: f64| (x * f64::from(1 << BITS)).round() as i32;
        Self {
            luma_offset: offset,
            luma: fixed(luma),
            red_v: fixed(chroma * 2.0 * (1.0 - kr)),
            green_u: fixed(-chroma * 2.0 * (1.0 - kb) * kb / kg),
            green_v: fixed(-chroma * 2.0 * (1.0 - kr) * kr / kg),
            blue_u: fixed(chroma * 2.0 * (1.0 - kb)),
        }
    }

    /// What chroma adds to R, G and B, rounding included.
    #[inline(always)]
    fn chroma(&self, u: u8, v: u8) -> (i32, i32, i32) {
        let (u, v) = (i32::from(u) - 128, i32::from(v) - 128);
        (
            self.red_v * v + HALF,
            self.green_u * u + self.green_v * v + HALF,
            self.blue_u * u + HALF,
        )
    }

    #[inline(always)]
    fn pixel(&self, y: u8, (r, g, b): (i32, i32, i32), out: &mut [u8]) {
        let y = (i32::from(y) - self.luma_offset) * self.luma;
        out[0] = ((y + r) >> BITS).clamp(0, 255) as u8;
        out[1] = ((y + g) >> BITS).clamp(0, 255) as u8;
        out[2] = ((y + b) >> BITS).clamp(0, 255) as u8;
    }
}

/// Three planes, chroma at half the width and height.
pub(super) struct Planes<'a> {
    pub y: &'a [u8],
    pub u: &'a [u8],
    pub v: &'a [u8],
    /// Bytes from one luma row to the next.
    pub y_stride: usize,
    /// Bytes from one chroma row to the next.
    pub uv_stride: usize,
}

/// 4:2:0 planes to RGB rows. Chroma is repeated, not interpolated.
pub(super) fn yuv420_to_rgb(
    planes: &Planes<'_>,
    width: usize,
    height: usize,
    space: ColorSpace,
    rgb: &mut [u8],
) {
    debug_assert_eq!(rgb.len(), width * height * 3);
    let k = Coefficients::new(space);
    for (row, out) in rgb.chunks_exact_mut(width * 3).enumerate() {
        let y = &planes.y[row * planes.y_stride..][..width];
        let half = width.div_ceil(2);
        let u = &planes.u[(row / 2) * planes.uv_stride..][..half];
        let v = &planes.v[(row / 2) * planes.uv_stride..][..half];
        for (((out, y), u), v) in out.chunks_mut(6).zip(y.chunks(2)).zip(u).zip(v) {
            let chroma = k.chroma(*u, *v);
            for (out, y) in out.chunks_exact_mut(3).zip(y) {
                k.pixel(*y, chroma, out);
            }
        }
    }
}

/// Packed 4:2:2 (`Y0 U Y1 V`) to RGB rows.
///
/// UVC cameras send BT.601 weights in limited range unless they say
/// otherwise (USB Video Class 1.5, colour matching descriptor default).
/// `None` when the buffer is too short for the size or the width is odd.
pub(super) fn yuyv_to_rgb(
    yuyv: &[u8],
    width: usize,
    height: usize,
    spares: &mut Spares,
) -> Option<Vec<u8>> {
    if !width.is_multiple_of(2) || width == 0 || height == 0 || yuyv.len() < width * height * 2 {
        return None;
    }
    let k = Coefficients::new(ColorSpace::default());
    let mut rgb = spares.take(width * height * 3);
    for (out, packed) in rgb.chunks_exact_mut(6).zip(yuyv.chunks_exact(4)) {
        let chroma = k.chroma(packed[1], packed[3]);
        k.pixel(packed[0], chroma, &mut out[..3]);
        k.pixel(packed[2], chroma, &mut out[3..]);
    }
    Some(rgb)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plain(yuyv: &[u8], width: usize, height: usize) -> Option<Vec<u8>> {
        yuyv_to_rgb(yuyv, width, height, &mut Spares::default())
    }

    /// The formula itself in floating point: BT.601-7 / BT.709-6 inverted.
    fn formula(y: u8, u: u8, v: u8, kr: f64, kb: f64, full: bool) -> [f64; 3] {
        let (y, u, v) = (f64::from(y), f64::from(u) - 128.0, f64::from(v) - 128.0);
        let (y, u, v) = if full {
            (y / 255.0, u / 255.0, v / 255.0)
        } else {
            ((y - 16.0) / 219.0, u / 224.0, v / 224.0)
        };
        let r = y + 2.0 * (1.0 - kr) * v;
        let b = y + 2.0 * (1.0 - kb) * u;
        let g = (y - kr * r - kb * b) / (1.0 - kr - kb);
        [r, g, b].map(|x| (x * 255.0).clamp(0.0, 255.0))
    }

    #[test]
    fn yuyv_follows_the_formula_everywhere() {
        for y in (0..=255u8).step_by(5) {
            for u in (0..=255u8).step_by(15) {
                for v in (0..=255u8).step_by(15) {
                    let rgb = plain(&[y, u, 255 - y, v], 2, 1).expect("fits");
                    for (pixel, luma) in rgb.chunks_exact(3).zip([y, 255 - y]) {
                        for (got, want) in
                            pixel.iter().zip(formula(luma, u, v, 0.299, 0.114, false))
                        {
                            assert!(
                                (f64::from(*got) - want).abs() <= 0.51,
                                "y{luma} u{u} v{v}: {got} {want}"
                            );
                        }
                    }
                }
            }
        }
    }

    #[test]
    fn planes_follow_the_formula_in_every_space() {
        for (matrix, kr, kb) in [
            (Matrix::Bt601, 0.299, 0.114),
            (Matrix::Bt709, 0.2126, 0.0722),
        ] {
            for full_range in [false, true] {
                // 3 x 3 pixels: odd sizes share the last chroma sample.
                let y = [16, 40, 90, 128, 180, 235, 10, 250, 77];
                let (u, v) = ([100, 200, 30, 128], [90, 160, 220, 128]);
                let planes = Planes {
                    y: &y,
                    u: &u,
                    v: &v,
                    y_stride: 3,
                    uv_stride: 2,
                };
                let mut rgb = vec![0; 27];
                yuv420_to_rgb(&planes, 3, 3, ColorSpace { matrix, full_range }, &mut rgb);
                for row in 0..3 {
                    for col in 0..3 {
                        let c = (row / 2) * 2 + col / 2;
                        let want = formula(y[row * 3 + col], u[c], v[c], kr, kb, full_range);
                        for (got, want) in rgb[(row * 3 + col) * 3..][..3].iter().zip(want) {
                            assert!(
                                (f64::from(*got) - want).abs() <= 0.51,
                                "{matrix:?} {full_range}: {got} {want}"
                            );
                        }
                    }
                }
            }
        }
    }

    #[test]
    fn a_short_buffer_is_no_picture() {
        assert!(plain(&[0; 15], 4, 2).is_none());
        assert!(plain(&[0; 16], 4, 2).is_some());
        assert!(plain(&[0; 18], 3, 3).is_none());
    }
}
