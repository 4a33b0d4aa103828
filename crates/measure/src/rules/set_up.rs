//! What the errors of a lane's own numbers do to the values of a pass.
//!
//! The law of propagation of uncertainty (JCGM 100:2008, GUM, 5.1.2; 5.2.2 where errors go
//! together), with the derivatives from differences (5.1.3, note 2): the pass is measured again with
//! the lane moved by one standard deviation, up and down, and half of the difference is the part
//! of that move; the squares of the parts add up. It is the same for all pushes of a pass: more
//! of them do not make it smaller.

use super::shrinkage::pool;
use super::{JudgedPush, Measure, QuantityId, QuantityMap, RuleId};
use crate::stride::PassMotion;

/// Where a value is not read on a moved lane, it is moved by this share of the way instead.
const SMALLER_MOVE: f64 = 0.1;

/// Values of a pass, push by push and rule by rule, then the quantities of the pass; `None` of
/// what is not judged, or not read on a moved lane.
type Values = Vec<Option<f64>>;

/// Adds the part of the lane's errors to the doubt of every judged value. Values, and what is
/// judged, stay as they are.
pub fn add(motion: &PassMotion, pushes: &mut [JudgedPush], quantities: &mut QuantityMap<Measure>) {
    let moves = motion.lane.all_errors().moves();
    if moves.is_empty() {
        return;
    }
    let was: Values = (pushes.iter().flat_map(|p| p.measures.values()))
        .chain(quantities.values())
        .map(Measure::judged_value)
        .collect();
    let mut squares = vec![0.0; was.len()];
    // How many moves say nothing of a value.
    let mut silent = vec![0.0; was.len()];
    let mut moved = motion.clone();
    for by in &moves {
        let mut on = |times: f64| {
            moved.put_on(motion, motion.lane.moved(by, times));
            read(&moved, pushes, quantities)
        };
        let ends = [on(1.0), on(-1.0)];
        let lost = (0..was.len()).any(|k| was[k].is_some() && ends[0][k].or(ends[1][k]).is_none());
        let nearer = lost.then(|| [on(SMALLER_MOVE), on(-SMALLER_MOVE)]);
        for (k, was) in was.iter().enumerate() {
            let Some(was) = *was else { continue };
            let near = nearer.as_ref().map(|n| [n[0][k], n[1][k]]);
            match part(was, [ends[0][k], ends[1][k]], near.unwrap_or_default()) {
                Some(part) => squares[k] += part * part,
                None => silent[k] += 1.0,
            }
        }
    }
    let calibration = motion.calibration();
    let of_pushes = pushes.iter_mut().flat_map(|push| {
        let measures = RuleId::ALL.iter().zip(push.measures.values_mut());
        measures.map(|(rule, m)| (calibration.adds_set_up(rule.code()), m))
    });
    let all = of_pushes.chain(quantities.values_mut().map(|m| (true, m)));
    for ((adds, measure), (square, silent)) in all.zip(squares.iter().zip(silent)) {
        let Some(stated) = measure.uncertainty.filter(|_| measure.is_judged()) else {
            continue;
        };
        // A move that says nothing counts as much as all that is stated.
        let part = (square + silent * stated * stated).sqrt();
        let part = if adds { part } else { 0.0 };
        measure.set_up = Some(part);
        measure.uncertainty = Some(stated.hypot(part));
    }
}

/// What is judged, read on a moved lane. What is judged, and when the pushes are, was decided on
/// the lane as it is.
fn read(moved: &PassMotion, pushes: &[JudgedPush], quantities: &QuantityMap<Measure>) -> Values {
    let mut there = pushes.to_vec();
    let mut seen = Vec::with_capacity(pushes.len() * RuleId::ALL.len());
    for (judged, push) in there.iter_mut().zip(&moved.pushes) {
        for (rule, measure) in RuleId::ALL.iter().zip(judged.measures.values_mut()) {
            let value = measure.judged_value().and_then(|_| {
                let value = (rule.rule().evaluate)(moved, push).judged_value();
                value.filter(|v| v.is_finite())
            });
            // One that is lost stays where it is beside the others.
            measure.value = value.or(measure.value);
            seen.push(value.is_some());
        }
    }
    pool(&mut there, moved.calibration().toward_mean());
    let values = there.iter().flat_map(|p| p.measures.values());
    let values = values.zip(seen).map(|(m, seen)| m.value.filter(|_| seen));
    let of_pass = QuantityId::ALL.iter().zip(quantities.values());
    let of_pass = of_pass.map(|(id, measure)| {
        measure.judged_value()?;
        let value = (id.quantity().evaluate)(moved, &there).judged_value();
        value.filter(|v| v.is_finite())
    });
    values.chain(of_pass).collect()
}

/// The part of one move in one value. Where it was read on one side alone, its difference from
/// the value counts; where on neither, a smaller move, as if it were the whole one. `None` where that
/// was not read either.
fn part(was: f64, ends: [Option<f64>; 2], nearer: [Option<f64>; 2]) -> Option<f64> {
    let half = |ends: [Option<f64>; 2]| match ends {
        [Some(up), Some(down)] => Some((up - down) / 2.0),
        [Some(one), None] | [None, Some(one)] => Some(one - was),
        [None, None] => None,
    };
    half(ends).or_else(|| Some(half(nearer)? / SMALLER_MOVE))
}

#[cfg(test)]
#[path = "set_up_tests.rs"]
mod tests;
