//! What was known before and what was measured, put together.

/// Degrees of freedom of what was known before: four sources say how far sources lie
/// apart with three. The tails are long, so that a clear measurement wins over it.
pub const BEFORE_FREEDOM: f64 = 3.0;
/// The range that is summed over, standard deviations on both sides, and its steps.
const REACH: f64 = 9.0;
const STEPS: usize = 6000;

/// Mean and standard deviation of a number that was known before as `before` (a
/// Student's t of [`BEFORE_FREEDOM`], its middle and scale) and was then `measured`
/// (normal, its mean and standard deviation).
pub fn posterior(before: [f64; 2], measured: [f64; 2]) -> [f64; 2] {
    let ([middle, scale], [mean, deviation]) = (before, measured);
    let low = (middle - REACH * scale).min(mean - REACH * deviation);
    let high = (middle + REACH * scale).max(mean + REACH * deviation);
    let log_weight = |at: f64| {
        let (t, z) = ((at - middle) / scale, (at - mean) / deviation);
        -0.5 * (BEFORE_FREEDOM + 1.0) * (t * t / BEFORE_FREEDOM).ln_1p() - 0.5 * z * z
    };
    let places = || (0..=STEPS).map(|k| low + (high - low) * k as f64 / STEPS as f64);
    let most = places().map(log_weight).fold(f64::NEG_INFINITY, f64::max);
    let (mut sum, mut first, mut second) = (0.0, 0.0, 0.0);
    for at in places() {
        let weight = (log_weight(at) - most).exp();
        sum += weight;
        first += weight * at;
        second += weight * at * at;
    }
    let found = first / sum;
    [found, (second / sum - found * found).max(0.0).sqrt()]
}
