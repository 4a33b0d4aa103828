//! How the camera stands, from things in its picture whose size is known.
//!
//! Boards, a post, a marked stick, a skater who stands: anything upright whose
//! height is known, and anything on the ice whose length is known. The height
//! of the lens, its tilt and roll, and the field of view where it is not known,
//! are what explains all marks best (least squares in pixels), with the errors
//! that marks off by a pixel or two leave.

use super::Camera;
use crate::config::Lane;

/// A thing of known size in the picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Mark {
    /// Stands on the ice: its foot, its top, pixels, and its height, metres.
    Upright {
        /// Where it stands on the ice.
        bottom_px: [f64; 2],
        /// Its top.
        top_px: [f64; 2],
        /// Height above the ice, metres.
        height_m: f64,
    },
    /// Lies on the ice: its ends, pixels, and its length, metres.
    OnIce {
        /// One end.
        from_px: [f64; 2],
        /// The other end.
        to_px: [f64; 2],
        /// Length, metres.
        length_m: f64,
    },
}

impl Mark {
    /// What a mark tells, in equations.
    fn equations(&self) -> usize {
        match self {
            Mark::Upright { .. } => 2,
            Mark::OnIce { .. } => 1,
        }
    }
}

/// A value and its standard deviation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Known {
    /// The value.
    pub value: f64,
    /// One standard deviation, same unit.
    pub error: f64,
}

/// How the camera stands.
#[derive(Debug, Clone, PartialEq)]
pub struct CameraPose {
    /// Lens above the ice, metres.
    pub camera_height_m: Known,
    /// Downward tilt, degrees.
    pub tilt_deg: Known,
    /// Roll, degrees.
    pub roll_deg: Known,
    /// Horizontal field of view, degrees.
    pub hfov_deg: Known,
    /// Square distance from the lens to the lane, metres.
    pub lane_distance_m: Known,
    /// Relative error of lengths measured on the lane, one standard
    /// deviation: 0.03 is 3 %.
    pub scale_error: f64,
    /// How far the marks lie off what was found, root mean square, pixels.
    pub misfit_px: f64,
}

/// Why the stand cannot be found.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CameraPoseError {
    /// Too few marks.
    #[error("the marks do not say enough yet: add {}", wanting(*.missing))]
    TooFew {
        /// Equations that are missing; an upright thing gives two, a length
        /// on the ice one.
        missing: usize,
    },
    /// The line of the lane is not marked.
    #[error("mark at least two points of the line that the skaters follow, on the ice")]
    NoLane,
    /// The marks do not determine the camera.
    #[error(
        "the marks leave the camera's stand open: put them further apart, some near and some far"
    )]
    Undetermined,
    /// The marks fit, and hardly say one of the numbers.
    #[error(
        "the marks leave the {what} open ({value} ± {error}): add something of known size nearer to the lane{}",
        if *.angle_known { "" } else { ", or say the camera's angle of view where its data sheet gives it" }
    )]
    Open {
        /// Which number.
        what: &'static str,
        /// Its value, with its unit.
        value: String,
        /// One standard deviation, with its unit.
        error: String,
        /// Whether the field of view was given.
        angle_known: bool,
    },
    /// The marks contradict each other.
    #[error(
        "the marks lie {misfit_px:.0} pixels off any possible camera: check their pixels and sizes"
    )]
    Contradiction {
        /// Root mean square misfit, pixels.
        misfit_px: f64,
    },
}

fn wanting(missing: usize) -> &'static str {
    match missing {
        0 | 1 => {
            "one more length on the ice, or one more upright thing of known height (boards, a stick, a skater)"
        }
        2 => {
            "one more upright thing of known height (boards, a stick, a skater), or two lengths on the ice"
        }
        _ => "two more upright things of known height (boards, a stick, a skater)",
    }
}

