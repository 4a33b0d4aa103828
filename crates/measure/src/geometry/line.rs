//! Straight lines over time, and the middle of many readings.

/// A straight line over time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// Mean time of the points it was put through, seconds.
    t0_s: f64,
    /// Its value then.
    level: f64,
    /// Change a second.
    pub slope: f64,
}

impl Line {
    /// A line that stays at one value.
    pub fn standing_at(level: f64) -> Self {
        Line {
            t0_s: 0.0,
            level,
            slope: 0.0,
        }
    }

    /// Its value at a time.
    pub fn at(&self, t_s: f64) -> f64 {
        self.level + self.slope * (t_s - self.t0_s)
    }
}

/// The weighted least squares line through points of time, value and weight.
/// `None` for fewer than two points and for points of one time.
pub fn fit_line(points: impl Iterator<Item = (f64, f64, f64)>) -> Option<Line> {
    let (mut count, mut n, mut st, mut sv, mut stt, mut stv) = (0, 0.0, 0.0, 0.0, 0.0, 0.0);
    let mut origin = None;
    for (t, v, w) in points {
        // from the first time, so that late times lose no digits
        let t = t - *origin.get_or_insert(t);
        count += 1;
        n += w;
        st += w * t;
        sv += w * v;
        stt += w * t * t;
        stv += w * t * v;
    }
    let det = n * stt - st * st;
    (count >= 2 && det > 1e-12).then(|| Line {
        t0_s: origin.unwrap_or(0.0) + st / n,
        level: sv / n,
        slope: (n * stv - st * sv) / det,
    })
}

/// The middle value, of two middle ones the larger. Sorts the values.
pub fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}

/// The middle value, or the mean of the two middle ones. Sorts the values.
pub fn true_median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let n = values.len();
    let upper = *values.get(n / 2)?;
    // Halved before adding: the sum of two finite values can overflow.
    Some(match n % 2 {
        1 => upper,
        _ => values[n / 2 - 1] / 2.0 + upper / 2.0,
    })
}

/// The mean of values with weights in which one that lies farther than `astray`
/// from it pulls no harder than one that lies so far (Huber's estimate of a
/// location, 1964). `None` for no values.
pub fn huber_mean(values: &[(f64, f64)], astray: f64) -> Option<f64> {
    let mut sorted: Vec<f64> = values.iter().map(|&(value, _)| value).collect();
    let mut mean = median(&mut sorted)?;
    for _ in 0..STEADY_ROUNDS {
        let (mut sum, mut weights) = (0.0, 0.0);
        for &(value, weight) in values {
            let off = (value - mean).abs();
            let weight = weight * if off > astray { astray / off } else { 1.0 };
            sum += weight * value;
            weights += weight;
        }
        if weights <= 0.0 {
            return None;
        }
        mean = sum / weights;
    }
    Some(mean)
}

/// Enough for less than a thousandth of what is astray.
const STEADY_ROUNDS: usize = 20;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_median_of_an_even_number_lies_between_the_middle_two() {
        assert_eq!(true_median(&mut [4.0, 1.0, 3.0, 2.0]), Some(2.5));
        assert_eq!(true_median(&mut [9.0, 1.0, 3.0]), Some(3.0));
        assert_eq!(true_median(&mut [f64::MAX, f64::MAX]), Some(f64::MAX));
        assert_eq!(true_median(&mut []), None);
    }

    #[test]
    fn a_line_is_found_at_any_time_and_heavy_points_draw_it() {
        let line = fit_line((0..5).map(|i| (1e6 + f64::from(i), 3.0 * f64::from(i), 1.0))).unwrap();
        assert!((line.slope - 3.0).abs() < 1e-9 && (line.at(1e6 + 2.5) - 7.5).abs() < 1e-9);
        let points = [(0.0, 0.0, 1e6), (1.0, 1.0, 1e6), (2.0, 9.0, 1e-6)];
        assert!((fit_line(points.into_iter()).unwrap().slope - 1.0).abs() < 1e-3);
    }

    #[test]
    fn one_point_and_one_time_are_no_line() {
        assert_eq!(fit_line([(1.0, 2.0, 1.0)].into_iter()), None);
        assert_eq!(
            fit_line([(1.0, 2.0, 1.0), (1.0, 3.0, 1.0)].into_iter()),
            None
        );
    }

    #[test]
    fn the_larger_of_two_middle_values() {
        assert_eq!(median(&mut [4.0, 1.0, 3.0, 2.0]), Some(3.0));
        assert_eq!(median(&mut []), None);
    }
}
