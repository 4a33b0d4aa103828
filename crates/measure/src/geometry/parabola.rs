//! A parabola through many points.

/// What a parabola through points says of them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Parabola {
    /// The factor of x squared; above 0 it opens upward.
    pub curvature: f64,
    /// Root mean square of how far the points lie from it.
    pub off: f64,
}

/// The least squares parabola through points of place and value. `None` for fewer
/// than three places.
pub fn fit_parabola(points: &[(f64, f64)]) -> Option<Parabola> {
    let n = points.len() as f64;
    let middle = points.iter().map(|(x, _)| x).sum::<f64>() / n;
    let sum = |of: &dyn Fn(f64, f64) -> f64| {
        points
            .iter()
            .map(|(x, value)| of(x - middle, *value))
            .sum::<f64>()
    };
    // Polynomials that know nothing of each other at these places: each factor is
    // then found by itself.
    let squares = sum(&|x, _| x * x);
    let tilt = sum(&|x, _| x * x * x) / squares;
    let bend = |x: f64| x * x - tilt * x - squares / n;
    let bends = sum(&|x, _| bend(x) * bend(x));
    // Two places or fewer leave nothing but rounding here.
    if n < 3.0 || bends.is_nan() || bends <= 1e-12 * squares * squares {
        return None;
    }
    let level = sum(&|_, value| value) / n;
    let slope = sum(&|x, value| x * value) / squares;
    let curvature = sum(&|x, value| bend(x) * value) / bends;
    let on_it = |x: f64| level + slope * x + curvature * bend(x);
    let rest = sum(&|x, value| (value - on_it(x)).powi(2)) / n;
    Some(Parabola {
        curvature,
        off: rest.sqrt(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn three_points_lie_on_it_and_two_places_are_too_few() {
        let through = fit_parabola(&[(1.0, 3.0), (2.0, 1.0), (4.0, 5.0)]).unwrap();
        assert!((through.curvature - 4.0 / 3.0).abs() < 1e-9 && through.off < 1e-9);
        assert_eq!(fit_parabola(&[]), None);
        assert_eq!(fit_parabola(&[(1.0, 0.0), (1.0, 5.0), (2.0, 1.0)]), None);
        assert_eq!(
            fit_parabola(&[(1.0, 0.0), (2.0, 0.0), (f64::NAN, 1.0)]),
            None
        );
    }
}