/// A stand is of no use when one standard deviation of it is larger than
/// this: lengths as a share of their value, angles in degrees. Distance and
/// angle of view make up for each other, so that lengths on the lane can be
/// right while both are loose; tilt and height make up for nothing.
const OPEN_HEIGHT: f64 = 0.15;
const OPEN_DISTANCE: f64 = 0.35;
const OPEN_TILT_DEG: f64 = 2.0;
const OPEN_HFOV_DEG: f64 = 20.0;
/// A lane that runs under the lens has no distance to take a share of, metres.
const LEAST_LANE_M: f64 = 2.0;

/// Refuses what is so uncertain that it would only look like a result.
fn nothing_open(stand: &CameraPose, angle_known: bool) -> Result<(), CameraPoseError> {
    let metres = |v: f64| format!("{v:.1} m");
    let degrees = |v: f64| format!("{v:.1}°");
    type Write<'a> = &'a dyn Fn(f64) -> String;
    let all: [(bool, &'static str, &Known, Write); 4] = [
        (
            stand.camera_height_m.error <= OPEN_HEIGHT * stand.camera_height_m.value,
            "height of the camera",
            &stand.camera_height_m,
            &metres,
        ),
        (
            stand.lane_distance_m.error
                <= OPEN_DISTANCE * stand.lane_distance_m.value.max(LEAST_LANE_M),
            "distance of the lane",
            &stand.lane_distance_m,
            &metres,
        ),
        (
            stand.tilt_deg.error <= OPEN_TILT_DEG,
            "tilt of the camera",
            &stand.tilt_deg,
            &degrees,
        ),
        (
            stand.hfov_deg.error <= OPEN_HFOV_DEG,
            "angle of view",
            &stand.hfov_deg,
            &degrees,
        ),
    ];
    for (good, what, known, write) in all {
        // Also where the error is no number.
        if !good {
            return Err(CameraPoseError::Open {
                what,
                value: write(known.value),
                error: write(known.error),
                angle_known,
            });
        }
    }
    Ok(())
}

/// Beyond this misfit the marks are taken to be wrong, pixels.
const LARGEST_MISFIT_PX: f64 = 15.0;
const ROUNDS: usize = 60;

/// Finds how the camera stands.
///
/// `lane` gives the picture's side of it (view, travel, stature) and the
/// field of view, which is kept when `hfov_known`; its other numbers are not
/// used. `lane_px` are points of the line the skaters follow, on the ice.
/// `mark_error_px` is how well a mark is placed, one standard deviation.
///
/// # Errors
/// [`CameraPoseError`]; each says what to add or to check.
pub fn solve_camera_pose(
    lane: &Lane,
    size_px: [u32; 2],
    marks: &[Mark],
    lane_px: &[[f64; 2]],
    hfov_known: bool,
    mark_error_px: f64,
) -> Result<CameraPose, CameraPoseError> {
    let upright = marks.iter().any(|m| matches!(m, Mark::Upright { .. }));
    // Only upright things tell the roll.
    let mut free = vec![0, 1];
    free.extend(upright.then_some(2));
    free.extend((!hfov_known).then_some(3));
    let given: usize = marks.iter().map(Mark::equations).sum();
    if given < free.len() {
        return Err(CameraPoseError::TooFew {
            missing: free.len() - given,
        });
    }
    if lane_px.len() < 2 {
        return Err(CameraPoseError::NoLane);
    }
    let model = Model {
        lane,
        size_px,
        marks,
    };
    let best = model.best_start(&free);
    let found = model.refine(best, &free);
    let residuals = model.residuals(&found);
    let sum2: f64 = residuals.iter().map(|r| r * r).sum();
    let misfit_px = (sum2 / residuals.len() as f64).sqrt();
    if misfit_px.is_nan() || misfit_px > LARGEST_MISFIT_PX {
        return Err(CameraPoseError::Contradiction { misfit_px });
    }
    let spare = (residuals.len() - free.len()).max(1) as f64;
    let sigma_px = mark_error_px.max(if residuals.len() > free.len() {
        (sum2 / spare).sqrt()
    } else {
        0.0
    });
    let covariance = model
        .covariance(&found, &free, sigma_px)
        .ok_or(CameraPoseError::Undetermined)?;
    let spread = |quantity: &dyn Fn(&[f64; 4]) -> Option<f64>| -> Option<Known> {
        let value = quantity(&found)?;
        let gradient: Vec<f64> = free
            .iter()
            .map(|&k| {
                let (up, down) = (stepped(&found, k, STEP[k]), stepped(&found, k, -STEP[k]));
                Some((quantity(&up)? - quantity(&down)?) / (2.0 * STEP[k]))
            })
            .collect::<Option<_>>()?;
        let variance: f64 = gradient
            .iter()
            .enumerate()
            .flat_map(|(i, a)| gradient.iter().enumerate().map(move |(j, b)| (i, j, a * b)))
            .map(|(i, j, ab)| ab * covariance[i][j])
            .sum();
        Some(Known {
            value,
            error: variance.max(0.0).sqrt(),
        })
    };
    let parameter = |k: usize| spread(&|p| Some(p[k])).ok_or(CameraPoseError::Undetermined);
    let lane_of = |p: &[f64; 4]| lane_distance(&model.camera(p), lane_px);
    let lane_distance_m = spread(&lane_of).ok_or(CameraPoseError::NoLane)?;
    // A pixel at the lane is worth lane distance over focal length.
    let metres_per_px = spread(&|p| {
        let camera = model.camera(p);
        let at = middle_of(&camera, lane_px)?;
        Some(camera.depth_m([at[0], at[1], 0.5 * lane.skater_height_m]) / camera.focal_px)
    })
    .ok_or(CameraPoseError::NoLane)?;
    let stand = CameraPose {
        camera_height_m: parameter(0)?,
        tilt_deg: parameter(1)?,
        roll_deg: parameter(2)?,
        hfov_deg: parameter(3)?,
        lane_distance_m,
        scale_error: metres_per_px.error / metres_per_px.value,
        misfit_px,
    };
    nothing_open(&stand, hfov_known)?;
    Ok(stand)
}

/// Steps of the numeric derivatives: metres, degrees.
const STEP: [f64; 4] = [1e-4, 1e-4, 1e-4, 1e-3];

fn stepped(p: &[f64; 4], k: usize, by: f64) -> [f64; 4] {
    let mut q = *p;
    q[k] += by;
    q
}

/// Ground points of the marked line.
fn on_ice(camera: &Camera, px: &[[f64; 2]]) -> Option<Vec<[f64; 2]>> {
    px.iter().map(|&p| camera.on_plane(p, 0.0)).collect()
}

fn middle_of(camera: &Camera, px: &[[f64; 2]]) -> Option<[f64; 2]> {
    let points = on_ice(camera, px)?;
    let n = points.len() as f64;
    Some([0, 1].map(|a| points.iter().map(|p| p[a]).sum::<f64>() / n))
}

/// Square distance from below the lens to the line through the points.
fn lane_distance(camera: &Camera, px: &[[f64; 2]]) -> Option<f64> {
    let points = on_ice(camera, px)?;
    let (a, b) = (points.first()?, points.last()?);
    let d = [b[0] - a[0], b[1] - a[1]];
    let length = d[0].hypot(d[1]);
    (length > 1e-6).then(|| ((a[0] * d[1] - a[1] * d[0]) / length).abs())
}

/// Parameters: height, tilt, roll, field of view.
struct Model<'a> {
    lane: &'a Lane,
    size_px: [u32; 2],
    marks: &'a [Mark],
}

