//! Small pictures in half the memory: brightness for every pixel, colour for
//! every four.

use crate::display::PreviewImage;

/// A picture as 8-bit luma and two quarter-size chroma planes (ITU-R BT.601,
/// full range, as JPEG has it).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Packed {
    width: u32,
    height: u32,
    luma: Vec<u8>,
    /// Blue and red difference in turn, one pair for every 2 x 2 pixels.
    chroma: Vec<u8>,
}

/// Weights of BT.601 in 1/65536.
const R: i32 = 19_595;
const G: i32 = 38_470;
const B: i32 = 7_471;
const HALF: i32 = 1 << 15;

impl Packed {
    /// Packs a picture.
    pub fn of(picture: &PreviewImage) -> Self {
        let (width, height) = picture.size();
        let (w, h) = (width as usize, height as usize);
        let rgb = picture.rgb();
        let luma = rgb
            .chunks_exact(3)
            .map(|p| {
                let [r, g, b] = [p[0], p[1], p[2]].map(i32::from);
                ((R * r + G * g + B * b + HALF) >> 16) as u8
            })
            .collect();
        let mut chroma = Vec::with_capacity(w.div_ceil(2) * h.div_ceil(2) * 2);
        for top in (0..h).step_by(2) {
            for left in (0..w).step_by(2) {
                let (mut sums, mut n) = ([0i32; 3], 0);
                for y in top..(top + 2).min(h) {
                    for x in left..(left + 2).min(w) {
                        let at = (y * w + x) * 3;
                        for (sum, v) in sums.iter_mut().zip(&rgb[at..at + 3]) {
                            *sum += i32::from(*v);
                        }
                        n += 1;
                    }
                }
                let [r, g, b] = sums.map(|s| s / n);
                // 0.564 (B - Y) and 0.713 (R - Y), about 128.
                let y = (R * r + G * g + B * b + HALF) >> 16;
                let blue = 128 + (((b - y) * 36_984 + HALF) >> 16);
                let red = 128 + (((r - y) * 46_745 + HALF) >> 16);
                chroma.extend([blue, red].map(|c| c.clamp(0, 255) as u8));
            }
        }
        Packed {
            width,
            height,
            luma,
            chroma,
        }
    }

    /// Memory it takes.
    pub fn bytes(&self) -> usize {
        self.luma.len() + self.chroma.len()
    }

    /// The picture again, with a little less colour in its edges.
    pub fn unpack(&self) -> Option<PreviewImage> {
        let w = self.width as usize;
        let pairs_a_row = w.div_ceil(2);
        let mut rgb = Vec::with_capacity(self.luma.len() * 3);
        for (row, lumas) in self.luma.chunks_exact(w.max(1)).enumerate() {
            let pairs = self.chroma.chunks_exact(2).skip(row / 2 * pairs_a_row);
            for (two, pair) in lumas.chunks(2).zip(pairs) {
                let (blue, red) = (i32::from(pair[0]) - 128, i32::from(pair[1]) - 128);
                for &y in two {
                    let y = i32::from(y);
                    let channels = [
                        y + ((91_881 * red + HALF) >> 16),
                        y - ((22_554 * blue + 46_802 * red + HALF) >> 16),
                        y + ((116_130 * blue + HALF) >> 16),
                    ];
                    rgb.extend(channels.map(|c| c.clamp(0, 255) as u8));
                }
            }
        }
        PreviewImage::from_rgb(self.width, self.height, &rgb, self.width.max(self.height))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn colours_come_back_within_two_steps_and_odd_sizes_too() {
        let colours = [
            [0, 0, 0],
            [255, 255, 255],
            [255, 0, 0],
            [0, 255, 0],
            [0, 0, 255],
            [240, 228, 66],
            [12, 34, 56],
        ];
        for (w, h) in [(2, 2), (3, 3), (1, 1), (5, 2), (640, 360)] {
            for colour in colours {
                let rgb = colour.repeat((w * h) as usize);
                let picture = PreviewImage::from_rgb(w, h, &rgb, 4096).unwrap();
                let packed = Packed::of(&picture);
                let back = packed.unpack().unwrap();
                assert_eq!(back.size(), (w, h));
                for pixel in back.rgb().chunks_exact(3) {
                    for (a, b) in pixel.iter().zip(&colour) {
                        assert!(a.abs_diff(*b) <= 2, "{colour:?} became {pixel:?}");
                    }
                }
                assert!((w, h) != (640, 360) || packed.bytes() == 640 * 360 * 3 / 2);
            }
        }
    }
}
