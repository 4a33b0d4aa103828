//! Pixels that are not square.
//!
//! Camcorders write 1440 or 720 pixels where 1920 or 1024 are to be shown. Every angle
//! of a skater would be wrong by it, so such pictures are stretched to square pixels
//! before anybody else sees them.

use std::path::Path;

use crate::capture::CaptureError;
use crate::capture::spare::Spares;

/// How much wider than high a pixel is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct PixelShape(f64);

impl Default for PixelShape {
    fn default() -> Self {
        Self::SQUARE
    }
}

/// Ratios by number (ITU-T H.264 (08/2021), table E-1).
const NUMBERED: [(u32, u32); 17] = [
    (0, 0),
    (1, 1),
    (12, 11),
    (10, 11),
    (16, 11),
    (40, 33),
    (24, 11),
    (20, 11),
    (32, 11),
    (80, 33),
    (18, 11),
    (15, 11),
    (64, 33),
    (160, 99),
    (4, 3),
    (3, 2),
    (2, 1),
];

/// Closer to square than this is square: less than a camera's own lens is off, and
/// what rounding to whole pixels leaves.
const NEARLY_SQUARE: f64 = 0.006;
/// No camera has pixels beyond this.
const POSSIBLE: std::ops::RangeInclusive<f64> = 0.3..=3.4;

impl PixelShape {
    pub(super) const SQUARE: Self = Self(1.0);

    /// From a ratio, width over height; `None` where nothing is said (a part is 0).
    pub(super) fn of(over: f64, under: f64) -> Option<Self> {
        let ratio = over / under;
        (ratio.is_finite() && ratio > 0.0).then_some(Self(ratio))
    }

    /// The ratio of this number in an H.264 stream. 255 means that it follows.
    pub(super) fn numbered(number: u64) -> Option<Self> {
        let (over, under) = NUMBERED.get(usize::try_from(number).ok()?)?;
        Self::of(f64::from(*over), f64::from(*under))
    }

    /// # Errors
    /// What no camera can have written.
    pub(super) fn checked(self, path: &Path) -> Result<Self, CaptureError> {
        if POSSIBLE.contains(&self.0) {
            Ok(self)
        } else {
            Err(CaptureError::PixelShape {
                path: path.to_owned(),
                ratio: self.0,
            })
        }
    }

    /// The width in square pixels of rows this wide.
    pub(super) fn width_of(self, width: u32) -> u32 {
        if (self.0 - 1.0).abs() < NEARLY_SQUARE {
            width
        } else {
            (f64::from(width) * self.0).round() as u32
        }
    }

    /// Stretches RGB rows to square pixels. Gives their new width and the rows.
    pub(super) fn apply(
        self,
        rgb: Vec<u8>,
        width: usize,
        height: usize,
        spares: &mut Spares,
    ) -> (usize, Vec<u8>) {
        let wide = self.width_of(width as u32) as usize;
        if wide == width || wide == 0 {
            return (width, rgb);
        }
        // Between which two pixels each new one lies, and how near to the second, of 256.
        let step = width as f64 / wide as f64;
        let between: Vec<(usize, usize, u32)> = (0..wide)
            .map(|column| {
                let at = ((column as f64 + 0.5) * step - 0.5).clamp(0.0, (width - 1) as f64);
                let first = at as usize;
                let second = (first + 1).min(width - 1);
                (
                    3 * first,
                    3 * second,
                    (256.0 * (at - first as f64)).round() as u32,
                )
            })
            .collect();
        let mut out = spares.take(wide * height * 3);
        let rows = rgb
            .chunks_exact(3 * width)
            .zip(out.chunks_exact_mut(3 * wide));
        for (from, to) in rows {
            for (pixel, &(first, second, part)) in to.chunks_exact_mut(3).zip(&between) {
                for channel in 0..3 {
                    let (a, b) = (
                        u32::from(from[first + channel]),
                        u32::from(from[second + channel]),
                    );
                    pixel[channel] = ((a * (256 - part) + b * part + 128) / 256) as u8;
                }
            }
        }
        spares.give(rgb);
        (wide, out)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stretched(shape: PixelShape, row: &[u8]) -> Vec<u8> {
        let rgb: Vec<u8> = row.iter().chain(row).flat_map(|v| [*v, v / 2, 9]).collect();
        let (width, out) = shape.apply(rgb, row.len(), 2, &mut Spares::default());
        assert_eq!(out.len(), 2 * 3 * width);
        let (first, second) = out.split_at(3 * width);
        assert_eq!(first, second, "both rows alike");
        assert!(
            out.chunks_exact(3)
                .all(|p| p[1].abs_diff(p[0] / 2) <= 1 && p[2] == 9)
        );
        first.chunks_exact(3).map(|p| p[0]).collect()
    }

    #[test]
    fn what_is_square_stays_and_a_ramp_stays_even() {
        let ramp: Vec<u8> = (0..90).map(|k| 2 * k).collect();
        assert_eq!(stretched(PixelShape::SQUARE, &ramp), ramp);
        let shape = |over, under| PixelShape::of(over, under).expect("a ratio");
        for (over, under, width) in [(4.0, 3.0, 120), (64.0, 45.0, 128), (8.0, 9.0, 80)] {
            let out = stretched(shape(over, under), &ramp);
            assert_eq!(out.len(), width);
            for (k, v) in out.iter().enumerate().skip(2).take(width - 4) {
                let ideal = 2.0 * ((k as f64 + 0.5) * 90.0 / width as f64 - 0.5);
                assert!((f64::from(*v) - ideal).abs() < 1.1, "{k}: {v} for {ideal}");
            }
        }
    }

    #[test]
    fn ratios_are_told_from_none() {
        assert_eq!(PixelShape::of(0.0, 1.0), None);
        assert_eq!(PixelShape::of(1.0, 0.0), None);
        assert_eq!(PixelShape::numbered(14), PixelShape::of(4.0, 3.0));
        assert_eq!(PixelShape::numbered(0), None);
        assert_eq!(PixelShape::numbered(255), None);
        let odd = PixelShape::of(50.0, 1.0)
            .expect("a ratio")
            .checked(Path::new("a.mp4"));
        let words = odd.expect_err("refused").to_string();
        assert!(
            words.contains("a.mp4") && words.contains("50.0 times"),
            "{words}"
        );
    }
}
