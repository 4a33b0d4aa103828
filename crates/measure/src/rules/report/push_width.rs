//! Push width.

use super::{Quantity, QuantityId, QuantityUnit, deviation, pushes};
use crate::body::BodyPoint;
use crate::config::View;
use crate::rules::table::rule_geometry::{across_m, mean, of_adult};
use crate::rules::{JudgedPush, Measure, NotJudged};
use crate::stride::{Leg, PassMotion};

/// How far out to the side of its hip the skate is at the toe-off.
pub const QUANTITY: Quantity = Quantity {
    id: QuantityId::PushWidth,
    unit: QuantityUnit::Metre,
    views: &[View::Front, View::Rear],
    short: "push width",
    long: "How far to the side of its hip the pushing leg's ankle is at the toe-off, mean of both legs.",
    source: "uncertainty: rendered skaters",
    evaluate,
};

/// Standard deviations, metres, at an adult's stature: of a skater and of one
/// push. Rendered skaters, true widths 16 to 46 cm, bias and scatter: front 23
/// passes -1.0 and 1.0 cm (13 others -2.2 and 1.0), rear 13 passes -0.5 and 1.1 cm; on a set
/// looked at afterwards front 23 passes +1.6 and 2.4, rear 37 +0.1 and 2.3 cm; with
/// the lane's exact scale; one set up by hand is good to about 5 %, 1.7 cm here.
const OF_SKATER_M: f64 = 0.03;
const OF_PUSH_M: f64 = 0.01;

fn evaluate(motion: &PassMotion, _: &[JudgedPush]) -> Measure {
    // The skate is about as far behind the hip as it is out (pushes go 45
    // degrees out), so farther from a camera in front and nearer to one
    // behind than the hips, whose scale it is read with.
    let farther = match motion.lane.view {
        View::Rear => -1.0,
        _ => 1.0,
    };
    let widths: Vec<f64> = motion
        .pushes
        .iter()
        .map(|push| {
            let (hip, ankle) = match push.leg {
                Leg::Left => (BodyPoint::LeftHip, BodyPoint::LeftAnkle),
                Leg::Right => (BodyPoint::RightHip, BodyPoint::RightAnkle),
            };
            let i = motion.curves.index_at(push.toe_off_s);
            let seen_m = across_m(motion, i, hip, ankle) * push.leg.leftward();
            let depth_m = motion.place.metres_per_px[i] * motion.camera.focal_px;
            seen_m * (1.0 + farther * seen_m / depth_m)
        })
        .collect();
    let adult = of_adult(&motion.lane);
    match mean(&widths) {
        Some(width_m) => Measure::judged(
            width_m,
            adult * deviation(OF_SKATER_M, OF_PUSH_M, widths.len()),
            format!("mean of {}", pushes(widths.len())),
        ),
        None => Measure::not_judged(NotJudged::NoWholePush),
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::reported;
    use super::*;
    use crate::stride::synthetic::Skater;

    #[test]
    fn wide_and_narrow_pushes_read_as_they_are() {
        for extension_deg in [145.0, 158.0, 172.0] {
            for view in [View::Front, View::Rear] {
                let skater = Skater {
                    extension_deg,
                    ..Skater::default()
                };
                let t_s = skater.toe_offs_s(Leg::Left, 1.0, 3.0)[0];
                let p = skater.points_m(t_s);
                let truth_m = p[27][1] - p[23][1];
                let width = reported(view, &skater, &QUANTITY);
                let off_m = width.value.unwrap() - truth_m;
                assert!(off_m.abs() < 0.02, "{view:?} {truth_m:.2} {off_m:+.3}");
            }
        }
    }
}
