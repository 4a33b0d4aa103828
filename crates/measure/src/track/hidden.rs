//! Who stands behind somebody else in the picture.

use crate::body::{Body, BodyPoint, bounds, shared_area};

/// Share of the box around the legs that another body has to cover. Chosen, not
/// measured: two skaters whose boxes only touch are seen whole.
const COVERED_SHARE: f32 = 0.15;
/// How much lower in the picture the other's skates have to be to be nearer, as
/// a share of this one's height. Two side by side hide little of each other,
/// and one body read twice does not hide itself.
const NEARER_SHARE: f32 = 0.03;

/// Two who are equally near may be read from each other's limbs as soon as their boxes
/// share this much of one of them. Chosen: points reach less far than clothes and sticks.
const TOUCHING_SHARE: f32 = 0.04;
/// One body read twice has its shoulders and hips in one place, closer than this share
/// of its height.
const SAME_SHARE: f32 = 0.06;

/// Whether `bodies[index]` touches or crosses another that is neither clearly nearer nor
/// clearly farther: what is read then may be taken from both.
pub fn touches_another(bodies: &[Body], index: usize) -> bool {
    let Some(body) = bodies.get(index) else {
        return false;
    };
    let own = bounds(&body.points);
    let height_px = own[3] - own[1];
    let area = (own[2] - own[0]) * height_px;
    bodies.iter().enumerate().any(|(i, other)| {
        let box_px = bounds(&other.points);
        i != index
            && (box_px[3] - own[3]).abs() <= NEARER_SHARE * height_px
            && shared_area(&own, &box_px) > TOUCHING_SHARE * area
            && !is_same(body, other, height_px)
    })
}

/// Whether two are one body read twice.
fn is_same(a: &Body, b: &Body, height_px: f32) -> bool {
    use BodyPoint as P;
    [P::LeftShoulder, P::RightShoulder, P::LeftHip, P::RightHip]
        .into_iter()
        .all(|point| {
            let (p, q) = (a.point(point), b.point(point));
            (p.x_px - q.x_px).hypot(p.y_px - q.y_px) < SAME_SHARE * height_px
        })
}

/// Whether the legs of `bodies[index]` are partly behind a body that is nearer to
/// the camera. The camera looks down on the ice, so who is nearer has skates
/// lower in the picture.
pub fn legs_are_hidden(bodies: &[Body], index: usize) -> bool {
    let Some(body) = bodies.get(index) else {
        return false;
    };
    let whole = bounds(&body.points);
    let legs = bounds(&body.points[BodyPoint::LeftHip as usize..]);
    let area = (legs[2] - legs[0]) * (legs[3] - legs[1]);
    let nearer_px = whole[3] + NEARER_SHARE * (whole[3] - whole[1]);
    bodies.iter().enumerate().any(|(i, other)| {
        let other = bounds(&other.points);
        i != index && other[3] > nearer_px && shared_area(&legs, &other) > COVERED_SHARE * area
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::track::tests::body;

    #[test]
    fn only_who_is_nearer_and_in_the_way_hides() {
        let far = body(1, 600.0, 400.0);
        let near_beside = body(2, 900.0, 430.0);
        let near_before = body(3, 605.0, 430.0);
        let twice = body(4, 602.0, 402.0);
        let hidden = |others: &[&Body]| {
            let mut all = vec![far.clone()];
            all.extend(others.iter().map(|b| (*b).clone()));
            (0..all.len())
                .map(|i| legs_are_hidden(&all, i))
                .collect::<Vec<bool>>()
        };
        assert_eq!(hidden(&[]), [false]);
        assert_eq!(hidden(&[&near_beside]), [false, false]);
        assert_eq!(hidden(&[&near_before]), [true, false]);
        assert_eq!(hidden(&[&twice]), [false, false]);
        assert!(!legs_are_hidden(&[], 3));
    }

    #[test]
    fn who_crosses_another_at_the_same_distance_is_not_whole() {
        let one = body(1, 600.0, 400.0);
        let touching = |others: &[&Body]| {
            let mut all = vec![one.clone()];
            all.extend(others.iter().map(|b| (*b).clone()));
            (0..all.len())
                .map(|i| touches_another(&all, i))
                .collect::<Vec<bool>>()
        };
        let crossing = body(2, 613.0, 402.0);
        assert_eq!(touching(&[&crossing]), [true, true]);
        let beside = body(3, 900.0, 400.0);
        assert_eq!(touching(&[&beside]), [false, false]);
        let twice = body(4, 601.0, 401.0);
        assert_eq!(touching(&[&twice]), [false, false]);
        let nearer = body(5, 613.0, 440.0);
        assert_eq!(
            touching(&[&nearer]),
            [false, false],
            "told by their distance"
        );
        assert!(!touches_another(&[], 0));
    }
}
