//! A frame as a small grey picture of even contrast.

use crate::capture::Frame;

/// The small picture is about this wide, pixels.
pub(super) const WIDTH: u32 = 320;
/// The contrast is made even over squares of twice this many pixels.
const REACH: usize = 8;
/// What differs less than this from its surroundings is noise, grey levels of 255.
const NOISE: f32 = 4.0;
/// Beyond this many of the usual differences a pixel counts no more than at it.
const MOST: f32 = 3.0;

/// A grey picture; after [`Small::of`] its values are differences from the surroundings in
/// units of the usual difference there.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Small {
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) level: Vec<f32>,
}

impl Small {
    /// How many pixels of a frame of this width are one of the small picture.
    pub(super) fn divisor(frame_width: u32) -> u32 {
        ((frame_width + WIDTH / 2) / WIDTH).max(1)
    }

    /// Of a frame; `None` where it is too small or not whole.
    pub(super) fn of(frame: &Frame) -> Option<Small> {
        let divisor = Self::divisor(frame.width) as usize;
        let (width, height) = (
            frame.width as usize / divisor,
            frame.height as usize / divisor,
        );
        let stride = frame.width as usize * 3;
        if width < 4 * REACH
            || height < 4 * REACH
            || frame.rgb.len() < stride * frame.height as usize
        {
            return None;
        }
        let mut level = Vec::with_capacity(width * height);
        let mut sums = vec![0_u32; width];
        let scale = 1.0 / (4 * divisor * divisor) as f32;
        for band in frame.rgb.chunks_exact(stride * divisor).take(height) {
            sums.fill(0);
            for row in band.chunks_exact(stride) {
                for (sum, square) in sums.iter_mut().zip(row.chunks_exact(3 * divisor)) {
                    // Green counts twice: near enough to brightness.
                    *sum += square
                        .chunks_exact(3)
                        .map(|p| u32::from(p[0]) + 2 * u32::from(p[1]) + u32::from(p[2]))
                        .sum::<u32>();
                }
            }
            level.extend(sums.iter().map(|sum| *sum as f32 * scale));
        }
        let mut small = Small {
            width,
            height,
            level,
        };
        small.even_out();
        Some(small)
    }

    /// Makes the contrast even.
    fn even_out(&mut self) {
        let (w, h) = (self.width, self.height);
        // Sums over all above and to the left, with a row and a column of zeros.
        let mut sums = vec![[0.0_f64; 2]; (w + 1) * (h + 1)];
        for y in 0..h {
            let mut row = [0.0_f64; 2];
            for x in 0..w {
                let v = f64::from(self.level[y * w + x]);
                row[0] += v;
                row[1] += v * v;
                let above = sums[y * (w + 1) + x + 1];
                sums[(y + 1) * (w + 1) + x + 1] = [above[0] + row[0], above[1] + row[1]];
            }
        }
        for y in 0..h {
            let (top, bottom) = (y.saturating_sub(REACH), (y + REACH + 1).min(h));
            for x in 0..w {
                let (left, right) = (x.saturating_sub(REACH), (x + REACH + 1).min(w));
                let at = |x: usize, y: usize| sums[y * (w + 1) + x];
                let n = ((right - left) * (bottom - top)) as f64;
                let over = |k: usize| {
                    (at(right, bottom)[k] - at(left, bottom)[k] - at(right, top)[k]
                        + at(left, top)[k])
                        / n
                };
                let mean = over(0);
                let spread = (over(1) - mean * mean).max(0.0) as f32;
                let level = &mut self.level[y * w + x];
                *level =
                    ((*level - mean as f32) / (spread + NOISE * NOISE).sqrt()).clamp(-MOST, MOST);
            }
        }
    }

    /// The picture at a quarter of its size.
    pub(super) fn quarter(&self) -> Small {
        let (width, height) = (self.width / 4, self.height / 4);
        let mut level = vec![0.0; width * height];
        for (y, row) in level.chunks_exact_mut(width.max(1)).enumerate() {
            for (x, out) in row.iter_mut().enumerate() {
                let rows = (4 * y..4 * y + 4).map(|r| r * self.width + 4 * x);
                *out = rows
                    .map(|at| self.level[at..at + 4].iter().sum::<f32>())
                    .sum::<f32>()
                    / 16.0;
            }
        }
        Small {
            width,
            height,
            level,
        }
    }

    /// The value between pixels; not a number outside of the picture.
    pub(super) fn at(&self, x: f32, y: f32) -> f32 {
        let inside = x >= 0.0 && y >= 0.0;
        let (left, top) = (x as usize, y as usize);
        if !inside || left + 1 >= self.width || top + 1 >= self.height {
            return f32::NAN;
        }
        let (fx, fy) = (x - left as f32, y - top as f32);
        let at = top * self.width + left;
        let upper = self.level[at] * (1.0 - fx) + self.level[at + 1] * fx;
        let below = &self.level[at + self.width..];
        let lower = below[0] * (1.0 - fx) + below[1] * fx;
        upper * (1.0 - fy) + lower * fy
    }
}
