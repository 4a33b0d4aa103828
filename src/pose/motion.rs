//! Where something moves before a camera that stands still.
//!
//! The person detector cannot find people below about a third of the height
//! of the picture it is given, so it is never given the whole frame. This
//! stage compares a small version of the frame with a slowly learned
//! background and proposes the places that differ.
//!
//! Three rules keep the background honest: it drifts with what does not
//! differ (light), it takes over what differed but then stood still for a
//! while (a moved goal, the hole a person left), and it learns nothing under
//! a body that is being followed.

use std::ops::Range;

use crate::capture::Frame;

/// The small picture is about this wide.
const SMALL_WIDTH: u32 = 320;
/// Least difference that counts, grey levels of 255.
const MIN_DIFFERENCE: f32 = 9.0;
/// Multiple of a pixel's own usual difference that counts.
const NOISE_FACTOR: f32 = 4.0;
/// Multiple of the picture's median difference that counts.
const COMMON_FACTOR: f32 = 3.0;
/// Median difference from which on the light or the camera has changed, grey
/// levels: everything is learned anew.
const RELIGHT_DIFFERENCE: f32 = 30.0;
/// How long a changed place must stand still to become background, seconds.
const SETTLE_S: f64 = 0.5;
/// A pixel that changed within this time is active, seconds.
const ACTIVE_S: f64 = 0.2;
/// Time constant of the slow drift, seconds.
const DRIFT_S: f64 = 2.0;
/// Neighbours (of 9) that must differ too: lone pixels are noise.
const MIN_NEIGHBOURS: u8 = 3;
/// How far the pieces of one person are joined, small pixels.
const JOIN: usize = 2;

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

/// The learned background and the last difference from it.
pub(crate) struct Motion {
    divisor: u32,
    width: usize,
    height: usize,
    frame_size: (u32, u32),
    now: Vec<[f32; 3]>,
    background: Vec<[f32; 3]>,
    noise: Vec<f32>,
    /// What a changed pixel looks like, and since when.
    candidate: Vec<[f32; 3]>,
    candidate_since_s: Vec<f64>,
    /// Largest difference of a channel from the background.
    change: Vec<f32>,
    /// Least difference that counted in the last frame.
    least: f32,
    differs: Vec<u8>,
    mask: Vec<u8>,
    scratch: Vec<u8>,
    taken: Vec<u8>,
    queue: Vec<u32>,
    last_s: Option<f64>,
    now_s: f64,
    relit: bool,
}

impl Motion {
    pub(crate) fn new() -> Self {
        Self {
            divisor: 1,
            width: 0,
            height: 0,
            frame_size: (0, 0),
            now: Vec::new(),
            background: Vec::new(),
            noise: Vec::new(),
            candidate: Vec::new(),
            candidate_since_s: Vec::new(),
            change: Vec::new(),
            least: MIN_DIFFERENCE,
            differs: Vec::new(),
            mask: Vec::new(),
            scratch: Vec::new(),
            taken: Vec::new(),
            queue: Vec::new(),
            last_s: None,
            now_s: 0.0,
            relit: false,
        }
    }

    /// Forgets everything learned.
    pub(crate) fn reset(&mut self) {
        self.frame_size = (0, 0);
        self.last_s = None;
    }

    /// Whether the last [`Motion::observe`] began a new background: nothing
    /// is known to move then.
    pub(crate) fn relit(&self) -> bool {
        self.relit
    }

    /// Compares a frame with the background.
    pub(crate) fn observe(&mut self, frame: &Frame) {
        let size = (frame.width, frame.height);
        self.relit = false;
        self.now_s = frame.captured_at_s;
        if size != self.frame_size || self.last_s.is_none() {
            self.resize(size);
            self.shrink(frame);
            self.start_background();
            return;
        }
        self.shrink(frame);
        let gain = self.light_change();
        let mut bins = [0u32; 256];
        for ((most, now), back) in self.change.iter_mut().zip(&self.now).zip(&self.background) {
            *most = (0..3).fold(0.0f32, |m, c| m.max((now[c] - back[c] * gain).abs()));
            bins[(*most as usize).min(255)] += 1;
        }
        // People never cover half the picture: what half of it differs by is
        // the camera's noise, or the whole scene is another one.
        let usual = median(&bins) as f32;
        if usual > RELIGHT_DIFFERENCE {
            self.start_background();
            return;
        }
        let least = MIN_DIFFERENCE.max(COMMON_FACTOR * (usual + 0.5));
        for ((differs, &most), &noise) in self.differs.iter_mut().zip(&self.change).zip(&self.noise)
        {
            *differs = u8::from(most > least.max(NOISE_FACTOR * noise));
        }
        self.least = least;
        count_neighbours(&self.differs, &mut self.scratch, self.width, self.height, 1);
        for ((mask, &differs), &near) in self.mask.iter_mut().zip(&self.differs).zip(&self.scratch)
        {
            *mask = u8::from(differs != 0 && near >= MIN_NEIGHBOURS);
        }
    }

