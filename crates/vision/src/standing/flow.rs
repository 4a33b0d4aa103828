//! How a picture shifts when its camera moves a little.

use super::small::Small;

/// Steps of the fit: far ones lose their weight.
const STEPS: usize = 8;
/// A square further than this from the common motion counts little, small pixels.
const SCALE_PX: f64 = 0.5;

/// The shift of every point of the picture. Eight numbers, as a turned, shifted or zoomed
/// camera before a plane needs them for small motions (R. Szeliski, Computer Vision, 2nd ed.,
/// section 9.2, the instantaneous planar flow); from memory, and held against the exact
/// homography in a test.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Flow {
    pub(super) p: [f64; 8],
    /// Half of the picture's width and height, small pixels.
    pub(super) half: [f64; 2],
}

/// A square that was found: where it belongs, its middle, and how far from there it is; small pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Found {
    pub(super) at: [f64; 2],
    pub(super) by: [f64; 2],
}

impl Flow {
    /// No motion, in a picture of this size.
    pub(super) fn none(picture: &Small) -> Flow {
        Flow {
            p: [0.0; 8],
            half: [picture.width as f64 / 2.0, picture.height as f64 / 2.0],
        }
    }

    /// A shift by `by` small pixels, a turn by `turn_rad` and a zoom about the middle.
    pub(super) fn of(picture: &Small, by: [f64; 2], turn_rad: f64, zoom: f64) -> Flow {
        let none = Self::none(picture);
        let (sin, cos) = turn_rad.sin_cos();
        let w = none.half[0];
        Flow {
            p: [
                by[0],
                w * (zoom * cos - 1.0),
                -w * zoom * sin,
                by[1],
                w * zoom * sin,
                w * (zoom * cos - 1.0),
                0.0,
                0.0,
            ],
            ..none
        }
    }

    /// Coordinates about the middle; the half width is 1.
    fn about_middle(&self, at: [f64; 2]) -> [f64; 2] {
        [0, 1].map(|k| (at[k] - self.half[k]) / self.half[0].max(1.0))
    }

    /// How far the point that was at `at` is from there.
    pub(super) fn shift(&self, at: [f64; 2]) -> [f64; 2] {
        let [x, y] = self.about_middle(at);
        let p = &self.p;
        [
            p[0] + p[1] * x + p[2] * y + p[6] * x * x + p[7] * x * y,
            p[3] + p[4] * x + p[5] * y + p[6] * x * y + p[7] * y * y,
        ]
    }

    /// The motion that most of what was found has in common, beginning with this one and the
    /// middle of what is left; `None` where it is too little.
    pub(super) fn fit(&self, found: &[Found]) -> Option<Flow> {
        if found.len() < 6 {
            return None;
        }
        let middle = |k: usize| {
            let left = found.iter().map(|f| f.by[k] - self.shift(f.at)[k]);
            let mut all: Vec<f64> = left.collect();
            all.sort_by(f64::total_cmp);
            all[all.len() / 2]
        };
        let mut flow = *self;
        flow.p[0] += middle(0);
        flow.p[3] += middle(1);
        for step in 0..STEPS {
            // Wide at first: a turn or a zoom is far from the middle shift at the edges.
            let scale = SCALE_PX * f64::from(1 << (STEPS - 1 - step).min(3));
            let mut a = [[0.0; 9]; 8];
            for f in found {
                let shift = flow.shift(f.at);
                let off = (f.by[0] - shift[0]).hypot(f.by[1] - shift[1]) / scale;
                let weight = 1.0 / (1.0 + off * off).powi(2);
                let [x, y] = self.about_middle(f.at);
                let rows = [
                    ([1.0, x, y, 0.0, 0.0, 0.0, x * x, x * y], f.by[0]),
                    ([0.0, 0.0, 0.0, 1.0, x, y, x * y, y * y], f.by[1]),
                ];
                for (row, by) in rows {
                    for (line, left) in a.iter_mut().zip(row) {
                        for (cell, right) in line.iter_mut().zip(row) {
                            *cell += weight * left * right;
                        }
                        line[8] += weight * left * by;
                    }
                }
            }
            for (i, row) in a.iter_mut().enumerate() {
                // What the squares do not tell stays nothing.
                row[i] += 0.05;
            }
            flow.p = solve(a)?;
        }
        Some(flow)
    }

