//! From moving pixels to moving places.

use super::Motion;

/// How far the pieces of one person are joined, small pixels.
const JOIN: usize = 2;
/// A pixel that changed within this time is active, seconds.
const ACTIVE_S: f64 = 0.2;

/// A place that moves, in frame pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Blob {
    pub(crate) left: f32,
    pub(crate) top: f32,
    pub(crate) right: f32,
    pub(crate) bottom: f32,
    /// Mean position across of the moving pixels: nearer to the body than
    /// the middle of the box when a stick reaches out.
    pub(crate) mass_x: f32,
    /// Moving pixels, as an area of the frame.
    pub(crate) area: f32,
    /// Share of it that changed a moment ago. What differs from the background
    /// without changing is a left-over: the hole somebody left, or what the
    /// video's compression made of a place behind him.
    pub(crate) active: f32,
}

impl Blob {
    pub(crate) fn height(&self) -> f32 {
        self.bottom - self.top
    }
    pub(crate) fn width(&self) -> f32 {
        self.right - self.left
    }
}

impl Motion {
    /// The moving places that are not under `bodies`, tallest first, at least
    /// `min_height_px` high.
    pub(crate) fn blobs(&mut self, bodies: &[[f32; 4]], min_height_px: f32) -> Vec<Blob> {
        if self.relit || self.mask.is_empty() {
            return Vec::new();
        }
        self.mark(bodies);
        for ((free, &mask), &taken) in self.scratch.iter_mut().zip(&self.mask).zip(&self.taken) {
            *free = u8::from(mask != 0 && taken == 0);
        }
        // Join the pieces of one person before labelling.
        let mut joined = std::mem::take(&mut self.joined);
        count_neighbours(
            &self.scratch,
            &mut joined,
            &mut self.columns,
            self.width,
            JOIN,
        );
        let pieces = self.label(&mut joined);
        self.joined = joined;
        let merged = merge(pieces);
        let mut out: Vec<Blob> = merged
            .into_iter()
            .filter(|b| b.height() >= min_height_px)
            .collect();
        out.sort_by(|a, b| b.height().total_cmp(&a.height()));
        out
    }

    /// Connected pieces of `joined`; box and mass count only truly moving
    /// pixels. Clears `joined`.
    fn label(&mut self, joined: &mut [u8]) -> Vec<Blob> {
        let (w, h) = (self.width, self.height);
        let d = self.divisor as f32;
        let mut out = Vec::new();
        for start in 0..joined.len() {
            if joined[start] == 0 {
                continue;
            }
            joined[start] = 0;
            self.queue.clear();
            self.queue.push(start as u32);
            let (mut x0, mut x1, mut y0, mut y1) = (w, 0, h, 0);
            let (mut count, mut sum_x, mut active) = (0usize, 0usize, 0usize);
            while let Some(at) = self.queue.pop() {
                let at = at as usize;
                let (x, y) = (at % w, at / w);
                if self.scratch[at] != 0 {
                    (x0, x1) = (x0.min(x), x1.max(x + 1));
                    (y0, y1) = (y0.min(y), y1.max(y + 1));
                    count += 1;
                    sum_x += x;
                    active += usize::from(self.candidate_since_s[at] + ACTIVE_S >= self.now_s);
                }
                let mut visit = |next: usize| {
                    if joined[next] != 0 {
                        joined[next] = 0;
                        self.queue.push(next as u32);
                    }
                };
                if x > 0 {
                    visit(at - 1);
                }
                if x + 1 < w {
                    visit(at + 1);
                }
                if y > 0 {
                    visit(at - w);
                }
                if y + 1 < h {
                    visit(at + w);
                }
            }
            if count < 4 {
                continue;
            }
            out.push(Blob {
                left: x0 as f32 * d,
                top: y0 as f32 * d,
                right: x1 as f32 * d,
                bottom: y1 as f32 * d,
                mass_x: (sum_x as f32 / count as f32 + 0.5) * d,
                area: count as f32 * d * d,
                active: active as f32 / count as f32,
            });
        }
        out
    }
}

/// Joins boxes that are close for their size: a white jersey before white
/// boards leaves a head and two legs.
fn merge(mut pieces: Vec<Blob>) -> Vec<Blob> {
    // The largest few matter; a picture full of specks must not cost time.
    pieces.sort_by(|a, b| b.area.total_cmp(&a.area));
    pieces.truncate(24);
    let mut changed = true;
    while changed {
        changed = false;
        'search: for i in 0..pieces.len() {
            for j in i + 1..pieces.len() {
                let (a, b) = (pieces[i], pieces[j]);
                let reach = 0.2 * a.height().max(b.height());
                let gap_x = a.left.max(b.left) - a.right.min(b.right);
                let gap_y = a.top.max(b.top) - a.bottom.min(b.bottom);
                if gap_x < 0.4 * reach && gap_y < reach {
                    let area = a.area + b.area;
                    pieces[i] = Blob {
                        left: a.left.min(b.left),
                        top: a.top.min(b.top),
                        right: a.right.max(b.right),
                        bottom: a.bottom.max(b.bottom),
                        mass_x: (a.mass_x * a.area + b.mass_x * b.area) / area,
                        area,
                        active: (a.active * a.area + b.active * b.area) / area,
                    };
                    pieces.swap_remove(j);
                    changed = true;
                    break 'search;
                }
            }
        }
    }
    pieces
}

/// For every pixel, how many in the square of `reach` around it are set
/// (saturating at 255). `columns` is room for `width` sums.
pub(super) fn count_neighbours(
    set: &[u8],
    out: &mut [u8],
    columns: &mut [u16],
    width: usize,
    reach: usize,
) {
    if width == 0 {
        return;
    }
    // Column sums slide down the picture, so the cost does not depend on the
    // reach.
    columns.fill(0);
    let height = set.len() / width;
    let row = |y: usize| &set[y * width..(y + 1) * width];
    for y in 0..height.min(reach) {
        for (sum, &s) in columns.iter_mut().zip(row(y)) {
            *sum += u16::from(s);
        }
    }
    for (y, out) in out.chunks_exact_mut(width).take(height).enumerate() {
        if y + reach < height {
            for (sum, &s) in columns.iter_mut().zip(row(y + reach)) {
                *sum += u16::from(s);
            }
        }
        if y > reach {
            for (sum, &s) in columns.iter_mut().zip(row(y - reach - 1)) {
                *sum -= u16::from(s);
            }
        }
        let mut sum: u16 = columns.iter().take(reach).sum();
        for (x, out) in out.iter_mut().enumerate() {
            if x + reach < width {
                sum += columns[x + reach];
            }
            if x > reach {
                sum -= columns[x - reach - 1];
            }
            *out = sum.min(255) as u8;
        }
    }
}