    /// Learns from the frame last observed, except under `bodies`.
    pub(crate) fn learn(&mut self, bodies: &[[f32; 4]]) {
        let at_s = self.now_s;
        let passed_s = self.last_s.map_or(0.0, |last| (at_s - last).max(0.0));
        self.last_s = Some(at_s);
        if self.relit {
            return;
        }
        self.mark(bodies);
        let drift = (1.0 - (-passed_s / DRIFT_S).exp()) as f32;
        for i in 0..self.now.len() {
            let now = self.now[i];
            if self.taken[i] != 0 {
                self.candidate[i] = now;
                self.candidate_since_s[i] = at_s;
                continue;
            }
            if self.differs[i] == 0 {
                for (back, now) in self.background[i].iter_mut().zip(now) {
                    *back += drift * (now - *back);
                }
                self.noise[i] += drift * (self.change[i] - self.noise[i]);
                self.candidate[i] = now;
                self.candidate_since_s[i] = at_s;
                continue;
            }
            let candidate = &mut self.candidate[i];
            let still = (0..3).all(|c| (now[c] - candidate[c]).abs() < self.least);
            if !still {
                *candidate = now;
                self.candidate_since_s[i] = at_s;
                // A place that flickers for ever (a screen, a crowd) raises
                // its own limit until it no longer counts.
                self.noise[i] += drift * 0.1 * (self.change[i].min(60.0) - self.noise[i]);
            } else if at_s - self.candidate_since_s[i] >= SETTLE_S {
                self.background[i] = now;
            }
        }
    }