    /// The picture as it was before the motion, as far as it can be seen.
    pub(super) fn undo(&self, picture: &Small) -> Small {
        let (width, height) = (picture.width, picture.height);
        let mut level = Vec::with_capacity(width * height);
        for y in 0..height {
            for x in 0..width {
                let at = [x as f64, y as f64];
                let by = self.shift(at);
                level.push(picture.at((at[0] + by[0]) as f32, (at[1] + by[1]) as f32));
            }
        }
        Small {
            width,
            height,
            level,
        }
    }
}

/// Eight equations, by elimination with the largest pivot.
fn solve(mut a: [[f64; 9]; 8]) -> Option<[f64; 8]> {
    for i in 0..8 {
        let pivot = (i..8).max_by(|&r, &s| a[r][i].abs().total_cmp(&a[s][i].abs()))?;
        a.swap(i, pivot);
        if a[i][i].abs() < 1e-12 {
            return None;
        }
        let with = a[i];
        for row in a.iter_mut().skip(i + 1) {
            let factor = row[i] / with[i];
            for (cell, from) in row.iter_mut().zip(with) {
                *cell -= factor * from;
            }
        }
    }
    let mut p = [0.0; 8];
    for i in (0..8).rev() {
        let rest: f64 = (i + 1..8).map(|c| a[i][c] * p[c]).sum();
        p[i] = (a[i][8] - rest) / a[i][i];
    }
    p.iter().all(|v| v.is_finite()).then_some(p)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn picture() -> Small {
        Small {
            width: 320,
            height: 180,
            level: vec![0.0; 320 * 180],
        }
    }

    /// Where a point of the picture is after the camera turned: the exact homography
    /// K R K^-1 of a pinhole camera (R. Hartley, A. Zisserman, Multiple View Geometry, 2nd
    /// ed., section 8.4.2).
    fn turned(at: [f64; 2], pan_rad: f64, tilt_rad: f64, roll_rad: f64) -> [f64; 2] {
        let f = 160.0 / 31.0_f64.to_radians().tan();
        let [x, y, z] = [(at[0] - 160.0) / f, (at[1] - 90.0) / f, 1.0];
        let (s, c) = roll_rad.sin_cos();
        let [x, y] = [c * x - s * y, s * x + c * y];
        let (s, c) = pan_rad.sin_cos();
        let [x, z] = [c * x + s * z, -s * x + c * z];
        let (s, c) = tilt_rad.sin_cos();
        let [y, z] = [c * y + s * z, -s * y + c * z];
        [160.0 + f * x / z, 90.0 + f * y / z]
    }

    #[test]
    fn a_turn_of_three_degrees_is_found_among_squares_that_lie() {
        let a = 3.0_f64.to_radians();
        for (pan, tilt, roll) in [
            (a, 0.0, 0.0),
            (0.0, -a, 0.0),
            (0.0, 0.0, a),
            (a, a / 2.0, -a),
        ] {
            let mut found = Vec::new();
            for k in 0..120_u32 {
                let at = [f64::from(8 + (k * 37) % 300), f64::from(8 + (k * 53) % 160)];
                let to = turned(at, pan, tilt, roll);
                let lies = k % 3 == 0;
                let by = match lies {
                    true => [f64::from(k % 7) - 3.0, f64::from(k % 5) - 2.0],
                    false => [to[0] - at[0], to[1] - at[1]],
                };
                found.push(Found { at, by });
            }
            let flow = Flow::none(&picture()).fit(&found).expect("enough");
            for at in [[20.0, 20.0], [160.0, 90.0], [300.0, 150.0]] {
                let (to, by) = (turned(at, pan, tilt, roll), flow.shift(at));
                let off = (at[0] + by[0] - to[0]).hypot(at[1] + by[1] - to[1]);
                assert!(off < 0.5, "{pan} {tilt} {roll}: {off:.2} px at {at:?}");
            }
        }
    }
}
