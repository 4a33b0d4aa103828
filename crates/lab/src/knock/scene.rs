//! The background of a clip, seen by a camera that is turned, shifted and zoomed.

use std::path::Path;

use kickplate::capture::{self, Frame, SourceSpec};
use kickplate::config::Lane;
use kickplate::station::commands::review::usage_or_failure;

/// Pictures of the clip whose middle is its background.
const PICTURES: usize = 15;
/// The camera made of software gives pictures this wide, pixels: half of the clip's.
const WIDTH: usize = 640;

/// How a camera was knocked.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Knock {
    /// To the right, down, clockwise, degrees.
    pub(super) turn_deg: [f64; 3],
    /// To the right, down, forward, metres.
    pub(super) shift_m: [f64; 3],
    /// How much nearer everything looks, a share.
    pub(super) zoom: f64,
}

impl Knock {
    /// All that are tried.
    pub(super) fn all() -> Vec<(&'static str, Knock)> {
        let turn = |pan, tilt, roll| Knock {
            turn_deg: [pan, tilt, roll],
            ..Knock::default()
        };
        let shift = |right, down, forward| Knock {
            shift_m: [right, down, forward],
            ..Knock::default()
        };
        let zoom = |zoom| Knock {
            zoom,
            ..Knock::default()
        };
        vec![
            ("3 degrees of pan", turn(3.0, 0.0, 0.0)),
            ("3 degrees of pan", turn(-3.0, 0.0, 0.0)),
            ("3 degrees of tilt", turn(0.0, 3.0, 0.0)),
            ("3 degrees of tilt", turn(0.0, -3.0, 0.0)),
            ("3 degrees of roll", turn(0.0, 0.0, 3.0)),
            ("3 degrees of roll", turn(0.0, 0.0, -3.0)),
            ("10 cm sideways", shift(0.1, 0.0, 0.0)),
            ("10 cm down", shift(0.0, 0.1, 0.0)),
            ("10 cm forward", shift(0.0, 0.0, 0.1)),
            ("3 % of zoom", zoom(0.03)),
            ("10 % of zoom", zoom(0.1)),
            (
                "1.5 degrees of pan and roll, 3 % of zoom",
                Knock {
                    zoom: 0.03,
                    ..turn(1.5, 0.0, -1.5)
                },
            ),
            (
                "2 degrees of tilt and 10 cm back",
                Knock {
                    shift_m: [0.0, 0.0, -0.1],
                    ..turn(0.0, 2.0, 0.0)
                },
            ),
        ]
    }

    /// A share of it.
    pub(super) fn times(self, share: f64) -> Knock {
        Knock {
            turn_deg: self.turn_deg.map(|v| v * share),
            shift_m: self.shift_m.map(|v| v * share),
            zoom: self.zoom * share,
        }
    }

    /// Two at once.
    pub(super) fn and(self, other: Knock) -> Knock {
        let sum = |a: [f64; 3], b: [f64; 3]| [0, 1, 2].map(|k| a[k] + b[k]);
        Knock {
            turn_deg: sum(self.turn_deg, other.turn_deg),
            shift_m: sum(self.shift_m, other.shift_m),
            zoom: self.zoom + other.zoom,
        }
    }
}

/// A background and how its camera stands.
pub(super) struct Scene {
    pub(super) lane: Lane,
    pub(super) width: usize,
    pub(super) height: usize,
    /// Nobody is in it.
    empty: Vec<[f32; 3]>,
    /// Pictures of people passing; the background alone where there are none.
    busy: Vec<Vec<[f32; 3]>>,
    boards_m: f64,
}

