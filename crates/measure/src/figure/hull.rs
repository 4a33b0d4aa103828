//! The outline around a few discs.

/// Corners of a circle.
const CORNERS: usize = 28;

/// The convex outline around discs (middle and radius), counter-clockwise with y
/// up; empty without discs.
pub fn convex_hull(discs: &[([f64; 2], f64)]) -> Vec<[f64; 2]> {
    let mut points: Vec<[f64; 2]> = discs
        .iter()
        .flat_map(|&([x, y], r)| {
            (0..CORNERS).map(move |k| {
                let (sin, cos) = (k as f64 / CORNERS as f64 * std::f64::consts::TAU).sin_cos();
                [x + r * cos, y + r * sin]
            })
        })
        .filter(|p| p.iter().all(|v| v.is_finite()))
        .collect();
    points.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    points.dedup();
    if points.len() < 3 {
        return points;
    }
    // Andrew's monotone chain: the lower, then the upper edge.
    let turn = |o: [f64; 2], a: [f64; 2], b: [f64; 2]| {
        (a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0])
    };
    let mut hull: Vec<[f64; 2]> = Vec::with_capacity(points.len() + 1);
    for back in [false, true] {
        let start = hull.len();
        let ordered: Box<dyn Iterator<Item = &[f64; 2]>> = if back {
            Box::new(points.iter().rev())
        } else {
            Box::new(points.iter())
        };
        for &p in ordered {
            while hull.len() >= start + 2
                && turn(hull[hull.len() - 2], hull[hull.len() - 1], p) <= 0.0
            {
                hull.pop();
            }
            hull.push(p);
        }
        hull.pop();
    }
    hull
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Area of two discs and the strip between them against the closed form:
    /// two half discs and a rectangle.
    #[test]
    fn the_outline_of_two_equal_discs_is_a_rounded_strip() {
        let hull = convex_hull(&[([0.0, 0.0], 1.0), ([3.0, 0.0], 1.0), ([1.5, 0.1], 0.2)]);
        let area: f64 = (0..hull.len())
            .map(|i| {
                let (a, b) = (hull[i], hull[(i + 1) % hull.len()]);
                (a[0] * b[1] - a[1] * b[0]) / 2.0
            })
            .sum();
        let exact = std::f64::consts::PI + 6.0;
        assert!((area / exact - 1.0).abs() < 0.01, "{area} for {exact}");
        assert!(convex_hull(&[]).is_empty());
        assert!(convex_hull(&[([f64::NAN, 0.0], 1.0)]).is_empty());
    }
}