    /// Share of the moving pixels in a box of the frame (left, top, right,
    /// bottom), 0 to 1; 0 for a box outside of the frame.
    pub(crate) fn share(&self, bounds: [f32; 4]) -> f32 {
        if self.relit || self.mask.is_empty() {
            return 0.0;
        }
        let (columns, rows) = self.small(bounds);
        let area = columns.len() * rows.len();
        if area == 0 {
            return 0.0;
        }
        let lines = self
            .mask
            .chunks_exact(self.width)
            .skip(rows.start)
            .take(rows.len());
        let count: usize = lines
            .map(|row| row[columns.clone()].iter().filter(|&&m| m != 0).count())
            .sum();
        count as f32 / area as f32
    }

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
        let mut joined = vec![0u8; self.scratch.len()];
        count_neighbours(&self.scratch, &mut joined, self.width, self.height, JOIN);
        let pieces = self.label(&mut joined);
        let merged = merge(pieces);
        let mut out: Vec<Blob> = merged
            .into_iter()
            .filter(|b| b.height() >= min_height_px)
            .collect();
        out.sort_by(|a, b| b.height().total_cmp(&a.height()));
        out
    }

    fn resize(&mut self, size: (u32, u32)) {
        self.frame_size = size;
        self.divisor = ((size.0 + SMALL_WIDTH / 2) / SMALL_WIDTH).max(1);
        self.width = (size.0 / self.divisor) as usize;
        self.height = (size.1 / self.divisor) as usize;
        let n = self.width * self.height;
        self.now = vec![[0.0; 3]; n];
        self.background = vec![[0.0; 3]; n];
        self.noise = vec![0.0; n];
        self.candidate = vec![[0.0; 3]; n];
        self.candidate_since_s = vec![0.0; n];
        self.change = vec![0.0; n];
        self.differs = vec![0; n];
        self.mask = vec![0; n];
        self.scratch = vec![0; n];
        self.taken = vec![0; n];
    }

    fn start_background(&mut self) {
        self.relit = true;
        self.background.copy_from_slice(&self.now);
        self.candidate.copy_from_slice(&self.now);
        self.candidate_since_s.fill(self.now_s);
        self.noise.fill(0.0);
        self.differs.fill(0);
        self.mask.fill(0);
    }

    /// Averages squares of the frame into the small picture.
    fn shrink(&mut self, frame: &Frame) {
        let d = self.divisor as usize;
        let stride = frame.width as usize * 3;
        let scale = 1.0 / (d * d) as f32;
        let mut sums = vec![[0u32; 3]; self.width];
        for (y, line) in self.now.chunks_exact_mut(self.width.max(1)).enumerate() {
            sums.fill([0; 3]);
            for row in frame.rgb.chunks_exact(stride).skip(y * d).take(d) {
                for (sum, square) in sums.iter_mut().zip(row.chunks_exact(3 * d)) {
                    for pixel in square.chunks_exact(3) {
                        sum[0] += u32::from(pixel[0]);
                        sum[1] += u32::from(pixel[1]);
                        sum[2] += u32::from(pixel[2]);
                    }
                }
            }
            for (out, sum) in line.iter_mut().zip(&sums) {
                *out = sum.map(|s| s as f32 * scale);
            }
        }
    }

    /// The factor by which the whole picture became brighter: the median over
    /// a sample of pixels, so that people do not count.
    fn light_change(&self) -> f32 {
        const BINS: usize = 512;
        const LOW: f32 = 0.5;
        const STEP: f32 = 1.0 / 512.0;
        let mut bins = [0u32; BINS + 1];
        let mut total = 0u32;
        for (now, back) in self.now.iter().zip(&self.background).step_by(7) {
            // Green stands for brightness; near black and near white say
            // nothing about a factor.
            if back[1] < 30.0 || back[1] > 245.0 {
                continue;
            }
            let ratio = now[1] / back[1];
            let bin = ((ratio - LOW) / STEP + 0.5).clamp(0.0, BINS as f32) as usize;
            bins[bin] += 1;
            total += 1;
        }
        if total < 200 {
            return 1.0;
        }
        LOW + median(&bins) as f32 * STEP
    }

    /// Marks the small pixels under boxes (left, top, right, bottom).
    fn mark(&mut self, boxes: &[[f32; 4]]) {
        self.taken.fill(0);
        for bounds in boxes {
            let (columns, rows) = self.small(*bounds);
            for row in self
                .taken
                .chunks_exact_mut(self.width)
                .skip(rows.start)
                .take(rows.len())
            {
                row[columns.clone()].fill(1);
            }
        }
    }

    /// The small pixels a box of the frame touches.
    fn small(&self, bounds: [f32; 4]) -> (Range<usize>, Range<usize>) {
        let d = self.divisor as f32;
        let range = |low: f32, high: f32, most: usize| {
            let most_f = most as f32;
            let from = (low / d).floor().clamp(0.0, most_f) as usize;
            let to = (high / d).ceil().clamp(0.0, most_f) as usize;
            from..to.max(from)
        };
        (
            range(bounds[0], bounds[2], self.width),
            range(bounds[1], bounds[3], self.height),
        )
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

/// The bin that holds the median of a histogram.
fn median(bins: &[u32]) -> usize {
    let total: u32 = bins.iter().sum();
    let mut seen = 0;
    bins.iter()
        .position(|count| {
            seen += count;
            seen * 2 >= total
        })
        .unwrap_or(0)
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
/// (saturating at 255).
fn count_neighbours(set: &[u8], out: &mut [u8], width: usize, height: usize, reach: usize) {
    // Column sums slide down the picture, so the cost does not depend on the
    // reach.
    let mut columns = vec![0u16; width];
    let row = |y: usize| &set[y * width..(y + 1) * width];
    for y in 0..height.min(reach) {
        for (sum, &s) in columns.iter_mut().zip(row(y)) {
            *sum += u16::from(s);
        }
    }
    for y in 0..height {
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
        for x in 0..width {
            if x + reach < width {
                sum += columns[x + reach];
            }
            if x > reach {
                sum -= columns[x - reach - 1];
            }
            out[y * width + x] = sum.min(255) as u8;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const W: u32 = 640;
    const H: u32 = 360;

    /// A grey scene with a darker box (left, top, right, bottom).
    fn scene(k: u64, level: u8, person: Option<[u32; 4]>) -> Frame {
        let mut rgb = vec![level; (W * H * 3) as usize];
        if let Some([x0, y0, x1, y1]) = person {
            for y in y0..y1 {
                let at = ((y * W + x0) * 3) as usize;
                rgb[at..at + ((x1 - x0) * 3) as usize].fill(level / 3);
            }
        }
        Frame {
            seq: k,
            captured_at_s: k as f64 / 30.0,
            width: W,
            height: H,
            rgb,
        }
    }

    fn step(motion: &mut Motion, frame: &Frame, followed: &[[f32; 4]]) -> Vec<Blob> {
        motion.observe(frame);
        let blobs = motion.blobs(followed, 20.0);
        motion.learn(followed);
        blobs
    }

    #[test]
    fn something_new_is_proposed_at_its_place() {
        let mut motion = Motion::new();
        assert!(step(&mut motion, &scene(0, 180, None), &[]).is_empty());
        assert!(step(&mut motion, &scene(1, 180, None), &[]).is_empty());
        let blobs = step(&mut motion, &scene(2, 180, Some([300, 100, 340, 200])), &[]);
        assert_eq!(blobs.len(), 1);
        let b = blobs[0];
        // The small picture has half the size: within two of its pixels.
        for (found, wanted) in [
            (b.left, 300.0),
            (b.top, 100.0),
            (b.right, 340.0),
            (b.bottom, 200.0),
        ] {
            assert!((found - wanted).abs() <= 4.0f32, "{b:?}");
        }
        assert!(b.active > 0.9, "{b:?}");
        assert!(motion.share([300.0, 100.0, 340.0, 200.0]) > 0.9);
        assert!(motion.share([400.0, 100.0, 440.0, 200.0]) < 0.01);
    }

    #[test]
    fn a_slow_change_of_light_is_no_motion() {
        let mut motion = Motion::new();
        for k in 0..40 {
            let level = 180 + (k % 5) as u8 * 6;
            assert!(
                step(&mut motion, &scene(k, level, None), &[]).is_empty(),
                "frame {k}"
            );
        }
    }

    /// The hole of somebody who stood there from the first frame loses its
    /// freshness and becomes background.
    #[test]
    fn what_stands_still_becomes_background() {
        let mut motion = Motion::new();
        step(&mut motion, &scene(0, 180, Some([300, 100, 340, 200])), &[]);
        let first = step(&mut motion, &scene(1, 180, None), &[]);
        assert_eq!(first.len(), 1, "the hole differs at first");
        for k in 2..10 {
            step(&mut motion, &scene(k, 180, None), &[]);
        }
        let later = step(&mut motion, &scene(10, 180, None), &[]);
        assert!(later.iter().all(|b| b.active < 0.05), "{later:?}");
        for k in 11..25 {
            step(&mut motion, &scene(k, 180, None), &[]);
        }
        assert!(step(&mut motion, &scene(25, 180, None), &[]).is_empty());
    }

    #[test]
    fn a_followed_body_is_never_learned() {
        let mut motion = Motion::new();
        let place = [296.0, 96.0, 344.0, 204.0];
        step(&mut motion, &scene(0, 180, None), &[]);
        for k in 1..90 {
            let blobs = step(
                &mut motion,
                &scene(k, 180, Some([300, 100, 340, 200])),
                &[place],
            );
            assert!(blobs.is_empty(), "explained by the followed body");
        }
        motion.observe(&scene(90, 180, Some([300, 100, 340, 200])));
        assert!(
            motion.share([300.0, 100.0, 340.0, 200.0]) > 0.9,
            "three seconds later"
        );
    }

    #[test]
    fn counting_neighbours_matches_the_plain_sum() {
        let (w, h) = (13usize, 9usize);
        let set: Vec<u8> = (0..w * h).map(|i| u8::from(i * 7 % 5 < 2)).collect();
        for reach in [1usize, 2, 3] {
            let mut out = vec![0; w * h];
            count_neighbours(&set, &mut out, w, h, reach);
            for y in 0..h {
                for x in 0..w {
                    let mut sum = 0;
                    for v in y.saturating_sub(reach)..(y + reach + 1).min(h) {
                        for u in x.saturating_sub(reach)..(x + reach + 1).min(w) {
                            sum += set[v * w + u];
                        }
                    }
                    assert_eq!(out[y * w + x], sum, "{x} {y} {reach}");
                }
            }
        }
    }
}
