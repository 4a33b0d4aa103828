//! Small pictures of a fixed camera in little memory: brightness for every
//! pixel, colour for every four, and what has not changed since the picture
//! before is shared with it.

use std::sync::Arc;

use crate::display::PreviewImage;

/// Pixels along the side of a tile; even, and whole blocks.
const TILE: usize = 16;
/// Pixels along the side of the blocks that are compared: in their mean the
/// noise of the camera is a quarter of what it is in a pixel.
const BLOCK: usize = 4;
/// A tile in which a single pixel differs by more has changed: a stick or a
/// blade is thinner than a block. Far beyond the noise.
const PIXEL_STEP: i32 = 48;

/// A part of a picture as 8-bit luma and a quarter as many pairs of blue and
/// red difference (ITU-R BT.601, full range, as JPEG has it).
#[derive(Debug, Clone, PartialEq, Eq)]
struct Tile {
    luma: [u8; TILE * TILE],
    chroma: [u8; TILE * TILE / 2],
}

/// Memory a tile takes: itself, the two counts of its `Arc`, the allocator's
/// word.
const TILE_BYTES: usize = size_of::<Tile>() + 3 * size_of::<usize>();

/// A part of a picture, its pixels: left, top, right, bottom.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part(pub [f32; 4]);

/// A picture as tiles.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Packed {
    width: u32,
    height: u32,
    tiles: Vec<Arc<Tile>>,
}

/// Weights of BT.601 in 1/65536.
const R: i32 = 19_595;
const G: i32 = 38_470;
const B: i32 = 7_471;
const HALF: i32 = 1 << 15;

impl Tile {
    /// The tile whose upper left corner is there. What lies outside of the
    /// picture repeats its edge.
    fn of(rgb: &[u8], (w, h): (usize, usize), left: usize, top: usize) -> Self {
        let mut tile = Tile {
            luma: [0; TILE * TILE],
            chroma: [0; TILE * TILE / 2],
        };
        let mut rows = [[0u8; TILE * 3]; 2];
        for pair in 0..TILE / 2 {
            for (i, row) in rows.iter_mut().enumerate() {
                let y = (top + 2 * pair + i).min(h - 1);
                let line = &rgb[y * w * 3..(y + 1) * w * 3];
                let wide = TILE.min(w - left);
                row[..wide * 3].copy_from_slice(&line[left * 3..(left + wide) * 3]);
                for x in wide..TILE {
                    row.copy_within((wide - 1) * 3..wide * 3, x * 3);
                }
                let lumas = &mut tile.luma[(2 * pair + i) * TILE..][..TILE];
                for (luma, p) in lumas.iter_mut().zip(row.chunks_exact(3)) {
                    let [r, g, b] = [p[0], p[1], p[2]].map(i32::from);
                    *luma = ((R * r + G * g + B * b + HALF) >> 16) as u8;
                }
            }
            let [upper, lower] = &rows;
            let fours = upper.chunks_exact(6).zip(lower.chunks_exact(6));
            let pairs = tile.chroma[pair * TILE..][..TILE].chunks_exact_mut(2);
            for (out, (u, l)) in pairs.zip(fours) {
                let mean = |c: usize| {
                    (i32::from(u[c]) + i32::from(u[c + 3]) + i32::from(l[c]) + i32::from(l[c + 3]))
                        / 4
                };
                let (r, g, b) = (mean(0), mean(1), mean(2));
                // 0.564 (B - Y) and 0.713 (R - Y), about 128.
                let y = (R * r + G * g + B * b + HALF) >> 16;
                let blue = 128 + (((b - y) * 36_984 + HALF) >> 16);
                let red = 128 + (((r - y) * 46_745 + HALF) >> 16);
                out[0] = blue.clamp(0, 255) as u8;
                out[1] = red.clamp(0, 255) as u8;
            }
        }
        tile
    }

    /// Whether the other looks the same: no block's mean differs by more
    /// than `step` levels, and no pixel by much.
    fn looks_like(&self, other: &Tile, step: i32) -> bool {
        // Sums along the rows of four, then down the columns.
        for (mine, theirs) in self
            .luma
            .chunks_exact(TILE * BLOCK)
            .zip(other.luma.chunks_exact(TILE * BLOCK))
        {
            let mut sums = [0i32; TILE / BLOCK];
            let mut most = 0;
            for (a, b) in mine.chunks_exact(TILE).zip(theirs.chunks_exact(TILE)) {
                for (x, (a, b)) in a.iter().zip(b).enumerate() {
                    let off = i32::from(*a) - i32::from(*b);
                    sums[x / BLOCK] += off;
                    most = most.max(off.abs());
                }
            }
            let bound = step * (BLOCK * BLOCK) as i32;
            if most > PIXEL_STEP.max(step) || sums.iter().any(|s| s.abs() > bound) {
                return false;
            }
        }
        for (mine, theirs) in self
            .chroma
            .chunks_exact(TILE * BLOCK / 2)
            .zip(other.chroma.chunks_exact(TILE * BLOCK / 2))
        {
            // Blue and red of each block in turn.
            let mut sums = [0i32; 2 * TILE / BLOCK];
            for (a, b) in mine.chunks_exact(TILE).zip(theirs.chunks_exact(TILE)) {
                for (x, (a, b)) in a.iter().zip(b).enumerate() {
                    sums[x / BLOCK * 2 + x % 2] += i32::from(*a) - i32::from(*b);
                }
            }
            let bound = step * (BLOCK * BLOCK / 4) as i32;
            if sums.iter().any(|s| s.abs() > bound) {
                return false;
            }
        }
        true
    }
}

