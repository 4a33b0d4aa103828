//! The camera that explains marks best: least squares in pixels.

use super::Camera;
use super::camera_pose::Mark;
use crate::config::Lane;

const ROUNDS: usize = 60;

/// Steps of the numeric derivatives: metres, degrees.
pub const STEP: [f64; 4] = [1e-4, 1e-4, 1e-4, 1e-3];

/// Parameters with one of them moved.
pub fn stepped(p: &[f64; 4], k: usize, by: f64) -> [f64; 4] {
    let mut q = *p;
    q[k] += by;
    q
}

/// Ground points of the marked line.
fn on_ice(camera: &Camera, px: &[[f64; 2]]) -> Option<Vec<[f64; 2]>> {
    px.iter().map(|&p| camera.on_plane(p, 0.0)).collect()
}

/// Middle of the marked line on the ice.
pub fn middle_of(camera: &Camera, px: &[[f64; 2]]) -> Option<[f64; 2]> {
    let points = on_ice(camera, px)?;
    let n = points.len() as f64;
    Some([0, 1].map(|a| points.iter().map(|p| p[a]).sum::<f64>() / n))
}

/// Square distance from below the lens to the line through the points.
pub fn lane_distance(camera: &Camera, px: &[[f64; 2]]) -> Option<f64> {
    let points = on_ice(camera, px)?;
    let (a, b) = (points.first()?, points.last()?);
    let d = [b[0] - a[0], b[1] - a[1]];
    let length = d[0].hypot(d[1]);
    (length > 1e-6).then(|| ((a[0] * d[1] - a[1] * d[0]) / length).abs())
}

/// Parameters: height, tilt, roll, field of view.
pub struct Model<'a> {
    /// What is kept of it: view, travel, stature.
    pub lane: &'a Lane,
    /// Size of the picture.
    pub size_px: [u32; 2],
    /// What has to be explained.
    pub marks: &'a [Mark],
}

impl Model<'_> {
    /// The camera of such parameters.
    pub fn camera(&self, p: &[f64; 4]) -> Camera {
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
    pub fn residuals(&self, p: &[f64; 4]) -> Vec<f64> {
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
    pub fn best_start(&self, free: &[usize]) -> [f64; 4] {
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
    pub fn refine(&self, start: [f64; 4], free: &[usize]) -> [f64; 4] {
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

    /// Covariance of all four parameters. One that was given and not found is off by what `held`
    /// says, one standard deviation, and draws the others along: they explain the marks with it.
    pub fn covariance(
        &self,
        p: &[f64; 4],
        free: &[usize],
        sigma_px: f64,
        held: &[f64; 4],
    ) -> Option<[[f64; 4]; 4]> {
        let jacobian = self.jacobian(p, free);
        let inverse = inverted(&normal(&jacobian))?;
        let mut all = [[0.0; 4]; 4];
        for (i, &a) in free.iter().enumerate() {
            for (k, &b) in free.iter().enumerate() {
                all[a][b] = inverse[i][k] * sigma_px * sigma_px;
            }
        }
        let given = (0..4).filter(|k| !free.contains(k) && held[*k] > 0.0);
        for number in given {
            let by_it = self.jacobian(p, &[number]);
            let pull = |c: usize| {
                let rows = jacobian.iter().zip(&by_it);
                rows.map(|(j, v)| j[c] * v[0]).sum::<f64>()
            };
            let pull: Vec<f64> = (0..free.len()).map(pull).collect();
            let mut drawn = [0.0; 4];
            drawn[number] = held[number];
            for (i, &a) in free.iter().enumerate() {
                let slope: f64 = inverse[i].iter().zip(&pull).map(|(v, p)| v * p).sum();
                drawn[a] = -slope * held[number];
            }
            for a in 0..4 {
                for b in 0..4 {
                    all[a][b] += drawn[a] * drawn[b];
                }
            }
        }
        Some(all)
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
