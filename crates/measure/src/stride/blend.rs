//! Takes apart legs that the pose model has mixed.
//!
//! Where the model is unsure which leg is which it gives neither of the two
//! answers but a mean of both: the left knee lies on the way to the right one
//! and the right one, by as much, on the way to the left; likewise ankles,
//! heels and toes. So the middle between twin points stays where it belongs,
//! and what is between them shrinks by one factor for the whole frame: 1 for
//! legs kept apart, -1 for legs exchanged. Such frames come one to three at a
//! time, mostly around the end of a push. The factor is found from the frames
//! around, in which the legs move on smoothly, and taken out again. From front
//! and rear the legs stand beside each other and are not mixed.

use super::curves::torso_px;
use super::repair::{LEG_PAIRS, Row, hips_apart};
use crate::geometry::median;

/// Twin points that are mixed: knees, ankles, heels, toes. The hips lie too
/// close together to tell.
const TWINS: [(usize, usize); 4] = [LEG_PAIRS[1], LEG_PAIRS[2], LEG_PAIRS[3], LEG_PAIRS[4]];
/// Frames this near, seconds, say where the legs should be.
const AROUND_S: f64 = 0.14;
/// Mean distance of the twins, in trunk lengths, below which a mix cannot be
/// told from legs that pass each other.
const APART: f64 = 0.52;
/// How much nearer, in trunk lengths, a mix has to come to what is expected.
const NEARER: f64 = 0.07;
/// What legs kept apart count for beforehand, squared trunk lengths.
const BELIEF: f64 = 0.0072;
/// A factor above this is no mix.
const NO_MIX: f64 = 0.8;
/// Below this size of the factor nothing is left of what was seen.
const NOTHING_LEFT: f64 = 0.35;
/// Size of a usual misfit, trunk lengths: frames that fit worse say less of
/// their neighbours.
const USUAL_MISFIT: f64 = 0.17;
/// Least weight of the frames on each side.
const LEAST_WEIGHT: f64 = 0.25;
const ROUNDS: usize = 4;

/// Vectors between the twins of one frame, trunk lengths.
type Apart = [f64; 2 * TWINS.len()];

/// Takes the mixing out of rows in order of time; gives which were mixed.
pub fn unmix_legs(rows: &mut [Row], times_s: &[f64]) -> Vec<bool> {
    let mut mixed = vec![false; rows.len()];
    if rows.len() < 5 || rows.len() != times_s.len() {
        return mixed;
    }
    let torsos: Vec<f64> = rows.iter().map(torso_px).collect();
    let units: Vec<f64> = (0..rows.len())
        .map(|i| {
            let mut near = torsos[i.saturating_sub(5)..(i + 6).min(rows.len())].to_vec();
            median(&mut near).unwrap_or(0.0).max(10.0)
        })
        .collect();
    let seen: Vec<Apart> = rows.iter().zip(&units).map(|(r, u)| apart(r, *u)).collect();
    let mut fits = vec![Fit::BELIEVED; rows.len()];
    for _ in 0..ROUNDS {
        fits = (0..rows.len())
            .map(|i| {
                if hips_apart(&rows[i]) {
                    return Fit::BELIEVED;
                }
                fit(i, &seen, times_s, &fits)
            })
            .collect();
    }
    for (i, fit) in fits.iter().enumerate() {
        if fit.factor < 1.0 {
            put_apart(&mut rows[i], fit, units[i]);
            mixed[i] = true;
        }
    }
    mixed
}

/// What is thought of one frame.
#[derive(Clone, Copy)]
struct Fit {
    /// 1: as seen; towards 0: mixed; -1: exchanged.
    factor: f64,
    /// How much it may say of its neighbours, 0 to 1.
    weight: f64,
    expected: Apart,
}

impl Fit {
    const BELIEVED: Fit = Fit {
        factor: 1.0,
        weight: 1.0,
        expected: [0.0; 2 * TWINS.len()],
    };
}

fn apart(row: &Row, unit_px: f64) -> Apart {
    std::array::from_fn(|k| {
        let (l, r) = TWINS[k / 2];
        (row[l][k % 2] - row[r][k % 2]) / unit_px
    })
}

fn fit(i: usize, seen: &[Apart], times_s: &[f64], fits: &[Fit]) -> Fit {
    let Some(expected) = expected_from_others(i, seen, times_s, fits) else {
        return Fit::BELIEVED;
    };
    let dot = |a: &Apart, b: &Apart| a.iter().zip(b).map(|(x, y)| x * y).sum::<f64>();
    let misfit = |factor: f64| {
        let off = |(s, e): (&f64, &f64)| (s - factor * e).powi(2);
        (seen[i].iter().zip(&expected).map(off).sum::<f64>() / TWINS.len() as f64).sqrt()
    };
    let length2 = dot(&expected, &expected);
    let mut factor = ((dot(&seen[i], &expected) + BELIEF) / (length2 + BELIEF)).clamp(-1.0, 1.0);
    let far_enough = (length2 / TWINS.len() as f64).sqrt() > APART;
    if factor > NO_MIX || !far_enough || misfit(1.0) - misfit(factor) <= NEARER {
        factor = 1.0;
    }
    Fit {
        factor,
        weight: 1.0 / (1.0 + (misfit(factor) / USUAL_MISFIT).powi(2)),
        expected,
    }
}