impl Scene {
    pub(super) fn of_clip(
        clip: &Path,
        lane: Lane,
        boards_m: f64,
        first: bool,
    ) -> anyhow::Result<Scene> {
        let spec = SourceSpec::File {
            path: clip.to_owned(),
        };
        let mut source = capture::open(&spec).map_err(usage_or_failure)?;
        let mut pictures: Vec<Vec<[f32; 3]>> = Vec::new();
        let mut size = [0, 0];
        let every = match first {
            true => usize::MAX,
            false => (source.info().frame_count.unwrap_or(240) as usize / PICTURES).max(1),
        };
        let mut k = 0;
        while let Some(frame) = source.next_frame().map_err(usage_or_failure)? {
            if k % every == 0 {
                let (small, now) = half(&frame);
                size = now;
                pictures.push(small);
                if first {
                    break;
                }
            }
            k += 1;
        }
        anyhow::ensure!(!pictures.is_empty(), "'{}' has no picture", clip.display());
        let empty = (0..size[0] * size[1])
            .map(|at| {
                [0, 1, 2].map(|c| {
                    let mut values: Vec<f32> = pictures.iter().map(|p| p[at][c]).collect();
                    values.sort_by(f32::total_cmp);
                    values[values.len() / 2]
                })
            })
            .collect();
        Ok(Scene {
            lane,
            width: size[0],
            height: size[1],
            empty,
            busy: pictures,
            boards_m,
        })
    }

    /// Colour at a point of a picture; the edge goes on beyond it.
    fn at(&self, picture: &[[f32; 3]], x: f64, y: f64) -> [f32; 3] {
        let inside = |v: f64, most: usize| v.clamp(0.0, (most - 1) as f64 - 0.001);
        let (x, y) = (inside(x, self.width), inside(y, self.height));
        let (left, top) = (x as usize, y as usize);
        let (fx, fy) = ((x - left as f64) as f32, (y - top as f64) as f32);
        let at = top * self.width + left;
        let [a, b] = [picture[at], picture[at + 1]];
        let [c, d] = [picture[at + self.width], picture[at + self.width + 1]];
        [0, 1, 2].map(|k| {
            (a[k] * (1.0 - fx) + b[k] * fx) * (1.0 - fy) + (c[k] * (1.0 - fx) + d[k] * fx) * fy
        })
    }

    /// What a knocked camera sees. `busy` is the picture of people that is taken, if one is.
    ///
    /// Turns and zooms are exact (the homography K R K^-1). Shifts need depth: the ice as the
    /// lane file has it, and upright boards behind it.
    pub(super) fn seen(&self, knock: Knock, busy: Option<usize>) -> Vec<[f32; 3]> {
        let picture = match busy {
            Some(k) => &self.busy[k % self.busy.len()],
            None => &self.empty,
        };
        if knock == Knock::default() {
            return picture.clone();
        }
        let focal = self.width as f64 / 2.0 / (self.lane.hfov_deg / 2.0).to_radians().tan();
        let (cx, cy) = (self.width as f64 / 2.0, self.height as f64 / 2.0);
        let [pan, tilt, roll] = knock.turn_deg.map(f64::to_radians);
        let zoom = 1.0 + knock.zoom;
        let down = self.lane.tilt_deg.to_radians().tan();
        let mut out = Vec::with_capacity(picture.len());
        for row in 0..self.height {
            for column in 0..self.width {
                // The line of sight of the knocked camera in the frame of the one before.
                let ray = [
                    (column as f64 - cx) / focal / zoom,
                    (row as f64 - cy) / focal / zoom,
                    1.0,
                ];
                let [x, y] = turned([ray[0], ray[1]], roll);
                let [y, z] = turned([y, ray[2]], -tilt);
                let [x, z] = turned([x, z], -pan);
                let (x, y) = (x / z, y / z);
                let to = match knock.shift_m == [0.0; 3] {
                    true => [x, y],
                    false => {
                        let below = y + down;
                        let ice_m = match below > 1e-6 {
                            true => self.lane.camera_height_m / below,
                            false => f64::INFINITY,
                        };
                        let z_m = ice_m.min(self.boards_m);
                        let [right, low, forward] = knock.shift_m;
                        let depth = z_m + forward;
                        [(x * z_m + right) / depth, (y * z_m + low) / depth]
                    }
                };
                out.push(self.at(picture, cx + focal * to[0], cy + focal * to[1]));
            }
        }
        out
    }
}

