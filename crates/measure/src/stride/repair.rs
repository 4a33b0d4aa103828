//! Mends what the pose model got wrong in single frames: legs exchanged,
//! points thrown far off.

use crate::body::POINTS;
use crate::geometry::median;
use crate::track::Sample;

/// Positions of all points of one sample, pixels.
pub type Row = [[f64; 2]; POINTS];

/// Left leg points, each followed by its right twin.
pub(super) const LEG_PAIRS: [(usize, usize); 5] =
    [(23, 24), (25, 26), (27, 28), (29, 30), (31, 32)];

/// What a frame with exchanged legs costs by itself, in squared body sizes:
/// legs are as the model says unless continuity speaks clearly against it. An
/// exchange seen so far lasts one to three frames and jumps by about 3; legs
/// that pass each other jump by far less than 0.5.
const SWAP_COST: f64 = 0.15;

/// Raw rows with exchanged legs put right.
///
/// The cheapest way through all frames, where each may have its legs
/// exchanged or not and the cost is how far the leg points jump. Also gives in
/// which frames they were exchanged.
pub fn rows_with_legs_in_order(samples: &[Sample]) -> (Vec<Row>, Vec<bool>) {
    let rows: Vec<Row> = samples
        .iter()
        .map(|s| s.points.map(|p| [f64::from(p.x_px), f64::from(p.y_px)]))
        .collect();
    let mut cost = [0.0, SWAP_COST];
    let mut came_from: Vec<[usize; 2]> = Vec::with_capacity(rows.len());
    for pair in rows.windows(2) {
        let size2 = leg_scale2(&pair[1]);
        let step: [[f64; 2]; 2] = std::array::from_fn(|to| {
            std::array::from_fn(|from| cost[from] + jump2(&pair[0], &pair[1], from != to) / size2)
        });
        came_from.push(step.map(|s| usize::from(s[1] < s[0])));
        let best = step.map(|s| s[0].min(s[1]));
        cost = [best[0], best[1] + SWAP_COST];
    }
    let mut state = usize::from(cost[1] < cost[0]);
    let mut rows = rows;
    let mut exchanged = vec![false; rows.len()];
    for i in (0..rows.len()).rev() {
        exchanged[i] = state == 1;
        if state == 1 {
            let first = usize::from(!hips_apart(&rows[i]));
            for (l, r) in &LEG_PAIRS[first..] {
                rows[i].swap(*l, *r);
            }
        }
        if i > 0 {
            state = came_from[i - 1][state];
        }
    }
    (rows, exchanged)
}

/// Sum of squared jumps of knees, ankles, heels and toes relative to the mid
/// hip, with the second row's legs exchanged or not.
fn jump2(a: &Row, b: &Row, exchanged: bool) -> f64 {
    let (ha, hb) = (mid_hip(a), mid_hip(b));
    LEG_PAIRS[1..]
        .iter()
        .flat_map(|&(l, r)| {
            let (bl, br) = if exchanged { (r, l) } else { (l, r) };
            [(a[l], b[bl]), (a[r], b[br])]
        })
        .map(|(p, q)| {
            let (dx, dy) = (
                (q[0] - hb[0]) - (p[0] - ha[0]),
                (q[1] - hb[1]) - (p[1] - ha[1]),
            );
            dx * dx + dy * dy
        })
        .sum()
}

/// Hips closer than this share of the trunk lie on each other, as from the
/// side. There the model keeps them where they are when it exchanges the legs.
const HIPS_APART: f64 = 0.25;

pub(super) fn hips_apart(r: &Row) -> bool {
    let (dx, dy) = (r[23][0] - r[24][0], r[23][1] - r[24][1]);
    dx * dx + dy * dy > HIPS_APART * HIPS_APART * leg_scale2(r)
}

fn mid_hip(r: &Row) -> [f64; 2] {
    [(r[23][0] + r[24][0]) / 2.0, (r[23][1] + r[24][1]) / 2.0]
}

/// Squared length scale of the body: mid hip to mid shoulder, and at least
/// ten pixels.
fn leg_scale2(r: &Row) -> f64 {
    let h = mid_hip(r);
    let s = [(r[11][0] + r[12][0]) / 2.0, (r[11][1] + r[12][1]) / 2.0];
    ((h[0] - s[0]).powi(2) + (h[1] - s[1]).powi(2)).max(100.0)
}

