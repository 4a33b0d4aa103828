//! Whether a reading can be a person at all.
//!
//! The landmark model always answers with a body, also on boards, and its own
//! presence value is near 1 on many wrong answers. So geometry decides.

use super::body::{BodyPoint, Landmark, POINTS, Roi, bounds};
use super::landmarks::Reading;

const MIN_PRESENCE: f32 = 0.5;

/// Why a reading is no body.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Implausible {
    Presence,
    Outside,
    Spread,
    Limbs,
    Upright,
}

/// Middle of two body points, pixels.
pub(crate) fn middle(points: &[Landmark; POINTS], a: BodyPoint, b: BodyPoint) -> [f32; 2] {
    let (a, b) = (points[a as usize], points[b as usize]);
    [(a.x_px + b.x_px) / 2.0, (a.y_px + b.y_px) / 2.0]
}

pub(crate) fn distance(a: [f32; 2], b: [f32; 2]) -> f32 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

/// Mid shoulders and mid hips, pixels.
pub(crate) fn trunk(points: &[Landmark; POINTS]) -> ([f32; 2], [f32; 2]) {
    (
        middle(points, BodyPoint::LeftShoulder, BodyPoint::RightShoulder),
        middle(points, BodyPoint::LeftHip, BodyPoint::RightHip),
    )
}

/// Checks a reading made in `roi` of a frame of the given size.
pub(crate) fn check(
    reading: &Reading,
    roi: &Roi,
    frame_width: f32,
    frame_height: f32,
) -> Result<(), Implausible> {
    let points = &reading.points;
    if reading.presence <= MIN_PRESENCE {
        return Err(Implausible::Presence);
    }
    let size = roi.size_px;
    let inside =
        |p: [f32; 2]| (0.0..frame_width).contains(&p[0]) && (0.0..frame_height).contains(&p[1]);
    let (shoulders, hips) = trunk(points);
    // A body whose trunk lies wholly outside is invented from a hand or foot.
    if !inside(shoulders) && !inside(hips) {
        return Err(Implausible::Outside);
    }
    let visible = points.iter().filter(|p| inside([p.x_px, p.y_px])).count();
    if visible < POINTS / 3 {
        return Err(Implausible::Outside);
    }
    let b = bounds(points);
    let (width, height) = (b[2] - b[0], b[3] - b[1]);
    let spread = width.max(height) / size;
    if !(0.35..1.15).contains(&spread) {
        return Err(Implausible::Spread);
    }
    let torso = distance(shoulders, hips);
    if !(0.08..0.5).contains(&(torso / size)) {
        return Err(Implausible::Spread);
    }
    let limb = |a: BodyPoint, b: BodyPoint| {
        let (a, b) = (points[a as usize], points[b as usize]);
        (a.x_px - b.x_px).hypot(a.y_px - b.y_px)
    };
    use BodyPoint::*;
    // A foreshortened trunk (leaning toward the camera) makes limbs look
    // long; nothing makes them longer than a third of the region.
    let longest = (2.2 * torso).min(0.42 * size);
    for (a, b) in [
        (LeftHip, LeftKnee),
        (RightHip, RightKnee),
        (LeftKnee, LeftAnkle),
        (RightKnee, RightAnkle),
        (LeftShoulder, LeftElbow),
        (RightShoulder, RightElbow),
        (LeftElbow, LeftWrist),
        (RightElbow, RightWrist),
        (LeftShoulder, RightShoulder),
        (LeftHip, RightHip),
    ] {
        if limb(a, b) > longest {
            return Err(Implausible::Limbs);
        }
    }
    // On the ice a followed skater stands: head above hips, hips above feet,
    // by some share of the region.
    let nose = points[Nose as usize];
    let feet = middle(points, LeftAnkle, RightAnkle);
    if nose.y_px > hips[1] || hips[1] > feet[1] - 0.05 * size || shoulders[1] > hips[1] {
        return Err(Implausible::Upright);
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A standing figure 160 px high in a region of 250 px.
    fn standing() -> (Reading, Roi) {
        use BodyPoint::*;
        let mut points = [Landmark {
            x_px: 300.0,
            y_px: 215.0,
            z_px: 0.0,
            visibility: 1.0,
        }; POINTS];
        for (p, x, y) in [
            (Nose, 300.0, 205.0),
            (LeftShoulder, 320.0, 235.0),
            (RightShoulder, 280.0, 235.0),
            (LeftElbow, 328.0, 262.0),
            (RightElbow, 272.0, 262.0),
            (LeftWrist, 330.0, 285.0),
            (RightWrist, 270.0, 285.0),
            (LeftHip, 312.0, 288.0),
            (RightHip, 288.0, 288.0),
            (LeftKnee, 314.0, 325.0),
            (RightKnee, 286.0, 325.0),
            (LeftAnkle, 314.0, 360.0),
            (RightAnkle, 286.0, 360.0),
        ] {
            (points[p as usize].x_px, points[p as usize].y_px) = (x, y);
        }
        let roi = Roi {
            cx_px: 300.0,
            cy_px: 288.0,
            size_px: 250.0,
            rotation_rad: 0.0,
        };
        let reading = Reading {
            presence: 0.99,
            points,
            world_m: [[0.0; 3]; POINTS],
            guides: [[300.0, 288.0], [300.0, 188.0]],
            heat: 0.9,
            clarity: None,
        };
        (reading, roi)
    }

    fn judged(change: impl FnOnce(&mut Reading, &mut Roi)) -> Result<(), Implausible> {
        let (mut reading, mut roi) = standing();
        change(&mut reading, &mut roi);
        check(&reading, &roi, 1280.0, 720.0)
    }

    #[test]
    fn a_standing_figure_passes_and_each_gate_refuses() {
        use BodyPoint::*;
        assert_eq!(judged(|_, _| ()), Ok(()));
        assert_eq!(judged(|r, _| r.presence = 0.4), Err(Implausible::Presence));
        let outside = |r: &mut Reading, _: &mut Roi| {
            for p in &mut r.points {
                p.x_px -= 400.0;
            }
        };
        assert_eq!(judged(outside), Err(Implausible::Outside));
        let specks = judged(|_, roi| roi.size_px = 700.0);
        assert_eq!(specks, Err(Implausible::Spread));
        let long_arm = judged(|r, _| r.points[LeftWrist as usize].x_px += 160.0);
        assert_eq!(long_arm, Err(Implausible::Limbs));
        let upside_down = judged(|r, _| {
            for p in &mut r.points {
                p.y_px = 560.0 - p.y_px;
            }
        });
        assert_eq!(upside_down, Err(Implausible::Upright));
    }
}
