//! Smooth, evenly spaced curves of the body points of a pass.

use super::blend::unmix_legs;
use super::repair::{Row, replace_outliers, rows_with_legs_in_order};
use crate::body::POINTS;
use crate::geometry::{butterworth_zero_phase, median};
use crate::track::{Pass, Sample};

/// Where the zero-phase filter is 3 dB down. Fast human motion is usually
/// filtered at 6 to 10 Hz (Winter; from memory); the recovery of a skate is
/// the fastest part here.
const CUTOFF_HZ: f64 = 7.0;
/// The same for short peaks, which the lower one would cut: the knee is
/// straight for a few hundredths of a second.
const PEAK_CUTOFF_HZ: f64 = 12.0;
/// Longest pass that is looked at, seconds.
const LONGEST_PASS_S: f64 = 60.0;
/// Longest hole that is bridged by a straight line, seconds.
const MAX_BRIDGE_S: f64 = 0.2;

/// Body points of a pass on an even time grid, zero-phase filtered.
#[derive(Debug, Clone)]
pub struct Curves {
    /// Samples a second.
    pub rate_hz: f64,
    /// Time of sample 0, seconds on the source's clock.
    pub start_s: f64,
    /// Points in the picture, pixels.
    pub points: Vec<[[f64; 2]; POINTS]>,
    /// The same points, filtered lightly: noisier, but with their peaks.
    pub peak_points: Vec<[[f64; 2]; POINTS]>,
    /// Whether the sample was seen (or bridged over a short hole).
    pub seen: Vec<bool>,
    /// Whether hips, knees and skates were inside the frame.
    pub legs_in_frame: Vec<bool>,
    /// Whether another person in front hid the legs.
    pub legs_hidden: Vec<bool>,
    /// Whether the model had mixed up the two legs in the sample, or exchanged
    /// them, and it was mended.
    pub legs_mended: Vec<bool>,
}

impl Curves {
    /// Repairs, evens out and smooths the samples of a pass.
    pub fn of_pass(pass: &Pass) -> Self {
        // A pass whose times do not rise, or that lasts absurdly long, shows
        // nothing that could be measured.
        let in_order = pass.samples.windows(2).all(|w| w[0].t_s < w[1].t_s);
        let short = pass.ended_at_s() - pass.started_at_s() <= LONGEST_PASS_S;
        let samples: &[Sample] = if in_order && short && pass.samples.len() >= 2 {
            &pass.samples
        } else {
            &[]
        };
        let (mut rows, exchanged) = rows_with_legs_in_order(samples);
        let times_s: Vec<f64> = samples.iter().map(|s| s.t_s).collect();
        let mixed = unmix_legs(&mut rows, &times_s);
        let mended: Vec<bool> = exchanged.iter().zip(mixed).map(|(e, m)| *e || m).collect();
        let sizes: Vec<f64> = rows.iter().map(torso_px).collect();
        replace_outliers(&mut rows, |i| 0.2 * sizes[i]);
        let rate_hz = rate_of(samples);
        let mut curves = even_grid(samples, &rows, &mended, rate_hz);
        curves.legs_in_frame = curves
            .points
            .iter()
            .map(|row| legs_inside(row, pass.frame_px))
            .collect();
        curves.peak_points = smooth(&curves.points, PEAK_CUTOFF_HZ, rate_hz);
        curves.points = smooth(&curves.points, CUTOFF_HZ, rate_hz);
        curves
    }

    /// Number of samples.
    pub fn len(&self) -> usize {
        self.points.len()
    }

    /// Whether there are no samples.
    pub fn is_empty(&self) -> bool {
        self.points.is_empty()
    }

    /// Time of a sample, which may lie between two, seconds.
    pub fn time_s(&self, index: f64) -> f64 {
        self.start_s + index / self.rate_hz
    }

    /// Whether a sample shows the legs: seen, and inside the frame.
    pub fn legs_seen(&self, i: usize) -> bool {
        self.seen[i] && self.legs_in_frame[i]
    }

    /// The sample nearest to a time.
    pub fn index_at(&self, t_s: f64) -> usize {
        let i = ((t_s - self.start_s) * self.rate_hz).round();
        (i.max(0.0) as usize).min(self.len().saturating_sub(1))
    }

