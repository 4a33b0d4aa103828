//! Two judged passes of one skater put together.

use crate::config::View;
use crate::rules::{Id, IdMap, JudgedPass, JudgedPush, Measure, NotJudged, Thresholds, flag_all};

/// Two cameras mean the same push when their toe-offs are this near, seconds:
/// less than half a step, and more than the clocks of two cameras are apart.
pub const SAME_PUSH_S: f64 = 0.2;

/// Puts two passes of one skater together, both on one clock; the first one
/// gives the thresholds, the speed, the view and the number of the track.
///
/// For every push both saw, each rule takes the measure of the camera that
/// judged it with the smaller uncertainty, and says which camera that was.
/// Pushes only one camera saw stay as they are.
pub fn merge(mut pass: JudgedPass, other: &JudgedPass) -> JudgedPass {
    let view = other.view;
    if contradict(&pass.pushes, &other.pushes) {
        for push in &mut pass.pushes {
            for why in push
                .measures
                .values_mut()
                .filter_map(|m| m.not_judged.as_mut())
            {
                *why = NotJudged::CamerasContradict;
            }
        }
        return pass;
    }
    for push in &other.pushes {
        let same = pass
            .pushes
            .iter_mut()
            .find(|p| p.leg == push.leg && (p.toe_off_s - push.toe_off_s).abs() <= SAME_PUSH_S);
        match same {
            Some(mine) => {
                take_better(&mut mine.measures, &push.measures, view);
            }
            None => pass.pushes.push(push.clone()),
        }
    }
    pass.pushes
        .sort_by(|a, b| a.toe_off_s.total_cmp(&b.toe_off_s));
    flag_all(&mut pass.pushes, &pass.thresholds);
    take_better(&mut pass.quantities, &other.quantities, view);
    pass.started_at_s = pass.started_at_s.min(other.started_at_s);
    pass.ended_at_s = pass.ended_at_s.max(other.ended_at_s);
    pass
}

/// The same pass held against other thresholds.
pub fn with_thresholds(mut pass: JudgedPass, thresholds: &Thresholds) -> JudgedPass {
    flag_all(&mut pass.pushes, thresholds);
    pass.thresholds = thresholds.clone();
    pass
}

/// Between the view of the second camera and how it measured.
const BY_CAMERA: &str = " camera: ";

/// Whether two cameras gave measures of a pass, or contradicted each other about it:
/// its body points, which are the first one's, do not tell all of it.
pub fn seen_by_two(pass: &JudgedPass) -> bool {
    let of_two = |m: &Measure| {
        m.how.contains(BY_CAMERA) || m.not_judged == Some(NotJudged::CamerasContradict)
    };
    let mut measures = pass.pushes.iter().flat_map(|p| p.measures.values());
    measures.any(of_two) || pass.quantities.values().any(of_two)
}

/// Whether more pushes at the same time are of different legs than of the
/// same leg: one of the cameras has left and right exchanged.
fn contradict(mine: &[JudgedPush], other: &[JudgedPush]) -> bool {
    let (mut agree, mut differ) = (0, 0);
    for a in mine {
        for b in other {
            if (a.toe_off_s - b.toe_off_s).abs() <= SAME_PUSH_S / 2.0 {
                if a.leg == b.leg {
                    agree += 1;
                } else {
                    differ += 1;
                }
            }
        }
    }
    differ > agree
}

fn take_better<K: Id>(mine: &mut IdMap<K, Measure>, other: &IdMap<K, Measure>, view: View) {
    for (mine, other) in mine.values_mut().zip(other.values()) {
        let sd = |m: &Measure| m.uncertainty.unwrap_or(f64::INFINITY);
        if other.is_judged() && (!mine.is_judged() || sd(other) < sd(mine)) {
            *mine = Measure {
                how: format!("{}{BY_CAMERA}{}", view.name(), other.how),
                ..other.clone()
            };
        }
    }
}