impl Model<'_> {
    fn camera(&self, p: &[f64; 4]) -> Camera {
        let lane = Lane {
            camera_height_m: p[0],
            tilt_deg: p[1],
            roll_deg: p[2],
            hfov_deg: p[3],
            ..self.lane.clone()
        };
        Camera::of_lane(&lane, self.size_px[0], self.size_px[1])
    }

    /// How far each mark lies off, pixels.
    fn residuals(&self, p: &[f64; 4]) -> Vec<f64> {
        const NOWHERE_PX: f64 = 1e3;
        let camera = self.camera(p);
        let mut r = Vec::new();
        for mark in self.marks {
            match *mark {
                Mark::Upright {
                    bottom_px,
                    top_px,
                    height_m,
                } => {
                    let seen = camera
                        .on_plane(bottom_px, 0.0)
                        .and_then(|at| camera.project([at[0], at[1], height_m]));
                    let off =
                        seen.map_or([NOWHERE_PX; 2], |s| [s[0] - top_px[0], s[1] - top_px[1]]);
                    r.extend(off);
                }
                Mark::OnIce {
                    from_px,
                    to_px,
                    length_m,
                } => {
                    let ends = (camera.on_plane(from_px, 0.0), camera.on_plane(to_px, 0.0));
                    r.push(if let (Some(a), Some(b)) = ends {
                        let seen_m = (a[0] - b[0]).hypot(a[1] - b[1]);
                        let px = (from_px[0] - to_px[0]).hypot(from_px[1] - to_px[1]);
                        (1.0 - length_m / seen_m.max(1e-9)) * px
                    } else {
                        NOWHERE_PX
                    });
                }
            }
        }
        r
    }

    fn cost(&self, p: &[f64; 4]) -> f64 {
        self.residuals(p).iter().map(|r| r * r).sum()
    }

    /// The best of a coarse grid of heights, tilts and fields of view.
    fn best_start(&self, free: &[usize]) -> [f64; 4] {
        let views: &[f64] = if free.contains(&3) {
            &[40.0, 55.0, 70.0, 90.0]
        } else {
            &[self.lane.hfov_deg]
        };
        let grid = [0.6, 1.0, 1.5, 2.2, 3.2, 4.5].into_iter().flat_map(|h| {
            (-4..=10).flat_map(move |t| views.iter().map(move |&f| [h, 4.0 * f64::from(t), 0.0, f]))
        });
        grid.min_by(|a, b| self.cost(a).total_cmp(&self.cost(b)))
            .unwrap_or([1.2, 3.0, 0.0, self.lane.hfov_deg])
    }

    fn jacobian(&self, p: &[f64; 4], free: &[usize]) -> Vec<Vec<f64>> {
        let columns: Vec<Vec<f64>> = free
            .iter()
            .map(|&k| {
                let up = self.residuals(&stepped(p, k, STEP[k]));
                let down = self.residuals(&stepped(p, k, -STEP[k]));
                up.iter()
                    .zip(&down)
                    .map(|(a, b)| (a - b) / (2.0 * STEP[k]))
                    .collect()
            })
            .collect();
        (0..columns[0].len())
            .map(|i| columns.iter().map(|c| c[i]).collect())
            .collect()
    }

    /// Levenberg-Marquardt from a start.
    fn refine(&self, start: [f64; 4], free: &[usize]) -> [f64; 4] {
        let mut p = start;
        let mut damping = 1e-3;
        for _ in 0..ROUNDS {
            let (r, j) = (self.residuals(&p), self.jacobian(&p, free));
            let mut a = normal(&j);
            for (i, row) in a.iter_mut().enumerate() {
                row[i] *= 1.0 + damping;
                row[i] += 1e-12;
            }
            let g: Vec<f64> = (0..free.len())
                .map(|c| -j.iter().zip(&r).map(|(row, r)| row[c] * r).sum::<f64>())
                .collect();
            let Some(inverse) = inverted(&a) else { break };
            let mut q = p;
            for (i, &k) in free.iter().enumerate() {
                q[k] += (0..free.len()).map(|c| inverse[i][c] * g[c]).sum::<f64>();
            }
            q[0] = q[0].clamp(0.1, 10.0);
            q[3] = q[3].clamp(5.0, 160.0);
            if self.cost(&q) < self.cost(&p) {
                p = q;
                damping = (damping / 4.0).max(1e-9);
            } else {
                damping *= 8.0;
                if damping > 1e9 {
                    break;
                }
            }
        }
        p
    }

    fn covariance(&self, p: &[f64; 4], free: &[usize], sigma_px: f64) -> Option<Vec<Vec<f64>>> {
        let mut inverse = inverted(&normal(&self.jacobian(p, free)))?;
        for row in &mut inverse {
            for v in row {
                *v *= sigma_px * sigma_px;
            }
        }
        Some(inverse)
    }
}