fn turned([a, b]: [f64; 2], by_rad: f64) -> [f64; 2] {
    let (sin, cos) = by_rad.sin_cos();
    [cos * a - sin * b, sin * a + cos * b]
}

/// A frame at the width of the software's camera.
fn half(frame: &Frame) -> (Vec<[f32; 3]>, [usize; 2]) {
    let by = (frame.width as usize / WIDTH).max(1);
    let (width, height) = (frame.width as usize / by, frame.height as usize / by);
    let mut out = Vec::with_capacity(width * height);
    for y in 0..height {
        for x in 0..width {
            let mut sum = [0.0; 3];
            for row in 0..by {
                for column in 0..by {
                    let at = ((y * by + row) * frame.width as usize + x * by + column) * 3;
                    for (sum, v) in sum.iter_mut().zip(&frame.rgb[at..at + 3]) {
                        *sum += f32::from(*v) / (by * by) as f32;
                    }
                }
            }
            out.push(sum);
        }
    }
    (out, [width, height])
}

#[cfg(test)]
mod tests {
    use super::*;
    use kickplate::config::{Subject, Travel, View};

    /// Every pixel says where it is.
    fn scene() -> Scene {
        let (width, height) = (640, 360);
        let place = |at: usize| [(at % width) as f32, (at / width) as f32, 0.0];
        let empty: Vec<[f32; 3]> = (0..width * height).map(place).collect();
        Scene {
            lane: Lane {
                view: View::Side,
                camera_height_m: 1.2,
                tilt_deg: 0.0,
                hfov_deg: 62.0,
                roll_deg: 0.0,
                lane_distance_m: 6.0,
                travel: Travel::LeftToRight,
                skater_height_m: 1.78,
                subject: Subject::Rendered,
                checked: None,
                errors: Default::default(),
            },
            width,
            height,
            busy: vec![empty.clone()],
            empty,
            boards_m: 25.0,
        }
    }

    /// By the tangent and by similar triangles, worked out by hand: the focal length is
    /// 320 / tan 31 degrees = 532.6 pixels.
    #[test]
    fn the_camera_of_software_moves_as_a_camera_does() {
        let turned = |turn_deg| Knock {
            turn_deg,
            ..Knock::default()
        };
        let shifted = |shift_m| Knock {
            shift_m,
            ..Knock::default()
        };
        let middle = [320, 180];
        for (knock, at, seen) in [
            (Knock::default(), middle, [320.0, 180.0]),
            // 532.6 tan 3 degrees.
            (turned([3.0, 0.0, 0.0]), middle, [347.9, 180.0]),
            (turned([0.0, 3.0, 0.0]), middle, [320.0, 207.9]),
            // A quarter turn on the spot.
            (turned([0.0, 0.0, 90.0]), [330, 180], [320.0, 190.0]),
            (
                Knock {
                    zoom: 0.1,
                    ..Knock::default()
                },
                [430, 180],
                [420.0, 180.0],
            ),
            // The boards are 25 m away: 532.6 x 0.1 / 25.
            (shifted([0.1, 0.0, 0.0]), middle, [322.1, 180.0]),
            // The ice 106.5 pixels below the horizon is 6 m away: 532.6 x 0.1 / 6.
            (shifted([0.1, 0.0, 0.0]), [320, 286], [328.8, 286.0]),
        ] {
            let picture = scene().seen(knock, None);
            let [x, y, _] = picture[at[1] * 640 + at[0]];
            let off = (f64::from(x) - seen[0]).hypot(f64::from(y) - seen[1]);
            assert!(off < 0.2, "{knock:?}: {x} {y}, not {seen:?}");
        }
    }
}