/// Where the legs of frame `i` should be: a parabola through the frames
/// around it, without the frame itself. `None` where too little is on one of
/// the two sides.
fn expected_from_others(i: usize, seen: &[Apart], times_s: &[f64], fits: &[Fit]) -> Option<Apart> {
    let from = times_s.partition_point(|t| *t < times_s[i] - AROUND_S);
    let to = times_s.partition_point(|t| *t <= times_s[i] + AROUND_S);
    let mut moments = [0.0; 5];
    let mut sums = [[0.0; 2 * TWINS.len()]; 3];
    let mut sides = [0.0; 2];
    for j in (from..to).filter(|&j| j != i) {
        let x = (times_s[j] - times_s[i]) / AROUND_S;
        let near = (1.0 - x.abs().powi(3)).max(0.0).powi(3);
        let Fit { factor, weight, .. } = fits[j];
        // what a mixed frame shows is the true vector times its factor
        let w = near * weight * factor * factor;
        sides[usize::from(j > i)] += w;
        let mut power = 1.0;
        for (k, moment) in moments.iter_mut().enumerate() {
            *moment += w * power;
            if let Some(sum) = sums.get_mut(k) {
                for (s, v) in sum.iter_mut().zip(&seen[j]) {
                    *s += near * weight * factor * power * v;
                }
            }
            power *= x;
        }
    }
    if sides.iter().any(|side| *side < LEAST_WEIGHT) {
        return None;
    }
    // the parabola's value at the frame, by Cramer's rule
    let [m0, m1, m2, m3, m4] = moments;
    let minors = [m2 * m4 - m3 * m3, m2 * m3 - m1 * m4, m1 * m3 - m2 * m2];
    let determinant = m0 * minors[0] + m1 * minors[1] + m2 * minors[2];
    (determinant > 1e-9 * m0.powi(3)).then(|| {
        std::array::from_fn(|k| (0..3).map(|d| minors[d] * sums[d][k]).sum::<f64>() / determinant)
    })
}

/// Puts the twins of a mixed frame where they belong: what is left of the
/// seen vector, scaled back up, and the more of the expected one the less is
/// left.
fn put_apart(row: &mut Row, fit: &Fit, unit_px: f64) {
    let seen = apart(row, unit_px);
    let trust = if fit.factor.abs() < NOTHING_LEFT {
        0.0
    } else {
        fit.factor * fit.factor
    };
    for (k, (seen, expected)) in seen.into_iter().zip(fit.expected).enumerate() {
        let (l, r) = TWINS[k / 2];
        let scaled = if trust > 0.0 { seen / fit.factor } else { 0.0 };
        let half_px = unit_px * (trust * scaled + (1.0 - trust) * expected) / 2.0;
        let middle_px = (row[l][k % 2] + row[r][k % 2]) / 2.0;
        row[l][k % 2] = middle_px + half_px;
        row[r][k % 2] = middle_px - half_px;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::body::POINTS;

    /// Legs that stride, 1.5 trunk lengths apart at most; 30 frames a second.
    fn stride(n: usize) -> (Vec<Row>, Vec<f64>) {
        let rows = (0..n)
            .map(|i| {
                let swing = 75.0 * (i as f64 * 0.27).sin();
                let mut row: Row = [[0.0; 2]; POINTS];
                for (k, p) in row.iter_mut().enumerate() {
                    let side = if k % 2 == 1 { 1.0 } else { -1.0 };
                    p[0] = i as f64 * 20.0 + if k > 24 { side * swing } else { 0.0 };
                    p[1] = if k < 23 { -100.0 } else { 0.0 };
                }
                row
            })
            .collect();
        (rows, (0..n).map(|i| i as f64 / 30.0).collect())
    }

    #[test]
    fn legs_kept_apart_stay_as_they_are() {
        let (rows, times_s) = stride(60);
        let mut unmixed = rows.clone();
        let found = unmix_legs(&mut unmixed, &times_s);
        assert_eq!(unmixed, rows);
        assert!(found.iter().all(|mixed| !mixed));
    }

    #[test]
    fn mixed_frames_and_an_exchanged_one_are_put_right() {
        let (rows, times_s) = stride(60);
        let mut mixed = rows.clone();
        // sin is large here: legs far apart
        for (i, share) in [(6, 0.4), (29, 1.0), (53, 0.55)] {
            for (l, r) in TWINS {
                let (a, b) = (rows[i][l][0], rows[i][r][0]);
                mixed[i][l][0] = a + share * (b - a);
                mixed[i][r][0] = b + share * (a - b);
            }
        }
        let found = unmix_legs(&mut mixed, &times_s);
        let found: Vec<usize> = (0..60).filter(|&i| found[i]).collect();
        assert_eq!(found, [6, 29, 53]);
        for (i, (row, truth)) in mixed.iter().zip(&rows).enumerate() {
            for (l, r) in TWINS {
                let off = (row[l][0] - truth[l][0])
                    .abs()
                    .max((row[r][0] - truth[r][0]).abs());
                assert!(off < 6.0, "frame {i}: {off} px off");
            }
        }
    }

    #[test]
    fn legs_that_pass_each_other_are_not_taken_for_mixed() {
        let (mut rows, times_s) = stride(60);
        // near a zero of the sine the points tremble
        for i in [23, 24, 35, 46, 47] {
            rows[i][25][0] += 6.0;
            rows[i][28][0] -= 5.0;
        }
        let before = rows.clone();
        unmix_legs(&mut rows, &times_s);
        assert_eq!(rows, before);
    }
}