fn normal(j: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let n = j.first().map_or(0, Vec::len);
    (0..n)
        .map(|a| {
            (0..n)
                .map(|b| j.iter().map(|r| r[a] * r[b]).sum())
                .collect()
        })
        .collect()
}

/// Inverse by Gauss-Jordan with pivots; `None` where there is none.
fn inverted(m: &[Vec<f64>]) -> Option<Vec<Vec<f64>>> {
    let n = m.len();
    let mut a: Vec<Vec<f64>> = m.to_vec();
    let mut inv: Vec<Vec<f64>> = (0..n)
        .map(|i| (0..n).map(|j| f64::from(u8::from(i == j))).collect())
        .collect();
    let largest = a.iter().flatten().fold(0.0_f64, |s, v| s.max(v.abs()));
    for c in 0..n {
        let pivot = (c..n).max_by(|&i, &j| a[i][c].abs().total_cmp(&a[j][c].abs()))?;
        if a[pivot][c].is_nan() || a[pivot][c].abs() <= 1e-12 * largest {
            return None;
        }
        a.swap(c, pivot);
        inv.swap(c, pivot);
        let d = a[c][c];
        for k in 0..n {
            a[c][k] /= d;
            inv[c][k] /= d;
        }
        for i in (0..n).filter(|&i| i != c) {
            let f = a[i][c];
            for k in 0..n {
                let (ac, ic) = (a[c][k], inv[c][k]);
                a[i][k] -= f * ac;
                inv[i][k] -= f * ic;
            }
        }
    }
    Some(inv)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::{Subject, Travel, View};

    const SIZE: [u32; 2] = [1280, 720];

    fn lane() -> Lane {
        Lane {
            view: View::Side,
            camera_height_m: 1.3,
            tilt_deg: 4.0,
            hfov_deg: 62.0,
            roll_deg: 0.8,
            lane_distance_m: 6.2,
            travel: Travel::LeftToRight,
            skater_height_m: 1.6,
            subject: Subject::People,
            checked: None,
        }
    }

    /// Marks as a coach would place them: two places of the far boards
    /// (1.07 m, IIHF rule 1.3), a 1.5 m stick on the lane and nearer.
    fn marks(off: &mut dyn FnMut() -> f64) -> (Vec<Mark>, Vec<[f64; 2]>) {
        let camera = Camera::of_lane(&lane(), SIZE[0], SIZE[1]);
        let mut px = |x: f64, y: f64, z: f64| {
            let p = camera.project([x, y, z]).unwrap();
            [p[0] + off(), p[1] + off()]
        };
        let mut marks = Vec::new();
        for x in [-4.0, 3.0] {
            marks.push(Mark::Upright {
                bottom_px: px(x, 10.0, 0.0),
                top_px: px(x, 10.0, 1.07),
                height_m: 1.07,
            });
        }
        for (x, y) in [(-0.7, 6.2), (0.3, 4.0)] {
            marks.push(Mark::OnIce {
                from_px: px(x, y, 0.0),
                to_px: px(x + 1.5, y, 0.0),
                length_m: 1.5,
            });
        }
        let line = vec![px(-2.5, 6.2, 0.0), px(2.5, 6.2, 0.0)];
        (marks, line)
    }

    #[test]
    fn exact_marks_give_the_camera_back() {
        let (marks, line) = marks(&mut || 0.0);
        for hfov_known in [true, false] {
            let stand = solve_camera_pose(&lane(), SIZE, &marks, &line, hfov_known, 1.5).unwrap();
            assert!((stand.camera_height_m.value - 1.3).abs() < 1e-4);
            assert!((stand.tilt_deg.value - 4.0).abs() < 1e-3);
            assert!((stand.roll_deg.value - 0.8).abs() < 1e-3);
            assert!((stand.hfov_deg.value - 62.0).abs() < 1e-2);
            assert!((stand.lane_distance_m.value - 6.2).abs() < 1e-3);
            assert!(stand.scale_error > 0.0 && stand.scale_error < 0.05);
        }
    }

    /// Marks off by 1.5 pixels: the truth lies within two of the stated
    /// standard deviations about 95 times in 100 (normal distribution).
    #[test]
    fn the_stated_errors_are_honest() {
        let mut state = 12345u64;
        let mut uniform = move || {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1);
            (state >> 11) as f64 / (1u64 << 53) as f64
        };
        // twelve uniform numbers make a nearly normal one
        let mut normal = move || 1.5 * ((0..12).map(|_| uniform()).sum::<f64>() - 6.0);
        let (mut within, n) = ([0; 3], 200);
        for _ in 0..n {
            let (marks, line) = marks(&mut normal);
            let s = solve_camera_pose(&lane(), SIZE, &marks, &line, true, 1.5).unwrap();
            let is = |k: Known, truth: f64| u32::from((k.value - truth).abs() <= 2.0 * k.error);
            within[0] += is(s.camera_height_m, 1.3);
            within[1] += is(s.tilt_deg, 4.0);
            within[2] += is(s.roll_deg, 0.8);
        }
        for w in within {
            assert!((f64::from(w) / f64::from(n)) > 0.88, "{within:?} of {n}");
        }
    }

    #[test]
    fn too_few_and_contradicting_marks_are_refused() {
        let (marks, line) = marks(&mut || 0.0);
        let few = solve_camera_pose(&lane(), SIZE, &marks[2..3], &line, true, 1.5);
        assert_eq!(few, Err(CameraPoseError::TooFew { missing: 1 }));
        // Far boards twice and a short length near the lane: they fit a camera
        // of any angle of view, and with it a lane at almost any distance.
        let camera = Camera::of_lane(&lane(), SIZE[0], SIZE[1]);
        let px = |x: f64, y: f64, z: f64| camera.project([x, y, z]).unwrap();
        let boards = |x: f64| Mark::Upright {
            bottom_px: px(x, 27.0, 0.0),
            top_px: px(x, 27.0, 1.07),
            height_m: 1.07,
        };
        let short = Mark::OnIce {
            from_px: px(-0.15, 6.0, 0.0),
            to_px: px(0.15, 6.0, 0.0),
            length_m: 0.3,
        };
        let flat = [boards(-9.0), boards(8.0), short];
        let open = solve_camera_pose(&lane(), SIZE, &flat, &line, false, 1.5);
        let Err(error @ CameraPoseError::Open { .. }) = open else {
            panic!("{open:?}");
        };
        assert!(error.to_string().contains("angle of view"), "{error}");
        solve_camera_pose(&lane(), SIZE, &flat, &line, true, 1.5).unwrap();
        let no_lane = solve_camera_pose(&lane(), SIZE, &marks, &line[..1], true, 1.5);
        assert_eq!(no_lane, Err(CameraPoseError::NoLane));
        let mut wrong = marks.clone();
        if let Mark::Upright { height_m, .. } = &mut wrong[0] {
            *height_m = 3.0;
        }
        let refused = solve_camera_pose(&lane(), SIZE, &wrong, &line, true, 1.5);
        assert!(
            matches!(refused, Err(CameraPoseError::Contradiction { .. })),
            "{refused:?}"
        );
    }
}