impl Packed {
    /// Packs a picture. What looks like `earlier` there, to `step` levels, is
    /// shared with it, but for what lies in `fresh`: that is this picture's
    /// own in any case. Nothing is compared but with what is kept, so that
    /// small changes do not add up.
    pub fn of(picture: &PreviewImage, earlier: Option<&Packed>, fresh: &[Part], step: i32) -> Self {
        let (width, height) = picture.size();
        let (w, h) = (width as usize, height as usize);
        let earlier = earlier.filter(|e| (e.width, e.height) == (width, height));
        let across = w.div_ceil(TILE);
        let mut tiles = Vec::with_capacity(across * h.div_ceil(TILE));
        for top in (0..h).step_by(TILE) {
            for left in (0..w).step_by(TILE) {
                let tile = Tile::of(picture.rgb(), (w, h), left, top);
                let (x, y) = (left as f32, top as f32);
                let own = |Part([l, t, r, b]): &Part| {
                    *l < x + TILE as f32 && *r > x && *t < y + TILE as f32 && *b > y
                };
                let before = earlier
                    .and_then(|e| e.tiles.get(tiles.len()))
                    .filter(|_| !fresh.iter().any(own))
                    .filter(|before| tile.looks_like(before, step));
                let tile = before.map_or_else(|| Arc::new(tile), Arc::clone);
                tiles.push(tile);
            }
        }
        Packed {
            width,
            height,
            tiles,
        }
    }

    /// Memory it takes beside `other`, with which it may share tiles.
    pub fn bytes_beside(&self, other: Option<&Packed>) -> usize {
        let shared = other.map_or(0, |other| {
            let both = self.tiles.iter().zip(&other.tiles);
            both.filter(|(a, b)| Arc::ptr_eq(a, b)).count()
        });
        (self.tiles.len() - shared) * TILE_BYTES + self.tiles.capacity() * size_of::<Arc<Tile>>()
    }

