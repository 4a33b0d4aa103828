//! From the eye to the pixel: minutes of arc, millimetres, points.

use super::layout::Reader;
use super::model::ScreenGeometry;
use super::theme;

/// Minutes of arc in a full turn.
const ARCMIN_PER_TURN: f32 = 21_600.0;

/// Height in millimetres that is seen under `arcmin` minutes of arc from
/// `distance_m` metres: 2 pi D MA / 21600 (NUREG-0700, section 1.3.1).
pub fn mm_of_arcmin(arcmin: f32, distance_m: f32) -> f32 {
    std::f32::consts::TAU * distance_m * 1000.0 * arcmin / ARCMIN_PER_TURN
}

/// Minutes of arc under which a height in millimetres is seen; the inverse
/// of [`mm_of_arcmin`].
pub fn arcmin_of_mm(height_mm: f32, distance_m: f32) -> f32 {
    height_mm * ARCMIN_PER_TURN / (std::f32::consts::TAU * distance_m * 1000.0)
}

/// Turns minutes of arc into points of one screen and back.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Scale {
    points_per_mm: f32,
    reading_distance_m: f32,
}

impl Scale {
    /// For a screen that is `height_points` points high. Sizes that cannot
    /// be (zero, negative, no numbers) are replaced by the defaults.
    pub(super) fn new(geometry: ScreenGeometry, height_points: f32) -> Self {
        let or_default = |value: f32, default: f32| {
            if value.is_finite() && value > 0.0 {
                value
            } else {
                default
            }
        };
        let default = ScreenGeometry::default();
        let height_m = or_default(geometry.screen_height_m, default.screen_height_m);
        Scale {
            points_per_mm: height_points / (height_m * 1000.0),
            reading_distance_m: or_default(geometry.reading_distance_m, default.reading_distance_m),
        }
    }

    fn distance_m(self, reader: Reader) -> f32 {
        match reader {
            Reader::Skater => self.reading_distance_m,
            Reader::Coach => theme::COACH_DISTANCE_M,
        }
    }

    /// Points that are seen under `arcmin`.
    pub(super) fn points(self, arcmin: f32, reader: Reader) -> f32 {
        mm_of_arcmin(arcmin, self.distance_m(reader)) * self.points_per_mm
    }

    /// Minutes of arc under which `points` are seen.
    pub(super) fn arcmin(self, points: f32, reader: Reader) -> f32 {
        arcmin_of_mm(points / self.points_per_mm, self.distance_m(reader))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The table of letter heights in millimetres was computed apart from
    /// this program (2 D tan(MA / 2) agrees to the millimetre).
    #[test]
    fn heights_agree_with_the_table_and_with_the_tangent() {
        let table = [
            (5.0, 16.0, 23.0),
            (5.0, 45.0, 65.0),
            (8.0, 22.0, 51.0),
            (10.0, 22.0, 64.0),
            (10.0, 30.0, 87.0),
            (10.0, 45.0, 131.0),
            (20.0, 22.0, 128.0),
            (30.0, 45.0, 393.0),
        ];
        for (distance_m, arcmin, height_mm) in table {
            let mm = mm_of_arcmin(arcmin, distance_m);
            assert_eq!(mm.round(), height_mm, "{arcmin}' at {distance_m} m");
            let half_angle = (arcmin / 60.0).to_radians() / 2.0;
            let by_tangent = 2.0 * distance_m * 1000.0 * half_angle.tan();
            assert!((mm / by_tangent - 1.0).abs() < 1e-3);
            assert!((arcmin_of_mm(mm, distance_m) - arcmin).abs() < 1e-3);
        }
    }

    #[test]
    fn a_geometry_that_cannot_be_is_replaced() {
        let broken = ScreenGeometry {
            screen_height_m: 0.0,
            reading_distance_m: f32::NAN,
        };
        assert_eq!(
            Scale::new(broken, 1080.0),
            Scale::new(ScreenGeometry::default(), 1080.0)
        );
    }
}
