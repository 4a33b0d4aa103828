//! Angles between points.

/// Included angle at `b` of the points `a`-`b`-`c`, degrees; 180 = straight.
///
/// Works in any number of dimensions. `None` when two points coincide or a
/// coordinate is not finite.
pub fn included_deg<const N: usize>(a: [f64; N], b: [f64; N], c: [f64; N]) -> Option<f64> {
    let (mut uv, mut uu, mut vv) = (0.0, 0.0, 0.0);
    for i in 0..N {
        let (u, v) = (a[i] - b[i], c[i] - b[i]);
        uv += u * v;
        uu += u * u;
        vv += v * v;
    }
    let norm = (uu * vv).sqrt();
    (norm.is_finite() && norm > 1e-12).then(|| (uv / norm).clamp(-1.0, 1.0).acos().to_degrees())
}

/// Lean of the line from `low` to `high` from the vertical, degrees, positive
/// toward `forward` (+1 or -1 along x). Picture coordinates: y points down.
pub fn lean_from_vertical_deg(low: [f64; 2], high: [f64; 2], forward: f64) -> Option<f64> {
    let (dx, up) = ((high[0] - low[0]) * forward, low[1] - high[1]);
    (dx.hypot(up) > 1e-9).then(|| dx.atan2(up).to_degrees())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn right_angle_and_straight_leg() {
        let right = included_deg([0.0, 1.0], [0.0, 0.0], [1.0, 0.0]).unwrap();
        assert!((right - 90.0).abs() < 1e-9);
        let straight = included_deg([0.0, 0.0, 1.0], [0.0; 3], [0.0, 0.0, -2.0]).unwrap();
        assert!((straight - 180.0).abs() < 1e-9);
    }

    #[test]
    fn no_size_is_no_angle() {
        assert_eq!(included_deg([1.0, 1.0], [1.0, 1.0], [0.0, 0.0]), None);
        assert_eq!(included_deg([f64::NAN, 1.0], [1.0, 1.0], [0.0, 0.0]), None);
    }

    /// Closed form: a joint bent in the plane of travel, seen by a camera
    /// turned away from the square view, looks straighter. Rotating the
    /// plane about the vertical by `yaw` scales the horizontal parts of both
    /// segments by cos(yaw). Values of the table were computed from that
    /// model with the shank at 40 % of the bend (this project's own
    /// computation, published nowhere).
    #[test]
    fn foreshortening_makes_a_bent_knee_look_straighter() {
        let table = [
            (10.0, 90.8),
            (15.0, 91.9),
            (20.0, 93.4),
            (30.0, 97.8),
            (45.0, 108.6),
        ];
        let bend = 90.0_f64;
        let (shank, thigh) = ((bend * 0.4).to_radians(), (bend * 0.6).to_radians());
        for (yaw, expected) in table {
            let k = f64::to_radians(yaw).cos();
            let knee = [0.0, 0.0];
            let ankle = [-shank.sin() * k, -shank.cos()];
            let hip = [-thigh.sin() * k, thigh.cos()];
            let seen = included_deg(hip, knee, ankle).unwrap();
            assert!((seen - expected).abs() < 0.1, "{yaw}: {seen} vs {expected}");
        }
    }

    #[test]
    fn lean_is_positive_in_the_direction_of_travel() {
        let lean = lean_from_vertical_deg([0.0, 100.0], [50.0, 50.0], 1.0).unwrap();
        assert!((lean - 45.0).abs() < 1e-9);
        let other_way = lean_from_vertical_deg([0.0, 100.0], [-50.0, 50.0], -1.0).unwrap();
        assert!((other_way - 45.0).abs() < 1e-9);
    }
}
