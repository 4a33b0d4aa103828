//! The region of interest that two guide points span.

use std::f32::consts::{FRAC_PI_2, PI};

use super::body::Roi;

/// Margin around the circle through the body, from the models' own pipeline.
const MARGIN: f32 = 1.25;

/// The square whose centre is `centre` (mid hip) and whose upward axis points
/// to `rim` (a point on the circle around the whole body). Pixels.
pub(crate) fn spanned(centre: [f32; 2], rim: [f32; 2]) -> Roi {
    let (dx, dy) = (rim[0] - centre[0], rim[1] - centre[1]);
    Roi {
        cx_px: centre[0],
        cy_px: centre[1],
        size_px: 2.0 * dx.hypot(dy) * MARGIN,
        rotation_rad: wrap(FRAC_PI_2 - (-dy).atan2(dx)),
    }
}

/// The angle in [-pi, pi).
fn wrap(angle_rad: f32) -> f32 {
    angle_rad - 2.0 * PI * ((angle_rad + PI) / (2.0 * PI)).floor()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn upright_turned_and_upside_down() {
        let up = spanned([10.0, 50.0], [10.0, 10.0]);
        assert!((up.size_px - 100.0).abs() < 1e-4);
        assert!(up.rotation_rad.abs() < 1e-6);
        // Leaning to the picture's right is a clockwise, positive turn.
        let right = spanned([0.0, 0.0], [10.0, 0.0]);
        assert!((right.rotation_rad - FRAC_PI_2).abs() < 1e-6);
        let down = spanned([0.0, 0.0], [0.0, 10.0]);
        assert!((down.rotation_rad.abs() - PI).abs() < 1e-5);
    }
}