    /// Height of the body in the picture at a sample, top to lowest point,
    /// pixels; `None` where there is no such sample.
    pub fn height_px(&self, i: usize) -> Option<f64> {
        let points = self.points.get(i)?;
        let (mut top, mut foot) = (f64::MAX, f64::MIN);
        for [_, y] in points {
            (top, foot) = (top.min(*y), foot.max(*y));
        }
        Some(foot - top)
    }

    /// Middle of two points of a sample, pixels.
    pub fn mid(&self, i: usize, a: usize, b: usize) -> [f64; 2] {
        let (p, q) = (self.points[i][a], self.points[i][b]);
        [(p[0] + q[0]) / 2.0, (p[1] + q[1]) / 2.0]
    }
}

fn smooth(rows: &[Row], cutoff_hz: f64, rate_hz: f64) -> Vec<Row> {
    let mut smooth = rows.to_vec();
    for point in 0..POINTS {
        for axis in 0..2 {
            let raw: Vec<f64> = rows.iter().map(|r| r[point][axis]).collect();
            let filtered = butterworth_zero_phase(&raw, cutoff_hz, rate_hz);
            for (row, v) in smooth.iter_mut().zip(filtered) {
                row[point][axis] = v;
            }
        }
    }
    smooth
}

/// Samples a second: from the median step, so that dropped frames do not
/// change it.
fn rate_of(samples: &[Sample]) -> f64 {
    let mut steps: Vec<f64> = samples.windows(2).map(|w| w[1].t_s - w[0].t_s).collect();
    let step = median(&mut steps).unwrap_or(1.0 / 30.0);
    (1.0 / step).clamp(5.0, 240.0)
}

fn even_grid(samples: &[Sample], rows: &[Row], mended: &[bool], rate_hz: f64) -> Curves {
    let start_s = samples.first().map_or(0.0, |s| s.t_s);
    let end_s = samples.last().map_or(0.0, |s| s.t_s);
    let n = if samples.is_empty() {
        0
    } else {
        ((end_s - start_s) * rate_hz + 0.5).floor() as usize + 1
    };
    let mut points = Vec::with_capacity(n);
    let mut seen = Vec::with_capacity(n);
    let mut legs_mended = Vec::with_capacity(n);
    let mut legs_hidden = Vec::with_capacity(n);
    let mut k = 0;
    for i in 0..n {
        let t = start_s + i as f64 / rate_hz;
        while k + 2 < samples.len() && samples[k + 1].t_s <= t {
            k += 1;
        }
        let (a, b) = (k, (k + 1).min(samples.len() - 1));
        let (ta, tb) = (samples[a].t_s, samples[b].t_s);
        let f = if tb > ta {
            ((t - ta) / (tb - ta)).clamp(0.0, 1.0)
        } else {
            0.0
        };
        points.push(std::array::from_fn(|p| {
            std::array::from_fn(|x| rows[a][p][x] * (1.0 - f) + rows[b][p][x] * f)
        }));
        seen.push(tb - ta <= MAX_BRIDGE_S);
        legs_mended.push(mended[if f < 0.5 { a } else { b }]);
        legs_hidden.push(samples[a].legs_hidden() || samples[b].legs_hidden());
    }
    Curves {
        rate_hz,
        start_s,
        points,
        peak_points: Vec::new(),
        seen,
        legs_in_frame: Vec::new(),
        legs_hidden,
        legs_mended,
    }
}

/// Mid hip to mid shoulder, pixels.
pub(super) fn torso_px(r: &Row) -> f64 {
    let mid = |a: usize, b: usize| [(r[a][0] + r[b][0]) / 2.0, (r[a][1] + r[b][1]) / 2.0];
    let (h, s) = (mid(23, 24), mid(11, 12));
    (h[0] - s[0]).hypot(h[1] - s[1])
}

/// The model invents feet beyond the picture's edge: points there count as
/// unseen.
fn legs_inside(row: &Row, frame_px: [u32; 2]) -> bool {
    (23..POINTS)
        .all(|p| (0..2).all(|axis| row[p][axis] > 0.0 && row[p][axis] < f64::from(frame_px[axis])))
}
