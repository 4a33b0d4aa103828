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

mod blobs;

use std::ops::Range;

use crate::capture::Frame;
pub(crate) use blobs::Blob;
use blobs::count_neighbours;

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
/// Time constant of the slow drift, seconds.
const DRIFT_S: f64 = 2.0;
/// Neighbours (of 9) that must differ too: lone pixels are noise.
const MIN_NEIGHBOURS: u8 = 3;

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
    /// Reused between frames: column sums of a band of frame rows, moving
    /// places being joined, column sums of neighbours.
    band: Vec<u16>,
    joined: Vec<u8>,
    columns: Vec<u16>,
    /// Who is in the frame last observed, where that is still to be learned from.
    people: Vec<[f32; 4]>,
    to_learn: bool,
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
            band: Vec::new(),
            joined: Vec::new(),
            columns: Vec::new(),
            people: Vec::new(),
            to_learn: false,
            last_s: None,
            now_s: 0.0,
            relit: false,
        }
    }

    /// Forgets everything learned.
    pub(crate) fn reset(&mut self) {
        self.frame_size = (0, 0);
        self.to_learn = false;
        self.last_s = None;
    }

    /// Whether the last [`Motion::observe`] began a new background: nothing
    /// is known to move then.
    pub(crate) fn relit(&self) -> bool {
        self.relit
    }

    /// Says who is in the frame last observed: the next one begins with learning
    /// from it, except there.
    pub(crate) fn note_people(&mut self, bodies: &[[f32; 4]]) {
        self.people.clear();
        self.people.extend_from_slice(bodies);
        self.to_learn = true;
    }

    /// Compares a frame with the background.
    pub(crate) fn observe(&mut self, frame: &Frame) {
        if std::mem::take(&mut self.to_learn) {
            let people = std::mem::take(&mut self.people);
            self.learn(&people);
            self.people = people;
        }
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
        count_neighbours(
            &self.differs,
            &mut self.scratch,
            &mut self.columns,
            self.width,
            1,
        );
        for ((mask, &differs), &near) in self.mask.iter_mut().zip(&self.differs).zip(&self.scratch)
        {
            *mask = u8::from(differs != 0 && near >= MIN_NEIGHBOURS);
        }
    }

    /// Learns from the frame last observed, except under `bodies`.
    fn learn(&mut self, bodies: &[[f32; 4]]) {
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
        self.joined = vec![0; n];
        self.columns = vec![0; self.width];
        self.band = vec![0; self.width * self.divisor as usize * 3];
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
    ///
    /// First down the rows of a band, which is plain addition of long rows,
    /// then across: the same whole sums as square by square, in a fraction of
    /// the time.
    fn shrink(&mut self, frame: &Frame) {
        let d = self.divisor as usize;
        let stride = frame.width as usize * 3;
        let scale = 1.0 / (d * d) as f32;
        // A sum of 16 bits holds 257 rows: a picture of 82 000 columns.
        let bands = frame.rgb.chunks_exact(stride * d);
        for (line, band) in self.now.chunks_exact_mut(self.width.max(1)).zip(bands) {
            let mut rows = band.chunks_exact(stride);
            if let Some(row) = rows.next() {
                for (sum, &value) in self.band.iter_mut().zip(row) {
                    *sum = u16::from(value);
                }
            }
            for row in rows {
                for (sum, &value) in self.band.iter_mut().zip(row) {
                    *sum += u16::from(value);
                }
            }
            match d {
                2 => across::<6>(&self.band, line, scale),
                3 => across::<9>(&self.band, line, scale),
                4 => across::<12>(&self.band, line, scale),
                6 => across::<18>(&self.band, line, scale),
                12 => across::<36>(&self.band, line, scale),
                _ => {
                    for (out, square) in line.iter_mut().zip(self.band.chunks_exact(3 * d)) {
                        *out = mean(square, scale);
                    }
                }
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
}

/// [`mean`] of every `N` sums of a band, `N` known so that the loops unroll.
fn across<const N: usize>(band: &[u16], line: &mut [[f32; 3]], scale: f32) {
    let (squares, _) = band.as_chunks::<N>();
    for (out, square) in line.iter_mut().zip(squares) {
        *out = mean(square, scale);
    }
}

/// The sums of a square's columns to its mean colour.
#[inline(always)]
fn mean(square: &[u16], scale: f32) -> [f32; 3] {
    let mut sum = [0u32; 3];
    for pixel in square.chunks_exact(3) {
        for (sum, &value) in sum.iter_mut().zip(pixel) {
            *sum += u32::from(value);
        }
    }
    sum.map(|s| s as f32 * scale)
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

#[cfg(test)]
mod tests;