/// Replaces points that jump off the curve through the two samples before and
/// the two after, measured relative to the mid hip: beyond `floor_px` and
/// beyond four times what is usual in the samples around. A straight line
/// between the neighbours would cut the end of every push, where the leg turns
/// round within a frame or two; above the knees it is straight enough.
pub fn replace_outliers(rows: &mut [Row], floor_px: impl Fn(usize) -> f64) {
    let n = rows.len();
    if n < 5 {
        return;
    }
    let hips: Vec<[f64; 2]> = rows.iter().map(mid_hip).collect();
    for point in 0..POINTS {
        let relative: Vec<[f64; 2]> = rows
            .iter()
            .zip(&hips)
            .map(|(r, h)| [r[point][0] - h[0], r[point][1] - h[1]])
            .collect();
        let between = |i: usize| -> [f64; 2] {
            std::array::from_fn(|a| {
                let next = relative[i - 1][a] + relative[i + 1][a];
                if i < 2 || i + 2 >= n || point < LEG_PAIRS[1].0 {
                    return next / 2.0;
                }
                (4.0 * next - relative[i - 2][a] - relative[i + 2][a]) / 6.0
            })
        };
        let jumps: Vec<f64> = (1..n - 1)
            .map(|i| {
                let b = between(i);
                (relative[i][0] - b[0]).hypot(relative[i][1] - b[1])
            })
            .collect();
        for i in 1..n - 1 {
            let jump = jumps[i - 1];
            let mut around = jumps[(i - 1).saturating_sub(4)..(i + 4).min(jumps.len())].to_vec();
            let usual = median(&mut around).unwrap_or(0.0);
            // the neighbours of a wild point jump too, by half as much: only
            // the largest of three is the wild one
            let largest =
                jump >= jumps[(i - 1).saturating_sub(1)] && jump >= jumps[i.min(jumps.len() - 1)];
            if largest && jump > floor_px(i).max(4.0 * usual) {
                let b = between(i);
                rows[i][point] = [hips[i][0] + b[0], hips[i][1] + b[1]];
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::body::Landmark;

    /// Legs that stride in the picture, 100 px to either side.
    fn walk(n: usize) -> Vec<Sample> {
        (0..n)
            .map(|i| {
                let swing = 100.0 * (i as f32 * 0.3).sin();
                let mut points = [Landmark::default(); POINTS];
                for (k, p) in points.iter_mut().enumerate() {
                    let side = if k % 2 == 1 { 1.0 } else { -1.0 };
                    p.x_px = i as f32 * 20.0 + if k > 24 { side * swing } else { 0.0 };
                    p.y_px = if k < 23 { -80.0 } else { 80.0 + k as f32 };
                }
                Sample {
                    t_s: i as f64 / 30.0,
                    points,
                    legs: None,
                    clarity: None,
                    lane_m: None,
                }
            })
            .collect()
    }

    /// Legs exchanged in some frames; from the side without the hips.
    fn check_exchanged(good: &[Sample], pairs: &[(usize, usize)]) {
        let mut bad = good.to_vec();
        for i in [14, 15, 16, 26] {
            for (l, r) in pairs {
                bad[i].points.swap(*l, *r);
            }
        }
        let (expected, none) = rows_with_legs_in_order(good);
        assert_eq!(expected[14][27][0], f64::from(good[14].points[27].x_px));
        assert!(none.iter().all(|exchanged| !exchanged));
        let (rows, exchanged) = rows_with_legs_in_order(&bad);
        assert!(rows == expected, "rows differ");
        let found: Vec<usize> = (0..40).filter(|&i| exchanged[i]).collect();
        assert_eq!(found, [14, 15, 16, 26]);
    }

    #[test]
    fn exchanged_legs_are_put_right_and_good_ones_left_alone() {
        check_exchanged(&walk(40), &LEG_PAIRS[1..]);
        let mut from_the_front = walk(40);
        for s in &mut from_the_front {
            s.points[23].x_px += 40.0;
            s.points[24].x_px -= 40.0;
        }
        check_exchanged(&from_the_front, &LEG_PAIRS);
    }

    #[test]
    fn one_wild_point_is_replaced() {
        let (mut rows, _) = rows_with_legs_in_order(&walk(20));
        let truth = rows[10][27];
        rows[10][27][0] += 150.0;
        replace_outliers(&mut rows, |_| 10.0);
        assert!((rows[10][27][0] - truth[0]).abs() < 5.0);
    }
}