    /// The picture again, with a little less colour in its edges.
    pub fn unpack(&self) -> Option<PreviewImage> {
        let (w, h) = (self.width as usize, self.height as usize);
        let mut rgb = Vec::with_capacity(w * h * 3);
        for (i, row) in self.tiles.chunks(w.div_ceil(TILE).max(1)).enumerate() {
            for y in 0..TILE.min(h.saturating_sub(i * TILE)) {
                for (x, tile) in row.iter().enumerate() {
                    let lumas = tile.luma[y * TILE..][..TILE].chunks_exact(2);
                    let pairs = tile.chroma[y / 2 * TILE..][..TILE].chunks_exact(2);
                    let wide = TILE.min(w - x * TILE);
                    for (at, (two, pair)) in lumas.zip(pairs).enumerate() {
                        let (blue, red) = (i32::from(pair[0]) - 128, i32::from(pair[1]) - 128);
                        for &y in two.iter().take(wide.saturating_sub(2 * at)) {
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
            }
        }
        PreviewImage::from_rgb(self.width, self.height, &rgb, self.width.max(self.height))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn even(w: u32, h: u32, colour: [u8; 3]) -> PreviewImage {
        let rgb = colour.repeat((w * h) as usize);
        PreviewImage::from_rgb(w, h, &rgb, 4096).unwrap()
    }

    /// `picture` with another colour from `left`, `top` on, so many pixels.
    fn with(picture: &PreviewImage, at: [usize; 4], colour: [u8; 3]) -> PreviewImage {
        let (w, h) = picture.size();
        let mut rgb = picture.rgb().to_vec();
        let [left, top, wide, high] = at;
        for y in top..top + high {
            for x in left..left + wide {
                rgb[(y * w as usize + x) * 3..][..3].copy_from_slice(&colour);
            }
        }
        PreviewImage::from_rgb(w, h, &rgb, 4096).unwrap()
    }

    fn own_tiles(a: &Packed, b: &Packed) -> usize {
        let both = a.tiles.iter().zip(&b.tiles);
        both.filter(|(a, b)| !Arc::ptr_eq(a, b)).count()
    }

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
        for (w, h) in [(2, 2), (3, 3), (1, 1), (5, 2), (17, 33), (640, 360)] {
            for colour in colours {
                let packed = Packed::of(&even(w, h, colour), None, &[], 0);
                let back = packed.unpack().unwrap();
                assert_eq!(back.size(), (w, h));
                for pixel in back.rgb().chunks_exact(3) {
                    for (a, b) in pixel.iter().zip(&colour) {
                        assert!(a.abs_diff(*b) <= 2, "{colour:?} became {pixel:?}");
                    }
                }
            }
        }
    }

    /// Every pixel comes back in its place: each has its own brightness.
    #[test]
    fn pixels_come_back_where_they_were() {
        let (w, h) = (37, 21);
        let rgb: Vec<u8> = (0..w * h).flat_map(|i| [(i * 7 % 251) as u8; 3]).collect();
        let picture = PreviewImage::from_rgb(w, h, &rgb, 64).unwrap();
        let back = Packed::of(&picture, None, &[], 0).unpack().unwrap();
        for (a, b) in back.rgb().iter().zip(&rgb) {
            assert!(a.abs_diff(*b) <= 1, "{a} was {b}");
        }
    }

    #[test]
    fn what_stands_still_is_shared_and_what_moved_is_not() {
        let ice = even(640, 360, [180, 190, 200]);
        let first = Packed::of(&ice, None, &[], 5);
        assert_eq!(first.tiles.len(), 40 * 23);
        assert_eq!(
            first.bytes_beside(None),
            40 * 23 * (TILE_BYTES + size_of::<usize>())
        );
        // Noise of a few levels.
        let noise: Vec<u8> = (0..640 * 360 * 3u32)
            .map(|i| 180 + (i.wrapping_mul(2_654_435_761) >> 29) as u8)
            .collect();
        let noisy = PreviewImage::from_rgb(640, 360, &noise, 640).unwrap();
        let level = Packed::of(&even(640, 360, [183, 183, 183]), None, &[], 5);
        assert_eq!(
            own_tiles(&Packed::of(&noisy, Some(&level), &[], 5), &level),
            0
        );
        // A blade one pixel thick, dark on the ice, is over two tiles.
        let blade = with(&ice, [100, 100, 20, 1], [60, 60, 70]);
        let second = Packed::of(&blade, Some(&first), &[], 5);
        assert_eq!(own_tiles(&second, &first), 2);
        assert_eq!(second.unpack(), Packed::of(&blade, None, &[], 5).unpack());
        assert_eq!(
            second.bytes_beside(Some(&first)),
            2 * TILE_BYTES + 920 * size_of::<usize>()
        );
        // It goes away: the ice comes back.
        let third = Packed::of(&ice, Some(&second), &[], 5);
        assert_eq!(third.unpack(), first.unpack());
        // Another colour of the same brightness has changed as well.
        let jersey = with(&ice, [320, 160, 16, 16], [255, 171, 147]);
        let tile = Packed::of(&jersey, Some(&first), &[], 5);
        assert_eq!(own_tiles(&tile, &first), 1);
        // Another size shares nothing.
        let small = Packed::of(&even(320, 180, [180, 190, 200]), Some(&first), &[], 5);
        assert!(small.tiles.iter().all(|t| Arc::strong_count(t) == 1));
    }

    /// Light that fades by one level a picture is never further off than the
    /// step, however long it goes on.
    #[test]
    fn small_changes_do_not_add_up() {
        let mut kept: Option<Packed> = None;
        for level in (60..200u8).rev() {
            let next = Packed::of(&even(64, 64, [level; 3]), kept.as_ref(), &[], 5);
            let shown = next.unpack().unwrap().rgb()[0];
            assert!(shown.abs_diff(level) <= 6, "{shown} for {level}");
            kept = Some(next);
        }
    }

    #[test]
    fn the_body_is_kept_as_it_is_even_if_it_hardly_moved() {
        let ice = even(640, 360, [180, 190, 200]);
        let first = Packed::of(&ice, None, &[], 5);
        let body = Part([200.5, 100.0, 260.0, 239.0]);
        let next = Packed::of(
            &with(&ice, [230, 120, 1, 1], [184; 3]),
            Some(&first),
            &[body],
            5,
        );
        // Columns 12 to 16, rows 6 to 14.
        assert_eq!(own_tiles(&next, &first), 5 * 9);
        for part in [
            [f32::NAN; 4],
            [-50.0, -50.0, -1.0, -1.0],
            [900.0, 0.0, 990.0, 9.0],
        ] {
            let next = Packed::of(&ice, Some(&first), &[Part(part)], 5);
            assert_eq!(own_tiles(&next, &first), 0);
        }
    }
}
