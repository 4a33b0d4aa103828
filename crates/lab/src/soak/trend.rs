//! A slope and how sure it is.

/// A straight line through measured values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trend {
    /// Change in an hour.
    pub per_hour: f64,
    /// Half of the interval that holds the true change with 95 %.
    pub plus_minus: f64,
}

/// Least squares through (hours, value), with the standard error of the slope
/// from the residuals. Neighbouring values of memory depend on each other;
/// the error is widened for that by their lag-one correlation r with
/// sqrt((1 + r) / (1 - r)), the usual effective sample size of a series that
/// forgets exponentially. `None` for fewer than six points or no spread in
/// time.
pub fn trend(points: &[(f64, f64)]) -> Option<Trend> {
    let n = points.len() as f64;
    if points.len() < 6
        || points
            .iter()
            .any(|(t, v)| !(t.is_finite() && v.is_finite()))
    {
        return None;
    }
    let mean = |of: fn(&(f64, f64)) -> f64| points.iter().map(of).sum::<f64>() / n;
    let (mean_t, mean_v) = (mean(|p| p.0), mean(|p| p.1));
    let spread: f64 = points.iter().map(|(t, _)| (t - mean_t).powi(2)).sum();
    if spread <= 0.0 {
        return None;
    }
    let slope = points
        .iter()
        .map(|(t, v)| (t - mean_t) * (v - mean_v))
        .sum::<f64>()
        / spread;
    let residuals: Vec<f64> = points
        .iter()
        .map(|(t, v)| v - mean_v - slope * (t - mean_t))
        .collect();
    let squares: f64 = residuals.iter().map(|r| r * r).sum();
    let error = (squares / (n - 2.0) / spread).sqrt();
    let together: f64 = residuals.windows(2).map(|w| w[0] * w[1]).sum();
    let r = if squares > 0.0 {
        (together / squares).clamp(0.0, 0.9)
    } else {
        0.0
    };
    Some(Trend {
        per_hour: slope,
        plus_minus: 2.0 * error * ((1.0 + r) / (1.0 - r)).sqrt(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked by hand: values 1, 3, 2, 5, 4, 6 at 0 to 5 h. Mean 2.5 and 3.5,
    /// spread 17.5, sum of products 15.5, slope 15.5 / 17.5.
    #[test]
    fn a_line_by_hand() {
        let points = [
            (0.0, 1.0),
            (1.0, 3.0),
            (2.0, 2.0),
            (3.0, 5.0),
            (4.0, 4.0),
            (5.0, 6.0),
        ];
        let t = trend(&points).unwrap();
        assert!((t.per_hour - 15.5 / 17.5).abs() < 1e-12);
        // Residual squares: 17.5 - 15.5^2 / 17.5 = 3.7714; error
        // sqrt(3.7714 / 4 / 17.5) = 0.2321; the residuals alternate, so
        // nothing is widened.
        assert!((t.plus_minus - 2.0 * 0.2321).abs() < 1e-3, "{t:?}");
    }

    #[test]
    fn values_that_hang_together_make_it_less_sure() {
        let at = |v: &dyn Fn(u32) -> f64| -> Vec<(f64, f64)> {
            (0..40).map(|n| (f64::from(n), v(n))).collect()
        };
        let shaking = trend(&at(&|n| f64::from(n % 2))).unwrap();
        let swaying = trend(&at(&|n| f64::from((n / 8) % 2))).unwrap();
        assert!(swaying.plus_minus > 2.0 * shaking.plus_minus);
    }

    #[test]
    fn too_little_gives_none() {
        assert_eq!(trend(&[(0.0, 1.0); 5]), None);
        assert_eq!(trend(&[(1.0, 1.0); 9]), None);
        assert_eq!(trend(&[(f64::NAN, 1.0); 9]), None);
    }
}
