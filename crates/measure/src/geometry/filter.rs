//! Zero-phase smoothing of a finished curve, and its peaks between samples.
//!
//! Second-order Butterworth, run forward and backward. Two passes halve the
//! cutoff's power twice, so the design frequency is raised by
//! C = (sqrt(2) - 1)^(1/4) on the tan-warped axis (Winter, Biomechanics and
//! Motor Control of Human Movement; the warped form computed here).

/// Cutoff to design one pass with, so that two passes are 3 dB down at
/// `wanted_hz`. For 60 samples a second, 6 Hz needs 7.350 Hz.
pub fn two_pass_cutoff_hz(wanted_hz: f64, rate_hz: f64) -> f64 {
    let c = (2f64.sqrt() - 1.0).powf(0.25);
    let warped = (std::f64::consts::PI * wanted_hz / rate_hz).tan() / c;
    warped.atan() * rate_hz / std::f64::consts::PI
}

/// Coefficients of a second-order low-pass Butterworth: `b0 b1 b2 a1 a2`
/// with `a0` = 1.
pub fn lowpass_coefficients(cutoff_hz: f64, rate_hz: f64) -> [f64; 5] {
    let k = (std::f64::consts::PI * cutoff_hz / rate_hz).tan();
    let norm = 1.0 / (1.0 + 2f64.sqrt() * k + k * k);
    let b0 = k * k * norm;
    [
        b0,
        2.0 * b0,
        b0,
        2.0 * (k * k - 1.0) * norm,
        (1.0 - 2f64.sqrt() * k + k * k) * norm,
    ]
}

/// Zero-phase low-pass of evenly spaced samples: forward and backward, edges
/// extended by odd reflection. `wanted_hz` is where the result is 3 dB down.
/// Fewer than four samples, or a cutoff at half the rate or above, come back
/// unchanged.
pub fn butterworth_zero_phase(x: &[f64], wanted_hz: f64, rate_hz: f64) -> Vec<f64> {
    let n = x.len();
    let design_hz = two_pass_cutoff_hz(wanted_hz, rate_hz);
    if n < 4 || wanted_hz >= 0.45 * rate_hz || !design_hz.is_finite() || design_hz <= 0.0 {
        return x.to_vec();
    }
    let c = lowpass_coefficients(design_hz, rate_hz);
    let pad = 18.min(n - 1);
    let mut y: Vec<f64> = Vec::with_capacity(n + 2 * pad);
    y.extend((1..=pad).rev().map(|i| 2.0 * x[0] - x[i]));
    y.extend_from_slice(x);
    y.extend((1..=pad).map(|i| 2.0 * x[n - 1] - x[n - 1 - i]));
    one_pass(&mut y, c);
    y.reverse();
    one_pass(&mut y, c);
    y.reverse();
    y[pad..pad + n].to_vec()
}

/// One pass in place, started in the steady state of the first sample.
fn one_pass(y: &mut [f64], [b0, b1, b2, a1, a2]: [f64; 5]) {
    let start = y.first().copied().unwrap_or(0.0);
    let (mut x1, mut x2, mut y1, mut y2) = (start, start, start, start);
    for v in y {
        let x0 = *v;
        let y0 = b0 * x0 + b1 * x1 + b2 * x2 - a1 * y1 - a2 * y2;
        (x2, x1, y2, y1) = (x1, x0, y1, y0);
        *v = y0;
    }
}

/// Peak of the parabola through three evenly spaced samples around the
/// middle one: offset in samples (-0.5 to 0.5) and height.
pub fn parabola_peak(before: f64, at: f64, after: f64) -> (f64, f64) {
    let curve = before - 2.0 * at + after;
    if curve.abs() < 1e-12 {
        return (0.0, at);
    }
    let offset = (0.5 * (before - after) / curve).clamp(-0.5, 0.5);
    (offset, at - 0.25 * (before - after) * offset)
}

/// Height of the top of the parabola through three samples (time, value) in order
/// of time, not necessarily evenly spaced. `None` where it has no top.
pub fn top_through(samples: [(f64, f64); 3]) -> Option<f64> {
    let [(t0, v0), (t1, v1), (t2, v2)] = samples;
    let (first, second) = ((v1 - v0) / (t1 - t0), (v2 - v1) / (t2 - t1));
    let curve = (second - first) / (t2 - t0);
    // slope of the parabola in the middle sample
    let slope = first + curve * (t1 - t0);
    let top = v1 - slope * slope / (4.0 * curve);
    (curve < 0.0 && top.is_finite()).then_some(top)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// SciPy 1.17 `signal.butter(2, 6, fs=...)`.
    #[test]
    fn coefficients_agree_with_scipy() {
        let table = [
            (60.0, 0.0674552739, -1.1429805025, 0.4128015981),
            (30.0, 0.2065720838, -0.3695273774, 0.1958157127),
            (120.0, 0.0200833656, -1.5610180758, 0.6413515381),
        ];
        for (rate, b0, a1, a2) in table {
            let c = lowpass_coefficients(6.0, rate);
            assert!((c[0] - b0).abs() < 1e-9 && (c[1] - 2.0 * b0).abs() < 1e-9);
            assert!((c[3] - a1).abs() < 1e-9 && (c[4] - a2).abs() < 1e-9);
        }
        assert!((two_pass_cutoff_hz(6.0, 60.0) - 7.350).abs() < 5e-4);
    }

    #[test]
    fn two_passes_are_three_db_down_where_wanted_and_do_not_shift() {
        let rate = 60.0;
        let wave: Vec<f64> = (0..600)
            .map(|i| (2.0 * std::f64::consts::PI * 6.0 * i as f64 / rate).sin())
            .collect();
        let y = butterworth_zero_phase(&wave, 6.0, rate);
        let mid = 200..400;
        let dot = |a: &[f64], b: &[f64]| -> f64 { a.iter().zip(b).map(|(p, q)| p * q).sum() };
        let gain = dot(&y[mid.clone()], &wave[mid.clone()]) / dot(&wave[mid.clone()], &wave[mid]);
        assert!((gain - 0.5f64.sqrt()).abs() < 2e-3, "{gain}");
    }

    #[test]
    fn a_line_stays_a_line() {
        let line: Vec<f64> = (0..20).map(|i| 3.0 + 0.5 * i as f64).collect();
        for (a, b) in butterworth_zero_phase(&line, 6.0, 30.0).iter().zip(&line) {
            assert!((a - b).abs() < 1e-5, "{a} {b}");
        }
    }

    /// By hand: 160 - 3 (t - 0.4)^2, in uneven steps; and curves without a top.
    #[test]
    fn the_top_of_a_parabola_is_found_in_uneven_steps() {
        let at = |t: f64| (t, 160.0 - 3.0 * (t - 0.4) * (t - 0.4));
        let top = top_through([at(-1.0), at(0.1), at(3.0)]).expect("a top");
        assert!((top - 160.0).abs() < 1e-9, "{top}");
        assert_eq!(top_through([(0.0, 1.0), (1.0, 2.0), (2.0, 3.0)]), None);
        assert_eq!(top_through([(0.0, 2.0), (1.0, 1.0), (2.0, 2.0)]), None);
        assert_eq!(top_through([(0.0, 2.0), (0.0, 3.0), (2.0, 2.0)]), None);
    }

    #[test]
    fn parabola_finds_the_top_between_samples() {
        let f = |x: f64| 5.0 - (x - 0.3) * (x - 0.3);
        let (offset, top) = parabola_peak(f(-1.0), f(0.0), f(1.0));
        assert!((offset - 0.3).abs() < 1e-9 && (top - 5.0).abs() < 1e-9);
    }
}
