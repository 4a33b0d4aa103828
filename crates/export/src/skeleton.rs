//! The body and what was measured of it, as lines of a picture.

use crate::body::BodyPoint as P;
use crate::geometry::included_deg;
use crate::rules::{BONES, RuleId};
use crate::stride::{Curves, Leg};

/// A point of the camera's frame, pixels.
type Px = [f64; 2];

/// What is drawn over one picture, in pixels of the camera's frame.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Drawing {
    /// The body.
    pub bones: Vec<[Px; 2]>,
    /// The measured quantity: a line over two or three points.
    pub mark: Vec<Px>,
    /// Where the last part of the mark would be at the limit, for angles.
    pub limit: Option<[Px; 2]>,
}

/// What is to be shown of a push.
#[derive(Debug, Clone, Copy)]
pub struct Shown {
    /// The rule.
    pub rule: RuleId,
    /// The pushing leg.
    pub leg: Leg,
    /// Measured value, in the rule's unit.
    pub value: f64,
    /// The limit it passed, in the rule's unit.
    pub limit: f64,
    /// When it was what it was judged by, seconds.
    pub flagged_at_s: f64,
}

impl Drawing {
    /// At a time; empty where the body was not seen then.
    pub fn at(curves: &Curves, t_s: f64, shown: Shown) -> Self {
        let i = curves.index_at(t_s);
        let off_s = (curves.time_s(i as f64) - t_s).abs();
        let (Some(points), Some(true)) = (curves.points.get(i), curves.seen.get(i)) else {
            return Drawing::default();
        };
        if off_s > 1.0 / curves.rate_hz {
            return Drawing::default();
        }
        let mark = (shown.rule.rule().marks)(curves, i, shown.leg);
        Drawing {
            bones: BONES
                .iter()
                .map(|&(a, b)| [points[a as usize], points[b as usize]])
                .collect(),
            limit: limit_line(curves, &mark, shown),
            mark,
        }
    }
}

/// How far the line of the limit reaches, in lengths of the limb.
const LIMIT_REACH: f64 = 1.3;

/// The last limb turned to where the limit would have it. The angle was
/// measured in space and is drawn in the picture, so the limit is put as far
/// from the drawn angle of the flagged instant as it is from the value.
fn limit_line(curves: &Curves, now: &[Px], shown: Shown) -> Option<[Px; 2]> {
    let &[a, vertex, b] = now else { return None };
    let then = (shown.rule.rule().marks)(curves, curves.index_at(shown.flagged_at_s), shown.leg);
    let &[a0, vertex0, b0] = then.as_slice() else {
        return None;
    };
    let drawn_then_deg = included_deg(a0, vertex0, b0)?;
    let drawn_now_deg = included_deg(a, vertex, b)?;
    let turn_deg = drawn_then_deg + shown.limit - shown.value - drawn_now_deg;
    let (from, to) = (sub(a, vertex), sub(b, vertex));
    let side = (from[0] * to[1] - from[1] * to[0]).signum();
    let (sin, cos) = (side * turn_deg).to_radians().sin_cos();
    let turned = [to[0] * cos - to[1] * sin, to[0] * sin + to[1] * cos];
    let end = [
        vertex[0] + LIMIT_REACH * turned[0],
        vertex[1] + LIMIT_REACH * turned[1],
    ];
    end.iter().all(|v| v.is_finite()).then_some([vertex, end])
}

fn sub(a: Px, b: Px) -> Px {
    [a[0] - b[0], a[1] - b[1]]
}

/// Middle of the hips and height of the body at a time, pixels of the frame.
pub fn place_px(curves: &Curves, t_s: f64) -> Option<(Px, f64)> {
    let i = curves.index_at(t_s);
    let height = curves.height_px(i)?;
    let hips = curves.mid(i, P::LeftHip as usize, P::RightHip as usize);
    (height.is_finite() && height > 1.0 && hips.iter().all(|v| v.is_finite()))
        .then_some((hips, height))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::body::POINTS;

    /// A leg with its hip over its knee and its ankle to the right of it: a
    /// right angle.
    fn curves() -> Curves {
        let mut row = [[0.0, 0.0]; POINTS];
        row[P::RightHip as usize] = [100.0, 100.0];
        row[P::RightKnee as usize] = [100.0, 200.0];
        row[P::RightAnkle as usize] = [200.0, 200.0];
        Curves {
            rate_hz: 30.0,
            start_s: 1.0,
            points: vec![row; 3],
            peak_points: vec![row; 3],
            seen: vec![true, true, false],
            legs_in_frame: vec![true; 3],
            legs_hidden: vec![false; 3],
            legs_mended: vec![false; 3],
        }
    }

    fn shown() -> Shown {
        Shown {
            rule: RuleId::KneeBend,
            leg: Leg::Right,
            value: 135.0,
            limit: 120.0,
            flagged_at_s: 1.0,
        }
    }

    #[test]
    fn the_limit_is_as_far_from_the_drawn_angle_as_from_the_value() {
        let drawing = Drawing::at(&curves(), 1.0, shown());
        assert_eq!(drawing.mark.len(), 3);
        let [vertex, end] = drawing.limit.unwrap();
        let wanted = included_deg([100.0, 100.0], vertex, end).unwrap();
        assert!((wanted - 75.0).abs() < 1e-6, "{wanted}");
    }

    #[test]
    fn nothing_is_drawn_where_the_body_was_not_seen() {
        let curves = curves();
        for t_s in [0.0, 1.0 + 2.0 / 30.0, 9.0] {
            assert_eq!(Drawing::at(&curves, t_s, shown()), Drawing::default());
        }
    }
}
